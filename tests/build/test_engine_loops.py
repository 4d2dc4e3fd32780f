"""The engine named in loops: implicit parts of its coolant and oil, and its keys."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from coldside.build.check import concerns, describe
from coldside.build.files import load_build
from coldside.build.model import names_on
from coldside.errors import BadInput
from coldside.media.coolants import parse_coolant
from coldside.parts.jacket import EngineJacketSpec, jacket_loss
from coldside.plant.flows import loop_flows

BASE = """schema = "coldside.build/1"
name = "Warbler, invented"
[engine]
kind = "piston"
displacement = "2.0 L"
cylinders = 4
boost = [["3000 rpm", "1.0 bar"], ["7000 rpm", "1.0 bar"]]
fuel = "gasoline 98"
top_speed = "7000 rpm"
{engine}
[charge]
path = ["turbo", "front_core"]
[loops.water]
coolant = "ethylene glycol 50 % by volume"
path = {water}
{oil}
[ducts.nose]
path = ["front_core", "radiator", "oil_radiator"]
place = "nose"
inlet_area = "500 cm2"
[parts.turbo]
kind = "compressor"
efficiency = "72 %"
[parts.front_core]
kind = "air_core"
bench_charge_flow = "0.2 kg/s"
bench_charge_in = "130 degC"
bench_cooling_flow = "1 kg/s"
bench_cooling_in = "25 degC"
bench_effectiveness = "0.7"
bench_charge_loss = "5 kPa"
bench_cooling_loss = "100 Pa"
metal_mass = "4 kg"
[parts.radiator]
kind = "exchanger"
bench_coolant_flow = "80 L/min"
bench_cooling_flow = "1.5 kg/s"
bench_coolant_in = "90 degC"
bench_cooling_in = "25 degC"
bench_heat = "50 kW"
bench_coolant_loss = "15 kPa"
bench_cooling_loss = "120 Pa"
metal_mass = "5 kg"
coolant_volume = "3 L"
[parts.oil_radiator]
kind = "exchanger"
bench_coolant_flow = "20 L/min"
bench_cooling_flow = "0.5 kg/s"
bench_coolant_in = "110 degC"
bench_cooling_in = "25 degC"
bench_heat = "10 kW"
bench_coolant_loss = "60 kPa"
bench_cooling_loss = "120 Pa"
metal_mass = "2 kg"
coolant_volume = "0.7 L"
[parts.water_pump]
kind = "pump"
curve = [["0 L/min", "12 m"], ["100 L/min", "9 m"], ["180 L/min", "0 m"]]
{oil_pump}
"""
WATER = '["engine", "water_pump", "radiator"]'
OIL = '[loops.oil]\ncoolant = "engine oil"\npath = ["engine", "oil_pump", "oil_radiator"]'
OIL_PUMP = '[parts.oil_pump]\nkind = "pump"\ncurve = [["0 L/min", "60 m"], ["30 L/min", "40 m"], ["45 L/min", "0 m"]]'


def written(folder: Path, engine: str = "", water: str = WATER, oil: str = OIL, oil_pump: str = OIL_PUMP) -> Path:
    text = BASE.format(engine=engine, water=water, oil=oil, oil_pump=oil_pump)
    if not oil:
        text = text.replace('"radiator", "oil_radiator"', '"radiator"')
        start = text.index("[parts.oil_radiator]")
        text = text[:start] + text[text.index("[parts.water_pump]") :]
    file = folder / "warbler.toml"
    file.write_text(text)
    return file


def test_the_liquid_follows_from_the_loop(tmp_path):
    build = load_build(written(tmp_path, engine='coolant_heat_share = "0.22"\noil_volume = "6 L"'))
    assert names_on(build.loops["water"].path)[0] == "engine.coolant"
    assert names_on(build.loops["oil"].path)[0] == "engine.oil"
    water, oil = build.parts["engine.coolant"], build.parts["engine.oil"]
    assert isinstance(water, EngineJacketSpec)
    assert (water.heat_share, oil.coolant_volume) == (0.22, pytest.approx(6e-3))
    assert (water.coolant_volume, water.metal_mass) == (pytest.approx(2.6e-3), pytest.approx(60.0))
    assert water.start_temperature == build.engine.metal_temperature
    assert build.givens["engine.oil_heat_share"].origin == "default"
    told = "\n".join(describe(build))
    assert "engine.coolant > water_pump > radiator > back to the start" in told
    assert "6 parts (1 compressor, 1 air_core, 2 exchanger, 2 pump)" in " ".join(told.split())
    assert concerns(build)


def test_a_group_may_hold_the_engine(tmp_path):
    build = load_build(
        written(
            tmp_path,
            water='["water_pump", ["engine", "bypass"], "radiator"]',
            oil="",
            oil_pump='[parts.bypass]\nkind = "valve"\nbore = "10 mm"',
        )
    )
    assert "engine.coolant" in build.parts
    assert names_on(build.loops["water"].path) == ["water_pump", "engine.coolant", "bypass", "radiator"]


def test_keys_of_a_liquid_in_no_loop_are_not_listed_and_refused_when_given(tmp_path):
    build = load_build(written(tmp_path, oil="", oil_pump=""))
    assert not any(key.startswith("engine.oil") for key in build.givens)
    assert "engine.jacket_flow" in build.givens
    with pytest.raises(BadInput, match=r'engine.oil_volume: has no effect: no loop of oil has "engine" on its path'):
        load_build(written(tmp_path, engine='oil_volume = "6 L"', oil="", oil_pump=""))


def test_the_engine_stands_once_a_liquid(tmp_path):
    second = OIL.replace('"engine oil"', '"water"')
    with pytest.raises(BadInput, match=r'"engine" stands twice: it is already on loops.water.path'):
        load_build(written(tmp_path, oil=second))
    with pytest.raises(BadInput, match=r'"engine.coolant": write "engine"; which liquid is meant follows'):
        load_build(written(tmp_path, water='["engine.coolant", "water_pump", "radiator"]'))
    with pytest.raises(BadInput) as caught:
        load_build(written(tmp_path, oil=OIL.replace("engine oil", "engin oil")))
    assert str(caught.value).count("\n") == 0
    assert "'engin oil' is not known" in str(caught.value)


def test_flows_through_the_engine_balance(tmp_path):
    """At the loop's flow the pump's head is what engine and radiator lose; cold oil flows less."""
    build = load_build(written(tmp_path))
    water = loop_flows(build, build.loops["water"])
    q, _ = water.flow(build, np.array([363.15]), {"water_pump": np.array([1.0])})
    assert 80.0 < q[0, 0] * 60000.0 < 150.0
    lost, slope = jacket_loss(
        build.parts["engine.coolant"], q[0, 0], parse_coolant(build.loops["water"].coolant), 363.15
    )
    assert lost == pytest.approx(25e3 * (q[0, 0] * 600.0) ** 1.75, rel=0.05)  # two terms, not one power
    assert slope > 0.0
    oil = loop_flows(build, build.loops["oil"])
    cold, hot = (oil.flow(build, np.array([T]), {"oil_pump": np.array([1.0])})[0][0, 0] for T in (293.15, 373.15))
    assert 0.0 < cold < 0.5 * hot


COOLER = """[parts.cooler]
kind = "oil_cooler"
bench_oil_flow = "20 L/min"
bench_water_flow = "60 L/min"
bench_oil_in = "120 degC"
bench_water_in = "90 degC"
bench_heat = "6 kW"
bench_oil_loss = "60 kPa"
bench_water_loss = "10 kPa"
"""


def cooled(folder: Path, oil: str = '"cooler.oil"', water: str = '"cooler.water"', extra: str = COOLER) -> Path:
    path = f'["engine", "water_pump", {water}, "radiator"]'.replace(", ,", ",")
    loop = OIL.replace('"oil_radiator"', f'"oil_radiator", {oil}')
    return written(folder, water=path, oil=loop, oil_pump=OIL_PUMP + "\n" + extra)


def test_an_oil_cooler_stands_in_two_loops(tmp_path):
    build = load_build(cooled(tmp_path))
    assert names_on(build.loops["oil"].path)[-1] == "cooler.oil"
    assert names_on(build.loops["water"].path)[2] == "cooler.water"
    side = build.parts["cooler.water"]
    assert (side.cooler, side.side, side.bench_flow) == ("cooler", "water", pytest.approx(1e-3))
    assert build.parts["cooler"].bench_heat == 6000.0
    told = " ".join(" ".join(describe(build)).split())
    assert "1 oil_cooler" in told
    q, _ = loop_flows(build, build.loops["oil"]).flow(build, np.array([373.15]), {"oil_pump": np.array([1.0])})
    plain = load_build(written(tmp_path))
    without, _ = loop_flows(plain, plain.loops["oil"]).flow(plain, np.array([373.15]), {"oil_pump": np.array([1.0])})
    assert 0.0 < q[0, 0] < without[0, 0]


@pytest.mark.parametrize(
    ("oil", "water", "said"),
    [
        (
            '"cooler"',
            '"cooler.water"',
            'two coolant sides: write "cooler.oil" in one loop and "cooler.water" in another',
        ),
        (
            '"cooler.oil", "cooler.water"',
            '"water_hose"',
            'holds both sides of "cooler"; each belongs in a loop of its own',
        ),
        ('"cooler.oil"', '"water_hose"', "parts.cooler.water: is on no path; name it in a loop"),
        ('"cooler.oil"', '"cooler.wter"', 'nearest: "cooler.water"'),
    ],
)
def test_sides_of_an_oil_cooler_that_are_misplaced(tmp_path, oil, water, said):
    hose = '[parts.water_hose]\nkind = "hose"\nlength = "1 m"\nbore = "30 mm"\n' if "water_hose" in water else ""
    with pytest.raises(BadInput) as caught:
        load_build(cooled(tmp_path, oil, water, COOLER + hose))
    assert said in str(caught.value)
    assert str(caught.value).count("\n") == 0
