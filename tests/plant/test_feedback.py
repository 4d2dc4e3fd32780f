"""Heat fed back on the driving: it settles, a warm charge costs time, and by about what the notes say."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from coldside.build.files import load_build
from coldside.duty.model import PhaseSpec
from coldside.plant.feedback import SETTLED, shares_of
from coldside.plant.forecast import simulate
from coldside.plant.results import Forecast
from generators import DAY, session_of

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"


@cache
def passes(hot: bool) -> Forecast:
    """Two passes of the Tern on a cool or on a hot day."""
    build = load_build(EXAMPLES / "tern" / "water.toml")
    day = replace(DAY, temperature=318.15 if hot else 283.15)
    runs = PhaseSpec(kind="pass", distance=402.336, repeat=2, rest=60.0)
    return simulate(build, session_of(runs, ambient=day))


def test_driving_and_heat_agree_after_a_few_turns():
    """Each turn moves the runs by less than the one before, and the last by no more than the settling."""
    for hot in (False, True):
        changes = passes(hot).feedback
        assert changes[-1] <= SETTLED
        assert all(after < before for before, after in zip(changes[:-1], changes[1:], strict=True))


def test_a_run_costs_what_its_power_costs():
    """loop-C33: of a run at constant power time goes as power^(-1/3); less where the tyres decide, never more.

    The power lost on the way is that of charge warmer than ambient, weighed by time.
    """
    forecast = passes(True)
    for timed in forecast.runs:
        own = slice(timed.run.first, timed.run.last + 1)
        lost = 1.0 - forecast.power[own].sum() / forecast.power_at_ambient[own].sum()
        cost = timed.cost / timed.run.time
        assert lost > 0.0
        assert 0.0 < cost <= lost / 3.0 * 1.15  # the mean of a cube root over uneven losses


def test_shares_are_those_of_the_power_at_full_load():
    """Share along a run = power over what the demand reckoned with, rising in distance."""
    forecast = passes(False)
    demand = forecast.demand
    shares = shares_of(demand, 0.9 * forecast.power, forecast.power)
    assert set(shares) == {(run.phase, run.repeat) for run in demand.runs}
    for place, share in shares.values():
        assert np.all(np.diff(place) > 0.0)
        assert share == pytest.approx(np.full(len(share), 0.9))


def test_a_session_without_runs_is_driven_once():
    """Pulls and cruises take no feedback: their speed is given."""
    build = load_build(EXAMPLES / "tern" / "water.toml")
    found = simulate(build, session_of(PhaseSpec(kind="idle", duration=5.0)))
    assert found.feedback == ()
    assert found.runs == ()


def test_the_car_s_own_trims_take_power_by_what_the_sensor_reads():
    """Spark taken back and boost taken off from the sensor's temperature on; nothing under the first point."""
    build = load_build(EXAMPLES / "tern" / "water.toml")
    pull = session_of(PhaseSpec(kind="pull", from_speed=50.0, to_speed=120.0, duration=8.0, repeat=2, rest=20.0))
    plain = simulate(build, pull)
    trims = ((300.0, 0.0), (310.0, 0.0), (340.0, 0.30))
    trimmed = simulate(replace(build, engine=replace(build.engine, trim_boost=trims)), pull)
    boosted = plain.demand.full_load & plain.boost
    ratio = trimmed.power[boosted] / plain.power[boosted]
    read = plain.sensor[boosted]
    assert np.all(ratio[read > 312.0] < 1.0)
    assert ratio[read < 309.9] == pytest.approx(np.ones(np.count_nonzero(read < 309.9)))
    level = np.interp(read, [x for x, _ in trims], [y for _, y in trims])
    p, ambient = plain.plenum_pressure[boosted], plain.demand.ambient_pressure
    assert ratio == pytest.approx((ambient + (p - ambient) * (1.0 - level)) / p, abs=1e-6)
