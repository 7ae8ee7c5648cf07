"""The recording itself: what is heard goes to the log and to whoever watches. No threads here."""

from __future__ import annotations

import math
from array import array
from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass
from threading import Lock

from acquisition.listener import LOST_NOTE, Heard
from acquisition.logheader import one_line
from acquisition.partlog import PartLog

MARK_WAIT_S = 1.0
PHASES = ("baseline", "pump-down", "soak", "hold", "end of hold", "redraw", "let-up")
"""Marks that open a phase in the ``note`` column; ``redraw`` is a pump-down without a let-up."""
REMARK = "remark: "
SILENT_S = 5.0


@dataclass(frozen=True)
class Since:
    """Readings newer than a count: the new count, times (s since the log's start), gauge's own numbers."""

    n: int
    t_s: list[float]
    reading: list[float]


@dataclass(frozen=True)
class Mark:
    """A note set by a person or by the program: time (s since the log's start) and words."""

    t_s: float
    text: str


@dataclass(frozen=True)
class Counts:
    """How the hearing goes: lines, readings, last line's reason for having none, when last heard (s)."""

    lines: int
    readings: int
    last_why: str
    last_raw: bytes
    last_line_s: float
    last_reading_s: float
    gaps: int


class Recording:
    """Keeps one recording.

    Parameters
    ----------
    log
        Where rows go.
    zero_s
        The log's zero on the listener's clock, s.
    rate
        How many of the log's seconds pass in one of the clock's: 1 but for a replayed log or simulated gauge.
    watched
        Keep the readings in memory for ``since``; without it memory stays as it is however long it runs.
    """

    def __init__(self, log: PartLog, zero_s: float, *, watched: bool = True, rate: float = 1.0) -> None:
        self.log = log
        self.zero_s = zero_s
        self._rate = rate
        self._watched = watched
        self._lock = Lock()
        self._t = array("d")
        self._reading = array("d")
        self._notes: deque[Mark] = deque()
        self._marks: list[Mark] = []
        self._lines = self._readings = self._gaps = 0
        self._last_why, self._last_raw = "", b""
        self._last_line_s = self._last_reading_s = 0.0

    def log_s(self, clock_s: float) -> float:
        """Seconds since the log's start at a time of the clock."""
        return (clock_s - self.zero_s) * self._rate

    def take(self, heard: Iterable[Heard]) -> None:
        """Put what was heard into the log's rows."""
        with self._lock:
            for one in heard:
                self._take(one)

    def _take(self, one: Heard) -> None:
        t_s = round(self.log_s(one.t_s), 3)
        note = one.note
        if one.value is not None and not note and self._notes and t_s >= self._notes[0].t_s:
            note = self._notes.popleft().text
        self.log.row(t_s, one.value, one.raw, note)
        self._count(one, t_s)
        if one.value is not None and self._watched:
            self._t.append(t_s)
            self._reading.append(one.value)

    def _count(self, one: Heard, t_s: float) -> None:
        if one.note:
            self._gaps += one.note == LOST_NOTE
            self._marks.append(Mark(t_s, one.note))
            return
        self._lines += 1
        self._last_line_s, self._last_raw, self._last_why = t_s, one.raw, one.why
        if one.value is not None:
            self._readings += 1
            self._last_reading_s = t_s

    def note(self, text: str, now_s: float) -> None:
        """Set a mark now (listener's clock); it stands beside the next reading, where a reader of logs looks for it."""
        mark = Mark(round(self.log_s(now_s), 3), one_line(text))
        with self._lock:
            self._notes.append(mark)
            self._marks.append(mark)

    def flush(self, now_s: float) -> bool:
        """Hand the rows on; a mark no reading came for within a second gets a row of its own."""
        with self._lock:
            while self._notes and self.log_s(now_s) - self._notes[0].t_s >= MARK_WAIT_S * self._rate:
                mark = self._notes.popleft()
                self.log.row(mark.t_s, None, b"", mark.text)
        return self.log.flush()

    def finish(self) -> None:
        """Give every mark that still waits a row."""
        with self._lock:
            while self._notes:
                mark = self._notes.popleft()
                self.log.row(mark.t_s, None, b"", mark.text)

    def since(self, n: int) -> Since:
        """Readings from the ``n``-th on."""
        with self._lock:
            n = max(0, min(n, len(self._t)))
            return Since(len(self._t), self._t[n:].tolist(), self._reading[n:].tolist())

    def marks(self) -> tuple[Mark, ...]:
        """All marks and notes until now."""
        with self._lock:
            return tuple(self._marks)

    def counts(self) -> Counts:
        """How the hearing goes."""
        with self._lock:
            return Counts(self._lines, self._readings, self._last_why, self._last_raw, self._last_line_s,
                          self._last_reading_s, self._gaps)  # fmt: skip

    def trouble(self, now_s: float) -> str | None:
        """What the person should know now, as one sentence, or None."""
        counts = self.counts()
        elapsed_s = self.log_s(now_s)
        silent_s = (elapsed_s - counts.last_reading_s) / self._rate
        if self.log.problem:
            return self.log.problem
        if silent_s < SILENT_S:
            return None
        if elapsed_s - counts.last_line_s < SILENT_S * self._rate:
            why = counts.last_why or "not understood"
            return f"Lines come in but give no reading: {why}. They are kept in the log."
        return f"No reading from the gauge for {math.floor(silent_s)} s. The recording goes on; check the plug."
