"""A dial read every ten to twenty seconds by eye: few readings, coarse steps, and a pump-down that takes two of them.

The boxes come from ``acquisition/simulated``, which shares no code with the analysis.
"""

from dataclasses import replace

import numpy as np
import pytest

from acquisition.records import Log
from acquisition.simulated.scenario import HOLE, GaugeModel, Leak, Scenario, Shell, Stage, Stated, TankModel
from acquisition.simulated.simulate import simulate
from acquisition.units import GaugeUnit
from analysis.assess import assess_logs
from analysis.looking import look

LITRES = 40.0
DIAL = GaugeModel(unit=GaugeUnit("vacuum", "inHg"), resolution=0.5, noise=0.1, lag_s=1.0, by_hand=True)
STATED = Stated(volume_m3=LITRES * 1e-3, volume_u_m3=1e-6, barometer_pa=101_325.0, room_c=20.0)
TANK = TankModel(LITRES * 4e-3, 10_000.0, 3e-4)
BASELINE, DOWN, SOAK = Stage("baseline", 20.0), Stage("pump-down", 120.0, 14e3), Stage("soak", 120.0)


def by_dial(
    area_mm2: float, *stages: Stage, interval_s: float = 12.0, seed: int = 5, tank: TankModel | None = None
) -> Log:
    return simulate(Scenario(
        stages, (Leak("panel-edges", area_mm2 * 1e-6, HOLE),), shell=Shell(LITRES * 1e-3, "coated", 0.9),
        stated=STATED, seed=seed, tank=tank, gauge=replace(DIAL, interval_s=interval_s),
    )).log  # fmt: skip


def cut_before(log: Log, end_s: float) -> Log:
    keep = log.elapsed_s <= end_s
    return replace(log, elapsed_s=log.elapsed_s[keep], reading=log.reading[keep], raw=(), note=(), columns={})


def holds_it(log: Log, area_mm2: float) -> bool:
    area = assess_logs([(log, None)])[0].area_m2
    return area is not None and area.low < area_mm2 * 1e-6 < area.high


@pytest.mark.parametrize("seed", [1, 2])
def test_a_redraw_of_a_single_reading_parts_two_holds(seed: int):
    hold, redraw = Stage("hold", 70.0), Stage("pump-down", 14.0)
    log = by_dial(1.5, BASELINE, DOWN, SOAK, hold, redraw, hold, interval_s=14.0, seed=seed)
    assert len(look(log, None).view.holds) == 2
    assert holds_it(log, 1.5)


@pytest.mark.parametrize("seed", [1, 2])
def test_a_log_that_stops_as_air_is_let_in_holds_until_then(seed: int):
    whole = by_dial(0.1, BASELINE, DOWN, SOAK, Stage("hold", 200.0), Stage("let-up", 30.0), seed=seed)
    first = int(np.flatnonzero(np.diff(whole.reading) < -5.0)[-1]) + 1
    log = cut_before(whole, float(whole.elapsed_s[first]))
    half_way = log.reading.copy()
    half_way[-1] = 0.5 * (half_way[-2] + half_way[-1])
    log = replace(log, reading=half_way, raw=())
    assert look(log, None).windows[-1].end_s < log.elapsed_s[-1]
    assert holds_it(log, 0.1)


@pytest.mark.parametrize("area_mm2", [0.4, 1.0])
def test_a_steep_rise_begins_at_the_last_reading_of_the_bottom(area_mm2: float):
    log = by_dial(area_mm2, BASELINE, DOWN, SOAK, Stage("hold", 300.0), interval_s=10.0)
    seen = look(log, None).view.holds[-1]
    bottom = float(log.elapsed_s[np.flatnonzero(log.reading > log.reading.max() - 0.6)[-1]])
    assert bottom - 10.1 <= seen.shut_s <= bottom + 10.1
    assert holds_it(log, area_mm2)


def test_a_slow_rise_of_a_few_divisions_is_held_from_the_start():
    log = by_dial(0.04, BASELINE, DOWN, Stage("hold", 700.0), Stage("let-up", 15.0))
    window = look(log, None).windows[-1]
    assert window.end_s - window.start_s > 500.0
    assert holds_it(log, 0.04)


def test_a_box_full_after_two_readings_is_refused_with_the_way_out():
    log = by_dial(6.0, BASELINE, DOWN, SOAK, Stage("hold", 300.0))
    found = assess_logs([(log, None)])[0]
    assert found.outcome == "refused"
    assert found.reason is not None
    assert found.reason.startswith("The box filled within ")
    assert found.advice.startswith("Read faster")


@pytest.mark.parametrize(("area_mm2", "soak_s"), [(5.0, 150.0), (6.0, 250.0), (8.0, 150.0)])
def test_a_tank_that_may_have_stood_open_is_no_hold(area_mm2: float, soak_s: float):
    down, soak = Stage("pump-down", 3.0, tank=True), Stage("soak", soak_s, tank=True)
    log = by_dial(area_mm2, BASELINE, down, soak, Stage("hold", 90.0), tank=TANK)
    found = assess_logs([(log, None)])[0]
    assert found.outcome == "refused"
    assert "does not show" in (found.reason or "")


def test_a_bottom_that_flickers_by_a_step_is_held_from_its_end():
    flickering = GaugeModel(unit=GaugeUnit("gauge", "mbar"), resolution=1.0, noise=0.6, interval_s=0.4)
    scenario = Scenario(
        (BASELINE, DOWN, SOAK, Stage("hold", 90.0)), (Leak("panel-edges", 0.7e-6, HOLE),),
        shell=Shell(LITRES * 1e-3, "coated", 0.9), stated=STATED, gauge=flickering, seed=3,
    )  # fmt: skip
    made = simulate(scenario)
    assert look(made.log, None).windows[-1].shut_s == pytest.approx(made.truth.holds[-1].start_s, abs=1.5)


@pytest.mark.parametrize("area_mm2", [3.0, 6.0])
def test_a_level_that_a_running_pump_held_is_not_taken_for_a_tight_hold(area_mm2: float):
    # The pump runs through the soak against a leak that fills the box within a few readings of the shut.
    log = by_dial(area_mm2, Stage("pump-down", 60.0), Stage("soak", 250.0), Stage("hold", 300.0), interval_s=15.0)
    found = assess_logs([(log, None)])[0]
    assert found.outcome == "refused" or (found.area_m2 is not None and found.area_m2.high > area_mm2 * 1e-6)


def test_a_hold_ends_where_the_needle_falls_back_by_a_division_and_stays():
    hold = Stage("hold", 600.0)
    log = by_dial(0.02, BASELINE, DOWN, SOAK, hold, Stage("pump-down", 20.0), hold, interval_s=15.0, seed=1)
    assert len(look(log, None).windows) == 2
