"""Frozen records of what users own: a log, a box, an event. No file access here."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from acquisition.units import GaugeUnit

FloatArray = NDArray[np.float64]
GaugeAt = Literal["box", "hose", "tank"]
BehindValve = Literal["room", "pump", "tank"]
Wood = Literal["bare", "coated", "none"]


@dataclass(frozen=True)
class Uncertain:
    """A value with one standard uncertainty in the same unit (the ``a +- u`` of the files)."""

    value: float
    u: float


@dataclass(frozen=True)
class LogHeader:
    """The header lines of a log, read into types; what is absent is None.

    Temperatures in degrees Celsius, volumes in litres, barometer in kPa, as the file has them;
    ``resolution`` and ``accuracy`` (one standard uncertainty) in the gauge's own unit. ``extra`` keeps
    every key that is not named here, in order, as text.
    """

    gauge: GaugeUnit
    box: str | None = None
    setup: str | None = None
    sealed: tuple[str, ...] = ()
    open: tuple[str, ...] | None = None
    started: datetime | None = None
    resolution: float | None = None
    accuracy: float | None = None
    barometer_kPa: Uncertain | None = None
    altitude_m: float | None = None
    room_C: float | None = None
    room_RH: float | None = None
    wood_C: float | None = None
    sheet_C: float | None = None
    since_forming_min: float | None = None
    volume_L: Uncertain | None = None
    gauge_at: GaugeAt | None = None
    behind_valve: BehindValve | None = None
    let_up_since_last: bool | None = None
    wood: Wood | None = None
    mould: str | None = None
    plug_drill_mm: float | None = None
    extra: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Log:
    """One log: its header and its table.

    ``elapsed_s`` and ``reading`` are float64 arrays of one length (gauge's unit; NaN where nothing could
    be read); ``raw`` and ``note`` are tuples of that length or empty; ``columns`` keeps any further
    columns as text. ``path`` is where it was read from, for messages only. ``keys`` is the order of the
    header's keys as written, so that a round trip keeps it. ``dropped_lines`` are the 1-based numbers of
    the file's lines that gave no time and so no row.
    """

    header: LogHeader
    elapsed_s: FloatArray
    reading: FloatArray
    raw: tuple[str, ...] = ()
    note: tuple[str, ...] = ()
    columns: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    path: Path | None = None
    keys: tuple[str, ...] = ()
    dropped_lines: tuple[int, ...] = ()

    @property
    def unread(self) -> int:
        """How many rows have no reading."""
        return int(np.count_nonzero(np.isnan(self.reading)))


@dataclass(frozen=True)
class Baffles:
    """Baffles inside: clear span between supports of the top in mm, both ways, and how many each way."""

    count_x: int = 0
    count_y: int = 0
    board_mm: float | None = None


@dataclass(frozen=True)
class Rim:
    """The rim: ``lip`` is ``steel`` or ``none``; ``proud_mm`` how far the lip stands above the top."""

    lip: Literal["steel", "none"] = "none"
    proud_mm: float = 0.0


@dataclass(frozen=True)
class Port:
    """The flanged port below: place from the front left inside corner, bore and flange diameter, mm."""

    x_mm: float | None = None
    y_mm: float | None = None
    bore_mm: float = 38.0
    flange_mm: float = 90.0


@dataclass(frozen=True)
class Vents:
    """Vent holes under the mould: how many, drill in mm, pitch in mm."""

    count: int = 0
    drill_mm: float = 1.0
    pitch_mm: float = 25.0


@dataclass(frozen=True)
class Pump:
    """The pump: either free speed and ultimate pressure, or points (kPa absolute, L/s) of its curve."""

    speed_L_s: float | None = None
    ultimate_kPa: float = 0.0
    points: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True)
class Tank:
    """The reserve tank: volume in L, its working pressure in kPa absolute."""

    volume_L: float
    working_kPa: float = 12.0


@dataclass(frozen=True)
class Box:
    """What the box file says of a box; None or the default where it says nothing.

    ``inside_mm`` is length (x), width (y), height (z). ``extra`` keeps unknown tables and keys.
    """

    name: str
    inside_mm: tuple[float, float, float] | None = None
    wood: Wood | None = None
    board_mm: float | None = None
    volume_L: Uncertain | None = None
    line_volume_L: Uncertain | None = None
    working_kPa: float | None = None
    label: str | None = None
    baffles: Baffles = Baffles()
    rim: Rim = Rim()
    port: Port = Port()
    vents: Vents = Vents()
    pump: Pump | None = None
    tank: Tank | None = None
    extra: Mapping[str, object] = field(default_factory=dict)


@dataclass(frozen=True)
class Event:
    """One row of ``events.csv``: what was done to, or noticed of, a box.

    ``kind`` is ``repair``, ``change``, ``remark`` or ``correction``; ``path`` a leak path or empty;
    ``date`` an ISO date.
    """

    date: str
    path: str
    kind: Literal["repair", "change", "remark", "correction"]
    text: str


@dataclass(frozen=True)
class LogEntry:
    """What the catalogue knows of one log without opening it.

    ``stamp`` tells whether the file or its corrections changed since; ``content_hash`` is the file's;
    ``started_utc`` ISO text in UTC or None; ``rows`` the table's length; ``error`` why the log cannot be
    read, else None.
    """

    box: str
    name: str
    stamp: str
    content_hash: str
    setup: str | None
    sealed: tuple[str, ...]
    started_utc: str | None
    rows: int
    error: str | None
