"""Numbers as people read them: one formatter for a value with its interval, in two unit systems.

Two significant figures, three where half the interval is under 5 % of the value; the ends have the value's
decimals, and are left out where a narrow range comes to one step of them. A no-break space stands before a unit,
U+2212 is the minus. Where the low end is under a tenth of the high end no value is given, only "at most".
"""

from __future__ import annotations

from datetime import date
from fractions import Fraction
from math import floor, isfinite, log10
from typing import Literal

from acquisition.units import PA_PER
from analysis.gas import drilled_hole_m
from analysis.results import Interval

System = Literal["metric", "inch"]
"""``metric`` is kPa and mm, ``inch`` is inHg and inches."""

NBSP = "\u00a0"
MINUS = "\u2212"
MM2_PER_M2 = 1e6
MM_PER_INCH = 25.4
MM2_PER_SQUARE_INCH = MM_PER_INCH**2
LITRES_PER_GALLON = 231.0 * MM_PER_INCH**3 / 1e6
POUNDS_PER_TONNE = 1000.0 / 0.45359237
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_COUNTS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")

_ROOT_AT_MOST = 10.0
QUICK_LOSS_PA = 25_000.0
_SCCM_PER_PA_M3_S = 60e6 / 101_325.0 * 273.15


def decimals_for(size: float, figures: int = 2) -> int:
    """Decimals that show ``size`` with so many significant figures; negative where tens are rounded."""
    if size == 0.0 or not isfinite(size):
        return figures - 1
    rounded = float(f"{abs(size):.{figures - 1}e}")
    return figures - 1 - floor(log10(rounded) + 1e-12)


def number(value: float, decimals: int) -> str:
    """``value`` with so many decimals; a true minus sign, and no minus on a nought."""
    text = f"{round(value, decimals):.{max(decimals, 0)}f}"
    if float(text) == 0.0:
        text = text.lstrip("-")
    return text.replace("-", MINUS)


def two_figures(value: float) -> str:
    """``value`` with two significant figures."""
    return number(value, decimals_for(value))


def interval_decimals(interval: Interval) -> int:
    """Decimals that value and ends share: two figures, three where half the interval is under 5 %."""
    half = (interval.high - interval.low) / 2.0
    size = max(abs(interval.value), half)
    return decimals_for(size, 3 if half < 0.05 * abs(interval.value) else 2)


def is_at_most(interval: Interval) -> bool:
    """Whether only the high end may be told: the low end is nothing or under a tenth of the high end."""
    return 0.0 <= interval.low < interval.high / _ROOT_AT_MOST


def seat_way(area: Interval) -> str:
    """Whether a valve seat takes air ``in`` or ``out`` of the box; empty where its interval leaves that open."""
    if area.low > 0.0 and not is_at_most(area):
        return "in"
    out = area.opposite()
    return "out" if out.low > 0.0 and not is_at_most(out) else ""


def count_text(n: int) -> str:
    """How many, in words up to nine."""
    return _COUNTS[n] if n < len(_COUNTS) else str(n)


def with_unit(text: str, unit: str) -> str:
    """``text``, a no-break space and ``unit``; no space where there is no unit."""
    return f"{text}{NBSP}{unit}" if unit else text


def interval_text(interval: Interval, unit: str, signed: bool = False) -> str:
    """A value with its 95 % interval in words: ``0.98 mm², 0.90 to 1.06`` or ``at most 0.13 mm²``.

    ``signed`` quantities (differences) are always given with both ends.
    """
    if not signed and is_at_most(interval):
        return f"at most {with_unit(two_figures(interval.high), unit)}"
    places = interval_decimals(interval)
    value, low, high = (number(x, places) for x in (interval.value, interval.low, interval.high))
    told = with_unit(value, unit)
    return told if _ends_meet(interval, low, high, places) else f"{told}, {low} to {high}"


def _ends_meet(interval: Interval, low: str, high: str, places: int) -> bool:
    """Whether the written ends say no more than the value: alike, or a narrow range that rounding alone cuts in two."""
    if low == high:
        return True
    narrow = interval.high - interval.low < 0.1 * abs(interval.value)
    steps = (_written(high) - _written(low)) * 10.0**places
    return narrow and steps < 1.5


def _written(text: str) -> float:
    return float(text.replace(MINUS, "-"))


def hole_number(area_m2: float, system: System, decimals: int | None = None) -> str:
    """Diameter of the sharp drilled hole that leaks as much as ``area_m2``, without its unit.

    Metric: mm with two figures, or so many ``decimals``. Inch: thousandths as decimals.
    """
    mm = drilled_hole_m(max(area_m2, 0.0)) * 1000.0
    if system == "inch":
        inches = mm / MM_PER_INCH
        return number(inches, 3 if inches >= 0.001 else 4)
    return number(mm, decimals_for(mm) if decimals is None else decimals)


def length_unit(system: System) -> str:
    """``mm`` or ``in``."""
    return "in" if system == "inch" else "mm"


def hole_text(area_m2: float, system: System) -> str:
    """One drilled hole without an interval: ``0.78 mm`` or ``0.031 in``."""
    return with_unit(hole_number(area_m2, system), length_unit(system))


def hole_interval_text(area: Interval, system: System) -> str:
    """The drilled hole with its interval, from an area in m2: ``0.54 mm, 0.50 to 0.58``."""
    if is_at_most(area):
        return f"at most {hole_text(area.high, system)}"
    ends = [drilled_hole_m(max(a, 0.0)) * 1000.0 for a in (area.value, area.low, area.high)]
    hole = Interval(*ends)
    places = interval_decimals(hole)
    value, low, high = (hole_number(a, system, places) for a in (area.value, area.low, area.high))
    whole, written = with_unit(value, length_unit(system)), len(low.partition(".")[2])
    return whole if _ends_meet(hole, low, high, written) else f"{whole}, {low} to {high}"


def area_text(area: Interval, system: System, signed: bool = False) -> str:
    """A leak area with its interval for rows and tables: mm², or thousandths of a square inch."""
    if system == "inch":
        factor = MM2_PER_M2 / MM2_PER_SQUARE_INCH * 1000.0
        return interval_text(area.scaled(factor), "thousandths of a square inch", signed)
    return interval_text(area.scaled(MM2_PER_M2), "mm²", signed)


def area_number(area_m2: float) -> str:
    """An area's number in mm² with two figures, without its unit."""
    return two_figures(area_m2 * MM2_PER_M2)


def amount(area_m2: float, system: System) -> str:
    """How much air a leak takes in, to stand after "takes in": ``0.31 mm²``, or its drilled hole in inches."""
    if system == "inch":
        return f"as much as one drilled hole of {hole_text(area_m2, system)}"
    return with_unit(area_number(area_m2), "mm²")


def told_amount(area: Interval, system: System) -> str:
    """How much air a leak takes in as far as its interval tells: its value, or at most its high end."""
    return f"at most {amount(area.high, system)}" if is_at_most(area) else amount(area.value, system)


def leakage_text(rate: Interval, system: System, room_k: float = 293.15) -> str:
    """A leakage rate: Pa m³/s, or sccm (cm3 a minute at 0 C and 1 atm) of gas that entered at ``room_k``."""
    if system == "inch":
        return interval_text(rate.scaled(_SCCM_PER_PA_M3_S / room_k), "sccm")
    return interval_text(rate, "Pa m³/s")


def pressure_unit(system: System) -> str:
    """``kPa`` or ``inHg``."""
    return "inHg" if system == "inch" else "kPa"


def pa_per_unit(system: System) -> float:
    """Pa in one of the system's pressure units."""
    return PA_PER[pressure_unit(system)]


def pressure_text(p_pa: float, system: System, room_pa: float, decimals: int = 0) -> str:
    """A pressure as a gauge shows it: ``47 kPa`` absolute, or ``16 inHg vacuum`` counted from the room."""
    if system == "inch":
        return f"{with_unit(number((room_pa - p_pa) / pa_per_unit(system), decimals), 'inHg')} vacuum"
    return with_unit(number(p_pa / pa_per_unit(system), decimals), "kPa")


def pressure_step_text(step_pa: float, system: System) -> str:
    """A difference of pressures: ``14 kPa`` or ``4.1 inHg``."""
    return with_unit(two_figures(step_pa / pa_per_unit(system)), pressure_unit(system))


def loss_text(lost_5min_pa: float, system: System, slope_pa_s: float | None = None) -> str:
    """What the box loses: ``5.4 kPa lost in 5 min``, or ``10 kPa lost in 16 s`` where that would pass 25 kPa.

    Parameters
    ----------
    lost_5min_pa
        Pressure rise in five minutes, Pa.
    slope_pa_s
        Pressure rise a second at the reference, Pa/s; without it the five minutes' mean stands in.
    """
    slope = lost_5min_pa / 300.0 if slope_pa_s is None else slope_pa_s
    if max(lost_5min_pa, slope * 300.0) <= QUICK_LOSS_PA:
        return f"{pressure_step_text(lost_5min_pa, system)} lost in {with_unit('5', 'min')}"
    seconds = _quick_steps(system) * pa_per_unit(system) / slope
    return f"{quick_step_text(system)} lost in {duration_text(seconds)}"


def quick_step_text(system: System) -> str:
    """The loss whose time is told of a box that loses quickly: ``10 kPa``, or ``3 inHg``."""
    return with_unit(str(_quick_steps(system)), pressure_unit(system))


def _quick_steps(system: System) -> int:
    return 3 if system == "inch" else 10


def size_text(size_mm: float, system: System) -> str:
    """A board, a drill or a sheet: mm, or inches as a fraction where the size is one of 64ths within 0.05 mm."""
    if system == "metric":
        return with_unit(f"{size_mm:g}", "mm")
    inches = size_mm / MM_PER_INCH
    sixty_fourths = round(inches * 64)
    if sixty_fourths and abs(sixty_fourths / 64 - inches) * MM_PER_INCH < 0.05:
        return with_unit(_mixed(Fraction(sixty_fourths, 64)), "in")
    return with_unit(number(inches, 3), "in")


def span_number(length_m: float, system: System) -> str:
    """A span or a side of a box without its unit: whole mm, or tenths of an inch."""
    if system == "inch":
        return number(length_m * 1000.0 / MM_PER_INCH, 1).removesuffix(".0")
    return number(length_m * 1000.0, 0)


def span_text(length_m: float, system: System) -> str:
    """A span with its unit: ``186 mm`` or ``7.3 in``."""
    return with_unit(span_number(length_m, system), length_unit(system))


def small_length_text(length_m: Interval, system: System) -> str:
    """A bow with its interval: mm, or inches."""
    return interval_text(length_m.scaled(1000.0 / (MM_PER_INCH if system == "inch" else 1.0)), length_unit(system))


def load_text(tonnes: float, system: System) -> str:
    """A load: ``2.9 tonnes``, or ``6400 lb``."""
    if system == "inch":
        return with_unit(two_figures(tonnes * POUNDS_PER_TONNE), "lb")
    return with_unit(two_figures(tonnes), "tonnes")


def temperature_text(low_c: float, system: System, high_c: float | None = None) -> str:
    """A temperature, or a range of them: ``40 °C``, ``140 to 190 °C``, or in °F."""
    ends = (low_c,) if high_c is None else (low_c, high_c)
    shown = (number(1.8 * c + 32.0 if system == "inch" else c, 0) for c in ends)
    return with_unit(" to ".join(shown), "°F" if system == "inch" else "°C")


def volume_text(litres: float, system: System) -> str:
    """A volume to a tenth: ``30.3 L``, or US gallons."""
    if system == "inch":
        return with_unit(number(litres / LITRES_PER_GALLON, 1), "gal")
    return with_unit(number(litres, 1), "L")


def _mixed(size: Fraction) -> str:
    whole, rest = divmod(size, 1)
    if not rest:
        return str(whole)
    return f"{whole} {rest}" if whole else str(rest)


def chance_text(probability: float) -> str:
    """A chance: ``91 in 100``; ``99 in 100 or more`` over 0.99; ``under 1 in 100`` under 0.01."""
    if probability > 0.99:
        return "99 in 100 or more"
    if probability < 0.01:
        return "under 1 in 100"
    return f"{round(probability * 100)} in 100"


def clock_text(seconds: float) -> str:
    """A time on a clock: ``1:40``."""
    whole = round(max(seconds, 0.0))
    return f"{whole // 60}:{whole % 60:02d}"


def seconds_text(seconds: float) -> str:
    """A stretch of time in seconds, tenths where it is under one."""
    return f"{seconds:.0f} s" if seconds >= 1.0 else f"{seconds:.1g} s"


def duration_text(seconds: float) -> str:
    """A duration in a sentence: ``1.7 s``, ``16 s``, ``1 min 50 s``, ``2 h 5 min``."""
    if round(seconds, 1) < 9.95:
        return with_unit(two_figures(seconds), "s")
    whole = round(seconds)
    parts = [(whole // 3600, "h"), (whole % 3600 // 60, "min"), (whole % 60 if whole < 3600 else 0, "s")]
    return " ".join(with_unit(str(n), unit) for n, unit in parts if n)


def date_text(day: date, with_year: bool = True) -> str:
    """A date: ``3 May 2026``, or ``3 May``."""
    short = f"{day.day}{NBSP}{MONTHS[day.month - 1]}"
    return f"{short} {day.year}" if with_year else short
