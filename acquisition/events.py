"""What was done to a box and noticed of it: ``events.csv``, and the corrections of logs that stand in it."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path, PurePath
from typing import Any, get_args, get_type_hints

from acquisition.errors import BoxholdError, UnreadableInput, WrongUsage, shown
from acquisition.files import read_whole, write_whole
from acquisition.logheader import KEYS, header_value, one_line
from acquisition.records import Event, Log, LogHeader
from acquisition.setups import check_path

COLUMNS = ("date", "path", "kind", "text")
DAY_SIGNS = len("2026-05-03")
"""Signs of a date without an hour."""
SAME_DAY = (
    "A test of the same day counts as made before the repair, as a bead must cure; where one came after, write the"
    " hour too, such as 2026-05-03T14:30."
)
"""What to know when a repair is written down with its day alone."""
KINDS: tuple[str, ...] = get_args(get_type_hints(Event)["kind"])
MOST_EVENTS_BYTES = 100_000_000
EARLIEST = "1900-01-01"
"""No box is older: a day before it is a slip of the pen."""


def check_event(event: Event) -> Event:
    """Return the event with its date as ``plain_date`` writes it, if it can stand in the file.

    Raises
    ------
    WrongUsage
        The date is no ISO date, the path or the kind is not known, the text is blank, or a correction
        does not say which key of which log gets which value.
    """
    event = replace(event, date=plain_date(event.date))
    if event.path:
        check_path(event.path)
    if event.kind not in KINDS:
        raise WrongUsage(f"'{shown(event.kind)}' is no kind of event; take one of {', '.join(KINDS)}.")
    if not event.text.strip():
        raise WrongUsage("an event needs a text that says what was done or noticed.")
    if event.kind == "correction":
        parse_correction(event.text)
    return event


def plain_date(text: str) -> str:
    """A date in any ISO form as year-month-day, with the hour by the shop's clock behind it where one is given.

    Raises
    ------
    WrongUsage
        It is no ISO date.
    """
    for read in (_as_day, _as_hour):
        with suppress(ValueError):
            plain = read(text)
            if plain >= EARLIEST:
                return plain
    raise WrongUsage(f"'{shown(text)}' is no date; write year-month-day, such as 2026-05-03.")


def _as_day(text: str) -> str:
    return date.fromisoformat(text).isoformat()


def _as_hour(text: str) -> str:
    return datetime.fromisoformat(text).replace(tzinfo=None).isoformat(timespec="minutes")


def check_not_ahead(event: Event, today: date) -> Event:
    """Return the event unless its day is still to come.

    Raises
    ------
    WrongUsage
        It is dated after ``today``.
    """
    if event.date[:10] > today.isoformat():
        day = event.date[:10]
        raise WrongUsage(f"{day} is still to come (today is {today.isoformat()}); write the day it was done.")
    return event


def parse_correction(text: str) -> tuple[str, str, str]:
    """Name of the log's file, key and value of a correction ``LOGNAME key: value``.

    A blank value takes the key away.

    Raises
    ------
    WrongUsage
        The text has another form, or the value does not suit the key.
    """
    name, _, rest = one_line(text).partition(" ")
    key, colon, value = (part.strip() for part in rest.partition(":"))
    if not (name and key and colon):
        raise WrongUsage(f"'{shown(text)}' is no correction; write the log's file name, then key: value.")
    key = next((known for known in KEYS if known.lower() == key.lower()), key)
    if header_value(key, value) is None and key == "gauge":
        raise WrongUsage("a log cannot be without its gauge; write such as gauge: absolute kPa.")
    return name if name.endswith(".csv") else f"{name}.csv", key, value


def read_events(path: Path | str, today: date | None = None) -> tuple[Event, ...]:
    """Events of a box in the order of the file; none when there is no file.

    Lines that cannot be an event and those dated after ``today`` (by default the computer's) are left out;
    ``event_troubles`` names them.
    """
    return tuple(row for row in _rows(Path(path), today or date.today()) if isinstance(row, Event))


def event_troubles(path: Path | str, today: date | None = None) -> tuple[str, ...]:
    """One sentence for each line of a box's events that ``read_events`` leaves out."""
    rows = _rows(Path(path), today or date.today())
    return tuple(f"{str(row).rstrip('.')}; until then it does not count." for row in rows if not isinstance(row, Event))


def _rows(path: Path, today: date | None) -> Iterator[Event | BoxholdError]:
    """Every row of the file, or why it cannot be one; ``today`` None lets events still to come pass."""
    if not path.exists():
        return
    try:
        yield from _rows_of(read_whole(path, MOST_EVENTS_BYTES), path, today)
    except UnreadableInput as error:
        yield error


def _rows_of(data: bytes, path: Path, today: date | None = None) -> Iterator[Event | BoxholdError]:
    """Rows of a file's bytes. Each line is read by itself, so that an open quote swallows no other line."""
    try:
        lines = re.split("\r\n|\r|\n", data.decode("utf-8-sig"))
    except UnicodeDecodeError:
        raise UnreadableInput("this is no UTF-8 text; save it as UTF-8.", path) from None
    told = [(number, line) for number, line in enumerate(lines, start=1) if line.strip()]
    separator = max(",;\t", key=told[0][1].count) if told else ","
    names: list[str] = []
    for number, line in told:
        try:
            row = _cells(line, separator)
            if not any(cell.strip() for cell in row):
                continue
            if names:
                yield _event(dict(zip(names, row, strict=False)), today)
            else:
                names = _column_names(row, path, number)
        except WrongUsage as error:
            yield UnreadableInput(str(error), path, number)


def _cells(line: str, separator: str) -> list[str]:
    try:
        return next(csv.reader([line], delimiter=separator, strict=True))
    except csv.Error as error:
        if "unexpected end" in str(error):
            raise WrongUsage("a quote is opened and not closed; close it, and keep each event on one line.") from None
    try:
        return next(csv.reader([line], delimiter=separator))
    except csv.Error as error:
        raise WrongUsage(f"it cannot be read ({error}).") from None


def _column_names(row: list[str], path: Path, line: int) -> list[str]:
    names = [cell.strip().lower() for cell in row]
    if not set(COLUMNS) <= set(names):
        raise UnreadableInput(f"the first line must name the columns {','.join(COLUMNS)}.", path, line)
    return names


def _event(cells: Mapping[str, str], today: date | None) -> Event:
    texts = {name: cells.get(name, "").strip() for name in COLUMNS}
    event = check_event(Event(**texts))  # type: ignore[arg-type]  # check_event looks at the kind
    return event if today is None else check_not_ahead(event, today)


def append_event(path: Path | str, event: Event) -> None:
    """Add one event to a box's file, whole or not at all; two writers wait for each other.

    Raises
    ------
    WrongUsage
        The event cannot stand in the file.
    UnreadableInput
        The file that is there cannot be read; it is left untouched.
    OutsideWorldFailed
        The disk refused.
    """
    from filelock import FileLock

    path = Path(path)
    event = check_event(event)
    path.parent.mkdir(parents=True, exist_ok=True)
    with FileLock(path.with_name(path.name + ".lock"), timeout=10):
        before = _all_or_none(list(_rows(path, None)))
        data = _with_row(path, event)
        if len(_all_or_none(list(_rows_of(data, path)))) != len(before) + 1:
            raise UnreadableInput("a new line would not read back; see how its first line is written.", path)
        write_whole(path, data, overwrite=True)


def _all_or_none(rows: Sequence[Event | BoxholdError]) -> list[Event]:
    """The events, unless one of the rows is none."""
    for row in rows:
        if not isinstance(row, Event):
            raise row
    return [row for row in rows if isinstance(row, Event)]


def _with_row(path: Path, event: Event) -> bytes:
    """The file's bytes as they are, with one more row in its own separator and column order."""
    before = path.read_bytes() if path.exists() else b""
    if not before.strip():
        before = (",".join(COLUMNS) + "\n").encode()
    if not before.endswith((b"\n", b"\r")):
        before += b"\n"
    first = before.decode("utf-8-sig").lstrip().splitlines()[0]
    separator = max(",;\t", key=first.count)
    names = [name.strip().lower() for name in next(csv.reader([first], delimiter=separator))]
    row = io.StringIO()
    cells = {name: one_line(getattr(event, name)) for name in COLUMNS}
    csv.writer(row, delimiter=separator, lineterminator="\n").writerow([cells.get(name, "") for name in names])
    return before + row.getvalue().encode("utf-8", "backslashreplace")


def corrections_of(events: Iterable[Event], log_name: str) -> dict[str, str]:
    """Corrected keys of one log and their values as text, the latest row winning."""
    found: dict[str, str] = {}
    for event in events:
        if event.kind == "correction":
            name, key, value = parse_correction(event.text)
            if name == PurePath(log_name).name:
                found[key] = value
    return found


def corrected(log: Log, corrections: Mapping[str, str]) -> Log:
    """The log with the corrected keys in its header; the file itself stays as it was recorded."""
    if not corrections:
        return log
    header = log.header
    for key, text in corrections.items():
        header = _with_key(header, key, text)
    return replace(log, header=header, keys=tuple(dict.fromkeys((*log.keys, *corrections))))


def _with_key(header: LogHeader, key: str, text: str) -> LogHeader:
    value = header_value(key, text)
    extra = {name: old for name, old in header.extra.items() if name != key}
    if key not in KEYS or value is None:
        return replace(_without(header, key), extra=extra | ({key: one_line(text)} if text else {}))
    return replace(header, **{key: value}, extra=extra)


def _without(header: LogHeader, key: str) -> LogHeader:
    blank: Any = () if key == "sealed" else None
    return replace(header, **{key: blank}) if key in KEYS else header
