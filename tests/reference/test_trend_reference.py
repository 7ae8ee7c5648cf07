"""Trend statistics against published tables; each source is named beside its numbers."""

import numpy as np
import pymannkendall
import pytest
from scipy import stats
from statsmodels.datasets import nile

from analysis.trendstats import cusum, ewma, mann_kendall, pettitt, theil_sen

# NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4, EWMA example: lambda 0.3, target 50, s 2.0539
EWMA_DATA = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5,
             49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
EWMA_MEANS = [50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33,
              50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99]

# NIST/SEMATECH e-Handbook, 6.3.2.3, tabular CUSUM: target 325, k 0.3175, h 4.1959
CUSUM_DATA = [324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600,
              324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350]
CUSUM_HIGH = [0, 0, 0, 0, 0.03, 0, 0, 0, 0, 0, 0, 0, 3.01, 4.94, 7.45, 10.63, 11.99, 14.44, 16.00, 19.04]
CUSUM_LOW = [0, 0.01, 0, 0.33, 0, 0, 0.56, 0.72, 0.17, 0.25, 0.31, 0, 0, 0, 0, 0, 0, 0, 0, 0]

# Montgomery and Runger, Applied Statistics and Probability for Engineers, tables 16-7 and 16-8: references 100 and 98
MONTGOMERY_DATA = [102.0, 94.8, 98.3, 98.4, 102.0, 98.5, 99.0, 97.7, 100.0, 98.1,
                   101.3, 98.7, 101.1, 98.4, 97.0, 96.7, 100.3, 101.4, 97.2, 101.0]
MONTGOMERY_HIGH = [2, 0, 0, 0, 2, 0.5, 0, 0, 0, 0, 1.3, 0, 1.1, 0, 0, 0, 0.3, 1.7, 0, 1.0]
MONTGOMERY_LOW = [0, 3.2, 2.9, 2.5, 0, 0, 0, 0.3, 0, 0, 0, 0, 0, 0, 1.0, 2.3, 0, 0, 0.8, 0]

# EPA QA/G-9S, page 109 (Mann-Kendall with ties): S 22, variance 155.33, Z 1.685
EPA_DATA = [10, 10, 10, 5, 10, 20, 18, 17, 15, 24, 15]


def test_ewma_of_the_handbook() -> None:
    chart = ewma(EWMA_DATA, 0.3, 50.0, 2.0539)
    np.testing.assert_allclose(chart.means, EWMA_MEANS, atol=0.0051)
    assert (chart.high, chart.low) == (pytest.approx(52.5884, abs=2e-4), pytest.approx(47.4115, abs=2e-4))
    assert chart.signal is None


def test_cusum_of_the_handbook() -> None:
    chart = cusum(CUSUM_DATA, 325.0, 0.3175, 4.1959)
    np.testing.assert_allclose(chart.high, CUSUM_HIGH, atol=0.0051)
    np.testing.assert_allclose(chart.low, CUSUM_LOW, atol=0.0051)
    assert chart.signal == 13  # group 14


def test_cusum_of_montgomery_and_runger() -> None:
    chart = cusum(MONTGOMERY_DATA, 99.0, 1.0, 10.0)
    np.testing.assert_allclose(chart.high, MONTGOMERY_HIGH, atol=1e-9)
    np.testing.assert_allclose(chart.low, MONTGOMERY_LOW, atol=1e-9)
    assert chart.signal is None


def test_mann_kendall_with_ties_of_the_epa() -> None:
    test = mann_kendall(EPA_DATA)
    assert test.s == 22
    assert test.variance == pytest.approx(155.333, abs=0.001)
    assert test.z == pytest.approx(1.685, abs=0.0005)


def test_mann_kendall_tiny() -> None:
    # Wisconsin Administrative Code, table A
    assert mann_kendall([100, 50, 85, 75, 50]).s == -5


@pytest.mark.parametrize("seed", range(5))
def test_mann_kendall_and_slope_against_other_programs(seed: int) -> None:
    rng = np.random.default_rng(seed)
    y = np.round(rng.normal(size=15) + 0.1 * np.arange(15), 1)
    theirs = pymannkendall.original_test(y)
    ours = mann_kendall(y.tolist())
    assert (ours.s, ours.z, ours.p) == (theirs.s, pytest.approx(theirs.z), pytest.approx(theirs.p))
    t = np.sort(rng.uniform(0.0, 10.0, 15))
    slope = theil_sen(t.tolist(), y.tolist())
    reference = stats.theilslopes(y, t, 0.95)
    expected = (reference.slope, reference.low_slope, reference.high_slope)
    assert (slope.value, slope.low, slope.high) == pytest.approx(expected)


def test_sen_slope_of_the_epa_row() -> None:
    # slope 1.0, 95 % limits 0 and 2.0, by scipy and pymannkendall alike
    slope = theil_sen(list(range(11)), EPA_DATA)
    assert (slope.value, slope.low, slope.high) == (1.0, 0.0, 2.0)


def test_nile_stepped_down_in_1898() -> None:
    # Cobb, Biometrika 65 (1978) 243: the flow of the Nile changed near 1898; data shipped with statsmodels
    flow = nile.load_pandas().data
    test = pettitt(flow["volume"].tolist())
    assert int(flow["year"].iloc[test.before - 1]) == 1898
    assert test.statistic == 1617.0
    assert test.p < 1e-6


def test_pettitt_p_of_his_own_example() -> None:
    # Pettitt, Applied Statistics 28 (1979) 126: 40 values, change after the 17th, p 0.014 (K 232 from memory); a row
    # of ranks built to give U 233 there
    before = [32, *range(5, 21)]
    after = [*range(21, 32), *range(33, 41), 1, 2, 3, 4]
    test = pettitt([float(v) for v in (*before, *after)])
    assert (test.statistic, test.before) == (233.0, 17)
    assert test.p == pytest.approx(0.014, abs=0.0005)
