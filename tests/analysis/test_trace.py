"""A log and its box become a trace: absolute pressures, from the best sources there are, guesses flagged."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from acquisition.records import Baffles, Box, Log, Uncertain
from analysis import trace
from analysis.trace import baseline_reading, infer_resolution, make_trace
from tests.analysis.made_holds import BOX, PLAIN, ROOM_PA, Made, log_of, plain_log, with_header

T = np.arange(0.0, 60.0, 1.0)
LOW = np.full(60, 20_000.0) + 10.0 * T
"""A log that begins at the shut: no baseline in it."""


def test_a_stretch_takes_both_its_ends_and_nothing_where_there_is_none():
    made = make_trace(log_of(T, LOW), None)
    assert made.t_s[made.within(10.0, 12.0)].tolist() == [10.0, 11.0, 12.0]
    assert made.t_s[made.within(10.5, 10.9)].size == 0
    assert made.t_s[made.within(12.0, 10.0)].size == 0


# --- room pressure ---------------------------------------------------------------------------------------


def test_a_stated_barometer_wins_over_the_baseline():
    made = make_trace(plain_log(barometer_kPa=Uncertain(99.0, 0.05)), BOX)
    assert (made.room_pa, made.u_room_pa, made.room_known) == (99_000.0, 50.0, True)
    assert "barometer-guessed" not in made.flags


def test_a_barometer_without_its_uncertainty_gets_a_shops_one():
    made = make_trace(log_of(T, LOW, barometer_kPa=Uncertain(99.0, 0.0)), None)
    assert 50.0 <= made.u_room_pa <= 200.0


def test_an_absolute_gauge_on_the_baseline_is_a_barometer():
    made = make_trace(plain_log(barometer_kPa=None), BOX)
    assert made.room_pa == pytest.approx(ROOM_PA, abs=30.0)
    assert made.room_known
    assert "barometer-guessed" not in made.flags


@pytest.mark.parametrize("gauge", ["vacuum inHg", "gauge kPa"])
def test_a_gauge_that_counts_from_the_room_is_none(gauge):
    made = make_trace(plain_log(barometer_kPa=None, gauge=gauge), BOX)
    assert not made.room_known
    assert "barometer-guessed" in made.flags
    # Shops stand between the sea and a thousand metres (12 kPa lower): that is what the guess must allow for.
    assert made.u_room_pa >= 3000.0


def test_the_altitude_stands_in_for_the_barometer():
    made = make_trace(log_of(T, LOW, "vacuum kPa", barometer_kPa=None, altitude_m=1000.0), None)
    # US Standard Atmosphere 1976 at 1000 m: 89 876 Pa (printed table).
    assert made.room_pa == pytest.approx(89_876.0, abs=3.0)
    assert made.u_room_pa == pytest.approx(1200.0, abs=400.0)
    assert "barometer-guessed" in made.flags


def test_a_low_log_gives_no_barometer():
    made = make_trace(log_of(T, LOW, barometer_kPa=None), None)
    assert not made.room_known
    assert made.room_pa == pytest.approx(101_325.0)


# --- zero of the gauge -----------------------------------------------------------------------------------


def test_a_zero_seen_on_the_baseline_is_taken_off():
    # The gauge reads 0.2 kPa too much everywhere, also when open to a room of 101.325 kPa.
    t, p = Made().run(*PLAIN)
    made = make_trace(log_of(t, p + 200.0, step=0.01, accuracy=0.3, barometer_kPa=Uncertain(101.325, 0.02)), BOX)
    assert made.p_pa[100] == pytest.approx(p[100], abs=10.0)
    assert made.u_zero_pa < 40.0


def test_a_vacuum_gauge_that_does_not_go_back_to_nought_is_set_right():
    t, p = Made().run(*PLAIN)
    log = log_of(t, p, "vacuum kPa", step=0.01, accuracy=0.3)
    made = make_trace(replace(log, reading=log.reading + 0.2), BOX)
    assert made.p_pa[100] == pytest.approx(p[100], abs=10.0)
    # What it is off by is known well; what remains is the barometer's 0.1 kPa.
    assert made.u_zero_pa == pytest.approx(100.0, abs=30.0)


def test_a_zero_is_no_better_known_than_its_baseline_is_still():
    # 20 readings that scatter by 0.1 kPa: their median is good to 1.25 x 100 / sqrt(20) = 28 Pa, whatever the display.
    rng = np.random.default_rng(6)
    zeros = []
    for _ in range(200):
        readings = np.r_[101.325 + rng.normal(0.0, 0.1, 20), np.linspace(100.0, 15.0, 30), np.full(100, 15.0)]
        header = {"step": 0.001, "accuracy": 0.3, "barometer_kPa": Uncertain(101.325, 0.001)}
        made = make_trace(log_of(np.arange(150.0), readings * 1e3, **header), None)
        zeros.append((made.p_pa[-1] - 15_000.0, made.u_zero_pa))
    errors, said = np.array(zeros).T
    assert np.mean(said) == pytest.approx(28.0, rel=0.1)
    assert np.std(errors) == pytest.approx(np.mean(said), rel=0.2)


def test_a_baseline_too_far_off_is_no_zero():
    # 5 kPa off at an accuracy of 0.3: the log began with the pump on, or the barometer is wrong.
    t, p = Made().run(*PLAIN)
    made = make_trace(log_of(t, p - 5000.0, step=0.01, accuracy=0.3), BOX)
    assert made.p_pa[100] == pytest.approx(p[100] - 5000.0, abs=10.0)
    assert made.u_zero_pa == pytest.approx(300.0, abs=30.0)


def test_without_a_baseline_the_gauges_accuracy_is_the_zeros():
    assert make_trace(log_of(T, LOW, accuracy=0.25), None).u_zero_pa == pytest.approx(250.0, rel=0.05)
    assert make_trace(log_of(T, LOW), None).u_zero_pa == pytest.approx(trace.DEFAULT_ACCURACY_PA, rel=0.05)


def test_a_vacuum_gauge_without_a_baseline_carries_the_barometer_too():
    made = make_trace(log_of(T, LOW, "vacuum kPa", accuracy=0.3, barometer_kPa=Uncertain(101.325, 0.4)), None)
    assert made.u_zero_pa == pytest.approx(np.hypot(300.0, 400.0), rel=0.01)


def test_a_coarse_dial_is_no_better_than_half_its_step():
    made = make_trace(log_of(T, LOW, "vacuum inHg", step=0.5), None)
    assert made.accuracy_pa == pytest.approx(0.25 * 3386.389, rel=1e-6)


# --- baseline --------------------------------------------------------------------------------------------


def test_a_baseline_is_a_stretch_that_stands_still():
    reading = np.r_[np.full(6, 101.2), np.linspace(100.0, 20.0, 60)]
    assert baseline_reading(reading) == pytest.approx(101.2)


def test_a_log_that_begins_in_motion_has_none():
    assert baseline_reading(np.linspace(101.0, 20.0, 60)) is None
    assert baseline_reading(np.array([101.0, 101.0, 101.0])) is None


# --- volume ----------------------------------------------------------------------------------------------

LINE = Uncertain(1.6, 0.2)


def test_the_logs_volume_wins():
    log = plain_log(volume_L=Uncertain(40.0, 0.8))
    made = make_trace(log, BOX)
    assert made.volume_m3 == pytest.approx(0.040)
    assert made.u_log_volume == pytest.approx(0.02)
    assert "volume-guessed" not in made.flags


def test_then_the_boxs_measured_one():
    made = make_trace(plain_log(), replace(BOX, line_volume_L=LINE))
    assert made.volume_m3 == pytest.approx(0.032)
    assert made.u_log_volume == pytest.approx(0.01)
    assert "volume-guessed" not in made.flags


def test_then_geometry_and_line_as_a_guess():
    made = make_trace(plain_log(), replace(BOX, volume_L=None, line_volume_L=LINE, baffles=Baffles()))
    # 0.6 x 0.6 x 0.09 = 32.4 L, no baffles, and 1.6 L of line.
    assert made.volume_m3 == pytest.approx(0.0340, rel=1e-6)
    assert "volume-guessed" in made.flags
    assert made.u_log_volume > 0.005


def test_a_volume_without_an_uncertainty_counts_as_five_percent():
    assert make_trace(plain_log(volume_L=Uncertain(40.0, 0.0)), None).u_log_volume == pytest.approx(0.05)


def test_the_capped_hose_has_the_lines_volume_or_none():
    log = with_header(plain_log(), setup="line-only")
    assert make_trace(log, replace(BOX, line_volume_L=LINE)).volume_m3 == pytest.approx(0.0016)
    assert make_trace(log, BOX).volume_m3 is None
    assert make_trace(with_header(log, volume_L=Uncertain(2.0, 0.1)), BOX).volume_m3 == pytest.approx(0.002)


@pytest.mark.parametrize("box", [None, Box("B-00")])
def test_with_nothing_known_there_is_no_volume(box):
    assert make_trace(plain_log(), box).volume_m3 is None


# --- wood, place, temperature ----------------------------------------------------------------------------


def test_wood_of_the_log_wins_over_the_boxs():
    assert make_trace(plain_log(wood="bare"), BOX).wood == "bare"
    assert make_trace(plain_log(), BOX).wood == "coated"
    assert make_trace(plain_log(), None).wood is None


def test_wood_surface_is_the_insides_or_scales_as_surfaces_do():
    # 2 (0.6 x 0.6) + 4 (0.6 x 0.09) = 0.936 m2, baffles none.
    assert make_trace(plain_log(), replace(BOX, baffles=Baffles())).wood_area_m2 == pytest.approx(0.936, rel=1e-6)
    small, large = (make_trace(plain_log(volume_L=Uncertain(v, 1.0)), None).wood_area_m2 for v in (10.0, 80.0))
    assert large / small == pytest.approx(4.0, rel=1e-6)


@pytest.mark.parametrize(("at", "behind", "unknown"), [
    ("box", "room", False), (None, "room", True), ("box", None, True), (None, None, True),
])  # fmt: skip
def test_an_unknown_place_is_said(at, behind, unknown):
    flags = make_trace(plain_log(gauge_at=at, behind_valve=behind), BOX).flags
    assert ("place-unknown" in flags) == unknown


def test_the_room_is_20_degrees_unless_said_and_less_sure():
    said, unsaid = make_trace(plain_log(room_C=12.0), BOX), make_trace(plain_log(room_C=None), BOX)
    assert said.room_k == pytest.approx(285.15)
    assert unsaid.room_k == pytest.approx(293.15)
    assert unsaid.u_room_k > 2.0 * said.u_room_k


# --- readings --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("gauge", "expected"), [
    ("absolute kPa", [40.0e3, 39.0e3]), ("vacuum kPa", [61_325.0, 62_325.0]), ("gauge kPa", [141_325.0, 140_325.0]),
    ("absolute mbar", [4000.0, 3900.0]), ("vacuum inHg", [101_325.0 - 40 * 3386.389, 101_325.0 - 39 * 3386.389]),
])  # fmt: skip
def test_readings_become_absolute_pascals(gauge, expected):
    log = log_of(T, LOW, gauge)
    reading = np.r_[40.0, 39.0, np.full(58, 38.0)]
    made = make_trace(replace(log, reading=reading), None)
    np.testing.assert_allclose(made.p_pa[:2], expected, rtol=1e-9)


def test_rows_without_a_reading_are_left_out():
    log = log_of(T, LOW)
    reading = log.reading.copy()
    reading[[3, 10]] = np.nan
    made = make_trace(replace(log, reading=reading), None)
    assert made.t_s.size == 58
    assert not {3.0, 10.0} & set(made.t_s.tolist())


def test_time_that_runs_back_is_left_out_and_said():
    back = np.where(T < 30.0, T, T - 5.0)
    made = make_trace(log_of(back, LOW), None)
    assert "clock-back" in made.flags
    assert np.all(np.diff(made.t_s) > 0.0)
    # What is kept before and after: up to 29 s, then from the first later time on.
    assert made.t_s[29] == 29.0
    assert made.t_s[30] == 30.0
    assert made.p_pa[30] == pytest.approx(LOW[35])


def test_a_time_twice_is_no_clock_back():
    twice = np.r_[T[:30], T[29], T[30:]]
    made = make_trace(log_of(twice, np.r_[LOW[:30], LOW[29], LOW[30:]]), None)
    assert "clock-back" not in made.flags
    assert made.t_s.size == 60


def test_notes_follow_their_readings():
    note = [""] * 60
    note[20] = "shut"
    log = log_of(T, LOW, note=note)
    reading = log.reading.copy()
    reading[5] = np.nan
    made = make_trace(replace(log, reading=reading), None)
    assert made.note[int(np.flatnonzero(made.t_s == 20.0)[0])] == "shut"


def test_an_empty_log_is_no_crash():
    made = make_trace(Log(plain_log().header, np.empty(0), np.empty(0)), None)
    assert made.t_s.size == 0


# --- step of the display ---------------------------------------------------------------------------------


@pytest.mark.parametrize("step", [0.5, 0.1, 0.01, 1.0, 0.25])
def test_a_displays_step_is_found(step):
    curve = 20.0 + 25.0 * (1.0 - np.exp(-np.arange(400) / 120.0))
    assert infer_resolution(np.round(curve / step) * step) == pytest.approx(step, rel=1e-6)


def test_a_step_is_found_under_noise():
    curve = 20.0 + 0.05 * np.arange(400) + 0.3 * np.random.default_rng(5).standard_normal(400)
    assert infer_resolution(np.round(curve, 1)) == pytest.approx(0.1, rel=1e-6)


def test_readings_finer_than_their_noise_have_no_step():
    curve = 20.0 + 0.05 * np.arange(400) + 0.3 * np.random.default_rng(5).standard_normal(400)
    assert infer_resolution(curve) == 0.0
    assert infer_resolution(np.array([20.0, 20.0, 20.0])) == 0.0
    assert infer_resolution(np.array([np.nan, 20.0, 21.0])) == 0.0


def test_a_stated_resolution_is_taken_in_the_gauges_unit():
    assert make_trace(log_of(T, LOW, "vacuum inHg", step=0.5), None).resolution_pa == pytest.approx(1693.19, abs=0.01)
