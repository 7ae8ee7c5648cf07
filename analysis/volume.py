"""The inside volume, measured: by sharing air with a tank of known volume, or by a hold with a known hole open."""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, hypot
from typing import Literal

from acquisition.records import Uncertain
from analysis.results import Assessment, Interval

U_READING_PA = 100.0
"""Standard uncertainty of one pressure reading when none is given, Pa: a step of a 0.1 kPa gauge and its drift."""
U_LOG_HOLE = 0.03
"""Standard uncertainty of the log of a drilled hole's effective area: drill and edge; common practice, no source."""
LEAST_M3, MOST_M3 = 1e-5, 27.0
"""A hose holds more than the one; a cube of three metres, longer than any forming box, holds the other."""
_LARGEST_U = 0.25
_Z95 = 1.96


@dataclass(frozen=True)
class VolumeResult:
    """A measured volume in m3 with its 95 % interval, or the reason why none can be given."""

    outcome: Literal["estimate", "refused"]
    volume_m3: Interval | None
    reason: str | None


def _refused(reason: str) -> VolumeResult:
    return VolumeResult("refused", None, reason)


def _estimate(value_m3: float, u_log: float) -> VolumeResult:
    if not LEAST_M3 <= value_m3 <= MOST_M3:
        return _refused(
            f"That would be an inside of {1000.0 * value_m3:.2g} L, and boxes hold {1000.0 * LEAST_M3:g} to"
            f" {1000.0 * MOST_M3:g} L; look at the tank's volume or the hole, and their units."
        )
    reach = exp(_Z95 * u_log)
    return VolumeResult("estimate", Interval(value_m3, value_m3 / reach, value_m3 * reach), None)


def shared_volume(
    tank_m3: Uncertain, box_before_pa: float, tank_before_pa: float, after_pa: float, u_reading_pa: float = U_READING_PA
) -> VolumeResult:
    """Volume of a box whose air was shared with a tank (Boyle): ``V = V_tank (p - p_tank) / (p_box - p)``.

    Parameters
    ----------
    tank_m3
        Tank volume and its standard uncertainty, m3.
    box_before_pa, tank_before_pa
        Absolute pressures before the valve was opened, Pa.
    after_pa
        Common pressure once it no longer moves, Pa: a minute later, so that the gas is as warm as before.
    u_reading_pa
        Standard uncertainty of each reading, Pa.
    """
    if min(box_before_pa, tank_before_pa, after_pa) < 0.0 or tank_m3.value <= 0.0:
        return _refused("Pressures are absolute and the tank has a volume; none of them can be under nothing.")
    lost, gained = box_before_pa - after_pa, after_pa - tank_before_pa
    if lost * gained <= 0.0:
        return _refused("The pressure after sharing must lie between those of box and tank before; check the readings.")
    # V's log moves by -1/gained, -1/lost and (1/gained + 1/lost) for the three readings
    steps = (u_reading_pa / lost, u_reading_pa / gained, u_reading_pa * (1.0 / lost + 1.0 / gained))
    u_log = hypot(*steps, tank_m3.u / tank_m3.value)
    if u_log > _LARGEST_U:
        return _refused("The pressures moved too little to tell a volume; empty the tank first, or take a smaller one.")
    return _estimate(tank_m3.value * gained / lost, u_log)


def volume_by_hole(
    plain: Assessment, with_hole: Assessment, hole_area_m2: float, u_hole_m2: float | None = None
) -> VolumeResult:
    """Volume of a box from two holds, one with a hole of known effective area open.

    The slopes of both holds and the hole give it; the volume that the two assessments assumed drops out.

    Parameters
    ----------
    plain, with_hole
        Results of the two holds; each says which volume it assumed.
    hole_area_m2
        Effective area of the hole, m2.
    u_hole_m2
        Its standard uncertainty, m2; 3 % when not given.
    """
    for name, test in (("plain log", plain), ("log with the hole", with_hole)):
        if test.area_m2 is None or not test.volume_m3:
            return _refused(f"The {name} gives no area: {test.reason or 'no volume was assumed for it'}.")
    if hole_area_m2 <= 0.0:
        return _refused("The hole's area must be more than nothing.")
    (slope0, u0), (slope1, u1) = _slope(plain), _slope(with_hole)
    added = slope1 - slope0
    if added <= 0.0 or hypot(u0, u1) > _LARGEST_U * added:
        return _refused("The hole does not stand out from the box's own leak; take a larger hole, or hold longer.")
    u_hole = U_LOG_HOLE if u_hole_m2 is None else u_hole_m2 / hole_area_m2
    return _estimate(hole_area_m2 / added, hypot(hypot(u0, u1) / added, u_hole))


def _slope(test: Assessment) -> tuple[float, float]:
    """Area over assumed volume, 1/m, and its standard uncertainty with the volume taken as exact."""
    area = test.area_fit_m2 or test.area_m2
    assert area is not None
    assert test.volume_m3
    return area.value / test.volume_m3, (area.high - area.low) / (2.0 * _Z95) / test.volume_m3
