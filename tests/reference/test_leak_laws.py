"""Leak laws and discharge coefficients against figures of other origin."""

from __future__ import annotations

from math import pi, sqrt

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import least_squares

from analysis import gas, laws


def jobson(r, incompressible=0.60, gamma=1.4):
    """Contraction of a compressible jet, A. J. Jobson, Proc. I.Mech.E. 169 (1955) 767 (formula from memory)."""
    defect = 1.0 / incompressible - 0.5 / incompressible**2
    speed = 2.0 * gamma / (gamma - 1.0) * r ** (2.0 / gamma) * (1.0 - r ** ((gamma - 1.0) / gamma))
    whole = 2.0 * defect * r ** (1.0 / gamma)
    return (1.0 - sqrt(1.0 - 4.0 * r ** (2.0 / gamma) * (1.0 - r) * defect / speed)) / whole


@pytest.mark.parametrize("r", [0.9, 0.8, 0.7, 0.6, 0.5283])
def test_perrys_coefficient_against_jobsons_theory(r):
    # Two ways that share nothing: a polynomial through measurements of 1949 and a momentum theory of 1955.
    assert float(gas.sharp_orifice_coefficient(r)) == pytest.approx(jobson(r), rel=0.01)


@pytest.mark.parametrize(("r", "printed"), [(0.0, 0.84), (1.0, 0.60)])
def test_ends_of_perrys_coefficient(r, printed):
    # Pneumatics help page of a modelling package: 0.84 into a vacuum, 0.60 without compressibility.
    assert float(gas.sharp_orifice_coefficient(r)) == pytest.approx(printed, abs=0.002)


def test_coefficient_lies_in_weisbachs_range_and_rises_as_the_ratio_falls():
    # Weisbach, in Encyclopaedia Britannica, 11th ed., "Hydraulics": sharp-edged 0.563 to 0.788, rising with
    # pressure (over 0.23-1.1 atm effective, r about 0.48 to 0.81). Bragg 1960: it rises as p2/p1 falls.
    r = np.linspace(0.48, 0.81, 30)
    measured = gas.sharp_orifice_coefficient(r)
    assert np.all((measured > 0.563) & (measured < 0.788))
    assert np.all(np.diff(gas.sharp_orifice_coefficient(np.linspace(0.1, 0.99, 60))) < 0)


def test_sharp_hole_drifts_as_told():
    # By the same polynomial a sharp hole loses 12 % between 15 kPa and the choke and 27 % by 96 kPa.
    cd = gas.sharp_orifice_coefficient(np.array([15.0, 53.5, 96.0]) / 101.325)
    assert 1.0 - cd[1] / cd[0] == pytest.approx(0.12, abs=0.005)
    assert 1.0 - cd[2] / cd[0] == pytest.approx(0.27, abs=0.01)


# St Venant-Wantzel and the ellipse of ISO 6358 with b 0.528, relative to choked flow; computed apart from this
# project from the two formulas (the standard's form read in two modelling packages' help pages).
@pytest.mark.parametrize(("r", "exact", "ellipse"), [
    (0.6, 0.98859, 0.98830), (0.7, 0.93222, 0.93124), (0.8, 0.81880, 0.81726), (0.9, 0.61715, 0.61550),
    (0.95, 0.44929, 0.44793), (0.99, 0.20543, 0.20475),
])  # fmt: skip
def test_hole_and_its_ellipse(r, exact, ellipse):
    assert float(laws.hole_flow(r)) == pytest.approx(exact, abs=6e-6)
    assert float(laws.extended_iso6358(r, 0.528, 0.5)) == pytest.approx(ellipse, abs=6e-6)


def test_ellipse_stays_near_the_nozzle():
    r = np.linspace(0.0, 0.9999, 2000)
    ratio = laws.extended_iso6358(r, 0.528, 0.5) / laws.hole_flow(r)
    assert np.abs(ratio - 1.0).max() == pytest.approx(0.0033, abs=4e-4)


def test_sonic_conductance_of_a_square_millimetre():
    # ISO 6358-1 / ISO 8778 reference state 293.15 K, 100 kPa, 1.185 kg/m3 (from memory): C = 1.992e-9 m3/(s Pa).
    flow = gas.nozzle_mass_flow_kg_s(1e-6, 1e5, 0.0, 293.15)
    assert flow / 1.185 / 1e5 == pytest.approx(1.992e-9, rel=5e-4)


# Flow relative to full vacuum at 15, 30, 53.5, 80 and 95 kPa against 101.325: figures computed apart from this project.
@pytest.mark.parametrize(("flow", "printed"), [
    (laws.hole_flow, [1.0, 1.0, 1.0, 0.834, 0.499]), (laws.seep_flow, [0.978, 0.912, 0.721, 0.377, 0.121]),
])  # fmt: skip
def test_shape_of_the_end_laws(flow, printed):
    ratios = np.array([15.0, 30.0, 53.5, 80.0, 95.0]) / 101.325
    np.testing.assert_allclose(flow(ratios), printed, atol=6e-4)


def test_laminar_law_is_the_integral_of_hagen_and_poiseuille():
    # Levenspiel, Engineering Flow and Heat Exchange, eq. 4.15: Q = pi d^4 (pu^2 - pd^2)/(256 mu L); 0.1 mm bore,
    # 18 mm long, 101325 to 20000 Pa: 0.0371 Pa m3/s. Here the pressure along the bore is integrated instead.
    bore, length, mu = 1e-4, 0.018, gas.viscosity_pa_s(293.15)
    throughput = pi * bore**4 * (101_325.0**2 - 20_000.0**2) / (256.0 * mu * length)
    assert throughput == pytest.approx(0.0371, abs=5e-5)

    def gradient(_, p):
        return -128.0 * mu * (throughput / p) / (pi * bore**4)

    along = solve_ivp(gradient, (0.0, length), [101_325.0], rtol=1e-10, atol=1e-6)
    assert along.y[0, -1] == pytest.approx(20_000.0, rel=1e-5)
    full = throughput / float(laws.seep_flow(20_000.0 / 101_325.0))
    assert full == pytest.approx(pi * bore**4 * 101_325.0**2 / (256.0 * mu * length), rel=1e-12)


# A hole and a seep that give the same inflow at r give areas in this ratio (figures of the design of the method).
@pytest.mark.parametrize(("r", "ratio"), [(0.5, 1.28), (0.6, 1.48), (0.8, 2.2)])
def test_spread_between_the_laws(r, ratio):
    assert laws.spread(r) == pytest.approx(ratio, rel=0.01)


@pytest.mark.parametrize("share", [0.1, 0.2, 0.4, 0.5, 0.6, 0.8, 0.9])
def test_one_form_is_near_every_mixture(share):
    # One (b, m) can reproduce any mix within 1.4 % of the full flow; the least-squares one stays within 2.2 %, and
    # no other start of another solver finds a nearer one. Mixture and form are written out here.
    r = np.linspace(0.1, 0.99, 60)
    mixed = share * gas.nozzle_flow_function(r) / gas.choked_flow_function() + (1.0 - share) * (1.0 - r * r) / 0.96

    def off(v):
        b, m = v
        form = (1.0 - np.clip((r - b) / (1.0 - b), 0.0, 1.0) ** 2) ** m
        return form / (1.0 - max((0.2 - b) / (1.0 - b), 0.0) ** 2) ** m - mixed

    ours = off(laws.equivalent_form(laws.mixture(share)))
    assert np.abs(ours).max() < 0.022
    starts = ((0.0, 1.0), (0.5, 0.5), (0.1, 0.9), (-0.2, 1.0))
    nearest = min(least_squares(off, at, bounds=((-1.0, 0.3), (0.6, 1.5))).cost for at in starts)
    assert 0.5 * np.sum(ours**2) < 1.001 * nearest


def test_a_mixture_of_nothing_but_seep_is_the_seeps_form():
    # b 0 and m 1 are exactly the laminar compressible law.
    assert laws.equivalent_form(laws.mixture(0.0)) == pytest.approx((0.0, 1.0), abs=1e-3)


@pytest.mark.parametrize("b", [-0.1, -0.3, -1.0])
def test_seep_with_slip_is_exactly_the_form_with_a_negative_b(b):
    # (1 - b)^2 - (r - b)^2 = (1 - r^2) - 2 b (1 - r): at r 0.2 the slip's part is -1.6 b of 0.96 - 1.6 b.
    share = -1.6 * b / (0.96 - 1.6 * b)
    assert laws.slip_b(share) == pytest.approx(b, rel=1e-12)
    r = np.linspace(0.0, 1.0, 41)
    form = (1.0 - ((r - b) / (1.0 - b)) ** 2) / (1.0 - ((0.2 - b) / (1.0 - b)) ** 2)
    together = share * laws.slip_flow(r) / 0.8 + (1.0 - share) * laws.seep_flow(r) / 0.96
    np.testing.assert_allclose(together, form, atol=1e-12)


def test_slip_reaches_as_far_as_b_minus_one():
    (slip,) = [law for law in laws.family() if law.variant == "slip"]
    assert slip.own == (0.0, pytest.approx(1.6 / 2.56))


def test_the_family_is_a_fair_start():
    # Before any data: the probabilities sum to 1, and neither pure kind is favoured over the other.
    priors = {k: sum(law.prior for law in laws.family() if law.kind == k) for k in ("hole", "seep", "between")}
    assert sum(priors.values()) == pytest.approx(1.0)
    assert priors["hole"] == pytest.approx(priors["seep"])
    assert [law.variant for law in laws.family() if law.kind == "hole"] == [None, None, "sharp"]


@pytest.mark.parametrize("kind", laws.family(), ids=lambda law: f"{law.kind}-{law.variant}")
def test_every_law_is_one_at_the_reference_and_nothing_at_the_room(kind):
    assert float(laws.relative_flow(kind, 0.2)) == pytest.approx(1.0)
    assert float(laws.relative_flow(kind, 1.0)) == pytest.approx(0.0, abs=1e-6)
    flow = laws.relative_flow(kind, np.linspace(0.0, 1.0, 101))
    assert np.all(np.diff(flow) < 1e-12)


@pytest.mark.parametrize("inertial", [0.0, 0.3, 0.9])
def test_a_crack_loses_pressure_by_stickiness_and_inertia_in_series(inertial):
    # Forchheimer 1901, for a gas: a q + b q**2 = p1**2 - p2**2, here over its value at r 0.2.
    r = np.linspace(0.05, 0.999, 40)
    q = laws.crack_flow(r, inertial)
    np.testing.assert_allclose((1.0 - inertial) * q + inertial * q**2, (1.0 - r**2) / 0.96, rtol=1e-12)
    assert float(laws.crack_flow(0.2, inertial)) == pytest.approx(1.0)
