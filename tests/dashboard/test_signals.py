"""The end asked for by a signal, wherever the waiting thread stands."""

from __future__ import annotations

import os
import signal
import subprocess
import sys

import pytest

from dashboard.signals import EndSignal, ended_by_signal

ASKED_OFTEN = """
import os, signal, threading
from dashboard.signals import ended_by_signal

def ask():
    for _ in range(50000):
        os.kill(os.getpid(), signal.SIGINT)

with ended_by_signal() as ended:
    asking = threading.Thread(target=ask)
    asking.start()
    while asking.is_alive():
        ended.wait(0.0)
print("ended", ended.wait(0.0))
"""


def test_the_end_is_seen_wherever_the_signal_finds_the_thread_that_waits():
    # In a process of its own, which a handler that waits for a lock would hang.
    done = subprocess.run([sys.executable, "-c", ASKED_OFTEN], capture_output=True, text=True, timeout=60, check=False)
    assert (done.stdout, done.stderr, done.returncode) == ("ended True\n", "", 0)


def test_asked_once_or_twice_the_end_stays_asked_for():
    ended = EndSignal()
    assert not ended.wait(0.0)
    ended.set()
    ended.set()
    assert ended.wait(0.0)
    assert ended.wait(0.0)


@pytest.mark.parametrize("sign", [signal.SIGINT, signal.SIGTERM])
def test_handlers_are_put_back(sign):
    before = signal.getsignal(sign)
    with ended_by_signal() as ended:
        os.kill(os.getpid(), sign)
        assert ended.wait(10.0)
    assert signal.getsignal(sign) == before
