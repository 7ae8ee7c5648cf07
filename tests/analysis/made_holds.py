"""Hold tests made by hand for the tests of the analysis: an isothermal box, integrated by scipy, and its logs.

Written apart from the project: the leak laws and the box are set down anew here.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from acquisition.records import Baffles, Box, Log, LogHeader, Pump, Uncertain
from acquisition.units import parse_gauge_unit

FloatArray = NDArray[np.float64]
ROOM_PA = 101_325.0
ROOM_K = 293.15
PER_MM2 = 20.1262
"""Pa m3/s through 1 mm2 of ideal nozzle, choked, at 20 C and one atmosphere: 0.684731 p sqrt(R T) A."""
BOX = Box("B-00", (600.0, 600.0, 90.0), "coated", 18.0, Uncertain(32.0, 0.32), baffles=Baffles(3, 3, 18.0),
          pump=Pump(1.4, 8.0))  # fmt: skip
"""Its tops hardly bow between so many baffles: the made-up box is stiff."""


def nozzle(r: float) -> float:
    """St Venant and Wantzel over choked flow, by the throat's speed; 0 at and above room pressure."""
    r = min(max(r, (5.0 / 6.0) ** 3.5), 1.0)
    mach2 = 5.0 * (r ** (-2.0 / 7.0) - 1.0)
    return float(np.sqrt(mach2) * (1.0 + 0.2 * mach2) ** -3 * 1.2**3)


def laminar(r: float) -> float:
    """Laminar compressible flow, 1 at one fifth of room pressure."""
    return max(1.0 - r * r, 0.0) / 0.96


@dataclass(frozen=True)
class Made:
    """A made-up box and what its wood gives off."""

    area_mm2: float = 0.1
    law: Callable[[float], float] = nozzle
    litres: float = 32.0
    speed_L_s: float = 1.4
    ultimate_pa: float = 8000.0
    pore_litres: float = 0.0
    pore_rate: float = 0.01
    moist_pa: float = 0.0
    tau_moist_s: float = 25.0
    let_up_mm2: float = 60.0
    interval_s: float = 1.0

    def run(self, *stages: tuple[str, float]) -> tuple[FloatArray, FloatArray]:
        """Times s and absolute pressures Pa of a schedule of phases by name and seconds, from room pressure on."""
        t, p = _run(self, stages)
        return t.copy(), p.copy()

    def slope(self, since_s: float, state: Sequence[float], kind: str) -> list[float]:
        """Rates of the box's and the pores' pressure in a phase."""
        p, stored = state
        flow = self.area_mm2 * PER_MM2 * self.law(p / ROOM_PA)
        if kind in ("pump-down", "soak"):
            flow -= self.speed_L_s * 1e-3 * max(p - self.ultimate_pa, 0.0)
        if kind == "let-up":
            # Its last stretch is laid flat so that it may come to rest.
            flow += self.let_up_mm2 * PER_MM2 * min(nozzle(p / ROOM_PA), 30.0 * max(1.0 - p / ROOM_PA, 0.0))
        moist = self.moist_pa / self.tau_moist_s * np.exp(-since_s / self.tau_moist_s) if kind == "hold" else 0.0
        out = self.pore_rate / ROOM_PA * (stored**2 - p**2)
        flow += self.pore_litres * 1e-3 * out
        return [flow / (self.litres * 1e-3) + moist, -out]


@lru_cache(maxsize=64)
def _run(made: Made, stages: tuple[tuple[str, float], ...]) -> tuple[FloatArray, FloatArray]:
    ends = np.cumsum([seconds for _, seconds in stages])
    t = np.arange(0.0, ends[-1] + 1e-9, made.interval_s)
    p = np.full(t.size, ROOM_PA)
    state, start = np.array([ROOM_PA, ROOM_PA]), 0.0
    for (kind, _), end in zip(stages, ends, strict=True):
        # In the baseline everything is open to the room: nothing to integrate.
        if kind != "baseline":
            out = solve_ivp(lambda s, y, kind=kind, start=start: made.slope(s - start, y, kind), (start, end), state,
                            "LSODA", dense_output=True, rtol=1e-8, atol=1e-3)  # fmt: skip
            inside = (t > start + 1e-9) & (t <= end + 1e-9)
            p[inside], state = out.sol(t[inside])[0], out.y[:, -1]
        start = float(end)
    return t, p


PLAIN = (("baseline", 10.0), ("pump-down", 60.0), ("soak", 60.0), ("hold", 240.0), ("let-up", 20.0))
SHUT_S = 130.0
"""When the valve is shut in ``PLAIN``."""


def log_of(t_s: FloatArray, p_pa: FloatArray, gauge: str = "absolute kPa", step: float = 0.0, **header: Any) -> Log:
    """A log of absolute pressures as a gauge in a room of one atmosphere shows them, rounded to ``step``.

    ``noise`` (its unit, normal, one fixed seed) scatters them first; further names are header fields.
    """
    unit = parse_gauge_unit(gauge)
    noise = header.pop("noise", 0.0)
    note = header.pop("note", ())
    counted = {"absolute": p_pa, "vacuum": ROOM_PA - p_pa, "gauge": p_pa - ROOM_PA}[unit.reference] / unit.pa_per_unit
    counted = counted + noise * np.random.default_rng(20260503).standard_normal(counted.size)
    reading = np.round(counted / step) * step if step else counted
    known: dict[str, Any] = {
        "box": "B-00", "setup": "vents-taped", "started": datetime.fromisoformat("2026-05-03T14:00:00+02:00"),
        "barometer_kPa": Uncertain(ROOM_PA / 1e3, 0.1), "room_C": 20.0, "gauge_at": "box", "behind_valve": "room",
        "resolution": step or None,
    }  # fmt: skip
    return Log(LogHeader(unit, **(known | header)), np.asarray(t_s, dtype=float), np.asarray(reading, dtype=float),
               note=tuple(note))  # fmt: skip


def plain_log(made: Made | None = None, **more: Any) -> Log:
    """The log of a plain hold test on a digital gauge with 0.01 kPa steps."""
    t, p = (made or Made()).run(*PLAIN)
    return log_of(t, p, **({"step": 0.01, "noise": 0.01} | more))


def with_header(log: Log, **changes: Any) -> Log:
    """The log with header fields changed."""
    return replace(log, header=replace(log.header, **changes))
