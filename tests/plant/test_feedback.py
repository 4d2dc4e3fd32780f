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
from coldside.plant import feedback
from coldside.plant.feedback import BOOST_SETTLED, READ_ALIKE, SETTLED, SHOWN, shares_of, trimmed_boost
from coldside.plant.forecast import simulate
from coldside.plant.results import Forecast
from coldside.plant.steady import operating_point
from coldside.plant.trims import LAGS, Response, steady_gain
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


STEEP = {
    "1 % a kelvin": ((300.0, 0.0), (310.0, 0.0), (340.0, 0.30)),
    "5 % a kelvin": ((310.0, 0.0), (316.0, 0.30)),
    "30 % a kelvin": ((310.0, 0.0), (311.0, 0.30)),
    "a step": ((310.0, 0.0), (310.1, 0.30)),
    "steps": ((310.0, 0.0), (310.1, 0.1), (315.0, 0.1), (315.1, 0.2), (320.0, 0.2), (320.1, 0.3)),
    "all of it within 2 K": ((310.0, 0.0), (312.0, 1.0)),
}


@pytest.mark.parametrize("name", STEEP)
def test_trims_of_boost_settle_however_steep(name: str):
    """Boost is in the end what the curve leaves of it at what the sensor reads within 0.05 K (interpolated here)."""
    trims, plain = STEEP[name], pulls(None)
    forecast = pulls(trims)
    demand, ambient = forecast.demand, plain.demand.ambient_pressure
    assert len(forecast.boost_feedback) <= 8
    assert forecast.boost_feedback[-1] <= BOOST_SETTLED
    assert not any("do not settle" in warning or "hunt" in warning for warning in forecast.health.warnings)
    boosted = demand.full_load & plain.boost
    asked = plain.demand.plenum_target[boosted] - ambient
    curve = ([T for T, _ in trims], [share for _, share in trims])
    most, least = (
        ambient + asked * (1.0 - np.interp(forecast.sensor[boosted] + by, *curve)) for by in (-READ_ALIKE, READ_ALIKE)
    )
    got = demand.plenum_target[boosted]
    assert np.all((least - BOOST_SETTLED <= got) & (got <= most + BOOST_SETTLED))
    assert np.ptp((ambient + asked - got) / asked) > 0.05  # something was taken, and not everywhere alike


def test_trims_that_were_not_brought_to_rest_are_told(monkeypatch: pytest.MonkeyPatch):
    """Given two turns only, the steepest are still far off; health says by how much."""
    monkeypatch.setattr(feedback, "MOST_TRIMMED", 2)
    forecast = pulls.__wrapped__(STEEP["all of it within 2 K"])
    assert len(forecast.boost_feedback) == 2
    assert forecast.boost_feedback[-1] > BOOST_SETTLED
    told = (
        f"do not settle: the last turn left boost {forecast.boost_feedback[-1] / 1e3:.1f} kPa from what the trims ask"
    )
    assert any(told in warning for warning in forecast.health.warnings)


def test_runs_settle_with_steep_trims():
    """Driving and trims together: two passes on a hot day, 5 % of boost a kelvin."""
    build = replace(TERN, engine=replace(TERN.engine, trim_boost=((315.0, 0.0), (321.0, 0.30))))
    runs = PhaseSpec(kind="pass", distance=402.336, repeat=2, rest=60.0)
    forecast = simulate(build, session_of(runs, ambient=replace(DAY, temperature=313.15)))
    assert forecast.boost_feedback[-1] <= BOOST_SETTLED
    assert forecast.feedback[-1] <= SHOWN
    assert forecast.demand.boost_taken.max() > 1e4
    assert forecast.runs[0].cost > passes(False).runs[0].cost


def test_a_car_that_would_hunt_is_told():
    """Held at full load the reading comes to rest on a step, boost between both: health says so; not on a slope."""
    hold = session_of(PhaseSpec(kind="cruise", speed=40.0, engine_speed=100.0, load=1.0, duration=60.0))
    said = {}
    for name, trims in (("step", ((318.0, 0.0), (318.1, 0.30))), ("slope", ((318.0, 0.0), (324.0, 0.30)))):
        forecast = simulate(replace(TERN, engine=replace(TERN.engine, trim_boost=trims)), hold)
        assert forecast.boost_feedback[-1] <= BOOST_SETTLED
        said[name] = [warning for warning in forecast.health.warnings if "hunt" in warning]
    assert not said["slope"]
    assert len(said["step"]) == 1
    assert "at 45 degC on its sensor" in said["step"][0]
    assert "between 0 and 46 kPa taken off" in said["step"][0]


def test_the_gain_at_which_three_lags_swing():
    """At it a pair of roots of (1 + a s)(1 + b s)(1 + c s) + gain lies on the imaginary axis; 8 for three alike."""
    assert steady_gain(2.0, 2.0, 2.0) == pytest.approx(8.0)
    for lags in ((0.6, 3.0, 16.0), (0.1, 1.0, 64.0)):
        loop = np.poly1d([1.0])
        for lag in lags:
            loop *= np.poly1d([lag, 1.0])
        roots = (loop + steady_gain(*lags)).roots
        assert np.max(roots.real) == pytest.approx(0.0, abs=1e-9)
        assert np.max((loop + 0.9 * steady_gain(*lags)).roots.real) < 0.0


def test_what_a_sensor_will_read_is_foreseen():
    """Closed form: with k K/Pa behind lags and a trim of s of B Pa a kelvin over T0, the reading R ends at
    (R + k s B T0) / (1 + k s B); what was taken before is given back first."""
    demand = pulls(None).demand
    n = len(demand.time)
    held = replace(
        demand, time=10.0 * np.arange(n), plenum_target=np.full(n, demand.ambient_pressure + 8e4),
        full_load=np.ones(n, dtype=bool),
    )  # fmt: skip
    engine = replace(TERN.engine, trim_boost=((310.0, 0.0), (330.0, 1.0)))
    response = Response()
    response.gains = np.array([1e-5, 0.0, 0.0, 2e-4])
    loop = 2.1e-4 * 8e4 * 0.05
    for taken in (0.0, 3e4):
        felt = response.foresee(engine, held, np.full(n, 325.0), np.full(n, taken))
        assert felt[-1] == pytest.approx((325.0 + 2.1e-4 * taken + loop * 310.0) / (1.0 + loop), abs=1e-3)
        assert np.all(np.diff(felt) * (felt[-1] - felt[0]) >= 0.0)


def test_what_is_learnt_of_the_charge_is_what_it_does():
    """Fitted to a reading that a known response made, it is that response; to noise it is halved."""
    demand = pulls(None).demand
    rng = np.random.default_rng(5)
    taken = np.repeat(rng.uniform(0.0, 4e4, len(demand.time) // 20 + 1), 20)[: len(demand.time)]
    read = np.zeros_like(taken)
    for lag, gain in zip(LAGS, (0.0, 1.5e-4, 0.0, 4e-4), strict=True):  # implicit Euler, by hand
        behind = 0.0
        for k in range(1, len(taken)):
            share = (demand.time[k] - demand.time[k - 1]) / lag
            behind = (behind + share * taken[k]) / (1.0 + share)
            read[k] -= gain * behind
    response = Response()
    response.learn(demand, taken, read)
    assert response.gains == pytest.approx([0.0, 1.5e-4, 0.0, 4e-4], abs=1e-9)
    response.learn(demand, taken, rng.normal(0.0, 1.0, len(taken)))
    assert response.gains == pytest.approx([0.0, 0.75e-4, 0.0, 2e-4], abs=1e-9)


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
