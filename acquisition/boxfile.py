"""A box as a file: ``box.toml``, read into ``Box`` and written back with all it did not know."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import fields
from pathlib import Path
from typing import Any

from acquisition.errors import UnreadableInput, WrongUsage, shown
from acquisition.files import read_whole, write_whole
from acquisition.logheader import VOLUME_SHARE
from acquisition.numbers import to_uncertain, uncertain_text
from acquisition.records import Baffles, Box, Port, Pump, Rim, Tank, Uncertain, Vents
from acquisition.tomltext import toml_text

BOX_FILE = "box.toml"
MOST_BOX_BYTES = 1_000_000

_NAME = re.compile(r"[A-Za-z0-9._-]{1,100}")
_WOOD = ("bare", "coated", "none")
Reader = Callable[[Any], Any]


def check_box_name(name: str) -> str:
    """Return ``name`` if a folder may carry it: letters, digits, ``.``, ``_``, ``-``; never ``.`` or ``..``.

    Raises
    ------
    WrongUsage
        It may not.
    """
    if _NAME.fullmatch(name) and name.strip("."):
        return name
    raise WrongUsage(f"'{shown(name)}' is no box name; use letters, digits, '.', '_' and '-' only, such as B-07.")


def _number(low: float, high: float = 1e6, *, above: bool = False) -> Reader:
    def read(value: Any) -> float:
        number = isinstance(value, int | float) and not isinstance(value, bool)
        if not number or not (low < value if above else low <= value) or not value <= high:
            raise ValueError(f"write a number {'above' if above else 'from'} {low:g} up to {high:g}")
        return float(value)

    return read


def _count(value: Any) -> int:
    if not isinstance(value, int) or isinstance(value, bool) or not 0 <= value <= 100_000:
        raise ValueError("write a whole number from 0 to 100000")
    return value


def _volume(value: Any) -> Uncertain:
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        raise ValueError('write litres, such as "31.4 +- 0.9"')
    volume = to_uncertain(str(value), VOLUME_SHARE)
    if not 0 < volume.value <= 1e6:
        raise ValueError("write litres above 0 up to 1000000")
    return volume


def _choice(*words: str) -> Reader:
    def read(value: Any) -> str:
        if value not in words:
            raise ValueError(f"write one of {', '.join(words)}")
        return str(value)

    return read


def _inside(value: Any) -> tuple[float, ...]:
    if not isinstance(value, list) or len(value) != 3:
        raise ValueError("write [length, width, height] in mm")
    return tuple(_number(0, 1e5, above=True)(side) for side in value)


def _points(value: Any) -> tuple[tuple[float, float], ...]:
    number = _number(0)
    try:
        points = sorted((number(kpa), number(speed)) for kpa, speed in value)
    except TypeError:
        raise ValueError("write [[kPa, L/s], ...]") from None
    if len({kpa for kpa, _ in points}) < max(len(points), 2):
        raise ValueError("write two or more points [kPa, L/s], each at another pressure")
    return tuple(points)


def _name(value: Any) -> str:
    if not isinstance(value, str):
        raise ValueError("write the box's name as text")
    try:
        return check_box_name(value)
    except WrongUsage:
        raise ValueError("use letters, digits, '.', '_' and '-' only, such as B-07") from None


def _text(value: Any) -> str:
    if not isinstance(value, str):
        raise ValueError("write text in quotes")
    return value


_WIDE = _number(0, 1e5)
_POSITIVE = _number(0, 1e5, above=True)
_TOP: dict[str, Reader] = {
    "name": _name,
    "label": _text,
    "inside_mm": _inside,
    "wood": _choice(*_WOOD),
    "board_mm": _POSITIVE,
    "volume_L": _volume,
    "line_volume_L": _volume,
    "working_kPa": _number(0, 120, above=True),
}
_TABLES: dict[str, tuple[type[Any], dict[str, Reader]]] = {
    "baffles": (Baffles, {"count_x": _count, "count_y": _count, "board_mm": _POSITIVE}),
    "rim": (Rim, {"lip": _choice("steel", "none"), "proud_mm": _WIDE}),
    "port": (Port, {"x_mm": _WIDE, "y_mm": _WIDE, "bore_mm": _POSITIVE, "flange_mm": _POSITIVE}),
    "vents": (Vents, {"count": _count, "drill_mm": _POSITIVE, "pitch_mm": _POSITIVE}),
    "pump": (Pump, {"speed_L_s": _POSITIVE, "ultimate_kPa": _number(0, 120), "points": _points}),
    "tank": (Tank, {"volume_L": _POSITIVE, "working_kPa": _number(0, 120)}),
}

TOP_KEYS = tuple(_TOP)
"""Keys above the tables."""

TABLE_KEYS = {table: tuple(readers) for table, (_, readers) in _TABLES.items()}
"""Keys of each table."""


def read_box(path: Path | str) -> Box:
    """Read a box file.

    Raises
    ------
    UnreadableInput
        The file is missing, is no TOML, has no ``name`` or a value that cannot be.
    """
    path = Path(path)
    try:
        data = read_whole(path, MOST_BOX_BYTES, within=(BOX_FILE, f"*/{BOX_FILE}"))
        document = tomllib.loads(data.decode("utf-8-sig"))
    except UnicodeDecodeError:
        raise UnreadableInput("this is no UTF-8 text; save it as UTF-8.", path) from None
    except (ValueError, RecursionError) as error:
        raise UnreadableInput(f"this is no TOML: {error}.", path) from None
    if "name" not in document:
        raise UnreadableInput('the box has no name; add a line such as name = "B-07".', path)
    return _box(document, path)


def _box(document: dict[str, Any], path: Path) -> Box:
    readers: dict[str, Reader] = {**_TOP, **dict.fromkeys(_TABLES, dict)}
    if isinstance(document.get("wood"), str) and document["wood"] not in _WOOD:
        # An unknown word stays in the file and counts as possibly bare.
        readers.pop("wood")
    values, extra = _known(document, readers, "", path)
    for table, (kind, readers) in _TABLES.items():
        if table not in document:
            continue
        if not isinstance(document[table], dict):
            raise UnreadableInput(f"'{table}' must be a table; write it below a line [{table}].", path)
        known, unknown = _known(document[table], readers, f"[{table}] ", path)
        values[table] = _made(kind, known, table, path)
        if unknown:
            extra[table] = unknown
    return Box(**values, extra=extra)


def _made(kind: type[Any], known: dict[str, Any], table: str, path: Path) -> Any:
    if kind is Tank and "volume_L" not in known:
        raise UnreadableInput("[tank] has no volume_L; add the tank's litres.", path)
    if kind is Pump and not ("speed_L_s" in known or "points" in known):
        raise UnreadableInput(f"[{table}] has neither speed_L_s nor points; add one of them.", path)
    return kind(**known)


def _known(
    document: Mapping[str, Any], readers: Mapping[str, Reader], where: str, path: Path
) -> tuple[dict[str, Any], dict[str, Any]]:
    """Values of the known keys, and what is not known."""
    values: dict[str, Any] = {}
    for key, reader in readers.items():
        if key not in document or reader is dict:
            continue
        try:
            values[key] = reader(document[key])
        except ValueError as error:
            raise UnreadableInput(f"{where}'{key}' is {shown(str(document[key]))}: {error}.", path) from None
    return values, {key: value for key, value in document.items() if key not in readers}


def write_box(box: Box, path: Path | str, *, overwrite: bool = True) -> None:
    """Write a box file, whole or not at all; unknown keys are written back.

    Raises
    ------
    WrongUsage
        The box's name cannot be one, or the file exists and ``overwrite`` is False.
    OutsideWorldFailed
        The disk refused.
    """
    check_box_name(box.name)
    write_whole(Path(path), box_text(box).encode("utf-8"), overwrite=overwrite)


def box_text(box: Box) -> str:
    """The box file as TOML text."""
    document = {key: _plain(getattr(box, key)) for key in _TOP if getattr(box, key) is not None}
    document |= {key: value for key, value in box.extra.items() if key not in _TABLES}
    for table in _TABLES:
        part = getattr(box, table)
        known = {} if part is None or part == _default(table) else _part(part)
        unknown = box.extra.get(table, {})
        if known or unknown:
            document[table] = known | (dict(unknown) if isinstance(unknown, Mapping) else {})
    return toml_text(document)


def _default(table: str) -> Any:
    return next(field.default for field in fields(Box) if field.name == table)


def _part(part: Any) -> dict[str, Any]:
    return {f.name: _plain(value) for f in fields(part) if (value := getattr(part, f.name)) not in (None, ())}


def _plain(value: Any) -> Any:
    if isinstance(value, Uncertain):
        return uncertain_text(value, VOLUME_SHARE)
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    return value


def find_box_file(log_path: Path | str, box_name: str | None) -> Path | None:
    """File of a log's box: a ``box.toml`` with its name in the log's folder or the one above.

    Raises
    ------
    UnreadableInput
        There is such a file, and it cannot be read.
    """
    folder = Path(log_path).absolute().parent
    for place in (folder, folder.parent) if box_name else ():
        if (place / BOX_FILE).is_file() and read_box(place / BOX_FILE).name == box_name:
            return place / BOX_FILE
    return None
