"""The hold curve the fit uses, against closed forms and against an independent integrator.

The leak laws are written out anew here; only the curve under test comes from the project.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad, solve_ivp

from analysis import gas, holdmodel, laws

ROOM_PA = 101_325.0
ROOM_K = 293.15
VOLUME_M3 = 0.100
START_PA = 15_000.0
NOTHING = -60.0
RATE_PA_S = 201.262
"""Rise of 0.1 m3 through 1 mm2, choked, at 20 C: 0.684731 x 101325 Pa x sqrt(287.05287 x 293.15) x 1e-6 m2 / 0.1 m3."""


def law_named(kind, variant=None):
    return next(law for law in laws.family() if (law.kind, law.variant) == (kind, variant))


def curve(law, t_s, rate_pa_s, terms=()):
    """Pressures at ``t_s`` (from the shut, first at 0) of a hold that starts at 15 kPa."""
    dt = np.diff(t_s)
    n = dt.size
    course = holdmodel.Course(
        dt_s=dt, p_pa=np.full(n, START_PA), hold=np.zeros(n, dtype=np.intp),
        since_shut_s=t_s[1:], start_since_shut_s=np.zeros(1), room_pa=ROOM_PA, first_pa=START_PA,
    )  # fmt: skip
    theta = np.zeros((1, course.npar))
    theta[0, [holdmodel.LN_MOIST, holdmodel.LN_PORE, holdmodel.LN_WARMTH, holdmodel.NCOMMON + 1]] = NOTHING
    theta[0, holdmodel.LN_RATE] = np.log(rate_pa_s)
    theta[0, holdmodel.NCOMMON] = START_PA
    for place, value in terms:
        theta[0, place] = value
    return holdmodel.predict(course, holdmodel.make_tables((law,)), theta, np.zeros(1, dtype=np.intp))[0]


def nozzle(r):
    """St Venant and Wantzel relative to choked flow, gamma 1.4, in the form of the speed at the throat."""
    r = max(r, (5.0 / 6.0) ** 3.5)
    mach = np.sqrt(5.0 * (r ** (-2.0 / 7.0) - 1.0))
    return mach * (1.0 + 0.2 * mach**2) ** -3 * 1.2**3


def perry(r):
    """Sharp-edged orifice, J. A. Perry 1949, as given in pneumatics handbooks."""
    return 0.8414 - 0.1002 * r + 0.8415 * r**2 - 3.9 * r**3 + 4.6001 * r**4 - 1.6827 * r**5


SHAPES = {
    ("hole", None): nozzle,
    ("hole", "sharp"): lambda r: nozzle(r) * perry(r) / perry(0.2),
    ("seep", None): lambda r: (1.0 - r * r) / (1.0 - 0.04),
    ("seep", "slip"): lambda r: (1.0 - ((r + 0.3) / 1.3) ** 2) / (1.0 - (0.5 / 1.3) ** 2),
}


def integrated(slope, start, t_s):
    """An independent integrator: eighth-order Runge-Kutta to ten digits."""
    out = solve_ivp(slope, (0.0, t_s[-1]), np.atleast_1d(start), "DOP853", t_s, rtol=1e-10, atol=1e-6)
    assert out.success
    return out.y[0]


def test_the_rate_of_rise_of_the_reference_case():
    # Ours, by hand from the constants; 201.3 Pa m3/s per cm2 stands in the order of a pump maker's glossary.
    assert gas.choked_throughput_pa_m3_s(1e-6, ROOM_PA, ROOM_K) / VOLUME_M3 == pytest.approx(RATE_PA_S, abs=5e-4)


def test_whole_curve_of_a_hole():
    # 0.1 m3, 1 mm2, 15 kPa: straight to the choke at 191.432 s, then the bend (high-precision table of the closed
    # quadrature, computed apart from this project).
    t = np.arange(0.0, 565.0, 1.0)
    p = np.concatenate([[START_PA], curve(law_named("hole"), t, RATE_PA_S)])
    table = {60: 27075.75, 120: 39151.50, 180: 51227.24, 240: 63236.22, 300: 74634.83, 400: 90343.03, 500: 99601.39}
    for second, expected in table.items():
        assert p[second] == pytest.approx(expected, abs=0.25), second
    assert p[563] < ROOM_PA
    assert ROOM_PA - p[563] < 1.0


def test_straight_while_choked_then_bending():
    # Choking ends at 191.432 s, (0.528282 x 101325 - 15000) / 201.262.
    t = np.arange(0.0, 250.0, 0.5)
    p = np.concatenate([[START_PA], curve(law_named("hole"), t, RATE_PA_S)])
    straight = START_PA + RATE_PA_S * t
    off = straight - p
    assert np.abs(off[t < 190.0]).max() < 1.0
    assert 0.1 < off[t == 200.0][0] < 1.0
    assert off[-1] > 100.0


def test_subsonic_part_lasts_its_own_time():
    # From the choke to the room: 1.080123 V / (A sqrt(R T)) = 372.347 s, by quadrature of the law written here.
    critical = (5.0 / 6.0) ** 3.5
    whole, _ = quad(lambda u: 2.0 * u / nozzle(1.0 - u * u), 0.0, np.sqrt(1.0 - critical), epsabs=1e-12)
    assert whole / gas.choked_flow_function() == pytest.approx(1.080123, abs=2e-6)
    assert whole * ROOM_PA / RATE_PA_S == pytest.approx(372.347, abs=2e-3)


def test_seep_is_a_tanh():
    # Closed form of dp/dt = G (p0^2 - p^2).
    t = np.arange(0.0, 900.0, 2.0)
    rate = 150.0
    g = rate / (ROOM_PA**2 * (1.0 - 0.04))
    expected = ROOM_PA * np.tanh(np.arctanh(START_PA / ROOM_PA) + g * ROOM_PA * t)
    np.testing.assert_allclose(curve(law_named("seep"), t, rate), expected[1:], atol=0.5)


@pytest.mark.parametrize("kind", list(SHAPES))
def test_curve_of_every_end_law_against_an_independent_integrator(kind):
    t = np.arange(0.0, 700.0, 2.0)
    shape = SHAPES[kind]
    expected = integrated(lambda _, p: [RATE_PA_S * shape(min(p[0] / ROOM_PA, 1.0))], START_PA, t)
    below = expected < 0.95 * ROOM_PA  # what a fit uses
    ours = np.concatenate([[START_PA], curve(law_named(*kind), t, RATE_PA_S)])
    np.testing.assert_allclose(ours[below], expected[below], atol=0.5)


MIXES = [x for x in laws.family() if x.kind == "between"]


@pytest.mark.parametrize(("law", "share"), list(zip(MIXES, laws.MIX_SHARES, strict=True)))
def test_curve_of_a_hole_beside_a_seep(law, share):
    def shape(r):
        return share * nozzle(r) + (1.0 - share) * (1.0 - r * r) / 0.96

    t = np.arange(0.0, 500.0, 2.0)
    expected = integrated(lambda _, p: [RATE_PA_S * shape(min(p[0] / ROOM_PA, 1.0))], START_PA, t)
    below = expected < 0.95 * ROOM_PA
    np.testing.assert_allclose(np.r_[START_PA, curve(law, t, RATE_PA_S)][below], expected[below], atol=0.5)


def test_stored_air_and_moisture_beside_a_leak_against_an_independent_integrator():
    # Pore node C dp_p/dt = -g (p_p^2 - p^2), moisture and warming gas saturating from the shut.
    t = np.arange(0.0, 600.0, 0.25)
    leak, pore, pore_rate, moist, tau_moist, warm, tau_gas = 20.0, 0.06, 0.01, 1200.0, 30.0, 900.0, 5.0
    fill = 0.8
    terms = [
        (holdmodel.LN_PORE, np.log(pore)), (holdmodel.LN_PORE_RATE, np.log(pore_rate)), (holdmodel.PORE_FILL, fill),
        (holdmodel.LN_MOIST, np.log(moist)), (holdmodel.LN_TAU_MOIST, np.log(tau_moist)),
        (holdmodel.MIX, np.log(tau_gas)), (holdmodel.NCOMMON + 1, np.log(warm)),
    ]  # fmt: skip

    def slope(time, state):
        p, stored = state
        out = pore_rate / ROOM_PA * (stored**2 - p**2)
        release = moist / tau_moist * np.exp(-time / tau_moist) + warm / tau_gas * np.exp(-time / tau_gas)
        return [leak * nozzle(p / ROOM_PA) + pore * out + release, -out]

    expected = integrated(slope, [START_PA, START_PA + fill * (ROOM_PA - START_PA)], t)
    np.testing.assert_allclose(curve(law_named("hole"), t, leak, terms), expected[1:], atol=2.0)
    assert expected[-1] - START_PA > 1.2 * leak * 600.0  # the release does show
