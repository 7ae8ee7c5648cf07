"""Where a time of a log stands on the paper: the hold is the widest stretch, the other phases have fixed shares."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.results import Assessment, Curves, Phase
from dashboard.figures import Array

_SHARES = {"baseline": 0.35, "pump-down": 1.5, "soak": 1.5, "let-up": 0.65, "hold": 2.2}
_MAIN_SHARE = 7.2


@dataclass(frozen=True)
class TimeMap:
    """Where a time of the log (s) stands on the paper; ``shut_s`` is when the used hold began."""

    knots_s: tuple[float, ...]
    places: tuple[float, ...]
    shut_s: float
    end_s: float

    def of(self, t_s: Array | float) -> Array:
        """Places of times."""
        return np.asarray(np.interp(t_s, self.knots_s, self.places))

    def at(self, t_s: float) -> float:
        """Place of one time."""
        return float(self.of(t_s))


def main_hold(result: Assessment) -> Phase | None:
    """The hold that the result speaks of: the one with the used stretch, else the last."""
    holds = [p for p in result.phases if p.name == "hold"]
    if result.span is not None:
        for phase in holds:
            if phase.start_s <= result.span.start_s + 1.0 and result.span.end_s <= phase.end_s + 1.0:
                return phase
    return holds[-1] if holds else None


def time_map(result: Assessment, curves: Curves) -> TimeMap:
    """Share the width out between the phases; without phases time runs evenly."""
    first, last = float(curves.t_s[0]), float(curves.t_s[-1])
    hold = main_hold(result)
    if hold is None:
        return TimeMap((first, max(last, first + 1.0)), (0.0, 10.0), first, last)
    knots, places = [first], [0.0]
    for phase in sorted(result.phases, key=lambda p: p.start_s):
        for edge, share in ((phase.start_s, 0.3), (phase.end_s, _MAIN_SHARE if phase is hold else _SHARES[phase.name])):
            if edge > knots[-1] + 1e-6:
                knots.append(edge)
                places.append(places[-1] + share)
    if last > knots[-1] + 1e-6:
        knots.append(last)
        places.append(places[-1] + 0.5)
    return TimeMap(tuple(knots), tuple(places), hold.start_s, hold.end_s)
