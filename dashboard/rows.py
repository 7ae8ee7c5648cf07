"""What a row of the Boxes page shows: verdict, jaws on one shared axis, the last months, what next."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import pairwise
from math import log10

from analysis import wording
from analysis.history import is_going_off
from analysis.limit import FALLS_SHORT
from analysis.results import Assessment, HistoryLine, Interval
from analysis.wording import System
from dashboard import marks, svg
from dashboard.areas import area_unit
from dashboard.cautions import top_forbidden
from dashboard.holds import HoldState
from dashboard.scales import Log
from dashboard.shop import Findings, urgency

AXIS_LOW, AXIS_HIGH = 0.005, 20.0
MONTHS_BACK = 244


@dataclass(frozen=True, eq=False)
class BoxRow:
    """One row; ``known`` is None while its tests are being worked out, ``running`` a hold test that runs now."""

    name: str
    known: Findings | None
    running: HoldState | None = None

    @property
    def result(self) -> Assessment | None:
        """The result that speaks for the box."""
        last = self.known.last if self.known else None
        return last.result if last else None

    @property
    def verdict(self) -> str:
        """Its verdict, or ``none``."""
        return self.result.verdict if self.result else "none"

    @property
    def order(self) -> tuple[float, float]:
        """Key that puts the most urgent first: by verdict, then by how far over the limit."""
        result = self.result
        if result is None:
            return 5.5, 0.0
        going = 3.5 if result.verdict in ("within", "tight") and going_off(self.known) else None
        area = result.own_area_m2
        share = area.value / result.limit.area_m2 if area and result.limit else 0.0
        if result.verdict in ("within", "tight") and waiting(self.known):
            going = 3.0
        return (going if going is not None else float(urgency(result.verdict))), -share


def main_line(known: Findings | None) -> HistoryLine | None:
    """The history with most tests among those with nothing sealed; that before the vents were drilled only alone."""
    lines = [h for h in known.histories if not h.sealed and h.setup != "line-only"] if known else []
    return max(lines, key=lambda h: (h.setup != "undrilled", len(h.tests)), default=None)


def going_off(known: Findings | None) -> bool:
    """Whether a box's leak surely grows from month to month."""
    history = main_line(known)
    return history is not None and is_going_off(history)


def again(line: HistoryLine) -> date:
    """When a line with tests is to be tested next."""
    return line.tests[-1].started.date() + (wording.AGAIN / 2 if is_going_off(line) else wording.AGAIN)


def waiting(known: Findings | None) -> str:
    """The sentence on repairs of the box that no test came after; empty where none waits."""
    ranking = known.ranking if known else None
    return ranking.advice[0] if ranking is not None and ranking.waiting else ""


def why(row: BoxRow, system: System) -> str:
    """The few words after the verdict."""
    if row.running is not None:
        held = row.running.held_s
        return "Not shut yet." if held is None else f"Shut for {wording.clock_text(held)}."
    result, known = row.result, row.known
    if result is None or known is None:
        return "Nothing measured yet."
    if waiting(known):
        return waiting(known)
    if result.outcome == "refused":
        return _sentence(result.reason or "")
    ranking = known.ranking
    if result.verdict == "over" and ranking is not None and ranking.paths and not _grouped(known):
        first = ranking.paths[0]
        return f"The {wording.path_name(first.path, result.setup)}, {wording.chance_text(first.probability_largest)}."
    if result.outcome == "upper-limit" and (area := result.own_area_m2) is not None:
        unit = area_unit(system)
        return f"No leak larger than {unit.number(area.high)} {unit.words} was shown."
    return ""


def _grouped(known: Findings) -> bool:
    ranking = known.ranking
    return (
        ranking is not None and bool(ranking.paths) and any(ranking.paths[0].path in g for g in ranking.not_told_apart)
    )


def _sentence(text: str) -> str:
    text = text[:1].upper() + text[1:]
    return text if text.endswith(".") or not text else f"{text}."


def verdict_words(row: BoxRow, system: System) -> str:
    """The verdict in words, bold in its row."""
    if row.running is not None:
        return "Hold test running."
    result = row.result
    if result is None:
        return "No test yet."
    if waiting(row.known) and result.outcome != "refused":
        return f"{wording.verdict_label(result.verdict)}, before its repair."
    if result.verdict == "stalls":
        level = (
            ""
            if result.stall_pa is None
            else f" at {wording.pressure_text(result.stall_pa, system, result.room_pa or 101_325.0)}"
        )
        return f"A big leak: the pump stalls{level}."
    off = result.verdict in ("within", "tight") and going_off(row.known)
    return wording.verdict_label(result.verdict) + (", but going off." if off else ".")


def amount(row: BoxRow, system: System) -> tuple[str, str]:
    """The drilled hole, and the area with its interval."""
    return result_amount(row.result, system) if row.result else ("–", "not measured")


def result_amount(result: Assessment, system: System) -> tuple[str, str]:
    """The drilled hole and the area of one result."""
    area = result.own_area_m2
    if area is None:
        return "–", "no area can be given"
    if area.low < area.high / 10:
        return f"under {wording.hole_text(area.high, system)}", area_unit(system).short(area)
    return wording.hole_text(area.value, system), area_unit(system).short(area)


def what_next(row: BoxRow, today: date) -> tuple[str, str, str]:
    """What to do next in a few words, the name of the page for it, and its address: after the box's, or whole."""
    if row.running is not None:
        return "Watch it", "Hold test", f"/hold/{row.name}"
    result = row.result
    if result is None and row.known is not None and top_forbidden(row.known.box):
        return "Do not pump it down", "Measurements", "/measurements"
    if result is None:
        return "Hold it once", "Tests", "/tests"
    if waiting(row.known):
        return "Hold again", "Where the air gets in", ""
    if result.verdict in ("over", "stalls"):
        ranking = row.known.ranking if row.known else None
        if ranking and ranking.paths and ranking.paths[0].path == "sheet-edge":
            return "Look at rim and sheet", "With and without sheet", "/sheet"
        return "Find the place", "Where the air gets in", ""
    if result.verdict in ("cannot-tell", "no-answer"):
        return (
            "Hold it again",
            "Last test",
            f"/tests/{row.known.last.key}" if row.known and row.known.last else "/tests",
        )
    if result.verdict == "no-limit":
        do = "Correct" if FALLS_SHORT in result.flags else "Describe"
        return f"{do} its pump", "Measurements", "/measurements"
    return _test_again(row, today), "Months", "/months"


def is_overdue(row: BoxRow, today: date) -> bool:
    """Whether all there is to do for a box is a test that should have been made already."""
    due = _due(row)
    return what_next(row, today)[2] == "/months" and due is not None and due < today


def _test_again(row: BoxRow, today: date) -> str:
    """When the next test is due, by the test that speaks for the box."""
    due = _due(row)
    if due is not None and due < today:
        return f"Test again, {wording.overdue_text(due)}"
    return "Test again in 2 weeks" if going_off(row.known) else "Test again in a month"


def _due(row: BoxRow) -> date | None:
    if row.result is None or row.result.started is None:
        return None
    return row.result.started.date() + (wording.AGAIN / 2 if going_off(row.known) else wording.AGAIN)


def axis(width: float) -> Log:
    """The shared area axis, in the page's unit, over ``width`` px."""
    return Log(AXIS_LOW, AXIS_HIGH, 6.0, width - 6.0)


def axis_head(width: float, system: System) -> str:
    """Numbers of the shared axis."""
    scale = axis(width)
    words = "".join(
        svg.text((scale.at(d), 14), f"{d:g}", anchor="middle", fill="second", edge=None) for d in scale.decades()
    )
    return svg.drawing(width, 18, words, f"Leak area in {area_unit(system).words}, from 0.01 to 10")


def jaws_cell(row: BoxRow, width: float, system: System) -> str:
    """The jaws of a row on the shared axis, with the box's limit."""
    return result_jaws(row.result, row.name, width, system)


def result_jaws(
    result: Assessment | None, name: str, width: float, system: System = "metric", tall: float = 46.0
) -> str:
    """The jaws of one result on the shared axis, with its limit."""
    scale, unit = axis(width), area_unit(system)
    grid = "".join(svg.line((scale.at(d), 0), (scale.at(d), tall), "hairline", 1) for d in scale.decades())
    limit = (
        marks.limit_upright(scale.at(result.limit.area_m2 * unit.per_m2), 0, tall) if result and result.limit else ""
    )
    area = result.own_area_m2 if result else None
    if result is None or area is None:
        return svg.drawing(width, tall, grid + limit, f"{name}: no area")
    colour = "air" if result.verdict in ("over", "stalls") else "ink"
    open_left = area.low < area.high / 10
    value = None if open_left else scale.at(area.value * unit.per_m2)
    low = 0.0 if open_left else scale.at(area.low * unit.per_m2)
    body = marks.jaws(low, value, scale.at(area.high * unit.per_m2), tall / 2, 14, colour, open_left)
    return svg.drawing(width, tall, grid + limit + body, f"{name}: {unit.text(area)}")


def _points(history: HistoryLine, since: datetime) -> list[tuple[float, Interval, bool]]:
    out = []
    for test in history.tests:
        days = (test.started.replace(tzinfo=None) - since).total_seconds() / 86400
        if days >= 0 and test.area_m2 is not None and test.set_aside is None:
            out.append((days, test.area_m2, test.outcome == "upper-limit"))
    return out


def past_cell(row: BoxRow, width: float, tall: float = 46.0) -> str:
    """The last eight months against the box's own limit."""
    history = main_line(row.known)
    result = row.result
    if history is None or not history.tests or history.limit_m2 is None:
        base = marks.limit_level(tall * 0.34, 0, width) if result and result.limit else ""
        words = svg.text((4, tall - 8), "no months yet", fill="second")
        return svg.drawing(width, tall, base + words, f"{row.name}: no months yet")
    return small_curve(history, width, tall, MONTHS_BACK)


def small_curve(line: HistoryLine, width: float, tall: float, days: int | None = None) -> str:
    """A line's tests against its own limit: the last ``days`` before its last test, or all of it."""
    last = line.tests[-1].started.replace(tzinfo=None)
    first = line.tests[0].started.replace(tzinfo=None) if days is None else last - timedelta(days=days)
    span = max((last - first).total_seconds() / 86400, 1.0)
    level = tall * 0.34
    limit = line.limit_m2 or max((t.area_m2.high for t in line.tests if t.area_m2), default=1e-6)
    base = marks.limit_level(level, 0, width) if line.limit_m2 else ""

    def place(day: float) -> float:
        return 4 + day / span * (width - 8)

    spots = [
        (place(d), _height(a.high if up else a.value, limit, level, tall), up) for d, a, up in _points(line, first)
    ]
    breaks = [place(d) for d in _break_days(line, first) if 0 < d < span - 0.5]
    told = f"{len(spots)} test{'s' if len(spots) != 1 else ''} against the limit"
    return svg.drawing(width, tall, base + _run(spots, breaks, tall), told)


def _height(area: float, limit: float, level: float, tall: float) -> float:
    return min(tall - 3, max(3.0, level - 20 * log10(max(area, 1e-12) / limit)))


def _break_days(line: HistoryLine, first: datetime) -> list[int]:
    dates = line.breaks or tuple(r.date for r in line.repairs)
    return [(datetime.fromisoformat(d).replace(tzinfo=None) - first).days for d in dates]


def _run(spots: list[tuple[float, float, bool]], breaks: list[float], tall: float) -> str:
    out = []
    for (x0, y0, _), (x, y, _) in pairwise(spots):
        if not any(x0 < b <= x for b in breaks):
            out.append(svg.line((x0, y0), (x, y), "measured", 1.6))
    for b in breaks:
        out.append(svg.rect(b - 4, 0, 8, tall, fill="paper"))
        out += [svg.line((b + side, 0), (b + side, tall), "ink", 1.5) for side in (-4, 4)]
    return "".join(out) + "".join(_spot(*s) for s in spots)


def _spot(x: float, y: float, upper: bool) -> str:
    """One test: a dot, or a triangle pointing down where only an upper limit is known."""
    if upper:
        return svg.poly(((x - 3.5, y - 3), (x + 3.5, y - 3), (x, y + 4)), "measured")
    return svg.circle((x, y), 2.6, fill="measured")
