"""What one cell of another logger's file looks like: number, clock, date, unit, or a word."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from datetime import datetime, timedelta

from acquisition.errors import WrongUsage
from acquisition.numbers import to_number
from acquisition.units import PA_PER, Reference, parse_unit

_NUMBER = re.compile(r"[+-]?(?:[0-9][0-9.,]*|[.,][0-9]+)(?:[eE][+-]?[0-9]+)?")
_ORDINARY = re.compile(r"-?[0-9]+(?:\.[0-9]+)?")
_NUMBER_AND_UNIT = re.compile(rf"({_NUMBER.pattern})\s*([A-Za-z\"][A-Za-z0-9 .\"()]*)")
_CLOCK = re.compile(r"(\d{1,3}):(\d\d)(?::(\d\d)(?:[.,](\d+))?)?(?:\s*([AaPp])\.?[Mm]\.?)?")
_DAY = re.compile(r"(\d{1,4})[-/.](\d{1,2})[-/.](\d{1,4})")
_OFFSET = re.compile(r"\s*(Z|UTC|[+-]\d\d:?\d\d)$")

REFERENCE_WORDS: dict[Reference, tuple[str, ...]] = {
    "absolute": ("abs", "absolute", "absolut", "absolu", "absoluut", "assoluta", "absoluta", "absoluto",
                 "(a)", "bara", "mbara", "psia", "kpaa"),
    "gauge": ("gauge", "gage", "(g)", "barg", "mbarg", "psig", "kpag", "rel", "relative", "relativ", "relatief",
              "überdruck", "overdruk", "manométrica", "manométrique", "relativa"),
    "vacuum": ("vacuum", "vac", "vakuum", "vacuüm", "vide", "vacío", "vuoto", "vácuo", "unterdruck", "onderdruk",
               "undertryk", "undertryck", "dépression"),
}
PRESSURE_WORDS = ("pressure", "druck", "druk", "pression", "presión", "pressione", "pressão", "tryk", "tryck",
                  "trykk", "paine", "ciśnienie", "давление", "压力", "圧力", "vacuum", "vakuum", "press", "p")
TIME_WORDS = ("time", "elapsed", "seconds", "sec", "zeit", "tijd", "temps", "tiempo", "tempo", "tid", "aika", "czas",
              "время", "时间", "時間", "timestamp", "date", "datum", "datetime", "uhrzeit", "hora", "heure")

_T_ALONE = re.compile(r"t(?:[\s_(\[/]*(?:s|sec|ms|us|µs|min|h)[)\]]*)?", re.IGNORECASE)
_UNIT_WORDS = sorted([*PA_PER, "millibar", "in hg", "in.hg", "mm hg", "in h2o", "mm h2o"], key=len, reverse=True)
_UNIT = re.compile(
    r"(?<![a-z])(" + "|".join(re.escape(word) for word in _UNIT_WORDS) + r")(?:\s*\(?(a|g|abs)\)?)?(?![a-z0-9])",
    re.IGNORECASE,
)


def bare_number(cell: str) -> bool:
    """Whether the cell is written like a number, with whatever marks."""
    return bool(_NUMBER.fullmatch(cell.strip()))


def number_like(cell: str) -> bool:
    """Whether the cell is a number, a number with a pressure unit, a clock time or a date."""
    word = cell.strip()
    return bare_number(word) or number_and_unit(word) is not None or time_like(word)


def number_and_unit(cell: str) -> tuple[str, str] | None:
    """The number's text and the pressure unit of a cell such as ``85.3 kPa``; None for anything else."""
    if cell[-1:].isdecimal():
        return None
    match = _NUMBER_AND_UNIT.fullmatch(cell.strip())
    if match is None:
        return None
    try:
        return match[1], parse_unit(match[2])
    except WrongUsage:
        return None


def time_like(cell: str) -> bool:
    """Whether the cell is a clock time, a date, or both."""
    word = cell.strip()
    return bool(_CLOCK.fullmatch(word)) or (_DAY.match(word) is not None and read_moment(word, True) is not None)


@dataclass(frozen=True)
class Moment:
    """A clock time: ``day`` is None when the cell has no date; ``offset`` whether it tells its offset from UTC."""

    at: timedelta
    day: datetime | None
    offset: bool


def read_moment(cell: str, day_first: bool) -> Moment | None:
    """Clock time, date or both of a cell; None for anything else.

    ``day_first`` tells 03/05/2026 as 3 May; a year in front is always year-month-day.
    """
    word = cell.strip()
    shift = _OFFSET.search(word) if _DAY.match(word) else None
    word = word[: shift.start()] if shift else word
    match = _DAY.match(word)
    day = _day(match, day_first) if match else None
    if match and day is None:
        return None
    rest = word[match.end() :].lstrip("T ,;") if match else word
    at = _clock(rest) if rest or not match else timedelta()
    return None if at is None else Moment(at - _shift(shift), day, shift is not None)


def _shift(match: re.Match[str] | None) -> timedelta:
    if match is None or match[1] in ("Z", "UTC"):
        return timedelta()
    digits = match[1].replace(":", "")
    minutes = int(digits[1:3]) * 60 + int(digits[3:5])
    return timedelta(minutes=-minutes if digits[0] == "-" else minutes)


def _day(match: re.Match[str], day_first: bool) -> datetime | None:
    one, two, three = match.groups()
    year, month, day = (one, two, three) if len(one) == 4 else (three, two, one) if day_first else (three, one, two)
    try:
        return datetime(int(year) + (2000 if len(year) <= 2 else 0), int(month), int(day))
    except ValueError:
        return None


def _clock(text: str) -> timedelta | None:
    match = _CLOCK.fullmatch(text.strip())
    if match is None:
        return None
    hours, minutes = int(match[1]), int(match[2])
    if match[5]:
        hours = hours % 12 + (12 if match[5].lower() == "p" else 0)
    fraction = float(f"0.{match[4]}") if match[4] else 0.0
    return timedelta(hours=hours, minutes=minutes, seconds=int(match[3] or 0) + fraction)


def read_cell(cell: str, decimal: str) -> float:
    """Number of a cell with the file's decimal mark; NaN for words. A unit behind it is passed over.

    Marks of the other kind, and marks that stand more than once, are thousands marks.
    """
    if decimal == "." and _ORDINARY.fullmatch(cell):
        return to_number(cell)
    found = number_and_unit(cell)
    word = (found[0] if found else cell).strip()
    other = "." if decimal == "," else ","
    if word.count(decimal) > 1:
        word = word.replace(decimal, "")
    word = word.replace(other, "").replace(decimal, ".")
    return to_number(word) if bare_number(cell) or found else math.nan


def unit_in(text: str) -> str | None:
    """Pressure unit named in a column's header, or None."""
    match = _UNIT.search(text)
    glued = re.search(r"(?<![a-z])(mbar|bar|psi|kpa)[ag](?![a-z])", text, re.IGNORECASE)
    word = match[1] if match else glued[1] if glued else None
    if word is None or word == "mPa":
        return None
    return parse_unit(word)


def reference_in(text: str) -> Reference | None:
    """What a column's header says its numbers count from, or None."""
    words = set(re.findall(r"\([ag]\)|[^\W\d_]+", text.lower()))
    found = [reference for reference, names in REFERENCE_WORDS.items() if words & set(names)]
    return found[0] if len(found) == 1 else None


def names_time(text: str) -> bool:
    """Whether a column's header names a time; ``t`` does so alone or with a unit of time (``T_K`` does not)."""
    return bool(_T_ALONE.fullmatch(text.strip())) or has_word(text, TIME_WORDS)


def has_word(text: str, words: tuple[str, ...]) -> bool:
    """Whether one of the words stands in a header, alone or (when longer than two letters) inside another."""
    low = text.lower()
    alone = set(re.findall(r"[^\W\d_]+", low))
    return any(word in alone or (len(word) > 3 and word in low) for word in words)
