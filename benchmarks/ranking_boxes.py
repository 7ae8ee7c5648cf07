"""Made-up boxes and their tests, for the study of the ranking.

Boxes are made up by statistics of their own, not by the ranking's model: places from the trade's careful guess
as it stands, one bad place among sound ones, or several; seals that leak by another share than the ranking
believes; new sheets that scatter by another spread.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

import numpy as np

from acquisition.records import Box, Vents
from acquisition.setups import ALWAYS_OPEN, SETUPS, open_paths
from analysis.results import LAWS, Assessment, Interval, LawVerdict, Limit

MM2 = 1e-6
GUESS = {
    "panel-edges": (0.06, 1.8), "panel-faces": (0.01, 1.5), "top-panel": (0.02, 1.5), "port-flange": (0.03, 1.8),
    "line": (0.005, 1.2), "closure": (0.005, 1.2), "rim-joint": (0.02, 1.7), "sheet-edge": (0.2, 1.8),
}
HOLE_CHANCE = {"panel-edges": 0.25, "panel-faces": 0.1, "top-panel": 0.4, "port-flange": 0.5, "line": 0.85,
               "closure": 0.5, "rim-joint": 0.5, "sheet-edge": 0.6}
BAD_AT = ("panel-edges", "panel-faces", "top-panel", "port-flange", "line", "rim-joint", "sheet-edge", "closure")
BAD_ODDS = (0.25, 0.08, 0.12, 0.2, 0.08, 0.12, 0.1, 0.05)
LIMIT_MM2 = 0.42
BAD_RANGE = (0.15, 6.0)
SOUND_SPREAD = 0.8
KINDS = ("guess", "one", "several")
BOX = Box("study", vents=Vents(count=120))


@dataclass
class MadeBox:
    """A made-up box: true areas (mm2) and laws, and how its tests scatter."""

    areas: dict[str, float]
    holes: dict[str, float]
    seal_leak: float
    sheet_sd: float
    volume_u: float
    volume_error: float
    valve: str
    clock: datetime = datetime(2026, 5, 3, 9)
    tests: list[tuple[str, tuple[str, ...]]] = field(default_factory=list)

    @property
    def worst(self) -> str:
        """The place that lets in most air."""
        return max((p for p in self.areas if p != "valve-seat"), key=lambda p: self.areas[p])


def sound_median(path: str) -> float:
    """Median area (mm2) of a place in a box with bad places, when it is not one of them."""
    return 0.6 * min(GUESS[path][0], 0.05)


def make_box(kind: str, rng: np.random.Generator) -> MadeBox:
    if kind == "guess":
        areas = {p: m * math.exp(s * rng.standard_normal()) for p, (m, s) in GUESS.items()}
    else:
        areas = {p: sound_median(p) * math.exp(SOUND_SPREAD * rng.standard_normal()) for p in GUESS}
        n = 1 if kind == "one" else int(rng.integers(2, 4))
        for p in rng.choice(BAD_AT, size=n, replace=False, p=BAD_ODDS):
            areas[str(p)] = math.exp(rng.uniform(*np.log(BAD_RANGE)))
    areas["valve-seat"] = 0.002 * math.exp(rng.standard_normal())
    holes = {p: float(rng.random() < c) * 0.8 + 0.2 * rng.random() for p, c in HOLE_CHANCE.items()}
    u = rng.uniform(0.03, 0.05)
    return MadeBox(areas, holes, rng.uniform(0.0, 0.06), rng.uniform(0.4, 1.0), u, math.exp(u * rng.standard_normal()),
                   str(rng.choice(["room", "pump", "unknown"])))


def _total(box: MadeBox, setup: str, seal: Sequence[str], rng: np.random.Generator) -> tuple[float, float]:
    """True effective area (mm2) of one test and the hole's share in it."""
    again = (setup, tuple(seal)) in box.tests
    reach = {*SETUPS[setup].open_paths, *ALWAYS_OPEN}
    total = hole = 0.0
    for path, area in box.areas.items():
        if path not in reach or path == "valve-seat":
            continue
        here = area
        if path == "closure" and not again:
            sd = 0.15 if setup == "vents-taped" else 0.25
            here = area * math.exp(sd * rng.standard_normal()) + rng.uniform(0.0, 0.006)
        if path == "sheet-edge":
            here = area * math.exp(box.sheet_sd * rng.standard_normal())
        here *= box.seal_leak if path in seal else 1.0
        total += here
        hole += here * box.holes[path]
    return total, hole / total


def measure(box: MadeBox, setup: str, seal: Sequence[str], rng: np.random.Generator) -> Assessment:
    """One test as the estimator would give it: a value with its interval and a noisy law."""
    total, hole = _total(box, setup, seal, rng)
    if "valve-seat" not in seal:
        total += {"room": 1.0, "pump": -0.3, "unknown": -0.3}[box.valve] * box.areas["valve-seat"]
    total = total * math.exp(rng.choice([0.04, 0.1]) * rng.standard_normal()) + 0.002 * rng.standard_normal()
    error = rng.uniform(0.03, 0.08)
    floor = 0.003
    sd = math.hypot(error * total, floor)
    value = total * math.exp(error * rng.standard_normal()) + floor * rng.standard_normal()
    scale = math.exp(math.log(box.volume_error)) if setup != "line-only" else math.exp(0.05 * rng.standard_normal())
    value *= scale
    box.tests.append((setup, tuple(seal)))
    box.clock += timedelta(minutes=30)
    return _assessment(box, setup, seal, value, sd, hole, rng)


def _assessment(box: MadeBox, setup: str, seal: Sequence[str], value: float, sd: float, hole: float,
                rng: np.random.Generator) -> Assessment:
    limited = value < 2.0 * sd
    value = max(value, 0.0005)
    fit = _interval(value, sd, limited)
    u = box.volume_u if setup != "line-only" else 0.05
    wide = math.hypot(sd, u * value)
    full = _interval(value, wide, limited)
    return Assessment(
        log=f"{len(box.tests):02d}-{setup}.csv", box="study", setup=setup, sealed=tuple(seal),
        open_paths=open_paths(setup, seal), started=box.clock, outcome="upper-limit" if limited else "estimate",
        reason=None, advice="", verdict="within", limit=Limit(LIMIT_MM2 * MM2, "pump"), test="hold", area_m2=full,
        area_fit_m2=fit, law=_law(hole, rng), volume_m3=0.032, u_log_volume=u,
        behind_valve=None if box.valve == "unknown" else box.valve,
    )


def _interval(value: float, sd: float, limited: bool) -> Interval:
    low = 0.0 if limited else max(value - 1.96 * sd, 0.05 * value)
    return Interval(value * MM2, low * MM2, (value + 1.96 * sd) * MM2)


def _law(hole: float, rng: np.random.Generator) -> LawVerdict:
    true = "hole" if hole > 0.85 else "seep" if hole < 0.15 else "between"
    if rng.random() < 0.4:
        vague: dict[str, float] = dict(zip(LAWS, rng.dirichlet([4.0, 4.0, 4.0]).tolist(), strict=True))
        return LawVerdict("undetermined", None, None, None, vague)
    shown = true if rng.random() < 0.92 else str(rng.choice(LAWS))
    probability: dict[str, float] = {k: 0.96 if k == shown else 0.02 for k in LAWS}
    return LawVerdict("undetermined", None, None, None, probability)


PLAN = (("film-on-rim", ()), ("formed-sheet", ()), ("line-only", ()), ("vents-taped", ("port-flange",)),
        ("vents-taped", ("panel-edges",)), ("film-on-top", ()), ("film-on-top", ("port-flange",)),
        ("vents-taped", ("line", "port-flange")), ("film-on-rim", ("rim-joint",)), ("film-on-top", ("panel-edges",)))
PLAN_ODDS = np.array([2, 3, 1, 2, 2, 2, 1, 1, 1, 1.0]) / 16.0


SHOWS: dict[str, tuple[str, tuple[str, ...]]] = {
    "panel-edges": ("vents-taped", ("panel-edges",)), "panel-faces": ("vents-taped", ("panel-faces",)),
    "top-panel": ("film-on-top", ()), "port-flange": ("vents-taped", ("port-flange",)), "line": ("line-only", ()),
    "closure": ("film-on-top", ()), "rim-joint": ("film-on-rim", ()), "sheet-edge": ("formed-sheet", ()),
}


def suspect_plan(box: MadeBox, rng: np.random.Generator) -> list[tuple[str, tuple[str, ...]]]:
    """A person who seals, six times in ten, the place that is bad (heard, felt or seen), else tests at random."""
    tests = plan(rng)
    shows = SHOWS[box.worst]
    if rng.random() < 0.6 and shows not in tests:
        tests[-1] = shows
    return tests


def plan(rng: np.random.Generator) -> list[tuple[str, tuple[str, ...]]]:
    """Two to five tests with no thought of what they would tell."""
    n = int(rng.integers(2, 6))
    picks = rng.choice(len(PLAN), size=n - 1, replace=False, p=PLAN_ODDS)
    first = ("vents-taped", ()) if rng.random() < 0.7 else ("film-on-top", ())
    return list(dict.fromkeys([first, *(PLAN[i] for i in picks)]))
