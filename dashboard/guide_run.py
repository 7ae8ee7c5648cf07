"""Guides a hold test on a terminal: asks what the log should say, shows where the test is, takes keys."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import click

from acquisition.boxfile import check_box_name
from acquisition.errors import WrongUsage
from acquisition.live import LiveRecording
from acquisition.records import LogHeader
from acquisition.setups import SETUPS
from acquisition.units import STANDARD_PRESSURE_PA, to_absolute_pa
from dashboard.estimating import Estimator
from dashboard.guide import Guide, Key, Step
from dashboard.keys import Keys, keys
from dashboard.signals import EndSignal

if TYPE_CHECKING:
    from acquisition.records import Box

LOOK_EVERY_S = 0.2
KEYS: dict[str, Key] = {"\n": "next", "\r": "next", "r": "redraw", "h": "hold-on", "q": "quit"}
CURVE_WIDTH = 48
BARS = "▁▂▃▄▅▆▇█"


def ask_box(header: LogHeader) -> LogHeader:
    """Ask which box it is where the call has not said; Enter leaves it unsaid."""
    if header.box is not None:
        return header
    name = click.prompt("Name of the box", default="", show_default=False)
    return replace(header, box=check_box_name(name) if name else None)


def ask_first(header: LogHeader) -> tuple[LogHeader, bool]:
    """Ask what the log's header should say and the call has not; and whether it is the box's first pull.

    Raises
    ------
    WrongUsage
        The gauge sits where it cannot measure the box.
    """
    if header.setup is None:
        header = replace(header, setup=click.prompt("What closes the top", type=click.Choice(list(SETUPS))))
    if header.gauge_at is None:
        header = replace(header, gauge_at=_choice("Where is the gauge", ("box", "hose", "tank"), "box"))
    if header.gauge_at == "tank":
        raise WrongUsage("With the valve shut a gauge on the tank measures no box; tee it in on the box's side.")
    if header.behind_valve is None:
        behind = _choice("What is behind the valve once it is shut", ("room", "pump", "tank"), "pump")
        header = replace(header, behind_valve=behind)
    if header.behind_valve != "room":
        click.echo("A weeping valve seat then takes air out and hides a leak; let air in behind it after the shut.")
    first = click.confirm("Is this the first time this box is under vacuum?", default=False)
    return header, first


def _choice(words: str, of: tuple[str, ...], default: str) -> Any:
    return click.prompt(words, type=click.Choice(of), default=default)


def guide(
    live: LiveRecording, box: Box | None, seconds: float | None, ended: EndSignal, *, first_pull: bool
) -> None:
    """Show and guide a running recording until the air is back in, the time is over or the person ends it."""
    from rich.console import Console
    from rich.live import Live

    session = Session(live, box, first_pull=first_pull)
    console = Console()
    with keys() as typed:
        try:
            with Live(console=console, auto_refresh=False) as screen:
                while not ended.wait(LOOK_EVERY_S):
                    screen.update(session.look(typed), refresh=True)
                    if session.rings:
                        console.bell()
                    if session.over or (seconds is not None and live.real_s >= seconds):
                        break
        finally:
            session.close()
            path = live.stop()
    click.echo(f"The log is {path}")
    if session.sentence:
        click.echo(session.sentence)


class Session:
    """One guided recording: readings into the guide, the guide onto the screen."""

    def __init__(self, live: LiveRecording, box: Box | None, *, first_pull: bool, estimator: Any = None) -> None:
        self._live = live
        self._unit = live.header.gauge
        room = live.header.barometer_kPa
        self._room_pa = STANDARD_PRESSURE_PA if room is None else room.value * 1e3
        self._guide = Guide(first_pull=first_pull, room_pa=None if room is None else self._room_pa,
                            load_m2=_top_m2(box), mark=lambda name: live.remark(f"step {name}"))  # fmt: skip
        self._estimator = Estimator(box) if estimator is None else estimator
        self._seen = 0
        self._remark: str | None = None
        self._warmed = False
        self.sentence = ""
        self.rings = False

    @property
    def over(self) -> bool:
        """Whether the test is at its end."""
        return self._guide.over

    def look(self, typed: Keys) -> Any:
        """Take in what is new and return what to show."""
        self._take_readings()
        self._take_keys(typed.pressed())
        self._estimate()
        step = self._guide.step()
        self.rings = step.rings
        return self._shown(step)

    def close(self) -> None:
        """End the estimate's process."""
        self._estimator.close()

    def _take_readings(self) -> None:
        new = self._live.since(self._seen)
        self._seen = new.n
        for t_s, reading in zip(new.t_s, new.reading, strict=True):
            self._guide.reading(t_s, to_absolute_pa(reading, self._unit, self._room_pa))
        self._guide.tick(self._live.elapsed_s)

    def _take_keys(self, typed: str) -> None:
        for key in typed:
            if self._remark is not None:
                self._type_remark(key)
            elif key in "mM":
                self._remark = ""
            elif key.lower() in KEYS:
                self._guide.key(KEYS[key.lower()])

    def _type_remark(self, key: str) -> None:
        assert self._remark is not None
        if key in "\r\n":
            if self._remark.strip():
                self._live.remark(self._remark.strip())
            self._remark = None
        elif key in "\x08\x7f":
            self._remark = self._remark[:-1]
        elif key.isprintable():
            self._remark += key

    def _estimate(self) -> None:
        """Keep the estimate going beside the recording; its libraries are loaded once the pump-down has begun."""
        held_s = self._guide.held_s
        if held_s is not None and held_s > 5.0:
            self._estimator.offer(self._live.snapshot(), held_s)
        elif not self._warmed and self._guide.follower.phase != "baseline":
            self._warmed = True
            self._estimator.offer(_empty(self._live), 0.0)
        answer = self._estimator.answer()
        if answer is not None:
            self._guide.estimate(answer.estimate, release=answer.release)
            self.sentence = answer.sentence

    def _shown(self, step: Step) -> Any:
        from rich.console import Group
        from rich.text import Text

        state = self._live.state()
        title = f"{self._live.header.box or 'box'}  {step.phase}  {_clock(step.elapsed_s)}"
        rows = [Text(title, style="reverse bold"), Text(self._pressure_text(), style="bold"), Text(self._curve())]
        rows += [Text(step.do, style="bold"), Text(f"! {step.caution}")]
        if self.sentence:
            rows.append(Text(self.sentence))
        if state.trouble:
            rows.append(Text(state.trouble, style="reverse"))
        foot = f"m: remark - {step.keys}" if self._remark is None else f"remark: {self._remark}_"
        rows.append(Text(foot, style="dim"))
        return Group(*rows)

    def _pressure_text(self) -> str:
        new = self._live.since(max(self._seen - 1, 0))
        if not new.reading:
            return "no reading yet"
        slope = self._guide.follower.slope_pa_s
        if slope is None:
            return f"{new.reading[-1]:g} {self._unit}"
        a_minute = slope * 60.0 / self._unit.pa_per_unit
        return f"{new.reading[-1]:g} {self._unit}   box {a_minute:+.2f} {self._unit.unit} a minute"

    def _curve(self) -> str:
        return bars(self._live.since(0).reading)


def bars(readings: list[float], width: int = CURVE_WIDTH) -> str:
    """A row of bars from the lowest to the highest reading; nothing for fewer than two."""
    if len(readings) < 2:
        return ""
    picked = [readings[int(i * (len(readings) - 1) / (width - 1))] for i in range(width)]
    low, high = min(picked), max(picked)
    return "".join(BARS[int((p - low) / ((high - low) or 1.0) * (len(BARS) - 0.001))] for p in picked)


def _top_m2(box: Box | None) -> float | None:
    if box is None or box.inside_mm is None:
        return None
    return box.inside_mm[0] * box.inside_mm[1] * 1e-6


def _empty(live: LiveRecording) -> Any:
    import numpy as np

    from acquisition.records import Log

    return Log(live.header, np.empty(0), np.empty(0))


def _clock(seconds: float) -> str:
    minutes, rest = divmod(int(max(seconds, 0.0)), 60)
    return f"{minutes}:{rest:02d}"
