"""Gauges that are none: a log played again, and a make-believe box; both give timed bytes as a gauge would.

``simulated:`` and ``replay:`` addresses open one inside this process, for pages and tests without a serial line.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal
from urllib.parse import parse_qsl

import numpy as np

from acquisition.announce import Announcement
from acquisition.errors import UnreadableInput, WrongUsage
from acquisition.logfile import read_log, unescape_raw
from acquisition.numbers import number_text
from acquisition.records import Log
from acquisition.serialport import REPLAY, SIMULATED

Events = Iterator[tuple[float, bytes]]
ENDING = b"\r\n"


@dataclass(frozen=True)
class Make:
    """A make-believe box and test; the defaults are a coated 32 L box with a 0.3 mm2 hole and an ordinary hold.

    Lengths of phases in s, ``deep_kPa`` how far it is pumped (absolute), ``interval_s`` between lines,
    ``noise`` and ``resolution`` in kPa, ``speed`` how many of its seconds pass in one of ours.
    """

    leak_mm2: float = 0.3
    law: Literal["hole", "seep", "sharp"] = "hole"
    wood: Literal["bare", "coated", "none"] = "coated"
    volume_L: float = 32.0
    baseline_s: float = 20.0
    deep_kPa: float = 12.0
    soak_s: float = 180.0
    hold_s: float = 300.0
    let_up_s: float = 30.0
    interval_s: float = 0.2
    resolution: float = 0.01
    noise: float = 0.01
    speed: float = 1.0
    seed: int = 1


def log_events(log: Log) -> Events:
    """Times (s since the first row) and bytes of a log's lines; rows that hold only a note are left out."""
    start = float(log.elapsed_s[0]) if log.elapsed_s.size else 0.0
    for i, (t_s, reading) in enumerate(zip(log.elapsed_s.tolist(), log.reading.tolist(), strict=True)):
        raw = unescape_raw(log.raw[i]) if log.raw and log.raw[i] else number_text(reading).encode()
        if raw:
            yield max(t_s - start, 0.0), raw + ENDING


def make_events(make: Make) -> Events:
    """Times and bytes of a make-believe test, worked out as they are wanted; ends after the let-up."""
    from acquisition.simulated.engine import Engine
    from acquisition.simulated.gauge import displayed

    scenario = _scenario(make)
    engine = Engine([scenario])
    noise = np.random.default_rng(make.seed)
    for k in range(int(scenario.seconds / make.interval_s)):
        t_s = k * make.interval_s
        while engine.t_s < t_s - 1e-9:
            engine.change_stages()
            engine.step()
        felt = float(engine.indicated_pa[0]) / 1e3 + noise.normal(0.0, make.noise)
        yield t_s, str(displayed(scenario.gauge, felt, t_s)).encode() + ENDING


def _scenario(make: Make) -> Any:
    from acquisition.simulated import scenario as s

    stages = (
        s.Stage("baseline", make.baseline_s), s.Stage("pump-down", 120.0, until_pa=make.deep_kPa * 1e3),
        s.Stage("soak", make.soak_s), s.Stage("hold", make.hold_s), s.Stage("let-up", make.let_up_s),
    )  # fmt: skip
    return s.Scenario(
        stages=stages, leaks=(s.Leak("panel-edges", make.leak_mm2 * 1e-6, s.Law(make.law)),),
        shell=s.Shell(volume_m3=make.volume_L * 1e-3, wood=make.wood),
        gauge=s.GaugeModel(resolution=make.resolution, interval_s=make.interval_s), seed=make.seed,
    )  # fmt: skip


class PlayedPort:
    """A port inside this process that gives bytes when they are due."""

    ran_before = False

    def __init__(self, events: Events, speed: float, clock: Callable[[], float] = time.monotonic) -> None:
        self._events = events
        self._speed = speed
        self._clock = clock
        self._next = next(events, None)  # may take a while to work out, so the clock starts after it
        self._start_s = clock()

    @property
    def raw_port(self) -> Any:
        """There is none."""
        raise WrongUsage("A replayed log or simulated gauge sends lines; it has no registers.")

    def read_waiting(self) -> bytes:
        """Bytes due by now."""
        now = (self._clock() - self._start_s) * self._speed
        due = b""
        while self._next is not None and self._next[0] <= now:
            due += self._next[1]
            self._next = next(self._events, None)
        return due

    def write(self, data: bytes) -> None:
        """Questions are not answered."""

    def forget_waiting(self) -> None:
        """Nothing waits."""

    def close(self) -> None:
        """Nothing to give back."""


def played(address: str) -> tuple[Events, Announcement]:
    """What stands behind a ``simulated:`` or ``replay:`` address.

    Raises
    ------
    WrongUsage
        A setting is unknown or no number.
    UnreadableInput
        The log to replay cannot be read.
    """
    if address.startswith(REPLAY):
        name, _, settings = address.removeprefix(REPLAY).partition("?")
        log = read_log(Path(name))
        return log_events(log), announcement_of(log, Path(name).name, _speed(dict(parse_qsl(settings))))
    make = parse_make(address.removeprefix(SIMULATED).lstrip("/?"))
    return make_events(make), Announcement(True, "", make.speed)


def announcement_of(log: Log, name: str, speed: float) -> Announcement:
    """What a replay of a log says of itself; a log of a simulated gauge stays one."""
    return Announcement(log.header.extra.get("simulated") == "yes", name, speed)


def parse_make(text: str) -> Make:
    """Settings of a make-believe box, ``leak_mm2=0.3&wood=bare``.

    Raises
    ------
    WrongUsage
        A setting is unknown or does not fit.
    """
    given = dict(parse_qsl(text.replace(",", "&").replace(" ", "&")))
    known: Mapping[str, object] = Make.__dataclass_fields__
    values: dict[str, Any] = {}
    for key, value in given.items():
        if key not in known:
            raise WrongUsage(f"A simulated gauge has no '{key}'; it takes {', '.join(known)}.")
        values[key] = value if key in ("law", "wood") else _number(key, value)
    make = Make(**values)
    if make.law not in ("hole", "seep", "sharp") or make.wood not in ("bare", "coated", "none"):
        raise WrongUsage("A simulated gauge's law is hole, seep or sharp, its wood bare, coated or none.")
    return make


def _number(key: str, text: str) -> float:
    try:
        value = int(text) if key == "seed" else float(text)
    except ValueError:
        raise WrongUsage(f"{key} = '{text}' is not a number.") from None
    if not 0 <= value < 1e6 or (value == 0 and key in ("speed", "interval_s", "resolution", "volume_L")):
        raise WrongUsage(f"{key} = {text} is out of reach for a simulated gauge.")
    return value


def _speed(settings: Mapping[str, str]) -> float:
    return _number("speed", settings.get("speed", "1"))


def check_log(path: Path) -> Log:
    """Read a log to be played.

    Raises
    ------
    UnreadableInput
        It cannot be read or holds nothing to play.
    """
    log = read_log(path)
    if log.elapsed_s.size == 0:
        raise UnreadableInput("the log has no rows to play.", path)
    return log
