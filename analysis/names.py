"""Names of setups and leak paths as people read them."""

from __future__ import annotations

from collections.abc import Sequence

from acquisition.setups import PATHS, SETUPS

_SIDES = ("front", "back", "left", "right")


def setup_name(setup: str | None) -> str:
    """A setup's name on pages; an unknown one as typed."""
    if not setup:
        return "setup not said"
    return SETUPS[setup].label if setup in SETUPS else setup


def path_name(path: str, setup: str | None = None) -> str:
    """A leak path's name on pages: ``panel edges``, ``front seam``, and ``tape`` or ``film`` for the closure."""
    if path == "closure":
        return _closure_name(setup)
    head, _, part = path.partition("/")
    label = PATHS[head].label if head in PATHS else head
    if not part:
        return label
    if head == "panel-edges" and part in _SIDES:
        return f"{part} seam"
    if part == "rest":
        return f"rest of the {label}"
    return f"{label}, {part}"


def _closure_name(setup: str | None) -> str:
    if setup == "vents-taped":
        return "tape"
    return "film" if setup in ("film-on-top", "film-on-rim") else PATHS["closure"].label


def list_text(names: Sequence[str]) -> str:
    """Names in a row: ``a``, ``a and b``, ``a, b and c``."""
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"
