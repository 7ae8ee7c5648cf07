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
from acquisition.numbers import to_uncertain
from acquisition.records import Box, Uncertain
from acquisition.units import parse_gauge_unit
from dashboard.cautions import top_forbidden
from dashboard.commands_common import EXISTING, POSITIVE, Pair, assess_all, box_options, gather, json_option, one_box
from dashboard.faults import DONE

if TYPE_CHECKING:
    from analysis.volume import VolumeResult

SHARP_EDGE = 0.83
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


@click.command(short_help="Measure the inside volume of a box.")
@click.argument("logs", metavar="[LOG_PLAIN LOG_WITH_HOLE]", nargs=-1, type=EXISTING)
@click.option("--hole", metavar="MM2", type=POSITIVE,
              help="Effective area of the hole that was open in the second log.")
@click.option("--drill", metavar="MM", type=POSITIVE,
              help="Or the drill it was made with.")
@click.option("--cd", metavar="CD", default=SHARP_EDGE, show_default=True, type=click.FloatRange(0.1, 1.0),
              help="Flow coefficient of the drilled hole; a sharp edge in thin sheet has the default.")
@click.option("--shared", metavar="L", help='Volume of a tank that shared its air with the box, such as "50 +- 0.5".')
@click.option("--before", metavar="BOX_KPA TANK_KPA", nargs=2, type=float,
              help="Absolute pressures in box and tank before the valve between them was opened.")
@click.option("--after", metavar="KPA", type=float, help="Absolute pressure in both a minute later.")
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
    gathered = gather(logs, archive, box_file)
    one_box(gathered.pairs)
    if len(gathered.pairs) < len(logs):
        return gathered.code
    result, fault = _by_hole(gathered.pairs, hole, drill, cd)
    if result is not None:
        _print_volume(result, as_json)
    return fault


def _by_sharing(shared: str, before: tuple[float, float], after: float) -> VolumeResult:
    from analysis.volume import shared_volume

    if not all(map(math.isfinite, (*before, after))):
        raise WrongUsage("--before and --after are pressures in kPa, such as 101.3 and 10.")
    try:
        tank_l = to_uncertain(shared, share=0.05)
    except ValueError as error:
        raise WrongUsage(f"'{shared}' is no volume: {error}.") from None
    box_pa, tank_pa = (1000.0 * kpa for kpa in before)
    return shared_volume(Uncertain(tank_l.value / 1000.0, tank_l.u / 1000.0), box_pa, tank_pa, 1000.0 * after)


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
