"""What a pump-down allows a leak to be: boxes made by hand, whose pump is known."""

from __future__ import annotations

import pytest

from analysis.assess import assess_logs
from analysis.looking import look
from analysis.pumpbound import is_too_large, most_leak_m2
from tests.analysis.made_holds import BOX, PLAIN, Made, log_of

AREAS = (0.05, 0.3, 1.0)


@pytest.mark.parametrize("area_mm2", AREAS)
def test_the_pump_reaches_its_bottom_against_the_leak_that_is_there(area_mm2):
    log = log_of(*Made(area_mm2).run(*PLAIN), step=0.01)
    seen = look(log, BOX)
    most = most_leak_m2(seen.trace, seen.windows[-1].seen)
    assert most is not None
    assert most > area_mm2 * 1e-6
    assert not is_too_large(seen.trace, seen.windows[-1].seen, area_mm2 * 1e-6)


def test_the_most_is_what_the_pump_moves_at_the_bottom():
    # 1.4 L/s at a bottom of 8.06 kPa against 0.01 mm2: at most 11.3 Pa m3/s, which is 0.56 mm2 at 20.13 each.
    log = log_of(*Made(0.01).run(*PLAIN), step=0.01)
    seen = look(log, BOX)
    most = most_leak_m2(seen.trace, seen.windows[-1].seen)
    assert most == pytest.approx(0.56e-6, rel=0.2)


def test_air_let_in_slowly_after_a_level_is_no_leak_that_the_pump_could_have_held():
    # A tight box of no wood on a display of 0.1 kPa, its shut not marked: the rise is the let-up.
    t, p = Made(0.0, let_up_mm2=1.05, interval_s=2.0).run(*PLAIN[:3], ("hold", 150.0), ("let-up", 250.0))
    found = assess_logs([(log_of(t, p, step=0.1), BOX)])[0]
    assert found.outcome == "refused"
    assert found.reason is not None
    assert "would have got so low" in found.reason
    assert found.advice.startswith("Hold again: write shut")


def test_a_marked_shut_is_believed_although_the_pump_could_not_have_held_the_leak():
    # The film comes off as the valve is shut: what the box takes in then, the pump never had to hold.
    t, p = Made(0.0, let_up_mm2=1.05, interval_s=2.0).run(*PLAIN[:3], ("hold", 150.0), ("let-up", 250.0))
    note = tuple("shut" if s == 280.0 else "" for s in t)
    found = assess_logs([(log_of(t, p, step=0.1, note=note), BOX)])[0]
    assert found.area_m2 is not None
    assert found.area_m2.low < 1.05e-6 < found.area_m2.high


def test_without_a_pump_down_nothing_is_said():
    t, p = Made(0.1).run(*PLAIN)
    after = t > 130.0
    seen = look(log_of(t[after], p[after], step=0.01), BOX)
    assert most_leak_m2(seen.trace, seen.windows[-1].seen) is None
