"""How well the ranking finds the place that lets in most air, on boxes it has never seen.

Boxes are made up by statistics of their own, not by the ranking's model: places from the trade's careful guess
as it stands, one bad place among sound ones, or several; seals that leak by another share than the ranking
believes; new sheets that scatter by another spread. Rerun with

    python -m benchmarks.ranking_study [--boxes 150] [--followed 40] [--seed 1] [--quick]
"""

from __future__ import annotations

import argparse
import math
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

import numpy as np
from scipy.optimize import nnls

from acquisition.records import Box, Vents
from acquisition.setups import ALWAYS_OPEN, SETUPS, open_paths
from analysis.ranking import rank
from analysis.results import LAWS, Assessment, FloatArray, Interval, LawVerdict, Limit, Ranking

MM2 = 1e-6
GUESS = {
    "panel-edges": (0.06, 1.8), "panel-faces": (0.01, 1.5), "top-panel": (0.02, 1.5), "port-flange": (0.03, 1.8),
    "line": (0.005, 1.2), "closure": (0.005, 1.2), "rim-joint": (0.02, 1.7), "sheet-edge": (0.2, 1.8),
}
HOLE_CHANCE = {"panel-edges": 0.25, "panel-faces": 0.1, "top-panel": 0.4, "port-flange": 0.5, "line": 0.85,
               "closure": 0.5, "rim-joint": 0.5, "sheet-edge": 0.6}
BAD_AT = ("panel-edges", "panel-faces", "top-panel", "port-flange", "line", "rim-joint", "sheet-edge", "closure")
BAD_ODDS = (0.25, 0.08, 0.12, 0.2, 0.08, 0.12, 0.1, 0.05)
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


def make_box(kind: str, rng: np.random.Generator) -> MadeBox:
    if kind == "guess":
        areas = {p: m * math.exp(s * rng.standard_normal()) for p, (m, s) in GUESS.items()}
    else:
        areas = {p: 0.6 * min(m, 0.05) * math.exp(0.8 * rng.standard_normal()) for p, (m, s) in GUESS.items()}
        n = 1 if kind == "one" else int(rng.integers(2, 4))
        for p in rng.choice(BAD_AT, size=n, replace=False, p=BAD_ODDS):
            areas[str(p)] = math.exp(rng.uniform(math.log(0.15), math.log(6.0)))
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
        reason=None, advice="", verdict="within", limit=Limit(0.42 * MM2, "pump"), test="hold", area_m2=full,
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


def can_tell(box: MadeBox, done: Sequence[tuple[str, tuple[str, ...]]], listed: Sequence[str]) -> bool:
    """Whether no areas with another place as the largest explain the tests within 3 sd (bounded least squares)."""
    inward = [p for p in listed if p != "valve-seat"]
    design = np.array([[float(p in open_paths(setup, seal)) for p in inward] for setup, seal in done])
    sums = design @ np.array([box.areas[p] for p in inward])
    sheet = box.areas["sheet-edge"] * math.expm1(box.sheet_sd)
    sd = np.array([math.hypot(0.08 * total, 0.007, sheet if "sheet-edge" in open_paths(setup, seal) else 0.0)
                   for total, (setup, seal) in zip(sums, done, strict=True)])
    worst = max(range(len(inward)), key=lambda k: box.areas[inward[k]])
    return all(_misfit(design, sums, sd, worst, k) > 3.0 for k in range(len(inward)) if k != worst)


def _misfit(design: FloatArray, sums: FloatArray, sd: FloatArray, worst: int, other: int) -> float:
    """Distance in sd of the best areas in which ``other`` is at least as large as ``worst``."""
    forced = design.copy()
    forced[:, worst] += design[:, other]
    return float(nnls(forced / sd[:, None], sums / sd)[1])


@dataclass
class Score:
    """Tallies of one kind of boxes."""

    squares: list[float] = field(default_factory=list)
    logs: list[float] = field(default_factory=list)
    called: list[bool] = field(default_factory=list)
    right: list[bool] = field(default_factory=list)
    told_first: list[bool] = field(default_factory=list)
    untold_called: list[bool] = field(default_factory=list)
    covered: list[bool] = field(default_factory=list)
    seconds: list[float] = field(default_factory=list)
    odd: list[bool] = field(default_factory=list)

    def add(self, box: MadeBox, ranking: Ranking, seconds: float) -> None:
        """Take one box's ranking in."""
        inward = [p for p in ranking.paths if p.path != "valve-seat"]
        truth = max(inward, key=lambda p: box.areas[p.path]).path
        for p in inward:
            self.squares.append((p.probability_largest - (p.path == truth)) ** 2)
            self.covered.append(p.area_m2.low <= box.areas[p.path] * MM2 <= p.area_m2.high)
        first = inward[0]
        self.logs.append(-math.log(max(next(p.probability_largest for p in inward if p.path == truth), 1e-4)))
        self.called.append(first.probability_largest >= 0.9)
        if self.called[-1]:
            self.right.append(first.path == truth)
        if can_tell(box, box.tests, [p.path for p in ranking.paths]):
            self.told_first.append(first.path == truth)
        else:
            self.untold_called.append(self.called[-1])
        self.seconds.append(seconds)
        self.odd.append(ranking.unexplained is not None)

    def row(self, name: str) -> str:
        """One row of the table."""
        shares: list[Sequence[float]] = [
            self.squares, self.logs, self.right, self.called, self.untold_called, self.covered, self.odd,
        ]
        cells = [f"{np.mean(v):.3f}" if v else "-" for v in shares]
        told = f"{np.mean(self.told_first):.3f} ({len(self.told_first)})" if self.told_first else "-"
        return f"| {name} | {len(self.logs)} | {told} | {' | '.join(cells)} | {max(self.seconds):.2f} |"


def judged(n: int, kind: str, seed: int, suspect: bool) -> Score:
    rng = np.random.default_rng([seed, sum(map(ord, kind))])
    score = Score()
    for _ in range(n):
        box = make_box(kind, rng)
        steps = suspect_plan(box, rng) if suspect else plan(rng)
        tests = [measure(box, setup, seal, rng) for setup, seal in steps]
        began = time.perf_counter()
        ranking = rank(tests, BOX)
        score.add(box, ranking, time.perf_counter() - began)
    return score


STEPS_1_TO_4: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("line-only", ()), ("vents-taped", ()), ("film-on-rim", ()), ("formed-sheet", ()),
)
PATH_BY_PATH: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("vents-taped", ("panel-edges",)), ("vents-taped", ("panel-faces",)), ("vents-taped", ("port-flange",)),
    ("vents-taped", ("line",)), ("film-on-top", ()), ("film-on-rim", ("rim-joint",)), ("formed-sheet", ("sheet-edge",)),
    ("formed-sheet", ()),
)
FIXED_ORDER = (*STEPS_1_TO_4, *PATH_BY_PATH)
Step = Callable[[list[Assessment], Ranking | None], tuple[str, tuple[str, ...], str] | None]


def fixed(tests: list[Assessment], ranking: Ranking | None) -> tuple[str, tuple[str, ...], str] | None:
    return (*FIXED_ORDER[len(tests)], "hold") if len(tests) < len(FIXED_ORDER) else None


def advised(tests: list[Assessment], ranking: Ranking | None) -> tuple[str, tuple[str, ...], str] | None:
    if ranking is None:
        return "vents-taped", (), "hold"
    test = ranking.next_test
    return None if test is None else (test.setup, test.seal, test.do)


def count_tests(box: MadeBox, step: Step, rng: np.random.Generator, at_least: int = 1) -> tuple[int, bool]:
    """Tests until the truly worst place of all eight is named with 90 in 100, and whether that was reached."""
    tests: list[Assessment] = []
    ranking: Ranking | None = None
    while (todo := step(tests, ranking)) is not None and len(tests) < len(FIXED_ORDER):
        if todo[2] == "vent-behind-valve":
            box.valve = "room"
        tests.append(measure(box, todo[0], todo[1], rng))
        if len(tests) < at_least:
            continue
        ranking = rank(tests, BOX)
        first = ranking.paths[0]
        if first.path == box.worst and first.probability_largest >= 0.9:
            return len(tests), True
    return len(FIXED_ORDER), False


def followed(n: int, kind: str, seed: int) -> dict[str, list[tuple[int, bool]]]:
    """Both orders on the same boxes; only boxes whose worst place is half as large again as the next."""
    out: dict[str, list[tuple[int, bool]]] = {"fixed": [], "advised": []}
    for k in range(n):
        for name, step, at_least in (("fixed", fixed, len(STEPS_1_TO_4)), ("advised", advised, 1)):
            rng = np.random.default_rng([seed, k, sum(map(ord, kind))])
            box = make_box(kind, rng)
            if has_a_worst(box):
                out[name].append(count_tests(box, step, rng, at_least))
    return out


def has_a_worst(box: MadeBox) -> bool:
    areas = sorted(a for p, a in box.areas.items() if p != "valve-seat")
    return areas[-1] > 1.5 * areas[-2]


def followed_row(kind: str, n: int, seed: int) -> str:
    got = followed(n, kind, seed)
    fixed_n, advised_n = (np.mean([c for c, _ in got[k]]) for k in ("fixed", "advised"))
    reached = " / ".join(f"{np.mean([r for _, r in got[k]]):.2f}" for k in ("fixed", "advised"))
    return f"| {kind} | {len(got['fixed'])} | {fixed_n:.2f} | {advised_n:.2f} | {advised_n / fixed_n:.2f} | {reached} |"


JUDGED_HEAD = """
| boxes | n | worst first where tests can tell (n) | mean square | mean -ln | right of called 90 | called 90 |\
 called 90 where they cannot tell | areas covered | unexplained | longest, s |
|---|---|---|---|---|---|---|---|---|---|---|"""
FOLLOWED_HEAD = """
| boxes | n | tests, fixed order | tests, as advised | ratio | reached |
|---|---|---|---|---|---|"""


def main() -> None:
    """Print the tables."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--boxes", type=int, default=150)
    options.add_argument("--followed", type=int, default=40)
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--quick", action="store_true", help="a few boxes, to see that it runs")
    args = options.parse_args()
    boxes, follow = (6, 2) if args.quick else (args.boxes, args.followed)
    print(JUDGED_HEAD)
    for kind in KINDS:
        for suspect in (False, True):
            name = f"{kind}, {'the suspect sealed 6 in 10' if suspect else 'tests at random'}"
            print(judged(boxes, kind, args.seed, suspect).row(name), flush=True)
    print(FOLLOWED_HEAD)
    for kind in KINDS:
        print(followed_row(kind, follow, args.seed), flush=True)


if __name__ == "__main__":
    main()
