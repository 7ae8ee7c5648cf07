"""From posterior to ranking: paths, groups, the odd test, the next test and the advice."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np

from acquisition.records import Box, Event
from acquisition.setups import PATHS, parent, same_place
from analysis.ranking.choice import Choice, Standing, nothing_to_reseal
from analysis.ranking.likelihood import SCATTER
from analysis.ranking.nexttest import Candidate, predicted_m2
from analysis.ranking.posterior import Posterior, chances, interval_m2, largest, odd_chances, solve
from analysis.ranking.words import (
    evidence,
    first_words,
    none_yet_words,
    odd_sentence,
    open_in,
    quiet_words,
)
from analysis.remedies import remedy
from analysis.repairs import untested_repairs
from analysis.results import Assessment, FloatArray, Interval, NextTest, PathResult, Unexplained

TWINS = 0.85
"""Most that one of several places can have of their common chance when no test parts them."""
ODD = 0.7
UNFORESEEN = 0.02
SEAM = "To find the seam, tape one side at a time (front, back, left, right) and hold again."


def path_results(posterior: Posterior, limit: float | None, events: Sequence[Event]) -> tuple[PathResult, ...]:
    """Every listed path's part, likeliest first."""
    inward = posterior.inward
    found = chances(largest(posterior.areas_m2, inward), len(inward)).tolist() if inward else []
    chance = held_back(dict(zip(inward, found, strict=True)), twins(posterior))
    total = sum(np.clip(posterior.areas_m2[p], 0.0, None) for p in posterior.listed)
    results = [_one(posterior, p, chance.get(p, 0.0), total, limit, events) for p in posterior.listed]
    return tuple(sorted(results, key=lambda r: (-r.probability_largest, -r.area_m2.value)))


def _one(
    posterior: Posterior, path: str, chance: float, total: FloatArray | float, limit: float | None,
    events: Sequence[Event],
) -> PathResult:
    draws = posterior.areas_m2[path]
    over = None if limit is None else float(np.mean(draws > limit))
    share = float(np.mean(np.clip(draws, 0.0, None) / (total + 1e-15)))
    waiting = untested_repairs(posterior.problem.tests, events)
    untested = any(not e.path or same_place(e.path, path) for e in waiting)
    said = evidence(posterior, path, chance, events)
    return PathResult(path, interval_m2(draws), share, chance, over, said, untested)


def twins(posterior: Posterior) -> tuple[tuple[str, ...], ...]:
    """Places that count alike in every test; only the guess, the leak law or a remark speaks for one of them."""
    alike: dict[tuple[bool, ...], list[str]] = {}
    for path in posterior.inward:
        alike.setdefault(open_in(posterior.problem, path), []).append(path)
    return tuple(tuple(group) for group in alike.values() if len(group) > 1)


def held_back(chance: dict[str, float], alike: Sequence[Sequence[str]]) -> dict[str, float]:
    """``chance`` with none above ``TWINS`` of what its group has; the others of the group share the rest.

    Guess, law and ear may lean to one place, but are not allowed to name it: only a test that parts it is.
    """
    out = dict(chance)
    for group in alike:
        total = sum(chance[p] for p in group)
        first = max(group, key=lambda p: chance[p])
        spare = chance[first] - TWINS * total
        if spare <= 0.0:
            continue
        others = [p for p in group if p != first]
        rest = sum(chance[p] for p in others)
        out[first] -= spare
        for p in others:
            out[p] += spare * (chance[p] / rest if rest > 0.0 else 1.0 / len(others))
    return out


def groups(posterior: Posterior, results: Sequence[PathResult]) -> tuple[tuple[str, ...], ...]:
    """Paths that no test parts, or only ever by their sum."""
    chance = {r.path: r.probability_largest for r in results}
    inward = [r.path for r in results if r.path != "valve-seat"]
    joined = {p: {p} for p in inward}
    for a, b in combinations(inward, 2):
        if _alike(posterior, a, b) or (min(chance[a], chance[b]) > 0.12 and _trade_off(posterior, a, b)):
            merged = joined[a] | joined[b]
            for p in merged:
                joined[p] = merged
    found = dict.fromkeys(tuple(p for p in inward if p in joined[q]) for q in inward)
    return tuple(g for g in found if len(g) > 1)


def _alike(posterior: Posterior, a: str, b: str) -> bool:
    return open_in(posterior.problem, a) == open_in(posterior.problem, b)


def _trade_off(posterior: Posterior, a: str, b: str) -> bool:
    """Whether one is only as large as the other is small."""
    x, y = posterior.areas_m2[a], posterior.areas_m2[b]
    cap = float(np.quantile(x + y, 0.99))
    return bool(np.corrcoef(np.minimum(x, cap), np.minimum(y, cap))[0, 1] < -0.5)


def group_areas(posterior: Posterior, apart: Sequence[Sequence[str]]) -> tuple[Interval, ...]:
    """Summed area of each group, m2."""
    return tuple(interval_m2(np.sum([posterior.areas_m2[p] for p in group], axis=0)) for group in apart)


def not_tested(posterior: Posterior) -> tuple[str, ...]:
    """Table paths that were open in no used test."""
    seen = {parent(p) for p in posterior.listed}
    return tuple(p for p in PATHS if p not in seen)


def unexplained(
    posterior: Posterior, box: Box | None, events: Sequence[Event], rng: np.random.Generator
) -> Unexplained | None:
    """The test that does not fit the others, judged by what the others let expect of it."""
    tests = posterior.problem.tests
    odd = odd_chances(posterior)
    if len(tests) < 2 or 1.0 - float(np.prod(1.0 - odd)) < ODD:
        return None
    suspects = (0, 1) if len(tests) == 2 else (int(np.argmax(np.round(odd, 1))),)
    found = (_misfit(posterior, i, box, events, rng) for i in suspects)
    return next((misfit for misfit in found if misfit is not None), None)


def _misfit(
    posterior: Posterior, i: int, box: Box | None, events: Sequence[Event], rng: np.random.Generator
) -> Unexplained | None:
    """Test ``i`` as the one that does not fit, when the others did not let expect it."""
    test = posterior.problem.tests[i]
    others = tuple(t for k, t in enumerate(posterior.problem.tests) if k != i)
    rest = solve(others, box, events, rng, walkers=1000, final_moves=15)
    expected = predicted_m2(Candidate("hold", test.setup or "", test.sealed, 1.0), rest, box, rng)
    measured = float(posterior.problem.measured_m2[i])
    if _foreseen(measured, expected, rng):
        return None
    by = measured - float(np.median(expected))
    return Unexplained(test.log, by, odd_sentence(test, by, others, events))


def _foreseen(measured_m2: float, expected_m2: FloatArray, rng: np.random.Generator) -> bool:
    """Whether the others let expect such a result after all, another hand's scatter included."""
    results = expected_m2 * np.exp(SCATTER[1] * rng.standard_normal(len(expected_m2)))
    above = float(np.mean(results > measured_m2))
    return min(above, 1.0 - above) > UNFORESEEN


def advice(
    results: Sequence[PathResult], apart: Sequence[Sequence[str]], tests: Sequence[Assessment], choice: Choice,
    odd: Unexplained | None, stand: Standing, limit: float | None,
) -> tuple[str, ...]:
    """What to do, in order; a repair that waits for its test first, then the next repair when one can be named."""
    ranked = [r for r in results if r.path != "valve-seat"]
    if stand.waiting is not None and stand.waiting.setting is not None:
        return (stand.waiting.sentence, f"{choice.step}.", *_mind(choice.test))
    if stand.waiting is not None:
        untold = replace(stand, waiting=None)
        return (stand.waiting.sentence, *advice(results, apart, tests, choice, odd, untold, limit))
    if odd is not None:
        return (odd.sentence,)
    if nothing_to_reseal(tests, limit):
        return ("Nothing to reseal: with a sheet on it the box is tight.",)
    if stand.quiet:
        return (quiet_words(ranked[0], choice.step), *_mind(choice.test))
    if stand.named is not None and len(tests) > 1:
        return (*_repair(ranked[0]), *((f"To be surer: {choice.step}.",) if choice.step else ()))
    return _none_yet(ranked[0], apart, tests, choice)


def also_redraw(last: Assessment, choice: Choice) -> tuple[str, ...]:
    """The redraw that the last test asked for by itself, when another test is to be made next."""
    stored = last.release is not None and last.release.present and not last.earlier_holds
    if choice.test is None or choice.test.do == "redraw" or not (stored or last.verdict == "cannot-tell"):
        return ()
    return ("Hold twice in that test, with a redraw between and no air let in: what is less in the second hold was air "
            "from the wood, not a leak.",)


def _none_yet(
    top: PathResult, apart: Sequence[Sequence[str]], tests: Sequence[Assessment], choice: Choice
) -> tuple[str, ...]:
    group = next((g for g in apart if top.path in g), ())
    why = none_yet_words(top, group, tests[0] if len(tests) == 1 else None, choice.step)
    if choice.test is None:
        return (why, "No further test would tell them apart; begin with the likeliest.", *_repair(top)[1:])
    return (why, *_mind(choice.test))


def _repair(top: PathResult) -> tuple[str, ...]:
    work = remedy(top.path)
    seam = (SEAM,) if top.path == "panel-edges" else ()
    return (first_words(top), work.inspect, *seam, work.repair, *work.cautions, work.confirm)


def _mind(test: NextTest | None) -> tuple[str, ...]:
    return remedy("sheet-edge").cautions if test is not None and test.setup == "formed-sheet" else ()
