"""The sampler and the information of a test against closed forms and quadrature."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import integrate, stats

from analysis.ranking.nexttest import bin_chances, gain_bits, pair_bits
from analysis.ranking.sampler import Target, sample


def test_linear_gaussian_posterior_is_the_closed_form_one() -> None:
    """Bayes for a linear model with normal errors: covariance (P^-1 + A' R^-1 A)^-1 (Bishop 2006, eq. 3.50-51)."""
    rng = np.random.default_rng(4)
    design = np.array([[1.0, 1.0, 0.0, 0.5], [0.0, 1.0, -1.0, 1.0]])
    seen, noise, spread = np.array([2.0, -0.5]), 0.05, 1.8
    target = Target(
        lambda w: -0.5 * np.sum((w / spread) ** 2, axis=1),
        lambda w: -0.5 * np.sum(((w @ design.T - seen) / noise) ** 2, axis=1),
        0,
    )
    covariance = np.linalg.inv(np.eye(4) / spread**2 + design.T @ design / noise**2)
    mean = covariance @ design.T @ seen / noise**2
    drawn = sample(target, spread * rng.standard_normal((4000, 4)), rng, final_moves=80)
    sd = np.sqrt(np.diag(covariance))
    np.testing.assert_allclose((drawn.mean(axis=0) - mean) / sd, 0.0, atol=0.08)
    np.testing.assert_allclose(drawn.std(axis=0) / sd, 1.0, atol=0.06)
    # across the narrow direction the spread is that of the measurement
    across = np.sqrt(np.diag(design @ covariance @ design.T))
    np.testing.assert_allclose((drawn @ design.T).std(axis=0), across, rtol=0.06)


def test_two_areas_known_by_their_sum_agree_with_quadrature() -> None:
    """Log areas normal with sd 1.8 and 1.5, their sum measured to 3 %: chance and mean share by nested quadrature."""
    centre, spread, seen, error = (math.log(0.06), math.log(0.01)), (1.8, 1.5), math.log(0.8), 0.03

    def density(ratio: float, total: float, factor: float = 1.0) -> float:
        z1, z2 = total - math.log1p(math.exp(-ratio)), total - math.log1p(math.exp(ratio))
        logs = -0.5 * (((z1 - centre[0]) / spread[0]) ** 2 + ((z2 - centre[1]) / spread[1]) ** 2)
        return factor * math.exp(logs - 0.5 * ((total - seen) / error) ** 2)

    ends = (seen - 6 * error, seen + 6 * error)
    whole = integrate.dblquad(density, *ends, -15.0, 15.0)[0]
    first = integrate.dblquad(density, *ends, 0.0, 15.0)[0] / whole
    share = integrate.dblquad(lambda r, t: density(r, t, 1 / (1 + math.exp(-r))), *ends, -15.0, 15.0)[0] / whole
    rng = np.random.default_rng(5)
    target = Target(
        lambda w: stats.norm.logpdf(w, centre, spread).sum(axis=1),
        lambda w: -0.5 * ((np.logaddexp(w[:, 0], w[:, 1]) - seen) / error) ** 2,
        2,
    )
    drawn = sample(target, np.array(centre) + np.array(spread) * rng.standard_normal((4000, 2)), rng)
    assert np.mean(drawn[:, 0] > drawn[:, 1]) == pytest.approx(first, abs=0.025)
    assert np.mean(1 / (1 + np.exp(drawn[:, 1] - drawn[:, 0]))) == pytest.approx(share, abs=0.02)


@pytest.mark.parametrize("flip", [0.0, 0.1, 0.25, 0.5])
def test_information_of_a_binary_symmetric_channel(flip: float) -> None:
    """Capacity 1 - H2(p) bit (Shannon 1948)."""
    labels = np.tile([0, 1], 50_000)
    inside = np.where(labels[:, None] == [[0, 1]], 1.0 - flip, flip)
    entropy = sum(-p * math.log2(p) for p in (flip, 1 - flip) if p > 0)
    assert gain_bits(labels, 2, inside) == pytest.approx(1.0 - entropy, abs=1e-4)


def test_two_tests_tell_what_neither_tells_alone() -> None:
    """The exclusive or of two fair coins: no information in one of them, one bit in both (Cover and Thomas, ch. 2)."""
    coins = np.array([[0, 0], [0, 1], [1, 0], [1, 1]] * 50)
    labels = coins[:, 0] ^ coins[:, 1]
    first, second = (np.where(coins[:, [k]] == [[0, 1]], 1.0, 0.0) for k in (0, 1))
    assert gain_bits(labels, 2, first) == pytest.approx(0.0, abs=1e-9)
    assert pair_bits(labels, 2, first, second) == pytest.approx(1.0, abs=1e-9)


@pytest.mark.parametrize("snr", [0.5, 2.0, 8.0])
def test_information_of_a_gaussian_measurement(snr: float) -> None:
    """Normal signal in normal noise: log2(1 + snr) / 2 bit (Cover and Thomas, ch. 9)."""
    signal = np.random.default_rng(6).standard_normal(40_000)
    labels = np.searchsorted(np.quantile(signal, np.linspace(0, 1, 151)[1:-1]), signal)
    noise = np.full((1, len(signal)), 1.0 / math.sqrt(snr))
    bits = gain_bits(labels, 150, bin_chances(signal, noise, np.array([1.0]), bins=150))
    assert bits == pytest.approx(0.5 * math.log2(1.0 + snr), rel=0.03)
