"""Looking round the made-up shop: the sample boxes on a copy of their own, served beside the pages that asked."""

from __future__ import annotations

import shutil
import tempfile
import threading
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path

from dash import Dash
from flask import Flask, Response, redirect, request

from acquisition.errors import BoxholdError

ADDRESS = "/made-up-shop"
HERE_ONLY = "The made-up shop opens on the shop's own computer only."


class LookRound:
    """A second server on this computer with a copy of the sample boxes, begun when it is first asked for.

    Parameters
    ----------
    samples
        Gives the folder of the sample boxes; it is copied, never written to.
    """

    def __init__(self, samples: Callable[[], Path]) -> None:
        self._samples = samples
        self._lock = threading.Lock()
        self._link = ""
        self._ends = ExitStack()

    def link(self) -> str:
        """Address of the made-up shop.

        Raises
        ------
        BoxholdError
            No port is free, or the copy cannot be written.
        """
        with self._lock:
            if not self._link:
                self._link = self._begin()
            return self._link

    def _begin(self) -> str:
        from dashboard.server import prepare
        from dashboard.shop import Shop

        with ExitStack() as ends:
            copy = Path(ends.enter_context(tempfile.TemporaryDirectory(prefix="boxhold-made-up-"))) / "boxes"
            shutil.copytree(self._samples(), copy)
            shop = Shop(copy)
            ends.callback(shop.close)
            served = prepare(shop)
            ends.callback(served.close)
            threading.Thread(target=served.run, name="made-up-shop", daemon=True).start()
            self._ends = ends.pop_all()
        return served.link

    def close(self) -> None:
        """Stop serving and remove the copy."""
        with self._lock:
            self._ends.close()
            self._link = ""


def add_to(app: Dash, look_round: LookRound) -> None:
    """The address that opens the made-up shop, for this computer only."""
    server: Flask = app.server

    @server.get(ADDRESS)
    def open_it() -> Response:
        if request.remote_addr not in ("127.0.0.1", "::1"):
            return Response(HERE_ONLY, 403, mimetype="text/plain")
        try:
            return redirect(look_round.link())  # type: ignore[return-value]
        except (BoxholdError, OSError) as trouble:
            return Response(f"The made-up shop could not be opened: {trouble}", 503, mimetype="text/plain")
