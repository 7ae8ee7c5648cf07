"""Hearing a gauge by an injected clock and a scripted port: half lines, lost cables, questions."""

from __future__ import annotations

from collections import deque
from typing import Any

import pytest

from acquisition.gaugefile import GaugeSpec, PortSettings
from acquisition.lineforms import LineSpec
from acquisition.listener import BACK_NOTE, LOST_NOTE, Heard, Listener
from acquisition.serialport import PortLost
from acquisition.units import GaugeUnit

KPA = GaugeUnit("absolute", "kPa")


class FakePort:
    """Gives what was put into it; ``None`` in the script is a pulled cable."""

    ran_before = True

    def __init__(self) -> None:
        self.waiting: deque[bytes | None] = deque()
        self.asked: list[bytes] = []
        self.replies: deque[bytes] = deque()
        self.closed = False

    @property
    def raw_port(self) -> Any:
        return self

    def read_waiting(self) -> bytes:
        if not self.waiting:
            return b""
        data = self.waiting.popleft()
        if data is None:
            raise PortLost("/dev/fake: the gauge is gone; check the plug.")
        return data

    def write(self, data: bytes) -> None:
        self.asked.append(data)
        if self.replies:
            self.waiting.append(self.replies.popleft())

    def forget_waiting(self) -> None:
        self.waiting.clear()

    def close(self) -> None:
        self.closed = True


class Bench:
    """A clock, a port that can vanish, and a listener on it."""

    def __init__(self, lines: LineSpec = LineSpec(), unit: GaugeUnit = KPA) -> None:  # noqa: B008
        self.now = 100.0
        self.ports: list[FakePort] = []
        self.there = True
        self.tries, self.opening_s = 0, 0.0
        self.listener = Listener("/dev/fake", GaugeSpec(unit, lines=lines), opener=self.open, clock=lambda: self.now)

    def open(self, address: str, settings: PortSettings) -> FakePort:
        self.tries += 1
        self.now += self.opening_s
        if not self.there:
            raise PortLost(f"There is no port {address}.")
        self.ports.append(FakePort())
        return self.ports[-1]

    def hear(self, *data: bytes | None, after_s: float = 0.1) -> list[Heard]:
        out = []
        for piece in data or (b"",):
            self.now += after_s
            self.ports[-1].waiting.append(piece)
            out += self.listener.poll()
        return out


def readings(heard: list[Heard]) -> list[float | None]:
    return [one.value for one in heard if not one.note]


def test_lines_become_readings_at_the_time_they_arrived() -> None:
    bench = Bench()
    bench.hear(b"101.3\r\n")
    heard = bench.hear(b"101.2\r\n", b"101.1\r\n")
    assert [(one.raw, one.value) for one in heard] == [(b"101.3", 101.3), (b"101.2", 101.2), (b"101.1", 101.1)]
    assert [one.t_s for one in heard] == pytest.approx([100.1, 100.2, 100.3])


@pytest.mark.parametrize(
    ("first", "second"),
    [(b"5.31", b"85.31"), (b"31", b"85.31"), (b"01.3", b"101.25"), (b".30 kPa", b"101.30 kPa"), (b"1", b"101.25"),
     (b"3.25", b"1013.26")],
)  # fmt: skip
def test_half_a_line_at_the_start_gives_no_reading(first: bytes, second: bytes) -> None:
    bench = Bench()
    heard = bench.hear(first + b"\r\n", second + b"\r\n")
    assert [one.raw for one in heard] == [first, second]
    assert heard[0].value is None
    assert heard[0].why
    assert heard[1].value is not None


@pytest.mark.parametrize(("first", "second"), [(b"101.30", b"101.25"), (b"101.3", b"nan"), (b"101.3", b"101.2 kPa")])
def test_a_whole_first_line_after_silence_is_read(first: bytes, second: bytes) -> None:
    bench = Bench()
    assert bench.hear(first + b"\n", second + b"\n")[0].value == float(first)


@pytest.mark.parametrize(("first", "second"), [(b"00.02", b"99.98"), (b"01.3", b"OL"), (b"99.98", b"100.02")])
def test_a_stream_already_running_must_show_the_same_shape_twice(first: bytes, second: bytes) -> None:
    bench = Bench()
    heard = bench.hear(first + b"\n", after_s=0.001) + bench.hear(second + b"\n")
    assert heard[0].value is None


def test_a_stream_already_running_with_steady_lines_loses_nothing() -> None:
    bench = Bench()
    assert readings(bench.hear(b"101.30\n101.29\n", after_s=0.001)) == [101.30, 101.29]


def test_a_lone_first_line_is_not_held_back_for_ever() -> None:
    bench = Bench()
    assert bench.hear(b"101.3\r\n") == []
    assert readings(bench.hear(b"", after_s=0.6)) == [101.3]


def test_a_pulled_cable_is_marked_and_the_gauge_is_heard_again() -> None:
    bench = Bench()
    bench.hear(b"101.3\n", b"101.2\n")
    bench.there = False
    lost = bench.hear(b"10", None)
    assert [one.note for one in lost] == ["", LOST_NOTE]
    assert (lost[0].raw, lost[0].value) == (b"10", None)
    assert bench.ports[0].closed
    assert not bench.listener.connected
    assert bench.hear(after_s=5.0) == []
    bench.there = True
    assert [one.note for one in bench.hear(after_s=1.0)] == [BACK_NOTE]
    assert bench.listener.connected
    assert readings(bench.hear(b"1.0\n", b"101.0\n", b"100.9\n")) == [None, 101.0, 100.9]


def test_a_gauge_is_heard_again_when_its_port_is_open_not_when_the_opening_began() -> None:
    bench = Bench()
    bench.hear(None)
    bench.opening_s = 5.0
    (back,) = bench.hear(after_s=1.0)
    assert (back.note, back.t_s) == (BACK_NOTE, bench.now)


def test_a_lost_port_is_tried_again_twice_a_second_only() -> None:
    bench = Bench()
    bench.there = False
    bench.hear(None)
    for _ in range(100):
        bench.now += 0.02
        bench.listener.poll()
    assert 3 <= bench.tries - 1 <= 4


def test_an_absent_port_at_the_start_is_an_error() -> None:
    bench = Bench()
    bench.there = False
    with pytest.raises(PortLost, match="no port"):
        Listener("/dev/fake", GaugeSpec(KPA), opener=bench.open, clock=lambda: 0.0)


def test_an_asked_gauge_is_asked_at_its_pace_and_its_echo_is_no_reading() -> None:
    bench = Bench(LineSpec(ask="MEAS:PRES?", every_s=0.5), GaugeUnit("absolute", "Pa"))
    bench.ports[-1].replies.extend(
        [b"MEAS:PRES?\r\n+8.53100000E+04\n", b"+8.53200000E+04\n", b"9.9E37\n", b"9.91E37\n"]
    )
    heard = [one for _ in range(25) for one in bench.hear()]
    assert bench.ports[-1].asked[:2] == [b"MEAS:PRES?\n", b"MEAS:PRES?\n"]
    assert readings(heard) == [None, 85310.0, 85320.0, None, None]


def test_a_gauge_that_does_not_answer_is_asked_again_after_its_time() -> None:
    bench = Bench(LineSpec(ask="?P", every_s=0.2, reply_s=1.0))
    for _ in range(35):
        bench.hear()
    assert 3 <= len(bench.ports[-1].asked) <= 4


def test_closing_hands_out_what_was_unfinished() -> None:
    bench = Bench()
    bench.hear(b"101.3\n", b"101.2\n10")
    assert [(one.raw, one.value) for one in bench.listener.close()] == [(b"10", None)]
    assert bench.ports[0].closed


def test_the_gauges_own_clock_is_never_believed() -> None:
    bench = Bench(LineSpec(separator="\t", field=2, fields=2), GaugeUnit("absolute", "kPa"))
    stamps = [b"1407794737", b"1407794738", b"3", b"0", b"1407794700", b"1407794700"]
    heard = bench.hear(*(stamp + b"\t101.3\n" for stamp in stamps), after_s=1.0)
    assert [one.t_s for one in heard] == pytest.approx([101.0, 102.0, 103.0, 104.0, 105.0, 106.0])
    assert readings(heard) == [101.3] * 6


@pytest.mark.parametrize(
    ("unit", "value"),
    [("absolute kPa", 0.0), ("absolute kPa", 1000.0), ("gauge kPa", 85.3), ("vacuum kPa", -85.3),
     ("vacuum inHg", 1013.0), ("absolute kPa", 101.3)],
    ids=["stuck at nothing", "stuck at full scale", "sign reversed", "sign reversed too", "mbar under inHg", "frozen"],
)  # fmt: skip
def test_what_a_person_must_settle_is_kept_as_heard(unit: str, value: float) -> None:
    reference, name = unit.split()
    bench = Bench(unit=GaugeUnit(reference, name))  # type: ignore[arg-type]
    line = b"%.1f\r\n" % value
    assert readings(bench.hear(*[line] * 20)) == [value] * 20


def test_a_duplicate_line_is_kept_twice_and_two_run_together_give_no_reading() -> None:
    bench = Bench()
    heard = bench.hear(b"101.3\n", b"101.2\n101.2\n", b"101.1101.0\n", b"100.9\n")
    assert readings(heard) == [101.3, 101.2, 101.2, None, 100.9]


def test_a_reply_cut_in_its_middle_is_not_joined_to_the_next() -> None:
    bench = Bench()
    bench.hear(b"101.3\n", b"101.2\n", b"10")
    heard = bench.hear(b"", after_s=3.0) + bench.hear(b"99.8\n", b"101.1\n")
    assert [(one.raw, one.value) for one in heard] == [(b"10", None), (b"99.8", None), (b"101.1", 101.1)]


def test_free_text_before_the_table_is_kept_without_readings() -> None:
    bench = Bench(LineSpec(separator="\t", field=2, fields=2), GaugeUnit("absolute", "mbar"))
    heard = bench.hear(b"Pump test\r\n", b"chamber 3\r\n", b"t\tp\r\n", b"0.1 \t 9.260000e+02 \r\n")
    assert readings(heard) == [None, None, None, 926.0]
