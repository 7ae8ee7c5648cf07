"""Who may know whom: dashboard -> analysis -> acquisition, read from the syntax trees of the source."""

from __future__ import annotations

import ast
import importlib.util
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
LAYERS = ("acquisition", "analysis", "dashboard")
SOURCES = sorted(path for layer in LAYERS for path in (ROOT / layer).rglob("*.py"))

FORBIDDEN: dict[str, frozenset[str]] = {
    "acquisition": frozenset({"analysis", "dashboard", "scipy", "plotly", "dash", "flask", "click", "rich"}),
    "analysis": frozenset({"dashboard", "serial", "minimalmodbus", "filelock", "sqlalchemy", "plotly", "dash", "flask",
                           "click", "rich", "pathlib", "os", "io", "time", "socket", "sqlite3", "tempfile"}),
    "dashboard": frozenset({"serial", "minimalmodbus"}),
}  # fmt: skip
ONLY_INSIDE_A_FUNCTION: dict[str, frozenset[str]] = {"acquisition": frozenset({"pandas", "sqlalchemy"})}
LOADED_INSIDE_A_FUNCTION = "acquisition.catalogue"
"""The module that may know the database at its top, as nobody loads it at theirs."""


def imported(tree: ast.AST) -> Iterator[str]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"a relative import, line {node.lineno}"
            yield node.module or ""


def at_the_top(tree: ast.Module) -> Iterator[str]:
    for node in tree.body:
        if isinstance(node, ast.Import | ast.ImportFrom):
            yield from imported(node)


def parse(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"), str(path))


def first(name: str) -> str:
    return name.split(".")[0]


def layer_of(path: Path) -> str:
    return path.relative_to(ROOT).parts[0]


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: str(path.relative_to(ROOT)))
def test_a_stage_knows_only_what_it_may(path):
    names = {first(name) for name in imported(parse(path))}
    assert names & FORBIDDEN[layer_of(path)] == set()


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: str(path.relative_to(ROOT)))
def test_heavy_libraries_are_loaded_only_where_they_are_used(path):
    at_top = set(at_the_top(parse(path)))
    assert LOADED_INSIDE_A_FUNCTION not in at_top
    if path == ROOT / f"{LOADED_INSIDE_A_FUNCTION.replace('.', '/')}.py":
        return
    names = {first(name) for name in at_top}
    assert names & ONLY_INSIDE_A_FUNCTION.get(layer_of(path), frozenset()) == set()


def test_the_serial_library_is_known_to_one_module():
    knowing = [str(path.relative_to(ROOT)) for path in SOURCES if "serial" in map(first, imported(parse(path)))]
    assert len(knowing) <= 1


def test_fit_and_generator_of_sample_logs_share_no_code():
    """Else the fit would judge itself: the generator is in acquisition, which knows no analysis."""
    for path in SOURCES:
        names = set(imported(parse(path)))
        if layer_of(path) == "analysis":
            assert not any(name.startswith("acquisition.simulated") for name in names), path


def test_one_file_alone_is_compiled():
    """Compiled code kept on disk is made anew when its own file changes, not when one that it calls does."""
    compiling = [path.name for path in SOURCES if "analysis.compiling" in set(imported(parse(path)))]
    assert compiling == ["sweep.py"]
    assert [path.name for path in SOURCES if "numba" in map(first, imported(parse(path)))] == ["compiling.py"]


def test_the_check_itself_can_fail():
    tree = ast.parse("import analysis.gas\nfrom scipy import optimize\ndef f():\n    import pandas\n")
    assert {first(name) for name in imported(tree)} & FORBIDDEN["acquisition"] == {"analysis", "scipy"}
    assert "pandas" not in set(at_the_top(tree))


def test_the_import_linter_agrees():
    if importlib.util.find_spec("importlinter") is None:
        pytest.skip("import-linter is not installed")
    command = [sys.executable, "-c", "from importlinter.cli import lint_imports_command as c; c()", "--no-cache"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def test_every_package_is_named_for_the_wheel():
    listed = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["setuptools"]["packages"]
    there = {".".join(path.parent.relative_to(ROOT).parts) for path in SOURCES}
    assert set(listed) == there
