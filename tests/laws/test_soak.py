"""Heat soak and recovery: what is slow is the metal of pipes and plenum, not an air-to-air core (loop note g4)."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from coldside.build.files import load_build
from coldside.build.model import Build
from coldside.duty.model import PhaseSpec
from coldside.parts.pump import Control
from coldside.plant.forecast import simulate
from coldside.plant.results import Forecast
from generators import session_of

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
TRAFFIC, HIGHWAY = 1500.0, 600.0  # s


def soaked_then_moving(build: Build) -> Forecast:
    """Standing in traffic's heat, then a motorway."""
    return simulate(
        build,
        session_of(PhaseSpec(kind="idle", duration=TRAFFIC), PhaseSpec(kind="cruise", speed=30.0, duration=HIGHWAY)),
    )


def recovery(forecast: Forecast, trace: np.ndarray) -> float:
    """Seconds after moving off until `trace` has come nine tenths of its way down."""
    moving = forecast.time >= TRAFFIC
    fall = trace[moving] - trace[-1]
    return float(forecast.time[moving][int(np.argmax(fall <= 0.1 * fall[0]))] - TRAFFIC)


def test_on_the_motorway_the_core_is_cool_in_seconds_and_the_reading_in_minutes():
    """loop note g4: the core alone recovers in seconds, the intake in minutes (common practice, no source)."""
    forecast = soaked_then_moving(load_build(EXAMPLES / "plover" / "build.toml"))
    core = recovery(forecast, forecast.outlet["front_core", "charge"])
    intake = recovery(forecast, forecast.intake)
    assert core < 60.0
    assert intake > 3.0 * core
    assert 120.0 < intake < 600.0


def test_without_metal_behind_the_core_the_intake_recovers_with_it():
    """The other half of the rule: take the metal of cold pipe and plenum away, and the minutes go with it."""
    build = load_build(EXAMPLES / "plover" / "build.toml")
    light = {
        "plenum": replace(build.parts["plenum"], metal_mass=0.1, pickup=0.0),
        "cold_pipe": replace(build.parts["cold_pipe"], metal_mass=0.02, pickup=0.0),
    }
    forecast = soaked_then_moving(replace(build, parts={**build.parts, **light}))
    whole = soaked_then_moving(build)
    assert recovery(forecast, forecast.intake) < 0.4 * recovery(whole, whole.intake)


def test_an_air_core_standing_still_soaks_over_tens_of_minutes():
    """heat note C4: 5 kg at 3 W/K takes 25 min to 63 %; the draught through it keeps it from getting there.

    The Plover's core, moved from the nose's ambient air into the bay, its fan off with the ignition; its radiator's
    face gives nothing once parked.
    """
    build = load_build(EXAMPLES / "plover" / "build.toml")
    core = replace(build.parts["front_core"], surroundings="bay")
    fan = replace(build.parts["nose_fan"], control=Control("off"))
    build = replace(build, parts={**build.parts, "front_core": core, "nose_fan": fan})
    parked = simulate(build, session_of(PhaseSpec(kind="parked", duration=1800.0)))
    metal = parked.nodes["front_core metal"]
    rise = float(metal[1].mean() - metal[0].mean())
    spec = build.parts["front_core"]
    room = build.bay.parked_rise
    expected = room * (1.0 - np.exp(-spec.pickup * 1800.0 / (spec.metal_mass * 896.0)))
    # natural draught through the core (loop note d6: some 4 W/K) takes more than half of what the bay gives
    assert 0.2 * expected < rise <= expected + 0.1


def test_a_water_core_bolted_to_the_engine_warms_its_loop():
    """heat note C4: 4 to 8 W/K to block and exhaust lift a loop in traffic; little, and it does not."""
    build = load_build(EXAMPLES / "tern" / "water.toml")
    bolted = {
        name: replace(build.parts[name], pickup=6.0, surroundings="engine") for name in ("left_core", "right_core")
    }
    apart = {name: replace(build.parts[name], pickup=0.5) for name in ("left_core", "right_core")}
    build = replace(build, parts={**build.parts, "pump": replace(build.parts["pump"], control=Control("always"))})
    idle = session_of(PhaseSpec(kind="idle", duration=1200.0))
    picked = []
    for cores in (bolted, apart):
        forecast = simulate(replace(build, parts={**build.parts, **cores}), idle)
        mine = [flow.heat for flow in forecast.ledger.flows if flow.side == "pickup" and flow.part in cores]
        picked.append(sum(mine) / 1200.0)
    # heat note C4: 0.2 to 0.4 kW a core at some 50 K; the fans, which follow the coolant, then have to carry it off
    assert 2 * 200.0 < picked[0] < 2 * 400.0
    assert picked[1] < 0.1 * picked[0]
