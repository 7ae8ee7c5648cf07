"""One test: is this box tight enough."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from dash import html
from dash.development.base_component import Component

from acquisition.errors import WrongUsage
from acquisition.units import STANDARD_PRESSURE_PA, to_absolute_pa
from analysis import wording
from analysis.results import Assessment, Curves
from dashboard import figures_hold, numberlist, parts
from dashboard.areas import area_unit
from dashboard.figures import Scale
from dashboard.pages.common import Page, label, setup_words, two_parts, when
from dashboard.shop import Findings, Shop, Trial
from dashboard.view import View

TAB = "Tests"
NUMBERS_PX = 412.0


def page(shop: Shop, view: View, known: Findings, key: str) -> Page:
    """One test of a box."""
    trial = known.trial(key)
    if trial is None:
        raise WrongUsage(f"There is no test {key} of {known.box.name}; its tests are listed under Tests.")
    name = known.box.name
    drawn = shop.with_curves(name, trial)
    result = drawn or replace(trial.result, curves=bare_curves(trial))
    answer, rest = answer_and_rest(known, result, view)
    question = f"Is this box tight enough? {what(trial)}"
    head = parts.head(question, answer, rest, verdict=result.verdict)
    why = curve_and_numbers(known, result, view)
    body = parts.box_page(
        view,
        name,
        label(known),
        TAB,
        f"{when(result.started)}, {wording.setup_name(result.setup)}",
        head,
        *why,
        *_next(known, trial),
        parts.bar(*_main(known, result)[:2]),
    )
    return Page(body, working=drawn is None)


def bare_curves(trial: Trial) -> Curves | None:
    """The readings alone, to be drawn while the fit is being worked out; None without a room pressure."""
    header, room = trial.log.header, trial.result.room_pa or STANDARD_PRESSURE_PA
    p_pa = to_absolute_pa(trial.log.reading, header.gauge, room)
    there = np.isfinite(p_pa)
    return Curves(trial.log.elapsed_s[there], p_pa[there]) if there.any() else None


def what(trial: Trial) -> str:
    """Kind, date and setup of a test."""
    kind = "Stall test" if trial.result.test == "stall" else "Hold test"
    return f"{kind} of {when(trial.result.started)}, {setup_words(trial.result)}"


def answer_and_rest(known: Findings, result: Assessment, view: View) -> tuple[str, str]:
    """Heading and lead: the answer's first sentence, then the rest of it and how the air gets in."""
    has_tank = None if known.box.pump is None else known.box.tank is not None
    answer, rest = two_parts(wording.answer_sentence(result, view.system, has_tank))
    return answer, " ".join(s for s in (rest, wording.lead_sentence(result, view.system)) if s)


def _curve_figure(result: Assessment, view: View, width: float, tall: float) -> Component:
    scale = Scale(view.system, result.room_pa or 101_325.0)
    points = figures_hold.curve_points(result, scale)
    table = parts.as_table(("min:s since shut", scale.words), points)
    sentence = (
        f"Pressure in the box over the test; {points[0][1]} at the shut and {points[-1][1]} at the end."
        if points
        else "Pressure over the test."
    )
    graph = parts.graph(figures_hold.hold_curve(result, scale, width, tall), width=width)
    return parts.figure(
        graph,
        sentence,
        caption="Arrow keys walk the readings",
        points=[f"{t} after the shut: {p}" for t, p in points],
        table=table,
    )


def curve_and_numbers(known: Findings, result: Assessment, view: View) -> list[Component]:
    """Curve and numbers of a result; of a refused one the curve and what to do."""
    return _refused(result, view) if result.outcome == "refused" else _answered(known, result, view)


def _answered(known: Findings, result: Assessment, view: View) -> list[Component]:
    if result.curves is None:
        return [parts.paper(numberlist.numbers(known, result, view.system))]
    if view.narrow:
        return [
            html.Div(_curve_figure(result, view, view.inner, 370), className="paper flush"),
            parts.paper(*_numbers(known, result, view, view.inner - 34)),
        ]
    width = view.inner - NUMBERS_PX - 20 - 34
    return [
        parts.split(
            f"minmax(0,1fr) {NUMBERS_PX:.0f}px",
            parts.paper(_curve_figure(result, view, width, 480)),
            parts.paper(*_numbers(known, result, view, NUMBERS_PX - 34)),
            class_name="wide",
        )
    ]


def _numbers(known: Findings, result: Assessment, view: View, width: float) -> list[Any]:
    return [
        html.H2(f"Leak area, {area_unit(view.system).words}"),
        parts.drawn(numberlist.area_axis(result, width, view.system)),
        numberlist.numbers(known, result, view.system),
        *([parts.drawn(numberlist.law_bar(result, width))] if result.law else []),
        *numberlist.also_seen(result),
    ]


def _refused(result: Assessment, view: View) -> list[Component]:
    steps = [s.strip().rstrip(".") + "." for s in result.advice.split(". ") if s.strip()][:3]
    advice = html.Div([html.H2("To get an answer"), html.Ol([html.Li(s) for s in steps], className="steps")])
    if result.curves is None:
        return [advice]
    width = view.inner if view.narrow else view.inner * 0.62
    curve = parts.paper(
        _curve_figure(result, view, width - (0 if view.narrow else 34), 360), class_name="flush" if view.narrow else ""
    )
    return [parts.split("minmax(0,1.63fr) minmax(0,1fr)", curve, advice, class_name="wide")]


def _main(known: Findings, result: Assessment) -> list[Component]:
    name = known.box.name
    if result.verdict in ("cannot-tell", "no-answer"):
        return [parts.button("Hold again", f"/hold?box={name}&setup={result.setup}", dark=True)]
    return [
        parts.button("See where the air gets in", parts.box_href(name, ""), dark=True),
        parts.button("Hold again", f"/hold?box={name}&setup={result.setup}"),
    ]


def _next(known: Findings, trial: Trial) -> list[Component]:
    name = known.box.name
    far = html.Div(
        [
            parts.button("Add a remark", parts.box_href(name, f"/event?kind=remark&test={trial.key}")),
            parts.button("Print", parts.box_href(name, f"/tests/{trial.key}/report")),
        ],
        className="far",
    )
    return [html.Div([html.B("What next"), *_main(known, trial.result), far], className="next main")]
