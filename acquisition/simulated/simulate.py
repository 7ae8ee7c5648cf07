"""From scenarios to logs and the truth behind them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from acquisition.records import Log
from acquisition.simulated.engine import LEAKED, RELEASED, Engine, P
from acquisition.simulated.gauge import log_of
from acquisition.simulated.laws import Array
from acquisition.simulated.plant import box_side_leaks
from acquisition.simulated.scenario import Law, Scenario, StageKind

CHUNK = 200


@dataclass(frozen=True)
class TruePhase:
    """One phase as it came about: times s, box pressures Pa, gas let in (J/K) by leaks and by the wood."""

    kind: StageKind
    start_s: float
    end_s: float
    start_pa: float
    end_pa: float
    leaked: float
    released: float

    @property
    def release_share(self) -> float:
        """Share of the gas gained in this phase that is not leak, 0..1."""
        total = self.leaked + self.released
        return min(max(self.released / total, 0.0), 1.0) if total > 0.0 else 0.0


@dataclass(frozen=True, eq=False)
class Truth:
    """What really happened.

    ``area_m2`` is the effective leak area at one fifth of room pressure, summed over the open box-side
    paths, before any seal let go; ``valve_area_m2`` stands apart. ``paths`` has each open path's area.
    ``law`` names the sum; ``hole_share`` is the part of it that is choked at r 0.2. ``p_pa`` and ``gas_k``
    are the true course on ``t_s``.
    """

    area_m2: float
    valve_area_m2: float
    volume_m3: float
    law: Literal["hole", "seep", "between"]
    variant: Literal["sharp"] | None
    hole_share: float
    paths: dict[str, float]
    phases: tuple[TruePhase, ...]
    t_s: Array
    p_pa: Array
    gas_k: Array

    @property
    def holds(self) -> tuple[TruePhase, ...]:
        """The holds, in order."""
        return tuple(p for p in self.phases if p.kind == "hold")

    @property
    def release_share(self) -> float:
        """Share of the last hold's gain that is not leak; 0 without a hold."""
        return self.holds[-1].release_share if self.holds else 0.0


@dataclass(frozen=True, eq=False)
class Simulated:
    """One simulated test: the log a recorder would have kept, and the truth."""

    scenario: Scenario
    log: Log
    truth: Truth


@dataclass(eq=False)
class _Course:
    """The course of one chunk: arrays of shape (times, scenarios), and marks at each change of phase."""

    p_pa: Array
    indicated_pa: Array
    gas_k: Array
    marks: list[list[tuple[int, float, float]]]


def simulate_many(scenarios: Sequence[Scenario]) -> list[Simulated]:
    """Simulate many tests at once, in the order given; the same scenarios give the same logs always.

    Parameters
    ----------
    scenarios
        Each with its own schedule; ``Scenario.seed`` fixes its noise.

    Notes
    -----
    The boxes step together, longest tests together, in chunks of ``CHUNK``.
    """
    order = sorted(range(len(scenarios)), key=lambda k: scenarios[k].seconds)
    done: dict[int, Simulated] = {}
    for first in range(0, len(order), CHUNK):
        members = order[first : first + CHUNK]
        done.update(zip(members, _chunk([scenarios[k] for k in members]), strict=True))
    return [done[k] for k in range(len(scenarios))]


def simulate(scenario: Scenario) -> Simulated:
    """Simulate one test."""
    return simulate_many([scenario])[0]


def _chunk(scenarios: Sequence[Scenario]) -> list[Simulated]:
    engine = Engine(scenarios)
    course = _run(engine, max(s.seconds for s in scenarios))
    return [_one(scenario, k, course, engine.step_s) for k, scenario in enumerate(scenarios)]


def _run(engine: Engine, seconds: float) -> _Course:
    steps, n = round(seconds / engine.step_s), engine.kind.size
    p, felt, gas = np.empty((steps + 1, n)), np.empty((steps + 1, n)), np.empty((steps + 1, n), dtype=np.float32)
    marks: list[list[tuple[int, float, float]]] = [[(0, 0.0, 0.0)] for _ in range(n)]
    for k in range(steps + 1):
        for i in np.flatnonzero(engine.change_stages()):
            marks[i].append((k, float(engine.state[LEAKED, i]), float(engine.state[RELEASED, i])))
        p[k], felt[k], gas[k] = engine.state[P], engine.indicated_pa, engine.gas_k
        if k < steps:
            engine.step()
    return _Course(p, felt, gas.astype(np.float64), marks)


def _one(scenario: Scenario, column: int, course: _Course, step_s: float) -> Simulated:
    phases = _phases(scenario, column, course, step_s)
    last = round(phases[-1].end_s / step_s)
    t_s = np.arange(last + 1, dtype=np.float64) * step_s
    p, felt = course.p_pa[: last + 1, column].copy(), course.indicated_pa[: last + 1, column]
    log = log_of(scenario, t_s, felt, np.random.default_rng([scenario.seed, 20260101]))
    return Simulated(scenario, log, truth_of(scenario, phases, t_s, p, course.gas_k[: last + 1, column].copy()))


def _phases(scenario: Scenario, column: int, course: _Course, step_s: float) -> tuple[TruePhase, ...]:
    marks = course.marks[column]
    out = []
    for stage, before, after in zip(scenario.stages, marks, marks[1:], strict=False):
        start, end = course.p_pa[before[0], column], course.p_pa[after[0], column]
        out.append(TruePhase(
            stage.kind, round(before[0] * step_s, 3), round(after[0] * step_s, 3), float(start), float(end),
            after[1] - before[1], after[2] - before[2],
        ))
    return tuple(out)


def truth_of(scenario: Scenario, phases: tuple[TruePhase, ...], t_s: Array, p_pa: Array, gas_k: Array) -> Truth:
    """The truth of one test from its scenario and its course."""
    leaks = box_side_leaks(scenario)
    area = sum(leak.area_m2 for leak in leaks)
    share = sum(leak.area_m2 * hole_share(leak.law) for leak in leaks) / area if area > 0.0 else 1.0
    sharp = sum(leak.area_m2 for leak in leaks if leak.law.kind == "sharp")
    paths: dict[str, float] = {}
    for leak in leaks:
        paths[leak.path] = paths.get(leak.path, 0.0) + leak.area_m2
    return Truth(
        area_m2=area,
        valve_area_m2=scenario.valve.area_m2,
        volume_m3=scenario.shell.volume_m3,
        law="hole" if share >= 0.95 else "seep" if share <= 0.05 else "between",
        variant="sharp" if area > 0.0 and sharp > 0.5 * area else None,
        hole_share=share,
        paths=paths,
        phases=phases,
        t_s=t_s,
        p_pa=p_pa,
        gas_k=gas_k,
    )


def hole_share(law: Law) -> float:
    """How much of a law is hole, 0..1; a crack counts by its inertial loss."""
    if law.kind in ("hole", "sharp"):
        return 1.0
    return law.value if law.kind in ("mix", "crack") else 0.0

