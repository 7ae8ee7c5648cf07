from dataclasses import replace

import pytest

from acquisition.records import Uncertain
from analysis.results import Assessment, Interval
from analysis.volume import shared_volume, volume_by_hole

TANK = Uncertain(0.050, 0.0005)


def test_boyle() -> None:
    # a 50 L tank at 12 kPa and a 30 L box at 100 kPa meet at (600 + 3000) / 80 = 45 kPa
    result = shared_volume(TANK, 100_000.0, 12_000.0, 45_000.0)
    assert result.volume_m3 is not None
    assert result.volume_m3.value == pytest.approx(0.030)
    # squares of 0.01 (tank), 100/55000, 100/33000 and their sum for the common reading: 1.166 %, times 1.96
    assert result.volume_m3.high / result.volume_m3.value - 1.0 == pytest.approx(0.0231, abs=0.0005)
    assert result.volume_m3.low < 0.030 < result.volume_m3.high


def test_sharing_works_from_an_empty_box_too() -> None:
    result = shared_volume(TANK, 12_000.0, 100_000.0, 67_000.0)
    assert result.volume_m3 is not None
    assert result.volume_m3.value == pytest.approx(0.030)


@pytest.mark.parametrize(
    ("before", "after", "words"),
    [
        ((100_000.0, 12_000.0), 11_000.0, "must lie between"),
        ((100_000.0, 12_000.0), 101_000.0, "must lie between"),
        ((100_000.0, 12_000.0), 12_100.0, "moved too little"),
        ((-1.0, 12_000.0), 5_000.0, "under nothing"),
    ],
)
def test_sharing_that_cannot_be(before: tuple[float, float], after: float, words: str) -> None:
    result = shared_volume(TANK, *before, after)
    assert (result.outcome, result.volume_m3) == ("refused", None)
    assert words in (result.reason or "")


def hold(area_mm2: float, volume: float | None = 0.040, half: float = 0.01) -> Assessment:
    area = Interval(area_mm2 * 1e-6, (area_mm2 - half) * 1e-6, (area_mm2 + half) * 1e-6)
    return Assessment(
        log="a.csv", box="B", setup="vents-taped", sealed=(), open_paths=(), started=None, outcome="estimate",
        reason=None, advice="", verdict="no-limit", limit=None, test="hold", area_m2=area,
        area_fit_m2=area, volume_m3=volume,
    )


def test_a_known_hole_gives_the_volume_whatever_was_assumed() -> None:
    # true volume 30 L, leak 0.2 mm2, hole 0.65 mm2: with 40 L assumed the holds read 4/3 of the truth
    plain, open_hole = hold(0.2 * 4 / 3), hold(0.85 * 4 / 3)
    result = volume_by_hole(plain, open_hole, 0.65e-6)
    assert result.volume_m3 is not None
    assert result.volume_m3.value == pytest.approx(0.030)
    # 3 % of the hole and 0.0072 / 0.867 of the difference: 3.1 %, times 1.96
    assert result.volume_m3.high / 0.030 - 1.0 == pytest.approx(0.063, abs=0.002)
    elsewhere = volume_by_hole(plain, hold(0.85, volume=0.030), 0.65e-6)
    assert elsewhere.volume_m3 is not None
    assert elsewhere.volume_m3.value == pytest.approx(0.030)


def test_a_hole_that_does_not_stand_out_is_refused() -> None:
    result = volume_by_hole(hold(1.0, half=0.2), hold(1.1, half=0.2), 0.1e-6)
    assert result.outcome == "refused"
    assert "does not stand out" in (result.reason or "")
    assert volume_by_hole(hold(1.0), hold(0.9), 0.1e-6).outcome == "refused"
    assert volume_by_hole(hold(1.0), hold(1.9), 0.0).outcome == "refused"


def test_a_refused_hold_gives_no_volume() -> None:
    lame = replace(hold(1.0), outcome="refused", area_m2=None, area_fit_m2=None, reason="the gauge stood still")
    result = volume_by_hole(hold(1.0), lame, 1e-6)
    assert "log with the hole gives no area: the gauge stood still" in (result.reason or "")
