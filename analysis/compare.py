"""With sheet minus without sheet: what the difference of two holds means, and what it does not.

With a sheet sealed on the rim there is vacuum on both sides of the top: paths between box and space no longer
count, the rim joint and the sheet's edge now do. A formed sheet minus film on the rim is the sheet's edge,
less the film's own small leak; any other pair mixes paths gained and paths covered.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import log, sqrt

import numpy as np

from acquisition.records import Event
from acquisition.setups import ALWAYS_OPEN
from analysis.numberwords import System, amount, area_number, interval_text, with_unit
from analysis.repairs import day_text, renews, same_epoch, touches, undated_reason
from analysis.results import Assessment, FloatArray, Interval, SheetComparison
from analysis.wording import list_text, path_name, plug_off

PREFERRED = ("film-on-rim", "vents-taped", "film-on-top", "undrilled")
"""Setups without a sheet, the most telling first."""
U_LOG_SHEET_VOLUME = 0.03
"""Standard uncertainty of the log volume a formed sheet adds when its log gives no volume of its own."""
DRAWS = 20_000
SEED = 20_260_503
_Z95 = 1.96
_EXTRA_FREEDOM = 2


def compare_sheet(
    without: Sequence[Assessment],
    with_sheet: Sequence[Assessment],
    system: System = "metric",
    rng: np.random.Generator | None = None,
    events: Sequence[Event] = (),
) -> SheetComparison:
    """Effective area with a formed sheet minus without, and the paths that were gained and covered.

    Parameters
    ----------
    without
        Results without a sheet; film on the rim is taken where there is one.
    with_sheet
        Results with formed sheets; several are pooled, each sheet sealing anew.
    system
        Units of the sentence.
    rng
        Source of the random draws; by default one with a fixed seed, so that the same tests give the same figures.
    events
        Repairs and changes of the box: tests on two sides of one are not set against each other.

    Returns
    -------
    The comparison; refused, with its reason, when one side has no usable area or the logs are of two boxes.
    The volume's error is common to both sides, so it scales the difference but cannot turn its sign.
    """
    boxes = sorted({a.box for a in (*without, *with_sheet) if a.box is not None})
    box = boxes[0] if len(boxes) == 1 else None
    if len(boxes) > 1:
        return _refused(None, f"The logs are of different boxes, {list_text(boxes)}; compare one box with itself.")
    mixed_up = _mixed_up(without, with_sheet)
    if mixed_up:
        return _refused(box, mixed_up)
    bare = _chosen([a for a in without if a.setup in PREFERRED or a.setup is None])
    sheeted = _chosen([a for a in with_sheet if a.setup in ("formed-sheet", None)])
    if not bare or not sheeted:
        side, logs = ("without a sheet", without) if not bare else ("with a formed sheet", with_sheet)
        return _refused(box, _why_none(side, logs))
    bare, sheeted, apart = _of_one_epoch(bare, sheeted, events)
    if apart:
        return _refused(box, apart)
    difference = _difference(bare, sheeted, rng or np.random.default_rng(SEED))
    gained = tuple(p for p in sheeted[0].open_paths if p not in bare[0].open_paths)
    covered = tuple(p for p in bare[0].open_paths if p not in sheeted[0].open_paths)
    sentence = comparison_sentence(difference, gained, covered, bare, len(sheeted), system)
    return SheetComparison(box, "estimate", None, difference, gained, covered, sentence)


def _refused(box: str | None, reason: str) -> SheetComparison:
    return SheetComparison(box, "refused", reason, None, (), (), f"No answer. {reason}")


def _mixed_up(without: Sequence[Assessment], with_sheet: Sequence[Assessment]) -> str:
    """That the two sides are one test, or stand in each other's place; empty when they do not."""
    twice = next((a.log for a in without if a.log in {other.log for other in with_sheet}), "")
    if twice:
        return f"{twice} stands on both sides; give one log without a sheet and another one with it."
    first = next((a.log for a in without if a.setup == "formed-sheet"), "")
    if first and any(a.setup in PREFERRED for a in with_sheet):
        return f"The two sides are swapped: {first} has a formed sheet; give it after --with-sheet, the other before."
    return ""


def _why_none(side: str, logs: Sequence[Assessment]) -> str:
    reason = next((f" {a.log}: {a.reason}" for a in logs if a.outcome == "refused" and a.reason), "")
    if not reason and logs:
        reason = f" {logs[0].log} has the setup {logs[0].setup or 'not said'}."
    return f"No usable hold {side}.{reason}"


def _chosen(logs: Sequence[Assessment]) -> list[Assessment]:
    """Usable logs of the most telling setup, all with the same paths open: the fewest sealed, then the most logs."""
    once = {(a.log, a.started, a.area_m2): a for a in logs}.values()
    usable = [plug_off(a) for a in once if a.area_m2 is not None and a.outcome != "refused"]
    groups: dict[tuple[str | None, tuple[str, ...]], list[Assessment]] = {}
    for a in usable:
        groups.setdefault((a.setup, tuple(sorted(a.open_paths))), []).append(a)

    def order(group: list[Assessment]) -> tuple[int, int, int]:
        setup = group[0].setup
        rank = PREFERRED.index(setup) if setup in PREFERRED else len(PREFERRED)
        return rank, len(group[0].sealed), -len(group)

    return min(groups.values(), key=order, default=[])


def _of_one_epoch(
    bare: list[Assessment], sheeted: list[Assessment], events: Sequence[Event]
) -> tuple[list[Assessment], list[Assessment], str]:
    """The tests of both sides since the last repair of a place that either had open, or why one side has none."""
    mended = [e for e in events if renews(e) and any(touches(e, s[0].open_paths, s[0].sealed) for s in (bare, sheeted))]
    if not mended:
        return bare, sheeted, ""
    every = [*bare, *sheeted]
    undated = next((reason for a in every if (reason := undated_reason(a, mended))), "")
    if undated:
        return bare, sheeted, undated
    newest = max(every, key=lambda a: a.started.timestamp() if a.started is not None else float("-inf"))
    kept = [[a for a in side if same_epoch(a, newest, mended)] for side in (bare, sheeted)]
    last = max(mended, key=lambda e: e.date)
    again = "" if all(kept) else (
        f"The tests with and without a sheet are on two sides of the {last.kind} of {day_text(last.date)}; hold again "
        f"{'with a formed sheet' if kept[0] else 'without a sheet'}.")
    return kept[0], kept[1], again


def _difference(bare: Sequence[Assessment], sheeted: Sequence[Assessment], rng: np.random.Generator) -> Interval:
    common = rng.standard_normal(DRAWS)
    own_volume = _has_own_volume(bare, sheeted)
    extra = 0.0 if own_volume else U_LOG_SHEET_VOLUME
    with_area = pooled_draws(sheeted, common, rng) * np.exp(extra * rng.standard_normal(DRAWS))
    draws = with_area - pooled_draws(bare, common, rng)
    low, high = (float(x) for x in np.quantile(draws, (0.025, 0.975)))
    value = pooled_value(sheeted) - pooled_value(bare)
    return Interval(value, min(low, value), max(high, value))


def _has_own_volume(bare: Sequence[Assessment], sheeted: Sequence[Assessment]) -> bool:
    """Whether the sheet's logs give a volume of their own: one that differs from the bare box's."""
    one, other = bare[0].volume_m3, sheeted[0].volume_m3
    return one is not None and other is not None and abs(other / one - 1.0) > 1e-6


def pooled_value(group: Sequence[Assessment]) -> float:
    """Best area of several tests of one setup, m2: the middle of their logarithms, or their mean if one is a limit."""
    values = np.array([a.area_m2.value for a in group if a.area_m2 is not None])
    return float(np.exp(np.log(values).mean())) if _all_estimates(group) else float(values.mean())


def _all_estimates(group: Sequence[Assessment]) -> bool:
    return all(a.area_m2 is not None and a.area_m2.low > 0.0 for a in group)


def pooled_draws(group: Sequence[Assessment], common: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Random draws of the pooled area of one setup's tests, m2.

    ``common`` is the standard normal draw of the volume's error, shared by every log of the box. Where the
    tests differ by more than their own intervals explain, that scatter widens the result: each sheet and each
    film seals anew.
    """
    each = np.array([area_draws(a, rng) for a in group])
    scale = np.exp(group[0].u_log_volume * common)
    if not _all_estimates(group):
        return np.asarray(each.mean(axis=0) * scale)
    middle = np.log(each).mean(axis=0)
    n = len(group)
    if n > 1:
        middle = middle + between_tests(group) / sqrt(n) * rng.standard_t(n - 1 + _EXTRA_FREEDOM, common.size)
    return np.asarray(np.exp(middle) * scale)


def between_tests(group: Sequence[Assessment]) -> float:
    """Standard deviation of the log area from test to test beyond what their own intervals explain."""
    areas = [a.area_m2 for a in group if a.area_m2 is not None and a.area_m2.low > 0.0]
    if len(areas) < 2:
        return 0.0
    seen = float(np.var(np.log([a.value for a in areas]), ddof=1))
    own = float(np.mean([_own_width(a) ** 2 for a in group]))
    return sqrt(max(seen - own, 0.0))


def _own_width(assessment: Assessment) -> float:
    """Standard uncertainty of the log area that is the test's own: without the common volume error."""
    area = assessment.area_m2
    if area is None or area.low <= 0.0:
        return 0.0
    whole = log(area.high / area.low) / (2.0 * _Z95)
    return sqrt(max(whole**2 - assessment.u_log_volume**2, 0.0))


def area_draws(assessment: Assessment, rng: np.random.Generator) -> FloatArray:
    """Random draws of one test's area without the common volume error, m2; both sides of the interval respected."""
    area = assessment.area_m2
    assert area is not None
    if area.low <= 0.0 or area.value <= 0.0:
        return _limit_draws(area, rng)
    z = rng.standard_normal(DRAWS)
    u_volume = assessment.u_log_volume
    up, down = (
        sqrt(max((log(end) / _Z95) ** 2 - u_volume**2, 0.0)) for end in (area.high / area.value, area.value / area.low)
    )
    return np.asarray(area.value * np.exp(np.where(z > 0.0, up * z, down * z)))


def _limit_draws(area: Interval, rng: np.random.Generator) -> FloatArray:
    """An upper limit as a limit: anything down to nothing under the best guess, a normal tail above it."""
    guess = max(area.value, 0.0)
    below = rng.uniform(0.0, max(guess, 1e-15), DRAWS)
    above = guess + np.abs(rng.standard_normal(DRAWS)) * (area.high - guess) / _Z95
    return np.asarray(np.where(rng.uniform(size=DRAWS) < (0.5 if guess > 0.0 else 0.0), below, above))


def comparison_sentence(
    difference: Interval, gained: Sequence[str], covered: Sequence[str], bare: Sequence[Assessment], sheets: int,
    system: System = "metric",
) -> str:
    """What the difference says and does not say.

    ``gained`` and ``covered`` are the paths that only one side had open, ``bare`` the tests without a sheet,
    ``sheets`` how many sheets were held.
    """
    new = [path_name(p) for p in gained if p not in ALWAYS_OPEN]
    gone = [path_name(p, bare[0].setup) for p in covered if p not in ALWAYS_OPEN]
    if difference.high <= 0.0:
        return _less(difference, new, gone, system)
    if difference.low <= 0.0:
        return _open_question(difference, new, system)
    more = _more(difference, new, gone, bare, system)
    return more if sheets > 1 else f"{more} One sheet only: hold a second before blaming the rim."


def _less(difference: Interval, new: Sequence[str], gone: Sequence[str], system: System) -> str:
    blamed = "sheet edge" if "sheet edge" in new else _either(new) if new else ""
    what = f"Not the {blamed}" if blamed else "Less air gets in"
    first = f"{what}: with a sheet on it takes in {_less_amount(-difference.value, system)}."
    if not gone:
        return f"{first} Nothing was covered, so one of the two holds is off: repeat it."
    return f"{first} Look at what the sheet covers: {_either(gone)}."


def _less_amount(area_m2: float, system: System) -> str:
    if system == "inch":
        return f"less, by {amount(area_m2, system).removeprefix('as much as ')}"
    return f"{with_unit(area_number(area_m2), 'mm²')} less"


def _either(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} or {names[-1]}"


def _open_question(difference: Interval, new: Sequence[str], system: System) -> str:
    what = f"whether the {_either(new)} lets air in" if new else "whether the sheet changes anything"
    return f"Cannot tell {what}: the difference is {_difference_text(difference, system)}. Hold another sheet."


def _difference_text(difference: Interval, system: System) -> str:
    if system == "inch":
        return f"at most {amount(max(difference.high, 0.0), system).removeprefix('as much as ')}"
    return interval_text(difference.scaled(1e6), "mm²", signed=True)


def _more(
    difference: Interval, new: Sequence[str], gone: Sequence[str], bare: Sequence[Assessment], system: System
) -> str:
    much = _more_amount(difference, system)
    if bare[0].setup == "film-on-rim" and new == ["sheet edge"]:
        return f"The sheet edge: {much}. {_box_itself(bare, system)}"
    first = f"With a sheet on it takes in more: {much}."
    if not new:
        return f"{first} No path was gained, so the two holds do not agree: repeat one."
    less = f", less what the sheet covers ({list_text(gone)})" if gone else ""
    part = " Film on the rim instead would part them." if len(new) > 1 else ""
    return f"{first} That is {list_text(new)}{' together' if len(new) > 1 else ''}{less}.{part}"


def _more_amount(difference: Interval, system: System) -> str:
    if system == "inch":
        return f"like {amount(difference.value, system).removeprefix('as much as ')}"
    return interval_text(difference.scaled(1e6), "mm²", signed=True)


def _box_itself(bare: Sequence[Assessment], system: System) -> str:
    verdicts = {a.verdict for a in bare}
    if verdicts <= {"tight", "within"}:
        return "The box itself holds."
    if verdicts & {"over", "stalls"}:
        return "The box itself is over its limit too."
    return f"The box itself takes in {amount(pooled_value(bare), system)}."
