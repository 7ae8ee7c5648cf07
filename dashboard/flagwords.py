"""What each flag of a result means, in words for the person at the bench."""

from __future__ import annotations

from analysis.results import Assessment

FLAG_WORDS: dict[str, str] = {
    "seal-let-go": "a seal let go during the hold; the figures are of the part before it",
    "release": "part of the rise is air or moisture from the wood, not a leak",
    "big-leak": "a big leak: the box fills within seconds",
    "law-spread": "the readings do not settle whether air gets in by a hole or a seep; the interval is wider for it",
    "gap": "readings are missing for a while",
    "spikes": "single readings far off the others were set aside",
    "jump": "the reading jumps during the hold, as when the gauge is knocked; the figures are of the part before it",
    "unit-changed": "the unit on the display was changed during the hold; the figures are of the part before it",
    "clock-back": "the clock of the log jumped; the readings behind that were set aside",
    "weeping-valve": "the valve seat lets air through; let air in behind the valve before every hold",
    "shut-not-seen": "the display does not show the shut: the limit stands only if the valve was shut for the last "
    "quarter of the time the box stayed low",
    "warm-sheet": "the sheet may still have been warm, or its temperature was not noted",
    "volume-guessed": "the volume is reckoned from the box's inside sizes; 'boxhold volume' measures it",
    "barometer-guessed": "the room's pressure was not noted and is a guess",
    "pump-falls-short": "the pump's stated lowest pressure lies above the working pressure (working_kPa, else a fifth "
    "of the room's), so there is no limit",
    "place-unknown": "where the gauge sits, or what is behind the valve, is not noted; at a tank it measures no box",
}

VARIANT_WORDS = {"sharp": "with a sharp edge", "slip": "very fine, as wood grain is"}
"""What tells the variants of a leak law apart."""


def noted(result: Assessment) -> list[str]:
    """What is to be said beside a result: its flags, and that a pump or tank behind the valve may hide a leak."""
    said = [flag_words(flag) for flag in result.flags]
    if result.test == "hold" and result.behind_valve in ("pump", "tank") and "weeping-valve" not in result.flags:
        said.append(f"with a {result.behind_valve} behind the valve, a seat that weeps hides part of a leak")
    return said


def flag_words(flag: str) -> str:
    """A flag in words; one without words of its own by its name."""
    return FLAG_WORDS.get(flag, flag.replace("-", " "))
