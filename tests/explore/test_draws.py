"""Uncertain inputs: their distributions against closed forms and SciPy, their numbers, and builds made from them."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from coldside.build.files import load_build
from coldside.build.model import Given
from coldside.duty.phases import load_session
from coldside.explore.draws import Uncertain, drawn, log_deviation, scores, uncertain_inputs, values_of
from coldside.parts.jacket import EngineJacketSpec
from coldside.units import Pressure

EXAMPLES = Path(__file__).parents[2] / "examples"
SESSION = load_session(EXAMPLES / "sessions" / "track.toml")
BUILDS = sorted(path for path in EXAMPLES.glob("*/*.toml") if path.parent.name not in ("sessions", "briefs"))


def water():
    return load_build(EXAMPLES / "tern" / "water.toml")


def named(inputs, key: str) -> Uncertain:
    return next(item for item in inputs if key in item.keys)


@pytest.mark.parametrize(("median", "sd"), [(4.0, 2.0), (0.006, 0.0001), (120.0, 48.0), (1.0, 0.9)])
def test_log_normal_has_the_given_median_and_deviation(median, sd):
    """SciPy's log-normal (scale = median) is the reference."""
    law = stats.lognorm(log_deviation(median, sd), scale=median)
    assert law.median() == pytest.approx(median, rel=1e-12)
    assert law.std() == pytest.approx(sd, rel=1e-12)  # the same closed form, read the other way round
    item = Uncertain(("x",), median, sd, 0.0, math.inf, "log-normal", "length", "")
    z = np.linspace(-3.0, 3.0, 13)
    assert item.at(z) == pytest.approx(law.ppf(stats.norm.cdf(z)), rel=1e-9)  # cdf and ppf cost some digits


def test_shares_are_clipped_and_levels_are_normal():
    inputs = uncertain_inputs(water(), SESSION)
    recovery = named(inputs, "ducts.lid.recovery")
    assert recovery.form == "normal"
    assert recovery.at(10.0) == 1.0
    assert recovery.at(-10.0) == 0.0
    assert recovery.at(1.0) == pytest.approx(0.85)  # 0.7 +- 0.15 in the file
    metal = named(inputs, "engine.metal_temperature")
    assert metal.form == "normal"
    assert metal.at(-1.0) == pytest.approx(metal.value - metal.sd)
    mixing = named(inputs, "parts.tank.mixing")  # nothing is its median, and no tank has less
    assert mixing.at(np.array([-1.0, 1.0])) == pytest.approx([0.0, 0.3])


def test_every_key_with_a_deviation_is_drawn_and_no_other():
    for path in BUILDS:
        build = load_build(path)
        inputs = uncertain_inputs(build, SESSION)
        keys = sorted(key for item in inputs for key in item.keys)
        expected = [k for k, g in build.givens.items() if g.sd and not isinstance(g.value, str | bool | type(None))]
        assert keys == sorted(expected), path


def test_parts_alike_in_every_key_move_together():
    build = water()
    item = named(uncertain_inputs(build), "parts.left_core.bench_effectiveness")
    assert item.keys == ("parts.left_core.bench_effectiveness", "parts.right_core.bench_effectiveness")
    unlike = replace(build.parts["right_core"], metal_mass=2.0)
    other = replace(build, parts={**build.parts, "right_core": unlike})
    assert named(uncertain_inputs(other), "parts.left_core.bench_effectiveness").keys == (
        "parts.left_core.bench_effectiveness",
    )


def test_scores_are_the_same_numbers_everywhere():
    """Written down once; SciPy's direction numbers, its scramble and NumPy's generator all stand behind them."""
    z = scores(3, 4, seed=7)
    assert z == pytest.approx(np.array(KNOWN), abs=1e-9)
    assert scores(3, 64, seed=7)[:4] == pytest.approx(z, abs=0.0)
    assert scores(100, 4, seed=7)[:, :3] == pytest.approx(z, abs=0.0)
    assert not np.allclose(scores(3, 4, seed=8), z)
    assert scores(0, 5).shape == (5, 0)


KNOWN = [
    [0.386473132786761, 1.3872036362742697, -1.2789548804723556],
    [-0.14756860146565684, -0.4067880992352674, 0.4926058203771478],
    [-1.396124284823636, 0.34896150581210933, -0.009403480363921926],
    [0.7076610970572912, -1.1566214295557173, 0.9921501964522651],
]


def test_scores_fill_each_half_and_quarter_evenly():
    """2^m points of a Sobol sequence lie one in each of 2^m equal slices of every axis (Sobol 1967, from memory)."""
    slices = np.sort(np.floor(stats.norm.cdf(scores(60, 64, seed=1)) * 64.0), axis=0)
    assert (slices == np.arange(64.0)[:, None]).all()


def test_median_values_give_back_the_build():
    for path in BUILDS:
        build = load_build(path)
        inputs = uncertain_inputs(build, SESSION)
        same, session = drawn(build, SESSION, inputs, values_of(inputs, np.zeros(len(inputs))))
        assert (same.engine, same.car, same.bay) == (build.engine, build.car, build.bay), path
        assert same.parts == build.parts, path
        assert same.ducts == build.ducts
        assert session == SESSION


def test_every_input_moves_what_it_names_and_nothing_else():
    build = water()
    inputs = uncertain_inputs(build, SESSION)
    for k, item in enumerate(inputs):
        score = np.zeros(len(inputs))
        score[k] = 1.0
        moved, _ = drawn(build, SESSION, inputs, values_of(inputs, score))
        changed = {f"parts.{name}" for name in build.parts if moved.parts[name] != build.parts[name]}
        changed |= {f"ducts.{name}" for name in build.ducts if moved.ducts[name] != build.ducts[name]}
        changed |= {name for name in ("engine", "car", "bay") if getattr(moved, name) != getattr(build, name)}
        assert changed == {key.rpartition(".")[0] for key in item.keys}


def test_curves_move_by_one_factor():
    build = water()
    shares = {"engine.boost": 0.05, "engine.volumetric_efficiency": 0.02}
    givens = {key: replace(g, sd=shares[key]) if key in shares else g for key, g in build.givens.items()}
    build = replace(build, givens=givens)
    inputs = tuple(item for item in uncertain_inputs(build) if item.name in shares)
    assert [item.is_factor for item in inputs] == [True, True]
    moved, _ = drawn(build, SESSION, inputs, np.array([1.02 if "vol" in item.name else 1.05 for item in inputs]))
    for (n, p), (n_new, p_new) in zip(build.engine.boost, moved.engine.boost, strict=True):
        assert n_new == n
        assert p_new == Pressure(p.value * 1.05, p.gauge)
    for (n, eta), (n_new, eta_new) in zip(
        build.engine.volumetric_efficiency, moved.engine.volumetric_efficiency, strict=True
    ):
        assert (n_new, eta_new) == (n, eta * 1.02)


def test_a_session_may_be_uncertain_too():
    givens = dict(SESSION.givens)
    givens["ambient.temperature"] = replace(givens["ambient.temperature"], sd=2.0)
    givens["phases.3.speed"] = replace(givens["phases.3.speed"], sd=1.0)
    session = replace(SESSION, givens=givens)
    inputs = [item for item in uncertain_inputs(water(), session) if item.in_session]
    assert [item.name for item in inputs] == ["ambient.temperature", "phases.3.speed"]
    _, moved = drawn(water(), session, inputs, np.array([310.0, 20.0]))
    assert moved.ambient == replace(session.ambient, temperature=310.0)
    assert moved.phases[2] == replace(session.phases[2], speed=20.0)
    assert moved.phases[:2] == session.phases[:2]


def test_what_follows_from_a_key_follows_its_draw():
    """An engine in a loop is a part made from the engine's keys."""
    build = load_build(EXAMPLES / "plover" / "stacked.toml")
    inputs = uncertain_inputs(build)
    jackets = [name for name, part in build.parts.items() if isinstance(part, EngineJacketSpec)]
    assert jackets
    item = named(inputs, "engine.coolant_heat_share")
    moved, _ = drawn(build, SESSION, [item], np.array([0.3]))
    assert moved.engine.coolant_heat_share == 0.3
    assert moved.parts[jackets[0]] != build.parts[jackets[0]]


def test_keys_without_a_number_are_no_inputs():
    build = water()
    odd = Given(None, "reckoned", 0.3, "default", "")
    build = replace(build, givens={**build.givens, "parts.tank.brim_volume": odd})
    assert build.parts["tank"].brim_volume is None
    assert not any("parts.tank.brim_volume" in item.keys for item in uncertain_inputs(build))


def test_a_changed_build_or_session_draws_around_what_it_is_now():
    """Changes are tried on builds after they were read: their givens still tell the file's values."""
    build = water()
    tank = replace(build.parts["tank"], pickup=6.0)
    item = named(uncertain_inputs(replace(build, parts={**build.parts, "tank": tank})), "parts.tank.pickup")
    assert item.value == 6.0
    givens = dict(SESSION.givens)
    givens["phases.3.speed"] = replace(givens["phases.3.speed"], sd=1.0)
    without_first = replace(SESSION, givens=givens, phases=SESSION.phases[1:])
    assert not [item for item in uncertain_inputs(build, without_first) if item.in_session]


def test_a_reading_of_the_air_is_drawn_where_it_says_how_sure_it_is(tmp_path):
    """`[[ambient.readings]]` with a +- of its own: drawn and put back on that reading, the others left."""
    build = load_build(EXAMPLES / "tern" / "water.toml")
    text = (EXAMPLES / "sessions" / "warming-afternoon.toml").read_text()
    (tmp_path / "day.toml").write_text(text.replace('temperature = "34 degC"', 'temperature = "34 degC +- 2 K"'))
    session = load_session(tmp_path / "day.toml")
    inputs = [one for one in uncertain_inputs(build, session) if one.in_session]
    (reading,) = [one for one in inputs if one.name == "ambient.readings.2.temperature"]
    assert (reading.value, reading.sd, reading.form) == (pytest.approx(307.15), pytest.approx(2.0), "normal")
    made = drawn(build, session, [reading], np.array([309.0]))[1]
    assert [one.temperature for one in made.readings] == pytest.approx([304.15, 309.0, 302.15])
