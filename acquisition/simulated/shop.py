"""An invented shop: its boxes, what is wrong with them, and the tests that were made.

``python -m acquisition.simulated.shopfiles sample_logs`` writes it. A log's seed is its start written as a
number (yymmddHHMM), so that nobody can have picked one that suits a fit.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta, timezone
from typing import Any, Literal

import numpy as np

from acquisition.records import BehindValve, Box, Event, GaugeAt
from acquisition.simulated.scenario import (
    GaugeModel,
    Law,
    LawKind,
    Leak,
    Moisture,
    PumpModel,
    Room,
    Scenario,
    Shell,
    Stage,
    Stated,
    StoredAir,
    TankModel,
    Valve,
    WoodHeat,
)
from acquisition.units import GaugeUnit

Expected = Literal["estimate", "upper-limit", "refused"]
LITRE = 1e-3
MM2 = 1e-6

# Gauges of the shop, each with the error it happens to have.
FINE = GaugeModel(GaugeUnit("absolute", "kPa"), 0.01, 0.01, 0.006, lag_s=0.2, gain=1.0006, zero=0.06)
DIGITAL = GaugeModel(GaugeUnit("absolute", "kPa"), 0.1, 0.03, 0.015, lag_s=0.3, gain=0.999, zero=-0.12)
MILLIBAR = GaugeModel(GaugeUnit("gauge", "mbar"), 1.0, 0.35, 0.15, lag_s=0.3, gain=1.001, zero=1.0)
INCH = GaugeModel(GaugeUnit("vacuum", "inHg"), 0.1, 0.02, 0.01, lag_s=0.4, gain=1.002, zero=0.03)
DIAL = GaugeModel(
    GaugeUnit("vacuum", "inHg"), 0.5, 0.08, lag_s=1.0, zero=-0.15, interval_s=20.0, jitter_s=0.6, by_hand=True
)
ACCURACY = {"kPa": {0.01: 0.1, 0.1: 0.25}, "mbar": {1.0: 2.0}, "inHg": {0.1: 0.1, 0.5: 0.3}}


@dataclass(frozen=True)
class Said:
    """What the head of a log says beside the ordinary: sealed paths, a volume of its own (L, u), more keys."""

    sealed: tuple[str, ...] = ()
    volume_L: tuple[float, float] | None = None
    barometer: bool = True
    more: Mapping[str, object] = field(default_factory=dict)


@dataclass(frozen=True)
class ShopTest:
    """One test of the shop: what it is made of, what it shows, what an honest answer may be."""

    scenario: Scenario
    shows: str
    expected: tuple[Expected, ...]

    @property
    def name(self) -> str:
        """Name of the log's file."""
        assert self.scenario.started is not None
        return f"{self.scenario.started:%Y%m%dT%H%M%S}-{self.scenario.setup}.csv"


@dataclass(frozen=True)
class ShopBox:
    """One box of the shop with its events and tests."""

    box: Box
    story: str
    tests: tuple[ShopTest, ...]
    events: tuple[Event, ...] = ()


@dataclass(frozen=True)
class Bench:
    """What a box's tests have in common; ``test`` makes one of them."""

    name: str
    shell: Shell
    pump: PumpModel
    leaks: tuple[Leak, ...]
    gauge: GaugeModel = DIGITAL
    tank: TankModel | None = None
    stored: StoredAir = field(default_factory=StoredAir)
    valve: Valve = field(default_factory=lambda: Valve(behind="room", jump_pa=30.0))

    def test(
        self,
        when: str,
        setup: str,
        stages: tuple[Stage, ...],
        shows: str,
        expected: tuple[Expected, ...] = ("estimate",),
        said: Said | None = None,
        **changes: Any,
    ) -> ShopTest:
        """A test begun at ``when`` (local time, ISO without zone); ``changes`` replace fields of the scenario."""
        started, said = local(when), said or Said()
        rng = np.random.default_rng([seed_of(started), 1])
        room, moisture = weather(started, rng)
        base = Scenario(
            stages, self.leaks, self.shell, self.stored, moisture, room, WoodHeat(k_per_s=rng.normal(0.0, 1e-4)),
            self.pump, self.tank, self.valve, 60 * MM2, self.gauge, box=self.name, setup=setup, sealed=said.sealed,
            started=started, seed=seed_of(started),
        )  # fmt: skip
        scenario = replace(base, **changes)
        return ShopTest(replace(scenario, stated=_stated(scenario, rng, said)), shows, expected)


def local(when: str) -> datetime:
    """Local time of the shop: an hour ahead of UTC, in summer (April to October) two."""
    plain = datetime.fromisoformat(when)
    return plain.replace(tzinfo=timezone(timedelta(hours=2 if 4 <= plain.month <= 10 else 1)))


def seed_of(started: datetime) -> int:
    """The seed of a log: its start as a number, yymmddHHMM."""
    return int(f"{started:%y%m%d%H%M}")


def season(started: datetime, peak_day: int) -> float:
    """Cosine of the year, 1 on day ``peak_day``."""
    return math.cos(2.0 * math.pi * (started.timetuple().tm_yday - peak_day) / 365.25)


def weather(started: datetime, rng: np.random.Generator) -> tuple[Room, Moisture]:
    """The shop's air and its wood on a day: warm and humid in summer, heated and dry in winter."""
    humidity = 0.47 + 0.12 * season(started, 215) + rng.normal(0.0, 0.02)
    room = Room(
        100_650.0 + rng.normal(0.0, 600.0), 20.0 + 3.0 * season(started, 200) + rng.normal(0.0, 0.7), humidity,
        rng.normal(0.0, 0.006), rng.normal(0.0, 1e-4),
    )  # fmt: skip
    return room, Moisture(0.48 + 0.09 * season(started, 230), float(rng.uniform(20.0, 45.0)))


def _stated(scenario: Scenario, rng: np.random.Generator, said: Said) -> Stated:
    gauge, room = scenario.gauge, scenario.room
    value, u = said.volume_L or (None, None)
    barometer = round(room.pa + 80.0 * rng.standard_normal(), -2)
    return Stated(
        volume_m3=None if value is None else value * LITRE,
        volume_u_m3=None if u is None else u * LITRE,
        barometer_pa=barometer if said.barometer else None,
        barometer_u_pa=100.0,
        room_c=round(2.0 * (room.celsius + rng.normal(0.0, 0.3))) / 2.0,
        accuracy=ACCURACY[gauge.unit.unit][gauge.resolution],
        wood=False,
        more={"room_RH": float(round(100.0 * room.humidity)), **said.more},
    )


def leak(path: str, area_mm2: float, kind: LawKind = "hole", value: float = 0.0) -> Leak:
    """A leak by its area in mm2."""
    return Leak(path, area_mm2 * MM2, Law(kind, value))


def stages(
    down: float,
    hold: float,
    soak: float = 0.0,
    redraw: float = 0.0,
    baseline: float = 15.0,
    let_up: float = 20.0,
    until_kpa: float | None = None,
    tank: bool = False,
) -> tuple[Stage, ...]:
    """A hold test; ``redraw`` is the length of a second pump-down before a second hold as long as the first.

    Times in s, 0 leaves a phase out; ``until_kpa`` ends the pump-down early.
    """
    until = None if until_kpa is None else until_kpa * 1e3
    phases = (
        Stage("baseline", baseline), Stage("pump-down", down, until, tank), Stage("soak", soak, tank=tank),
        Stage("hold", hold), Stage("pump-down", redraw, tank=tank), Stage("hold", hold if redraw else 0.0),
        Stage("let-up", let_up),
    )  # fmt: skip
    return tuple(phase for phase in phases if phase.seconds > 0.0)


def every(gauge: GaugeModel, interval_s: float) -> GaugeModel:
    """The same gauge read at another interval."""
    return replace(gauge, interval_s=interval_s, jitter_s=0.02 * interval_s)


def behind(what: BehindValve, area_mm2: float = 0.0) -> Valve:
    """A valve with something behind it and, when it weeps, the area of its seat in mm2."""
    return Valve(area_mm2 * MM2, what, 30.0)


def at(gauge: GaugeModel, where: GaugeAt) -> GaugeModel:
    """The same gauge at another place."""
    return replace(gauge, at=where)
