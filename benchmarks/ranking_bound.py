"""The best any ranking could do on the made-up boxes: a posterior that knows how they were made.

It takes the same tests and the generator's own statistics: areas, seals, sheets, scatter, laws. Who beats it was
lucky; a miss that it shares lies in the tests, not in the ranking. It does not know that a person with a suspect
chose the tests. Solved by the same sampler, with densities written for the generator alone.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from itertools import permutations

import numpy as np
from scipy.special import logsumexp, ndtr

from acquisition.setups import ALWAYS_OPEN, SETUPS
from analysis.ranking.sampler import Target, sample
from analysis.results import LAWS, Assessment, FloatArray
from benchmarks.ranking_boxes import BAD_AT, BAD_ODDS, BAD_RANGE, GUESS, HOLE_CHANCE, MM2, SOUND_SPREAD, sound_median

WALKERS = 1500


@cache
def bad_sets(kind: str) -> dict[frozenset[str], float]:
    """Chance of each set of bad places; none is bad in boxes that follow the guess."""
    if kind == "guess":
        return {frozenset(): 1.0}
    sizes = (1,) if kind == "one" else (2, 3)
    odds = dict(zip(BAD_AT, np.array(BAD_ODDS) / sum(BAD_ODDS), strict=True))
    out: dict[frozenset[str], float] = {}
    for size in sizes:
        for order in permutations(BAD_AT, size):
            chance, left = 1.0 / len(sizes), 1.0
            for p in order:
                chance, left = chance * odds[p] / left, left - odds[p]
            out[frozenset(order)] = out.get(frozenset(order), 0.0) + chance
    return out


def _listed_sets(kind: str, paths: Sequence[str]) -> tuple[FloatArray, FloatArray]:
    """Sets of bad places among ``paths`` (sets x paths) and their chances."""
    merged: dict[frozenset[str], float] = {}
    for places, chance in bad_sets(kind).items():
        here = places & set(paths)
        merged[here] = merged.get(here, 0.0) + chance
    return np.array([[float(p in s) for p in paths] for s in merged]), np.array(list(merged.values()))


@dataclass(frozen=True, eq=False)
class Ideal:
    """The generator's own model of one box's tests; a walker is log areas (mm2), then standard normals."""

    kind: str
    paths: tuple[str, ...]
    tests: tuple[Assessment, ...]

    @property
    def n_latent(self) -> int:
        """Seat, seal leak, sheet spread, volume; a hole and a share a path; sheet, tape, tape's floor, line a test."""
        return 4 + 2 * len(self.paths) + 4 * len(self.tests)

    def _normals(self) -> tuple[FloatArray, FloatArray]:
        pairs = [GUESS[p] if self.kind == "guess" else (sound_median(p), SOUND_SPREAD) for p in self.paths]
        return np.log([m for m, _ in pairs]), np.array([s for _, s in pairs])

    def draw(self, rng: np.random.Generator, n: int) -> FloatArray:
        """Walkers from the generator's statistics."""
        sets, chance = _listed_sets(self.kind, self.paths)
        bad = sets[rng.choice(len(sets), size=n, p=chance / chance.sum())]
        centre, spread = self._normals()
        z = centre + spread * rng.standard_normal((n, len(self.paths)))
        z = np.where(bad > 0.0, rng.uniform(math.log(BAD_RANGE[0]), math.log(BAD_RANGE[1]), z.shape), z)
        return np.column_stack([z, rng.standard_normal((n, self.n_latent))])

    def log_prior(self, walkers: FloatArray) -> FloatArray:
        """Log density of the walkers as the generator draws them."""
        k = len(self.paths)
        z = walkers[:, :k]
        centre, spread = self._normals()
        sound = -0.5 * ((z - centre) / spread) ** 2 - np.log(spread * math.sqrt(2.0 * math.pi))
        low, high = np.log(BAD_RANGE)
        bad = np.where((z > low) & (z < high), -math.log(high - low), -1e3)
        sets, chance = _listed_sets(self.kind, self.paths)
        out: FloatArray = logsumexp(sound @ (1.0 - sets).T + bad @ sets.T + np.log(chance), axis=1)
        out -= 0.5 * (walkers[:, k:] ** 2).sum(axis=1)
        return out

    def log_like(self, walkers: FloatArray) -> FloatArray:
        """Log likelihood of all tests."""
        k, n = len(self.paths), len(self.tests)
        areas, latents = np.exp(walkers[:, :k]), walkers[:, k:]
        holes = 0.8 * (ndtr(latents[:, 4:4 + k]) < [HOLE_CHANCE[p] for p in self.paths])
        holes = holes + 0.2 * ndtr(latents[:, 4 + k:4 + 2 * k])
        own = latents[:, 4 + 2 * k:].reshape(len(walkers), n, 4)
        out = np.zeros(len(walkers))
        for i, test in enumerate(self.tests):
            parts = self._parts(test, i, areas, latents, own[:, i])
            out += _law_log(test, (parts * holes).sum(axis=1) / parts.sum(axis=1))
            out += _area_log(test, parts.sum(axis=1), latents, own[:, i])
        return out

    def _parts(self, test: Assessment, i: int, areas: FloatArray, latents: FloatArray, own: FloatArray) -> FloatArray:
        """What each path lets in in one test, mm2."""
        reach = {*SETUPS[test.setup or ""].open_paths, *ALWAYS_OPEN}
        again = any((t.setup, t.sealed) == (test.setup, test.sealed) for t in self.tests[:i])
        parts = areas * [float(p in reach) for p in self.paths]
        for j, p in enumerate(self.paths):
            if p == "closure" and p in reach and not again:
                sd = 0.15 if test.setup == "vents-taped" else 0.25
                parts[:, j] = parts[:, j] * np.exp(sd * own[:, 1]) + 0.006 * ndtr(own[:, 2])
            if p == "sheet-edge":
                parts[:, j] *= np.exp((0.4 + 0.6 * ndtr(latents[:, 2])) * own[:, 0])
            if p in test.sealed:
                parts[:, j] *= 0.06 * ndtr(latents[:, 1])
        return parts


def _area_log(test: Assessment, total: FloatArray, latents: FloatArray, own: FloatArray) -> FloatArray:
    """Log density of the measured area, its scatter 0.04 or 0.1 with equal chance."""
    assert test.area_m2 is not None
    assert test.area_fit_m2 is not None
    seat = 0.002 * np.exp(latents[:, 0]) * (1.0 if test.behind_valve == "room" else -0.3)
    total = total + (0.0 if "valve-seat" in test.sealed else seat)
    value = test.area_m2.value / MM2
    sd = (test.area_fit_m2.high - test.area_fit_m2.value) / MM2 / 1.96
    fit = math.sqrt(max(sd**2 - 0.003**2, 0.0)) / value
    line = test.setup == "line-only"
    scale = np.exp(0.05 * own[:, 3] if line else test.u_log_volume * latents[:, 3])
    logs = []
    for scatter in (0.04, 0.1):
        variance = total**2 * (scatter**2 + min(fit, 0.08) ** 2) + 0.002**2 + 0.003**2
        logs.append(-0.5 * (value / scale - total) ** 2 / variance - 0.5 * np.log(variance))
    out: FloatArray = np.logaddexp(*logs)
    return out


def _law_log(test: Assessment, hole: FloatArray) -> FloatArray:
    """A law was shown six times in ten, and then the true one 92 times in 100, else any."""
    if test.law is None or max(test.law.probability.values()) != 0.96:
        return np.zeros(len(hole))
    shown = max(LAWS, key=lambda k: test.law.probability[k] if test.law else 0.0)
    true = np.where(hole > 0.85, LAWS.index("hole"), np.where(hole < 0.15, LAWS.index("seep"), LAWS.index("between")))
    out: FloatArray = np.log(0.92 * (true == LAWS.index(shown)) + 0.08 / 3.0)
    return out


def ideal_chances(kind: str, tests: Sequence[Assessment], paths: Sequence[str], seed: int = 7) -> dict[str, float]:
    """Chance of each of ``paths`` to be the largest, for one who knows how boxes of ``kind`` are made."""
    model = Ideal(kind, tuple(paths), tuple(tests))
    rng = np.random.default_rng(seed)
    target = Target(model.log_prior, model.log_like, len(paths))
    drawn = sample(target, model.draw(rng, WALKERS), rng)
    labels = np.argmax(drawn[:, : len(paths)], axis=1)
    share = np.bincount(labels, minlength=len(paths)) / len(labels)
    return dict(zip(paths, share.tolist(), strict=True))
