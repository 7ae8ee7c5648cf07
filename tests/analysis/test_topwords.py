"""What is said of a top under vacuum, in both unit systems."""

from __future__ import annotations

from dataclasses import replace

import pytest

from acquisition.records import Baffles, Box
from analysis.panels import check_top
from analysis.topwords import first_pull_steps, top_answer, top_load_text

TRAY = Box("B-17", (640.0, 420.0, 110.0), "coated", 18.0, baffles=Baffles(count_x=1))


def said(box, system="metric"):
    return tuple(words.replace("\u00a0", " ") for words in top_answer(box, check_top(box), system))


def test_a_wide_top_is_told_no_in_both_systems():
    # (640 - 18) / 2 = 311 mm = 12.24 in; 220 mm = 8.66 in; 18 mm is no 64th of an inch: 0.709 in.
    assert said(TRAY)[0] == "No. Its top spans 311 mm; an 18 mm board may span 220."
    assert said(TRAY, "inch")[0] == "No. Its top spans 12.2 in; a 0.709 in board may span 8.7."
    # 0.64 m x 0.42 m x 80 kPa = 21.5 kN = 2.19 t = 4834 lb; 80 kPa = 23.6 inHg.
    assert said(TRAY)[1].startswith("At 80 kPa it carries 2.2 tonnes and bows ")
    assert said(TRAY, "inch")[1].startswith("At 24 inHg it carries 4800 lb and bows 0.")
    assert said(TRAY, "inch")[1].endswith("Baffles that mend it: 1 more across the length.")
    assert top_load_text(TRAY, "inch").replace("\u00a0", " ") == "4800 lb at 24 inHg"


def test_a_top_over_its_first_mark_is_not_pumped_down_yet():
    # (520 - 18) / 2 = 251 mm: over the 220 mm that an 18 mm board may span, under 300.
    answer, lead = said(replace(TRAY, inside_mm=(520.0, 420.0, 110.0)))
    assert answer == "Not yet. Its top spans 251 mm; an 18 mm board may span 220."
    assert lead.endswith("Baffles that mend it: 1 more across the length.")


def test_a_narrow_top_may_be_tested_in_steps():
    answer, lead = said(replace(TRAY, baffles=Baffles(count_x=2)))
    # (640 - 36) / 3 = 201 mm
    assert answer == "Yes, in steps. Its top spans 201 mm; an 18 mm board may span 220."
    assert "Baffles" not in lead


def test_thin_board_is_told_without_a_span_of_nothing():
    # (640 - 9) / 2 = 315.5 mm
    assert said(replace(TRAY, board_mm=9.0))[0] == "No. Its top spans 316 mm; a 9 mm board is too thin for a top."


@pytest.mark.parametrize("change", [{"wood": "none"}, {"inside_mm": None}, {"board_mm": None}])
def test_what_no_mark_fits_is_not_judged(change):
    assert said(replace(TRAY, **change))[0].startswith("Cannot tell: ")


def test_steps_of_a_first_pull():
    assert first_pull_steps().replace("\u00a0", " ") == "25, 50 and 80 kPa"
    # 7.38, 14.76 and 23.62 inHg
    assert first_pull_steps("inch").replace("\u00a0", " ") == "7, 15 and 24 inHg"
