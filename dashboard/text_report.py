"""Results as plain text for a terminal: the answer first, then the figures a line each, then what to do."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import zip_longest
from typing import TYPE_CHECKING

from acquisition.units import STANDARD_PRESSURE_PA, GaugeUnit, from_absolute_pa
from analysis import wording
from analysis.numberwords import MINUS, seat_way
from analysis.repaireffects import repair_effect, repair_sentence
from analysis.repairs import by_the_clock, moment_of, repaired_sentence
from analysis.results import (
    Assessment,
    EarlierHold,
    HistoryLine,
    Interval,
    LawVerdict,
    PathResult,
    Ranking,
    Repair,
    SheetComparison,
    TestPoint,
)
from analysis.wording import System
from dashboard.flagwords import VARIANT_WORDS, noted

if TYPE_CHECKING:
    from analysis.plan import HoldPlan
    from analysis.volume import VolumeResult

Row = tuple[str, str]
_NONE_SEEN = "no leak seen"
_COUNTED = {"absolute": "absolute", "vacuum": "of vacuum", "gauge": "on a gauge that shows 0 in the room"}

_INDENT = "  "
_LAW_NAMES = {"hole": "a hole", "seep": "a seep", "between": "something between hole and seep"}
_DO_WORDS = {
    "hold": "Hold",
    "redraw": "Redraw, then hold",
    "stall": "Let the pump run until the vacuum stays",
    "vent-behind-valve": "Let air in behind the valve, then hold",
    "repeat": "Hold once more",
}


def assessment_text(result: Assessment, system: System = "metric", has_tank: bool | None = None) -> str:
    """One log's answer: its sentence, the figures, what was noticed, what to do next."""
    lead = wording.lead_sentence(result, system)
    head = [wording.answer_sentence(result, system, has_tank), *([lead] if lead else [])]
    rows = [("log", _which_log(result)), *_figures(result, system), *_notes(result, system)]
    line_alone = result.setup == "line-only" and result.area_m2 is not None
    if result.advice and result.advice not in head[0] and not line_alone:
        rows.append(("next", result.advice))
    return "\n".join([*head, *table(rows)])


def table(rows: Sequence[Row]) -> list[str]:
    """Lines of a two-column table; an empty label continues the one above it."""
    width = max((len(label) for label, _ in rows), default=0)
    return [f"{_INDENT}{label:<{width}}  {text}" for label, text in rows]


def _which_log(result: Assessment) -> str:
    about = [result.box or "box not said", wording.setup_name(result.setup)]
    if result.sealed:
        about.append(f"sealed: {_paths(result.sealed, result.setup)}")
    if result.started is not None:
        about.append(wording.date_text(result.started.date()))
    return f"{result.log} ({', '.join(about)})"


def _paths(paths: Iterable[str], setup: str | None = None) -> str:
    return wording.list_text([wording.path_name(path, setup) for path in paths])


def _figures(result: Assessment, system: System) -> list[Row]:
    rows: list[Row] = []
    area, plug = result.own_area_m2, result.plug_area_m2
    if area is not None:
        rows.append(("like one drilled hole of", wording.hole_interval_text(area, system)))
    if result.lost_5min_pa is not None:
        rows.append(("what it loses", _with_plug(wording.loss_sentence(result, system), plug)))
    if area is not None:
        rows.append(("leak area", wording.area_text(area, system)))
    if result.area_fit_m2 is not None:
        exact = "with volume, barometer and temperature taken as exact"
        rows.append(("by the readings alone", f"{wording.area_text(result.area_fit_m2.less(plug), system)} ({exact})"))
    if result.leakage_rate_pa_m3_s is not None:
        rate = wording.leakage_text(result.leakage_rate_pa_m3_s, system, result.room_k or 293.15)
        rows.append(("leakage rate", _with_plug(rate, plug)))
    if result.area_m2 is not None and plug > 0.0:
        rows.append(("leak area with the plug", wording.area_text(result.area_m2, system)))
    return rows


def _with_plug(text: str, plug_area_m2: float) -> str:
    """A figure that the open check plug is part of, labelled so."""
    return f"{text} (with the open check plug)" if plug_area_m2 > 0.0 else text


def _notes(result: Assessment, system: System) -> list[Row]:
    rows: list[Row] = []
    if result.law is not None:
        rows.append(("leak law", _law(result.law)))
    if result.release is not None:
        rows.append(("release", _release(result)))
    if result.area_m2 is not None and result.setup != "line-only":
        limit = result.limit
        none = f"none known: {wording.no_limit_words(result)}"
        told = none if limit is None else _hole_of_limit(limit.area_m2, limit.source, system)
        rows.append(("limit used", told))
    rows += [("earlier hold", _earlier(hold, system)) for hold in result.earlier_holds]
    said = noted(result)
    rows += list(zip(("noted", *[""] * len(said)), said, strict=False))
    return rows


def _law(law: LawVerdict) -> str:
    if law.kind == "undetermined":
        return _no_law(law)
    chances = ", ".join(f"{kind} {wording.chance_text(chance)}" for kind, chance in law.probability.items())
    variant = f", {VARIANT_WORDS.get(law.variant, law.variant)}" if law.variant else ""
    return f"{law.kind}{variant} ({chances})"


def _no_law(law: LawVerdict) -> str:
    likeliest = max(law.probability, key=lambda kind: law.probability[kind])
    chance = law.probability[likeliest]
    if chance < 0.5:
        return "not known: the readings fit a hole as well as a seep"
    return f"not settled; likeliest {_LAW_NAMES[likeliest]}, {wording.chance_text(chance)}"


def _release(result: Assessment) -> str:
    assert result.release is not None
    if not result.release.present:
        return "none seen"
    return f"{wording.chance_text(result.release.share)} of the rise is not a leak"


def _hole_of_limit(area_m2: float, source: str, system: System) -> str:
    origin = "from the pump" if source == "pump" else "from its parts"
    return f"one drilled hole of {wording.hole_text(area_m2, system)}, {origin}"


def _earlier(hold: EarlierHold, system: System) -> str:
    return f"{wording.area_text(hold.area_m2, system)} ({hold.log}, {hold.span.start_s:.0f} to {hold.span.end_s:.0f} s)"


def comparison_text(result: SheetComparison, system: System = "metric") -> str:
    """With a sheet minus without: the sentence, the difference, the paths gained and covered."""
    rows: list[Row] = []
    if result.difference_m2 is not None:
        rows.append(("with minus without", wording.area_text(result.difference_m2, system, signed=True)))
    if result.gained_paths:
        rows.append(("the sheet adds", _paths(result.gained_paths)))
    if result.covered_paths:
        rows.append(("the sheet covers", _paths(result.covered_paths)))
    return "\n".join([_first_sentence(result.sentence, result.reason), *table(rows)])


def _first_sentence(sentence: str, reason: str | None) -> str:
    if reason is None or reason in sentence:
        return sentence
    return f"{reason} {sentence}".strip()


def ranking_text(result: Ranking, system: System = "metric") -> str:
    """Where the air likely gets in: the paths, what cannot be told, the next test and what to do."""
    lines = [f"Where the air gets into {result.box or 'the box'}"]
    if result.outcome == "refused":
        lines.append(f"No answer. {result.reason or ''}".rstrip())
    for place, path in enumerate(_likeliest_first(result.paths), start=1):
        lines += _path_lines(place, path, system)
    lines += table(_ranking_notes(result, system))
    return "\n".join(lines)


def _likeliest_first(paths: Sequence[PathResult]) -> list[PathResult]:
    return sorted(paths, key=lambda path: path.probability_largest, reverse=True)


def _path_lines(place: int, path: PathResult, system: System) -> list[str]:
    if path.untested:
        parts = ["not tested since its repair"]
    elif path.path == "valve-seat":
        parts = [_valve_seat(path.area_m2, system)]
    else:
        chance = wording.chance_text(path.probability_largest)
        parts = [wording.area_text(path.area_m2, system), f"chance it is the largest {chance}"]
        if path.probability_over_limit is not None:
            parts.append(f"that it alone is over the limit {wording.chance_text(path.probability_over_limit)}")
    first = f"{place:>3}. {wording.path_name(path.path):<22} {'; '.join(parts)}"
    evidence = () if parts[0].startswith(_NONE_SEEN) else path.evidence
    return [first, *[f"       {sentence}" for sentence in evidence]]


def _valve_seat(area: Interval, system: System) -> str:
    """The valve seat's part: in, out, or, where its interval holds nought, how much at most."""
    way = seat_way(area)
    if way == "in":
        return f"takes air in: {wording.area_text(area, system)}"
    if way == "out":
        return f"takes air out: {wording.area_text(area.opposite(), system)}"
    most = wording.amount(max(area.high, -area.low), system)
    return f"{_NONE_SEEN}; at most {most} either way"


def _left_out(left_out: Sequence[tuple[str, str]]) -> list[Row]:
    """The logs left out, those with one and the same reason as one row."""
    by_reason: dict[str, list[str]] = {}
    for log, reason in left_out:
        by_reason.setdefault(reason, []).append(log)
    told = [f"{logs[0]}: {reason}" if len(logs) == 1 else f"{len(logs)} logs: {reason}"
            for reason, logs in by_reason.items()]  # fmt: skip
    return [("left out" if first else "", text) for first, text in _with_first(told)]


def _ranking_notes(result: Ranking, system: System) -> list[Row]:
    rows = _not_told_apart(result, system)
    if result.not_tested:
        rows.append(("not tested", _paths(result.not_tested)))
    if result.comparison is not None:
        rows.append(("sheet", result.comparison.sentence))
    if result.unexplained is not None:
        rows.append(("unexplained", result.unexplained.sentence))
    rows += _left_out(result.left_out)
    rows += _next_test_rows(result)
    rows += [("what to do" if first else "", text) for first, text in _with_first(result.advice)]
    return rows


def _not_told_apart(result: Ranking, system: System) -> list[Row]:
    rows: list[Row] = []
    guessed = {path.path for path in result.paths if path.untested}
    for group, total in zip_longest(result.not_told_apart, result.not_told_apart_m2[: len(result.not_told_apart)]):
        together = "" if total is None or guessed & set(group) else f": together {wording.area_text(total, system)}"
        rows.append(("not told apart", f"{_paths(group)}{together}"))
    return rows


def _next_test_rows(result: Ranking) -> list[Row]:
    test = result.next_test
    if test is None:
        return []
    long = f" {wording.duration_text(test.hold_s)}" if test.hold_s > 0 else ""
    sealed = f", sealed: {_paths(test.seal, test.setup)}" if test.seal else ""
    return [("next test", f"{_DO_WORDS[test.do]}{long}, {wording.setup_name(test.setup)}{sealed}. {test.why}")]


def _with_first(texts: Sequence[str]) -> list[tuple[bool, str]]:
    return [(place == 0, text) for place, text in enumerate(texts)]


def history_text(line: HistoryLine, system: System = "metric") -> str:
    """One box and setup over the months: the trend, then tests and repairs in the order of their dates."""
    sealed = f", sealed: {_paths(line.sealed, line.setup)}" if line.sealed else ""
    head = f"{line.box}, {wording.setup_name(line.setup)}{sealed}: {_trend(line)}"
    dated = [(by_the_clock(test.started), _test(test, system)) for test in line.tests]
    dated += [(moment_of(repair.date), _repair(line, repair, system)) for repair in line.repairs]
    by_day = [(when.date().isoformat(), told) for when, told in sorted(dated, key=lambda row: row[0])]
    waiting = repaired_sentence(line.waiting) if line.waiting else ""
    first = [f"{head[: -len(_trend(line))]}{waiting}", f"{_INDENT}{_trend(line)}"] if waiting else [head]
    return "\n".join([*first, *table(by_day)])


def _repair(line: HistoryLine, repair: Repair, system: System) -> str:
    """A repair, and what it did where tests on both sides tell; of several in a row the last one says it."""
    done = f"{wording.path_name(repair.path)}, {repair.text}" if repair.path else repair.text
    effect = repair_effect(line, repair)
    if effect is None or effect.repairs[-1] != repair:
        return f"repaired: {done}"
    return f"repaired: {done}. {repair_sentence(effect, system)}"


def _trend(line: HistoryLine) -> str:
    if line.trend is None:
        reason = line.trend_reason
        return reason if reason.startswith("No trend") else f"No trend yet. {reason}"
    percent = line.trend.percent_per_month
    return f"{wording.interval_text(percent, '%', signed=True)} a month. {line.trend_reason}"


def _test(test: TestPoint, system: System) -> str:
    if test.area_m2 is None:
        return test.set_aside or "no answer"
    if test.outcome == "upper-limit":
        told = f"no leak larger than {wording.amount(test.area_m2.high, system)} shown"
    else:
        told = wording.area_text(test.area_m2, system)
    return told if test.set_aside is None else f"{told} (set aside: {test.set_aside})"


def volume_text(result: VolumeResult) -> str:
    """A measured volume, and the line that a box file takes."""
    if result.volume_m3 is None:
        return f"No answer. {result.reason}"
    litres = result.volume_m3.scaled(1000.0)
    u = (litres.high - litres.low) / 4.0
    told = wording.interval_text(litres, "L")
    row = f'volume_L = "{litres.value:.1f} +- {u:.1f}"'
    return f"The inside, with the line up to the valve, is {told}.\nFor box.toml: {row}"


def plan_text(
    result: HoldPlan, unit: GaugeUnit | None = None, system: System = "metric", room_pa: float = STANDARD_PRESSURE_PA
) -> str:
    """How to hold: why first, then soak, start (as a gauge in ``unit`` shows it), hold, and what that can show."""
    if result.outcome == "refused":
        return f"No answer. {result.reason}"
    rows: list[Row] = []
    if result.soak_s is not None:
        rows.append(("soak, pump kept on", wording.duration_text(result.soak_s) if result.soak_s else "not needed"))
    if result.start_pa is not None:
        rows.append(("shut the valve at", _on_gauge(result.start_pa, unit, system, room_pa)))
    if result.hold_s is not None:
        rows.append(("hold", wording.duration_text(result.hold_s)))
    if result.expected_percent is not None:
        rows.append(("leak area known to", f"within {result.expected_percent:.0f} % either way"))
    if result.smallest_leak_m2 is not None:
        hole = wording.hole_text(result.smallest_leak_m2, system)
        rows.append(("smallest leak it can show", f"one drilled hole of {hole}"))
    return "\n".join([result.why, *table(rows)])


def _on_gauge(p_pa: float, unit: GaugeUnit | None, system: System, room_pa: float) -> str:
    """A pressure as the gauge at hand shows it, and absolute where that is another number."""
    absolute = f"{wording.pressure_text(p_pa, system, room_pa)}{' absolute' if system == 'metric' else ''}"
    if unit is None or (unit.reference, unit.unit) == ("absolute", "kPa"):
        return absolute
    shown = float(from_absolute_pa(p_pa, unit, room_pa))
    size = f"{shown:.0f}" if abs(shown) >= 100.0 else wording.two_figures(shown)
    return f"{wording.with_unit(size.replace('-', MINUS), unit.unit)} {_COUNTED[unit.reference]} ({absolute})"


def box_text(name: str, result: Assessment | None, ranking: Ranking | None, has_tank: bool | None = None) -> str:
    """One box in a few lines: the answer of the test that speaks for it, the likeliest paths, what to do."""
    if result is None:
        return f"{name}: no test yet"
    answer = wording.answer_sentence(result, "metric", has_tank)
    lines = [f"{name}, {wording.setup_name(result.setup)}", f"{_INDENT}{answer}"]
    if ranking is not None and ranking.outcome == "ranked":
        likely = _likeliest_first(ranking.paths)[:3]
        lines += [_path_lines(place, path, "metric")[0] for place, path in enumerate(likely, start=1)]
    if ranking is not None and (ranking.outcome == "ranked" or ranking.waiting):
        lines += table([("what to do", text) for text in ranking.advice[:1]])
    return "\n".join(lines)
