"""Other loggers' files become logs: everything is guessed with a reason, shown, and confirmed by a person.

``guess_mapping`` looks at a file and says what it takes each thing for; ``convert`` makes the log once the
pressure's unit and reference are given and the mapping is confirmed. No unit is ever assumed.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from acquisition.errors import UnreadableInput, WrongUsage, shown
from acquisition.importcells import (
    PRESSURE_WORDS,
    bare_number,
    has_word,
    number_and_unit,
    read_cell,
    reference_in,
    unit_in,
)
from acquisition.importclock import guess_day_first, seconds_of
from acquisition.importcolumns import (
    date_column_of,
    decimal_of,
    finite_numbers,
    is_clock,
    kind_of,
    time_column_of,
)
from acquisition.importdoubts import clock_doubts, clocks_disagree, cut_decimals, unit_change
from acquisition.importsheet import Sheet, cut, file_lines, guess_separator
from acquisition.logfile import escape_raw
from acquisition.logheader import KEYS, header_value
from acquisition.records import FloatArray, Log, LogHeader
from acquisition.units import GaugeUnit, Reference, parse_unit


@dataclass(frozen=True)
class PressureGuess:
    """A column that may hold the pressure, with the unit and reference its header names (or None)."""

    column: int
    name: str
    unit: str | None
    reference: Reference | None
    reason: str


@dataclass(frozen=True)
class ImportMapping:
    """What is taken for what in another logger's file; columns are counted from 0.

    ``unit`` and ``reference`` are None until the file or a person names them. ``first_row`` is the 1-based
    line of the first row of numbers. ``time_column`` None counts the rows; ``date_column`` holds the date
    where it stands apart from the clock. ``interval_s`` is needed where ``time_kind`` is ``counter``.
    ``reasons`` says for each field why it was guessed so; ``doubts`` are sentences that a person should
    settle. Only a person sets ``confirmed``.
    """

    separator: str
    decimal: str
    first_row: int
    names: tuple[str, ...]
    time_column: int | None
    time_kind: str
    pressure_column: int
    unit: str | None = None
    reference: Reference | None = None
    interval_s: float | None = None
    date_column: int | None = None
    day_first: bool = True
    pressures: tuple[PressureGuess, ...] = ()
    reasons: Mapping[str, str] = field(default_factory=dict)
    doubts: tuple[str, ...] = ()
    confirmed: bool = False

    def with_pressure(self, column: int) -> ImportMapping:
        """The mapping with another pressure column and what its header says of it; to be confirmed anew."""
        guess = _pressure(self.pressures, column)
        return replace(self, pressure_column=column, unit=guess.unit, reference=guess.reference, confirmed=False)


def guess_mapping(
    data: bytes, path: Path | None = None, *, time_column: int | None = None, pressure_column: int | None = None
) -> ImportMapping:
    """Guess what is what in a file; nothing in the answer is confirmed.

    Parameters
    ----------
    data
        The file.
    path
        Its name, for messages.
    time_column, pressure_column
        Columns (counted from 0) that a person chose; kind, unit and doubts are then guessed for these.

    Raises
    ------
    UnreadableInput
        The file is empty, no text, or holds no table of numbers.
    WrongUsage
        A chosen column is not there or cannot be what it was chosen for.
    """
    lines = file_lines(data, path)
    separator, why_separator = guess_separator(lines, path)
    sheet = cut(lines, separator, path=path)
    decimal, why_decimal = decimal_of(sheet)
    time_column, why_time = _chosen(sheet, time_column) or time_column_of(sheet, decimal)
    kind, why_kind = kind_of(sheet, time_column, decimal)
    date_column = date_column_of(sheet, time_column) if kind == "clock" else None
    dated = time_column if date_column is None else date_column
    day_first, why_day = guess_day_first(sheet.column(dated) if dated is not None else ())
    pressures = tuple(_pressures(sheet, time_column, decimal))
    best = _best(pressures, pressure_column, path)
    reasons = {
        "separator": why_separator, "decimal": why_decimal, "time_column": why_time, "time_kind": why_kind,
        "pressure_column": best.reason, "unit": _why_unit(best), "reference": _why_reference(best, sheet, decimal),
    }
    if kind == "clock":
        reasons["day_first"] = why_day
    mapping = ImportMapping(
        separator, decimal, sheet.lines[0], sheet.names, time_column, kind, best.column, best.unit, best.reference,
        date_column=date_column, day_first=day_first, pressures=pressures, reasons=reasons,
    )
    cut_off = cut_decimals(sheet, best.column, path)
    return replace(mapping, doubts=(*((cut_off,) if cut_off else ()), *_doubts(sheet, mapping)))


def _chosen(sheet: Sheet, column: int | None) -> tuple[int, str] | None:
    if column is None:
        return None
    if not 0 <= column < len(sheet.names):
        raise WrongUsage(f"there is no column {column + 1}; the table has {len(sheet.names)}.")
    return column, "chosen"


def _best(pressures: Sequence[PressureGuess], column: int | None, path: Path | None) -> PressureGuess:
    if not pressures:
        raise UnreadableInput("no column of numbers is left for the pressure beside the time.", path)
    if column is None:
        return max(pressures, key=_likeness)
    return _pressure(pressures, column)


def _pressure(pressures: Sequence[PressureGuess], column: int) -> PressureGuess:
    for guess in pressures:
        if guess.column == column:
            return guess
    raise WrongUsage(f"column {column + 1} holds no numbers that could be pressures.")


def _pressures(sheet: Sheet, time_column: int | None, decimal: str) -> Iterator[PressureGuess]:
    for i, name in enumerate(sheet.names):
        values = finite_numbers(sheet, i, decimal)
        counts = values.size > 2 and bool(np.all(np.diff(values) == 1))
        if i == time_column or 2 * values.size <= len(sheet.rows) or (counts and not unit_in(name)):
            continue
        units = {found[1] for cell in sheet.column(i) if (found := number_and_unit(cell))}
        unit = unit_in(name) or (units.pop() if len(units) == 1 else None) or _unit_beside(sheet, i)
        reason = f"the header '{name}' names the unit {unit}" if unit_in(name) else f"'{name}' is a column of numbers"
        if has_word(name, PRESSURE_WORDS):
            reason = f"the header '{name}' names a pressure"
        yield PressureGuess(i, name, unit, _reference(name, unit), reason)


def _reference(name: str, unit: str | None) -> Reference | None:
    """What the header says; a bare "vacuum" in a unit of fine vacuum is as often an absolute pressure."""
    found = reference_in(name)
    return None if found == "vacuum" and unit in ("Pa", "hPa", "mbar", "mmHg", "Torr") else found


def _unit_beside(sheet: Sheet, column: int) -> str | None:
    """The unit that stands in every cell of the next column, if one does."""
    if column + 1 >= len(sheet.names):
        return None
    words = {cell.strip() for cell in sheet.column(column + 1)} - {""}
    return unit_in(words.pop()) if len(words) == 1 else None


def _likeness(guess: PressureGuess) -> tuple[bool, bool, int]:
    return guess.unit is not None, has_word(guess.name, PRESSURE_WORDS), -guess.column


def _why_unit(guess: PressureGuess) -> str:
    if guess.unit is None:
        return f"'{guess.name}' names no pressure unit; say which it is"
    return f"named with the column '{guess.name}'"


def _why_reference(guess: PressureGuess, sheet: Sheet, decimal: str) -> str:
    if guess.reference is not None:
        return f"the header '{guess.name}' says so"
    values = finite_numbers(sheet, guess.column, decimal)
    span = f"the numbers lie between {values.min():.6g} and {values.max():.6g}"
    return f"the header does not say what the numbers count from ({span}); say absolute, vacuum or gauge"


def _doubts(sheet: Sheet, mapping: ImportMapping) -> Iterator[str]:
    seconds = _seconds(sheet, mapping, mapping.interval_s or 1.0)
    name = "the rows" if mapping.time_column is None else sheet.names[mapping.time_column]
    if mapping.time_column is None:
        yield "The file has no clock; say how many seconds lie between two rows."
    elif mapping.time_kind == "counter":
        yield f"'{name}' may count rows and not seconds; say how many seconds lie between two."
    yield from clock_doubts(seconds, sheet.lines)
    for i, other in enumerate(sheet.names):
        own = i in (mapping.time_column, mapping.date_column) or mapping.time_kind == "counter"
        if not own and is_clock(sheet, i, mapping.decimal):
            kind, _ = kind_of(sheet, i, mapping.decimal)
            again = replace(mapping, time_column=i, time_kind=kind, date_column=None)
            doubt = clocks_disagree(name, seconds, other, _seconds(sheet, again, 1.0))
            yield from (doubt,) if doubt else ()
    yield from _pressure_doubts(sheet, mapping)


def _pressure_doubts(sheet: Sheet, mapping: ImportMapping) -> Iterator[str]:
    cells = sheet.column(mapping.pressure_column)
    if mapping.reference == "absolute" and np.any(finite_numbers(sheet, mapping.pressure_column, mapping.decimal) < 0):
        yield "Some numbers are below zero, which no absolute pressure is; does the gauge count from the room?"
    beside = sheet.column(min(mapping.pressure_column + 1, len(sheet.names) - 1))
    units = [_cell_unit(cell, next_cell) for cell, next_cell in zip(cells, beside, strict=True)]
    named = [unit for unit in units if unit]
    if len(set(named)) > 1:
        place = next(i for i, unit in enumerate(units) if unit and unit != named[0])
        yield f"The unit changes from {named[0]} to {units[place]} in line {sheet.lines[place]}."
        return
    change = unit_change(sheet.numbers(mapping.pressure_column, mapping.decimal))
    if change:
        yield f"In line {sheet.lines[change[0]]} {change[1]}; was the display's unit changed?"


def _cell_unit(cell: str, next_cell: str) -> str | None:
    """The unit in a cell, or the one that alone fills the cell beside it."""
    found = number_and_unit(cell)
    if found:
        return found[1]
    return unit_in(next_cell) if not bare_number(next_cell) else None


def _seconds(sheet: Sheet, mapping: ImportMapping, interval_s: float | None) -> FloatArray:
    column = mapping.time_column
    cells = sheet.column(column) if column is not None else ("",) * len(sheet.rows)
    if mapping.date_column is not None:
        dates = sheet.column(mapping.date_column)
        cells = tuple(f"{day} {clock}" for day, clock in zip(dates, cells, strict=True))
    return seconds_of(cells, mapping.time_kind, mapping.decimal, day_first=mapping.day_first, interval_s=interval_s)


def convert(
    data: bytes, mapping: ImportMapping, header: Mapping[str, str] | None = None, path: Path | None = None
) -> Log:
    """The log of another logger's file.

    Parameters
    ----------
    data
        The file.
    mapping
        Confirmed, with unit and reference.
    header
        Further header keys of the log and their texts, such as ``{"box": "B-07"}``.
    path
        The file's name, for messages and for the key ``imported_from``.

    Raises
    ------
    WrongUsage
        The unit or the reference is not given, the mapping is not confirmed, or a key's value is bad.
    UnreadableInput
        The file has no such columns, or most rows have no time.
    """
    gauge = _gauge(mapping)
    sheet = cut(file_lines(data, path), mapping.separator, mapping.first_row, path)
    for column in (mapping.pressure_column, mapping.time_column or 0):
        if not 0 <= column < len(sheet.names):
            raise UnreadableInput(f"there is no column {column + 1}; the table has {len(sheet.names)}.", path)
    seconds = _seconds(sheet, mapping, mapping.interval_s)
    timed = np.flatnonzero(np.isfinite(seconds))
    if 2 * timed.size <= len(sheet.rows):
        raise UnreadableInput("most rows have no time that can be read; look at the mapping.", path, sheet.lines[0])
    dropped = tuple(line for line, time in zip(sheet.lines, seconds, strict=True) if not np.isfinite(time))
    column_cells = sheet.column(mapping.pressure_column)
    cells = [column_cells[i] for i in timed]
    reading = np.array([_reading(cell, mapping, gauge) for cell in cells], dtype=np.float64)
    raw = tuple(escape_raw(cell.encode("utf-8", "replace")) for cell in cells)
    elapsed = np.round(seconds[timed] - seconds[timed[0]], 6)
    log_header = _header(mapping, gauge, header or {}, float(seconds[timed[0]]), path)
    return Log(log_header, elapsed, reading, raw, (), _further(sheet, mapping, timed.tolist()), path, (), dropped)


def _gauge(mapping: ImportMapping) -> GaugeUnit:
    if mapping.unit is None:
        raise WrongUsage("the pressure's unit is not known; say which it is, no unit is assumed.")
    if mapping.reference not in ("absolute", "vacuum", "gauge"):
        raise WrongUsage("say what the pressure counts from: absolute, vacuum or gauge.")
    if not mapping.confirmed:
        raise WrongUsage("the mapping is only a guess; look at it and confirm it.")
    return GaugeUnit(mapping.reference, parse_unit(mapping.unit))


def _reading(cell: str, mapping: ImportMapping, gauge: GaugeUnit) -> float:
    """Number of a cell; NaN where the cell itself names another unit."""
    found = number_and_unit(cell)
    return float("nan") if found and found[1] != gauge.unit else read_cell(cell, mapping.decimal)


def _header(
    mapping: ImportMapping, gauge: GaugeUnit, keys: Mapping[str, str], first_s: float, path: Path | None
) -> LogHeader:
    texts = {"imported_from": shown(path.name, 200)} if path else {}
    if mapping.time_kind.startswith("epoch"):
        texts["started"] = datetime.fromtimestamp(first_s, UTC).isoformat(timespec="seconds")
    texts |= keys
    if "gauge" in keys:
        raise WrongUsage("the gauge's unit comes from the mapping; leave the key gauge out.")
    values = {key: value for key in texts if key in KEYS and (value := header_value(key, texts[key])) is not None}
    return LogHeader(gauge, **values, extra={key: text for key, text in texts.items() if key not in KEYS})


def _further(sheet: Sheet, mapping: ImportMapping, timed: Sequence[int]) -> dict[str, tuple[str, ...]]:
    """The other columns as text under names that no log's own column has."""
    further: dict[str, tuple[str, ...]] = {}
    for i, name in enumerate(sheet.names):
        if i == mapping.pressure_column or (i == mapping.time_column and mapping.time_kind != "clock"):
            continue
        label = name if name not in ("elapsed_s", "reading", "raw", "note") else f"{name} of the file"
        while label in further:
            label += "'"
        column = sheet.column(i)
        further[label] = tuple(column[row] for row in timed)
    return further
