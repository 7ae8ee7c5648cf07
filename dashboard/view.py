"""What a page is drawn for: address, units, width of the window."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import parse_qsl

from analysis.wording import System

NARROW_PX = 900
WIDEST_PX = 1520


@dataclass(frozen=True)
class View:
    """One page view; ``width`` is the window's in px."""

    path: str = "/"
    system: System = "metric"
    width: int = 1440
    query: Mapping[str, str] = field(default_factory=dict)

    @property
    def narrow(self) -> bool:
        """Whether the page is laid out for a phone."""
        return self.width < NARROW_PX

    @property
    def inner(self) -> float:
        """Width between the page's margins, px; a phone's figures use the whole width."""
        return float(self.width) if self.narrow else float(min(self.width, WIDEST_PX) - 64)


def read_view(data: Mapping[str, Any]) -> View:
    """A view from what the browser sends; odd values fall back to the plain ones."""
    system: System = "inch" if data.get("units") == "inch" else "metric"
    width = data.get("width")
    wide = int(width) if isinstance(width, int | float) and 200 <= width <= 8000 else 1440
    query = dict(parse_qsl(str(data.get("search") or "").lstrip("?")))
    return View(str(data.get("path") or "/"), system, wide, query)
