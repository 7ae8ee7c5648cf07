"""Whole files in and out: read with a limit on size, written whole or not at all."""

from __future__ import annotations

import os
import secrets
import stat
from collections.abc import Callable, Sequence
from pathlib import Path

from acquisition.errors import OutsideWorldFailed, UnreadableInput, WrongUsage

MOST_BYTES = 1_000_000_000


def read_whole(path: Path, most_bytes: int = MOST_BYTES, *, within: Sequence[str] = ()) -> bytes:
    """Bytes of an ordinary file; ``within`` are patterns of what to name instead where it is a folder.

    Raises
    ------
    UnreadableInput
        The file is missing, is no ordinary file, is larger than ``most_bytes`` or cannot be read.
    """
    try:
        status = path.stat()
        if stat.S_ISDIR(status.st_mode):
            inside = next((f", such as {path / pattern}" for pattern in within if any(path.glob(pattern))), "")
            raise UnreadableInput(f"this is a folder; name a file in it{inside}.", path)
        if not stat.S_ISREG(status.st_mode):
            raise UnreadableInput("this is no ordinary file.", path)
        if status.st_size > most_bytes:
            raise UnreadableInput(f"larger than {most_bytes // 1_000_000} MB, too large to be read.", path)
        return path.read_bytes()
    except FileNotFoundError:
        raise UnreadableInput("there is no such file.", path) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise UnreadableInput(f"cannot be read ({reason}).", path) from None


def write_whole(path: Path, data: bytes, *, overwrite: bool) -> None:
    """Write a file so that it is there whole or not at all.

    Raises
    ------
    WrongUsage
        The file exists and ``overwrite`` is False; it is left untouched.
    OutsideWorldFailed
        The folder or the disk refused.
    """
    try:
        _through_neighbour(path, data, os.replace if overwrite else _move_to_free_name)
    except FileExistsError:
        raise WrongUsage(f"{path} exists already; it is left as it is, choose another name.") from None
    except OSError as error:
        raise OutsideWorldFailed(f"{path} cannot be written ({error.strerror or error}).") from None


def _through_neighbour(path: Path, data: bytes, move: Callable[[Path, Path], None]) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    neighbour = path.parent / f".writing-{os.getpid()}-{secrets.token_hex(4)}.tmp"
    try:
        with open(neighbour, "xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        move(neighbour, path)
    finally:
        neighbour.unlink(missing_ok=True)


def _move_to_free_name(neighbour: Path, path: Path) -> None:
    try:
        os.link(neighbour, path)
    except FileExistsError:
        raise
    except OSError:
        # Some memory sticks know no links: hold the name with an empty file, then move over it.
        os.close(os.open(path, os.O_CREAT | os.O_EXCL))
        os.replace(neighbour, path)
