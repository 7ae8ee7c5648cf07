"""Faults of a log on curves made by hand: what is one, and what only looks like one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from acquisition.units import PA_PER
from analysis.faults import (
    UNIT_RATIOS,
    acceleration_s,
    clock_jumps,
    clock_leaps,
    find_jumps,
    frozen_from_s,
    has_gap,
    stuck_level_pa,
    without_spikes,
)
from analysis.trace import Trace, make_trace
from tests.analysis.made_holds import BOX, PLAIN, Made, laminar, log_of, nozzle

T = np.arange(0.0, 240.0)
RISE = 18_000.0 + 60.0 * T
"""A straight rise of 0.1 mm2 on 32 L, about."""


def scatter(p, sd=10.0, seed=11):
    return p + sd * np.random.default_rng(seed).standard_normal(np.size(p))


def trace_of(t, p, gauge="absolute kPa", step=0.0, note=(), **header) -> Trace:
    return make_trace(log_of(np.asarray(t), np.asarray(p), gauge, step, note=note, **header), BOX)


# --- spikes ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("size_pa", [2_000.0, -2_000.0, 50_000.0])
def test_single_readings_far_off_are_taken_out(size_pa):
    p = scatter(RISE)
    at = [30, 90, 200]
    spiked = p.copy()
    spiked[at] += size_pa
    clean, found = without_spikes(trace_of(T, spiked))
    assert found
    assert sorted(set(T) - set(clean.t_s)) == [30.0, 90.0, 200.0]
    np.testing.assert_allclose(clean.p_pa, np.delete(p, at))


def test_a_clean_rise_has_none():
    clean, found = without_spikes(trace_of(T, scatter(RISE)))
    assert not found
    assert clean.t_s.size == T.size


@pytest.mark.parametrize("interval_s", [0.2, 1.0, 5.0])
def test_the_bottom_of_a_steep_v_is_no_spike(interval_s):
    # A pump stalls on a big leak, and the valve is shut at once: down and up again within two readings.
    made = Made(6.0, speed_L_s=12.0, interval_s=interval_s)
    t, p = made.run(("baseline", 10.0), ("pump-down", 20.0), ("hold", 60.0))
    clean, found = without_spikes(trace_of(t, scatter(p)))
    assert not found
    assert clean.p_pa.min() == pytest.approx(p.min(), abs=50.0)


def test_a_v_of_one_reading_is_no_spike():
    p = scatter(20_000.0 + 2_000.0 * np.abs(np.arange(60) - 30.0))
    clean, found = without_spikes(trace_of(np.arange(60.0), p))
    assert not found
    assert clean.p_pa.min() == p.min()


def test_a_step_taken_in_two_readings_is_no_spike():
    p = scatter(RISE) + np.where(T >= 101.0, 6000.0, np.where(T >= 100.0, 3000.0, 0.0))
    assert not without_spikes(trace_of(T, p))[1]


def test_a_coarse_display_that_flickers_has_none():
    p = np.round(scatter(RISE, 150.0) / 1693.2) * 1693.2
    assert not without_spikes(trace_of(T, p, step=1.6932))[1]


def test_notes_stay_with_their_readings_when_a_spike_goes():
    p = scatter(RISE)
    p[50] += 5000.0
    note = [""] * T.size
    note[100] = "shut"
    clean, _ = without_spikes(trace_of(T, p, note=note))
    assert clean.t_s[clean.note.index("shut")] == 100.0


# --- gaps ------------------------------------------------------------------------------------------------


def test_a_gap_inside_the_stretch_is_seen():
    kept = (T < 100.0) | (T > 140.0)
    trace = trace_of(T[kept], RISE[kept])
    assert has_gap(trace, 0.0, 239.0)
    assert not has_gap(trace, 0.0, 99.0)
    assert not has_gap(trace, 141.0, 239.0)


@pytest.mark.parametrize("interval_s", [0.05, 1.0, 20.0])
def test_even_readings_have_no_gap_however_far_apart(interval_s):
    t = np.arange(30) * interval_s
    assert not has_gap(trace_of(t, 18_000.0 + t), 0.0, float(t[-1]))


def test_single_lost_lines_are_no_gap():
    kept = np.random.default_rng(2).random(T.size) > 0.2
    assert not has_gap(trace_of(T[kept], RISE[kept]), 0.0, 239.0)


# --- jumps -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("by_pa", [900.0, -900.0, 3000.0])
def test_a_lasting_jump_is_found_with_its_time_and_size(by_pa):
    p = scatter(RISE) + np.where(T >= 120.0, by_pa, 0.0)
    (jump,) = find_jumps(trace_of(T, p), 0.0, 239.0)
    assert jump.t_s == 120.0
    assert jump.by_pa == pytest.approx(by_pa + 60.0, abs=80.0)
    assert not jump.is_unit


def test_no_jump_in_a_clean_rise_nor_outside_the_stretch():
    assert find_jumps(trace_of(T, scatter(RISE)), 0.0, 239.0) == ()
    p = scatter(RISE) + np.where(T >= 120.0, 900.0, 0.0)
    assert find_jumps(trace_of(T, p), 0.0, 110.0) == ()


def test_the_steps_of_a_dial_are_no_jumps():
    assert find_jumps(trace_of(T, np.round(RISE / 1693.2) * 1693.2, step=1.6932), 0.0, 239.0) == ()


@pytest.mark.parametrize("area", [1.0, 10.0])
def test_a_box_that_fills_in_seconds_does_not_jump(area):
    t, p = Made(area, speed_L_s=30.0, ultimate_pa=2000.0).run(("pump-down", 30.0), ("hold", 120.0))
    held = t >= 31.0
    assert find_jumps(trace_of(t[held], scatter(p[held])), 31.0, 150.0) == ()


# By hand from the definitions: 1 kPa is 10 mbar, 1 inHg 3.386389 kPa, 1 psi 6.894757 kPa, 1 Torr 1/760 atm.
@pytest.mark.parametrize(("gauge", "other"), [
    ("absolute kPa", "mbar"), ("absolute mbar", "kPa"), ("absolute kPa", "psi"), ("absolute kPa", "inHg"),
    ("vacuum kPa", "inHg"), ("vacuum inHg", "mbar"), ("gauge kPa", "psi"), ("absolute mbar", "Torr"),
])  # fmt: skip
def test_the_unit_key_pressed_in_mid_hold_is_known_by_its_ratio(gauge, other):
    log = log_of(T, scatter(RISE, 2.0), gauge)
    factor = log.header.gauge.pa_per_unit / PA_PER[other]
    trace = make_trace(replace(log, reading=np.where(T >= 120.0, log.reading * factor, log.reading)), BOX)
    (jump,) = find_jumps(trace, 0.0, 239.0)
    assert jump.t_s == 120.0
    assert jump.is_unit


@pytest.mark.parametrize("ratio", [10.0, 3.386389, 6.894757, 1000.0 / 133.3224, 25.4, 101_325.0 / 760.0 / 100.0])
def test_ratios_of_the_units_a_gauge_may_show(ratio):
    assert any(abs(known / ratio - 1.0) < 1e-4 for known in UNIT_RATIOS)


# --- the clock -------------------------------------------------------------------------------------------


def test_when_the_clock_ran_back():
    back = np.where(T < 150.0, T, T - 40.0)
    assert clock_jumps(trace_of(back, RISE)) == (150.0,)
    assert clock_jumps(trace_of(T, RISE)) == ()


def test_a_clock_that_never_comes_back_ahead_leaves_no_time():
    back = np.where(T < 150.0, T, T - 140.0)
    assert clock_jumps(trace_of(back, RISE)) == ()


# --- stuck -----------------------------------------------------------------------------------------------


def held_still(level_pa=20_000.0, **more) -> Trace:
    """A log whose gauge falls as it should and then stands at a level to the end."""
    t, p = Made().run(*PLAIN)
    p = scatter(p)
    still = np.flatnonzero(p < level_pa)[0]
    p[still:] = level_pa
    return trace_of(t, p, **({"step": 0.01} | more))


def test_a_gauge_that_stops_while_the_pump_draws_is_stuck():
    found = stuck_level_pa(held_still(), 130.0, 370.0)
    assert found is not None
    level, times = found
    assert level == pytest.approx(20_000.0, abs=20.0)
    assert times > 300


def test_a_gauge_whose_noise_stops_is_stuck():
    t = np.arange(0.0, 300.0)
    p = np.where(t < 100.0, scatter(15_000.0 + 0.0 * t), 15_000.0)
    found = stuck_level_pa(trace_of(t, p, step=0.01), 150.0, 299.0)
    assert found == (pytest.approx(15_000.0), pytest.approx(200, abs=5))


def test_bare_wood_that_gives_off_nothing_is_a_stuck_gauge():
    # 10 % moist wood brings the box up by more than 0.1 kPa within a minute, leak or no leak.
    t = np.arange(0.0, 200.0)
    trace = trace_of(t, np.full(200, 15_000.0), step=0.1, wood="bare")
    assert stuck_level_pa(trace, 0.0, 199.0) is not None
    # A pump that is on takes the moisture away.
    assert stuck_level_pa(trace, 0.0, 199.0, pumped=True) is None


@pytest.mark.parametrize(("step_kpa", "wood"), [(1.6932, "bare"), (1.6932, "coated"), (0.1, "coated"), (0.1, "none")])
def test_a_tight_box_on_a_coarse_display_is_not_stuck(step_kpa, wood):
    t = np.arange(0.0, 200.0)
    p = np.round((15_000.0 + 0.05 * t) / (1e3 * step_kpa)) * 1e3 * step_kpa
    assert stuck_level_pa(trace_of(t, p, step=step_kpa, wood=wood), 0.0, 199.0) is None


def test_a_tight_box_whole_log_on_a_dial_is_not_stuck():
    t, p = Made(0.0005).run(*PLAIN)
    p = np.round(p / 1693.2) * 1693.2
    assert stuck_level_pa(trace_of(t, p, "absolute kPa", 1.6932), 135.0, 365.0) is None


@pytest.mark.parametrize("noise_pa", [0.0, 30.0])
def test_readings_that_freeze_and_jump_froze_at_the_first_equal_one(noise_pa):
    # A rise of 60 Pa/s; the gauge shows that of 80 s until 140 s, then what is there.
    p = scatter(RISE, noise_pa)
    p[(T >= 80.0) & (T < 140.0)] = p[T == 80.0]
    assert frozen_from_s(trace_of(T, p), 0.0, 140.0) == 80.0


def test_a_tight_box_on_a_coarse_display_that_jumps_had_not_frozen():
    p = np.round((15_000.0 + 0.05 * T) / 1693.2) * 1693.2 + np.where(T >= 140.0, 5079.6, 0.0)
    assert frozen_from_s(trace_of(T, p, step=1.6932), 0.0, 140.0) == 140.0
    # Readings that moved right up to the jump.
    assert frozen_from_s(trace_of(T, scatter(RISE)), 0.0, 140.0) == 140.0


def test_a_gauge_that_moves_or_few_readings_are_not_stuck():
    assert stuck_level_pa(trace_of(T, RISE), 0.0, 239.0) is None
    assert stuck_level_pa(trace_of(T, np.full(240, 15_000.0), step=0.1, wood="bare"), 0.0, 15.0) is None


# --- a rise that speeds up -------------------------------------------------------------------------------


@pytest.mark.parametrize("factor", [2.0, 5.0, 20.0])
def test_a_seal_that_lets_go_is_found_when_it_does(factor):
    p = scatter(18_000.0 + 60.0 * T + 60.0 * (factor - 1.0) * np.maximum(T - 140.0, 0.0))
    when = acceleration_s(T, p, 10.0, 0.0)
    assert when == pytest.approx(140.0, abs=12.0)


@pytest.mark.parametrize("law", [nozzle, laminar])
@pytest.mark.parametrize("area", [0.05, 0.3, 2.0])
@pytest.mark.parametrize("moist_pa", [0.0, 1200.0])
def test_a_rise_that_only_slows_down_has_none(law, area, moist_pa):
    t, p = Made(area, law, moist_pa=moist_pa, pore_litres=1.0).run(*PLAIN[:4])
    held = (t > 132.0) & (p < 0.95 * 101_325.0)
    assert acceleration_s(t[held], scatter(p[held]), 10.0, 0.0) is None


@pytest.mark.parametrize("step", [100.0, 1693.2])
def test_the_steps_of_a_display_are_no_acceleration(step):
    p = np.round((18_000.0 + 40.0 * T) / step) * step
    assert acceleration_s(T, p, noise_pa=0.0, resolution_pa=step) is None


def test_noise_alone_is_none():
    assert acceleration_s(T, scatter(18_000.0 + 0.0 * T, 100.0), 100.0, 0.0) is None


def test_too_few_readings_tell_nothing():
    assert acceleration_s(T[:10], RISE[:10] ** 2, 0.0, 0.0) is None


def test_a_clock_put_forward_shows_in_a_rise_that_stood_still_meanwhile():
    later = np.where(T > 120.0, T + 3600.0, T)
    (when,) = clock_leaps(trace_of(later, scatter(RISE)), 0.0, 4000.0)
    assert when == pytest.approx(3721.0, abs=1.1)


def test_a_gap_in_which_the_pressure_rose_on_is_no_clock_put_forward():
    kept = (T < 80.0) | (T > 160.0)
    assert clock_leaps(trace_of(T[kept], scatter(RISE)[kept]), 0.0, 239.0) == ()
