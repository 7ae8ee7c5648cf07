"""Phases read off curves made by hand, whose phases are known because they were made so."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from analysis.phases import find_phases, noise_of, turning_points
from tests.analysis.made_holds import PLAIN, ROOM_PA, SHUT_S, Made

PUMP_M3_S = 1.4e-3
VOLUME_M3 = 0.032


def noisy(p, noise_pa=10.0, seed=1):
    return p + noise_pa * np.random.default_rng(seed).standard_normal(p.size)


def seen(t, p, step=0.0, note=(), noise_pa=10.0, volume=VOLUME_M3, pump=PUMP_M3_S, seed=1):
    p = noisy(p, noise_pa, seed) if noise_pa else p
    if step:
        p = np.round(p / step) * step
    return find_phases(t, p, ROOM_PA, step, volume, pump, note=note)


def names(view):
    return [phase.name for phase in view.phases]


def cut(curve, start_s, end_s):
    t, p = curve
    inside = (t >= start_s) & (t <= end_s)
    return t[inside], p[inside]


LEAKS = [0.02, 0.1, 0.3]


@pytest.mark.parametrize("area", LEAKS)
def test_a_whole_log_has_its_five_phases(area):
    view = seen(*Made(area).run(*PLAIN))
    assert names(view) == ["baseline", "pump-down", "soak", "hold", "let-up"]
    (hold,) = view.holds
    assert hold.shut_s == pytest.approx(SHUT_S, abs=4.0)
    assert hold.end_s == pytest.approx(370.0, abs=3.0)
    assert hold.drop_s == pytest.approx(10.0, abs=2.0)
    assert hold.bottom_s <= SHUT_S
    assert view.level_pa is None
    assert not view.falling


@pytest.mark.parametrize("area", LEAKS)
def test_phases_meet_without_gaps(area):
    phases = seen(*Made(area).run(*PLAIN)).phases
    assert all(a.end_s == b.start_s for a, b in pairwise(phases))


@pytest.mark.parametrize("area", LEAKS)
def test_a_log_that_starts_at_the_shut_is_all_hold(area):
    t, p = cut(Made(area).run(*PLAIN), SHUT_S, 360.0)
    view = seen(t, p)
    (hold,) = view.holds
    assert hold.shut_s == pytest.approx(SHUT_S, abs=3.0)
    assert hold.end_s == pytest.approx(360.0, abs=3.0)
    assert hold.bottom_s is None
    assert hold.drop_pa is None


@pytest.mark.parametrize("seed", range(8))
def test_a_log_that_starts_at_the_shut_holds_although_a_later_reading_is_its_lowest(seed):
    t = np.arange(0.0, 300.0, 0.5)
    view = seen(t, 9e3 + 12.0 * t, noise_pa=40.0, seed=seed)
    (hold,) = view.holds
    assert hold.shut_s == 0.0
    assert hold.end_s == pytest.approx(t[-1], abs=10.0)


@pytest.mark.parametrize(("area", "before_s"), [(0.02, 30.0), (0.1, 10.0), (0.1, 60.0), (0.3, 6.0), (0.3, 60.0)])
def test_a_log_that_starts_with_the_pump_still_running_begins_its_hold_at_the_shut(area, before_s):
    t, p = Made(area).run(*PLAIN)
    t, p = cut((t, p), SHUT_S, 360.0)
    level_t = np.arange(SHUT_S - before_s, SHUT_S, t[1] - t[0])
    view = seen(np.r_[level_t, t], np.r_[np.full(level_t.size, p[0]), p])
    (hold,) = view.holds
    assert hold.shut_s == pytest.approx(SHUT_S, abs=4.0)


def test_a_log_that_stops_before_the_let_up_holds_to_its_end():
    t, p = cut(Made(0.1).run(*PLAIN), 0.0, 300.0)
    view = seen(t, p)
    assert names(view)[-1] == "hold"
    assert view.holds[-1].end_s == 300.0
    assert view.holds[-1].shut_s == pytest.approx(SHUT_S, abs=4.0)


@pytest.mark.parametrize("area", [1.5, 3.0])
def test_a_box_full_before_the_let_up_holds_until_it_is_full(area):
    t, p = Made(area).run(*PLAIN)
    (hold,) = seen(t, p).holds
    assert hold.shut_s == pytest.approx(SHUT_S, abs=2.0)
    assert hold.end_s >= t[np.argmax((t > SHUT_S) & (p > 0.95 * ROOM_PA))]


def test_a_jump_as_the_gas_warms_at_the_shut_belongs_to_the_hold():
    # A tank dump shut at once: 2 kPa come back with 5 s, then the leak.
    t = np.arange(0.0, 200.0)
    fall = np.where(t < 10.0, ROOM_PA, 18_000.0 + 83_325.0 * np.exp(-np.maximum(t - 10.0, 0.0)))
    held = t >= 14.0
    p = np.where(held, fall[14] - 2000.0 * np.expm1(-(t - 14.0) / 5.0) + 60.0 * (t - 14.0), fall)
    (hold,) = seen(t, p).holds
    assert hold.shut_s == pytest.approx(14.0, abs=3.0)
    assert hold.end_s == pytest.approx(199.0, abs=1.0)


def test_a_redraw_makes_two_holds():
    stages = [*PLAIN[:3], ("hold", 180.0), ("pump-down", 40.0), ("soak", 60.0), ("hold", 180.0), ("let-up", 20.0)]
    view = seen(*Made(0.1).run(*stages))
    assert names(view) == [
        "baseline", "pump-down", "soak", "hold", "pump-down", "soak", "hold", "let-up",
    ]  # fmt: skip
    first, second = view.holds
    assert (first.shut_s, first.end_s) == (pytest.approx(130.0, abs=4.0), pytest.approx(310.0, abs=4.0))
    assert (second.shut_s, second.end_s) == (pytest.approx(410.0, abs=6.0), pytest.approx(590.0, abs=4.0))
    assert second.drop_s == pytest.approx(310.0, abs=4.0)


def test_a_pump_that_levels_off_high_is_a_stall():
    # 3 mm2 against 1.4 L/s and 8 kPa: 1.4e-3 (p - 8000) = 60.4 at 51.1 kPa, just choked.
    view = seen(*Made(3.0).run(("baseline", 10.0), ("pump-down", 150.0)))
    assert not view.holds
    assert view.level_pa == pytest.approx(51_130.0, abs=150.0)
    assert not view.falling
    assert view.level_s[1] == pytest.approx(160.0, abs=1.0)


def test_a_stall_then_a_hold_is_a_hold():
    view = seen(*Made(3.0).run(("baseline", 10.0), ("pump-down", 100.0), ("hold", 60.0)))
    (hold,) = view.holds
    assert hold.shut_s == pytest.approx(110.0, abs=2.0)


def test_a_stall_that_is_let_up_is_still_a_stall():
    view = seen(*Made(3.0).run(("baseline", 10.0), ("pump-down", 150.0), ("let-up", 15.0)))
    assert view.level_pa == pytest.approx(51_130.0, abs=300.0)
    assert not view.holds


@pytest.mark.parametrize("seconds", [
    15.0, 30.0, 45.0,
])  # fmt: skip
def test_a_pump_down_alone_is_falling(seconds):
    view = seen(*Made(0.1).run(("baseline", 10.0), ("pump-down", seconds)))
    assert not view.holds
    assert view.falling
    assert view.level_pa is None


def test_only_the_room_is_a_baseline():
    t = np.arange(0.0, 100.0)
    view = seen(t, np.full(100, ROOM_PA))
    assert names(view) == ["baseline"]
    assert not view.holds


def test_a_tight_box_that_starts_at_the_shut_is_all_hold():
    t = np.arange(0.0, 300.0)
    view = seen(t, 15_000.0 + 0.3 * t)
    (hold,) = view.holds
    assert (hold.shut_s, hold.end_s) == (0.0, 299.0)


def test_a_tight_box_keeps_only_what_is_surely_held():
    # No bend shows the shut; whatever is called held must begin after it.
    t, p = Made(0.0005).run(("baseline", 10.0), ("pump-down", 100.0), ("soak", 60.0), ("hold", 300.0), ("let-up", 20.0))
    view = seen(t, p)
    (hold,) = view.holds
    assert 170.0 - 4.0 <= hold.held_s < 400.0
    assert hold.end_s == pytest.approx(470.0, abs=3.0)


@pytest.mark.parametrize("area", [0.05, 0.12, 0.15])
def test_a_dial_read_every_20_seconds(area):
    t, p = Made(area, interval_s=20.0).run(
        ("baseline", 20.0), ("pump-down", 60.0), ("soak", 60.0), ("hold", 600.0), ("let-up", 40.0)
    )
    view = seen(t, p, step=0.5 * 3386.389, noise_pa=0.0)
    (hold,) = view.holds
    assert 140.0 - 20.0 <= hold.shut_s <= hold.held_s <= 140.0 + 80.0
    assert hold.end_s == pytest.approx(740.0, abs=21.0)


@pytest.mark.parametrize("let_up_mm2", [8.0, 60.0, 2000.0])
def test_a_let_up_slow_or_fast_is_no_leak(let_up_mm2):
    # 8 mm2 fills the box in about 25 s, 2000 mm2 between two readings.
    t, p = Made(0.1, let_up_mm2=let_up_mm2).run(*PLAIN[:4], ("let-up", 60.0))
    view = seen(t, p)
    assert names(view)[-1] == "let-up"
    assert view.holds[-1].end_s == pytest.approx(370.0, abs=4.0)


@pytest.mark.parametrize("area", [4.0, 10.0])
def test_a_box_that_fills_in_seconds_is_no_let_up(area):
    # Shut at 20 kPa and back at the room by the leak alone: 10 mm2 in about 18 s, on a pump that could draw it down.
    made = Made(area, speed_L_s=30.0, ultimate_pa=2000.0, interval_s=0.2)
    t, p = made.run(("baseline", 5.0), ("pump-down", 30.0), ("hold", 60.0))
    view = seen(t, p, pump=30e-3)
    (hold,) = view.holds
    assert hold.shut_s == pytest.approx(35.0, abs=1.0)
    assert hold.end_s > 50.0


def test_marks_in_the_notes_win():
    t, p = Made(0.1).run(*PLAIN)
    note = [""] * t.size
    marks = ((0, "baseline"), (12, "pump-down"), (70, "Soak"), (140, " shut "), (350, "end of hold"), (360, "let-up"))
    for i, word in marks:
        note[i] = word
    view = seen(t, p, note=tuple(note))
    assert names(view) == ["baseline", "pump-down", "soak", "hold", "let-up"]
    (hold,) = view.holds
    assert (hold.shut_s, hold.end_s, hold.bottom_s, hold.drop_s) == (140.0, 350.0, 70.0, 12.0)


@pytest.mark.parametrize("interval_s", [1.0, 0.05])
@pytest.mark.parametrize("area", [0.0, 0.1])
@pytest.mark.parametrize("words", ["shut", "Valve shut", "valve closed"])
def test_a_shut_noted_alone_leaves_the_rest_to_the_pressures(area, interval_s, words):
    t, p = Made(area, interval_s=interval_s).run(*PLAIN)
    note = tuple(words if abs(s - SHUT_S) < 1e-6 else "" for s in t)
    view = seen(t, p, note=note)
    assert names(view) == ["baseline", "pump-down", "soak", "hold", "let-up"]
    (hold,) = view.holds
    assert hold.shut_s == hold.held_s == pytest.approx(SHUT_S)
    assert hold.end_s == pytest.approx(370.0, abs=1.1)


def test_a_noted_shut_that_no_pump_down_goes_before_holds_to_the_end():
    t = np.arange(0.0, 100.0)
    (hold,) = seen(t, 20_000.0 + 3.0 * t, note=("", "", "shut", *[""] * 97)).holds
    assert (hold.shut_s, hold.end_s) == (2.0, 99.0)


def test_remarks_in_the_notes_are_no_marks():
    t, p = Made(0.1).run(*PLAIN)
    note = [""] * t.size
    note[5] = "door open"
    note[200] = "hold on, lunch"
    assert seen(t, p, note=tuple(note)).phases == seen(t, p).phases


def test_a_redraw_in_the_notes_is_a_pump_down():
    t = np.arange(0.0, 100.0)
    note = [""] * 100
    for i, word in ((0, "hold"), (40, "redraw"), (60, "hold")):
        note[i] = word
    view = seen(t, 20_000.0 + t, note=tuple(note))
    assert names(view) == ["hold", "pump-down", "hold"]
    assert [(h.shut_s, h.end_s) for h in view.holds] == [(0.0, 40.0), (60.0, 99.0)]


@pytest.mark.parametrize("n", [0, 1, 3])
def test_hardly_any_reading_shows_no_phase(n):
    view = find_phases(np.arange(float(n)), np.full(n, 20_000.0), ROOM_PA)
    assert (view.phases, view.holds) == ((), ())


def test_long_fast_logs_are_read_the_same():
    # 20 readings a second for six minutes.
    view = seen(*Made(0.1, interval_s=0.05).run(*PLAIN))
    (hold,) = view.holds
    assert hold.shut_s == pytest.approx(SHUT_S, abs=4.0)
    assert hold.end_s == pytest.approx(370.0, abs=3.0)


# --- small parts -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("sd", [1.0, 30.0])
def test_noise_is_found_on_a_slope_with_spikes(sd):
    rng = np.random.default_rng(3)
    p = 20_000.0 + 5.0 * np.arange(2000) + sd * rng.standard_normal(2000)
    p[::97] += 5000.0
    assert noise_of(p) == pytest.approx(sd, rel=0.15)


def test_turning_points_of_a_zigzag():
    p = np.concatenate([np.linspace(100, 20, 9), np.linspace(30, 60, 4), np.linspace(50, 10, 5)])
    turns = turning_points(p, 15.0)
    assert [p[i] for i in turns] == [100.0, 20.0, 60.0, 10.0]


def test_a_swing_too_small_turns_nothing():
    assert turning_points(50.0 + np.sin(np.arange(100) / 5.0), 15.0) == [0]


# --- a fine leak behind a long soak, a display that flickers ------------------------------------------------


@pytest.mark.parametrize("soak_s", [200.0, 600.0])
@pytest.mark.parametrize("hold_s", [25.0, 120.0])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_shut_is_found_behind_a_long_soak(soak_s, hold_s, seed):
    # 0.02 mm2 on 32 L: 12.6 Pa/s, on a level that still sinks by the pump's 0.8 L/s (40 s).
    made = Made(0.02, speed_L_s=0.8, interval_s=0.2)
    t, p = made.run(("baseline", 8.0), ("pump-down", 60.0), ("soak", soak_s), ("hold", hold_s))
    (hold,) = seen(t, noisy(p, 30.0, seed), 10.0, noise_pa=0.0).holds
    assert hold.sure
    assert -3.0 < hold.shut_s - (68.0 + soak_s) < 5.0
    assert -1.0 < hold.held_s - (68.0 + soak_s) < 9.0


@pytest.mark.parametrize("flicker", [0.3, 0.4, 0.5, 0.8])
@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_a_flickering_display_pumps_nothing_down(flicker, seed):
    # 1 mbar steps, 10 readings a second, a big leak held at a level for three minutes: one hold, and no let-up.
    made = Made(6.0, speed_L_s=6.0, ultimate_pa=5000.0, litres=12.7, interval_s=0.1)
    t, p = made.run(("baseline", 5.0), ("pump-down", 15.0), ("soak", 165.0), ("hold", 25.0))
    view = seen(t, noisy(p, flicker * 100.0, seed), 100.0, noise_pa=0.0, volume=0.0127, pump=None)
    assert names(view) == ["baseline", "pump-down", "soak", "hold"]
    assert view.holds[0].shut_s == pytest.approx(185.0, abs=1.0)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_small_redraw_ends_a_hold(seed):
    # 12.6 Pa/s for 20 s: the redraw takes off only 250 Pa, too little to be seen as a pump-down.
    made = Made(0.02, interval_s=0.2)
    stages = (*PLAIN[:2], ("soak", 120.0), ("hold", 20.0), ("soak", 60.0), ("hold", 20.0))
    t, p = made.run(*stages)
    hold = seen(t, noisy(p, 5.0, seed), 10.0, noise_pa=0.0).holds[0]
    assert hold.shut_s == pytest.approx(190.0, abs=3.0)
    assert hold.end_s == pytest.approx(210.0, abs=4.0)


def test_a_level_alone_is_no_sure_hold():
    t = np.arange(0.0, 200.0, 0.5)
    (level,) = seen(t, np.full(t.size, 9e3), step=100.0).holds
    assert not level.sure
    (rising,) = seen(t, 9e3 + 0.6 * t, noise_pa=5.0).holds
    assert rising.sure
    (noted,) = seen(t, np.full(t.size, 9e3), step=100.0, note=("shut", *[""] * (t.size - 1))).holds
    assert noted.sure


@pytest.mark.parametrize("area", LEAKS)
def test_a_note_copied_down_the_column_marks_its_first_row_only(area):
    t, p = Made(area).run(*PLAIN)
    held = (t >= SHUT_S) & (t < 370.0)
    view = seen(t, p, note=tuple("shut" if h else "" for h in held))
    (hold,) = view.holds
    assert hold.shut_s == pytest.approx(SHUT_S, abs=1.0)
    assert hold.end_s == pytest.approx(370.0, abs=3.0)


def test_a_log_that_stops_well_within_its_let_up_holds_to_the_let_up():
    t, p = cut(Made(0.1, let_up_mm2=10.0).run(*PLAIN), 0.0, 376.0)
    assert p[-1] < 0.8 * ROOM_PA
    (hold,) = seen(t, p).holds
    assert hold.end_s == pytest.approx(370.0, abs=1.0)
