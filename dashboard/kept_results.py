"""Results of an archive's logs, worked out once and kept in its catalogue until a file or the code changes."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, is_dataclass, replace
from datetime import datetime
from functools import cache
from pathlib import Path
from types import UnionType
from typing import Any, Union, get_args, get_origin, get_type_hints

from acquisition.archive import Archive
from acquisition.errors import BoxholdError
from acquisition.records import Box, Log
from analysis.results import Assessment
from dashboard.faults import fault_sentence

Entry = tuple[Path, Log]


def assess_box(archive: Archive, name: str, complain: Callable[[str], None]) -> list[Assessment]:
    """Results of all logs of a box, oldest first; a file that cannot be read is complained of and left out.

    So is a log that trips the program. Results carry no curves. What was worked out before for the same files by
    the same code is not worked out again.
    """
    box = archive.box(name)
    entries: list[Entry] = []
    for path in archive.log_paths(name):
        try:
            entries.append((path, archive.log(path)))
        except BoxholdError as trouble:
            complain(str(trouble))
    found: dict[Path, Assessment] = {}
    for chain in chains(entries):
        try:
            found |= zip((path for path, _ in chain), _kept_or_new(archive, box, chain), strict=True)
        except Exception as fault:  # one log that trips the program must not take the shop's other answers with it
            complain(f"{chain[-1][0]}: {fault_sentence(fault)}")
    return [found[path] for path, _ in entries if path in found]


def chains(entries: Sequence[Entry]) -> Iterator[list[Entry]]:
    """Logs that are assessed together: all of a setup and sealed list where one had no let-up since the last.

    Elsewhere each log stands alone, so that a new test leaves what is kept of the others.
    """
    groups: dict[tuple[str | None, tuple[str, ...]], list[Entry]] = {}
    for entry in entries:
        groups.setdefault((entry[1].header.setup, entry[1].header.sealed), []).append(entry)
    for group in groups.values():
        if any(log.header.let_up_since_last is False for _, log in group):
            yield group
        else:
            yield from ([entry] for entry in group)


def _kept_or_new(archive: Archive, box: Box | None, chain: Sequence[Entry]) -> list[Assessment]:
    from analysis.assess import assess_logs

    prints = "".join(archive.fingerprint(path) for path, _ in chain)
    key = hashlib.sha256(prints.encode()).hexdigest()
    kept = archive.kept_result(key, code_version())
    if kept is not None:
        results = from_text(kept)
        return [replace(result, log=str(path)) for result, (path, _) in zip(results, chain, strict=True)]
    results = list(assess_logs([(log, box) for _, log in chain]))
    archive.keep_result(key, code_version(), as_text(results))
    return results


@cache
def code_version() -> str:
    """Text that changes with the code that makes a result of a file."""
    root = Path(__file__).parents[1]
    sources = sorted(path for layer in ("acquisition", "analysis") for path in (root / layer).rglob("*.py"))
    return hashlib.sha256(b"".join(path.read_bytes() for path in sources)).hexdigest()


def as_text(results: Sequence[Assessment]) -> str:
    """Results as JSON text, without their curves."""
    return json.dumps([asdict(replace(result, curves=None)) for result in results], default=datetime.isoformat)


def from_text(text: str) -> list[Assessment]:
    """Results from the text of ``as_text``."""
    return [_read(Assessment, record) for record in json.loads(text)]


def _read(hint: Any, data: Any) -> Any:
    """A value of the type ``hint`` from its JSON form."""
    if data is None:
        return None
    if get_origin(hint) in (Union, UnionType):
        return _read(next(kind for kind in get_args(hint) if kind is not type(None)), data)
    if get_origin(hint) is tuple:
        kinds = get_args(hint)
        kinds = kinds[:1] * len(data) if kinds[1:] == (Ellipsis,) else kinds
        return tuple(_read(kind, item) for kind, item in zip(kinds, data, strict=True))
    if isinstance(hint, type) and is_dataclass(hint):
        kinds_of = get_type_hints(hint)
        return hint(**{name: _read(kinds_of[name], value) for name, value in data.items()})
    return datetime.fromisoformat(data) if hint is datetime else data
