"""Verdicts: limits and times against hand-worked answers, and every headline's text whole."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import coldside.judge
from coldside.build.model import Loop
from coldside.judge.sureness import chance_words
from coldside.judge.verdict import judge, judge_limit, limited_trace, seconds_above
from judge import made

EXACT = 1e-9  # closed forms: only round-off


def said(forecast, system="si", **options):
    return judge(forecast, **options).words(system).headline


def test_holds_says_the_nearest_limit():
    limits = (made.limit("intake", 333.15), made.limit("over_ambient", 50.0), made.limit("spread", 0.5))
    verdict = judge(made.forecast(limits=limits))
    assert verdict.holds
    assert verdict.words("si").headline == "Holds: the hottest pull peaks at 57 degC, 3 K under your 60 degC limit."
    assert (
        verdict.words("us").headline == "Holds: the hottest pull peaks at 134 degF, 6 degF under your 140 degF limit."
    )
    assert verdict.words("si").limits == (
        "Intake in boost, at most 60 degC: 57 degC in pull 6, 3 K to spare.",
        "Intake over ambient in boost, at most 50 K: 30 K in pull 6, 20 K to spare.",
        "Spread of repeats, at most 50 %: 40 %, 10 points to spare.",
    )


def test_holds_without_repeats():
    one = made.forecast(peaks=(320.0,), limits=(made.limit("sensor", 323.15),))
    assert said(one) == "Holds: the intake sensor peaks at 42 degC in pull 1, 8 K under your 50 degC limit."


def test_gives_in_the_fifth_pull():
    # peaks 320 ... 330 K by 2 K; 327.15 K is passed first in pull 5 (328 K); 0.47 s over it there, 1.43 s in pull 6
    forecast = made.forecast(limits=(made.limit("intake", 327.15),))
    verdict = judge(forecast)
    assert not verdict.holds
    assert said(forecast) == (
        "Does not hold: the first four pulls do, the fifth goes 1 K over your 54 degC limit; the worst, the sixth, "
        "3 K over. "
        "First over it at 4:10 into the session, 1.9 s in all."
    )
    (limit,) = verdict.limits
    assert limit.margin == pytest.approx(-2.85, rel=EXACT)
    assert (limit.where, limit.first_where) == ("pull 6", "pull 5")
    # 310 + 18 t/10 = 327.15 at t = 9.53 s into pull 5, which starts at 240 s; the next sample is 249.6 s
    assert limit.first_broken == pytest.approx(249.6, rel=EXACT)
    # above it: 10 - 9.527... s and 10 - 8.575 s, and down to 310 K within one interval after each pull, half of
    # which counts; the last pull ends the session
    tail = 0.5 * 0.1 * 0.85 / 18.0
    assert limit.seconds_over == pytest.approx(10.0 - 171.5 / 18.0 + tail + 10.0 - 8.575, rel=EXACT)


def test_gives_at_once():
    forecast = made.forecast(limits=(made.limit("intake", 315.15),))
    assert said(forecast) == (
        "Does not hold: the intake goes 5 K over your 42 degC limit already in the first pull; "
        "the worst, the sixth, 15 K over. First over it at 0:05 into the session, 38 s in all."
    )


def test_only_the_last_gives():
    forecast = made.forecast(limits=(made.limit("intake", 329.0),))
    assert said(forecast, "us").startswith(
        "Does not hold: the first five pulls do, the sixth goes 2 degF over your 132.5 degF limit. First"
    )


def test_less_than_a_degree_is_said_as_such():
    forecast = made.forecast(limits=(made.limit("intake", 329.9),))
    assert "the sixth goes less than 1 K over your 56.8 degC limit." in said(forecast)


def test_a_group_is_called_by_its_name():
    forecast = made.forecast(limits=(made.limit("intake", 327.15),))
    forecast = replace(forecast, session=replace(forecast.session, groups={"lap": 6}))
    assert said(forecast).startswith("Does not hold: the first four laps do, the fifth goes")


def test_a_limit_that_always_counts_names_time_and_phase():
    # coolant 302 K + t/30: passes 310 K at 240 s, where the fourth rest ends; ends at 302 + 310/30
    forecast = made.forecast(limits=(made.limit("coolant", 310.0, "always"), made.limit("intake", 320.0)))
    assert said(forecast) == (
        "Does not hold: the first pull does, the second goes 2 K over your 46.9 degC limit; the worst, the sixth, "
        "10 K over. "
        "First over it at 1:08 into the session, 18 s in all. Broken too: coolant."
    )
    alone = judge(forecast, limits=(made.limit("coolant", 310.0, "always"),))
    assert alone.words().headline == (
        "Does not hold: the coolant of loop charge goes 2 K over your 36.9 degC limit; "
        "first at 4:00 into the session (pull 5), 70 s in all."
    )
    (limit,) = alone.limits
    assert limit.seconds_over == pytest.approx(70.0, rel=1e-6)  # 310 K is met at a sample but for round-off
    assert limit.value == pytest.approx(302.0 + 310.0 / 30.0, rel=EXACT)


def test_the_hottest_loop_counts():
    base = made.forecast(limits=(made.limit("coolant", 340.0),))
    hot = {**base.coolant_in_cores, "second": np.full_like(base.time, 339.0)}
    loops = {**base.build.loops, "second": Loop("second", "water", ("core",))}
    (limit,) = judge(replace(base, coolant_in_cores=hot, build=replace(base.build, loops=loops))).limits
    assert limit.value == 339.0


def test_spread_takes_the_worse_of_temperature_and_power():
    base = made.forecast(limits=(made.limit("spread", 0.15),))
    assert said(base) == "Does not hold: the repeats' peaks over the air outside differ by 40 %, your limit is 15 %."
    even = made.forecast(peaks=(320.0, 320.0), limits=(made.limit("spread", 0.15),))
    watts = even.power.copy()
    watts[: round(made.PULL / made.STEP) + 1] = 150e3
    assert said(replace(even, power=watts)).startswith("Does not hold: the repeats' mean powers differ by 67 %")
    assert said(even) == "Holds: the repeats' peaks over the air outside differ by 0 %, your limit is 15 %."


def test_a_broken_spread_still_says_how_near_the_temperature_is():
    base = made.forecast(limits=(made.limit("spread", 0.15), made.limit("intake", 333.15)))
    assert said(base).endswith("your limit is 15 %. The hottest pull peaks at 57 degC, 3 K under your 60 degC limit.")
    one = made.forecast(peaks=(320.0, 340.0), limits=(made.limit("spread", 0.15), made.limit("sensor", 340.0)))
    assert said(one).endswith("The intake sensor peaks at 62 degC in pull 2, 5 K under your 66.9 degC limit.")


def test_temperatures_are_told_before_spread():
    base = made.forecast(limits=(made.limit("spread", 0.41), made.limit("intake", 350.0)))
    assert said(base).startswith("Holds: the hottest pull peaks at 57 degC")


def test_no_limit():
    assert said(made.forecast()) == (
        "No limit was given: the intake peaks at 57 degC, 30 K over ambient, in pull 6 at 5:10 into the session."
    )
    assert judge(made.forecast()).holds


def test_limits_of_a_file_replace_the_sessions():
    forecast = made.forecast(limits=(made.limit("intake", 300.0),))
    assert not judge(forecast).holds
    assert judge(forecast, limits=(made.limit("intake", 350.0),)).holds
    assert said(forecast, limits=()).startswith("No limit was given")


def test_what_cannot_be_judged_neither_holds_nor_breaks():
    limits = (made.limit("coolant", 300.0), made.limit("sensor", 300.0), made.limit("spread", 0.1))
    bare = replace(made.without_loops(made.forecast(peaks=(320.0,), limits=limits)), sensor=None)
    verdict = judge(bare)
    assert verdict.holds
    assert [limit.holds for limit in verdict.limits] == [None, None, None]
    assert verdict.words().limits == (
        "Coolant in boost, at most 26.9 degC: not judged, no coolant loop serves a charge core.",
        "Intake sensor in boost, at most 26.9 degC: not judged, no intake sensor is fitted.",
        "Spread of repeats, at most 10 %: not judged, it takes at least two repeats that reach boost.",
    )
    assert verdict.words().headline.startswith("None of the limits given can be judged on this session and build: ")


def test_never_in_boost():
    calm = made.forecast(limits=(made.limit("intake", 300.0),))
    calm = replace(calm, plenum_pressure=np.full_like(calm.time, 40e3))
    (limit,) = judge(calm).limits
    assert (limit.holds, limit.why_not) == (None, "boost is never reached in this session")


def test_exactly_at_the_limit_holds():
    # the glossary says at most
    assert judge(made.forecast(limits=(made.limit("intake", 330.0),))).holds


def test_bands_are_said():
    words = said(made.forecast(limits=(made.limit("intake", 333.15),)), bands={"intake_max": (326.15, 330.0, 334.15)})
    assert words.endswith("The peak of the intake is likely 53 to 61 degC.")


@given(st.floats(280.0, 340.0), st.floats(280.0, 340.0))
def test_a_higher_limit_never_holds_less(one, other):
    low, high = sorted((one, other))
    forecast = made.forecast(peaks=(320.0, 330.0))
    strict, loose = (judge(forecast, limits=(made.limit("intake", at),)).limits[0] for at in (low, high))
    assert loose.holds or not strict.holds
    assert loose.seconds_over <= strict.seconds_over
    assert loose.margin - strict.margin == pytest.approx(high - low, abs=1e-9)


def test_seconds_above_of_a_triangle():
    # a triangle of height 1 over 2 s is above h for 2 (1 - h) s
    time = np.array([0.0, 1.0, 2.0])
    everywhere = np.ones(3, dtype=bool)
    for h in (0.0, 0.25, 0.9, 1.0):
        assert seconds_above(np.array([0.0, 1.0, 0.0]), h, everywhere, time) == pytest.approx(
            2.0 * (1.0 - h), abs=1e-12
        )


def test_the_package_is_also_the_function():
    forecast = made.forecast()
    assert coldside.judge(forecast).words() == judge(forecast).words()
    assert coldside.judge.verdict.judge is judge


def test_how_sure_a_limit_is_is_said_beside_it():
    """Chances are counted over draws, so they are said in tenths and never as certainty."""
    assert [chance_words(chance) for chance in (0.0, 0.04, 0.06, 0.5, 0.86, 0.94, 0.96, 1.0)] == [
        "less than 1 in 20", "less than 1 in 20", "1 in 10", "5 in 10", "9 in 10", "9 in 10",
        "more than 19 in 20", "more than 19 in 20",
    ]  # fmt: skip
    verdict = judge(
        made.forecast(limits=(made.limit("intake", 333.15),)),
        bands={"intake_max": (326.15, 330.0, 334.15), "limits.0": (326.15, 330.0, 334.15)},
        chances={"limits.0": 0.86, "all": 0.86},
    )
    words = verdict.words()
    assert words.limits[0].endswith("Likely 53 to 61 degC; the chance that it holds is 9 in 10.")
    assert words.headline.endswith(
        "The peak of the intake is likely 53 to 61 degC; the chance that every limit holds is 9 in 10."
    )
    assert (verdict.limits[0].band, verdict.limits[0].chance) == ((326.15, 330.0, 334.15), 0.86)
    assert judge(made.forecast(limits=(made.limit("intake", 333.15),))).limits[0].words().endswith("to spare.")


def test_a_limit_may_name_any_loop():
    """An engine's own loop counts where it leaves a part hottest: 302 K + 2 K a minute, 310.333 K after 310 s, less 1.

    The pulls end after 310 s: six of 10 s and five rests of 50 s.
    """
    base = made.forecast()
    parts = {name: spec for name, spec in base.build.parts.items() if name != "core"}
    own = replace(base, build=replace(base.build, parts=parts))
    limit = replace(made.limit("coolant", 309.0, "always"), loop="charge")
    found = judge_limit(own, limit)
    assert (found.name, found.subject, found.holds) == ("coolant of loop charge", "the coolant of loop charge", False)
    assert found.value == pytest.approx(302.0 + 310.0 / 30.0 - 1.0, rel=EXACT)
    # a loop with charge cores: what flows into them, which is 1 K more here
    assert judge_limit(base, limit).value == pytest.approx(302.0 + 310.0 / 30.0, rel=EXACT)
    wrong = judge_limit(base, replace(limit, loop="charg"))
    assert (wrong.holds, wrong.why_not) == (None, 'the build has no loop "charg"; nearest: "charge"')


def test_a_limit_on_coolant_is_not_of_the_engines_own_loops():
    """With the charge core cooled by air the loop that is left is the engine's: judged only where it is named."""
    base = made.forecast()
    parts = {name: spec for name, spec in base.build.parts.items() if name != "core"}
    trace, _, why_not = limited_trace(replace(base, build=replace(base.build, parts=parts)), "coolant")
    assert trace is None
    assert why_not.startswith("no coolant loop serves a charge core; an engine's own loop is judged where a")
