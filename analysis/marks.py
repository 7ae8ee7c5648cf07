"""The words of a log's note column that mark what was done; anything else there is a remark."""

from __future__ import annotations

MARKS = ("baseline", "pump-down", "soak", "hold", "let-up", "end of hold")
"""Each opens the phase of its name; the last ends a hold."""
_SAME = {"shut": "hold", "valve shut": "hold", "valve closed": "hold", "redraw": "pump-down"}


def mark_of(note: str) -> str:
    """The mark that a cell of the note column is; other text comes back as it is, in small letters."""
    text = note.strip().lower()
    return _SAME.get(text, text)
