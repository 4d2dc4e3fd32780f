"""One plain value for a curve over engine speed: read as that at every speed, refused where flat makes no sense."""

from __future__ import annotations

import numpy as np
import pytest

from coldside.build.editing import set_value
from coldside.build.files import read_build
from coldside.errors import ColdsideError
from coldside.parts.engine import RPM, boost_target, volumetric_efficiency
from coldside.sheet.parts_list import given_words
from coldside.units import parse


@pytest.fixture(scope="module")
def text(examples) -> str:
    return (examples / "tern" / "water.toml").read_text(encoding="utf-8")


def changed(text: str, examples, **values: object):
    for key, value in values.items():
        text = set_value(text, f"engine.{key}", value)
    return read_build(text, examples / "tern" / "water.toml"), text


def test_a_plain_boost_is_that_boost_at_every_speed(text, examples):
    build, written = changed(text, examples, boost="24 psi")
    wanted = parse("24 psi", "boost").value.value  # 24 pound-force a square inch, exact by definition of the units
    assert wanted == pytest.approx(24 * 6894.757293168)
    for speed in (0.0, 1000 * RPM, 6500 * RPM, 12000 * RPM):
        assert float(boost_target(build.engine, speed, 101325.0)) == pytest.approx(101325.0 + wanted)
    assert 'boost = "24 psi"' in written
    assert build.givens["engine.boost"].text == "24 psi"


def test_a_plain_curve_equals_one_of_two_equal_points(text, examples):
    flat, _ = changed(text, examples, volumetric_efficiency="95 %", boost="1.2 bar")
    pairs, _ = changed(
        text,
        examples,
        volumetric_efficiency=[["0 rpm", "95 %"], ["9000 rpm", "95 %"]],
        boost=[["0 rpm", "1.2 bar"], ["9000 rpm", "1.2 bar"]],
    )
    speeds = np.linspace(500, 8900, 30) * RPM
    for found in (volumetric_efficiency, lambda spec, n: boost_target(spec, n, 1e5)):
        assert np.allclose(found(flat.engine, speeds), found(pairs.engine, speeds), rtol=1e-12)


def test_its_spread_is_kept(text, examples):
    build, _ = changed(text, examples, boost="20 psi +- 1 psi")
    assert build.givens["engine.boost"].sd == pytest.approx(1 / 20, rel=1e-3)


@pytest.mark.parametrize(
    ("table", "key", "value", "words"),
    [
        ("engine", "boost", "24", "has no unit"),
        ("engine", "boost", "24 mph", "pairs"),
        ("engine", "volumetric_efficiency", "950 %", "out of range"),
        ("engine", "trim_spark", "3 deg", "is no curve"),
        ("parts.pump", "curve", "8 m", "is no curve"),
        ("parts.left_fan", "curve", "150 Pa", "is no curve"),
    ],
)
def test_what_flat_cannot_mean_is_refused(text, examples, table, key, value, words):
    with pytest.raises(ColdsideError, match=words):
        read_build(set_value(text, f"{table}.{key}", value), examples / "tern" / "water.toml")


def test_it_is_told_as_one_value(text, examples):
    from coldside import load_session
    from coldside.explore.outcome import preview

    build, _ = changed(text, examples, boost="24 psi")
    session = load_session(examples / "sessions" / "dyno-pulls.toml", build.loops)
    forecast = preview(build, session)
    told = given_words(forecast, "engine.boost", build.givens["engine.boost"], "us")
    assert told == "24 psi gauge at every engine speed"
