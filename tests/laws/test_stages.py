"""Two compressors in series and a belt-driven one through a whole session: books, joints, exact balance."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from coldside.build.files import load_build
from coldside.media import air
from coldside.parts.supercharger import SuperchargerSpec
from coldside.plant.forecast import simulate
from coldside.plant.results import Forecast
from generators import short_session

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"


@cache
def two_stages() -> Forecast:
    build = load_build(EXAMPLES / "heron" / "two_stage.toml")
    return simulate(build, short_session(build))


@cache
def blown(drive_ratio: float = 2.1, efficiency: float = 0.6) -> Forecast:
    """Tern with a blower in place of its turbocharger."""
    build = load_build(EXAMPLES / "tern" / "water.toml")
    blower = SuperchargerSpec(drive_ratio=drive_ratio, displacement=1.3e-3, efficiency=efficiency)
    engine = replace(build.engine, boost_lag=0.1)
    build = replace(build, parts={**build.parts, "turbo": blower}, engine=engine)
    return simulate(build, short_session(build))


@pytest.mark.parametrize("made", [two_stages, blown])
def test_the_books_close(made):
    """First law over the session; 1e-6 of all heat handled is what sub-steps leave (definitions, "Ledger")."""
    assert made().ledger.closure < 1e-6


@pytest.mark.parametrize("made", [two_stages, blown])
def test_the_tabulated_outlet_is_near_the_exact_one(made):
    """The kernel's tables against the balance at every sample that runs.

    A belt's limit is a kink in plenum temperature, and a map's edge another, which a polynomial through five nodes
    rounds off by 2 to 3 K there (0.5 K of intake behind a core of 0.8); over the session it is a tenth of that.
    """
    found = made()
    running = found.demand.engine_speed > 0.0
    miss = np.abs(found.stages[-1].outlet - found.compressor_out)[running]
    assert miss.max() < 3.0
    assert miss.mean() < 0.3


def test_what_leaves_the_core_between_enters_the_second_compressor():
    found = two_stages()
    np.testing.assert_allclose(found.inlet["high_turbo", "charge"], found.outlet["mid_core", "charge"], atol=1e-9)
    low, high = found.stages
    lag = np.abs(high.inlet - found.inlet["high_turbo", "charge"])  # what the second one draws follows within 0.1 s
    assert lag.max() < 3.0  # as a pull begins
    assert lag.mean() < 0.2
    np.testing.assert_allclose(found.inlet["first_pipe", "charge"], low.outlet, atol=1.0)  # tabulated


def test_both_cores_take_the_heat_of_both_stages():
    """At the highest boost each stage heats by over 60 K, and each core leaves under 30 % of what it could take."""
    found = two_stages()
    at = int(np.argmax(found.plenum_pressure))
    coolant = found.coolant_in_cores["charge"][at]
    for stage, core in zip(found.stages, ("mid_core", "last_core"), strict=True):
        assert (stage.outlet - stage.inlet)[at] > 60.0
        into, out = found.inlet[core, "charge"][at], found.outlet[core, "charge"][at]
        assert into > coolant + 40.0
        assert out - coolant < 0.3 * (into - coolant)


def test_one_stage_for_the_same_boost_leaves_hotter():
    """Cooling between the stages is what they are for: one compressor of the same efficiency leaves far hotter."""
    found = two_stages()
    at = int(np.argmax(found.plenum_pressure))
    low, high = found.stages
    whole = high.outlet_pressure[at] / low.inlet_pressure[at]
    alone = air.compressed_temperature(low.inlet[at], whole, 0.5 * (low.efficiency[at] + high.efficiency[at]))
    assert high.outlet[at] < float(alone) - 40.0


def test_a_smaller_pulley_turns_it_faster():
    """More drive, more boost, until the target is met; at the same boost a better machine leaves cooler."""
    slow, fast = blown(1.5), blown()
    assert np.all(fast.plenum_pressure >= slow.plenum_pressure - 1.0)
    assert fast.plenum_pressure.max() > slow.plenum_pressure.max() + 2e4
    hot, cool = blown(), blown(efficiency=0.7)
    at = int(np.argmax(hot.plenum_pressure))
    assert cool.compressor_out[at] < hot.compressor_out[at] - 10.0
    assert cool.intake[at] < hot.intake[at]


def test_belt_power_is_that_of_the_air_it_moves():
    found = blown()
    (stage,) = found.stages
    W = float(
        air.humidity_ratio(found.demand.ambient_temperature[0], found.demand.ambient_pressure, found.demand.humidity[0])
    )
    work = stage.flow * (np.asarray(air.enthalpy(stage.outlet, W)) - np.asarray(air.enthalpy(stage.inlet, W)))
    np.testing.assert_allclose(stage.shaft_power, work, rtol=1e-9, atol=1e-6)
    boost = found.boost
    assert np.all(stage.flow[boost] >= found.charge_flow[boost] * (1.0 - 4e-3))  # tabulated, see above
    assert stage.shaft_power[boost].max() > 2e4
