"""The pieces every page is put together from."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

from dash import dcc, html
from dash.development.base_component import Component

from dashboard import marks, svg
from dashboard.view import View

Content = Any
GRAPH_CONFIG: Any = {
    "displayModeBar": False,
    "displaylogo": False,
    "modeBarButtonsToRemove": ["sendChartToCloud"],
    "plotlyServerURL": "",
    "responsive": False,
    "scrollZoom": False,
    "doubleClick": "reset",
    "showTips": False,
    "showAxisDragHandles": False,
}
LONGEST_NAME = 24


def wild(attributes: Mapping[str, str]) -> dict[str, Any]:
    """Attributes whose names Python cannot write, such as ``aria-label``, as keyword arguments."""
    return dict(attributes)


def drawn(svg_text: str, class_name: str = "") -> html.Div:
    """A drawing; the page's own script puts it in place."""
    return html.Div(className=f"drawing {class_name}".strip(), **wild({"data-svg": svg_text}))


def short_name(name: str) -> str:
    """A name of the user's, cut with an ellipsis at 24 signs."""
    return name if len(name) <= LONGEST_NAME else name[: LONGEST_NAME - 1] + "…"


def plate(name: str, rowed: bool = False) -> html.Span:
    """The engraved plate with a box's name; the full name stays for the tooltip and screen readers."""
    shown = short_name(name)
    how: dict[str, Any] = {} if shown == name else {"title": name, "aria-label": name}
    return html.Span(shown, className="plate rowed" if rowed else "plate", **how)


def button(
    words: Content,
    href: str | None = None,
    *,
    dark: bool = False,
    id: str | None = None,
    whole: bool = False,
    **more: Any,
) -> Component:
    """A button, or a link that looks like one; the page's one main action is dark."""
    name = " ".join(n for n, on in (("button", True), ("dark", dark), ("whole", whole)) if on)
    if id is not None:
        more["id"] = id
    if href is not None:
        return html.A(words, href=href, className=name, **more)
    return html.Button(words, className=name, type="button", **more)


def head(
    question: str,
    answer: str,
    lead: Content = "",
    *,
    verdict: str | None = None,
    acts: Sequence[Component] = (),
    size: float = 48,
) -> html.Div:
    """Question and answer at the top of a page, with the verdict mark and the page's actions beside them."""
    sign = [drawn(marks.verdict(verdict, size), "mark-place")] if verdict else []
    said = [
        html.P(question, className="question asked"),
        html.H1(answer, id="answer", tabIndex="-1", **wild({"aria-live": "polite"})),
    ]
    if lead:
        said.append(html.P(lead, className="lead"))
    side = [html.Div(list(acts), className="acts")] if acts else []
    return html.Div([*sign, html.Div(said, className="said"), *side], className="head")


def bar(*actions: Component, words: Content = "") -> html.Div:
    """The phone's bar at the bottom with the main action in reach of a thumb."""
    note = [html.P(words)] if words else []
    return html.Div([*note, *actions], className="bar")


def paper(*children: Content, class_name: str = "", **more: Any) -> html.Div:
    """A sheet of paper that a figure or a table lies on."""
    return html.Div(list(children), className=f"paper {class_name}".strip(), **more)


def split(columns: str, *children: Component, class_name: str = "") -> html.Div:
    """Columns side by side on a wide screen, under each other on a phone."""
    return html.Div(list(children), className=f"split {class_name}".strip(), style={"gridTemplateColumns": columns})


def side(*children: Component) -> html.Div:
    """One column of ``split`` whose papers stand under each other."""
    return html.Div(list(children), className="side", style={"display": "grid", "gap": "12px"})


def as_table(columns: Sequence[str], rows: Sequence[Sequence[Content]]) -> html.Details:
    """The figure's numbers as a table, folded away."""
    header = html.Thead(html.Tr([html.Th(c, scope="col") for c in columns]))
    body = html.Tbody([html.Tr([html.Td(cell) for cell in row]) for row in rows])
    table = html.Div(
        html.Table([header, body]), className="scrolls", tabIndex="0", role="region", **wild({"aria-label": "Table"})
    )
    return html.Details([html.Summary("as a table"), table], className="table")


def figure(
    picture: Component,
    sentence: str,
    *,
    caption: Content = "",
    points: Sequence[str] = (),
    table: Component | None = None,
    id: str | None = None,
) -> html.Figure:
    """A figure with its sentence for screen readers, its caption line and its table; one stop for the keyboard."""
    more: dict[str, Any] = {
        "data-points": json.dumps(list(points)),
        "aria-label": sentence,
        "tabIndex": "0",
        "role": "group",
    }
    if id is not None:
        more["id"] = id
    foot = html.Div(
        [html.Figcaption(caption or "", **wild({"aria-live": "polite"})), *([table] if table else [])],
        className="figure-foot",
    )
    return html.Figure([picture, foot], **more)


def graph(fig: Any, id: str | None = None, width: float | None = None) -> dcc.Graph:
    """A plotted figure without tool bar or share button."""
    more: dict[str, Any] = {} if id is None else {"id": id}
    style = {"height": f"{fig.layout.height:.0f}px", "width": "100%" if width is None else f"{width:.0f}px"}
    return dcc.Graph(figure=fig, config=GRAPH_CONFIG, style=style, **more)


def numbers(rows: Sequence[tuple[str, str, Content]]) -> html.Dl:
    """Label, value in bold, and what is to be said beside it."""
    return html.Dl(
        [html.Div([html.Dt(a), html.Dd([html.B(b), " ", c] if b else c)]) for a, b, c in rows], className="numbers"
    )


def value_and_rest(text: str) -> tuple[str, str]:
    """Cut ``0.98 mm², 0.90 to 1.06`` into its value and the interval."""
    value, _, rest = text.partition(", ")
    return value, rest


_TRIANGLE = svg.el(
    "svg",
    "".join(
        (
            svg.poly(((13, 3), (25, 24), (1, 24)), "none", "ink", 2.4),
            svg.line((13, 10), (13, 17), "ink", 2.4),
            svg.circle((13, 20.5), 1.5, fill="ink"),
        )
    ),
    width=26,
    height=26,
    aria_hidden="true",
)


def caution(*words: Content) -> html.Div:
    """A caution where the hand is about to act: stripes, a triangle, at most two lines."""
    return html.Div([drawn(_TRIANGLE), html.P(list(words))], className="caution", role="note")


def limit_caption(words: Content, limit_words: str = "limit") -> html.Span:
    """Caption of an area axis with the limit's sign and word."""
    return html.Span(
        [words, "; ", html.Span([drawn_inline(marks.limit_sign()), " ", html.B(limit_words)], className="air")]
    )


def drawn_inline(svg_text: str) -> html.Span:
    """A drawing inside a line of words."""
    return html.Span(style={"display": "inline-block", "verticalAlign": "-2px"}, **wild({"data-svg": svg_text}))


def row_of_box(name: str, label: str | None, tab: str, question: str) -> html.Section:
    """The box's own row: plate, label and its pages."""
    links = [
        html.A(words, href=box_href(name, rest), **wild({"aria-current": "page"} if words == tab else {}))
        for words, rest in BOX_PAGES
    ]
    return html.Section(
        [
            html.A(plate(name), href=box_href(name, ""), style={"textDecoration": "none"}),
            html.Span(short_name(label or ""), className="second label"),
            html.Span(question, className="question"),
            html.Nav(links, **wild({"aria-label": "Pages of this box"})),
        ],
        className="row-of-box",
        **wild({"aria-label": "This box"}),
    )


BOX_PAGES = (
    ("Where the air gets in", ""),
    ("With and without sheet", "/sheet"),
    ("Months", "/months"),
    ("Forming", "/forming"),
    ("Tests", "/tests"),
    ("Measurements", "/measurements"),
)


def box_href(name: str, rest: str) -> str:
    """Address of a page of a box."""
    return f"/box/{name}{rest}"


def box_page(view: View, name: str, label: str | None, tab: str, question: str, *children: Component) -> html.Div:
    """A whole page of one box: its row, then the page."""
    return html.Div([row_of_box(name, label, tab, question), html.Main(list(children))])
