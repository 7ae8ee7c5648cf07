"""A recording with its threads, watched while it runs; and played or simulated gauges inside this process."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import datetime, timedelta, timezone
from pathlib import Path

import pytest

from acquisition.announce import Announcement, announce, announced
from acquisition.errors import OutsideWorldFailed, UnreadableInput, WrongUsage
from acquisition.gaugefile import GaugeSpec
from acquisition.live import LiveRecording, Wanted
from acquisition.logfile import read_log
from acquisition.records import LogHeader
from acquisition.replay import open_outlet, play
from acquisition.serialport import PortLost
from acquisition.simgauge import Make, PlayedPort, log_events, make_events, parse_make, played
from acquisition.units import GaugeUnit
from tests.acquisition.ptys import pty, wait_until

KPA = GaugeUnit("absolute", "kPa")
GAUGE = GaugeSpec(KPA, "bench gauge", 0.01, 0.25)


def wanted(address: str, out: Path) -> Wanted:
    return Wanted(address, GAUGE, out, LogHeader(KPA, box="B-07", setup="vents-taped"))


def wall() -> datetime:
    return datetime(2026, 5, 3, 14, 2, 11, 400_000, timezone(timedelta(hours=2)))


@contextmanager
def recording(wish: Wanted) -> Iterator[LiveRecording]:
    """A recording that is stopped whatever happens; else it would go on looking for its port."""
    live = LiveRecording.start(wish, wall=wall)
    try:
        yield live
    finally:
        live.stop()


@pytest.mark.pty
def test_a_recording_is_watched_while_it_runs(tmp_path: Path) -> None:
    out = tmp_path / "a.csv"
    with pty() as line, recording(wanted(line.name, out)) as live:
        line.send(b"101.3\n101.2\nOL\n101.1\n")
        wait_until(lambda: live.since(0).n == 3)
        first = live.since(1)
        assert first.reading == [101.2, 101.1]
        assert first.t_s == sorted(first.t_s)
        live.mark("hold")
        live.remark("hiss")
        line.send(b"101.0\n100.9\n")
        wait_until(lambda: live.since(0).n == 5)
        assert live.since(first.n).reading == [101.0, 100.9]
        state = live.state()
        assert (state.counts.lines, state.counts.readings, state.connected, state.trouble) == (6, 5, True, None)
        assert live.path == tmp_path / "a.csv.part"
        assert "hold" in live.snapshot().note[3:]
        assert live.stop() == out
        assert live.stop() == out
    log = read_log(out)
    assert log.note[:4] == ("", "", "", "")
    assert [note for note in log.note if note] == ["hold", "remark: hiss"]
    header = log.header
    assert header.started == datetime(2026, 5, 3, 14, 2, 11, tzinfo=timezone(timedelta(hours=2)))
    assert (header.resolution, header.accuracy, header.extra["gauge_name"]) == (0.01, 0.25, "bench gauge")


def test_of_two_marks_before_one_reading_what_was_done_last_counts(tmp_path: Path) -> None:
    with pty() as line, recording(wanted(line.name, tmp_path / "a.csv")) as live:
        line.send(b"101.3\n101.2\n")
        wait_until(lambda: live.since(0).n == 2)
        for phase in ("pump-down", "hold"):
            live.mark(phase)
        live.remark("hiss")
        line.send(b"20.1\n")
        wait_until(lambda: live.since(0).n == 3)
        assert live.snapshot().note == ("", "", "hold")


def test_nothing_is_left_behind_when_the_gauge_is_absent(tmp_path: Path) -> None:
    with pytest.raises(PortLost):
        LiveRecording.start(wanted("/dev/no-such-port", tmp_path / "a.csv"))
    assert os.listdir(tmp_path) == []


@pytest.mark.pty
def test_a_log_that_cannot_be_made_gives_the_port_back(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pty() as line:
        with pytest.raises(OutsideWorldFailed):
            LiveRecording.start(wanted(line.name, tmp_path / "file" / "a.csv"))
        (tmp_path / "taken.csv.part").write_text("left over")
        with pytest.raises(WrongUsage, match="left over"):
            LiveRecording.start(wanted(line.name, tmp_path / "taken.csv"))
        LiveRecording.start(wanted(line.name, tmp_path / "b.csv")).stop()


def test_a_simulated_gauge_is_recorded_with_its_own_times_and_marked(tmp_path: Path) -> None:
    with recording(wanted("simulated:speed=100,interval_s=1,leak_mm2=1", tmp_path / "a.csv")) as live:
        wait_until(lambda: live.since(0).n >= 60)
    log = read_log(live.path)
    assert log.header.extra["simulated"] == "yes"
    assert log.elapsed_s[50] - log.elapsed_s[0] == pytest.approx(50.0, abs=10.0)
    assert log.reading[:15] == pytest.approx(101.3, abs=0.3)
    assert log.reading[50] < 60.0


def write_log(folder: Path) -> Path:
    path = folder / "source.csv"
    path.write_text('# boxhold log: 1\n# gauge: vacuum inHg\nelapsed_s,reading,raw,note\n10,20.5,"20.5\\x0d",\n'
                    '11,,"",gauge lost\n12,,"O\\xFFL",\n13,20.25,,\n')  # fmt: skip
    return path


def test_a_log_is_played_byte_for_byte(tmp_path: Path) -> None:
    from acquisition.simgauge import check_log

    events = list(log_events(check_log(write_log(tmp_path))))
    assert events == [(0.0, b"20.5\r\r\n"), (2.0, b"O\xffL\r\n"), (3.0, b"20.25\r\n")]


def test_a_played_port_gives_lines_when_they_are_due(tmp_path: Path) -> None:
    events, what = played(f"replay:{write_log(tmp_path)}?speed=10")
    assert (what.simulated, what.name, what.speed) == (False, "source.csv", 10.0)
    now = [5.0]
    port = PlayedPort(events, what.speed, clock=lambda: now[0])
    assert port.read_waiting() == b"20.5\r\r\n"
    now[0] = 5.1
    assert port.read_waiting() == b""
    now[0] = 5.31
    assert port.read_waiting() == b"O\xffL\r\n20.25\r\n"


def test_an_empty_log_is_not_played(tmp_path: Path) -> None:
    from acquisition.simgauge import check_log

    path = tmp_path / "empty.csv"
    path.write_text("# boxhold log: 1\n# gauge: absolute kPa\nelapsed_s,reading\n")
    with pytest.raises(UnreadableInput, match="no rows"):
        check_log(path)


@pytest.mark.parametrize("text", ["colour=red", "leak_mm2=much", "speed=0", "law=round", "wood=oak", "hold_s=-1"])
def test_settings_of_a_simulated_gauge_are_checked(text: str) -> None:
    with pytest.raises(WrongUsage):
        parse_make(text)


def test_settings_of_a_simulated_gauge_are_read() -> None:
    make = parse_make("leak_mm2=1.5,wood=bare&hold_s=60,seed=7")
    assert make == Make(leak_mm2=1.5, wood="bare", hold_s=60.0, seed=7)


def test_a_simulated_gauge_is_the_same_again() -> None:
    def first(count: int) -> list[tuple[float, bytes]]:
        events = make_events(Make(interval_s=1.0))
        return [next(events) for _ in range(count)]

    assert first(30) == first(30)


class Board:
    """An outlet whose listener comes and goes by script."""

    address = "board"

    def __init__(self, presence: list[bool]) -> None:
        self.presence = presence
        self.got: list[bytes] = []

    def heard(self) -> bool:
        return self.presence.pop(0) if len(self.presence) > 1 else self.presence[0]

    def send(self, data: bytes) -> bool:
        self.got.append(data)
        return True

    def close(self) -> None: ...


def test_playing_waits_for_a_listener_and_loses_no_line_when_one_goes_and_comes() -> None:
    now = [0.0]

    def sleep(seconds: float) -> None:
        now[0] += seconds

    board = Board([False, False, True, True, False, False, True])
    told: list[str] = []
    events = iter([(0.0, b"a"), (1.0, b"b"), (2.0, b"c")])
    assert play(events, board, 2.0, clock=lambda: now[0], sleep=sleep, told=told.append) == 3
    assert board.got == [b"a", b"b", b"c"]
    assert told == ["somebody listens", "nobody listens; waiting", "somebody listens"]


@pytest.mark.pty
@pytest.mark.parametrize("tcp_port", [None, 0])
def test_an_outlet_knows_whether_somebody_listens(tcp_port: int | None) -> None:
    from acquisition.serialport import open_port

    outlet = open_outlet(tcp_port)
    try:
        assert not outlet.heard()
        with closing(open_port(outlet.address)) as port:
            wait_until(outlet.heard)
            heard = bytearray()
            assert outlet.send(b"101.3\r\n")
            wait_until(lambda: heard.extend(port.read_waiting()) or len(heard) == 7)  # type: ignore[func-returns-value]
        wait_until(lambda: not outlet.heard())
    finally:
        outlet.close()


def test_a_word_beside_a_port_holds_while_its_program_is_alive() -> None:
    word = announce("/dev/played", Announcement(True, "", 10.0, os.getpid()))
    try:
        what = announced("/dev/played")
        assert what is not None
        assert what.header_keys() == {"simulated": "yes", "replay_speed": "10"}
        announce("/dev/played", Announcement(False, "a.csv", 1.0, 2**22 + 1))  # no such process
        assert announced("/dev/played") is None
        assert not word.exists()
    finally:
        word.unlink(missing_ok=True)
    assert announced("/dev/never") is None
