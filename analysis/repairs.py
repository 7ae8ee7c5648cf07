"""What a repair did: the tests on either side of it, and the chance that the leak fell."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from math import exp, log, sqrt

import numpy as np
from scipy import stats

from acquisition.records import Box, Event
from acquisition.setups import same_place
from analysis.history import break_moment, counts, history
from analysis.numberwords import System, amount, area_number, chance_text, date_text, hole_number
from analysis.results import Assessment, HistoryLine, Interval, Repair, TestPoint
from analysis.trendfit import SCATTER
from analysis.wording import path_name

WORKED_SHARE = 0.9
"""A repair worked when the box takes in less than this share of what it did."""
_SURE = 0.95
_TESTS_A_SIDE = 3


@dataclass(frozen=True)
class RepairEffect:
    """What a repair did: areas before and after with 95 % intervals, m2, and the chance that it worked.

    ``under`` when the tests after it gave no more than upper limits.
    """

    repair: Repair
    setup: str
    before_m2: Interval
    after_m2: Interval
    tests_after: int
    under: bool
    chance_better: float


def untested_repairs(tests: Sequence[Assessment], events: Sequence[Event]) -> tuple[Event, ...]:
    """The newest repair of each path that no usable test came after with that path open.

    A test of the same date does not count: it came before, since a bead must cure.
    """
    newest: dict[str, Event] = {}
    for event in events:
        if event.kind == "repair" and event.path and event.date >= newest.get(event.path, event).date:
            newest[event.path] = event
    return tuple(event for event in newest.values() if not any(_tests_after(test, event) for test in tests))


def _tests_after(test: Assessment, event: Event) -> bool:
    if test.outcome == "refused" or test.started is None:
        return False
    when = test.started.isoformat() if "T" in event.date else test.started.date().isoformat()
    return when > event.date and any(same_place(path, event.path) for path in test.open_paths)


def repaired_sentence(day: str, path: str) -> str:
    """That a repair has no test after it yet, and which test would show whether it worked."""
    where = f" ({path_name(path)})" if path else ""
    when = date_text(date.fromisoformat(day[:10]))
    return f"Repaired on {when}{where}: hold again with the same setup to see whether it worked."


def effect_of(
    tests: Sequence[Assessment], event: Event, events: Sequence[Event], box: Box | None
) -> RepairEffect | None:
    """What a repair did by the setup that was tested most on both of its sides; None where there is none."""
    found = [
        effect
        for line in history(tests, events, box)
        for repair in line.repairs
        if (repair.date, repair.path) == (event.date, event.path) and (effect := repair_effect(line, repair))
    ]
    return max(found, key=lambda effect: effect.tests_after, default=None)


def repair_effect(line: HistoryLine, repair: Repair) -> RepairEffect | None:
    """Compare up to three tests on either side of a repair; None while one side has none."""
    event = Event(repair.date, repair.path, "repair", repair.text)
    edge = break_moment(event, line.tests)
    near = _between_breaks(line, edge)
    before = [t for t in line.tests if counts(t) and near[0] <= t.started < edge][-_TESTS_A_SIDE:]
    after = [t for t in line.tests if (counts(t) or _limits(t)) and edge <= t.started < near[1]][:_TESTS_A_SIDE]
    if not before or not after:
        return None
    usual = SCATTER.get(line.setup, 0.25)
    (m0, s0), (m1, s1) = _middle(before, usual), _middle(after, usual)
    freedom = len(before) + len(after) + 2
    chance = float(stats.t.cdf((m0 + log(WORKED_SHARE) - m1) / sqrt(s0**2 + s1**2), freedom))
    under = all(_limits(t) for t in after)
    return RepairEffect(repair, line.setup, _around(m0, s0), _around(m1, s1), len(after), under, chance)


def _limits(test: TestPoint) -> bool:
    """Whether a test says no more than that the leak is under a limit."""
    return test.set_aside is None and test.outcome == "upper-limit" and test.area_m2 is not None


def _between_breaks(line: HistoryLine, edge: datetime) -> tuple[datetime, datetime]:
    edges = [datetime.fromisoformat(b) for b in line.breaks]
    earlier = max((e for e in edges if e < edge), default=datetime(1, 1, 2, tzinfo=UTC))
    return earlier, min((e for e in edges if e > edge), default=datetime(9999, 12, 30, tzinfo=UTC))


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
    """Whether a repair worked, with its chance, from what to what."""
    if effect.chance_better >= _SURE:
        fell = _from_to(effect, system)
        return f"The repair worked, {chance_text(effect.chance_better)}: {fell}."
    if effect.chance_better <= 1.0 - _SURE:
        return f"The repair did not help: {_from_to(effect, system)}."
    what = "sheets differ" if effect.setup == "formed-sheet" else "tests differ"
    return f"Cannot tell whether it worked; {what} more than this. Hold twice more."


def _from_to(effect: RepairEffect, system: System) -> str:
    to = "to under" if effect.under else "to"
    if system == "inch":
        before, after = (hole_number(a.value, system) for a in (effect.before_m2, effect.after_m2))
        return f"from a drilled hole of {before} {to} {after} in"
    return f"from {area_number(effect.before_m2.value)} {to} {amount(effect.after_m2.value, system)}"
