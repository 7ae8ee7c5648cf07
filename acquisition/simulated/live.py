"""A make-believe box that answers as time goes by, so that a simulated gauge can speak on a line."""

from __future__ import annotations

import numpy as np

from acquisition.errors import WrongUsage
from acquisition.simulated.engine import Engine
from acquisition.simulated.gauge import displayed, disturbed, in_unit
from acquisition.simulated.plant import KINDS
from acquisition.simulated.scenario import Scenario, StageKind


class LiveBox:
    """One box and its gauge, stepped as far as it is asked for.

    It follows its schedule until ``turn`` takes the valve in hand; from then on it stays as turned. Asking
    for an earlier time than the last one gives the present.
    """

    def __init__(self, scenario: Scenario) -> None:
        self.scenario = scenario
        self._engine = Engine([scenario])
        self._rng = np.random.default_rng([scenario.seed, 20260102])
        self._by_hand = False

    @property
    def phase(self) -> StageKind | None:
        """What the valves are set to now; None when the schedule is over."""
        kind = int(self._engine.kind[0])
        return None if kind < 0 else KINDS[kind]

    @property
    def p_pa(self) -> float:
        """The true pressure in the box now, Pa absolute."""
        return float(self._engine.state[0, 0])

    def turn(self, phase: StageKind, tank: bool = False) -> None:
        """Set the valves for a phase by hand, from now on.

        Raises
        ------
        WrongUsage
            ``phase`` is no phase.
        """
        if phase not in KINDS:
            raise WrongUsage(f"'{phase}' is no phase of a hold test; take one of {', '.join(KINDS)}.")
        self._by_hand = True
        self._engine.force(KINDS.index(phase), tank)

    def run_to(self, t_s: float) -> None:
        """Let the time pass up to ``t_s`` seconds since the start."""
        while self._engine.t_s + 0.5 * self._engine.step_s < t_s:
            if not self._by_hand:
                self._engine.change_stages()
            self._engine.step()

    def value_at(self, t_s: float) -> float:
        """What the gauge shows at a time, rounded as displayed, in the gauge's unit."""
        return self._shown(t_s)[0]

    def text_at(self, t_s: float) -> str:
        """The line the gauge would send at a time, without its line ending, e.g. ``101.3 kPa``."""
        return self._shown(t_s)[1]

    def _shown(self, t_s: float) -> tuple[float, str]:
        self.run_to(t_s)
        gauge, room = self.scenario.gauge, self.scenario.room
        now = np.array([max(t_s, 0.0)])
        native = in_unit(self._engine.indicated_pa, gauge.unit, room.pa + room.pa_per_s * now)
        shown = displayed(gauge, float(disturbed(gauge, now, native, self._rng)[0]), float(now[0]))
        return shown.value, str(shown)
