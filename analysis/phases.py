"""Finds the phases of a hold test in a whole log: baseline, pump-down, soak, hold, let-up.

Marks that a recorder wrote in the ``note`` column win; else the phases are read off the pressures: turning
points give the pump-downs, a broken curve gives the shut, a jump in slope that ends at room pressure gives
the let-up.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analysis.letup import LetUp, is_sparse
from analysis.marks import MARKS, mark_of
from analysis.results import Phase
from analysis.shutpoint import COARSE_PA, break_point, until_it_falls

FloatArray = NDArray[np.float64]
MOST_POINTS = 3000
"""Longer logs are searched on this many points, each of a block of readings: mean time, median pressure."""
MOST_OF_POINT = 30
"""So many readings of a block, evenly chosen, tell its median."""
MOST_FOR_NOISE = 20_000
"""So many readings tell a long log's noise."""
_STRETCH = 1000
"""Neighbours looked at together, for that."""
STALL_SHARE = 0.35
"""An unknown pump that levels off above this share of room pressure stalls: memory, shop pumps reach a fifth."""
MOST_FLICKER = 7.0
"""Most that the readings of a flickering display move once spikes are filtered, in standard deviations of one."""
STALL_LEAST_S = 20.0
"""A level must stand this long before it is a pump's stall."""


@dataclass(frozen=True)
class HoldSeen:
    """One hold of a log: when the valve was shut, when the hold ended, and how.

    ``held_s`` is the first time at which the valve was shut beyond doubt; ``bottom_s`` when the pump had reached
    the bottom (soak from there), None when the log starts at the shut; ``drop_s`` and ``drop_pa`` the pump-down
    seen before it; ``sure`` false when no bend showed the shut.
    """

    shut_s: float
    held_s: float
    end_s: float
    bottom_s: float | None
    drop_s: float | None
    drop_pa: float | None
    sure: bool


@dataclass(frozen=True)
class PhaseView:
    """Everything seen in one log: phases in order, holds, and a pump-down that levels off without a hold.

    ``level_pa``/``level_s`` describe the level of a pump that stalls (pressure, first and last time), else None;
    ``falling`` is true when the log ends while the pump still draws down.
    """

    phases: tuple[Phase, ...]
    holds: tuple[HoldSeen, ...]
    level_pa: float | None
    level_s: tuple[float, float] | None
    falling: bool
    noise_pa: float


def noise_of(p: FloatArray) -> float:
    """Standard deviation of single readings from their second differences, robust to spikes and slopes."""
    if p.size < 5:
        return 0.0
    if p.size > MOST_FOR_NOISE:
        starts = np.linspace(0, p.size - _STRETCH, MOST_FOR_NOISE // _STRETCH).astype(np.intp)
        p = p[starts[:, None] + np.arange(_STRETCH)]
    bend = p[..., :-2] - 2.0 * p[..., 1:-1] + p[..., 2:]
    return float(1.4826 * np.median(np.abs(bend - np.median(bend))) / np.sqrt(6.0))


def find_phases(
    t_s: FloatArray,
    p_pa: FloatArray,
    room_pa: float,
    resolution_pa: float = 0.0,
    volume_m3: float | None = None,
    pump_m3_s: float | None = None,
    ultimate_pa: float | None = None,
    note: tuple[str, ...] = (),
) -> PhaseView:
    """Read the phases off a log.

    Parameters
    ----------
    t_s, p_pa
        Readings (n,): times s, strictly rising; absolute pressures Pa.
    room_pa
        Absolute room pressure, Pa.
    resolution_pa
        Step of the display, Pa.
    volume_m3, pump_m3_s, ultimate_pa
        The box, the pump's speed and its ultimate when known; they tell a let-up from a big leak, a stall from a
        tight box.
    note
        Marks beside the readings, or empty.
    """
    if t_s.size < 4:
        return PhaseView((), (), None, None, False, 0.0)
    marked = _from_notes(t_s, note)
    alone = marked is not None and all(phase.name == "hold" for phase in marked[0])
    if marked is not None and not alone:
        return PhaseView(*marked, None, None, False, noise_of(p_pa))
    shuts = tuple(hold.shut_s for hold in marked[1]) if marked is not None else ()
    t, p = _thin(t_s, p_pa)
    # A display's own steps look like noise of up to 0.6 of a step; only what is beyond them is noise.
    spread = max(noise_of(p) ** 2 - (0.6 * resolution_pa) ** 2, 0.0) ** 0.5
    if resolution_pa > COARSE_PA:
        # Few readings of a coarse dial: what looks like noise is the bend of the curve.
        spread = min(spread, 0.2 * resolution_pa)
    tolerance = max(3.0 * spread, resolution_pa, 30.0)
    stall_pa = STALL_SHARE * room_pa if ultimate_pa is None else max(1.4 * ultimate_pa, ultimate_pa + 4000.0)
    # Filtered readings are quieter than single ones; a fit needs the noise of a single one.
    single = noise_of(p_pa[-MOST_FOR_NOISE:])
    flicker = _flicker_pa(t_s, p_pa, resolution_pa)
    view = _Search(
        t, p, room_pa, tolerance, flicker, resolution_pa, volume_m3, pump_m3_s, spread, stall_pa, shuts
    ).run()
    if marked is not None:
        if len(view.holds) != len(shuts):
            return PhaseView(*marked, None, None, False, noise_of(p_pa))
        # Long logs are searched on block means: the noted times are the true ones.
        holds = tuple(replace(h, shut_s=s, held_s=s) for h, s in zip(view.holds, shuts, strict=True))
        view = replace(view, holds=holds)
    return replace(view, noise_pa=max(single**2 - (0.6 * resolution_pa) ** 2, 0.0) ** 0.5)


def _flicker_pa(t: FloatArray, p: FloatArray, step_pa: float) -> float:
    """Standard deviation of a display's readings while nothing moves, its own steps included; 0 for sparse readings.

    The median of ``noise_of`` jumps between none and a step where the noise is below one.
    """
    if is_sparse(t) or p.size < 5:
        return 0.0
    bend = np.diff(p[-MOST_FOR_NOISE:], 2)
    most = 3.0 * max(step_pa, float(np.median(np.abs(bend))))
    return float(np.sqrt(np.mean(np.clip(bend, -most, most) ** 2) / 6.0))


def _thin(t: FloatArray, p: FloatArray) -> tuple[FloatArray, FloatArray]:
    if t.size <= MOST_POINTS:
        return t, p if is_sparse(t) else _despike(p)
    width = -(-t.size // MOST_POINTS)
    n, every = t.size // width * width, max(1, width // MOST_OF_POINT)
    return t[:n].reshape(-1, width).mean(axis=1), np.median(p[:n].reshape(-1, width)[:, ::every], axis=1)


def _despike(p: FloatArray) -> FloatArray:
    """Median of three, which drops single spikes and keeps edges."""
    if p.size < 3:
        return p
    inner = np.median(np.stack([p[:-2], p[1:-1], p[2:]]), axis=0)
    return np.concatenate([p[:1], inner, p[-1:]])


def turning_points(p: FloatArray, swing: float) -> list[int]:
    """Indices of alternating extremes that differ by at least ``swing``; the first and last points included."""
    pivots = [0]
    high = low = 0
    direction = 0
    for i in range(1, p.size):
        high = i if p[i] >= p[high] else high
        low = i if p[i] <= p[low] else low
        if direction <= 0 and p[i] - p[low] > swing:
            if low != pivots[-1]:
                pivots.append(low)
            direction, high = 1, i
        elif direction >= 0 and p[high] - p[i] > swing:
            if high != pivots[-1]:
                pivots.append(high)
            direction, low = -1, i
    last = high if direction > 0 else low
    if direction and last != pivots[-1]:
        pivots.append(last)
    return pivots


def _from_notes(t: FloatArray, note: tuple[str, ...]) -> tuple[tuple[Phase, ...], tuple[HoldSeen, ...]] | None:
    """Phases from marks in the notes (a mark opens its phase), or None when no hold is marked."""
    marks = [(i, name) for i, raw in enumerate(note) if (name := mark_of(raw)) in MARKS]
    # A note copied down a column says no more than its first cell.
    said = dict(marks)
    marks = [(i, name) for i, name in marks if said.get(i - 1) != name]
    if not any(name == "hold" for _, name in marks):
        return None
    phases, holds = [], []
    for (i, name), (j, _) in zip(marks, [*marks[1:], (t.size - 1, "")], strict=True):
        if name == "end of hold":
            continue
        phases.append(Phase(name, float(t[i]), float(t[j])))  # type: ignore[arg-type]
        if name == "hold":
            bottom = next((q.start_s for q in reversed(phases[:-1]) if q.name == "soak"), None)
            drop = next((q.start_s for q in reversed(phases[:-1]) if q.name == "pump-down"), None)
            holds.append(
                HoldSeen(
                    float(t[i]), float(t[i]), float(t[j]), bottom if bottom is not None else drop, drop, None, True
                )
            )
    return tuple(phases), tuple(holds)


class _Search:
    """Reads phases off pressures; one object per log, used once."""

    def __init__(
        self,
        t: FloatArray,
        p: FloatArray,
        room_pa: float,
        tolerance: float,
        flicker: float,
        resolution: float,
        volume_m3: float | None,
        pump_m3_s: float | None,
        noise: float,
        stall_pa: float,
        shuts_s: tuple[float, ...],
    ) -> None:
        self.t, self.p, self.room, self.tol, self.noise = t, p, room_pa, tolerance, noise
        self.resolution, self.stall_pa, self.flicker = resolution, stall_pa, flicker
        self.swing = max(12.0 * noise, 1.7 * resolution, 250.0, MOST_FLICKER * flicker)
        self.shuts_s = shuts_s
        volume = volume_m3 or 0.032
        self.air = LetUp(t, p, room_pa, tolerance, volume, (pump_m3_s or 0.0) / volume)
        self.phases: list[Phase] = []
        self.holds: list[HoldSeen] = []
        self.level: tuple[float, float, float] | None = None
        self.falling = False

    def run(self) -> PhaseView:
        pivots = turning_points(self.p, self.swing)
        start = 0
        for a, b in itertools.pairwise(pivots):
            if self.p[b] < self.p[a] - (self.tol if a else self.swing):
                later = [q for q in pivots if q > b]
                start = self._pump_down(a, b, later[0] if later else self.t.size - 1, start)
            elif not self.phases and self.p[b] - self.p[a] > self.swing and self.p[: a + 1].max() < 0.9 * self.room:
                # A log that begins at the shut; noise may make a later reading its lowest.
                self._rise(0, a, b, None)
                start = b
        if len(pivots) < 2:
            self._flat()
        level = self.level
        return PhaseView(
            tuple(self.phases),
            tuple(self.holds),
            level[0] if level else None,
            (level[1], level[2]) if level else None,
            self.falling,
            self.noise,
        )

    def _mark(self, name: str, i: float, j: float) -> None:
        if j > i:
            self.phases.append(Phase(name, float(i), float(j)))  # type: ignore[arg-type]

    def _flat(self) -> None:
        """A whole log without a swing: low, it is a hold of a tight box, surely where it rises; high, only the room."""
        t, p = self.t, self.p
        room = float(np.median(p)) > 0.9 * self.room
        self._mark("baseline" if room else "hold", t[0], t[-1])
        if room:
            return
        begin, end, sure = float(t[0]), float(t[-1]), bool(self.shuts_s) or self._rises(p)
        self.holds.append(HoldSeen(begin, begin, end, None, None, None, sure))

    def _rises(self, p: FloatArray) -> bool:
        """Whether pressures rise beyond doubt from their first fifth to their last, as no running pump lets them."""
        part = max(p.size // 5, 1)
        least = max(self.resolution, 5.0 * self.noise / np.sqrt(part), 5.0)
        return bool(np.median(p[-part:]) - np.median(p[:part]) > least)

    def _pump_down(self, a: int, b: int, c: int, start: int) -> int:
        """Pump-down from high ``a`` to low ``b``, then whatever rises until ``c``; returns where it ended."""
        t, p = self.t, self.p
        drop = float(p[a] - p[b])
        near_top = np.flatnonzero(p[start : b + 1] >= p[a] - max(self.tol, 0.01 * drop)) + start
        begin = int(near_top[-1]) if near_top.size else a
        if p[begin] > 0.9 * self.room:
            self._mark("baseline", t[start], t[begin])
        bottom = begin + int(np.argmax(p[begin : b + 1] <= p[b] + max(self.tol, 0.03 * drop)))
        self._mark("pump-down", t[begin], t[bottom])
        tail_is_rise = c > b and p[c] - p[b] > self.tol
        self._rise(bottom, b, c if tail_is_rise else self.t.size - 1, (float(t[begin]), drop))
        return c

    def _rise(self, bottom: int, low: int, end: int, drop: tuple[float, float] | None) -> None:
        """Soak, hold and let-up between the bottom and the next pump-down or the end."""
        let_up = self.air.let_in(bottom, low, end, drop)
        stop = end if let_up is None else let_up
        # The reading at the let-up may already have risen with it.
        last = stop if let_up is None else max(stop - 1, low)
        shut, held, sure = self._noted(bottom, last) or (
            self._begun(last) if drop is None else self._shut(bottom, low, last)
        )
        inside = slice(held, stop + 1)
        stop = held + until_it_falls(self.t[inside], self.p[inside], self.resolution, self.flicker if sure else 0.0)
        t = self.t
        self._mark("soak", t[bottom], t[shut])
        stalls = self._levels_off(bottom, shut if sure else stop)
        if stop - held >= (3 if stalls else 2) and (sure or not stalls):
            self._mark("hold", t[shut], t[stop])
            reached, (fell_s, fell_pa) = (None, (None, None)) if drop is None else (float(t[bottom]), drop)
            hold = HoldSeen(float(t[shut]), float(t[held]), float(t[stop]), reached, fell_s, fell_pa, sure)
            self.holds.append(hold)
        elif stop - bottom >= 2:
            self._no_hold(bottom, shut if sure else stop)
        elif let_up is None:
            self.falling = True
        if let_up is not None:
            self._mark("let-up", t[let_up], t[end])

    def _no_hold(self, bottom: int, stop: int) -> None:
        tail = slice(bottom + (stop - bottom) // 2, stop + 1)
        fall = float(self.p[tail][0] - self.p[tail][-1])
        short = float(self.t[stop] - self.t[bottom]) < STALL_LEAST_S
        self.falling = short or fall > max(3 * self.tol, 0.03 * float(self.p[stop]))
        if not self.falling:
            self.level = (float(np.median(self.p[tail])), float(self.t[tail][0]), float(self.t[stop]))

    def _levels_off(self, bottom: int, stop: int) -> bool:
        """Whether an unbroken bottom stands too high for a pump that reached its end: a stall, not a tight hold."""
        level = self.p[bottom : stop + 1]
        if level.size < 3 or float(self.t[stop] - self.t[bottom]) < STALL_LEAST_S:
            return False
        third = level.size // 3
        sinks = float(np.median(level[third : 2 * third + 1]) - np.median(level[-third:]))
        fills = float(np.median(level[-third:]) - np.median(level[:third])) > 2.0 * self.tol
        still = not fills and sinks < max(1.5 * self.tol, 0.02 * float(level[-1]))
        return still and float(np.median(level)) > self.stall_pa

    def _noted(self, bottom: int, stop: int) -> tuple[int, int, bool] | None:
        """The last shut noted in a stretch, or None: a note is beyond doubt."""
        noted = [s for s in self.shuts_s if self.t[bottom] <= s < self.t[stop]]
        at = int(np.searchsorted(self.t, noted[-1])) if noted else 0
        return (at, at, True) if noted else None

    def _shut(self, bottom: int, low: int, stop: int) -> tuple[int, int, bool]:
        """Index of the shut, the first index held beyond doubt, and whether the shut shows at all.

        The shut is the best break between a falling or level curve and one that rises and bends down.
        Without a break the later half of the level is taken, since pumping may have gone on for the earlier.
        """
        t, p = self.t[bottom : stop + 1], self.p[bottom : stop + 1]
        if t.size < 4:
            return low, low, bool(p[-1] - p[0] > 2 * self.tol)
        rise = float(np.median(p[-3:]) - np.median(p[: max(1, low - bottom + 1)]))
        last_low = self._last_low(t, p)
        leaps = p[min(last_low + 1, p.size - 1)] - p[last_low] > 2.0 * self.tol
        if rise > (2.5 if leaps or t.size < 15 else 40.0) * self.tol:
            corner = bottom + self._corner(t, p, last_low)
            return corner, corner, True
        best, latest, gain = break_point(t, p, max(self.noise, 0.1 * self.tol))
        lift = float(np.median(p[-3:]) - np.median(p[max(best - 4, 0) : best + 1]))
        if gain < 15.0 or lift < max(0.5 * self.tol, 1.2 * self.resolution if t.size < 40 else 0.0):
            half = bottom + t.size // 2
            return half, half, False
        return bottom + best, bottom + latest, True

    def _begun(self, stop: int) -> tuple[int, int, bool]:
        """As ``_shut`` in a log without a pump-down: its first reading, or the end of the level on which it begins.

        The pump may have run on that level: what comes after rises four times as much in the same time.
        """
        t, p = self.t[: stop + 1], self.p[: stop + 1]
        corner = self._corner(t, p, self._last_low(t, p)) if t.size > 4 else 0
        if corner < 3:
            return 0, 0, self._rises(p)
        before = max(float(np.median(p[max(corner - 3, 0) : corner]) - np.median(p[:3])), self.tol)
        after = float(np.interp(2.0 * t[corner] - t[0], t, p) - p[corner])
        return (corner, corner, True) if after > 4.0 * before else (0, 0, self._rises(p))

    def _last_low(self, t: FloatArray, p: FloatArray) -> int:
        """Index of the last reading at the bottom: near its lowest, and then near the line through those before it."""
        lowest = int(np.flatnonzero(p <= p.min() + 1.05 * self.tol)[-1])
        near = slice(max(0, lowest - 23), lowest + 1)
        if lowest < 3:
            return lowest
        level = float(np.polyfit(t[near] - t[lowest], p[near], 1)[1])
        return max(lowest, int(np.flatnonzero(p <= max(level, p.min()) + 1.05 * self.tol)[-1]))

    def _corner(self, t: FloatArray, p: FloatArray, last_low: int) -> int:
        """A steep rise shows its shut at the last reading of the bottom, carried back along the first slope."""
        ahead = min(last_low + 3, t.size - 1)
        slope = (p[ahead] - p[last_low]) / max(float(t[ahead] - t[last_low]), 1e-9)
        back = (p[last_low] - float(p.min())) / slope if slope > 0 else 0.0
        return int(np.searchsorted(t, t[last_low] - back))
