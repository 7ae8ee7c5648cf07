"""The parameters of many scenarios as arrays, one column a scenario."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from acquisition.setups import PATHS, open_paths, parent
from acquisition.simulated.laws import Array
from acquisition.simulated.scenario import COATED_SHARE, Law, Leak, Scenario, Stage, StageKind
from acquisition.units import kelvin

KINDS: tuple[StageKind, ...] = ("baseline", "pump-down", "soak", "hold", "let-up")
BASELINE, PUMP_DOWN, SOAK, HOLD, LET_UP = range(5)
OVER = -1
"""The schedule has ended: everything shut."""
FOREVER_S = 1e12
POINT_STEP_PA = 250.0


@dataclass(frozen=True, eq=False)
class Openings:
    """The open leaks, arrays of shape (scenarios, leaks), padded with areas of nought.

    ``hole``, ``sharp`` and ``seep`` are each law's share; ``slips`` and ``cracks`` are the areas that follow
    those laws, ``b`` and ``inertial`` their figures.
    """

    area_m2: Array
    hole: Array
    sharp: Array
    seep: Array
    slips: Array
    cracks: Array
    b: Array
    inertial: Array
    to_m2: Array
    at_s: Array
    at_pa: Array
    within_s: Array
    lets_go: bool


@dataclass(frozen=True, eq=False)
class Plant:
    """Everything that does not change while many scenarios run, arrays of one length."""

    openings: Openings
    volume_m3: Array
    bow: Array
    heat_w_k: Array
    room_pa: Array
    room_pa_per_s: Array
    room_k: Array
    room_k_per_s: Array
    vapour_share: Array
    wood_end_k: Array
    wood_off_k: Array
    wood_tau_s: Array
    wood_k_per_s: Array
    pore_volume_m3: Array
    pore_conductance: Array
    pore_start_pa: Array
    activity: Array
    moisture_tau_s: Array
    pump_speed_m3_s: Array
    pump_ultimate_pa: Array
    pump_table_m3_s: Array
    tank_volume_m3: Array
    tank_start_pa: Array
    line_area_m2: Array
    seat_area_m2: Array
    behind_room: Array
    behind_tank: Array
    jump_pa: Array
    let_up_area_m2: Array
    lag_s: Array
    hose_drop: Array
    at_tank: Array
    stage_kind: np.ndarray
    stage_s: Array
    stage_until_pa: Array
    stage_tank: Array


def box_side_leaks(scenario: Scenario) -> tuple[Leak, ...]:
    """The leaks that let air into the box in this setup, without the valve's seat."""
    override = scenario.stated.more.get("open")
    listed = override if isinstance(override, tuple) else None
    free = set(open_paths(scenario.setup, scenario.sealed, listed))
    sealed = set(scenario.sealed)
    return tuple(
        leak
        for leak in scenario.leaks
        if "pump" not in PATHS[parent(leak.path)].joins
        and leak.path not in sealed
        and (leak.path in free or parent(leak.path) in free)
    )


def _shares(law: Law) -> tuple[float, float, float, float, float]:
    hole = {"hole": 1.0, "mix": law.value}.get(law.kind, 0.0)
    seep = {"seep": 1.0, "mix": 1.0 - law.value}.get(law.kind, 0.0)
    return hole, float(law.kind == "sharp"), seep, float(law.kind == "slip"), float(law.kind == "crack")


def _leak_row(leak: Leak) -> tuple[float, ...]:
    go = leak.let_go
    figures = leak.law.value if leak.law.kind == "slip" else 0.0, leak.law.value if leak.law.kind == "crack" else 0.0
    if go is None:
        return leak.area_m2, *_shares(leak.law), *figures, leak.area_m2, FOREVER_S, -1.0, 1.0
    at_s = FOREVER_S if go.at_s is None else go.at_s
    at_pa = -1.0 if go.at_pa is None else go.at_pa
    return leak.area_m2, *_shares(leak.law), *figures, go.to_m2, at_s, at_pa, go.within_s


_NO_LEAK = _leak_row(Leak("line", 0.0))


def _openings(scenarios: Sequence[Scenario]) -> Openings:
    rows = [[_leak_row(leak) for leak in box_side_leaks(s)] for s in scenarios]
    width = max(1, *(len(row) for row in rows)) if rows else 1
    table = np.array([row + [_NO_LEAK] * (width - len(row)) for row in rows])
    area, hole, sharp, seep, slip, crack, b, inertial, to, at_s, at_pa, within = np.moveaxis(table, -1, 0)
    lets_go = bool(np.any((at_s < FOREVER_S) | (at_pa > 0.0)))
    return Openings(area, hole, sharp, seep, slip, crack, b, inertial, to, at_s, at_pa, within, lets_go)


def _pump_table(scenario: Scenario) -> Array:
    grid = np.arange(0.0, 120_000.0 + POINT_STEP_PA, POINT_STEP_PA)
    if not scenario.pump.points:
        return np.zeros(grid.size)
    points = np.array(sorted(scenario.pump.points))
    return np.asarray(np.interp(grid, points[:, 0], points[:, 1], left=0.0))


def _pores(scenario: Scenario) -> tuple[float, float]:
    share = {"bare": 1.0, "coated": COATED_SHARE, "none": 0.0}[scenario.shell.wood]
    fast, slow = (share * v * scenario.shell.area_m2 for v in scenario.stored.volume_m3_m2)
    return fast, slow


def _conductances(scenario: Scenario) -> tuple[float, float]:
    fast, slow = (
        volume / (tau * scenario.room.pa) for volume, tau in zip(_pores(scenario), scenario.stored.tau_s, strict=True)
    )
    return fast, slow


def _wood_start_k(scenario: Scenario) -> tuple[float, float]:
    heat, room = scenario.wood_heat, scenario.room.celsius
    end = room if heat.end_c is None else heat.end_c
    start = end if heat.start_c is None else heat.start_c
    return kelvin(end), start - end


def _activity(scenario: Scenario) -> float:
    return 0.0 if scenario.shell.wood == "none" else scenario.moisture.activity


def _stages(scenarios: Sequence[Scenario], pick: Callable[[Stage], float], empty: float) -> Array:
    width = max(len(s.stages) for s in scenarios) + 1
    return np.array([[pick(st) for st in s.stages] + [empty] * (width - len(s.stages)) for s in scenarios])


def build(scenarios: Sequence[Scenario]) -> Plant:
    """Arrays of many scenarios."""

    def column(pick: Callable[[Scenario], float]) -> Array:
        return np.array([pick(s) for s in scenarios], dtype=np.float64)

    wood = np.array([_wood_start_k(s) for s in scenarios])
    return Plant(
        openings=_openings(scenarios),
        volume_m3=column(lambda s: s.shell.volume_m3),
        bow=column(lambda s: s.shell.bow),
        heat_w_k=column(lambda s: s.shell.heat_w_m2k * s.shell.area_m2),
        room_pa=column(lambda s: s.room.pa),
        room_pa_per_s=column(lambda s: s.room.pa_per_s),
        room_k=column(lambda s: kelvin(s.room.celsius)),
        room_k_per_s=column(lambda s: s.room.k_per_s),
        vapour_share=column(lambda s: s.room.humidity),
        wood_end_k=wood[:, 0],
        wood_off_k=wood[:, 1],
        wood_tau_s=column(lambda s: s.wood_heat.tau_s),
        wood_k_per_s=column(lambda s: s.wood_heat.k_per_s),
        pore_volume_m3=np.maximum(np.array([_pores(s) for s in scenarios]).T, 1e-12),
        pore_conductance=np.array([_conductances(s) for s in scenarios]).T,
        pore_start_pa=column(lambda s: s.room.pa if s.stored.start_pa is None else s.stored.start_pa),
        activity=column(_activity),
        moisture_tau_s=column(lambda s: s.moisture.tau_s),
        pump_speed_m3_s=column(lambda s: 0.0 if s.pump.points else s.pump.speed_m3_s),
        pump_ultimate_pa=column(lambda s: s.pump.ultimate_pa),
        pump_table_m3_s=np.array([_pump_table(s) for s in scenarios]),
        tank_volume_m3=column(lambda s: s.tank.volume_m3 if s.tank else 1.0),
        tank_start_pa=column(lambda s: s.tank.start_pa if s.tank else s.pump.ultimate_pa),
        line_area_m2=column(lambda s: s.tank.line_area_m2 if s.tank else 0.0),
        seat_area_m2=column(lambda s: s.valve.area_m2),
        behind_room=column(lambda s: float(s.valve.behind == "room")),
        behind_tank=column(lambda s: float(s.valve.behind == "tank")),
        jump_pa=column(lambda s: s.valve.jump_pa),
        let_up_area_m2=column(lambda s: s.let_up_area_m2),
        lag_s=column(lambda s: s.gauge.lag_s),
        hose_drop=column(lambda s: s.gauge.hose_drop if s.gauge.at == "hose" else 0.0),
        at_tank=column(lambda s: float(s.gauge.at == "tank")),
        stage_kind=_stages(scenarios, lambda st: KINDS.index(st.kind), OVER).astype(int),
        stage_s=_stages(scenarios, lambda st: st.seconds, FOREVER_S),
        stage_until_pa=_stages(scenarios, lambda st: -1.0 if st.until_pa is None else st.until_pa, -1.0),
        stage_tank=_stages(scenarios, lambda st: float(st.tank), 0.0),
    )
