"""Months: is it going off, and when will it miss its limit."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from dash import html
from dash.development.base_component import Component

from analysis import wording
from analysis.history import doubling_days, forecast_crossing, going_off_sentence, is_going_off, is_steady
from analysis.repaireffects import repair_effects, repair_sentence
from analysis.repairs import day_text, repaired_sentence
from analysis.results import HistoryLine, Repair
from dashboard import figures_months, parts, rows
from dashboard.areas import area_unit
from dashboard.pages.common import Page, label
from dashboard.places import section
from dashboard.shop import Findings, Shop
from dashboard.view import View

QUESTION = "Is it going off, and when will it miss its limit?"
TAB = "Months"


def page(shop: Shop, view: View, known: Findings) -> Page:
    """The months of one box."""
    line = rows.main_line(known)
    name = known.box.name
    event = parts.button("Add an event", parts.box_href(name, "/event"))
    if line is None or not line.tests:
        hold = parts.button("Start a hold test", f"/hold?box={name}", dark=True)
        head = parts.head(
            QUESTION,
            "No month yet: nothing was measured." if line is None else "No month yet: no test says its day.",
            "A trend needs five tests over a month or more." if line is None else line.trend_reason,
            acts=[event, hold],
        )
        picture = parts.paper(
            parts.drawn(section(known.box, min(view.inner - 34, 760), label="The box, cut along its length"))
        )
        return Page(parts.box_page(view, name, label(known), TAB, QUESTION, head, picture, parts.bar(hold)))
    again = parts.button(
        "Hold again" if line.waiting else again_words(rows.again(line), shop.today()),
        f"/hold?box={name}&setup={line.setup}",
        dark=True,
    )
    answer, lead = headline(line, view, shop.today())
    head = parts.head(QUESTION, answer, lead, acts=[event, again])
    others = [h for h in known.histories if h is not line and len(h.tests) > 1]
    body = [head, _long_curve(line, shop.today(), view), *_small(others, view)]
    return Page(parts.box_page(view, name, label(known), TAB, QUESTION, *body, parts.bar(again, event)))


def again_words(due: date, today: date) -> str:
    """When to test again: now when the day has gone by, with the year when it is another one."""
    if due < today:
        return "Test again now"
    return f"Test again by {wording.date_text(due, with_year=due.year != today.year)}"


def headline(line: HistoryLine, view: View, today: date) -> tuple[str, str]:
    """Whether it goes off and when the limit is reached, or what waits for a test; what that rests on."""
    reason = line.trend_reason
    if line.waiting:
        return "Not known since it was repaired.", f"{repaired_sentence(line.waiting)} {reason}"
    answer, lead = _going(line, view)
    due = rows.again(line)
    return answer, lead if due >= today else f"{lead} The next test is {wording.overdue_text(due)}."


def _going(line: HistoryLine, view: View) -> tuple[str, str]:
    reason = line.trend_reason
    if line.trend is None:
        return "No trend yet.", reason
    per = line.trend.percent_per_month
    if per.high < 0:
        return f"Getting better: {abs(per.value):.0f} in 100 less a month.", reason
    if not is_going_off(line):
        return (
            "Steady: no trend that can be told from nothing." if is_steady(line) else "No trend can be told yet.",
            f"Between {_signed(per.low)} and {_signed(per.high)} in 100 a month. {reason}",
        )
    crossing = forecast_crossing(line)
    if crossing is not None and crossing.over_now:
        return "Going off, and past its limit already.", " ".join((going_off_sentence(line, view.system), reason))
    if crossing is None or crossing.earliest is None:
        return "Going off, but its limit is far.", " ".join((going_off_sentence(line, view.system), reason))
    when = figures_months.crossing_words(crossing)
    answer = (
        f"Going off. It reaches its limit {when}."
        if when.startswith("not")
        else f"Going off. It reaches its limit between {when.replace(' to ', ' and ')}."
    )
    return answer, " ".join((going_off_sentence(line, view.system), reason))


def _going_word(line: HistoryLine) -> str:
    if line.trend is None:
        return "no trend yet"
    if line.trend.percent_per_month.high < 0:
        return "getting better"
    if is_going_off(line):
        return "going off"
    return "steady" if is_steady(line) else "no trend yet"


def _signed(value: float) -> str:
    return f"{'−' if value < 0 else '+'}{abs(value):.0f}"


def _long_curve(line: HistoryLine, today: date, view: View) -> Component:
    width = view.inner if view.narrow else view.inner - 34
    sealed = wording.list_text([wording.path_name(p, line.setup) for p in line.sealed])
    top = html.Div(
        [
            html.Span(
                [
                    html.B(f"Whole box, {wording.setup_name(line.setup)}{f', {sealed} sealed' if sealed else ''}"),
                    f", {_count(line)}",
                ]
            ),
            *_doubling(line),
            html.Span("each dot a test with its 95 % interval", className="note"),
            html.Span("shaded ahead: where it will lie, 95 in 100, if nothing is done", className="note"),
        ],
        className="figure-head",
    )
    table = parts.as_table(
        ("test", "leak area, 95 %", "set aside because"), [_cells(line, i, view) for i in range(len(line.tests))]
    )
    points = [": ".join(_cells(line, i, view)[:2]) for i in range(len(line.tests))]
    curve = figures_months.months_curve(line, today, width, 380 if view.narrow else 420, area_unit(view.system))
    graph = parts.graph(curve, width=width)
    return parts.paper(
        top,
        parts.figure(
            graph, headline(line, view, today)[0], caption="Arrow keys walk the tests", points=points, table=table
        ),
        *_repairs(line, view),
        class_name="flush" if view.narrow else "",
    )


def _repairs(line: HistoryLine, view: View) -> list[Component]:
    """What each repair did, newest first, where tests on both sides tell."""
    return [
        html.P([html.B(" ".join(_repair_name(r) for r in effect.repairs)), " ", repair_sentence(effect, view.system)])
        for effect in repair_effects(line)[:-4:-1]
    ]


def _repair_name(repair: Repair) -> str:
    return f"{', '.join(s for s in (day_text(repair.date), repair.text) if s)}."


def _count(line: HistoryLine) -> str:
    return f"{len(line.tests)} test{'s' if len(line.tests) != 1 else ''}"


def _doubling(line: HistoryLine) -> list[Component]:
    days = doubling_days(line.trend) if line.trend else None
    return [] if days is None else [html.B(f"doubles in {days.value:.0f} days, {days.low:.0f} to {days.high:.0f}")]


def _cells(line: HistoryLine, i: int, view: View) -> tuple[str, str, str]:
    test = line.tests[i]
    area = "no area" if test.area_m2 is None else area_unit(view.system).text(test.area_m2)
    return wording.date_text(test.started.date()), area, test.set_aside or ""


def _small(others: Sequence[HistoryLine], view: View) -> list[Component]:
    if not others:
        return []
    return [html.Div([_small_one(h, view) for h in others[:6]], className="small-curves")]


def _small_one(line: HistoryLine, view: View) -> Component:
    sealed = wording.list_text([wording.path_name(p, line.setup) for p in line.sealed])
    name = wording.setup_name(line.setup) + (f", {sealed} sealed" if sealed else "")
    unit = area_unit(view.system)
    areas = [t.area_m2 for t in line.tests if t.area_m2 is not None]
    amount = f"{unit.number(areas[-1].value)} {unit.words}" if areas else ""
    width = view.inner - 32 if view.narrow else (view.inner - 24) / 3 - 34
    top = html.Div(
        [html.B(name[:1].upper() + name[1:]), html.Span(amount)],
        className="figure-head",
        style={"justifyContent": "space-between"},
    )
    return parts.paper(
        top,
        parts.drawn(rows.small_curve(line, width, 70)),
        html.P(f"{_count(line)}; {_going_word(line)}", className="note"),
    )
