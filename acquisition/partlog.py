"""A log while it is being written: ``<name>.part`` beside its final name, readable at all times.

Rows reach the operating system whole and in order; a full disk keeps them in memory until there is room.
Closing renames the file and never writes over another.
"""

from __future__ import annotations

import errno
import os
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from itertools import count
from pathlib import Path

from filelock import FileLock, Timeout

from acquisition.errors import OutsideWorldFailed, UnreadableInput, WrongUsage
from acquisition.logfile import format_head, format_row, read_log
from acquisition.records import LogHeader

COLUMNS = ("raw", "note")
Write = Callable[[int, bytes], int]


class LogInUse(OutsideWorldFailed):
    """Another recording writes this log."""


def part_path(final: Path) -> Path:
    """Name a log has while it is being recorded."""
    return final.with_name(final.name + ".part")


@dataclass(frozen=True)
class NameLock:
    """A log's name, held for one recording; ``made`` are the folders made for it, innermost first."""

    lock: FileLock
    made: tuple[Path, ...]

    def release(self) -> None:
        """Give the name free and take away the lock's file, and the folders that nothing was put into."""
        self.lock.release()
        Path(self.lock.lock_file).unlink(missing_ok=True)
        with suppress(OSError):
            for folder in self.made:
                folder.rmdir()


def lock_log(final: Path) -> NameLock:
    """Hold a log's name for one recording, in a folder that is made if need be.

    Raises
    ------
    LogInUse
        Another recording holds it.
    OutsideWorldFailed
        The folder cannot be written to.
    """
    lock = FileLock(final.with_name(f".{final.name}.lock"), thread_local=False)
    made = tuple(folder for folder in final.parents if not folder.exists())
    try:
        final.parent.mkdir(parents=True, exist_ok=True)
        lock.acquire(timeout=0)
    except Timeout:
        if not Path(lock.lock_file).exists():  # refused by the folder, not by another recording
            raise OutsideWorldFailed(f"{final.parent} takes no new files; choose another folder.") from None
        raise LogInUse(f"{final} is being written by another recording; end that one or choose another name.") from None
    except OSError as problem:
        raise OutsideWorldFailed(f"{final.parent} cannot be written to ({problem.strerror or problem}).") from None
    return NameLock(lock, made)


class PartLog:
    """Writes one log row by row.

    Parameters
    ----------
    final
        Name the log gets when it is closed; it must be free, and so must the name with ``.part``.
    header
        Header of the log; written at once.
    write
        How bytes reach the file; tests give one that fails.

    Raises
    ------
    WrongUsage
        The final name is taken; it is left untouched.
    OutsideWorldFailed
        The file cannot be made, or another recording writes it.
    """

    def __init__(
        self, final: Path, header: LogHeader, *, lock: NameLock | None = None, write: Write = os.write
    ) -> None:
        self.final = final
        self.path = part_path(final)
        self._lock = lock_log(final) if lock is None else lock
        self._write = write
        self._waiting = bytearray()
        self._dirty = False
        self.problem: str | None = None
        try:
            self._file = self._create()
        except BaseException:
            self._lock.release()
            raise
        self._waiting += format_head(header, columns=COLUMNS).encode("utf-8", "backslashreplace")
        self.flush()

    def _create(self) -> int:
        if self.final.exists():
            raise WrongUsage(f"{self.final} exists already; it is left as it is, choose another name.")
        try:
            return os.open(self.path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o644)
        except FileExistsError:
            raise WrongUsage(f"{self.path} is left over from a recording that was cut off; finish it first.") from None
        except OSError as problem:
            raise OutsideWorldFailed(f"{self.path} cannot be made ({problem.strerror or problem}).") from None

    def row(self, elapsed_s: float, reading: float | None, raw: bytes = b"", note: str = "") -> None:
        """Take one row; it reaches the file with the next ``flush``."""
        self._waiting += format_row(elapsed_s, reading, raw, note).encode("utf-8", "backslashreplace")

    @property
    def waiting_bytes(self) -> int:
        """Bytes that are in memory only."""
        return len(self._waiting)

    def flush(self) -> bool:
        """Hand all rows to the operating system; False, and ``problem`` says why, while it takes none."""
        try:
            while self._waiting:
                done = self._write(self._file, bytes(self._waiting[:1_000_000]))
                del self._waiting[:done]
                self._dirty = True
        except OSError as problem:
            self.problem = _disk_sentence(problem, self.path)
            return False
        self.problem = None
        return True

    def sync(self) -> None:
        """Make the disk keep what it was given, so that a power cut cannot take it."""
        if not self._dirty:
            return
        self._dirty = False
        try:
            os.fsync(self._file)
        except OSError as problem:
            self.problem = _disk_sentence(problem, self.path)

    def close(self) -> Path:
        """Finish the log and give it its final name, or one with ``-2`` if that was taken meanwhile.

        Raises
        ------
        OutsideWorldFailed
            The disk took not all rows; the log stays beside its name with ``.part``.
        """
        whole = self.flush()
        self.sync()
        os.close(self._file)
        try:
            if not whole:
                raise OutsideWorldFailed(f"{self.problem} What was saved is in {self.path}.")
            name = move_to_free_name(self.path, self.final)
            _keep_name(name.parent)
            return name
        finally:
            self._lock.release()


def _keep_name(folder: Path) -> None:
    """Make the disk keep a new name, where folders can be told to."""
    if os.name == "nt":
        return
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _disk_sentence(problem: OSError, path: Path) -> str:
    if problem.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
        return "The disk is full; the readings are kept in memory, make room and the recording goes on."
    return f"{path} takes no rows ({problem.strerror or problem}); the readings are kept in memory."


def move_to_free_name(part: Path, final: Path, first: int = 1) -> Path:
    """Rename a finished part to its final name, or the next free of ``-2``, ``-3``; nothing is overwritten."""
    for number in count(first):
        name = final if number == 1 else numbered(final, number)
        try:
            os.link(part, name)
        except FileExistsError:
            continue
        except OSError:  # some memory sticks know no links
            if name.exists():
                continue
            os.rename(part, name)
            return name
        os.unlink(part)
        return name
    raise AssertionError("count never ends")


def numbered(final: Path, number: int) -> Path:
    """``log-2.csv`` of ``log.csv``."""
    return final.with_name(f"{final.stem}-{number}{final.suffix}")


@dataclass(frozen=True)
class LeftOver:
    """A log that was cut off: its file, how many rows it has and how long it ran (s)."""

    path: Path
    rows: int
    seconds: float


def left_over(final: Path) -> LeftOver | None:
    """What a recording that was cut off has left beside this name, if anything."""
    path = part_path(final)
    if not path.exists():
        return None
    try:
        log = read_log(path)
    except UnreadableInput:
        return LeftOver(path, 0, 0.0)
    seconds = float(log.elapsed_s.max()) if log.elapsed_s.size else 0.0
    return LeftOver(path, int(log.elapsed_s.size), seconds)


def finish_left_over(path: Path, *, keep_name_free: bool) -> Path:
    """Close a log that was cut off; a row torn by the cut is taken off its end.

    Parameters
    ----------
    path
        The ``.part`` file.
    keep_name_free
        Its final name is wanted for the next recording: close it with ``-2`` (or the next free number).

    Raises
    ------
    OutsideWorldFailed
        The disk refused.
    """
    final = path.with_name(path.name.removesuffix(".part"))
    try:
        with open(path, "r+b") as file:
            data = file.read()
            file.truncate(data.rfind(b"\n") + 1)
            os.fsync(file.fileno())
        return move_to_free_name(path, final, first=2 if keep_name_free else 1)
    except OSError as problem:
        raise OutsideWorldFailed(f"{path} cannot be closed ({problem.strerror or problem}).") from None
