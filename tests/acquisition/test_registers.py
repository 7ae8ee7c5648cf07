"""Modbus RTU: what words mean, and the exchange over a real pseudo-terminal against an independent server."""

from __future__ import annotations

import pytest

from acquisition.errors import WrongUsage
from acquisition.registers import RegisterSpec, crc16, decode


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
