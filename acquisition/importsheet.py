"""Another logger's file cut into cells: encoding, separator, header, where the numbers begin."""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from acquisition.errors import UnreadableInput, WrongUsage
from acquisition.importcells import number_like, read_cell, unit_in
from acquisition.numbers import is_cut_decimal
from acquisition.records import FloatArray

SEPARATORS: dict[str, str] = {";": "semicolon", "\t": "tab", ",": "comma", "|": "bar", " ": "blanks"}
MOST_IMPORT_BYTES = 200_000_000

_LOOK_AT = 300
_BINARY = re.compile(r"[\x00-\x08\x0e-\x1f]")


@dataclass(frozen=True)
class Sheet:
    """The cells of a file.

    ``names`` are the columns' names (``column 3`` where there is none); ``rows`` the cells of each row,
    all of one width, and ``lines`` their 1-based line numbers; ``preamble`` the lines above.
    """

    separator: str
    names: tuple[str, ...]
    named: bool
    rows: tuple[tuple[str, ...], ...]
    lines: tuple[int, ...]
    preamble: tuple[str, ...]
    _read: dict[tuple[int, str], FloatArray] = field(default_factory=dict, repr=False, compare=False)

    def column(self, index: int) -> tuple[str, ...]:
        """Texts of one column."""
        return tuple(row[index] for row in self.rows)

    def numbers(self, index: int, decimal: str) -> FloatArray:
        """Numbers of one column, NaN for words; read once, for a large file has many cells."""
        if (index, decimal) not in self._read:
            cells = self.column(index)
            if any(cell.count(decimal) > 1 for cell in cells):
                # Where one cell parts its thousands, the shorter ones do so too.
                cells = tuple(cell.replace(decimal, "") for cell in cells)
            self._read[index, decimal] = np.array([read_cell(cell, decimal) for cell in cells], dtype=np.float64)
        return self._read[index, decimal]


def file_lines(data: bytes, path: Path | None = None) -> list[str]:
    """Lines of the file's text.

    Raises
    ------
    UnreadableInput
        The file is empty, no text or too large.
    """
    if len(data) > MOST_IMPORT_BYTES:
        raise UnreadableInput(f"larger than {MOST_IMPORT_BYTES // 1_000_000} MB, too large for an import.", path)
    text = _decoded(data)
    if not text.strip():
        raise UnreadableInput("the file is empty.", path)
    if data[:2] == b"PK":
        raise UnreadableInput("this is a spreadsheet or archive; save the table as CSV first.", path)
    if _BINARY.search(text[:4000]):
        raise UnreadableInput("this is no text file; save the table as CSV first.", path)
    return re.split(r"\r\n|\r|\n", text)


def _decoded(data: bytes) -> str:
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return data.decode("utf-16", "replace")
    try:
        return data.decode("utf-8-sig").rstrip("\0")
    except UnicodeDecodeError:
        return data.decode("cp1252", "replace")


def split_line(line: str, separator: str) -> list[str]:
    """Cells of one line."""
    if separator == " ":
        return line.split()
    try:
        return [cell.strip() for cell in next(csv.reader([line], delimiter=separator), [])]
    except csv.Error:
        return [cell.strip() for cell in line.split(separator)]


def guess_separator(lines: Sequence[str], path: Path | None = None) -> tuple[str, str]:
    """The separator under which most lines fall into the same number of number-like cells, and the reason.

    Raises
    ------
    UnreadableInput
        No separator makes a table of numbers.
    """
    tried = {separator: _fitness(lines, separator) for separator in SEPARATORS}
    best = max(tried, key=lambda separator: tried[separator])
    if tried[best][0] <= 0:
        raise UnreadableInput("there is no table of numbers in this file.", path)
    share, _, width = tried[best]
    return best, f"{SEPARATORS[best]} cuts {share:.0%} of the lines into {width} cells of numbers"


def _fitness(lines: Sequence[str], separator: str) -> tuple[float, float, int]:
    """Share of lines of one width that hold mostly numbers, share of numbers in them, and that width."""
    cells = [split_line(line, separator) for line in _sample(lines)]
    widths = Counter(len(row) for row in cells if _is_row(row))
    if not widths:
        return 0.0, 0.0, 0
    width, count = max(widths.items(), key=lambda item: (item[1], item[0]))
    numbers = sum(number_like(cell) for row in cells if len(row) == width for cell in row)
    # A single column is the last thing to believe.
    return (count / len(cells)) * (1.0 if width > 1 else 0.5), numbers / (width * len(cells)), width


def _sample(lines: Sequence[str]) -> list[str]:
    filled = [line for line in lines if line.strip()]
    return filled[:_LOOK_AT]


def _is_row(cells: Sequence[str]) -> bool:
    filled = [cell for cell in cells if cell]
    return bool(filled) and 2 * sum(number_like(cell) for cell in filled) >= len(filled)


def cut(lines: Sequence[str], separator: str, first_row: int | None = None, path: Path | None = None) -> Sheet:
    """Cut lines into a sheet.

    Parameters
    ----------
    lines
        Of the file.
    separator
        One of ``SEPARATORS``.
    first_row
        1-based line of the first row of numbers, or None to look for it.

    Raises
    ------
    UnreadableInput
        There is no row of numbers.
    WrongUsage
        The separator is not known.
    """
    if separator not in SEPARATORS:
        raise WrongUsage(f"'{separator}' is no separator; take one of {', '.join(SEPARATORS.values())}.")
    cells = [split_line(line, separator) for line in lines]
    widths = Counter(len(row) for row in cells[:_LOOK_AT * 3] if _is_row(row))
    if not widths:
        raise UnreadableInput("there is no table of numbers in this file.", path)
    width = max(widths, key=lambda w: (widths[w], w))
    start = first_row - 1 if first_row else next(i for i, row in enumerate(cells) if len(row) == width and _is_row(row))
    names, above = _names(cells[:start], width)
    if separator == " " and len(names) != width:
        names, above = _names([re.split(r"\s{2,}|\t", line.strip()) for line in lines[:start]], width)
        names = names if len(names) == width else []
    width = max(width, len(names))
    kept = [(i + 1, row) for i, row in enumerate(cells) if i >= start and any(row)]
    for number, row in kept if separator == "," else ():
        if len(row) == width + 1 and is_cut_decimal(*row[-2:]):
            raise UnreadableInput(decimal_comma(",".join(row[-2:])), path, number)
    rows = tuple(tuple((row + [""] * width)[:width]) for _, row in kept)
    full = tuple(name or f"column {i}" for i, name in enumerate([*names, *[""] * (width - len(names))], start=1))
    preamble = tuple(line for line in lines[:above] if line.strip())
    return Sheet(separator, full, bool(names), rows, tuple(n for n, _ in kept), preamble)


def decimal_comma(pair: str) -> str:
    """What to do about cells that may be one number."""
    return f"'{pair}' may be a number with a decimal comma; save the table with decimal points, or ; between the cells."


def _names(above: Sequence[list[str]], width: int) -> tuple[list[str], int]:
    """Names from the line above the numbers, joined with a line of units below it; and where they begin."""
    places = [i for i, row in enumerate(above) if any(row)]
    if not places or abs(len(above[places[-1]]) - width) > 1:
        return [], len(above)
    last = above[places[-1]]
    if len(places) > 1 and _is_units(last) and len(above[places[-2]]) >= width - 1:
        head = above[places[-2]]
        both = [f"{head[i] if i < len(head) else ''} {last[i] if i < len(last) else ''}".strip() for i in range(width)]
        return both, places[-2]
    return list(last), places[-1]


def _is_units(cells: Sequence[str]) -> bool:
    words = [cell.strip("[]() ") for cell in cells if cell.strip("[]() ")]
    return bool(words) and any(unit_in(word) for word in words) and all(len(word) <= 12 for word in words)
