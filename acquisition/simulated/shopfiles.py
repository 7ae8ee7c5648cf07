"""Writes the invented shop as an archive, with its seeds and what was planted.

``python -m acquisition.simulated.shopfiles sample_logs``
"""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from acquisition.boxfile import write_box
from acquisition.errors import WrongUsage
from acquisition.events import append_event
from acquisition.logfile import write_log
from acquisition.simulated.shop import ShopBox, ShopTest
from acquisition.simulated.shopboxes import whole_shop
from acquisition.simulated.shopreadme import readme_text
from acquisition.simulated.simulate import Simulated, simulate_many

SEEDS_FILE = "seeds.json"
PLANTED_FILE = "planted.json"
README_FILE = "README.md"


def write_shop(folder: Path) -> list[Path]:
    """Write the whole shop below ``folder`` and return the logs' paths; files of an earlier run are replaced."""
    shop = whole_shop()
    runs = simulate_many([test.scenario for box in shop for test in box.tests])
    where = {id(test): f"{box.box.name}/logs/{test.name}" for box in shop for test in box.tests}
    tests = [test for box in shop for test in box.tests]
    for box in shop:
        _write_box(folder, box)
    for test, run in zip(tests, runs, strict=True):
        write_log(run.log, folder / where[id(test)], overwrite=True)
    _write_json(folder / SEEDS_FILE, {where[id(test)]: test.scenario.seed for test in tests})
    planted = {where[id(test)]: planted_of(test, run) for test, run in zip(tests, runs, strict=True)}
    _write_json(folder / PLANTED_FILE, planted)
    (folder / README_FILE).write_text(readme_text(shop, planted), encoding="utf-8", newline="\n")
    return [folder / name for name in planted]


def planted_of(test: ShopTest, run: Simulated) -> dict[str, Any]:
    """What was planted in one log, for people and tests; areas mm2, effective, at one fifth of room pressure."""
    truth = run.truth
    return {
        "area_mm2": _figure(truth.area_m2 * 1e6),
        "paths_mm2": {path: _figure(area * 1e6) for path, area in truth.paths.items()},
        "valve_seat_mm2": _figure(truth.valve_area_m2 * 1e6),
        "law": truth.law,
        "hole_share": _figure(truth.hole_share),
        "volume_L": _figure(truth.volume_m3 * 1e3),
        "release_share": _figure(truth.release_share),
        "expected": list(test.expected),
        "shows": test.shows,
    }


def _figure(value: float) -> float:
    return float(f"{value:.4g}")


def _write_box(folder: Path, box: ShopBox) -> None:
    home = folder / box.box.name
    (home / "logs").mkdir(parents=True, exist_ok=True)
    write_box(box.box, home / "box.toml")
    (home / "events.csv").unlink(missing_ok=True)
    for event in box.events:
        append_event(home / "events.csv", event)
    (home / "events.csv.lock").unlink(missing_ok=True)


def _write_json(path: Path, document: dict[str, Any]) -> None:
    path.write_text(json.dumps(document, indent=1) + "\n", encoding="utf-8", newline="\n")


def main(words: Sequence[str]) -> int:
    """Write the shop below the folder named."""
    if len(words) != 1:
        raise WrongUsage("name one folder to write the sample boxes into.")
    print(f"{len(write_shop(Path(words[0])))} logs written below {words[0]}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
