"""The sample logs against what was planted in them: outcome, interval, refusal, law, release, loss.

Nothing here was fitted to the answers: ``planted.json`` is the simulation's own truth, and the simulation shares
no code with the fit.
"""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from acquisition.boxfile import read_box
from acquisition.logfile import read_log
from analysis.assess import assess_logs
from analysis.results import Assessment

SAMPLES = Path(__file__).parents[1] / "sample_logs"
PLANTED = json.loads((SAMPLES / "planted.json").read_text(encoding="utf-8"))
NAMES = sorted(PLANTED)
# A weeping seat with a tank or pump behind it takes air out of the box, one with the room behind it lets air in.
SEATS = {name for name in NAMES if PLANTED[name]["valve_seat_mm2"] > 0.01}


@cache
def box_results(box: str) -> dict[str, Assessment]:
    """Results of all logs of a box, by name, in one call as a person would make it."""
    paths = sorted((SAMPLES / box / "logs").glob("*.csv"))
    known = read_box(SAMPLES / box / "box.toml")
    results = assess_logs([(read_log(path), known) for path in paths])
    return {f"{box}/logs/{path.name}": got for path, got in zip(paths, results, strict=True)}


@pytest.fixture(scope="session")
def results() -> dict[str, Assessment]:
    """Every sample log's result, each assessed once."""
    boxes = sorted({name.split("/")[0] for name in NAMES})
    return {name: got for box in boxes for name, got in box_results(box).items()}


def only(results: dict[str, Assessment], piece: str) -> Assessment:
    (name,) = [name for name in NAMES if piece in name]
    return results[name]


def behind(name: str) -> str | None:
    return read_log(SAMPLES / name).header.behind_valve


def area_felt(name: str) -> float | None:
    """Area in mm2 that the box's air feels through its shut valve; None where the seat draws air out."""
    planted = PLANTED[name]
    if name not in SEATS:
        return float(planted["area_mm2"])
    return float(planted["area_mm2"] + planted["valve_seat_mm2"]) if behind(name) == "room" else None


def off(got: Assessment, area_mm2: float) -> float:
    """How many half widths (of its side) the planted area lies from the value."""
    value, low, high = (x * 1e6 for x in (got.area_m2.value, got.area_m2.low, got.area_m2.high))
    return (area_mm2 - value) / (high - value) if area_mm2 > value else (value - area_mm2) / (value - low)


@pytest.mark.parametrize("name", NAMES)
def test_outcome_is_one_an_honest_answer_may_have(results, name):
    assert results[name].outcome in PLANTED[name]["expected"], (results[name].area_m2, results[name].reason)


def usable(results):
    """Names of logs with an interval and an area to compare it with."""
    return [name for name in NAMES if results[name].area_m2 is not None and area_felt(name) is not None]


def test_nearly_all_logs_are_usable(results):
    assert len(usable(results)) >= 50


def test_planted_areas_lie_in_at_least_nine_of_ten_intervals(results):
    names = usable(results)
    misses = [name for name in names if off(results[name], area_felt(name)) > 1.0]
    assert len(misses) <= 0.1 * len(names), misses


@pytest.mark.parametrize("name", NAMES)
def test_no_interval_is_off_by_more_than_two_half_widths(results, name):
    got, area = results[name], area_felt(name)
    if got.area_m2 is not None and area is not None:
        assert off(got, area) < 2.0


def test_values_are_not_all_on_one_side(results):
    # Volume, barometer and temperature are drawn apart for every box; within a box they are one. So by boxes.
    sides = {}
    for name in usable(results):
        if results[name].outcome == "estimate" and results[name].test == "hold":
            sides.setdefault(name.split("/")[0], []).append(results[name].area_m2.value * 1e6 / area_felt(name) - 1.0)
    middles = [float(np.median(gaps)) for gaps in sides.values()]
    assert min(middles) < 0.0 < max(middles)
    assert abs(float(np.median(middles))) < 0.03


# --- refusals --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("piece", "words"), [
    ("20260504T0900", "too short"), ("20260504T0910", "stayed on"), ("20260504T0925", "on the tank"),
    ("20260504T0940", "still hot"),
])  # fmt: skip
def test_a_refusal_names_what_went_wrong(results, piece, words):
    got = only(results, piece)
    assert got.outcome == "refused"
    assert words in got.reason
    assert got.advice


def test_a_unit_pressed_in_mid_hold_is_refused_by_name_or_cut(results):
    got = only(results, "20260505T0950")
    if got.outcome == "refused":
        assert "unit" in got.reason
    else:
        assert "unit-changed" in got.flags
        assert got.span.end_s < 260.0


# --- flags and cuts --------------------------------------------------------------------------------------


@pytest.mark.parametrize(("piece", "flag"), [
    ("20260505T0915", "seal-let-go"), ("20260505T1005", "spikes"), ("20260505T1050", "barometer-guessed"),
    ("20260210T0912", "release"), ("20260408T1335", "big-leak"),
])  # fmt: skip
def test_what_is_odd_is_flagged(results, piece, flag):
    assert flag in only(results, piece).flags


def test_the_film_is_answered_for_the_time_before_it_let_go(results):
    # The film lets go at 235 s.
    got = only(results, "20260505T0915")
    assert got.span.end_s < 245.0
    assert got.law.kind == "undetermined"


@pytest.mark.parametrize(("piece", "flag", "at_s"), [("T1020", "clock-back", 250.0), ("T1035", "jump", 240.0)])
def test_what_comes_after_a_fault_is_not_used(results, piece, flag, at_s):
    got = only(results, f"20260505{piece}")
    assert got.outcome == "refused" or (flag in got.flags and got.span.end_s <= at_s)


# --- law, release, stall ---------------------------------------------------------------------------------


def test_a_law_that_is_named_is_the_one_planted(results):
    named = {n: got.law.kind for n, got in results.items() if got.law is not None and got.law.kind != "undetermined"}
    compared = [n for n in named if n not in SEATS]
    wrong = [n for n in compared if named[n] != PLANTED[n]["law"]]
    assert len(compared) >= 5
    # A name is given at 95 %: one in twenty may be wrong.
    assert len(wrong) <= max(1, len(compared) // 20), wrong


def test_a_deep_hold_after_a_weak_one_tells_the_seep(results):
    assert only(results, "20260224T1500").law.kind == "seep"


def test_releases_share_is_near_the_planted_one(results):
    held = {n: got for n, got in results.items() if got.release is not None and got.test == "hold"}
    gaps = {n: abs(got.release.share - PLANTED[n]["release_share"]) for n, got in held.items()
            if "seal-let-go" not in got.flags}  # fmt: skip
    assert max(gaps.values()) < 0.25, max(gaps, key=gaps.get)
    assert np.median(list(gaps.values())) < 0.02


def test_a_fresh_box_redrawn_shows_how_tight_it_is(results):
    redrawn = only(results, "20260210T0931")
    assert len(redrawn.earlier_holds) == 1
    # Smallest leak that may be claimed of a bare box: 0.015 mm2, soaked and redrawn 0.004 (design); twice that here.
    assert redrawn.area_m2.high < 0.008e-6


@pytest.mark.parametrize("piece", ["20260408T1320", "20260408T1350"])
def test_a_stall_is_answered_from_the_pump(results, piece):
    got = only(results, piece)
    assert (got.test, got.verdict) == ("stall", "stalls")
    assert got.area_m2.value == pytest.approx(4.28e-6, rel=0.2)


# --- a weeping seat --------------------------------------------------------------------------------------


def test_a_tank_behind_a_weeping_seat_hides_part_of_the_leak(results):
    hidden, shown, cleaned = (only(results, f"{t}") for t in ("20251105T1410", "20251105T1445", "20251112T0930"))
    assert hidden.area_m2.value < cleaned.area_m2.value < shown.area_m2.value
    # Planted 0.136 mm2 and a seat of 0.07: with the room behind it the box takes in the sum.
    assert shown.area_m2.low < 0.206e-6 < shown.area_m2.high


def test_a_capped_hose_whose_vacuum_grows_has_no_leak_to_show(results):
    got = only(results, "20251105T1425")
    assert got.outcome == "refused" or got.area_m2.low == 0.0
    if got.outcome == "refused":
        assert "falls by" in got.reason


# --- every result ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", NAMES)
def test_every_result_keeps_its_promises(results, name):
    got = results[name]
    assert got.advice
    if got.outcome == "refused":
        assert (got.area_m2, got.span, got.law) == (None, None, None)
        assert got.reason
        return
    assert got.area_m2.low <= got.area_m2.value <= got.area_m2.high
    assert got.outcome == "estimate" or got.area_m2.low == 0.0
    assert sum(got.law.probability.values()) == pytest.approx(1.0)
    assert 0.0 <= got.release.share <= 1.0


def test_the_history_of_b04_follows_its_planted_areas(results):
    # Ratios within a box cancel the volume: the course over fourteen months is known better than the areas.
    names = [n for n in NAMES if n.startswith("B-04")]
    ratio = np.array([results[n].area_m2.value * 1e6 / PLANTED[n]["area_mm2"] for n in names])
    assert np.std(np.log(ratio)) < 0.03
