"""Numbers as people and spreadsheets write them, read from text."""

from __future__ import annotations

import math
import re

from acquisition.records import Uncertain

LARGEST = 1e16
"""No gauge and no clock counts further, not even microseconds since 1970; instruments' words for over-range
(9.9E37) lie above."""

_PLAIN = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_WHOLE, _DECIMALS = re.compile(r"\s*[+-]?\d+\s*"), re.compile(r"\s*\d{1,3}\s*")
_VOLUME_UNIT = re.compile(r"(?<=[\d.,\s])\s*(l|lit(?:re|er)s?|m3|m³)(?=\s|[+±]|$)", re.IGNORECASE)
_PLUS_MINUS = re.compile(r"\s*(?:\+-|\+/-|±)\s*")


def to_number(text: str) -> float:
    """Read a number; NaN for a word, a blank, an over-range code or anything doubtful.

    Takes a decimal comma (``101,1``) and thousands marks of the other kind (``1.013,25``, ``1,013.25``);
    two marks of one kind (``151.203.000``) are no number.
    """
    word = text.strip().replace("\u2212", "-")
    if "," in word:
        word = _with_point(word)
    if not _PLAIN.fullmatch(word):
        return math.nan
    value = float(word)
    return value if abs(value) <= LARGEST else math.nan


def _with_point(word: str) -> str:
    comma, point = word.rfind(","), word.rfind(".")
    if point > comma:
        return word.replace(",", "")
    return word.replace(".", "").replace(",", ".") if word.count(",") == 1 else word


def is_cut_decimal(whole: str, decimals: str) -> bool:
    """Whether two cells side by side may be one number that its decimal comma parted: ``25`` and ``2``."""
    return bool(_WHOLE.fullmatch(whole) and _DECIMALS.fullmatch(decimals))


def to_uncertain(text: str, share: float = 0.0, least: float = 0.0) -> Uncertain:
    """Read ``a +- u``; without ``+-`` the uncertainty is ``share * a``, but at least ``least``.

    Raises
    ------
    ValueError
        One of the two is not a number, or the uncertainty is negative.
    """
    parts = _PLUS_MINUS.split(text.strip())
    values = [to_number(part) for part in parts]
    if len(values) > 2 or any(math.isnan(value) for value in values):
        raise ValueError("write a number, or a number +- its standard uncertainty, such as 31.4 +- 0.9")
    value = values[0]
    u = values[1] if len(values) == 2 else max(abs(value) * share, least)
    if u < 0:
        raise ValueError("the uncertainty after +- must not be negative")
    return Uncertain(value, u)


def to_litres(text: str, share: float = 0.0) -> Uncertain:
    """Read a volume as ``to_uncertain`` does, in litres; ``L`` or ``m3`` may stand behind the numbers.

    Raises
    ------
    ValueError
        It is no volume above 0, or its numbers are in two units.
    """
    units = {"m3" if unit.lower() in ("m3", "m³") else "L" for unit in _VOLUME_UNIT.findall(text)}
    volume = to_uncertain(_VOLUME_UNIT.sub("", text), share)
    if not volume.value > 0 or len(units) > 1:
        raise ValueError("write a volume above 0 in one unit, L or m3, such as 50 +- 0.5 L")
    litres = 1000.0 if "m3" in units else 1.0
    return Uncertain(volume.value * litres, volume.u * litres)


def number_text(value: float) -> str:
    """Shortest text that reads back as the same number; empty for what is no finite number."""
    if not math.isfinite(value):
        return ""
    text = repr(float(value))
    return text.removesuffix(".0")


def uncertain_text(quantity: Uncertain, share: float = 0.0, least: float = 0.0) -> str:
    """Text of ``a +- u``, without the ``+- u`` where reading would put the same back."""
    value, u = number_text(quantity.value), quantity.u
    if u == max(abs(quantity.value) * share, least):
        return value
    return f"{value} +- {number_text(u)}"
