"""What several pages say or show in the same way."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from dash import html
from dash.development.base_component import Component

from acquisition.setups import parent
from analysis import wording
from analysis.numberwords import seat_way
from analysis.results import Assessment, PathResult
from analysis.wording import System
from dashboard import parts
from dashboard.areas import area_unit
from dashboard.section import Place
from dashboard.shop import Findings, Shop, Trial

MM2 = 1e6
LONGEST_HEADING = 90


@dataclass(frozen=True, eq=False)
class Page:
    """A page's body; ``working`` while something is still being worked out, so the page asks again."""

    body: Component
    working: bool = False


def working_page(shop: Shop, name: str) -> Page:
    """The page of a box whose tests are still being worked out."""
    count = len(shop.tests_of(name))
    words = "Working it out." if count == 0 else f"Working out {count} test{'s' if count != 1 else ''}."
    body = html.Main([parts.head("One moment", words, "The page shows the answer as soon as it is there.")])
    return Page(body, working=True)


def label(known: Findings) -> str:
    """What a box is for, as its file says."""
    return known.box.label or ""


def setup_words(result: Assessment) -> str:
    """Setup and what was sealed: ``vents taped, nothing sealed``."""
    sealed = [wording.path_name(p, result.setup) for p in result.sealed]
    return (
        f"{wording.setup_name(result.setup)}, {wording.list_text(sealed) + ' sealed' if sealed else 'nothing sealed'}"
    )


def when(started: datetime | None, time: bool = True) -> str:
    """Date and time of a test's start."""
    if started is None:
        return "a day not said"
    return wording.date_text(started.date()) + (f", {started:%H:%M}" if time else "")


def two_parts(sentence: str) -> tuple[str, str]:
    """Cut an answer into its heading and the rest: the verdict and one sentence stay together."""
    pieces = [p.rstrip(".") for p in re.split(r"(?<=[a-z0-9)])\. ", sentence)]
    if len(pieces) < 2:
        return sentence, ""
    clause, _, more = pieces[1].partition("; ")
    rest = [_upper(s) for s in (more, *pieces[2:]) if s]
    if len(pieces[0]) + len(clause) < LONGEST_HEADING:
        return f"{pieces[0]}. {clause}.", " ".join(f"{s}." for s in rest)
    return f"{pieces[0]}.", " ".join(f"{s}." for s in pieces[1:])


def _upper(text: str) -> str:
    return text[:1].upper() + text[1:]


def test_href(known: Findings, trial: Trial) -> str:
    """Address of one test."""
    return parts.box_href(known.box.name, f"/tests/{trial.key}")


def ranked_places(known: Findings, system: System = "metric") -> list[Place]:
    """The places of a box as its ranking has them."""
    ranking = known.ranking
    if ranking is None or ranking.outcome == "refused":
        return []
    group = likely_paths(known)
    return [
        Place(
            p.path,
            "likely" if p.path in group else "open",
            p.probability_largest,
            _seat_words(p, system) or drawn_words(p.path, p.probability_largest),
        )
        for p in ranking.paths
    ]


def _seat_words(found: PathResult, system: System) -> str:
    """The valve seat in words, signed; empty for other paths."""
    if parent(found.path) != "valve-seat":
        return ""
    way, unit = seat_way(found.area_m2), area_unit(system)
    if not way:
        return f"valve seat: at most {unit.number(max(found.area_m2.high, -found.area_m2.low))} {unit.words}"
    return f"valve seat takes {way} {unit.number(abs(found.area_m2.value))} {unit.words}"


def likely_paths(known: Findings) -> tuple[str, ...]:
    """The paths that are marked as likely: the first and those not told apart from it, or any at a tenth and more."""
    ranking = known.ranking
    if ranking is None or not ranking.paths:
        return ()
    first = ranking.paths[0].path
    for group in ranking.not_told_apart:
        if first in group:
            return group
    return tuple(p.path for p in ranking.paths if p.probability_largest >= 0.3 or p.path == first)


def drawn_words(path: str, chance: float | None) -> str:
    """Short words of a place in a drawing: ``edges 94``; the line and the valve seat in their own way."""
    from acquisition.setups import PATHS

    name, _, part = path.partition("/")
    short = f"{part} seam" if name == "panel-edges" and part else PATHS[name].short
    if chance is None or parent(path) == "valve-seat":
        return short
    return f"{short}, under 1" if chance < 0.005 else f"{short} {min(99, round(100 * chance))}"


def sentences(items: Iterable[str]) -> Sequence[Component]:
    """Sentences as a list."""
    return [html.Li(item) for item in items]


def upper_first(text: str) -> str:
    """The text with a capital first letter."""
    return text[:1].upper() + text[1:]
