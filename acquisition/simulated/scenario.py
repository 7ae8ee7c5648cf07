"""What a make-believe test is made of: frozen parameters, SI, absolute pressures.

Ranges for the numbers: the design's section on physics; where no source is named a default is common
practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

from acquisition.records import BehindValve, GaugeAt, Wood
from acquisition.units import GaugeUnit

ABSOLUTE_KPA = GaugeUnit("absolute", "kPa")

LawKind = Literal["hole", "sharp", "seep", "slip", "mix", "crack"]
StageKind = Literal["baseline", "pump-down", "soak", "hold", "let-up"]


@dataclass(frozen=True)
class Law:
    """How a leak's flow depends on box over room pressure, r; every law passes its area's flow at r 0.2.

    ``hole`` St Venant-Wantzel nozzle; ``sharp`` the same with a coefficient that drifts with r;
    ``seep`` ``1 - r**2``; ``slip`` ISO 6358 form with m = 1 and ``value`` = b < 0; ``mix`` a hole and a seep,
    ``value`` the hole's share at r 0.2; ``crack`` laminar and inertial loss in series, ``value`` the inertial
    share of the loss at r 0.2.
    """

    kind: LawKind
    value: float = 0.0


HOLE = Law("hole")
SHARP = Law("sharp")
SEEP = Law("seep")


@dataclass(frozen=True)
class LetGo:
    """A seal that gives way: its area goes to ``to_m2`` (e-fold ``within_s``) from a time or a pressure on.

    ``at_s`` is a time of the log in s; ``at_pa`` an absolute box pressure in Pa at or under which it goes.
    """

    to_m2: float
    at_s: float | None = None
    at_pa: float | None = None
    within_s: float = 3.0


@dataclass(frozen=True)
class Leak:
    """One opening: its leak path, its effective area at r 0.2 in m2, its law."""

    path: str
    area_m2: float
    law: Law = HOLE
    let_go: LetGo | None = None


@dataclass(frozen=True)
class Shell:
    """The chamber: volume at room pressure, m3, inside area of wood, m2, and how it bows and warms gas.

    ``bow`` is the share of the volume lost from room pressure to full vacuum; read as a stiff box it
    raises the area by ``bow * (1 - 2 r)``. ``heat_w_m2k`` is the gas's heat transfer to the inside.
    """

    volume_m3: float = 0.032
    wood: Wood = "coated"
    area_m2: float = 1.0
    bow: float = 0.005
    heat_w_m2k: float = 2.8


@dataclass(frozen=True)
class StoredAir:
    """Air in the plies: a fast node at the surface and a slow one behind it, in series.

    ``volume_m3_m2`` pore volume of each per m2 of wood; ``tau_s`` the time in which each would give away
    half its air from room pressure into a vacuum; ``start_pa`` pressure in the pores at the start, None
    for room pressure.
    """

    volume_m3_m2: tuple[float, float] = (0.35e-3, 0.9e-3)
    tau_s: tuple[float, float] = (40.0, 200.0)
    start_pa: float | None = None


@dataclass(frozen=True)
class Moisture:
    """Water vapour of the wood: ceiling ``activity`` times saturation, approached with ``tau_s``."""

    activity: float = 0.5
    tau_s: float = 30.0


@dataclass(frozen=True)
class Room:
    """The shop's air: absolute pressure Pa, temperature C, relative humidity 0..1, drifts per second."""

    pa: float = 101_325.0
    celsius: float = 20.0
    humidity: float = 0.45
    pa_per_s: float = 0.0
    k_per_s: float = 0.0


@dataclass(frozen=True)
class WoodHeat:
    """Temperature of the inside, C: from ``start_c`` to ``end_c`` (None: the room's) with ``tau_s``, plus a drift."""

    start_c: float | None = None
    end_c: float | None = None
    tau_s: float = 600.0
    k_per_s: float = 0.0


@dataclass(frozen=True)
class PumpModel:
    """Pump at the box: net speed ``speed_m3_s * (1 - ultimate_pa / p)``, or points (Pa, m3/s) of net speed."""

    speed_m3_s: float = 1.4e-3
    ultimate_pa: float = 8_000.0
    points: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True)
class TankModel:
    """Reserve tank: volume m3, pressure at the start Pa, effective area of the line to the box m2."""

    volume_m3: float = 0.1
    start_pa: float = 12_000.0
    line_area_m2: float = 150e-6


@dataclass(frozen=True)
class Valve:
    """The valve: area of its weeping seat m2, what is behind it when shut, jump on shutting Pa."""

    area_m2: float = 0.0
    behind: BehindValve = "pump"
    jump_pa: float = 0.0


@dataclass(frozen=True)
class Stage:
    """One phase of the schedule; a pump-down may end sooner, when the box reaches ``until_pa``.

    ``tank`` draws from the tank through its line instead of by the pump.
    """

    kind: StageKind
    seconds: float
    until_pa: float | None = None
    tank: bool = False


@dataclass(frozen=True)
class Step:
    """Something happens to the reading at a time: it moves by ``by`` (gauge's unit)."""

    at_s: float
    by: float


@dataclass(frozen=True)
class GaugeModel:
    """The gauge and whoever writes its readings down; figures in the gauge's own unit unless named otherwise.

    ``noise`` and ``wander`` are standard deviations (white; first-order autoregressive with
    ``wander_tau_s``), ``gain`` multiplies and ``zero`` adds. ``jitter_s`` scatters the sample times.
    ``spike_share`` and ``drop_share`` are chances per sample; ``garbled_share`` lines that cannot be read.
    ``stuck_after_s`` freezes the reading, ``unit_after`` (time, unit) changes the unit shown,
    ``clock_back`` (time, seconds) turns the clock back. ``by_hand`` leaves ``raw`` out.
    """

    unit: GaugeUnit = ABSOLUTE_KPA
    resolution: float = 0.1
    noise: float = 0.0
    wander: float = 0.0
    wander_tau_s: float = 20.0
    lag_s: float = 0.2
    gain: float = 1.0
    zero: float = 0.0
    interval_s: float = 1.0
    jitter_s: float = 0.0
    at: GaugeAt = "box"
    hose_drop: float = 0.03
    rail: tuple[float, float] | None = None
    spike_share: float = 0.0
    spike_size: float = 5.0
    drop_share: float = 0.0
    garbled_share: float = 0.0
    stuck_after_s: float | None = None
    steps: tuple[Step, ...] = ()
    unit_after: tuple[float, str] | None = None
    clock_back: tuple[float, float] | None = None
    by_hand: bool = False


@dataclass(frozen=True)
class Stated:
    """What the person writes at the head of the log, true or not; SI as elsewhere, None leaves it out.

    ``more`` sets any further field of ``LogHeader`` by its name.
    """

    volume_m3: float | None = None
    volume_u_m3: float | None = None
    barometer_pa: float | None = None
    barometer_u_pa: float = 100.0
    room_c: float | None = None
    accuracy: float | None = None
    resolution: bool = True
    gauge_at: bool = True
    behind_valve: bool = True
    wood: bool = True
    more: Mapping[str, object] = field(default_factory=dict)


@dataclass(frozen=True)
class Scenario:
    """One make-believe test from the first reading to the last."""

    stages: tuple[Stage, ...]
    leaks: tuple[Leak, ...] = ()
    shell: Shell = Shell()
    stored: StoredAir = StoredAir()
    moisture: Moisture = Moisture()
    room: Room = Room()
    wood_heat: WoodHeat = WoodHeat()
    pump: PumpModel = PumpModel()
    tank: TankModel | None = None
    valve: Valve = Valve()
    let_up_area_m2: float = 60e-6
    gauge: GaugeModel = GaugeModel()
    stated: Stated = Stated()
    box: str = "B-00"
    setup: str = "vents-taped"
    sealed: tuple[str, ...] = ()
    started: datetime | None = None
    seed: int = 0

    @property
    def seconds(self) -> float:
        """Longest time the schedule can take, s."""
        return sum(stage.seconds for stage in self.stages)


COATED_SHARE = 0.05
"""Stored air of coated wood, as a share of bare wood's: near nothing (common practice, no source)."""
