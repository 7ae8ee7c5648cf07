"""Marks of a log's note column, and the reading that each stands beside."""

from __future__ import annotations

import numpy as np

from analysis.looking import look
from analysis.marks import beside_readings
from tests.analysis.made_holds import BOX, PLAIN, Made, log_of


def test_a_mark_on_a_row_without_a_reading_stands_beside_the_next_reading() -> None:
    #        0   1       2        3      4   5       6
    note = ("", "shut", "", "remark: x", "", "redraw", "hold")
    assert beside_readings(note, (0, 2, 4)) == ("", "shut", "")
    assert beside_readings(note, (0, 1, 2, 4, 6)) == ("", "shut", "", "", "hold")  # its own mark stays
    assert beside_readings(("pump-down", "shut", "x", "wind"), (3,)) == ("shut",)  # what was done last
    assert beside_readings(("", "shut"), (0,)) == ("",)  # nothing follows


def test_a_shut_between_two_readings_of_a_slow_gauge_is_seen() -> None:
    t, p = Made(0.0, interval_s=10.0).run(*PLAIN)
    row = int(np.flatnonzero(t >= 200.0)[0])  # in the hold: only the mark tells a level of no leak
    note = [""] * (t.size + 1)
    note[row] = "hold"
    log = log_of(np.insert(t, row, t[row] - 4.0), np.insert(p, row, np.nan), step=0.1, note=note)
    (hold,) = look(log, BOX).view.holds
    assert (hold.shut_s, hold.sure) == (t[row], True)
