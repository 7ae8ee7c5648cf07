"""Box, valve and tank as three boxes on a line: where the gauge sits, what is behind the valve."""

from __future__ import annotations

from dashboard import svg
from dashboard.section import bow_tie

_W, _H = 190.0, 56.0
_BOX, _TANK, _VALVE = (6.0, 24.0, 44.0, 26.0), (142.0, 22.0, 38.0, 30.0), (96.0, 38.0)


def _dial(x: float, y: float, foot: float) -> str:
    return (
        svg.line((x, y + 8), (x, foot), "ink", 2)
        + svg.circle((x, y), 8, "paper", "ink", 2)
        + svg.line((x, y), (x + 4, y - 4), "ink", 2)
    )


def _base(valve: bool) -> str:
    pipe = svg.line((50, 38), (142, 38), "ink", 2)
    return svg.rect(*_BOX, fill="paper", stroke="ink", width=2) + pipe + bow_tie(_VALVE, 8, valve)


def _tank() -> str:
    return svg.el(
        "rect",
        x=_TANK[0],
        y=_TANK[1],
        width=_TANK[2],
        height=_TANK[3],
        rx=7,
        fill="paper",
        stroke="ink",
        stroke_width=2,
    )


def gauge_at(place: str) -> str:
    """The gauge on the box, on its hose before the valve, or on the tank."""
    dial = {"box": _dial(28, 12, 24), "hose": _dial(72, 22, 38), "tank": _dial(160, 10, 22)}[place]
    return svg.drawing(_W, _H, _base(False) + _tank() + dial, f"gauge on the {place}")


def behind(what: str) -> str:
    """Room, pump or tank behind the shut valve."""
    room = "".join(svg.line((146 + 8 * i, 31), (146 + 8 * i, 45), "grey", 1.6) for i in range(4))
    pump = (
        svg.circle((158, 38), 14, "paper", "ink", 2)
        + svg.line((148, 46), (168, 30), "ink", 2)
        + svg.circle((158, 38), 8, "none", "ink", 1.6)
    )
    return svg.drawing(
        _W, _H, _base(True) + {"room": room, "pump": pump, "tank": _tank()}[what], f"{what} behind the valve"
    )
