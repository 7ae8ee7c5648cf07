"""The command ``gauges``: ports, what is heard there, a guess, and the gauge's file after a yes."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import click

from acquisition.errors import BoxholdError, OutsideWorldFailed, WrongUsage
from acquisition.framing import HeardLine, LineFramer, Whole
from acquisition.gaugefile import GaugeSpec, PortSettings, format_gauge
from acquisition.guessing import LineGuess, guess_lines
from acquisition.logfile import escape_raw
from acquisition.serialport import ListedPort, list_ports, open_port
from acquisition.units import GaugeUnit, Reference, parse_gauge_unit, parse_unit
from dashboard.faults import complain

BAUDS = (9600, 115200, 19200, 4800, 38400, 57600)
SHOWN_LINES = 6
FEW_LINES = 3
LISTEN_EVERY_S = 0.05
ASK_EVERY_S = 0.5


def listen(
    address: str, settings: PortSettings, seconds: float, ask: str | None = None, *,
    clock: Callable[[], float] = time.monotonic, sleep: Callable[[float], None] = time.sleep,
) -> list[HeardLine]:  # fmt: skip
    """Whole lines heard at a port within some seconds, the first of a stream left out.

    Raises
    ------
    OutsideWorldFailed
        The port cannot be opened, or is lost.
    """
    port, framer, lines = open_port(address, settings), LineFramer(), []
    begin = asked = clock()
    try:
        while (now := clock()) - begin < seconds:
            if ask is not None and (now - asked >= ASK_EVERY_S or asked == begin):
                port.write((ask + "\n").encode())
                framer.expect_whole()
                asked = now + 1e-9
            lines += framer.feed(port.read_waiting(), now)
            sleep(LISTEN_EVERY_S)
    finally:
        port.close()
    return [line for line in lines if line.whole is Whole.WHOLE]


@dataclass(frozen=True)
class Found:
    """A gauge that was heard: how its bytes travel, what its lines were taken for, what asks for them."""

    port: PortSettings
    guess: LineGuess
    ask: str | None

    def gauge(self, unit: GaugeUnit) -> GaugeSpec:
        """The gauge, once a person has said its unit.

        Raises
        ------
        WrongUsage
            The lines themselves name another unit.
        """
        if self.guess.unit not in (None, unit.unit):
            right = f"{unit.reference} {self.guess.unit}"
            raise WrongUsage(f"The lines name {self.guess.unit}, not {unit.unit}; say {right}.")
        lines = replace(self.guess.lines, ask=self.ask)
        return GaugeSpec(unit, resolution=self.guess.resolution, port=self.port, lines=lines)


def search_port(address: str, bauds: Sequence[int], seconds: float, ask: str | None) -> Found | None:
    """Listen at each speed until lines make sense, and tell what was heard."""
    for baud in bauds:
        settings = PortSettings(baud)
        lines = listen(address, settings, seconds, ask)
        guess = guess_lines([line.raw for line in lines])
        click.echo(f"  {baud} baud: {_heard_words(lines)}")
        for line in lines[:SHOWN_LINES]:
            click.echo(f"    {escape_raw(line.raw)[:100]}")
        if guess is not None and len(lines) >= FEW_LINES:
            click.echo(f"  Taken for: {guess.words}; {_unit_words(guess)}.")
            return Found(settings, guess, ask)
    return None


def _heard_words(lines: Sequence[HeardLine]) -> str:
    return f"{len(lines)} lines" if lines else "nothing heard"


def _unit_words(guess: LineGuess) -> str:
    return f"the lines name {guess.unit}" if guess.unit else "the lines name no pressure unit"


def search(address: str | None, baud: int | None, seconds: float, ask: str | None, unit: str | None, out: Path | None,
           *, yes: bool) -> None:  # fmt: skip
    """Search one port or all, and write the gauge's file when the person says yes.

    Raises
    ------
    WrongUsage
        The file exists, or a unit given is none.
    OutsideWorldFailed
        No gauge was heard.
    """
    if out is not None and out.exists():
        raise WrongUsage(f"{out} exists already; it is left as it is, choose another name.")
    known = None if unit is None else parse_gauge_unit(unit)
    ports = [ListedPort(address, "", "")] if address is not None else list_ports()
    if not ports:
        raise OutsideWorldFailed("No serial port has anything behind it; plug the gauge in, or give --port.")
    for port in ports:
        click.echo(f"{port.address}  {port.description}".rstrip())
        found = _heard_at(port.address, BAUDS if baud is None else (baud,), seconds, ask)
        if found is not None:
            _settle(found, port.address, known, out, yes=yes)
            return
    raise OutsideWorldFailed(
        "No gauge was heard. One that must be asked needs --ask with its question, such as --ask \"MEAS:PRES?\"; "
        "one with registers needs a gauge.toml written by hand."
    )


def _heard_at(address: str, bauds: Sequence[int], seconds: float, ask: str | None) -> Found | None:
    try:
        return search_port(address, bauds[:1] if "://" in address else bauds, seconds, ask)
    except BoxholdError as problem:
        complain(str(problem))
        return None


def _settle(found: Found, address: str, known: GaugeUnit | None, out: Path | None, *, yes: bool) -> None:
    """Have the unit said, show the file, write it after a yes."""
    asked = sys.stdin.isatty() and sys.stdout.isatty() and not yes
    if known is None and asked:
        unit_name = found.guess.unit or ask_unit()
        known = GaugeUnit(ask_reference(), unit_name)
    if known is None:
        click.echo('Say what the numbers count from with --unit, such as --unit "absolute kPa"; no unit is assumed.')
        return
    text = format_gauge(found.gauge(known))
    click.echo("\n" + text)
    target = out or Path("gauge.toml")
    if not yes and not (asked and click.confirm(f"Write this to {target}?", default=True)):
        return
    if target.exists():
        raise WrongUsage(f"{target} exists already; it is left as it is, name another with --out.")
    target.write_text(text, encoding="utf-8")
    click.echo(f"Written. Record with:  boxhold record --port {address} --gauge {target} --out LOG.csv")


def choose_port() -> str:
    """The port to record from: the only one, or the one a person picks.

    Raises
    ------
    OutsideWorldFailed
        There is none.
    """
    ports = list_ports()
    if not ports:
        raise OutsideWorldFailed("No serial port has anything behind it; plug the gauge in, or give --port.")
    for number, port in enumerate(ports, start=1):
        click.echo(f"  {number}  {port.address}  {port.description}".rstrip())
    picked = 1 if len(ports) == 1 else click.prompt("Which port", type=click.IntRange(1, len(ports)), default=1)
    return ports[picked - 1].address


def known_gauge() -> Path | None:
    """A gauge.toml in this folder, if a person wants it used."""
    here = Path("gauge.toml")
    return here if here.is_file() and click.confirm("Use the gauge.toml of this folder?", default=True) else None


def ask_unit() -> str:
    """Ask for a pressure unit until one is named; nothing is taken for granted."""
    return str(click.prompt("Unit of the numbers (kPa, mbar, inHg, psi, ...)", value_proc=_unit))


def ask_reference() -> Reference:
    """Ask what the numbers count from."""
    click.echo("absolute counts from nothing (about 101 kPa in the open);")
    click.echo("vacuum is room minus box; gauge is box minus room, below zero under vacuum.")
    answer: Reference = click.prompt("The numbers are", type=click.Choice(["absolute", "vacuum", "gauge"]))
    return answer


def _unit(text: str) -> str:
    try:
        return parse_unit(text)
    except WrongUsage as problem:
        raise click.UsageError(str(problem)) from None
