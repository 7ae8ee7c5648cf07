"""Other loggers' files: what is guessed, what is doubted, and that nothing is ever assumed."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquisition.errors import UnreadableInput, WrongUsage
from acquisition.importcells import read_cell, read_moment, reference_in, unit_in
from acquisition.importing import ImportMapping, convert, guess_mapping
from acquisition.logfile import log_text, read_log_bytes
from acquisition.units import GaugeUnit

OPEN_DATA = Path(__file__).parents[1] / "data" / "printed-air-chambers"


def rows(row: Callable[[int], str], count: int = 40) -> str:
    return "".join(row(i) + "\n" for i in range(count))


def guess(text: str) -> ImportMapping:
    return guess_mapping(text.encode())


def test_open_data_with_thousands_dots() -> None:
    data = (OPEN_DATA / "Ultimaker_015.csv").read_bytes()
    mapping = guess_mapping(data)
    assert (mapping.separator, mapping.decimal, mapping.time_column, mapping.time_kind) == (";", ".", 0, "microseconds")
    assert (mapping.unit, mapping.reference, mapping.confirmed) == (None, None, False)
    log = convert(data, replace(mapping.with_pressure(2), unit="bar", reference="gauge", confirmed=True))
    # Lines 1, 2, 11 and 60 of the file: 0.000;..;7.652, 100.000;..;7.651, 1.000.000;..;7.652, 6.074.000;..;7.660.
    assert log.elapsed_s[[0, 1, 10, 59]].tolist() == [0.0, 0.1, 1.0, 6.074]
    assert log.reading[[0, 1, 10, 59]].tolist() == [7.652, 7.651, 7.652, 7.66]
    assert log.header.gauge == GaugeUnit("gauge", "bar")
    assert log.columns["column 2"][0] == "3.826"


def test_open_data_with_a_dutch_header_and_decimal_commas() -> None:
    data = (OPEN_DATA / "Resultaten_opnieuwaanzetten.csv").read_bytes()
    mapping = guess_mapping(data)
    assert (mapping.separator, mapping.decimal, mapping.first_row) == (";", ",", 2)
    assert (mapping.names[0], mapping.time_column, mapping.time_kind) == ("Tijd (s)", 0, "seconds")
    assert mapping.unit is None
    assert [p.name for p in mapping.pressures][:4] == ["Test 1", "Test 2", "Test 3", "0 Meting"]
    log = convert(data, replace(mapping.with_pressure(2), unit="mbar", reference="gauge", confirmed=True))
    # Lines 2 to 4 of the file: 0;..;0;.., 0,1;1;-8;.., 0,2;6;-4;...
    assert (log.elapsed_s[:3].tolist(), log.reading[:3].tolist()) == ([0.0, 0.1, 0.2], [0.0, -8.0, -4.0])


PLAIN = "Time (s),Pressure (kPa abs)\n" + rows(lambda i: f"{i * 0.5},{20 + i * 0.1:.1f}")


def test_a_guess_is_never_enough() -> None:
    mapping = guess(PLAIN)
    assert (mapping.unit, mapping.reference, mapping.doubts) == ("kPa", "absolute", ())
    assert set(mapping.reasons) >= {"separator", "decimal", "time_column", "time_kind", "pressure_column", "unit"}
    with pytest.raises(WrongUsage, match="only a guess"):
        convert(PLAIN.encode(), mapping)
    with pytest.raises(WrongUsage, match="no unit is assumed"):
        convert(PLAIN.encode(), replace(mapping, unit=None, confirmed=True))
    with pytest.raises(WrongUsage, match="absolute, vacuum or gauge"):
        convert(PLAIN.encode(), replace(mapping, reference=None, confirmed=True))
    with pytest.raises(WrongUsage, match="no pressure unit"):
        convert(PLAIN.encode(), replace(mapping, unit="furlong", confirmed=True))
    assert not replace(mapping, confirmed=True).with_pressure(1).confirmed


def test_a_confirmed_mapping_makes_a_log_that_comes_back() -> None:
    keys = {"box": "B-07", "setup": "vents-taped", "volume_L": "31 +- 1", "operator": "Jo"}
    log = convert(PLAIN.encode(), replace(guess(PLAIN), confirmed=True), keys, Path("logger.csv"))
    assert (log.header.box, log.header.setup) == ("B-07", "vents-taped")
    assert log.header.extra == {"imported_from": "logger.csv", "operator": "Jo"}
    again = read_log_bytes(log_text(log).encode())
    np.testing.assert_array_equal(again.reading, log.reading)
    assert again.raw[:2] == ("20.0", "20.1")


def test_a_bad_key_of_the_log_is_refused() -> None:
    mapping = replace(guess(PLAIN), confirmed=True)
    with pytest.raises(WrongUsage, match="'volume_L' is 'big'"):
        convert(PLAIN.encode(), mapping, {"volume_L": "big"})
    with pytest.raises(WrongUsage, match="comes from the mapping"):
        convert(PLAIN.encode(), mapping, {"gauge": "vacuum kPa"})


@pytest.mark.parametrize(("step", "rows", "kind"), [
    (20, 20, "seconds"), (60, 30, "seconds"), (100, 20, "seconds"), (100, 400, "milliseconds"),
])  # fmt: skip
def test_a_time_without_a_unit_is_in_milliseconds_only_where_a_test_would_last_so_long(step, rows, kind) -> None:
    text = "Time,Vac (kPa)\n" + "".join(f"{i * step},{80 - i / 10:.1f}\n" for i in range(rows))
    assert guess(text).time_kind == kind


# Shapes that loggers are known to write; header, rows, and what must be guessed.
SHAPES = {
    "German": ("Zeit;Druck [mbar abs]\n", lambda i: f"{i},5;{200 + i},1", (";", ",", "seconds", "mbar", "absolute")),
    "tabs": ("t_s\tP_psia\n", lambda i: f"{i / 2}\t{3 + i / 100}", ("\t", ".", "seconds", "psi", "absolute")),
    "psig": ("elapsed (min),psig\n", lambda i: f"{i / 60:.4f},{-12 + i / 100}", (",", ".", "minutes", "psi", "gauge")),
    "dial": (
        "Time (ms),Vacuum inHg\n",
        lambda i: f"{i * 100},{25 - i / 10:.1f}",
        (",", ".", "milliseconds", "inHg", "vacuum"),
    ),
    "fine vacuum": (
        "Time,Vacuum (mbar)\n",
        lambda i: f"{i / 2},{25 - i / 10:.1f}",
        (",", ".", "seconds", "mbar", None),
    ),
    "epoch": (
        "timestamp,p (Pa)\n",
        lambda i: f"{1407794737 + i},{64120 + i * 3}",
        (",", ".", "epoch-seconds", "Pa", None),
    ),
    "epoch ms": (
        "ts,kPa(g)\n",
        lambda i: f"{1407794737000 + i * 250},{-80 + i * 0.3:.1f}",
        (",", ".", "epoch-milliseconds", "kPa", "gauge"),
    ),
    "clock": (
        "Uhrzeit;Unterdruck kPa\n",
        lambda i: f"14:02:{i:02d};{80 - i / 10:.1f}".replace(".", ","),
        (";", ",", "clock", "kPa", "vacuum"),
    ),
    "spreadsheet": (
        "Date;bar abs\n",
        lambda i: f"{46145.5 + i / 86400:.8f};{0.2 + i / 1000:.3f}",
        (";", ".", "spreadsheet-days", "bar", "absolute"),
    ),
    "preamble": (
        "Logger X\nSerial 12\n\nTime,P\ns,Torr\n",
        lambda i: f"{i * 2},{150 + i / 10}",
        (",", ".", "seconds", "Torr", None),
    ),
    "blanks": (
        "free words\nTime (s)  P (mmHg abs)\n",
        lambda i: f"{i / 10}  {150 + i / 7:e} ",
        (" ", ".", "seconds", "mmHg", "absolute"),
    ),
    "unnamed index": (
        ",Time,hPa abs\n",
        lambda i: f"{i},{i * 0.2:.1f},{200 + i}.5",
        (",", ".", "seconds", "hPa", "absolute"),
    ),
    "unit in the cell": (
        "time,reading\n",
        lambda i: f"{i / 4},{85.3 - i / 10:.1f} kPa",
        (",", ".", "seconds", "kPa", None),
    ),
    "unit beside": (
        "time,reading,unit\n",
        lambda i: f"{i / 4},{85.3 - i / 10:.1f},mbar",
        (",", ".", "seconds", "mbar", None),
    ),
    "MPa": ("t_s,dp_MPa\n", lambda i: f"{i * 10.3:.2f},{-0.08 + i / 10000:.5f}", (",", ".", "seconds", "MPa", None)),
}


@pytest.mark.parametrize("shape", SHAPES)
def test_shapes_of_loggers(shape: str) -> None:
    head, row, expected = SHAPES[shape]
    mapping = guess(head + rows(row))
    assert (mapping.separator, mapping.decimal, mapping.time_kind, mapping.unit, mapping.reference) == expected
    given = replace(mapping, reference=mapping.reference or "absolute", confirmed=True)
    log = convert((head + rows(row)).encode(), given)
    assert log.elapsed_s.size == 40
    assert log.elapsed_s[0] == 0
    assert np.all(np.diff(log.elapsed_s) > 0)
    assert log.unread == 0


def test_epoch_seconds_tell_when_the_log_began() -> None:
    text = "timestamp,p (Pa abs)\n" + rows(lambda i: f"{1407794737 + i},{64120 + i * 3}")
    log = convert(text.encode(), replace(guess(text), confirmed=True))
    # 1407794737 s after 1970 is 2014-08-11 22:05:37 UTC (date -u -d @1407794737).
    assert log.header.started == datetime(2014, 8, 11, 22, 5, 37, tzinfo=UTC)


def test_a_date_and_a_clock_in_two_columns_are_one_time() -> None:
    def row(i: int) -> str:
        day, second = divmod(86_390 + i, 86_400)
        return f"{3 + day:02d}/05/2026,{second // 3600:02d}:{second // 60 % 60:02d}:{second % 60:02d},{20 + i}"

    text = "Date,Time,kPa abs\n" + rows(row)
    mapping = guess(text)
    assert (mapping.time_column, mapping.date_column, mapping.doubts) == (1, 0, ())
    log = convert(text.encode(), replace(mapping, confirmed=True))
    assert log.elapsed_s.tolist() == list(range(40))


def test_a_clock_without_date_passes_midnight() -> None:
    text = "time,kPa abs\n23:59:58,20\n23:59:59,21.5\n00:00:00,22\n00:00:01,23\n"
    log = convert(text.encode(), replace(guess(text), confirmed=True))
    assert log.elapsed_s.tolist() == [0, 1, 2, 3]


def doubts(text: str) -> str:
    return " ".join(guess(text).doubts)


def test_a_counter_is_not_taken_for_seconds() -> None:
    text = "index,pressure kPa abs\n" + rows(lambda i: f"{i},{20 + i / 10}")
    mapping = guess(text)
    assert mapping.time_kind == "counter"
    assert "may count rows and not seconds" in doubts(text)
    with pytest.raises(WrongUsage, match="how many seconds"):
        convert(text.encode(), replace(mapping, confirmed=True))
    log = convert(text.encode(), replace(mapping, confirmed=True, interval_s=0.25))
    assert log.elapsed_s[-1] == 39 * 0.25


def test_a_file_of_bare_readings_counts_its_rows() -> None:
    text = rows(lambda i: f"{85 - i / 10:.1f}")
    mapping = replace(guess(text), unit="kPa", reference="vacuum", interval_s=2.0, confirmed=True)
    assert mapping.time_column is None
    assert mapping.doubts == ("The file has no clock; say how many seconds lie between two rows.",)
    assert convert(text.encode(), mapping).elapsed_s[-1] == 78


def test_two_clocks_that_disagree_are_named() -> None:
    text = "seconds,clock,psia\n" + rows(lambda i: f"{i},2026-05-03 14:{i:02d}:00,{3 + i / 1000:.3f}")
    assert "'seconds' spans 39 s, 'clock' 2340 s" in doubts(text)
    agreeing = "seconds,clock,psia\n" + rows(lambda i: f"{i},2026-05-03 14:02:{i:02d},{3 + i / 1000:.3f}")
    assert doubts(agreeing) == ""


def test_a_chosen_column_is_guessed_anew() -> None:
    text = "seconds,clock,psia,mbar abs\n" + rows(lambda i: f"{i},14:{i:02d}:00,{3 + i / 1000:.3f},{200 + i}.5")
    data = text.encode()
    mapping = guess_mapping(data, time_column=1, pressure_column=3)
    assert (mapping.time_column, mapping.time_kind, mapping.unit) == (1, "clock", "mbar")
    log = convert(data, replace(mapping, confirmed=True))
    assert (log.elapsed_s[-1], log.reading[0]) == (39 * 60, 200.5)
    with pytest.raises(WrongUsage, match="no column 9"):
        guess_mapping(data, time_column=8)
    with pytest.raises(WrongUsage, match="column 2 holds no numbers"):
        guess_mapping(data, pressure_column=1)


@pytest.mark.parametrize(
    ("ratio", "names"),
    # From NIST SP 811: 1 kPa = 10 mbar = 7.501 mmHg, 1 psi = 6.895 kPa, 1 inHg = 3.386 kPa.
    [(10, "kPa to mbar"), (6.895, "psi to kPa"), (7.501, "kPa to mmHg"), (3.386, "inHg to kPa"), (0.1, "mbar to kPa")],
)
def test_a_unit_changed_half_way_is_named(ratio: float, names: str) -> None:
    text = "t,P\n" + rows(lambda i: f"{i / 2},{(20 + i / 50) * (ratio if i > 20 else 1):.4f}")
    assert "In line 23 the numbers jump by a factor of" in doubts(text)
    assert f"as from {names};" in doubts(text)


def test_a_pump_down_is_no_change_of_unit() -> None:
    text = "t_s,kPa abs\n" + rows(lambda i: f"{i / 2},{8 + 93 * math.exp(-i / 3):.1f}")
    assert doubts(text) == ""


def test_a_unit_named_in_each_row_may_not_change() -> None:
    text = "time,reading\n" + rows(lambda i: f"{i / 4},{85.3 - i / 10:.1f} {'kPa' if i < 20 else 'mbar'}")
    assert "The unit changes from kPa to mbar in line 22." in doubts(text)
    log = convert(text.encode(), replace(guess(text), unit="kPa", reference="vacuum", confirmed=True))
    assert np.flatnonzero(np.isnan(log.reading)).tolist() == list(range(20, 40))
    assert log.raw[20] == "83.3 mbar"


def test_a_clock_that_goes_back_or_leaps_is_named() -> None:
    back = "t_s,kPa\n" + rows(lambda i: f"{i if i < 20 else i - 10.5},{20 + i / 10}")
    assert "The time goes back in line 22." in doubts(back)
    leap = "t_s,kPa\n" + rows(lambda i: f"{i / 2 if i < 3 else i / 2 + 90_000},{20 + i / 10}")
    assert "The time leaps by 90000 s in line 5" in doubts(leap)


def test_an_absolute_pressure_below_zero_is_doubted() -> None:
    assert "below zero" in doubts("t_s,kPa abs\n" + rows(lambda i: f"{i / 2},{-80 + i}.5"))


def test_words_for_numbers_are_no_readings_and_are_kept() -> None:
    text = "t_s,kPa abs\n" + rows(lambda i: f"{i / 2},{'OL' if i == 5 else 20 + i / 10}")
    log = convert(text.encode(), replace(guess(text), confirmed=True))
    assert (log.unread, log.raw[5]) == (1, "OL")


def test_rows_without_time_are_dropped_and_remembered() -> None:
    text = PLAIN + "end of file\n,25\n"
    log = convert(text.encode(), replace(guess(text), confirmed=True))
    assert (log.elapsed_s.size, log.dropped_lines) == (40, (42, 43))


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "empty"),
        (b"hello\nworld\n", "no table of numbers"),
        (b"PK\x03\x04\0\0", "save the table as CSV"),
        (b"\x89PNG\x00\x01\x02", "no text file"),
        (b"time\n14:02:03\n14:02:04\n", "no column of numbers"),
    ],
)
def test_what_cannot_be_imported_says_so(data: bytes, words: str) -> None:
    with pytest.raises(UnreadableInput, match=words):
        guess_mapping(data, Path("x.csv"))


@pytest.mark.parametrize(
    ("change", "words"),
    [({"time_kind": "weeks"}, "no kind of time"), ({"separator": "#"}, "no separator")],
)
def test_a_mapping_that_makes_no_sense_is_refused(change: dict[str, str], words: str) -> None:
    with pytest.raises(WrongUsage, match=words):
        convert(PLAIN.encode(), replace(guess(PLAIN), confirmed=True, **change))


def test_a_mapping_for_another_file_is_refused() -> None:
    with pytest.raises(UnreadableInput, match="no column 8"):
        convert(PLAIN.encode(), replace(guess(PLAIN), pressure_column=7, confirmed=True))
    with pytest.raises(UnreadableInput, match="no time that can be read"):
        convert(PLAIN.encode(), replace(guess(PLAIN), time_kind="clock", confirmed=True))


@pytest.mark.parametrize(
    ("cell", "decimal", "value"),
    [
        ("1.013,25", ",", 1013.25),
        ("1,013.25", ".", 1013.25),
        ("151.203.000", ".", 151_203_000),
        ("-0,5", ",", -0.5),
        ("+01013.25", ".", 1013.25),
        ("9.26e+02", ".", 926),
        ("85.3 kPa", ".", 85.3),
        (".5", ".", 0.5),
    ],
)
def test_numbers_with_marks(cell: str, decimal: str, value: float) -> None:
    assert read_cell(cell, decimal) == value


@pytest.mark.parametrize("cell", ["OL", "", "9.9E37", "12 apples", "1 2", "--1"])
def test_what_is_no_number(cell: str) -> None:
    assert math.isnan(read_cell(cell, "."))


@pytest.mark.parametrize(
    ("header", "unit", "reference"),
    [
        ("p [mbar]", "mbar", None),
        ("Pression absolue (kPa)", "kPa", None),
        ("Pression absolu (kPa)", "kPa", "absolute"),
        ("Druk (mbara)", "mbar", "absolute"),
        ("CH1 in Hg vac", "inHg", "vacuum"),
        ("bar(g)", "bar", "gauge"),
        ("Überdruck in hPa", "hPa", "gauge"),
        ("Vacuum kPa abs", "kPa", None),
        ("palette", None, None),
        ("barn", None, None),
        ("Temperature (C)", None, None),
    ],
)
def test_units_and_references_in_headers(header: str, unit: str | None, reference: str | None) -> None:
    assert (unit_in(header), reference_in(header)) == (unit, reference)


def test_days_of_both_orders() -> None:
    moments = [
        read_moment(text, day_first)
        for text, day_first in [
            ("03/05/2026 2:02 PM", True),
            ("05/03/2026 14:02", False),
            ("2026-05-03T14:02:00Z", True),
        ]
    ]
    assert [moment and moment.day for moment in moments] == [datetime(2026, 5, 3)] * 3
    assert [moment and moment.at.total_seconds() for moment in moments] == [14 * 3600 + 120] * 3
    assert read_moment("31/02/2026", True) is None


@given(
    st.text(max_size=200)
    | st.lists(
        st.lists(st.sampled_from(["1", "2,5", "3.5", "14:02", "03/05/2026", "kPa", "", "OL", "1.2.3"]), max_size=4).map(
            ";".join
        ),
        max_size=8,
    ).map("\n".join)
)
def test_any_text_gives_a_mapping_or_a_refusal(text: str) -> None:
    data = text.encode("utf-8", "replace")
    try:
        mapping = guess_mapping(data)
        convert(data, replace(mapping, unit="kPa", reference="absolute", interval_s=1.0, confirmed=True))
    except (UnreadableInput, WrongUsage):
        return
    assert mapping.confirmed is False
