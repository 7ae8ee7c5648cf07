"""The time column of another logger's file: which kind it is, and the seconds it means."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import Literal

import numpy as np

from acquisition.errors import WrongUsage
from acquisition.importcells import Moment, bare_number, read_cell, read_moment
from acquisition.records import FloatArray

TimeKind = Literal[
    "seconds", "milliseconds", "microseconds", "minutes", "hours", "epoch-seconds", "epoch-milliseconds",
    "spreadsheet-days", "clock", "counter",
]
SECONDS_PER: dict[str, float] = {
    "seconds": 1.0,
    "milliseconds": 1e-3,
    "microseconds": 1e-6,
    "minutes": 60.0,
    "hours": 3600.0,
    "epoch-seconds": 1.0,
    "epoch-milliseconds": 1e-3,
    "spreadsheet-days": 86_400.0,
}
TIME_KINDS: tuple[str, ...] = (*SECONDS_PER, "clock", "counter")

_UNIT_WORDS: dict[TimeKind, tuple[str, ...]] = {
    "milliseconds": ("ms", "msec", "millis", "milliseconds", "millisekunden", "milliseconden", "millisecondes"),
    "microseconds": ("us", "µs", "μs", "usec", "micros", "microseconds"),
    "minutes": ("min", "mins", "minutes", "minuten", "minuti", "minutos"),
    "hours": ("h", "hr", "hrs", "hours", "stunden", "uren", "heures", "horas"),
    "seconds": ("s", "sec", "secs", "seconds", "sekunden", "seconden", "secondes", "segundos", "secondi"),
}
_DAY_S = 86_400.0
SHORTEST_TEST_S = 15.0
"""Nobody keeps a log of less: a time column that would mean so little in milliseconds counts seconds."""


def guess_kind(name: str, cells: Sequence[str], decimal: str) -> tuple[TimeKind, str]:
    """Kind of a time column and the reason, from its header and its cells."""
    if _mostly(not bare_number(cell) and read_moment(cell, True) is not None for cell in cells):
        return "clock", f"the cells read as clock times, such as '{cells[0].strip()}'"
    values = np.array([read_cell(cell, decimal) for cell in cells])
    values = values[np.isfinite(values)]
    epoch = _epoch(values)
    if epoch:
        return epoch
    words = set(re.findall(r"[^\W\d_]+", name.lower()))
    for kind, names in _UNIT_WORDS.items():
        if words & set(names):
            return kind, f"the header '{name}' says so"
    return _kind_from_steps(name, cells, values, decimal)


def _mostly(answers: Iterable[bool]) -> bool:
    found = list(answers)
    return sum(found) * 2 > len(found)


def _epoch(values: FloatArray) -> tuple[TimeKind, str] | None:
    if not values.size:
        return None
    middle = float(np.median(values))
    if 5e8 < middle < 5e9:
        return "epoch-seconds", "numbers near 1.5 thousand million are seconds since 1970"
    if 5e11 < middle < 5e12:
        return "epoch-milliseconds", "numbers near 1.5 million million are milliseconds since 1970"
    if 20_000 < middle < 80_000 and 0 < np.ptp(values) < 60 and np.any(values % 1 != 0):
        return "spreadsheet-days", "numbers near 45000 with fractions are a spreadsheet's days"
    return None


def _kind_from_steps(name: str, cells: Sequence[str], values: FloatArray, decimal: str) -> tuple[TimeKind, str]:
    steps = np.diff(values)
    step = float(np.median(steps)) if steps.size else 0.0
    if steps.size and np.all(steps == 1) and values[0] in (0, 1):
        return "counter", f"'{name}' goes up by exactly one a row and names no unit: it may only count the rows"
    if any(cell.count(decimal) > 1 for cell in cells):
        return "microseconds", f"marks stand more than once, so they part thousands; steps of {step:g} microseconds"
    if step >= 20 and np.ptp(values) >= 1e3 * SHORTEST_TEST_S:
        return "milliseconds", f"steps of {step:g} are milliseconds more likely than seconds"
    return "seconds", f"steps of {step:g} and no unit in the header: most likely seconds"


def guess_day_first(cells: Sequence[str]) -> tuple[bool, str]:
    """Whether 03/05/2026 means 3 May in this column, and the reason."""
    days = [match for cell in cells if (match := re.match(r"\s*(\d{1,2})([-/.])(\d{1,2})[-/.]\d", cell))]
    if any(int(match[1]) > 12 for match in days):
        return True, "a first number above 12 is a day"
    if any(int(match[3]) > 12 for match in days):
        return False, "a second number above 12 is a day"
    if any(match[2] == "/" for match in days) and any(re.search("[AaPp][Mm]", cell) for cell in cells):
        return False, "slashes with am and pm put the month first"
    return True, "no date tells day from month; taken as day first"


def seconds_of(
    cells: Sequence[str], kind: str, decimal: str, *, day_first: bool = True, interval_s: float | None = None
) -> FloatArray:
    """Seconds of a time column, not yet counted from the first row; NaN where a cell says none.

    Parameters
    ----------
    cells
        Texts of the column; for a ``counter`` they may be blank, the row's place counts then.
    kind
        One of ``TIME_KINDS``.
    decimal
        The file's decimal mark.
    day_first
        For dates with the year last.
    interval_s
        Seconds between two counts of a ``counter``.

    Raises
    ------
    WrongUsage
        The kind is not known, or a counter has no interval.
    """
    if kind == "clock":
        return _clock_seconds([read_moment(cell, day_first) for cell in cells])
    if kind == "counter":
        if interval_s is None or not 0 < interval_s < 1e6:
            raise WrongUsage("a counter is no clock; say how many seconds lie between two counts.")
        counts = [read_cell(cell, decimal) if cell.strip() else i for i, cell in enumerate(cells)]
        return np.array(counts, dtype=np.float64) * interval_s
    if kind not in SECONDS_PER:
        raise WrongUsage(f"'{kind}' is no kind of time; take one of {', '.join(TIME_KINDS)}.")
    if any(cell.count(decimal) > 1 for cell in cells):
        # Where one cell parts its thousands, the shorter ones do so too.
        cells = [cell.replace(decimal, "") for cell in cells]
    return np.array([read_cell(cell, decimal) for cell in cells], dtype=np.float64) * SECONDS_PER[kind]


def _clock_seconds(moments: Sequence[Moment | None]) -> FloatArray:
    """Seconds since the first day seen; a clock without date that falls by half a day has passed midnight."""
    first = next((moment.day for moment in moments if moment and moment.day), None)
    seconds = np.full(len(moments), np.nan)
    days, last = 0, 0.0
    for i, moment in enumerate(moments):
        if moment is None:
            continue
        value = moment.at.total_seconds()
        if moment.day and first:
            value += (moment.day - first).total_seconds()
        else:
            days += 1 if value + days * _DAY_S < last - _DAY_S / 2 else 0
            value += days * _DAY_S
        seconds[i] = last = value
    return seconds
