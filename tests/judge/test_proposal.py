"""A limit in place of one not given: by trims, by a known knock-limited point, by fuel and seals."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest

from coldside.build.files import load_build
from coldside.judge.proposal import propose, trims_start, usual_limit
from judge import made

EXAMPLES = Path(__file__).parents[2] / "examples"
ENGINE = load_build(EXAMPLES / "tern" / "water.toml").engine


def test_trims_start_where_the_first_of_them_does():
    spark = ((303.15, 0.0), (323.15, 0.0), (343.15, math.radians(4.0)))
    boost = ((318.15, 0.0), (333.15, 0.1))
    assert trims_start(ENGINE) is None
    assert trims_start(replace(ENGINE, trim_spark=spark)) == 323.15
    assert trims_start(replace(ENGINE, trim_spark=spark, trim_boost=boost)) == 318.15
    # taken from the lowest point on: where it starts is not known
    assert trims_start(replace(ENGINE, trim_boost=((318.15, 0.1), (333.15, 0.2)))) is None


def test_usual_limits_rise_with_octane_and_alcohol_and_fall_for_seals():
    """Common practice, no source: 50 degC with gasoline 95 to 70 degC with pure alcohol, 10 K less for apex seals."""
    order = ["gasoline 95", "gasoline 98", "gasoline 100", "E85", "methanol"]
    found = [usual_limit(replace(ENGINE, fuel=name)) for name in order]
    assert found == sorted(found)
    assert found[0] == pytest.approx(323.15)
    assert found[-1] == pytest.approx(343.15)
    rotary = load_build(EXAMPLES / "plover" / "build.toml").engine
    assert usual_limit(rotary) == pytest.approx(usual_limit(replace(ENGINE, fuel=rotary.fuel)) - 10.0)


def test_a_proposed_limit_below_the_air_outside_says_what_could_hold_it():
    """Trims from 20 degC on, the air outside at 300 K: no core brings charge below the air that cools it."""
    forecast = made.forecast()

    def words(first: float) -> str:
        trims = ((first, 0.0), (first + 20.0, math.radians(4.0)))
        engine = replace(forecast.build.engine, trim_spark=trims)
        return propose(replace(forecast, build=replace(forecast.build, engine=engine))).reason.words()

    cold = "That is below the air outside: only ice, a chiller or injection into the charge could hold it."
    assert words(293.15).endswith(cold)
    assert cold not in words(313.15)
