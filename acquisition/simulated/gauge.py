"""What a gauge shows of a pressure, and the log a recorder would write of it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from acquisition.records import Log, LogHeader, Uncertain
from acquisition.simulated.laws import Array
from acquisition.simulated.scenario import GaugeModel, Scenario
from acquisition.units import GaugeUnit

GARBLED = "?\\x00#"
"""A line that cannot be read, as ``raw`` keeps it."""


@dataclass(frozen=True)
class Shown:
    """One reading as shown: the number and its unit."""

    value: float
    unit: str
    decimals: int

    def __str__(self) -> str:
        return f"{self.value:.{self.decimals}f} {self.unit}"


def decimals(resolution: float) -> int:
    """Decimals needed to write a multiple of the resolution."""
    for places in range(6):
        if abs(resolution * 10**places - round(resolution * 10**places)) < 1e-9:
            return places
    return 6


def log_of(scenario: Scenario, t_s: Array, indicated_pa: Array, rng: np.random.Generator) -> Log:
    """The log of one test.

    Parameters
    ----------
    t_s, indicated_pa
        Fine grid of times (s) and of the pressure the gauge feels (Pa absolute, its lag included).
    rng
        Source of every accident: noise, jitter, spikes, dropped lines.
    """
    gauge = scenario.gauge
    times = sample_times(gauge, float(t_s[-1]), rng)
    room = scenario.room.pa + scenario.room.pa_per_s * times
    native = in_unit(np.interp(times, t_s, indicated_pa), gauge.unit, room)
    felt = disturbed(gauge, times, native, rng)
    shown = [displayed(gauge, float(v), float(t)) for v, t in zip(felt, times, strict=True)]
    reading = np.array([s.value for s in shown])
    raw = [str(s) for s in shown]
    for k in np.flatnonzero(rng.random(times.size) < gauge.garbled_share):
        reading[k], raw[k] = np.nan, GARBLED
    return Log(header_of(scenario), np.round(_clock(gauge, times), 3), reading, raw=() if gauge.by_hand else tuple(raw))


def in_unit(p_pa: Array, unit: GaugeUnit, room_pa: Array) -> Array:
    """Absolute pressures in the gauge's unit, counted from the room's true pressure of that moment."""
    if unit.reference == "absolute":
        return p_pa / unit.pa_per_unit
    return (p_pa - room_pa if unit.reference == "gauge" else room_pa - p_pa) / unit.pa_per_unit


def sample_times(gauge: GaugeModel, end_s: float, rng: np.random.Generator) -> Array:
    """Times of the readings, s: every ``interval_s``, scattered, some lost; the first at nought."""
    even = np.arange(0.0, end_s + 1e-9, gauge.interval_s)
    scatter = gauge.jitter_s * np.clip(rng.standard_normal(even.size), -3.0, 3.0)
    times = np.clip(even + np.clip(scatter, -0.45 * gauge.interval_s, 0.45 * gauge.interval_s), 0.0, end_s)
    kept = rng.random(even.size) >= gauge.drop_share
    times[0], kept[0] = 0.0, True
    return np.asarray(times[kept])


def disturbed(gauge: GaugeModel, times: Array, native: Array, rng: np.random.Generator) -> Array:
    """What the gauge makes of the true values: its errors, noise, spikes, steps and sticking."""
    value = gauge.zero + gauge.gain * native + gauge.noise * rng.standard_normal(times.size)
    value += _wander(gauge, times, rng)
    spikes = rng.random(times.size) < gauge.spike_share
    value += np.where(spikes, gauge.spike_size * rng.choice([-1.0, 1.0], times.size), 0.0)
    for step in gauge.steps:
        value += np.where(times >= step.at_s, step.by, 0.0)
    if gauge.stuck_after_s is not None and (times < gauge.stuck_after_s).any():
        value[times >= gauge.stuck_after_s] = value[times < gauge.stuck_after_s][-1]
    return np.asarray(value)


def _wander(gauge: GaugeModel, times: Array, rng: np.random.Generator) -> Array:
    """First-order autoregressive noise on uneven times."""
    fresh = rng.standard_normal(times.size)
    out = np.zeros(times.size)
    if gauge.wander == 0.0:
        return out
    keep = np.exp(-np.diff(times, prepend=times[0]) / gauge.wander_tau_s)
    out[0] = fresh[0]
    for k in range(1, times.size):
        out[k] = keep[k] * out[k - 1] + np.sqrt(1.0 - keep[k] ** 2) * fresh[k]
    return out * gauge.wander


def displayed(gauge: GaugeModel, native: float, t_s: float) -> Shown:
    """A disturbed value as the display shows it: railed, rounded, in the unit of that moment."""
    if gauge.rail is not None:
        native = min(max(native, gauge.rail[0]), gauge.rail[1])
    unit, resolution = gauge.unit.unit, gauge.resolution
    if gauge.unit_after is not None and t_s >= gauge.unit_after[0]:
        other = GaugeUnit(gauge.unit.reference, gauge.unit_after[1])
        native, unit = native * gauge.unit.pa_per_unit / other.pa_per_unit, other.unit
    places = decimals(resolution)
    return Shown(round(round(native / resolution) * resolution, places) + 0.0, unit, places)


def _clock(gauge: GaugeModel, times: Array) -> Array:
    if gauge.clock_back is None:
        return times
    at_s, by_s = gauge.clock_back
    return np.where(times >= at_s, times - by_s, times)


def header_of(scenario: Scenario) -> LogHeader:
    """The header the person writes: what they believe, not what is true."""
    stated, gauge, room = scenario.stated, scenario.gauge, scenario.room
    fields: dict[str, Any] = {
        "box": scenario.box,
        "setup": scenario.setup,
        "sealed": scenario.sealed,
        "started": scenario.started,
        "resolution": gauge.resolution if stated.resolution else None,
        "accuracy": stated.accuracy,
        "barometer_kPa": _uncertain(stated.barometer_pa, stated.barometer_u_pa, 1e-3),
        "room_C": round(room.celsius if stated.room_c is None else stated.room_c, 1),
        "volume_L": _uncertain(stated.volume_m3, stated.volume_u_m3, 1e3),
        "gauge_at": gauge.at if stated.gauge_at else None,
        "behind_valve": scenario.valve.behind if stated.behind_valve else None,
        "wood": scenario.shell.wood if stated.wood else None,
    }
    return replace(LogHeader(gauge.unit, **fields), **dict(stated.more))  # type: ignore[arg-type]


def _uncertain(value: float | None, u: float | None, factor: float) -> Uncertain | None:
    if value is None:
        return None
    return Uncertain(round(value * factor, 3), round((u or 0.0) * factor, 3))

