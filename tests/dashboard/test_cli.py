"""The command itself: finding sub-commands, and one plain sentence with the right exit code for every trouble."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import click
import pytest

from acquisition.errors import OutsideWorldFailed, UnreadableInput, WrongUsage
from dashboard import cli, faults

ROOT = Path(__file__).parents[2]


@pytest.fixture
def failing(monkeypatch):
    """Make ``boxhold note`` raise what is asked for."""

    def use(error):
        @click.command()
        def note():
            raise error

        monkeypatch.setattr(cli.LazyGroup, "get_command", lambda self, ctx, name: note)

    return use


def boxhold(*args, **kwargs):
    command = [sys.executable, "-c", "from dashboard.cli import main; main()", *map(str, args)]
    return subprocess.run(command, capture_output=True, text=True, cwd=ROOT, timeout=120, check=False, **kwargs)


@pytest.mark.parametrize("name", list(cli.COMMANDS))
def test_every_command_has_help_that_says_what_it_is_for(name, capsys):
    assert cli.run([name, "--help"]) == 0
    told = capsys.readouterr().out
    assert told.startswith(f"Usage: boxhold {name}")
    assert len(told.splitlines()[2].split()) >= 4


def test_help_lists_every_command(capsys):
    assert cli.run(["--help"]) == 0
    told = capsys.readouterr().out
    assert [name for name in cli.COMMANDS if f"\n  {name} " not in told] == []


def test_the_list_of_commands_says_each_in_full_on_a_narrow_terminal(capsys):
    assert cli.run(["--help"]) == 0
    listed = capsys.readouterr().out.split("Commands:")[1]
    assert len(listed.strip().splitlines()) == len(cli.COMMANDS)
    assert "..." not in listed


@pytest.mark.parametrize("name", list(cli.COMMANDS))
def test_help_shows_no_bounds_that_are_none(name, capsys):
    assert cli.run([name, "--help"]) == 0
    told = capsys.readouterr().out
    assert "None" not in told
    assert "[x" not in told


@pytest.mark.parametrize(
    ("error", "code", "sentence"),
    [
        (WrongUsage("Take one."), 2, "Take one.\n"),
        (UnreadableInput("no table.", "a.csv", 7), 3, "a.csv, line 7: no table.\n"),
        (OutsideWorldFailed("No gauge on COM3."), 4, "No gauge on COM3.\n"),
        (PermissionError(13, "Permission denied", "x.csv"), 4, "x.csv: Permission denied.\n"),
        (KeyboardInterrupt(), 4, "Stopped before the end.\n"),
        (click.Abort(), 4, "Stopped before the end.\n"),
        (click.FileError("x.csv", "gone"), 2, "Could not open file 'x.csv': gone\n"),
    ],
    ids=lambda value: type(value).__name__ if isinstance(value, BaseException) else "",
)
def test_every_trouble_is_one_sentence_and_its_exit_code(failing, capsys, error, code, sentence):
    failing(error)
    assert cli.run(["note"]) == code
    assert capsys.readouterr().err == sentence


def test_a_fault_in_the_program_says_where_and_is_no_traceback(failing, capsys):
    failing(ZeroDivisionError("two\nlines"))
    assert cli.run(["note"]) == 1
    told = capsys.readouterr().err
    assert told.count("\n") == 1
    assert "A fault in boxhold itself at test_cli.py line" in told
    assert "ZeroDivisionError two lines" in told


def test_developers_can_ask_for_the_traceback(failing, monkeypatch):
    monkeypatch.setenv("BOXHOLD_TRACEBACK", "1")
    failing(ZeroDivisionError())
    with pytest.raises(ZeroDivisionError):
        cli.run(["note"])


@pytest.mark.parametrize(
    "args", [["assess"], ["assess", "--no-such"], ["asess", "a.csv"], ["rank"], ["compare", "a.csv"], ["note", "B-1"]]
)
def test_wrong_usage_is_one_sentence_and_exit_2(args, capsys):
    assert cli.run(args) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err.count("\n") == 1


def test_no_command_shows_the_help(capsys):
    assert cli.run([]) == 0
    assert "assess" in capsys.readouterr().out


def test_version(capsys):
    assert cli.run(["--version"]) == 0
    assert capsys.readouterr().out.startswith("boxhold 0.")


def test_a_reader_that_has_had_enough_is_no_trouble():
    reader, writer = os.pipe()
    os.close(reader)
    done = subprocess.run(
        [sys.executable, "-c", "from dashboard.cli import main; main()", "--help"],
        stdout=writer, stderr=subprocess.PIPE, cwd=ROOT, timeout=60, check=False,
    )  # fmt: skip
    os.close(writer)
    assert (done.returncode, done.stderr) == (0, b"")


def test_exit_codes_are_those_of_the_contract():
    codes = (faults.DONE, WrongUsage.exit_code, UnreadableInput.exit_code, OutsideWorldFailed.exit_code)
    assert codes == (0, 2, 3, 4)


@pytest.mark.parametrize("module", ["scipy", "numba", "pandas", "plotly", "dash", "sqlalchemy"])
def test_record_starts_without_the_heavy_libraries(module):
    script = (
        "import sys\nfrom dashboard.cli import run\nassert run(['record', '--help']) == 0\n"
        f"assert '{module}' not in sys.modules, '{module} was loaded'"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, cwd=ROOT, check=False)
    assert done.returncode == 0, done.stderr


INTERRUPTED = {
    "while the program is loaded": (
        4,
        "import sys\nclass Finder:\n    def find_spec(self, name, path=None, target=None):\n"
        "        if name == 'click':\n            raise KeyboardInterrupt\n"
        "sys.meta_path.insert(0, Finder())\nfrom dashboard.cli import main\nmain()",
    ),
    "again while the first is told": (
        4,
        "from dashboard import cli\ndef told(error):\n    raise KeyboardInterrupt\n"
        "cli.complain_about = told\nimport sys\nsys.argv[1:] = ['no-such']\ncli.main()",
    ),
    "after all is done": (
        0,
        "import atexit, os, signal\nfrom dashboard import cli\n"
        "atexit.register(lambda: os.kill(os.getpid(), signal.SIGINT))\n"
        "import sys\nsys.argv[1:] = ['--version']\ncli.main()",
    ),
}


@pytest.mark.parametrize("when", INTERRUPTED)
def test_an_interruption_at_a_bad_moment_is_no_traceback(when):
    code, script = INTERRUPTED[when]
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, cwd=ROOT, check=False)
    assert (done.returncode, done.stderr) == (code, "")


@pytest.mark.pty
def test_a_command_told_to_end_takes_away_what_it_had_made_for_a_while(tmp_path):
    script = (
        "import os, signal, tempfile\nfrom dashboard import cli\ndef run():\n"
        f"    with tempfile.TemporaryDirectory(dir={str(tmp_path)!r}):\n"
        "        os.kill(os.getpid(), signal.SIGTERM)\n        signal.pause()\n"
        "cli.run = run\ncli.main()"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, cwd=ROOT, check=False)
    assert (done.returncode, done.stderr) == (4, "")
    assert list(tmp_path.iterdir()) == []
