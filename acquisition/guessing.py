"""Guesses from a few heard lines how a gauge speaks; a person confirms it, nothing is assumed.

Each shape makes a proposal; the one that reads most of the lines wins. A unit is only ever taken from the lines.
"""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

from acquisition.errors import WrongUsage
from acquisition.lineforms import NUMBER, LineReader, LineSpec, checksum_holds, number_pattern
from acquisition.units import GaugeUnit, parse_unit

PRESSURE_WORDS = ("p", "pr", "pres", "press", "pressure", "vac", "vacuum", "druck", "pression", "presion", "pressione")
_PADDING = b"\x00\x02\x03"
_SHARE_NEEDED = 0.3  # a gauge that sends three quantities in turn
_KEYED = re.compile(rf"(?P<key>[A-Za-z_][A-Za-z_ ]*?)(?P<mark>\s*[=:]\s*)(?P<number>{NUMBER})(?P<unit>\s*[A-Za-z\"]+)?")
_NUMBER_UNIT = re.compile(rf"(?P<number>{NUMBER})\s*(?P<unit>[A-Za-z\"].*?)?", re.ASCII)


@dataclass(frozen=True)
class LineGuess:
    """How lines seem to be built.

    ``unit`` is the pressure unit the lines name, or None: then a person must say it. ``resolution`` is one step
    of the last digit shown. ``share`` of the lines could be read; ``words`` say what was taken for what.
    ``fields`` lists numbers of a list that may be the pressure when more than one may.
    """

    lines: LineSpec
    unit: str | None
    resolution: float | None
    share: float
    words: str
    fields: tuple[int, ...] = ()


@dataclass(frozen=True)
class _Proposal:
    spec: LineSpec
    unit: str | None
    words: str
    fields: tuple[int, ...] = ()


def guess_lines(heard: Sequence[bytes]) -> LineGuess | None:
    """Guess from whole lines (the first of a stream left out); None when no shape reads a third of them."""
    padding = _padding(heard)
    lines = [line.strip(b" \t" + padding) for line in heard]
    lines = [line for line in lines if line]
    if not lines:
        return None
    checked = _checksum(lines)
    texts = [_body(line, checked).decode("latin-1") for line in lines]
    found = [replace(p, spec=replace(p.spec, checksum=checked, padding=padding.decode())) for p in _proposals(texts)]
    guesses = [_tried(proposal, lines) for proposal in found]
    good = [g for g in guesses if g.share > _SHARE_NEEDED]
    # A line that names its unit says more than one that does not; then the shape that reads most.
    return max(good, key=lambda g: (g.unit is not None, g.share), default=None)


def _padding(heard: Sequence[bytes]) -> bytes:
    """NUL, or start and end of text, where they stand round nearly every line."""
    lines = [line for line in heard if line.strip()]
    often = [bytes([c]) for c in _PADDING if sum(c in (line[0], line[-1]) for line in lines) > 0.8 * len(lines)]
    return b"".join(often) if lines else b""


def _checksum(lines: Sequence[bytes]) -> Literal["xor", "sum"] | None:
    for kind in ("xor", "sum"):
        if len(lines) > 1 and all(checksum_holds(line, kind) for line in lines):
            return kind
    return None


def _body(line: bytes, checked: str | None) -> bytes:
    return line if checked is None else line[: line.rindex(b"*")].removeprefix(b"$")


def _proposals(texts: Sequence[str]) -> Iterator[_Proposal]:
    shapes: tuple[Callable[[Sequence[str]], Iterator[_Proposal]], ...] = (_plain, _json, _keyed, _lists)
    for shape in shapes:
        yield from shape(texts)


def _plain(texts: Sequence[str]) -> Iterator[_Proposal]:
    for mark, name in ((".", "decimal point"), (",", "decimal comma")):
        whole = re.compile(rf"{number_pattern(mark)}\s*(\S.*)?", re.ASCII)
        units = Counter((_unit(m[1] or "") or m[1]) for t in texts if (m := whole.fullmatch(t)))
        if not units or (mark == "," and not any("," in t for t in texts)):
            continue
        unit = units.most_common(1)[0][0]
        if unit is None or _unit(unit):
            behind = f", then {unit}" if unit else ""
            yield _Proposal(LineSpec(decimal="," if mark == "," else "."), unit, f"a number with {name}{behind}")


def _json(texts: Sequence[str]) -> Iterator[_Proposal]:
    objects = [o for t in texts if isinstance(o := _loaded(t), dict)]
    if not objects:
        return
    first = objects[-1]
    numbers = [k for k, v in first.items() if isinstance(v, int | float) and not isinstance(v, bool)]
    named = [k for k in numbers if _names_pressure(k)] or numbers[:1]
    unit_key = next((k for k, v in first.items() if isinstance(v, str) and _unit(v)), None)
    for key in named[:1]:
        unit = _unit(str(first[unit_key])) if unit_key else None
        yield _Proposal(LineSpec(json=key, json_unit=unit_key), unit, f"a JSON object, the pressure under '{key}'")


def _loaded(text: str) -> object:
    try:
        return json.loads(text)
    except (ValueError, RecursionError):
        return None


def _keyed(texts: Sequence[str]) -> Iterator[_Proposal]:
    found = [m for t in texts for m in _KEYED.finditer(t)]
    best = max(found, key=lambda m: (_unit(m["unit"] or "") is not None, _names_pressure(m["key"])), default=None)
    if best is None or not (_unit(best["unit"] or "") or _names_pressure(best["key"])):
        return
    unit = _unit(best["unit"] or "")
    key, mark = re.escape(best["key"].strip()), best["mark"].strip()
    behind = rf"\s*{re.escape((best['unit'] or '').strip())}" if unit else ""
    pattern = rf"(?:^|[^A-Za-z]){key}\s*{mark}\s*{{reading}}{behind}"
    yield _Proposal(LineSpec(pattern=pattern), unit, f"the number behind '{best['key'].strip()}{mark}'")


def _lists(texts: Sequence[str]) -> Iterator[_Proposal]:
    for separator, name in ((";", "semicolons"), ("\t", "tabs"), (",", "commas")):
        counts = Counter(t.count(separator) + 1 for t in texts)
        fields, often = counts.most_common(1)[0]
        if fields < 2 or often <= len(texts) * _SHARE_NEEDED:
            continue
        rows = [[c.strip() for c in t.split(separator)] for t in texts if t.count(separator) + 1 == fields]
        decimal: Literal[".", ","] = "," if separator != "," and any("," in c for row in rows for c in row) else "."
        maybe = _likely_fields(rows, decimal)
        if maybe:
            spec = LineSpec(separator=separator, field=maybe[0], fields=fields, decimal=decimal)
            yield _Proposal(spec, None, f"{fields} fields between {name}, the pressure in field {maybe[0]}", maybe)


def _likely_fields(rows: Sequence[Sequence[str]], decimal: str) -> tuple[int, ...]:
    """Fields (from 1) that may be the pressure, likeliest first: named so in a header, else no rising clock."""
    header = next((row for row in rows if not any(re.search("[0-9]", c) for c in row)), None)
    number = re.compile(number_pattern(decimal))
    maybe = []
    for i in range(len(rows[0])):
        cells = [row[i] for row in rows if number.fullmatch(row[i])]
        values = [float(c.replace(" ", "").replace(decimal, ".")) for c in cells]
        rises = len(values) > 2 and all(b > a for a, b in pairwise(values))
        if len(values) > len(rows) * _SHARE_NEEDED:
            named = header is not None and _names_pressure(header[i])
            maybe.append((not named, rises, i + 1))
    return tuple(field for _, _, field in sorted(maybe))


def _names_pressure(key: str) -> bool:
    return any(word in PRESSURE_WORDS for word in re.split(r"[^a-z]+", key.lower()))


def _unit(text: str) -> str | None:
    try:
        return parse_unit(text) if text.strip() else None
    except WrongUsage:
        return None


def _tried(proposal: _Proposal, lines: Sequence[bytes]) -> LineGuess:
    """How many lines a proposal reads, and the step of their last digit."""
    reader = LineReader(proposal.spec, GaugeUnit("absolute", proposal.unit or "Pa"))
    read = [line for line in lines if reader.read(line).value is not None]
    steps = [step for line in read if (step := _step(line, reader.read(line).value, proposal.spec.decimal))]
    resolution = Counter(steps).most_common(1)[0][0] if steps else None
    share = len(read) / max(len(lines), 1)
    return LineGuess(proposal.spec, proposal.unit, resolution, share, proposal.words, proposal.fields)


def _step(line: bytes, value: float | None, decimal: str) -> float | None:
    """One step of the last digit of the number that was read, found again in the line."""
    text = line.decode("latin-1")
    for match in re.finditer(number_pattern(decimal), text):
        number = match[0].replace(" ", "").replace(decimal, ".")
        if value is not None and float(number) == value and "e" not in number.lower():
            places = len(number.partition(".")[2])
            return float(f"1e-{places}")
    return None
