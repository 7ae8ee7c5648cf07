"""Certified nonlinear and linear fits of NIST, through the very engine that fits holds."""

from __future__ import annotations

import re

import numpy as np
import pytest
from scipy.stats import t as student

from analysis.engine import Prior, fit, standard_errors, unknown_sd_score
from tests.reference import nist_strd as nist

FOUND_AGAIN = 0.3
"""Digits by which two machines may differ on the page: rounding decides the last of eight or nine."""


@pytest.fixture(scope="module")
def agreement():
    return nist.agreement()


@pytest.mark.parametrize("start", [0, 1])
@pytest.mark.parametrize("name", list(nist.MODELS))
def test_certified_values_and_standard_errors_are_found_from_both_starts(agreement, name, start):
    values, errors = agreement[name][1][start]
    assert values >= 6.0
    assert errors >= (_digits_left_by_rounding(name) if name == "Lanczos1" else 6.0)


def _digits_left_by_rounding(name):
    """Digits a residual deviation keeps when every fitted reading may be off by one unit in its last place."""
    data = nist.load(name)
    return -np.log10(np.spacing(np.abs(data.y).max()) / data.residual_sd)


@pytest.mark.parametrize("name", [name for name in nist.MODELS if name != "Lanczos1"])
def test_the_residual_standard_deviation_is_the_certified_one(name):
    data = nist.load(name)
    assert nist.fitted(data, 1)[2] == pytest.approx(data.residual_sd, rel=1e-8)


def test_the_files_are_read_as_certified():
    # Misra1a as printed by NIST: b1, its standard deviation, and the two starts.
    data = nist.load("Misra1a")
    assert data.values[0] == 2.3894212918e02
    assert data.errors[0] == 2.7070075241e00
    assert data.starts.tolist() == [[500, 0.0001], [250, 0.0005]]
    assert (data.x.size, data.level) == (14, "lower")
    for name in nist.MODELS:
        text = (nist.HERE / f"{name}.dat").read_text(encoding="ascii")
        assert nist.load(name).y.size == int(re.search(r"(\d+) +Observations", text)[1])


def test_the_page_of_digits_is_what_the_engine_gives(agreement):
    rows = re.findall(r"^\| (\w+) \| (?:lower|average|higher) \| (.*) \|$", nist.TABLE.read_text("utf-8"), re.M)
    assert [name for name, _ in rows] == list(nist.MODELS)
    for name, figures in rows:
        printed = np.array(figures.split(" | "), float)
        measured = np.array(agreement[name][1]).ravel()
        # Beyond six digits the figure is rounding noise of the machine; it must only not get worse than that.
        assert np.all(np.minimum(measured, 6.0) > np.minimum(printed, 6.0) - FOUND_AGAIN), name


def straight_line(x, y):
    """Fit a + b x; (values, standard errors, residual sd, covariance of the unbiased estimate)."""
    none = Prior(np.zeros((1, 2)), np.full((1, 2), np.inf))
    wide = np.ones((1, 2))  # differences of a straight line are exact, so the widest step rounds least

    def line(theta, member):
        return theta[:, :1] + theta[:, 1:] * x

    best = fit(line, unknown_sd_score(y), np.array([[y.mean(), 1.0]]), none, wide, tolerance=1e-12)
    errors, s = standard_errors(best, y)
    return best.theta[0], errors, s, best.covariance() * y.size / (y.size - 2)


def norris():
    lines = (nist.HERE / "Norris.dat").read_text(encoding="ascii").split("\nData:")[-1].splitlines()[1:]
    return np.array([line.split() for line in lines if line.strip()], float).T


def test_norris_line():
    # NIST StRD, Norris: certified to 15 digits.
    y, x = norris()
    values, errors, s, _ = straight_line(x, y)
    np.testing.assert_allclose(values, [-0.262323073774029, 1.00211681802045], rtol=1e-9)
    np.testing.assert_allclose(errors, [0.232818234301152, 0.429796848199937e-03], rtol=1e-9)
    assert s == pytest.approx(0.884796396144373, rel=1e-9)


def test_mass_point_leak_and_its_upper_limit_on_certified_figures():
    # ANSI/ANS-56.8 (from memory): L = -2400 B/A % a day of the mass A + B t; upper limit by S_B and Student's t.
    y, x = norris()
    (a, b), (_, s_b), _, _ = straight_line(x, y)
    certified_a, certified_b, certified_s_b = -0.262323073774029, 1.00211681802045, 0.429796848199937e-03
    t95 = student.ppf(0.95, 34)
    assert t95 == pytest.approx(1.6909, abs=5e-5)  # printed tables of Student's t, 34 degrees of freedom
    limit = -2400 * b / a + 2400 * t95 * s_b / abs(a)
    assert limit == pytest.approx(
        -2400 * certified_b / certified_a + 2400 * t95 * certified_s_b / abs(certified_a), rel=1e-8
    )


def test_gum_h3_line_with_correlated_parameters():
    # JCGM 100:2008, H.3: thermometer corrections; data read, results y1 -0.1712(29), y2 0.00218(67), r -0.930,
    # s 0.0035, b(30) -0.1494(41).
    t = np.array([21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511])
    b = np.array([-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160])
    values, errors, s, covariance = straight_line(t - 20.0, b)
    assert values == pytest.approx([-0.1712, 0.00218], abs=5e-5)
    assert errors == pytest.approx([0.0029, 0.00067], abs=5e-5)
    assert values[1] == pytest.approx(0.00218, abs=5e-6)
    assert errors[1] == pytest.approx(0.00067, abs=5e-6)
    assert covariance[0, 1] / np.prod(errors) == pytest.approx(-0.930, abs=5e-4)
    assert s == pytest.approx(0.0035, abs=5e-5)
    at_30 = np.array([1.0, 10.0])
    assert values @ at_30 == pytest.approx(-0.1494, abs=5e-5)
    assert np.sqrt(at_30 @ covariance @ at_30) == pytest.approx(0.0041, abs=5e-5)
