"""The commands that listen to gauges: ``record`` and ``gauges``."""

from __future__ import annotations

import sys
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import click
import numpy as np

from acquisition.boxfile import check_box_name
from acquisition.errors import UnreadableInput, WrongUsage
from acquisition.gaugefile import GaugeSpec, PortSettings, read_gauge_file
from acquisition.live import LiveRecording, Wanted
from acquisition.logheader import read_header
from acquisition.partlog import LeftOver, finish_left_over, left_over, part_path
from acquisition.records import Box, Log, LogHeader
from acquisition.serialport import SIMULATED
from acquisition.setups import SETUPS, check_path, check_setup
from acquisition.units import GaugeUnit, parse_gauge_unit
from dashboard.commands_common import POSITIVE, check_archive, near_names
from dashboard.faults import complain
from dashboard.signals import EndSignal, ended_by_signal

FILE = click.Path(path_type=Path)
LOOK_EVERY_S = 0.1


@click.command(short_help="Record a hold test from a gauge.")
@click.option("--port", "address", metavar="ADDRESS",
              help="The gauge's port; 'boxhold gauges' lists them. Any pyserial address.")  # fmt: skip
@click.option("--unit", metavar="UNIT", help='What a bare number means, such as "absolute kPa" or "vacuum inHg".')
@click.option("--gauge", "gauge_file", metavar="GAUGE.toml", type=FILE,
              help="How the gauge speaks, from 'boxhold gauges'.")  # fmt: skip
@click.option("--baud", type=int, metavar="N", help="Speed of the port, 9600 without it.")
@click.option("--box-id", metavar="ID", help="Name of the box under test.")
@click.option("--setup", metavar="SETUP", help=f"What closes the top: {', '.join(SETUPS)}.")
@click.option("--sealed", metavar="PATH,...", help="Leak paths taped or puttied shut for this test.")
@click.option("--set", "keys", metavar="KEY=VALUE", multiple=True,
              help="A further header key of the log, such as barometer_kPa=101.1 or behind_valve=room.")  # fmt: skip
@click.option("--out", metavar="LOG.csv", type=FILE, help="File to record into; it must not exist.")
@click.option("--archive", metavar="DIR", type=FILE, help="File the log under its box in this archive.")
@click.option("--box", "box_file", metavar="BOX.toml", type=FILE,
              help="The box's file, for the estimate while recording.")  # fmt: skip
@click.option("--for", "seconds", metavar="SECONDS", type=POSITIVE,
              help="End after so long.")  # fmt: skip
@click.option("--quiet", is_flag=True, help="Ask nothing and say only what goes wrong.")
@click.option("--manual", is_flag=True, help="Type readings from a dial gauge instead.")
def record(
    address: str | None, unit: str | None, gauge_file: Path | None, baud: int | None, box_id: str | None,
    setup: str | None, sealed: str | None, keys: tuple[str, ...], out: Path | None, archive: Path | None,
    box_file: Path | None, seconds: float | None, quiet: bool, manual: bool,
) -> None:  # fmt: skip
    """Record a gauge into a log; on a terminal, lead through the whole hold test.

    The log stands beside its name with .part added until it is closed; whatever happens, all but the last
    second of what was heard is in it. Ctrl-C closes it.
    """
    guided = not quiet and _at_terminal()
    if guided and not manual:
        from dashboard.gauge_search import choose_port, known_gauge

        address = address or choose_port()
        gauge_file = gauge_file if unit or gauge_file or address.startswith(SIMULATED) else known_gauge()
    gauge = _gauge(address, unit, gauge_file, baud, needed=not manual)
    header = _header(gauge.unit, box_id, setup, sealed, keys)
    if not manual and address is None:
        raise WrongUsage("Give the gauge's port with --port; 'boxhold gauges' lists the ports there are.")
    if guided and not manual:
        from dashboard.guide_run import ask_box, ask_first

        header = ask_box(header)
    told = archive is not None and _tell_new(header.box, archive, ask=guided)
    _tell_forbidden(header, box_file, archive, out)
    if address is None or manual:
        _by_hand(gauge, header, _place(out, archive, header), ask=guided, quiet=quiet)
        return
    first_pull = False
    if guided:
        header, first_pull = ask_first(header)
    wanted = Wanted(address, gauge, _place(out, archive, header), header, watched=guided)
    if not quiet and not told:
        _tell_undescribed(header, box_file, archive, wanted.out)
    box = _box(header, box_file, archive, wanted.out) if guided else None
    _finish_interrupted(wanted.out, ask=guided)
    with ended_by_signal() as ended:
        live = LiveRecording.start(wanted, before_log=lambda: _close_left_over(wanted.out))
        if guided:
            from dashboard.guide_run import guide

            guide(live, box, seconds, ended, first_pull=first_pull)
        else:
            _wait(live, seconds, ended, quiet=quiet)


def _by_hand(gauge: GaugeSpec, header: LogHeader, place: Path, *, ask: bool, quiet: bool) -> None:
    from dashboard.manual_entry import record_by_hand

    _finish_interrupted(place, ask=ask)
    if part_path(place).exists() and _nobody_writes(place):
        _close_left_over(place)
    record_by_hand(gauge, header, place, ask=ask, quiet=quiet)


def _at_terminal() -> bool:
    return sys.stdin.isatty() and sys.stdout.isatty()


def _gauge(address: str | None, unit: str | None, file: Path | None, baud: int | None, *, needed: bool) -> GaugeSpec:
    """The gauge as the call describes it."""
    if unit is not None and file is not None:
        raise WrongUsage("Take either --unit or --gauge, not both.")
    if file is not None:
        spec = read_gauge_file(file)
    elif unit is not None:
        spec = GaugeSpec(parse_gauge_unit(unit))
    elif address is not None and address.startswith(SIMULATED):
        spec = GaugeSpec(GaugeUnit("absolute", "kPa"))
    elif needed:
        raise WrongUsage('Say what the gauge counts: --unit "absolute kPa" (or vacuum, gauge), or --gauge GAUGE.toml.')
    else:
        raise WrongUsage('Say what the dial counts: --unit "vacuum inHg", for example.')
    return spec if baud is None else replace(spec, port=replace(spec.port, baud=PortSettings(baud).baud))


def _header(
    unit: GaugeUnit, box_id: str | None, setup: str | None, sealed: str | None, keys: tuple[str, ...]
) -> LogHeader:
    """The log's header as far as the call knows it."""
    if setup is not None:
        check_setup(setup)
    paths = tuple(check_path(p.strip()) for p in (sealed or "").split(",") if p.strip())
    lines = [(0, f"# gauge: {unit}")]
    for pair in keys:
        key, equals, value = pair.partition("=")
        if not equals or not key.strip():
            raise WrongUsage(f"--set takes KEY=VALUE, such as room_C=20.5; '{pair}' is not.")
        if key.strip() == "gauge":
            raise WrongUsage("--set gauge: say what the gauge counts with --unit or --gauge instead.")
        lines.append((0, f"# {key.strip()}: {value.strip()}"))
    try:
        header, _ = read_header(lines, None)
    except UnreadableInput as problem:
        raise WrongUsage(f"--set: {problem}".replace("input, line 0: ", "")) from None
    box = box_id or header.box
    return replace(header, gauge=unit, box=box if box is None else check_box_name(box), setup=setup or header.setup,
                   sealed=paths or header.sealed)  # fmt: skip


def _place(out: Path | None, archive: Path | None, header: LogHeader) -> Path:
    """Final name of the log."""
    if (out is None) == (archive is None):
        raise WrongUsage("Say where the log goes: --out LOG.csv, or --archive DIR.")
    if out is not None:
        if out.exists():
            raise WrongUsage(f"{out} exists already; it is left as it is, choose another name.")
        return out
    if header.box is None or header.setup is None:
        raise WrongUsage("To file a log in the archive give --box-id and --setup.")
    from acquisition.archive import Archive

    assert archive is not None
    return Archive(archive).new_log_path(header.box, header.setup, datetime.now().astimezone())


def _box(header: LogHeader, box_file: Path | None, archive: Path | None, out: Path) -> Box | None:
    """The box under test, for the estimate while recording; None where no file describes it."""
    from dashboard.commands_common import BoxFinder

    log = Log(header, np.empty(0), np.empty(0), path=out)
    return BoxFinder(archive if box_file is None and archive and archive.is_dir() else None, box_file).box_of(log)


def _tell_new(name: str | None, archive: Path, *, ask: bool) -> bool:
    """See to a box that an archive of others lacks: ask, or where nobody can be asked say so and lose no recording.

    Returns
    -------
    bool
        Whether it has been said that no file describes the box.
    """
    from acquisition.archive import Archive

    check_archive(archive)
    boxes = Archive(archive)
    if name is None or boxes.folder(name).is_dir() or not (names := boxes.boxes()):
        return False
    unknown = f"There is no box {name} in {archive}{near_names(name, names)}"
    describe = f"'boxhold new-box {name} --archive {archive}'"
    if not ask:
        complain(f"{unknown}; it is recorded as a new one, which {describe} describes, also afterwards.")
    elif not click.confirm(f"{unknown}. Record it as a new one?", default=False):
        raise WrongUsage(f"Nothing was recorded; give the right --box-id, or describe a new box with {describe}.")
    return not ask


def _tell_undescribed(header: LogHeader, box_file: Path | None, archive: Path | None, out: Path) -> None:
    """Say once, and go on, when a box was named that no file describes."""
    if header.box is None or header.volume_L is not None:
        return
    try:
        described = _box(header, box_file, archive, out) is not None
    except UnreadableInput as problem:
        complain(str(problem))
        return
    if not described:
        where = "" if archive is None else f" --archive {archive}"
        complain(
            f"Box {header.box} is not described, so its volume is unknown and the log will give no area;"
            f" 'boxhold new-box {header.box}{where}' mends that, also afterwards."
        )


def _tell_forbidden(header: LogHeader, box_file: Path | None, archive: Path | None, out: Path | None) -> None:
    """Say that a top must not be pumped down, where its box is described so; a file that cannot be read waits."""
    from dashboard.cautions import top_forbidden

    try:
        box = _box(header, box_file, archive, out or Path())
    except UnreadableInput:
        return
    if box is not None and (why := top_forbidden(box)):
        complain(why)


def _finish_interrupted(out: Path, *, ask: bool) -> None:
    """What recordings that were cut off have left: under this name a question, in an archive's folder closed too."""
    if ask and part_path(out).exists() and _nobody_writes(out):
        left = left_over(out)
        if left is not None and not _confirm(left, out):
            raise WrongUsage(f"{left.path} is left as it is; choose another name with --out.")
    if out.parent.name != "logs" or not out.parent.is_dir():
        return
    for part in sorted(out.parent.glob("*.csv.part")):
        final = part.with_name(part.name.removesuffix(".part"))
        if final != out and _nobody_writes(final):
            left = left_over(final)
            if left is not None and (not ask or _confirm(left, final)):
                complain(f"A recording that was cut off is closed as {finish_left_over(part, keep_name_free=False)}.")


def _nobody_writes(final: Path) -> bool:
    from acquisition.partlog import LogInUse, lock_log

    try:
        lock_log(final).release()
    except LogInUse:
        return False
    return True


def _close_left_over(out: Path) -> None:
    """Close what a recording that was cut off left under the very name wanted now."""
    complain(f"A recording that was cut off is closed as {finish_left_over(part_path(out), keep_name_free=True)}.")


def _confirm(left: LeftOver, final: Path) -> bool:
    minutes, seconds = divmod(int(left.seconds), 60)
    return click.confirm(
        f"A recording of {final.name} was cut off after {minutes}:{seconds:02d} ({left.rows} lines). Close it?",
        default=True,
    )


def _wait(live: LiveRecording, seconds: float | None, ended: EndSignal, *, quiet: bool) -> None:
    """Record without asking, until the time is over or a signal comes."""
    if not quiet:
        complain(f"Recording into {live.path}; Ctrl-C ends it.")
    told: str | None = None
    try:
        while not ended.wait(LOOK_EVERY_S):
            trouble = live.state().trouble
            if trouble is not None and _kind(trouble) != told:
                complain(trouble)
            told = None if trouble is None else _kind(trouble)
            if seconds is not None and live.real_s >= seconds:
                break
    finally:
        path = live.stop()
    if not quiet:
        click.echo(str(path))


def _kind(trouble: str) -> str:
    """What a trouble is about: its sentence without numbers, so that a running count is told once."""
    return "".join(c for c in trouble if not c.isdigit())


@click.command(short_help="Find the ports and how the gauge speaks.")
@click.option("--port", "address", metavar="ADDRESS", help="Listen at this port only.")
@click.option("--baud", type=int, metavar="N", help="Listen at this speed only.")
@click.option("--seconds", metavar="SECONDS", type=click.FloatRange(0.1, 600), default=4.0, show_default=True,
              help="How long at each speed.")  # fmt: skip
@click.option("--ask", metavar="TEXT", help="Ask with this text twice a second, such as MEAS:PRES?")
@click.option("--unit", metavar="UNIT", help='What the numbers are, such as "absolute kPa".')
@click.option("--out", metavar="GAUGE.toml", type=FILE, help="File to write; gauge.toml without it.")
@click.option("--yes", is_flag=True, help="Write the file without asking.")
def gauges(
    address: str | None, baud: int | None, seconds: float, ask: str | None, unit: str | None, out: Path | None,
    yes: bool,
) -> None:  # fmt: skip
    """List the ports, listen, and guess how the gauge speaks.

    Shows the lines it heard and what it takes them for, and writes a gauge.toml after a yes.
    """
    from dashboard.gauge_search import search

    search(address, baud, seconds, ask, unit, out, yes=yes)
