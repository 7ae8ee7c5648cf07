"""Who may ask for the pages, what a page may load, and which port they come from."""

from __future__ import annotations

import http.client
import socket
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import pytest
from flask.testing import FlaskClient

from acquisition.errors import OutsideWorldFailed
from dashboard import server
from dashboard.app import create_app
from tests.dashboard.made_up_shop import MadeUpShop


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[MadeUpShop]:
    made = MadeUpShop(tmp_path, {})
    yield made
    made.close()


def client(shop: MadeUpShop, token: str | None = None) -> FlaskClient:
    app = create_app(shop)
    server.guard(app, token, None if token else {"127.0.0.1", "localhost"})
    return app.server.test_client()


def test_other_host_names_are_turned_away(shop: MadeUpShop) -> None:
    asked = client(shop)
    assert asked.get("/", headers={"Host": "127.0.0.1:8050"}).status_code == 200
    assert asked.get("/", headers={"Host": "localhost"}).status_code == 200
    assert asked.get("/", headers={"Host": "rebound.example:8050"}).status_code == 400


@pytest.mark.parametrize(
    ("origin", "code"), [("http://127.0.0.1:8050", 200), ("http://evil.example", 403), ("null", 403), (None, 403)]
)
def test_only_our_own_pages_may_post(shop: MadeUpShop, origin: str | None, code: int) -> None:
    headers = {"Host": "127.0.0.1:8050"} | ({"Origin": origin} if origin else {})
    assert client(shop).post("/api/log", headers=headers).status_code == code


def test_pages_may_load_nothing_from_elsewhere(shop: MadeUpShop) -> None:
    policy = client(shop).get("/", headers={"Host": "127.0.0.1"}).headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "frame-ancestors 'none'" in policy
    assert "unsafe-eval" not in policy
    assert "http" not in policy


def test_shared_pages_are_locked_without_the_token(shop: MadeUpShop) -> None:
    asked = client(shop, "right")
    locked = asked.get("/")
    assert locked.status_code == 403
    assert locked.get_data(as_text=True) == "These pages are locked. Ask for the link on the shop's laptop."
    assert asked.get("/?token=wrong").status_code == 403


def test_the_link_opens_shared_pages_for_good(shop: MadeUpShop) -> None:
    asked = client(shop, "right")
    opened = asked.get("/box/B-07?token=right")
    assert opened.status_code == 302
    assert "token" not in opened.headers["Location"]
    assert "HttpOnly" in opened.headers["Set-Cookie"]
    assert asked.get("/").status_code == 200


def _served_once(served: server.Served) -> tuple[threading.Thread, http.client.HTTPConnection]:
    """The pages running in a thread, and a connection that has had one answer and is kept."""
    thread = threading.Thread(target=served.run)
    thread.start()
    kept = http.client.HTTPConnection("127.0.0.1", served.port)
    kept.request("GET", "/static/none")
    kept.getresponse().read()
    return thread, kept


def test_closing_ends_at_once_though_a_browser_keeps_its_connection(shop: MadeUpShop) -> None:
    served = server.prepare(shop, port=0)
    thread, kept = _served_once(served)
    served.close()
    thread.join(timeout=10)
    kept.close()
    assert not thread.is_alive()


def test_an_answer_that_ends_while_closing_does_no_harm(shop: MadeUpShop, monkeypatch: pytest.MonkeyPatch) -> None:
    """Its own pull at the loop may let go of every socket, the trigger's too, before closing has pulled."""
    served = server.prepare(shop, port=0)
    thread, kept = _served_once(served)
    trigger = served.server.trigger
    pull = trigger.pull_trigger

    def pulled_late(thunk: Callable[[], None] | None = None) -> None:
        if thunk is not None:
            with trigger.lock:
                trigger.thunks.append(thunk)
        pull()
        thread.join(timeout=0.5)
        pull()

    monkeypatch.setattr(trigger, "pull_trigger", pulled_late)
    served.close()
    thread.join(timeout=10)
    kept.close()
    assert not thread.is_alive()


def test_only_the_thread_that_waits_on_the_sockets_closes_them(
    shop: MadeUpShop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Closed by another thread, the loop waits on a number that is no longer open and falls over."""
    served = server.prepare(shop, port=0)
    closing: list[int | None] = []
    close = served.server.close
    monkeypatch.setattr(served.server, "close", lambda: (closing.append(threading.get_ident()), close()))
    thread, asked = _served_once(served)
    served.close()
    thread.join(timeout=10)
    asked.close()
    assert not thread.is_alive()
    assert closing == [thread.ident]


def test_a_taken_port_gives_the_next_free_one(shop: MadeUpShop) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        served = server.prepare(shop, port=port)
        served.close()
    assert served.port > port
    assert served.link == f"http://127.0.0.1:{served.port}/"


def test_shared_link_carries_a_long_token(shop: MadeUpShop) -> None:
    served = server.prepare(shop, port=0, share=True)
    served.close()
    assert len(parse_qs(urlsplit(served.link).query)["token"][0]) >= 16


def test_an_address_of_another_machine_is_refused_in_words(shop: MadeUpShop) -> None:
    with pytest.raises(OutsideWorldFailed, match="cannot be listened on"):
        server.prepare(shop, host="203.0.113.7", port=0)
