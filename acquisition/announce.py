"""A replayed log or a simulated gauge says so beside its port, so that a recording of it is marked.

The word stands in a small file in the temporary folder, named after the port; it holds while the program that
plays is alive.
"""

from __future__ import annotations

import hashlib
import json
import os
import tempfile
from dataclasses import asdict, dataclass
from pathlib import Path


@dataclass(frozen=True)
class Announcement:
    """What stands behind a port that is no gauge.

    ``simulated`` or else replayed; ``name`` of the log or the make-believe box; ``speed`` how many of its seconds
    pass in one of ours; ``pid`` the program that plays.
    """

    simulated: bool
    name: str
    speed: float = 1.0
    pid: int = 0

    def header_keys(self) -> dict[str, str]:
        """What a recording of it carries in its header."""
        keys = {"simulated": "yes"} if self.simulated else {}
        if self.name:
            keys["replayed"] = self.name
        return keys if self.speed == 1.0 else keys | {"replay_speed": f"{self.speed:g}"}


def announce(address: str, what: Announcement) -> Path:
    """Put the word beside a port; remove the file returned when the playing is over."""
    path = _place(address)
    path.write_text(json.dumps(asdict(what)), encoding="utf-8")
    return path


def announced(address: str) -> Announcement | None:
    """The word beside a port, if one stands there and its program is alive."""
    path = _place(address)
    try:
        what = Announcement(**json.loads(path.read_text(encoding="utf-8")))
    except (OSError, ValueError, TypeError):
        return None
    if _alive(what.pid):
        return what
    path.unlink(missing_ok=True)
    return None


def _place(address: str) -> Path:
    one_name = address if "://" in address else os.path.realpath(address)
    mark = hashlib.sha256(one_name.encode()).hexdigest()[:16]
    return Path(tempfile.gettempdir()) / f"boxhold-played-{mark}.json"


def _alive(pid: int) -> bool:
    if os.name == "nt":
        return True  # there signal 0 would end the process
    try:
        os.kill(pid, 0)
    except PermissionError:
        return True
    except OSError:
        return False
    return pid > 0
