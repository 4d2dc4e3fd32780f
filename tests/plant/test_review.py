"""What an independent review of the plant found; but for the face in moving air, each test failed before it.


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
from coldside.errors import BadInput, NoAnswer
from coldside.plant import kernel, layout, reference
from coldside.plant.assemble import assemble
from coldside.plant.forecast import charge_states, simulate, solve
from coldside.plant.health import extrapolated
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
    with pytest.raises(BadInput, match="cannot cover 40 %"):
        operating_point(built(tmp_path, text.replace("[parts.left_core]\n", '[parts.left_core]\ncovers = "40 %"\n')))


FACE_FIRST = 'path = ["engine_radiator", "front_core"]'


def plover_face_first(examples: Path) -> str:
    """The Plover with its radiator's face ahead of the core, and no fan."""
    text = (examples / "plover" / "build.toml").read_text(encoding="utf-8")
    text = text.replace('path = ["front_core", "engine_radiator", "nose_fan"]', FACE_FIRST)
    text = re.sub(r'covers = "60 %".*\n', "", text)
    assert FACE_FIRST in text
    return text.replace(part(text, "nose_fan"), "")


def test_a_face_in_still_air_does_not_glow(tmp_path, examples):
    # 25 kW into the draught of a standing car is 4500 K of rise: no radiator gives that, its coolant boils first
    build = built(tmp_path, plover_face_first(examples))
    session = session_of(tmp_path, AMBIENT + '[[phases]]\nkind = "idle"\nduration = "20 s"\n')
    found = simulate(build, session)
    assert found.outlet["engine_radiator", "cooling"].max() <= layout.FACE_HOTTEST + 1e-9
    assert any(
        "engine_radiator: too little air to carry off its heat below 110 degC for 20 s" in words
        for words in found.health.extrapolated
    )
    point = operating_point(build, session=session, at="END")
    assert point.outlet["engine_radiator", "cooling"] <= layout.FACE_HOTTEST + 1e-9


def test_a_face_in_moving_air_gives_all_its_heat(tmp_path, examples):
    build = built(tmp_path, plover_face_first(examples))
    point = operating_point(build, road_speed=30.0)
    plant_cp = 1006.5  # J/(kg K), dry air; moist air of the standard day is 0.9 % more
    key = ("engine_radiator", "cooling")
    heat = point.flow[key] * plant_cp * (point.outlet[key] - point.inlet[key])
    assert heat == pytest.approx(25e3, rel=0.015)


def test_a_branch_that_runs_backwards_is_told(tmp_path, examples):
    # one fan beside an open branch, no air arriving: it draws through that branch from behind
    text = (examples / "tern" / "air.toml").read_text(encoding="utf-8")
    start, end = text.index("[ducts.right_side]"), text.index("[parts.filter]")
    text = text[:start] + text[end:]
    text = text.replace(part(text, "right_fan"), "")
    group = 'path = [[["left_core", "left_fan"], "right_core"]]'
    text = text.replace('path = ["left_core", "left_fan"]', group)
    text = text.replace("above 50 degC charge, 5 K hysteresis", "always")
    build = built(tmp_path, text)
    still = session_of(tmp_path, AMBIENT + '[[phases]]\nkind = "idle"\nduration = "20 s"\n')
    told = [words for words in simulate(build, still).health.extrapolated if "backwards" in words]
    assert len(told) == 1
    assert "backwards through right_core" in told[0]
    driven = session_of(tmp_path, AMBIENT + '[[phases]]\nkind = "cruise"\nspeed = "180 km/h"\nduration = "20 s"\n')
    assert not [words for words in simulate(build, driven).health.extrapolated if "backwards" in words]


# --- charge side ----------------------------------------------------------------------------------------------------


def test_a_charge_table_that_misses_the_exact_balance_is_told(tmp_path, water):
    build = built(tmp_path, water)
    demand = sample(session_of(tmp_path, AMBIENT + PULL), build)
    plant = assemble(build, demand)
    solution = solve(plant)
    exact = charge_states(plant, demand, solution.scalars[:, 3])
    assert not [words for words in extrapolated(plant, solution, exact) if "off its exact value" in words]
    solution.scalars[40, 1] = exact.compressor_out[40] + 5.0
    told = [words for words in extrapolated(plant, solution, exact) if "off its exact value" in words]
    assert len(told) == 1
    assert "up to 5.0 K off its exact value, at 0:04" in told[0]


def test_air_beyond_the_losses_table_is_refused(tmp_path, water):
    # samples of a car with four times the boost: the flow was quietly held at twice the engine's own
    weak = re.sub(r"boost = \[\[.*", 'boost = [["2500 rpm", "2 psi"], ["7600 rpm", "4 psi"]]', water)
    rows = [f"{i},{3000 + 100 * i},{min(100 + 20 * i, 400)},20" for i in range(30)]
    head = "time [s],engine_speed [rpm],plenum [kPa abs],road_speed [m/s]"
    (tmp_path / "log.csv").write_text("\n".join([head, *rows]), encoding="utf-8")
    session = session_of(tmp_path, AMBIENT + '[[phases]]\nkind = "replay"\nsamples = "log.csv"\n')
    with pytest.raises(NoAnswer, match="over twice the"):
        simulate(built(tmp_path, weak), session)
    assert simulate(built(tmp_path, water), session).plenum_pressure.max() == pytest.approx(4e5)


def test_the_peak_lies_in_boost_where_the_control_senses_at_the_compressor(tmp_path, water, examples):
    text = water.replace('boost_reference = "plenum"', 'boost_reference = "compressor_out"')
    text = text.replace('bench_charge_loss = "4.5 kPa"', 'bench_charge_loss = "25 kPa"')
    text = re.sub(r"boost = \[\[.*", 'boost = [["2500 rpm", "1 psi"], ["7600 rpm", "4 psi"]]', text)
    found = simulate(built(tmp_path, text), load_session(examples / "sessions" / "dyno-pulls.toml"))
    assert found.boost.sum() < found.demand.boost.sum()  # losses keep the plenum out of boost at its threshold
    assert found.boost[found.peak]
    # 0.1 K: the plant's mask is taken at one plenum temperature, a sample or two stricter at the threshold
    assert found.intake[found.peak] == pytest.approx(found.intake[found.boost].max(), abs=0.1)


def test_the_map_below_its_lowest_line_is_told(examples):
    build = load_build(examples / "dunlin" / "build.toml")
    found = simulate(build, load_session(examples / "sessions" / "track.toml"))
    assert any("below the compressor map's lowest speed line in boost" in words for words in found.health.extrapolated)


def test_gas_never_passes_its_walls_temperature(tmp_path, water):
    # second law at a trickle of charge, where the cubic of the tables swings up to 3 % over 1
    build = built(tmp_path, water)
    plant = assemble(build, sample(session_of(tmp_path, AMBIENT + PULL), build))
    A = plant.arrays
    work, x = layout.new_work(A), plant.start.copy()
    x[: A.i_feed] = 300.0
    wall = A.passes[plant.index("plenum", "charge"), layout.P_WALL]
    x[A.field_first[wall]] = 360.0
    x[A.i_feed] = 300.0
    A.inputs[:, layout.IN_OUT : layout.IN_OUT + layout.FEED_NODES] = 300.0
    combo = np.zeros(len(plant.loops) + len(plant.ducts), dtype=np.int64)
    for share in np.linspace(0.0, 0.003, 40):
        A.inputs[:, layout.IN_FLOW : layout.IN_FLOW + layout.FEED_NODES] = share * plant.charge.peak_flow * 300.0
        kernel.derivative(*layout.pack(A), work.packed, 0, 0.0, x, combo, np.zeros_like(x))
        assert work.T_out[plant.index("plenum", "charge")] <= 360.0 + 1e-9
