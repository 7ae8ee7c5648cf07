"""Tells air let back in from a leak: where the let-up begins that ends a hold."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
LET_UP_SPEED_L_S = 15.0
"""Speed a let-up needs at least, as volume per second at the bottom pressure, when no pump-down was seen to
compare with: memory, small shop pumps move less."""
HARDLY_DRAWN = 0.85
"""A pump that leaves the box above this share of room pressure has shown a stall; no hold is read after it."""
LET_UP_OVER_PUMP = 2.0
"""A rise this much faster than the pump drew the box down is no leak: the pump could not have held it."""
SPARSE_S = 5.0
"""Readings further apart than this are sparse: the pump draws a small box down within two of them."""
BREAKS_OFF = 2
"""A log may stop, or the pump start again, this many readings into a let-up."""
BREAKS_OFF_S = 10.0
"""The same in seconds, where air comes in faster than a leak could and still does."""
DUMP_PER_S = 0.2
"""A box that loses this share of its pressure in a second is drawn by a tank: memory, shop pumps take 8 s and more."""
LET_UP_OVER_DUMP = 0.15
"""Air let in through the line that emptied the box into a tank comes at least this fast beside that; slower, it is
the leak that the open tank had hidden."""
LET_UP_OF_BOX = 0.35
"""The same as shares of the box's own pressure in a second."""


def is_sparse(t_s: FloatArray) -> bool:
    """Whether readings come so seldom that a pump-down or a let-up may show in a single one; times are rising."""
    if t_s.size < 2:
        return True
    # In so short a time not half of the gaps can be wide.
    short = t_s[-1] - t_s[0] <= 0.5 * SPARSE_S * (t_s.size - 1)
    return not short and bool(np.mean(np.diff(t_s) > SPARSE_S) > 0.5)


@dataclass(frozen=True, eq=False)
class LetUp:
    """Readings of one log (t_s, p_pa: (n,)), its room pressure, the display's tolerance, the box and its pump.

    ``pump_per_s`` is the pump's speed over the volume, 0 when unknown. Places in the log are indices; ``drop`` is
    the start (s) and depth (Pa) of the pump-down seen before, or None.
    """

    t_s: FloatArray
    p_pa: FloatArray
    room_pa: float
    tolerance_pa: float
    volume_m3: float
    pump_per_s: float

    def let_in(self, bottom: int, low: int, end: int, drop: tuple[float, float] | None) -> int | None:
        """Index where air is let back in, or None.

        Air let in comes faster than a leak could that the pump drew down and ends near room pressure, unless the
        log stops on the way; it also breaks the slope upwards, which a leak's rise never does.
        """
        t, p = self.t_s, self.p_pa
        if end - low < 1:
            return None
        there = p[end] >= 0.9 * self.room_pa
        if p[low] > HARDLY_DRAWN * self.room_pa:
            return low
        slope = np.diff(p[low : end + 1]) / np.diff(t[low : end + 1])
        low_enough = p[low:end] < 0.93 * self.room_pa
        if not low_enough.any():
            return None
        fast = int(np.argmax(np.where(low_enough, slope, -np.inf)))
        i = fast
        while i > 0 and slope[i - 1] > 0.25 * slope[fast]:
            i -= 1
        start = low + i
        too_fast = slope[fast] / max(float(p[start]), 1.0) > self._fastest_leak(bottom, drop)
        lead = slope[max(0, i - max(5, i // 3)) : i]
        calm = max(float(np.mean(lead)), 0.0) if lead.size else 0.0
        jumps = slope[fast] > 4.0 * calm + 0.4 * self.tolerance_pa / max(float(t[start + 1] - t[start]), 1e-9)
        if not there:
            comes_on = too_fast and t[end] - t[start] < BREAKS_OFF_S and slope[-1] > 0.25 * slope[fast]
            breaks_off = i > 0 and (end - start <= BREAKS_OFF or comes_on)
            return start if breaks_off and jumps and p[end] - p[start] > 4.0 * self.tolerance_pa else None
        if i == 0 or start - bottom < 3:
            return start if too_fast else None
        if self._tank_hid_it(float(slope[fast]), float(p[start]), bottom, drop):
            return None
        held_s, apart_s = float(t[start] - t[low]), float(t[start + 1] - t[start])
        quick = self._time_to_room(start, end) < max(20.0, 0.1 * held_s, 2.2 * apart_s)
        return start if jumps and (too_fast or (quick and self._rose(low, start))) else None

    def _rose(self, low: int, start: int) -> bool:
        """Whether the pressure rose between two places, beyond what single readings can pretend: a hold."""
        p = self.p_pa[low:start]
        part = max(1, p.size // 6)
        if not is_sparse(self.t_s):
            # The lowest of many readings is low by chance, and the one before the let-up may be it.
            part = max(part, 3)
        return p.size > 2 * part and float(np.median(p[-part:]) - np.median(p[:part])) > 2.0 * self.tolerance_pa

    def _fastest_leak(self, bottom: int, drop: tuple[float, float] | None) -> float:
        """Rate of rise over pressure, 1/s, that a leak cannot pass in a box the pump drew down as seen."""
        known = LET_UP_OVER_PUMP * self.pump_per_s
        drawn = self._drawn(bottom, drop)
        return max(known, LET_UP_SPEED_L_S * 1e-3 / self.volume_m3 if drawn is None else LET_UP_OVER_PUMP * drawn)

    def _drawn(self, bottom: int, drop: tuple[float, float] | None) -> float | None:
        """Largest share of its pressure, 1/s, that the pump-down took from the box; None when it was not seen."""
        if drop is None:
            return None
        begin = int(np.searchsorted(self.t_s, drop[0]))
        t, p = self.t_s[begin : bottom + 1], np.maximum(self.p_pa[begin : bottom + 1], 100.0)
        if t.size < 2:
            return None
        reach = max(1, t.size // 12)
        return float(np.max(-(np.log(p[reach:]) - np.log(p[:-reach])) / (t[reach:] - t[:-reach])))

    def _tank_hid_it(self, rise: float, at_pa: float, bottom: int, drop: tuple[float, float] | None) -> bool:
        """Whether a rise (Pa/s, from ``at_pa``) after a quick pull by a tank is too slow for air let in.

        A line's flow goes with the pressure ahead of it: the box's when it is drawn, the room's when it fills. Air
        may also come in by a smaller valve than the tank's, which shows where the box is still deep.
        """
        drawn = self._drawn(bottom, drop)
        if drawn is None or drawn < DUMP_PER_S:
            return False
        return rise < drawn * min(LET_UP_OVER_DUMP * self.room_pa, LET_UP_OF_BOX * max(at_pa, 1.0))

    def _time_to_room(self, start: int, end: int) -> float:
        there = np.flatnonzero(self.p_pa[start : end + 1] > 0.93 * self.room_pa)
        return float(self.t_s[start + int(there[0])] - self.t_s[start]) if there.size else float("inf")
