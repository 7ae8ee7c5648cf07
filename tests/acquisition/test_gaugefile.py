"""``gauge.toml``: what it may say, what it must say, and that what is written reads back the same."""

from __future__ import annotations

from pathlib import Path

import pytest

from acquisition.errors import UnreadableInput
from acquisition.gaugefile import GaugeSpec, PortSettings, format_gauge, read_gauge_file
from acquisition.lineforms import LineSpec, Scale
from acquisition.registers import RegisterSpec
from acquisition.units import GaugeUnit

KPA = GaugeUnit("absolute", "kPa")


def write(folder: Path, text: str) -> Path:
    path = folder / "gauge.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_whole_file_is_read(tmp_path: Path) -> None:
    spec = read_gauge_file(write(tmp_path, """
        [gauge]
        unit = "vacuum inHg"
        resolution = 0.1
        accuracy = 0.25
        [port]
        baud = 19200
        parity = "even"
        stop_bits = 1
        data_bits = 7
        flow = "none"
        [lines]
        pattern = "P={reading} {unit}"
        ask = "?P"
        ask_ending = "\\r"
        every_s = 0.5
        checksum = "xor"
        no_reading = [0, 9999]
        [scale]
        points = [[4.0, 0.0], [20.0, 29.92]]
        valid = [3.6, 21.0]
    """))  # fmt: skip
    assert spec.unit == GaugeUnit("vacuum", "inHg")
    assert (spec.resolution, spec.accuracy) == (0.1, 0.25)
    assert spec.port == PortSettings(19200, "even", 1, 7)
    assert spec.lines.ask == "?P"
    assert spec.lines.no_reading == (0.0, 9999.0)
    assert spec.scale == Scale(((4.0, 0.0), (20.0, 29.92)), (3.6, 21.0))


def test_the_shortest_file_is_a_unit(tmp_path: Path) -> None:
    spec = read_gauge_file(write(tmp_path, '[gauge]\nunit = "absolute kPa"\n'))
    assert spec == GaugeSpec(KPA)
    assert spec.port == PortSettings(9600, "none", 1, 8, "none")


@pytest.mark.parametrize(
    "spec",
    [
        GaugeSpec(KPA, "digital gauge, \"new\"", 0.01, 0.25),
        GaugeSpec(KPA, port=PortSettings(115200, "odd", 2, 7, "rts-cts")),
        GaugeSpec(KPA, lines=LineSpec(pattern=r"^P\s*=\s*{reading}\x20'hPa'$", decimal=",", ask="?\r", every_s=1.5)),
        GaugeSpec(KPA, lines=LineSpec(padding="\x00\x02\x03")),
        GaugeSpec(KPA, lines=LineSpec(separator="\t", field=2, fields=3, no_reading=(0.0,))),
        GaugeSpec(KPA, lines=LineSpec(json="p", json_unit="u"), scale=Scale(((0.0, 0.5), (1023.0, 100.25)))),
        GaugeSpec(KPA, registers=RegisterSpec(23, 7, 4, 1, "float32", "CD AB")),
        GaugeSpec(KPA, registers=RegisterSpec(0, decimals_register=2, unit_register=3, unit_codes={0: "kPa", 4: "psi"},
                                              no_reading=(0x7FFF,))),
    ],
)  # fmt: skip
def test_what_is_written_reads_back_the_same(spec: GaugeSpec, tmp_path: Path) -> None:
    assert read_gauge_file(write(tmp_path, format_gauge(spec))) == spec


UNIT = '[gauge]\nunit = "absolute kPa"\n'


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "needs unit"),
        ("[gauge]\nunit = 'kPa'\n", "absolute, vacuum or gauge"),
        ("[gauge]\nunit = 'absolute furlong'\n", "no pressure unit"),
        ("[gauge\n", "gauge.toml: "),
        (UNIT + "resolution = 0\n", "resolution is a number above 0"),
        (UNIT + "resolution = true\n", "resolution is a number above 0"),
        (UNIT + "colour = 'red'\n", "has no 'colour'"),
        (UNIT + "[port]\nbaud = 'fast'\n", "baud = 'fast' does not fit"),
        (UNIT + "[port]\nbaud = 3\n", "no speed of a serial port"),
        (UNIT + "[port]\nparity = 'mark'\n", "parity is none, even or odd"),
        (UNIT + "[port]\nstop_bits = 3\n", "stop_bits is 1 or 2"),
        (UNIT + "[lines]\npattern = 'P='\n", "no place for the number"),
        (UNIT + "[lines]\npattern = '('\n", "does not read"),
        (UNIT + "[lines]\nfield = 2\n", "needs separator and fields"),
        (UNIT + "[lines]\njson = 'p'\npattern = '{reading}'\n", "one of pattern, field and json"),
        (UNIT + "[lines]\nevery_s = 0\n", "more than 0"),
        (UNIT + "[lines]\nchecksum = 'crc'\n", "checksum"),
        (UNIT + "[lines]\nno_reading = 5\n", "takes a list"),
        (UNIT + "[lines]\n[registers]\nregister = 1\n", "not both"),
        (UNIT + "[registers]\naddress = 1\n", "needs register"),
        (UNIT + "[registers]\nregister = 1\naddress = 300\n", "from 1 to 247"),
        (UNIT + "[scale]\npoints = [[1, 2]]\n", "two or more points"),
        (UNIT + "[scale]\npoints = [[1, 2], [3]]\n", "pairs of numbers"),
        (UNIT + "[wires]\n", "has no 'wires'"),
        ("gauge = 3\n", "must be a table"),
    ],
)
def test_what_does_not_fit_is_told_in_one_sentence(text: str, words: str, tmp_path: Path) -> None:
    with pytest.raises(UnreadableInput) as caught:
        read_gauge_file(write(tmp_path, text))
    message = str(caught.value)
    assert words in message
    assert "\n" not in message
    assert "gauge.toml" in message


def test_a_missing_file_says_how_to_get_one(tmp_path: Path) -> None:
    with pytest.raises(UnreadableInput, match="boxhold gauges"):
        read_gauge_file(tmp_path / "none.toml")
