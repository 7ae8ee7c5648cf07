"""Where in a low stretch the valve was shut, and where a pump drew again: the bends of a level."""

from __future__ import annotations

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray
from scipy.optimize import nnls

FloatArray = NDArray[np.float64]
COARSE_PA = 300.0
"""A display with larger steps shows those, and hardly any noise beyond them."""
STOOD_FOR, FALLEN_FOR = 4, 2
"""So many readings before and after a step down: a pressure between two steps shows now one, now the other."""
DITHERS = 0.25
"""A display that flickers by this share of its step tells less than a step by the mean of many readings."""
LEAST_FALL_PA, PUMPED_WITHIN_S = 30.0, 60.0
"""A smaller fall, or a slower one, is no pump: memory, a door moves a gauge by that, the weather moves it slowly."""
BREAK_BLOCKS, BREAK_TRIES = 240, 70
"""A level is searched for its break on so many block means, first at so many of them."""
FALLS_S, RISES_S = (4.0, 7.0, 12.0, 20.0, 35.0, 70.0, 200.0), (6.0, 30.0, 120.0)
"""Time constants, s, that make up a box still being drawn down and one that settles after the shut."""


def until_it_falls(t: FloatArray, p: FloatArray, step_pa: float, flicker_pa: float) -> int:
    """Index of the last reading of a hold before the pressure falls and stays down: the pump drew again.

    Parameters
    ----------
    t, p
        Readings of the hold (n,): s, Pa.
    step_pa, flicker_pa
        Step of the display; standard deviation of its readings while nothing moves, 0 when unknown.
    """
    if step_pa > COARSE_PA:
        return _until_a_step_down(p, step_pa)
    width = max(FALLEN_FOR, p.size // 40)
    if p.size < 8 * width or flicker_pa == 0.0:
        return p.size - 1
    means = p[: p.size // width * width].reshape(-1, width).mean(axis=1)
    level = 0.5 * (means[:-1] + means[1:])
    apart_s = width * float(t[-1] - t[0]) / (t.size - 1)
    reach = 2 + int(PUMPED_WITHIN_S / apart_s)
    above = np.array([level[max(i - reach, 0) : i + 1].max() for i in range(level.size)]) - level
    dithers = flicker_pa > DITHERS * step_pa
    falls = above > max(6.0 * flicker_pa / np.sqrt(width), LEAST_FALL_PA, 0.0 if dithers else 1.1 * step_pa)
    if not falls.any():
        return p.size - 1
    down = int(np.argmax(falls))
    return (max(down - reach, 0) + int(np.argmax(level[max(down - reach, 0) : down])) + 1) * width


def _until_a_step_down(p: FloatArray, step_pa: float) -> int:
    before, after = max(STOOD_FOR, p.size // 25), max(FALLEN_FOR, p.size // 25)
    if p.size < before + after:
        return p.size - 1
    stood = sliding_window_view(p[:-after], before).min(axis=1)
    falls = stood - sliding_window_view(p[before:], after).max(axis=1) > 0.9 * step_pa
    return before - 1 + int(np.argmax(falls)) if falls.any() else p.size - 1


def break_point(t: FloatArray, p: FloatArray, noise: float) -> tuple[int, int, float]:
    """Best index to break a stretch into pumped and held, the latest plausible one, and the gain (chi square)."""
    width = -(-t.size // BREAK_BLOCKS)
    first = np.arange(t.size // width) * width
    ts, ps = (x[: first.size * width].reshape(-1, width).mean(axis=1) for x in (t, p))
    # What is left of the noise in blocks of a hundred readings hangs together and averages out no further.
    noise *= max(width**-0.5, 0.1)
    last = max(first.size - 4, 0)
    coarse = np.unique(np.linspace(0, last, BREAK_TRIES).astype(int))
    cost = {int(j): _broken(ts, ps, int(j)) for j in coarse}
    near = min(cost, key=cost.__getitem__)
    apart = -(-last // BREAK_TRIES) + 1
    cost |= {j: _broken(ts, ps, j) for j in range(max(near - apart, 0), min(near + apart, last) + 1) if j not in cost}
    best = min(cost, key=cost.__getitem__)
    scale = max(noise**2, cost[best] / max(first.size - 6, 1))
    latest = max(j for j, c in cost.items() if c <= cost[best] + 9.0 * scale)
    return int(first[best]), int(first[latest]), (_misfit(ts, ps, held=False) - cost[best]) / scale


def _broken(t: FloatArray, p: FloatArray, j: int) -> float:
    """Misfit of a stretch pumped before its ``j``-th point and held from there."""
    return _misfit(t[j:], p[j:], held=True) + (_misfit(t[:j], p[:j], held=False) if j > 2 else 0.0)


def _misfit(t: FloatArray, p: FloatArray, held: bool) -> float:
    """Sum of squares about a curve that only falls off (pumped) or only rises and bends down (held)."""
    s = t - t[0]
    shapes = [s, *(-np.expm1(-s / tau) for tau in RISES_S)] if held else [np.exp(-s / tau) for tau in FALLS_S]
    level = np.ones_like(s)
    basis = np.stack([level, -level, *shapes], axis=1)
    return float(nnls(basis, p)[1] ** 2)
