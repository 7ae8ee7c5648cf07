"""``demo`` and ``serve``: answers on the terminal, pages on loopback, a free port, a quiet end."""

from __future__ import annotations

import shutil
import signal
import socket
import subprocess
import sys
import urllib.error
import urllib.request
from pathlib import Path

import pytest

from dashboard import commands_show
from dashboard.cli import run

ROOT = Path(__file__).parents[2]
STUCK = ROOT / "sample_logs" / "B-07" / "logs" / "20260504T090000-vents-taped.csv"
START = (
    "import sys\nfrom pathlib import Path\nfrom dashboard import cli, commands_show\n"
    "commands_show.SAMPLES = Path(sys.argv.pop(1))\ncli.main()"
)


@pytest.fixture
def small_shop(tmp_path):
    """One box with one log, which is quick to work out."""
    folder = tmp_path / "shop" / "B-07"
    (folder / "logs").mkdir(parents=True)
    shutil.copy(ROOT / "sample_logs" / "B-07" / "box.toml", folder)
    shutil.copy(STUCK, folder / "logs")
    return tmp_path / "shop"


class Running:
    """A ``boxhold`` that serves, and the lines it has printed."""

    def __init__(self, shop, *words):
        self.process = subprocess.Popen(
            [sys.executable, "-u", "-c", START, str(shop), *map(str, words)],
            cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip
        self.link = ""

    def wait_for_link(self):
        assert self.process.stdout is not None
        for line in self.process.stdout:
            if line.startswith("Pages: "):
                self.link = line.split()[1]
                return self.link
        raise AssertionError(self.process.communicate()[1])

    def end(self):
        self.process.send_signal(signal.SIGINT)
        out, err = self.process.communicate(timeout=60)
        return self.process.returncode, out, err


@pytest.fixture
def running(small_shop):
    started = []

    def start(*words):
        started.append(Running(small_shop, *words))
        return started[-1]

    yield start
    for one in started:
        one.process.kill()
        one.process.communicate()


def fetch(link):
    with urllib.request.urlopen(link, timeout=30) as answer:
        return answer.status, answer.read().decode()


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def test_demo_without_pages_prints_each_box(small_shop, monkeypatch, capsys):
    monkeypatch.setattr(commands_show, "SAMPLES", small_shop)
    assert run(["demo", "--no-serve"]) == 0
    told = capsys.readouterr()
    assert told.out.startswith("B-07, vents taped\n  No answer.")
    assert told.err == ""


def test_demo_names_a_log_that_cannot_be_read_and_goes_on(small_shop, monkeypatch, capsys):
    (small_shop / "B-07" / "logs" / "20260101T000000-vents-taped.csv").write_bytes(b"\0")
    monkeypatch.setattr(commands_show, "SAMPLES", small_shop)
    assert run(["demo", "--no-serve"]) == 3
    told = capsys.readouterr()
    assert "B-07" in told.out
    assert "20260101T000000" in told.err


def test_demo_serves_on_loopback_tells_the_address_and_ends_quietly(running):
    one = running("demo", "--port", free_port())
    link = one.wait_for_link()
    assert link.startswith("http://127.0.0.1:")
    status, page = fetch(link)
    assert (status, "<title>Boxhold</title>" in page) == (200, True)
    code, out, err = one.end()
    assert (code, err) == (0, "")
    assert "Traceback" not in out


def test_a_busy_port_gets_the_next_free_one(running):
    with socket.socket() as busy:
        busy.bind(("127.0.0.1", 0))
        busy.listen()
        port = busy.getsockname()[1]
        link = running("serve", "--port", port).wait_for_link()
        assert not link.endswith(f":{port}/")
        assert fetch(link)[0] == 200


def test_shared_pages_want_the_token_of_the_link(running, small_shop):
    one = running("serve", "--share", "--archive", small_shop, "--port", free_port())
    link = one.wait_for_link()
    assert "?token=" in link
    with pytest.raises(urllib.error.HTTPError) as refused:
        fetch(link.partition("?")[0])
    with refused.value:
        assert refused.value.code == 403


def test_serving_an_archive_that_is_not_there_says_so(tmp_path, capsys):
    assert run(["serve", "--archive", str(tmp_path / "nowhere")]) == 3
    assert "no such archive folder" in capsys.readouterr().err


def test_where_only_the_packages_are_installed_the_sample_boxes_are_written_anew(tmp_path, monkeypatch):
    monkeypatch.setattr(commands_show, "SAMPLES", tmp_path / "not here")
    monkeypatch.setattr(commands_show.click, "get_app_dir", lambda name: str(tmp_path / name))
    folder = commands_show.sample_boxes()
    assert (folder / "B-03" / "box.toml").is_file()
    assert commands_show.sample_boxes() == folder
