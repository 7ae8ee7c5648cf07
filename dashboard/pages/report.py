"""The sheet for the folder: one page, both unit systems, to print or send."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from dash import html
from dash.development.base_component import Component

from acquisition.errors import WrongUsage
from analysis import wording
from analysis.panels import load_tonnes
from analysis.results import Assessment
from dashboard import figures_hold, figures_rank, marks, numberlist, parts
from dashboard.figures import Scale
from dashboard.pages.common import Page, label, likely_paths, ranked_places, two_parts, when
from dashboard.pages.one_test import bare_curves, what
from dashboard.pages.where import answer as where_answer
from dashboard.pages.where import next_words
from dashboard.places import section
from dashboard.shop import Findings, Shop, Trial
from dashboard.view import View

METHOD = "method 1"
SHEET_PX = 710.0


def test_page(shop: Shop, view: View, known: Findings, key: str) -> Page:
    """Report of one test."""
    trial = known.trial(key)
    if trial is None:
        raise WrongUsage(f"There is no test {key} of {known.box.name}; its tests are listed under Tests.")
    width = min(SHEET_PX, view.inner - (32 if view.narrow else 50))
    drawn = shop.with_curves(known.box.name, trial)
    result = drawn or replace(trial.result, curves=bare_curves(trial))
    body = [
        _top(known, [what(trial), _where_gauge(trial)]),
        _verdict(known, result),
        _curve(result, width),
        html.Div(
            [
                html.Div(
                    [html.H2("Numbers"), numberlist.numbers(known, result, "metric"), _picture(known, width * 0.58)]
                ),
                html.Div([*_next(known, result), *_method(result), _cautions(known)]),
            ],
            className="columns",
        ),
        _foot(f"log {trial.key}"),
    ]
    return Page(_sheet(known, body), working=drawn is None)


def box_page(shop: Shop, view: View, known: Findings) -> Page:
    """Report of a box: section, ranking and months in the curve's place."""
    width = min(SHEET_PX, view.inner - (32 if view.narrow else 50))
    last = known.last
    if last is None:
        raise WrongUsage(f"{known.box.name} has no test yet, so there is nothing to report; hold it once.")
    ranking = known.ranking
    middle: list[Component] = [
        parts.paper(
            parts.drawn(section(known.box, width - 34, ranked_places(known), setup=last.result.setup, tallest=110))
        ),
    ]
    if ranking is not None and ranking.paths:
        rows = figures_rank.rows_of(ranking, likely_paths(known), last.result.setup)
        limit = last.result.limit.area_m2 if last.result.limit else None
        middle += [
            html.P(html.B(where_answer(known, ranking, last.result.setup))),
            parts.paper(parts.drawn(figures_rank.ranking_bars(rows, limit, width - 34))),
        ]
    body = [
        _top(known, [f"{len(known.trials)} tests, the last on {when(last.result.started, time=False)}"]),
        _verdict(known, last.result),
        *middle,
        html.Div(
            [
                html.Div([html.H2("Last test"), numberlist.numbers(known, last.result, "metric")]),
                html.Div([*_next(known, last.result), _cautions(known)]),
            ],
            className="columns",
        ),
        _foot(f"{len(known.trials)} logs"),
    ]
    return Page(_sheet(known, body))


def _sheet(known: Findings, body: Sequence[Component]) -> Component:
    acts = html.Div(
        [
            html.Button("Print", className="button dark", type="button", **parts.wild({"data-does": "print"})),
            parts.button("Back", parts.box_href(known.box.name, "/tests")),
        ],
        className="next no-print",
        style={"maxWidth": "760px", "margin": "0 auto 12px"},
    )
    return html.Main([acts, html.Article(list(body), className="report")])


def _top(known: Findings, words: Sequence[str]) -> Component:
    shown = [line for w in words if w for line in (w, html.Br())]
    return html.Div(
        [
            html.Div([parts.plate(known.box.name), html.Span(f"  {label(known)}", className="lettered")]),
            html.P(shown[:-1]),
        ],
        className="report-top",
    )


def _where_gauge(trial: Trial) -> str:
    soak = next((p for p in trial.result.phases if p.name == "soak"), None)
    soaked = f"soaked {wording.duration_text(soak.end_s - soak.start_s)}" if soak else "not soaked"
    at = trial.log.header.gauge_at
    return f"{soaked}, {f'gauge on the {at}' if at else 'gauge place not said'}"


def _verdict(known: Findings, result: Assessment) -> Component:
    has_tank = None if known.box.pump is None else known.box.tank is not None
    answer, rest = two_parts(wording.answer_sentence(result, "metric", has_tank))
    inch = (
        ""
        if (area := result.own_area_m2) is None
        else f" In inches: like one drilled hole of {wording.hole_interval_text(area, 'inch')}."
    )
    said = html.Div([html.H1(answer, id="answer", tabIndex="-1"), html.P(rest + inch)], className="said")
    return html.Div([parts.drawn(marks.verdict(result.verdict, 40)), said], className="head")


def _curve(result: Assessment, width: float) -> Component:
    if result.curves is None:
        return html.Div()
    fig = figures_hold.hold_curve(result, Scale("metric", result.room_pa or 101_325.0), width, 330)
    return parts.paper(parts.graph(fig, width=width), class_name="flush")


def _picture(known: Findings, width: float) -> Component:
    return parts.drawn(
        section(
            known.box,
            max(300.0, width - 10),
            ranked_places(known),
            setup=known.last.result.setup if known.last else None,
            tallest=80,
            valve="none",
        )
    )


def _next(known: Findings, result: Assessment) -> list[Component]:
    ranking = known.ranking
    if ranking is not None and ranking.next_test is not None:
        words = " ".join((*next_words(ranking.next_test), *ranking.advice[:1]))
    else:
        words = " ".join(ranking.advice[:2]) if ranking is not None and ranking.advice else result.advice
    return [html.H2("Next"), html.P(words)]


def _method(result: Assessment) -> list[Component]:
    if result.test == "stall":
        words = (
            "The level at which the pump-down stays is set against the pump's curve; the interval counts the "
            "gauge, the curve and the room pressure."
        )
    else:
        words = (
            "Readings of the hold fitted with inflow through a leak of unknown law into a volume that bows with "
            "the vacuum. "
            "The interval counts fit, gauge, volume, room pressure and temperature."
        )
    return [html.H2("How it was found"), html.P(words)]


def _cautions(known: Findings) -> Component:
    tonnes = load_tonnes(known.box)
    load = "" if tonnes is None else f"Vacuum loads this top with {wording.two_figures(tonnes)} tonnes at 80 kPa. "
    words = (
        f"{load}Check the panel before a hold; eyes covered; stay clear of the top. Never hold a cracked board. "
        f"Let silicone cure and air the room. "
        "Follow the machine's and pump's own instructions and local codes; ask a licensed person about pressure "
        "vessels or wiring."
    )
    return html.P(words, className="boxed")


def _foot(words: str) -> Component:
    return html.Div(
        [html.Span(f"Boxhold, {METHOD}, {words}"), html.Span("tested by ____________   page 1 of 1")], className="foot"
    )
