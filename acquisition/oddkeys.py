"""Keys that a person wrote and that nothing reads: at the wrong place, or nearly the name of one that counts."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from difflib import get_close_matches
from pathlib import Path

from acquisition.boxfile import TABLE_KEYS, TOP_KEYS
from acquisition.logheader import KEYS
from acquisition.records import Box, LogHeader

_NEAR = 0.75
"""Likeness (``difflib``'s ratio, 0..1) from which a key counts as a slip for a known one."""


def odd_box_keys(box: Box, path: Path) -> tuple[str, ...]:
    """A sentence for each key of a box file that was likely meant to count and does not.

    Parameters
    ----------
    box
        The box as it was read from ``path``.
    """
    top = {key: value for key, value in box.extra.items() if key not in TABLE_KEYS}
    free = [key for key in TOP_KEYS if getattr(box, key) is None]
    said = _slips(top, [*free, *TABLE_KEYS], f"{path}: ")
    for table, known in TABLE_KEYS.items():
        inside = box.extra.get(table)
        if not isinstance(inside, Mapping):
            continue
        lost = [key for key in inside if key in TOP_KEYS]
        said += [
            f"{path}: '{key}' stands below [{table}], where nothing reads it; move it above the first line in brackets."
            for key in lost
        ]
        said += _slips([key for key in inside if key not in lost], known, f"{path}: in [{table}], ")
    return tuple(said)


def odd_header_keys(header: LogHeader, path: Path) -> tuple[str, ...]:
    """A sentence for each header line of a log that was likely meant to count and does not."""
    free = [key for key in KEYS if getattr(header, key) in (None, ())]
    return tuple(_slips(header.extra, free, f"{path}: in the header, "))


def _slips(keys: Iterable[str], known: Iterable[str], where: str) -> list[str]:
    names = {name.lower(): name for name in known}
    near = ((key, get_close_matches(key.lower(), names, n=1, cutoff=_NEAR)) for key in keys)
    return [f"{where}'{key}' is no key that is read; is it {names[found[0]]}?" for key, found in near if found]
