"""Where a hold's curve is stepped, and how readings are had from there."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.course import LEAST_NODES, MOST_NODES, lay, rough_curve

SECONDS = np.linspace(8.0, 600.0, 29)
SLOW = np.linspace(0.15, 0.2, 29)
QUICK = 1.0 - 0.85 * np.exp(-(SECONDS - 8.0) / 200.0)


@pytest.mark.parametrize("rough", [SLOW, QUICK], ids=["slow", "quick"])
def test_nodes_run_from_the_windows_start_to_its_end(rough):
    nodes = lay(SECONDS, rough, SECONDS[1:]).since_shut_s
    assert nodes[[0, -1]] == pytest.approx([8.0, 600.0])
    assert np.all(np.diff(nodes) > 0.0)
    assert LEAST_NODES <= nodes.size <= MOST_NODES


def test_a_curve_that_bends_gets_more_nodes():
    assert lay(SECONDS, QUICK, SECONDS).since_shut_s.size > 1.5 * lay(SECONDS, SLOW, SECONDS).since_shut_s.size


def test_nodes_lie_close_after_the_shut():
    nodes = lay(SECONDS, SLOW, SECONDS).since_shut_s
    assert np.diff(nodes)[0] < 6.0 < 60.0 < np.diff(nodes)[-1]


def test_noise_and_a_pressure_past_the_rooms_do_not_upset_the_nodes():
    rough = np.maximum.accumulate(QUICK + np.random.default_rng(4).normal(0.0, 0.05, QUICK.size)) + 0.3
    nodes = lay(SECONDS, rough, SECONDS).since_shut_s
    assert np.all(np.diff(nodes) > 0.0)
    assert nodes.size <= MOST_NODES


def test_readings_come_off_a_cubic_exactly():
    held = lay(SECONDS, QUICK, SECONDS[1:])

    def cubic(t):
        return 3.0 - t / 50.0 + (t / 300.0) ** 2 - (t / 400.0) ** 3

    np.testing.assert_allclose(cubic(held.since_shut_s) @ held.to_readings, cubic(SECONDS[1:]), rtol=1e-9)


def test_a_mean_of_many_readings_counts_the_bend_between_them():
    # Readings evenly over 100 to 140 s: variance 40^2 / 12; the mean of t^2 there is 120^2 + 133.33.
    held = lay(SECONDS, QUICK, np.array([120.0]), np.array([40.0**2 / 12.0]))
    assert held.since_shut_s**2 @ held.to_readings[:, 0] == pytest.approx(120.0**2 + 40.0**2 / 12.0, rel=1e-9)


def test_a_rough_curve_is_a_seeps_and_stays_below_the_room():
    # dr/dt = rate (1 - r^2) / 0.96, so that it is the rate at r = 0.2.
    t = np.linspace(8.0, 8.0 + 1e-3, 2)
    first, second = rough_curve(t, 0.2, 0.01)
    assert (second - first) / 1e-3 == pytest.approx(0.01, rel=1e-4)
    assert rough_curve(SECONDS, 0.2, 0.1)[-1] <= 1.0
