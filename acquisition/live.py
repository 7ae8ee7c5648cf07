"""A recording that runs by itself in this process, for the command line and the pages to watch.

Three threads: one hears and does nothing else, so that no line waits for a disk, a page or a fit; one
writes rows and hands them to the operating system four times a second; one makes the disk keep them.
"""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from threading import Event, Lock, Thread

import numpy as np

from acquisition.announce import Announcement, announced
from acquisition.errors import BoxholdError, OutsideWorldFailed, WrongUsage
from acquisition.gaugefile import GaugeSpec
from acquisition.listener import SETTLED_S, Heard, Listener
from acquisition.partlog import PartLog, lock_log, part_path
from acquisition.recorder import PHASES, REMARK, Counts, Mark, Recording, Since
from acquisition.records import Log, LogHeader
from acquisition.serialport import REPLAY, SIMULATED, Opener, open_port

LISTEN_EVERY_S = 0.01
WRITE_EVERY_S = 0.1
SYNC_EVERY_S = 1.0


@dataclass(frozen=True)
class Wanted:
    """What to record: the gauge's address and how it speaks, the log's final name and its header.

    The header's gauge, resolution, accuracy and start are filled in here.
    """

    address: str
    gauge: GaugeSpec
    out: Path
    header: LogHeader
    watched: bool = True


@dataclass(frozen=True)
class LiveState:
    """A running recording at a glance; times in s since the log's start."""

    elapsed_s: float
    counts: Counts
    connected: bool
    trouble: str | None
    closed: Path | None
    marks: tuple[Mark, ...] = field(default=())


class Ears:
    """A thread that listens and does nothing else."""

    def __init__(self, listener: Listener) -> None:
        self._listener = listener
        self._heard: deque[list[Heard]] = deque()
        self._ending = Event()
        self._thread = Thread(target=self._listen, name="gauge", daemon=True)
        self._thread.start()

    def _listen(self) -> None:
        while not self._ending.is_set():
            heard = self._listener.poll()
            if heard:
                self._heard.append(heard)
            self._ending.wait(LISTEN_EVERY_S)

    @property
    def connected(self) -> bool:
        """Whether the port is open now."""
        return self._listener.connected

    def settle(self, seconds: float) -> None:
        """Let a stream that was running before show itself."""
        self._ending.wait(seconds)

    def heard(self) -> list[Heard]:
        """What has been heard since the last call."""
        out: list[Heard] = []
        while self._heard:
            out += self._heard.popleft()
        return out

    def stop(self) -> None:
        """Take what is waiting at the port, give the port back and end."""
        if self._ending.is_set():
            return
        self._ending.set()
        self._thread.join()
        self._heard.append(self._listener.poll() if self._listener.connected else [])
        self._heard.append(self._listener.close())


class LiveRecording:
    """One recording with its threads; every method may be called from any thread."""

    def __init__(self, ears: Ears, recording: Recording, header: LogHeader, clock: Callable[[], float]) -> None:
        self.recording = recording
        self.header = header
        self._ears = ears
        self._clock = clock
        self._ending = Event()
        self._closing = Lock()
        self._closed: Path | None = None
        self._failed: BoxholdError | None = None
        self._hands = Thread(target=self._write, name="log", daemon=True)
        self._keeper = Thread(target=self._sync, name="disk", daemon=True)
        self._hands.start()
        self._keeper.start()

    @classmethod
    def start(
        cls, wanted: Wanted, *, opener: Opener = open_port, clock: Callable[[], float] = time.monotonic,
        wall: Callable[[], datetime] = lambda: datetime.now().astimezone(),
        before_log: Callable[[], None] | None = None,
    ) -> LiveRecording:  # fmt: skip
        """Open the gauge and the log and begin.

        Parameters
        ----------
        wanted
            What to record.
        opener, clock, wall
            How a port is opened, the monotonic clock (s), the wall clock (read once).
        before_log
            Called when log and port are ours and before the log is made; it may deal with what was left over.

        Raises
        ------
        WrongUsage
            The log's name is taken, or the address is of no known kind.
        OutsideWorldFailed
            The port is absent or in use, or the log cannot be made.
        """
        if wanted.out.exists():
            raise WrongUsage(f"{wanted.out} exists already; it is left as it is, choose another name.")
        with ExitStack() as undo:
            lock = lock_log(wanted.out)
            undo.callback(lock.release)
            zero_s = clock()
            listener = Listener(wanted.address, wanted.gauge, opener=opener, clock=clock)
            ears = Ears(listener)
            undo.callback(ears.stop)
            # Whoever waits for the log to appear before sending must not look like a stream cut into.
            ears.settle(SETTLED_S)
            if before_log is not None and part_path(wanted.out).exists():
                before_log()
            played = what_plays(wanted.address)
            header = _full_header(wanted, wall(), played)
            log = PartLog(wanted.out, header, lock=lock)
            undo.pop_all()
        rate = 1.0 if played is None else played.speed
        return cls(ears, Recording(log, zero_s, watched=wanted.watched, rate=rate), header, clock)

    # Threads

    def _write(self) -> None:
        while not self._ending.wait(WRITE_EVERY_S):
            self._take_all()
            self.recording.flush(self._clock())

    def _take_all(self) -> None:
        self.recording.take(self._ears.heard())

    def _sync(self) -> None:
        while not self._ending.wait(SYNC_EVERY_S):
            self.recording.log.sync()

    # For whoever watches

    def since(self, n: int) -> Since:
        """Readings from the ``n``-th on, times in s since the log's start, numbers as the gauge shows them."""
        return self.recording.since(n)

    def mark(self, phase: str) -> None:
        """Mark that a phase begins now: one of ``recorder.PHASES``."""
        self.recording.note(phase, self._clock())

    def remark(self, text: str) -> None:
        """Keep a person's remark with the time it was made."""
        self.recording.note(REMARK + text, self._clock())

    @property
    def elapsed_s(self) -> float:
        """Seconds since the log's start."""
        return self.recording.log_s(self._clock())

    @property
    def real_s(self) -> float:
        """Seconds since the start by our own clock, however fast a replayed log runs."""
        return self._clock() - self.recording.zero_s

    @property
    def path(self) -> Path:
        """Where the log stands now: with ``.part`` until it is closed."""
        return self._closed or self.recording.log.path

    def state(self) -> LiveState:
        """How the recording goes."""
        recording = self.recording
        return LiveState(self.elapsed_s, recording.counts(), self._ears.connected,
                         recording.trouble(self._clock()), self._closed, recording.marks())  # fmt: skip

    def snapshot(self) -> Log:
        """The log as it stands, for an estimate; its marks stand beside the first reading after each."""
        since = self.since(0)
        note = [""] * since.n
        for mark in self.recording.marks():
            at = int(np.searchsorted(since.t_s, mark.t_s))
            if at < since.n and (not note[at] or mark.text in PHASES):
                note[at] = mark.text
        path = self.recording.log.final
        return Log(self.header, np.array(since.t_s), np.array(since.reading), note=tuple(note), path=path)

    def stop(self) -> Path:
        """End the recording and give the log its final name; a second call only tells that name.

        Raises
        ------
        OutsideWorldFailed
            The disk did not take all rows.
        """
        with self._closing:
            if self._closed is None and self._failed is None:
                self._close()
            if self._failed is not None:
                raise self._failed
            assert self._closed is not None
            return self._closed

    def _close(self) -> None:
        self._ending.set()
        self._hands.join()
        self._keeper.join()
        self._ears.stop()
        self._take_all()
        self.recording.finish()
        try:
            self._closed = self.recording.log.close()
        except OutsideWorldFailed as problem:
            self._failed = problem


def what_plays(address: str) -> Announcement | None:
    """What stands behind an address that is no gauge: a replayed log or a simulated box; None for a gauge."""
    if address.startswith((SIMULATED, REPLAY)):
        from acquisition.simgauge import played

        return played(address)[1]
    return announced(address)


def _full_header(wanted: Wanted, started: datetime, played: Announcement | None) -> LogHeader:
    """The header with what is known of the gauge; a replayed or simulated one is marked as such."""
    header, gauge = wanted.header, wanted.gauge
    extra = dict(header.extra)
    if gauge.name:
        extra.setdefault("gauge_name", gauge.name)
    if played is not None:
        extra |= played.header_keys()
    return replace(
        header, gauge=gauge.unit, started=started.replace(microsecond=0), extra=extra,
        resolution=header.resolution or gauge.resolution, accuracy=header.accuracy or gauge.accuracy,
    )  # fmt: skip
