"""The sample logs are what they are said to be: written by the simulation, seeds without a choice, lessons visible."""

from __future__ import annotations

import json
from datetime import datetime
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from acquisition.archive import Archive
from acquisition.boxfile import read_box
from acquisition.errors import WrongUsage
from acquisition.events import read_events
from acquisition.logfile import read_log
from acquisition.records import Log
from acquisition.setups import PATHS, SETUPS, open_paths, parent
from acquisition.simulated.shopfiles import main, write_shop

SAMPLES = Path(__file__).parents[1] / "sample_logs"
LOGS = sorted(SAMPLES.glob("*/logs/*.csv"))
NAMES = [str(path.relative_to(SAMPLES).as_posix()) for path in LOGS]
PLANTED = json.loads((SAMPLES / "planted.json").read_text(encoding="utf-8"))
SEEDS = json.loads((SAMPLES / "seeds.json").read_text(encoding="utf-8"))


def only(pattern: str) -> Log:
    (path,) = SAMPLES.glob(pattern)
    return read_log(path)


def slope(log: Log, start_s: float, end_s: float) -> float:
    """Straight line through the readings of a stretch, gauge's unit per second."""
    inside = (log.elapsed_s >= start_s) & (log.elapsed_s <= end_s) & np.isfinite(log.reading)
    return float(np.polyfit(log.elapsed_s[inside], log.reading[inside], 1)[0])


@pytest.mark.slow
def test_the_simulation_writes_them_anew_byte_for_byte(tmp_path: Path):
    write_shop(tmp_path)
    kept = {path.relative_to(SAMPLES): path for path in SAMPLES.rglob("*") if path.is_file()}
    kept = {name: path for name, path in kept.items() if not name.name.startswith("catalogue.")}
    written = {path.relative_to(tmp_path): path for path in tmp_path.rglob("*") if path.is_file()}
    assert set(written) == set(kept)
    assert [str(name) for name, path in written.items() if path.read_bytes() != kept[name].read_bytes()] == []


def test_the_writer_wants_one_folder():
    with pytest.raises(WrongUsage, match="name one folder"):
        main([])


def test_every_seed_is_the_start_of_its_log():
    assert sorted(SEEDS) == NAMES
    for name, path in zip(NAMES, LOGS, strict=True):
        assert SEEDS[name] == int(f"{read_log(path).header.started:%y%m%d%H%M}")


def test_they_are_small_and_many():
    assert len(LOGS) >= 40
    assert sum(path.stat().st_size for path in SAMPLES.rglob("*") if path.is_file()) < 3_000_000


@pytest.mark.parametrize("path", LOGS, ids=NAMES)
def test_a_log_stands_where_an_archive_keeps_it(path: Path):
    header = read_log(path).header
    assert header.box == path.parent.parent.name
    assert path.name == f"{header.started:%Y%m%dT%H%M%S}-{header.setup}.csv"
    assert header.setup in SETUPS
    assert 2025 <= header.started.year <= 2026
    assert header.gauge_at is not None
    assert header.behind_valve is not None


@pytest.mark.parametrize("path", LOGS, ids=NAMES)
def test_what_was_planted_fits_the_setup(path: Path):
    planted, header = PLANTED[str(path.relative_to(SAMPLES).as_posix())], read_log(path).header
    assert planted["area_mm2"] == pytest.approx(sum(planted["paths_mm2"].values()), rel=1e-3)
    free = set(open_paths(header.setup, header.sealed))
    assert {parent(p) for p in planted["paths_mm2"]} <= free
    assert planted["expected"]


def test_the_archive_reads_them():
    archive = Archive(SAMPLES)
    assert archive.boxes() == tuple(f"B-0{k}" for k in range(1, 9))
    for name in archive.boxes():
        assert archive.box(name).name == name
        assert [path.parent.parent.name for path in archive.log_paths(name)] == [name] * len(archive.log_paths(name))


def test_boxes_can_be_judged():
    boxes = [read_box(path) for path in sorted(SAMPLES.glob("*/box.toml"))]
    assert all(box.pump is not None and box.volume_L is not None and box.working_kPa for box in boxes)
    assert len({box.inside_mm for box in boxes}) == len(boxes)
    assert any(box.tank is None for box in boxes)


@pytest.mark.parametrize("box", [f"B-0{k}" for k in range(1, 9)])
def test_a_measured_volume_is_honest(box: str):
    """The stated volume lies within two of its standard uncertainties of the planted one (the box's own setups)."""
    stated = read_box(SAMPLES / box / "box.toml").volume_L
    planted = {PLANTED[name]["volume_L"] for name in NAMES if name.startswith(box) and "-sheet" not in name}
    planted = {volume for volume in planted if volume > 5.0}
    assert all(abs(volume - stated.value) < 2.0 * stated.u for volume in planted)


def test_events_name_known_paths():
    events = [event for path in SAMPLES.glob("*/events.csv") for event in read_events(path)]
    assert {event.kind for event in events} >= {"repair", "remark", "change"}
    assert all(event.path == "" or event.path in PATHS for event in events)


# --- the lessons, seen without any fit -------------------------------------------------------------------


def test_b01_looks_leaky_until_soaked_and_redrawn():
    fresh, soaked = only("B-01/logs/*T0912*.csv"), only("B-01/logs/*T0931*.csv")
    # Apparent area from the slope of minutes 1 to 5: V dp/dt over 20.13 Pa m3/s per mm2.
    first = slope(fresh, 120.0, 360.0) * 1e3 * 0.0317 / 20.13
    last = slope(soaked, 640.0, 880.0) * 1e3 * 0.0317 / 20.13
    assert first > 2.5 * 0.0029
    assert last < 0.65 * first


def test_b02_the_sheets_let_in_far_more_than_the_film():
    film, *sheets = (read_log(p) for p in sorted(SAMPLES.glob("B-02/logs/*.csv")))
    assert all(slope(sheet, 120.0, 200.0) > 4.0 * slope(film, 220.0, 400.0) for sheet in sheets)


def test_b03_putty_on_the_flange_takes_most_of_it_away():
    as_it_came, puttied = only("B-03/logs/*T0840*.csv"), only("B-03/logs/*T0915*.csv")
    assert puttied.header.sealed == ("port-flange",)
    assert slope(as_it_came, 160.0, 220.0) > 4.0 * slope(puttied, 160.0, 220.0)


def test_b04_a_hold_each_fortnight_over_fourteen_months_with_a_repair_that_helped():
    names = [name for name in NAMES if name.startswith("B-04")]
    starts = [read_log(SAMPLES / name).header.started for name in names]
    assert (starts[-1] - starts[0]).days > 400
    assert {(b.date() - a.date()).days for a, b in pairwise(starts)} == {14}
    (repair,) = [event for event in read_events(SAMPLES / "B-04/events.csv") if event.kind == "repair"]
    day = datetime.fromisoformat(repair.date).date()
    areas = [(start.date(), PLANTED[name]["area_mm2"]) for start, name in zip(starts, names, strict=True)]
    before, after = [a for d, a in areas if d < day], [a for d, a in areas if d > day]
    assert before[-1] > 1.4 * before[0]
    assert max(after) < 0.6 * before[-1]


@pytest.mark.parametrize("pattern", ["*T1320*", "*T1350*"])
def test_b05_stalls(pattern: str):
    log = only(f"B-05/logs/{pattern}.csv")
    late = (log.elapsed_s > 130.0) & (log.elapsed_s < 190.0)
    # Levels off above half of room pressure, which is 14 to 15 inHg of vacuum.
    assert np.nanmax(log.reading[late]) < 15.0
    assert np.ptp(log.reading[late]) <= 0.5


def test_b06_the_vacuum_of_the_hose_grows_with_the_tank_behind_and_falls_with_the_room():
    tank, room = only("B-06/logs/*T1425*.csv"), only("B-06/logs/*T1432*.csv")
    assert slope(tank, 60.0, 100.0) < 0.0
    assert slope(room, 60.0, 100.0) > 5.0


def test_b06_the_tank_hides_what_the_room_shows():
    hidden, shown, cleaned = (slope(only(f"B-06/logs/*{t}*.csv"), 130.0, 300.0) for t in ("T1410", "T1445", "T0930"))
    assert hidden < 0.9 * cleaned < 0.9 * 0.9 * shown


def test_b07_awkward_ones_are_awkward():
    stuck = only("B-07/logs/20260504T0910*.csv")
    assert np.ptp(stuck.reading[stuck.elapsed_s > 45.0]) == 0.0
    assert only("B-07/logs/20260504T0925*.csv").header.gauge_at == "tank"
    assert only("B-07/logs/20260504T0940*.csv").header.sheet_C > 40.0
    film = only("B-07/logs/20260505T0915*.csv")
    assert slope(film, 250.0, 290.0) > 4.0 * slope(film, 160.0, 230.0)
    dial = only("B-07/logs/20260505T0930*.csv")
    assert np.median(np.diff(dial.elapsed_s)) == pytest.approx(20.0, abs=0.5)
    assert dial.raw == ()
    assert only("B-07/logs/20260505T0950*.csv").raw[-1].endswith("mbar")
    assert only("B-07/logs/20260505T1005*.csv").unread > 3
    assert np.diff(only("B-07/logs/20260505T1020*.csv").elapsed_s).min() < -30.0
    assert only("B-07/logs/20260505T1050*.csv").header.barometer_kPa is None


def test_b07_the_dumped_gas_warms_after_the_valve_is_shut():
    log = only("B-07/logs/20260505T0900*.csv")
    early, late = slope(log, 18.0, 24.0), slope(log, 60.0, 120.0)
    assert early > 5.0 * late


def test_b08_the_weak_hold_comes_first_and_the_plug_makes_it_faster():
    weak, plain, plug = (read_log(p) for p in sorted(SAMPLES.glob("B-08/logs/*.csv")))
    assert np.min(weak.reading[weak.elapsed_s < 165.0]) > 65.0
    assert plug.header.plug_drill_mm == 0.5
    assert slope(plug, 110.0, 150.0) > 1.5 * slope(plain, 110.0, 150.0)
