"""Times of runs in words and JSON: sums that must close, clock's form, both signs of the cost."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from coldside.build.files import load_build
from coldside.duty.demand import sample
from coldside.duty.model import PhaseSpec, Run
from coldside.duty.phases import load_session
from coldside.explore.bands import simulate_many
from coldside.judge.run_times import boost_feedback_words, feedback_words, run_rows, run_sentences, runs_json
from coldside.judge.summary import forecast_json
from coldside.judge.verdict import judge
from coldside.judge.wording import stopwatch
from coldside.plant.feedback import TimedRun
from coldside.plant.forecast import simulate
from coldside.plant.results import Forecast
from coldside.sheet.answer import judged
from coldside.sheet.asked import Asked
from coldside.sheet.render import sheet_html
from coldside.sheet.terminal import forecast_text

EXAMPLES = Path(__file__).parents[2] / "examples"


@cache
def passes() -> Forecast:
    """Two passes over a quarter of a mile, hardly any rest between."""
    session = load_session(EXAMPLES / "sessions" / "standing-passes.toml")
    short = PhaseSpec(kind="pass", distance=402.336, repeat=2, rest=20.0)
    return simulate(load_build(EXAMPLES / "tern" / "water.toml"), replace(session, phases=(short,), groups={}))


def with_costs(*costs: float, cold: float = 11.0) -> Forecast:
    """The same with other times."""
    runs = tuple(
        TimedRun(Run(0, k, f"pass {k + 1}", 10 * k, 10 * k + 9, cold + cost, 55.0, 402.0), cold)
        for k, cost in enumerate(costs)
    )
    return replace(passes(), runs=runs)


def words_of(forecast: Forecast, system: str = "si") -> str:
    return " ".join(sentence.words(system) for sentence in run_sentences(forecast))


@pytest.mark.parametrize(
    ("seconds", "told"),
    [(10.981, "10.98 s"), (59.994, "59.99 s"), (59.996, "1:00.00"), (82.394, "1:22.39"), (185.0, "3:05.00")],
)
def test_a_clock_of_hundredths(seconds, told):
    assert stopwatch(seconds) == told


def test_json_says_what_the_forecast_has():
    forecast = passes()
    said = forecast_json(forecast, judge(forecast))
    assert [one["run"] for one in said["runs"]] == [one.run.label for one in forecast.runs]
    assert len(said["runs"]) == 2
    for one in said["runs"]:
        # the definition of the cost; a float's rounding of a subtraction
        assert one["heat_cost_s"] == pytest.approx(one["time_s"] - one["at_ambient_s"], abs=1e-12)
        # the mean speed over a pass from rest is under that on the finish line, whatever the engine
        assert one["length_m"] / one["time_s"] < one["finish_speed_m_s"]
        # the charge is warmer than ambient in boost here, so heat can only cost
        assert one["heat_cost_s"] > 0.0
        assert one["kind"] == "pass"
    assert said["runs"][1]["start_s"] - said["runs"][0]["start_s"] > said["runs"][0]["time_s"] + 20.0
    assert said["health"]["feedback_s"] == list(forecast.feedback)
    assert forecast.feedback[-1] < 2e-3  # the bound that the march stops at


def test_a_session_without_runs_has_none_and_says_nothing():
    session = load_session(EXAMPLES / "sessions" / "dyno-pulls.toml")
    short = replace(session, phases=(PhaseSpec(kind="idle", duration=5.0),))
    forecast = simulate(load_build(EXAMPLES / "tern" / "water.toml"), short)
    assert runs_json(forecast) == []
    assert run_sentences(forecast) == []
    assert feedback_words(forecast) == ""
    verdict = judge(forecast)
    assert "heat costs" not in forecast_text(forecast, verdict, "si", 100)
    assert "Runs, and" not in sheet_html(forecast, verdict, "si")


def test_rows_and_sentence_agree_on_paper_and_terminal():
    forecast = passes()
    verdict = judge(forecast)
    text, page = forecast_text(forecast, verdict, "us", 100), sheet_html(forecast, verdict, "us")
    for row in run_rows(forecast, "us"):
        assert all(cell in text for cell in row)
        assert all(cell in page.replace("\u00a0", " ") for cell in row)
    assert "mph" in text
    assert "km/h" not in text
    assert "driving and heat: brought together in" in text


def test_paper_and_terminal_say_what_is_likely():
    forecast = passes()
    bands = simulate_many(forecast.build, forecast.session, 4, forecast=forecast)
    asked = Asked(bands=bands)
    verdict = judged(forecast, asked)
    text, page = forecast_text(forecast, verdict, "si", 200, asked=asked), sheet_html(forecast, verdict, "si", asked)
    page = page.replace("\u00a0", " ")
    for row in run_rows(forecast, "si", bands.figures):
        assert row[2].count("likely") == row[4].count("likely") == 1
        assert all(cell in text and cell in page for cell in row)
    low, _, high = bands.figures["run_best.pass"]
    said = f"the best pass likely takes {low:.2f} to {high:.2f} s and one on average"
    assert said in text
    assert said in page
    assert re.search(r"of the work done in boost \(likely [\d.]+ to [\d.]+ %\)\.", text)
    assert "heat costs the passes in all" in text


def test_what_did_not_settle_is_not_said_to_have():
    forecast = passes()
    assert feedback_words(forecast).startswith("brought together in")
    assert feedback_words(replace(forecast, feedback=(0.4, 0.026))).startswith("not wholly brought together in two")
    assert boost_feedback_words(replace(forecast, boost_feedback=(9e3, 960.0))).startswith(
        "not wholly brought together"
    )
    assert boost_feedback_words(replace(forecast, boost_feedback=(9e3, 60.0))).startswith("brought together")


@pytest.mark.parametrize(
    ("costs", "said"),
    [
        ((0.1,), r"^The pass takes 11\.10 s; heat costs 0\.10 s against a charge at ambient temperature\.$"),
        ((0.1, 0.3), r"^Two passes take 11\.10 to 11\.30 s; heat costs 0\.10 to 0\.30 s each, 0\.40 s in all, "),
        ((-0.2,), r"^The pass takes 10\.80 s; a charge colder than ambient gains 0\.20 s\.$"),
        ((-0.2, -0.1), r"a charge colder than ambient gains 0\.10 to 0\.20 s each, 0\.30 s in all\.$"),
        ((-0.2, 0.1), r"heat costs up to 0\.10 s and a cold charge gains up to 0\.20 s"),
        ((0.001, -0.001), r"^Two passes take 11\.00 s; heat costs nothing that a clock tells\.$"),
    ],
)
def test_cost_in_words(costs, said):
    assert re.search(said, words_of(with_costs(*costs)))


def test_alike_phases_are_told_apart_by_when_they_begin():
    forecast = with_costs(0.1, 0.2)
    second = replace(forecast.runs[1], run=replace(forecast.runs[1].run, phase=1, repeat=0, first=600))
    two = replace(
        forecast,
        runs=(forecast.runs[0], second),
        session=replace(forecast.session, phases=forecast.session.phases * 2),
    )
    assert [re.search(r"from (\S+) on", s.words())[1] for s in run_sentences(two)] == ["0:00", "1:00"]


BANDS = {
    "run_best.pass": (10.8, 11.0, 11.2),
    "run_mean.pass": (10.9, 11.1, 11.3),
    "heat_cost.pass": (0.3, 0.4, 0.55),
    "run_time.0": (10.9, 11.1, 11.3),
    "run_cost.0": (0.05, 0.1, 0.2),
}


@pytest.mark.parametrize(
    ("cost", "said"),
    [
        ((0.3, 0.4, 0.55), "; heat likely costs 0.30 to 0.55 s over both passes."),
        ((-0.3, -0.2, -0.1), "; a charge colder than ambient likely gains 0.10 to 0.30 s over both passes."),
        (
            (-0.1, 0.0, 0.3),
            "heat costs anything cannot be told: likely between 0.10 s gained and 0.30 s lost over both passes.",
        ),
        ((-0.001, 0.1, 0.3), "; heat likely costs up to 0.30 s over both passes."),
        ((-0.3, -0.1, 0.004), "; a charge colder than ambient likely gains up to 0.30 s over both passes."),
        ((-0.001, 0.0, 0.001), "; what heat costs cannot be told on a clock."),
    ],
)
def test_likely_times_and_cost_in_words(cost, said):
    last = run_sentences(with_costs(0.1, 0.3), BANDS | {"heat_cost.pass": cost})[-1].words()
    assert last.startswith(
        "With what is not known, the best pass likely takes 10.80 to 11.20 s and one on average 10.90"
    )
    assert last.endswith(said)


def test_a_single_run_is_no_best_of_several():
    alone = {name: band for name, band in BANDS.items() if name != "run_mean.pass"}
    last = run_sentences(with_costs(0.1), alone)[-1].words()
    assert last == "With what is not known, the pass likely takes 10.80 to 11.20 s; heat likely costs 0.30 to 0.55 s."


def test_rows_carry_what_is_likely_where_it_is_known():
    first, second = run_rows(with_costs(0.1, 0.3), "si", BANDS)
    assert first[2] == "11.10 s (likely 10.90 to 11.30 s)"
    assert first[4] == "0.10 s (likely 0.05 to 0.20 s)"
    assert (second[2], second[4]) == ("11.30 s", "0.30 s")


def test_what_a_cold_charge_gains_is_no_cost_in_the_table():
    gained, nothing = run_rows(with_costs(-0.05, -0.004), "si", {"run_cost.0": (-0.06, -0.05, -0.02)})
    assert gained[4] == "0.05 s gained (likely 0.02 to 0.06 s gained)"
    assert nothing[4] == "nothing"


def test_runs_up_an_open_track_are_no_laps():
    hill = load_session(EXAMPLES / "sessions" / "hill-climb.toml")
    demand = sample(replace(hill, groups={"run": 1}), load_build(EXAMPLES / "tern" / "water.toml"))
    assert [one.standing for one in demand.runs] == [True]
    forecast = with_costs(0.1, 0.2)
    phase = replace(forecast.session.phases[0], kind="lap")
    runs = tuple(replace(one, run=replace(one.run, standing=True)) for one in forecast.runs)
    up = replace(forecast, session=replace(forecast.session, phases=(phase,)), runs=runs)
    assert words_of(up).startswith("Two runs take")
    rolling = replace(up, runs=tuple(replace(one, run=replace(one.run, standing=False)) for one in runs))
    assert words_of(rolling).startswith("Two laps take")


def test_passes_that_the_tyres_rule_say_how_long():
    """Closed form: grip 1.0 on the driven axle alone; a car at its tyres' limit is not at full load (loop case C30)."""
    assert not any("driven tyres" in one.words() for one in run_sentences(passes()))
    session = load_session(EXAMPLES / "sessions" / "standing-passes.toml")
    short = PhaseSpec(kind="pass", distance=402.336)
    found = simulate(load_build(EXAMPLES / "plover" / "build.toml"), replace(session, phases=(short,), groups={}))
    (told,) = [one for one in run_sentences(found) if "driven tyres" in one.words()]
    run, car = found.runs[0].run, found.build.car
    held = told.values["held"].value
    # until the power left by then is less than the grip takes: force mu m g l_f / (L - mu h) times the speed reached
    force = car.grip * car.mass * 9.81 * (1.0 - car.front_share) / (1.0 - car.grip * car.cg_height / car.wheelbase)
    reached = force / car.mass * held
    assert 0.5 * run.time < held < 0.7 * run.time
    assert force * reached == pytest.approx(float(found.power.max()) * car.driveline_efficiency, rel=0.35)
