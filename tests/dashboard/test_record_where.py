"""Where ``record`` files a log: in an archive that is there, under the box that is meant; no empty folder is left."""

from __future__ import annotations

import io
import os
from pathlib import Path

import pytest

from dashboard.cli import run
from tests.dashboard.test_guide_terminal import terminal

GAUGE = ("record", "--unit", "absolute kPa", "--setup", "vents-taped")
HEARD = ("--port", "simulated:interval_s=0.05", "--for", "0.2")


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    for name in ("B-01", "B-02", "B-03", "N-01"):
        (tmp_path / "shop" / name).mkdir(parents=True)
        (tmp_path / "shop" / name / "box.toml").write_text(f'name = "{name}"\n', encoding="utf-8")
    return tmp_path / "shop"


@pytest.mark.parametrize("more", [(), ("--quiet",)])
def test_a_box_that_the_archive_lacks_is_told_where_nobody_can_be_asked(
    shop: Path, capsys: pytest.CaptureFixture[str], more: tuple[str, ...]
) -> None:
    assert run([*GAUGE, *HEARD, "--box-id", "N-02", "--archive", str(shop), *more]) == 0
    told = capsys.readouterr().err
    assert "There is no box N-02" in told
    assert "N-01" in told  # the nearest, however many stand before it
    assert f"boxhold new-box N-02 --archive {shop}" in told
    assert "is not described" not in told  # not said twice
    assert len(list((shop / "N-02" / "logs").glob("*.csv"))) == 1


def test_the_first_box_of_an_archive_is_no_slip(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run([*GAUGE, *HEARD, "--box-id", "N-02", "--archive", str(tmp_path), "--quiet"]) == 0
    assert capsys.readouterr().err == ""


@pytest.mark.pty
@pytest.mark.parametrize("more", [("--port", "simulated:"), ("--manual",)])
def test_on_a_terminal_a_box_that_the_archive_lacks_is_asked_about(shop: Path, more: tuple[str, ...]) -> None:
    before = sorted(os.listdir(shop))
    with terminal(*GAUGE[1:], *more, "--box-id", "N-02", "--archive", str(shop)) as person:
        person.read_until("Record it as a new one? [y/N]")
        person.type(b"\n")
        person.read_until("boxhold new-box N-02")
        assert person.leave() == 2
    assert sorted(os.listdir(shop)) == before


def test_an_archive_misspelt_is_not_made(shop: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run([*GAUGE, *HEARD, "--box-id", "B-01", "--archive", str(shop.with_name("shpo"))]) == 3
    told = capsys.readouterr().err
    assert "no such archive folder (is it shop?)" in told
    assert told.count("\n") == 1
    assert os.listdir(shop.parent) == ["shop"]


@pytest.mark.parametrize("known", [True, False])
def test_a_recording_that_could_not_begin_leaves_no_folder(shop: Path, known: bool) -> None:
    before = sorted(os.walk(shop))
    name = "B-01" if known else "B-99"
    assert run([*GAUGE, "--port", "/dev/none", "--box-id", name, "--archive", str(shop), "--quiet"]) == 4
    assert sorted(os.walk(shop)) == before


def test_a_log_by_hand_without_a_reading_leaves_no_folder(shop: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = sorted(os.walk(shop))
    monkeypatch.setattr("sys.stdin", io.StringIO())
    assert run([*GAUGE, "--manual", "--box-id", "B-99", "--archive", str(shop)]) == 3
    assert sorted(os.walk(shop)) == before
