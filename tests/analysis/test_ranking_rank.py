"""Ranking of a box's tests: what it must name, what it must leave open, and what it says."""

from __future__ import annotations

import math
import time
from dataclasses import replace

import numpy as np
import pytest
from scipy import integrate, optimize, stats

from acquisition.errors import WrongUsage
from acquisition.records import Box, Event, Pump, Vents
from acquisition.setups import SETUPS, open_paths
from analysis.ranking import rank
from analysis.ranking.choice import Standing, choose_next
from analysis.ranking.nexttest import Candidate, Search, Worth
from analysis.ranking.posterior import solve
from analysis.results import Release
from tests.analysis.made_tests import BOX, MM2, law, made, part


def test_one_test_ranks_one_group_and_says_what_parts_it() -> None:
    ranking = rank([made("vents-taped", 0.98)], BOX)
    assert [set(g) for g in ranking.not_told_apart] == [
        {"panel-edges", "panel-faces", "port-flange", "top-panel", "closure", "line"}
    ]
    assert ranking.advice[0].startswith(
        "One test tells how much, not where: panel edges, panel faces, port flange, top panel and tape "
        "together take in 0.98"
    )
    assert max(p.probability_largest for p in ranking.paths) < 0.9
    assert set(ranking.not_tested) == {"rim-joint", "sheet-edge"}
    assert ranking.next_test is not None
    assert ranking.next_test.expected_gain_bits > 0.1


def test_chances_sum_to_one_and_the_valve_seat_has_none() -> None:
    ranking = rank([made("vents-taped", 0.5), made("formed-sheet", 0.9, day=1)], BOX)
    assert sum(p.probability_largest for p in ranking.paths) == pytest.approx(1.0, abs=1e-9)
    assert sum(p.share for p in ranking.paths) == pytest.approx(1.0, abs=1e-6)
    assert part(ranking, "valve-seat").probability_largest == 0.0
    order = [p.probability_largest for p in ranking.paths]
    assert order == sorted(order, reverse=True)


def test_sealing_the_flange_names_it() -> None:
    ranking = rank([made("vents-taped", 1.1), made("vents-taped", 0.12, ["port-flange"])], BOX)
    first = ranking.paths[0]
    assert first.path == "port-flange"
    assert first.probability_largest > 0.9
    assert first.area_m2.low < 0.98 * MM2 < first.area_m2.high
    assert first.probability_over_limit is not None
    assert first.probability_over_limit > 0.95
    assert "Sealed, the box took in 0.98\u00a0mm² less." in first.evidence
    assert ranking.advice[0].startswith("Port flange first:") or ranking.next_test is not None


def test_film_on_the_rim_names_the_rim_joint_and_the_sheet_its_edge() -> None:
    rim = rank([made("film-on-top", 0.08), made("film-on-rim", 0.9)], BOX)
    assert rim.paths[0].path == "rim-joint"
    edge = rank([made("film-on-rim", 0.1), made("formed-sheet", 2.6)], BOX)
    assert edge.paths[0].path == "sheet-edge"
    assert edge.paths[0].probability_largest > 0.9


def test_places_never_parted_are_never_certain() -> None:
    tests = [made("vents-taped", 0.8, day=d) for d in range(4)]
    ranking = rank(tests, BOX)
    assert ranking.paths[0].probability_largest < 0.8
    assert len(ranking.not_told_apart) == 1
    assert len(ranking.not_told_apart[0]) == 6


def test_areas_agree_with_bounded_least_squares_where_the_tests_part_everything() -> None:
    """scipy.optimize.nnls on the same sums; one test in two opens each path, errors 1 %."""
    paths = ("panel-edges", "port-flange", "rim-joint", "top-panel")
    design = np.array([[1, 1, 0, 0], [0, 1, 1, 0], [0, 0, 1, 1], [1, 0, 1, 0], [1, 1, 1, 1], [0, 1, 0, 1.0]])
    truth = np.array([0.8, 1.6, 0.5, 1.1])
    sums = design @ truth * np.exp(0.01 * np.array([1, -1, 0.5, 0.3, -0.2, 0.8]))
    tests = [
        made("vents-taped", s, opened=[p for p, on in zip(paths, row, strict=True) if on], error=0.01, day=k,
             u_log_volume=0.0)
        for k, (s, row) in enumerate(zip(sums, design, strict=True))
    ]
    solved, _ = optimize.nnls(design, sums)
    ranking = rank(tests, BOX)
    found = [part(ranking, p).area_m2 for p in paths]
    np.testing.assert_allclose([f.value / MM2 for f in found], solved, rtol=0.08)
    assert all(f.low < t * MM2 < f.high for f, t in zip(found, truth, strict=True))


def test_two_paths_by_their_sum_agree_with_quadrature() -> None:
    """Chance of the larger of two by scipy.integrate over the log ratio at the measured sum."""
    both = ["panel-edges", "port-flange"]
    ranking = rank([made("vents-taped", 1.0, opened=both, error=0.01, u_log_volume=0.0)], None)

    def prior(z: float, median: float) -> float:
        # usual part: medians and log sd 1.8 of the trade's careful guess; the bad part is the model's own
        # (with a box's hand integrated out the usual part keeps its whole spread, but is common to both paths)
        return 0.88 * stats.norm.pdf(z, math.log(median), 1.8) + 0.12 * stats.norm.pdf(z, math.log(0.7), 1.1)

    def density(ratio: float) -> float:
        return float(prior(-math.log1p(math.exp(-ratio)), 0.06) * prior(-math.log1p(math.exp(ratio)), 0.03))

    whole, edges = integrate.quad(density, -15, 15)[0], integrate.quad(density, 0, 15)[0]
    assert part(ranking, "panel-edges").probability_largest == pytest.approx(edges / whole, abs=0.04)


def test_an_upper_limit_counts_as_a_limit() -> None:
    ranking = rank([made("film-on-top", 0.004, limit=True, error=0.5), made("film-on-rim", 0.6)], BOX)
    for path in ("panel-edges", "panel-faces", "port-flange", "line"):
        assert part(ranking, path).area_m2.high < 0.03 * MM2
    assert ranking.paths[0].path == "rim-joint"


def test_the_tank_behind_the_valve_hides_a_leak() -> None:
    hidden = rank([made("line-only", 0.0008, behind_valve="tank", limit=True, error=0.5),
                   made("line-only", 0.06, behind_valve="room", day=0.01, flags=("weeping-valve",)),
                   made("vents-taped", 0.1, behind_valve="tank", day=1)], BOX)  # fmt: skip
    seat = part(hidden, "valve-seat").area_m2
    assert seat.high < 0.0
    assert hidden.paths[-1].path == "valve-seat"
    assert part(hidden, "valve-seat").share == 0.0


def test_seep_speaks_for_the_edges_and_hole_for_the_fittings() -> None:
    seep = rank([made("undrilled", 0.6, law=law(hole=0.01, seep=0.97, between=0.02))], None)
    hole = rank([made("undrilled", 0.6, law=law(hole=0.97, seep=0.01, between=0.02))], None)
    for ranking, more in ((seep, True), (hole, False)):
        wood = sum(part(ranking, p).probability_largest for p in ("panel-edges", "panel-faces"))
        assert (wood > 0.5) is more
    assert part(hole, "line").probability_largest > part(seep, "line").probability_largest


def test_a_seal_that_let_go_speaks_for_the_tape() -> None:
    plain = rank([made("vents-taped", 0.6)], BOX)
    gone = rank([made("vents-taped", 0.6, flags=("seal-let-go",))], BOX)
    assert part(gone, "closure").probability_largest > 1.3 * part(plain, "closure").probability_largest
    assert "A seal let go in the test with vents taped." in part(gone, "closure").evidence


@pytest.mark.parametrize(("path", "text"), [("port-flange", "hiss"), ("", "Hiss heard at the flange")])
def test_a_remark_raises_its_place_modestly(path: str, text: str) -> None:
    plain = part(rank([made("vents-taped", 0.6)], BOX), "port-flange").probability_largest
    heard = rank([made("vents-taped", 0.6)], BOX, [Event("2026-05-03", path, "remark", text)])
    told = part(heard, "port-flange")
    assert 1.3 * plain < told.probability_largest < 0.85
    assert any("Noted 3\u00a0May 2026" in sentence for sentence in told.evidence)


def test_a_repair_splits_history() -> None:
    before = [made("vents-taped", 1.1), made("vents-taped", 0.1, ["port-flange"])]
    repair = Event("2026-05-05", "port-flange", "repair", "bead renewed")
    after = rank([*before, made("vents-taped", 0.11, day=4)], BOX, [repair])
    assert part(after, "port-flange").area_m2.high < 0.15 * MM2
    assert "Resealed 5\u00a0May 2026; tested since." in part(after, "port-flange").evidence
    assert after.unexplained is None
    untested = rank(before, BOX, [repair])
    assert part(untested, "port-flange").area_m2.high > 5 * part(untested, "port-flange").area_m2.value
    assert "Resealed 5\u00a0May 2026; not tested since." in part(untested, "port-flange").evidence


def test_one_side_at_a_time_finds_the_seam() -> None:
    tests = [made("vents-taped", 0.9), made("vents-taped", 0.88, ["panel-edges/front"], day=0.1),
             made("vents-taped", 0.13, ["panel-edges/left"], day=0.2)]  # fmt: skip
    ranking = rank(tests, BOX)
    assert ranking.paths[0].path == "panel-edges/left"
    assert ranking.paths[0].probability_largest > 0.9
    assert {p.path for p in ranking.paths} >= {f"panel-edges/{s}" for s in ("front", "back", "left", "right")}
    assert "panel-edges" not in {p.path for p in ranking.paths}


def test_two_tests_that_disagree_are_named() -> None:
    ranking = rank([made("vents-taped", 0.3, day=-21), made("vents-taped", 3.0)], BOX)
    assert ranking.unexplained is not None
    assert ranking.unexplained.log == "vents-taped--21.csv"
    assert ranking.unexplained.by_m2 == pytest.approx(-2.7 * MM2, rel=0.15)
    assert ranking.unexplained.sentence.startswith("The two tests do not agree: the one of 12\u00a0Apr has 2.")
    assert ranking.unexplained.sentence.endswith(
        "less than the one of 3\u00a0May, and nothing was noted between. Repeat that one first."
    )
    assert ranking.next_test is not None
    assert ranking.next_test.do == "repeat"


def test_more_sealed_yet_more_leak_is_unexplained() -> None:
    tests = [made("vents-taped", 0.2), made("vents-taped", 0.21, day=1),
             made("vents-taped", 2.5, ["port-flange"], day=2)]  # fmt: skip
    ranking = rank(tests, BOX)
    assert ranking.unexplained is not None
    assert ranking.unexplained.log == "vents-taped-2.csv"
    assert ranking.unexplained.by_m2 > 1.5 * MM2


def test_sheets_that_differ_by_a_factor_are_not_unexplained() -> None:
    tests = [made("film-on-rim", 0.1), made("formed-sheet", 1.0, day=1), made("formed-sheet", 2.2, day=2)]
    assert rank(tests, BOX).unexplained is None


def test_refused_logs_and_unknown_setups_are_left_out_with_the_reason() -> None:
    reason = "The gauge stayed on 12.0 kPa."
    stuck = made("vents-taped", 1.0, outcome="refused", area_m2=None, area_fit_m2=None, reason=reason)
    strange = made("vents-taped", 1.0, opened=())
    ranking = rank([stuck, strange, made("vents-taped", 0.5, day=1)], BOX)
    assert ranking.left_out[0] == (stuck.log, reason)
    assert "setup is not known" in ranking.left_out[1][1]
    assert ranking.outcome == "ranked"
    none = rank([stuck], BOX)
    assert none.outcome == "refused"
    assert none.reason
    assert none.next_test is None


def test_of_many_tests_alike_the_latest_four_count() -> None:
    tests = [made("vents-taped", 0.1 * 1.3**k, day=30.0 * k) for k in range(8)]
    ranking = rank(tests, BOX)
    assert [log for log, _ in ranking.left_out] == [t.log for t in tests[:4]]
    renewed = rank(tests, BOX, [Event("2026-08-15", "port-flange", "repair", "bead")])
    assert renewed.left_out == ()


def test_two_boxes_are_misuse() -> None:
    with pytest.raises(WrongUsage, match="2 boxes"):
        rank([made("vents-taped", 1.0), made("vents-taped", 1.0, box="B-08")], None)


def test_a_known_open_hole_is_taken_off() -> None:
    plain = rank([made("line-only", 0.2), made("line-only", 0.205, plug_area_m2=0.2 * MM2, day=1)], BOX)
    assert plain.unexplained is not None
    fits = rank([made("vents-taped", 0.3), made("vents-taped", 0.5, plug_area_m2=0.2 * MM2, day=1)], BOX)
    assert fits.unexplained is None


def test_the_same_tests_give_the_same_ranking() -> None:
    tests = [made("vents-taped", 0.5), made("formed-sheet", 0.9, day=1)]
    assert rank(tests, BOX) == rank(tests, BOX)


def test_nothing_drilled_means_no_sheet_and_no_tape() -> None:
    ranking = rank([made("undrilled", 0.8)], Box("B-07"))
    assert ranking.next_test is not None
    assert ranking.next_test.setup in ("undrilled", "line-only")


def test_a_settled_box_asks_for_no_test_and_names_repair_and_cautions() -> None:
    tests = [made("film-on-top", 0.02), made("film-on-rim", 2.1, day=0.1), made("formed-sheet", 2.0, day=0.2)]
    ranking = rank(tests, BOX)
    assert ranking.next_test is None
    assert ranking.advice[0].startswith("Rim joint first: ")
    assert any("lip" in sentence for sentence in ranking.advice)
    assert any("cured" in sentence for sentence in ranking.advice)


def test_a_tight_box_asks_for_nothing() -> None:
    tests = [made("vents-taped", 0.01), made("formed-sheet", 0.03, day=1, verdict="tight")]
    ranking = rank(tests, BOX)
    assert ranking.next_test is None
    assert ranking.advice == ("Nothing to reseal: with a sheet on it the box is tight.",)


def test_a_likely_place_that_was_never_open_is_tested_next() -> None:
    ranking = rank([made("vents-taped", 0.004, error=0.2), made("film-on-rim", 0.005, error=0.2, day=1)], BOX)
    assert ranking.next_test is not None
    assert "sheet-edge" in open_paths(ranking.next_test.setup, ranking.next_test.seal)


@pytest.mark.parametrize(("pump", "area_mm2", "do"), [
    # 1.4 L/s from 8 kPa: the net flow at half of room pressure is 60 Pa m3/s, what 3.0 mm2 let in (20.13 a mm2)
    (Pump(speed_L_s=1.4, ultimate_kPa=8.0), 9.0, "stall"), (Pump(speed_L_s=1.4, ultimate_kPa=8.0), 2.8, "hold"),
    (Pump(), 9.0, "hold"),
])  # fmt: skip
def test_big_leaks_are_asked_by_a_stall_test_when_the_pump_is_known(pump: Pump, area_mm2: float, do: str) -> None:
    box = Box("B-07", vents=Vents(count=120), pump=pump)
    posterior = solve([made("vents-taped", area_mm2)], box, (), np.random.default_rng(1), walkers=200, final_moves=1)
    worth = Worth(Candidate("hold", "film-on-top", (), 27.0), 0.5, area_mm2 * MM2, np.ones((200, 1)))
    found = Search(("panel-edges", "port-flange"), np.array([0.6, 0.4]), (worth,))
    choice = choose_next(posterior, found, Standing(None, False, False, (), None), None, box, None)
    assert choice.test is not None
    assert choice.test.do == do


def test_a_place_named_and_over_its_limit_is_resealed_first() -> None:
    tests = [made("vents-taped", 0.9), made("vents-taped", 0.1, ["port-flange"], day=0.1)]
    ranking = rank(tests, BOX)
    assert ranking.next_test is None
    assert ranking.advice[0].startswith("Port flange first: ")
    # under its limit: only what was never open is worth a test
    small = rank([made("vents-taped", 0.09), made("vents-taped", 0.01, ["port-flange"], day=0.1)], BOX)
    assert small.next_test is not None
    assert {"rim-joint", "sheet-edge"} & set(open_paths(small.next_test.setup, small.next_test.seal))
    assert small.advice[0].startswith("Nothing to reseal so far: ")


def test_a_limit_whose_shut_was_not_seen_clears_no_box() -> None:
    tests = [made("vents-taped", 0.12), made("film-on-rim", 0.13, day=0.1), made("formed-sheet", 0.16, day=0.2)]
    ranking = rank([*tests[:2], replace(tests[2], flags=("shut-not-seen",))], BOX)
    assert not ranking.advice[0].startswith("Nothing to reseal")


def test_all_places_under_the_limit_ends_the_search() -> None:
    tests = [made("vents-taped", 0.12), made("film-on-rim", 0.13, day=0.1), made("formed-sheet", 0.16, day=0.2)]
    ranking = rank(tests, BOX)
    assert ranking.next_test is None
    assert ranking.advice[0].startswith("Nothing to reseal: all places together stay under the limit")


def test_law_and_ear_never_name_a_place_that_no_test_parts() -> None:
    seeps = law(hole=0.01, seep=0.97, between=0.02)
    tests = [made("vents-taped", 0.8, day=d, law=seeps) for d in range(3)]
    heard = [Event("2026-05-03", "panel-edges", "remark", "hiss heard at the seam")]
    ranking = rank(tests, BOX, heard)
    assert ranking.paths[0].path == "panel-edges"
    assert ranking.paths[0].probability_largest <= 0.85 + 1e-9
    assert sum(p.probability_largest for p in ranking.paths) == pytest.approx(1.0, abs=1e-9)


def test_six_tests_take_under_two_seconds_of_one_processor() -> None:
    tests = [made("vents-taped", 1.1), made("vents-taped", 0.5, ["port-flange"], day=1),
             made("film-on-top", 1.0, day=2), made("film-on-rim", 1.2, day=3), made("formed-sheet", 1.6, day=4),
             made("line-only", 0.01, day=5, law=law(hole=0.9, seep=0.05, between=0.05))]  # fmt: skip
    began = time.process_time()
    rank(tests, BOX)
    assert time.process_time() - began < 2.0


def test_every_setup_and_every_do_has_its_words() -> None:
    release = Release(True, 0.4)
    for setup in SETUPS:
        ranking = rank([made(setup, 0.05, release=release, behind_valve="tank")], None)
        assert all(sentence.endswith(".") for sentence in ranking.advice)
        assert all(sentence.endswith(".") for p in ranking.paths for sentence in p.evidence)


def test_a_capped_hose_that_leaks_is_the_hose_and_not_the_seat() -> None:
    tests = [made("vents-taped", 0.58), made("film-on-top", 0.585, ["port-flange"], day=0.1),
             made("line-only", 0.6, day=0.2)]  # fmt: skip
    ranking = rank(tests, BOX)
    assert ranking.paths[0].path == "line"
    assert ranking.paths[0].probability_largest > 0.9
