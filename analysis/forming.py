"""The forming cycle as two gas rooms: the box (with its tank) and the space under the sheet, joined by the vents.

While the sheet travels the space stays near room pressure, less what the warm sheet's stretching takes; it
lands when the space is emptied, and from then on the space follows the box. Isothermal, so the gas's own
heat (3 to 11 kPa for some seconds) is left out. Needs no more than the box file, and a leak.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from math import inf, pi, sqrt
from typing import Literal

import numpy as np
from scipy.integrate import solve_ivp

from acquisition.records import Box
from analysis.gas import R_AIR, STANDARD_PRESSURE_PA, choked_flow_function, nozzle_flow_function
from analysis.panels import box_volume
from analysis.pumpcurve import net_throughput_pa_m3_s
from analysis.results import FloatArray, Interval

VENT_COEFFICIENT = 0.80
"""Drilled vents, some of them partly covered by the mould; common practice, no source."""
HOSE_COEFFICIENT = 0.40
"""A few metres of hose with valve and fittings over its bore; common practice, no source."""
HOSE_BORE_M = 0.019
SHEET_STRETCH_PA = 11_000.0
"""What the warm sheet's stretching takes at the end of its travel, Pa; common practice, no source."""
DEAD_SHARE = 0.05
"""Share of the space that is left under the sheet once it has landed; common practice, no source."""
CAVITY_SHARE = 0.3
"""Space under the sheet over the box's volume when no mould is described; common practice, no source."""
LANDED_S = 2.0
"""Detail is judged so many seconds after the sheet lands."""
DETAIL_S = 3.0
"""Detail forms in so many seconds after the sheet lands."""
SET_S = 30.0
LEAK_NEVER_BLAMED_M2 = 1e-6
VENTS_PER_LEAK = 10.0
_LINEAR_FROM = 0.9995
_LEAST_CAVITY_M3 = 1e-4


@dataclass(frozen=True)
class FormingCase:
    """What forms a sheet: volumes m3, pressures Pa absolute, areas m2, speeds m3/s.

    ``vents_m2`` and ``hose_m2`` are bores, ``box_leak_m2`` and ``edge_leak_m2`` effective leak areas;
    ``tank_m3`` 0 means no tank. ``pump_points`` (Pa, m3/s) stand before ``pump_m3_s``.
    """

    box_m3: float
    cavity_m3: float
    vents_m2: float
    tank_m3: float = 0.0
    tank_pa: float = 12_000.0
    pump_m3_s: float = 0.0
    pump_ultimate_pa: float = 0.0
    pump_points: tuple[tuple[float, float], ...] = ()
    hose_m2: float = pi * HOSE_BORE_M**2 / 4.0
    box_leak_m2: float = 0.0
    edge_leak_m2: float = 0.0
    room_pa: float = STANDARD_PRESSURE_PA
    room_k: float = 293.15


@dataclass(frozen=True, eq=False)
class FormingRun:
    """Pressures over the seconds since the valve was opened, Pa absolute; ``landing_s`` None if it never lands."""

    t_s: FloatArray
    under_sheet_pa: FloatArray
    box_pa: FloatArray
    tank_pa: FloatArray
    landing_s: float | None

    def under_sheet_at(self, t_s: float) -> float:
        """Pressure under the sheet so many seconds after the valve was opened, Pa."""
        return float(np.interp(t_s, self.t_s, self.under_sheet_pa))

    def after_landing(self, seconds: float) -> float | None:
        """Pressure under the sheet so many seconds after it landed, Pa; None if that is not reached."""
        if self.landing_s is None or self.landing_s + seconds > self.t_s[-1]:
            return None
        return self.under_sheet_at(self.landing_s + seconds)


def case_of(box: Box, cavity_m3: float | None = None, room_pa: float = STANDARD_PRESSURE_PA) -> FormingCase | None:
    """The forming case of a box file; None when it lacks its volume, its vents, or both pump and tank.

    Without ``cavity_m3`` the space under the sheet is taken as three tenths of the box.
    """
    volume = box_volume(box)
    if volume is None or box.vents.count < 1 or (box.pump is None and box.tank is None):
        return None
    pump, tank = box.pump, box.tank
    return FormingCase(
        box_m3=volume.value,
        cavity_m3=volume.value * CAVITY_SHARE if cavity_m3 is None else cavity_m3,
        vents_m2=box.vents.count * pi * (box.vents.drill_mm / 1000.0) ** 2 / 4.0,
        tank_m3=tank.volume_L / 1000.0 if tank else 0.0,
        tank_pa=tank.working_kPa * 1000.0 if tank else 12_000.0,
        pump_m3_s=(pump.speed_L_s or 0.0) / 1000.0 if pump else 0.0,
        pump_ultimate_pa=pump.ultimate_kPa * 1000.0 if pump else 0.0,
        pump_points=tuple((p * 1000.0, s / 1000.0) for p, s in pump.points) if pump else (),
        room_pa=room_pa,
    )


def _opening_flow(area_m2: float, one_pa: float, other_pa: float, speed: float) -> float:
    """Throughput from ``one`` to ``other`` through an ideal opening; near balance a straight line, not a root."""
    if one_pa < other_pa:
        return -_opening_flow(area_m2, other_pa, one_pa, speed)
    if area_m2 <= 0.0 or one_pa <= 0.0:
        return 0.0
    r = other_pa / one_pa
    capped = min(r, _LINEAR_FROM)
    psi = _flow_function(capped)
    if r > capped:
        psi *= (1.0 - r) / (1.0 - _LINEAR_FROM)
    return area_m2 * one_pa * speed * psi


_CHOKED = choked_flow_function()


def _flow_function(r: float) -> float:
    return _CHOKED if r <= 0.5283 else float(nozzle_flow_function(r))


@dataclass(frozen=True)
class _Rooms:
    """The three gas rooms' equations; amounts are pressure times volume at room temperature, Pa m3."""

    case: FormingCase

    def space(self, amount: float) -> tuple[float, float]:
        """Pressure under the sheet and the share of its travel, from the gas that is left there."""
        c = self.case
        dead, travel = DEAD_SHARE * c.cavity_m3, c.cavity_m3
        landed = (c.room_pa - SHEET_STRETCH_PA) * dead
        if amount <= landed:
            return amount / dead, 1.0
        a = SHEET_STRETCH_PA * travel
        b = c.room_pa * travel + SHEET_STRETCH_PA * (dead + travel)
        k = c.room_pa * (dead + travel) - amount
        share = (b - sqrt(max(b * b - 4.0 * a * k, 0.0))) / (2.0 * a)
        return c.room_pa - SHEET_STRETCH_PA * share, share

    def pump(self, p_pa: float) -> float:
        """Net throughput of the pump at ``p_pa``, Pa m3/s."""
        c = self.case
        return net_throughput_pa_m3_s(p_pa, c.pump_m3_s, c.pump_ultimate_pa, c.pump_points)

    def slopes(self, _: float, amounts: FloatArray) -> list[float]:
        """Change of the gas in tank, box and space, Pa m3/s."""
        c = self.case
        speed = sqrt(R_AIR * c.room_k)
        box_pa = amounts[1] / c.box_m3
        space_pa = self.space(float(amounts[2]))[0]
        vents = _opening_flow(VENT_COEFFICIENT * c.vents_m2, space_pa, box_pa, speed)
        edge = _opening_flow(c.edge_leak_m2, c.room_pa, space_pa, speed)
        walls = _opening_flow(c.box_leak_m2, c.room_pa, box_pa, speed)
        if c.tank_m3 <= 0.0:
            return [0.0, vents + walls - self.pump(box_pa), edge - vents]
        tank_pa = amounts[0] / c.tank_m3
        hose = _opening_flow(HOSE_COEFFICIENT * c.hose_m2, box_pa, tank_pa, speed)
        return [hose - self.pump(tank_pa), vents + walls - hose, edge - vents]


@lru_cache(maxsize=512)
def form(case: FormingCase, until_s: float = 40.0) -> FormingRun:
    """Open the valve and follow the pressures for ``until_s`` seconds."""
    case = replace(case, cavity_m3=max(case.cavity_m3, _LEAST_CAVITY_M3))
    rooms = _Rooms(case)
    start = np.array([
        case.tank_pa * case.tank_m3, case.room_pa * case.box_m3, case.room_pa * case.cavity_m3 * (1.0 + DEAD_SHARE),
    ])
    t = np.unique(np.concatenate([np.linspace(0.0, min(12.0, until_s), 601), np.linspace(0.0, until_s, 401)]))
    run = solve_ivp(rooms.slopes, (0.0, until_s), start, method="LSODA", t_eval=t, rtol=1e-5, atol=0.05, max_step=0.5)
    amounts = run.y
    spaces = [rooms.space(float(n)) for n in amounts[2]]
    box_pa = amounts[1] / case.box_m3
    return FormingRun(
        t_s=t,
        under_sheet_pa=np.array([p for p, _ in spaces]),
        box_pa=box_pa,
        tank_pa=amounts[0] / case.tank_m3 if case.tank_m3 > 0.0 else box_pa,
        landing_s=_landing(t, amounts[2], (case.room_pa - SHEET_STRETCH_PA) * DEAD_SHARE * case.cavity_m3),
    )


def _landing(t: FloatArray, amount: FloatArray, landed: float) -> float | None:
    below = np.flatnonzero(amount <= landed)
    if below.size == 0:
        return None
    i = int(below[0])
    if i == 0:
        return float(t[0])
    part = (amount[i - 1] - landed) / (amount[i - 1] - amount[i])
    return float(t[i - 1] + part * (t[i] - t[i - 1]))


def leak_cost_pa(case: FormingCase, seconds: float, until_s: float = 40.0) -> float | None:
    """What the case's leaks cost so many seconds after landing, Pa; None when the sound box never lands its sheet.

    A leak that keeps the sheet from landing costs without end (inf).
    """
    sound = form(replace(case, box_leak_m2=0.0, edge_leak_m2=0.0), until_s).after_landing(seconds)
    if sound is None:
        return None
    leaky = form(case, until_s).after_landing(seconds)
    return inf if leaky is None else leaky - sound


CureKey = Literal["tank", "edge", "walls", "pump", "hose", "vents", "wait"]
CURES: dict[CureKey, str] = {
    "tank": "Reserve tank, twice the size",
    "edge": "Sheet edge, sealed",
    "walls": "The box, sealed",
    "pump": "Pump, half as strong again",
    "hose": "Hose, twice the bore",
    "vents": "Vents, twice as many",
    "wait": "Wait till the tank is down again",
}
A_TANK = "A reserve tank, three times the box"
"""The tank's cure where there is none yet."""


@dataclass(frozen=True)
class Cure:
    """What one cure alone gives back, Pa with 95 % intervals, ``LANDED_S`` after landing and when the sheet has set.

    ``is_leak`` marks the cures that seal something. Cures overlap and are never added up.
    """

    key: CureKey
    label: str
    is_leak: bool
    while_detail_forms_pa: Interval
    when_set_pa: Interval


def cured(case: FormingCase, key: CureKey) -> FormingCase | None:
    """The case with one thing mended; None where there is nothing to mend.

    With no tank, "twice the size" is a first tank of three times the box.
    """
    full_pa = max(case.pump_ultimate_pa * 1.25, 2000.0)
    changes: dict[CureKey, FormingCase | None] = {
        "tank": replace(case, tank_m3=2.0 * case.tank_m3 or 3.0 * case.box_m3),
        "edge": replace(case, edge_leak_m2=0.0) if case.edge_leak_m2 > 0.0 else None,
        "walls": replace(case, box_leak_m2=0.0) if case.box_leak_m2 > 0.0 else None,
        "pump": replace(
            case, pump_m3_s=1.5 * case.pump_m3_s, pump_points=tuple((p, 1.5 * s) for p, s in case.pump_points)),
        "hose": replace(case, hose_m2=4.0 * case.hose_m2) if case.tank_m3 > 0.0 else None,
        "vents": replace(case, vents_m2=2.0 * case.vents_m2),
        "wait": replace(case, tank_pa=full_pa) if case.tank_m3 > 0.0 and case.tank_pa > 1.2 * full_pa else None,
    }
    return changes[key]


def _gain(case: FormingCase, key: CureKey, set_s: float) -> tuple[float, float]:
    """What a cure gives back at both moments, Pa; each run is judged after its own landing."""
    better = cured(case, key)
    if better is None:
        return 0.0, 0.0
    until = set_s + 10.0
    old, new = form(case, until), form(better, until)
    return _level(old, LANDED_S) - _level(new, LANDED_S), old.under_sheet_at(set_s) - new.under_sheet_at(set_s)


def _level(run: FormingRun, seconds: float) -> float:
    """Pressure so long after landing; of a sheet that never lands in time, the last one."""
    level = run.after_landing(seconds)
    return float(run.under_sheet_pa[-1]) if level is None else level


def cures(
    case: FormingCase, set_s: float = SET_S, edge: Interval | None = None, walls: Interval | None = None
) -> tuple[Cure, ...]:
    """What each cure alone gives back, the most helpful while detail forms first.

    Parameters
    ----------
    case
        The forming as it was.
    set_s
        When the sheet has set, s after opening the valve.
    edge, walls
        The leaks' intervals, m2, for the intervals of the gains; the cavity counts as known to 20 %.
    """
    found = []
    for key, label in CURES.items():
        if cured(case, key) is not None:
            early, late = _gain_intervals(case, key, set_s, edge, walls)
            named = A_TANK if key == "tank" and not case.tank_m3 else label
            found.append(Cure(key, named, key in ("edge", "walls"), early, late))
    return tuple(sorted(found, key=lambda c: -c.while_detail_forms_pa.value))


def _gain_intervals(
    case: FormingCase, key: CureKey, set_s: float, edge: Interval | None, walls: Interval | None
) -> tuple[Interval, Interval]:
    """Gains with intervals: each doubtful input moved to its ends alone, the steps added in squares."""
    centre = np.array(_gain(case, key, set_s))
    down, up = np.zeros(2), np.zeros(2)
    for pair in _doubts(case, edge, walls):
        steps = np.array([np.array(_gain(varied, key, set_s)) - centre for varied in pair])
        down += np.minimum(steps.min(axis=0), 0.0) ** 2
        up += np.maximum(steps.max(axis=0), 0.0) ** 2
    low, high = centre - np.sqrt(down), centre + np.sqrt(up)
    early, late = (Interval(float(centre[i]), float(low[i]), float(high[i])) for i in (0, 1))
    return early, late


def _doubts(case: FormingCase, edge: Interval | None, walls: Interval | None) -> list[tuple[FormingCase, FormingCase]]:
    pairs = [(replace(case, cavity_m3=0.8 * case.cavity_m3), replace(case, cavity_m3=1.2 * case.cavity_m3))]
    if edge is not None:
        pairs.append((replace(case, edge_leak_m2=max(edge.low, 0.0)), replace(case, edge_leak_m2=edge.high)))
    if walls is not None:
        pairs.append((replace(case, box_leak_m2=max(walls.low, 0.0)), replace(case, box_leak_m2=walls.high)))
    return pairs


def leak_may_be_blamed(case: FormingCase) -> bool:
    """Whether a leak may be named as the cause of soft detail.

    With a tank a leak under 1 mm2 never is, unless vents are few: their open area under ten times the leak.
    """
    leak = case.box_leak_m2 + case.edge_leak_m2
    if leak <= 0.0:
        return False
    return leak >= LEAK_NEVER_BLAMED_M2 or case.tank_m3 <= 0.0 or case.vents_m2 < VENTS_PER_LEAK * leak


@dataclass(frozen=True)
class FormingAnswer:
    """Is the poor part the box's fault: what is short, what gives most back, what the leaks cost.

    ``short_pa`` is how far the pressure stays above the need ``LANDED_S`` after landing, ``short_at_set_pa``
    when set (0 when it is reached); ``blamed`` the cure that gives most back among those that may be named.
    """

    landing_s: float | None
    needs_pa: float
    reached_pa: float
    short_pa: float
    short_at_set_pa: float
    leak_cost_early_pa: float | None
    leak_cost_set_pa: float
    blamed: Cure | None
    cures: tuple[Cure, ...]
    box_at_fault: bool
    room_pa: float = STANDARD_PRESSURE_PA


def judge_forming(
    case: FormingCase, needs_pa: float, set_s: float = SET_S,
    edge: Interval | None = None, walls: Interval | None = None,
) -> FormingAnswer:
    """Weigh a forming against the pressure under the sheet that its parts need, Pa absolute."""
    run = form(case, set_s + 10.0)
    reached, at_set = _level(run, LANDED_S), run.under_sheet_at(set_s)
    sound = form(replace(case, box_leak_m2=0.0, edge_leak_m2=0.0), set_s + 10.0)
    every = cures(case, set_s, edge, walls)
    allowed = [c for c in every if not c.is_leak or leak_may_be_blamed(case)]
    short = max(reached - needs_pa, 0.0)
    blamed = allowed[0] if allowed and short > 0.0 else None
    return FormingAnswer(
        landing_s=run.landing_s, needs_pa=needs_pa, reached_pa=reached, short_pa=short,
        short_at_set_pa=max(at_set - needs_pa, 0.0), leak_cost_early_pa=leak_cost_pa(case, LANDED_S, set_s + 10.0),
        leak_cost_set_pa=at_set - sound.under_sheet_at(set_s), blamed=blamed, cures=every,
        box_at_fault=blamed is not None and blamed.is_leak, room_pa=case.room_pa,
    )
