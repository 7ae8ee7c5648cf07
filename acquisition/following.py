"""Follows a running test by its readings: which phase it is in. Only for what to say now; a fit looks for itself."""

from __future__ import annotations

from collections import deque
from math import inf
from statistics import median
from typing import Literal

from acquisition.units import STANDARD_PRESSURE_PA

PhaseNow = Literal["baseline", "pump-down", "soak", "hold", "let-up"]

FALLEN_PA = 2000.0
"""Below room by this, and the pump runs."""
RISEN_PA = 300.0
RISING_S = 3.0
REDRAWN_PA = 2000.0
LOOK_BACK_S = 10.0
LEVEL_SHARE = 0.02
STALLED_S = 30.0
DEEP_SHARE = 0.2
CHOKED_SHARE = 0.53
BACK_SHARE = 0.95
LET_UP_TIMES = 8.0
LET_UP_PA_S = 1000.0
OVER_S = 5.0


class PhaseFollower:
    """Where a test is now.

    Feed it readings (absolute Pa) in order of time; a person may say what they did with ``say``.

    Attributes
    ----------
    phase
        The phase now; ``since_s`` when it began.
    room_pa
        Absolute room pressure: the median of the baseline, 1 atm until there is one.
    stalled
        The pump-down has levelled off above the pressure that chokes a hole.
    over
        The box has been back at room pressure for some seconds.
    redraws
        How many pump-downs without a let-up have been seen.
    """

    def __init__(self, room_pa: float | None = None) -> None:
        self.phase: PhaseNow = "baseline"
        self.since_s = 0.0
        self.room_pa = room_pa or STANDARD_PRESSURE_PA
        self.stalled = self.over = False
        self.redraws = 0
        self._room_known = room_pa is not None
        self._baseline: list[float] = []
        self._recent: deque[tuple[float, float]] = deque()
        self._low_pa = self._high_pa = self._low_s = 0.0
        self._back_s: float | None = None
        self._level_s: float | None = None

    @property
    def slope_pa_s(self) -> float | None:
        """Change of pressure over the last ten seconds, Pa/s; None before there are two readings."""
        if len(self._recent) < 2:
            return None
        (t0, p0), (t1, p1) = self._recent[0], self._recent[-1]
        return (p1 - p0) / (t1 - t0) if t1 > t0 else None

    def feed(self, t_s: float, p_pa: float) -> PhaseNow:
        """Take a reading and return the phase."""
        self._recent.append((t_s, p_pa))
        while t_s - self._recent[0][0] > LOOK_BACK_S:
            self._recent.popleft()
        step = {"baseline": self._at_baseline, "pump-down": self._pumping, "soak": self._soaking,
                "hold": self._holding, "let-up": self._letting_up}[self.phase]  # fmt: skip
        step(t_s, p_pa)
        return self.phase

    def say(self, phase: PhaseNow, t_s: float) -> None:
        """A person says that a phase begins."""
        self.phase, self.since_s = phase, t_s
        self._low_pa = self._recent[-1][1] if self._recent else inf
        self._high_pa = self._recent[-1][1] if self._recent else 0.0
        self._low_s = t_s
        self._level_s = self._back_s = None
        self.stalled = False

    def _at_baseline(self, t_s: float, p_pa: float) -> None:
        if p_pa < self.room_pa - FALLEN_PA:
            self.say("pump-down", t_s)
        elif not self._room_known:
            self._baseline.append(p_pa)
            self.room_pa = median(self._baseline[-50:])

    def _pumping(self, t_s: float, p_pa: float) -> None:
        level = self._is_level(p_pa)
        if p_pa <= DEEP_SHARE * self.room_pa or (level and p_pa < CHOKED_SHARE * self.room_pa):
            self.say("soak", t_s)
        elif level:
            self._level_s = self._level_s or t_s
            self.stalled = t_s - self._level_s >= STALLED_S
        else:
            self._level_s, self.stalled = None, False

    def _is_level(self, p_pa: float) -> bool:
        oldest_s, oldest_pa = self._recent[0]
        if oldest_s < self.since_s:
            return False
        return self._recent[-1][0] - oldest_s > 0.8 * LOOK_BACK_S and oldest_pa - p_pa < LEVEL_SHARE * p_pa

    def _soaking(self, t_s: float, p_pa: float) -> None:
        if p_pa < self._low_pa:
            self._low_pa, self._low_s = p_pa, t_s
        last = [p for t, p in self._recent if t >= t_s - RISING_S]
        if t_s - self._low_s >= RISING_S and min(last) > self._low_pa + RISEN_PA:
            self.say("hold", t_s)

    def _holding(self, t_s: float, p_pa: float) -> None:
        self._high_pa = max(self._high_pa, p_pa)
        if p_pa < self._high_pa - REDRAWN_PA:
            self.redraws += 1
            self.say("pump-down", t_s)
        elif p_pa >= BACK_SHARE * self.room_pa or self._rushes(t_s):
            self.say("let-up", t_s)

    def _rushes(self, t_s: float) -> bool:
        """Air comes in many times faster than just before: somebody opened a valve."""
        late = [(t, p) for t, p in self._recent if t >= t_s - 2.0]
        early = [(t, p) for t, p in self._recent if t < t_s - 2.0]
        if len(late) < 2 or len(early) < 2:
            return False
        fast = (late[-1][1] - late[0][1]) / max(late[-1][0] - late[0][0], 1e-3)
        slow = (early[-1][1] - early[0][1]) / max(early[-1][0] - early[0][0], 1e-3)
        return fast > LET_UP_PA_S and fast > LET_UP_TIMES * max(slow, 0.0)

    def _letting_up(self, t_s: float, p_pa: float) -> None:
        if p_pa < BACK_SHARE * self.room_pa:
            self._back_s = None
            return
        self._back_s = t_s if self._back_s is None else self._back_s
        self.over = t_s - self._back_s >= OVER_S
