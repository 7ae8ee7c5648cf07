"""The archive: plain files are the truth, a catalogue beside them an index that can be thrown away.

``DIR/<box>/box.toml``, ``DIR/<box>/events.csv``, ``DIR/<box>/logs/<yyyymmddThhmmss>-<setup>.csv``, and
``DIR/catalogue.sqlite``. Nothing that was recorded is ever written over.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager, nullcontext, suppress
from datetime import UTC, datetime
from functools import cached_property
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING

from acquisition.boxfile import BOX_FILE, check_box_name, read_box, write_box
from acquisition.errors import OutsideWorldFailed, UnreadableInput, WrongUsage
from acquisition.events import append_event, corrected, corrections_of, event_troubles, read_events
from acquisition.files import read_whole, write_whole
from acquisition.logfile import log_text, read_log, read_log_bytes
from acquisition.records import Box, Event, Log, LogEntry

if TYPE_CHECKING:
    from acquisition.catalogue import Catalogue

__all__ = ["Archive", "append_event", "read_events"]

EVENTS_FILE = "events.csv"
LOGS_FOLDER = "logs"
CATALOGUE_FILE = "catalogue.sqlite"


class Archive:
    """The boxes, logs and events below one folder.

    Parameters
    ----------
    root
        The folder; it is made when something is first written.
    catalogue_url
        Address of a PostgreSQL database for the catalogue; without one it is a SQLite file in ``root``.
    """

    def __init__(self, root: Path | str, catalogue_url: str | None = None) -> None:
        self.root = Path(root)
        self._catalogue_url = catalogue_url

    # Boxes

    def boxes(self) -> tuple[str, ...]:
        """Names of the boxes, sorted."""
        if not self.root.is_dir():
            return ()
        return tuple(sorted(folder.name for folder in self.root.iterdir() if _is_box_folder(folder)))

    def folder(self, box: str) -> Path:
        """Folder of a box, whether it is there or not.

        Raises
        ------
        WrongUsage
            The name cannot be a box's.
        """
        return self.root / check_box_name(box)

    def box(self, name: str) -> Box | None:
        """What the box file says, or None when there is none.

        Raises
        ------
        UnreadableInput
            The file cannot be read, or is another box's.
        """
        path = self.folder(name) / BOX_FILE
        if not path.exists():
            return None
        box = read_box(path)
        if box.name != name:
            raise UnreadableInput(f"the file's name is '{box.name}', but the folder is {name}'s; mend one.", path)
        return box

    def write_box(self, box: Box) -> Path:
        """Write a box's file, in place of the one that is there, and return where."""
        path = self.folder(box.name) / BOX_FILE
        write_box(box, path)
        return path

    # Logs

    def log_paths(self, box: str) -> tuple[Path, ...]:
        """Logs of a box, sorted by name and so by time; logs still being written are left out."""
        paths = (path for path in (self.folder(box) / LOGS_FOLDER).glob("*.csv") if path.is_file())
        return tuple(sorted(paths, key=_by_name))

    def log(self, path: Path | str) -> Log:
        """Read a log of the archive with the corrections of its header.

        Raises
        ------
        UnreadableInput
            The log cannot be read.
        """
        return corrected(read_log(path), self.corrections(Path(path)))

    def corrections(self, path: Path) -> dict[str, str]:
        """Corrected keys of a log of the archive and their texts."""
        return corrections_of(read_events(path.parent.parent / EVENTS_FILE), path.name)

    def new_log_path(self, box: str, setup: str | None, started: datetime) -> Path:
        """A name for a new log that no log has, finished or being written."""
        return next(path for path in self._names(box, setup, started) if not _taken(path))

    def file_log(self, log: Log, source: bytes | None = None, now: Callable[[], datetime] = datetime.now) -> Path:
        """File a log under a free name and return where.

        Parameters
        ----------
        log
            Its header names the box.
        source
            The log's own bytes, kept as they are; without them the log is written anew.
        now
            Clock for the name of a log that does not say when it was started.

        Raises
        ------
        WrongUsage
            The log names no box.
        OutsideWorldFailed
            The disk refused.
        """
        if log.header.box is None:
            raise WrongUsage("the log names no box, so it cannot be filed; give it one.")
        data = log_text(log).encode("utf-8", "backslashreplace") if source is None else source
        for path in self._names(log.header.box, log.header.setup, log.header.started or now()):
            if not _taken(path) and _written(path, data):
                return path
        raise AssertionError("names never run out")

    def adopt(self, path: Path | str) -> Path:
        """File a copy of a log from elsewhere, byte for byte, and return where."""
        data = read_whole(Path(path))
        return self.file_log(read_log_bytes(data, Path(path)), source=data)

    def _names(self, box: str, setup: str | None, started: datetime) -> Iterator[Path]:
        words = re.sub(r"[^A-Za-z0-9._-]+", "-", setup or "unknown").strip(".-") or "unknown"
        stem = f"{started:%Y%m%dT%H%M%S}-{words[:80]}"
        folder = self.folder(box) / LOGS_FOLDER
        return (folder / (f"{stem}.csv" if i == 1 else f"{stem}-{i}.csv") for i in count(1))

    # Events

    def events(self, box: str) -> tuple[Event, ...]:
        """Events of a box in the order of its file, without the lines that ``event_troubles`` names."""
        return read_events(self.folder(box) / EVENTS_FILE)

    def event_troubles(self, box: str) -> tuple[str, ...]:
        """One sentence for each line of a box's events that cannot count."""
        return event_troubles(self.folder(box) / EVENTS_FILE)

    def add_event(self, box: str, event: Event) -> None:
        """Add an event to a box's file; see ``append_event``."""
        append_event(self.folder(box) / EVENTS_FILE, event)

    # Catalogue

    @cached_property
    def _catalogue(self) -> Catalogue:
        # Loaded only where it is used: recording does without the database.
        from acquisition.catalogue import Catalogue

        return Catalogue(self._catalogue_url or self.root / CATALOGUE_FILE)

    def fingerprint(self, path: Path | str) -> str:
        """Text that changes when a log, its corrections or its box's file change.

        Raises
        ------
        UnreadableInput
            The log cannot be read.
        """
        path = Path(path)
        box_file = path.parent.parent / BOX_FILE
        parts = (
            read_whole(path),
            repr(sorted(self.corrections(path).items())).encode(),
            box_file.read_bytes() if box_file.is_file() else b"",
        )
        return hashlib.sha256(b"".join(hashlib.sha256(part).digest() for part in parts)).hexdigest()

    def kept_result(self, fingerprint: str, code_version: str, what: str = "assess") -> str | None:
        """A result kept earlier (JSON text), or None."""
        with self._forgiving():
            return self._catalogue.result(fingerprint, code_version, what)
        return None

    def keep_result(self, fingerprint: str, code_version: str, text: str, what: str = "assess") -> None:
        """Keep a result (JSON text) for the log with this fingerprint and this version of the code."""
        with self._forgiving():
            self._catalogue.keep_result(fingerprint, code_version, what, text)

    def _forgiving(self) -> AbstractContextManager[object, bool | None]:
        """Do without a catalogue of our own that fails, but not without one that was asked for."""
        return suppress(OutsideWorldFailed) if self._catalogue_url is None else nullcontext()

    def entries(self, box: str | None = None) -> tuple[LogEntry, ...]:
        """What is known of every log, of one box or all, by box and name; the catalogue is brought up to date.

        Raises
        ------
        OutsideWorldFailed
            The database at ``catalogue_url`` cannot be reached.
        """
        known: dict[tuple[str, str], LogEntry] = {}
        with self._forgiving():
            known = {(entry.box, entry.name): entry for entry in self._catalogue.entries()}
        fresh = {(entry.box, entry.name): entry for name in self.boxes() for entry in self._look(name, known)}
        changed = [entry for key, entry in fresh.items() if known.get(key) != entry]
        gone = [key for key in known if key not in fresh]
        if changed or gone:
            with self._forgiving():
                self._catalogue.update(changed, gone)
        return tuple(entry for entry in fresh.values() if box in (None, entry.box))

    def _look(self, box: str, known: Mapping[tuple[str, str], LogEntry]) -> Iterator[LogEntry]:
        """Entries of a box's logs; only those whose stamp changed are opened."""
        events, fault = self.events(box), " ".join(self.event_troubles(box))
        for path in self.log_paths(box):
            corrections = corrections_of(events, path.name)
            status = path.stat()
            digest = hashlib.sha256(repr((sorted(corrections.items()), fault)).encode()).hexdigest()
            stamp = f"{status.st_size}:{status.st_mtime_ns}:{digest[:16]}"
            old = known.get((box, path.name))
            yield old if old and old.stamp == stamp else _entry(box, path, stamp, corrections, fault)


def _entry(box: str, path: Path, stamp: str, corrections: Mapping[str, str], fault: str) -> LogEntry:
    """Open one log for the catalogue."""
    content_hash = ""
    try:
        data = read_whole(path)
        content_hash = hashlib.sha256(data).hexdigest()
        log = corrected(read_log_bytes(data, path), corrections)
    except UnreadableInput as error:
        return LogEntry(box, path.name, stamp, content_hash, None, (), None, 0, fault or str(error))
    header = log.header
    started = header.started.astimezone(UTC).isoformat() if header.started else None
    rows = int(log.elapsed_s.size)
    return LogEntry(box, path.name, stamp, content_hash, header.setup, header.sealed, started, rows, fault or None)


def _is_box_folder(folder: Path) -> bool:
    try:
        check_box_name(folder.name)
    except WrongUsage:
        return False
    return any((folder / name).is_file() for name in (BOX_FILE, EVENTS_FILE)) or any(
        (folder / LOGS_FOLDER).glob("*.csv")
    )


def _by_name(path: Path) -> tuple[str, int]:
    """Sort key that puts ``-2`` and ``-10`` behind the name they were counted up from."""
    stem, dash, number = path.stem.rpartition("-")
    return (stem, int(number)) if dash and number.isdecimal() and len(number) < 10 else (path.stem, 1)


def _taken(path: Path) -> bool:
    return path.exists() or path.with_name(path.name + ".part").exists()


def _written(path: Path, data: bytes) -> bool:
    """Write a new file; False when another writer took the name in between."""
    try:
        write_whole(path, data, overwrite=False)
    except WrongUsage:
        return False
    return True
