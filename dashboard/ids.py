"""Every id that a callback uses, in one place."""

from __future__ import annotations

URL = "url"
VIEW = "view"
WIDTH = "window-width"
PAGE = "page"
TOP = "top"
BEAT = "beat"
RUNNING = "running"
FIND = "find-box"
NOTHING = "-"
"""Value of a choice that chooses nothing; an empty one is not shown by the browser."""
TO_METRIC = "to-metric"
TO_INCH = "to-inch"

UPLOAD_SAID = "upload-said"
UPLOAD_ERROR = "upload-error"

EVENT_DATE = "event-date"
EVENT_PATH = "event-path"
EVENT_KIND = "event-kind"
EVENT_TEXT = "event-text"
EVENT_KEEP = "event-keep"
EVENT_SAID = "event-said"
EVENT_BOX = "event-box"

MEASURE_KEEP = "measure-keep"
MEASURE_SAID = "measure-said"
MEASURE_BOX = "measure-box"
MEASURE_DRAWING = "measure-drawing"
MEASURE_HEAD = "measure-head"
MEASURE_CAUTION = "measure-caution"


def measure(name: str) -> str:
    """Id of one field of the measurements."""
    return f"measure-{name}"


def cure(name: str) -> str:
    """Id of one slider of the forming page."""
    return f"cure-{name}"


CURE_BACK = "cure-back"
CURE_FIGURE = "cure-figure"
CURE_BOX = "cure-box"
