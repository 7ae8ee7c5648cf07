"""Faults of a log that the physics must not explain: spikes, gaps, jumps, a stuck gauge, a changed unit.

Each is found on the readings alone; what it means for the result is decided by the assessment.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from acquisition.units import PA_PER
from analysis.phases import noise_of
from analysis.trace import Trace

FloatArray = NDArray[np.float64]
UNIT_RATIOS = tuple(
    sorted({a / b for a in PA_PER.values() for b in PA_PER.values() if 1.2 < a / b < 1.1e4 or 1.2 < b / a < 1.1e4})
)
"""Every factor by which a reading can jump when the unit on the display is changed."""
LEAST_LEAP_S = 30.0
"""A shorter gap is no clock put forward: readings go missing for so long."""
BESIDE_A_LEAP = 8
"""Readings on either side of a gap that tell how fast the pressure rises there."""
STUCK_LEAST = 20
"""Equal readings in a row, at least, before a gauge is called stuck."""


@dataclass(frozen=True)
class Jump:
    """A jump of the reading between two samples.

    ``t_s`` is the first time after it, ``by_pa`` its size, ``is_unit`` whether its ratio is that of two units.
    """

    t_s: float
    by_pa: float
    is_unit: bool


def without_spikes(trace: Trace) -> tuple[Trace, bool]:
    """The trace without single readings far off their neighbours, and whether there were any."""
    p = trace.p_pa
    if p.size < 7:
        return trace, False
    threshold = max(8.0 * noise_of(p), 3.0 * trace.resolution_pa, 300.0)
    step = np.diff(p)
    large = np.abs(step) > threshold
    at = 2 + np.flatnonzero(large[1:-2] & large[2:-1])
    usual = np.maximum(np.abs(step[at - 2]), np.abs(step[at + 1]))
    into, out = step[at - 1], step[at]
    off = at[(into * out < 0.0) & (np.minimum(np.abs(into), np.abs(out)) > threshold + 3.0 * usual)]
    if not off.size:
        return trace, False
    keep = np.ones(p.size, dtype=bool)
    keep[off] = False
    note = tuple(n for n, k in zip(trace.note, keep, strict=True) if k) if trace.note else ()
    return replace(trace, t_s=trace.t_s[keep], p_pa=p[keep], note=note), True


def has_gap(trace: Trace, start_s: float, end_s: float) -> bool:
    """Whether readings are missing for more than ten sample intervals inside a stretch."""
    gaps = np.diff(trace.t_s[trace.within(start_s, end_s)])
    return gaps.size >= 3 and bool(gaps.max() > 5.0 and gaps.max() > 10.0 * float(np.median(gaps)))


def find_jumps(trace: Trace, start_s: float, end_s: float) -> tuple[Jump, ...]:
    """Lasting jumps inside a stretch: far larger than the rise and noise on either side of them."""
    inside = trace.within(start_s, end_s)
    t, p = trace.t_s[inside], trace.p_pa[inside]
    if t.size < 10:
        return ()
    d, found = np.diff(p), []
    large = np.flatnonzero(np.abs(d) > max(6.0 * noise_of(p), 2.5 * trace.resolution_pa, 150.0))
    dt = np.diff(t) if large.size else d
    for i in large:
        near = np.r_[d[max(0, i - 6) : i] / dt[max(0, i - 6) : i], d[i + 1 : i + 7] / dt[i + 1 : i + 7]]
        if near.size < 4:
            continue
        usual = float(np.median(near)) * dt[i]
        scatter = float(np.max(np.abs(near))) * dt[i]
        after = p[i + 1 : i + 5]
        lasts = bool(np.all(np.abs(after - p[i]) > 0.5 * abs(d[i])))
        if lasts and not _fills_on(d[i : i + 3]) and abs(d[i] - usual) > max(4.0 * abs(usual), 2.5 * scatter):
            found.append(Jump(float(t[i + 1]), float(d[i]), is_unit_change(trace, inside.start + int(i))))
    return tuple(found)


def _fills_on(steps: FloatArray) -> bool:
    """Whether the steps after a step upwards go on in the same way: a box that fills takes more than one reading."""
    return steps.size == 3 and float(steps[1]) > 0.25 * float(steps[0]) > 0.0 and steps[1:].sum() > 0.35 * steps[0]


def is_unit_change(trace: Trace, i: int) -> bool:
    """Whether the raw numbers before and after row ``i`` stand in the ratio of two units."""
    unit = trace.unit
    native = trace.p_pa[i : i + 2]
    if unit.reference != "absolute":
        native = np.abs(trace.room_pa - native)
    low, high = sorted(float(x) for x in native)
    if low <= 0.0:
        return False
    return is_unit_ratio(high / low)


def is_unit_ratio(ratio: float) -> bool:
    """Whether a ratio over 1 stands between two units of pressure, within 2 %."""
    return any(abs(ratio / known - 1.0) < 0.02 for known in UNIT_RATIOS if known > 1.2)


def clock_jumps(trace: Trace) -> tuple[float, ...]:
    """Times (s) of the first reading kept after the clock ran backwards."""
    if "clock-back" not in trace.flags:
        return ()
    elapsed = trace.log.elapsed_s[np.isfinite(trace.log.reading) & np.isfinite(trace.log.elapsed_s)]
    back = np.flatnonzero(np.diff(elapsed) < 0.0)
    ahead = np.maximum.accumulate(elapsed)
    out = []
    for i in back:
        later = trace.t_s[trace.t_s > ahead[i]]
        if later.size:
            out.append(float(later[0]))
    return tuple(out)


def clock_leaps(trace: Trace, start_s: float, end_s: float) -> tuple[float, ...]:
    """Times (s) of the first reading after a gap in which a rise stood still: the clock was put forward.

    The rise goes on behind it about as before it, and in so long a time it would have come far.
    """
    inside = trace.within(start_s, end_s)
    t, p = trace.t_s[inside], trace.p_pa[inside]
    gaps = np.diff(t)
    if t.size < 2 * BESIDE_A_LEAP or float(gaps.max()) <= LEAST_LEAP_S:
        return ()
    spread = max(noise_of(p), 0.3 * trace.resolution_pa, 3.0)
    found = []
    for i in np.flatnonzero(gaps > max(10.0 * float(np.median(gaps)), LEAST_LEAP_S)):
        a, b = slice(max(i + 1 - BESIDE_A_LEAP, 0), i + 1), slice(i + 1, i + 1 + BESIDE_A_LEAP)
        if min(t[a].size, t[b].size) < BESIDE_A_LEAP:
            continue
        slower, faster = sorted(float(np.polyfit(t[s] - t[s][0], p[s], 1)[0]) for s in (a, b))
        due = slower * float(gaps[i])
        if 0.0 < 0.5 * faster < slower and due > 10.0 * spread and p[i + 1] - p[i] < 0.1 * due + 3.0 * spread:
            found.append(float(t[i + 1]))
    return tuple(found)


def stuck_level_pa(trace: Trace, start_s: float, end_s: float, pumped: bool = False) -> tuple[float, int] | None:
    """The level at which the gauge stands still through a stretch, and how often in a row, or None.

    A display of coarse steps may rightly stand still on a tight box. It is called stuck when it stood still
    while the pump was still drawing down, when it does not come back at the let-up, when earlier readings
    had noise that stopped, or when bare wood must have given off more moisture than a step; ``pumped`` says that the
    pump was on and took that away.
    """
    p, inside = trace.p_pa, trace.within(start_s, end_s)
    if p[inside].size < STUCK_LEAST or np.ptp(p[inside]) > 0.0:
        return None
    first, last = _run_around(p, inside.start)
    before = p[:first]
    to_the_end = last == p.size
    had_noise = before.size > 30 and noise_of(before) > max(0.8 * trace.resolution_pa, 2.0)
    moist = not pumped and trace.wood == "bare" and trace.resolution_pa <= 150.0 and end_s - start_s > 60.0
    if had_noise or moist or (_fell_into(p, first) and to_the_end):
        return float(p[inside.start]), last - first
    return None


def frozen_from_s(trace: Trace, start_s: float, jump_s: float) -> float:
    """When the gauge froze whose reading jumps at ``jump_s``; that time itself where it had not frozen.

    Readings of a stretch from ``start_s`` on that noise or a rise moved, then equal ones up to the jump.
    """
    p, jump = trace.p_pa, int(np.searchsorted(trace.t_s, jump_s))
    first = max(_run_around(p, jump - 1)[0], trace.within(start_s, jump_s).start)
    before, still = p[trace.within(start_s, jump_s).start : first], jump - first
    if still < STUCK_LEAST or before.size < 5:
        return jump_s
    rise = float(before[-1] - before[max(before.size - still, 0)])
    moved = noise_of(before) > max(0.8 * trace.resolution_pa, 2.0) or rise > 4.0 * trace.resolution_pa + 20.0
    return float(trace.t_s[first]) if moved else jump_s


def _run_around(p: FloatArray, i: int) -> tuple[int, int]:
    """First and one past the last index of the equal readings round ``i``."""
    different = np.flatnonzero(p != p[i])
    left = different[different < i]
    right = different[different > i]
    return (int(left[-1]) + 1 if left.size else 0), (int(right[0]) if right.size else p.size)


def _fell_into(p: FloatArray, start: int) -> bool:
    """Whether the pressure was still falling fast when it came to a stop."""
    if start < 4:
        return False
    last = -np.diff(p[max(0, start - 4) : start + 1])
    return bool(np.median(last) > 0.02 * p[start])


def acceleration_s(t_s: FloatArray, p_pa: FloatArray, noise_pa: float, resolution_pa: float) -> float | None:
    """Time at which a rise speeds up, or None: a leak's rise only slows down.

    Compares straight lines through equal stretches of pressure before and after every candidate; the slope
    must grow by a third, beyond four standard errors, and stay grown.
    """
    keep = np.linspace(0, t_s.size - 1, min(t_s.size, 400)).astype(int)
    t, p = t_s[keep], p_pa[keep]
    width = max(5, t.size // 10)
    if t.size < max(12, 2 * width):
        return None
    slope, u_slope = _slopes(t, p, width, max(noise_pa, 0.3 * resolution_pa, 5.0))
    before, after = slope[:-width], slope[width:]
    change = after - before
    sure = change / np.maximum(np.hypot(u_slope[:-width], u_slope[width:]), 1e-12)
    gained = change * (t[2 * width - 1 :] - t[width : t.size - width + 1])
    grown = (sure > 6.0) & (after > 1.35 * np.maximum(before, 0.0)) & (gained > 3.0 * resolution_pa + 60.0)
    if not grown.any():
        return None
    return _corner(t, p, int(np.argmax(np.where(grown, sure, -np.inf))) + width, width)


def _slopes(t: FloatArray, p: FloatArray, width: int, spread: float) -> tuple[FloatArray, FloatArray]:
    """Slope of the straight line through every ``width`` neighbours, and its standard error."""
    s, y = sliding_window_view(t, width), sliding_window_view(p, width)
    s, y = s - s.mean(axis=1, keepdims=True), y - y.mean(axis=1, keepdims=True)
    ss = np.maximum(np.sum(s * s, axis=1), 1e-12)
    slope = np.sum(s * y, axis=1) / ss
    left = y - slope[:, None] * s
    sd = np.maximum(spread, np.sqrt(np.mean(left * left, axis=1)))
    return slope, sd / np.sqrt(ss)


def _corner(t: FloatArray, p: FloatArray, i: int, width: int) -> float:
    """Where the line before departs: the last reading still within its scatter."""
    a = slice(max(0, i - 2 * width), i - width // 2)
    s = t[a] - t[a].mean()
    slope = float(np.sum(s * p[a])) / max(float(np.sum(s * s)), 1e-12)
    line = p[a].mean() + slope * (t - t[a].mean())
    off = p - line
    limit = 3.0 * max(float(np.std(off[a])), 10.0)
    late = np.flatnonzero((np.arange(t.size) >= a.stop - 1) & (off > limit))
    return float(t[late[0]]) if late.size else float(t[i])
