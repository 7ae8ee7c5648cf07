"""From a line at the gauge's port to the number on the page: the delay a person sees, in a real browser.

    python benchmarks/to_page.py              a minute of ten lines a second
    python benchmarks/to_page.py --seconds 10 --phone

The gauge is a pseudo-terminal, the pages are served as ``boxhold serve`` does, the browser is Chromium. Every line
carries a pressure of its own; a frame counts as showing a line when its reading, or a later one, stands beside the
ring. Both clocks are this machine's.
"""

from __future__ import annotations

import argparse
import os
import shutil
import statistics
import tempfile
import threading
import time
import tty
from pathlib import Path
from typing import Any

from playwright.sync_api import sync_playwright

from acquisition.boxfile import write_box
from acquisition.records import Box
from dashboard.server import prepare
from dashboard.shop import Shop

PER_SECOND = 10
WATCH = """() => {
  window.__seen = [];
  let last = "";
  const look = () => {
    const words = [...document.querySelectorAll("#live-curve .annotation-text")].map(t => t.textContent);
    const now = words.find(w => / kPa$/.test(w));
    if (now && now !== last) { last = now; window.__seen.push([Date.now() / 1000, parseFloat(now)]); }
    requestAnimationFrame(look);
  };
  look();
}"""


def pressure_kpa(i: int) -> float:
    """What the ``i``-th line says: a slow rise in steps of the page's last digit."""
    return 20.0 + 0.1 * i


def send_lines(far: int, sent: list[float], seconds: float) -> None:
    """Write a line ten times a second, keeping when."""
    begin = time.monotonic()
    for i in range(int(seconds * PER_SECOND)):
        time.sleep(max(begin + i / PER_SECOND - time.monotonic(), 0.0))
        sent.append(time.time())
        os.write(far, b"%.2f\n" % pressure_kpa(i))


def delays_s(sent: list[float], seen: list[tuple[float, float]]) -> list[float]:
    """Delay of every line that was shown; the last second is left out, nothing may follow to show it."""
    out = []
    for i, at in enumerate(sent[:-PER_SECOND]):
        shown = next((when for when, kpa in seen if kpa >= pressure_kpa(i) - 0.01 and when >= at), None)
        if shown is not None:
            out.append(shown - at)
    return out


def measured(folder: Path, seconds: float, phone: bool) -> tuple[list[float], int]:
    """Delays of one run, s, and how many lines should have been shown."""
    far, near = os.openpty()
    tty.setraw(far)
    tty.setraw(near)
    box = folder / "B-01" / "box.toml"
    box.parent.mkdir(parents=True)
    write_box(Box("B-01", (600.0, 600.0, 90.0), "coated", 18.0), box)
    shop = Shop(folder)
    served = prepare(shop, port=0)
    thread = threading.Thread(target=served.run)
    thread.start()
    trouble = shop.holds.start(os.ttyname(near), "absolute kPa", {"box": "B-01"})
    assert not trouble, trouble
    sent: list[float] = []
    try:
        with sync_playwright() as p:
            seen = _watch(p, served.link + "hold/B-01", phone, lambda: send_lines(far, sent, seconds))
    finally:
        shop.holds.close()
        served.close()
        thread.join(timeout=10)
        shop.close()
    return delays_s(sent, seen), len(sent) - PER_SECOND


def _watch(p: Any, link: str, phone: bool, work: Any) -> list[tuple[float, float]]:
    browser = p.chromium.launch(executable_path=shutil.which("chromium"), args=[
        "--no-sandbox", "--disable-dev-shm-usage", "--disable-gpu",
        "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1",
    ])  # fmt: skip
    size = {"width": 390, "height": 844} if phone else {"width": 1280, "height": 900}
    page = browser.new_page(viewport=size)
    page.goto(link)
    page.locator("#live-curve, h1").first.wait_for()
    page.evaluate(WATCH)
    sender = threading.Thread(target=work)
    sender.start()
    while sender.is_alive():
        page.wait_for_timeout(200)
    page.wait_for_timeout(1500)
    seen = [(when, kpa) for when, kpa in page.evaluate("window.__seen")]
    browser.close()
    return seen


def main() -> None:
    """Measure and print one line."""
    words = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    words.add_argument("--seconds", type=float, default=60.0)
    words.add_argument("--phone", action="store_true", help="a window as narrow as a phone's")
    given = words.parse_args()
    with tempfile.TemporaryDirectory() as name:
        waits, wanted = measured(Path(name), given.seconds, given.phone)
    ordered = sorted(waits)
    print(
        f"{len(waits)} of {wanted} lines shown; median {statistics.median(waits):.3f} s, 95 % within "
        f"{ordered[int(0.95 * len(ordered))]:.3f} s, longest {ordered[-1]:.3f} s"
    )


if __name__ == "__main__":
    main()
