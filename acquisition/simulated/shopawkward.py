"""Box B-07 of the invented shop: one thing after the other that goes wrong with a test."""

from __future__ import annotations

from dataclasses import replace

from acquisition.simulated.scenario import LetGo, PumpModel, Shell, Step, TankModel, WoodHeat
from acquisition.simulated.shop import (
    DIAL,
    DIGITAL,
    INCH,
    MM2,
    Bench,
    Said,
    ShopBox,
    ShopTest,
    at,
    behind,
    every,
    leak,
    stages,
)
from acquisition.simulated.shopfacts import BOXES


def awkward() -> ShopBox:
    """B-07: an ordinary box, and one thing after the other that goes wrong with its tests."""
    body = (
        leak("panel-edges", 0.08, "mix", 0.5),
        leak("panel-faces", 0.005, "seep"),
        leak("port-flange", 0.02),
        leak("top-panel", 0.008, "seep"),
        leak("closure", 0.005),
        leak("rim-joint", 0.015),
        leak("line", 0.003),
        leak("sheet-edge", 0.09, "crack", 0.6),
    )
    shell = Shell(0.0324, "coated", 1.02, 0.005, 2.7)
    bench = Bench(
        "B-07", shell, PumpModel(1.38e-3, 8_000.0), body, every(DIGITAL, 1.0), TankModel(0.1, 12_000.0, 140 * MM2)
    )
    return ShopBox(
        BOXES["B-07"],
        "an ordinary box whose tests go wrong one after the other",
        (*_refusals(bench), *_oddities(bench)),
    )


def _refusals(bench: Bench) -> tuple[ShopTest, ...]:
    hot = Said(volume_L=(35.0, 1.2), more={"sheet_C": 96.0, "since_forming_min": 1.5})
    plain = stages(50, 240, soak=60)
    return (
        bench.test(
            "2026-05-04T09:00:00",
            "vents-taped",
            stages(50, 6, soak=20, let_up=20),
            "valve opened again after 6 s: too short",
            ("refused",),
        ),
        bench.test(
            "2026-05-04T09:10:00",
            "vents-taped",
            plain,
            "the gauge sticks before the valve is shut",
            ("refused",),
            gauge=replace(bench.gauge, stuck_after_s=40.0),
        ),
        bench.test(
            "2026-05-04T09:25:00",
            "vents-taped",
            plain,
            "the gauge sits on the tank and sees no box",
            ("refused",),
            gauge=at(bench.gauge, "tank"),
            valve=behind("tank"),
        ),
        bench.test(
            "2026-05-04T09:40:00",
            "formed-sheet",
            stages(5, 120, tank=True),
            "held a minute and a half after forming: the sheet is hot",
            ("refused",),
            said=hot,
            shell=replace(bench.shell, volume_m3=0.0352),
            wood_heat=WoodHeat(52.0, 24.0, 240.0),
        ),
    )


def _oddities(bench: Bench) -> tuple[ShopTest, ...]:
    plain = stages(50, 240, soak=60)
    film = tuple(
        replace(one, let_go=LetGo(0.9 * MM2, at_s=235.0, within_s=6.0)) if one.path == "closure" else one
        for one in bench.leaks
    )
    return (
        bench.test(
            "2026-05-05T09:00:00",
            "vents-taped",
            stages(3, 200, tank=True),
            "tank dump: shut at once, the gas warms for half a minute",
            valve=behind("tank"),
        ),
        bench.test("2026-05-05T09:15:00", "film-on-top", plain, "the film lets go in mid-hold", leaks=film),
        bench.test(
            "2026-05-05T09:30:00", "vents-taped", stages(50, 600, soak=60), "read off a dial every 20 s", gauge=DIAL
        ),
        bench.test(
            "2026-05-05T09:50:00",
            "vents-taped",
            plain,
            "someone presses the gauge's unit key in mid-hold",
            ("estimate", "refused"),
            gauge=replace(bench.gauge, unit_after=(260.0, "mbar")),
        ),
        bench.test(
            "2026-05-05T10:05:00",
            "vents-taped",
            plain,
            "a bad plug: spikes, lost and unreadable lines",
            gauge=replace(bench.gauge, spike_share=0.02, spike_size=12.0, drop_share=0.08, garbled_share=0.03),
        ),
        bench.test(
            "2026-05-05T10:20:00",
            "vents-taped",
            plain,
            "the recorder's clock jumps back in the hold",
            ("estimate", "refused"),
            gauge=replace(bench.gauge, clock_back=(250.0, 40.0)),
        ),
        bench.test(
            "2026-05-05T10:35:00",
            "vents-taped",
            plain,
            "knocked in mid-hold: the reading jumps, the leak does not",
            ("estimate", "refused"),
            gauge=replace(bench.gauge, steps=(Step(240.0, 0.9),)),
        ),
        bench.test(
            "2026-05-05T10:50:00",
            "vents-taped",
            plain,
            "vacuum gauge and nobody looked at the barometer",
            said=Said(barometer=False),
            gauge=every(INCH, 1.0),
        ),
    )
