"""Measures of a box on pages in inches: 1 in is 25.4 mm, a US gallon 231 in³, 1 inHg 3.386389 kPa (NIST SP 811)."""

from __future__ import annotations

import pytest

from acquisition.errors import WrongUsage
from analysis.measures import AREA, COUNT, LENGTH, PRESSURE, SPEED, TIME, VOLUME


@pytest.mark.parametrize(
    ("measure", "typed", "kept"),
    [
        (LENGTH, "24", 609.6),
        (LENGTH, "3/4", 19.05),
        (LENGTH, "23 5/8", 600.075),
        (LENGTH, '23-5/8"', 600.075),
        (LENGTH, "0,04", 1.016),
        (VOLUME, "40", 151.416471),
        (SPEED, "4", 1.887790),
        # 24 inHg under a room of 101.325 kPa
        (PRESSURE, "24", 101.325 - 24 * 3.386389),
        (PRESSURE, "0", 101.325),
        (AREA, "1", 0.64516),
        (COUNT, "117", 117.0),
        (TIME, "30", 30.0),
    ],
)
def test_what_is_typed_in_inches_is_kept_in_the_files_units(measure, typed, kept):
    assert measure.read(typed, "inch") == pytest.approx(kept, abs=2e-5)


def test_whole_inches_are_kept_without_crumbs():
    assert LENGTH.read("24", "inch") == 609.6
    assert LENGTH.read("1/16", "inch") == 1.5875


@pytest.mark.parametrize(("measure", "kept"), [(LENGTH, 600.0), (LENGTH, 581.23456789), (VOLUME, 0.4), (PRESSURE, 20.0),
                                               (SPEED, 1.4), (AREA, 0.4512)])  # fmt: skip
@pytest.mark.parametrize("system", ["metric", "inch"])
def test_a_field_left_alone_keeps_the_files_own_number(measure, kept, system):
    assert measure.read(measure.shown(kept, system), system, kept) == kept


@pytest.mark.parametrize(
    ("measure", "kept", "shown"),
    [
        (LENGTH, 600.0, "23.622"),
        (LENGTH, 609.6, "24"),
        (LENGTH, 1.0, "0.0394"),
        (LENGTH, 0.0, "0"),
        (VOLUME, 59.5, "15.7"),
        (VOLUME, 0.4, "0.106"),
        (SPEED, 1.6, "3.39"),
        (PRESSURE, 20.0, "24"),
        (COUNT, 117.0, "117"),
        (LENGTH, None, ""),
    ],
)
def test_fields_in_inches_show_what_a_rule_or_a_gauge_shows(measure, kept, shown):
    assert measure.shown(kept, "inch") == shown


def test_metric_fields_show_the_files_number():
    assert LENGTH.shown(18.5, "metric") == "18.5"
    assert LENGTH.read("18,5", "metric") == 18.5
    assert (LENGTH.unit_in("metric"), LENGTH.unit_in("inch"), PRESSURE.unit_in("inch")) == ("mm", "in", "inHg")


@pytest.mark.parametrize("text", ["", "  ", None])
def test_an_empty_field_is_no_number(text):
    assert LENGTH.read(text, "inch", 600.0) is None


@pytest.mark.parametrize(
    ("measure", "text", "told"),
    [
        (LENGTH, "six", "'six' is no number"),
        (LENGTH, "3/0", "'3/0' is no number"),
        (LENGTH, "-4", "'-4' is no measure"),
        (LENGTH, "nan", "'nan' is no measure"),
        (LENGTH, "1e9", "'1e9' is too large"),
        (PRESSURE, "31", "'31' is more vacuum than there can be; write a number from 0 to 29.9"),
    ],
)
def test_what_cannot_be_is_told(measure, text, told):
    with pytest.raises(WrongUsage, match=told):
        measure.read(text, "inch")
