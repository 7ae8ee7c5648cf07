"""What all plotted figures share: paper, axes, words on the lines, twin limits, hatched spans.

Figure makers know nothing of pages: values in, a plotly figure out. Colours are the light ones of
``dashboard.palette``; the page's style sheet swaps them in the dark.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import plotly.graph_objects as go
from numpy.typing import NDArray

from acquisition.units import GaugeUnit, from_absolute_pa
from analysis.wording import System
from dashboard.palette import LIGHT

FAMILY = "Atkinson Hyperlegible, system-ui, sans-serif"
CLEAR = "rgba(0,0,0,0)"
MOST_POINTS = 1600
Array = NDArray[Any]


@dataclass(frozen=True)
class Size:
    """A figure's size in px and the room its margins take: left, right, top, bottom."""

    width: float
    height: float
    margins: tuple[float, float, float, float]

    @property
    def letters(self) -> int:
        """Size of axis and figure words, px."""
        return 13 if self.width < 700 else 14


def blank(size: Size) -> go.Figure:
    """An empty figure on clear ground: no title, no legend, no zoom by accident."""
    left, right, top, bottom = size.margins
    fig = go.Figure()
    fig.update_layout(
        template=None,
        width=size.width,
        height=size.height,
        margin={"l": left, "r": right, "t": top, "b": bottom, "pad": 0},
        paper_bgcolor=CLEAR,
        plot_bgcolor=CLEAR,
        showlegend=False,
        hovermode=False,
        dragmode=False,
        font={"family": FAMILY, "size": size.letters, "color": LIGHT["second"]},
    )
    return fig


def axis(**more: Any) -> dict[str, Any]:
    """A plain axis without grid; further settings as plotly names them."""
    plain: dict[str, Any] = {
        "showgrid": False,
        "zeroline": False,
        "showline": True,
        "linecolor": LIGHT["ink"],
        "linewidth": 1.5,
        "ticks": "outside",
        "ticklen": 5,
        "tickcolor": LIGHT["ink"],
        "fixedrange": True,
        "automargin": False,
    }
    return plain | more


def level_axis(**more: Any) -> dict[str, Any]:
    """A y axis: hairlines across, no line of its own."""
    plain = {"showline": False, "ticks": "", "showgrid": True, "gridcolor": LIGHT["hairline"], "gridwidth": 1}
    return axis(**(plain | more))


def say(
    fig: go.Figure,
    x: Any,
    y: Any,
    words: str,
    *,
    colour: str = "second",
    bold: bool = False,
    anchor: str = "left",
    level: str = "middle",
    xref: str = "x",
    yref: str = "y",
    size: int | None = None,
    shift: tuple[float, float] = (0, 0),
) -> None:
    """Words at a point of a figure, aligned to it."""
    fig.add_annotation(
        x=x,
        y=y,
        text=f"<b>{words}</b>" if bold else words,
        showarrow=False,
        xanchor=anchor,
        yanchor=level,
        xref=xref,
        yref=yref,
        xshift=shift[0],
        yshift=shift[1],
        font={"color": LIGHT[colour], "size": size} if size else {"color": LIGHT[colour]},
        align="left" if anchor == "left" else ("right" if anchor == "right" else "center"),
    )


def rule(
    fig: go.Figure,
    ends: tuple[Any, Any, Any, Any],
    colour: str = "ink",
    width: float = 1.5,
    dash: str | None = None,
    xref: str = "x",
    yref: str = "y",
    layer: str = "above",
) -> None:
    """A straight line from (x0, y0) to (x1, y1)."""
    x0, y0, x1, y1 = ends
    fig.add_shape(
        type="line",
        x0=x0,
        y0=y0,
        x1=x1,
        y1=y1,
        xref=xref,
        yref=yref,
        layer=layer,
        line={"color": LIGHT[colour], "width": width, "dash": dash or "solid"},
    )


def line(
    fig: go.Figure,
    x: Sequence[Any] | Array,
    y: Sequence[Any] | Array,
    colour: str = "ink",
    width: float = 2.2,
    dash: str | None = None,
    yaxis: str = "y",
) -> None:
    """A curve."""
    fig.add_trace(
        go.Scatter(
            x=x, y=y, mode="lines", yaxis=yaxis, line={"color": LIGHT[colour], "width": width, "dash": dash or "solid"}
        )
    )


def dots(
    fig: go.Figure,
    x: Sequence[Any] | Array,
    y: Sequence[Any] | Array,
    colour: str = "measured",
    r: float = 2.4,
    symbol: str = "circle",
    yaxis: str = "y",
) -> None:
    """Readings as dots; symbols ending in ``-open`` are outlined."""
    marker = {
        "color": LIGHT[colour],
        "size": 2 * r,
        "symbol": symbol,
        "line": {"width": 1.8 if "open" in symbol else 0, "color": LIGHT[colour]},
    }
    fig.add_trace(go.Scatter(x=x, y=y, mode="markers", yaxis=yaxis, marker=marker))


def area(
    fig: go.Figure,
    x: Sequence[Any] | Array,
    y: Sequence[Any] | Array,
    *,
    fill: str | None = "band",
    hatch: tuple[str, str, float, float] | None = None,
    yaxis: str = "y",
) -> None:
    """A filled outline; ``hatch`` is plotly's pattern shape, colour, step in px and share of ink."""
    pattern = None
    if hatch is not None:
        shape, colour, step, share = hatch
        pattern = {
            "shape": shape,
            "fgcolor": LIGHT[colour],
            "bgcolor": CLEAR if fill is None else LIGHT[fill],
            "size": step,
            "solidity": share,
            "fillmode": "replace",
        }
    fig.add_trace(
        go.Scatter(
            x=x,
            y=y,
            mode="lines",
            yaxis=yaxis,
            fill="toself",
            line={"width": 0, "color": CLEAR},
            fillcolor=CLEAR if fill is None else LIGHT[fill],
            fillpattern=pattern,
        )
    )


def span(fig: go.Figure, left: Any, right: Any, low: Any, high: Any, **how: Any) -> None:
    """A filled or hatched upright span."""
    area(fig, [left, right, right, left, left], [low, low, high, high, low], **how)


PHASE_HATCH: dict[str, tuple[str, str, float, float]] = {
    "pump-down": ("/", "hairline", 14, 0.09),
    "soak": ("|", "hairline", 10, 0.1),
    "let-up": (".", "grey", 8, 0.12),
}


def thin(y: Array, most: int = MOST_POINTS) -> NDArray[np.intp]:
    """Indices to draw: every slice keeps its lowest and highest sample, so no spike is lost."""
    n = len(y)
    if n <= most:
        return np.arange(n)
    width = -(-n // max(1, most // 2))
    k = n // width
    block, at = y[: width * k].reshape(k, width), np.arange(k) * width
    return np.unique(np.r_[0, at + block.argmin(1), at + block.argmax(1), np.arange(width * k, n), n - 1])


@dataclass(frozen=True)
class Scale:
    """How pressures stand on a page: kPa absolute, or inHg vacuum counting down to nothing at the room."""

    system: System
    room_pa: float

    @property
    def unit(self) -> GaugeUnit:
        """What a number of the axis means."""
        return GaugeUnit("vacuum", "inHg") if self.system == "inch" else GaugeUnit("absolute", "kPa")

    @property
    def words(self) -> str:
        """Name of the axis."""
        return "inHg vacuum" if self.system == "inch" else "kPa absolute"

    def of(self, p_pa: Any) -> Any:
        """Numbers on the axis."""
        return from_absolute_pa(p_pa, self.unit, self.room_pa)

    def step_of(self, p_pa: Array | float) -> Any:
        """A difference of pressures on the axis, a rise in pressure counting up."""
        return p_pa / self.unit.pa_per_unit

    def ticks(self, narrow: bool) -> list[float]:
        """Tick values."""
        if self.system == "inch":
            return [0.0, 10.0, 20.0, 30.0] if narrow else [0.0, 5.0, 10.0, 15.0, 20.0, 25.0, 30.0]
        return [0.0, 50.0, 100.0] if narrow else [0.0, 20.0, 40.0, 60.0, 80.0, 100.0]

    def range(self, share_above: float = 0.06) -> tuple[float, float]:
        """Ends of the axis: nothing below, a little over the room above."""
        top = self.room_pa * (1 + share_above)
        return float(self.of(0.0)), float(self.of(top))


def decade_ticks(low: float, high: float, steps: tuple[float, ...] = (1.0, 2.0, 5.0)) -> list[float]:
    """Nice values on a log axis between two ends."""
    exponents = range(int(np.floor(np.log10(low))), int(np.ceil(np.log10(high))) + 1)
    return [s * 10.0**e for e in exponents for s in steps if low <= s * 10.0**e <= high]


def plain(value: float) -> str:
    """A tick's number without trailing noughts."""
    return f"{value:.6g}"
