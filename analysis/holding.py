"""Whether a running hold is worth holding on, judged from the estimates it has given so far."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from analysis.results import Assessment, VerdictKind

FIRST_S = 60.0
"""No hold is called enough sooner after the shut: the gas is still warming."""
BACK_SHARE = 0.95
"""Share of room pressure at which nothing is left to be learned."""
NARROW = 0.10
STOOD_S = 5.0
NO_BETTER_S = 60.0
NO_BETTER_SHARE = 0.05
LONGEST_S = 1800.0

_SETTLED: tuple[VerdictKind, ...] = ("tight", "within", "over", "stalls")


@dataclass(frozen=True)
class Estimate:
    """One estimate of a running hold.

    ``held_s`` time since the shut, s; ``area_m2`` its value and ends in m2, None for a refusal; ``verdict``
    against the limit.
    """

    held_s: float
    area_m2: tuple[float, float, float] | None
    verdict: VerdictKind

    @property
    def half_width(self) -> float:
        """Half the interval as a share of the value, or infinite where there is no area."""
        if self.area_m2 is None or self.area_m2[0] <= 0.0:
            return math.inf
        value, low, high = self.area_m2
        return (high - low) / (2.0 * value)


@dataclass(frozen=True)
class HoldAdvice:
    """Whether to hold on.

    ``enough`` the answer is good enough; ``no_better`` holding on would not change it; ``until_s`` time after
    the shut at which the area would be known to 10 %, None where that cannot be foreseen or is over half an hour.
    """

    enough: bool
    no_better: bool
    until_s: float | None


def estimate_of(assessment: Assessment, held_s: float) -> Estimate:
    """The part of an assessment that tells whether to hold on; an open check plug is no part of the box's leak."""
    area = assessment.own_area_m2
    triple = None if area is None else (area.value, area.low, area.high)
    return Estimate(held_s, triple, assessment.verdict)


def hold_advice(history: Sequence[Estimate], share_of_room: float) -> HoldAdvice:
    """Judge a running hold.

    Parameters
    ----------
    history
        Its estimates, oldest first.
    share_of_room
        Box over room pressure now, absolute.
    """
    if not history:
        return HoldAdvice(False, share_of_room >= BACK_SHARE, None)
    now = history[-1]
    back = share_of_room >= BACK_SHARE
    if now.held_s < FIRST_S and not back:
        return HoldAdvice(False, False, _until(history))
    return HoldAdvice(_enough(history), back or _no_better(history), _until(history))


def _enough(history: Sequence[Estimate]) -> bool:
    now = history[-1]
    stood = [e for e in history if e.held_s <= now.held_s - STOOD_S][-1:]
    if now.verdict in _SETTLED:
        return all(e.verdict == now.verdict for e in stood)
    return now.half_width <= NARROW


def _no_better(history: Sequence[Estimate]) -> bool:
    """Over the last third of the hold, and at least a minute, the interval has hardly closed."""
    now = history[-1]
    back_s = max(NO_BETTER_S, now.held_s / 3.0)
    earlier = [e for e in history if e.held_s <= now.held_s - back_s][-1:]
    return bool(earlier) and math.isfinite(now.half_width) and (
        now.half_width > earlier[0].half_width * (1.0 - NO_BETTER_SHARE)
    )  # fmt: skip


def _until(history: Sequence[Estimate]) -> float | None:
    """When the half width would reach a tenth, carrying on its fall of the last half of the hold."""
    now = history[-1]
    if now.half_width <= NARROW:
        return now.held_s
    earlier = [e for e in history if e.held_s <= now.held_s / 2.0 and math.isfinite(e.half_width)][-1:]
    if not earlier or not math.isfinite(now.half_width) or earlier[0].held_s <= 0.0:
        return None
    power = math.log(earlier[0].half_width / now.half_width) / math.log(now.held_s / earlier[0].held_s)
    if power <= 0.1:
        return None
    until_s = now.held_s * (now.half_width / NARROW) ** (1.0 / power)
    return until_s if until_s <= LONGEST_S else None
