"""Ratings: check cases, passes and uneven flow against code of their own, two bench points against a search."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cases.record import failures, load
from coldside.errors import BadInput
from coldside.media.coolants import parse_coolant
from coldside.parts.correlations import effectiveness_counterflow, effectiveness_crossflow
from coldside.parts.exchanger import CELLS, CP_CHARGE, CP_COOLING, rate, rating_notes
from coldside.parts.rating import BESIDE, COUNTER, Rating, cell_conductances, conductance_of, doubt_beyond_bench
from coldside.parts.two_points import BenchPoint, Prior, effectiveness_at, fit, loss_exponent
from generators import AIR_CORE, EXCHANGER, WATER_CORE, rated

GLYCOL, WATER = parse_coolant("ethylene glycol 30 % by volume"), parse_coolant("water")
CASES = load("rating")


@pytest.mark.parametrize("case", CASES, ids=[case.name for case in CASES])
def test_case(case):
    assert failures(case) == []


def heat_of(rating: Rating, C1: float, C2: float, h1: float, h2: float) -> float:
    return float(rating.heat(*(np.array(x) for x in (C1, C2, h1, h2))))


# --- how streams cross --------------------------------------------------------------------------------------------

C1, C2, H1, H2 = 400.0, 900.0, 1500.0, 2600.0


def test_one_even_pass_is_the_library_s_crossflow():
    """ht, crossflow unmixed (quadrature, Triboix 2009): 1e-9."""
    ht = pytest.importorskip("ht")
    UA = 1.0 / (1.0 / H1 + 1.0 / H2)
    expected = ht.effectiveness_from_NTU(UA / C1, C1 / C2, subtype="crossflow") * C1
    assert heat_of(rated(H1, H2, 1.0, 1.0), C1, C2, H1, H2) == pytest.approx(expected, rel=1e-9)


def test_passes_in_counterflow_are_a_chain_of_mixed_passes():
    """Two passes as a linear system of four mixed temperatures, solved here: 1e-12."""
    rating = replace(rated(H1, H2, 1.0, 1.0), passes=2)
    UA = 0.5 / (1.0 / H1 + 1.0 / H2)
    q = float(effectiveness_crossflow(UA / C1, C1 / C2)) * C1  # W/K of a pass
    # hot 1 -> a -> out; cold 0 enters the second pass -> b -> first pass -> out
    matrix = np.array([[C1, 0.0, q], [0.0, 0.0, 0.0], [0.0, 0.0, 0.0]])
    # a = 1 - q (1 - b)/C1 ; b = 0 + q (a - 0)/C2
    matrix = np.array([[1.0, -q / C1], [-q / C2, 1.0]])
    a, b = np.linalg.solve(matrix, np.array([1.0 - q / C1, 0.0]))
    expected = q * (1.0 - b) + q * a
    assert heat_of(rating, C1, C2, H1, H2) == pytest.approx(expected, rel=1e-12)


def test_passes_side_by_side_each_meet_fresh_air():
    """Marched pass by pass: the coolant goes on, each pass has its third of the air at its inlet temperature."""
    rating = replace(rated(H1, H2, 1.0, 1.0), passes=3, arrangement=BESIDE)
    UA, T, heat = 1.0 / (1.0 / H1 + 1.0 / H2) / 3.0, 1.0, 0.0
    low, high = sorted((C1, C2 / 3.0))
    for _ in range(3):
        q = float(effectiveness_crossflow(UA / low, low / high)) * low * T
        heat, T = heat + q, T - q / C1
    assert heat_of(rating, C1, C2, H1, H2) == pytest.approx(heat, rel=1e-12)


def test_more_passes_carry_more_and_never_more_than_counterflow():
    UA = 1.0 / (1.0 / H1 + 1.0 / H2)
    heats = [heat_of(replace(rated(H1, H2, 1.0, 1.0), passes=n), C1, C2, H1, H2) for n in (1, 2, 3, 8)]
    assert np.all(np.diff(heats) > 0.0)
    assert heats[-1] < float(effectiveness_counterflow(UA / C1, C1 / C2)) * C1


@given(
    eps=st.floats(0.05, 0.9),
    ratio=st.floats(0.05, 1.0),
    passes=st.integers(1, 4),
    arrangement=st.sampled_from([COUNTER, BESIDE]),
    first_smaller=st.booleans(),
)
@settings(max_examples=80, deadline=None)
def test_the_conductance_of_an_effectiveness_gives_it_back(eps, ratio, passes, arrangement, first_smaller):
    a, b = (300.0 * ratio, 300.0) if first_smaller else (300.0, 300.0 * ratio)
    try:
        UA = conductance_of(eps, a, b, passes, arrangement)
    except BadInput:
        return  # beyond what this arrangement reaches
    rating = replace(rated(2.0 * UA, 2.0 * UA, 1.0, 1.0), passes=passes, arrangement=arrangement)
    assert heat_of(rating, a, b, 2.0 * UA, 2.0 * UA) / min(a, b) == pytest.approx(eps, rel=1e-8)


def test_uneven_flow_is_two_half_cores():
    """Each half is a core of its own with half of the even stream; its film at its own flow (heat note A4)."""
    rating = replace(rate(AIR_CORE, None), maldistribution=0.3)
    flow1, flow2 = rating.flow1, rating.flow2
    T = np.array(300.0)
    h1, h2 = (float(f(np.array(m), T, None)) for f, m in ((rating.conductance1, flow1), (rating.conductance2, flow2)))
    total = 0.0
    for share in (1.3, 0.7):
        a, b = 0.5 * share * flow1 * CP_CHARGE, 0.5 * flow2 * CP_COOLING
        film = (1.0 / h1 - 0.5 * rating.wall) * share**-rating.exponent1
        UA = 0.5 / (film + 0.5 * rating.wall + 1.0 / h2)
        low, high = sorted((a, b))
        total += float(effectiveness_crossflow(UA / low, low / high)) * low
    assert heat_of(rating, flow1 * CP_CHARGE, flow2 * CP_COOLING, h1, h2) == pytest.approx(total, rel=1e-12)


@pytest.mark.parametrize(
    "change",
    [
        {"maldistribution": 0.2},
        {"passes": 2},
        {"passes": 2, "arrangement": BESIDE},
        {"maldistribution": 0.4, "passes": 3},
    ],
    ids=["uneven", "two passes", "two beside", "uneven and three passes"],
)
@pytest.mark.parametrize(
    ("spec", "coolant", "kind"),
    [(WATER_CORE, GLYCOL, "water_core"), (AIR_CORE, None, "air_core"), (EXCHANGER, GLYCOL, "exchanger")],
    ids=["water core", "air core", "exchanger"],
)
def test_wall_cells_are_exact_to_passes_and_uneven_flow_too(spec, coolant, kind, change):
    """Residual at half to twice the bench flows: round-off of a root found to 1e-11, where no film is held back."""
    rating = replace(rate(spec, coolant), **change)
    liquid = 3500.0 if coolant is None else float(coolant.cp(313.15))
    cp = {"water_core": (CP_CHARGE, liquid), "air_core": (CP_CHARGE, CP_COOLING), "exchanger": (liquid, CP_COOLING)}
    share = np.array([0.5, 1.0, 2.0])
    A, B = np.broadcast_arrays(share[:, None] * rating.flow1 * cp[kind][0], share[None, :] * rating.flow2 * cp[kind][1])
    found = cell_conductances(rating, A, B, np.full(A.shape, 313.15), CELLS[kind], coolant, cp[kind])
    h1 = rating.conductance1(A / cp[kind][0], np.array(313.15), coolant)
    h2 = rating.conductance2(B / cp[kind][1], np.array(313.15), coolant)
    factor = np.maximum(found.side1 / h1, found.side2 / h2)
    free = factor < 2.4
    assert np.abs(found.residual[free]).max() <= 1e-9
    assert free[1, 1]
    assert np.all(found.residual[~free] <= 1e-9)


def test_uneven_flow_can_ask_for_weaker_films_than_the_bare_grid():
    """Where uneven flow costs more than the cells miss: then the factor falls under 1, and the answer still holds."""
    rating = replace(rate(WATER_CORE, GLYCOL), maldistribution=0.5)
    cp = (CP_CHARGE, float(GLYCOL.cp(313.15)))
    A, B = np.array([2.0 * rating.flow1 * cp[0]]), np.array([2.0 * rating.flow2 * cp[1]])
    found = cell_conductances(rating, A, B, np.array([313.15]), CELLS["water_core"], GLYCOL, cp)
    h2 = rating.conductance2(B / cp[1], np.array(313.15), GLYCOL)
    assert float(found.side2[0] / h2[0]) < 1.0
    assert abs(float(found.residual[0])) < 1e-9


def test_doubt_grows_by_a_tenth_per_factor_two_beyond_half_to_twice():
    """Heat note B4 (own)."""
    assert doubt_beyond_bench(0.5) == doubt_beyond_bench(1.0) == doubt_beyond_bench(2.0) == 0.0
    assert doubt_beyond_bench(4.0) == pytest.approx(0.1)
    assert doubt_beyond_bench(8.0) == pytest.approx(0.2)
    assert doubt_beyond_bench(0.125) == pytest.approx(0.2)


# --- two bench points ---------------------------------------------------------------------------------------------


def two_points() -> tuple[list[BenchPoint], Rating]:
    """The points of heat-T22, and what they have in common."""
    C2 = 0.6 * 3460.0
    points = [BenchPoint(m, 0.6, m * 1010.0, C2, 313.15, e) for m, e in ((0.25, 0.9), (0.5, 0.743))]
    return points, Rating(0.25, 0.6, 1.0, 1.0, 1.0, 0.55, 0.5, 2, WATER, 313.15, 1.0, 0.9)


def test_the_most_probable_split_is_that_of_a_search_over_everything():
    """Posterior on a grid over conductance, share and the charge exponent, by code of its own.

    The coolant's exponent has no say (its flow is the same).  Mode within the grid's steps; means and standard
    deviations within 6 %: curvature at the mode against the whole of a slightly skew distribution.
    """
    points, like = two_points()
    prior = Prior((0.70, 0.08), (0.55, 0.04), (0.5, 0.1), 0.02)
    found = fit(points, prior, like, WATER)
    UA = np.linspace(600.0, 760.0, 61)[:, None, None]
    share = np.linspace(0.35, 0.90, 67)[None, :, None]
    n = np.linspace(0.40, 0.70, 31)[None, None, :]
    chi2 = ((share - 0.70) / 0.08) ** 2 + ((n - 0.55) / 0.04) ** 2 + np.zeros_like(UA)
    for point in points:
        R = (share * (point.flow1 / 0.25) ** -n + 1.0 - share) / UA
        low, high = min(point.C1, point.C2), max(point.C1, point.C2)
        eps = effectiveness_crossflow(1.0 / (R * low), low / high)
        chi2 = chi2 + ((eps - point.effectiveness) / 0.01) ** 2
    weight = np.exp(-0.5 * (chi2 - chi2.min()))
    weight /= weight.sum()
    i, j, k = np.unravel_index(int(np.argmin(chi2)), chi2.shape)
    assert found.rating.UA == pytest.approx(float(UA[i, 0, 0]), abs=2.7)
    assert found.share1 == pytest.approx(float(share[0, j, 0]), abs=0.009)
    assert found.rating.exponent1 == pytest.approx(float(n[0, 0, k]), abs=0.011)
    mean = float((weight * share).sum())
    assert found.share1_sd == pytest.approx(float(np.sqrt((weight * (share - mean) ** 2).sum())), rel=0.06)
    assert found.share1 == pytest.approx(mean, abs=0.01)


def test_the_split_lies_between_what_is_known_and_what_two_points_say_alone():
    points, like = two_points()
    alone = fit(points, Prior((0.7, 1e4), (0.55, 1e-9), (0.5, 1e-9), 0.02), like, WATER)
    both = fit(points, Prior((0.70, 0.08), (0.55, 0.04), (0.5, 0.1), 0.02), like, WATER)
    assert alone.share1 < both.share1 < 0.70
    assert both.share1_sd < 0.08
    assert max(abs(m) for m in alone.misses) < 1e-6  # two points, two unknowns
    assert 1e-5 < max(abs(m) for m in both.misses) < 0.01
    # one point of effectiveness moves the bare share by 0.09 (heat note B2, computed there)
    moved = [points[0], replace(points[1], effectiveness=points[1].effectiveness + 0.01)]
    shift = fit(moved, Prior((0.7, 1e4), (0.55, 1e-9), (0.5, 1e-9), 0.02), like, WATER).share1 - alone.share1
    assert abs(shift) == pytest.approx(0.09, abs=0.01)


@pytest.mark.parametrize(
    ("spec", "coolant"),
    [
        (replace(WATER_CORE, bench2_charge_flow=0.1, bench2_effectiveness=0.9), GLYCOL),
        (replace(AIR_CORE, bench2_cooling_flow=0.45, bench2_effectiveness=0.62), None),
        (replace(EXCHANGER, bench2_cooling_flow=0.3, bench2_heat=7.0e3), GLYCOL),
        (replace(EXCHANGER, bench2_coolant_flow=1.2e-4, bench2_heat=8.6e3), GLYCOL),
    ],
    ids=["water core, less charge", "air core, less air", "exchanger, less air", "exchanger, less coolant"],
)
def test_a_part_with_two_bench_points_meets_both_within_their_uncertainty(spec, coolant):
    """Through the keys: both effectivenesses within 1.5 standard deviations of a measured one, and it is said."""
    from coldside.parts.exchanger import bench_points

    rating = rate(spec, coolant)
    points = bench_points(spec, coolant)
    assert len(points) == 2
    for point in points:
        assert effectiveness_at(rating, point, coolant) == pytest.approx(point.effectiveness, abs=0.015)
    assert any("two bench points put" in note for note in rating_notes(spec, coolant))
    second = "bench2_heat" if spec.__class__ is EXCHANGER.__class__ else "bench2_effectiveness"
    one = rate(replace(spec, **{second: None}), coolant)
    assert rating.film1 * rating.UA != pytest.approx(one.film1 * one.UA, rel=1e-3)


def test_points_that_no_core_can_give_are_told():
    """Twice the charge flow with a better effectiveness: no film behaves so."""
    spec = replace(WATER_CORE, bench2_charge_flow=0.4, bench2_effectiveness=0.9)
    assert any("contradict" in note for note in rating_notes(spec, GLYCOL))


def test_the_exponent_of_two_losses():
    """A power law gives its power back; nothing outside 1 to 2 passes (heat note B3)."""
    assert loss_exponent(1000.0, 1000.0 * 2.0**1.7, 0.1, 0.2) == pytest.approx(1.7, rel=1e-12)
    for second, said in ((1500.0, "0.58"), (5000.0, "2.32")):
        with pytest.raises(BadInput, match=said):
            loss_exponent(1000.0, second, 0.1, 0.2)
    with pytest.raises(BadInput, match="same flow"):
        loss_exponent(1000.0, 1010.0, 0.2, 0.2)
    with pytest.raises(BadInput, match="loss of 0"):
        loss_exponent(0.0, 1010.0, 0.1, 0.2)
