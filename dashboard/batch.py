"""Assesses the logs of one call, many of them in processes side by side, with progress on a terminal."""

from __future__ import annotations

import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from multiprocessing import get_context
from typing import TYPE_CHECKING

from dashboard.faults import TRACEBACK_WANTED, fault_sentence

if TYPE_CHECKING:
    from acquisition.records import Box, Log
    from analysis.results import Assessment

    Pair = tuple[Log, Box | None]

MANY = 8
"""Up to so many logs are assessed in this process: starting others would take longer."""


def usual_jobs(logs: int) -> int:
    """How many processes a call of ``logs`` logs takes when nobody says."""
    if logs <= MANY:
        return 1
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return min(cores, logs)


def assess_batch(pairs: Sequence[Pair], jobs: int) -> list[Assessment | str]:
    """Assess logs, linked ones together, in ``jobs`` processes.

    Returns
    -------
    One for each pair, in the order given: its result, or the sentence that says which fault kept it from one.
    """
    from analysis.batch import linked_runs

    runs = linked_runs(pairs)
    out: dict[int, Assessment | str] = {}
    with _progress(len(pairs)) as advance:
        for run, results in _answers(pairs, runs, min(jobs, len(runs))):
            out.update(zip(run, results, strict=True))
            advance(len(run))
    return [out[i] for i in range(len(pairs))]


def _answers(
    pairs: Sequence[Pair], runs: list[list[int]], jobs: int
) -> Iterator[tuple[list[int], list[Assessment | str]]]:
    """Runs with their results, as they come."""
    if jobs <= 1:
        for run in runs:
            yield run, assess_run([pairs[i] for i in run])
        return
    # A fresh interpreter a worker: a forked one would inherit threads that no longer run.
    pool = ProcessPoolExecutor(jobs, get_context("spawn"), _begin)
    try:
        with _deaf_to_ctrl_c():
            waiting = {pool.submit(assess_run, [pairs[i] for i in run]): run for run in runs}
        for done in as_completed(waiting):
            yield waiting[done], _results(done, len(waiting[done]))
    finally:
        pool.shutdown(cancel_futures=True)


def _results(done: Future[list[Assessment | str]], logs: int) -> list[Assessment | str]:
    try:
        return done.result()
    except BrokenProcessPool:
        return ["A process that assessed logs was ended from outside; try again with --jobs 1."] * logs


@contextmanager
def _deaf_to_ctrl_c() -> Iterator[None]:
    """Processes started in here ignore Ctrl-C from their first moment: it is for the parent to end them."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def _begin() -> None:
    """Set a worker up: one thread, since there is a process a core; Ctrl-C is for the parent."""
    os.environ.update(dict.fromkeys(("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"), "1"))
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def assess_run(pairs: Sequence[Pair]) -> list[Assessment | str]:
    """Assess logs together; should that break down, one by one, so that one log stops no other."""
    from analysis.assess import assess_logs

    try:
        return list(assess_logs(pairs))
    except Exception as fault:
        if TRACEBACK_WANTED in os.environ:
            raise
        if len(pairs) == 1:
            return [fault_sentence(fault)]
    return [assess_run([pair])[0] for pair in pairs]


@contextmanager
def _progress(logs: int) -> Iterator[Callable[[int], None]]:
    """A bar on standard error when that is a terminal and there are many logs."""
    if logs <= MANY or not sys.stderr.isatty():
        yield lambda count: None
        return
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("Assessing", total=logs)
        yield lambda count: bar.advance(task, count)
