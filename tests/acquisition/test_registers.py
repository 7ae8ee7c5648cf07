"""Modbus RTU: what words mean, and the exchange over a real pseudo-terminal against an independent server."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Iterator

import pytest
from pymodbus.server import ModbusSerialServer
from pymodbus.simulator import DataType, SimData, SimDevice

from acquisition.errors import WrongUsage
from acquisition.gaugefile import PortSettings
from acquisition.lineforms import Understood, meaning
from acquisition.registers import RegisterReader, RegisterSpec, crc16, decode
from acquisition.serialport import open_port
from acquisition.units import GaugeUnit
from tests.acquisition.ptys import joined

KPA = GaugeUnit("absolute", "kPa")


@pytest.mark.parametrize(
    ("frame", "crc"),
    [
        ("01 03 00 16 00 01", "65 CE"),
        ("01 03 02 03 55", "78 8B"),
        # "Modbus over serial line" specification V1.02, appendix B: CRC of 02 07 is 41 12
        ("02 07", "41 12"),
        # catalogue of parametrised CRC algorithms: CRC-16/MODBUS of "123456789" is 0x4B37, low byte sent first
        (b"123456789".hex(" "), "37 4B"),
    ],
)
def test_published_crcs(frame: str, crc: str) -> None:
    assert crc16(bytes.fromhex(frame)) == bytes.fromhex(crc)


def words(text: str) -> list[int]:
    raw = bytes.fromhex(text)
    return [int.from_bytes(raw[i : i + 2], "big") for i in range(0, len(raw), 2)]


@pytest.mark.parametrize(
    ("sent", "number", "order", "value"),
    [
        ("03 55", "int16", "AB CD", 853.0),
        ("FC AB", "int16", "AB CD", -853.0),
        ("7F FF", "int16", "AB CD", None),
        ("80 00", "int16", "AB CD", None),
        ("80 01", "int16", "AB CD", None),
        ("80 02", "int16", "AB CD", -32766.0),
        ("FC AB", "uint16", "AB CD", 64683.0),
        ("00 01 4D 3E", "uint32", "AB CD", 85310.0),
        ("4D 3E 00 01", "uint32", "CD AB", 85310.0),
        ("FF FF FF FF", "int32", "AB CD", -1.0),
        ("42 AA 9E B8", "float32", "AB CD", 85.31),
        ("9E B8 42 AA", "float32", "CD AB", 85.31),
        ("AA 42 B8 9E", "float32", "BA DC", 85.31),
        ("B8 9E AA 42", "float32", "DC BA", 85.31),
        # published values of a low-word-first float32: 0x41F47AE1 = 30.56, 0xC2F6E666 = -123.45
        ("7A E1 41 F4", "float32", "CD AB", 30.56),
        ("E6 66 C2 F6", "float32", "CD AB", -123.45),
        # IEEE 754: quiet not-a-number and infinity
        ("7F C0 00 00", "float32", "AB CD", None),
        ("7F 80 00 00", "float32", "AB CD", None),
    ],
)
def test_numbers_in_registers(sent: str, number: str, order: str, value: float | None) -> None:
    spec = RegisterSpec(register=0, number=number, order=order)  # type: ignore[arg-type]
    assert decode(words(sent), spec) == value


def test_reserved_words_can_be_the_gauges_own() -> None:
    assert decode([0xFFFF], RegisterSpec(register=0, number="uint16", no_reading=(0xFFFF,))) is None
    assert decode([0x7FFF], RegisterSpec(register=0, no_reading=())) == 32767.0


def test_registers_counted_from_one_lie_one_lower_on_the_wire() -> None:
    assert RegisterSpec(register=23, counts_from=1).on_wire(23) == 22
    assert RegisterSpec(register=22).on_wire(22) == 22


@pytest.mark.parametrize(
    "wrong",
    [{"address": 0}, {"address": 248}, {"function": 6}, {"number": "float64"}, {"order": "ABCD"},
     {"register": -1}, {"register": 0, "counts_from": 1}, {"register": 70000}],
)  # fmt: skip
def test_a_table_that_cannot_serve_is_told(wrong: dict[str, object]) -> None:
    with pytest.raises(WrongUsage, match=r"\[registers\]"):
        RegisterSpec(**{"register": 1, **wrong})  # type: ignore[arg-type]


REGISTERS = [0] * 60
REGISTERS[0x16:0x19] = [0x0355, 1, 2]
REGISTERS[0x20] = 0xFCAB
REGISTERS[0x21] = 0x7FFF
REGISTERS[0x28:0x2A] = [0x42AA, 0x9EB8]
REGISTERS[0x2A:0x2C] = [0x9EB8, 0x42AA]
REGISTERS[0x2C:0x2E] = [0x0001, 0x4D3E]


@pytest.fixture(scope="module")
def gauge_address() -> Iterator[str]:
    """A Modbus RTU gauge, unit address 7, made by an independent library on a pair of device files."""
    with joined() as (near, far):
        over, ready = threading.Event(), threading.Event()

        async def serve() -> None:
            data = SimData(0, values=list(REGISTERS), datatype=DataType.REGISTERS)
            server = ModbusSerialServer([SimDevice(7, simdata=[data])], port=far, baudrate=19200)
            await server.serve_forever(background=True)
            ready.set()
            while not over.is_set():
                await asyncio.sleep(0.02)
            await server.shutdown()

        thread = threading.Thread(target=lambda: asyncio.run(serve()))
        thread.start()
        assert ready.wait(10)
        yield near
        over.set()
        thread.join()


@pytest.mark.pty
@pytest.mark.parametrize(
    ("spec", "raw", "value"),
    [
        (RegisterSpec(0x16, 7, decimals=1), "07 03 02 03 55 F0 8B", 85.3),
        (RegisterSpec(0x17, 7, 4, counts_from=1, decimals=1), "07 04 02 03 55 F1 FF", 85.3),
        (RegisterSpec(0x16, 7, decimals_register=0x17, unit_register=0x18, unit_codes={2: "kPa"}), None, 85.3),
        (RegisterSpec(0x20, 7, decimals=1), None, -85.3),
        (RegisterSpec(0x21, 7, decimals=1), None, None),
        (RegisterSpec(0x28, 7, number="float32"), None, 85.31),
        (RegisterSpec(0x2A, 7, number="float32", order="CD AB"), None, 85.31),
        (RegisterSpec(0x2C, 7, number="uint32", decimals=3), None, 85.310),
    ],
)
def test_a_gauge_is_read_over_a_serial_line(
    gauge_address: str, spec: RegisterSpec, raw: str | None, value: float | None
) -> None:
    heard, understood = read_once(gauge_address, spec)
    assert understood.value == value
    assert crc16(heard[:-2]) == heard[-2:]
    assert raw is None or heard == bytes.fromhex(raw)


@pytest.mark.pty
@pytest.mark.parametrize(
    ("spec", "why"),
    [
        (RegisterSpec(200, 7), "refused, code 2"),
        (RegisterSpec(0x16, 7, unit_register=0x18, unit_codes={2: "psi"}), "shows psi, not absolute kPa"),
        (RegisterSpec(0x16, 7, unit_register=0x18), "unit code 2"),
        (RegisterSpec(0x16, 7, decimals_register=0x16), "broken answer"),
    ],
)
def test_a_gauge_that_says_no_gives_no_reading(gauge_address: str, spec: RegisterSpec, why: str) -> None:
    _, understood = read_once(gauge_address, spec)
    assert understood.value is None
    assert why in understood.why


def read_once(address: str, spec: RegisterSpec) -> tuple[bytes, Understood]:
    port = open_port(address, PortSettings(19200))
    try:
        reader = RegisterReader(spec, KPA, meaning(KPA))
        reader.attach(port.raw_port)
        return reader.read()
    finally:
        port.close()


class Scripted:
    """A port whose replies are given; what minimalmodbus needs of pyserial."""

    is_open, port, baudrate, timeout = True, "scripted", 9600, 0.1

    def __init__(self, reply: bytes) -> None:
        self.reply = reply

    def read(self, size: int) -> bytes:
        return self.reply

    def write(self, data: bytes) -> int:
        return len(data)

    def open(self) -> None: ...
    def close(self) -> None: ...
    def reset_input_buffer(self) -> None: ...
    def reset_output_buffer(self) -> None: ...


@pytest.mark.parametrize(
    ("reply", "why"),
    [
        ("", "no answer"),
        ("01 03 02 03 55 78 8C", "broken answer"),  # one bit of the CRC is wrong
        ("01 03 02 03 54 78 8B", "broken answer"),  # one bit of the number is wrong
        ("02 03 02 03 55 3C 8B", "broken answer"),  # another gauge answers
        ("01 03 02 03", "broken answer"),  # cut short
        ("01 83 02 C0 F1", "refused, code 2"),
    ],
)
def test_a_broken_reply_gives_no_reading_and_is_kept(reply: str, why: str) -> None:
    reader = RegisterReader(RegisterSpec(0x16), KPA, meaning(KPA))
    reader.attach(Scripted(bytes.fromhex(reply)))
    raw, understood = reader.read()
    assert raw == bytes.fromhex(reply)
    assert understood.value is None
    assert why in understood.why


def test_the_published_exchange_is_read() -> None:
    reader = RegisterReader(RegisterSpec(0x16, decimals=1), KPA, meaning(KPA))
    reader.attach(Scripted(bytes.fromhex("01 03 02 03 55 78 8B")))
    assert reader.read()[1].value == 85.3
