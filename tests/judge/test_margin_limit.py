"""A limit on the knock margin, on made pulls at the known point's own speed, boost and spark.

There the charge temperature at which knock begins is by definition that of the known point, so that every margin is
known beforehand: 335 K less what the charge is at.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from coldside.duty.model import LimitSpec
from coldside.judge import consistency_words as told
from coldside.judge.knock_limit import margin_trace
from coldside.judge.summary import forecast_json
from coldside.judge.verdict import judge, judge_limit
from coldside.plant.results import Forecast
from coldside.sheet.tables import limit_row
from coldside.units import Pressure
from judge import made

BEGINS = 335.0  # K, of the known point
SPARK = math.radians(12.0)
CLOSE = 0.05  # K: the model's own solution of where knock begins
KNOWN = "A margin to knock is itself known to 15 to 20 K only, near your known point."


def calibrated(at_least: float, **changes: Any) -> Forecast:
    forecast = made.forecast(limits=(LimitSpec(quantity="margin", at_least=at_least),), **changes)
    engine = replace(
        forecast.build.engine,
        fuel="gasoline 98",
        spark=((50.0, SPARK), (120.0, SPARK)),
        knock_speed=80.0,
        knock_boost=Pressure(1.5e5, True),
        knock_intake=BEGINS,
        knock_spark=SPARK,
    )
    return replace(forecast, build=replace(forecast.build, engine=engine))


def test_the_margin_is_what_is_left_to_the_known_point():
    forecast = calibrated(8.0)
    trace, why = margin_trace(forecast)
    assert why == ""
    assert trace is not None
    boost = forecast.boost
    assert np.abs(trace[boost] - (BEGINS - forecast.intake[boost])).max() < CLOSE
    assert np.isnan(trace[~boost]).all()


def test_broken_in_the_fifth_pull():
    """Peaks of 320 to 330 K by 2 K leave 15 to 5 K: the fifth, 7 K, is the first with less than 8 K."""
    verdict = judge(calibrated(8.0))
    assert not verdict.holds
    assert verdict.words().headline == (
        "Does not hold: the first four pulls do, the fifth falls 1 K short of your 8 K knock margin; the worst, "
        "the sixth, 3 K short. "
        f"First short of it at 4:10 into the session, 2.1 s in all. {KNOWN}"
    )
    (limit,) = verdict.limits
    assert limit.value == pytest.approx(5.0, abs=CLOSE)
    assert limit.margin == pytest.approx(-3.0, abs=CLOSE)
    # 310 + 18 t/10 = 327 at 9.44 s into pull 5, which starts at 240 s; the next sample is at 249.5 s
    assert limit.first_broken == pytest.approx(249.5, abs=0.101)
    # from 9.444 s on in pull 5, from 8.5 s on in pull 6, each with half of the interval in which boost ends
    assert limit.seconds_over == pytest.approx(0.556 + 1.5, abs=0.1)
    assert limit.sentence.words("us").startswith(
        "Knock margin in boost, at least 14.4 degF: 9 degF in pull 6, short by 5"
    )
    assert limit_row(limit, "si")[1:4] == ("at least 8 K", "5 K", "3 K short")
    block = forecast_json(calibrated(8.0), verdict)["verdict"]["limits"][0]
    assert (block["at_most"], block["at_least"], block["holds"]) == (None, 8.0, False)


def test_broken_from_the_first_pull_and_holding():
    assert (
        judge(calibrated(16.0))
        .words()
        .headline.startswith(
            "Does not hold: the charge falls 1 K short of your 16 K knock margin already in the first pull; the worst, "
            "the sixth, 11 K short."
        )
    )
    held = judge(calibrated(2.0))
    assert held.holds
    assert held.words().headline == (
        f"Holds: the charge comes no nearer to knock than 5 K in pull 6, 3 K more than your 2 K margin. {KNOWN}"
    )
    assert held.limits[0].words() == "Knock margin in boost, at least 2 K: 5 K in pull 6, 3 K to spare."
    assert limit_row(held.limits[0], "si")[4] == "holds; lowest in pull 6"
    alone = judge(calibrated(12.0, peaks=(325.0,)))
    assert alone.words().headline.startswith(
        "Does not hold: the charge falls 2 K short of your 12 K knock margin; first"
    )


def test_beyond_the_model_a_margin_is_only_a_bound():
    """24 deg where 4 deg just knock at 303 K: the charge would have to be colder than the model's 210 K."""
    forecast = calibrated(8.0)
    cold = replace(
        forecast.build.engine,
        spark=((50.0, math.radians(24.0)), (120.0, math.radians(24.0))),
        knock_intake=303.15,
        knock_spark=math.radians(4.0),
    )
    forecast = replace(forecast, build=replace(forecast.build, engine=cold))
    verdict = judge(forecast)
    (limit,) = verdict.limits
    assert limit.only_bound
    assert verdict.knock is not None
    assert verdict.knock.margins is not None
    assert verdict.knock.margins.temperature is None
    assert (limit.where, limit.peak_time) == (verdict.knock.worst.where, verdict.knock.worst.time)
    assert limit.value == pytest.approx(210.0 - verdict.knock.worst.T, abs=1e-6)  # 330 K at the worst
    assert limit.words().startswith(
        "Knock margin in boost, at least 8 K: less than -120 K in pull 6, short by more than 128 K, first at"
    )
    headline = verdict.words().headline
    assert "the charge falls more than" in headline
    assert "short of your 8 K knock margin already in the first pull; the worst is the sixth." in headline
    assert limit_row(limit, "si")[2:4] == ("less than -120 K", "more than 128 K short")
    assert not judge(calibrated(8.0)).limits[0].only_bound


def test_not_judged_without_a_known_point_or_without_boost():
    spec = LimitSpec(quantity="margin", at_least=8.0)
    plain = judge_limit(made.forecast(), spec)
    assert plain.holds is None
    assert "known knock-limited point" in plain.why_not
    forecast = calibrated(8.0)
    quiet = replace(forecast, plenum_pressure=np.full(len(forecast.time), 90e3))
    assert judge_limit(quiet, spec).why_not == "boost is never reached in this session"
    assert judge(quiet).words().limits[0] == (
        "Knock margin in boost, at least 8 K: not judged, boost is never reached in this session."
    )


def test_proposed_limits_are_not_called_yours():
    forecast = made.forecast(limits=(made.limit("intake", 327.15),))
    forecast = replace(forecast, session=replace(forecast.session, proposed=True))
    words = judge(forecast).words().headline
    assert "the fifth goes 1 K over the proposed 54 degC limit" in words
    assert "your" not in words
    # limits given beside the session are the user's again
    assert "your" in judge(forecast, [made.limit("intake", 327.15)]).words().headline


def test_consistency_tells_a_margin_the_right_way_round():
    limit = LimitSpec(quantity="margin", at_least=8.0)
    for seconds, settled, said in (
        (30.0, 4.0, "The charge falls short of the proposed 8 K knock margin after 30 s of it."),
        (0.0, 4.0, "The charge is short of the proposed 8 K knock margin from the start."),
        (None, 12.0, "The charge never falls short of the proposed 8 K knock margin: it settles 12 K from knock."),
        (None, 7.0, "The charge keeps the proposed 8 K knock margin for 15 min, and not later."),
    ):
        found = told.Consistency(
            noun="pull",
            repeat_noun="pull",
            resting="idling",
            start="ambient",
            peaks=(),
            spread_over_ambient=None,
            spread_power=None,
            settling=told.Settling(60.0, 330.0, seconds),
            held=(told.Held(limit, "the charge", seconds, settled),),
            rest=None,
            afternoon=None,
            loops=(),
            simulations=1,
            whose="the proposed",
        )
        assert found.words()[1] == said
        assert told.consistency_json(found)["held"][0]["at_least_K"] == 8.0
