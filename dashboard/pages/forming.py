"""Forming: is the poor part the box's fault."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import pi, sqrt
from typing import Any

from dash import Dash, Input, Output, State, dcc, html, no_update
from dash.development.base_component import Component

from analysis import wording
from analysis.forming import SET_S, FormingAnswer, FormingCase, case_of, judge_forming
from analysis.formingwords import forming_lead, forming_sentence
from analysis.measures import AREA, COUNT, LENGTH, PRESSURE, SPEED, TIME, VOLUME, Measure
from analysis.results import Interval
from analysis.wording import System
from dashboard import figures_forming, ids, parts
from dashboard.figures import Scale
from dashboard.pages.common import Page, label, two_parts
from dashboard.places import section
from dashboard.shop import Findings, Shop
from dashboard.view import View, read_view

QUESTION = "Is the poor part the box's fault?"
TAB = "Forming"
NEEDS_PA = 34_000.0
"""At least 20 inHg of vacuum when the sheet lands: common practice, no source."""
Ends = tuple[float, float, float]
"""Lowest and highest value of a slider, and its step."""


@dataclass(frozen=True)
class Slider:
    """One slider: its name, words, kind of number, and its ends on pages in metric and in inches."""

    key: str
    words: str
    measure: Measure
    metric: Ends
    inch: Ends
    inch_words: str = ""

    def words_in(self, system: System) -> str:
        """The label on a page."""
        return self.inch_words if system == "inch" and self.inch_words else self.words


SLIDERS = (
    Slider("edge", "Sheet edge leak", AREA, (0.0, 10.0, 0.1), (0.0, 15.0, 0.1)),
    Slider("walls", "Leak of the box", AREA, (0.0, 10.0, 0.1), (0.0, 15.0, 0.1)),
    Slider("tank", "Reserve tank", VOLUME, (0.0, 400.0, 5.0), (0.0, 100.0, 1.0)),
    Slider("pump", "Pump", SPEED, (0.0, 10.0, 0.1), (0.0, 20.0, 0.2)),
    Slider("hose", "Hose bore", LENGTH, (6.0, 60.0, 1.0), (0.25, 2.5, 0.125)),
    Slider("vents", "Vents", COUNT, (5.0, 400.0, 1.0), (5.0, 400.0, 1.0)),
    Slider("needs", "Parts need, absolute", PRESSURE, (5.0, 90.0, 1.0), (3.0, 28.0, 0.5), "Vacuum parts need"),
    Slider("set", "Sheet has set after", TIME, (5.0, 60.0, 1.0), (5.0, 60.0, 1.0)),
)
Settings = dict[str, float]
"""The sliders' numbers in mm², L, L/s, mm, kPa and s, whatever the page's units."""


def page(shop: Shop, view: View, known: Findings) -> Page:
    """The forming of one box, as its file and its tests describe it."""
    case = case_of(known.box)
    if case is None:
        return Page(_missing(view, known))
    settings = as_it_is(known, case)
    head, curve, cures = answered(known, settings, view)
    sliders = parts.paper(
        html.Div([_slider(s, settings[s.key], view.system) for s in SLIDERS], className="sliders"),
        html.Div(
            html.A("As it is", href=parts.box_href(known.box.name, "/forming"), className="button"), className="next"
        ),
    )
    tank = known.box.tank is not None
    button = parts.button(
        "Try it: wait 40 s longer between parts" if tank else "See where the air gets in",
        None if tank else parts.box_href(known.box.name, ""),
        dark=True,
    )
    note = html.P(
        "Free, and it tells: turn the box round. Does the soft spot turn with it? Then look at the rim and the "
        "vents; else at the oven.",
        className="note",
    )
    next_row = html.Div(
        [button, note] if not tank else [html.B("Try first: wait 40 s longer between parts"), note], className="next"
    )
    columns = parts.split(
        "minmax(0,1.85fr) minmax(0,1fr)",
        html.Div(curve, id=ids.CURE_FIGURE),
        html.Div(cures, id=ids.CURE_BACK),
        class_name="wide",
    )
    caution = parts.caution(
        "The machine's and the pump's own instructions and local codes come first. Power off and vacuum let out "
        "before reaching in."
    )
    body = [
        html.Div(head, id="cure-head"),
        columns,
        html.Div(sliders, style={"marginTop": "12px"}),
        next_row,
        caution,
        dcc.Store(id=ids.CURE_BOX, data={"name": known.box.name, "units": view.system}),
    ]
    return Page(parts.box_page(view, known.box.name, label(known), TAB, QUESTION, *body))


def _missing(view: View, known: Findings) -> Component:
    box = known.box
    wanted = [
        words
        for words, there in (
            ("its inside sizes or volume", box.inside_mm or box.volume_L),
            ("its vents", box.vents.count),
            ("its pump or its tank", box.pump or box.tank),
        )
        if not there
    ]
    button = parts.button("Describe it", parts.box_href(box.name, "/measurements"), dark=True)
    head = parts.head(QUESTION, "Cannot tell yet.", f"Missing: {wording.list_text(wanted)}.", acts=[button])
    picture = parts.paper(
        parts.drawn(section(box, min(view.inner - 34, 760), setup="formed-sheet", label="The box under a formed sheet"))
    )
    return parts.box_page(view, box.name, label(known), TAB, QUESTION, head, picture, parts.bar(button))


def leaks(known: Findings) -> tuple[Interval | None, Interval | None]:
    """Leak of the sheet edge and of the box itself, m2, as the tests have them."""
    paths = known.ranking.paths if known.ranking else ()
    edge = next((p.area_m2 for p in paths if p.path == "sheet-edge"), None)
    last = next(
        (
            t.result
            for t in reversed(known.trials)
            if t.result.setup != "formed-sheet" and not t.result.sealed and t.result.area_m2
        ),
        None,
    )
    return edge, last.area_m2 if last else None


def as_it_is(known: Findings, case: FormingCase) -> Settings:
    """The sliders' places for the box as it is."""
    edge, walls = leaks(known)
    count = known.box.vents.count or 1
    return {
        "edge": round(edge.value * 1e6, 2) if edge else 0.0,
        "walls": round(walls.value * 1e6, 2) if walls else 0.0,
        "tank": case.tank_m3 * 1000,
        "pump": case.pump_m3_s * 1000,
        "hose": round(sqrt(4 * case.hose_m2 / pi) * 1000, 1),
        "vents": float(count),
        "needs": NEEDS_PA / 1000,
        "set": SET_S,
    }


def case_with(known: Findings, s: Settings) -> FormingCase | None:
    """The forming case with the sliders' numbers; a pump's points are scaled with its speed."""
    case = case_of(known.box)
    if case is None:
        return None
    drill = known.box.vents.drill_mm / 1000
    points = case.pump_points
    if points and case.pump_m3_s > 0:
        points = tuple((p, q * s["pump"] / 1000 / case.pump_m3_s) for p, q in points)
    return replace(
        case,
        edge_leak_m2=s["edge"] * 1e-6,
        box_leak_m2=s["walls"] * 1e-6,
        tank_m3=s["tank"] / 1000,
        pump_m3_s=s["pump"] / 1000,
        pump_points=points,
        hose_m2=pi * (s["hose"] / 1000) ** 2 / 4,
        vents_m2=s["vents"] * pi * drill**2 / 4,
    )


def answered(known: Findings, s: Settings, view: View) -> tuple[Component, Component, Component]:
    """Heading, curve and cures for these settings."""
    case = case_with(known, s)
    if case is None:
        raise ValueError("the box does not describe a forming")
    edge, walls = leaks(known)
    found = judge_forming(
        case,
        s["needs"] * 1000,
        s["set"],
        edge if edge and abs(edge.value * 1e6 - s["edge"]) < 0.06 else None,
        walls if walls and abs(walls.value * 1e6 - s["walls"]) < 0.06 else None,
    )
    answer, lead = headline(found, view.system)
    head = parts.head(QUESTION, answer, lead)
    return head, _curve(case, found, s, view), _cures(found, view)


def headline(found: FormingAnswer, system: wording.System) -> tuple[str, str]:
    """Whether the box is to blame, and what would give most back."""
    answer, rest = two_parts(forming_sentence(found, system))
    return answer, " ".join(s for s in (rest, forming_lead(found, system)) if s)


def _curve(case: FormingCase, found: FormingAnswer, s: Settings, view: View) -> Component:
    width = view.inner if view.narrow else (view.inner - 20) * 0.649 - 34
    sealed = replace(case, edge_leak_m2=0.0, box_leak_m2=0.0)
    fig = figures_forming.forming_curve(
        case, sealed, found.needs_pa, s["set"], Scale(view.system, case.room_pa), width, 340 if view.narrow else 430
    )
    head = html.Div(
        [
            html.B("Pressure under the sheet, worked out"),
            html.Span(
                f"solid: as it is; dashed: leaks sealed; dotted: {'two tanks' if case.tank_m3 else 'with a tank'}; "
                "hatched: the leaks' cost",
                className="note",
            ),
        ],
        className="figure-head",
    )
    return parts.paper(
        head,
        parts.figure(parts.graph(fig, width=width), headline(found, view.system)[0]),
        class_name="flush" if view.narrow else "",
    )


def _cures(found: FormingAnswer, view: View) -> Component:
    width = view.inner if view.narrow else (view.inner - 20) * 0.351 - 34
    unit = wording.pressure_step_text(1.0, view.system).split("\u00a0")[-1]
    bars = figures_forming.cure_bars(
        found.cures, (found.short_pa, found.short_at_set_pa), view.system, width, "What each cure alone gives back"
    )
    rows = [
        (
            c.label,
            wording.pressure_step_text(c.while_detail_forms_pa.value, view.system),
            wording.pressure_step_text(c.when_set_pa.value, view.system),
        )
        for c in found.cures
    ]
    table = parts.as_table(("cure", "2 s after it lands", "when it has set"), rows)
    return parts.paper(
        html.H2(f"What each cure alone gives back, {unit}"),
        html.P("95 % interval. They overlap; do not add them up.", className="note"),
        parts.figure(
            parts.drawn(bars), "What each cure alone gives back", points=[": ".join(r) for r in rows], table=table
        ),
    )


def _slider(slider: Slider, value: float, system: System) -> Component:
    shown, unit = slider.measure.shown(value, system), slider.measure.unit_in(system)
    low, high, step = slider.inch if system == "inch" else slider.metric
    told = html.Span([html.B(shown, id=ids.cure(f"{slider.key}-shown")), f" {unit}"])
    control = dcc.Input(
        id=ids.cure(slider.key), type="range", min=low, max=max(high, float(shown)), step=step, value=float(shown)
    )
    return html.Div([html.Label([html.Span(slider.words_in(system)), told], htmlFor=ids.cure(slider.key)), control])


def settings_of(values: Sequence[float | str | None], kept: Settings, system: System) -> Settings:
    """The sliders' numbers as they stand on a page; one that was not moved is what the box has."""
    return {
        s.key: s.measure.read(f"{float(value or 0.0):g}", system, kept[s.key]) or 0.0
        for s, value in zip(SLIDERS, values, strict=True)
    }


def add_callbacks(app: Dash, shop: Shop) -> None:
    """Sliders move the curve and the bars."""
    keys = [s.key for s in SLIDERS]

    @app.callback(
        Output("cure-head", "children"),
        Output(ids.CURE_FIGURE, "children"),
        Output(ids.CURE_BACK, "children"),
        [Output(ids.cure(f"{k}-shown"), "children") for k in keys],
        [Input(ids.cure(k), "value") for k in keys],
        State(ids.CURE_BOX, "data"),
        State(ids.VIEW, "data"),
        prevent_initial_call=True,
    )
    def follow(*given: Any) -> Any:
        *values, asked, data = given
        known = shop.findings(asked["name"], wait_s=None)
        case = None if known is None else case_of(known.box)
        if known is None or case is None:
            return no_update
        system: System = "inch" if asked["units"] == "inch" else "metric"
        settings = settings_of(values, as_it_is(known, case), system)
        shown = [s.measure.shown(settings[s.key], system) for s in SLIDERS]
        return *answered(known, settings, read_view(data)), *shown
