"""Axes of hand-drawn figures: a value's place in px, and nice ticks."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, floor, log10


def nice_step(span: float, most: int = 6) -> float:
    """Step of 1, 2 or 5 times a power of ten that cuts ``span`` into at most ``most`` pieces."""
    raw = span / most
    size = 10.0 ** floor(log10(raw))
    return next(s * size for s in (1.0, 2.0, 5.0, 10.0) if s * size >= raw * 0.999)


@dataclass(frozen=True)
class Linear:
    """A linear axis from ``low`` at ``left`` px to ``high`` at ``right`` px."""

    low: float
    high: float
    left: float
    right: float
    step: float

    def at(self, value: float) -> float:
        """Place of a value, px."""
        return self.left + (value - self.low) / (self.high - self.low) * (self.right - self.left)

    def ticks(self) -> list[float]:
        """Values of the ticks, 0 among them."""
        first, last = ceil(self.low / self.step - 1e-9), floor(self.high / self.step + 1e-9)
        return [i * self.step for i in range(first, last + 1)]

    def label(self, value: float) -> str:
        """A tick's number."""
        return f"{value:.6g}".replace("-", "−")


def linear_for(low: float, high: float, left: float, right: float, most: int = 5) -> Linear:
    """An axis that holds ``low`` to ``high`` and 0, its upper end a little past the last value."""
    high = high if high > 0 else 1.0
    step = nice_step(high - min(low, 0.0), most)
    return Linear(min(low * 1.05, 0.0), max(high * 1.04, step * 1.02), left, right, step)


@dataclass(frozen=True)
class Log:
    """A log axis from ``low`` at ``start`` px to ``high`` at ``end`` px; values beyond stand at the end."""

    low: float
    high: float
    start: float
    end: float

    def at(self, value: float) -> float:
        """Place of a value, px."""
        inside = min(max(value, self.low), self.high)
        return self.start + log10(inside / self.low) / log10(self.high / self.low) * (self.end - self.start)

    def decades(self) -> list[float]:
        """Powers of ten on the axis."""
        return [10.0**e for e in range(ceil(log10(self.low) - 1e-9), floor(log10(self.high) + 1e-9) + 1)]
