"""Heat and bounds over a short session of every bundled build: the ledger closes, no temperature leaves its sources."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from coldside.build.files import load_build
from coldside.duty.demand import sample
from coldside.judge.heat import recompute_ledger
from coldside.parts.pump import PumpSpec, electrical_power, pressure_rise, speed_of
from coldside.plant import layout
from coldside.plant.assemble import assemble
from coldside.plant.forecast import simulate, solve
from coldside.plant.results import Forecast
from generators import BUNDLED, session_of, short_session

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"


@cache
def forecast_of(name: str) -> Forecast:
    build = load_build(EXAMPLES / f"{name}.toml")
    return simulate(build, short_session(build))


@pytest.mark.parametrize("name", BUNDLED)
def test_the_ledger_closes(name):
    """1e-6 is the limit of the definitions; the scheme closes it by construction, so round-off of 1e-10 is asked."""
    ledger = forecast_of(name).ledger
    assert ledger.handled > 1e5
    assert ledger.closure <= 1e-10
    by_side: dict[str, float] = {}
    for flow in ledger.flows:
        by_side[flow.side] = by_side.get(flow.side, 0.0) + flow.heat
    assert by_side["charge"] == pytest.approx(ledger.heat_in, abs=1e-9 * ledger.handled)
    assert by_side["cooling"] == pytest.approx(ledger.to_air, abs=1e-9 * ledger.handled)
    assert by_side["stored"] == pytest.approx(ledger.stored, abs=1e-9 * ledger.handled)
    picked = by_side.get("pickup", 0.0) + by_side.get("pump", 0.0)
    assert picked == pytest.approx(ledger.pickup, abs=1e-9 * ledger.handled)


@pytest.mark.parametrize("name", BUNDLED)
def test_the_ledger_counted_from_the_traces_agrees(name):
    """Other code, traces at the samples: 1e-3 (definitions, "Ledger")."""
    assert recompute_ledger(forecast_of(name)).worst <= 1e-3


@pytest.mark.parametrize("name", BUNDLED)
def test_half_the_step_changes_next_to_nothing(name):
    """0.05 K is the limit (issue and loop notes); a third-order step of 0.1 s does better on cores of seconds."""
    assert forecast_of(name).health.step_check <= 0.03


@pytest.mark.parametrize("name", BUNDLED)
def test_twice_the_step_changes_less_than_the_limit(name):
    """The same commands, samples 0.2 s apart instead of 0.1 s: 0.05 K (property of the loop notes).

    Held load after a step, so that what is compared is the step and not how a pull's corners are sampled.
    """
    build = load_build(EXAMPLES / f"{name}.toml")
    plant = assemble(build, sample(session_of(*short_session(build).phases[4:5], start="soaked"), build))
    fine = solve(plant)
    A = plant.arrays
    coarse = replace(
        plant,
        arrays=A._replace(
            step=2.0 * A.step, inputs=A.inputs[::2].copy(), boost=A.boost[::2].copy(), level=A.level[::2].copy()
        ),
    )
    other = solve(coarse, levels=fine.levels[::2])
    assert len(other.intake) > 90
    assert np.abs(other.intake - fine.intake[::2]).max() < 0.05


@pytest.mark.parametrize("name", BUNDLED)
def test_no_temperature_leaves_the_range_of_its_sources(name):
    """Between the coldest and the hottest of start, ambient, bay, engine metal and compressor outlet.

    Every stage of the scheme is a convex combination of these (numerics, "Scheme"), heat inputs aside: a pump's
    heat may lift its own coolant by its power over its flow, some hundredths of a kelvin, so 0.1 K is left for it.
    """
    build = load_build(EXAMPLES / f"{name}.toml")
    plant = assemble(build, sample(short_session(build), build))
    solution = solve(plant)
    A = plant.arrays
    sources = [
        solution.start[: A.i_feed],
        solution.scalars[:, 1],
        plant.demand.bay_temperature,
        np.array([A.inputs[0, layout.IN_AMBIENT], A.engine_metal]),
    ]
    low, high = min(float(s.min()) for s in sources), max(float(s.max()) for s in sources)
    temperatures = 4 + len(plant.sensors) + len(plant.loops) + len(plant.ducts)
    found = np.concatenate(
        [solution.streams[:, :, :2].ravel(), solution.scalars[:, 2:temperatures].ravel(), solution.end[: A.n_states]]
    )
    assert found.min() >= low - 1e-9
    if A.duct_heat.any():  # a face that gives heat of its own is one more source of the air behind it
        gas = A.passes[:, layout.P_SORT] == layout.CHARGE
        found = np.concatenate([solution.streams[:, gas, :2].ravel(), solution.end[: A.i_feed]])
    assert found.max() <= high + (0.1 if plant.loops else 1e-9)


def test_a_pump_s_heat_reaches_the_ledger():
    """Electrical power over the pump's time is the ledger's pump line: 1 % (it follows the coolant's viscosity)."""
    forecast = forecast_of("dunlin/build")
    name, spec = next((n, s) for n, s in forecast.build.parts.items() if isinstance(s, PumpSpec))
    loop = next(iter(forecast.build.loops))
    q = forecast.coolant_flow[loop]
    rho = forecast.flow[name, "coolant"] / q
    rise, _ = pressure_rise(spec, q, speed_of(spec, forecast.command[name]), rho)
    expected = float(np.trapezoid(electrical_power(spec, q, rise), forecast.time))
    booked = sum(flow.heat for flow in forecast.ledger.flows if flow.part == name and flow.side == "pump")
    assert booked == pytest.approx(expected, rel=0.01)


def test_left_and_right_of_the_tern_are_mirror_images():
    """Equal cores and exchangers in equal places do the same to the last digits."""
    forecast = forecast_of("tern/water")
    for part, side in (("core", "charge"), ("core", "coolant"), ("hx", "coolant"), ("hx", "cooling")):
        left, right = (forecast.outlet[f"{which}_{part}", side] for which in ("left", "right"))
        np.testing.assert_allclose(left, right, atol=1e-8)
