"""Serving the pages: loopback unless shared, a free port, who may ask and what a page may load."""

from __future__ import annotations

import errno
import hmac
import logging
import os
import secrets
import socket
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import waitress
from dash import Dash
from flask import Flask, Response, redirect, request
from waitress.server import BaseWSGIServer

from acquisition.errors import OutsideWorldFailed
from dashboard.app import create_app
from dashboard.shop import Shop

LOOPBACK = "127.0.0.1"
FIRST_PORT = 8050
PORTS_TRIED = 20
COOKIE = "boxhold-token"
LOCKED = "These pages are locked. Ask for the link on the shop's laptop."
THREADS = 8


@dataclass(frozen=True, eq=False)
class Served:
    """A server that is ready; ``link`` is what to open, with the token when shared."""

    server: BaseWSGIServer
    port: int
    link: str
    _looping: threading.Event = field(default_factory=threading.Event)
    _ended: threading.Event = field(default_factory=threading.Event)

    def run(self) -> None:
        """Serve until closed."""
        self._looping.set()
        try:
            self.server.run()
        finally:
            self._looping.clear()
            self._ended.set()

    def close(self) -> None:
        """Stop serving; answers under way are given up without a word, nobody waits for them any more."""
        logging.getLogger("waitress").setLevel(logging.CRITICAL + 1)
        self.server.task_dispatcher.shutdown(timeout=2)
        if self._looping.is_set():
            trigger = self.server.trigger
            # Under the lock: an answer that just ends pulls too, and would let go of the trigger before this one pulls.
            with trigger.lock:
                trigger.thunks.append(self._let_go)
                trigger.pull_trigger()
            self._ended.wait(timeout=2)
        else:
            self._let_go()

    def _let_go(self) -> None:
        """Close every socket; only in the thread that waits on them, which else waits on a number closed under it."""
        self.server.close()
        for channel in list(self.server.active_channels.values()):
            channel.handle_close()  # a browser that keeps its connection would keep the loop going


def prepare(shop: Shop, host: str = LOOPBACK, port: int = FIRST_PORT, share: bool = False) -> Served:
    """Bind a port and build the pages, without serving yet.

    Parameters
    ----------
    shop
        The archive as the pages see it.
    host
        Address to listen on; with ``share`` every address of the machine.
    port
        First port to try, then the next free one; 0 takes any.
    share
        Let other machines in, by a link with a token.

    Raises
    ------
    OutsideWorldFailed
        No port is free, or the address is not this machine's.
    """
    token = secrets.token_urlsafe(12) if share else None
    app = create_app(shop)
    guard(app, token, hosts=None if share else {LOOPBACK, "localhost", host})
    server, real = _bind(app.server, "0.0.0.0" if share else host, port)
    shown = own_address() if share else host
    link = f"http://{shown}:{real}/" + (f"?token={token}" if token else "")
    return Served(server, real, link)


def serve(
    shop: Shop,
    host: str = LOOPBACK,
    port: int = FIRST_PORT,
    share: bool = False,
    ready: Callable[[str], None] | None = None,
) -> None:
    """Serve the pages until interrupted; ``ready`` is told the link once the port is bound."""
    served = prepare(shop, host, port, share)
    if ready is not None:
        ready(served.link)
    try:
        served.run()
    finally:
        served.close()
        shop.close()


def _bind(app: Flask, host: str, port: int) -> tuple[BaseWSGIServer, int]:
    listening = _listening(host, port)
    try:
        server = waitress.create_server(app, sockets=[listening], threads=THREADS, ident="boxhold")
    except BaseException:
        listening.close()
        raise
    return server, int(listening.getsockname()[1])


def _listening(host: str, port: int) -> socket.socket:
    """A bound socket: at ``port`` or the next free one."""
    for number in [0] if port == 0 else range(port, min(port + PORTS_TRIED, 65536)):
        bound = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        try:
            if os.name != "nt":
                bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            bound.bind((host, number))
        except OSError as trouble:
            bound.close()
            if trouble.errno != errno.EADDRINUSE:
                why = trouble.strerror or str(trouble)
                raise OutsideWorldFailed(
                    f"{host}:{number} cannot be listened on: {why}; take another address."
                ) from trouble
            continue
        return bound
    last = port + PORTS_TRIED - 1
    raise OutsideWorldFailed(f"Ports {port} to {last} on {host} are all in use; name another with --port.")


def own_address() -> str:
    """Address of the machine's address in its network; no packet is sent."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))
            return str(probe.getsockname()[0])
        except OSError:
            return LOOPBACK


def content_policy(app: Dash) -> str:
    """What a page may load: itself only."""
    scripts = " ".join(("'self'", *app.csp_hashes()))
    return "; ".join(
        (
            "default-src 'none'",
            f"script-src {scripts}",
            "style-src 'self' 'unsafe-inline'",
            "img-src 'self' data: blob:",
            "font-src 'self'",
            "connect-src 'self'",
            "base-uri 'none'",
            "form-action 'self'",
            "frame-ancestors 'none'",
        )
    )


def guard(app: Dash, token: str | None = None, hosts: set[str] | None = None) -> None:
    """Check host, origin and token of every request, and send the content policy with every answer.

    ``hosts`` are the names by which the pages may be asked for; None allows any (shared pages are
    guarded by their token).
    """
    flask: Flask = app.server
    policy = content_policy(app)

    @flask.before_request
    def check() -> Any:
        if hosts is not None and request.host.rpartition(":")[0] not in hosts and request.host not in hosts:
            return Response(LOCKED, 400, mimetype="text/plain")
        if request.method not in ("GET", "HEAD") and not _same_origin():
            return Response(LOCKED, 403, mimetype="text/plain")
        return None if token is None else _let_in(token)

    @flask.after_request
    def send(response: Response) -> Response:
        response.headers["Content-Security-Policy"] = policy
        response.headers["X-Content-Type-Options"] = "nosniff"
        response.headers["Referrer-Policy"] = "no-referrer"
        return response


def _same_origin() -> bool:
    return request.headers.get("Origin", "").partition("://")[2] == request.host


def _let_in(token: str) -> Response | None:
    if _same(request.cookies.get(COOKIE, ""), token):
        return None
    if _same(request.args.get("token", ""), token):
        answer = redirect(request.path)
        answer.set_cookie(COOKIE, token, httponly=True, samesite="Strict")
        return answer  # type: ignore[return-value]
    return Response(LOCKED, 403, mimetype="text/plain")


def _same(one: str, other: str) -> bool:
    return hmac.compare_digest(one.encode(), other.encode())
