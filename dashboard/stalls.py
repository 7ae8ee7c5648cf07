"""Stall tests of one box under each other, with jaws on one axis; two that do not meet are marked."""

from __future__ import annotations

from itertools import pairwise

from analysis import wording
from analysis.results import Assessment
from analysis.wording import System
from dashboard import marks, svg
from dashboard.areas import AreaUnit, area_unit
from dashboard.scales import Linear, linear_for
from dashboard.shop import Findings

ROW = 84.0


def stall_tests(known: Findings, width: float, system: System = "metric") -> str:
    """The last four stall tests with an area, oldest first."""
    unit = area_unit(system)
    results = [r for r in known.results if r.test == "stall" and r.area_m2 is not None][-4:]
    highs = [a.high * unit.per_m2 for r in results if (a := r.own_area_m2)]
    axis = linear_for(0.0, max(highs, default=1.0), max(150.0, width * 0.4), width - 24)
    bottom = 46 + ROW * len(results)
    grid = "".join(
        svg.text((axis.at(t), 38), axis.label(t), fill="second", anchor="middle")
        + svg.line((axis.at(t), 46), (axis.at(t), bottom), "hairline", 1)
        for t in axis.ticks()
    )
    rows = "".join(_row(r, axis, system, 46 + ROW * (i + 0.5)) for i, r in enumerate(results))
    limit = next((r.limit for r in results if r.limit), None)
    twin = marks.limit_upright(axis.at(limit.area_m2 * unit.per_m2), 46, bottom) if limit else ""
    title = svg.text(
        (axis.right, 18), f"leak area by the pump's curve, {unit.words}, 95 %", fill="second", anchor="end"
    )
    return svg.drawing(
        width, bottom + 6, title + grid + twin + rows + _apart(results, axis, unit), "Stall tests with their intervals"
    )


def _row(result: Assessment, axis: Linear, system: System, y: float) -> str:
    area, unit = result.own_area_m2, area_unit(system)
    if area is None:
        return ""
    day = wording.date_text(result.started.date(), with_year=False) if result.started else "a day not said"
    level = (
        ""
        if result.stall_pa is None
        else f"sits at {wording.pressure_text(result.stall_pa, system, result.room_pa or 101_325.0)}"
    )
    words = svg.text((4, y - 10), day, size=16, bold=True) + svg.lines_of_text(
        (4, y + 9), (wording.setup_name(result.setup), level), 17, fill="second"
    )
    return words + marks.jaws(
        axis.at(area.low * unit.per_m2), axis.at(area.value * unit.per_m2), axis.at(area.high * unit.per_m2), y
    )


def _apart(results: list[Assessment], axis: Linear, unit: AreaUnit) -> str:
    out = []
    for i, (one, other) in enumerate(pairwise(results)):
        first, second = one.own_area_m2, other.own_area_m2
        if first is None or second is None or one.setup != other.setup or one.sealed != other.sealed:
            continue
        low, high = sorted((first, second), key=lambda a: a.value)
        if low.high < high.low:
            y = 46 + ROW * (i + 1)
            a, b = axis.at(low.high * unit.per_m2), axis.at(high.low * unit.per_m2)
            out.append(
                svg.line((a, y), (b, y), "ink", 1.8) + svg.text((a - 8, y + 5), "do not meet", bold=True, anchor="end")
            )
    return "".join(out)
