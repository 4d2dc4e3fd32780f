"""Builds whose cores and exchangers are known by sizes and fins alone, from file to forecast."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from coldside.build.files import load_build
from coldside.build.model import Build
from coldside.cli import app
from coldside.media import air
from coldside.media.coolants import parse_coolant
from coldside.parts.exchanger import AirCoreSpec, ExchangerSpec, WaterCoreSpec, geometry_of, rate
from coldside.parts.rating import SizedRating
from coldside.plant.forecast import simulate
from coldside.plant.results import Point
from coldside.plant.steady import operating_point
from generators import short_session

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
WATER_CORE = """\
kind = "water_core"
charge_length = "110 mm"
coolant_length = "150 mm"
stack_height = "160 mm"
charge_bore = "57 mm"
maldistribution = "0 %"
pickup = "0 W/K"
height = "0.50 m"
"""
AIR_CORE = """\
kind = "air_core"
charge_length = "380 mm"
cooling_length = "76 mm"
stack_height = "320 mm"
charge_bore = "57 mm"
maldistribution = "0 %"
pickup = "0 W/K"
"""
EXCHANGER = """\
kind = "exchanger"
coolant_length = "300 mm"
cooling_length = "40 mm"
stack_height = "260 mm"
coolant_passes = 2
height = "0.45 m"
"""
CHANGES = {
    "water": {
        "left_core": WATER_CORE,
        "right_core": WATER_CORE,
        "left_hx": EXCHANGER,
        "right_hx": EXCHANGER.replace('"300 mm"', '"0.30 m"\nconstruction = "bar and plate"'),
        "lid_hx": EXCHANGER.replace("300 mm", "400 mm").replace('"0.45 m"', '"0.95 m"'),
    },
    "air": {"left_core": AIR_CORE, "right_core": AIR_CORE},
}


def sized(name: str) -> str:
    """An example's text with every core and exchanger known by its sizes."""
    text = (EXAMPLES / "tern" / f"{name}.toml").read_text()
    for part, body in CHANGES[name].items():
        start = text.index(f"[parts.{part}]")
        end = text.find("\n[parts.", start)
        text = f"{text[:start]}[parts.{part}]\n{body}{text[end:] if end >= 0 else ''}"
    return text


@cache
def build_of(name: str, folder: Path) -> Build:
    file = folder / f"{name}.toml"
    file.write_text(sized(name))
    return load_build(file)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("sized")


@pytest.mark.parametrize("name", CHANGES)
def test_nothing_of_a_bench_is_left(name, folder):
    build = build_of(name, folder)
    faces = [part for part in build.parts.values() if isinstance(part, (WaterCoreSpec, AirCoreSpec, ExchangerSpec))]
    assert len(faces) == len(CHANGES[name])
    coolant = parse_coolant("ethylene glycol 30 % by volume")
    for part in faces:
        assert not [key for key in vars(part) if key.startswith("bench_") and getattr(part, key) is not None]
        rating = rate(part, None if isinstance(part, AirCoreSpec) else coolant)
        assert isinstance(rating, SizedRating)
        assert rating.correction is None


@pytest.mark.parametrize("name", CHANGES)
@pytest.mark.parametrize("system", ["si", "us"])
def test_check_says_how_it_is_rated(name, system, folder):
    build_of(name, folder)
    seen = CliRunner().invoke(app, ["check", str(folder / f"{name}.toml"), "--units", system])
    assert seen.exit_code == 0, seen.output
    assert "rated by its sizes" in " ".join(seen.stdout.split())


@pytest.mark.parametrize("name", CHANGES)
def test_a_forecast_holds_its_books(name, folder):
    """The usual closure of a session's heat, and no word of a point it was measured at."""
    build = build_of(name, folder)
    forecast = simulate(build, short_session(build))
    assert forecast.health.closure < 1e-6
    assert not [words for words in forecast.health.extrapolated if "measured at" in words]
    assert np.all(np.isfinite(forecast.intake))
    assert 250.0 < float(forecast.intake.min()) < float(forecast.intake.max()) < 430.0
    assert float(forecast.heat_rejected.max()) > 1e4


def test_the_command_forecasts_it(folder):
    build_of("water", folder)
    session = EXAMPLES / "sessions" / "dyno-pulls.toml"
    seen = CliRunner().invoke(app, ["forecast", str(folder / "water.toml"), str(session), "--json"])
    assert seen.exit_code in (0, 1), seen.output
    assert json.loads(seen.stdout)["health"]["closure_relative"] < 1e-6


@pytest.mark.parametrize(("name", "bypass"), [("water", 0.0), ("air", 0.0), ("water", 0.08)])
def test_a_steady_core_moves_what_its_geometry_makes_of_the_exact_relation(name, bypass, folder):
    """Effectiveness of the charge against ht's crossflow (Triboix 2009) with the films of `CoreGeometry`: 1 %.

    What slips past mixes behind the core (heat note A4).  The capacity rates follow from the point's own
    temperatures; 1 % because the plant takes the coolant's film at the mean of its loop, this test at the
    core's own mean.
    """
    ht = pytest.importorskip("ht")
    build_of(name, folder)
    build = load_build(folder / f"{name}.toml", [f"parts.left_core.charge_bypass={bypass:.0%}"])
    point = operating_point(build, engine_speed=100.0, road_speed=40.0)
    spec = build.parts["left_core"]
    shape = geometry_of(spec)
    other = "coolant" if name == "water" else "cooling"
    T = {side: (point.inlet["left_core", side], point.outlet["left_core", side]) for side in ("charge", other)}
    whole = point.flow["left_core", "charge"]
    cp1, m1 = float(air.cp(370.0, 0.01)), (1.0 - bypass) * whole
    C1, C2 = m1 * cp1, whole * cp1 * (T["charge"][0] - T["charge"][1]) / (T[other][1] - T[other][0])
    coolant = parse_coolant(build.loops["charge"].coolant) if name == "water" else None
    mean = 0.5 * sum(T[other])
    cp2 = float(coolant.cp(mean)) if coolant else float(air.cp(mean, 0.01))
    rating = rate(spec, coolant)
    side2 = (C2 / cp2, mean if coolant else rating.temperature2, coolant)
    five = shape.resistances((m1, rating.temperature1, None), side2)
    low, high = sorted((C1, C2))
    core = ht.effectiveness_from_NTU(float(five.conductance) / low, low / high, subtype="crossflow") * low / C1
    assert point.effectiveness["left_core"] == pytest.approx((1.0 - bypass) * core, rel=0.01)


@cache
def plain_point(folder: Path) -> Point:
    return operating_point(build_of("water", folder), engine_speed=100.0)


@pytest.mark.parametrize(
    ("key", "value", "hotter"),
    [
        ("parts.left_core.charge_bypass", "8 %", True),
        ("parts.left_core.maldistribution", "40 %", True),
        ("parts.left_core.charge_fouling", "oil mist", True),
        ("parts.left_core.charge_fin_pitch", "1.4 mm", False),
        ("parts.left_core.coolant_passes", "2", False),
        ("parts.left_core.charge_length", "140 mm", False),
    ],
)
def test_every_key_moves_what_leaves_the_core(key, value, hotter, folder):
    """By --set, the effectiveness of the left core at one steady point."""
    build_of("water", folder)
    file = folder / "water.toml"
    plain = plain_point(folder)
    changed = operating_point(load_build(file, [f"{key}={value}"]), engine_speed=100.0)
    moved = changed.effectiveness["left_core"] - plain.effectiveness["left_core"]
    assert (moved < -2e-3) if hotter else (moved > 2e-3)
