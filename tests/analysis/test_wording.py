"""Expected sentences and numbers are the project's word list (examples of the pages' text), not our output."""

from dataclasses import replace
from datetime import date, datetime

import pytest

from acquisition.setups import PATHS, SETUPS, open_paths
from analysis.numberwords import (
    area_text,
    chance_text,
    clock_text,
    date_text,
    duration_text,
    hole_interval_text,
    hole_text,
    interval_text,
    leakage_text,
    loss_text,
    number,
    pressure_step_text,
    pressure_text,
    size_text,
)
from analysis.results import Assessment, EarlierHold, HoldSpan, Interval, LawVerdict, Limit, Phase, Release
from analysis.wording import (
    answer_sentence,
    hole_or_seep_sentence,
    lead_sentence,
    list_text,
    loss_sentence,
    one_test_sentence,
    path_name,
    release_sentence,
    setup_name,
    valve_sentence,
)

MM2 = 1e-6
PUMP_LIMIT = Limit(0.40 * MM2, "pump")


def plain(text: str) -> str:
    """The sentence with ordinary spaces, so that the tests can be read."""
    return text.replace("\u00a0", " ")


def assessed(box: str, area: Interval | None, **changes: object) -> Assessment:
    base = Assessment(
        log="a.csv", box=box, setup="vents-taped", sealed=(), open_paths=open_paths("vents-taped"),
        started=datetime(2026, 5, 3, 14, 2), outcome="estimate", reason=None, advice="", verdict="within",
        limit=PUMP_LIMIT, test="hold", area_m2=area, room_pa=101_100.0, room_k=293.65, volume_m3=0.0314,
    )
    return replace(base, **changes)  # type: ignore[arg-type]


def mm2(value: float, low: float, high: float) -> Interval:
    return Interval(value * MM2, low * MM2, high * MM2)


@pytest.mark.parametrize(
    ("interval", "unit", "text"),
    [
        (Interval(0.98, 0.90, 1.06), "mm²", "0.98 mm², 0.90 to 1.06"),
        (Interval(0.9812, 0.9601, 1.0023), "mm²", "0.981 mm², 0.960 to 1.002"),
        (Interval(2.52, 1.41, 4.29), "mm²", "2.5 mm², 1.4 to 4.3"),
        (Interval(0.05, 0.01, 0.13), "mm²", "at most 0.13 mm²"),
        (Interval(0.996, 0.80, 1.20), "mm²", "1.0 mm², 0.8 to 1.2"),
        (Interval(123.0, 100.0, 150.0), "Pa", "120 Pa, 100 to 150"),
        (Interval(20.1, 18.0, 21.4), "Pa m³/s", "20 Pa m³/s, 18 to 21"),
    ],
)
def test_value_with_interval(interval: Interval, unit: str, text: str) -> None:
    assert plain(interval_text(interval, unit)) == text


def test_signed_differences_keep_both_ends_and_a_true_minus() -> None:
    difference = Interval(-0.14, -0.30, 0.02)
    assert plain(interval_text(difference, "mm²", signed=True)) == "\u22120.14 mm², \u22120.30 to 0.02"
    assert number(-0.004, 2) == "0.00"


def test_unit_stands_after_a_no_break_space() -> None:
    assert "\u00a0mm²" in interval_text(Interval(1.0, 0.9, 1.1), "mm²")


@pytest.mark.parametrize(
    ("area_mm2", "metric", "inch"),
    [(0.40, "0.78 mm", "0.031 in"), (0.012, "0.14 mm", "0.005 in"), (0.98, "1.2 mm", "0.048 in")],
)
def test_drilled_hole(area_mm2: float, metric: str, inch: str) -> None:
    assert plain(hole_text(area_mm2 * MM2, "metric")) == metric
    assert plain(hole_text(area_mm2 * MM2, "inch")) == inch


def test_drilled_hole_interval_takes_three_figures_when_earned() -> None:
    assert plain(hole_interval_text(mm2(0.98, 0.90, 1.06), "metric")) == "1.23 mm, 1.17 to 1.28"
    assert plain(hole_interval_text(mm2(0.02, 0.0, 0.012), "metric")) == "at most 0.14 mm"


def test_area_in_inch_tables_is_thousandths_of_a_square_inch() -> None:
    # 1 square inch is 645.16 mm2, so 0.98 mm2 is 1.519 thousandths
    assert plain(area_text(mm2(0.98, 0.90, 1.06), "inch")) == "1.5 thousandths of a square inch, 1.4 to 1.6"


def test_leakage_rate_in_sccm() -> None:
    # 59.2 cm3/min for each mbar l/s of gas at 0 C (standards' table); 1 Pa m3/s is 10 mbar l/s
    assert plain(leakage_text(Interval(1.0, 0.9, 1.1), "inch", room_k=273.15)) == "590 sccm, 530 to 650"


@pytest.mark.parametrize(
    ("lost", "slope", "system", "text"),
    [
        (5_400.0, 18.0, "metric", "5.4 kPa lost in 5 min"),
        (3_386.389, 11.3, "inch", "1.0 inHg lost in 5 min"),
        (84_000.0, 628.3, "metric", "10 kPa lost in 16 s"),
        (84_000.0, 628.3, "inch", "3 inHg lost in 16 s"),
    ],
)
def test_pressure_lost(lost: float, slope: float, system: str, text: str) -> None:
    assert plain(loss_text(lost, system, slope)) == text  # type: ignore[arg-type]


def test_loss_of_an_assessment_uses_its_own_volume() -> None:
    # 0.98 mm2 at 20.126 Pa m3/s per mm2 in 31.4 L is 628 Pa/s
    fast = assessed("B-07", mm2(0.98, 0.90, 1.06), lost_5min_pa=84_000.0,
                    leakage_rate_pa_m3_s=Interval(19.72, 18.1, 21.3))
    assert plain(loss_sentence(fast)) == "10 kPa lost in 16 s"
    assert loss_sentence(assessed("B-07", None)) == ""


def test_loss_of_an_upper_limit_is_what_the_limit_would_lose() -> None:
    # 0.065 mm2 at 20.126 Pa m3/s per mm2 is 1.308 Pa m3/s; times 300 s over 31.4 L: 12.5 kPa
    unseen = assessed("B-12", mm2(0.003, 0.0, 0.065), outcome="upper-limit", lost_5min_pa=550.0,
                      leakage_rate_pa_m3_s=Interval(0.06, 0.0, 1.308))
    assert plain(loss_sentence(unseen)) == "at most 12 kPa lost in 5 min"


def test_pressures_as_the_gauge_shows_them() -> None:
    assert plain(pressure_text(47_000.0, "metric", 101_325.0)) == "47 kPa"
    # 14.11 inHg of vacuum is where a hole stops choking at 101.325 kPa
    assert plain(pressure_text(0.5283 * 101_325.0, "inch", 101_325.0, 2)) == "14.11 inHg vacuum"
    assert plain(pressure_step_text(14_000.0, "inch")) == "4.1 inHg"


def test_sizes_in_fractions_only_where_the_size_is_one() -> None:
    assert plain(size_text(3.175, "inch")) == "1/8 in"
    assert plain(size_text(1.0, "inch")) == "0.039 in"
    assert plain(size_text(31.75, "inch")) == "1 1/4 in"
    assert plain(size_text(18.0, "metric")) == "18 mm"


@pytest.mark.parametrize(
    ("chance", "text"),
    [(0.913, "91 in 100"), (0.9999, "99 in 100 or more"), (0.99, "99 in 100"), (0.004, "under 1 in 100")],
)
def test_chances(chance: float, text: str) -> None:
    assert chance_text(chance) == text


def test_times_and_dates() -> None:
    assert clock_text(100.0) == "1:40"
    assert [plain(duration_text(s)) for s in (1.7, 16.0, 110.0, 120.0, 7500.0)] == [
        "1.7 s", "16 s", "1 min 50 s", "2 min", "2 h 5 min"]
    assert plain(date_text(date(2026, 5, 3))) == "3 May 2026"
    assert plain(date_text(date(2026, 6, 2), with_year=False)) == "2 Jun"


def test_every_setup_and_path_has_a_name() -> None:
    assert setup_name("film-on-rim") == "film on the rim"
    assert setup_name(None) == "setup not said"
    assert path_name("panel-edges/front") == "front seam"
    assert path_name("port-flange/gasket") == "port flange, gasket"
    assert (path_name("closure", "vents-taped"), path_name("closure", "film-on-rim")) == ("tape", "film")
    assert all(setup_name(s) and "-" not in setup_name(s) for s in SETUPS)
    assert all(path_name(p) and "-" not in path_name(p) for p in PATHS)
    assert list_text(["a", "b", "c"]) == "a, b and c"


def test_tight_in_both_systems() -> None:
    tight = assessed("B-12", mm2(0.006, 0.0, 0.012), outcome="upper-limit", verdict="tight")
    assert plain(answer_sentence(tight)) == (
        "Tight. No leak larger than a drilled hole of 0.14 mm was shown (0.012 mm²); the limit is a hole of 0.78 mm.")
    assert plain(answer_sentence(tight, "inch")) == (
        "Tight. No leak larger than a drilled hole of 0.005 in was shown; the limit is a hole of 0.031 in.")


def test_within() -> None:
    within = assessed("B-02", mm2(0.190, 0.163, 0.219))
    assert plain(answer_sentence(within)) == (
        "Within its limit. B-02 takes in as much as one drilled hole of 0.54 mm, 0.50 to 0.58; "
        "the limit is 0.78 mm, from the pump.")


def test_over_says_what_it_costs_and_whom() -> None:
    over = assessed("B-07", mm2(0.98, 0.85, 1.13), verdict="over", limit=Limit(0.42 * MM2, "pump"))
    assert plain(answer_sentence(over, has_tank=True)) == (
        "Over its limit. B-07 takes in as much as one drilled hole of 1.2 mm; the limit is 0.80 mm. "
        "The pump spends 70 in 100 of itself on it; the part does not feel it yet while the tank is full.")
    inch = assessed("B-07", mm2(0.98, 0.85, 1.13), verdict="over")
    assert plain(answer_sentence(inch, "inch")) == (
        "Over its limit. B-07 takes in as much as one drilled hole of 0.048 in; the limit is 0.031 in.")
    large = assessed("B-07", mm2(3.0, 2.7, 3.3), verdict="over")
    assert "does not feel" not in answer_sentence(large, has_tank=True)


def test_stall() -> None:
    stall = assessed("B-16", mm2(7.6, 6.7, 8.9), verdict="stalls", test="stall", stall_pa=47_000.0)
    assert plain(answer_sentence(stall)) == (
        "A big leak: the pump stalls at 47 kPa. Like one drilled hole of 3.4 mm, 3.2 to 3.7; "
        "no hold is needed to say so.")


def test_cannot_tell_leans_and_says_what_next() -> None:
    # lean: lognormal above the value, z = ln(0.40/0.28) / (ln(0.61/0.28)/1.96) = 0.898, 81.5 in 100
    open_verdict = assessed("B-09", mm2(0.28, 0.09, 0.61), verdict="cannot-tell", advice="Soak 3 min, hold 2 min.")
    assert plain(answer_sentence(open_verdict)) == (
        "Cannot tell. B-09 lies between 0.09 and 0.61 mm² and its limit is 0.40 mm², leaning within, 82 in 100. "
        "Soak 3 min, hold 2 min.")


def test_refusal_gives_reason_and_advice() -> None:
    refused = assessed(
        "B-05", None, outcome="refused", verdict="no-answer",
        reason="the gauge stayed on 12.0 kPa from the soak on",
        advice="Open the valve to the room; it must go back to about 101 kPa.")
    assert answer_sentence(refused) == (
        "No answer. The gauge stayed on 12.0 kPa from the soak on. "
        "Open the valve to the room; it must go back to about 101 kPa.")


def test_no_limit_asks_for_the_pump() -> None:
    unknown = assessed("B-02", mm2(0.190, 0.163, 0.219), verdict="no-limit", limit=None)
    assert plain(answer_sentence(unknown)).endswith("0.58. Describe the pump to learn whether that is too much.")
    short = replace(unknown, flags=("pump-falls-short",))
    assert "Describe" not in answer_sentence(short)
    assert plain(answer_sentence(short)).endswith(
        "0.58. The box file's pump does not get down to its working pressure, so it sets no limit; correct either.")


def test_seal_let_go() -> None:
    gone = assessed(
        "B-11", mm2(0.31, 0.27, 0.35), setup="film-on-rim", flags=("seal-let-go",),
        span=HoldSpan(246.0, 340.0, 20_000.0, 39_000.0), phases=(Phase("hold", 240.0, 520.0),))
    assert plain(answer_sentence(gone)) == (
        "A seal let go at 1:40. Before that B-11 took in 0.31 mm²; after it the rise speeds up, "
        "and a leak only slows down. Press the film down, then hold again.")


def test_a_limit_under_the_boxes_own_that_may_not_stand_says_on_what_terms() -> None:
    # sqrt(4 x 0.065 / (0.83 pi)) = 0.316 mm.
    unseen = assessed("B-12", mm2(0.0, 0.0, 0.065), outcome="upper-limit", verdict="cannot-tell")
    assert plain(answer_sentence(unseen)).startswith(
        "Cannot tell. No leak larger than a drilled hole of 0.32 mm was shown (0.065 mm²), if the valve was shut; "
        "the limit is a hole of")


def test_a_seal_that_let_go_of_a_tight_box_says_at_most() -> None:
    gone = assessed(
        "B-11", mm2(0.0, 0.0, 0.012), setup="film-on-rim", flags=("seal-let-go",), outcome="upper-limit",
        span=HoldSpan(246.0, 340.0, 20_000.0, 39_000.0), phases=(Phase("hold", 240.0, 520.0),))
    assert "Before that B-11 took in at most 0.012 mm²; " in plain(answer_sentence(gone))


def test_one_test_tells_how_much_not_where() -> None:
    one = assessed("B-07", mm2(0.98, 0.90, 1.06))
    assert plain(one_test_sentence(one, next_step="Putty the flange and hold again")) == (
        "One test tells how much, not where: panel edges, panel faces, port flange, top panel and tape together "
        "take in 0.98 mm². Putty the flange and hold again.")


def test_one_test_of_a_tight_box_tells_at_most_how_much() -> None:
    one = assessed("B-07", mm2(0.003, 0.0, 0.065), outcome="upper-limit")
    assert plain(one_test_sentence(one)).endswith("and tape together take in at most 0.065 mm².")


def test_release_compares_first_hold_and_redraw() -> None:
    earlier = EarlierHold("a.csv", HoldSpan(0.0, 60.0, 2e4, 3e4), mm2(0.031, 0.028, 0.034))
    stored = assessed("B-02", mm2(0.014, 0.012, 0.016), release=Release(True, 0.3), earlier_holds=(earlier,))
    assert plain(release_sentence(stored)) == (
        "Part of the rise is not a leak: the first hold gave 0.031 mm², after the redraw 0.014. "
        "The rest is air stored in the wood.")
    assert "30 in 100" in release_sentence(replace(stored, earlier_holds=()))


def test_lead_tells_what_the_setup_does_not_know_and_the_law() -> None:
    seep = LawVerdict("seep", 0.0, 1.0, None, {"hole": 0.01, "seep": 0.97, "between": 0.02})
    lead = lead_sentence(assessed("B-02", mm2(0.19, 0.16, 0.22), law=seep))
    assert "the box itself" in lead
    assert "seeps through something long and fine" in lead
    assert lead_sentence(assessed("B-02", None)) == ""
    assert "box itself" not in lead_sentence(assessed("B-02", mm2(0.2, 0.1, 0.3), setup="formed-sheet"))


def test_hole_or_seep_says_how_long_to_hold() -> None:
    undetermined = LawVerdict("undetermined", None, None, None, {"hole": 0.4, "seep": 0.3, "between": 0.3})
    early = assessed(
        "B-02", mm2(0.19, 0.16, 0.22), law=undetermined, span=HoldSpan(0.0, 60.0, 20_000.0, 35_000.0),
        leakage_rate_pa_m3_s=Interval(3.85, 3.6, 4.1))
    # (0.528 * 101.1 kPa - 35 kPa) * 31.4 L / 3.85 Pa m3/s = 150 s
    assert plain(hole_or_seep_sentence(early)) == (
        "Cannot tell hole from seep yet. Hold till 53 kPa, 2 min 30 s more; "
        "or next time hold at 60 kPa first, before the deep one.")
    late = replace(early, span=HoldSpan(0.0, 600.0, 20_000.0, 60_000.0))
    assert "Hold till" not in hole_or_seep_sentence(late)


def test_valve_seat_sentence() -> None:
    assert plain(valve_sentence(0.03 * MM2, "tank")) == (
        "The valve seat takes air out: the tank behind it hides 0.03 mm². Let air in behind the valve and hold again.")


def test_a_range_of_one_figure_is_told_once() -> None:
    assert plain(interval_text(Interval(0.2791, 0.2788, 0.2794), "mm²")) == "0.279 mm²"
    # sqrt(4 * 0.279 / (0.83 pi)) = 0.654
    assert plain(hole_interval_text(mm2(0.27900, 0.27899, 0.27901), "metric")) == "0.654 mm"
    assert plain(interval_text(Interval(0.7412, 0.7409, 0.7416), "inHg")) == "0.741 inHg"
    assert plain(interval_text(Interval(1063.0, 1057.0, 1071.0), "sccm")) == "1060 sccm"
    # 0.0304, 0.0301 and 0.0306 in: 0.83 pi / 4 d² of 0.7722, 0.7645 and 0.7772 mm
    assert plain(hole_interval_text(mm2(0.3887, 0.3810, 0.3938), "inch")) == "0.030 in"


def test_a_range_that_tells_something_stays_however_few_its_steps() -> None:
    assert plain(hole_interval_text(mm2(0.0105, 0.0085, 0.0125), "inch")) == "0.005 in, 0.004 to 0.005"
    assert plain(interval_text(Interval(0.741, 0.739, 0.743), "inHg")) == "0.741 inHg, 0.739 to 0.743"
    assert plain(interval_text(Interval(-0.742, -0.7424, -0.7412), "mm²", signed=True)) == "\u22120.742 mm²"


def test_the_rest_of_a_place_reads_as_one_name() -> None:
    assert path_name("line/rest") == "rest of the line"


def test_the_figure_is_that_without_the_check_plug() -> None:
    open_plug = assessed("B-08", mm2(0.38, 0.35, 0.40), plug_area_m2=0.165 * MM2)
    own = assessed("B-08", mm2(0.215, 0.185, 0.235))
    for sentence in (answer_sentence, one_test_sentence):
        assert sentence(open_plug).startswith(sentence(own))
