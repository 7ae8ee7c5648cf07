"""Box B-04 of the invented shop: a hold each fortnight for fourteen months."""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np

from acquisition.simulated.scenario import PumpModel, Shell
from acquisition.simulated.shop import DIGITAL, Bench, ShopBox, ShopTest, every, leak, local, season, seed_of, stages
from acquisition.simulated.shopfacts import BOXES, EVENTS, REPAIRED

FIRST_FORTNIGHT = "2025-03-02T10:00:00"
LOOSE_TAPE = "2025-09-28"


def ageing_edges(months: float, started: datetime, since_repair: float | None) -> float:
    """Area of B-04's panel edges, mm2: ageing by months, open in the dry season, set back by the repair."""
    grown = 0.07 * np.exp(0.068 * months) if since_repair is None else 0.042 * np.exp(0.05 * since_repair)
    return float(grown * np.exp(0.28 * season(started, 45)))


def ageing() -> ShopBox:
    """B-04: a hold each fortnight for fourteen months, a winter and a repair among them."""
    bench = Bench(
        "B-04", Shell(0.0335, "coated", 1.05, 0.006, 2.7), PumpModel(1.36e-3, 8_000.0), (), every(DIGITAL, 2.0)
    )
    first = datetime.fromisoformat(FIRST_FORTNIGHT)
    tests = tuple(_fortnight(bench, first + timedelta(days=14 * k, minutes=7 * k % 50)) for k in range(31))
    return ShopBox(
        BOXES["B-04"],
        "panel edges that age over fourteen months, a winter and a repair among them",
        tests,
        EVENTS["B-04"],
    )


def _fortnight(bench: Bench, when: datetime) -> ShopTest:
    started = local(when.isoformat())
    rng = np.random.default_rng([seed_of(started), 2])
    months = (when - datetime.fromisoformat(FIRST_FORTNIGHT)).days / 30.44
    repaired = datetime.fromisoformat(f"{REPAIRED}T12:00:00")
    since = (when - repaired).days / 30.44 if when > repaired else None
    edges = ageing_edges(months, started, since) * float(np.exp(rng.normal(0.0, 0.05)))
    loose = f"{when:%Y-%m-%d}" == LOOSE_TAPE
    tape = 0.16 if loose else 0.004 * float(np.exp(rng.normal(0.0, 0.5)))
    leaks = (
        leak("panel-edges", edges, "mix", 0.45),
        leak("panel-faces", 0.005, "seep"),
        leak("top-panel", 0.009, "seep"),
        leak("port-flange", 0.011),
        leak("line", 0.003),
        leak("closure", tape),
    )
    shows = "tape off at one corner: an odd test that is no trend" if loose else f"month {months:.1f}"
    return bench.test(when.isoformat(), "vents-taped", stages(50, 240, soak=60, baseline=10), shows, leaks=leaks)
