"""Plate coefficients against Roark's Formulas for Stress and Strain, table 11.4, cases 1a and 8a, and against series
solved here; sizes of twist drills are checked elsewhere."""

import numpy as np
import pytest

from analysis.panels import plate_coefficients, swept_volume_per_pa

# a/b: (beta, alpha), simply supported, uniform load, Poisson's ratio 0.3 (Roark case 1a)
ROARK_1A = {
    1.0: (0.2874, 0.0444), 1.2: (0.3762, 0.0616), 1.4: (0.4530, 0.0770), 1.6: (0.5172, 0.0906), 1.8: (0.5688, 0.1017),
    2.0: (0.6102, 0.1110), 3.0: (0.7134, 0.1335), 4.0: (0.7410, 0.1400), 5.0: (0.7476, 0.1417), 1e9: (0.7500, 0.1421),
}
# the same, all edges clamped (Roark case 8a)
ROARK_8A = {
    1.0: (0.3078, 0.0138), 1.2: (0.3834, 0.0188), 1.4: (0.4356, 0.0226), 1.6: (0.4680, 0.0251), 1.8: (0.4872, 0.0267),
    2.0: (0.4974, 0.0277), 1e9: (0.5000, 0.0284),
}
# Timoshenko and Woinowsky-Krieger, Theory of Plates and Shells, table 8: w = alpha q a^4 / D (from memory)
TIMOSHENKO_8 = {1.1: 0.00485, 1.3: 0.00638, 1.5: 0.00772, 1.7: 0.00883, 1.9: 0.00974}
NU = 0.3


@pytest.mark.parametrize(("ratio", "row"), ROARK_1A.items())
def test_roark_simply_supported(ratio: float, row: tuple[float, float]) -> None:
    assert plate_coefficients(ratio, "simply supported") == pytest.approx(row, rel=1e-6)


@pytest.mark.parametrize(("ratio", "row"), ROARK_8A.items())
def test_roark_clamped(ratio: float, row: tuple[float, float]) -> None:
    assert plate_coefficients(ratio, "clamped") == pytest.approx(row, rel=1e-6)


def navier(ratio: float) -> tuple[float, float]:
    """(beta, alpha) of the simply supported plate by Navier's double sine series, b 1 and a ``ratio``."""
    odd = np.arange(1, 400, 2)
    m, n = np.meshgrid(odd, odd)
    sign = np.where((m + n) // 2 % 2 == 1, 1.0, -1.0)
    q = (m / ratio) ** 2 + n**2.0
    w = 16.0 / np.pi**6 * np.sum(sign / (m * n * q**2))
    moment = 16.0 / np.pi**4 * np.sum(sign * (n**2.0 + NU * (m / ratio) ** 2) / (m * n * q**2))
    return 6.0 * float(moment), 12.0 * (1.0 - NU**2) * float(w)


@pytest.mark.parametrize("ratio", [1.0, 1.1, 1.2, 1.3, 1.5, 1.7, 2.0, 2.4, 3.0, 3.5, 4.0, 5.0, 8.0])
def test_series_solved_here(ratio: float) -> None:
    """Roark's own rows are up to 0.5 % off the series; straight lines between rows add up to 1.2 %."""
    assert plate_coefficients(ratio, "simply supported") == pytest.approx(navier(ratio), rel=0.017)


@pytest.mark.parametrize(("ratio", "alpha"), TIMOSHENKO_8.items())
def test_timoshenko_between_roarks_rows(ratio: float, alpha: float) -> None:
    roark = plate_coefficients(ratio, "simply supported")[1]
    assert roark / (12.0 * (1.0 - NU**2)) == pytest.approx(alpha, rel=0.017)


def clamped(ratio: float, terms: int = 7) -> float:
    """alpha of the clamped plate by Ritz's method with clamped-beam cosines, b 1 and a ``ratio``."""
    index = [(i, j) for i in range(1, terms + 1) for j in range(1, terms + 1)]
    pi2 = 2.0 * np.pi
    stiffness = np.zeros((len(index), len(index)))
    for r, (i, j) in enumerate(index):
        for s, (k, n) in enumerate(index):
            # w = sum W (1 - cos 2 pi i x/a)(1 - cos 2 pi j y/b): integrals of products over the plate
            same_i, same_j = (i == k) * 0.5, (j == n) * 0.5
            x0, y0 = 1.0 + same_i, 1.0 + same_j
            x2, y2 = (pi2 * i / ratio) ** 2 * same_i, (pi2 * j) ** 2 * same_j
            x4, y4 = (pi2 * i / ratio) ** 4 * same_i, (pi2 * j) ** 4 * same_j
            stiffness[r, s] = x4 * y0 + y4 * x0 + 2.0 * x2 * y2
    amplitudes = np.linalg.solve(stiffness, np.ones(len(index)))
    middle = sum(w * (1 - (-1) ** i) * (1 - (-1) ** j) for w, (i, j) in zip(amplitudes, index, strict=True))
    return 12.0 * (1.0 - NU**2) * float(middle)


@pytest.mark.parametrize("ratio", [1.0, 1.2, 1.4, 1.6, 1.8, 2.0])
def test_clamped_bow_by_ritz(ratio: float) -> None:
    assert plate_coefficients(ratio, "clamped")[1] == pytest.approx(clamped(ratio), rel=0.015)


def test_volume_under_a_square_plate() -> None:
    # 0.4191 of the middle's bow times the area (series, computed for the trade notes); bow 0.0444 q b^4 / (E t^3)
    bow = 0.0444 * 0.6**4 / (7.0e9 * 0.018**3)
    assert swept_volume_per_pa(0.6, 0.6, 0.018, 7.0e9) == pytest.approx(0.4191 * bow * 0.36, rel=0.005)


def test_volume_under_a_long_strip() -> None:
    # a simply supported strip's mean bow is 16/25 of its middle's: 0.64 * 0.1421 q b^4 / (E t^3), less its two ends
    swept = swept_volume_per_pa(0.2, 6.0, 0.018, 7.0e9)
    assert swept == pytest.approx(0.64 * 0.1421 * 0.2**4 / (7.0e9 * 0.018**3) * 1.2, rel=0.05)
