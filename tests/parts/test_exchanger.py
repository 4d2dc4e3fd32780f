"""Cores and exchangers: check cases, rating of bench points, wall cells that are exact at rest, charge loss."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cases.record import failures, load
from coldside.errors import BadInput
from coldside.media import air
from coldside.media.coolants import parse_coolant
from coldside.parts.core_losses import REFERENCE_PRESSURE, charge_loss
from coldside.parts.exchanger import (
    CELLS,
    CP_CHARGE,
    CP_COOLING,
    rate,
)
from coldside.parts.rating import MOST_STRENGTHENED, CellConductances, Rating, cell_conductances
from generators import AIR_CORE, EXCHANGER, WATER_CORE, rated

CASES = load("exchanger")
GLYCOL, WATER = parse_coolant("ethylene glycol 30 % by volume"), parse_coolant("water")
KINDS = {
    "water_core": (replace(WATER_CORE, bench_coolant=None), GLYCOL, 2),
    "air_core": (AIR_CORE, None, 0),
    "exchanger": (EXCHANGER, GLYCOL, 1),
}


@pytest.mark.parametrize("case", CASES, ids=[case.name for case in CASES])
def test_case(case):
    assert failures(case) == []


def cp_of(kind: str) -> tuple[float, float]:
    """Specific heats of both streams as a plant carries them."""
    liquid = float(GLYCOL.cp(313.15))
    return {"water_core": (CP_CHARGE, liquid), "air_core": (CP_CHARGE, CP_COOLING), "exchanger": (liquid, CP_COOLING)}[
        kind
    ]


def conductances(
    kind: str, share1: np.ndarray, share2: np.ndarray, T: float = 313.15, cells=None
) -> tuple[Rating, CellConductances, np.ndarray, np.ndarray]:
    """Rating and cell conductances of a kind at shares of its bench flows; the capacity rates with them."""
    spec, coolant, _ = KINDS[kind]
    rating, cp = rate(spec, coolant), cp_of(kind)
    C1, C2 = np.broadcast_arrays(np.asarray(share1) * rating.flow1 * cp[0], np.asarray(share2) * rating.flow2 * cp[1])
    found = cell_conductances(rating, C1, C2, np.full(C1.shape, T), cells or CELLS[kind], coolant, cp)
    return rating, found, C1, C2


# --- rating -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", KINDS)
def test_the_bench_point_gives_back_what_it_states(kind):
    """Effectiveness on the bench from the rated conductances, by ht's quadrature (Triboix 2009): 1e-9."""
    ht = pytest.importorskip("ht")
    spec, coolant, _ = KINDS[kind]
    rating = rate(spec, coolant)
    T = getattr(spec, "bench_coolant_in", None)
    if kind == "exchanger":
        C1 = spec.bench_coolant_flow * float(coolant.density(T)) * float(coolant.cp(T))
        C2 = spec.bench_cooling_flow * CP_COOLING
        expected = spec.bench_heat / (min(C1, C2) * (T - spec.bench_cooling_in))
    else:
        C1 = spec.bench_charge_flow * CP_CHARGE
        C2 = (
            spec.bench_cooling_flow * CP_COOLING
            if kind == "air_core"
            else spec.bench_coolant_flow * float(coolant.density(T)) * float(coolant.cp(T))
        )
        expected = spec.bench_effectiveness * C1 / min(C1, C2)
    low, high = sorted((C1, C2))
    assert ht.effectiveness_from_NTU(rating.UA / low, low / high, subtype="crossflow") == pytest.approx(
        expected, abs=1e-9
    )
    whole = 1.0 / rating.UA
    assert rating.film1 + rating.wall + rating.film2 == pytest.approx(whole, rel=1e-12)
    h1 = float(rating.conductance1(np.array(rating.flow1), np.array(rating.bench_temperature), coolant))
    h2 = float(rating.conductance2(np.array(rating.flow2), np.array(rating.bench_temperature), coolant))
    assert 1.0 / h1 + 1.0 / h2 == pytest.approx(whole, rel=1e-12)


def test_shares_of_resistance_where_none_are_given():
    """Heat note B1: charge film 0.70 with glycol, 0.80 with water; cooling-air film of an exchanger 0.50, 0.80."""
    for coolant, core, remote in ((GLYCOL, 0.70, 0.50), (WATER, 0.80, 0.80)):
        rating = rate(WATER_CORE, coolant)
        assert rating.film1 * rating.UA == pytest.approx(core, rel=1e-9)
        rating = rate(EXCHANGER, coolant)
        assert rating.film2 * rating.UA == pytest.approx(remote, rel=1e-9)
    assert rate(WATER_CORE, GLYCOL).wall * rate(WATER_CORE, GLYCOL).UA == pytest.approx(0.02, rel=1e-9)
    assert rate(AIR_CORE, None).wall * rate(AIR_CORE, None).UA == pytest.approx(0.01, rel=1e-9)


def test_an_exchanger_may_be_rated_by_effectiveness_or_by_the_same_heat():
    by_heat = rate(EXCHANGER, GLYCOL)
    low = min(by_heat.flow1 * float(GLYCOL.cp(EXCHANGER.bench_coolant_in)), by_heat.flow2 * CP_COOLING)
    eps = EXCHANGER.bench_heat / (low * (EXCHANGER.bench_coolant_in - EXCHANGER.bench_cooling_in))
    assert rate(replace(EXCHANGER, bench_heat=None, bench_effectiveness=eps), GLYCOL).UA == pytest.approx(
        by_heat.UA, rel=1e-9
    )


@pytest.mark.parametrize(
    ("spec", "coolant", "said"),
    [
        (replace(EXCHANGER, bench_heat=40e3), GLYCOL, r"moves 1\.\d+ times the most heat its flows could carry"),
        (replace(EXCHANGER, bench_cooling_in=340.0), GLYCOL, "bench_coolant_in must be hotter than bench_cooling_in"),
        (replace(WATER_CORE, bench_coolant_flow=2e-5), GLYCOL, "times the most heat"),
        (replace(WATER_CORE, bench_coolant=None), None, "has no loop, and no bench_coolant"),
        (replace(AIR_CORE, charge_film_share=0.985), None, "leave no room for both films"),
    ],
)
def test_impossible_bench_points_are_refused(spec, coolant, said):
    with pytest.raises(BadInput, match=said):
        rate(spec, coolant)


def test_a_warmer_thinner_coolant_has_a_stronger_film_and_a_glycol_bench_a_weaker_one_with_water():
    spec = WATER_CORE
    rating, m = rate(spec, GLYCOL), np.array(0.25)
    T = np.linspace(283.15, 363.15, 9)
    assert np.all(np.diff(rating.conductance2(np.full(9, 0.25), T, GLYCOL)) > 0.0)
    bench_water = rate(replace(spec, bench_coolant="water"), GLYCOL)
    assert float(bench_water.conductance2(m, np.array(303.15), GLYCOL)) < float(
        bench_water.conductance2(m, np.array(303.15), WATER)
    )
    np.testing.assert_array_equal(
        rating.conductance1(np.full(9, 0.2), T, GLYCOL), rating.conductance1(np.array(0.2), T[0], GLYCOL)
    )


@given(m1=st.floats(1e-4, 1.0), m2=st.floats(1e-4, 1.0))
@settings(max_examples=60, deadline=None)
def test_films_grow_with_flow_to_their_power_above_the_floor(m1, m2):
    """Local exponent between two flows: the stated one far above the floor of 2 % of bench flow, 0 far below."""
    rating = replace(rate(AIR_CORE, None), wall=0.0)
    low, high = sorted((m1, m2))
    first, second = (float(rating.conductance1(np.array(m), np.array(300.0), None)) for m in (low, high))
    assert first <= second <= first * (high / low) ** rating.exponent1 * (1.0 + 1e-12)
    if low > 0.2 * rating.flow1 and high > 1.5 * low:
        assert np.log(second / first) / np.log(high / low) == pytest.approx(rating.exponent1, rel=0.03)


# --- wall cells ---------------------------------------------------------------------------------------------------

SHARES = np.geomspace(0.2, 2.0, 12)


@pytest.mark.parametrize("kind", KINDS)
def test_the_corrected_cells_are_exact_over_the_bench_range(kind):
    """Residual over 0.2 to 2 times both bench flows: round-off of a root found to 1e-11.

    Where an answer asks for a film more than half-way to its limit, the film is held back and the shortfall told:
    with its few cells a remote exchanger at low air flow does so, the cores never.
    """
    coolant, cp = KINDS[kind][1], cp_of(kind)
    for T in (283.15, 313.15, 353.15):
        rating, found, C1, C2 = conductances(kind, SHARES[:, None], SHARES[None, :], T)
        bare1 = rating.conductance1(C1 / cp[0], np.array(T), coolant)
        bare2 = rating.conductance2(C2 / cp[1], np.array(T), coolant)
        factor = np.maximum(found.side1 / bare1, found.side2 / bare2)
        free = factor <= 0.5 * (1.0 + MOST_STRENGTHENED) * (1.0 - 1e-9)
        assert np.abs(found.residual[free]).max() <= 1e-9
        assert np.all(found.residual[~free] < 0.0)
        assert free[-1, -1]  # both at twice the bench
        assert free.all() or kind == "exchanger"


@pytest.mark.parametrize("kind", KINDS)
def test_what_the_cells_are_exact_to_is_the_library_s_quadrature(kind):
    """ht 1.2.0, crossflow unmixed (Triboix 2009), less the residual told: 1e-8.

    The cells' heat is found by code of its own here: all balances as one linear system.
    """
    ht = pytest.importorskip("ht")
    rating, found, C1, C2 = conductances(kind, SHARES[::4, None], SHARES[None, ::4])
    _, coolant, liquid = KINDS[kind]
    for i in np.ndindex(C1.shape):
        low, high = sorted((C1[i], C2[i]))
        cp = cp_of(kind)
        h = [
            f(np.array(C / c), np.array(313.15), coolant)
            for f, C, c in ((rating.conductance1, C1[i], cp[0]), (rating.conductance2, C2[i], cp[1]))
        ]
        UA = 1.0 / (1.0 / float(h[0]) + 1.0 / float(h[1]))
        expected = ht.effectiveness_from_NTU(UA / low, low / high, subtype="crossflow") * low
        got = cell_by_cell(C1[i], C2[i], found.side1[i], found.side2[i], CELLS[kind], liquid)
        assert got == pytest.approx(expected * (1.0 + found.residual[i]), rel=1e-8)


def cell_by_cell(C1: float, C2: float, h1: float, h2: float, cells: tuple[int, int], liquid: int) -> float:
    """Heat per kelvin of inlet difference of a grid, by solving all its balances at once as one linear system."""
    n1, n2 = cells
    g1, g2, c1, c2 = h1 / (n1 * n2), h2 / (n1 * n2), C1 / n2, C2 / n1
    # conductance from a cell's inlet to its wall: gas along the wall, or a mixed liquid cell behind a film
    a1 = 1.0 / (1.0 / g1 + 1.0 / c1) if liquid == 1 else -c1 * np.expm1(-g1 / c1)
    a2 = 1.0 / (1.0 / g2 + 1.0 / c2) if liquid == 2 else -c2 * np.expm1(-g2 / c2)
    U, size = 1.0 / (1.0 / a1 + 1.0 / a2), n1 * n2
    matrix, right = np.eye(2 * size), np.zeros(2 * size)  # outlet temperatures of every cell, stream 1 then 2
    for i in range(n1):
        for j in range(n2):
            k = i * n2 + j
            for row, sign, c in ((k, -1.0, c1), (size + k, 1.0, c2)):
                own = 1.0 + sign * U / c if row == k else 1.0 - sign * U / c
                for stream, share in ((1, own if row == k else sign * U / c), (2, own if row != k else -sign * U / c)):
                    before = k - n2 if stream == 1 else size + k - 1
                    if (stream == 1 and i == 0) or (stream == 2 and j == 0):
                        right[row] += share * (1.0 if stream == 1 else 0.0)
                    else:
                        matrix[row, before] -= share
    T = np.linalg.solve(matrix, right)
    return float(C1 * (1.0 - T[(n1 - 1) * n2 : size].mean()))


@pytest.mark.parametrize(("kind", "liquid"), [("water_core", 2), ("exchanger", 1)])
def test_only_the_liquid_film_is_strengthened(kind, liquid):
    """So that the first instants after a step, which the gas film alone decides, stay true."""
    rating, found, C1, C2 = conductances(kind, SHARES[:, None], SHARES[None, :])
    coolant, cp = KINDS[kind][1], cp_of(kind)
    bare = (
        rating.conductance1(C1 / cp[0], np.array(313.15), coolant),
        rating.conductance2(C2 / cp[1], np.array(313.15), coolant),
    )
    gas, wet = (0, 1) if liquid == 2 else (1, 0)
    sides = (found.side1, found.side2)
    np.testing.assert_allclose(sides[gas], bare[gas], rtol=1e-12)
    factor = sides[wet] / bare[wet]
    assert factor.min() > 1.0
    assert factor.max() < MOST_STRENGTHENED


def test_more_cells_need_less_correction():
    """The bare grid's error falls with the number of cells (heat note C1), and so does the factor."""
    factors = [float(conductances("air_core", 1.0, 1.0, cells=(n, n))[1].side1) for n in (2, 4, 8, 16)]
    bare = float(rate(AIR_CORE, None).conductance1(np.array(AIR_CORE.bench_charge_flow), np.array(300.0), None))
    over = np.array(factors) / bare - 1.0
    assert np.all(over > 0.0)
    np.testing.assert_allclose(over[:-1] / over[1:], 4.0, rtol=0.25)  # second order


def test_a_trickle_is_left_alone_and_told():
    """Under 2 % of bench flow no film is strengthened; what the cells then miss is the residual, never above 0."""
    rating, found, _, C2 = conductances("water_core", np.array([0.0, 1e-4, 0.01]), np.array([1.0, 1.0, 0.01]))
    coolant, cp = GLYCOL, cp_of("water_core")
    np.testing.assert_allclose(found.side2, rating.conductance2(C2 / cp[1], np.array(313.15), coolant), rtol=1e-12)
    assert np.all(found.residual <= 1e-12)
    assert np.all(np.isfinite(found.residual))


@given(share1=st.floats(0.0, 3.0), share2=st.floats(0.0, 3.0), kind=st.sampled_from(sorted(KINDS)))
@settings(max_examples=100, deadline=None)
def test_cells_are_finite_and_bounded_at_any_flow(share1, share2, kind):
    """No film beyond its limit, no more heat than exact, whatever flows, zero among them."""
    rating, found, C1, C2 = conductances(kind, np.array([share1]), np.array([share2]))
    coolant, cp = KINDS[kind][1], cp_of(kind)
    h1 = rating.conductance1(C1 / cp[0], np.array([313.15]), coolant)
    h2 = rating.conductance2(C2 / cp[1], np.array([313.15]), coolant)
    for side, bare in ((found.side1, h1), (found.side2, h2)):
        assert 1.0 - 1e-9 <= float(side[0] / bare[0]) <= MOST_STRENGTHENED
    assert -1.0 < float(found.residual[0]) <= 1e-9


def test_the_correction_has_no_steps_in_flow():
    """Between a trickle and the bench range the conductance moves smoothly: a table can be laid through it."""
    share = np.geomspace(0.005, 2.0, 4000)
    for kind in KINDS:
        for found in (conductances(kind, share, 1.0)[1], conductances(kind, 1.0, share)[1]):
            for side in (found.side1, found.side2):
                assert np.abs(np.diff(np.log(side))).max() < 0.02


def test_balanced_streams_with_a_large_number_of_transfer_units():
    """NTU 9 at C_r 1, where few cells cannot reach the exact answer: the limit holds, the shortfall is told."""
    low = rated(9e3 * 2.0, 9e3 * 2.0, 1.0, 1.0)
    found = cell_conductances(low, np.array([1e3]), np.array([1e3]), np.array([300.0]), (3, 3), None, (1e3, 1e3))
    assert float(found.side1[0]) / 18e3 <= MOST_STRENGTHENED
    assert -0.2 < float(found.residual[0]) < 0.0


# --- charge loss --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("spec", [WATER_CORE, AIR_CORE], ids=["water_core", "air_core"])
def test_the_charge_loss_is_the_bench_s_at_the_bench(spec):
    """dp = loss / mean density, the mean taken between bench inlet and outlet (heat note B3)."""
    loss, slope = charge_loss(spec)(np.array([spec.bench_charge_flow]))
    sink = spec.bench_coolant_in if spec is WATER_CORE else spec.bench_cooling_in
    mean = spec.bench_charge_in - 0.5 * spec.bench_effectiveness * (spec.bench_charge_in - sink)
    rho = float(air.density(mean, REFERENCE_PRESSURE - 0.5 * spec.bench_charge_loss))
    assert float(loss[0]) / rho == pytest.approx(spec.bench_charge_loss, rel=1e-6)
    assert float(slope[0]) * spec.bench_charge_flow / float(loss[0]) == pytest.approx(
        spec.charge_loss_exponent, rel=1e-5
    )


def test_the_charge_loss_is_odd_and_its_slope_is_its_derivative():
    loss_of = charge_loss(AIR_CORE)
    m = np.concatenate([-np.geomspace(1e-5, 1.0, 40), [0.0], np.geomspace(1e-5, 1.0, 40)])
    loss, slope = loss_of(m)
    np.testing.assert_allclose(loss, -loss_of(-m)[0], rtol=1e-12)
    assert np.all(slope > 0.0)
    step = 1e-6 * np.maximum(np.abs(m), 1e-4)
    rise = (loss_of(m + step)[0] - loss_of(m - step)[0]) / (2.0 * step)
    np.testing.assert_allclose(slope, rise, rtol=2e-3)
