"""Which test to make next, and when none is worth its minutes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from acquisition.records import Box, Event
from acquisition.setups import ALWAYS_OPEN, PATHS, open_paths, parent
from analysis.ranking.nexttest import Search, Setting, Worth, feasible_setups
from analysis.ranking.posterior import Posterior
from analysis.ranking.words import either_text, step_words
from analysis.repairs import named_repairs, repaired_sentence, repaired_text, touches, untested_repairs
from analysis.results import Assessment, NextTest, PathResult, Unexplained
from analysis.wording import list_text, path_name

NAMED = 0.9
"""Chance at which a place is named as the one to reseal."""
QUIET = 0.05
"""Chance of all open places together to be over the limit, below which there is nothing to reseal."""
LEAST_BITS = 0.02
_CHOKED_PA_M3_S_PER_M2 = 20.13e6
_WANTED_RISE_PA = 6e3
_LITRE = 1e-3


@dataclass(frozen=True)
class Choice:
    """The next test with the words of its step."""

    test: NextTest | None
    step: str


@dataclass(frozen=True)
class Waiting:
    """Repairs that no test came after, and the setup that shows whether they worked.

    ``setting`` is None while no test of this box can open the place; ``as_before`` when an earlier test had it so.
    """

    repairs: tuple[Event, ...]
    setting: Setting | None
    as_before: bool

    @property
    def sentence(self) -> str:
        """What was repaired, and the test that it waits for."""
        if self.setting is None:
            return f"{repaired_text(self.repairs)}: no test can show it before the vents are drilled."
        return repaired_sentence(self.repairs, None if self.as_before else self.setting[0])


@dataclass(frozen=True)
class Standing:
    """What the tests so far say of the repair.

    The place named, whether that is over its limit, all within it, places never open, a repair not tested yet.
    """

    named: PathResult | None
    over: bool
    quiet: bool
    untested: tuple[str, ...]
    waiting: Waiting | None


def limit_m2(tests: Sequence[Assessment]) -> float | None:
    """The box's limit as its tests carry it, the strictest."""
    limits = [t.limit.area_m2 for t in tests if t.limit is not None]
    return min(limits) if limits else None


def standing(
    posterior: Posterior, results: Sequence[PathResult], drilled: bool, limit: float | None, waiting: Waiting | None
) -> Standing:
    """Where the search for the repair stands; ``drilled`` says which setups can be made."""
    ranked = [r for r in results if r.path != "valve-seat"]
    named = ranked[0] if ranked and ranked[0].probability_largest >= NAMED else None
    over = named is not None and (named.probability_over_limit is None or named.probability_over_limit >= 0.5)
    total = np.sum([np.clip(posterior.areas_m2[p], 0.0, None) for p in posterior.inward], axis=0)
    unsure = any("shut-not-seen" in t.flags for t in posterior.problem.tests)
    quiet = limit is not None and float(np.mean(total > limit)) < QUIET and not unsure
    return Standing(named, over, quiet, untried(posterior.problem.tests, drilled), waiting)


def untried(tests: Sequence[Assessment], drilled: bool) -> tuple[str, ...]:
    """Places to the shop that none of these tests had open, though a setup that can be made would open them."""
    seen = {parent(p) for test in tests for p in test.open_paths}
    reach = dict.fromkeys(p for setup in feasible_setups(drilled) for p in open_paths(setup))
    return tuple(p for p in reach if p not in seen and "shop" in PATHS[p].joins)


def nothing_to_reseal(tests: Sequence[Assessment], limit: float | None) -> bool:
    """Whether even the setup of production was shown to be tight, last time it was held."""
    sheets = [t for t in tests if t.setup == "formed-sheet"]
    return limit is not None and bool(sheets) and sheets[-1].verdict == "tight"


def choose_next(
    posterior: Posterior, found: Search, stand: Standing, odd: Unexplained | None, box: Box | None,
    limit: float | None,
) -> Choice:
    """The test worth its minutes, or none when no test would change the repair.

    A repair not tested yet is tested before anything else is looked for. A place named and over its limit is
    resealed first. While what was open stays under the limit, only places
    never open yet are worth a test.
    """
    tests = posterior.problem.tests
    if stand.waiting is not None and stand.waiting.setting is not None:
        return _confirm(stand.waiting, found, tests, box)
    if odd is not None:
        return _repeat_odd(found, odd, tests)
    if nothing_to_reseal(tests, limit) or (stand.named is not None and stand.over and not _elsewhere(found, stand)):
        return Choice(None, "")
    if stand.quiet or stand.named is not None:
        worth = next((w for w in found.worth if set(stand.untested) & set(_opened(w))), None)
    else:
        worth = next((w for w in found.worth if w.bits >= LEAST_BITS), None)
    return _as_choice(worth, found, tests, box, stand.untested) if worth is not None else Choice(None, "")


def confirming(tests: Sequence[Assessment], events: Sequence[Event], drilled: bool) -> Waiting | None:
    """Repairs that no test came after, with the setup to test them in.

    It is the latest setup with all their places open that can be made again, since only then is there a figure to
    set the new one against; else one with some of their places open, the others wait; else a setup that opens them.
    """
    repairs = untested_repairs(tests, events)
    feasible = feasible_setups(drilled)
    made = [((t.setup, t.sealed), t.open_paths) for t in reversed(tests) if t.setup in feasible]
    rows = ("vents-taped", "film-on-rim", "formed-sheet", "film-on-top") if drilled else ("undrilled",)
    plain: list[tuple[Setting, tuple[str, ...]]] = [((row, ()), open_paths(row)) for row in rows]
    for settings in (made, plain):
        shown = [(setting, tuple(e for e in repairs if _shows(e, setting, paths))) for setting, paths in settings]
        setting, most = max(shown, key=lambda pair: len(pair[1]), default=(None, ()))
        if most:
            return Waiting(most, setting, settings is made)
    return Waiting(repairs, None, False) if repairs else None


def _shows(event: Event, setting: Setting, paths: Sequence[str]) -> bool:
    """Whether a test would show what a repair did; a capped hose shows that of hose and valve only."""
    if setting[0] == "line-only" and parent(event.path) not in ALWAYS_OPEN:
        return False
    return touches(event, paths, setting[1])


def _confirm(waiting: Waiting, found: Search, tests: Sequence[Assessment], box: Box | None) -> Choice:
    worth = next(w for w in found.worth if w.test.do == "hold" and (w.test.setup, w.test.seal) == waiting.setting)
    chosen = _as_choice(worth, found, tests, box)
    assert chosen.test is not None
    why = f"It shows whether {named_repairs(waiting.repairs)} worked."
    return Choice(replace(chosen.test, why=why), chosen.step)


def _elsewhere(found: Search, stand: Standing) -> bool:
    """Whether, with no limit to judge by, a place never open is likelier the largest than the one named."""
    assert stand.named is not None
    likeliest = found.paths[int(np.argmax(found.chance))]
    return stand.named.probability_over_limit is None and likeliest in stand.untested


def _repeat_odd(found: Search, odd: Unexplained, tests: Sequence[Assessment]) -> Choice:
    test = next(t for t in tests if t.log == odd.log)
    setup = test.setup or ""
    bits = max((w.bits for w in found.worth if w.test.do == "repeat"), default=0.0)
    hold = _hold_s(test.area_m2.value if test.area_m2 else 0.0, setup, tests)
    return Choice(NextTest("repeat", setup, test.sealed, hold, bits, odd.sentence),
                  step_words("repeat", setup, test.sealed, test))


def _opened(worth: Worth) -> tuple[str, ...]:
    return open_paths(worth.test.setup, worth.test.seal)


def _as_choice(
    worth: Worth, found: Search, tests: Sequence[Assessment], box: Box | None, untested: Sequence[str] = ()
) -> Choice:
    c = worth.test
    do = "stall" if c.do == "hold" and _stalls(worth.area_m2, box, tests) else c.do
    step = step_words(do, c.setup, c.seal, tests[-1])
    suspects = [path_name(path) for path in _suspects(found, c.setup)]
    fresh = [f"the {path_name(path)}" for path in untested if path in _opened(worth)]
    surer = f"It tries {list_text(fresh)} for the first time" if fresh else "It makes surer"
    asks = f"It asks which lets in most, {either_text(suspects)}" if len(suspects) > 1 else surer
    why = f"{asks}; no other test tells as much in its time."
    hold = 0.0 if do == "stall" else _hold_s(worth.area_m2, c.setup, tests)
    return Choice(NextTest(do, c.setup, c.seal, hold, round(worth.bits, 4), why), step)


def _suspects(found: Search, setup: str) -> list[str]:
    """The likeliest places that a setup can have to do with, three at most."""
    reach = open_paths(setup)
    order = [int(i) for i in np.argsort(-found.chance, kind="stable") if parent(found.paths[i]) in reach]
    return [found.paths[i] for i in order[:3] if found.chance[i] > 0.03]


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
