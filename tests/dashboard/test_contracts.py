"""The objects of --json, held to the words of the contract by hand-written results and expectations."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import datetime

import numpy as np
import pytest

from analysis.results import (
    Assessment,
    EarlierHold,
    HistoryLine,
    HoldSpan,
    Interval,
    LawVerdict,
    Limit,
    NextTest,
    PathResult,
    Ranking,
    Release,
    Repair,
    SheetComparison,
    TestPoint,
    Trend,
    Unexplained,
)
from dashboard import contracts

ESTIMATE = Assessment(
    log="logs/a.csv", box="B-07", setup="vents-taped", sealed=("port-flange",),
    open_paths=("panel-edges", "panel-faces", "top-panel", "closure", "line", "valve-seat"),
    started=datetime.fromisoformat("2026-05-03T14:02:11+02:00"), outcome="estimate", reason=None,
    advice="Putty the flange and hold again.", verdict="over", limit=Limit(0.42e-6, "pump"), test="hold",
    span=HoldSpan(200.0, 500.0, 20_000.0, 35_500.0),
    earlier_holds=(
        EarlierHold("logs/a.csv", HoldSpan(10.0, 60.0, 19_000.0, 22_000.0), Interval(1.1e-6, 1e-6, 1.2e-6)),
    ),
    area_m2=Interval(0.98e-6, 0.9e-6, 1.1e-6), area_fit_m2=Interval(0.98e-6, 0.96e-6, 1.0e-6),
    leakage_rate_pa_m3_s=Interval(19.7, 18.1, 22.1), drilled_hole_m=Interval(1.226e-3, 1.17e-3, 1.3e-3),
    lost_5min_pa=16_000.0, law=LawVerdict("hole", 0.528, 0.5, "sharp", {"hole": 0.97, "seep": 0.01, "between": 0.02}),
    release=Release(True, 0.1), flags=("release", "place-unknown"),
)  # fmt: skip
REFUSED = replace(
    ESTIMATE, outcome="refused", verdict="no-answer", reason="The gauge stayed on 12.0 kPa.", limit=None, span=None,
    earlier_holds=(), area_m2=None, area_fit_m2=None, leakage_rate_pa_m3_s=None, drilled_hole_m=None,
    lost_5min_pa=None, law=None, release=None, flags=(),
)  # fmt: skip

ASSESS_KEYS = [
    "log", "box", "setup", "open_paths", "outcome", "reason", "advice", "verdict", "limit_mm2", "test", "hold",
    "earlier_holds", "leak_area_mm2", "leak_area_fit_mm2", "leakage_rate_Pa_m3_s", "drilled_hole_mm", "lost_5min_kPa",
    "law", "release", "flags",
]  # fmt: skip


@pytest.mark.parametrize("result", [ESTIMATE, REFUSED], ids=["estimate", "refused"])
def test_assess_object_always_has_every_key_in_the_order_of_the_contract(result):
    assert list(contracts.assessment_record(result)) == ASSESS_KEYS


def test_assess_object_is_in_kpa_mm2_and_mm():
    record = contracts.assessment_record(ESTIMATE)
    assert record["limit_mm2"] == {"value": pytest.approx(0.42), "from": "pump"}
    assert record["hold"] == {"start_s": 200.0, "end_s": 500.0, "start_kPa": 20.0, "end_kPa": 35.5}
    assert record["leak_area_mm2"] == pytest.approx({"value": 0.98, "low": 0.9, "high": 1.1})
    assert record["leak_area_fit_mm2"] == pytest.approx({"value": 0.98, "low": 0.96, "high": 1.0})
    assert record["leakage_rate_Pa_m3_s"] == {"value": 19.7, "low": 18.1, "high": 22.1}
    assert record["drilled_hole_mm"] == pytest.approx({"value": 1.226, "low": 1.17, "high": 1.3})
    assert record["lost_5min_kPa"] == pytest.approx(16.0)
    assert record["earlier_holds"][0]["end_kPa"] == pytest.approx(22.0)
    assert record["earlier_holds"][0]["leak_area_mm2"]["value"] == pytest.approx(1.1)


def test_assess_object_names_law_release_and_flags():
    record = contracts.assessment_record(ESTIMATE)
    assert record["law"] == {
        "kind": "hole", "b": 0.528, "m": 0.5, "variant": "sharp",
        "probability": {"hole": 0.97, "seep": 0.01, "between": 0.02},
    }  # fmt: skip
    assert record["release"] == {"present": True, "share": 0.1}
    assert record["flags"] == ["release", "place-unknown"]


def test_refusal_has_null_figures_hold_and_law():
    record = json.loads(contracts.as_line(contracts.assessment_record(REFUSED)))
    empty = ("limit_mm2", "hold", "leak_area_mm2", "leak_area_fit_mm2", "leakage_rate_Pa_m3_s", "drilled_hole_mm",
             "lost_5min_kPa", "law", "release")  # fmt: skip
    assert {key: record[key] for key in empty} == dict.fromkeys(empty)
    assert record["reason"] == "The gauge stayed on 12.0 kPa."


@pytest.mark.parametrize("odd", [float("nan"), float("inf"), -float("inf"), np.float64("nan")])
def test_what_is_not_a_number_becomes_null(odd):
    result = replace(ESTIMATE, area_m2=Interval(0.98e-6, 0.9e-6, odd), lost_5min_pa=odd)
    record = json.loads(contracts.as_line(contracts.assessment_record(result)))
    assert record["leak_area_mm2"]["high"] is None
    assert record["lost_5min_kPa"] is None


def test_numbers_of_the_array_library_come_out_as_plain_json():
    result = replace(ESTIMATE, lost_5min_pa=np.float64(16_000.0), release=Release(np.bool_(True), np.float64(0.25)))
    record = json.loads(contracts.as_line(contracts.assessment_record(result)))
    assert record["lost_5min_kPa"] == pytest.approx(16.0)
    assert record["release"] == {"present": True, "share": 0.25}


def test_a_line_is_one_line_of_ascii_whatever_the_file_is_called():
    line = contracts.as_line(contracts.assessment_record(replace(ESTIMATE, log="kaputt\n\udcff°.csv")))
    assert "\n" not in line
    assert line.isascii()
    assert json.loads(line)["log"] == "kaputt\n\udcff°.csv"


COMPARISON = SheetComparison(
    "B-03", "estimate", None, Interval(2.5e-6, 1.4e-6, 4.3e-6), ("sheet-edge",), ("closure",), "Edge: 2.5 mm²."
)


def test_compare_object():
    assert contracts.comparison_record(COMPARISON) == {
        "box": "B-03", "outcome": "estimate", "reason": None,
        "difference_mm2": pytest.approx({"value": 2.5, "low": 1.4, "high": 4.3}),
        "gained_paths": ["sheet-edge"], "covered_paths": ["closure"], "sentence": "Edge: 2.5 mm².",
    }  # fmt: skip


def test_compare_object_of_a_refusal_keeps_its_keys():
    refused = SheetComparison(None, "refused", "No test with a sheet.", None, (), (), "Nothing to compare.")
    record = contracts.comparison_record(refused)
    assert list(record) == list(contracts.comparison_record(COMPARISON))
    assert record["difference_mm2"] is None


RANKING = Ranking(
    box="B-03", outcome="ranked", reason=None, comparison=COMPARISON,
    paths=(
        PathResult("port-flange", Interval(0.1e-6, 0.0, 0.3e-6), 0.04, 0.02, 0.01, ("sealing it changed little",)),
        PathResult("sheet-edge", Interval(2.5e-6, 1.4e-6, 4.3e-6), 0.96, 0.98, 0.99, ("with minus without",)),
        PathResult("valve-seat", Interval(0.0, -0.1e-6, 0.1e-6), 0.0, 0.0, None, ()),
    ),
    not_told_apart=(("panel-edges", "panel-faces"),), not_tested=("top-panel",),
    unexplained=Unexplained("b.csv", 2.7e-6, "The two tests do not agree."), left_out=(("c.csv", "too short"),),
    next_test=NextTest("hold", "film-on-rim", ("port-flange",), 300.0, 0.8, "tells the flange from the edges"),
    advice=("Heat the corners.",),
)  # fmt: skip


def test_rank_object_has_the_likeliest_largest_first():
    record = contracts.ranking_record(RANKING)
    assert list(record) == [
        "box", "outcome", "reason", "comparison", "paths", "not_told_apart", "not_tested", "unexplained", "left_out",
        "next_test", "advice",
    ]  # fmt: skip
    assert [path["path"] for path in record["paths"]] == ["sheet-edge", "port-flange", "valve-seat"]
    assert record["paths"][0] == {
        "path": "sheet-edge", "leak_area_mm2": pytest.approx({"value": 2.5, "low": 1.4, "high": 4.3}), "share": 0.96,
        "probability_largest": 0.98, "probability_over_limit": 0.99, "evidence": ["with minus without"],
    }  # fmt: skip
    assert record["paths"][2]["probability_over_limit"] is None


def test_rank_object_carries_what_does_not_fit_and_what_to_do_next():
    record = contracts.ranking_record(RANKING)
    assert record["not_told_apart"] == [["panel-edges", "panel-faces"]]
    assert record["unexplained"] == {
        "log": "b.csv", "by_mm2": pytest.approx(2.7), "sentence": "The two tests do not agree."
    }  # fmt: skip
    assert record["left_out"] == [{"log": "c.csv", "reason": "too short"}]
    assert record["next_test"] == {
        "do": "hold", "setup": "film-on-rim", "seal": ["port-flange"], "hold_s": 300.0, "expected_gain_bits": 0.8,
        "why": "tells the flange from the edges",
    }  # fmt: skip


def test_rank_object_without_comparison_or_next_test_has_nulls():
    record = contracts.ranking_record(replace(RANKING, comparison=None, next_test=None, unexplained=None))
    assert (record["comparison"], record["next_test"], record["unexplained"]) == (None, None, None)


def test_history_object():
    started = datetime.fromisoformat("2026-01-05T09:00:00+01:00")
    line = HistoryLine(
        "B-04", "vents-taped", (), (TestPoint("a.csv", started, "estimate", Interval(1e-6, 0.9e-6, 1.1e-6), None),),
        (Repair("2026-03-01", "panel-edges", "new bead"),), Trend(Interval(12.0, 8.0, 16.0)), "12 tests", 0.42e-6,
    )  # fmt: skip
    record = contracts.history_record(line)
    assert record == {
        "box": "B-04", "setup": "vents-taped", "sealed": [],
        "tests": [{"log": "a.csv", "started": "2026-01-05T09:00:00+01:00", "outcome": "estimate",
                   "leak_area_mm2": pytest.approx({"value": 1.0, "low": 0.9, "high": 1.1}), "set_aside": None}],
        "repairs": [{"date": "2026-03-01", "path": "panel-edges", "text": "new bead"}],
        "trend": {"percent_per_month": {"value": 12.0, "low": 8.0, "high": 16.0}}, "trend_reason": "12 tests",
        "limit_mm2": pytest.approx(0.42),
    }  # fmt: skip
    assert contracts.history_record(replace(line, trend=None, limit_m2=None))["trend"] is None
