"""Keys written where nothing reads them are told; keys of one's own are not."""

from __future__ import annotations

from pathlib import Path

import pytest

from acquisition.boxfile import read_box
from acquisition.logfile import read_log
from acquisition.oddkeys import odd_box_keys, odd_header_keys


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('name = "A"\n[pump]\nspeed_L_s = 1\nvolume_L = 31\n', "'volume_L' stands below [pump], where nothing"),
        ('name = "A"\nvolume = 31\n', "'volume' is no key that is read; is it volume_L?"),
        ('name = "A"\n[pump]\nspeed_L_s = 1\nultimate = 2\n', "in [pump], 'ultimate' is no key that is read; is it"),
        ('name = "A"\n[ports]\nx_mm = 3\n', "'ports' is no key that is read; is it port?"),
    ],
)
def test_a_key_of_a_box_file_that_nothing_reads_is_told(tmp_path: Path, text: str, said: str) -> None:
    path = tmp_path / "box.toml"
    path.write_text(text)
    (sentence,) = odd_box_keys(read_box(path), path)
    assert sentence.startswith(f"{path}: ")
    assert said in sentence


def test_keys_of_ones_own_and_known_ones_are_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "box.toml"
    own = 'shelf = "left"\n[pump]\nspeed_L_s = 1\nbought = "used"\n[paint]\ncoats = 2\n'
    path.write_text('name = "A"\nvolume_L = 31\n' + own)
    assert odd_box_keys(read_box(path), path) == ()


def _log(folder: Path, *keys: str) -> Path:
    path = folder / "a.csv"
    head = "".join(f"# {key}\n" for key in ("boxhold log: 1", "gauge: absolute kPa", *keys))
    path.write_text(f"{head}elapsed_s,reading\n0,101\n1,100\n")
    return path


def test_a_header_line_that_nothing_reads_is_told(tmp_path: Path) -> None:
    path = _log(tmp_path, "volume: 20", "barometer: 100")
    first, second = odd_header_keys(read_log(path).header, path)
    assert "'volume' is no key that is read; is it volume_L?" in first
    assert "'barometer' is no key that is read; is it barometer_kPa?" in second


def test_header_lines_of_ones_own_are_left_alone(tmp_path: Path) -> None:
    path = _log(tmp_path, "sealed: line", "seed: 12", "simulated: yes", "by_hand: yes", "weather: rain")
    assert odd_header_keys(read_log(path).header, path) == ()
