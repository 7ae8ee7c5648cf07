"""Sentences about a top under vacuum: what it carries, the span its board bears, how to pull it down first."""

from __future__ import annotations

from acquisition.records import Box
from analysis.numberwords import (
    System,
    load_text,
    number,
    pa_per_unit,
    pressure_step_text,
    pressure_unit,
    size_text,
    small_length_text,
    span_number,
    span_text,
    with_unit,
)
from analysis.panels import FULL_VACUUM_PA, TopCheck, TopVerdict, load_tonnes

FIRST_PULL_PA = (25e3, 50e3, FULL_VACUUM_PA)
"""Steps of the first pull of a new top, Pa under the room; common practice, no source."""
_SAID: dict[TopVerdict, str] = {"may be tested": "Yes, in steps.", "warned": "Not yet.", "not with this top": "No."}


def top_answer(box: Box, check: TopCheck, system: System = "metric") -> tuple[str, str]:
    """Whether the top may be pumped down, and under it its load, its bow and what would mend it."""
    if box.wood == "none":
        return "Cannot tell: it is not of wood.", "Ask the maker of this vessel whether it stands full vacuum."
    if check.bay is None or check.verdict == "unknown" or not box.board_mm:
        return (
            "Cannot tell: the inside sizes or the board are missing.",
            "Give length, width, height and the board's thickness.",
        )
    span = span_text(check.bay.span_m, system)
    may = f"{_board(box.board_mm, system)} may span {span_number(check.may_span_m, system)}"
    if not check.may_span_m:
        may = f"{_board(box.board_mm, system)} is too thin for a top"
    lead = f"{_carries(box, check, system)} {_more(check)}".strip()
    return f"{_SAID[check.verdict]} Its top spans {span}; {may}.", lead


def _board(board_mm: float, system: System) -> str:
    size = size_text(board_mm, system)
    return f"{'an' if size.startswith(('8', '11', '18')) else 'a'} {size} board"


def _carries(box: Box, check: TopCheck, system: System) -> str:
    if check.load_tonnes is None or check.bow_m is None:
        return ""
    at = pressure_step_text(FULL_VACUUM_PA, system)
    bow = small_length_text(check.bow_m, system)
    return f"At {at} it carries {load_text(check.load_tonnes, system)} and bows {bow}."


def _more(check: TopCheck) -> str:
    if check.verdict == "may be tested" or not check.baffles_more:
        return ""
    across, along = check.baffles_more
    ways = ((across, f"{across} more across the length"), (along, f"{along} more along the length"))
    where = " and ".join(words for count, words in ways if count)
    return f"Baffles that mend it: {where}."


def top_load_text(box: Box, system: System = "metric") -> str:
    """What the top carries at full vacuum, ``2.9 tonnes at 80 kPa``; empty without inside measures."""
    tonnes = load_tonnes(box)
    return "" if tonnes is None else f"{load_text(tonnes, system)} at {pressure_step_text(FULL_VACUUM_PA, system)}"


def first_pull_steps(system: System = "metric") -> str:
    """The steps of a first pull, under the room: ``25, 50 and 80 kPa``."""
    first, second, last = (number(step / pa_per_unit(system), 0) for step in FIRST_PULL_PA)
    return with_unit(f"{first}, {second} and {last}", pressure_unit(system))
