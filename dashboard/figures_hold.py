"""The hold curve: pressure over the minutes since the valve was shut, its phases, its fit, its residuals.

The hold is the widest stretch; the phases before and after it stand in fixed shares of the width, so the
x axis is a place on the paper and only the hold carries minutes.
"""

from __future__ import annotations

import numpy as np
import plotly.graph_objects as go

from analysis import wording
from analysis.results import Assessment, Curves, Phase
from dashboard import figures as fg
from dashboard.figures import Array, Scale, Size
from dashboard.palette import LIGHT
from dashboard.timemap import TimeMap, main_hold, time_map

PART_WAYS = 0.53
_SHORT_NAMES = {"pump-down": "pump", "soak": "soak"}
PX_PER_SIGN = 7.4
TOO_SHORT_S = 15.0


def _size(width: float, tall: float) -> Size:
    narrow = width < 700
    return Size(width, tall, (44.0, 14.0, 44.0, 44.0) if narrow else (56.0, 124.0, 44.0, 44.0))


def hold_curve(result: Assessment, scale: Scale, width: float = 940.0, tall: float = 520.0) -> go.Figure:
    """The hold curve with its residual strip; curves must be there.

    Parameters
    ----------
    result
        A result with ``curves``; refused ones are drawn too.
    scale
        Units of the pressure axis.
    width, tall
        Size in px; under 700 px wide it is laid out for a phone.
    """
    curves = result.curves
    if curves is None:
        raise ValueError("there are no readings to draw")
    size, narrow = _size(width, tall), width < 700
    fig, at = fg.blank(size), time_map(result, curves)
    strip = curves.residual_t_s.size > 0
    _axes(fig, at, scale, strip, narrow, main_hold(result) is not None)
    _phases(fig, result, at, scale, narrow)
    _readings(fig, curves, at, scale)
    _fit(fig, result, curves, at, scale)
    _left_out(fig, result, at, scale)
    _guides(fig, result, at, scale, narrow)
    if strip:
        _residuals(fig, curves, at, scale, narrow)
    if result.stall_pa is not None and result.test == "stall":
        _stall_level(fig, result.stall_pa, at, scale, narrow)
    if result.outcome == "refused":
        _frame_refused(fig, result, curves, at, scale)
    return fig


def minute_step(duration_s: float, narrow: bool) -> float:
    """Seconds between ticks of a hold so long: whole minutes, or parts of one for a short hold."""
    most = 4 if narrow else 7
    for step in (1, 2, 5, 10, 20, 30, 60, 120, 300, 600, 1200, 1800, 3600, 7200, 14400):
        if duration_s / step <= most:
            return float(step)
    return 28800.0


def _minute_words(seconds: float, step: float) -> str:
    return f"{seconds / 60:.0f}" if step >= 60 else wording.clock_text(seconds)


def _axes(fig: go.Figure, at: TimeMap, scale: Scale, strip: bool, narrow: bool, held: bool) -> None:
    step = minute_step(at.end_s - at.shut_s, narrow)
    since = "shut" if held else "the start"
    ticks = np.arange(0.0, at.end_s - at.shut_s + 0.5, step)
    low, high = scale.range()
    fig.update_layout(
        xaxis=fg.axis(
            range=[at.places[0], at.places[-1]],
            tickvals=at.of(at.shut_s + ticks).tolist(),
            ticktext=[_minute_words(t, step) for t in ticks],
            anchor="y2" if strip else "y",
            side="bottom",
        ),
        yaxis=fg.level_axis(range=[low, high], tickvals=scale.ticks(narrow), domain=[0.22 if strip else 0.0, 1.0]),
    )
    fg.say(
        fig,
        0,
        1,
        scale.words.replace(" ", "<br>") if not narrow else scale.unit.unit,
        xref="paper",
        yref="paper",
        anchor="right" if narrow else "left",
        level="bottom",
        shift=(-8 if narrow else -54, 8),
    )
    fg.say(
        fig,
        at.at(at.end_s),
        0,
        f"{'minutes' if step >= 60 else 'min:s'} since {since}",
        yref="paper",
        anchor="right",
        level="top",
        shift=(0, -24),
    )


def _phases(fig: go.Figure, result: Assessment, at: TimeMap, scale: Scale, narrow: bool) -> None:
    low, high = scale.range()
    hold = main_hold(result)
    for phase in result.phases:
        left, right = at.at(phase.start_s), at.at(phase.end_s)
        if phase.name in fg.PHASE_HATCH:
            fg.span(fig, left, right, low, high, fill=None, hatch=fg.PHASE_HATCH[phase.name])
        if phase.name != "baseline":
            fg.rule(fig, (left, 0, left, 1.09), yref="paper" if phase is hold else "y domain", width=1.5)
        if phase is hold:
            fg.rule(fig, (right, 0, right, 1.09), yref="paper", width=1.5)
        _phase_name(fig, phase, phase is hold, left, right, narrow)
        if phase.name == "soak" and phase.end_s - phase.start_s > 60:
            _cut(fig, (left + right) / 2, at, result, scale)


def _phase_name(fig: go.Figure, phase: Phase, main: bool, left: float, right: float, narrow: bool) -> None:
    length = phase.end_s - phase.start_s
    if phase.name == "baseline":
        return
    if phase.name == "hold":
        # A hold too short to use is counted in the heading, without the readings that were set aside.
        timed = main and length > TOO_SHORT_S
        words = f"hold, {wording.duration_text(length)}" if timed else "hold" if main else "first hold"
        how = {"colour": "ink" if main else "second", "bold": main}
        fg.say(fig, left, 1, words, yref="paper", level="bottom", shift=(7, 12), **how)  # type: ignore[arg-type]
        return
    room = (right - left) * _px_per_place(fig)
    full = f"soak {wording.clock_text(length)}" if phase.name == "soak" else phase.name
    name = next((n for n in (full, _SHORT_NAMES.get(phase.name, phase.name)) if len(n) * PX_PER_SIGN + 8 < room), "")
    fg.say(fig, (left + right) / 2, 1, name, yref="paper", anchor="center", level="bottom", shift=(2, 12))


def _px_per_place(fig: go.Figure) -> float:
    first, last = fig.layout.xaxis.range
    margin = fig.layout.margin
    return float((fig.layout.width - margin.l - margin.r) / (last - first))


def _cut(fig: go.Figure, x: float, at: TimeMap, result: Assessment, scale: Scale) -> None:
    curves = result.curves
    if curves is None:
        return
    middle = float(np.interp(x, at.places, at.knots_s))
    y = float(np.interp(middle, curves.t_s, scale.of(curves.p_pa)))
    tall = (scale.range()[1] - scale.range()[0]) * 0.03
    fg.area(
        fig,
        [x - 0.12, x + 0.04, x + 0.16, x, x - 0.12],
        [y - tall, y + tall, y + tall, y - tall, y - tall],
        fill="paper",
    )
    for dx in (-0.06, 0.06):
        fg.rule(fig, (x - 0.06 + dx, y - tall, x + 0.1 + dx, y + tall), width=1.5)


def _readings(fig: go.Figure, curves: Curves, at: TimeMap, scale: Scale) -> None:
    keep = fg.thin(curves.p_pa)
    t, p = curves.t_s[keep], scale.of(curves.p_pa[keep])
    held = (t >= at.shut_s) & (t <= at.end_s)
    for part in ((t <= at.shut_s), (t >= at.end_s)):
        if part.any():
            fg.line(fig, at.of(t[part]), p[part], "measured", 1.9)
    few = np.flatnonzero(held)
    fg.line(fig, at.of(t[few]), p[few], "measured", 1.0)
    few = few[:: max(1, few.size // 80)]
    fg.dots(fig, at.of(t[few]), p[few])


def _fit(fig: go.Figure, result: Assessment, curves: Curves, at: TimeMap, scale: Scale) -> None:
    if not curves.fit_t_s.size:
        return
    x = at.of(curves.fit_t_s)
    if curves.band_low_pa.size:
        edge = np.concatenate([scale.of(curves.band_high_pa), scale.of(curves.band_low_pa)[::-1]])
        fg.area(fig, np.concatenate([x, x[::-1]]), edge)
    if curves.other_law_pa.size:
        fg.line(fig, x, scale.of(curves.other_law_pa), "grey", 1.5, "dot")
        _other_words(fig, curves, x, scale)
    fg.line(fig, x, scale.of(curves.fit_pa), "ink", 2.2)
    _fit_words(fig, result, curves, x, scale)


def _fit_words(fig: go.Figure, result: Assessment, curves: Curves, x: Array, scale: Scale) -> None:
    law = result.law.kind if result.law else "undetermined"
    name = "fit; hole or seep undetermined" if law == "undetermined" else f"{law} fit"
    i = int(len(x) * (0.34 if fig.layout.width >= 700 else 0.6))
    y = float(scale.of(curves.fit_pa[i]))
    down = (scale.range()[1] - scale.range()[0]) * 0.16
    room = (float(x[-1]) - float(x[i])) * _px_per_place(fig) - 24
    names = (f"{name}; 95 in 100 readings fall in the band", name, "fit")
    words = next((n for n in names if len(n) * (PX_PER_SIGN + 0.4) < room), "fit")
    target = y - down if abs(y - scale.range()[0]) > abs(down) * 1.3 else y + down
    fg.rule(fig, (x[i], y, x[i] + 0.25, target), width=1.1)
    fg.say(fig, x[i] + 0.28, target, words, colour="ink", bold=True)


def _other_words(fig: go.Figure, curves: Curves, x: Array, scale: Scale) -> None:
    gap = np.abs(curves.other_law_pa - curves.fit_pa)
    i = int(np.argmax(gap))
    if gap[i] < 1500.0:
        return
    above = curves.other_law_pa[i] > curves.fit_pa[i]
    name = {"hole": "a drilled hole would run here", "seep": "a seep would run here"}.get(
        curves.other_law or "", "the other law"
    )
    if fig.layout.width < 700:
        name = {"hole": "were it a hole", "seep": "were it a seep"}.get(curves.other_law or "", "the other law")
    px, wide = _px_per_place(fig), len(name) * PX_PER_SIGN
    first, last = (at * px for at in (float(x[0]), float(fig.layout.xaxis.range[1])))
    here = float(x[i]) * px
    start = max(first + 8, min(here - 8 - wide if above else here + 8, last - wide - 4))
    y = float(scale.of(curves.other_law_pa[i]))
    fg.say(fig, x[i], y, name, level="bottom" if above else "top", shift=(start - here, 4 if above else -4))


def _left_out(fig: go.Figure, result: Assessment, at: TimeMap, scale: Scale) -> None:
    if result.span is None or result.span.start_s <= at.shut_s + 0.5:
        return
    low, high = scale.range()
    foot = low + (high - low) * 0.014
    fg.span(fig, at.at(at.shut_s), at.at(result.span.start_s), low, foot, fill="grey")
    words = f"left out: {wording.duration_text(result.span.start_s - at.shut_s)}"
    fg.say(fig, at.at(at.shut_s), foot, words, level="bottom", shift=(5, 2))


def _guides(fig: go.Figure, result: Assessment, at: TimeMap, scale: Scale, narrow: bool) -> None:
    room = result.room_pa
    if room is None or main_hold(result) is None:
        return
    left, right = at.at(at.shut_s), at.at(at.end_s)
    level = float(scale.of(PART_WAYS * room))
    fg.rule(fig, (left, level, right, level), "grey", 1.5, "dot", layer="below")
    if narrow:
        return
    fg.say(fig, 1, level, "hole and seep<br>part ways here", xref="paper", shift=(8, 0))
    label = f"room {wording.pressure_text(room, 'metric', room, 1)}" if scale.system == "metric" else "room"
    fg.say(fig, 1, float(scale.of(room)), label, xref="paper", shift=(8, 0))


def _residuals(fig: go.Figure, curves: Curves, at: TimeMap, scale: Scale, narrow: bool) -> None:
    keep = np.arange(curves.residual_t_s.size)[:: max(1, curves.residual_t_s.size // 300)]
    off = scale.step_of(curves.residual_pa[keep])
    half = (
        scale.step_of(float(np.median(curves.band_high_pa - curves.band_low_pa)) / 2)
        if curves.band_low_pa.size
        else 0.0
    )
    most = max(float(np.abs(off).max(initial=0.0)), half, 1e-6)
    edge = _nice_edge(most)
    fig.update_layout(
        yaxis2=fg.level_axis(
            domain=[0.0, 0.135],
            anchor="x",
            range=[-edge * 1.25, edge * 1.25],
            tickvals=[-edge, 0.0, edge],
            ticktext=[f"−{fg.plain(edge)}", "0", f"+{fg.plain(edge)}"],
        )
    )
    x = at.of(curves.fit_t_s)
    if half:
        fg.span(fig, float(x[0]), float(x[-1]), -half, half, yaxis="y2")
    fg.line(fig, [float(x[0]), float(x[-1])], [0.0, 0.0], "ink", 1.2, yaxis="y2")
    fg.dots(fig, at.of(curves.residual_t_s[keep]), off, r=1.9, yaxis="y2")
    unit = scale.unit.unit
    fg.say(fig, 0, 0.19, f"reading minus fit, {unit}", xref="paper", yref="paper", shift=(0 if narrow else -50, 0))
    if narrow:
        fg.say(fig, 1, 0.19, curves.residual_verdict, xref="paper", yref="paper", anchor="right", shift=(-6, 0))
    else:
        fg.say(fig, 1, 0, curves.residual_verdict, xref="paper", yref="y2", shift=(8, 0))


def _nice_edge(most: float) -> float:
    for edge in (0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0):
        if most <= edge * 1.2:
            return edge
    return float(np.ceil(most / 10) * 10)


def _stall_level(fig: go.Figure, level_pa: float, at: TimeMap, scale: Scale, narrow: bool) -> None:
    """The level at which the pump-down stays: pump against leak."""
    level = float(scale.of(level_pa))
    fg.rule(fig, (at.places[0], level, at.places[-1], level), "air", 1.6, "dash")
    words = f"sits at {level:.0f} {scale.unit.unit}"
    if narrow:
        fg.say(
            fig, 1, level, words, xref="paper", colour="air", bold=True, anchor="right", level="bottom", shift=(-6, 4)
        )
    else:
        fg.say(fig, 1, level, f"{words},<br>pump on", xref="paper", colour="air", bold=True, shift=(8, 0))


def _frame_refused(fig: go.Figure, result: Assessment, curves: Curves, at: TimeMap, scale: Scale) -> None:
    """Frame the stretch that spoils the answer by a dashed rule, with what it shows written beside it."""
    held = (curves.t_s >= at.shut_s) & (curves.t_s <= at.end_s)
    if not held.any() or main_hold(result) is None:
        return
    p = scale.of(curves.p_pa[held])
    low, high = scale.range()
    pad = abs(high - low) * 0.06 * np.sign(high - low)
    ends = sorted((float(p.min()), float(p.max())), key=lambda v: (v - low) / (high - low))
    bottom, top = ends[0] - pad, ends[1] + pad
    left, right = at.at(at.shut_s), at.at(at.end_s)
    fg.span(fig, left, right, bottom, top, fill=None, hatch=("\\", "grey", 9, 0.14))
    fig.add_shape(
        type="rect", x0=left, x1=right, y0=bottom, y1=top, line={"color": LIGHT["ink"], "width": 1.8, "dash": "dash"}
    )
    fg.say(
        fig,
        (left + right) / 2,
        top,
        _evidence(curves.p_pa[held], scale, counted=at.end_s - at.shut_s > TOO_SHORT_S),
        colour="ink",
        bold=True,
        anchor="center",
        level="bottom",
        shift=(0, 6),
    )


def _evidence(p_pa: Array, scale: Scale, counted: bool = True) -> str:
    values, counts = np.unique(p_pa, return_counts=True)
    most = int(counts.argmax())
    decimals = 1
    shown = f"{float(scale.of(values[most])):.{decimals}f} {scale.unit.unit}"
    if counts[most] > 0.9 * p_pa.size:
        return f"{shown}, {counts[most]} times over"
    first, last = float(scale.of(p_pa[0])), float(scale.of(p_pa[-1]))
    return f"{first:.1f} to {last:.1f} {scale.unit.unit}" + (f", {p_pa.size} readings" if counted else "")


def curve_points(result: Assessment, scale: Scale, most: int = 40) -> list[tuple[str, str]]:
    """Readings of the hold as (time since shut, pressure) words, for the keyboard and the table."""
    curves = result.curves
    if curves is None:
        return []
    at = time_map(result, curves)
    held = np.flatnonzero((curves.t_s >= at.shut_s) & (curves.t_s <= at.end_s))
    keep = held[:: max(1, held.size // most)]
    unit = "inHg vacuum" if scale.system == "inch" else "kPa"
    return [
        (wording.clock_text(float(curves.t_s[i] - at.shut_s)), f"{float(scale.of(curves.p_pa[i])):.1f} {unit}")
        for i in keep
    ]
