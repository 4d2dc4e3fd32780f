"""A forecast's own books: ladder, traces by name, power, and the sentences of its health."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from coldside.build.files import load_build
from coldside.duty.model import PhaseSpec
from coldside.parts import engine
from coldside.parts.pump import Control
from coldside.plant.forecast import simulate
from coldside.plant.results import Forecast
from generators import BUNDLED, session_of, short_session

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"


@cache
def forecast_of(name: str) -> Forecast:
    build = load_build(EXAMPLES / f"{name}.toml")
    return simulate(build, short_session(build))


def changed(name: str, **parts: dict) -> Forecast:
    """The short session with some keys of some parts replaced."""
    build = load_build(EXAMPLES / f"{name}.toml")
    build = replace(
        build, parts={**build.parts, **{part: replace(build.parts[part], **keys) for part, keys in parts.items()}}
    )
    return simulate(build, short_session(build))


@pytest.mark.parametrize("name", BUNDLED)
def test_the_rungs_lead_from_the_charge_down_to_ambient(name):
    """Shares sum to 1 within 1e-9 (definitions, "Ladder"), whatever the moment."""
    ladder = forecast_of(name).ladder
    assert sum(rung.share for rung in ladder) == pytest.approx(1.0, abs=1e-9)
    total = sum(rung.drop for rung in ladder)
    for rung in ladder:
        assert rung.share == pytest.approx(rung.drop / total, abs=1e-12)
    assert ladder[0].name == "charge film"
    if name != "plover/build":  # there air from behind the radiator comes round at a standstill and warms the core
        assert ladder[0].drop > 1.0


@pytest.mark.parametrize("name", ["tern/air", "plover/build"])
def test_once_settled_every_film_and_wall_drops_the_way_heat_flows(name):
    """No heat is stored then, so each rung is a resistance; the wall is 1 % of an air core's (heat note B1)."""
    build = load_build(EXAMPLES / f"{name}.toml")
    cruise = PhaseSpec(kind="cruise", speed=36.0, engine_speed=0.65 * build.engine.top_speed, load=0.9, duration=900.0)
    ladder = {rung.name: rung for rung in simulate(build, session_of(cruise)).ladder}
    films = [ladder[rung].drop for rung in ("charge film", "wall and fouling", "cooling-air film")]
    assert all(drop > 0.0 for drop in films)
    assert 0.003 < films[1] / sum(films) < 0.03
    assert ladder["cooling-air rise"].drop > 0.0


@pytest.mark.parametrize("name", BUNDLED)
def test_the_streams_of_a_series_join_and_those_of_a_group_add_up(name):
    """What leaves a part enters the next; branches of a group carry the whole flow."""
    forecast = forecast_of(name)
    path = [item for item in forecast.build.charge if isinstance(item, str) and (item, "charge") in forecast.inlet]
    for item, following in zip(forecast.build.charge, forecast.build.charge[1:], strict=False):
        if isinstance(item, str) and isinstance(following, str) and item in path and following in path:
            out, into = forecast.outlet[item, "charge"], forecast.inlet[following, "charge"]
            if item != "filter":  # between filter and compressor only the balance's own temperature stands
                np.testing.assert_allclose(out, into, atol=1.2 if item == "turbo" else 1e-9)
    np.testing.assert_allclose(forecast.intake, forecast.outlet["plenum", "charge"], atol=1e-6)
    for item in forecast.build.charge:
        if not isinstance(item, str):
            flow = sum(forecast.flow[branch[0], "charge"] for branch in item.branches)
            np.testing.assert_allclose(flow, forecast.charge_flow, rtol=1e-3, atol=1e-9)


@pytest.mark.parametrize("name", BUNDLED)
def test_power_is_fuel_at_full_load_and_less_in_heat(name):
    """Charge note B2 at full load; at part load below that line, never below zero; cold charge makes more of boost."""
    forecast = forecast_of(name)
    full, spec = forecast.demand.full_load, forecast.build.engine
    np.testing.assert_allclose(forecast.power[full], engine.brake_power(spec, forecast.fuel_flow[full]), rtol=1e-9)
    assert forecast.power.min() >= 0.0
    warm = full & forecast.boost & (forecast.intake > forecast.demand.ambient_temperature + 2.0)
    assert warm.any()
    assert np.all(forecast.power_at_ambient[warm] > forecast.power[warm])


def test_no_forecast_says_what_it_did_not_see():
    """The bundled Tern in a short session leaves no map and heeds its injectors."""
    health = forecast_of("tern/water").health
    assert not [words for words in health.extrapolated if "turbo" in words]
    assert any("generic family" in words for words in health.warnings)
    assert not any("injectors" in words for words in health.warnings)


def test_health_tells_what_was_left():
    """Each of these leaves one range, and one sentence names the part."""
    small = changed(
        "tern/water",
        turbo={"design_flow": 0.20},
        left_core={"bench_charge_flow": 0.03, "bench_charge_loss": 100.0},
        pump={"control": Control("off")},
    )
    said = " / ".join(small.health.extrapolated)
    assert "turbo ran above the compressor map's highest speed line for" in said
    assert "left_core's charge flow is up to" in said
    assert any("nothing moved the coolant" in words for words in small.health.warnings)
    tight = load_build(EXAMPLES / "tern/water.toml")
    tight = replace(tight, engine=replace(tight.engine, injector_capacity=0.002))
    warned = simulate(tight, session_of(PhaseSpec(kind="pull", from_speed=60.0, to_speed=110.0, duration=5.0)))
    assert any(words.startswith("injectors: peak fuel flow asks") for words in warned.health.warnings)


def test_progress_is_told_in_order():
    build, told = load_build(EXAMPLES / "plover/build.toml"), []
    simulate(build, session_of(PhaseSpec(kind="idle", duration=2.0)), progress=told.append)
    assert told == ["putting the parts together", "running the session", "checking the step"]


def test_a_ladder_whose_core_warms_the_charge_keeps_positive_resistances():
    """Soaked and chilled from within: drops turn round with the heat, and K/W stay what they were (definitions)."""
    build = load_build(EXAMPLES / "tern" / "water.toml")
    tank = replace(build.parts["tank"], start_temperature=353.15)
    pump = replace(build.parts["pump"], control=Control("always"))
    build = replace(build, parts={**build.parts, "tank": tank, "pump": pump})
    idle = PhaseSpec(kind="idle", duration=30.0)
    found = simulate(build, session_of(idle, start="soaked"))
    charge = next(rung for rung in found.ladder if rung.name == "charge film")
    assert charge.drop < 0.0
    assert charge.resistance > 0.0


def test_a_face_with_heat_is_cold_with_the_engine_off():
    """A radiator without its loop, or a condenser, gives heat while the engine runs and none parked."""
    build = load_build(EXAMPLES / "plover" / "build.toml")
    found = simulate(build, session_of(PhaseSpec(kind="idle", duration=60.0), PhaseSpec(kind="parked", duration=600.0)))
    rise = found.outlet["engine_radiator", "cooling"] - found.inlet["engine_radiator", "cooling"]
    assert rise[590] > 1.0
    assert abs(rise[-1]) < 1e-9
