"""Leak paths marked on a section: wedges, patches and words, each at its own gap."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from acquisition.records import Box
from acquisition.setups import parent
from dashboard import marks, svg
from dashboard.section import (
    Frame,
    Place,
    Valve,
    body,
    frame_for,
    height_of,
    mould_height,
    outside_places,
    valve_at,
)
from dashboard.svg import Point

LINE = 17.0
"""Px from one line of words to the next."""
Gap = tuple[Point, Point]
"""The point that touches the gap, and the direction (unit px) to the outside."""


def _edges(f: Frame) -> list[Gap]:
    x0, _, x1, _ = f.outer
    return [((x, y), (d, 0.0)) for x, d in ((x0, -1.0), (x1, 1.0)) for y in (f.top, f.floor)]


def _faces(f: Frame) -> list[Gap]:
    y = (f.top + f.floor) / 2
    return [((f.outer[0], y), (-1.0, 0.0)), ((f.outer[2], y), (1.0, 0.0))]


def _flange(f: Frame) -> list[Gap]:
    half = max(10.0, f.box.port.flange_mm * f.scale) / 2
    return [((f.port_x - half, f.outer[3] + 1), (-1.0, 0.12))]


def _rim_joint(f: Frame) -> list[Gap]:
    x0, y0, x1, _ = f.outer
    return [((x0 - 2, y0), (-0.9, -0.5)), ((x1 + 2, y0), (0.9, -0.5))]


def _sheet_edge(f: Frame) -> list[Gap]:
    x0, y0, x1, _ = f.outer
    y = y0 - f.lip - 2
    return [((x0 - 2, y), (-0.86, 0.5)), ((x1 + 2, y), (0.86, 0.5))]


def _top_panel(f: Frame) -> list[Gap]:
    return [((f.right - 6, f.outer[1]), (0.0, -1.0))]


def _closure(f: Frame) -> list[Gap]:
    return [((f.left + (f.right - f.left) * 0.26, f.outer[1] - max(2.5, f.wall * 0.4)), (0.0, -1.0))]


def _film_ends(f: Frame) -> list[Gap]:
    x0, y0, x1, _ = f.outer
    return [((x0 - 7, y0 - f.lip - 3), (-0.86, -0.5)), ((x1 + 7, y0 - f.lip - 3), (0.86, -0.5))]


GAPS = {
    "panel-edges": _edges,
    "panel-faces": _faces,
    "port-flange": _flange,
    "rim-joint": _rim_joint,
    "sheet-edge": _sheet_edge,
    "top-panel": _top_panel,
    "closure": _closure,
}


def gaps(f: Frame, path: str, setup: str | None) -> list[Gap]:
    """Where a path meets the outside in this drawing; empty for line and valve seat, which have words only."""
    name = parent(path)
    if name == "closure" and setup == "film-on-rim":
        return _film_ends(f)
    maker = GAPS.get(name)
    return maker(f) if maker else []


def _wedge(gap: Gap, place: Place) -> str:
    (x, y), (dx, dy) = gap
    strong = place.state in ("likely", "only")
    long = 44.0 if strong else 26.0
    wide = 25.0 if strong else 12.0
    chance = place.chance if place.state != "only" else None
    tail = (x + dx * long, y + dy * long)
    if place.state == "only":
        return _ink_wedge((x, y), tail, 18.0)
    if place.state == "likely":
        return marks.wedge((x, y), tail, wide, max(chance or 0.0, 0.1)) + _slit(gap)
    return marks.wedge((x, y), tail, wide, None)


def _ink_wedge(point: Point, tail: Point, wide: float) -> str:
    return marks.wedge(point, tail, wide, None).replace("var(--grey)", "var(--ink)")


def _slit(gap: Gap) -> str:
    (x, y), (dx, _) = gap
    return svg.line((x, y), (x - dx * 14, y), "air", 3.5) if abs(dx) == 1.0 else ""


def _patch(gap: Gap) -> str:
    (x, y), (dx, _) = gap
    return marks.patch((x + dx * 3, y), upright=abs(dx) > 0.5)


def mark(f: Frame, place: Place, setup: str | None) -> str:
    """All marks of one place."""
    make = _patch if place.state == "sealed" else lambda gap: _wedge(gap, place)
    return "".join(make(gap) for gap in gaps(f, place.path, setup))


@dataclass(frozen=True)
class Label:
    """Lines of words beside a place; ``strong`` for a likely one."""

    at: Point
    words: tuple[str, ...]
    anchor: str
    strong: bool

    @property
    def frame(self) -> tuple[float, float, float, float]:
        """Left, top, right and bottom of the words, px, by the letters' usual width."""
        wide = _wide(self.words, self.strong)
        left = self.at[0] - {"start": 0.0, "middle": wide / 2, "end": wide}[self.anchor]
        return left, self.at[1] - 12, left + wide, self.at[1] + 4 + LINE * (len(self.words) - 1)

    def meets(self, other: Label) -> bool:
        """Whether the words of two labels would touch."""
        a, b = self.frame, other.frame
        return a[0] < b[2] + 4 and b[0] < a[2] + 4 and a[1] < b[3] and b[1] < a[3]

    def drawn(self) -> str:
        """The words as a drawing."""
        fill = "air" if self.strong else "second"
        return svg.lines_of_text(self.at, self.words, LINE, size=14, anchor=self.anchor, bold=self.strong, fill=fill)


def _wide(words: Sequence[str], strong: bool) -> float:
    return max(map(len, words), default=0) * (7.6 if strong else 6.9)


def _label(f: Frame, at: Point, place: Place, words: Sequence[str], anchor: str) -> Label:
    """A label moved sideways as far as it must to stay on the drawing, whose middle is the box's."""
    strong, edge = place.state == "likely", f.left + f.right - 4
    wide = _wide(words, strong)
    ahead = {"start": 0.0, "middle": wide / 2, "end": wide}[anchor]
    least, most = 4 + ahead, edge - wide + ahead
    return Label((max(least, min(at[0], most)), at[1]), tuple(words), anchor, strong)


def _side_words(f: Frame, place: Place, narrow: bool) -> list[Label]:
    """Words of the panel edges (or faces): outside beside the wedges, or inside the box on a phone."""
    middle, words = (f.top + f.floor) / 2, place.words
    faces = place.path.startswith("panel-faces")
    if faces:
        return [_label(f, (f.left + 10, middle + 5), place, [words], "start")]
    if narrow:
        return [_label(f, (f.right - 8, middle + 5), place, [words], "end")]
    name, _, number = words.replace(", ", ",").replace("under ", "under\u00a0").replace(",", " ").rpartition(" ")
    if not number[-1:].isdigit():
        return [_label(f, (f.outer[0] - 32, f.top + 5), place, svg.wrapped(words, 9), "end")]
    return [_label(f, (x, middle - 2), place, [name, number], "middle") for x in (f.outer[0] - 58, f.outer[2] + 58)]


def _flange_words(f: Frame, place: Place) -> Label:
    (x, y), _ = _flange(f)[0]
    back = 52 if place.state == "likely" else 34
    return _label(f, (x - back, y + 16), place, [place.words], "end")


def _top_words(f: Frame, place: Place, narrow: bool) -> Label:
    (x, y), _ = _top_panel(f)[0]
    return _label(f, (x - 14, y - (38 if narrow else 18)), place, [place.words], "end")


def _closure_words(f: Frame, place: Place, setup: str | None) -> Label:
    if setup == "film-on-rim":
        return _label(f, ((f.left + f.right) / 2, f.outer[1] - 18), place, [place.words], "middle")
    (x, y), _ = _closure(f)[0]
    return _label(f, (x + 14, y - 14), place, [place.words], "start")


def _hose_words(f: Frame, place: Place) -> Label:
    """Words of the line, and under them those of the valve seat."""
    x, y = valve_at(f)
    if place.path == "line":
        return _label(f, (x + 18, y - 2), place, [place.words], "start")
    return _label(f, (x + 18, y + 15), place, svg.wrapped(place.words, 18), "start")


def _rim_words(f: Frame, place: Place, narrow: bool) -> Label:
    y = f.outer[1] - (mould_height(f) if place.path == "sheet-edge" else 30) + 8
    return _label(f, (4.0 if narrow else f.outer[0] - 50, y), place, [place.words], "start")


def words(f: Frame, place: Place, setup: str | None, narrow: bool) -> list[Label]:
    """The words of one place, where the drawing has room for them."""
    name = parent(place.path)
    if not place.words or (narrow and name in ("line", "valve-seat")):
        return []
    if name in ("panel-edges", "panel-faces"):
        return _side_words(f, place, narrow)
    if name in ("rim-joint", "sheet-edge"):
        return [_rim_words(f, place, narrow)]
    if name == "top-panel":
        return [_top_words(f, place, narrow)]
    if name == "port-flange":
        return [_flange_words(f, place)]
    return [_hose_words(f, place) if name in ("line", "valve-seat") else _closure_words(f, place, setup)]


def apart(labels: Sequence[Label]) -> list[Label]:
    """Labels that do not touch, the likely ones first; what is left out stands in the list beside the drawing."""
    kept: list[Label] = []
    for label in sorted(labels, key=lambda one: not one.strong):
        if not any(label.meets(other) for other in kept):
            kept.append(label)
    return kept


def section(
    box: Box,
    width: float,
    places: Sequence[Place] = (),
    *,
    setup: str | None = None,
    valve: Valve = "shut",
    tallest: float = 150.0,
    label: str = "",
    notes: Sequence[str] = (),
    head: float | None = None,
) -> str:
    """The whole section as one drawing with its places marked.

    Parameters
    ----------
    box
        The box; sizes it does not give are taken from a plain middling box.
    width
        Width of the drawing, px.
    places
        Paths to mark; of a path given in parts the likeliest part is drawn.
    setup
        What closes the top.
    valve
        The valve and hose: shut, open, or only the stub.
    tallest
        Most height the inside may take, px.
    label
        Sentence for screen readers.
    notes
        Likely places in one label below the box, where no test parts them.
    head
        Room above the top, px, so that two drawings stand on one level.
    """
    narrow = width < 480
    side = 52.0 if narrow else 104.0
    f = frame_for(box, width, side, head or 62.0, tallest)
    shown = list(outside_places(places).values())
    hose: Valve = "none" if narrow and valve == "shut" else valve
    parts = [body(f, setup, hose), *(mark(f, p, setup) for p in shown)]
    labels = apart([w for p in shown for w in words(f, p, setup, narrow)])
    parts += [one.drawn() for one in labels]
    below = [line for note in notes for line in svg.wrapped(note, int((f.port_x - f.outer[0]) / 7.4))]
    parts.append(svg.lines_of_text((f.outer[0] + 4, f.outer[3] + 34), below, 18, bold=True, fill="air"))
    lowest = max((one.frame[3] for one in labels), default=0.0)
    tall = max(height_of(f, hose), lowest + 2, f.outer[3] + 38 + 18 * len(below) if below else 0.0)
    return svg.drawing(width, tall, "".join(parts), label)
