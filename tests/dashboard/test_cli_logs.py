"""The commands on logs, on the sample boxes: contract, order, box look-up, batches with a bad log in them."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from dashboard.cli import run

SAMPLES = Path(__file__).parents[2] / "sample_logs"
FLANGE = sorted((SAMPLES / "B-03" / "logs").glob("*.csv"))
SHEETS = sorted((SAMPLES / "B-02" / "logs").glob("*.csv"))
STUCK = SAMPLES / "B-07" / "logs" / "20260504T091000-vents-taped.csv"

ASSESS_KEYS = [
    "log", "box", "setup", "open_paths", "outcome", "reason", "advice", "verdict", "limit_mm2", "test", "hold",
    "earlier_holds", "leak_area_mm2", "leak_area_fit_mm2", "leakage_rate_Pa_m3_s", "drilled_hole_mm", "lost_5min_kPa",
    "law", "release", "flags",
]  # fmt: skip


@pytest.fixture
def call(capsys):
    """Run a command; its exit code, the JSON objects it printed, and its complaints a line each."""

    def use(*words):
        code = run([str(word) for word in words])
        told = capsys.readouterr()
        return code, [json.loads(line) for line in told.out.splitlines()], told.err.splitlines()

    return use


@pytest.fixture
def lone_log(tmp_path):
    """A log alone in a folder two below ``tmp_path``, with no box file near."""
    folder = tmp_path / "shop" / "logs"
    folder.mkdir(parents=True)
    return Path(shutil.copy(FLANGE[0], folder / "a.csv"))


@pytest.mark.parametrize(
    ("words", "instead"),
    [
        (["assess", SAMPLES / "B-03"], SAMPLES / "B-03" / "logs" / "*.csv"),
        (["assess", SAMPLES / "B-03" / "logs"], SAMPLES / "B-03" / "logs" / "*.csv"),
        (["assess", SAMPLES], SAMPLES / "*" / "logs" / "*.csv"),
        (["plan", "--box", SAMPLES / "B-03", "--unit", "absolute kPa", "--resolution", "0.1"],
         SAMPLES / "B-03" / "box.toml"),
        (["assess", FLANGE[0], "--box", SAMPLES / "B-03"], SAMPLES / "B-03" / "box.toml"),
    ],
)  # fmt: skip
def test_where_a_folder_stands_for_a_file_what_is_in_it_is_named(call, words, instead):
    code, _, (complaint,) = call(*words)
    assert code == 3
    assert complaint.endswith(f"this is a folder; name a file in it, such as {instead}.")


def test_assess_prints_one_object_a_log_in_the_order_given(call):
    logs = [FLANGE[1], STUCK, FLANGE[0]]
    code, records, complaints = call("assess", *logs, "--json")
    assert (code, complaints) == (0, [])
    assert [record["log"] for record in records] == [str(log) for log in logs]
    assert [list(record) for record in records] == [ASSESS_KEYS] * 3


def test_assess_keeps_the_promises_of_an_estimate(call):
    record = call("assess", FLANGE[0], "--json")[1][0]
    area, fit = record["leak_area_mm2"], record["leak_area_fit_mm2"]
    assert record["outcome"] == "estimate"
    assert 0 < area["low"] < area["value"] < area["high"]
    assert fit["high"] - fit["low"] < area["high"] - area["low"]
    assert sum(record["law"]["probability"].values()) == pytest.approx(1.0)
    assert record["hold"]["start_kPa"] < record["hold"]["end_kPa"]
    assert record["open_paths"] == ["panel-edges", "panel-faces", "port-flange", "top-panel", "closure", "line",
                                    "valve-seat"]  # fmt: skip


def test_assess_of_a_stuck_gauge_is_a_refusal_with_null_figures_and_exit_0(call):
    code, records, _ = call("assess", STUCK, "--json")
    assert code == 0
    refused = records[0]
    assert (refused["outcome"], refused["verdict"]) == ("refused", "no-answer")
    assert refused["reason"]
    assert refused["advice"]
    empty = ("leak_area_mm2", "leak_area_fit_mm2", "drilled_hole_mm", "hold", "law")
    assert {key: refused[key] for key in empty} == dict.fromkeys(empty)


BAD = {
    "missing": None,
    "empty": b"",
    "binary": bytes(range(256)) * 40,
    "not a log": b"hello\n",
    "no gauge": b"# boxhold log: 1\nelapsed_s,reading\n0,1\n",
    "no table": b"# boxhold log: 1\n# gauge: absolute kPa\n",
    "endless line": b"# boxhold log: 1\n# gauge: absolute kPa\nelapsed_s,reading\n" + b"1" * 70_000,
}


@pytest.mark.parametrize("what", BAD)
def test_a_bad_log_is_one_sentence_with_its_name_and_stops_no_other(call, tmp_path, what):
    bad = tmp_path / "bad.csv"
    if BAD[what] is not None:
        bad.write_bytes(BAD[what])
    code, records, complaints = call("assess", bad, STUCK, "--json")
    assert code == 3
    assert [record["log"] for record in records] == [str(STUCK)]
    assert len(complaints) == 1
    assert "bad.csv" in complaints[0]


def test_a_folder_is_no_log(call, tmp_path):
    code, records, complaints = call("assess", tmp_path, "--json")
    assert (code, records, len(complaints)) == (3, [], 1)


def test_a_fault_while_one_log_is_worked_out_stops_no_other(call, monkeypatch):
    import analysis.assess

    whole = analysis.assess.assess_logs

    def breaks(pairs):
        if any(log.path == FLANGE[0] for log, _ in pairs):
            raise ZeroDivisionError("made up")
        return whole(pairs)

    monkeypatch.setattr(analysis.assess, "assess_logs", breaks)
    code, records, complaints = call("assess", FLANGE[0], STUCK, "--json")
    assert code == 1
    assert [record["log"] for record in records] == [str(STUCK)]
    assert len(complaints) == 1
    assert "A fault in boxhold itself" in complaints[0]
    assert FLANGE[0].name in complaints[0]


@pytest.mark.parametrize("place", ["beside", "above", "archive", "option"])
def test_the_box_is_found_where_the_contract_says(call, lone_log, tmp_path, place):
    here = {"beside": lone_log.parent, "above": lone_log.parent.parent, "archive": tmp_path / "other" / "B-03",
            "option": tmp_path / "elsewhere"}[place]  # fmt: skip
    here.mkdir(parents=True, exist_ok=True)
    shutil.copy(SAMPLES / "B-03" / "box.toml", here)
    options = {"archive": ["--archive", here.parent], "option": ["--box", here / "box.toml"]}.get(place, [])
    record = call("assess", lone_log, *options, "--json")[1][0]
    assert record["outcome"] == "estimate"
    assert record["limit_mm2"]["from"] in ("pump", "parts")


def test_without_a_volume_the_area_is_refused_and_the_loss_still_told(call, lone_log):
    record = call("assess", lone_log, "--json")[1][0]
    assert record["outcome"] == "refused"
    assert record["leak_area_mm2"] is None
    assert record["lost_5min_kPa"] > 0


@pytest.mark.parametrize("rows", range(24, 46, 3))
def test_a_log_cut_while_the_pump_draws_is_no_stall(call, lone_log, rows):
    """After 45 rows the pressure still falls by 0.9 kPa a second from 32 kPa."""
    lines = lone_log.read_text(encoding="utf-8").splitlines(keepends=True)
    first = next(i for i, line in enumerate(lines) if line.startswith("elapsed_s")) + 1
    lone_log.write_text("".join(lines[: first + rows]), encoding="utf-8")
    record = call("assess", lone_log, "--box", SAMPLES / "B-03" / "box.toml", "--json")[1][0]
    assert record["outcome"] == "refused"
    assert "still draws down" in record["reason"]


def test_a_box_file_of_another_box_beside_the_log_is_not_used(call, lone_log):
    shutil.copy(SAMPLES / "B-02" / "box.toml", lone_log.parent)
    assert call("assess", lone_log, "--json")[1][0]["limit_mm2"] is None


def test_the_option_with_another_box_is_wrong_usage(call, lone_log):
    code, records, complaints = call("assess", lone_log, "--box", SAMPLES / "B-02" / "box.toml", "--json")
    assert (code, records) == (2, [])
    assert "B-03" in complaints[0]
    assert "B-02" in complaints[0]


def test_both_ways_to_name_a_box_are_wrong_usage(call, lone_log):
    code, _, complaints = call("assess", lone_log, "--box", "b.toml", "--archive", "a")
    assert (code, len(complaints)) == (2, 1)


def test_a_key_that_nothing_reads_is_told_once_and_the_log_answered(call, lone_log):
    shutil.copy(SAMPLES / "B-03" / "box.toml", lone_log.parent)
    with (lone_log.parent / "box.toml").open("a", encoding="utf-8") as file:
        file.write("volume_L = 20\n")
    second = Path(shutil.copy(lone_log, lone_log.with_name("b.csv")))
    code, records, complaints = call("assess", lone_log, second, "--json")
    assert (code, len(records)) == (0, 2)
    assert len([line for line in complaints if "'volume_L' stands below [pump]" in line]) == 1


def test_a_box_file_that_cannot_be_read_is_named(call, lone_log):
    (lone_log.parent / "box.toml").write_text("name = ", encoding="utf-8")
    code, records, complaints = call("assess", lone_log, "--json")
    assert (code, records) == (3, [])
    assert "box.toml" in complaints[0]


def test_a_correction_beside_the_log_changes_its_header(call, lone_log):
    shutil.copy(SAMPLES / "B-03" / "box.toml", lone_log.parent)
    (lone_log.parent / "events.csv").write_text(
        "date,path,kind,text\n2026-05-04,,correction,a.csv setup: film-on-top\n", encoding="utf-8"
    )
    assert call("assess", lone_log, "--json")[1][0]["setup"] == "film-on-top"


def test_rank_of_two_boxes_is_wrong_usage(call):
    code, records, complaints = call("rank", FLANGE[0], SHEETS[0], "--json")
    assert (code, records) == (2, [])
    assert "B-02, B-03" in complaints[0]


@pytest.mark.slow
def test_rank_finds_the_planted_flange(call):
    code, records, complaints = call("rank", *FLANGE, "--json")
    assert (code, complaints, len(records)) == (0, [], 1)
    ranking = records[0]
    assert list(ranking) == [
        "box", "outcome", "reason", "comparison", "paths", "not_told_apart", "not_tested", "unexplained", "left_out",
        "next_test", "advice",
    ]  # fmt: skip
    assert (ranking["box"], ranking["outcome"], ranking["comparison"]) == ("B-03", "ranked", None)
    assert ranking["paths"][0]["path"] == "port-flange"
    assert sum(path["probability_largest"] for path in ranking["paths"]) == pytest.approx(1.0)


@pytest.mark.slow
def test_compare_finds_the_planted_sheet_edge(call):
    sheets = [word for log in SHEETS[1:] for word in ("--with-sheet", log)]
    code, records, complaints = call("compare", SHEETS[0], *sheets, "--json")
    assert (code, complaints) == (0, [])
    assert list(records[0]) == [
        "box", "outcome", "reason", "difference_mm2", "gained_paths", "covered_paths", "sentence"
    ]  # fmt: skip
    assert records[0]["gained_paths"] == ["sheet-edge"]
    assert records[0]["difference_mm2"]["low"] > 0


def test_compare_of_two_boxes_is_wrong_usage(call):
    code, records, _ = call("compare", FLANGE[0], "--with-sheet", SHEETS[1], "--json")
    assert (code, records) == (2, [])


def test_compare_with_one_side_unreadable_prints_nothing_and_exits_3(call, tmp_path):
    code, records, complaints = call("compare", SHEETS[0], "--with-sheet", tmp_path / "no.csv", "--json")
    assert (code, records, len(complaints)) == (3, [], 1)


def test_history_works_out_each_log_once(call, tmp_path, monkeypatch):
    shutil.copytree(SAMPLES / "B-03", tmp_path / "B-03")
    first = call("history", "--archive", tmp_path, "--json")
    monkeypatch.setattr("analysis.assess.assess_logs", None)
    again = call("history", "--archive", tmp_path, "--box-id", "B-03", "--json")
    assert first == again
    code, lines, complaints = first
    assert (code, complaints) == (0, [])
    assert [(line["box"], line["setup"], line["sealed"], len(line["tests"])) for line in lines] == [
        ("B-03", "vents-taped", [], 1), ("B-03", "vents-taped", ["port-flange"], 2), ("B-03", "film-on-top", [], 1)
    ]  # fmt: skip
    assert all(list(line) == ["box", "setup", "sealed", "tests", "repairs", "trend", "trend_reason", "limit_mm2"]
               for line in lines)  # fmt: skip


def test_history_names_a_bad_log_and_goes_on(call, tmp_path):
    shutil.copytree(SAMPLES / "B-03", tmp_path / "B-03")
    (tmp_path / "B-03" / "logs" / "20260122T000000-vents-taped.csv").write_bytes(b"\0\0")
    code, lines, complaints = call("history", "--archive", tmp_path, "--json")
    assert (code, len(lines), len(complaints)) == (3, 3, 1)
    assert "20260122T000000" in complaints[0]


@pytest.mark.parametrize("words", [["assess", FLANGE[0]], ["assess", STUCK]], ids=["estimate", "refusal"])
def test_without_json_the_answer_is_text_with_the_verdict_first(capsys, words):
    assert run([str(word) for word in words]) == 0
    first = capsys.readouterr().out.splitlines()[0]
    assert first.startswith(("Over its limit.", "Within its limit.", "Cannot tell", "No answer."))
