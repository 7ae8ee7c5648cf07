"""The table of outside checks names tests that exist, and every test file of this folder is in it."""

from __future__ import annotations

import re
from pathlib import Path

HERE = Path(__file__).parent
TABLE = (Path(__file__).parents[2] / "docs" / "outside-checks.md").read_text(encoding="utf-8")
NAMED = re.findall(r"`(test_\w+\.py)::(test_\w+)`", TABLE)


def test_every_named_test_exists():
    missing = [
        f"{file}::{name}" for file, name in NAMED
        if f"def {name}(" not in (HERE / file).read_text(encoding="utf-8")
    ]  # fmt: skip
    assert missing == []


def test_every_file_of_checks_is_in_the_table():
    files = {path.name for path in HERE.glob("test_*.py")} - {Path(__file__).name}
    assert files == {file for file, _ in NAMED}


def test_every_row_says_source_status_tolerance_and_result():
    rows = [line for line in TABLE.splitlines() if line.startswith("| ") and "`test_" in line]
    assert len(rows) >= 45
    for row in rows:
        cells = [cell.strip() for cell in row.strip("|").split("|")]
        assert len(cells) == 5, row
        assert all(cells), row
