"""Answers about one box from several assessed tests; nothing here draws, prints or computes physics."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date

from acquisition.records import Box, Event
from analysis.results import Assessment, Ranking, SheetComparison

WITH_SHEET = "formed-sheet"


def rank_box(results: Sequence[Assessment], box: Box | None, events: Sequence[Event]) -> Ranking:
    """Where the air likely gets in, with the comparison of with and without a sheet where both were tested."""
    from analysis.ranking import rank

    return rank(results, box, events, comparison_of(results, events))


def comparison_of(results: Sequence[Assessment], events: Sequence[Event]) -> SheetComparison | None:
    """With-sheet minus without-sheet of one box's tests, or None where one of the two sides is missing."""
    from analysis.compare import PREFERRED, compare_sheet

    usable = [result for result in results if result.outcome != "refused"]
    without = [result for result in usable if result.setup in PREFERRED]
    sheeted = [result for result in usable if result.setup == WITH_SHEET]
    return compare_sheet(without, sheeted, events=events) if without and sheeted else None


def advised(told: Sequence[tuple[Assessment, Box | None, Sequence[Event]]], today: date | None) -> list[Assessment]:
    """Results of several logs, each with its box and the box's events, with the advice that all of them ask for.

    Where ``today`` is given, a next test that was due before is said to be.
    """
    from analysis.nextstep import next_step

    tests: dict[str | None, list[Assessment]] = {}
    for result, _, _ in told:
        tests.setdefault(result.box, []).append(result)
    return [replace(result, advice=next_step(result, tests[result.box], box, events, today))
            for result, box, events in told]  # fmt: skip
