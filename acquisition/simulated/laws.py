"""Flow through openings, as the make-believe box has it; written apart from the analysis on purpose.

Sources: nozzle, St Venant and Wantzel (any gas dynamics text); coefficient of a sharp hole, Perry 1949 as a
polynomial in r (copied from two public pneumatics pages); ISO 6358 form for slip.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

GAS_J_KGK = 287.05287
CRITICAL_RATIO = (2.0 / 2.4) ** 3.5
CHOKED = np.sqrt(1.4) * (2.0 / 2.4) ** 3.0
REFERENCE_RATIO = 0.2
_LINEAR_FROM = 0.9995
_PERRY = (-1.6827, 4.6001, -3.9, 0.8415, -0.1002, 0.8414)


def nozzle(ratio: Array) -> Array:
    """Flow of an ideal nozzle over its choked flow, at box over room pressure ``ratio`` in 0..1.

    Straight to nought in the last 0.05 % below room pressure, where the root has no slope.
    """
    inside = np.minimum(np.maximum(ratio, CRITICAL_RATIO), _LINEAR_FROM)
    seventh = inside ** (1.0 / 7.0)
    tenth = seventh**10
    shape = np.sqrt(7.0 * tenth * (1.0 - seventh * seventh)) / CHOKED
    return np.asarray(shape * np.minimum((1.0 - ratio) / (1.0 - _LINEAR_FROM), 1.0))


def coefficient(ratio: Array) -> Array:
    """Discharge coefficient of a sharp round hole at pressure ratio 0..1 (Perry 1949)."""
    return np.asarray(np.polyval(_PERRY, ratio))


_SHARP_REFERENCE = float(coefficient(np.asarray(REFERENCE_RATIO)))
_SEEP_REFERENCE = 1.0 - REFERENCE_RATIO**2


def sharp(ratio: Array, through_nozzle: Array) -> Array:
    """Sharp hole relative to its flow at r 0.2, given ``nozzle(ratio)``."""
    return np.asarray(through_nozzle * coefficient(ratio) / _SHARP_REFERENCE)


def seep(ratio: Array) -> Array:
    """Laminar compressible law relative to its flow at r 0.2."""
    return np.asarray((1.0 - ratio * ratio) / _SEEP_REFERENCE)


def slip(ratio: Array, b: Array) -> Array:
    """ISO 6358 form with m = 1 and b at or under nought, relative to its flow at r 0.2."""
    span = (1.0 - b) ** 2
    return np.asarray((span - (ratio - b) ** 2) / (span - (REFERENCE_RATIO - b) ** 2))


def crack(ratio: Array, inertial: Array) -> Array:
    """Laminar plus inertial loss: ``(1 - x) q + x q**2 = seep(r)``, with x the inertial share at r 0.2."""
    x = np.maximum(inertial, 1e-9)
    laminar = 1.0 - x
    return np.asarray((np.sqrt(laminar * laminar + 4.0 * x * seep(ratio)) - laminar) / (2.0 * x))


def saturation_pa(celsius: Array) -> Array:
    """Saturation pressure of water in Pa at a temperature in C (Magnus form, from memory: 2.34 kPa at 20 C)."""
    return np.asarray(611.2 * np.exp(17.62 * celsius / (243.12 + celsius)))


def nozzle_flow(p_from: Array, t_from: Array, p_to: Array, t_to: Array, area_m2: Array) -> Array:
    """Signed flow through a nozzle, as amount times gas constant: W/K, positive from ``from`` to ``to``.

    Pressures Pa, temperatures K of the gas on either side, ``area_m2`` effective area.
    """
    if not area_m2.any():
        return np.zeros_like(area_m2)
    high, low = np.maximum(p_from, p_to), np.minimum(p_from, p_to)
    upstream = np.where(p_from >= p_to, t_from, t_to)
    size = area_m2 * CHOKED * high * np.sqrt(GAS_J_KGK / upstream) * nozzle(low / high)
    return np.asarray(np.where(p_from >= p_to, size, -size))
