"""What a careful guess says of each leak path before any test: areas in m2, as mixtures in their logarithm.

Medians and spreads are a careful guess of the trade for a box 0.60 x 0.60 x 0.09 m inside (common practice,
no source), moved by the box's own geometry. Each path has a second, smaller part for the bad place, because
most sick boxes have one: without it a bad place on a usually tight path would never be believed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from acquisition.records import Box
from acquisition.setups import parent
from analysis.results import FloatArray

MM2 = 1e-6
BAD_MEDIAN_M2 = 0.7 * MM2
BAD_SPREAD = 1.1
_REFERENCE_MM = (600.0, 600.0, 90.0)


@dataclass(frozen=True)
class PathPrior:
    """Prior of one path's area: a usual part and a bad part, both normal in the logarithm of the area in m2.

    ``median_m2`` and ``spread`` (sd of the log) of the usual part; ``bad_weight`` is the share of the bad
    part with ``bad_median_m2`` and ``bad_spread``; ``hole_lean`` says whether the path's leaks tend to be
    holes (positive) or seeps (negative), in units of the spread between boxes. ``work`` is how much of
    ``spread`` is the maker's hand and hence common to all paths of a box: a box tight in one place is
    likely tight in others.
    """

    median_m2: float
    spread: float
    bad_weight: float
    hole_lean: float
    bad_median_m2: float = BAD_MEDIAN_M2
    bad_spread: float = BAD_SPREAD
    work: float = 0.8

    @property
    def own_spread(self) -> float:
        """The part of ``spread`` that is this path's own."""
        return math.sqrt(self.spread**2 - self.work**2)

    def draw(self, rng: np.random.Generator, hand: FloatArray) -> FloatArray:
        """Draws of the logarithm of the area in m2, one for each ``hand`` (standard normal workmanship)."""
        n = len(hand)
        bad = rng.random(n) < self.bad_weight
        centre = np.where(bad, math.log(self.bad_median_m2), math.log(self.median_m2) + self.work * hand)
        return centre + np.where(bad, self.bad_spread, self.own_spread) * rng.standard_normal(n)

    def scaled(self, factor: float) -> PathPrior:
        """The prior with its usual part's median moved by ``factor``."""
        return replace(self, median_m2=self.median_m2 * factor)


def log_pdf_all(priors: Sequence[PathPrior], z: FloatArray, hand: FloatArray) -> FloatArray:
    """Log density of each column of ``z`` (draws x priors) under its prior, given the maker's ``hand`` (draws)."""
    usual = np.array([(math.log(p.median_m2), p.own_spread, 1.0 - p.bad_weight) for p in priors]).T
    bad = np.array([(math.log(p.bad_median_m2), p.bad_spread, p.bad_weight) for p in priors]).T
    shift = np.outer(hand, [p.work for p in priors])
    parts = [np.log(w / sd) - 0.5 * ((z - mean - s) / sd) ** 2 for (mean, sd, w), s in ((usual, shift), (bad, 0.0))]
    out: FloatArray = np.logaddexp(*parts) - 0.5 * math.log(2.0 * math.pi)
    return out


PRIORS: dict[str, PathPrior] = {
    "panel-edges": PathPrior(0.06 * MM2, 1.8, 0.12, -0.5),
    "panel-faces": PathPrior(0.01 * MM2, 1.5, 0.06, -0.9),
    "port-flange": PathPrior(0.03 * MM2, 1.8, 0.12, 0.0),
    "line": PathPrior(0.005 * MM2, 1.2, 0.08, 0.7, work=0.4),
    "valve-seat": PathPrior(0.002 * MM2, 1.3, 0.05, 0.0, bad_median_m2=0.025 * MM2, bad_spread=0.8, work=0.0),
    "top-panel": PathPrior(0.02 * MM2, 1.5, 0.08, -0.3),
    "closure": PathPrior(0.005 * MM2, 1.2, 0.04, 0.0, work=0.4),
    "rim-joint": PathPrior(0.02 * MM2, 1.7, 0.12, 0.0),
    "sheet-edge": PathPrior(0.2 * MM2, 1.8, 0.12, 0.2, work=0.5),
}


def path_prior(path: str, box: Box | None, parts: int = 1, repaired: bool = False) -> PathPrior:
    """Prior of ``path`` in ``box``.

    Parameters
    ----------
    path
        A leak path or a part of one.
    box
        The box, for its geometry; None leaves the careful guess as it is.
    parts
        Into how many parts the parent is split: each part has the parent's spread and a median such that
        their sum stays near the parent's.
    repaired
        Whether it was resealed: a new draw, less likely bad.
    """
    name = parent(path)
    prior = PRIORS[name].scaled(_geometry(name, box))
    if parts > 1:
        prior = replace(prior, median_m2=prior.median_m2 / parts**1.4, bad_weight=prior.bad_weight / parts**0.7)
    if repaired:
        prior = replace(prior, bad_weight=0.5 * prior.bad_weight)
    return prior


def _geometry(name: str, box: Box | None) -> float:
    """Factor on the usual median; softened, since workmanship differs more than size."""
    if box is None:
        return 1.0
    size = _size(name, box) ** 0.7
    return float(np.clip(size * _make(name, box), 0.1, 10.0))


def _size(name: str, box: Box) -> float:
    if name == "closure":
        return max(box.vents.count, 25) / 100.0
    if name == "port-flange":
        return box.port.flange_mm / 90.0
    if box.inside_mm is None:
        return 1.0
    return _extent(name, box.inside_mm) / _extent(name, _REFERENCE_MM)


def _extent(name: str, inside_mm: tuple[float, float, float]) -> float:
    """Metres of joint, square metres of board or metres of rim, up to a constant."""
    length, width, height = inside_mm
    around = 2.0 * (length + width)
    extents = {
        "panel-edges": around + 4.0 * height,
        "panel-faces": length * width + around * height,
        "top-panel": length * width,
        "rim-joint": around,
        "sheet-edge": around,
    }
    return extents.get(name, 1.0)


_WOOD: dict[str, dict[str, float]] = {
    "panel-edges": {"bare": 1.4, "coated": 0.5, "none": 0.4},
    "panel-faces": {"bare": 1.4, "coated": 0.5, "none": 0.1},
    "top-panel": {"bare": 1.2, "coated": 0.7, "none": 0.3},
}


def _make(name: str, box: Box) -> float:
    if name in ("rim-joint", "sheet-edge"):
        return 1.3 if box.rim.lip == "none" else 1.0
    return _WOOD.get(name, {}).get(box.wood or "", 1.0)
