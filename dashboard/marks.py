"""The marks that carry meaning beside colour: verdict mark, jaws, limit, wedge, patch."""

from __future__ import annotations

from math import atan2, cos, sin

from dashboard import svg
from dashboard.svg import Point

VERDICT_WORDS: dict[str, str] = {
    "tight": "tight",
    "within": "within its limit",
    "over": "over its limit",
    "stalls": "the pump stalls",
    "cannot-tell": "cannot tell",
    "no-answer": "no answer",
    "no-limit": "no limit known",
    "running": "running",
}


def _rim(colour: str, dash: str | None = None) -> str:
    return svg.rect(4, 4, 22, 22, stroke=colour, width=4.4, dash=dash)


def _strokes(colour: str) -> str:
    lines = (((9, 15), (15, 9)), ((9, 21), (21, 9)), ((15, 21), (21, 15)))
    return "".join(svg.line(a, b, colour, 2.2) for a, b in lines)


def _over() -> str:
    rim = svg.path(((11, 26), (4, 26), (4, 4), (26, 4), (26, 26), (19, 26)), "air", 4.4)
    return rim + _strokes("air")


def _stalls() -> str:
    return svg.path(((4, 28), (4, 4), (26, 4), (26, 28)), "air", 4.4) + _strokes("air")


def _cannot_tell() -> str:
    sign = svg.text((15, 21), "?", size=17, anchor="middle", bold=True, edge=None)
    return _rim("ink", "5.5 5.5") + sign


def _no_answer() -> str:
    left = svg.path(((11, 4), (4, 4), (4, 26), (11, 26)), "ink", 4.4)
    right = svg.path(((19, 4), (26, 4), (26, 26), (19, 26)), "ink", 4.4)
    zigzag = ((12, 1), (12, 8), (9, 12), (14, 17), (11, 21), (11, 29))
    torn = svg.path(zigzag, "ink", 2) + svg.path([(x + 6, y) for x, y in zigzag], "ink", 2)
    return left + right + torn


def _running() -> str:
    return _rim("measured") + svg.rect(9, 15, 12, 6, fill="measured")


def _no_limit() -> str:
    return _rim("ink") + svg.line((9, 15), (21, 15), "ink", 3)


def verdict(kind: str, size: float = 30) -> str:
    """The verdict mark: the box itself as a square, ``size`` px; always shown with its words."""
    makers = {
        "tight": lambda: svg.rect(3, 3, 24, 24, fill="ink"),
        "within": lambda: _rim("ink"),
        "over": _over,
        "stalls": _stalls,
        "cannot-tell": _cannot_tell,
        "no-answer": _no_answer,
        "no-limit": _no_limit,
        "running": _running,
    }
    return svg.el(
        "svg",
        makers[kind](),
        viewBox="0 0 30 30",
        width=float(size),
        height=float(size),
        aria_hidden="true",
        class_="mark",
    )


def jaws(
    low: float,
    value: float | None,
    high: float,
    y: float,
    half: float = 14,
    colour: str = "ink",
    open_left: bool = False,
) -> str:
    """An interval: two upright stops, a pale bar, a thick tick at the value; x in pixels.

    With ``open_left`` the low end may be nothing: no left stop, the bar runs off to a point.
    """
    bar = svg.el("g", _bar(low, high, y, half, colour, open_left), opacity=0.42)
    stops = [high] if open_left else [low, high]
    marks = "".join(svg.line((x, y - half), (x, y + half), colour, 3) for x in stops)
    if value is not None:
        marks += svg.rect(value - 3, y - half * 0.66, 6, half * 1.32, fill=colour)
    return bar + marks


def _bar(low: float, high: float, y: float, half: float, colour: str, open_left: bool) -> str:
    h = half * 0.34
    if not open_left:
        return svg.rect(low, y - h, high - low, 2 * h, fill=colour)
    return svg.poly(((low, y), (low + 9, y - h), (high, y - h), (high, y + h), (low + 9, y + h)), fill=colour)


def limit_upright(x: float, top: float, bottom: float) -> str:
    """The limit on an x axis: thick at the value, thin on the far side."""
    return svg.line((x, top), (x, bottom), "air", 2) + svg.line((x + 4.5, top), (x + 4.5, bottom), "air", 1)


def limit_level(y: float, left: float, right: float) -> str:
    """The limit on a y axis: thick at the value, thin above."""
    return svg.line((left, y), (right, y), "air", 2) + svg.line((left, y - 4.5), (right, y - 4.5), "air", 1)


def wedge(point: Point, tail: Point, width: float, chance: float | None) -> str:
    """A place where air can get in: ``point`` touches the gap, the broad end at ``tail`` is outside.

    ``chance`` is that of being the largest; None or under 0.1 draws it small and outlined.
    """
    angle = atan2(tail[1] - point[1], tail[0] - point[0])
    dx, dy = -sin(angle) * width / 2, cos(angle) * width / 2
    outline = (point, (tail[0] + dx, tail[1] + dy), (tail[0] - dx, tail[1] - dy))
    if chance is None or chance < 0.1:
        return svg.poly(outline, "paper", "grey", 1.6)
    return svg.poly(outline, "paper") + svg.poly(outline, svg.by_chance(chance), "air", 1.9)


def patch(at: Point, upright: bool = True) -> str:
    """A sealed place: a solid patch across the gap."""
    w, h = (8, 18) if upright else (18, 8)
    return svg.rect(at[0] - w / 2, at[1] - h / 2, w, h, fill="ink")


def limit_sign() -> str:
    """The little twin line that stands in captions before the word limit."""
    return svg.el("svg", limit_upright(2, 1, 15), viewBox="0 0 9 16", width=9, height=16, aria_hidden="true")
