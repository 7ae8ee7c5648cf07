"""Own framing of lines: bytes as they come in, whole lines as they went out.

A line ends with CR, LF or both, however often doubled. ``readline`` is never used: with a timeout it hands
out the first half of a line, and half a number is a plausible wrong pressure.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import Enum

MOST_BYTES = 512
PAUSE_S = 0.5

_ENDINGS = re.compile(rb"[\r\n]+")


class Whole(Enum):
    """How sure it is that a line is all of what the gauge sent."""

    WHOLE = "whole"
    FIRST = "first of the stream, may have begun before we listened"
    CUT = "cut off: the line ending never came"
    TAIL = "the rest of a line that was cut off"


@dataclass(frozen=True)
class HeardLine:
    """One line as heard, without its ending; ``t_s`` on the caller's monotonic clock."""

    t_s: float
    raw: bytes
    whole: Whole = Whole.WHOLE


class LineFramer:
    """Cuts a stream of bytes into lines.

    Parameters
    ----------
    most_bytes
        A line longer than this is cut there, told as ``CUT``, and its rest as ``TAIL``.
    pause_s
        A line left unfinished for so long is told as ``CUT`` and what follows it as ``TAIL``: a gauge that
        starts anew in the middle of a number must not have two halves joined.
    pause_ends
        The gauge sends no line ending at all: a pause ends a whole line.
    """

    def __init__(self, most_bytes: int = MOST_BYTES, pause_s: float = PAUSE_S, *, pause_ends: bool = False) -> None:
        self._most_bytes = most_bytes
        self._pause_s = pause_s
        self._pause_ends = pause_ends
        self.restart()

    def restart(self) -> None:
        """Forget what is unfinished; the next line is the first of a stream again."""
        self._rest = bytearray()
        self._next = Whole.FIRST
        self._last_s = float("-inf")

    def expect_whole(self) -> None:
        """The gauge was silent and has just been asked: what comes next is a whole line."""
        if not self._rest and self._next is Whole.FIRST:
            self._next = Whole.WHOLE

    @property
    def pending(self) -> bytes:
        """Bytes of a line that has not ended yet."""
        return bytes(self._rest)

    def feed(self, data: bytes, t_s: float, since_s: float | None = None) -> list[HeardLine]:
        """Take bytes that arrived at ``t_s`` and give the lines they finish.

        Parameters
        ----------
        data
            Bytes in the order heard.
        t_s
            When they were taken from the port, s, monotonic.
        since_s
            When the port was last looked at; lines of one gulp are spread between the two, in the share of
            their bytes. Absent: all get ``t_s``.
        """
        lines = self.tick(t_s)
        if not data:
            return lines
        begin = t_s if since_s is None else min(since_s, t_s)
        done = 0
        for match in _ENDINGS.finditer(data):
            self._rest += data[done : match.start()]
            done = match.end()
            lines += self._finish(begin + (t_s - begin) * done / len(data))
        self._rest += data[done:]
        self._last_s = t_s
        if len(self._rest) > self._most_bytes:
            lines += self._cut(t_s)
        return lines

    def tick(self, t_s: float) -> list[HeardLine]:
        """Give up on a line whose ending has not come within the pause."""
        if not self._rest or t_s - self._last_s < self._pause_s:
            return []
        if self._pause_ends:
            return self._finish(t_s)
        return self._cut(t_s)

    def finish(self, t_s: float) -> list[HeardLine]:
        """The stream is over: what is unfinished is told as ``CUT``."""
        return self._cut(t_s) if self._rest else []

    def _cut(self, t_s: float) -> list[HeardLine]:
        kind = Whole.TAIL if self._next is Whole.TAIL else Whole.CUT
        lines = [HeardLine(t_s, bytes(piece), kind) for piece in self._pieces()]
        self._rest = bytearray()
        self._next = Whole.TAIL
        return lines

    def _finish(self, t_s: float) -> list[HeardLine]:
        if len(self._rest) > self._most_bytes:
            lines = self._cut(t_s)
            self._next = Whole.WHOLE
            return lines
        kind, raw = self._next, bytes(self._rest)
        self._rest, self._next = bytearray(), Whole.WHOLE
        return [HeardLine(t_s, raw, kind)] if raw else []

    def _pieces(self) -> list[bytes]:
        step = self._most_bytes
        return [bytes(self._rest[i : i + step]) for i in range(0, len(self._rest), step)]
