"""Whole loops with the engine, a thermostat, a chiller and a pump on the belt: heat adds up, and each does its part."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from coldside.build.files import load_build
from coldside.build.model import Build, Loop, Parallel
from coldside.media import fuels
from coldside.parts.chiller import ChillerSpec
from coldside.parts.jacket import COOLANT_SIDE, jacket_of
from coldside.parts.lines import ThermostatSpec, ValveSpec
from coldside.plant.forecast import simulate
from coldside.plant.results import Forecast
from generators import RADIATOR, WATER_PUMP, short_session

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"


def engined(**stat: object) -> Build:
    """The water-cooled example with the engine's own loop: pump on the belt, thermostat beside a bypass, radiator."""
    build = load_build(EXAMPLES / "tern" / "water.toml")
    duct = next(iter(build.ducts.values()))
    parts = {
        **build.parts,
        COOLANT_SIDE: jacket_of(build.engine, COOLANT_SIDE),
        "water_pump": WATER_PUMP,
        "radiator": RADIATOR,
        "stat": ThermostatSpec(bore=0.035, opens_at=363.15, **stat),
        "round": ValveSpec(bore=0.016),
    }
    path = (COOLANT_SIDE, "water_pump", Parallel((("stat", "radiator"), ("round",))))
    loops = {**build.loops, "engine": Loop("engine", "ethylene glycol 50 % by volume", path)}
    ducts = {**build.ducts, duct.name: replace(duct, path=(*duct.path, "radiator"))}
    return replace(build, parts=parts, loops=loops, ducts=ducts)


@cache
def forecast() -> Forecast:
    build = engined()
    return simulate(build, short_session(build))


def test_the_ledger_closes_with_the_engine_in_a_loop():
    assert forecast().ledger.closure <= 1e-10


def test_the_engine_gives_its_share_of_the_fuel():
    """Its heat is the share of what the fuel sets free, oxygen limiting it rich of 1; 1 %: joints of the mixture."""
    found, spec = forecast(), forecast().build.engine
    rich = found.demand.full_load | (found.plenum_pressure > 1.05 * found.demand.ambient_pressure)
    burnt = found.fuel_flow * np.where(rich, spec.fuel_lambda, 1.0)
    power = spec.coolant_heat_share * burnt * fuels.fuel(spec.fuel).heating_value
    fuel = float(np.sum(0.5 * (power[1:] + power[:-1]) * np.diff(found.time)))
    (taken,) = (flow.heat for flow in found.ledger.flows if (flow.part, flow.side) == (COOLANT_SIDE, "pump"))
    assert taken == pytest.approx(fuel, rel=0.01)
    assert fuel > 1e6


def test_the_pump_on_the_belt_follows_the_engine():
    found = forecast()
    command = found.command["water_pump"]
    wanted = found.demand.engine_speed / found.build.engine.top_speed
    assert np.abs(command - wanted).max() <= 1.0 / 16.0
    slow, fast = wanted < 0.3, wanted > 0.8
    flow = found.coolant_flow["engine"]
    assert flow[fast].min() > flow[slow].max()


def test_a_thermostat_keeps_a_cold_radiator_out():
    """Shut, the radiator sees a trickle; set to open far below, it carries most of the flow.

    While what leaves the engine is under what is stamped on it: in this build the engine overheats later on.
    """
    shut = replace(engined(), parts={**engined().parts, "stat": ThermostatSpec(bore=0.035, opens_at=390.15)})
    open_ = replace(engined(), parts={**engined().parts, "stat": ThermostatSpec(bore=0.035, opens_at=273.15)})
    held, free = (simulate(b, short_session(b)) for b in (shut, open_))
    cold = held.outlet[(COOLANT_SIDE, "coolant")] < 390.15
    flows = [f.flow[("radiator", "coolant")][cold].mean() for f in (held, free)]
    assert cold.sum() > 100
    assert flows[0] < 0.05 * flows[1]


def test_a_chiller_cools_the_tank_and_its_heat_leaves_the_ledger():
    base = load_build(EXAMPLES / "tern" / "water.toml")
    loop = base.loops["charge"]
    chilled = replace(
        base,
        parts={**base.parts, "chiller": ChillerSpec(capacity=((263.15, 2e3), (313.15, 6e3)))},
        loops={**base.loops, "charge": replace(loop, path=("chiller", *loop.path))},
    )
    with_, without = (simulate(b, short_session(b)) for b in (chilled, base))
    assert with_.tank["charge"][-1] < without.tank["charge"][-1] - 2.0
    assert with_.ledger.closure <= 1e-10
    given = sum(flow.heat for flow in with_.ledger.flows if flow.part == "chiller")
    assert given < -1e5
