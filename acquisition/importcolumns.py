"""Which column of another logger's file is what: the decimal mark, the time, the clock's kind."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence

import numpy as np

from acquisition.importcells import bare_number, names_time, number_like, time_like, unit_in
from acquisition.importclock import guess_kind
from acquisition.importsheet import Sheet
from acquisition.records import FloatArray


def decimal_of(sheet: Sheet) -> tuple[str, str]:
    """Decimal mark of the file's numbers, and the reason."""
    cells = [cell for row in sheet.rows[:2000] for cell in row if bare_number(cell)]
    commas = next((cell for cell in cells if re.fullmatch(r"[+-]?(\d+|\d{1,3}(\.\d{3})+),\d+", cell)), None)
    points = next((cell for cell in cells if re.fullmatch(r"[+-]?\d*\.\d+([eE].*)?", cell)), None)
    if commas and points:
        return (".", f"points as in '{points}'") if sheet.separator == "," else _mixed(cells, commas, points)
    if commas:
        return ",", f"commas as in '{commas}'"
    return ".", f"points as in '{points}'" if points else "no number has a fraction"


def _mixed(cells: Sequence[str], commas: str, points: str) -> tuple[str, str]:
    with_comma = sum("," in cell for cell in cells)
    if 2 * with_comma > len(cells):
        return ",", f"more numbers have commas, as in '{commas}', than points, as in '{points}'"
    return ".", f"more numbers have points, as in '{points}', than commas, as in '{commas}'"


def time_column_of(sheet: Sheet, decimal: str) -> tuple[int | None, str]:
    """Place of the time column and the reason: numbers under a time's name, then a clock, then any that rise."""
    columns = range(len(sheet.names))
    named = [i for i in columns if sheet.named and names_time(sheet.names[i]) and _filled(sheet, i)]
    moments = [i for i in columns if _share(time_like, sheet.column(i)) > 0.5 and not _all_bare(sheet, i)]
    for i in (i for i in named if i not in moments):
        return i, f"the header '{sheet.names[i]}' names a time"
    for i in sorted(moments, key=lambda i: _share(_date_only, sheet.column(i)) > 0.5):
        return i, f"the cells of '{sheet.names[i]}' are clock times"
    for i in columns:
        values = finite_numbers(sheet, i, decimal)
        if len(sheet.names) > 1 and values.size > 1 and np.all(np.diff(values) > 0):
            return i, f"the numbers of '{sheet.names[i]}' go up from row to row"
    return None, "no column goes up like a time; the rows are counted"


def _dayless(cell: str) -> bool:
    return bool(re.match(r"\s*\d{1,3}:", cell))


def date_column_of(sheet: Sheet, time_column: int | None) -> int | None:
    """The column that holds dates without clock times, where the time's own column has no dates."""
    if time_column is None or _share(_dayless, sheet.column(time_column)) < 0.5:
        return None
    dates = (i for i in range(len(sheet.names)) if _share(_date_only, sheet.column(i)) > 0.5)
    return next(dates, None)


def _date_only(cell: str) -> bool:
    return ":" not in cell and not bare_number(cell) and time_like(cell)


def _filled(sheet: Sheet, column: int) -> bool:
    return _share(number_like, sheet.column(column)) > 0.5


def _all_bare(sheet: Sheet, column: int) -> bool:
    return _share(bare_number, sheet.column(column)) > 0.5


def _share(test: Callable[[str], bool], cells: Sequence[str]) -> float:
    answers = [test(cell) for cell in cells[:500]]
    return sum(answers) / max(len(answers), 1)


def finite_numbers(sheet: Sheet, column: int, decimal: str) -> FloatArray:
    """Numbers of a column without its words."""
    values = sheet.numbers(column, decimal)
    return values[np.isfinite(values)]


def kind_of(sheet: Sheet, column: int | None, decimal: str) -> tuple[str, str]:
    """What a time column counts, and the reason; without one the rows are counted."""
    if column is None:
        return "counter", "there is no clock in the file; say how many seconds lie between two rows"
    name = sheet.names[column] if sheet.named else ""
    return guess_kind(name, [cell for cell in sheet.column(column) if cell], decimal)


def is_clock(sheet: Sheet, column: int, decimal: str) -> bool:
    """Whether a column could serve as the file's clock."""
    name = sheet.names[column]
    if not _all_bare(sheet, column):
        return _share(time_like, sheet.column(column)) > 0.5
    values = finite_numbers(sheet, column, decimal)
    rising = values.size > 2 and bool(np.all(np.diff(values) >= 0))
    return rising and sheet.named and names_time(name) and unit_in(name) is None
