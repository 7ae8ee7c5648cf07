"""The made-up shop beside one's own: a copy, on this computer only, gone at the end."""

from __future__ import annotations

import urllib.request
from pathlib import Path

from acquisition.archive import Archive
from dashboard.app import create_app
from dashboard.lookround import ADDRESS, HERE_ONLY, LookRound
from dashboard.pages import find
from dashboard.shop import Shop
from tests.dashboard.made_up_shop import box
from tests.dashboard.test_pages import view_of, walk


def test_made_up_shop_is_a_copy_served_here_and_gone_at_the_end(tmp_path: Path) -> None:
    samples = tmp_path / "samples"
    Archive(samples).write_box(box("B-14", "lamp tray", (480, 330, 120)))
    before = {p: p.read_bytes() for p in samples.rglob("*") if p.is_file()}
    look_round = LookRound(lambda: samples)
    try:
        link = look_round.link()
        assert look_round.link() == link
        assert link.startswith("http://127.0.0.1:")
        with urllib.request.urlopen(link, timeout=10) as page:
            assert b"Boxhold" in page.read()
    finally:
        look_round.close()
    assert {p: p.read_bytes() for p in samples.rglob("*") if p.is_file()} == before


def test_first_start_leads_there_but_only_from_this_computer(tmp_path: Path) -> None:
    shop = Shop(tmp_path / "empty")
    shop.look_round = LookRound(lambda: tmp_path / "nothing-here")
    try:
        body = find(shop, view_of("/")).body
        assert ADDRESS in [getattr(c, "href", None) for c in walk(body)]
        client = create_app(shop).server.test_client()
        far = client.get(ADDRESS, environ_overrides={"REMOTE_ADDR": "192.168.0.7"})
        assert (far.status_code, far.get_data(as_text=True)) == (403, HERE_ONLY)
        missing = client.get(ADDRESS)
        assert missing.status_code == 503
        assert "could not be opened" in missing.get_data(as_text=True)
    finally:
        shop.close()
