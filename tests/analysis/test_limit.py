"""Figures: three tenths of 1.4 L/s net at 20 kPa is 0.42 mm2 (trade notes); 1 inHg in 5 min in 20, 60, 150 L
is 0.0112, 0.0337, 0.0841 mm2 (computed for the trade notes with 20.126 Pa m3/s per mm2)."""

from dataclasses import replace

import pytest

from acquisition.records import Box, Pump, Tank, Vents
from analysis.forming import DETAIL_S, case_of, leak_cost_pa
from analysis.limit import chance_within, lean, limit_for, parts_limit, pump_limit, verdict_for, workmanship_mark_m2
from analysis.results import Interval, Limit

MM2 = 1e-6
LIMIT = Limit(0.40 * MM2, "pump")


def mm2(value: float, low: float, high: float) -> Interval:
    return Interval(value * MM2, low * MM2, high * MM2)


def test_three_tenths_of_the_pump_at_working_vacuum() -> None:
    # S (1 - 8/20) = 1.4 L/s, so S = 7/3 L/s
    limit = limit_for(Box("B", pump=Pump(7.0 / 3.0, 8.0), working_kPa=20.0))
    assert limit is not None
    assert limit.source == "pump"
    assert limit.area_m2 == pytest.approx(0.4174 * MM2, rel=1e-3)


def test_working_vacuum_defaults_to_a_fifth_of_the_room() -> None:
    box = Box("B", pump=Pump(7.0 / 3.0, 8.0))
    stated = replace(box, working_kPa=18.0)
    default, asked = pump_limit(box, 90_000.0), pump_limit(stated, 90_000.0)
    assert default is not None
    assert default == asked


def test_pump_points_are_interpolated() -> None:
    box = Box("B", pump=Pump(points=((10.0, 0.8), (30.0, 2.0))), working_kPa=20.0)
    limit = limit_for(box)
    assert limit is not None
    # halfway: 1.4 L/s at 20 kPa
    assert limit.area_m2 == pytest.approx(0.4174 * MM2, rel=1e-3)


def test_no_pump_no_limit() -> None:
    assert limit_for(None) is None
    assert limit_for(Box("B")) is None
    assert limit_for(Box("B", pump=Pump(1.4, 25.0), working_kPa=20.0)) is None


def test_few_vents_make_the_parts_the_stricter() -> None:
    box = Box("B", (600.0, 600.0, 90.0), board_mm=18.0, vents=Vents(5, 1.0), tank=Tank(100.0), pump=Pump(8.0, 2.0))
    limit, pump = limit_for(box), pump_limit(box)
    assert limit is not None
    assert pump is not None
    assert limit.source == "parts"
    assert limit.area_m2 < pump.area_m2
    case = case_of(box)
    assert case is not None
    cost = leak_cost_pa(replace(case, edge_leak_m2=limit.area_m2), DETAIL_S, 60.0)
    assert cost == pytest.approx(3000.0, rel=0.05)


def test_parts_limit_needs_vents_and_a_volume() -> None:
    assert parts_limit(Box("B", (600.0, 600.0, 90.0), pump=Pump(1.4, 8.0))) is None
    assert parts_limit(Box("B", vents=Vents(50, 1.0), pump=Pump(1.4, 8.0))) is None


@pytest.mark.parametrize(("litres", "area_mm2"), [(20.0, 0.0112), (60.0, 0.0337), (150.0, 0.0841), (32.0, 0.018)])
def test_workmanship_mark(litres: float, area_mm2: float) -> None:
    assert workmanship_mark_m2(litres / 1000.0) == pytest.approx(area_mm2 * MM2, rel=0.005)


@pytest.mark.parametrize(
    ("area", "outcome", "stalled", "verdict"),
    [
        (mm2(0.06, 0.04, 0.099), "estimate", False, "tight"),
        (mm2(0.08, 0.04, 0.10), "estimate", False, "within"),
        (mm2(0.30, 0.20, 0.40), "estimate", False, "within"),
        (mm2(0.50, 0.41, 0.60), "estimate", False, "over"),
        (mm2(0.35, 0.20, 0.61), "estimate", False, "cannot-tell"),
        (mm2(0.50, 0.41, 0.60), "estimate", True, "stalls"),
        (mm2(0.10, 0.08, 0.12), "estimate", True, "within"),
        (mm2(0.01, 0.0, 0.40), "upper-limit", False, "tight"),
        (mm2(0.01, 0.0, 0.41), "upper-limit", False, "cannot-tell"),
    ],
)
def test_verdicts(area: Interval, outcome: str, stalled: bool, verdict: str) -> None:
    assert verdict_for(area, outcome, LIMIT, stalled) == verdict  # type: ignore[arg-type]


def test_verdict_without_limit_or_area() -> None:
    area = mm2(0.5, 0.4, 0.6)
    assert verdict_for(area, "estimate", None) == "no-limit"
    assert verdict_for(area, "estimate", None, stalled=True) == "stalls"
    assert verdict_for(None, "refused", LIMIT) == "no-answer"


def test_over_only_after_the_top_panel_is_taken_off() -> None:
    barely = mm2(0.50, 0.41, 0.60)
    assert verdict_for(barely, "estimate", LIMIT, open_paths=("panel-edges", "top-panel", "closure")) == "cannot-tell"
    assert verdict_for(barely, "estimate", LIMIT, open_paths=("panel-edges", "rim-joint")) == "over"


def test_lean_is_lognormal() -> None:
    # z = ln(0.40/0.28) / (ln(0.61/0.28)/1.96) = 0.8978 -> 0.815; beyond the high end the chance passes 0.975
    side, chance = lean(mm2(0.28, 0.09, 0.61), 0.40 * MM2)
    assert side == "within"
    assert chance == pytest.approx(0.815, abs=0.002)
    assert chance_within(mm2(0.28, 0.09, 0.61), 0.61 * MM2) == pytest.approx(0.975, abs=0.001)
    assert chance_within(mm2(0.28, 0.09, 0.61), 0.09 * MM2) == pytest.approx(0.025, abs=0.001)
    assert lean(mm2(0.6, 0.3, 1.2), 0.40 * MM2)[0] == "over"
