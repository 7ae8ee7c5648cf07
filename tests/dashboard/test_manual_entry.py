"""``record --manual`` line by line, on a clock of the test's own."""

from __future__ import annotations

import io
from collections.abc import Iterator
from pathlib import Path

import pytest

from acquisition.logfile import read_log
from acquisition.manual import HandLog
from acquisition.records import LogHeader
from acquisition.units import GaugeUnit
from dashboard.cli import run
from dashboard.manual_entry import keep

HEADER = LogHeader(GaugeUnit("absolute", "kPa"))


@pytest.fixture
def log(tmp_path: Path) -> Iterator[HandLog]:
    yield (one := HandLog(tmp_path / "hand.csv", HEADER))
    if not one.final.exists():
        one.close()


def typed(log: HandLog, lines: list[tuple[float, str]]) -> list[str]:
    """Type lines, each at its time (s), and return what was answered."""
    times, told = iter([t_s for t_s, _ in lines]), list[str]()
    keep(log, [text for _, text in lines], lambda: next(times), told.append, told.append)
    return told


def test_readings_in_one_breath_are_all_kept(log: HandLog) -> None:
    typed(log, [(0.0, "101.3"), (3.2, "90"), (3.2, "89"), (3.2, "88"), (3.7, "87")])
    kept = read_log(log.close())
    assert kept.reading.tolist() == [101.3, 90.0, 89.0, 88.0, 87.0]
    assert kept.elapsed_s.tolist() == [0.0, 3.2, 3.21, 3.22, 3.7]


def test_an_impossible_reading_is_asked_for_again_and_nothing_before_it_is_lost(log: HandLog) -> None:
    told = typed(log, [(0.0, "101.3"), (4.0, "200000"), (5.0, "-20"), (6.0, "20")])
    assert [line.startswith(("200000 cannot be", "-20 cannot be")) for line in told] == [False, True, True, False]
    assert read_log(log.close()).reading.tolist() == [101.3, 20.0]


def test_a_reading_behind_times_of_a_stopwatch_is_not_given_a_time_made_up(log: HandLog) -> None:
    told = typed(log, [(0.0, "shut"), (5.0, "20 1:30"), (6.0, "21"), (7.0, "21 2:00")])
    assert "type it with its later time, such as '21 1:30'" in told[2]
    assert read_log(log.close()).elapsed_s.tolist() == [90.0, 120.0]


def test_a_test_typed_afterwards_may_begin_its_hold_at_nought(log: HandLog) -> None:
    typed(log, [(0.0, "101"), (0.0, "pump"), (0.1, "20 1:00"), (0.1, "shut"), (0.1, "21 0:00"), (0.1, "22 0:20")])
    kept = read_log(log.close())
    assert kept.reading.tolist() == [101.0, 20.0, 21.0, 22.0]
    assert kept.elapsed_s.tolist() == pytest.approx([0.0, 60.0, 60.0, 80.0], abs=0.05)


@pytest.mark.parametrize(
    ("entries", "told"),
    [
        ("101\npump\n20\nshut\n" + "".join(f"2{i} 0:{i}5\n" for i in range(6)), "6 readings of the hold; 10 make"),
        ("101\npump\n20\nshut\n" + "".join(f"{20 + i} {15 * i}\n" for i in range(1, 11)), ""),
        ("101\npump\n60 1:00\n60 1:30\n60 2:00\n", ""),  # a pump that stalls
    ],
)
def test_few_readings_of_the_hold_are_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], entries: str, told: str
) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO(entries))
    assert run(["record", "--manual", "--unit", "absolute kPa", "--out", str(tmp_path / "a.csv")]) == 0
    said = capsys.readouterr().err
    assert told in said
    assert ("make a sound test" in said) == bool(told)


def test_quiet_says_only_what_goes_wrong(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    asked = ["record", "--manual", "--unit", "absolute kPa", "--quiet", "--out"]
    right = "101\npump\n20\nshut\n" + "".join(f"{20 + i} {15 * i}\n" for i in range(1, 11)) + "undo\n31 2:30\n"
    monkeypatch.setattr("sys.stdin", io.StringIO(right))
    assert run([*asked, str(tmp_path / "a.csv")]) == 0
    assert capsys.readouterr() == ("", "")
    assert read_log(tmp_path / "a.csv").reading[-1] == 31.0
    monkeypatch.setattr("sys.stdin", io.StringIO(right.replace("pump", "pumping")))
    assert run([*asked, str(tmp_path / "b.csv")]) == 0
    out, err = capsys.readouterr()
    assert out == ""
    assert err == "'pumping' is neither a reading nor a word known here; type ? for help.\n"
