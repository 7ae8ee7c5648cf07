"""The sentences that pages and command line share: verdicts, leads, what a test tells and does not tell.

Every sentence exists in two unit systems and uses the trade's words only.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date, timedelta

from acquisition.setups import ALWAYS_OPEN, parent
from analysis.limit import FALLS_SHORT, PUMP_SHARE_OF_LIMIT, lean
from analysis.names import list_text, path_name, setup_name
from analysis.numberwords import (
    MM2_PER_M2,
    NBSP,
    System,
    amount,
    area_number,
    area_text,
    chance_text,
    clock_text,
    date_text,
    decimals_for,
    duration_text,
    hole_interval_text,
    hole_number,
    hole_text,
    interval_decimals,
    interval_text,
    is_at_most,
    leakage_text,
    length_unit,
    loss_text,
    number,
    pressure_step_text,
    pressure_text,
    size_text,
    told_amount,
    two_figures,
    with_unit,
)
from analysis.results import Assessment, Interval, Limit, VerdictKind

__all__ = [
    "NBSP",
    "System",
    "amount",
    "answer_sentence",
    "area_number",
    "area_text",
    "chance_text",
    "clock_text",
    "date_text",
    "duration_text",
    "hole_interval_text",
    "hole_number",
    "hole_or_seep_sentence",
    "hole_text",
    "interval_text",
    "lead_sentence",
    "leakage_text",
    "length_unit",
    "limit_text",
    "list_text",
    "loss_sentence",
    "loss_text",
    "number",
    "one_test_sentence",
    "path_name",
    "plug_off",
    "pressure_step_text",
    "pressure_text",
    "release_sentence",
    "seal_sentence",
    "setup_name",
    "size_text",
    "two_figures",
    "valve_sentence",
    "verdict_label",
    "with_unit",
]

VERDICT_LABELS: dict[VerdictKind, str] = {
    "tight": "Tight",
    "within": "Within its limit",
    "over": "Over its limit",
    "stalls": "The pump stalls",
    "cannot-tell": "Cannot tell",
    "no-answer": "No answer",
    "no-limit": "No limit known",
}
BOX_ITSELF = ("undrilled", "vents-taped", "film-on-top")
"""Setups that know nothing of the rim joint and the sheet edge."""
PART_FEELS_M2 = 1e-6
"""With a tank and enough vents a smaller leak costs a part next to nothing, m2."""
NOTHING_TO_MEND = "Nothing to mend; test again in a month."
AGAIN = timedelta(days=28)
"""How long after a good test the next one is due."""
_CHOKE = 0.528
_SEAL_AGAIN = {
    "vents-taped": "Press the tape down, then hold again.",
    "film-on-top": "Press the film down, then hold again.",
    "film-on-rim": "Press the film down, then hold again.",
    "formed-sheet": "Form a fresh sheet, then hold again.",
}


def verdict_label(verdict: VerdictKind) -> str:
    """The verdict in two or three words, to stand beside its mark."""
    return VERDICT_LABELS[verdict]


def subject(assessment: Assessment) -> str:
    """What the sentence is about: the box's name."""
    return assessment.box or "The box"


def answer_sentence(assessment: Assessment, system: System = "metric", has_tank: bool | None = None) -> str:
    """The answer to "is this box tight enough?", for a page's heading and the command line.

    Parameters
    ----------
    assessment
        One log's result.
    system
        Units of the sentence.
    has_tank
        Whether a reserve tank serves the box; None when that is not known.
    """
    if assessment.verdict == "no-answer" or assessment.area_m2 is None:
        return _no_answer(assessment)
    if assessment.plug_area_m2 > 0.0:
        plain = answer_sentence(plug_off(assessment), system, has_tank)
        return _join(plain, f"The open check plug, {hole_text(assessment.plug_area_m2, system)}, is taken off.")
    if assessment.setup == "line-only" and assessment.verdict != "stalls":
        return _line_alone(assessment, assessment.area_m2, system)
    if "seal-let-go" in assessment.flags:
        return seal_sentence(assessment, system)
    if assessment.outcome == "upper-limit":
        return _upper_limit(assessment, assessment.area_m2, system)
    if assessment.verdict == "stalls":
        return _stalls(assessment, assessment.area_m2, system)
    if assessment.limit is None:
        return _no_limit(assessment, assessment.area_m2, system)
    return _against_limit(assessment, assessment.area_m2, assessment.limit, system, has_tank)


def plug_off(assessment: Assessment) -> Assessment:
    """The result without the known hole of its open check plug."""
    return replace(assessment, plug_area_m2=0.0, area_m2=assessment.own_area_m2)


def overdue_text(due: date) -> str:
    """Since when a test is overdue."""
    return f"overdue since {date_text(due)}"


def _no_answer(assessment: Assessment) -> str:
    reason = assessment.reason or "The log does not carry one."
    return _join("No answer.", _sentence(reason), _sentence(assessment.advice))


def _sentence(text: str) -> str:
    if not (text := text.strip()):
        return ""
    return f"{text[0].upper()}{text[1:]}{'' if text.endswith(('.', '?')) else '.'}"


def _join(*sentences: str) -> str:
    return " ".join(s for s in sentences if s)


def _line_alone(assessment: Assessment, area: Interval, system: System) -> str:
    """What the line takes in by itself: the box was shut off, so there is no limit to hold it against."""
    whose = f"{assessment.box}'s line" if assessment.box else "The line"
    if assessment.outcome == "upper-limit" or is_at_most(area):
        much = f"at most as much as one drilled hole of {hole_text(area.high, system)}"
    else:
        much = f"as much as one drilled hole of {hole_interval_text(area, system)}"
    return f"{whose} (hose, fittings, valve) takes in {much}. The box itself was not tried."


def _upper_limit(assessment: Assessment, area: Interval, system: System) -> str:
    shown = f"No leak larger than a drilled hole of {hole_text(area.high, system)} was shown"
    if system == "metric":
        shown += f" ({with_unit(area_number(area.high), 'mm²')})"
    if assessment.limit is None:
        return f"{shown}. {_sentence(no_limit_words(assessment))}"
    bound = f"the limit is a hole of {hole_text(assessment.limit.area_m2, system)}"
    if assessment.verdict == "tight":
        return f"Tight. {shown}; {bound}."
    turn = ", but" if area.high > assessment.limit.area_m2 else ", if the valve was shut;"
    return _join(f"Cannot tell. {shown}{turn} {bound}.", _sentence(assessment.advice))


def _stalls(assessment: Assessment, area: Interval, system: System) -> str:
    level = assessment.stall_pa
    room = assessment.room_pa or 101_325.0
    where = "" if level is None else f" at {pressure_text(level, system, room)}"
    return (
        f"A big leak: the pump stalls{where}. Like one drilled hole of {hole_interval_text(area, system)}; "
        "no hold is needed to say so."
    )


def _takes_in(assessment: Assessment, area: Interval, system: System) -> str:
    if is_at_most(area):
        return f"{subject(assessment)} takes in at most as much as one drilled hole of {hole_text(area.high, system)}"
    return f"{subject(assessment)} takes in as much as one drilled hole of {hole_interval_text(area, system)}"


def _no_limit(assessment: Assessment, area: Interval, system: System) -> str:
    return f"{_takes_in(assessment, area, system)}. {_sentence(no_limit_words(assessment))}"


def no_limit_words(assessment: Assessment) -> str:
    """What to do about a limit that is not known."""
    if FALLS_SHORT in assessment.flags:
        return "the box file's pump does not get down to its working pressure, so it sets no limit; correct either"
    return "describe the pump to learn whether that is too much"


def limit_text(limit: Limit, system: System = "metric") -> str:
    """The limit as a drilled hole and where it comes from: ``0.78 mm, from the pump``."""
    source = "from the pump" if limit.source == "pump" else "from its parts"
    return f"{hole_text(limit.area_m2, system)}, {source}"


def _against_limit(
    assessment: Assessment, area: Interval, limit: Limit, system: System, has_tank: bool | None
) -> str:
    if assessment.verdict == "cannot-tell":
        return _cannot_tell(assessment, area, limit, system)
    if assessment.verdict == "over":
        return _over(assessment, area, limit, system, has_tank)
    label = verdict_label(assessment.verdict)
    return f"{label}. {_takes_in(assessment, area, system)}; the limit is {limit_text(limit, system)}."


def _over(assessment: Assessment, area: Interval, limit: Limit, system: System, has_tank: bool | None) -> str:
    hole = hole_text(area.value, system)
    first = (
        f"Over its limit. {subject(assessment)} takes in as much as one drilled hole of {hole}; "
        f"the limit is {hole_text(limit.area_m2, system)}."
    )
    return _join(first, _pump_cost(area, limit, has_tank)) if system == "metric" else first


def _pump_cost(area: Interval, limit: Limit, has_tank: bool | None) -> str:
    """What the leak takes of the pump, and whether the part feels it; nothing when the parts set the limit."""
    if limit.source != "pump":
        return ""
    share = area.value / limit.area_m2 * PUMP_SHARE_OF_LIMIT
    taken = "all" if share > 0.99 else chance_text(share)
    cost = f"The pump spends {taken} of itself on it"
    if area.value >= PART_FEELS_M2 or has_tank is False:
        return f"{cost}."
    feels = "the part does not feel it yet while the tank is full"
    return f"{cost}; {feels if has_tank else 'with a full tank the part does not feel it yet'}."


def _cannot_tell(assessment: Assessment, area: Interval, limit: Limit, system: System) -> str:
    side, chance = lean(area, limit.area_m2)
    if system == "inch":
        low, high = hole_number(area.low, system), hole_number(area.high, system)
        span = f"lies between drilled holes of {low} and {with_unit(high, 'in')}"
        bound = hole_text(limit.area_m2, system)
    else:
        places = interval_decimals(area.scaled(MM2_PER_M2))
        low, high = (number(a * MM2_PER_M2, places) for a in (area.low, area.high))
        span = f"lies between {low} and {with_unit(high, 'mm²')}"
        bound = with_unit(area_number(limit.area_m2), "mm²")
    leaning = f"leaning {side}, {chance_text(chance)}"
    first = f"Cannot tell. {subject(assessment)} {span} and its limit is {bound}, {leaning}."
    return _join(first, _sentence(assessment.advice))


def lead_sentence(assessment: Assessment, system: System = "metric") -> str:
    """The line under the heading: what the setup does not know, how the air gets in, what is not leak."""
    if assessment.area_m2 is None:
        return ""
    return _join(_box_itself(assessment), _law_words(assessment), release_sentence(assessment, system))


def _box_itself(assessment: Assessment) -> str:
    if assessment.setup not in BOX_ITSELF or assessment.verdict not in ("tight", "within", "cannot-tell"):
        return ""
    return "That is the box itself: the rim joint and the sheet edge were not tried."


_LAW_WORDS = {
    "hole": "The air blows through something short, as a hole or a gap; it does not seep through the grain.",
    "seep": "The air seeps through something long and fine, as a joint or bare edge grain does; "
    "it does not blow through a hole.",
    "between": "How the air gets in lies between a hole and a seep: a mix of ways that one test cannot part.",
}


def _law_words(assessment: Assessment) -> str:
    return "" if assessment.law is None else _LAW_WORDS.get(assessment.law.kind, "")


def loss_sentence(assessment: Assessment, system: System = "metric") -> str:
    """What the box loses in five minutes, or how fast it loses 10 kPa (3 inHg); empty when not known."""
    if assessment.lost_5min_pa is None:
        return ""
    rate, volume = assessment.leakage_rate_pa_m3_s, assessment.volume_m3
    if rate is None or not volume:
        return loss_text(assessment.lost_5min_pa, system)
    if assessment.outcome == "upper-limit":
        return f"at most {loss_text(rate.high / volume * 300.0, system)}"
    return loss_text(assessment.lost_5min_pa, system, rate.value / volume)


def release_sentence(assessment: Assessment, system: System = "metric") -> str:
    """Part of the rise is not a leak: what an earlier hold gave and what is left after the redraw."""
    release, area = assessment.release, assessment.area_m2
    if release is None or area is None or not release.present:
        return ""
    first = assessment.earlier_holds[0] if assessment.earlier_holds else None
    if first is None or first.area_m2.value <= area.value:
        share = chance_text(release.share)
        return f"Part of the rise is not a leak: about {share} of it is air and moisture from the wood."
    both = f"the first hold gave {amount(first.area_m2.value, system)}, after the redraw "
    after = hole_number(area.value, system) if system == "inch" else area_number(area.value)
    return f"Part of the rise is not a leak: {both}{after}. The rest is air stored in the wood."


def seal_sentence(assessment: Assessment, system: System = "metric") -> str:
    """A seal that let go during the hold: when, what the box took in before, what to do."""
    span, area = assessment.span, assessment.area_m2
    if span is None or area is None:
        return ""
    shut = next((p.start_s for p in assessment.phases if p.name == "hold" and p.end_s >= span.end_s), span.start_s)
    when = clock_text(span.end_s - shut)
    again = _SEAL_AGAIN.get(assessment.setup or "", "Look at the seal made last, then hold again.")
    return (
        f"A seal let go at {when}. Before that {assessment.box or 'the box'} took in {told_amount(area, system)}; "
        f"after it the rise speeds up, and a leak only slows down. {again}"
    )


def one_test_sentence(
    assessment: Assessment, system: System = "metric", next_step: str = "", tests: int = 1, paths: Sequence[str] = ()
) -> str:
    """How much, not where, that one test or ``tests`` of a kind tell: all it had open, or ``paths``, together."""
    area = assessment.own_area_m2
    if area is None:
        return ""
    names = [path_name(p, assessment.setup) for p in paths or together(assessment.open_paths)]
    first = "One test tells" if tests == 1 else f"{tests} tests of one kind tell"
    if not names:
        return f"{first} how much, not where: {told_amount(area, system)}."
    verb = "together take in" if len(names) > 1 else "takes in"
    much = f"{first} how much, not where: {list_text(names)} {verb} {told_amount(area, system)}."
    return _join(much, _sentence(next_step))


def together(paths: Iterable[str]) -> tuple[str, ...]:
    """Paths that a sentence names: all but the line and the valve seat, which every test has."""
    return tuple(p for p in paths if parent(p) not in ALWAYS_OPEN)


def valve_sentence(hidden_m2: float, behind: str | None, system: System = "metric") -> str:
    """A valve seat that takes air out: what stands behind it and how much it hides."""
    what = behind if behind in ("pump", "tank") else "pump's side"
    if system == "inch":
        hides = f"a leak like one drilled hole of {hole_text(hidden_m2, system)}"
    else:
        hidden_mm2 = hidden_m2 * MM2_PER_M2
        hides = with_unit(number(hidden_mm2, decimals_for(hidden_mm2, 1)), "mm²")
    hidden = f"The valve seat takes air out: the {what} behind it hides {hides}."
    return f"{hidden} Let air in behind the valve and hold again."


def hole_or_seep_sentence(assessment: Assessment, system: System = "metric") -> str:
    """What to hold out for when hole and seep cannot be told apart yet; empty when they can, or it is too late."""
    span, room = assessment.span, assessment.room_pa
    if assessment.law is None or assessment.law.kind != "undetermined" or span is None or room is None:
        return ""
    part = _CHOKE * room
    other = "next time hold at 60 kPa" if system == "metric" else "next time hold at 12 inHg vacuum"
    later = f"{other} first, before the deep one"
    seconds = _time_to(assessment, part)
    if seconds is None:
        return f"Cannot tell hole from seep; {later}."
    where = pressure_text(part, system, room)
    return f"Cannot tell hole from seep yet. Hold till {where}, {duration_text(seconds)} more; or {later}."


def _time_to(assessment: Assessment, level_pa: float) -> float | None:
    span, rate, volume = assessment.span, assessment.leakage_rate_pa_m3_s, assessment.volume_m3
    if span is None or rate is None or not volume or rate.value <= 0.0 or level_pa <= span.end_pa:
        return None
    return (level_pa - span.end_pa) * volume / rate.value
