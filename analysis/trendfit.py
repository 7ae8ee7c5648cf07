"""A straight line through log areas over months, with the season as a prior, and when it reaches a limit.

The log area is ``a + b t`` plus a yearly wave whose height is known only to a log amplitude of 0.3 before the
data, so that under twelve months of tests the trend keeps the season's doubt. Each test's scatter is its own
interval and what differs from test to test; weights fall off for tests far from the line (Student, 4 degrees of
freedom); tests that give only an upper limit enter as limits.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from math import exp, expm1, log, pi, sqrt

import numpy as np
from scipy import special, stats

from analysis.results import FloatArray, Interval, TestPoint

DAYS_PER_MONTH = 365.25 / 12.0
SEASON_LOG_AMPLITUDE = 0.3
"""Rms log amplitude of the yearly swing of a wooden box's leaks before any data."""
SLOPE_PRIOR = 0.5
"""Standard deviation of the slope before any data, log per month: wide on purpose."""
SCATTER = {
    "line-only": 0.15, "undrilled": 0.10, "vents-taped": 0.15, "film-on-top": 0.25, "film-on-rim": 0.25,
    "formed-sheet": 0.60,
}
"""Usual scatter of the log area from test to test, by setup; common practice, no source."""
_SCATTER_WEIGHT = 3.0
_STUDENT = 4.0
_ROUNDS = 40
_Z95 = 1.96
HORIZON_MONTHS = 24.0
DRAWS = 4000
SEED = 20_260_503


def moment(when: datetime) -> datetime:
    """``when`` with a time zone: universal time where none is given."""
    return when if when.tzinfo is not None else when.replace(tzinfo=UTC)


def months_between(first: datetime, second: datetime) -> float:
    """Months of 30.44 days from ``first`` to ``second``."""
    return (moment(second) - moment(first)).total_seconds() / 86_400.0 / DAYS_PER_MONTH


@dataclass(frozen=True, eq=False)
class Points:
    """Tests of one stretch as arrays.

    Months since ``origin``, log area (m2), its own standard uncertainty, and 1 where it is only an upper limit.
    """

    origin: datetime
    months: FloatArray
    log_area: FloatArray
    own: FloatArray
    is_limit: FloatArray


def points_of(tests: Sequence[TestPoint]) -> Points | None:
    """Usable tests as arrays, several of one day as one (they share that day's setting up); None without any."""
    usable = [t for t in tests if t.set_aside is None and t.area_m2 is not None and t.area_m2.high > 0.0]
    if not usable:
        return None
    origin = usable[0].started
    days: dict[date, list[tuple[float, float, float, float]]] = {}
    for t in usable:
        days.setdefault(t.started.date(), []).append(_as_row(t, origin))
    table = np.array([np.mean(rows, axis=0) for rows in days.values()])
    return Points(origin, table[:, 0], table[:, 1], table[:, 2], (table[:, 3] > 0.5).astype(np.float64))


def _as_row(test: TestPoint, origin: datetime) -> tuple[float, float, float, float]:
    area = test.area_m2
    assert area is not None
    months = months_between(origin, test.started)
    if test.outcome == "upper-limit" or area.low <= 0.0 or area.value <= 0.0:
        return months, log(area.high), 0.2, 1.0
    return months, log(area.value), log(area.high / area.low) / (2.0 * _Z95), 0.0


@dataclass(frozen=True, eq=False)
class TrendFit:
    """Posterior of one stretch: ``mean`` and ``covariance`` of (level, slope per month, sine, cosine).

    Logarithms of areas in m2, months since ``origin``; ``freedom`` Student's degrees of freedom; ``scatter``
    the log scatter from test to test; ``last_months`` the newest test; ``count`` how many days had tests.
    """

    origin: datetime
    mean: FloatArray
    covariance: FloatArray
    freedom: float
    scatter: float
    last_months: float
    count: int

    def slope(self) -> Interval:
        """Slope of the log area a month, with its 95 % interval."""
        half = self._reach() * sqrt(float(self.covariance[1, 1]))
        middle = float(self.mean[1])
        return Interval(middle, middle - half, middle + half)

    def percent_per_month(self) -> Interval:
        """Change of the area in percent a month, with its 95 % interval."""
        s = self.slope()
        return Interval(*(100.0 * expm1(x) for x in (s.value, s.low, s.high)))

    def level(self, when: datetime) -> Interval:
        """The line's area in m2 at a date, with its 95 % interval; the season's doubt is in it."""
        row = design(np.array([months_between(self.origin, when)]))[0]
        middle, half = float(row @ self.mean), self._reach() * sqrt(float(row @ self.covariance @ row))
        return Interval(exp(middle), exp(middle - half), exp(middle + half))

    def chance_rising(self) -> float:
        """Chance that the area grows apart from the season."""
        return float(stats.t.cdf(self.mean[1] / sqrt(float(self.covariance[1, 1])), self.freedom))

    def _reach(self) -> float:
        return float(stats.t.ppf(0.975, self.freedom))


def design(months: FloatArray) -> FloatArray:
    """Rows (1, t, sine, cosine of the year) for times in months."""
    year = 2.0 * pi * months / 12.0
    return np.column_stack([np.ones_like(months), months, np.sin(year), np.cos(year)])


def fit_trend(points: Points, setup: str) -> TrendFit:
    """Fit the line to one stretch's points; ``setup`` gives the usual scatter from test to test."""
    x, own2 = design(points.months), points.own**2
    limits = points.is_limit > 0.5
    usual = SCATTER.get(setup, 0.25)
    half_year = SEASON_LOG_AMPLITUDE**2 / 2.0
    prior = np.diag([1e-6, 1.0 / SLOPE_PRIOR**2, 1.0 / half_year, 1.0 / half_year])
    anchor = np.array([float(np.median(points.log_area)), 0.0, 0.0, 0.0])
    y, between2, weight = points.log_area.copy(), usual**2, np.ones_like(own2)
    mean: FloatArray = anchor
    for _ in range(_ROUNDS):
        variance = own2 + between2
        precision = x.T @ (x * (weight / variance)[:, None]) + prior
        mean = np.linalg.solve(precision, x.T @ (weight / variance * y) + prior @ anchor)
        y = np.where(limits, below_limit(points.log_area, x @ mean, np.sqrt(variance)), points.log_area)
        miss2 = (y - x @ mean) ** 2
        weight = (_STUDENT + 1.0) / (_STUDENT + miss2 / variance)
        between2 = _between(weight * miss2 - own2, usual, x.shape[0])
    # Student's information on a centre is (nu + 1) / (nu + 3) of what weights near one suggest
    held = (_STUDENT + 1.0) / (_STUDENT + 3.0) * x.T @ (x * (weight / (own2 + between2))[:, None])
    covariance: FloatArray = np.asarray(np.linalg.inv(held + prior), dtype=np.float64)
    freedom = _SCATTER_WEIGHT + max(x.shape[0] - 2, 1)
    return TrendFit(points.origin, mean, covariance, freedom, sqrt(between2), float(points.months[-1]), x.shape[0])


def _between(excess2: FloatArray, usual: float, count: int) -> float:
    """Scatter from test to test, squared: the usual one weighed with what these tests show."""
    seen = max(float(np.sum(excess2)), 0.0) * count / max(count - 2, 1)
    return (_SCATTER_WEIGHT * usual**2 + seen) / (_SCATTER_WEIGHT + count)


def below_limit(limit: FloatArray, expected: FloatArray, sd: FloatArray) -> FloatArray:
    """Mean of a normal value known only to lie under ``limit``."""
    z = np.clip((limit - expected) / sd, -30.0, 30.0)
    hazard = np.exp(-0.5 * z**2 - special.log_ndtr(z)) / sqrt(2.0 * pi)
    return np.asarray(expected - sd * hazard)


@dataclass(frozen=True)
class Crossing:
    """When a line reaches its limit: ``earliest`` and ``latest`` bound 95 of 100 futures, None beyond two years.

    ``chance`` is that of reaching it within two years; ``over_now`` says that it likely has already.
    """

    earliest: date | None
    latest: date | None
    chance: float
    over_now: bool


def crossing_of(fit: TrendFit, limit_m2: float, rng: np.random.Generator | None = None) -> Crossing:
    """Futures of a fitted line against a limit, if nothing is done; drawn with a fixed seed by default."""
    rng = rng or np.random.default_rng(SEED)
    ahead = np.arange(0.0, HORIZON_MONTHS, 0.1)
    root = np.linalg.cholesky(fit.covariance)
    spread = np.sqrt(fit.freedom / rng.chisquare(fit.freedom, DRAWS))[:, None]
    futures = fit.mean + spread * (rng.standard_normal((DRAWS, 4)) @ root.T)
    over = futures @ design(fit.last_months + ahead).T >= log(limit_m2)
    reached = np.where(over.any(axis=1), ahead[np.argmax(over, axis=1)], np.inf)
    low, high = np.sort(reached)[[round(0.025 * DRAWS), round(0.975 * DRAWS) - 1]]
    return Crossing(
        _day(fit, float(low)), _day(fit, float(high)), float(np.mean(np.isfinite(reached))),
        float(np.mean(over[:, 0])) > 0.5)


def _day(fit: TrendFit, ahead_months: float) -> date | None:
    if not np.isfinite(ahead_months):
        return None
    return (moment(fit.origin) + timedelta(days=(fit.last_months + ahead_months) * DAYS_PER_MONTH)).date()
