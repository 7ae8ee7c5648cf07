"""Readings taken by eye: typed from a dial with a stopwatch, kept as a log like any other."""

from __future__ import annotations

import os
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from acquisition.errors import UnreadableInput, WrongUsage
from acquisition.files import write_whole
from acquisition.logfile import log_text
from acquisition.logheader import one_line
from acquisition.numbers import to_number
from acquisition.partlog import lock_log, move_to_free_name, part_path
from acquisition.recorder import PHASES, REMARK
from acquisition.records import Log, LogHeader
from acquisition.units import STANDARD_PRESSURE_PA, from_absolute_pa

ENOUGH_READINGS, LEAST_READINGS = 10, 6
"""Readings of a hold that make a sound test, and with how many one that rises slowly can still give an answer."""
MOST_ROOMS = 1.2
"""An absolute gauge may show so many times the pressure taken for the room's: that may be another day's or place's."""
ZERO_OFF_PA = 3000.0
"""A dial's zero is seldom further off: common practice, no source."""
_WORDS = {"pump": "pump-down", "shut": "hold", "end": "end of hold"} | {phase: phase for phase in PHASES}
_STOPWATCH = re.compile(r"(?:(\d{1,3}):([0-5]\d(?:[.,]\d+)?)|(\d+(?:[.,]\d+)?)\s*(s|sec|min)?)")


@dataclass(frozen=True)
class Entry:
    """One row of a log kept by hand: time s, the dial's number or None, a mark or remark or empty."""

    t_s: float
    reading: float | None
    note: str = ""


def parse_entry(text: str, now_s: float, mark_s: float = 0.0) -> Entry:
    """One typed line.

    ``20.5`` is a reading now, ``20.5 1:30`` one at 1:30 of a stopwatch that was started at the last mark, at
    ``mark_s`` (also ``90 s``, ``1.5 min``);
    ``pump``, ``soak``, ``shut``, ``redraw``, ``end`` and ``let-up`` are marks; ``note ...`` is a remark.

    Raises
    ------
    WrongUsage
        It is none of these.
    """
    words = text.strip()
    if words.lower() in _WORDS:
        return Entry(now_s, None, _WORDS[words.lower()])
    if words.lower().startswith("note "):
        return Entry(now_s, None, REMARK + one_line(words[5:]))
    number, _, when = words.partition(" ")
    reading = to_number(number)
    if np.isnan(reading):
        raise WrongUsage(f"'{words}' is neither a reading nor a word known here; type ? for help.")
    return Entry(round(mark_s + stopwatch(when), 3) if when.strip() else now_s, reading)


def check_possible(reading: float, header: LogHeader) -> None:
    """See to it that a dial can show what was typed: nothing below an empty box, nothing far above the room.

    Raises
    ------
    WrongUsage
        It cannot, even with a zero that is a little off.
    """
    unit = header.gauge
    room_pa = STANDARD_PRESSURE_PA if header.barometer_kPa is None else header.barometer_kPa.value * 1e3
    top_pa = MOST_ROOMS * room_pa if unit.reference == "absolute" else room_pa
    low, high = sorted(from_absolute_pa(p_pa, unit, room_pa) for p_pa in (0.0, top_pa))
    if low - ZERO_OFF_PA / unit.pa_per_unit <= reading <= high + ZERO_OFF_PA / unit.pa_per_unit:
        return
    raise WrongUsage(
        f"{reading:g} cannot be in {unit}, where a box lies between {low:.3g} and {high:.3g}:"
        " left out; look again and type it anew."
    )


def stopwatch(text: str) -> float:
    """Seconds of a stopwatch's time: ``1:30``, ``90``, ``90 s``, ``1.5 min``.

    Raises
    ------
    WrongUsage
        It is no time.
    """
    match = _STOPWATCH.fullmatch(text.strip().lower())
    if match is None:
        raise WrongUsage(f"'{text.strip()}' is no time of a stopwatch; write 1:30 or 90.")
    minutes, seconds, plain, unit = match.groups()
    if plain is None:
        return 60.0 * int(minutes) + float(seconds.replace(",", "."))
    return float(plain.replace(",", ".")) * (60.0 if unit == "min" else 1.0)


def hand_header(header: LogHeader, division: float | None) -> LogHeader:
    """Header of a log kept by hand; the eye resolves half a division of the dial.

    Raises
    ------
    WrongUsage
        The division is not above 0.
    """
    if division is not None and not division > 0:
        raise WrongUsage("One division of the dial is a number above 0 in the dial's unit.")
    resolution = header.resolution if division is None else division / 2.0
    return replace(header, resolution=resolution, extra={**header.extra, "by_hand": "yes"})


class HandLog:
    """A log kept by hand: written anew, whole, after every entry; the last entries can be taken back.

    Raises
    ------
    WrongUsage
        The log's name is taken.
    OutsideWorldFailed
        Another recording writes it, or the disk refused.
    """

    def __init__(self, final: Path, header: LogHeader) -> None:
        if final.exists():
            raise WrongUsage(f"{final} exists already; it is left as it is, choose another name.")
        self.final = final
        self.header = header
        self._entries: list[Entry] = []
        self._lock = lock_log(final)
        try:
            self._write(overwrite=False)
        except WrongUsage:
            self._lock.release()
            raise WrongUsage(f"{part_path(final)} is left over from a log that was cut off; finish it first.") from None

    @property
    def entries(self) -> Sequence[Entry]:
        """All entries, oldest first."""
        return tuple(self._entries)

    @property
    def last_mark_s(self) -> float:
        """Time of the last mark, 0 when there is none."""
        return next((e.t_s for e in reversed(self._entries) if e.note and not e.note.startswith(REMARK)), 0.0)

    @property
    def readings(self) -> int:
        """How many entries are readings."""
        return sum(entry.reading is not None for entry in self._entries)

    def add(self, entry: Entry) -> None:
        """Keep an entry."""
        self._entries.append(entry)
        self._write(overwrite=True)

    def take_back(self) -> Entry | None:
        """Take the last entry away; None when there is none."""
        if not self._entries:
            return None
        gone = self._entries.pop()
        self._write(overwrite=True)
        return gone

    def log(self) -> Log:
        """The log as it stands; a mark stands beside the reading that follows it."""
        rows = _with_marks(self._entries)
        elapsed = np.array([entry.t_s for entry in rows], dtype=np.float64)
        reading = np.array([np.nan if e.reading is None else e.reading for e in rows], dtype=np.float64)
        return Log(self.header, elapsed, reading, note=tuple(e.note for e in rows), path=self.final)

    def close(self) -> Path:
        """Give the log its final name.

        Raises
        ------
        UnreadableInput
            There is no reading in it; the file is taken away.
        """
        try:
            if self.readings == 0:
                os.unlink(part_path(self.final))
                raise UnreadableInput("no reading was typed, so no log was written.", self.final)
            return move_to_free_name(part_path(self.final), self.final)
        finally:
            self._lock.release()

    def _write(self, *, overwrite: bool) -> None:
        text = log_text(self.log())
        write_whole(part_path(self.final), text.encode("utf-8", "backslashreplace"), overwrite=overwrite)


def _with_marks(entries: Sequence[Entry]) -> list[Entry]:
    """Entries with each mark moved to the reading after it, where a reader of logs looks for it."""
    rows: list[Entry] = []
    waiting: list[Entry] = []
    for entry in entries:
        if entry.reading is None:
            waiting.append(entry)
            continue
        beside = max(waiting, key=lambda w: (w.note in PHASES, w.t_s), default=None)
        rows += [w for w in waiting if w is not beside]
        rows.append(entry if beside is None else replace(entry, note=beside.note))
        waiting = []
    return rows + waiting
