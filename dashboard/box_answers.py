"""Answers about one box from several assessed tests; nothing here draws, prints or computes physics."""

from __future__ import annotations

from collections.abc import Sequence

from acquisition.records import Box, Event
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
