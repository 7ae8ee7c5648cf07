"""The top under vacuum: its bow drawn ten times too large, its span on the board's own scale."""

from __future__ import annotations

from acquisition.records import Box
from analysis import wording
from analysis.numberwords import MM_PER_INCH, System, span_number
from analysis.panels import TopCheck
from dashboard import svg
from dashboard.section import baffle_counts

TOO_LARGE = 10.0
VERDICT_WORDS = {
    "may be tested": "may be tested, in steps",
    "warned": "not yet",
    "not with this top": "not with this top",
    "unknown": "not known",
}


def _arrows(x: float, wide: float, y: float) -> str:
    out = []
    for i in range(9):
        at = x + wide * (i + 0.5) / 9
        out.append(
            svg.line((at, y), (at, y + 20), "second", 1.3)
            + svg.poly(((at - 4, y + 18), (at + 4, y + 18), (at, y + 26)), "second")
        )
    return "".join(out)


def _bowed(x: float, wide: float, y: float, spans: int, deep: float, thick: float) -> str:
    steps = 24
    top: list[svg.Point] = []
    for s in range(spans):
        for i in range(steps + 1):
            u = i / steps
            top.append((x + wide * (s + u) / spans, y + deep * 16 * (u * (1 - u)) ** 2))
    return svg.poly([*top, *[(px, py + thick) for px, py in reversed(top)]], "board", "ink", 1.6)


def _scale_bar(x: float, wide: float, y: float, check: TopCheck, bad: bool, system: System) -> str:
    if not check.may_span_m or check.bay is None:
        return ""
    longest = max(check.never_over_m * 1.35, check.bay.span_m * 1.08)
    may, never, span = (x + wide * v / longest for v in (check.may_span_m, check.never_over_m, check.bay.span_m))
    bar = svg.rect(x, y, may - x, 14, "paper", "grey", 1.3) + svg.rect(
        may, y, never - may, 14, "url(#air-1)", "air", 1.3
    )
    bar += svg.rect(never, y, x + wide - never, 14, "url(#air-3)", "air", 1.3)
    tick = svg.rect(span - 3, y - 8, 6, 30, fill="air" if bad else "ink")
    words = "".join(
        svg.text((at, y + 34), span_number(v, system), fill="second", anchor="middle")
        for at, v in ((may, check.may_span_m), (never, check.never_over_m))
    )
    spoken = f"span {span_number(check.bay.span_m, system)} {wording.length_unit(system)}"
    room = 4.2 * len(spoken)
    named = svg.text(
        (max(x + room, min(span, x + wide - room)), y - 13),
        spoken,
        bold=True,
        fill="air" if bad else "ink",
        anchor="middle",
    )
    return bar + tick + words + named


def _bow_words(bow_m: float, x: float, wide: float, y: float, spans: int, bad: bool, system: System) -> str:
    """How far each span bows; only the number where the spans are many."""
    told = wording.two_figures(bow_m * 1000 / (MM_PER_INCH if system == "inch" else 1.0))
    words = f"bows {told} {wording.length_unit(system)}" if spans < 4 else told
    return "".join(
        svg.text((x + wide * (i + 0.5) / spans, y), words, bold=True, fill="air" if bad else "ink", anchor="middle")
        for i in range(spans)
    )


def top_picture(
    box: Box, check: TopCheck, width: float, title: str, extra: int = 0, system: System = "metric"
) -> str:
    """One top: load, bow and span.

    ``extra`` baffles more than the box has across its length stand under it.
    """
    bad = check.verdict != "may be tested"
    spans = baffle_counts(box)[0] + 1 + extra
    bow = None if check.bow_m is None else check.bow_m.value * 1000
    x, wide, y = 14.0, width - 28.0, 66.0
    deep = min(26.0, (bow or 0.0) * TOO_LARGE * wide / max(box.inside_mm[0] if box.inside_mm else 600.0, 1.0))
    posts = "".join(svg.rect(x + wide * i / spans - 5, y + 12, 10, 32, "board", "ink") for i in range(spans + 1))
    bows = "" if check.bow_m is None else _bow_words(check.bow_m.value, x, wide, y + deep + 32, spans, bad, system)
    head = svg.text(
        (x, 18), f"{title}: {VERDICT_WORDS[check.verdict]}", size=16, bold=True, fill="air" if bad else "ink"
    )
    content = (
        head
        + _arrows(x, wide, 32)
        + posts
        + _bowed(x, wide, y, spans, deep, 12)
        + bows
        + _scale_bar(x, wide, 144, check, bad, system)
    )
    return svg.drawing(width, 186, content, f"{title}: {VERDICT_WORDS[check.verdict]}")
