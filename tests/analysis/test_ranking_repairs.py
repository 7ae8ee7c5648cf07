"""Repairs in a ranking, and tests that do not count."""

from __future__ import annotations

from dataclasses import replace

from acquisition.records import Event
from acquisition.setups import open_paths
from analysis.ranking import rank
from tests.analysis.made_tests import BOX, MM2, made, part


def test_a_repair_asks_for_its_test_before_anything_else() -> None:
    before = [made("vents-taped", 1.1), made("vents-taped", 0.1, ["port-flange"], day=0.1), made("formed-sheet", 1.4)]
    ranking = rank(before, BOX, [Event("2026-05-05", "port-flange", "repair", "bead renewed")])
    assert ranking.next_test is not None
    assert (ranking.next_test.do, ranking.next_test.setup, ranking.next_test.seal) == ("hold", "formed-sheet", ())
    assert ranking.next_test.why == "It shows whether the repair of the port flange worked."
    assert ranking.advice[0] == (
        "Repaired on 5\u00a0May 2026 (port flange): hold again with the same setup to see whether it worked."
    )


def test_a_repair_of_a_place_never_open_asks_for_a_setup_that_opens_it() -> None:
    ranking = rank([made("vents-taped", 1.1)], BOX, [Event("2026-05-05", "rim-joint", "repair", "new bead")])
    assert ranking.next_test is not None
    assert "rim-joint" in open_paths(ranking.next_test.setup, ranking.next_test.seal)


def test_the_test_after_a_repair_says_whether_it_worked() -> None:
    before = [made("vents-taped", 1.1), made("vents-taped", 0.1, ["port-flange"], day=0.1)]
    repair = Event("2026-05-05", "port-flange", "repair", "bead renewed")
    ranking = rank([*before, made("vents-taped", 0.12, day=4)], BOX, [repair])
    assert "The repair worked, 99 in 100 or more: from 1.1 to 0.12\u00a0mm²." in part(ranking, "port-flange").evidence
    worse = rank([*before, made("vents-taped", 2.4, day=4)], BOX, [repair])
    assert "The repair did not help: from 1.1 to 2.4\u00a0mm²." in part(worse, "port-flange").evidence


def test_a_test_given_twice_counts_once() -> None:
    test = made("vents-taped", 0.5)
    ranking = rank([test, replace(test, log="copy.csv")], BOX)
    assert ranking.left_out == (("copy.csv", f"The same test as {test.log}, which counts."),)
    assert ranking.paths == rank([test], BOX).paths


def test_a_test_under_its_check_plug_is_left_out() -> None:
    ranking = rank([made("vents-taped", 0.05, plug_area_m2=0.165 * MM2), made("film-on-rim", 0.4)], BOX)
    assert [log for log, _ in ranking.left_out] == ["vents-taped-0.0.csv"]
    assert "check plug" in ranking.left_out[0][1]


def test_air_with_everything_sealed_fits_no_place() -> None:
    row = open_paths("vents-taped")
    ranking = rank([made("vents-taped", 0.5), made("vents-taped", 0.48, row, day=0.1)], BOX)
    assert ranking.left_out == ()
    assert ranking.unexplained is not None


def test_a_remark_from_before_the_repair_does_not_speak_for_the_place_any_more() -> None:
    tests = [made("vents-taped", 1.1), made("vents-taped", 0.1, ["port-flange"], day=0.1)]
    hiss = Event("2026-05-03", "port-flange", "remark", "hiss")
    repair = Event("2026-05-05", "port-flange", "repair", "bead renewed")
    chances = [part(rank(tests, BOX, events), "port-flange").probability_largest
               for events in ([repair], [hiss, repair], [repair, replace(hiss, date="2026-05-07")])]  # fmt: skip
    assert chances[0] == chances[1] < chances[2]
