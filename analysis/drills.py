"""Twist-drill sizes: what a drilled hole can be made with, and the nearest drill to a hole.

Number (80 to 1), letter (A to Z) and fraction (64ths of an inch to 1/2 in) sizes of ASME B94.11M, as five
independent copies agree on them. (#69 is .0292: one copy rounds the .02925 of the metric tables up.)
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

INCH_M = 0.0254
Series = Literal["number", "letter", "fraction"]

_NUMBERS = """
.2280 .2210 .2130 .2090 .2055 .2040 .2010 .1990 .1960 .1935 .1910 .1890 .1850 .1820 .1800 .1770 .1730 .1695 .1660 .1610
.1590 .1570 .1540 .1520 .1495 .1470 .1440 .1405 .1360 .1285 .1200 .1160 .1130 .1110 .1100 .1065 .1040 .1015 .0995 .0980
.0960 .0935 .0890 .0860 .0820 .0810 .0785 .0760 .0730 .0700 .0670 .0635 .0595 .0550 .0520 .0465 .0430 .0420 .0410 .0400
.0390 .0380 .0370 .0360 .0350 .0330 .0320 .0310 .0292 .0280 .0260 .0250 .0240 .0225 .0210 .0200 .0180 .0160 .0145 .0135
"""
_LETTERS = """
.234 .238 .242 .246 .250 .257 .261 .266 .272 .277 .281 .290 .295 .302 .316 .323 .332 .339 .348 .358 .368 .377 .386
.397 .404 .413
"""


@dataclass(frozen=True)
class Drill:
    """One twist drill: ``name`` as stamped (``#57``, ``F``, ``3/64``), its series and ``diameter_m``."""

    name: str
    series: Series
    diameter_m: float


def _inch(name: str, series: Series, diameter_in: float) -> Drill:
    return Drill(name, series, diameter_in * INCH_M)


DRILLS: tuple[Drill, ...] = tuple(
    sorted(
        [_inch(f"#{n}", "number", float(size)) for n, size in enumerate(_NUMBERS.split(), start=1)]
        + [_inch(chr(ord("A") + n), "letter", float(size)) for n, size in enumerate(_LETTERS.split())]
        + [_inch(str(Fraction(n, 64)), "fraction", n / 64) for n in range(1, 33)],
        key=lambda drill: drill.diameter_m,
    )
)
"""Every drill, thinnest first; E and 1/4 are one size, the letter first."""


def drill_named(name: str) -> Drill | None:
    """The drill stamped ``name``: ``57``, ``#57`` or ``no. 57``, a letter, or a fraction of an inch; else None."""
    word = name.strip().upper().removeprefix("NO.").removeprefix("#").strip().removesuffix("IN").strip()
    return next((drill for drill in DRILLS if drill.name.removeprefix("#") == word), None)


def nearest_drill(diameter_m: float, series: Series | None = None) -> Drill:
    """The drill whose diameter is nearest, of one series or of all."""
    return min(_of(series), key=lambda drill: abs(drill.diameter_m - diameter_m))


def drills_around(diameter_m: float, series: Series | None = None) -> tuple[Drill | None, Drill | None]:
    """The largest drill not over and the smallest not under a diameter; None past the end of the series.

    A drill of exactly this diameter is both.
    """
    slack = 1e-9
    under = [drill for drill in _of(series) if drill.diameter_m <= diameter_m + slack]
    over = [drill for drill in _of(series) if drill.diameter_m >= diameter_m - slack]
    return (under[-1] if under else None), (over[0] if over else None)


def _of(series: Series | None) -> tuple[Drill, ...]:
    return tuple(drill for drill in DRILLS if series in (None, drill.series))
