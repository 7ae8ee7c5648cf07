"""The caution on a top, where a box is described and where its test is planned."""

from __future__ import annotations

from typing import TYPE_CHECKING

from acquisition.records import Box

if TYPE_CHECKING:
    from analysis.numberwords import System


def first_pull(system: System = "metric") -> str:
    """How a top is pumped down first."""
    from analysis.numberwords import NBSP
    from analysis.topwords import first_pull_steps

    steps = first_pull_steps(system).replace(NBSP, " ")
    return f"First pull in steps of {steps}, a minute each, nobody leaning over it; creaking: let air in."


def top_caution(box: Box, system: System = "metric") -> str:
    """What to mind before this box is pumped down first, in a sentence or two; empty for a vessel without wood."""
    if box.wood == "none":
        return ""
    return top_forbidden(box, system) or first_pull(system)


def top_forbidden(box: Box, system: System = "metric") -> str:
    """Why this box's top must not be pumped down as it is; empty where nothing known forbids it."""
    from analysis.numberwords import NBSP, length_unit, size_text, span_number
    from analysis.panels import check_top

    if box.wood == "none" or not box.board_mm:
        return ""
    check = check_top(box)
    if check.bay is None or check.verdict in ("unknown", "may be tested"):
        return ""
    board = f"{size_text(box.board_mm, system)} board".replace(NBSP, " ")
    if not check.may_span_m:
        return f"Its top is {board}, too thin for this span: do not pump it down."
    may = f"{board} may span {span_number(check.may_span_m, system)}"
    spans = f"Its top spans {span_number(check.bay.span_m, system)} {length_unit(system)}; {may}"
    return f"{spans}: do not pump it down before it has {_baffles(box, check.baffles_more)}."


def _baffles(box: Box, more: tuple[int, int] | None) -> str:
    """The baffles that would bring the span under its mark."""
    if more is None:
        return "a thicker top"
    what = "more baffles" if box.baffles.count_x or box.baffles.count_y else "baffles"
    parts = [f"{count} {way} its length" for count, way in zip(more, ("across", "along"), strict=True) if count]
    return f"{what}, {' and '.join(parts)}"
