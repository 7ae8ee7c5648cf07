"""A hold test planned before it is made: how long to soak and hold, from which pressure, and what that can show.

Fisher information of the very model and priors that a fit uses: the slopes of the predicted readings, weighed
with what the display leaves of each reading, plus the priors of wood, gas and gauge. What the readings cannot
narrow (volume, barometer, gauge, temperature) is added per the GUM (JCGM 100) as it is in an estimate.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import hypot, sinh, sqrt
from typing import Literal

from acquisition.records import Box
from acquisition.units import STANDARD_PRESSURE_PA, GaugeUnit
from analysis import reasons
from analysis.estimate import log_uncertainties, steady_drift_m2
from analysis.limit import limit_for, working_pressure_pa
from analysis.numberwords import area_number, duration_text
from analysis.planmodel import (
    BY_HAND_PA,
    Schedule,
    hole_or_seep,
    lay_out,
    planned_trace,
    pump_floor_pa,
    released_share,
    smallest_leak_m2,
    u_log_rate,
)
from analysis.trace import Trace

PlanOutcome = Literal["planned", "out-of-reach", "refused"]
SOAKS_S = (0.0, 60.0, 180.0, 300.0)
HOLDS_S = (60.0, 90.0, 120.0, 180.0, 240.0, 300.0, 420.0, 600.0, 900.0, 1200.0, 1800.0)
WEAK_SHARE = 0.6
"""Start of a weak hold over room pressure: above the choke point, where hole and seep part."""
NAMES_AT = 280.0
"""Twice the log likelihood ratio of hole and seep from which a law will likely be named at 95 %: the share of hole
in a mix is then known to 0.06, and a law carries its name up to a tenth of the other."""
MOST_STEP_SHARE = 0.2
"""A display with larger steps, over room pressure, has not five of them between an empty box and the room."""
LEAST_SHOWN = 0.5
"""A leak under this share of the smallest that the longest hold can show is not told from none."""
WORTH_IT = 1.05
"""Without a target, the shortest test within this factor of the narrowest interval."""
_DEFAULT_LEAK_M2 = 0.1e-6
_Z95 = 1.96


@dataclass(frozen=True)
class HoldPlan:
    """How to make a hold test and what it is expected to give.

    ``outcome`` is ``planned``; ``out-of-reach`` when no test can meet the target (``reason`` says what stands in the
    way, the figures are those of the best test); ``refused`` when none can be planned. ``start_pa`` is where the
    valve is shut, Pa absolute; ``expected_percent`` half the 95 % interval over the area, every uncertainty
    combined; ``smallest_leak_m2`` the smallest leak this test would show to be one.
    """

    outcome: PlanOutcome
    reason: str | None
    soak_s: float | None
    hold_s: float | None
    start_pa: float | None
    expected_percent: float | None
    smallest_leak_m2: float | None
    why: str


@dataclass(frozen=True)
class _Choice:
    """One schedule with what it costs and gives: s from the first stroke of the pump, standard deviations of ln area.

    ``u_readings`` by the readings; ``u_release`` by what the model's wood may book wrongly; ``u_others`` by all else.
    """

    schedule: Schedule
    seconds: float
    u_readings: float
    u_release: float
    u_others: float

    @property
    def percent(self) -> float:
        """Half the 95 % interval over the area, percent."""
        return _percent(hypot(self.u_readings, self.u_release, self.u_others))


def plan_hold(
    box: Box,
    unit: GaugeUnit,
    resolution: float,
    leak_m2: float | None = None,
    want_percent: float | None = None,
    tell_law: bool = False,
    room_pa: float = STANDARD_PRESSURE_PA,
) -> HoldPlan:
    """Plan a hold test.

    Parameters
    ----------
    box
        The box file: volume or inside, wood, pump.
    unit, resolution
        The gauge, and its display's step in its own unit.
    leak_m2
        Leak to be measured, m2 effective; None takes the box's limit, else 0.1 mm2.
    want_percent
        How narrow the answer is to be: half the 95 % interval over the area, percent. None plans the shortest
        test that gives nearly all that half an hour can.
    tell_law
        Plan to tell a hole from a seep instead.
    room_pa
        Room pressure, Pa; taken as measured.

    Returns
    -------
    The shortest test, pump-downs included, that meets the target, or the best there is.
    """
    if resolution * unit.pa_per_unit > MOST_STEP_SHARE * room_pa:
        return _refused(_too_coarse(unit, resolution, room_pa))
    trace = planned_trace(box, unit, resolution, room_pa)
    if trace.volume_m3 is None:
        refusal = reasons.no_volume()
        return _refused(f"{refusal.reason} {refusal.advice}")
    limit = limit_for(box, room_pa)
    leak = leak_m2 or (limit.area_m2 if limit else _DEFAULT_LEAK_M2)
    floor = pump_floor_pa(trace, leak)
    if floor is None or floor > WEAK_SHARE * room_pa:
        return _refused(
            f"With a leak of {area_number(leak)} mm² the pump levels off too high for a hold; let it run until the"
            " pressure stands still, and record that: the level tells the leak."
        )
    planner = _Planner(trace, box, leak, floor)
    return planner.tell_law() if tell_law else planner.narrow(want_percent)


def _refused(reason: str) -> HoldPlan:
    return HoldPlan("refused", reason, None, None, None, None, None, reason)


def _too_coarse(unit: GaugeUnit, resolution: float, room_pa: float) -> str:
    whole = room_pa / unit.pa_per_unit
    return (
        f"A display with steps of {resolution:g} {unit.unit} shows no hold: from an empty box to the room it is"
        f" {whole:.3g} {unit.unit} in all; the step must be {MOST_STEP_SHARE * whole:.2g} {unit.unit} or less."
    )


class _Planner:
    """Tries schedules for one box, gauge and leak."""

    def __init__(self, trace: Trace, box: Box, leak_m2: float, floor_pa: float) -> None:
        self.trace, self.leak_m2 = trace, leak_m2
        self.floor_pa = floor_pa
        self.shallow_pa = max(floor_pa, working_pressure_pa(box, trace.room_pa))
        others = log_uncertainties(trace, 0.0)[1]
        self.u_others = hypot(others, steady_drift_m2(trace) / leak_m2)

    def narrow(self, want_percent: float | None) -> HoldPlan:
        """The shortest test whose interval is as narrow as wanted, else as narrow as it can be."""
        smallest = smallest_leak_m2(self.trace, Schedule(SOAKS_S[-1], HOLDS_S[-1], (self.floor_pa,) * 2))
        if self.leak_m2 < LEAST_SHOWN * smallest:
            leak = f"{self.leak_m2 * 1e6:.2g} mm²"
            return _refused(
                f"A leak of {leak} is not told from none: with this box and gauge the longest hold shows one of"
                f" {area_number(smallest)} mm²; ask for that or a larger one."
            )
        choices = sorted(self._choices(), key=lambda choice: choice.seconds)
        least = min(choice.percent for choice in choices)
        target = WORTH_IT * least if want_percent is None or want_percent < least else want_percent
        best = next(choice for choice in choices if choice.percent <= target)
        if want_percent is None or want_percent >= least:
            return self._plan(best, "planned", None, self._words(best))
        reason = self._what_stands_in_the_way(want_percent, best)
        return self._plan(best, "out-of-reach", reason, f"{reason} {self._words(best)}")

    def tell_law(self) -> HoldPlan:
        """The shortest test after which a hole would likely be told from a seep."""
        tried = [found for soak in (0.0, 180.0) for weak in (False, True) if (found := self._first_to_tell(soak, weak))]
        if tried:
            best = min(tried, key=lambda choice: choice.seconds)
            return self._plan(best, "planned", None, self._law_words(best))
        reason = (
            f"In half an hour a leak of {area_number(self.leak_m2)} mm² fills this box too little for this gauge"
            " to tell a hole from a seep."
        )
        best = self._choice(Schedule(0.0, HOLDS_S[-1], (WEAK_SHARE * self.trace.room_pa, self.shallow_pa)))
        return self._plan(best, "out-of-reach", reason, f"{reason} {self._law_words(best)}")

    def _first_to_tell(self, soak_s: float, weak: bool) -> _Choice | None:
        """The shortest hold that tells the law, by halving: a longer hold tells more."""
        starts = ((WEAK_SHARE * self.trace.room_pa,) if weak else ()) + (self._start(soak_s),)
        # A soak belongs before a deep hold; before the weak one it would undo it.
        soak_s = 0.0 if weak else soak_s
        low, high = 0, len(HOLDS_S)
        while low < high:
            middle = (low + high) // 2
            session = lay_out(self.trace, Schedule(soak_s, HOLDS_S[middle], starts), self.leak_m2)
            low, high = (low, middle) if hole_or_seep(session) >= NAMES_AT else (middle + 1, high)
        return self._choice(Schedule(soak_s, HOLDS_S[low], starts)) if low < len(HOLDS_S) else None

    def _start(self, soak_s: float) -> float:
        """Where the valve is shut: at the working vacuum, or as deep as a soak brings the box."""
        return self.floor_pa if soak_s else self.shallow_pa

    def _choices(self) -> Iterator[_Choice]:
        """Every soak and hold once, and a redraw after the soaks of three minutes and more."""
        for soak in SOAKS_S:
            for hold in HOLDS_S:
                start = self._start(soak)
                yield self._choice(Schedule(soak, hold, (start,)))
                if soak >= 180.0 and self.trace.wood != "none":
                    yield self._choice(Schedule(soak, hold, (start, start)))

    def _choice(self, schedule: Schedule) -> _Choice:
        session = lay_out(self.trace, schedule, self.leak_m2, releases_more=True)
        whole = log_uncertainties(self.trace, released_share(session))[1]
        u_release = sqrt(max(whole**2 - log_uncertainties(self.trace, 0.0)[1] ** 2, 0.0))
        return _Choice(schedule, session.seconds, u_log_rate(session), u_release, self.u_others)

    def _plan(self, choice: _Choice, outcome: PlanOutcome, reason: str | None, why: str) -> HoldPlan:
        schedule = choice.schedule
        return HoldPlan(
            outcome,
            reason,
            schedule.soak_s,
            schedule.hold_s,
            schedule.starts_pa[0],
            choice.percent,
            smallest_leak_m2(self.trace, schedule),
            why,
        )

    def _what_stands_in_the_way(self, want_percent: float, best: _Choice) -> str:
        trace = self.trace
        volume = _percent(trace.u_log_volume)
        if volume > 0.6 * want_percent and trace.u_log_volume >= 0.6 * self.u_others:
            return (
                f"The volume alone leaves {volume:.0f} %; measure it, by sharing air with a tank or with a drilled hole"
                " (boxhold volume)."
            )
        own = hypot(best.u_readings, best.u_release)
        if self.u_others > own:
            return f"Gauge, barometer and volume together leave {_percent(self.u_others):.0f} %, whatever the hold."
        if trace.resolution_pa >= BY_HAND_PA:
            return "The dial is too coarse for that; take a gauge with a finer step."
        what = "gauge" if trace.wood == "none" else "wood's own release and the gauge"
        return f"The {what} leave {_percent(own):.0f} %, however long the hold."

    def _words(self, choice: _Choice) -> str:
        leak = area_number(self.leak_m2)
        own = _percent(hypot(choice.u_readings, choice.u_release))
        others = _rounded(_percent(self.u_others))
        return (
            f"{self._how(choice.schedule)} A leak of {leak} mm² is then known within {_rounded(own)} % by the readings;"
            f" what is not known of volume, gauge, barometer and temperature adds {others} %."
        )

    def _law_words(self, choice: _Choice) -> str:
        return (
            f"{self._how(choice.schedule)} A hole lets in ever less above half of room pressure, a seep from the start:"
            " that bend is what tells them apart."
        )

    def _how(self, schedule: Schedule) -> str:
        hold = duration_text(schedule.hold_s)
        deep = schedule.starts_pa[-1]
        if schedule.starts_pa[0] > deep:
            down = f"pump down to {deep / 1000.0:.0f} kPa absolute"
            why = "after a deep hold the wood takes air back, so the weak one comes first"
            return f"Hold {hold} at the weak vacuum, then {down} and hold {hold} again: {why}."
        again = ""
        if len(schedule.starts_pa) > 1:
            again = f", redraw without letting air in and hold {hold} again: stored air falls"
        return f"Hold {hold}{_soaked(schedule)}{again}. {self._where(schedule)}"

    def _where(self, schedule: Schedule) -> str:
        """Where the valve is shut, and why there."""
        if not schedule.soak_s and self.shallow_pa > self.floor_pa:
            return "Shut the valve at the working vacuum: there the leak counts, and deeper needs a soak."
        assert self.trace.box is not None
        pump = "the pump" if self.trace.box.pump is not None else "a usual pump"
        why = "where the soak ends" if schedule.soak_s else "which is above the working vacuum"
        return f"Shut the valve as low as {pump} gets against that leak, {why}."

def _soaked(schedule: Schedule) -> str:
    return f" after a soak of {duration_text(schedule.soak_s)}" if schedule.soak_s else ""


def _percent(u_log: float) -> float:
    """Half the 95 % interval over the value, percent, from a standard deviation of the logarithm."""
    return 100.0 * sinh(min(_Z95 * u_log, 7.0))


def _rounded(percent: float) -> str:
    return f"{percent:.1f}" if percent < 2.0 else f"{percent:.0f}"
