"""The words of a log's note column that mark what was done; anything else there is a remark."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

MARKS = ("baseline", "pump-down", "soak", "hold", "let-up", "end of hold")
"""Each opens the phase of its name; the last ends a hold."""
_SAME = {"shut": "hold", "valve shut": "hold", "valve closed": "hold", "redraw": "pump-down"}


def mark_of(note: str) -> str:
    """The mark that a cell of the note column is; other text comes back as it is, in small letters."""
    text = note.strip().lower()
    return _SAME.get(text, text)


def beside_readings(note: Sequence[str], rows: Iterable[int]) -> tuple[str, ...]:
    """The notes of the rows with a reading; a mark on a row without one stands beside the reading that follows it.

    A person marks what has just been done; a slow gauge, or an eye, reads only later.
    """
    out, begin = [], 0
    for row in rows:
        waiting = [text for text in note[begin:row] if mark_of(text) in MARKS]
        out.append(waiting[-1] if waiting and mark_of(note[row]) not in MARKS else note[row])
        begin = row + 1
    return tuple(out)
