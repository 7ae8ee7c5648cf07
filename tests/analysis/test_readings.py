"""Condensing readings keeps what they tell, and the scores of coarse and fine gauges are what they say."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from scipy.special import ndtr

from analysis.phases import HoldSeen
from analysis.readings import (
    BLOCKS,
    Observed,
    Window,
    blurred_score,
    bow_per_pa,
    expected_spread,
    fit_window,
    make_score,
    observe,
)
from analysis.trace import make_trace
from tests.analysis.made_holds import BOX, PLAIN, ROOM_PA, SHUT_S, Made, log_of, plain_log, with_header


def hold_seen(shut_s=SHUT_S, end_s=370.0, bottom_s=70.0, held_s=None):
    return HoldSeen(shut_s, shut_s if held_s is None else held_s, end_s, bottom_s, 10.0, 80e3, True)


def trace(made=None, **more):
    return make_trace(plain_log(made, **more), BOX)


DIAL = {"gauge": "vacuum inHg", "step": 0.5, "noise": 0.0}


# --- the stretch that is fitted --------------------------------------------------------------------------


def test_the_window_begins_a_little_after_the_shut_and_ends_before_the_let_up():
    window = fit_window(trace(), hold_seen(end_s=371.0))
    assert 130.0 < window.start_s <= 140.0
    assert window.end_s < 370.5
    assert window.end_s > 365.0
    assert window.shut_s == 130.0


def test_a_log_that_starts_at_the_shut_has_no_guard():
    t, p = Made().run(*PLAIN)
    window = fit_window(make_trace(log_of(t[130:360], p[130:360]), BOX), hold_seen(end_s=359.0, bottom_s=None))
    assert window.start_s == 130.0
    assert window.end_s == 359.0


def test_a_box_that_fills_in_seconds_keeps_its_few_readings():
    # 10 mm2 on 32 L: 6.3 kPa/s, 12 s from 20 kPa to the room. The guard is a share of the span.
    made = Made(10.0, speed_L_s=40.0, ultimate_pa=2000.0)
    t, p = made.run(("baseline", 10.0), ("pump-down", 30.0), ("hold", 60.0))
    window = fit_window(make_trace(log_of(t, p), BOX), hold_seen(40.0, 100.0, 30.0))
    assert window.start_s - 40.0 < 2.0
    assert p[int(window.end_s)] <= 0.95 * ROOM_PA
    assert p[int(window.end_s) + 1] > 0.95 * ROOM_PA


def test_nothing_left_is_no_window():
    assert fit_window(trace(), hold_seen(end_s=131.0)) is None


# --- condensing ------------------------------------------------------------------------------------------


def condensed(made_trace, *windows):
    seen = [Window(a, b, a, hold_seen(a, b)) for a, b in windows]
    return observe([made_trace], [seen], [0.0], 10.0)


@pytest.mark.parametrize("interval_s", [0.1, 1.0, 5.0])
@pytest.mark.parametrize("dial", [False, True])
def test_every_reading_counts_once(interval_s, dial):
    made = trace(Made(interval_s=interval_s), **(DIAL if dial else {}))
    observed, _ = condensed(made, (140.0, 360.0))
    inside = (made.t_s >= 140.0) & (made.t_s <= 360.0)
    assert observed.count.sum() == np.count_nonzero(inside)
    # Sum of readings and of times: nothing is shifted by condensing.
    assert observed.count @ observed.y_pa == pytest.approx(made.p_pa[inside].sum(), rel=1e-9)
    assert observed.count @ observed.t_s == pytest.approx(made.t_s[inside].sum(), rel=1e-9)


def test_a_long_fast_log_becomes_a_hundred_blocks_at_most():
    observed, _ = condensed(trace(Made(interval_s=0.05)), (140.0, 360.0))
    assert 20 <= observed.y_pa.size <= BLOCKS
    assert np.all(np.diff(observed.t_s) > 0.0)


def test_a_coarse_display_keeps_the_values_it_showed_and_nothing_between():
    made = trace(**DIAL)
    observed, _ = condensed(made, (140.0, 360.0))
    assert observed.half_pa == pytest.approx(0.25 * 3386.389)
    shown = np.unique(np.round(made.p_pa[(made.t_s >= 140.0) & (made.t_s <= 360.0)], 2))
    assert set(np.round(observed.y_pa, 2)) == set(shown)


def test_a_fine_gauge_is_not_censored():
    assert condensed(trace(), (140.0, 360.0))[0].half_pa == 0.0


def test_holds_are_numbered_and_their_blocks_kept_apart():
    observed, course = condensed(trace(), (140.0, 200.0), (240.0, 360.0))
    assert set(observed.hold) == {0, 1}
    assert not set(observed.block[observed.hold == 0]) & set(observed.block[observed.hold == 1])
    assert np.all(observed.t_s[observed.hold == 0] <= 200.0)
    assert course.nhold == 2


# --- the course ------------------------------------------------------------------------------------------


def covered_s(course):
    """Seconds from the first reading of a session to the last node of its last hold, pauses between included."""
    return sum(d.dt_s.sum() for d in course.driven) + sum(np.ptp(h.since_shut_s) for h in course.held)


def test_the_course_covers_the_log_from_its_first_reading_to_the_last_one_fitted():
    observed, course = condensed(trace(), (140.0, 360.0))
    assert covered_s(course) == pytest.approx(observed.t_s[-1], abs=1e-6)
    held = course.held[0]
    assert held.since_shut_s[0] == pytest.approx(0.0, abs=1e-9)
    assert held.to_readings.shape == (held.since_shut_s.size, observed.t_s.size)
    # A curve that is the time itself is read at the readings' own times.
    np.testing.assert_allclose(held.since_shut_s @ held.to_readings, observed.t_s - 140.0, atol=1e-9)
    assert course.first_pa == pytest.approx(ROOM_PA, abs=60.0)
    assert course.room_pa == pytest.approx(ROOM_PA)


def test_driven_steps_carry_the_pressures_measured():
    made = trace()
    driven = condensed(made, (140.0, 360.0))[1].driven[0]
    middle = np.cumsum(driven.dt_s) - 0.5 * driven.dt_s
    np.testing.assert_allclose(driven.p_pa, np.interp(middle, made.t_s, made.p_pa), rtol=0.02)


def test_what_is_done_between_two_holds_goes_before_the_second():
    observed, course = condensed(trace(), (140.0, 200.0), (240.0, 360.0))
    last_of_first = observed.t_s[observed.hold == 0][-1]
    assert course.driven[0].dt_s.sum() == pytest.approx(140.0)
    assert course.driven[1].dt_s.sum() == pytest.approx(240.0 - last_of_first)


def test_linked_logs_share_one_clock():
    made = trace()
    seen = [Window(140.0, 200.0, 140.0, hold_seen()), Window(140.0, 360.0, 140.0, hold_seen())]
    observed, course = observe([made, made], [[seen[0]], [seen[1]]], [-600.0, 0.0], 10.0)
    assert observed.t_s[observed.hold == 0].max() <= -400.0
    assert covered_s(course) == pytest.approx(observed.t_s[-1] + 600.0, abs=1e-6)


def test_a_block_is_read_as_the_mean_over_its_readings():
    # A parabola's mean over a block is not its value at the block's mean time.
    made = trace()
    observed, course = condensed(made, (140.0, 360.0))
    held = course.held[0]
    inside = (made.t_s >= 140.0) & (made.t_s <= 360.0)
    edges = np.r_[0, np.cumsum(observed.count)].astype(int)
    t = made.t_s[inside] - 140.0
    means = [np.mean(t[a:b] ** 2) for a, b in pairwise(edges)]
    np.testing.assert_allclose(held.since_shut_s**2 @ held.to_readings, means, rtol=1e-9)


# --- bow -------------------------------------------------------------------------------------------------


def test_a_vessel_without_wood_does_not_bow():
    assert bow_per_pa(make_trace(with_header(plain_log(), wood="none"), BOX)) == 0.0


def test_an_unknown_box_bows_as_a_well_baffled_one():
    # Half a per cent of its volume over a whole atmosphere: the middle of 0.1 to 0.7 % at 20 kPa.
    made = make_trace(with_header(plain_log(), volume_L=BOX.volume_L), None)
    assert bow_per_pa(made) * 0.8 * ROOM_PA == pytest.approx(0.004, abs=0.003)


# --- scores ----------------------------------------------------------------------------------------------

Y = np.array([20_000.0, 21_700.0, 21_700.0, 25_000.0])
COUNT = np.array([3.0, 1.0, 8.0, 2.0])


def observed_as(half_pa, noise_pa=150.0):
    n = np.arange(4)
    return Observed(n * 1.0, Y, COUNT, np.zeros(4, dtype=np.intp), n, half_pa, noise_pa, 1.0, np.zeros(4))


OFFSETS = [0.0, 100.0, -400.0, 846.0, 900.0, -1200.0, 1300.0, 3000.0, -20_000.0]


@pytest.mark.parametrize("half_pa", [0.0, 846.6])
@pytest.mark.parametrize("offset", OFFSETS)
@pytest.mark.parametrize("inflation", [1.0, 4.0])
def test_a_scores_slope_is_its_derivative(half_pa, offset, inflation):
    score = make_score(observed_as(half_pa), inflation)
    mu = (Y + offset)[None]
    value, slope, information = score(mu)
    step = 1e-3
    for k in range(Y.size):
        shift = np.zeros((1, Y.size))
        shift[0, k] = step
        numeric = (score(mu + shift)[0] - score(mu - shift)[0]) / (2.0 * step)
        assert slope[0, k] == pytest.approx(numeric[0], rel=2e-3, abs=1e-6), k
    assert np.isfinite(value).all()
    assert np.all(information > 0.0)
    assert np.all(np.isfinite(information))


@pytest.mark.parametrize("offset", [1450.0, 1461.0, -1480.0])
def test_a_scores_slope_is_its_derivative_where_the_tail_begins(offset):
    score = make_score(observed_as(846.6))
    shift = np.array([[0.0, 0.0, 1e-3, 0.0]])
    mu = (Y + offset)[None]
    numeric = (score(mu + shift)[0] - score(mu - shift)[0]) / 2e-3
    assert score(mu)[1][0, 2] == pytest.approx(numeric[0], rel=0.05)


@pytest.mark.parametrize("offset", [0.0, 100.0, -500.0, 900.0])
def test_a_censored_score_is_the_chance_of_what_was_shown(offset):
    # Written anew: the reading shows y when pressure plus noise lies within half a step of it.
    half, noise = 846.6, 150.0
    value, _, _ = make_score(observed_as(half, noise))((Y + offset)[None])
    chance = ndtr((half - offset) / noise) - ndtr((-half - offset) / noise)
    assert value[0] == pytest.approx(COUNT.sum() * np.log(chance), rel=1e-9, abs=1e-9)


def test_a_stray_value_does_not_rule():
    # Ten steps off: a normal tail would take (16 932 - 847)^2 / 2 / 150^2 = 5750; the wide tail far less.
    score = make_score(observed_as(846.6))
    near, far = score(Y[None])[0][0], score((Y + np.array([0.0, 16_932.0, 0.0, 0.0]))[None])[0][0]
    assert 50.0 < near - far < 300.0


def test_the_score_falls_the_further_off_the_curve_is():
    score = make_score(observed_as(846.6))
    values = [score((Y + off)[None])[0][0] for off in (0.0, 700.0, 1000.0, 1400.0, 1500.0, 2500.0, 9000.0)]
    assert all(a > b for a, b in pairwise(values))


def test_a_fine_score_is_the_normal_log_density():
    observed = observed_as(0.0, 20.0)
    value, _, information = make_score(observed)((Y + 30.0)[None])
    sd2 = 20.0**2 / COUNT + 1.0
    assert value[0] == pytest.approx(float(np.sum(-0.5 * np.log(2 * np.pi * sd2) - 0.5 * 900.0 / sd2)))
    np.testing.assert_allclose(information[0], 1.0 / sd2)


def test_inflation_widens():
    for half in (0.0, 846.6):
        wide, narrow = (make_score(observed_as(half), i)((Y + 100.0)[None])[2] for i in (4.0, 1.0))
        np.testing.assert_allclose(wide, narrow / 4.0)


def test_blurring_lowers_the_hill_and_keeps_its_top():
    score = blurred_score(observed_as(846.6), 100.0)
    assert np.all(score(Y[None])[1] == 0.0)
    sharp, soft = (blurred_score(observed_as(846.6), b)(Y[None])[2] for b in (1.0, 100.0))
    np.testing.assert_allclose(soft, sharp / 100.0)


def test_expected_spread_of_a_mean_and_of_a_step():
    np.testing.assert_allclose(expected_spread(observed_as(0.0, 20.0)), np.sqrt(400.0 / COUNT + 1.0))
    # A step's even spread: half over the root of three.
    np.testing.assert_allclose(expected_spread(observed_as(300.0, 1e-9)), np.sqrt(300.0**2 / 3.0 + 1.0), rtol=1e-6)
