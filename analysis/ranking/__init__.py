"""Where the air likely gets in, how sure that is, and which test would settle it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from acquisition.errors import WrongUsage
from acquisition.records import Box, Event
from acquisition.setups import SETUPS, parent
from analysis.ranking.choice import choose_next, confirming, limit_m2, standing
from analysis.ranking.nexttest import search
from analysis.ranking.posterior import SEED, solve
from analysis.ranking.report import (
    advice,
    also_redraw,
    group_areas,
    groups,
    not_tested,
    path_results,
    unexplained,
)
from analysis.repairs import breaks_history, came_after, is_drilled, undated_reason
from analysis.results import Assessment, Ranking, SheetComparison

__all__ = ["rank", "waiting_sentence"]

LATEST = 4
"""So many tests of one setup and sealed list count; older ones tell of a box that has aged since."""
OLDER = f"Older than the latest {LATEST} tests of this setup, which count."


def rank(
    assessments: Sequence[Assessment], box: Box | None, events: Sequence[Event] = (),
    comparison: SheetComparison | None = None, seed: int = SEED,
) -> Ranking:
    """Rank the leak paths of one box by its tests.

    Parameters
    ----------
    assessments
        Results of one box's logs, any setups, any places sealed; refused ones and those whose setup is
        not known are left out, with the reason.
    box
        Its measurements, for the careful guess before any test; None takes a middling box.
    events
        Repairs split a path's history, remarks speak modestly for a place.
    comparison
        With and without sheet, passed through.
    seed
        Of the draws; the same seed gives the same ranking.

    Returns
    -------
    Areas in m2 with 95 % intervals, chances, groups not told apart, the odd test, the next test, advice.

    Raises
    ------
    WrongUsage
        The assessments are of more than one box.
    """
    name = _one_box(assessments, box)
    used, left = _usable(assessments, events)
    drilled = is_drilled(used, box)
    if not any(parent(path) != "valve-seat" for test in used for path in test.open_paths):
        return _refused(assessments, box, events, used, left, comparison)
    rng = np.random.default_rng(seed)
    posterior = solve(used, box, events, rng)
    limit = limit_m2(used)
    results = path_results(posterior, limit, events)
    apart = groups(posterior, results)
    odd = unexplained(posterior, box, events, rng)
    waiting = confirming(_held(assessments), events, drilled)
    found = search(posterior, box, drilled, rng, waiting.setting if waiting else None)
    stand = standing(posterior, results, drilled, limit, waiting)
    choice = choose_next(posterior, found, stand, odd, box, limit)
    steps = (*advice(results, apart, used, choice, odd, stand, limit), *also_redraw(used[-1], choice))
    return Ranking(
        box=name, outcome="ranked", reason=None, comparison=comparison, paths=results, not_told_apart=apart,
        not_tested=not_tested(posterior), unexplained=odd, left_out=left, next_test=choice.test,
        advice=steps, not_told_apart_m2=group_areas(posterior, apart),
        waiting=waiting.repairs if waiting else (),
    )


def _one_box(assessments: Sequence[Assessment], box: Box | None) -> str | None:
    names = tuple(dict.fromkeys(a.box for a in assessments if a.box))
    if len(names) > 1:
        raise WrongUsage(f"These logs are of {len(names)} boxes ({', '.join(names)}); give the logs of one box.")
    return names[0] if names else (box.name if box is not None else None)


def _usable(
    assessments: Sequence[Assessment], events: Sequence[Event]
) -> tuple[tuple[Assessment, ...], tuple[tuple[str, str], ...]]:
    """Tests to rank, oldest first, and the others with the reason."""
    reasons = {id(a): _why_not(a) or undated_reason(a, events) for a in assessments}
    reasons.update(_twice([a for a in assessments if not reasons[id(a)]]))
    used = [a for a in assessments if not reasons[id(a)]]
    used.sort(key=lambda a: a.started.timestamp() if a.started is not None else float("inf"))
    alike: dict[object, list[Assessment]] = {}
    for a in used:
        alike.setdefault((a.setup, frozenset(a.sealed), a.open_paths, _repairs_before(a, events)), []).append(a)
    for tests in alike.values():
        reasons.update({id(a): OLDER for a in tests[:-LATEST]})
    left = tuple((a.log, reasons[id(a)]) for a in assessments if reasons[id(a)])
    return tuple(a for a in used if not reasons[id(a)]), left


def _held(assessments: Sequence[Assessment]) -> list[Assessment]:
    """Tests with an answer in the order in which they were made, those without a date first."""
    tests = [a for a in assessments if not _why_not(a)]
    return sorted(tests, key=lambda a: a.started.timestamp() if a.started is not None else float("-inf"))


def _repairs_before(test: Assessment, events: Sequence[Event]) -> int:
    started = test.started
    return len(events) if started is None else sum(breaks_history(e) and came_after(started, e.date) for e in events)


def _why_not(a: Assessment) -> str:
    if a.outcome == "refused" or a.area_m2 is None:
        return a.reason or "No leak area could be given."
    if a.setup not in SETUPS or not (a.open_paths or a.sealed):
        return f"Its setup is not known; take one of {', '.join(SETUPS)}."
    if a.area_m2.high < a.plug_area_m2:
        return "It took in less than its check plug lets in; look at the plug, the volume and the gauge."
    return ""


def _twice(tests: Sequence[Assessment]) -> dict[int, str]:
    """Those that are another one's test once more, with the reason."""
    first: dict[object, str] = {}
    out: dict[int, str] = {}
    for a in tests:
        key = (a.started, a.setup, a.sealed, a.area_m2, a.span, a.phases)
        if key in first:
            again = a.log == first[key]
            out[id(a)] = "Given twice; it counts once." if again else f"The same test as {first[key]}, which counts."
        first.setdefault(key, a.log)
    return out


def _refused(
    assessments: Sequence[Assessment], box: Box | None, events: Sequence[Event],
    used: Sequence[Assessment], left: tuple[tuple[str, str], ...], comparison: SheetComparison | None,
) -> Ranking:
    """No ranking: why, and what to do instead."""
    hold = "hold the box once with the vents taped" if is_drilled(used, box) else "hold the box once as it is"
    waiting = confirming(_held(assessments), events, is_drilled(used, box))
    undated = next((why for a in assessments if not _why_not(a) and (why := undated_reason(a, events))), "")
    reason = undated or f"No test gives a leak area with a known setup; {hold}."
    if used:
        reason = f"Every place was sealed in these tests, so there is none to name; {hold}, nothing sealed."
    return Ranking(
        _one_box(assessments, box), "refused", reason, comparison, (), (), (), None, left, None,
        advice=(waiting.sentence, reason) if waiting else (reason,), waiting=waiting.repairs if waiting else (),
    )


def waiting_sentence(assessments: Sequence[Assessment], box: Box | None, events: Sequence[Event]) -> str:
    """What a ranking would say of repairs of the box that no test came after; empty where none waits."""
    used, _ = _usable(assessments, events)
    waiting = confirming(_held(assessments), events, is_drilled(used, box))
    return waiting.sentence if waiting else ""
