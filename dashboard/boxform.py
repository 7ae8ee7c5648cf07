"""The form of a box: its fields, what stands in them in the page's units, and the box they describe."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from acquisition.errors import WrongUsage
from acquisition.records import Box, Port, Pump, Tank, Uncertain, Vents
from analysis.measures import COUNT, LENGTH, PRESSURE, SPEED, VOLUME, Measure
from analysis.wording import System

Values = dict[str, float | None]


@dataclass(frozen=True)
class Field:
    """One field; ``inch_words`` where a page in inches asks for the vacuum instead of the pressure."""

    key: str
    words: str
    measure: Measure
    inch_words: str = ""

    def words_in(self, system: System) -> str:
        """The label on a page."""
        return self.inch_words if system == "inch" and self.inch_words else self.words


FIELDS = (
    Field("length", "Inside length", LENGTH),
    Field("width", "Inside width", LENGTH),
    Field("height", "Inside height", LENGTH),
    Field("board", "Board", LENGTH),
    Field("across", "Baffles across the length", COUNT),
    Field("along", "Baffles along the length", COUNT),
    Field("proud", "Lip stands proud, 0 for a bare edge", LENGTH),
    Field("vents", "Vents, how many", COUNT),
    Field("drill", "Vents, drill", LENGTH),
    Field("pitch", "Vents, pitch", LENGTH),
    Field("bore", "Port bore", LENGTH),
    Field("line", "Hose to the valve", VOLUME),
    Field("measured", "Measured volume, empty for none", VOLUME),
    Field("working", "Working pressure, absolute", PRESSURE, "Working vacuum"),
    Field("pump", "Pump", SPEED),
    Field("ultimate", "Pump gets down to, absolute", PRESSURE, "Pump gets down to, vacuum"),
    Field("tank", "Tank, empty for none", VOLUME),
)
NEW_BOX: Mapping[System, Box] = {
    "metric": Box("", (600.0, 400.0, 110.0), "coated", 18.0),
    "inch": Box(
        "", (609.6, 406.4, 114.3), "coated", 19.05, vents=Vents(drill_mm=1.016, pitch_mm=25.4), port=Port(bore_mm=38.1)
    ),
}
"""A middling box to begin with, in round numbers of the page's units."""


def values_of(box: Box) -> Values:
    """The numbers of the form, in the file's units."""
    length, width, height = box.inside_mm or (None, None, None)
    return {
        "length": length,
        "width": width,
        "height": height,
        "board": box.board_mm,
        "across": box.baffles.count_x,
        "along": box.baffles.count_y,
        "proud": box.rim.proud_mm if box.rim.lip == "steel" else 0.0,
        "vents": box.vents.count,
        "drill": box.vents.drill_mm,
        "pitch": box.vents.pitch_mm,
        "bore": box.port.bore_mm,
        "line": box.line_volume_L.value if box.line_volume_L else None,
        "measured": box.volume_L.value if box.volume_L else None,
        "working": box.working_kPa,
        "pump": box.pump.speed_L_s if box.pump else None,
        "ultimate": box.pump.ultimate_kPa if box.pump else None,
        "tank": box.tank.volume_L if box.tank else None,
    }


def read_fields(box: Box, texts: Sequence[object], system: System) -> tuple[Values, tuple[str, ...]]:
    """The form's numbers in the file's units, and a sentence for each field that cannot be read.

    Parameters
    ----------
    box
        The box as the form showed it at first; a field that was left as it was keeps the box's own number.
    texts
        What stands in the fields, in their order.
    system
        Units of the page the form stands on.
    """
    before = values_of(box)
    values: Values = {}
    troubles = []
    for field, text in zip(FIELDS, texts, strict=True):
        try:
            values[field.key] = field.measure.read(text, system, before[field.key])
        except WrongUsage as trouble:
            values[field.key] = None
            troubles.append(f"{field.words_in(system)}: {trouble}")
    return values, tuple(troubles)


def box_with(box: Box, v: Values) -> Box:
    """The box with the form's numbers; what the form does not show stays."""
    sizes = (v["length"], v["width"], v["height"])
    inside = (sizes[0], sizes[1], sizes[2]) if sizes[0] and sizes[1] and sizes[2] else None
    proud = v["proud"] or 0.0
    pump = box.pump
    if v["pump"] is not None:
        pump = replace(pump or Pump(), speed_L_s=v["pump"], ultimate_kPa=v["ultimate"] or 0.0)
    tank = None if v["tank"] is None else replace(box.tank or Tank(v["tank"]), volume_L=v["tank"])
    return replace(
        box,
        inside_mm=inside,
        board_mm=v["board"],
        baffles=replace(box.baffles, count_x=_whole(v["across"]), count_y=_whole(v["along"])),
        rim=replace(box.rim, lip="steel" if proud > 0 else "none", proud_mm=proud),
        vents=replace(box.vents, count=_whole(v["vents"]), drill_mm=v["drill"] or 1.0, pitch_mm=v["pitch"] or 25.0),
        port=replace(box.port, bore_mm=v["bore"] or 25.0),
        line_volume_L=_volume(v["line"], box.line_volume_L),
        volume_L=_volume(v["measured"], box.volume_L),
        working_kPa=v["working"],
        pump=pump,
        tank=tank,
    )


def _whole(value: float | None) -> int:
    return max(0, min(400, int(value or 0)))


def _volume(value: float | None, old: Uncertain | None) -> Uncertain | None:
    """A volume as written; one that did not change keeps its uncertainty, a new one counts as 5 %."""
    if value is None:
        return None
    return old if old is not None and old.value == value else Uncertain(value, 0.05 * value)
