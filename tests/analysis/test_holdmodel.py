"""The hold model's balances and bounds. Its curves are held to outside integrators in ``tests/reference``."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.special import ndtri

from analysis.compiling import compiled
from analysis.course import Course, Driven, Held
from analysis.holdmodel import make_tables, mix_share, predict, predict_with_slopes
from analysis.laws import family, hole_flow, seep_flow
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

ROOM_PA = 101_325.0
PURE_HOLE, HOLE, SHARP, BETWEEN, INERTIAL, PURE_SEEP, SEEP, SLIP = family()
NOTHING = -60.0
NO_STEPS = Driven(np.empty(0), np.empty(0))


def course(*stretches, start_pa=15_000.0, first_pa=None, bow=0.0):
    """Steps of 1 s, read after each: ``("hold", seconds)`` or ``("driven", seconds, pressure)``."""
    driven, held, before = [], [], NO_STEPS
    for kind, seconds, *level in stretches:
        if kind == "hold":
            driven.append(before)
            held.append(Held(np.arange(seconds + 1.0), np.eye(seconds + 1)[:, 1:]))
            before = NO_STEPS
        else:
            before = joined(before, Driven(np.ones(seconds), np.full(seconds, level[0])))
    return Course(tuple(driven), tuple(held), ROOM_PA, start_pa if first_pa is None else first_pa, bow)


def joined(before, after):
    return Driven(np.r_[before.dt_s, after.dt_s], np.r_[before.p_pa, after.p_pa])


def parameters(plan, rate=100.0, start_pa=15_000.0, **terms):
    """A quiet box with a leak; named terms are the parameters' own values, not their logarithms."""
    theta = np.zeros(plan.npar)
    theta[[LN_MOIST, LN_PORE, LN_PORE_RATE, LN_WARMTH]] = NOTHING
    theta[LN_TAU_MOIST], theta[PORE_FILL], theta[MIX] = np.log(25.0), 0.0, 9.0
    theta[LN_RATE] = np.log(rate) if rate else NOTHING
    for i in range(plan.nhold):
        theta[NCOMMON + PER_HOLD * i : NCOMMON + PER_HOLD * (i + 1)] = start_pa, 0.0, 0.0
    places = {"moist": LN_MOIST, "tau": LN_TAU_MOIST, "pore": LN_PORE, "pore_rate": LN_PORE_RATE, "warmth": LN_WARMTH}
    for name, place in places.items():
        if name in terms:
            theta[place] = np.log(terms[name])
    theta[ZERO], theta[PORE_FILL] = terms.get("zero", 0.0), terms.get("fill", 0.0)
    return theta


def curve(plan, theta, law=HOLE):
    return predict(plan, make_tables((law,)), theta[None], np.zeros(1, dtype=np.intp))[0]


# --- the leak --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("law", family(), ids=lambda law: f"{law.kind}-{law.variant}")
@pytest.mark.parametrize("rate", [1.0, 1e3, 1e4, 1e5, 1e7])
def test_the_room_is_never_exceeded_however_large_the_leak(law, rate):
    plan = course(("hold", 200))
    p = curve(plan, parameters(plan, rate), law)
    assert p.max() <= ROOM_PA * (1.0 + 1e-9)
    assert rate < 1e4 or p.max() > 0.98 * ROOM_PA


@pytest.mark.parametrize("rate", [
    1.0, 100.0, 1e3, 3e3, 1e4, 3e4, 1e5, 1e7,
])  # fmt: skip
def test_a_leak_alone_never_lets_the_pressure_fall(rate):
    # Pa/s at one fifth of room pressure, a reading a second; a thousandth of room pressure is left to the last bend.
    plan = course(("hold", 200))
    p = curve(plan, parameters(plan, rate))
    assert np.diff(p).min() > -1e-3 * ROOM_PA


def test_no_leak_stays_where_it_starts():
    plan = course(("hold", 100))
    p = predict(plan, make_tables((None,)), parameters(plan, 1e3)[None], np.zeros(1, dtype=np.intp))[0]
    np.testing.assert_allclose(p, 15_000.0, rtol=1e-12)


def test_every_law_gives_the_stated_rate_at_one_fifth_of_room_pressure():
    # Started so that a short rise passes 20 265 Pa in its middle: 100 Pa/s there whatever the law.
    plan = course(("hold", 20))
    for law in family():
        p = curve(plan, parameters(plan, start_pa=0.2 * ROOM_PA - 1000.0), law)
        assert (p[-1] - p[0]) / 19.0 == pytest.approx(100.0, rel=2e-3), law


def test_rows_are_each_their_own():
    # Whatever stands beside a row in one sweep, its curve is the same.
    plan = course(("hold", 60))
    tables = make_tables(family())
    theta = np.stack([parameters(plan, rate) for rate in (10.0, 400.0, 1e4)])
    member = np.array([3, 0, 4], dtype=np.intp)
    together = predict(plan, tables, theta, member)
    for i in range(3):
        alone = predict(plan, tables, theta[i : i + 1], member[i : i + 1])[0]
        np.testing.assert_allclose(together[i], alone, rtol=1e-12)


def test_a_ratio_of_a_holds_leak_scales_that_hold_alone():
    plan = course(("hold", 60), ("driven", 20, 15_000.0), ("hold", 60))
    theta = parameters(plan)
    theta[NCOMMON + 2] = np.log(1.5)
    p = curve(plan, theta)
    assert p[59] - p[0] == pytest.approx(1.5 * 5900.0, rel=1e-6)
    assert p[119] - p[60] == pytest.approx(5900.0, rel=1e-6)


def test_an_even_probit_is_the_middle_of_a_laws_range():
    assert mix_share(np.array([0.0, ndtri(0.2)])) == pytest.approx([0.5, 0.2])


# --- balance ---------------------------------------------------------------------------------------------


def test_what_the_pores_lose_the_box_gains():
    # Without a leak: p + C p_pore is kept, C the pores' volume over the box's; after long both are one pressure.
    pore, fill = 0.05, 1.0
    plan = course(("hold", 4000))
    p = curve(plan, parameters(plan, 0.0, pore=pore, pore_rate=0.01, fill=fill))
    total = 15_000.0 + pore * ROOM_PA
    assert p[-1] == pytest.approx(total / (1.0 + pore), rel=1e-4)
    assert np.all(np.diff(p) > -1e-9)


def test_pores_take_air_back_when_they_were_drawn_down():
    # Ten minutes at 5 kPa, then a hold at 60 kPa: half-empty pores draw, and the box's pressure falls.
    plan = course(("driven", 600, 5_000.0), ("hold", 300), first_pa=ROOM_PA)
    p = curve(plan, parameters(plan, 0.0, 60_000.0, pore=0.05, pore_rate=0.02, fill=1.0))
    assert p[-1] < 60_000.0 - 500.0
    # All they can take: up to their share of what is there.
    assert p[-1] > 60_000.0 / 1.05 - 1.0


def test_soaking_empties_the_pores():
    rises = []
    for soak in (5, 60, 300):
        plan = course(("driven", soak, 15_000.0), ("hold", 200), first_pa=ROOM_PA)
        p = curve(plan, parameters(plan, 0.0, pore=0.05, pore_rate=0.01, fill=1.0))
        rises.append(p[-1] - 15_000.0)
    assert rises[0] > 1.3 * rises[1] > 1.3**2 * rises[2] > 0.0


def test_a_redraw_finds_the_pores_as_the_first_hold_left_them():
    # Two holds in one course end where the second alone ends when told the pores' state by the same physics.
    stages = (("driven", 60, 15_000.0), ("hold", 120), ("driven", 60, 15_000.0), ("hold", 120))
    plan = course(*stages, first_pa=ROOM_PA)
    theta = parameters(plan, 0.0, pore=0.05, pore_rate=0.01, fill=1.0)
    both = curve(plan, theta)
    held = both[:120]
    # The first hold written out as driven steps at the pressures it ran through.
    through = [("driven", 1, 0.5 * (a + b)) for a, b in pairwise(np.r_[15_000.0, held])]
    alone = course(("driven", 60, 15_000.0), *through, ("driven", 60, 15_000.0), ("hold", 120), first_pa=ROOM_PA)
    second = curve(alone, parameters(alone, 0.0, pore=0.05, pore_rate=0.01, fill=1.0))
    np.testing.assert_allclose(both[120:], second, atol=2.0)
    assert both[-1] - both[120] < 0.8 * (held[-1] - held[0])


def test_moisture_rises_to_its_ceiling_and_no_further():
    plan = course(("hold", 600))
    p = curve(plan, parameters(plan, 0.0, moist=1200.0, tau=30.0))
    np.testing.assert_allclose(p, 15_000.0 + 1200.0 * -np.expm1(-np.arange(1.0, 601.0) / 30.0), atol=0.01)


def test_moisture_comes_back_on_every_hold():
    plan = course(("hold", 200), ("driven", 30, 15_000.0), ("hold", 200))
    p = curve(plan, parameters(plan, 0.0, moist=1200.0, tau=10.0))
    assert p[199] == pytest.approx(16_200.0, abs=1.0)
    assert p[399] == pytest.approx(16_200.0, abs=1.0)


# --- heat ------------------------------------------------------------------------------------------------


def test_cold_gas_comes_back_by_what_it_lacked():
    plan = course(("hold", 300))
    theta = parameters(plan, 0.0, warmth=1e-4)
    theta[NCOMMON + 1] = 800.0
    p = curve(plan, theta)
    assert p[-1] == pytest.approx(15_800.0, rel=3e-3)
    # Time constant n 2.5 W p: 0.148 x 2.5 x 1e-4 x 101 325 = 3.75 s, so 63 % of it by then.
    assert np.interp(3.75, np.arange(1.0, 301.0), p) == pytest.approx(15_000.0 + 0.63 * 800.0, rel=5e-3)


def test_warm_gas_goes_back_by_what_it_had_too_much():
    plan = course(("hold", 300))
    theta = parameters(plan, 0.0, warmth=1e-4)
    theta[NCOMMON + 1] = -300.0
    assert curve(plan, theta)[-1] == pytest.approx(14_700.0, rel=1e-3)


def integrated(rate, flow, warmth, start_pa, t_s):
    """Pressures, Pa, of a box shut at 0 s whose inflow warms its gas: scipy on the energy balance of the design."""
    def slopes(_, y):
        mass, warm = y
        r = min(mass * (1.0 + warm), 1.0)
        q = rate / ROOM_PA * float(flow(r) / flow(0.2))
        lost = 1.0 / (2.5 * warmth * ROOM_PA)
        return [q, (0.4 * q - (q + lost) * warm) / mass]

    got = solve_ivp(slopes, (0.0, t_s[-1]), [start_pa / ROOM_PA, 0.0], "LSODA", t_s, rtol=1e-9, atol=1e-12)
    return ROOM_PA * got.y[0] * (1.0 + got.y[1])


@pytest.mark.parametrize(("law", "flow"), [(PURE_HOLE, hole_flow), (PURE_SEEP, seep_flow)], ids=["hole", "seep"])
@pytest.mark.parametrize("rate", [300.0, 3e3, 8e3])
@pytest.mark.parametrize("start_s", [0.5, 2.0])
def test_a_hold_read_late_knows_how_warm_its_inflow_has_made_it(law, flow, rate, start_s):
    # 300 Pa/s to 8 kPa/s: 0.5 mm2 to 5 mm2 on 32 to 12 L; the first reading comes when up to 16 kPa are in.
    warmth = 0.032 / (2.5 * 293.15)
    t = np.arange(start_s, start_s + 6.0, 0.05)
    truth = integrated(rate, flow, warmth, 20_000.0, np.r_[0.0, t])[1:]
    held = Held(t, np.eye(t.size)[:, 1:])
    plan = Course((NO_STEPS,), (held,), ROOM_PA, 20_000.0, 0.0)
    p = curve(plan, parameters(plan, rate, truth[0], warmth=warmth), law)
    np.testing.assert_allclose(p, truth[1:], atol=max(2.0, 2e-3 * rate))


def test_a_small_leaks_inflow_warms_nothing():
    # 0.01 mm2 against h A of 2.5 W/K: 0.2 / 2.5 = 0.08 K, 0.03 %.
    plan = course(("hold", 120))
    warmth = 0.032 / (2.5 * 293.15)
    cold, warm = (curve(plan, parameters(plan, 6.29, **more)) for more in ({}, {"warmth": warmth}))
    assert 0.0 < warm[-1] / cold[-1] - 1.0 < 5e-4


# --- gauge and bow ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("zero", [-300.0, 300.0])
def test_a_zero_error_moves_the_reading_and_not_the_box(zero):
    # The box starts where the gauge says less its error; a seep shows the difference in its slope.
    plan = course(("hold", 60))
    with_zero = curve(plan, parameters(plan, 300.0, 50_000.0, zero=zero), SEEP)
    true = curve(plan, parameters(plan, 300.0, 50_000.0 - zero), SEEP)
    np.testing.assert_allclose(with_zero, true + zero, rtol=1e-12)


def test_a_box_that_bows_gives_way_and_slows_the_rise():
    # V(p) = V (1 - b (1 - r)): d(p V)/dt = q gives dp/dt = q / V / (1 - b + 2 b r).
    bow = 0.05
    plan = course(("hold", 50), bow=bow / ROOM_PA)
    p = curve(plan, parameters(plan, 100.0, 15_000.0))
    r = 0.5 * (p[:-1] + p[1:]) / ROOM_PA
    np.testing.assert_allclose(np.diff(p), 100.0 / (1.0 - bow + 2.0 * bow * r), rtol=1e-4)


def test_a_box_may_bow_more_than_its_measures_say():
    plan = course(("hold", 200), bow=0.025 / ROOM_PA)
    twice = parameters(plan)
    twice[LN_BOW] = np.log(2.0)
    bowed = curve(course(("hold", 200), bow=0.05 / ROOM_PA), parameters(plan))
    np.testing.assert_allclose(curve(plan, twice), bowed, rtol=1e-12)
    assert bowed[-1] - curve(plan, parameters(plan))[-1] > 100.0


# --- slopes ----------------------------------------------------------------------------------------------


def every_term(plan, mix):
    """A box in which every parameter moves the readings, off the kinks of ceilings and bounds."""
    terms = {"moist": 400.0, "tau": 30.0, "pore": 0.03, "pore_rate": 0.02, "warmth": 5e-5, "fill": 0.6, "zero": 150.0}
    theta = parameters(plan, 300.0, **terms)
    theta[MIX], theta[LN_BOW] = mix, 0.2
    for i in range(plan.nhold):
        theta[NCOMMON + PER_HOLD * i :][:PER_HOLD] = 15_000.0 + 2_000.0 * i, 300.0, 0.1 * i
    return theta


@pytest.mark.parametrize("law", [*family(), None], ids=lambda law: f"{law.kind}-{law.variant}" if law else "none")
@pytest.mark.parametrize("mix", [-1.0, 0.4])
def test_slopes_are_those_of_the_curve(law, mix):
    # Two holds with a let-up between, every parameter against the difference of two curves.
    plan = replace(
        course(("driven", 30, 20_000.0), ("hold", 60), ("driven", 10, 20_000.0), ("hold", 40), first_pa=60_000.0,
               bow=2e-7), moisture_most_pa=1_500.0,
    )  # fmt: skip
    tables, theta, member = make_tables((law,)), every_term(plan, mix), np.zeros(1, dtype=np.intp)
    p, slopes = predict_with_slopes(plan, tables, theta[None], member)
    np.testing.assert_array_equal(p, predict(plan, tables, theta[None], member))
    for k in range(plan.npar):
        step = 1e-4 * (1.0 + 0.1 * abs(theta[k]))
        beside = np.repeat(theta[None], 2, axis=0)
        beside[:, k] += step, -step
        ahead, behind = predict(plan, tables, beside, np.zeros(2, dtype=np.intp))
        wanted = (ahead - behind) / (2.0 * step)
        np.testing.assert_allclose(slopes[0, k], wanted, rtol=1e-4, atol=1e-5 * np.abs(wanted).max() + 1e-6)
        assert np.abs(wanted).max() > 0.0 or k == MIX or law is None


def test_slopes_of_a_full_box_and_of_wild_parameters_stay_finite():
    rng = np.random.default_rng(17)
    plan = course(("driven", 20, 20_000.0), ("hold", 60), ("driven", 10, 20_000.0), ("hold", 30), first_pa=ROOM_PA)
    theta = rng.normal(0.0, 100.0, (400, plan.npar))
    theta[:, [NCOMMON, NCOMMON + PER_HOLD]] *= 1e3
    theta[0] = parameters(plan, 1e7)
    _, slopes = predict_with_slopes(plan, make_tables(family()), theta, rng.integers(0, 5, 400).astype(np.intp))
    assert np.isfinite(slopes).all()
    # A box long full takes nothing more in, however large its leak.
    assert np.abs(slopes[0, LN_RATE, 20:60]).max() < 1e-6 * ROOM_PA


# --- wild values -----------------------------------------------------------------------------------------


def test_wild_parameters_stay_finite():
    rng = np.random.default_rng(17)
    plan = course(("driven", 20, 20_000.0), ("hold", 60), ("driven", 10, 20_000.0), ("hold", 30), first_pa=ROOM_PA)
    theta = rng.normal(0.0, 100.0, (400, plan.npar))
    theta[:, [NCOMMON, NCOMMON + PER_HOLD]] *= 1e3
    member = rng.integers(0, 5, 400).astype(np.intp)
    with np.errstate(over="ignore", under="ignore"):
        p = predict(plan, make_tables(family()), theta, member)
    assert np.isfinite(p).all()


def test_a_parameter_that_is_no_number_spoils_its_own_row_alone():
    plan = course(("hold", 30))
    theta = np.stack([parameters(plan), parameters(plan), parameters(plan)])
    theta[1, LN_MOIST] = np.nan
    p = predict(plan, make_tables((HOLE,)), theta, np.zeros(3, dtype=np.intp))
    assert np.isnan(p[1]).all()
    np.testing.assert_array_equal(p[0], p[2])
    assert np.isfinite(p[0]).all()


def test_what_cannot_be_kept_on_disk_is_compiled_all_the_same():
    # A function without a file has no place beside it.
    made: dict = {}
    exec("def twice(x):\n    return 2.0 * x", made)
    assert compiled(made["twice"])(1.5) == 3.0


def test_shapes_of_a_course():
    plan = course(("driven", 5, 20_000.0), ("hold", 7), ("hold", 3))
    assert plan.nhold == 2
    assert plan.npar == NCOMMON + 2 * PER_HOLD
    assert curve(plan, parameters(plan)).size == 10
