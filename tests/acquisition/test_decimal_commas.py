"""A decimal comma between commas, as in ``120,25,2``: never read as 25, in a log or in another logger's file."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from acquisition import logtable
from acquisition.errors import UnreadableInput
from acquisition.importing import ImportMapping, guess_mapping
from acquisition.logtable import Layout, read_table


def rows(row: Callable[[int], str], count: int = 40) -> str:
    return "".join(row(i) + "\n" for i in range(count))


def guess(text: str) -> ImportMapping:
    return guess_mapping(text.encode())


@pytest.mark.parametrize("rows", ["120,25,2\n", "120,25,2,\n", "0,101,3\n120,25,2\n", "120,5,25\n"])
@pytest.mark.parametrize("names", [("elapsed_s", "reading", "note"), ("elapsed_s", "reading", "raw", "note")])
@pytest.mark.parametrize("quick_from", [0, 256_000])
def test_a_decimal_comma_between_commas_is_never_cut_off(
    rows: str, names: tuple[str, ...], quick_from: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(logtable, "QUICK_FROM_BYTES", quick_from)
    before = "".join(f"{t},{101.5},\n" for t in range(5))
    with pytest.raises(UnreadableInput, match=r"line 6: '\d+,\d+' may be a number with a decimal comma; write decimal"):
        read_table((before + rows).encode(), Layout(names, ",", 1, None))


def test_what_cannot_be_a_cut_off_decimal_is_read() -> None:
    rows = '0,25,"2"\n1,25,25\n2,25.0,2\n3,25,shut\n4,25,1000\n5,,2\n'
    note = Layout(("elapsed_s", "reading", "note"), ",", 1, None)
    assert read_table(rows.encode(), note).note == ("2", "25", "2", "shut", "1000", "2")
    assert read_table(b"0;25;2\n", replace(note, separator=";")).note == ("2",)
    temperature = replace(note, names=("elapsed_s", "reading", "room_C"))
    assert read_table(b"0,25,2\n", temperature).reading.tolist() == [25.0]


def falling(i: int) -> str:
    """25.2, 25.1, ... with a decimal comma."""
    return f"{25 - i // 10},{9 - i % 10}"


@pytest.mark.parametrize("head", ["s,kPa\n", "s,kPa,room\n", "s,kPa,Remark\n", "Time (s),Pressure (kPa),\n"])
def test_decimal_commas_between_commas_are_refused_and_never_cut_off(head: str) -> None:
    room = "room" in head
    text = head + rows(lambda i: f"{10 * i},{falling(i)}" + (",20" if room else ""))
    with pytest.raises(UnreadableInput, match="line 2: '25,9' may be a number with a decimal comma; save the table"):
        guess(text)


@pytest.mark.parametrize("tail", ["", ","])
def test_one_decimal_comma_between_commas_is_found(tail: str) -> None:
    text = f"s,kPa{tail}\n" + rows(lambda i: "120,25,2" if i == 12 else f"{10 * i},{25.5 + i}{tail}")
    with pytest.raises(UnreadableInput, match="line 14: '25,2' may be a number with a decimal comma"):
        guess(text)


def test_decimal_commas_without_names_above_are_doubted() -> None:
    assert any("'25,9' may be a number" in doubt for doubt in guess(rows(lambda i: f"{10 * i},{falling(i)}")).doubts)


@pytest.mark.parametrize("text", [
    "s,mbar,C\n" + rows(lambda i: f"{10 * i},{900 - i},20"),
    "s,kPa,remark\n" + rows(lambda i: f"{10 * i},{25 + i / 10:.1f},{i}"),
    "s;kPa\n" + rows(lambda i: f"{10 * i};{falling(i)}"),
])  # fmt: skip
def test_whole_numbers_beside_a_pressure_are_no_decimals(text: str) -> None:
    assert guess(text).doubts == ()
