"""A running hold test in a real browser, played forward by hand: every moment is clean on desk and phone."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from typing import Any

import pytest

from dashboard.server import prepare
from tests.dashboard.made_up_shop import MadeUpShop
from tests.dashboard.test_holds import play, running
from tests.dashboard.test_pages_browser import AXE, DESKTOP, PHONE, Watched, browser, playwright, pytestmark

__all__ = ["browser", "pytestmark"]
MOMENTS = ((15, "Pumping down"), (50, "Soak"), (62, "Shut. Too early to say."), (200, "You may stop now"))


class Served:
    """The pages with one hold test that moves only when it is played."""

    def __init__(self, shop: MadeUpShop) -> None:
        self.hold, self.live, estimator = running()
        estimator.verdict = "within"
        shop.holds._running["B-14"] = self.hold  # noqa: SLF001 - a test begun without a gauge
        self.served = prepare(shop, port=0)
        self.link = self.served.link.rstrip("/")

    def play(self, until: int) -> None:
        play(self.hold, self.live, until)


@pytest.fixture
def test(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    shop = MadeUpShop(tmp_path_factory.mktemp("running"))
    begun = Served(shop)
    thread = threading.Thread(target=begun.served.run)
    thread.start()
    yield begun
    begun.served.close()
    thread.join(timeout=10)
    shop.close()


@pytest.mark.parametrize("how", [DESKTOP, PHONE], ids=["desktop", "phone"])
def test_every_moment_of_a_running_test_is_clean(browser: Any, test: Served, how: dict[str, Any]) -> None:
    seen = Watched(browser, test.link, **how)
    test.play(5)
    page = seen.open("/hold/B-14")
    page.evaluate(AXE.read_text(encoding="utf-8"))
    for until, words in MOMENTS:
        test.play(until)
        playwright.expect(page.locator("h1")).to_contain_text(words, timeout=15_000)
        assert page.evaluate("document.documentElement.scrollWidth") <= how["viewport"]["width"], words
        assert page.locator(".button.dark:visible").count() == 1, words
        found = page.evaluate("() => axe.run(document, {resultTypes: ['violations']})")["violations"]
        assert [(v["id"], v["nodes"][0]["html"][:160]) for v in found] == [], words
    assert seen.said == []
    assert seen.foreign() == []
    seen.context.close()


def test_ending_the_hold_is_a_tap_and_a_mark(browser: Any, test: Served) -> None:
    seen = Watched(browser, test.link, **PHONE)
    test.play(200)
    page = seen.open("/hold/B-14")
    page.tap(".bar [data-hold=end]")
    playwright.expect(page.locator(".bar .dark")).to_contain_text("Keep the log", timeout=15_000)
    assert test.live.marks == ["end of hold"]
    seen.context.close()


@pytest.mark.parametrize("how", [DESKTOP, PHONE], ids=["desktop", "phone"])
def test_a_reading_is_shown_without_drawing_the_page_anew(browser: Any, test: Served, how: dict[str, Any]) -> None:
    seen = Watched(browser, test.link, **how)
    test.play(100)
    page = seen.open("/hold/B-14")
    reading = page.locator("#live-curve .annotation-text", has_text="kPa").last
    playwright.expect(reading).to_have_text("16.3 kPa", timeout=15_000)
    page.route("**/_dash-update-component", lambda route: route.abort())
    test.play(121)
    playwright.expect(reading).to_have_text("18.8 kPa", timeout=15_000)
    seen.context.close()
