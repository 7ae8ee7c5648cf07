"""Sentences about a forming: is the poor part the box's fault, and what its leaks cost when the sheet sets."""

from __future__ import annotations

from analysis.forming import A_TANK, Cure, CureKey, FormingAnswer
from analysis.numberwords import System, duration_text, pressure_step_text, pressure_text

FIRST_QUESTION = "Turn the box: does the soft spot turn with it?"
"""Free, and asked first: a spot that turns is a vent or the rim; one that stays is the machine's oven."""
_SHOWS_PA = 1000.0
_CURE_WORDS: dict[CureKey, str] = {
    "tank": "a second tank",
    "edge": "sealing the edge",
    "walls": "sealing the box",
    "pump": "a pump half as strong again",
    "hose": "a hose of twice the bore",
    "vents": "twice as many vents",
    "wait": "waiting till the tank is down again",
}


def forming_sentence(answer: FormingAnswer, system: System = "metric") -> str:
    """The page's answer: whose fault, what helps most beside what sealing would give, and how much is needed."""
    if answer.short_pa <= 0.0:
        return f"Not the box. Its parts get what they need: {_level(answer, system)}."
    if answer.blamed is None:
        return f"Cannot tell. {_level(answer, system)}, and nothing known here gives much back."
    other = _best(answer, is_leak=not answer.blamed.is_leak)
    helps = f"{_gives(answer.blamed, system)} while detail forms"
    beside = "" if other is None else f", {_words(other)} {_step(other, system)}"
    whose = "The box." if answer.box_at_fault else "Mostly not the box."
    return f"{whose} {helps[0].upper()}{helps[1:]}{beside}; you need {pressure_step_text(answer.short_pa, system)}."


def forming_lead(answer: FormingAnswer, system: System = "metric") -> str:
    """The line under it: when the sheet landed, and what the leaks cost by the time it has set."""
    lands = "The sheet does not land in time." if answer.landing_s is None else (
        f"The sheet lands after {duration_text(answer.landing_s)}.")
    if answer.leak_cost_set_pa < _SHOWS_PA:
        return f"{lands} {FIRST_QUESTION}"
    cost = pressure_step_text(answer.leak_cost_set_pa, system)
    return f"{lands} By the time it has set the leaks have cost {cost}: that shows as spring-back, not as soft detail."


def _level(answer: FormingAnswer, system: System) -> str:
    reached, needs = (pressure_text(p, system, answer.room_pa) for p in (answer.reached_pa, answer.needs_pa))
    return f"{reached} under the sheet, and they need {needs} or {'more' if system == 'inch' else 'less'}"


def _best(answer: FormingAnswer, is_leak: bool) -> Cure | None:
    return next((c for c in answer.cures if c.is_leak is is_leak), None)


def _words(cure: Cure) -> str:
    return "a tank" if cure.label == A_TANK else _CURE_WORDS[cure.key]


def _gives(cure: Cure, system: System) -> str:
    verb = "give" if cure.key == "vents" else "gives"
    return f"{_words(cure)} {verb} back {pressure_step_text(cure.while_detail_forms_pa.value, system)}"


def _step(cure: Cure, system: System) -> str:
    return pressure_step_text(max(cure.while_detail_forms_pa.value, 0.0), system)
