"""``boxhold replay``: a log, or a make-believe box, played as if it were a gauge."""

from __future__ import annotations

import os
import sys
import threading
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

import click

from acquisition.errors import WrongUsage
from dashboard.commands_common import POSITIVE
from dashboard.faults import complain


@click.command(short_help="Play a log as if it were a gauge.")
@click.argument("log", required=False, type=click.Path(path_type=Path))
@click.option("--speed", metavar="TIMES", type=POSITIVE, default=1.0, help="How many times as fast.")
@click.option("--simulate", "settings", metavar="SETTINGS", is_flag=False, flag_value="",
              help="Play a make-believe box instead, such as leak_mm2=0.3,wood=bare,hold_s=300.")  # fmt: skip
@click.option("--tcp", "tcp_port", metavar="PORT", type=click.IntRange(0, 65535),
              help="Use a TCP socket; 0 takes a free one.")  # fmt: skip
@click.option("--loop", is_flag=True, help="Begin again at the end.")
def replay(log: Path | None, speed: float, settings: str | None, tcp_port: int | None, loop: bool) -> None:
    """Play a log, or a make-believe box, as if it were a gauge.

    Prints the address to listen to, waits until somebody does, and plays. A recording of it is marked
    replayed or simulated, and carries the times of the log however fast it is played.
    """
    from acquisition.announce import announce
    from acquisition.replay import open_outlet, play

    if (log is None) == (settings is None):
        raise WrongUsage("Give a log to play, or --simulate with or without settings.")
    source = _Source(log, settings, speed)
    outlet = open_outlet(tcp_port)
    word = announce(outlet.address, source.announcement)
    click.echo(outlet.address)
    sys.stdout.flush()
    complain(f'Listen with:  boxhold record --port {outlet.address} --unit "{source.unit}" --out LOG.csv')
    try:
        with suppress(KeyboardInterrupt):
            while True:
                play(source.events(), outlet, source.announcement.speed, told=complain)
                if not loop:
                    break
            threading.Event().wait(1.0)  # the last lines must be read before the line is taken away
    finally:
        word.unlink(missing_ok=True)
        outlet.close()


class _Source:
    """What is played: a log or a make-believe box."""

    def __init__(self, log: Path | None, settings: str | None, speed: float) -> None:
        from acquisition import simgauge
        from acquisition.announce import Announcement

        self._gauge = simgauge
        self._log = None if log is None else simgauge.check_log(log)
        self._make = None if settings is None else simgauge.parse_make(settings)
        if self._log is not None and log is not None:
            what = simgauge.announcement_of(self._log, log.name, speed)
            self.unit = str(self._log.header.gauge)
        else:
            assert self._make is not None
            what = Announcement(True, "", speed if speed != 1.0 else self._make.speed)
            self.unit = "absolute kPa"
        self.announcement = replace(what, pid=os.getpid())

    def events(self) -> Iterator[tuple[float, bytes]]:
        """Its lines from the start."""
        if self._log is not None:
            return self._gauge.log_events(self._log)
        assert self._make is not None
        return self._gauge.make_events(self._make)
