"""Air and other gases through nozzles and orifices: the project's gas functions against printed figures."""

from __future__ import annotations

from math import pi, sqrt

import numpy as np
import pytest

from acquisition.units import PA_PER
from analysis import gas
from tests.reference import flows

RANKINE_K = 5.0 / 9.0
ORIFICE = flows.rows("orifice_free_air_cfm.csv")
VENTURI = flows.rows("critical_venturi_cf.csv")


def free_air_cfm(bore_in, gauge_psi, downstream_psia=14.7):
    """Cubic feet a minute at 14.7 psia and 70 F through a perfect nozzle (coefficient 1)."""
    psi, room_k = PA_PER["psi"], 530.0 * RANKINE_K
    area = pi / 4.0 * (bore_in * flows.INCH_M) ** 2
    flow = gas.nozzle_mass_flow_kg_s(area, (14.7 + gauge_psi) * psi, downstream_psia * psi, room_k)
    return flow / flows.POUND_KG / 0.07494 * 60.0  # lb/ft3 of free air, from the table's own notes


CELLS = [(row[0], bore, cell) for row in ORIFICE[1:] for bore, cell in zip(ORIFICE[0][1:], row[1:], strict=True)]


def test_the_orifice_table_has_all_its_cells():
    assert len(CELLS) == 275


@pytest.mark.parametrize(("psig", "bore", "printed"), CELLS)
def test_orifice_table(psig, bore, printed):
    # Handbook table of 1906 descent: 1-12 psig below choking, 15 psig and more choked. Two branches, 11 bores.
    expected = float(printed)
    allowed = max(1.5 * flows.last_digit(printed), 0.007 * expected)
    assert free_air_cfm(flows.fraction(bore), float(psig)) == pytest.approx(expected, abs=allowed)


def test_orifice_table_is_met_without_bias():
    ratios = [free_air_cfm(flows.fraction(bore), float(psig)) / float(cell) for psig, bore, cell in CELLS]
    assert np.mean(ratios) == pytest.approx(1.0, abs=0.0015)


@pytest.mark.parametrize(("beta", "column", "printed"), [
    (row[0], column, cell) for row in VENTURI[1:] for column, cell in zip(VENTURI[0][1:], row[1:], strict=True)
])  # fmt: skip
def test_critical_venturi_coefficients(beta, column, printed):
    # 40 CFR 1065.640, all 42 cells.
    assert flows.critical_venturi_coefficient(float(beta), float(column)) == pytest.approx(float(printed), abs=6e-5)


def test_there_are_42_venturi_coefficients():
    assert sum(len(row) - 1 for row in VENTURI[1:]) == 42


@pytest.mark.parametrize(("gamma", "printed"), [(1.385, 0.6822), (1.399, 0.6846)])
def test_choked_flow_function_is_the_venturi_coefficient_without_approach_speed(gamma, printed):
    # 40 CFR 1065.640, beta 0.
    assert gas.choked_flow_function(gamma) == pytest.approx(printed, abs=5e-5)


@pytest.mark.parametrize(("drop_kpa", "printed"), [(2.312, 0.274), (7.653, 0.472)])
def test_subsonic_venturi_coefficient(drop_kpa, printed):
    # 40 CFR 1065.640(c)(6) and 1066.625(b)(2)(v): inlet 99.132 kPa, gamma 1.399, beta 0.8.
    assert flows.venturi_coefficient(1.0 - drop_kpa / 99.132, 0.8, 1.399) == pytest.approx(printed, abs=5e-4)


def molar_flow(coefficient, flow_function, area_m2, inlet_pa, inlet_k, molar_kg):
    """mol/s, the mass flow of the project's choked nozzle scaled to another flow function."""
    r_gas = flows.R_MOLAR / molar_kg
    choked = gas.nozzle_mass_flow_kg_s(coefficient * area_m2, inlet_pa, 0.0, inlet_k, 1.4, r_gas)
    return choked * flow_function / gas.choked_flow_function() / molar_kg


def test_discharge_coefficient_from_a_reference_flow():
    # 40 CFR 1065.640(c)(6): 57.625 mol/s through 0.01824 m2 at 99.132 kPa and 298.15 K, M 28.7805; Cd 0.982.
    ideal = molar_flow(1.0, 0.274, 0.01824, 99132.0, 298.15, 0.0287805)
    assert 57.625 / ideal == pytest.approx(0.982, abs=5e-4)


def test_subsonic_molar_flow():
    # 40 CFR 1065.642(b): Cd 0.990, Cf 0.274 gives 58.173 mol/s; the regulation rounds on the way (0.3 %).
    assert molar_flow(0.990, 0.274, 0.01824, 99132.0, 298.15, 0.0287805) == pytest.approx(58.173, rel=3e-3)


def test_choked_molar_flow():
    # 40 CFR 1065.642(c): Cd 0.985, Cf 0.7219 (beta 0.7), 0.00456 m2, 98.836 kPa, 378.15 K: 33.690 mol/s.
    cf = flows.critical_venturi_coefficient(0.7, 1.399)
    assert molar_flow(0.985, cf, 0.00456, 98836.0, 378.15, 0.0287805) == pytest.approx(33.690, abs=2e-3)


def standard_volume(mol_s):
    """m3/s at 293.15 K and 101.325 kPa, the standard conditions of 40 CFR 1066."""
    return mol_s * flows.R_MOLAR * 293.15 / gas.STANDARD_PRESSURE_PA


def test_discharge_coefficient_from_a_standard_volume_flow():
    # 40 CFR 1066.625(b)(2)(v): 2.395 m3/s, Cf 0.472; Cd 0.985.
    ideal = standard_volume(molar_flow(1.0, 0.472, 0.01824, 99132.0, 298.15, 0.0287805))
    assert 2.395 / ideal == pytest.approx(0.985, abs=6e-4)


def test_subsonic_standard_volume_flow():
    # 40 CFR 1066.630(b): Cd 0.890, Cf 0.472, 98.496 kPa, 296.85 K, M 28.7789: 2.155 m3/s.
    flow = standard_volume(molar_flow(0.890, 0.472, 0.01824, 98496.0, 296.85, 0.0287789))
    assert flow == pytest.approx(2.155, abs=1e-3)


def test_choked_standard_volume_flow():
    # 40 CFR 1066.630(c): Kv 0.074954 m3 K^0.5/(kPa s), 99.654 kPa, 353.15 K: 0.39748 m3/s. Kv names the flow at
    # 1 kPa and 1 K, so the nozzle it stands for passes the rest by its own scaling.
    area = 0.074954 / standard_volume(molar_flow(1.0, 0.6847, 1.0, 1e3, 1.0, 0.0287805))
    flow = standard_volume(molar_flow(area, 0.6847, 1.0, 99654.0, 353.15, 0.0287805))
    assert flow == pytest.approx(0.39748, abs=5e-6)


@pytest.mark.parametrize(("downstream_pa", "printed_mm2", "within"), [(101_325.0, 3699.0, 1e-4), (532e3, 4248.0, 1e-3)])
def test_relief_area_of_another_gas(downstream_pa, printed_mm2, within):
    # API 520 Part I, examples 1 (choked) and 2 (subcritical), as quoted in the documentation of `fluids`:
    # 24270 kg/h, 348 K, Z 0.90, M 51, k 1.11, 670 kPa, Kd 0.975. API rounds its constants (0.1 %).
    per_m2 = gas.nozzle_mass_flow_kg_s(0.975, 670e3, downstream_pa, 348.0, 1.11, 8.314462618 / 0.051, 0.90)
    assert 24270.0 / 3600.0 / per_m2 * 1e6 == pytest.approx(printed_mm2, rel=within)


@pytest.mark.parametrize(("k", "printed"), [
    (1.01, 317), (1.10, 327), (1.20, 337), (1.30, 347), (1.40, 356), (1.60, 373), (1.66, 377),
])  # fmt: skip
def test_relief_coefficient_of_the_specific_heat_ratio(k, printed):
    # API 520 Part I, Table 8 (from memory): C = 520 sqrt(k (2/(k+1))^((k+1)/(k-1))) is 520 times our flow function.
    assert 520.0 * gas.choked_flow_function(k) == pytest.approx(printed, abs=0.5)


def test_relief_example_chokes_where_the_standard_says():
    # API 520 examples 1-2: k 1.11, 670 to 532 kPa is not choked, 670 to 101 kPa is.
    assert 101.0 / 670.0 < gas.critical_ratio(1.11) < 532.0 / 670.0


def test_critical_ratio_and_flow_function_of_air():
    # Aeronautical Engineer's Data Book, Table A4.2, M = 1 row: p/pt 0.5283. Flow function 0.6847 (from memory).
    assert gas.critical_ratio() == pytest.approx(0.5283, abs=5e-5)
    assert gas.choked_flow_function() == pytest.approx(0.6847, abs=5e-5)


def test_choking_starts_at_fourteen_inches():
    # An orifice maker's handbook: constant from 15 to 30 inHg; 29.92 inHg x (1 - 0.5283) = 14.11.
    assert 29.92 * (1.0 - gas.critical_ratio()) == pytest.approx(14.11, abs=0.005)


@pytest.mark.parametrize(("mach", "p_ratio", "area_ratio"), [
    (0.10, 0.9930, 5.8218), (0.50, 0.8430, 1.3398), (0.90, 0.5913, 1.0089), (1.00, 0.5283, 1.0000),
])  # fmt: skip
def test_isentropic_table_rows(mach, p_ratio, area_ratio):
    # A compressible-flow text, Table A.1: p/pt and A/A*. The flow function at p/pt over its choked value is A*/A.
    exact = (1.0 + 0.2 * mach**2) ** -3.5
    assert exact == pytest.approx(p_ratio, abs=5e-5)
    ours = gas.choked_flow_function() / float(gas.nozzle_flow_function(exact))
    assert ours == pytest.approx(area_ratio, abs=6e-5)


def test_moss_formula_of_1906():
    # S. A. Moss, American Machinist, 20 Sep 1906: W = 0.5303 A P / sqrt(T), lb/s, sq in, psia, degR; rounded down
    # by 0.27 % against the exact value for air.
    flow = gas.nozzle_mass_flow_kg_s(flows.INCH_M**2, PA_PER["psi"], 0.0, RANKINE_K)
    assert flow / flows.POUND_KG == pytest.approx(0.5303, rel=3.5e-3)


@pytest.mark.parametrize(("area_m2", "printed"), [
    (0.040, [52, 74, 91, 105, 117, 129, 139, 148, 157, 166, 174, 182, 189, 196, 203, 210, 216, 223]),
    (0.070, [92, 130, 159, 184, 205, 225, 243, 260, 276, 291, 305, 318, 331, 344, 356, 367, 379, 390]),
])  # fmt: skip
def test_small_pressure_differences_fall_back_to_the_door_leakage_formula(area_m2, printed):
    # Door-leakage worksheet, Q = 0.83 A dP^0.5 in m3/s, dP 2.5 to 45 Pa, printed in l/s; 0.83 is Cd 0.644 at
    # 1.204 kg/m3. The compressible nozzle must give it as its limit.
    room_k = gas.STANDARD_PRESSURE_PA / (gas.R_AIR * 1.204)
    cd = 0.83 * sqrt(1.204 / 2.0)
    for step, litres in enumerate(printed, start=1):
        flow = gas.nozzle_mass_flow_kg_s(
            cd * area_m2, gas.STANDARD_PRESSURE_PA, gas.STANDARD_PRESSURE_PA - 2.5 * step, room_k
        )
        assert flow / 1.204 * 1e3 == pytest.approx(litres, abs=0.55)


def test_throughput_of_a_square_millimetre():
    # Maximum of density times speed along the isentrope of real air (CoolProp 8.0): 239.31 kg/(s m2) at 20 C and
    # one atmosphere; the ideal gas is 0.06 % below. A pump maker's glossary gives the order, 100 mbar l/s for 1 mm.
    throughput = gas.choked_throughput_pa_m3_s(1e-6, gas.STANDARD_PRESSURE_PA, 293.15)
    assert throughput / (gas.R_AIR * 293.15) == pytest.approx(239.31e-6, rel=7e-4)
    assert 50.0 < 10.0 * throughput * pi / 4.0 < 200.0
    assert gas.area_of_throughput_m2(throughput, gas.STANDARD_PRESSURE_PA, 293.15) == pytest.approx(1e-6, rel=1e-12)


def test_flow_scales_as_a_nozzle_must():
    flow = gas.nozzle_mass_flow_kg_s(1e-6, 101_325.0, 20e3, 293.15)
    assert gas.nozzle_mass_flow_kg_s(3e-6, 101_325.0, 20e3, 293.15) == pytest.approx(3 * flow)
    assert gas.nozzle_mass_flow_kg_s(1e-6, 101_325.0, 5e3, 293.15) == flow
    assert gas.nozzle_mass_flow_kg_s(1e-6, 101_325.0, 101_325.0, 293.15) == 0.0
