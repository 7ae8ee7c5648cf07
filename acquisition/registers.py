"""Gauges that are read as Modbus RTU registers.

The exchange (CRC, exception replies, length) is minimalmodbus's; what the words mean is decided here.
"""

from __future__ import annotations

import math
import struct
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

from acquisition.errors import WrongUsage
from acquisition.lineforms import Meaning, Understood, same_unit
from acquisition.units import GaugeUnit

NumberType = Literal["int16", "uint16", "int32", "uint32", "float32"]
WordOrder = Literal["AB CD", "CD AB", "BA DC", "DC BA"]

# Byte positions that put a transmitted pair of words back to the order A B C D.
ORDERS: Mapping[str, tuple[int, int, int, int]] = {
    "AB CD": (0, 1, 2, 3), "CD AB": (2, 3, 0, 1), "BA DC": (1, 0, 3, 2), "DC BA": (3, 2, 1, 0),
}
FORMATS: Mapping[str, str] = {"int16": ">h", "uint16": ">H", "int32": ">i", "uint32": ">I", "float32": ">f"}
# Over range, not available, under range; common practice of int16 gauges, no source.
RESERVED_INT16 = (0x7FFF, 0x8000, 0x8001)


@dataclass(frozen=True)
class RegisterSpec:
    """How the registers of a gauge are read: the ``[registers]`` table of ``gauge.toml``.

    Parameters
    ----------
    register
        First register as it goes over the wire, from 0. Manuals often count from 1 (40023 is wire 22):
        ``counts_from`` 1 takes one off.
    number, order
        Number type and, for two-word numbers, where its four bytes A (highest) to D stand as transmitted.
    decimals, decimals_register
        Decimal places implied in an integer: fixed, or in a register of their own (0 to 3).
    unit_register, unit_codes
        Register that tells the unit shown, and what its codes mean; another unit gives no reading.
    no_reading
        Words, as unsigned numbers, that mean no reading; for int16 0x7FFF, 0x8000 and 0x8001 unless given.
    every_s, reply_s
        How often to ask, and how long to wait for the reply, s.
    """

    register: int
    address: int = 1
    function: Literal[3, 4] = 3
    counts_from: Literal[0, 1] = 0
    number: NumberType = "int16"
    order: WordOrder = "AB CD"
    decimals: int = 0
    decimals_register: int | None = None
    unit_register: int | None = None
    unit_codes: Mapping[int, str] = field(default_factory=dict)
    no_reading: tuple[int, ...] | None = None
    every_s: float = 0.2
    reply_s: float = 0.3

    def __post_init__(self) -> None:
        if not 1 <= self.address <= 247 or self.function not in (3, 4):
            raise WrongUsage("[registers] needs an address from 1 to 247 and function 3 or 4.")
        if self.number not in FORMATS or self.order not in ORDERS:
            raise WrongUsage(f"[registers] number is one of {', '.join(FORMATS)}, order one of {', '.join(ORDERS)}.")
        if any(not 0 <= r - self.counts_from <= 0xFFFF for r in self._all_registers()):
            raise WrongUsage(f"[registers] a register lies from {self.counts_from} to {0xFFFF + self.counts_from}.")

    def _all_registers(self) -> list[int]:
        return [r for r in (self.register, self.decimals_register, self.unit_register) if r is not None]

    @property
    def words(self) -> int:
        """How many registers the number takes."""
        return struct.calcsize(FORMATS[self.number]) // 2

    def on_wire(self, register: int) -> int:
        """A register's number as transmitted."""
        return register - self.counts_from


def crc16(frame: bytes) -> bytes:
    """CRC of a Modbus RTU frame, low byte first (polynomial 0xA001 reflected, start 0xFFFF)."""
    value = 0xFFFF
    for byte in frame:
        value ^= byte
        for _ in range(8):
            value = (value >> 1) ^ 0xA001 if value & 1 else value >> 1
    return value.to_bytes(2, "little")


def decode(words: Sequence[int], spec: RegisterSpec) -> float | None:
    """Number in one or two words, decimals not yet taken off; None where the words mean no reading."""
    given = b"".join(int(w).to_bytes(2, "big") for w in words)
    if len(words) == 2:
        given = bytes(given[i] for i in ORDERS[spec.order])
    reserved = spec.no_reading
    if reserved is None:
        reserved = RESERVED_INT16 if spec.number == "int16" else ()
    if int.from_bytes(given, "big") in reserved:
        return None
    value = float(struct.unpack(FORMATS[spec.number], given)[0])
    if spec.number == "float32":
        value = float(f"{value:.7g}")  # what a float32 can tell; 85.31 is not 85.30999755859375
    return value if math.isfinite(value) else None


class _Overhearing:
    """Passes a pyserial port on to minimalmodbus and keeps the bytes of the last reply."""

    def __init__(self, port: Any) -> None:
        self._port = port
        self.heard = b""

    def read(self, size: int) -> bytes:
        data: bytes = self._port.read(size)
        self.heard += data
        return data

    def __getattr__(self, name: str) -> Any:
        return getattr(self._port, name)


class RegisterReader:
    """Asks one gauge for its registers over an open pyserial port."""

    def __init__(self, spec: RegisterSpec, unit: GaugeUnit, mean: Meaning) -> None:
        self._spec = spec
        self._unit = unit
        self._mean = mean
        self._port: _Overhearing | None = None
        self._ask: Callable[[int, int], list[int]] | None = None

    def attach(self, port: Any) -> None:
        """Use this open pyserial port from now on."""
        import minimalmodbus  # here: a gauge that sends lines never needs it

        overheard = _Overhearing(port)
        port.timeout = self._spec.reply_s
        instrument = minimalmodbus.Instrument(overheard, self._spec.address)
        instrument.clear_buffers_before_each_transaction = True

        def ask(register: int, count: int) -> list[int]:
            words: list[int] = instrument.read_registers(self._spec.on_wire(register), count, self._spec.function)
            return words

        self._port, self._ask = overheard, ask

    def read(self) -> tuple[bytes, Understood]:
        """Ask once: the number's reply frame as heard, and what it means.

        Raises
        ------
        OSError
            The port itself failed; a gauge that is silent or answers wrongly is no error but no reading.
        """
        if self._port is None or self._ask is None:
            raise WrongUsage("The register reader has no port yet.")
        import minimalmodbus

        self._port.heard = b""
        try:
            words = self._ask(self._spec.register, self._spec.words)
            raw = self._port.heard
            return raw, self._understand(words)
        except (minimalmodbus.ModbusException, ValueError) as problem:
            return self._port.heard, Understood(None, _plain(problem, self._port.heard))

    def _understand(self, words: list[int]) -> Understood:
        value = decode(words, self._spec)
        if value is None:
            return Understood(None, "the gauge says it has no reading")
        named = self._unit_shown()
        if named is not None and not same_unit(named, self._unit):
            return Understood(None, f"the gauge shows {named}, not {self._unit}")
        return self._mean(round(value * 10.0 ** -self._decimals(), 12) if self._spec.number != "float32" else value)

    def _decimals(self) -> int:
        if self._spec.decimals_register is None or self._ask is None:
            return self._spec.decimals
        places = self._ask(self._spec.decimals_register, 1)[0]
        if places > 6:
            raise ValueError(f"{places} decimal places")
        return places

    def _unit_shown(self) -> str | None:
        if self._spec.unit_register is None or self._ask is None:
            return None
        code = self._ask(self._spec.unit_register, 1)[0]
        return self._spec.unit_codes.get(code, f"unit code {code}")


def _plain(problem: Exception, heard: bytes) -> str:
    """Why an exchange gave no reading, in a few words."""
    if not heard:
        return "no answer"
    if len(heard) >= 3 and heard[1] & 0x80 and crc16(heard[:-2]) == heard[-2:]:
        return f"the gauge refused, code {heard[2]}"
    return f"a broken answer ({type(problem).__name__})"
