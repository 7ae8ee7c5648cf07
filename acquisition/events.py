"""What was done to a box and noticed of it: ``events.csv``, and the corrections of logs that stand in it."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import date
from pathlib import Path, PurePath
from typing import Any, get_args, get_type_hints

from acquisition.errors import UnreadableInput, WrongUsage, shown
from acquisition.files import read_whole, write_whole
from acquisition.logheader import KEYS, header_value, one_line
from acquisition.records import Event, Log, LogHeader
from acquisition.setups import check_path

COLUMNS = ("date", "path", "kind", "text")
KINDS: tuple[str, ...] = get_args(get_type_hints(Event)["kind"])
MOST_EVENTS_BYTES = 100_000_000


def check_event(event: Event) -> Event:
    """Return the event if each of its parts can stand in the file.

    Raises
    ------
    WrongUsage
        The date is no ISO date, the path or the kind is not known, the text is blank, or a correction
        does not say which key of which log gets which value.
    """
    try:
        date.fromisoformat(event.date)
    except ValueError:
        raise WrongUsage(f"'{shown(event.date)}' is no date; write year-month-day, such as 2026-05-03.") from None
    if event.path:
        check_path(event.path)
    if event.kind not in KINDS:
        raise WrongUsage(f"'{shown(event.kind)}' is no kind of event; take one of {', '.join(KINDS)}.")
    if not event.text.strip():
        raise WrongUsage("an event needs a text that says what was done or noticed.")
    if event.kind == "correction":
        parse_correction(event.text)
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


def read_events(path: Path | str) -> tuple[Event, ...]:
    """Events of a box in the order of the file; none when there is no file.

    Raises
    ------
    UnreadableInput
        A row cannot be an event; says which line.
    """
    path = Path(path)
    if not path.exists():
        return ()
    try:
        text = read_whole(path, MOST_EVENTS_BYTES).decode("utf-8-sig")
    except UnicodeDecodeError:
        raise UnreadableInput("this is no UTF-8 text; save it as UTF-8.", path) from None
    return tuple(_events(text, path))


def _events(text: str, path: Path) -> Iterable[Event]:
    first = text.partition("\n")[0]
    rows = csv.reader(io.StringIO(text, newline=""), delimiter=max(",;\t", key=first.count))
    names: list[str] = []
    try:
        for row in rows:
            if not any(cell.strip() for cell in row):
                continue
            if not names:
                names = _column_names(row, path, rows.line_num)
            else:
                yield _event(dict(zip(names, row, strict=False)), path, rows.line_num)
    except csv.Error as error:
        raise UnreadableInput(f"this row cannot be read ({error}).", path, rows.line_num) from None


def _column_names(row: list[str], path: Path, line: int) -> list[str]:
    names = [cell.strip().lower() for cell in row]
    if not set(COLUMNS) <= set(names):
        raise UnreadableInput(f"the first line must name the columns {','.join(COLUMNS)}.", path, line)
    return names


def _event(cells: Mapping[str, str], path: Path, line: int) -> Event:
    texts = {name: cells.get(name, "").strip() for name in COLUMNS}
    try:
        return check_event(Event(**texts))  # type: ignore[arg-type]  # check_event looks at the kind
    except WrongUsage as error:
        raise UnreadableInput(str(error), path, line) from None


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
    check_event(event)
    path.parent.mkdir(parents=True, exist_ok=True)
    with FileLock(path.with_name(path.name + ".lock"), timeout=10):
        read_events(path)
        write_whole(path, _with_row(path, event), overwrite=True)


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
