"""Repeats that are alike are reckoned once: the same demand as when each is written out; air that moves, and lag."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from coldside.build.files import load_build
from coldside.duty import demand
from coldside.duty.demand import sample
from coldside.duty.model import PhaseSpec, ReadingSpec
from coldside.duty.phases import load_session

EXAMPLES = Path(__file__).parents[2] / "examples"
BUILD = load_build(EXAMPLES / "tern" / "water.toml")
WHOLE = load_session(EXAMPLES / "sessions" / "track.toml")
ROUND = (
    PhaseSpec(kind="cruise", duration=12.0, speed=30.0, group="round"),
    PhaseSpec(kind="pull", on="road", from_speed=60.0, to_speed=110.0, duration=6.0, gear=3, group="round"),
    PhaseSpec(kind="idle", duration=5.0, group="round"),
)


def test_a_group_repeated_asks_what_its_phases_written_out_ask():
    repeated = sample(replace(WHOLE, phases=ROUND, groups={"round": 3}), BUILD)
    plain = tuple(replace(phase, group=None) for phase in ROUND)
    written = sample(replace(WHOLE, phases=plain * 3, groups={}), BUILD)
    for name in ("engine_speed", "plenum_target", "road_speed", "bay_temperature", "full_load"):
        np.testing.assert_array_equal(getattr(repeated, name), getattr(written, name), err_msg=name)
    assert repeated.notes == written.notes


def test_air_that_moves_makes_repeats_unlike():
    later = (ReadingSpec(at=60.0, temperature=WHOLE.ambient.temperature + 20.0),)
    session = replace(WHOLE, phases=ROUND, groups={"round": 3}, readings=later)
    seen = sample(session, BUILD)
    n = (len(seen.time) - 1) // 3
    first, last = seen.plenum_target[1 : n + 1], seen.plenum_target[2 * n + 1 :]
    assert np.abs(first - last)[10:100].max() > 10.0  # Pa: the cruise needs another pressure in warmer air


def test_what_is_said_of_one_repeat_is_said_of_each():
    fast = replace(ROUND[1], to_speed=BUILD.engine.top_speed * 1.1, group=None, repeat=2, rest=10.0)
    notes = sample(replace(WHOLE, phases=(fast,), groups={}), BUILD).notes
    assert sum("above this engine's top speed" in note for note in notes) == 2


@pytest.mark.parametrize("compiled", [False, True])
@pytest.mark.parametrize("lag", [0.0, 0.05, 0.4])
def test_boost_that_lags_is_the_exact_answer_to_a_rising_line(monkeypatch, lag, compiled):
    """x' = (u - x)/lag with u = a + b t from x(0) = a: x = a + b t - b lag (1 - exp(-t/lag)) (textbook)."""
    monkeypatch.setattr(demand, "worth_compiling", lambda points: compiled)
    t, ambient = np.arange(40) / 10.0, 1e5
    found = demand.lagged_boost(ambient + 2e4 * t, ambient, lag)
    exact = ambient + 2e4 * t - (2e4 * lag * -np.expm1(-t / lag) if lag else 0.0)
    assert found == pytest.approx(exact, rel=1e-12)


def test_boost_after_lifts_and_measured_samples_is_the_same_compiled(monkeypatch):
    target = 1e5 + 4e4 * np.sin(np.arange(600) / 7.0) + np.where(np.arange(600) % 90 < 20, 5e4, 0.0)
    exact = np.arange(600) % 200 > 150
    found = []
    for compiled in (False, True):
        monkeypatch.setattr(demand, "worth_compiling", lambda points, compiled=compiled: compiled)
        found.append(demand.lagged_boost(target, 1e5, 0.5, exact=exact))
    np.testing.assert_allclose(found[0], found[1], rtol=1e-14)
    assert (found[0] < target - 1.0).any()
