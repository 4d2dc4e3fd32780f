"""What an independent review of the plant found: each test fails on the code as it was before the review.

Builds are the bundled (invented) Tern and Plover, changed in the text.  Expected values are balances
(what goes round a loop is one flow), exact functions beside the tables, or refusals.
"""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from coldside.build.files import load_build
from coldside.build.model import Build
from coldside.duty.demand import sample
from coldside.duty.model import Session
from coldside.duty.phases import load_session
from coldside.errors import BadInput
from coldside.plant import layout, reference
from coldside.plant.assemble import assemble
from coldside.plant.forecast import simulate
from coldside.plant.steady import operating_point

AMBIENT = '[ambient]\ntemperature = "25 degC"\n'
PARKED = '[[phases]]\nkind = "parked"\nduration = "20 s"\n'
PULL = '[[phases]]\nkind = "pull"\nfrom = "3000 rpm"\nto = "6500 rpm"\nduration = "8 s"\n'
TWO_PUMPS = '[["guard_a", "pump"], ["guard_b", "spare"]]'


@pytest.fixture(scope="module")
def water(examples: Path) -> str:
    """The Tern with water cores, as text."""
    return (examples / "tern" / "water.toml").read_text(encoding="utf-8")


def built(folder: Path, text: str) -> Build:
    path = folder / "build.toml"
    path.write_text(text, encoding="utf-8")
    return load_build(path)


def session_of(folder: Path, text: str) -> Session:
    path = folder / "session.toml"
    path.write_text('schema = "coldside.session/1"\nname = "review"\n' + text, encoding="utf-8")
    return load_session(path)


def part(text: str, name: str) -> str:
    """The table of one part, as text."""
    found = re.search(rf"\[parts\.{name}\]\n(?:[^\[\n].*\n|\n)*", text)
    assert found is not None
    return found.group(0)


# --- the engine off throughout ------------------------------------------------------------------------------------


def test_a_session_with_the_engine_off_throughout_is_solved(tmp_path, water):
    build, session = built(tmp_path, water), session_of(tmp_path, 'start = "soaked"\n' + AMBIENT + PARKED)
    found = simulate(build, session)
    assert not found.charge_flow.any()
    assert np.all(np.isfinite(found.intake))
    assert found.ledger.closure < 1e-6
    point = operating_point(build, session=session, at=10.0)
    assert point.air_flow == 0.0
    # nothing moves, so the plenum's metal settles between bay and engine, whatever else there is
    assert 298.15 < point.intake < build.engine.metal_temperature + 1e-6


# --- sensors --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "new", "behind"),
    [
        (
            '"return_hose", ["left_hx", "right_hx"]',
            '"return_hose", [["thermometer", "left_hx"], "right_hx"]',
            "return_hose",
        ),
        (
            '"hot_pipe", ["left_core", "right_core"]',
            '"hot_pipe", [["thermometer", "left_core"], "right_core"]',
            "hot_pipe",
        ),
    ],
)
def test_a_sensor_at_the_head_of_a_branch_reads_what_enters_the_group(tmp_path, water, old, new, behind):
    assert old in water
    build = built(tmp_path, water.replace(old, new) + '\n[parts.thermometer]\nkind = "sensor"\n')
    plant = assemble(build, sample(session_of(tmp_path, AMBIENT + PULL), build))
    k = plant.sensors.index("thermometer")
    assert plant.arrays.sensor_node[k] == -1
    assert plant.passes[plant.arrays.sensor_pass[k]].part == behind


# --- flow of a loop -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("control", "check"), [("always", "true"), ("off", "true"), ("off", "false")])
def test_the_flow_of_a_loop_is_what_passes_its_tank(tmp_path, water, control, check):
    # two pumps behind check valves: a second pump adds, a dead one without its valve lets coolant back (loop-C12)
    text = water.replace('"tank", "pump", "feed_hose"', f'"tank", {TWO_PUMPS}, "feed_hose"')
    own = 'control = "above 40 degC charge, 4 K hysteresis"'
    spare = part(water, "pump").replace("parts.pump", "parts.spare").replace(own, f'control = "{control}"')
    text = text.replace(own, 'control = "always"') + "\n" + spare
    for name in ("guard_a", "guard_b"):
        text += f'\n[parts.{name}]\nkind = "valve"\nbore = "19 mm"\ncheck = {check}\n'
    build = built(tmp_path, text)
    session = session_of(tmp_path, AMBIENT + PULL)
    found, point = simulate(build, session), operating_point(build, session=session, at="END")
    plant = assemble(build, sample(session, build))
    density = plant.arrays.loop_density[0]
    np.testing.assert_allclose(found.coolant_flow["charge"], found.flow["tank", "coolant"] / density, rtol=1e-9)
    # 1e-9: one flow, read at two places
    assert point.coolant_flow["charge"] == pytest.approx(point.flow["tank", "coolant"] / density, rel=1e-9)
    pumped = found.flow["pump", "coolant"] + found.flow["spare", "coolant"]
    # 1e-6: interpolated separately in the table
    np.testing.assert_allclose(pumped, found.flow["tank", "coolant"], rtol=1e-6)


# --- tables ---------------------------------------------------------------------------------------------------------


def test_tables_of_a_cold_loop_reach_its_own_temperatures(tmp_path, water):
    # a second loop with chilled glycol: its film must not be held at the other coolant's freezing point
    text = water.replace('"cold_pipe", "throttle"', '"cold_pipe", "second_core", "throttle"')
    text = text.replace('coolant = "ethylene glycol 30 % by volume"', 'coolant = "water"')
    text += part(water, "left_core").replace("left_core", "second_core").replace('"0.20 kg/s"', '"0.35 kg/s"')
    text += (
        '\n[loops.cold]\ncoolant = "ethylene glycol 50 % by volume"\npath = ["cold_tank", "cold_pump", "second_core"]\n'
    )
    text += '\n[parts.cold_tank]\nkind = "reservoir"\nvolume = "20 L"\nstart_temperature = "-20 degC"\n'
    text += '\n[parts.cold_pump]\nkind = "pump"\n'
    build = built(tmp_path, text)
    plant = assemble(build, sample(session_of(tmp_path, AMBIENT + PULL), build))
    A = plant.arrays
    found = reference.flows(A, 0, 0.0, plant.start, np.zeros(len(plant.loops) + len(plant.ducts), dtype=np.int64))
    loop = next(i for i, own in enumerate(plant.loops) if own.loop.name == "cold")
    assert found.loop_T[loop] < 263.15
    k = A.passes[plant.index("second_core", "coolant"), layout.P_TABLE]
    _, b = reference.coefficients(A, found)
    one, two = (np.array([abs(found.flow[p])]) for p in A.table_flow[k])
    exact = plant.coefficients[k].exact(one, two, np.array([found.loop_T[loop]]))[1]
    # 2 %: linear between table temperatures 13 K apart; it was 28 % off
    assert b[k] == pytest.approx(exact[0], rel=0.02)


def test_a_tank_below_freezing_is_refused_even_where_the_loop_is_warmer(tmp_path, examples):
    build = load_build(examples / "dunlin" / "build.toml", ['parts.tank.start_temperature="-4 degC"'])
    session = session_of(tmp_path, '[ambient]\ntemperature = "42 degC"\n' + PULL)
    with pytest.raises(BadInput, match="starts at -4 degC and freezes at"):
        simulate(build, session)


# --- ducts ----------------------------------------------------------------------------------------------------------


def test_covers_inside_a_group_is_refused(tmp_path, examples):
    text = (examples / "tern" / "air.toml").read_text(encoding="utf-8")
    start, end = text.index("[ducts.right_side]"), text.index("[parts.filter]")
    text = text[:start] + text[end:]
    text = text.replace(part(text, "right_fan"), "")
    text = text.replace('path = ["left_core", "left_fan"]', 'path = [["left_core", "right_core"], "face", "left_fan"]')
    text += '\n[parts.face]\nkind = "exchanger"\nheat = "10 kW"\nbench_cooling_flow = "1 kg/s"\n'
    text += 'bench_cooling_loss = "150 Pa"\n'
    assert operating_point(built(tmp_path, text)).air_flow > 0.0
    with pytest.raises(BadInput, match="cannot cover 40%"):
        operating_point(built(tmp_path, text.replace("[parts.left_core]\n", '[parts.left_core]\ncovers = "40 %"\n')))
