"""Plotted figures and bars: what stands where, in either unit system."""

from __future__ import annotations

import base64
import re
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from acquisition.records import Event
from analysis.history import history
from analysis.results import Interval
from analysis.wording import System
from dashboard import figures_hold, figures_months, figures_rank, figures_sheet, scales, timemap
from dashboard.figures import Scale, decade_ticks, thin
from dashboard.figures_forming import cure_bars, forming_curve
from tests.dashboard.made_up_shop import MM2, ROOM, box, iv, made_up, not_told_b16, over_b07, result, sheet_b11

KPA, INHG = Scale("metric", ROOM), Scale("inch", ROOM)


def values(data: Any) -> np.ndarray:
    if isinstance(data, dict):
        return np.frombuffer(base64.b64decode(data["bdata"]), dtype=data["dtype"])
    return np.asarray(data)


def words(fig: Any) -> list[str]:
    return [a.text for a in fig.layout.annotations]


def hold() -> Any:
    return over_b07().trials[0].result


def test_thin_keeps_a_spike_of_one_sample() -> None:
    y = np.zeros(100_000)
    y[54_321] = 7.0
    keep = thin(y, 1000)
    assert 54_321 in keep
    assert keep.size <= 1100


def test_hold_is_the_widest_phase_and_stands_on_minutes_since_the_shut() -> None:
    res = hold()
    at = timemap.time_map(res, res.curves)
    wide = {p.name: at.at(p.end_s) - at.at(p.start_s) for p in res.phases}
    assert wide["hold"] > sum(w for n, w in wide.items() if n != "hold")
    fig = figures_hold.hold_curve(res, KPA)
    assert list(fig.layout.xaxis.ticktext) == ["0", "1", "2", "3", "4"]


def test_hold_curve_names_its_parts_on_the_lines() -> None:
    said = " | ".join(words(figures_hold.hold_curve(hold(), KPA)))
    for part in (
        "hold, 4",
        "soak 3:00",
        "pump-down",
        "seep fit",
        "room",
        "no pattern left",
        "left out",
        "kPa<br>absolute",
    ):
        assert part in said
    assert not figures_hold.hold_curve(hold(), KPA).layout.showlegend


def test_inch_pressures_count_down_to_nothing_at_the_room() -> None:
    assert INHG.of(ROOM) == pytest.approx(0.0)
    # 101.1 kPa is 29.85 inHg (3386.389 Pa each, NIST SP 811).
    assert INHG.of(0.0) == pytest.approx(29.855, abs=0.001)
    low, high = figures_hold.hold_curve(hold(), INHG).layout.yaxis.range
    assert low > high


def test_readings_are_drawn_where_the_gauge_read_them() -> None:
    res = hold()
    fig = figures_hold.hold_curve(res, KPA)
    drawn = np.concatenate([values(t.y) for t in fig.data if t.mode == "markers" and t.yaxis == "y"])
    assert drawn.min() == pytest.approx(11.0, abs=0.2)


def test_refused_curve_frames_the_evidence() -> None:
    res = made_up()["B-05"].trials[0].result
    fig = figures_hold.hold_curve(res, KPA)
    assert "<b>12.0 kPa, 241 times over</b>" in words(fig)
    assert any(s.type == "rect" and s.line.dash == "dash" for s in fig.layout.shapes)


def test_curve_of_readings_alone_needs_no_phases() -> None:
    from dataclasses import replace

    res = replace(hold(), phases=(), span=None, law=None)
    assert figures_hold.hold_curve(res, KPA, 390).data


@pytest.mark.parametrize(("duration", "step"), [(40, 10), (240, 60), (1800, 300)])
def test_minute_ticks_are_nice(duration: float, step: float) -> None:
    assert figures_hold.minute_step(duration, narrow=False) == step


def months(count: int, factor: float = 1.12) -> Any:
    start = datetime(2025, 10, 1, 9, tzinfo=UTC)
    res = [
        result("B-03", "vents-taped", start + timedelta(days=14 * i), iv(a, a * 0.9, a * 1.1), "within")
        for i, a in enumerate(0.2 * factor**i for i in range(count))
    ]
    return history(
        res, (Event("2025-11-20", "port-flange", "repair", "new bead"),), box("B-03", "tub", (600, 400, 100))
    )[0]


def test_months_curve_has_break_today_and_limit() -> None:
    fig = figures_months.months_curve(months(14), date(2026, 4, 15), 1300)
    said = " | ".join(words(fig))
    assert "new bead" in said
    assert "today" in said
    assert "limit 0.4" in said


def test_under_five_tests_no_line_is_drawn() -> None:
    few, many = (figures_months.months_curve(months(n), date(2026, 4, 15), 1300) for n in (3, 14))
    lines = [sum(t.mode == "lines" and t.line.width == 2.2 for t in f.data) for f in (few, many)]
    assert lines[0] == 0
    assert lines[1] >= 1


def test_six_months_lie_ahead() -> None:
    window = figures_months.window_of(months(5), date(2026, 1, 1))
    assert (window.last - window.today).days >= 180


def test_decade_ticks_are_one_two_five() -> None:
    assert decade_ticks(0.15, 2.4) == pytest.approx([0.2, 0.5, 1.0, 2.0])


def test_linear_axis_holds_nothing_and_the_last_value() -> None:
    axis = scales.linear_for(-0.05, 0.98, 100, 500)
    assert axis.at(0.98) < 500
    assert axis.at(-0.05) >= 100
    assert 0.0 in axis.ticks()


def test_log_axis_puts_beyond_values_at_its_end() -> None:
    axis = scales.Log(0.01, 10.0, 0.0, 300.0)
    assert axis.at(0.1) == pytest.approx(100.0)
    assert axis.at(1e-6) == 0.0
    assert axis.decades() == pytest.approx([0.01, 0.1, 1.0, 10.0])


def test_a_place_not_tested_since_its_repair_has_no_bar_of_a_guess() -> None:
    known = over_b07()
    assert known.ranking is not None
    first, *others = known.ranking.paths
    told = replace(first, untested=True, evidence=("Heard.", "Resealed 5 May 2026; not tested since."))
    rows = figures_rank.rows_of(replace(known.ranking, paths=(told, *others)), (), "vents-taped")
    assert (rows[0].area_m2, rows[0].chance, rows[0].kind) == (None, None, "untested")
    assert rows[0].evidence == ("Resealed 5 May 2026; not tested since.",)
    drawn = figures_rank.ranking_bars(rows, None, 640.0)
    assert "not tested" in drawn


def test_rows_come_as_ranked_with_untested_paths_last() -> None:
    known = over_b07()
    assert known.ranking is not None
    rows = figures_rank.rows_of(known.ranking, ("panel-edges",), "vents-taped")
    assert [r.names[0] for r in rows][:2] == ["panel edges", "top panel"]
    assert rows[-1].kind == "untested"
    assert [r.kind for r in rows if r.names == ("valve seat",)] == ["out"]


def test_paths_not_told_apart_share_one_bar() -> None:
    known = not_told_b16()
    assert known.ranking is not None
    first = figures_rank.rows_of(known.ranking, ("panel-edges",), "vents-taped")[0]
    assert first.names == ("panel edges", "port flange", "panel faces")
    assert first.split.endswith("a guess")
    assert first.chance == pytest.approx(0.98)


@pytest.mark.parametrize("width", [390.0, 660.0])
def test_ranking_bars_carry_jaws_limit_and_chance(width: float) -> None:
    known = over_b07()
    assert known.ranking is not None
    rows = figures_rank.rows_of(known.ranking, ("panel-edges",), "vents-taped")
    drawn = figures_rank.ranking_bars(rows, 0.4 * MM2, width)
    for part in ("94 in 100", "takes out", "limit 0.40", "not tested", "url(#air-3)"):
        assert part in drawn


def test_pooled_sheets_run_from_the_lowest_to_the_highest_end() -> None:
    sheets = [r for r in sheet_b11().results if r.setup == "formed-sheet"]
    pooled = figures_sheet.pooled(sheets)
    assert pooled is not None
    assert (pooled.value / MM2, pooled.low / MM2, pooled.high / MM2) == pytest.approx((2.6, 1.7 * 0.93, 4.0 * 1.07))


def test_limit_stands_on_the_first_two_rows_only() -> None:
    rows = [
        figures_sheet.JawRow("a", "", iv(0.1, 0.05, 0.2), limited=True),
        figures_sheet.JawRow("b", "", iv(-0.1, -0.2, 0.1), signed=True),
    ]
    drawn = figures_sheet.four_jaws(rows, 0.4 * MM2, 1300, "pump")
    assert "limit 0.40, from the pump" in drawn
    assert_no_line_through_words(figures_sheet.four_jaws(rows, 0.4 * MM2, 390, "pump"))
    assert "−0.1" in drawn


def test_forming_curve_and_cures_name_need_and_unit() -> None:
    from analysis.forming import case_of, judge_forming

    case = case_of(box("B-11", "visor", (510, 380, 100)))
    assert case is not None
    fig = forming_curve(case, case, 34_000.0, 30.0, KPA, 900)
    assert any("parts need" in w for w in words(fig))
    found = judge_forming(case, 34_000.0)
    drawn = cure_bars(found.cures, (4000.0, 0.0), "metric", 420)
    assert "2 s after it lands" in drawn
    assert_no_line_through_words(drawn)


def assert_no_line_through_words(drawn: str) -> None:
    """No upright line stands at the height of any word."""
    uprights = [e for e in attributes(drawn, "line") if e["x1"] == e["x2"]]
    assert uprights
    for name in attributes(drawn, "text"):
        top, bottom = float(name["y"]) - 11, float(name["y"]) + 3
        assert not [e for e in uprights if float(e["y1"]) < bottom and top < float(e["y2"])], name["words"]


def test_interval_scaled_in_rows_is_mm2() -> None:
    row = figures_sheet.JawRow("a", "", Interval(2.5e-6, 1.4e-6, 4.3e-6), signed=True)
    assert row.words == "2.5\u00a0mm², 1.4 to 4.3"


def attributes(svg_text: str, tag: str) -> list[dict[str, str]]:
    """Attributes of the elements of one kind, their words under ``words``."""
    found = re.findall(rf"<{tag}([^>]*)>([^<]*)", svg_text)
    return [dict(re.findall(r'([\w-]+)="([^"]*)"', told)) | {"words": words} for told, words in found]


@pytest.mark.parametrize("width", [390.0, 606.0, 660.0, 760.0])
@pytest.mark.parametrize("system", ["metric", "inch"])
def test_words_over_the_bars_keep_apart(width: float, system: System) -> None:
    known = over_b07()
    assert known.ranking is not None
    rows = figures_rank.rows_of(known.ranking, ("panel-edges",), "vents-taped")
    drawn = figures_rank.ranking_bars(rows, 0.4 * MM2, width, system)
    spans = []
    for one in (t for t in attributes(drawn, "text") if t["y"] == "18"):
        # px a sign as the browser draws them: narrow letters in the long words, digits in the others
        wide = (5.9 if one["words"].startswith("place") else 6.5) * len(one["words"].strip())
        left = float(one["x"]) - (wide if one["text-anchor"] == "end" else 0.0)
        spans.append((left, left + wide))
    assert len(spans) == (3 if width < 480 else 4)
    for (_, right), (left, _) in pairwise(sorted(spans)):
        assert right <= left


def test_no_line_runs_through_a_name_on_a_phone() -> None:
    known = over_b07()
    assert known.ranking is not None
    rows = figures_rank.rows_of(known.ranking, ("panel-edges",), "vents-taped")
    drawn = figures_rank.ranking_bars(rows, 0.4 * MM2, 390.0)
    uprights = [e for e in attributes(drawn, "line") if e["x1"] == e["x2"] and float(e["y2"]) > 48]
    names = [t for t in attributes(drawn, "text") if float(t["y"]) > 48 and t["words"] != "not tested"]
    assert uprights
    assert {r.names[0][:5].lower() for r in rows} <= {t["words"][:5].lower() for t in names}
    for name in names:
        top, bottom = float(name["y"]) - 12, float(name["y"]) + 3
        assert not [e for e in uprights if float(e["y1"]) < bottom and top < float(e["y2"])], name["words"]
