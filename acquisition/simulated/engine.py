"""Steps the gas of many boxes at once: mass, vapour, heat, bow, stored air, tank and gauge lag.

Amounts of gas are kept as p V / T (J/K, the amount times the gas constant), so that ideal gas needs no
molar masses. Energy of air with 5/2 of that as heat capacity: inflow brings enthalpy, outflow takes it,
the inside warms what is left. Fixed steps of Heun's method, second order.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from acquisition.simulated import laws
from acquisition.simulated.laws import Array
from acquisition.simulated.plant import BASELINE, HOLD, LET_UP, POINT_STEP_PA, PUMP_DOWN, SOAK, Plant, build
from acquisition.simulated.scenario import Scenario
from acquisition.units import ZERO_CELSIUS_K

STEP_S = 0.1
P, AIR, VAPOUR, FAST, SLOW, TANK, LEAKED, RELEASED, SEEPED = range(9)
"""Rows of the state: box pressure, amounts of air and vapour, pores, tank pressure, totals let in since the start
(by leaks, by wood, by the valve's seat)."""


@dataclass(eq=False)
class Mode:
    """Which way the valves stand, as masks of nought and one."""

    pump: Array
    dump: Array
    vent: Array
    shut: Array


class Engine:
    """Many boxes, stepped together; ``t_s`` is the log's clock."""

    def __init__(self, scenarios: Sequence[Scenario], step_s: float = STEP_S) -> None:
        self.plant = build(scenarios)
        self.step_s = step_s
        self.count = 0
        n = len(scenarios)
        self.stage = np.zeros(n, dtype=int)
        self.stage_start_s = np.zeros(n)
        self.let_go_s = np.full(self.plant.openings.area_m2.shape, np.inf)
        self.area_m2 = self.plant.openings.area_m2.copy()
        self.state = _start(self.plant)
        self.kind = np.zeros(n, dtype=int)
        self._set_mode(np.ones(n, dtype=bool))
        self.indicated_pa = self._at_gauge()

    @property
    def t_s(self) -> float:
        """Time since the start, s."""
        return self.count * self.step_s

    @property
    def gas_k(self) -> Array:
        """Temperature of the gas in each box, K."""
        return _gas(self.plant, self.state)[1]

    def change_stages(self) -> np.ndarray:
        """Move on every scenario whose phase is over; returns the mask of those that moved."""
        plant, rows = self.plant, np.arange(self.stage.size)
        last = self.stage >= plant.stage_kind.shape[1] - 1
        over = self.t_s - self.stage_start_s >= plant.stage_s[rows, self.stage] - 1e-6
        over |= self.state[P] <= plant.stage_until_pa[rows, self.stage]
        over &= ~last
        if over.any():
            self.stage[over] += 1
            self.stage_start_s[over] = self.t_s
            self._set_mode(over)
        return over

    def force(self, kind: int, tank: bool = False) -> None:
        """Put every box into a phase by hand, whatever its schedule says."""
        self.kind[:] = kind
        self._masks(np.full(self.kind.size, float(tank)), np.ones(self.kind.size, dtype=bool))

    def _set_mode(self, moved: np.ndarray) -> None:
        rows = np.arange(self.stage.size)
        self.kind = self.plant.stage_kind[rows, self.stage]
        self._masks(self.plant.stage_tank[rows, self.stage], moved)

    def _masks(self, tank: Array, moved: np.ndarray) -> None:
        pulling = (self.kind == PUMP_DOWN) | (self.kind == SOAK)
        self.mode = Mode(
            pump=pulling * (1.0 - tank),
            dump=pulling * tank,
            vent=((self.kind == BASELINE) | (self.kind == LET_UP)).astype(float),
            shut=(self.kind == HOLD).astype(float),
        )
        self._jump(moved & (self.kind == HOLD))

    def _jump(self, shutting: np.ndarray) -> None:
        share = np.where(shutting, self.plant.jump_pa / self.state[P], 0.0)
        self.state[[P, AIR, VAPOUR]] *= 1.0 + share

    def step(self) -> None:
        """One fixed step of all boxes."""
        if self.plant.openings.lets_go:
            self._let_go()
        h, t = self.step_s, self.t_s
        self.state = _warmed(self.plant, self.state, t, 0.5 * h)
        first = rates(self.plant, self.state, t, self.mode, self.area_m2, h)
        second = rates(self.plant, self.state + h * first, t + h, self.mode, self.area_m2, h)
        self.state = _warmed(self.plant, self.state + 0.5 * h * (first + second), t + h, 0.5 * h)
        self.count += 1
        target = self._at_gauge()
        self.indicated_pa = target + (self.indicated_pa - target) * np.exp(-h / np.maximum(self.plant.lag_s, 1e-3))

    def _at_gauge(self) -> Array:
        box = self.state[P] * (1.0 - self.plant.hose_drop * np.maximum(self.mode.pump, self.mode.dump))
        return np.asarray(np.where(self.plant.at_tank > 0.0, self.state[TANK], box))

    def _let_go(self) -> None:
        leaks, p = self.plant.openings, self.state[P][:, None]
        ready = (self.t_s >= leaks.at_s) | ((p <= leaks.at_pa) & (leaks.at_pa > 0.0))
        self.let_go_s = np.where(ready, np.minimum(self.let_go_s, self.t_s), self.let_go_s)
        since = np.maximum(self.t_s - self.let_go_s, 0.0)
        self.area_m2 = leaks.to_m2 + (leaks.area_m2 - leaks.to_m2) * np.exp(-since / leaks.within_s)


def _start(plant: Plant) -> Array:
    wood_k = plant.wood_end_k + plant.wood_off_k
    amount = plant.room_pa * plant.volume_m3 / wood_k
    vapour_pa = plant.activity * laws.saturation_pa(wood_k - ZERO_CELSIUS_K)
    share = vapour_pa / plant.room_pa
    nought = np.zeros(amount.size)
    return np.array([
        plant.room_pa.copy(), amount * (1.0 - share), amount * share, plant.pore_start_pa, plant.pore_start_pa,
        plant.tank_start_pa, nought, nought, nought,
    ])


def _gas(plant: Plant, state: Array) -> tuple[Array, Array]:
    """Volume (m3) and gas temperature (K); the volume follows the pressure as the panels bow."""
    volume = plant.volume_m3 * (1.0 - plant.bow * (1.0 - state[P] / plant.room_pa))
    return volume, state[P] * volume / (state[AIR] + state[VAPOUR])


def _warmed(plant: Plant, state: Array, t_s: float, step_s: float) -> Array:
    """The state after the inside has warmed (or cooled) its gas for a while; exact, however fast it goes."""
    volume, gas_k = _gas(plant, state)
    amount, wood_k = state[AIR] + state[VAPOUR], _wood_k(plant, t_s)
    bow = plant.volume_m3 * plant.bow / plant.room_pa
    give = state[P] * bow
    pace = plant.heat_w_k * (volume + give) / (amount * (2.5 * volume + 3.5 * give))
    target = amount * (wood_k + (gas_k - wood_k) * np.exp(-pace * step_s))
    stiff = plant.volume_m3 * (1.0 - plant.bow)
    out = state.copy()
    out[P] = 2.0 * target / (stiff + np.sqrt(stiff * stiff + 4.0 * bow * target))
    return out


def _wood_k(plant: Plant, t_s: float) -> Array:
    """Temperature of the inside at a time, K."""
    return plant.wood_end_k + plant.wood_off_k * np.exp(-t_s / plant.wood_tau_s) + plant.wood_k_per_s * t_s


def leak_flow(plant: Plant, p_pa: Array, gas_k: Array, room_pa: Array, room_k: Array, area_m2: Array) -> Array:
    """Flow in from the shop by all open leaks (out when negative), amount times gas constant, W/K."""
    high = np.maximum(p_pa, room_pa)
    ratio = np.minimum(p_pa, room_pa) / high
    inward = p_pa <= room_pa
    through = laws.nozzle(ratio)
    leaks = plant.openings
    column = ratio[:, None]
    shape = leaks.hole * through[:, None] + leaks.seep * laws.seep(column)
    shape += leaks.sharp * laws.sharp(ratio, through)[:, None]
    if leaks.slips.any():
        shape += leaks.slips * laws.slip(column, leaks.b)
    if leaks.cracks.any():
        shape += leaks.cracks * laws.crack(column, leaks.inertial)
    area = np.einsum("ij,ij->i", area_m2, shape)
    size = area * laws.CHOKED * high * np.sqrt(laws.GAS_J_KGK / np.where(inward, room_k, gas_k))
    return np.asarray(np.where(inward, size, -size))


def _pump_speed(plant: Plant, p_pa: Array) -> Array:
    formula = plant.pump_speed_m3_s * np.maximum(1.0 - plant.pump_ultimate_pa / p_pa, 0.0)
    place = np.minimum(np.maximum(p_pa / POINT_STEP_PA, 0.0), plant.pump_table_m3_s.shape[1] - 1.001)
    below = place.astype(int)
    rows = np.arange(p_pa.size)
    low, high = plant.pump_table_m3_s[rows, below], plant.pump_table_m3_s[rows, below + 1]
    return np.asarray(formula + low + (high - low) * (place - below))


def _limited(flow: Array, gap_pa: Array, volume_m3: Array, gas_k: Array, step_s: float) -> Array:
    """Keep a wide opening from overshooting within a step where two pressures meet."""
    most = np.abs(gap_pa) * volume_m3 / (3.0 * step_s * gas_k)
    return np.minimum(np.maximum(flow, -most), most)


def rates(plant: Plant, state: Array, t_s: float, mode: Mode, area_m2: Array, step_s: float) -> Array:
    """Rate of change of every row of the state, per second."""
    p, tank = state[P], state[TANK]
    volume, gas_k = _gas(plant, state)
    room_pa, room_k = plant.room_pa + plant.room_pa_per_s * t_s, plant.room_k + plant.room_k_per_s * t_s
    wood_k = _wood_k(plant, t_s)
    share = state[VAPOUR] / (state[AIR] + state[VAPOUR])
    humid = plant.vapour_share * laws.saturation_pa(room_k - ZERO_CELSIUS_K) / room_pa

    leak = leak_flow(plant, p, gas_k, room_pa, room_k, area_m2)
    vent = laws.nozzle_flow(room_pa, room_k, p, gas_k, plant.let_up_area_m2 * mode.vent)
    vent = _limited(vent, room_pa - p, volume, gas_k, step_s)
    both = volume * plant.tank_volume_m3 / (volume + plant.tank_volume_m3)
    dump = laws.nozzle_flow(p, gas_k, tank, room_k, plant.line_area_m2 * mode.dump)
    dump = _limited(dump, p - tank, both, gas_k, step_s)
    pumped = mode.pump * _pump_speed(plant, p) * p / gas_k
    back = mode.pump * plant.pump_speed_m3_s * np.minimum(plant.pump_ultimate_pa, p) / gas_k
    behind = np.where(plant.behind_room > 0.0, room_pa, np.where(plant.behind_tank > 0.0, tank, plant.pump_ultimate_pa))
    seat = laws.nozzle_flow(behind, room_k, p, gas_k, plant.seat_area_m2 * mode.shut)

    fast, slow = _pore_flows(plant, state)
    stored = fast / wood_k
    ceiling = plant.activity * laws.saturation_pa(wood_k - ZERO_CELSIUS_K)
    wet = np.where(plant.activity > 0.0, volume / plant.moisture_tau_s, 0.0) * (ceiling - share * p) / wood_k

    # A pump's ultimate is air slipping back through it: what it takes is box gas, what slips back is dry air.
    fresh, out = leak + vent + seat, pumped + dump
    outward = np.minimum(fresh, 0.0) - out
    inward = np.maximum(fresh, 0.0)
    heat = 3.5 * (inward * room_k + outward * gas_k + (stored + wet) * wood_k)
    slope = plant.volume_m3 * plant.bow / plant.room_pa
    return np.array([
        heat / (2.5 * volume + 3.5 * p * slope),
        inward * (1.0 - humid) + outward * (1.0 - share) + stored + back * share,
        inward * humid + (outward - back) * share + wet,
        -(fast - slow) / plant.pore_volume_m3[0],
        -slow / plant.pore_volume_m3[1],
        (dump * room_k - _tank_pumped(plant, tank, mode) - seat * plant.behind_tank * room_k) / plant.tank_volume_m3,
        leak,
        stored + wet,
        seat,
    ])


def _tank_pumped(plant: Plant, tank_pa: Array, mode: Mode) -> Array:
    """The pump works on the tank, if there is one, whenever it is not on the box; Pa m3/s."""
    if not plant.line_area_m2.any():
        return np.zeros_like(tank_pa)
    return np.where(plant.line_area_m2 > 0.0, (1.0 - mode.pump) * _pump_speed(plant, tank_pa) * tank_pa, 0.0)


def _pore_flows(plant: Plant, state: Array) -> tuple[Array, Array]:
    """Throughputs Pa m3/s of the fast pores into the box and of the slow ones into the fast ones."""
    fast2 = state[FAST] ** 2
    return (
        plant.pore_conductance[0] * (fast2 - state[P] ** 2),
        plant.pore_conductance[1] * (state[SLOW] ** 2 - fast2),
    )
