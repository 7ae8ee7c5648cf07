"""From traces and the holds seen in them to what a fit needs: the steps of the model and the readings to meet.

Readings are condensed to about a hundred blocks a hold without losing what they tell: fine gauges to block
means, coarse displays to the counts of each displayed value in each block (interval censoring).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from acquisition.units import ZERO_CELSIUS_K
from analysis.course import Course, Driven, lay
from analysis.engine import Score, gaussian_score
from analysis.gas import saturation_pressure_pa
from analysis.panels import bow_compliance_m3_per_pa
from analysis.phases import HoldSeen
from analysis.trace import Trace

FloatArray = NDArray[np.float64]
GAUGE_LAG_S = 1.0
"""So long after the shut a gauge may still trail behind: memory, transmitters settle within 0.1 to 0.3 s."""
BLOCKS = 28
FULL_SHARE = 0.95
"""Readings past this share of room pressure are not fitted: there the leak law's last bend rules."""
WETTEST = 0.9
"""Largest water activity of a box's wood: memory, shop plywood stands at 0.3 to 0.65."""
MOST_LOOKED_AT = 1000
"""Steps before a let-up that tell how far one usually goes."""
MOST_STEPS = 2
"""Display steps a pressure runs through in a block from which their rounding averages out."""
COARSE = 1.2
"""A display is coarse when its step is more than this many standard deviations of the noise."""


@dataclass(frozen=True)
class Window:
    """The stretch of one hold that is fitted: log's clock in s, and the shut it counts from."""

    start_s: float
    end_s: float
    shut_s: float
    seen: HoldSeen


@dataclass(frozen=True, eq=False)
class Observed:
    """Condensed readings of a session: values Pa, counts, and the hold each belongs to; arrays (nobs,).

    ``t_s`` on the session's clock; ``half_pa`` half a display step for a coarse gauge, else 0;
    ``noise_pa`` the standard deviation of a single reading; ``block`` the block each value came from;
    ``spread_s2`` the variance of the times of the readings behind each value.
    """

    t_s: FloatArray
    y_pa: FloatArray
    count: FloatArray
    hold: NDArray[np.intp]
    block: NDArray[np.intp]
    half_pa: float
    noise_pa: float
    discrepancy_pa: float
    spread_s2: FloatArray


def fit_window(trace: Trace, hold: HoldSeen) -> Window | None:
    """The stretch of a hold worth fitting, None when too little is left.

    It begins a little after the shut (a share of the span, so that boxes that fill in seconds are not
    lost) and ends before the let-up or at 95 % of room pressure.
    """
    inside = trace.within(hold.held_s, hold.end_s)
    t, p = trace.t_s[inside], trace.p_pa[inside]
    full = np.flatnonzero(p > FULL_SHARE * trace.room_pa)
    if full.size and full[0] > 0:
        t, p = t[: full[0]], p[: full[0]]
    elif hold.end_s < trace.t_s[-1]:
        t, p = _without_let_up(t, p)
    if t.size < 3:
        return None
    span = float(t[-1] - t[0])
    guard = 0.0 if hold.bottom_s is None else min(8.0, max(0.05 * span, min(GAUGE_LAG_S, 0.15 * span)))
    return Window(max(hold.held_s, hold.shut_s + guard), float(t[-1]), hold.shut_s, hold)


def _without_let_up(t: FloatArray, p: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Drop the last reading, and one more if it has already jumped: the let-up came between two readings."""
    if t.size < 5:
        return t[:-1], p[:-1]
    steps = np.diff(p)
    usual = max(float(np.median(np.abs(steps[-2 - MOST_LOOKED_AT : -2]))), 1.0)
    cut = 2 if steps[-2] > 6.0 * usual and steps[-2] > 2.0 * float(np.max(steps[:-2])) else 1
    return t[:-cut], p[:-cut]


def observe(
    traces: Sequence[Trace],
    windows: Sequence[Sequence[Window]],
    offsets: Sequence[float],
    noise_pa: float,
) -> tuple[Observed, Course]:
    """Condense the readings of all windows of a session and lay the steps between them.

    ``windows[i]`` are those of ``traces[i]``; ``offsets`` (s) put the traces on one clock. The last trace
    sets room pressure and display.
    """
    lead = traces[-1]
    coarse = lead.resolution_pa > COARSE * noise_pa and not _runs_through_steps(traces, windows)
    parts, number = [], 0
    for trace, own, offset in zip(traces, windows, offsets, strict=True):
        for window in own:
            parts.append(_condense(trace, window, offset, number, coarse))
            number += 1
    t, y, count, hold, block, spread = (np.concatenate([part[k] for part in parts]) for k in range(6))
    order = np.lexsort((y, t))
    swing = float(np.ptp(y))
    observed = Observed(
        t[order],
        y[order],
        count[order],
        hold[order].astype(np.intp),
        block[order].astype(np.intp),
        0.5 * lead.resolution_pa if coarse else 0.0,
        max(noise_pa, 0.2 * lead.resolution_pa if coarse else 0.29 * lead.resolution_pa, 0.5),
        1.0 + 0.4e-4 * swing,
        spread[order],
    )
    return observed, _course(traces, windows, offsets, observed)


def _runs_through_steps(traces: Sequence[Trace], windows: Sequence[Sequence[Window]]) -> bool:
    """Whether every hold runs through so many display steps that they average out within a block of readings."""
    for trace, own in zip(traces, windows, strict=True):
        for window in own:
            shown = trace.p_pa[trace.within(window.start_s, window.end_s)]
            if float(np.ptp(shown)) < MOST_STEPS * BLOCKS * traces[-1].resolution_pa:
                return False
    return True


def _condense(
    trace: Trace,
    window: Window,
    offset: float,
    number: int,
    coarse: bool,
) -> tuple[FloatArray, ...]:
    inside = trace.within(window.start_s, window.end_s)
    t, p = trace.t_s[inside], trace.p_pa[inside]
    ends = np.searchsorted(t, window.shut_s + _block_ends_s(max(float(t[-1]) - window.shut_s, 1e-9)))
    size = np.diff(np.r_[0, ends, t.size])
    block = np.flatnonzero(size)
    starts = np.r_[0, np.cumsum(size[block])[:-1]]
    if coarse:
        order, level = _by_level(np.repeat(block, size[block]), p)
        t, p, block, starts = t[order], p[order], np.repeat(block, size[block])[level], level
    count = np.diff(np.r_[starts, t.size])
    mean_t, mean_p = np.add.reduceat(t, starts) / count, np.add.reduceat(p, starts) / count
    spread = np.add.reduceat((t - np.repeat(mean_t, count)) ** 2, starts) / count
    every = mean_t + offset, mean_p, count, np.full(count.size, number), block + number * BLOCKS, spread
    return tuple(np.asarray(each, dtype=np.float64) for each in every)


def _block_ends_s(length_s: float) -> FloatArray:
    """Where each block of a hold ends and the next begins, s since the shut.

    Blocks grow from the shut on, so that the quick early release keeps its shape.
    """
    x = np.linspace(0.0, 1.0, 2001)
    position = BLOCKS * (0.35 * np.log1p(20.0 * x) / np.log1p(20.0) + 0.65 * x)
    return length_s * np.interp(np.arange(1, BLOCKS), position, x)


def _by_level(block: NDArray[np.intp], p_pa: FloatArray) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Order of readings by block and by the value shown in it, and where in that order each such group starts."""
    shown = np.round(p_pa, 3)
    order = np.lexsort((shown, block))
    changes = (np.diff(block[order]) != 0) | (np.diff(shown[order]) != 0.0)
    return order, np.r_[0, np.flatnonzero(changes) + 1]


def _course(
    traces: Sequence[Trace],
    windows: Sequence[Sequence[Window]],
    offsets: Sequence[float],
    observed: Observed,
) -> Course:
    """What was done before every window, and where the curve in it is stepped and read."""
    flat = [(window, offset) for own, offset in zip(windows, offsets, strict=True) for window in own]
    all_t = np.concatenate([trace.t_s + offset for trace, offset in zip(traces, offsets, strict=True)])
    all_p = np.concatenate([trace.p_pa for trace in traces])
    lead, clock = traces[-1], float(all_t[0])
    driven, held = [], []
    for number, (window, offset) in enumerate(flat):
        own = observed.hold == number
        driven.append(_driven(all_t, all_p, clock, window.start_s + offset))
        since = observed.t_s[own] - window.shut_s - offset
        rough = np.maximum.accumulate(observed.y_pa[own]) / lead.room_pa
        start = window.start_s - window.shut_s
        held.append(lay(np.r_[start, since], np.r_[rough[0], rough], since, observed.spread_s2[own]))
        clock = float(observed.t_s[own][-1])
    return Course(
        tuple(driven), tuple(held), lead.room_pa, float(all_p[0]), bow_per_pa(lead), _moisture_most_pa(lead)
    )


def _moisture_most_pa(trace: Trace) -> float:
    """Pressure the wood's moisture cannot pass, Pa: its own vapour pressure when nearly wet."""
    wood_c = trace.log.header.wood_C
    return WETTEST * saturation_pressure_pa(trace.room_k if wood_c is None else wood_c + ZERO_CELSIUS_K)


def bow_per_pa(trace: Trace) -> float:
    """How much the volume grows per Pa of box pressure, over the volume (panels bow in under vacuum).

    From the panels where the box file gives them; else half a percent over room pressure, the middle of the
    range of well-baffled boxes; nothing for a vessel without wood.
    """
    if trace.wood == "none" or trace.volume_m3 is None:
        return 0.0
    known = bow_compliance_m3_per_pa(trace.box) if trace.box is not None else None
    if known is None:
        return 0.005 / trace.room_pa
    return min(known / trace.volume_m3, 0.2 / trace.room_pa)


def _driven(t: FloatArray, p: FloatArray, start: float, end: float) -> Driven:
    """At most 8 stretches between two times with the mean pressure measured in each."""
    if end - start <= 0.5:
        return Driven(np.empty(0), np.empty(0))
    edges = np.linspace(start, end, min(8, max(2, int((end - start) / 4.0))) + 1)
    middle = 0.5 * (edges[:-1] + edges[1:])
    inside = (t >= start) & (t <= end)
    return Driven(np.diff(edges), np.interp(middle, t[inside], p[inside]) if inside.any() else np.interp(middle, t, p))


def blurred_score(observed: Observed, blur: float) -> Score:
    """Score of the readings as if they were normal and ``blur`` times less certain: a gentle hill to start on."""
    return gaussian_score(observed.y_pa, np.sqrt(blur) * expected_spread(observed))


def make_score(observed: Observed, inflation: float = 1.0) -> Score:
    """Score of a session's readings; ``inflation`` widens it for correlated noise and what the model misses."""
    if observed.half_pa > 0.0:
        return _censored(observed, inflation)
    sd2 = (observed.noise_pa**2 / observed.count + observed.discrepancy_pa**2) * inflation
    constant = -0.5 * float(np.sum(np.log(2.0 * np.pi * sd2)))

    def score(mu: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        gap = observed.y_pa - mu
        return constant - 0.5 * np.sum(gap * gap / sd2, axis=1), gap / sd2, np.broadcast_to(1.0 / sd2, mu.shape)

    return score


def _censored(observed: Observed, inflation: float) -> Score:
    """Each displayed value says only that the pressure plus noise lay within half a step of it."""
    s, h, n = observed.noise_pa, observed.half_pa, observed.count / inflation
    tail = np.log(1e-5)

    def score(mu: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        gap = observed.y_pa - mu
        a, b = (gap - h) / s, (gap + h) / s
        inside = np.maximum(ndtr(b) - ndtr(a), 1e-300)
        density_a, density_b = np.exp(-0.5 * a * a), np.exp(-0.5 * b * b)
        slope = (density_a - density_b) / (np.sqrt(2.0 * np.pi) * inside * s)
        far = np.maximum(np.abs(gap) - h, 0.0)
        value = np.log(inside)
        # Far off, a wide tail takes over, so that a stray value bends nothing.
        wide = 3.0 * s + h
        tail_value = tail - 0.5 * (far / wide) ** 2
        out = tail_value > value
        value = np.where(out, tail_value, value)
        slope = np.where(out, np.sign(gap) * far / wide**2, slope)
        width2 = s * s + h * h / 3.0
        near = np.minimum(np.maximum(slope**2, 0.5 / width2), 1.0 / (s * s))
        info = np.where(out, 1.0 / wide**2, near)
        return np.sum(n * value, axis=1), n * slope, n * info

    return score


def expected_spread(observed: Observed) -> FloatArray:
    """Standard deviation of each condensed reading about the true curve, Pa."""
    step2 = observed.half_pa**2 / 3.0
    return np.sqrt(observed.noise_pa**2 / observed.count + step2 + observed.discrepancy_pa**2)
