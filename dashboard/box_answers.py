"""Answers about one box from several assessed tests; nothing here draws, prints or computes physics."""

from __future__ import annotations

from collections.abc import Sequence

from acquisition.records import Box, Event
from acquisition.setups import parent
from analysis.results import Assessment, Ranking, SheetComparison

WITH_SHEET = "formed-sheet"


def rank_box(results: Sequence[Assessment], box: Box | None, events: Sequence[Event]) -> Ranking:
    """Where the air likely gets in, with the comparison of with and without a sheet where both were tested."""
    from analysis.ranking import rank

    return rank(results, box, events, comparison_of(results))


def comparison_of(results: Sequence[Assessment]) -> SheetComparison | None:
    """With-sheet minus without-sheet of one box's tests, or None where one of the two sides is missing."""
    from analysis.compare import PREFERRED, compare_sheet

    usable = [result for result in results if result.outcome != "refused"]
    without = [result for result in usable if result.setup in PREFERRED]
    sheeted = [result for result in usable if result.setup == WITH_SHEET]
    return compare_sheet(without, sheeted) if without and sheeted else None


def same_place(path: str, other: str) -> bool:
    """Whether two leak paths are one, or one is a part of the other."""
    return bool(path and other) and (path == other or path == parent(other) or parent(path) == other)


def untested_repairs(results: Sequence[Assessment], events: Sequence[Event]) -> tuple[Event, ...]:
    """Repairs that are the newest event of their path and that no usable test came after; same-day tests do not.

    Parameters
    ----------
    results
        The box's assessed tests.
    events
        What was done to the box.
    """
    newest: dict[str, Event] = {}
    for event in events:
        if event.kind != "correction" and event.path and event.date >= newest.get(event.path, event).date:
            newest[event.path] = event
    repairs = [event for event in newest.values() if event.kind == "repair"]
    return tuple(event for event in repairs if not any(_tests_after(result, event) for result in results))


def _tests_after(result: Assessment, event: Event) -> bool:
    if result.outcome == "refused" or result.started is None:
        return False
    opened = any(same_place(path, event.path) for path in result.open_paths)
    return opened and result.started.date().isoformat() > event.date[:10]
