"""Plays timed bytes through a pseudo-terminal, or a TCP socket where there is none.

Whoever opens the port hears a gauge on a real serial device file.
"""

from __future__ import annotations

import contextlib
import os
import select
import socket
import time
from collections.abc import Callable
from typing import Protocol

from acquisition.errors import OutsideWorldFailed
from acquisition.simgauge import Events

OPENED_WAIT_S = 0.3
"""A program that opens a serial port first throws away what waits there."""
POLL_S = 0.05


class Outlet(Protocol):
    """A line somebody may listen to."""

    address: str

    def heard(self) -> bool:
        """Whether somebody listens now."""

    def send(self, data: bytes) -> bool:
        """Send bytes; False when nobody took them."""

    def close(self) -> None:
        """Take the line away."""


class PtyOutlet:
    """A pseudo-terminal; ``address`` is its device file."""

    def __init__(self) -> None:
        import tty

        self._master, slave = os.openpty()
        tty.setraw(self._master)
        tty.setraw(slave)  # it would echo, and turn CR LF into LF
        self.address = os.ttyname(slave)
        os.close(slave)  # from now on the master hangs up while nobody listens
        os.set_blocking(self._master, False)

    def heard(self) -> bool:
        """Whether the device file is open somewhere."""
        poll = select.poll()
        poll.register(self._master, select.POLLOUT)
        return not any(event & select.POLLHUP for _, event in poll.poll(0))

    def send(self, data: bytes) -> bool:
        """Send bytes; waits while the buffer is full and somebody still listens."""
        while data:
            try:
                data = data[os.write(self._master, data) :]
            except BlockingIOError:
                if not self.heard():
                    return False
                time.sleep(POLL_S)
            except OSError:
                return False
        return True

    def close(self) -> None:
        """Take the device file away."""
        os.close(self._master)


class SocketOutlet:
    """A TCP socket on this machine alone; one listener at a time."""

    def __init__(self, port: int = 0) -> None:
        try:
            self._server = socket.create_server(("127.0.0.1", port))
        except OSError as problem:
            raise OutsideWorldFailed(f"TCP port {port} cannot be taken ({problem.strerror or problem}).") from None
        self._server.setblocking(False)
        self._peer: socket.socket | None = None
        self.address = f"socket://127.0.0.1:{self._server.getsockname()[1]}"

    def heard(self) -> bool:
        """Whether somebody is connected."""
        if self._peer is None:
            try:
                self._peer, _ = self._server.accept()
            except BlockingIOError:
                return False
        try:
            self._peer.setblocking(False)
            gone = self._peer.recv(4096) == b""
        except BlockingIOError:
            gone = False
        except OSError:
            gone = True
        if gone:
            self._drop()
        return not gone

    def send(self, data: bytes) -> bool:
        """Send bytes."""
        if self._peer is None:
            return False
        try:
            self._peer.setblocking(True)
            self._peer.sendall(data)
        except OSError:
            self._drop()
            return False
        return True

    def _drop(self) -> None:
        if self._peer is not None:
            self._peer.close()
            self._peer = None

    def close(self) -> None:
        """Take the socket away."""
        self._drop()
        self._server.close()


def open_outlet(tcp_port: int | None = None) -> Outlet:
    """A pseudo-terminal, or a TCP socket when asked for or where the machine has no pseudo-terminals."""
    if tcp_port is None and hasattr(os, "openpty"):
        with contextlib.suppress(OSError, ImportError):
            return PtyOutlet()
    return SocketOutlet(tcp_port or 0)


def play(
    events: Events, outlet: Outlet, speed: float = 1.0, *, clock: Callable[[], float] = time.monotonic,
    sleep: Callable[[float], None] = time.sleep, told: Callable[[str], None] = lambda text: None,
) -> int:  # fmt: skip
    """Play events to whoever listens; waits for a listener, and for one that went away to come back.

    Parameters
    ----------
    events
        Times in s from the start, rising, and bytes.
    speed
        How many of the events' seconds pass in one of ours.
    told
        Gets a few words when a listener comes or goes.

    Returns
    -------
    int
        How many events were sent.
    """
    sent = 0
    start = _await_listener(outlet, clock, sleep, told)
    for t_s, data in events:
        while (wait_s := start + t_s / speed - clock()) > 0:
            sleep(min(wait_s, POLL_S))
        while not (outlet.heard() and outlet.send(data)):
            told("nobody listens; waiting")
            start = _await_listener(outlet, clock, sleep, told) - t_s / speed
        sent += 1
    return sent


def _await_listener(
    outlet: Outlet, clock: Callable[[], float], sleep: Callable[[float], None], told: Callable[[str], None]
) -> float:
    """Wait until somebody listens; returns when the playing begins."""
    while not outlet.heard():
        sleep(POLL_S)
    told("somebody listens")
    sleep(OPENED_WAIT_S)
    return clock()
