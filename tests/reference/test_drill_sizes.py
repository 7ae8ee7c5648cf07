"""Twist-drill sizes against tables of other origin, and the ways from a hole to a drill and back."""

from __future__ import annotations

from itertools import pairwise
from math import pi

import pytest

from analysis import gas
from analysis.drills import DRILLS, INCH_M, drill_named, drills_around, nearest_drill
from tests.reference import flows

MM = 1e-3


@pytest.mark.parametrize(("name", "inch"), flows.rows("drill_sizes_inch.csv")[1:])
def test_number_and_letter_sizes(name, inch):
    assert drill_named(name).diameter_m == pytest.approx(float(inch) * INCH_M, abs=1e-9)


# Metric sizes from machinists' charts, rounded to 0.01 mm (from memory).
@pytest.mark.parametrize(("name", "mm"), [
    ("#80", 0.34), ("#72", 0.64), ("#70", 0.71), ("#69", 0.74), ("#60", 1.02), ("#53", 1.51), ("#1", 5.79), ("A", 5.94),
    ("Z", 10.49), ("1/64", 0.40), ("1/16", 1.59), ("1/2", 12.70),
])  # fmt: skip
def test_metric_sizes(name, mm):
    assert drill_named(name).diameter_m == pytest.approx(mm * MM, abs=0.0051 * MM)


def test_all_series_are_whole_and_in_order():
    by_series = {name: [d for d in DRILLS if d.series == name] for name in ("number", "letter", "fraction")}
    assert {name: len(drills) for name, drills in by_series.items()} == {"number": 80, "letter": 26, "fraction": 32}
    for drills in by_series.values():
        sizes = [drill.diameter_m for drill in drills]
        assert all(a < b for a, b in pairwise(sizes))
    assert [d.name for d in by_series["number"]] == [f"#{n}" for n in range(80, 0, -1)]
    assert by_series["number"][-1].diameter_m < by_series["letter"][0].diameter_m
    assert drill_named("E").diameter_m == pytest.approx(0.25 * INCH_M)
    assert drill_named("1/4").diameter_m == pytest.approx(0.25 * INCH_M)


@pytest.mark.parametrize(("text", "name"), [
    ("57", "#57"), (" #57 ", "#57"), ("no. 57", "#57"), ("f", "F"), ("3/32", "3/32"), ("1/16 in", "1/16"),
])  # fmt: skip
def test_names_as_people_write_them(text, name):
    assert drill_named(text).name == name


@pytest.mark.parametrize("text", ["", "81", "0", "AA", "33/64", "2/32", "1.5"])
def test_no_such_drill(text):
    assert drill_named(text) is None


@pytest.mark.parametrize("drill", DRILLS, ids=lambda drill: drill.name)
def test_every_drill_is_nearest_to_its_own_hole_both_ways(drill):
    under, over = drills_around(drill.diameter_m, drill.series)
    assert under == over == nearest_drill(drill.diameter_m, drill.series) == drill
    area = gas.drilled_area_m2(drill.diameter_m)
    assert nearest_drill(gas.drilled_hole_m(area), drill.series) == drill


def test_between_two_drills():
    # 1 mm lies between #61 (0.991) and #60 (1.016).
    under, over = drills_around(1.0 * MM)
    assert (under.name, over.name, nearest_drill(1.0 * MM).name) == ("#61", "#60", "#61")
    assert nearest_drill(1.0 * MM, "fraction").name == "3/64"


def test_past_the_ends():
    assert drills_around(0.1 * MM) == (None, drill_named("#80"))
    assert drills_around(20.0 * MM) == (drill_named("1/2"), None)


# Plain areas in mm2 of the inch sizes, and their choked throughput at Cd 1 in Pa m3/s (20.126 per mm2).
@pytest.mark.parametrize(("name", "mm2", "throughput"), [
    ("#80", 0.0923, 1.859), ("#70", 0.3973, 7.995), ("#60", 0.8107, 16.32), ("#50", 2.483, 49.97),
    ("#40", 4.866, 97.94), ("#30", 8.367, 168.4),
])  # fmt: skip
def test_areas_and_throughputs(name, mm2, throughput):
    area = pi / 4.0 * drill_named(name).diameter_m ** 2
    assert area * 1e6 == pytest.approx(mm2, rel=6e-4)
    assert gas.choked_throughput_pa_m3_s(area, 101_325.0, 293.15) == pytest.approx(throughput, rel=6e-4)
    assert gas.drilled_area_m2(drill_named(name).diameter_m, 1.0) == pytest.approx(area)
