"""What pages claim and how their words are placed: nothing before it is known, nothing over something else."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from itertools import combinations, pairwise
from pathlib import Path

import pytest

from acquisition.records import Box, Event
from analysis.history import history
from analysis.results import Limit, NextTest
from dashboard import areas, figures_months, pages, tops
from dashboard.pages import boxes, hold, months, sheet, where
from dashboard.places import Label, Place, apart, words
from dashboard.rows import BoxRow
from dashboard.section import frame_for
from dashboard.shop import Findings
from dashboard.view import View
from tests.dashboard.made_up_shop import MM2, MadeUpShop, box, iv, made_up, over_b07, result, sheet_b11, trial
from tests.dashboard.test_pages import spoken

MAY = datetime(2026, 5, 3, 14, 2, 11, tzinfo=UTC)
TIGHT = made_up()["B-12"]


def test_the_rest_hold_only_when_all_are_known_and_measured() -> None:
    over, tight = BoxRow("B-07", over_b07()), [BoxRow(f"C-{i}", TIGHT) for i in (1, 2)]
    assert boxes.headline([over, *tight])[1] == "The rest are within their limits."
    answer, lead = boxes.headline([over, *tight, BoxRow("D-1", None)])
    assert answer == "So far B-07 lets in more air than its limit."
    assert lead == "2 are within their limits. D-1 is being worked out."
    _, lead = boxes.headline([over, *tight, BoxRow("B-17", made_up()["B-17"])])
    assert lead == "2 are within their limits. B-17 was never measured."
    assert boxes.headline([*tight, BoxRow("D-1", None)])[0] == "Not known yet."


def test_many_boxes_are_counted_by_what_they_are_and_found_by_name() -> None:
    every = [BoxRow("B-07", over_b07()), *(BoxRow(f"C-{i:02}", TIGHT) for i in range(15)), BoxRow("D-1", None)]
    shown = boxes._shown(every, View())  # noqa: SLF001 - the choice of rows
    assert [r.name for r in shown] == ["B-07"]
    line = boxes._others(every, shown, View())[0]  # noqa: SLF001 - the line under the rows
    assert line.children == "15 others hold, 1 being worked out; show them"
    assert [r.name for r in boxes._shown(every, View(query={"find": "c-07"}))] == ["C-07"]  # noqa: SLF001


def group_of(*results: object) -> Findings:
    known = made_up()["B-16"]
    return replace(known, trials=tuple(trial(r) for r in results))  # type: ignore[arg-type]


def test_one_test_is_said_of_one_test_only() -> None:
    one = result("B-16", "vents-taped", MAY, iv(7.7, 6.6, 8.9), "over")
    film = result("B-16", "film-on-top", MAY, iv(7.0, 6.6, 8.9), "over")
    group = ("panel-edges", "port-flange")
    said = [where.not_told_sentence(group_of(*rs), group, one, View()) for rs in ((one,), (one, one), (one, film))]
    assert said[0].startswith("One test tells how much, not where:")
    assert said[1].startswith("2 tests of one kind tell how much, not where:")
    assert said[2].startswith("2 tests, and none tells panel edges and port flange apart;")
    six = (*result("B-16", "vents-taped", MAY, iv(7.7, 6.6, 8.9), "over").open_paths[:5], "line")
    named = where.not_told_sentence(group_of(one, one), six, one, View()).partition(": ")[2]
    assert len(re.split(r", | and ", named.partition(" together take in ")[0])) == len(set(six)) == 6


def test_tight_box_needs_no_repair(tmp_path: Path) -> None:
    known = replace(TIGHT, ranking=over_b07().ranking)
    assert where.all_tight(known)
    assert not where.all_tight(over_b07())
    assert not where.all_tight(made_up()["B-17"])
    shop = MadeUpShop(tmp_path)
    page = str(where.page(shop, View(), known).body)
    shop.close()
    assert "Nothing needs mending: it is tight." in page
    assert "I have done this repair" not in page


def test_tight_box_is_still_asked_for_the_test_that_the_ranking_names(tmp_path: Path) -> None:
    ranking = over_b07().ranking
    assert ranking is not None
    film = NextTest("hold", "film-on-rim", (), 300.0, 0.3, "It tries the rim joint for the first time.")
    shop = MadeUpShop(tmp_path)
    asked, done = (str(where.page(shop, View(), replace(TIGHT, ranking=replace(ranking, next_test=test))).body)
                   for test in (film, None))  # fmt: skip
    shop.close()
    assert "It tries the rim joint for the first time." in asked
    assert "/hold?box=B-12&setup=film-on-rim" in asked
    assert "Set up this test" not in done
    assert "See its months" in asked
    assert "See its months" in done


@pytest.mark.parametrize(
    ("due", "words"),
    [
        (date(2026, 5, 24), "Test again now"),
        (date(2026, 11, 30), "Test again by 30~Nov"),
        (date(2027, 1, 4), "Test again by 4~Jan 2027"),
    ],
)
def test_a_day_gone_by_is_now(due: date, words: str) -> None:
    assert months.again_words(due, date(2026, 11, 26)) == words.replace("~", "\u00a0")


def test_repairs_close_together_are_written_apart() -> None:
    starts = [MAY - timedelta(days=14 * i) for i in range(20, -1, -1)]
    results = [result("B-03", "vents-taped", s, iv(0.2, 0.18, 0.22), "within", limit=Limit(1.2 * MM2, "pump"))
               for s in starts]  # fmt: skip
    days = ("2026-01-18", "2026-02-02", "2026-02-16")
    events = [Event(d, "panel-edges", "repair", f"resealed the long seams again, {d[-2:]}") for d in days]
    line = history(results, events, box("B-03", "tub", (900, 600, 200)))[0]
    fig = figures_months.months_curve(line, date(2026, 5, 4), 1300)
    named = [a for a in fig.layout.annotations if "Jan" in a.text or "Feb" in a.text]
    assert len(named) >= 2
    win = figures_months.window_of(line, date(2026, 5, 4))
    spans = []
    for a in named:
        x = (1300 - 196) * ((datetime.fromisoformat(str(a.x)) - win.first) / (win.last - win.first)) + a.xshift
        half = len(a.text.replace("<b>", "").replace("</b>", "")) * 6.5 / 2
        spans.append((a.yshift, x - half, x + half))
    for (y, _, right), (other, left, _) in combinations(sorted(spans), 2):
        assert y != other or right < left


@pytest.mark.parametrize("setup", ["vents-taped", "formed-sheet", "film-on-rim"])
@pytest.mark.parametrize("width", [390.0, 606.0])
def test_words_of_a_section_neither_touch_nor_leave_it(setup: str, width: float) -> None:
    paths = ("panel-edges", "panel-faces", "port-flange", "top-panel", "closure", "rim-joint", "sheet-edge", "line")
    frame = frame_for(Box("B-20"), width, 52.0 if width < 480 else 104.0, 62.0)
    places = [Place(p, "open", 0.0, f"{p.replace('-', ' ')}, under 1") for p in paths]
    places.append(Place("valve-seat", "likely", 0.4, "valve seat takes out 0.00045"))
    kept = apart([one for p in places for one in words(frame, p, setup, width < 480)])
    assert len(kept) >= 4
    assert not any(a.meets(b) for a, b in combinations(kept, 2))
    for label in kept:
        left, top, right, _ = label.frame
        assert left >= 0
        assert right <= width
        assert top >= 0


def test_likely_words_win_over_others() -> None:
    one, other = Label((10, 20), ("tape 28",), "start", True), Label((30, 22), ("top panel 2",), "start", False)
    assert apart([other, one]) == [one]


def test_span_is_written_inside_its_drawing() -> None:
    from analysis.panels import check_top

    wide = Box("", (600.0, 400.0, 110.0), "coated", 18.0)
    drawing = tops.top_picture(wide, check_top(wide), 360.0, "As it is")
    at = float(drawing.split(">span 400 mm<")[0].rsplit(' x="', 1)[1].split('"')[0])
    assert at + len("span 400 mm") * 8 / 2 <= 360


def test_one_figure_is_named_for_the_sheet_edge() -> None:
    known = sheet_b11()
    found = replace(known.comparisons["film-on-rim"], sentence="The sheet edge: 2.5 mm², 1.4 to 4.3. The box holds.")
    answer, lead = sheet._said(known, found, "film-on-rim", View())  # noqa: SLF001 - heading and lead
    assert known.ranking is not None
    edge = next(p.area_m2 for p in known.ranking.paths if p.path == "sheet-edge")
    assert f"{edge.value * 1e6:.2g}" in answer
    assert answer.endswith("The box holds.")
    assert lead.startswith("Use this figure: it weighs every test of the box. Sheet minus film alone gives")


METRIC_ONLY = re.compile(r"mm²|\bmm\b|kPa|\d\sL\b|tonnes")


@pytest.mark.parametrize("address", ["/", "/box/B-07", "/box/B-11", "/box/B-11/sheet", "/box/B-03/months",
                                     "/box/B-07/tests", "/box/B-07/tests/20260503T140211-vents-taped"])  # fmt: skip
@pytest.mark.parametrize("width", [1440, 390])
def test_inch_pages_speak_no_metric(tmp_path: Path, address: str, width: int) -> None:
    shop = MadeUpShop(tmp_path)
    del shop.known["B-05"]  # its refusal quotes the log, in the log's own unit
    for name in ("B-07", "B-11"):
        shop.known[name] = without_evidence(shop.known[name])
    body = pages.find(shop, View(address, "inch", width)).body
    shop.close()
    assert [s for s in spoken(body) if METRIC_ONLY.search(s)] == []


def without_evidence(known: Findings) -> Findings:
    """The ranking's own sentences are metric and not the pages' to change."""
    if known.ranking is None:
        return known
    paths = tuple(replace(p, evidence=()) for p in known.ranking.paths)
    compared = {s: replace(c, sentence=c.sentence.partition(":")[0] + ".") for s, c in known.comparisons.items()}
    ranking = replace(known.ranking, paths=paths, advice=(), unexplained=None)
    return replace(known, ranking=ranking, comparisons=compared)


def test_square_inches_are_those_of_the_international_inch() -> None:
    # 1 in is 25.4 mm exactly (international yard and pound agreement, 1959)
    assert areas.THOUSANDTHS.number(25.4e-3**2) == "1000"
    assert areas.size_words((609.6, 400.05, 88.9), "inch") == "24 × 15.8 × 3.5 in"
    assert areas.size_words((610.0, 400.0, 88.5), "metric") == "610 × 400 × 88.5 mm"


def test_gauge_units_are_those_that_logs_may_have() -> None:
    from acquisition.units import parse_gauge_unit

    offered = [o["value"] for o in hold._units()[1:]]  # noqa: SLF001 - the choices of the page
    assert {"vacuum bar", "absolute hPa", "vacuum mmHg", "gauge inH2O"} <= set(offered)
    assert all(parse_gauge_unit(o) for o in offered)
    assert all(a != b for a, b in pairwise(offered))
