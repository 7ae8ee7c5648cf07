"""What a page draws of a fitted hold: curve, band, residuals, the law not chosen."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from analysis.holdmodel import make_tables, predict
from analysis.laws import family
from analysis.posterior import Posterior
from analysis.readings import expected_spread
from analysis.results import Curves
from analysis.trace import Trace

FloatArray = NDArray[np.float64]


def fit_curves(posterior: Posterior, trace: Trace, offset_s: float) -> Curves:
    """Curves of the last hold on its own log's clock; ``offset_s`` is that clock's start on the session's."""
    observed = posterior.observed
    last = observed.hold == posterior.course.nhold - 1
    mu = posterior.fitted.mu[posterior.best][last]
    single = float(np.sqrt(observed.noise_pa**2 + observed.half_pa**2 / 3.0 + observed.discrepancy_pa**2))
    other, other_name = _other_law(posterior)
    gap, t_s = observed.y_pa[last] - mu, observed.t_s[last] - offset_s
    verdict = _residual_words(gap / expected_spread(observed)[last])
    other = other[last] if other.size else other
    return Curves(
        trace.t_s, trace.p_pa, t_s, mu, mu - 1.96 * single, mu + 1.96 * single, t_s, gap, other, other_name, verdict
    )


def _other_law(posterior: Posterior) -> tuple[FloatArray, str | None]:
    """Curve of the other plain law (hole for a seep, else seep) with the best member's other parameters."""
    best = posterior.members.laws[posterior.best]
    if best is None:
        return np.empty(0), None
    plain = {law.kind: law for law in family() if law.variant is None}
    name = "hole" if best.kind == "seep" else "seep"
    tables = make_tables((plain[name],))
    return predict(posterior.course, tables, posterior.peak[None], np.array([0]))[0], name


def _residual_words(z: FloatArray) -> str:
    """Whether the residuals still show a pattern: runs of one sign too long, or a bend."""
    if z.size < 8:
        return "too few readings to judge"
    if float(np.mean(z * z)) > 4.0:
        return "bends here"
    lag = float(np.sum(z[1:] * z[:-1]) / max(float(np.sum(z * z)), 1e-12))
    return "bends here" if lag > 0.6 and float(np.mean(z * z)) > 1.5 else "no pattern left"
