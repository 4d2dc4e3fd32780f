"""Knock through a whole forecast: a hotter day, a hotter charge and a worse fuel come nearer to it."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest

from coldside.build.files import load_build
from coldside.build.model import Build
from coldside.duty.model import AmbientSpec, PhaseSpec
from coldside.judge.knock import KnockVerdict, judge_knock
from coldside.plant.forecast import simulate
from coldside.units import Pressure
from generators import session_of

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
PULL = PhaseSpec(kind="pull", on="dyno", from_speed=50.0, to_speed=110.0, duration=8.0)
KNOWN = {
    "knock_speed": 95.0,
    "knock_boost": Pressure(65e3, True),
    "knock_intake": 325.0,
    "knock_spark": math.radians(14.0),
}


def known_build(**keys: object) -> Build:
    build = load_build(EXAMPLES / "siskin" / "blown.toml")
    return replace(build, engine=replace(build.engine, **(KNOWN | keys)))


def judged(build: Build, day: float = 300.0) -> KnockVerdict:
    """Knock of one pull on a day of this temperature [K]."""
    found = judge_knock(simulate(build, session_of(PULL, ambient=AmbientSpec(temperature=day))))
    assert found is not None
    return found


def test_a_hotter_day_takes_margin_as_the_charge_warms():
    """Margin in kelvin falls by what the worst charge rises (law); 2 K, as its moment may differ."""
    cool, hot = judged(known_build(), 285.0), judged(known_build(), 315.0)
    assert cool.margins is not None
    assert hot.margins is not None
    assert cool.margins.temperature is not None
    assert hot.margins.temperature is not None
    rise = hot.worst.T - cool.worst.T
    assert rise > 10.0
    assert cool.margins.temperature - hot.margins.temperature == pytest.approx(rise, abs=2.0)
    assert cool.margins.octane > hot.margins.octane


def test_more_octane_is_more_margin_number_for_number():
    """Another fuel of the same kind set to the same known point of the first: its octane comes on top (definition)."""
    plain = judged(known_build())
    better = replace(plain.model, octane=plain.model.octane + 3.0)
    at = (plain.worst.n, plain.worst.p, plain.worst.T, plain.worst.spark)
    gained = better.margins(*at).octane - plain.model.margins(*at).octane
    assert gained == pytest.approx(3.0)


def test_trims_take_more_power_on_a_hotter_day():
    keys = {"trim_spark": ((300.0, 0.0), (350.0, math.radians(10.0)))}
    cool, hot = judged(known_build(**keys), 285.0), judged(known_build(**keys), 315.0)
    assert cool.felt is not None
    assert hot.felt is not None
    assert hot.felt.power > cool.felt.power
    assert hot.felt.spark > cool.felt.spark
