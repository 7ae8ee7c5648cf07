"""Fit engine: damped scoring (Levenberg-Marquardt) of many parameter vectors at once.

One call fits every member of a family (leak laws, release variants) to the same readings; each member is
a row, and all rows go through the model in one call, with all their finite-difference neighbours where it
gives no slopes of its own.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]
Model = Callable[[FloatArray, IntArray], FloatArray]
"""``model(theta (n, npar), member (n,)) -> (n, nobs)``."""
Sloped = Callable[[FloatArray, IntArray], tuple[FloatArray, FloatArray]]
"""As a model, but with the slopes (n, npar, nobs) against the parameters beside the readings."""
Score = Callable[[FloatArray], tuple[FloatArray, FloatArray, FloatArray]]
"""``score(mu (n, nobs)) -> log-likelihood (n,), slope (n, nobs), information (n, nobs)`` of the readings."""


@dataclass(frozen=True, eq=False)
class Fit:
    """Best parameters of every member.

    ``theta`` (nmember, npar); ``log_posterior`` (nmember,), prior included up to a constant common to all
    members; ``hessian`` (nmember, npar, npar), minus the expected second derivative there; ``mu``
    (nmember, nobs) the fitted readings; ``converged`` (nmember,); ``slopes`` (nmember, npar, nobs) of the readings,
    there or a last small step before.
    """

    theta: FloatArray
    log_posterior: FloatArray
    hessian: FloatArray
    mu: FloatArray
    converged: NDArray[np.bool_]
    slopes: FloatArray

    def covariance(self, member: int = 0) -> FloatArray:
        """Covariance of the parameters of one member: the inverse of its Hessian.

        Inverted in units of the parameters' own scatter, so that their sizes do not matter; a direction
        the readings leave open gets no share (pseudo-inverse).
        """
        scaled, scale = _scaled(self.hessian[member])
        try:
            inverse = np.linalg.inv(scaled)
        except np.linalg.LinAlgError:
            inverse = np.linalg.pinv(scaled, hermitian=True)
        return inverse / np.outer(scale, scale)


@dataclass(frozen=True, eq=False)
class Prior:
    """Independent normal priors, ``mean`` and ``sd`` of shape (nmember, npar); infinite sd means none."""

    mean: FloatArray
    sd: FloatArray

    def log_density(self, theta: FloatArray, member: IntArray) -> FloatArray:
        """Log density (n,), without the constant, of rows of parameters."""
        z = (theta - self.mean[member]) / self.sd[member]
        return np.asarray(-0.5 * np.sum(z * z, axis=1))


def gaussian_score(y: FloatArray, sd: FloatArray) -> Score:
    """Score of independent normal readings ``y`` (nobs,) with standard deviations ``sd`` (nobs,)."""

    def score(mu: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        z = (y - mu) / sd
        return -0.5 * np.sum(z * z, axis=1), z / sd, np.broadcast_to(1.0 / sd**2, mu.shape)

    return score


def unknown_sd_score(y: FloatArray) -> Score:
    """Score of independent normal readings ``y`` (nobs,) of one common, unknown standard deviation.

    The standard deviation is taken at its likeliest value: least squares, with a stopping rule that does
    not depend on the unit of the readings.
    """

    def score(mu: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        z = y - mu
        weight = y.size / np.maximum(np.sum(z * z, axis=1, keepdims=True), 1e-300)
        return 0.5 * y.size * np.log(weight[:, 0]), z * weight, np.broadcast_to(weight, mu.shape)

    return score


def fit(
    model: Model, score: Score, start: FloatArray | Fit, prior: Prior, step: FloatArray | None = None,
    most: int = 60, tolerance: float = 1e-6, sloped: Sloped | None = None, brisk: bool = False,
) -> Fit:
    """Climb every member's log posterior from ``start`` (nmember, npar), or on from where another climb ended.

    Parameters
    ----------
    model, score
        See ``Model`` and ``Score``. They may overflow on the way; such a trial step is thrown away.
    prior
        Normal priors; they also keep directions in check that the readings leave open.
    step
        Finite-difference steps (nmember, npar); default 6e-6 of each start value or of its prior.
    most
        Largest number of trial steps of a member.
    tolerance
        A member has converged when a full step would gain less than this in log posterior.
    sloped
        The model with its slopes; by default they are central differences.
    brisk
        No second climb, and the less effort the less probable a member: for large families on smooth curves, where
        the few members that get stuck are the improbable ones.

    Notes
    -----
    Marquardt's scaling of the damping by the Hessian's diagonal makes the climb independent of units. A
    member that ends where it has not converged, or where the readings say nothing of a parameter (a
    first step too bold can land on such a plateau), is climbed again from its start by four rows at
    once, their steps damped relative to the sizes of the start values; the best end is kept.
    """
    problem = _Problem(model, sloped or _differenced(model, prior, step), score, prior, tolerance, brisk)
    seen = start if isinstance(start, Fit) else None
    start = np.array(seen.theta if seen else start, dtype=np.float64)
    member = np.arange(len(start))
    with np.errstate(over="ignore", under="ignore", invalid="ignore", divide="ignore"):
        first = np.full(member.size, BRISK_DAMPING if brisk else FIRST_DAMPING)
        ends = problem.climb(start, member, first, most, seen=seen)
        again = member[:0] if brisk else member[~problem.sound(ends, start)]
        if not again.size:
            return ends
        tried = np.repeat(again, len(SECOND_DAMPINGS))
        dampings = np.tile(SECOND_DAMPINGS, again.size)
        return _best_of(ends, problem.climb(start[tried], tried, dampings, most, np.abs(start[tried])), again)


FIRST_DAMPING = 1e-3
BRISK_DAMPING = 1e-2
SECOND_DAMPINGS = (1e-3, 1.0, 1e3, 1e6)
"""Relative dampings of the first climb and of the second tries."""
TRIES = 10
"""Trial steps in a row that may fail before a row counts as stuck."""
ROUGH = 0.03
"""A brisk climb with a larger tolerance does without the last full step."""
OF_INTEREST = 4.0
"""A brisk climb is e times less exact for every so much that a member lies below the best in log posterior."""
PATIENCE = 3
"""Trial steps before a brisk climb gives up members that lie far below the best."""
NEAR = 1e-3
"""Gain in log posterior left to a full step below which a stuck climb still counts as at its top."""


@dataclass(frozen=True, eq=False)
class _View:
    """What the model shows at rows of parameters: readings, their slopes, log posterior, its gradient and Hessian."""

    theta: FloatArray
    mu: FloatArray
    slopes: FloatArray
    value: FloatArray
    gradient: FloatArray
    hessian: FloatArray

    def take(self, rows: IntArray, other: _View, of: IntArray) -> None:
        """Put rows ``of`` another view in the place of ``rows``."""
        for name in ("theta", "mu", "slopes", "value", "gradient", "hessian"):
            getattr(self, name)[rows] = getattr(other, name)[of]


class _Damping:
    """How much each row's step is shortened (Nielsen's rule), and against what that is measured."""

    def __init__(self, first: FloatArray, size: FloatArray | None, npar: int) -> None:
        self.relative = first
        self.growth = np.full(first.size, 2.0)
        self.fails = np.zeros(first.size, dtype=np.intp)
        self.metric = np.zeros((first.size, npar))
        self.size = size

    def of(self, rows: IntArray, hessian: FloatArray) -> FloatArray:
        """Damping (n, npar): relative to the Hessian's diagonal, or to the start's sizes at its largest so far."""
        diagonal = np.einsum("npp->np", hessian)
        if self.size is None:
            self.metric[rows] = diagonal
        else:
            known = self.size[rows] > 0.0
            square = np.where(known, self.size[rows] ** 2, 1.0)
            even = np.max(diagonal * square, axis=1, keepdims=True) / square
            self.metric[rows] = np.maximum(self.metric[rows], np.where(known, even, diagonal))
        return self.relative[rows, None] * self.metric[rows]

    def ease(self, rows: IntArray, trust: FloatArray) -> None:
        """Lengthen the next step by how far the gain kept its promise (``trust``, got over promised)."""
        self.relative[rows] = np.maximum(self.relative[rows] * np.clip(1.0 - (2.0 * trust - 1.0) ** 3, 0.1, 2.0), 1e-12)
        self.growth[rows], self.fails[rows] = 2.0, 0

    def tighten(self, rows: IntArray) -> None:
        """Shorten the next step of rows whose trial was no better, each time more sharply."""
        self.relative[rows] *= self.growth[rows]
        self.growth[rows] *= 2.0
        self.fails[rows] += 1


@dataclass(frozen=True, eq=False)
class _Problem:
    model: Model
    sloped: Sloped
    score: Score
    prior: Prior
    tolerance: float
    brisk: bool

    def value(self, likelihood: FloatArray, theta: FloatArray, member: IntArray) -> FloatArray:
        value = likelihood + self.prior.log_density(theta, member)
        return np.where(np.isfinite(value), value, -np.inf)

    def look(self, theta: FloatArray, member: IntArray) -> _View:
        """See rows, all in one call of the model."""
        mu, slopes = self.sloped(theta, member)
        if not np.isfinite(slopes).all():
            slopes = np.nan_to_num(slopes, posinf=0.0, neginf=0.0)
        return self.view(theta, mu, slopes, member)

    def view(self, theta: FloatArray, mu: FloatArray, slopes: FloatArray, member: IntArray) -> _View:
        likelihood, g, w = self.score(mu)
        weight = 1.0 / self.prior.sd[member] ** 2
        pull = np.where(weight > 0.0, (theta - self.prior.mean[member]) * weight, 0.0)
        gradient = np.matmul(slopes, g[:, :, None])[:, :, 0] - pull
        hessian = np.matmul(slopes * w[:, None, :], np.swapaxes(slopes, 1, 2))
        idx = np.arange(theta.shape[1])
        hessian[:, idx, idx] += weight
        return _View(theta.copy(), mu, slopes, self.value(likelihood, theta, member), gradient, hessian)

    def climb(
        self, start: FloatArray, member: IntArray, first: FloatArray, most: int, size: FloatArray | None = None,
        seen: Fit | None = None,
    ) -> Fit:
        """Climb rows of any members, returned row by row; ``size`` (n, npar) makes the damping relative to it.

        ``seen`` is the fit that ended at the start.
        """
        at = self.view(start, seen.mu.copy(), seen.slopes.copy(), member) if seen else self.look(start, member)
        damping = _Damping(first, size, start.shape[1])
        live = np.arange(len(start))
        for trial in range(most):
            live = live[damping.fails[live] < TRIES]
            live, move, promised = self.unfinished(at, damping, live, patient=trial < PATIENCE)
            if not live.size:
                break
            self.advance(at, damping, live, member, move, promised)
        move, left = _full_step(at, np.arange(len(start)))
        if self.brisk and self.tolerance > ROUGH:
            return Fit(at.theta, at.value, at.hessian, at.mu, left < self.tolerance, at.slopes)
        self.finish(at, np.flatnonzero(left < self.tolerance), move, member)
        return Fit(at.theta, at.value, at.hessian, at.mu, left < max(NEAR, self.tolerance), at.slopes)

    def unfinished(
        self, at: _View, damping: _Damping, live: IntArray, patient: bool
    ) -> tuple[IntArray, FloatArray, FloatArray]:
        """Rows with more to gain than the tolerance, their steps and the gains these promise.

        ``patient`` gives the improbable their chance.
        """
        hessian, usual = at.hessian[live], damping.of(live, at.hessian[live])
        move, promised = damped_step(hessian, at.gradient[live], np.stack([0.0 * usual, usual]))
        left, wanted = promised[0], self.tolerance
        if self.brisk and not patient:
            gap = np.max(at.value) - (at.value[live] + left)
            wanted = self.tolerance * np.exp(np.clip(gap / OF_INTEREST, 0.0, 50.0))
        keep = left >= wanted
        return live[keep], move[1, keep], promised[1, keep]

    def advance(
        self, at: _View, damping: _Damping, live: IntArray, member: IntArray, move: FloatArray, promised: FloatArray
    ) -> None:
        """Try a step of every live row; keep it where it gains."""
        trial = self.look(at.theta[live] + move, member[live])
        gain = trial.value - at.value[live]
        good = trial.value > at.value[live]
        at.take(live[good], trial, np.flatnonzero(good))
        damping.ease(live[good], (gain / promised)[good])
        damping.tighten(live[~good])

    def finish(self, at: _View, rows: IntArray, move: FloatArray, member: IntArray) -> None:
        """Take the last full step: it gains too little to be seen in the value, but brings the top nearer."""
        if not rows.size:
            return
        theta = at.theta[rows] + move[rows]
        mu = self.model(theta, member[rows])
        value = self.value(self.score(mu)[0], theta, member[rows])
        fine = value > at.value[rows] - self.tolerance
        at.theta[rows[fine]], at.mu[rows[fine]], at.value[rows[fine]] = theta[fine], mu[fine], value[fine]

    def sound(self, ends: Fit, start: FloatArray) -> NDArray[np.bool_]:
        """Which members are at a top where every parameter is known, by its prior or to a thousand times its size."""
        size = np.maximum(np.abs(ends.theta), np.abs(start))
        told = np.einsum("npp->np", ends.hessian) * np.where(size > 0.0, size, 1.0) ** 2
        known = np.isfinite(self.prior.sd) | (told > 1e-6)
        return np.asarray(ends.converged & known.all(axis=1))


def differences(
    model: Model, theta: FloatArray, member: IntArray, step: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Readings (n, nobs) and their slopes (n, npar, nobs) by central differences, all neighbours in one call."""
    n, npar = theta.shape
    points = np.repeat(theta[:, None, :], 2 * npar + 1, axis=1)
    idx = np.arange(npar)
    points[:, 1 + idx, idx] += step
    points[:, 1 + npar + idx, idx] -= step
    values = np.asarray(model(points.reshape(-1, npar), np.repeat(member, 2 * npar + 1))).reshape(n, 2 * npar + 1, -1)
    return values[:, 0].copy(), 0.5 * (values[:, 1 : npar + 1] - values[:, npar + 1 :]) / step[:, :, None]


def _differenced(model: Model, prior: Prior, step: FloatArray | None) -> Sloped:
    """The model with slopes by differences; ``step`` (nmember, npar)."""

    def sloped(theta: FloatArray, member: IntArray) -> tuple[FloatArray, FloatArray]:
        return differences(model, theta, member, _steps(theta, prior.sd[member]) if step is None else step[member])

    return sloped


def _full_step(at: _View, rows: IntArray) -> tuple[FloatArray, FloatArray]:
    """Undamped step (n, npar) of rows and the gain (n,) it promises."""
    gradient = at.gradient[rows]
    return damped_step(at.hessian[rows], gradient, np.zeros_like(gradient))


def _best_of(ends: Fit, tries: Fit, again: IntArray) -> Fit:
    """Put the best try of every member of ``again`` in the place of its first end, where it is better."""
    values = tries.log_posterior.reshape(again.size, -1)
    pick = np.argmax(values, axis=1)
    better = values[np.arange(again.size), pick] > ends.log_posterior[again]
    to = again[better]
    of = (np.arange(again.size) * values.shape[1] + pick)[better]
    for name in ("theta", "log_posterior", "hessian", "mu", "converged", "slopes"):
        getattr(ends, name)[to] = getattr(tries, name)[of]
    return ends


def _steps(theta: FloatArray, sd: FloatArray) -> FloatArray:
    size = np.where(np.isfinite(sd), np.minimum(sd, np.abs(theta) + 1.0), np.abs(theta))
    return np.where(size > 0.0, 6e-6 * size, 6e-6)


def _scaled(hessian: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Hessians (..., npar, npar) with a unit diagonal, and the square root of what was divided out."""
    scale = np.sqrt(np.maximum(np.einsum("...pp->...p", hessian), 1e-300))
    scaled = hessian / (scale[..., :, None] * scale[..., None, :])
    idx = np.arange(hessian.shape[-1])
    scaled[..., idx, idx] = 1.0
    return np.where(np.isfinite(scaled), scaled, 0.0), scale


def damped_step(hessian: FloatArray, gradient: FloatArray, damping: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Step (..., n, npar) up a quadratic and the gain (..., n) it promises; ``damping`` (..., n, npar) shortens it."""
    scaled, scale = _scaled(hessian)
    slope = gradient / scale
    idx = np.arange(hessian.shape[1])
    damped = np.empty((*damping.shape, idx.size))
    damped[:] = scaled
    damped[..., idx, idx] += damping / scale**2 + 1e-12
    move = np.linalg.solve(damped, np.broadcast_to(slope, damping.shape)[..., None])
    bend = np.matmul(scaled, move)[..., 0]
    move = move[..., 0]
    return move / scale, np.sum(move * (slope - 0.5 * bend), axis=-1)


def standard_errors(fitted: Fit, y: FloatArray, member: int = 0) -> tuple[FloatArray, float]:
    """Standard errors (npar,) and residual standard deviation of a least-squares fit.

    ``fitted`` must come from ``unknown_sd_score(y)`` without priors.
    """
    nobs, npar = y.size, fitted.theta.shape[1]
    s = float(np.sqrt(np.sum((y - fitted.mu[member]) ** 2) / (nobs - npar)))
    likeliest_to_unbiased = np.sqrt(nobs / (nobs - npar))
    return likeliest_to_unbiased * np.sqrt(np.diag(fitted.covariance(member))), s
