"""Ports as they are: pseudo-terminals, sockets, a loop; locks and lost cables."""

from __future__ import annotations

import socket
import tempfile

import pytest

from acquisition.errors import WrongUsage
from acquisition.gaugefile import PortSettings
from acquisition.serialport import PortLost, find_again, identity_of, list_ports, open_port
from tests.acquisition.ptys import pty, wait_until

pytestmark = pytest.mark.pty


def collect(port: object, length: int) -> bytes:
    heard = bytearray()

    def enough() -> bool:
        heard.extend(port.read_waiting())  # type: ignore[attr-defined]
        return len(heard) >= length

    wait_until(enough)
    return bytes(heard)


def test_bytes_go_both_ways_untouched() -> None:
    every = bytes(range(256))
    with pty() as line:
        port = open_port(line.name)
        line.send(every)
        assert collect(port, 256) == every
        assert port.read_waiting() == b""
        port.write(b"?P\r\n")
        import os

        assert os.read(line.far, 10) == b"?P\r\n"
        port.close()


def test_a_second_listener_is_refused_and_takes_no_byte() -> None:
    with pty() as line:
        port = open_port(line.name)
        with pytest.raises(PortLost, match="in use by another"):
            open_port(line.name)
        line.send(b"101.3\r\n")
        assert collect(port, 7) == b"101.3\r\n"
        port.close()
        open_port(line.name).close()


def test_a_pulled_cable_is_an_error_of_its_own_and_closing_is_harmless() -> None:
    with pty() as line:
        port = open_port(line.name)
        line.pull()
        with pytest.raises(PortLost, match="check the plug"):
            wait_until(lambda: port.read_waiting() and None)
        with pytest.raises(PortLost):
            port.write(b"?")
        port.close()
        port.close()


def test_a_socket_is_heard_and_its_end_is_told() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        address = f"socket://127.0.0.1:{server.getsockname()[1]}"
        port = open_port(address)
        peer, _ = server.accept()
        with peer:
            peer.sendall(b"101.3\r\n101.2\r\n")
            assert collect(port, 14) == b"101.3\r\n101.2\r\n"
            with pytest.raises(PortLost, match="in use"):
                open_port(address)
        with pytest.raises(PortLost):
            wait_until(lambda: port.read_waiting() and None)
        port.close()


def test_a_loop_hears_itself() -> None:
    port = open_port("loop://", PortSettings(115200, "even", 2, 7))
    port.write(b"101.3\n")
    assert collect(port, 6) == b"101.3\n"
    port.close()


@pytest.mark.parametrize(
    ("address", "error", "words"),
    [
        ("/dev/no-such-port", PortLost, "There is no port /dev/no-such-port"),
        ("socket://127.0.0.1:1", PortLost, "socket://127.0.0.1:1 cannot be opened (Connection refused)."),
        ("/dev/null", PortLost, "/dev/null is no serial port; see 'boxhold gauges'"),
        (tempfile.gettempdir(), WrongUsage, "is a folder, no port"),
        (__file__, WrongUsage, "is a file, no port"),
        ("carrier-pigeon://x", WrongUsage, "no address of a port"),
        ("socket://127.0.0.1:1?colour=red", PortLost, "cannot be opened"),
    ],
)
def test_a_port_that_cannot_be_opened_is_told_in_one_sentence(address: str, error: type[Exception], words: str) -> None:
    with pytest.raises(error) as caught:
        open_port(address)
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)
    assert "Errno" not in str(caught.value)
    assert "Error" not in str(caught.value)


def test_a_plug_without_identity_is_looked_for_where_it_was() -> None:
    assert identity_of("socket://127.0.0.1:1") == ""
    assert identity_of("/dev/no-such-port") == ""
    assert find_again("/dev/no-such-port", "") == "/dev/no-such-port"
    assert find_again("/dev/no-such-port", "0403:6001:nobody-has-this") == "/dev/no-such-port"


def test_a_plug_that_comes_back_under_another_name_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    from serial.tools import list_ports as tools
    from serial.tools.list_ports_common import ListPortInfo

    def plug(name: str, serial_number: str) -> ListPortInfo:
        info = ListPortInfo(name)
        info.vid, info.pid, info.serial_number, info.description = 0x0403, 0x6001, serial_number, "adapter"
        return info

    monkeypatch.setattr(tools, "comports", lambda: [plug("/dev/ttyUSB7", "A1"), plug("/dev/ttyUSB8", "B2")])
    assert [p.address for p in list_ports()] == ["/dev/ttyUSB7", "/dev/ttyUSB8"]
    identity = identity_of("/dev/ttyUSB8")
    monkeypatch.setattr(tools, "comports", lambda: [plug("/dev/ttyUSB0", "A1"), plug("/dev/ttyUSB1", "B2")])
    assert find_again("/dev/ttyUSB8", identity) == "/dev/ttyUSB1"
