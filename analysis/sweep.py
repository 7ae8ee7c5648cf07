"""The curve of a hold, one parameter vector after another, compiled to machine code.

Mass balance ``V dp/dt = R T (leak) + release`` stepped on the nodes of a course. The leak law enters as a table in
``sqrt(1 - r)``, in which every law is smooth up to r = 1; inflow is stepped by Adams and Bashforth's third order.

Heat: the gas's energy balance ``m cv dT/dt = mdot (cp T0 - cv T) - h A (T - Tw)`` gives both the warming up
after a pump-down and the warmth that the inflow keeps in the gas. Release: moisture (saturating in time from
the shut) and air stored in the first ply (one pore node that remembers the pump-down and may take air back).

Slopes against the parameters are carried from step to step by the chain rule; what begins a hold is differenced.
Bounds that only keep a climb's wild steps finite are left out of the slopes.

Pressures are over room pressure in here. What is compiled takes from other files only two constants of ``gas``: the
compiled code is kept on disk and made anew when this file changes, not when another does.
"""

from __future__ import annotations

from math import erfc, exp, inf, log1p, pi, sqrt, tanh
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from analysis.compiling import compiled
from analysis.gas import GAMMA, R_REF

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]
Flow = tuple[float, float, float, float]
Breath = tuple[float, float, float, float, float]
Begun = tuple[float, float, float]

NCOMMON = 10
PER_HOLD = 3
"""Parameters of each hold after the common ones: start pressure Pa, what the gas lacks at the shut because it is
cold Pa (negative when it is warm), ln of its leak's ratio."""
LN_RATE, MIX, LN_MOIST, LN_TAU_MOIST, LN_PORE, LN_PORE_RATE, PORE_FILL, LN_WARMTH, LN_BOW, ZERO = range(NCOMMON)
CV_OVER_R = 2.5
NODES = 2049
_MOST_BOW, _SHUT_ROUNDS, _MOST_NEW = 0.5, 3, 0.98
"""Largest bow; rounds to find the box at its shut from that at the first reading, share of its air new since then."""
_SEEP_REF = 1.0 - R_REF * R_REF
_PORE_R, _R, _WARM, _MASS, _AIM, _GAIN, _FLOW = range(7)
"""Rows of ``slopes`` (9, npar): how the state of a hold changes with each parameter; flows at the last three nodes."""


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
    """Rate 1/s, share of the law's own flow, a crack's part of it, bow; slopes of share and bow."""

    rate: float
    share: float
    crack: float
    bow: float
    by_mix: float
    by_bow: float


class _Wood(NamedTuple):
    """Moisture and its time s, pores' volume and rate 1/s, loss of warmth 1/s; the moisture's slope."""

    moist: float
    tau_s: float
    pore: float
    breath: float
    loss: float
    by_moist: float


@compiled
def _within(value: float, low: float, high: float) -> float:
    return min(max(value, low), high)


@compiled
def _grown(ln: float) -> float:
    """The exponential, within bounds no box reaches; they only keep a climb's wild steps finite."""
    return exp(_within(ln, -60.0, 12.0))


@compiled
def _clear(rows: FloatArray) -> None:
    # Plain loops all through this file: array expressions take three times as long to compile.
    for i in range(rows.shape[0]):
        for k in range(rows.shape[1]):
            rows[i, k] = 0.0


@compiled
def _leak(theta: FloatArray, at: int, law: int, laws: LawTables, path: Path) -> _Leak:
    """The leak of the hold whose own parameters begin ``at``."""
    least, probit, bow = laws.least[law], theta[MIX], path.bow * _grown(theta[LN_BOW])
    span = laws.most[law] - least
    return _Leak(
        _grown(theta[LN_RATE]) * exp(_within(theta[at + 2], -3.0, 3.0)) * laws.leaks[law] / path.room_pa,
        least + span * 0.5 * erfc(-probit / sqrt(2.0)),
        laws.crack[law],
        min(bow, _MOST_BOW),
        span * exp(-0.5 * probit * probit) / sqrt(2.0 * pi),
        bow if bow < _MOST_BOW else 0.0,
    )


@compiled
def _wood(theta: FloatArray, path: Path) -> _Wood:
    grown, most = _grown(theta[LN_MOIST]), path.moisture_most_pa
    bend = tanh(grown / most)
    moist = most * bend if most < inf else grown
    loss = 1.0 / (CV_OVER_R * _grown(theta[LN_WARMTH]) * path.room_pa)
    pore, breath = _grown(theta[LN_PORE]), _grown(theta[LN_PORE_RATE])
    by_moist = grown * (1.0 - bend * bend) / path.room_pa
    return _Wood(moist / path.room_pa, _grown(theta[LN_TAU_MOIST]), pore, breath, loss, by_moist)


@compiled
def _inflow(leak: _Leak, table: FloatArray, left: float) -> Flow:
    """How fast, 1/s, the ratio rises ``left`` short of the room; its slopes against ratio, mix and bow."""
    if left <= 0.0:
        return 0.0, 0.0, 0.0, 0.0
    root = sqrt(left)
    i = min(int(root * (NODES - 1)), NODES - 2)
    lean = (table[i + 1] - table[i]) * (NODES - 1)
    own, own_by_r = table[i] - lean * i / (NODES - 1) + lean * root, -0.5 * lean / root
    drive, drive_by_r = left * (2.0 - left) / _SEEP_REF, -2.0 * (1.0 - left) / _SEEP_REF
    # Forchheimer's root for cracks; 1 elsewhere.
    inertial = leak.share * leak.crack
    sticky = 1.0 - inertial
    both = sqrt(sticky * sticky + 4.0 * inertial * drive)
    slower = 0.5 * (sticky + both)
    seep = drive / slower
    seep_by_r = (drive_by_r - seep * inertial * drive_by_r / both) / slower
    seep_by_share = 0.5 * leak.crack * seep * (1.0 + (sticky - 2.0 * drive) / both) / slower
    part = leak.share * (1.0 - leak.crack)
    give = 1.0 + leak.bow * (1.0 - 2.0 * left)
    flow = leak.rate / give * (part * own + (1.0 - part) * seep)
    by_r = leak.rate / give * (part * own_by_r + (1.0 - part) * seep_by_r) - 2.0 * leak.bow * flow / give
    by_share = leak.rate / give * ((1.0 - leak.crack) * (own - seep) + (1.0 - part) * seep_by_share)
    return flow, by_r, by_share * leak.by_mix, -flow * (1.0 - 2.0 * left) / give * leak.by_bow


@compiled
def _relaxation(gain: float, mass: float, loss: float) -> tuple[float, float]:
    """Warmth the gas tends to (its temperature over the walls', minus 1), and by how many e-folds in a step.

    Compression by what came in against loss to the walls, for the whole step; ``mass`` that in its middle.
    """
    total = max(gain + loss, 1e-12)
    return (GAMMA - 1.0) * gain / total, total / max(mass, 1e-6)


@compiled
def _breathed(pore_r: float, r: float, step: float, pore: float) -> Breath:
    """By how much the pores' ratio falls in a step against a box at ``r`` that rises by ``pore`` of it.

    After it the slopes against the pores' ratio, the box's, and the logarithms of ``step`` and ``pore``.
    """
    slow = 1.0 + step * (pore * r + pore_r)
    fell = (pore_r * pore_r - r * r) * step / slow
    by_pore_r = step * (2.0 * pore_r - fell) / slow
    by_r = -step * (2.0 * r + fell * pore) / slow
    return fell, by_pore_r, by_r, fell / slow, -fell * step * pore * r / slow


@compiled
def _warmth_at(leak: _Leak, table: FloatArray, r: float, start_s: float, loss: float) -> float:
    """Warmth of a box at ``r`` from what came in over the ``start_s`` since its shut.

    For an inflow that stays even, exact: warmth falls short of its aim by a power of the mass then over that now.
    """
    warm, before = 0.0, r
    for _ in range(_SHUT_ROUNDS):
        middle = 0.5 * (before + r)
        came = _inflow(leak, table, _within(1.0 - middle, 0.0, 1.0))[0] * start_s
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
def _first_gain(leak: _Leak, table: FloatArray, r: float, warm: float, dt: float, loss: float) -> float:
    """What flows in over the first step, by the flow in its middle."""
    left, mass = _within(1.0 - r, 0.0, 1.0), r / (1.0 + warm)
    half = min(0.5 * dt * _inflow(leak, table, left)[0], 0.5 * left)
    aim, drop = _relaxation(half, mass, 0.5 * loss * dt)
    middle = (mass + half) * (1.0 + aim + (warm - aim) * exp(-drop))
    return _inflow(leak, table, _within(1.0 - middle, 0.0, 1.0))[0] * dt


@compiled
def _begun(theta: FloatArray, at: int, law: int, laws: LawTables, path: Path, nodes: FloatArray) -> Begun:
    """Ratio and warmth at a hold's first node, and what flows in over its first step."""
    leak, wood, table, start_s = _leak(theta, at, law, laws, path), _wood(theta, path), laws.flow[law], nodes[0, 0]
    r = _within((theta[at] - theta[ZERO]) / path.room_pa, 1e-5, 1.2)
    cold = _within(-theta[at + 1] / path.room_pa / r * exp(-start_s * wood.loss / r), -0.5, 0.5)
    warm = cold + _warmth_at(leak, table, r, start_s, wood.loss)
    return r, warm, _first_gain(leak, table, r, warm, nodes[1, 0] - start_s, wood.loss)


@compiled
def _begun_slopes(
    theta: FloatArray, at: int, law: int, laws: LawTables, path: Path, nodes: FloatArray, begun: Begun,
    slopes: FloatArray,
) -> None:
    (r, warm, gain), moved = begun, theta.copy()
    _clear(slopes[1:])
    for k in (LN_RATE, MIX, LN_WARMTH, LN_BOW, ZERO, at, at + 1, at + 2):
        step = 1e-5 * (1.0 + abs(theta[k]))
        moved[k] += step
        beside = _begun(moved, at, law, laws, path, nodes)
        moved[k] = theta[k]
        slopes[_R, k], slopes[_WARM, k] = (beside[0] - r) / step, (beside[1] - warm) / step
        slopes[_MASS, k] = (slopes[_R, k] - r / (1.0 + warm) * slopes[_WARM, k]) / (1.0 + warm)
        slopes[_GAIN, k] = (beside[2] - gain) / step


@compiled
def _gain_slopes(slopes: FloatArray, at: int, flow: Flow, i: int, node: FloatArray) -> None:
    """Slopes of the flow at node ``i`` and of what comes in over the step after it."""
    now, before, long_before = slopes[_FLOW + i % 3], slopes[_FLOW + (i - 1) % 3], slopes[_FLOW + (i - 2) % 3]
    for k in range(slopes.shape[1]):
        now[k] = flow[1] * slopes[_R, k]
    now[LN_RATE] += flow[0]
    now[at + 2] += flow[0]
    now[MIX] += flow[2]
    now[LN_BOW] += flow[3]
    for k in range(slopes.shape[1] if i > 0 else 0):
        slopes[_GAIN, k] = node[1] * now[k] + node[2] * before[k] + node[3] * long_before[k]


@compiled
def _state_slopes(
    slopes: FloatArray, wood: _Wood, breath: Breath, gain: float, loss: float, mass: float, last_warm: float,
    warm: float, last_aim: float, aim: float, drop: float, turn: float,
) -> None:
    """Slopes of the state after a step, moisture left out; arguments as ``_hold`` has them, ``mass`` before it."""
    by_middle, to_aim = 1.0 / max(mass + 0.5 * gain, 1e-6), (GAMMA - 1.0) / max(gain + loss, 1e-12) ** 2
    kept = exp(-drop)
    lost = (kept - 1.0) / drop
    trail = turn * (0.5 * (kept - 1.0) + lost + 1.0)
    by_drop = (aim - last_warm) * kept - turn * (aim - last_aim) * (0.5 * kept + (kept + lost) / drop)
    for k in range(slopes.shape[1]):
        came, cooled = slopes[_GAIN, k], -loss if k == LN_WARMTH else 0.0
        fell = breath[1] * slopes[_PORE_R, k] + breath[2] * (slopes[_R, k] + 0.5 * came)
        if k == LN_PORE_RATE:
            fell += breath[3]
        elif k == LN_PORE:
            fell += breath[4]
            came += wood.pore * breath[0]
        slopes[_PORE_R, k] -= fell
        came += wood.pore * fell
        aimed = to_aim * (came * loss - cooled * gain)
        dropped = by_middle * (came + cooled - drop * (slopes[_MASS, k] + 0.5 * came))
        turned = trail * (aimed - slopes[_AIM, k])
        slopes[_WARM, k] = kept * slopes[_WARM, k] + (1.0 - kept) * aimed + turned + by_drop * dropped
        slopes[_AIM, k] = aimed
        slopes[_MASS, k] += came
        slopes[_R, k] = (1.0 + warm) * slopes[_MASS, k] + (mass + gain) * slopes[_WARM, k]


@compiled
def _note(r: float, slopes: FloatArray, i: int, out: FloatArray, slopes_out: FloatArray) -> None:
    out[i] = r
    for k in range(slopes.shape[1]):
        slopes_out[k, i] = slopes[_R, k]


@compiled
def _hold(
    leak: _Leak, wood: _Wood, table: FloatArray, nodes: FloatArray, at: int, begun: Begun, pore_r: float,
    slopes: FloatArray, out: FloatArray, slopes_out: FloatArray,
) -> float:
    """Steps of the box on its own; its ratios at the nodes go to ``out``. Returns the pores' ratio."""
    r, warm, gain = begun
    left = _within(1.0 - r, 0.0, 1.0)
    mass, aim, shut_s = r / (1.0 + warm), 0.0, nodes[0, 0]
    undried, before, long_before = exp(-shut_s / wood.tau_s), 0.0, 0.0
    _note(r, slopes, 0, out, slopes_out)
    for i in range(out.size - 1):
        dt = nodes[i + 1, 0] - nodes[i, 0]
        flow = _inflow(leak, table, left)
        if i > 0:
            gain = nodes[i, 1] * flow[0] + nodes[i, 2] * before + nodes[i, 3] * long_before
        if slopes.shape[1]:
            _gain_slopes(slopes, at, flow, i, nodes[i])
        # The leak gives at most until the box is as full as the room; what the pores give enters implicitly.
        if not 0.0 <= gain <= left:
            for k in range(slopes.shape[1]):
                slopes[_GAIN, k] = 0.0 if gain < 0.0 else -slopes[_R, k]
            gain = _within(gain, 0.0, left)
        breath = _breathed(pore_r, r + 0.5 * gain, wood.breath * dt, wood.pore)
        pore_r -= breath[0]
        gain += wood.pore * breath[0]
        last_aim, last_warm = aim, warm
        aim, drop = _relaxation(gain, mass + 0.5 * gain, wood.loss * dt)
        warm = _warmed(warm, aim, last_aim, drop, nodes[i, 4])
        dried = exp(-nodes[i + 1, 0] / wood.tau_s)
        if slopes.shape[1]:
            _state_slopes(
                slopes, wood, breath, gain, wood.loss * dt, mass, last_warm, warm, last_aim, aim, drop, nodes[i, 4]
            )
            slopes[_R, LN_MOIST] += wood.by_moist * (undried - dried)
            slopes[_R, LN_TAU_MOIST] += wood.moist * (undried * shut_s - dried * nodes[i + 1, 0]) / wood.tau_s
        mass += gain
        r = (1.0 + warm) * mass + wood.moist * (undried - dried)
        if not 0.0 < r < 2.0:  # a climb's wild step
            r = _within(r, 0.0, 2.0)
            _clear(slopes)
        left = _within(1.0 - r, 0.0, 1.0)
        before, long_before = flow[0], before
        _note(r, slopes, i + 1, out, slopes_out)
    return pore_r


@compiled
def _curve(
    theta: FloatArray, law: int, laws: LawTables, path: Path, slopes: FloatArray, out: FloatArray,
    slopes_out: FloatArray,
) -> None:
    """Ratios at all nodes of a course, hold by hold, and their slopes where ``slopes`` has room for them."""
    wood, fill = _wood(theta, path), _within(theta[PORE_FILL], 0.0, 1.05)
    pore_r = path.first + fill * (1.0 - path.first)
    _clear(slopes)
    if slopes.shape[1] and fill == theta[PORE_FILL]:
        slopes[_PORE_R, PORE_FILL] = 1.0 - path.first
    step = first = 0
    for hold in range(path.node_end.size):
        for i in range(step, path.driven_end[hold]):
            breath = _breathed(pore_r, path.steps_driven[i, 1], wood.breath * path.steps_driven[i, 0], 0.0)
            pore_r -= breath[0]
            for k in range(slopes.shape[1]):
                slopes[_PORE_R, k] -= breath[1] * slopes[_PORE_R, k] + (breath[3] if k == LN_PORE_RATE else 0.0)
        step, last = path.driven_end[hold], path.node_end[hold]
        at, nodes = NCOMMON + PER_HOLD * hold, path.nodes[first:last]
        begun, leak = _begun(theta, at, law, laws, path, nodes), _leak(theta, at, law, laws, path)
        if slopes.shape[1]:
            _begun_slopes(theta, at, law, laws, path, nodes, begun, slopes)
        pore_r = _hold(
            leak, wood, laws.flow[law], nodes, at, begun, pore_r, slopes, out[first:last], slopes_out[:, first:last]
        )
        first = last


@compiled
def curves(
    theta: FloatArray, member: IntArray, laws: LawTables, path: Path, with_slopes: bool
) -> tuple[FloatArray, FloatArray]:
    """Ratios (n, nnode) of rows of parameters (n, npar), row i under law ``member[i]``, and slopes (n, npar, nnode).

    Without slopes these have no room: (n, 0, nnode). A row with a parameter that is not finite gives no finite curve.
    """
    n, npar, nnode = theta.shape[0], theta.shape[1] if with_slopes else 0, path.nodes.shape[0]
    out, slopes_out, slopes = np.full((n, nnode), np.nan), np.full((n, npar, nnode), np.nan), np.empty((9, npar))
    for i in range(n):
        if np.isfinite(theta[i]).all():
            _curve(theta[i], member[i], laws, path, slopes, out[i], slopes_out[i])
    return out, slopes_out
