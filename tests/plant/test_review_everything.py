"""What an independent review of the plant with all its parts found; each test failed before it was mended.

Builds are small and invented (`generators.py`).  Expected values are exact functions beside the tables,
the steady point beside a long march, or what a part promises (a chiller stops at freezing).
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from coldside.build.files import load_build
from coldside.build.model import Build, Parallel
from coldside.duty.model import PhaseSpec
from coldside.judge.heat import recompute_ledger
from coldside.parts.chiller import ChillerSpec
from coldside.parts.compressor import CompressorSpec
from coldside.parts.injection import InjectionSpec, cooling, parse_fluid
from coldside.parts.lines import ThermostatSpec, ValveSpec
from coldside.parts.reservoir import ReservoirSpec
from coldside.plant import layout
from coldside.plant.assemble import assemble
from coldside.plant.forecast import charge_states, simulate, solve
from coldside.plant.steady import operating_point
from generators import AIR_CORE, EXCHANGER, PUMP, TANK, TURBO, WATER_CORE, build_of, demand_of, session_of

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
CHILLER = ChillerSpec(capacity=((273.15, 600.0), (283.15, 2000.0), (298.15, 8000.0)))
ICED = ReservoirSpec(volume=2e-2, nodes=1, ice=10.0, ice_conductance=2e4, pickup=0.0)


def chilled(chiller: ChillerSpec = CHILLER) -> Build:
    parts = {"turbo": TURBO, "core": WATER_CORE, "tank": TANK, "pump": PUMP, "chiller": chiller}
    return build_of(parts, ("turbo", "core"), ("tank", "pump", "chiller", "core"))


def test_a_chiller_takes_nothing_out_of_a_loop_that_freezes():
    """Parked for an hour at 30 degC: the loop comes near 0 degC and not under it (it ran to -70 degC)."""
    plant = assemble(chilled(), demand_of(chilled(), 3600.0, speed=0.0, target=101325.0, air=0.0))
    coolant = solve(plant).streams[:, plant.arrays.passes[:, layout.P_SORT] == layout.COOLANT, 1]
    assert 273.15 < float(coolant.min()) < 279.15


def test_a_chilled_loop_settles_at_its_steady_point():
    """0.1 K: near freezing the chiller fades within 3 K, which its table follows in steps of 1 K."""
    session = session_of(PhaseSpec(kind="cruise", speed=30.0, engine_speed=60.0, load=0.5, duration=3000.0))
    forecast = simulate(chilled(), session)
    point = operating_point(chilled(), session=session, at="END")
    assert forecast.coolant_in_cores["loop"][-1] == pytest.approx(point.loop_temperature["loop"], abs=0.1)
    assert forecast.intake[-1] == pytest.approx(point.intake, abs=0.05)


def test_a_point_with_a_chiller_far_too_large_for_its_loop_is_found():
    """Its first turn takes the loop as warm, which alone would bring it to 115 K; the answer is near freezing."""
    large = replace(CHILLER, capacity=((273.15, 20e3), (298.15, 40e3)))
    session = session_of(PhaseSpec(kind="cruise", speed=20.0, engine_speed=40.0, load=0.2, duration=60.0))
    point = operating_point(chilled(large), session=session, at="END")
    assert 270.15 < point.loop_temperature["loop"] < 276.15


def test_a_cold_core_between_two_stages_is_within_the_tables():
    """Gas 25 K under ambient between the stages: both outlets are those of the exact balance (12 K off before).

    0.2 K: cubics between four temperatures there and nine of the plenum.
    """
    parts = {"low": replace(TURBO, ratio_share=0.5), "mid": WATER_CORE, "high": TURBO, "tank": ICED, "pump": PUMP}
    build = build_of(parts, ("low", "mid", "high"), ("tank", "pump", "mid"))
    plant = assemble(build, demand_of(build, 30.0, ambient=303.15, speed=25.0, target=6e4))
    found = solve(plant).scalars
    between, second = found[:, -3], found[:, -2]
    assert plant.arrays.stages == 2
    exact = charge_states(plant, plant.demand, found[:, 3], between)
    assert float(between.min()) < 283.15
    assert float(np.abs(found[:, 1] - exact.stages[0].outlet).max()) < 0.2
    assert float(np.abs(second - exact.stages[1].outlet).max()) < 0.2


def test_a_pump_on_the_engine_does_not_spoil_the_second_count_of_heat():
    """definitions, "Ledger": 1e-3.  Its command moves at every sample of a pull, and the air's flow with the car.

    5e-4 here, and up to 7e-3 in other builds, where every such sample was counted as a jump.
    """
    build = load_build(EXAMPLES / "plover" / "stacked.toml")
    session = session_of(
        PhaseSpec(kind="pull", from_speed=45.0, to_speed=120.0, duration=8.0),
        PhaseSpec(kind="pull", from_speed=45.0, to_speed=120.0, duration=8.0, gear=2),
    )
    forecast = simulate(build, session)
    assert int((np.diff(forecast.command["water_pump"]) != 0.0).sum()) > 10
    assert abs(recompute_ledger(forecast).to_air_difference) < 2e-4


@pytest.mark.parametrize("load", [0.15, 0.45])
def test_a_thermostat_holds_the_engine_at_what_is_stamped_on_it(load):
    """82 degC opens, 92 is full: a light cruise lies a little above 82 (109 degC where the loop's mean opened it).

    0.15 K from the steady point: the flow is tabulated in steps of 1.3 K there.
    """
    build = load_build(EXAMPLES / "plover" / "stacked.toml")
    session = session_of(PhaseSpec(kind="cruise", speed=22.0, engine_speed=50.0, load=load, duration=1500.0))
    forecast, point = simulate(build, session), operating_point(build, session=session, at="END")
    engine = ("engine.coolant", "coolant")
    assert 354.65 < point.outlet[engine] < 360.15
    assert forecast.outlet[engine][-1] == pytest.approx(point.outlet[engine], abs=0.15)


@pytest.mark.parametrize(
    ("way", "felt"),
    [
        (("engine", Parallel((("stat", "remote"), ("past",))), "tank", "pump"), {"engine"}),  # at the engine's outlet
        (("engine", Parallel((("remote", "stat"), ("past",))), "tank", "pump"), {"tank"}),  # ahead of the pump
        (("engine", "stat", "remote", "tank", "pump"), {"engine"}),  # in line
        (("stat", "remote", "tank", "pump", "engine"), {"engine"}),  # where the path joins its start
    ],
)
def test_what_a_thermostat_stands_in(way, felt):
    """The coolant that comes to its fork, or leaves its joint."""
    parts = {
        "turbo": TURBO,
        "core": AIR_CORE,
        "engine": TANK,
        "stat": ThermostatSpec(bore=0.03, opens_at=355.15),
        "remote": EXCHANGER,
        "past": ValveSpec(bore=0.012),
        "tank": TANK,
        "pump": PUMP,
    }
    build = build_of(parts, ("turbo", "core"), way, ("core", "remote"))
    plant = assemble(build, demand_of(build, 0.2))
    weighed = {plant.passes[p].part for p in np.flatnonzero(plant.arrays.loop_weight)}
    assert weighed == felt


@pytest.mark.parametrize("water", [2e-5, 2e-4])
def test_a_point_with_a_spray_that_dries_up_settles(water):
    """Where the air can carry off less than is sprayed, evaporation follows the metal: plain repetition swung by 57 K.

    The answer is that of a long march, 0.05 K.
    """
    parts = {"turbo": TURBO, "core": replace(AIR_CORE, spray=water, spray_when="always", spray_evaporated=1.0)}
    build = build_of(parts, ("turbo", "core"), duct=("core",))
    session = session_of(PhaseSpec(kind="cruise", speed=30.0, engine_speed=60.0, load=0.6, duration=900.0))
    point = operating_point(build, session=session, at="END")
    forecast = simulate(build, session)
    assert forecast.intake[-1] == pytest.approx(point.intake, abs=0.05)


def test_ice_in_a_mix_that_freezes_low_pays_for_the_cold_itself():
    """Ice cools methanol and water below 0 degC, but the tank starts at 0 and what it loses the ice takes up.

    It used to start at the mix's own freezing point, -39 degC, with all its ice.
    """
    parts = {"turbo": TURBO, "core": AIR_CORE, "tank": replace(ICED, volume=5e-3), "pump": PUMP}
    build = build_of(parts, ("turbo", "core"), ("tank", "pump"), ("core",), coolant="methanol 50 % by volume")
    plant = assemble(build, demand_of(build, 120.0))
    solution = solve(plant)
    tank, A = solution.streams[:, plant.index("tank", "coolant"), 1], plant.arrays
    assert tank[0] == pytest.approx(273.15, abs=1e-9)
    assert 240.0 < tank[-1] < 263.15
    melted = 10.0 - float(solution.end[A.i_ice])
    assert melted * A.ice_latent[0] > 0.8 * A.ice_capacity[0] * (273.15 - tank[-1])


def test_a_large_tank_of_ice_water_may_start():
    """100 L at 0 degC bring the mean of the loop within 0.2 K of freezing, where water without ice is refused."""
    parts = {"turbo": TURBO, "core": AIR_CORE, "tank": replace(ICED, volume=0.1), "pump": PUMP}
    plant = assemble(build := build_of(parts, ("turbo", "core"), ("tank", "pump"), ("core",)), demand_of(build, 0.2))
    assert float(plant.start[: plant.arrays.i_feed].min()) == pytest.approx(273.15)


def test_injections_of_two_stages_know_where_they_stand():
    """Each outlet is that of `injection.cooling` at the pressure and temperature of its place, 1.5 K (line for curve).

    A core between the stages made the second one's line that of cool gas; the first one's was drawn at the
    pressure behind both.
    """
    nozzle = InjectionSpec(flow=8e-6, evaporated=1.0)
    parts = {"low": TURBO, "first": nozzle, "mid": WATER_CORE, "high": TURBO, "second": nozzle, "core": WATER_CORE}
    build = build_of(
        {**parts, "tank": TANK, "pump": PUMP},
        ("low", "first", "mid", "high", "second", "core"),
        ("tank", "pump", "mid", "core"),
    )
    plant = assemble(build, demand_of(build, 3.0, humidity=0.4, target=3.2e5))
    solution = solve(plant)
    state = charge_states(plant, plant.demand, solution.scalars[:, 3], solution.scalars[:, -2])
    W, flow = plant.around.humidity_ratio, float(state.flow[-1])
    ratio = 8e-6 * 998.2 * (1.0 + W) / flow
    places = {"first": state.stages[0].outlet_pressure[-1], "second": 0.5 * (state.compressor_out_pressure[-1] + 3.2e5)}
    for name, pressure in places.items():
        T_in, T_out = solution.streams[-1, plant.index(name, "charge"), :2]
        exact = cooling(parse_fluid("water"), ratio, pressure, W, plant.around.temperature, T_in).outlet(T_in)
        assert T_in - T_out > 20.0
        assert T_out == pytest.approx(float(exact), abs=1.5)


def test_an_engine_whose_water_pump_is_dead_gets_its_forecast():
    """Far past boiling (300 degC, where the coolant's properties end) it is told, not refused without a word why."""
    build = load_build(EXAMPLES / "plover" / "stacked.toml")
    dead = replace(build, parts={**build.parts, "water_pump": replace(build.parts["water_pump"], fault="dead")})
    session = session_of(PhaseSpec(kind="cruise", speed=45.0, engine_speed=110.0, load=1.0, duration=500.0))
    forecast = simulate(dead, session)
    assert forecast.outlet[("engine.coolant", "coolant")][-1] > 573.15
    assert any("engine_water" in words and "beyond the data" in words for words in forecast.health.extrapolated)


def test_an_injection_behind_two_hot_stages_is_not_refused():
    """Nothing cools between, and the second outlet passes 300 degC: its line is carried on, not asked for there."""
    nozzle = InjectionSpec(flow=2e-5, evaporated=1.0)
    parts = {"low": CompressorSpec(efficiency=0.5), "high": CompressorSpec(efficiency=0.5), "nozzle": nozzle}
    build = build_of({**parts, "core": AIR_CORE}, ("low", "high", "nozzle", "core"), duct=("core",))
    plant = assemble(build, demand_of(build, 5.0, humidity=0.3, target=4.2e5))
    T_in, T_out = solve(plant).streams[-1, plant.index("nozzle", "charge"), :2]
    assert T_in > 573.15
    assert T_in - 200.0 < T_out < T_in - 50.0
