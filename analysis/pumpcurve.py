"""The pump: its net throughput against pressure, its speed from a pump-down, the leak at which it stalls."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import exp, log

import numpy as np

from acquisition.records import Pump
from analysis.gas import area_of_throughput_m2, choked_throughput_pa_m3_s
from analysis.laws import hole_flow, spread
from analysis.results import Interval

U_LOG_CURVE = 0.075
"""Standard uncertainty of the logarithm of a catalogue's pump speed: 15 % at 95 %."""
UNKNOWN_SPEED_M3_S = (0.3e-3, 1.3e-3, 6.0e-3)
"""Speeds of shop pumps when nothing is known (low, usual, high), m3/s; common practice, no source."""
UNKNOWN_ULTIMATE_PA = (1_000.0, 8_000.0, 20_000.0)
"""Ultimate pressures of shop pumps when nothing is known, Pa; common practice, no source."""


def net_throughput_pa_m3_s(
    p_pa: float, speed_m3_s: float, ultimate_pa: float, points: Sequence[tuple[float, float]] = ()
) -> float:
    """Throughput a pump moves at an inlet pressure, Pa m3/s; 0 at or below its ultimate.

    ``S (1 - p_ult / p) p``. With ``points`` (Pa, m3/s: the curve as measured, losses already in it) the speed
    between them is a straight line, and nought at the ultimate when that lies below the first point.
    """
    if not points:
        return max(speed_m3_s * (p_pa - ultimate_pa), 0.0)
    curve = sorted(points)
    if 0.0 < ultimate_pa < curve[0][0]:
        curve.insert(0, (ultimate_pa, 0.0))
    return max(p_pa * float(np.interp(p_pa, [p for p, _ in curve], [s for _, s in curve])), 0.0)


def pump_throughput_pa_m3_s(pump: Pump, p_pa: float) -> float | None:
    """Net throughput of a box file's pump at ``p_pa``, Pa m3/s; None when the file gives no speed."""
    if pump.speed_L_s is None and not pump.points:
        return None
    points = [(p * 1000.0, s / 1000.0) for p, s in pump.points]
    return net_throughput_pa_m3_s(p_pa, (pump.speed_L_s or 0.0) / 1000.0, pump.ultimate_kPa * 1000.0, points)


def stall_area(
    pump: Pump | None, p_stall_pa: float, room_pa: float, room_k: float, u_stall_pa: float = 0.0
) -> Interval | None:
    """Effective leak area at which a pump levels off at ``p_stall_pa``, m2 with its 95 % interval.

    Parameters
    ----------
    pump
        The pump; without a curve the result is the range over the pumps a shop may have.
    p_stall_pa
        Level pressure, Pa absolute.
    room_pa, room_k
        Room pressure in Pa and temperature in K.
    u_stall_pa
        Standard uncertainty of the level pressure, Pa.

    Returns
    -------
    The interval, or None when the pump moves nothing at that pressure (it sits at its ultimate: no leak shown).
    """
    known = None if pump is None else pump_throughput_pa_m3_s(pump, p_stall_pa)
    if pump is None or known is None:
        return _stall_range(p_stall_pa, room_pa, room_k)
    if known <= 0.0:
        return None
    area = _area_at(known, p_stall_pa, room_pa, room_k)
    gauge = _level_spread(pump, p_stall_pa, u_stall_pa, known)
    down = 1.96 * float(np.hypot(U_LOG_CURVE, gauge))
    up = float(np.hypot(down, log(_law_spread(p_stall_pa / room_pa))))
    return Interval(area, area * exp(-down), area * exp(up))


def _level_spread(pump: Pump, p_pa: float, u_pa: float, known: float) -> float:
    """Standard uncertainty of the log throughput from that of the level pressure."""
    above = pump_throughput_pa_m3_s(pump, p_pa + u_pa)
    return abs(log(above / known)) if above else 1.0


def _law_spread(r: float) -> float:
    """How much larger a seep's area would be than a hole's, from the same inflow at ratio ``r``."""
    return spread(min(r, 0.95))


def _area_at(throughput: float, p_pa: float, room_pa: float, room_k: float) -> float:
    """Area of a hole that passes ``throughput`` into ``p_pa``; above the choke point its fall is put back."""
    fall = float(hole_flow(p_pa / room_pa))
    return area_of_throughput_m2(throughput, room_pa, room_k) / max(fall, 0.05)


def _stall_range(p_pa: float, room_pa: float, room_k: float) -> Interval | None:
    """Range over the pumps a shop may have: the weakest that could hold this level to the strongest."""
    speeds, ultimates = UNKNOWN_SPEED_M3_S, reversed(UNKNOWN_ULTIMATE_PA)
    low, usual, high = (net_throughput_pa_m3_s(p_pa, s, u) for s, u in zip(speeds, ultimates, strict=True))
    if high <= 0.0:
        return None
    ends = [_area_at(q, p_pa, room_pa, room_k) for q in (usual, low, high)]
    return Interval(ends[0], ends[1], ends[2] * _law_spread(p_pa / room_pa))


@dataclass(frozen=True)
class PumpCurve:
    """A pump's net speed as found from a pump-down.

    ``points`` (Pa, m3/s) at the middle of each stretch, lowest pressure first; ``speed_m3_s`` and
    ``ultimate_pa`` of the straight line ``S (p - p_ult)`` through the throughputs.
    """

    points: tuple[tuple[float, float], ...]
    speed_m3_s: float
    ultimate_pa: float


def fit_pump_curve(
    t_s: Sequence[float], p_pa: Sequence[float], volume_m3: float, leak_area_m2: float, room_pa: float, room_k: float,
    stretches: int = 8,
) -> PumpCurve | None:
    """Net speed of the pump against pressure, from a pump-down of a known volume with its leak taken off.

    Parameters
    ----------
    t_s, p_pa
        Times in s and absolute pressures in Pa of the pump-down, one length.
    volume_m3
        Volume that is pumped, box and line, m3.
    leak_area_m2
        Effective leak area, m2; what it lets in is added to what the pump moves.
    room_pa, room_k
        Room pressure in Pa and temperature in K.
    stretches
        How many pressure stretches, evenly spaced in its logarithm.

    Returns
    -------
    The curve, or None with fewer than two usable stretches. Isothermal, and only under 0.8 of room pressure:
    the first seconds carry valve and hose.
    """
    t, p = np.asarray(t_s, dtype=np.float64), np.asarray(p_pa, dtype=np.float64)
    keep = np.isfinite(t) & np.isfinite(p) & (p > 0.0) & (p < 0.8 * room_pa)
    t, p = t[keep], p[keep]
    if t.size < 6:
        return None
    edges = np.geomspace(p.min(), p.max() * 1.0001, stretches + 1)
    leak = choked_throughput_pa_m3_s(leak_area_m2, room_pa, room_k)
    points = []
    for low, high in pairwise(edges):
        inside = (p >= low) & (p < high)
        if np.count_nonzero(inside) >= 3 and np.ptp(t[inside]) > 0.0:
            rate, level = float(np.polyfit(t[inside], np.log(p[inside]), 1)[0]), float(np.exp(np.log(p[inside]).mean()))
            points.append((level, -volume_m3 * rate + leak * float(hole_flow(level / room_pa)) / level))
    return _line_through(points)


def _line_through(points: Sequence[tuple[float, float]]) -> PumpCurve | None:
    if len(points) < 2:
        return None
    p, s = np.array([x for x, _ in points]), np.array([y for _, y in points])
    speed, offset = np.polyfit(p, p * s, 1, w=1.0 / p)
    if speed <= 0.0:
        return None
    return PumpCurve(tuple(points), float(speed), max(-float(offset) / float(speed), 0.0))
