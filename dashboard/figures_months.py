"""A box over the months: tests with their intervals, breaks, the trend, and when it reaches its limit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

import numpy as np
import plotly.graph_objects as go

from analysis import wording
from analysis.history import Stretch, current_fit, forecast_crossing, is_going_off, stretches
from analysis.results import HistoryLine, TestPoint
from analysis.trendfit import Crossing, TrendFit
from dashboard import figures as fg
from dashboard.areas import MM2, AreaUnit
from dashboard.figures import Size
from dashboard.palette import LIGHT

AHEAD_DAYS = 200
PX_PER_SIGN = 7.8


@dataclass(frozen=True)
class Window:
    """The dates on the paper, the day that divides past and future, and the area axis in mm²."""

    first: datetime
    today: datetime
    last: datetime
    low: float
    high: float
    unit: AreaUnit = MM2

    @property
    def edge(self) -> float:
        """Height of a few px on the log axis, as a factor."""
        return float((self.high / self.low) ** 0.012)


def _noon(day: date) -> datetime:
    return datetime(day.year, day.month, day.day, 12, tzinfo=UTC)


def window_of(line: HistoryLine, today: date, months_back: int | None = None, unit: AreaUnit = MM2) -> Window:
    """What the figure shows: all tests (or the last months), today, and half a year ahead at least."""
    first = line.tests[0].started
    now = max(_noon(today), line.tests[-1].started)
    if months_back is not None:
        first = max(first, line.tests[-1].started - timedelta(days=30 * months_back))
    last = now + timedelta(days=AHEAD_DAYS)
    crossing = forecast_crossing(line)
    if crossing is not None and crossing.latest is not None:
        last = max(last, min(_noon(crossing.latest) + timedelta(days=40), now + timedelta(days=420)))
    values = [v * unit.per_m2 for t in line.tests if t.area_m2 for v in (t.area_m2.low, t.area_m2.high) if v > 0]
    values += [line.limit_m2 * unit.per_m2] if line.limit_m2 else []
    low, high = min(values, default=0.01), max(values, default=1.0)
    return Window(first - timedelta(days=12), now, last, max(low / 1.5, high / 300), high * 2.2, unit)


def months_curve(line: HistoryLine, today: date, width: float, tall: float = 420.0, unit: AreaUnit = MM2) -> go.Figure:
    """The long curve.

    Parameters
    ----------
    line
        At least one dated test.
    today
        Day from which the future is drawn.
    width, tall
        Size in px; under 700 px wide the last six months are shown.
    unit
        Unit of the area axis.
    """
    narrow = width < 700
    size = Size(width, tall, (44.0, 14.0, 58.0, 40.0) if narrow else (56.0, 140.0, 58.0, 40.0))
    fig, win = fg.blank(size), window_of(line, today, 6 if narrow else None, unit)
    _axes(fig, win, narrow)
    _ahead(fig, win)
    _past_limit(fig, line, win, narrow)
    parts = stretches(line)
    for part in parts:
        _trend(fig, part, win)
    _forecast(fig, line, win)
    _breaks(fig, line, win, narrow)
    _tests(fig, [t for t in line.tests if t.started >= win.first], win)
    _crossing(fig, line, win, narrow)
    return fig


def month_ticks(first: datetime, last: datetime, most: int) -> list[datetime]:
    """First days of months, every first, second, third or sixth month."""
    months = [datetime(y, m, 1, tzinfo=UTC) for y in range(first.year, last.year + 1) for m in range(1, 13)]
    inside = [m for m in months if first <= m <= last]
    step = next(s for s in (1, 2, 3, 6, 12) if len(inside) / s <= most or s == 12)
    return [m for m in inside if (m.month - 1) % step == 0]


def _axes(fig: go.Figure, win: Window, narrow: bool) -> None:
    ticks = month_ticks(win.first, win.last, 6 if narrow else 16)
    words = [t.strftime("%b") + (f" {t.year}" if i == 0 or t.month == 1 else "") for i, t in enumerate(ticks)]
    levels = fg.decade_ticks(win.low, win.high)
    fig.update_layout(
        xaxis=fg.axis(type="date", range=[win.first, win.last], tickvals=ticks, ticktext=words),
        yaxis=fg.level_axis(
            type="log",
            range=[np.log10(win.low), np.log10(win.high)],
            tickvals=levels,
            ticktext=[fg.plain(v) for v in levels],
        ),
    )
    fg.say(
        fig,
        0,
        1,
        win.unit.words if narrow else f"leak area, {win.unit.words}",
        xref="paper",
        yref="paper",
        level="bottom",
        shift=(-44 if narrow else -50, 14),
    )


def _log(value: float) -> float:
    return float(np.log10(value))


def _ahead(fig: go.Figure, win: Window) -> None:
    fig.add_shape(
        type="rect",
        x0=win.today,
        x1=win.last,
        y0=0,
        y1=1,
        yref="paper",
        layer="below",
        line={"width": 0},
        fillcolor=LIGHT["ahead"],
    )
    fg.rule(fig, (win.today, 0, win.today, 1.03), yref="paper", width=1.4)
    fg.say(fig, win.today, 0, "today", yref="paper", colour="ink", level="bottom", shift=(5, 4))


def _past_limit(fig: go.Figure, line: HistoryLine, win: Window, narrow: bool) -> None:
    if not line.limit_m2:
        return
    limit = line.limit_m2 * win.unit.per_m2
    fg.span(fig, win.first, win.last, limit, win.high, fill=None, hatch=("/", "tint", 9, 0.14))
    fg.rule(fig, (win.first, limit, win.last, limit), "air", 2)
    fg.rule(fig, (win.first, limit * win.edge, win.last, limit * win.edge), "air", 1)
    words = f"limit {wording.two_figures(limit)}"
    if narrow:
        fg.say(fig, 0, _log(limit), words, xref="paper", colour="air", bold=True, level="bottom", shift=(6, 6))
    else:
        fg.say(fig, 1, _log(limit), words, xref="paper", colour="air", bold=True, shift=(8, 0))


def _levels(fit: TrendFit, days: Sequence[datetime], win: Window) -> tuple[list[float], list[float], list[float]]:
    levels = [fit.level(d).scaled(win.unit.per_m2) for d in days]
    return [v.value for v in levels], [v.low for v in levels], [v.high for v in levels]


def _days(first: datetime, last: datetime, count: int = 40) -> list[datetime]:
    return [first + (last - first) * (i / (count - 1)) for i in range(count)]


def _band(fig: go.Figure, days: Sequence[datetime], low: Sequence[float], high: Sequence[float]) -> None:
    fg.area(fig, [*days, *reversed(days)], [*high, *reversed(low)])


def _trend(fig: go.Figure, part: Stretch, win: Window) -> None:
    shown = [t.started for t in part.tests if t.started >= win.first]
    if part.fit is None or len(shown) < 2:
        return
    days = _days(shown[0], shown[-1])
    value, low, high = _levels(part.fit, days, win)
    _band(fig, days, low, high)
    fg.line(fig, days, value, "ink", 2.2)


def _forecast(fig: go.Figure, line: HistoryLine, win: Window) -> None:
    fit = current_fit(line)
    if fit is None:
        return
    days = _days(line.tests[-1].started, win.last, 60)
    value, low, high = _levels(fit, days, win)
    top = [min(h, win.high * 1.01) for h in high]
    bottom = [min(max(v, win.low), win.high * 1.01) for v in low]
    _band(fig, days, bottom, top)
    for edge in (bottom, top):
        fg.line(fig, days, edge, "measured", 1.2, "dot")
    kept = [(d, v) for d, v in zip(days, value, strict=True) if v < win.high]
    fg.line(fig, [d for d, _ in kept], [v for _, v in kept], "ink", 2.0, "dash")


def _breaks(fig: go.Figure, line: HistoryLine, win: Window, narrow: bool) -> None:
    half = (win.last - win.first) * (0.011 if narrow else 0.006)
    by_day = {r.date[:10]: r for r in line.repairs}
    named: list[tuple[datetime, tuple[str, ...]]] = []
    for text in line.breaks or tuple(r.date for r in line.repairs):
        at = datetime.fromisoformat(text)
        at = at if at.tzinfo else at.replace(tzinfo=UTC)
        if not win.first < at < win.last:
            continue
        fg.span(fig, at - half, at + half, win.low, win.high, fill="paper")
        for x in (at - half, at + half):
            fg.rule(fig, (x, 0, x, 1.03), yref="paper", width=1.5)
        repair = by_day.get(text[:10])
        if repair is not None:
            day = wording.date_text(date.fromisoformat(repair.date[:10]), with_year=False)
            told = tuple(f"{_cut(repair.text, most)}, {day}" for most in (72, 36))
            named.append((at, (day,) if narrow else (*told, day)))
    _break_words(fig, named, win, narrow)


def _break_words(fig: go.Figure, named: Sequence[tuple[datetime, tuple[str, ...]]], win: Window, narrow: bool) -> None:
    """Repairs named above their breaks; close ones stand in two rows, then cut short, then without the name."""
    margin = fig.layout.margin
    wide = fig.layout.width - margin.l - margin.r
    taken = [60.0, -float(margin.l)]
    for at, choices in sorted(named):
        x = wide * ((at - win.first) / (win.last - win.first))
        for words, row in ((w, r) for w in choices for r in (0, 1)):
            half = len(words) * (PX_PER_SIGN if not narrow else 7.0) / 2
            centre = max(x, half - (0 if row == 0 else margin.l - 4))
            if centre - half < taken[row] or centre - x > half:
                continue
            fg.say(fig, at, 1.03, words, yref="paper", colour="ink", bold=True, anchor="center", level="bottom",
                   shift=(min(centre, wide + margin.r - half) - x, 4 + 18 * row))  # fmt: skip
            taken[row] = centre + half + 12
            break


def _cut(words: str, most: int) -> str:
    return words if len(words) <= most else words[: most - 1].rstrip(" ,;") + "…"


def _tests(fig: go.Figure, tests: Sequence[TestPoint], win: Window) -> None:
    used = [(t, t.area_m2.scaled(win.unit.per_m2)) for t in tests if t.area_m2 is not None and t.set_aside is None]
    sure = [(t, a) for t, a in used if t.outcome == "estimate"]
    for test, area in sure:
        fg.line(fig, [test.started, test.started], [max(area.low, win.low), min(area.high, win.high)], "measured", 1.6)
    fg.dots(fig, [t.started for t, _ in sure], [max(a.value, win.low) for _, a in sure], r=4.2)
    limits = [(t, a) for t, a in used if t.outcome == "upper-limit"]
    fg.dots(fig, [t.started for t, _ in limits], [a.high for _, a in limits], r=5, symbol="triangle-down")
    _set_aside(fig, [t for t in tests if t.set_aside is not None], win)


def _set_aside(fig: go.Figure, tests: Sequence[TestPoint], win: Window) -> None:
    level = win.low * (win.high / win.low) ** 0.06
    spots = [
        (t.started, min(max(t.area_m2.value * win.unit.per_m2, level), win.high) if t.area_m2 else level) for t in tests
    ]
    fg.dots(fig, [d for d, _ in spots], [v for _, v in spots], "ink", 5, "diamond-open")
    if len(tests) == 1:
        fg.say(fig, spots[0][0], _log(spots[0][1]), f"set aside: {tests[0].set_aside}", shift=(10, 0))
    elif tests:
        fg.say(fig, spots[0][0], _log(spots[0][1]), f"set aside: {len(tests)}, listed in the table", shift=(10, 0))


def _crossing(fig: go.Figure, line: HistoryLine, win: Window, narrow: bool) -> None:
    crossing = forecast_crossing(line)
    if (
        crossing is None
        or crossing.earliest is None
        or not line.limit_m2
        or crossing.over_now
        or not is_going_off(line)
    ):
        return
    limit, first = line.limit_m2 * win.unit.per_m2, _noon(crossing.earliest)
    last = _noon(crossing.latest) if crossing.latest is not None else win.last
    last = min(last, win.last)
    tall = float(win.edge**2.6)
    fg.rule(fig, (first, limit, last, limit), "air", 7)
    for x, real in ((first, True), (last, crossing.latest is not None)):
        if real:
            fg.rule(fig, (x, limit / tall, x, limit * tall), "air", 4)
    lines = crossing_words(crossing) if narrow else f"reaches its limit<br>{crossing_words(crossing)}"
    fg.say(
        fig,
        last,
        _log(limit / tall),
        lines,
        colour="air",
        bold=True,
        anchor="right",
        level="top",
        size=15,
        shift=(0, -4),
    )


def crossing_words(crossing: Crossing) -> str:
    """The window in which the limit is reached."""
    if crossing.earliest is None:
        return "not within two years"
    years = crossing.latest is None or crossing.latest.year != crossing.earliest.year
    first = wording.date_text(crossing.earliest, with_year=years)
    if crossing.latest is None:
        return f"not before {first}"
    return f"{first} to {wording.date_text(crossing.latest, with_year=years)}"
