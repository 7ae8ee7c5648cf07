"""The guided recording on a real terminal, from the first question to the air being back in."""

from __future__ import annotations

import os
import re
import select
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
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

    def _look(self) -> bool:
        if not select.select([self._line.far], [], [], 0.05)[0]:
            return False
        self.screen += os.read(self._line.far, 65536)
        return True

    def read_until(self, words: str, seconds: float = 40.0) -> None:
        end = time.monotonic() + seconds
        while words not in self.text():
            assert time.monotonic() < end, f"'{words}' was never shown: {self.text()[-1500:]}"
            self._look()

    def type(self, keys: bytes) -> None:
        os.write(self._line.far, keys)

    def leave(self) -> int:
        while self._process.poll() is None:
            self._look()
        while self._look():
            pass
        return self._process.returncode


@contextmanager
def terminal(*args: str) -> Iterator[Terminal]:
    """A terminal with a guided recording on it; the program is killed if it is still there at the end."""
    env = {**os.environ, "TERM": "xterm", "COLUMNS": "110", "LINES": "40"}
    with pty() as line:
        end = os.open(line.name, os.O_RDWR | os.O_NOCTTY)
        process = subprocess.Popen([*COMMAND, "record", *args], stdin=end, stdout=end, stderr=end, env=env)
        os.close(end)
        try:
            yield Terminal(line, process)
        finally:
            if process.poll() is None:
                process.kill()
            process.wait()


@pytest.mark.pty
@pytest.mark.slow
def test_a_whole_hold_test_is_led_through(tmp_path: Path) -> None:
    out = tmp_path / "a.csv"
    make = "simulated:speed=15,baseline_s=80,soak_s=60,hold_s=3000,leak_mm2=0.1,wood=none"
    with terminal("--port", make, "--box-id", "B-07", "--out", str(out)) as person:
        for question, answer in (
            ("What closes the top", b"vents-taped\n"), ("Where is the gauge", b"box\n"),
            ("behind the valve", b"pump\n"), ("first time", b"y\n"),
        ):  # fmt: skip
            person.read_until(question)
            person.type(answer)
        for words in ("Open the valve to the pump", "straightedge", "Keep the pump on", "The valve is shut; wait"):
            person.read_until(words)
        person.type(b"mhiss at the front")
        person.read_until("remark: hiss at the front_")
        person.type(b"\n")
        person.read_until("No answer")  # the estimate beside the recording: there is no box file
        person.type(b"\n")
        person.read_until("Let air in slowly; wait")
        person.type(b"q")
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
        f"remark: step {name}" for name in ("pump-down", "soak", "hold", "end of hold")]  # fmt: skip


@pytest.mark.pty
def test_a_gauge_on_the_tank_is_sent_away(tmp_path: Path) -> None:
    args = ("--port", "simulated:", "--box-id", "B", "--setup", "undrilled", "--out", str(tmp_path / "a.csv"))
    with terminal(*args) as person:
        person.read_until("Where is the gauge")
        person.type(b"tank\n")
        person.read_until("measures no box")
        assert person.leave() == 2
    assert os.listdir(tmp_path) == []


@pytest.mark.pty
def test_the_person_may_refuse_to_close_what_was_left_over(tmp_path: Path) -> None:
    part = tmp_path / "a.csv.part"
    part.write_text('# boxhold log: 1\n# gauge: absolute kPa\nelapsed_s,reading,raw,note\n65.0,101.3,"101.3",\n')
    args = ("--port", "simulated:", "--box-id", "B", "--setup", "undrilled", "--set", "gauge_at=box", "--set",
            "behind_valve=room", "--out", str(tmp_path / "a.csv"))  # fmt: skip
    with terminal(*args) as person:
        person.read_until("first time")
        person.type(b"n\n")
        person.read_until("was cut off after 1:05 (1 lines). Close it?")
        person.type(b"n\n")
        person.read_until("left as it is")
        assert person.leave() == 2
    assert os.listdir(tmp_path) == ["a.csv.part"]
