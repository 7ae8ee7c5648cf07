"""Access to the archive for the pages: boxes, tests, and what was worked out of them.

A box's tests are worked out in the background, once for every state of its files; pages ask ``findings`` and
show "working out 6 tests" until they are there.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import TypeVar

from acquisition.archive import Archive
from acquisition.errors import BoxholdError
from acquisition.records import Box, Event, Log
from analysis.results import Assessment, HistoryLine, Ranking, SheetComparison
from dashboard.holds import Holds
from dashboard.inbox import Inbox
from dashboard.lookround import LookRound

Read = TypeVar("Read")
Stamp = tuple[tuple[str, int, int], ...]
MOST_KEPT = 200
WITHOUT_SHEET = ("film-on-rim", "vents-taped")
_URGENCY = ("stalls", "over", "cannot-tell", "no-answer", "no-limit", "within", "tight")


@dataclass(frozen=True, eq=False)
class Trial:
    """One log of a box with its result; ``key`` is the file's name without ending."""

    key: str
    log: Log
    result: Assessment


@dataclass(frozen=True, eq=False)
class Findings:
    """All that is known of one box; ``troubles`` are sentences about files that could not be read."""

    box: Box
    events: tuple[Event, ...] = ()
    trials: tuple[Trial, ...] = ()
    ranking: Ranking | None = None
    comparisons: Mapping[str, SheetComparison] = field(default_factory=dict)
    histories: tuple[HistoryLine, ...] = ()
    troubles: tuple[str, ...] = ()

    @property
    def results(self) -> tuple[Assessment, ...]:
        """The trials' results, oldest first."""
        return tuple(t.result for t in self.trials)

    def trial(self, key: str) -> Trial | None:
        """The trial of an address: its key, or the beginning of it (the start of the test)."""
        return next((t for t in self.trials if t.key == key), None) or next(
            (t for t in self.trials if t.key.startswith(key)), None
        )

    @property
    def last(self) -> Trial | None:
        """The trial that speaks for the box: the worst of the last day's over the limit, else the last one."""
        whole = [t for t in self.trials if not t.result.sealed and t.result.setup != "line-only"] or list(self.trials)
        if not whole:
            return None
        day = _day(whole[-1])
        over = [t for t in whole if _day(t) == day and t.result.verdict in ("stalls", "over")]
        return min(over, key=_most_to_say) if over else whole[-1]


def _most_to_say(trial: Trial) -> tuple[int, float]:
    area = trial.result.own_area_m2
    return urgency(trial.result.verdict), -(area.value if area else 0.0)


def _day(trial: Trial) -> str:
    return trial.key[:8]


def urgency(verdict: str) -> int:
    """Rank of a verdict among rows: 0 is the most urgent."""
    return _URGENCY.index(verdict) if verdict in _URGENCY else len(_URGENCY)


class Shop:
    """The archive as the pages see it.

    Parameters
    ----------
    archive_dir
        Folder with one folder a box.
    workers
        Threads that work out boxes in the background.
    """

    def __init__(self, archive_dir: Path, workers: int = 2) -> None:
        self.archive_dir = Path(archive_dir)
        self.archive = Archive(self.archive_dir)
        self._pool = ThreadPoolExecutor(workers, thread_name_prefix="working-out")
        self.inbox = Inbox()
        self.holds = Holds(self.archive)
        self.look_round = LookRound(_sample_boxes)
        self._single: dict[str, Future[Assessment]] = {}
        self._known: dict[str, tuple[Stamp, Future[Findings]]] = {}
        self._lock = threading.Lock()

    def names(self) -> list[str]:
        """Names of all boxes of the archive."""
        return list(self.archive.boxes())

    def today(self) -> date:
        """The day it is."""
        return date.today()

    def tests_of(self, name: str) -> list[Path]:
        """Log files of a box, oldest first."""
        return list(self.archive.log_paths(name))

    def findings(self, name: str, wait_s: float | None = 0.0) -> Findings | None:
        """What is known of a box, or None while it is being worked out.

        Parameters
        ----------
        name
            A name of ``names()``.
        wait_s
            How long to wait for work in hand; None waits till it is done.
        """
        future = self._future(name)
        try:
            return future.result(timeout=wait_s)
        except TimeoutError:
            return None

    def described(self, name: str) -> Box:
        """The box as its file describes it, without waiting for its tests; only its name where no file can be read."""
        known = self.findings(name)
        if known is not None:
            return known.box
        read = _kept(lambda: self.archive.box(name), [])
        return Box(name) if read is None else read

    def assess_once(self, key: str, log: Log, wait_s: float | None = 0.25) -> Assessment | None:
        """The result of a log that is not in the archive, or None while it is being worked out.

        ``key`` tells it apart from others; the box file of the archive is used when the log names its box.
        """
        with self._lock:
            while len(self._single) > MOST_KEPT:
                self._single.pop(next(iter(self._single)))
            if key not in self._single:
                self._single[key] = self._pool.submit(self._one, log)
            future = self._single[key]
        try:
            return future.result(timeout=wait_s)
        except TimeoutError:
            return None

    def _one(self, log: Log) -> Assessment:
        from analysis.assess import assess_logs

        name = log.header.box
        box = self.archive.box(name) if name in self.names() and name is not None else None
        result: Assessment = assess_logs([(log, box)])[0]
        return result

    def _future(self, name: str) -> Future[Findings]:
        stamp = self._stamp(name)
        with self._lock:
            known = self._known.get(name)
            if known is None or known[0] != stamp:
                known = stamp, self._pool.submit(self.work_out, name)
                self._known[name] = known
            return known[1]

    def _stamp(self, name: str) -> Stamp:
        folder = self.archive.folder(name)
        files = [folder / "box.toml", folder / "events.csv", *self.tests_of(name)]
        return tuple((p.name, s.st_mtime_ns, s.st_size) for p in files if p.exists() for s in (p.stat(),))

    def work_out(self, name: str) -> Findings:
        """Read a box's files and work out what is not kept in the catalogue; slow."""
        from dashboard.kept_results import assess_box

        troubles: list[str] = []
        box = _kept(lambda: self.archive.box(name), troubles) or Box(name)
        events = self.archive.events(name)
        troubles.extend(self.archive.event_troubles(name))
        results = _kept(lambda: assess_box(self.archive, name, troubles.append), troubles) or []
        trials = tuple(Trial(Path(r.log).stem, self.archive.log(r.log), r) for r in results)
        return conclude(box, events, trials, tuple(dict.fromkeys(troubles)))

    def with_curves(self, name: str, trial: Trial, wait_s: float | None = 0.25) -> Assessment | None:
        """A trial's result with the curves a page draws, or None while they are being worked out."""
        if trial.result.curves is not None:
            return trial.result
        return self.assess_once(f"{name}/{trial.key}/{trial.result.log}", trial.log, wait_s)

    def close(self) -> None:
        """Stop working out."""
        self.look_round.close()
        self.holds.close()
        self._pool.shutdown(wait=True, cancel_futures=True)


def _sample_boxes() -> Path:
    from dashboard.commands_show import sample_boxes

    return sample_boxes()


def _kept(read: Callable[[], Read], troubles: list[str]) -> Read | None:
    """What ``read`` gives; a file that cannot be read is put down in ``troubles``."""
    try:
        return read()
    except BoxholdError as trouble:
        troubles.append(str(trouble))
        return None


def conclude(
    box: Box, events: tuple[Event, ...], trials: tuple[Trial, ...], troubles: tuple[str, ...] = ()
) -> Findings:
    """Rank, compare and follow over the months what single tests gave."""
    from analysis.history import history
    from analysis.ranking import rank

    results = [t.result for t in trials]
    if not results:
        return Findings(box, events, troubles=troubles)
    ranking = rank(results, box, events)
    return Findings(box, events, trials, ranking, comparisons(results, events), history(results, events, box), troubles)


def comparisons(results: list[Assessment], events: tuple[Event, ...]) -> dict[str, SheetComparison]:
    """With-sheet against each setup without one that was tested, by that setup's name."""
    from analysis.compare import compare_sheet

    sheets = [r for r in results if r.setup == "formed-sheet" and not r.sealed and r.area_m2 is not None]
    made = {}
    for setup in WITHOUT_SHEET:
        without = [r for r in results if r.setup == setup and not r.sealed and r.area_m2 is not None]
        if without and sheets:
            made[setup] = compare_sheet(without, sheets, events=events)
    return made
