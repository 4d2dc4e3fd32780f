"""Two halves are one whole; the order of tables in a file is nothing."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from coldside.build.files import load_build
from coldside.duty.demand import sample
from coldside.plant.assemble import Plant, assemble
from coldside.plant.forecast import Solution, simulate, solve
from generators import BUNDLED, short_session

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"

BASE = """\
# An INVENTED car for the tests: one water core and one exchanger, or each of them in halves.
schema = "coldside.build/1"
name = "halves"

[engine]
kind = "piston"
displacement = "2.0 L"
cylinders = 4
boost = [["2500 rpm", "8 psi"], ["4000 rpm", "18 psi"], ["7000 rpm", "18 psi"]]
fuel = "gasoline 98"
top_speed = "7000 rpm"

[charge]
path = ["turbo", "hot_pipe", CORES, "plenum", "sensor"]

[loops.charge]
coolant = "ethylene glycol 40 % by volume"
path = ["tank", "pump", "hose", CORES, EXCHANGERS]

[ducts.nose]
path = [EXCHANGERS, "fan"]
place = "nose"
inlet_area = "350 cm2"

[parts.turbo]
kind = "compressor"
efficiency = 0.72

[parts.hot_pipe]
kind = "pipe"
length = "0.8 m"
bore = "57 mm"

[parts.plenum]
kind = "plenum"

[parts.sensor]
kind = "sensor"

[parts.tank]
kind = "reservoir"
volume = "6 L"

[parts.pump]
kind = "pump"
curve = [["0 L/min", "8 m"], ["15 L/min", "6 m"], ["30 L/min", "0 m"]]

[parts.hose]
kind = "hose"
length = "2 m"
bore = "19 mm"

[parts.fan]
kind = "fan"
curve = [["0 m3/s", "190 Pa"], ["0.4 m3/s", "0 Pa"]]
"""

CORE = """
[parts.{name}]
kind = "water_core"
bench_charge_flow = "{charge} kg/s"
bench_coolant_flow = "{coolant} L/min"
bench_charge_in = "140 degC"
bench_coolant_in = "30 degC"
bench_effectiveness = "0.80"
bench_charge_loss = "5 kPa"
bench_coolant_loss = "8 kPa"
metal_mass = "{mass} kg"
coolant_volume = "{volume} L"
pickup = "{pickup} W/K"
"""

EXCHANGER = """
[parts.{name}]
kind = "exchanger"
bench_coolant_flow = "{coolant} L/min"
bench_cooling_flow = "{cooling} kg/s"
bench_coolant_in = "60 degC"
bench_cooling_in = "25 degC"
bench_heat = "{heat} kW"
bench_coolant_loss = "7 kPa"
bench_cooling_loss = "170 Pa"
metal_mass = "{mass} kg"
coolant_volume = "{volume} L"
pickup = "{pickup} W/K"
"""
WHOLE_CORE = {"charge": 0.3, "coolant": 20.0, "mass": 4.0, "volume": 1.2, "pickup": 6.0}
WHOLE_EXCHANGER = {"coolant": 20.0, "cooling": 0.8, "heat": 13.0, "mass": 3.5, "volume": 1.4, "pickup": 2.0}


def text_of(cores: int, exchangers: int) -> str:
    """The build with its core and its exchanger in 1 or 2 parts; a half has half of all but losses and inlets."""
    text = BASE
    for word, table, count, whole in (
        ("CORES", CORE, cores, WHOLE_CORE),
        ("EXCHANGERS", EXCHANGER, exchangers, WHOLE_EXCHANGER),
    ):
        names = [f"{word.lower()}_{i}" for i in range(count)]
        path = f'"{names[0]}"' if count == 1 else "[" + ", ".join(f'"{name}"' for name in names) + "]"
        text = text.replace(word, path)
        share = {key: value / count for key, value in whole.items()}
        text += "".join(table.format(name=name, **share) for name in names)
    return text


def run(tmp_path: Path, name: str, text: str) -> tuple[Plant, Solution]:
    file = tmp_path / f"{name}.toml"
    file.write_text(text, encoding="utf-8")
    build = load_build(file)
    plant = assemble(build, sample(short_session(build), build))
    return plant, solve(plant)


@pytest.mark.parametrize(("cores", "exchangers"), [(2, 1), (1, 2), (2, 2), (3, 1)])
def test_parallel_parts_of_a_whole_are_the_whole(tmp_path, cores, exchangers):
    """1e-4 K (the issue's figure) at every sample: intake, reading, tank, and heat over the session.

    Charge, coolant and cooling air all split; equal losses at half flow make them split evenly.
    """
    one_plant, one = run(tmp_path, "whole", text_of(1, 1))
    plant, many = run(tmp_path, "parts", text_of(cores, exchangers))
    assert np.ptp(one.intake) > 10.0
    np.testing.assert_allclose(many.scalars, one.scalars, atol=1e-4)  # flows [kg/s] and all temperatures [K]
    for part in ("tank", "hose"):
        ours, whole = (s.streams[:, p.index(part, "coolant"), 1] for p, s in ((plant, many), (one_plant, one)))
        np.testing.assert_allclose(ours, whole, atol=1e-4)
    heat = [s.end[p.arrays.n_states :][-1] for p, s in ((one_plant, one), (plant, many))]
    assert heat[1] == pytest.approx(heat[0], rel=1e-6)


def shuffled(text: str, seed: int) -> str:
    """The file with its tables in another order; what stands before the first table stays on top."""
    head, *tables = re.split(r"(?m)^(?=\[)", text)
    order = np.random.default_rng(seed).permutation(len(tables))
    return head + "\n".join(tables[i].rstrip() + "\n" for i in order)


@pytest.mark.parametrize("name", BUNDLED)
def test_the_order_of_tables_is_nothing(tmp_path, name):
    """Parts, loops and ducts in any order: the same forecast but for the order of sums, 1e-8 K."""
    text = (EXAMPLES / f"{name}.toml").read_text(encoding="utf-8")
    _, first = run(tmp_path, "as_written", text)
    for seed in (1, 2):
        mixed = shuffled(text, seed)
        assert mixed != text
        _, other = run(tmp_path, f"shuffled_{seed}", mixed)
        np.testing.assert_allclose(other.intake, first.intake, atol=1e-8)
        assert other.peak == first.peak


def test_the_ladder_of_halves_is_that_of_the_whole(tmp_path):
    """Levels are means weighted by heat, so two halves have the rungs of one core (definitions, "Ladder")."""
    rungs = []
    for cores, exchangers in ((1, 1), (2, 2)):
        file = tmp_path / f"ladder_{cores}.toml"
        file.write_text(text_of(cores, exchangers), encoding="utf-8")
        build = load_build(file)
        rungs.append({rung.name: rung for rung in simulate(build, short_session(build)).ladder})
    assert rungs[0].keys() == rungs[1].keys()
    for name, rung in rungs[0].items():
        assert rungs[1][name].drop == pytest.approx(rung.drop, abs=2e-3)
    assert sum(rung.share for rung in rungs[0].values()) == pytest.approx(1.0, abs=1e-9)
