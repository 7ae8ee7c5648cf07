"""Small helpers that put published examples, in their own units, through this project's gas functions."""

from __future__ import annotations

import csv
from math import sqrt
from pathlib import Path

from scipy.optimize import minimize_scalar

from analysis.gas import nozzle_flow_function

TABLES = Path(__file__).parent / "tables"
INCH_M = 0.0254
FOOT_M = 0.3048
POUND_KG = 0.45359237
R_MOLAR = 8.314472
"""As 40 CFR 1065 prints it, J/(mol K)."""


def rows(name: str) -> list[list[str]]:
    """Cells of a table as printed, its remarks left out."""
    lines = (TABLES / name).read_text(encoding="utf-8").splitlines()
    return list(csv.reader(line for line in lines if not line.startswith("#")))


def venturi_coefficient(r: float, beta: float, gamma: float) -> float:
    """Flow coefficient with the speed of approach: the project's nozzle, corrected for the pipe's size."""
    return float(nozzle_flow_function(r, gamma)) / sqrt(1.0 - beta**4 * r ** (2.0 / gamma))


def critical_venturi_coefficient(beta: float, gamma: float) -> float:
    """The most a venturi passes per upstream pressure: its coefficient at the ratio where it chokes.

    With an approach speed the choking ratio lies above that of a plain nozzle.
    """
    best = minimize_scalar(
        lambda r: -venturi_coefficient(r, beta, gamma), bounds=(0.5, 0.9), method="bounded", options={"xatol": 1e-12}
    )
    return float(-best.fun)


def last_digit(cell: str) -> float:
    """Size of one unit of the last printed digit."""
    return 10.0 ** -len(cell.partition(".")[2])


def fraction(text: str) -> float:
    """Number behind ``3/8``."""
    top, _, bottom = text.partition("/")
    return float(top) / float(bottom or 1)


