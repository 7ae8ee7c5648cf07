"""From the posterior of a session to a leak estimate: area, leakage rate, law, release, with their intervals.

Systematic parts (volume, barometer, temperature, gauge gain, vapour) are kept apart from the fit and
combined with it per the GUM (JCGM 100): as standard uncertainties of the logarithm of the area.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from analysis.course import Course, lay, rough_curve
from analysis.fitcurves import fit_curves
from analysis.gas import choked_throughput_pa_m3_s, drilled_hole_m, saturation_pressure_pa
from analysis.holdmodel import mix_share, predict
from analysis.laws import LeakLaw, equivalent_form, family, slip_b
from analysis.posterior import Posterior, explore, make_members
from analysis.priors import release_priors
from analysis.readings import Window, expected_spread, observe
from analysis.results import LAWS, Curves, Interval, LawVerdict, Release
from analysis.sweep import LN_MOIST, LN_PORE, LN_RATE, MIX, NCOMMON, PER_HOLD
from analysis.trace import Trace

FloatArray = NDArray[np.float64]
NAMED = 0.90
"""Probability at which a law is named: 2 % of the names are then wrong (docs/calibration.md)."""
NO_LEAK_LIKELY = 0.02
"""A leak is called a leak only when "no leak" is less probable than this."""
VAGUE = 0.1
"""With the low end under this share of the high end the result is an upper limit."""
_MODEL_SD = 0.004
"""What the model leaves out even without release (mean heat transfer), ln of the area: measured on the
repository's own generator, see docs/calibration.md."""
_RELEASE_SD = 0.28
"""Share of the release that the one-node wood may book wrongly: the same source; real plies are no one node."""
_LARGEST_SD = 1.5
_CLAIM_M2 = {"bare": 0.015e-6, "coated": 0.006e-6}
_CLAIM_REDRAWN_M2 = {"bare": 0.008e-6, "coated": 0.006e-6}
_CLAIM_DIAL_M2 = 0.01e-6
_DIAL_HALF_STEP_PA = 400.0
"""Half a step from which a display counts as a dial: finer ones show what the model leaves out, not wandering."""
_STEADY_M2_PER_M3 = 5e-9
"""Drift of room, wood and barometer over a hold as a false leak, m2 per m3 of box: 0.1 Pa/s."""
_PROBABILITIES = (0.025, 0.5, 0.975)


@dataclass(frozen=True, eq=False)
class HoldEstimate:
    """A session's answer, before the limit and the flags.

    Areas m2. ``vague`` says that only an upper limit can be claimed. ``inflation`` and ``misfit`` (largest
    block residual over its expected spread) tell whether any law describes the readings; ``up_and_down`` that a
    coarse display wandered by whole steps, as no hold does.
    """

    area_m2: Interval
    area_fit_m2: Interval
    vague: bool
    no_leak: float
    law: LawVerdict
    release: Release
    lost_5min_pa: float
    curves: Curves
    span_pa: tuple[float, float]
    inflation: float
    misfit: float
    spread_between_laws: float
    up_and_down: bool
    credible: tuple[LeakLaw, ...]


def estimate_holds(
    traces: Sequence[Trace], windows: Sequence[Sequence[Window]], offsets: Sequence[float], noise_pa: float
) -> HoldEstimate:
    """Estimate the leak of a session of holds; the last hold is the one the result describes.

    Parameters
    ----------
    traces, windows, offsets
        See ``readings.observe``; the last trace carries volume, room and wood.
    noise_pa
        Standard deviation of single readings.
    """
    lead = traces[-1]
    posterior = _explored(traces, windows, offsets, noise_pa, family())
    release = _release(posterior, lead.resolution_pa)
    lost = _loss_5min(posterior, posterior.course, _at_shut(lead, windows[-1][-1]))
    fit, whole = _areas(posterior, lead, release.share)
    law = _law(posterior)
    z = _block_misfit(posterior)
    return HoldEstimate(
        whole,
        fit,
        _vague(whole, posterior.no_leak) or whole.value < smallest_claim_m2(lead, posterior.course.nhold > 1),
        posterior.no_leak,
        law,
        release,
        lost,
        fit_curves(posterior, traces[-1], offsets[-1]),
        _span(posterior, windows[-1][-1].end_s + offsets[-1]),
        posterior.inflation,
        z,
        _law_spread(posterior),
        _wanders(posterior),
        tuple(dict.fromkeys(law for law in posterior.members.laws if law is not None)),
    )


def estimate_alone(
    trace: Trace, window: Window, noise_pa: float, laws: Sequence[LeakLaw]
) -> tuple[Interval, tuple[float, float]]:
    """Area, m2, and pressures at both ends, Pa, of one hold by itself.

    ``laws`` are those that its whole session left credible.
    """
    posterior = _explored([trace], [[window]], [0.0], noise_pa, laws)
    return _areas(posterior, trace, _release(posterior, trace.resolution_pa).share)[1], _span(posterior, window.end_s)


def _explored(
    traces: Sequence[Trace],
    windows: Sequence[Sequence[Window]],
    offsets: Sequence[float],
    noise_pa: float,
    laws: Sequence[LeakLaw],
) -> Posterior:
    observed, course = observe(traces, windows, offsets, noise_pa)
    fresh = float(np.median(traces[0].p_pa[:3])) > 0.9 * traces[0].room_pa
    every = [(trace, w) for trace, own in zip(traces, windows, strict=True) for w in own]
    return explore(course, observed, make_members(release_priors(traces[-1], every, fresh), laws))


def _wanders(posterior: Posterior) -> bool:
    """Whether the readings of a dial scatter by more than its steps explain."""
    observed = posterior.observed
    return observed.half_pa > _DIAL_HALF_STEP_PA and observed.noise_pa > 0.85 * observed.half_pa


def smallest_claim_m2(trace: Trace, redrawn: bool) -> float:
    """Smallest area, m2, that is called a leak: below it the wood's own air, or the dial's steps, may be all.

    On 32 L, scaled with the volume. Measured on the repository's own tight boxes, of which under 1 % are to be called
    leaking: the design's 0.004 (bare, redrawn) and 0.002 mm2 (coated) let 1.6 % of 497 through, these 0.4 %.
    """
    wood = "bare" if trace.wood is None else trace.wood
    claim = _CLAIM_REDRAWN_M2.get(wood, 0.0) if redrawn else _CLAIM_M2.get(wood, 0.0)
    dial = _CLAIM_DIAL_M2 if trace.resolution_pa > 2.0 * _DIAL_HALF_STEP_PA else 0.0
    return max(claim, dial) * (trace.volume_m3 or 0.032) / 0.032


def _vague(area: Interval, no_leak: float) -> bool:
    return no_leak > NO_LEAK_LIKELY or area.low < VAGUE * area.high


def _unit_rate(trace: Trace) -> float:
    """Rate of rise, Pa/s, per m2 of effective area."""
    volume = trace.volume_m3
    if volume is None:
        raise ValueError("an area needs the volume")
    return choked_throughput_pa_m3_s(1.0, trace.room_pa, trace.room_k) / volume


def vapour_share(trace: Trace) -> tuple[float, float]:
    """Share of the inflow that wood takes up as water vapour, and its standard uncertainty.

    Room air carries vapour; wood that holds the box at its own vapour pressure takes it up again, but not
    at once: half of it, give or take half.
    """
    if trace.wood == "none":
        return 0.0, 0.0
    humidity = trace.log.header.room_RH
    share = 0.5 if humidity is None else (humidity / 100.0 if humidity > 1.5 else humidity)
    full = share * saturation_pressure_pa(trace.room_k) / trace.room_pa
    return 0.5 * full, 0.5 * full if humidity is None else 0.25 * full


def _areas(posterior: Posterior, trace: Trace, released: float) -> tuple[Interval, Interval]:
    """The area with its interval from the fit alone, and with every uncertainty."""
    ln_area = posterior.ln_rate - np.log(_unit_rate(trace)) + np.log1p(vapour_share(trace)[0])
    density = posterior.density.sum(axis=0)
    u_fit, u_whole = log_uncertainties(trace, released)
    fit = _quantiles(ln_area, density, posterior.no_leak, u_fit)
    whole = _quantiles(ln_area, density, posterior.no_leak, u_whole)
    drift = 1.96 * steady_drift_m2(trace)
    return fit, Interval(
        whole.value, max(_wider(whole.value, whole.low, -drift), 0.0), _wider(whole.value, whole.high, drift)
    )


def log_uncertainties(trace: Trace, released: float = 0.0) -> tuple[float, float]:
    """Standard uncertainties of the logarithm of an area beside the readings' own: the fit's, and everything's.

    ``released`` is the share of the rise that is release.
    """
    u_model = min(float(np.hypot(_MODEL_SD, _RELEASE_SD * released / max(1.0 - released, 1e-3))), _LARGEST_SD)
    u_fit = float(np.sqrt(u_model**2 + vapour_share(trace)[1] ** 2 + (trace.accuracy_pa / trace.room_pa) ** 2))
    u_temperature = 0.5 * trace.u_room_k / trace.room_k
    u_room = trace.u_room_pa / trace.room_pa
    return u_fit, float(np.sqrt(u_fit**2 + trace.u_log_volume**2 + u_temperature**2 + u_room**2))


def steady_drift_m2(trace: Trace) -> float:
    """Standard uncertainty, m2, of any area: what room, wood and barometer may drift in a hold."""
    return _STEADY_M2_PER_M3 * (trace.volume_m3 or 0.0)


def _wider(value: float, end: float, by: float) -> float:
    """An interval's end moved out by an independent contribution, in quadrature."""
    return float(value + np.sign(by) * np.hypot(end - value, by))


def _quantiles(ln_area: FloatArray, density: FloatArray, no_leak: float, u: float) -> Interval:
    """Value (median) and ends of an area whose log has ``density`` on a grid, blurred by a normal of sd ``u``.

    The mass without a leak sits at 0; the high end is that of a leak that is there, so that "no leak larger than"
    never says nothing at all.
    """
    if density.sum() <= 0.0:
        return Interval(0.0, 0.0, float(np.exp(ln_area[0])))
    there = np.flatnonzero(density > 1e-12 * density.max())
    chunk = np.arange(there.size) * min(200, there.size) // there.size
    weight = np.bincount(chunk, density[there])
    centre = np.bincount(chunk, density[there] * ln_area[there]) / weight
    ends = ln_area[0] - 6 * u, ln_area[-1] + 6 * u

    def cdf(x: FloatArray) -> FloatArray:
        return np.asarray(no_leak + ndtr((x[:, None] - centre[None, :]) / max(u, 1e-6)) @ weight)

    low, value = (0.0 if p <= no_leak else float(np.exp(_where(cdf, p, *ends))) for p in _PROBABILITIES[:2])
    there_high = no_leak + _PROBABILITIES[2] * float(weight.sum())
    return Interval(value, low, float(np.exp(_where(cdf, there_high, *ends))))


def _where(cdf: Callable[[FloatArray], FloatArray], p: float, low: float, high: float) -> float:
    """Where a distribution function reaches ``p``: on a coarse grid, then on finer ones between two of its nodes."""
    for _ in range(3):
        x = np.linspace(low, high, 25)
        reached = cdf(x)
        i = int(np.clip(np.searchsorted(reached, p), 1, x.size - 1))
        low, high = x[i - 1], x[i]
    return float(np.interp(p, reached[i - 1 : i + 1], (low, high)))


def _law_spread(posterior: Posterior) -> float:
    """Ratio of the largest to the smallest median area among laws of at least 2 % probability."""
    mass = posterior.density.sum(axis=1)
    centres = [float(posterior.ln_rate @ row / m) for row, m in zip(posterior.density, mass, strict=True) if m > 0.02]
    return float(np.exp(max(centres) - min(centres))) if centres else 1.0


def _law(posterior: Posterior) -> LawVerdict:
    """Probabilities of the kinds, the leak taken as there; a name at 90 %."""
    mass = posterior.density.sum(axis=1)
    total = float(mass.sum())
    if total <= 0.0:
        third = 1.0 / len(LAWS)
        return LawVerdict("undetermined", None, None, None, {str(kind): third for kind in LAWS})
    by_kind: dict[str, float] = {
        kind: float(
            sum(m for m, law in zip(mass, posterior.members.laws, strict=True) if law is not None and law.kind == kind)
        )
        / total
        for kind in LAWS
    }
    kind = max(LAWS, key=lambda k: by_kind[k])
    if by_kind[kind] < NAMED:
        return LawVerdict("undetermined", None, None, None, by_kind)
    own = [i for i, law in enumerate(posterior.members.laws) if law is not None and law.kind == kind]
    top = max(own, key=lambda i: mass[i])
    law = posterior.members.laws[top]
    assert law is not None
    b, m = _form(law, posterior.fitted.theta[top])
    variants = {
        v: sum(mass[i] for i in own if (posterior.members.laws[i] or law).variant == v) for v in (None, "sharp", "slip")
    }
    variant = max(variants, key=lambda v: variants[v])
    return LawVerdict(kind, b, m, variant if kind != "between" else None, by_kind)


def _form(law: LeakLaw, theta: FloatArray) -> tuple[float, float]:
    """(b, m) of the law at its peak."""
    least, most = law.own
    share = least + (most - least) * float(mix_share(theta[MIX]))
    if law.kind == "between":
        return equivalent_form(law.at_share(share))
    if law.variant == "slip":
        return slip_b(share), 1.0
    return law.b, law.m


def _without_release(theta: FloatArray, nhold: int) -> FloatArray:
    out = theta.copy()
    out[[LN_MOIST, LN_PORE]] = -60.0
    for h in range(nhold):
        out[NCOMMON + PER_HOLD * h + 1] = 0.0
    return out


def _release(posterior: Posterior, resolution_pa: float) -> Release:
    """Release's share of the last hold's rise, averaged over the credible members; none seen of a rise too small."""
    course, members = posterior.course, posterior.members
    rows = np.arange(len(members.laws))
    theta = posterior.fitted.theta
    last = posterior.observed.hold == course.nhold - 1
    start = theta[:, NCOMMON + PER_HOLD * (course.nhold - 1)]
    end = predict(course, members.tables, theta, rows)[:, last][:, -1]
    quiet = np.stack([_without_release(t, course.nhold) for t in theta])
    end_quiet = predict(course, members.tables, quiet, rows)[:, last][:, -1]
    rise = np.maximum(end - start, 1e-9)
    share = np.clip((end - end_quiet) / rise, 0.0, 1.0)
    share = np.where(members.tables.leaks > 0, share, 1.0)
    weight = posterior.weight
    mean = float(weight @ share)
    probable = float(weight @ (share > 0.05))
    seen_pa = float(rise[posterior.best])
    present = mean > 0.05 and probable > 0.7 and mean * seen_pa > 30.0 and seen_pa > resolution_pa
    return Release(present, mean)


def _at_shut(trace: Trace, window: Window) -> float | None:
    """Pressure at the shut, Pa, where it was read within the time from the shut to the window's start."""
    near = int(np.argmin(np.abs(trace.t_s - window.shut_s)))
    late = abs(float(trace.t_s[near]) - window.shut_s) > max(window.start_s - window.shut_s, 1.0)
    return None if late else float(trace.p_pa[near])


def _loss_5min(posterior: Posterior, course: Course, shut_pa: float | None) -> float:
    """Pressure lost in the first five minutes after the last shut, Pa, as the fitted curve has it.

    ``shut_pa`` is the pressure read at the shut; None where the log begins later.
    """
    start = float(course.held[-1].since_shut_s[0])
    theta = posterior.peak
    rate = float(np.exp(min(theta[LN_RATE], 12.0)))
    t = np.linspace(start, start + 300.0 - min(start, 200.0), 50)
    rough = rough_curve(t, theta[-PER_HOLD] / course.room_pa, rate / course.room_pa)
    longer = replace(course, held=(*course.held[:-1], lay(t, rough, t[-1:])))
    curve = predict(longer, posterior.members.tables, theta[None], np.array([posterior.best]))[0]
    shut_pa = theta[-PER_HOLD] if shut_pa is None else shut_pa
    return float(curve[-1] - shut_pa)


def _block_misfit(posterior: Posterior) -> float:
    """Root mean square of the last hold's residuals over their expected spread."""
    gap = posterior.observed.y_pa - posterior.fitted.mu[posterior.best]
    return float(np.sqrt(np.mean((gap / expected_spread(posterior.observed)) ** 2)))


def _span(posterior: Posterior, end_s: float) -> tuple[float, float]:
    """Pressures of the fit at the ends of the last window."""
    last = posterior.observed.hold == posterior.course.nhold - 1
    mu, t = posterior.fitted.mu[posterior.best][last], posterior.observed.t_s[last]
    slope = max(float(mu[-1] - mu[-2]), 0.0) / max(float(t[-1] - t[-2]), 1e-9) if t.size > 1 else 0.0
    start = float(posterior.peak[NCOMMON + PER_HOLD * (posterior.course.nhold - 1)])
    return start, float(mu[-1] + slope * (end_s - t[-1]))


def hole_interval_m(area_m2: Interval) -> Interval:
    """Diameters of the sharp drilled holes that let in as much, m."""
    return Interval(drilled_hole_m(area_m2.value), drilled_hole_m(area_m2.low), drilled_hole_m(area_m2.high))
