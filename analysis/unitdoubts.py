"""Readings that cannot be pressures of a box: the unit, or what the gauge counts from, is not as the log says."""

from __future__ import annotations

import numpy as np

from analysis import reasons
from analysis.faults import is_unit_ratio
from analysis.phases import MOST_FOR_NOISE, FloatArray
from analysis.reasons import Refusal
from analysis.trace import Trace, baseline_reading

LOWEST_PA = 500.0
"""No shop's pump draws a box this low, Pa: memory, diaphragm and vane pumps stand at 1 to 10 kPa."""
COARSEST_SHARE = 0.2
"""A display with steps above this share of room pressure shows no hold."""


def unit_suspected(trace: Trace) -> Refusal | None:
    """Pressures no room has: the unit or the reference is not what the log says."""
    bottom, top = _extremes(trace.p_pa)
    if trace.resolution_pa > COARSEST_SHARE * trace.room_pa or top < LOWEST_PA:
        return reasons.unit_suspected(top / 1000.0)
    if top > 1.15 * trace.room_pa + 3000.0:
        return reasons.unit_suspected(top / 1000.0)
    if bottom < -3000.0:
        return reasons.unit_suspected(bottom / 1000.0)
    if trace.unit.reference == "absolute" and trace.p_pa[0] < LOWEST_PA:
        return reasons.unit_suspected(float(trace.p_pa[0]) / 1000.0)
    return _baseline_contradicts(trace)


def _baseline_contradicts(trace: Trace) -> Refusal | None:
    """A gauge whose level before the first big change is neither room pressure nor an evacuated box's.

    An absolute gauge of the wrong unit, or one that counts from the room though the log says otherwise, never
    comes near room pressure, and its box fills "downwards".
    """
    p = trace.p_pa
    level = baseline_reading(p)
    if level is None and _open_at_both_ends(trace):
        return reasons.unit_suspected(float(p[0]) / 1000.0)
    if level is not None and trace.unit.reference == "absolute" and level < LOWEST_PA:
        return reasons.unit_suspected(level / 1000.0)
    if level is None or abs(level - trace.room_pa) < 0.1 * trace.room_pa:
        return None
    bottom, top = _extremes(p)
    rises, falls = top - level, level - bottom
    if trace.unit.reference != "absolute" and rises > 0.3 * trace.room_pa and level < 0.1 * trace.room_pa:
        drops_first = _upside_down(trace)
        return reasons.unit_suspected(level / 1000.0) if drops_first else None
    if falls > 5.0 * max(rises, 1.0) and falls > 0.4 * level:
        return reasons.unit_suspected(level / 1000.0)
    return None


def _open_at_both_ends(trace: Trace) -> bool:
    """Whether an absolute gauge begins and ends at one level, its highest, that is the room's in another unit.

    A log of few readings has too short a baseline to be one.
    """
    p = trace.p_pa
    top = float(p.max())
    same = trace.unit.reference == "absolute" and min(p[0], p[-1]) > 0.98 * top and p.min() < 0.6 * top
    return bool(same) and top < 0.8 * trace.room_pa and is_unit_ratio(trace.room_pa / top)


def _extremes(p_pa: FloatArray) -> tuple[float, float]:
    """Pressures that only a fiftieth of the readings lie under and over."""
    bottom, top = np.percentile(p_pa[:: max(1, p_pa.size // MOST_FOR_NOISE)], [2.0, 98.0])
    return float(bottom), float(top)


def _upside_down(trace: Trace) -> bool:
    """Whether the box would "fill" as a pump draws and be drawn down as a leak fills: quick rise, slow even fall."""
    t, p = trace.t_s, trace.p_pa
    top = int(np.argmax(p))
    after, before = p[top:], p[: top + 1]
    if after.size < 5 or before.size < 5:
        return False
    sinks = float(np.polyfit(t[top:], after, 1)[0]) < 0.0 and after.min() > 0.15 * trace.room_pa
    slow = sinks and float(t[-1] - t[top]) > 2.0 * float(t[top] - t[0])
    at_once = float(np.max(np.abs(np.diff(after)))) > 0.1 * trace.room_pa
    return slow or (sinks and at_once) or (at_once and abs(float(after[-1] - p[0])) < 0.1 * trace.room_pa)
