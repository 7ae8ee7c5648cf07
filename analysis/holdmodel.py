"""The curve of a hold: box pressure against time for thousands of parameter vectors in one sweep.

Mass balance ``V dp/dt = R T (leak) + release`` stepped on the very times of the
readings, every parameter vector a row of one array, so that a family of laws with all its derivatives costs
one pass. The leak law enters as a table in ``sqrt(1 - r)``, in which every law is smooth up to r = 1.

Heat: the gas's energy balance ``m cv dT/dt = mdot (cp T0 - cv T) - h A (T - Tw)`` gives both the warming up
after a pump-down and the warmth that the inflow keeps in the gas. Release: moisture (saturating in time from
the shut) and air stored in the first ply (one pore node that remembers the pump-down and may take air back).
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from analysis.gas import GAMMA, R_REF
from analysis.laws import LeakLaw

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

LN_RATE, MIX, LN_MOIST, LN_TAU_MOIST, LN_PORE, LN_PORE_RATE, PORE_FILL, LN_WARMTH, ZERO = range(9)
NCOMMON = 9
PER_HOLD = 3
"""Parameters of each hold after the common ones: start pressure Pa, what the gas lacks at the shut because it is
cold Pa (negative when it is warm), ln of its leak's ratio."""
CV_OVER_R = 2.5
LARGEST_STEP = 0.015
"""Share of room pressure that a box should gain at most in one step of the integration."""
MOST_PARTS = 6
_NODES = 2049


@dataclass(frozen=True, eq=False)
class Course:
    """The steps of one session of holds, from its first reading to its last.

    Arrays (nstep,): ``dt_s``; ``p_pa`` the measured pressure in the middle of a driven step (pump-down, soak,
    let-up), unused in a hold; ``hold`` the hold's number or -1; ``since_shut_s`` time from the shut to the
    step's end; ``start_since_shut_s`` (nhold,) to the window's start;
    ``parts`` into how many steps of the integration each is cut, None for one each; ``moisture_most_pa`` the
    ceiling of the wood's vapour. Readings are predicted at
    the end of every step with ``hold >= 0``.
    """

    dt_s: FloatArray
    p_pa: FloatArray
    hold: IntArray
    since_shut_s: FloatArray
    start_since_shut_s: FloatArray
    room_pa: float
    first_pa: float
    bow_per_pa: float = 0.0
    parts: IntArray | None = None
    moisture_most_pa: float = np.inf

    @property
    def stretches(self) -> list[slice]:
        """Runs of steps that belong to one hold, or to none, in order."""
        cuts = np.flatnonzero(np.diff(self.hold)) + 1
        edges = [0, *cuts.tolist(), self.hold.size]
        return [slice(a, b) for a, b in itertools.pairwise(edges)]

    @property
    def nhold(self) -> int:
        """How many holds the session has."""
        return self.start_since_shut_s.size

    @property
    def npar(self) -> int:
        """Length of a parameter vector."""
        return NCOMMON + PER_HOLD * self.nhold


def parts_of(gain: FloatArray) -> IntArray:
    """Parts to cut steps into that gain a share ``gain`` (nstep,) of room pressure each."""
    return np.clip(np.ceil(np.abs(gain) / LARGEST_STEP), 1, MOST_PARTS).astype(np.intp)


@dataclass(frozen=True, eq=False)
class LawTables:
    """Flow tables of a family of laws on even nodes of ``sqrt(1 - r)``, one row a law.

    ``leaks`` (nlaw,) is 0 for "no leak"; ``least`` and ``most`` (nlaw,) bound the share of the table's own flow
    at one fifth of room pressure, a seep making up the rest; where ``crack`` (nlaw,) is 1 it is the inertial share.
    """

    flat: FloatArray
    rise: FloatArray
    leaks: FloatArray
    least: FloatArray
    most: FloatArray
    crack: FloatArray

    def begin(self, member: IntArray) -> IntArray:
        """Where the tables of members begin."""
        return member * _NODES

    def flow(self, base: IntArray, left: FloatArray) -> FloatArray:
        """Flow relative to that at one fifth of room pressure, ``left`` = 1 - r short of the room's.

        ``base`` is where each row's table begins.
        """
        x = np.sqrt(left)
        x *= _NODES - 1
        i = x.astype(np.intp)
        x -= i
        i += base
        # Clipping keeps a climb's wild steps inside the tables.
        value = self.rise.take(i, mode="clip")
        value *= x
        value += self.flat.take(i, mode="clip")
        return value


def make_tables(laws: tuple[LeakLaw | None, ...]) -> LawTables:
    """Tables of a family; None stands for "no leak"."""
    r = 1.0 - np.linspace(0.0, 1.0, _NODES) ** 2
    rows = np.stack([np.zeros(_NODES) if law is None else law.flow(r) / law.flow(R_REF) for law in laws])
    rise = np.diff(rows, axis=1, append=rows[:, -1:])
    leaks = np.array([0.0 if law is None else 1.0 for law in laws])
    own = np.array([(1.0, 1.0) if law is None else law.own for law in laws])
    crack = np.array([float(law is not None and law.crack) for law in laws])
    return LawTables(rows.ravel(), rise.ravel(), leaks, own[:, 0], own[:, 1], crack)


def mix_share(probit: FloatArray) -> FloatArray:
    """Where in its range the share of a law's own flow lies, 0..1, from its parameter (standard normal: even)."""
    return np.asarray(ndtr(probit))


def predict(course: Course, tables: LawTables, theta: FloatArray, member: IntArray) -> FloatArray:
    """Predicted pressures.

    Parameters
    ----------
    course
        The steps.
    tables
        The laws; ``member`` (n,) says which one each row takes.
    theta
        (n, course.npar): ln of the rate of rise at one fifth of room pressure (Pa/s), probit of a mix's share
        (unused by the other laws), ln of the moisture to come (Pa) and of its time constant (s), ln of the pores'
        volume over the box's, ln of their rate (1/s), how full the pores are at the first reading (0 as the box, 1 as
        the room), ln of V/(h A T) (s/Pa), the gauge's zero error (Pa); then for each hold its start pressure (Pa),
        what the cold gas lacks at the shut (Pa) and ln of its leak over the common one.

    Returns
    -------
    (n, nobs) pressures in Pa at the ends of the steps that belong to holds.
    """
    sweep = _Sweep(course, tables, theta, member)
    held: list[FloatArray] = []
    for stretch in course.stretches:
        if course.hold[stretch.start] < 0:
            sweep.driven(stretch)
        else:
            held.extend(sweep.hold(stretch))
    return np.stack(held, axis=1) * course.room_pa + theta[:, ZERO, None]


class _Held:
    """A box on its own, all rows: leak rate, ratio, gas warmth and its loss, air as ratio, moisture come."""

    def __init__(self, k: FloatArray, r: FloatArray, warm: FloatArray, loss: FloatArray) -> None:
        self.k, self.r, self.warm, self.loss = k, r, warm, loss
        self.mass = r / (1.0 + warm)
        self.wet = np.zeros_like(r)
        self.last: FloatArray | None = None
        self.dt_last = 0.0


class _Sweep:
    """State of all rows while they step through a course; pressures over room pressure inside."""

    def __init__(self, course: Course, tables: LawTables, theta: FloatArray, member: IntArray) -> None:
        self.course, self.tables, self.theta = course, tables, theta
        self.base = tables.begin(member)
        # Bounds no box reaches; they only keep a climb's wild steps finite.
        common = np.exp(np.clip(theta[:, :NCOMMON], -60.0, 12.0))
        self.rate = common[:, LN_RATE] * tables.leaks[member] / course.room_pa
        self.tau_moist = common[:, LN_TAU_MOIST]
        least = tables.least[member]
        share = least + (tables.most[member] - least) * mix_share(theta[:, MIX])
        crack = tables.crack[member]
        self.other = share * (1.0 - crack)
        self.seep = (1.0 - self.other) / (1.0 - R_REF * R_REF)
        self.pure, self.cracks = not self.seep.any(), bool(crack.any())
        # Forchheimer's root for cracks: 2 drive / (s + sqrt(s**2 + 4 x drive)) with s = 1 - x; s = 1 elsewhere.
        self.sticky = 1.0 - share * crack
        self.sticky2, self.inertial = self.sticky**2, 4.0 * share * crack / (1.0 - R_REF * R_REF)
        moist = common[:, LN_MOIST]
        if np.isfinite(course.moisture_most_pa):
            moist = course.moisture_most_pa * np.tanh(moist / course.moisture_most_pa)
        self.moist, self.warmth = moist / course.room_pa, common[:, LN_WARMTH] * course.room_pa
        self.pore, self.pore_rate = common[:, LN_PORE], common[:, LN_PORE_RATE]
        first = course.first_pa / course.room_pa
        self.pore_r = first + np.clip(theta[:, PORE_FILL], 0.0, 1.05) * (1.0 - first)

    def driven(self, stretch: slice) -> None:
        """Steps in which the pressure is known: only the pores move."""
        for r, dt in zip(self.course.p_pa[stretch] / self.course.room_pa, self.course.dt_s[stretch], strict=True):
            self._breathe(r, dt)

    def flow(self, left: FloatArray) -> FloatArray:
        """Leak's flow over that at one fifth of room pressure, mixes included, ``left`` short of the room's."""
        value = self.tables.flow(self.base, left)
        if self.pure:
            return value
        value *= self.other
        drive = 2.0 - left
        drive *= left
        if self.cracks:
            root = self.inertial * drive
            root += self.sticky2
            np.sqrt(root, out=root)
            root += self.sticky
            root *= 0.5
            drive /= root
        drive *= self.seep
        value += drive
        return value

    def hold(self, stretch: slice) -> list[FloatArray]:
        """Steps of the box on its own; the pressure ratio after every step."""
        course = self.course
        number = int(course.hold[stretch.start])
        at, start = NCOMMON + PER_HOLD * number, course.start_since_shut_s[number]
        own = self.theta[:, at : at + PER_HOLD]
        since = np.concatenate([[start], course.since_shut_s[stretch]])[:, None]
        moisture = -self.moist * np.expm1(-since / self.tau_moist)
        k = self.rate * np.exp(np.clip(own[:, 2], -3.0, 3.0))
        r = np.clip((own[:, 0] - self.theta[:, ZERO]) / course.room_pa, 1e-5, 1.2)
        lack = own[:, 1] / course.room_pa
        keeps = CV_OVER_R * self.warmth
        held = _Held(k, r, self._warmth_at(start, r, k, keeps, lack), 1.0 / keeps)
        out = []
        for i, dt in enumerate(course.dt_s[stretch].tolist()):
            parts = 1 if course.parts is None else int(course.parts[stretch.start + i])
            wet = (moisture[i + 1] - moisture[i]) / parts
            for _ in range(parts):
                self._step(held, dt / parts, wet)
            out.append(held.r)
        return out

    def _step(self, held: _Held, dt: float, wet: FloatArray) -> None:
        """One step: inflow extrapolated from this step and the last (Adams-Bashforth), the first by the midpoint.

        Heat is stepped exactly, pores semi-implicitly. Air comes in only until the box is as full as the room.
        """
        if dt <= 0.0:
            return
        r = held.r
        left = 1.0 - r
        np.maximum(left, 0.0, out=left)
        from_pores = self._breathe(r, dt)
        flow = self.flow(left)
        flow *= held.k
        gain = self._gain(held, flow, left, dt)
        held.last, held.dt_last = flow, dt
        np.minimum(gain, left, out=gain)
        bow = self.course.bow_per_pa * self.course.room_pa
        if bow:
            gives = (2.0 * bow) * r
            gives += 1.0 - bow
            gain /= gives
        gain += from_pores
        held.warm = _warmed(held.warm, gain / dt, held.mass + 0.5 * gain, held.loss, dt)
        held.mass = held.mass + gain
        held.wet = held.wet + wet
        r = held.warm + 1.0
        r *= held.mass
        r += held.wet
        np.maximum(r, 0.0, out=r)
        held.r = np.minimum(r, 2.0, out=r)

    def _gain(self, held: _Held, flow: FloatArray, left: FloatArray, dt: float) -> FloatArray:
        """What flows in over a step that begins with ``flow``."""
        if held.last is None:
            half = np.minimum((0.5 * dt) * flow, 0.5 * left)
            return np.asarray(held.k * self.flow(np.maximum(left - half, 0.0)) * dt)
        gain = flow - held.last
        gain *= 0.5 * dt / held.dt_last
        gain += flow
        gain *= dt
        return np.maximum(gain, 0.0, out=gain)

    def _warmth_at(self, since: float, r: FloatArray, k: FloatArray, keeps: FloatArray, lack: FloatArray) -> FloatArray:
        """Gas temperature over the walls', minus 1, some time after the shut: cold pump-down, warm inflow."""
        cold = -lack / r * np.exp(-since / (keeps * r))
        return _warmed(np.zeros_like(r), k * self.flow(np.maximum(1.0 - r, 0.0)), r, 1.0 / keeps, since) + np.clip(
            cold, -0.5, 0.5
        )

    def _breathe(self, r: FloatArray | float, dt: float) -> FloatArray:
        """Let the pores give or take air for ``dt`` at box ratio ``r``; returns what the box gains."""
        step = dt * self.pore_rate
        change = self.pore_r * self.pore_r
        change -= r * r
        change *= step
        step *= self.pore_r
        step += 1.0
        change /= step
        self.pore_r = self.pore_r - change
        return np.multiply(self.pore, change, out=change)


def _warmed(warm: FloatArray, inflow: FloatArray, mass: FloatArray, loss: FloatArray, dt: float) -> FloatArray:
    """Gas temperature over the walls', minus 1, after ``dt``: compression by the inflow against loss to the walls.

    ``inflow`` and ``mass`` are over room pressure (per second; mean of the step); ``mass / loss`` is the time
    constant of the loss to the walls, s.
    """
    total = inflow + loss
    np.maximum(total, 1e-12, out=total)
    end = inflow * (GAMMA - 1.0)
    end /= total
    total *= -dt
    total /= np.maximum(mass, 1e-6)
    np.exp(total, out=total)
    total *= warm - end
    total += end
    return total
