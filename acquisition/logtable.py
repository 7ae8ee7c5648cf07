"""The table below a log's header: a quick way for what a recorder wrote, a patient way for the rest.

Both ways give the same rows. The quick one refuses whatever is odd, and then the patient one looks at
every cell: decimal commas, words in place of numbers, short rows, a last line that was cut.
"""

from __future__ import annotations

import csv
import io
import itertools
import math
import warnings
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from acquisition.errors import UnreadableInput, shown
from acquisition.numbers import LARGEST, is_cut_decimal, to_number
from acquisition.records import FloatArray

MOST_LINE_BYTES = 64_000
QUICK_FROM_BYTES = 256_000
"""Below this the patient way is done before the quick one has loaded pandas."""

BLOCK_BYTES = 1_000_000
"""Size of the parts that a table is read in when something in it is odd."""

_REQUIRED = ("elapsed_s", "reading")


@dataclass(frozen=True)
class Table:
    """Columns of a log; see ``Log`` for what they hold. ``dropped`` are line number and fault of rows left out."""

    elapsed_s: FloatArray
    reading: FloatArray
    texts: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    dropped: tuple[tuple[int, str], ...] = ()

    @property
    def raw(self) -> tuple[str, ...]:
        """Lines as heard, or empty without that column."""
        return self.texts.get("raw", ())

    @property
    def note(self) -> tuple[str, ...]:
        """Notes, or empty without that column."""
        return self.texts.get("note", ())

    @property
    def columns(self) -> dict[str, tuple[str, ...]]:
        """The further columns."""
        return {name: cells for name, cells in self.texts.items() if name not in ("raw", "note")}

    @property
    def dropped_lines(self) -> tuple[int, ...]:
        """1-based line numbers of the rows left out."""
        return tuple(number for number, _ in self.dropped)


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


def read_table(data: bytes, layout: Layout, start: int = 0) -> Table:
    """Rows of the table.

    Parameters
    ----------
    data
        UTF-8 text, with the line below that which names the columns at ``start``.
    layout
        What that line said.

    Raises
    ------
    UnreadableInput
        Most rows have no time that is a number.
    """
    if len(data) - start < QUICK_FROM_BYTES or data.find(b"\0", start) >= 0:
        table = read_patiently(data[start:].decode("utf-8"), layout)
    else:
        table = read_quickly(data, layout, start) or _joined(_blockwise(data[start:], layout), layout)
    if len(table.dropped) > table.elapsed_s.size:
        raise _no_times(table.dropped, layout)
    silent = [name for name, cells in table.texts.items() if name.startswith("column ") and not any(cells)]
    for values in (table.elapsed_s, table.reading):
        values.flags.writeable = False
    return replace(table, texts={name: cells for name, cells in table.texts.items() if name not in silent})


def _no_times(dropped: Sequence[tuple[int, str]], layout: Layout) -> UnreadableInput:
    number, fault = dropped[0]
    return UnreadableInput(
        f"{fault} ({len(dropped)} such lines, more than half of the table).", layout.path, number
    )


def _blockwise(data: bytes, layout: Layout) -> Iterator[Table]:
    """Tables of the parts of a table, so that an odd row holds up only its own part."""
    line = layout.first_row_line
    for block in _blocks(data):
        part = read_quickly(block, layout)
        yield part or read_patiently(block.decode("utf-8"), replace(layout, first_row_line=line))
        line += block.count(b"\n") + block.count(b"\r") - block.count(b"\r\n")


def _blocks(data: bytes) -> Iterator[bytes]:
    """Parts that end with a line and have no quote left open, but for one that nothing closes."""
    start = 0
    while start < len(data):
        end = data.find(b"\n", start + BLOCK_BYTES) + 1
        while end and data.count(b'"', start, end) % 2:
            end = data.find(b"\n", end + BLOCK_BYTES) + 1
        end = end or len(data)
        yield data[start:end]
        start = end


def _joined(parts: Iterable[Table], layout: Layout) -> Table:
    tables = list(parts)
    texts = {}
    for name in dict.fromkeys([*layout.names, "raw"]):
        if any(name in table.texts for table in tables):
            blank = [("",) * table.elapsed_s.size for table in tables]
            cells = [table.texts.get(name, none) for table, none in zip(tables, blank, strict=True)]
            texts[name] = tuple(itertools.chain.from_iterable(cells))
    return Table(
        np.concatenate([table.elapsed_s for table in tables]),
        np.concatenate([table.reading for table in tables]),
        texts,
        tuple(itertools.chain.from_iterable(table.dropped for table in tables)),
    )


def read_quickly(data: bytes, layout: Layout, start: int = 0) -> Table | None:
    """Rows by pandas' C reader; None when anything is odd and wants the patient way.

    The text is read where it stands: a large log's copies cost as much as its numbers.
    """
    import pandas as pd

    types = {name: "float64" if name in _REQUIRED else "object" for name in layout.names}
    comma = layout.separator != "," and data.find(b",", start) >= 0
    handle = io.BytesIO(data)
    handle.seek(start)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            frame = pd.read_csv(
                handle, sep=layout.separator, decimal="," if comma else ".", names=list(layout.names),
                dtype=types, index_col=False, encoding="utf-8", keep_default_na=False, na_values={"reading": [""]},
            )
        except (ValueError, pd.errors.ParserWarning):
            return None
    # Fewer rows than line ends: a quote left open may have swallowed rows.
    if len(frame) < max(_count(data, b"\n", start), _count(data, b"\r", start)):
        return None
    numbers = {name: np.array(frame[name], dtype=np.float64) for name in _REQUIRED}
    if any(np.any(np.abs(values) > LARGEST) for values in numbers.values()):
        return None
    texts = {name: tuple(frame[name].tolist()) for name in layout.names if name not in _REQUIRED}
    if (beside := _beside_reading(layout)) and _may_be_decimals(numbers["reading"], texts[beside]):
        return None
    return Table(numbers["elapsed_s"], numbers["reading"], texts)


def _beside_reading(layout: Layout) -> str:
    """The column of words that takes the decimals of a reading with a decimal comma; empty where there is none."""
    after = layout.names.index("reading") + 1
    name = layout.names[after] if after < len(layout.names) else ""
    return name if layout.separator == "," and name in ("raw", "note") else ""


def _may_be_decimals(reading: FloatArray, words: Sequence[str]) -> bool:
    whole = np.flatnonzero(reading == np.round(reading))
    beside = [words[i] for i in whole.tolist()]
    # A long log has many rows and few different words.
    decimals = {word: float(word) for word in set(beside) if is_cut_decimal("0", word)}
    pairs = zip(reading[whole].tolist(), beside, strict=True) if decimals else ()
    return any(word in decimals and decimals[word] != value for value, word in pairs)


def _refuse_cut_decimals(line: str, cells: Sequence[str], layout: Layout, number: int) -> None:
    """Refuse a row such as ``120,25,2``: the words beside a reading stand in quotes where they are but a number.

    Raises
    ------
    UnreadableInput
        It may be 25.2 as well as 25 and a remark.
    """
    at = layout.names.index("reading")
    pair = cells[at : at + 2]
    if len(pair) < 2 or not is_cut_decimal(*pair):
        return
    if float(pair[0]) != float(pair[1]) and f'"{pair[1]}"' not in line:
        raise UnreadableInput(
            f"'{shown(','.join(pair))}' may be a number with a decimal comma; write decimal points, or ; between the"
            " cells, or a remark in quotes.", layout.path, number,
        )  # fmt: skip


def _count(data: bytes, letter: bytes, start: int) -> int:
    """How often a letter stands in the data from ``start`` on; ``bytes.count`` takes three times as long."""
    if data.find(letter, start) < 0:
        return 0
    codes = np.frombuffer(data, dtype=np.uint8, offset=start)
    parts = range(0, codes.size, BLOCK_BYTES)
    return sum(int(np.count_nonzero(codes[at : at + BLOCK_BYTES] == letter[0])) for at in parts)


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
            dropped.append((number, _fault(cells, place)))
        else:
            times.append(time)
            rows.append(cells)
    columns = dict(zip(layout.names, zip(*rows, strict=True), strict=True)) if rows else {}
    return _patient_table(np.array(times, dtype=np.float64), columns, layout, tuple(dropped))


def _fault(cells: Sequence[str], place: int) -> str:
    if cells:
        return f"elapsed_s is '{shown(cells[place])}', which is no number of seconds"
    return "more cells than columns; decimal commas need ; between the cells, or quotes around them"


def _patient_table(
    elapsed_s: FloatArray, columns: dict[str, tuple[str, ...]], layout: Layout, dropped: tuple[tuple[int, str], ...]
) -> Table:
    cells = columns.get("reading", ())
    reading = np.array([to_number(cell) for cell in cells], dtype=np.float64)
    texts = {name: columns.get(name, ()) for name in layout.names if name not in _REQUIRED}
    words = [i for i, cell in enumerate(cells) if math.isnan(reading[i]) and cell.strip()]
    if words:
        texts["raw"] = _with_words(texts.get("raw") or ("",) * len(cells), cells, words)
    return Table(elapsed_s, reading, texts, dropped)


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
    beside = _beside_reading(layout)
    at = 0
    while at < len(lines):
        pieces = _quoted_together(lines, at)
        cells = _cells(pieces, layout.separator)
        if len(pieces) > 1 and _broken_raw(cells, layout.names):
            pieces = pieces[:1]
            cells = _cells(pieces, layout.separator)
        if beside:
            _refuse_cut_decimals(pieces[0], cells, layout, layout.first_row_line + at)
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
