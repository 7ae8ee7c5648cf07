"""Measurements: what is this box, and will its top stand it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import dash_bootstrap_components as dbc
from dash import Dash, Input, Output, State, dcc, html, no_update
from dash.development.base_component import Component

from acquisition.boxfile import check_box_name
from acquisition.errors import BoxholdError
from acquisition.records import Box
from analysis import wording
from analysis.limit import limit_for, workmanship_mark_m2
from analysis.numberwords import volume_text
from analysis.panels import TopCheck, box_volume, check_top
from analysis.topwords import top_answer, top_load_text
from analysis.wording import System
from dashboard import ids, parts, tops
from dashboard.areas import area_unit
from dashboard.boxform import FIELDS, NEW_BOX, Field, box_with, read_fields, values_of
from dashboard.cautions import top_caution
from dashboard.figures_box import sized_section
from dashboard.pages.common import Page, label
from dashboard.plan import plan
from dashboard.shop import Findings, Shop
from dashboard.view import View, read_view

QUESTION = "What is this box, and will its top stand it?"
TAB = "Measurements"
Form = Mapping[str, str]
"""Whose form it is, empty for a new box, and the units it stands in."""


def page(shop: Shop, view: View, known: Findings) -> Page:
    """Measurements of a box that is there."""
    body = _form(view, known.box, new=False)
    return Page(parts.box_page(view, known.box.name, label(known), TAB, QUESTION, *body, parts.bar(_keep_again())))


def new_page(shop: Shop, view: View) -> Page:
    """A new box."""
    return Page(html.Main([*_form(view, NEW_BOX[view.system], new=True), parts.bar(_keep_again())]))


def _keep_again() -> Component:
    return html.A("To the measures", href="#measures", className="button dark")


def _caution(box: Box, system: System) -> Component:
    """What to mind before this box is pumped down."""
    load = top_load_text(box, system)
    carries = f"The top carries {load}. " if load else ""
    why = top_caution(box, system) or "Its maker says what vacuum it stands."
    return parts.caution(carries, why)


def _form(view: View, box: Box, new: bool) -> list[Component]:
    values = values_of(box)
    rows = [_field(f, view.system, values[f.key]) for f in FIELDS]
    name = (
        [
            html.Div(
                [
                    html.Label("Name on its plate", htmlFor=ids.measure("name")),
                    dcc.Input(id=ids.measure("name"), type="text", maxLength=40, style={"width": "150px"}),
                ],
                className="field",
            )
        ]
        if new
        else []
    )
    wood = html.Div(
        [
            html.Label("Inside of the wood", htmlFor=ids.measure("wood")),
            dbc.Select(
                id=ids.measure("wood"),
                value=box.wood or "bare",
                options=[{"label": w, "value": w} for w in ("bare", "coated", "none")],
            ),
        ],
        className="field",
    )
    keep = parts.button("Keep these measures", dark=True, id=ids.MEASURE_KEEP, whole=True)
    form = parts.paper(
        *name,
        *rows,
        wood,
        html.P("", id=ids.MEASURE_SAID, className="error", role="status"),
        keep,
        dcc.Store(id=ids.MEASURE_BOX, data={"name": box.name, "units": view.system}),
        id="measures",
    )
    head, picture, caution = drawn_page(box, view)
    drawing = html.Div(picture, id=ids.MEASURE_DRAWING, className="stays")
    order = [drawing, form] if view.narrow else [form, drawing]
    return [
        html.Div(head, id=ids.MEASURE_HEAD),
        parts.split("480px minmax(0,1fr)", *order, class_name="wide"),
        html.Div(caution, id=ids.MEASURE_CAUTION),
    ]


def _field(field: Field, system: System, value: float | None) -> Component:
    control = dcc.Input(
        id=ids.measure(field.key),
        type="text",
        value=field.measure.shown(value, system),
        debounce=0.3,
        inputMode="numeric" if system == "metric" else "verbatim",  # inches want a key for 3/4
    )
    unit = html.Span(field.measure.unit_in(system), style={"width": "36px"})
    return html.Div([html.Label(field.words_in(system), htmlFor=ids.measure(field.key)), control, unit],
                    className="field")  # fmt: skip


def drawn_page(box: Box, view: View) -> tuple[Component, list[Component], Component]:
    """Heading, drawing and caution for these measures."""
    check = check_top(box)
    width = view.inner if view.narrow else view.inner - 500 - 34
    said, lead = top_answer(box, check, view.system)
    pictures = parts.paper(
        parts.drawn(sized_section(box, width, view.system)),
        *([] if view.narrow else [_plan_and_facts(box, width, view.system)]),
    )
    tops_drawn = [] if box.wood == "none" else [_tops(box, check, width, view.system)]
    return parts.head(QUESTION, said, lead), [parts.side(pictures, *tops_drawn)], _caution(box, view.system)


def _plan_and_facts(box: Box, width: float, system: System) -> Component:
    return html.Div([parts.drawn(plan(box, width * 0.5, tallest=210)), _facts(box, system)],
                    className="plan-and-facts")  # fmt: skip


def _tops(box: Box, check: TopCheck, width: float, system: System) -> Component:
    more = check.baffles_more if check.baffles_more and sum(check.baffles_more) else None
    count = (
        f"{box.baffles.count_x + box.baffles.count_y} "
        f"baffle{'s' if box.baffles.count_x + box.baffles.count_y != 1 else ''}"
    )
    each = width if width < 620 or more is None else (width - 20) / 2
    pictures = [parts.drawn(tops.top_picture(box, check, min(each, 460), f"As it is, {count}", system=system))]
    if more is not None:
        mended = check_top(box, extra_x=more[0], extra_y=more[1])
        title = f"With {sum(more)} more"
        pictures.append(parts.drawn(tops.top_picture(box, mended, min(each, 460), title, more[0], system)))
    utmost = wording.size_text(2.0, system)
    head = html.Div(
        [
            html.H2("The top under vacuum, bow ten times too large"),
            html.Span(f"utmost {utmost}, and a quarter of the board's low strength", className="note"),
        ],
        className="figure-head",
    )
    return parts.paper(head, html.Div(pictures, className="tops"))


def _facts(box: Box, system: System) -> Component:
    volume, limit, unit = box_volume(box), limit_for(box), area_unit(system)
    rows: list[tuple[str, str, Any]] = []
    if volume is not None:
        ends = [1000.0 * (volume.value + k * volume.u) for k in (0.0, -1.96, 1.96)]
        told, low, high = (volume_text(litres, system) for litres in ends)
        mark = unit.number(workmanship_mark_m2(volume.value))
        rows.append(("volume, with hose", told, f"{low.split(wording.NBSP)[0]} to {high.split(wording.NBSP)[0]}"))
        rows.append(("1 inHg in 5 min", f"{mark} {unit.words}", "bag trade's mark"))
    if limit is not None:
        source = "from the pump" if limit.source == "pump" else "from its parts"
        like = f"{source}; like {wording.hole_text(limit.area_m2, system)} drilled"
        rows.append(("limit", f"{unit.number(limit.area_m2)} {unit.words}", like))
    else:
        rows.append(("limit", "none yet", "give the pump"))
    return parts.numbers(rows)


def add_callbacks(app: Dash, shop: Shop) -> None:
    """The drawing follows the numbers; keeping writes the box file."""
    numbers = [Input(ids.measure(f.key), "value") for f in FIELDS]
    wood = Input(ids.measure("wood"), "value")

    @app.callback(
        Output(ids.MEASURE_HEAD, "children"),
        Output(ids.MEASURE_DRAWING, "children"),
        Output(ids.MEASURE_CAUTION, "children"),
        numbers,
        wood,
        State(ids.MEASURE_BOX, "data"),
        State(ids.VIEW, "data"),
        prevent_initial_call=True,
    )
    def follow(*given: Any) -> Any:
        *texts, kind, form, data = given
        return drawn_page(_asked(shop, form, texts, kind)[0], read_view(data))

    states = [State(ids.measure(f.key), "value") for f in FIELDS]

    @app.callback(
        Output(ids.MEASURE_SAID, "children"),
        Input(ids.MEASURE_KEEP, "n_clicks"),
        states,
        State(ids.measure("wood"), "value"),
        State(ids.MEASURE_BOX, "data"),
        State(ids.measure("name"), "value", allow_optional=True),
        prevent_initial_call=True,
    )
    def keep(clicks: int | None, *given: Any) -> Any:
        *texts, kind, form, new_name = given
        return kept(shop, form, texts, kind, new_name) if clicks else no_update


def _asked(shop: Shop, form: Form, texts: list[Any], wood: str) -> tuple[Box, tuple[str, ...]]:
    """The box that the form describes, and what cannot be read of it; the form says whose it is and in which units."""
    known = shop.findings(form["name"], wait_s=None) if form["name"] else None
    system: System = "inch" if form["units"] == "inch" else "metric"
    before = known.box if known else NEW_BOX[system]
    values, troubles = read_fields(before, texts, system)
    return replace(box_with(before, values), wood=wood), troubles  # type: ignore[arg-type]


def kept(shop: Shop, form: Form, texts: list[Any], wood: str, new_name: str | None) -> str:
    """Write the box file; what to say about it."""
    try:
        box, troubles = _asked(shop, form, texts, wood)
        if troubles:
            return f"Not kept. {' '.join(troubles)}"
        if not form["name"]:
            named = check_box_name((new_name or "").strip())
            if named in shop.names():
                return f"There is a box {named} already; choose another name."
            box = replace(box, name=named)
        shop.archive.write_box(box)
    except BoxholdError as trouble:
        return str(trouble)
    return f"Kept. {box.name} is worked out again with these measures."
