"""Results kept in an archive's catalogue come back as they were."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from pathlib import Path
from shutil import copytree

import numpy as np
import pytest

from acquisition.archive import Archive
from acquisition.records import Log, LogHeader
from acquisition.units import GaugeUnit
from analysis import assess
from analysis.results import (
    Assessment,
    Curves,
    EarlierHold,
    HoldSpan,
    Interval,
    LawVerdict,
    Limit,
    Phase,
    Release,
)
from dashboard import kept_results

SPAN = HoldSpan(200.0, 500.0, 20_000.0, 35_500.0)
FULL = Assessment(
    log="a.csv", box="B-07", setup="vents-taped", sealed=("port-flange",), open_paths=("panel-edges", "closure"),
    started=datetime.fromisoformat("2026-05-03T14:02:11+02:00"), outcome="estimate", reason=None, advice="Hold again.",
    verdict="over", limit=Limit(0.42e-6, "pump"), test="hold", span=SPAN,
    earlier_holds=(EarlierHold("b.csv", SPAN, Interval(1e-6, 0.9e-6, 1.1e-6)),), area_m2=Interval(1e-6, 0.9e-6, 1.1e-6),
    law=LawVerdict("hole", 0.528, 0.5, None, {"hole": 0.97, "seep": 0.01, "between": 0.02}),
    release=Release(True, 0.25), flags=("gap",), phases=(Phase("hold", 200.0, 500.0),), room_pa=101_325.0,
)  # fmt: skip
REFUSED = Assessment(
    log="c.csv", box=None, setup=None, sealed=(), open_paths=(), started=None, outcome="refused", reason="too short",
    advice="Hold longer.", verdict="no-answer", limit=None, test="hold",
)  # fmt: skip


@pytest.mark.parametrize("result", [FULL, REFUSED], ids=["estimate", "refused"])
def test_a_result_comes_back_equal_in_every_field(result):
    back = kept_results.from_text(kept_results.as_text([result]))[0]
    assert vars(back) == vars(result)
    assert {name: type(value) for name, value in vars(back).items()} == {
        name: type(value) for name, value in vars(result).items()
    }


def test_curves_are_left_out():
    curves = Curves(np.arange(3.0), np.arange(3.0))
    assert kept_results.from_text(kept_results.as_text([replace(FULL, curves=curves)]))[0].curves is None


def log(name, setup, let_up_since_last):
    header = LogHeader(GaugeUnit("absolute", "kPa"), setup=setup, let_up_since_last=let_up_since_last)
    return Path(name), Log(header, np.zeros(1), np.zeros(1))


def test_logs_without_a_let_up_between_are_assessed_together():
    entries = [log("a", "vents-taped", None), log("b", "film-on-top", None), log("c", "vents-taped", False),
               log("d", "film-on-top", True)]  # fmt: skip
    names = [[path.name for path, _ in chain] for chain in kept_results.chains(entries)]
    assert names == [["a", "c"], ["b"], ["d"]]
    assert list(kept_results.chains([])) == []


def test_code_version_is_the_same_within_one_run():
    assert kept_results.code_version() == kept_results.code_version()
    assert len(kept_results.code_version()) == 64


SAMPLES = Path(__file__).parents[2] / "sample_logs"


def test_a_log_that_trips_the_program_leaves_the_others(tmp_path, monkeypatch):
    copytree(SAMPLES / "B-03", tmp_path / "B-03")
    whole = assess.assess_logs

    def trips(pairs):
        if "091500" in pairs[0][0].path.name:
            raise ValueError("tripped")
        return whole(pairs)

    monkeypatch.setattr(assess, "assess_logs", trips)
    troubles = []
    results = kept_results.assess_box(Archive(tmp_path), "B-03", troubles.append)
    assert len(results) == 3
    assert len(troubles) == 1
    assert "091500" in troubles[0]
