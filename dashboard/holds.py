"""Hold tests that run now: the recording, the phase it is in, and the estimates so far; pages only look at them."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import get_args

import numpy as np

from acquisition.archive import Archive
from acquisition.errors import BoxholdError
from acquisition.following import PhaseFollower, PhaseNow
from acquisition.gaugefile import GaugeSpec
from acquisition.live import LiveRecording, Wanted
from acquisition.records import BehindValve, Box, FloatArray, GaugeAt, Log, LogHeader
from acquisition.serialport import SIMULATED
from acquisition.setups import SETUPS, check_path
from acquisition.units import GaugeUnit, parse_gauge_unit, to_absolute_pa
from analysis.holding import Estimate, HoldAdvice, hold_advice
from dashboard.estimating import Answer, Estimator

LOOK_EVERY_S = 0.2
ESTIMATE_EVERY_S = 2.0
STOOD_S = 5.0
EARLIEST_S = 10.0


@dataclass(frozen=True, eq=False)
class HoldState:
    """A running test at a glance; times in s since the log's start, pressures Pa absolute.

    ``verdict`` is the one shown: a new one is shown when it has stood for five seconds. ``held_s`` is time
    since the shut, None before it. ``heard`` counts the readings.
    """

    box: Box
    header: LogHeader
    phase: PhaseNow
    phase_s: float
    elapsed_s: float
    t_s: FloatArray
    p_pa: FloatArray
    room_pa: float
    shut_s: float | None
    estimates: tuple[Estimate, ...]
    answer: Answer | None
    verdict: str | None
    advice: HoldAdvice
    stalled: bool
    over: bool
    trouble: str | None
    closed: Path | None
    heard: int

    @property
    def held_s(self) -> float | None:
        """Time since the shut, s."""
        return None if self.shut_s is None else max(self.elapsed_s - self.shut_s, 0.0)

    @property
    def now_pa(self) -> float | None:
        """The last reading, Pa absolute."""
        return float(self.p_pa[-1]) if self.p_pa.size else None


@dataclass(frozen=True, eq=False)
class Latest:
    """Readings heard since some count, for a page to add to what it shows; ``clock_s`` is its clock, s."""

    heard: int
    t_s: FloatArray
    p_pa: FloatArray
    room_pa: float
    shut_s: float | None
    clock_s: float


class RunningHold:
    """One recording with what is said about it; watched by a thread of its own."""

    def __init__(self, box: Box, live: LiveRecording, estimator: Estimator | None = None, watch: bool = True) -> None:
        self.box, self.live = box, live
        self._follower = PhaseFollower()
        self._estimator = estimator or Estimator(box)
        self._estimates: list[Estimate] = []
        self._answer: Answer | None = None
        self._shown: str | None = None
        self._fresh: tuple[str, float] | None = None
        self._shut_s: float | None = None
        self._seen, self._offered_s = 0, -ESTIMATE_EVERY_S
        self._lock = threading.Lock()
        # The other process loads its libraries while the pump still runs.
        self._estimator.offer(Log(live.header, np.empty(0), np.empty(0)), 0.0)
        self._ending = threading.Event()
        if watch:
            threading.Thread(target=self._watch, name=f"hold-{box.name}", daemon=True).start()

    def _watch(self) -> None:
        while not self._ending.wait(LOOK_EVERY_S):
            self.look()
            if self._follower.over and self._estimates:
                self.stop()

    def look(self) -> None:
        """Take in what was heard since the last look, and offer or collect an estimate."""
        with self._lock:
            self._look()

    def _look(self) -> None:
        since = self.live.since(self._seen)
        self._seen = since.n
        unit = self.live.header.gauge
        for t_s, reading in zip(since.t_s, since.reading, strict=True):
            if reading is not None and np.isfinite(reading):
                self._follow(t_s, float(to_absolute_pa(float(reading), unit, self._follower.room_pa)))
        self._estimate()

    def _follow(self, t_s: float, p_pa: float) -> None:
        before = self._follower.phase
        if self._follower.feed(t_s, p_pa) == "hold" and before != "hold":
            self._shut_s = t_s
            self._estimates.clear()

    def _estimate(self) -> None:
        now = self.live.elapsed_s
        if self._shut_s is None or self._follower.phase not in ("hold", "let-up"):
            return
        answer = self._estimator.answer()
        if answer is not None:
            self._take(answer)
        if (
            self._follower.phase == "hold"
            and now - self._shut_s > EARLIEST_S
            and now - self._offered_s >= ESTIMATE_EVERY_S
        ):
            self._offered_s = now
            self._estimator.offer(self.live.snapshot(), now - self._shut_s)

    def _take(self, answer: Answer) -> None:
        self._estimates.append(answer.estimate)
        self._answer = answer
        verdict, now = answer.estimate.verdict, self.live.real_s
        if self._fresh is None or self._fresh[0] != verdict:
            self._fresh = verdict, now
        if self._shown is None or now - self._fresh[1] >= STOOD_S:
            self._shown = verdict

    def state(self) -> HoldState:
        """How it goes."""
        with self._lock:
            live, since = self.live.state(), self.live.since(0)
            room = self._follower.room_pa
            reading = np.array([np.nan if r is None else r for r in since.reading], dtype=np.float64)
            t, there = np.array(since.t_s, dtype=np.float64), np.isfinite(reading)
            p = to_absolute_pa(reading[there], self.live.header.gauge, room)
            share = float(p[-1]) / room if p.size else 1.0
            return HoldState(
                self.box, self.live.header, self._follower.phase, live.elapsed_s - self._follower.since_s,
                live.elapsed_s, t[there], p, room, self._shut_s, tuple(self._estimates), self._answer, self._shown,
                hold_advice(self._estimates, share), self._follower.stalled, self._follower.over, live.trouble,
                live.closed, since.n,
            )  # fmt: skip

    def latest(self, n: int) -> Latest:
        """What was heard from the ``n``-th reading on."""
        with self._lock:
            since, room, shut = self.live.since(max(n, 0)), self._follower.room_pa, self._shut_s
            now, began = self.live.elapsed_s, self._follower.since_s
            clock = now - (shut if shut is not None and self._follower.phase == "hold" else began)
        reading = np.array([np.nan if r is None else r for r in since.reading], dtype=np.float64)
        there = np.isfinite(reading)
        t, p = np.array(since.t_s, dtype=np.float64), to_absolute_pa(reading[there], self.live.header.gauge, room)
        return Latest(since.n, t[there], p, room, shut, max(clock, 0.0))

    def say(self, phase: str) -> None:
        """A person says that a phase begins; kept in the log as a mark."""
        self.live.mark(phase)
        with self._lock:
            if phase in get_args(PhaseNow):
                self._follower.say(phase, self.live.elapsed_s)  # type: ignore[arg-type]
                if phase == "hold":
                    self._shut_s = self.live.elapsed_s
            elif phase == "end of hold":
                self._follower.say("let-up", self.live.elapsed_s)

    def stop(self) -> Path:
        """End the recording; the log gets its final name."""
        self._ending.set()
        path = self.live.stop()
        self._estimator.close()
        return path


class Holds:
    """The tests that run now, one a box."""

    def __init__(self, archive: Archive, start: Callable[[Wanted], LiveRecording] = LiveRecording.start) -> None:
        self._archive, self._start = archive, start
        self._running: dict[str, RunningHold] = {}
        self._lock = threading.Lock()

    def of(self, name: str) -> RunningHold | None:
        """The test of a box, running or just ended."""
        return self._running.get(name)

    def running(self) -> list[str]:
        """Boxes with a test that has not ended."""
        return [name for name, hold in self._running.items() if hold.live.state().closed is None]

    def start(self, address: str, unit: str, asked: Mapping[str, str]) -> str:
        """Begin to record; empty, or a sentence that says what is in the way."""
        name = asked.get("box", "")
        try:
            with self._lock:
                if name in self.running():
                    return f"{name} is being recorded already; open its page."
                self._running[name] = self._begin(address.strip(), unit, name, asked)
        except BoxholdError as trouble:
            return str(trouble)
        return ""

    def _begin(self, address: str, unit: str, name: str, asked: Mapping[str, str]) -> RunningHold:
        box = self._archive.box(name) or Box(name)
        gauge = GaugeUnit("absolute", "kPa") if address.startswith(SIMULATED) and not unit else parse_gauge_unit(unit)
        header = _header(gauge, name, asked)
        out = self._archive.new_log_path(name, header.setup, datetime.now().astimezone())
        out.parent.mkdir(parents=True, exist_ok=True)
        return RunningHold(box, self._start(Wanted(address, GaugeSpec(gauge), out, header)))

    def close(self) -> None:
        """End all that run; their logs are closed."""
        for hold in list(self._running.values()):
            hold.stop()


def _header(gauge: GaugeUnit, name: str, asked: Mapping[str, str]) -> LogHeader:
    setup = asked.get("setup", "vents-taped")
    sealed = tuple(check_path(p) for p in asked.get("seal", "").split(",") if p)
    at, behind = asked.get("gauge", "box"), asked.get("behind", "room")
    header = LogHeader(gauge, box=name, setup=setup if setup in SETUPS else None, sealed=sealed)
    return replace(
        header,
        gauge_at=at if at in get_args(GaugeAt) else None,  # type: ignore[arg-type]
        behind_valve=behind if behind in get_args(BehindValve) else None,  # type: ignore[arg-type]
    )
