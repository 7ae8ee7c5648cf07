"""Files brought in through the pages, kept in memory until they are filed or forgotten."""

from __future__ import annotations

import secrets
import threading
from collections import OrderedDict
from dataclasses import dataclass

FIRST_WORDS = (b"# boxhold log", b"\xef\xbb\xbf# boxhold log")
MOST_FILES = 12


@dataclass(frozen=True)
class BroughtIn:
    """A file as it came: its name, for messages only, and its bytes."""

    name: str
    data: bytes

    @property
    def is_log(self) -> bool:
        """Whether it says that it is a log."""
        return self.data.startswith(FIRST_WORDS)


class Inbox:
    """The last few files brought in, by an unguessable key."""

    def __init__(self) -> None:
        self._files: OrderedDict[str, BroughtIn] = OrderedDict()
        self._lock = threading.Lock()

    def put(self, name: str, data: bytes) -> str:
        """Keep a file and return its key; the oldest is forgotten beyond a dozen."""
        key = secrets.token_urlsafe(8)
        with self._lock:
            self._files[key] = BroughtIn(name, data)
            while len(self._files) > MOST_FILES:
                self._files.popitem(last=False)
        return key

    def get(self, key: str) -> BroughtIn | None:
        """The file of a key, or None when it was forgotten."""
        with self._lock:
            return self._files.get(key)
