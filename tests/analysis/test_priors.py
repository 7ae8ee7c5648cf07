"""What is believed of a hold before its readings agrees with what is known of wood, pumps and gauges."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from acquisition.records import Baffles
from analysis.phases import HoldSeen
from analysis.priors import rate_of_area, release_priors
from analysis.readings import Window
from analysis.sweep import LN_MOIST, LN_PORE, LN_TAU_MOIST, LN_WARMTH, NCOMMON, PER_HOLD, PORE_FILL, ZERO
from analysis.trace import make_trace
from tests.analysis.made_holds import BOX, plain_log


def window(shut_s=130.0, bottom_s=70.0):
    return Window(shut_s, shut_s + 200.0, shut_s, HoldSeen(shut_s, shut_s, shut_s + 200.0, bottom_s, 10.0, 8e4, True))


def priors(wood="bare", windows=None, fresh=True, **header):
    made = make_trace(plain_log(**({"wood": wood} | header)), replace(BOX, wood=None, baffles=Baffles()))
    return {p.name: p for p in release_priors(made, [(made, w) for w in windows or [window()]], fresh)}


def middle(prior, place):
    """Median and the ends of the middle 95 % of a logarithm's own value."""
    return tuple(np.exp(prior.mean[place] + z * prior.sd[place]) for z in (0.0, -1.96, 1.96))


@pytest.mark.parametrize("wood", ["bare", "coated", "none", None])
def test_the_ways_the_wood_may_behave_are_all_there_are(wood):
    ways = priors(wood).values()
    assert sum(p.weight for p in ways) == pytest.approx(1.0)
    assert all(np.isfinite(p.mean).all() and np.all(p.sd > 0.0) for p in ways)


def test_unknown_wood_is_possibly_bare():
    unknown, bare = priors(None), priors("bare")
    assert unknown["bare"].weight > 0.2
    np.testing.assert_allclose(unknown["bare"].mean, bare["bare"].mean)


def test_a_rate_of_rise_is_the_choked_flow_over_the_volume():
    # 20.126 Pa m3/s per mm2 at 20 C and one atmosphere, on 32 L: 628.9 Pa/s.
    assert rate_of_area(make_trace(plain_log(), BOX), 1e-6) == pytest.approx(628.9, abs=0.5)
    with pytest.raises(ValueError, match="volume"):
        rate_of_area(make_trace(plain_log(), None), 1e-6)


def test_moisture_of_bare_wood_covers_what_was_measured():
    # Design: up to 1.0-1.5 kPa at 20 C, 5 to 120 s.
    size, low, high = middle(priors()["bare"], LN_MOIST)
    assert low < 300.0 < size * 3.0
    assert 1500.0 < high < 10_000.0
    tau, quick, slow = middle(priors()["bare"], LN_TAU_MOIST)
    assert quick < 8.0
    assert 8.0 < tau < 60.0
    assert slow > 100.0


def test_warm_wood_gives_off_as_much_more_as_its_vapour_pressure_rises():
    # WMO's tables of saturation: 2339 Pa at 20 C, 12 352 Pa at 50 C, a factor of 5.28.
    cold, warm = (priors(wood_C=c)["bare"].mean[LN_MOIST] for c in (20.0, 50.0))
    assert np.exp(warm - cold) == pytest.approx(5.28, rel=0.01)


def test_stored_air_of_bare_wood_covers_what_was_measured():
    # 0.9 to 1.6 L per m2: on 0.936 m2 and 32 L a share of 0.026 to 0.047.
    share, low, high = middle(priors()["bare"], LN_PORE)
    assert low < 0.026
    assert 0.026 < share < 0.047
    assert high > 0.047


@pytest.mark.parametrize("way", ["coated", "quiet"])
def test_coated_wood_stores_next_to_nothing(way):
    all_ways = priors("coated")
    assert middle(all_ways[way], LN_PORE)[0] < 0.1 * middle(priors()["bare"], LN_PORE)[0]


def test_a_vessel_without_wood_gives_off_nothing_to_speak_of():
    (none,) = priors("none").values()
    # 1 Pa of moisture and 0.1 per mille of stored air (10 Pa) at most: beneath any gauge of a workshop.
    assert middle(none, LN_MOIST)[2] < 1.0
    assert middle(none, LN_PORE)[2] < 2e-4


def test_pores_are_full_when_the_log_begins_at_the_room():
    fresh, later = priors(fresh=True)["bare"], priors(fresh=False)["bare"]
    assert (fresh.mean[PORE_FILL], fresh.sd[PORE_FILL]) == (1.0, pytest.approx(0.03))
    assert later.sd[PORE_FILL] > 0.2


def test_warmth_is_the_inside_over_a_heat_transfer_of_still_gas():
    # h 1.5 to 4 W/m2K: V / (h A T) of 32 L and 0.936 m2 lies between 0.032 / (4 x 0.936 x 293) and the same by 1.5.
    at, low, high = middle(priors()["bare"], LN_WARMTH)
    assert low < 0.032 / (4.0 * 0.936 * 293.15) < at < 0.032 / (1.5 * 0.936 * 293.15) < high


def lack_after(t_s, p_pa, shut_s, bottom_s):
    """Mean and standard deviation of what the gas lacks at the shut of a bare 32 L box that went through pressures."""
    made = replace(make_trace(plain_log(wood="bare"), BOX), t_s=np.asarray(t_s), p_pa=np.asarray(p_pa))
    hold = Window(shut_s, shut_s + 100.0, shut_s, HoldSeen(shut_s, shut_s, shut_s + 100.0, bottom_s, 10.0, 7e4, True))
    bare = {p.name: p for p in release_priors(made, [(made, hold)], True)}["bare"]
    return bare.mean[NCOMMON + 1], bare.sd[NCOMMON + 1]


def test_gas_that_went_at_once_is_as_cold_as_an_isentrope():
    # 101 325 to 30 000 Pa in a twentieth of a second: T = T0 (0.2961)**(2/7) = 0.7064 T0.
    lack, sd = lack_after([0.0, 10.0, 10.05, 11.0], [101_325.0, 101_325.0, 30_000.0, 30_000.0], 10.05, 10.05)
    assert lack == pytest.approx(30_000.0 * (1.0 - 0.7064), rel=0.02)
    assert 0.3 * lack < sd < lack


def test_gas_drawn_by_a_pump_is_a_little_cold_and_warm_again_after_a_soak():
    # Design: 8 to 22 K, back within seconds; at 20 kPa that is 0.5 to 1.5 kPa at most.
    t = np.arange(0.0, 300.0)
    p = 8_000.0 + 93_325.0 * np.exp(-np.maximum(t - 10.0, 0.0) / 15.0)
    at_once, after_a_soak = lack_after(t, p, 40.0, 40.0), lack_after(t, p, 160.0, 70.0)
    assert 100.0 < at_once[0] < 1500.0
    assert abs(after_a_soak[0]) < 30.0
    assert after_a_soak[1] < 30.0


def test_gas_that_a_tanks_soak_let_fill_is_warm():
    # m cp dT/dt = V dp/dt - h A (T - Tw), steady: T - Tw = V dp/dt / (h A) = 0.032 x 200 / (2.5 x A).
    t = np.arange(0.0, 120.0)
    p = np.where(t < 11.0, 101_325.0, 30_000.0 + 200.0 * (t - 11.0))
    lack, _ = lack_after(t, p, 110.0, 12.0)
    kelvin = 0.032 * 200.0 / (2.5 * make_trace(plain_log(wood="bare"), BOX).wood_area_m2)
    assert lack == pytest.approx(-kelvin / 293.15 * p[110], rel=0.1)


def test_a_fast_fills_warmth_at_the_shut_is_no_surer_than_the_shut():
    # 2 kPa/s and a reading every 2 s: 0.4 x 2000 x 2 / sqrt(12) = 462 Pa; the soak alone leaves 3 Pa.
    t = np.arange(0.0, 300.0, 2.0)
    p = 20_000.0 + np.where(t > 120.0, 2000.0 * (t - 120.0), 0.0).clip(0.0, 60_000.0)
    assert lack_after(t, p, 120.0, 20.0)[1] == pytest.approx(462.0, rel=0.01)
    assert lack_after(t, p, 60.0, 20.0)[1] < 10.0


def test_the_zero_is_as_sure_as_the_trace_says():
    made = make_trace(plain_log(accuracy=0.5, barometer_kPa=None, wood="bare"), BOX)
    (bare, *_) = release_priors(made, [(made, window())], True)
    assert bare.sd[ZERO] == pytest.approx(made.u_zero_pa)


def test_every_hold_has_its_own_start_and_the_last_the_common_leak():
    two = priors(windows=[window(130.0), window(430.0, 370.0)])["bare"]
    assert two.mean.size == NCOMMON + 2 * PER_HOLD
    # Holds of a session repeat within 3-5 %; the last one is the answer itself.
    assert 0.02 < two.sd[NCOMMON + 2] < 0.06
    assert two.sd[NCOMMON + PER_HOLD + 2] < 0.001
