"""Speed against the obvious way, in one run: ``curve_fit`` over ``solve_ivp`` of the same mass balance.

    python benchmarks/speed.py            everything, some minutes
    python benchmarks/speed.py --quick    the same with fewer logs

a. One log, the same three laws (hole, seep, one mix), the same readings, the same tolerance, the same profile of
   the rate at the same number of rates: how many times faster is the fit. The obvious way is timed twice: leak and
   moisture only, as one would first write it, and with all that our model describes but bow and the gauge's zero.
b. A log of 864 000 rows (a day, ten a second), read and assessed: how many times as long as pandas takes to read it.
c. A thousand logs of 600 rows through the command line's batch on two processes against the obvious way on two
   processes. The obvious way is timed on ten logs, ours on ``--logs`` of them; both are carried on to a thousand.

Times are processor time (a machine shared with others tells nothing else), wall time beside it.
"""

from __future__ import annotations

import argparse
import os
import resource
import tempfile
import time
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from math import exp
from multiprocessing import get_context
from pathlib import Path
from typing import Any, TypeVar

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.integrate import solve_ivp
from scipy.optimize import curve_fit
from scipy.special import ndtr

from acquisition.logfile import read_log, write_log
from acquisition.records import Log
from acquisition.simulated.draw import random_scenario
from acquisition.simulated.scenario import HOLE, GaugeModel, Leak, Scenario, Shell, Stage, Stated
from acquisition.simulated.simulate import simulate, simulate_many
from analysis.assess import assess_logs
from analysis.course import Course
from analysis.laws import LeakLaw, hole_flow
from analysis.looking import Seen, look
from analysis.posterior import explore, make_members
from analysis.priors import release_priors
from analysis.readings import observe
from analysis.sweep import LN_MOIST, LN_PORE, LN_PORE_RATE, LN_RATE, LN_TAU_MOIST, LN_WARMTH, MIX, NCOMMON, PORE_FILL
from dashboard.batch import assess_batch

FloatArray = NDArray[np.float64]
Result = TypeVar("Result")
RATES = 13


@dataclass(frozen=True)
class Tolerance:
    """The integrator's relative tolerance and what ``curve_fit`` is told."""

    rtol: float
    climb: Mapping[str, object]


SAME = Tolerance(1e-6, {"ftol": 1e-4, "xtol": 1e-4, "diff_step": 1e-3, "x_scale": "jac", "max_nfev": 50})
"""That of our fit: curves to a hundred-thousandth, peaks to a hundredth in log likelihood."""
AS_FIRST_WRITTEN = Tolerance(1e-9, {})
"""curve_fit's own defaults, whose tiny differences need a far tighter integrator."""
WHERE_MUCH_IS_FITTED = Tolerance(
    1e-8, {"ftol": 1e-6, "xtol": 1e-6, "diff_step": 1e-5, "x_scale": "jac", "max_nfev": 500}
)
"""With ten parameters a rougher climb stops 10 to 20 above the least squares."""
LAWS = (
    LeakLaw("hole", None, 0.528, 0.5, 1.0, hole_flow, (1.0, 1.0)),
    LeakLaw("between", None, float("nan"), float("nan"), 1.0, hole_flow, (0.0, 1.0)),
    LeakLaw("seep", None, 0.0, 1.0, 1.0, hole_flow, (0.0, 0.0)),
)
"""The three plain laws, for both ways."""
WHOLE = [LN_RATE, NCOMMON, LN_MOIST, LN_TAU_MOIST, LN_PORE, LN_PORE_RATE, PORE_FILL, LN_WARMTH, NCOMMON + 1, MIX]
"""The parameters of our model that ``whole_curve`` takes, in its order."""


@dataclass(frozen=True)
class Clock:
    """Processor and wall time, s; processor time of ended children included."""

    cpu_s: float
    wall_s: float


def timed(work: Callable[[], Result]) -> tuple[Result, Clock]:
    def used() -> float:
        own, children = resource.getrusage(resource.RUSAGE_SELF), resource.getrusage(resource.RUSAGE_CHILDREN)
        return own.ru_utime + own.ru_stime + children.ru_utime + children.ru_stime

    cpu, wall = used(), time.perf_counter()
    result = work()
    return result, Clock(used() - cpu, time.perf_counter() - wall)


# The obvious way -----------------------------------------------------------------------------------------------


def nozzle(r: float) -> float:
    """St Venant and Wantzel over choked flow, gamma 1.4."""
    x = min(max(r, 0.5283), 1.0)
    return (2.0 * 1.4 / 0.4 * max(x ** (2.0 / 1.4) - x ** (2.4 / 1.4), 0.0)) ** 0.5 / 0.68473


def obvious_curve(room_pa: float, share: float | None, rtol: float) -> Callable[..., FloatArray]:
    """``f(t, ln_rate, p0, moisture, ln_tau[, share])`` by ``solve_ivp``; ``share`` None leaves it free."""

    def curve(
        t: FloatArray, ln_rate: float, p0: float, moisture: float, ln_tau: float, free: float = 0.5
    ) -> FloatArray:
        rate, tau, s = float(np.exp(ln_rate)), float(np.exp(ln_tau)), free if share is None else share

        def slope(now: float, p: FloatArray) -> list[float]:
            r = min(max(float(p[0]) / room_pa, 0.0), 1.0)
            return [rate * (s * nozzle(r) + (1.0 - s) * (1.0 - r * r) / 0.96) + moisture / tau * exp(-now / tau)]

        return np.asarray(solve_ivp(slope, (0.0, t[-1]), [p0], t_eval=t, rtol=rtol, atol=1e4 * rtol).y[0])

    return curve


def whole_curve(course: Course, share: float | None, rtol: float) -> Callable[..., FloatArray]:
    """``f(t, *parameters)`` of all that our model describes but bow and zero, its parameters after the readings.

    They are those of ``WHOLE``; the last, the probit of the share, only where ``share`` is left free.
    """
    room_pa, driven, since = course.room_pa, course.driven[0], float(course.held[0].since_shut_s[0])

    def curve(t: FloatArray, *given: float) -> FloatArray:
        ln_rate, p0, ln_moist, ln_tau, ln_pore, ln_pore_rate, fill, ln_warmth, lack, *free = given
        rate, moist, tau, pore, breath = (float(np.exp(x)) for x in (ln_rate, ln_moist, ln_tau, ln_pore, ln_pore_rate))
        s, loss = float(ndtr(free[0])) if free else float(share or 0.0), 1.0 / (2.5 * float(np.exp(ln_warmth)))

        def wet(now: FloatArray | float) -> FloatArray:
            return np.asarray(moist * (np.exp(-since / tau) - np.exp(-(since + now) / tau)))

        def slope(now: float, state: FloatArray) -> list[float]:
            air, stored, warm = state
            p = float(air * (1.0 + warm) + wet(now))
            r = min(max(p / room_pa, 0.0), 1.0)
            out = breath / room_pa * (stored * stored - p * p)
            inflow = rate * (s * nozzle(r) + (1.0 - s) * (1.0 - r * r) / 0.96) + pore * out
            return [inflow, -out, (inflow * (0.4 - warm) - warm * loss) / air]

        stored = course.first_pa + fill * (room_pa - course.first_pa)
        for dt, p in zip(driven.dt_s, driven.p_pa, strict=True):
            step = breath / room_pa * dt
            stored -= step * (stored**2 - p**2) / (1.0 + step * stored)
        kept = exp(-since * loss / p0)
        warm = 0.4 * rate / (rate + loss) * (1.0 - kept) - lack / p0 * kept
        start = [p0 / (1.0 + warm), stored, warm]
        air, _, warmth = solve_ivp(slope, (0.0, t[-1]), start, t_eval=t, rtol=rtol, atol=1e4 * rtol).y
        return np.r_[air * (1.0 + warmth) + wet(t), given]

    return curve


def obvious_way(log: Log, tolerance: Tolerance = SAME) -> tuple[float, float]:
    """Best fit and profile of each law by ``curve_fit``; the 95 % interval of ln of the rate over the laws.

    It is given the hold's readings, start values near the answer and the range of every parameter.
    """
    seen = look(log, None)
    t, y, sd, ln_rate = _given(seen)
    found = []
    for share in (1.0, None, 0.0):
        curve = obvious_curve(seen.trace.room_pa, share, tolerance.rtol)
        n = 5 if share is None else 4
        first = np.array([ln_rate, y[0], 100.0, np.log(25.0), 0.5][:n])
        ends = np.array([[-20.0, 0.0, 0.0, 0.0, 0.0][:n], [12.0, 1.2e5, 5e3, 6.0, 1.0][:n]])
        found.append(profile(curve, t, y, sd, first, ends, tolerance))
    return _inside(found)


def same_way(log: Log, tolerance: Tolerance = WHERE_MUCH_IS_FITTED) -> tuple[float, float]:
    """The obvious way with our model: heat, stored air and priors too, the priors as readings of the parameters."""
    seen = look(log, None)
    t, y, sd, ln_rate = _given(seen)
    prior = release_priors(seen.trace, [(seen.trace, seen.windows[-1])], fresh=True)[0]
    course = observe([seen.trace], [seen.windows[-1:]], [0.0], seen.view.noise_pa)[1]
    found = []
    for share in (1.0, None, 0.0):
        own = WHOLE if share is None else WHOLE[:-1]
        first = np.r_[ln_rate, y[0], prior.mean[own][2:]]
        ends = np.array([np.full(first.size, -np.inf), np.full(first.size, np.inf)])
        told, sigma = np.r_[y, prior.mean[own]], np.r_[sd, prior.sd[own]]
        found.append(profile(whole_curve(course, share, tolerance.rtol), t, told, sigma, first, ends, tolerance))
    return _inside(found)


def profile(
    curve: Callable[..., FloatArray], t: FloatArray, told: FloatArray, sd: FloatArray, first: FloatArray,
    ends: FloatArray, tolerance: Tolerance,
) -> tuple[FloatArray, FloatArray]:
    """Rates about the best one and the least squares at each, all other parameters fitted again."""
    best, cov = curve_fit(curve, t, told, first, sd, True, bounds=ends, method="trf", **tolerance.climb)
    rates = best[0] + np.linspace(-3.0, 3.0, RATES) * min(float(np.sqrt(cov[0, 0])), 0.5)
    rest, heights = best[1:], []
    for ln_rate in rates:
        pinned = partial(_pinned, curve, ln_rate)
        rest = curve_fit(pinned, t, told, rest, sd, True, bounds=ends[:, 1:], method="trf", **tolerance.climb)[0]
        heights.append(float(np.sum(((told - pinned(t, *rest)) / sd) ** 2)))
    return rates, np.array(heights)


def _inside(found: Sequence[tuple[FloatArray, FloatArray]]) -> tuple[float, float]:
    rates, heights = np.concatenate(found, axis=1)
    inside = rates[heights < heights.min() + 3.84]
    return float(inside.min()), float(inside.max())


def _pinned(curve: Callable[..., FloatArray], ln_rate: float, t: FloatArray, *rest: float) -> FloatArray:
    return curve(t, ln_rate, *rest)


def _given(seen: Seen) -> tuple[FloatArray, FloatArray, FloatArray, float]:
    """Times, pressures and their standard deviations of the last hold, and about what ln of the rate is."""
    t, y = _held(seen)
    sd = np.full(t.size, max(seen.view.noise_pa, 0.29 * seen.trace.resolution_pa))
    return t, y, sd, float(np.log(max((y[t.size // 3] - y[0]) / max(t[t.size // 3], 1e-9), 1e-3)))


def _held(seen: Seen) -> tuple[FloatArray, FloatArray]:
    """Times from the window's start, s, and pressures of the last hold."""
    window = seen.windows[-1]
    inside = (seen.trace.t_s >= window.start_s) & (seen.trace.t_s <= window.end_s)
    return seen.trace.t_s[inside] - window.start_s, seen.trace.p_pa[inside]


def our_way(log: Log) -> tuple[float, float]:
    """The same three laws with one release variant through the engine."""
    seen = look(log, None)
    observed, course = observe([seen.trace], [seen.windows[-1:]], [0.0], seen.view.noise_pa)
    priors = release_priors(seen.trace, [(seen.trace, seen.windows[-1])], fresh=True)[:1]
    posterior = explore(course, observed, make_members(priors, LAWS))
    cdf = np.cumsum(posterior.density.sum(axis=0))
    low, high = np.interp([0.025, 0.975], cdf / cdf[-1], posterior.ln_rate)
    return float(low), float(high)


# Logs ----------------------------------------------------------------------------------------------------------


def one_log(rows: int = 600) -> Log:
    """A coated box with a hole of 0.1 mm2, held so that the log has about ``rows`` rows."""
    hold = 0.75 * rows
    stages = (Stage("baseline", 10.0), Stage("pump-down", 100.0, 12e3), Stage("soak", 20.0), Stage("hold", hold))
    return simulate(Scenario(
        stages, (Leak("panel-edges", 0.1e-6, HOLE),), shell=Shell(0.032, "coated", 0.95),
        gauge=GaugeModel(resolution=0.01, noise=0.02, interval_s=1.0),
        stated=Stated(volume_m3=0.032, volume_u_m3=3e-4, barometer_pa=101_325.0, room_c=20.0), seed=5,
    )).log  # fmt: skip


def many_logs(count: int, rows: int = 600) -> list[Log]:
    """Random holds of every kind of box, each cut or thinned to ``rows`` rows."""
    rng = np.random.default_rng(7)
    logs: list[Log] = []
    while len(logs) < count:
        drawn = [random_scenario(rng, hold_s=rng.uniform(300.0, 600.0), gauge="digital") for _ in range(20)]
        made = [s.log for s in simulate_many(drawn) if s.truth.holds]
        logs += [_with_rows(log, rows) for log in made if log.reading.size >= rows]
    return logs[:count]


def _with_rows(log: Log, rows: int) -> Log:
    keep = np.unique(np.linspace(0, log.reading.size - 1, rows).astype(np.intp))
    raw, note = (tuple(cells[i] for i in keep) if cells else () for cells in (log.raw, log.note))
    columns = {name: tuple(cells[i] for i in keep) for name, cells in log.columns.items()}
    return replace(log, elapsed_s=log.elapsed_s[keep], reading=log.reading[keep], raw=raw, note=note, columns=columns)


def day_log(path: Path) -> None:
    """Write a log of 864 000 rows: the one log's test slowed to a day, ten readings a second."""
    log = one_log()
    t = np.arange(864_000) / 10.0
    rng = np.random.default_rng(3)
    slow = np.interp(t, log.elapsed_s * (86_400.0 / log.elapsed_s[-1]), log.reading) + rng.normal(0.0, 0.02, t.size)
    reading = np.round(slow, 2)
    raw = tuple(f"{value:.2f} kPa" for value in reading.tolist())
    write_log(replace(log, elapsed_s=t, reading=reading, raw=raw, note=(), columns={}, keys=()), path)


# The three comparisons -----------------------------------------------------------------------------------------


def compare_fit(repeats: int) -> None:
    log = one_log()
    our_way(log)
    ours, own = timed(lambda: [our_way(log) for _ in range(5 * repeats)])
    theirs, obvious = timed(lambda: [obvious_way(log) for _ in range(repeats)])
    report("a. one log, three laws, profile", own, obvious, 5 * repeats, repeats, 20.0)
    same, whole = timed(lambda: same_way(log))
    first = timed(lambda: obvious_way(log, AS_FIRST_WRITTEN))[1]
    print(f"   with curve_fit's own defaults the obvious way takes {first.cpu_s:.3f} s")
    ratio = whole.cpu_s / (own.cpu_s / (5 * repeats))
    print(f"   with our model (heat, air in the wood) it takes {whole.cpu_s:.2f} s: ours {ratio:.0f} times faster")
    print(f"   95 % of ln(rate): ours {_ends(ours[0])}; obvious {_ends(theirs[0])}, with our model {_ends(same)}")


def _ends(interval: tuple[float, float]) -> str:
    return f"{interval[0]:.4f} to {interval[1]:.4f}"


def report(name: str, own: Clock, obvious: Clock, own_times: int, obvious_times: int, wanted: float) -> None:
    cpu = (obvious.cpu_s / obvious_times) / (own.cpu_s / own_times)
    wall = (obvious.wall_s / obvious_times) / (own.wall_s / own_times)
    print(f"{name}: {cpu:.0f} times faster (wall {wall:.0f}), wanted {wanted:g}")
    print(f"   ours {own.cpu_s / own_times:.3f} s a log, obvious {obvious.cpu_s / obvious_times:.3f} s")


def compare_day() -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "day.csv"
        day_log(path)
        assess_logs([(one_log(), None)])
        log = read_log(path)
        works = lambda: pd.read_csv(path, comment="#"), lambda: read_log(path), lambda: assess_logs([(log, None)])[0]
        (table, pandas), (_, read), (result, assess) = best_of_each(works)
    total = read.cpu_s + assess.cpu_s
    print(f"b. {len(table)} rows, {result.outcome}: {total / pandas.cpu_s:.2f} times pandas's reading, wanted 2")
    print(f"   pandas {pandas.cpu_s:.3f} s; ours {read.cpu_s:.3f} s to read, {assess.cpu_s:.3f} s to assess")
    wall = (read.wall_s + assess.wall_s) / pandas.wall_s
    print(f"   by wall time {wall:.2f} times")


def best_of_each(works: Sequence[Callable[[], Any]], times: int = 9) -> list[tuple[Any, Clock]]:
    """Each work's result and best time, the works taking turns: a busy machine then slows none alone."""
    best = [timed(work) for work in works]
    for _ in range(times - 1):
        for i, work in enumerate(works):
            best[i] = min(best[i], timed(work), key=lambda t: t[1].cpu_s)
    return best


def compare_many(count: int) -> None:
    logs = many_logs(count)
    pairs = [(log, None) for log in logs]
    results, own = timed(lambda: assess_batch(pairs, 2))
    estimates = sum(not isinstance(r, str) and r.outcome != "refused" for r in results)
    held = [log for log, r in zip(logs, results, strict=True) if not isinstance(r, str) and r.test == "hold"]
    usable = [log for log in held if look(log, None).windows][:10]
    obvious = timed(lambda: _two_processes(usable))[1]
    name = f"c. {count} logs of 600 rows ({estimates} answered) on two processes"
    report(name, own, obvious, count, len(usable), 20.0)
    ours_s, obvious_s = 1000 * own.wall_s / count, 1000 * obvious.wall_s / len(usable)
    print(f"   a thousand: ours {ours_s:.0f} s, obvious {obvious_s:.0f} s of wall time (carried on)")


def _two_processes(usable: Sequence[Log]) -> list[tuple[float, float]]:
    with ProcessPoolExecutor(2, get_context("spawn")) as pool:
        return list(pool.map(_obvious_or_none, usable))


def _obvious_or_none(log: Log) -> tuple[float, float]:
    try:
        return obvious_way(log)
    except (RuntimeError, ValueError):  # curve_fit gives up on some logs; its time counts all the same
        return float("nan"), float("nan")


def main() -> None:
    words = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    words.add_argument("--quick", action="store_true")
    words.add_argument("--logs", type=int, default=1000)
    words.add_argument("--only", choices=["a", "b", "c"])
    given = words.parse_args()
    if given.only in (None, "a"):
        compare_fit(1 if given.quick else 3)
    if given.only in (None, "b"):
        compare_day()
    if given.only in (None, "c"):
        compare_many(40 if given.quick else given.logs)


if __name__ == "__main__":
    main()
