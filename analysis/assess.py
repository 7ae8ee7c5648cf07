"""From logs to assessments: refuses where it must, estimates where it can, and says which limit it used.

Pure: logs and boxes in, frozen results out. Logs of one box that follow each other without a let-up are
assessed together.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from acquisition.records import Box, Log
from acquisition.setups import open_paths
from analysis import reasons
from analysis.estimate import HoldEstimate, estimate_alone, estimate_holds, hole_interval_m
from analysis.gas import choked_throughput_pa_m3_s, drilled_area_m2
from analysis.laws import LeakLaw
from analysis.limit import FALLS_SHORT, limit_for, pump_falls_short, verdict_for
from analysis.looking import Seen, look
from analysis.pumpbound import is_too_large
from analysis.pumpcurve import stall_area
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
from analysis.wording import NOTHING_TO_MEND

BIG_LEAK_S = 60.0
"""A box that fills to 95 % sooner than this has a big leak."""
NOT_A_LEAK = 60.0
"""Widening of the readings' spread beyond which no leak law describes them."""
U_STALL_SHARE = 0.3
SHUT_NOT_SEEN = "shut-not-seen"
"""Flag of a hold that a coarse display shows level: its limit is worth as much as the word that it was shut."""
NOT_SEEN_SHARE = 2.0
"""A level without a shut is read as held for its later half; the limit must stand if only the last quarter was."""

_TWICE = "Hold twice then, with a redraw between and no air let in: a leak stays, stored air falls."


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
    if all(is_too_large(own.trace, w.seen, result.area_fit_m2.low) for w in own.windows):
        return _refuse(base, reasons.not_held_down(), own.flags)
    earlier = _earlier(parts, result.credible)
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
    inside = own.trace.within(window.start_s, min(window.end_s, window.start_s + 300.0))
    t, p = own.trace.t_s[inside], own.trace.p_pa[inside]
    return (
        float((p[-1] - p[0]) / max(t[-1] - t[0], 1e-9) * 300.0) if t[-1] - t[0] < 300.0 * 0.98 else float(p[-1] - p[0])
    )


def _earlier(parts: Sequence[Seen], laws: Sequence[LeakLaw]) -> tuple[EarlierHold, ...]:
    """Every hold before the last one, each with the area it gives by itself."""
    holds = [(s, w) for s in parts for w in s.windows][:-1]
    out = []
    for s, window in holds:
        area, (start_pa, end_pa) = estimate_alone(s.trace, window, s.view.noise_pa, laws)
        out.append(EarlierHold(s.trace.name, HoldSpan(window.start_s, window.end_s, start_pa, end_pa), area))
    return tuple(out)


def _finish(base: Assessment, own: Seen, result: HoldEstimate, earlier: tuple[EarlierHold, ...]) -> Assessment:
    """Put limit, verdict, flags and advice to an estimate."""
    trace, window = own.trace, own.windows[-1]
    let_go = own.let_go_s is not None
    area, fit = result.area_m2, result.area_fit_m2
    outcome: OutcomeKind = "estimate"
    if result.vague:
        outcome = "upper-limit"
        area, fit = Interval(area.value, 0.0, area.high), Interval(fit.value, 0.0, fit.high)
    if not window.seen.sure:
        area, fit = (Interval(i.value, i.low, NOT_SEEN_SHARE * i.high) for i in (area, fit))
    law = (
        LawVerdict("undetermined", None, None, None, result.law.probability)
        if let_go or not trace.room_known
        else result.law
    )
    flags = (*_flags(own, result, law), *_why_no_limit(base, own))
    rate = choked_throughput_pa_m3_s(1.0, trace.room_pa, trace.room_k)
    verdict = verdict_for(area.less(base.plug_area_m2), outcome, base.limit, False, base.open_paths)
    if not window.seen.sure and verdict not in ("no-limit", "over"):
        verdict = "cannot-tell"
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
    if not window.seen.sure:
        flags.append(SHUT_NOT_SEEN)
    if result.release.present:
        flags.append("release")
    full = result.span_pa[1] > 0.9 * trace.room_pa
    if full and window.end_s - window.shut_s < BIG_LEAK_S:
        flags.append("big-leak")
    if law.kind == "undetermined" and result.spread_between_laws > 1.1 and "seal-let-go" not in flags:
        flags.append("law-spread")
    return tuple(dict.fromkeys(flags))


def _why_no_limit(base: Assessment, own: Seen) -> tuple[str, ...]:
    short = base.limit is None and base.setup != "line-only" and pump_falls_short(own.trace.box, own.trace.room_pa)
    return (FALLS_SHORT,) if short else ()


def _advice(outcome: str, verdict: str, flags: tuple[str, ...], own: Seen) -> str:
    """The most useful next thing, one sentence."""
    if "seal-let-go" in flags:
        return "Press the film, tape or sheet down all round, then hold again."
    if SHUT_NOT_SEEN in flags:
        return "Hold again and write shut in the note column where the valve is shut: this display does not show it."
    if verdict == "cannot-tell" or (outcome == "upper-limit" and verdict in ("no-limit", "cannot-tell")):
        return "Soak three minutes with the pump on, hold two, redraw without letting air in and hold again."
    stored = "release" in flags and len(own.windows) < 2
    if verdict in ("tight", "within"):
        return f"{NOTHING_TO_MEND} {_TWICE}" if stored else NOTHING_TO_MEND
    if stored:
        return "Redraw without letting air in and hold again: a leak stays, stored air falls."
    if verdict == "no-limit":
        do = "Correct the pump or working_kPa" if FALLS_SHORT in flags else "Describe the pump"
        return f"{do} in the box file to learn whether that is too much."
    return "Find where it gets in: hold again with one place sealed, then rank the tests."


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
    verdict = verdict_for(area.less(base.plug_area_m2), "estimate", base.limit, True, base.open_paths)
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
        flags=tuple(dict.fromkeys([*own.flags, "big-leak", "law-spread", *_why_no_limit(base, own)])),
    )


def _stall_loss(rate_pa_s: float, start_pa: float, room_pa: float) -> float:
    """Pressure a box shut at ``start_pa`` would lose in five minutes, Pa, by the hole's law, at most to the room's."""
    return min(300.0 * rate_pa_s, room_pa - start_pa)
