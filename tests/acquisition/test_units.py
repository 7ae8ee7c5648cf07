"""Pressure units against published factors, and the way there and back."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquisition.errors import WrongUsage
from acquisition.units import PA_PER, GaugeUnit, from_absolute_pa, parse_gauge_unit, parse_unit, to_absolute_pa

# NIST Special Publication 811 (2008), appendix B.8, as many digits as printed there.
NIST_SP_811 = {
    "bar": 1.0e5,
    "mbar": 1.0e2,
    "inHg": 3.386389e3,
    "mmHg": 1.333224e2,
    "Torr": 1.333224e2,
    "psi": 6.894757e3,
    "inH2O": 2.490889e2,
    "mmH2O": 9.80665,
}


@pytest.mark.parametrize(("unit", "pa"), NIST_SP_811.items())
def test_factors_are_the_published_ones(unit: str, pa: float) -> None:
    assert PA_PER[unit] == pytest.approx(pa, rel=5e-7)


@pytest.mark.parametrize(
    ("text", "unit"),
    [("kpa", "kPa"), ("in Hg", "inHg"), ('"Hg', "inHg"), (" mm  Hg ", "mmHg"), ("TORR", "Torr"), ("millibar", "mbar"),
     ("MPa", "MPa"), ("Mpa", "MPa"), ("psia", "psi"), ("inWC", "inH2O")],
)
def test_spellings(text: str, unit: str) -> None:
    assert parse_unit(text) == unit


@pytest.mark.parametrize("text", ["", "furlong", "mPa", "kPa abs", "5"])
def test_what_is_no_unit(text: str) -> None:
    with pytest.raises(WrongUsage, match="no pressure unit"):
        parse_unit(text)


@pytest.mark.parametrize("text", ["kPa", "absolute", "", "relative kPa"])
def test_a_gauge_must_say_what_it_counts_from(text: str) -> None:
    with pytest.raises(WrongUsage):
        parse_gauge_unit(text)


@pytest.mark.parametrize(
    ("gauge", "reading", "pa"),
    [
        ("absolute kPa", 20.0, 20_000.0),
        ("vacuum inHg", 25.0, 101_325.0 - 25 * 3386.389),
        ("gauge mbar", -800.0, 21_325.0),
    ],
)
def test_absolute_pressure_of_each_reference(gauge: str, reading: float, pa: float) -> None:
    assert to_absolute_pa(reading, parse_gauge_unit(gauge), 101_325.0) == pytest.approx(pa, rel=1e-12)


@given(
    st.floats(1.0, 2e5),
    st.builds(GaugeUnit, st.sampled_from(["absolute", "vacuum", "gauge"]), st.sampled_from(sorted(PA_PER))),
    st.floats(5e4, 1.1e5),
)
def test_there_and_back(p_pa: float, unit: GaugeUnit, room_pa: float) -> None:
    back = to_absolute_pa(from_absolute_pa(p_pa, unit, room_pa), unit, room_pa)
    assert math.isclose(back, p_pa, rel_tol=1e-9, abs_tol=1e-6)


def test_arrays_convert_as_numbers_do() -> None:
    unit = parse_gauge_unit("vacuum kPa")
    assert to_absolute_pa(np.array([0.0, 80.0]), unit, 100_000.0).tolist() == [100_000.0, 20_000.0]


def test_a_gauge_unit_is_written_as_it_is_read() -> None:
    assert str(parse_gauge_unit("Vacuum  inhg")) == "vacuum inHg"
    assert parse_gauge_unit("gauge bar").needs_barometer
    assert not parse_gauge_unit("absolute bar").needs_barometer


def test_a_misspelt_reference_is_named() -> None:
    with pytest.raises(WrongUsage, match="'absolut' in 'absolut kPa' is not known; is it absolute"):
        parse_gauge_unit("absolut kPa")
