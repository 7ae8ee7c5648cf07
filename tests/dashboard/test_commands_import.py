"""``boxhold import`` as a person calls it: what was guessed is shown, nothing is written before a yes."""

from __future__ import annotations

import os
import pty
import subprocess
import sys
from pathlib import Path

import pytest

from acquisition.logfile import read_log
from dashboard.cli import run

COMMAND = [sys.executable, "-c", "import sys; from dashboard.cli import main; main()"]
ROWS = "".join(f"{5 * i};{101.3 - 0.5 * i:.1f};20,5\n" for i in range(20)).replace(".", ",")
COMMAS = "Zeit;Druck [kPa];T [C]\n" + ROWS


@pytest.fixture
def commas(tmp_path: Path) -> Path:
    """Semicolons and decimal commas, a unit without its reference."""
    path = tmp_path / "messung.csv"
    path.write_text(COMMAS, encoding="utf-8")
    return path


def test_without_a_yes_everything_is_shown_and_nothing_written(commas: Path, capsys: pytest.CaptureFixture[str]):
    assert run(["import", str(commas), "--unit", "absolute kPa"]) == 2
    told = capsys.readouterr()
    assert "pressure column: Druck [kPa]" in told.out
    assert "decimal: ," in told.out
    assert "5.000 s  100.8" in told.out
    assert "confirm it with --yes" in told.err
    assert os.listdir(commas.parent) == ["messung.csv"]


def test_a_reference_is_never_assumed(commas: Path, capsys: pytest.CaptureFixture[str]):
    assert run(["import", str(commas), "--yes"]) == 2
    assert "say what the pressures are with --unit" in capsys.readouterr().err
    assert os.listdir(commas.parent) == ["messung.csv"]


def test_a_unit_that_the_file_denies_is_refused(commas: Path, capsys: pytest.CaptureFixture[str]):
    assert run(["import", str(commas), "--unit", "absolute mbar", "--yes"]) == 2
    assert "The file names kPa, not mbar" in capsys.readouterr().err


def test_after_a_yes_the_log_stands_beside_the_untouched_original(commas: Path):
    assert run(["import", str(commas), "--unit", "absolute kPa", "--set", "box=B-07", "--yes"]) == 0
    log = read_log(commas.parent / "messung.boxhold.csv")
    assert log.elapsed_s[:3].tolist() == [0.0, 5.0, 10.0]
    assert log.reading[:3].tolist() == [101.3, 100.8, 100.3]
    assert (str(log.header.gauge), log.header.box) == ("absolute kPa", "B-07")
    assert commas.read_text(encoding="utf-8") == COMMAS
    # A second time nothing is overwritten.
    assert run(["import", str(commas), "--unit", "absolute kPa", "--yes"]) == 2


def test_a_column_named_by_the_call_is_the_one_taken(tmp_path: Path):
    path, out = tmp_path / "logger.tsv", tmp_path / "log.csv"
    rows = zip([0, 2, 4, 6], [1.0, 1.1, 1.0, 1.2], [1013, 900, 800, 700], strict=True)
    text = "t (s)\tch1\tch2 mbar\n" + "".join("\t".join(map(str, row)) + "\n" for row in rows)
    path.write_text(text, encoding="utf-8")
    args = ["import", str(path), "--pressure", "ch2 mbar", "--unit", "absolute mbar", "--out", str(out), "--yes"]
    assert run(args) == 0
    assert read_log(out).reading.tolist() == [1013.0, 900.0, 800.0, 700.0]


def test_a_workbook_is_sent_back_for_its_table(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    path = tmp_path / "book.xlsx"
    path.write_bytes(b"PK\x03\x04\0\0\x08\0")
    assert run(["import", str(path), "--unit", "absolute kPa", "--yes"]) == 3
    assert "save the table as CSV" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (["--pressure", "nothing"], "There is no column 'nothing'"),
        (["--set", "box"], "--set takes KEY=VALUE"),
        (["--unit", "kPa"], "absolute, vacuum or gauge"),
    ],
)
def test_what_does_not_fit_is_one_sentence(
    commas: Path, capsys: pytest.CaptureFixture[str], args: list[str], words: str
):
    assert run(["import", str(commas), *args]) == 2
    told = capsys.readouterr().err
    assert words in told
    assert len(told.strip().splitlines()) == 1


@pytest.mark.pty
def test_at_a_terminal_the_reference_and_the_yes_are_asked_for(commas: Path):
    far, near = pty.openpty()
    process = subprocess.Popen([*COMMAND, "import", str(commas)], stdin=near, stdout=near, stderr=near)
    os.close(near)
    heard = b""
    for wanted, answer in ((b"absolute", b"absolute\n"), (b"Write ", b"y\n")):
        while wanted not in heard.rsplit(b"\n", 3)[-1]:
            heard += os.read(far, 4096)
        os.write(far, answer)
    assert process.wait(timeout=30) == 0
    os.close(far)
    assert str(read_log(commas.parent / "messung.boxhold.csv").header.gauge) == "absolute kPa"


def test_a_log_is_not_converted_again(commas: Path, capsys: pytest.CaptureFixture[str]):
    assert run(["import", str(commas), "--unit", "absolute kPa", "--set", "volume_L=20", "--yes"]) == 0
    assert run(["import", str(commas.parent / "messung.boxhold.csv"), "--unit", "absolute kPa", "--yes"]) == 2
    assert "is a log already" in capsys.readouterr().err
    assert sorted(os.listdir(commas.parent)) == ["messung.boxhold.csv", "messung.csv"]


def test_a_setup_that_is_none_is_refused_before_anything_is_written(commas: Path, capsys: pytest.CaptureFixture[str]):
    assert run(["import", str(commas), "--unit", "absolute kPa", "--set", "setup=vents_taped", "--yes"]) == 2
    assert "'vents_taped' is no setup; take one of line-only" in capsys.readouterr().err
    assert os.listdir(commas.parent) == ["messung.csv"]


def test_a_key_that_nothing_reads_is_told_when_the_log_is_written(commas: Path, capsys: pytest.CaptureFixture[str]):
    assert run(["import", str(commas), "--unit", "absolute kPa", "--set", "barometer=100.9", "--yes"]) == 0
    assert "'barometer' is no key that is read; is it barometer_kPa?" in capsys.readouterr().err
