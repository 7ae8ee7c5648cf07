"""The log while it is written: readable at all times, whole after every accident, nothing overwritten."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import numpy as np
import pytest

from acquisition.errors import OutsideWorldFailed, WrongUsage
from acquisition.logfile import read_log, unescape_raw
from acquisition.partlog import LogInUse, PartLog, finish_left_over, left_over, part_path
from acquisition.records import LogHeader
from acquisition.units import GaugeUnit

HEADER = LogHeader(GaugeUnit("absolute", "kPa"), box="B-07", setup="vents-taped")


def test_the_log_stands_beside_its_name_until_it_is_closed(tmp_path: Path) -> None:
    final = tmp_path / "a.csv"
    log = PartLog(final, HEADER)
    assert not final.exists()
    assert read_log(part_path(final)).elapsed_s.size == 0
    log.row(0.0, 101.3, b"101.30 kPa")
    log.flush()
    assert read_log(part_path(final)).reading.tolist() == [101.3]
    assert log.close() == final
    assert sorted(os.listdir(tmp_path)) == ["a.csv"]


def test_every_byte_heard_is_kept(tmp_path: Path) -> None:
    heard = [bytes([b]) for b in range(256)] + [b'"quoted", and\\x41', b" \t ", bytes(range(256))]
    log = PartLog(tmp_path / "a.csv", HEADER)
    for i, raw in enumerate(heard):
        log.row(float(i), None, raw, "note, \"with\" marks")
    kept = read_log(log.close())
    assert [unescape_raw(text) for text in kept.raw] == heard
    assert set(kept.note) == {'note, "with" marks'}
    assert np.isnan(kept.reading).all()


def test_a_taken_name_is_refused_and_left_untouched(tmp_path: Path) -> None:
    final = tmp_path / "a.csv"
    final.write_text("mine")
    with pytest.raises(WrongUsage, match="exists already"):
        PartLog(final, HEADER)
    assert final.read_text() == "mine"
    assert os.listdir(tmp_path) == ["a.csv"]


def test_a_name_taken_while_recording_is_not_overwritten(tmp_path: Path) -> None:
    final = tmp_path / "a.csv"
    log = PartLog(final, HEADER)
    final.write_text("mine")
    assert log.close() == tmp_path / "a-2.csv"
    assert final.read_text() == "mine"


def test_two_recordings_cannot_write_one_log(tmp_path: Path) -> None:
    log = PartLog(tmp_path / "a.csv", HEADER)
    with pytest.raises(LogInUse, match="another recording"):
        PartLog(tmp_path / "a.csv", HEADER)
    log.row(0.0, 1.0)
    assert read_log(log.close()).reading.tolist() == [1.0]


class FullDisk:
    """Takes ``room`` bytes, then none until more is made."""

    def __init__(self, room: int) -> None:
        self.room = room

    def __call__(self, file: int, data: bytes) -> int:
        if self.room == 0:
            raise OSError(errno.ENOSPC, "No space left on device")
        done = os.write(file, data[: self.room])
        self.room -= done
        return done


def test_a_full_disk_keeps_rows_in_memory_and_goes_on_when_there_is_room(tmp_path: Path) -> None:
    disk = FullDisk(400)
    log = PartLog(tmp_path / "a.csv", HEADER, write=disk)
    for i in range(100):
        log.row(i * 0.1, 101.3 - i, b"line %d" % i)
        log.flush()
    assert log.problem is not None
    assert "disk is full" in log.problem
    assert read_log(log.path).elapsed_s.size > 5  # what was saved stays readable
    disk.room = 1_000_000
    assert log.flush()
    assert log.problem is None
    kept = read_log(log.close())
    assert kept.raw == tuple(f"line {i}" for i in range(100))


def test_a_disk_full_to_the_end_leaves_what_was_saved(tmp_path: Path) -> None:
    log = PartLog(tmp_path / "a.csv", HEADER, write=FullDisk(400))
    for i in range(100):
        log.row(i * 0.1, 101.3, b"line %d" % i)
    log.flush()
    with pytest.raises(OutsideWorldFailed, match=r"disk is full.*a\.csv\.part"):
        log.close()
    left = left_over(tmp_path / "a.csv")
    assert left is not None
    assert left.rows > 5


@pytest.mark.parametrize("torn", ["1.500,101", '1.500,101.3,"101.3', "1", '1.5,101.3,"101.3","'])
def test_a_row_torn_by_a_power_cut_is_taken_off_and_the_rest_kept(tmp_path: Path, torn: str) -> None:
    log = PartLog(tmp_path / "a.csv", HEADER)
    log.row(0.5, 101.3, b"101.3")
    log.row(1.0, 101.2, b"101.2")
    log.flush()
    part = part_path(tmp_path / "a.csv")
    part.write_bytes(part.read_bytes() + torn.encode())
    assert read_log(part).reading.tolist() == [101.3, 101.2]
    closed = finish_left_over(part, keep_name_free=True)
    assert closed == tmp_path / "a-2.csv"
    assert read_log(closed).reading.tolist() == [101.3, 101.2]
    assert not part.exists()


def test_what_was_left_over_is_numbered_on_and_on(tmp_path: Path) -> None:
    (tmp_path / "a-2.csv").write_text("older")
    log = PartLog(tmp_path / "a.csv", HEADER)
    log.row(12.0, 101.3)
    log.flush()
    left = left_over(tmp_path / "a.csv")
    assert left is not None
    assert (left.rows, left.seconds) == (1, 12.0)
    assert finish_left_over(left.path, keep_name_free=True) == tmp_path / "a-3.csv"
    assert (tmp_path / "a-2.csv").read_text() == "older"


def test_nothing_left_over_is_none(tmp_path: Path) -> None:
    assert left_over(tmp_path / "a.csv") is None


def test_a_folder_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(OutsideWorldFailed, match="cannot be written to"):
        PartLog(tmp_path / "file" / "a.csv", HEADER)
