"""The next step beside a test: the same as the ranking's, or saying what that one knows more."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from acquisition.records import Event
from analysis.nextstep import next_step
from analysis.ranking import rank
from analysis.results import Assessment
from tests.analysis.made_tests import BOX, made

GOOD = "Nothing to mend; test again in a month."
FIND = "Find where it gets in: 'boxhold rank' with all logs of the box names the place, or the hold that tells it."
LATER = date(2026, 12, 1)


def good(setup: str, area_mm2: float, seal: tuple[str, ...] = (), **more: object) -> Assessment:
    return made(setup, area_mm2, seal, **({"advice": GOOD, "verdict": "tight"} | more))  # type: ignore[arg-type]


def step(result: Assessment, *others: Assessment, today: date | None = None, events: tuple[Event, ...] = ()) -> str:
    return next_step(result, [result, *others], BOX, events, today).replace("\u00a0", " ")


def test_places_never_open_are_told_and_are_those_that_the_ranking_wants_to_try() -> None:
    taped = good("vents-taped", 0.02)
    assert step(taped) == (f"{GOOD} The rim joint and the sheet edge were not tried: 'boxhold rank' with all logs of"
                           " the box names the hold for it.")  # fmt: skip
    todo = rank([taped], BOX).next_test
    assert todo is not None
    assert todo.setup in ("film-on-rim", "formed-sheet")
    rim = good("film-on-rim", 0.02, day=1)
    assert "The sheet edge was not tried" in step(rim, taped)
    todo = rank([taped, rim], BOX).next_test
    assert todo is not None
    assert todo.setup == "formed-sheet"


def test_what_the_ranking_tries_first_it_says_so() -> None:
    todo = rank([made("vents-taped", 0.004, limit=True)], BOX).next_test
    assert todo is not None
    assert todo.why.startswith("It tries the rim joint for the first time;")


def test_nothing_is_left_to_try_where_the_setup_of_production_is_tight() -> None:
    sheet = good("formed-sheet", 0.02)
    assert step(sheet) == GOOD
    assert rank([sheet], BOX).next_test is None


def test_an_undrilled_box_is_not_asked_for_a_sheet() -> None:
    bare = good("undrilled", 0.02)
    assert next_step(bare, [bare], replace(BOX, vents=replace(BOX.vents, count=0)), (), None) == GOOD


def test_a_good_test_of_a_box_that_is_over_its_limit_otherwise_sends_to_the_ranking() -> None:
    over = made("vents-taped", 1.1, verdict="over", advice="Seal one place.")
    sealed = good("vents-taped", 0.06, ("port-flange",), day=0.1)
    assert step(sealed, over) == step(over, sealed) == FIND
    assert step(made("vents-taped", 4.0, verdict="stalls")) == f"Let air in slowly. {FIND}"


def test_a_test_made_again_since_leaves_the_word_to_the_later_one() -> None:
    first = made("undrilled", 0.9, verdict="over", day=0.0)
    taped = good("formed-sheet", 0.05, day=9.0), good("vents-taped", 0.05, day=10.0)
    assert step(first, *taped, today=LATER) == "Tested again since, on 13 May 2026: go by that test."
    assert step(first, good("undrilled", 0.05, day=0.1), today=LATER) == (
        "Tested again since, later that day: go by that test.")  # fmt: skip
    assert step(first, good("vents-taped", 0.05, ("line",), day=10.0), today=LATER) == FIND
    assert step(taped[0], good("formed-sheet", 0.05, day=20.0), today=None) == GOOD
    assert "overdue since 9 Jun 2026" in step(taped[0], good("formed-sheet", 0.05, day=20.0), today=LATER)


def test_a_next_test_is_overdue_four_weeks_after_the_last() -> None:
    sheet = good("formed-sheet", 0.02)  # 3 May 2026
    assert step(sheet, today=date(2026, 5, 31)) == GOOD
    assert step(sheet, today=date(2026, 6, 1)) == (
        "Nothing to mend at that test; test again, overdue since 31 May 2026.")  # fmt: skip
    twice = replace(sheet, advice=f"{GOOD} Hold twice then.")
    assert step(twice, today=date(2026, 6, 1)).endswith("overdue since 31 May 2026. Hold twice then.")
    assert step(replace(sheet, advice="Find it."), today=LATER) == "Find it."


def test_a_repair_without_a_test_comes_first_and_a_refusal_keeps_its_own_advice() -> None:
    repair = Event("2026-05-05", "port-flange", "repair", "bead renewed")
    taped = good("vents-taped", 0.02)
    assert step(taped, events=(repair,)) == rank([taped], BOX, [repair]).advice[0].replace("\u00a0", " ")
    refused = replace(taped, outcome="refused", advice="Open the valve.")
    assert step(refused, events=(repair,), today=LATER) == "Open the valve."
