"""The page that lists every sample log and what it shows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from acquisition.simulated.shop import ShopBox

HEAD = """# Sample logs

An invented shop: no box, no person and no measurement here is real. Each log was made by the simulation in
`acquisition/simulated`, which knows gas, wood, pumps and gauges in more detail than the fit does and shares no code
with it. The folder is an archive as Boxhold keeps it, so everything that works on yours works here:

```sh
boxhold assess sample_logs/B-01/logs/*.csv
boxhold serve --archive sample_logs
```

`planted.json` holds what was planted in each log: effective leak area at one fifth of room pressure (mm2) in all
and by place, the leak law, the true volume, the share of the last hold's rise that is no leak, and which outcomes an
honest answer may have. `seeds.json` holds each log's seed for the noise. A seed is the log's start as a number,
yymmddHHMM, so nobody picked one that suits. Written anew, byte for byte, by

```sh
python -m acquisition.simulated.shopfiles sample_logs
```

Areas in the tables are the planted ones, mm2; a valve's weeping seat stands apart.
"""


def readme_text(shop: Sequence[ShopBox], planted: Mapping[str, Mapping[str, Any]]) -> str:
    """The page as Markdown; ``planted`` as written to ``planted.json``."""
    return HEAD + "".join(_section(box, planted) for box in shop)


def _section(box: ShopBox, planted: Mapping[str, Mapping[str, Any]]) -> str:
    name = box.box.name
    rows = [_row(f"{name}/logs/{test.name}", planted) for test in box.tests]
    head = f"\n## {name}: {box.story}\n\n| log | planted | may be | shows |\n|---|---|---|---|\n"
    return head + "".join(rows)


def _row(path: str, planted: Mapping[str, Mapping[str, Any]]) -> str:
    told = planted[path]
    seat = f" (seat {told['valve_seat_mm2']:g})" if told["valve_seat_mm2"] else ""
    return f"| `{path}` | {told['area_mm2']:g}{seat} | {' or '.join(told['expected'])} | {told['shows']} |\n"
