"""Pressure units and gauge references: the only module that converts.

Exact factors: kPa, hPa, mbar, bar by definition; psi from the international pound and inch with
standard gravity; mmHg and inHg conventional (NIST SP 811, appendix B); Torr = 101325/760 Pa;
inH2O and mmH2O conventional (NIST SP 811, appendix B).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Literal, TypeVar

import numpy as np
from numpy.typing import NDArray

from acquisition.errors import WrongUsage

Reference = Literal["absolute", "vacuum", "gauge"]
Number = TypeVar("Number", float, NDArray[np.float64])

PA_PER: dict[str, float] = {
    "Pa": 1.0,
    "hPa": 100.0,
    "kPa": 1000.0,
    "MPa": 1e6,
    "mbar": 100.0,
    "bar": 100_000.0,
    "inHg": 3386.389,
    "mmHg": 133.3224,
    "Torr": 101_325.0 / 760.0,
    "psi": 6894.757293168,
    "inH2O": 249.08891,
    "mmH2O": 9.80665,
}
ZERO_CELSIUS_K = 273.15
STANDARD_PRESSURE_PA = 101_325.0

_SPELLINGS: dict[str, str] = {name.lower(): name for name in PA_PER} | {
    "millibar": "mbar", "\"hg": "inHg", "in hg": "inHg", "in.hg": "inHg", "mm hg": "mmHg",
    "inches hg": "inHg", "inh2o": "inH2O", "inwc": "inH2O", "in wc": "inH2O", "mmwc": "mmH2O",
    "in h2o": "inH2O", "mm h2o": "mmH2O", "pascal": "Pa", "psia": "psi", "psig": "psi",
}
_REFERENCES: tuple[Reference, ...] = ("absolute", "vacuum", "gauge")


@dataclass(frozen=True)
class GaugeUnit:
    """What a gauge's number means: ``reference`` and ``unit``.

    ``absolute`` counts from nothing, ``vacuum`` is room minus box (positive), ``gauge`` is box minus
    room (negative under vacuum).
    """

    reference: Reference
    unit: str

    @property
    def pa_per_unit(self) -> float:
        """Pa of one unit of the gauge, always positive."""
        return PA_PER[self.unit]

    @property
    def needs_barometer(self) -> bool:
        """Whether an absolute pressure needs the room's pressure."""
        return self.reference != "absolute"

    def __str__(self) -> str:
        return f"{self.reference} {self.unit}"


def parse_unit(text: str) -> str:
    """Canonical spelling of a pressure unit.

    Raises
    ------
    WrongUsage
        The unit is not one of ``PA_PER``; ``mPa``, a thousandth of a pascal, is none of them.
    """
    word = re.sub(r"\s+", " ", text.strip())
    name = _SPELLINGS.get(word.lower())
    if name is None or word == "mPa":
        raise WrongUsage(f"'{text.strip()}' is no pressure unit; take one of {', '.join(PA_PER)}.")
    return name


def parse_gauge_unit(text: str) -> GaugeUnit:
    """Read ``absolute kPa``, ``vacuum inHg`` or ``gauge mbar``.

    Raises
    ------
    WrongUsage
        The reference or the unit is missing or unknown.
    """
    words = text.strip().split(None, 1)
    for reference in _REFERENCES:
        if len(words) == 2 and words[0].lower() == reference:
            return GaugeUnit(reference, parse_unit(words[1]))
    for near in get_close_matches(words[0].lower(), _REFERENCES, n=1) if len(words) == 2 else ():
        raise WrongUsage(f"'{words[0]}' in '{text.strip()}' is not known; is it {near}?")
    raise WrongUsage(
        f"'{text.strip()}' does not say what the gauge counts from; write absolute, vacuum or gauge, then the unit."
    )


def to_absolute_pa(reading: Number, unit: GaugeUnit, room_pa: float) -> Number:
    """Absolute pressure in Pa of a gauge's reading.

    Parameters
    ----------
    reading
        Number or array in the gauge's unit.
    unit
        What the number means.
    room_pa
        Absolute room pressure, Pa; unused for an absolute gauge.
    """
    pa = reading * unit.pa_per_unit
    if unit.reference == "absolute":
        return pa
    return room_pa - pa if unit.reference == "vacuum" else room_pa + pa


def from_absolute_pa(p_pa: Number, unit: GaugeUnit, room_pa: float) -> Number:
    """Reading a gauge would show at an absolute pressure in Pa; the inverse of ``to_absolute_pa``."""
    if unit.reference == "vacuum":
        p_pa = room_pa - p_pa
    elif unit.reference == "gauge":
        p_pa = p_pa - room_pa
    return p_pa / unit.pa_per_unit


def kelvin(celsius: float) -> float:
    """Absolute temperature in K of a temperature in degrees Celsius."""
    return celsius + ZERO_CELSIUS_K
