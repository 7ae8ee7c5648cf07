"""Rank and control-chart statistics for a row of tests: is it getting worse, has it stepped, and when.

Each is the published form: Mann-Kendall with the tie correction, Theil-Sen slope with Sen's rank limits
(Gilbert 1987, as in EPA QA/G-9S), EWMA and tabular CUSUM (NIST/SEMATECH e-Handbook 6.3.2), Pettitt 1979.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, sqrt
from statistics import NormalDist

import numpy as np

from analysis.results import FloatArray, Interval


@dataclass(frozen=True)
class MannKendall:
    """``s`` the rank sum, ``variance`` with ties, ``z`` continuity-corrected, ``p`` two-sided."""

    s: int
    variance: float
    z: float
    p: float


def mann_kendall(values: Sequence[float]) -> MannKendall:
    """Mann-Kendall test for a monotone trend in a row of values in time order, corrected for ties."""
    x = np.asarray(values, dtype=np.float64)
    n = x.size
    s = int(np.sum(np.sign(x[None, :] - x[:, None])[np.triu_indices(n, 1)])) if n > 1 else 0
    variance = rank_sum_variance(x)
    if variance <= 0.0:
        return MannKendall(s, 0.0, 0.0, 1.0)
    z = (s - np.sign(s)) / sqrt(variance)
    return MannKendall(s, variance, float(z), 2.0 * (1.0 - NormalDist().cdf(abs(float(z)))))


def rank_sum_variance(values: FloatArray) -> float:
    """Variance of the Mann-Kendall rank sum, ties taken off."""
    n = values.size
    _, counts = np.unique(values, return_counts=True)
    ties = float(np.sum(counts * (counts - 1) * (2 * counts + 5)))
    return (n * (n - 1) * (2 * n + 5) - ties) / 18.0


def theil_sen(times: Sequence[float], values: Sequence[float], confidence: float = 0.95) -> Interval:
    """Theil-Sen slope with Sen's rank confidence limits, values per unit of time.

    Raises
    ------
    ValueError
        Fewer than two different times.
    """
    t, y = np.asarray(times, dtype=np.float64), np.asarray(values, dtype=np.float64)
    first, second = np.triu_indices(t.size, 1)
    apart = t[second] != t[first]
    if not np.any(apart):
        raise ValueError("a slope needs two different times")
    slopes = np.sort((y[second] - y[first])[apart] / (t[second] - t[first])[apart])
    reach = NormalDist().inv_cdf(0.5 + confidence / 2.0) * sqrt(max(rank_sum_variance(y), 0.0))
    low = round((slopes.size - reach) / 2.0)
    high = round((slopes.size + reach) / 2.0)
    return Interval(
        float(np.median(slopes)), float(slopes[max(low - 1, 0)]), float(slopes[min(high, slopes.size - 1)]))


def theil_sen_line(times: Sequence[float], values: Sequence[float]) -> FloatArray:
    """The Theil-Sen line at ``times``: median slope through the median of what is left."""
    t, y = np.asarray(times, dtype=np.float64), np.asarray(values, dtype=np.float64)
    slope = theil_sen(times, values).value
    return np.asarray(slope * t + np.median(y - slope * t))


@dataclass(frozen=True, eq=False)
class Ewma:
    """Exponentially weighted means and their limits; ``signal`` is the first index outside, or None."""

    means: FloatArray
    low: float
    high: float
    signal: int | None


def ewma(values: Sequence[float], weight: float, start: float, sd: float, reach: float = 3.0) -> Ewma:
    """EWMA chart: mean ``weight * x + (1 - weight) * previous`` from ``start``, limits ``reach`` standard errors."""
    means = np.empty(len(values))
    level = start
    for i, x in enumerate(values):
        level = weight * x + (1.0 - weight) * level
        means[i] = level
    half = reach * sd * sqrt(weight / (2.0 - weight))
    out = np.flatnonzero(np.abs(means - start) > half)
    return Ewma(means, start - half, start + half, int(out[0]) if out.size else None)


@dataclass(frozen=True, eq=False)
class Cusum:
    """Tabular sums above and below their references; ``signal`` is the first index over the decision line."""

    high: FloatArray
    low: FloatArray
    signal: int | None


def cusum(values: Sequence[float], target: float, slack: float, decision: float) -> Cusum:
    """Tabular CUSUM: ``max(0, sum + x - target - slack)`` upward and its mirror downward."""
    high, low = np.zeros(len(values)), np.zeros(len(values))
    up = down = 0.0
    for i, x in enumerate(values):
        up = max(0.0, up + x - target - slack)
        down = max(0.0, down + target - slack - x)
        high[i], low[i] = up, down
    out = np.flatnonzero((high > decision) | (low > decision))
    return Cusum(high, low, int(out[0]) if out.size else None)


@dataclass(frozen=True)
class Pettitt:
    """``statistic`` the largest |U|, ``before`` how many values come before the change, ``p`` approximate."""

    statistic: float
    before: int
    p: float


def pettitt(values: Sequence[float]) -> Pettitt:
    """Pettitt's test for one change of level: ``U_k = 2 sum(ranks to k) - k (n + 1)``, p by his exponential."""
    x = np.asarray(values, dtype=np.float64)
    n = x.size
    ranks = np.array([np.sum(x < v) + (np.sum(x == v) + 1) / 2.0 for v in x])
    k = np.arange(1, n + 1)
    u = np.abs(2.0 * np.cumsum(ranks) - k * (n + 1))
    at = int(np.argmax(u))
    p = min(1.0, 2.0 * exp(-6.0 * float(u[at]) ** 2 / (n**3 + n**2)))
    return Pettitt(float(u[at]), at + 1, p)
