"""What is known of a hold before its readings: wood, pump-down, soak and gauge turned into priors.

Sizes are those of the design's physics: gas cooled 8-22 K by a pump-down and back with 2-8 s, moisture up to
1.0-1.5 kPa at 20 C within 5-120 s, 0.9-1.6 L of stored air per m2 of bare wood. Measured by no standard:
computed from energy balances and wood data, and kept wide.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, sqrt

import numpy as np
from numpy.typing import NDArray

from analysis.gas import GAMMA, choked_throughput_pa_m3_s, saturation_pressure_pa
from analysis.readings import Window
from analysis.sweep import (
    LN_BOW,
    LN_MOIST,
    LN_PORE,
    LN_PORE_RATE,
    LN_RATE,
    LN_TAU_MOIST,
    LN_WARMTH,
    MIX,
    NCOMMON,
    PER_HOLD,
    PORE_FILL,
    ZERO,
)
from analysis.trace import Trace

FloatArray = NDArray[np.float64]
NO_LEAK_PRIOR = 0.08
"""Probability, before any reading, that what air gets in is nothing a gauge could ever show."""
STORED_AIR_M = 1.2e-3
"""Air in the first ply of bare plywood, m3 at room pressure per m2."""
FILM_W_M2K = 2.5
"""Heat from walls to still gas, W/(m2 K)."""
BOW_SD = 0.5
"""Ln of how far panels bow over what their measures, or a well-baffled box's, say: both are good to a factor 1.5."""
_GAS_STEPS = 200


@dataclass(frozen=True, eq=False)
class ReleasePrior:
    """One way the wood may behave: its probability and the normal priors (npar,) of all parameters."""

    name: str
    weight: float
    mean: FloatArray
    sd: FloatArray


_WOODS: dict[str, tuple[tuple[str, float], ...]] = {
    "bare": (("bare", 0.85), ("quiet", 0.15)),
    "coated": (("coated", 0.7), ("quiet", 0.3)),
    "none": (("none", 1.0),),
    "unknown": (("bare", 0.4), ("coated", 0.35), ("quiet", 0.25)),
}
# name: moisture median Pa and ln sd, share of the bare wood's stored air and ln sd. A coat holds the air of the
# plies back, less so their vapour (common practice, no source).
_SIZES: dict[str, tuple[float, float, float, float]] = {
    "bare": (400.0, 1.0, 1.0, 0.6),
    "coated": (400.0, 1.2, 0.05, 1.2),
    "quiet": (10.0, 1.0, 0.01, 1.0),
    "none": (0.3, 0.5, 1e-4, 0.3),
}


def release_priors(trace: Trace, holds: Sequence[tuple[Trace, Window]], fresh: bool) -> list[ReleasePrior]:
    """Priors of every release variant that the box's wood allows.

    ``trace`` is the last of the session, ``holds`` all its holds in order, each with its own trace; ``fresh`` says
    that the first trace begins at room pressure, so that the pores are known to be full there.
    """
    variants = _WOODS[trace.wood or "unknown"]
    return [_variant(trace, holds, fresh, name, weight) for name, weight in variants]


def rate_of_area(trace: Trace, area_m2: float) -> float:
    """Rate of rise in Pa/s at one fifth of room pressure that a leak of ``area_m2`` gives in this box."""
    if trace.volume_m3 is None:
        raise ValueError("a rate of rise needs the volume")
    return choked_throughput_pa_m3_s(area_m2, trace.room_pa, trace.room_k) / trace.volume_m3


def _variant(
    trace: Trace, holds: Sequence[tuple[Trace, Window]], fresh: bool, name: str, weight: float
) -> ReleasePrior:
    npar = NCOMMON + PER_HOLD * len(holds)
    mean, sd = np.zeros(npar), np.ones(npar)
    moist, moist_sd, pores, pores_sd = _SIZES[name]
    volume = trace.volume_m3 or 0.032
    warm_c = trace.log.header.wood_C
    vapour = saturation_pressure_pa(trace.room_k if warm_c is None else warm_c + 273.15) / saturation_pressure_pa(
        293.15
    )
    stored = STORED_AIR_M * trace.wood_area_m2 / volume
    mean[:NCOMMON] = (
        np.log(rate_of_area(trace, 1e-7)),
        0.0,
        np.log(moist * vapour),
        np.log(25.0),
        np.log(stored * pores),
        np.log(2.8e-3),
        1.0 if fresh else 0.6,
        np.log(volume / (FILM_W_M2K * trace.wood_area_m2 * trace.room_k)),
        0.0,
        0.0,
    )
    sd[[LN_RATE, MIX, LN_MOIST, LN_TAU_MOIST]] = 3.0, 1.0, moist_sd, 0.9
    sd[[LN_PORE, LN_PORE_RATE, PORE_FILL, LN_WARMTH]] = pores_sd, 0.7, 0.03 if fresh else 0.25, 0.4
    sd[LN_BOW] = BOW_SD
    sd[ZERO] = max(trace.u_zero_pa, 1.0)
    for i, (own, window) in enumerate(holds):
        at = NCOMMON + PER_HOLD * i
        mean[at], sd[at] = 0.5 * trace.room_pa, 0.5 * trace.room_pa
        mean[at + 1], sd[at + 1] = _gas_lack(own, window, float(np.exp(mean[LN_WARMTH])))
        # Holds of one session repeat within 3-5 % (common practice, no source); the last one is the answer.
        mean[at + 2], sd[at + 2] = 0.0, 1e-4 if i == len(holds) - 1 else 0.03
    return ReleasePrior(name, weight, mean, sd)


def _gas_lack(trace: Trace, window: Window, warmth: float) -> tuple[float, float]:
    """Mean and standard deviation, Pa, of the pressure still to come at the shut as the gas comes back to the walls'.

    Negative where a tank left open let the box fill, which warms its gas. ``warmth`` is V/(h A T), s/Pa.
    """
    seen, p = window.seen, _pressure_at(trace, window.shut_s)
    if seen.drop_s is None or seen.bottom_s is None:
        return 0.01 * p, max(0.025 * p, 3.0)
    lack = p * (1.0 - _gas_over_walls(trace, seen.drop_s, window.shut_s, warmth))
    soak = max(window.shut_s - seen.bottom_s, 0.0)
    apart = max(0.02 * p * np.exp(-soak / 8.0), 3.0)
    return lack, hypot(0.5 * lack, apart, _warmed_unseen_pa(trace, window))


def _warmed_unseen_pa(trace: Trace, window: Window) -> float:
    """Standard deviation, Pa, of the inflow's warmth at the shut, whose time is known to one reading only."""
    i = max(min(int(np.searchsorted(trace.t_s, window.start_s)), trace.t_s.size - 3), 0)
    ahead = trace.p_pa[i : i + 3]
    rise = max(float(ahead[-1] - ahead[0]), 0.0) / max(ahead.size - 1, 1)
    return (GAMMA - 1.0) * rise / sqrt(12.0)


def _pressure_at(trace: Trace, t_s: float) -> float:
    """First pressure read at a time or later, Pa."""
    return float(trace.p_pa[min(int(np.searchsorted(trace.t_s, t_s)), trace.t_s.size - 1)])


def _gas_over_walls(trace: Trace, start_s: float, end_s: float, warmth: float) -> float:
    """Temperature of the gas over the walls' at ``end_s``, followed from ``start_s`` through the measured pressures.

    Energy balance of gas that leaves or comes in at its own temperature: ``m cp dT/dt = V dp/dt + h A (Tw - T)``.
    """
    t = np.linspace(start_s, end_s, _GAS_STEPS)
    p = np.interp(t, trace.t_s, np.maximum(trace.p_pa, 100.0))
    stretched = (p[1:] / p[:-1]) ** ((GAMMA - 1.0) / GAMMA)
    kept = np.exp(-np.diff(t) / (GAMMA / (GAMMA - 1.0) * warmth * p[1:]))
    ratio = 1.0
    for stretch, keep in zip(stretched.tolist(), kept.tolist(), strict=True):
        ratio = 1.0 + (ratio * stretch - 1.0) * keep
    return float(np.clip(ratio, 0.6, 1.4))
