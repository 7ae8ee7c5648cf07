"""Fit engine: damped scoring (Levenberg-Marquardt) of many parameter vectors at once.

One call fits every member of a family (leak laws, release variants) to the same readings; each member is
a row, and all rows with all their finite-difference neighbours go through the model in one array call, so
the cost of a family is hardly more than that of one member.
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
Score = Callable[[FloatArray], tuple[FloatArray, FloatArray, FloatArray]]
"""``score(mu (n, nobs)) -> log-likelihood (n,), slope (n, nobs), information (n, nobs)`` of the readings."""


@dataclass(frozen=True, eq=False)
class Fit:
    """Best parameters of every member.

    ``theta`` (nmember, npar); ``log_posterior`` (nmember,), prior included up to a constant common to all
    members; ``hessian`` (nmember, npar, npar), minus the expected second derivative there; ``mu``
    (nmember, nobs) the fitted readings; ``converged`` (nmember,).
    """

    theta: FloatArray
    log_posterior: FloatArray
    hessian: FloatArray
    mu: FloatArray
    converged: NDArray[np.bool_]

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


def jacobian(model: Model, theta: FloatArray, member: IntArray, step: FloatArray) -> FloatArray:
    """Central differences (n, nobs, npar) of the model, every neighbour of every row in one call."""
    n, npar = theta.shape
    shift = np.eye(npar)[None] * step[:, None, :]
    both = np.concatenate([theta[:, None, :] + shift, theta[:, None, :] - shift], axis=1)
    values = model(both.reshape(n * 2 * npar, npar), np.repeat(member, 2 * npar)).reshape(n, 2, npar, -1)
    return np.moveaxis((values[:, 0] - values[:, 1]) / (2.0 * step[:, :, None]), 1, 2)


def fit(
    model: Model, score: Score, start: FloatArray, prior: Prior, step: FloatArray | None = None,
    most: int = 60, tolerance: float = 1e-6,
) -> Fit:
    """Climb every member's log posterior from ``start`` (nmember, npar).

    Parameters
    ----------
    model, score
        See ``Model`` and ``Score``. They may overflow on the way; such a trial step is thrown away.
    prior
        Normal priors; they also keep directions in check that the readings leave open.
    step
        Finite-difference steps (nmember, npar); default 6e-6 of each start value or of its prior.
    most
        Largest number of rounds.
    tolerance
        A member has converged when a full step would gain less than this in log posterior.

    Notes
    -----
    Marquardt's scaling of the damping by the Hessian's diagonal makes the climb independent of units. A
    member that ends where it has not converged, or where the readings say nothing of a parameter (a
    first step too bold can land on such a plateau), is climbed again from its start by four rows at
    once, their steps damped relative to the sizes of the start values; the best end is kept.
    """
    problem = _Problem(model, score, prior, step, tolerance)
    start = np.array(start, dtype=np.float64)
    member = np.arange(len(start))
    with np.errstate(over="ignore", under="ignore", invalid="ignore", divide="ignore"):
        ends = problem.climb(start, member, np.full(member.size, FIRST_DAMPING), most)
        again = member[~problem.sound(ends, start)]
        if not again.size:
            return ends
        tried = np.repeat(again, len(SECOND_DAMPINGS))
        dampings = np.tile(SECOND_DAMPINGS, again.size)
        return _best_of(ends, problem.climb(start[tried], tried, dampings, most, np.abs(start[tried])), again)


FIRST_DAMPING = 1e-3
SECOND_DAMPINGS = (1e-3, 1.0, 1e3, 1e6)
"""Relative dampings of the first climb and of the second tries."""
TRIES = 12
NEAR = 1e-3
"""Gain in log posterior left to a full step below which a stuck climb still counts as at its top."""


@dataclass(eq=False)
class _Place:
    """Where the climbing rows stand: parameters, fitted readings, value, damping and what it is relative to."""

    theta: FloatArray
    mu: FloatArray
    value: FloatArray
    damping: FloatArray
    growth: FloatArray
    metric: FloatArray

    def measure(self, rows: IntArray, hessian: FloatArray, size: FloatArray | None) -> None:
        """Set what damping is relative to: the Hessian's diagonal, or the start's sizes at its largest so far."""
        diagonal = np.einsum("npp->np", hessian)
        if size is None:
            self.metric[rows] = diagonal
            return
        known = size[rows] > 0.0
        square = np.where(known, size[rows] ** 2, 1.0)
        even = np.max(diagonal * square, axis=1, keepdims=True) / square
        self.metric[rows] = np.maximum(self.metric[rows], np.where(known, even, diagonal))

    def settle(self, rows: IntArray, theta: FloatArray, mu: FloatArray, value: FloatArray, trust: FloatArray) -> None:
        """Move rows to a better place; ``trust`` is the gain got over the gain promised (Nielsen's rule)."""
        self.theta[rows], self.mu[rows], self.value[rows] = theta, mu, value
        factor = np.clip(1.0 - (2.0 * trust - 1.0) ** 3, 0.1, 2.0)
        self.damping[rows] = np.maximum(self.damping[rows] * factor, 1e-12)
        self.growth[rows] = 2.0

    def shrink(self, rows: IntArray) -> None:
        """Shorten the next step of rows whose trial was no better, each time more sharply."""
        self.damping[rows] *= self.growth[rows]
        self.growth[rows] *= 2.0


@dataclass(frozen=True, eq=False)
class _Problem:
    model: Model
    score: Score
    prior: Prior
    step: FloatArray | None
    tolerance: float

    def place(self, theta: FloatArray, member: IntArray, damping: FloatArray) -> _Place:
        mu = np.array(self.model(theta, member), dtype=np.float64)
        return _Place(theta, mu, self.value(mu, theta, member), damping, np.full(len(theta), 2.0), np.zeros_like(theta))

    def value(self, mu: FloatArray, theta: FloatArray, member: IntArray) -> FloatArray:
        value = self.score(mu)[0] + self.prior.log_density(theta, member)
        return np.where(np.isfinite(value), value, -np.inf)

    def climb(
        self, start: FloatArray, member: IntArray, damping: FloatArray, most: int, size: FloatArray | None = None,
    ) -> Fit:
        """Climb rows of any members, returned row by row; ``size`` (n, npar) makes the damping relative to it."""
        at = self.place(start.copy(), member, damping)
        n, npar = start.shape
        hessian, left = np.zeros((n, npar, npar)), np.full(n, np.inf)
        live = np.arange(n)
        for _ in range(most + 1):
            if not live.size:
                break
            gradient, hessian[live] = self.quadratic(at.theta[live], at.mu[live], member[live])
            at.measure(live, hessian[live], size)
            move, left[live] = damped_step(hessian[live], gradient, np.zeros_like(gradient))
            open_ = left[live] >= self.tolerance
            self.finish(at, live[~open_], move[~open_], member)
            live = live[open_]
            live = live[self.advance(at, live, gradient[open_], hessian[live], member[live])]
        return Fit(at.theta, at.value, hessian, at.mu, left < max(NEAR, self.tolerance))

    def finish(self, at: _Place, rows: IntArray, move: FloatArray, member: IntArray) -> None:
        """Take the last full step: it gains too little to be seen in the value, but brings the top nearer."""
        if not rows.size:
            return
        theta = at.theta[rows] + move
        mu = self.model(theta, member[rows])
        value = self.value(mu, theta, member[rows])
        fine = value > at.value[rows] - self.tolerance
        at.theta[rows[fine]], at.mu[rows[fine]], at.value[rows[fine]] = theta[fine], mu[fine], value[fine]

    def advance(
        self, at: _Place, live: IntArray, gradient: FloatArray, hessian: FloatArray, member: IntArray,
    ) -> NDArray[np.bool_]:
        """Take one step with every live row; say which found a better place."""
        moved = np.zeros(live.size, dtype=bool)
        for _ in range(TRIES):
            w = np.flatnonzero(~moved)
            if not w.size:
                break
            rows = live[w]
            move, promised = damped_step(hessian[w], gradient[w], at.damping[rows, None] * at.metric[rows])
            theta = at.theta[rows] + move
            mu = self.model(theta, member[w])
            value = self.value(mu, theta, member[w])
            good = value > at.value[rows]
            trust = (value - at.value[rows])[good] / promised[good]
            at.settle(rows[good], theta[good], mu[good], value[good], trust)
            at.shrink(rows[~good])
            moved[w[good]] = True
        return moved

    def quadratic(self, theta: FloatArray, mu: FloatArray, member: IntArray) -> tuple[FloatArray, FloatArray]:
        """Gradient (n, npar) of the log posterior and minus its expected second derivative (n, npar, npar)."""
        h = _steps(theta, self.prior.sd[member]) if self.step is None else self.step[member]
        slopes = np.nan_to_num(jacobian(self.model, theta, member, h), posinf=0.0, neginf=0.0)
        _, g, w = self.score(mu)
        weight = 1.0 / self.prior.sd[member] ** 2
        pull = np.where(weight > 0.0, (theta - self.prior.mean[member]) * weight, 0.0)
        gradient = np.einsum("nop,no->np", slopes, g) - pull
        hessian = np.matmul(np.swapaxes(slopes * w[:, :, None], 1, 2), slopes)
        idx = np.arange(theta.shape[1])
        hessian[:, idx, idx] += weight
        return gradient, hessian

    def sound(self, ends: Fit, start: FloatArray) -> NDArray[np.bool_]:
        """Which members are at a top, with every parameter known to within a thousand times its size."""
        size = np.maximum(np.abs(ends.theta), np.abs(start))
        told = np.einsum("npp->np", ends.hessian) * np.where(size > 0.0, size, 1.0) ** 2
        return np.asarray(ends.converged & (told > 1e-6).all(axis=1))


def _best_of(ends: Fit, tries: Fit, again: IntArray) -> Fit:
    """Put the best try of every member of ``again`` in the place of its first end, where it is better."""
    values = tries.log_posterior.reshape(again.size, -1)
    pick = np.argmax(values, axis=1)
    better = values[np.arange(again.size), pick] > ends.log_posterior[again]
    to = again[better]
    of = (np.arange(again.size) * values.shape[1] + pick)[better]
    for name in ("theta", "log_posterior", "hessian", "mu", "converged"):
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
    """Step (n, npar) up a quadratic, and the gain (n,) it promises, shortened by a ``damping`` (n, npar)."""
    scaled, scale = _scaled(hessian)
    slope = gradient / scale
    idx = np.arange(hessian.shape[1])
    damped = scaled.copy()
    damped[:, idx, idx] += damping / scale**2 + 1e-12
    move = np.linalg.solve(damped, slope[:, :, None])[:, :, 0]
    promised = np.sum(move * slope, axis=1) - 0.5 * np.einsum("np,npq,nq->n", move, scaled, move)
    return move / scale, promised


def standard_errors(fitted: Fit, y: FloatArray, member: int = 0) -> tuple[FloatArray, float]:
    """Standard errors (npar,) and residual standard deviation of a least-squares fit.

    ``fitted`` must come from ``unknown_sd_score(y)`` without priors.
    """
    nobs, npar = y.size, fitted.theta.shape[1]
    s = float(np.sqrt(np.sum((y - fitted.mu[member]) ** 2) / (nobs - npar)))
    likeliest_to_unbiased = np.sqrt(nobs / (nobs - npar))
    return likeliest_to_unbiased * np.sqrt(np.diag(fitted.covariance(member))), s
