"""Doubts about another logger's file that the person at the bench should settle before it becomes a log."""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np

from acquisition.errors import UnreadableInput
from acquisition.importsheet import Sheet, decimal_comma
from acquisition.numbers import is_cut_decimal
from acquisition.records import FloatArray
from acquisition.units import PA_PER

_CHANGED_UNITS = ("Pa", "mbar", "kPa", "bar", "mmHg", "inHg", "psi")
_LEAST_RATIO = 1.25
_RATIO_TOLERANCE = 0.02
_QUIET = 0.2
"""Steps beside a jump must stay under this share of the jump (in logarithms) for it to be a jump."""

_NAMES_WORDS = re.compile("remark|note|comment|bemerk|text", re.IGNORECASE)


def cut_decimals(sheet: Sheet, column: int, path: Path | None) -> str | None:
    """A sentence where commas between the cells may be the decimal commas of a column of whole numbers; else None.

    Raises
    ------
    UnreadableInput
        They must be: the decimals stand where there should be words, next to nothing, or no column at all.
    """
    if sheet.separator != "," or column + 1 >= len(sheet.names):
        return None
    pairs = [row[column : column + 2] for row in sheet.rows]
    found = [i for i, (a, b) in enumerate(pairs) if is_cut_decimal(a, b)]
    if not found:
        return None
    line, pair = sheet.lines[found[0]], ",".join(pairs[found[0]])
    too_many = sheet.named and sheet.names[-1] == f"column {len(sheet.names)}" and any(row[-1] for row in sheet.rows)
    sparse = 2 * sum(bool(b) for _, b in pairs) < len(pairs)
    if too_many or sparse or (sheet.named and _NAMES_WORDS.search(sheet.names[column + 1])):
        raise UnreadableInput(decimal_comma(pair), path, line)
    if len(found) == len(pairs) and not sheet.named:
        return f"In line {line} {decimal_comma(pair)}"
    return None


def unit_change(values: FloatArray) -> tuple[int, str] | None:
    """Place in the array from which the numbers seem to be in another unit, and a sentence; else None.

    A change of the display's unit multiplies all later readings by a fixed ratio from one row to the
    next, while the rows before and after go on smoothly.
    """
    place = np.flatnonzero(np.isfinite(values) & (values != 0))
    logs = np.log(np.abs(values[place]))
    steps = np.diff(logs)
    for i in np.flatnonzero(np.abs(steps) > math.log(_LEAST_RATIO)):
        before, after = steps[max(i - 3, 0) : i], steps[i + 1 : i + 4]
        beside = np.abs(np.concatenate((before, after)))
        if min(before.size, after.size) >= 2 and np.all(beside < _QUIET * abs(steps[i])):
            names = _units_of_ratio(math.exp(float(steps[i])))
            if names:
                ratio = math.exp(abs(float(steps[i])))
                return int(place[i + 1]), f"the numbers jump by a factor of {ratio:.4g}, as from {names}"
    return None


def _units_of_ratio(ratio: float) -> str | None:
    """The change of unit that multiplies readings by ``ratio``, the nearest one; None when none is near."""
    pairs = itertools.permutations(_CHANGED_UNITS, 2)
    found = [(abs(math.log(ratio * PA_PER[new] / PA_PER[old])), old, new) for old, new in pairs]
    distance, old, new = min(found)
    if distance > _RATIO_TOLERANCE or abs(math.log(ratio)) < math.log(_LEAST_RATIO):
        return None
    return f"{old} to {new}"


def clock_doubts(seconds: FloatArray, lines: Sequence[int]) -> Iterator[str]:
    """Sentences about a clock that goes back or leaps."""
    place = np.flatnonzero(np.isfinite(seconds))
    steps = np.diff(seconds[place])
    if not steps.size:
        return
    back = np.flatnonzero(steps < 0)
    if back.size:
        line = lines[place[back[0] + 1]]
        yield f"The time goes back in line {line}" + (f" and {back.size - 1} times more." if back.size > 1 else ".")
    usual = float(np.median(steps))
    leap = int(np.argmax(steps))
    if usual > 0 and steps[leap] > max(100 * usual, 600):
        yield f"The time leaps by {steps[leap]:.0f} s in line {lines[place[leap + 1]]}; was the clock set there?"


def clocks_disagree(name: str, seconds: FloatArray, other_name: str, other: FloatArray) -> str | None:
    """A sentence when two clocks of one file span different times."""
    both = np.flatnonzero(np.isfinite(seconds) & np.isfinite(other))
    if both.size < 3:
        return None
    span = float(seconds[both[-1]] - seconds[both[0]])
    span_other = float(other[both[-1]] - other[both[0]])
    # Two seconds leave room for a clock that shows whole seconds.
    if abs(span - span_other) <= max(2.0, 0.01 * max(abs(span), abs(span_other))):
        return None
    return (
        f"The file has two clocks that disagree: '{name}' spans {span:.6g} s, '{other_name}' {span_other:.6g} s; "
        "choose the right one."
    )
