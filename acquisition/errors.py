"""One tree of errors, worded for the person at the bench.

BoxholdError
 +- WrongUsage          exit 2: the call's words are off
 +- UnreadableInput     exit 3: a file is missing or cannot be read
 +- OutsideWorldFailed  exit 4: port, disk, network or lock failed
"""

from __future__ import annotations

from pathlib import Path


def shown(text: str, most: int = 60) -> str:
    """Foreign text as a message may carry it: one line, printable, not long."""
    plain = "".join(char if char.isprintable() else "?" for char in text.strip())
    return plain if len(plain) <= most else plain[: most - 3] + "..."


class BoxholdError(Exception):
    """Base of every error this project raises on purpose.

    The message is one plain sentence: what, where and what to do.
    """

    exit_code = 1


class WrongUsage(BoxholdError):  # noqa: N818 - read aloud, the name says what happened
    """The call's words do not fit together."""

    exit_code = 2


class UnreadableInput(BoxholdError):  # noqa: N818 - read aloud, the name says what happened
    """A file is missing, or is not what it should be.

    Parameters
    ----------
    reason
        What is wrong and what to do, without the file's name.
    path
        The file; it is put in front of the reason.
    line
        1-based line number in the file, when one line is to blame.
    """

    exit_code = 3

    def __init__(self, reason: str, path: Path | str | None = None, line: int | None = None) -> None:
        where = "" if path is None else f"{path}: "
        if line is not None:
            where = f"{path or 'input'}, line {line}: "
        super().__init__(where + reason)
        self.path = path
        self.line = line


class OutsideWorldFailed(BoxholdError):  # noqa: N818 - read aloud, the name says what happened
    """A port, a disk, a network address or a lock refused."""

    exit_code = 4
