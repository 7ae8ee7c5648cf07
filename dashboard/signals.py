"""Ctrl-C and SIGTERM as something to wait for."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from threading import Lock
from types import FrameType


class EndSignal:
    """Whether the end has been asked for.

    An ``Event`` would not do: its ``set`` takes the lock that its ``wait`` holds for a moment, and a signal's handler
    runs in the very thread that waits, wherever that stands. Letting go of a lock waits for nothing.
    """

    def __init__(self) -> None:
        self._shut = Lock()
        self._shut.acquire()

    def set(self) -> None:
        """Ask for the end; once is enough."""
        with suppress(RuntimeError):  # asked already
            self._shut.release()

    def wait(self, seconds: float) -> bool:
        """Wait for the end, so long at most; whether it has been asked for."""
        asked = self._shut.acquire(timeout=seconds)
        if asked:
            self.set()
        return asked


@contextmanager
def ended_by_signal() -> Iterator[EndSignal]:
    """What Ctrl-C and SIGTERM set."""
    ended = EndSignal()

    def end(number: int, frame: FrameType | None) -> None:
        ended.set()

    before = {s: signal.signal(s, end) for s in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield ended
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
