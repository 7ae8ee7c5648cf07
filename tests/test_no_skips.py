"""Skips are failures where the environment says so; run on a small suite of its own in another process."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

CONFTEST = Path(__file__).with_name("conftest.py")


def run_suite(folder: Path, text: str, no_skips: bool) -> tuple[int, str]:
    (folder / "conftest.py").write_text(CONFTEST.read_text(encoding="utf-8"), encoding="utf-8")
    (folder / "test_small.py").write_text(text, encoding="utf-8")
    environment = {key: value for key, value in os.environ.items() if key != "BOXHOLD_NO_SKIPS"}
    if no_skips:
        environment["BOXHOLD_NO_SKIPS"] = "1"
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:dash", "-p", "no:cacheprovider", str(folder)]
    done = subprocess.run(command, cwd=folder, env=environment, capture_output=True, text=True, check=False)
    return done.returncode, done.stdout


ONE_TEST = "import pytest\ndef test_it():\n    pytest.skip('chromium is not installed')\n"
WHOLE_FILE = "import pytest\npytest.skip('initdb is not installed', allow_module_level=True)\n"


@pytest.mark.parametrize("text", [ONE_TEST, WHOLE_FILE], ids=["one test", "whole file"])
def test_a_skip_fails_where_none_is_allowed(tmp_path, text):
    code, told = run_suite(tmp_path, text, no_skips=True)
    assert code != 0
    assert "BOXHOLD_NO_SKIPS" in told


def test_a_skip_is_named_and_passes_elsewhere(tmp_path):
    code, told = run_suite(tmp_path, ONE_TEST, no_skips=False)
    assert code == 0
    assert "1 skipped" in told
