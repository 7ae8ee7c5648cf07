"""The boxes of the invented shop but B-04 and B-07, which stand apart; names, figures and remarks are made up."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from acquisition.simulated.scenario import Leak, PumpModel, Shell, Stage, StoredAir, TankModel
from acquisition.simulated.shop import (
    DIAL,
    DIGITAL,
    FINE,
    INCH,
    MILLIBAR,
    MM2,
    Bench,
    Said,
    ShopBox,
    behind,
    every,
    leak,
    stages,
)
from acquisition.simulated.shopageing import ageing
from acquisition.simulated.shopawkward import awkward
from acquisition.simulated.shopfacts import BOXES, EVENTS


def new_and_tight() -> ShopBox:
    """B-01: nothing wrong but fresh, bare wood."""
    bench = Bench(
        "B-01",
        Shell(0.0317, "bare", 1.04, 0.004, 2.6),
        PumpModel(1.37e-3, 7_800.0),
        (leak("panel-edges", 0.0015, "seep"), leak("panel-faces", 0.001, "seep"), leak("line", 0.0004, "crack", 0.3)),
        every(FINE, 1.0),
        stored=StoredAir((0.4e-3, 0.95e-3), (40.0, 210.0)),
    )
    tests = (
        bench.test(
            "2026-02-10T09:12:00",
            "undrilled",
            stages(45, 300),
            "first hold of all, no soak: stored air and moisture look like a leak",
            ("estimate", "upper-limit"),
        ),
        bench.test(
            "2026-02-10T09:31:00",
            "undrilled",
            stages(45, 300, soak=180, redraw=40),
            "soaked three minutes, held, redrawn, held again: the second hold shows how tight it is",
            ("upper-limit",),
        ),
        bench.test(
            "2026-02-17T16:05:00",
            "vents-taped",
            stages(45, 300, soak=180, redraw=40),
            "vents drilled and taped: still nothing to show",
            ("upper-limit", "estimate"),
        ),
    )
    return ShopBox(
        BOXES["B-01"],
        "a new, tight, bare box: what looks like a leak is the wood's own air and moisture",
        tests,
        EVENTS["B-01"],
    )


def bad_sheet_edge() -> ShopBox:
    """B-02: tight in itself, but the sheet does not close on the lip."""
    body = (
        leak("panel-edges", 0.025, "mix", 0.5),
        leak("panel-faces", 0.004, "seep"),
        leak("port-flange", 0.012),
        leak("rim-joint", 0.02, "crack", 0.4),
        leak("closure", 0.004),
        leak("line", 0.003),
    )
    bench = Bench(
        "B-02", Shell(0.0452, "coated", 1.3, 0.006, 2.5), PumpModel(1.95e-3, 6_000.0), body, every(DIGITAL, 1.0)
    )
    cold = Said(volume_L=(48.5, 1.6), more={"sheet_C": 31.0, "since_forming_min": 14.0, "mould": "tray 12"})
    warmer = Said(volume_L=(48.5, 1.6), more={"sheet_C": 36.0, "since_forming_min": 11.0, "mould": "tray 12"})
    sheeted = replace(bench.shell, volume_m3=0.0481)
    first, second = (leak("sheet-edge", 0.36, "crack", 0.6), leak("sheet-edge", 0.58, "crack", 0.6))
    tests = (
        bench.test(
            "2026-03-14T10:02:00",
            "film-on-rim",
            stages(50, 240, soak=120, redraw=35),
            "film taken out to the rim: the box, its flange and the rim joint together are fine",
        ),
        bench.test(
            "2026-03-14T10:52:00",
            "formed-sheet",
            stages(50, 120, soak=30, redraw=35),
            "first formed sheet, cooled: far more air than with film",
            said=cold,
            leaks=(*body, first),
            shell=sheeted,
        ),
        bench.test(
            "2026-03-14T11:40:00",
            "formed-sheet",
            stages(50, 120, soak=30, redraw=35),
            "second formed sheet: seals anew, somewhat worse",
            said=warmer,
            leaks=(*body, second),
            shell=sheeted,
        ),
    )
    return ShopBox(
        BOXES["B-02"], "the sheet's edge does not close on the lip; the box itself is fine", tests, EVENTS["B-02"]
    )


def leaking_flange() -> ShopBox:
    """B-03: the flange below, found by putting putty on it."""
    body = (
        leak("port-flange", 0.31, "crack", 0.75),
        leak("panel-edges", 0.035, "mix", 0.4),
        leak("panel-faces", 0.006, "seep"),
        leak("top-panel", 0.012, "seep"),
        leak("closure", 0.005),
        leak("rim-joint", 0.018),
        leak("line", 0.004),
    )
    bench = Bench(
        "B-03", Shell(0.0298, "coated", 0.97, 0.005, 2.9), PumpModel(1.42e-3, 8_200.0), body, every(DIGITAL, 1.0)
    )
    taped = stages(50, 240, soak=60)
    closed = Said(sealed=("port-flange",))
    tests = (
        bench.test("2026-01-21T08:40:00", "vents-taped", taped, "as it came: too much air"),
        bench.test(
            "2026-01-21T09:15:00", "vents-taped", taped, "flange puttied: nearly all of it is gone", said=closed
        ),
        bench.test(
            "2026-01-21T09:50:00",
            "vents-taped",
            taped,
            "flange puttied, a second time",
            said=closed,
            leaks=tuple(replace(one, area_m2=one.area_m2 * 1.2) if one.path == "closure" else one for one in body),
        ),
        bench.test("2026-01-21T10:30:00", "film-on-top", taped, "film over the top, flange open again"),
    )
    return ShopBox(BOXES["B-03"], "the flange leaks: with putty on it the box is fine", tests, EVENTS["B-03"])


def stalled() -> ShopBox:
    """B-05: a split joint; the pump cannot pull it down."""
    body = (
        leak("panel-edges", 4.1, "crack", 0.85),
        leak("panel-faces", 0.05, "seep"),
        leak("port-flange", 0.06),
        leak("top-panel", 0.04, "seep"),
        leak("closure", 0.02),
        leak("line", 0.01),
    )
    bench = Bench("B-05", Shell(0.0612, "bare", 1.6, 0.009, 2.4), PumpModel(1.58e-3, 6_200.0), body, every(INCH, 1.0))
    levels = (Stage("baseline", 15.0), Stage("pump-down", 180.0), Stage("let-up", 15.0))
    tests = (
        bench.test("2026-04-08T13:20:00", "vents-taped", levels, "the pump levels off far too high: a stall test"),
        bench.test(
            "2026-04-08T13:35:00",
            "vents-taped",
            stages(180, 60, baseline=15),
            "the same, then the valve shut: full again within the minute",
        ),
        bench.test(
            "2026-04-08T13:50:00",
            "vents-taped",
            levels,
            "stalled, read off a dial every 10 s",
            gauge=replace(DIAL, interval_s=10.0),
        ),
    )
    return ShopBox(BOXES["B-05"], "so leaky that the pump stalls", tests, EVENTS["B-05"])


def weeping_valve() -> ShopBox:
    """B-06: the valve's seat weeps into the tank behind it and hides part of the leak."""
    body = (
        leak("panel-edges", 0.09, "mix", 0.5),
        leak("panel-faces", 0.006, "seep"),
        leak("port-flange", 0.02),
        leak("top-panel", 0.01, "seep"),
        leak("closure", 0.006),
        leak("line", 0.004),
    )
    tank = TankModel(0.148, 12_000.0, 150 * MM2)
    bench = Bench(
        "B-06", Shell(0.0246, "coated", 0.85, 0.005, 2.8), PumpModel(1.7e-3, 5_000.0), body, every(MILLIBAR, 1.0), tank
    )
    seat, hose = 0.07, Shell(0.00184, "none", 0.12, 0.0, 3.0)
    line = Said(volume_L=(1.8, 0.1), more={"wood": "none"})
    long_down, quick = stages(4, 240, soak=60, tank=True), stages(3, 60, soak=30, baseline=10, let_up=10, tank=True)
    tests = (
        bench.test(
            "2025-11-05T14:10:00",
            "vents-taped",
            long_down,
            "tank behind a weeping seat: the hold looks better than it is",
            valve=behind("tank", seat),
        ),
        bench.test(
            "2025-11-05T14:25:00",
            "line-only",
            quick,
            "hose capped, tank behind the valve: the vacuum grows by itself",
            ("estimate", "upper-limit", "refused"),
            said=line,
            shell=hose,
            valve=behind("tank", seat),
        ),
        bench.test(
            "2025-11-05T14:32:00",
            "line-only",
            quick,
            "hose capped, air let in behind the valve: now it falls",
            said=line,
            shell=hose,
            valve=behind("room", seat),
        ),
        bench.test(
            "2025-11-05T14:45:00",
            "vents-taped",
            long_down,
            "air let in behind the weeping seat: looks worse than it is",
            valve=behind("room", seat),
        ),
        bench.test(
            "2025-11-12T09:30:00",
            "vents-taped",
            long_down,
            "seat cleaned: the box's own leak",
            valve=behind("room", 0.0005),
        ),
    )
    return ShopBox(BOXES["B-06"], "a weeping valve with a tank behind it hides part of the leak", tests, EVENTS["B-06"])


def hole_or_seep() -> ShopBox:
    """B-08: a weak hold before the deep one tells seep from hole; a check plug tells the volume."""
    body = (
        leak("panel-edges", 0.17, "seep"),
        leak("panel-faces", 0.03, "seep"),
        leak("port-flange", 0.003),
        leak("line", 0.002),
    )
    bench = Bench(
        "B-08", Shell(0.0178, "coated", 0.68, 0.004, 2.8), PumpModel(1.38e-3, 8_000.0), body, every(FINE, 1.0)
    )
    weak = (
        Stage("baseline", 15.0),
        Stage("pump-down", 60.0, 72_000.0),
        Stage("hold", 150.0),
        Stage("pump-down", 60.0, 20_000.0),
        Stage("hold", 600.0),
        Stage("let-up", 15.0),
    )
    check = stages(50, 180, soak=30)
    # A sharp 0.5 mm hole: 0.83 * pi / 4 * 0.5^2 = 0.163 mm2.
    plug = Leak("line/plug", 0.163 * MM2, leak("line", 1.0, "sharp").law)
    tests = (
        bench.test(
            "2026-02-24T15:00:00", "undrilled", weak, "a weak hold before the deep one: it is a seep, not a hole"
        ),
        bench.test("2026-02-24T15:40:00", "undrilled", check, "for the volume: without the check plug"),
        bench.test(
            "2026-02-24T15:50:00",
            "undrilled",
            check,
            "for the volume: with the 0.5 mm check plug open",
            said=Said(more={"plug_drill_mm": 0.5}),
            leaks=(*body, plug),
        ),
    )
    return ShopBox(BOXES["B-08"], "raw edges that seep: a weak hold before the deep one tells", tests)


SHOP: tuple[Callable[[], ShopBox], ...] = (
    new_and_tight,
    bad_sheet_edge,
    leaking_flange,
    ageing,
    stalled,
    weeping_valve,
    awkward,
    hole_or_seep,
)


def whole_shop() -> tuple[ShopBox, ...]:
    """All boxes of the invented shop."""
    return tuple(make() for make in SHOP)
