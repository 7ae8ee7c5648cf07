"""The table of a log: odd files, and that the quick and the patient way give the same."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquisition import logtable
from acquisition.errors import UnreadableInput
from acquisition.logfile import format_row, read_log_bytes
from acquisition.logtable import Layout, Table, read_patiently, read_quickly, read_table
from acquisition.records import Log

HEAD = b"# boxhold log: 1\n# gauge: absolute kPa\n"
LAYOUT = Layout(("elapsed_s", "reading", "raw"), ",", 1, None)


def read(table: bytes, name: str = "x.csv") -> Log:
    return read_log_bytes(HEAD + table, Path(name))


def same(one: Table, other: Table) -> None:
    np.testing.assert_array_equal(one.elapsed_s, other.elapsed_s)
    np.testing.assert_array_equal(one.reading, other.reading)
    assert (one.texts, one.dropped) == (other.texts, other.dropped)


def test_what_a_recorder_writes_goes_the_quick_way() -> None:
    rows = "".join(format_row(i / 10, None if i == 7 else 20 + i / 100, b"%d \xb0" % i) for i in range(20_000))
    data = rows.encode()
    quick = read_quickly(data, LAYOUT)
    assert quick is not None
    assert quick.elapsed_s[-1] == 1999.9
    assert quick.raw[3] == r"3 \xb0"
    assert np.flatnonzero(np.isnan(quick.reading)).tolist() == [7]
    same(quick, read_patiently(rows, LAYOUT))
    same(quick, read_table(data, LAYOUT))


odd_cells = st.sampled_from(
    ["1", "2.5", "-3", "1e3", "", " 4 ", '"5"', '"6,5"', "OL", "nan", "inf", "9.9E37", "1e400", "0x10", "1_0", "---",
     "6,5", "1.013,25", '"a ""b"" c"', '"x\ny"', '"x\r"', "NA", "#", "True", '"', "7\r", "\0"]
)


@given(st.lists(st.lists(odd_cells, min_size=1, max_size=4), min_size=1, max_size=8),
       st.sampled_from(["\n", "\r\n", "\r", "\r\r\n", "\n\n"]), st.sampled_from(",;\t"))
def test_whatever_the_quick_way_takes_the_patient_way_reads_alike(
    rows: list[list[str]], end: str, separator: str
) -> None:
    layout = replace(LAYOUT, separator=separator)
    text = end.join(separator.join(row) for row in [["0", "1", "start"], *rows]) + end
    quick = read_quickly(text.encode(), layout)
    if quick is not None:
        same(quick, read_patiently(text, layout))


@given(st.lists(st.lists(odd_cells, min_size=1, max_size=4).map(",".join), max_size=4),
       st.integers(0, 4000), st.sampled_from(["\n", "\r\n"]))
def test_a_table_read_in_parts_is_the_table_read_whole(odd: list[str], place: int, end: str) -> None:
    rows = [f'{i / 10},{20 + i / 1000},"{i} kPa"' for i in range(4000)]
    rows[place:place] = odd
    text = end.join(rows) + end
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(logtable, "QUICK_FROM_BYTES", 0)
        patch.setattr(logtable, "BLOCK_BYTES", 9_000)
        try:
            whole = read_patiently(text, LAYOUT)
        except UnreadableInput as problem:
            with pytest.raises(UnreadableInput, match=re.escape(str(problem).partition(":")[2])):
                read_table(text.encode(), LAYOUT)
        else:
            same(read_table(text.encode(), LAYOUT), whole)


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r", "\r\r\n", "\n\n"])
def test_any_line_ends(end: str) -> None:
    lines = ["# boxhold log: 1", "# gauge: absolute kPa", "elapsed_s,reading,raw", '0,1,"a"', '1,2,"b"']
    log = read_log_bytes((end.join(lines) + end).encode())
    assert (log.elapsed_s.tolist(), log.reading.tolist(), log.raw) == ([0, 1], [1, 2], ("a", "b"))


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "cp1252"])
def test_encodings_of_spreadsheets(encoding: str) -> None:
    text = "# boxhold log: 1\n# mould: Büste\n# gauge: absolute kPa\nelapsed_s,reading\n0,1\n"
    log = read_log_bytes(text.encode(encoding))
    assert log.header.mould == "Büste"
    assert log.reading.tolist() == [1]


@pytest.mark.parametrize(
    "table",
    [b"elapsed_s;reading\n0,5;101,25\n", b"elapsed_s\treading\n0,5\t101,25\n", b'elapsed_s,reading\n"0,5","101,25"\n'],
)
def test_decimal_commas(table: bytes) -> None:
    log = read(table)
    assert (log.elapsed_s.tolist(), log.reading.tolist()) == ([0.5], [101.25])


def test_a_log_saved_by_a_spreadsheet() -> None:
    data = (b"# boxhold log: 1;;\r\n# box: B-07;;\r\n# sealed: line, port-flange;;\r\n# gauge: absolute kPa;;\r\n"
            b"elapsed_s;reading;\r\n0;101,1;\r\n0,5;101,2;\r\n")
    log = read_log_bytes(data)
    assert (log.header.box, log.header.sealed) == ("B-07", ("line", "port-flange"))
    assert (log.reading.tolist(), dict(log.columns)) == ([101.1, 101.2], {})


def test_header_lines_that_a_spreadsheet_put_in_quotes() -> None:
    data = b'# boxhold log: 1,\n"# sealed: line, port-flange",\n# gauge: absolute kPa,\nelapsed_s,reading\n0,1\n'
    assert read_log_bytes(data).header.sealed == ("line", "port-flange")


@pytest.mark.parametrize("word", ["OL", "---", "OVER", "UNDER", "ERROR", "OFF", "nan", "inf", "-inf", "9.9E37",
                                  "9.91E37", "1.2.3", "101.1 mbar"])
def test_a_word_for_a_number_is_no_reading_and_is_kept(word: str) -> None:
    log = read(f"elapsed_s,reading\n0,101\n1,{word}\n".encode())
    assert log.unread == 1
    assert math.isnan(log.reading[1])
    assert log.raw == ("", word)


def test_a_word_does_not_push_out_what_was_heard() -> None:
    log = read(b'elapsed_s,reading,raw,note\n0,OL,"OL kPa",tape slipped\n')
    assert (log.raw, log.note) == (("OL kPa",), ("tape slipped",))


def test_blank_cells_short_rows_and_further_columns() -> None:
    log = read(b"reading,T,elapsed_s\n101,20.5,0\n,,1\n,21\n100\n99,22,2\n")
    assert log.elapsed_s.tolist() == [0, 1, 2]
    assert log.columns == {"T": ("20.5", "", "22")}
    assert log.dropped_lines == (6, 7)


def test_unnamed_columns_are_kept_only_when_they_say_something() -> None:
    assert dict(read(b",elapsed_s,reading,\n0,0,1,\n1,1,2,\n").columns) == {"column 1": ("0", "1")}


def test_a_row_without_a_time_is_dropped_and_remembered() -> None:
    log = read(b"elapsed_s,reading\n0,1\n1,2\nelapsed_s,reading\n,5\n3,4\n")
    assert (log.elapsed_s.tolist(), log.dropped_lines) == ([0, 1, 3], (6, 7))


def test_the_cut_last_line_of_a_log_being_written_is_left_out() -> None:
    table = b'elapsed_s,reading,raw\n0,101,"101"\n1,100.5,"100.5"\n2,10'
    assert read(table, "x.csv.part").reading.tolist() == [101, 100.5]
    assert read(table, "x.csv").reading.tolist() == [101, 100.5, 10]


def test_a_quote_left_open_takes_no_other_rows_along() -> None:
    log = read(b'elapsed_s,reading,raw\n0,101,"a\n1,100,"b"\n2,99,"c"\n')
    assert log.reading.tolist() == [101, 100, 99]


def test_zeros_left_by_a_power_cut() -> None:
    assert read(b"elapsed_s,reading\n0,1\n1,2\n" + b"\0" * 4096).reading.tolist() == [1, 2]


def test_rows_where_one_in_thousands_is_odd_are_all_read() -> None:
    rows = [f"{i},{20 + i / 1000:.3f}" for i in range(30_000)]
    rows[11_111] = "11111,OL"
    log = read(("elapsed_s,reading\n" + "\n".join(rows) + "\n").encode())
    assert (log.elapsed_s.size, log.unread, log.raw[11_111]) == (30_000, 1, "OL")


def test_the_arrays_cannot_be_changed() -> None:
    log = read(b"elapsed_s,reading\n0,1\n")
    with pytest.raises(ValueError, match="read-only"):
        log.reading[0] = 5
