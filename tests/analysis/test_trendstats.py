import pytest

from analysis.trendstats import cusum, ewma, mann_kendall, pettitt, theil_sen, theil_sen_line


def test_a_flat_row_shows_nothing() -> None:
    flat = mann_kendall([3.0] * 8)
    assert (flat.s, flat.z, flat.p) == (0, 0.0, 1.0)


def test_a_straight_row_keeps_its_slope_with_one_value_far_off() -> None:
    times = [0.0, 1.0, 2.5, 4.0, 5.0, 7.0, 8.0]
    values = [2.0 + 0.5 * t for t in times]
    values[3] = 50.0
    assert theil_sen(times, values).value == pytest.approx(0.5)
    assert theil_sen_line(times, values)[0] == pytest.approx(2.0)


def test_slope_needs_two_times() -> None:
    with pytest.raises(ValueError, match="two different times"):
        theil_sen([1.0, 1.0], [2.0, 3.0])


def test_charts_signal_a_step() -> None:
    row = [0.0] * 8 + [2.0] * 4
    assert ewma(row, 0.3, 0.0, 0.5).signal == 9
    assert cusum(row, 0.0, 0.25, 2.5).signal == 9
    assert pettitt(row).before == 8
