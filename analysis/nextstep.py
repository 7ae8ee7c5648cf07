"""What to do next about one box after a test, by the same rules by which a ranking chooses its next test.

A repair that no test came after is held first. A box that a test found good is to be tested again in a month; where
no test had a place open that lets air in from the shop, the ranking names the hold for it. One test alone names no
hold for that, since only the ranking weighs all of a box's tests.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime

from acquisition.records import Box, Event
from analysis.names import list_text, path_name
from analysis.ranking import waiting_sentence
from analysis.ranking.choice import limit_m2, nothing_to_reseal, untried
from analysis.repairs import by_the_clock, is_drilled
from analysis.results import Assessment
from analysis.wording import AGAIN, NOTHING_TO_MEND, date_text, overdue_text

_RANKED = "'boxhold rank' with all logs of the box names"
_FIND = f"Find where it gets in: {_RANKED} the place, or the hold that tells it."
_STALLED = f"Let air in slowly. {_FIND}"


def next_step(
    result: Assessment, tests: Sequence[Assessment], box: Box | None, events: Sequence[Event], today: date | None
) -> str:
    """What to do next, as it reads beside one test.

    Parameters
    ----------
    result
        The test.
    tests
        All tests of its box that are at hand, itself among them.
    box, events
        The box's file and its repairs, changes and remarks.
    today
        Given, a test that was made again since says so, and a next test that was due before is overdue.
    """
    if result.outcome == "refused":
        return result.advice
    if events and (waiting := waiting_sentence(tests, box, events)):
        return waiting
    if today is not None and (later := _made_again(result, tests)) is not None:
        return f"Tested again since, {later}: go by that test."
    if result.verdict == "stalls":
        return _STALLED
    good = result.advice.startswith(NOTHING_TO_MEND)
    if _over(result) or (good and any(_over(test) for test in _newest(tests))):
        return _FIND
    return _good(result, _never_open(tests, box), today) if good else result.advice


def _over(test: Assessment) -> bool:
    return test.verdict in ("over", "stalls") and "seal-let-go" not in test.flags


def _kind(test: Assessment) -> tuple[str | None, frozenset[str]]:
    """Setup and sealed places; once a box is drilled its taped vents stand for the top without any."""
    return "vents-taped" if test.setup == "undrilled" else test.setup, frozenset(test.sealed)


def _newest(tests: Sequence[Assessment]) -> list[Assessment]:
    """The last test of each kind with an answer; those without a date are all kept."""
    dated = sorted((t for t in tests if t.outcome != "refused" and t.started), key=_clock)
    undated = [t for t in tests if t.outcome != "refused" and t.started is None]
    return [*{_kind(t): t for t in dated}.values(), *undated]


def _clock(test: Assessment) -> datetime:
    assert test.started is not None
    return by_the_clock(test.started)


def _made_again(result: Assessment, tests: Sequence[Assessment]) -> str | None:
    """When the same test was made last, if after this one; a new sheet is another test."""
    if result.started is None or result.setup == "formed-sheet":
        return None
    last = next((t for t in _newest(tests) if t.started and _kind(t) == _kind(result)), result)
    if _clock(last) <= _clock(result):
        return None
    day = _clock(last).date()
    return "later that day" if day == result.started.date() else f"on {date_text(day)}"


def _never_open(tests: Sequence[Assessment], box: Box | None) -> tuple[str, ...]:
    """Places that a search for leaks would still open, none where the setup of production is tight."""
    used = [t for t in tests if t.outcome != "refused"]
    return () if nothing_to_reseal(used, limit_m2(used)) else untried(used, is_drilled(used, box))


def _good(result: Assessment, never_open: Sequence[str], today: date | None) -> str:
    """What follows a test that found nothing to mend: when to test again, and which places it says nothing of."""
    rest = result.advice[len(NOTHING_TO_MEND) :]
    due = None if result.started is None else result.started.date() + AGAIN
    overdue = today is not None and due is not None and due < today
    head = f"Nothing to mend at that test; test again, {overdue_text(due)}." if overdue and due else NOTHING_TO_MEND
    if not never_open:
        return f"{head}{rest}"
    names = list_text([f"the {path_name(p)}" for p in never_open])
    were = "were" if len(never_open) > 1 else "was"
    return f"{head}{rest} {names[0].upper()}{names[1:]} {were} not tried: {_RANKED} the hold for it."
