"""The board under load: bow and load of the top, the span it bears, how bowing changes the volume.

Plate formulas: uniform load, Poisson's ratio 0.3, W. C. Young and R. G. Budynas, Roark's Formulas for Stress
and Strain, table 11.4, cases 1a (simply supported) and 8a (clamped). Board: plywood of the Wood Handbook,
FPL-GTR-190 (2010), table 12-1. Span marks: common practice, no source (a quarter of the low strength, at
most 2 mm of bow).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import pi
from typing import Literal

import numpy as np

from acquisition.errors import WrongUsage
from acquisition.records import Box, Uncertain
from analysis.gas import STANDARD_GRAVITY
from analysis.results import Interval

PLYWOOD_STIFFNESS_PA = (6.96e9, 8.55e9)
PLYWOOD_STRENGTH_PA = (33.72e6, 42.61e6)
POISSON = 0.3
FULL_VACUUM_PA = 80_000.0
"""The pressure difference tops are judged at, Pa."""
BAFFLE_AIR_GAP_MM = 20.0
"""Height left open over or under a baffle so that air passes, mm; common practice, no source."""

_RATIO_SS = (1.0, 1.2, 1.4, 1.6, 1.8, 2.0, 3.0, 4.0, 5.0)
_BETA_SS = (0.2874, 0.3762, 0.4530, 0.5172, 0.5688, 0.6102, 0.7134, 0.7410, 0.7476)
_ALPHA_SS = (0.0444, 0.0616, 0.0770, 0.0906, 0.1017, 0.1110, 0.1335, 0.1400, 0.1417)
_STRIP_SS = (0.7500, 0.1421)
_RATIO_CLAMPED = (1.0, 1.2, 1.4, 1.6, 1.8, 2.0)
_BETA_CLAMPED = (0.3078, 0.3834, 0.4356, 0.4680, 0.4872, 0.4974)
_ALPHA_CLAMPED = (0.0138, 0.0188, 0.0226, 0.0251, 0.0267, 0.0277)
_STRIP_CLAMPED = (0.5000, 0.0284)

_SPAN_MARKS = ((12.0, 150.0), (18.0, 220.0))
_NO_TEST_OVER = 300.0 / 220.0
_EDGE_ROLL = 0.7

Support = Literal["simply supported", "clamped"]
_TABLES: dict[Support, tuple[Sequence[float], Sequence[float], Sequence[float], tuple[float, float]]] = {
    "simply supported": (_RATIO_SS, _BETA_SS, _ALPHA_SS, _STRIP_SS),
    "clamped": (_RATIO_CLAMPED, _BETA_CLAMPED, _ALPHA_CLAMPED, _STRIP_CLAMPED),
}
TopVerdict = Literal["may be tested", "warned", "not with this top", "unknown"]


def plate_coefficients(ratio: float, support: Support) -> tuple[float, float]:
    """(beta, alpha) of a rectangular plate under uniform load.

    Parameters
    ----------
    ratio
        Long over short side; below 1 it is turned round.
    support
        How the edges are held.

    Returns
    -------
    beta, alpha: largest stress ``beta q b**2 / t**2`` (in the middle, or at the long edge when clamped) and
    bow ``alpha q b**4 / (E t**3)``, b the short side. Between table rows straight lines in 1/ratio, so that
    the long strip is reached at infinity.
    """
    x = 1.0 / (ratio if ratio >= 1.0 else 1.0 / ratio)
    rows, beta, alpha, strip = _TABLES[support]
    inverse = np.array([0.0, *(1.0 / r for r in reversed(rows))])
    return (
        float(np.interp(x, inverse, [strip[0], *reversed(beta)])),
        float(np.interp(x, inverse, [strip[1], *reversed(alpha)])),
    )


def plate_bow_m(
    side_m: float, other_m: float, thickness_m: float, load_pa: float, stiffness_pa: float, support: Support
) -> float:
    """Bow in m of the middle of a rectangular plate under a uniform pressure."""
    long, short = max(side_m, other_m), min(side_m, other_m)
    alpha = plate_coefficients(long / short, support)[1]
    return alpha * load_pa * short**4 / (stiffness_pa * thickness_m**3)


def plate_stress_pa(side_m: float, other_m: float, thickness_m: float, load_pa: float, support: Support) -> float:
    """Largest bending stress in Pa of a rectangular plate under a uniform pressure."""
    long, short = max(side_m, other_m), min(side_m, other_m)
    beta = plate_coefficients(long / short, support)[0]
    return beta * load_pa * short**2 / thickness_m**2


def swept_volume_per_pa(side_m: float, other_m: float, thickness_m: float, stiffness_pa: float) -> float:
    """Volume in m3 that a simply supported plate sweeps for each Pa of load.

    Navier's double sine series, odd terms to 25 (the volume converges as their sixth power).
    """
    rigidity = stiffness_pa * thickness_m**3 / (12.0 * (1.0 - POISSON**2))
    odd = np.arange(1, 26, 2, dtype=np.float64)
    m, n = np.meshgrid(odd, odd)
    amplitude = 16.0 / (pi**6 * rigidity * m * n * ((m / side_m) ** 2 + (n / other_m) ** 2) ** 2)
    return float(np.sum(amplitude * 4.0 * side_m * other_m / (pi**2 * m * n)))


@dataclass(frozen=True)
class Bay:
    """One field of the top between its supports, m: along the length and along the width."""

    x_m: float
    y_m: float

    @property
    def span_m(self) -> float:
        """The span the board has to bear: the shorter side."""
        return min(self.x_m, self.y_m)


def bay(box: Box, extra_x: int = 0, extra_y: int = 0) -> Bay | None:
    """The fields between walls and baffles, with so many baffles more; None without inside measures."""
    if box.inside_mm is None:
        return None
    length, width, _ = box.inside_mm
    baffle = baffle_board_mm(box)
    nx, ny = box.baffles.count_x + extra_x, box.baffles.count_y + extra_y
    x, y = (length - nx * baffle) / (nx + 1), (width - ny * baffle) / (ny + 1)
    return Bay(x / 1000.0, y / 1000.0) if min(x, y) > 0.0 else None


def baffle_board_mm(box: Box) -> float:
    """Thickness of the baffles, mm: their own, else the box's board, else 18."""
    return box.baffles.board_mm or box.board_mm or 18.0


def span_marks_m(board_mm: float) -> tuple[float, float]:
    """Spans a plywood top bears: (may be tested up to, never over), m; both 0 under 12 mm of board.

    18 mm: 220 and 300 mm; 12 mm: 150 mm; thicker boards in proportion. Common practice, no source.
    """
    (thin, thin_span), (thick, thick_span) = _SPAN_MARKS
    if board_mm < thin:
        return 0.0, 0.0
    if board_mm >= thick:
        span = thick_span * board_mm / thick
    else:
        span = thin_span + (thick_span - thin_span) * (board_mm - thin) / (thick - thin)
    return span / 1000.0, span * _NO_TEST_OVER / 1000.0


def load_tonnes(box: Box, load_pa: float = FULL_VACUUM_PA) -> float | None:
    """Load on the top in tonnes-force under a pressure difference; None without inside measures."""
    if box.inside_mm is None:
        return None
    return box.inside_mm[0] * box.inside_mm[1] * 1e-6 * load_pa / STANDARD_GRAVITY / 1000.0


@dataclass(frozen=True)
class TopCheck:
    """Whether a top stands the vacuum.

    ``bow_m`` runs from clamped edges and stiff board to loose edges and soft board; ``stress_share`` is the
    largest stress over a quarter of the board's low strength; spans in m; ``baffles_more`` is the smallest
    number of baffles, (across the length, across the width), that brings the span under its mark.
    """

    verdict: TopVerdict
    bay: Bay | None
    load_tonnes: float | None
    bow_m: Interval | None
    stress_share: float | None
    may_span_m: float
    never_over_m: float
    baffles_more: tuple[int, int] | None


def check_top(box: Box, load_pa: float = FULL_VACUUM_PA, extra_x: int = 0, extra_y: int = 0) -> TopCheck:
    """Judge the top's span, bow and load, as it is or with so many baffles more."""
    may, never = span_marks_m(box.board_mm) if box.board_mm else (0.0, 0.0)
    field = bay(box, extra_x, extra_y)
    if field is None or not box.board_mm:
        return TopCheck("unknown", field, load_tonnes(box, load_pa), None, None, may, never, None)
    thickness = box.board_mm / 1000.0
    stress = plate_stress_pa(field.x_m, field.y_m, thickness, load_pa, "simply supported")
    return TopCheck(
        verdict=_judge(field.span_m, may, never),
        bay=field,
        load_tonnes=load_tonnes(box, load_pa),
        bow_m=_bow(field, thickness, load_pa),
        stress_share=stress / (PLYWOOD_STRENGTH_PA[0] / 4.0),
        may_span_m=may,
        never_over_m=never,
        baffles_more=_baffles_more(box, may),
    )


def _judge(span_m: float, may_m: float, never_m: float) -> TopVerdict:
    if span_m <= may_m:
        return "may be tested"
    return "warned" if span_m <= never_m else "not with this top"


def _bow(field: Bay, thickness_m: float, load_pa: float) -> Interval:
    soft, stiff = PLYWOOD_STIFFNESS_PA
    low = plate_bow_m(field.x_m, field.y_m, thickness_m, load_pa, stiff, "clamped")
    high = plate_bow_m(field.x_m, field.y_m, thickness_m, load_pa, soft, "simply supported")
    return Interval((low * high) ** 0.5, low, high)


def _baffles_more(box: Box, may_m: float) -> tuple[int, int] | None:
    """Fewest baffles more, the length first; None when no number helps."""
    for total in range(12):
        for along_y in range(total + 1):
            field = bay(box, total - along_y, along_y)
            if field is not None and field.span_m <= may_m:
                return total - along_y, along_y
    return None


def bow_compliance_m3_per_pa(box: Box) -> float | None:
    """Volume the box gains for each Pa its pressure rises, as its panels spring back, m3/Pa.

    Top, bottom and four walls, each field between walls and baffles taken as a plate of plywood of middling
    stiffness. Edges are glued and screwed, between loose and clamped: seven tenths of the loose plate, good
    to a factor 1.5. Linear, so it holds while the bow is under half the thickness. None without inside
    measures and board.
    """
    field = bay(box)
    if field is None or box.inside_mm is None or not box.board_mm:
        return None
    thickness, stiffness = box.board_mm / 1000.0, sum(PLYWOOD_STIFFNESS_PA) / 2.0
    height = box.inside_mm[2] / 1000.0
    nx, ny = box.baffles.count_x + 1, box.baffles.count_y + 1
    plates = ((field.x_m, field.y_m, 2 * nx * ny), (field.x_m, height, 2 * nx), (field.y_m, height, 2 * ny))
    swept = sum(count * swept_volume_per_pa(a, b, thickness, stiffness) for a, b, count in plates)
    return _EDGE_ROLL * swept


def geometric_volume_m3(box: Box) -> Uncertain | None:
    """Inside volume in m3 from the measures, baffles taken off; None without inside measures.

    Baffles are taken to leave a 20 mm gap over their length; one standard uncertainty is 3 %, 5 % with
    more than three baffles, whose cut-outs no measure describes.
    """
    if box.inside_mm is None:
        return None
    length, width, height = box.inside_mm
    nx, ny = box.baffles.count_x, box.baffles.count_y
    board, tall = baffle_board_mm(box), max(height - BAFFLE_AIR_GAP_MM, 0.0)
    crossings = nx * ny * board * board * tall
    baffles = nx * board * width * tall + ny * board * length * tall - crossings
    volume = (length * width * height - baffles) * 1e-9
    return Uncertain(volume, volume * (0.05 if nx + ny > 3 else 0.03))


def inner_wood_area_m2(box: Box) -> float:
    """Wood that faces the evacuated inside, m2: top, bottom, walls and both faces of the baffles.

    Raises
    ------
    WrongUsage
        The box file has no inside measures.
    """
    if box.inside_mm is None:
        raise WrongUsage(f"Box {box.name} has no inside_mm; write its inside length, width and height in mm.")
    length, width, height = box.inside_mm
    tall = max(height - BAFFLE_AIR_GAP_MM, 0.0)
    shell = 2.0 * length * width + 2.0 * height * (length + width)
    baffles = 2.0 * tall * (box.baffles.count_x * width + box.baffles.count_y * length)
    return (shell + baffles) * 1e-6


def box_volume(box: Box) -> Uncertain | None:
    """Volume in m3 the box and its line hold together: measured, else geometry plus line; None with neither.

    A measured volume is the whole that was measured; the line is added to geometry only.
    """
    if box.volume_L is not None:
        return Uncertain(box.volume_L.value / 1000.0, box.volume_L.u / 1000.0)
    inside = geometric_volume_m3(box)
    if inside is None:
        return None
    line = box.line_volume_L or Uncertain(0.0, 0.0)
    return Uncertain(inside.value + line.value / 1000.0, float(np.hypot(inside.u, line.u / 1000.0)))
