"""Forming: pressure under the sheet over the seconds since the valve was opened, and what each cure gives back."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import plotly.graph_objects as go

from analysis import wording
from analysis.forming import DETAIL_S, LANDED_S, Cure, FormingCase, FormingRun, cured, form
from analysis.numberwords import pa_per_unit
from analysis.results import Interval
from dashboard import figures as fg
from dashboard import marks, svg
from dashboard.figures import Scale, Size
from dashboard.palette import LIGHT
from dashboard.scales import Linear, linear_for

END_MARGIN_S = 3.0
LEAST_TOLD_PA = 500.0
"""What a cure gives back under this is told as at most this, Pa."""


def forming_curve(
    case: FormingCase,
    sealed: FormingCase,
    needs_pa: float,
    set_s: float,
    scale: Scale,
    width: float,
    tall: float = 440.0,
) -> go.Figure:
    """Pressure under the sheet as it is, with the leaks sealed, and with two tanks.

    Parameters
    ----------
    case, sealed
        The forming as it is, and without its leaks.
    needs_pa
        Pressure under the sheet that the parts need, Pa absolute.
    set_s
        When the sheet has set, s after opening the valve.
    scale
        Units of the pressure axis.
    width, tall
        Size in px.
    """
    narrow = width < 700
    size = Size(width, tall, (44.0, 14.0, 40.0, 44.0) if narrow else (56.0, 120.0, 40.0, 44.0))
    fig, last = fg.blank(size), set_s + END_MARGIN_S
    run, without = form(case, set_s + 10.0), form(sealed, set_s + 10.0)
    low, high = scale.range(0.04)
    fig.update_layout(
        xaxis=fg.axis(range=[0, last]), yaxis=fg.level_axis(range=[low, high], tickvals=scale.ticks(narrow))
    )
    named = scale.unit.unit if narrow else scale.words.replace(" ", "<br>")
    fg.say(fig, 0, 1, named, xref="paper", yref="paper", level="bottom", shift=(-44 if narrow else -54, 4))
    fg.say(
        fig,
        1,
        0,
        "seconds since the valve was opened",
        xref="paper",
        yref="paper",
        anchor="right",
        level="top",
        shift=(0, -24),
    )
    _spans(fig, run, set_s, last, scale, narrow)
    _cost(fig, run, without, scale, last)
    two = cured(case, "tank")
    if two is not None:
        _curve(fig, form(two, set_s + 10.0), scale, last, "ink", 1.6, "dot")
    _curve(fig, without, scale, last, "ink", 2.0, "dash")
    _curve(fig, run, scale, last, "ink", 2.4, None)
    reached = run.under_sheet_at(last) < needs_pa
    _need(fig, needs_pa, scale, last, narrow, reached)
    _short(fig, run, needs_pa, set_s, scale)
    _names(fig, run, without, scale, last, narrow, reached)
    return fig


def _curve(
    fig: go.Figure, run: FormingRun, scale: Scale, last: float, colour: str, width: float, dash: str | None
) -> None:
    inside = run.t_s <= last
    fg.line(fig, run.t_s[inside], scale.of(run.under_sheet_pa[inside]), colour, width, dash)


def _spans(fig: go.Figure, run: FormingRun, set_s: float, last: float, scale: Scale, narrow: bool) -> None:
    low, high = scale.range(0.04)
    landing = run.landing_s
    if landing is not None and landing < set_s:
        detail = min(landing + DETAIL_S, set_s)
        fg.span(fig, 0, landing, low, high, fill=None, hatch=("/", "hairline", 14, 0.09))
        fig.add_shape(
            type="rect",
            x0=detail,
            x1=set_s,
            y0=0,
            y1=1,
            yref="paper",
            layer="below",
            line={"width": 0},
            fillcolor=LIGHT["ahead"],
        )
        for x in (landing, detail):
            fg.rule(fig, (x, 0, x, 1.04), yref="paper", width=1.4)
        fg.say(
            fig,
            landing,
            1,
            "detail forms" if not narrow else "detail",
            yref="paper",
            colour="ink",
            bold=True,
            level="bottom",
            shift=(5, 10),
        )
        if not narrow:
            fg.say(
                fig,
                (detail + set_s) / 2,
                1,
                "sheet cools, held by the vacuum",
                yref="paper",
                anchor="center",
                level="bottom",
                shift=(0, 10),
            )
    fg.rule(fig, (set_s, 0, set_s, 1.04), yref="paper", width=1.4)
    fg.span(fig, set_s, last, low, high, fill=None, hatch=(".", "grey", 8, 0.12))
    fg.say(
        fig, last, 1, "has set", yref="paper", colour="ink", bold=True, anchor="right", level="bottom", shift=(0, 10)
    )


def _cost(fig: go.Figure, run: FormingRun, without: FormingRun, scale: Scale, last: float) -> None:
    if run.landing_s is None:
        return
    t = np.linspace(run.landing_s, last, 120)
    top, bottom = np.interp(t, run.t_s, run.under_sheet_pa), np.interp(t, without.t_s, without.under_sheet_pa)
    if float(np.max(top - bottom)) < 200.0:
        return
    fg.area(
        fig,
        np.concatenate([t, t[::-1]]),
        np.concatenate([scale.of(top), scale.of(bottom)[::-1]]),
        fill=None,
        hatch=("/", "air", 8, 0.16),
    )


def _need(fig: go.Figure, needs_pa: float, scale: Scale, last: float, narrow: bool, reached: bool) -> None:
    level = float(scale.of(needs_pa))
    step = (scale.range()[1] - scale.range()[0]) * 0.012
    fg.rule(fig, (0, level, last, level), "air", 2)
    fg.rule(fig, (0, level + step, last, level + step), "air", 1)
    words = f"parts need<br>{level:.0f} {scale.unit.unit} or {'more' if scale.system == 'inch' else 'less'}"
    if narrow and reached:
        words = words.replace("<br>", " ")
        fg.say(fig, 1, level, words, xref="paper", colour="air", bold=True, anchor="right", level="bottom",
               shift=(-4, 10))  # fmt: skip
    elif narrow:
        fg.say(fig, 0, level, words, xref="paper", colour="air", bold=True, level="top", shift=(4, -4))
    else:
        stands, up = ("bottom", -4) if reached else ("top", 4)
        fg.say(fig, 1, level, words, xref="paper", colour="air", bold=True, level=stands, shift=(8, up))


def _short(fig: go.Figure, run: FormingRun, needs_pa: float, set_s: float, scale: Scale) -> None:
    moments = [(set_s, run.under_sheet_at(set_s), "right")]
    early = run.after_landing(LANDED_S)
    if early is not None and run.landing_s is not None:
        moments.append((run.landing_s + LANDED_S, early, "left"))
    for at, level, side in moments:
        if level - needs_pa < 500.0:
            continue
        top, bottom = float(scale.of(level)), float(scale.of(needs_pa))
        fg.rule(fig, (at, bottom, at, top), "air", 3.5)
        for y in (bottom, top):
            fg.rule(fig, (at - 0.3, y, at + 0.3, y), "air", 3.5)
        words = f"short by {wording.pressure_step_text(level - needs_pa, scale.system)}"
        if side == "left":
            fg.say(fig, at, top, words, colour="air", bold=True, level="bottom", shift=(0, 8))
        else:
            fg.say(fig, at, bottom, words, colour="air", bold=True, anchor="right", level="top", shift=(-6, -6))


def _names(
    fig: go.Figure, run: FormingRun, without: FormingRun, scale: Scale, last: float, narrow: bool, reached: bool
) -> None:
    end, sound = run.under_sheet_at(last), without.under_sheet_at(last)
    if not narrow:
        fg.say(
            fig,
            1,
            float(scale.of(end)),
            "as it is",
            xref="paper",
            colour="ink",
            bold=True,
            level="top" if reached else "bottom",
            shift=(8, -4 if reached else 2),
        )
        if end - sound > 3000.0:
            at = last * 0.6
            fg.say(
                fig,
                at,
                float(scale.of(without.under_sheet_at(at))),
                "leaks sealed",
                colour="ink",
                anchor="right",
                level="top",
                shift=(-4, -2),
            )
    if run.landing_s is not None and run.landing_s < last:
        lands = f"lands after {wording.duration_text(run.landing_s)}"
        words = lands if narrow else f"{lands}, near room pressure till then"
        fg.say(fig, run.landing_s, 0, words, yref="paper", level="bottom", shift=(6, 4))


def cure_bars(
    cures: Sequence[Cure], enough_pa: tuple[float, float], system: wording.System, width: float, label: str = ""
) -> str:
    """What each cure alone gives back, 2 s after the sheet lands and when it has set."""
    unit = pa_per_unit(system)
    half = (width - 34) / 2
    highs = [x for c in cures for x in (c.while_detail_forms_pa.high, c.when_set_pa.high)] + list(enough_pa)
    lows = [min(c.while_detail_forms_pa.low, c.when_set_pa.low, 0.0) for c in cures]
    axes = [
        linear_for(min(lows, default=0.0) / unit, max(max(highs, default=1.0) / unit, 0.5), x, x + half)
        for x in (10.0, 24 + half)
    ]
    top, step = 30.0, 68.0
    bottom = top + step * len(cures)
    parts = [
        svg.text((axes[i].left, 18), words, bold=True)
        for i, words in enumerate(("2 s after it lands", "when it has set"))
    ]
    for axis, enough in zip(axes, enough_pa, strict=True):
        # Only behind the bars, so that no line runs through a name or a number.
        spans = [(top + step * i + 24, top + step * i + 48) for i in range(len(cures))]
        parts += [svg.line((axis.at(0), y), (axis.at(0), end), "ink", 1.4) for y, end in spans]
        if enough > 0:
            parts += [marks.limit_upright(axis.at(enough / unit), y, end) for y, end in spans]
            words = f"enough: {wording.two_figures(enough / unit)}"
            wide = 4.2 * len(words)
            centre = max(axis.left + wide, min(axis.at(enough / unit), axis.left + half - wide))
            parts.append(svg.text((centre, bottom + 18), words, fill="air", bold=True, anchor="middle"))
    parts += [_cure(cure, axes, top + step * i, unit, i == 0) for i, cure in enumerate(cures)]
    return svg.drawing(width, bottom + 26, "".join(parts), label)


def _cure(cure: Cure, axes: Sequence[Linear], y: float, unit: float, first: bool) -> str:
    out = [svg.text((10, y + 18), cure.label, size=16, bold=first)]
    for axis, gain in zip(axes, (cure.while_detail_forms_pa, cure.when_set_pa), strict=True):
        least = f"{LEAST_TOLD_PA / unit:.2g}"
        out.append(_gain(gain.scaled(1 / unit), axis, y + 36, cure.is_leak, first, least))
    out.append(svg.line((10, y + 66), (axes[-1].right, y + 66), "hairline", 1))
    return "".join(out)


def _gain(gain: Interval, axis: Linear, y: float, leak: bool, first: bool, least: str) -> str:
    zero, end = axis.at(0.0), axis.at(gain.value)
    fill = "url(#air-2)" if leak else "url(#ink-3)" if first else "paper"
    colour = "air" if leak else ("ink" if first else "grey")
    bar = svg.rect(min(zero, end), y - 8, abs(end - zero), 16, "paper") + svg.rect(
        min(zero, end), y - 8, abs(end - zero), 16, fill, colour, 1.4
    )
    low, high = axis.at(gain.low), axis.at(gain.high)
    ink = "air" if leak else "ink"
    jaws = svg.line((low, y), (high, y), ink, 2.4) + "".join(
        svg.line((x, y - 8), (x, y + 8), ink, 2.6) for x in (low, high)
    )
    words = f"at most {least}" if gain.high <= float(least) else wording.interval_text(gain, "")
    return bar + jaws + svg.text((zero, y + 25), words, bold=True, fill=ink)
