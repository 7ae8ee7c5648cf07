"""What repairs did: the tests on either side of them, and the chance that the leak fell.

Repairs and changes with no usable test between are judged together: what each did by itself cannot be told.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, log, sqrt

import numpy as np
from scipy import stats

from acquisition.records import Box, Event
from analysis.history import break_text, counts, history, parts_of
from analysis.names import list_text
from analysis.numberwords import System, amount, area_number, chance_text, hole_number
from analysis.repairs import day_text, named_repairs
from analysis.results import Assessment, HistoryLine, Interval, Repair, TestPoint
from analysis.trendfit import SCATTER

WORKED_SHARE = 0.9
"""A repair worked when the box takes in less than this share of what it did."""
_SURE = 0.95
_TESTS_A_SIDE = 3


@dataclass(frozen=True)
class RepairEffect:
    """What repairs did: areas before and after with 95 % intervals, m2, and the chance that they worked.

    ``repairs`` are those with no usable test between; ``changed`` the ISO dates of changes among them. ``under``
    when the tests after gave no more than upper limits.
    """

    repairs: tuple[Repair, ...]
    changed: tuple[str, ...]
    setup: str
    before_m2: Interval
    after_m2: Interval
    tests_after: int
    under: bool
    chance_better: float


def effect_of(
    tests: Sequence[Assessment], event: Event, events: Sequence[Event], box: Box | None
) -> RepairEffect | None:
    """What a repair did by the setup that was tested most on both of its sides; None where there is none."""
    repair = Repair(event.date, event.path, event.text)
    found = [effect for line in history(tests, events, box) if (effect := repair_effect(line, repair)) is not None]
    return max(found, key=lambda effect: effect.tests_after, default=None)


def repair_effect(line: HistoryLine, repair: Repair) -> RepairEffect | None:
    """The effect that a repair had a part in; None while one side has no test."""
    return next((effect for effect in repair_effects(line) if repair in effect.repairs), None)


def repair_effects(line: HistoryLine) -> tuple[RepairEffect, ...]:
    """What repairs did, oldest first: up to three tests on either side of each, or of several in a row."""
    breaks = sorted({*line.breaks, *(break_text(repair.date) for repair in line.repairs)})
    parts, first = parts_of(line.tests, breaks), 0
    found = []
    for i, part in enumerate(parts[1:]):
        after = [test for test in part if counts(test) or _limits(test)][:_TESTS_A_SIDE]
        before = [test for test in parts[first] if counts(test)][-_TESTS_A_SIDE:]
        if after and before:
            found.append(_effect(line, breaks[first : i + 1], before, after))
        first = i + 1 if after else first
    return tuple(effect for effect in found if effect.repairs)


def _effect(
    line: HistoryLine, breaks: Sequence[str], before: Sequence[TestPoint], after: Sequence[TestPoint]
) -> RepairEffect:
    usual = SCATTER.get(line.setup, 0.25)
    (m0, s0), (m1, s1) = _middle(before, usual), _middle(after, usual)
    freedom = len(before) + len(after) + 2
    chance = float(stats.t.cdf((m0 + log(WORKED_SHARE) - m1) / sqrt(s0**2 + s1**2), freedom))
    repairs = tuple(repair for repair in line.repairs if break_text(repair.date) in breaks)
    days = {break_text(repair.date) for repair in repairs}
    changed = tuple(edge[:10] for edge in breaks if edge not in days)
    under = all(_limits(test) for test in after)
    return RepairEffect(
        repairs, changed, line.setup, _around(m0, s0), _around(m1, s1), len(after), under, chance
    )


def _limits(test: TestPoint) -> bool:
    """Whether a test says no more than that the leak is under a limit."""
    return test.set_aside is None and test.outcome == "upper-limit" and test.area_m2 is not None


def _middle(tests: Sequence[TestPoint], usual: float) -> tuple[float, float]:
    """Mean log area and its standard uncertainty, the usual scatter included; a limit counts with its high end."""
    areas = [
        Interval(a.high, a.high, a.high) if _limits(t) else a for t in tests if (a := t.area_m2) is not None
    ]
    logs = [log(a.value) for a in areas]
    own = [log(a.high / max(a.low, a.high * 1e-3)) / 3.92 for a in areas]
    return float(np.mean(logs)), sqrt((usual**2 + float(np.mean(np.square(own)))) / len(areas))


def _around(middle: float, u: float) -> Interval:
    return Interval(exp(middle), exp(middle - 1.96 * u), exp(middle + 1.96 * u))


def repair_sentence(effect: RepairEffect, system: System = "metric") -> str:
    """Whether a repair worked, with its chance, from what to what; several repairs in a row are named together."""
    places = list(dict.fromkeys(repair.path for repair in effect.repairs))
    named, it = ("the repair", "it") if len(places) == 1 else (named_repairs(effect.repairs), "they")
    what = named[0].upper() + named[1:]
    if effect.changed:
        days = list_text([day_text(day) for day in effect.changed])
        return (f"Cannot tell whether {it} worked: the box was changed as well ({days}), with no test between; "
                f"together {_from_to(effect, system)}.")
    if effect.chance_better >= _SURE:
        return f"{what} worked, {chance_text(effect.chance_better)}: {_from_to(effect, system)}{_no_one(places)}."
    if effect.chance_better <= 1.0 - _SURE:
        return f"{what} did not help: {_from_to(effect, system)}{_no_one(places)}."
    scatter = "sheets differ" if effect.setup == "formed-sheet" else "tests differ"
    return f"Cannot tell whether {it if len(places) == 1 else named} worked; {scatter} more than this. Hold twice more."


def _no_one(places: Sequence[str]) -> str:
    return "" if len(places) == 1 else "; no test came between, so what each did cannot be told"


def _from_to(effect: RepairEffect, system: System) -> str:
    to = "to under" if effect.under else "to"
    if system == "inch":
        before, after = (hole_number(a.value, system) for a in (effect.before_m2, effect.after_m2))
        return f"from a drilled hole of {before} {to} {after} in"
    return f"from {area_number(effect.before_m2.value)} {to} {amount(effect.after_m2.value, system)}"
