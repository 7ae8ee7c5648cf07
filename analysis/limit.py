"""The limit of a box, the verdict of an area against it, and which way an open verdict leans.

What matters is forming. The limit is the stricter of three tenths of what the pump moves at working vacuum
("from the pump") and the leak that costs 3 kPa within 3 s of the sheet's landing ("from its parts").
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from functools import lru_cache
from math import log
from statistics import NormalDist

from scipy.optimize import brentq

from acquisition.records import Box
from acquisition.setups import parent
from acquisition.units import PA_PER
from analysis.forming import DETAIL_S, FormingCase, case_of, form, leak_cost_pa
from analysis.gas import STANDARD_PRESSURE_PA, area_of_throughput_m2
from analysis.pumpcurve import pump_throughput_pa_m3_s
from analysis.results import Interval, Limit, OutcomeKind, VerdictKind

PUMP_SHARE_OF_LIMIT = 0.3
"""Share of the pump's net throughput that the limit may take; a tenth is good."""
WORKING_SHARE = 0.2
"""Working vacuum over room pressure when the box file does not say."""
PART_COST_PA = 3000.0
"""Pressure a leak at its parts' limit costs under the sheet, Pa."""
TIGHT_SHARE = 0.25
FALLS_SHORT = "pump-falls-short"
"""Flag of a result that has no limit because the stated pump does not get down to the working vacuum."""
NOT_IN_FORMING_M2 = {"top-panel": 0.02e-6, "closure": 0.005e-6}
"""Likely area of paths that stand between box and space, which forming does not feel, m2."""
_ROOM_K = 293.15
_LARGEST_M2 = 100e-6
_Z95 = 1.96


def limit_for(box: Box | None, room_pa: float = STANDARD_PRESSURE_PA, room_k: float = _ROOM_K) -> Limit | None:
    """The largest effective area a box may have; None when neither its pump nor its parts are known.

    Parameters
    ----------
    box
        The box file, or None.
    room_pa, room_k
        Room pressure in Pa and temperature in K.
    """
    if box is None:
        return None
    pump = pump_limit(box, room_pa, room_k)
    if pump is not None and not _costs_parts(box, pump.area_m2, room_pa):
        return pump
    return parts_limit(box, room_pa) or pump


def _costs_parts(box: Box, area_m2: float, room_pa: float) -> bool:
    """Whether a leak of the pump's limit already costs more than parts allow: three runs, not a search."""
    case = _parts_case(box, room_pa)
    until = None if case is None else _until(case)
    if case is None or until is None:
        return False
    cost = leak_cost_pa(replace(case, edge_leak_m2=area_m2), DETAIL_S, until)
    return cost is not None and cost > PART_COST_PA


def _parts_case(box: Box, room_pa: float) -> FormingCase | None:
    """The forming case at room pressure to the nearest kPa: parts do not feel less, and runs are kept."""
    return case_of(box, room_pa=round(room_pa, -3))


def working_pressure_pa(box: Box, room_pa: float = STANDARD_PRESSURE_PA) -> float:
    """Working vacuum of a box as an absolute pressure, Pa: its own, else one fifth of room pressure."""
    return box.working_kPa * 1000.0 if box.working_kPa is not None else WORKING_SHARE * room_pa


def pump_limit(box: Box, room_pa: float = STANDARD_PRESSURE_PA, room_k: float = _ROOM_K) -> Limit | None:
    """Three tenths of the pump's net throughput at working vacuum, as an area; None without a pump that gets there."""
    if box.pump is None:
        return None
    throughput = pump_throughput_pa_m3_s(box.pump, working_pressure_pa(box, room_pa))
    if not throughput:
        return None
    return Limit(area_of_throughput_m2(PUMP_SHARE_OF_LIMIT * throughput, room_pa, room_k), "pump")


def pump_falls_short(box: Box | None, room_pa: float = STANDARD_PRESSURE_PA) -> bool:
    """Whether the pump by its own figures does not get down to the working vacuum, so that it can set no limit."""
    return box is not None and box.pump is not None and (
        pump_throughput_pa_m3_s(box.pump, working_pressure_pa(box, room_pa)) == 0.0
    )  # fmt: skip


def parts_limit(box: Box, room_pa: float = STANDARD_PRESSURE_PA) -> Limit | None:
    """The leak at the sheet's edge that costs 3 kPa within 3 s of landing; None when the box file cannot say.

    It needs volume or measures, vents, and a pump or a tank, and a sheet that lands at all.
    """
    case = _parts_case(box, room_pa)
    area = None if case is None else parts_limit_m2(case)
    return None if area is None else Limit(area, "parts")


@lru_cache(maxsize=128)
def parts_limit_m2(case: FormingCase) -> float | None:
    """Area in m2 at which a sheet-edge leak costs 3 kPa 3 s after landing; None when the sound sheet never lands."""
    until = _until(case)
    if until is None:
        return None

    def excess(area_m2: float) -> float:
        cost = leak_cost_pa(replace(case, box_leak_m2=0.0, edge_leak_m2=area_m2), DETAIL_S, until)
        return 1e6 if cost is None else min(cost, 1e6) - PART_COST_PA

    if excess(_LARGEST_M2) < 0.0:
        return _LARGEST_M2
    return float(brentq(excess, 0.0, _LARGEST_M2, xtol=1e-9, rtol=1e-3))


def _until(case: FormingCase) -> float | None:
    """Seconds to follow so that detail has formed with room to spare for a leak; None if no sheet lands in a minute."""
    landing = form(replace(case, box_leak_m2=0.0, edge_leak_m2=0.0), 60.0).landing_s
    return None if landing is None else 2.0 * landing + DETAIL_S + 2.0


def workmanship_mark_m2(volume_m3: float, room_pa: float = STANDARD_PRESSURE_PA, room_k: float = _ROOM_K) -> float:
    """The vacuum-bag trade's mark, 1 inHg in 5 minutes, as an area in m2: workmanship, never a limit."""
    return area_of_throughput_m2(volume_m3 * PA_PER["inHg"] / 300.0, room_pa, room_k)


def verdict_for(
    area: Interval | None, outcome: OutcomeKind, limit: Limit | None, stalled: bool = False,
    open_paths: Iterable[str] = (),
) -> VerdictKind:
    """What an area means against the limit.

    Parameters
    ----------
    area
        Effective area with its 95 % interval, m2; None for a refusal.
    outcome
        The assessment's outcome.
    limit
        The box's limit, or None.
    stalled
        Whether the area comes from a pump-down that levelled off.
    open_paths
        Paths open in the test: what likely stands between box and space is taken off before "over" is said.
    """
    if outcome == "refused" or area is None:
        return "no-answer"
    if limit is None:
        return "stalls" if stalled else "no-limit"
    if outcome == "upper-limit":
        return "tight" if area.high <= limit.area_m2 else "cannot-tell"
    if area.high < TIGHT_SHARE * limit.area_m2:
        return "tight"
    if area.high <= limit.area_m2:
        return "within"
    if area.low - not_in_forming_m2(open_paths) > limit.area_m2:
        return "stalls" if stalled else "over"
    return "cannot-tell"


def not_in_forming_m2(open_paths: Iterable[str]) -> float:
    """Likely area, m2, of open paths that forming does not feel."""
    return sum(NOT_IN_FORMING_M2.get(path, 0.0) for path in {parent(p) for p in open_paths})


def lean(area: Interval, limit_m2: float) -> tuple[str, float]:
    """Which side of the limit an open verdict leans to, ``within`` or ``over``, and the chance of that side.

    The interval is taken as lognormal, each side with its own width.
    """
    within = chance_within(area, limit_m2)
    return ("within", within) if within >= 0.5 else ("over", 1.0 - within)


def chance_within(area: Interval, limit_m2: float) -> float:
    """Chance that the area lies at or under ``limit_m2``."""
    if area.high <= 0.0 or limit_m2 <= 0.0:
        return 1.0 if area.high <= limit_m2 else 0.0
    floor = max(area.low, area.high * 1e-3)
    value = min(max(area.value, floor), area.high)
    end = area.high if limit_m2 >= value else floor
    width = abs(log(end / value)) / _Z95
    if width <= 0.0:
        return 1.0 if limit_m2 >= value else 0.0
    return NormalDist().cdf(log(limit_m2 / value) / width)
