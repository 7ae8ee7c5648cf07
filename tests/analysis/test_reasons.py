"""Every refusal is a plain sentence that says what and where, and advice that says what to do."""

from __future__ import annotations

import inspect
import re

import pytest

from analysis import reasons
from analysis.reasons import Refusal

MADE = {
    "too_short": reasons.too_short(5.0, 4),
    "nothing_held": reasons.nothing_held(120.0),
    "filled_too_fast": reasons.filled_too_fast(34.0, 2),
    "shut_unseen": reasons.shut_unseen(),
    "tank_open": reasons.tank_open(),
    "not_held_down": reasons.not_held_down(),
    "no_readings": reasons.no_readings(),
    "gauge_on_tank": reasons.gauge_on_tank(),
    "hot_sheet": reasons.hot_sheet("96 °C"),
    "stuck": reasons.stuck("39.24 kPa", 346),
    "only_room": reasons.only_room(),
    "still_falling": reasons.still_falling(),
    "never_shut": reasons.never_shut(),
    "falls_after_shut": reasons.falls_after_shut(900.0),
    "no_volume": reasons.no_volume(),
    "jumped, knocked": reasons.jumped(240.0, False),
    "jumped, unit": reasons.jumped(240.0, True),
    "clock_broken": reasons.clock_broken(250.0),
    "not_a_leak": reasons.not_a_leak(),
    "unit_suspected": reasons.unit_suspected(343.0),
    "let_go_at_once": reasons.let_go_at_once(),
}
DO = (
    "Shut", "Check", "Tee", "Keep", "Open", "Pump", "Stop", "Measure", "Leave", "Look", "Press", "Let", "Soak",
    "Read", "Hold",
)  # fmt: skip
"""Words that begin advice: it tells what to do."""


def test_every_refusal_of_the_table_is_looked_at():
    found = inspect.getmembers(reasons, inspect.isfunction)
    known = {name for name, what in found if what.__module__ == reasons.__name__}
    assert known <= {name.split(",")[0] for name in MADE}


@pytest.mark.parametrize("name", list(MADE))
def test_reason_and_advice_are_plain_sentences(name):
    made = MADE[name]
    for text in (made.reason, made.advice):
        assert text[0].isupper()
        assert text.endswith(".")
        assert len(text) < 160
        assert "  " not in text
        assert not re.search(r"\b(nan|None|inf)\b", text)
    assert made.advice.startswith(DO)


def test_no_two_say_the_same():
    assert len({made.reason for made in MADE.values()}) == len(MADE)


@pytest.mark.parametrize(("name", "pieces"), [
    ("nothing_held", ("shut at 120 s",)), ("too_short", ("5 s", "4 readings")),
    ("stuck", ("39.24 kPa", "346 times")), ("hot_sheet", ("96 °C",)),
    ("falls_after_shut", ("0.90 kPa a minute",)), ("jumped, knocked", ("240 s", "knocked")),
    ("jumped, unit", ("240 s", "unit")), ("clock_broken", ("250 s",)), ("unit_suspected", ("343 kPa",)),
])  # fmt: skip
def test_it_says_where_and_how_much(name, pieces):
    assert all(piece in MADE[name].reason for piece in pieces)


def test_no_time_is_called_nought():
    assert "0.4 s with 12 readings" in reasons.too_short(0.41, 12).reason
    assert "within 0.2 s" in reasons.filled_too_fast(0.2, 2).reason


def test_a_refusal_is_a_frozen_value():
    assert reasons.only_room() == Refusal(reasons.only_room().reason, reasons.only_room().advice)
    with pytest.raises(AttributeError):
        reasons.only_room().reason = ""  # type: ignore[misc]
