"""The worst moment: that of the limit told, by hand on made pulls and where the air cools over a real session."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from coldside.build.files import load_build
from coldside.duty.model import LimitSpec, ReadingSpec, Session
from coldside.duty.phases import load_session
from coldside.explore.failures import failures, worst_stretch
from coldside.judge.consistency import alike_sets
from coldside.judge.heat import moment_words
from coldside.judge.power import boost_in_runs
from coldside.judge.reasons import hot_before_start
from coldside.judge.summary import forecast_json
from coldside.judge.verdict import judge, judge_limit
from coldside.judge.worst import at_worst, worst_sample
from coldside.plant.forecast import at_moment, simulate
from coldside.plant.results import Forecast
from coldside.sheet.answer import answer
from judge import made

EXAMPLES = Path(__file__).parents[2] / "examples"
OVER = LimitSpec(quantity="over_ambient", at_most=25.0)
INTAKE = LimitSpec(quantity="intake", at_most=330.0)


def falling(*limits: LimitSpec) -> Session:
    """Six dyno pulls while the shade cools from 31 to 9 degC."""
    session = load_session(EXAMPLES / "sessions" / "dyno-pulls.toml")
    return replace(session, limits=limits, readings=(ReadingSpec(at=1450.0, temperature=282.15),))


@cache
def evening() -> Forecast:
    return simulate(load_build(EXAMPLES / "tern" / "water.toml"), falling(OVER))


@cache
def passes(*limits: LimitSpec) -> Forecast:
    """Four standing passes of a car whose burnouts, on hot plenum walls, are warmer than its passes."""
    session = load_session(EXAMPLES / "sessions" / "standing-passes.toml")
    build = load_build(EXAMPLES / "godwit" / "hybrid.toml")
    return simulate(build, replace(session, limits=limits))


def pull_of(forecast: Forecast, sample: int) -> str:
    return next(span.label for span in forecast.demand.spans if span.first <= sample <= span.last)


def test_each_limit_has_its_own_moment_on_made_pulls():
    """Peaks rise by 2 K a pull, air by 5 K: the intake is worst in the last, over ambient in the first; the coolant
    rises all along, so it is worst when the last boost ends."""
    base = made.forecast()
    air = made.AMBIENT + np.linspace(0.0, 25.0, len(base.time))
    base = replace(base, demand=replace(base.demand, ambient_temperature=air))
    pulls = made.pull_samples(base.demand.spans)
    assert base.peak == worst_sample(base, [INTAKE]) == pulls[5].stop - 1
    assert worst_sample(base, [OVER]) == pulls[0].stop - 1
    assert worst_sample(base, [LimitSpec(quantity="coolant", at_most=320.0, during="always")]) == pulls[5].stop - 1
    # of several: the first to give, else the nearest
    assert worst_sample(base, [INTAKE, replace(OVER, at_most=19.0)]) == pulls[0].stop - 1  # 20 K in pull 1
    assert worst_sample(base, [replace(INTAKE, at_most=331.0), replace(OVER, at_most=40.0)]) == pulls[5].stop - 1
    assert worst_sample(base, [replace(INTAKE, at_most=360.0), replace(OVER, at_most=21.0)]) == pulls[0].stop - 1
    # what a limit breaks by out of boost is no moment of a pull
    soaked = replace(base, sensor=np.where(base.boost, base.intake - 20.0, 400.0))
    always = LimitSpec(quantity="sensor", at_most=350.0, during="always")
    assert worst_sample(soaked, [always, replace(OVER, at_most=21.0)]) == pulls[0].stop - 1
    # nothing with a moment, nothing judged, no boost: the hottest intake
    assert worst_sample(base, []) == worst_sample(base, [LimitSpec(quantity="spread", at_most=0.1)]) == base.peak
    assert worst_sample(replace(base, sensor=None), [LimitSpec(quantity="sensor", at_most=330.0)]) == base.peak
    still = replace(base, plenum_pressure=np.full_like(base.plenum_pressure, 0.5 * made.PRESSURE))
    assert worst_sample(still, [OVER]) == base.peak


def test_a_burnout_is_no_worst_moment_where_a_run_has_boost():
    """Against the trace, read by the spans' labels: the limit counts the burnout, the worst moment is in a pass."""
    limit = replace(INTAKE, at_most=338.15)
    forecast = passes(limit)
    result = judge_limit(forecast, limit)
    assert (result.where, forecast.time[forecast.peak]) == ("round 4 burnout", result.peak_time)
    runs = np.zeros(len(forecast.time), dtype=bool)
    for span in forecast.demand.spans:
        if not any(word in span.label for word in ("burnout", "launch", "staging")):
            runs[span.first : span.last + 1] = True
    hottest = int(np.argmax(np.where(runs & forecast.boost, forecast.intake, -np.inf)))
    assert worst_sample(forecast) == worst_sample(forecast, []) == hottest
    assert pull_of(forecast, hottest) == "round 4 pass"
    # said where the two differ, and only there
    told = replace(forecast, moment=hottest)
    (sentence,) = hot_before_start(told)
    assert sentence.words().startswith("In boost the intake is hottest in round 4 burnout (1:30:")
    assert hot_before_start(evening()) == hot_before_start(made.forecast()) == []
    # the verdict names the burnout and no round, the rounds' own peaks are told without it
    line = judge(forecast, [limit], with_knock=False).words().headline
    assert "the intake peaks at 57 degC in round 4 burnout" in line
    (sets, looked_into) = alike_sets(forecast, hottest)
    assert (looked_into, sets[0].without) == (0, ("burnout", "launch"))
    assert max(sets[0].peaks) == forecast.intake[hottest] < result.value
    # a limit that the burnout breaks first is not told of the pass
    broken = judge(forecast, [replace(limit, at_most=result.value - 0.1)], with_knock=False).words().headline
    assert "already in" not in broken
    assert "(round 4 burnout)" in broken
    # what dies, dies when the pass comes into boost
    (start,) = {one.at for one in failures(forecast).cases}
    (begins,) = (span.first for span in forecast.demand.spans if span.label == "round 4 pass")
    assert start == pytest.approx(float(forecast.time[begins]), abs=0.5)  # s, a sample of the coarse march
    # where no timed run has boost all of it counts
    assert (boost_in_runs(made.forecast()) == made.forecast().boost).all()
    untimed = replace(forecast, demand=replace(forecast.demand, runs=()))
    assert worst_sample(untimed) == forecast.peak


def test_a_ladder_told_again_at_its_own_moment_is_the_same_to_the_last_bit():
    """The state marched to again is the one that the whole march kept."""
    forecast = evening()
    moved = at_moment(forecast, forecast.peak - 40)
    assert moved.ladder != forecast.ladder
    back = at_moment(moved, forecast.peak)
    assert back.ladder == forecast.ladder
    assert back.face_spread == forecast.face_spread
    assert at_moment(forecast, forecast.peak) is forecast


def test_where_the_air_cools_a_limit_over_ambient_is_worst_late():
    forecast = at_worst(evening())
    over = forecast.intake - forecast.demand.ambient_temperature
    worst = int(np.argmax(np.where(forecast.boost, over, -np.inf)))
    assert (pull_of(forecast, forecast.peak), pull_of(forecast, worst)) == ("pull 3", "pull 6")
    assert forecast.worst == worst
    # the rungs are the way from the charge in the cores to the air of that moment: both cores alike, so that the
    # charge lies between what enters and what leaves them
    whole = sum(rung.drop for rung in forecast.ladder)
    air = forecast.demand.ambient_temperature[worst]
    enters, leaves = (float(of["left_core", "charge"][worst]) for of in (forecast.inlet, forecast.outlet))
    assert leaves < air + whole < enters
    assert abs(air - forecast.demand.ambient_temperature[forecast.peak]) > 8.0
    assert forecast.ladder != evening().ladder


def test_everything_told_of_the_worst_moment_is_of_one_moment():
    """Limit, ladder, spread over the faces, what dies: all in the sixth pull, not in that of the hottest intake."""
    build = load_build(EXAMPLES / "tern" / "water.toml")
    forecast, verdict, asked = answer(build, falling(OVER))
    (limit,) = verdict.limits
    when = float(forecast.time[forecast.worst])
    assert limit.peak_time == when
    assert limit.where == "pull 6"
    assert moment_words(forecast) == "the worst moment"
    reasons = verdict.words().reasons
    assert any("at the worst moment: " in one for one in reasons)
    assert not any("hottest moment" in one for one in reasons)
    assert forecast_json(forecast, verdict)["worst_moment_s"] == when
    first, last = worst_stretch(forecast)
    assert forecast.time[first] <= when <= forecast.time[last]
    assert asked.failures is not None
    assert pull_of(forecast, last) == "pull 6"
    assert all(abs(one.at - forecast.time[first]) < 0.5 for one in asked.failures.cases)
    # a limit on the intake itself on the same evening: the hottest, and so called
    hot = answer(build, falling(INTAKE))[0]
    assert hot.worst == hot.peak
    assert moment_words(hot) == "the hottest moment"
    begins = float(hot.time[worst_stretch(hot)[0]])
    assert pull_of(hot, worst_stretch(hot)[1]) == "pull 3"
    assert all(abs(one.at - begins) < 0.5 for one in failures(hot).cases)  # s, a sample of the coarse march
