"""The curve of a hold, one parameter vector after another, compiled to machine code.

Mass balance ``V dp/dt = R T (leak) + release`` stepped on the nodes of a course. The leak law enters as a table in
``sqrt(1 - r)``, in which every law is smooth up to r = 1; inflow is stepped by Adams and Bashforth's third order.

Heat: the gas's energy balance ``m cv dT/dt = mdot (cp T0 - cv T) - h A (T - Tw)`` gives both the warming up
after a pump-down and the warmth that the inflow keeps in the gas. Release: moisture (saturating in time from
the shut) and air stored in the first ply (one pore node that remembers the pump-down and may take air back).

Pressures are over room pressure in here. What is compiled takes from other files only two constants of ``gas``: the
compiled code is kept on disk and made anew when this file changes, not when another does.
"""

from __future__ import annotations

from collections.abc import Callable
from math import erfc, exp, inf, log1p, sqrt, tanh
from typing import NamedTuple, TypeVar, cast

import numpy as np
from numba import njit
from numpy.typing import NDArray

from analysis.gas import GAMMA, R_REF

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]
Compiled = TypeVar("Compiled", bound=Callable[..., object])

NCOMMON = 10
PER_HOLD = 3
"""Parameters of each hold after the common ones: start pressure Pa, what the gas lacks at the shut because it is
cold Pa (negative when it is warm), ln of its leak's ratio."""
LN_RATE, MIX, LN_MOIST, LN_TAU_MOIST, LN_PORE, LN_PORE_RATE, PORE_FILL, LN_WARMTH, LN_BOW, ZERO = range(NCOMMON)
CV_OVER_R = 2.5
NODES = 2049
_MOST_BOW = 0.5
_SHUT_ROUNDS, _MOST_NEW = 3, 0.98
"""Rounds to find the box at its shut from that at the first reading; share of its air that may have come in since."""
_SEEP_REF = 1.0 - R_REF * R_REF


class LawTables(NamedTuple):
    """Flow tables (nlaw, NODES) on even nodes of ``sqrt(1 - r)``, and the laws' bounds.

    ``leaks`` (nlaw,) is 0 for "no leak"; ``least`` and ``most`` (nlaw,) bound the share of the table's own flow at one
    fifth of room pressure, a seep making up the rest; where ``crack`` (nlaw,) is 1 it is the inertial share.
    """

    flow: FloatArray
    leaks: FloatArray
    least: FloatArray
    most: FloatArray
    crack: FloatArray


class Path(NamedTuple):
    """A course laid flat: ``steps_driven`` (ndriven, 2) of length s and ratio; ``nodes`` (nnode, 5).

    A node's columns: s since the shut, weights s of the flows at it and the two before in what flows in from it on,
    and the step's turn, 0 for the first. ``driven_end`` and ``node_end`` (nhold,) say where each hold's rows end.
    """

    room_pa: float
    first: float
    bow: float
    moisture_most_pa: float
    steps_driven: FloatArray
    driven_end: IntArray
    nodes: FloatArray
    node_end: IntArray


class _Leak(NamedTuple):
    """How a row's leak flows: rate 1/s, shares of table and seep, a crack's friction, how the box gives way."""

    rate: float
    table: float
    seep: float
    sticky: float
    inertial: float
    bow: float


class _Wood(NamedTuple):
    """What a row's wood and walls do: moisture and its time s, pores' volume and rate 1/s, loss of warmth 1/s."""

    moist: float
    tau_s: float
    pore: float
    breath: float
    loss: float


def compiled(function: Compiled) -> Compiled:
    """Compile to machine code; kept on disk where a place for it can be written."""
    try:
        made = njit(cache=True, nogil=True, error_model="numpy")(function)
    except RuntimeError:  # neither beside the file nor in the user's cache
        made = njit(nogil=True, error_model="numpy")(function)
    return cast(Compiled, made)


@compiled
def _within(value: float, low: float, high: float) -> float:
    return min(max(value, low), high)


@compiled
def _grown(ln: float) -> float:
    """The exponential, within bounds no box reaches; they only keep a climb's wild steps finite."""
    return exp(_within(ln, -60.0, 12.0))


@compiled
def _leak(theta: FloatArray, law: int, laws: LawTables, path: Path) -> _Leak:
    low = laws.least[law]
    share = low + (laws.most[law] - low) * 0.5 * erfc(-theta[MIX] / sqrt(2.0))
    crack = laws.crack[law]
    table = share * (1.0 - crack)
    return _Leak(
        _grown(theta[LN_RATE]) * laws.leaks[law] / path.room_pa,
        table,
        (1.0 - table) / _SEEP_REF,
        1.0 - share * crack,
        4.0 * share * crack / _SEEP_REF,
        min(path.bow * _grown(theta[LN_BOW]), _MOST_BOW),
    )


@compiled
def _wood(theta: FloatArray, path: Path) -> _Wood:
    moist, most = _grown(theta[LN_MOIST]), path.moisture_most_pa
    if most < inf:
        moist = most * tanh(moist / most)
    loss = 1.0 / (CV_OVER_R * _grown(theta[LN_WARMTH]) * path.room_pa)
    pore, breath = _grown(theta[LN_PORE]), _grown(theta[LN_PORE_RATE])
    return _Wood(moist / path.room_pa, _grown(theta[LN_TAU_MOIST]), pore, breath, loss)


@compiled
def _inflow(leak: _Leak, table: FloatArray, r: float, left: float) -> float:
    """How fast, 1/s, the leak lets the ratio rise at ``r``, ``left`` short of the room, in a box that gives way."""
    x = sqrt(left) * (NODES - 1)
    i = min(int(x), NODES - 2)
    value: float = leak.table * (table[i] + (x - i) * (table[i + 1] - table[i]))
    if leak.seep > 0.0:
        drive = left * (2.0 - left)
        # Forchheimer's root for cracks; 1 elsewhere.
        root = 0.5 * (leak.sticky + sqrt(leak.sticky * leak.sticky + leak.inertial * drive))
        value += leak.seep * drive / root
    return leak.rate * value / (1.0 - leak.bow + 2.0 * leak.bow * r)


@compiled
def _relaxation(gain: float, mass: float, loss: float) -> tuple[float, float]:
    """Warmth the gas tends to (its temperature over the walls', minus 1), and by how many e-folds in a step.

    Compression by what came in against loss to the walls, for the whole step; ``mass`` that in its middle.
    """
    total = max(gain + loss, 1e-12)
    return (GAMMA - 1.0) * gain / total, total / max(mass, 1e-6)


@compiled
def _breathed(pore_r: float, r: float, step: float, ease: float) -> float:
    """By how much the pores' ratio falls in a step against a box at ``r``."""
    return (pore_r * pore_r - r * r) * step / (1.0 + step * ease)


@compiled
def _warmth_at(leak: _Leak, table: FloatArray, r: float, start_s: float, loss: float) -> float:
    """Warmth of a box at ``r`` from what came in over the ``start_s`` since its shut.

    For an inflow that stays even, exact: warmth falls short of its aim by a power of the mass then over that now.
    """
    warm, before = 0.0, r
    for _ in range(_SHUT_ROUNDS):
        middle = 0.5 * (before + r)
        came = _inflow(leak, table, middle, _within(1.0 - middle, 0.0, 1.0)) * start_s
        mass = r / (1.0 + warm)
        share = min(came / mass, _MOST_NEW)
        aim, drop = _relaxation(came, mass, loss * start_s)
        warm = aim * (1.0 - exp(drop * log1p(-share) / max(share, 1e-12)))
        before = mass * (1.0 - share)
    return warm


@compiled
def _warmed(warm: float, aim: float, last_aim: float, drop: float, turn: float) -> float:
    """Warmth after a step: exact for an inflow that changes evenly.

    It trails behind an aim that moves: nothing in short steps, half the move in long ones.
    """
    lost = exp(-drop) - 1.0
    return warm + (warm - aim) * lost + (0.5 * lost + lost / drop + 1.0) * turn * (aim - last_aim)


@compiled
def _first_gain(
    leak: _Leak, table: FloatArray, flow: float, left: float, mass: float, warm: float, dt: float, loss: float
) -> float:
    """What flows in over the first step, by the flow in its middle."""
    half = min(0.5 * dt * flow, 0.5 * left)
    aim, drop = _relaxation(half, mass, 0.5 * loss)
    r = (mass + half) * (1.0 + aim + (warm - aim) * exp(-drop))
    return _inflow(leak, table, r, _within(1.0 - r, 0.0, 1.0)) * dt


@compiled
def _hold(
    leak: _Leak, wood: _Wood, table: FloatArray, nodes: FloatArray, r: float, warm: float, pore_r: float,
    out: FloatArray,
) -> float:
    """Steps of the box on its own from ``r``; its ratios at the nodes go to ``out``. Returns the pores' ratio."""
    left = _within(1.0 - r, 0.0, 1.0)
    mass, aim, shut_s = r / (1.0 + warm), 0.0, nodes[0, 0]
    undried, before, long_before = exp(-shut_s / wood.tau_s), 0.0, 0.0
    out[0] = r
    for i in range(out.size - 1):
        dt = nodes[i + 1, 0] - nodes[i, 0]
        loss, flow = wood.loss * dt, _inflow(leak, table, r, left)
        if i == 0:
            gain = _first_gain(leak, table, flow, left, mass, warm, dt, loss)
        else:
            gain = nodes[i, 1] * flow + nodes[i, 2] * before + nodes[i, 3] * long_before
        # The leak gives at most until the box is as full as the room; what the pores give enters implicitly.
        gain = _within(gain, 0.0, left)
        middle = r + 0.5 * gain
        fell = _breathed(pore_r, middle, wood.breath * dt, wood.pore * middle + pore_r)
        pore_r -= fell
        gain += wood.pore * fell
        last_aim = aim
        aim, drop = _relaxation(gain, mass + 0.5 * gain, loss)
        warm = _warmed(warm, aim, last_aim, drop, nodes[i, 4])
        mass += gain
        wet = wood.moist * (undried - exp(-nodes[i + 1, 0] / wood.tau_s))
        r = _within((1.0 + warm) * mass + wet, 0.0, 2.0)
        left = _within(1.0 - r, 0.0, 1.0)
        before, long_before = flow, before
        out[i + 1] = r
    return pore_r


@compiled
def _curve(theta: FloatArray, law: int, laws: LawTables, path: Path, out: FloatArray) -> None:
    """Ratios at all nodes of a course, hold by hold."""
    common, wood, table = _leak(theta, law, laws, path), _wood(theta, path), laws.flow[law]
    pore_r = path.first + _within(theta[PORE_FILL], 0.0, 1.05) * (1.0 - path.first)
    step = first = 0
    for hold in range(path.node_end.size):
        for i in range(step, path.driven_end[hold]):
            pore_r -= _breathed(pore_r, path.steps_driven[i, 1], wood.breath * path.steps_driven[i, 0], pore_r)
        step, last = path.driven_end[hold], path.node_end[hold]
        at = NCOMMON + PER_HOLD * hold
        rate = common.rate * exp(_within(theta[at + 2], -3.0, 3.0))
        leak = _Leak(rate, common.table, common.seep, common.sticky, common.inertial, common.bow)
        r = _within((theta[at] - theta[ZERO]) / path.room_pa, 1e-5, 1.2)
        start_s = path.nodes[first, 0]
        cold = _within(-theta[at + 1] / path.room_pa / r * exp(-start_s * wood.loss / r), -0.5, 0.5)
        warm = cold + _warmth_at(leak, table, r, start_s, wood.loss)
        pore_r = _hold(leak, wood, table, path.nodes[first:last], r, warm, pore_r, out[first:last])
        first = last


@compiled
def curves(theta: FloatArray, member: IntArray, laws: LawTables, path: Path) -> FloatArray:
    """Ratios (n, nnode) of rows of parameters (n, npar), row i under law ``member[i]``.

    A row with a parameter that is not finite gives no finite curve.
    """
    out = np.empty((theta.shape[0], path.nodes.shape[0]))
    for n in range(theta.shape[0]):
        if np.isfinite(theta[n]).all():
            _curve(theta[n], member[n], laws, path, out[n])
        else:
            out[n] = np.nan
    return out
