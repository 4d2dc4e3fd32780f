"""Air before the compressor by road speed: from the filter's keys through demand and charge side into the forecast."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from coldside.build.files import load_build
from coldside.build.model import Build
from coldside.duty.demand import sample
from coldside.duty.model import PhaseSpec
from coldside.errors import BadInput
from coldside.parts.engine import RPM
from coldside.parts.intake_air import PickUp, drawn_rise
from coldside.plant.forecast import simulate
from coldside.plant.steady import operating_point
from generators import session_of
from words.files import BUILD, spoiled

PICKUP = PickUp(at_rest=25.0, moving=2.0, speed=6.0, lag=300.0, warming=700.0, day=0.05)
KEYS = {f"pickup_{name}": value for name, value in vars(PICKUP).items()}
FILTER = '[parts.filter]\nkind = "filter"'


@pytest.fixture(scope="module")
def build(examples: Path) -> Build:
    found = load_build(examples / "tern" / "air.toml")
    return replace(found, parts=found.parts | {"filter": replace(found.parts["filter"], **KEYS)})


def town() -> tuple[PhaseSpec, ...]:
    """Standing, driving, standing on a dyno at full load, and parked."""
    return (
        PhaseSpec(kind="idle", duration=200.0),
        PhaseSpec(kind="cruise", speed=25.0, duration=120.0),
        PhaseSpec(kind="pull", on="dyno", from_speed=3000 * RPM, to_speed=6000 * RPM, duration=10.0, gear=3),
        PhaseSpec(kind="parked", duration=60.0),
    )


def test_the_forecast_draws_what_the_balance_says(build):
    """Compressor inlet minus ambient is the balance at the demand's own speeds; a soaked start begins standing."""
    session = replace(session_of(*town()), start="soaked")
    found = simulate(build, session)
    d = found.demand
    on_dyno = np.zeros(len(d.time), dtype=bool)
    for span in d.spans:
        on_dyno[span.first : span.last + 1] |= span.kind == "pull"
    past = np.where(on_dyno, 0.0, d.road_speed)
    standing = 25.0 * (1.0 + 0.05 * (np.ravel(d.ambient_temperature)[0] - 283.15) / 10.0)
    expected = drawn_rise(PICKUP, d.time, past, d.engine_speed, d.ambient_temperature, start=standing)
    assert found.compressor_in - d.ambient_temperature == pytest.approx(expected, abs=1e-6)
    assert expected[0] == pytest.approx(standing)
    assert expected[3200] < 15.0  # the wind has carried it off
    pull = np.flatnonzero(on_dyno)
    assert expected[pull[-1]] > expected[pull[0]]  # wheels turn on a dyno, the car stands


def test_a_cold_start_has_none_and_warms(build):
    d = sample(session_of(PhaseSpec(kind="idle", duration=3000.0)), build)
    assert d.drawn_rise[0] == 0.0
    assert (np.diff(d.drawn_rise) > 0.0).all()
    idle = 60.0 * d.engine_speed[-1]
    assert 15.0 < d.drawn_rise[-1] < 25.0 * (1.0 + 0.005 * (np.ravel(d.ambient_temperature)[0] - 283.15))
    assert 700.0 < idle < 1200.0  # turns warm an engine: below 1500 rpm it takes longer than `warming`


def test_without_the_keys_it_is_a_share_of_the_bay(examples):
    plain = load_build(examples / "tern" / "air.toml")
    assert sample(session_of(*town()), plain).drawn_rise is None


def test_a_point_is_settled_at_its_road_speed_or_held_at_its_moment(build):
    """2 + 23/(1 + V/6) K on a day of 10 degC, 5 % more for 10 K; at a moment what the session has there."""
    day = 1.0 + 0.05 * (300.0 - 283.15) / 10.0
    moving = operating_point(build, ambient=300.0, road_speed=30.0)
    assert moving.stages[0].inlet.item() - 300.0 == pytest.approx(day * (2.0 + 23.0 / 6.0), abs=1e-9)
    session = session_of(*town())
    held = operating_point(build, session=session, at=315.0)
    d = sample(session, build)
    there = float(np.ravel(d.ambient_temperature)[-1])
    assert held.stages[0].inlet.item() - there == pytest.approx(d.drawn_rise[3150], abs=1e-9)
    warmer = operating_point(build, session=session, at=315.0, ambient=there + 10.0)
    more = 0.05 * (2.0 + 23.0 / (1.0 + d.road_speed[3150] / 6.0))
    assert warmer.stages[0].inlet.item() - there - 10.0 == pytest.approx(d.drawn_rise[3150] + more, abs=1e-9)


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        ('pickup_lag = "10 min"', "parts.filter.pickup_lag: means nothing without pickup_at_rest"),
        ('bay_share = "5 %"\npickup_at_rest = "20 K"', "parts.filter.bay_share: takes no part beside pickup_at_rest"),
        ('pickup_moving = "9 K"\npickup_at_rest = "5 K"', "parts.filter.pickup_at_rest: is below pickup_moving"),
        ('pickup_at_rest = "20 degC"', "parts.filter.pickup_at_rest"),
    ],
)
def test_what_cannot_be_is_refused(tmp_path, keys, said):
    file = tmp_path / "hill.toml"
    file.write_text(spoiled(BUILD, (FILTER, f"{FILTER}\n{keys}")), encoding="utf-8")
    with pytest.raises(BadInput, match=said):
        load_build(file)


def test_only_keys_that_count_are_listed(tmp_path):
    file = tmp_path / "hill.toml"
    file.write_text(BUILD, encoding="utf-8")
    assert not [key for key in load_build(file).givens if "pickup_lag" in key]
    file.write_text(
        spoiled(BUILD, (FILTER, f'{FILTER}\npickup_at_rest = "45 degF rise +- 9 degF rise"')), encoding="utf-8"
    )
    build = load_build(file)
    assert build.parts["filter"].pickup_at_rest == pytest.approx(25.0)
    assert "parts.filter.pickup_lag" in build.givens
    assert "parts.filter.bay_share" not in build.givens
