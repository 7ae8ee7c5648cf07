"""Following a running test by its readings, on tests simulated apart from any fit."""

from __future__ import annotations

import pytest

from acquisition.following import PhaseFollower
from acquisition.lineforms import LineReader, LineSpec
from acquisition.simgauge import Make, make_events
from acquisition.units import GaugeUnit


def follow(make: Make) -> tuple[PhaseFollower, dict[str, float]]:
    reader = LineReader(LineSpec(), GaugeUnit("absolute", "kPa"))
    follower, began = PhaseFollower(), {"baseline": 0.0}
    for t_s, line in make_events(make):
        value = reader.read(line.strip()).value
        assert value is not None
        began.setdefault(follower.feed(t_s, value * 1e3), t_s)
    return follower, began


@pytest.mark.parametrize(("leak_mm2", "wood"), [(0.1, "bare"), (0.3, "coated"), (1.0, "none")])
def test_every_phase_of_a_hold_test_is_seen_in_order(leak_mm2: float, wood: str) -> None:
    make = Make(leak_mm2=leak_mm2, wood=wood, soak_s=60.0, hold_s=120.0)  # type: ignore[arg-type]
    follower, began = follow(make)
    assert list(began) == ["baseline", "pump-down", "soak", "hold", "let-up"]
    assert began["pump-down"] == pytest.approx(20.0, abs=2.0)
    # The shut is about where the soak's bottom was reached plus the soak; a tight box shows it later.
    shut = began["let-up"] - 120.0
    assert -1.0 <= began["hold"] - shut <= 30.0
    assert follower.over
    assert follower.room_pa == pytest.approx(101_325, abs=50)


def test_a_pump_that_stalls_is_told() -> None:
    follower, stalled = PhaseFollower(room_pa=101e3), []
    for t in range(120):  # falls towards 70 kPa and stays there
        follower.feed(float(t), 70e3 + 31e3 * 0.85**t)
        stalled.append(follower.stalled)
    assert follower.phase == "pump-down"
    assert not any(stalled[:40])
    assert all(stalled[90:])


def test_a_redraw_is_a_second_pump_down() -> None:
    follower = PhaseFollower(room_pa=101e3)
    follower.say("hold", 0.0)
    for t in range(40):
        follower.feed(float(t), 20e3 + 100.0 * t)
    assert follower.phase == "hold"
    for t in range(40, 60):
        follower.feed(float(t), 24e3 - 1000.0 * (t - 40))
    assert follower.redraws == 1
    assert follower.phase in ("pump-down", "soak")


def test_slope_is_of_the_last_seconds() -> None:
    follower = PhaseFollower(room_pa=101e3)
    assert follower.slope_pa_s is None
    for t in range(30):
        follower.feed(float(t), 101e3 + (0.0 if t < 15 else 50.0 * (t - 15)))
    assert follower.slope_pa_s == pytest.approx(50.0, rel=0.1)
