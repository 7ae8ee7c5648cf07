"""The numbers of one test: list, area axis with jaws, and how likely each leak law is."""

from __future__ import annotations

from typing import Any

from dash import html
from dash.development.base_component import Component

from acquisition.units import STANDARD_PRESSURE_PA
from analysis import wording
from analysis.limit import PUMP_SHARE_OF_LIMIT, workmanship_mark_m2
from analysis.numberwords import volume_text
from analysis.results import Assessment, Interval
from analysis.wording import System
from dashboard import marks, parts, svg
from dashboard.areas import AreaUnit, area_unit
from dashboard.flagwords import VARIANT_WORDS, noted
from dashboard.scales import Log
from dashboard.shop import Findings

Row = tuple[str, str, Any]


def trade_mark_m2(result: Assessment) -> float | None:
    """Leak area that loses 1 inHg in 5 minutes in this box's volume, m2."""
    if result.volume_m3 is None:
        return None
    return workmanship_mark_m2(result.volume_m3, result.room_pa or STANDARD_PRESSURE_PA)


def area_axis(result: Assessment, width: float, system: System) -> str:
    """The area on a log axis: jaws, limit, and the bag trade's mark as a plain tick."""
    area, unit = result.own_area_m2, area_unit(system)
    values = [
        v
        for v in (area.low if area else 0, area.high if area else 0, result.limit.area_m2 if result.limit else 0)
        if v > 0
    ]
    low = min(0.01, *(v * unit.per_m2 / 1.5 for v in values)) if values else 0.01
    axis = Log(
        max(low, 1e-3), max(2.0, *(v * unit.per_m2 * 1.6 for v in values)) if values else 2.0, 18.0, width - 12.0
    )
    out = [
        svg.line((axis.at(d), 44), (axis.at(d), 74), "hairline", 1)
        + svg.text((axis.at(d), 92), f"{d:g}", fill="second", anchor="middle")
        for d in axis.decades()
    ]
    mark = trade_mark_m2(result)
    if mark is not None:
        x = axis.at(mark * unit.per_m2)
        out += [
            svg.line((x, 44), (x, 74), "grey", 1.8),
            svg.text((x + 5, 57), "bag trade's mark", fill="second", size=13),
            svg.text((x + 5, 72), unit.number(mark), fill="second", size=13),
        ]
    if result.limit:
        x = axis.at(result.limit.area_m2 * unit.per_m2)
        out += [
            marks.limit_upright(x, 36, 74),
            svg.text(
                (x + 8, 12),
                f"limit {unit.number(result.limit.area_m2)}",
                fill="air",
                bold=True,
                anchor="end" if x > width - 90 else "start",
            ),
        ]
    return svg.drawing(width, 98, "".join(out) + _jaws(result, axis, unit), _sentence(result, unit))


def _jaws(result: Assessment, axis: Log, unit: AreaUnit) -> str:
    area = result.own_area_m2
    if area is None:
        return ""
    colour = "air" if result.verdict in ("over", "stalls") else "ink"
    open_left = area.low < area.high / 10
    value = None if open_left else axis.at(area.value * unit.per_m2)
    high = axis.at(area.high * unit.per_m2)
    words = f"at most {unit.number(area.high)}" if open_left else f"this test {unit.number(area.value)}"
    at = (min(axis.end + 8, max(high + 20, axis.start + 120)), "end")
    level = 32
    body = marks.jaws(0.0 if open_left else axis.at(area.low * unit.per_m2), value, high, 59, 14, colour, open_left)
    return body + svg.text((at[0], level), words, fill=colour, bold=True, anchor=at[1])


def _sentence(result: Assessment, unit: AreaUnit) -> str:
    return "Leak area " + (unit.text(area) if (area := result.own_area_m2) else "not known")


def law_bar(result: Assessment, width: float) -> str:
    """Chances of hole, between and seep as one bar."""
    if result.law is None:
        return ""
    x, out = 1.0, []
    chances = result.law.probability
    best = max(chances, key=lambda k: chances[k])
    for kind in ("hole", "between", "seep"):
        wide = chances.get(kind, 0.0) * (width - 2)
        fill = "ink" if kind == best else ("url(#covered)" if kind == "between" else "paper")
        out.append(svg.rect(x, 2, wide, 22, fill, "ink", 1.4))
        x += wide
    others = " · ".join(
        f"{k} {round(100 * chances[k])}" for k in ("hole", "between", "seep") if k != best and k in chances
    )
    named = f"{best} {round(100 * chances[best])} in 100"
    words = svg.text((2, 42), f"{named}; {others}", fill="second")
    return svg.drawing(width, 48, "".join(out) + words, f"Leak law: {named}; {others}")


def _pair(label: str, text: str, more: str = "") -> Row:
    value, rest = parts.value_and_rest(text)
    return label, value, "; ".join(s for s in (rest, more) if s)


def rows(known: Findings, result: Assessment, system: System) -> list[Row]:
    """Label, value and the rest, in the order of the pages: hole, loss, area, then the others."""
    area, plug = result.own_area_m2, "with the check plug open" if result.plug_area_m2 > 0 else ""
    if area is None:
        return []
    out = [
        _pair(
            "like one drilled hole of",
            wording.hole_interval_text(area, system),
            "95\u00a0%",
        )
    ]
    loss = wording.loss_sentence(result, system)
    if loss:
        amount, _, time = loss.partition(" lost in ")
        out.append(
            ("lost in 5 min", amount, plug)
            if time.startswith("5") and "min" in time and "s" not in time.replace("min", "")
            else (f"{amount} lost in", time, plug)
        )
    fit = ""
    if result.area_fit_m2 is not None:
        ends = wording.area_text(result.area_fit_m2.less(result.plug_area_m2), "metric")
        fit = f"fit alone {parts.value_and_rest(ends)[1]}"
    out.append(_pair("leak area", area_unit(system).text(area), fit if system == "metric" else ""))
    if result.leakage_rate_pa_m3_s is not None:
        rate = wording.leakage_text(result.leakage_rate_pa_m3_s, system, result.room_k or 293.15)
        out.append(_pair("leakage rate", rate, plug))
    return out + _more(known, result, area, system)


def _more(known: Findings, result: Assessment, area: Interval, system: System) -> list[Row]:
    out: list[Row] = []
    limit = result.limit
    if limit is not None and limit.source == "pump":
        share = area.scaled(PUMP_SHARE_OF_LIMIT / limit.area_m2)
        value = "all of it" if share.value > 0.99 else wording.chance_text(share.value)
        ends = "" if share.high > 1 or share.value < 0.01 else f"{100 * share.low:.0f} to {100 * share.high:.0f}"
        out.append(("takes of the pump", value, ends))
    if result.earlier_holds:
        first = result.earlier_holds[0]
        out.append(_pair("first hold", area_unit(system).text(first.area_m2), "this is after the redraw"))
    if limit is not None:
        source = "from the pump" if limit.source == "pump" else "from its parts"
        out.append(
            (
                "limit used",
                f"{area_unit(system).number(limit.area_m2)}\u00a0{area_unit(system).words}",
                f"{source}; like {wording.hole_text(limit.area_m2, system)}",
            )
        )
    else:
        out.append(("limit used", "none", wording.no_limit_words(result)))
    if result.volume_m3 is not None:
        u = result.u_log_volume * 196
        out.append(("volume", volume_text(1e3 * result.volume_m3, system), f"to {u:.0f} in 100" if u >= 0.5 else ""))
    if result.release is not None and result.release.present:
        out.append(("release", wording.chance_text(result.release.share), "of the rise is not a leak"))
    if result.law is not None:
        out.append(("leak law", result.law.kind, VARIANT_WORDS.get(result.law.variant or "", "")))
    return out


def also_seen(result: Assessment) -> list[Component]:
    """What else the readings showed, a sentence each."""
    said = noted(result)
    return [html.P(f"{words[:1].upper()}{words[1:]}.", className="note") for words in said]


def numbers(known: Findings, result: Assessment, system: System) -> Component:
    """The list as a component."""
    return parts.numbers(rows(known, result, system))
