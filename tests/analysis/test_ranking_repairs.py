"""Repairs in a ranking, and tests that do not count."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from acquisition.records import Event
from acquisition.setups import open_paths
from analysis.history import history
from analysis.ranking import rank, waiting_sentence
from analysis.results import Assessment, Phase, Release
from tests.analysis.made_tests import BOX, FIRST, MM2, made, part


def test_a_repair_asks_for_its_test_before_anything_else() -> None:
    before = [made("vents-taped", 1.1), made("vents-taped", 0.1, ["port-flange"], day=0.1), made("formed-sheet", 1.4)]
    ranking = rank(before, BOX, [Event("2026-05-05", "port-flange", "repair", "bead renewed")])
    assert ranking.next_test is not None
    assert (ranking.next_test.do, ranking.next_test.setup, ranking.next_test.seal) == ("hold", "formed-sheet", ())
    assert ranking.next_test.why == "It shows whether the repair of the port flange worked."
    assert ranking.advice[0] == (
        "Repaired on 5\u00a0May 2026 (port flange): hold again with the same setup to see whether it worked."
    )


def test_a_place_repaired_is_untested_until_a_test_has_it_open() -> None:
    before = [made("vents-taped", 1.1), made("vents-taped", 0.1, ["port-flange"], day=0.1)]
    repair = Event("2026-05-05", "port-flange", "repair", "bead renewed")
    sealed = made("vents-taped", 0.1, ["port-flange"], day=3)
    ranking = rank([*before, sealed], BOX, [repair])
    assert [p.path for p in ranking.paths if p.untested] == ["port-flange"]
    after = rank([*before, made("vents-taped", 0.12, day=4)], BOX, [repair])
    assert not any(p.untested for p in after.paths)
    anywhere = rank(before, BOX, [Event("2026-05-05", "", "repair", "beads renewed")])
    assert all(p.untested for p in anywhere.paths)


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
    assert rank([test, replace(test)], BOX).left_out == ((test.log, "Given twice; it counts once."),)


def test_an_undated_test_under_another_name_counts_once() -> None:
    test = replace(made("vents-taped", 0.5), started=None)
    ranking = rank([test, replace(test, log="copy.csv")], BOX)
    assert [log for log, _ in ranking.left_out] == ["copy.csv"]
    other = replace(test, log="other.csv", phases=(Phase("hold", 0.0, 100.0),))
    assert rank([test, other], BOX).left_out == ()


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


def spoken(text: str) -> str:
    return text.replace("\u00a0", " ")


def test_a_sealed_part_is_not_tested_by_its_open_parent() -> None:
    repair = Event("2026-05-05", "panel-edges/left", "repair", "new bead")
    shut = made("vents-taped", 0.9, ["panel-edges/left"], day=4)
    ranking = rank([made("vents-taped", 1.1), shut], BOX, [repair])
    assert ranking.waiting == (repair,)
    assert ranking.next_test is not None
    assert ranking.next_test.seal == ()
    assert rank([made("vents-taped", 1.1), replace(shut, sealed=())], BOX, [repair]).waiting == ()


@pytest.mark.parametrize(("hour", "waits"), [("", True), ("T08:59", False), ("T09:01", True)])
def test_a_test_of_the_same_day_came_before_unless_the_hours_say_otherwise(hour: str, waits: bool) -> None:
    repair = Event(FIRST.date().isoformat() + hour, "port-flange", "repair", "new gasket")
    test = made("vents-taped", 0.3)
    ranking = rank([test], BOX, [repair])
    assert bool(ranking.waiting) == waits
    told = next(line for line in part(ranking, "port-flange").evidence if line.startswith("Resealed"))
    assert told.endswith("not tested since." if waits else "; tested since.")
    assert bool(history([test], [repair], BOX)[0].waiting) == waits


def test_an_undated_test_is_left_out_where_a_place_it_had_open_was_mended() -> None:
    undated = replace(made("vents-taped", 1.1), started=None)
    repair = Event("2026-05-05", "port-flange", "repair", "bead renewed")
    ranking = rank([undated], BOX, [repair])
    assert (ranking.outcome, ranking.waiting) == ("refused", (repair,))
    assert ranking.reason is not None
    assert spoken(ranking.reason).startswith(
        "A test without a date is neither before nor after the repair of 5 May 2026 (port flange); write a line such "
        "as '# started:")
    assert spoken(ranking.advice[0]) == (
        "Repaired on 5 May 2026 (port flange): hold again with the same setup to see whether it worked.")
    shut = replace(undated, sealed=("port-flange",), open_paths=open_paths("vents-taped", ["port-flange"]))
    assert rank([shut], BOX, [repair]).left_out == ()
    assert rank([undated], BOX, [replace(repair, kind="remark")]).left_out == ()


def test_two_repairs_wait_for_one_hold_and_are_credited_together() -> None:
    before = [made("vents-taped", 1.1), made("vents-taped", 0.6, ["port-flange"], day=0.1)]
    days = (("2026-05-05", "port-flange"), ("2026-05-06", "panel-edges"))
    repairs = [Event(day, path, "repair", "bead") for day, path in days]
    ranking = rank(before, BOX, repairs)
    assert ranking.waiting == tuple(repairs)
    assert spoken(ranking.advice[0]) == (
        "Repaired on 5 May 2026 (port flange) and 6 May 2026 (panel edges): hold again with the same setup to see "
        "whether they worked.")
    assert ranking.next_test is not None
    assert ranking.next_test.why == "It shows whether the repairs of the port flange and the panel edges worked."
    after = rank([*before, made("vents-taped", 0.12, day=5)], BOX, repairs)
    for path in ("port-flange", "panel-edges"):
        assert any(line.startswith("The repairs of the port flange and the panel edges worked,")
                   for line in part(after, path).evidence)


def test_a_repair_without_a_place_asks_for_a_hold_and_begins_all_places_anew() -> None:
    repair = Event("2026-05-05", "", "repair", "went over it all")
    before = [made("vents-taped", 1.1), made("line-only", 0.01, day=0.2)]
    ranking = rank(before, BOX, [repair])
    assert ranking.waiting == (repair,)
    assert ranking.next_test is not None
    assert (ranking.next_test.setup, ranking.next_test.why) == ("vents-taped", "It shows whether the repair worked.")
    assert "The box was repaired, it is not said where, 5\u00a0May 2026; not tested since." in (
        part(ranking, "panel-faces").evidence)
    after = rank([*before, made("vents-taped", 0.1, day=5)], BOX, [repair])
    assert after.waiting == ()
    assert sum(p.area_m2.value for p in after.paths) < 0.3 * MM2


@pytest.mark.parametrize(("path", "setup"), [("sheet-edge", "formed-sheet"), ("rim-joint", "film-on-rim"),
                                             ("closure", "vents-taped")])  # fmt: skip
def test_the_confirming_setup_opens_the_place(path: str, setup: str) -> None:
    undrilled = made("undrilled", 1.1, opened=(*open_paths("undrilled"), path))
    repair = Event("2026-05-05", path, "repair", "bead")
    ranking = rank([undrilled, made("line-only", 0.02, day=0.1)], BOX, [repair])
    assert ranking.next_test is not None
    assert ranking.next_test.setup == setup
    assert setup.replace("-", " ").split()[0] in ranking.advice[0]


def test_of_two_repairs_the_one_with_a_figure_to_set_against_is_held_first() -> None:
    repairs = [Event("2026-05-05", "port-flange", "repair", "bead"), Event("2026-05-06", "rim-joint", "repair", "bead")]
    ranking = rank([made("vents-taped", 1.1)], BOX, repairs)
    assert ranking.waiting == (repairs[0],)
    assert ranking.next_test is not None
    assert ranking.next_test.setup == "vents-taped"
    held = rank([made("vents-taped", 1.1), made("vents-taped", 0.2, day=5)], BOX, repairs)
    assert (held.waiting, held.next_test.setup if held.next_test else "") == ((repairs[1],), "film-on-rim")


def test_a_redraw_that_a_test_asked_for_is_part_of_the_next_test() -> None:
    stored = made("vents-taped", 0.9, release=Release(True, 0.4))
    twice = "Hold twice in that test, with a redraw between"
    assert rank([stored], BOX).advice[-1].startswith(twice)
    assert not any(line.startswith(twice) for line in rank([made("vents-taped", 0.9)], BOX).advice)


def test_a_place_that_no_hold_can_open_before_the_vents_are_drilled_is_said_to_wait_for_them() -> None:
    ranking = rank([made("undrilled", 1.1)], None, [Event("2026-05-05", "rim-joint", "repair", "bead")])
    assert spoken(ranking.advice[0]) == (
        "Repaired on 5 May 2026 (rim joint): no test can show it before the vents are drilled.")
    assert ranking.next_test is None or ranking.next_test.setup in ("undrilled", "line-only")


@pytest.mark.parametrize(
    "tests",
    [[made("vents-taped", 0.01, open_paths("vents-taped"))], [made("line-only", 0.01, ["line"])],
     [made("line-only", 0.01, ["line"]), made("vents-taped", 0.02, open_paths("vents-taped"), day=0.1)]],
)
def test_with_every_place_sealed_there_is_none_to_name(tests: list[Assessment]) -> None:
    ranking = rank(tests, BOX)
    assert (ranking.outcome, ranking.paths) == ("refused", ())
    assert ranking.reason == (
        "Every place was sealed in these tests, so there is none to name; hold the box once with the vents taped, "
        "nothing sealed.")
    assert ranking.advice == (ranking.reason,)


def test_tests_on_two_sides_of_a_repair_are_not_set_against_each_other() -> None:
    repair = Event("2026-05-05", "panel-edges", "repair", "new bead")
    before, after = made("vents-taped", 1.1), made("vents-taped", 1.2, day=4)
    told = part(rank([before, after], BOX, [repair]), "panel-edges").evidence
    assert not any(line.startswith("Without it") for line in told)
    sealed = made("vents-taped", 0.2, ["panel-edges"], day=4.1)
    told = part(rank([before, after, sealed], BOX, [repair]), "panel-edges").evidence
    assert "Sealed, the box took in 1.0\u00a0mm² less." in told


@pytest.mark.parametrize("kind", ["repair", "change"])
def test_a_remark_from_before_a_repair_or_change_is_told_as_such(kind: str) -> None:
    hiss = Event("2026-05-03", "port-flange", "remark", "hiss")
    later = Event("2026-05-05", "port-flange", kind, "flange moved")  # type: ignore[arg-type]
    told = part(rank([made("vents-taped", 1.1, day=4)], BOX, [hiss, later]), "port-flange").evidence
    assert f"Noted 3\u00a0May 2026, before the {kind} of 5\u00a0May 2026, so it no longer counts: hiss." in told


def test_assess_and_rank_name_the_same_repair() -> None:
    repair = Event((FIRST + timedelta(days=2)).date().isoformat(), "line", "repair", "new hose")
    tests = [made("vents-taped", 1.1), made("film-on-rim", 1.2, day=1)]
    assert waiting_sentence(tests, BOX, [repair]) == rank(tests, BOX, [repair]).advice[0]
    assert waiting_sentence([*tests, made("line-only", 0.1, day=5)], BOX, [repair]) == ""
