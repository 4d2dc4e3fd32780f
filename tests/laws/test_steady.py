"""What must hold once settled: tank and metal play no part, forecast and point meet, better cores are never hotter."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from coldside.build.files import load_build
from coldside.build.model import Build
from coldside.duty.demand import sample
from coldside.duty.phases import load_session
from coldside.parts.exchanger import CELLS, AirCoreSpec, ExchangerSpec, WaterCoreSpec
from coldside.plant.assemble import assemble
from coldside.plant.forecast import solve
from coldside.plant.results import Point
from coldside.plant.steady import operating_point
from generators import (
    BUNDLED,
    DAY,
    Held,
    coupled_bench,
    exact_values,
    march,
    nodes,
    rated,
    session_of,
    settled,
    short_session,
)

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
WET = [name for name in BUNDLED if name in ("tern/water", "dunlin/build")]
SPEED = 30.0  # m/s


@cache
def bundled(name: str) -> Build:
    return load_build(EXAMPLES / f"{name}.toml")


def point_of(build: Build) -> Point:
    """Full load at 70 % of top speed on a warm day."""
    return operating_point(
        build, engine_speed=0.7 * build.engine.top_speed, ambient=DAY.temperature, pressure=98.5e3, road_speed=SPEED
    )


def with_parts(build: Build, **changes: object) -> Build:
    """The build with some specifications replaced."""
    return replace(build, parts={**build.parts, **changes})


@pytest.mark.parametrize("name", WET)
def test_the_steady_point_knows_neither_tank_nor_metal(name):
    build = bundled(name)
    base = point_of(build)
    for volume in (4e-3, 40e-3):
        other = point_of(with_parts(build, tank=replace(build.parts["tank"], volume=volume)))
        # no capacity enters, but the loop's one temperature for viscosity is a mean over the coolant, a third of
        # which more or less stands in the tank: 0.03 K; the issue allows 0.1 K
        assert other.intake == pytest.approx(base.intake, abs=0.06)
    heavy = {
        n: replace(s, metal_mass=10.0 * s.metal_mass)
        for n, s in build.parts.items()
        if hasattr(s, "coolant_volume") and hasattr(s, "metal_mass")
    }
    assert point_of(with_parts(build, **heavy)).intake == pytest.approx(base.intake, abs=1e-6)


def test_a_long_march_ends_alike_with_a_small_and_a_large_tank():
    """Core and exchanger joined by a loop at fixed flows (heat law 7): ends at the linear balance, 1e-6 K."""
    cp, m = (1010.0, 3600.0, 1006.0), (0.3, 0.4, 1.2)
    values = {
        "core": exact_values(rated(900.0, 900.0, m[0], m[1], 2), CELLS["water_core"], m[0], m[1], cp[:2]),
        "remote": exact_values(rated(900.0, 900.0, m[1], m[2], 1), CELLS["exchanger"], m[1], m[2], cp[1:]),
    }
    ends = []
    for capacity, seconds in ((4.0 * 3600.0, 1500.0), (40.0 * 3600.0, 9000.0)):
        held = Held(
            charge=(m[0], cp[0], 410.0),
            coolant=(m[1] / 1000.0, 1000.0, cp[1]),
            cooling=(m[2], cp[2]),
            values=values,
            capacity={"tank coolant": capacity},
        )
        plant = coupled_bench(seconds, {"core": CELLS["water_core"], "remote": CELLS["exchanger"]}, held, ambient=300.0)
        x, _, _ = settled(plant)
        solution = march(plant)
        tank = nodes(plant, "tank coolant")
        assert solution.end[tank] == pytest.approx(x[tank], abs=1e-6)
        early = solution.streams[300, plant.index("tank", "coolant"), 1]
        ends.append((solution.streams[-1, plant.index("core", "charge"), 1], early))
    assert ends[0][0] == pytest.approx(ends[1][0], abs=1e-6)
    assert ends[0][1] > ends[1][1] + 1.0  # on the way the larger tank stays cooler: capacity buys time


@pytest.mark.parametrize("name", BUNDLED)
def test_forecast_and_point_meet_under_constant_demand(name):
    """The bundled steady session: 0.1 K is the issue's limit; tables against exact functions come to 0.03 K."""
    build, session = bundled(name), load_session(EXAMPLES / "sessions" / "steady.toml")
    plant = assemble(build, sample(session, build))
    end, point = solve(plant), operating_point(build, session=session, at="END")
    assert end.intake[-1] == pytest.approx(point.intake, abs=0.03)
    for loop, T in point.loop_temperature.items():
        cores = [
            p
            for p, found in enumerate(plant.passes)
            if (found.path, found.side) == (loop, "coolant") and isinstance(build.parts[found.part], WaterCoreSpec)
        ]
        assert np.mean([end.streams[-1, p, 0] for p in cores]) == pytest.approx(T, abs=0.05)
    # what a part gives or takes too
    for (part, side), T in point.outlet.items():
        assert end.streams[-1, plant.index(part, side), 1] == pytest.approx(T, abs=0.1), (part, side)


@pytest.mark.parametrize("litres", [4.0, 40.0])
def test_tanks_of_4_and_40_litres_end_alike(litres):
    """Tern, the bundled steady session (the issue's own figures): end intake within 0.1 K of the point's."""
    build, session = bundled("tern/water"), load_session(EXAMPLES / "sessions" / "steady.toml")
    changed = with_parts(build, tank=replace(build.parts["tank"], volume=litres * 1e-3))
    end = solve(assemble(changed, sample(session, changed))).intake[-1]
    assert end == pytest.approx(operating_point(build, session=session, at="END").intake, abs=0.05)


@pytest.mark.parametrize("name", BUNDLED)
def test_more_conductance_is_never_hotter(name):
    """Each core and exchanger rated better, alone: intake falls (second law: no extra sources)."""
    build = bundled(name)
    for part, spec in build.parts.items():
        if part.startswith("right_"):
            continue  # its left twin is tried
        if isinstance(spec, (WaterCoreSpec, AirCoreSpec)):
            better = [replace(spec, bench_effectiveness=e) for e in (0.7, 0.85)]
        elif isinstance(spec, ExchangerSpec) and spec.bench_heat is not None:
            better = [replace(spec, bench_heat=spec.bench_heat * f) for f in (0.7, 1.1)]
        else:
            continue
        intakes = [point_of(with_parts(build, **{part: other})).intake for other in better]
        assert np.all(np.diff(intakes) < 1e-4), (part, intakes)  # K; the point settles to 1e-7
        assert intakes[0] - intakes[-1] > 0.05, part


@pytest.mark.parametrize("name", BUNDLED)
def test_a_warmer_day_is_a_warmer_intake(name):
    build = bundled(name)
    found = [
        operating_point(
            build, engine_speed=0.7 * build.engine.top_speed, ambient=T, pressure=98.5e3, road_speed=SPEED
        ).intake
        for T in (283.15, 303.15)
    ]
    steps = np.diff(found)
    assert np.all(steps > 10.0)
    assert np.all(steps < 30.0)  # 20 K of ambient, and a compressor that multiplies it


def test_a_point_of_a_session_takes_what_the_session_says():
    """At a moment of a session the point sees that sample's conditions, and what is given beside it overrides."""
    build = bundled("tern/water")
    session = session_of(*short_session(build).phases[4:5])
    point = operating_point(build, session=session, at=15.0)
    demand = sample(session, build)
    assert point.engine_speed == demand.engine_speed[150]
    assert point.ambient_temperature == DAY.temperature
    warmer = operating_point(build, session=session, at=15.0, ambient=DAY.temperature + 10.0)
    assert warmer.intake > point.intake + 5.0
    faster = operating_point(build, session=session, at=15.0, road_speed=60.0)
    assert all(faster.air_flow_duct[d] > point.air_flow_duct[d] for d in point.air_flow_duct)
