"""The bundled builds and sessions: all read, every session runs on every build, all say that they are invented."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from coldside.build.files import load_build
from coldside.duty.demand import sample
from coldside.duty.phases import load_session

BUILDS = (
    "tern/water.toml",
    "tern/air.toml",
    "plover/build.toml",
    "dunlin/build.toml",
    "godwit/hybrid.toml",
    "avocet/split_loop.toml",
    "plover/stacked.toml",
)
SESSIONS = ("dyno-pulls.toml", "traffic-then-pull.toml", "steady.toml", "track.toml", "warming-afternoon.toml")


@pytest.mark.parametrize("session", SESSIONS)
@pytest.mark.parametrize("build", BUILDS)
def test_every_session_is_sampled_on_every_build(examples: Path, build: str, session: str) -> None:
    asked = load_session(examples / "sessions" / session)
    seen = sample(asked, load_build(examples / build))
    assert seen.spans[-1].last == len(seen.time) - 1
    assert seen.boost.any()  # every one of them tells something about the charge cooling
    assert np.isfinite(seen.plenum_target).all()
    assert (seen.bay_temperature >= seen.ambient_temperature - 1e-9).all()
    assert not [note for note in seen.notes if "top speed" in note or "gear" in note]


DRIVEN = {"standing-passes.toml": 4, "hill-climb.toml": 4, "track-day.toml": 16}


@pytest.mark.parametrize("session", DRIVEN)
@pytest.mark.parametrize("build", BUILDS)
def test_every_build_drives_every_run(examples: Path, build: str, session: str) -> None:
    """Times that a road car and a competition car can do; the runs lie in time order inside their spans."""
    seen = sample(load_session(examples / "sessions" / session), load_build(examples / build))
    assert len(seen.runs) == DRIVEN[session]
    low, high = {
        "standing-passes.toml": (7.5, 17.0),
        "hill-climb.toml": (50.0, 120.0),
        "track-day.toml": (60.0, 120.0),
    }[session]
    spans = {(s.first, s.last): s for s in seen.spans}
    for run in seen.runs:
        assert low < run.time < high
        assert abs(0.1 * (run.last - run.first) - run.time) < 0.21  # a sample at either end
        assert spans[run.first, run.last].label == run.label
        assert seen.boost[run.first : run.last + 1].any()
        way = seen.distance[run.first : run.last + 1]
        assert (np.diff(way) >= 0.0).all()
        assert way[-1] <= run.length + 1e-6
    assert np.isfinite(seen.plenum_target).all()
    assert not [note for note in seen.notes if "top speed" in note or "gear" in note]


def test_dyno_session_is_six_pulls_four_minutes_apart(examples: Path) -> None:
    seen = sample(load_session(examples / "sessions/dyno-pulls.toml"), load_build(examples / BUILDS[0]))
    pulls = [s for s in seen.spans if s.kind == "pull"]
    assert len(pulls) == 6
    assert {b.first - a.last - 1 for a, b in pairwise(pulls)} == {2400}  # samples of rest


def test_track_session_is_twenty_minutes(examples: Path) -> None:
    seen = sample(load_session(examples / "sessions/track.toml"), load_build(examples / BUILDS[0]))
    assert seen.time[-1] == 1200.0
    assert max(s.repeat for s in seen.spans) == 11


def test_traffic_lasts_25_minutes(examples: Path) -> None:
    seen = sample(load_session(examples / "sessions/traffic-then-pull.toml"), load_build(examples / BUILDS[0]))
    assert (seen.spans[0].kind, seen.spans[0].last) == ("traffic", 15000)


def test_both_terns_are_the_same_car(examples: Path) -> None:
    water, by_air = (load_build(examples / name) for name in BUILDS[:2])
    assert water.engine == by_air.engine
    assert water.car == by_air.car
    assert water.bay == by_air.bay
    assert water.parts["turbo"] == by_air.parts["turbo"]


def test_names_that_scripts_rely_on(examples: Path) -> None:
    """architecture.md: turbo, tank, pump, core or left_core and right_core, exchangers ending in _hx, loop charge."""
    for name in BUILDS:
        parts = load_build(examples / name).parts
        assert "turbo" in parts
        assert "intake_sensor" in parts
    for name in (BUILDS[0], BUILDS[3]):
        build = load_build(examples / name)
        assert {"tank", "pump"} <= set(build.parts)
        assert "core" in build.parts or {"left_core", "right_core"} <= set(build.parts)
        assert list(build.loops) == ["charge"]
        assert any(part.endswith("_hx") for part in build.parts)


@pytest.mark.parametrize("name", [*BUILDS, *(f"sessions/{s}" for s in (*SESSIONS, *DRIVEN))])
def test_every_file_says_that_it_is_invented(examples: Path, name: str) -> None:
    head = (examples / name).read_text(encoding="utf-8").split("[", 1)[0]
    assert "invented" in head.lower() or "invention" in head.lower()
