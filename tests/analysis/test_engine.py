"""The fit engine: many rows at once, plateaus, overflow, priors, open directions.

Agreement with certified fits is held in ``tests/reference/test_nist_strd.py``.
"""

from __future__ import annotations

import warnings

import numpy as np
import pytest
from scipy.optimize import least_squares

from analysis.engine import Fit, Prior, differences, fit, gaussian_score, standard_errors, unknown_sd_score

X = np.linspace(0.0, 5.0, 30)
RNG = np.random.default_rng(20260503)
Y = 3.0 * (1.0 - np.exp(-0.7 * X)) + 0.05 * RNG.standard_normal(X.size)


def rise(theta, member):
    return theta[:, :1] * (1.0 - np.exp(-theta[:, 1:2] * X))


def no_prior(start):
    return Prior(np.zeros_like(start), np.full_like(start, np.inf))


def oracle(start):
    """The same least squares by scipy."""
    return least_squares(lambda p: p[0] * (1.0 - np.exp(-p[1] * X)) - Y, start, xtol=1e-12, ftol=1e-12, gtol=1e-12)


def test_least_squares_and_its_errors_against_another_solver():
    start = np.array([[1.0, 1.0]])
    best = fit(rise, unknown_sd_score(Y), start, no_prior(start))
    other = oracle([1.0, 1.0])
    np.testing.assert_allclose(best.theta[0], other.x, rtol=1e-6)
    errors, s = standard_errors(best, Y)
    assert s == pytest.approx(np.sqrt(2.0 * other.cost / (X.size - 2)), rel=1e-8)
    np.testing.assert_allclose(errors, s * np.sqrt(np.diag(np.linalg.inv(other.jac.T @ other.jac))), rtol=1e-5)


def test_known_noise_gives_the_same_place_and_the_textbook_covariance():
    start = np.array([[1.0, 1.0]])
    best = fit(rise, gaussian_score(Y, np.full(X.size, 0.05)), start, no_prior(start))
    other = oracle([1.0, 1.0])
    np.testing.assert_allclose(best.theta[0], other.x, rtol=1e-6)
    np.testing.assert_allclose(best.covariance(), 0.05**2 * np.linalg.inv(other.jac.T @ other.jac), rtol=1e-5)
    assert best.log_posterior[0] == pytest.approx(-other.cost / 0.05**2, rel=1e-8)


def test_a_climb_goes_on_from_where_another_ended():
    # Rough first, then to the end: the same place as at one go, and the end of the first is not looked at twice.
    start, score, seen = np.array([[1.0, 1.0]]), gaussian_score(Y, np.full(X.size, 0.05)), []

    def sloped(theta, member):
        seen.append(theta.copy())
        return differences(rise, theta, member, np.full(theta.shape, 1e-5))

    rough = fit(rise, score, start, no_prior(start), most=2, tolerance=1.0, sloped=sloped, brisk=True)
    kept = rough.theta.copy()
    first = len(seen)
    best = fit(rise, score, rough, no_prior(start), sloped=sloped)
    assert not np.array_equal(kept, best.theta)
    np.testing.assert_array_equal(rough.theta, kept)
    assert not any(np.array_equal(theta, kept) for theta in seen[first:])
    np.testing.assert_allclose(best.theta[0], oracle([1.0, 1.0]).x, rtol=1e-6)


def test_rows_fitted_together_end_where_each_ends_alone():
    def members(theta, member):
        power = np.array([1.0, 2.0, 0.5])[member][:, None]
        return theta[:, :1] * (1.0 - np.exp(-theta[:, 1:2] * X**power))

    start = np.tile([[1.0, 1.0]], (3, 1))
    together = fit(members, unknown_sd_score(Y), start, no_prior(start))
    for i in range(3):

        def only(theta, member, i=i):
            return members(theta, np.full(len(theta), i))

        alone = fit(only, unknown_sd_score(Y), start[:1], no_prior(start[:1]))
        np.testing.assert_allclose(together.theta[i], alone.theta[0], rtol=1e-6)
        assert together.log_posterior[i] == pytest.approx(alone.log_posterior[0], abs=1e-6)
    assert together.converged.all()
    assert np.argmax(together.log_posterior) == 0


@pytest.mark.parametrize("units", [1.0, 1e-9, 1e9])
def test_the_climb_does_not_depend_on_units(units):
    start = np.array([[units, 1.0]])
    best = fit(lambda theta, member: rise(theta / [units, 1.0], member), unknown_sd_score(Y), start, no_prior(start))
    np.testing.assert_allclose(best.theta[0] / [units, 1.0], oracle([1.0, 1.0]).x, rtol=1e-6)


def test_a_prior_pulls_by_its_weight():
    # One reading y, sd 1, and a prior of mean 10, sd 2: mean (y + 10/4)/(1 + 1/4), variance 1/(1 + 1/4).
    y = np.array([4.0])
    prior = Prior(np.array([[10.0]]), np.array([[2.0]]))
    best = fit(lambda theta, _: theta, gaussian_score(y, np.ones(1)), np.array([[0.0]]), prior)
    assert best.theta[0, 0] == pytest.approx((4.0 + 2.5) / 1.25, rel=1e-8)
    assert best.covariance()[0, 0] == pytest.approx(0.8, rel=1e-8)


def test_a_plateau_is_left_again():
    # From here the first full step overshoots to where the curve is flat and the rate means nothing.
    x = np.array([1.0, 2.0, 3.0, 5.0, 7.0, 10.0])
    y = 200.0 * (1.0 - np.exp(-0.5 * x)) + np.array([3.0, -2.0, 1.0, -1.0, 2.0, -3.0])
    start = np.array([[1.0, 1.0]])

    def model(theta, _):
        return theta[:, :1] * (1.0 - np.exp(-theta[:, 1:] * x))

    best = fit(model, unknown_sd_score(y), start, no_prior(start))
    assert best.converged[0]
    assert best.theta[0, 1] == pytest.approx(0.5, abs=0.05)


def test_overflow_on_the_way_is_no_warning_and_no_end():
    def steep(theta, _):
        return np.exp(theta[:, :1] * X) + theta[:, 1:]

    y = np.exp(0.3 * X) + 2.0
    start = np.array([[60.0, 0.0]])
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        best = fit(steep, gaussian_score(y, np.full(X.size, 0.01)), start, no_prior(start), most=400)
    np.testing.assert_allclose(best.theta[0], [0.3, 2.0], rtol=1e-6)


def test_a_start_where_the_model_says_nothing_is_not_called_a_fit():
    y = np.ones(X.size)
    start = np.array([[1.0]])

    def nowhere(theta, _):
        return np.full((len(theta), X.size), np.nan)

    best = fit(nowhere, gaussian_score(y, np.ones(X.size)), start, no_prior(start))
    assert best.log_posterior[0] == -np.inf
    assert not best.converged[0]


def test_covariance_of_an_open_direction_stays_finite():
    # Only the sum of two parameters is told; the pseudo-inverse shares the sum's variance evenly.
    hessian = np.array([[[4.0, 4.0], [4.0, 4.0]]])
    open_ = Fit(np.zeros((1, 2)), np.zeros(1), hessian, np.zeros((1, 3)), np.ones(1, dtype=bool), np.zeros((1, 2, 3)))
    np.testing.assert_allclose(open_.covariance(), np.full((2, 2), 1.0 / 16.0), rtol=1e-9)


def test_differences_are_the_derivatives():
    theta = np.array([[3.0, 0.7], [2.0, 1.5]])
    _, slopes = differences(rise, theta, np.arange(2), np.full((2, 2), 1e-5))
    for row, (a, b) in enumerate(theta):
        np.testing.assert_allclose(slopes[row], [1.0 - np.exp(-b * X), a * X * np.exp(-b * X)], atol=1e-8)


def test_the_model_is_called_for_all_rows_at_once():
    calls = []

    def counted(theta, member):
        calls.append(len(theta))
        return rise(theta, member)

    start = np.tile([[1.0, 1.0]], (50, 1))
    fit(counted, unknown_sd_score(Y), start, no_prior(start))
    one = len(calls)
    calls.clear()
    fit(counted, unknown_sd_score(Y), start[:1], no_prior(start[:1]))
    assert one <= len(calls) + 2


@pytest.mark.parametrize("start", [[1.0, 1.0], [5.0, 0.3]])
def test_a_brisk_climb_ends_within_a_hundredth_of_an_error_of_the_careful_one(start):
    start = np.array([start])
    none = no_prior(start)
    careful = fit(rise, unknown_sd_score(Y), start, none)
    brisk = fit(rise, unknown_sd_score(Y), start, none, np.full((1, 2), 1e-5), brisk=True)
    errors, _ = standard_errors(careful, Y)
    assert np.all(np.abs(brisk.theta - careful.theta) < 0.01 * errors)


def test_a_brisk_climb_spends_no_effort_on_what_cannot_win():
    # The second member's curve is a hundred noises off whatever its parameters are; its own top matters to nobody.
    def model(theta, member):
        return rise(theta, member) + 5.0 * member[:, None]

    start = np.array([[2.9, 0.7], [2.9, 0.7]])
    calls = {False: 0, True: 0}

    def counted(brisk):
        def count(theta, member):
            calls[brisk] += int(np.sum(member == 1))
            return model(theta, member)

        return count

    found = {
        brisk: fit(counted(brisk), gaussian_score(Y, np.full(Y.size, 0.05)), start, no_prior(start),
                   np.full((2, 2), 1e-5), brisk=brisk)
        for brisk in (False, True)
    }  # fmt: skip
    np.testing.assert_allclose(found[True].theta[0], found[False].theta[0], atol=1e-4)
    assert calls[True] < 0.5 * calls[False]


def test_a_brisk_climb_gives_up_rows_that_only_fail():
    # Nothing to be had anywhere but at the start: every trial is worse, and the climb ends there in good order.
    start = np.array([[2.9, 0.7]])

    def cliff(theta, member):
        off = np.any(np.abs(theta - start) > 1e-4, axis=1)
        return np.where(off[:, None], np.nan, rise(theta, member))

    score = gaussian_score(Y, np.full(Y.size, 0.05))
    found = fit(cliff, score, start, no_prior(start), np.full((1, 2), 1e-5), brisk=True)
    np.testing.assert_allclose(found.theta, start, atol=1e-4)
    assert np.isfinite(found.log_posterior).all()


def test_a_parameter_only_its_prior_knows_is_not_climbed_again():
    calls = []

    def blind(theta, _):
        calls.append(len(theta))
        return theta[:, :1] + 0.0 * theta[:, 1:] + np.zeros(X.size)

    start = np.array([[1.0, 0.0]])
    prior = Prior(np.zeros((1, 2)), np.array([[np.inf, 1e-4]]))
    best = fit(blind, gaussian_score(Y, np.full(X.size, 0.05)), start, prior)
    assert best.theta[0] == pytest.approx([Y.mean(), 0.0], abs=1e-8)
    assert best.covariance()[1, 1] == pytest.approx(1e-8, rel=1e-6)
    assert len(calls) < 15
