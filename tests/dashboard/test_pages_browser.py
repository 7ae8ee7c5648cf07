"""The pages in a real browser: nothing wider than the screen, nothing from outside, no complaint in the console."""

from __future__ import annotations

import re
import shutil
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from dashboard.server import prepare
from tests.dashboard.made_up_shop import MadeUpShop, made_up

playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
pytestmark = [pytest.mark.browser, pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine")]

AXE = Path(__file__).parents[1] / "vendor" / "axe.min.js"
ADDRESSES = (
    "/",
    "/hold?box=B-07",
    "/hold?box=B-07&step=gauge",
    "/log",
    "/help",
    "/box/new",
    "/box/B-07",
    "/box/B-16",
    "/box/B-17",
    "/box/B-11/sheet",
    "/box/B-03/months",
    "/box/B-11/forming",
    "/box/B-07/tests",
    "/box/B-07/tests/20260503T140211-vents-taped",
    "/box/B-05/tests/20260503T140211-vents-taped",
    "/box/B-07/tests/20260503T140211-vents-taped/report",
    "/box/B-07/report",
    "/box/B-17/measurements",
    "/box/B-07/event?kind=repair",
    "/box/B-77",
)
DESKTOP: dict[str, Any] = {"viewport": {"width": 1440, "height": 900}}
PHONE: dict[str, Any] = {
    "viewport": {"width": 390, "height": 844}, "is_mobile": True, "has_touch": True, "device_scale_factor": 2,
}  # fmt: skip


@pytest.fixture(scope="module")
def link(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    known = made_up()
    known["B-21"] = next(iter(made_up().values()))
    served = prepare(MadeUpShop(tmp_path_factory.mktemp("shop"), known), port=0)
    thread = threading.Thread(target=served.run)
    thread.start()
    yield served.link.rstrip("/")
    served.close()
    thread.join(timeout=10)


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with playwright.sync_playwright() as p:
        launched = p.chromium.launch(executable_path=CHROMIUM, args=[
            "--no-sandbox", "--disable-dev-shm-usage", "--disable-gpu",
            "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1",
        ])  # fmt: skip
        yield launched
        launched.close()


class Watched:
    """A page whose console and requests are kept."""

    def __init__(self, browser: Any, link: str, **how: Any) -> None:
        self.link = link
        self.context = browser.new_context(reduced_motion="reduce", **how)
        self.page = self.context.new_page()
        self.said: list[str] = []
        self.asked: list[str] = []
        self.page.on("console", lambda m: self.said.append(m.text) if m.type in ("error", "warning") else None)
        self.page.on("pageerror", lambda e: self.said.append(str(e)))
        self.page.on("request", lambda r: self.asked.append(r.url))

    def open(self, address: str) -> Any:
        self.page.goto(self.link + address)
        playwright.expect(self.page.locator("h1")).to_be_visible(timeout=20_000)
        if self.page.locator(".dash-graph").count():
            playwright.expect(self.page.locator(".main-svg").first).to_be_visible(timeout=20_000)
        return self.page

    def foreign(self) -> list[str]:
        return [url for url in self.asked if not url.startswith((self.link, "data:", "blob:"))]


@pytest.fixture
def watch(browser: Any, link: str) -> Iterator[Any]:
    opened: list[Watched] = []

    def new(**how: Any) -> Watched:
        opened.append(Watched(browser, link, **how))
        return opened[-1]

    yield new
    for one in opened:
        one.context.close()


@pytest.mark.parametrize("address", ADDRESSES)
def test_page_is_clean_on_desktop_and_phone(watch: Any, address: str) -> None:
    for how, scheme in ((DESKTOP, "light"), (PHONE, "dark")):
        seen = watch(color_scheme=scheme, **how)
        page = seen.open(address)
        assert page.evaluate("document.documentElement.scrollWidth") <= how["viewport"]["width"], (address, scheme)
        page.evaluate(AXE.read_text(encoding="utf-8"))
        found = page.evaluate("() => axe.run(document, {resultTypes: ['violations']})")["violations"]
        assert [(v["id"], v["nodes"][0]["html"][:160]) for v in found] == []
        assert seen.said == []
        assert seen.foreign() == []


@pytest.mark.parametrize("width", [900, 1024, 1280])
@pytest.mark.parametrize("address", ["/", "/box/B-07/tests"])
def test_rows_end_inside_their_paper_on_a_laptop(watch: Any, address: str, width: int) -> None:
    page = watch(viewport={"width": width, "height": 800}).open(address)
    playwright.expect(page.locator(".box-row .amount").first).to_be_visible()
    past_the_end = """() => {
        const end = document.querySelector('.rows').getBoundingClientRect().right;
        const ends = [...document.querySelectorAll('.rows *')].map(e => e.getBoundingClientRect().right);
        return ends.filter(right => right > end + 0.5).length;
    }"""
    assert page.evaluate(past_the_end) == 0
    assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_units_swap_every_number_and_are_remembered(watch: Any) -> None:
    seen = watch(**DESKTOP)
    page = seen.open("/box/B-07/tests/20260503T140211-vents-taped")
    playwright.expect(page.locator("h1")).to_contain_text("1.2\u00a0mm")
    page.click("#to-inch")
    playwright.expect(page.locator("h1")).to_contain_text("0.048\u00a0in")
    playwright.expect(page.locator("#to-inch")).to_be_focused()
    playwright.expect(page.locator(".js-plotly-plot")).to_contain_text("inHg")
    assert "kPa" not in page.locator("main").inner_text()
    page.reload()
    playwright.expect(page.locator("h1")).to_contain_text("0.048\u00a0in")


def test_dark_is_switched_and_remembered(watch: Any) -> None:
    seen = watch(color_scheme="light", **DESKTOP)
    page = seen.open("/")
    page.click("[data-turns=theme] >> nth=0")
    ground = "getComputedStyle(document.body).backgroundColor"
    assert page.evaluate(ground) == "rgb(18, 24, 22)"
    page.reload()
    playwright.expect(page.locator("h1")).to_be_visible()
    assert page.evaluate(ground) == "rgb(18, 24, 22)"


def test_links_and_the_back_button_change_the_page(watch: Any) -> None:
    seen = watch(**DESKTOP)
    page = seen.open("/")
    page.click("text=Find the place >> nth=0")
    playwright.expect(page.locator("h1")).to_contain_text("Cannot tell yet")
    page.click("nav >> text=Measurements")
    playwright.expect(page.locator("h1")).to_contain_text("spans")
    page.go_back()
    playwright.expect(page.locator("h1")).to_contain_text("Cannot tell yet")


def test_first_tab_leads_to_the_answer_and_figures_are_walked_by_arrows(watch: Any) -> None:
    seen = watch(**DESKTOP)
    page = seen.open("/box/B-07/tests/20260503T140211-vents-taped")
    page.keyboard.press("Tab")
    playwright.expect(page.locator(".skip")).to_be_focused()
    page.focus("figure")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    playwright.expect(page.locator("figcaption")).to_contain_text("after the shut")
    page.keyboard.press("Escape")
    assert not page.evaluate("document.activeElement.matches('figure')")


def test_focus_is_seen(watch: Any) -> None:
    page = watch(**DESKTOP).open("/")
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    assert page.evaluate("getComputedStyle(document.activeElement).outlineWidth") == "3px"


def test_phone_lists_the_pages_and_keeps_the_main_action_in_reach(watch: Any) -> None:
    page = watch(**PHONE).open("/box/B-07")
    assert page.locator(".bar .button.dark").bounding_box()["y"] > 844 * 0.75
    page.tap(".pages-list summary")
    playwright.expect(page.locator(".pages-list a", has_text="Months")).to_be_visible()
    page.tap(".pages-list a >> text=Months")
    playwright.expect(page.locator("h1")).to_contain_text("No month yet")


def test_main_actions_are_large_enough_for_a_knuckle(watch: Any) -> None:
    page = watch(**PHONE).open("/box/B-07")
    for target in page.locator(".bar .button:visible, .top .switch button:visible, .pages-list summary").all():
        assert target.bounding_box()["height"] >= 44


def test_measures_move_the_drawing(watch: Any) -> None:
    page = watch(**DESKTOP).open("/box/B-17/measurements")
    playwright.expect(page.locator("h1")).to_contain_text("311 mm")
    page.fill("#measure-across", "2")
    playwright.expect(page.locator("h1")).to_contain_text("Yes")
    playwright.expect(page.locator("#measure-caution")).to_contain_text("First pull in steps")


def test_measures_typed_in_inches_move_the_drawing(watch: Any) -> None:
    page = watch(**DESKTOP).open("/box/B-17/measurements")
    page.fill("#measure-length", "700")
    page.click("#to-inch")
    # 640 mm is 25.197 in; the field and its unit change together, whatever was typed before
    playwright.expect(page.locator("#measure-length")).to_have_value("25.197")
    playwright.expect(page.locator("h1")).to_contain_text("12.2")
    page.fill("#measure-length", "24 3/4")
    # (24.75 - 0.709) / 2 in
    playwright.expect(page.locator("h1")).to_contain_text("spans 12")
    page.fill("#measure-across", "2")
    playwright.expect(page.locator("h1")).to_contain_text("Yes")


def test_sliders_move_the_forming_answer(watch: Any) -> None:
    seen = watch(**DESKTOP)
    page = seen.open("/box/B-11/forming")
    before = page.locator("h1").inner_text()
    page.focus("#cure-tank")
    page.keyboard.press("End")
    playwright.expect(page.locator("h1")).not_to_have_text(before)
    assert seen.said == []


def test_dropped_table_asks_for_its_unit(watch: Any) -> None:
    seen = watch(**DESKTOP)
    page = seen.open("/log")
    page.set_input_files(
        "input[type=file]", {"name": "old.csv", "mimeType": "text/csv", "buffer": b"s;druck\n0;101,3\n1;90,1\n2;80,2\n"}
    )
    playwright.expect(page.locator("h1")).to_contain_text("druck")
    page.select_option("#upload-unit", "kPa")
    page.click("text=Read it so")
    playwright.expect(page).to_have_url(re.compile("unit=kPa"))


def test_columns_to_confirm_fit_a_phone(watch: Any) -> None:
    page = watch(**PHONE).open("/log")
    table = b"Time;Pressure (mbar)\n14:02:10;1011\n14:02:20;210\n14:02:30;84\n14:02:40;86\n"
    page.set_input_files("input[type=file]", {"name": "old.csv", "mimeType": "text/csv", "buffer": table})
    playwright.expect(page.locator("#upload-counts")).to_be_visible()
    assert page.evaluate("document.documentElement.scrollWidth") == 390
    beside = page.locator("label[for=upload-counts]").bounding_box()
    assert beside["width"] >= 150


def test_report_prints_on_one_sheet(watch: Any) -> None:
    seen = watch(**DESKTOP)
    page = seen.open("/box/B-07/tests/20260503T140211-vents-taped/report")
    for paper in ("A4", "Letter"):
        pdf = page.pdf(format=paper, prefer_css_page_size=False)
        assert len(re.findall(rb"/Type\s*/Page\b", pdf)) == 1
