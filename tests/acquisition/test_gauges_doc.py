"""``docs/gauges.md`` keeps its word: its files are read, its line shapes are heard, its commands and options exist."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from acquisition.gaugefile import GaugeSpec, parse_gauge
from acquisition.lineforms import LineReader, meaning
from acquisition.simgauge import parse_make

TEXT = (Path(__file__).parents[2] / "docs" / "gauges.md").read_text(encoding="utf-8")
FILES = re.findall(r"```toml\n(.*?)```", TEXT, re.DOTALL)
ROWS = re.findall(r"^\| (`[^|]*|[^|`]*`[^|]*) \| (`[^|]*) \|$", TEXT, re.MULTILINE)
GAUGE = {"unit": "absolute hPa"}


def gauge(text: str) -> GaugeSpec:
    tables = tomllib.loads(text)
    tables.setdefault("gauge", GAUGE)
    return parse_gauge(tables)


@pytest.mark.parametrize("text", FILES)
def test_every_file_shown_is_read(text: str) -> None:
    gauge(text)


def test_the_files_are_all_there() -> None:
    kinds = [set(tomllib.loads(text)) for text in FILES]
    assert {"gauge", "port", "lines"} in kinds
    assert {"registers"} in kinds
    assert {"scale"} in kinds


@pytest.mark.parametrize(("sends", "lines"), [row for row in ROWS if "P" in row[0] or "," in row[0]])
def test_every_line_shape_shown_is_heard(sends: str, lines: str) -> None:
    sample = re.findall(r"`([^`]*)`", sends)[0]
    settings = [code for code in re.findall(r"`([^`]*)`", lines) if "=" in code]
    if 'decimal = ","' in lines:
        settings += ["field = 2", "fields = 3"]
    spec = gauge("[gauge]\nunit = \"absolute Pa\"\n[lines]\n" + "\n".join(settings))
    if "mbar" in sample:
        spec = gauge('[gauge]\nunit = "absolute mbar"\n[lines]\n' + "\n".join(settings))
    if spec.lines.ask is not None:
        return
    value = LineReader(spec.lines, spec.unit).read(sample.encode()).value
    assert value in (1013.25, 641.20, 64120.0, 101.30)


def test_the_rows_are_found() -> None:
    assert len(ROWS) >= 7


def test_a_broken_wire_of_the_current_loop_gives_no_reading() -> None:
    spec = gauge(next(text for text in FILES if "0.400" in text))
    mean = meaning(spec.unit, spec.scale)
    # 100 ohm: 12 mA is 1.2 V, half way of 0 to 160 kPa; an open loop is 0 V.
    assert mean(1.2).value == pytest.approx(80.0)
    assert mean(0.0).value is None
    assert LineReader(spec.lines, spec.unit, spec.scale).read(b"V=2.0000").value == pytest.approx(160.0)


def test_the_simulated_box_shown_can_be_made() -> None:
    (settings,) = re.findall(r'--simulate "([^"]*)"', TEXT)
    assert parse_make(settings).wood == "bare"
