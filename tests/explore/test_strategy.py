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
from coldside.explore.outcome import FINE
from coldside.explore.strategy import ALIKE, Strategy, off_in, quiet_kinds, strategy
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


def test_the_command_says_it_in_words_and_as_json():
    said = CliRunner().invoke(app, ["strategy", *_files("dunlin/build", "traffic-then-pull"), "--json"])
    assert said.exit_code == 0, said.output
    block = json.loads(said.stdout)
    # the ice in Dunlin's tank lasts when the pump stands in traffic: by hand far more than a coarse march's error
    assert block["best_found"]["intake_max_K"] < block["as_written"]["intake_max_K"] - 5.0
    assert block["best_found"]["pumps"]["off_in"]
    words = " ".join(sentence.words("us") for sentence in sentences(found()))
    assert "stopping the pump keeps heat out" in words
    assert "degF" in words
    assert "degC" not in words
    json.dumps(strategy_json(found()), allow_nan=False)


def _files(build: str, session: str) -> list[str]:
    return [str(EXAMPLES / f"{build}.toml"), str(EXAMPLES / "sessions" / f"{session}.toml")]
