"""Properties and flow of air, as an ideal gas, in SI units.

Validity: dry air near room conditions; the ideal-gas choked flux is 0.06 % below the real one.
"""

from __future__ import annotations

from math import pi, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray

R_AIR = 287.05287
"""Specific gas constant of dry air, J/(kg K) (US Standard Atmosphere 1976)."""
GAMMA = 1.4
"""Ratio of specific heats of air."""
STANDARD_PRESSURE_PA = 101_325.0
STANDARD_GRAVITY = 9.80665
R_REF = 0.2
"""Box over room pressure at which every effective leak area is stated."""


def critical_ratio(gamma: float = GAMMA) -> float:
    """Downstream over upstream pressure below which an ideal nozzle is choked (0.5283 for air)."""
    return float((2.0 / (gamma + 1.0)) ** (gamma / (gamma - 1.0)))


def choked_flow_function(gamma: float = GAMMA) -> float:
    """Dimensionless choked mass flux, ``mdot sqrt(R T) / (A p)`` (0.6847 for air)."""
    return float(sqrt(gamma) * (2.0 / (gamma + 1.0)) ** ((gamma + 1.0) / (2.0 * (gamma - 1.0))))


def nozzle_flow_function(r: ArrayLike, gamma: float = GAMMA) -> NDArray[np.float64]:
    """Dimensionless mass flux of the ideal nozzle (de Saint-Venant and Wantzel).

    Parameters
    ----------
    r
        Downstream over upstream absolute pressure, 0..1, any shape; above 1 counts as 1.

    Returns
    -------
    Array of the shape of ``r``: ``mdot sqrt(R T) / (A p_upstream)``.
    """
    x = np.clip(np.asarray(r, dtype=np.float64), critical_ratio(gamma), 1.0)
    spread = x ** (2.0 / gamma) - x ** ((gamma + 1.0) / gamma)
    return np.sqrt(np.maximum(2.0 * gamma / (gamma - 1.0) * spread, 0.0))


def nozzle_mass_flow_kg_s(
    area_m2: float, upstream_pa: float, downstream_pa: float, upstream_k: float,
    gamma: float = GAMMA, r_gas: float = R_AIR, compressibility: float = 1.0,
) -> float:
    """Mass flow through an ideal nozzle of effective area ``area_m2``, choked or not.

    ``r_gas`` is the gas's own constant in J/(kg K); ``compressibility`` its real-gas factor at the inlet.
    """
    psi = float(nozzle_flow_function(downstream_pa / upstream_pa, gamma))
    return area_m2 * upstream_pa * psi / sqrt(compressibility * r_gas * upstream_k)


def choked_throughput_pa_m3_s(area_m2: float, room_pa: float, room_k: float) -> float:
    """Throughput (pressure times volume per second, at room temperature) of a choked ideal nozzle.

    20.126 Pa m3/s per mm2 at 20 C and one atmosphere.
    """
    return area_m2 * choked_flow_function() * room_pa * sqrt(R_AIR * room_k)


def area_of_throughput_m2(q_pa_m3_s: float, room_pa: float, room_k: float) -> float:
    """Choked ideal-nozzle area that passes a throughput; inverse of ``choked_throughput_pa_m3_s``."""
    return q_pa_m3_s / choked_throughput_pa_m3_s(1.0, room_pa, room_k)


def sharp_orifice_coefficient(r: ArrayLike) -> NDArray[np.float64]:
    """Discharge coefficient of a sharp-edged orifice against pressure ratio.

    Polynomial fitted to J. A. Perry, Trans. ASME 71 (1949) 757, as given in pneumatics handbooks:
    0.84 into a vacuum, 0.60 without compressibility. Valid 0 <= r <= 1.
    """
    x = np.clip(np.asarray(r, dtype=np.float64), 0.0, 1.0)
    return np.asarray(np.polyval([-1.6827, 4.6001, -3.9, 0.8415, -0.1002, 0.8414], x), dtype=np.float64)


def drilled_hole_m(area_m2: float, coefficient: float = 0.83) -> float:
    """Diameter in m of the sharp drilled hole with effective area ``area_m2`` at one fifth of room pressure."""
    return sqrt(4.0 * max(area_m2, 0.0) / (pi * coefficient))


def drilled_area_m2(diameter_m: float, coefficient: float = 0.83) -> float:
    """Effective area in m2 of a sharp drilled hole; inverse of ``drilled_hole_m``."""
    return coefficient * pi * diameter_m**2 / 4.0


def viscosity_pa_s(temperature_k: float) -> float:
    """Dynamic viscosity of air by Sutherland's law with the constants of 40 CFR 1065.640, Table 4 (2 %)."""
    return float(1.716e-5 * (temperature_k / 273.0) ** 1.5 * (273.0 + 111.0) / (temperature_k + 111.0))


def standard_pressure_pa(altitude_m: float) -> float:
    """Pressure of the US Standard Atmosphere 1976 at a geometric altitude of -500 to 11 000 m."""
    h = 6_356_766.0 * altitude_m / (6_356_766.0 + altitude_m)
    exponent = STANDARD_GRAVITY * 0.0289644 / (8.31432 * 0.0065)
    return float(STANDARD_PRESSURE_PA * (1.0 - 0.0065 * h / 288.15) ** exponent)


def saturation_pressure_pa(temperature_k: float) -> float:
    """Saturation pressure of water by the Magnus form (WMO-No. 8, annex 4.B), 0..60 C."""
    c = temperature_k - 273.15
    return float(611.2 * np.exp(17.62 * c / (243.12 + c)))
