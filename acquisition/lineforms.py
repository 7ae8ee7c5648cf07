"""From a line to a reading, or to the reason why there is none.

How a gauge speaks is data: a bare number, a pattern, one field of a list, one key of a JSON object, with or
without a checksum. Whatever does not fit gives no reading; a guess would be a plausible wrong pressure.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Literal

from acquisition.errors import WrongUsage
from acquisition.units import GaugeUnit, parse_unit

Checksum = Literal["xor", "sum"]

# No box, pump or compressor line comes near 40 bar; two lines run together and SCPI's 9.9E37 do.
MOST_PA = 4.0e6
NUMBER = r"[+-]?[ ]*(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?"
_COMMA_NUMBER = NUMBER.replace(r"\.", ",")
_UNIT = r"[A-Za-z\"][A-Za-z0-9.\"]*(?: [Hh][Gg])?"
_READING_GROUPS = ("reading", "pressure", "value", "p")
_NOISE = re.compile(rb"[\x00-\x08\x0a-\x1f\x7f\xff]")
_BLANKS = " \t"
_WITH_REFERENCE = re.compile(r"(?P<unit>.*?)(?: +(?P<word>[A-Za-z]+)| *\((?P<inside>[A-Za-z]+)\))", re.ASCII)
_CHECKED = re.compile(rb"\$?(?P<body>.*)\*(?P<sum>[0-9A-Fa-f]{2})$", re.DOTALL)
_REFERENCE_WORDS = {"abs": "absolute", "absolute": "absolute", "a": "absolute", "g": "gauge", "gauge": "gauge",
                    "vac": "vacuum", "vacuum": "vacuum"}


@dataclass(frozen=True)
class Understood:
    """A line's reading in the gauge's unit, or None and why in a few plain words."""

    value: float | None
    why: str = ""


@dataclass(frozen=True)
class LineSpec:
    """How lines of a gauge are read: the ``[lines]`` table of ``gauge.toml``.

    At most one of ``pattern``, ``field`` and ``json`` is given; with none a line is a bare number, or a
    number followed by the gauge's unit.

    Parameters
    ----------
    pattern
        Regular expression with a group named ``reading`` (and ``unit`` if the line names it); ``{reading}``
        and ``{unit}`` stand for ready-made groups. It must be found exactly once in a line.
    separator, field, fields
        The reading is field ``field`` (from 1) of exactly ``fields`` fields.
    json, json_unit
        The reading is this key of a JSON object; its unit that one.
    decimal
        ``.`` or ``,``.
    checksum
        ``xor``: hexadecimal exclusive-or after ``*``, over what stands between ``$`` and ``*``; ``sum``: the
        same place, low byte of the sum.
    padding
        Characters that the gauge puts round every line, such as NUL. Only by word of a person: a noisy line
        turns digits into NUL, and what is left looks like a number.
    no_reading
        Numbers that mean no reading, such as 0 of a gauge that is off.
    ask, ask_ending, every_s, reply_s
        Text to ask with, what ends it, how often to ask (s), how long to wait for a reply (s).
    ending
        ``any``: CR, LF or both; ``pause``: the gauge sends none.
    """

    pattern: str | None = None
    separator: str | None = None
    field: int | None = None
    fields: int | None = None
    json: str | None = None
    json_unit: str | None = None
    decimal: Literal[".", ","] = "."
    checksum: Checksum | None = None
    padding: str = ""
    no_reading: tuple[float, ...] = ()
    ask: str | None = None
    ask_ending: str = "\n"
    every_s: float = 0.2
    reply_s: float = 1.0
    ending: Literal["any", "pause"] = "any"


@dataclass(frozen=True)
class Scale:
    """From volts, milliamps or counts to the gauge's unit: two or more points, joined by straight lines.

    Outside the points the end lines are carried on, inside ``valid`` (what the line may say) only.
    """

    points: tuple[tuple[float, float], ...]
    valid: tuple[float, float] = (-math.inf, math.inf)

    def __post_init__(self) -> None:
        heard = [p[0] for p in self.points]
        if len(heard) < 2 or sorted(set(heard)) != sorted(heard):
            raise WrongUsage("[scale] needs two or more points [heard, reading] with different first numbers.")

    def reading(self, heard: float) -> float | None:
        """Reading in the gauge's unit; None outside ``valid`` (a broken wire, say)."""
        if not self.valid[0] <= heard <= self.valid[1]:
            return None
        points = sorted(self.points)
        at = max(1, min(len(points) - 1, sum(1 for p in points if p[0] < heard)))
        (x0, y0), (x1, y1) = points[at - 1], points[at]
        return y0 + (heard - x0) * (y1 - y0) / (x1 - x0)


Meaning = Callable[[float], Understood]


def meaning(unit: GaugeUnit, scale: Scale | None = None, no_reading: tuple[float, ...] = ()) -> Meaning:
    """What a number heard comes to: scaled, and refused where no box can be meant.

    Numbers that are not finite, in ``no_reading``, outside the scale's ``valid`` or beyond 40 bar give no
    reading; so SCPI's 9.9E37 (over range) and 9.91E37 (not a number) never pass.
    """
    factor = unit.pa_per_unit

    def mean(number: float) -> Understood:
        if not math.isfinite(number):
            return Understood(None, "no finite number")
        if number in no_reading:
            return Understood(None, f"{number:g} means no reading")
        value = number if scale is None else scale.reading(number)
        if value is None:
            return Understood(None, f"{number:g} is outside what the gauge can send")
        if abs(value) * factor > MOST_PA:
            return Understood(None, f"{value:g} {unit.unit} cannot be a box's pressure")
        return Understood(value)

    return mean


@lru_cache(maxsize=256)
def same_unit(text: str, unit: GaugeUnit) -> bool:
    """Whether a unit as written on a line is the gauge's; a reference named with it must agree."""
    if not text.isascii():
        return False
    match = _WITH_REFERENCE.fullmatch(text)
    word = (match["word"] or match["inside"]).lower() if match else ""
    if match and word in _REFERENCE_WORDS:
        return _REFERENCE_WORDS[word] == unit.reference and _is_unit(match["unit"], unit.unit)
    tail = _REFERENCE_WORDS.get(text[-1:].lower())
    if tail is not None and text[:-1].lower() in ("psi", "bar", "mbar", "kpa", "hpa"):
        return tail == unit.reference and _is_unit(text[:-1], unit.unit)
    return _is_unit(text, unit.unit)


def _is_unit(text: str, unit: str) -> bool:
    try:
        return parse_unit(text) == unit
    except WrongUsage:
        return False


def checksum_holds(raw: bytes, kind: Checksum) -> bool:
    """Whether a line ends in ``*HH`` and HH is right for what stands before it."""
    match = _CHECKED.match(raw)
    if match is None:
        return False
    want, total = int(match["sum"], 16), 0
    for byte in match["body"]:
        total = total ^ byte if kind == "xor" else (total + byte) & 0xFF
    return total == want


class LineReader:
    """Reads the lines of one gauge.

    Parameters
    ----------
    spec
        How the lines are built.
    unit
        The gauge's unit and reference; a line that names another gives no reading.
    scale
        For lines that report volts, milliamps or counts; those are never followed by a pressure unit.
    """

    def __init__(self, spec: LineSpec, unit: GaugeUnit, scale: Scale | None = None) -> None:
        self._spec = spec
        self._unit = unit
        self._mean = meaning(unit, scale, spec.no_reading)
        self._scaled = scale is not None
        self._padding = (_BLANKS + spec.padding).encode("latin-1", "ignore")
        self._question = (spec.ask or "").encode()
        self._pick = self._picker()

    @property
    def proven(self) -> bool:
        """Whether a line proves by itself that it is whole."""
        return self._spec.checksum is not None

    def read(self, raw: bytes) -> Understood:
        """Reading of one line without its ending."""
        line = raw.strip(self._padding)
        if self._question and line.startswith(self._question):
            line = line[len(self._question) :].strip(self._padding)
            if not line:
                return Understood(None, "the echo of the question")
        if _NOISE.search(line):
            return Understood(None, "noise in the line")
        if self._spec.checksum is not None:
            if not checksum_holds(line, self._spec.checksum):
                return Understood(None, "its checksum does not hold")
            line = line[: line.rindex(b"*")].removeprefix(b"$")
        return self._pick(line.decode("latin-1"))

    def _picker(self) -> Callable[[str], Understood]:
        if self._spec.pattern is not None:
            return _PatternPicker(self._spec, self._number, self._unit)
        if self._spec.field is not None:
            return self._pick_field
        return self._pick_json if self._spec.json is not None else self._pick_plain()

    def _number(self, text: str) -> Understood:
        try:
            return self._mean(float(text.replace(" ", "").replace(self._spec.decimal, ".")))
        except ValueError:
            return Understood(None, f"'{_short(text)}' is not a number")

    def _pick_plain(self) -> Callable[[str], Understood]:
        number = number_pattern(self._spec.decimal)
        whole = re.compile(rf"({number})[ \t]*([^ \t].*)?", re.ASCII)

        def pick(text: str) -> Understood:
            match = whole.fullmatch(text)
            if match is None:
                return Understood(None, f"'{_short(text)}' is not a number")
            if match[2] and (self._scaled or not same_unit(match[2].strip(_BLANKS), self._unit)):
                return Understood(None, f"'{_short(match[2])}' is not {self._unit}")
            return self._number(match[1])

        return pick

    def _pick_field(self, text: str) -> Understood:
        spec = self._spec
        parts = text.split(spec.separator)
        if spec.field is None or len(parts) != spec.fields:
            return Understood(None, f"{len(parts)} fields where {spec.fields} belong")
        part = parts[spec.field - 1].strip(_BLANKS)
        if not re.fullmatch(number_pattern(spec.decimal), part):
            return Understood(None, f"'{_short(part)}' is not a number")
        return self._number(part)

    def _pick_json(self, text: str) -> Understood:
        try:
            heard = json.loads(text)
        except (ValueError, RecursionError):
            return Understood(None, "not a whole JSON object")
        value = heard.get(self._spec.json) if isinstance(heard, dict) else None
        if isinstance(value, bool) or not isinstance(value, int | float):
            return Understood(None, f"no number under '{self._spec.json}'")
        named = heard.get(self._spec.json_unit) if self._spec.json_unit else None
        if named is not None and not same_unit(str(named), self._unit):
            return Understood(None, f"'{_short(str(named))}' is not {self._unit}")
        return self._mean(float(value)) if abs(value) < 1e300 else Understood(None, "no finite number")


class _PatternPicker:
    """Finds a pattern exactly once in a line."""

    def __init__(self, spec: LineSpec, number: Callable[[str], Understood], unit: GaugeUnit) -> None:
        self._pattern, self._group = compile_pattern(spec.pattern or "", spec.decimal)
        self._number = number
        self._unit = unit

    def __call__(self, text: str) -> Understood:
        found = list(self._pattern.finditer(text))
        if len(found) != 1:
            return Understood(None, "the pattern is not in it" if not found else "the pattern is in it twice")
        match = found[0]
        if self._torn(text, match):
            return Understood(None, "more digits than the pattern takes")
        named = match.groupdict().get("unit")
        if named is not None and not same_unit(named.strip(_BLANKS), self._unit):
            return Understood(None, f"'{_short(named)}' is not {self._unit}")
        return self._number(match[self._group] or "")

    def _torn(self, text: str, match: re.Match[str]) -> bool:
        """A number that goes on outside the match is not the number the gauge sent."""
        start, end = match.span(self._group)
        before = start == match.start() and start > 0 and text[start - 1] in "0123456789.,+-"
        after = end == match.end() and end < len(text) and text[end] in "0123456789.,eE+-"
        return before or after


def number_pattern(decimal: str) -> str:
    """Regular expression of a number with this decimal mark."""
    return _COMMA_NUMBER if decimal == "," else NUMBER


def compile_pattern(pattern: str, decimal: str = ".") -> tuple[re.Pattern[str], str | int]:
    """Pattern of a gauge file and the name or number of its reading group.

    Raises
    ------
    WrongUsage
        It is no regular expression, or has no group for the reading.
    """
    number = f"(?P<reading>{number_pattern(decimal)})"
    text = pattern.replace("{reading}", number).replace("{unit}", f"(?P<unit>{_UNIT})")
    try:
        compiled = re.compile(text, re.ASCII)
    except re.error as problem:
        raise WrongUsage(f"The pattern '{pattern}' of the gauge file does not read: {problem}.") from None
    for name in _READING_GROUPS:
        if name in compiled.groupindex:
            return compiled, name
    if compiled.groups == 1 and not compiled.groupindex:
        return compiled, 1
    raise WrongUsage(f"The pattern '{pattern}' of the gauge file has no place for the number; put {{reading}} there.")


def without_asking(spec: LineSpec) -> LineSpec:
    """The same lines, heard without asking for them."""
    return replace(spec, ask=None)


def _short(text: str) -> str:
    """Text for a message: printable, at most 24 signs."""
    shown = "".join(c if c.isprintable() and c.isascii() else "?" for c in text)
    return shown if len(shown) <= 24 else shown[:23] + "…"
