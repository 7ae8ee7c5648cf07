"""A log as a file: the exact format, and that everything in it comes back."""

from __future__ import annotations

import contextlib
import math
from dataclasses import fields, replace
from datetime import datetime, timedelta, timezone
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquisition.errors import UnreadableInput, WrongUsage
from acquisition.logfile import (
    escape_raw,
    format_head,
    format_row,
    log_text,
    read_log,
    read_log_bytes,
    unescape_raw,
    write_log,
)
from acquisition.records import Log, LogHeader, Uncertain
from acquisition.setups import PATHS
from acquisition.units import PA_PER, GaugeUnit

# The format as the design page writes it, without its remarks.
EXAMPLE = """\
# boxhold log: 1
# box: B-07
# setup: vents-taped
# sealed: port-flange
# started: 2026-05-03T14:02:11+02:00
# gauge: absolute kPa
# resolution: 0.1
# accuracy: 0.25
# barometer_kPa: 101.1
# room_C: 20.5
# volume_L: 31.4 +- 0.9
elapsed_s,reading,raw
0.000,101.1,"101.10 kPa"
"""


def same(one: Log, other: Log) -> None:
    for field in fields(Log):
        if field.name not in ("elapsed_s", "reading", "path", "header"):
            assert getattr(one, field.name) == getattr(other, field.name), field.name
    assert one.header == other.header
    np.testing.assert_array_equal(one.elapsed_s, other.elapsed_s)
    np.testing.assert_array_equal(one.reading, other.reading)


def test_the_example_reads_into_types() -> None:
    log = read_log_bytes(EXAMPLE.encode())
    assert log.header == LogHeader(
        gauge=GaugeUnit("absolute", "kPa"), box="B-07", setup="vents-taped", sealed=("port-flange",),
        started=datetime(2026, 5, 3, 14, 2, 11, tzinfo=timezone(timedelta(hours=2))), resolution=0.1, accuracy=0.25,
        barometer_kPa=Uncertain(101.1, 0.1), room_C=20.5, volume_L=Uncertain(31.4, 0.9),
    )
    assert (log.elapsed_s.tolist(), log.reading.tolist(), log.raw) == ([0.0], [101.1], ("101.10 kPa",))


def test_the_example_is_written_as_it_was_read() -> None:
    assert log_text(read_log_bytes(EXAMPLE.encode())) == EXAMPLE


def test_a_volume_without_uncertainty_counts_as_five_percent() -> None:
    log = read_log_bytes(EXAMPLE.replace("31.4 +- 0.9", "40").encode())
    assert log.header.volume_L == Uncertain(40.0, 2.0)


def test_every_key_is_read() -> None:
    head = (
        "# boxhold log: 1\n# gauge: vacuum inHg\n# gauge_at: hose\n# behind_valve: tank\n# let_up_since_last: no\n"
        "# wood_C: 19\n# room_RH: 44\n# sheet_C: 38\n# since_forming_min: 12\n# mould: mask, small\n"
        "# open: panel-edges/front, line\n# wood: coated\n# altitude_m: 430\n# plug_drill_mm: 0.5\n# operator: Jo\n"
    )
    header = read_log_bytes((head + "elapsed_s,reading\n").encode()).header
    assert (header.gauge_at, header.behind_valve, header.let_up_since_last) == ("hose", "tank", False)
    assert (header.wood_C, header.room_RH, header.sheet_C, header.since_forming_min) == (19, 44, 38, 12)
    assert (header.mould, header.open, header.wood) == ("mask, small", ("panel-edges/front", "line"), "coated")
    assert (header.altitude_m, header.plug_drill_mm, header.extra) == (430, 0.5, {"operator": "Jo"})


@pytest.mark.parametrize("reference", ["absolute", "vacuum", "gauge"])
@pytest.mark.parametrize("unit", PA_PER)
def test_every_gauge_unit_is_read(reference: str, unit: str) -> None:
    log = read_log_bytes(f"# boxhold log: 1\n# gauge: {reference} {unit}\nelapsed_s,reading\n".encode())
    assert (log.header.gauge.reference, log.header.gauge.unit) == (reference, unit)


def test_unknown_wood_is_no_refusal_and_comes_back() -> None:
    log = read_log_bytes(b"# boxhold log: 1\n# wood: birch\n# gauge: absolute kPa\nelapsed_s,reading\n")
    assert log.header.wood is None
    assert "# wood: birch\n# gauge: absolute kPa\n" in log_text(log)


def test_an_unknown_key_twice_keeps_both() -> None:
    log = read_log_bytes(b"# boxhold log: 1\n# gauge: absolute kPa\n# hiss: left\n# hiss: right\nelapsed_s,reading\n")
    assert dict(log.header.extra) == {"hiss": "left", "hiss (2)": "right"}
    same(log, read_log_bytes(log_text(log).encode()))


def test_a_heard_line_keeps_every_byte() -> None:
    heard = bytes(range(256))
    text = escape_raw(heard)
    assert text.isascii()
    assert text.isprintable()
    assert unescape_raw(text) == heard
    assert escape_raw(b"a\\b\xff\x00") == r"a\x5cb\xff\x00"


@given(st.binary(max_size=60))
def test_any_heard_line_survives_a_row(heard: bytes) -> None:
    text = format_head(LogHeader(GaugeUnit("absolute", "kPa"))) + format_row(1.5, None, heard)
    log = read_log_bytes(text.encode())
    assert unescape_raw(log.raw[0]) == heard
    assert math.isnan(log.reading[0])


def test_a_row_without_reading_leaves_the_cell_empty() -> None:
    assert format_row(12.3456, math.nan, b"OL") == '12.3456,,"OL"\n'
    assert format_row(0, 20.0, b"20", 'said "now"') == '0.000,20,"20","said ""now"""\n'


def test_a_row_too_long_to_be_read_is_not_written() -> None:
    with pytest.raises(WrongUsage, match="64 kB"):
        format_row(0, 1, b"x" * 64_001)


def test_a_file_that_exists_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text("mine", encoding="utf-8")
    log = read_log_bytes(EXAMPLE.encode())
    with pytest.raises(WrongUsage, match="exists already"):
        write_log(log, path)
    assert path.read_text(encoding="utf-8") == "mine"
    write_log(log, path, overwrite=True)
    assert path.read_text(encoding="utf-8") == EXAMPLE
    assert [p.name for p in tmp_path.iterdir()] == ["log.csv"]


plain_text = st.text(st.characters(blacklist_categories=("Cs", "Cc", "Zl", "Zp")), max_size=20).map(str.strip)
keys = st.from_regex(r"[A-Za-z][A-Za-z0-9_ ]{0,10}[a-z0-9]", fullmatch=True).filter(
    lambda key: key.lower() not in {field.name.lower() for field in fields(LogHeader)}
)
cell_text = st.text(st.characters(blacklist_categories=("Cs",)), max_size=15)
numbers = st.floats(-1e12, 1e12) | st.decimals(-1000, 1000, places=2).map(float)
uncertain = st.builds(Uncertain, st.floats(50, 110), st.floats(0.001, 3))
headers = st.builds(
    LogHeader,
    gauge=st.builds(GaugeUnit, st.sampled_from(["absolute", "vacuum", "gauge"]), st.sampled_from(sorted(PA_PER))),
    box=st.none() | plain_text.filter(bool),
    setup=st.none() | plain_text.filter(bool),
    sealed=st.lists(st.sampled_from([*PATHS, "panel-edges/front"]), max_size=3).map(tuple),
    open=st.none() | st.lists(st.sampled_from([*PATHS]), max_size=3).map(tuple),
    started=st.none()
    | st.datetimes(
        datetime(1971, 1, 1), datetime(2198, 1, 1),
        timezones=st.integers(-720, 840).map(lambda m: timezone(timedelta(minutes=m))),
    ),
    resolution=st.none() | st.floats(1e-6, 100),
    accuracy=st.none() | st.floats(0, 100),
    barometer_kPa=st.none() | uncertain,
    altitude_m=st.none() | st.floats(-400, 5000),
    room_C=st.none() | st.floats(-20, 50),
    sheet_C=st.none() | st.floats(-20, 300),
    volume_L=st.none() | uncertain,
    gauge_at=st.sampled_from([None, "box", "hose", "tank"]),
    behind_valve=st.sampled_from([None, "room", "pump", "tank"]),
    let_up_since_last=st.sampled_from([None, True, False]),
    wood=st.sampled_from([None, "bare", "coated", "none"]),
    mould=st.none() | plain_text.filter(bool),
    extra=st.dictionaries(keys, plain_text, max_size=3),
)


@st.composite
def logs(draw: st.DrawFn) -> Log:
    count = draw(st.integers(0, 5))
    column = st.lists(cell_text, min_size=count, max_size=count).map(tuple)
    heard = st.lists(st.binary(max_size=12).map(escape_raw), min_size=count, max_size=count).map(tuple)
    header = draw(headers)
    order = [f.name for f in fields(LogHeader) if getattr(header, f.name) not in (None, ()) and f.name != "extra"]
    order += ["open"] if header.open == () else []
    return Log(
        header=header,
        elapsed_s=np.array(draw(st.lists(numbers, min_size=count, max_size=count)), dtype=np.float64),
        reading=np.array(draw(st.lists(numbers | st.just(math.nan), min_size=count, max_size=count)), dtype=np.float64),
        raw=draw(st.just(()) | heard),
        note=draw(st.just(()) | column),
        columns=draw(st.dictionaries(st.from_regex(r"[A-Z][a-z, ]{0,5}[a-z]", fullmatch=True), column, max_size=2)),
        keys=tuple(draw(st.permutations([*order, *header.extra]))),
    )


@given(logs())
def test_every_log_comes_back(log: Log) -> None:
    again = read_log_bytes(log_text(log).encode("utf-8"))
    same(log if log.elapsed_s.size else replace(log, raw=(), note=()), again)


def test_a_log_comes_back_through_a_file(tmp_path: Path) -> None:
    log = read_log_bytes(EXAMPLE.encode())
    write_log(log, tmp_path / "new" / "log.csv")
    again = read_log(tmp_path / "new" / "log.csv")
    same(log, again)
    assert again.path == tmp_path / "new" / "log.csv"


def refusal(data: bytes, name: str = "x.csv") -> str:
    with pytest.raises(UnreadableInput) as caught:
        read_log_bytes(data, Path(name))
    text = str(caught.value)
    assert "\n" not in text
    assert text.startswith("x.csv")
    assert text.endswith(".")
    return text


HEAD = b"# boxhold log: 1\n# gauge: absolute kPa\n"


@pytest.mark.parametrize(("letters", "read"), [(63_999, True), (64_000, False)])
def test_the_longest_line_has_64_000_bytes_with_its_end(letters: int, read: bool) -> None:
    data = HEAD + b"elapsed_s,reading,note\n0,1,\n1,1," + b"a" * (letters - 4) + b"\n2,1,\n"
    if read:
        assert read_log_bytes(data).reading.size == 3
    else:
        assert "line 5: the line is longer" in refusal(data)


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "the file is empty"),
        (b" \n\r\n", "the file is empty"),
        (b"\xef\xbb\xbf", "the file is empty"),
        (b"\0" * 500, "the file is empty"),
        (b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", "no text file"),
        (b"time,p\n0,1\n", "line 1: this is no log of ours"),
        (b"# boxhold log: 2\n", "format is '2'"),
        (b"# boxhold log: 1\nelapsed_s,reading\n0,1\n", "no line says what the gauge shows"),
        (b"# boxhold log: 1\n# gauge: kPa\nelapsed_s,reading\n", "line 2: 'gauge' is 'kPa'"),
        (b"# boxhold log: 1\n# gauge: absolute furlong\nelapsed_s,reading\n", "'furlong' is no pressure unit"),
        (HEAD, "no table"),
        (HEAD + b"elapsed_s,raw\n", "line 3: the line above the table must name the columns elapsed_s and reading"),
        (HEAD + b"0,101\n", "'elapsed_s' is missing"),
        (HEAD + b"elapsed_s,reading,reading\n", "line 3: the column 'reading' is named twice"),
        (HEAD + b"elapsed_s,reading\na,1\nb,2\n", "line 4: elapsed_s is 'a', which is no number"),
        (HEAD + b"elapsed_s,reading\n0,0,101,3\n0,1,101,2\n", "line 4: more cells than columns"),
        (HEAD + b"# gauge: vacuum kPa\nelapsed_s,reading\n", "line 3: 'gauge' differs from its value in line 2"),
        (HEAD + b"# started: 2026-05-03\nelapsed_s,reading\n", "line 3: 'started' is '2026-05-03'"),
        (HEAD + b"# started: 2026-05-03T14:02:11\nelapsed_s,reading\n", "offset from UTC"),
        (HEAD + b"# started: 2026-02-30T14:02:11Z\nelapsed_s,reading\n", "'started'"),
        (HEAD + b"# sealed: door\nelapsed_s,reading\n", "'door' is no leak path"),
        (HEAD + b"# resolution: fine\nelapsed_s,reading\n", "'resolution' is 'fine'"),
        (HEAD + b"# resolution: nan\nelapsed_s,reading\n", "'resolution'"),
        (HEAD + b"# volume_L: 0\nelapsed_s,reading\n", "'volume_L'"),
        (HEAD + b"# volume_L: 30 +- -1\nelapsed_s,reading\n", "'volume_L'"),
        (HEAD + b"# barometer_kPa: 1013\nelapsed_s,reading\n", "'barometer_kPa' is '1013'"),
        (HEAD + b"# gauge_at: roof\nelapsed_s,reading\n", "write one of box, hose, tank"),
        (HEAD + b"# let_up_since_last: maybe\nelapsed_s,reading\n", "write yes or no"),
        (HEAD + b"# x: " + b"a" * 65_000 + b"\nelapsed_s,reading\n", "line 3: the line is longer than 64 kB"),
        (HEAD + b"elapsed_s,reading\n0,1\n1," + b"9" * 65_000, "line 5: the line is longer"),
        (HEAD + b"".join(b"# k%d: 1\n" % i for i in range(2000)), "more than 1000 header lines"),
    ],
)
def test_what_cannot_be_read_says_so_in_one_sentence(data: bytes, words: str) -> None:
    assert words in refusal(data)


def test_missing_files_and_folders_say_so(tmp_path: Path) -> None:
    with pytest.raises(UnreadableInput, match="no such file"):
        read_log(tmp_path / "none.csv")
    with pytest.raises(UnreadableInput, match="folder"):
        read_log(tmp_path)
    with pytest.raises(UnreadableInput, match="no ordinary file"):
        read_log("/dev/null")


def test_a_file_over_a_gigabyte_is_refused_before_it_is_read(tmp_path: Path) -> None:
    path = tmp_path / "huge.csv"
    with path.open("wb") as file:
        file.truncate(1_000_000_001)
    with pytest.raises(UnreadableInput, match="larger than 1000 MB"):
        read_log(path)


@given(st.binary(max_size=300))
def test_no_bytes_bring_anything_but_a_log_or_a_refusal(data: bytes) -> None:
    for head in (b"", HEAD, HEAD + b"elapsed_s,reading,raw\n"):
        with contextlib.suppress(UnreadableInput):
            read_log_bytes(head + data)
