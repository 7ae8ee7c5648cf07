"""Real serial device files for tests: one pseudo-terminal, or two joined by a thread."""

from __future__ import annotations

import os
import select
import threading
import time
import tty
from collections.abc import Callable, Iterator
from contextlib import contextmanager


class Pty:
    """A device file and its other end; closing the other end is pulling the cable."""

    def __init__(self) -> None:
        self.far, near = os.openpty()
        tty.setraw(self.far)
        tty.setraw(near)
        self.name = os.ttyname(near)
        self._near: int | None = near

    def send(self, data: bytes) -> None:
        os.write(self.far, data)

    def pull(self) -> None:
        for end in (self.far, self._near):
            if end is not None:
                os.close(end)
        self.far, self._near = -1, None

    def let_go(self) -> None:
        """From now on only whoever opened the device file holds it."""
        if self._near is not None:
            os.close(self._near)
            self._near = None


@contextmanager
def pty() -> Iterator[Pty]:
    one = Pty()
    try:
        yield one
    finally:
        if one.far >= 0:
            one.pull()


@contextmanager
def joined() -> Iterator[tuple[str, str]]:
    """Two device files; what goes into one comes out of the other."""
    with pty() as a, pty() as b:
        over = threading.Event()

        def copy() -> None:
            while not over.is_set():
                for end in select.select([a.far, b.far], [], [], 0.02)[0]:
                    os.write(b.far if end == a.far else a.far, os.read(end, 4096))

        thread = threading.Thread(target=copy)
        thread.start()
        try:
            yield a.name, b.name
        finally:
            over.set()
            thread.join()


def wait_until(true: Callable[[], object], seconds: float = 30.0) -> None:
    """Wait for something a thread or another program does; fail when it does not."""
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end, "it did not happen in time"
        threading.Event().wait(0.005)
