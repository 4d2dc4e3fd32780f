"""Knock over a session: the worst moment, margins that need a known point, changes, the spark line, trims, words."""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from coldside.judge.corrections import correction_words, corrections
from coldside.judge.knock import MOST_SAMPLES, judge_knock
from coldside.judge.knock_json import knock_block
from coldside.judge.verdict import judge
from coldside.parts.knock import CAUTIONS
from coldside.plant.feedback import trimmed_boost
from coldside.plant.results import Forecast
from coldside.units import Pressure
from judge import made

KNOWN = {
    "fuel": "gasoline 98",
    "knock_speed": 80.0,
    "knock_boost": Pressure(1.5e5, True),
    "knock_intake": 320.0,
    "knock_spark": math.radians(12.0),
}
SI_IN_US = re.compile(r"\d (K|degC|kPa|bar)\b")


def engine(forecast: Any = None, **keys: object) -> Any:
    """A made forecast (peaks 320 to 330 K, ambient 300 K, sensor 5 K under the gas) with these keys of the engine."""
    forecast = made.forecast() if forecast is None else forecast
    return replace(forecast, build=replace(forecast.build, engine=replace(forecast.build.engine, **keys)))


def words(result: Any, system: str = "si") -> str:
    return " ".join(sentence.words(system) for sentence in result.sentences)


def test_the_worst_moment_is_the_hottest_at_one_speed_and_boost():
    result = judge_knock(made.forecast())
    assert result is not None
    assert result.worst.T == 330.0
    assert result.worst.where == "pull 6"
    assert result.worst.time == pytest.approx(310.0)
    assert len(result.samples) <= MOST_SAMPLES


def test_without_a_known_point_only_changes_are_told():
    result = judge_knock(engine(fuel="gasoline 98"))
    assert result is not None
    assert result.margins is None
    assert result.margin_trace is None
    assert result.power is None
    said = knock_block(result)
    assert said["calibrated"] is False
    assert [said[f"margin_min_{unit}"] for unit in ("K", "deg", "Pa", "octane")] == [None] * 4
    change = said["change_from_reference"]
    assert change["reference_K"] == 300.0
    assert change["octane_low"] <= change["octane"] <= change["octane_high"]
    assert change["octane_high"] == pytest.approx(
        30.0 / 7.0
    )  # Russ, SAE 960497: 1 number per 7 K, the larger of the two
    assert "How near it is to knock is not known" in words(result)
    assert "10 octane numbers or worse" in words(result)


def test_margins_against_the_known_point():
    """All at the known speed, boost and spark: the margin in kelvin is the known temperature less the worst."""
    result = judge_knock(engine(**KNOWN))
    assert result is not None
    assert result.margins is not None
    assert result.margins.temperature == pytest.approx(320.0 - 330.0, abs=1.0)  # set spark is the table's, 0.3 deg
    assert result.margins.octane < 0.0
    assert result.margins.spark is not None
    assert -2.5 < result.margins.spark < 0.0
    assert result.margins.boost is not None
    assert result.margins.boost < 0.0
    assert result.line.start == pytest.approx(320.0, abs=1.0)
    assert "would knock there" in words(result)
    assert result.margin_trace is not None
    assert np.nanmin(result.margin_trace) == pytest.approx(result.margins.temperature, abs=0.01)


def test_cool_charge_has_margin_in_hand():
    result = judge_knock(engine(**(KNOWN | {"knock_intake": 375.0})))
    assert result is not None
    assert result.margins is not None
    assert result.margins.temperature is not None
    assert result.margins.temperature > 10.0
    assert "in hand, each taken alone; keep 2 to 3 deg in reserve" in words(result)


def test_less_than_the_reserve_says_so():
    result = judge_knock(engine(**(KNOWN | {"knock_intake": 333.0})))
    assert result is not None
    assert result.margins is not None
    assert result.margins.spark is not None
    assert 0.0 < result.margins.spark < 2.0
    assert "less than the 2 to 3 deg to keep in reserve" in words(result)


def test_power_by_charge_temperature_falls():
    result = judge_knock(engine(**KNOWN))
    assert result is not None
    rows = knock_block(result)["power_limited"]
    assert rows[0]["spark_limited"] == rows[0]["boost_limited"] == 1.0
    assert all(later["spark_limited"] < row["spark_limited"] for row, later in zip(rows, rows[1:], strict=False))
    assert rows[-1]["boost_limited"] < rows[-1]["spark_limited"]


def test_the_spark_line_is_a_band_about_the_published_slope():
    """Russ, SAE 960497: 1 number per 7 K and per degree, 1.43 deg per 10 K, must lie within."""
    for keys in ({}, KNOWN, {"fuel": "gasoline 95", "fuel_injection": "direct"}):
        result = judge_knock(engine(**keys))
        assert result is not None
        assert 0.3 < result.line.low <= 10.0 / 7.0 <= result.line.high < 2.5
    assert "a starting point for a dyno with knock detection, not an instruction" in words(result)


def test_spark_that_is_too_much_when_cold_says_so():
    result = judge_knock(engine(**KNOWN, spark=((50.0, 0.45), (120.0, 0.45))))
    assert result is not None
    assert "too much even with the charge at ambient" in words(result)


def with_trims(forecast: Forecast) -> Forecast:
    """As a forecast is whose boost the car's own trims have cut by what its sensor reads."""
    demand = replace(forecast.demand, plenum_target=forecast.plenum_pressure)
    cut = trimmed_boost(forecast.build.engine, demand, forecast.sensor)
    return replace(forecast, demand=cut, plenum_pressure=cut.plenum_target)


def test_trims_follow_the_sensor():
    """The sensor peaks at 325 K: trims linear from 310 to 330 K, so three quarters are taken."""
    keys = {"trim_spark": ((310.0, 0.0), (330.0, math.radians(4.0))), "trim_boost": ((310.0, 0.0), (330.0, 0.2))}
    result = judge_knock(with_trims(engine(**keys)))
    assert result is not None
    assert result.felt is not None
    assert result.felt.sensor == pytest.approx(325.0)
    assert result.felt.spark == pytest.approx(3.0)
    assert result.felt.boost == pytest.approx(0.15 * 1.5e5, rel=1e-6)
    assert result.felt.power == pytest.approx(1.0 - (2.5e5 - 0.15 * 1.5e5) / 2.5e5, abs=0.01)
    assert 0.0 < result.felt.mean_power < result.felt.power
    assert "The car's own trims take 3.0 deg of spark and" in words(result)
    untrimmed = judge_knock(engine())
    assert untrimmed is not None
    assert untrimmed.felt is None


def test_trims_bring_the_worst_moment_away_from_knock():
    keys = KNOWN | {"trim_boost": ((310.0, 0.0), (330.0, 0.5))}
    plain, eased = judge_knock(engine(**KNOWN)), judge_knock(with_trims(engine(**keys)))
    assert plain is not None
    assert eased is not None
    assert plain.margins is not None
    assert eased.margins is not None
    assert eased.margins.octane > plain.margins.octane


def test_never_in_boost_is_no_knock():
    forecast = made.forecast()
    calm = replace(forecast, plenum_pressure=np.full(len(forecast.time), 0.9 * made.PRESSURE))
    assert judge_knock(calm) is None
    assert judge(calm).knock is None


def test_accuracy_by_fuel_and_kind():
    alcohol = judge_knock(engine(fuel="E85"))
    assert alcohol is not None
    assert "only the sign and the order" in words(alcohol)
    assert 0.0 < knock_block(alcohol)["ethanol_delay_used"]["by_upper_law"] < 1.0
    turning = judge_knock(engine(kind="rotary", chamber_volume=6.5e-4, rotors=2, fuel="gasoline 98"))
    assert turning is not None
    assert "take it as a trend" in words(turning)
    assert "ethanol_delay_used" not in knock_block(turning)


def test_far_from_the_known_point_is_trusted_less():
    near, far = judge_knock(engine(**KNOWN)), judge_knock(engine(**(KNOWN | {"knock_boost": Pressure(0.9e5, True)})))
    assert near is not None
    assert far is not None
    assert "trust it less" not in words(near)
    assert "trust it less" in words(far)


@pytest.mark.parametrize("keys", [{"fuel": "gasoline 98"}, {"fuel": "E85"}, KNOWN, KNOWN | {"knock_spark": 0.5}])
def test_the_brief_words_are_short_and_tell_the_same(keys):
    result = judge_knock(engine(**keys))
    assert result is not None
    brief = [sentence.words() for sentence in result.brief]
    whole = [sentence.words() for sentence in result.sentences]
    assert sum(map(len, brief)) < 0.75 * sum(map(len, whole))
    assert brief[1] == whole[1]  # the sloped line is told alike
    assert ("sign and the order" in brief[0]) == (keys["fuel"] == "E85")
    if result.margins is None:
        assert "how near knock is takes a point" in brief[0]
    else:
        assert f"{abs(result.margins.octane):.1f} octane numbers" in brief[0]
        assert ("beyond" in brief[0]) == (result.margins.octane < 0.0)
        assert "known to 2 to 3 octane numbers" in brief[0]  # note E7, as ACCURACY_CALIBRATED
    assert not any(SI_IN_US.search(sentence.words("us")) for sentence in result.brief)


def test_one_octane_number_is_one():
    result = judge_knock(engine(fuel="gasoline 98"))
    assert result is not None
    one = replace(result, change_octane=(0.8, 1.2))
    assert "asks for 1 octane number more" in one.brief[0].words()
    assert "asks for 1 octane number more" in one.sentences[0].words()


def test_cautions_and_accuracy_stand_with_every_verdict_in_boost():
    verdict = judge(made.forecast())
    for caution in CAUTIONS:
        assert any(caution in said for said in verdict.cautions)
    assert any("only differences are shown" in note for note in verdict.words().notes)
    assert judge(made.forecast(), with_knock=False).knock is None


@pytest.mark.parametrize("keys", [{}, KNOWN, {"trim_boost": ((310.0, 0.0), (330.0, 0.5))}])
def test_us_words_hold_no_si(keys):
    result = judge_knock(engine(**keys))
    assert result is not None
    assert not SI_IN_US.search(words(result, "us"))


def test_json_is_plain():
    result = judge_knock(engine(**KNOWN))
    assert result is not None
    json.dumps(knock_block(result), allow_nan=False)


def test_corrections_are_the_standards_and_only_told_for_a_dyno():
    """At 300 K, 100 kPa, dry: SAE 1.18 (99/100)(300/298)^0.5 - 0.18; ISO 0.99^1.2 (300/298)^0.6; DIN: formulas seen."""
    forecast = made.forecast()
    dry = replace(forecast, demand=replace(forecast.demand, humidity=0.0))
    found = corrections(dry)
    assert found["sae"] == pytest.approx(1.18 * 0.99 * math.sqrt(300.0 / 298.0) - 0.18)
    assert found["iso"] == pytest.approx(0.99**1.2 * (300.0 / 298.0) ** 0.6)
    assert found["din"] == pytest.approx(1.013 * math.sqrt(300.0 / 293.0))
    told = correction_words(dry)[0].words()
    assert "none is right for a boosted engine" in told
    road = replace(dry.session.phases[0], on="road")
    assert correction_words(replace(dry, session=replace(dry.session, phases=(road,)))) == []
