"""Why no area can be given, and what to do instead: one table, so that page, report and command say the same."""

from __future__ import annotations

from dataclasses import dataclass

from analysis.numberwords import seconds_text


@dataclass(frozen=True)
class Refusal:
    """A result that says no area can be given: why, and the one thing to do next."""

    reason: str
    advice: str


def nothing_held(seconds: float) -> Refusal:
    """A shut after which there is nothing: the last reading of a log, or the one at which the air came in."""
    return Refusal(
        f"No hold follows the shut at {seconds:.0f} s: the log ends there, or the air was let in at once.",
        "Shut the valve, then read for two minutes at least, ten times or more, and only then let air in; if you did,"
        " look where shut is marked.",
    )


def too_short(seconds: float, readings: int) -> Refusal:
    """A hold without enough readings or time."""
    return Refusal(
        f"The hold is too short: {seconds_text(seconds)} with {readings} readings.",
        "Shut the valve and hold for two minutes at least, ten readings or more.",
    )


def filled_too_fast(seconds: float, readings: int) -> Refusal:
    """A box that was full again before there were readings enough."""
    return Refusal(
        f"The box filled within {seconds_text(seconds)}, with {readings} readings on the way: too little to tell by.",
        "Read faster: a gauge on a line, or the time between two marks of the dial; or let the pump run and note where"
        " the pressure stands.",
    )


def shut_unseen() -> Refusal:
    """A box that leapt to room pressure between two readings, from a rise that may have been no hold."""
    return Refusal(
        "The box was full again between two readings; whether the valve was shut before, or only then, does not show.",
        "Hold again and mark the shut, or read every two seconds.",
    )


def tank_open() -> Refusal:
    """A box that comes to a stand below the room's pressure: a leak alone does not."""
    return Refusal(
        "The box came to a stand below room pressure, as with a tank still open to it, and filled up only later.",
        "Hold again: shut the valve to the tank as soon as the box is drawn down, and mark the shut.",
    )


def not_held_down() -> Refusal:
    """A rise so fast that no pump drawing as seen would have got so low against it."""
    return Refusal(
        "No pump that draws as this one did would have got so low against a leak that fills the box so fast.",
        "Hold again: write shut in the note column where the valve is shut, and let the air in at once at the end.",
    )


def no_readings() -> Refusal:
    """A log without usable readings."""
    return Refusal("The log has fewer than four readings.", "Check the gauge and its line, then hold again.")


def gauge_on_tank() -> Refusal:
    """With the valve shut, a gauge on the tank measures no box."""
    return Refusal(
        "The gauge sits on the tank; with the valve shut that gauge measures no box.",
        "Tee the gauge in on the box's side of the valve, then hold again.",
    )


def hot_sheet(detail: str) -> Refusal:
    """A hold on a sheet still warm is void."""
    return Refusal(
        f"The sheet was still hot ({detail}): it goes on shrinking and the gas under it cools.",
        "Keep the valve open until the sheet is under 40 °C or ten minutes have passed, then shut and hold.",
    )


def stuck(level: str, times: int) -> Refusal:
    """A gauge that does not move."""
    return Refusal(
        f"The gauge stayed on {level}, {times} times over.",
        "Open the valve to the room: the gauge must go back to room pressure. Free or replace it, then hold again.",
    )


def only_room() -> Refusal:
    """A log that never left room pressure."""
    return Refusal("The box was never drawn down in this log.", "Pump down, soak, shut the valve and hold.")


def still_falling() -> Refusal:
    """A pump-down that neither levels off nor ends in a hold."""
    return Refusal(
        "The log ends while the pump still draws down, so there is no hold in it.",
        "Pump down, soak three minutes, shut the valve and hold two minutes.",
    )


def never_shut() -> Refusal:
    """A level at the bottom with no sign of the valve."""
    return Refusal(
        "No hold is seen: the pressure stays at the bottom and nothing shows that the valve was shut.",
        "Shut the valve after the soak, write shut in the note column there, hold two minutes, then let air in slowly.",
    )


def falls_after_shut(pa_per_min: float) -> Refusal:
    """Pressure that goes down in a hold: the pump is not isolated."""
    return Refusal(
        f"The pressure falls by {pa_per_min / 1000.0:.2f} kPa a minute with the valve shut: pump or tank still draw.",
        "Stop the pump and let air in behind the valve, then hold again; clean or replace the valve seat.",
    )


def no_volume() -> Refusal:
    """No volume: an area cannot be told, a loss can."""
    return Refusal(
        "The box's volume is not known, so the rise cannot be turned into an area.",
        "Measure the inside (length, width, height) and put it in the box file, or use 'boxhold volume'.",
    )


def jumped(seconds: float, unit: bool) -> Refusal:
    """Readings that jump: a knock, a changed unit."""
    what = "as when the unit on the display is changed" if unit else "as when the gauge is knocked or its plug is loose"
    return Refusal(
        f"The reading jumps at {seconds:.0f} s, {what}, and too little is left before it.",
        "Leave the gauge alone during the hold, then hold again.",
    )


def clock_broken(seconds: float) -> Refusal:
    """A clock that jumped and left no usable stretch."""
    return Refusal(
        f"The log's clock jumps at {seconds:.0f} s and too little is left on either side.",
        "Check the recorder's clock, then hold again.",
    )


def not_a_leak() -> Refusal:
    """A curve no leak makes."""
    return Refusal(
        "The curve is not one that a leak makes: no leak law comes near its readings.",
        "Look at the readings: was the valve moved, the hose off, the unit right? Then hold again.",
    )


def unit_suspected(kpa: float) -> Refusal:
    """Pressures no room has."""
    return Refusal(
        f"The readings would mean {kpa:.0f} kPa absolute: unit, or what the gauge counts from, is not as the log says.",
        "Open the gauge to the room: an absolute one reads about 101 kPa, a vacuum gauge 0. Correct the 'gauge' line.",
    )


def let_go_at_once() -> Refusal:
    """A seal that let go too early to leave a hold."""
    return Refusal(
        "A seal let go so soon after the shut that no hold is left before it.",
        "Press the film, tape or sheet down all round, then hold again.",
    )
