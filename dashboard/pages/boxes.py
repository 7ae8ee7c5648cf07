"""Boxes: which box needs me."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from dash import Dash, dcc, html
from dash.development.base_component import Component

from analysis import wording
from dashboard import cutaway, ids, lookround, marks, parts, rows
from dashboard.areas import area_unit
from dashboard.holds import HoldState
from dashboard.pages.common import Page, label
from dashboard.rows import BoxRow
from dashboard.section import small, turned
from dashboard.shop import Shop
from dashboard.view import View

QUESTION = "Which box needs me?"
JAWS_PX = 270.0
SHAPE_PX = 108.0
MANY = 14


def page(shop: Shop, view: View) -> Page:
    """All boxes, most urgent first."""
    names = shop.names()
    if not names:
        return Page(_first_start(view))
    every = [BoxRow(name, shop.findings(name), _running(shop, name)) for name in names]
    waiting = [r for r in every if r.known is None]
    if len(waiting) == len(every) and len(every) > 1:
        return Page(_waiting(shop, waiting), working=True)
    ordered = sorted((r for r in every if r.known), key=lambda r: r.order) + waiting
    shown = _shown(ordered, view)
    answer, lead = headline(ordered)
    acts = [parts.button("New box", "/box/new"), parts.button("Start a hold test", "/hold", dark=True)]
    body = html.Main(
        [
            parts.head(QUESTION, answer, lead, acts=acts),
            *_table(shown, view, shop.today()),
            *(html.P(t, className="error") for r in ordered if r.known for t in r.known.troubles),
            *_others(ordered, shown, view),
            *_find(ordered, view),
            _key(view),
            parts.bar(parts.button("Start a hold test", "/hold", dark=True)),
        ]
    )
    return Page(body, working=bool(waiting) or any(r.running for r in every))


def _running(shop: Shop, name: str) -> HoldState | None:
    hold = shop.holds.of(name)
    state = hold.state() if hold is not None else None
    return state if state is not None and state.closed is None else None


def _waiting(shop: Shop, waiting: Sequence[BoxRow]) -> Component:
    count = sum(len(shop.tests_of(r.name)) for r in waiting)
    return html.Main(
        [
            parts.head(
                QUESTION, f"Working out {count} tests.", f"{len(waiting)} boxes; each shows as soon as it is known."
            )
        ]
    )


def headline(ordered: Sequence[BoxRow]) -> tuple[str, str]:
    """The page's answer and the line under it."""
    waiting = [r.name for r in ordered if r.known is None]
    as_tested = [r for r in ordered if not rows.waiting(r.known)]
    over = [r.name for r in as_tested if r.verdict in ("over", "stalls")]
    unsure = [r.name for r in as_tested if r.verdict in ("cannot-tell", "no-answer")]
    off = [r.name for r in as_tested if r.verdict in ("within", "tight") and rows.going_off(r.known)]
    mended = _mended(ordered)
    if over:
        answer = (
            f"{wording.list_text(over[:4])} {'let' if len(over) > 1 else 'lets'} in more air than "
            f"{'their' if len(over) > 1 else 'its'} limit."
        )
        if len(over) > 4:
            answer = f"{wording.list_text([*over[:3], f'{len(over) - 3} more'])} let in more air than their limit."
    elif unsure:
        answer = f"No sure answer for {wording.list_text(unsure[:4])}; hold again."
    elif off:
        answer = f"{wording.list_text(off[:4])} {'are' if len(off) > 1 else 'is'} going off."
    elif mended:
        answer = _repaired_words(mended[:4])
    else:
        answer = _none_of_them(ordered)
    lead = _lead(ordered, over, unsure, off)
    if not waiting:
        return answer, " ".join(lead)
    if over or unsure or off or mended:
        answer = f"So far {answer}"
    return answer, " ".join([*lead, _working(waiting)])


def _mended(ordered: Sequence[BoxRow]) -> list[str]:
    """Boxes of which nobody knows what they let in: repaired, and not held since."""
    return [r.name for r in ordered if rows.waiting(r.known)]


def _repaired_words(names: Sequence[str]) -> str:
    return f"{wording.list_text(names)} {'were' if len(names) > 1 else 'was'} repaired; hold again."


def _none_of_them(ordered: Sequence[BoxRow]) -> str:
    if any(r.known is None for r in ordered):
        return "Not known yet."
    tested = any(r.result for r in ordered)
    return "None of them: every box that was tested holds." if tested else "Nothing measured yet."


def _working(waiting: Sequence[str]) -> str:
    names = wording.list_text(waiting) if len(waiting) < 5 else f"{len(waiting)} more"
    return f"{names} {'are' if len(waiting) > 1 else 'is'} being worked out."


def _lead(ordered: Sequence[BoxRow], over: Sequence[str], unsure: Sequence[str], off: Sequence[str]) -> list[str]:
    said = []
    if over and off:
        said.append(f"{wording.list_text(list(off)[:3])} {'are' if len(off) > 1 else 'is'} going off.")
    if over and unsure:
        said.append(f"{len(unsure)} box{'es have' if len(unsure) > 1 else ' has'} no sure answer.")
    mended = _mended(ordered)
    if (over or unsure or off) and mended:
        said.append(_repaired_words(mended[:3]))
    hold = [r for r in ordered if r.verdict in ("tight", "within") and r.name not in (*off, *mended)]
    told = len(over) + len(unsure) + len(off) + len(mended) + len(hold) == len(ordered)
    if over and hold:
        many = f"{'The rest' if told else len(hold)} are within their limits."
        said.append(many if len(hold) > 1 else "One is within its limit.")
    never = [r.name for r in ordered if r.known is not None and r.result is None]
    if never and len(never) < len(ordered):
        names = wording.list_text(never) if len(never) < 4 else f"{len(never)} boxes"
        said.append(f"{names} {'were' if len(never) > 1 else 'was'} never measured.")
    return said


def _table(shown: Sequence[BoxRow], view: View, today: date) -> list[Component]:
    jaws_px = view.inner - 32 if view.narrow else JAWS_PX
    scale = SHAPE_PX * 0.92 / max((turned(r.known.box)[0] + 40 for r in shown if r.known), default=600.0)
    list_items = [html.Li(_row(r, view, today, jaws_px, scale)) for r in shown]
    return [_head(view), _phone_head(jaws_px, view), html.Ul(list_items, className="rows")]


def _head(view: View) -> Component:
    area = html.Div([parts.limit_caption(_caption(view)), parts.drawn(rows.axis_head(JAWS_PX, view.system))])
    return html.Div(
        [
            html.Span("box"),
            html.Span("all at one scale", className="shape"),
            html.Span("last answer"),
            area,
            html.Span(["like one drilled hole of", html.Br(), "leak area, 95 %"], className="amount"),
            html.Span(["last 8 months, against", html.Br(), "the box's own limit"], className="past"),
            html.Span("what next"),
        ],
        className="rows-head",
    )


def _caption(view: View) -> str:
    return f"leak area, {area_unit(view.system).words}, 95 %"


def _phone_head(width: float, view: View) -> Component:
    return html.Div(
        [parts.limit_caption(_caption(view)), parts.drawn(rows.axis_head(width, view.system))],
        className="phone-only second",
    )


def _row(row: BoxRow, view: View, today: date, jaws_px: float, scale: float) -> Component:
    if row.known is None:
        return html.Div(
            [
                parts.plate(row.name, rowed=True),
                html.Span(className="shape"),
                html.Span("Working out its tests.", className="told"),
            ],
            className="box-row",
        )
    hole, area = rows.amount(row, view.system)
    todo, page_name, rest = rows.what_next(row, today)
    verdict = html.Span([html.B(rows.verdict_words(row, view.system)), " ", rows.why(row, view.system)])
    kind = "running" if row.running else row.verdict
    mark = [parts.drawn(marks.verdict(kind, 26))] if row.result or row.running else []
    cells = [
        html.Span(
            [
                parts.plate(row.name, rowed=True),
                html.Span(f" {label(row.known)}", className="second phone-only", style={"display": "none"}),
            ],
            className="plate-cell",
        ),
        html.Span(parts.drawn(small(row.known.box, SHAPE_PX, scale=scale)), className="shape"),
        html.Span([*mark, verdict], className="told"),
        html.Span(parts.drawn(rows.jaws_cell(row, jaws_px, view.system)), className="jaws-cell"),
        html.Span(
            [html.Span("like a hole of ", className="short"), html.B(hole), html.Span(area, className="area")],
            className="amount",
        ),
        html.Span(parts.drawn(rows.past_cell(row, 168)), className="past"),
        html.Span(
            [html.B(todo), html.Span(page_name, className="note", style={"textDecoration": "underline"})],
            className="todo due" if rows.is_overdue(row, today) else "todo",
        ),
    ]
    return html.A(cells, href=rest if row.running else parts.box_href(row.name, rest), className="box-row")


def _shown(ordered: Sequence[BoxRow], view: View) -> list[BoxRow]:
    """The rows to show: those asked for by name, else with many boxes those that need something or are not known."""
    wanted = view.query.get("find", "").strip().lower()
    if wanted:
        return [r for r in ordered if wanted in f"{r.name} {label(r.known) if r.known else ''}".lower()]
    if view.query.get("all") or len(ordered) <= MANY:
        return list(ordered)
    return [r for r in ordered if r.verdict not in ("tight", "within", "none") or _needs(r)]


def _needs(row: BoxRow) -> bool:
    """Whether a box that holds needs a look all the same."""
    return rows.going_off(row.known) or bool(rows.waiting(row.known)) or row.running is not None


def _others(ordered: Sequence[BoxRow], shown: Sequence[BoxRow], view: View) -> list[Component]:
    """One line for the boxes that are not shown."""
    left = [r for r in ordered if r not in shown]
    if not left:
        return []
    if view.query.get("find"):
        none = "" if shown else "No box of that name. "
        return [html.A(f"{none}{len(left)} others; show them", href="/", className="link")]
    counts = (
        (sum(r.result is not None for r in left), "hold"),
        (sum(r.known is not None and r.result is None for r in left), "never measured"),
        (sum(r.known is None for r in left), "being worked out"),
    )
    words = ", ".join(f"{n} others {what}" if i == 0 else f"{n} {what}" for i, (n, what) in enumerate(counts) if n)
    return [html.A(f"{words}; show them", href="/?all=1", className="link")]


def _find(ordered: Sequence[BoxRow], view: View) -> list[Component]:
    """With many boxes a field to find one by its name."""
    if len(ordered) <= MANY:
        return []
    field = dcc.Input(id=ids.FIND, name="find", type="text", value=view.query.get("find", ""), style={"width": "220px"})
    look = html.Button("Find", type="submit", className="button")
    return [
        html.Form(
            [html.Label("Find a box by its name", htmlFor=ids.FIND), field, look],
            action="/",
            method="get",
            className="next no-print",
        )
    ]


def add_callbacks(app: Dash, shop: Shop) -> None:
    """The made-up shop beside this one."""
    lookround.add_to(app, shop.look_round)


def _key(view: View) -> Component:
    costs = wording.pressure_step_text(3000.0, view.system)
    shown = ("tight", "within", "over", "stalls", "cannot-tell", "no-answer")
    signs = [html.Span([parts.drawn(marks.verdict(k, 18)), marks.VERDICT_WORDS[k]]) for k in shown]
    return html.Div(
        [
            *signs,
            html.Span(
                f"limit: a leak that takes three tenths of what the pump moves, or costs {costs} under the sheet; "
                "most urgent first", className="far"
            ),
        ],
        className="key",
    )


def _first_start(view: View) -> Component:
    steps = (
        (
            "Describe the box",
            "2 minutes",
            "Inside sizes, board, baffles. It checks whether the top will stand a vacuum.",
        ),
        ("Hold it", "10 minutes", "Tape the vents, pump, soak, shut. A gauge on a lead, or read the dial yourself."),
        (
            "Seal one place, hold again",
            "10 minutes each",
            "Two holds tell where. It names the next test that would tell most.",
        ),
    )
    three = [
        html.Div(
            [
                html.Span(str(i + 1), className="figure-no"),
                html.Div([html.B(name), html.Span(f" {time}", className="note"), html.P(words)]),
            ]
        )
        for i, (name, time, words) in enumerate(steps)
    ]
    look = parts.button("Look round the made-up shop", lookround.ADDRESS, target="_blank")
    acts = [look, parts.button("Describe a box", "/box/new", dark=True)]
    lead = (
        "Boxhold watches the pressure come back after you shut the valve, and works out how much air gets in, "
        "and where. "
        "All of it stays on this computer."
    )
    caption = html.P(
        [
            html.B("A vacuum box, cut through, and the places where air can get in. "),
            html.Span("The names are the ones used on every page.", className="second"),
        ]
    )
    return html.Main(
        [
            parts.head(QUESTION, "No box yet. Describe one, or look round the made-up shop.", lead, acts=acts),
            parts.paper(caption, parts.drawn(cutaway.named_places(view.inner - 34, view.narrow))),
            html.Div(three, className="three"),
            html.Div(
                [
                    html.Span("Readings from another gauge or an old file?", className="note"),
                    parts.button("Bring in a log", "/log"),
                    html.Span("Glasses on from the first pull to the let-up.", className="note far"),
                ],
                className="next",
            ),
            parts.bar(parts.button("Describe a box", "/box/new", dark=True), look),
        ]
    )
