"""The sentences of a ranking."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from acquisition.records import Event
from acquisition.setups import parent, same_place
from analysis.numberwords import amount, area_text, chance_text, date_text, seat_way
from analysis.ranking.model import Problem, place_of
from analysis.ranking.posterior import Posterior, interval_m2
from analysis.repaireffects import effect_of, repair_sentence
from analysis.repairs import day_text, replaced_by, same_epoch, untested_repairs
from analysis.results import Assessment, PathResult
from analysis.wording import list_text, one_test_sentence, path_name, setup_name, valve_sentence

_CLOSE = {
    "line-only": "Cap the hose at the box's end",
    "undrilled": "Leave the top as it is",
    "vents-taped": "Tape the vents",
    "film-on-top": "Lay film over the top, inside the rim",
    "film-on-rim": "Take the film out to the rim, putty tape under it",
    "formed-sheet": "Form a fresh sheet, let it cool under 40 °C",
}
_SEAL = {
    "panel-edges": "tape the edges all round",
    "panel-faces": "lay film over walls and bottom",
    "port-flange": "putty the flange",
    "line": "putty the line's fittings",
    "rim-joint": "putty the rim joint",
    "sheet-edge": "tape the sheet's edge down all round",
}


def named_test(test: Assessment) -> str:
    """A test as a sentence names it: by its date, else by its setup and log."""
    if test.started is None:
        return f"the one in {test.log}"
    return f"the one of {date_text(test.started.date(), with_year=False)}"


def either_text(names: Sequence[str]) -> str:
    """Names to choose from: ``a or b``, ``a, b or c``."""
    return list_text(names).replace(" and ", " or ")


def seal_words(seal: Sequence[str]) -> str:
    """What the hand does to seal these places."""
    return list_text([_SEAL.get(p, f"tape the {path_name(p)}") for p in seal])


def step_words(do: str, setup: str, seal: Sequence[str], before: Assessment | None) -> str:
    """The next test as something to do, without a full stop."""
    if do == "redraw":
        return "Redraw without letting air in and hold again"
    if do == "vent-behind-valve":
        return "Let air in behind the valve and hold again"
    if do == "repeat" and before is not None:
        return f"Repeat the hold with {setup_name(setup)}"
    same = before is not None and before.setup == setup and setup != "formed-sheet" and not before.sealed
    hold = "let the pump run until the pressure stays" if do == "stall" else "hold again"
    if same and seal:
        words = seal_words(seal)
        return f"{words[0].upper()}{words[1:]} and {hold}"
    parts = [_CLOSE[setup], *([seal_words(seal)] if seal else []), hold]
    return list_text(parts)


def evidence(posterior: Posterior, path: str, chance: float, events: Sequence[Event]) -> tuple[str, ...]:
    """What speaks for or against a path, one sentence each."""
    if path == "valve-seat":
        return _valve(posterior)
    tests = posterior.problem.tests
    out = [*_differences(posterior, path, events), *_laws(posterior, path, chance)]
    out += _let_go(tests, path, posterior.problem)
    out += [_noted(e, events) for e in events if same_place(place_of(e), path)]
    repairs = [e for e in events if e.kind == "repair" and (not e.path or same_place(e.path, path))]
    if repairs:
        out += _repaired(posterior, sorted(repairs, key=lambda e: e.date)[-1], events)
    return tuple(out) or (_silent(posterior, path),)


def _noted(remark: Event, events: Sequence[Event]) -> str:
    """A remark, and whether it was made before a repair or a change, so that it speaks of what was."""
    later = replaced_by(remark, place_of(remark), events)
    since = "" if later is None else f", before the {later.kind} of {day_text(later.date)}, so it no longer counts"
    return f"Noted {day_text(remark.date)}{since}: {remark.text.rstrip('.')}."


def _repaired(posterior: Posterior, event: Event, events: Sequence[Event]) -> list[str]:
    """That a place was resealed, and what that did where tests on both sides tell."""
    tests = posterior.problem.tests
    tested = event not in untested_repairs(tests, events)
    done = "Resealed" if event.path else "The box was repaired, it is not said where,"
    told = f"{done} {day_text(event.date)}; {'tested since' if tested else 'not tested since'}."
    effect = effect_of(tests, event, events, None) if tested else None
    return [told] if effect is None else [told, repair_sentence(effect)]


def states(problem: Problem, path: str) -> tuple[float, ...]:
    """How today's ``path`` counts in each test: 1 open, little when sealed, 0 when absent."""
    k = problem.current.get(path)
    cols = [j for j, c in enumerate(problem.columns) if c.leaf == k]
    return tuple(np.abs(problem.weight[:, cols]).sum(axis=1).tolist())


def open_in(problem: Problem, path: str) -> tuple[bool, ...]:
    """In which tests today's ``path`` counts as open; what leaks through a seal parts nothing."""
    return tuple(state > 0.5 for state in states(problem, path))


def _differences(posterior: Posterior, path: str, events: Sequence[Event]) -> list[str]:
    """The pair of tests that differ in this path alone, when there is one; nothing was mended between them."""
    problem = posterior.problem
    others = [states(problem, p) for p in posterior.inward if p not in (path, "closure")]
    mine = states(problem, path)
    for i in range(len(problem.tests)):
        for j in range(len(problem.tests)):
            alike = mine[i] > 0.5 > mine[j] and all(abs(o[i] - o[j]) < 0.5 for o in others)
            if alike and same_epoch(problem.tests[i], problem.tests[j], events):
                return [_difference(problem, path, i, j)]
    return []


def _difference(problem: Problem, path: str, i: int, j: int) -> str:
    less = problem.measured_m2[i] - problem.measured_m2[j]
    way = "Sealed" if path in problem.tests[j].sealed or parent(path) in problem.tests[j].sealed else "Without it"
    if less > 0.0:
        return f"{way}, the box took in {amount(less, 'metric')} less."
    return f"{way}, the box took in no less."


def _laws(posterior: Posterior, path: str, chance: float) -> list[str]:
    lean = posterior.problem.leaves[posterior.problem.current[path]].prior.hole_lean
    mine = states(posterior.problem, path)
    for test, open_here in zip(posterior.problem.tests, mine, strict=True):
        if test.law is None or open_here < 0.5 or chance < 0.1 or "seal-let-go" in test.flags:
            continue
        if test.law.kind == "seep":
            return ["The leak is a seep, as edges and boards are." if lean < -0.2 else "The leak is a seep."]
        if test.law.kind == "hole":
            return ["The leak is a hole, as fittings and gaps are." if lean > 0.1 else "The leak is a hole."]
    return []


def _let_go(tests: Sequence[Assessment], path: str, problem: Problem) -> list[str]:
    if parent(path) not in ("closure", "sheet-edge"):
        return []
    mine = states(problem, path)
    gone = [t for t, m in zip(tests, mine, strict=True) if "seal-let-go" in t.flags and m > 0.5]
    return [f"A seal let go in the test with {setup_name(gone[0].setup)}."] if gone else []


def _silent(posterior: Posterior, path: str) -> str:
    mine = open_in(posterior.problem, path)
    alike = [p for p in posterior.inward if p != path and open_in(posterior.problem, p) == mine]
    if alike:
        return f"These tests cannot tell it from {list_text([path_name(p) for p in alike])}."
    return "It was never tested apart from other places."


def _valve(posterior: Posterior) -> tuple[str, ...]:
    draws = posterior.areas_m2["valve-seat"]
    median = float(np.median(draws))
    behind = posterior.problem.tests[-1].behind_valve
    if median < 0.0 and np.mean(draws < -0.2 * abs(median)) > 0.9 and behind in ("pump", "tank"):
        return (valve_sentence(-median, behind),)
    if behind is None:
        return ("What is behind the valve was not noted; it may take air in or out.",)
    way = {"out": "It takes air out.", "in": "Air gets in through it from the room side."}
    return (way.get(seat_way(interval_m2(draws)), "No leak of it was seen, either way."),)


def odd_sentence(test: Assessment, by_m2: float, others: Sequence[Assessment], events: Sequence[Event]) -> str:
    """The sentence for a test that does not fit the others."""
    way = f"{amount(abs(by_m2), 'metric')} {'more' if by_m2 > 0.0 else 'less'}"
    noted = "" if events else ", and nothing was noted between"
    if len(others) == 1:
        return (f"The two tests do not agree: {named_test(test)} has {way} than {named_test(others[0])}{noted}. "
                "Repeat that one first.")
    return (f"One test does not agree with the others: {named_test(test)} with {setup_name(test.setup)} has {way} "
            f"than they let expect{noted}. Repeat that one first.")


def group_words(group: Sequence[str]) -> str:
    """Names of a group, with a verb."""
    return f"{list_text([path_name(p) for p in group])} are not told apart"


def first_words(top: PathResult) -> str:
    """The likeliest place, how much and how likely."""
    return (f"{path_name(top.path).capitalize()} first: {area_text(top.area_m2, 'metric')}; chance it is the largest "
            f"{chance_text(top.probability_largest)}.")


def none_yet_words(top: PathResult, group: Sequence[str], test: Assessment | None, step: str) -> str:
    """Why no repair is named yet."""
    if test is not None:
        return one_test_sentence(test, next_step=step)
    tail = f" {step}." if step else ""
    if group:
        return f"None yet: {group_words(group)}.{tail}"
    return f"None yet: {path_name(top.path)} is the likeliest, {chance_text(top.probability_largest)}.{tail}"


def quiet_words(top: PathResult, step: str) -> str:
    """That what was open is within the limit, and the test of what was not."""
    most = f"{path_name(top.path)} the likeliest to let in most, {area_text(top.area_m2, 'metric')}"
    if step:
        return f"Nothing to reseal so far: all places open in these tests stay together under the limit. {step}."
    return f"Nothing to reseal: all places together stay under the limit; {most}."
