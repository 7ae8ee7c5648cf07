"""The command ``import``: other loggers' files become logs, after a person has confirmed what is what."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from acquisition.errors import WrongUsage
from acquisition.oddkeys import odd_header_keys
from acquisition.setups import check_setup
from dashboard.commands_common import POSITIVE
from dashboard.faults import complain

if TYPE_CHECKING:
    from acquisition.importing import ImportMapping
    from acquisition.records import Log

FILE = click.Path(path_type=Path)
PREVIEW_ROWS = 5
PREVIEW_LINES = 10


@click.command(name="import", short_help="Convert other loggers' files into logs.")
@click.argument("files", metavar="FILE...", nargs=-1, required=True, type=FILE)
@click.option("--unit", metavar="UNIT", help='What the pressures are, such as "absolute kPa".')
@click.option("--pressure", metavar="COLUMN", help="Column of the pressure: its name, or its number from 1.")
@click.option("--time", metavar="COLUMN", help="Column of the time: its name, or its number from 1.")
@click.option("--time-kind", metavar="KIND", help="What the time counts: seconds, minutes, clock, counter, ...")
@click.option("--interval", metavar="SECONDS", type=POSITIVE,
              help="Seconds between two rows, where the file only counts them.")  # fmt: skip
@click.option("--set", "keys", metavar="KEY=VALUE", multiple=True, help="A header key of the log, such as box=B-07.")
@click.option("--out", metavar="LOG.csv", type=FILE, help="Name of the log, for one file; else beside the original.")
@click.option("--yes", is_flag=True, help="Confirm what was guessed, without being asked.")
def import_logs(
    files: tuple[Path, ...], unit: str | None, pressure: str | None, time: str | None, time_kind: str | None,
    interval: float | None, keys: tuple[str, ...], out: Path | None, yes: bool,
) -> None:  # fmt: skip
    """Convert other loggers' files into logs.

    Columns, clock and decimal marks are guessed with a reason and shown; the pressure's unit is never guessed
    silently. The original stays as it is, the log is written beside it.
    """
    if out is not None and len(files) > 1:
        raise WrongUsage("--out names one log; with several files leave it out.")
    header = dict(_pairs(keys))
    for path in files:
        target = out or path.with_name(path.stem + ".boxhold.csv")
        if target.exists():
            raise WrongUsage(f"{target} exists already; it is left as it is, choose another name with --out.")
        _import_one(path, target, header, unit, _Wishes(pressure, time, time_kind, interval), yes=yes)


class _Wishes:
    """What the call says of a file's columns."""

    def __init__(self, pressure: str | None, time: str | None, time_kind: str | None, interval: float | None) -> None:
        self._pressure, self._time, self._kind, self._interval = pressure, time, time_kind, interval

    def applied(self, mapping: ImportMapping) -> ImportMapping:
        """The mapping with what the call says in place of what was guessed."""
        if self._pressure is not None:
            mapping = mapping.with_pressure(_column(self._pressure, mapping))
        changes: dict[str, Any] = {}
        if self._time is not None:
            changes["time_column"] = _column(self._time, mapping)
        if self._kind is not None:
            changes["time_kind"] = self._kind
        if self._interval is not None:
            changes["interval_s"] = self._interval
        return replace(mapping, **changes)


def _pairs(keys: tuple[str, ...]) -> Iterator[tuple[str, str]]:
    for pair in keys:
        key, equals, value = pair.partition("=")
        if not equals or not key.strip():
            raise WrongUsage(f"--set takes KEY=VALUE, such as box=B-07; '{pair}' is not.")
        yield key.strip(), check_setup(value.strip()) if key.strip() == "setup" else value.strip()


def _column(wanted: str, mapping: ImportMapping) -> int:
    """A column by its name or its number from 1."""
    if wanted in mapping.names:
        return mapping.names.index(wanted)
    if wanted.isdigit() and 1 <= int(wanted) <= len(mapping.names):
        return int(wanted) - 1
    raise WrongUsage(f"There is no column '{wanted}'; there are {', '.join(mapping.names)}.")


def _import_one(
    path: Path, target: Path, header: dict[str, str], unit: str | None, wishes: _Wishes, *, yes: bool
) -> None:
    from acquisition.files import read_whole
    from acquisition.importing import convert, guess_mapping
    from acquisition.logfile import write_log
    from acquisition.logheader import FIRST_LINE

    data = read_whole(path)
    if data.removeprefix(b"\xef\xbb\xbf").startswith(FIRST_LINE.encode()):
        raise WrongUsage(f"{path} is a log already, there is nothing to convert; 'boxhold assess {path}' reads it.")
    mapping = _with_unit(wishes.applied(guess_mapping(data, path)), unit)
    asked = not yes and sys.stdin.isatty() and sys.stdout.isatty()
    _show(path, data, mapping)
    if asked:
        mapping = _ask_unit(mapping)
    if mapping.unit is not None and mapping.reference is not None:
        log = convert(data, replace(mapping, confirmed=True), header, path)
        _preview(log)
        mapping = replace(mapping, confirmed=yes or (asked and click.confirm(f"Write {target}?", default=False)))
        if mapping.confirmed:
            write_log(log, target)
            for slip in odd_header_keys(log.header, target):
                complain(slip)
            click.echo(f"{target} written; {path} stays as it is.")
            return
    raise WrongUsage(_still_needed(path, mapping))


def _still_needed(path: Path, mapping: ImportMapping) -> str:
    if mapping.unit is None or mapping.reference is None:
        return f'{path}: say what the pressures are with --unit, such as --unit "absolute kPa"; nothing was written.'
    return f"{path}: nothing was written; look at what was guessed and confirm it with --yes."


def _with_unit(mapping: ImportMapping, unit: str | None) -> ImportMapping:
    if unit is None:
        return mapping
    from acquisition.units import parse_gauge_unit

    gauge = parse_gauge_unit(unit)
    if mapping.unit not in (None, gauge.unit):
        raise WrongUsage(f"The file names {mapping.unit}, not {gauge.unit}; look at the column '{_name(mapping)}'.")
    reasons = {**mapping.reasons, "unit": "given with --unit", "reference": "given with --unit"}
    return replace(mapping, unit=gauge.unit, reference=gauge.reference, reasons=reasons)


def _ask_unit(mapping: ImportMapping) -> ImportMapping:
    """Have unit and reference said where the file does not."""
    from dashboard.gauge_search import ask_reference, ask_unit

    unit = mapping.unit or ask_unit()
    return replace(mapping, unit=unit, reference=mapping.reference or ask_reference())


def _name(mapping: ImportMapping) -> str:
    return mapping.names[mapping.pressure_column]


def _show(path: Path, data: bytes, mapping: ImportMapping) -> None:
    """The file's first lines, what each thing was taken for and why, and what a person should settle."""
    click.echo(str(path))
    for line in data[:4000].decode("utf-8", "replace").splitlines()[:PREVIEW_LINES]:
        click.echo(f"  | {line[:100]}")
    time = "none" if mapping.time_column is None else mapping.names[mapping.time_column]
    taken = {"time_column": time, "time_kind": mapping.time_kind, "pressure_column": _name(mapping),
             "unit": mapping.unit or "?", "reference": mapping.reference or "?", "decimal": mapping.decimal,
             "separator": repr(mapping.separator)}  # fmt: skip
    for key, value in taken.items():
        reason = mapping.reasons.get(key, "")
        click.echo(f"  {key.replace('_', ' ')}: {value}" + (f"  ({reason})" if reason else ""))
    for doubt in mapping.doubts:
        click.echo(f"  ! {doubt}")


def _preview(log: Log) -> None:
    rows = zip(log.elapsed_s[:PREVIEW_ROWS].tolist(), log.reading[:PREVIEW_ROWS].tolist(), strict=True)
    click.echo(f"  As a log, {log.elapsed_s.size} rows, {log.header.gauge}:")
    for elapsed_s, reading in rows:
        click.echo(f"    {elapsed_s:10.3f} s  {reading:g}")

