"""The curve of a hold: box pressure against time for thousands of parameter vectors in one sweep.

Mass balance ``V dp/dt = R T (leak) + release`` stepped on the nodes of a course, every parameter vector a row of one
array, so that a family of laws with all its derivatives costs one pass. The leak law enters as a table in
``sqrt(1 - r)``, in which every law is smooth up to r = 1; inflow is stepped by Adams and Bashforth's third order.

Heat: the gas's energy balance ``m cv dT/dt = mdot (cp T0 - cv T) - h A (T - Tw)`` gives both the warming up
after a pump-down and the warmth that the inflow keeps in the gas. Release: moisture (saturating in time from
the shut) and air stored in the first ply (one pore node that remembers the pump-down and may take air back).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from analysis.course import NCOMMON, PER_HOLD, Course, Driven
from analysis.gas import GAMMA, R_REF
from analysis.laws import LeakLaw

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

LN_RATE, MIX, LN_MOIST, LN_TAU_MOIST, LN_PORE, LN_PORE_RATE, PORE_FILL, LN_WARMTH, LN_BOW, ZERO = range(NCOMMON)
CV_OVER_R = 2.5
_NODES = 2049
_MOST_BOW = 0.5
_SHUT_ROUNDS, _MOST_NEW = 3, 0.98
"""Rounds to find the box at its shut from that at the first reading; share of its air that may have come in since."""


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
        What was done, and where the holds are stepped and read.
    tables
        The laws; ``member`` (n,) says which one each row takes.
    theta
        (n, course.npar): ln of the rate of rise at one fifth of room pressure (Pa/s), probit of a mix's share
        (unused by the other laws), ln of the moisture to come (Pa) and of its time constant (s), ln of the pores'
        volume over the box's, ln of their rate (1/s), how full the pores are at the first reading (0 as the box, 1 as
        the room), ln of V/(h A T) (s/Pa), ln of the bow over the course's, the gauge's zero error (Pa); then for each
        hold its start pressure (Pa), what the cold gas lacks at the shut (Pa) and ln of its leak over the common one.

    Returns
    -------
    (n, nobs) readings in Pa, hold by hold.
    """
    sweep = _Sweep(course, tables, theta, member)
    seen = []
    for number, (driven, held) in enumerate(zip(course.driven, course.held, strict=True)):
        sweep.drive(driven)
        seen.append(sweep.hold(number).T @ held.to_readings)
    return np.concatenate(seen, axis=1) * course.room_pa + theta[:, ZERO, None]


class _Box:
    """A box on its own, all rows: leak rate, its air as ratio, gas warmth; pressure ratio, what is left to the room."""

    def __init__(self, k: FloatArray, r: FloatArray, warm: FloatArray) -> None:
        self.k, self.r, self.warm = k, r, warm
        self.left = np.maximum(1.0 - r, 0.0)
        self.mass = r / (1.0 + warm)
        self.aim: FloatArray | None = None

    def take_in(self, gain: FloatArray, mass: FloatArray, loss: FloatArray, turn: float) -> None:
        """Let in ``gain``; its compression warms the gas, exactly for an inflow that changes evenly.

        ``mass`` is that in the middle of the step, ``loss`` what goes to the walls in it, ``turn`` its length over
        that from the middle of the step before to its own.
        """
        aim, drop = _relaxation(gain, mass, loss)
        lost = np.expm1(-drop)
        warm = self.warm - aim
        warm *= lost
        warm += self.warm
        if self.aim is not None:
            # How far the warmth trails behind an aim that moves: nothing in short steps, half the move in long ones.
            lag = lost / drop
            lost *= 0.5
            lag += lost
            lag += 1.0
            lag *= turn
            lag *= aim - self.aim
            warm += lag
        self.warm, self.aim = warm, aim
        self.mass = self.mass + gain

    def settle(self, wet: FloatArray, out: FloatArray) -> None:
        """Pressure ratio, into ``out``, from air, warmth and the moisture come so far."""
        r = self.warm + 1.0
        r *= self.mass
        r += wet
        np.maximum(r, 0.0, out=r)
        self.r = np.minimum(r, 2.0, out=out)
        np.subtract(1.0, out, out=r)
        self.left = np.maximum(r, 0.0, out=r)


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
        self.moist, self.loss = moist / course.room_pa, 1.0 / (CV_OVER_R * common[:, LN_WARMTH] * course.room_pa)
        self.pore, self.pore_rate = common[:, LN_PORE], common[:, LN_PORE_RATE]
        self.bows = course.bow_per_pa > 0.0
        self.bow = np.minimum(course.bow_per_pa * course.room_pa * common[:, LN_BOW], _MOST_BOW)
        self.stiff = 1.0 - self.bow
        first = course.first_pa / course.room_pa
        self.pore_r = first + np.clip(theta[:, PORE_FILL], 0.0, 1.05) * (1.0 - first)

    def drive(self, driven: Driven) -> None:
        """Steps in which the pressure is known: only the pores move."""
        steps = _each(driven.dt_s, self.pore_rate)
        for r, step in zip((driven.p_pa / self.course.room_pa).tolist(), steps, strict=True):
            self._drive_out(r, step, self.pore_r)

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

    def hold(self, number: int) -> FloatArray:
        """Steps of the box on its own; the pressure ratio (nnode, n) at the nodes."""
        held = self.course.held[number]
        since_shut_s = held.since_shut_s
        wet = self.moist * np.expm1(-since_shut_s[:, None] / self.tau_moist)
        wet = wet[0] - wet
        breath, loss = _each(held.dt_s, self.pore_rate), _each(held.dt_s, self.loss)
        box = self._shut(number, float(since_shut_s[0]))
        out, flows = np.empty((since_shut_s.size, box.r.size)), np.zeros((3, box.r.size))
        out[0] = box.r
        for i, (weights, turn) in enumerate(zip(held.weights_s, held.turns, strict=True)):
            flows[i % 3] = self._inflow(box.k, box.r, box.left)
            gain = weights @ flows if i else self._first_gain(box, flows[0], loss[0], float(held.dt_s[0]))
            self._step(box, gain, breath[i], loss[i], turn)
            box.settle(wet[i + 1], out[i + 1])
        return out

    def _shut(self, number: int, start_s: float) -> _Box:
        """The box at a hold's first node, ``start_s`` after its shut."""
        room_pa, at = self.course.room_pa, NCOMMON + PER_HOLD * number
        start_pa, lack, ratio = self.theta[:, at : at + PER_HOLD].T
        k = self.rate * np.exp(np.clip(ratio, -3.0, 3.0))
        r = np.clip((start_pa - self.theta[:, ZERO]) / room_pa, 1e-5, 1.2)
        cold = np.clip(-lack / room_pa / r * np.exp(-start_s * self.loss / r), -0.5, 0.5)
        return _Box(k, r, cold + self._warmed(k, r, start_s))

    def _warmed(self, k: FloatArray, r: FloatArray, start_s: float) -> FloatArray:
        """Warmth of a box at ``r`` from what came in over the ``start_s`` since its shut.

        For an inflow that stays even, exact: warmth falls short of its aim by a power of the mass then over that now.
        """
        warm, before = np.zeros_like(r), r
        for _ in range(_SHUT_ROUNDS):
            middle = 0.5 * (before + r)
            inflow = self._inflow(k, middle, np.maximum(1.0 - middle, 0.0)) * start_s
            mass = r / (1.0 + warm)
            share = np.minimum(inflow / mass, _MOST_NEW)
            aim, drop = _relaxation(inflow, mass, self.loss * start_s)
            drop *= -np.log1p(-share) / np.maximum(share, 1e-12)
            warm, before = -aim * np.expm1(-drop), mass * (1.0 - share)
        return warm

    def _inflow(self, k: FloatArray, r: FloatArray, left: FloatArray) -> FloatArray:
        """How fast the leak lets the ratio rise at ``r``, ``left`` short of the room, in a box that gives way."""
        flow = self.flow(left)
        flow *= k
        if self.bows:
            gives = self.bow * r
            gives *= 2.0
            gives += self.stiff
            flow /= gives
        return flow

    def _first_gain(self, box: _Box, flow: FloatArray, loss: FloatArray, dt: float) -> FloatArray:
        """What flows in over the first step, by the flow in its middle."""
        half = np.minimum(0.5 * dt * flow, 0.5 * box.left)
        aim, drop = _relaxation(half, box.mass, 0.5 * loss)
        warm = aim + (box.warm - aim) * np.exp(-drop)
        r = (box.mass + half) * (1.0 + warm)
        return self._inflow(box.k, r, np.maximum(1.0 - r, 0.0)) * dt

    def _step(self, box: _Box, gain: FloatArray, breath: FloatArray, loss: FloatArray, turn: float) -> None:
        """One step in which the leak gives ``gain``, at most until the box is as full as the room."""
        np.minimum(gain, box.left, out=gain)
        np.maximum(gain, 0.0, out=gain)
        middle = 0.5 * gain
        r = middle + box.r
        # What the pores give enters implicitly.
        ease = self.pore * r
        ease += self.pore_r
        given = self._drive_out(r, breath, ease)
        given *= self.pore
        gain += given
        middle = 0.5 * gain
        middle += box.mass
        box.take_in(gain, middle, loss, turn)

    def _drive_out(self, r: FloatArray | float, step: FloatArray, ease: FloatArray) -> FloatArray:
        """Let the pores breathe against a box at ``r``; returns by how much their ratio falls."""
        change = self.pore_r * self.pore_r
        change -= r * r
        change *= step
        slowed = step * ease
        slowed += 1.0
        change /= slowed
        self.pore_r = self.pore_r - change
        return change


def _each(dt_s: FloatArray, per_s: FloatArray) -> FloatArray:
    """What every row does in every step, (nstep, n)."""
    return np.asarray(np.multiply.outer(dt_s, per_s))


def _relaxation(inflow: FloatArray, mass: FloatArray, loss: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Warmth the gas tends to (its temperature over the walls', minus 1), and by how many e-folds in a step.

    Compression by the inflow against loss to the walls, all over room pressure and for the whole step.
    """
    total = inflow + loss
    np.maximum(total, 1e-12, out=total)
    aim = inflow * (GAMMA - 1.0)
    aim /= total
    total /= np.maximum(mass, 1e-6)
    return aim, total
