"""Many logs in processes side by side: the same answers, in the order given, and a clean end."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from acquisition.boxfile import find_box_file, read_box
from acquisition.logfile import read_log
from analysis.results import Assessment
from dashboard.batch import MANY, assess_batch, usual_jobs
from dashboard.cli import run

SAMPLES = Path(__file__).parents[2] / "sample_logs"
SHORT = sorted((SAMPLES / "B-07" / "logs").glob("20260504*.csv"))


def pair(path):
    log = read_log(path)
    return log, read_box(find_box_file(path, log.header.box))


def test_few_logs_start_no_process():
    assert usual_jobs(MANY) == 1
    assert 1 <= usual_jobs(MANY + 1) <= MANY + 1


def test_processes_answer_in_the_order_given_and_one_bad_log_stops_no_other():
    """Refused logs, whose answer takes no fit: quick; the third has a table of unequal columns."""
    pairs = [pair(path) for path in SHORT]
    broken = replace(pairs[2][0], elapsed_s=pairs[2][0].elapsed_s[:5])
    pairs[2] = (broken, None)
    side_by_side, one_by_one = assess_batch(pairs, 2), assess_batch(pairs, 1)
    assert [isinstance(outcome, str) for outcome in side_by_side] == [False, False, True, False]
    assert "please report it" in str(side_by_side[2])
    for i in (0, 1, 3):
        own, other = side_by_side[i], one_by_one[i]
        assert isinstance(own, Assessment)
        assert isinstance(other, Assessment)
        assert (own.log, own.reason, own.flags) == (str(SHORT[i]), other.reason, other.flags)


def test_jobs_must_be_a_number_of_processes(capsys):
    assert run(["assess", str(SHORT[0]), "--jobs", "0"]) == 2
    assert "--jobs" in capsys.readouterr().err


@pytest.mark.slow
@pytest.mark.pty
def test_progress_on_a_terminal_and_ctrl_c_ends_cleanly():
    logs = [str(path) for path in sorted((SAMPLES / "B-04" / "logs").glob("*.csv"))] * 4
    near, far = os.openpty()
    command = [sys.executable, "-c", "from dashboard.cli import main; main()", "assess", *logs, "--json", "--jobs", "2"]
    env = os.environ | {"TERM": "xterm", "COLUMNS": "80"}
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=far, env=env, start_new_session=True)
    os.close(far)
    heard = b""
    while b"Assessing" not in heard:
        heard += os.read(near, 1000)
    os.killpg(process.pid, signal.SIGINT)  # as a terminal does: parent and workers alike
    try:
        while chunk := os.read(near, 1000):
            heard += chunk
    except OSError:
        pass  # the terminal's last writer, workers included, has gone
    os.close(near)
    assert process.wait(60) == 4
    assert b"Stopped before the end." in heard
    assert b"Traceback" not in heard
