"""``boxhold volume``: both ways to measure the inside, on figures that can be checked by hand."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from dashboard.cli import run

SAMPLES = Path(__file__).parents[2] / "sample_logs"
LOGS = SAMPLES / "B-08" / "logs"
PLAIN, WITH_HOLE = LOGS / "20260224T154000-undrilled.csv", LOGS / "20260224T155000-undrilled.csv"


def one_record(capsys):
    told = capsys.readouterr()
    assert told.err == ""
    record = json.loads(told.out)
    assert list(record) == ["volume_L", "outcome", "reason"]
    return record


def test_shared_air_follows_boyle(capsys):
    """V = 50 L * (60 - 20) / (100 - 60) = 50 L, by hand."""
    assert run(["volume", "--shared", "50 +- 0.5", "--before", "100", "20", "--after", "60", "--json"]) == 0
    volume = one_record(capsys)["volume_L"]
    assert volume["value"] == pytest.approx(50.0)
    assert volume["low"] < 50.0 < volume["high"]
    # 1 % of the tank alone is 2 % at 95 %; the readings can only widen it
    assert volume["high"] / volume["low"] > 1.039


def test_shared_air_as_text_gives_the_line_for_the_box_file(capsys):
    assert run(["volume", "--shared", "50", "--before", "100", "20", "--after", "60"]) == 0
    assert 'volume_L = "50.0 +- ' in capsys.readouterr().out


def test_pressures_that_cannot_be_are_refused_with_exit_0(capsys):
    assert run(["volume", "--shared", "50", "--before", "100", "20", "--after", "10", "--json"]) == 0
    record = one_record(capsys)
    assert (record["outcome"], record["volume_L"]) == ("refused", None)
    assert record["reason"]


@pytest.mark.parametrize(
    "args",
    [
        [],
        ["--shared", "50"],
        ["--shared", "big", "--before", "100", "20", "--after", "60"],
        ["--shared", "50", "--before", "nan", "20", "--after", "60"],
        ["--shared", "50", "--before", "100", "20", "--after", "60", "--hole", "1"],
        ["a.csv", "--hole", "1"],
        ["a.csv", "b.csv"],
        ["a.csv", "b.csv", "--hole", "1", "--drill", "1"],
        ["a.csv", "b.csv", "--hole", "0"],
    ],
)
def test_what_does_not_fit_together_is_wrong_usage(capsys, args):
    assert run(["volume", *args]) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err.count("\n") == 1


def test_a_log_that_is_missing_is_named(capsys, tmp_path):
    assert run(["volume", str(PLAIN), str(tmp_path / "no.csv"), "--drill", "0.5", "--json"]) == 3
    assert "no.csv" in capsys.readouterr().err


@pytest.mark.slow
def test_two_holds_with_a_check_plug_give_the_planted_volume(capsys):
    assert run(["volume", str(PLAIN), str(WITH_HOLE), "--drill", "0.5", "--json"]) == 0
    volume = one_record(capsys)["volume_L"]
    planted = json.loads((SAMPLES / "planted.json").read_text(encoding="utf-8"))
    truth = planted[str(PLAIN.relative_to(SAMPLES))]["volume_L"]
    assert volume["low"] < truth < volume["high"]
