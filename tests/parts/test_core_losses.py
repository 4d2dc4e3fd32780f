"""Parts known by their sizes: what they hold, how a bench corrects them, and losses whichever way they are known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from coldside.errors import BadInput
from coldside.media import air
from coldside.media.coolants import parse_coolant
from coldside.parts.core_losses import (
    BENCH_AIR,
    charge_loss,
    coolant_loss,
    cooling_loss,
    loss_corrections,
)
from coldside.parts.exchanger import (
    AirCoreSpec,
    ExchangerSpec,
    WaterCoreSpec,
    bench_points,
    charge_volume,
    derived_from_sizes,
    geometry_of,
    rate,
    rating_notes,
)
from coldside.parts.rating import BESIDE, COUNTER, SizedRating
from coldside.parts.two_points import effectiveness_at
from generators import AIR_CORE, EXCHANGER, WATER_CORE

GLYCOL, WATER = parse_coolant("ethylene glycol 30 % by volume"), parse_coolant("water")
SIZED_WATER = WaterCoreSpec(charge_length=0.11, coolant_length=0.15, stack_height=0.16, charge_bore=0.057)
SIZED_AIR = AirCoreSpec(charge_length=0.42, cooling_length=0.076, stack_height=0.3, charge_bore=0.06)
SIZED_TUBES = ExchangerSpec(coolant_length=0.3, cooling_length=0.04, stack_height=0.26)
SIZED_PLATES = replace(SIZED_TUBES, construction="bar and plate")
WATER_BENCH = {
    name: getattr(WATER_CORE, name)
    for name in (
        "bench_charge_flow",
        "bench_coolant_flow",
        "bench_charge_in",
        "bench_coolant_in",
        "bench_effectiveness",
        "bench_charge_loss",
        "bench_coolant_loss",
    )
}
AIR_BENCH = {
    name: getattr(AIR_CORE, name)
    for name in (
        "bench_charge_flow",
        "bench_cooling_flow",
        "bench_charge_in",
        "bench_cooling_in",
        "bench_effectiveness",
        "bench_charge_loss",
        "bench_cooling_loss",
    )
}
HX_BENCH = {
    name: getattr(EXCHANGER, name)
    for name in (
        "bench_coolant_flow",
        "bench_cooling_flow",
        "bench_coolant_in",
        "bench_cooling_in",
        "bench_heat",
        "bench_coolant_loss",
        "bench_cooling_loss",
    )
}
SIZED = {
    "water core": (SIZED_WATER, GLYCOL, WATER_BENCH),
    "air core": (SIZED_AIR, None, AIR_BENCH),
    "tubes": (SIZED_TUBES, GLYCOL, HX_BENCH),
    "plates": (SIZED_PLATES, GLYCOL, HX_BENCH),
}


# --- rating by sizes ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", SIZED)
def test_every_conductance_of_a_sized_part_is_its_geometry_s(name):
    """Films of `CoreGeometry` and half of wall and fouling on either side, at the rating's temperatures.

    4e-3: hypot(flow, 2 % of the usual flow) moves a film by 0.08 % at half the usual flow, and fouling, which
    moves with the fins' efficiency, stays as at the usual flow.
    """
    spec, coolant, _ = SIZED[name]
    rating, shape = rate(spec, coolant), geometry_of(spec)
    assert isinstance(rating, SizedRating)
    assert shape is not None
    T = np.array(333.15)
    for share in (0.5, 1.0, 2.0):
        m1, m2 = np.array(share * rating.flow1), np.array(share * rating.flow2)
        gas1, gas2 = (m1, rating.temperature1, None), (m2, rating.temperature2, None)
        one = (m1, T, coolant) if rating.liquid == 1 else gas1
        two = (m2, T, coolant) if rating.liquid == 2 else gas2
        five = shape.resistances(one, two)
        whole = 1.0 / rating.conductance1(m1, T, coolant) + 1.0 / rating.conductance2(m2, T, coolant)
        assert float(whole) == pytest.approx(1.0 / float(five.conductance), rel=4e-3)
        first = float(1.0 / rating.conductance1(m1, T, coolant))
        assert first == pytest.approx(float(five.film1 + 0.5 * (five.fouling1 + five.wall + five.fouling2)), rel=4e-3)


@pytest.mark.parametrize("name", SIZED)
def test_sizes_with_a_bench_point_meet_it(name):
    """The correction makes the measured effectiveness and losses come out: 1e-9 and 1e-6."""
    sizes, coolant, bench = SIZED[name]
    spec = replace(sizes, **bench)
    rating = rate(spec, coolant)
    (point,) = bench_points(spec, coolant)
    # films have a floor of 2 % of the bench flow: 2e-4 of the film there
    assert effectiveness_at(rating, point, coolant) == pytest.approx(point.effectiveness, rel=1e-9)
    assert rating.correction is not None
    assert rating.correction != pytest.approx(1.0, abs=1e-3)
    assert any(f"times {rating.correction:.2f}" in note for note in rating_notes(spec, coolant))
    if "bench_charge_loss" in bench:
        m = np.array([spec.bench_charge_flow])
        assert charge_loss(spec)(m)[0] == pytest.approx(charge_loss(_bench_only(name))(m)[0], rel=1e-6)
    if "bench_coolant_loss" in bench:
        T, q = np.array([spec.bench_coolant_in]), np.array([spec.bench_coolant_flow])
        assert float(coolant_loss(spec, coolant, T)(q)[0][0]) == pytest.approx(spec.bench_coolant_loss, rel=2e-3)
    if "bench_cooling_loss" in bench:
        m = np.array([spec.bench_cooling_flow])
        got = cooling_loss(spec, np.array([BENCH_AIR]))(m)[0]
        assert float(got[0]) == pytest.approx(spec.bench_cooling_loss, rel=2e-3)
    assert set(loss_corrections(spec, coolant)) == {k.split("_")[1] for k in bench if k.endswith("_loss")}


def _bench_only(name: str):
    return WATER_CORE if name == "water core" else AIR_CORE


def test_two_bench_points_beside_sizes_are_met_in_the_mean():
    spec = replace(SIZED_WATER, **WATER_BENCH, bench2_charge_flow=0.1, bench2_effectiveness=0.9)
    rating = rate(spec, GLYCOL)
    assert isinstance(rating, SizedRating)
    assert len(rating.factors) == 2
    assert rating.correction == pytest.approx(float(np.sqrt(np.prod(rating.factors))), rel=1e-12)
    assert any("its two points ask for" in note for note in rating_notes(spec, GLYCOL))


def test_a_bench_that_is_not_of_these_sizes_is_told():
    """Half the stack with the same bench point: a factor about 2, beyond what is credible."""
    notes = rating_notes(replace(SIZED_WATER, stack_height=0.07, **WATER_BENCH), GLYCOL)
    assert any("are not those of this core" in note for note in notes)


def test_uneven_flow_is_assumed_of_sizes_alone_and_not_beside_a_bench():
    """Contract of the keys: 10 % for a core known by sizes alone; a bench has it in its figures."""
    assert rate(SIZED_WATER, GLYCOL).maldistribution == 0.1
    assert rate(replace(SIZED_WATER, **WATER_BENCH), GLYCOL).maldistribution == 0.0
    assert rate(WATER_CORE, GLYCOL).maldistribution == 0.0
    assert rate(replace(WATER_CORE, maldistribution=0.2), GLYCOL).maldistribution == 0.2
    assert (rate(SIZED_WATER, GLYCOL).uneven, rate(SIZED_TUBES, GLYCOL).uneven) == (1, 2)


def test_passes_lie_along_the_charge_or_side_by_side_in_a_face():
    two = rate(replace(SIZED_WATER, coolant_passes=2), GLYCOL)
    assert (two.passes, two.arrangement) == (2, COUNTER)
    assert rate(replace(SIZED_TUBES, coolant_passes=2), GLYCOL).arrangement == BESIDE
    assert rate(replace(SIZED_PLATES, coolant_passes=2), GLYCOL).arrangement == COUNTER
    m, T = np.array(0.3), np.array(313.15)
    one = rate(SIZED_WATER, GLYCOL)
    assert float(two.conductance2(m, T, GLYCOL)) > float(one.conductance2(m, T, GLYCOL))  # faster in half the section


@pytest.mark.parametrize("name", SIZED)
def test_words_of_either_system(name):
    spec, coolant, _ = SIZED[name]
    si, us = rating_notes(spec, coolant)[0], rating_notes(spec, coolant, "us")[0]
    assert "kg/s" in si
    assert "kg/s" not in us
    assert "lb/min" in us


# --- what parts hold ----------------------------------------------------------------------------------------------


def test_sizes_give_mass_and_volumes_unless_the_file_does():
    shape = geometry_of(SIZED_WATER)
    found = derived_from_sizes(SIZED_WATER, frozenset({"stack_height"}))
    assert found == {"metal_mass": shape.metal_mass, "coolant_volume": shape.fluid_volume2}
    assert derived_from_sizes(SIZED_WATER, frozenset({"metal_mass"})) == {"coolant_volume": shape.fluid_volume2}
    assert derived_from_sizes(WATER_CORE, frozenset()) == {}
    tubes = geometry_of(SIZED_TUBES)
    assert derived_from_sizes(SIZED_TUBES, frozenset())["coolant_volume"] == tubes.fluid_volume1
    # dry density of cores, 0.9 to 1.3 kg/L bar and plate with tanks (common practice); ours are without them
    assert 500.0 < shape.metal_mass / shape.core_volume < 1300.0


def test_charge_volume_as_given_by_sizes_or_by_mass():
    assert charge_volume(replace(WATER_CORE, charge_volume=2e-3)) == 2e-3
    assert charge_volume(SIZED_AIR) == pytest.approx(1.5 * geometry_of(SIZED_AIR).fluid_volume1)
    # an estimate by mass lies within its 40 % of the same core by its sizes
    by_mass = replace(AIR_CORE, metal_mass=geometry_of(SIZED_AIR).metal_mass)
    assert charge_volume(by_mass) == pytest.approx(charge_volume(SIZED_AIR), rel=0.4)


# --- losses -------------------------------------------------------------------------------------------------------


def test_the_charge_loss_of_sizes_is_kays_and_london_s_with_tanks():
    """`CoreGeometry.loss1` at 2 bar between 410 and 320 K, whose fixed share of slowing is used at any flow: 2 %."""
    shape = geometry_of(SIZED_WATER)
    for m in (0.1, 0.2, 0.4):
        dp = float(shape.loss1(m, 410.0, 320.0, 2e5).whole)
        rho = float(air.density(365.0, 2e5 - 0.5 * dp))
        assert float(charge_loss(SIZED_WATER)(np.array([m]))[0][0]) / rho == pytest.approx(dp, rel=0.02)


def test_oil_mist_costs_pressure_and_conductance():
    """Heat note A4: 2 to 5e-4 m2 K/W and 5 to 15 % of the loss (common practice)."""
    oily = replace(SIZED_WATER, charge_fouling="oil mist")
    m = np.array([0.2])
    assert charge_loss(oily)(m)[0] == pytest.approx(1.10 * charge_loss(SIZED_WATER)(m)[0], rel=1e-12)
    assert 0.80 < rate(oily, GLYCOL).UA / rate(SIZED_WATER, GLYCOL).UA < 0.97


def test_what_slips_past_a_core_does_not_lose_in_it():
    """Nine tenths of the flow through the core, whichever way it is known; slope by the chain rule."""
    for spec in (WATER_CORE, SIZED_WATER):
        m = np.array([-0.1, 0.0, 0.1, 0.3])
        value, slope = charge_loss(replace(spec, charge_bypass=0.1))(m)
        through, steep = charge_loss(spec)(0.9 * m)
        np.testing.assert_allclose(value, through, rtol=1e-12)
        np.testing.assert_allclose(slope, 0.9 * steep, rtol=1e-12)


LOSSES = {
    "charge, sizes": charge_loss(SIZED_AIR),
    "charge, sizes and bench": charge_loss(replace(SIZED_AIR, **AIR_BENCH)),
    "charge, two points": charge_loss(replace(AIR_CORE, bench2_charge_flow=0.15, bench2_charge_loss=1.9e3)),
    "cooling, sizes": cooling_loss(SIZED_AIR, np.array(1.15)),
    "cooling, louvers": cooling_loss(SIZED_TUBES, np.array(1.15)),
    "cooling, two points": cooling_loss(
        replace(AIR_CORE, bench2_cooling_flow=0.45, bench2_cooling_loss=70.0), np.array(1.15)
    ),
    "coolant, sizes": coolant_loss(SIZED_WATER, GLYCOL, np.array(313.15)),
    "coolant, tubes": coolant_loss(SIZED_TUBES, GLYCOL, np.array(313.15)),
    "coolant, two points": coolant_loss(
        replace(WATER_CORE, bench2_coolant_flow=1.2e-4, bench2_coolant_loss=2.8e3), GLYCOL, np.array(313.15)
    ),
}


@pytest.mark.parametrize("name", LOSSES)
def test_every_loss_is_odd_and_rises_and_its_slope_is_its_derivative(name):
    """Also at rest, where a network still needs a slope.  5e-3: the blends between formulas have corners."""
    loss_of = LOSSES[name]
    usual = 4e-4 if name.startswith("coolant") else 0.3
    m = usual * np.concatenate([-np.geomspace(1e-4, 2.0, 40)[::-1], [0.0], np.geomspace(1e-4, 2.0, 40)])
    loss, slope = loss_of(m)
    np.testing.assert_allclose(loss, -loss_of(-m)[0], rtol=1e-9, atol=1e-12)
    assert np.all(np.diff(loss) > 0.0)
    assert np.all(slope > 0.0)
    step = 1e-5 * np.maximum(np.abs(m), 1e-4 * usual)
    np.testing.assert_allclose(slope, (loss_of(m + step)[0] - loss_of(m - step)[0]) / (2.0 * step), rtol=5e-3)


def test_two_losses_are_both_met():
    """1e-12 of what was measured at both flows, with the bench's own density and coolant."""
    spec = replace(WATER_CORE, bench2_coolant_flow=1.2e-4, bench2_coolant_loss=2.8e3)
    loss_of = coolant_loss(spec, GLYCOL, np.array(spec.bench_coolant_in))
    np.testing.assert_allclose(loss_of(np.array([2.4e-4, 1.2e-4]))[0], [9e3, 2.8e3], rtol=1e-12)
    spec = replace(AIR_CORE, bench2_cooling_flow=0.45, bench2_cooling_loss=70.0)
    face = cooling_loss(spec, np.array(BENCH_AIR))
    np.testing.assert_allclose(face(np.array([0.9, 0.45]))[0], [200.0, 70.0], rtol=1e-12)


@pytest.mark.parametrize("second", [900.0, 6.5e3])
def test_two_losses_that_no_core_has_are_refused(second):
    with pytest.raises(BadInput, match="the two losses grow with flow to the power"):
        coolant_loss(
            replace(WATER_CORE, bench2_coolant_flow=1.2e-4, bench2_coolant_loss=second), GLYCOL, np.array(313.0)
        )


def test_a_share_of_a_face_loses_as_the_whole_at_the_same_velocity():
    for spec in (AIR_CORE, SIZED_AIR, SIZED_TUBES):
        m, rho = np.array([0.1, 0.4]), np.array(1.15)
        whole, part = cooling_loss(spec, rho)(m), cooling_loss(spec, rho, 0.3)(0.3 * m)
        np.testing.assert_allclose(part[0], whole[0], rtol=1e-12)
        np.testing.assert_allclose(0.3 * part[1], whole[1], rtol=1e-12)


def test_a_colder_thicker_coolant_costs_more():
    """Laminar in its tubes: the loss goes with viscosity there."""
    cold, warm = (float(coolant_loss(SIZED_TUBES, GLYCOL, np.array(T))(np.array(2e-4))[0]) for T in (283.15, 343.15))
    mu = float(GLYCOL.viscosity(283.15) / GLYCOL.viscosity(343.15))
    assert 1.3 < cold / warm < mu
