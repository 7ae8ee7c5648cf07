"""From assessments to the arrays of a ranking: which unknown area counts in which test, and how.

Every test measures the sum of its open paths. Unknowns ("leaves") are the areas of undivided paths, one for
each stretch of history between repairs. A test's terms ("columns") are leaves, some times a factor of their
own: each tape, film or sheet seals anew, and the valve seat's sign depends on what is behind the valve.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np

from acquisition.records import Box, Event
from acquisition.setups import ALWAYS_OPEN, PATHS, SETUPS, parent, same_place
from analysis.ranking.priors import PathPrior, path_prior
from analysis.repairs import came_after, renews, replaced_by
from analysis.results import LAWS, Assessment, FloatArray

FLOOR_M2 = 2e-9
SEALED_SHARE = 0.03
SEALED_SHARE_SD = 0.04
CLOSURE_SCATTER = 0.2
SIDES = ("front", "back", "left", "right")
SAME_SHEET_S = 900.0
HAND = 0
"""Number of the latent that is the maker's workmanship."""
RESEAL = {"vents-taped": "tape", "film-on-top": "film", "film-on-rim": "rim film"}

# Log factor of a column: offset + slope * u + cubic * u**3 with u standard normal.
# The cubic makes tails heavy: a film is usually much like the last one, now and then quite another.
PLAIN = (0.0, 0.0, 0.0)
NEW_CLOSURE = (0.0, 0.2, 0.12)
NEW_SHEET = (0.0, 0.5, 0.06)
VALVE_FROM_ROOM = (0.8, 0.6, 0.0)


@dataclass(frozen=True)
class Leaf:
    """One unknown area: ``path``, the stretch of its history, its prior, and whether it is today's."""

    path: str
    epoch: int
    prior: PathPrior
    current: bool


@dataclass(frozen=True)
class Column:
    """One term of a test: a leaf, its factor's law, the latent number in it, and whether that sets its sign."""

    leaf: int
    factor: tuple[float, float, float] = PLAIN
    latent: int | None = None
    signed: bool = False


@dataclass(frozen=True, eq=False)
class Problem:
    """Arrays of one ranking.

    ``weight`` and ``variance`` (tests x columns) are a column's part in a test and the variance of that
    part; ``measured_m2``, ``down``, ``up`` (tests) the measured area and the standard uncertainties towards
    smaller and larger ones in the scale of ``stretch``; ``volume`` (tests) the relative volume uncertainty
    and ``volume_latent`` which latent carries it; ``law`` (tests x 3) the law's probabilities.
    """

    tests: tuple[Assessment, ...]
    leaves: tuple[Leaf, ...]
    columns: tuple[Column, ...]
    n_latent: int
    weight: FloatArray
    variance: FloatArray
    measured_m2: FloatArray
    down: FloatArray
    up: FloatArray
    limited: FloatArray
    volume: FloatArray
    volume_latent: tuple[int, ...]
    law: FloatArray
    law_latent: tuple[int, ...]
    let_go: tuple[tuple[int, ...], ...]
    weeping: bool
    heard: tuple[int, ...]

    @property
    def current(self) -> dict[str, int]:
        """Today's leaves by path."""
        return {leaf.path: k for k, leaf in enumerate(self.leaves) if leaf.current}


def stretch(area_m2: FloatArray) -> FloatArray:
    """A scale that is logarithmic for areas well above the repeatability floor and linear about zero."""
    out: FloatArray = np.arcsinh(np.asarray(area_m2) / (2.0 * FLOOR_M2))
    return out


def off_m2(stretched: FloatArray) -> FloatArray:
    """Area (m2) back from ``stretch``."""
    out: FloatArray = 2.0 * FLOOR_M2 * np.sinh(stretched)
    return out


@dataclass
class _Book:
    """Collects leaves, columns and latents while tests are entered."""

    box: Box | None
    parts: dict[str, tuple[str, ...]]
    renewed: dict[str, tuple[str, ...]]
    leaves: dict[tuple[str, int], int] = field(default_factory=dict)
    columns: dict[Column, int] = field(default_factory=dict)
    latents: dict[object, int] = field(default_factory=dict)

    def latent(self, key: object) -> int:
        return self.latents.setdefault(key, len(self.latents))

    def leaf(self, path: str, started: datetime | None) -> int:
        return self.leaves.setdefault((path, self.epoch(path, started)), len(self.leaves))

    def epoch(self, path: str, started: datetime | None) -> int:
        days = self.renewed.get(path, ())
        return len(days) if started is None else sum(came_after(started, day) for day in days)

    def column(self, column: Column) -> int:
        return self.columns.setdefault(column, len(self.columns))

    def made_leaves(self) -> tuple[Leaf, ...]:
        return tuple(
            Leaf(path, epoch, path_prior(path, self.box, len(self.parts.get(parent(path), ("",))), epoch > 0),
                 epoch == len(self.renewed.get(path, ())))
            for path, epoch in self.leaves
        )


def split_parts(names: Iterable[str]) -> dict[str, tuple[str, ...]]:
    """Parts of each parent that is named by its parts; sides are completed to all four, others by a rest."""
    names = tuple(names)
    bare = {n for n in names if "/" not in n}
    parts: dict[str, tuple[str, ...]] = {}
    for whole in dict.fromkeys(parent(n) for n in names if "/" in n):
        named = tuple(dict.fromkeys(n.split("/", 1)[1] for n in names if n.startswith(whole + "/")))
        if set(named) <= set(SIDES) and whole in bare:
            named = SIDES
        elif whole in bare and "rest" not in named:
            named = (*named, "rest")
        parts[whole] = tuple(f"{whole}/{n}" for n in named)
    return parts


def _renewed(events: Sequence[Event], paths: Iterable[str]) -> dict[str, tuple[str, ...]]:
    """ISO dates at which each path started anew."""
    new = [event for event in events if renews(event)]
    return {path: tuple(e.date for e in new if not e.path or same_place(path, e.path)) for path in paths}


def undivided(paths: Iterable[str], parts: dict[str, tuple[str, ...]]) -> tuple[str, ...]:
    """``paths`` with each divided parent replaced by its parts."""
    return tuple(dict.fromkeys(leaf for p in paths for leaf in parts.get(p, (p,))))


def exposed(setup: str | None, sealed: Iterable[str]) -> tuple[str, ...]:
    """Those of ``sealed`` that the setup would leave open: only they can leak through their seal."""
    row = (*SETUPS[setup].open_paths, *ALWAYS_OPEN) if setup in SETUPS else ()
    return tuple(p for p in sealed if parent(p) in row)


def build(tests: Sequence[Assessment], box: Box | None, events: Sequence[Event]) -> Problem:
    """Set up the arrays of a ranking from usable tests (an area and a known setup each)."""
    names = tuple(dict.fromkeys(p for t in tests for p in (*t.open_paths, *exposed(t.setup, t.sealed))))
    parts = split_parts(names)
    leaves = undivided(names, parts)
    book = _Book(box, parts, _renewed(events, leaves))
    assert book.latent("hand") == HAND
    for path in leaves:
        book.leaf(path, None)
    sheets = _sheets(tests)
    terms = [_terms(book, test, sheets[i]) for i, test in enumerate(tests)]
    volume_latent = tuple(book.latent("line volume" if t.setup == "line-only" else "volume") for t in tests)
    made = book.made_leaves()
    laws = np.array([_law(t) for t in tests])
    needs_law = bool(np.any(np.abs(laws - 1.0 / 3.0) > 0.1))
    law_latent = tuple(book.latent(("law", k)) for k in range(len(made))) if needs_law else ()
    return _arrays(tests, book, made, terms, volume_latent, laws, law_latent, heard_at(events, made))


def _sheets(tests: Sequence[Assessment]) -> list[int]:
    """Number of the sheet of each formed-sheet test: tests minutes apart are of one sheet."""
    numbers, last, n = [0] * len(tests), -math.inf, 0
    order = sorted(range(len(tests)), key=lambda i: (_clock(tests[i]), i))
    for i in order:
        if tests[i].setup != "formed-sheet":
            continue
        now = _clock(tests[i])
        if not now - last <= SAME_SHEET_S:
            n += 1
        numbers[i], last = n, now
    return numbers


def _clock(test: Assessment) -> float:
    return test.started.timestamp() if test.started is not None else float("inf")


def _terms(book: _Book, test: Assessment, sheet: int) -> dict[int, tuple[float, float]]:
    """Weight and sd of every column in one test."""
    terms: dict[int, tuple[float, float]] = {}
    shut = {p for s in exposed(test.setup, test.sealed) for p in undivided((s,), book.parts)}
    for path in undivided(test.open_paths, book.parts):
        if path not in shut:
            column, weight = _open_column(book, test, path, sheet)
            terms[column] = (weight, CLOSURE_SCATTER if parent(path) == "closure" else 0.0)
    for path in shut - {"valve-seat"}:
        column, weight = _open_column(book, test, path, sheet)
        terms[column] = (SEALED_SHARE * weight, SEALED_SHARE_SD)
    return terms


def _open_column(book: _Book, test: Assessment, path: str, sheet: int) -> tuple[int, float]:
    leaf = book.leaf(path, test.started)
    kind = parent(path)
    if kind == "closure":
        latent = book.latent(("closure", test.setup))
        return book.column(Column(leaf, NEW_CLOSURE, latent)), 1.0
    if kind == "sheet-edge":
        return book.column(Column(leaf, NEW_SHEET, book.latent(("sheet", sheet)))), 1.0
    if kind == "valve-seat":
        return _valve_column(book, test, leaf)
    return book.column(Column(leaf)), 1.0


def _valve_column(book: _Book, test: Assessment, leaf: int) -> tuple[int, float]:
    if test.behind_valve in ("pump", "tank"):
        return book.column(Column(leaf)), -1.0
    if test.behind_valve == "room":
        return book.column(Column(leaf, VALVE_FROM_ROOM, book.latent("valve ratio"))), 1.0
    return book.column(Column(leaf, PLAIN, book.latent("valve sign"), signed=True)), 1.0


def _law(test: Assessment) -> list[float]:
    if test.law is None or "seal-let-go" in test.flags:
        return [1.0 / 3.0] * 3
    return [0.85 * test.law.probability.get(kind, 1.0 / 3.0) + 0.05 for kind in LAWS]


def _arrays(
    tests: Sequence[Assessment], book: _Book, leaves: tuple[Leaf, ...], terms: list[dict[int, tuple[float, float]]],
    volume_latent: tuple[int, ...], laws: FloatArray, law_latent: tuple[int, ...], heard: tuple[int, ...],
) -> Problem:
    columns = tuple(book.columns)
    weight, variance = np.zeros((2, len(tests), len(columns)))
    for i, row in enumerate(terms):
        for j, (part, sd) in row.items():
            weight[i, j], variance[i, j] = part, sd**2
    measured = np.array([_measured(t) for t in tests])
    return Problem(
        tests=tuple(tests), leaves=leaves, columns=columns, n_latent=len(book.latents), weight=weight,
        variance=variance, measured_m2=measured[:, 0], down=measured[:, 1], up=measured[:, 2],
        limited=measured[:, 3], volume=np.array([0.0 if t.test == "stall" else t.u_log_volume for t in tests]),
        volume_latent=volume_latent, law=laws, law_latent=law_latent,
        let_go=tuple(_seals(t, leaves, columns, weight[i]) for i, t in enumerate(tests)),
        weeping=any("weeping-valve" in t.flags for t in tests), heard=heard,
    )


def _seals(
    test: Assessment, leaves: tuple[Leaf, ...], columns: tuple[Column, ...], weight: FloatArray
) -> tuple[int, ...]:
    """Columns that a seal letting go speaks for; none when no seal let go."""
    if "seal-let-go" not in test.flags:
        return ()
    suspects = ("closure", "sheet-edge")
    return tuple(j for j, c in enumerate(columns) if weight[j] > 0.5 and parent(leaves[c.leaf].path) in suspects)


def _measured(test: Assessment) -> tuple[float, float, float, float]:
    """Measured area less the known hole, its uncertainties in the scale of ``stretch``, and 1 for a limit."""
    assert test.area_m2 is not None
    span = test.area_m2 if test.area_fit_m2 is None or test.test == "stall" else test.area_fit_m2
    low, value, high = stretch(np.array([span.low, span.value, span.high]) - test.plug_area_m2)
    shared = test.u_log_volume**2 if test.area_fit_m2 is None and test.test != "stall" else 0.0
    down, up = (min(max(math.sqrt(max((d / 1.96) ** 2 - shared, 0.0)), 0.01), 5.0) for d in (value - low, high - value))
    return test.area_m2.value - test.plug_area_m2, down, up, float(test.outcome == "upper-limit")


_WORDS: tuple[tuple[str, str], ...] = (
    ("seam", "panel-edges"), ("flange", "port-flange"), ("port", "port-flange"), ("hose", "line"), ("tee", "line"),
    ("fitting", "line"), ("lip", "rim-joint"), ("rim", "rim-joint"), ("sheet", "sheet-edge"), ("tape", "closure"),
    ("film", "closure"), ("baffle", "top-panel"), ("edge", "panel-edges"), ("corner", "panel-edges"),
)
_HEARD = re.compile(r"\b(hiss|heard|hear|felt|feel|smoke|talc|whistl|air at|blow|draught|tissue)", re.IGNORECASE)


def place_of(event: Event) -> str:
    """The leak path a remark speaks for, or an empty text."""
    if event.kind != "remark":
        return ""
    if event.path and parent(event.path) in PATHS:
        return event.path
    if not _HEARD.search(event.text):
        return ""
    where = next((path for word, path in _WORDS if re.search(rf"\b{word}", event.text, re.IGNORECASE)), "")
    side = next((s for s in SIDES if re.search(rf"\b{s}\b", event.text, re.IGNORECASE)), "")
    return f"{where}/{side}" if where == "panel-edges" and side else where


def heard_at(events: Sequence[Event], leaves: Sequence[Leaf]) -> tuple[int, ...]:
    """Today's leaves that remarks speak for; one from before the place was resealed speaks of what was."""
    found: list[int] = []
    for event in events:
        place = place_of(event)
        if not place or replaced_by(event, place, events) is not None:
            continue
        exact = [k for k, leaf in enumerate(leaves) if leaf.current and leaf.path == place]
        found += exact or [k for k, leaf in enumerate(leaves) if leaf.current and leaf.path == parent(place)]
    return tuple(dict.fromkeys(found))
