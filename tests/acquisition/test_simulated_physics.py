"""The make-believe box against closed forms, published tables, balances and the sizes the trade reports."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from acquisition.simulated import laws
from acquisition.simulated.engine import AIR, FAST, LEAKED, RELEASED, SEEPED, SLOW, TANK, VAPOUR, Engine, P
from acquisition.simulated.scenario import (
    SEEP,
    SHARP,
    Law,
    Leak,
    LetGo,
    Moisture,
    PumpModel,
    Room,
    Scenario,
    Shell,
    Stage,
    StoredAir,
    TankModel,
    Valve,
    WoodHeat,
)
from acquisition.simulated.simulate import simulate, simulate_many

RIGID = Shell(0.1, "none", 1.0, 0.0, 1e5)
"""No wood, no bow, gas always at the wall's temperature: the textbook's isothermal vessel."""
PLAIN = Shell(0.032, "none", 1.0, 0.0, 2.8)
DRY = Room(humidity=0.0)
MM2 = 1e-6


def at_pressure(scenario: Scenario, p_pa: float, step_s: float = 0.1) -> Engine:
    """An engine whose box is shut and stands at a pressure, dry and warm."""
    engine = Engine([scenario], step_s)
    engine.state[P] = p_pa
    engine.state[AIR] = p_pa * engine.plant.volume_m3 * (1 - engine.plant.bow * (1 - p_pa / 101_325.0)) / 293.15
    engine.state[VAPOUR] = 0.0
    return engine


def pressures(engine: Engine, times: list[float]) -> list[float]:
    out = []
    for t in times:
        while engine.t_s < t - 1e-9:
            engine.step()
        out.append(float(engine.state[P, 0]))
    return out


def shut_hold(leaks: tuple[Leak, ...], shell: Shell = RIGID, **more: object) -> Scenario:
    return replace(Scenario((Stage("hold", 1e6),), leaks, shell, room=DRY), **more)


# --- flow laws -----------------------------------------------------------------------------------------


def test_choked_flow_of_room_air_per_mm2():
    # 239.17 mg/s per mm2 at 20 C, 101325 Pa: gamma 1.4, R 287.05287, worked apart from this code.
    one = np.array([1.0])
    flow = laws.nozzle_flow(101_325.0 * one, 293.15 * one, 20_000.0 * one, 293.15 * one, 1e-6 * one)
    assert flow[0] / laws.GAS_J_KGK * 1e6 == pytest.approx(239.17, abs=0.01)


@pytest.mark.parametrize(
    ("ratio", "exact"), [(0.3, 1.0), (0.6, 0.98859), (0.7, 0.93222), (0.8, 0.81880), (0.9, 0.61715), (0.95, 0.44929)]
)
def test_nozzle_against_st_venant_table(ratio: float, exact: float):
    assert laws.nozzle(np.array(ratio)) == pytest.approx(exact, abs=1.1e-5)


@pytest.mark.parametrize(("ratio", "cd"), [(0.0, 0.8414), (0.2, 0.8306), (0.5, 0.7491), (0.8, 0.6358), (1.0, 0.6001)])
def test_sharp_coefficient_against_perry(ratio: float, cd: float):
    assert laws.coefficient(np.array(ratio)) == pytest.approx(cd, abs=6e-5)


def test_crack_lies_between_its_two_losses():
    # By hand: x = 0.5, seep(0.8) = 0.36/0.96 = 0.375: 0.5 q + 0.5 q^2 = 0.375, q = (-1 + sqrt(4)) / 2 = 0.5.
    assert laws.crack(np.array(0.8), np.array(0.5)) == pytest.approx(0.5, abs=1e-12)


@pytest.mark.parametrize("law", [Law("hole"), SHARP, SEEP, Law("slip", -0.4), Law("mix", 0.3), Law("crack", 0.4)])
def test_every_law_passes_its_area_at_one_fifth(law: Law):
    # Effective leak area: 20.126 Pa m3/s per mm2 at r 0.2, whatever the law.
    engine = at_pressure(shut_hold((Leak("line", MM2, law),)), 0.2 * 101_325.0, step_s=0.01)
    before = engine.state[P, 0]
    engine.step()
    assert (engine.state[P, 0] - before) / 0.01 * 0.1 == pytest.approx(20.126, rel=3e-4)


# --- whole curves --------------------------------------------------------------------------------------


def test_nozzle_curve_against_table():
    # 0.1 m3, 1 mm2, from 15 kPa, isothermal: made with a general ODE solver, not with this code.
    times = [60.0, 120.0, 180.0, 240.0, 300.0, 400.0, 500.0]
    expected = [27075.75, 39151.50, 51227.24, 63236.22, 74634.83, 90343.03, 99601.39]
    got = pressures(at_pressure(shut_hold((Leak("line", MM2),)), 15_000.0), times)
    assert got == pytest.approx(expected, rel=2e-5)


def test_seep_curve_is_the_hyperbolic_tangent():
    # dp/dt = G (p0^2 - p^2), closed form p = p0 tanh(atanh(p1/p0) + G p0 t).
    p0, p1, volume, area = 101_325.0, 15_000.0, 0.1, 2 * MM2
    rate = area * 0.684731 * math.sqrt(287.05287 * 293.15) / (p0 * 0.96 * volume)
    times = [50.0, 200.0, 500.0]
    expected = [p0 * math.tanh(math.atanh(p1 / p0) + rate * p0 * t) for t in times]
    got = pressures(at_pressure(shut_hold((Leak("line", area, SEEP),)), p1), times)
    assert got == pytest.approx(expected, rel=6e-5)


def test_pump_down_is_exponential_when_isothermal():
    # p = pu + (p0 - pu) exp(-S t / V), the textbook's formula t = (V/S) ln(p0/p) with an ultimate pressure.
    scenario = Scenario((Stage("pump-down", 60.0),), (), RIGID, room=DRY, pump=PumpModel(5e-3, 8_000.0))
    run = simulate(scenario).truth
    expected = 8_000.0 + (101_325.0 - 8_000.0) * np.exp(-5e-3 / 0.1 * run.t_s[::100])
    assert run.p_pa[::100] == pytest.approx(expected, rel=5e-4)


def test_stalled_pump_balances_its_leak():
    # Choked balance: S (p - pu) = 20.126 A, A in mm2.
    scenario = Scenario((Stage("pump-down", 300.0),), (Leak("line", 1.2 * MM2),), PLAIN, room=DRY)
    stalled = simulate(scenario).truth.p_pa[-1]
    assert stalled == pytest.approx(8_000.0 + 1.2 * 20.126 / 1.4e-3, rel=2e-3)


def test_pump_given_by_points_passes_through_them():
    # The same pump once by formula and once by points of it, 1 kPa apart.
    points = tuple((p, 1.4e-3 * max(1 - 8_000.0 / p, 0.0)) for p in np.arange(8_000.0, 105_000.0, 1_000.0))
    stages = (Stage("pump-down", 60.0),)
    formula, table = simulate_many(
        [Scenario(stages, shell=PLAIN), Scenario(stages, shell=PLAIN, pump=PumpModel(points=points))]
    )
    assert table.truth.p_pa == pytest.approx(formula.truth.p_pa, rel=1e-3)


def test_halving_the_step_changes_nothing_that_matters():
    scenario = Scenario(
        (Stage("pump-down", 40.0), Stage("hold", 60.0)), (Leak("line", MM2),), Shell(0.012, "bare", 0.6, 0.01, 4.0)
    )
    ends = []
    for step_s in (0.1, 0.05):
        engine = Engine([scenario], step_s)
        while engine.t_s < 100.0:
            engine.change_stages()
            engine.step()
        ends.append(engine.state[P, 0])
    assert ends[0] == pytest.approx(ends[1], rel=2e-4)


# --- balances ------------------------------------------------------------------------------------------


def test_gas_is_conserved_through_a_hold():
    scenario = Scenario(
        (Stage("pump-down", 40.0), Stage("hold", 200.0)),
        (Leak("line", 0.1 * MM2), Leak("closure", 0.2 * MM2, SEEP)),
        Shell(0.032, "bare", 1.0, 0.05, 2.0),
        valve=Valve(0.05 * MM2, "room"),
    )
    engine = Engine([scenario])
    while engine.kind[0] != 3:
        engine.change_stages()
        engine.step()
    before = engine.state[:, 0].copy()
    for _ in range(1500):
        engine.step()
    gained = engine.state[:, 0] - before
    assert gained[AIR] + gained[VAPOUR] == pytest.approx(gained[LEAKED] + gained[RELEASED] + gained[SEEPED], rel=1e-9)


def test_stored_air_leaves_the_pores_and_enters_the_box():
    shell = Shell(0.032, "bare", 1.0, 0.0, 2.8)
    scenario = Scenario((Stage("hold", 1e6),), (), shell, moisture=Moisture(0.0, 30.0), room=DRY)
    engine = at_pressure(scenario, 20_000.0)
    start = engine.state[:, 0].copy()
    for _ in range(3000):
        engine.step()
    lost = 0.35e-3 * (start[FAST] - engine.state[FAST, 0]) + 0.9e-3 * (start[SLOW] - engine.state[SLOW, 0])
    assert engine.state[RELEASED, 0] * 293.15 == pytest.approx(lost, rel=1e-6)


def test_a_tank_and_its_box_meet_at_the_mixed_pressure():
    # Boyle: 100 L at 12 kPa and 25 L at 101.325 kPa meet at (100*12 + 25*101.325)/125 kPa once all is warm again.
    tank = TankModel(0.1, 12_000.0, 150e-6)
    scenario = Scenario(
        (Stage("pump-down", 600.0, tank=True),), (), Shell(0.025, "none", 1.0, 0.0, 2.8), room=DRY, tank=tank,
        pump=PumpModel(0.0, 0.0),
    )  # fmt: skip
    run = simulate(scenario).truth
    assert run.p_pa[-1] == pytest.approx((100 * 12_000.0 + 25 * 101_325.0) / 125, rel=1e-4)


# --- sizes of the effects, as the trade and the energy balance give them -----------------------------------


def test_pump_down_cools_the_gas_as_much_as_reported():
    # 8 to 22 K in a 40 s pump-down (energy balance, h 1.5 to 4 W/m2K).
    deepest = []
    for heat in (1.5, 4.0):
        shell = Shell(0.032, "none", 1.0, 0.0, heat)
        down = Scenario((Stage("pump-down", 40.0), Stage("hold", 60.0)), (), shell, room=DRY)
        deepest.append(float(simulate(down).truth.gas_k[400]))
    assert 293.15 - deepest[0] == pytest.approx(15.0, abs=7.0)
    assert 5.0 < 293.15 - deepest[1] < 293.15 - deepest[0]


def dumped() -> tuple[np.ndarray, np.ndarray]:
    scenario = Scenario(
        (Stage("pump-down", 1.5, tank=True), Stage("hold", 120.0)), (), Shell(0.032, "none", 1.0, 0.0, 2.0),
        room=DRY, tank=TankModel(0.2, 8_000.0, 220e-6),
    )  # fmt: skip
    run = simulate(scenario).truth
    return run.p_pa, run.gas_k


def test_a_tank_dump_cools_the_gas_by_up_to_100_k():
    p, gas = dumped()
    assert 70.0 < 293.15 - gas.min() < 108.0
    rise = p[-1] - p[15]
    assert 5_000.0 < rise < 11_000.0


def test_the_rise_after_shutting_dies_within_seconds():
    # Time constant 2 to 8 s; isothermal to 0.5 % 40 s after a dump.
    p, _ = dumped()
    left = (p[-1] - p[15:]) / (p[-1] - p[15])
    tau = 0.1 * float(np.argmax(left < math.exp(-1.0)))
    assert 2.0 < tau < 8.0
    assert abs(p[15 + 400] / p[-1] - 1.0) < 0.005


def test_the_gas_stays_warmed_by_its_inflow():
    # Q / (h A): 20.1 W through 1 mm2 over 2.8 W/K is 7 K.
    scenario = shut_hold((Leak("line", MM2),), replace(PLAIN, heat_w_m2k=2.8))
    engine = at_pressure(scenario, 15_000.0)
    pressures(engine, [20.0])
    assert engine.gas_k[0] - 293.15 == pytest.approx(7.0, abs=0.7)


def vapour_rise(celsius: float) -> float:
    scenario = Scenario(
        (Stage("hold", 1e6),), (), Shell(0.032, "coated", 1.0, 0.0, 2.8), StoredAir((0.0, 0.0)),
        Moisture(0.55, 20.0), Room(celsius=celsius),
    )  # fmt: skip
    engine = Engine([scenario])
    engine.state[P], engine.state[AIR], engine.state[VAPOUR] = 10_000.0, 10_000.0 * 0.032 / (celsius + 273.15), 0.0
    return pressures(engine, [200.0])[0] - 10_000.0


def test_moisture_rises_to_its_ceiling_and_no_further():
    # 0.55 of 2.34 kPa at 20 C and of 12.35 kPa at 50 C (steam tables).
    assert vapour_rise(20.0) == pytest.approx(0.55 * 2_339.0, rel=0.01)
    assert vapour_rise(50.0) == pytest.approx(0.55 * 12_352.0, rel=0.01)


def test_moisture_comes_back_on_every_hold():
    stages = (Stage("pump-down", 60.0), Stage("soak", 120.0), Stage("hold", 60.0)) * 2
    shell = Shell(0.032, "coated", 1.0, 0.0, 2.8)
    run = simulate(Scenario(stages, (), shell, StoredAir((0.0, 0.0)), Moisture(0.5, 25.0))).truth
    rises = [hold.end_pa - hold.start_pa for hold in run.holds]
    assert rises[1] == pytest.approx(rises[0], rel=0.15)
    assert rises[1] > 500.0


def test_moisture_doubles_the_drift_with_temperature():
    # About 150 Pa/K at 20 kPa: gas law 68 Pa/K plus the ceiling's own slope, a_w dp_sat/dT = 0.55 * 145 Pa/K.
    shell, heat = Shell(0.032, "coated", 1.0, 0.0, 2.8), WoodHeat(k_per_s=0.001)
    base = Scenario((Stage("hold", 1e6),), (), shell, StoredAir((0.0, 0.0)), Moisture(0.55, 10.0))
    ends = []
    for drift in (WoodHeat(), heat):
        engine = Engine([replace(base, wood_heat=drift)], step_s=0.5)
        engine.state[P], engine.state[AIR] = 20_000.0, 18_713.0 * 0.032 / 293.15
        engine.state[VAPOUR] = 1_287.0 * 0.032 / 293.15
        ends.append(pressures(engine, [1000.0])[0])
    assert ends[1] - ends[0] == pytest.approx(150.0, abs=15.0)


def apparent_area_mm2(soak_s: float, wood: str = "bare") -> float:
    """Area read between minutes 1 and 5 of a hold with no leak at all, dry wood, 32 L."""
    soak = (Stage("soak", soak_s),) if soak_s else ()
    shell = Shell(0.032, wood, 1.0, 0.0, 2.8)
    stages = (Stage("pump-down", 40.0), *soak, Stage("hold", 310.0))
    run = simulate(Scenario(stages, (), shell, moisture=Moisture(0.0), room=DRY)).truth
    start = round(run.holds[0].start_s * 10)
    return float((run.p_pa[start + 3000] - run.p_pa[start + 600]) / 240.0 * 0.032 / 20.126)


def test_stored_air_looks_like_a_small_leak_until_soaked():
    # 0.005 to 0.018 mm2 apparent with no leak, minutes 1 to 5; near nothing when coated.
    fresh = apparent_area_mm2(0.0)
    assert 0.005 < fresh < 0.018
    assert apparent_area_mm2(180.0) < 0.65 * fresh
    assert apparent_area_mm2(0.0, "coated") < 0.1 * fresh


def test_stored_air_adds_up_to_three_kilopascal():
    # 1.25 L of pores beside 32 L, from 101 to 20 kPa: at most 3 kPa in all.
    shell = Shell(0.032, "bare", 1.0, 0.0, 2.8)
    scenario = Scenario((Stage("hold", 1e6),), (), shell, moisture=Moisture(0.0), room=DRY)
    engine = at_pressure(scenario, 20_000.0, step_s=4.0)
    assert pressures(engine, [20_000.0])[0] - 20_000.0 == pytest.approx(3_000.0, abs=300.0)


def test_wood_takes_its_air_back_from_a_rising_box():
    """A leak fills an emptied bare box more slowly than a coated one: 5 to 16 % extra volume."""
    slopes = []
    for wood in ("bare", "none"):
        engine = at_pressure(shut_hold((Leak("line", 0.3 * MM2),), Shell(0.032, wood, 1.0, 0.0, 2.8)), 20_000.0)
        engine.plant.activity[:] = 0.0
        engine.state[[FAST, SLOW]] = 20_000.0
        first, second = pressures(engine, [100.0, 180.0])
        slopes.append(second - first)
    assert 0.80 < slopes[0] / slopes[1] < 0.99


@pytest.mark.parametrize(("bow", "low", "high"), [(0.0017, 0.0005, 0.002), (0.012, 0.005, 0.009), (0.2, 0.08, 0.2)])
def test_a_bowing_box_shifts_the_area_read(bow: float, low: float, high: float):
    # 0.1 to 0.7 % at 20 kPa when well baffled, 4 to 20 % when not.
    slope = []
    for share in (0.0, bow):
        engine = at_pressure(shut_hold((Leak("line", MM2),), replace(RIGID, bow=share)), 20_000.0)
        first, second = pressures(engine, [1.0, 6.0])
        slope.append(second - first)
    assert low < abs(slope[1] / slope[0] - 1.0) < high


def test_a_weeping_valve_takes_air_out_to_the_tank():
    stages = (Stage("pump-down", 5.0, tank=True), Stage("hold", 200.0))
    tank = TankModel(0.2, 8_000.0, 150e-6)
    tight = Scenario(stages, (Leak("line", 0.05 * MM2),), PLAIN, tank=tank, room=DRY)
    weeping = replace(tight, valve=Valve(0.2 * MM2, "tank"))
    vented = replace(tight, valve=Valve(0.2 * MM2, "room"))
    ends = [run.truth.holds[0].end_pa for run in simulate_many([weeping, tight, vented])]
    assert ends[0] < ends[1] - 1_000.0 < ends[1] + 1_000.0 < ends[2]


def test_the_tank_gains_what_the_box_loses_through_the_seat():
    stages = (Stage("pump-down", 5.0, tank=True), Stage("hold", 1e6))
    still = Scenario(
        stages, (), PLAIN, tank=TankModel(0.2, 8_000.0), valve=Valve(MM2, "tank"), room=DRY, pump=PumpModel(0.0, 0.0)
    )
    engine = Engine([still])
    while engine.t_s < 60.0:
        engine.change_stages()
        engine.step()
    before = engine.state[:, 0].copy()
    for _ in range(600):
        engine.step()
    lost = -(engine.state[AIR, 0] - before[AIR]) * 293.15
    assert lost > 0.0
    assert (engine.state[TANK, 0] - before[TANK]) * 0.2 == pytest.approx(lost, rel=1e-9)


def test_a_film_lets_go_where_it_is_told_to():
    film = Leak("closure", 0.01 * MM2, let_go=LetGo(2.0 * MM2, at_s=120.0, within_s=2.0))
    scenario = Scenario((Stage("pump-down", 60.0), Stage("hold", 120.0)), (film,), PLAIN, room=DRY)
    p = simulate(scenario).truth.p_pa
    # 2 mm2 into 32 L is 20.126 * 2 / 0.032 = 1258 Pa/s once open.
    assert (p[1300] - p[1290]) == pytest.approx(1_258.0, rel=0.05)
    assert p[1190] - p[1180] < 20.0


def test_a_seal_may_go_at_a_pressure():
    film = Leak("closure", 0.0, let_go=LetGo(MM2, at_pa=30_000.0, within_s=1.0))
    engine = Engine([Scenario((Stage("pump-down", 100.0),), (film,), PLAIN, room=DRY)])
    opened = None
    while opened is None:
        engine.change_stages()
        engine.step()
        opened = engine.state[P, 0] if engine.area_m2[0, 0] > 0.0 else None
    assert opened == pytest.approx(30_000.0, rel=0.02)


def test_shutting_the_valve_may_jump():
    stages = (Stage("pump-down", 40.0), Stage("hold", 1.0))
    plain = Scenario(stages, shell=PLAIN)
    still, jumped = simulate_many([plain, replace(plain, valve=Valve(jump_pa=200.0))])
    assert jumped.truth.holds[0].start_pa - still.truth.holds[0].start_pa == pytest.approx(200.0, abs=5.0)
