"""From logs to assessments: finds the hold, refuses where it must, estimates where it can, and says which limit it used.

Pure: logs and boxes in, frozen results out. Logs of one box that follow each other without a let-up are
assessed together.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from acquisition.records import Box, Log
from acquisition.setups import open_paths
from analysis import reasons
from analysis.estimate import HoldEstimate, estimate_holds, hole_interval_m
from analysis.faults import (
    acceleration_s,
    clock_jumps,
    find_jumps,
    has_gap,
    stuck_level_pa,
    without_spikes,
)
from analysis.gas import choked_throughput_pa_m3_s, drilled_area_m2
from analysis.limit import limit_for, verdict_for
from analysis.phases import HoldSeen, PhaseView, find_phases
from analysis.pumpcurve import stall_area
from analysis.readings import Window, fit_window
from analysis.reasons import Refusal
from analysis.results import (
    Assessment,
    Curves,
    EarlierHold,
    HoldSpan,
    Interval,
    LawVerdict,
    OutcomeKind,
    Release,
)
from analysis.trace import Trace, make_trace

HOT_C = 40.0
SOON_MIN = 3.0
LATER_MIN = 10.0
LEAST_READINGS = 6
LEAST_SPAN_S = 8.0
BIG_LEAK_S = 60.0
"""A box that fills to 95 % sooner than this has a big leak."""
NOT_A_LEAK = 60.0
"""Widening of the readings' spread beyond which no leak law describes them."""
U_STALL_SHARE = 0.3
DUMP_S = 8.0
"""A pump-down over sooner than this was a tank's: memory, small pumps take half a minute."""


@dataclass(frozen=True, eq=False)
class Seen:
    """What was seen in one log before any fit: its trace, phases, usable windows, flags; or why it is refused."""

    trace: Trace
    view: PhaseView
    windows: tuple[Window, ...]
    flags: tuple[str, ...]
    refusal: Refusal | None
    let_go_s: float | None = None


def assess_logs(pairs: Sequence[tuple[Log, Box | None]]) -> list[Assessment]:
    """Assess logs in the order given.

    A log whose header says ``let_up_since_last: no`` is assessed together with the log of the same box and
    setup that started last before it.
    """
    seen = [look(log, box) for log, box in pairs]
    return [_assess(seen, i, _chain(seen, i)) for i in range(len(seen))]


def _chain(seen: Sequence[Seen], i: int) -> list[int]:
    """Indices of the logs to assess together with log ``i``, oldest first, itself last."""
    chain = [i]
    while True:
        header = seen[chain[0]].trace.log.header
        if header.let_up_since_last is not False or header.started is None:
            return chain
        before = [
            j
            for j, other in enumerate(seen)
            if j not in chain
            and (h := other.trace.log.header).box == header.box
            and h.setup == header.setup
            and h.sealed == header.sealed
            and h.started is not None
            and h.started < header.started
            and other.windows
        ]
        if not before:
            return chain
        chain.insert(0, max(before, key=lambda j: seen[j].trace.log.header.started))  # type: ignore[arg-type, return-value]


def look(log: Log, box: Box | None) -> Seen:
    """Read one log up to the windows to fit, with flags, or to a refusal."""
    trace, spikes = without_spikes(make_trace(log, box))
    flags = [*trace.flags, *(["spikes"] if spikes else [])]
    empty = PhaseView((), (), None, None, False, 0.0)
    if trace.t_s.size < 4:
        return Seen(trace, empty, (), tuple(flags), reasons.no_readings())
    wrong = _unit_suspected(trace)
    if wrong is not None:
        return Seen(trace, empty, (), tuple(flags), wrong)
    view = find_phases(
        trace.t_s, trace.p_pa, trace.room_pa, trace.resolution_pa, trace.volume_m3, _pump_speed(box), trace.note
    )
    refusal, sheet_flags = _by_header(log, view)
    flags += sheet_flags
    if refusal is not None:
        return Seen(trace, view, (), tuple(flags), refusal)
    return _windows(trace, view, flags)


def _pump_speed(box: Box | None) -> float | None:
    if box is None or box.pump is None:
        return None
    if box.pump.speed_L_s is not None:
        return box.pump.speed_L_s * 1e-3
    return max((s for _, s in box.pump.points), default=0.0) * 1e-3 or None


def _unit_suspected(trace: Trace) -> Refusal | None:
    """Pressures no room has: the unit or the reference is not what the log says."""
    top, bottom = float(np.percentile(trace.p_pa, 98)), float(np.percentile(trace.p_pa, 2))
    if top > 1.15 * trace.room_pa + 3000.0:
        return reasons.unit_suspected(top / 1000.0)
    if bottom < -3000.0:
        return reasons.unit_suspected(bottom / 1000.0)
    return None


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
    for hold in view.holds:
        window, refusal, gone, own = _usable(trace, view, hold)
        flags += own
        if window is not None and refusal is None:
            windows.append(window)
            let_go = gone
        last = refusal or last
    if windows:
        return Seen(trace, view, tuple(windows), tuple(dict.fromkeys(flags)), None, let_go)
    last = last or _no_hold(trace, view)
    return Seen(trace, view, (), tuple(dict.fromkeys(flags)), last)


def _no_hold(trace: Trace, view: PhaseView) -> Refusal | None:
    """Why there is no hold; None when the level of a stalled pump is an answer."""
    if view.level_pa is not None and view.level_s is not None:
        stuck = stuck_level_pa(trace, *view.level_s)
        if stuck is not None:
            return reasons.stuck(_level_words(trace, stuck[0]), stuck[1])
        known = trace.box is not None and trace.box.pump is not None
        high = view.level_pa > 0.25 * trace.room_pa
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
    window = fit_window(trace, hold)
    if window is None:
        inside = int(np.count_nonzero((trace.t_s >= hold.held_s) & (trace.t_s <= hold.end_s)))
        return None, reasons.too_short(hold.end_s - hold.held_s, inside), None, []
    flags = ["gap"] if has_gap(trace, window.start_s, window.end_s) else []
    window, refusal, own = _cut_at_faults(trace, window)
    flags += own
    if refusal is None:
        window, refusal, let_go = _cut_at_let_go(trace, view, window)
        flags += ["seal-let-go"] if let_go is not None else []
        if refusal is None:
            return window, _too_little(trace, window) or _falls(trace, view, window), let_go, flags
    return None, refusal, None, flags


def _level_words(trace: Trace, level_pa: float) -> str:
    unit = trace.unit
    native = level_pa if unit.reference == "absolute" else abs(trace.room_pa - level_pa)
    return f"{native / unit.pa_per_unit:.4g} {unit.unit}"


def _cut_at_faults(trace: Trace, window: Window) -> tuple[Window, Refusal | None, list[str]]:
    """Cut a window at jumps of the reading and of the clock; the part before a jump is the one to trust."""
    jumps = find_jumps(trace, window.start_s, window.end_s)
    clocks = [t for t in clock_jumps(trace) if window.start_s < t <= window.end_s]
    cuts = sorted([j.t_s for j in jumps] + clocks)
    if not cuts:
        return window, None, []
    before = replace(window, end_s=float(trace.t_s[trace.t_s < cuts[0]][-1]))
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
        shut = replace(window.seen, shut_s=when, held_s=when)
        later = fit_window(trace, shut)
        if later is None:
            return window, reasons.too_short(shut.end_s - when, 0), None
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
    inside = (trace.t_s >= window.start_s) & (trace.t_s <= window.end_s)
    return acceleration_s(trace.t_s[inside], trace.p_pa[inside], view.noise_pa, trace.resolution_pa)


def _was_shut(trace: Trace, window: Window, when_s: float) -> bool:
    """Whether a rise that speeds up is the shut: what went before came straight from the bottom and was level, or
    the tank was still open to the box and filled with it.
    """
    seen = window.seen
    if seen.bottom_s is None:
        return False
    before = trace.p_pa[(trace.t_s >= seen.shut_s) & (trace.t_s < when_s)]
    if before.size < 3:
        return True
    level = float(np.median(before[-3:]) - np.median(before[:3])) < max(2.0 * trace.resolution_pa, 400.0)
    soak = seen.shut_s - seen.bottom_s
    straight = soak <= 0.2 * (when_s - seen.bottom_s)
    if not straight:
        return level and when_s - seen.shut_s < max(20.0, 0.2 * soak)
    return level or _from_tank(trace, seen)


def _from_tank(trace: Trace, seen: HoldSeen) -> bool:
    """Whether a tank drew the box down: the log or the box file says so, or it took seconds only."""
    header, box = trace.log.header, trace.box
    stated = header.behind_valve == "tank" or (box is not None and box.tank is not None)
    return stated or (seen.drop_s is not None and seen.bottom_s is not None and seen.bottom_s - seen.drop_s < DUMP_S)


def _too_little(trace: Trace, window: Window) -> Refusal | None:
    """Too short for the display and the time the gas takes: fewer than six readings, or seconds without a rise."""
    inside = (trace.t_s >= window.start_s) & (trace.t_s <= window.end_s)
    n = int(np.count_nonzero(inside))
    span = window.end_s - window.start_s
    p = trace.p_pa[inside]
    rise = float(p[-1] - p[0]) if n else 0.0
    fast = rise > max(8.0 * trace.resolution_pa, 0.1 * trace.room_pa)
    if n < 3 or (n < LEAST_READINGS and not fast and rise < 4.0 * trace.resolution_pa):
        return reasons.too_short(span, n)
    if span < LEAST_SPAN_S and not fast:
        return reasons.too_short(span, n)
    return None


def _falls(trace: Trace, view: PhaseView, window: Window) -> Refusal | None:
    """A pressure that goes down in a hold: something still draws."""
    inside = (trace.t_s >= window.start_s) & (trace.t_s <= window.end_s)
    t, p = trace.t_s[inside], trace.p_pa[inside]
    third = max(2, t.size // 3)
    drop = float(np.median(p[:third]) - np.median(p[-third:]))
    least = max(4.0 * view.noise_pa / np.sqrt(third), 1.5 * trace.resolution_pa, 60.0)
    if drop < least:
        return None
    return reasons.falls_after_shut(60.0 * drop / max(float(t[-1] - t[0]) * 2.0 / 3.0, 1e-9))


def _assess(seen: Sequence[Seen], i: int, chain: list[int]) -> Assessment:
    own = seen[i]
    base = _base(own)
    if own.refusal is not None:
        return _refuse(base, own.refusal, own.flags)
    if not own.windows:
        return _stall(base, own)
    if own.trace.volume_m3 is None:
        return replace(_refuse(base, reasons.no_volume(), own.flags), lost_5min_pa=_plain_loss(own))
    parts = [seen[j] for j in chain]
    zero = own.trace.log.header.started
    offsets = [
        (s.trace.log.header.started - zero).total_seconds() if zero and s.trace.log.header.started else 0.0
        for s in parts
    ]
    result = estimate_holds([s.trace for s in parts], [s.windows for s in parts], offsets, own.view.noise_pa)
    if (result.inflation > NOT_A_LEAK and result.misfit > 8.0) or result.up_and_down:
        return _refuse(base, reasons.not_a_leak(), own.flags)
    earlier = _earlier(parts)
    return _finish(base, own, result, earlier)


def _base(own: Seen) -> Assessment:
    """Everything of an assessment that does not depend on the estimate, as a refusal without a reason."""
    trace, header = own.trace, own.trace.log.header
    limit = limit_for(trace.box, trace.room_pa, trace.room_k)
    plug = 0.0 if header.plug_drill_mm is None else drilled_area_m2(header.plug_drill_mm * 1e-3)
    return Assessment(
        log=str(trace.log.path) if trace.log.path else trace.name,
        box=header.box,
        setup=header.setup,
        sealed=header.sealed,
        open_paths=open_paths(header.setup or "", header.sealed, header.open),
        started=header.started,
        outcome="refused",
        reason=None,
        advice="",
        verdict="no-answer",
        limit=limit,
        test="hold",
        room_pa=trace.room_pa,
        room_k=trace.room_k,
        volume_m3=trace.volume_m3,
        u_log_volume=trace.u_log_volume,
        behind_valve=header.behind_valve,
        phases=own.view.phases,
        curves=Curves(trace.t_s, trace.p_pa),
        plug_area_m2=plug,
    )


def _refuse(base: Assessment, refusal: Refusal, flags: Sequence[str]) -> Assessment:
    return replace(base, reason=refusal.reason, advice=refusal.advice, flags=tuple(dict.fromkeys(flags)))


def _plain_loss(own: Seen) -> float:
    """Pressure lost in five minutes as the readings have it, carried on straight where the hold is shorter."""
    window = own.windows[-1]
    inside = (own.trace.t_s >= window.start_s) & (own.trace.t_s <= min(window.end_s, window.start_s + 300.0))
    t, p = own.trace.t_s[inside], own.trace.p_pa[inside]
    return (
        float((p[-1] - p[0]) / max(t[-1] - t[0], 1e-9) * 300.0) if t[-1] - t[0] < 300.0 * 0.98 else float(p[-1] - p[0])
    )


def _earlier(parts: Sequence[Seen]) -> tuple[EarlierHold, ...]:
    """Every hold before the last one, each with the area it gives by itself."""
    holds = [(s, w) for s in parts for w in s.windows][:-1]
    out = []
    for s, window in holds:
        alone = estimate_holds([s.trace], [[window]], [0.0], s.view.noise_pa)
        low, high = alone.span_pa
        out.append(EarlierHold(s.trace.name, HoldSpan(window.start_s, window.end_s, low, high), alone.area_m2))
    return tuple(out)


def _finish(base: Assessment, own: Seen, result: HoldEstimate, earlier: tuple[EarlierHold, ...]) -> Assessment:
    """Put limit, verdict, flags and advice to an estimate."""
    trace, window = own.trace, own.windows[-1]
    let_go = own.let_go_s is not None
    area, fit = result.area_m2, result.area_fit_m2
    outcome: OutcomeKind = "estimate"
    if result.vague and not let_go:
        outcome = "upper-limit"
        area, fit = Interval(area.value, 0.0, area.high), Interval(fit.value, 0.0, fit.high)
    law = (
        LawVerdict("undetermined", None, None, None, result.law.probability)
        if let_go or not trace.room_known
        else result.law
    )
    flags = _flags(own, result, law)
    rate = choked_throughput_pa_m3_s(1.0, trace.room_pa, trace.room_k)
    verdict = verdict_for(area, outcome, base.limit, False, base.open_paths)
    start_pa, end_pa = result.span_pa
    return replace(
        base,
        outcome=outcome,
        verdict=verdict,
        test="hold",
        flags=flags,
        span=HoldSpan(window.start_s, window.end_s, start_pa, end_pa),
        earlier_holds=earlier,
        area_m2=area,
        area_fit_m2=fit,
        leakage_rate_pa_m3_s=area.scaled(rate),
        drilled_hole_m=hole_interval_m(area),
        lost_5min_pa=result.lost_5min_pa,
        law=law,
        release=result.release,
        curves=result.curves,
        advice=_advice(outcome, verdict, flags, own),
    )


def _flags(own: Seen, result: HoldEstimate, law: LawVerdict) -> tuple[str, ...]:
    flags = list(own.flags)
    window, trace = own.windows[-1], own.trace
    if result.release.present:
        flags.append("release")
    full = result.span_pa[1] > 0.9 * trace.room_pa
    if full and window.end_s - window.shut_s < BIG_LEAK_S:
        flags.append("big-leak")
    if law.kind == "undetermined" and result.spread_between_laws > 1.1 and "seal-let-go" not in flags:
        flags.append("law-spread")
    return tuple(dict.fromkeys(flags))


def _advice(outcome: str, verdict: str, flags: tuple[str, ...], own: Seen) -> str:
    """The most useful next thing, one sentence."""
    if "seal-let-go" in flags:
        return "Press the film, tape or sheet down all round, then hold again."
    if verdict == "cannot-tell" or (outcome == "upper-limit" and verdict in ("no-limit", "cannot-tell")):
        return "Soak three minutes with the pump on, hold two minutes or more, redraw without letting air in and hold again."
    if "release" in flags and len(own.windows) < 2:
        return "Redraw without letting air in and hold again: a leak stays, stored air falls."
    if verdict == "no-limit":
        return "Describe the pump in the box file to learn whether that is too much."
    if verdict in ("over", "stalls"):
        return "Find where it gets in: hold again with one place sealed, then rank the tests."
    return "Nothing to mend; test again in a month."


def _stall(base: Assessment, own: Seen) -> Assessment:
    """A pump-down that levels off: an area from the pump's curve, or a range without one."""
    trace, view = own.trace, own.view
    if view.level_pa is None or view.level_s is None:
        return _refuse(base, reasons.never_shut(), own.flags)
    u_level = float(np.hypot(U_STALL_SHARE * trace.resolution_pa, trace.u_zero_pa))
    area = stall_area(trace.box.pump if trace.box else None, view.level_pa, trace.room_pa, trace.room_k, u_level)
    if area is None:
        return _refuse(base, reasons.never_shut(), own.flags)
    rate = choked_throughput_pa_m3_s(1.0, trace.room_pa, trace.room_k)
    verdict = verdict_for(area, "estimate", base.limit, True, base.open_paths)
    third = 1.0 / 3.0
    advice = "Let air in slowly, then seal one place at a time and see where the pump draws deeper."
    lost = (
        None
        if trace.volume_m3 is None
        else _stall_loss(area.value * rate / trace.volume_m3, view.level_pa, trace.room_pa)
    )
    return replace(
        base,
        outcome="estimate",
        verdict=verdict,
        test="stall",
        stall_pa=view.level_pa,
        area_m2=area,
        area_fit_m2=area,
        leakage_rate_pa_m3_s=area.scaled(rate),
        drilled_hole_m=hole_interval_m(area),
        advice=advice,
        lost_5min_pa=lost,
        law=LawVerdict("undetermined", None, None, None, {"hole": third, "seep": third, "between": third}),
        release=Release(False, 0.0),
        flags=tuple(dict.fromkeys([*own.flags, "big-leak", "law-spread"])),
    )


def _stall_loss(rate_pa_s: float, start_pa: float, room_pa: float) -> float:
    """Pressure a box shut at ``start_pa`` would lose in five minutes, Pa, by the hole's law, at most to the room's."""
    return min(300.0 * rate_pa_s, room_pa - start_pa)
