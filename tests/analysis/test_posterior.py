"""The posterior on holds whose leak is known: made by scipy's integrator, not by the model under test."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest

from acquisition.records import Uncertain
from analysis.engine import Prior
from analysis.laws import family
from analysis.looking import look
from analysis.posterior import Members, explore, make_members
from analysis.priors import NO_LEAK_PRIOR, release_priors
from analysis.readings import observe
from tests.analysis.made_holds import BOX, PER_MM2, PLAIN, SHUT_S, Made, laminar, log_of, nozzle

DIGITAL = ("absolute kPa", 0.1, 0.03)
FINE = ("absolute kPa", 0.001, 0.003)
DIAL = ("vacuum inHg", 0.5, 0.02)


@lru_cache(maxsize=32)
def posterior(made, gauge=DIGITAL, wood="none", stages=PLAIN, known_pump=False):
    t, p = made.run(*stages)
    unit, step, noise = gauge
    log = log_of(t, p, unit, step, noise=noise, wood=wood, accuracy=0.02, volume_L=Uncertain(made.litres, 0.001))
    seen = look(log, BOX if known_pump else None)
    assert seen.refusal is None, seen.refusal
    windows = list(seen.windows)
    observed, course = observe([seen.trace], [windows], [0.0], seen.view.noise_pa)
    return explore(course, observed, make_members(release_priors(seen.trace, [(seen.trace, w) for w in windows], True)))


def rate(found):
    """Median rate of rise Pa/s, and the ends of its 95 %."""
    density = found.density.sum(axis=0)
    cdf = np.cumsum(density) / density.sum()
    return tuple(float(np.exp(np.interp(q, cdf, found.ln_rate))) for q in (0.5, 0.025, 0.975))


def planted(made):
    return made.area_mm2 * PER_MM2 / (made.litres * 1e-3)


def kinds(found):
    mass = found.density.sum(axis=1)
    out = dict.fromkeys(("hole", "between", "seep"), 0.0)
    for m, law in zip(mass, found.members.laws, strict=True):
        if law is not None:
            out[law.kind] += float(m / mass.sum())
    return out


CASES = [
    (Made(0.1), DIGITAL), (Made(0.1, laminar), DIGITAL), (Made(0.02), DIGITAL), (Made(0.6), DIGITAL), (Made(0.1), DIAL),
    (Made(0.6, laminar), DIAL), (Made(2.0, speed_L_s=5.0, litres=20.0), DIGITAL),
]  # fmt: skip


@pytest.mark.parametrize(("made", "gauge"), CASES)
def test_a_known_leak_is_found(made, gauge):
    found = posterior(made, gauge)
    value, low, high = rate(found)
    # One per cent is left for this box's gas, which knows no heat, and for laws at the very ends of the family.
    assert low * 0.99 < planted(made) < high * 1.01
    assert value == pytest.approx(planted(made), rel=0.08)
    assert found.no_leak < 0.02


@pytest.mark.parametrize(("made", "gauge"), CASES)
def test_probabilities_sum_to_one(made, gauge):
    found = posterior(made, gauge)
    assert found.density.sum() + found.no_leak == pytest.approx(1.0)
    assert np.all(found.density >= 0.0)
    assert found.weight.sum() == pytest.approx(1.0)
    assert np.all(np.diff(found.ln_rate) > 0.0)


def test_blurrier_readings_widen_the_interval():
    widths = []
    for gauge in (FINE, ("absolute kPa", 0.1, 0.15), ("absolute kPa", 1.0, 1.0)):
        value, low, high = rate(posterior(Made(0.1), gauge))
        widths.append((high - low) / value)
    assert widths[0] < widths[1] < widths[2]


def test_a_longer_hold_narrows_it():
    narrow, wide = (
        rate(posterior(Made(0.05), stages=(*PLAIN[:3], ("hold", s), ("let-up", 15.0)))) for s in (300.0, 60.0)
    )
    assert (narrow[2] - narrow[1]) < 0.7 * (wide[2] - wide[1])


def test_no_leak_is_told_as_none():
    # The level is the known pump's own ultimate: it held no leak up.
    found = posterior(Made(0.0), ("absolute kPa", 0.1, 0.05), known_pump=True)
    assert found.no_leak > 5.0 * NO_LEAK_PRIOR
    assert found.density.sum() + found.no_leak == pytest.approx(1.0)
    assert found.weight.sum() == pytest.approx(1.0)
    # What may still be there is less than a rise of 0.1 kPa over the hold: 0.4 Pa/s.
    assert rate(found)[2] < 1.0


@pytest.mark.parametrize(("law", "kind"), [(nozzle, "hole"), (laminar, "seep")])
def test_a_rise_to_near_the_room_tells_the_law(law, kind):
    found = posterior(Made(0.5, law))
    assert kinds(found)[kind] > 0.9
    assert found.members.laws[found.best].kind == kind


def test_a_short_low_rise_does_not():
    probabilities = kinds(posterior(Made(0.03), ("absolute kPa", 0.1, 0.1)))
    assert max(probabilities.values()) < 0.95


def test_the_woods_air_is_kept_apart_from_the_leak():
    # 0.03 of the box's volume in the pores, 900 Pa of moisture, 0.02 mm2: the raw slope is far more than the leak's.
    made = Made(0.02, pore_litres=0.96, pore_rate=3e-3, moist_pa=900.0)
    t, p = made.run(*PLAIN)
    raw = (p[(t > SHUT_S) & (t < 371)][-1] - p[t == SHUT_S][0]) / 240.0
    assert raw > 1.35 * planted(made)
    value, low, high = rate(posterior(made, FINE, "bare"))
    assert low < planted(made) < high
    assert value < 0.9 * raw


def test_one_log_gives_one_answer():
    made = Made(0.1)
    first = posterior(made)
    posterior.cache_clear()
    second = posterior(made)
    np.testing.assert_array_equal(first.density, second.density)
    assert first.best == second.best


def test_the_peaks_curve_goes_through_the_readings():
    found = posterior(Made(0.1), FINE)
    gap = found.observed.y_pa - found.fitted.mu[found.best]
    assert np.abs(gap).max() < 15.0


# --- the family ------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def members() -> Members:
    seen = look(log_of(*Made(0.1).run(*PLAIN), step=0.1, volume_L=Uncertain(32.0, 0.3)), None)
    return make_members(release_priors(seen.trace, [(seen.trace, w) for w in seen.windows], True))


def test_laws_and_ways_of_the_wood_are_crossed(members):
    # Unknown wood behaves in three ways; eight laws and no leak at all: twenty-seven members.
    assert len(members.laws) == len(members.variants) == 27
    assert members.weight.sum() == pytest.approx(1.0)
    idle = [law is None for law in members.laws]
    assert members.weight[idle].sum() == pytest.approx(NO_LEAK_PRIOR)
    hole = sum(w for w, law in zip(members.weight, members.laws, strict=True) if law is not None and law.kind == "hole")
    seep = sum(w for w, law in zip(members.weight, members.laws, strict=True) if law is not None and law.kind == "seep")
    assert hole == pytest.approx(seep)


def test_a_part_of_the_family_keeps_its_members(members):
    part = members.only(np.array([2, 26]))
    assert part.laws == (members.laws[2], members.laws[26])
    assert part.variants == (members.variants[2], members.variants[26])
    np.testing.assert_array_equal(part.weight, members.weight[[2, 26]])
    assert isinstance(part.prior, Prior)
    np.testing.assert_array_equal(part.prior.mean, members.prior.mean[[2, 26]])
    assert part.tables.leaks.tolist() == [1.0, 0.0]


def test_a_family_may_be_named():
    seen = look(log_of(*Made(0.1).run(*PLAIN), step=0.1, wood="none", volume_L=Uncertain(32.0, 0.3)), None)
    one = make_members(release_priors(seen.trace, [(seen.trace, w) for w in seen.windows], True), [family()[0]])
    assert [law and law.kind for law in one.laws] == ["hole", None]
    assert one.weight[0] == pytest.approx(1.0 - NO_LEAK_PRIOR)
