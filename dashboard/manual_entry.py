"""``record --manual``: leads a person through readings by eye, at a terminal or from lines piped in."""

from __future__ import annotations

import sys
import threading
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import click

from acquisition.errors import WrongUsage
from acquisition.gaugefile import GaugeSpec
from acquisition.manual import (
    ENOUGH_READINGS,
    LEAST_READINGS,
    Entry,
    HandLog,
    check_possible,
    hand_header,
    parse_entry,
)
from acquisition.records import LogHeader
from dashboard.faults import complain

BEAT_S = 20.0
BREATH_S, MOMENT_S = 1.0, 0.01
HELP = """  20.5          a reading now: press Enter at the moment you look at the dial
  20.5 1:30     a reading at 1:30 of a stopwatch started at the last 'pump', 'shut' or other mark
  pump, shut, redraw, end, let-up    what you have just done; 'end' is the end of the hold. It stands beside the
                next reading you type: the one after 'shut' is the first of the hold
  note TEXT     a remark
  undo          take the last line back
  done          close the log (also Ctrl-D)"""
INTRODUCTION = f"""Type what you do and what the dial shows, one line each:
{HELP}
An ordinary hold: one reading with the box open, 'pump', one reading at the bottom after 3 minutes of soak with the
pump on, 'shut', then a reading every 20 s, the bell rings for each: {ENOUGH_READINGS} or more make a sound test,
{LEAST_READINGS} are the least unless the pressure rises fast.
A fast leak: 'shut' when the needle passes the first mark, then the stopwatch's time at each further one, six or more.
A pump that stalls: 'pump', then what the dial sits at, three times over a minute.
Glasses on from the first pull to the let-up; nobody leans over the top; let the air in slowly."""


def record_by_hand(gauge: GaugeSpec, header: LogHeader, out: Path, *, ask: bool, quiet: bool) -> None:
    """Keep a log by hand until the person is done; ``quiet`` says only what goes wrong.

    Raises
    ------
    WrongUsage
        The log's name is taken.
    UnreadableInput
        No reading was typed.
    """
    division = _ask_division(header.resolution or gauge.resolution, str(gauge.unit)) if ask else None
    started = datetime.now().astimezone().replace(microsecond=0)
    log = HandLog(out, hand_header(replace(header, started=started), division))
    if ask:
        click.echo(INTRODUCTION)
    over = threading.Event()
    if ask:
        threading.Thread(target=_beat, args=(over,), daemon=True).start()
    try:
        tell = click.echo if ask else complain
        keep(log, sys.stdin, _Stopwatch(time.monotonic), _say_nothing if quiet else tell, tell)
    except KeyboardInterrupt:
        click.echo("")
    finally:
        over.set()
    path = log.close()
    if (few := _few(log.entries)) is not None:
        readings = f"{few} reading{'' if few == 1 else 's'} of the hold"
        complain(f"{readings}; {ENOUGH_READINGS} make a sound test, so the answer may be wide or none.")
    if not quiet:
        click.echo(str(path))


def _say_nothing(_: str) -> None:
    """Takes the answers of ``--quiet``."""


def _few(entries: Sequence[Entry]) -> int | None:
    """Readings since the shut where they are few; None where they are enough, or a pump that stalls was meant."""
    marks = [entry.note for entry in entries]
    held = entries[len(marks) - marks[::-1].index("hold") :] if "hold" in marks else entries
    count = sum(entry.reading is not None for entry in held)
    return None if count >= ENOUGH_READINGS or (held is entries and "pump-down" in marks) else count


def _ask_division(resolution: float | None, unit: str) -> float | None:
    default = None if resolution is None else 2 * resolution
    asked = f"One division of the dial, in {unit.split(' ')[1]}, then the readings"
    return float(click.prompt(asked, type=click.FloatRange(0.0, min_open=True), default=default))


def _beat(over: threading.Event) -> None:
    while not over.wait(BEAT_S):
        click.echo("\a", nl=False)


class _Stopwatch:
    """Seconds since the first line was typed."""

    def __init__(self, clock: Callable[[], float]) -> None:
        self._clock = clock
        self._zero_s: float | None = None

    def __call__(self) -> float:
        now = self._clock()
        if self._zero_s is None:
            self._zero_s = now
        return round(now - self._zero_s, 2)


def keep(
    log: HandLog, lines: Iterable[str], clock: Callable[[], float], tell: Callable[[str], None],
    complain_of: Callable[[str], None],
) -> None:  # fmt: skip
    """Take typed lines into a log until ``done`` or the end of the lines.

    Parameters
    ----------
    clock
        Seconds on the log's own clock.
    tell
        Gets an answer to each line that was taken.
    complain_of
        Gets what is wrong with one that was not.
    """
    for line in lines:
        clock_s = clock()
        word = line.strip().lower()
        if word in ("done", "quit", "q"):
            return
        if word == "undo":
            tell(_words(log.take_back()))
        elif word in ("?", "help"):
            tell(HELP)
        elif word:
            try:
                tell(_add(log, line, clock_s))
            except WrongUsage as problem:
                complain_of(str(problem))


def _later(log: HandLog, clock_s: float) -> float:
    """Time of what is typed now: after all before it, and a moment after the last reading."""
    before_s = [entry.t_s + (0.0 if entry.reading is None else MOMENT_S) for entry in log.entries]
    return round(max([clock_s, *before_s]), 2)


def _add(log: HandLog, line: str, clock_s: float) -> str:
    """Take one entry; what is answered to it."""
    now_s = _later(log, clock_s)
    entry = parse_entry(line, now_s, log.last_mark_s)
    if entry.reading is not None:
        check_possible(entry.reading, log.header)
        # The times of a stopwatch may run ahead of the typing: a reading without one would get a time made up.
        _check_order(log, entry, timed=len(line.split()) > 1 or now_s <= clock_s + BREATH_S)
    log.add(entry)
    minutes, seconds = divmod(entry.t_s, 60)
    what = entry.note if entry.reading is None else f"{entry.reading:g}"
    return f"  {int(minutes)}:{seconds:04.1f}  {what}   ({log.readings} reading{'' if log.readings == 1 else 's'})"


def _check_order(log: HandLog, entry: Entry, *, timed: bool) -> None:
    before_s = max((e.t_s for e in log.entries if e.reading is not None), default=-1.0)
    if timed and entry.t_s > before_s:
        return
    raise WrongUsage(
        f"{entry.reading:g} is left out: the reading before it is of {before_s:g} s; type it with its later time, such"
        f" as '{entry.reading:g} 1:30', or take the other back with 'undo'."
    )


def _words(gone: Entry | None) -> str:
    return "  nothing to take back" if gone is None else "  taken back"
