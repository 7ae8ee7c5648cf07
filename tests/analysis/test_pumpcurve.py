from math import exp

import numpy as np
import pytest

from acquisition.records import Pump
from analysis.pumpcurve import fit_pump_curve, net_throughput_pa_m3_s, pump_throughput_pa_m3_s, stall_area

ROOM_PA, ROOM_K = 101_325.0, 293.15


def test_throughput_falls_to_nothing_at_the_ultimate() -> None:
    # 1.4 L/s (1 - 8/20) at 20 kPa is 16.8 Pa m3/s
    assert net_throughput_pa_m3_s(20_000.0, 1.4e-3, 8_000.0) == pytest.approx(16.8)
    assert net_throughput_pa_m3_s(8_000.0, 1.4e-3, 8_000.0) == 0.0
    assert net_throughput_pa_m3_s(5_000.0, 1.4e-3, 8_000.0) == 0.0


def test_points_are_net_and_interpolated() -> None:
    pump = Pump(points=((30.0, 2.0), (10.0, 1.0)))
    assert pump_throughput_pa_m3_s(pump, 20_000.0) == pytest.approx(20_000.0 * 1.5e-3)
    assert pump_throughput_pa_m3_s(Pump(), 20_000.0) is None
    # under the first point the speed falls to nothing at the ultimate
    assert pump_throughput_pa_m3_s(Pump(ultimate_kPa=5.0, points=((10.0, 1.0),)), 5_000.0) == 0.0


def test_stall_area_of_the_design() -> None:
    # A = S (1 - p_ult/p) p / 20.126: 1.4e-3 * (47 - 8) kPa / 20.126 = 2.713 mm2
    area = stall_area(Pump(1.4, 8.0), 47_000.0, ROOM_PA, ROOM_K)
    assert area is not None
    assert area.value == pytest.approx(2.713e-6, rel=1e-3)
    assert area.value / area.low == pytest.approx(1.158, abs=0.005)
    # a seep at 0.464 of the room would be (1 - 0.04) / (1 - 0.215) = 1.22 times as large: within the high end
    assert area.high > 1.22 * area.value


def test_above_the_choke_point_the_holes_own_fall_is_put_back() -> None:
    # at 0.8 of the room a nozzle passes 0.8188 of its choked flow
    area = stall_area(Pump(1.4, 8.0), 0.8 * ROOM_PA, ROOM_PA, ROOM_K)
    assert area is not None
    assert area.value == pytest.approx(1.4e-3 * (0.8 * ROOM_PA - 8_000.0) / 20.126e6 / 0.8188, rel=1e-3)


def test_without_a_curve_a_range_that_holds_any_shop_pump() -> None:
    area = stall_area(None, 47_000.0, ROOM_PA, ROOM_K)
    assert area is not None
    assert area.high > 5.0 * area.low
    known = stall_area(Pump(1.4, 8.0), 47_000.0, ROOM_PA, ROOM_K)
    assert known is not None
    assert area.low < known.value < area.high


def test_a_pump_at_its_ultimate_shows_no_leak() -> None:
    assert stall_area(Pump(1.4, 8.0), 7_900.0, ROOM_PA, ROOM_K) is None


def test_a_doubtful_level_widens_the_area() -> None:
    sure = stall_area(Pump(1.4, 8.0), 10_000.0, ROOM_PA, ROOM_K)
    vague = stall_area(Pump(1.4, 8.0), 10_000.0, ROOM_PA, ROOM_K, u_stall_pa=500.0)
    assert sure is not None
    assert vague is not None
    assert vague.low < sure.low < sure.high < vague.high


@pytest.mark.parametrize("leak_mm2", [0.0, 0.5])
def test_curve_from_a_pump_down_with_the_leak_taken_off(leak_mm2: float) -> None:
    # V dp/dt = -S (p - p_ult) + q with the leak choked: p falls to p_ult + q/S as exp(-S t / V), under 0.5 of the room
    speed, ultimate, volume = 1.4e-3, 8_000.0, 0.032
    inflow = leak_mm2 * 20.126
    level = ultimate + inflow / speed
    t = np.linspace(0.0, 80.0, 161)
    p = np.array([level + (53_000.0 - level) * exp(-speed * x / volume) for x in t])
    curve = fit_pump_curve(t.tolist(), p.tolist(), volume, leak_mm2 * 1e-6, ROOM_PA, ROOM_K)
    assert curve is not None
    assert curve.speed_m3_s == pytest.approx(speed, rel=0.03)
    assert curve.ultimate_pa == pytest.approx(ultimate, rel=0.05)
    for at, s in curve.points:
        assert s == pytest.approx(speed * (1.0 - ultimate / at), rel=0.08, abs=2e-5)


def test_too_little_of_a_pump_down_gives_no_curve() -> None:
    assert fit_pump_curve([0.0, 1.0, 2.0], [5e4, 4e4, 3e4], 0.032, 0.0, ROOM_PA, ROOM_K) is None
    rising = np.linspace(2e4, 5e4, 50)
    assert fit_pump_curve(np.arange(50.0).tolist(), rising.tolist(), 0.032, 0.0, ROOM_PA, ROOM_K) is None
