"""The README keeps its word: its commands exist, run as written, and every sample log is listed."""

from __future__ import annotations

import io
import re
import shlex
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import click
import pytest

from acquisition.boxfile import read_box
from analysis.limit import limit_for
from analysis.numberwords import hole_number
from dashboard import cli

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
MAKEFILE = (ROOT / "Makefile").read_text(encoding="utf-8")
SAMPLES = ROOT / "sample_logs"


def lines_of_code(text: str) -> list[str]:
    blocks = re.findall(r"```(?:sh|bat)\n(.*?)```", text, re.DOTALL)
    return [line.strip() for block in blocks for line in block.splitlines() if line.strip()]


COMMANDS = [line for line in lines_of_code(README) if line.startswith("boxhold ")]
NOT_HERE = ("boxhold serve", "boxhold record --port /dev/ttyUSB0")
"""What needs a gauge, or goes on until Ctrl-C."""
DIAL = "0\npump\n27 1:00\nshut\n" + "".join(f"{27 - step / 4} {20 * step}\n" for step in range(12)) + "done\n"


def test_the_readme_has_commands_to_check():
    assert len(COMMANDS) >= 8


@pytest.mark.parametrize("line", COMMANDS)
def test_every_command_and_option_exists(line):
    name, *words = shlex.split(line)[1:]
    command = cli.LazyGroup().get_command(click.Context(cli.boxhold), name)
    assert command is not None, name
    known = {flag for option in command.params for flag in option.opts}
    assert {word for word in words if word.startswith("--")} <= known


def test_the_table_names_every_command():
    told = set(re.findall(r"^\| `boxhold ([a-z-]+)", README, re.MULTILINE))
    assert told == set(cli.COMMANDS)


@pytest.mark.slow
def test_the_commands_run_one_after_the_other_as_written(tmp_path, monkeypatch, capsys):
    assert "cp -r sample_logs my_shop" in lines_of_code(README)
    shutil.copytree(SAMPLES, tmp_path / "my_shop", ignore=shutil.ignore_patterns("catalogue.sqlite*"))
    (logger,) = re.findall(r"Of `logger.csv`\n\n```text\n(.*?)```", README, re.DOTALL)
    (tmp_path / "logger.csv").write_text(logger, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    with ExitStack() as players:
        for line in COMMANDS:
            words = [found for word in shlex.split(line)[1:] for found in (expand(tmp_path, word) or [word])]
            if line.startswith("boxhold replay"):
                players.enter_context(playing(words))
            elif not line.startswith(NOT_HERE):
                monkeypatch.setattr("sys.stdin", io.StringIO(DIAL))
                code = cli.run(words)
                told = capsys.readouterr()
                assert (code, "" if "record" in words else told.err) == (0, ""), line
                assert told.out.strip(), line
                assert "do not pump it down" not in told.out, line
                if "played.csv --box" in line:
                    assert "Over its limit. B-03 takes in" in told.out


@contextmanager
def playing(words: list[str]) -> Iterator[None]:
    """``boxhold replay`` beside the test, from when it can be listened to; ended with the block."""
    command = [sys.executable, "-c", "from dashboard.cli import main; main()", *words]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True) as player:
        assert player.stdout is not None
        assert player.stdout.readline().startswith("socket://")
        try:
            yield
        finally:
            player.terminate()


def test_no_command_touches_the_samples_themselves():
    assert [line for line in COMMANDS if "sample_logs" in line] == []


def test_the_numbers_to_know_are_those_the_program_gives(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    new_box, plan = (
        next(line for line in COMMANDS if line.startswith(f"boxhold {name}")) for name in ("new-box", "plan")
    )
    for line in (new_box, plan):
        assert cli.run(shlex.split(line)[1:]) == 0
    told, text = capsys.readouterr().out.replace("\u00a0", " "), " ".join(README.split())
    smallest = re.search(r"smallest leak it can show +one drilled hole of ([\d.]+) mm", told)
    assert smallest is not None
    assert f"`boxhold plan` says one drilled hole of {smallest[1]} mm" in text
    limit = limit_for(read_box("my_shop/N-01/box.toml"))
    assert limit is not None
    assert f"at one drilled hole of {hole_number(limit.area_m2, 'metric')} mm: a leak that takes three tenths" in text


def expand(folder: Path, word: str) -> list[str]:
    """What a shell makes of a word with a star."""
    return sorted(str(path.relative_to(folder)) for path in folder.glob(word)) if "*" in word else []


@pytest.mark.parametrize("target", sorted(set(re.findall(r"\bmake ([a-z]+)\b", README + DEVELOPERS))))
def test_every_make_target_exists(target):
    assert re.search(rf"^{target}:", MAKEFILE, re.MULTILINE)


@pytest.mark.parametrize("name", ["README.md", "DEVELOPERS.md"])
def test_every_file_that_is_pointed_at_is_there(name):
    text = (ROOT / name).read_text(encoding="utf-8")
    named = set(re.findall(r"`((?:acquisition|analysis|dashboard|tests|docs|benchmarks|sample_logs)/[\w./-]*)`", text))
    named |= set(re.findall(r"\]\(([^)#:]+)\)", text))
    assert named
    assert [target for target in sorted(named) if not (ROOT / target).exists()] == []


def test_every_sample_log_is_listed_where_its_lesson_stands():
    listed = (SAMPLES / "README.md").read_text(encoding="utf-8")
    logs = sorted(SAMPLES.rglob("*.csv"))
    logs = [path for path in logs if path.name != "events.csv"]
    assert logs
    assert [str(path.relative_to(SAMPLES)) for path in logs if not is_listed(path, listed)] == []


def is_listed(path: Path, text: str) -> bool:
    """By its name, or by a pattern with stars that stands for a row of logs of one kind."""
    patterns = re.findall(r"`([\w./*-]+)`", text)
    return any(path.match(pattern) or path.stem == pattern for pattern in patterns)


def test_every_command_is_named_with_its_exit_codes():
    for code in ("0 done", "2 wrong usage", "3 a file", "4 a port"):
        assert code in " ".join(README.split())
