"""The questions a box file answers, once: as options of ``boxhold new-box`` and as questions on a terminal."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import cast

from acquisition.errors import WrongUsage
from acquisition.numbers import to_litres, to_number
from acquisition.records import Baffles, Box, Pump, Rim, Tank, Uncertain, Vents, Wood

SHORTEST_MM, LONGEST_MM = 100.0, 3000.0
"""Nobody forms in a box shorter than the one; sizes below it were meant in another unit."""
SMALLEST_SIDE, LARGEST_SIDE = 0.01, 10_000.0
"""What a side can be in any unit, and in mm."""
MOST_LITRES = 27_000.0
MOST_KPA = 100.0
"""A pump, or forming, at the room's own pressure draws nothing."""


@dataclass(frozen=True)
class Question:
    """One thing about a box: its option's name, what a person is asked, a sample answer, and its reader."""

    name: str
    text: str
    sample: str
    read: Callable[[str], object]

    @property
    def flag(self) -> str:
        """The option on the command line."""
        return f"--{self.name.replace('_', '-')}"


def _between(low: float, high: float) -> Callable[[str], float]:
    def read(text: str) -> float:
        value = to_number(text)
        if not low <= value <= high:
            raise ValueError(f"a number from {low:g} to {high:g}")
        return value

    return read


def _sizes(*ranges: tuple[float, float]) -> Callable[[str], tuple[float, ...]]:
    def read(text: str) -> tuple[float, ...]:
        parts = re.split(r"\s*[x×X*]\s*|\s+", text.strip())
        if len(parts) != len(ranges):
            raise ValueError(f"{len(ranges)} numbers with x between them")
        return tuple(_between(*ends)(part) for ends, part in zip(ranges, parts, strict=True))

    return read


def _inside(text: str) -> tuple[float, ...]:
    """Length, width and height in mm; other units are told by a box no longer than a hand."""
    sides = _sizes(*[(SMALLEST_SIDE, LARGEST_SIDE)] * 3)(text)
    if max(sides) >= SHORTEST_MM:
        return sides
    meant = (
        f"from {unit} {'x'.join(f'{side * mm:.0f}' for side in sides)}"
        for unit, mm in (("cm", 10.0), ("inches", 25.4), ("m", 1000.0))
        if SHORTEST_MM <= max(sides) * mm <= LONGEST_MM
    )
    litres = sides[0] * sides[1] * sides[2] / 1e6
    raise ValueError(f"mm ({'; '.join([f'as it stands the box would hold {litres:.2g} L', *meant])})")


def _counts(text: str) -> tuple[int, int]:
    found = re.fullmatch(r"\s*(\d{1,3})\s*[x×X*]\s*(\d{1,3})\s*", text)
    if found is None:
        raise ValueError("two whole numbers with x between them")
    return int(found[1]), int(found[2])


def _litres(text: str) -> Uncertain:
    volume = to_litres(text, share=0.05)
    _between(0.001, MOST_LITRES)(str(volume.value))
    return volume


def _one_of(*words: str) -> Callable[[str], str]:
    def read(text: str) -> str:
        if text.strip().lower() not in words:
            raise ValueError(f"one of {', '.join(words)}")
        return text.strip().lower()

    return read


QUESTIONS: tuple[Question, ...] = (
    Question("inside_mm", "inside length x width x height, mm", "600x600x90", _inside),
    Question("wood", "inside of the box: bare, coated, or none where there is no wood", "bare",
             _one_of("bare", "coated", "none")),
    Question("board_mm", "thickness of the board, mm", "18", _between(1.0, 100.0)),
    Question("baffles", "baffles along the length x along the width", "2x2", _counts),
    Question("lip_mm", "how far a steel lip stands above the top, mm; 0 for no lip", "4", _between(0.0, 200.0)),
    Question("vents", "vent holes: how many x drill in mm", "50x1.0", _sizes((1.0, 100_000.0), (0.1, 50.0))),
    Question("volume_l", "inside volume if measured, L, and its standard uncertainty", "31.4 +- 0.9", _litres),
    Question("line_volume_l", "volume of hose and fittings up to the valve, L", "0.4", _litres),
    Question("pump_l_s", "free speed of the pump, L/s", "1.4", _between(0.001, 1000.0)),
    Question("pump_ultimate_kpa", "lowest pressure the pump reaches, kPa absolute", "8", _between(0.0, MOST_KPA)),
    Question("tank_l", "volume of the reserve tank, L; leave out when there is none", "100", _between(0.1, 1e5)),
    Question("working_kpa", "pressure in the box while forming, kPa absolute", "20", _between(0.1, MOST_KPA)),
)  # fmt: skip


def read_answer(question: Question, text: str) -> object:
    """The value of one answer.

    Raises
    ------
    WrongUsage
        The answer does not read; the message says what would.
    """
    try:
        return question.read(text)
    except ValueError as error:
        raise WrongUsage(
            f"'{text}' does not answer {question.flag} ({question.text}): write {error}, such as {question.sample}."
        ) from None


def box_from(name: str, answers: Mapping[str, object]) -> Box:
    """The box that the answers describe.

    Parameters
    ----------
    name
        The box's name.
    answers
        Values of ``read_answer`` by the question's name; what is missing stays unsaid.

    Raises
    ------
    WrongUsage
        The lowest pressure of a pump is given without its speed.
    """
    sizes = cast("tuple[float, float, float] | None", answers.get("inside_mm"))
    box = Box(
        name,
        inside_mm=sizes,
        wood=cast("Wood | None", answers.get("wood")),
        board_mm=cast("float | None", answers.get("board_mm")),
        volume_L=cast("Uncertain | None", answers.get("volume_l")),
        line_volume_L=cast("Uncertain | None", answers.get("line_volume_l")),
        working_kPa=cast("float | None", answers.get("working_kpa")),
    )
    return _with_pump(_with_parts(box, answers), answers)


def _with_parts(box: Box, answers: Mapping[str, object]) -> Box:
    if "baffles" in answers:
        count_x, count_y = cast("tuple[int, int]", answers["baffles"])
        box = replace(box, baffles=Baffles(count_x, count_y))
    if "lip_mm" in answers:
        proud = cast("float", answers["lip_mm"])
        box = replace(box, rim=Rim("steel", proud) if proud > 0 else Rim())
    if "vents" in answers:
        count, drill = cast("tuple[float, float]", answers["vents"])
        box = replace(box, vents=Vents(round(count), drill))
    return box


def _with_pump(box: Box, answers: Mapping[str, object]) -> Box:
    if "pump_ultimate_kpa" in answers and "pump_l_s" not in answers:
        raise WrongUsage("--pump-ultimate-kpa says how low the pump goes; give its speed with --pump-l-s too.")
    if "pump_l_s" in answers:
        speed, ultimate = cast("float", answers["pump_l_s"]), cast("float", answers.get("pump_ultimate_kpa", 0.0))
        box = replace(box, pump=Pump(speed, ultimate))
    if "tank_l" in answers:
        box = replace(box, tank=Tank(cast("float", answers["tank_l"])))
    return box
