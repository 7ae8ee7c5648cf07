"""Leak areas as axes and rows have them: mm², or thousandths of a square inch."""

from __future__ import annotations

from dataclasses import dataclass

from analysis import wording
from analysis.results import Interval
from analysis.wording import System


@dataclass(frozen=True)
class AreaUnit:
    """How areas stand on a page: so many units a m2, and the unit's words."""

    per_m2: float
    words: str

    def number(self, area_m2: float) -> str:
        """A number of two figures, without its unit."""
        return wording.two_figures(area_m2 * self.per_m2)

    def text(self, area_m2: Interval, signed: bool = False) -> str:
        """An area with its interval."""
        return wording.interval_text(area_m2.scaled(self.per_m2), self.words, signed)

    def short(self, area_m2: Interval, signed: bool = False) -> str:
        """An area with its interval for a narrow place beside an axis; a long unit is left to the axis."""
        words = self.words if len(self.words) < 5 else ""
        return wording.interval_text(area_m2.scaled(self.per_m2), words, signed)


MM2 = AreaUnit(1e6, "mm²")
THOUSANDTHS = AreaUnit(1e6 / 645.16 * 1000.0, "thousandths in²")


def area_unit(system: System) -> AreaUnit:
    """The unit of a page's axes and rows."""
    return THOUSANDTHS if system == "inch" else MM2


def size_words(sizes_mm: tuple[float, ...], system: System) -> str:
    """Sizes of a box in a row: ``600 × 400 × 90 mm``, or inches to a tenth."""
    if system == "inch":
        return " × ".join(f"{s / 25.4:.1f}".removesuffix(".0") for s in sizes_mm) + " in"
    return " × ".join(f"{s:g}" for s in sizes_mm) + " mm"
