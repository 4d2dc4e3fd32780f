"""Power, repeats and fuel against answers worked out by hand; definitions: the design's "JSON" (definitions note)."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coldside.duty.model import Span
from coldside.judge import power
from judge import made

EXACT = 1e-12  # closed forms: only round-off


def test_time_weights_integrate_straight_lines_exactly_on_any_grid():
    time = np.array([0.0, 0.1, 0.4, 2.0, 2.5])
    line = 3.0 + 4.0 * time
    assert power.time_weights(time) @ line == pytest.approx(3.0 * 2.5 + 2.0 * 2.5**2, rel=EXACT)


def test_mean_where_weighs_by_time_not_by_samples():
    time = np.array([0.0, 1.0, 1.1, 1.2, 1.3])
    values = np.array([10.0, 10.0, 0.0, 0.0, 0.0])
    everywhere = np.ones(5, dtype=bool)
    integral = 10.0 + 0.5 * 0.1 * 10.0
    assert power.mean_where(values, everywhere, time) == pytest.approx(integral / 1.3, rel=EXACT)
    assert power.mean_where(values, ~everywhere, time) is None


def test_power_kept_of_the_made_pulls():
    kept = power.power_kept(made.forecast())
    assert kept.peak == 300e3
    assert kept.mean_boost == pytest.approx(300e3, rel=EXACT)
    assert kept.spread == pytest.approx(0.0, abs=EXACT)
    assert kept.lost_to_heat == pytest.approx(1.0 - 1.0 / 1.05, rel=EXACT)
    assert kept.lost_in_boost == pytest.approx(1.0 - 1.0 / 1.05, rel=EXACT)
    # over-ambient maxima 20, 22 ... 30 K: (30 - 20)/25
    assert kept.spread_over_ambient == pytest.approx(0.4, rel=EXACT)


def test_density_kept_is_ambient_over_intake_temperature_at_equal_pressure():
    flat = made.forecast(peaks=(310.0, 310.0))
    assert power.power_kept(flat).density_kept == pytest.approx(300.0 / 310.0, rel=EXACT)


def test_power_spread_sees_a_weak_repeat():
    weak = made.forecast()
    third = next(s for s in weak.demand.spans if s.label == "pull 3")
    watts = weak.power.copy()
    watts[third.first : third.last + 1] = 270e3
    assert power.power_spread(replace(weak, power=watts)) == pytest.approx(30e3 / (5 * 300e3 + 270e3) * 6, rel=EXACT)


def test_a_session_without_repeats_has_no_spread():
    single = made.forecast(peaks=(320.0,))
    assert power.repeats(single) == ()
    assert power.power_kept(single).spread is None
    assert power.power_kept(single).spread_over_ambient is None


def test_never_in_boost_has_no_means_in_boost():
    calm = made.forecast()
    calm = replace(calm, plenum_pressure=np.full_like(calm.time, 40e3))
    kept = power.power_kept(calm)
    assert (kept.mean_boost, kept.density_kept, kept.spread, kept.spread_over_ambient) == (None, None, None, None)


def test_two_repeated_phases_are_two_sets():
    once = made.forecast()
    again = tuple(replace(s, repeat=s.repeat - 3) if s.repeat >= 3 else s for s in once.demand.spans)
    groups = power.repeats(replace(once, demand=replace(once.demand, spans=again)))
    assert [[r.label for r in group] for group in groups] == [
        ["pull 1", "pull 2", "pull 3"],
        ["pull 4", "pull 5", "pull 6"],
    ]


def test_spans_of_one_lap_are_one_repeat():
    base = made.forecast(peaks=(320.0, 324.0))
    n = len(base.time)
    laps = (
        Span(0, 100, "pull", "lap 1 straight", 0),
        Span(100, 300, "cruise", "lap 1 twisty", 0),
        Span(300, 500, "cruise", "lap 2 twisty", 1),
        Span(500, n - 1, "pull", "lap 2 straight", 1),
    )
    (group,) = power.repeats(replace(base, demand=replace(base.demand, spans=laps)))
    assert [(r.number, r.samples[0], r.samples[-1]) for r in group] == [(1, 0, 300), (2, 300, n - 1)]


@given(st.lists(st.floats(1.0, 100.0), min_size=2, max_size=8), st.floats(0.1, 10.0))
def test_relative_spread_does_not_know_the_unit(values, scale):
    one, other = power.relative_spread(values), power.relative_spread([scale * v for v in values])
    assert one == pytest.approx(other, rel=1e-9, abs=1e-12)  # round-off of the scaling
    assert one >= 0.0


def test_relative_spread_refuses_what_has_no_mean():
    assert power.relative_spread([1.0]) is None
    assert power.relative_spread([-1.0, 1.0]) is None


def test_fuel_is_shared_by_the_injectors():
    fuel = power.fuel_demand(made.forecast(injector_capacity=0.004))
    assert fuel.per_injector == pytest.approx(0.003, rel=EXACT)
    assert fuel.used == pytest.approx(0.75, rel=EXACT)
    assert power.fuel_demand(made.forecast()).used is None
