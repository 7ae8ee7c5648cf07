"""A shop of hand-made results, so that pages can be tested without working anything out."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from math import pi, sqrt
from pathlib import Path

import numpy as np

from acquisition.records import Baffles, Box, Event, Log, LogHeader, Port, Pump, Rim, Tank, Uncertain, Vents
from acquisition.setups import open_paths
from acquisition.units import GaugeUnit
from analysis.history import history
from analysis.results import (
    Assessment,
    Curves,
    HoldSpan,
    Interval,
    LawVerdict,
    Limit,
    NextTest,
    PathResult,
    Phase,
    Ranking,
    Release,
    SheetComparison,
)
from dashboard.shop import Findings, Shop, Trial

ROOM = 101_100.0
MM2 = 1e-6
LIMIT = Limit(0.40 * MM2, "pump")


def iv(value: float, low: float, high: float, unit: float = MM2) -> Interval:
    return Interval(value * unit, low * unit, high * unit)


def box(name: str, label: str, inside: tuple[float, float, float], baffles: int = 2, speed: float = 2.24) -> Box:
    return Box(
        name,
        inside,
        "coated",
        18.0,
        Uncertain(31.4, 0.5),
        Uncertain(0.4, 0.05),
        20.0,
        label,
        Baffles(baffles, 0, 18.0),
        Rim("steel", 4.0),
        Port(None, None, 25.0, 80.0),
        Vents(96, 1.0, 40.0),
        Pump(speed, 8.0),
        Tank(100.0, 12.0),
    )


def curves(area_m2: float, hold_s: float = 240.0, stuck: bool = False) -> tuple[Curves, tuple[Phase, ...]]:
    down = np.arange(0.0, 40.0)
    before = np.concatenate([np.full(10, ROOM), 11_000 + 90_000 * np.exp(-down / 7), np.full(180, 11_000.0)])
    t_hold = np.arange(0.0, hold_s + 1.0)
    tau = 31.4e-3 * ROOM / (area_m2 * 2.0e7)
    fit = ROOM * np.tanh(np.arctanh(11_000 / ROOM) + t_hold / tau)
    noise = 90 * np.sin(t_hold * 12.9898) * np.cos(t_hold * 4.1414)
    held = np.full(t_hold.size, 12_000.0) if stuck else fit + noise
    t = np.arange(before.size + t_hold.size, dtype=float)
    shut = float(before.size)
    phases = (
        Phase("baseline", 0, 10),
        Phase("pump-down", 10, 50),
        Phase("soak", 50, shut),
        Phase("hold", shut, shut + hold_s),
    )
    p = np.concatenate([before, held])
    if stuck:
        return Curves(t, p), phases
    keep = t_hold >= 6
    other = np.minimum(ROOM, 11_000 + (fit[1] - fit[0]) * t_hold * 1.0)
    return Curves(
        t,
        p,
        t_hold[keep] + shut,
        fit[keep],
        fit[keep] - 180,
        fit[keep] + 180,
        t_hold[keep] + shut,
        noise[keep],
        other[keep],
        "hole",
        "no pattern left",
    ), phases


def result(
    name: str,
    setup: str,
    started: datetime,
    area: Interval | None,
    verdict: str,
    *,
    limit: Limit | None = LIMIT,
    sealed: tuple[str, ...] = (),
    outcome: str = "estimate",
    reason: str | None = None,
    test: str = "hold",
    stall_pa: float | None = None,
    flags: tuple[str, ...] = (),
    law: str = "seep",
) -> Assessment:
    size = area.value if area else 0.3 * MM2
    drawn, phases = curves(size, stuck=area is None)
    hole = None if area is None else Interval(*(sqrt(4 * a / (pi * 0.83)) for a in (area.value, area.low, area.high)))
    rate = None if area is None else area.scaled(20.13e6)
    key = f"{started:%Y%m%dT%H%M%S}-{setup}"
    return Assessment(
        f"{key}.csv",
        name,
        setup,
        sealed,
        open_paths(setup, sealed),
        started,
        outcome,
        reason,  # type: ignore[arg-type]
        "Putty the port flange and hold again."
        if area
        else "Open the valve to the room; it must go back to about 101 kPa.",
        verdict,
        limit,
        test,  # type: ignore[arg-type]
        None if area is None else HoldSpan(236, 470, 12_000, 90_000),
        (),
        area,
        area,
        rate,
        hole,
        None if area is None else min(89_000.0, rate.value / 31.4e-3 * 300),  # type: ignore[union-attr]
        None if area is None else LawVerdict(law, 0.0, 1.0, None, {"hole": 0.01, "seep": 0.94, "between": 0.05}),  # type: ignore[arg-type]
        None if area is None else Release(False, 0.01),
        flags,
        ROOM,
        293.6,
        31.4e-3,
        0.02,
        "tank",
        phases,
        drawn,
        stall_pa=stall_pa,
    )


def ranking(
    name: str, chances: dict[str, tuple[float, float, float, float]], groups: tuple[tuple[str, ...], ...] = ()
) -> Ranking:
    paths = tuple(
        PathResult(p, iv(v, lo, hi), v, c, None, ("stayed when the flange was puttied",))
        for p, (v, lo, hi, c) in sorted(chances.items(), key=lambda item: -item[1][3])
    )
    return Ranking(
        name,
        "ranked",
        None,
        None,
        paths,
        groups,
        ("rim-joint", "sheet-edge"),
        None,
        (),
        NextTest("hold", "vents-taped", ("panel-edges/front",), 120.0, 0.8, "it settles front seam or not"),
        (
            "Panel edges: dust off, full bead of 100 % silicone in the joint, thin coat on the outer edge grain. "
            "Cure a day or more.",
        ),
    )


MAY = datetime(2026, 5, 3, 14, 2, 11, tzinfo=timezone(timedelta(hours=2)))


def trial(res: Assessment) -> Trial:
    header = LogHeader(
        GaugeUnit("absolute", "kPa"), res.box, res.setup, res.sealed, None, res.started, 0.1, gauge_at="box"
    )
    c = res.curves
    assert c is not None
    return Trial(res.log.removesuffix(".csv"), Log(header, c.t_s, c.p_pa / 1000), res)


def over_b07() -> Findings:
    sealed = result(
        "B-07", "vents-taped", MAY + timedelta(minutes=30), iv(0.93, 0.85, 1.01), "over", sealed=("port-flange",)
    )
    first = result("B-07", "vents-taped", MAY, iv(0.98, 0.90, 1.06), "over")
    chances = {
        "panel-edges": (0.85, 0.69, 0.98, 0.94),
        "top-panel": (0.06, 0.01, 0.15, 0.02),
        "port-flange": (0.05, 0.005, 0.13, 0.02),
        "closure": (0.03, 0.003, 0.09, 0.01),
        "panel-faces": (0.02, 0.002, 0.07, 0.01),
        "line": (0.004, 0.0, 0.01, 0.0),
        "valve-seat": (-0.03, -0.05, -0.01, 0.0),
    }
    return Findings(
        box("B-07", "fender", (610, 406, 127)), (), (trial(first), trial(sealed)), ranking("B-07", chances), {}, ()
    )


def sheet_b11() -> Findings:
    film = result("B-11", "film-on-rim", MAY - timedelta(hours=2), iv(0.13, 0.11, 0.16), "within")
    sheets = [
        result("B-11", "formed-sheet", MAY + timedelta(minutes=20 * i), iv(a, a * 0.93, a * 1.07), "over")
        for i, a in enumerate((1.7, 2.6, 4.0))
    ]
    compared = SheetComparison(
        "B-11",
        "estimate",
        None,
        iv(2.5, 1.4, 4.3),
        ("sheet-edge",),
        ("closure",),
        "The sheet edge: 2.5 mm², 1.4 to 4.3. The box itself holds.",
    )
    chances = {
        "sheet-edge": (2.5, 1.4, 4.3, 0.98),
        "panel-edges": (0.08, 0.01, 0.14, 0.01),
        "port-flange": (0.02, 0.0, 0.05, 0.01),
    }
    return Findings(
        box("B-11", "visor", (510, 380, 100)),
        (),
        tuple(trial(r) for r in (film, *sheets)),
        ranking("B-11", chances),
        {"film-on-rim": compared},
        (),
    )


def going_off_b03() -> Findings:
    sizes = [0.58, 0.7, 0.75, 0.82, 0.98, 0.81, 0.94, 0.95, 1.15, 0.33, 0.34, 0.41, 0.37, 0.52, 0.54, 0.81, 0.83]
    starts = [datetime(2025, 9, 21, 9, tzinfo=UTC) + timedelta(days=14 * i) for i in range(len(sizes))]
    res = [
        result("B-03", "vents-taped", s, iv(a, a * 0.88, a * 1.13), "within", limit=Limit(1.2 * MM2, "pump"))
        for s, a in zip(starts, sizes, strict=True)
    ]
    events = (Event("2026-01-18", "panel-edges", "repair", "resealed, long seams"),)
    tub = box("B-03", "tub", (900, 600, 200), speed=6.7)
    lines = history(res, events, tub)
    return Findings(
        tub,
        events,
        tuple(trial(r) for r in res),
        ranking("B-03", {"panel-edges": (0.64, 0.5, 0.8, 0.96), "port-flange": (0.07, 0.01, 0.2, 0.04)}),
        {},
        lines,
    )


def single(name: str, label: str, res: Assessment, inside: tuple[float, float, float] = (500, 400, 100)) -> Findings:
    return Findings(box(name, label, inside), (), (trial(res),), None, {}, ())


def not_told_b16() -> Findings:
    res = result(
        "B-16",
        "vents-taped",
        MAY,
        iv(7.7, 6.6, 8.9),
        "stalls",
        limit=Limit(1.2 * MM2, "pump"),
        test="stall",
        stall_pa=47_000.0,
        law="undetermined",
    )
    chances = {
        "panel-edges": (4.0, 0.1, 7.9, 0.54),
        "port-flange": (3.0, 0.1, 7.5, 0.41),
        "panel-faces": (0.3, 0.0, 3.0, 0.03),
        "top-panel": (0.15, 0.0, 0.6, 0.01),
        "closure": (0.1, 0.0, 0.3, 0.01),
    }
    return Findings(
        box("B-16", "cowl", (900, 600, 150), 4),
        (),
        (trial(res),),
        ranking("B-16", chances, (("panel-edges", "port-flange", "panel-faces"),)),
        {},
        (),
    )


def made_up() -> dict[str, Findings]:
    every = [
        over_b07(),
        sheet_b11(),
        going_off_b03(),
        not_told_b16(),
        single(
            "B-05",
            "cap",
            result(
                "B-05",
                "vents-taped",
                MAY,
                None,
                "no-answer",
                outcome="refused",
                reason="the gauge stayed on 12.0 kPa from the soak on",
            ),
            (300, 250, 80),
        ),
        single(
            "B-09",
            "seed tray",
            result("B-09", "vents-taped", MAY, iv(0.28, 0.09, 0.61), "cannot-tell", law="undetermined"),
            (520, 300, 60),
        ),
        single(
            "B-12",
            "tray",
            result(
                "B-12", "vents-taped", MAY, iv(0.005, 0.0, 0.012), "tight", outcome="upper-limit", law="undetermined"
            ),
            (600, 400, 110),
        ),
        Findings(box("B-17", "lid", (640, 420, 110), 1)),
    ]
    return {f.box.name: f for f in every}


class MadeUpShop(Shop):
    """A shop whose findings are hand-made."""

    def __init__(self, folder: Path, known: dict[str, Findings] | None = None) -> None:
        super().__init__(folder)
        self.known = made_up() if known is None else known

    def names(self) -> list[str]:
        return sorted(self.known)

    def tests_of(self, name: str) -> list[Path]:
        return [Path(t.result.log) for t in self.known[name].trials]

    def findings(self, name: str, wait_s: float | None = 0.0) -> Findings | None:
        return self.known[name]
