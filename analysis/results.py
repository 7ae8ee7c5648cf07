"""Frozen results that travel from one stage to the next; SI inside, absolute pressures.

Areas are effective leak areas at one fifth of room pressure (ideal nozzle, Cd = 1), in m2.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from acquisition.records import Event

FloatArray = NDArray[np.float64]

OutcomeKind = Literal["estimate", "upper-limit", "refused"]
VerdictKind = Literal["tight", "within", "over", "stalls", "cannot-tell", "no-answer", "no-limit"]
LawKind = Literal["hole", "seep", "between", "undetermined"]
LAWS: tuple[Literal["hole", "seep", "between"], ...] = ("hole", "seep", "between")


@dataclass(frozen=True)
class Interval:
    """A best value with the ends of its 95 % interval, all in one unit."""

    value: float
    low: float
    high: float

    def scaled(self, factor: float) -> Interval:
        """The interval in another unit; ``factor`` is positive."""
        return Interval(self.value * factor, self.low * factor, self.high * factor)

    def opposite(self) -> Interval:
        """The interval counted the other way."""
        return Interval(-self.value, -self.high, -self.low)

    def less(self, by: float) -> Interval:
        """The interval with a known part taken off, no end below nothing."""
        return Interval(max(self.value - by, 0.0), max(self.low - by, 0.0), max(self.high - by, 0.0))


@dataclass(frozen=True)
class HoldSpan:
    """The stretch of a hold that was used: times in s (log's clock), pressures in Pa absolute."""

    start_s: float
    end_s: float
    start_pa: float
    end_pa: float


@dataclass(frozen=True)
class LawVerdict:
    """The leak law: a name only at 90 % probability or more.

    ``b`` and ``m`` are None when undetermined; ``variant`` is ``sharp`` where a sharp hole's drifting
    coefficient fits better; ``probability`` sums to 1 over hole, seep and between.
    """

    kind: LawKind
    b: float | None
    m: float | None
    variant: str | None
    probability: dict[str, float]


@dataclass(frozen=True)
class Release:
    """Gas that is not a leak: whether it was seen, and its share (0..1) of the rise over the hold."""

    present: bool
    share: float


@dataclass(frozen=True)
class Limit:
    """The largest area a box may have and where the number comes from."""

    area_m2: float
    source: Literal["pump", "parts"]


@dataclass(frozen=True)
class Phase:
    """One phase of a log: name, first and last time in s.

    ``name`` is baseline, pump-down, soak, hold or let-up.
    """

    name: Literal["baseline", "pump-down", "soak", "hold", "let-up"]
    start_s: float
    end_s: float


@dataclass(frozen=True, eq=False)
class Curves:
    """Arrays a page draws of one test; times s (log's clock), pressures Pa absolute.

    ``t_s``/``p_pa`` every usable reading; ``fit_t_s``/``fit_pa`` the fitted curve over the used stretch;
    ``band_low_pa``/``band_high_pa`` where 95 of 100 readings should fall, on ``fit_t_s``;
    ``residual_t_s``/``residual_pa`` reading minus fit; ``other_law_pa`` the law not chosen, on
    ``fit_t_s`` and ``other_law`` its name.
    """

    t_s: FloatArray
    p_pa: FloatArray
    fit_t_s: FloatArray = field(default_factory=lambda: np.empty(0))
    fit_pa: FloatArray = field(default_factory=lambda: np.empty(0))
    band_low_pa: FloatArray = field(default_factory=lambda: np.empty(0))
    band_high_pa: FloatArray = field(default_factory=lambda: np.empty(0))
    residual_t_s: FloatArray = field(default_factory=lambda: np.empty(0))
    residual_pa: FloatArray = field(default_factory=lambda: np.empty(0))
    other_law_pa: FloatArray = field(default_factory=lambda: np.empty(0))
    other_law: str | None = None
    residual_verdict: str = ""


@dataclass(frozen=True)
class EarlierHold:
    """A hold of the same log (or a linked one) before the one that gave the result."""

    log: str
    span: HoldSpan
    area_m2: Interval


@dataclass(frozen=True, eq=False)
class Assessment:
    """The result of one log.

    For a refusal the figures, ``span`` and ``law`` are None and ``reason`` says why; ``advice`` is always
    there. For an upper limit ``area_m2.low`` is 0 and ``value`` the best guess. ``area_fit_m2`` takes
    volume, barometer and temperature as exact. ``u_log_volume`` is the standard uncertainty of the
    logarithm of the volume used (shared by all logs of one box and setup); ``volume_m3`` that volume.
    ``stall_pa`` is the pressure at which a stall test levelled off, absolute.
    """

    log: str
    box: str | None
    setup: str | None
    sealed: tuple[str, ...]
    open_paths: tuple[str, ...]
    started: datetime | None
    outcome: OutcomeKind
    reason: str | None
    advice: str
    verdict: VerdictKind
    limit: Limit | None
    test: Literal["hold", "stall"]
    span: HoldSpan | None = None
    earlier_holds: tuple[EarlierHold, ...] = ()
    area_m2: Interval | None = None
    area_fit_m2: Interval | None = None
    leakage_rate_pa_m3_s: Interval | None = None
    drilled_hole_m: Interval | None = None
    lost_5min_pa: float | None = None
    law: LawVerdict | None = None
    release: Release | None = None
    flags: tuple[str, ...] = ()
    room_pa: float | None = None
    room_k: float | None = None
    volume_m3: float | None = None
    u_log_volume: float = 0.0
    behind_valve: str | None = None
    phases: tuple[Phase, ...] = ()
    curves: Curves | None = None
    plug_area_m2: float = 0.0
    stall_pa: float | None = None

    @property
    def own_area_m2(self) -> Interval | None:
        """The area without the known hole of an open check plug."""
        return None if self.area_m2 is None else self.area_m2.less(self.plug_area_m2)


@dataclass(frozen=True)
class SheetComparison:
    """The difference with-sheet minus without-sheet, m2, and what it does and does not mean."""

    box: str | None
    outcome: Literal["estimate", "refused"]
    reason: str | None
    difference_m2: Interval | None
    gained_paths: tuple[str, ...]
    covered_paths: tuple[str, ...]
    sentence: str


@dataclass(frozen=True)
class PathResult:
    """One leak path's part in a ranking.

    ``untested`` where it was repaired and no test came after: its figures are then but a careful guess of a repair.
    """

    path: str
    area_m2: Interval
    share: float
    probability_largest: float
    probability_over_limit: float | None
    evidence: tuple[str, ...]
    untested: bool = False


@dataclass(frozen=True)
class Unexplained:
    """A test that does not fit the others; ``by_m2`` is how far it is off."""

    log: str
    by_m2: float
    sentence: str


@dataclass(frozen=True)
class NextTest:
    """The test worth doing next and what it would tell."""

    do: Literal["hold", "redraw", "stall", "vent-behind-valve", "repeat"]
    setup: str
    seal: tuple[str, ...]
    hold_s: float
    expected_gain_bits: float
    why: str


@dataclass(frozen=True)
class Repair:
    """One repair in a history: ISO date, leak path, what was done."""

    date: str
    path: str
    text: str


@dataclass(frozen=True)
class Ranking:
    """Where the air likely gets in, of one box's tests.

    ``not_told_apart_m2`` is the summed area of each group of ``not_told_apart``, which is known better
    than its members; empty when it was not worked out. ``waiting`` are repairs that no test came after.
    """

    box: str | None
    outcome: Literal["ranked", "refused"]
    reason: str | None
    comparison: SheetComparison | None
    paths: tuple[PathResult, ...]
    not_told_apart: tuple[tuple[str, ...], ...]
    not_tested: tuple[str, ...]
    unexplained: Unexplained | None
    left_out: tuple[tuple[str, str], ...]
    next_test: NextTest | None
    advice: tuple[str, ...]
    not_told_apart_m2: tuple[Interval, ...] = ()
    waiting: tuple[Event, ...] = ()


@dataclass(frozen=True)
class Trend:
    """Change of the area per month, in percent, with its 95 % interval."""

    percent_per_month: Interval


@dataclass(frozen=True)
class TestPoint:
    """One test in a history; ``set_aside`` gives the reason when it does not count, else None."""

    log: str
    started: datetime
    outcome: OutcomeKind
    area_m2: Interval | None
    set_aside: str | None

    __test__ = False


@dataclass(frozen=True)
class HistoryLine:
    """One box, setup and sealed list over the months.

    ``breaks`` are ISO date-times, by the shop's clock, of repairs and changes that touch this line's paths: the
    trend starts anew after each. ``waiting`` are those of its repairs that no test of the box came after.
    """

    box: str
    setup: str
    sealed: tuple[str, ...]
    tests: tuple[TestPoint, ...]
    repairs: tuple[Repair, ...]
    trend: Trend | None
    trend_reason: str
    limit_m2: float | None
    breaks: tuple[str, ...] = ()
    waiting: tuple[Event, ...] = ()
