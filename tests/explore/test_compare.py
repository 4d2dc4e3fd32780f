"""Comparing builds: pairs of draws, who is ahead where, what a build carries, and the words for water against air."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from coldside.build.files import load_build
from coldside.duty.model import LimitSpec, PhaseSpec, Span
from coldside.duty.phases import load_session
from coldside.errors import BadInput
from coldside.explore.compare import Comparison, compare, paired_inputs, stretch_name
from coldside.explore.compare_words import comparison_json, comparison_words, sessions_json, sessions_words
from coldside.explore.inventory import electrical_energy, inventory
from coldside.parts.airflow import SUPPLY, fan_current
from coldside.parts.pump import running_current
from coldside.plant.forecast import simulate
from coldside.sheet.comparison import comparison_text, sessions_text

EXAMPLES = Path(__file__).parents[2] / "examples"
WATER, AIR = (load_build(EXAMPLES / "tern" / f"{name}.toml") for name in ("water", "air"))
DYNO = load_session(EXAMPLES / "sessions" / "dyno-pulls.toml")
SHORT = replace(
    DYNO,
    phases=(
        PhaseSpec(kind="idle", duration=10.0, air={"nose": 8.0}),
        replace(DYNO.phases[1], repeat=2, rest=20.0),
    ),
    limits=(LimitSpec(quantity="intake", at_most=325.0),),
)


@cache
def bundled(session: str, n: int = 16) -> Comparison:
    return compare([WATER, AIR], load_session(EXAMPLES / "sessions" / f"{session}.toml"), n=n)


def test_what_two_builds_share_has_the_same_place():
    one, two = paired_inputs([WATER, AIR], SHORT)
    assert len(one) == len(two)
    both = [(a, b) for a, b in zip(one, two, strict=True) if a.keys and b.keys]
    assert all(a.name == b.name and a.sd == b.sd for a, b in both)
    names = {a.name for a, _ in both}
    assert {"engine.brake_efficiency", "parts.turbo.peak_efficiency"} <= names
    assert "parts.left_core.bench_effectiveness" not in names  # another core under the same name


def test_a_build_against_itself_differs_in_nothing():
    found = compare([WATER, WATER], SHORT, n=8, losses=False)
    for contrast in found.contrasts:
        assert contrast.gap == 0.0, contrast.figure
        assert contrast.settled == "open"
        if contrast.band is not None:  # every unknown is shared, so that it drops out
            assert contrast.band == (0.0, 0.0, 0.0)
            assert contrast.chance == 0.5
            assert contrast.overlap
    assert "nothing to choose" in comparison_words(found).headline


def test_pairs_narrow_a_difference_of_builds_that_share_most():
    """Two builds that differ in their bay alone: spans overlap, and the difference is known far better than either."""
    bay = replace(WATER.bay, temperature_rise=WATER.bay.temperature_rise + 15.0, idle_rise=WATER.bay.idle_rise + 15.0)
    found = compare([replace(WATER, bay=bay), WATER], SHORT, n=16, losses=False)
    contrast = found.contrast("intake_max")
    assert contrast is not None
    assert contrast.band is not None
    spans = [entry.band("intake_max") for entry in found.entries]
    assert contrast.band[2] - contrast.band[0] < 0.3 * min(span[2] - span[0] for span in spans)
    assert contrast.overlap
    assert contrast.ahead == "B"
    assert contrast.chance > 0.8  # but for draws in which the hotter bay starts the pump a pull earlier


def test_stretches_lose_the_numbers_of_their_repeats():
    def name(label: str, repeat: int) -> str:
        return stretch_name(Span(0, 1, "pull", label, repeat))

    assert name("pull 3", 2) == "pull"
    assert name("lap 12 main straight", 11) == "main straight"
    assert name("highway 66", -1) == "highway 66"
    assert name("rest", 1) == "rest"


def test_what_a_build_carries():
    """Metal and coolant as typed in the files; lines by hand from their sizes."""
    held = inventory(WATER)
    # cores 2 x 2.6, exchangers 2 x 2.2 + 2.8, tank 1.8, plenum 4.2; the rest is pipes (2700 kg/m3) and hoses
    assert 18.4 < held.metal < 18.4 + 4.0
    # tank 9.5, cores 2 x 0.7, exchangers 2 x 0.8 + 1.0; hoses of 4 m and 19 mm bore
    liters = 9.5 + 1.4 + 2.6 + np.pi / 4.0 * 0.019**2 * 4.0 * 1e3
    assert held.coolant_volume * 1e3 == pytest.approx(liters, abs=0.2)  # what a pump holds is a default
    # 30 % glycol by volume at 20 degC: 1.04 kg/L within its grade
    assert held.coolant / (held.coolant_volume * 1e3) == pytest.approx(1.04, abs=0.01)
    assert held.pumps == ("pump",)
    assert inventory(AIR).pumps == ()
    assert inventory(AIR).coolant == 0.0


def test_electrical_energy_is_power_times_time_on():
    forecast = simulate(WATER, SHORT)
    pump, fan = forecast.build.parts["pump"], forecast.build.parts["left_fan"]
    seconds = {name: float(np.trapezoid(forecast.command[name], forecast.time)) for name in forecast.command}
    by_hand = seconds["pump"] * running_current(pump) * pump.curve_voltage
    by_hand += (seconds["left_fan"] + seconds["right_fan"]) * float(fan_current(fan)) * SUPPLY
    assert electrical_energy(forecast) == pytest.approx(by_hand, rel=1e-9)
    assert by_hand > 0.0


def test_two_to_four_builds():
    for count in (1, 5):
        with pytest.raises(BadInput, match="2 to 4"):
            compare([WATER] * count, SHORT)


def test_without_draws_nothing_is_said_of_how_sure():
    found = compare([AIR, WATER, AIR], SHORT, n=0)
    words = comparison_words(found)
    assert len(words.names) == 3
    assert "likely" not in " ".join([words.headline, *words.differences, *words.where])
    # two are the same car, which says nothing of the third
    assert words.differences[0].startswith("Power in boost is the same within 0 % for A and C: ")
    assert "; B " in words.differences[0]
    said = json.loads(json.dumps(comparison_json(found), allow_nan=False))
    assert list(said["builds"]) == ["A", "B", "C"]
    assert said["figures"]["hottest_in_boost_K"]["chance"] is None


def test_without_limits_none_is_said_to_break_or_hold_with_parts_dead():
    found = compare([AIR, WATER], replace(SHORT, limits=()), n=0)
    failures = comparison_words(found).failures
    assert "with its pump dead from the start" in failures[1]
    assert "goes to" in failures[1]
    assert "limit" not in " ".join(failures)


@pytest.mark.slow
@pytest.mark.parametrize("session", ["track", "traffic-then-pull"])
def test_water_against_air(session):
    """The facts behind the words, each from the figures; who wins where on this invented car."""
    found = bundled(session)
    words = comparison_words(found)
    hottest = found.contrast("intake_max")
    assert hottest is not None
    a, b = (entry.band("intake_max") for entry in found.entries)
    # two air cores in the side ducts beat the water-cooled way on the move, and not by what is unknown
    assert hottest.ahead == "B"
    assert b[2] < a[0]
    assert "ranges do not overlap" in words.headline
    # what is not settled is not told as a difference
    cooler, even = " ".join(text for text in words.where if " is cooler " in text), words.where[-1]
    for name, contrast in found.stretches:
        assert (f" {name} (" in cooler) == (contrast.settled != "open"), name
        assert (contrast.settled != "open") or name in even, name
    summing = " ".join(words.summing_up)
    assert "In favour of A" in summing
    assert "no pump that could die" in summing
    # the water-cooled one dies with its pump
    dead = {loss.what: loss for loss in found.entries[0].losses}
    assert dead["pumps"].intake > found.entries[0].figures["intake_max"] + 10.0
    assert "breaks its limit on intake" in words.failures[0]
    if session == "traffic-then-pull":
        assert "stop and go" in words.where[-1]  # soaked, both read the same
        assert found.entries[0].verdict.holds
        assert found.entries[1].verdict.holds
    else:
        assert "spread of repeats" in words.limits[1]


@pytest.mark.slow
def test_water_against_air_over_two_sessions():
    """One line each for cooler charge, power and limits, from the same contrasts; who wins where in one call."""
    both = [bundled("track"), bundled("traffic-then-pull")]
    cooler, power, limits = sessions_words(both)
    for line, figure in ((cooler, "intake_max"), (power, "power_mean")):
        for one in both:
            contrast = one.contrast(figure)
            assert contrast is not None
            assert f"{contrast.ahead} in {one.session.name} (" in line.replace(", likely,", "")
            assert f"ranges {'' if contrast.overlap else 'do not '}overlap" in line
    assert limits == "Every limit holds: A in both; B in Traffic, highway, one pull only."
    said = json.loads(json.dumps(sessions_json(both), allow_nan=False))
    assert [one["schema"] for one in said["sessions"]] == ["coldside.comparison/1"] * 2
    text = sessions_text(both, width=44)
    assert max(map(len, text.splitlines())) <= 44
    assert text.index("Over these sessions") > text.index("Traffic, highway")


def test_one_session_has_no_words_over_several():
    found = compare([AIR, WATER], SHORT, n=0, losses=False)
    assert sessions_text([found], width=60) == comparison_text(found, width=60)
    assert max(map(len, comparison_text(found, width=40).splitlines())) <= 40


def test_a_stretch_that_differs_little_is_told_with_its_overlap():
    """Three builds: the next best is named; of ranges that overlap it is said where."""
    cores = [f"parts.{side}_core.bench_effectiveness=0.6" for side in ("left", "right")]
    found = compare([load_build(EXAMPLES / "tern" / "water.toml", cores), WATER, AIR], SHORT, n=8, losses=False)
    said = " ".join(comparison_words(found).where)
    pull = next(one for name, one in found.stretches if name == "pull")
    assert pull.settled != "open"
    assert f"{pull.ahead} is cooler at its hottest in boost in pull (" in said
    assert f" of {pull.next}" in said
    assert f"likely ranges {'' if pull.overlap else 'do not '}overlap" in said


# ---------------------------------------------------------------- on the clock


PASS = replace(
    load_session(EXAMPLES / "sessions" / "standing-passes.toml"),
    phases=(PhaseSpec(kind="pass", distance=402.336, launch_hold=3.0),),
    groups={},
    limits=(),
)


def clock_words(found: Comparison) -> list[str]:
    return [text for text in comparison_words(found).differences if text.startswith(("On the clock", "Heat costs"))]


def test_who_wins_on_the_clock_is_said_with_its_likely_range():
    """A car 60 kg lighter and else the same: T ~ m^(1/3) from rest at constant power, so up to 2 % of its time."""
    light = replace(WATER, car=replace(WATER.car, mass=WATER.car.mass - 60.0))
    found = compare([WATER, light], PASS, n=8, losses=False)
    best = found.contrast("run_best.pass")
    assert best.ahead == "B"
    assert best.settled == "clear"
    time, most = best.values["A"], 60.0 / WATER.car.mass / 3.0
    assert 0.0 < best.band[0] <= best.band[2] < most * time
    said, heat = clock_words(found)
    assert re.match(
        r"On the clock, the pass: B \d+\.\d\d s, A \d+\.\d\d s; B is likely [\d. to]+ s quicker than A", said
    )
    assert re.match(r"Heat costs, against .*: A 0\.\d\d s \(likely .*\); B 0\.\d\d s \(likely .*\)\.$", heat)
    assert "a quicker best pass" in comparison_words(found).summing_up[-2]
    assert comparison_json(found)["figures"]["run_best.pass_s"]["gap_band"]["p10"] == best.band[0]
    without = compare([WATER, light], PASS, n=0, losses=False)
    assert re.search(r"B is 0\.\d\d s quicker than A\.$", clock_words(without)[0])


COSTS = "Heat costs, against a charge at ambient temperature:"
GAINS = "A charge colder than ambient gains:"


@pytest.mark.parametrize(
    ("costs", "told"),
    [
        ((0.12, 0.002), f"{COSTS} A 0.12 s; B nothing that a clock tells."),
        ((0.12, -0.02), f"{COSTS} A 0.12 s. {GAINS} B 0.02 s."),
        ((-0.05, -0.02), f"{GAINS} A 0.05 s; B 0.02 s."),
        ((-0.004, 0.004), f"{COSTS} A nothing that a clock tells; B nothing that a clock tells."),
    ],
)
def test_what_a_cold_charge_gains_is_told_as_gained(alike, costs, told):
    entries = tuple(
        replace(entry, figures={**entry.figures, "heat_cost.pass": cost})
        for entry, cost in zip(alike.entries, costs, strict=True)
    )
    assert told in comparison_words(replace(alike, entries=entries)).differences


@pytest.fixture(scope="module")
def alike() -> Comparison:
    return compare([WATER, WATER], PASS, n=0, losses=False)


def test_a_range_of_the_difference_that_holds_zero_says_that_they_cannot_be_told_apart():
    found = compare([WATER, WATER], PASS, n=8, losses=False)
    assert clock_words(found)[0].endswith("the two cannot be told apart.")
    power = found.contrast("power_mean")
    # the same with a difference that is made up: as it stands B is ahead, in the draws on both sides of nothing
    wide = replace(power, gap=9e3, ahead="B", next="A", settled="open", band=(-4e3, 5e3, 12e3), chance=0.8)
    told = replace(found, contrasts=tuple(wide if one is power else one for one in found.contrasts))
    assert any(
        text.endswith(
            "cannot be told apart: the difference is likely between 4 kW in favour of A and 12 kW in favour of B."
        )
        for text in comparison_words(told).differences
    )
    behind = replace(wide, band=(-12e3, -5e3, -4e3), chance=0.05)
    told = replace(found, contrasts=tuple(behind if one is power else one for one in found.contrasts))
    assert any("likely 4 to 12 kW in favour of A" in text for text in comparison_words(told).differences)


def test_a_likely_range_that_holds_zero_settles_nothing():
    """Whatever is ahead in most of the draws: eight in ten of them were once enough."""
    found = compare([WATER, AIR], SHORT, n=8, losses=False)
    for one in found.contrasts:
        assert one.settled == "open" or one.told_apart, one.figure
