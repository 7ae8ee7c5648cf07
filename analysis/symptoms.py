"""Poor parts: what is seen, what likely causes it, what tells the causes apart, what mends it.

Common practice of thermoforming shops, no source. A leak is only one cause among many, and rarely the first.
"""

from __future__ import annotations

from dataclasses import dataclass

DECISION_ORDER = (
    "Is the gauge on the box?",
    "Did the tank start full?",
    "Did the level reach its share, tank and box by volume, when the sheet landed?",
    "Does it sag with the valve open?",
    "Only then look for leaks.",
)
"""Questions in the order that costs least."""


@dataclass(frozen=True)
class Symptom:
    """One kind of poor part; ``causes`` the likeliest first."""

    seen: str
    causes: tuple[str, ...]
    tells_apart: str
    remedy: str


SYMPTOMS = (
    Symptom(
        "soft detail all over",
        ("tank small or not recovered", "sheet too cool", "pump weak", "a leak over 3 mm²"),
        "low right after landing, then a low plateau: tank; level good: heat; level sags while the valve is open: leak",
        "wait, add a second tank, heat longer, find the leak",
    ),
    Symptom(
        "soft in one corner or side",
        ("no vent there, or a blocked one", "cold corner of the oven", "a leak at the rim"),
        "follows the box when it is turned: vent or rim; stays with the machine: oven",
        "clear or add vents, shield the draught",
    ),
    Symptom(
        "soft in a deep pocket only", ("trapped air, few vents",), "landing slow, level fine",
        "drill the lowest points"),
    Symptom(
        "late or slow pull",
        ("few vents", "choked hose or port", "valve half open", "filter dirty", "a leak"),
        "tank and box stay far apart: line; box deep, sheet slow: vents; tank falls too: leak",
        "open up, clean",
    ),
    Symptom(
        "no grip at the corners, hiss",
        ("box too low in the frame", "cold edge", "lip low or bent", "a leak"),
        "stalls low, may jump when it grips",
        "raise the box, heat the edges, lip 3 to 6 mm proud, clean the rim",
    ),
    Symptom(
        "grips, then lets go while cooling",
        ("sheet shrinks", "lip joint", "a leak"),
        "good level, then a loss that speeds up after 5 to 30 s",
        "keep the pump on, round the lip, seal its joint",
    ),
    Symptom(
        "webbing between tall features", ("layout", "too hot", "too fast"), "level normal",
        "space them wider, form cooler, open the valve slower"),
    Symptom("thin bottom, chill marks", ("too slow, or touched early",), "slow landing", "faster vacuum"),
    Symptom("nipples at vents", ("vents too big, sheet hot or thin",), "normal", "smaller drill"),
    Symptom("pimples, blisters", ("dust", "smooth mould", "wet sheet"), "normal", "roughen the mould, dry the sheet"),
    Symptom(
        "good early, bad after ten parts",
        ("tank not recovered", "pump hot", "a leak at the lip"),
        "start vacuum falls through the run",
        "longer cycle, larger tank",
    ),
    Symptom(
        "good vacuum, still soft", ("heat", "material", "gauge on the tank"), "where the gauge sits", "move the gauge"),
)
