"""A box drawn down by a tank, within seconds: which rise was the hold, and whether that shows at all.

While the tank stands open it fills together with the box, slowly, or a pump behind it holds both on a level. Shut off,
the box fills by itself, and a large leak then looks like air let in.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from analysis import reasons
from analysis.letup import is_sparse
from analysis.marks import mark_of
from analysis.phases import HoldSeen, PhaseView
from analysis.readings import FULL_SHARE, Window
from analysis.reasons import Refusal
from analysis.results import Phase
from analysis.shutpoint import COARSE_PA
from analysis.trace import Trace

FloatArray = NDArray[np.float64]
MOST_LOOKED_AT = 3000
"""Readings of a hold in which a tank's shut is looked for."""
AT_ONCE = 2
"""A pump-down seen in so few readings may have been a tank's."""
DUMP_S = 8.0
"""A pump-down over sooner than this was a tank's: memory, small pumps take half a minute."""
DUMP_FOLDS = 0.4
"""A pump-down by fewer e-folds is a redraw, which any pump does in seconds."""
NEARLY_FULL = 0.85
"""Above this share of room pressure a rise that speeds up may as well be air let in slowly."""
MORE_THAN_WOOD = 0.75
"""What the wood gives off never fills a box from vacuum to so little left of what was missing."""
GRADUAL = 3
"""Air let in through the line that drew the box down within seconds is not seen on its way in so many readings."""


def which_hold(trace: Trace, view: PhaseView, hold: HoldSeen) -> tuple[HoldSeen, Refusal | None]:
    """The hold, begun later where a tank stood open until then, or why that does not show; a marked shut stands."""
    if not _may_be_dumped(trace, hold) or is_marked(trace, hold.shut_s):
        return hold, None
    later = _shut_after_tank(trace, view, hold)
    if _levels_off_low(trace, view, later):
        return later, reasons.tank_open()
    return later, reasons.shut_unseen() if _air_came_gradually(trace, view, later) else None


def from_tank(trace: Trace, seen: HoldSeen) -> bool:
    """Whether a tank drew the box down: the log or the box file says so, or it took seconds only."""
    header, box = trace.log.header, trace.box
    stated = header.behind_valve == "tank" or (box is not None and box.tank is not None)
    return stated or _dumped(trace, seen, 1)


def with_shuts(phases: Sequence[Phase], windows: Sequence[Window]) -> tuple[Phase, ...]:
    """Phases with each hold begun at the shut of its window, the soak before it that much longer."""
    out: list[Phase] = []
    for phase in phases:
        shut_s = next((w.shut_s for w in windows if phase.start_s < w.shut_s < phase.end_s), phase.start_s)
        if phase.name != "hold" or shut_s == phase.start_s:
            out.append(phase)
            continue
        soaked = out[-1].start_s if out and out[-1].name == "soak" else phase.start_s
        out = out[:-1] if soaked < phase.start_s else out
        out += [Phase("soak", soaked, shut_s), Phase("hold", shut_s, phase.end_s)]
    return tuple(out)


def leapt_unseen(trace: Trace, view: PhaseView, window: Window) -> bool:
    """Whether the readings leave open what was the hold: the rise seen, or the leap to the room after it.

    A tank that stands open fills with the box, and a pump that runs holds its level; shut off, the box may then fill
    between two readings and stay full.
    """
    seen = window.seen
    if seen.drop_s is None or seen.bottom_s is None or seen.drop_pa is None:
        return False
    if not is_sparse(trace.t_s) and (not _dumped(trace, seen, 1) or let_up_after(view, seen)):
        return False
    down = int(np.count_nonzero((trace.t_s > seen.drop_s) & (trace.t_s <= seen.bottom_s)))
    if down > AT_ONCE and seen.sure:
        return False
    p, full = trace.p_pa, FULL_SHARE * trace.room_pa
    i = int(np.argmax((trace.t_s > window.end_s) & (p > full)))
    if i < 4 or p[i : i + 3].size < 3:
        return False
    steps = np.diff(p[i - 4 : i + 1])
    leaps = float(steps[2:].max()) > 2.5 * max(float(steps[:2].max()), trace.resolution_pa)
    return leaps and float(p[i : i + 3].min()) > full


def let_up_after(view: PhaseView, hold: HoldSeen) -> bool:
    """Whether air was seen to be let in after a hold."""
    return _let_up_s(view, hold) is not None


def _let_up_s(view: PhaseView, hold: HoldSeen) -> float | None:
    return next((p.start_s for p in view.phases if p.name == "let-up" and p.start_s >= hold.end_s), None)


def _until_s(view: PhaseView, hold: HoldSeen) -> float:
    """When the box is drawn down again after a hold, or the log ends."""
    return next((p.start_s for p in view.phases if p.name == "pump-down" and p.start_s >= hold.end_s), float("inf"))


def is_marked(trace: Trace, t_s: float) -> bool:
    """Whether a note beside the reading at a time says that the valve was shut then; a remark does not."""
    return bool(trace.note) and mark_of(trace.note[int(np.searchsorted(trace.t_s, t_s))]) == "hold"


def _may_be_dumped(trace: Trace, seen: HoldSeen) -> bool:
    """Whether the box may have been drawn down within seconds: in time with what lies between the readings."""
    return _dumped(trace, seen, 2)


def _dumped(trace: Trace, seen: HoldSeen, unseen: int) -> bool:
    """Whether the pump-down took seconds only, so many intervals of the readings taken off; no short redraw tells."""
    if seen.drop_s is None or seen.bottom_s is None:
        return False
    before = trace.t_s[trace.within(-np.inf, seen.bottom_s)]
    interval = float(before[-1] - before[-2]) if before.size > 1 else 0.0
    top, bottom = np.maximum(np.interp([seen.drop_s, seen.bottom_s], trace.t_s, trace.p_pa), 100.0)
    folds = float(np.log(top / bottom))
    return folds > DUMP_FOLDS and seen.bottom_s - seen.drop_s - unseen * interval < DUMP_S * min(folds, 1.0)


def _shut_after_tank(trace: Trace, view: PhaseView, hold: HoldSeen) -> HoldSeen:
    """The hold begun where the box suddenly fills faster; as it is where it does from the start.

    A leak's own rise only slows down.
    """
    inside = np.arange(trace.t_s.size)[trace.within(hold.shut_s, hold.end_s)]
    # The readings at a let-up may have risen with it.
    inside = inside[:-2] if let_up_after(view, hold) else inside
    if inside.size < 4:
        return hold
    inside = inside[:: -(-inside.size // MOST_LOOKED_AT)]
    t, p = trace.t_s[inside], trace.p_pa[inside]
    spread = _spread(trace, view)
    reach = max(1, t.size // 8)
    usual = max(float(np.max(p[reach:] - p[:-reach])) / reach, 1e-9)
    stride = int(np.clip(np.ceil(12.0 * spread / usual), 1, reach))
    slope = (p[stride:] - p[:-stride]) / (t[stride:] - t[:-stride])
    if slope.size <= stride:
        return hold
    before = _median_before(slope, stride)
    grown = (slope - before) * (t[stride:] - t[:-stride])
    could = (before < 0.75 * slope) & (p[:-stride] < NEARLY_FULL * trace.room_pa) & (grown > 8.0 * spread)
    if not could.any():
        return hold
    fast = int(np.argmax(np.where(could, grown, -np.inf)))
    slow = np.flatnonzero(slope[:fast] < 0.5 * (before[fast] + slope[fast]))
    at = int(slow[-1]) + 1 if slow.size else fast
    if (not _dumped(trace, hold, 1) and t[at] - t[0] < DUMP_S) or _is_step(slope, p, fast, stride, trace.room_pa):
        return hold
    return replace(hold, shut_s=float(t[at]), held_s=float(t[min(at + stride - 1, fast)]), sure=True)


def _is_step(slope: FloatArray, p_pa: FloatArray, fast: int, stride: int, room_pa: float) -> bool:
    """Whether the reading stepped once, far from the room, and goes on as before: a knock, not a box that fills."""
    behind = fast + 2 * stride - 1
    return behind < slope.size and slope[behind] < 0.25 * slope[fast] and p_pa[behind] < NEARLY_FULL * room_pa


def _median_before(slope: FloatArray, stride: int) -> FloatArray:
    """Median of up to nine slopes that end before each begins, infinite where there are none."""
    padded = np.concatenate([np.full(8, np.nan), slope[: slope.size - stride]])
    ahead = np.nanmedian(sliding_window_view(padded, 9), axis=1)
    return np.concatenate([np.full(stride, np.inf), ahead])


def _levels_off_low(trace: Trace, view: PhaseView, hold: HoldSeen) -> bool:
    """Whether a box a good deal fuller comes to a stand below the pressure that it has in the end.

    A leak's flow falls no faster than what is left to the room: what is left shrinks by no smaller a share than before.
    """
    inside = trace.within(hold.shut_s, _until_s(view, hold))
    t, p = trace.t_s[inside], trace.p_pa[inside]
    if t.size < 12:
        return False
    spread = _spread(trace, view)
    left = np.median(sliding_window_view(float(np.median(p[-5:])) - p, 5), axis=1)
    t = t[4:]
    middle = np.searchsorted(t, 0.5 * (t[0] + t))
    half = np.clip(left[middle], spread, None)
    rate = np.log(max(float(left[0]), spread) / half) / np.maximum(t[middle] - t[0], 1e-9)
    due = half * -np.expm1(-rate * (t - t[middle]))
    stands = (due > 10.0 * spread) & (half - left < 0.5 * due)
    return bool(np.any(stands & (middle > 3) & (half < MORE_THAN_WOOD * left[0])))


def _air_came_gradually(trace: Trace, view: PhaseView, hold: HoldSeen) -> bool:
    """Whether what looks like air let in, far below the room, may be the box that fills by itself, the tank shut off.

    Where the pump-down shows in more than a few readings, its own speed has decided that.
    """
    start_s = _let_up_s(view, hold)
    if start_s is None or hold.drop_s is None or hold.bottom_s is None:
        return False
    down = int(np.count_nonzero((trace.t_s > hold.drop_s) & (trace.t_s <= hold.bottom_s)))
    after = trace.p_pa[trace.t_s >= start_s]
    if down > AT_ONCE + 1 or after[0] > NEARLY_FULL * trace.room_pa:
        return False
    full = np.flatnonzero(after > 0.93 * trace.room_pa)
    return bool(full.size) and int(full[0]) >= GRADUAL


def _spread(trace: Trace, view: PhaseView) -> float:
    """Standard deviation of a reading, Pa; what looks like noise of few readings of a dial is the curve's bend."""
    noise = min(view.noise_pa, trace.resolution_pa) if trace.resolution_pa > COARSE_PA else view.noise_pa
    return max(noise, 0.3 * trace.resolution_pa, 5.0)
