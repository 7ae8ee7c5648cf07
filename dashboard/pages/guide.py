"""Help: what does this word mean, how is this done."""

from __future__ import annotations

from dash import html
from dash.development.base_component import Component

from acquisition.records import Box
from acquisition.setups import PATHS, SETUPS
from analysis.limit import PART_COST_PA
from analysis.numberwords import (
    QUICK_LOSS_PA,
    System,
    pressure_step_text,
    quick_step_text,
    size_text,
    span_text,
    temperature_text,
)
from analysis.panels import span_marks_m
from analysis.topwords import first_pull_steps, top_load_text
from dashboard import cutaway, marks, parts
from dashboard.areas import size_words
from dashboard.pages.common import Page
from dashboard.section import small
from dashboard.shop import Shop
from dashboard.view import View

_BOARD_MM = 18.0
_PLAIN_TOP = Box("", (600.0, 600.0, 90.0), "bare", _BOARD_MM)
WORDS = (
    (
        "hold test",
        "Evacuate, shut the valve, watch the pressure come back. Its phases: baseline, pump-down, soak, hold, let-up.",
    ),
    (
        "soak",
        "The pump stays on at the bottom for three minutes. Air stored in the wood and moisture go first; what "
        "rises afterwards is leak.",
    ),
    ("redraw", "A second pump-down without letting air in. A leak stays, stored air falls: use the second hold."),
    (
        "stall test",
        "The pump runs until the gauge stays: pump against leak. With the pump's curve the level gives the area, "
        "and the dial is enough.",
    ),
    (
        "leak area",
        "Area of an ideal nozzle that passes the same air with the box at one fifth of room pressure; always "
        "with its 95 % interval.",
    ),
    (
        "like one drilled hole of",
        "A sharp-edged drilled hole that takes in as much. It passes 0.83 of what its plain area would, so the "
        "hole's own area is larger than the leak area.",
    ),
    (
        "lost in 5 min",
        "How far the pressure rises in five minutes with the valve shut; where that passes {quick_loss}, the time for "
        "{quick_step} is told instead.",
    ),
    (
        "leak law",
        "A hole blows: it hardly slows down until half of room pressure. A seep slows down from the start, as "
        "cracks and grain do. Between is a mix.",
    ),
    ("release", "Gas that is no leak: moisture, and air stored in the plies. It dies away; a leak does not."),
    (
        "limit",
        "The largest leak a box may have: three tenths of what its pump moves at working vacuum, or what costs "
        "{parts_cost} under the sheet in 3 s; the stricter.",
    ),
    (
        "tight, within",
        "Tight: the interval ends under a quarter of the limit, or no leak was seen and it ends under the limit. "
        "Within: it ends under the limit.",
    ),
    (
        "bag trade's mark",
        "1 inHg in 5 minutes, the workmanship mark of vacuum bagging. It is a tick on the page, never a limit: a "
        "box may be far past it and form well.",
    ),
    (
        "cannot tell",
        "The limit lies inside the interval. It is a result: it says what a longer or better hold would settle.",
    ),
)
HOW = (
    (
        "Tape the vents",
        "Top dry and free of dust. Packing tape over each row, pressed down with a thumb, ends folded for pulling off.",
    ),
    (
        "Film on the top",
        "Film over the whole top inside the rim, a run of putty tape under its edge, no folds across the putty.",
    ),
    (
        "Film on the rim",
        "The same film taken out to the rim, putty tape on the lip. What differs from film on the top is the "
        "rim joint.",
    ),
    (
        "Putty one place",
        "Putty or grease tape over the seam or flange, an inch past both ends. Hold again: what the area loses "
        "came in there.",
    ),
    (
        "Formed sheet",
        "Form as usual, keep the valve open until the sheet is under {cool} or ten minutes have passed, then shut "
        "and hold. Form two before blaming the rim.",
    ),
    (
        "Where the gauge goes",
        "On the box, or on its hose before the valve. A gauge on the tank measures no box once the valve is shut.",
    ),
    ("Soak", "Three minutes with the pump on. Skip it and the answer is wider."),
)
CAUTIONS = (
    "First pull in steps of {steps}, a minute each, nobody over the top. Creaking: let air in.",
    "A top of {board} board with baffles up to {span} apart may be tested; over {never} never without the board's "
    "own rating. A top of {top} carries {load}.",
    "Never glass, cracked boards, thin drums, plastic pipe or oil cans as a box or tank. A tank must be rated "
    "for full vacuum.",
    "Never blow a box up to find leaks. No flame. No hand, eye, ear or hair at ports and vents. Let air in "
    "slowly. Glasses from the first pull to the let-up.",
    "Silicone vapours: air the room; test only after the full cure. Hot sheet {hot}, moving table and "
    "clamp: power off and vacuum let out before reaching in.",
    "The machine's and the pump's own instructions and local codes come first; a licensed person where pressure "
    "vessels or wiring are concerned.",
)


def page(shop: Shop, view: View) -> Page:
    """Words, ways and cautions."""
    head = parts.head(
        "What does this word mean, how is this done?",
        "The words of the pages, and how to do each test.",
        acts=[parts.button("Start a hold test", "/hold", dark=True)],
    )
    drawing = parts.paper(
        html.H2("Where air can get in"),
        parts.drawn(cutaway.named_places(view.inner - (0 if view.narrow else 34), view.narrow)),
    )
    columns = parts.split(
        "1fr 1fr",
        parts.side(_list("Words", _told(WORDS, view.system)), _paths()),
        parts.side(_setups(view), _list("How it is done", _told(HOW, view.system)), _marks()),
        class_name="wide",
    )
    sizes = measures_told(view.system)
    cautions = parts.paper(html.H2("Cautions"), html.Ul([html.Li(parts.caution(c.format(**sizes))) for c in CAUTIONS]))
    return Page(
        html.Main(
            [
                head,
                drawing,
                html.Div(columns, style={"marginTop": "12px"}),
                html.Div(cautions, style={"marginTop": "12px"}),
                parts.bar(parts.button("Start a hold test", "/hold", dark=True)),
            ]
        )
    )


def measures_told(system: System) -> dict[str, str]:
    """The measures that the entries name, in the page's units."""
    may_m, never_m = span_marks_m(_BOARD_MM)
    return {
        "quick_loss": pressure_step_text(QUICK_LOSS_PA, system),
        "quick_step": quick_step_text(system),
        "parts_cost": pressure_step_text(PART_COST_PA, system),
        "cool": temperature_text(40.0, system),
        "hot": temperature_text(140.0, system, 190.0),
        "steps": first_pull_steps(system),
        "board": size_text(_BOARD_MM, system),
        "span": span_text(may_m, system),
        "never": span_text(never_m, system),
        "top": size_words((600.0, 600.0), system),
        "load": top_load_text(_PLAIN_TOP, system),
    }


def _told(entries: tuple[tuple[str, str], ...], system: System) -> tuple[tuple[str, str], ...]:
    """Entries with their measures in the page's units."""
    sizes = measures_told(system)
    return tuple((name, words.format(**sizes)) for name, words in entries)


def _list(title: str, entries: tuple[tuple[str, str], ...]) -> Component:
    rows = [html.Div([html.Dt(html.B(name)), html.Dd(words)]) for name, words in entries]
    return parts.paper(html.H2(title), html.Dl(rows, className="numbers"))


def _paths() -> Component:
    return _list("Leak paths", tuple((p.label, p.meaning) for p in PATHS.values()))


def _setups(view: View) -> Component:
    box: Box = cutaway.PLAIN_BOX
    rows = [
        html.Li(
            [parts.drawn(small(box, 130, setup=s.name)), html.Span([html.B(s.label), html.Br(), s.meaning])],
            className="setup-row",
        )
        for s in SETUPS.values()
    ]
    return parts.paper(html.H2("Setups"), html.Ul(rows))


def _marks() -> Component:
    rows = [
        html.Li([parts.drawn(marks.verdict(k, 30)), html.Span(words)], className="setup-row")
        for k, words in marks.VERDICT_WORDS.items()
    ]
    return parts.paper(html.H2("Marks"), html.Ul(rows))
