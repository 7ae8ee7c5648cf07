"""When a hold is enough: never before a minute, never for an answer that has not stood."""

from __future__ import annotations

import pytest

from analysis.holding import Estimate, hold_advice


def steady(until_s: float, half_width: float = 0.3, verdict: str = "cannot-tell") -> list[Estimate]:
    return [
        Estimate(t, (1e-6, 1e-6 * (1 - half_width), 1e-6 * (1 + half_width)), verdict)  # type: ignore[arg-type]
        for t in range(10, int(until_s) + 1, 2)
    ]


def narrowing(until_s: float, power: float = 1.0) -> list[Estimate]:
    """Half width 0.5 at 60 s, falling with time to a power."""
    out = []
    for t in range(10, int(until_s) + 1, 2):
        w = 0.5 * (60.0 / t) ** power
        out.append(Estimate(float(t), (1e-6, 1e-6 * max(1 - w, 0.0), 1e-6 * (1 + w)), "cannot-tell"))
    return out


def test_nothing_is_enough_before_a_minute_unless_the_air_is_back() -> None:
    history = steady(58.0, 0.01, "within")
    assert not hold_advice(history, 0.4).enough
    assert not hold_advice(history, 0.4).no_better
    assert hold_advice(history, 0.96).enough
    assert hold_advice(history, 0.96).no_better
    assert hold_advice([], 0.96).no_better


@pytest.mark.parametrize("verdict", ["tight", "within", "over", "stalls"])
def test_a_verdict_that_has_stood_is_enough(verdict: str) -> None:
    assert hold_advice(steady(70.0, 0.3, verdict), 0.3).enough


def test_a_verdict_that_has_just_turned_is_not_enough() -> None:
    history = [*steady(68.0), Estimate(70.0, (1e-6, 0.9e-6, 1.1e-6), "over")]
    assert not hold_advice(history, 0.3).enough


def test_without_a_verdict_ten_percent_is_enough() -> None:
    assert hold_advice(steady(70.0, 0.09, "no-limit"), 0.3).enough
    assert not hold_advice(steady(70.0, 0.11, "no-limit"), 0.3).enough


def test_an_interval_that_no_longer_closes_is_called_so() -> None:
    assert hold_advice(steady(200.0), 0.3).no_better
    assert not hold_advice(narrowing(200.0), 0.3).no_better


def test_the_time_to_ten_percent_follows_the_fall_so_far() -> None:
    # Half width 0.5 (60 s / t) reaches 0.1 at t = 300 s exactly.
    assert hold_advice(narrowing(120.0), 0.3).until_s == pytest.approx(300.0, rel=0.01)
    assert hold_advice(steady(120.0), 0.3).until_s is None
    assert hold_advice(narrowing(120.0, 0.3), 0.3).until_s is None  # over half an hour


def test_a_refusal_tells_nothing_yet() -> None:
    advice = hold_advice([Estimate(t, None, "no-answer") for t in (20.0, 60.0, 130.0)], 0.3)
    assert (advice.enough, advice.no_better, advice.until_s) == (False, False, None)
