"""Many logs at once: which of them must be assessed together, so that the rest can go to other processes."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from datetime import datetime

from acquisition.records import Box, Log

_Key = tuple[str | None, str | None, tuple[str, ...]]


def linked_runs(pairs: Sequence[tuple[Log, Box | None]]) -> list[list[int]]:
    """Indices of logs that hang together, each run in the order given; runs in the order of their first logs.

    A log that says ``let_up_since_last: no`` goes with the log of the same box, setup and sealed list that
    started last before it; every other log begins a run of its own.
    """
    by_key: dict[_Key, list[int]] = defaultdict(list)
    alone: list[list[int]] = []
    for i, (log, _) in enumerate(pairs):
        header = log.header
        if header.started is None:
            alone.append([i])
        else:
            by_key[(header.box, header.setup, header.sealed)].append(i)
    runs = [run for same in by_key.values() for run in _split(pairs, same)]
    return sorted((sorted(run) for run in [*alone, *runs]), key=lambda run: run[0])


def _split(pairs: Sequence[tuple[Log, Box | None]], same: list[int]) -> list[list[int]]:
    runs: list[list[int]] = []
    for i in sorted(same, key=lambda i: _started(pairs[i][0])):
        if runs and pairs[i][0].header.let_up_since_last is False:
            runs[-1].append(i)
        else:
            runs.append([i])
    return runs


def _started(log: Log) -> datetime:
    assert log.header.started is not None
    return log.header.started
