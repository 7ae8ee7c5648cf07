"""Where the air gets in, as bars: one a path, largest first, hatched by chance, with jaws and the limit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from acquisition.setups import PATHS, parent
from analysis import wording
from analysis.results import Interval, PathResult, Ranking
from dashboard import marks, svg
from dashboard.areas import AreaUnit, area_unit
from dashboard.scales import Linear, linear_for

CHANCE_WIDE = 112.0
SIGN_PX = 6.4
"""Width of a sign of the words over the bars, px; rather too much."""
LIMIT_SIGN_PX = 22.0


@dataclass(frozen=True)
class Row:
    """One bar: names (several when they are not told apart), area in m2, chance (0..1), evidence lines.

    ``kind`` is ``path``, ``out`` (takes air out), ``untested`` or ``odd`` (unexplained).
    """

    names: tuple[str, ...]
    area_m2: Interval | None
    chance: float | None
    evidence: tuple[str, ...] = ()
    likely: bool = False
    kind: str = "path"
    split: str = ""
    paths: tuple[str, ...] = field(default=())


def rows_of(ranking: Ranking, likely: Sequence[str], setup: str | None) -> list[Row]:
    """The bars of a ranking: groups first told as one, then single paths, untested ones, the unexplained."""
    grouped = {p: i for i, group in enumerate(ranking.not_told_apart) for p in group}
    rows, done = [], set()
    for result in ranking.paths:
        at = grouped.get(result.path)
        if result.untested:
            name = wording.path_name(result.path, setup)
            told = result.evidence[-1:]
            rows.append(Row((name,), None, None, told, result.path in likely, "untested", paths=(result.path,)))
        elif at is None:
            taken = result.path == "valve-seat" and result.area_m2.value < 0
            name = wording.path_name(result.path, setup)
            rows.append(
                Row(
                    (name,),
                    result.area_m2,
                    result.probability_largest,
                    result.evidence[:2],
                    result.path in likely,
                    "out" if taken else "path",
                    paths=(result.path,),
                )
            )
        elif at not in done:
            done.add(at)
            rows.append(_group_row(ranking, at, likely, setup))
    return rows + _rest(ranking, setup)


def _group_row(ranking: Ranking, at: int, likely: Sequence[str], setup: str | None) -> Row:
    members = [p for p in ranking.paths if p.path in ranking.not_told_apart[at]]
    names = tuple(wording.path_name(p.path, setup) for p in members)
    likely_one = any(p.path in likely for p in members)
    area = ranking.not_told_apart_m2[at] if at < len(ranking.not_told_apart_m2) else _outer(members)
    return Row(
        names,
        area,
        sum(p.probability_largest for p in members),
        ("one bar, until a test parts them",),
        likely_one,
        split=_guess(members) if likely_one else "",
        paths=tuple(p.path for p in members),
    )


def _guess(members: Sequence[PathResult]) -> str:
    """How the chance might split, in three short names at most: only words, and called a guess."""
    likely = sorted((p for p in members if p.probability_largest >= 0.095), key=lambda p: -p.probability_largest)
    named = likely[:3]
    shown = [f"{PATHS[parent(p.path)].short} {round(100 * p.probability_largest)}" for p in named]
    rest = round(100 * sum(p.probability_largest for p in members if p not in named))
    return ", ".join([*shown, *([f"rest {rest}"] if rest else [])]) + ": a guess"


def _outer(members: Sequence[PathResult]) -> Interval:
    areas = [m.area_m2 for m in members]
    return Interval(sum(a.value for a in areas), max(a.low for a in areas), sum(a.high for a in areas))


def _rest(ranking: Ranking, setup: str | None) -> list[Row]:
    rows = []
    if ranking.not_tested:
        names = wording.list_text([wording.path_name(p, setup) for p in ranking.not_tested])
        rows.append(Row((names,), None, None, ("closed off in every test",), kind="untested"))
    if ranking.unexplained is not None:
        by = abs(ranking.unexplained.by_m2)
        rows.append(Row(("Unexplained",), Interval(by, by, by), None, (ranking.unexplained.sentence,), kind="odd"))
    return rows


@dataclass(frozen=True)
class Sheet:
    """Where things stand on the drawing: width, the bars' axis, whether for a phone."""

    width: float
    axis: Linear
    narrow: bool
    unit: AreaUnit

    def tall(self, row: Row) -> float:
        """Height of a row, px."""
        names = len(self.names(row))
        if self.narrow:
            return 54.0 + 20 * (names - 1) + (18 if self.split_fits(row) else 0)
        return max(44.0, 11 + 20 * names + 17 * len(self.evidence(row)))

    def bar_at(self, row: Row, top: float) -> float:
        """Y of the middle of a row's bar."""
        return top + 36 + 20 * (len(self.names(row)) - 1) if self.narrow else top + self.tall(row) / 2

    def names(self, row: Row) -> list[str]:
        """Names of a row as its lines: each its own, more than three run on."""
        if len(row.names) < 4:
            return [n[:1].upper() + n[1:] for n in row.names]
        listed = ", ".join(row.names)
        return svg.wrapped(
            listed[:1].upper() + listed[1:], int((self.width - 140 if self.narrow else self.axis.left - 50) / 8.2)
        )

    def split_fits(self, row: Row) -> bool:
        """Whether the guess fits under a phone's bar."""
        return bool(row.split) and len(row.split) * 6.6 < self.width - self.axis.at(0.0) - 8

    def evidence(self, row: Row) -> list[str]:
        """At most five lines of what the tests say; what is cut ends in an ellipsis."""
        lines = [line for e in row.evidence for line in self.lines(e)]
        return lines if len(lines) <= 5 else [*lines[:4], f"{lines[4].rstrip('.,;')}…"]

    def lines(self, evidence: str) -> list[str]:
        """Evidence in lines that fit the first column."""
        return svg.wrapped(evidence, int((self.axis.left - 40) / 6.9))


def _axis_words(sheet: Sheet, limit_m2: float | None) -> str:
    words = sheet.unit.words
    title = "chance it is the largest" if sheet.narrow and len(words) < 5 else "chance largest"
    x = 12.0 if sheet.narrow else sheet.axis.left - 28
    limit = f"limit {sheet.unit.number(limit_m2)}" if limit_m2 else ""
    unit = f"{words}, 95 %"
    taken = x + (len(f"leak area, {unit}; {limit}{title}") + 1) * SIGN_PX + LIMIT_SIGN_PX
    if not sheet.narrow and taken < sheet.width - 12:
        unit = f"leak area, {unit}"
    out = svg.text((x, 18), unit + ("; " if limit else ""), fill="second", edge=None)
    if limit:
        at = x + len(unit) * SIGN_PX + 26
        out += svg.line((at, 6), (at, 20), "air", 2) + svg.line((at + 4.5, 6), (at + 4.5, 20), "air", 1)
        out += svg.text((at + 10, 18), limit, fill="air", bold=True, edge=None)
    if not sheet.narrow:
        out = svg.text((12, 18), "place, and what the tests say of it", fill="second", edge=None) + out
    return out + svg.text((sheet.width - 12, 18), title, fill="second", anchor="end", edge=None)


def _uprights(sheet: Sheet, rows: Sequence[tuple[Row, float]], limit_m2: float | None) -> str:
    """Lines of the axis and the limit: down the whole drawing, on a phone only behind the bars, not the names."""
    if sheet.narrow:
        spans = [(sheet.bar_at(row, top) - 14, sheet.bar_at(row, top) + 14) for row, top in rows]
    else:
        spans = [(48.0, rows[-1][1] + sheet.tall(rows[-1][0]))] if rows else []
    out = []
    for value in sheet.axis.ticks():
        x, zero = sheet.axis.at(value), value == 0
        out.append(svg.text((x, 40), sheet.axis.label(value), fill="second", anchor="middle", edge=None))
        colour, wide = ("ink", 1.8) if zero else ("hairline", 1.0)
        out += [svg.line((x, top), (x, bottom), colour, wide) for top, bottom in spans]
    if limit_m2:
        x = sheet.axis.at(limit_m2 * sheet.unit.per_m2)
        out += [marks.limit_upright(x, top, bottom) for top, bottom in spans]
    return "".join(out)


def _bar(sheet: Sheet, row: Row, y: float) -> str:
    """Bar and jaws with the bar's middle at ``y``."""
    zero = sheet.axis.at(0.0)
    if row.area_m2 is None:
        return svg.rect(zero, y - 9, sheet.axis.right - zero, 18, "paper", "grey", 1.4, "4 4") + svg.text(
            ((zero + sheet.axis.right) / 2, y + 5), "not tested", fill="second", anchor="middle"
        )
    end = sheet.axis.at(row.area_m2.value * sheet.unit.per_m2)
    box = (min(zero, end), y - 10, abs(end - zero), 20)
    ground = svg.rect(*box, fill="paper")
    if row.kind == "odd":
        return ground + svg.rect(*box, "none", "ink", 1.6, "2 4")
    fill = "url(#covered)" if row.kind == "out" else svg.by_chance(row.chance or 0.0, "air" if row.likely else "ink")
    bar = ground + svg.rect(*box, fill=fill, stroke="air" if row.likely else "grey", width=1.8 if row.likely else 1.4)
    return bar + _jaws(sheet, row.area_m2, y, "air" if row.likely else "ink")


def _jaws(sheet: Sheet, area: Interval, y: float, colour: str) -> str:
    low, high = (sheet.axis.at(end * sheet.unit.per_m2) for end in (area.low, area.high))
    ends = "".join(svg.line((x, y - 10), (x, y + 10), colour, 3) for x in (low, high))
    return svg.line((low, y), (high, y), colour, 2.6) + ends


def chance_words(row: Row) -> str:
    """Right column of a row."""
    if row.kind == "out":
        return "takes out"
    if row.chance is None or row.kind != "path":
        return ""
    return "under 1" if row.chance < 0.01 else wording.chance_text(row.chance).replace(" or more", "")


def _names(sheet: Sheet, row: Row, y: float) -> str:
    bold = row.likely or row.kind == "odd"
    left = 30.0 if len(row.names) > 1 else (12.0 if sheet.narrow else 20.0)
    shown = sheet.names(row)
    out = svg.lines_of_text((left, y), shown, 20, size=16, bold=bold)
    if len(row.names) > 1:
        low = y + 20 * (len(shown) - 1) + 6
        out += svg.path(((22, y - 16), (14, y - 16), (14, low), (22, low)), "air" if row.likely else "ink", 2.4)
    return out


def _row(sheet: Sheet, row: Row, top: float) -> str:
    tall = sheet.tall(row)
    colour = "air" if row.likely else "ink"
    words = svg.text(
        (sheet.width - 12, top + (18 if sheet.narrow else tall / 2 + 5)),
        chance_words(row),
        size=16,
        fill=colour,
        bold=row.likely,
        anchor="end",
    )
    if sheet.narrow:
        y = sheet.bar_at(row, top)
        below = (
            svg.text((sheet.axis.at(0.0), y + 24), row.split, fill="second", size=13) if sheet.split_fits(row) else ""
        )
        return _bar(sheet, row, y) + _names(sheet, row, top + 18) + words + below
    y = top + 18
    out = _names(sheet, row, y) + svg.lines_of_text(
        (30 if len(row.names) > 1 else 20, y + 20 * len(sheet.names(row)) - 3),
        sheet.evidence(row),
        16,
        size=14,
        fill="second",
    )
    split = svg.text((sheet.axis.at(0.0) + 10, top + tall / 2 + 28), row.split, fill="second") if row.split else ""
    return (
        out
        + _bar(sheet, row, sheet.bar_at(row, top))
        + split
        + words
        + svg.line((12, top + tall), (sheet.width - 12, top + tall), "hairline", 1)
    )


def ranking_bars(
    rows: Sequence[Row], limit_m2: float | None, width: float, system: wording.System = "metric", label: str = ""
) -> str:
    """The whole drawing.

    Parameters
    ----------
    rows
        From ``rows_of``.
    limit_m2
        The box's limit, m2, or None.
    width
        Width in px; under 480 it is laid out for a phone.
    system
        Units of the words.
    label
        Sentence for screen readers.
    """
    narrow = width < 480
    left = 44.0 if narrow else min(320.0, width * 0.42)
    right = width - (30.0 if narrow else CHANCE_WIDE + 20)
    unit = area_unit(system)
    areas = [r.area_m2.scaled(unit.per_m2) for r in rows if r.area_m2 is not None]
    highs = [a.high for a in areas] + [1.15 * limit_m2 * unit.per_m2 if limit_m2 else 0.0]
    lows = [a.low for a in areas if a.low < 0]
    sheet = Sheet(width, linear_for(min(lows, default=0.0), max(highs, default=1.0), left, right), narrow, unit)
    y, placed = 50.0, []
    for row in rows:
        placed.append((row, y))
        y += sheet.tall(row)
    drawn = "".join(_row(sheet, row, top) for row, top in placed)
    content = _uprights(sheet, placed, limit_m2) + drawn + _axis_words(sheet, limit_m2)
    return svg.drawing(width, y + 6, content, label)
