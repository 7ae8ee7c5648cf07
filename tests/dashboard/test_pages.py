"""Every page, made without a browser: what it asks, answers, and never says."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import plotly.offline
import pytest
from dash.development.base_component import Component

from acquisition.archive import Archive
from acquisition.logfile import log_text
from dashboard import app as pages_app
from dashboard import boxform, ids, pages
from dashboard.pages import boxes, bring_in, common, months, new_event, where
from dashboard.shop import Findings, Shop, urgency
from dashboard.view import View, read_view
from tests.dashboard.made_up_shop import MadeUpShop, box, made_up, over_b07, trial

ADDRESSES = (
    "/",
    "/hold",
    "/hold?box=B-07",
    "/hold?box=B-07&setup=formed-sheet&seal=port-flange&behind=tank",
    "/hold?box=B-07&gauge=tank",
    "/hold?box=B-07&step=gauge",
    "/log",
    "/help",
    "/box/new",
    "/box/B-07",
    "/box/B-16",
    "/box/B-17",
    "/box/B-05",
    "/box/B-11/sheet",
    "/box/B-07/sheet",
    "/box/B-03/months",
    "/box/B-17/months",
    "/box/B-11/forming",
    "/box/B-07/tests",
    "/box/B-17/tests",
    "/box/B-07/tests/20260503T140211-vents-taped",
    "/box/B-05/tests/20260503T140211-vents-taped",
    "/box/B-12/tests/2026",
    "/box/B-16/tests/2026",
    "/box/B-07/tests/20260503T140211-vents-taped/report",
    "/box/B-07/report",
    "/box/B-17/measurements",
    "/box/B-07/event?kind=repair&path=port-flange",
    "/box/B-77",
    "/nowhere",
)
NEVER = re.compile(
    r"\b(pass|fail|OK|blank|headspace|fleet|clean hole|rule of "
    r"thumb|alert|alarm|critical|score|status|KPI|dashboard|insight|asset|device|sensor"
    r"|session|project|channel|configure|execute|submit|error|invalid|null|N/A|confidence "
    r"level|sigma|p-value|posterior|outlier|anomaly|smart"
    r"|AI|approximately|significant|nan|inf)\b|!"
)


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[MadeUpShop]:
    made = MadeUpShop(tmp_path)
    yield made
    made.close()


def view_of(address: str, **more: Any) -> View:
    path, _, search = address.partition("?")
    return read_view({"path": path, "search": search, **more})


def walk(component: Any) -> Iterator[Component]:
    if isinstance(component, list | tuple):
        for item in component:
            yield from walk(item)
    elif isinstance(component, Component):
        yield component
        yield from walk(getattr(component, "children", None))


def spoken(component: Any) -> list[str]:
    """Words a person reads, those in drawings and plotted figures too."""
    said = []
    for part in walk(component):
        children = getattr(part, "children", None)
        said += [c for c in (children if isinstance(children, list | tuple) else [children]) if isinstance(c, str)]
        drawn = getattr(part, "data-svg", None)
        said += re.findall(r">([^<>]+)</text>", drawn) if isinstance(drawn, str) else []
        figure = getattr(part, "figure", None)
        said += [a.text for a in figure.layout.annotations] if figure is not None else []
    return said


@pytest.mark.parametrize("address", ADDRESSES)
@pytest.mark.parametrize(("width", "units"), [(1440, "metric"), (390, "inch")])
def test_page_has_one_answer_and_only_our_words(shop: MadeUpShop, address: str, width: int, units: str) -> None:
    body = pages_app._page(shop, view_of(address, width=width, units=units)).body  # noqa: SLF001 - the page as the app makes it
    headings = [c for c in walk(body) if type(c).__name__ == "H1"]
    assert len(headings) == 1
    text = " ".join(spoken(body))
    assert "could not be made" not in text
    assert not NEVER.search(text), NEVER.search(text)


@pytest.mark.parametrize("address", ADDRESSES)
def test_ids_are_unique_on_a_page(shop: MadeUpShop, address: str) -> None:
    body = pages.find(shop, view_of(address)).body
    found = [c.id for c in walk(body) if isinstance(getattr(c, "id", None), str)]
    assert len(found) == len(set(found))


def test_every_id_a_callback_uses_is_on_some_page(shop: MadeUpShop) -> None:
    app = pages_app.create_app(shop)
    every = [app.layout, *(pages.find(shop, view_of(a)).body for a in ADDRESSES)]
    known = {c.id for body in every for c in walk(body) if isinstance(getattr(c, "id", None), str)}
    known |= {
        "upload-key",
        "keep-log",
        "keep-said",
        "keep-key",
        *(f"upload-{n}" for n in ("column", "unit", "counts", "every", "box", "setup")),
        ids.UPLOAD_SAID,
    }
    used = {part["id"] for c in app.callback_map.values() for part in (*c["inputs"], *c["state"])}
    used |= {o.split(".")[0].strip(".") for key in app.callback_map for o in key.strip(".").split("...")}
    assert used <= known


def test_two_apps_side_by_side_have_all_their_callbacks(shop: MadeUpShop) -> None:
    one, two = pages_app.create_app(shop), pages_app.create_app(shop)
    assert one.callback_map.keys() == two.callback_map.keys()
    assert len(one.callback_map) > 5


@pytest.mark.parametrize(
    "address",
    [a for a in ADDRESSES if a not in ("/box/B-77", "/nowhere", "/box/B-07/event?kind=repair&path=port-flange")],
)
def test_at_most_one_dark_button_beside_the_phones_bar(shop: MadeUpShop, address: str) -> None:
    body = pages.find(shop, view_of(address)).body
    bars = {id(c) for b in walk(body) if getattr(b, "className", "") == "bar" for c in walk(b)}
    dark = [c for c in walk(body) if "dark" in str(getattr(c, "className", "")).split() and id(c) not in bars]
    assert len({str(c.children) for c in dark}) <= 1


def test_boxes_come_most_urgent_first(shop: MadeUpShop) -> None:
    body = pages.find(shop, view_of("/")).body
    plates = [c.children for c in walk(body) if getattr(c, "className", "") == "plate rowed"]
    assert plates[:3] == ["B-16", "B-11", "B-07"]
    assert plates[-1] == "B-12"
    assert "B-16, B-11 and B-07 let in more air than their limit." in spoken(body)


def test_urgency_runs_from_the_stalling_pump_to_tight() -> None:
    order = sorted(("tight", "within", "over", "stalls", "cannot-tell", "no-answer"), key=urgency)
    assert order == ["stalls", "over", "cannot-tell", "no-answer", "within", "tight"]


def test_empty_archive_offers_to_describe_a_box(tmp_path: Path) -> None:
    shop = MadeUpShop(tmp_path, {})
    body = pages.find(shop, view_of("/")).body
    shop.close()
    assert any("No box yet." in s for s in spoken(body))
    assert next(c.href for c in walk(body) if "dark" in str(getattr(c, "className", "")).split()) == "/box/new"


def test_unknown_box_names_its_neighbours(shop: MadeUpShop) -> None:
    said = spoken(pages.find(shop, view_of("/box/B-77")).body)
    assert "There is no box B-77. These are near:" in said
    assert "B-07" in said


def test_gauge_on_the_tank_has_no_next(shop: MadeUpShop) -> None:
    body = pages.find(shop, view_of("/hold?box=B-07&gauge=tank")).body
    assert any("With the valve shut that gauge measures no box" in s for s in spoken(body))
    assert "Next: the gauge" not in spoken(body)


def test_pages_have_no_names_of_other_machines_or_styles(shop: MadeUpShop) -> None:
    page = pages_app.create_app(shop).server.test_client().get("/").get_data(as_text=True)
    assert 'lang="en"' in page
    assert "http://" not in page.replace("http://www.w3.org", "")
    assert "https://" not in page


def test_vendored_plotly_is_the_version_python_speaks() -> None:
    head = (Path(pages_app.__file__).parent / "assets" / "plotly-basic.min.js").read_text(encoding="utf-8")[:200]
    assert f"v{plotly.offline.get_plotlyjs_version()}" in head


@pytest.mark.parametrize(
    "name", ["routed-gothic.LICENSE.txt", "atkinson-hyperlegible.LICENSE.txt", "plotly-basic.LICENSE.txt"]
)
def test_shipped_parts_carry_their_licence(name: str) -> None:
    text = (Path(pages_app.__file__).parent / "assets" / name).read_text(encoding="utf-8")
    assert "Copyright" in text


def test_long_names_are_cut_but_kept_for_the_tooltip() -> None:
    from dashboard import parts

    name = "a-box-with-a-very-long-name-indeed"
    assert len(parts.short_name(name)) == 24
    assert parts.plate(name).title == name


@pytest.mark.parametrize(
    ("sentence", "parts"),
    [
        ("Over its limit. B-07 takes in as much as one drilled hole of 1.2 mm; the limit is 0.78. The pump "
         "spends 70 in 100 of itself on it.",
         ("Over its limit. B-07 takes in as much as one drilled hole "
          "of 1.2 mm.", "The limit is 0.78. The pump spends 70 in 100 of itself on it.")),
        ("No answer.", ("No answer.", "")),
        ("Not the sheet edge: with a sheet on it takes in 0.14 mm² less. Look at what the sheet covers.",
         ("Not the sheet edge: with a sheet on it takes in 0.14 mm² less.", "Look at what the sheet covers.")),
    ],
)  # fmt: skip
def test_heading_is_the_verdict_and_one_clause(sentence: str, parts: tuple[str, str]) -> None:
    assert common.two_parts(sentence) == parts


def test_answer_of_a_ranking_never_claims_more_than_it_knows() -> None:
    known = made_up()["B-16"]
    assert known.ranking is not None
    assert where.answer(known, known.ranking, "vents-taped").startswith(
        "Cannot tell yet: panel edges, port flange or panel faces."
    )
    sure = over_b07()
    assert sure.ranking is not None
    assert where.answer(sure, sure.ranking, "vents-taped") == "Most likely at the panel edges: 94 in 100."


def test_measures_change_the_drawing_not_the_rest_of_the_box() -> None:
    old = box("B-07", "fender", (610, 406, 127))
    values = boxform.values_of(old) | {"across": 3, "length": 700.0}
    new = boxform.box_with(old, values)
    assert (new.baffles.count_x, new.inside_mm) == (3, (700.0, 406, 127))
    assert (new.label, new.volume_L, new.wood) == (old.label, old.volume_L, old.wood)


def test_wide_span_is_told_no_and_what_mends_it(shop: MadeUpShop) -> None:
    said = spoken(pages.find(shop, view_of("/box/B-17/measurements")).body)
    # 640 mm less one 18 mm baffle, halved: 311 mm; an 18 mm board may span 220.
    assert any(s.replace("\u00a0", " ") == "No. Its top spans 311 mm; an 18 mm board may span 220." for s in said)


def test_event_is_written_to_the_archive(tmp_path: Path) -> None:
    archive = Archive(tmp_path)
    archive.write_box(box("B-07", "fender", (610, 406, 127)))
    shop = Shop(tmp_path)
    try:
        assert new_event.kept(shop, "B-07", "2026-05-03", "repair", "port-flange", "new bead").startswith("Kept.")
        assert [e.text for e in shop.archive.events("B-07")] == ["new bead"]
        assert "year-month-day" in new_event.kept(shop, "B-07", "3 May", "repair", "", "x")
        assert "Nothing was written" in new_event.kept(shop, "B-07", "2026-05-03", "repair", "", " ")
    finally:
        shop.close()


def test_box_without_tests_is_known_at_once_and_again_when_its_file_changes(tmp_path: Path) -> None:
    archive = Archive(tmp_path)
    archive.write_box(box("B-07", "fender", (610, 406, 127)))
    shop = Shop(tmp_path)
    try:
        first = shop.findings("B-07", wait_s=None)
        assert first is shop.findings("B-07", wait_s=None)
        archive.write_box(box("B-07", "another name for it", (610, 406, 127)))
        second = shop.findings("B-07", wait_s=None)
        assert first is not None
        assert second is not None
        assert (first.box.label, second.box.label) == ("fender", "another name for it")
    finally:
        shop.close()


def test_unreadable_box_file_is_a_sentence_not_a_stop(tmp_path: Path) -> None:
    (tmp_path / "B-01").mkdir()
    (tmp_path / "B-01" / "box.toml").write_text("name = [", encoding="utf-8")
    shop = Shop(tmp_path)
    try:
        known = shop.findings("B-01", wait_s=None)
        assert known is not None
        assert len(known.troubles) == 1
        assert "box.toml" in known.troubles[0]
    finally:
        shop.close()


def test_foreign_file_is_shown_with_its_guesses_and_needs_a_unit(shop: MadeUpShop) -> None:
    key = shop.inbox.put("old.csv", b"time;druck\n0;101,3\n1;90,1\n2;80,2\n3;70,9\n")
    body = bring_in.page(shop, view_of(f"/log?file={key}")).body
    assert any("the unit is not named" in s for s in spoken(body))
    assert any("druck" in s for s in spoken(body))


def test_forgotten_file_and_table_of_nothing_are_told_in_words(shop: MadeUpShop) -> None:
    assert "That file is no longer here. Drop it again." in spoken(bring_in.page(shop, view_of("/log?file=gone")).body)
    key = shop.inbox.put("x.bin", b"\x00\x01\x02")
    assert "This file cannot be read as it is." in spoken(bring_in.page(shop, view_of(f"/log?file={key}")).body)


def test_dropped_log_is_filed_byte_for_byte(tmp_path: Path) -> None:
    log = trial(over_b07().trials[0].result).log
    data = log_text(log).encode()
    shop = Shop(tmp_path)
    try:
        key = shop.inbox.put("log.csv", data)
        assert bring_in.kept(shop, key, View()).startswith("Kept as 20260503T140211-vents-taped.csv")
        assert (tmp_path / "B-07" / "logs" / "20260503T140211-vents-taped.csv").read_bytes() == data
    finally:
        shop.close()


def test_months_headline_says_what_it_rests_on() -> None:
    line = made_up()["B-03"].histories[0]
    answer, lead = months.headline(line, View(), line.tests[-1].started.date())
    assert answer.startswith("Going off. It reaches its limit")
    assert "season and trend" in lead


def test_headline_of_the_boxes_counts_those_over(shop: MadeUpShop) -> None:
    from dashboard.rows import BoxRow

    over = [BoxRow(f"A-{i}", over_b07()) for i in range(6)]
    assert boxes.headline(over)[0] == "A-0, A-1, A-2 and 3 more let in more air than their limit."
    assert boxes.headline([BoxRow("B-12", made_up()["B-12"])])[0] == "None of them: every box that was tested holds."


def test_odd_view_falls_back_to_the_plain_one() -> None:
    view = read_view({"path": None, "units": "furlongs", "width": "wide", "search": None})
    assert (view.path, view.system, view.width) == ("/", "metric", 1440)


def test_findings_choose_the_last_days_worst_whole_box_test() -> None:
    known = made_up()["B-11"]
    assert known.last is not None
    assert known.last.result.area_m2 is not None
    assert known.last.result.area_m2.value == pytest.approx(4.0e-6)
    assert Findings(box("x", "", (1, 1, 1))).last is None


def test_unknown_callback_output_gives_no_traceback(shop: MadeUpShop) -> None:
    client = pages_app.create_app(shop).server.test_client()
    answer = client.post(
        "/_dash-update-component", data=json.dumps({"output": "nobody.children"}), content_type="application/json"
    )
    assert answer.status_code >= 400
    assert b"Traceback" not in answer.data
