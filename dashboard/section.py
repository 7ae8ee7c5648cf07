"""The box cut along its length through the port, drawn from its own measurements.

Lengths of the box are mm, of the drawing px. ``Frame`` fixes the scale and where the inside lies;
everything else is drawn relative to it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from acquisition.records import Box
from dashboard import svg
from dashboard.svg import Point

State = Literal["likely", "open", "sealed", "only"]
Valve = Literal["none", "shut", "open"]
ASSUMED_INSIDE_MM = (600.0, 400.0, 120.0)
ASSUMED_BOARD_MM = 18.0
PUTTY = 7.0


@dataclass(frozen=True)
class Place:
    """A leak path as a drawing shows it: how, with what chance (0..1) and which words beside it."""

    path: str
    state: State = "open"
    chance: float | None = None
    words: str = ""


@dataclass(frozen=True)
class Frame:
    """Scale (px per mm) and the inside of the box in px; ``wall`` is the board's thickness in px."""

    box: Box
    scale: float
    left: float
    top: float
    wall: float

    @property
    def size_mm(self) -> tuple[float, float, float]:
        """Length, width and height inside, the longer side first."""
        return turned(self.box)

    @property
    def right(self) -> float:
        """X of the inner face of the right wall."""
        return self.left + self.size_mm[0] * self.scale

    @property
    def floor(self) -> float:
        """Y of the upper face of the bottom."""
        return self.top + self.size_mm[2] * self.scale

    @property
    def outer(self) -> tuple[float, float, float, float]:
        """Left, top, right and bottom of the whole box."""
        return self.left - self.wall, self.top - self.wall, self.right + self.wall, self.floor + self.wall

    @property
    def port_x(self) -> float:
        """X of the port's centre line."""
        return self.left + port_mm(self.box)[0] * self.scale

    @property
    def lip(self) -> float:
        """How far the lip stands above the top, px; 0 for a bare edge."""
        rim = self.box.rim
        least = 5.0 if self.wall >= 6 else 1.5
        return max(least, rim.proud_mm * self.scale) if rim.lip == "steel" else 0.0


def turned(box: Box) -> tuple[float, float, float]:
    """Inside sizes in mm with the longer side first, so that it lies across the drawing."""
    length, width, height = box.inside_mm or ASSUMED_INSIDE_MM
    return max(length, width), min(length, width), height


def is_turned(box: Box) -> bool:
    """Whether the drawing shows the box turned by a quarter."""
    return box.inside_mm is not None and box.inside_mm[0] < box.inside_mm[1]


def port_mm(box: Box) -> tuple[float, float]:
    """Port centre in mm from the left and the front of the drawing."""
    length, width, _ = turned(box)
    x, y = box.port.x_mm, box.port.y_mm
    if is_turned(box):
        x, y = y, x
    return (length / 2 if x is None else x), (width / 2 if y is None else y)


def baffle_counts(box: Box) -> tuple[int, int]:
    """How many baffles stand across the drawing's length, and how many along it."""
    across, along = box.baffles.count_x, box.baffles.count_y
    return (along, across) if is_turned(box) else (across, along)


def baffle_places(length: float, count: int) -> list[float]:
    """Centres of evenly spaced baffles along ``length``."""
    return [length * (i + 1) / (count + 1) for i in range(count)]


def vent_grid(box: Box) -> tuple[int, int, float]:
    """Vent columns and rows, and their pitch in mm, on a grid as near square as the count allows."""
    length, width, _ = turned(box)
    count, pitch = box.vents.count, box.vents.pitch_mm
    if count < 1:
        return 0, 0, pitch
    columns = max(1, min(count, round((count * length / width) ** 0.5), int(0.9 * length / pitch) + 1))
    rows = -(-count // columns)
    shrink = min(1.0, 0.9 * width / (max(rows - 1, 1) * pitch), 0.94 * length / (max(columns - 1, 1) * pitch))
    return columns, rows, pitch * shrink


def frame_for(box: Box, width: float, side: float, head: float, tallest: float = 150.0, thinnest: float = 8.0) -> Frame:
    """The frame that fits a box into ``width`` px with ``side`` px free at each end and ``head`` px above."""
    length, _, height = turned(box)
    board = box.board_mm or ASSUMED_BOARD_MM
    scale = min((width - 2 * side) / (length + 2 * board), tallest / height)
    wall = max(thinnest, board * scale)
    scale = min(scale, (width - 2 * side - 2 * wall) / length)
    left = (width - length * scale) / 2
    return Frame(box, scale, left, head + wall, wall)


def _plies(x: float, y: float, w: float, h: float) -> str:
    flat = w >= h
    steps = [(i + 1) / 4 for i in range(3)]
    ends = [((x, y + h * s), (x + w, y + h * s)) if flat else ((x + w * s, y), (x + w * s, y + h)) for s in steps]
    return "".join(svg.line(a, b, "second", 0.5) for a, b in ends)


def board(x: float, y: float, w: float, h: float) -> str:
    """A cut board with its ply lines."""
    plies = _plies(x, y, w, h) if min(w, h) >= 6 else ""
    return svg.rect(x, y, w, h, fill="board") + plies + svg.rect(x, y, w, h, stroke="ink", width=1.6 if plies else 1.0)


def _shell(f: Frame) -> str:
    x0, y0, x1, _ = f.outer
    tall = f.floor - f.top
    inside = svg.rect(f.left, f.top, f.right - f.left, tall, fill="inside")
    walls = board(x0, f.top, f.wall, tall) + board(f.right, f.top, f.wall, tall)
    return inside + walls + board(x0, y0, x1 - x0, f.wall) + board(x0, f.floor, x1 - x0, f.wall)


def _baffles(f: Frame) -> str:
    tall, thick = f.floor - f.top, max(2.0, f.wall * 0.9)
    drawn = []
    for at in baffle_places(f.right - f.left, baffle_counts(f.box)[0]):
        x = f.left + at - thick / 2
        drawn.append(board(x, f.top, thick, tall * 0.56) + board(x, f.top + tall * 0.8, thick, tall * 0.2))
        drawn.append(svg.rect(x, f.top + tall * 0.56, thick, tall * 0.24, fill="inside", stroke="grey", width=0.8))
    return "".join(drawn)


def vent_xs(f: Frame) -> list[float]:
    """X of the vents that the cut passes through."""
    columns, _, pitch = vent_grid(f.box)
    middle = (f.left + f.right) / 2
    return [middle + (i - (columns - 1) / 2) * pitch * f.scale for i in range(columns)]


def _vents(f: Frame) -> str:
    wide = max(2.0, f.box.vents.drill_mm * f.scale)
    return "".join(
        svg.rect(x - wide / 2, f.top - f.wall, wide, f.wall, fill="paper", stroke="grey", width=0.7) for x in vent_xs(f)
    )


def _lip(f: Frame) -> str:
    if not f.lip:
        return ""
    x0, y0, x1, _ = f.outer
    down = min(26 * f.scale + f.wall * 0.3, f.floor - f.top)
    bent = ((x0 - 1.5, y0 - f.lip), (x0 - 1.5, y0 + down)), ((x1 + 1.5, y0 - f.lip), (x1 + 1.5, y0 + down))
    legs = ((x0 - 1.5, y0 - 1), (f.left + 4, y0 - 1)), ((x1 + 1.5, y0 - 1), (f.right - 4, y0 - 1))
    thick = 3.0 if f.wall >= 8 else 1.5
    return "".join(svg.line(a, b, "second", thick) for a, b in (*bent, *legs))


def _port(f: Frame) -> str:
    y, bore = f.floor + f.wall, max(3.0, f.box.port.bore_mm * f.scale * 0.8)
    flange = max(10.0, f.box.port.flange_mm * f.scale)
    hole = svg.rect(f.port_x - bore / 2, f.floor - 0.8, bore, f.wall + 1.6, fill="inside")
    plate = svg.rect(f.port_x - flange / 2, y + 0.8, flange, max(2.0, f.wall * 0.36), fill="second")
    return hole + plate


def hose_start(f: Frame) -> tuple[float, float]:
    """Where the stub below the flange ends: y, and its half width, px."""
    return f.outer[3] + f.wall * 0.4 + max(8.0, min(26.0, f.wall * 1.6)), max(3.0, f.wall * 0.55)


def valve_at(f: Frame) -> Point:
    """Centre of the valve."""
    y, _ = hose_start(f)
    reach = min(100.0, max(46.0, 0.22 * (f.right - f.left)))
    return f.port_x + reach, y + 30


def bow_tie(at: Point, size: float, shut: bool) -> str:
    """The valve: two triangles nose to nose, filled when shut."""
    x, y = at
    outline = (
        (x - size, y - size * 0.8),
        (x + size, y + size * 0.8),
        (x + size, y - size * 0.8),
        (x - size, y + size * 0.8),
    )
    return svg.poly(outline, "ink" if shut else "paper", "ink", 1.8)


def _stub(f: Frame) -> str:
    y, half = hose_start(f)
    top = f.outer[3] + f.wall * 0.4
    return svg.rect(f.port_x - half, top, 2 * half, y - top, "paper", "ink", 1.8 if f.wall >= 8 else 1.0)


def _hose(f: Frame, shut: bool) -> str:
    y, half = hose_start(f)
    x, end = f.port_x, valve_at(f)
    r = 6.0
    bend = (
        f"M{x:.1f},{y:.1f} V{end[1] - r * 2:.1f} Q{x:.1f},{end[1]:.1f} {x + r * 2:.1f},{end[1]:.1f} H{end[0] - 12:.1f}"
    )
    wide, thin = half * 1.1 + 3.6, half * 1.1
    tube = svg.el("path", d=bend, fill="none", stroke="ink", stroke_width=wide)
    return tube + svg.el("path", d=bend, fill="none", stroke="paper", stroke_width=thin) + bow_tie(end, 12, shut)


def _vent_span(f: Frame) -> tuple[float, float]:
    xs = vent_xs(f)
    if not xs:
        third = (f.right - f.left) / 8
        return f.left + third, f.right - third
    return max(f.left, xs[0] - 14), min(f.right, xs[-1] + 14)


def _tape(f: Frame) -> str:
    a, b = _vent_span(f)
    thick = max(2.5, f.wall * 0.4)
    return svg.rect(a, f.outer[1] - thick, b - a, thick, "paper", "ink", 1.6 if f.wall >= 6 else 1.0)


def _film_on_top(f: Frame) -> str:
    y, a, b = f.outer[1] - 2, f.left + 8, f.right - 8
    putty = svg.rect(a - 4, y - 3, PUTTY, 5, fill="ink") + svg.rect(b - 3, y - 3, PUTTY, 5, fill="ink")
    return svg.line((a, y), (b, y), "ink", 3) + putty


def _film_on_rim(f: Frame) -> str:
    x0, y, x1, _ = f.outer
    up = y - f.lip - 3
    run = (
        (x0 - 5, up),
        (f.left + 2, up + 2),
        (f.left + 20, y - 2),
        (f.right - 20, y - 2),
        (f.right - 2, up + 2),
        (x1 + 5, up),
    )
    putty = svg.rect(x0 - 7, up - 2, 9, 6, fill="ink") + svg.rect(x1 - 2, up - 2, 9, 6, fill="ink")
    return svg.path(run, "ink", 3.2) + putty


def mould_height(f: Frame) -> float:
    """Height of the plain hump that stands for the mould, px."""
    return min(46.0, max(12.0, 0.22 * (f.right - f.left) * 0.7))


def _sheet(f: Frame) -> str:
    x0, y, x1, _ = f.outer
    w, high, up = x1 - x0, mould_height(f), y - f.lip - 4
    hump = [(x0 + w * 0.26, y - 3), (x0 + w * 0.32, y - high), (x0 + w * 0.68, y - high), (x0 + w * 0.74, y - 3)]
    run = [(x0 - min(40.0, w * 0.13), up - 2), (x0, up), *hump, (x1, up), (x1 + min(40.0, w * 0.13), up - 2)]
    inner = [
        (x0 + w * 0.28, y - 1),
        (x0 + w * 0.335, y - high + 7),
        (x0 + w * 0.665, y - high + 7),
        (x0 + w * 0.72, y - 1),
    ]
    double = svg.path(run, "ink", 5.2 if f.wall >= 6 else 3) + svg.path(run, "paper", 2.2 if f.wall >= 6 else 1)
    return svg.poly(inner, "paper", "grey", 1) + double


_CLOSURES = {
    "vents-taped": _tape,
    "film-on-top": _film_on_top,
    "film-on-rim": _film_on_rim,
    "formed-sheet": _sheet,
}


def closure(f: Frame, setup: str | None) -> str:
    """What closes the top in a setup; nothing when it is unknown or the top is bare."""
    maker = _CLOSURES.get(setup or "")
    return maker(f) if maker else ""


def _capped(f: Frame) -> str:
    x0, y0, x1, y1 = f.outer
    cap = svg.rect(f.port_x - 11, y1 + 2, 22, 6, fill="ink")
    return svg.rect(x0, y0, x1 - x0, y1 - y0, stroke="grey", dash="4 4") + cap


def body(f: Frame, setup: str | None = None, hose: Valve = "shut") -> str:
    """The box itself with what closes its top, without marks."""
    pipe = _stub(f) + ("" if hose == "none" else _hose(f, hose == "shut"))
    if setup == "line-only":
        return _capped(f) + pipe
    drilled = "" if setup == "undrilled" else _vents(f)
    return _port(f) + pipe + _shell(f) + drilled + _baffles(f) + _port_hole(f) + closure(f, setup) + _lip(f)


def _port_hole(f: Frame) -> str:
    bore = max(3.0, f.box.port.bore_mm * f.scale * 0.8)
    return svg.rect(f.port_x - bore / 2, f.floor - 0.8, bore, f.wall + 1.6, fill="inside")


def height_of(f: Frame, hose: Valve = "shut") -> float:
    """Height the drawing needs, px."""
    return hose_start(f)[0] + (6 if hose == "none" else 48)


def small(box: Box, width: float, *, scale: float | None = None, setup: str | None = None) -> str:
    """A box as a small section: in rows at one common ``scale`` (px per mm), or fitted to ``width``."""
    sheeted = setup in ("formed-sheet", "film-on-rim")
    side = width * 0.14 if sheeted else 4.0
    f = frame_for(box, width, side, 26.0 if sheeted else 8.0, tallest=width * 0.5, thinnest=2.0)
    if scale is not None:
        length = turned(box)[0]
        f = Frame(box, scale, (width - length * scale) / 2, 8.0, max(2.0, (box.board_mm or ASSUMED_BOARD_MM) * scale))
    words = f"{box.name}, cut along its length"
    return svg.drawing(width, height_of(f, "none"), body(f, setup, "none"), words)


def outside_places(places: Sequence[Place]) -> dict[str, Place]:
    """Places by their path; the likeliest part stands for a path that is given in parts."""
    best: dict[str, Place] = {}
    for place in sorted(places, key=lambda p: p.chance or 0.0):
        best[place.path.split("/", 1)[0]] = place
    return best
