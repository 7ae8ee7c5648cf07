"""``gauge.toml``: how a gauge speaks, so that a maker's dialect is data and not code.

Tables ``[gauge]``, ``[port]``, one of ``[lines]`` and ``[registers]`` (neither: bare numbers), and ``[scale]``.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import Any, Literal, TypeVar

from acquisition.errors import UnreadableInput, WrongUsage
from acquisition.lineforms import LineSpec, Scale, compile_pattern
from acquisition.registers import RegisterSpec
from acquisition.tomltext import toml_text
from acquisition.units import GaugeUnit, parse_gauge_unit

Parity = Literal["none", "even", "odd"]
Flow = Literal["none", "rts-cts", "xon-xoff"]
Spec = TypeVar("Spec", "PortSettings", LineSpec, RegisterSpec)


@dataclass(frozen=True)
class PortSettings:
    """The ``[port]`` table: how bytes travel; 9600 8N1 unless said otherwise."""

    baud: int = 9600
    parity: Parity = "none"
    stop_bits: Literal[1, 2] = 1
    data_bits: Literal[7, 8] = 8
    flow: Flow = "none"

    def __post_init__(self) -> None:
        if not 50 <= self.baud <= 4_000_000:
            raise WrongUsage(f"[port] baud {self.baud} is no speed of a serial port; 9600 and 115200 are common.")
        if self.parity not in ("none", "even", "odd") or self.flow not in ("none", "rts-cts", "xon-xoff"):
            raise WrongUsage("[port] parity is none, even or odd; flow is none, rts-cts or xon-xoff.")
        if self.stop_bits not in (1, 2) or self.data_bits not in (7, 8):
            raise WrongUsage("[port] stop_bits is 1 or 2, data_bits 7 or 8.")


@dataclass(frozen=True)
class GaugeSpec:
    """One gauge: what its numbers mean and how they are heard.

    ``resolution`` and ``accuracy`` (one standard uncertainty) are in the gauge's unit. With ``registers``
    the gauge speaks Modbus RTU and ``lines`` is not used.
    """

    unit: GaugeUnit
    name: str = ""
    resolution: float | None = None
    accuracy: float | None = None
    port: PortSettings = PortSettings()
    lines: LineSpec = field(default_factory=LineSpec)
    registers: RegisterSpec | None = None
    scale: Scale | None = None


def read_gauge_file(path: Path) -> GaugeSpec:
    """Read a ``gauge.toml``.

    Raises
    ------
    UnreadableInput
        It is missing, no TOML, or a value does not fit; the message names the table.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise UnreadableInput("there is no such gauge file; 'boxhold gauges' writes one.", path) from None
    except (OSError, UnicodeDecodeError) as problem:
        raise UnreadableInput(f"cannot be read ({problem}).", path) from None
    try:
        return parse_gauge(tomllib.loads(text))
    except (tomllib.TOMLDecodeError, WrongUsage) as problem:
        raise UnreadableInput(str(problem), path) from None


def parse_gauge(tables: Mapping[str, Any]) -> GaugeSpec:
    """Tables of a gauge file, as ``tomllib`` gives them, into a ``GaugeSpec``.

    Raises
    ------
    WrongUsage
        A table, key or value does not fit; the message says which and what is wanted.
    """
    _only(tables, ("gauge", "port", "lines", "registers", "scale"), "the gauge file")
    if "lines" in tables and "registers" in tables:
        raise WrongUsage("A gauge speaks either [lines] or [registers], not both.")
    gauge = _table(tables, "gauge")
    _only(gauge, ("name", "unit", "resolution", "accuracy"), "[gauge]")
    if "unit" not in gauge:
        raise WrongUsage('[gauge] needs unit = "absolute kPa" or the like: absolute, vacuum or gauge, then the unit.')
    return GaugeSpec(
        unit=parse_gauge_unit(str(gauge["unit"])),
        name=str(gauge.get("name", "")),
        resolution=_positive(gauge, "resolution"),
        accuracy=_positive(gauge, "accuracy"),
        port=_fill(PortSettings, _table(tables, "port"), "[port]"),
        lines=_lines(_table(tables, "lines")),
        registers=_registers(_table(tables, "registers")) if "registers" in tables else None,
        scale=_scale(_table(tables, "scale")) if "scale" in tables else None,
    )


def format_gauge(spec: GaugeSpec) -> str:
    """Text of a ``gauge.toml`` that ``read_gauge_file`` reads back; defaults of the tables are left out."""
    gauge = {"name": spec.name or None, "unit": str(spec.unit),
             "resolution": spec.resolution, "accuracy": spec.accuracy}
    tables: dict[str, Mapping[str, object]] = {
        "gauge": {k: v for k, v in gauge.items() if v is not None},
        "port": _changed(spec.port, keep=("baud",)),
    }
    if spec.registers is not None:
        tables["registers"] = _changed(spec.registers, keep=("address", "function", "register"))
    else:
        tables["lines"] = _changed(spec.lines)
    if spec.scale is not None:
        tables["scale"] = _changed(spec.scale)
    return toml_text({name: table for name, table in tables.items() if table})


def _lines(table: Mapping[str, Any]) -> LineSpec:
    table = dict(table)
    if "no_reading" in table:
        table["no_reading"] = tuple(float(n) for n in _list(table["no_reading"], "[lines] no_reading"))
    spec = _fill(LineSpec, table, "[lines]")
    if sum(k is not None for k in (spec.pattern, spec.field, spec.json)) > 1:
        raise WrongUsage("[lines] takes one of pattern, field and json.")
    if spec.field is not None and (not spec.separator or spec.fields is None or not 1 <= spec.field <= spec.fields):
        raise WrongUsage("[lines] field needs separator and fields (how many there are), so that half a line is told.")
    if spec.pattern is not None:
        compile_pattern(spec.pattern, spec.decimal)
    words = (spec.decimal in (".", ","), spec.checksum in (None, "xor", "sum"), spec.ending in ("any", "pause"))
    if not all(words):
        raise WrongUsage('[lines] decimal is "." or ",", checksum "xor" or "sum", ending "any" or "pause".')
    if spec.every_s <= 0 or spec.reply_s <= 0:
        raise WrongUsage("[lines] every_s and reply_s are seconds, more than 0.")
    return spec


def _registers(table: Mapping[str, Any]) -> RegisterSpec:
    table = dict(table)
    if "register" not in table:
        raise WrongUsage("[registers] needs register = the first register's number.")
    if "no_reading" in table:
        table["no_reading"] = tuple(int(n) for n in _list(table["no_reading"], "[registers] no_reading"))
    if "unit_codes" in table:
        table["unit_codes"] = {int(k): str(v) for k, v in table["unit_codes"].items()}
    return _fill(RegisterSpec, table, "[registers]")


def _scale(table: Mapping[str, Any]) -> Scale:
    _only(table, ("points", "valid"), "[scale]")
    points = [_pair(p, "[scale] points") for p in _list(table.get("points"), "[scale] points")]
    if "valid" in table:
        return Scale(tuple(points), _pair(table["valid"], "[scale] valid"))
    return Scale(tuple(points))


def _pair(value: object, where: str) -> tuple[float, float]:
    numbers = _list(value, where)
    if len(numbers) != 2 or not all(_is_number(n) for n in numbers):
        raise WrongUsage(f"{where} takes pairs of numbers such as [4.0, 0.0].")
    return float(numbers[0]), float(numbers[1])


def _list(value: object, where: str) -> list[Any]:
    if not isinstance(value, list):
        raise WrongUsage(f"{where} takes a list in square brackets.")
    return value


def _table(tables: Mapping[str, Any], name: str) -> Mapping[str, Any]:
    table = tables.get(name, {})
    if not isinstance(table, dict):
        raise WrongUsage(f"{name} must be a table: write [{name}] on a line of its own.")
    return table


def _only(table: Mapping[str, Any], known: tuple[str, ...], where: str) -> None:
    for key in table:
        if key not in known:
            raise WrongUsage(f"{where} has no '{key}'; it takes {', '.join(known)}.")


def _positive(table: Mapping[str, Any], key: str) -> float | None:
    value = table.get(key)
    if value is None:
        return None
    if not _is_number(value) or value <= 0:
        raise WrongUsage(f"[gauge] {key} is a number above 0 in the gauge's unit.")
    return float(value)


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


_KINDS: Mapping[str, tuple[type, ...]] = {
    "int": (int,), "float": (int, float), "str": (str,), "Literal": (str, int), "tuple": (tuple,), "Mapping": (dict,),
}


def _fill(kind: type[Spec], table: Mapping[str, Any], where: str) -> Spec:
    """Fill a spec's fields from a table, each value checked against the field's declared type."""
    declared = {f.name: str(f.type) for f in fields(kind)}
    _only(table, tuple(declared), where)
    for key, value in table.items():
        wanted = declared[key]
        kinds = next((k for name, k in _KINDS.items() if wanted.startswith(name)), (str, int))
        if not isinstance(value, kinds) or isinstance(value, bool):
            raise WrongUsage(f"{where} {key} = {value!r} does not fit.")
    return kind(**table)


def _changed(spec: PortSettings | LineSpec | RegisterSpec | Scale, keep: tuple[str, ...] = ()) -> dict[str, object]:
    """Fields of a spec that differ from their defaults, and those to keep."""
    values = {f.name: (getattr(spec, f.name), f.default) for f in fields(spec)}
    return {
        k: {str(c): u for c, u in v.items()} if isinstance(v, Mapping) else v
        for k, (v, default) in values.items()
        if v not in (None, {}, ()) and (k in keep or v != default)
    }
