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
from coldside.build.model import Build
from coldside.duty.model import PhaseSpec
from coldside.judge.heat import recompute_ledger
from coldside.parts.chiller import ChillerSpec
from coldside.parts.reservoir import ReservoirSpec
from coldside.plant import layout
from coldside.plant.assemble import assemble
from coldside.plant.forecast import charge_states, simulate, solve
from coldside.plant.steady import operating_point
from generators import PUMP, TANK, TURBO, WATER_CORE, build_of, demand_of, session_of

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
