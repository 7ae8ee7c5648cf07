"""What to say during a hold test: one step at a time, with the caution that belongs to it. No terminal here."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Literal

from acquisition.following import DEEP_SHARE, PhaseFollower, PhaseNow
from analysis.holding import Estimate, HoldAdvice, hold_advice

BASELINE_S = 20.0
SOAK_S = 180.0
FIRST_PULL_STEPS_PA = (25e3, 50e3, 80e3)
TONNES_FORCE_PER_PA_M2 = 1.0 / 9.80665 / 1000.0

SHUT_KEYS = "Enter: the valve is shut - q ends"

Key = Literal["next", "redraw", "hold-on", "quit"]

CAUTIONS: dict[PhaseNow, str] = {
    "baseline": "Glasses on from the first pull until the air is back in.",
    "pump-down": "Never glass, cracked boards or thin drums. Nobody leans over the top; no hand, eye, ear or hair at "
    "the port or the vents.",
    "soak": "Stay clear of the top. Not unattended.",
    "hold": "Stay clear of the top, hands off the box. Not unattended.",
    "let-up": "Let air in slowly. No hand, eye or ear at the port while it rushes in.",
}
FIRST_PULL = (
    "First pull: in steps of 25, 50 and 80 kPa, a minute each, a straightedge on the top. Creaking: let air in."
)


@dataclass(frozen=True)
class Step:
    """One step as shown: its name, what to do, the caution, what the keys do; ``rings`` when the bell should."""

    phase: PhaseNow
    do: str
    caution: str
    keys: str
    elapsed_s: float
    rings: bool = False
    over: bool = False


@dataclass
class _Memory:
    """What has been said already, so that it is said once."""

    rung: set[str] = field(default_factory=set)
    history: list[Estimate] = field(default_factory=list)
    hold_s: float | None = None
    ended: bool = False
    redraw_wanted: bool = False
    held_on: bool = False


class Guide:
    """Leads through one hold test.

    Parameters
    ----------
    first_pull
        The box has never been under vacuum: pump down in steps.
    room_pa
        Absolute room pressure, Pa, when known; else taken from the baseline.
    load_m2
        Area of the top, m2, for the caution's number; None leaves it out.
    mark
        Called with a phase's name when a person or the readings begin it.
    """

    def __init__(
        self, *, first_pull: bool = False, room_pa: float | None = None, load_m2: float | None = None,
        mark: Callable[[str], None] = lambda name: None,
    ) -> None:  # fmt: skip
        self.follower = PhaseFollower(room_pa)
        self.first_pull = first_pull
        self._load_m2 = load_m2
        self._mark = mark
        self._now_s = self._p_pa = 0.0
        self._m = _Memory()

    # What comes in

    def reading(self, t_s: float, p_pa: float) -> None:
        """A reading: time on the log's clock, absolute Pa."""
        before = self.follower.phase
        self._now_s, self._p_pa = t_s, p_pa
        after = self.follower.feed(t_s, p_pa)
        if after != before:
            self._began(after, before)

    def tick(self, t_s: float) -> None:
        """Time goes on without a reading."""
        self._now_s = max(self._now_s, t_s)

    def key(self, key: Key) -> None:
        """A key was pressed."""
        phase = self.follower.phase
        if key == "quit":
            self._m.ended = True
        elif key == "hold-on":
            self._m.held_on = True
        elif key == "redraw" and phase == "hold":
            self._say("pump-down", "redraw")
        elif key == "next":
            self._next(phase)

    def estimate(self, estimate: Estimate, *, release: bool) -> None:
        """The estimate beside the recording has a new answer; ``release`` when stored air or moisture is suspected."""
        self._m.history.append(estimate)
        self._m.redraw_wanted = release and self.follower.redraws == 0

    # What goes out

    @property
    def over(self) -> bool:
        """The test is at its end: the air is back in, or the person has ended it."""
        return self._m.ended or self.follower.over

    @property
    def held_s(self) -> float | None:
        """Time since the shut, s; None when there was none."""
        if self._m.hold_s is None or self.follower.phase != "hold":
            return None
        return self._now_s - self._m.hold_s

    def advice(self) -> HoldAdvice:
        """Whether the hold is worth holding on."""
        return hold_advice(self._m.history, self._p_pa / self.follower.room_pa)

    def step(self) -> Step:
        """The step to show now."""
        phase = self.follower.phase
        do, keys, ring = self._words()[phase]()
        rings = bool(ring) and ring not in self._m.rung
        self._m.rung.add(ring)
        return Step(phase, do, self._caution(phase), keys, self._now_s - self.follower.since_s, rings, self.over)

    def _words(self) -> dict[PhaseNow, Callable[[], tuple[str, str, str]]]:
        return {"baseline": self._baseline, "pump-down": self._pump_down, "soak": self._soak, "hold": self._hold,
                "let-up": self._let_up}  # fmt: skip

    def _baseline(self) -> tuple[str, str, str]:
        left_s = BASELINE_S - (self._now_s - self.follower.since_s)
        if left_s > 0:
            return f"Leave the box open to the room, {left_s:.0f} s more.", "q ends", ""
        return "Open the valve to the pump; the pump-down is seen by itself.", "q ends", "baseline"

    def _pump_down(self) -> tuple[str, str, str]:
        room_pa = self.follower.room_pa
        if self.follower.stalled:
            level = f"{self._p_pa / 1e3:.0f} kPa absolute"
            do = f"The pump stalls at {level}. That is an answer: a big leak. Let air in slowly, or shut and hold."
            return do, SHUT_KEYS, "stall"
        if self.first_pull and self.follower.redraws == 0:
            return self._stepwise(), "Enter: go on to the soak - q ends", ""
        deep = DEEP_SHARE * room_pa / 1e3
        return f"Pump down to {deep:.0f} kPa absolute, or as deep as it goes.", "Enter: go on to the soak - q ends", ""

    def _stepwise(self) -> str:
        depth_pa = self.follower.room_pa - self._p_pa
        target = next((s for s in FIRST_PULL_STEPS_PA if depth_pa < s - 1e3), FIRST_PULL_STEPS_PA[-1])
        to = f"{target / 1e3:.0f} kPa below the room"
        return f"Pump down in steps: to {to}, shut, wait a minute, look at the top, go on."

    def _soak(self) -> tuple[str, str, str]:
        left_s = SOAK_S - (self._now_s - self.follower.since_s)
        if left_s > 0:
            minutes, seconds = divmod(int(left_s), 60)
            return f"Keep the pump on, {minutes}:{seconds:02d} more. Skip it and the answer is wider.", SHUT_KEYS, ""
        return "Shut the valve now, then press Enter.", SHUT_KEYS, f"soak{self.follower.redraws}"

    def _hold(self) -> tuple[str, str, str]:
        advice = self.advice()
        keys = "Enter: the hold is over - r: redraw - h: hold on - q ends"
        worth = self._worth(advice)
        if self._m.redraw_wanted:
            do = "Part of the rise may be stored air or moisture. Redraw: pump down again without letting air in."
            return f"{do} {worth}", keys, "redraw"
        if (advice.enough or advice.no_better) and not self._m.held_on:
            which = "enough" if advice.enough else "no-better"
            return f"{worth} Let air in slowly, then press Enter.", keys, f"{which}{self.follower.redraws}"
        return f"The valve is shut; wait. {worth}", keys, ""

    def _worth(self, advice: HoldAdvice) -> str:
        if advice.enough:
            return "The answer is good enough."
        if advice.no_better:
            return "Holding on would not change what to do."
        if advice.until_s is None or self.held_s is None:
            return ""
        minutes, seconds = divmod(int(advice.until_s), 60)
        return f"Worth holding on to {minutes}:{seconds:02d} for the area to 10 %."

    def _let_up(self) -> tuple[str, str, str]:
        return "Let air in slowly; wait for room pressure.", "q ends", ""

    def _caution(self, phase: PhaseNow) -> str:
        text = CAUTIONS[phase]
        if phase == "pump-down" and self.first_pull and self.follower.redraws == 0:
            text = f"{FIRST_PULL} {text}"
        depth_pa = self.follower.room_pa - self._p_pa
        if self._load_m2 is None or phase not in ("soak", "hold") or depth_pa < 5e3:
            return text
        tonnes = depth_pa * self._load_m2 * TONNES_FORCE_PER_PA_M2
        return f"{text} About {tonnes:.1f} tonnes on the top just now."

    # How a phase begins

    def _next(self, phase: PhaseNow) -> None:
        if phase == "pump-down" and not self.follower.stalled:
            self._say("soak", "soak")
        elif phase in ("pump-down", "soak"):
            self._say("hold", "hold")
        elif phase == "hold":
            self._say("let-up", "end of hold")

    def _say(self, phase: PhaseNow, mark: str) -> None:
        if mark == "redraw":
            self.follower.redraws += 1
        self.follower.say(phase, self._now_s)
        self._enter(phase)
        self._mark(mark)

    def _began(self, phase: PhaseNow, before: PhaseNow) -> None:
        """The readings show that a phase has begun."""
        self._enter(phase)
        self._mark("redraw" if (before, phase) == ("hold", "pump-down") else phase)

    def _enter(self, phase: PhaseNow) -> None:
        if phase == "hold":
            self._m.hold_s = self._now_s
            self._m.history = []
            self._m.redraw_wanted = self._m.held_on = False
