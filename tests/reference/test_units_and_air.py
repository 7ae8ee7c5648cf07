"""Unit factors, the standard atmosphere and the air's properties against printed figures."""

from __future__ import annotations

import numpy as np
import pytest

from acquisition.units import PA_PER, ZERO_CELSIUS_K, GaugeUnit, from_absolute_pa, kelvin, to_absolute_pa
from analysis import gas
from tests.reference import flows

R_MOLAR = 8.314462618
"""CODATA, J/(mol K)."""


# NIST SP 811, appendix B (through an encyclopedia's table), and a CRC-style table.
@pytest.mark.parametrize(("unit", "pa", "within"), [
    ("inHg", 3386.389, 5e-4), ("mmHg", 133.322387415, 2e-5), ("Torr", 133.322368, 1e-6), ("psi", 6894.757, 5e-4),
    ("bar", 1e5, 0.0), ("mbar", 100.0, 0.0), ("hPa", 100.0, 0.0), ("kPa", 1e3, 0.0), ("inH2O", 249.0889, 5e-5),
])  # fmt: skip
def test_factors(unit, pa, within):
    assert PA_PER[unit] == pytest.approx(pa, abs=within)


def test_inch_of_mercury_is_the_conventional_one():
    # NIST SP 811: 3386.389 conventional, 3376.85 at 60 F: a quarter of a percent that must not creep in.
    assert PA_PER["inHg"] - 3376.85 == pytest.approx(9.54, abs=0.01)
    assert PA_PER["inHg"] / PA_PER["psi"] == pytest.approx(0.49116, abs=1e-5)  # US Army TM 1-1500-204-23-11
    assert 25.4 * PA_PER["mmHg"] == pytest.approx(PA_PER["inHg"], rel=1e-6)
    assert gas.STANDARD_PRESSURE_PA / PA_PER["inHg"] == pytest.approx(29.9213, abs=5e-5)  # 40 CFR 1065.640


def test_flow_units_from_the_same_constants():
    molar_volume = R_MOLAR * ZERO_CELSIUS_K / gas.STANDARD_PRESSURE_PA
    # NIST, Berg and Tison 2002: 1 umol/s is 1.3448 sccm (0 C, 101325 Pa).
    assert 1e-6 * molar_volume * 1e6 * 60.0 == pytest.approx(1.3448, abs=5e-5)
    # A pump maker's glossary: 1 mbar l/s is 59.2 cm3/min and 0.750 Torr l/s.
    assert PA_PER["mbar"] * 1e-3 / gas.STANDARD_PRESSURE_PA * 1e6 * 60.0 == pytest.approx(59.2, abs=0.05)
    assert PA_PER["mbar"] / PA_PER["Torr"] == pytest.approx(0.750, abs=5e-4)
    # A tool page citing NIST: 1 sccm is 0.00168875 Pa m3/s.
    standard_cc_a_minute = gas.STANDARD_PRESSURE_PA * 1e-6 / 60.0
    assert standard_cc_a_minute == pytest.approx(0.00168875, abs=5e-9)


def test_molar_flow_of_a_thousand_cubic_feet_a_minute():
    # 40 CFR 1065.640(a), example 1: 1000.00 ft3/min at 29.9213 inHg and 68 F is 19.619 mol/s.
    room_k = kelvin((68.0 - 32.0) / 1.8)
    flow = 29.9213 * PA_PER["inHg"] * 1000.0 * flows.FOOT_M**3 / 60.0 / (flows.R_MOLAR * room_k)
    assert flow == pytest.approx(19.619, abs=6e-4)


@pytest.mark.parametrize(("gauge", "reading", "absolute_pa"), [
    # 25 inHg of vacuum at 29.92 inHg leaves 4.92 inHg; 5000 ft: 12.23 psia, the same dial leaves less.
    (GaugeUnit("vacuum", "inHg"), 25.0, (29.92 - 25.0) * 3386.389),
    (GaugeUnit("gauge", "kPa"), -80.0, 29.92 * 3386.389 - 80e3),
    (GaugeUnit("absolute", "mbar"), 200.0, 20e3),
])  # fmt: skip
def test_gauge_references(gauge, reading, absolute_pa):
    room = 29.92 * 3386.389
    assert to_absolute_pa(reading, gauge, room) == pytest.approx(absolute_pa, abs=1e-6)
    assert from_absolute_pa(absolute_pa, gauge, room) == pytest.approx(reading, rel=1e-12)


def test_choking_point_moves_with_altitude():
    # 14.1 inHg at sea level, 11.7 inHg at 5000 ft (1524 m).
    at = [gas.standard_pressure_pa(h) * (1.0 - gas.critical_ratio()) / PA_PER["inHg"] for h in (0.0, 1524.0)]
    assert at == pytest.approx([14.1, 11.7], abs=0.06)


@pytest.mark.parametrize(("metres", "pa"), [
    (0, 101325), (500, 95461), (1000, 89876), (1500, 84560), (2000, 79501), (2500, 74692), (3000, 70121),
])  # fmt: skip
def test_standard_atmosphere(metres, pa):
    # US Standard Atmosphere 1976, Table I, geometric altitude (from memory; two libraries agree to 1e-6).
    assert gas.standard_pressure_pa(metres) == pytest.approx(pa, abs=0.6)


def test_standard_atmosphere_at_five_kilometres():
    # Documentation of `fluids`, ATMOSPHERE_1976(5000).
    assert gas.standard_pressure_pa(5000.0) == pytest.approx(54048.28614576141, rel=2e-6)


# ASHRAE altitude table (through an engineering site), ft and psia. Its 4000 ft row is off by 0.010 in the source.
@pytest.mark.parametrize(("feet", "psia", "within"), [
    (-1000, 15.236, 0.003), (0, 14.696, 0.003), (500, 14.430, 0.003), (1000, 14.175, 0.003), (2000, 13.664, 0.003),
    (3000, 13.173, 0.003), (4000, 12.682, 0.012), (5000, 12.230, 0.003), (6000, 11.778, 0.003), (7000, 11.341, 0.003),
    (8000, 10.914, 0.004), (9000, 10.506, 0.003), (10000, 10.108, 0.003),
])  # fmt: skip
def test_altitude_table(feet, psia, within):
    assert gas.standard_pressure_pa(feet * flows.FOOT_M) / PA_PER["psi"] == pytest.approx(psia, abs=within)


def test_viscosity():
    # 40 CFR 1065.640, Table 4 and its example: 1.838e-5 at 298.15 K, Reynolds number 7.538e5 for 57.625 mol/s in a
    # throat of 0.1524 m; US Standard Atmosphere 1976: 1.7894e-5 at 288.15 K (from memory).
    mu = gas.viscosity_pa_s(298.15)
    assert mu == pytest.approx(1.838e-5, abs=6e-9)
    assert 4.0 * 57.625 * 0.0287805 / (np.pi * 0.1524 * mu) == pytest.approx(7.538e5, rel=2e-4)
    assert gas.viscosity_pa_s(288.15) == pytest.approx(1.7894e-5, rel=5e-4)


def test_saturation_pressure_of_water():
    # Steam tables (from memory): 2.339 kPa at 20 C, 12.35 kPa at 50 C.
    assert gas.saturation_pressure_pa(293.15) == pytest.approx(2339.0, rel=3e-3)
    assert gas.saturation_pressure_pa(323.15) == pytest.approx(12352.0, rel=5e-3)
