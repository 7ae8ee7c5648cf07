"""``boxhold plan``: its contract, and the order of things that any physics must keep."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from dashboard.cli import run

BOX = Path(__file__).parents[2] / "sample_logs" / "B-03" / "box.toml"
KEYS = ["outcome", "reason", "soak_s", "hold_s", "start_kPa", "expected_percent", "smallest_leak_mm2", "why"]


@pytest.fixture
def plan(capsys):
    def use(*words, unit="absolute kPa", resolution="0.1", box=BOX):
        code = run(["plan", "--box", str(box), "--unit", unit, "--resolution", resolution, *words, "--json"])
        told = capsys.readouterr()
        assert (code, told.err) == (0, "")
        return json.loads(told.out)

    return use


def test_every_key_is_there(plan):
    record = plan()
    assert list(record) == KEYS
    assert record["outcome"] == "planned"
    assert record["why"]
    assert 0 < record["start_kPa"] < 101.3
    assert record["hold_s"] > 0


def test_a_coarser_gauge_is_never_expected_to_narrow_more(plan):
    """A plan may trade 5 % of the width for a shorter test, so that much may lie between them."""
    fine, dial = plan(resolution="0.01"), plan(unit="vacuum inHg", resolution="0.5")
    assert fine["expected_percent"] <= 1.05 * dial["expected_percent"]


def test_without_volume_or_inside_nothing_can_be_planned(plan, tmp_path):
    bare = tmp_path / "box.toml"
    bare.write_text('name = "B-99"\n', encoding="utf-8")
    record = plan(box=bare)
    assert record["outcome"] == "refused"
    assert record["reason"]
    assert [record[key] for key in KEYS[2:7]] == [None] * 5


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (["--unit", "kPa", "--resolution", "0.1"], 2),
        (["--unit", "absolute kPa", "--resolution", "0"], 2),
        (["--unit", "absolute kPa", "--resolution", "nan"], 2),
        (["--unit", "absolute kPa", "--resolution", "0.1", "--leak", "-1"], 2),
        (["--unit", "absolute kPa", "--resolution", "0.1", "--want", "1e999"], 2),
        (["--unit", "absolute kPa", "--resolution", "0.1", "--want", "101"], 2),
        (["--unit", "absolute kPa", "--resolution", "0.1", "--want", "5", "--tell-law"], 2),
        (["--unit", "absolute kPa"], 2),
    ],
)
def test_wrong_usage_is_one_sentence(capsys, words, code):
    assert run(["plan", "--box", str(BOX), *words]) == code
    assert capsys.readouterr().err.count("\n") == 1


def test_a_missing_box_file_is_named(capsys, tmp_path):
    assert run(["plan", "--box", str(tmp_path / "no.toml"), "--unit", "absolute kPa", "--resolution", "0.1"]) == 3
    assert "no.toml" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("unit", "shown"),
    [
        # 1 inHg is 3386.39 Pa and the room 101.325 kPa (ISO 2533).
        ("vacuum inHg", lambda kpa: f"{(101.325 - kpa) / 3.38639:.0f} inHg of vacuum"),
        ("gauge kPa", lambda kpa: f"\u2212{101.325 - kpa:.0f} kPa on a gauge"),
        ("absolute mbar", lambda kpa: f"{10 * kpa:.0f} mbar absolute"),
    ],
)
def test_where_to_shut_the_valve_is_told_as_the_gauge_shows_it(plan, capsys, unit, shown):
    start = plan(unit=unit, resolution="0.5")["start_kPa"]
    assert run(["plan", "--box", str(BOX), "--unit", unit, "--resolution", "0.5"]) == 0
    told = capsys.readouterr().out.replace("\u00a0", " ")
    assert shown(start) in told
    assert f"{start:.0f} kPa absolute" in told


def test_a_top_that_must_not_be_pumped_down_is_said_first(capsys, tmp_path):
    bare = tmp_path / "box.toml"
    bare.write_text('name = "B-99"\ninside_mm = [600, 600, 90]\nboard_mm = 18\n', encoding="utf-8")
    assert run(["plan", "--box", str(bare), "--unit", "absolute kPa", "--resolution", "0.1"]) == 0
    assert capsys.readouterr().out.startswith("Caution: Its top spans 600 mm; 18 mm board may span 220")


def test_as_text_the_reason_stands_first_and_the_steps_below(capsys):
    assert run(["plan", "--box", str(BOX), "--unit", "absolute kPa", "--resolution", "0.1"]) == 0
    told = capsys.readouterr().out
    assert "shut the valve at" in told
    assert "hold" in told
