"""Assessed tests of one box made up for the tests of the ranking."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import datetime, timedelta

from acquisition.records import Box, Vents
from acquisition.setups import open_paths
from analysis.results import Assessment, Interval, LawVerdict, Limit, PathResult, Ranking

MM2 = 1e-6
BOX = Box("B-07", vents=Vents(count=120))
FIRST = datetime(2026, 5, 3, 9)


def made(
    setup: str, area_mm2: float, seal: Sequence[str] = (), *, error: float = 0.04, day: float = 0.0,
    opened: Sequence[str] | None = None, limit: bool = False, **more: object,
) -> Assessment:
    low = 0.0 if limit else area_mm2 * math.exp(-1.96 * error)
    span = Interval(area_mm2 * MM2, low * MM2, area_mm2 * math.exp(1.96 * error) * MM2)
    values: dict[str, object] = {
        "log": f"{setup}-{day}.csv", "box": "B-07", "setup": setup, "sealed": tuple(seal),
        "open_paths": tuple(opened) if opened is not None else open_paths(setup, seal),
        "started": FIRST + timedelta(days=day), "outcome": "upper-limit" if limit else "estimate", "reason": None,
        "advice": "", "verdict": "within", "limit": Limit(0.42 * MM2, "pump"), "test": "hold", "area_m2": span,
        "area_fit_m2": span, "volume_m3": 0.032, "u_log_volume": 0.04, "behind_valve": "room",
    }
    return Assessment(**(values | more))  # type: ignore[arg-type]


def law(**probability: float) -> LawVerdict:
    return LawVerdict("undetermined", None, None, None, probability)


def part(ranking: Ranking, path: str) -> PathResult:
    return next(p for p in ranking.paths if p.path == path)
