"""Consistency: rows that near their end, re-running against longer forecasts and steady points, the words."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coldside.build.files import load_build
from coldside.duty.demand import sample
from coldside.duty.model import LimitSpec, PhaseSpec
from coldside.duty.phases import load_session
from coldside.judge import consistency as module
from coldside.judge import trials
from coldside.judge.consistency import MOST_RESTS, UNLIMITED, consistency, kept_runs, settled_value
from coldside.judge.consistency_words import (
    Afternoon,
    Alike,
    Consistency,
    Held,
    KnockSpeed,
    Rest,
    Settling,
    TankOrExchanger,
    consistency_json,
)
from coldside.judge.power import repeats
from coldside.judge.verdict import judge_limit
from coldside.parts.engine import RPM
from coldside.plant.forecast import simulate
from coldside.plant.steady import operating_point
from generators import session_of
from judge import made

INTAKE = LimitSpec(quantity="intake", at_most=323.15, during="boost")


@given(st.floats(-50, 50), st.floats(0.1, 80), st.floats(0.05, 0.95))
def test_a_geometric_row_ends_where_it_ends(end, size, q):
    """x_k = end - size q^k: three of them give the end (Aitken's process is exact here)."""
    assert settled_value(*(end - size * q**k for k in range(3))) == pytest.approx(end, abs=1e-6)


def test_a_row_that_swings_or_grows_is_taken_as_it_stands():
    assert settled_value(1.0, 3.0, 2.0) == 2.0
    assert settled_value(1.0, 2.0, 4.0) == 4.0
    assert settled_value(2.0, 2.0, 2.0) == 2.0


@given(st.floats(-30, 30), st.floats(0.5, 60), st.floats(0.05, 0.95))
def test_runs_kept_are_those_of_the_row_written_out(end, size, q):
    """Margins fall geometrically to `end`: count the ones at or above 0, to 10000."""
    row = end + size * q ** np.arange(10000)
    if abs(row).min() < 1e-6:  # on the limit itself rounding decides
        return
    broken = np.flatnonzero(row < 0.0)
    told = int(broken[0]) if broken.size else UNLIMITED
    assert kept_runs(row[:3].tolist()) == kept_runs(row[:6].tolist()) == told


def test_runs_are_carried_on_by_the_last_of_a_row():
    """A row that falls evenly breaks where the line does; the metal's quick warming at first does not hide the tank's
    slow one (margins of 50 degC to peaks of fourteen passes over a large chilled tank: the ninth is over)."""
    assert kept_runs([10.0, 9.0, 8.0]) == 11
    assert kept_runs([10.0, 9.0, 7.0]) == 6
    assert kept_runs([10.0, 9.0, 9.0]) == kept_runs([10.0, 9.0, 9.5]) == kept_runs([9.0, 9.5, 9.4]) == UNLIMITED
    row = [18.24, 11.99, 8.17, 5.51, 3.36, 1.73, 0.42, -0.41, -1.02]
    assert kept_runs(row[:3]) == UNLIMITED  # what three runs would say
    assert kept_runs(row[:6]) == pytest.approx(7, abs=1)
    scattered = [13.43, 12.37, 11.93, 11.48, 11.36, 11.24]  # runs that settle, each known to a tenth
    assert kept_runs(scattered) == UNLIMITED


@pytest.mark.slow
def test_a_large_chilled_tank_is_not_taken_for_settled(examples: Path):
    """Passes with short rests warm a chilled tank of 10 US gal for a quarter of an hour: what an afternoon is said to
    hold, eighteen runs made here hold."""
    session = replace(
        session_of(PhaseSpec(kind="pass", distance=402.336, repeat=2, rest=60.0, return_speed=60.0 / 3.6)),
        limits=(INTAKE,),
    )
    build = load_build(examples / "dunlin" / "build.toml")
    found = consistency(simulate(build, session)).afternoon
    made = simulate(build, trials.run_after_run(session, trials.run_of(session), found.rest, 18))
    row = [float(made.intake[own[made.boost[own]]].max()) for own in trials.samples_of_runs(made)]
    kept = next((k for k, peak in enumerate(row) if peak > INTAKE.at_most + 0.5), 18)
    assert kept >= min(found.runs, 18)


def test_full_load_without_a_break_settles_where_the_steady_point_does(examples: Path):
    """15 min at full load carried on by Aitken's process against `operating_point`, which knows no time: 0.5 K, and
    twice the tank settles alike though it takes longer (loop note b2: no tank mass in the settled state)."""
    build = load_build(examples / "dunlin" / "build.toml")
    drive = PhaseSpec(kind="cruise", speed=35.0, engine_speed=5000 * RPM, load=1.0, duration=8.0)
    forecast = simulate(build, replace(session_of(drive), limits=(INTAKE,)))
    found = consistency(forecast)
    point = operating_point(build, session=trials.held_at_full_load(forecast, None, 900.0), at="END")
    assert found.settling.settled == pytest.approx(point.intake, abs=0.5)
    (loop,) = found.loops
    assert loop.larger_tank.settled == pytest.approx(loop.own.settled, abs=0.5)
    assert loop.larger_tank.nearly > 1.4 * loop.own.nearly
    assert loop.larger_tank.seconds > 1.3 * loop.own.seconds
    assert loop.second_exchanger.settled < loop.own.settled - 5.0
    (limit,) = found.held
    assert 5.0 < limit.seconds < 300.0
    assert (found.rest, found.afternoon, found.simulations) == (None, None, 3)  # a drive is no run


@pytest.mark.slow
def test_rest_and_runs_hold_in_longer_forecasts(examples: Path):
    """The rest found is enough and three quarters of it are not; what an afternoon is said to hold, twelve runs hold,
    and where it is said to break, it breaks at the run named (all with forecasts made here, run by run)."""
    session = load_session(examples / "sessions" / "dyno-pulls.toml")
    for name in ("plover/build", "siskin/blown"):  # one rests until the next is alike, the other never does
        build = load_build(examples / f"{name}.toml")
        found = consistency(simulate(build, session))
        run = trials.run_of(session)

        def peaks(rest: float, count: int, build=build, run=run) -> list[float]:
            made = simulate(build, trials.run_after_run(session, run, rest, count))
            return [float(made.intake[own[made.boost[own]]].max()) for own in trials.samples_of_runs(made)]

        assert found.simulations <= 1 + MOST_RESTS + 2
        if found.rest.seconds is not None:
            enough, short = peaks(found.rest.seconds, 2), peaks(0.75 * found.rest.seconds, 2)
            assert enough[1] - enough[0] <= found.rest.within
            assert short[1] - short[0] > found.rest.within
        else:
            best = peaks(found.rest.best, 2)
            assert best[1] - best[0] - found.rest.within == pytest.approx(found.rest.excess, abs=0.01)
        row = peaks(found.afternoon.rest, 12)
        if found.afternoon.endless:
            assert max(row) <= session.limits[0].at_most
        else:
            assert sum(peak <= session.limits[0].at_most for peak in row) == found.afternoon.runs


def test_a_session_that_never_boosts_has_its_repeats_only(examples: Path):
    build = load_build(examples / "plover" / "build.toml")
    found = consistency(simulate(build, session_of(PhaseSpec(kind="idle", duration=20.0))))
    assert (found.settling, found.held, found.rest, found.afternoon, found.loops, found.simulations) == (
        None, (), None, None, (), 0,
    )  # fmt: skip
    assert found.words() == ()


# ---------------------------------------------------------------- words

COOLED = TankOrExchanger(
    "charge", ("tank",), ("nose_hx",), Settling(150.0, 358.15, 40.0), Settling(280.0, 358.25, 78.0),
    Settling(90.0, 338.15, None),
)  # fmt: skip
FOUND = Consistency(
    noun="pull",
    repeat_noun="pull",
    resting="idling",
    start="ambient",
    peaks=(320.0, 322.0, 323.0),
    spread_over_ambient=0.11,
    spread_power=0.012,
    settling=COOLED.own,
    held=(Held(INTAKE, "the intake", 40.0, 358.15),),
    rest=Rest(2.0, 250.0, -1.0, 1800.0, 60.0),
    afternoon=Afternoon(14400.0, 40, 349.0, 11.0, True),
    loops=(COOLED,),
    simulations=14,
    sets=(Alike("pull", (320.0, 322.0, 323.0), 0.11, 0.012),),
)


def test_words():
    assert FOUND.words() == (
        (
            "Three pulls: the intake peaks at 47 degC to 50 degC; over the air outside they differ by 11 %, "
            "power by 1.2 %."
        ),
        (
            "At full load without a break, started cold, the intake settles at 85 degC; nine tenths of the way are "
            "done after 2 min 30 s."
        ),
        "The intake passes your 50 degC limit after 40 s of it.",
        (
            "Twice the coolant in tank buys time: nine tenths of the way after 4 min 40 s instead of 2 min 30 s, the "
            "limit after 78 s instead of 40 s; the intake settles at 85 degC all the same."
        ),
        (
            "With a second one beside nose_hx, in a duct of its own, the intake settles at 65 degC instead of 85 degC, "
            "the limit not within 15 min instead of after 40 s: for more than a few runs only heat given to the air "
            "counts."
        ),
        "A second pull peaks within 2 K of the first, made right from a cold start, after 4 min 10 s of idling.",
        (
            "As far as heat goes, 4 h have room for 40 pulls within your limit on the intake, with 5 min 49 s of "
            "idling between."
        ),
    )
    assert "185 degF" in FOUND.words("us")[1]
    moving = replace(FOUND, air=308.15)
    assert moving.words()[1] == (
        "What follows is in air that stays at 35 degC, as at the session's worst moment, from start to end."
    )
    assert (*moving.words()[:1], *moving.words()[2:]) == FOUND.words()


def test_words_where_nothing_helps():
    found = replace(
        FOUND,
        held=(Held(INTAKE, "the intake", None, 320.0), Held(INTAKE, "the intake", None, 330.0)),
        rest=Rest(2.0, None, 1.4, 180.0, 79.0),
        afternoon=Afternoon(14400.0, 2, 60.0, 11.0, False),
        loops=(replace(COOLED, own=Settling(3.0, 350.0, 0.0), larger_tank=Settling(3.0, 350.0, 0.0)),),
        left_out=("full load without a break with twice the coolant in tank: no balance",),
    )
    words = found.words()
    assert "The intake never passes your 50 degC limit: it settles at 47 degC." in words
    assert "The intake is under your 50 degC limit for 15 min, and passes it later." in words
    assert (
        "Twice the coolant in tank buys next to no time from such a start; the intake settles at 77 degC all the same."
        in words
    )
    assert (
        "No rest up to 30 min lets a second pull peak within 2 K of a first one right from a cold start: after 3 min "
        "it still peaks 3.4 K higher, after a longer one more; once all is warm, 79 s of idling are enough to keep one "
        "pull within 2 K of the one before."
    ) in words
    assert (
        "No more than two pulls stay within your limits on intake, right from a cold start; best with 60 s of idling "
        "between."
    ) in words
    assert words[-1] == "Not answered: full load without a break with twice the coolant in tank: no balance."
    warming = replace(found, afternoon=replace(found.afternoon, warming=True)).words()
    assert any(one.endswith("between: a longer rest warms the car more than it cools it.") for one in warming)
    none = replace(FOUND, afternoon=Afternoon(14400.0, 0, 60.0, 11.0, False)).words()
    assert none[-1] == (
        "Right from a cold start not even one pull stays within your limit on the intake, whatever the rest; the "
        "session's own does, after what lies before it."
    )


def test_json_is_plain_and_carries_its_units():
    block = consistency_json(FOUND)
    assert block["rest"] == {"within_K": 2.0, "needed_s": 250.0, "going_s": 60.0, "best_s": 1800.0, "excess_K": -1.0}
    assert block["afternoon"]["runs"] == 40
    assert block["loops"]["charge"]["second_exchanger"] == {"nearly_s": 90.0, "settled_K": 338.15, "limit_s": None}
    assert block["sentences"] == list(FOUND.words())


# ---------------------------------------------------------------- a limit on the knock margin

LOW, HIGH = 3500 * RPM, 6000 * RPM


def two_speeds(limits: tuple[LimitSpec, ...]):
    """Full load for a while at either speed, a drive without runs."""
    phases = [
        PhaseSpec(kind="cruise", speed=n / LOW * 20.0, engine_speed=n, load=1.0, duration=8.0) for n in (LOW, HIGH)
    ]
    return replace(session_of(*phases), limits=limits)


def test_a_knock_margin_is_held_at_the_speed_where_it_bites(examples: Path):
    """Against the verdict on a forecast made here, held at that speed; at the mean speed the same limit holds for
    longer.  What the mean leaves in the charge: against `operating_point`, which knows no time."""
    build = load_build(examples / "siskin" / "blown.toml")
    margin = LimitSpec(quantity="margin", at_least=14.0)
    forecast = simulate(build, two_speeds((margin,)))
    found = consistency(forecast)
    assert found.knock.engine_speed == pytest.approx(LOW, rel=0.01)
    assert found.speed == found.knock.engine_speed
    held = {n: simulate(build, trials.held_at_full_load(forecast, None, 900.0, n)) for n in (LOW, found.knock.mean)}
    results = {n: judge_limit(one, margin) for n, one in held.items()}
    (limit,) = found.held
    assert limit.seconds is not None
    assert limit.seconds == pytest.approx(results[LOW].first_broken, abs=0.2)  # s, two samples
    assert limit.settled == pytest.approx(results[LOW].value, abs=0.5)
    later = results[found.knock.mean].first_broken
    assert later is None or later > 1.5 * limit.seconds
    steady = [operating_point(build, session=one.session, at="END").intake for one in held.values()]
    assert found.knock.warmer == pytest.approx(steady[1] - steady[0], abs=0.7)
    assert found.words()[0].startswith("At full load without a break, held at 3500 rpm, where knock is nearest, ")
    assert (
        f"settles {found.knock.warmer:.0f} K warmer than at 3500 rpm: let down to 3500 rpm from there"
        in found.words()[2]
    )
    # beside a limit on temperature full load is held at the mean, the margin is judged as before
    both = consistency(replace(forecast, session=replace(forecast.session, limits=(INTAKE, margin))))
    assert both.speed == both.knock.mean
    assert [one.limit.quantity for one in both.held] == ["intake", "margin"]
    assert both.held[1].seconds == limit.seconds
    assert (
        "Held at 3500 rpm, where knock is nearest, the charge falls short of your 14 K knock margin after"
        in " ".join(both.words())
    )
    assert consistency_json(both)["knock_judged_at"]["engine_speed_rpm"] == pytest.approx(3500.0, rel=0.01)


def test_a_limit_that_the_session_breaks_and_full_load_does_not_says_why():
    never = Held(INTAKE, "the intake", None, 320.0, passed=True)
    assert replace(FOUND, held=(never,)).words()[2] == (
        "The intake never passes your 50 degC limit: it settles at 47 degC; the session does all the same, at other "
        "speeds or warm from what came before."
    )
    last = replace(FOUND, held=(never,)).words()[-1]
    assert last.endswith("; the session breaks it all the same, by what lies before its runs or by longer rests.")
    over = Held(LimitSpec(quantity="over_ambient", at_most=30.0), "the intake", None, 23.0)
    assert replace(FOUND, held=(over,)).words()[2] == (
        "The intake never passes your limit of 30 K over ambient: it settles 23 K over ambient."
    )
    again = replace(FOUND.sets[0], noun="climb again")
    assert replace(FOUND, sets=(again,)).words()[0].startswith("Three times climb again: the intake peaks")


def test_rounds_are_counted_with_all_that_they_hold(examples: Path):
    """A round of 6 min in the queue, a pass, 90 s back and 20 min in the paddock: 27.5 min and the pass itself, so that
    eight begin and end in 4 h.  What is tried with shorter rests is called runs."""
    build = load_build(examples / "plover" / "build.toml")
    session = load_session(examples / "sessions" / "standing-passes.toml")
    demand = sample(session, build)
    length = module._round(replace(made.forecast(), time=demand.time, demand=demand), 0)
    assert length == pytest.approx(27.5 * 60.0 + float(demand.runs[0].time) + 8.0, abs=30.0)  # s; braking the rest
    run = trials.run_of(session)
    found = replace(FOUND, noun=run.noun, part=run.part, repeat_noun="round", round=length)
    words = found.words()
    assert words[-3].startswith(
        "A run here means pass and return road alone; with all that it holds one round of the session takes 28 min"
    )
    assert words[-3].endswith("s, and 4 h have room for eight rounds like it.")
    assert "4 h have room for 40 runs within" in words[-1]
    assert replace(found, round=None).words()[-3] == "A run here means pass and return road alone."
    assert replace(found, round=15000.0).words()[-3] == "A run here means pass and return road alone."


def test_what_the_session_breaks_is_what_the_verdict_says():
    """A sensor that soaks between pulls: broken where the limit counts at all times, kept where it counts in boost.
    Not even one run within the limit, and the verdict says broken: nothing claims that the session's own keeps it."""
    base = made.forecast()
    soaked = replace(base, sensor=np.where(base.boost, 325.0, 361.0))
    always = LimitSpec(quantity="sensor", at_most=358.15, during="always")
    for spec in (always, replace(always, during="boost")):
        passed = module._passed(soaked, spec)
        assert passed is (judge_limit(soaked, spec).holds is False) is (spec.during == "always")
        held = Held(spec, "the intake sensor", 0.0, 340.0, passed)
        last = replace(FOUND, held=(held,), afternoon=Afternoon(14400.0, 0, 60.0, 11.0, False)).words()[-1]
        assert ("the session's own does" in last) is (not passed)


def test_a_margin_beside_another_limit_names_the_speed_where_it_was_judged():
    margin = Held(LimitSpec(quantity="margin", at_least=8.0), "the charge", None, 10.0)
    words = replace(FOUND, held=(margin,), speed=5000 * RPM, knock=KnockSpeed(3480 * RPM, 5000 * RPM, 2.6)).words()
    assert words[1].startswith("At full load without a break, held at 5000 rpm, the mean of its boost, started cold,")
    assert words[2] == (
        "Held at 3500 rpm, where knock is nearest, the charge never falls short of your 8 K knock margin: it settles "
        "10 K from knock."
    )
    assert words[3] == (
        "At 5000 rpm, the mean of its boost, the charge settles 3 K warmer than at 3500 rpm: let down to 3500 rpm from "
        "there, that much less is in hand at first."
    )


def test_of_several_sets_of_repeats_each_is_told_and_the_worst_looked_into(examples: Path):
    """The afternoon's first and second four climbs, read off the trace by span; the largest spread is the verdict's."""
    session = load_session(examples / "sessions" / "warming-afternoon.toml")
    forecast = simulate(load_build(examples / "plover" / "build.toml"), session)
    sets, looked_into = module.alike_sets(forecast, forecast.peak)
    assert [one.noun for one in sets] == ["climb", "climb again"]
    over = forecast.intake - forecast.demand.ambient_temperature
    for one in sets:
        spans = [s for s in forecast.demand.spans if s.label.rpartition(" ")[0] == one.noun and s.kind == "pull"]
        own = [np.arange(s.first, s.last + 1)[forecast.boost[s.first : s.last + 1]] for s in spans]
        assert one.peaks == pytest.approx([forecast.intake[k].max() for k in own])
        peaks = [over[k].max() for k in own]
        assert one.spread_over_ambient == pytest.approx((max(peaks) - min(peaks)) / np.mean(peaks))
    assert looked_into == 1
    assert max(sets[1].peaks) == pytest.approx(forecast.intake[forecast.peak])
    first = module.alike_sets(forecast, repeats(forecast)[0][2].samples[5])
    assert first == (sets, 0)  # a worst moment that lies in the first climbs
    spread = judge_limit(forecast, LimitSpec(quantity="spread", at_most=0.1)).value
    assert spread == max(max(one.spread_over_ambient, one.spread_power) for one in sets)


def test_every_set_has_its_own_sentence_and_the_users_own_name():
    """A name that ends in a digit is kept whole; a group is called by its name, not by the words of its first phase."""
    morning, stage = Alike("morning", (320.0, 331.0), 0.29, 0.004), Alike("stage 2", (330.0, 331.0), 0.05, 0.002)
    words = replace(FOUND, sets=(morning, stage)).words()
    assert words[0].startswith("Two mornings: the intake peaks at 47 degC to 58 degC; over the air outside they differ")
    assert words[1].startswith("Two times stage 2: ")
    bare = replace(morning, noun="round", without=("burnout", "launch"))
    assert replace(FOUND, sets=(bare,)).words()[0].startswith("Two rounds without burnout and launch: the intake peaks")
    assert "differ by 29 %" in words[0]
    assert "differ by 5 %" in words[1]
    assert [one["of"] for one in consistency_json(replace(FOUND, sets=(morning, stage)))["repeats"]] == [
        "morning", "stage 2",
    ]  # fmt: skip


def test_runs_that_the_afternoon_ends_before_a_limit_does_are_told_as_room(examples: Path):
    """Runs of 100 s whose margin falls by 1 K each from 9.5, 7.5, 4.5, 2.5 K with longer rests keep ten, eight, five
    and three: in an hour and a half more than ten have room between rests of a minute, in a quarter of an hour six."""
    session = load_session(examples / "sessions" / "dyno-pulls.toml")
    build, run = load_build(examples / "siskin" / "blown.toml"), trials.run_of(session)
    rests = module._Rests(build, session, run, [INTAKE], 2.0, module._Runs(None))
    for rest, margin in zip(module.TRIED_RESTS, (9.5, 7.5, 4.5, 2.5), strict=True):
        row = [margin - k for k in range(6)]
        rests.known[rest] = module._Peaks([300.0] * 6, [row], 100.0)
    long, short = rests.afternoon(5400.0), rests.afternoon(900.0)
    assert (long.runs, long.rest, long.endless, long.warming) == (10, 60.0, False, True)
    assert (short.runs, short.rest, short.endless, short.warming) == (6, 60.0, True, False)  # 1 + 800 / 160
    assert rests.afternoon(99.0) is None  # shorter than a run


def test_a_stint_is_explained_where_it_is_first_named():
    words = replace(FOUND, noun="stint", repeat_noun="lap").words()
    told = [k for k, text in enumerate(words) if "stint" in text]
    assert words[told[0]] == "A stint here is all that the session repeats, one lap after the other without a rest."
    assert not any(text.startswith("A stint here") for text in FOUND.words())
