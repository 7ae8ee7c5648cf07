from dataclasses import replace

import pytest

from acquisition.errors import WrongUsage
from acquisition.records import Baffles, Box, Uncertain
from analysis.panels import (
    bay,
    bow_compliance_m3_per_pa,
    box_volume,
    check_top,
    geometric_volume_m3,
    inner_wood_area_m2,
    load_tonnes,
    plate_bow_m,
    plate_stress_pa,
    span_marks_m,
)

BOX = Box("B-17", (640.0, 420.0, 110.0), board_mm=18.0, baffles=Baffles(1, 0))
SQUARE = Box("B-01", (600.0, 600.0, 90.0), board_mm=18.0)


def test_spans_between_walls_and_baffles() -> None:
    one, two = bay(BOX), bay(BOX, extra_x=1)
    assert one is not None
    assert two is not None
    # (640 - 18) / 2 and (640 - 36) / 3
    assert (one.x_m, one.y_m) == (pytest.approx(0.311), pytest.approx(0.420))
    assert two.span_m == pytest.approx(0.2013, abs=1e-4)


@pytest.mark.parametrize(("board", "may", "never"), [(18.0, 0.220, 0.300), (12.0, 0.150, 0.2045), (9.0, 0.0, 0.0)])
def test_span_marks_of_the_trade(board: float, may: float, never: float) -> None:
    assert span_marks_m(board) == pytest.approx((may, never), abs=1e-3)


def test_a_top_that_spans_too_far_is_not_tested_and_a_second_baffle_mends_it() -> None:
    check = check_top(BOX)
    assert check.verdict == "not with this top"
    assert check.baffles_more == (1, 0)
    # 0.640 * 0.420 m2 * 80 kPa / 9.80665 = 2193 kgf
    assert check.load_tonnes == pytest.approx(2.193, abs=0.001)
    assert check_top(BOX, extra_x=1).verdict == "may be tested"
    assert check_top(replace(BOX, inside_mm=(560.0, 420.0, 110.0))).verdict == "warned"


def test_a_thin_board_is_never_tested() -> None:
    check = check_top(replace(BOX, board_mm=9.0))
    assert check.verdict == "not with this top"
    assert check.baffles_more is None


def test_an_unknown_board_gets_no_verdict() -> None:
    check = check_top(replace(BOX, board_mm=None))
    assert (check.verdict, check.bow_m) == ("unknown", None)
    assert check_top(Box("B")).verdict == "unknown"


def test_load_of_the_trade_notes() -> None:
    # 0.6 x 0.6 m carries 2.9 t at 80 kPa
    assert load_tonnes(SQUARE) == pytest.approx(2.94, abs=0.01)


def test_unbraced_600_mm_will_break() -> None:
    # 25 inHg on 600 x 600 x 18: bow 9.8 to 12.0 mm and 27.0 MPa loose, 3.0 to 3.7 mm and 29.0 MPa clamped
    load = 25 * 3386.389
    loose = [plate_bow_m(0.6, 0.6, 0.018, load, e, "simply supported") for e in (8.55e9, 6.96e9)]
    tight = [plate_bow_m(0.6, 0.6, 0.018, load, e, "clamped") for e in (8.55e9, 6.96e9)]
    assert loose == pytest.approx([9.8e-3, 12.0e-3], abs=0.05e-3)
    assert tight == pytest.approx([3.0e-3, 3.7e-3], abs=0.06e-3)
    assert plate_stress_pa(0.6, 0.6, 0.018, load, "simply supported") == pytest.approx(27.0e6, rel=0.003)
    assert plate_stress_pa(0.6, 0.6, 0.018, load, "clamped") == pytest.approx(29.0e6, rel=0.003)
    share = check_top(SQUARE).stress_share
    assert share is not None
    assert share > 2.5


def test_bow_moves_a_well_baffled_box_little_and_an_unbraced_thin_one_much() -> None:
    # design notes: 0.1 to 0.7 % of the area at 20 kPa when well baffled, 4 to 20 % when not
    braced = replace(SQUARE, baffles=Baffles(1, 1))
    thin = replace(SQUARE, board_mm=9.0)
    shares = []
    for box in (braced, thin):
        compliance, volume = bow_compliance_m3_per_pa(box), geometric_volume_m3(box)
        assert compliance is not None
        assert volume is not None
        shares.append(20_000.0 * compliance / volume.value)
    assert 0.0005 < shares[0] < 0.007
    assert 0.04 < shares[1] < 0.20
    assert bow_compliance_m3_per_pa(replace(SQUARE, board_mm=None)) is None


def test_volume_from_the_measures() -> None:
    volume = geometric_volume_m3(BOX)
    assert volume is not None
    # 640 x 420 x 110 less one baffle of 18 x 420 x 90
    assert volume.value == pytest.approx(29.568e-3 - 0.6804e-3)
    assert volume.u / volume.value == pytest.approx(0.03)
    crowded = geometric_volume_m3(replace(BOX, baffles=Baffles(2, 2)))
    assert crowded is not None
    # two of 18 x 420 x 90, two of 18 x 640 x 90, four crossings of 18 x 18 x 90 counted once
    assert crowded.value == pytest.approx(29.568e-3 - 1.3608e-3 - 2.0736e-3 + 0.11664e-3)
    assert crowded.u / crowded.value == pytest.approx(0.05)


def test_measured_volume_wins_and_the_line_joins_geometry() -> None:
    measured = box_volume(replace(BOX, volume_L=Uncertain(31.4, 0.9), line_volume_L=Uncertain(0.4, 0.1)))
    assert measured == Uncertain(pytest.approx(0.0314), pytest.approx(0.0009))  # type: ignore[arg-type]
    with_line = box_volume(replace(BOX, line_volume_L=Uncertain(0.4, 0.1)))
    assert with_line is not None
    assert with_line.value == pytest.approx(0.0292876)
    assert box_volume(Box("B")) is None


def test_wood_inside() -> None:
    # 2 x 0.64 x 0.42 + 2 x 0.11 x 1.06 + one baffle's two faces 2 x 0.09 x 0.42
    assert inner_wood_area_m2(BOX) == pytest.approx(0.5376 + 0.2332 + 0.0756)
    with pytest.raises(WrongUsage, match="inside_mm"):
        inner_wood_area_m2(Box("B"))
