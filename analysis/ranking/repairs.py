"""Whether a repair worked: the tests before it against the tests after it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from acquisition.setups import open_paths, parent
from analysis.ranking.likelihood import SCATTER
from analysis.ranking.model import FLOOR_M2
from analysis.ranking.words import worked_sentence
from analysis.results import Assessment, FloatArray

WORKED_SHARE = 0.9
"""A repair worked when the box takes in less than this share of what it did."""
_CLOSURE_SD = {"vents-taped": (0.15, 0.005e-6), "film-on-top": (0.25, 0.005e-6), "film-on-rim": (0.25, 0.005e-6)}
_SHEET_SD = 0.6


@dataclass(frozen=True)
class Worked:
    """Chance that a repair worked, areas (m2) before and after, and the sentence for it."""

    probability: float
    before_m2: float
    after_m2: float
    sentence: str


def repair_worked(
    before: Sequence[Assessment], after: Sequence[Assessment], path: str, seed: int = 20260503, draws: int = 20000
) -> Worked | None:
    """Compare tests of one setup before and after a repair of ``path``.

    Tests of one setup and sealed list are pooled by their logs; the volume error is common and cancels.
    A new tape, film or sheet between them widens the answer.

    Returns
    -------
    None when no setup with that path open was tested on both sides.
    """
    pairs = [(b, a) for b in before for a in after if _same(b, a) and _counts(b, path)]
    if not pairs:
        return None
    key = (pairs[-1][1].setup, frozenset(pairs[-1][1].sealed))
    olds, news = ([t for t in side if (t.setup, frozenset(t.sealed)) == key] for side in (before, after))
    rng = np.random.default_rng(seed)
    was, now = (_pooled(side, rng, draws) for side in (olds, news))
    probability = float(np.mean(now < WORKED_SHARE * was))
    middle = (float(np.median(was)), float(np.median(now)))
    return Worked(probability, *middle, worked_sentence(probability, *middle, key[0] == "formed-sheet"))


def _same(b: Assessment, a: Assessment) -> bool:
    usable = b.area_m2 is not None and a.area_m2 is not None and a.setup is not None
    return usable and a.setup == b.setup and frozenset(a.sealed) == frozenset(b.sealed)


def _counts(test: Assessment, path: str) -> bool:
    opened = test.open_paths or open_paths(test.setup or "", test.sealed)
    return any(p == path or p == parent(path) or parent(p) == path for p in opened)


def _pooled(tests: Sequence[Assessment], rng: np.random.Generator, n: int) -> FloatArray:
    """Draws of the mean area of one side's tests, each with its own scatter."""
    out: FloatArray = np.mean([_draws(t, rng, n) for t in tests], axis=0)
    return out


def _draws(test: Assessment, rng: np.random.Generator, n: int) -> FloatArray:
    span = test.area_fit_m2 or test.area_m2
    assert span is not None
    u = rng.standard_normal(n)
    down, up = (span.value - span.low) / 1.96, (span.high - span.value) / 1.96
    measured = span.value - test.plug_area_m2 + np.where(u < 0.0, down, up) * u
    sd, floor = _CLOSURE_SD.get(test.setup or "", (0.0, 0.0))
    scatter = float(np.hypot(SCATTER[0], _SHEET_SD if test.setup == "formed-sheet" else sd))
    shift = np.hypot(FLOOR_M2, floor) * rng.standard_normal(n)
    out: FloatArray = np.clip(measured, 1e-10, None) * np.exp(scatter * rng.standard_normal(n)) + shift
    return out
