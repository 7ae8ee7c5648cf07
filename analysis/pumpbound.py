"""What a pump-down allows: no leak much larger than the one that the pump could still hold at its bottom.

At the bottom the pump takes away what the leak lets in, ``q = S (p - p_end) <= S p``; its speed over the volume shows
in the pump-down, ``S / V = -d ln p / dt + q / (V p)``, soonest where the pressure is high.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from analysis.gas import R_REF, choked_throughput_pa_m3_s
from analysis.laws import seep_flow
from analysis.phases import HoldSeen
from analysis.tanks import from_tank, is_marked
from analysis.trace import Trace

FloatArray = NDArray[np.float64]
LEAST_FOLDS = 0.7
"""A pump-down by fewer e-folds shows the pump near its end only."""
LEAST_READINGS = 5
OVER_S = 3.0
"""Stretch over which a pump-down's speed is taken, s: shorter ones show noise and the gas's cooling."""
ALLOWED = 1.5
"""How far a leak may be over what the pump-down allows: cooling gas, air from the wood, a pump that tires."""


def is_too_large(trace: Trace, seen: HoldSeen, area_m2: float) -> bool:
    """Whether no pump that drew the box down as seen could have reached its bottom against such a leak.

    A marked shut is believed: what the box takes in since may have opened with it.
    """
    most = None if is_marked(trace, seen.shut_s) else most_leak_m2(trace, seen)
    return most is not None and area_m2 > ALLOWED * most


def most_leak_m2(trace: Trace, seen: HoldSeen) -> float | None:
    """Largest leak, m2, against which the pump reaches the bottom seen; None where the pump-down does not tell."""
    if seen.drop_s is None or seen.bottom_s is None or trace.volume_m3 is None or from_tank(trace, seen):
        return None
    down = trace.within(seen.drop_s, seen.bottom_s)
    t, p = trace.t_s[down], np.maximum(trace.p_pa[down], 100.0)
    soaked = trace.p_pa[trace.within(seen.bottom_s, seen.shut_s)]
    if t.size < LEAST_READINGS or not soaked.size:
        return None
    bottom = max(float(np.median(soaked)), 100.0)
    rate, at = _fastest(t, p)
    if np.log(p[0] / bottom) < LEAST_FOLDS or at <= 1.5 * bottom:
        return None
    inflow = trace.volume_m3 * rate * bottom / (1.0 - bottom / at)
    relative = float(np.minimum(seep_flow(bottom / trace.room_pa) / seep_flow(R_REF), 1.0))
    return inflow / (choked_throughput_pa_m3_s(1.0, trace.room_pa, trace.room_k) * max(relative, 0.1))


def _fastest(t: FloatArray, p: FloatArray) -> tuple[float, float]:
    """Largest share of its pressure that a box loses in a second, and the pressure there, Pa."""
    reach = int(np.clip(np.ceil(OVER_S / max(float(np.median(np.diff(t))), 1e-3)), 1, t.size - 1))
    rate = np.log(p[:-reach] / p[reach:]) / (t[reach:] - t[:-reach])
    i = int(np.argmax(rate))
    return float(rate[i]), float(np.sqrt(p[i] * p[i + reach]))
