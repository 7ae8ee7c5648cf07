"""Every text of the project: nothing of one machine in it, and only words of this trade on what people read."""

from __future__ import annotations

import ast
import re
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
TEXT_ENDINGS = {".py", ".md", ".toml", ".css", ".js", ".txt", ".csv", ".html", ".sh", ".svg", ".cfg", ".yml", ""}
VENDORED = re.compile(r"\.min\.js$|LICENSE|\.woff2$|^uv\.lock$")

# Put together from pieces, so that this file does not find itself.
FORBIDDEN = {
    "a folder of one machine": re.compile(
        r"/wor" + r"k/|/hom" + r"e/\w|/Use" + r"rs/\w|/roo" + r"t/|\bC:\\" + r"Users"
    ),
    "an upstream of the work": re.compile(r"\.\./sha" + r"red|transc" + r"ript|seed docu" + r"ment", re.IGNORECASE),
    "a writer": re.compile(r"\bas an a" + r"i\b|language mod" + r"el", re.IGNORECASE),
    "a package registry": re.compile(r"py" + r"pi\.org|files\.python" + r"hosted|registry\.np" + r"mjs", re.IGNORECASE),
    "unfinished work": re.compile(r"\bTO" + r"DO\b|\bFIX" + r"ME\b|\bXX" + r"X\b|NotImplemented" + r"Error"),
}  # fmt: skip

# Words that people at the bench do not use; checked in what is shown, not in code.
AVOIDED = re.compile(
    r"\b(headspace|fleet|rule of thumb|KPI|insights?|anomal(?:y|ies)|sigma|p-value|posterior|confidence level"
    r"|outliers?|smart|asset|N/A|approximately|significant(?:ly)?|invalid|submit|execute|sensors?)\b",
    re.IGNORECASE,
)
SHOWN = ("dashboard/*.py", "dashboard/pages/*.py", "analysis/wording.py", "analysis/numberwords.py")


def tracked() -> list[Path]:
    listed = subprocess.run(
        ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT, capture_output=True, text=True, check=True,
    ).stdout  # fmt: skip
    paths = [ROOT / name for name in listed.split("\0") if name]
    return [path for path in paths if path.is_file() and not VENDORED.search(path.name)]


TEXTS = [path for path in tracked() if path.suffix in TEXT_ENDINGS]


def test_there_are_texts_to_check():
    assert {"README.md", "pyproject.toml", "cli.py"} <= {path.name for path in TEXTS}


@pytest.mark.parametrize("what", FORBIDDEN)
def test_no_text_has(what):
    found = [
        f"{path.relative_to(ROOT)}:{number}: {line.strip()[:100]}"
        for path in TEXTS
        for number, line in enumerate(path.read_text(encoding="utf-8", errors="replace").splitlines(), start=1)
        if FORBIDDEN[what].search(line)
    ]
    assert found == []


def shown_strings(path: Path) -> list[tuple[int, str]]:
    """Strings of a module that a person may read: more than one word, and no docstring of a private place."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    docstrings = {
        id(node.body[0].value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef) and node.body
        and isinstance(node.body[0], ast.Expr)
    }  # fmt: skip
    return [
        (node.lineno, node.value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and isinstance(node.value, str)
        and id(node) not in docstrings and " " in node.value.strip()
    ]  # fmt: skip


def test_what_is_shown_keeps_to_the_words_of_the_trade():
    paths = sorted({path for pattern in SHOWN for path in ROOT.glob(pattern)})
    assert paths
    found = [
        f"{path.relative_to(ROOT)}:{line}: {AVOIDED.search(text)[0]} in '{text[:80]}'"
        for path in paths
        for line, text in shown_strings(path)
        if AVOIDED.search(text)
    ]
    assert found == []


def test_the_checks_can_find_something():
    assert FORBIDDEN["a folder of one machine"].search("see /wor" + "k/main")
    assert AVOIDED.search("an outlier was removed")
    assert not AVOIDED.search("a sensible insider")


def test_functions_and_files_stay_short():
    """Aims of the house: median 8 lines, 90th percentile 25, none above 60, no file over 400 lines."""
    sizes: list[int] = []
    too_long: list[str] = []
    for path in TEXTS:
        if path.suffix != ".py":
            continue
        text = path.read_text(encoding="utf-8")
        if text.count("\n") > 400:
            too_long.append(f"{path.relative_to(ROOT)}: {text.count(chr(10))} lines")
        for node in ast.walk(ast.parse(text)):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                size = body_lines(node)
                if size > 60:
                    too_long.append(f"{path.relative_to(ROOT)}:{node.lineno} {node.name}: {size} lines")
                if "tests" not in path.parts:
                    sizes.append(size)
    assert too_long == []
    sizes.sort()
    assert sizes[len(sizes) // 2] <= 8
    assert sizes[int(0.9 * len(sizes))] <= 25


def body_lines(node: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    has_doc = ast.get_docstring(node) is not None
    body = node.body[1:] if has_doc and len(node.body) > 1 else node.body
    return (body[-1].end_lineno or 0) - body[0].lineno + 1
