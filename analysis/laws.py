"""Leak laws: how the inflow falls as the box fills, each scaled to 1 at one fifth of room pressure.

The extended form of ISO 6358, ``1`` for r <= b and ``(1 - ((r - b)/(1 - b))**2)**m`` above, with the two
ends taken exactly: ``hole`` is the ideal nozzle, ``seep`` (b 0, m 1) the laminar compressible law.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache, partial

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import minimize

from analysis.gas import R_REF, choked_flow_function, nozzle_flow_function, sharp_orifice_coefficient

FloatArray = NDArray[np.float64]


def extended_iso6358(r: ArrayLike, b: float, m: float) -> FloatArray:
    """Flow over choked flow, ISO 6358 with exponent ``m`` (0.5 in the standard); b may be negative."""
    x = np.clip((np.asarray(r, dtype=np.float64) - b) / (1.0 - b), 0.0, 1.0)
    return np.asarray((1.0 - x * x) ** m)


def hole_flow(r: ArrayLike) -> FloatArray:
    """Short opening: the ideal nozzle relative to its choked flow."""
    return nozzle_flow_function(r) / choked_flow_function()


def sharp_flow(r: ArrayLike) -> FloatArray:
    """Sharp-edged hole: the ideal nozzle with Perry's drifting coefficient."""
    return hole_flow(r) * sharp_orifice_coefficient(r)


def seep_flow(r: ArrayLike) -> FloatArray:
    """Fine crack or grain: laminar compressible flow."""
    x = np.clip(np.asarray(r, dtype=np.float64), 0.0, 1.0)
    return 1.0 - x * x


@dataclass(frozen=True)
class LeakLaw:
    """One member of the family; ``prior`` is its probability before any data.

    ``kind`` is hole, seep or between; ``variant`` tells members of one kind apart. ``own`` is the range in which
    the share of ``flow`` lies at one fifth of room pressure; a seep makes up the rest. In a ``crack`` that share
    is the inertial one of the loss, one path in series, see ``crack_flow``.
    """

    kind: str
    variant: str | None
    b: float
    m: float
    prior: float
    flow: Callable[[ArrayLike], FloatArray]
    own: tuple[float, float] = (1.0, 1.0)
    crack: bool = False

    def at_share(self, share: float) -> Callable[[ArrayLike], FloatArray]:
        """The law's flow, 1 at one fifth of room pressure, when its ``share`` is known."""
        return partial(crack_flow, inertial=share) if self.crack else mixture(share, self.flow)


def relative_flow(law: LeakLaw, r: ArrayLike) -> FloatArray:
    """Flow at ratio ``r`` over the flow at one fifth of room pressure."""
    return np.asarray(law.flow(r) / law.flow(R_REF))


def crack_flow(r: ArrayLike, inertial: ArrayLike) -> FloatArray:
    """Crack in which the air must overcome its own stickiness and then its own weight, 1 at one fifth of room pressure.

    Forchheimer's equation for a gas: the difference of the squared pressures is ``(1 - x) q + x q**2``, where
    ``x`` = ``inertial`` is the inertial share of the loss at one fifth of room pressure.
    """
    drive = seep_flow(r) / (1.0 - R_REF * R_REF)
    x = np.asarray(inertial, dtype=np.float64)
    return np.asarray(2.0 * drive / ((1.0 - x) + np.sqrt((1.0 - x) ** 2 + 4.0 * x * drive)))


def mixture(share: float, flow_of: Callable[[ArrayLike], FloatArray] = hole_flow) -> Callable[[ArrayLike], FloatArray]:
    """Flow of a law (a hole) and a seep in parallel; ``share`` of the flow at the reference is the first one's."""

    def flow(r: ArrayLike) -> FloatArray:
        own = flow_of(r) / float(flow_of(R_REF))
        return share * own + (1.0 - share) * seep_flow(r) / float(seep_flow(R_REF))

    return flow


def equivalent_form(flow: Callable[[ArrayLike], FloatArray]) -> tuple[float, float]:
    """(b, m) of the extended ISO 6358 form nearest to a flow law over r 0.1 to 0.99."""
    r = np.linspace(0.1, 0.99, 60)
    target = flow(r) / flow(R_REF)

    def misfit(v: FloatArray) -> float:
        form = extended_iso6358(r, v[0], v[1]) / extended_iso6358(R_REF, v[0], v[1])
        return float(np.sum((form - target) ** 2))

    bounds = [(-1.0, 0.6), (0.3, 1.5)]
    starts = (np.array([0.1, 0.8]), np.array([0.5, 0.5]))
    tries = [minimize(misfit, start, method="Nelder-Mead", bounds=bounds) for start in starts]
    best = min(tries, key=lambda found: float(found.fun))
    return float(best.x[0]), float(best.x[1])


def slip_flow(r: ArrayLike) -> FloatArray:
    """What slip adds to laminar flow: proportional to the difference of pressure.

    ``seep + slip`` in any proportion is exactly the extended form with b < 0 and m 1.
    """
    return 1.0 - np.clip(np.asarray(r, dtype=np.float64), 0.0, 1.0)


SLIP_MOST = 0.625
"""Largest share of slip at one fifth of room pressure: that of b = -1."""
TAINT = 0.05
"""Up to this share of the other law a leak is still a hole or a seep: every box has a little of everything."""

_INERTIAL = (0.1, 0.99)
"""Inertial share of a crack's loss: with less it is a seep; the last hundredth keeps its flow smooth near r 1."""


def slip_b(share: float) -> float:
    """The b of the extended form (m 1) in which ``share`` of the flow at one fifth of room pressure is slip."""
    return -0.5 * (share / (1.0 - R_REF)) / ((1.0 - share) / (1.0 - R_REF**2))


@lru_cache(maxsize=1)
def family() -> tuple[LeakLaw, ...]:
    """Every law a fit weighs, with its prior: hole, sharp hole, mix, crack, seep, slip; the fit finds the shares.

    Hole and seep stand beside themselves with a little of the other, so that clean readings of a pure one are not
    spread over mixes.
    """
    return (
        LeakLaw("hole", None, 0.528, 0.5, 0.19, hole_flow, (1.0, 1.0)),
        LeakLaw("hole", None, 0.528, 0.5, 0.03, hole_flow, (1.0 - TAINT, 1.0)),
        LeakLaw("hole", "sharp", 0.528, 0.5, 0.11, sharp_flow),
        LeakLaw("between", None, float("nan"), float("nan"), 0.2, hole_flow, (TAINT, 1.0 - TAINT)),
        LeakLaw("between", "crack", float("nan"), float("nan"), 0.14, seep_flow, _INERTIAL, crack=True),
        LeakLaw("seep", None, 0.0, 1.0, 0.25, hole_flow, (0.0, 0.0)),
        LeakLaw("seep", None, 0.0, 1.0, 0.03, hole_flow, (0.0, TAINT)),
        LeakLaw("seep", "slip", float("nan"), 1.0, 0.05, slip_flow, (0.0, SLIP_MOST)),
    )


def spread(r: float) -> float:
    """Ratio of the areas hole and seep would give to the same inflow seen at ratio ``r``."""
    ratio = float(relative_flow(family()[0], r)) / float(seep_flow(r) / seep_flow(R_REF))
    return max(ratio, 1.0 / ratio)
