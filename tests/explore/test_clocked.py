"""Times of passes and laps in draws and what heat costs them, against forecasts of the same draws driven for real."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from coldside.build.files import load_build
from coldside.build.model import Build
from coldside.duty.model import PhaseSpec, Session
from coldside.duty.phases import load_session
from coldside.explore.bands import PERCENTILES, bands_json, simulate_many
from coldside.explore.clocked import Clock
from coldside.explore.draws import drawn, scores, uncertain_inputs, values_of
from coldside.explore.outcome import FINE, figures, run
from coldside.plant.forecast import simulate
from coldside.plant.results import Forecast

EXAMPLES = Path(__file__).parents[2] / "examples"


@cache
def build_of(name: str) -> Build:
    return load_build(EXAMPLES / f"{name}.toml")


def passes(repeat: int = 2) -> Session:
    """Standing passes with hardly any rest between."""
    whole = load_session(EXAMPLES / "sessions" / "standing-passes.toml")
    phase = PhaseSpec(kind="pass", distance=402.336, repeat=repeat, rest=20.0, launch_hold=3.0)
    return replace(whole, phases=(phase,), groups={}, limits=())


def laps(repeat: int = 3) -> Session:
    """Laps of the bundled loop."""
    whole = load_session(EXAMPLES / "sessions" / "track-day.toml")
    return replace(whole, phases=(replace(whole.phases[1], repeat=repeat),), groups={}, limits=())


@cache
def forecast_of(name: str, kind: str) -> Forecast:
    return simulate(build_of(name), passes() if kind == "pass" else laps())


def test_a_session_without_runs_has_no_clock():
    quiet = replace(passes(), phases=(PhaseSpec(kind="idle", duration=5.0),))
    assert Clock.of(simulate(build_of("tern/water"), quiet)) is None


@pytest.mark.parametrize("kind", ["pass", "lap"])
def test_more_power_is_worth_most_where_the_rest_of_the_run_has_it_to_use(kind):
    """Slopes add up to what a run gains for more power all along it; of a standing start the end is worth least."""
    forecast = forecast_of("tern/water", kind)
    clock = Clock.of(forecast)
    first = forecast.runs[-1].run
    slope = clock.slope[first.phase, first.repeat]
    # constant power and no drag from rest: T ~ P^(-1/3), so a third of the time; tyres that spin and gears leave less
    assert -first.time / 3.0 < slope.sum() < -0.05 * first.time
    if kind == "pass":
        assert np.abs(slope[-4:]).max() < 0.2 * np.abs(slope).max()


@pytest.mark.parametrize("kind", ["pass", "lap"])
def test_a_fine_run_on_the_clock_is_the_forecast(kind):
    """Without another draw or coarser cells nothing is left but the slopes: 1 ms of a time, 8 % of heat's cost."""
    forecast = forecast_of("tern/water", kind)
    found = run(forecast.build, forecast.session, FINE, clock=Clock.of(forecast))
    assert len(found.runs) == len(forecast.runs)
    for one, two in zip(found.runs, forecast.runs, strict=True):
        assert one.run.time == pytest.approx(two.run.time, abs=1e-3 if kind == "pass" else 5e-3)
        assert one.cost == pytest.approx(two.cost, rel=0.08)
    boost = forecast.boost
    # straight lines between nine plenum temperatures, of flow times temperature
    assert found.power_at_ambient[boost] == pytest.approx(forecast.power_at_ambient[boost], rel=1e-4)


@pytest.mark.parametrize("name", ["siskin/blown", "heron/two_stage"])
def test_power_at_ambient_is_the_forecast_s_with_a_belt_and_with_two_stages(name):
    build, session = build_of(name), passes(1)
    forecast = simulate(build, session)
    found = run(build, session, FINE, shares=forecast.shares)
    own = found.boost & forecast.boost
    assert own.any()
    # straight lines between plenum temperatures cross the kink at which a belt's limit begins, and what a belt takes is
    # reckoned a trifle below its limit; with two stages what lies between them is taken as in the middle of its table
    assert found.power_at_ambient[own] == pytest.approx(forecast.power_at_ambient[own], rel=3e-3)
    assert np.isnan(found.power_at_ambient[~found.boost]).all()


def test_trims_of_boost_have_their_boost_back_at_ambient():
    """A car that cuts boost for a warm charge makes more power at ambient by the boost too, as in the forecast."""
    build = build_of("tern/water")
    trimmed = replace(build, engine=replace(build.engine, trim_boost=((293.15, 0.0), (333.15, 0.2))))
    session = passes(1)
    forecast = simulate(trimmed, session)
    found = run(trimmed, session, FINE, shares=forecast.shares)
    theirs, ours = figures(forecast)["lost_to_heat_in_boost"], figures(found)["lost_to_heat_in_boost"]
    assert theirs > 1.5 * figures(forecast_of("tern/water", "pass"))["lost_to_heat_in_boost"]
    assert ours == pytest.approx(theirs, rel=0.05)  # trims take a few turns here, there as many as they need


def agree(name: str, session: Session, n: int, kind: str) -> None:
    """Bands against a loop of forecasts: times within a tenth of their band's width, heat's cost within a fifth."""
    build = build_of(name)
    forecast = simulate(build, session)
    found = simulate_many(build, session, n, forecast=forecast)
    inputs = uncertain_inputs(build, session)
    rows = values_of(inputs, scores(len(inputs), n))
    whole = [figures(simulate(*drawn(build, session, inputs, row))) for row in rows]
    for figure, share in [
        (f"run_best.{kind}", 0.1), (f"run_mean.{kind}", 0.1), (f"run_total.{kind}", 0.1), ("run_time.1", 0.1),
        (f"heat_cost.{kind}", 0.2), ("run_cost.1", 0.2), ("lost_to_heat_in_boost", 0.2), ("spread_temperature", 0.3),
    ]:  # fmt: skip
        exact = np.array([one[figure] for one in whole])
        width = float(np.ptp(np.percentile(exact, PERCENTILES)))
        assert width > 0.0
        assert found.figures[figure] == pytest.approx(np.percentile(exact, PERCENTILES), abs=share * width), figure
        # and draw by draw, so that pairs of draws of two builds can be compared
        off = found.outcomes[figure] - exact
        assert float(np.sqrt(np.mean(off**2))) < 2.0 * share * float(exact.std()), figure


@pytest.mark.slow
def test_bands_of_passes_are_those_of_forecasts():
    agree("tern/water", passes(), 12, "pass")


@pytest.mark.slow
def test_bands_of_laps_are_those_of_forecasts():
    agree("tern/water", laps(), 8, "lap")


@pytest.mark.slow
def test_bands_of_standing_starts_on_a_hill_are_those_of_forecasts():
    whole = load_session(EXAMPLES / "sessions" / "hill-climb.toml")
    agree("plover/build", replace(whole, groups={"run": 2}), 8, "run")


def test_nothing_uncertain_leaves_the_forecast_s_own_times():
    """What the coarse twin is off by is taken off again."""
    forecast = forecast_of("tern/water", "pass")
    found = simulate_many(forecast.build, forecast.session, 2, forecast=forecast, inputs=())
    for name, value in figures(forecast).items():
        if name.startswith(("run", "heat", "lost")):
            assert found.outcomes[name] == pytest.approx([value] * 2, abs=1e-9), name


def test_a_stronger_engine_is_quicker_by_its_power():
    """Draws of efficiency alone: T ~ P^(-1/3) at constant power from rest without drag; spinning tyres leave less."""
    forecast = forecast_of("tern/water", "pass")
    (item,) = (item for item in uncertain_inputs(forecast.build) if item.name == "engine.brake_efficiency")
    found = simulate_many(forecast.build, forecast.session, 8, forecast=forecast, inputs=(item,))
    power = np.log(item.at(found.scores[:, 0]))
    by = np.polyfit(power, np.log(found.outcomes["run_mean.pass"]), 1)[0]
    assert -1.0 / 3.0 < by < -0.1


def test_keys_of_the_json_carry_seconds():
    forecast = forecast_of("tern/water", "pass")
    said = bands_json(simulate_many(forecast.build, forecast.session, 2, forecast=forecast))
    assert {"run_best.pass_s", "run_mean.pass_s", "run_total.pass_s", "heat_cost.pass_s", "run_time.0_s"} <= set(said)
    assert "lost_to_heat_in_boost" in said
