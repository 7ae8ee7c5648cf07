"""Leak paths and setups: the one table of where air can get in and what a setup leaves open.

Adding a path or a setup is one row here. A path may carry a name of the user's own behind a slash
(``panel-edges/front``); its parent is the sum of its parts.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from acquisition.errors import WrongUsage


@dataclass(frozen=True)
class LeakPath:
    """A place where air can get in.

    ``joins`` names two of the rooms ``shop``, ``box``, ``space`` (under the sheet) and ``pump``;
    ``label`` is the name on pages, ``short`` the one in drawings.
    """

    name: str
    joins: tuple[str, str]
    label: str
    short: str
    meaning: str


@dataclass(frozen=True)
class Setup:
    """What closes the top for a test, and the paths it leaves open beside ``line`` and ``valve-seat``."""

    name: str
    label: str
    meaning: str
    open_paths: tuple[str, ...]


PATHS: dict[str, LeakPath] = {
    p.name: p
    for p in (
        LeakPath("panel-edges", ("shop", "box"), "panel edges", "edges",
                 "joints of walls and bottom, outer edge grain, staples through the walls"),
        LeakPath("panel-faces", ("shop", "box"), "panel faces", "faces", "walls and bottom, through the board"),
        LeakPath("port-flange", ("shop", "box"), "port flange", "flange",
                 "flange bead and screws, or the gasket to the machine's table"),
        LeakPath("line", ("shop", "box"), "line", "line",
                 "hose, gauge tapping, fittings on the box's side of the valve"),
        LeakPath("valve-seat", ("box", "pump"), "valve seat", "valve",
                 "signed: with a pump or tank behind it a weeping seat takes air out and hides a leak"),
        LeakPath("top-panel", ("box", "space"), "top panel", "top panel",
                 "the top's faces, baffle screws, core gaps inside the rim"),
        LeakPath("closure", ("box", "space"), "tape or film", "tape",
                 "whatever closes the vents or the top for the test: tape, plugs, film and its seal"),
        LeakPath("rim-joint", ("shop", "space"), "rim joint", "rim joint",
                 "steel lip to plywood; with no lip the rim's own edge grain and corner joints"),
        LeakPath("sheet-edge", ("shop", "space"), "sheet edge", "sheet edge", "formed sheet against the rim"),
    )
}

_BOX = ("panel-edges", "panel-faces", "port-flange")

SETUPS: dict[str, Setup] = {
    s.name: s
    for s in (
        Setup("line-only", "hose capped", "hose capped at the box's end", ()),
        Setup("undrilled", "not drilled yet", "no vents yet, nothing on top", (*_BOX, "top-panel")),
        Setup("vents-taped", "vents taped", "tape or plugs over the vents", (*_BOX, "top-panel", "closure")),
        Setup("film-on-top", "film on the top", "film over the whole top inside the rim", (*_BOX, "closure")),
        Setup("film-on-rim", "film on the rim", "film taken out to the rim, putty tape under it",
              (*_BOX, "rim-joint", "closure")),
        Setup("formed-sheet", "formed sheet", "a sheet formed as in production, cooled",
              (*_BOX, "rim-joint", "sheet-edge")),
    )
}

ALWAYS_OPEN = ("line", "valve-seat")


def parent(path: str) -> str:
    """Name of the table's path that ``path`` is, or is a part of."""
    return path.split("/", 1)[0]


def same_place(path: str, other: str) -> bool:
    """Whether two leak paths are one, or one is a part of the other."""
    return bool(path and other) and (path == other or path == parent(other) or parent(path) == other)


def is_open(place: str, open_paths: Iterable[str], sealed: Iterable[str] = ()) -> bool:
    """Whether a place, or a part of it, could let air in during a test with these paths open and those sealed.

    A part that is sealed is shut, though its parent stands among the open paths.
    """
    shut = set(sealed)
    return place not in shut and parent(place) not in shut and any(same_place(path, place) for path in open_paths)


def check_setup(name: str) -> str:
    """Return ``name`` if the table of setups knows it.

    Raises
    ------
    WrongUsage
        It does not.
    """
    if name in SETUPS:
        return name
    raise WrongUsage(f"'{name}' is no setup; take one of {', '.join(SETUPS)}.")


def check_path(path: str) -> str:
    """Return ``path`` if the table knows it or its parent.

    Raises
    ------
    WrongUsage
        The path is not in the table.
    """
    if parent(path) in PATHS and not path.endswith("/"):
        return path
    raise WrongUsage(
        f"'{path}' is no leak path; take one of {', '.join(PATHS)}, or a part of one such as panel-edges/front."
    )


def open_paths(setup: str, sealed: Iterable[str] = (), override: Iterable[str] | None = None) -> tuple[str, ...]:
    """Paths that can let air in during a test.

    Parameters
    ----------
    setup
        A name of ``SETUPS``; an unknown one leaves nothing that can be said, hence an empty tuple.
    sealed
        Paths taken away; sealing a parent takes its parts, sealing a part leaves the parent open.
    override
        The log's ``open`` key: stands in place of the whole table row.
    """
    if override is not None:
        rows: tuple[str, ...] = tuple(dict.fromkeys(override))
    elif setup in SETUPS:
        rows = (*SETUPS[setup].open_paths, *ALWAYS_OPEN)
    else:
        return ()
    shut = set(sealed)
    return tuple(p for p in rows if p not in shut and parent(p) not in shut)
