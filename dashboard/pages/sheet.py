"""With and without sheet: is it the box, or the sheet edge."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from dash import html
from dash.development.base_component import Component

from analysis import wording
from analysis.numberwords import temperature_text
from analysis.results import Assessment, PathResult, SheetComparison
from dashboard import figures_sheet, parts
from dashboard.areas import area_unit
from dashboard.figures_sheet import JawRow
from dashboard.pages.common import Page, label, two_parts
from dashboard.places import section
from dashboard.section import Place
from dashboard.shop import WITHOUT_SHEET, Findings, Shop
from dashboard.view import View

QUESTION = "Is it the box, or the sheet edge?"
TAB = "With and without sheet"
_EDGE = "The sheet edge:"
_SAME = ("panel-edges", "panel-faces", "port-flange", "rim-joint")


def page(shop: Shop, view: View, known: Findings) -> Page:
    """The comparison of one box, against film on the rim where there is one."""
    wanted = view.query.get("against", "")
    setup = wanted if wanted in known.comparisons else next((s for s in WITHOUT_SHEET if s in known.comparisons), None)
    if setup is None:
        return Page(_missing(known, view))
    return Page(_compared(known, view, setup, known.comparisons[setup]))


def tests_in(known: Findings, setup: str) -> list[Assessment]:
    """Results of a setup with nothing sealed that gave an area."""
    tests = [r for r in known.results if r.setup == setup and not r.sealed and r.area_m2 is not None]
    return [wording.plug_off(r) for r in tests]


def _missing(known: Findings, view: View) -> Component:
    sheet = bool(tests_in(known, "formed-sheet"))
    missing = "film-on-rim" if sheet else "formed-sheet"
    words = "Hold it with film on the rim" if sheet else "Hold it with a sheet"
    button = parts.button(words, f"/hold?box={known.box.name}&setup={missing}", dark=True)
    answer, cool = "Cannot tell yet: one of the two is missing.", temperature_text(40.0, view.system)
    lead = (
        "A formed sheet was held, but nothing without one. Film on the rim is the best partner: what differs is "
        "the sheet edge."
        if sheet
        else f"No formed sheet was held yet. Let it cool under {cool} with the valve open, then shut and hold."
    )
    here = "formed-sheet" if sheet else next((s for s in WITHOUT_SHEET if tests_in(known, s)), "film-on-rim")
    pair = ("film-on-rim", "formed-sheet") if sheet else (here, "formed-sheet")
    pictures = [_side_picture(known, view, s, dotted=not tests_in(known, s), places=()) for s in pair]
    head = parts.head(QUESTION, answer, lead, acts=[button])
    return parts.box_page(
        view,
        known.box.name,
        label(known),
        TAB,
        QUESTION,
        head,
        parts.split("1fr 1fr", *pictures, class_name="wide"),
        parts.bar(button),
    )


def _compared(known: Findings, view: View, setup: str, found: SheetComparison) -> Component:
    answer, rest = _said(known, found, setup, view)
    head = html.Div([parts.head(QUESTION, answer, rest), *_switch(known, setup)], className="with-switch")
    without, sheets = tests_in(known, setup), tests_in(known, "formed-sheet")
    left, right = (
        _side_picture(known, view, setup, places=_without_places(found)),
        _side_picture(known, view, "formed-sheet", places=_with_places(found)),
    )
    unit = area_unit(view.system)
    rows = [replace(r, unit=unit) for r in _rows(known, setup, without, sheets, found)]
    limit = known.last.result.limit if known.last and known.last.result.limit else None
    width = view.inner if view.narrow else view.inner - 34
    bars = parts.drawn(
        figures_sheet.four_jaws(rows, limit.area_m2 if limit else None, width, limit.source if limit else None)
    )
    table = parts.as_table(("", "leak area, 95 %"), [(r.name, r.words) for r in rows])
    figure = parts.figure(bars, found.sentence, points=[f"{r.name}: {r.words}" for r in rows], table=table)
    note = "A wrong box volume would stretch all bars alike; it cannot turn the answer round. Each ring is one test."
    next_button = _next(known, sheets, found)
    return parts.box_page(
        view,
        known.box.name,
        label(known),
        TAB,
        QUESTION,
        head,
        parts.split("1fr 1fr", left, right, class_name="wide"),
        html.Div(parts.paper(figure), style={"marginTop": "12px"}),
        html.Div([html.P(note, className="note", style={"flex": "1"}), next_button], className="next main"),
        parts.bar(next_button),
    )


def _said(known: Findings, found: SheetComparison, setup: str, view: View) -> tuple[str, str]:
    """Heading and lead; where all tests together give the sheet edge, theirs is the one figure to use."""
    answer, rest = two_parts(found.sentence)
    edge, alone, unit = _edge(known), found.difference_m2, area_unit(view.system)
    if edge is None or alone is None or alone.low <= 0 or not answer.startswith(_EDGE):
        return answer, rest or _meaning(setup)
    _, _, after = answer.partition(". ")
    much = unit.text(edge.area_m2)
    if view.system == "inch":
        much = f"like one drilled hole of {wording.hole_interval_text(edge.area_m2, view.system)}"
    heading = f"{_EDGE} {much}. {after}".strip()
    difference = unit.text(alone)
    why = f"Use this figure: it weighs every test of the box. Sheet minus film alone gives {difference}."
    if setup != "film-on-rim":
        why = why.replace("minus film", "minus taped vents")
    return heading, f"{why} {rest}".strip()


def _edge(known: Findings) -> PathResult | None:
    paths = known.ranking.paths if known.ranking else ()
    return next((p for p in paths if p.path == "sheet-edge"), None)


def _meaning(setup: str) -> str:
    if setup == "film-on-rim":
        return "Both cover the top and the vents, so the difference is the sheet edge."
    return "Against taped vents the rim joint is gained too, and the top panel and the tape are covered."


def _switch(known: Findings, setup: str) -> list[Component]:
    if len(known.comparisons) < 2:
        return []
    links = [
        html.A(
            wording.setup_name(s), href=f"?against={s}", **parts.wild({"aria-current": "true"} if s == setup else {})
        )
        for s in WITHOUT_SHEET
        if s in known.comparisons
    ]
    return [
        html.Div(
            [html.Span("compare the sheet with ", className="note"), html.Div(links, className="switch")],
            className="acts no-print",
        )
    ]


def _side_picture(
    known: Findings, view: View, setup: str, *, dotted: bool = False, places: Sequence[Place] = ()
) -> Component:
    results = tests_in(known, setup)
    width = view.inner if view.narrow else (view.inner - 20) / 2 - 34
    name = wording.setup_name(setup)
    area, unit = figures_sheet.pooled(results), area_unit(view.system)
    title = "Formed sheet, cooled" if setup == "formed-sheet" else name[:1].upper() + name[1:]
    number = "not held yet" if area is None else f"{unit.number(area.value)} {unit.words}"
    drawing = section(
        known.box,
        width,
        places,
        setup=setup,
        valve="none",
        tallest=92,
        head=62.0,
        label=f"{name}, cut along its length",
    )
    picture = html.Div(parts.drawn(drawing), style={"opacity": 0.45} if dotted else {})
    heading = html.Div(
        [html.H2(title), html.B(number)], className="figure-head", style={"justifyContent": "space-between"}
    )
    return parts.paper(heading, picture)


def _without_places(found: SheetComparison) -> list[Place]:
    only = [
        Place(p, "only", None, "only here: film and its putty" if i == 0 else "")
        for i, p in enumerate(found.covered_paths)
    ]
    return [*_same(found), *only]


def _with_places(found: SheetComparison) -> list[Place]:
    high = found.difference_m2 is not None and found.difference_m2.low > 0
    state = "likely" if high else "open"
    return [*_same(found), *(Place(p, state, 0.7, f"gained: {wording.path_name(p)}") for p in found.gained_paths)]  # type: ignore[arg-type]


def _same(found: SheetComparison) -> list[Place]:
    apart = (*found.gained_paths, *found.covered_paths)
    return [Place(p, "open", None, "") for p in _SAME if p not in apart]


def _rows(
    known: Findings, setup: str, without: Sequence[Assessment], sheets: Sequence[Assessment], found: SheetComparison
) -> list[JawRow]:
    film = "film" if setup == "film-on-rim" else "vents taped"
    name = wording.setup_name(setup)
    rows = [
        JawRow(
            name[:1].upper() + name[1:],
            _count(len(without), film),
            figures_sheet.pooled(without),
            tuple(_values(without)),
            True,
        ),
        JawRow(
            "Formed sheet",
            f"{_count(len(sheets), 'sheet')}, each its own seal",
            figures_sheet.pooled(sheets),
            tuple(_values(sheets)),
            True,
        ),
        JawRow("Sheet minus " + film, "these tests alone; may be negative", found.difference_m2, signed=True),
    ]
    edge = _edge(known)
    if edge is not None:
        over = found.difference_m2 is not None and found.difference_m2.low > 0
        rows.append(JawRow("So the sheet edge", "use this: weighed with every test", edge.area_m2, strong=over))
    return rows


def _count(number: int, word: str) -> str:
    return (
        f"one test, {word}" if number == 1 else f"{number} {word}s" if word in ("film", "sheet") else f"{number} tests"
    )


def _values(results: Sequence[Assessment]) -> list[float]:
    return [r.area_m2.value for r in results if r.area_m2 is not None]


def _next(known: Findings, sheets: Sequence[Assessment], found: SheetComparison) -> Component:
    name = known.box.name
    if len(sheets) < 2:
        return parts.button("Next: hold a second sheet", f"/hold?box={name}&setup=formed-sheet", dark=True)
    if found.difference_m2 is not None and found.difference_m2.low > 0:
        return parts.button(
            "Next: raise the box, heat the edges, hold two more sheets",
            f"/hold?box={name}&setup=formed-sheet",
            dark=True,
        )
    return parts.button("See where the air gets in", parts.box_href(name, ""), dark=True)
