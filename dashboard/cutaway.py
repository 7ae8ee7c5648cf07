"""One cut box with every place where air can get in named: the first page's and the help's drawing."""

from __future__ import annotations

from acquisition.records import Baffles, Box, Port, Rim, Vents
from acquisition.setups import PATHS
from dashboard import svg
from dashboard.section import Frame, body, frame_for, valve_at
from dashboard.svg import Point

PLAIN_BOX = Box(
    "a box",
    (620.0, 400.0, 135.0),
    board_mm=18.0,
    baffles=Baffles(2, 0, 18.0),
    rim=Rim("steel", 6.0),
    port=Port(310.0, 200.0, 25.0, 80.0),
    vents=Vents(80, 1.0, 40.0),
)
_SAYS = {
    "sheet-edge": "the hot sheet against the rim",
    "rim-joint": "steel lip to plywood, if there is a lip",
    "panel-faces": "walls and bottom, through the board",
    "panel-edges": "glued and stapled joints, edge grain",
    "closure": "closes the vents for a test",
    "top-panel": "its faces, the baffle screws",
    "port-flange": "bead and screws below",
    "line": "hose, fittings; the seat can take air out",
}


def _spots(f: Frame) -> dict[str, tuple[Point, str]]:
    x0, y0, _, y1 = f.outer
    valve = valve_at(f)
    return {
        "sheet-edge": ((x0 - 22, y0 - f.lip - 6), "left"),
        "rim-joint": ((x0 - 2, y0 + f.wall * 0.3), "left"),
        "panel-faces": ((x0, (f.top + f.floor) / 2), "left"),
        "panel-edges": ((x0 + 3, f.floor), "left"),
        "closure": ((f.left + (f.right - f.left) * 0.72, y0 - 2), "right"),
        "top-panel": ((f.right - 4, y0 + f.wall / 2), "right"),
        "port-flange": ((f.port_x + 34, y1 + 3), "right"),
        "line": ((valve[0] + 12, valve[1]), "right"),
    }


def _named(path: str, spot: Point, at: Point, anchor: str) -> str:
    name = "line, valve seat" if path == "line" else PATHS[path].label
    back = 8 if anchor == "end" else -8
    lead = svg.line((at[0] + back, at[1] - 2), spot, "grey", 1.2) + svg.circle(spot, 4, fill="ink")
    words = svg.text((at[0], at[1]), name, size=18, anchor=anchor, lettered=True)
    return lead + words + svg.text((at[0], at[1] + 19), _SAYS[path], fill="second", anchor=anchor)


def named_places(width: float, narrow: bool) -> str:
    """The cut box with names; on a phone with numbers, its names are listed beside it by the page."""
    side = 40.0 if narrow else max(250.0, width * 0.3)
    f = frame_for(PLAIN_BOX, width, side, 84.0, 140.0)
    spots = _spots(f)
    if narrow:
        numbers = "".join(
            svg.circle(spot, 10, "paper", "ink")
            + svg.text((spot[0], spot[1] + 5), str(i + 1), anchor="middle", bold=True, edge=None)
            for i, (spot, _) in enumerate(spots.values())
        )
        listed = "".join(
            svg.text(
                (12, f.outer[3] + 110 + 22 * i),
                f"{i + 1}  {'line, valve seat' if p == 'line' else PATHS[p].label}",
                size=16,
            )
            for i, p in enumerate(spots)
        )
        return svg.drawing(
            width, f.outer[3] + 110 + 22 * len(spots), body(f, "formed-sheet", "open") + numbers + listed, _label()
        )
    left = [p for p, (_, s) in spots.items() if s == "left"]
    parts = [body(f, "formed-sheet", "open")]
    for path, (spot, where) in spots.items():
        column = left if where == "left" else [p for p in spots if p not in left]
        at = (f.outer[0] - 80 if where == "left" else f.outer[2] + 84, 70 + 62.0 * column.index(path))
        parts.append(_named(path, spot, at, "end" if where == "left" else "start"))
    return svg.drawing(width, max(valve_at(f)[1] + 30, 340), "".join(parts), _label())


def _label() -> str:
    return "A vacuum box cut through. Air can get in at: " + ", ".join(p.label for p in PATHS.values()) + "."
