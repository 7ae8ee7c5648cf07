"""What a person is told during a hold test: the step, the caution that belongs to it, the bell."""

from __future__ import annotations

import pytest

from analysis.holding import Estimate
from dashboard.guide import Guide
from dashboard.guide_run import bars

ROOM = 101e3


class Played:
    """A guided test played second by second."""

    def __init__(self, **more: object) -> None:
        self.marks: list[str] = []
        self.guide = Guide(room_pa=ROOM, mark=self.marks.append, **more)  # type: ignore[arg-type]
        self.t = 0.0
        self.rings = 0

    def run(self, seconds: int, p_pa: float, rise_pa_s: float = 0.0) -> str:
        for i in range(seconds):
            self.t += 1.0
            self.guide.reading(self.t, p_pa + rise_pa_s * i)
            step = self.guide.step()
            self.rings += step.rings
        return step.do

    def to_hold(self) -> None:
        self.run(25, ROOM)
        for p in (80e3, 50e3, 30e3, 22e3, 18e3):
            self.run(2, p)
        self.run(185, 15e3)
        self.guide.key("next")


def test_the_steps_come_in_order_with_their_own_cautions() -> None:
    test = Played(load_m2=0.36)
    assert "20 s more" in test.guide.step().do or "Leave the box open" in test.guide.step().do
    assert "Glasses" in test.guide.step().caution
    assert "Open the valve" in test.run(25, ROOM)
    assert "Pump down to 20 kPa" in test.run(3, 80e3)
    assert "Nobody leans over the top" in test.guide.step().caution
    test.run(3, 18e3)
    assert test.guide.step().phase == "soak"
    assert "Keep the pump on" in test.run(10, 15e3)
    # 86 kPa on 0.36 m2 is 31 kN, 3.16 tonnes-force.
    assert "About 3.2 tonnes" in test.guide.step().caution
    assert "Shut the valve now" in test.run(180, 15e3)
    test.guide.key("next")
    assert "The valve is shut" in test.run(5, 15e3, 20.0)
    assert "hands off" in test.guide.step().caution
    test.guide.key("next")
    assert "slowly" in test.guide.step().do
    test.run(10, ROOM)
    assert test.guide.over
    assert test.marks == ["pump-down", "soak", "hold", "end of hold"]


def test_a_first_pull_goes_in_steps() -> None:
    test = Played(first_pull=True)
    test.run(21, ROOM)
    assert "to 25 kPa below the room" in test.run(2, ROOM - 10e3)
    assert "straightedge" in test.guide.step().caution
    assert "to 50 kPa below the room" in test.run(2, ROOM - 25e3)
    assert "to 80 kPa below the room" in test.run(2, ROOM - 55e3)


def test_the_shut_is_found_from_the_readings_without_a_key() -> None:
    test = Played()
    test.run(21, ROOM)
    test.run(3, 50e3)
    test.run(100, 15e3)
    test.run(30, 15e3, 50.0)
    assert test.guide.step().phase == "hold"
    assert test.marks[-1] == "hold"


def area(held_s: float, half: float, verdict: str = "cannot-tell") -> Estimate:
    return Estimate(held_s, (1e-6, 1e-6 * (1 - half), 1e-6 * (1 + half)), verdict)  # type: ignore[arg-type]


def test_the_bell_rings_once_when_the_answer_is_good_enough_and_never_before_a_minute() -> None:
    test = Played()
    test.to_hold()
    rung = test.rings
    for held in range(2, 58, 2):
        test.guide.estimate(area(held, 0.05, "within"), release=False)
        assert "good enough" not in test.run(2, 15e3, 5.0)
    assert test.rings == rung
    for held in range(58, 80, 2):
        test.guide.estimate(area(held, 0.05, "within"), release=False)
        do = test.run(2, 16e3, 5.0)
    assert "good enough" in do
    assert test.rings == rung + 1


def test_holding_on_is_the_persons_choice() -> None:
    test = Played()
    test.to_hold()
    for held in range(50, 80, 2):
        test.guide.estimate(area(held, 0.05, "within"), release=False)
    assert "Let air in slowly" in test.run(1, 16e3)
    test.guide.key("hold-on")
    assert "wait" in test.run(1, 16e3)


def test_a_redraw_is_offered_once_when_stored_air_is_suspected() -> None:
    test = Played()
    test.to_hold()
    test.guide.estimate(area(30.0, 0.3), release=True)
    assert "Redraw" in test.run(1, 16e3)
    test.guide.key("redraw")
    assert test.guide.step().phase == "pump-down"
    assert test.marks[-1] == "redraw"
    test.run(3, 15e3)
    test.run(2, 15e3)
    test.guide.key("next")
    test.guide.estimate(area(30.0, 0.3), release=True)
    assert "Redraw" not in test.run(1, 16e3)


def test_a_stalled_pump_is_called_an_answer() -> None:
    test = Played()
    test.run(21, ROOM)
    do = test.run(60, 70e3)
    assert "stalls at 70 kPa" in do
    assert "big leak" in do
    assert test.rings == 2  # the end of the baseline, and this


def test_the_person_may_end_at_any_time() -> None:
    test = Played()
    test.run(3, ROOM)
    test.guide.key("quit")
    assert test.guide.over


@pytest.mark.parametrize(("readings", "shown"), [([], ""), ([1.0], ""), ([0.0, 1.0], "▁▁▁▁"), ([5.0, 5.0], "▁▁▁▁")])
def test_a_row_of_bars(readings: list[float], shown: str) -> None:
    assert bars(readings, 4)[:3] == shown[:3]
    assert len(bars(readings, 4)) == len(shown)


def test_bars_follow_the_readings() -> None:
    assert bars([0.0, 1.0, 2.0, 7.0], 4) == "▁▂▃█"
