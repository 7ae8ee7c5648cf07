"""What to look at, what to do and what to mind, for each leak path.

Common practice of the trade, no source, except where a number is named.
"""

from __future__ import annotations

from dataclasses import dataclass

from acquisition.setups import parent

CURE = "Silicone: air the room; no test before it has cured, 2 to 3 mm a day, slower in cold or dry air."
COATING = "Coating: air the room, no flame; no test while it is wet with solvent."
SHEET = "Fresh sheet: it comes at 140 to 190 °C; power off and stored air let out before reaching into the machine."
VACUUM_OFF = "Let the air in slowly and see the gauge at room pressure before hands go near."


@dataclass(frozen=True)
class Remedy:
    """Repair of one leak path: what to inspect, what to do, cautions, and how to confirm it worked."""

    inspect: str
    repair: str
    cautions: tuple[str, ...]
    confirm: str


REMEDIES: dict[str, Remedy] = {
    "panel-edges": Remedy(
        "Look along the joints of walls and bottom, the raw outer edge grain and the staples.",
        "Dust off, lay a full bead of 100 % silicone in the joint, and a thin coat on the outer edge grain.",
        (CURE,), "When it has cured, hold again with the same setup.",
    ),
    "panel-faces": Remedy(
        "Look over walls and bottom for core gaps, screws and scratches through the coat.",
        "Fill screws and core gaps, then two thin sealing coats, inside and out.",
        (COATING,), "When it is dry, hold again with the same setup.",
    ),
    "port-flange": Remedy(
        "Look at the bead under the flange, its screws, or the gasket to the machine's table.",
        "Lay a bead under the flange and draw the screws evenly; neutral-cure silicone at metal.",
        (CURE,), "When it has cured, hold again with the same setup.",
    ),
    "line": Remedy(
        "Look at the hose ends for cracks, and at the gauge tapping and the fittings on the box's side of the valve.",
        "Cut back or change a cracked hose end, seal the fittings anew.",
        (VACUUM_OFF,), "Cap the hose at the box's end and hold again for 60 s.",
    ),
    "valve-seat": Remedy(
        "Look for drilling dust on the valve's seat.",
        "Clean the seat, or change the valve; until then let air in behind it before every hold.",
        (VACUUM_OFF,), "Cap the hose at the box's end, hold, and let air in behind the valve.",
    ),
    "top-panel": Remedy(
        "Look at the baffle screws and for core gaps in the top, inside the rim.",
        "Fill screws and core gaps, then two thin sealing coats, inside and out.",
        (COATING,), "When it is dry, hold again with the same setup.",
    ),
    "closure": Remedy(
        "Look for lifted corners and dust under the tape or film.",
        "Put fresh tape or film on a clean, dry top. It closes the box for the test only; the part does not feel it.",
        (), "Hold again at once.",
    ),
    "rim-joint": Remedy(
        "Look along the lip's lower corner, its welds, and for rust under it.",
        "Lay a bead round the lip's lower corner; the lip must stand proud of the top and be welded tight.",
        (CURE,), "When it has cured, hold again with film on the rim.",
    ),
    "sheet-edge": Remedy(
        "Look whether corners and edges of the sheet were soft and the box gripped all round.",
        "Heat the sheet's edges, raise the box in the frame, wipe the rim; a steel lip where plywood does not hold.",
        (SHEET,), "Form two more sheets and hold each; every sheet seals anew.",
    ),
}


def remedy(path: str) -> Remedy:
    """The remedy for a leak path, or for the path it is a part of."""
    return REMEDIES[parent(path)]
