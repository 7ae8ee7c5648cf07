"""Measurements: what is this box, and will its top stand it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import dash_bootstrap_components as dbc
from dash import Dash, Input, Output, State, dcc, html, no_update
from dash.development.base_component import Component

from acquisition.boxfile import check_box_name
from acquisition.errors import BoxholdError
from acquisition.records import Box, Pump, Tank, Uncertain
from analysis import wording
from analysis.limit import limit_for, workmanship_mark_m2
from analysis.panels import TopCheck, box_volume, check_top
from dashboard import ids, parts, tops
from dashboard.cautions import top_forbidden
from dashboard.figures_box import sized_section
from dashboard.pages.common import Page, label
from dashboard.plan import plan
from dashboard.shop import Findings, Shop
from dashboard.view import View

QUESTION = "What is this box, and will its top stand it?"
TAB = "Measurements"
FIELDS: tuple[tuple[str, str, str], ...] = (
    ("length", "Inside length", "mm"),
    ("width", "Inside width", "mm"),
    ("height", "Inside height", "mm"),
    ("board", "Board", "mm"),
    ("across", "Baffles across the length", ""),
    ("along", "Baffles along the length", ""),
    ("proud", "Lip stands proud, 0 for a bare edge", "mm"),
    ("vents", "Vents, how many", ""),
    ("drill", "Vents, drill", "mm"),
    ("pitch", "Vents, pitch", "mm"),
    ("bore", "Port bore", "mm"),
    ("line", "Hose to the valve", "L"),
    ("measured", "Measured volume, empty for none", "L"),
    ("working", "Working pressure", "kPa"),
    ("pump", "Pump", "L/s"),
    ("ultimate", "Pump gets down to", "kPa"),
    ("tank", "Tank, empty for none", "L"),
)
NEW_BOX = Box("", (600.0, 400.0, 110.0), "coated", 18.0)
Values = dict[str, float | None]


def page(shop: Shop, view: View, known: Findings) -> Page:
    """Measurements of a box that is there."""
    body = _form(view, known.box, new=False)
    ends = (_caution(known.box), parts.bar(_keep_again()))
    return Page(parts.box_page(view, known.box.name, label(known), TAB, QUESTION, *body, *ends))


def new_page(shop: Shop, view: View) -> Page:
    """A new box."""
    return Page(html.Main([*_form(view, NEW_BOX, new=True), _first_pull(NEW_BOX)]))


def _keep_again() -> Component:
    return html.A("To the measures", href="#measures", className="button dark")


def values_of(box: Box) -> Values:
    """The numbers of the form."""
    length, width, height = box.inside_mm or (None, None, None)
    return {
        "length": length,
        "width": width,
        "height": height,
        "board": box.board_mm,
        "across": box.baffles.count_x,
        "along": box.baffles.count_y,
        "proud": box.rim.proud_mm if box.rim.lip == "steel" else 0.0,
        "vents": box.vents.count,
        "drill": box.vents.drill_mm,
        "pitch": box.vents.pitch_mm,
        "bore": box.port.bore_mm,
        "line": box.line_volume_L.value if box.line_volume_L else None,
        "measured": box.volume_L.value if box.volume_L else None,
        "working": box.working_kPa,
        "pump": box.pump.speed_L_s if box.pump else None,
        "ultimate": box.pump.ultimate_kPa if box.pump else None,
        "tank": box.tank.volume_L if box.tank else None,
    }


def box_with(box: Box, v: Values) -> Box:
    """The box with the form's numbers; what the form does not show stays."""
    sizes = (v["length"], v["width"], v["height"])
    inside = (sizes[0], sizes[1], sizes[2]) if sizes[0] and sizes[1] and sizes[2] else None
    proud = v["proud"] or 0.0
    pump = box.pump
    if v["pump"] is not None:
        pump = replace(pump or Pump(), speed_L_s=v["pump"], ultimate_kPa=v["ultimate"] or 0.0)
    tank = None if v["tank"] is None else replace(box.tank or Tank(v["tank"]), volume_L=v["tank"])
    return replace(
        box,
        inside_mm=inside,
        board_mm=v["board"],
        baffles=replace(box.baffles, count_x=_whole(v["across"]), count_y=_whole(v["along"])),
        rim=replace(box.rim, lip="steel" if proud > 0 else "none", proud_mm=proud),
        vents=replace(box.vents, count=_whole(v["vents"]), drill_mm=v["drill"] or 1.0, pitch_mm=v["pitch"] or 25.0),
        port=replace(box.port, bore_mm=v["bore"] or 25.0),
        line_volume_L=_volume(v["line"], box.line_volume_L),
        volume_L=_volume(v["measured"], box.volume_L),
        working_kPa=v["working"],
        pump=pump,
        tank=tank,
    )


def _whole(value: float | None) -> int:
    return max(0, min(400, int(value or 0)))


def _volume(value: float | None, old: Uncertain | None) -> Uncertain | None:
    """A volume as written; one that did not change keeps its uncertainty, a new one counts as 5 %."""
    if value is None:
        return None
    return old if old is not None and old.value == value else Uncertain(value, 0.05 * value)


def answer(check: TopCheck, board_mm: float | None) -> tuple[str, str]:
    """Yes or no with the span, and the load and bow under it."""
    if check.bay is None or check.verdict == "unknown":
        return (
            "Cannot tell: the inside sizes or the board are missing.",
            "Give length, width, height and the board's thickness.",
        )
    span, may = round(check.bay.span_m * 1000), round(check.may_span_m * 1000)
    article = "an" if f"{board_mm:g}".startswith(("8", "11", "18")) else "a"
    board = f"{article} {board_mm:g} mm board"
    load = "" if check.load_tonnes is None else f"At 80 kPa it carries {wording.two_figures(check.load_tonnes)} tonnes"
    bow = "" if check.bow_m is None else f" and bows {wording.interval_text(check.bow_m.scaled(1000), 'mm')}"
    more = _more_words(check)
    if check.verdict == "may be tested":
        return f"Yes, in steps. Its top spans {span} mm; {board} may span {may}.", f"{load}{bow}."
    if check.verdict == "warned":
        return f"With care. Its top spans {span} mm; {board} may span {may}.", f"{load}{bow}. {more}"
    return f"No. Its top spans {span} mm; {board} may span {may}.", f"{load}{bow}. {more}"


def _more_words(check: TopCheck) -> str:
    if not check.baffles_more or sum(check.baffles_more) == 0:
        return ""
    across, along = check.baffles_more
    where = " and ".join(
        w for w, n in ((f"{across} more across the length", across), (f"{along} more along it", along)) if n
    )
    return f"Baffles that mend it: {where}."


def _caution(box: Box) -> Component:
    """What to mind before this box is pumped down."""
    why = top_forbidden(box)
    return parts.caution(_load(box), why) if why else _first_pull(box)


def _first_pull(box: Box) -> Component:
    return parts.caution(
        f"{_load(box)}First pull in steps of ",
        html.B("25, 50, 80 kPa"),
        ", a minute each, nobody over it. Creaking: let air in.",
    )


def _load(box: Box) -> str:
    tonnes = check_top(box).load_tonnes
    return "" if tonnes is None else f"The top carries {wording.two_figures(tonnes)} tonnes at 80 kPa. "


def _form(view: View, box: Box, new: bool) -> list[Component]:
    values = values_of(box)
    rows = [_field(key, words, unit, values[key]) for key, words, unit in FIELDS]
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
        dcc.Store(id=ids.MEASURE_BOX, data=box.name),
        id="measures",
    )
    head, picture = drawn_page(box, view)
    drawing = html.Div(picture, id=ids.MEASURE_DRAWING, className="stays")
    order = [drawing, form] if view.narrow else [form, drawing]
    return [html.Div(head, id=ids.MEASURE_HEAD), parts.split("480px minmax(0,1fr)", *order, class_name="wide")]


def _field(key: str, words: str, unit: str, value: float | None) -> Component:
    control = dcc.Input(
        id=ids.measure(key), type="text", inputMode="numeric", value="" if value is None else f"{value:g}", debounce=0.3
    )
    return html.Div(
        [html.Label(words, htmlFor=ids.measure(key)), control, html.Span(unit, style={"width": "36px"})],
        className="field",
    )


def drawn_page(box: Box, view: View) -> tuple[Component, list[Component]]:
    """Heading and drawing for these measures."""
    check = check_top(box)
    width = view.inner if view.narrow else view.inner - 500 - 34
    said, lead = answer(check, box.board_mm)
    pictures = parts.paper(
        parts.drawn(sized_section(box, width)),
        *(
            []
            if view.narrow
            else [html.Div([parts.drawn(plan(box, width * 0.5, tallest=210)), _facts(box)], className="plan-and-facts")]
        ),
    )
    return parts.head(QUESTION, said, lead), [parts.side(pictures, _tops(box, check, width))]


def _tops(box: Box, check: TopCheck, width: float) -> Component:
    more = check.baffles_more if check.baffles_more and sum(check.baffles_more) else None
    count = (
        f"{box.baffles.count_x + box.baffles.count_y} "
        f"baffle{'s' if box.baffles.count_x + box.baffles.count_y != 1 else ''}"
    )
    each = width if width < 620 or more is None else (width - 20) / 2
    pictures = [parts.drawn(tops.top_picture(box, check, min(each, 460), f"As it is, {count}"))]
    if more is not None:
        mended = check_top(box, extra_x=more[0], extra_y=more[1])
        pictures.append(parts.drawn(tops.top_picture(box, mended, min(each, 460), f"With {sum(more)} more", more[0])))
    head = html.Div(
        [
            html.H2("The top under vacuum, bow ten times too large"),
            html.Span("utmost 2 mm, and a quarter of the board's low strength", className="note"),
        ],
        className="figure-head",
    )
    return parts.paper(head, html.Div(pictures, className="tops"))


def _facts(box: Box) -> Component:
    volume, limit = box_volume(box), limit_for(box)
    rows: list[tuple[str, str, Any]] = []
    if volume is not None:
        rows.append(
            (
                "volume, with hose",
                f"{volume.value * 1000:.1f} L",
                f"{(volume.value - 1.96 * volume.u) * 1000:.1f} to {(volume.value + 1.96 * volume.u) * 1000:.1f}",
            )
        )
        rows.append(
            ("1 inHg in 5 min", f"{wording.area_number(workmanship_mark_m2(volume.value))} mm²", "bag trade's mark")
        )
    if limit is not None:
        source = "from the pump" if limit.source == "pump" else "from its parts"
        rows.append(
            (
                "limit",
                f"{wording.area_number(limit.area_m2)} mm²",
                f"{source}; like {wording.hole_text(limit.area_m2, 'metric')} drilled",
            )
        )
    else:
        rows.append(("limit", "none yet", "give the pump"))
    return parts.numbers(rows)


def add_callbacks(app: Dash, shop: Shop) -> None:
    """The drawing follows the numbers; keeping writes the box file."""
    numbers = [Input(ids.measure(key), "value") for key, _, _ in FIELDS]
    wood = Input(ids.measure("wood"), "value")

    @app.callback(
        Output(ids.MEASURE_HEAD, "children"),
        Output(ids.MEASURE_DRAWING, "children"),
        numbers,
        wood,
        State(ids.MEASURE_BOX, "data"),
        State(ids.VIEW, "data"),
        prevent_initial_call=True,
    )
    def follow(*given: Any) -> Any:
        *values, kind, name, data = given
        from dashboard.view import read_view

        return drawn_page(_asked(shop, name, values, kind), read_view(data))

    states = [State(ids.measure(key), "value") for key, _, _ in FIELDS]

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
        *values, kind, name, new_name = given
        return kept(shop, name, values, kind, new_name) if clicks else no_update


def _asked(shop: Shop, name: str, values: list[Any], wood: str) -> Box:
    known = shop.findings(name, wait_s=None) if name else None
    box = box_with(
        known.box if known else NEW_BOX, {key: _number(v) for (key, _, _), v in zip(FIELDS, values, strict=True)}
    )
    return replace(box, wood=wood)  # type: ignore[arg-type]


def _number(value: Any) -> float | None:
    try:
        number = float(str(value).strip().replace(",", "."))
    except ValueError:
        return None
    return number if 0 <= number < 1e6 else None


def kept(shop: Shop, name: str, values: list[Any], wood: str, new_name: str | None) -> str:
    """Write the box file; what to say about it."""
    try:
        box = _asked(shop, name, values, wood)
        if not name:
            named = check_box_name((new_name or "").strip())
            if named in shop.names():
                return f"There is a box {named} already; choose another name."
            box = replace(box, name=named)
        shop.archive.write_box(box)
    except BoxholdError as trouble:
        return str(trouble)
    return f"Kept. {box.name} is worked out again with these measures."
