"""From a log and its box to a trace: absolute pressures with everything the physics needs to know.

All that is guessed is said in ``flags``; nothing here decides whether a result can be given.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acquisition.records import Box, Log, Uncertain
from acquisition.units import GaugeUnit, kelvin, to_absolute_pa
from analysis.gas import STANDARD_PRESSURE_PA, standard_pressure_pa
from analysis.marks import beside_readings
from analysis.panels import geometric_volume_m3, inner_wood_area_m2

FloatArray = NDArray[np.float64]
DEFAULT_VOLUME_SHARE = 0.05
"""Standard uncertainty of a volume given without one, as a share (design of the log file)."""
DEFAULT_ACCURACY_PA = 300.0
"""Standard uncertainty of a gauge that states none: memory, 0.3 kPa of 100 for a workshop's gauge."""
U_BAROMETER_PA = 100.0
"""Standard uncertainty of a stated barometer; memory: a shop barometer or a station's reading moved to the shop."""
U_BASELINE_PA = 150.0
U_ALTITUDE_PA = 1200.0
"""Weather about the standard atmosphere: memory, sea-level pressure varies by about 12 hPa (one sd)."""
U_NO_ROOM_PA = 4000.0
"""No barometer, baseline or altitude: shops stand between sea level and several hundred metres."""


@dataclass(frozen=True, eq=False)
class Trace:
    """A log in absolute SI units.

    ``t_s`` and ``p_pa`` (n,) hold the usable readings in order of time; ``note`` (n,) the marks beside them;
    ``resolution_pa`` is 0 when the display is finer than the noise; ``volume_m3`` is None when it cannot be
    known. ``u_zero_pa`` is the standard uncertainty of the gauge's zero, after a zero seen on the
    baseline has been taken off.
    """

    name: str
    log: Log
    box: Box | None
    t_s: FloatArray
    p_pa: FloatArray
    note: tuple[str, ...]
    unit: GaugeUnit
    room_pa: float
    u_room_pa: float
    room_known: bool
    room_k: float
    u_room_k: float
    volume_m3: float | None
    u_log_volume: float
    resolution_pa: float
    accuracy_pa: float
    u_zero_pa: float
    wood: str | None
    wood_area_m2: float
    flags: tuple[str, ...]

    def within(self, start_s: float, end_s: float) -> slice:
        """Readings from one time to another, both included."""
        return slice(*np.searchsorted(self.t_s, (start_s, np.nextafter(end_s, np.inf))).tolist())


def make_trace(log: Log, box: Box | None) -> Trace:
    """Turn a log into a trace; takes room pressure, temperature and volume from the best source there is."""
    header = log.header
    order, clock_back = _monotonic(log)
    reading = log.reading[order]
    room_pa, u_room_pa, known, room_flags = _room_pressure(log, reading)
    resolution = header.resolution if header.resolution is not None else infer_resolution(reading)
    resolution_pa = resolution * header.gauge.pa_per_unit
    accuracy_pa = (
        max(DEFAULT_ACCURACY_PA, 0.5 * resolution_pa)
        if header.accuracy is None
        else header.accuracy * header.gauge.pa_per_unit
    )
    p_pa = np.asarray(to_absolute_pa(reading, header.gauge, room_pa))
    zero, u_zero = _zero(p_pa, room_pa, u_room_pa, accuracy_pa, resolution_pa, header.gauge.needs_barometer)
    p_pa = p_pa - zero
    volume, volume_flags = _volume(log, box)
    wood = header.wood or (box.wood if box else None)
    flags = [*room_flags, *volume_flags, *(["clock-back"] if clock_back else []), *_place_flags(log)]
    room_c = header.room_C
    return Trace(
        name=log.path.name if log.path else (header.box or "log"),
        log=log,
        box=box,
        t_s=log.elapsed_s[order].astype(np.float64, copy=False),
        p_pa=p_pa,
        note=beside_readings(log.note, np.arange(log.reading.size)[order].tolist()) if log.note else (),
        unit=header.gauge,
        room_pa=room_pa,
        u_room_pa=u_room_pa,
        room_known=known,
        room_k=kelvin(20.0 if room_c is None else room_c),
        u_room_k=4.0 if room_c is None else 1.0,
        volume_m3=None if volume is None else volume.value * 1e-3,
        u_log_volume=0.0 if volume is None else volume.u / volume.value,
        resolution_pa=resolution_pa,
        accuracy_pa=accuracy_pa,
        u_zero_pa=u_zero,
        wood=wood,
        wood_area_m2=_wood_area(box, volume),
        flags=tuple(flags),
    )


def _zero(
    p_pa: FloatArray,
    room_pa: float,
    u_room_pa: float,
    accuracy_pa: float,
    resolution_pa: float,
    relative: bool,
) -> tuple[float, float]:
    """Zero error of the gauge in Pa and its standard uncertainty.

    On a baseline open to the room the gauge must read room pressure; what it is off by within three times
    its accuracy is its zero. A gauge that counts from the room needs no barometer for that.
    """
    still = _baseline(p_pa)
    level, u_level = (None, 0.0) if still is None else (float(np.median(still)), _u_median(still))
    u_fit = float(np.hypot(max(0.3 * resolution_pa, u_level), 0.0 if relative else u_room_pa))
    blind = float(np.hypot(accuracy_pa, u_room_pa if relative else 0.0))
    if level is None or abs(level - room_pa) > 3.0 * float(np.hypot(accuracy_pa, u_fit)) + resolution_pa:
        return 0.0, blind
    share = accuracy_pa**2 / (accuracy_pa**2 + u_fit**2)
    u_left = accuracy_pa * np.sqrt(1.0 - share)
    return share * (level - room_pa), float(np.hypot(u_left, u_room_pa if relative else 0.0))


def _u_median(values: FloatArray) -> float:
    """Standard uncertainty of the median of normal values."""
    return float(np.sqrt(0.5 * np.pi / values.size) * np.std(values, ddof=1))


def infer_resolution(reading: FloatArray) -> float:
    """Step of the display as the smallest gap that most neighbouring levels share; 0 when there is none."""
    levels = np.unique(reading[np.isfinite(reading)][:20000])
    if levels.size < 3:
        return 0.0
    gaps = np.diff(levels)
    step = float(np.median(gaps[gaps <= 1.5 * gaps.min()]))
    multiples = gaps / step
    fits = np.mean(np.abs(multiples - np.round(multiples)) < 0.05)
    return step if fits > 0.9 else 0.0


def _monotonic(log: Log) -> tuple[NDArray[np.intp] | slice, bool]:
    """Rows with a reading, those where the clock ran backwards left out; a slice where that is all of them."""
    finite = np.isfinite(log.reading) & np.isfinite(log.elapsed_s)
    if finite.all() and np.all(log.elapsed_s[1:] > log.elapsed_s[:-1]):
        return slice(None), False
    usable = np.flatnonzero(finite)
    t = log.elapsed_s[usable]
    so_far = np.concatenate([[-np.inf], np.maximum.accumulate(t)[:-1]])
    ahead, back = t > so_far, t < so_far
    return usable[ahead], bool(back.any())


def _room_pressure(log: Log, reading: FloatArray) -> tuple[float, float, bool, tuple[str, ...]]:
    """Room pressure in Pa, its standard uncertainty, whether it was measured, and flags."""
    header = log.header
    if header.barometer_kPa is not None and not _contradicted(log, reading, header.barometer_kPa.value * 1e3):
        stated = header.barometer_kPa
        return stated.value * 1e3, max(stated.u * 1e3, U_BAROMETER_PA if stated.u == 0 else 0.0), True, ()
    if header.gauge.reference == "absolute":
        level = baseline_reading(reading)
        pa = None if level is None else level * header.gauge.pa_per_unit
        if pa is not None and 60e3 < pa < 110e3:
            return pa, U_BASELINE_PA, True, () if header.barometer_kPa is None else ("barometer-guessed",)
    if header.altitude_m is not None:
        return standard_pressure_pa(header.altitude_m), U_ALTITUDE_PA, True, ("barometer-guessed",)
    return STANDARD_PRESSURE_PA, U_NO_ROOM_PA, False, ("barometer-guessed",)


def _contradicted(log: Log, reading: FloatArray, barometer_pa: float) -> bool:
    """Whether an absolute gauge, open to the room, read a pressure far from the stated barometer's."""
    if log.header.gauge.reference != "absolute":
        return False
    level = baseline_reading(reading)
    pa = 0.0 if level is None else level * log.header.gauge.pa_per_unit
    accuracy = (log.header.accuracy or 0.0) * log.header.gauge.pa_per_unit
    return 60e3 < pa < 110e3 and abs(pa - barometer_pa) > max(8e3, 4.0 * accuracy)


def baseline_reading(reading: FloatArray) -> float | None:
    """Level of the first readings if the gauge stood still there before it moved, else None."""
    still = _baseline(reading)
    return None if still is None else float(np.median(still))


def _baseline(reading: FloatArray) -> FloatArray | None:
    """The first readings in which the gauge stood still, if there are three or more of them."""
    if reading.size < 4:
        return None
    span = float(np.ptp(reading))
    first = reading[: max(3, min(reading.size // 4, 200))]
    still = np.abs(first - float(np.median(first[:3]))) < 0.01 * max(span, 1e-12)
    run = int(np.argmin(still)) if not still.all() else still.size
    return first[:run] if run >= 3 else None


def _volume(log: Log, box: Box | None) -> tuple[Uncertain | None, tuple[str, ...]]:
    """Volume in L of this very setup: the log's, else the box's measured one, else its geometry plus line."""
    header = log.header
    if header.volume_L is not None:
        return _with_default(header.volume_L), ()
    line = _with_default(box.line_volume_L) if box and box.line_volume_L else None
    if header.setup == "line-only":
        return line, ()
    if box is None:
        return None, ()
    if box.volume_L is not None:
        return _with_default(box.volume_L), ()
    guess = geometric_volume_m3(box)
    if guess is None:
        return None, ()
    extra = line or Uncertain(0.0, 0.0)
    return Uncertain(guess.value * 1e3 + extra.value, float(np.hypot(guess.u * 1e3, extra.u))), ("volume-guessed",)


def _with_default(volume: Uncertain) -> Uncertain:
    return volume if volume.u > 0 else Uncertain(volume.value, DEFAULT_VOLUME_SHARE * volume.value)


def _place_flags(log: Log) -> tuple[str, ...]:
    unknown = log.header.gauge_at is None or log.header.behind_valve is None
    return ("place-unknown",) if unknown else ()


def _wood_area(box: Box | None, volume: Uncertain | None) -> float:
    """Inside wood surface in m2; without a box 1 m2 for 32 L, scaled as surfaces are."""
    if box is not None and box.inside_mm is not None:
        return inner_wood_area_m2(box)
    litres = 32.0 if volume is None else volume.value
    return float((litres / 32.0) ** (2.0 / 3.0))
