"""``boxhold plan`` and ``boxhold volume``: before a hold test, how long; and how large the box is inside."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from acquisition.boxfile import read_box
from acquisition.errors import WrongUsage
from acquisition.numbers import to_litres, to_number
from acquisition.records import Box, Uncertain
from acquisition.units import parse_gauge_unit
from dashboard.cautions import top_forbidden
from dashboard.commands_common import EXISTING, POSITIVE, Pair, assess_all, box_options, gather, json_option, one_box
from dashboard.faults import DONE

if TYPE_CHECKING:
    from analysis.volume import VolumeResult

SHARP_EDGE = 0.83
MOST_BOX_KPA = 130.0
"""No box has more: the highest air pressure on record is under 110 kPa, and nobody blows up a box, nor opens it to a
tank of compressed air."""
MOST_WANTED = 100.0
"""Half a 95 % interval over the area, percent, above which an answer tells nothing."""
NOMINAL_VOLUME = Uncertain(30.0, 1.5)
"""L; assumed where a box has none, so that its slopes can be compared. It drops out of the answer."""


@click.command(short_help="How long to soak and hold, and what that can show.")
@click.option("--box", "box_file", metavar="BOX.toml", required=True, type=EXISTING, help="The box's file.")
@click.option("--unit", metavar="UNIT", required=True, help='The gauge, such as "absolute kPa" or "vacuum inHg".')
@click.option("--resolution", metavar="R", required=True, type=POSITIVE,
              help="Smallest step the gauge shows, in its unit.")
@click.option("--leak", "leak_mm2", metavar="MM2", type=POSITIVE,
              help="Leak to be measured; without it the box's limit.")
@click.option("--want", "want_percent", metavar="PERCENT", type=POSITIVE,
              help="How narrow the answer is to be: half the 95 % interval over the area.")
@click.option("--tell-law", is_flag=True, help="Hold until a hole can be told from a seep instead.")
@json_option
def plan(
    box_file: Path, unit: str, resolution: float, leak_mm2: float | None, want_percent: float | None, tell_law: bool,
    as_json: bool,
) -> int:  # fmt: skip
    """How long to soak and hold, from which pressure, and what that can show with this box and this gauge."""
    if want_percent is not None and tell_law:
        raise WrongUsage("Take either --want or --tell-law, not both.")
    if want_percent is not None and want_percent > MOST_WANTED:
        raise WrongUsage(f"--want {want_percent:g} would tell nothing; want {MOST_WANTED:g} percent or less.")
    from analysis.plan import plan_hold

    leak_m2 = None if leak_mm2 is None else leak_mm2 / 1e6
    box, gauge = read_box(box_file), parse_gauge_unit(unit)
    result = plan_hold(box, gauge, resolution, leak_m2, want_percent, tell_law)
    if as_json:
        from dashboard.contracts import as_line, plan_record

        click.echo(as_line(plan_record(result)))
    else:
        from dashboard.text_report import plan_text

        if caution := top_forbidden(box):
            click.echo(f"Caution: {caution}")
        click.echo(plan_text(result, gauge))
    return DONE


def pressure_kpa(text: str) -> float:
    """A pressure as typed, kPa; a decimal comma and ``kPa`` behind it will do."""
    number = to_number(text.strip().removesuffix("kPa"))
    if math.isnan(number):
        raise WrongUsage(f"'{text}' is no pressure in kPa; write it such as 101.3.")
    return number


@click.command(short_help="Measure the inside volume of a box.")
@click.argument("logs", metavar="[LOG_PLAIN LOG_WITH_HOLE]", nargs=-1, type=EXISTING)
@click.option("--hole", metavar="MM2", type=POSITIVE,
              help="Effective area of the hole that was open in the second log.")
@click.option("--drill", metavar="MM", type=POSITIVE,
              help="Or the drill it was made with.")
@click.option("--cd", metavar="CD", default=SHARP_EDGE, show_default=True, type=POSITIVE,
              help="Flow coefficient of the drilled hole; a sharp edge in thin sheet has the default.")
@click.option("--shared", metavar="L",
              help='Volume of a tank that shared its air with the box, such as "50 +- 0.5"; L unless m3 stands behind.')
@click.option("--before", metavar="BOX_KPA TANK_KPA", nargs=2, type=pressure_kpa,
              help="Absolute pressures in box and tank before the valve between them was opened.")
@click.option("--after", metavar="KPA", type=pressure_kpa, help="Absolute pressure in both a minute later.")
@box_options
@json_option
def volume(
    logs: tuple[Path, ...], hole: float | None, drill: float | None, cd: float, shared: str | None,
    before: tuple[float, float] | None, after: float | None, archive: Path | None, box_file: Path | None, as_json: bool,
) -> int:  # fmt: skip
    """The inside volume of a box, line included: by sharing air with a tank, or by two holds, one with a known hole.

    Either --shared, --before and --after; or two logs of one box and --hole or --drill.
    """
    if shared is not None and before is not None and after is not None and not logs and hole is drill is None:
        _print_volume(_by_sharing(shared, before, after), as_json)
        return DONE
    if len(logs) != 2 or (hole is None) == (drill is None) or shared is not None:
        raise WrongUsage("Give --shared, --before, --after; or a plain log, one with the hole, and --hole or --drill.")
    if not 0.1 <= cd <= 1.0:
        raise WrongUsage(f"--cd {cd:g} is no flow coefficient; they lie between 0.1 and 1.")
    gathered = gather(logs, archive, box_file)
    one_box(gathered.pairs)
    if len(gathered.pairs) < len(logs):
        return gathered.code
    result, fault = _by_hole(gathered.pairs, hole, drill, cd)
    if result is not None:
        _print_volume(result, as_json)
    return fault


def _by_sharing(shared: str, before: tuple[float, float], after: float) -> VolumeResult:
    from analysis.volume import VolumeResult, shared_volume

    try:
        tank_l = to_litres(shared, share=0.05)
    except ValueError as error:
        raise WrongUsage(f"'{shared}' is no volume: {error}.") from None
    if doubt := _sharing_doubt(*before, after):
        return VolumeResult("refused", None, doubt)
    box_pa, tank_pa = (1000.0 * kpa for kpa in before)
    return shared_volume(Uncertain(tank_l.value / 1000.0, tank_l.u / 1000.0), box_pa, tank_pa, 1000.0 * after)


def _sharing_doubt(box_kpa: float, tank_kpa: float, after_kpa: float) -> str:
    """What these pressures cannot be, and which of them look swapped; empty where nothing is seen."""
    for name, kpa in (("A box", box_kpa), ("A tank", tank_kpa), ("A box with its tank", after_kpa)):
        if kpa > MOST_BOX_KPA:
            return f"{name} at {kpa:g} kPa cannot be; give all three as absolute kPa, which is 101.3 in the open."
    before = {"box": box_kpa, "tank": tank_kpa}
    if box_kpa == tank_kpa:
        return "Box and tank had the same pressure before, so they shared nothing; empty one of them first."
    if min(before.values()) <= after_kpa <= max(before.values()):
        return ""
    above = after_kpa > max(before.values())
    swapped = (max if above else min)(before, key=before.__getitem__)
    return (
        f"{after_kpa:g} kPa after sharing lies {'above' if above else 'below'} both box ({box_kpa:g}) and tank"
        f" ({tank_kpa:g}) before, which cannot be; --after and the {swapped}'s pressure in --before look swapped."
    )


def _by_hole(
    pairs: Sequence[Pair], hole_mm2: float | None, drill_mm: float | None, cd: float
) -> tuple[VolumeResult | None, int]:
    from analysis.gas import drilled_area_m2
    from analysis.volume import volume_by_hole

    area_m2 = drilled_area_m2((drill_mm or 0.0) / 1000.0, cd) if hole_mm2 is None else hole_mm2 / 1e6
    (plain, with_hole), fault = assess_all([(log, _with_some_volume(box)) for log, box in pairs])
    if plain is None or with_hole is None:
        return None, fault
    return volume_by_hole(plain, with_hole, area_m2), fault


def _with_some_volume(box: Box | None) -> Box:
    if box is None:
        return Box("box", volume_L=NOMINAL_VOLUME)
    return box if box.volume_L or box.inside_mm else replace(box, volume_L=NOMINAL_VOLUME)


def _print_volume(result: VolumeResult, as_json: bool) -> None:
    if as_json:
        from dashboard.contracts import as_line, volume_record

        click.echo(as_line(volume_record(result)))
    else:
        from dashboard.text_report import volume_text

        click.echo(volume_text(result))
