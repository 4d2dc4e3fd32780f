"""Changed sessions and builds: what is held, how runs follow each other, what a second exchanger is."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from coldside.build.files import load_build
from coldside.build.model import Parallel, names_on
from coldside.duty.demand import sample
from coldside.duty.model import PhaseSpec
from coldside.duty.phases import load_session
from coldside.judge.trials import (
    REST,
    exchangers_on,
    held_at_full_load,
    larger_tanks,
    repeat_noun,
    repeated,
    run_after_run,
    run_of,
    samples_of_runs,
    second_exchangers,
    tanks_on,
)
from coldside.parts import engine
from coldside.parts.airflow import FanSpec
from coldside.parts.engine import RPM
from coldside.plant.assemble import assemble
from generators import demand_of, session_of
from judge import made


def test_a_run_is_what_lies_between_two_rests(examples):
    """A group without rests is one stint; one with a queue and a paddock is its drive; pulls and laps by themselves."""
    sessions = {file.stem: load_session(file) for file in (examples / "sessions").glob("*.toml")}
    stint = run_of(sessions["track"])
    assert (stint.noun, len(stint.phases), stint.leading.name, stint.rest) == ("stint", 72, "main straight", 0.0)
    assert all(phase.group is None for phase in stint.phases)
    passed = run_of(sessions["standing-passes"])
    assert [phase.kind for phase in passed.phases] == ["pass", "cruise"]
    assert (passed.noun, passed.rest, passed.resting.kind) == ("run", 26 * 60.0, "paddock")
    assert passed.part == "pass and return road"
    pull = run_of(sessions["dyno-pulls"])
    assert (pull.noun, pull.rest, pull.leading.repeat, pull.leading.rest) == ("pull", 240.0, 1, 0.0)
    assert (pull.resting.kind, pull.resting.air) == ("idle", pull.leading.air)
    single = run_of(sessions["traffic-then-pull"])
    assert (single.noun, len(single.phases), single.leading.duration) == ("pull", 1, 9.0)
    assert run_of(session_of(PhaseSpec(kind="idle", duration=60.0))) is None
    laps = run_of(session_of(PhaseSpec(kind="lap", track="fast loop", repeat=5, rest=0.0)))
    assert (laps.noun, laps.leading.repeat) == ("stint", 5)
    nouns = {name: repeat_noun(session) for name, session in sessions.items()}
    assert (nouns["track"], nouns["standing-passes"], nouns["dyno-pulls"]) == ("lap", "round", "pull")


def test_a_run_is_taken_from_the_set_that_is_asked_for():
    """Two groups and a repeated pull, in the order of the file; one that only rests leaves it to another."""
    pull = PhaseSpec(kind="pull", from_speed=50.0, to_speed=110.0, duration=8.0)
    wait, idle = PhaseSpec(kind="paddock", duration=180.0), PhaseSpec(kind="idle", duration=5.0, group="warming")
    phases = (
        *(replace(one, group="morning") for one in (pull, wait)),
        replace(pull, name="stage 2", repeat=2),
        *(replace(one, group="evening") for one in (replace(pull, duration=11.0), wait)),
        idle,
    )
    session = replace(session_of(*phases), groups={"evening": 4, "warming": 2, "morning": 3})
    things = repeated(session)
    assert [(one.noun, one.times) for one in things] == [("morning", 3), ("stage 2", 2), ("evening", 4), ("warming", 2)]
    lengths = [run_of(session, one).leading.duration for one in things]
    assert lengths == [8.0, 8.0, 11.0, 8.0]
    stage = run_of(session, things[1])
    assert (things[1].noun, stage.noun, stage.part) == ("stage 2", "run", "stage 2")
    assert run_of(session).phases == run_of(session, things[0]).phases
    assert repeat_noun(session) == "morning"


def test_runs_follow_each_other_with_the_rest_between(examples):
    """Three pulls of 11 s, 30 s between: 93 s, and the rest in the air that blows at the pull."""
    session = load_session(examples / "sessions" / "dyno-pulls.toml")
    three = run_after_run(session, run_of(session), 30.0, 3)
    demand = sample(three, load_build(examples / "plover" / "build.toml"))
    assert demand.time[-1] == pytest.approx(93.0)
    assert [span.label for span in demand.spans] == ["pull", REST, "pull", REST, "pull"]
    assert (demand.air_speed["nose"][1:] == 8.0).all()
    assert (three.start, three.ambient, three.limits) == (session.start, session.ambient, session.limits)


@pytest.mark.parametrize("rest", [60.0, 300.0])
def test_a_wait_in_the_paddock_parts_two_runs(examples, rest):
    """Engine off and idling are two spans of one rest, or one of a short rest; the runs on both sides are alike."""
    session = load_session(examples / "sessions" / "standing-passes.toml")
    build = load_build(examples / "plover" / "build.toml")
    demand = sample(run_after_run(session, run_of(session), rest, 3), build)
    runs = samples_of_runs(replace(made.forecast(), demand=demand))
    assert len(runs) == 3
    lengths = [len(own) for own in runs]
    assert max(lengths) - min(lengths) <= 2  # joints belong to one side
    still = demand.engine_speed == 0.0
    assert 0.1 * still.sum() == pytest.approx(2.0 * (rest if rest <= 120.0 else rest - 120.0), abs=2.0)


def test_full_load_is_held_at_the_mean_of_boost(examples):
    """Engine at its mean in boost all along and boost at its target; on the dyno no road wind."""
    forecast = made.forecast()
    session = held_at_full_load(forecast, None, 20.0)
    (phase,) = session.phases
    assert phase.kind == "cruise"
    assert (phase.engine_speed, phase.speed, phase.load) == (pytest.approx(80.0), pytest.approx(0.0), 1.0)
    build = load_build(examples / "plover" / "build.toml")
    dyno = load_session(examples / "sessions" / "dyno-pulls.toml")
    held = held_at_full_load(replace(forecast, session=dyno), run_of(dyno), 20.0)
    demand = sample(held, build)
    assert np.ptp(demand.engine_speed) == pytest.approx(0.0, abs=1e-9)
    assert demand.full_load.all()
    target = engine.boost_target(build.engine, demand.engine_speed[-1], demand.ambient_pressure)
    assert demand.plenum_target[-1] == pytest.approx(float(target), rel=1e-6)  # 20 s are many lags
    assert (demand.air_speed["nose"] == 8.0).all()


def test_without_boost_nothing_is_held():
    forecast = made.forecast()
    low = np.full_like(forecast.plenum_pressure, 0.5 * made.PRESSURE)
    assert held_at_full_load(replace(forecast, plenum_pressure=low), None, 20.0) is None


def test_twice_the_tank_is_twice_the_coolant_and_nothing_else(examples):
    build = load_build(examples / "tern" / "water.toml")
    assert tanks_on(build, "charge") == ("tank",)
    larger = larger_tanks(build, "charge", 2.0)
    assert larger.parts["tank"].volume == 2.0 * build.parts["tank"].volume
    assert larger.parts["tank"].metal_mass == build.parts["tank"].metal_mass
    assert {name for name in build.parts if larger.parts[name] != build.parts[name]} == {"tank"}


@pytest.mark.parametrize(
    ("name", "ducts"),
    [
        (
            "tern/water",
            {"left_quarter_2": ["left_hx_2", "left_fan_2"], "right_quarter_2": ["right_hx_2", "right_fan_2"]},
        ),
        ("avocet/split_loop", {}),
        ("dunlin/build", {}),
        ("godwit/hybrid", {}),
        ("heron/two_stage", {}),
    ],
)
def test_a_second_exchanger_stands_beside_the_first_in_its_own_duct(examples, name, ducts):
    """Every exchanger of the loop twice, in parallel, each with its fans in a duct like the first's; it assembles."""
    build = load_build(examples / f"{name}.toml")
    (loop,) = [key for key, found in build.loops.items() if tanks_on(build, key)]
    names = exchangers_on(build, loop)
    second = second_exchangers(build, loop)
    assert sorted(exchangers_on(second, loop)) == sorted([*names, *(f"{one}_2" for one in names)])
    for duct, parts in ducts.items():
        assert names_on(second.ducts[duct].path) == parts
    for one in names:
        (home,) = [duct for duct in second.ducts.values() if f"{one}_2" in names_on(duct.path)]
        first = next(duct for duct in build.ducts.values() if one in names_on(duct.path))
        assert home.spec == first.spec
        kept = {p for p in names_on(first.path) if p in names or isinstance(build.parts.get(p), FanSpec)}
        assert {p.removesuffix("_2") for p in names_on(home.path)} == kept
    pairs = [item for item in second.loops[loop].path if isinstance(item, Parallel)]
    assert pairs
    assemble(second, demand_of(second, 1.0, speed=4000 * RPM, target=1.5e5))


def test_a_second_exchanger_covers_no_face_where_none_stands_behind_it(examples):
    """One that covers a part of the radiator behind it: its twin has a duct to itself, and none behind it to cover."""
    build = load_build(examples / "dunlin" / "build.toml")
    (nose,) = exchangers_on(build, "charge")
    spec = replace(build.parts[nose], covers=0.6)
    assert build.ducts["nose"].path[0] == nose
    behind = replace(build.ducts["nose"], path=(nose, "engine_radiator", *build.ducts["nose"].path[1:]))
    radiator = load_build(examples / "plover" / "build.toml").parts["engine_radiator"]
    parts = {**build.parts, nose: spec, "engine_radiator": radiator}
    build = replace(build, parts=parts, ducts={**build.ducts, "nose": behind})
    second = second_exchangers(build, "charge")
    assert (second.parts[nose].covers, second.parts[f"{nose}_2"].covers) == (0.6, 1.0)
    assemble(second, demand_of(second, 1.0, speed=4000 * RPM, target=1.5e5))
