"""Published pressure-change tests, their raw readings put through the project's engine and units."""

from __future__ import annotations

import numpy as np
import pytest

from acquisition.units import PA_PER
from analysis import gas
from analysis.engine import Prior, fit, standard_errors, unknown_sd_score

# US Navy NAVFAC MO-209 (1989), Tables 5-3 and 5-4: psig of an air main shut off at 0:00.
MAIN_PSIG = np.array([90.0, 80.0, 70.0, 60.0, 50.0, 40.0, 30.0, 20.0])
MAIN_MIN = np.array([0, 642, 1397, 2314, 3536, 5248, 8101, 16660]) / 60.0  # 0:00 10:42 23:17 38:34 58:56 87:28 ...
MAIN_FT3 = 629.1
"""Volume of the main, back-computed from the first loss; the printed page with it was not found."""
LOSSES_SCFM = np.array([40.0, 34.0, 28.0, 21.0, 15.0, 9.0, 3.0])


def free_fit(model, start, y):
    none = Prior(np.zeros_like(start), np.full_like(start, np.inf))
    best = fit(model, unknown_sd_score(y), start, none)
    assert best.converged[0]
    return best.theta[0], standard_errors(best, y)


def line(x, y):
    start = np.array([[y.mean(), (y[-1] - y[0]) / (x[-1] - x[0])]])
    return free_fit(lambda theta, _: theta[:, :1] + theta[:, 1:] * x, start, y)


def main_losses():
    """Free air lost in each interval: volume times pressure change over the atmosphere, cubic feet a minute."""
    return MAIN_FT3 * -np.diff(MAIN_PSIG) * PA_PER["psi"] / (14.7 * PA_PER["psi"]) / np.diff(MAIN_MIN)


def test_interval_losses_of_the_air_main():
    np.testing.assert_allclose(main_losses(), LOSSES_SCFM, atol=0.02)


def test_loss_line_of_the_air_main():
    # MO-209: Q = 0.62 P - 12.75 scfm through the middles of the intervals; 47 scfm at 96 psig.
    middle = 0.5 * (MAIN_PSIG[1:] + MAIN_PSIG[:-1])
    (intercept, slope), _ = line(middle, main_losses())
    assert slope == pytest.approx(0.62, abs=0.005)
    assert intercept == pytest.approx(-12.75, abs=0.02)
    assert intercept + slope * 96.0 == pytest.approx(47.0, abs=0.5)


def test_whole_decay_of_the_air_main_gives_the_same_loss():
    # The line of losses integrated: an exponential towards the pressure where the loss would end. Fitted to the
    # eight raw readings at once it gives the printed loss within 3 % without any interval being taken.
    def model(theta, _):
        end, drop, minutes = theta[:, :1], theta[:, 1:2], theta[:, 2:]
        return end + drop * np.exp(-MAIN_MIN / minutes)

    (end, _, minutes), (_, s) = free_fit(model, np.array([[10.0, 80.0, 60.0]]), MAIN_PSIG)
    slope = MAIN_FT3 / 14.7 / minutes
    assert slope * (96.0 - end) == pytest.approx(47.0, rel=0.03)
    assert s < 0.5


def test_vacuum_bag_log():
    # A composites distributor's case study: 29.20 ... 29.11 inHg over five minutes, "0.09 in 5 min, pass". The
    # least-squares slope is -0.01771 inHg/min and the curve flattens: gas release, not a steady leak.
    minutes, reading = np.arange(6.0), np.array([29.20, 29.17, 29.15, 29.13, 29.12, 29.11])
    (_, slope), _ = line(minutes, reading)
    assert slope == pytest.approx(-0.01771, abs=5e-6)
    (_, early), _ = line(minutes[:3], reading[:3])
    (_, late), _ = line(minutes[3:], reading[3:])
    assert early < 2.0 * late


def test_an_inch_in_five_minutes_as_an_area():
    # The vacuum-bag trade's mark in a box of 20, 60 and 150 L: 0.0112, 0.0337, 0.0841 mm2 at 20 C, by p V/t over
    # 20.126 Pa m3/s per mm2; diameters 0.12, 0.21, 0.33 mm at Cd 1.
    for litres, mm2, mm in ((20.0, 0.0112, 0.12), (60.0, 0.0337, 0.21), (150.0, 0.0841, 0.33)):
        area = gas.area_of_throughput_m2(litres * 1e-3 * PA_PER["inHg"] / 300.0, gas.STANDARD_PRESSURE_PA, 293.15)
        assert area * 1e6 == pytest.approx(mm2, abs=6e-5)
        assert gas.drilled_hole_m(area, 1.0) * 1e3 == pytest.approx(mm, abs=0.005)
