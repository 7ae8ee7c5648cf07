"""``boxhold pump``: the pump's net speed from one log's pump-down, written to the box file after a yes."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from acquisition.boxfile import BOX_FILE, read_box, write_box
from acquisition.errors import UnreadableInput
from acquisition.records import Pump
from dashboard.commands_common import EXISTING, assess_all, box_options, gather
from dashboard.faults import DONE

if TYPE_CHECKING:
    from acquisition.records import Box, Log
    from analysis.pumpcurve import PumpCurve


@click.command(short_help="Read the pump's speed off a log's pump-down.")
@click.argument("log", metavar="LOG", type=EXISTING)
@box_options
@click.option("--yes", is_flag=True, help="Write the pump to the box file without asking.")
def pump(log: Path, archive: Path | None, box_file: Path | None, yes: bool) -> int:
    """How fast the box's pump draws at each pressure, from the pump-down of LOG.

    The volume must be known, and the leak that LOG gives is taken off. The limit of a box and its stall tests
    need the pump; it is written to the box's file after a yes.
    """
    gathered = gather([log], archive, box_file)
    if not gathered.pairs:
        return gathered.code
    (result,), fault = assess_all(gathered.pairs)
    if result is None:
        return fault
    from analysis.pumpfound import pump_of_test

    found = pump_of_test(result)
    if found.curve is None:
        click.echo(f"{log}: no pump curve: {found.reason}")
        return DONE
    read, box = gathered.pairs[0]
    measured = as_pump(found.curve)
    click.echo(_text(measured))
    _write(_box_path(read, box, archive, box_file), measured, yes)
    return DONE


def as_pump(curve: PumpCurve) -> Pump:
    """The pump of a box file: kPa and L/s, to three figures."""
    points = tuple((_figures(p / 1e3), _figures(s * 1e3)) for p, s in curve.points)
    return Pump(_figures(curve.speed_m3_s * 1e3), _figures(curve.ultimate_pa / 1e3), points)


def _figures(value: float) -> float:
    return float(f"{value:.3g}")


def _text(pump: Pump) -> str:
    lines = [f"The pump: {pump.speed_L_s:g} L/s, down to {pump.ultimate_kPa:g} kPa. Net of that:"]
    return "\n".join([*lines, *(f"  at {kpa:g} kPa  {speed:g} L/s" for kpa, speed in pump.points)])


def _box_path(log: Log, box: Box | None, archive: Path | None, box_file: Path | None) -> Path:
    """File of the log's box: where the box was looked up."""
    if box_file is not None:
        return box_file
    if box is None or log.path is None:
        raise UnreadableInput("no box file describes this log's box; give it with --box.", log.path)
    if archive is not None:
        return archive / box.name / BOX_FILE
    folder = log.path.absolute().parent
    places = [place / BOX_FILE for place in (folder, folder.parent)]
    return next(place for place in places if place.is_file() and read_box(place).name == box.name)


def _write(path: Path, measured: Pump, yes: bool) -> None:
    asked = not yes and sys.stdin.isatty() and sys.stdout.isatty()
    if yes or (asked and click.confirm(f"Write this to {path}?", default=False)):
        write_box(replace(read_box(path), pump=measured), path)
        click.echo(f"Written: {path}")
    else:
        click.echo("Nothing was written; write it to the box file with --yes.")
