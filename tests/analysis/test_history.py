from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone
from math import exp, hypot, log, sqrt

import numpy as np
import pytest
from scipy import stats

from acquisition.records import Box, Event, Pump, Vents
from acquisition.setups import open_paths
from analysis.history import (
    doubling_days,
    find_step,
    fit_of,
    forecast_crossing,
    going_off_sentence,
    history,
    is_going_off,
    is_steady,
    stretches,
)
from analysis.repaireffects import repair_effect, repair_effects, repair_sentence
from analysis.results import Assessment, HistoryLine, Interval, TestPoint, Trend

MM2 = 1e-6
START = datetime(2025, 9, 21, 10, 0, tzinfo=UTC)
MONTH = 365.25 / 12.0


def measured(day: float, mm2: float, setup: str = "vents-taped", **changes: object) -> Assessment:
    """One test so many days after the start, its interval 7 % wide on both sides."""
    when = START + timedelta(days=day)
    base = Assessment(
        log=f"{when:%Y%m%d}", box="B-03", setup=setup, sealed=(), open_paths=open_paths(setup), started=when,
        outcome="estimate", reason=None, advice="", verdict="within", limit=None, test="hold",
        area_m2=Interval(mm2 * MM2, mm2 * MM2 / 1.07, mm2 * MM2 * 1.07),
    )
    return replace(base, **changes)  # type: ignore[arg-type]


def rising(count: int, first_day: float, apart: float, start_mm2: float, per_month: float, seed: int = 4,
           scatter: float = 0.05) -> list[Assessment]:
    rng = np.random.default_rng(seed)
    days = [first_day + apart * i for i in range(count)]
    return [
        measured(d, start_mm2 * exp(per_month * (d - first_day) / MONTH + scatter * rng.normal())) for d in days
    ]


def only(lines: tuple[HistoryLine, ...]) -> HistoryLine:
    assert len(lines) == 1
    return lines[0]


REPAIR = Event("2026-01-14", "panel-edges/front", "repair", "resealed, long seams")
LIMIT_BOX = Box("B-03", pump=Pump(7.0, 8.0), working_kPa=20.0)


def b03() -> HistoryLine:
    before = rising(8, 0.0, 15.0, 0.6, 0.17)
    after = rising(9, 118.0, 13.0, 0.28, 0.31, seed=5)
    return only(history([*after, *before], [REPAIR], LIMIT_BOX))


def test_a_repair_breaks_the_line_and_the_trend_is_that_of_the_stretch_since() -> None:
    line = b03()
    assert [len(s.tests) for s in stretches(line)] == [8, 9]
    assert [t.started for t in line.tests] == sorted(t.started for t in line.tests)
    assert [(r.date, r.path) for r in line.repairs] == [("2026-01-14", "panel-edges/front")]
    assert line.trend is not None
    percent = line.trend.percent_per_month
    # grown by exp(0.31) - 1 = 36 in 100 a month
    assert percent.low < 36.3 < percent.high
    assert percent.value == pytest.approx(36.3, abs=8.0)
    assert is_going_off(line)
    assert "since 14\u00a0Jan 2026" in line.trend_reason
    assert "season and trend cannot be told apart" in line.trend_reason


def test_limit_of_the_box() -> None:
    # three tenths of 7 L/s (1 - 8/20) at 20 kPa is 25.2 Pa m3/s, at 20.126 Pa m3/s per mm2 1.252 mm2
    assert b03().limit_m2 == pytest.approx(1.252 * MM2, rel=1e-3)


def test_when_it_reaches_its_limit() -> None:
    line = b03()
    crossing = forecast_crossing(line)
    assert crossing is not None
    assert crossing.earliest is not None
    # 0.28 mm2 on 17 Jan 2026 growing 0.31 a month reaches 1.252 after 4.83 months: 13 Jun 2026
    assert crossing.earliest < date(2026, 6, 13)
    assert crossing.latest is None or crossing.latest > date(2026, 6, 13)
    assert crossing.chance > 0.9
    assert not crossing.over_now
    sentence = going_off_sentence(line).replace("\u00a0", " ")
    assert sentence.startswith("B-03 has tripled since January and reaches 1.3 mm² ")


def test_a_flat_line_is_not_going_off() -> None:
    line = only(history(rising(10, 0.0, 20.0, 0.2, 0.0), [], LIMIT_BOX))
    assert line.trend is not None
    assert not is_going_off(line)
    assert going_off_sentence(line) == ""
    assert doubling_days(line.trend) is None


def test_doubling_time() -> None:
    # ln 2 / ln 1.36 = 2.254 months = 68.6 days
    days = doubling_days(Trend(Interval(36.0, 20.0, 60.0)))
    assert days is not None
    assert days.value == pytest.approx(68.6, abs=0.1)
    assert days.low < days.value < days.high


@pytest.mark.parametrize(("per_month", "months", "count"), [(0.10, 24, 48), (0.0, 18, 36), (0.25, 5, 10)])
def test_interval_covers_the_truth_nine_times_in_ten(per_month: float, months: int, count: int) -> None:
    """Synthetic boxes with a season of its own phase and 15 % scatter; the truth is the slope put in."""
    rng = np.random.default_rng(11)
    hit = 0
    for _ in range(40):
        phase = rng.uniform(0.0, 6.283)
        points = []
        for i in range(count):
            m = months * i / (count - 1)
            y = log(0.3 * MM2) + per_month * m + 0.3 * np.sin(0.5236 * m + phase) + 0.15 * rng.normal()
            area = Interval(exp(y), exp(y - 0.07), exp(y + 0.07))
            points.append(TestPoint(str(i), START + timedelta(days=m * MONTH), "estimate", area, None))
        fit = fit_of(points, "vents-taped")
        assert fit is not None
        hit += fit.slope().low <= per_month <= fit.slope().high
    assert hit >= 35


@pytest.mark.parametrize(
    ("tests", "words"),
    [
        ([measured(0, 0.2), measured(15, 0.2), measured(30, 0.2)],
         "No trend can be drawn from three tests; two more, two weeks apart."),
        ([measured(d, 0.2) for d in (0, 1, 2, 3, 4, 5)], "No trend can be drawn from 5 days; test again in two weeks."),
        ([measured(d / 20, 0.2) for d in range(8)],
         "No trend can be drawn from one day with tests; four more, two weeks apart."),
        ([], None),
    ],
)
def test_no_trend_yet(tests: list[Assessment], words: str | None) -> None:
    lines = history(tests, [], None)
    if words is None:
        assert lines == ()
    else:
        line = only(lines)
        assert line.trend is None
        assert line.trend_reason == words


def test_refusals_and_warm_sheets_are_set_aside_with_the_reason() -> None:
    tests = rising(6, 0.0, 20.0, 0.2, 0.0)
    tests.append(measured(50, 0.9, flags=("warm-sheet",)))
    tests.append(measured(60, 1.0, outcome="refused", area_m2=None, reason="the gauge stood still"))
    line = only(history(tests, [], None))
    aside = {t.log: t.set_aside for t in line.tests if t.set_aside}
    assert sorted(aside.values()) == ["no answer: the gauge stood still", "the sheet was still warm"]
    assert line.trend is not None


def test_one_odd_test_is_set_aside_and_does_not_make_a_trend() -> None:
    tests = rising(9, 0.0, 20.0, 0.2, 0.0)
    odd = measured(85.0, 1.5)
    line = only(history([*tests, odd], [], None))
    assert [t.log for t in line.tests if t.set_aside] == [odd.log]
    assert line.trend is not None
    assert abs(line.trend.percent_per_month.value) < 5.0


def test_an_odd_newest_test_is_no_reason_to_cry_wolf() -> None:
    tests = [*rising(9, 0.0, 20.0, 0.2, 0.0), measured(190.0, 1.5)]
    line = only(history(tests, [], None))
    assert line.tests[-1].set_aside is not None
    assert not is_going_off(line)


def test_a_step_is_named_and_is_no_slow_trend() -> None:
    tests = [*rising(10, 0.0, 20.0, 0.2, 0.0), *rising(6, 200.0, 20.0, 0.6, 0.0, seed=7)]
    line = only(history(tests, [], None))
    step = find_step(line.tests, "vents-taped")
    assert step is not None
    assert step.factor == pytest.approx(3.0, rel=0.15)
    assert step.found_by.date() == (START + timedelta(days=200)).date()
    assert line.trend_reason.startswith("It stepped up")
    assert not is_going_off(line)


def test_a_slow_climb_is_no_step() -> None:
    line = only(history(rising(16, 0.0, 20.0, 0.2, 0.12), [], None))
    assert find_step(line.tests, "vents-taped") is None


def test_lines_by_setup_and_sealed_list_in_the_order_of_the_setups() -> None:
    tests = [
        measured(0, 0.5, "formed-sheet"), measured(1, 0.2), measured(2, 0.2, sealed=("port-flange", "line")),
        measured(3, 0.2, sealed=("line", "port-flange")),
    ]
    lines = history(tests, [], None)
    assert [(x.setup, x.sealed, len(x.tests)) for x in lines] == [
        ("vents-taped", (), 1), ("vents-taped", ("line", "port-flange"), 2), ("formed-sheet", (), 1)]


def test_a_repair_elsewhere_breaks_nothing() -> None:
    rim = Event("2026-01-14", "rim-joint", "repair", "bead round the lip")
    line = only(history(rising(10, 0.0, 20.0, 0.2, 0.0), [rim], None))
    assert line.breaks == ()
    assert line.repairs == ()


def test_changes_break_but_are_no_repairs() -> None:
    change = Event("2026-01-14", "", "change", "40 vents added")
    line = only(history(rising(10, 0.0, 20.0, 0.2, 0.0), [change], None))
    assert len(line.breaks) == 1
    assert line.repairs == ()


@pytest.mark.parametrize("same_day", [0.95, 0.27])
def test_a_test_of_the_repairs_own_day_came_before_it(same_day: float) -> None:
    day = (date(2026, 1, 14) - START.date()).days
    tests = [*rising(4, 40.0, 15.0, 1.0, 0.0), measured(day, same_day), *rising(4, day + 10.0, 15.0, 0.25, 0.0)]
    before, _ = stretches(only(history(tests, [REPAIR], None)))
    assert before.tests[-1].started.date() == date(2026, 1, 14)


@pytest.mark.parametrize(("hour", "after"), [("T09:59", 1), ("T10:00", 0), ("T11:00", 0)])
def test_where_both_have_an_hour_the_hours_decide(hour: str, after: int) -> None:
    event = replace(REPAIR, date=START.date().isoformat() + hour)  # the test is of 10:00
    parts = stretches(only(history([measured(0, 0.3)], [event], None)))
    assert len(parts[1].tests) == after


def test_the_day_of_a_test_is_that_of_the_shops_own_clock() -> None:
    evening = datetime(2026, 1, 14, 18, tzinfo=timezone(-timedelta(hours=8)))  # the 15th in universal time
    parts = stretches(only(history([measured(0, 0.3, started=evening)], [REPAIR], None)))
    assert [len(part.tests) for part in parts] == [1, 0]


def test_a_sealed_part_was_not_measured_and_its_repair_breaks_nothing() -> None:
    shut = [replace(a, sealed=("panel-edges/front",)) for a in rising(6, 60.0, 15.0, 0.3, 0.0)]
    line = only(history(shut, [REPAIR], None))
    assert (line.breaks, line.repairs) == ((), ())
    assert line.waiting == ()


def test_a_line_waits_only_for_repairs_that_no_test_of_the_box_came_after() -> None:
    repair = Event("2026-01-14", "valve-seat", "repair", "seat wiped")
    before = [measured(100, 0.07, "line-only"), measured(100, 0.2)]
    hose, box_line = history([*before, measured(118, 0.13)], [repair], None)
    assert (hose.setup, hose.waiting, box_line.waiting) == ("line-only", (), ())
    assert [line.waiting for line in history(before, [repair], None)] == [(repair,), (repair,)]


def test_since_when_a_trend_runs_is_told_with_what_happened_then() -> None:
    repaired = only(history([measured(118, 0.3)], [REPAIR], None)).trend_reason.replace("\u00a0", " ")
    assert repaired.startswith("No trend can be drawn from one test since 14 Jan 2026 (repair of the front seam);")
    drilled = Event("2026-01-14", "", "change", "120 vents drilled")
    assert "since 14\u00a0Jan 2026 (120 vents drilled);" in only(
        history([measured(118, 0.3)], [drilled], None)).trend_reason


def test_a_box_once_drilled_is_not_asked_for_tests_of_before() -> None:
    bare, taped = measured(100, 0.2, "undrilled"), measured(118, 0.2)
    before, after = history([taped, bare], [], Box("B-04"))
    assert (before.setup, before.trend) == ("undrilled", None)
    gone = "No trend: the vents are drilled, so this test cannot be made again; go on with the vents taped."
    assert before.trend_reason == gone
    assert after.trend_reason.startswith("No trend can be drawn from one test; four more")
    assert only(history([bare], [], Box("B-04", vents=Vents(count=120)))).trend_reason == gone
    undated = replace(bare, started=None)
    told = only(history([bare, undated], [], Box("B-04", vents=Vents(count=120)))).trend_reason
    assert told == f"{gone} Left out for want of a start date: one."
    assert "four more, two weeks apart" in only(history([bare], [], Box("B-04"))).trend_reason


def test_upper_limits_count_as_limits() -> None:
    area = Interval(0.005 * MM2, 0.0, 0.02 * MM2)
    limits = [measured(d, 0.01, outcome="upper-limit", area_m2=area) for d in range(0, 120, 20)]
    all_limits = only(history(limits, [], None))
    assert all_limits.trend is None
    assert "no larger leak" in all_limits.trend_reason
    mixed = only(history([*limits, *rising(6, 120.0, 20.0, 0.1, 0.0)], [], None))
    assert mixed.trend is not None
    # from under 0.02 to 0.1 in four to six months can only be a rise
    assert mixed.trend.percent_per_month.value > 10.0


def test_check_plugs_are_taken_off() -> None:
    line = only(history([measured(0, 0.36, plug_area_m2=0.16 * MM2)], [], None))
    assert line.tests[0].area_m2 is not None
    assert line.tests[0].area_m2.value == pytest.approx(0.20 * MM2)


def test_tests_without_a_date_are_told() -> None:
    line = only(history([measured(0, 0.2), measured(1, 0.2, started=None)], [], None))
    assert len(line.tests) == 1
    assert line.trend_reason.endswith("Left out for want of a start date: one.")


def test_a_test_without_a_date_is_neither_before_nor_after_a_repair() -> None:
    line = only(history([measured(0, 0.2, started=None)], [REPAIR], None))
    assert line.trend_reason.replace("\u00a0", " ").endswith(
        "Left out for want of a start date: one. A test without a date is neither before nor after the repair of "
        "14 Jan 2026 (front seam); write a line such as '# started: 2026-05-03T14:02' into its log.")
    assert line.waiting == (REPAIR,)


def test_a_repair_that_worked() -> None:
    tests = [*rising(4, 60.0, 15.0, 1.1, 0.0), *rising(3, 118.0, 15.0, 0.28, 0.0)]
    line = only(history(tests, [REPAIR], None))
    effect = repair_effect(line, line.repairs[0])
    assert effect is not None
    assert effect.chance_better > 0.99
    sentence = repair_sentence(effect).replace("\u00a0", " ")
    assert sentence.startswith("The repair worked, 99 in 100 or more: from 1.1 to 0.2")
    assert sentence.endswith(" mm².")


def test_a_repair_that_the_sheets_hide() -> None:
    repair = Event("2026-01-14", "sheet-edge", "repair", "lip filed")
    tests = [measured(100, 1.1, "formed-sheet"), measured(118, 0.8, "formed-sheet")]
    line = only(history(tests, [repair], None))
    effect = repair_effect(line, line.repairs[0])
    assert effect is not None
    assert repair_sentence(effect) == (
        "Cannot tell whether it worked; sheets differ more than this. Hold twice more.")


def test_a_repair_after_which_only_a_limit_is_seen() -> None:
    limit = measured(118, 0.01, outcome="upper-limit", area_m2=Interval(0.01 * MM2, 0.0, 0.05 * MM2))
    line = only(history([*rising(4, 60.0, 15.0, 1.1, 0.0), limit], [REPAIR], None))
    effect = repair_effect(line, line.repairs[0])
    assert effect is not None
    assert repair_sentence(effect).replace("\u00a0", " ") == (
        "The repair worked, 99 in 100 or more: from 1.1 to under 0.050 mm².")


def test_a_repair_that_made_it_worse() -> None:
    tests = [*rising(4, 60.0, 15.0, 0.3, 0.0), *rising(3, 118.0, 15.0, 1.2, 0.0)]
    line = only(history(tests, [REPAIR], None))
    effect = repair_effect(line, line.repairs[0])
    assert effect is not None
    assert repair_sentence(effect).startswith("The repair did not help: from 0.3")


def test_the_chance_of_a_repair_is_that_of_student() -> None:
    """One test a side: the log ratio against scatter 0.15 and 4 % each, four degrees of freedom (by hand)."""
    line = only(history([measured(100, 1.0), measured(118, 0.8)], [REPAIR], None))
    effect = repair_effect(line, line.repairs[0])
    assert effect is not None
    own = log(line.tests[0].area_m2.high / line.tests[0].area_m2.low) / 3.92  # type: ignore[union-attr]
    sd = sqrt(2.0) * hypot(0.15, own)
    assert effect.chance_better == pytest.approx(stats.t(4).cdf((log(1.0 / 0.8) + log(0.9)) / sd), abs=1e-6)


def test_a_repair_without_tests_after_it_has_no_effect_yet() -> None:
    line = only(history(rising(4, 60.0, 15.0, 1.1, 0.0), [REPAIR], None))
    assert repair_effect(line, line.repairs[0]) is None


FLANGE = Event("2026-01-16", "port-flange", "repair", "new gasket")


def test_repairs_without_a_test_between_are_judged_together_and_neither_alone() -> None:
    tests = [*rising(4, 60.0, 15.0, 1.1, 0.0), *rising(3, 118.0, 15.0, 0.28, 0.0)]
    line = only(history(tests, [REPAIR, FLANGE], None))
    (effect,) = repair_effects(line)
    assert [repair.path for repair in effect.repairs] == ["panel-edges/front", "port-flange"]
    assert repair_effect(line, line.repairs[0]) == repair_effect(line, line.repairs[1]) == effect
    assert repair_sentence(effect).startswith(
        "The repairs of the front seam and the port flange worked, 99 in 100 or more: from 1.1 to 0.2")
    assert repair_sentence(effect).endswith("; no test came between, so what each did cannot be told.")


def test_repairs_with_a_test_between_are_judged_one_by_one() -> None:
    later = replace(FLANGE, date="2026-01-30")
    tests = [*rising(4, 60.0, 15.0, 1.1, 0.0), measured(118, 0.28), *rising(3, 135.0, 15.0, 0.1, 0.0)]
    effects = repair_effects(only(history(tests, [REPAIR, later], None)))
    assert [[repair.path for repair in effect.repairs] for effect in effects] == [
        ["panel-edges/front"], ["port-flange"]]


def test_a_change_with_no_test_between_leaves_the_repair_untold() -> None:
    moved = Event("2026-01-16", "", "change", "fell off the trolley")
    tests = [*rising(4, 60.0, 15.0, 1.1, 0.0), *rising(3, 118.0, 15.0, 0.28, 0.0)]
    (effect,) = repair_effects(only(history(tests, [REPAIR, moved], None)))
    assert repair_sentence(effect).replace("\u00a0", " ").startswith(
        "Cannot tell whether it worked: the box was changed as well (16 Jan 2026), with no test between; together "
        "from 1.1 to 0.2")


@pytest.mark.parametrize(("low", "high", "steady"), [(-4.0, 6.0, True), (-23.0, 27.0, False), (-2.0, 11.0, False)])
def test_a_seal_is_called_steady_only_where_its_trend_is_narrow(low, high, steady):
    line = HistoryLine("B-07", "vents-taped", (), (), (), Trend(Interval(1.0, low, high)), "", None)
    assert is_steady(line) is steady
