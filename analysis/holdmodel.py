"""The model of a session of holds: readings against time for thousands of parameter vectors at once."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from analysis.course import Course
from analysis.gas import R_REF
from analysis.laws import LeakLaw
from analysis.sweep import NODES, ZERO, LawTables, curves

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]


def make_tables(laws: tuple[LeakLaw | None, ...]) -> LawTables:
    """Tables of a family; None stands for "no leak"."""
    rows = np.stack([_flow_table(law) for law in laws])
    leaks = np.array([0.0 if law is None else 1.0 for law in laws])
    least, most = np.array([(1.0, 1.0) if law is None else law.own for law in laws]).T
    crack = np.array([float(law is not None and law.crack) for law in laws])
    return LawTables(rows, leaks, np.ascontiguousarray(least), np.ascontiguousarray(most), crack)


@lru_cache(maxsize=32)
def _flow_table(law: LeakLaw | None) -> FloatArray:
    r = 1.0 - np.linspace(0.0, 1.0, NODES) ** 2
    return np.zeros(NODES) if law is None else np.asarray(law.flow(r) / law.flow(R_REF))


def nearest_node(r: float) -> int:
    """Node of the tables nearest to a ratio."""
    return round((NODES - 1) * float(np.sqrt(np.clip(1.0 - r, 0.0, 1.0))))


def mix_share(probit: FloatArray) -> FloatArray:
    """Where in its range the share of a law's own flow lies, 0..1, from its parameter (standard normal: even)."""
    return np.asarray(ndtr(probit))


def predict(course: Course, laws: LawTables, theta: FloatArray, member: IntArray) -> FloatArray:
    """Predicted pressures.

    Parameters
    ----------
    course
        What was done, and where the holds are stepped and read.
    laws
        Tables of the laws; ``member`` (n,) says which one each row takes.
    theta
        (n, course.npar): ln of the rate of rise at one fifth of room pressure (Pa/s), probit of a mix's share
        (unused by the other laws), ln of the moisture to come (Pa) and of its time constant (s), ln of the pores'
        volume over the box's, ln of their rate (1/s), how full the pores are at the first reading (0 as the box, 1 as
        the room), ln of V/(h A T) (s/Pa), ln of the bow over the course's, the gauge's zero error (Pa); then for each
        hold its start pressure (Pa), what the cold gas lacks at the shut (Pa) and ln of its leak over the common one.

    Returns
    -------
    (n, nobs) readings in Pa, hold by hold.
    """
    ratios, _ = curves(np.ascontiguousarray(theta), member, laws, course.path, False)
    return _at_readings(course, ratios) + theta[:, ZERO, None]


def predict_with_slopes(
    course: Course, laws: LawTables, theta: FloatArray, member: IntArray
) -> tuple[FloatArray, FloatArray]:
    """Predicted pressures (n, nobs) as by ``predict``, and their slopes (n, npar, nobs) against the parameters."""
    ratios, slopes = curves(np.ascontiguousarray(theta), member, laws, course.path, True)
    by_parameter = _at_readings(course, slopes)
    by_parameter[:, ZERO] += 1.0
    return _at_readings(course, ratios) + theta[:, ZERO, None], by_parameter


def _at_readings(course: Course, ratios: FloatArray) -> FloatArray:
    """Pressures (..., nobs) at the readings from ratios (..., nnode) at the nodes."""
    ends = course.path.node_end.tolist()
    seen = [ratios[..., a:b] @ held.to_readings for a, b, held in zip([0, *ends], ends, course.held, strict=False)]
    return np.concatenate(seen, axis=-1) * course.room_pa
