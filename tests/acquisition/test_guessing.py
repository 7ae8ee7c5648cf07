"""Guesses of how a gauge speaks, for every line shape a gauge may send."""

from __future__ import annotations

import pytest

from acquisition.guessing import guess_lines
from acquisition.lineforms import LineReader
from acquisition.units import GaugeUnit


def checked(body: str) -> str:
    total = 0
    for byte in body.encode():
        total ^= byte
    return f"${body}*{total:02X}"


SHAPES = {
    "bare number": (["85.31", "85.32", "85.40", "86.00"], None, 85.31, 0.01),
    "number and unit": (["-85.31 kPa", "-85.3 kPa", "-85.11 kPa", "-85.02 kPa"], "kPa", -85.31, 0.01),
    "fixed width": (["+000.0853 bar", "+000.0854 bar"], "bar", 0.0853, 0.0001),
    "comma and unit": (["641,2 hPa", "641,3 hPa", "641,4 hPa"], "hPa", 641.2, 0.1),
    "key and unit": (["P=+01013.25 mbar T=+23.4", "P=+01013.24 mbar T=+23.4"], "mbar", 1013.25, 0.01),
    "words": (["Temperature: 23.41 C, Pressure: 641.20 hPa", "Temperature: 23.40 C, Pressure: 641.10 hPa"],
              "hPa", 641.20, 0.01),
    "one quantity a line": (["P:64120", "H:41", "T:23", "P:64121", "H:41", "T:23"], None, 64120.0, 1.0),
    "list": (["t,p,T", "12.345,641.20,23.41", "12.445,641.10,23.41", "12.545,641.00,23.41"], None, 641.20, 0.01),
    "semicolons": (["12,345;641,20;23,41", "12,445;641,10;23,41", "12,545;641,00;23,41"], None, 641.20, 0.01),
    "tabs": (["0.1\t9.260000e+02", "0.2\t9.250000e+02", "0.3\t9.250000e+02"], None, 926.0, None),
    "json": (['{"p":64120,"u":"Pa","t":1234}', '{"p":64121,"u":"Pa","t":1235}'], "Pa", 64120.0, 1.0),
    "checksum": ([checked("P,101.30"), checked("P,101.31"), checked("P,101.32")], None, 101.30, 0.01),
    "ending in NUL": (["\x00101.30", "\x00101.31", "\x00101.32"], None, 101.30, 0.01),
    "start and end of text": (["\x02101.30 kPa\x03", "\x02101.31 kPa\x03"], "kPa", 101.30, 0.01),
    "scientific": (["+8.53100000E+04", "+8.53200000E+04"], None, 85310.0, None),
}  # fmt: skip


@pytest.mark.parametrize("shape", SHAPES)
def test_a_shape_is_guessed_and_reads_its_own_lines(shape: str) -> None:
    lines, unit, first, step = SHAPES[shape]
    guess = guess_lines([line.encode() for line in lines])
    assert guess is not None
    assert guess.unit == unit
    reader = LineReader(guess.lines, GaugeUnit("absolute", unit or "Pa"))
    values = [v for line in lines if (v := reader.read(line.encode()).value) is not None]
    assert values[0] == first
    assert guess.resolution == step
    assert guess.words


def test_noise_is_no_shape() -> None:
    assert guess_lines([b"hello", b"world", b"\xff\xff\x00", b"ready."]) is None
    assert guess_lines([]) is None


def test_a_checksum_is_asked_for_from_then_on() -> None:
    guess = guess_lines([checked(f"P,101.3{i}").encode() for i in range(4)])
    assert guess is not None
    assert guess.lines.checksum == "xor"
    assert LineReader(guess.lines, GaugeUnit("absolute", "kPa")).read(b"$P,101.30*00").value is None


def test_fields_that_may_be_the_pressure_are_all_named() -> None:
    guess = guess_lines([b"1.0;641.2;23.4", b"2.0;641.1;23.4", b"3.0;640.0;23.5"])
    assert guess is not None
    assert guess.fields == (2, 3, 1)
