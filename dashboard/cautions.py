"""The caution on a top, where a box is described and where its test is planned."""

from __future__ import annotations

from acquisition.records import Box

FIRST_PULL = "First pull in steps of 25, 50 and 80 kPa, a minute each, nobody leaning over it; creaking: let air in."


def top_caution(box: Box) -> str:
    """What to mind before this box is pumped down first, in a sentence or two; empty for a vessel without wood."""
    if box.wood == "none":
        return ""
    return top_forbidden(box) or FIRST_PULL


def top_forbidden(box: Box) -> str:
    """Why this box's top must not be pumped down as it is; empty where nothing known forbids it."""
    from analysis.panels import check_top

    if box.wood == "none":
        return ""
    check = check_top(box)
    if check.bay is None or check.verdict in ("unknown", "may be tested"):
        return ""
    if not check.may_span_m:
        return f"Its top is {box.board_mm:g} mm board, too thin for this span: do not pump it down."
    spans = (
        f"Its top spans {1000.0 * check.bay.span_m:.0f} mm; "
        f"{box.board_mm:g} mm board may span {1000.0 * check.may_span_m:.0f}"
    )
    return f"{spans}: do not pump it down before it has {_baffles(box, check.baffles_more)}."


def _baffles(box: Box, more: tuple[int, int] | None) -> str:
    """The baffles that would bring the span under its mark."""
    if more is None:
        return "a thicker top"
    what = "more baffles" if box.baffles.count_x or box.baffles.count_y else "baffles"
    parts = [f"{count} across its {side}" for count, side in zip(more, ("length", "width"), strict=True) if count]
    return f"{what}, {' and '.join(parts)}"
