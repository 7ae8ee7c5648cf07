"""A box over the months: one line for each setup and sealed list, its breaks, its trend and what repairs did.

The trend is that of the stretch since the last repair or change that touches a path open in the line's tests.
Tests that measure something else (a warm sheet, a weeping valve, a refusal) and single tests far off their
neighbours are set aside, with the reason.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from math import exp, log

import numpy as np

from acquisition.errors import shown
from acquisition.records import Box, Event
from acquisition.setups import SETUPS, open_paths
from analysis.limit import limit_for
from analysis.names import path_name
from analysis.numberwords import MONTHS, System, amount, count_text, date_text, hole_number, two_figures
from analysis.repairs import (
    breaks_history,
    by_the_clock,
    is_drilled,
    moment_of,
    touches,
    undated_text,
    untested_repairs,
)
from analysis.results import Assessment, HistoryLine, Interval, Repair, TestPoint, Trend
from analysis.trendfit import (
    SCATTER,
    Crossing,
    Points,
    TrendFit,
    crossing_of,
    design,
    fit_trend,
    moment,
    months_between,
    points_of,
)
from analysis.trendstats import pettitt, theil_sen_line

MIN_TESTS = 5
MIN_SPAN_DAYS = 28.0
_YEAR_DAYS = 365.0
_FAR_OFF = 4.0
_FAR_OFF_LEAST = log(2.0)
_STEP_LEAST = log(1.5)
_STEP_P = 0.05
_STEP_EVIDENCE = 3.0
_SET_ASIDE_FLAGS = {
    "warm-sheet": "the sheet was still warm",
    "weeping-valve": "the valve seat took air out",
}
DRILLED = "No trend: the vents are drilled, so this test cannot be made again; go on with the vents taped."


def history(assessments: Iterable[Assessment], events: Iterable[Event], box: Box | None) -> tuple[HistoryLine, ...]:
    """The lines of one box, in the order of the setups.

    Parameters
    ----------
    assessments
        Results of the box's tests, in any order; those without a start date are left out.
    events
        Repairs, changes and remarks of the box.
    box
        The box file, for its limit.
    """
    groups: dict[tuple[str, str, tuple[str, ...]], list[Assessment]] = {}
    every, kept = tuple(assessments), tuple(events)
    for a in every:
        name = a.box or (box.name if box else "")
        groups.setdefault((name, a.setup or "not said", tuple(sorted(a.sealed))), []).append(a)
    order = {name: i for i, name in enumerate(SETUPS)}
    keys = sorted(groups, key=lambda k: (k[0], order.get(k[1], len(order)), k[1], k[2]))
    waiting = untested_repairs(every, kept)
    drilled = is_drilled(sorted((a for a in every if a.started is not None), key=_start), box)
    return tuple(_line(key, groups[key], kept, waiting, box, drilled) for key in keys)


def _line(
    key: tuple[str, str, tuple[str, ...]], tests: Sequence[Assessment], events: Sequence[Event],
    waiting: Sequence[Event], box: Box | None, drilled: bool,
) -> HistoryLine:
    name, setup, sealed = key
    dated = sorted((a for a in tests if a.started is not None), key=_start)
    raw = tuple(_point(a) for a in dated)
    paths = tests[0].open_paths or open_paths(setup, sealed)
    touching = [e for e in events if breaks_history(e) and touches(e, paths, sealed)]
    touching.sort(key=lambda event: moment_of(event.date))
    breaks = tuple(dict.fromkeys(break_text(e.date) for e in touching))
    points = tuple(p for part in parts_of(raw, breaks) for p in _mark_odd(part, setup))
    line = HistoryLine(
        box=name, setup=setup, sealed=sealed, tests=points,
        repairs=tuple(Repair(e.date, e.path, e.text) for e in touching if e.kind == "repair"),
        trend=None, trend_reason="", limit_m2=_limit(dated, box), breaks=breaks,
        waiting=tuple(e for e in waiting if e in touching),
    )
    trend, reason = _trend(line, _since(touching))
    if trend is None and setup == "undrilled" and drilled:
        reason = DRILLED
    return replace(line, trend=trend, trend_reason=reason + undated_text(tests, events))


def _start(assessment: Assessment) -> datetime:
    assert assessment.started is not None
    return moment(assessment.started)


def _limit(tests: Sequence[Assessment], box: Box | None) -> float | None:
    limit = limit_for(box) or next((a.limit for a in reversed(tests) if a.limit is not None), None)
    return None if limit is None else limit.area_m2


def _point(assessment: Assessment) -> TestPoint:
    area = assessment.area_m2
    if area is not None and assessment.plug_area_m2 > 0.0:
        area = Interval(*(max(x - assessment.plug_area_m2, 0.0) for x in (area.value, area.low, area.high)))
    return TestPoint(assessment.log, _start(assessment), assessment.outcome, area, _why_aside(assessment))


def _why_aside(assessment: Assessment) -> str | None:
    if assessment.outcome == "refused" or assessment.area_m2 is None:
        return f"no answer: {assessment.reason}" if assessment.reason else "no answer"
    return next((words for flag, words in _SET_ASIDE_FLAGS.items() if flag in assessment.flags), None)


def break_text(day: str) -> str:
    """A break of ``HistoryLine.breaks``: the moment after which tests came after an event of that ISO date."""
    return moment_of(day).isoformat()


def counts(test: TestPoint) -> bool:
    """Whether a test gives an area that a trend may use: not set aside, and more than a limit."""
    if test.set_aside is not None or test.outcome != "estimate":
        return False
    return test.area_m2 is not None and test.area_m2.value > 0.0


def parts_of(tests: Sequence[TestPoint], breaks: Sequence[str]) -> list[tuple[TestPoint, ...]]:
    """Tests between breaks, in order; a part may be empty."""
    edges = [datetime.fromisoformat(b) for b in breaks]
    parts: list[list[TestPoint]] = [[] for _ in range(len(edges) + 1)]
    for t in tests:
        parts[sum(by_the_clock(t.started) > edge for edge in edges)].append(t)
    return [tuple(p) for p in parts]


def _mark_odd(tests: tuple[TestPoint, ...], setup: str) -> tuple[TestPoint, ...]:
    """Set aside single tests far off the line of their stretch; two in a row on one side are a step and stay."""
    used = [i for i, t in enumerate(tests) if counts(t)]
    if len(used) < MIN_TESTS or tests[used[0]].started == tests[used[-1]].started:
        return tests
    months = [months_between(tests[used[0]].started, tests[i].started) for i in used]
    values = [log(tests[i].area_m2.value) for i in used]  # type: ignore[union-attr]
    miss = np.array(values) - theil_sen_line(months, values)
    scale = max(1.4826 * float(np.median(np.abs(miss))), SCATTER.get(setup, 0.25) / 2.0)
    far = np.abs(miss) > max(_FAR_OFF * scale, _FAR_OFF_LEAST)
    marked = list(tests)
    for n, i in enumerate(used):
        beside = [m for m in (n - 1, n + 1) if 0 <= m < len(used)]
        if far[n] and not any(far[m] and miss[m] * miss[n] > 0.0 for m in beside):
            marked[i] = replace(tests[i], set_aside="far off the tests beside it; hold again to see")
    return tuple(marked)


def _trend(line: HistoryLine, since: str) -> tuple[Trend | None, str]:
    """The trend since the last break, or None, and in words what it rests on or what it lacks."""
    stretch = stretches(line)[-1]
    if stretch.fit is None:
        return None, _too_few(stretch.tests, since)
    step = find_step(stretch.tests, line.setup)
    if step is not None:
        later = fit_of(step.tests_after, line.setup)
        words = f"It stepped {'up' if step.factor > 1.0 else 'down'} {_times(step.factor)} before {_day(step.found_by)}"
        if later is None:
            return None, f"{words}; too few tests since for a trend."
        told = f"{words}; the trend is that of the {count_text(later.count)} tests since."
        return Trend(later.percent_per_month()), told
    return Trend(stretch.fit.percent_per_month()), _rests_on(stretch, since)


def _since(touching: Sequence[Event]) -> str:
    """Since when the trend runs and what happened then; empty where nothing did."""
    if not touching:
        return ""
    last = touching[-1]
    what = f"repair of the {path_name(last.path)}" if last.kind == "repair" and last.path else shown(last.text)
    return f" since {date_text(moment_of(last.date).date())} ({what})"


def _day(when: datetime) -> str:
    return date_text(when.date())


def _times(factor: float) -> str:
    return f"{two_figures(factor if factor > 1.0 else 1.0 / factor)} times"


def _usable(tests: Sequence[TestPoint]) -> list[TestPoint]:
    return [t for t in tests if t.set_aside is None and t.area_m2 is not None and t.area_m2.high > 0.0]


def _too_few(tests: Sequence[TestPoint], since: str) -> str:
    usable = _usable(tests)
    n = len({t.started.date() for t in usable})
    if n == 0:
        return f"No trend: no test{since or ' yet'}; {count_text(MIN_TESTS)} are needed, two weeks apart."
    if n < MIN_TESTS:
        one, more = ("test", "tests") if n == len(usable) else ("day with tests", "days with tests")
        many = one if n == 1 else more
        lack = f"{count_text(MIN_TESTS - n)} more, two weeks apart"
        return f"No trend can be drawn from {count_text(n)} {many}{since}; {lack}."
    if not any(counts(t) for t in usable):
        return f"No trend: every test{since} shows only that no larger leak is there."
    if sum(counts(t) for t in usable) < 3:
        return f"No trend: all but {count_text(sum(counts(t) for t in usable))} of the tests{since} are upper limits."
    days_apart = (usable[-1].started - usable[0].started).days
    return f"No trend can be drawn from {days_apart} days; test again in two weeks."


def _rests_on(stretch: Stretch, since: str) -> str:
    usable = _usable(stretch.tests)
    from_tests = f"From {count_text(len(usable))} tests{since or ' since ' + _day(usable[0].started)}."
    if (usable[-1].started - usable[0].started).days >= _YEAR_DAYS:
        return from_tests
    return f"{from_tests} Under twelve months of tests season and trend cannot be told apart, so the window is wide."


@dataclass(frozen=True, eq=False)
class Stretch:
    """Tests between two breaks and the line through them; ``fit`` None where no trend can be drawn."""

    tests: tuple[TestPoint, ...]
    fit: TrendFit | None


def stretches(line: HistoryLine) -> tuple[Stretch, ...]:
    """The line's stretches between its breaks, oldest first, for drawing and for forecasts."""
    return tuple(Stretch(part, fit_of(part, line.setup)) for part in parts_of(line.tests, line.breaks))


def fit_of(tests: Sequence[TestPoint], setup: str) -> TrendFit | None:
    """The trend through tests of one stretch; None under five days of tests, 28 days, or three real areas."""
    points = points_of(tests)
    if points is None or points.months.size < MIN_TESTS or sum(counts(t) for t in tests) < 3:
        return None
    usable = _usable(tests)
    if (usable[-1].started - usable[0].started) < timedelta(days=MIN_SPAN_DAYS):
        return None
    return fit_trend(points, setup)


@dataclass(frozen=True, eq=False)
class Step:
    """A jump of the level: by what factor, the first test that shows it, and the tests from there on."""

    factor: float
    found_by: datetime
    tests_after: tuple[TestPoint, ...]


def find_step(tests: Sequence[TestPoint], setup: str) -> Step | None:
    """A jump in one stretch: Pettitt's test says when; it must beat a straight line, and pass 1.5 times."""
    used = [t for t in tests if counts(t)]
    if len(used) < MIN_TESTS + 1:
        return None
    values = [log(t.area_m2.value) for t in used if t.area_m2 is not None]
    months = [months_between(used[0].started, t.started) for t in used]
    change = pettitt(values)
    early, late = values[: change.before], values[change.before :]
    if change.p > _STEP_P or len(late) < 2 or len(early) < 2 or months[-1] == months[0]:
        return None
    jump = float(np.mean(late) - np.mean(early))
    floor = len(values) * (SCATTER.get(setup, 0.25) / 3.0) ** 2
    two_levels = float(np.var(early) * len(early) + np.var(late) * len(late)) + floor
    fit = fit_trend(Points(used[0].started, np.array(months), np.array(values), np.zeros(len(values)),
                           np.zeros(len(values))), setup)
    straight = float(np.sum((np.array(values) - design(np.array(months)) @ fit.mean) ** 2)) + floor
    if abs(jump) < _STEP_LEAST or len(values) * log(straight / two_levels) < _STEP_EVIDENCE + log(len(values)):
        return None
    found_by = used[change.before].started
    return Step(exp(jump), found_by, tuple(t for t in tests if t.started >= found_by))


def forecast_crossing(line: HistoryLine, limit_m2: float | None = None) -> Crossing | None:
    """When the line reaches its limit if nothing is done; None without a trend or a limit."""
    limit = line.limit_m2 if limit_m2 is None else limit_m2
    fit = current_fit(line)
    return None if fit is None or not limit else crossing_of(fit, limit)


def current_fit(line: HistoryLine) -> TrendFit | None:
    """The line through the newest stretch, from its last step on; None where no trend can be drawn."""
    stretch = stretches(line)[-1]
    if stretch.fit is None:
        return None
    step = find_step(stretch.tests, line.setup)
    return stretch.fit if step is None else fit_of(step.tests_after, line.setup)


STEADY_PERCENT = 10.0
"""A seal is called steady when its trend is known to lie within this, percent a month up or down."""


def is_steady(line: HistoryLine) -> bool:
    """Whether a trend is known well enough, and to be so small, that the seal may be called steady."""
    if line.trend is None:
        return False
    per = line.trend.percent_per_month
    return max(abs(per.low), abs(per.high)) <= STEADY_PERCENT


def is_going_off(line: HistoryLine) -> bool:
    """Whether the box lets in ever more air: the whole 95 % interval of the trend lies above nothing."""
    return line.trend is not None and line.trend.percent_per_month.low > 0.0


def doubling_days(trend: Trend) -> Interval | None:
    """Days in which the area doubles, with the 95 % interval; None unless the whole trend is upward."""
    p = trend.percent_per_month
    if p.low <= 0.0:
        return None
    days = [log(2.0) / np.log1p(x / 100.0) * 365.25 / 12.0 for x in (p.value, p.high, p.low)]
    return Interval(float(days[0]), float(days[1]), float(days[2]))


def going_off_sentence(line: HistoryLine, system: System = "metric") -> str:
    """How it goes off and when it reaches its limit; empty when no trend says that it does."""
    fit, crossing = current_fit(line), forecast_crossing(line)
    if fit is None or not is_going_off(line):
        return ""
    first = next(t.started for t in _usable(line.tests) if t.started >= moment(fit.origin))
    last = max(t.started for t in _usable(line.tests))
    grown = _grown(fit.level(last).value / fit.level(first).value)
    start = f"{line.box} {grown} since {_month_name(first.date())}"
    if crossing is None or line.limit_m2 is None or crossing.earliest is None or crossing.over_now:
        return f"{start}."
    bound = f"a drilled hole of {hole_number(line.limit_m2, system)} in" if system == "inch" else (
        amount(line.limit_m2, system))
    return f"{start} and reaches {bound} {_window(crossing)}."


def _window(crossing: Crossing) -> str:
    assert crossing.earliest is not None
    if crossing.latest is None:
        return f"not before {date_text(crossing.earliest)}"
    years = crossing.earliest.year != crossing.latest.year
    return f"between {date_text(crossing.earliest, years)} and {date_text(crossing.latest, years)}"


_FULL_MONTHS = dict(zip(MONTHS, (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
    "December"), strict=True))


def _month_name(day: date) -> str:
    return _FULL_MONTHS[MONTHS[day.month - 1]]


_GROWN = ((1.8, 2.5, "has doubled"), (2.5, 3.5, "has tripled"), (3.5, 4.5, "lets in four times as much"))


def _grown(factor: float) -> str:
    for low, high, words in _GROWN:
        if low <= factor < high:
            return words
    if factor >= 4.5:
        return f"lets in {two_figures(factor)} times as much"
    return f"lets in {round((factor - 1.0) * 100)} in 100 more"
