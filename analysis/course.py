"""The course of a session of holds: what was done before each, and where its curve is stepped and read.

A hold is stepped on nodes laid where its curve bends, few where it runs straight; a cubic spline through them, kept as
a matrix, gives the readings. So the cost of a curve depends on its shape, not on how often the gauge was read.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from analysis.sweep import NCOMMON, PER_HOLD, Path

FloatArray = NDArray[np.float64]

LEAST_NODES, MOST_NODES = 8, 48
PER_AGE, PER_RISE, PER_CLOSING = 2.5, 20.0, 7.0
"""Nodes for every e-fold of the time since the shut, of a rise by room pressure, of what is left to it."""
_FINE = 400


@dataclass(frozen=True, eq=False)
class Driven:
    """Steps in which the pressure is known (pump-down, soak, let-up): length s and pressure Pa, both (nstep,)."""

    dt_s: FloatArray
    p_pa: FloatArray


@dataclass(frozen=True, eq=False)
class Held:
    """One hold: nodes (nnode,) in s since the shut, and the matrix (nnode, nobs) from pressures there to readings."""

    since_shut_s: FloatArray
    to_readings: FloatArray

    @property
    def nodes(self) -> FloatArray:
        """What the sweep knows of each node, (nnode, 5): see ``Path``.

        The weights are Adams and Bashforth's: the integral of the parabola through the flows at the last three nodes;
        of the straight line in the second step, and in the first, which knows one node only, the step itself. A turn
        is a step's length over the distance of its middle from that of the step before; 0 where there is none.
        """
        step = np.diff(self.since_shut_s)
        before = np.r_[np.inf, step[:-1]]
        long_before = np.r_[np.inf, np.inf, step[:-2]]
        tilt = 0.5 * step**2 / before
        bend = (step / 3.0 + 0.5 * np.where(np.isfinite(before), before, 0.0)) * step**2 / (before + long_before)
        weights = step + tilt + bend / before, -tilt - bend / before - bend / long_before, bend / long_before
        turn = np.r_[0.0, 2.0 * step[1:] / (step[1:] + step[:-1])]
        return np.column_stack([self.since_shut_s, *(np.r_[w, 0.0] for w in (*weights, turn))])


@dataclass(frozen=True, eq=False)
class Course:
    """A session of holds from its first reading to its last: ``driven[i]`` goes before ``held[i]``.

    ``first_pa`` is the pressure at the first reading, ``bow_per_pa`` the box's growth over its volume for every Pa,
    ``moisture_most_pa`` the ceiling of the wood's vapour.
    """

    driven: tuple[Driven, ...]
    held: tuple[Held, ...]
    room_pa: float
    first_pa: float
    bow_per_pa: float = 0.0
    moisture_most_pa: float = np.inf

    @cached_property
    def path(self) -> Path:
        """The course laid flat for the sweep."""
        driven = [np.column_stack([d.dt_s, d.p_pa / self.room_pa]) for d in self.driven]
        nodes = [held.nodes for held in self.held]
        return Path(
            self.room_pa,
            self.first_pa / self.room_pa,
            self.bow_per_pa * self.room_pa,
            self.moisture_most_pa,
            np.concatenate(driven),
            np.cumsum([len(d) for d in driven]),
            np.concatenate(nodes),
            np.cumsum([len(n) for n in nodes]),
        )

    @property
    def nhold(self) -> int:
        """How many holds the session has."""
        return len(self.held)

    @property
    def npar(self) -> int:
        """Length of a parameter vector."""
        return NCOMMON + PER_HOLD * self.nhold


def lay(since_s: FloatArray, r: FloatArray, at_s: FloatArray, spread_s2: FloatArray | float = 0.0) -> Held:
    """Lay the nodes of a hold.

    Parameters
    ----------
    since_s, r
        (n,) a rough curve from the window's start on: s since the shut, pressure over the room's, never falling.
    at_s, spread_s2
        (nobs,) where readings are wanted, s since the shut; where they are means of many, the variance of their times.
    """
    nodes = _nodes(since_s, r)
    spline = CubicSpline(nodes, np.eye(nodes.size))
    at = np.clip(at_s, nodes[0], nodes[-1])
    # The mean of a bent curve over a block is its value at the mean time and half its bend times the times' variance.
    weights = spline(at) + 0.5 * np.broadcast_to(spread_s2, at.shape)[:, None] * spline(at, 2)
    return Held(nodes, np.ascontiguousarray(weights.T))


def rough_curve(since_s: FloatArray, start: float, rate_per_s: float) -> FloatArray:
    """Pressure over the room's of a seep by its closed form, to lay nodes by; its rate is that of a ratio of 0.2."""
    return np.asarray(np.tanh(np.arctanh(min(start, 0.99)) + rate_per_s / 0.96 * (since_s - since_s[0])))


def _nodes(since_s: FloatArray, r: FloatArray) -> FloatArray:
    start, span = float(since_s[0]), float(since_s[-1] - since_s[0])
    t = np.unique(np.concatenate([np.linspace(start, start + span, _FINE), since_s]))
    share = np.clip(np.interp(t, since_s, r), 0.0, 0.97)
    age = np.log(t - start + max(0.5 * start, 0.01 * span, 0.1))
    wanted = PER_AGE * age + PER_RISE * share - PER_CLOSING * np.log(1.0 - share)
    count = int(np.clip(np.ceil(wanted[-1] - wanted[0]) + 1, LEAST_NODES, MOST_NODES))
    nodes: FloatArray = np.interp(np.linspace(wanted[0], wanted[-1], count), wanted, t)
    return nodes
