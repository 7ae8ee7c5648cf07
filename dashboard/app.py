"""The application: one shell, pages found by their address, no globals."""

from __future__ import annotations

import logging
from pathlib import Path
from typing import Any

from dash import ClientsideFunction, Dash, Input, Output, State, dcc, html, no_update
from dash.development.base_component import Component
from werkzeug.exceptions import HTTPException

from acquisition.errors import BoxholdError
from dashboard import ids, pages, palette, parts, svg
from dashboard.shop import Shop
from dashboard.view import View, read_view

MAX_UPLOAD_BYTES = 40_000_000
_ASSETS = Path(__file__).parent / "assets"
_log = logging.getLogger("boxhold.pages")

INDEX = """<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>Boxhold</title>
<link rel="icon" href="data:,">
<style>{colours}</style>
{css}
</head>
<body>
{app_entry}
<footer>{config}{scripts}{renderer}</footer>
</body>
</html>"""

TOP_PAGES = (("Boxes", "/"), ("Hold test", "/hold"), ("Bring in a log", "/log"), ("Help", "/help"))


def _index() -> str:
    slots = {
        "css": "{%css%}",
        "app_entry": "{%app_entry%}",
        "config": "{%config%}",
        "scripts": "{%scripts%}",
        "renderer": "{%renderer%}",
    }
    page = INDEX.replace("{colours}", palette.style_sheet())
    for name, slot in slots.items():
        page = page.replace("{" + name + "}", slot)
    return page


def create_app(shop: Shop) -> Dash:
    """The pages over an archive; two apps may live side by side.

    Parameters
    ----------
    shop
        The archive as the pages see it.
    """
    app = Dash(
        __name__,
        use_pages=False,
        suppress_callback_exceptions=True,
        update_title="",
        include_pages_meta=False,
        title="Boxhold",
        assets_folder=str(_ASSETS),
        on_error=_said,
        index_string=_index(),
    )
    app.server.config["MAX_CONTENT_LENGTH"] = MAX_UPLOAD_BYTES
    app.layout = _shell()
    _add_view(app)
    _add_page(app, shop)
    for add in pages.CALLBACKS:
        add(app, shop)
    app.server.register_error_handler(Exception, _server_trouble)
    return app


def _shell() -> Component:
    return html.Div(
        [
            html.A("to the answer", href="#answer", className="skip"),
            dcc.Location(id=ids.URL),
            dcc.Store(id=ids.VIEW),
            dcc.Store(id=ids.WIDTH),
            dcc.Interval(id=ids.BEAT, interval=700, disabled=True),
            parts.drawn(svg.hatch_defs(), "out-of-sight"),
            html.Header(id=ids.TOP, className="top", children=_top()),
            html.Div(id=ids.PAGE),
            html.Section(id=ids.RUNNING, className="running", **parts.wild({"aria-label": "Hold tests that run"})),
        ]
    )


def _top() -> list[Component]:
    theme = html.Div(
        html.Button("dark", type="button", **parts.wild({"data-turns": "theme"})), className="switch theme-switch"
    )
    units = html.Div(
        [
            html.Button(
                ["kPa", html.Span(", mm", className="long")],
                id=ids.TO_METRIC,
                type="button",
                **parts.wild({"aria-pressed": "true"}),
            ),
            html.Button(
                ["inHg", html.Span(", in", className="long")],
                id=ids.TO_INCH,
                type="button",
                **parts.wild({"aria-pressed": "false"}),
            ),
        ],
        className="switch",
        role="group",
        **parts.wild({"aria-label": "Units"}),
    )
    return [
        html.A("Boxhold", href="/", className="name lettered"),
        html.Nav(id="top-pages", **parts.wild({"aria-label": "Pages"})),
        html.Div([theme, units], className="switches"),
        html.Details([html.Summary("Pages"), html.Div(id="all-pages")], className="pages-list"),
    ]


def _add_view(app: Dash) -> None:
    app.clientside_callback(  # type: ignore[no-untyped-call]
        ClientsideFunction("view", "now"),
        Output(ids.VIEW, "data"),
        Input(ids.URL, "pathname"),
        Input(ids.URL, "search"),
        [Input(ids.TO_METRIC, "n_clicks"), Input(ids.TO_INCH, "n_clicks")],
        Input(ids.WIDTH, "data"),
    )
    app.clientside_callback(  # type: ignore[no-untyped-call]
        ClientsideFunction("view", "pressed"),
        Output(ids.TO_METRIC, "aria-pressed"),
        Output(ids.TO_INCH, "aria-pressed"),
        Input(ids.VIEW, "data"),
    )


def _add_page(app: Dash, shop: Shop) -> None:
    @app.callback(
        Output(ids.PAGE, "children"),
        Output("top-pages", "children"),
        Output("all-pages", "children"),
        Output(ids.BEAT, "disabled"),
        Output(ids.RUNNING, "children"),
        Input(ids.VIEW, "data"),
        Input(ids.BEAT, "n_intervals"),
        State(ids.BEAT, "disabled"),
    )
    def show(data: dict[str, Any] | None, _beats: int | None, _still: bool) -> tuple[Any, ...]:
        if data is None:
            return (no_update,) * 5
        view = read_view(data)
        page = _page(shop, view)
        return page.body, _links(view, TOP_PAGES), _all_links(view), not page.working, _running(shop, view)


def _running(shop: Shop, view: View) -> list[Component]:
    """A line for each hold test that runs, leading to its page."""
    names = [n for n in shop.holds.running() if view.path not in (f"/hold/{n}", "/")]
    return [html.A(f"{n} is being tested; go to it", href=f"/hold/{n}") for n in names]


def _page(shop: Shop, view: View) -> pages.Page:
    try:
        return pages.find(shop, view)
    except BoxholdError as trouble:
        return pages.Page(pages.trouble_page(str(trouble)))
    except Exception:
        _log.exception("the page %s could not be made", view.path)
        return pages.Page(
            pages.trouble_page(
                "This page could not be made. The archive is untouched; the reason is in the shop computer's window."
            )
        )


def _links(view: View, entries: tuple[tuple[str, str], ...]) -> list[Component]:
    here = pages.top_entry(view.path)
    return [html.A(w, href=h, **parts.wild({"aria-current": "page"} if h == here else {})) for w, h in entries]


def _all_links(view: View) -> list[Component]:
    name = pages.box_name(view.path)
    own = tuple((words, parts.box_href(name, rest)) for words, rest in parts.BOX_PAGES) if name else ()
    dark = html.Div(
        html.Button("dark", type="button", **parts.wild({"data-turns": "theme"})),
        className="switch",
        style={"width": "max-content"},
    )
    return [*_links(view, (*own, *TOP_PAGES)), dark]


def _said(trouble: Exception) -> Any:
    """A callback that failed: logged; the page stays."""
    _log.error("a page's answer failed: %s", trouble, exc_info=trouble)
    return no_update


def _server_trouble(trouble: Exception) -> Any:
    if isinstance(trouble, HTTPException):
        return trouble
    _log.error("a request failed: %s", trouble, exc_info=trouble)
    return "This request could not be answered. Reload the page.", 500
