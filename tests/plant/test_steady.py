"""`operating_point`: what it says, what it refuses, controls that settle on, off or never."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from coldside.build.files import load_build
from coldside.build.model import Build, names_on
from coldside.duty.phases import load_session
from coldside.errors import BadInput, NoAnswer
from coldside.media import air
from coldside.parts import engine
from coldside.parts.exchanger import ExchangerSpec
from coldside.parts.pump import Control
from coldside.plant.steady import operating_point
from generators import BUNDLED

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"


@cache
def bundled(name: str) -> Build:
    return load_build(EXAMPLES / f"{name}.toml")


@pytest.mark.parametrize("name", BUNDLED)
def test_a_point_s_figures_fit_together(name):
    """Flow from plenum state, density from pressure and temperature, heat from flow and drop, all to round-off."""
    build = bundled(name)
    point = operating_point(
        build, engine_speed=0.75 * build.engine.top_speed, ambient=303.15, pressure=99e3, humidity=0.4
    )
    W = float(air.humidity_ratio(303.15, 99e3, 0.4))
    flow = float(engine.air_flow(build.engine, point.engine_speed, point.plenum_pressure, point.intake, W))
    assert point.air_flow == pytest.approx(flow, rel=1e-6)
    assert point.charge_density == pytest.approx(float(air.density(point.intake, point.plenum_pressure, W)), rel=1e-9)
    cp = float(air.cp(370.0, W))
    drops = sum(
        point.flow[c, "charge"] * cp * (point.inlet[c, "charge"] - point.outlet[c, "charge"])
        for c in point.effectiveness
    )
    assert point.heat_rejected == pytest.approx(drops, rel=1e-9)
    assert point.compressor_out > point.intake > 303.15
    for core, eff in point.effectiveness.items():
        assert 0.3 < eff < 1.0, core
    assert point.fuel_flow_per_injector == pytest.approx(point.fuel_flow / engine.injector_count(build.engine))
    # nothing is stored in a settled loop: what coolant takes from cores and pick-up its exchangers give to air
    for loop in build.loops:
        assert point.coolant_flow[loop] > 0.0
    # a mixer's outlet of charge is where the plenum's stream begins
    assert point.outlet["plenum", "charge"] == pytest.approx(point.intake, abs=1e-6)


def test_without_conditions_a_point_is_full_load_at_a_standard_day():
    build = bundled("tern/water")
    point = operating_point(build)
    assert point.engine_speed == pytest.approx(0.8 * build.engine.top_speed)
    assert (point.ambient_temperature, point.ambient_pressure) == (298.15, 101325.0)


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"at": 5.0}, "a time needs the session it is a time of"),
        ({"air_speed": {"nowhere": 5.0}}, "no duct is named nowhere; this build has left_quarter, right_quarter, lid"),
        ({"session": "steady", "at": 1e9}, 'is outside the session; it must be 0 to 4500 s, or "END"'),
    ],
)
def test_what_cannot_be_asked_is_refused(asked, said):
    if "session" in asked:
        asked = {**asked, "session": load_session(EXAMPLES / "sessions" / "steady.toml")}
    with pytest.raises(BadInput, match=said):
        operating_point(bundled("tern/water"), **asked)


def test_off_the_map_there_is_no_point():
    """Definitions: `point` refuses off a map; a turbo a third of the size runs beyond its choke line."""
    build = bundled("tern/water")
    tiny = replace(build.parts["turbo"], design_flow=0.1)
    with pytest.raises(NoAnswer, match=r"turbo would run (beyond its choke|above its highest speed) line"):
        operating_point(replace(build, parts={**build.parts, "turbo": tiny}))


def test_a_loop_that_cannot_give_its_heat_away_says_what_to_try():
    """A twentieth of a radiator under an engine at full load for ever: its loop and it are named, and what to try."""
    build = bundled("plover/stacked")
    loop, radiator = next(
        (loop, name)
        for loop, made in build.loops.items()
        for name in names_on(made.path)
        if isinstance(build.parts.get(name), ExchangerSpec)
    )
    weak = replace(build.parts[radiator], bench_heat=0.05 * build.parts[radiator].bench_heat)
    said = rf"loop {loop} cannot give its heat away through {radiator}: .*try less load.*more air.*a forecast"
    with pytest.raises(NoAnswer, match=said) as refused:
        operating_point(replace(build, parts={**build.parts, radiator: weak}))
    assert refused.value.exit_code == 2


def settled_with(threshold: float, hysteresis: float = 2.0):
    """The Tern's left fan by coolant temperature; duct air is its fan's and ram's."""
    build = bundled("tern/water")
    control = Control("above", threshold, hysteresis, "coolant")
    parts = {**build.parts, "left_fan": replace(build.parts["left_fan"], control=control)}
    return operating_point(replace(build, parts=parts), road_speed=0.0, ambient=303.15)


def test_a_control_that_follows_coolant_settles_on_or_off():
    always, never = settled_with(250.0), settled_with(500.0)
    assert always.air_flow_duct["left_quarter"] > 2.0 * never.air_flow_duct["left_quarter"]
    assert always.intake < never.intake
    assert not [w for w in always.warnings + never.warnings if "for ever" in w]


def test_a_control_that_hunts_is_told_and_taken_on():
    """A threshold between the loop's temperature with the fan on and with it off, the band narrower than the gap."""
    on, off = settled_with(250.0), settled_with(500.0)
    T_on, T_off = (p.loop_temperature["charge"] for p in (on, off))
    assert T_off > T_on + 10.0
    hunting = settled_with(0.5 * (T_on + T_off), 0.2)
    assert any("left_fan switches on and off for ever" in words for words in hunting.warnings)
    assert hunting.intake == pytest.approx(on.intake, abs=1e-4)
