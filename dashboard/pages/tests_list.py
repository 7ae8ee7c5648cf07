"""Tests: what has been tried on this box."""

from __future__ import annotations

from dash import html
from dash.development.base_component import Component

from analysis import wording
from analysis.results import Assessment
from analysis.trendfit import moment
from dashboard import marks, parts, rows
from dashboard.pages.common import Page, label, setup_words, test_href, upper_first, when
from dashboard.places import section
from dashboard.section import small
from dashboard.shop import Findings, Shop, Trial
from dashboard.view import View

QUESTION = "What has been tried on this box?"
TAB = "Tests"
_BEHIND = {"room": "valve open to the room", "pump": "pump behind the valve", "tank": "tank behind the valve"}


def page(shop: Shop, view: View, known: Findings) -> Page:
    """The tests of one box, latest first."""
    name = known.box.name
    hold = parts.button("Start a hold test", f"/hold?box={name}", dark=True)
    body: list[Component]
    if not known.trials:
        picture = parts.paper(
            parts.drawn(section(known.box, min(view.inner - 34, 760), label="The box, cut along its length"))
        )
        body = [
            parts.head(
                QUESTION, "Nothing yet.", "One hold with the vents taped tells how much; two tell where.", acts=[hold]
            ),
            picture,
        ]
    else:
        width = view.inner - 32 if view.narrow else 270.0
        items = [html.Li(_row(known, t, view, width)) for t in reversed(known.trials)]
        body = [parts.head(QUESTION, headline(known), acts=[hold]), html.Ul(items, className="rows")]
    return Page(parts.box_page(view, name, label(known), TAB, QUESTION, *body, parts.bar(hold)))


def headline(known: Findings) -> str:
    """How many tests, in how many setups, and when the last one was."""
    count, setups = len(known.trials), len({(r.setup, r.sealed) for r in known.results})
    tests = "One test" if count == 1 else f"{count} tests"
    ways = "" if setups == 1 else f" in {setups} setups"
    last = max((r.started for r in known.results if r.started is not None), key=moment, default=None)
    return f"{tests}{ways}; the last on {when(last, time=False)}."


def _conditions(trial: Trial) -> str:
    header = trial.log.header
    gauge = f"gauge on the {header.gauge_at}" if header.gauge_at else "gauge's place not said"
    behind = _BEHIND.get(header.behind_valve or "", "valve's other side not said")
    return f"{gauge}; {behind}" + ("; after a redraw" if trial.result.earlier_holds else "")


def _why(trial: Trial) -> str:
    """Why a test gave no answer, cut at its first clause."""
    reason = trial.result.reason or ""
    return upper_first(reason.partition(";")[0].partition(". ")[0]) if trial.result.outcome == "refused" else ""


def _row(known: Findings, trial: Trial, view: View, width: float) -> Component:
    result = trial.result
    row = rows.BoxRow(known.box.name, known)
    cells = [
        html.Span([html.B(upper_first(when(result.started)))], className="plate-cell", style={"fontSize": "15px"}),
        html.Span(parts.drawn(small(known.box, 108, setup=result.setup)), className="shape"),
        html.Span(
            [
                parts.drawn(marks.verdict(result.verdict, 26)),
                html.Span(
                    [
                        html.B(f"{wording.verdict_label(result.verdict)}. "),
                        setup_words(result),
                        html.Br(),
                        html.Span(_why(trial) or _conditions(trial), className="note"),
                    ]
                ),
            ],
            className="told",
        ),
        html.Span(parts.drawn(rows.result_jaws(result, row.name, width, view.system)), className="jaws-cell"),
        html.Span(_amount(result, view), className="amount"),
    ]
    return html.A(cells, href=test_href(known, trial), className="box-row test-row")


def _amount(result: Assessment, view: View) -> list[Component]:
    hole, area = rows.result_amount(result, view.system)
    return [html.B(hole), html.Span(area, className="area")]
