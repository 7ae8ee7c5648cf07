"""Where the air gets in: section over plan of this very box, the bars, the next test, the repair."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from dash import html
from dash.development.base_component import Component

from acquisition.setups import PATHS, parent
from analysis import wording
from analysis.repairs import named_repairs
from analysis.results import Assessment, NextTest, Ranking
from analysis.wording import System
from dashboard import figures_rank, parts
from dashboard.areas import area_unit, size_words
from dashboard.figures_rank import Row
from dashboard.pages.common import Page, label, likely_paths, ranked_places, two_parts
from dashboard.places import section
from dashboard.plan import plan, seam_of
from dashboard.section import Place, Valve
from dashboard.shop import Findings, Shop
from dashboard.stalls import stall_tests
from dashboard.view import View

QUESTION = "Where does the air get in?"
TAB = "Where the air gets in"


def page(shop: Shop, view: View, known: Findings) -> Page:
    """The page of one box."""
    ranking = known.ranking
    if not known.trials:
        return Page(_nothing_measured(known, view))
    if ranking is None or ranking.outcome == "refused" or not ranking.paths:
        return Page(_refused(known, view, ranking))
    return Page(_ranked(known, view, ranking))


def _nothing_measured(known: Findings, view: View) -> Component:
    name = known.box.name
    hold = parts.button("Set up this test", f"/hold?box={name}", dark=True)
    picture = parts.paper(
        parts.drawn(section(known.box, min(view.inner - 34, 760), label="The box, cut along its length"))
    )
    head = parts.head(
        QUESTION, "Nothing measured yet.", "One hold with the vents taped tells how much; two tell where.", acts=[hold]
    )
    return parts.box_page(view, name, label(known), TAB, QUESTION, head, picture, parts.bar(hold))


def _refused(known: Findings, view: View, ranking: Ranking | None) -> Component:
    name = known.box.name
    reason = (ranking.reason if ranking else None) or "No test of this box gave an area."
    hold = parts.button("Hold again", f"/hold?box={name}", dark=True)
    picture = parts.paper(
        parts.drawn(section(known.box, min(view.inner - 34, 760), label="The box, cut along its length"))
    )
    waiting = ranking.advice[0] if ranking is not None and ranking.waiting else ""
    lead = " ".join(s for s in (waiting, _upper(reason)) if s)
    head = parts.head(QUESTION, "No answer yet.", lead, verdict="no-answer", acts=[hold])
    return parts.box_page(view, name, label(known), TAB, QUESTION, head, picture, _left_out(ranking), parts.bar(hold))


def _upper(text: str) -> str:
    text = text[:1].upper() + text[1:]
    return text if text.endswith(".") else f"{text}."


def answer(known: Findings, ranking: Ranking, setup: str | None) -> str:
    """The heading: the likeliest place with its chance, or the group that no test has parted yet."""
    first = ranking.paths[0]
    group = next((g for g in ranking.not_told_apart if first.path in g), ())
    if group:
        names = [wording.path_name(p, setup) for p in group]
        told = (
            f"Cannot tell yet: {', '.join(names[:-1])} or {names[-1]}."
            if len(names) < 5
            else f"Cannot tell yet which of {len(names)} places."
        )
        return told + (" And two tests do not agree." if ranking.unexplained else "")
    strength = "Most likely" if first.probability_largest >= 0.5 else "Perhaps"
    return (
        f"{strength} at the {wording.path_name(first.path, setup)}: {wording.chance_text(first.probability_largest)}."
    )


def all_tight(known: Findings) -> bool:
    """Whether the last test of every kind found the box tight, so that nothing needs mending."""
    newest = {(r.setup, r.sealed): r.verdict for r in usable(known) if r.setup != "line-only"}
    return bool(newest) and set(newest.values()) == {"tight"}


def usable(known: Findings) -> list[Assessment]:
    """Results that gave an area, oldest first."""
    return [r for r in known.results if r.area_m2 is not None]


def not_told_sentence(known: Findings, group: Sequence[str], last: Assessment, view: View) -> str:
    """How much the whole box takes in, and between which places no test parts it."""
    tests = usable(known)
    kinds = {(r.setup, r.sealed, r.behind_valve) for r in tests}
    area = last.own_area_m2
    if len(kinds) < 2 or area is None:
        return wording.one_test_sentence(last, view.system, tests=len(tests), paths=group)
    names = wording.list_text([wording.path_name(p, last.setup) for p in group])
    took = f"the last with all open took in {wording.amount(area.value, view.system)}"
    return f"{len(tests)} tests, and none tells {names} apart; {took}."


def lead(known: Findings, ranking: Ranking, last: Assessment | None, view: View) -> str:
    """The line below: how much of it comes in there, and whether the rest matters."""
    first = ranking.paths[0]
    group = next((g for g in ranking.not_told_apart if first.path in g), ())
    if group:
        return "" if last is None else not_told_sentence(known, group, last, view)
    area = wording.area_text(first.area_m2, view.system)
    hole = (
        ""
        if first.area_m2.low < first.area_m2.high / 10
        else f", like one drilled hole of {wording.hole_text(first.area_m2.value, view.system)}"
    )
    if view.system == "inch":
        return f"As much as one drilled hole of {wording.hole_interval_text(first.area_m2, 'inch')}."
    return f"{area[:1].upper() + area[1:]}{hole}." + _others(ranking, last)


def _others(ranking: Ranking, last: Assessment | None) -> str:
    limit = last.limit if last else None
    if limit is None or len(ranking.paths) < 2:
        return ""
    rest = sum(max(p.area_m2.value, 0.0) for p in ranking.paths[1:])
    return " All other places together stay under the limit." if rest < limit.area_m2 else ""


def _last(known: Findings) -> Assessment | None:
    return known.last.result if known.last else None


def _ranked(known: Findings, view: View, ranking: Ranking) -> Component:
    last, name = _last(known), known.box.name
    setup = last.setup if last else None
    told = not not_told_words(known)
    bad = last.verdict if last and last.verdict in ("over", "stalls") and not told else None
    if ranking.waiting:
        head = parts.head(QUESTION, f"Not known since {named_repairs(ranking.waiting)}.", ranking.advice[0])
    elif last is not None and all_tight(known):
        head = _tight_head(last, view)
    else:
        head = parts.head(QUESTION, answer(known, ranking, setup), lead(known, ranking, last, view), verdict=bad)
    rows = figures_rank.rows_of(ranking, likely_paths(known), setup)
    if view.narrow:
        bars, table = _bars(known, rows, view, view.inner)
        children = [
            head,
            parts.paper(parts.drawn(_section(known, view.inner, setup, view.system)), class_name="flush"),
            html.Div(bars, className="flush-in"),
            *_what_next(known, ranking),
            table,
        ]
    else:
        left = (view.inner - 20) * 0.465
        right = view.inner - 20 - left
        bars, table = _bars(known, rows, view, right - 34)
        beside = parts.side(head, bars, *_what_next(known, ranking), table)
        children = [parts.split(f"{left:.0f}px minmax(0,1fr)", _pictures(known, left - 34, setup, view), beside)]
    return parts.box_page(view, name, label(known), TAB, QUESTION, *children, _bar(known, ranking))


def _section(known: Findings, width: float, setup: str | None, system: System) -> str:
    last = _last(known)
    valve: Valve = "open" if last is not None and last.test == "stall" else "shut"
    places, notes = ranked_places(known, system), not_told_words(known)
    if notes:
        places = [replace(p, words="") if p.state == "likely" else p for p in places]
    return section(
        known.box,
        width,
        places,
        setup=setup,
        valve=valve,
        tallest=130,
        notes=notes,
        label=f"{known.box.name} cut along its length; likely places are hatched",
    )


def not_told_words(known: Findings) -> tuple[str, ...]:
    """The label of likely places that no test parts; empty when the likeliest stands alone."""
    ranking = known.ranking
    group = likely_paths(known)
    if ranking is None or group not in ranking.not_told_apart:
        return ()
    names = [PATHS[parent(p)].short for p in group]
    return (", ".join(dict.fromkeys(names)) + ":", "not told apart")


def _chances(known: Findings) -> list[Component]:
    """What the numbers in the drawing are, where it has any."""
    if not ranked_places(known):
        return []
    return [html.P("Numbers beside places: the chance, in 100, that it lets in most.", className="note")]


def _pictures(known: Findings, width: float, setup: str | None, view: View) -> Component:
    inside = known.box.inside_mm
    sizes = (
        "sizes not given; drawn as a middling box"
        if inside is None
        else (
            f"inside {size_words(inside, view.system)}"
            + (f", {wording.size_text(known.box.board_mm, view.system)} board" if known.box.board_mm else "")
        )
    )
    top = [
        html.H2("Cut along its length, through the port", className="minor"),
        parts.drawn(_section(known, width, setup, view.system)),
        *_chances(known),
    ]
    stalls = [t for t in known.trials if t.result.test == "stall" and t.result.area_m2 is not None]
    if len(stalls) > 1:
        return parts.side(
            parts.paper(*top, html.P(sizes, className="note")),
            parts.paper(
                html.H2("Stall tests: the pump against the leak", className="minor"),
                parts.drawn(stall_tests(known, width, view.system)),
            ),
        )
    places = _seams(known)
    below = [
        html.Div(
            [html.H2("From above", className="minor"), html.Span(sizes, className="note")], className="figure-head"
        ),
        parts.drawn(plan(known.box, width, places, label="The box from above: seams, vents, baffles, port")),
    ]
    return parts.paper(*top, *below)


def _seams(known: Findings) -> list[Place]:
    """The seams as their tests have them; without any the panel edges as a whole stand on all four."""
    return [Place(p.path, p.state, p.chance, p.words) for p in ranked_places(known) if seam_of(p, known.box)]


def _bars(known: Findings, rows: Sequence[Row], view: View, width: float) -> tuple[Component, Component]:
    last = _last(known)
    limit = last.limit.area_m2 if last and last.limit else None
    points = [_row_sentence(r, view) for r in rows]
    table = parts.as_table(
        ("place", "leak area, 95 %", "chance it is the largest", "what the tests say"), [_cells(r, view) for r in rows]
    )
    drawing = parts.drawn(
        figures_rank.ranking_bars(rows, limit, width, view.system, "Bars of the leak area of each place; largest first")
    )
    return parts.paper(parts.figure(drawing, "Leak area of each place, largest first", points=points)), table


def _row_sentence(row: Row, view: View) -> str:
    area = (
        "not tested"
        if row.area_m2 is None
        else area_unit(view.system).text(row.area_m2, signed=row.area_m2.low < 0)
    )
    return f"{wording.list_text(row.names)}: {area}" + (
        "" if row.chance is None else f"; {wording.chance_text(row.chance)}"
    )


def _cells(row: Row, view: View) -> tuple[str, str, str, str]:
    area = (
        "not tested"
        if row.area_m2 is None
        else area_unit(view.system).text(row.area_m2, signed=row.area_m2.low < 0)
    )
    return wording.list_text(row.names), area, figures_rank.chance_words(row), " ".join(row.evidence)


def next_words(test: NextTest) -> tuple[str, str]:
    """What the next test is, and what it would settle."""
    sealed = wording.list_text([wording.path_name(p, test.setup) for p in test.seal])
    setup = wording.setup_name(test.setup)
    hold = f"hold {wording.duration_text(test.hold_s)}"
    what = {
        "hold": f"Seal the {sealed}, {setup}, {hold}." if sealed else f"{setup[:1].upper() + setup[1:]}, {hold}.",
        "redraw": f"Pump down again without letting air in, {hold}.",
        "stall": f"{setup[:1].upper() + setup[1:]}{f', {sealed} sealed' if sealed else ''}: pump on till the "
        f"gauge stays.",
        "vent-behind-valve": f"Let air in behind the valve, then {hold}.",
        "repeat": f"Repeat it as it is: {setup}{f', {sealed} sealed' if sealed else ''}, {hold}.",
    }[test.do]
    return what, _upper(test.why) if test.why else ""


def _setup_href(known: Findings, test: NextTest) -> str:
    seal = f"&seal={','.join(test.seal)}" if test.seal else ""
    return f"/hold?box={known.box.name}&setup={test.setup}{seal}"


def _tight_head(last: Assessment, view: View) -> html.Div:
    said = two_parts(wording.answer_sentence(last, view.system))
    return parts.head(QUESTION, "Nothing needs mending: it is tight.", " ".join(s for s in said if s), verdict="tight")


def _what_next(known: Findings, ranking: Ranking) -> list[Component]:
    repair = _repair_card(known, ranking)
    if all_tight(known) and not ranking.waiting:
        repair = _tight_card(known, ranking)
        if ranking.next_test is None:
            return [html.Div(repair, className="cards")]
    cards = [_next_card(known, ranking), repair]
    return [
        html.Div(cards, className="split cards", style={"gridTemplateColumns": "1fr 1fr"}),
        *_silicone(ranking),
    ]


def _tight_card(known: Findings, ranking: Ranking) -> Component:
    """No repair: all places that were open are tight; the months are what is left, but for places never tried."""
    words = "None: it is tight. The bars show how small the places are, not where to mend."
    months = parts.button(
        "See its months", parts.box_href(known.box.name, "/months"), dark=ranking.next_test is None, whole=True
    )
    return parts.paper(html.H2("The repair to try"), html.P(words, style={"margin": "6px 0 12px"}), months)


def _silicone(ranking: Ranking) -> list[Component]:
    if not any("silicone" in a for a in ranking.advice[:2]):
        return []
    return [parts.caution("Silicone must cure before the next pull, a day or more; air the room.")]


def _next_card(known: Findings, ranking: Ranking) -> Component:
    test = ranking.next_test
    if test is None:
        return parts.paper(
            html.H2("The test that would tell most"), html.P("None: no further test would change the repair.")
        )
    what, why = next_words(test)
    return parts.paper(
        html.H2("The test that would tell most"),
        html.P([html.B(what), " ", why], style={"margin": "6px 0 12px"}),
        parts.button("Set up this test", _setup_href(known, test), dark=True, whole=True),
    )


def _repair_card(known: Findings, ranking: Ranking) -> Component:
    """The repair, with the button that writes it down; none while no test parts the likely places."""
    waits = bool(ranking.waiting)
    sure = not not_told_words(known) and ranking.unexplained is None and not waits
    words = ranking.advice[:2] or ("None yet: a bead in the wrong place costs a day.",)
    if waits:
        words = ("None before the last one is tested.",)
    place = ranking.paths[0].path
    done = parts.button("I have done this repair", parts.box_href(known.box.name, f"/event?kind=repair&path={place}"),
                        dark=ranking.next_test is None, whole=True)  # fmt: skip
    said = [html.P(a, style={"margin": "6px 0 12px"}) for a in words]
    return parts.paper(html.H2("The repair to try"), *said, *([done] if sure else []))


def _left_out(ranking: Ranking | None) -> Component:
    if ranking is None or not ranking.left_out:
        return html.Div()
    return parts.paper(html.H2("Left out"), html.Ul([html.Li(f"{log}: {why}") for log, why in ranking.left_out]))


def _bar(known: Findings, ranking: Ranking) -> Component:
    test = ranking.next_test
    if test is None and all_tight(known) and not ranking.waiting:
        return parts.bar(parts.button("See its months", parts.box_href(known.box.name, "/months"), dark=True))
    if test is None:
        return parts.bar(
            parts.button("I have done this repair", parts.box_href(known.box.name, "/event?kind=repair"), dark=True)
        )
    return parts.bar(
        parts.button("Set up this test", _setup_href(known, test), dark=True),
        words=f"Would tell most: {next_words(test)[0]}",
    )
