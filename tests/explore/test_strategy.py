"""Switching of pumps and fans: the bench against the forecast, commands, the balance at standstill, words."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from coldside.build.files import load_build
from coldside.cli import app
from coldside.duty.demand import sample
from coldside.duty.model import PhaseSpec
from coldside.duty.phases import load_session
from coldside.errors import BadInput
from coldside.explore.commands import Bench, commanded, drawn_power
from coldside.explore.outcome import COARSE, FINE
from coldside.explore.strategy import (
    ALIKE,
    ALWAYS,
    HYSTERESIS,
    LEAST_OFF,
    LEAST_ON,
    LOAD_STEPS,
    Rule,
    Search,
    Strategy,
    off_in,
    quiet_kinds,
    slowed,
    strategy,
    timed,
    told,
)
from coldside.explore.strategy_words import sentences, strategy_json
from coldside.parts.exchanger import ExchangerSpec
from coldside.parts.pump import running_current
from coldside.plant.forecast import simulate

EXAMPLES = Path(__file__).parents[2] / "examples"
TERN = load_build(EXAMPLES / "tern" / "water.toml")
DYNO = load_session(EXAMPLES / "sessions" / "dyno-pulls.toml")
# five minutes of traffic in hot air before one pull: where stopping a pump is argued about
TRAFFIC = replace(
    DYNO, phases=(PhaseSpec(kind="traffic", duration=300.0), replace(DYNO.phases[1], repeat=1, rest=0.0)), limits=()
)


REST = (PhaseSpec(kind="idle", duration=60.0), PhaseSpec(kind="parked", duration=60.0))


@cache
def found() -> Strategy:
    return strategy(TERN, TRAFFIC)


def test_a_fine_bench_as_written_is_the_forecast():
    """Peak and commands of `simulate`; the tables have more levels of command, not other ones."""
    forecast, tried = simulate(TERN, TRAFFIC), Bench(TERN, TRAFFIC, FINE, (0.5,)).march({})
    assert tried.peak == pytest.approx(float(forecast.intake[forecast.peak]), abs=1e-3)  # the tables' rounding
    for name, did in tried.did.items():
        np.testing.assert_array_equal(did, forecast.command[name])


def test_orders_give_what_a_commanded_demand_gives():
    """A march with orders is the march of a plant put together from the demand that says the same."""
    demand = sample(TRAFFIC, TERN)
    trace = off_in(demand, ("traffic",), 20.0)
    ordered = Bench(TERN, TRAFFIC, FINE, ()).march({"pump": trace})
    told = Bench(TERN, TRAFFIC, FINE, (), demand=commanded(demand, "pump", trace)).march({})
    assert ordered.peak == pytest.approx(told.peak, abs=1e-6)
    assert ordered.energy == pytest.approx(told.energy)


def test_off_in_traffic_is_on_in_time():
    demand = sample(TRAFFIC, TERN)
    assert quiet_kinds(demand) == ("traffic",)
    trace, first = off_in(demand, ("traffic",), 20.0), int(np.argmax(demand.boost))
    assert demand.time[first] - demand.time[int(np.argmax(trace))] == pytest.approx(20.0, abs=0.06)  # a sample
    assert trace[demand.boost].min() == 1.0
    with pytest.raises(BadInput, match="there is no pump or fan heater"):
        commanded(demand, "heater", 1.0)
    with pytest.raises(BadInput):
        commanded(demand, "pump", 1.5)


def test_power_goes_with_the_cube_of_speed():
    """Fan and pump laws (textbook): half speed, an eighth of the power."""
    pump = TERN.parts["pump"]
    assert float(drawn_power(pump, 1.0)) == pytest.approx(running_current(pump) * pump.curve_voltage)
    assert float(drawn_power(pump, 0.5)) == pytest.approx(float(drawn_power(pump, 1.0)) / 8.0)
    assert float(drawn_power(TERN.parts["tank"], 1.0)) == 0.0


def test_the_best_found_is_not_beaten_by_what_it_is_compared_with():
    one = found()
    for other in (one.always, one.written):
        assert one.best.peak <= other.peak + ALIKE
        assert one.best.peak < other.peak - ALIKE or one.best.energy <= other.energy * (1.0 + 1e-9)
    assert one.always.off["pump"] == 0.0


def test_stopping_is_wrong_with_cold_air_and_right_with_dead_exchangers():
    """Notes c: with the fan on it is usually wrong to stop the pump, with a dead-air exchanger usually right.

    By hand: at the settled point both sides are the heat given away there, so the sign is that of T_w - T_settled.
    """
    (cold,) = found().standstill  # starts as cold as the air: whatever runs only warms
    (warm,) = strategy(TERN, replace(TRAFFIC, start="soaked")).standstill
    for one in (cold, warm):
        assert one.stopping_pays == (one.coolant < one.settled)
    assert cold.stopping_pays
    assert not warm.stopping_pays
    dead = {
        name: replace(spec, control=replace(spec.control, mode="off")) if hasattr(spec, "off_loss") else spec
        for name, spec in TERN.parts.items()
    }
    assert any(isinstance(spec, ExchangerSpec) for spec in dead.values())
    still = tuple(replace(p, air={"rear": 0.0, "roof": 0.0}) if p.kind == "traffic" else p for p in TRAFFIC.phases)
    (stuck,) = strategy(replace(TERN, parts=dead), replace(TRAFFIC, phases=still, start="ambient")).standstill
    assert stuck.stopping_pays


def stretches(on: np.ndarray, time: np.ndarray) -> list[tuple[bool, float]]:
    """State and length of every stretch between two switchings, s."""
    edges = [0, *(np.flatnonzero(np.diff(on.astype(int))) + 1).tolist(), len(on)]
    return [(bool(on[a]), float(time[b - 1] - time[a])) for a, b in zip(edges[:-1], edges[1:], strict=True)]


def test_a_switch_keeps_its_least_times_but_for_boost():
    """By hand: asked on and off every 4 s it is on for 30 s, off for 10 s at least; boost waits for none."""
    time = np.arange(0.0, 400.0, 1.0)
    asks = (time // 4) % 2 == 0
    never = np.zeros(len(time), dtype=bool)
    inner = stretches(timed(time, asks, ~asks, never), time)[1:-1]
    assert all(length >= (LEAST_ON if on else LEAST_OFF) - 1.0 for on, length in inner)
    assert len(inner) > 10
    boost = (time >= 100.0) & (time < 103.0)
    found = timed(time, never, ~boost, boost)
    assert not found[99]
    assert np.all(found[100 : 100 + int(LEAST_ON)])
    assert not found[100 + int(LEAST_ON) + 1]
    held = timed(time, time > 200.0, time < 100.0, never)  # between the two it stays as it is
    assert not held[150]
    assert held[201]


def test_what_is_told_can_be_wired():
    """No rule makes a relay chatter in stop and go, and boost finds every pump on."""
    demand = sample(replace(TRAFFIC, phases=(*TRAFFIC.phases, *REST)), TERN)
    rules = [Rule("off_in", ("traffic",), 20.0), Rule("after", after=30.0, ignition=True), Rule("load", ignition=True)]
    for rule in rules:
        command = told(demand, rule, pumps=True)
        assert command[demand.boost].min() == 1.0
        inner = stretches(command > 0.0, demand.time)[1:-1]
        assert all(length >= (LEAST_ON if on else LEAST_OFF) - 0.2 for on, length in inner)
        assert (command[demand.engine_speed <= 0.0][1:].max() == 0.0) == rule.ignition
    slow = told(demand, Rule("slow", ignition=True), pumps=False)
    running = demand.engine_speed > 0.0
    assert slow[(demand.road_speed < 1.0) & running].min() == 1.0


def test_a_rule_on_a_sensor_is_what_its_own_readings_ask_for():
    """Marched until command and readings agree: on over the threshold, off below it by the hysteresis."""
    search = Search(TERN, replace(TRAFFIC, start="soaked"), COARSE, sample(replace(TRAFFIC, start="soaked"), TERN))
    always = search.bench.in_tank(search.sure((Rule("always"), Rule("always"))).solution)
    middle = float(np.median(always)) + 2.0
    rule = Rule("above", threshold=middle, of="tank", ignition=True)
    tried = search.tried((Rule("always"), rule))
    assert tried is not None
    reads, fan = search.bench.in_tank(tried.solution), tried.did["left_fan"] > 0.0
    assert 0 < np.count_nonzero(fan) < len(fan)
    time = search.bench.demand.time
    wrong = ((reads > middle) & ~fan) | ((reads < middle - HYSTERESIS) & fan)
    assert wrong.mean() * time[-1] <= LEAST_ON + 2.0  # but for least times


def test_half_speed_is_explained_by_power_and_heat_and_not_by_time_in_the_exchanger():
    """Power goes with the cube of speed (fan and pump laws, textbook); what it saves is that over the session."""
    search = Search(TERN, TRAFFIC, COARSE, sample(TRAFFIC, TERN))
    load = search.switching("best found", (Rule("load", ignition=True), Rule("always")))
    one = slowed(search, load)
    assert one is not None
    assert one.peak == pytest.approx(load.peak - search.switching("always on", ALWAYS).peak)
    assert one.half == pytest.approx(one.full * LOAD_STEPS[0] ** 3)
    assert 0.0 < one.saved < one.full * float(sample(TRAFFIC, TERN).time[-1])
    assert 0.3 < one.half_flow / one.flow < 0.6
    words = " ".join(sentence.words() for sentence in sentences(replace(found(), best=load, slowed=one)))
    assert "longer time of slow coolant in the exchangers is no reason" in words
    assert "more to draw" in words  # than as written, whose pump stands in the cold start


def test_a_build_without_a_pump_is_told_of_fans_alone_and_of_the_battery():
    """Everything on with the engine off: by hand the fans' power times the minute parked."""
    air = load_build(EXAMPLES / "tern" / "air.toml")
    session = replace(TRAFFIC, phases=(*TRAFFIC.phases, PhaseSpec(kind="parked", duration=60.0)))
    one = strategy(air, session)
    fans = sum(float(drawn_power(air.parts[name], 1.0)) for name in one.fans)
    assert one.always.standing == pytest.approx(fans * 60.0, rel=0.01)
    words = [sentence.words() for sentence in sentences(one)]
    assert words[0] == "This build has no coolant pump: only its fans are switched."
    assert not any("pump" in said.replace("pumps and fans draw", "").replace("pumps slow", "") for said in words[1:])
    assert any("the battery's alone" in said for said in words)
    assert [off.kind for off in one.fans_off] == ["traffic", "parked"]
    assert strategy_json(one)["always_on"]["engine_off_energy_J"] == one.always.standing


def test_the_command_says_it_in_words_and_as_json():
    said = CliRunner().invoke(app, ["strategy", *_files("tern/air", "traffic-then-pull"), "--json"])
    assert said.exit_code == 0, said.output
    block = json.loads(said.stdout)
    assert block["best_found"]["electrical_energy_J"] < 0.5 * block["always_on"]["electrical_energy_J"]
    # the ice in Dunlin's tank lasts when the pump stands in traffic: by hand far more than a coarse march's error
    iced = strategy(load_build(EXAMPLES / "dunlin" / "build.toml"), TRAFFIC)
    assert iced.best.peak < iced.written.peak - 2.0
    assert iced.best.off["pump"] > 100.0
    words = " ".join(sentence.words("us") for sentence in sentences(found()))
    assert "stopping the pump keeps heat out" in words
    assert "degF" in words
    assert "degC" not in words
    json.dumps(strategy_json(found()), allow_nan=False)


def _files(build: str, session: str) -> list[str]:
    return [str(EXAMPLES / f"{build}.toml"), str(EXAMPLES / "sessions" / f"{session}.toml")]
