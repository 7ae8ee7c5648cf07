"""From posterior to ranking: paths, groups, the odd test, the next test and the advice."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from acquisition.records import Box, Event
from acquisition.setups import PATHS, open_paths, parent
from analysis.ranking.likelihood import SCATTER
from analysis.ranking.nexttest import Candidate, Search, Worth, predicted_m2
from analysis.ranking.posterior import Posterior, chances, interval_m2, largest, odd_chances, solve
from analysis.ranking.words import (
    either_text,
    evidence,
    first_words,
    none_yet_words,
    odd_sentence,
    states,
    step_words,
)
from analysis.remedies import remedy
from analysis.results import Assessment, FloatArray, Interval, NextTest, PathResult, Unexplained
from analysis.wording import path_name

NAMED = 0.9
"""Chance at which a place is named as the one to reseal."""
SETTLED = 0.95
"""Chance at which no further test is asked for."""
ODD = 0.7
UNFORESEEN = 0.02
LEAST_BITS = 0.02
LEAST_GAIN = 0.004
SEAM = "To find the seam, tape one side at a time (front, back, left, right) and hold again."
_CHOKED_PA_M3_S_PER_M2 = 20.13e6
_WANTED_RISE_PA = 6e3
_LITRE = 1e-3


def limit_m2(tests: Sequence[Assessment]) -> float | None:
    """The box's limit as its tests carry it, the strictest."""
    limits = [t.limit.area_m2 for t in tests if t.limit is not None]
    return min(limits) if limits else None


def path_results(posterior: Posterior, limit: float | None, events: Sequence[Event]) -> tuple[PathResult, ...]:
    """Every listed path's part, likeliest first."""
    inward = posterior.inward
    found = chances(largest(posterior.areas_m2, inward), len(inward)).tolist() if inward else []
    chance = dict(zip(inward, found, strict=True))
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
    return PathResult(path, interval_m2(draws), share, chance, over, evidence(posterior, path, chance, events))


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
    return tuple(g for g in found if len(g) > 1 and not _decided([chance[p] for p in g], len(posterior.problem.tests)))


def _alike(posterior: Posterior, a: str, b: str) -> bool:
    return states(posterior.problem, a) == states(posterior.problem, b)


def _trade_off(posterior: Posterior, a: str, b: str) -> bool:
    """Whether one is only as large as the other is small."""
    x, y = posterior.areas_m2[a], posterior.areas_m2[b]
    cap = float(np.quantile(x + y, 0.99))
    return bool(np.corrcoef(np.minimum(x, cap), np.minimum(y, cap))[0, 1] < -0.5)


def _decided(inside: Sequence[float], n_tests: int) -> bool:
    """Whether law, flags or remarks single one of the group out."""
    return n_tests > 1 and sum(inside) > 0.1 and max(inside) > SETTLED * sum(inside)


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
    i = 0 if len(tests) == 2 else int(np.argmax(np.round(odd, 1)))
    others = tuple(t for k, t in enumerate(tests) if k != i)
    rest = solve(others, box, events, rng, walkers=1000, final_moves=15)
    again = Candidate("hold", tests[i].setup or "", tests[i].sealed, 1.0)
    expected = predicted_m2(again, rest, box, rng)
    by = float(posterior.problem.measured_m2[i] - np.median(expected))
    if _foreseen(float(posterior.problem.measured_m2[i]), expected, rng):
        return None
    return Unexplained(tests[i].log, by, odd_sentence(tests[i], by, others, events))


def _foreseen(measured_m2: float, expected_m2: FloatArray, rng: np.random.Generator) -> bool:
    """Whether the others let expect such a result after all, another hand's scatter included."""
    results = expected_m2 * np.exp(SCATTER[1] * rng.standard_normal(len(expected_m2)))
    above = float(np.mean(results > measured_m2))
    return min(above, 1.0 - above) > UNFORESEEN


@dataclass(frozen=True)
class Choice:
    """The next test with the words of its step."""

    test: NextTest | None
    step: str


def choose_next(
    posterior: Posterior, found: Search, odd: Unexplained | None, box: Box | None, limit: float | None
) -> Choice:
    """The test worth its minutes, or none when no test would change the repair."""
    tests = posterior.problem.tests
    if odd is not None:
        test = next(t for t in tests if t.log == odd.log)
        bits = max((w.bits for w in found.worth if w.test.do == "repeat"), default=0.0)
        step = step_words("repeat", test.setup or "", test.sealed, test)
        hold = _hold_s(test.area_m2.value if test.area_m2 else 0.0, test.setup or "", tests)
        return Choice(NextTest("repeat", test.setup or "", test.sealed, hold, bits, odd.sentence), step)
    if nothing_to_reseal(tests, limit):
        return Choice(None, "")
    now = float(found.chance.max())
    likeliest = parent(found.paths[int(np.argmax(found.chance))])
    if likeliest not in {parent(p) for p in posterior.listed}:
        return _as_choice(next(w for w in found.worth if likeliest in _opened(w)), found, tests, box)
    useful = [w for w in found.worth if w.bits >= LEAST_BITS and (now < NAMED or w.right - now >= LEAST_GAIN)]
    if now >= SETTLED:
        return Choice(None, "")
    return _as_choice(useful[0], found, tests, box) if useful else Choice(None, "")


def _opened(worth: Worth) -> tuple[str, ...]:
    return open_paths(worth.test.setup, worth.test.seal)


def nothing_to_reseal(tests: Sequence[Assessment], limit: float | None) -> bool:
    """Whether even the setup of production was shown to be tight, last time it was held."""
    sheets = [t for t in tests if t.setup == "formed-sheet"]
    return limit is not None and bool(sheets) and sheets[-1].verdict == "tight"


def _as_choice(worth: Worth, found: Search, tests: Sequence[Assessment], box: Box | None) -> Choice:
    c = worth.test
    do = "stall" if c.do == "hold" and _stalls(worth.area_m2, box, tests) else c.do
    step = step_words(do, c.setup, c.seal, tests[-1])
    order = np.argsort(-found.chance, kind="stable")[:3]
    suspects = [path_name(found.paths[i]) for i in order if found.chance[i] > 0.03]
    asks = f"It asks which lets in most, {either_text(suspects)}" if len(suspects) > 1 else "It makes surer"
    why = f"{asks}; no other test tells as much in its time."
    hold = 0.0 if do == "stall" else _hold_s(worth.area_m2, c.setup, tests)
    return Choice(NextTest(do, c.setup, c.seal, hold, round(worth.bits, 4), why), step)


def _stalls(area_m2: float, box: Box | None, tests: Sequence[Assessment]) -> bool:
    """Whether the pump would not get below half of room pressure against this area."""
    room = next((t.room_pa for t in reversed(tests) if t.room_pa is not None), 101_325.0)
    if box is None or box.pump is None or box.pump.speed_L_s is None:
        return False
    net = box.pump.speed_L_s * _LITRE * (0.5 * room - box.pump.ultimate_kPa * 1e3)
    return area_m2 * _CHOKED_PA_M3_S_PER_M2 * room / 101_325.0 > max(net, 0.0)


def _hold_s(area_m2: float, setup: str, tests: Sequence[Assessment]) -> float:
    """Seconds for a rise that a shop's gauge reads well, between one and five minutes."""
    if setup == "line-only":
        return 60.0
    volume = next((t.volume_m3 for t in reversed(tests) if t.volume_m3 and t.setup != "line-only"), 0.032)
    seconds = _WANTED_RISE_PA * volume / (_CHOKED_PA_M3_S_PER_M2 * max(area_m2, 1e-9))
    return float(10.0 * round(np.clip(seconds, 60.0, 120.0 if setup == "formed-sheet" else 300.0) / 10.0))


def advice(
    results: Sequence[PathResult], apart: Sequence[Sequence[str]], tests: Sequence[Assessment], choice: Choice,
    odd: Unexplained | None, limit: float | None,
) -> tuple[str, ...]:
    """What to do, in order; the repair first when one can be named."""
    ranked = [r for r in results if r.path != "valve-seat"]
    if not ranked:
        return (f"{choice.step}.",) if choice.step else ()
    if odd is not None:
        return (odd.sentence,)
    if nothing_to_reseal(tests, limit):
        return ("Nothing to reseal: with a sheet on it the box is tight.",)
    top = ranked[0]
    if top.probability_largest >= NAMED and len(tests) > 1:
        return (*_repair(top), *((f"To be surer: {choice.step}.",) if choice.step else ()))
    group = next((g for g in apart if top.path in g), ())
    why = none_yet_words(top, group, tests[0] if len(tests) == 1 else None, choice.step)
    if choice.test is None:
        return (why, "No further test parts them; begin with the likeliest.", *_repair(top)[1:])
    return (why, *_mind(choice.test))


def _repair(top: PathResult) -> tuple[str, ...]:
    work = remedy(top.path)
    seam = (SEAM,) if top.path == "panel-edges" else ()
    return (first_words(top), work.inspect, *seam, work.repair, *work.cautions, work.confirm)


def _mind(test: NextTest) -> tuple[str, ...]:
    return remedy("sheet-edge").cautions if test.setup == "formed-sheet" else ()
