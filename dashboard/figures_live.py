"""A running hold: the pressure so far, and how sure the area is so far."""

from __future__ import annotations

from typing import Any

import numpy as np
import plotly.graph_objects as go

from analysis import wording
from analysis.holding import Estimate
from analysis.limit import limit_for
from dashboard import figures as fg
from dashboard.areas import MM2, AreaUnit
from dashboard.figures import Scale, Size
from dashboard.figures_hold import PART_WAYS
from dashboard.holds import HoldState, Latest
from dashboard.palette import LIGHT

ENDS_S = (60.0, 120.0, 180.0, 300.0, 420.0, 600.0, 900.0, 1200.0, 1800.0, 3600.0)
BEFORE_SHARE = 0.28


def _size(width: float, tall: float) -> Size:
    narrow = width < 700
    return Size(width, tall, (44.0, 16.0, 34.0, 42.0) if narrow else (56.0, 110.0, 34.0, 42.0))


def next_end(so_far_s: float) -> float:
    """The axis's end: the next nice time well past now, so that it steps and does not slide."""
    return next((e for e in ENDS_S if e >= so_far_s * 1.25 + 15), so_far_s * 1.5)


def _minutes(fig: go.Figure, state: HoldState, first: float) -> float:
    held = state.held_s
    last = next_end(state.elapsed_s if held is None else held)
    step = next((s for s in (30.0, 60.0, 120.0, 300.0, 600.0) if last / s <= 7), 1200.0)
    ticks = np.arange(0.0, last + 1, step)
    words = [f"{t / 60:.0f}" if step >= 60 else wording.clock_text(t) for t in ticks]
    fig.update_layout(xaxis=fg.axis(range=[first, last], tickvals=ticks.tolist(), ticktext=words))
    unit, since = "minutes" if step >= 60 else "min:s", "the valve was shut" if held is not None else "the start"
    fg.say(fig, 1, 0, f"{unit} since {since}", xref="paper", yref="paper", anchor="right", level="top", shift=(0, -22))
    return last


def live_curve(state: HoldState, scale: Scale, width: float, tall: float) -> go.Figure:
    """The pressure so far with a ring at now; before the shut everything since the start."""
    size = _size(width, tall)
    fig, zero = fg.blank(size), state.shut_s or 0.0
    t = state.t_s - zero
    shut = state.shut_s is not None
    first = -BEFORE_SHARE * next_end(state.held_s or 0.0) if shut else 0.0
    last = _minutes(fig, state, first)
    low, high = scale.range()
    fig.update_layout(yaxis=fg.level_axis(range=[low, high], tickvals=scale.ticks(width < 700)))
    fg.say(fig, 0, 1, scale.unit.unit, xref="paper", yref="paper", level="bottom", shift=(-size.margins[0], 8))
    if shut:
        fg.rule(fig, (0, 0, 0, 1.06), yref="paper")
        fg.say(fig, 0, 1, "hold, valve shut", yref="paper", colour="ink", bold=True, level="bottom", shift=(6, 6))
        level = float(scale.of(PART_WAYS * state.room_pa))
        fg.rule(fig, (0, level, last, level), "grey", 1.5, "dot", layer="below")
        if width >= 700:
            fg.say(fig, 1, level, "hole and seep<br>part ways here", xref="paper", shift=(8, 0))
    keep = fg.thin(state.p_pa)
    fg.line(fig, t[keep], scale.of(state.p_pa[keep]), "measured", 2.0)
    _now(fig, state, scale, zero, last)
    fig.update_layout(meta={"heard": state.heard, "zero_s": zero})
    return fig


def now_words(value: float, scale: Scale) -> str:
    """The reading beside the ring."""
    return f"{value:.1f} {scale.unit.unit}"


def heard_since(latest: Latest, scale: Scale) -> dict[str, Any]:
    """What the page adds to ``live_curve`` between two drawings: points on its axes and the reading in words."""
    zero, y = latest.shut_s or 0.0, [float(v) for v in scale.of(latest.p_pa)]
    words = f"<b>{now_words(y[-1], scale)}</b>" if y else ""
    return {"zero_s": zero, "x": (latest.t_s - zero).tolist(), "y": y, "words": words}


def _now(fig: go.Figure, state: HoldState, scale: Scale, zero: float, last: float) -> None:
    if state.now_pa is None:
        return
    x, y = float(state.t_s[-1]) - zero, float(scale.of(state.now_pa))
    fig.add_shape(
        type="rect",
        name="ahead",
        x0=x,
        x1=last,
        y0=0,
        y1=1,
        yref="paper",
        layer="below",
        line={"width": 0},
        fillcolor=LIGHT["ahead"],
    )
    fg.rule(fig, (x, 0, x, 1), yref="paper", width=1.4)
    fig.layout.shapes[-1].name = "now"
    fg.line(fig, [x], [y], "measured", 2.0)
    fig.data[-1].name = "tail"
    fg.dots(fig, [x], [y], "measured", 6, "circle-open")
    fig.data[-1].name = "ring"
    words, beside = now_words(y, scale), (-10, 6)
    fg.say(fig, x, y, words, colour="measured", bold=True, anchor="right", level="bottom", size=18, shift=beside)
    fig.layout.annotations[-1].name = "reading"
    fg.say(fig, x, 0, "now", yref="paper", colour="ink", level="bottom", shift=(5, 4))
    fig.layout.annotations[-1].name = "now"


def _areas(estimates: tuple[Estimate, ...], unit: AreaUnit) -> list[tuple[float, float, float, float]]:
    known = [(e.held_s, e.area_m2) for e in estimates if e.area_m2 is not None and e.area_m2[2] > 0]
    return [(held, value * unit.per_m2, low * unit.per_m2, high * unit.per_m2) for held, (value, low, high) in known]


def how_sure(state: HoldState, width: float, tall: float, unit: AreaUnit = MM2) -> go.Figure:
    """The area's interval narrowing since the shut, against the limit."""
    size = _size(width, tall)
    fig, rows = fg.blank(size), _areas(state.estimates, unit)
    limit = limit_for(state.box)
    last = _minutes(fig, state, 0.0)
    values = [v for _, value, _, high in rows[-60:] for v in (value, high)] + (
        [limit.area_m2 * unit.per_m2] if limit else []
    )
    low, high = min(values, default=0.1) / 3, max(values, default=1.0) * 2
    ticks = fg.decade_ticks(low, high)
    fig.update_layout(
        yaxis=fg.level_axis(
            type="log", range=[np.log10(low), np.log10(high)], tickvals=ticks, ticktext=[fg.plain(v) for v in ticks]
        )
    )
    fg.say(fig, 0, 1, unit.words, xref="paper", yref="paper", level="bottom", shift=(-size.margins[0], 8))
    _closing(fig, rows, low, high)
    if limit is not None:
        _limit(fig, limit.area_m2 * unit.per_m2, last, width < 700)
    if not rows:
        fg.say(fig, 0.5, 0.5, "too early", xref="paper", yref="paper", anchor="center", size=18)
    return fig


def _limit(fig: go.Figure, level: float, last: float, inside: bool) -> None:
    for value, thick in ((level, 2.0), (level * 1.03, 1.0)):
        fg.rule(fig, (0, value, last, value), "air", thick)
    at, shift = ("right", (-4, 4)) if inside else ("left", (8, 0))
    words, stands = f"limit {wording.two_figures(level)}", "bottom" if inside else "middle"
    fg.say(
        fig,
        1,
        float(np.log10(level)),
        words,
        xref="paper",
        colour="air",
        bold=True,
        anchor=at,
        level=stands,
        shift=shift,
    )


def _closing(fig: go.Figure, rows: list[tuple[float, float, float, float]], low: float, high: float) -> None:
    if not rows:
        return
    t = [r[0] for r in rows]
    bottom, top = [max(r[2], low) for r in rows], [min(r[3], high) for r in rows]
    fg.area(fig, [*t, *reversed(t)], [*top, *reversed(bottom)])
    for edge in (bottom, top):
        fg.line(fig, t, edge, "measured", 1.6)
    fg.line(fig, t, [r[1] for r in rows], "ink", 2.2)
    at, value, down, up = rows[-1]
    fg.rule(fig, (at, max(down, low), at, min(up, high)), "measured", 7)
    fg.dots(fig, [at], [value], "ink", 5, "square")
