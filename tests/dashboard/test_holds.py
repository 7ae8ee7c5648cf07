"""A running hold test: the shut is found from the readings, and the verdict shown must have stood."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from acquisition.archive import Archive
from acquisition.live import LiveState
from acquisition.recorder import Counts, Since
from acquisition.records import Log, LogHeader
from acquisition.units import GaugeUnit
from analysis.holding import Estimate
from dashboard import figures_live
from dashboard.estimating import Answer
from dashboard.figures import Scale
from dashboard.holds import Holds, RunningHold
from dashboard.pages import hold_running
from dashboard.view import View
from tests.dashboard.made_up_shop import MadeUpShop, box


class PlayedLive:
    """A recording that is played forward by hand."""

    def __init__(self) -> None:
        self.header = LogHeader(GaugeUnit("absolute", "kPa"), "B-14", "vents-taped")
        down = [max(101.0 - 9.0 * t, 11.0) for t in range(15)]
        self.readings = [101.0] * 10 + down + [11.0] * 30 + [11.0 + 0.12 * t for t in range(200)]
        self.now = 0
        self.marks: list[str] = []

    elapsed_s = property(lambda self: float(self.now))
    real_s = property(lambda self: float(self.now))

    def since(self, n: int) -> Since:
        return Since(self.now, tuple(float(t) for t in range(n, self.now)), tuple(self.readings[n : self.now]))

    def snapshot(self) -> Log:
        return Log(self.header, np.arange(self.now, dtype=float), np.array(self.readings[: self.now]))

    def state(self) -> LiveState:
        return LiveState(float(self.now), Counts(*[0] * len(Counts.__dataclass_fields__)), True, None, None)

    def mark(self, phase: str) -> None:
        self.marks.append(phase)

    def stop(self) -> Path:
        return Path("B-14/logs/20260503T140211-vents-taped.csv")


class TableEstimator:
    """Answers what it is told to, at once."""

    def __init__(self) -> None:
        self.verdict: Any = "cannot-tell"
        self.held: float | None = None

    def offer(self, log: Log, held_s: float) -> None:
        self.held = held_s if log.elapsed_s.size else None

    def answer(self) -> Answer | None:
        if self.held is None:
            return None
        held, self.held = self.held, None
        return Answer(Estimate(held, (0.12e-6, 0.10e-6, 0.14e-6), self.verdict), False, "a sentence")

    def close(self) -> None:
        return None


def running() -> tuple[RunningHold, PlayedLive, TableEstimator]:
    live, estimator = PlayedLive(), TableEstimator()
    return RunningHold(box("B-14", "lamp tray", (480, 330, 120)), live, estimator, watch=False), live, estimator  # type: ignore[arg-type]


def play(hold: RunningHold, live: PlayedLive, until: int) -> None:
    while live.now < until:
        live.now += 1
        hold.look()


def test_shut_is_found_from_the_readings() -> None:
    hold, live, _ = running()
    play(hold, live, 50)
    assert hold.state().phase == "soak"
    play(hold, live, 70)
    state = hold.state()
    assert state.phase == "hold"
    # The valve was shut at 55 s; the follower must see it within a few seconds.
    assert state.shut_s == pytest.approx(58, abs=4)


def test_a_new_verdict_is_shown_when_it_has_stood_for_five_seconds() -> None:
    hold, live, estimator = running()
    play(hold, live, 100)
    assert hold.state().verdict == "cannot-tell"
    estimator.verdict = "within"
    play(hold, live, 103)
    assert hold.state().verdict == "cannot-tell"
    play(hold, live, 112)
    assert hold.state().verdict == "within"


def test_ending_the_hold_is_a_mark_and_leads_to_the_let_up() -> None:
    hold, live, _ = running()
    play(hold, live, 120)
    hold.say("end of hold")
    assert live.marks == ["end of hold"]
    assert hold.state().phase == "let-up"


def test_each_moment_says_what_to_do() -> None:
    hold, live, estimator = running()
    estimator.verdict = "within"
    said = {}
    for at in (5, 15, 50, 62, 200):
        play(hold, live, at)
        said[at] = hold_running.said(hold.state(), View())[0]
    assert said[5].startswith("Open to the room")
    assert said[15].startswith("Pumping down")
    assert said[50].startswith("Soak")
    assert said[62] == "Shut. Too early to say."
    assert said[200] == "Within its limit, so far. You may stop now."


def test_only_one_main_button_at_any_moment() -> None:
    hold, live, _ = running()
    for at in (5, 50, 120):
        play(hold, live, at)
        dark = [b for b in hold_running.actions(hold.state()) if "dark" in b.className.split()]
        assert len(dark) == 1


@pytest.mark.parametrize("width", [390.0, 900.0])
def test_live_figures_carry_now_and_the_limit(width: float) -> None:
    hold, live, _ = running()
    play(hold, live, 150)
    state = hold.state()
    curve = figures_live.live_curve(state, Scale("metric", state.room_pa), width, 270)
    sure = figures_live.how_sure(state, width, 270)
    assert any("now" in a.text for a in curve.layout.annotations)
    assert any("limit 0.40" in a.text for a in sure.layout.annotations)


def test_axis_steps_to_the_next_nice_end() -> None:
    assert figures_live.next_end(100.0) == 180.0
    assert figures_live.next_end(101.0) == 180.0
    assert figures_live.next_end(200.0) == 300.0


def test_a_unit_that_was_not_said_is_asked_for_in_words(tmp_path: Path) -> None:
    archive = Archive(tmp_path)
    archive.write_box(box("B-14", "lamp tray", (480, 330, 120)))
    holds = Holds(archive)
    assert "absolute, vacuum or gauge" in holds.start("/dev/ttyUSB9", "", {"box": "B-14"})
    assert holds.running() == []


def test_a_port_that_is_not_there_is_told_in_words(tmp_path: Path) -> None:
    archive = Archive(tmp_path)
    archive.write_box(box("B-14", "lamp tray", (480, 330, 120)))
    said = Holds(archive).start(str(tmp_path / "no-port"), "absolute kPa", {"box": "B-14"})
    assert said
    assert "Traceback" not in said
    assert not list(tmp_path.rglob("*.part"))


def test_page_of_a_test_that_does_not_run_points_to_hold_test(tmp_path: Path) -> None:
    from dashboard import app as pages_app
    from tests.dashboard.test_pages import spoken, view_of

    shop = MadeUpShop(tmp_path)
    body = pages_app._page(shop, view_of("/hold/B-07")).body  # noqa: SLF001 - the page as the app makes it
    shop.close()
    assert "No hold test of B-07 is running. Start one under Hold test." in spoken(body)


def test_what_was_heard_since_the_last_drawing_is_told_alone() -> None:
    hold, live, _ = running()
    play(hold, live, 100)
    drawn = hold.state().heard
    play(hold, live, 103)
    latest = hold.latest(drawn - 1)
    assert latest.heard == drawn + 3
    told = figures_live.heard_since(latest, Scale("metric", latest.room_pa))
    # Four readings: the last one drawn, so that the line goes on from it, and the three since; 0.12 kPa/s from 11 kPa.
    assert told["y"] == pytest.approx([16.28, 16.4, 16.52, 16.64])
    assert told["words"] == "<b>16.6 kPa</b>"
    assert told["x"][-1] == 102.0 - latest.shut_s


def test_nothing_heard_yet_is_nothing_to_add() -> None:
    hold, _, _ = running()
    told = figures_live.heard_since(hold.latest(0), Scale("metric", 101_325.0))
    assert (told["x"], told["words"]) == ([], "")
