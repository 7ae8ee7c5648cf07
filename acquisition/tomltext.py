"""TOML written from plain values: all that ``tomllib`` reads goes back into the same values."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from datetime import date, datetime, time
from typing import Any

from acquisition.errors import WrongUsage

_BARE = re.compile(r"[A-Za-z0-9_-]+")
_ESCAPES = {"\\": "\\\\", '"': '\\"', "\n": "\\n", "\r": "\\r", "\t": "\\t"}


def toml_text(document: Mapping[str, Any]) -> str:
    """TOML text of a document: values first, then one table after another.

    Raises
    ------
    WrongUsage
        A value is of a kind TOML does not have.
    """
    return "\n".join(_lines(document, ())).strip("\n") + "\n"


def _lines(table: Mapping[str, Any], path: tuple[str, ...]) -> list[str]:
    values = {key: value for key, value in table.items() if not isinstance(value, Mapping)}
    tables = {key: value for key, value in table.items() if isinstance(value, Mapping)}
    lines = [f"{_key(key)} = {_value(value)}" for key, value in values.items()]
    if path and (values or not tables):
        lines = ["", f"[{'.'.join(map(_key, path))}]", *lines]
    for key, inner in tables.items():
        lines += _lines(inner, (*path, key))
    return lines


def _key(key: str) -> str:
    return key if _BARE.fullmatch(key) else _string(key)


def _string(text: str) -> str:
    return '"' + "".join(_ESCAPES.get(c) or (c if c.isprintable() else f"\\U{ord(c):08X}") for c in text) + '"'


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return _float(value)
    if isinstance(value, int):
        return str(value)
    if isinstance(value, str):
        return _string(value)
    if isinstance(value, datetime | date | time):
        return value.isoformat()
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{_key(key)} = {_value(inner)}" for key, inner in value.items()) + "}"
    if isinstance(value, Sequence):
        return "[" + ", ".join(map(_value, value)) + "]"
    raise WrongUsage(f"a {type(value).__name__} cannot be written to a TOML file.")


def _float(value: float) -> str:
    if math.isnan(value):
        return "nan"
    if math.isinf(value):
        return "inf" if value > 0 else "-inf"
    return repr(float(value)) if value != int(value) or abs(value) >= 1e15 else f"{value:.1f}"
