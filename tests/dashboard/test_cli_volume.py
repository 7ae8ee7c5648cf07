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
    "words",
    [
        ["--shared", "50,5", "--before", "100,3", "20", "--after", "60"],
        ["--shared", "50.5L", "--before", "100.3kPa", "20", "--after", "60"],
        ["--shared", "50,5 l", "--before", "100.3", "20", "--after", "60,0"],
        ["--shared", "0.0505 m3", "--before", "100.3", "20", "--after", "60"],
        ["--shared", "50.5 L +- 2.525 L", "--before", "100.3", "20", "--after", "60"],
    ],
)
def test_figures_may_be_typed_as_people_write_them(capsys, words):
    """V = 50.5 L * (60 - 20) / (100.3 - 60) = 50.12 L, by hand; 5 % of the tank where nothing is said."""
    assert run(["volume", *words, "--json"]) == 0
    volume = one_record(capsys)["volume_L"]
    assert volume["value"] == pytest.approx(50.5 * 40.0 / 40.3)
    assert volume["high"] / volume["value"] == pytest.approx(1.103, abs=0.003)


@pytest.mark.parametrize(
    ("before", "after", "told"),
    [
        (["60", "20"], "100", "above both box (60) and tank (20) before, which cannot be; --after and the box's"),
        (["20", "60"], "100", "--after and the tank's pressure in --before look swapped"),
        (["100", "60"], "20", "below both box (100) and tank (60) before, which cannot be; --after and the tank's"),
        (["60", "100"], "20", "--after and the box's pressure in --before look swapped"),
        (["60", "60"], "60", "shared nothing"),
        (["1003", "200"], "600", "absolute kPa"),
    ],
)
def test_pressures_that_cannot_share_say_what_looks_wrong(capsys, before, after, told):
    assert run(["volume", "--shared", "50", "--before", *before, "--after", after, "--json"]) == 0
    record = one_record(capsys)
    assert record["outcome"] == "refused"
    assert told in record["reason"]


@pytest.mark.parametrize(
    "args",
    [
        [],
        ["--shared", "0", "--before", "100", "20", "--after", "60"],
        ["--shared", "50 L +- 0.001 m3", "--before", "100", "20", "--after", "60"],
        ["--shared", "50 gal", "--before", "100", "20", "--after", "60"],
        ["--shared", "50"],
        ["--shared", "big", "--before", "100", "20", "--after", "60"],
        ["--shared", "50", "--before", "nan", "20", "--after", "60"],
        ["--shared", "50", "--before", "100", "20", "--after", "60", "--hole", "1"],
        ["a.csv", "--hole", "1"],
        ["a.csv", "b.csv"],
        ["a.csv", "b.csv", "--hole", "1", "--drill", "1"],
        ["a.csv", "b.csv", "--hole", "0"],
        ["a.csv", "b.csv", "--drill", "1", "--cd", "5"],
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


@pytest.mark.parametrize(
    ("shared", "before", "after", "told"),
    [
        ("50", ["1e9", "8"], "44.7", "A box at 1e+09 kPa cannot be"),
        ("50", ["101.3", "1200"], "500", "A tank at 1200 kPa cannot be"),
        ("50", ["101.3", "8"], "1e9", "A box with its tank at 1e+09 kPa cannot be"),
        # 50 L x (44.7 - 8) / (101.3 - 44.7) = 32.4 L with a tank of 50 L; in proportion with others.
        ("1e12", ["101.3", "8"], "44.7", "would be an inside of 6.5e+11 L, and boxes hold 0.01 to 27000 L"),
        ("1e-9", ["101.3", "8"], "44.7", "would be an inside of 6.5e-10 L"),
    ],
)
def test_what_no_box_can_be_is_refused(capsys, shared, before, after, told):
    assert run(["volume", "--shared", shared, "--before", *before, "--after", after]) == 0
    out = capsys.readouterr().out
    assert told in out
    assert out.startswith("No answer. ")
    assert out.count("\n") == 1
