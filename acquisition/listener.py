"""Hears one gauge: bytes from a port to times and readings, through lost cables and back.

``Listener.poll`` never waits and never raises for a gauge that is gone; it says so in a note and tries again.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

from acquisition.errors import BoxholdError
from acquisition.framing import HeardLine, LineFramer, Whole
from acquisition.gaugefile import GaugeSpec
from acquisition.lineforms import LineReader, Understood, meaning
from acquisition.registers import RegisterReader
from acquisition.serialport import Opener, Port, PortLost, find_again, identity_of, open_port

Clock = Callable[[], float]

SETTLED_S = 0.03
"""Bytes that come sooner after opening than this were on their way before: the first line may be half."""
FIRST_WAIT_S = 0.5
SAME_SHARE = 0.2
RETRY_S = 0.5
LOST_NOTE = "gauge lost"
BACK_NOTE = "gauge heard again"


@dataclass(frozen=True)
class Heard:
    """One thing to keep: a line with or without a reading, or only a note.

    ``t_s`` on the listener's clock; ``value`` in the gauge's unit or None; ``why`` says why there is none.
    """

    t_s: float
    raw: bytes = b""
    value: float | None = None
    note: str = ""
    why: str = ""


class Hearing(Protocol):
    """How a kind of gauge is heard over an open port."""

    def attach(self, port: Port, t_s: float) -> None:
        """Begin on a port just opened."""

    def hear(self, t_s: float) -> list[Heard]:
        """What has come in until now; raises ``PortLost``."""

    def finish(self, t_s: float) -> list[Heard]:
        """What is left when the port is closed or lost."""


class LineHearing:
    """A gauge that sends lines, by itself or when asked."""

    def __init__(self, spec: GaugeSpec) -> None:
        self._spec = spec.lines
        self._reader = LineReader(spec.lines, spec.unit, spec.scale)
        pause_ends = spec.lines.ending == "pause"
        self._framer = LineFramer(pause_s=0.1, pause_ends=True) if pause_ends else LineFramer()
        self._port: Port | None = None
        self._first = _FirstLine()
        self._asked_s = float("-inf")
        self._waiting = False
        self._last_s = 0.0
        self._heard_any = False

    def attach(self, port: Port, t_s: float) -> None:
        """Begin a new stream."""
        self._port = port
        self._framer.restart()
        self._first = _FirstLine()
        self._heard_any = self._waiting = False
        self._asked_s = float("-inf")
        self._last_s = self._opened_s = t_s

    def hear(self, t_s: float) -> list[Heard]:
        """Lines that are whole by now, each with its reading."""
        if self._port is None:
            return []
        self._ask(t_s)
        data = self._port.read_waiting()
        if data and not self._heard_any:
            self._heard_any = True
            soon = t_s - self._opened_s < SETTLED_S and self._spec.ask is None
            self._first.at_once = soon and self._port.ran_before
        lines = self._framer.feed(data, t_s, self._last_s)
        self._last_s = t_s
        return self._first.settle([self._read(line) for line in lines], t_s)

    def finish(self, t_s: float) -> list[Heard]:
        """The unfinished line, without a reading, and a first line that waited for its second."""
        return self._first.settle([self._read(line) for line in self._framer.finish(t_s)], t_s, last=True)

    def _ask(self, t_s: float) -> None:
        if self._spec.ask is None or self._port is None:
            return
        patience = self._spec.reply_s if self._waiting else 0.0
        if t_s - self._asked_s < max(self._spec.every_s, patience):
            return
        if self._asked_s == float("-inf"):
            self._port.forget_waiting()
            self._framer.expect_whole()
        self._port.write((self._spec.ask + self._spec.ask_ending).encode())
        self._asked_s, self._waiting = t_s, True

    def _read(self, line: HeardLine) -> tuple[HeardLine, Understood]:
        self._waiting = False
        if line.whole in (Whole.CUT, Whole.TAIL):
            return line, Understood(None, line.whole.value)
        understood = self._reader.read(line.raw)
        if line.whole is Whole.FIRST and self._reader.proven:
            line = HeardLine(line.t_s, line.raw)
        return line, understood


class _FirstLine:
    """Holds the first line of a stream back until the second shows whether it was whole.

    A stream that was running before we listened begins somewhere in a line, and half a number looks like
    a number. The first line's reading is kept only if the next line does not make it look like a half.
    """

    def __init__(self) -> None:
        self.at_once = False
        self._held: tuple[HeardLine, Understood] | None = None

    def settle(self, lines: list[tuple[HeardLine, Understood]], t_s: float, *, last: bool = False) -> list[Heard]:
        out: list[Heard] = []
        for line, understood in lines:
            if self._held is not None:
                out.append(self._judge(line.raw, understood.value))
            if line.whole is Whole.FIRST and understood.value is not None:
                self._held = (line, understood)
            else:
                out.append(Heard(line.t_s, line.raw, understood.value, why=understood.why))
        if self._held is not None and (last or t_s - self._held[0].t_s >= FIRST_WAIT_S):
            out.append(self._judge(None, None))
        return out

    def _judge(self, second: bytes | None, second_value: float | None) -> Heard:
        assert self._held is not None
        (line, understood), self._held = self._held, None
        if self._looks_half(line.raw, understood.value or 0.0, second, second_value):
            return Heard(line.t_s, line.raw, why=Whole.FIRST.value)
        return Heard(line.t_s, line.raw, understood.value)

    def _looks_half(self, raw: bytes, value: float, second: bytes | None, second_value: float | None) -> bool:
        if second is None or second_value is None:
            return self.at_once
        far = abs(value - second_value) > SAME_SHARE * max(abs(value), abs(second_value))
        if self.at_once:
            return far or _shape(raw) != _shape(second)
        return len(raw) < len(second) and (far or _shape(second).endswith(_shape(raw)))


def _shape(raw: bytes) -> bytes:
    """A line with all digits alike."""
    return raw.translate(bytes(0x39 if 0x30 <= b <= 0x39 else b for b in range(256)))


class RegisterHearing:
    """A gauge that is asked for registers."""

    def __init__(self, spec: GaugeSpec, clock: Clock) -> None:
        assert spec.registers is not None
        self._spec = spec.registers
        self._clock = clock
        self._reader = RegisterReader(spec.registers, spec.unit, meaning(spec.unit, spec.scale))
        self._next_s = 0.0

    def attach(self, port: Port, t_s: float) -> None:
        """Ask over this port from now on."""
        try:
            self._reader.attach(port.raw_port)
        except OSError as problem:
            raise PortLost(f"the gauge is gone ({problem}); check the plug.") from None
        self._next_s = t_s

    def hear(self, t_s: float) -> list[Heard]:
        """One answer, when it is time to ask."""
        if t_s < self._next_s:
            return []
        self._next_s = max(self._next_s + self._spec.every_s, t_s)
        try:
            raw, understood = self._reader.read()
        except (OSError, TypeError) as problem:
            raise PortLost(f"the gauge is gone ({problem}); check the plug.") from None
        return [Heard(self._clock(), raw, understood.value, why=understood.why)]

    def finish(self, t_s: float) -> list[Heard]:
        """Nothing is ever left over."""
        return []


def hearing_of(spec: GaugeSpec, clock: Clock = time.monotonic) -> Hearing:
    """The way this gauge is heard."""
    return LineHearing(spec) if spec.registers is None else RegisterHearing(spec, clock)


class Listener:
    """Hears one gauge at one address for as long as wanted.

    Parameters
    ----------
    address, spec
        Where the gauge is and how it speaks.
    opener, clock
        How a port is opened and what time it is (s, monotonic); tests give their own.

    Raises
    ------
    PortLost
        The port is absent or in use at the start. Later a lost port is a note and is opened again.
    """

    def __init__(
        self, address: str, spec: GaugeSpec, *, opener: Opener = open_port, clock: Clock = time.monotonic
    ) -> None:
        self.address = address
        self._settings = spec.port
        self._opener = opener
        self._clock = clock
        self._hearing = hearing_of(spec, clock)
        self._port: Port | None = opener(address, spec.port)
        self._identity = identity_of(address)
        self._retry_s = 0.0
        self._attach(clock())

    @property
    def connected(self) -> bool:
        """Whether the port is open now."""
        return self._port is not None

    def poll(self) -> list[Heard]:
        """What has been heard since the last call; never waits for more than one answer."""
        now = self._clock()
        if self._port is None:
            return self._reopen(now)
        try:
            return self._hearing.hear(now)
        except Exception as problem:  # whatever a driver lets out: listening must go on
            return self._lose(now, problem)

    def close(self) -> list[Heard]:
        """Give the port back; what was unfinished is handed out."""
        if self._port is None:
            return []
        rest = self._hearing.finish(self._clock())
        self._port.close()
        self._port = None
        return rest

    def _attach(self, now: float) -> None:
        assert self._port is not None
        self._hearing.attach(self._port, now)

    def _lose(self, now: float, problem: Exception) -> list[Heard]:
        rest = self.close()
        self._retry_s = now + RETRY_S
        return [*rest, Heard(now, note=LOST_NOTE, why=str(problem))]

    def _reopen(self, now: float) -> list[Heard]:
        if now < self._retry_s:
            return []
        self._retry_s = now + RETRY_S
        try:
            self._port = self._opener(find_again(self.address, self._identity), self._settings)
            self._attach(self._clock())
        except BoxholdError:
            self.close()
            return []
        return [Heard(self._clock(), note=BACK_NOTE)]  # opening may have taken seconds
