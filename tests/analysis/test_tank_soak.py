"""A box drawn down by a tank that stays open: the leak fills box and tank together until the valve is shut.

The boxes come from ``acquisition/simulated``, which shares no code with the analysis.
"""

from dataclasses import replace

import numpy as np
import pytest

from acquisition.records import Log
from acquisition.simulated.scenario import HOLE, GaugeModel, Leak, Scenario, Shell, Stage, Stated, TankModel
from acquisition.simulated.simulate import simulate
from analysis.assess import assess_logs
from analysis.looking import look

LITRES = 40.0
STATED = Stated(volume_m3=LITRES * 1e-3, volume_u_m3=1e-6, barometer_pa=101_325.0, room_c=20.0)


def drawn_by_a_tank(
    area_mm2: float, soak_s: float, hold_s: float, interval_s: float, until_pa: float | None = None
) -> Log:
    stages = (
        Stage("baseline", 15.0), Stage("pump-down", 3.0, tank=True), Stage("soak", soak_s, tank=True),
        Stage("hold", hold_s), Stage("let-up", 15.0),
    )  # fmt: skip
    return simulate(Scenario(
        stages, (Leak("panel-edges", area_mm2 * 1e-6, HOLE),), shell=Shell(LITRES * 1e-3, "coated", 0.9),
        tank=TankModel(LITRES * 4e-3, 10_000.0, 3e-4), stated=STATED, seed=11,
        gauge=GaugeModel(resolution=0.1, noise=0.03, interval_s=interval_s),
    )).log  # fmt: skip


@pytest.mark.parametrize(("area_mm2", "soak_s", "interval_s"), [(5.0, 60.0, 0.5), (5.0, 150.0, 2.0), (2.0, 200.0, 5.0)])
def test_the_shut_is_where_the_rise_speeds_up(area_mm2: float, soak_s: float, interval_s: float):
    log = drawn_by_a_tank(area_mm2, soak_s, 100.0, interval_s)
    window = look(log, None).windows[-1]
    assert window.shut_s == pytest.approx(18.0 + soak_s, abs=1.6 * interval_s)
    told = {phase.name: (phase.start_s, phase.end_s) for phase in look(log, None).view.phases}
    assert told["soak"][1] == told["hold"][0] == window.shut_s
    area = assess_logs([(log, None)])[0].area_m2
    assert area is not None
    assert area.low < area_mm2 * 1e-6 < area.high
    assert area.high < 2.0 * area.low


def test_air_let_in_by_the_tanks_line_is_still_a_let_up():
    log = drawn_by_a_tank(0.3, 20.0, 200.0, 1.0)
    seen = look(log, None)
    assert seen.view.phases[-1].name == "let-up"
    assert seen.windows[-1].end_s == pytest.approx(238.0, abs=2.1)
    area = assess_logs([(log, None)])[0].area_m2
    assert area is not None
    assert area.low < 0.3e-6 < area.high


def test_a_valve_shut_after_the_tank_had_done_its_work_begins_the_hold():
    # The tank is done within two seconds; the valve stays open for three more and the leak fills both.
    stages = (Stage("baseline", 9.0), Stage("pump-down", 5.0, tank=True), Stage("hold", 90.0), Stage("let-up", 15.0))
    log = simulate(Scenario(
        stages, (Leak("panel-edges", 3.4e-6, HOLE),), shell=Shell(0.022, "bare", 0.7),
        tank=TankModel(0.09, 10_000.0, 3e-4), seed=4, gauge=GaugeModel(resolution=0.01, noise=0.01, interval_s=0.4),
        stated=Stated(volume_m3=0.022, volume_u_m3=1e-6, barometer_pa=101_325.0, room_c=20.0),
    )).log  # fmt: skip
    assert look(log, None).windows[-1].shut_s == pytest.approx(14.0, abs=0.5)
    area = assess_logs([(log, None)])[0].area_m2
    assert area is not None
    assert area.low < 3.4e-6 < area.high


def refused(log: Log) -> str:
    found = assess_logs([(log, None)])[0]
    assert found.outcome == "refused"
    return found.reason or ""


@pytest.mark.parametrize("interval_s", [0.5, 2.0, 5.0])
def test_a_stand_below_the_room_is_no_hold(interval_s: float):
    # A pump behind the tank draws what the leak lets in: the box levels off just under the room until it is shut.
    log = drawn_by_a_tank(9.0, 260.0, 60.0, interval_s)
    assert "came to a stand below room pressure" in refused(log)


def test_a_box_that_fills_in_a_few_readings_has_not_jumped():
    log = drawn_by_a_tank(5.5, 60.0, 80.0, 4.0)
    assert "jump" not in assess_logs([(log, None)])[0].flags
    window = look(log, None).windows[-1]
    assert window.shut_s == pytest.approx(78.0, abs=6.0)


def test_a_knock_in_a_hold_behind_a_tank_is_still_a_jump():
    log = drawn_by_a_tank(0.3, 20.0, 300.0, 1.0)
    knocked = replace(log, reading=log.reading + 4.0 * (log.elapsed_s > 200.0))
    assert "jump" in assess_logs([(knocked, None)])[0].flags
    assert look(knocked, None).windows[-1].end_s < 201.0


def test_a_marked_shut_stands():
    log = drawn_by_a_tank(5.0, 60.0, 100.0, 0.5)
    at = int(np.searchsorted(log.elapsed_s, 30.0))
    marked = replace(log, note=tuple("shut" if i == at else "" for i in range(log.elapsed_s.size)))
    assert look(marked, None).view.holds[-1].shut_s == pytest.approx(30.0, abs=0.6)
    assert all(window.shut_s == pytest.approx(30.0, abs=0.6) for window in look(marked, None).windows)


def test_a_remark_at_the_bottom_is_no_mark_of_the_shut():
    log = drawn_by_a_tank(5.0, 60.0, 100.0, 0.5)
    at = int(np.searchsorted(log.elapsed_s, look(log, None).view.holds[-1].shut_s))
    remarked = replace(log, note=tuple("hiss heard" if i == at else "" for i in range(log.elapsed_s.size)))
    assert look(remarked, None).windows[-1].shut_s == look(log, None).windows[-1].shut_s == pytest.approx(78.0, abs=1.0)


def test_a_redraw_by_the_pump_tells_of_no_tank():
    # Drawn back by a few kPa within two readings: the hold begins at its shut all the same.
    stages = (
        Stage("baseline", 15.0), Stage("pump-down", 70.0), Stage("soak", 60.0), Stage("hold", 180.0),
        Stage("pump-down", 10.0), Stage("hold", 180.0), Stage("let-up", 15.0),
    )  # fmt: skip
    made = simulate(Scenario(
        stages, (Leak("panel-edges", 0.07e-6, HOLE),), shell=Shell(LITRES * 1e-3, "coated", 0.9), stated=STATED,
        gauge=GaugeModel(resolution=1.0, noise=0.1, interval_s=5.0), seed=3,
    ))  # fmt: skip
    seen = look(made.log, None)
    assert [w.shut_s for w in seen.windows] == pytest.approx([h.shut_s for h in seen.view.holds])


def test_a_marked_shut_stands_against_a_slow_let_up():
    # Air let in through a hardly opened valve speeds the rise up; the mark says that the hold began long before.
    stages = (
        Stage("baseline", 15.0), Stage("pump-down", 3.0, tank=True), Stage("hold", 200.0), Stage("let-up", 200.0),
    )  # fmt: skip
    log = simulate(Scenario(
        stages, (), shell=Shell(LITRES * 1e-3, "coated", 0.9), tank=TankModel(LITRES * 4e-3, 10_000.0, 3e-4),
        stated=STATED, seed=2, gauge=GaugeModel(resolution=0.1, noise=0.03, interval_s=1.0), let_up_area_m2=3e-6,
    )).log  # fmt: skip
    at = int(np.searchsorted(log.elapsed_s, 18.0))
    marked = replace(log, note=tuple("shut" if i == at else "" for i in range(log.elapsed_s.size)))
    found = assess_logs([(marked, None)])[0]
    assert found.outcome != "refused"
    assert found.area_m2 is not None
    assert found.area_m2.high < 0.1e-6
