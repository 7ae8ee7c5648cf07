"""The outline of a hold test: its ten parts as one line, the present part thick, the redraw dotted."""

from __future__ import annotations

from dashboard import svg

STEPS = ("Box", "Set up", "Gauge", "Baseline", "Pump-down", "Soak", "Hold", "Redraw", "Let-up", "Answer")
_LEVELS: dict[str, tuple[tuple[float, float], ...]] = {
    "Pump-down": ((0, 0), (0.2, 0.6), (0.5, 0.9), (1, 1)),
    "Soak": ((0, 1), (1, 1)),
    "Hold": ((0, 1), (1, 0.5)),
    "Redraw": ((0, 0.5), (0.2, 0.85), (1, 1)),
    "Let-up": ((0, 1), (0.25, 0.3), (1, 0)),
}


def outline(present: str, width: float, redraw: bool = False) -> str:
    """The outline with ``present`` thick; parts to come are dotted."""
    step = width / len(STEPS)
    at = STEPS.index(present)
    return svg.drawing(
        width,
        52,
        "".join(_part(i, at, step, redraw) for i in range(len(STEPS))),
        f"Step {at + 1} of {len(STEPS)}: {present}",
    )


def _part(i: int, at: int, step: float, redraw: bool) -> str:
    name, x = STEPS[i], i * step
    words = svg.text(
        (x + step / 2, 46), name, size=15, anchor="middle", bold=i == at, fill="ink" if i <= at else "second", edge=None
    )
    if name == "Answer":
        return words + svg.rect(
            x + step / 2 - 9, 2, 18, 18, stroke="ink" if i == at else "grey", dash=None if i == at else "3 3"
        )
    shape = _LEVELS.get(name, ((0, 0), (1, 0)))
    points = [(x + 4 + u * (step - 8), 5 + v * 22) for u, v in shape]
    if i == at:
        return words + svg.path(points, "measured", 6)
    return words + svg.path(
        points, "ink" if i < at else "grey", 2, None if i < at and (name != "Redraw" or redraw) else "3 3"
    )
