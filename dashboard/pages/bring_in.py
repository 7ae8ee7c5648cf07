"""Bring in a log: what do these columns mean."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import dash_bootstrap_components as dbc
from dash import Dash, Input, Output, State, dcc, html, no_update
from dash.development.base_component import Component
from flask import Flask, jsonify, request

from acquisition.errors import BoxholdError
from acquisition.importing import ImportMapping, convert, guess_mapping
from acquisition.importsheet import file_lines
from acquisition.logfile import read_log_bytes
from acquisition.records import Log
from acquisition.setups import SETUPS
from acquisition.units import PA_PER, parse_gauge_unit
from analysis import wording
from analysis.results import Assessment
from dashboard import ids, parts
from dashboard.inbox import BroughtIn
from dashboard.pages.common import Page, setup_words, two_parts, when
from dashboard.pages.one_test import curve_and_numbers
from dashboard.shop import Findings, Shop
from dashboard.view import View

QUESTION = "What do these columns mean?"
MOST_MB = 25
DROP = (
    '<label class="drop"><input type="file" class="out-of-sight" data-does="bring-in" '
    'accept=".csv,.txt,.tsv,.log,text/*" aria-describedby="drop-note">'
    '<b>Drop a file here</b>, or press to choose one.<br><span class="second" id="drop-note">Nothing leaves this '
    "computer. Up to 25 MB.</span></label>"
)


def page(shop: Shop, view: View) -> Page:
    """The drop place; with a file brought in, what it says."""
    key = view.query.get("file", "")
    if not key:
        return Page(
            html.Main(
                _drop(
                    "Drop a file here; nothing leaves this computer.",
                    "A Boxhold log is read at once. Of any other table the columns, units and what "
                    "the gauge counts from are guessed, shown and confirmed by you.",
                )
            )
        )
    found = shop.inbox.get(key)
    if found is None:
        return Page(html.Main(_drop("That file is no longer here. Drop it again.", "")))
    try:
        log = read_log_bytes(found.data, Path(found.name)) if found.is_log else _converted(found, view)
        if log is None:
            return Page(_mapping_page(found, key, view, shop))
        return _log_page(shop, view, key, found, log)
    except BoxholdError as trouble:
        return Page(html.Main([*_drop("This file cannot be read as it is.", str(trouble))]))


def _drop(answer: str, lead: str) -> list[Component]:
    place = html.Div(**parts.wild({"data-svg": DROP}))
    return [
        parts.head(QUESTION, answer, lead),
        place,
        html.P("", id=ids.UPLOAD_ERROR, className="error", role="status"),
        parts.paper(
            html.H2("From the command line"),
            html.P("boxhold import files many logs at once, with the same guesses and the same questions."),
            class_name="no-print",
        ),
    ]


def _converted(found: BroughtIn, view: View) -> Log | None:
    """The log of another logger's file once unit and reference were confirmed in the address, else None."""
    q = view.query
    if not (q.get("unit") and q.get("counts")):
        return None
    mapping = guess_mapping(found.data, Path(found.name))
    column = int(q["column"]) if q.get("column", "").isdigit() else mapping.pressure_column
    every = float(q["every"]) if q.get("every", "").replace(".", "", 1).isdigit() else mapping.interval_s
    gauge = parse_gauge_unit(f"{q['counts']} {q['unit']}")
    chosen = replace(
        mapping, pressure_column=column, unit=gauge.unit, reference=gauge.reference, interval_s=every, confirmed=True
    )
    header = {k: v for k, v in (("box", q.get("box", "")), ("setup", q.get("setup", ""))) if v}
    return convert(found.data, chosen, header, Path(found.name))


def _mapping_page(found: BroughtIn, key: str, view: View, shop: Shop) -> Component:
    mapping = guess_mapping(found.data, Path(found.name))
    lines = file_lines(found.data, Path(found.name))[:10]
    unit = mapping.unit or "the unit is not named"
    answer = f"Pressure in '{parts.short_name(_name(mapping, mapping.pressure_column))}', {unit}? Confirm it below."
    confirm = parts.button("Read it so", dark=True, id=ids.UPLOAD_SAID)
    doubts = (
        [parts.paper(html.H2("To settle first"), html.Ul([html.Li(d) for d in mapping.doubts]))]
        if mapping.doubts
        else []
    )
    form = parts.paper(
        *_fields(mapping, shop), html.Div(confirm, className="next"), dcc.Store(id="upload-key", data=key)
    )
    first = parts.paper(html.H2("First ten lines"), html.Pre("\n".join(line[:160] for line in lines), tabIndex="0"))
    return html.Main(
        [
            parts.head(QUESTION, answer, found.name),
            parts.split("1fr 1fr", parts.side(form, *doubts), first, class_name="wide"),
        ]
    )


def _name(mapping: ImportMapping, column: int | None) -> str:
    return (
        "rows counted"
        if column is None
        else (mapping.names[column] if column < len(mapping.names) else f"column {column + 1}")
    )


def _fields(mapping: ImportMapping, shop: Shop) -> list[Component]:
    why = mapping.reasons
    columns = [{"label": g.name or f"column {g.column + 1}", "value": str(g.column)} for g in mapping.pressures]
    units = [{"label": "say which", "value": ids.NOTHING}, *({"label": u, "value": u} for u in PA_PER)]
    counts = [
        {"label": "say what from", "value": ids.NOTHING},
        {"label": "absolute: from nothing", "value": "absolute"},
        {"label": "vacuum: from the room down", "value": "vacuum"},
        {"label": "gauge: from the room, negative", "value": "gauge"},
    ]
    boxes = [{"label": "not said", "value": ids.NOTHING}, *({"label": n, "value": n} for n in shop.names())]
    setups = [
        {"label": "not said", "value": ids.NOTHING},
        *({"label": s.label, "value": s.name} for s in SETUPS.values()),
    ]
    return [
        html.Div(
            [
                html.Span(["Time", html.Small(why.get("time_column", ""))], className="label"),
                html.B(_name(mapping, mapping.time_column)),
            ],
            className="field",
        ),
        _select("Pressure", "upload-column", columns, str(mapping.pressure_column), why.get("pressure_column", "")),
        _select("Unit", "upload-unit", units, mapping.unit or ids.NOTHING, why.get("unit", "")),
        _select("Counts from", "upload-counts", counts, mapping.reference or ids.NOTHING, why.get("reference", "")),
        html.Div(
            [
                html.Label(
                    ["Seconds between rows", html.Small("only where the file has no clock")], htmlFor="upload-every"
                ),
                dcc.Input(
                    id="upload-every",
                    type="text",
                    inputMode="numeric",
                    value=f"{mapping.interval_s:g}" if mapping.interval_s else "",
                ),
            ],
            className="field",
        ),
        _select("Box", "upload-box", boxes, ids.NOTHING, ""),
        _select("Setup", "upload-setup", setups, ids.NOTHING, ""),
    ]


def _select(words: str, for_id: str, options: list[dict[str, str]], value: str, why: str) -> Component:
    named: Any = [words, html.Small(why)] if why else words
    return html.Div(
        [html.Label(named, htmlFor=for_id), dbc.Select(id=for_id, options=options, value=value)], className="field"
    )


def _log_page(shop: Shop, view: View, key: str, found: BroughtIn, log: Log) -> Page:
    result = shop.assess_once(f"{key}?{urlencode(dict(view.query))}", log)
    if result is None:
        return Page(html.Main([parts.head(QUESTION, "Working out this test.", found.name)]), working=True)
    known = _known(shop, log)
    answer, rest = two_parts(wording.answer_sentence(result, view.system))
    question = f"Is this box tight enough? {found.name}: {when(result.started)}, {setup_words(result)}"
    head = parts.head(
        question,
        answer,
        " ".join(s for s in (rest, wording.lead_sentence(result, view.system)) if s),
        verdict=result.verdict,
    )
    return Page(
        html.Main(
            [
                head,
                *curve_and_numbers(known, result, view),
                _keep(shop, log, result, key),
                parts.bar(_keep_button(log, shop)),
            ]
        )
    )


def _known(shop: Shop, log: Log) -> Findings:
    from acquisition.records import Box

    known = shop.findings(log.header.box, wait_s=None) if log.header.box in shop.names() else None
    return known or Findings(Box(log.header.box or "the box"))


def _keep_button(log: Log, shop: Shop) -> Component:
    return html.A("Keep the log", href="#keep", className="button dark")


def _keep(shop: Shop, log: Log, result: Assessment, key: str) -> Component:
    box = log.header.box
    if box is None:
        words: list[Any] = [html.P("The log names no box, so it is shown and not kept. Name its box to keep it.")]
    else:
        where = (
            f"under {box}" if box in shop.names() else f"under {box}, a new box whose measures are still to be given"
        )
        words = [
            html.P(f"Keeping puts a copy {where}; the file you dropped is left as it is."),
            parts.button("Keep the log", dark=True, id="keep-log"),
        ]
    return html.Div(
        [*words, html.P("", id="keep-said", className="error", role="status"), dcc.Store(id="keep-key", data=key)],
        className="next",
        id="keep",
    )


def add_callbacks(app: Dash, shop: Shop) -> None:
    """Take files in, read them as confirmed, file them."""
    server: Flask = app.server

    @server.post("/api/log")
    def bring_in() -> Any:
        file = request.files.get("file")
        if file is None:
            return jsonify(error="No file came with that; drop it again.")
        data = file.read()
        if len(data) > MOST_MB * 1_000_000:
            return jsonify(
                error=f"{file.filename} is larger than {MOST_MB} MB; cut it, or bring it in with boxhold import."
            )
        return jsonify(go=f"/log?file={shop.inbox.put(file.filename or 'the file', data)}")

    names = ("column", "unit", "counts", "every", "box", "setup")

    @app.callback(
        Output(ids.URL, "search"),
        Input(ids.UPLOAD_SAID, "n_clicks"),
        State("upload-key", "data"),
        [State(f"upload-{n}", "value") for n in names],
        prevent_initial_call=True,
    )
    def read_it_so(clicks: int | None, key: str, *values: Any) -> Any:
        if not clicks:
            return no_update
        said = {n: str(v) for n, v in zip(names, values, strict=True) if v not in (None, "", ids.NOTHING)}
        return "?" + urlencode({"file": key, **said})

    @app.callback(
        Output("keep-said", "children"),
        Input("keep-log", "n_clicks"),
        State("keep-key", "data"),
        State(ids.VIEW, "data"),
        prevent_initial_call=True,
    )
    def keep(clicks: int | None, key: str, data: dict[str, Any]) -> Any:
        from dashboard.view import read_view

        return kept(shop, key, read_view(data)) if clicks else no_update


def kept(shop: Shop, key: str, view: View) -> str:
    """File the log that was brought in; what to say about it."""
    found = shop.inbox.get(key)
    if found is None:
        return "That file is no longer here. Drop it again."
    try:
        log = read_log_bytes(found.data, Path(found.name)) if found.is_log else _converted(found, view)
        if log is None:
            return "Say the unit and what the gauge counts from first."
        path = shop.archive.file_log(log, source=found.data if found.is_log else None)
    except BoxholdError as trouble:
        return str(trouble)
    return f"Kept as {path.name} under {log.header.box}."
