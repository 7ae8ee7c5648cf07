"""How well a set of path areas explains the tests; all walkers at once.

A walker is a row: the logarithms of the leaf areas (m2), then standard normal latents.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import expit

from analysis.ranking.model import FLOOR_M2, HAND, Problem, off_m2, stretch
from analysis.ranking.priors import log_pdf_all
from analysis.results import FloatArray

# Scatter of a test about the sum of its paths (sd of the log) and how often: the same closure untouched,
# another hand, hose or day, and a test that fits nothing. Spreads: common practice, no source.
SCATTER = np.array([0.045, 0.16, 0.9])
SCATTER_SHARE = np.array([0.82, 0.17, 0.01])
LAW_WIDTH = 3.0
TINY = 1e-300


def prior_draw(problem: Problem, rng: np.random.Generator, n: int) -> FloatArray:
    """``n`` walkers drawn from the prior."""
    latents = rng.standard_normal((n, problem.n_latent))
    areas = [leaf.prior.draw(rng, latents[:, HAND]) for leaf in problem.leaves]
    return np.column_stack([*areas, latents])


def log_prior(problem: Problem, walkers: FloatArray) -> FloatArray:
    """Log prior density of each walker, up to a constant."""
    n = len(problem.leaves)
    out: FloatArray = -0.5 * np.einsum("ij,ij->i", walkers[:, n:], walkers[:, n:])
    priors = [leaf.prior for leaf in problem.leaves]
    out += log_pdf_all(priors, walkers[:, :n], walkers[:, n + HAND]).sum(axis=1)
    return out


def columns_m2(problem: Problem, walkers: FloatArray) -> FloatArray:
    """Areas (m2) of the columns, walkers x columns."""
    n = len(problem.leaves)
    z = walkers[:, [c.leaf for c in problem.columns]]
    moved = [(j, n + c.latent, *c.factor)
             for j, c in enumerate(problem.columns) if c.latent is not None and not c.signed]
    if moved:
        columns, latents, offset, slope, cubic = (np.array(v) for v in zip(*moved, strict=True))
        u = walkers[:, latents]
        z[:, columns] += offset + u * (slope + cubic * u * u)
    out: FloatArray = np.exp(z)
    for j, c in enumerate(problem.columns):
        if c.signed and c.latent is not None:
            out[:, j] *= np.where(walkers[:, n + c.latent] < 0.0, -1.0, 1.0)
    return out


def scatter_densities(
    mean_m2: FloatArray, variance_m4: FloatArray, measured: FloatArray, down: FloatArray, up: FloatArray,
    limited: FloatArray,
) -> FloatArray:
    """Density of the measured area under each scatter, times its share: 3 x walkers x tests.

    ``mean_m2`` is what the paths sum to and ``variance_m4`` its own variance; ``measured`` is stretched. That
    variance is of the area itself: it is turned into the stretched scale by the slope of the chord between what is
    predicted and what was measured, so that a gap of so many sd in area stays one.
    """
    gap = measured - stretch(mean_m2)
    toward2 = np.where(gap < 0.0, up, down) ** 2
    gap2 = np.where((gap > 0.0) & (limited > 0.0), 0.0, gap) ** 2
    slope2 = 1.0 / (mean_m2**2 + 4.0 * FLOOR_M2**2)
    away = off_m2(measured) - mean_m2
    secant = np.divide(gap, away, out=np.sqrt(slope2), where=np.abs(away) > 1e-3 * FLOOR_M2)
    own = (variance_m4 + FLOOR_M2**2) * secant**2
    rel = mean_m2**2 * slope2
    middle2 = (0.5 * (up + down)) ** 2
    out = np.empty((len(SCATTER), *gap.shape))
    for k, (scatter, share) in enumerate(zip(SCATTER, SCATTER_SHARE, strict=True)):
        extra = own + scatter**2 * rel
        out[k] = share * np.exp(-0.5 * gap2 / (extra + toward2)) / np.sqrt(extra + middle2)
    return out


@dataclass(frozen=True, eq=False)
class Predicted:
    """What a set of walkers predicts: columns, sums and their variances per test (m2, m4)."""

    columns: FloatArray
    mean_m2: FloatArray
    variance_m4: FloatArray


def predict(problem: Problem, walkers: FloatArray) -> Predicted:
    """Sum of the open paths in each test as it would be measured, volume error included."""
    columns = columns_m2(problem, walkers)
    n = len(problem.leaves)
    scale = np.exp(walkers[:, [n + k for k in problem.volume_latent]] * problem.volume)
    return Predicted(columns, columns @ problem.weight.T * scale, columns**2 @ problem.variance.T * scale**2)


def log_likelihood(problem: Problem, walkers: FloatArray) -> FloatArray:
    """Log likelihood of each walker: areas, laws, flags and remarks together."""
    seen = predict(problem, walkers)
    parts = scatter_densities(seen.mean_m2, seen.variance_m4, stretch(problem.measured_m2), problem.down, problem.up,
                              problem.limited)
    out: FloatArray = np.log(parts.sum(axis=0) + TINY).sum(axis=1)
    inward = np.clip(problem.weight, 0.0, None)
    total = np.clip(seen.columns, 0.0, None) @ inward.T + 1e-12
    if problem.law_latent:
        out += _law_logs(problem, walkers, seen.columns, inward, total)
    return out + _flag_logs(problem, seen.columns, total) + _remark_logs(problem, walkers)


def _law_logs(
    problem: Problem, walkers: FloatArray, columns: FloatArray, inward: FloatArray, total: FloatArray
) -> FloatArray:
    """Seep speaks for paths that seep, hole for those that are holes; every path has one law of its own."""
    n = len(problem.leaves)
    lean = np.array([leaf.prior.hole_lean for leaf in problem.leaves])
    holes = expit(LAW_WIDTH * (walkers[:, [n + k for k in problem.law_latent]] + lean))
    part = (np.clip(columns, 0.0, None) * holes[:, [c.leaf for c in problem.columns]]) @ inward.T / total
    hole, seep = expit((part - 0.8) / 0.06), expit((0.2 - part) / 0.06)
    likely = problem.law[:, 0] * hole + problem.law[:, 1] * seep + problem.law[:, 2] * np.clip(1.0 - hole - seep, 0, 1)
    out: FloatArray = np.log(3.0 * likely + 1e-3).sum(axis=1)
    return out


def _flag_logs(problem: Problem, columns: FloatArray, total: FloatArray) -> FloatArray:
    out = np.zeros(len(columns))
    for i, suspects in enumerate(problem.let_go):
        if suspects:
            share = columns[:, suspects].sum(axis=1) / total[:, i]
            out += np.log(0.3 + 0.7 * np.clip(share, 0.0, 1.0))
    return out


def _remark_logs(problem: Problem, walkers: FloatArray) -> FloatArray:
    """Ear and hand: modestly for the place named; a weeping valve: for a seat that matters."""
    out = np.zeros(len(walkers))
    current = problem.current
    if problem.weeping and "valve-seat" in current:
        out += np.log(0.15 + expit(walkers[:, current["valve-seat"]] - np.log(4.0 * FLOOR_M2)))
    if problem.heard:
        now = [k for path, k in current.items() if path != "valve-seat"]
        areas = np.exp(walkers[:, now])
        for k in problem.heard:
            out += np.log(0.3 + 0.7 * np.exp(walkers[:, k]) / areas.sum(axis=1))
    return out
