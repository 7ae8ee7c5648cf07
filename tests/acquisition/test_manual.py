"""Readings by eye: what may be typed, and the log that comes of it."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from acquisition.errors import UnreadableInput, WrongUsage
from acquisition.logfile import read_log
from acquisition.manual import Entry, HandLog, check_possible, hand_header, parse_entry, stopwatch
from acquisition.partlog import part_path
from acquisition.records import LogHeader, Uncertain
from acquisition.units import GaugeUnit, parse_gauge_unit

HEADER = LogHeader(GaugeUnit("vacuum", "inHg"), box="B-07", setup="vents-taped")


@pytest.mark.parametrize(
    ("text", "entry"),
    [
        ("20.5", Entry(12.0, 20.5)),
        ("20,5", Entry(12.0, 20.5)),
        ("20.5 1:30", Entry(90.0, 20.5)),
        ("20.5 1:07.4", Entry(67.4, 20.5)),
        ("20 90", Entry(90.0, 20.0)),
        ("20 42.3s", Entry(42.3, 20.0)),
        ("20 1.5 min", Entry(90.0, 20.0)),
        ("SHUT", Entry(12.0, None, "hold")),
        ("pump", Entry(12.0, None, "pump-down")),
        ("end", Entry(12.0, None, "end of hold")),
        ("let-up", Entry(12.0, None, "let-up")),
        ("note hiss at the front", Entry(12.0, None, "remark: hiss at the front")),
    ],
)
def test_what_may_be_typed(text: str, entry: Entry) -> None:
    assert parse_entry(text, 12.0) == entry


@pytest.mark.parametrize("text", ["twenty", "20.5 soon", "20.5 1:75", "20.5.1", "nan", "20 inHg"])
def test_what_is_neither_reading_nor_word_is_told(text: str) -> None:
    with pytest.raises(WrongUsage):
        parse_entry(text, 0.0)


@pytest.mark.parametrize(
    ("unit", "possible", "impossible"),
    [
        # The room has 101.325 kPa, 29.92 inHg (ISO 2533); a zero may be 3 kPa off.
        ("absolute kPa", (0.0, 8.0, 101.3, 121.0), (-20.0, 126.0, 200000.0)),
        ("absolute mbar", (80.0, 1013.0), (-200.0, 1300.0)),
        ("vacuum inHg", (-0.5, 0.0, 29.9, 30.5), (-5.0, 31.0, 101.0)),
        ("gauge kPa", (0.0, -101.0), (-106.0, 20.0)),
    ],
)
def test_a_reading_that_no_box_can_have_is_refused(
    unit: str, possible: tuple[float, ...], impossible: tuple[float, ...]
) -> None:
    header = LogHeader(parse_gauge_unit(unit))
    for reading in possible:
        check_possible(reading, header)
    for reading in impossible:
        with pytest.raises(WrongUsage, match=f"{reading:g} cannot be in {unit}"):
            check_possible(reading, header)


def test_what_is_possible_goes_by_the_barometer() -> None:
    high_up = LogHeader(GaugeUnit("vacuum", "kPa"), barometer_kPa=Uncertain(80.0, 0.1))
    check_possible(80.0, high_up)
    with pytest.raises(WrongUsage, match="between 0 and 80"):
        check_possible(90.0, high_up)


def test_a_stopwatch_reads_minutes_and_seconds() -> None:
    assert [stopwatch(t) for t in ("0:05", "2:00", "75", "1 min")] == [5.0, 120.0, 75.0, 60.0]


def test_a_stopwatch_counts_from_the_last_mark(tmp_path: Path) -> None:
    log = HandLog(tmp_path / "a.csv", HEADER)
    log.add(Entry(3.0, 21.0))
    log.add(parse_entry("shut", 250.0, log.last_mark_s))
    log.add(parse_entry("note hiss", 251.0, log.last_mark_s))
    log.add(parse_entry("20 0:42.5", 300.0, log.last_mark_s))
    kept = read_log(log.close())
    assert kept.elapsed_s.tolist() == [3.0, 251.0, 292.5]
    assert kept.note == ("", "remark: hiss", "hold")


def test_the_eye_resolves_half_a_division() -> None:
    header = hand_header(HEADER, 0.5)
    assert header.resolution == 0.25
    assert header.extra["by_hand"] == "yes"
    with pytest.raises(WrongUsage):
        hand_header(HEADER, 0.0)


def test_every_entry_is_on_disk_at_once_and_can_be_taken_back(tmp_path: Path) -> None:
    final = tmp_path / "a.csv"
    log = HandLog(final, hand_header(HEADER, 1.0))
    for text, now in (("0", 0.0), ("pump", 5.0), ("21", 60.0), ("shut", 61.0), ("20.5", 80.0), ("2.05", 100.0)):
        log.add(parse_entry(text, now))
        assert read_log(part_path(final)).elapsed_s.size >= 1
    assert log.take_back() == Entry(100.0, 2.05)
    log.add(parse_entry("20.0 1:40", 105.0))
    assert log.close() == final
    kept = read_log(final)
    assert kept.elapsed_s.tolist() == [0.0, 60.0, 80.0, 100.0]
    assert kept.reading.tolist() == [0.0, 21.0, 20.5, 20.0]
    assert kept.note == ("", "pump-down", "hold", "")
    assert kept.header.resolution == 0.5
    assert sorted(os.listdir(tmp_path)) == ["a.csv"]


def test_a_mark_stands_beside_the_reading_after_it_and_never_the_one_before(tmp_path: Path) -> None:
    log = HandLog(tmp_path / "a.csv", HEADER)
    for text, now in (("27", 60.0), ("shut", 61.0), ("note stiff", 62.0), ("26.5", 80.0), ("redraw", 90.0),
                      ("shut", 95.0), ("27", 100.0), ("let-up", 101.0)):  # fmt: skip
        log.add(parse_entry(text, now))
    kept = read_log(log.close())
    marked = dict(zip(kept.elapsed_s.tolist(), kept.note, strict=True))
    assert marked == {60.0: "", 62.0: "remark: stiff", 80.0: "hold", 90.0: "redraw", 100.0: "hold", 101.0: "let-up"}


def test_a_log_without_readings_is_not_kept(tmp_path: Path) -> None:
    log = HandLog(tmp_path / "a.csv", HEADER)
    log.add(parse_entry("pump", 0.0))
    with pytest.raises(UnreadableInput, match="no reading was typed"):
        log.close()
    assert os.listdir(tmp_path) == []


def test_a_taken_name_is_refused(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text("mine")
    with pytest.raises(WrongUsage, match="exists already"):
        HandLog(tmp_path / "a.csv", HEADER)
    assert (tmp_path / "a.csv").read_text() == "mine"
