"""The header lines of a log, ``# key: value``: one table of the keys, read and written.

What a key means is told in ``LogHeader``; adding a key is one row of ``KEYS`` and one field there.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from acquisition.errors import UnreadableInput, WrongUsage, shown
from acquisition.numbers import number_text, to_number, to_uncertain, uncertain_text
from acquisition.records import LogHeader, Uncertain
from acquisition.setups import check_path
from acquisition.units import GaugeUnit, parse_gauge_unit

FIRST_LINE = "# boxhold log: 1"
MOST_KEYS = 1000

VOLUME_SHARE = 0.05
"""Standard uncertainty of a volume given without one, as a share of it."""

BAROMETER_U_KPA = 0.1
"""Standard uncertainty of a barometer given without one, kPa (common practice, no source)."""

_RFC_3339 = re.compile(r"(\d{4}-\d\d-\d\d)[Tt ](\d\d:\d\d:\d\d)(\.\d+)?([Zz]|[+-]\d\d:\d\d)")
_NONE = ("none", "-")


@dataclass(frozen=True)
class _Key:
    """How one key's text becomes a value, and back; ``read`` raises ValueError with a plain reason."""

    read: Callable[[str], Any]
    write: Callable[[Any], str]


def _number(low: float, high: float, what: str, *, above: bool = False) -> _Key:
    def read(text: str) -> float:
        value = to_number(text)
        if not (low < value if above else low <= value) or not value <= high:
            span = f"above {low:g} and up to {high:g}" if above else f"from {low:g} to {high:g}"
            raise ValueError(f"write {what} as a number {span}")
        return value

    return _Key(read, number_text)


def _uncertain(low: float, high: float, what: str, share: float, least: float) -> _Key:
    def read(text: str) -> Uncertain:
        quantity = to_uncertain(text, share, least)
        if not low < quantity.value <= high:
            raise ValueError(f"write {what} as a number above {low:g} and up to {high:g}")
        return quantity

    def write(quantity: Uncertain) -> str:
        return uncertain_text(quantity, share, least)

    return _Key(read, write)


def _choice(*words: str) -> _Key:
    def read(text: str) -> str | None:
        word = text.lower()
        if word not in (*words, "unknown"):
            raise ValueError(f"write one of {', '.join(words)}")
        return None if word == "unknown" else word

    return _Key(read, str)


def _wood() -> _Key:
    # An unknown word stays in the file and counts as possibly bare.
    return _Key(lambda text: text.lower() if text.lower() in ("bare", "coated", "none") else None, str)


def _yes_no() -> _Key:
    words = {"yes": True, "no": False, "unknown": None}

    def read(text: str) -> bool | None:
        if text.lower() not in words:
            raise ValueError("write yes or no")
        return words[text.lower()]

    return _Key(read, lambda value: "yes" if value else "no")


def _read_paths(text: str) -> tuple[str, ...]:
    if text.lower() in _NONE:
        return ()
    try:
        return tuple(check_path(part.strip()) for part in text.split(",") if part.strip())
    except WrongUsage as error:
        raise ValueError(str(error).rstrip(".")) from None


def _write_paths(paths: Sequence[str]) -> str:
    return ", ".join(paths) or _NONE[0]


def _read_started(text: str) -> datetime:
    match = _RFC_3339.fullmatch(text)
    example = "write date, time and offset from UTC, such as 2026-05-03T14:02:11+02:00"
    if match is None:
        raise ValueError(example)
    day, clock, fraction, offset = match.groups()
    try:
        started = datetime.fromisoformat(f"{day}T{clock}{fraction or ''}{offset.upper().replace('Z', '+00:00')}")
    except ValueError:
        raise ValueError(example) from None
    if not 1970 <= started.year < 2200:
        raise ValueError("the year must lie between 1970 and 2199")
    return started


def _read_gauge(text: str) -> GaugeUnit:
    try:
        return parse_gauge_unit(text)
    except WrongUsage as error:
        raise ValueError(str(error).rstrip(".")) from None


def one_line(text: str) -> str:
    """Text without line breaks, as a header line needs it."""
    return " ".join(re.split(r"[\r\n]+", text)).strip()


_TEXT = _Key(str, one_line)
_PATHS = _Key(_read_paths, _write_paths)

KEYS: Mapping[str, _Key] = {
    "box": _TEXT,
    "setup": _TEXT,
    "sealed": _PATHS,
    "open": _PATHS,
    "started": _Key(_read_started, datetime.isoformat),
    "gauge": _Key(_read_gauge, str),
    "resolution": _number(0, 1e6, "the gauge's smallest step", above=True),
    "accuracy": _number(0, 1e9, "the gauge's standard uncertainty"),
    "gauge_at": _choice("box", "hose", "tank"),
    "barometer_kPa": _uncertain(40, 120, "the room's pressure in kPa", 0.0, BAROMETER_U_KPA),
    "altitude_m": _number(-500, 6000, "the height above the sea in metres"),
    "room_C": _number(-40, 80, "the room's temperature in C"),
    "room_RH": _number(0, 100, "the room's relative humidity in percent"),
    "wood_C": _number(-40, 200, "the wood's temperature in C"),
    "sheet_C": _number(-40, 400, "the sheet's temperature in C"),
    "since_forming_min": _number(0, 1e7, "the minutes since forming"),
    "volume_L": _uncertain(0, 1e6, "the volume in litres", VOLUME_SHARE, 0.0),
    "behind_valve": _choice("room", "pump", "tank"),
    "let_up_since_last": _yes_no(),
    "wood": _wood(),
    "mould": _TEXT,
    "plug_drill_mm": _number(0, 100, "the drill's diameter in mm"),
}
_SPELLING = {name.lower(): name for name in KEYS}


def read_header(lines: Iterable[tuple[int, str]], path: Path | None) -> tuple[LogHeader, tuple[str, ...]]:
    """Header and the order of its keys from numbered lines ``# key: value`` (the first line left out).

    Parameters
    ----------
    lines
        1-based line number and text of each header line.
    path
        The log, for messages.

    Raises
    ------
    UnreadableInput
        ``gauge`` is missing, a value is bad, or a key stands there twice with different values.
    """
    texts: dict[str, tuple[int, str]] = {}
    for number, line in lines:
        key, text = _split(line)
        if key:
            _add(texts, key, number, text, path)
    if len(texts) > MOST_KEYS:
        raise UnreadableInput(f"more than {MOST_KEYS} header lines; this is hardly a log.", path)
    if not texts.get("gauge", (0, ""))[1]:
        raise UnreadableInput("no line says what the gauge shows; add one such as '# gauge: absolute kPa'.", path)
    values = {key: _value(key, *texts[key], path) for key in texts if key in KEYS and texts[key][1]}
    values = {key: value for key, value in values.items() if value is not None}
    extra = {key: text for key, (_, text) in texts.items() if key not in values and (key not in KEYS or text)}
    return LogHeader(**values, extra=extra), tuple(texts)


def _split(line: str) -> tuple[str, str]:
    key, _, text = line.lstrip("#").strip().partition(":")
    key = key.strip()
    return _SPELLING.get(key.lower(), key), text.strip()


def _add(texts: dict[str, tuple[int, str]], key: str, number: int, text: str, path: Path | None) -> None:
    """Keep a key; a known one may not contradict itself, an unknown one is kept under a counted name."""
    if key not in texts or texts[key][1] == text:
        texts.setdefault(key, (number, text))
    elif key in KEYS:
        first = texts[key][0]
        raise UnreadableInput(f"'{key}' differs from its value in line {first}; keep one of them.", path, number)
    else:
        copy = next(i for i in range(2, MOST_KEYS + 3) if f"{key} ({i})" not in texts)
        texts[f"{key} ({copy})"] = (number, text)


def _value(key: str, number: int, text: str, path: Path | None) -> Any:
    try:
        return KEYS[key].read(text)
    except ValueError as error:
        raise UnreadableInput(f"'{key}' is '{shown(text)}': {error}.", path, number) from None


def header_value(key: str, text: str) -> Any:
    """One key's typed value from its text (for corrections and forms); None where it says nothing.

    Raises
    ------
    WrongUsage
        The value does not suit the key.
    """
    if key not in KEYS:
        return one_line(text)
    try:
        return KEYS[key].read(text.strip()) if text.strip() else None
    except ValueError as error:
        raise WrongUsage(f"'{key}' is '{shown(text)}': {error}.") from None


def format_header(header: LogHeader, keys: Sequence[str] = ()) -> list[str]:
    """Header lines of a log, the first line included, without line ends.

    Parameters
    ----------
    header
        What to write; keys that are None are left out.
    keys
        Order of the keys as they were read; others follow in the order of ``KEYS``, then of ``extra``.
    """
    texts = {key: text for key in KEYS if (text := _text(header, key)) is not None}
    texts |= {one_line(key): one_line(text) for key, text in header.extra.items() if key not in texts}
    order = dict.fromkeys([key for key in keys if key in texts] + list(texts))
    return [FIRST_LINE, *(f"# {key}: {texts[key]}".rstrip() for key in order)]


def _text(header: LogHeader, key: str) -> str | None:
    value = getattr(header, key)
    if value is None or (key == "sealed" and not value):
        return None
    return KEYS[key].write(value)
