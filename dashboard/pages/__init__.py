"""The pages and their addresses: one table of patterns, one maker each."""

from __future__ import annotations

import re
from collections.abc import Callable
from difflib import get_close_matches
from typing import Any
from urllib.parse import unquote

from dash import Dash, html
from dash.development.base_component import Component

from dashboard import parts
from dashboard.pages import (
    boxes,
    bring_in,
    forming,
    guide,
    hold,
    hold_running,
    measurements,
    months,
    new_event,
    one_test,
    report,
    sheet,
    tests_list,
    where,
)
from dashboard.pages.common import Page, working_page
from dashboard.shop import Shop
from dashboard.view import View

__all__ = ["CALLBACKS", "Page", "box_name", "find", "top_entry", "trouble_page"]

Maker = Callable[..., Page]
_BOX = r"/box/(?P<name>[A-Za-z0-9._-]+)"
ROUTES: tuple[tuple[str, Maker], ...] = (
    (r"/", boxes.page),
    (r"/hold", hold.page),
    (r"/hold/(?P<name>[A-Za-z0-9._-]+)", hold_running.page),
    (r"/log", bring_in.page),
    (r"/help", guide.page),
    (r"/box/new", measurements.new_page),
    (_BOX, where.page),
    (_BOX + r"/sheet", sheet.page),
    (_BOX + r"/months", months.page),
    (_BOX + r"/forming", forming.page),
    (_BOX + r"/tests", tests_list.page),
    (_BOX + r"/tests/(?P<key>[A-Za-z0-9._-]+)", one_test.page),
    (_BOX + r"/tests/(?P<key>[A-Za-z0-9._-]+)/report", report.test_page),
    (_BOX + r"/report", report.box_page),
    (_BOX + r"/measurements", measurements.page),
    (_BOX + r"/event", new_event.page),
)
CALLBACKS: tuple[Callable[[Dash, Shop], None], ...] = (
    boxes.add_callbacks,
    bring_in.add_callbacks,
    forming.add_callbacks,
    hold.add_callbacks,
    hold_running.add_callbacks,
    measurements.add_callbacks,
    new_event.add_callbacks,
)


def find(shop: Shop, view: View) -> Page:
    """The page of an address, or one that says there is none."""
    path = unquote(view.path).rstrip("/") or "/"
    for pattern, make in ROUTES:
        found = re.fullmatch(pattern, path)
        if found:
            return _made(shop, view, make, found.groupdict())
    return Page(_no_such_page(path))


def _made(shop: Shop, view: View, make: Maker, parts_of_path: dict[str, Any]) -> Page:
    name = parts_of_path.get("name")
    if name is None:
        return make(shop, view)
    if make is hold_running.page:
        return make(shop, view, name)
    if name not in shop.names():
        return Page(_no_such_box(shop, name))
    known = shop.findings(name, wait_s=0.25)
    if known is None:
        return working_page(shop, name)
    page = make(shop, view, known, **{k: v for k, v in parts_of_path.items() if k != "name"})
    troubles = [html.P(t, className="error") for t in known.troubles]
    return Page(html.Div([page.body, *troubles]), page.working) if troubles else page


def box_name(path: str) -> str | None:
    """Name of the box whose page an address is."""
    found = re.match(_BOX + r"(/|$)", unquote(path))
    return found["name"] if found and found["name"] != "new" else None


def top_entry(path: str) -> str:
    """Address of the top row's entry that a page belongs to."""
    return next((h for h in ("/hold", "/log", "/help") if path == h or path.startswith(h + "/")), "/")


def trouble_page(words: str) -> Component:
    """A page that only says what went wrong."""
    return html.Main([parts.head("Something is in the way", words), html.A("To the boxes", href="/", className="link")])


def _no_such_page(path: str) -> Component:
    return html.Main(
        [
            parts.head("Where is this?", f"There is no page {parts.short_name(path)}."),
            html.A("To the boxes", href="/", className="button dark"),
        ]
    )


def _no_such_box(shop: Shop, name: str) -> Component:
    names = shop.names()
    near = get_close_matches(name, names, n=8, cutoff=0.3) or names[:8]
    rows = [html.Li(html.A(parts.plate(n), href=parts.box_href(n, ""), className="link")) for n in near]
    words = f"There is no box {parts.short_name(name)}." + (" These are near:" if near else "")
    return html.Main([parts.head("Which box is this?", words), html.Ul(rows, className="acts")])
