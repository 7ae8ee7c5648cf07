"""A log as a file: header lines ``# key: value``, then a CSV table.

A recorded log is a sample log is a test fixture. ``read_log`` and ``write_log`` are each other's
inverse for every key, column, heard line and note; ``format_header`` and ``format_row`` are the same
words for a recorder that writes one row at a time.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

import numpy as np

from acquisition.errors import UnreadableInput, WrongUsage, shown
from acquisition.files import read_whole, write_whole
from acquisition.logheader import FIRST_LINE, MOST_KEYS, format_header, read_header
from acquisition.logtable import MOST_LINE_BYTES, Table, read_layout, read_table
from acquisition.numbers import number_text
from acquisition.records import Log, LogHeader

__all__ = ["escape_raw", "format_head", "format_header", "format_row", "read_log", "read_log_bytes",
           "unescape_raw", "write_log"]

LOGS_WITHIN = ("logs/*.csv", "*/logs/*.csv", "*.csv")
"""Where logs are in a box's folder, in an archive and in any other."""
_FIRST = re.compile(r'"?\s*#\s*boxhold log\s*:\s*(\S+?)"?([,;\t]*)\s*', re.IGNORECASE)
_LINE = re.compile(rb"[^\r\n]*(?:\r\n|\r|\n|$)")


def read_log(path: Path | str) -> Log:
    """Read a log.

    Raises
    ------
    UnreadableInput
        The file is missing or is no log; one plain sentence says what is wrong and where.
    """
    path = Path(path)
    return read_log_bytes(read_whole(path, within=LOGS_WITHIN), path)


def read_log_bytes(data: bytes, path: Path | None = None) -> Log:
    """Read a log from its bytes; ``path`` serves messages and tells a log still being written (``.part``).

    Raises
    ------
    UnreadableInput
        As ``read_log``.
    """
    data = _as_utf8(data)
    if not data or data.isspace():
        raise UnreadableInput("the file is empty.", path)
    if path is not None and path.suffix == ".part":
        data = data[: max(data.rfind(b"\n"), data.rfind(b"\r")) + 1] or data
    _check_line_lengths(data, path)
    separators = _check_first_line(data, path)
    head, start, number = _head_lines(data, path)
    header, keys = read_header(((n, _plain(line, separators)) for n, line in head[1:]), path)
    table = _read_table(data, start, number, path)
    return Log(header, table.elapsed_s, table.reading, table.raw, table.note, table.columns, path, keys,
               table.dropped_lines)


def _read_table(data: bytes, start: int, number: int, path: Path | None) -> Table:
    line = _line_at(data, start)
    if not line:
        raise UnreadableInput("there is no table below the header; it starts with a line elapsed_s,reading.", path)
    layout = read_layout(line.decode("utf-8").strip("\r\n"), number, path)
    return read_table(data, layout, start + len(line))


def _as_utf8(data: bytes) -> bytes:
    """Bytes as UTF-8 without a byte order mark; spreadsheets' other encodings are taken over.

    Zeros at the end are what a power cut leaves of a file that was being written.
    """
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return data.decode("utf-16", "replace").encode("utf-8")
    data = data.rstrip(b"\0").removeprefix(b"\xef\xbb\xbf")
    if data.isascii():
        return data
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        return data.decode("cp1252", "replace").encode("utf-8")
    return data


def _check_line_lengths(data: bytes, path: Path | None) -> None:
    start = 0
    while len(data) - start > MOST_LINE_BYTES:
        within = start, start + MOST_LINE_BYTES
        end = max(data.rfind(b"\n", *within), data.rfind(b"\r", *within))
        if end < 0:
            number = max(data.count(b"\n", 0, start), data.count(b"\r", 0, start)) + 1
            fault = f"the line is longer than {MOST_LINE_BYTES // 1000} kB; this is no log."
            raise UnreadableInput(fault, path, number)
        start = end + 1


def _line_at(data: bytes, at: int) -> bytes:
    match = _LINE.match(data, at)
    return match.group() if match else b""


def _head_lines(data: bytes, path: Path | None) -> tuple[list[tuple[int, str]], int, int]:
    """Numbered header lines, and where in the data and on which line the table begins."""
    head: list[tuple[int, str]] = []
    at, number = 0, 1
    while at < len(data):
        line = _line_at(data, at)
        words = line.strip()
        if words and not words.startswith((b"#", b'"#')) and head:
            break
        if words:
            head.append((number, line.decode("utf-8").strip()))
        if len(head) > MOST_KEYS:
            raise UnreadableInput(f"more than {MOST_KEYS} header lines; this is hardly a log.", path)
        at += len(line)
        number += 1
    return head, at, number


def _check_first_line(data: bytes, path: Path | None) -> str:
    """Separators that a spreadsheet hung behind the first line, most often none."""
    match = _FIRST.fullmatch(_line_at(data.lstrip(), 0).decode("utf-8").strip())
    if match is None and re.search(rb"[\x00-\x08\x0e-\x1f]", data[:1000]):
        raise UnreadableInput("this is no text file.", path)
    if match is None:
        advice = f"a log begins with the line '{FIRST_LINE}'; other loggers' files come in through boxhold import"
        raise UnreadableInput(f"this is no log of ours: {advice}.", path, 1)
    if match.group(1) != "1":
        raise UnreadableInput(f"the log's format is '{shown(match.group(1))}', only 1 is known here.", path, 1)
    return match.group(2)


def _plain(line: str, separators: str) -> str:
    """A header line without what a spreadsheet put around it."""
    if line.startswith('"'):
        line = next(csv.reader([line], delimiter=separators[:1] or ","))[0]
    return line.rstrip(separators[0] + " ") if separators else line


def escape_raw(heard: bytes) -> str:
    r"""Text of a heard line: bytes outside printable ASCII, and the backslash, as ``\xNN``."""
    return "".join(chr(b) if 0x20 <= b < 0x7F and b != 0x5C else f"\\x{b:02x}" for b in heard)


def unescape_raw(text: str) -> bytes:
    r"""Bytes of a heard line; the inverse of ``escape_raw``."""
    plain = text.encode("utf-8", "backslashreplace")
    return re.sub(rb"\\x([0-9a-fA-F]{2})", lambda m: bytes([int(m.group(1), 16)]), plain)


def format_head(header: LogHeader, keys: Sequence[str] = (), columns: Iterable[str] = ("raw",)) -> str:
    """Everything above a log's first row: header lines and the line that names the columns.

    ``columns`` are those beside ``elapsed_s`` and ``reading``, in the order ``format_row`` gets them.
    """
    names = ",".join(_cell(name) for name in ("elapsed_s", "reading", *columns))
    return "\n".join([*format_header(header, keys), names]) + "\n"


def format_row(elapsed_s: float, reading: float | None, *cells: str | bytes) -> str:
    """One row with its line end.

    Parameters
    ----------
    elapsed_s
        Seconds since the log's start.
    reading
        Gauge's number; None or NaN leaves the cell empty.
    cells
        The further columns in the order named in the head; bytes are a heard line and get escaped.

    Raises
    ------
    WrongUsage
        The time is no number, or the row would be longer than a log's line may be.
    """
    if not np.isfinite(elapsed_s):
        raise WrongUsage("a row needs its time in seconds.")
    value = "" if reading is None else number_text(reading)
    texts = (escape_raw(cell) if isinstance(cell, bytes) else cell for cell in cells)
    row = ",".join([_time_text(elapsed_s), value, *(_quoted(text) for text in texts)]) + "\n"
    if len(row) > MOST_LINE_BYTES // 4 and len(row.encode("utf-8", "replace")) >= MOST_LINE_BYTES:
        raise WrongUsage(f"a row of a log must stay under {MOST_LINE_BYTES // 1000} kB.")
    return row


def _time_text(elapsed_s: float) -> str:
    text = f"{elapsed_s:.3f}"
    return text if float(text) == elapsed_s else repr(float(elapsed_s))


def _quoted(text: str) -> str:
    return '"' + text.replace('"', '""') + '"' if text else ""


def _cell(text: str) -> str:
    return _quoted(text) if re.search(r'[,;\t"\r\n#]|^\s|\s$', text) else text


def write_log(log: Log, path: Path | str, *, overwrite: bool = False) -> None:
    """Write a log, whole or not at all.

    Raises
    ------
    WrongUsage
        The file exists and ``overwrite`` is False, or a row cannot be written.
    OutsideWorldFailed
        The disk refused.
    """
    write_whole(Path(path), log_text(log).encode("utf-8", "backslashreplace"), overwrite=overwrite)


def log_text(log: Log) -> str:
    """The log's file as text."""
    columns = {"raw": log.raw, "note": log.note, **log.columns}
    columns = {name: cells for name, cells in columns.items() if cells or name in log.columns}
    return format_head(log.header, log.keys, columns) + "".join(_rows(log, list(columns.values())))


def _rows(log: Log, columns: Sequence[Sequence[str]]) -> Iterator[str]:
    numbers = zip(log.elapsed_s.tolist(), log.reading.tolist(), strict=True)
    if not columns:
        return (format_row(*pair) for pair in numbers)
    cells = zip(*columns, strict=True)
    return (format_row(*pair, *row) for pair, row in zip(numbers, cells, strict=True))
