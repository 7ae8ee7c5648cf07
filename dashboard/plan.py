"""The box from above, on the section's scale and centre line."""

from __future__ import annotations

from collections.abc import Sequence

from acquisition.records import Box
from dashboard import svg
from dashboard.section import (
    Frame,
    Place,
    baffle_counts,
    baffle_places,
    frame_for,
    is_turned,
    port_mm,
    turned,
    vent_grid,
)

BAR = 8.0
SEAMS = ("front", "back", "left", "right")


def _top(f: Frame, y: float, deep: float) -> str:
    x0, _, x1, _ = f.outer
    face = svg.el("g", svg.rect(x0, y, x1 - x0, deep + 2 * f.wall, fill="board"), opacity=0.6)
    lip = svg.rect(x0 - 2, y - 2, x1 - x0 + 4, deep + 2 * f.wall + 4, stroke="second", width=3) if f.lip else ""
    inner = svg.rect(f.left, y + f.wall, f.right - f.left, deep, stroke="second", width=1.1, dash="6 4")
    return face + lip + svg.rect(x0, y, x1 - x0, deep + 2 * f.wall, stroke="ink", width=1.6) + inner


def _baffle_lines(f: Frame, y: float, deep: float) -> str:
    across, along = baffle_counts(f.box)
    half, dashed = max(3.0, f.wall * 0.45), []
    for at in baffle_places(f.right - f.left, across):
        dashed += [((f.left + at + s, y), (f.left + at + s, y + deep)) for s in (-half, half)]
    for at in baffle_places(deep, along):
        dashed += [((f.left, y + at + s), (f.right, y + at + s)) for s in (-half, half)]
    return "".join(svg.line(a, b, "second", 1.1, "6 4") for a, b in dashed)


def _vents(f: Frame, y: float, deep: float) -> str:
    columns, rows, pitch = vent_grid(f.box)
    step, middle = pitch * f.scale, (f.left + f.right) / 2
    r = max(1.1, f.box.vents.drill_mm * f.scale / 2)
    spots = [
        (middle + (i - (columns - 1) / 2) * step, y + deep / 2 + (j - (rows - 1) / 2) * step)
        for j in range(rows)
        for i in range(columns)
    ]
    return "".join(svg.circle(spot, r, fill="ink") for spot in spots[: f.box.vents.count])


def _port(f: Frame, y: float, deep: float) -> str:
    _, up = port_mm(f.box)
    at = (f.port_x, y + deep - up * f.scale)
    flange = max(10.0, f.box.port.flange_mm * f.scale / 2)
    rings = svg.circle(at, flange, stroke="second", dash="5 3") + svg.circle(
        at, flange * 0.5, stroke="second", dash="4 3"
    )
    return rings + svg.text((at[0] + flange + 6, at[1] + 5), "port, below", edge="board")


def _seam_box(f: Frame, seam: str, y: float, tall: float) -> tuple[float, float, float, float]:
    x0, _, x1, _ = f.outer
    gap = 5.0
    return {
        "front": (x0, y + tall + gap, x1 - x0, BAR),
        "back": (x0, y - gap - BAR, x1 - x0, BAR),
        "left": (x0 - gap - BAR, y, BAR, tall),
        "right": (x1 + gap, y, BAR, tall),
    }[seam]


def _seam(f: Frame, seam: str, place: Place | None, y: float, tall: float) -> str:
    at = _seam_box(f, seam, y, tall)
    if place is None:
        return svg.rect(*at, fill="paper", stroke="grey", width=1.2)
    if place.state == "sealed":
        return svg.rect(*at, fill="ink")
    strong = place.state == "likely"
    fill = svg.by_chance(place.chance or 0.0) if strong else "paper"
    return svg.rect(*at, fill=fill, stroke="air" if strong else "grey", width=1.4)


def _seam_words(f: Frame, seam: str, place: Place | None, y: float, tall: float) -> str:
    x0, _, x1, _ = f.outer
    strong = place is not None and place.state == "likely"
    name = place.words if place is not None and place.words else f"{seam} seam"
    how = {"fill": "air" if strong else "second", "bold": strong}
    if seam in ("front", "back"):
        level = y + tall + 32 if seam == "front" else y - 20
        return svg.text(((x0 + x1) / 2, level), name, anchor="middle", **how)  # type: ignore[arg-type]
    out = (x0 - 20, "end") if seam == "left" else (x1 + 20, "start")
    first, _, rest = name.partition(" ")
    return svg.lines_of_text((out[0], y + tall / 2 - 4), (first, rest), 17, anchor=out[1], **how)


def seam_of(place: Place, box: Box) -> str | None:
    """Which side of the drawing a part of the panel edges lies on; None for other paths."""
    name, _, part = place.path.partition("/")
    if name != "panel-edges" or part not in SEAMS:
        return None
    if not is_turned(box):
        return part
    return {"front": "right", "right": "back", "back": "left", "left": "front"}[part]


def plan(box: Box, width: float, places: Sequence[Place] = (), *, label: str = "", tallest: float = 330.0) -> str:
    """The box from above: seams as bars, vents, baffles and port; the scale is the section's where it fits.

    Parameters are those of ``dashboard.places.section``.
    """
    side = 70.0 if width < 480 else 104.0
    f = frame_for(box, width, side, 0.0, thinnest=6.0)
    deep = turned(box)[1] * f.scale
    if deep > tallest:
        f = frame_for(box, width, side + (1 - tallest / deep) * (f.right - f.left) / 2, 0.0, thinnest=6.0)
        deep = turned(box)[1] * f.scale
    y, tall = 40.0, deep + 2 * f.wall
    by_seam = {seam_of(p, box): p for p in places}
    seams = [_seam(f, s, by_seam.get(s), y, tall) + _seam_words(f, s, by_seam.get(s), y, tall) for s in SEAMS]
    inner = y + f.wall
    parts = [_top(f, y, deep), _baffle_lines(f, inner, deep), _vents(f, inner, deep), _port(f, inner, deep), *seams]
    return svg.drawing(width, y + tall + 42, "".join(parts), label)
