"""The guided recording on a real terminal, from the first question to the air being back in."""

from __future__ import annotations

import os
import re
import select
import subprocess
import sys
import time
from pathlib import Path

import pytest

from acquisition.logfile import read_log
from tests.acquisition.ptys import Pty, pty

COMMAND = [sys.executable, "-c", "from dashboard.cli import main; main()"]


class Terminal:
    """A person at a terminal: reads the screen, types."""

    def __init__(self, line: Pty, process: subprocess.Popen[bytes]) -> None:
        self._line = line
        self._process = process
        self.screen = b""

    def text(self) -> str:
        return re.sub(rb"\x1b\[[0-9;?]*[A-Za-z]", b"", self.screen).decode("utf-8", "replace")

    def _look(self) -> None:
        if select.select([self._line.far], [], [], 0.05)[0]:
            self.screen += os.read(self._line.far, 65536)

    def read_until(self, words: str, seconds: float = 30.0) -> None:
        end = time.monotonic() + seconds
        while words not in self.text():
            assert time.monotonic() < end, self.text()[-1500:]
            self._look()

    def type(self, keys: bytes) -> None:
        os.write(self._line.far, keys)

    def leave(self) -> int:
        while self._process.poll() is None:
            self._look()
        self._look()
        return self._process.returncode


@pytest.mark.pty
@pytest.mark.slow
def test_a_whole_hold_test_is_led_through(tmp_path: Path) -> None:
    out = tmp_path / "a.csv"
    make = "simulated:speed=40,baseline_s=100,soak_s=60,hold_s=120,leak_mm2=0.5,wood=none"
    args = [*COMMAND, "record", "--port", make, "--box-id", "B-07", "--out", str(out)]
    env = {**os.environ, "TERM": "xterm", "COLUMNS": "110", "LINES": "40"}
    with pty() as line:
        end = os.open(line.name, os.O_RDWR | os.O_NOCTTY)
        with subprocess.Popen(args, stdin=end, stdout=end, stderr=end, env=env) as process:
            os.close(end)
            person = Terminal(line, process)
            for question, answer in (
                ("What closes the top", b"vents-taped\n"), ("Where is the gauge", b"box\n"),
                ("behind the valve", b"pump\n"), ("first time", b"y\n"),
            ):  # fmt: skip
                person.read_until(question)
                person.type(answer)
            for words in ("Leave the box open", "straightedge", "Keep the pump on", "The valve is shut"):
                person.read_until(words)
            person.type(b"mhiss at the front")
            person.read_until("remark: hiss at the front_")
            person.type(b"\n")
            person.read_until("The log is")
            assert person.leave() == 0
    text = person.text()
    assert "A weeping valve seat then takes air out" in text
    assert "Stay clear of the top, hands off" in text
    assert b"\x07" in person.screen
    log = read_log(out)
    assert (log.header.setup, log.header.gauge_at, log.header.behind_valve) == ("vents-taped", "box", "pump")
    assert "remark: hiss at the front" in log.note
    assert [n for n in log.note if n.startswith("remark: step")] == [
        f"remark: step {name}" for name in ("pump-down", "soak", "hold", "let-up")]  # fmt: skip


@pytest.mark.pty
def test_a_gauge_on_the_tank_is_sent_away(tmp_path: Path) -> None:
    args = [*COMMAND, "record", "--port", "simulated:", "--box-id", "B", "--setup", "undrilled",
            "--out", str(tmp_path / "a.csv")]  # fmt: skip
    with pty() as line:
        end = os.open(line.name, os.O_RDWR | os.O_NOCTTY)
        with subprocess.Popen(args, stdin=end, stdout=end, stderr=end) as process:
            os.close(end)
            person = Terminal(line, process)
            person.read_until("Where is the gauge")
            person.type(b"tank\n")
            person.read_until("measures no box")
            assert person.leave() == 2
    assert os.listdir(tmp_path) == []


@pytest.mark.pty
def test_the_person_may_refuse_to_close_what_was_left_over(tmp_path: Path) -> None:
    part = tmp_path / "a.csv.part"
    part.write_text('# boxhold log: 1\n# gauge: absolute kPa\nelapsed_s,reading,raw,note\n65.0,101.3,"101.3",\n')
    args = [*COMMAND, "record", "--port", "simulated:", "--box-id", "B", "--setup", "undrilled", "--set",
            "gauge_at=box", "--set", "behind_valve=room", "--out", str(tmp_path / "a.csv")]  # fmt: skip
    with pty() as line:
        end = os.open(line.name, os.O_RDWR | os.O_NOCTTY)
        with subprocess.Popen(args, stdin=end, stdout=end, stderr=end) as process:
            os.close(end)
            person = Terminal(line, process)
            person.read_until("first time")
            person.type(b"n\n")
            person.read_until("was cut off after 1:05 (1 lines). Close it?")
            person.type(b"n\n")
            person.read_until("left as it is")
            assert person.leave() == 2
    assert os.listdir(tmp_path) == ["a.csv.part"]
