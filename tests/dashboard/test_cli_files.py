"""Commands that write what users own: box files and events; and their refusals."""

from __future__ import annotations

import io

import pytest

from acquisition.boxfile import read_box
from acquisition.events import read_events
from acquisition.records import Baffles, Pump, Rim, Tank, Uncertain, Vents
from dashboard import commands_box
from dashboard.cli import run

ANSWERS = [
    "--inside-mm", "600x600x90", "--wood", "bare", "--board-mm", "18", "--baffles", "2x1", "--lip-mm", "4",
    "--vents", "50x1,2", "--volume-l", "31.4 +- 0.9", "--line-volume-l", "0.4 +- 0.1", "--pump-l-s", "1.4",
    "--pump-ultimate-kpa", "8", "--tank-l", "100", "--working-kpa", "20",
]  # fmt: skip


def test_new_box_writes_what_the_options_say(tmp_path, capsys):
    target = tmp_path / "box.toml"
    assert run(["new-box", "B-07", "--out", str(target), *ANSWERS]) == 0
    assert str(target) in capsys.readouterr().out
    box = read_box(target)
    assert (box.name, box.inside_mm, box.wood, box.board_mm) == ("B-07", (600.0, 600.0, 90.0), "bare", 18.0)
    assert box.baffles == Baffles(2, 1)
    assert box.rim == Rim("steel", 4.0)
    assert box.vents == Vents(50, 1.2)
    assert (box.volume_L, box.line_volume_L) == (Uncertain(31.4, 0.9), Uncertain(0.4, 0.1))
    assert box.pump == Pump(1.4, 8.0)
    assert box.tank == Tank(100.0)
    assert box.working_kPa == 20.0


def test_new_box_in_an_archive_gets_its_own_folder(tmp_path):
    assert run(["new-box", "B-07", "--archive", str(tmp_path)]) == 0
    assert read_box(tmp_path / "B-07" / "box.toml").name == "B-07"


def test_new_box_says_that_it_began_an_archive(tmp_path, capsys):
    for name, said in (("B-07", True), ("B-08", False)):
        assert run(["new-box", name, "--archive", str(tmp_path / "shop")]) == 0
        assert ("(a new archive)" in capsys.readouterr().out) == said


@pytest.mark.parametrize(
    ("answers", "told"), [([], True), (["--inside-mm", "600x600x90"], False), (["--volume-l", "31,4 L"], False)]
)
def test_new_box_says_what_a_box_without_a_size_lacks(tmp_path, capsys, answers, told):
    assert run(["new-box", "B-07", "--archive", str(tmp_path), *answers]) == 0
    assert ("will give no area" in capsys.readouterr().err) == told


def test_new_box_leaves_a_file_that_is_there_untouched(tmp_path, capsys):
    target = tmp_path / "box.toml"
    target.write_text('name = "B-01"\n', encoding="utf-8")
    assert run(["new-box", "B-07", "--out", str(target)]) == 2
    assert target.read_text(encoding="utf-8") == 'name = "B-01"\n'
    assert "exists already" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("args", "told"),
    [
        (["../x"], "is no box name"),
        (["B-07", "--wood", "green"], "one of bare, coated, none"),
        (["B-07", "--inside-mm", "600x600"], "3 numbers with x between them"),
        # 60 x 60 x 9 mm are 32 400 mm3; an inch is 25.4 mm, so 60 of them are 1524.
        (["B-07", "--inside-mm", "60x60x9"], "would hold 0.032 L; from cm 600x600x90; from inches 1524x1524x229)"),
        (["B-07", "--inside-mm", "0.6x0.6x0.09"], "L; from m 600x600x90)"),
        (["B-07", "--baffles", "two"], "two whole numbers"),
        (["B-07", "--pump-l-s", "-1"], "a number from 0.001 to 1000"),
        # A pump or a forming pressure at the room's 101 kPa draws nothing; 27 000 L is a cube of three metres.
        (["B-07", "--pump-l-s", "1.4", "--pump-ultimate-kpa", "101.3"], "a number from 0 to 100, such as 8"),
        (["B-07", "--working-kpa", "1e9"], "a number from 0.1 to 100, such as 20"),
        (["B-07", "--volume-l", "1e9"], "a number from 0.001 to 27000"),
        (["B-07", "--inside-mm", "600x600x1e9"], "a number from 0.01 to 10000"),
        (["B-07", "--vents", "50x1e9"], "a number from 0.1 to 50"),
        (["B-07", "--board-mm", "1800"], "a number from 1 to 100"),
        (["B-07", "--pump-ultimate-kpa", "8"], "--pump-l-s"),
        (["B-07", "--volume-l", "large"], "31.4 +- 0.9"),
        (["B-07", "--out", "x.toml", "--archive", "y"], "either --out or --archive"),
        ([], "boxhold new-box NAME"),
    ],
)
def test_new_box_says_what_is_wrong_in_one_sentence(tmp_path, monkeypatch, capsys, args, told):
    monkeypatch.chdir(tmp_path)
    assert run(["new-box", *args]) == 2
    said = capsys.readouterr().err
    assert told in said
    assert said.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


class Terminal(io.StringIO):
    def isatty(self):
        return True


def test_on_a_terminal_new_box_asks_again_until_the_answer_reads(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    answers = ["B-07", "600x600x90", "green", "bare", *[""] * 10]
    monkeypatch.setattr(commands_box.sys, "stdin", Terminal("\n".join(answers) + "\n"))
    assert run(["new-box"]) == 0
    box = read_box(tmp_path / "box.toml")
    assert (box.name, box.inside_mm, box.wood, box.pump) == ("B-07", (600.0, 600.0, 90.0), "bare", None)
    assert "'green' does not answer --wood" in capsys.readouterr().err


def test_note_writes_a_repair_and_a_remark(tmp_path, capsys):
    base = ["note", "B-07", "--archive", str(tmp_path), "--date", "2026-05-03"]
    assert run([*base, "--path", "port-flange", "--repair", "new bead, cured two days"]) == 0
    assert "a new box in this archive" in capsys.readouterr().out
    assert run([*base, "--remark", "hiss heard at the left corner"]) == 0
    assert "a new box" not in capsys.readouterr().out
    events = read_events(tmp_path / "B-07" / "events.csv")
    assert [(e.date, e.path, e.kind, e.text) for e in events] == [
        ("2026-05-03", "port-flange", "repair", "new bead, cured two days"),
        ("2026-05-03", "", "remark", "hiss heard at the left corner"),
    ]


@pytest.mark.parametrize(
    ("args", "told"),
    [
        (["--repair", "x", "--remark", "y"], "either --repair"),
        ([], "either --repair"),
        (["--repair", "x", "--path", "roof"], "is no leak path"),
        (["--repair", "x", "--date", "3 May"], "is no date"),
        (["--remark", " "], "needs a text"),
    ],
)
def test_note_refuses_what_would_not_read_back(tmp_path, capsys, args, told):
    assert run(["note", "B-07", "--archive", str(tmp_path), *args]) == 2
    assert told in capsys.readouterr().err
    assert not (tmp_path / "B-07" / "events.csv").exists()


def test_note_refuses_a_name_that_leads_elsewhere(tmp_path, capsys):
    assert run(["note", "../B-07", "--archive", str(tmp_path / "archive"), "--remark", "x"]) == 2
    assert "is no box name" in capsys.readouterr().err


def test_history_of_no_archive_says_so(tmp_path, capsys):
    assert run(["history", "--archive", str(tmp_path / "nowhere")]) == 3
    assert "there is no box in this archive" in capsys.readouterr().err


def test_history_of_an_unknown_box_names_those_there_are(tmp_path, capsys):
    assert run(["new-box", "B-07", "--archive", str(tmp_path)]) == 0
    capsys.readouterr()
    assert run(["history", "--archive", str(tmp_path), "--box-id", "B-08"]) == 2
    told = capsys.readouterr().err
    assert told == f"There is no box B-08 in {tmp_path}; there is B-07.\n"


def test_the_nearest_boxes_are_named_however_many_stand_before_them(tmp_path, capsys):
    for name in (*(f"B-{number:02d}" for number in range(1, 10)), "N-01", "tank"):
        assert run(["new-box", name, "--archive", str(tmp_path)]) == 0
    capsys.readouterr()
    assert run(["history", "--archive", str(tmp_path), "--box-id", "N-10"]) == 2
    told = capsys.readouterr().err
    assert "N-01" in told
    assert "tank" not in told


def test_note_to_a_box_that_is_not_there_names_the_likely_ones_and_writes_nothing(tmp_path, capsys):
    for name in ("tray-1", "tray-2", "sign"):
        assert run(["new-box", name, "--archive", str(tmp_path)]) == 0
    capsys.readouterr()
    assert run(["note", "tray-3", "--archive", str(tmp_path), "--remark", "x"]) == 2
    told = capsys.readouterr().err
    assert "tray-1" in told
    assert "sign" not in told
    assert "boxhold new-box tray-3" in told
    assert not (tmp_path / "tray-3").exists()


@pytest.mark.parametrize(
    ("words", "told"),
    [
        # Spans that board may have: common practice, no source (220 mm for 18 mm, none under 12 mm). Two baffles
        # of 18 mm across 600 mm leave (600 - 36) / 3 = 188 mm.
        (["--board-mm", "18"], "Its top spans 600 mm; 18 mm board may span 220: do not pump it down before it has "
                               "baffles, 2 across its length."),
        (["--board-mm", "18", "--baffles", "1x0"], "spans 291 mm"),
        (["--board-mm", "18", "--baffles", "2x2"], "First pull in steps of 25, 50 and 80 kPa"),
        (["--board-mm", "9", "--baffles", "2x2"], "too thin"),
        ([], "First pull in steps"),
    ],
)  # fmt: skip
def test_new_box_gives_the_caution_on_its_top(tmp_path, capsys, words, told):
    base = ["new-box", "B-07", "--archive", str(tmp_path), "--inside-mm", "600x600x90", "--wood", "bare"]
    assert run([*base, *words]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == 2
    assert told in lines[1]


def test_a_vessel_without_wood_has_no_top_to_mind(tmp_path, capsys):
    assert run(["new-box", "tank", "--out", str(tmp_path / "box.toml"), "--wood", "none"]) == 0
    assert "Caution" not in capsys.readouterr().out
