"""Single keys from a terminal, without waiting for Enter."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any


class Keys:
    """Keys pressed since the last call; on a terminal that has none of this, always empty."""

    def __init__(self, read: Any = None) -> None:
        self._read = read

    def pressed(self) -> str:
        """Characters typed since the last call."""
        return "" if self._read is None else str(self._read())


@contextmanager
def keys() -> Iterator[Keys]:
    """Take single keys until the end of the block; Ctrl-C stays what it is."""
    try:
        import termios
        import tty
    except ImportError:
        yield Keys(_windows_keys)
        return
    file = sys.stdin.fileno()
    before = termios.tcgetattr(file)
    try:
        tty.setcbreak(file)
        yield Keys(_unix_keys)
    finally:
        termios.tcsetattr(file, termios.TCSADRAIN, before)


def _unix_keys() -> str:
    import os
    import select

    text = ""
    while select.select([sys.stdin], [], [], 0)[0]:
        data = os.read(sys.stdin.fileno(), 64)
        if not data:
            break
        text += data.decode("utf-8", "ignore")
    return text


def _windows_keys() -> str:
    import msvcrt

    text = ""
    while msvcrt.kbhit():  # type: ignore[attr-defined]
        text += msvcrt.getwch()  # type: ignore[attr-defined]
    return text
