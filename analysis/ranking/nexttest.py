"""The test that would tell most: expected information about which place is the largest, by simulation.

For every feasible test the posterior predicts a spread of results. The information is what the result and the
name of the largest path share (Shannon). Of the best, the one that together with a best second test tells most,
divided by the minutes of both, comes first: a test may be worth little by itself and much before another.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Literal

import numpy as np
from scipy.special import ndtr

from acquisition.records import Box
from acquisition.setups import ALWAYS_OPEN, PATHS, SETUPS, open_paths, parent
from analysis.ranking.likelihood import SCATTER, SCATTER_SHARE, columns_m2
from analysis.ranking.model import CLOSURE_SCATTER, FLOOR_M2, NEW_CLOSURE, NEW_SHEET, SEALED_SHARE, stretch
from analysis.ranking.posterior import Posterior, chances, largest
from analysis.ranking.priors import path_prior
from analysis.results import FloatArray

Do = Literal["hold", "redraw", "stall", "vent-behind-valve", "repeat"]
Setting = tuple[str, tuple[str, ...]]
"""A setup and what is sealed in it."""
BINS = 14
FIT_SPREAD = 0.05
FIRSTS, SECONDS = 12, 25
"""How many of the tests with the most bits a minute are looked at as the first and as the second of two."""

# Minutes (common practice, no source): pump-down, soak, hold, redraw, hold and let-up; closing the top anew; each seal.
BASE_MIN = 20.0
CLOSE_MIN = {"line-only": 0.0, "undrilled": 0.0, "vents-taped": 5.0, "film-on-top": 7.0, "film-on-rim": 10.0,
             "formed-sheet": 12.0}
SEAL_MIN = 2.0
STAYS = {"redraw": -4.0, "vent-behind-valve": -3.0, "repeat": -2.0}
SEALABLE = ("port-flange", "panel-edges", "panel-faces", "line", "rim-joint", "sheet-edge")


@dataclass(frozen=True)
class Candidate:
    """A test that could be made: what to do, the setup, what to seal, and its minutes."""

    do: Do
    setup: str
    seal: tuple[str, ...]
    minutes: float
    valve: str | None = None


@dataclass(frozen=True, eq=False)
class Worth:
    """What a candidate is worth.

    ``bits`` of information, ``area_m2`` the median area it would show, ``inside`` (draws x bins) the chance of
    each bin of results given each draw.
    """

    test: Candidate
    bits: float
    area_m2: float
    inside: FloatArray


def full_areas(posterior: Posterior, box: Box | None, drilled: bool, rng: np.random.Generator) -> dict[str, FloatArray]:
    """Areas of all paths a test could open: those never open from their prior."""
    areas = dict(posterior.areas_m2)
    whole = {parent(p) for p in areas}
    setups = feasible_setups(drilled)
    reach = dict.fromkeys(p for s in setups for p in (*SETUPS[s].open_paths, *ALWAYS_OPEN))
    for path in reach:
        if path not in whole:
            drawn = np.exp(path_prior(path, box).draw(rng, posterior.hand))
            areas[path] = -drawn if path == "valve-seat" else drawn
    return areas


def feasible_setups(drilled: bool) -> tuple[str, ...]:
    """Setups that can be made: none with a sheet before the vents are drilled, none undrilled after."""
    return tuple(s for s in SETUPS if (s != "undrilled") == drilled or s == "line-only")


def candidates(
    posterior: Posterior, areas_m2: dict[str, FloatArray], drilled: bool, wanted: Setting | None = None
) -> tuple[Candidate, ...]:
    """Feasible tests: every setup with nothing to three places sealed, and variations of the last test.

    What was done already is worth less than a repeat, but for the ``wanted`` one.
    """
    out: list[Candidate] = []
    last = posterior.problem.tests[-1]
    for setup in feasible_setups(drilled):
        closing = 2.0 if setup == last.setup != "formed-sheet" else CLOSE_MIN[setup]
        for seal in _seal_sets(setup, tuple(areas_m2)):
            out.append(Candidate("hold", setup, seal, BASE_MIN + closing + SEAL_MIN * len(seal)))
    done = {(t.setup, frozenset(t.sealed)) for t in posterior.problem.tests}
    fresh = [c for c in out if c.setup == "formed-sheet" or (c.setup, frozenset(c.seal)) not in done]
    asked = [] if wanted is None else [Candidate("hold", *wanted, BASE_MIN + CLOSE_MIN[wanted[0]])]
    return (*asked, *fresh, *_again(posterior))


def _again(posterior: Posterior) -> tuple[Candidate, ...]:
    """The last test once more: as it is, redrawn, or with the valve's other side open to the room."""
    last = posterior.problem.tests[-1]
    setup = last.setup or ""
    kinds: list[tuple[Do, str | None]] = [("repeat", last.behind_valve)]
    if last.release is not None and last.release.present:
        kinds.append(("redraw", last.behind_valve))
    if last.behind_valve != "room" and "valve-seat" in last.open_paths:
        kinds.append(("vent-behind-valve", "room"))
    return tuple(Candidate(do, setup, last.sealed, BASE_MIN + STAYS[do], valve) for do, valve in kinds)


def _seal_sets(setup: str, paths: Sequence[str]) -> list[tuple[str, ...]]:
    """Nothing, one place, two places; with the edges divided, also each side alone."""
    row = (*SETUPS[setup].open_paths, *ALWAYS_OPEN)
    if setup == "line-only":
        return [()]
    single = [p for p in SEALABLE if p in row]
    sides = [p for p in paths if "/" in p and parent(p) in row]
    pairs = [s for s in combinations(single, 2) if "sheet-edge" not in s]
    triples = [s for s in combinations(single, 3) if "sheet-edge" not in s]
    return [(), *((p,) for p in (*single, *sides)), *pairs, *triples]


def _sums(test: Candidate, areas: dict[str, FloatArray], rng: np.random.Generator) -> tuple[FloatArray, FloatArray]:
    """Sum of the paths in a candidate test and its variance, m2 and m4, for every draw."""
    row = set(open_paths(test.setup, test.seal))
    reach = {*SETUPS[test.setup].open_paths, *ALWAYS_OPEN}
    n = len(next(iter(areas.values())))
    mean, variance = np.zeros(n), np.full(n, FLOOR_M2**2)
    for path, area in areas.items():
        if parent(path) not in reach:
            continue
        term = np.abs(area) if path == "valve-seat" and test.valve == "room" else area * _factor(path, test, rng, n)
        shut = path in test.seal or parent(path) not in row
        mean += SEALED_SHARE * np.abs(term) if shut else term
        variance += (SEALED_SHARE * term) ** 2 if shut else 0.0
        variance += (CLOSURE_SCATTER * term) ** 2 if parent(path) == "closure" else 0.0
    return mean, variance


def _factor(path: str, test: Candidate, rng: np.random.Generator, n: int) -> FloatArray | float:
    if path not in ("closure", "sheet-edge"):
        return 1.0
    offset, slope, cubic = NEW_SHEET if path == "sheet-edge" else NEW_CLOSURE
    u = rng.standard_normal(n)
    return np.exp(offset + slope * u + cubic * u**3)


def gain_bits(labels: np.ndarray, n_labels: int, inside: FloatArray) -> float:
    """Information (bits) between labels and a result sorted into bins.

    ``inside`` (draws x bins) is the chance of each bin given each draw. The excess of the plug-in estimate
    in a finite number of draws is taken off to first order (as Miller 1955, with the spread of ``inside``
    within a label in place of a count's).
    """
    n, bins = inside.shape
    joint, squares = np.zeros((2, n_labels, bins))
    np.add.at(joint, labels, inside / n)
    np.add.at(squares, labels, inside**2 / n)
    rows, cols = joint.sum(axis=1, keepdims=True), joint.sum(axis=0, keepdims=True)
    with np.errstate(divide="ignore", invalid="ignore"):
        within = np.where(joint > 0.0, squares / joint - joint / rows, 0.0).sum()
        between = np.where(cols > 0.0, squares.sum(axis=0) / cols - cols, 0.0).sum()
    excess = (within - between) / (2.0 * n * math.log(2.0))
    return max(_shared_bits(joint) - float(excess), 0.0)


def _shared_bits(joint: FloatArray) -> float:
    """Information (bits) between the rows and the columns of a table of joint chances."""
    known = joint > 0.0
    apart = joint.sum(axis=1, keepdims=True) * joint.sum(axis=0, keepdims=True)
    return float(np.sum(joint[known] * np.log2(joint[known] / apart[known])))


def pair_bits(labels: np.ndarray, n_labels: int, first: FloatArray, second: FloatArray) -> float:
    """Information (bits) between labels and two results together, each sorted into bins (draws x bins)."""
    joint = np.zeros((n_labels, first.shape[1] * second.shape[1]))
    for k in range(n_labels):
        mine = labels == k
        joint[k] = (first[mine].T @ second[mine]).ravel() / len(labels)
    return _shared_bits(joint)


def bin_chances(mean: FloatArray, sd: FloatArray, shares: FloatArray, bins: int = BINS) -> FloatArray:
    """Chance (draws x bins) that a result falls in each of about equally likely bins.

    ``mean`` per draw, ``sd`` (scatters x draws) and ``shares`` (scatters) of the normal parts.
    """
    around = np.concatenate([mean - sd[0], mean + sd[0]])
    edges = np.quantile(around, np.linspace(0.0, 1.0, bins + 1)[1:-1])
    below = sum(w * ndtr((edges - mean[:, None]) / s[:, None]) for w, s in zip(shares, sd, strict=True))
    return np.diff(np.column_stack([np.zeros(len(mean)), below, np.ones(len(mean))]), axis=1)


def _again_sums(test: Candidate, posterior: Posterior) -> tuple[FloatArray, FloatArray]:
    """As ``_sums`` for the last test once more, with the same tape, film or sheet."""
    problem = posterior.problem
    weight = problem.weight[-1].copy()
    if test.do == "vent-behind-valve":
        seat = [j for j, c in enumerate(problem.columns) if problem.leaves[c.leaf].path == "valve-seat"]
        weight[seat] = np.abs(weight[seat])
    columns = columns_m2(problem, posterior.walkers)
    return columns @ weight, columns**2 @ problem.variance[-1] + FLOOR_M2**2


def weigh(test: Candidate, posterior: Posterior, areas: dict[str, FloatArray], labels: np.ndarray, n_labels: int,
          rng: np.random.Generator) -> Worth:
    """What a candidate test is worth."""
    mean, variance = _sums(test, areas, rng) if test.do == "hold" else _again_sums(test, posterior)
    slope2 = 1.0 / (mean**2 + 4.0 * FLOOR_M2**2)
    sd = np.sqrt(variance * slope2 + FIT_SPREAD**2 + (SCATTER[:, None] * mean) ** 2 * slope2)
    inside = bin_chances(stretch(mean), sd, SCATTER_SHARE)
    return Worth(test, gain_bits(labels, n_labels, inside), float(np.median(mean)), inside)


@dataclass(frozen=True, eq=False)
class Search:
    """All candidates weighed, the one to make first, and today's chances over all paths."""

    paths: tuple[str, ...]
    chance: FloatArray
    worth: tuple[Worth, ...]


def search(
    posterior: Posterior, box: Box | None, drilled: bool, rng: np.random.Generator, wanted: Setting | None = None
) -> Search:
    """Weigh every feasible test, and the one that is ``wanted`` for a reason of its own.

    Places never open count as suspects only where they join the shop: what lies under the sheet has vacuum on
    both sides in forming, so that a search for it would change no repair.
    """
    areas = full_areas(posterior, box, drilled, rng)
    paths = tuple(p for p in areas if p in posterior.inward or "shop" in PATHS[parent(p)].joins)
    labels = largest(areas, paths)
    worth = [weigh(c, posterior, areas, labels, len(paths), rng) for c in candidates(posterior, areas, drilled, wanted)]
    worth.sort(key=lambda w: -w.bits / w.test.minutes)
    ahead = {id(w): _two_ahead(w, worth[:SECONDS], labels, len(paths)) for w in worth[:FIRSTS]}
    order = (*sorted(worth[:FIRSTS], key=lambda w: -ahead[id(w)]), *worth[FIRSTS:])
    return Search(paths, chances(labels, len(paths)), order)


def _two_ahead(first: Worth, seconds: Sequence[Worth], labels: np.ndarray, n_labels: int) -> float:
    """Bits a minute of a test together with the best second one."""
    return max(
        (pair_bits(labels, n_labels, first.inside, w.inside) / (first.test.minutes + w.test.minutes)
         for w in seconds if w is not first),
        default=first.bits / first.test.minutes,
    )


def predicted_m2(test: Candidate, posterior: Posterior, box: Box | None, rng: np.random.Generator) -> FloatArray:
    """Draws of what a test would show, m2, without its scatter."""
    return _sums(test, full_areas(posterior, box, test.setup != "undrilled", rng), rng)[0]
