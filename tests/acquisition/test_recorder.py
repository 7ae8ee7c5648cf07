"""The recording without threads: rows, marks, counts and the sentences for the person."""

from __future__ import annotations

import tracemalloc
from pathlib import Path

import pytest

from acquisition.listener import LOST_NOTE, Heard
from acquisition.logfile import read_log
from acquisition.partlog import PartLog
from acquisition.recorder import Recording
from acquisition.records import LogHeader
from acquisition.units import GaugeUnit

HEADER = LogHeader(GaugeUnit("absolute", "kPa"))


@pytest.fixture
def log(tmp_path: Path) -> PartLog:
    return PartLog(tmp_path / "a.csv", HEADER)


def test_times_count_from_the_start_and_lines_without_reading_stay(log: PartLog) -> None:
    recording = Recording(log, 1000.0)
    recording.take([Heard(1000.5, b"101.3", 101.3), Heard(1001.0, b"OL", None, why="'OL' is not a number")])
    kept = read_log(log.close())
    assert kept.elapsed_s.tolist() == [0.5, 1.0]
    assert kept.raw == ("101.3", "OL")
    assert recording.counts().readings == 1
    assert recording.counts().lines == 2


def test_a_mark_stands_beside_the_first_reading_after_it(log: PartLog) -> None:
    recording = Recording(log, 0.0)
    recording.take([Heard(1.0, b"20.0", 20.0)])
    recording.note("hold", 1.5)
    recording.take([Heard(1.4, b"20.1", 20.1), Heard(1.6, b"OL"), Heard(1.8, b"20.2", 20.2)])
    assert read_log(log.close()).note == ("", "", "", "hold")


def test_a_mark_without_readings_gets_a_row_within_a_second(log: PartLog) -> None:
    recording = Recording(log, 0.0)
    recording.note("remark: hiss\nat the front", 1.0)
    recording.flush(1.5)
    assert read_log(log.path).note == ()
    recording.flush(2.0)
    assert read_log(log.path).note == ("remark: hiss at the front",)
    recording.note("let-up", 5.0)
    recording.finish()
    kept = read_log(log.close())
    assert kept.note[-1] == "let-up"
    assert kept.elapsed_s.tolist() == [1.0, 5.0]


def test_since_gives_only_what_is_new(log: PartLog) -> None:
    recording = Recording(log, 0.0)
    recording.take([Heard(0.1, b"1", 1.0), Heard(0.2, b"x"), Heard(0.3, b"2", 2.0)])
    first = recording.since(0)
    assert (first.n, first.t_s, first.reading) == (2, [0.1, 0.3], [1.0, 2.0])
    recording.take([Heard(0.4, b"3", 3.0)])
    second = recording.since(first.n)
    assert (second.n, second.t_s, second.reading) == (3, [0.4], [3.0])
    assert recording.since(99).t_s == []
    log.close()


def test_a_gap_is_marked_in_the_log_and_counted(log: PartLog) -> None:
    recording = Recording(log, 0.0)
    recording.take([Heard(1.0, b"1", 1.0), Heard(2.0, note=LOST_NOTE), Heard(9.0, note="gauge heard again")])
    assert recording.counts().gaps == 1
    assert read_log(log.close()).note == ("", LOST_NOTE, "gauge heard again")


def test_silence_and_lines_that_say_nothing_are_told_apart(log: PartLog) -> None:
    recording = Recording(log, 0.0)
    recording.take([Heard(1.0, b"1", 1.0)])
    assert recording.trouble(5.0) is None
    silent = recording.trouble(7.0)
    assert silent == "No reading from the gauge for 6 s. The recording goes on; check the plug."
    recording.take([Heard(6.5, b"OL", None, why="'OL' is not a number")])
    words = "Lines come in but give no reading: 'OL' is not a number. They are kept in the log."
    assert recording.trouble(7.0) == words
    log.problem = "The disk is full; the readings are kept in memory, make room and the recording goes on."
    assert recording.trouble(7.0) == log.problem
    log.close()


def test_a_replayed_log_keeps_its_own_times(log: PartLog) -> None:
    recording = Recording(log, 50.0, rate=10.0)
    recording.take([Heard(50.5, b"1", 1.0), Heard(51.0, b"2", 2.0)])
    assert recording.trouble(53.0) is None  # 2 s of ours are silent, not 20
    assert recording.trouble(57.0) is not None
    assert read_log(log.close()).elapsed_s.tolist() == [5.0, 10.0]


def test_memory_stays_flat_when_nobody_watches(log: PartLog) -> None:
    recording = Recording(log, 0.0, watched=False)

    def run(first: int) -> int:
        for i in range(first, first + 20_000):
            recording.take([Heard(i * 1e-3, b"101.3", 101.3)])
            if i % 200 == 0:
                recording.flush(i * 1e-3)
        return tracemalloc.get_traced_memory()[0]

    tracemalloc.start()
    try:
        before = run(0)
        after = run(20_000)
    finally:
        tracemalloc.stop()
        log.close()
    assert after - before < 50_000
