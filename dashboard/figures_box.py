"""The section with its sizes written on it, as a workshop drawing has them."""

from __future__ import annotations

from acquisition.records import Box
from analysis.numberwords import System, span_number
from dashboard import svg
from dashboard.section import Frame, baffle_counts, body, frame_for, height_of, turned


def _across(a: float, b: float, y: float, words: str, fill: str = "second") -> str:
    heads = "".join(svg.poly(((x, y), (x + d * 9, y - 3.5), (x + d * 9, y + 3.5)), fill) for x, d in ((a, 1), (b, -1)))
    ends = "".join(svg.line((x, y - 7), (x, y + 7), fill, 1.2) for x in (a, b))
    return (
        svg.line((a, y), (b, y), fill, 1.2)
        + heads
        + ends
        + svg.text(((a + b) / 2, y - 6), words, size=18, anchor="middle", lettered=True)
    )


def _upright(x: float, a: float, b: float, words: str) -> str:
    heads = "".join(
        svg.poly(((x, y), (x - 3.5, y + d * 9), (x + 3.5, y + d * 9)), "second") for y, d in ((a, 1), (b, -1))
    )
    ends = "".join(svg.line((x - 7, y), (x + 7, y), "second", 1.2) for y in (a, b))
    return (
        svg.line((x, a), (x, b), "second", 1.2)
        + heads
        + ends
        + svg.text((x + 10, (a + b) / 2 + 6), words, size=18, lettered=True)
    )


def sized_section(box: Box, width: float, system: System = "metric") -> str:
    """The section with length, height and the first span, in mm or inches."""
    side = 74.0 if width < 480 else 120.0
    f = frame_for(box, width, side, 52.0, 120.0)
    if box.inside_mm is None:
        return svg.drawing(width, height_of(f, "none"), body(f, None, "none"), "The box; its sizes are not given")
    length, _, height = turned(box)
    across, up = (span_number(s / 1000.0, system) if system == "inch" else f"{s:g}" for s in (length, height))
    sizes = _across(f.left, f.right, 26, across) + _upright(f.outer[2] + 18, f.top, f.floor, up)
    return svg.drawing(
        width,
        height_of(f, "none") + 6,
        body(f, None, "none") + sizes + _span(f, length, system),
        f"{box.name or 'The box'} with its sizes",
    )


def _span(f: Frame, length: float, system: System) -> str:
    count = baffle_counts(f.box)[0]
    if count < 1:
        return ""
    thick = f.box.baffles.board_mm or f.box.board_mm or 18.0
    clear = (length - count * thick) / (count + 1)
    if f.floor - f.top <= 44:
        return ""
    return _across(f.left + 2, f.left + clear * f.scale, f.top + 34, span_number(clear / 1000.0, system), "ink")
