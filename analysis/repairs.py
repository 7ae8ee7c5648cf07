"""What a repair did: the tests on either side of it, and the chance that the leak fell."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from math import exp, log, sqrt

import numpy as np
from scipy import stats

from acquisition.records import Event
from analysis.history import break_moment, counts
from analysis.numberwords import System, amount, area_number, chance_text, hole_number
from analysis.results import HistoryLine, Interval, Repair, TestPoint
from analysis.trendfit import SCATTER

_SURE = 0.95
_TESTS_A_SIDE = 3


@dataclass(frozen=True)
class RepairEffect:
    """What a repair did: areas before and after with 95 % intervals, m2, and the chance that it fell."""

    repair: Repair
    before_m2: Interval
    after_m2: Interval
    chance_better: float


def repair_effect(line: HistoryLine, repair: Repair) -> RepairEffect | None:
    """Compare up to three tests on either side of a repair; None while one side has none."""
    event = Event(repair.date, repair.path, "repair", repair.text)
    edge = break_moment(event, line.tests)
    used = [t for t in line.tests if counts(t)]
    near = _between_breaks(line, edge)
    before = [t for t in used if near[0] <= t.started < edge][-_TESTS_A_SIDE:]
    after = [t for t in used if edge <= t.started < near[1]][:_TESTS_A_SIDE]
    if not before or not after:
        return None
    usual = SCATTER.get(line.setup, 0.25)
    (m0, s0), (m1, s1) = _middle(before, usual), _middle(after, usual)
    freedom = len(before) + len(after) + 2
    chance = float(stats.t.cdf((m0 - m1) / sqrt(s0**2 + s1**2), freedom))
    return RepairEffect(repair, _around(m0, s0), _around(m1, s1), chance)


def _between_breaks(line: HistoryLine, edge: datetime) -> tuple[datetime, datetime]:
    edges = [datetime.fromisoformat(b) for b in line.breaks]
    earlier = max((e for e in edges if e < edge), default=datetime(1, 1, 2, tzinfo=UTC))
    return earlier, min((e for e in edges if e > edge), default=datetime(9999, 12, 30, tzinfo=UTC))


def _middle(tests: Sequence[TestPoint], usual: float) -> tuple[float, float]:
    """Mean log area and its standard uncertainty, the usual scatter from test to test included."""
    areas = [t.area_m2 for t in tests if t.area_m2 is not None]
    logs = [log(a.value) for a in areas]
    own = [log(a.high / max(a.low, a.high * 1e-3)) / 3.92 for a in areas]
    return float(np.mean(logs)), sqrt((usual**2 + float(np.mean(np.square(own)))) / len(areas))


def _around(middle: float, u: float) -> Interval:
    return Interval(exp(middle), exp(middle - 1.96 * u), exp(middle + 1.96 * u))


def repair_sentence(effect: RepairEffect, setup: str, system: System = "metric") -> str:
    """Whether a repair worked, with its chance, from what to what."""
    if effect.chance_better >= _SURE:
        fell = _from_to(effect, system)
        return f"The repair worked, {chance_text(effect.chance_better)}: {fell}."
    if effect.chance_better <= 1.0 - _SURE:
        return f"The repair did not help: {_from_to(effect, system)}."
    what = "sheets differ" if setup == "formed-sheet" else "tests differ"
    return f"Cannot tell whether it worked; {what} more than this. Hold twice more."


def _from_to(effect: RepairEffect, system: System) -> str:
    if system == "inch":
        before, after = (hole_number(a.value, system) for a in (effect.before_m2, effect.after_m2))
        return f"from a drilled hole of {before} to {after} in"
    return f"from {area_number(effect.before_m2.value)} to {amount(effect.after_m2.value, system)}"
