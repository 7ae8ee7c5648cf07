"""Draws make-believe tests from the ranges a real shop would show.

Ranges: design, section on physics; pumps, gauges and habits are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from acquisition.records import Wood
from acquisition.simulated.laws import CHOKED, GAS_J_KGK
from acquisition.simulated.scenario import (
    HOLE,
    SEEP,
    SHARP,
    GaugeModel,
    Law,
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
    WoodHeat,
)
from acquisition.units import GaugeUnit, kelvin

WOODS: tuple[Wood, ...] = ("bare", "coated", "none")


@dataclass(frozen=True)
class GaugeChoice:
    """A kind of gauge: unit, resolution, errors (its unit) and how often it is read, s."""

    unit: GaugeUnit
    resolution: float
    accuracy: float
    noise: float
    interval_s: tuple[float, float]
    lag_s: float
    by_hand: bool = False


GAUGES: dict[str, GaugeChoice] = {
    "fine": GaugeChoice(GaugeUnit("absolute", "kPa"), 0.01, 0.1, 0.01, (0.1, 1.0), 0.1),
    "digital": GaugeChoice(GaugeUnit("absolute", "kPa"), 0.1, 0.25, 0.03, (0.1, 2.0), 0.3),
    "millibar": GaugeChoice(GaugeUnit("gauge", "mbar"), 1.0, 2.0, 0.4, (0.2, 2.0), 0.3),
    "coarse": GaugeChoice(GaugeUnit("vacuum", "kPa"), 1.0, 0.5, 0.1, (0.5, 5.0), 0.5),
    "inch": GaugeChoice(GaugeUnit("vacuum", "inHg"), 0.1, 0.1, 0.02, (0.5, 5.0), 0.4),
    "dial": GaugeChoice(GaugeUnit("vacuum", "inHg"), 0.5, 0.3, 0.1, (10.0, 20.0), 1.0, by_hand=True),
}


def random_scenario(
    rng: np.random.Generator,
    area_mm2: float | None = None,
    wood: Wood | None = None,
    law: Law | None = None,
    gauge: str | None = None,
    redraw: bool | None = None,
    soak_s: float | None = None,
    hold_s: float | None = None,
    weak: bool = False,
) -> Scenario:
    """One test at random; whatever is not given is drawn.

    Parameters
    ----------
    rng
        Fixes everything, the noise of the log included.
    area_mm2
        Effective leak area at r 0.2, mm2; 0 is a tight box; else log-uniform from 0.005 to 10.
    law, gauge
        A leak law; a name of ``GAUGES``.
    soak_s, hold_s
        Seconds of soak and of each hold.
    weak
        Whether a hold at 70 to 80 % of room pressure comes before the deep one; it tells hole from seep.

    Notes
    -----
    A leak that would hold the pump above half of room pressure gives a stall test (no hold) half of
    the time, and a tank behind the pump in a third of the cases.
    """
    area_m2 = 1e-6 * (np.exp(rng.uniform(np.log(0.005), np.log(10.0))) if area_mm2 is None else area_mm2)
    shell = random_shell(rng, wood)
    room = random_room(rng)
    pump = random_pump(rng, shell.volume_m3)
    model = random_gauge(rng, gauge)
    stall = stall_pa(area_m2, pump, room)
    tank = random_tank(rng, shell.volume_m3) if stall > 0.4 * room.pa and rng.random() < 0.33 else None
    stages = _schedule(rng, shell, pump, room, stall, tank, redraw, soak_s, hold_s)
    return Scenario(
        stages=_with_weak_hold(rng, stages, room, hold_s) if weak else stages,
        leaks=(Leak("panel-edges", float(area_m2), law or random_law(rng)),) if area_m2 > 0.0 else (),
        shell=shell,
        stored=_stored(rng),
        moisture=Moisture(rng.uniform(0.45, 0.65), float(np.exp(rng.uniform(np.log(5.0), np.log(120.0))))),
        room=room,
        wood_heat=WoodHeat(k_per_s=rng.normal(0.0, 0.3) / 600.0),
        pump=pump,
        tank=tank,
        gauge=model,
        stated=_stated(rng, shell, room, model),
        setup="undrilled",
        seed=int(rng.integers(2**31)),
    )


def random_law(rng: np.random.Generator) -> Law:
    """Hole, sharp hole, seep, slip, mix or crack, a quarter each of holes and seeps, the rest shared."""
    kind = rng.choice(["hole", "sharp", "seep", "slip", "mix", "crack"], p=[0.2, 0.15, 0.25, 0.05, 0.2, 0.15])
    drawn = {
        "slip": Law("slip", rng.uniform(-0.6, -0.05)),
        "mix": Law("mix", rng.uniform(0.2, 0.8)),
        "crack": Law("crack", rng.uniform(0.1, 0.7)),
    }
    return {"hole": HOLE, "sharp": SHARP, "seep": SEEP, **drawn}[str(kind)]


def random_shell(rng: np.random.Generator, wood: Wood | None = None) -> Shell:
    """A chamber of 10 to 120 L, well baffled; a rigid vessel when without wood."""
    volume = float(np.exp(rng.uniform(np.log(0.010), np.log(0.120))))
    kind: Wood = wood or WOODS[int(rng.choice(3, p=[0.45, 0.4, 0.15]))]
    bow = 0.0 if kind == "none" else float(np.exp(rng.uniform(np.log(0.0017), np.log(0.012))))
    return Shell(volume, kind, (volume / 0.032) ** (2.0 / 3.0) * rng.uniform(0.85, 1.2), bow, rng.uniform(1.5, 4.0))


def random_room(rng: np.random.Generator) -> Room:
    """Low country to 800 m, 12 to 28 C, slow drifts of the barometer and of the air."""
    pa = rng.uniform(92_000.0, 102_800.0)
    return Room(pa, rng.uniform(12.0, 28.0), rng.uniform(0.3, 0.65), rng.normal(0.0, 0.008), rng.normal(0.0, 3e-4))


def random_pump(rng: np.random.Generator, volume_m3: float) -> PumpModel:
    """A pump that draws the box down with a time constant of 8 to 35 s, ultimate 2 to 12 kPa."""
    return PumpModel(volume_m3 / rng.uniform(8.0, 35.0), rng.uniform(2_000.0, 12_000.0))


def random_tank(rng: np.random.Generator, volume_m3: float) -> TankModel:
    """A tank of three to six boxes, its line opening the box in a second or two."""
    line = volume_m3 / 0.2 / rng.uniform(0.5, 1.2) * 1e-3
    return TankModel(volume_m3 * rng.uniform(3.0, 6.0), rng.uniform(8_000.0, 15_000.0), line)


def random_gauge(rng: np.random.Generator, name: str | None = None) -> GaugeModel:
    """One of ``GAUGES`` with errors of its own."""
    choice = GAUGES[name or str(rng.choice(list(GAUGES)))]
    low, high = choice.interval_s
    span = 101.325e3 / choice.unit.pa_per_unit
    return GaugeModel(
        unit=choice.unit,
        resolution=choice.resolution,
        noise=choice.noise * rng.uniform(0.5, 1.5),
        wander=choice.noise * rng.uniform(0.0, 0.5),
        lag_s=choice.lag_s,
        gain=1.0 + 0.5 * choice.accuracy / span * rng.standard_normal(),
        zero=choice.accuracy * rng.standard_normal(),
        interval_s=round(float(np.exp(rng.uniform(np.log(low), np.log(high)))), 1),
        jitter_s=0.02 * low,
        drop_share=0.002 if rng.random() < 0.3 else 0.0,
        by_hand=choice.by_hand,
    )


def stall_pa(area_m2: float, pump: PumpModel, room: Room) -> float:
    """Where pump and leak balance, Pa, were the leak choked throughout; at most room pressure."""
    inflow = area_m2 * CHOKED * room.pa * np.sqrt(GAS_J_KGK * kelvin(room.celsius))
    return float(min(pump.ultimate_pa + inflow / pump.speed_m3_s, room.pa))


def _stored(rng: np.random.Generator) -> StoredAir:
    whole = rng.uniform(0.9e-3, 1.6e-3)
    fast = rng.uniform(0.15, 0.4)
    return StoredAir((whole * fast, whole * (1.0 - fast)), (rng.uniform(30.0, 90.0), rng.uniform(100.0, 500.0)))


def _schedule(
    rng: np.random.Generator,
    shell: Shell,
    pump: PumpModel,
    room: Room,
    stall: float,
    tank: TankModel | None,
    redraw: bool | None,
    soak_s: float | None,
    hold_s: float | None,
) -> tuple[Stage, ...]:
    baseline = (Stage("baseline", float(rng.integers(5, 25))),) if rng.random() < 0.6 else ()
    tau = shell.volume_m3 / pump.speed_m3_s
    stalls = stall > 0.5 * room.pa and tank is None
    if stalls and rng.random() < 0.5:
        return (*baseline, Stage("pump-down", round(5.0 * tau + 60.0, 1)), Stage("let-up", 10.0))
    until = None if stalls else max(rng.uniform(0.12, 0.3) * room.pa, 1.08 * stall)
    down = Stage("pump-down", round(5.0 * tau, 1), until)
    again = Stage("pump-down", round(rng.uniform(0.5, 2.0) * tau, 1))
    if tank is not None:
        down = again = Stage("pump-down", round(rng.uniform(2.0, 5.0), 1), tank=True)
    soak = (0.0 if rng.random() < 0.4 else float(rng.integers(10, 300))) if soak_s is None else soak_s
    hold = Stage("hold", _hold_s(rng, shell, stall, pump) if hold_s is None else hold_s)
    body: tuple[Stage, ...] = (down, *((Stage("soak", soak, tank=tank is not None),) if soak > 0.0 else ()), hold)
    if redraw if redraw is not None else rng.random() < 0.35:
        body = (*body, again, hold)
    return (*baseline, *body, *((Stage("let-up", 15.0),) if rng.random() < 0.7 else ()))


def _with_weak_hold(
    rng: np.random.Generator, stages: tuple[Stage, ...], room: Room, hold_s: float | None
) -> tuple[Stage, ...]:
    first = 1 if stages[0].kind == "baseline" else 0
    down = Stage("pump-down", 60.0, rng.uniform(0.7, 0.8) * room.pa)
    hold = Stage("hold", float(rng.integers(60, 200)) if hold_s is None else hold_s)
    return (*stages[:first], down, hold, *stages[first:])


def _hold_s(rng: np.random.Generator, shell: Shell, stall: float, pump: PumpModel) -> float:
    """60 to 900 s, but mostly nobody goes on watching a box that has filled."""
    hold = np.exp(rng.uniform(np.log(60.0), np.log(900.0)))
    slope = max((stall - pump.ultimate_pa) * pump.speed_m3_s / shell.volume_m3, 1e-3)
    filled = 1.5 * 101_325.0 / slope
    return float(round(min(hold, max(filled, 60.0)) if rng.random() < 0.7 else hold))


def _stated(rng: np.random.Generator, shell: Shell, room: Room, model: GaugeModel) -> Stated:
    u = rng.uniform(0.02, 0.05)
    u_barometer = float(rng.choice([50.0, 100.0, 300.0]))
    accuracy = next(g.accuracy for g in GAUGES.values() if (g.unit, g.resolution) == (model.unit, model.resolution))
    stated = shell.volume_m3 * float(np.exp(u * rng.standard_normal()))
    return Stated(
        volume_m3=stated,
        volume_u_m3=u * stated,
        barometer_pa=room.pa + u_barometer * rng.standard_normal(),
        barometer_u_pa=u_barometer,
        room_c=round(room.celsius + 0.7 * rng.standard_normal(), 1),
        accuracy=accuracy if rng.random() < 0.7 else None,
    )
