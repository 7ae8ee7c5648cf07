"""The pump as one full log shows it: its net speed from the pump-down, the leak that the same log gave taken off."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.pumpcurve import PumpCurve, fit_pump_curve
from analysis.results import Assessment, Phase

COOLED_SHARE = 0.6
"""Share of room pressure above which a pump-down is left out: valve, hose and the gas's cooling rule there."""
DEEP_SHARE = 0.35
"""Share of room pressure a pump-down must get below to show the pump's end."""


@dataclass(frozen=True)
class PumpFound:
    """The pump's curve, or the reason why this log cannot show it."""

    curve: PumpCurve | None
    reason: str | None


def pump_of_test(result: Assessment) -> PumpFound:
    """Net speed of the pump from the first pump-down and soak of an assessed log.

    Parameters
    ----------
    result
        A log's assessment; its volume must be known and its leak have an answer.

    Returns
    -------
    The curve (good to some 8 %: gas cools as it is drawn, bare wood gives off air), or a reason.
    """
    if result.area_m2 is None or result.volume_m3 is None or result.curves is None:
        return _none(f"the log gives no leak to take off: {result.reason or 'it has no answer.'}")
    if result.test == "stall":
        return _none("a pump that stalls shows its speed at one pressure only; take a log with a hold.")
    if result.behind_valve == "tank":
        return _none("a tank was behind the valve, so the log shows the tank and not the pump.")
    drawn = _drawn(result.phases)
    if drawn is None:
        return _none("it begins after the pump-down; take a log that begins with the box open.")
    return _curve(result, *drawn)


def _curve(result: Assessment, start_s: float, end_s: float) -> PumpFound:
    assert result.curves is not None
    assert result.volume_m3 is not None
    assert result.area_m2 is not None
    assert result.room_pa is not None
    assert result.room_k is not None
    t, p = result.curves.t_s, result.curves.p_pa
    inside = (t >= start_s) & (t <= end_s) & (p < COOLED_SHARE * result.room_pa)
    if not inside.any() or float(np.min(p[inside])) > DEEP_SHARE * result.room_pa:
        return _none("the pump-down does not get low enough to show where the pump ends.")
    curve = fit_pump_curve(
        t[inside].tolist(), p[inside].tolist(), result.volume_m3, result.area_m2.value, result.room_pa, result.room_k
    )
    usable = None if curve is None else tuple((at, speed) for at, speed in curve.points if speed > 0.0)
    if curve is None or usable is None or len(usable) < 2:
        return _none("the pump-down has too few readings; record one a second.")
    return PumpFound(PumpCurve(usable, curve.speed_m3_s, curve.ultimate_pa), None)


def _drawn(phases: tuple[Phase, ...]) -> tuple[float, float] | None:
    """First and last time, s, of the first pump-down and the soak after it; None when the log begins later."""
    first = next((i for i, phase in enumerate(phases) if phase.name == "pump-down"), None)
    if first is None:
        return None
    after = phases[first + 1] if first + 1 < len(phases) else phases[first]
    return phases[first].start_s, after.end_s if after.name == "soak" else phases[first].end_s


def _none(reason: str) -> PumpFound:
    return PumpFound(None, reason)
