"""With and without sheet: four jaws on one linear axis through nothing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from analysis.results import Assessment, Interval
from dashboard import marks, svg
from dashboard.areas import MM2, AreaUnit
from dashboard.scales import Linear, linear_for


@dataclass(frozen=True)
class JawRow:
    """One row: name, note, interval in m2, single tests as rings, whether the limit counts for it."""

    name: str
    note: str
    area_m2: Interval | None
    rings_m2: tuple[float, ...] = ()
    limited: bool = False
    signed: bool = False
    strong: bool = False

    unit: AreaUnit = MM2

    @property
    def words(self) -> str:
        """The interval in words."""
        return "not known" if self.area_m2 is None else self.unit.text(self.area_m2, self.signed)

    @property
    def written(self) -> str:
        """The interval as it stands beside the axis."""
        return "not known" if self.area_m2 is None else self.unit.short(self.area_m2, self.signed)


def pooled(results: Sequence[Assessment]) -> Interval | None:
    """The middle of several tests, from their lowest to their highest end; one test as it is."""
    areas = sorted((r.area_m2 for r in results if r.area_m2 is not None), key=lambda a: a.value)
    if not areas:
        return None
    middle = areas[len(areas) // 2] if len(areas) % 2 else None
    value = middle.value if middle else (areas[len(areas) // 2 - 1].value * areas[len(areas) // 2].value) ** 0.5
    return Interval(value, min(a.low for a in areas), max(a.high for a in areas))


def _axis(rows: Sequence[JawRow], limit_m2: float | None, width: float, narrow: bool) -> Linear:
    unit = rows[0].unit
    areas = [r.area_m2.scaled(unit.per_m2) for r in rows if r.area_m2 is not None]
    high = max([a.high for a in areas] + [1.2 * limit_m2 * unit.per_m2 if limit_m2 else 0.0])
    low = min([a.low for a in areas] + [0.0])
    left, right = (24.0, width - 24.0) if narrow else (270.0, width - 260.0)
    return linear_for(low, high, left, right)


def four_jaws(rows: Sequence[JawRow], limit_m2: float | None, width: float, source: str | None = None) -> str:
    """The drawing; the limit stands only on the rows it counts for."""
    narrow = width < 700
    axis, step = _axis(rows, limit_m2, width, narrow), 74.0 if narrow else 55.0
    top = 62.0 if narrow and limit_m2 else 40.0
    bottom = top + 6 + step * len(rows)
    middles = [top + step * (i + 0.55) for i in range(len(rows))]
    # On a phone the names stand over the axis: its lines are drawn only behind the jaws.
    spans = [(y - 16, y + 27) for y in middles] if narrow else [(top, bottom)]
    parts = [_grid(axis, spans, rows[0].unit)]
    parts += [_row(r, axis, y, width, narrow) for r, y in zip(rows, middles, strict=True)]
    counted = sum(r.limited for r in rows)
    edge = top + step * counted
    parts.insert(1, svg.line((12, edge + 4), (width - 12, edge + 4), "ink", 1))
    if limit_m2:
        x = axis.at(limit_m2 * rows[0].unit.per_m2)
        named = f"limit {rows[0].unit.number(limit_m2)}" + (
            f", from {'the pump' if source == 'pump' else 'its parts'}" if source else ""
        )
        at = (min(x - 2, width - 12 - 7.6 * len(named)), top - 8) if narrow else (x + 10, top + 12)
        limits = [(y, end) for y, end in spans if y < edge] if narrow else [(top, edge)]
        parts += [marks.limit_upright(x, y, end) for y, end in limits]
        parts.append(svg.text(at, named, fill="air", bold=True))
    return svg.drawing(width, bottom + 4, "".join(parts), "; ".join(f"{r.name}: {r.words}" for r in rows))


def _grid(axis: Linear, spans: Sequence[tuple[float, float]], unit: AreaUnit) -> str:
    out = [
        svg.text((axis.at(0) - 14, 26), f"{unit.words}, 95 %", fill="second", anchor="end")
        if axis.at(0) > 90
        else svg.text((4, 12), f"{unit.words}, 95 %", fill="second")
    ]
    for tick in axis.ticks():
        x, (colour, wide) = axis.at(tick), ("ink", 1.8) if tick == 0 else ("hairline", 1.0)
        out.append(svg.text((x, 30), axis.label(tick), fill="second", anchor="middle"))
        out += [svg.line((x, top), (x, bottom), colour, wide) for top, bottom in spans]
    return "".join(out)


def _row(row: JawRow, axis: Linear, y: float, width: float, narrow: bool) -> str:
    colour = "air" if row.strong else "ink"
    if narrow:
        words = svg.text((12, y - 22), row.name, size=16, bold=True, fill=colour) + svg.text(
            (width - 12, y - 22), row.written, anchor="end", fill=colour
        )
    else:
        words = svg.text((axis.left - 30, y), row.name, size=17, bold=True, fill=colour, anchor="end")
        words += svg.text((axis.left - 30, y + 18), row.note, fill="second", anchor="end")
        words += svg.text((axis.right + 24, y + 5), row.written, size=16, bold=True, fill=colour)
    if row.area_m2 is None:
        return words
    ends = [axis.at(v * row.unit.per_m2) for v in (row.area_m2.low, row.area_m2.value, row.area_m2.high)]
    rings = (
        "".join(svg.circle((axis.at(r * row.unit.per_m2), y + 22), 4, "paper", "ink") for r in row.rings_m2)
        if len(row.rings_m2) > 1
        else ""
    )
    return words + marks.jaws(ends[0], ends[1], ends[2], y, 15, colour) + rings
