"""A hold test that runs: is the air staying out, and is it worth holding on?."""

from __future__ import annotations

from typing import Any

from dash import Dash, html
from dash.development.base_component import Component
from flask import Flask, jsonify, request

from acquisition.errors import BoxholdError, WrongUsage
from acquisition.setups import open_paths
from analysis import wording
from analysis.holding import NARROW
from analysis.limit import limit_for
from analysis.numberwords import hole_interval_text, load_text
from analysis.panels import load_tonnes
from analysis.results import Interval
from dashboard import figures_live, outline, parts
from dashboard.areas import area_unit, size_words
from dashboard.figures import Scale
from dashboard.holds import HoldState
from dashboard.pages.common import Page
from dashboard.places import section
from dashboard.section import Valve
from dashboard.shop import Shop
from dashboard.view import View

QUESTION = "Is the air staying out, and is it worth holding on?"
SOAK_S = 180.0
STEP_OF = {"baseline": "Baseline", "pump-down": "Pump-down", "soak": "Soak", "hold": "Hold", "let-up": "Let-up"}
ACTIONS = {"shut": "hold", "end": "end of hold", "on": "hold"}


def page(shop: Shop, view: View, name: str) -> Page:
    """The running test of one box; any number of viewers."""
    hold = shop.holds.of(name)
    if hold is None:
        raise WrongUsage(f"No hold test of {name} is running. Start one under Hold test.")
    state = hold.state()
    return Page(html.Main(_body(state, view), className="live"), working=state.closed is None)


def _body(state: HoldState, view: View) -> list[Component]:
    answer, lead = said(state, view)
    acts = actions(state)
    top = _top(state, view)
    head = html.Div([parts.head(QUESTION, answer, lead), _clock(state)], className="with-clock")
    trouble = [html.P(state.trouble, className="error", role="status")] if state.trouble else []
    scale = Scale(view.system, state.room_pa)
    width = view.inner if view.narrow else (view.inner - 20) * 0.706 - 34
    tall = (230.0, 250.0) if view.narrow else (270.0, 270.0)
    curve = _figure(
        "Pressure in the box",
        f"gauge {state.header.gauge}",
        figures_live.live_curve(state, scale, width, tall[0]),
        width,
        "live-curve",
    )
    sure = _figure(
        "How sure so far",
        "band: 95 % interval of the leak area",
        figures_live.how_sure(state, width, tall[1], area_unit(view.system)),
        width,
        "live-sure",
    )
    if view.narrow:
        order = [sure, curve] if state.estimates else [curve]
        return [top, head, *trouble, *order, _caution(state, view.system), parts.bar(*acts)]
    beside = parts.side(
        _picture(state, view, (view.inner - 20) * 0.294 - 34),
        _worth(state, view),
        _caution(state, view.system),
        html.Div(acts, className="big-acts"),
    )
    return [top, parts.split("minmax(0,2.4fr) minmax(0,1fr)", parts.side(head, *trouble, curve, sure), beside)]


def _top(state: HoldState, view: View) -> Component:
    step = "Answer" if state.closed else STEP_OF[state.phase]
    note = html.Span("recording goes on if you close this page", className="note far")
    if view.narrow:
        at = outline.STEPS.index(step) + 1
        return html.Div(
            [
                parts.plate(state.box.name),
                html.B(step),
                html.Span(f"step {at} of {len(outline.STEPS)}", className="second"),
            ],
            className="strip",
        )
    return html.Div([parts.plate(state.box.name), parts.drawn(outline.outline(step, 960)), note], className="strip")


def _clock(state: HoldState) -> Component:
    held = state.held_s
    words = wording.clock_text(state.phase_s if held is None or state.phase != "hold" else held)
    label = "shut" if state.phase == "hold" else state.phase
    return html.Div(
        [html.Span(words, className="clock", id="clock"), html.Span(label, className="note")], className="clock-place"
    )


def said(state: HoldState, view: View) -> tuple[str, str]:
    """Heading and lead of the moment."""
    if state.closed is not None:
        return "The log is kept.", "Its answer stands under Tests of this box."
    if state.now_pa is None and state.phase == "baseline":
        return "Listening to the gauge.", "Its first reading shows here."
    now = "" if state.now_pa is None else wording.pressure_text(state.now_pa, view.system, state.room_pa, 1)
    before = {
        "baseline": (f"Open to the room, {now}.", "Now pump down. The shut and all else is found from the readings."),
        "pump-down": (f"Pumping down, {now}.", "Stay clear of the top, eyes covered. It levels off by itself."),
        "soak": (
            "Soak. Keep the pump on.",
            f"{wording.clock_text(state.phase_s)} of "
            f"{wording.clock_text(SOAK_S)}; skip it and the answer is wider. "
            f"Then shut the valve.",
        ),
        "let-up": (
            "Open slowly, wait for room pressure.",
            "The recording ends by itself when the room's pressure is back.",
        ),
    }
    if state.stalled:
        return (
            f"The pump stalls at {now}. That is an answer: a big leak."
        ), "Let it run a minute more, then let air in slowly."
    return before[state.phase] if state.phase in before else _holding(state, view)


def _holding(state: HoldState, view: View) -> tuple[str, str]:
    if state.answer is None or state.verdict is None:
        return "Shut. Too early to say.", (
            "The gas still warms from the pump-down; the first answer comes within half a minute."
        )
    enough = state.advice.enough
    heading = {
        "tight": "Tight, so far.",
        "within": "Within its limit, so far.",
        "over": "Over its limit.",
        "stalls": "Over its limit.",
        "cannot-tell": "Cannot tell yet.",
        "no-answer": "No answer yet.",
        "no-limit": "Holding.",
    }[state.verdict]
    go_on = " You may stop now." if enough or state.advice.no_better else " Hold on."
    return heading + go_on, _so_far(state, view)


def _so_far(state: HoldState, view: View) -> str:
    area = state.estimates[-1].area_m2 if state.estimates else None
    if area is None:
        return state.answer.sentence if state.answer else ""
    limit = limit_for(state.box)
    bound = "" if limit is None else f"; its limit is {wording.limit_text(limit, view.system)}"
    return f"Like one drilled hole of {hole_interval_text(Interval(*area), view.system)}{bound}."


def actions(state: HoldState) -> list[Component]:
    """The two buttons of the moment."""
    name = state.box.name
    if state.closed is not None:
        return [parts.button("See the answer", parts.box_href(name, f"/tests/{state.closed.stem}"), dark=True)]
    if state.phase == "hold":
        on = state.advice.until_s
        second = (
            []
            if on is None or on <= (state.held_s or 0)
            else [_act(f"Hold on to {wording.clock_text(on)}", "on", "H holds on")]
        )
        return [_act("End the hold", "end", "space bar", dark=True), *second]
    if state.phase == "let-up":
        return [_act("Keep the log", "stop", "", dark=True), _act("Undo: the hold goes on", "on", "")]
    return [_act("Shut: start the hold", "shut", "", dark=True), _act("Keep the log", "stop", "")]


def _act(words: str, action: str, note: str, dark: bool = False) -> Component:
    small = [html.Small(note)] if note else []
    return html.Button(
        [words, *small],
        className="button dark" if dark else "button",
        type="button",
        **parts.wild({"data-hold": action}),
    )


def _figure(title: str, note: str, fig: Any, width: float, id: str) -> Component:
    head = html.Div(
        [html.H2(title), html.Span(note, className="note")],
        className="figure-head",
        style={"justifyContent": "space-between"},
    )
    return parts.paper(head, parts.graph(fig, id=id, width=width), class_name="flush" if width < 700 else "")


def _picture(state: HoldState, view: View, width: float) -> Component:
    setup = state.header.setup
    still = [wording.path_name(p, setup) for p in open_paths(setup or "", state.header.sealed)]
    valve: Valve = "shut" if state.phase == "hold" else "open"
    drawing = section(
        state.box, max(width, 300.0), (), setup=setup, valve=valve, tallest=90, label="The box under test"
    )
    inside = "" if state.box.inside_mm is None else f", {size_words(state.box.inside_mm, view.system)}"
    return parts.paper(
        html.H2(f"{state.box.name}{inside}", className="minor"),
        parts.drawn(drawing),
        html.P(f"open to leaks: {', '.join(still)}", className="note"),
    )


def _worth(state: HoldState, view: View) -> Component:
    if state.phase != "hold" or not state.estimates:
        return parts.paper(html.H2("Worth holding on for"), html.P("Told once the valve is shut.", className="second"))
    rows, limit = [], limit_for(state.box)
    now = state.estimates[-1]
    if limit is not None:
        told = next((e.held_s for e in state.estimates if e.verdict in ("tight", "within", "over")), None)
        rows.append(
            _flag(
                "Limit or not",
                told is not None and now.verdict != "cannot-tell",
                f"told at {wording.clock_text(told)}" if told else "not yet",
            )
        )
    until = state.advice.until_s
    close = now.half_width <= NARROW
    more = (
        "known"
        if close
        else ("no end in sight" if until is None else f"{wording.duration_text(max(until - now.held_s, 1.0))} more")
    )
    rows.append(_flag("Area to 10 %", close, more))
    share = (state.now_pa or 0.0) / state.room_pa
    rows.append(
        _flag(
            "Hole or seep",
            share > 0.6,
            "told"
            if share > 0.6
            else f"undetermined till {wording.pressure_text(0.53 * state.room_pa, view.system, state.room_pa)}",
        )
    )
    last = [html.P("Holding on would not change what to do.", className="note")] if state.advice.no_better else []
    return parts.paper(html.H2("Worth holding on for"), html.Ul(rows), *last)


def _flag(words: str, known: bool, more: str) -> Component:
    from dashboard import svg

    cloth = svg.poly(((6, 3), (19, 8), (6, 13)), "ink" if known else "none", "ink", 1.6)
    sign = svg.el("svg", svg.line((5, 2), (5, 24), "ink", 2) + cloth, width=22, height=26, aria_hidden="true")
    return html.Li([parts.drawn(sign), html.B(words), html.Span(more, className="far")], className="flag-row")


def _caution(state: HoldState, system: wording.System) -> Component:
    now = state.now_pa if state.now_pa is not None else state.room_pa
    tonnes = load_tonnes(state.box, max(state.room_pa - now, 0.0))
    if state.phase == "let-up":
        return parts.caution("Open slowly; hands and hair away from the valve and the vents.")
    if tonnes is None:
        return parts.caution("Stay clear of the top, eyes covered. Creaking: let air in.")
    return parts.caution(
        "The top carries about ",
        html.B(load_text(tonnes, system)),
        " just now. Stay clear of it, eyes covered.",
    )


def add_callbacks(app: Dash, shop: Shop) -> None:
    """The buttons of a running test, and what it hears between two drawings of the page."""
    server: Flask = app.server

    @server.get("/api/hold/<name>/heard")
    def heard(name: str) -> Any:
        hold = shop.holds.of(name)
        if hold is None:
            return jsonify(error="No hold test of this box is running.")
        latest = hold.latest(request.args.get("from", 0, type=int) - 1)
        scale = Scale("inch" if request.args.get("units") == "inch" else "metric", latest.room_pa)
        return jsonify(figures_live.heard_since(latest, scale) | {"clock": wording.clock_text(latest.clock_s)})

    @server.post("/api/hold/<name>")
    def act(name: str) -> Any:
        hold, action = shop.holds.of(name), (request.get_json(silent=True) or {}).get("do", "")
        if hold is None:
            return jsonify(error="No hold test of this box is running.")
        try:
            if action == "stop":
                hold.stop()
            elif action in ACTIONS:
                hold.say(ACTIONS[action])
            elif action == "remark":
                hold.live.remark(str(request.get_json().get("text", ""))[:400])
        except BoxholdError as trouble:
            return jsonify(error=str(trouble))
        return jsonify(done=True)
