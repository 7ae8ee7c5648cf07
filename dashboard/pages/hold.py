"""Hold test, before it runs: which box, what closes the top, where the gauge sits and how it speaks."""

from __future__ import annotations

from urllib.parse import urlencode

import dash_bootstrap_components as dbc
from dash import Dash, Input, Output, State, ctx, dcc, html, no_update
from dash.development.base_component import Component

from acquisition.records import Box
from acquisition.serialport import list_ports
from acquisition.setups import ALWAYS_OPEN, SETUPS, open_paths, parent
from analysis import wording
from analysis.topwords import first_pull_steps
from dashboard import ids, outline, parts, schematics
from dashboard.cautions import top_forbidden
from dashboard.pages.common import Page
from dashboard.places import section
from dashboard.plan import plan
from dashboard.section import Place, small
from dashboard.shop import Shop
from dashboard.view import View

PLACES = {"box": "on the box", "hose": "on its hose", "tank": "on the tank"}
BEHIND = {"room": "open to the room", "pump": "the pump", "tank": "the tank"}
UNITS = ("kPa", "mbar", "bar", "hPa", "inHg", "mmHg", "inH2O", "psi", "Torr", "Pa")
SEAMS = ("panel-edges/front", "panel-edges/back", "panel-edges/left", "panel-edges/right")
MADE_UP = "simulated:speed=4,leak_mm2=0.2"
WIDE = {"width": "260px", "textAlign": "left"}
ADDRESSES = "a serial port such as /dev/ttyUSB0 or COM3; a network address such as socket://192.168.0.20:4001"


def page(shop: Shop, view: View) -> Page:
    """The step that the address asks for."""
    name = view.query.get("box", "")
    if name not in shop.names():
        return Page(_choose_box(shop, view, name))
    box = shop.described(name)
    if view.query.get("step") == "gauge" and view.query.get("gauge") != "tank":
        return Page(_gauge(view, box))
    return Page(_set_up(view, box))


def _strip(view: View, present: str, name: str) -> Component:
    if view.narrow:
        at = outline.STEPS.index(present) + 1
        return html.Div(
            [
                *([parts.plate(name)] if name else []),
                html.B(present),
                html.Span(f"step {at} of {len(outline.STEPS)}", className="second"),
            ],
            className="strip",
        )
    sign = [parts.plate(name)] if name else []
    return html.Div([*sign, parts.drawn(outline.outline(present, 960))], className="strip")


def _choose_box(shop: Shop, view: View, asked: str) -> Component:
    names = shop.names()
    if not names:
        button = parts.button("Describe a box", "/box/new", dark=True)
        return html.Main(
            [parts.head("Which box?", "No box yet. Describe one first.", acts=[button]), parts.bar(button)]
        )
    missing = f"There is no box {parts.short_name(asked)}. " if asked else ""
    rows = [html.Li(html.A([parts.plate(n)], href=f"/hold?box={n}", className="choice")) for n in names]
    return html.Main(
        [
            _strip(view, "Box", ""),
            parts.head("Which box?", f"{missing}Pick a box."),
            html.Ul(rows, className="choices plates"),
        ]
    )


def _href(view: View, **changes: str) -> str:
    kept = {k: v for k, v in view.query.items() if k in ("box", "setup", "seal", "gauge", "behind", "step")}
    return "/hold?" + urlencode({k: v for k, v in (kept | changes).items() if v})


def _sealed(view: View) -> tuple[str, ...]:
    return tuple(p for p in view.query.get("seal", "").split(",") if p)


def _set_up(view: View, box: Box) -> Component:
    setup = view.query.get("setup") if view.query.get("setup") in SETUPS else "vents-taped"
    assert setup is not None
    sealed = _sealed(view)
    gauge, behind = view.query.get("gauge", "box"), view.query.get("behind", "room")
    still = [wording.path_name(p, setup) for p in open_paths(setup, sealed)]
    words = [wording.path_name(p, setup) for p in sealed]
    named = wording.setup_name(setup)
    answer = f"{named[:1].upper() + named[1:]}, {wording.list_text(words) + ' sealed' if words else 'nothing sealed'}."
    tank = gauge == "tank"
    forward = (
        []
        if tank
        else [
            parts.button(
                "Next: the gauge", _href(view, step="gauge", setup=setup, gauge=gauge, behind=behind), dark=True
            )
        ]
    )
    acts = [parts.button("Back", "/hold"), *forward]
    lead = (
        "With the valve shut that gauge measures no box. Put it on the box, or on its hose before the valve."
        if tank
        else f"Still open: {', '.join(still)}. The answer is what all these take in together."
    )
    head = parts.head("What closes the top, and what have you sealed?", answer, lead, acts=acts)
    choices = parts.side(
        _choices(
            "What closes the top",
            [(s.name, s.label, small(box, 150, setup=s.name)) for s in SETUPS.values()],
            setup,
            view,
            "setup",
        ),
        _choices(
            "Where the gauge sits", [(k, w, schematics.gauge_at(k)) for k, w in PLACES.items()], gauge, view, "gauge"
        ),
        _choices(
            "What is behind the valve",
            [(k, w, schematics.behind(k)) for k, w in BEHIND.items()],
            behind,
            view,
            "behind",
        ),
        *_seat(behind),
    )
    body = parts.split("minmax(0,0.93fr) minmax(0,1fr)", _picture(view, box, setup, sealed), choices)
    return html.Main([_strip(view, "Set up", box.name), head, *_forbidden(box, view.system), body, parts.bar(*acts)])


def _forbidden(box: Box, system: wording.System) -> list[Component]:
    """That this top must not be pumped down, where its measures say so."""
    why = top_forbidden(box, system)
    return [parts.caution(why)] if why else []


def _seat(behind: str) -> list[Component]:
    if behind == "room":
        return []
    return [
        html.P(
            [
                html.B(f"The {behind} is behind it: "),
                "a weeping seat would take air out and hide a leak. Let air into the hose behind the valve "
                "before the hold, "
                "or leave it so and the answer counts it.",
            ]
        )
    ]


def _choices(title: str, options: list[tuple[str, str, str]], chosen: str, view: View, key: str) -> Component:
    items = []
    for value, words, drawing in options:
        on = value == chosen
        sign = html.Span(className="tick on" if on else "tick")
        more = parts.wild({"aria-current": "true"} if on else {})
        items.append(
            html.A(
                [parts.drawn(drawing), html.Span([sign, words])],
                href=_href(view, **{key: value}),
                className="choice on" if on else "choice",
                **more,
            )
        )
    return html.Div([html.H2(title), html.Div(items, className="choices three-wide")])


def _picture(view: View, box: Box, setup: str, sealed: tuple[str, ...]) -> Component:
    width = view.inner if view.narrow else (view.inner - 20) * 0.482 - 34
    could = [p for p in open_paths(setup) if p not in ALWAYS_OPEN]
    shown = [Place(p, "sealed" if p in sealed else "open", None, _place_words(p, setup, p in sealed)) for p in could]
    seams = [
        Place(
            p, "sealed" if p in sealed else "open", None, f"{wording.path_name(p)}{', sealed' if p in sealed else ''}"
        )
        for p in SEAMS
    ]
    drawing: list[Component] = [
        parts.drawn(
            section(
                box,
                width,
                shown,
                setup=setup,
                valve="open",
                tallest=120,
                label="The places that are open; sealed ones carry a patch",
            )
        )
    ]
    if not view.narrow:
        drawing += [
            html.H2("From above: one seam at a time", className="minor"),
            parts.drawn(plan(box, width, seams, label="The seams", tallest=240)),
        ]
    buttons = [
        _seal_link(view, sealed, p, wording.path_name(p, setup))
        for p in (*could, *SEAMS)
        if parent(p) != "closure" or p == "closure"
    ]
    return parts.paper(
        html.H2("Tap a place you have sealed", className="minor"), html.Div(buttons, className="seals"), *drawing
    )


def _place_words(path: str, setup: str, shut: bool) -> str:
    return f"{wording.path_name(path, setup)}{': sealed' if shut else ''}"


def _seal_link(view: View, sealed: tuple[str, ...], path: str, words: str) -> Component:
    on = path in sealed
    rest = tuple(p for p in sealed if p != path) if on else (*sealed, path)
    sign = html.Span(className="tick on" if on else "tick")
    return html.A(
        [sign, words],
        href=_href(view, seal=",".join(rest)),
        className="seal on" if on else "seal",
        **parts.wild({"aria-current": "true"} if on else {}),
    )


def _gauge(view: View, box: Box) -> Component:
    ports = list_ports()
    heard = (
        f"Ports here: {', '.join(p.address for p in ports)}."
        if ports
        else "No port with a gauge was found here; plug it in."
    )
    form = parts.paper(
        _field("Where it is plugged in", ADDRESSES, "hold-port", dcc.Input(
            id="hold-port", type="text", value=ports[0].address if len(ports) == 1 else "", style=WIDE)),
        _field("Its number means", "no unit is assumed", "hold-unit",
               dbc.Select(id="hold-unit", options=_units(), value=ids.NOTHING)),
        html.P("", id="hold-said", className="error", role="status"),
        html.Div([parts.button("Listen and record", dark=True, id="hold-start"),
                  parts.button("Try it with a made-up gauge", id="hold-made-up")], className="next"),
        dcc.Store(id="hold-asked", data=dict(view.query)), class_name="form",
    )  # fmt: skip
    head = parts.head(
        "How does the gauge speak?",
        "Plug it in and say what its number means.",
        f"{heard} The recording goes on if you close the page. Nothing must be typed while it runs.",
        acts=[parts.button("Back", _href(view, step=""))],
    )
    steps = first_pull_steps(view.system)
    usual = f"Glasses on from the first pull to the let-up. A new top: first pull in steps of {steps}."
    cautions = _forbidden(box, view.system) or [parts.caution(usual)]
    return html.Main([_strip(view, "Gauge", box.name), head, form, *cautions])


def _field(words: str, note: str, for_id: str, control: Component) -> Component:
    return html.Div([html.Label([words, html.Small(note)], htmlFor=for_id), control], className="field")


def _units() -> list[dict[str, str]]:
    both = (f"{r} {u}" for r in ("absolute", "vacuum", "gauge") for u in UNITS)
    return [{"label": "say which", "value": ids.NOTHING}, *({"label": words, "value": words} for words in both)]


def add_callbacks(app: Dash, shop: Shop) -> None:
    """Begin a recording."""

    @app.callback(
        Output("hold-said", "children"), Output(ids.URL, "pathname"),
        Input("hold-start", "n_clicks"), Input("hold-made-up", "n_clicks"),
        State("hold-port", "value"), State("hold-unit", "value"), State("hold-asked", "data"),
        prevent_initial_call=True,
    )  # fmt: skip
    def start(
        _real: int | None, _made: int | None, port: str, unit: str, asked: dict[str, str]
    ) -> tuple[object, object]:
        if not ctx.triggered_id or not (_real or _made):
            return no_update, no_update
        made_up = ctx.triggered_id == "hold-made-up"
        said = shop.holds.start(
            MADE_UP if made_up else port or "", "" if made_up or unit == ids.NOTHING else unit or "", asked
        )
        return (said, no_update) if said else ("", f"/hold/{asked['box']}")
