"""Single changes: each moves what it says and nothing else, ranked and put right as fine runs do."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from coldside.build.files import load_build
from coldside.duty.model import LimitSpec, PhaseSpec
from coldside.duty.phases import load_session
from coldside.explore.changed import BOOST, FACE, TANK, changed, widened
from coldside.explore.changes import Changes, changes_json, what_to_change
from coldside.explore.inventory import inventory
from coldside.explore.outcome import FINE, figures, run
from coldside.parts.exchanger import derived_from_sizes, rate
from coldside.plant.forecast import simulate

EXAMPLES = Path(__file__).parents[2] / "examples"
WATER, AIR = (load_build(EXAMPLES / "tern" / f"{name}.toml") for name in ("water", "air"))
DYNO = load_session(EXAMPLES / "sessions" / "dyno-pulls.toml")
SHORT = replace(
    DYNO,
    phases=(
        PhaseSpec(kind="idle", duration=10.0, air={"nose": 8.0}),
        replace(DYNO.phases[1], repeat=2, rest=20.0),
    ),
    limits=(LimitSpec(quantity="intake", at_most=315.0),),
)


@cache
def found() -> Changes:
    return what_to_change(simulate(WATER, SHORT), draws=4, banded=2)


def test_ranked_by_effect_and_put_right():
    effects = [one.effect for one in found().ranked]
    assert effects == sorted(effects)
    assert found().urgency == "broken"
    best = found().ranked[0]
    assert best.value == found().value + best.effect
    assert best.band is not None
    assert best.band[0] < best.effect < best.band[1]
    assert found().ranked[-1].band is None


@pytest.mark.parametrize("kind", ["core", "boost", "coolant"])
def test_an_effect_is_that_of_two_fine_runs(kind):
    """The grid's error drops out of the difference but for a share of it: 0.1 K and a twentieth of the effect."""
    one = next(one for one in found().ranked if one.kind == kind)
    base, other = (figures(run(*pair, FINE))["limits.0"] for pair in ((WATER, SHORT), changed(kind, WATER, SHORT)))
    assert one.effect == pytest.approx(other - base, abs=0.1 + 0.05 * (base - other))
    assert one.effect < -0.5


def test_a_wider_core_has_its_bench_effectiveness_at_as_much_more_flow():
    """NTU and the ratio of capacity rates stay where both flows and UA grow alike: UA goes with the width."""
    spec, wide = AIR.parts["left_core"], widened(AIR, "left_core", FACE)
    assert rate(wide, None).UA == pytest.approx(FACE * rate(spec, None).UA, rel=1e-9)
    assert wide.metal_mass == FACE * spec.metal_mass


def test_a_sized_core_grows_in_mass_whether_typed_or_reckoned():
    name, sizes = (
        "left_core",
        {"stack_height": 0.3, "charge_length": 0.4, "cooling_length": 0.076, "charge_bore": 0.057},
    )
    spec = replace(AIR.parts[name], **sizes)
    typed = replace(AIR, parts={**AIR.parts, name: spec})
    assert widened(typed, name, FACE).metal_mass == pytest.approx(FACE * spec.metal_mass)
    reckoned = replace(typed, givens={k: v for k, v in AIR.givens.items() if k != f"parts.{name}.metal_mass"})
    own = derived_from_sizes(spec, frozenset())["metal_mass"]
    # end plates do not grow with the stack, hence a little less than in proportion
    assert widened(reckoned, name, FACE).metal_mass == pytest.approx(FACE * own, rel=0.05)
    assert own != pytest.approx(spec.metal_mass, rel=0.05)


def test_changes_move_what_they_say():
    build, _ = changed("tank", WATER, SHORT)
    assert build.parts["tank"].volume == TANK * WATER.parts["tank"].volume
    assert inventory(build).coolant_volume - inventory(WATER).coolant_volume == pytest.approx(9.5e-3)
    build, _ = changed("boost", WATER, SHORT)
    assert [p.value for _, p in build.engine.boost] == pytest.approx([BOOST * p.value for _, p in WATER.engine.boost])
    build, _ = changed("coolant", WATER, SHORT)
    assert build.loops["charge"].coolant == "water"
    assert build.parts["left_core"].bench_coolant == WATER.loops["charge"].coolant  # its bench was taken with the mix
    _, session = changed("rest", WATER, SHORT)
    assert session.phases[1].rest == 30.0


def test_what_is_not_there_is_not_changed():
    for kind in ("tank", "pump", "bore", "exchanger", "coolant"):
        assert changed(kind, AIR, SHORT) is None
    freezing = replace(SHORT, ambient=replace(SHORT.ambient, temperature=270.0))
    assert changed("coolant", WATER, freezing) is None
    assert changed("sealing", WATER, SHORT) is None


def test_words_and_json():
    said = [one.words("us") for one in found().sentences]
    assert said[0].startswith("What to change")
    assert not said[1][0].isdigit() or " % more" in said[1]
    assert "degF less" in said[1]
    block = changes_json(found())
    assert block["ranked"][0]["effect_K"] == found().ranked[0].effect
    assert block["runs"] == found().runs <= 15 + 4 * 3 + 7


def test_runs_are_driven_as_the_settled_forecast_drives_them_and_timed_with_what_heat_leaves():
    """Against two whole forecasts: a time by 10 % of the difference and 3 ms, the peak as in any session."""
    passes = replace(
        SHORT,
        phases=(PhaseSpec(kind="pass", distance=402.336, repeat=2, rest=60.0),),
        limits=(LimitSpec(quantity="intake", at_most=315.0),),
        ambient=replace(DYNO.ambient, temperature=308.15),
    )
    forecast = simulate(WATER, passes)
    found = what_to_change(forecast, kinds=("boost",), draws=0)
    (one,) = found.ranked
    other = simulate(*changed("boost", WATER, passes))
    times = [np.mean([timed.run.time for timed in each.runs]) for each in (forecast, other)]
    assert times[1] - times[0] > 0.05
    assert one.aside.run_time == pytest.approx(times[1] - times[0], rel=0.10, abs=3e-3)
    effect = float(other.intake[other.peak] - forecast.intake[forecast.peak])
    assert one.effect == pytest.approx(effect, abs=0.1 + 0.05 * abs(effect))
    assert "slower a run" in " ".join(sentence.words() for sentence in found.sentences)
    assert changes_json(found)["ranked"][0]["run_time_s"] == one.aside.run_time


def test_where_no_single_change_is_enough_two_together_are_run_again():
    """The pair's effect is that of the two changes made one after the other, run as finely as a forecast."""
    forecast = simulate(WATER, SHORT)
    peak = float(forecast.intake[forecast.boost].max())
    singles = {one.kind: -one.effect for one in found().ranked}
    need = 1.25 * max(singles["core"], singles["boost"])  # more than one of them brings, less than both
    hard = replace(SHORT, limits=(LimitSpec(quantity="intake", at_most=peak - need),))
    told = what_to_change(forecast, limits=hard.limits, kinds=("core", "boost", "tank"), draws=0)
    assert not any(one.holds for one in told.ranked)
    best = told.pairs[0]
    assert set(best.kinds) == {"core", "boost"}
    assert best.holds
    both = changed("boost", *changed("core", WATER, hard))
    base, other = (figures(run(*pair, FINE))["limits.0"] for pair in ((WATER, hard), both))
    assert best.effect == pytest.approx(other - base, abs=0.1 + 0.05 * (base - other))
    words = " ".join(one.words("us") for one in told.sentences)
    assert "The lightest two together that are: " in words
    assert "the limit then holds with" in words
    assert "a tank buys time, not capacity" in words
    assert changes_json(told)["pairs"][0]["kinds"] == list(best.kinds)
    never = replace(SHORT, limits=(LimitSpec(quantity="intake", at_most=300.0),))
    told = what_to_change(forecast, limits=never.limits, kinds=("core", "boost", "tank"), draws=0)
    words = " ".join(one.words("us") for one in told.sentences)
    assert "nor are two of the best together" in words
    assert f"still {abs(300.0 - told.pairs[0].value) * 1.8:.0f} degF over" in words


def test_water_on_a_face_is_tried_where_none_is():
    build, _ = changed("spray", AIR, SHORT)
    assert all(build.parts[name].spray > 0.0 for name in ("left_core", "right_core"))
    assert changed("spray", build, SHORT) is None
