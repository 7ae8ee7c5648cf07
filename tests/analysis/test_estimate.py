"""From a posterior to figures: intervals, law, release, loss; on values worked out by hand or by scipy."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import pytest
from scipy.stats import norm

from acquisition.records import Uncertain
from analysis.estimate import (
    HoldEstimate,
    _law,
    _quantiles,
    _vague,
    estimate_holds,
    hole_interval_m,
    vapour_share,
)
from analysis.laws import family
from analysis.looking import look
from analysis.results import Interval
from analysis.sweep import MIX, NCOMMON
from analysis.trace import make_trace
from tests.analysis.made_holds import BOX, PLAIN, SHUT_S, Made, laminar, log_of, plain_log

PURE_HOLE, HOLE, SHARP, BETWEEN, INERTIAL, PURE_SEEP, SEEP, SLIP = family()


@lru_cache(maxsize=32)
def estimate(made: Made, step=0.1, noise=0.03, volume=(32.0, 0.0032), **header) -> HoldEstimate:
    t, p = made.run(*PLAIN)
    known = {"wood": "none", "accuracy": 0.02, "volume_L": Uncertain(*volume)}
    seen = look(log_of(t, p, "absolute kPa", step, noise=noise, **(known | header)), None)
    assert seen.refusal is None, seen.refusal
    return estimate_holds([seen.trace], [seen.windows], [0.0], seen.view.noise_pa)


def relative_half_width(interval: Interval) -> float:
    return float(np.log(interval.high / interval.low)) / 2.0


# --- vapour ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("humidity", [0.5, 50.0])
def test_half_the_vapour_of_the_inflow_is_taken_up(humidity):
    # 2339 Pa at 20 C (saturation tables); half of that in the room, half of it taken up: 584.7 of 101 325 Pa.
    share, u = vapour_share(make_trace(plain_log(room_RH=humidity), BOX))
    assert share == pytest.approx(0.5 * 0.5 * 2339.0 / 101_325.0, rel=0.003)
    assert 0.0 < u <= share


def test_an_unknown_humidity_is_less_sure_and_no_wood_takes_up_nothing():
    known, unknown = (vapour_share(make_trace(plain_log(room_RH=rh), BOX)) for rh in (50.0, None))
    assert unknown[0] == pytest.approx(known[0])
    assert unknown[1] > known[1]
    assert vapour_share(make_trace(plain_log(wood="none", room_RH=80.0), BOX)) == (0.0, 0.0)


# --- quantiles -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("sd", "u"), [(0.02, 0.01), (0.002, 0.05), (0.3, 0.03), (0.05, 0.0)])
@pytest.mark.parametrize("no_leak", [0.0, 0.01, 0.2])
def test_a_normal_blurred_by_a_normal(sd, u, no_leak):
    # The logarithm's variance is the sum; the mass without a leak lies at nought, and the high end is the leak's own.
    grid = np.linspace(-8.0 * sd, 8.0 * sd, 4001) + np.log(0.1)
    density = norm.pdf(grid, np.log(0.1), sd)
    got = _quantiles(grid, density / density.sum() * (1.0 - no_leak), no_leak, u)
    high = no_leak + 0.975 * (1.0 - no_leak)
    for value, p in ((got.low, 0.025), (got.value, 0.5), (got.high, high)):
        if p <= no_leak:
            assert value == 0.0
        else:
            expected = norm.ppf((p - no_leak) / (1.0 - no_leak), np.log(0.1), np.hypot(sd, u))
            assert np.log(value) == pytest.approx(expected, abs=0.04 * np.hypot(sd, u) + 1e-4)


def test_a_skew_density_keeps_its_shape():
    grid = np.linspace(-6.0, 2.0, 4001)
    density = np.exp(2.0 * grid) * (grid < 0.0)
    got = _quantiles(grid, density / density.sum(), 0.0, 1e-3)
    # Of density 2 e^(2x) below 0 the quantile is ln(p) / 2.
    assert np.log(got.value) == pytest.approx(np.log(0.5) / 2.0, abs=0.02)
    assert np.log(got.low) == pytest.approx(np.log(0.025) / 2.0, abs=0.02)


def test_nothing_but_no_leak_is_nought():
    got = _quantiles(np.linspace(-10.0, 0.0, 11), np.zeros(11), 1.0, 0.01)
    assert (got.value, got.low) == (0.0, 0.0)
    assert got.high >= 0.0


# --- claims ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("area", "no_leak", "vague"), [
    (Interval(1.0, 0.9, 1.1), 0.0, False), (Interval(1.0, 0.9, 1.1), 0.021, True),
    (Interval(1.0, 0.05, 1.1), 0.0, True), (Interval(0.0, 0.0, 1.0), 0.9, True),
    (Interval(1.0, 0.9, 1.1), 0.019, False),
])  # fmt: skip
def test_a_leak_is_claimed_only_when_none_is_improbable(area, no_leak, vague):
    assert _vague(area, no_leak) == vague


# --- the law ---------------------------------------------------------------------------------------------


@dataclass
class Members:
    """Of the family only what the naming of a law reads."""

    laws: tuple


@dataclass
class Fitted:
    """Peaks of the members."""

    theta: np.ndarray


@dataclass
class Weighed:
    """A posterior with given weights of the laws."""

    members: Members
    fitted: Fitted
    density: np.ndarray


def weighed(mix=0.0, **mass):
    laws = {"hole": HOLE, "sharp": SHARP, "between": BETWEEN, "seep": SEEP, "slip": SLIP, "none": None}
    names = list(mass)
    theta = np.zeros((len(names), NCOMMON))
    theta[:, MIX] = mix
    density = np.array([[0.5 * mass[n], 0.5 * mass[n]] if n != "none" else [0.0, 0.0] for n in names])
    return Weighed(Members(tuple(laws[n] for n in names)), Fitted(theta), density)


def test_a_law_is_named_at_90_percent_and_not_below():
    named = _law(weighed(hole=0.901, between=0.099))
    assert (named.kind, named.b, named.m, named.variant) == ("hole", 0.528, 0.5, None)
    open_ = _law(weighed(hole=0.899, between=0.101))
    assert (open_.kind, open_.b, open_.m, open_.variant) == ("undetermined", None, None, None)
    assert open_.probability == pytest.approx({"hole": 0.899, "between": 0.101, "seep": 0.0})


def test_variants_count_for_their_kind():
    named = _law(weighed(hole=0.3, sharp=0.66, between=0.04))
    assert (named.kind, named.variant, named.b, named.m) == ("hole", "sharp", 0.528, 0.5)
    assert named.probability["hole"] == pytest.approx(0.96)


def test_the_leak_is_taken_as_there_when_laws_are_weighed():
    # Half the probability is "no leak": the laws' own probabilities still sum to 1.
    verdict = _law(weighed(hole=0.3, seep=0.2, none=0.5))
    assert verdict.probability == pytest.approx({"hole": 0.6, "seep": 0.4, "between": 0.0})


def test_a_seep_with_slip_has_its_negative_b():
    # The middle of slip's range is a share of 0.3125; b solves -1.6 b / (0.96 - 1.6 b) = 0.3125: b = -3 / 11.
    named = _law(weighed(slip=0.97, seep=0.02, between=0.01))
    assert (named.kind, named.variant, named.m) == ("seep", "slip", 1.0)
    assert named.b == pytest.approx(-3.0 / 11.0, rel=1e-6)
    plain = _law(weighed(seep=0.97, slip=0.02, between=0.01))
    assert (plain.variant, plain.b, plain.m) == (None, 0.0, 1.0)


def test_between_has_the_form_of_its_mixture_and_no_variant():
    # Half and half: the least-squares form over r 0.1 to 0.99 is b 0.125, m 0.578 (found apart from the project).
    named = _law(weighed(between=1.0))
    assert named.kind == "between"
    assert named.variant is None
    assert (named.b, named.m) == (pytest.approx(0.125, abs=0.005), pytest.approx(0.578, abs=0.005))


def test_without_a_leak_no_law_is_likelier():
    verdict = _law(weighed(none=1.0))
    assert verdict.kind == "undetermined"
    assert set(verdict.probability.values()) == {1.0 / 3.0}


# --- a whole estimate ------------------------------------------------------------------------------------


def test_the_planted_area_comes_out_in_m2():
    result = estimate(Made(0.1))
    assert result.area_m2.value == pytest.approx(0.1e-6, rel=0.02)
    assert result.area_m2.low <= 0.1e-6 <= result.area_m2.high
    assert not result.vague


@pytest.mark.parametrize("u_litres", [0.32, 1.6])
def test_the_volumes_uncertainty_is_in_the_whole_interval_and_not_in_the_fits(u_litres):
    sure, unsure = estimate(Made(0.1)), estimate(Made(0.1), volume=(32.0, u_litres))
    assert relative_half_width(unsure.area_fit_m2) == pytest.approx(relative_half_width(sure.area_fit_m2), rel=0.02)
    expected = np.hypot(relative_half_width(sure.area_m2), 1.96 * u_litres / 32.0)
    assert relative_half_width(unsure.area_m2) == pytest.approx(expected, rel=0.03)


def test_the_barometer_and_temperature_are_in_the_whole_interval():
    sure, unsure = (
        estimate(Made(0.1), barometer_kPa=Uncertain(101.325, u), room_C=t) for u, t in ((0.001, 20.0), (3.0, None))
    )
    # 3 of 101.3 kPa is 2.96 %; 4 K of 293 K counts half, 0.68 %: together 3.04 %, times 1.96.
    assert relative_half_width(unsure.area_m2) == pytest.approx(0.0596, abs=0.012)
    assert relative_half_width(sure.area_m2) < 0.03


def test_a_wrong_volume_scales_the_area():
    assert estimate(Made(0.1), volume=(64.0, 0.0064)).area_m2.value == pytest.approx(0.2e-6, rel=0.02)


def test_what_is_lost_in_five_minutes():
    # The made-up box again, held on for five minutes: the loss by scipy's integrator.
    t, p = Made(0.1).run(*PLAIN[:3], ("hold", 310.0))
    lost = np.interp(SHUT_S + 300.0, t, p) - p[t == SHUT_S][0]
    assert estimate(Made(0.1)).lost_5min_pa == pytest.approx(lost, rel=0.01)


def test_what_is_lost_in_five_minutes_is_never_more_than_to_the_room():
    made = Made(8.0, speed_L_s=30.0, ultimate_pa=2000.0, interval_s=0.2)
    t, p = made.run(("baseline", 10.0), ("pump-down", 30.0), ("hold", 60.0))
    log = log_of(t, p, step=0.1, noise=0.02, wood="none", volume_L=Uncertain(32.0, 0.3))
    seen = look(log, replace(BOX, pump=None))
    result = estimate_holds([seen.trace], [seen.windows], [0.0], seen.view.noise_pa)
    assert result.lost_5min_pa == pytest.approx(101_325.0 - p[t == 40.0][0], rel=0.02)


@pytest.mark.parametrize("moist_pa", [0.0, 900.0])
def test_the_releases_share_is_the_one_planted(moist_pa):
    made = Made(0.02, moist_pa=moist_pa)
    t, p = made.run(*PLAIN)
    rise = p[t == 368.0][0] - p[t == SHUT_S][0]
    planted = moist_pa * -np.expm1(-238.0 / made.tau_moist_s) / rise
    result = estimate(made, 0.001, 0.005, wood="bare")
    assert 0.0 <= result.release.share <= 1.0
    assert result.release.share == pytest.approx(planted, abs=0.06)
    assert result.release.present == (moist_pa > 0.0)


def test_the_curves_are_of_the_last_hold_on_the_logs_clock():
    result = estimate(Made(0.1), 0.001, 0.003)
    curves = result.curves
    assert curves.fit_t_s.min() > SHUT_S
    assert curves.fit_t_s.max() < 371.0
    t, p = Made(0.1).run(*PLAIN)
    np.testing.assert_allclose(curves.fit_pa, np.interp(curves.fit_t_s, t, p), atol=15.0)
    assert np.all(curves.band_low_pa < curves.fit_pa)
    assert np.all(curves.fit_pa < curves.band_high_pa)
    assert curves.residual_verdict == "no pattern left"
    # The window begins at most 8 s after the shut, 63 Pa/s further up.
    assert p[t == SHUT_S][0] - 30.0 < result.span_pa[0] < p[t == SHUT_S][0] + 8.0 * 63.0 + 60.0
    # The last block's middle lies up to 4 s before the window's end.
    assert p[t == 365.0][0] < result.span_pa[1] < p[t == 370.0][0] + 30.0


@pytest.mark.parametrize(("made", "other"), [(Made(0.5), "seep"), (Made(0.5, laminar), "hole")])
def test_the_other_law_is_drawn_beside(made, other):
    curves = estimate(made).curves
    assert curves.other_law == other
    assert curves.other_law_pa.shape == curves.fit_pa.shape


def test_a_curve_no_leak_makes_shows_in_the_misfit():
    t, p = Made(0.1).run(*PLAIN)
    wavy = p + np.where((t > SHUT_S) & (t <= 370.0), 600.0 * np.sin(t / 15.0), 0.0)
    seen = look(log_of(t, wavy, step=0.01, noise=0.01, volume_L=Uncertain(32.0, 0.3)), None)
    plain = look(plain_log(volume_L=Uncertain(32.0, 0.3)), None)
    result = estimate_holds([seen.trace], [plain.windows], [0.0], 10.0)
    assert result.misfit > 8.0
    assert result.curves.residual_verdict == "bends here"
    assert result.inflation > 20.0


def test_a_known_ratio_of_a_drilled_hole():
    # A sharp 0.5 mm hole: 0.83 x pi x 0.25^2 = 0.16297 mm2.
    hole = hole_interval_m(Interval(0.16297e-6, 0.0, 4 * 0.16297e-6))
    assert hole.value == pytest.approx(0.5e-3, rel=1e-4)
    assert hole.low == 0.0
    assert hole.high == pytest.approx(1.0e-3, rel=1e-4)
