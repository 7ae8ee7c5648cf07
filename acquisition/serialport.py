"""Ports: the only module that uses pyserial.

Any pyserial address will do: a port's name, ``socket://``, ``rfc2217://``, ``loop://``.
"""

from __future__ import annotations

import hashlib
import os
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

import serial
from filelock import FileLock, Timeout

from acquisition.errors import OutsideWorldFailed, WrongUsage
from acquisition.gaugefile import PortSettings

SIMULATED = "simulated:"
REPLAY = "replay:"
"""Addresses of a make-believe box and of a log played again, inside this process."""
READ_BYTES = 4096
SOCKET_WAIT_S = 0.02
WRITE_WAIT_S = 1.0

_PARITIES = {"none": serial.PARITY_NONE, "even": serial.PARITY_EVEN, "odd": serial.PARITY_ODD}


class PortLost(OutsideWorldFailed):
    """The port is gone: unplugged, closed at its far end, or never there."""


class Port(Protocol):
    """What a listener needs of an open port."""

    def read_waiting(self) -> bytes:
        """Bytes heard since the last call, at once; empty when silent. Raises ``PortLost``."""

    def write(self, data: bytes) -> None:
        """Send bytes. Raises ``PortLost``."""

    def forget_waiting(self) -> None:
        """Drop what has been heard and not yet read."""

    def close(self) -> None:
        """Give the port back; harmless when it is lost already."""

    @property
    def ran_before(self) -> bool:
        """Whether the stream may have been running before we listened, so that it begins in mid-line."""

    @property
    def raw_port(self) -> Any:
        """The pyserial object, for a library that speaks over it."""


Opener = Callable[[str, PortSettings], Port]


class SerialPort:
    """An open pyserial port."""

    def __init__(self, port: Any, address: str, lock: FileLock) -> None:
        self._port = port
        self._address = address
        self._lock = lock
        # A socket tells only whether anything waits, not how much.
        self._by_size = not address.startswith("socket://")
        if not self._by_size:
            port.timeout = SOCKET_WAIT_S

    @property
    def ran_before(self) -> bool:
        """True for wires; a socket's stream begins with the connection."""
        return self._by_size

    @property
    def raw_port(self) -> Any:
        """The pyserial object itself."""
        return self._port

    def read_waiting(self) -> bytes:
        """Bytes heard since the last call."""
        try:
            if not self._by_size:
                return bytes(self._port.read(READ_BYTES))
            waiting = self._port.in_waiting
            return bytes(self._port.read(waiting)) if waiting else b""
        except (OSError, TypeError, ValueError) as problem:  # pyserial lets all three out when a port vanishes
            raise PortLost(f"{self._address}: the gauge is gone ({_reason(problem)}); check the plug.") from None

    def write(self, data: bytes) -> None:
        """Send bytes to the gauge."""
        try:
            self._port.write(data)
        except (OSError, TypeError, ValueError) as problem:
            raise PortLost(f"{self._address}: the gauge takes no question ({_reason(problem)}).") from None

    def forget_waiting(self) -> None:
        """Drop what is waiting to be read."""
        try:
            self._port.reset_input_buffer()
        except (OSError, TypeError, ValueError) as problem:
            raise PortLost(f"{self._address}: the gauge is gone ({_reason(problem)}); check the plug.") from None

    def close(self) -> None:
        """Close the port and let others have it."""
        try:
            self._port.close()
        except (OSError, TypeError, ValueError):
            pass  # lost already
        finally:
            self._lock.release()


def open_port(address: str, settings: PortSettings = PortSettings()) -> Port:  # noqa: B008 - frozen
    """Open a port for one listener alone.

    Parameters
    ----------
    address
        Any pyserial address, or one that begins with ``simulated:`` or ``replay:``.
    settings
        Speed and form of the bytes; of no meaning for sockets.

    Raises
    ------
    WrongUsage
        The address is of no known kind.
    PortLost
        There is no such port, or another program listens to it.
    """
    if address.startswith((SIMULATED, REPLAY)):
        from acquisition.simgauge import PlayedPort, played

        events, what = played(address)
        return PlayedPort(events, what.speed)
    if os.path.isfile(address) or os.path.isdir(address):
        kind = "folder" if os.path.isdir(address) else "file"
        raise WrongUsage(f"{address} is a {kind}, no port; see 'boxhold gauges' for the ports there are.")
    lock = _lock_address(address)
    try:
        return SerialPort(_open_serial(address, settings), address, lock)
    except BaseException:
        lock.release()
        raise


def _open_serial(address: str, settings: PortSettings) -> Any:
    named: dict[str, Any] = {} if "://" in address else {"exclusive": True}
    if not address.startswith("rfc2217://"):  # pyserial's client knows no time limit for writing
        named["write_timeout"] = WRITE_WAIT_S
    try:
        return serial.serial_for_url(
            address, baudrate=settings.baud, parity=_PARITIES[settings.parity], bytesize=settings.data_bits,
            stopbits=settings.stop_bits, rtscts=settings.flow == "rts-cts", xonxoff=settings.flow == "xon-xoff",
            timeout=0, **named,
        )  # fmt: skip
    except serial.SerialException as problem:
        raise PortLost(_why_not(address, problem)) from None
    except (ValueError, KeyError, TypeError) as problem:
        raise WrongUsage(f"'{address}' is no address of a port ({_reason(problem)}); see 'boxhold gauges'.") from None
    except OSError as problem:
        raise PortLost(_why_not(address, problem)) from None


def _why_not(address: str, problem: OSError) -> str:
    number = problem.errno
    if number == 2 or "FileNotFoundError" in str(problem):
        return f"There is no port {address}; plug the gauge in, or see 'boxhold gauges' for the ports there are."
    if number in (11, 16, 35) or "lock" in str(problem):
        return f"{address} is in use by another program; close that one first."
    if number == 13 or "PermissionError" in str(problem):
        return f"{address} may not be opened by this user; on Linux join the group 'dialout' and log in again."
    if "Inappropriate ioctl" in str(problem):
        return f"{address} is no serial port; see 'boxhold gauges' for the ports there are."
    words = _reason(problem).rpartition(": ")[2]  # pyserial repeats the address in front
    return f"{address} cannot be opened ({words.rpartition('] ')[2]})."


def _lock_address(address: str) -> FileLock:
    """A lock on an address for this machine: sockets have none of their own, and a link is one port with two names."""
    one_name = address if "://" in address else os.path.realpath(address)
    mark = hashlib.sha256(one_name.encode()).hexdigest()[:16]
    lock = FileLock(Path(tempfile.gettempdir()) / f"boxhold-port-{mark}.lock", mode=0o666, thread_local=False)
    try:
        lock.acquire(timeout=0)
    except Timeout:
        raise PortLost(f"{address} is in use by another recording; end that one first.") from None
    except OSError:
        pass  # a temporary folder that cannot be written to must not stop a test; the port's own lock remains
    return lock


def _reason(problem: BaseException) -> str:
    if isinstance(problem, OSError) and problem.strerror:
        return problem.strerror
    return " ".join(str(problem).split()) or type(problem).__name__


@dataclass(frozen=True)
class ListedPort:
    """A port of this machine: its address, what the system calls it, and the plug's own identity if it has one."""

    address: str
    description: str
    identity: str


def list_ports() -> list[ListedPort]:
    """Serial ports of this machine that have something behind them, USB first."""
    from serial.tools import list_ports as tools

    found = []
    for port in tools.comports():
        identity = "" if port.vid is None else f"{port.vid:04x}:{port.pid or 0:04x}:{port.serial_number or ''}"
        if identity or port.hwid not in (None, "", "n/a"):
            found.append(ListedPort(port.device, port.description or "", identity))
    return sorted(found, key=lambda p: (not p.identity, p.address))


def find_again(address: str, identity: str) -> str:
    """Address of the same plug after it was pulled and put back, maybe under another name."""
    if not identity or os.path.exists(address):
        return address
    return next((p.address for p in list_ports() if p.identity == identity), address)


def identity_of(address: str) -> str:
    """Identity of the plug at an address; empty where the system knows none."""
    if "://" in address:
        return ""
    real = os.path.realpath(address)
    return next((p.identity for p in list_ports() if os.path.realpath(p.address) == real), "")
