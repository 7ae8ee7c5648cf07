"""From a log to the windows worth fitting, or to why there are none: what was seen before any fit."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from acquisition.records import Box, Log
from analysis import reasons
from analysis.faults import (
    acceleration_s,
    clock_jumps,
    clock_leaps,
    find_jumps,
    frozen_from_s,
    has_gap,
    is_unit_change,
    stuck_level_pa,
    without_spikes,
)
from analysis.phases import STALL_SHARE, HoldSeen, PhaseView, find_phases
from analysis.pumpcurve import stall_area
from analysis.readings import FULL_SHARE, Window, fit_window
from analysis.reasons import Refusal
from analysis.tanks import from_tank, is_marked, leapt_unseen, let_up_after, which_hold, with_shuts
from analysis.trace import Trace, make_trace
from analysis.unitdoubts import unit_suspected

HOT_C = 40.0
SOON_MIN = 3.0
LATER_MIN = 10.0
FINE_STEP_PA = 150.0
"""A display with steps up to this shows the shut of a wooden box within a minute: the wood gives off moisture."""
SMALLEST_STALL_M2 = 0.05e-6
"""A level that a known pump would hold only against a leak at least this large may be the pump still running."""
LEAST_READINGS = 6
LEAST_SPAN_S = 8.0


@dataclass(frozen=True, eq=False)
class Seen:
    """What was seen in one log before any fit: its trace, phases, usable windows, flags; or why it is refused."""

    trace: Trace
    view: PhaseView
    windows: tuple[Window, ...]
    flags: tuple[str, ...]
    refusal: Refusal | None
    let_go_s: float | None = None


def look(log: Log, box: Box | None) -> Seen:
    """Read one log up to the windows to fit, with flags, or to a refusal."""
    trace, spikes = without_spikes(make_trace(log, box))
    flags = [*trace.flags, *(["spikes"] if spikes else [])]
    empty = PhaseView((), (), None, None, False, 0.0)
    if trace.t_s.size < 4:
        return Seen(trace, empty, (), tuple(flags), reasons.no_readings())
    wrong = unit_suspected(trace)
    if wrong is not None:
        return Seen(trace, empty, (), tuple(flags), wrong)
    speed, ultimate = _pump(box)
    view = find_phases(
        trace.t_s,
        trace.p_pa,
        trace.room_pa,
        trace.resolution_pa,
        trace.volume_m3,
        speed,
        ultimate,
        trace.note,
    )
    refusal, sheet_flags = _by_header(log, view)
    flags += sheet_flags
    if refusal is not None:
        return Seen(trace, view, (), tuple(flags), refusal)
    return _windows(trace, view, flags)


def _pump(box: Box | None) -> tuple[float | None, float | None]:
    """The pump's largest speed, m3/s, and its ultimate pressure, Pa, where the box file gives them."""
    pump = None if box is None else box.pump
    if pump is None or (pump.speed_L_s is None and not pump.points):
        return None, None
    speed = pump.speed_L_s if pump.speed_L_s is not None else max(s for _, s in pump.points)
    still = [kpa for kpa, s in pump.points if s <= 0.0]
    ultimate = pump.ultimate_kPa or (max(still) if still else None)
    return speed * 1e-3, None if ultimate is None else ultimate * 1e3


def _by_header(log: Log, view: PhaseView) -> tuple[Refusal | None, list[str]]:
    """What the header alone refuses or flags: the gauge's place and the sheet's heat."""
    header = log.header
    if header.gauge_at == "tank" and (view.holds or view.level_pa is None):
        return reasons.gauge_on_tank(), []
    if header.setup != "formed-sheet":
        return None, []
    if header.sheet_C is not None:
        hot = header.sheet_C > HOT_C
        return (reasons.hot_sheet(f"{header.sheet_C:.0f} °C") if hot else None), []
    if header.since_forming_min is not None and header.since_forming_min < SOON_MIN:
        return reasons.hot_sheet(f"{header.since_forming_min:.1f} min after forming"), []
    known = header.since_forming_min is not None and header.since_forming_min > LATER_MIN
    return None, [] if known else ["warm-sheet"]


def _windows(trace: Trace, view: PhaseView, flags: list[str]) -> Seen:
    """Windows of every usable hold; faults and seals that let go cut them or refuse the log."""
    windows: list[Window] = []
    last: Refusal | None = None
    let_go: float | None = None
    for i, hold in enumerate(view.holds):
        if i and _unit_pressed(trace, view.holds[i - 1], hold):
            flags.append("unit-changed")
            break
        window, refusal, gone, own = _usable(trace, view, hold)
        flags += own
        if window is not None and refusal is None:
            windows.append(window)
            let_go = gone
        last = refusal or last
    if windows:
        view = replace(view, phases=with_shuts(view.phases, windows))
        return Seen(trace, view, tuple(windows), tuple(dict.fromkeys(flags)), None, let_go)
    last = last or _no_hold(trace, view)
    return Seen(trace, view, (), tuple(dict.fromkeys(flags)), last)


def _unit_pressed(trace: Trace, before: HoldSeen, after: HoldSeen) -> bool:
    """Whether what looks like a pump-down between two holds is the unit on the display being changed."""
    between = trace.within(before.end_s, after.held_s)
    steps = -np.diff(trace.p_pa[between])
    if steps.size == 0:
        return False
    i = between.start + int(np.argmax(np.abs(steps)))
    whole = float(np.ptp(trace.p_pa[between]))
    at_once = abs(float(trace.p_pa[i + 1] - trace.p_pa[i])) > 0.9 * whole
    return at_once and is_unit_change(trace, i)


def _no_hold(trace: Trace, view: PhaseView) -> Refusal | None:
    """Why there is no hold; None when the level of a stalled pump is an answer."""
    if view.level_pa is not None and view.level_s is not None:
        stuck = stuck_level_pa(trace, *view.level_s, pumped=True)
        if stuck is not None:
            return reasons.stuck(_level_words(trace, stuck[0]), stuck[1])
        known = trace.box is not None and trace.box.pump is not None
        high = view.level_pa > STALL_SHARE * trace.room_pa
        return None if high or known else reasons.never_shut()
    if view.falling:
        return reasons.still_falling()
    return reasons.only_room()


def _usable(
    trace: Trace,
    view: PhaseView,
    hold: HoldSeen,
) -> tuple[Window | None, Refusal | None, float | None, list[str]]:
    """Window of one hold, or why it cannot be used; when a seal let go; flags."""
    stuck = stuck_level_pa(trace, hold.held_s, hold.end_s)
    if stuck is not None:
        return None, reasons.stuck(_level_words(trace, stuck[0]), stuck[1]), None, []
    hold, doubt = which_hold(trace, view, hold)
    if doubt is not None:
        return None, doubt, None, []
    window = fit_window(trace, hold)
    if window is None:
        return None, _held_too_short(trace, hold), None, []
    if leapt_unseen(trace, view, window):
        return None, reasons.shut_unseen(), None, []
    flags = ["gap"] if has_gap(trace, window.start_s, window.end_s) else []
    window, refusal, own = _cut_at_faults(trace, window)
    flags += own
    if refusal is None:
        window, refusal, let_go = _cut_at_let_go(trace, view, window)
        flags += ["seal-let-go"] if let_go is not None else []
        if refusal is None:
            falls = _falls(trace, view, window)
            flags += ["weeping-valve"] if falls is not None else []
            unseen = reasons.never_shut() if _pump_may_run(trace, view, window.seen) else None
            return window, _too_little(trace, window) or falls or unseen, let_go, flags
    return None, refusal, None, flags


def _too_short(trace: Trace, start_s: float, end_s: float, hold_end_s: float) -> Refusal:
    """Why a stretch is too short: the box was full again before its hold ended, or the valve opened too soon."""
    full = np.flatnonzero((trace.t_s > start_s) & (trace.t_s <= hold_end_s) & (trace.p_pa > FULL_SHARE * trace.room_pa))
    if full.size:
        end_s = float(trace.t_s[full[0]])
        return reasons.filled_too_fast(end_s - start_s, int(np.count_nonzero(trace.t_s[: full[0]] >= start_s)))
    readings = trace.t_s[trace.within(start_s, end_s)].size
    return reasons.nothing_held(start_s) if readings < 2 else reasons.too_short(end_s - start_s, readings)


def _held_too_short(trace: Trace, hold: HoldSeen) -> Refusal:
    return _too_short(trace, hold.held_s, hold.end_s, hold.end_s)


def _pump_may_run(trace: Trace, view: PhaseView, hold: HoldSeen) -> bool:
    """Whether the pump may still be running in a hold whose shut was not seen.

    Nobody let air in after it, or the shut would have shown: a known pump held the level only against a leak;
    without one the gas and the wood would have risen.
    """
    if hold.sure:
        return False
    if not let_up_after(view, hold):
        return True
    pump = trace.box.pump if trace.box is not None else None
    if pump is None or (pump.speed_L_s is None and not pump.points):
        return trace.resolution_pa <= FINE_STEP_PA and hold.end_s - hold.held_s > 30.0
    level = float(np.median(trace.p_pa[trace.within(hold.held_s, hold.end_s)]))
    stalled = stall_area(pump, level, trace.room_pa, trace.room_k, trace.u_zero_pa)
    return stalled is not None and stalled.low > SMALLEST_STALL_M2


def _level_words(trace: Trace, level_pa: float) -> str:
    unit = trace.unit
    native = level_pa if unit.reference == "absolute" else abs(trace.room_pa - level_pa)
    return f"{native / unit.pa_per_unit:.4g} {unit.unit}"


def _cut_at_faults(trace: Trace, window: Window) -> tuple[Window, Refusal | None, list[str]]:
    """Cut a window at jumps of the reading and of the clock; the part before a jump is the one to trust."""
    jumps = find_jumps(trace, window.start_s, window.end_s)
    clocks = [t for t in clock_jumps(trace) if window.start_s < t <= window.end_s]
    clocks = sorted([*clocks, *clock_leaps(trace, window.start_s, window.end_s)])
    cuts = sorted([j.t_s for j in jumps] + clocks)
    if not cuts:
        return window, None, []
    frozen_s = frozen_from_s(trace, window.start_s, cuts[0])
    before = replace(window, end_s=float(trace.t_s[trace.t_s < frozen_s][-1]))
    unit = any(j.is_unit and abs(j.t_s - cuts[0]) < 1e-9 for j in jumps)
    flag = "unit-changed" if unit else "clock-back" if clocks and clocks[0] == cuts[0] else "jump"
    if _too_little(trace, before) is None and before.end_s - before.start_s > 20.0:
        return before, None, [flag]
    if clocks and clocks[0] == cuts[0]:
        return window, reasons.clock_broken(cuts[0]), [flag]
    return window, reasons.jumped(cuts[0], unit), [flag]


def _cut_at_let_go(trace: Trace, view: PhaseView, window: Window) -> tuple[Window, Refusal | None, float | None]:
    """End a window where a rise speeds up; where that was the shut itself, begin it there."""
    when = _speeds_up(trace, view, window)
    if when is not None and _was_shut(trace, window, when):
        shut = replace(window.seen, shut_s=when, held_s=when, sure=True)
        later = fit_window(trace, shut)
        if later is None:
            return window, _held_too_short(trace, shut), None
        window = later
        when = _speeds_up(trace, view, window)
    if when is None:
        return window, None, None
    earlier = trace.t_s[trace.t_s < when]
    before = replace(window, end_s=float(earlier[-1]) if earlier.size else window.start_s)
    if _too_little(trace, before) is not None:
        return window, reasons.let_go_at_once(), when
    return before, None, when


def _speeds_up(trace: Trace, view: PhaseView, window: Window) -> float | None:
    inside = trace.within(window.start_s, window.end_s)
    return acceleration_s(trace.t_s[inside], trace.p_pa[inside], view.noise_pa, trace.resolution_pa)


def _was_shut(trace: Trace, window: Window, when_s: float) -> bool:
    """Whether a rise that speeds up is the shut itself.

    What went before came straight from the bottom and was level, or the tank was still open and filled with the box. A
    log that begins on a level may begin with the pump running, unless its shut is marked.
    """
    seen = window.seen
    if is_marked(trace, seen.shut_s):
        return False
    before = trace.p_pa[(trace.t_s >= seen.shut_s) & (trace.t_s < when_s)]
    if before.size < 3:
        return seen.bottom_s is not None
    level = float(np.median(before[-3:]) - np.median(before[:3])) < max(2.0 * trace.resolution_pa, 400.0)
    if seen.bottom_s is None:
        return level
    soak = seen.shut_s - seen.bottom_s
    straight = soak <= 0.2 * (when_s - seen.bottom_s)
    if not straight:
        return level and when_s - seen.shut_s < max(20.0, 0.2 * soak)
    return level or from_tank(trace, seen)


def _too_little(trace: Trace, window: Window) -> Refusal | None:
    """Too short for the display and the time the gas takes: fewer than six readings, or seconds without a rise."""
    p = trace.p_pa[trace.within(window.start_s, window.end_s)]
    n, span = p.size, window.end_s - window.start_s
    rise = float(p[-1] - p[0]) if n else 0.0
    fast = rise > max(8.0 * trace.resolution_pa, 0.1 * trace.room_pa)
    if n < 3 or (n < LEAST_READINGS and not fast and rise < 4.0 * trace.resolution_pa):
        return _too_short(trace, window.start_s, window.end_s, window.seen.end_s)
    short = span < LEAST_SPAN_S and not fast
    return _too_short(trace, window.start_s, window.end_s, window.seen.end_s) if short else None


def _falls(trace: Trace, view: PhaseView, window: Window) -> Refusal | None:
    """A pressure that goes down in a hold: something still draws."""
    inside = trace.within(window.start_s, window.end_s)
    t, p = trace.t_s[inside], trace.p_pa[inside]
    third = max(2, t.size // 3)
    drop = float(np.median(p[:third]) - np.median(p[-third:]))
    least = max(4.0 * view.noise_pa / np.sqrt(third), 1.5 * trace.resolution_pa, 60.0)
    if drop < least:
        return None
    return reasons.falls_after_shut(60.0 * drop / max(float(t[-1] - t[0]) * 2.0 / 3.0, 1e-9))
