"""Bands: coarse runs against fine ones, draws against closed cases, chances, failures, and the same on all cores."""

from __future__ import annotations

import os
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from coldside.build.files import load_build
from coldside.duty.demand import sample
from coldside.duty.model import LimitSpec, PhaseSpec, ReadingSpec
from coldside.duty.phases import load_session
from coldside.errors import BadInput, NoAnswer
from coldside.explore.bands import Bands, bands_json, simulate_many
from coldside.explore.coarse import put_right
from coldside.explore.draws import Uncertain, drawn, uncertain_inputs
from coldside.explore.outcome import COARSE, FINE, figures, run, thinned
from coldside.explore.sensitivity import REST, by_regression, by_variance
from coldside.explore.workers import on_all_cores
from coldside.judge.verdict import judge, judge_limit
from coldside.plant.forecast import simulate
from coldside.sheet.tables import key_figures
from judge import made

EXAMPLES = Path(__file__).parents[2] / "examples"
BUILD = load_build(EXAMPLES / "tern" / "water.toml")
DYNO = load_session(EXAMPLES / "sessions" / "dyno-pulls.toml")
# two pulls with a short rest: all that a session has, in a minute
SHORT = replace(
    DYNO,
    phases=(
        PhaseSpec(kind="idle", duration=10.0, air={"nose": 8.0}),
        replace(DYNO.phases[1], repeat=2, rest=20.0),
    ),
    limits=(
        LimitSpec(quantity="intake", at_most=325.0),
        LimitSpec(quantity="coolant", at_most=320.0, during="always"),
        LimitSpec(quantity="spread", at_most=0.5),
    ),
)


@cache
def bands() -> Bands:
    return simulate_many(BUILD, SHORT, 32)


def test_a_fine_outcome_is_the_forecast():
    """The same figures as from `simulate`, but for the charge side's table, which the forecast balances anew."""
    forecast = simulate(BUILD, SHORT)
    ours, theirs = figures(run(BUILD, SHORT, FINE)), figures(forecast)
    assert set(ours) == set(theirs)
    for name, value in theirs.items():
        # a cubic between nine plenum temperatures is within 1e-5 of the exact balance; of a share of power lost, what
        # both powers are off by counts of one, and that at ambient is looked up by straight lines
        off = 3e-5 if name.startswith("lost") else 1e-9
        assert ours[name] == pytest.approx(value, rel=2e-5, abs=off), name


@pytest.mark.parametrize("name", ["siskin/blown", "heron/two_stage"])
def test_a_belt_and_a_second_stage_are_reckoned_as_in_the_forecast(name):
    """Belt power and the gas between two compressors enter the power of an outcome as they do the forecast's."""
    build = load_build(EXAMPLES / f"{name}.toml")
    ours, theirs = figures(run(build, SHORT, FINE)), figures(simulate(build, SHORT))
    # with a belt the same exact balance in both; else the tables' flow, whose T^0.3 a cubic follows within 3e-8
    assert ours["power_mean"] == pytest.approx(theirs["power_mean"], rel=1e-7)
    assert ours["intake_max"] == pytest.approx(theirs["intake_max"], rel=1e-12)


def test_the_coolant_s_highest_counts_the_time_in_boost_as_the_sheet_s_figures_do():
    """Made coolant gets 2 K a minute warmer up to the end (302 K + t/30), which comes after the last boost."""
    forecast = made.forecast()
    told = figures(forecast)["coolant_max.charge"]
    assert told == pytest.approx(302.0 + forecast.time[forecast.boost].max() / 30.0)
    assert dict(key_figures(forecast, "si"))["coolant of loop charge into the cores"][1] == f"{told - 273.15:.0f} degC"


def test_runs_and_air_drawn_by_road_speed_are_thinned_with_the_rest():
    session = load_session(EXAMPLES / "sessions" / "standing-passes.toml")
    demand = replace(sample(session, BUILD), drawn_rise=None)
    demand = replace(demand, drawn_rise=np.linspace(0.0, 20.0, len(demand.time)))
    kept, k = thinned(demand, COARSE), COARSE.every
    assert demand.runs
    assert len(kept.runs) == len(demand.runs)
    for one, two in zip(kept.runs, demand.runs, strict=True):
        assert two.first <= k * one.first <= k * one.last <= two.last
        assert (one.time, one.label) == (two.time, two.label)
    assert len(kept.drawn_rise) == len(kept.distance) == len(kept.time)
    assert np.abs(kept.drawn_rise - demand.drawn_rise[::k]).max() <= 0.5 * COARSE.bay


@pytest.mark.parametrize("name", ["tern/water", "tern/air", "plover/build"])
def test_a_coarse_draw_put_right_is_near_its_fine_twin(name):
    """What is left after the nominal run's error is taken off: under 0.3 K, a tenth of a usual band's width."""
    build = load_build(EXAMPLES / f"{name}.toml")
    session = replace(SHORT, limits=(LimitSpec(quantity="intake", at_most=325.0),))
    inputs = uncertain_inputs(build, session)
    values = np.array([item.at(z) for item, z in zip(inputs, np.tile([1.0, -1.0], len(inputs)), strict=False)])
    moved = drawn(build, session, inputs, values)
    nominal, coarse = (figures(run(build, session, fineness)) for fineness in (FINE, COARSE))
    fine_twin, draw = (figures(run(*moved, fineness)) for fineness in (FINE, COARSE))
    for figure in ("intake_max", "sensor_max", "limits.0"):
        assert draw[figure] + nominal[figure] - coarse[figure] == pytest.approx(fine_twin[figure], abs=0.3)
    power = draw["power_mean"] * nominal["power_mean"] / coarse["power_mean"]
    assert power == pytest.approx(fine_twin["power_mean"], rel=0.003)


def test_thinned_keeps_times_spans_and_what_is_off():
    demand, k = sample(SHORT, BUILD), COARSE.every
    kept = thinned(demand, COARSE)
    assert kept.time == pytest.approx(np.arange(len(kept.time)) * 0.1 * k)
    assert [span.label for span in kept.spans] == [span.label for span in demand.spans]
    for one, two in zip(kept.spans, demand.spans, strict=True):
        assert two.first <= k * one.first < two.first + k
        assert two.last - k < k * one.last <= two.last
    near = 0.501 * COARSE.rounding  # half a step, and a little since steps are of the logarithm
    assert kept.engine_speed == pytest.approx(demand.engine_speed[::k], rel=near)
    assert kept.plenum_target == pytest.approx(demand.plenum_target[::k], rel=near)
    stopped = replace(demand, engine_speed=np.zeros_like(demand.engine_speed))
    assert (thinned(stopped, COARSE).engine_speed == 0.0).all()
    assert thinned(demand, FINE) is demand


def test_bands_hold_the_nominal_and_their_own_order():
    found = bands()
    assert found.draws == 32
    assert found.failed == ()
    for name, (low, middle, high) in found.figures.items():
        assert low <= middle <= high, name
    low, _, high = found.figures["intake_max"]
    assert low < found.nominal["intake_max"] < high
    assert 1.0 < high - low < 15.0  # K; a band of nothing or of everything would say that inputs are not drawn right
    assert found.figures["limits.0"] == found.figures["intake_max"]


def test_over_ambient_has_its_own_moment_where_the_air_changes():
    """Air that cools by 30 K over two pulls: the hottest intake comes first, the most over ambient last."""
    cooling = (ReadingSpec(at=5.0, temperature=313.15), ReadingSpec(at=40.0, temperature=283.15))
    ambient = replace(SHORT.ambient, temperature=313.15)
    found = run(BUILD, replace(SHORT, ambient=ambient, readings=cooling), COARSE)
    over = (found.intake - found.demand.ambient_temperature)[found.boost]
    at_the_peak = found.intake[found.peak] - found.demand.ambient_temperature[found.peak]
    assert figures(found)["over_ambient_max"] == over.max() > at_the_peak + 1.0


def test_a_spread_put_right_is_never_below_nothing():
    """What a coarse run of two alike repeats is off by may be more than the spread of a draw."""
    off, on_spread = np.array([0.01, 0.05]), LimitSpec(quantity="spread", at_most=0.2)
    assert put_right("spread_power", off, -0.03) == pytest.approx([0.0, 0.02])
    assert put_right("limits.0", off, -0.03, (on_spread,)) == pytest.approx([0.0, 0.02])
    assert put_right("limits.0", off, -0.03, SHORT.limits[:1]) == pytest.approx([-0.02, 0.02])
    assert put_right("power_mean", off, 2.0) == pytest.approx([0.02, 0.1])


def test_chances_are_counted_in_the_draws():
    found = bands()
    peaks = found.outcomes["intake_max"]
    assert found.chances["limits.0"] == np.mean(peaks <= 325.0)
    assert found.chances["limits.1"] == np.mean(found.outcomes["limits.1"] <= 320.0)
    assert found.chances["all"] <= min(value for name, value in found.chances.items() if name != "all")
    # a draw is over its limit for some time exactly where its peak is over it
    assert ((found.outcomes["seconds_over.0"] > 0.0) == (peaks > 325.0)).all()


def test_the_same_seed_gives_the_same_and_fewer_draws_are_the_first_of_more():
    again = simulate_many(BUILD, SHORT, 4)
    assert again.outcomes["intake_max"] == pytest.approx(bands().outcomes["intake_max"][:4], abs=1e-9)
    other = simulate_many(BUILD, SHORT, 4, seed=1)
    assert not np.allclose(other.outcomes["intake_max"], again.outcomes["intake_max"], atol=1e-6)


def test_nothing_uncertain_gives_a_band_without_width():
    found = simulate_many(BUILD, SHORT, 2, inputs=())
    for name, (low, middle, high) in found.figures.items():
        assert low == middle == high, name
        if not name.startswith("seconds"):
            assert middle == pytest.approx(found.nominal[name], rel=1e-12), name


def test_one_input_alone_moves_the_peak_as_a_real_change_does():
    """Core effectiveness one deviation up: the same K as simulating the changed build, to the coarse grid's error."""
    inputs = [item for item in uncertain_inputs(BUILD) if item.name.endswith("left_core.bench_effectiveness")]
    assert len(inputs) == 1
    moved, _ = drawn(BUILD, SHORT, inputs, np.array([float(inputs[0].at(1.0))]))
    real = figures(run(moved, SHORT, FINE))["intake_max"] - figures(run(BUILD, SHORT, FINE))["intake_max"]
    found = simulate_many(BUILD, SHORT, 8, inputs=inputs)
    slope = np.polyfit(found.scores[:, 0], found.outcomes["intake_max"], 1)[0]
    assert real < -0.5
    assert slope == pytest.approx(real, rel=0.1)  # the answer is a little curved over the draws


def test_draws_without_a_balance_are_told_or_refused():
    # a filter that would lose about the whole of the air pressure at this engine's flow
    item = Uncertain(("parts.filter.loss",), 1e4, 5e4, 0.0, 1e7, "log-normal", "pressure_difference", "")
    found = simulate_many(BUILD, SHORT, 8, inputs=[item])
    assert found.failed
    assert all("filter" in one for one in found.failed)
    assert found.draws + len(found.failed) == 8
    assert len(found.outcomes["intake_max"]) == len(found.scores) == found.draws
    with pytest.raises(NoAnswer, match="of 4 draws of the uncertain inputs have no balance"):
        simulate_many(BUILD, SHORT, 4, inputs=[replace(item, low=2e5)])


def test_too_few_draws_are_refused():
    with pytest.raises(BadInput):
        simulate_many(BUILD, SHORT, 1)


def test_the_verdict_says_how_sure_it_is():
    forecast = simulate(BUILD, SHORT)
    found = simulate_many(BUILD, SHORT, 4, forecast=forecast)
    said = judge(forecast, bands=found.figures, chances=found.chances).words()
    assert "The peak of the intake is likely" in said.headline
    assert "the chance that every limit holds is" in said.headline
    assert "Likely" in said.limits[0]
    assert "the chance that it holds is" in said.limits[0]


def test_json_names_units_and_percentiles():
    said = bands_json(bands())
    assert said["draws"] == 32
    assert set(said["intake_max_K"]) == {"p10", "p50", "p90"}
    assert said["power_mean_W"]["p50"] == bands().figures["power_mean"][1]
    assert "seconds_over.0_s" in said
    assert said["chances"]["all"] == bands().chances["all"]


def test_the_inputs_that_matter_are_those_of_a_real_change():
    """Effectiveness of the cores and recovery, or compressor efficiency, lead; hoses and bosses do not."""
    found = by_regression(bands())
    assert found.influences
    known = {item.name for item in uncertain_inputs(BUILD, SHORT)}
    assert {one.name for one in found.influences} <= known
    assert not any("hose" in one.name or "boss" in one.name for one in found.influences[:2])
    assert 0.3 < found.explained <= 1.0


def test_shares_of_variance_on_request():
    found = by_variance(BUILD, SHORT, bands(), most=1, n=6)
    assert found.runs == 6 * 4
    assert len(found.influences) == 2
    assert any(one.name == REST for one in found.influences)
    assert all(one.total_error >= 0.0 for one in found.influences)


def squares(shared: float, jobs: list[float]) -> list[float]:
    return [shared * job * job for job in jobs]


def test_jobs_come_back_in_order_from_all_cores():
    assert on_all_cores(squares, 2.0, [float(k) for k in range(7)]) == [2.0 * k * k for k in range(7)]
    assert on_all_cores(squares, 2.0, []) == []


def test_a_fault_in_a_worker_is_raised_here():
    with pytest.raises(TypeError):
        on_all_cores(squares, 2.0, [1.0, "two", 3.0])


HERE = os.getpid()


def killed(shared: float, jobs: list[float]) -> list[float]:
    """Dies without a word in any process but this one, as one does that runs out of memory."""
    if os.getpid() != HERE:
        os._exit(1)
    return squares(shared, jobs)


def test_what_a_killed_worker_had_to_do_is_done_here():
    assert on_all_cores(killed, 1.0, [1.0, 2.0, 3.0]) == [1.0, 4.0, 9.0]
    assert on_all_cores(squares, 1.0, [1.0, 2.0, 3.0]) == [1.0, 4.0, 9.0]


def test_inputs_can_be_shared_between_builds():
    """The same list for two builds gives both the same numbers, whichever of them has the key."""
    both = list(uncertain_inputs(BUILD))[:3]
    one = simulate_many(BUILD, SHORT, 2, inputs=both)
    two = simulate_many(replace(BUILD, name="twin"), SHORT, 2, inputs=both)
    assert (one.scores == two.scores).all()
    assert isinstance(both[0], Uncertain)


def test_a_limit_on_an_engine_s_loop_has_its_band():
    """A loop without charge cores is judged in every draw as it is on the forecast: where it leaves a part hottest."""
    build = load_build(EXAMPLES / "plover" / "stacked.toml")
    session = load_session(EXAMPLES / "sessions" / "dyno-pulls.toml")
    limit = LimitSpec(quantity="coolant", at_most=388.15, during="always", loop="engine_water")
    bands = simulate_many(build, replace(session, limits=(limit,)), 4)
    assert bands.figures["limits.0"][2] > bands.figures["limits.0"][0]


def test_the_chance_of_a_margin_is_that_it_is_not_fallen_below():
    """Each draw's margin is its own; the chance is the share of draws at or above the bound."""
    build = load_build(EXAMPLES / "siskin" / "blown.toml")
    limit = LimitSpec(quantity="margin", at_least=20.0)
    bands = simulate_many(build, replace(SHORT, limits=(limit,)), 8)
    margins = bands.outcomes["limits.0"]
    assert bands.nominal["limits.0"] == pytest.approx(judge_limit(simulate(build, SHORT), limit).value, rel=1e-9)
    assert np.ptp(margins) > 1.0
    middle = float(np.sort(margins)[3])  # four of eight lie above
    again = simulate_many(build, replace(SHORT, limits=(replace(limit, at_least=middle + 1e-6),)), 8)
    assert again.chances["limits.0"] == pytest.approx(0.5)
    assert again.chances["all"] == again.chances["limits.0"]
