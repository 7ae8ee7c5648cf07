"""Which logs hang together: only those that say so, and only within one box, setup and sealed list."""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np

from acquisition.records import Log, LogHeader
from acquisition.units import GaugeUnit
from analysis.batch import linked_runs

START = datetime.fromisoformat("2026-05-03T14:00:00+02:00")


def log(minute: int | None, let_up: bool | None = None, box: str = "B-01", setup: str = "undrilled") -> Log:
    started = None if minute is None else START + timedelta(minutes=minute)
    header = LogHeader(GaugeUnit("absolute", "kPa"), box, setup, started=started, let_up_since_last=let_up)
    return Log(header, np.array([0.0]), np.array([101.3]))


def runs(*logs: Log) -> list[list[int]]:
    return linked_runs([(log, None) for log in logs])


def test_logs_that_say_nothing_stand_alone() -> None:
    assert runs(log(0), log(10), log(20, let_up=True)) == [[0], [1], [2]]


def test_a_redraw_goes_with_the_hold_before_it_whatever_the_order_given() -> None:
    assert runs(log(30, let_up=False), log(60), log(0), log(70, let_up=False)) == [[0, 2], [1, 3]]


def test_other_boxes_and_setups_are_never_linked() -> None:
    mine, other = log(0), log(10, False, box="B-02")
    assert runs(mine, other, log(20, False, setup="vents-taped")) == [[0], [1], [2]]


def test_a_log_without_a_date_cannot_be_linked() -> None:
    assert runs(log(0), log(None, let_up=False)) == [[0], [1]]
