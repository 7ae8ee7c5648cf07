"""The table of paths and setups against the design page's rows."""

from __future__ import annotations

import pytest

from acquisition.errors import WrongUsage
from acquisition.setups import PATHS, SETUPS, check_path, open_paths, parent

# The two tables of the project's design page, word for word.
JOINS = {
    "panel-edges": "shop-box", "panel-faces": "shop-box", "port-flange": "shop-box", "line": "shop-box",
    "valve-seat": "box-pump", "top-panel": "box-space", "closure": "box-space", "rim-joint": "shop-space",
    "sheet-edge": "shop-space",
}
OPEN = {
    "line-only": "",
    "undrilled": "panel-edges, panel-faces, port-flange, top-panel",
    "vents-taped": "panel-edges, panel-faces, port-flange, top-panel, closure",
    "film-on-top": "panel-edges, panel-faces, port-flange, closure",
    "film-on-rim": "panel-edges, panel-faces, port-flange, rim-joint, closure",
    "formed-sheet": "panel-edges, panel-faces, port-flange, rim-joint, sheet-edge",
}


def test_paths_join_the_rooms_of_the_design() -> None:
    assert {name: "-".join(path.joins) for name, path in PATHS.items()} == JOINS


@pytest.mark.parametrize("setup", OPEN)
def test_a_setup_opens_its_row_and_line_and_valve(setup: str) -> None:
    row = [path for path in OPEN[setup].split(", ") if path]
    assert list(open_paths(setup)) == [*row, "line", "valve-seat"]


def test_every_setup_is_in_the_table() -> None:
    assert list(SETUPS) == list(OPEN)


def test_sealed_paths_are_taken_away_with_their_parts() -> None:
    assert "port-flange" not in open_paths("undrilled", sealed=["port-flange"])
    assert open_paths("line-only", sealed=["line"], override=None) == ("valve-seat",)
    parts = ["panel-edges/front", "panel-edges/back", "line"]
    assert open_paths("undrilled", ["panel-edges"], parts) == ("line",)
    assert open_paths("undrilled", ["panel-edges/front"], parts) == ("panel-edges/back", "line")


def test_an_unknown_setup_opens_nothing_that_can_be_said() -> None:
    assert open_paths("upside-down") == ()


def test_a_part_is_known_by_its_parent() -> None:
    assert check_path("panel-edges/front") == "panel-edges/front"
    assert parent("panel-edges/front") == "panel-edges"


@pytest.mark.parametrize("path", ["door", "", "panel-edges/", "Line"])
def test_what_is_no_path(path: str) -> None:
    with pytest.raises(WrongUsage, match="no leak path"):
        check_path(path)
