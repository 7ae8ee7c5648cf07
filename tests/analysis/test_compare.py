from dataclasses import replace
from datetime import datetime
from math import exp

import numpy as np
import pytest

from acquisition.records import Event
from acquisition.setups import open_paths
from analysis.compare import between_tests, compare_sheet
from analysis.results import Assessment, Interval, Limit, VerdictKind

MM2 = 1e-6


def hold(
    setup: str, value: float, factor: float = 1.05, verdict: VerdictKind = "within", u_volume: float = 0.0,
    sealed: tuple[str, ...] = (), box: str = "B-11", volume: float = 0.032,
) -> Assessment:
    """One result of ``value`` mm2, its 95 % interval a factor wide on both sides (without the volume)."""
    wide = exp(1.96 * np.hypot(np.log(factor) / 1.96, u_volume))
    return Assessment(
        log=f"{setup}.csv", box=box, setup=setup, sealed=sealed, open_paths=open_paths(setup, sealed), started=None,
        outcome="estimate", reason=None, advice="", verdict=verdict, limit=Limit(0.4 * MM2, "pump"), test="hold",
        area_m2=Interval(value * MM2, value / wide * MM2, value * wide * MM2), u_log_volume=u_volume, volume_m3=volume,
    )


def limit_hold(setup: str, guess: float, high: float) -> Assessment:
    return replace(hold(setup, 1.0), outcome="upper-limit", verdict="tight",
                   area_m2=Interval(guess * MM2, 0.0, high * MM2))


def refused(setup: str) -> Assessment:
    reason = "the gauge stood still"
    return replace(hold(setup, 1.0), outcome="refused", area_m2=None, verdict="no-answer", reason=reason)


def plain(text: str) -> str:
    return text.replace("\u00a0", " ")


def test_film_on_the_rim_isolates_the_sheet_edge() -> None:
    result = compare_sheet([hold("film-on-rim", 0.13)], [hold("formed-sheet", 1.13)])
    assert result.outcome == "estimate"
    assert result.gained_paths == ("sheet-edge",)
    assert result.covered_paths == ("closure",)
    assert result.difference_m2 is not None
    assert result.difference_m2.value == pytest.approx(1.0 * MM2)
    # 1.13 known to 5 % and 3 % for the sheet's own volume: half width 1.13 * hypot(0.0488, 0.0588) = 0.086
    assert result.difference_m2.high - result.difference_m2.low == pytest.approx(0.173 * MM2, rel=0.06)


def test_vents_taped_gains_two_paths_and_covers_two() -> None:
    result = compare_sheet([hold("vents-taped", 0.13)], [hold("formed-sheet", 1.13)])
    assert set(result.gained_paths) == {"rim-joint", "sheet-edge"}
    assert set(result.covered_paths) == {"top-panel", "closure"}
    assert "rim joint and sheet edge together" in result.sentence


def test_sealed_paths_are_neither_gained_nor_covered() -> None:
    result = compare_sheet(
        [hold("vents-taped", 0.1, sealed=("port-flange",))], [hold("formed-sheet", 0.5, sealed=("rim-joint",))])
    assert result.gained_paths == ("port-flange", "sheet-edge")
    assert "port-flange" not in result.covered_paths


def test_film_on_the_rim_is_preferred() -> None:
    result = compare_sheet([hold("vents-taped", 0.9), hold("film-on-rim", 0.2)], [hold("formed-sheet", 1.2)])
    assert result.difference_m2 is not None
    assert result.difference_m2.value == pytest.approx(1.0 * MM2)


def test_common_volume_error_scales_but_cannot_turn_the_sign() -> None:
    exact = compare_sheet([hold("film-on-rim", 1.0, 1.01)], [hold("formed-sheet", 1.2, 1.01, volume=0.033)])
    vague = compare_sheet(
        [hold("film-on-rim", 1.0, 1.01, u_volume=0.2)], [hold("formed-sheet", 1.2, 1.01, u_volume=0.2, volume=0.033)])
    assert exact.difference_m2 is not None
    assert vague.difference_m2 is not None
    assert vague.difference_m2.low > 0.0
    # exp(1.96 * 0.2) = 1.48 on top of 0.2 mm2; independent errors would have given +- 0.5 mm2
    assert 0.27 * MM2 < vague.difference_m2.high < 0.34 * MM2
    assert exact.difference_m2.high < 0.24 * MM2


def test_sheets_that_differ_widen_the_answer() -> None:
    film = [hold("film-on-rim", 0.13)]
    alike = compare_sheet(film, [hold("formed-sheet", 2.6)] * 3)
    apart = compare_sheet(film, [hold("formed-sheet", v) for v in (1.7, 2.6, 4.0)])
    assert alike.difference_m2 is not None
    assert apart.difference_m2 is not None
    wide = apart.difference_m2.high - apart.difference_m2.low
    assert wide > 5.0 * (alike.difference_m2.high - alike.difference_m2.low)
    assert apart.difference_m2.low < 1.6 * MM2
    assert apart.difference_m2.high > 4.0 * MM2


def test_scatter_is_what_the_intervals_do_not_explain() -> None:
    # ln(4.0/1.7)/2 = 0.428 is the standard deviation of three evenly spread logs
    spread = between_tests([hold("formed-sheet", v, 1.001) for v in (1.7, 2.6077, 4.0)])
    assert spread == pytest.approx(0.428, abs=0.002)
    assert between_tests([hold("formed-sheet", v, 1.5) for v in (1.0, 1.02)]) == 0.0


def test_limits_enter_as_limits() -> None:
    result = compare_sheet([limit_hold("film-on-rim", 0.005, 0.02)], [hold("formed-sheet", 0.5, 1.02)])
    assert result.difference_m2 is not None
    assert 0.46 * MM2 < result.difference_m2.low < result.difference_m2.high < 0.54 * MM2
    both = compare_sheet([limit_hold("film-on-rim", 0.005, 0.02)], [limit_hold("formed-sheet", 0.005, 0.02)])
    assert both.difference_m2 is not None
    assert both.difference_m2.low < 0.0 < both.difference_m2.high
    assert both.sentence.startswith("Cannot tell whether the sheet edge lets air in")


def test_same_tests_same_figures() -> None:
    sides = [hold("film-on-rim", 0.13)], [hold("formed-sheet", 1.13)]
    assert compare_sheet(*sides) == compare_sheet(*sides)


@pytest.mark.parametrize(
    ("without", "with_sheet", "words"),
    [
        ([refused("film-on-rim")], [hold("formed-sheet", 1.0)], "a sheet. film-on-rim.csv: the gauge stood still"),
        ([hold("film-on-rim", 1.0)], [refused("formed-sheet")], "with a formed sheet"),
        ([hold("film-on-rim", 1.0)], [hold("vents-taped", 1.0)], "has the setup vents-taped"),
        ([hold("line-only", 1.0)], [hold("formed-sheet", 1.0)], "without a sheet"),
        ([], [hold("formed-sheet", 1.0)], "without a sheet"),
        ([hold("film-on-rim", 1.0, box="A")], [hold("formed-sheet", 1.0)], "different boxes, A and B-11"),
    ],
)
def test_refusals(without: list[Assessment], with_sheet: list[Assessment], words: str) -> None:
    result = compare_sheet(without, with_sheet)
    assert result.outcome == "refused"
    assert result.difference_m2 is None
    assert result.reason is not None
    assert words in result.reason


def test_the_sheet_edge_sentence() -> None:
    sheets = [hold("formed-sheet", v) for v in (1.7, 2.6, 4.0)]
    sentence = plain(compare_sheet([hold("film-on-rim", 0.13)], sheets).sentence)
    assert sentence.startswith("The sheet edge: 2.5 mm², 1.")
    assert sentence.endswith("The box itself holds.")
    alone = compare_sheet([hold("film-on-rim", 0.6, verdict="over")], sheets[1:2]).sentence
    assert "The box itself is over its limit too." in alone
    assert alone.endswith("One sheet only: hold a second before blaming the rim.")


def test_not_the_sheet_edge_sentence() -> None:
    result = compare_sheet([hold("vents-taped", 0.50, 1.02)], [hold("formed-sheet", 0.36, 1.02)])
    assert plain(result.sentence) == (
        "Not the sheet edge: with a sheet on it takes in 0.14 mm² less. "
        "Look at what the sheet covers: top panel or tape.")


def test_inch_sentence_speaks_of_drilled_holes() -> None:
    result = compare_sheet([hold("film-on-rim", 0.02)], [hold("formed-sheet", 1.0)] * 2, "inch")
    assert "like one drilled hole of 0.048\u00a0in" in result.sentence
    assert "mm" not in result.sentence


def test_one_log_on_both_sides_is_no_comparison() -> None:
    one = replace(hold("vents-taped", 0.2), log="a.csv")
    assert compare_sheet([one], [one]).reason == (
        "a.csv stands on both sides; give one log without a sheet and another one with it.")


def test_swapped_sides_are_said_to_be() -> None:
    swapped = compare_sheet([hold("formed-sheet", 1.1)], [hold("film-on-rim", 0.1)])
    assert swapped.reason == (
        "The two sides are swapped: formed-sheet.csv has a formed sheet; give it after --with-sheet, the other before.")


def test_an_open_check_plug_is_taken_off_before_the_difference() -> None:
    plugged = replace(hold("film-on-rim", 0.3), plug_area_m2=0.17 * MM2)
    with_plug, without = (compare_sheet([film], [hold("formed-sheet", 1.13)]) for film in
                          (plugged, hold("film-on-rim", 0.13)))  # fmt: skip
    assert with_plug.difference_m2 is not None
    assert without.difference_m2 is not None
    assert with_plug.difference_m2.value == pytest.approx(without.difference_m2.value)


def dated(assessment: Assessment, day: int) -> Assessment:
    return replace(assessment, started=datetime(2026, 5, day, 9))


BEAD = Event("2026-05-05", "panel-edges", "repair", "new bead")


def test_tests_on_two_sides_of_a_repair_are_not_compared() -> None:
    film, sheet = dated(hold("film-on-rim", 0.6), 3), dated(hold("formed-sheet", 1.1), 7)
    told = compare_sheet([film], [sheet], events=[BEAD]).reason
    assert told is not None
    assert plain(told) == (
        "The tests with and without a sheet are on two sides of the repair of 5 May 2026; hold again without a sheet.")
    later = dated(hold("film-on-rim", 0.13), 8)
    both = compare_sheet([film, later], [sheet], events=[BEAD])
    assert both.difference_m2 == compare_sheet([later], [sheet]).difference_m2
    elsewhere = replace(BEAD, path="top-panel")
    assert compare_sheet([film], [sheet], events=[elsewhere]).outcome == "estimate"


def test_undated_tests_beside_a_repair_ask_for_their_day() -> None:
    told = compare_sheet([hold("film-on-rim", 0.6)], [hold("formed-sheet", 1.1)], events=[BEAD]).reason
    assert told is not None
    assert told.startswith("A test without a date is neither before nor after the repair of")


def test_a_log_given_twice_counts_once() -> None:
    a, b = replace(hold("film-on-rim", 0.13), log="a.csv"), replace(hold("film-on-rim", 0.2), log="b.csv")
    sheets = [hold("formed-sheet", 1.13)]
    assert compare_sheet([a, replace(a), b], sheets).difference_m2 == compare_sheet([a, b], sheets).difference_m2
