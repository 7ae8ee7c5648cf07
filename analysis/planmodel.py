"""A hold test that has not been made: its steps, its priors, and the information its readings would carry.

The course, the priors and the model are those of a fit; only the readings are missing, and information needs none.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import exp, hypot, log

import numpy as np
from numpy.typing import NDArray

from acquisition.records import Box, Log, LogHeader, Pump, Uncertain
from acquisition.units import GaugeUnit, from_absolute_pa
from analysis.course import Course, Driven, Held, lay, rough_curve
from analysis.estimate import steady_drift_m2
from analysis.gas import choked_throughput_pa_m3_s
from analysis.holdmodel import make_tables, predict, predict_with_slopes
from analysis.laws import LeakLaw, family, hole_flow
from analysis.phases import HoldSeen
from analysis.priors import ReleasePrior, rate_of_area, release_priors
from analysis.pumpcurve import UNKNOWN_SPEED_M3_S, UNKNOWN_ULTIMATE_PA, pump_throughput_pa_m3_s
from analysis.readings import BLOCKS, FULL_SHARE, Window, bow_per_pa
from analysis.sweep import LN_MOIST, LN_PORE, LN_RATE, NCOMMON, PER_HOLD, LawTables
from analysis.trace import Trace, make_trace

FloatArray = NDArray[np.float64]
NOISE_STEPS = 0.3
"""Noise of single readings over the display's step, and its floor in Pa; common practice, no source."""
LEAST_NOISE_PA = 3.0
BY_HAND_PA = 1_500.0
"""A display in steps as large as this is a dial, read by hand."""
NO_LEAK_DEVIATIONS = 3.0
"""A leak is claimed when it is this many standard deviations from none: "no leak" is then below 2 %."""
_SMALLEST_M2, _LARGEST_M2 = 1e-11, 2e-5
_INTERVAL_S, _BY_HAND_S = 1.0, 10.0
_STEPS_DOWN = 8
_ROOM_C = 20.0
_USUAL_PUMP = Pump(UNKNOWN_SPEED_M3_S[1] * 1e3, UNKNOWN_ULTIMATE_PA[1] * 1e-3)
_ANY_MIX = LeakLaw("between", None, float("nan"), float("nan"), 1.0, hole_flow, (0.0, 1.0))


@dataclass(frozen=True)
class Schedule:
    """What is done: pump down, soak, then a hold of ``hold_s`` from each start in turn (Pa), no air let in between."""

    soak_s: float
    hold_s: float
    starts_pa: tuple[float, ...]


@dataclass(frozen=True, eq=False)
class Session:
    """A schedule laid out for one box, gauge and leak.

    ``count`` (nobs,) readings behind each predicted one; ``theta`` (npar,) the parameters expected; ``reading_var``
    the variance of a single reading, display and noise, Pa2; ``seconds`` from the start to the end of the last hold.
    """

    trace: Trace
    course: Course
    count: FloatArray
    prior: ReleasePrior
    theta: FloatArray
    reading_var: float
    seconds: float


def planned_trace(
    box: Box, unit: GaugeUnit, resolution: float, room_pa: float, shuts: tuple[tuple[float, float], ...] = ((1.0, 2e4),)
) -> Trace:
    """A trace as the test will give it, barometer and room temperature noted down; ``shuts`` are (s, Pa)."""
    t_s = np.array([-3.0, -2.0, -1.0, *(t for t, _ in shuts)])
    p_pa = np.array([room_pa] * 3 + [p for _, p in shuts])
    header = LogHeader(
        gauge=unit,
        box=box.name,
        resolution=resolution,
        barometer_kPa=Uncertain(room_pa * 1e-3, 0.0),
        room_C=_ROOM_C,
    )
    return make_trace(Log(header, t_s, np.asarray(from_absolute_pa(p_pa, unit, room_pa))), box)


def pump_of(box: Box) -> Pump:
    """The box file's pump; a usual shop pump where it has none."""
    known = box.pump is not None and pump_throughput_pa_m3_s(box.pump, 5e4) is not None
    return box.pump if known and box.pump is not None else _USUAL_PUMP


def pump_floor_pa(trace: Trace, leak_m2: float) -> float | None:
    """Pressure to which the pump soon draws the box with its leak, Pa; None when it stalls above 0.8 of the room."""
    assert trace.box is not None
    p = np.geomspace(1e-3, 0.8, 200) * trace.room_pa
    net = np.array([_net_throughput(trace, float(x), leak_m2) for x in p])
    stalls = np.flatnonzero(net <= 0.0)
    level = p[0] if not stalls.size else p[stalls[-1]]
    return None if stalls.size and stalls[-1] == p.size - 1 else float(min(1.1 * level, 0.8 * trace.room_pa))


def _net_throughput(trace: Trace, p_pa: float, leak_m2: float) -> float:
    assert trace.box is not None
    moved = pump_throughput_pa_m3_s(pump_of(trace.box), p_pa) or 0.0
    leak = choked_throughput_pa_m3_s(leak_m2, trace.room_pa, trace.room_k)
    return moved - leak * float(hole_flow(p_pa / trace.room_pa))


def lay_out(trace: Trace, schedule: Schedule, leak_m2: float, releases_more: bool = False) -> Session:
    """Steps, priors and expected parameters of a schedule; the box's volume must be known.

    ``releases_more`` takes wood that gives off one standard deviation more than usual, as one box in six does.
    """
    layout = _Layout(trace, schedule, leak_m2)
    for number, start_pa in enumerate(schedule.starts_pa):
        layout.pump_down(start_pa)
        layout.hold(number, start_pa)
    assert trace.box is not None
    step = trace.resolution_pa / trace.unit.pa_per_unit
    own = planned_trace(trace.box, trace.unit, step, trace.room_pa, layout.shuts)
    prior = release_priors(own, [(own, window) for window in layout.windows], fresh=True)[0]
    return Session(
        own,
        layout.course(),
        np.array(layout.counts),
        prior,
        _expected(own, prior, schedule, leak_m2, releases_more),
        reading_variance(trace.resolution_pa),
        layout.clock,
    )


def reading_variance(step_pa: float) -> float:
    """Variance of what a single reading says of the pressure, Pa2: its noise and the step of the display.

    Twice that of independent readings: a slow rise shows the same step many times over, and the score of a
    censored reading counts it as half.
    """
    return 2.0 * (max(NOISE_STEPS * step_pa, LEAST_NOISE_PA) ** 2 + step_pa**2 / 12.0)


def _expected(trace: Trace, prior: ReleasePrior, schedule: Schedule, leak_m2: float, releases_more: bool) -> FloatArray:
    theta: FloatArray = prior.mean.copy()
    if releases_more:
        theta[[LN_MOIST, LN_PORE]] += prior.sd[[LN_MOIST, LN_PORE]]
    theta[LN_RATE] = np.log(rate_of_area(trace, leak_m2))
    theta[NCOMMON::PER_HOLD] = schedule.starts_pa
    return theta


class _Layout:
    """Lays the steps of a schedule one after the other."""

    def __init__(self, trace: Trace, schedule: Schedule, leak_m2: float) -> None:
        self.trace, self.schedule, self.leak_m2 = trace, schedule, leak_m2
        self.driven: list[Driven] = []
        self.held: list[Held] = []
        self.before: list[tuple[float, float]] = []
        self.counts: list[float] = []
        self.windows: list[Window] = []
        self.clock, self.p_pa = 0.0, trace.room_pa
        by_hand = trace.resolution_pa >= BY_HAND_PA
        self.interval_s = _BY_HAND_S if by_hand else _INTERVAL_S

    @property
    def shuts(self) -> tuple[tuple[float, float], ...]:
        starts = self.schedule.starts_pa
        return tuple((w.shut_s, p) for w, p in zip(self.windows, starts, strict=True))

    def pump_down(self, to_pa: float) -> None:
        """Steps of the pump-down to ``to_pa``, and of the soak before the first hold."""
        assert self.trace.volume_m3 is not None
        for high, low in pairwise(np.geomspace(max(self.p_pa, to_pa * 1.001), to_pa, _STEPS_DOWN + 1)):
            p = float(np.sqrt(high * low))
            net = max(_net_throughput(self.trace, p, self.leak_m2), 1e-2)
            self._driven(self.trace.volume_m3 * float(np.log(high / low)) * p / net, p)
        for _ in range(_STEPS_DOWN if self.schedule.soak_s and not self.windows else 0):
            self._driven(self.schedule.soak_s / _STEPS_DOWN, to_pa)
        self.p_pa = to_pa

    def _driven(self, seconds: float, p_pa: float) -> None:
        self.before.append((seconds, p_pa))
        self.clock += seconds

    def hold(self, number: int, start_pa: float) -> None:
        """Steps of a hold, readings gathered in blocks that grow with time as a fit gathers them."""
        length = self.schedule.hold_s
        guard = min(8.0, 0.05 * length)
        blocks = int(np.clip(length / self.interval_s, 4, BLOCKS))
        since = guard + (length - guard) * np.linspace(0.0, 1.0, blocks + 1) ** 1.3
        dt, rate, room_pa = np.diff(since), rate_of_area(self.trace, self.leak_m2), self.trace.room_pa
        self.driven.append(Driven(*np.array(self.before).reshape(-1, 2).T))
        self.held.append(lay(since, rough_curve(since, start_pa / room_pa, rate / room_pa), since[1:]))
        self.before = []
        self.counts += [max(float(d) / self.interval_s, 1.0) for d in dt]
        soak = self.schedule.soak_s if number == 0 else 0.0
        seen = HoldSeen(self.clock, self.clock, self.clock + length, self.clock - soak, None, None, True)
        self.windows.append(Window(self.clock + guard, self.clock + length, self.clock, seen))
        self.clock += length
        self.p_pa = min(start_pa + rate * length, FULL_SHARE * room_pa)

    def course(self) -> Course:
        room_pa = self.trace.room_pa
        return Course(tuple(self.driven), tuple(self.held), room_pa, room_pa, bow_per_pa(self.trace))


def u_log_rate(session: Session) -> float:
    """Standard deviation of ln of the rate of rise that the readings leave, the law being any mix of hole and seep."""
    hessian = _information(session, make_tables((_ANY_MIX,)))[0]
    return float(np.sqrt(_inverse(hessian)[LN_RATE, LN_RATE]))


def smallest_leak_m2(trace: Trace, schedule: Schedule) -> float:
    """Smallest area, m2, that stands out from none even where the wood gives off much; found by halving."""
    low, high = log(_SMALLEST_M2), log(_LARGEST_M2)
    drift = steady_drift_m2(trace)
    for _ in range(20):
        area = exp(0.5 * (low + high))
        session = lay_out(trace, schedule, area, releases_more=True)
        seen = hypot(u_log_rate(session), drift / area) <= 1.0 / NO_LEAK_DEVIATIONS
        low, high = (low, log(area)) if seen else (log(area), high)
    return exp(high)


def released_share(session: Session) -> float:
    """Share of the rise over the last hold that is no leak, as expected."""
    quiet = session.theta.copy()
    quiet[[LN_MOIST, LN_PORE]] = -60.0
    quiet[NCOMMON + 1 :: PER_HOLD] = 0.0
    rows = np.stack([session.theta, quiet])
    end, end_quiet = predict(session.course, make_tables((_ANY_MIX, _ANY_MIX)), rows, np.arange(2))[:, -1]
    rise = max(float(end) - float(session.theta[-PER_HOLD]), 1.0)
    return float(np.clip((end - end_quiet) / rise, 0.0, 1.0))


def hole_or_seep(session: Session) -> float:
    """How far apart hole and seep are for the readings, everything else refitted.

    Twice the expected log likelihood ratio: the quadratic form of the difference of the two curves, what the
    other parameters can take up of it left out.
    """
    plain = {law.kind: law for law in family() if law.variant is None}
    ends = [make_tables((_pure(plain[kind], own),)) for kind, own in (("hole", (1.0, 1.0)), ("seep", (0.0, 0.0)))]
    hole = predict(session.course, ends[0], session.theta[None], np.array([0]))[0]
    hessian, slopes, weight, seep = _information(session, ends[1])
    gap = hole - seep
    pull = slopes.T @ (weight * gap)
    return float(gap @ (weight * gap) - pull @ _inverse(hessian) @ pull)


def _pure(law: LeakLaw, own: tuple[float, float]) -> LeakLaw:
    return LeakLaw(law.kind, law.variant, law.b, law.m, law.prior, law.flow, own)


def _information(session: Session, tables: LawTables) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Information of readings and priors (npar, npar); slopes (nobs, npar), weight and curve (nobs,)."""
    course, sd = session.course, session.prior.sd
    mu, slopes = predict_with_slopes(course, tables, session.theta[None], np.array([0]))
    curve, slope = mu[0], slopes[0].T
    # What no law describes grows with the swing of the readings, as a fit has it.
    missed = 1.0 + 3e-4 * float(np.ptp(np.minimum(curve, FULL_SHARE * course.room_pa)))
    weight = 1.0 / (session.reading_var / session.count + missed**2)
    weight = np.where(curve > FULL_SHARE * course.room_pa, 0.0, weight)
    return slope.T @ (weight[:, None] * slope) + np.diag(1.0 / sd**2), slope, weight, curve


def _inverse(hessian: FloatArray) -> FloatArray:
    scale = np.sqrt(np.diag(hessian))
    return np.asarray(np.linalg.inv(hessian / np.outer(scale, scale)) / np.outer(scale, scale))
