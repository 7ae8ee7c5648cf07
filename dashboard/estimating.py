"""The estimate beside a recording: worked out in a process of its own, so that no line is ever late for it."""

from __future__ import annotations

import signal
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from multiprocessing import get_context
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from acquisition.records import Box, Log
    from analysis.holding import Estimate


@dataclass(frozen=True)
class Answer:
    """What an estimate says: the part that tells whether to hold on, whether release is seen, the sentence."""

    estimate: Estimate
    release: bool
    sentence: str


def work_out(log: Log, box: Box | None, held_s: float) -> Answer | None:
    """Assess a log as it stands; runs in the other process. A log without rows only loads the libraries."""
    from analysis.assess import assess_logs
    from analysis.holding import estimate_of
    from analysis.wording import answer_sentence

    if log.elapsed_s.size == 0:
        return None
    assessment = assess_logs([(log, box)])[0]
    release = assessment.release is not None and assessment.release.present
    return Answer(estimate_of(assessment, held_s), release, answer_sentence(assessment))


def _leave_signals_alone() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)


class Estimator:
    """Works out one estimate at a time; what it is offered while busy is passed over."""

    def __init__(self, box: Box | None) -> None:
        self._box = box
        self._pool: ProcessPoolExecutor | None = None
        self._running: Future[Answer | None] | None = None

    def offer(self, log: Log, held_s: float) -> None:
        """Begin an estimate of this log unless one is running."""
        if self._running is not None:
            return
        if self._pool is None:
            self._pool = ProcessPoolExecutor(1, get_context("spawn"), initializer=_leave_signals_alone)
        try:
            self._running = self._pool.submit(work_out, log, self._box, held_s)
        except BrokenProcessPool:
            self._pool = None

    def answer(self) -> Answer | None:
        """The answer that has come in since the last call, if one has; an estimate that failed gives none."""
        if self._running is None or not self._running.done():
            return None
        done, self._running = self._running, None
        return None if done.exception() is not None else done.result()

    def close(self) -> None:
        """End the other process."""
        if self._pool is not None:
            self._pool.shutdown(wait=False, cancel_futures=True)
