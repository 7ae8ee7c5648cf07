"""A gauge behind a network's serial server, RFC 2217, spoken by pyserial's own server end over a real device file."""

from __future__ import annotations

import os
import select
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
import serial
from serial.rfc2217 import PortManager

from acquisition.gaugefile import PortSettings
from acquisition.serialport import PortLost, open_port
from tests.acquisition.ptys import Pty, pty, wait_until

pytestmark = [
    pytest.mark.pty,
    pytest.mark.filterwarnings("ignore:set.*is deprecated:DeprecationWarning"),  # pyserial 3.5 starts its reader so
]


class _Connection:
    """What ``PortManager`` writes its answers to."""

    def __init__(self, peer: socket.socket) -> None:
        self.write = peer.sendall


class _WithoutModemLines(serial.Serial):
    """A pseudo-terminal has no modem lines to ask for or to set."""

    cts = dsr = ri = cd = property(lambda self: False)  # type: ignore[assignment]

    def _update_dtr_state(self) -> None:
        pass

    def _update_rts_state(self) -> None:
        pass


def _serve(server: socket.socket, device: str, over: threading.Event) -> None:
    peer, _ = server.accept()
    with peer, _WithoutModemLines(device, timeout=0) as port:
        manager = PortManager(port, _Connection(peer))
        while not over.is_set():
            heard, _, _ = select.select([peer, port.fileno()], [], [], 0.02)
            if port.fileno() in heard:
                peer.sendall(b"".join(manager.escape(port.read(4096))))
            if peer in heard:
                data = peer.recv(4096)
                if not data:
                    return
                port.write(b"".join(manager.filter(data)))


@contextmanager
def served() -> Iterator[tuple[str, Pty, threading.Event]]:
    """Address of a served gauge, the gauge's end of its line, and the event that ends the service."""
    over = threading.Event()
    with socket.create_server(("127.0.0.1", 0)) as server, pty() as line:
        thread = threading.Thread(target=_serve, args=(server, line.name, over))
        thread.start()
        try:
            yield f"rfc2217://127.0.0.1:{server.getsockname()[1]}", line, over
        finally:
            over.set()
            thread.join(timeout=10)


def test_a_gauge_behind_a_serial_server_is_set_up_heard_and_asked() -> None:
    with served() as (address, line, _):
        port = open_port(address, PortSettings(9600))
        line.send(b"101.3 kPa\r\n\xff\r\n")
        heard = bytearray()
        wait_until(lambda: heard.extend(port.read_waiting()) or len(heard) >= 14)
        # 0xFF is telnet's own escape and must come through as one byte.
        assert bytes(heard) == b"101.3 kPa\r\n\xff\r\n"
        port.write(b"MEAS:PRES?\n")
        assert select.select([line.far], [], [], 5.0)[0]
        assert os.read(line.far, 100) == b"MEAS:PRES?\n"
        port.close()


def test_a_serial_server_that_goes_away_is_a_pulled_cable() -> None:
    with served() as (address, _, over):
        port = open_port(address)
        over.set()
        with pytest.raises(PortLost, match="check the plug"):
            wait_until(lambda: port.read_waiting() and None)
        port.close()
