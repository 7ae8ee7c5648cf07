"""A few functions that write SVG as text: elements, lines, words, hatches.

Colours are names of ``dashboard.palette``; lengths are pixels of the drawing.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

Point = tuple[float, float]
_PAINT = ("fill", "stroke")


def _number(value: object) -> str:
    return f"{value:.1f}".rstrip("0").rstrip(".") if isinstance(value, float) else str(value)


def paint(name: str) -> str:
    """CSS colour of a palette name; ``none`` and ``url(...)`` pass."""
    return name if name == "none" or name.startswith("url(") else f"var(--{name})"


def el(tag: str, content: str = "", **attrs: object) -> str:
    """One element; ``fill`` and ``stroke`` take palette names, ``_`` in a name becomes ``-``."""
    style = ";".join(f"{k}:{paint(str(attrs.pop(k)))}" for k in _PAINT if k in attrs)
    words = [f'{k.rstrip("_").replace("_", "-")}="{escape(_number(v))}"' for k, v in attrs.items() if v is not None]
    if style:
        words.append(f'style="{style}"')
    return f"<{' '.join((tag, *words))}>{content}</{tag}>"


def line(a: Point, b: Point, stroke: str = "ink", width: float = 1.5, dash: str | None = None) -> str:
    """A straight line."""
    return el(
        "line",
        x1=float(a[0]),
        y1=float(a[1]),
        x2=float(b[0]),
        y2=float(b[1]),
        stroke=stroke,
        stroke_width=width,
        stroke_dasharray=dash,
    )


def rect(
    x: float,
    y: float,
    w: float,
    h: float,
    fill: str = "none",
    stroke: str = "none",
    width: float = 1.6,
    dash: str | None = None,
) -> str:
    """A rectangle from its upper left corner."""
    return el(
        "rect",
        x=float(x),
        y=float(y),
        width=float(max(w, 0.0)),
        height=float(max(h, 0.0)),
        fill=fill,
        stroke=stroke,
        stroke_width=width,
        stroke_dasharray=dash,
    )


def poly(points: Iterable[Point], fill: str = "none", stroke: str = "none", width: float = 1.6) -> str:
    """A closed outline."""
    return el("polygon", points=_joined(points), fill=fill, stroke=stroke, stroke_width=width, stroke_linejoin="miter")


def path(points: Iterable[Point], stroke: str = "ink", width: float = 1.6, dash: str | None = None) -> str:
    """An open line through points."""
    return el(
        "polyline",
        points=_joined(points),
        fill="none",
        stroke=stroke,
        stroke_width=width,
        stroke_dasharray=dash,
        stroke_linejoin="round",
    )


def _joined(points: Iterable[Point]) -> str:
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in points)


def circle(
    centre: Point, r: float, fill: str = "none", stroke: str = "none", width: float = 1.6, dash: str | None = None
) -> str:
    """A circle."""
    return el(
        "circle",
        cx=float(centre[0]),
        cy=float(centre[1]),
        r=float(r),
        fill=fill,
        stroke=stroke,
        stroke_width=width,
        stroke_dasharray=dash,
    )


def text(
    at: Point,
    words: str,
    *,
    size: float = 14,
    fill: str = "ink",
    anchor: str = "start",
    bold: bool = False,
    lettered: bool = False,
    edge: str | None = "paper",
) -> str:
    """Words with their baseline at ``at``.

    ``lettered`` takes the drawing hand (Routed Gothic, 17 px and more); ``edge`` is the colour of the
    edge round the letters that keeps them readable over lines.
    """
    names = " ".join(n for n, on in (("lettered", lettered), ("bold", bold), (f"edge-{edge}", edge)) if on)
    return el(
        "text",
        escape(words),
        x=float(at[0]),
        y=float(at[1]),
        font_size=float(size),
        text_anchor=anchor,
        fill=fill,
        class_=names or None,
    )


def lines_of_text(at: Point, words: Sequence[str], step: float = 18, **how: object) -> str:
    """Several lines of words under each other."""
    return "".join(text((at[0], at[1] + i * step), w, **how) for i, w in enumerate(words))  # type: ignore[arg-type]


def wrapped(words: str, most: int) -> list[str]:
    """Words in lines of at most ``most`` signs."""
    lines = [""]
    for word in words.split():
        if lines[-1] and len(lines[-1]) + 1 + len(word) > most:
            lines.append("")
        lines[-1] = f"{lines[-1]} {word}".strip()
    return lines


def drawing(width: float, height: float, content: str, label: str) -> str:
    """A whole drawing with its sentence for screen readers; without one it is hidden from them."""
    told: dict[str, object] = {"role": "img", "aria_label": label} if label else {"aria_hidden": "true"}
    title = el("title", escape(label)) if label else ""
    box = f"0 0 {width:.0f} {height:.0f}"
    return el("svg", title + content, viewBox=box, width=f"{width:.0f}", height=f"{height:.0f}", class_="drawn", **told)


def _hatch(name: str, step: float, width: float, colour: str, angle: float) -> str:
    stroke = el("line", x1=0.0, y1=step / 2, x2=step, y2=step / 2, stroke=colour, stroke_width=width)
    return el(
        "pattern",
        stroke,
        id=name,
        width=step,
        height=step,
        patternUnits="userSpaceOnUse",
        patternTransform=f"rotate({angle})",
    )


def _dots(name: str, step: float, r: float, colour: str) -> str:
    dot = circle((step / 2, step / 2), r, fill=colour)
    return el("pattern", dot, id=name, width=step, height=step, patternUnits="userSpaceOnUse")


_BY_CHANCE = ((1, 10.0, 1.4), (2, 7.0, 2.2), (3, 5.0, 3.2))
HATCHES = "".join(
    (
        *(_hatch(f"air-{n}", step, width, "air", -45) for n, step, width in _BY_CHANCE),
        *(_hatch(f"ink-{n}", step, width, "ink", -45) for n, step, width in _BY_CHANCE),
        _hatch("covered", 6.0, 1.0, "grey", 45),
        _hatch("past", 7.0, 0.6, "air", -45),
        _hatch("stripes", 11.0, 5.0, "ink", -45),
        _dots("dots", 7.0, 0.9, "grey"),
    )
)


def hatch_defs() -> str:
    """The hatches all drawings of a page refer to; put once into the page."""
    return el("svg", el("defs", HATCHES), width=0, height=0, aria_hidden="true")


def by_chance(chance: float, colour: str = "air") -> str:
    """Fill of a bar or wedge by its chance (0..1): the denser the likelier, under 10 in 100 empty."""
    step = sum(chance >= edge for edge in (0.1, 0.3, 0.6))
    return f"url(#{colour}-{step})" if step else "paper"
