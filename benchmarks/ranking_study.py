"""How well the ranking finds the place that lets in most air, on boxes it has never seen.

On the same boxes and tests stands the bound: a posterior that knows how the boxes were made. Rerun with

    python -m benchmarks.ranking_study [--boxes 150] [--followed 40] [--seed 1] [--quick]
"""

from __future__ import annotations

import argparse
import heapq
import math
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import nnls

from acquisition.setups import open_paths
from analysis.ranking import rank
from analysis.results import Assessment, FloatArray, Ranking
from benchmarks.ranking_bound import ideal_chances
from benchmarks.ranking_boxes import BOX, GUESS, KINDS, LIMIT_MM2, MM2, MadeBox, make_box, measure, plan, suspect_plan


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


def never_parted(done: Sequence[tuple[str, tuple[str, ...]]], listed: Sequence[str], truth: str) -> bool:
    """Whether another place was open in the very same tests as the worst one."""
    where = {p: tuple(p in open_paths(setup, seal) for setup, seal in done) for p in listed}
    return any(p != truth and where[p] == where[truth] for p in listed)


@dataclass
class Score:
    """Tallies of one kind of boxes by one ranking."""

    squares: list[float] = field(default_factory=list)
    logs: list[float] = field(default_factory=list)
    called: list[bool] = field(default_factory=list)
    right: list[bool] = field(default_factory=list)
    told_first: list[bool] = field(default_factory=list)
    untold_called: list[bool] = field(default_factory=list)
    unparted_called: list[bool] = field(default_factory=list)
    covered: list[bool] = field(default_factory=list)
    seconds: list[float] = field(default_factory=list)

    def add(self, box: MadeBox, chance: dict[str, float]) -> None:
        """Take one box in, by the chance of each place to be the largest."""
        truth = max(chance, key=lambda p: box.areas[p])
        self.squares += [(c - (p == truth)) ** 2 for p, c in chance.items()]
        self.logs.append(-math.log(max(chance[truth], 1e-4)))
        first = max(chance, key=lambda p: chance[p])
        called = chance[first] >= 0.9
        self.called.append(called)
        if called:
            self.right.append(first == truth)
        if can_tell(box, box.tests, list(chance)):
            self.told_first.append(first == truth)
        else:
            self.untold_called.append(called)
        if never_parted(box.tests, list(chance), truth):
            self.unparted_called.append(called)

    def row(self, name: str) -> str:
        """One row of the table; counts in brackets where they are not all boxes."""
        told, right, unparted, untold = (
            f"{np.mean(v):.3f} ({len(v)})" if v else "-"
            for v in (self.told_first, self.right, self.unparted_called, self.untold_called)
        )
        covered = f"{np.mean(self.covered):.3f}" if self.covered else "-"
        longest = f"{max(self.seconds):.2f}" if self.seconds else "-"
        return (f"| {name} | {len(self.logs)} | {told} | {np.mean(self.squares):.3f} | {np.mean(self.logs):.3f} | "
                f"{np.mean(self.called):.3f} | {right} | {unparted} | {untold} | {covered} | {longest} |")


CHOOSERS = ("tests at random", "the suspect sealed 6 in 10", "as advised, five at most")


def made_tests(box: MadeBox, chooser: str, rng: np.random.Generator) -> list[Assessment]:
    """Two to five tests of a box: drawn, with a suspect sealed, or as the ranking advises until it stops."""
    if chooser == CHOOSERS[2]:
        tests = [measure(box, *FIRST_TEST[:2], rng)]
        while len(tests) < 5 and (todo := advised(tests, rank(tests, BOX))) is not None:
            box.valve = "room" if todo[2] == "vent-behind-valve" else box.valve
            tests.append(measure(box, *todo[:2], rng))
        return tests
    steps = suspect_plan(box, rng) if chooser == CHOOSERS[1] else plan(rng)
    return [measure(box, setup, seal, rng) for setup, seal in steps]


def judged(n: int, kind: str, seed: int, chooser: str) -> tuple[Score, Score]:
    """The ranking and the bound on the same boxes and tests."""
    rng = np.random.default_rng([seed, sum(map(ord, kind))])
    ours, bound = Score(), Score()
    for _ in range(n):
        box = make_box(kind, rng)
        tests = made_tests(box, chooser, rng)
        began = time.process_time()
        ranking = rank(tests, BOX)
        ours.seconds.append(time.process_time() - began)
        inward = [p for p in ranking.paths if p.path != "valve-seat"]
        ours.covered += [p.area_m2.low <= box.areas[p.path] * MM2 <= p.area_m2.high for p in inward]
        ours.add(box, {p.path: p.probability_largest for p in inward})
        bound.add(box, ideal_chances(kind, tests, [p.path for p in inward]))
    return ours, bound


STEPS_1_TO_4: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("line-only", ()), ("vents-taped", ()), ("film-on-rim", ()), ("formed-sheet", ()),
)
PATH_BY_PATH: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("vents-taped", ("panel-edges",)), ("vents-taped", ("panel-faces",)), ("vents-taped", ("port-flange",)),
    ("vents-taped", ("line",)), ("film-on-top", ()), ("film-on-rim", ("rim-joint",)), ("formed-sheet", ("sheet-edge",)),
    ("formed-sheet", ()),
)
FIRST_TEST: tuple[str, tuple[str, ...], str] = ("vents-taped", (), "hold")
FIXED_ORDER = tuple(t for t in (*STEPS_1_TO_4, *PATH_BY_PATH) if t != FIRST_TEST[:2])
MOST_TESTS = 1 + len(FIXED_ORDER)
Step = Callable[[list[Assessment], Ranking], tuple[str, tuple[str, ...], str] | None]


def fixed(tests: list[Assessment], ranking: Ranking) -> tuple[str, tuple[str, ...], str] | None:
    return (*FIXED_ORDER[len(tests) - 1], "hold") if len(tests) < MOST_TESTS else None


def advised(tests: list[Assessment], ranking: Ranking) -> tuple[str, tuple[str, ...], str] | None:
    test = ranking.next_test
    return None if test is None else (test.setup, test.seal, test.do)


def count_tests(box: MadeBox, step: Step, rng: np.random.Generator, judged_from: int) -> tuple[int, bool]:
    """Tests until the repair to do first is named with 90 in 100, and whether that was reached.

    It is the truly largest of the places open so far, and over the limit.
    """
    tests: list[Assessment] = []
    todo: tuple[str, tuple[str, ...], str] | None = FIRST_TEST
    while todo is not None and len(tests) < MOST_TESTS:
        if todo[2] == "vent-behind-valve":
            box.valve = "room"
        tests.append(measure(box, todo[0], todo[1], rng))
        ranking = rank(tests, BOX)
        first = ranking.paths[0]
        truth = max((p.path for p in ranking.paths if p.path != "valve-seat"), key=lambda p: box.areas[p])
        named = first.path == truth and first.probability_largest >= 0.9
        if len(tests) >= judged_from and named and box.areas[truth] > LIMIT_MM2:
            return len(tests), True
        todo = step(tests, ranking)
    return MOST_TESTS, False


def followed(n: int, kind: str, seed: int) -> dict[str, list[tuple[int, bool]]]:
    """Both orders on the same boxes: those whose worst place is over the limit and stands out by half."""
    out: dict[str, list[tuple[int, bool]]] = {"fixed": [], "after step 4": [], "advised": []}
    orders: tuple[tuple[str, Step, int], ...] = (("fixed", fixed, 2), ("advised", advised, 2))
    for k in range(n):
        for name, step, judged_from in orders:
            rng = np.random.default_rng([seed, k, sum(map(ord, kind))])
            box = make_box(kind, rng)
            if has_a_worst(box):
                out[name].append(count_tests(box, step, rng, judged_from))
    out["after step 4"] = [(max(c, len(STEPS_1_TO_4)), reached) for c, reached in out["fixed"]]
    return out


def least_tests(kind: str, seed: int, n: int) -> float:
    """Mean number of tests, the first included, below which no order of tests can get on average.

    A binary question tree over the chances of an ideal posterior after the first test (Huffman 1952, Proceedings
    of the IRE 40:1098): any set of places could be sealed at will, seals and readings were without error, each
    test told one bit, and the unlikeliest places with together a tenth of the chance need not be told at all.
    """
    depths = []
    for k in range(n):
        rng = np.random.default_rng([seed, k, sum(map(ord, kind))])
        box = make_box(kind, rng)
        if has_a_worst(box):
            chance = ideal_chances(kind, [measure(box, *FIRST_TEST[:2], rng)], list(GUESS))
            depths.append(1.0 + question_depth(sorted(chance.values(), reverse=True)))
    return float(np.mean(depths))


def question_depth(chances: Sequence[float], named: float = 0.9) -> float:
    """Mean number of yes-or-no questions that find one of the likeliest ``named`` of the chances, largest first."""
    kept = list(chances[: 1 + int(np.searchsorted(np.cumsum(chances), named))])
    heapq.heapify(kept)
    depth = 0.0
    while len(kept) > 1:
        both = heapq.heappop(kept) + heapq.heappop(kept)
        depth += both
        heapq.heappush(kept, both)
    return depth


def has_a_worst(box: MadeBox) -> bool:
    areas = sorted(a for p, a in box.areas.items() if p != "valve-seat")
    return areas[-1] > max(1.5 * areas[-2], LIMIT_MM2)


def followed_row(kind: str, n: int, seed: int) -> str:
    got = followed(n, kind, seed)
    fixed_n, after_4, advised_n = (float(np.mean([c for c, _ in got[k]])) for k in ("fixed", "after step 4", "advised"))
    reached = " / ".join(f"{np.mean([r for _, r in got[k]]):.2f}" for k in ("fixed", "advised"))
    return (f"| {kind} | {len(got['fixed'])} | {fixed_n:.2f} | {after_4:.2f} | {advised_n:.2f} | "
            f"{advised_n / fixed_n:.2f} | {advised_n / after_4:.2f} | {reached} | {least_tests(kind, seed, n):.2f} |")


JUDGED_HEAD = """
| boxes | n | worst first where tests can tell | mean square | mean -ln | called 90 | right of called |\
 called, worst never parted | called, cannot tell | areas covered | longest, s |
|---|---|---|---|---|---|---|---|---|---|---|"""
FOLLOWED_HEAD = """
| boxes | n | fixed order | fixed, from step 4 on | as advised | ratio | ratio from step 4 on | reached | least |
|---|---|---|---|---|---|---|---|---|"""


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
        for chooser in CHOOSERS:
            ours, bound = judged(boxes, kind, args.seed, chooser)
            print(ours.row(f"{kind}, {chooser}"))
            print(bound.row("*bound for it*"), flush=True)
    print(FOLLOWED_HEAD)
    for kind in KINDS:
        print(followed_row(kind, follow, args.seed), flush=True)


if __name__ == "__main__":
    main()
