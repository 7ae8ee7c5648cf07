"""The plain text of results: what stands first, and that nothing a person needs is left out."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import pytest

from acquisition.records import Event
from analysis.repairs import untested_repairs
from analysis.results import (
    Assessment,
    HistoryLine,
    HoldSpan,
    Interval,
    LawVerdict,
    Limit,
    NextTest,
    PathResult,
    Ranking,
    Release,
    Repair,
    SheetComparison,
    TestPoint,
    Trend,
    Unexplained,
)
from dashboard.flagwords import FLAG_WORDS, flag_words
from dashboard.text_report import assessment_text, box_text, comparison_text, history_text, ranking_text

STARTED = datetime.fromisoformat("2026-05-03T14:02:11+02:00")
OVER = Assessment(
    log="a.csv", box="B-07", setup="vents-taped", sealed=("port-flange",), open_paths=("panel-edges", "closure"),
    started=STARTED, outcome="estimate", reason=None, advice="Hold once more without the putty.", verdict="over",
    limit=Limit(0.42e-6, "pump"), test="hold", span=HoldSpan(200.0, 500.0, 20_000.0, 35_500.0),
    area_m2=Interval(0.98e-6, 0.9e-6, 1.06e-6), area_fit_m2=Interval(0.98e-6, 0.96e-6, 1.0e-6),
    leakage_rate_pa_m3_s=Interval(19.7, 18.1, 21.3), drilled_hole_m=Interval(1.226e-3, 1.17e-3, 1.28e-3),
    lost_5min_pa=16_000.0, law=LawVerdict("hole", 0.528, 0.5, None, {"hole": 0.97, "seep": 0.01, "between": 0.02}),
    release=Release(False, 0.0), flags=("gap", "place-unknown"), room_pa=101_325.0, room_k=293.15, volume_m3=0.032,
)  # fmt: skip
REFUSED = replace(
    OVER, outcome="refused", verdict="no-answer", reason="The gauge stayed on 12.0 kPa from the soak on.", limit=None,
    advice="Open the valve to the room.", span=None, area_m2=None, area_fit_m2=None, leakage_rate_pa_m3_s=None,
    drilled_hole_m=None, lost_5min_pa=None, law=None, release=None, flags=(),
)  # fmt: skip


def plain(text: str) -> str:
    return text.replace("\u00a0", " ")


def row(text: str, label: str) -> str:
    return next(line for line in plain(text).splitlines() if line.strip().startswith(label))


def test_the_answer_stands_first_and_names_the_box_and_its_limit():
    first = plain(assessment_text(OVER)).splitlines()[0]
    assert first.startswith("Over its limit. B-07 takes in as much as one drilled hole of 1.2 mm; the limit is 0.8")


@pytest.mark.parametrize(
    ("label", "told"),
    [
        ("log", "a.csv (B-07, vents taped, sealed: port flange, 3 May 2026)"),
        ("like one drilled hole of", "1.23 mm, 1.17 to 1.28"),
        ("leak area", "0.98 mm², 0.90 to 1.06"),
        ("what it loses", "10 kPa lost in 16 s"),
        ("leakage rate", "20 Pa m³/s, 18 to 21"),
        ("leak law", "hole (hole 97 in 100, seep 1 in 100, between 2 in 100)"),
        ("release", "none seen"),
        ("limit used", "from the pump"),
        ("noted", FLAG_WORDS["gap"]),
        ("next", "Hold once more without the putty."),
    ],
)
def test_each_figure_has_its_line(label, told):
    assert told in row(assessment_text(OVER), label)


def test_every_flag_is_told_in_words():
    assert all(FLAG_WORDS[flag] in assessment_text(OVER) for flag in OVER.flags)


def test_a_flag_without_words_is_told_by_its_name():
    assert flag_words("new-thing") == "new thing"


def test_a_refusal_tells_the_reason_first_and_what_to_do_and_no_figures():
    text = plain(assessment_text(REFUSED))
    assert text.startswith("No answer. The gauge stayed on 12.0 kPa from the soak on. Open the valve to the room.")
    assert "leak area" not in text
    assert "limit used" not in text


def test_without_a_limit_it_says_how_to_get_one():
    none = replace(OVER, verdict="no-limit", limit=None)
    assert "describe the pump" in row(assessment_text(none), "limit used")
    short = row(assessment_text(replace(none, flags=("pump-falls-short",))), "limit used")
    assert "pump does not get down to its working pressure" in short


COMPARISON = SheetComparison(
    "B-03", "estimate", None, Interval(2.5e-6, -0.1e-6, 4.3e-6), ("sheet-edge",), ("closure",), "The sheet edge."
)


def test_comparison_tells_sentence_difference_and_paths():
    lines = plain(comparison_text(COMPARISON)).splitlines()
    assert lines[0] == "The sheet edge."
    assert "2.5 mm², \u22120.1 to 4.3" in lines[1]
    assert "sheet edge" in lines[2]
    assert "tape or film" in lines[3]


def test_a_refused_comparison_tells_why():
    refused = SheetComparison(None, "refused", "No test with a sheet.", None, (), (), "")
    assert comparison_text(refused) == "No test with a sheet."


RANKING = Ranking(
    box="B-03", outcome="ranked", reason=None, comparison=COMPARISON,
    paths=(
        PathResult("port-flange", Interval(0.1e-6, 0.05e-6, 0.3e-6), 0.04, 0.02, 0.01, ()),
        PathResult("sheet-edge", Interval(2.5e-6, 1.4e-6, 4.3e-6), 0.96, 0.98, None, ("It came with the sheet.",)),
    ),
    not_told_apart=(("panel-edges", "panel-faces"),), not_tested=("top-panel",),
    unexplained=Unexplained("b.csv", 2.7e-6, "The two tests do not agree."), left_out=(("c.csv", "too short"),),
    next_test=NextTest("hold", "film-on-rim", ("port-flange",), 300.0, 0.8, "It tells the flange from the edges"),
    advice=("Heat the corners.", "Then form again."),
)  # fmt: skip


def test_ranking_puts_the_likeliest_largest_first_with_its_evidence():
    lines = plain(ranking_text(RANKING)).splitlines()
    assert lines[0] == "Where the air gets into B-03"
    assert lines[1].startswith("  1. sheet edge")
    assert "2.5 mm², 1.4 to 4.3; chance it is the largest 98 in 100" in lines[1]
    assert lines[2].strip() == "It came with the sheet."
    assert lines[3].startswith("  2. port flange")


def test_a_place_not_tested_since_its_repair_shows_no_figures_of_a_guess():
    flange, sheet = RANKING.paths
    told = ("Resealed; not tested since.",)
    wild = replace(flange, area_m2=Interval(0.1e-6, 0.0, 1.3e-6), untested=True, evidence=told)
    ranking = replace(
        RANKING, paths=(wild, sheet), not_told_apart=(("port-flange", "line"),),
        not_told_apart_m2=(Interval(0.4e-6, 0.3e-6, 2.5e-6),),
    )  # fmt: skip
    lines = plain(ranking_text(ranking)).splitlines()
    assert lines[3] == "  2. port flange            not tested since its repair"
    assert lines[4].strip() == told[0]
    assert row(ranking_text(ranking), "not told apart").endswith("port flange and line")


@pytest.mark.parametrize(
    ("label", "told"),
    [
        ("not told apart", "panel edges and panel faces"),
        ("not tested", "top panel"),
        ("sheet ", "The sheet edge."),
        ("unexplained", "The two tests do not agree."),
        ("left out", "c.csv: too short"),
        ("next test", "Hold 5 min, film on the rim, sealed: port flange. It tells the flange from the edges"),
        ("what to do", "Heat the corners."),
        ("Then form", "Then form again."),
    ],
)
def test_ranking_tells_what_is_not_known_and_what_to_do(label, told):
    assert told in row(ranking_text(RANKING), label)


def test_a_group_that_is_not_told_apart_has_its_sum_where_it_is_known():
    ranking = replace(RANKING, not_told_apart_m2=(Interval(0.4e-6, 0.3e-6, 0.5e-6),))
    told = row(ranking_text(ranking), "not told apart")
    assert told.endswith("panel edges and panel faces: together 0.40 mm², 0.30 to 0.50")


def test_a_refused_ranking_says_why():
    refused = replace(RANKING, outcome="refused", reason="No test can be used.", paths=(), advice=())
    assert "No answer. No test can be used." in ranking_text(refused)


LINE = HistoryLine(
    "B-04", "vents-taped", (),
    (
        TestPoint("a.csv", datetime.fromisoformat("2026-01-05T09:00:00+01:00"), "estimate",
                  Interval(1e-6, 0.9e-6, 1.1e-6), None),
        TestPoint("b.csv", datetime.fromisoformat("2026-04-05T09:00:00+02:00"), "upper-limit",
                  Interval(0.01e-6, 0.0, 0.02e-6), "warm box"),
        TestPoint("c.csv", datetime.fromisoformat("2026-04-06T09:00:00+02:00"), "refused", None, None),
    ),
    (Repair("2026-03-01", "panel-edges", "new bead"), Repair("2026-03-02", "", "swept")),
    None, "Three tests are too few.", 0.42e-6,
)  # fmt: skip


def test_history_is_in_the_order_of_dates_with_repairs_between():
    lines = plain(history_text(LINE)).splitlines()
    assert lines[0] == "B-04, vents taped: No trend yet. Three tests are too few."
    assert [line.split()[0] for line in lines[1:]] == [
        "2026-01-05", "2026-03-01", "2026-03-02", "2026-04-05", "2026-04-06"
    ]  # fmt: skip
    assert lines[2].endswith("repaired: panel edges, new bead")
    assert lines[3].endswith("repaired: swept")
    assert lines[4].endswith("no leak larger than 0.020 mm² shown (set aside: warm box)")
    assert lines[5].endswith("no answer")


def test_history_tells_the_trend_with_its_interval():
    line = replace(LINE, trend=Trend(Interval(12.0, 8.0, 16.0)), trend_reason="20 tests.")
    assert plain(history_text(line)).splitlines()[0] == "B-04, vents taped: 12 %, 8 to 16 a month. 20 tests."


def test_a_box_in_a_few_lines_has_answer_likeliest_path_and_next_step():
    lines = plain(box_text("B-07", OVER, RANKING, has_tank=True)).splitlines()
    assert lines[0] == "B-07, vents taped"
    assert lines[1].startswith("  Over its limit.")
    assert lines[2].startswith("  1. sheet edge")
    assert "Heat the corners." in lines[-1]
    assert box_text("B-99", None, None) == "B-99: no test yet"


@pytest.mark.parametrize(
    ("probability", "told"),
    [
        ({"hole": 0.33, "seep": 0.33, "between": 0.34}, "not known: the readings fit a hole as well as a seep"),
        ({"hole": 0.1, "seep": 0.8, "between": 0.1}, "not settled; likeliest a seep, 80 in 100"),
    ],
)
def test_an_undetermined_law_is_told_in_words(probability, told):
    law = LawVerdict("undetermined", None, None, None, probability)
    assert row(assessment_text(replace(OVER, law=law)), "leak law").endswith(told)


def test_a_law_of_a_kind_is_told_in_words():
    law = LawVerdict("seep", -0.3, 1.0, "slip", {"hole": 0.0, "seep": 1.0, "between": 0.0})
    assert "seep, very fine, as wood grain is (" in row(assessment_text(replace(OVER, law=law)), "leak law")


@pytest.mark.parametrize("verdict", ["tight", "within", "over", "cannot-tell"])
def test_a_capped_hose_is_held_against_no_limit(verdict):
    text = plain(assessment_text(replace(OVER, setup="line-only", verdict=verdict)))
    assert text.startswith("B-07's line (hose, fittings, valve) takes in as much as one drilled hole of 1.23 mm")
    assert "limit" not in text
    assert not any(word in text for word in ("Tight", "Within", "Over", "Cannot tell"))


def test_logs_left_out_for_one_reason_are_one_line_with_their_count():
    left = (*((f"{n}.csv", "older") for n in range(23)), ("x.csv", "too short"))
    lines = plain(ranking_text(replace(RANKING, left_out=left))).splitlines()
    assert [line.strip() for line in lines if "older" in line] == ["left out        23 logs: older"]
    assert sum(".csv" in line for line in lines) == 1


@pytest.mark.parametrize(
    ("area", "told"),
    [
        (Interval(0.005e-6, 0.001e-6, 0.02e-6), "no leak seen; at most 0.020 mm² either way"),
        (Interval(-0.001e-6, -0.01e-6, 0.02e-6), "no leak seen; at most 0.020 mm² either way"),
        (Interval(-0.1e-6, -0.12e-6, -0.08e-6), "takes air out: 0.10 mm², 0.08 to 0.12"),
        (Interval(0.1e-6, 0.08e-6, 0.12e-6), "takes air in: 0.10 mm², 0.08 to 0.12"),
    ],
)
def test_the_valve_seat_is_told_without_a_minus_and_without_chances(area, told):
    ranking = replace(RANKING, paths=(PathResult("valve-seat", area, 0.0, 0.0, 0.0, ()),))
    line = next(line for line in plain(ranking_text(ranking)).splitlines() if "valve seat" in line)
    assert line.endswith(told)


@pytest.mark.parametrize(
    ("day", "path", "later", "waits"),
    [
        ("2026-05-04", "panel-edges", (), True),
        ("2026-05-03", "panel-edges", (), True),  # a test of the very day came before it: a bead must cure
        ("2026-05-02", "panel-edges", (), False),
        ("2026-05-02", "panel-edges/left", (), False),
        ("2026-05-02", "sheet-edge", (), True),
        ("2026-05-02", "", (), False),
        ("2026-05-04", "", (), True),
        ("2026-05-04", "panel-edges", (Event("2026-05-05", "panel-edges", "remark", "hiss"),), True),
    ],
)
def test_a_repair_waits_for_a_test_with_its_path_open(day, path, later, waits):
    events = (Event(day, path, "repair", "new bead"), *later)
    assert bool(untested_repairs([OVER], events)) == waits


def test_history_says_first_that_a_repair_has_no_test_after_it():
    waiting = Event("2026-05-04", "panel-edges", "repair", "new bead")
    line = replace(LINE, repairs=(*LINE.repairs, Repair("2026-05-04", "panel-edges", "new bead")), waiting=(waiting,))
    lines = plain(history_text(line)).splitlines()
    assert lines[0] == (
        "B-04, vents taped: Repaired on 4 May 2026 (panel edges): hold again with the same setup to see whether it "
        "worked."
    )
    assert lines[1].strip() == "No trend yet. Three tests are too few."


def test_history_tells_a_refusal_once():
    refused = replace(LINE.tests[2], set_aside="no answer: The hold is too short.")
    assert plain(history_text(replace(LINE, tests=(refused,), repairs=()))).splitlines()[1].endswith(
        "2026-04-06  no answer: The hold is too short."
    )


def test_history_puts_a_repair_behind_the_tests_that_came_before_it():
    test = LINE.tests[0]
    day = test.started.date().isoformat()
    for hour, last in (("", "repaired"), ("T00:01", "mm²")):
        line = replace(LINE, tests=(test,), repairs=(Repair(f"{day}{hour}", "line", "new hose"),))
        rows = history_text(line).splitlines()
        assert last in rows[-1]
        assert all(row.strip().startswith(day) for row in rows[-2:])


def test_a_box_that_waits_for_the_hold_after_a_repair_says_so_without_a_ranking():
    waits = replace(RANKING, outcome="refused", paths=(), advice=("Repaired: hold again.",),
                    waiting=(Event("2026-05-04", "line", "repair", "new hose"),))  # fmt: skip
    assert "Repaired: hold again." in box_text("B-07", OVER, waits)
