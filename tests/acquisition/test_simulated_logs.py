"""What the make-believe gauge writes down: rounding, errors, accidents, headers; and the draws at random."""

from __future__ import annotations

import time
from dataclasses import replace

import numpy as np
import pytest

from acquisition.errors import WrongUsage
from acquisition.simulated.draw import GAUGES, random_scenario
from acquisition.simulated.gauge import decimals, disturbed
from acquisition.simulated.live import LiveBox
from acquisition.simulated.scenario import (
    HOLE,
    SEEP,
    SHARP,
    GaugeModel,
    Law,
    Leak,
    PumpModel,
    Room,
    Scenario,
    Shell,
    Stage,
    Stated,
    Step,
    TankModel,
    Valve,
)
from acquisition.simulated.simulate import simulate, simulate_many
from acquisition.units import GaugeUnit, to_absolute_pa

STAGES = (Stage("baseline", 5.0), Stage("pump-down", 40.0), Stage("hold", 60.0), Stage("let-up", 10.0))
BASE = Scenario(STAGES, (Leak("line", 0.1e-6),))


def with_gauge(**changes: object) -> Scenario:
    return replace(BASE, gauge=GaugeModel(**changes))


@pytest.mark.parametrize("unit", ["absolute kPa", "vacuum inHg", "gauge mbar", "absolute Torr", "vacuum kPa"])
def test_readings_mean_the_true_pressure(unit: str):
    gauge_unit = GaugeUnit(*unit.split())
    run = simulate(with_gauge(unit=gauge_unit, resolution=0.01, lag_s=0.0))
    absolute = to_absolute_pa(run.log.reading, gauge_unit, 101_325.0)
    truth = np.interp(run.log.elapsed_s, run.truth.t_s, run.truth.p_pa)
    assert absolute == pytest.approx(truth, abs=0.0051 * gauge_unit.pa_per_unit)


@pytest.mark.parametrize(("resolution", "places"), [(1.0, 0), (0.5, 1), (0.1, 1), (0.25, 2), (0.01, 2)])
def test_decimals_of_a_display(resolution: float, places: int):
    assert decimals(resolution) == places


def test_readings_are_multiples_of_the_resolution_and_match_their_line():
    log = simulate(with_gauge(unit=GaugeUnit("vacuum", "inHg"), resolution=0.5)).log
    assert np.all(log.reading * 2 == np.round(log.reading * 2))
    assert log.raw[30] == f"{log.reading[30]:.1f} inHg"


def test_same_scenario_same_log_alone_or_in_company():
    one = with_gauge(noise=0.05, jitter_s=0.05, drop_share=0.1)
    alone = simulate(one).log
    company = simulate_many([replace(BASE, seed=3), one, replace(BASE, stages=STAGES[1:3])])[1].log
    assert np.array_equal(alone.elapsed_s, company.elapsed_s)
    assert np.array_equal(alone.reading, company.reading)


def test_another_seed_is_another_noise():
    one = with_gauge(noise=0.3)
    first, second = simulate_many([one, replace(one, seed=1)])
    assert not np.array_equal(first.log.reading, second.log.reading)


def test_noise_has_its_size():
    gauge, times = GaugeModel(noise=0.05, wander=0.2), np.arange(3000.0)
    reading = disturbed(gauge, times, np.zeros(3000), np.random.default_rng(1))
    assert np.std(reading) == pytest.approx(np.hypot(0.05, 0.2), rel=0.25)
    # Neighbours of the wandering part are alike: exp(-1/20) of 0.2^2 over the whole variance.
    assert np.corrcoef(reading[1:], reading[:-1])[0, 1] == pytest.approx(0.951 * 0.04 / 0.0425, abs=0.08)


def test_gain_and_zero():
    plain, off = simulate_many([with_gauge(resolution=0.001), with_gauge(resolution=0.001, gain=1.02, zero=0.5)])
    assert off.log.reading == pytest.approx(0.5 + 1.02 * plain.log.reading, abs=0.0011)


def test_a_slow_gauge_lags():
    quick, slow = simulate_many([with_gauge(lag_s=0.0, resolution=0.01), with_gauge(lag_s=3.0, resolution=0.01)])
    # While the box falls steadily a first-order gauge shows what was there one lag ago.
    assert slow.log.reading[25] == pytest.approx(quick.log.reading[22], rel=0.05)


def test_stuck_rail_step_garbled_unit_and_clock():
    stuck = simulate(with_gauge(stuck_after_s=60.0)).log
    assert np.ptp(stuck.reading[60:]) == 0.0
    assert np.min(simulate(with_gauge(rail=(30.0, 110.0))).log.reading) == 30.0
    stepped = simulate(with_gauge(steps=(Step(80.0, 2.0),))).log.reading
    assert stepped[81] - stepped[79] == pytest.approx(2.0, abs=0.4)
    garbled = simulate(with_gauge(garbled_share=0.2)).log
    assert 5 < np.isnan(garbled.reading).sum() < 50
    assert garbled.raw[int(np.flatnonzero(np.isnan(garbled.reading))[0])] == "?\\x00#"
    other = simulate(with_gauge(unit_after=(80.0, "mbar"))).log
    assert other.raw[90].endswith("mbar")
    assert other.reading[90] == pytest.approx(10 * other.reading[79], rel=0.1)
    back = simulate(with_gauge(clock_back=(80.0, 30.0))).log
    assert np.diff(back.elapsed_s).min() == pytest.approx(-29.0)


def test_spikes_and_lost_lines():
    clean, spiked = simulate_many([BASE, with_gauge(spike_share=0.05, spike_size=20.0)])
    assert 1 <= np.sum(np.abs(spiked.log.reading - clean.log.reading) > 10.0) <= 15
    lost = simulate(with_gauge(drop_share=0.3)).log
    assert 0.5 < lost.reading.size / clean.log.reading.size < 0.9
    assert lost.elapsed_s[0] == 0.0


def test_a_gauge_on_the_tank_sees_the_tank():
    run = simulate(replace(with_gauge(at="tank", lag_s=0.0), tank=TankModel(start_pa=12_000.0)))
    assert run.log.reading[90] < 12.5
    assert run.log.header.gauge_at == "tank"


def test_a_dial_is_read_by_hand():
    assert simulate(with_gauge(by_hand=True, interval_s=15.0)).log.raw == ()


def test_header_holds_what_was_stated_not_what_is_true():
    stated = Stated(0.0300, 0.0012, 101_000.0, 150.0, 21.0, 0.25, more={"sheet_C": 70.0, "let_up_since_last": False})
    header = simulate(replace(BASE, stated=stated, valve=Valve(behind="room"), sealed=("port-flange",))).log.header
    assert (header.volume_L.value, header.volume_L.u) == (30.0, 1.2)
    assert (header.barometer_kPa.value, header.barometer_kPa.u) == (101.0, 0.15)
    assert (header.sheet_C, header.let_up_since_last, header.behind_valve) == (70.0, False, "room")
    assert header.sealed == ("port-flange",)


def test_truth_counts_only_what_the_setup_leaves_open():
    leaks = (
        Leak("panel-edges/front", 1e-7), Leak("top-panel", 2e-7, SEEP), Leak("sheet-edge", 4e-7),
        Leak("port-flange", 8e-7), Leak("valve-seat", 16e-7),
    )  # fmt: skip
    taped = simulate(replace(BASE, leaks=leaks, sealed=("port-flange",))).truth
    assert taped.paths == {"panel-edges/front": 1e-7, "top-panel": 2e-7}
    assert taped.area_m2 == pytest.approx(3e-7)
    sheet = simulate(replace(BASE, leaks=leaks, setup="formed-sheet", sealed=("panel-edges",))).truth
    assert set(sheet.paths) == {"sheet-edge", "port-flange"}


@pytest.mark.parametrize(
    ("law", "kind", "variant"),
    [(HOLE, "hole", None), (SHARP, "hole", "sharp"), (SEEP, "seep", None), (Law("slip", -0.3), "seep", None),
     (Law("mix", 0.5), "between", None), (Law("crack", 0.4), "between", None)],
)  # fmt: skip
def test_truth_names_the_law(law: Law, kind: str, variant: str | None):
    truth = simulate(replace(BASE, leaks=(Leak("line", 1e-7, law),))).truth
    assert (truth.law, truth.variant) == (kind, variant)


def test_phases_come_about_as_scheduled():
    stages = (Stage("baseline", 5.0), Stage("pump-down", 300.0, until_pa=25_000.0), Stage("hold", 30.0))
    phases = simulate(replace(BASE, stages=stages)).truth.phases
    assert [p.kind for p in phases] == ["baseline", "pump-down", "hold"]
    assert phases[1].end_pa == pytest.approx(25_000.0, rel=0.02)
    assert phases[2].start_s == phases[1].end_s
    assert phases[2].end_s - phases[2].start_s == pytest.approx(30.0)


def test_release_share_of_a_tight_bare_box_is_all():
    run = simulate(replace(BASE, leaks=(), shell=Shell(wood="bare"))).truth
    assert run.release_share == 1.0
    assert simulate(replace(BASE, shell=Shell(wood="none"))).truth.release_share == 0.0


# --- draws ---------------------------------------------------------------------------------------------


def test_draws_are_repeatable_and_span_the_ranges():
    drawn = [random_scenario(np.random.default_rng(k)) for k in range(300)]
    assert drawn[7] == random_scenario(np.random.default_rng(7))
    areas = np.array([s.leaks[0].area_m2 for s in drawn]) * 1e6
    assert areas.min() < 0.01
    assert areas.max() > 5.0
    assert {s.shell.wood for s in drawn} == {"bare", "coated", "none"}
    assert {s.leaks[0].law.kind for s in drawn} == {"hole", "sharp", "seep", "slip", "mix", "crack"}
    assert any(not any(st.kind == "hold" for st in s.stages) for s in drawn)
    assert all(0.01 <= s.shell.volume_m3 <= 0.12 for s in drawn)


def test_a_weak_hold_can_come_first():
    plain, weak = (random_scenario(np.random.default_rng(4), area_mm2=0.1, weak=w) for w in (False, True))
    kinds = [stage.kind for stage in weak.stages if stage.kind != "baseline"]
    assert kinds[:3] == ["pump-down", "hold", "pump-down"]
    assert len(weak.stages) == len(plain.stages) + 2
    assert 0.65 * weak.room.pa < simulate(weak).truth.holds[0].start_pa < 0.81 * weak.room.pa


def test_a_tight_box_can_be_asked_for():
    assert random_scenario(np.random.default_rng(1), area_mm2=0.0).leaks == ()


@pytest.mark.parametrize("name", list(GAUGES))
def test_every_gauge_can_be_asked_for(name: str):
    scenario = random_scenario(np.random.default_rng(2), gauge=name)
    assert scenario.gauge.unit == GAUGES[name].unit
    assert scenario.gauge.resolution == GAUGES[name].resolution


def test_stated_volumes_scatter_as_they_say():
    drawn = [random_scenario(np.random.default_rng(k)) for k in range(400)]
    off = [
        np.log(s.stated.volume_m3 / s.shell.volume_m3) / (s.stated.volume_u_m3 / s.stated.volume_m3) for s in drawn
    ]
    assert np.std(off) == pytest.approx(1.0, abs=0.12)
    assert abs(np.mean(off)) < 0.15


@pytest.mark.slow
def test_hundred_tests_take_seconds_and_stay_finite():
    drawn = [random_scenario(np.random.default_rng(k), hold_s=300.0) for k in range(100)]
    began = time.perf_counter()
    runs = simulate_many(drawn)
    assert time.perf_counter() - began < 30.0
    assert all(np.isfinite(r.truth.p_pa).all() and r.truth.p_pa.min() > 500.0 for r in runs)


# --- a gauge that answers ------------------------------------------------------------------------------


def test_a_live_box_follows_its_schedule_like_the_log():
    quiet = with_gauge(resolution=0.1)
    live, log = LiveBox(quiet), simulate(quiet).log
    heard = [live.text_at(float(t)) for t in log.elapsed_s[:100]]
    assert heard == list(log.raw[:100])


def test_a_live_box_obeys_the_hand_on_the_valve():
    live = LiveBox(Scenario((Stage("baseline", 1e6),), (Leak("line", 1e-7),), pump=PumpModel(2e-3, 6_000.0)))
    assert live.value_at(5.0) == pytest.approx(101.3, abs=0.11)
    live.turn("pump-down")
    low = live.value_at(65.0)
    assert live.phase == "pump-down"
    assert low < 20.0
    live.turn("hold")
    assert live.value_at(165.0) > low + 4.0
    live.turn("let-up")
    assert live.value_at(400.0) == pytest.approx(101.3, abs=0.11)
    assert live.p_pa == pytest.approx(101_325.0, rel=1e-3)


def test_a_live_box_refuses_an_unknown_phase():
    with pytest.raises(WrongUsage, match="'vent' is no phase"):
        LiveBox(BASE).turn("vent")


def test_a_live_box_ends_shut():
    live = LiveBox(replace(BASE, stages=STAGES[1:3], room=Room(90_000.0)))
    live.run_to(120.0)
    assert live.phase is None
