"""Turns results into the objects that ``--json`` prints: the words and units other programs rely on.

Every key is always there. What cannot be given is None, and so is a number that is not finite, because
JSON has no word for it. Pressures are absolute kPa, areas mm2, holes mm, times the log's own seconds.
"""

from __future__ import annotations

import json
import math
from typing import TYPE_CHECKING

from analysis.results import (
    LAWS,
    Assessment,
    EarlierHold,
    HistoryLine,
    HoldSpan,
    Interval,
    LawVerdict,
    Limit,
    NextTest,
    PathResult,
    Ranking,
    Release,
    SheetComparison,
    TestPoint,
    Trend,
    Unexplained,
)

if TYPE_CHECKING:
    from analysis.plan import HoldPlan
    from analysis.volume import VolumeResult

JsonObject = dict[str, object]

MM2_PER_M2 = 1e6
LITRES_PER_M3 = 1e3
MM_PER_M = 1e3
KPA_PER_PA = 1e-3


def as_line(record: JsonObject) -> str:
    """One JSON object on one line of plain ASCII, so that any terminal and any file name survive it."""
    return json.dumps(record, allow_nan=False)


def number(value: float | None, factor: float = 1.0) -> float | None:
    """A plain float in another unit, or None where there is no finite number to give."""
    if value is None:
        return None
    scaled = float(value) * factor
    return scaled if math.isfinite(scaled) else None


def interval(value: Interval | None, factor: float = 1.0) -> JsonObject | None:
    """``{"value", "low", "high"}`` in another unit, or None."""
    if value is None:
        return None
    return {"value": number(value.value, factor), "low": number(value.low, factor), "high": number(value.high, factor)}


def assessment_record(result: Assessment) -> JsonObject:
    """The object ``boxhold assess --json`` prints for one log."""
    return {
        "log": result.log,
        "box": result.box,
        "setup": result.setup,
        "open_paths": list(result.open_paths),
        "outcome": result.outcome,
        "reason": result.reason,
        "advice": result.advice,
        "verdict": result.verdict,
        "limit_mm2": _limit(result.limit),
        "test": result.test,
        "hold": None if result.span is None else _span(result.span),
        "earlier_holds": [_earlier(hold) for hold in result.earlier_holds],
        "leak_area_mm2": interval(result.area_m2, MM2_PER_M2),
        "leak_area_fit_mm2": interval(result.area_fit_m2, MM2_PER_M2),
        "leakage_rate_Pa_m3_s": interval(result.leakage_rate_pa_m3_s),
        "drilled_hole_mm": interval(result.drilled_hole_m, MM_PER_M),
        "lost_5min_kPa": number(result.lost_5min_pa, KPA_PER_PA),
        "law": _law(result.law),
        "release": _release(result.release),
        "flags": list(result.flags),
    }


def _limit(limit: Limit | None) -> JsonObject | None:
    return None if limit is None else {"value": number(limit.area_m2, MM2_PER_M2), "from": limit.source}


def _span(span: HoldSpan) -> JsonObject:
    return {
        "start_s": number(span.start_s),
        "end_s": number(span.end_s),
        "start_kPa": number(span.start_pa, KPA_PER_PA),
        "end_kPa": number(span.end_pa, KPA_PER_PA),
    }


def _earlier(hold: EarlierHold) -> JsonObject:
    return {"log": hold.log, **_span(hold.span), "leak_area_mm2": interval(hold.area_m2, MM2_PER_M2)}


def _law(law: LawVerdict | None) -> JsonObject | None:
    if law is None:
        return None
    return {
        "kind": law.kind,
        "b": number(law.b),
        "m": number(law.m),
        "variant": law.variant,
        "probability": {name: number(law.probability.get(name, 0.0)) for name in LAWS},
    }


def _release(release: Release | None) -> JsonObject | None:
    return None if release is None else {"present": bool(release.present), "share": number(release.share)}


def comparison_record(result: SheetComparison) -> JsonObject:
    """The object ``boxhold compare --json`` prints."""
    return {
        "box": result.box,
        "outcome": result.outcome,
        "reason": result.reason,
        "difference_mm2": interval(result.difference_m2, MM2_PER_M2),
        "gained_paths": list(result.gained_paths),
        "covered_paths": list(result.covered_paths),
        "sentence": result.sentence,
    }


def ranking_record(result: Ranking) -> JsonObject:
    """The object ``boxhold rank --json`` prints; paths stand with the likeliest largest first."""
    by_chance = sorted(result.paths, key=lambda path: path.probability_largest, reverse=True)
    return {
        "box": result.box,
        "outcome": result.outcome,
        "reason": result.reason,
        "comparison": None if result.comparison is None else comparison_record(result.comparison),
        "paths": [_path(path) for path in by_chance],
        "not_told_apart": [list(group) for group in result.not_told_apart],
        "not_tested": list(result.not_tested),
        "unexplained": _unexplained(result.unexplained),
        "left_out": [{"log": log, "reason": reason} for log, reason in result.left_out],
        "next_test": _next_test(result.next_test),
        "advice": list(result.advice),
    }


def _path(path: PathResult) -> JsonObject:
    return {
        "path": path.path,
        "leak_area_mm2": interval(path.area_m2, MM2_PER_M2),
        "share": number(path.share),
        "probability_largest": number(path.probability_largest),
        "probability_over_limit": number(path.probability_over_limit),
        "evidence": list(path.evidence),
    }


def _unexplained(found: Unexplained | None) -> JsonObject | None:
    if found is None:
        return None
    return {"log": found.log, "by_mm2": number(found.by_m2, MM2_PER_M2), "sentence": found.sentence}


def _next_test(test: NextTest | None) -> JsonObject | None:
    if test is None:
        return None
    return {
        "do": test.do,
        "setup": test.setup,
        "seal": list(test.seal),
        "hold_s": number(test.hold_s),
        "expected_gain_bits": number(test.expected_gain_bits),
        "why": test.why,
    }


def history_record(line: HistoryLine) -> JsonObject:
    """The object ``boxhold history --json`` prints for one box, setup and sealed list."""
    return {
        "box": line.box,
        "setup": line.setup,
        "sealed": list(line.sealed),
        "tests": [_test_point(test) for test in line.tests],
        "repairs": [{"date": r.date, "path": r.path, "text": r.text} for r in line.repairs],
        "trend": _trend(line.trend),
        "trend_reason": line.trend_reason,
        "limit_mm2": number(line.limit_m2, MM2_PER_M2),
    }


def _test_point(test: TestPoint) -> JsonObject:
    return {
        "log": test.log,
        "started": test.started.isoformat(),
        "outcome": test.outcome,
        "leak_area_mm2": interval(test.area_m2, MM2_PER_M2),
        "set_aside": test.set_aside,
    }


def _trend(trend: Trend | None) -> JsonObject | None:
    return None if trend is None else {"percent_per_month": interval(trend.percent_per_month)}


def volume_record(result: VolumeResult) -> JsonObject:
    """The object ``boxhold volume --json`` prints."""
    return {
        "volume_L": interval(result.volume_m3, LITRES_PER_M3),
        "outcome": result.outcome,
        "reason": result.reason,
    }


def plan_record(result: HoldPlan) -> JsonObject:
    """The object ``boxhold plan --json`` prints."""
    return {
        "outcome": result.outcome,
        "reason": result.reason,
        "soak_s": number(result.soak_s),
        "hold_s": number(result.hold_s),
        "start_kPa": number(result.start_pa, KPA_PER_PA),
        "expected_percent": number(result.expected_percent),
        "smallest_leak_mm2": number(result.smallest_leak_m2, MM2_PER_M2),
        "why": result.why,
    }
