"""Air outside that changes: the march against closed forms, against sessions in still air, and against its twin."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from coldside.build.files import load_build
from coldside.duty.demand import sample
from coldside.duty.model import PhaseSpec, ReadingSpec, Session
from coldside.duty.phases import load_session
from coldside.judge.heat import recompute_ledger
from coldside.judge.knock import judge_knock
from coldside.judge.summary import forecast_json
from coldside.judge.verdict import judge
from coldside.parts.airflow import DuctSpec
from coldside.parts.exchanger import ExchangerSpec
from coldside.parts.injection import InjectionSpec
from coldside.parts.reservoir import tank_pickup
from coldside.plant import kernel, layout, reference
from coldside.plant.assemble import Plant, assemble
from coldside.plant.forecast import simulate, solve
from coldside.plant.results import Forecast
from coldside.plant.steady import operating_point
from coldside.sheet import tables
from generators import (
    EXCHANGER,
    PUMP,
    TANK,
    TURBO,
    WATER_CORE,
    Held,
    build_of,
    coupled_bench,
    demand_of,
    march,
    nodes,
    session_of,
    settled,
)

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
SESSION = EXAMPLES / "sessions" / "warming-afternoon.toml"
SHORT = (PhaseSpec(kind="idle", duration=20.0), PhaseSpec(kind="pull", from_speed=50.0, to_speed=110.0, duration=8.0))


@cache
def afternoon(name: str) -> Forecast:
    """A bundled build over the bundled afternoon."""
    return simulate(load_build(EXAMPLES / f"{name}.toml"), load_session(SESSION))


def changing(*readings: tuple[float, float], phases: tuple[PhaseSpec, ...] = SHORT) -> Session:
    """A session on the tests' day, 303.15 K at the start, with readings (s, K) after it."""
    return replace(session_of(*phases), readings=tuple(ReadingSpec(at=t, temperature=T) for t, T in readings))


# ---------------------------------------------------------------- closed forms


def test_a_parked_tank_lags_a_ramp_by_its_rate_times_its_time_constant():
    """C T' = G (a t - T): T = T0 + a t - a tau (1 - exp(-t/tau)), tau = C/G (first-order lag, textbook)."""
    tank = replace(TANK, pickup=8.0, surroundings="ambient", metal_mass=1.0)
    parts = {"turbo": TURBO, "core": WATER_CORE, "tank": tank, "pump": PUMP}
    build = build_of(parts, ("turbo", "core"), ("tank", "pump", "core"))
    seconds, rate = 4000.0, 10.0 / 3600.0
    time = 0.1 * np.arange(round(seconds / 0.1) + 1)
    demand = demand_of(build, seconds, speed=0.0, target=101325.0, bay=303.15, command={"pump": 0.0})
    plant = assemble(build, replace(demand, ambient_temperature=303.15 + rate * time))
    f = plant.fields.index("tank coolant")
    tau = float(plant.arrays.field_capacity[f]) / tank_pickup(tank)
    assert 1000.0 < tau < 4000.0
    end = march(plant).end[nodes(plant, "tank coolant")][0]
    exact = 303.15 + rate * seconds - rate * tau * (1.0 - np.exp(-seconds / tau))
    assert end == pytest.approx(exact, abs=1e-6)
    assert 303.15 + rate * seconds - end > 2.0


def test_a_whole_system_at_constant_load_lags_a_slow_ramp_by_its_own_time():
    """x' = A x + B u with u = u0 + a t: once settled x = x_steady(u) + A^-1 dx_steady/du a (linear systems, textbook).

    A water core, a loop and an exchanger with held flows: `reference.heats` gives A, an eigenvalue of it how long
    is long.
    """
    seconds, rate = 1500.0, 0.01
    time = 0.1 * np.arange(round(seconds / 0.1) + 1)
    held = Held(
        charge=(0.15, 1010.0, 400.0),
        coolant=(2.5e-4, 1000.0, 4180.0),
        cooling=(0.5, 1006.0),
        values={"core": (0.35, 700.0), "remote": (900.0, 0.4)},
    )
    cells = {"core": (3, 3), "remote": (3, 3)}
    still = {"bay": 303.15}
    plant = coupled_bench(seconds, cells, held, ambient=303.15 + rate * time, **still)
    A, last = plant.arrays, len(time) - 1
    cold, warm = settled(plant, 0)[0], settled(plant, last)[0]
    slope = (warm - cold)[: A.i_feed] / (rate * seconds)
    found = reference.flows(A, last, 0.0, plant.start, plant.combos(np.zeros((1, 1), dtype=np.int64))[0])
    a, b = reference.coefficients(A, found)
    probe = np.zeros((A.n_states, A.i_feed + 1))
    probe[: A.i_feed, : A.i_feed] = np.eye(A.i_feed)
    into = reference.heats(A, found, a, b, reference.surroundings_at(A, last), probe).into
    matrix = (into[:, :-1] - into[:, -1:]) / np.repeat(A.field_capacity, A.field_count)[:, None]
    slowest = -1.0 / float(np.linalg.eigvals(matrix).real.max())
    assert 20.0 < slowest < seconds / 12.0
    expected = warm[: A.i_feed] + np.linalg.solve(matrix, slope * rate)
    end = march(plant).end[: A.i_feed]
    assert end == pytest.approx(expected, abs=2e-4)
    behind = (warm[: A.i_feed] - end)[nodes(plant, "tank coolant")][0]
    assert behind > 0.3 * rate * slowest


# ---------------------------------------------------------------- against still air


def test_readings_of_the_same_air_are_one_figure():
    """1e-9 K: a constant day said twice."""
    build = load_build(EXAMPLES / "tern" / "water.toml")
    one, two = simulate(build, changing()), simulate(build, changing((10.0, 303.15), (60.0, 303.15)))
    assert np.abs(one.intake - two.intake).max() <= 1e-9
    assert np.abs(one.power - two.power).max() <= 1e-6


def test_air_that_moves_by_next_to_nothing_is_still_air():
    """Tables of moving air (levels of ambient, water by samples) against those of one day: a microkelvin of ramp."""
    for name in ("tern/water", "heron/two_stage", "siskin/blown"):
        build = load_build(EXAMPLES / f"{name}.toml")
        still, moving = simulate(build, changing()), simulate(build, changing((28.0, 303.15 + 1e-6)))
        assert np.abs(still.intake - moving.intake).max() <= 1e-4
        assert moving.power_at_ambient == pytest.approx(still.power_at_ambient, rel=1e-6)


def test_a_step_of_the_air_is_two_sessions():
    """A cold start in the one air, then the other within a second: first half the first session, end the second's.

    0.05 K: the tables of the whole session reach further and are that much coarser; the second half has had 45 min.
    """
    build = load_build(EXAMPLES / "tern" / "air.toml")
    cruise = (PhaseSpec(kind="cruise", speed=30.0, duration=5400.0),)
    stepped = simulate(build, changing((2700.0, 303.15), (2701.0, 311.15), phases=cruise))
    W = stepped.demand.humidity
    assert W[0] > W[-1] + 0.1  # the same water in warmer air
    before = simulate(build, changing(phases=cruise))
    half = slice(0, 26999)
    assert np.abs(stepped.intake[half] - before.intake[half]).max() <= 0.05
    day = replace(session_of(*cruise).ambient, temperature=311.15, humidity=float(W[-1]))
    after = simulate(build, session_of(*cruise, ambient=day))
    assert stepped.intake[-1] == pytest.approx(after.intake[-1], abs=0.05)
    assert after.intake[-1] > before.intake[-1] + 5.0


# ---------------------------------------------------------------- the plant itself


@pytest.mark.parametrize("name", ["tern/water", "heron/two_stage"])
def test_the_ledger_closes_while_the_air_moves(name):
    """As in still air (tests/laws/test_heat.py): 1e-10 by construction, 1e-3 counted again from the traces."""
    forecast = afternoon(name)
    assert forecast.demand.ambient_changes
    assert forecast.ledger.closure <= 1e-10
    assert recompute_ledger(forecast).worst <= 1e-3


def test_kernel_and_twin_agree_in_moving_air():
    """1e-10 of the largest of each block, with every kind of part there is, between samples of a fast ramp."""
    build = build_of(
        {
            "low": replace(TURBO, ratio_share=0.45),
            "mid_core": WATER_CORE,
            "high": TURBO,
            "nozzle": InjectionSpec(flow=5e-6, evaporated=0.8),
            "core": WATER_CORE,
            "tank": replace(TANK, ice=4.0, pickup=2.0, nodes=3),
            "pump": PUMP,
            "remote": replace(EXCHANGER, spray=2e-6, spray_when="always"),
        },
        ("low", "mid_core", "high", "nozzle", "core"),
        ("tank", "pump", "mid_core", "core", "remote"),
        ("remote",),
        duct_spec=DuctSpec(place="rear", inlet_area=0.05, recirculation=0.3),
    )
    demand = demand_of(build, 20.0, target=2.8e5, air=3.0)
    ramp = np.linspace(295.15, 311.15, len(demand.time))
    plant = assemble(build, replace(demand, ambient_temperature=ramp, humidity=np.linspace(0.7, 0.5, len(ramp))))
    A = plant.arrays
    assert A.duct_shape[0, 1] == 5  # levels of 4 K
    assert np.ptp(A.inputs[:, layout.IN_HUMIDITY]) > 1e-3
    assert np.ptp(A.inputs[:, A.in_limit]) > 1.0  # the wet bulb of the spray
    solution = solve(plant)
    combo, work = plant.combos(solution.levels)[0], layout.new_work(A)
    for k in (3, 77, 150):
        for x in (solution.start, solution.peak_state, solution.end):
            ours = np.full(len(x), np.nan)
            kernel.derivative(*layout.pack(A), work.packed, k, 0.3, x, combo, ours)
            twin = reference.derivative(A, k, 0.3, x, combo)
            for block in (slice(0, A.i_feed), slice(A.i_feed, A.n_states), slice(A.n_states, len(x))):
                np.testing.assert_allclose(ours[block], twin[block], rtol=1e-10, atol=1e-10 * np.abs(twin[block]).max())


def ramped(name: str) -> Plant:
    build = load_build(EXAMPLES / f"{name}.toml")
    return assemble(build, sample(changing((28.0, 317.15)), build))


def test_duct_air_between_two_levels_is_the_network_at_that_air():
    """A level every 4 K: linear between, 1e-4 of the flow (what is missed is h^2/(4 T^2), 5e-5)."""
    plant = ramped("tern/water")
    A = plant.arrays
    for k in (40, 133, 222):
        ambient = float(plant.demand.ambient_temperature[k])
        x = plant.start.copy()
        combo = plant.combos(np.maximum(A.level[k : k + 1], 0))[0]
        for rise in (10.0, 30.0):  # nodes of the rise, so that the level is all that is interpolated
            x[A.i_duct : A.i_boss] = ambient + rise
            found = reference.flows(A, k, 0.0, x, combo)
            for d, duct in enumerate(plant.ducts):
                levels = dict(zip(plant.devices, plant.levels, strict=True))
                command = {fan: levels[fan][max(A.level[k, plant.devices.index(fan)], 0)][None] for fan in duct.fans}
                V = np.maximum(plant.demand.air_speed[duct.duct.name][k : k + 1], 0.0)
                around = replace(plant.around, temperature=ambient)
                exact = duct.flow(plant.build, V, np.array([ambient + rise]), command, around)[0]
                of = np.flatnonzero((A.passes[:, layout.P_SORT] == layout.COOLING) & (A.passes[:, layout.P_PATH] == d))
                for p in of:
                    m = max(float(exact[A.passes[p, layout.P_COLUMN]]), 0.0)
                    assert found.flow[p] == pytest.approx(m, rel=2e-3, abs=2e-3)


def test_water_by_samples_is_water():
    """Array and scalar humidity through every kind of charge side, belt and leak included; more of it is thinner."""
    for name in ("tern/water", "heron/two_stage", "siskin/blown"):
        plant = ramped(name)
        d, n = plant.demand, len(plant.demand.time)
        plenum = np.full(n, 320.0)
        inlet = plant.charge.inlet_temperature(d.bay_temperature, d.drawn_rise, d.ambient_temperature)
        between = plenum if plant.arrays.stages > 1 else None
        one = plant.charge.balance(d.engine_speed, d.plenum_target, plenum, inlet, between, humidity=0.012)
        many = plant.charge.balance(d.engine_speed, d.plenum_target, plenum, inlet, between, humidity=np.full(n, 0.012))
        dry = plant.charge.balance(d.engine_speed, d.plenum_target, plenum, inlet, between, humidity=0.002)
        for a, b in ((one.flow, many.flow), (one.compressor_out, many.compressor_out), (one.leak, many.leak)):
            np.testing.assert_allclose(a, b, rtol=1e-12)
        assert one.flow[250] < dry.flow[250]


def test_a_point_of_the_session_has_its_moments_air():
    """`point --session --at`: the air then, and what it draws from there."""
    build = load_build(EXAMPLES / "tern" / "water.toml")
    session = changing((28.0, 317.15))
    point = operating_point(build, session=session, at=25.0)
    assert point.ambient_temperature == pytest.approx(303.15 + 14.0 * 25.0 / 28.0)
    assert point.intake > point.ambient_temperature


# ---------------------------------------------------------------- what is said of it


def test_what_is_over_ambient_is_over_the_air_of_its_moment():
    forecast = afternoon("tern/water")
    air, k = forecast.demand.ambient_temperature, forecast.peak
    assert air.max() - air[0] > 7.0
    verdict = judge(forecast)
    said = forecast_json(forecast, verdict)
    (limit,) = [found for found in verdict.limits if found.quantity == "over_ambient"]
    boost = forecast.boost
    assert limit.value == pytest.approx(float((forecast.intake - air)[boost].max()))
    assert said["intake"]["over_ambient_max_K"] == pytest.approx(float((forecast.intake - air).max()))
    ambient = said["ambient"]
    assert ambient["temperature_K"] == pytest.approx(299.15)
    assert ambient["temperature_lowest_K"] == pytest.approx(299.15)
    assert ambient["temperature_highest_K"] == pytest.approx(307.15)
    assert ambient["temperature_end_K"] == pytest.approx(air[-1])
    assert ambient["temperature_at_peak_K"] == pytest.approx(air[k])


def test_the_ladder_ends_at_the_air_of_the_hottest_moment():
    """The last rung is from the air that enters the exchangers, a mean of them, to the air outside then."""
    forecast = afternoon("tern/water")
    air, k = float(forecast.demand.ambient_temperature[forecast.peak]), forecast.peak
    remotes = [name for name, spec in forecast.build.parts.items() if isinstance(spec, ExchangerSpec)]
    entering = [float(forecast.inlet[name, "cooling"][k]) - air for name in remotes]
    preheat = next(rung.drop for rung in forecast.ladder if "preheat" in rung.name)
    assert min(entering) - 1e-6 <= preheat <= max(entering) + 1e-6
    assert max(entering) < 5.0 < air - float(forecast.demand.ambient_temperature[0])
    assert sum(rung.share for rung in forecast.ladder) == pytest.approx(1.0, abs=1e-9)


def test_knock_is_measured_against_the_air_of_its_moment():
    found = judge_knock(afternoon("tern/water"))
    assert found is not None
    air = afternoon("tern/water").demand.ambient_temperature
    assert found.reference == pytest.approx(float(air[found.worst.sample]))


@pytest.mark.parametrize(
    ("system", "words"),
    [
        ("si", "26 degC to 34 degC in the shade (26 degC at the start"),
        ("us", "79 degF to 93 degF in the shade (79 degF at the start"),
    ],
)
def test_the_sheet_says_the_range_of_the_air(system: str, words: str):
    assert tables.conditions(afternoon("tern/water"), system)[0].startswith(words)


def test_power_lost_to_heat_is_against_the_air_of_each_moment():
    """With the charge at ambient, power falls as the air warms: T^(0.3 - 1) at held boost, knock and belts aside."""
    forecast = afternoon("tern/water")
    pulls = [span for span in forecast.demand.spans if span.kind == "pull"]
    first, last = (forecast.power_at_ambient[span.first + 60 : span.last].max() for span in (pulls[0], pulls[-1]))
    T = [forecast.demand.ambient_temperature[span.last] for span in (pulls[0], pulls[-1])]
    assert last / first == pytest.approx((T[0] / T[1]) ** 0.7, rel=1e-3)
    assert T[1] > T[0] + 3.0
