"""Heat fed back on the driving: it settles, a warm charge costs time, and by about what the notes say."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from coldside.build.files import load_build
from coldside.duty.model import PhaseSpec
from coldside.parts.engine import boost_target
from coldside.plant.feedback import BOOST_SETTLED, SETTLED, Relaxed, Settling, shares_of, trimmed_boost
from coldside.plant.forecast import simulate
from coldside.plant.results import Forecast
from coldside.plant.steady import operating_point
from generators import DAY, session_of

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"


TERN = load_build(EXAMPLES / "tern" / "water.toml")


@cache
def pulls(trims: tuple[tuple[float, float], ...] | None) -> Forecast:
    """Two pulls of the Tern with these trims of boost."""
    pull = session_of(PhaseSpec(kind="pull", from_speed=50.0, to_speed=120.0, duration=8.0, repeat=2, rest=20.0))
    return simulate(replace(TERN, engine=replace(TERN.engine, trim_boost=trims)), pull)


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
    """Boost is what the curve leaves of it at what the sensor reads in the end; less power, heat and air with it."""
    plain, trimmed = pulls(None), pulls(((300.0, 0.0), (310.0, 0.0), (340.0, 0.30)))
    boosted = plain.demand.full_load & plain.boost
    p, ambient = plain.plenum_pressure[boosted], plain.demand.ambient_pressure
    level = np.interp(trimmed.sensor[boosted], [310.0, 340.0], [0.0, 0.30])
    assert level.max() > 0.05
    asked = ambient + (p - ambient) * (1.0 - level)
    assert trimmed.plenum_pressure[boosted] == pytest.approx(asked, abs=BOOST_SETTLED)
    cut = level > 0.02
    assert np.all(trimmed.charge_flow[boosted][cut] < plain.charge_flow[boosted][cut])
    assert np.all(trimmed.power[boosted][cut] < plain.power[boosted][cut])
    assert np.all(trimmed.compressor_out[boosted][cut] < plain.compressor_out[boosted][cut])
    assert trimmed.ledger.heat_in < plain.ledger.heat_in
    assert trimmed.intake[trimmed.peak] < plain.intake[plain.peak]
    assert np.all(trimmed.power_at_ambient >= plain.power_at_ambient * (1.0 - 1e-9))  # cool charge is not trimmed


def test_trims_of_boost_settle_and_say_when_they_do_not():
    """Boost after a curve of 1 %/K is found in a few turns; one that cuts all boost within 2 K may not be: it is told.

    Closed form: where a turn answers with a slope of -g times what it was told, plain repetition dies down only for
    g < 1; Aitken's relaxation lands on the end of a straight answer in its third turn for any g.
    """
    assert pulls(None).boost_feedback == ()
    gentle = pulls(((300.0, 0.0), (310.0, 0.0), (340.0, 0.30)))
    assert gentle.boost_feedback[-1] <= BOOST_SETTLED
    assert len(gentle.boost_feedback) <= 6
    assert not any("do not settle" in warning for warning in gentle.health.warnings)
    for settling in (Settling(boost=(9e3, 5e3)), Settling(boost=(9e3, 50.0)), Settling()):
        assert settling.boost_settled == (settling.boost[-1:] != (5e3,))
    for g in (0.3, 2.0, 5.0):
        told, steps, time = np.zeros(3), Relaxed(), np.arange(3.0)
        aim = np.array([1.0, -2.0, 0.5])
        told = aim - g * told
        for _ in range(2):
            short = aim - g * told - told
            told = told + steps.of(time, short) * short
        assert told == pytest.approx(aim / (1.0 + g))


def test_a_light_foot_and_measured_boost_feel_no_trims():
    """At part load boost is held under what the trims leave of the full target; replayed samples stay as measured."""
    demand = pulls(None).demand
    engine = replace(TERN.engine, trim_boost=((300.0, 0.0), (310.0, 0.5)))
    full = boost_target(engine, demand.engine_speed, demand.ambient_pressure)
    light = replace(
        demand,
        full_load=np.zeros(len(demand.time), dtype=bool),
        plenum_target=demand.ambient_pressure + 0.4 * (full - demand.ambient_pressure),
    )
    assert trimmed_boost(engine, light, 320.0).boost_taken.max() == pytest.approx(0.0, abs=1e-6)
    assert trimmed_boost(engine, demand, 320.0).boost_taken.max() > 1e4
    spans = tuple(replace(span, kind="replay") for span in demand.spans)
    assert trimmed_boost(engine, replace(demand, spans=spans), 320.0).boost_taken.max() == 0.0


def test_a_steady_point_says_that_it_leaves_the_trims_out():
    trimmed = replace(TERN, engine=replace(TERN.engine, trim_boost=((300.0, 0.0), (310.0, 0.5))))
    for build, told in ((TERN, False), (trimmed, True)):
        assert any("trims" in said for said in operating_point(build, engine_speed=100.0).warnings) == told
