"""The pump read off a whole simulated log, and every reason why a log cannot show it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from acquisition.simulated.scenario import HOLE, GaugeModel, Leak, PumpModel, Scenario, Shell, Stage, Stated
from acquisition.simulated.simulate import simulate
from analysis.assess import assess_logs
from analysis.pumpfound import pump_of_test
from analysis.results import Assessment


@pytest.fixture(scope="module")
def assessed() -> Assessment:
    """A rigid vessel of 32 L with a hole of 0.3 mm2, drawn by a pump of 1.4 L/s down to 8 kPa."""
    scenario = Scenario(
        (Stage("baseline", 10.0), Stage("pump-down", 120.0), Stage("hold", 200.0), Stage("let-up", 10.0)),
        (Leak("panel-edges", 0.3e-6, HOLE),),
        shell=Shell(0.032, "none", 0.95),
        pump=PumpModel(1.4e-3, 8_000.0),
        gauge=GaugeModel(resolution=0.01, noise=0.01, interval_s=0.5),
        stated=Stated(volume_m3=0.032, volume_u_m3=1e-4, barometer_pa=101_325.0, room_c=20.0),
    )
    return assess_logs([(simulate(scenario).log, None)])[0]


def test_the_planted_pump_is_found(assessed: Assessment) -> None:
    found = pump_of_test(assessed)
    assert found.reason is None
    assert found.curve is not None
    assert found.curve.speed_m3_s == pytest.approx(1.4e-3, rel=0.08)
    assert found.curve.ultimate_pa == pytest.approx(8_000.0, rel=0.1)
    for p_pa, speed in found.curve.points:
        assert speed == pytest.approx(1.4e-3 * (1.0 - 8_000.0 / p_pa), rel=0.15)


def test_without_the_leak_taken_off_the_pump_would_seem_weaker(assessed: Assessment) -> None:
    """A hole of 0.3 mm2 lets in 6.04 Pa m3/s: at 1.4 L/s it lifts the ultimate by 4.3 kPa."""
    assert assessed.area_m2 is not None
    nothing = replace(assessed.area_m2, value=0.0)
    blind, found = pump_of_test(replace(assessed, area_m2=nothing)).curve, pump_of_test(assessed).curve
    assert blind is not None
    assert found is not None
    assert blind.ultimate_pa - found.ultimate_pa == pytest.approx(4_300.0, rel=0.1)


def test_every_log_that_cannot_show_the_pump_says_why(assessed: Assessment) -> None:
    later = tuple(phase for phase in assessed.phases if phase.name == "hold")
    assert assessed.curves is not None
    weak = replace(assessed.curves, p_pa=np.maximum(assessed.curves.p_pa, 50_000.0))
    cases = {
        "no leak to take off": replace(assessed, area_m2=None, reason="The gauge stuck."),
        "stalls": replace(assessed, test="stall"),
        "the tank and not the pump": replace(assessed, behind_valve="tank"),
        "begins after the pump-down": replace(assessed, phases=later),
        "low enough": replace(assessed, curves=weak),
    }
    for words, result in cases.items():
        found = pump_of_test(result)
        assert found.curve is None
        assert words in (found.reason or "")
