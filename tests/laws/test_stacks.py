"""Builds with two ways of cooling, a loop split to three ducts, a stack: ledgers close, flows split as they must."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from coldside.build.files import load_build
from coldside.duty.model import PhaseSpec
from coldside.judge.heat import recompute_ledger
from coldside.plant.flows import LEAK
from coldside.plant.forecast import simulate
from coldside.plant.results import Forecast
from generators import session_of, short_session

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
NAMES = ("godwit/hybrid", "avocet/split_loop", "plover/stacked")


@cache
def forecast_of(name: str) -> Forecast:
    build = load_build(EXAMPLES / f"{name}.toml")
    return simulate(build, short_session(build))


@pytest.mark.parametrize("name", NAMES)
def test_the_ledger_closes_and_half_the_step_changes_nothing(name):
    """As for the other bundled builds: 1e-10 by construction, 1e-3 counted from the traces, 0.03 K by the step."""
    forecast = forecast_of(name)
    assert forecast.ledger.handled > 1e5
    assert forecast.ledger.closure <= 1e-10
    assert recompute_ledger(forecast).worst <= 1e-3
    assert forecast.health.step_check <= 0.03


def test_the_hybrid_takes_most_in_the_nose_and_the_rest_in_the_water_core():
    build = load_build(EXAMPLES / "godwit/hybrid.toml")
    forecast = simulate(
        build, session_of(PhaseSpec(kind="cruise", speed=36.0, engine_speed=90.0, load=0.9, duration=60.0))
    )
    at = len(forecast.time) - 1
    front = forecast.inlet[("front_core", "charge")][at] - forecast.outlet[("front_core", "charge")][at]
    water = forecast.inlet[("water_core", "charge")][at] - forecast.outlet[("water_core", "charge")][at]
    assert front > water > 5.0
    coolant = forecast.inlet[("water_core", "coolant")][at]
    assert forecast.outlet[("water_core", "charge")][at] > coolant  # no colder than what cools it


def test_a_split_loop_sends_least_down_the_long_way():
    """Parallel branches lose the same, so that hoses of three metres each way starve the exchanger behind them."""
    forecast = forecast_of("avocet/split_loop")
    flows = {name: forecast.flow[(f"{name}_hx", "coolant")] for name in ("left", "right", "nose")}
    np.testing.assert_allclose(sum(flows.values()), forecast.flow[("core", "coolant")], rtol=1e-6)
    np.testing.assert_allclose(flows["left"], flows["right"], rtol=1e-6)  # equal exchangers on equal ways
    assert np.all(flows["nose"] < flows["left"])
    bench = {name: forecast.build.parts[f"{name}_hx"].bench_coolant_flow for name in flows}
    assert bench["nose"] > bench["left"]  # though it is the larger one


def test_a_flush_inlet_and_a_leak_cost_air():
    forecast = forecast_of("avocet/split_loop")
    fast = forecast.demand.air_speed["left"] > 20.0
    assert fast.any()
    assert np.all(forecast.air_flow["right"][fast] < forecast.air_flow["left"][fast])
    for duct in ("left", "right"):
        gaps = forecast.flow[(LEAK + duct, "cooling")]
        face = forecast.flow[(f"{duct}_hx", "cooling")]
        np.testing.assert_allclose(gaps + face, forecast.air_flow[duct], rtol=1e-6, atol=1e-9)
        assert np.all(gaps[fast] > 0.0)
        np.testing.assert_allclose(
            forecast.outlet[(LEAK + duct, "cooling")][fast], forecast.inlet[(LEAK + duct, "cooling")][fast]
        )
    assert (LEAK + "nose", "cooling") not in forecast.flow  # sealed


def test_the_stack_warms_the_air_of_what_stands_behind():
    forecast = forecast_of("plover/stacked")
    ambient = float(forecast.demand.ambient_temperature[0])
    boost = forecast.boost
    behind = forecast.inlet[("engine_radiator", "cooling")]
    core = forecast.outlet[("front_core", "cooling")]
    assert np.all(core[boost] > behind[boost])  # mixed with the air of the open strip
    assert float(behind[boost].max()) > ambient + 5.0
