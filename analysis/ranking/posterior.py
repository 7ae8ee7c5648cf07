"""The posterior of one box's tests, and what is read off it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from acquisition.records import Box, Event
from acquisition.setups import parent
from analysis.ranking.likelihood import TINY, log_likelihood, log_prior, predict, prior_draw, scatter_densities
from analysis.ranking.model import HAND, Problem, build, stretch, undivided
from analysis.ranking.sampler import Target, sample
from analysis.results import Assessment, FloatArray, Interval

SEED = 20260503
WALKERS = 2000


@dataclass(frozen=True, eq=False)
class Posterior:
    """Equally likely sets of areas: ``areas_m2`` by path (today's), ``walkers`` with all latents."""

    problem: Problem
    walkers: FloatArray
    listed: tuple[str, ...]
    areas_m2: dict[str, FloatArray]

    @property
    def hand(self) -> FloatArray:
        """The maker's workmanship in each draw, standard normal before any test."""
        return self.walkers[:, len(self.problem.leaves) + HAND]

    @property
    def inward(self) -> tuple[str, ...]:
        """Listed paths that can be the largest."""
        return tuple(p for p in self.listed if p != "valve-seat")


def solve(
    tests: Sequence[Assessment], box: Box | None, events: Sequence[Event], rng: np.random.Generator,
    walkers: int = WALKERS, final_moves: int = 25,
) -> Posterior:
    """Posterior of the areas behind usable tests (an area and a known setup each)."""
    problem = build(tests, box, events)
    target = Target(lambda w: log_prior(problem, w), lambda w: log_likelihood(problem, w), len(problem.leaves))
    drawn = sample(target, prior_draw(problem, rng, walkers), rng, final_moves=final_moves)
    areas = {path: np.exp(drawn[:, k]) for path, k in problem.current.items()}
    listed = _listed(tests, problem)
    if "valve-seat" in areas:
        areas["valve-seat"] = areas["valve-seat"] * _valve_sign(problem, drawn)
    return Posterior(problem, drawn, listed, areas)


def _listed(tests: Sequence[Assessment], problem: Problem) -> tuple[str, ...]:
    """Undivided paths that were open in a test."""
    parts: dict[str, tuple[str, ...]] = {}
    for path in problem.current:
        if "/" in path:
            parts[parent(path)] = (*parts.get(parent(path), ()), path)
    return undivided((p for t in tests for p in t.open_paths), parts)


def _valve_sign(problem: Problem, walkers: FloatArray) -> FloatArray | float:
    """Which way the seat leaks in the last test in which it counts."""
    for i in reversed(range(len(problem.tests))):
        for j, c in enumerate(problem.columns):
            if problem.leaves[c.leaf].path == "valve-seat" and problem.weight[i, j] != 0.0:
                if c.signed and c.latent is not None:
                    return np.where(walkers[:, len(problem.leaves) + c.latent] < 0.0, -1.0, 1.0)
                return float(np.sign(problem.weight[i, j]))
    return 1.0


def interval_m2(draws: FloatArray) -> Interval:
    """Median and 95 % interval of draws of an area, m2."""
    low, value, high = np.quantile(draws, [0.025, 0.5, 0.975])
    return Interval(float(value), float(low), float(high))


def largest(areas_m2: dict[str, FloatArray], paths: Sequence[str]) -> np.ndarray:
    """Number (in ``paths``) of the largest path in each draw."""
    out: np.ndarray = np.argmax(np.column_stack([areas_m2[p] for p in paths]), axis=1)
    return out


def chances(labels: np.ndarray, n: int) -> FloatArray:
    """Share of each label 0..n-1."""
    out: FloatArray = np.bincount(labels, minlength=n) / len(labels)
    return out


def odd_chances(posterior: Posterior) -> FloatArray:
    """Chance of each test to fit nothing (its scatter is the widest one)."""
    p = posterior.problem
    seen = predict(p, posterior.walkers)
    parts = scatter_densities(seen.mean_m2, seen.variance_m4, stretch(p.measured_m2), p.down, p.up, p.limited)
    out: FloatArray = (parts[-1] / (parts.sum(axis=0) + TINY)).mean(axis=0)
    return out
