"""The table below a log's header: a quick way for what a recorder wrote, a patient way for the rest.

Both ways give the same rows. The quick one refuses whatever is odd, and then the patient one looks at
every cell: decimal commas, words in place of numbers, short rows, a last line that was cut.
"""

from __future__ import annotations

import csv
import io
import math
import warnings
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from acquisition.errors import UnreadableInput, shown
from acquisition.numbers import LARGEST, to_number
from acquisition.records import FloatArray

MOST_LINE_BYTES = 64_000
QUICK_FROM_BYTES = 256_000
"""Below this the patient way is done before the quick one has loaded pandas."""

_REQUIRED = ("elapsed_s", "reading")


@dataclass(frozen=True)
class Table:
    """Columns of a log; see ``Log`` for what they hold."""

    elapsed_s: FloatArray
    reading: FloatArray
    raw: tuple[str, ...] = ()
    note: tuple[str, ...] = ()
    columns: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    dropped_lines: tuple[int, ...] = ()


@dataclass(frozen=True)
class Layout:
    """Where the table stands: its column names, the separator, and the line number of its first row."""

    names: tuple[str, ...]
    separator: str
    first_row_line: int
    path: Path | None


def read_layout(line: str, number: int, path: Path | None) -> Layout:
    """Names and separator from the line that names the columns.

    Raises
    ------
    UnreadableInput
        ``elapsed_s`` or ``reading`` is not there, or a name stands there twice.
    """
    separator = max(",;\t", key=line.count)
    names = tuple(name.strip() for name in next(csv.reader([line], delimiter=separator)))
    names = tuple(name or f"column {i}" for i, name in enumerate(names, start=1))
    for required in _REQUIRED:
        if required not in names:
            raise UnreadableInput(
                f"the line above the table must name the columns elapsed_s and reading; '{required}' is missing.",
                path, number,
            )
    if len(set(names)) < len(names):
        twice = next(name for name in names if names.count(name) > 1)
        raise UnreadableInput(f"the column '{twice}' is named twice; rename one.", path, number)
    return Layout(names, separator, number + 1, path)


def read_table(data: bytes, layout: Layout) -> Table:
    """Rows of the table.

    Parameters
    ----------
    data
        UTF-8 text below the line that names the columns.
    layout
        What that line said.

    Raises
    ------
    UnreadableInput
        Most rows have no time that is a number.
    """
    table = None
    if len(data) >= QUICK_FROM_BYTES and layout.separator == "," and b"\0" not in data:
        table = read_quickly(data, layout)
    return table or read_patiently(data.decode("utf-8"), layout)


def read_quickly(data: bytes, layout: Layout) -> Table | None:
    """Rows by pandas' C reader; None when anything is odd and wants the patient way."""
    import pandas as pd

    types = {name: "float64" if name in _REQUIRED else "object" for name in layout.names}
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            frame = pd.read_csv(
                io.BytesIO(data), names=list(layout.names), dtype=types, index_col=False, encoding="utf-8",
                keep_default_na=False, na_values={"reading": [""]},
            )
        except (ValueError, pd.errors.ParserWarning):
            return None
    # Fewer rows than line ends: a quote left open may have swallowed rows.
    if len(frame) < max(data.count(b"\n"), data.count(b"\r")):
        return None
    numbers = {name: np.array(frame[name], dtype=np.float64) for name in _REQUIRED}
    if any(np.any(np.abs(values) > LARGEST) for values in numbers.values()):
        return None
    texts = {name: tuple(frame[name].tolist()) for name in layout.names if name not in _REQUIRED}
    return _table(numbers["elapsed_s"], numbers["reading"], texts, ())


def _table(
    elapsed_s: FloatArray, reading: FloatArray, texts: Mapping[str, tuple[str, ...]], dropped: tuple[int, ...]
) -> Table:
    further = {name: cells for name, cells in texts.items() if name not in ("raw", "note")}
    for values in (elapsed_s, reading):
        values.flags.writeable = False
    return Table(elapsed_s, reading, texts.get("raw", ()), texts.get("note", ()), further, dropped)


def read_patiently(text: str, layout: Layout) -> Table:
    """Rows looked at cell by cell; a row without a time is dropped and its line remembered."""
    rows: list[list[str]] = []
    times: list[float] = []
    dropped: list[tuple[int, str]] = []
    width = len(layout.names)
    place = layout.names.index("elapsed_s")
    for number, cells in _records(text, layout):
        cells = _fitted(cells, width)
        time = to_number(cells[place]) if cells else math.nan
        if math.isnan(time):
            dropped.append((number, cells[place] if cells else "more cells than columns"))
        else:
            times.append(time)
            rows.append(cells)
    if len(dropped) > len(rows):
        raise _no_times(dropped[0], len(dropped), layout)
    columns = dict(zip(layout.names, zip(*rows, strict=True), strict=True)) if rows else {}
    return _patient_table(np.array(times, dtype=np.float64), columns, layout, tuple(n for n, _ in dropped))


def _no_times(first: tuple[int, str], count: int, layout: Layout) -> UnreadableInput:
    number, cell = first
    if cell == "more cells than columns":
        reason = "more cells than columns; decimal commas need ; between the cells, or quotes around them"
    else:
        reason = f"elapsed_s is '{shown(cell)}', which is no number of seconds"
    return UnreadableInput(f"{reason} ({count} such lines, more than half of the table).", layout.path, number)


def _patient_table(
    elapsed_s: FloatArray, columns: dict[str, tuple[str, ...]], layout: Layout, dropped: tuple[int, ...]
) -> Table:
    cells = columns.pop("reading", ())
    columns.pop("elapsed_s", None)
    reading = np.array([to_number(cell) for cell in cells], dtype=np.float64)
    columns = {name: columns.get(name, ()) for name in layout.names if name not in _REQUIRED}
    columns = {name: cs for name, cs in columns.items() if not (name.startswith("column ") and not any(cs))}
    words = [i for i, cell in enumerate(cells) if math.isnan(reading[i]) and cell.strip()]
    if words:
        columns["raw"] = _with_words(columns.get("raw") or ("",) * len(cells), cells, words)
    return _table(elapsed_s, reading, columns, dropped)


def _with_words(raw: tuple[str, ...], cells: tuple[str, ...], words: list[int]) -> tuple[str, ...]:
    """Keep the word that stood where a number should be, as the line that was heard."""
    kept = list(raw)
    for i in words:
        kept[i] = kept[i] or cells[i].strip()
    return tuple(kept)


def _fitted(cells: list[str], width: int) -> list[str]:
    """Cells brought to the table's width; empty when there are too many that say something."""
    if any(cell.strip() for cell in cells[width:]):
        return []
    return cells[:width] + [""] * (width - len(cells))


def _records(text: str, layout: Layout) -> Iterator[tuple[int, list[str]]]:
    """Line number and cells of each row that says something."""
    lines = list(io.StringIO(text, newline=""))
    at = 0
    while at < len(lines):
        pieces = _quoted_together(lines, at)
        cells = _cells(pieces, layout.separator)
        if len(pieces) > 1 and _broken_raw(cells, layout.names):
            pieces = pieces[:1]
            cells = _cells(pieces, layout.separator)
        if any(cell.strip() for cell in cells):
            yield layout.first_row_line + at, cells
        at += len(pieces)


def _quoted_together(lines: list[str], at: int) -> list[str]:
    """The line at ``at`` with those that a quote left open takes in; alone when none closes it."""
    quotes = size = 0
    for end in range(at, len(lines)):
        quotes += lines[end].count('"')
        size += len(lines[end])
        if quotes % 2 == 0:
            return lines[at : end + 1]
        if size > MOST_LINE_BYTES:
            break
    return lines[at : at + 1]


def _broken_raw(cells: list[str], names: tuple[str, ...]) -> bool:
    """Whether a heard line runs over a line end, which the writer never lets it do."""
    return any(name == "raw" and ("\n" in cell or "\r" in cell) for name, cell in zip(names, cells, strict=False))


def _cells(pieces: list[str], separator: str) -> list[str]:
    try:
        return next(csv.reader(pieces, delimiter=separator))
    except csv.Error:
        return "".join(pieces).rstrip("\r\n").split(separator)
