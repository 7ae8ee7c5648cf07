"""Measures of a box as pages show and read them: the number a file has, in the unit of the page.

A file keeps mm, L, L/s and absolute kPa. A page in inches shows inches, US gallons, cubic feet a minute and inHg
of vacuum, counted down from a standard room. What is typed may be a fraction, ``3/4`` or ``23 5/8``.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

from acquisition.errors import WrongUsage, shown
from acquisition.units import PA_PER, STANDARD_PRESSURE_PA
from analysis.numberwords import (
    LITRES_PER_GALLON,
    MM2_PER_SQUARE_INCH,
    MM_PER_INCH,
    System,
    decimals_for,
    number,
)

CUBIC_FOOT_L = (12.0 * MM_PER_INCH) ** 3 / 1e6
LARGEST = 1e6
_KPA_PER_INHG = PA_PER["inHg"] / 1000.0
_ROOM_KPA = STANDARD_PRESSURE_PA / 1000.0
_JOINED = re.compile(r"(?<=\d)-(?=\d)")
_FILE_DECIMALS = 6
"""A file's number that was typed in inches is written to so many decimals: far finer than any rule or gauge."""


@dataclass(frozen=True)
class Measure:
    """A kind of number: its unit in files, its unit on inch pages and how large that is.

    ``decimals`` and ``figures`` are shown on inch pages at least. ``from_room`` counts down from the room's
    pressure: absolute in files, vacuum on inch pages.
    """

    unit: str
    inch_unit: str
    inch_unit_size: float = 1.0
    decimals: int = 0
    from_room: bool = False
    figures: int = 3

    def unit_in(self, system: System) -> str:
        """The unit's words on a page."""
        return self.inch_unit if system == "inch" else self.unit

    def of_file(self, value: float, system: System) -> float:
        """The file's number in the page's unit."""
        if system == "metric":
            return value
        return ((_ROOM_KPA - value) if self.from_room else value) / self.inch_unit_size

    def to_file(self, value: float, system: System) -> float:
        """A number in the page's unit as the file has it."""
        if system == "metric":
            return value
        size = value * self.inch_unit_size
        return round(_ROOM_KPA - size if self.from_room else size, _FILE_DECIMALS)

    def shown(self, value: float | None, system: System) -> str:
        """What stands in a field: the file's own number, or in inches so many figures and decimals at least."""
        if value is None:
            return ""
        if system == "metric" or self.unit == self.inch_unit:
            return f"{value:g}"
        told = self.of_file(value, system)
        text = number(told, max(self.decimals, decimals_for(told, self.figures))).replace("\u2212", "-")
        return text.rstrip("0").rstrip(".") if "." in text else text

    def read(self, text: object, system: System, kept: float | None = None) -> float | None:
        """The file's number from what stands in a field; None from an empty one.

        Parameters
        ----------
        text
            What stands there. Where it is what ``kept`` is shown as, ``kept`` itself comes back, unrounded.
        system
            Units of the page.
        kept
            The number as the file has it so far.

        Raises
        ------
        WrongUsage
            It is no number, or none that can be.
        """
        words = str("" if text is None else text).strip()
        if not words:
            return None
        if kept is not None and words == self.shown(kept, system):
            return kept
        value = self.to_file(_typed(words), system)
        if not 0.0 <= value < LARGEST:
            raise WrongUsage(f"'{shown(words)}' {self._too_far(system)}.")
        return value

    def _too_far(self, system: System) -> str:
        if self.from_room and system == "inch":
            return f"is more vacuum than there can be; write a number from 0 to {self.of_file(0.0, system):.1f}"
        return "is too large; write a smaller number"


def _typed(words: str) -> float:
    """A number as people type it: ``600``, ``18,5``, ``3/4``, ``23 5/8``, ``23-5/8"``."""
    words = words.removesuffix('"')
    try:
        if "/" in words:
            value = float(sum(Fraction(piece) for piece in _JOINED.sub(" ", words).split()))
        else:
            value = float(words.replace(",", "."))
    except (ValueError, ZeroDivisionError):
        raise WrongUsage(f"'{shown(words)}' is no number; write it such as 12 or 12.5.") from None
    if not value >= 0.0:
        raise WrongUsage(f"'{shown(words)}' is no measure; write a number from 0 up.")
    return value


LENGTH = Measure("mm", "in", MM_PER_INCH, 3)
AREA = Measure("mm²", "thousandths in²", MM2_PER_SQUARE_INCH / 1000.0, 2, figures=2)
VOLUME = Measure("L", "gal", LITRES_PER_GALLON, 1)
SPEED = Measure("L/s", "cfm", CUBIC_FOOT_L / 60.0, 1)
PRESSURE = Measure("kPa", "inHg", _KPA_PER_INHG, 1, from_room=True)
TIME = Measure("s", "s")
COUNT = Measure("", "")
