"""Write down what was done to a box: a repair, a change, a remark."""

from __future__ import annotations

from typing import Any, Literal, cast, get_args

import dash_bootstrap_components as dbc
from dash import Dash, Input, Output, State, dcc, html, no_update

from acquisition.errors import BoxholdError
from acquisition.events import DAY_SIGNS, SAME_DAY, check_event, check_not_ahead
from acquisition.records import Event
from acquisition.setups import PATHS
from analysis import wording
from dashboard import ids, parts
from dashboard.pages.common import Page, label
from dashboard.shop import Findings, Shop
from dashboard.view import View

QUESTION = "What was done?"
Kind = Literal["repair", "change", "remark"]
_ANSWERS = {
    "repair": "A repair: what, where and when.",
    "change": "A change: what, where and when.",
    "remark": "A remark: what was noticed, and when.",
}


def page(shop: Shop, view: View, known: Findings) -> Page:
    """The form; the kind and the place come with the address."""
    kind = view.query.get("kind", "repair")
    kind = kind if kind in get_args(Kind) else "repair"
    path = view.query.get("path", "")
    keep = parts.button("Keep it", dark=True, id=ids.EVENT_KEEP)
    form = parts.paper(
        _field(
            "When",
            ids.EVENT_DATE,
            dcc.Input(id=ids.EVENT_DATE, type="text", value=shop.today().isoformat(), style={"width": "150px"}),
            "year-month-day",
        ),
        _field(
            "What it is",
            ids.EVENT_KIND,
            dbc.Select(id=ids.EVENT_KIND, value=kind, options=[{"label": k, "value": k} for k in get_args(Kind)]),
        ),
        _field(
            "Where",
            ids.EVENT_PATH,
            dbc.Select(id=ids.EVENT_PATH, value=path if path in PATHS else ids.NOTHING, options=_places()),
        ),
        _field(
            "In your words",
            ids.EVENT_TEXT,
            dcc.Input(
                id=ids.EVENT_TEXT,
                type="text",
                value=_remark(view),
                maxLength=400,
                style={"width": "min(520px,60vw)", "textAlign": "left"},
            ),
        ),
        html.P("", id=ids.EVENT_SAID, className="error", role="status"),
        html.Div(keep, className="next"),
        dcc.Store(id=ids.EVENT_BOX, data=known.box.name),
        class_name="form",
    )
    caution = (
        [parts.caution("Silicone must cure before the next pull, a day or more. Air the room.")]
        if kind == "repair"
        else []
    )
    head = parts.head(QUESTION, _ANSWERS[kind])
    return Page(parts.box_page(view, known.box.name, label(known), "Months", QUESTION, head, form, *caution))


def _remark(view: View) -> str:
    return f"test {view.query['test']}: " if view.query.get("test") else ""


def _places() -> list[dict[str, str]]:
    parts_of = [(f"panel-edges/{s}", wording.path_name(f"panel-edges/{s}")) for s in ("front", "back", "left", "right")]
    return [
        {"label": "no place in particular", "value": ids.NOTHING},
        *({"label": p.label, "value": p.name} for p in PATHS.values()),
        *({"label": words, "value": name} for name, words in parts_of),
    ]


def _field(words: str, for_id: str, control: Any, note: str = "") -> html.Div:
    return html.Div(
        [html.Label([words, html.Small(note)] if note else words, htmlFor=for_id), control], className="field"
    )


def kept(shop: Shop, name: str, day: str, kind: str, path: str, text: str) -> str:
    """Write the event; what to say about it."""
    if not (text or "").strip():
        return "Nothing was written yet: say in a few words what was done."
    event = Event((day or "").strip(), "" if path == ids.NOTHING else path or "", cast(Kind, kind), text.strip())
    try:
        shop.archive.add_event(name, check_not_ahead(check_event(event), shop.today()))
    except BoxholdError as trouble:
        return str(trouble)
    told = "Kept. It stands on the page Months as soon as the box is worked out again."
    return f"{told} {SAME_DAY}" if kind == "repair" and len(event.date) <= DAY_SIGNS else told


def add_callbacks(app: Dash, shop: Shop) -> None:
    """Keep an event."""

    @app.callback(
        Output(ids.EVENT_SAID, "children"),
        Input(ids.EVENT_KEEP, "n_clicks"),
        State(ids.EVENT_BOX, "data"),
        State(ids.EVENT_DATE, "value"),
        State(ids.EVENT_KIND, "value"),
        State(ids.EVENT_PATH, "value"),
        State(ids.EVENT_TEXT, "value"),
        prevent_initial_call=True,
    )
    def keep(clicks: int | None, name: str, day: str, kind: str, path: str, text: str) -> Any:
        return kept(shop, name, day, kind, path, text) if clicks else no_update
