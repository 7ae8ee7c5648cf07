"""Draws from a posterior that may be very narrow across, and very wide along, a sum of areas.

Tempered sequential Monte Carlo: walkers start at the prior and are led to the posterior in steps that keep
half of them effective; after each step they move by differences of other walkers (ter Braak 2006, Stat.
Comput. 16:239, halves taking turns), by fresh draws of single coordinates, and by exchanging area between two
places at a constant sum, which crosses from one suspect to another in one step.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq
from scipy.special import logsumexp

from analysis.results import FloatArray

Density = Callable[[FloatArray], FloatArray]


@dataclass(eq=False)
class _State:
    walkers: FloatArray
    prior: FloatArray
    like: FloatArray

    def take(self, rows: FloatArray | slice | np.ndarray) -> _State:
        return _State(self.walkers[rows], self.prior[rows], self.like[rows])


@dataclass(frozen=True)
class Target:
    """What is sampled: log prior and log likelihood of rows, and how many leading columns are log areas."""

    log_prior: Density
    log_like: Density
    n_areas: int


def sample(
    target: Target, start: FloatArray, rng: np.random.Generator, moves: int = 5, final_moves: int = 25
) -> FloatArray:
    """Lead walkers drawn from the prior to the posterior.

    Parameters
    ----------
    target
        The densities.
    start
        Walkers drawn from the prior, an even number of rows.
    rng
        Source of chance; the same one gives the same walkers.
    moves, final_moves
        Rounds of moves after each step and after the last.

    Returns
    -------
    Walkers of equal weight, shaped as ``start``.
    """
    state = _State(start.copy(), target.log_prior(start), target.log_like(start))
    beta = 0.0
    while beta < 1.0:
        step = _next_step(state.like, 1.0 - beta)
        beta += step
        state = state.take(_resample(step * state.like, rng))
        for _ in range(moves if beta < 1.0 else final_moves):
            _round(state, target, beta, rng)
    return state.walkers


def _effective(log_weights: FloatArray) -> float:
    return float(np.exp(2.0 * logsumexp(log_weights) - logsumexp(2.0 * log_weights)))


def _next_step(like: FloatArray, room: float, keep: float = 0.5) -> float:
    """The largest step that keeps ``keep`` of the walkers effective."""
    aim = keep * len(like)
    if _effective(room * like) >= aim:
        return room
    return float(brentq(lambda s: _effective(s * like) - aim, 0.0, room, xtol=1e-12, rtol=1e-3))


def _resample(log_weights: FloatArray, rng: np.random.Generator) -> np.ndarray:
    """Systematic resampling, then shuffled so that the halves are alike."""
    weights = np.exp(log_weights - logsumexp(log_weights))
    n = len(weights)
    edges = np.cumsum(weights)
    rows = np.minimum(np.searchsorted(edges, (np.arange(n) + rng.random()) / n), n - 1)
    return rng.permutation(rows)


def _round(state: _State, target: Target, beta: float, rng: np.random.Generator) -> None:
    half = len(state.walkers) // 2
    for mine, other in ((slice(0, half), slice(half, None)), (slice(half, None), slice(0, half))):
        _try(state, mine, _differ(state.walkers[mine], state.walkers[other], rng), target, beta, rng)
    everyone = slice(0, None)
    if target.n_areas > 1:
        _try(state, everyone, _exchange(state.walkers, target.n_areas, rng), target, beta, rng)
    _try(state, everyone, _wander(state.walkers, rng), target, beta, rng)


def _try(
    state: _State, rows: slice, proposal: FloatArray, target: Target, beta: float, rng: np.random.Generator
) -> None:
    """Metropolis step for symmetric proposals, in place."""
    prior, like = target.log_prior(proposal), target.log_like(proposal)
    gain = prior - state.prior[rows] + beta * (like - state.like[rows])
    yes = np.log(rng.random(len(gain))) < gain
    for old, new in ((state.walkers, proposal), (state.prior, prior), (state.like, like)):
        old[rows][yes] = new[yes]


def _differ(walkers: FloatArray, others: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Move a few coordinates by the difference of two other walkers."""
    n, d = walkers.shape
    few = rng.random((n, d)) < rng.choice([1.5 / d, 0.3, 1.0], size=(n, 1), p=[0.5, 0.3, 0.2])
    a, b = (others[rng.integers(0, len(others), n)] for _ in range(2))
    size = 1.7 / np.sqrt(np.maximum(few.sum(axis=1, keepdims=True), 1)) * rng.choice([1.0, 0.3], size=(n, 1))
    out: FloatArray = walkers + few * (size * (a - b) + 1e-3 * rng.standard_normal((n, d)))
    return out


def _exchange(walkers: FloatArray, n_areas: int, rng: np.random.Generator) -> FloatArray:
    """Share the sum of two areas anew.

    In the logarithm of the sum and the log ratio the measure is flat, so that a step symmetric in the log
    ratio (turned over, or wandering) needs no correction.
    """
    n = len(walkers)
    row = np.arange(n)
    i = rng.integers(0, n_areas, n)
    j = (i + rng.integers(1, n_areas, n)) % n_areas
    zi, zj = walkers[row, i], walkers[row, j]
    total, ratio = np.logaddexp(zi, zj), zi - zj
    ratio = np.where(rng.random(n) < 0.4, -ratio, ratio) + rng.choice([0.3, 2.0], n) * rng.standard_normal(n)
    out = walkers.copy()
    out[row, i] = total - np.logaddexp(0.0, -ratio)
    out[row, j] = total - np.logaddexp(0.0, ratio)
    return out


def _wander(walkers: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Move one coordinate by a step of any size."""
    n, d = walkers.shape
    out = walkers.copy()
    out[np.arange(n), rng.integers(0, d, n)] += rng.choice([0.05, 0.4, 2.0], n) * rng.standard_normal(n)
    return out
