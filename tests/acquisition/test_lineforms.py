"""Readings out of lines: the shapes that gauges send, and the lines that must give no reading.

The shapes are the plain ones of streaming gauges, SCPI-99 (9.9E37 over range, 9.91E37 not a number; volume 1,
section 7.2.1), NMEA 0183 style checksums and JSON lines.
"""

from __future__ import annotations

import random

import pytest

from acquisition.errors import WrongUsage
from acquisition.lineforms import LineReader, LineSpec, Scale, checksum_holds, same_unit
from acquisition.units import GaugeUnit, parse_gauge_unit

KPA = GaugeUnit("absolute", "kPa")


def read(raw: bytes, unit: str = "absolute kPa", **spec: object) -> float | None:
    return LineReader(LineSpec(**spec), parse_gauge_unit(unit)).read(raw).value  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("raw", "unit", "reading"),
    [
        (b"85.31", "absolute kPa", 85.31),
        (b"-85.31 kPa", "gauge kPa", -85.31),
        (b"+000.0853 bar", "absolute bar", 0.0853),
        (b"10.25 mmHg", "vacuum mmHg", 10.25),
        (b"10.25mmHg", "vacuum mmHg", 10.25),
        (b"  101.30 kPa  ", "absolute kPa", 101.30),
        (b"101.30 KPA", "absolute kPa", 101.30),
        (b"+8.53100000E+04", "absolute Pa", 85310.0),
        (b"9.260000e+02 ", "absolute mbar", 926.0),
        (b"- 85.3", "gauge kPa", -85.3),
        (b"14.69 psia", "absolute psi", 14.69),
        (b"-12.0 psig", "gauge psi", -12.0),
        (b"101.3 kPa abs", "absolute kPa", 101.3),
        (b"101.3 kPa (abs)", "absolute kPa", 101.3),
        (b"101.3\tkPa", "absolute kPa", 101.3),
        (b"27.5 in Hg", "vacuum inHg", 27.5),
    ],
)  # fmt: skip
def test_a_number_alone_or_with_the_gauges_unit_is_read(raw: bytes, unit: str, reading: float) -> None:
    assert read(raw, unit) == reading


@pytest.mark.parametrize(
    "raw",
    [
        b"",
        b"101.3 kPa\x0c", b"101.3\x1f", b"101.3 kPa)", b"101.3 (kPa", b"101.3 kPa (abs", b"\x1c101.3", b"101.3 kPa\x85",
        b"\x0001.3", b"101.\x00", b"\x0301.3", b"101.3 kPa\xa0",
        b"kPa", b"nan", b"NaN", b"inf", b"-inf", b"Infinity", b"9.9E37", b"-9.9E37", b"9.91E37", b"+9.90000000E+37",
        b"1e999", b"---", b"OL", b"OFF", b"ERROR", b"UNDER", b"OVER", b"0L", b"101.3 psi", b"1013 mbar", b"29.9 inHg",
        b"101.3 kPa abs kPa", b"101.3 kPa 23.4", b"101.3,23.4", b"101.3 23.4", b"101.3;23.4", b"85,31", b"151.203.000",
        b"101.30101.31", b"101.3 kPa101.3 kPa", b"101325101325", b"10\x001.3", b"\xff\xff101.3", b"101.3\xff", b"1O1.3",
        b"0x65",
        b"1_013", b"101.3e", b"e5", b".", b"+", b"--5", b"+-5", b"14.69 psig", b"101.3 kPa gauge", b"101.3 bar",
        b"101.3 kPa T=23", b"0,\"No error\"", b"\xb2\xb3", b"101.3\xa0", "１０１".encode(), b"P=101.3", b"101.3 Hg",
    ],
)  # fmt: skip
def test_anything_else_gives_no_reading_and_says_why(raw: bytes) -> None:
    understood = LineReader(LineSpec(), KPA).read(raw)
    assert understood.value is None
    assert understood.why


@pytest.mark.parametrize("raw", [b"14.69 psi", b"101.3 kPa", b"29.9"])
def test_the_unit_changed_on_the_display_half_way_gives_no_reading(raw: bytes) -> None:
    assert read(raw, "absolute mbar", pattern="{reading} {unit}") is None


KEYED = "Pressure: {reading} hPa"


@pytest.mark.parametrize(
    ("raw", "unit", "spec", "reading"),
    [
        (b"P=+01013.25 mbar T=+23.4", "absolute mbar", {"pattern": "P={reading} {unit}"}, 1013.25),
        (b"Temperature: 23.41 C, Pressure: 641.20 hPa", "absolute hPa", {"pattern": KEYED}, 641.20),
        (b"Temp\xe9rature: 23.41 \xb0C, Pressure: 641.20 hPa", "absolute hPa", {"pattern": KEYED}, 641.20),
        (b"P:64120", "absolute Pa", {"pattern": "^P:{reading}$"}, 64120.0),
        (b"H:41", "absolute Pa", {"pattern": "^P:{reading}$"}, None),
        (b"T:23", "absolute Pa", {"pattern": "^P:{reading}$"}, None),
        (b"12.345,641.20,23.41", "absolute hPa", {"separator": ",", "field": 2, "fields": 3}, 641.20),
        (b"t,p,T", "absolute hPa", {"separator": ",", "field": 2, "fields": 3}, None),
        (b"1.20,23.41", "absolute hPa", {"separator": ",", "field": 2, "fields": 3}, None),
        (b"12.345,,23.41", "absolute hPa", {"separator": ",", "field": 2, "fields": 3}, None),
        (b"12.345,641.20,23.41,", "absolute hPa", {"separator": ",", "field": 2, "fields": 4}, 641.20),
        (b"12,345;641,20;23,41", "absolute hPa", {"separator": ";", "field": 2, "fields": 3, "decimal": ","}, 641.20),
        (b"641.20", "absolute hPa", {"decimal": ","}, None),
        (b"\x00641.20", "absolute hPa", {"padding": "\0"}, 641.20),
        (b"\x02641.20 hPa\x03", "absolute hPa", {"padding": "\x02\x03"}, 641.20),
        (b"\x0264\x001.20 hPa\x03", "absolute hPa", {"padding": "\0\x02\x03"}, None),
        (b"641,20 hPa", "absolute hPa", {"decimal": ","}, 641.20),
        (b"0.1 \t 9.260000e+02 ", "absolute mbar", {"separator": "\t", "field": 2, "fields": 2}, 926.0),
        (b"Pump test, chamber 3", "absolute mbar", {"separator": "\t", "field": 2, "fields": 2}, None),
        (b"1407794737\t2.5", "absolute mbar", {"separator": "\t", "field": 2, "fields": 2, "no_reading": (0.0,)}, 2.5),
        (b"1407794737\t0", "absolute mbar", {"separator": "\t", "field": 2, "fields": 2, "no_reading": (0.0,)}, None),
        (b'{"p":64120,"u":"Pa","t":1234}', "absolute Pa", {"json": "p", "json_unit": "u"}, 64120.0),
        (b'{"p":64120,"u":"hPa","t":1234}', "absolute Pa", {"json": "p", "json_unit": "u"}, None),
        (b'{"p":64120,"u":"P', "absolute Pa", {"json": "p"}, None),
        (b'{"p":"64120"}', "absolute Pa", {"json": "p"}, None),
        (b'{"p":NaN}', "absolute Pa", {"json": "p"}, None),
        (b'{"p":true}', "absolute Pa", {"json": "p"}, None),
        (b"[64120]", "absolute Pa", {"json": "p"}, None),
        (b'{"p":1' + b"0" * 400 + b"}", "absolute Pa", {"json": "p"}, None),
        (b"[" * 400, "absolute Pa", {"json": "p"}, None),
        (b"853.1", "absolute mbar", {"ask": "?P"}, 853.1),
        (b"?P853.1", "absolute mbar", {"ask": "?P"}, 853.1),
        (b"?P", "absolute mbar", {"ask": "?P"}, None),
        (b"MEAS:PRES?", "absolute Pa", {"ask": "MEAS:PRES?"}, None),
        (b"+8.53100000E+04", "absolute Pa", {"ask": "MEAS:PRES?"}, 85310.0),
    ],
)  # fmt: skip
def test_the_shapes_of_lines(raw: bytes, unit: str, spec: dict[str, object], reading: float | None) -> None:
    assert read(raw, unit, **spec) == reading


@pytest.mark.parametrize(
    "raw",
    [b"P=1013.2 mbarP=1013.1 mbar", b"P=1013.", b"013.25 mbar", b"P=10\x0013.25 mbar", b"P=1013.25\xff mbar",
     b"P= mbar", b"P=OL mbar"],
)  # fmt: skip
def test_a_pattern_that_does_not_hold_whole_gives_no_reading(raw: bytes) -> None:
    assert read(raw, "absolute mbar", pattern="P={reading} mbar") is None


def test_a_number_longer_than_the_pattern_takes_is_not_read() -> None:
    spec = LineSpec(pattern=r"(?P<reading>[0-9]{3}\.[0-9])")
    reader = LineReader(spec, KPA)
    assert reader.read(b"p 101.3 kPa").value == 101.3
    assert reader.read(b"p 101.35 kPa").value is None
    assert reader.read(b"p 2101.3 kPa").value is None


@pytest.mark.parametrize(
    "sentence",
    [  # widely printed examples of NMEA 0183 sentences, with the sums printed beside them
        b"$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47",
        b"$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A",
        b"$GPGLL,4916.45,N,12311.12,W,225444,A,*1D",
    ],
)
def test_published_checksums_hold_and_a_changed_byte_breaks_them(sentence: bytes) -> None:
    assert checksum_holds(sentence, "xor")
    for i in range(1, len(sentence) - 3):
        assert not checksum_holds(sentence[:i] + bytes([sentence[i] ^ 1]) + sentence[i + 1 :], "xor")


def test_a_checked_line_is_read_only_with_its_checksum() -> None:
    # XOR of "P,101.30" by hand: 50^2C^31^30^31^2E^33^30 = 50^2C=7C, ^31=4D, ^30=7D, ^31=4C, ^2E=62, ^33=51, ^30=61
    spec = LineSpec(pattern="P,{reading}", checksum="xor")
    reader = LineReader(spec, KPA)
    assert reader.read(b"$P,101.30*61").value == 101.30
    for wrong in (b"$P,101.30*62", b"$P,101.30", b"$P,101.31*61", b"P,101.30*6", b"$P,01.30*61"):
        assert reader.read(wrong).value is None


def test_units_are_told_apart_with_their_reference() -> None:
    assert same_unit("psia", GaugeUnit("absolute", "psi"))
    assert not same_unit("psia", GaugeUnit("gauge", "psi"))
    assert same_unit("kPa (abs)", KPA)
    assert same_unit("barg", GaugeUnit("gauge", "bar"))
    assert not same_unit("hPa", GaugeUnit("absolute", "mbar"))


def test_a_scale_joins_its_points_with_straight_lines() -> None:
    scale = Scale(((4.0, 0.0), (20.0, 101.6)), valid=(3.6, 21.0))
    assert scale.reading(12.0) == pytest.approx(50.8)
    assert scale.reading(4.0) == 0.0
    assert scale.reading(20.5) == pytest.approx(104.775)
    assert scale.reading(0.0) is None  # a broken wire
    bent = Scale(((0.0, 0.0), (1.0, 10.0), (3.0, 100.0)))
    assert [bent.reading(v) for v in (0.5, 1.0, 2.0)] == [5.0, 10.0, 55.0]


def test_a_scaled_line_with_a_pressure_unit_is_not_read() -> None:
    reader = LineReader(LineSpec(), KPA, Scale(((0.5, 0.0), (4.5, 100.0))))
    assert reader.read(b"2.5").value == pytest.approx(50.0)
    assert reader.read(b"2.5 kPa").value is None


@pytest.mark.parametrize("points", [((1.0, 2.0),), ((1.0, 2.0), (1.0, 3.0)), ()])
def test_a_scale_needs_two_different_points(points: tuple[tuple[float, float], ...]) -> None:
    with pytest.raises(WrongUsage, match="two or more points"):
        Scale(points)


@pytest.mark.parametrize("pattern", ["P=(", "P=[0-9]+", "(?P<a>1)(?P<b>2)"])
def test_a_pattern_that_cannot_serve_is_told(pattern: str) -> None:
    with pytest.raises(WrongUsage, match=r"pattern '"):
        LineReader(LineSpec(pattern=pattern), KPA)


@pytest.mark.parametrize(
    "spec",
    [LineSpec(), LineSpec(pattern="P={reading} {unit}"), LineSpec(separator=",", field=2, fields=3),
     LineSpec(json="p"), LineSpec(checksum="xor"), LineSpec(decimal=",")],
    ids=["plain", "pattern", "list", "json", "checksum", "comma"],
)  # fmt: skip
def test_random_bytes_never_crash_a_reader(spec: LineSpec) -> None:
    draw = random.Random(4)
    reader = LineReader(spec, KPA)
    for _ in range(3000):
        raw = bytes(draw.choice(b'0123456789.,+-eE*$P= kPa{}[]":\x00\xff') for _ in range(draw.randrange(30)))
        understood = reader.read(raw)
        assert understood.value is None or abs(understood.value) <= 4000.0  # 40 bar in kPa
