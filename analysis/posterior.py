"""The posterior of a session of holds: every leak law and every way the wood may behave, weighed.

Each member (law x release variant, and "no leak" x release variant) is climbed to its peak. Members that
remain credible are climbed again at fixed rates of rise round their peak, everything else free; the heights
of those peaks, with Laplace's volume factor for the free parameters, give the posterior of the rate under
each member and the member's evidence. Nothing is drawn at random: one log gives one answer.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from analysis.course import Course
from analysis.engine import Fit, Prior, Score, fit
from analysis.holdmodel import make_tables, nearest_node, predict, predict_with_slopes
from analysis.laws import LeakLaw, family
from analysis.priors import NO_LEAK_PRIOR, ReleasePrior
from analysis.readings import Observed, blurred_score, make_score
from analysis.sweep import LN_RATE, NCOMMON, PER_HOLD, LawTables

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]
CREDIBLE = 7.0
"""Members whose log evidence is this far below the best are dropped: together they weigh under a thousandth."""
_WAVES = ((0.7, 1.5), (2.5, 4.0))
"""Steps from the peak, in standard deviations, at which the posterior is looked at on either side: the nearer
ones at once, then the farther ones from where those lead."""
_FINE = 4001
_NOWHERE = 1e3


@dataclass(frozen=True, eq=False)
class Members:
    """The family: law (None: no leak), release variant and prior probability of each member."""

    laws: tuple[LeakLaw | None, ...]
    variants: tuple[str, ...]
    weight: FloatArray
    prior: Prior
    tables: LawTables

    def only(self, rows: IntArray) -> Members:
        """The family cut down to some members (law tables and all)."""
        return Members(
            tuple(self.laws[i] for i in rows),
            tuple(self.variants[i] for i in rows),
            self.weight[rows],
            Prior(self.prior.mean[rows], self.prior.sd[rows]),
            LawTables(*(each[rows] for each in self.tables)),
        )


@dataclass(frozen=True, eq=False)
class Posterior:
    """What the readings say.

    ``ln_rate`` (nfine,) even grid of ln of the rate of rise in Pa/s at one fifth of room pressure; ``density``
    (nmember, nfine) the posterior of it under each member, summing with ``no_leak`` to 1; ``no_leak`` the
    probability that there is no leak at all. ``members`` and ``fitted`` hold the credible members; ``best``
    is the index of the most probable; ``inflation`` how much the readings' spread had to be widened.
    """

    members: Members
    observed: Observed
    course: Course
    fitted: Fit
    ln_rate: FloatArray
    density: FloatArray
    no_leak: float
    best: int
    inflation: float

    @property
    def weight(self) -> FloatArray:
        """Probability (nmember,) of every member; those without a leak share ``no_leak``."""
        mass: FloatArray = self.density.sum(axis=1)
        idle = np.flatnonzero(self.members.tables.leaks == 0)
        if idle.size:
            mass[idle] = self.no_leak / idle.size
        return mass

    @property
    def peak(self) -> FloatArray:
        """Parameters of the most probable member's peak."""
        return np.asarray(self.fitted.theta[self.best])


def make_members(priors: Sequence[ReleasePrior], laws: Sequence[LeakLaw] | None = None) -> Members:
    """Cross laws and release variants; ``laws`` default to the whole family."""
    known = tuple(laws or family())
    total = sum(law.prior for law in known)
    rows: list[tuple[LeakLaw | None, ReleasePrior, float]] = [
        (law, v, (1.0 - NO_LEAK_PRIOR) * law.prior / total * v.weight) for v in priors for law in known
    ]
    rows += [(None, v, NO_LEAK_PRIOR * v.weight) for v in priors]
    prior = Prior(np.stack([v.mean for _, v, _ in rows]), np.stack([v.sd for _, v, _ in rows]))
    members = tuple(law for law, _, _ in rows)
    return Members(
        members, tuple(v.name for _, v, _ in rows), np.array([w for *_, w in rows]), prior, make_tables(members)
    )


def explore(course: Course, observed: Observed, members: Members) -> Posterior:
    """Climb, widen the noise where residuals ask for it, climb again, and scan the rate of rise."""
    # From blurred readings to sharp ones: each climb starts near the top of the next, steeper hill.
    fitted = _climb(course, blurred_score(observed, 1000.0), members, _start(course, observed, members), 8, 0.5)
    fitted = _climb(course, blurred_score(observed, 30.0), members, fitted, 8, 0.5)
    fitted = _climb(course, make_score(observed), members, fitted, 30, 0.2)
    best = int(np.argmax(log_evidence(fitted, members)))
    observed = _own_noise(observed, fitted.mu[best])
    inflation = _inflation(observed, fitted.mu[best])
    score = make_score(observed, inflation)
    members, fitted = _cut(members, _rescored(fitted, score, members), 20.0)
    fitted = _climb(course, score, members, fitted, 40, 0.02)
    members, fitted = _cut(members, fitted, CREDIBLE)
    ln_rate, density, no_leak = _scan(course, score, members, fitted)
    mass = density.sum(axis=1)
    best = int(np.argmax(np.where(members.tables.leaks > 0, mass, no_leak if no_leak > mass.sum() else 0.0)))
    return Posterior(members, observed, course, fitted, ln_rate, density, no_leak, best, inflation)


def _rescored(fitted: Fit, score: Score, members: Members) -> Fit:
    """The fit with its heights under another score; peaks and curvature as they were."""
    value = score(fitted.mu)[0] + members.prior.log_density(fitted.theta, np.arange(len(members.laws)))
    return replace(fitted, log_posterior=value)


def _climb(
    course: Course, score: Score, members: Members, start: FloatArray | Fit, most: int, tolerance: float,
    which: IntArray | None = None, prior: Prior | None = None,
) -> Fit:
    """Climb rows whose members are ``which`` (the row itself when None), under priors of their own where given."""
    rows = np.arange(len(members.laws)) if which is None else which

    def model(theta: FloatArray, row: IntArray) -> FloatArray:
        return predict(course, members.tables, theta, rows[row])

    def sloped(theta: FloatArray, row: IntArray) -> tuple[FloatArray, FloatArray]:
        return predict_with_slopes(course, members.tables, theta, rows[row])

    return fit(model, score, start, prior or members.prior, None, most, tolerance, sloped, brisk=True)


def _cut(members: Members, fitted: Fit, depth: float) -> tuple[Members, Fit]:
    """Leave out the members that fall ``depth`` below the best in log evidence."""
    evidence = log_evidence(fitted, members)
    leaks = members.tables.leaks > 0
    near = evidence > evidence.max() - depth
    # The best leak stays in any case: an upper limit asks how large it could be if it were there.
    near[int(np.argmax(np.where(leaks, evidence, -np.inf)))] = True
    keep = np.flatnonzero(near)
    return members.only(keep), _pick(fitted, keep)


def _start(course: Course, observed: Observed, members: Members) -> FloatArray:
    """Every member begins at its priors, with pressures and slope read off the readings."""
    theta = members.prior.mean.copy()
    for h in range(course.nhold):
        own = observed.hold == h
        theta[:, NCOMMON + PER_HOLD * h] = observed.y_pa[own][:3].mean()
    slope, level = _early_slope(observed, course.nhold - 1)
    flow = members.tables.flow[:, nearest_node(level / course.room_pa)]
    theta[:, LN_RATE] = np.log(max(slope, 1e-4) / np.maximum(flow, 0.05))
    return theta


def _early_slope(observed: Observed, hold: int) -> tuple[float, float]:
    """Slope (Pa/s) and mean level (Pa) of the first half of a hold's rise, by a straight line."""
    own = observed.hold == hold
    t, y, n = observed.t_s[own], observed.y_pa[own], observed.count[own]
    half = y <= y.min() + 0.5 * (y.max() - y.min())
    if np.ptp(t[half]) < 0.2 * np.ptp(t):
        half = t <= np.median(t)
    t, y, n = t[half], y[half], n[half]
    middle = np.average(t, weights=n)
    spread = float(np.sum(n * (t - middle) ** 2))
    slope = float(np.sum(n * (t - middle) * y)) / spread if spread > 0 else 0.0
    return slope, float(np.average(y, weights=n))


def log_evidence(fitted: Fit, members: Members) -> FloatArray:
    """Laplace's approximation of every member's log evidence (nmember,), prior probability included."""
    sign, log_det = np.linalg.slogdet(fitted.hessian)
    log_prior_scale = -np.sum(np.log(members.prior.sd), axis=1)
    return np.where(sign > 0, fitted.log_posterior + log_prior_scale - 0.5 * log_det, -np.inf) + np.log(members.weight)


def _own_noise(observed: Observed, mu: FloatArray) -> Observed:
    """For a coarse display, the noise that its scatter about the curve shows, within bounds."""
    if observed.half_pa == 0.0:
        return observed
    gap2 = np.average((observed.y_pa - mu) ** 2, weights=observed.count)
    step = 2.0 * observed.half_pa
    noise = np.sqrt(max(gap2 - step**2 / 12.0, (0.15 * step) ** 2))
    return replace(observed, noise_pa=float(min(noise, max(observed.noise_pa, 0.7 * step))))


def _inflation(observed: Observed, mu: FloatArray) -> float:
    """How much wider the readings scatter than their noise says, correlation of neighbours included (>= 1)."""
    _, g, w = make_score(observed)(mu[None])
    number = np.unique(observed.block, return_inverse=True)[1]
    z = np.bincount(number, g[0]) / np.sqrt(np.maximum(np.bincount(number, w[0]), 1e-300))
    n = z.size
    chi2 = float(np.sum(z * z)) / max(n - 5.0, 0.4 * n, 1.0)
    centred = z - z.mean()
    rho = float(np.sum(centred[1:] * centred[:-1]) / max(float(np.sum(centred**2)), 1e-300)) if n > 8 else 0.0
    rho = float(min(max(rho - 1.0 / np.sqrt(n), 0.0), 0.9))
    return max(1.0, chi2 if observed.half_pa == 0.0 or chi2 > 1.5 else 1.0) * (1.0 + rho) / (1.0 - rho)


def _scan(course: Course, score: Score, members: Members, fitted: Fit) -> tuple[FloatArray, FloatArray, float]:
    """Posterior density of the rate of rise under every member, on one fine grid, and the mass without a leak."""
    leaks = np.flatnonzero(members.tables.leaks > 0)
    idle = np.flatnonzero(members.tables.leaks == 0)
    if not leaks.size:
        return np.linspace(-20.0, 10.0, _FINE), np.zeros((len(members.laws), _FINE)), 1.0
    nodes, height = _heights(course, score, members, fitted, leaks)
    fine = np.linspace(float(nodes.min()), float(nodes.max()), _FINE)
    log_density = np.full((len(members.laws), _FINE), -np.inf)
    for i, member in enumerate(leaks):
        log_density[member] = _between(fine, nodes[i], height[i])
    full_factor = 0.5 * fitted.theta.shape[1] * np.log(2.0 * np.pi) - np.log(fine[1] - fine[0])
    none = log_evidence(fitted, members)[idle] + full_factor
    top = max(float(log_density.max()), float(none.max()) if idle.size else -np.inf)
    density, idle_mass = np.exp(log_density - top), float(np.exp(none - top).sum())
    total = density.sum() + idle_mass
    return fine, density / total, idle_mass / total


def _heights(
    course: Course, score: Score, members: Members, fitted: Fit, leaks: IntArray
) -> tuple[FloatArray, FloatArray]:
    """Log posterior density at rates to either side of every leaking member's peak: nodes and heights (nleak, nnode).

    The rate is moved outwards in waves, the other parameters climbing after it from where a straight line
    through the peak's ridge, then through the last two nodes, would put them.
    """
    spread = np.clip(np.sqrt(np.linalg.pinv(fitted.hessian[leaks], hermitian=True)[:, LN_RATE, LN_RATE]), 1e-4, 2.5)
    which = np.repeat(leaks, 2)
    side = np.tile([-1.0, 1.0], leaks.size)
    stride = np.where((side < 0) & (np.repeat(spread, 2) > 0.25), 1.6, 1.0) * side * np.repeat(spread, 2)
    peak, one_sd = fitted.theta[which], _follow(fitted, which, stride)
    nodes, heights = [peak[:, LN_RATE]], [_height(_pick(fitted, which), members, which, peak[:, LN_RATE], pinned=False)]
    near, nearer = peak + one_sd * _WAVES[0][1], peak + one_sd * _WAVES[0][0]
    reached = _WAVES[0][:2]
    for steps in _WAVES:
        slope = (near - nearer) / (reached[1] - reached[0])
        start = np.concatenate([near + slope * (step - reached[1]) for step in steps])
        rate = np.concatenate([peak[:, LN_RATE] + stride * step for step in steps])
        rows = np.tile(which, len(steps))
        start[:, LN_RATE] = rate
        scanned = _climb(course, score, members, start, 9, 5e-2, rows, _pin(members.prior, rows, rate))
        nodes += np.split(rate, len(steps))
        heights += np.split(_height(scanned, members, rows, rate), len(steps))
        nearer, near = np.split(scanned.theta, len(steps))[-2:]
        reached = steps[-2:]
    found = np.stack(heights, axis=1)
    # A node the climb could not stand on is far down; it must not take the whole density with it.
    found = np.where(np.isfinite(found), found, found[:, :1] - _NOWHERE)
    return _both_sides(np.stack(nodes, axis=1)), _both_sides(np.minimum.accumulate(found, axis=1))


def _both_sides(values: FloatArray) -> FloatArray:
    """Rows of (lower side outwards, upper side outwards) joined to one row from low to high, the peak once."""
    return np.concatenate([values[0::2, ::-1], values[1::2, 1:]], axis=1)


def _pick(fitted: Fit, rows: IntArray) -> Fit:
    return Fit(*(getattr(fitted, f)[rows] for f in ("theta", "log_posterior", "hessian", "mu", "converged", "slopes")))


def _follow(fitted: Fit, which: IntArray, by: FloatArray) -> FloatArray:
    """Where all parameters go, to first order, when the rate is moved off the peak; modest moves only."""
    cov = np.linalg.pinv(fitted.hessian, hermitian=True)
    slope = cov[:, :, LN_RATE] / np.maximum(cov[:, LN_RATE, LN_RATE], 1e-300)[:, None]
    move = slope[which] * by[:, None]
    limit = np.where(np.arange(move.shape[1]) >= NCOMMON, np.inf, 1.5)
    move = np.clip(move, -limit, limit)
    move[:, LN_RATE] = by
    return np.asarray(move)


_PINNED = 1e-5


def _pin(prior: Prior, which: IntArray, ln_rate: FloatArray) -> Prior:
    """Priors that hold the rate at a value."""
    mean, sd = prior.mean[which].copy(), prior.sd[which].copy()
    mean[:, LN_RATE], sd[:, LN_RATE] = ln_rate, _PINNED
    return Prior(mean, sd)


def _height(scanned: Fit, members: Members, which: IntArray, ln_rate: FloatArray, pinned: bool = True) -> FloatArray:
    """Log posterior density of the rate at the nodes: peak over the rest, times Laplace's factor for the rest.

    ``pinned`` says that the rate was held by a tight prior, which is then taken out again.
    """
    sd, rest = members.prior.sd[which], np.delete(np.arange(scanned.theta.shape[1]), LN_RATE)
    _, log_det = np.linalg.slogdet(scanned.hessian[:, rest[:, None], rest])
    own = -0.5 * ((ln_rate - members.prior.mean[which, LN_RATE]) / sd[:, LN_RATE]) ** 2 if pinned else 0.0
    factor = -0.5 * log_det + 0.5 * rest.size * np.log(2.0 * np.pi)
    return np.asarray(scanned.log_posterior + own + factor - np.sum(np.log(sd), axis=1) + np.log(members.weight[which]))


def _between(fine: FloatArray, nodes: FloatArray, height: FloatArray) -> FloatArray:
    """Log density on the fine grid: monotone cubic through the nodes, falling straight (in log) beyond them."""
    inside = PchipInterpolator(nodes, height, extrapolate=False)(np.clip(fine, nodes[0], nodes[-1]))
    left = max((height[1] - height[0]) / (nodes[1] - nodes[0]), 0.0)
    right = min((height[-1] - height[-2]) / (nodes[-1] - nodes[-2]), 0.0)
    out = inside + np.where(fine < nodes[0], left * (fine - nodes[0]), 0.0)
    return np.asarray(out + np.where(fine > nodes[-1], right * (fine - nodes[-1]), 0.0))
