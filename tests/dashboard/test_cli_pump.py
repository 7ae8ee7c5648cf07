"""``boxhold pump``: reads the pump off a sample log and writes it only after a yes."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from acquisition.boxfile import read_box
from dashboard.cli import run

SAMPLES = Path(__file__).parents[2] / "sample_logs"
LOG = "20260121T091500-vents-taped.csv"


@pytest.fixture
def box_folder(tmp_path: Path) -> Path:
    folder = tmp_path / "B-03"
    (folder / "logs").mkdir(parents=True)
    shutil.copy(SAMPLES / "B-03" / "box.toml", folder)
    shutil.copy(SAMPLES / "B-03" / "logs" / LOG, folder / "logs")
    return folder


def test_nothing_is_written_without_a_yes(box_folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = (box_folder / "box.toml").read_bytes()
    assert run(["pump", str(box_folder / "logs" / LOG)]) == 0
    told = capsys.readouterr()
    assert "L/s" in told.out
    assert "--yes" in told.out
    assert (box_folder / "box.toml").read_bytes() == before


@pytest.mark.parametrize("way", ["beside", "box", "archive"])
def test_with_a_yes_the_planted_pump_goes_into_the_box_file(box_folder: Path, way: str) -> None:
    """The samples' pump: 1.4 L/s down to 8 kPa; all else in the file stays."""
    options = {
        "beside": [],
        "box": ["--box", str(box_folder / "box.toml")],
        "archive": ["--archive", str(box_folder.parent)],
    }
    before = read_box(box_folder / "box.toml")
    assert run(["pump", str(box_folder / "logs" / LOG), *options[way], "--yes"]) == 0
    after = read_box(box_folder / "box.toml")
    assert after.pump is not None
    assert after.pump.speed_L_s == pytest.approx(1.4, rel=0.1)
    assert after.pump.ultimate_kPa == pytest.approx(8.0, rel=0.1)
    assert len(after.pump.points) >= 2
    assert (after.inside_mm, after.volume_L, after.rim, after.vents) == (
        before.inside_mm, before.volume_L, before.rim, before.vents,
    )  # fmt: skip


def test_a_log_without_an_answer_says_why(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["pump", str(SAMPLES / "B-07" / "logs" / "20260504T090000-vents-taped.csv")]) == 0
    assert "no pump curve" in capsys.readouterr().out


def test_a_missing_log_is_one_sentence(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["pump", "nowhere.csv"]) == 3
    assert "nowhere.csv" in capsys.readouterr().err
