"""Effectiveness, friction and films against the check cases, ht, fluids and SciPy, and their own laws."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from cases.record import failures, load
from coldside.errors import BadInput
from coldside.parts import correlations as c

CASES = load("correlations")


@pytest.mark.parametrize("case", CASES, ids=[case.name for case in CASES])
def test_case(case):
    assert failures(case) == []


def grid(count: int, low: float = -2.0, high: float = 1.3) -> tuple[np.ndarray, np.ndarray]:
    """Random but fixed NTU (10^low to 10^high) and C_r, with C_r = 1 among them."""
    random = np.random.default_rng(7)
    C_r = random.uniform(0.01, 1.0, count)
    C_r[::10] = 1.0
    return 10.0 ** random.uniform(low, high, count), C_r


# --- against other libraries --------------------------------------------------------------------------------------


@pytest.mark.oracle
def test_crossflow_equals_quadrature():
    """ht 1.2.0 integrates (Triboix 2009); 1e-12 is the accuracy asked of its quadrature."""
    ht = pytest.importorskip("ht")
    for NTU, C_r in zip(*grid(60, -1.0, 1.0), strict=True):
        expected = ht.effectiveness_from_NTU(NTU, C_r, subtype="crossflow")
        assert c.effectiveness_crossflow(NTU, C_r) == pytest.approx(expected, abs=1e-12)


def test_crossflow_equals_its_bessel_form():
    """Baclic 1978 (from memory) with SciPy's scaled Bessel functions: another series of the same solution."""
    from scipy.special import ive

    NTU, C_r = grid(400, -3.0, 2.69)
    order = np.arange(2, 2500)
    z = 2.0 * NTU * np.sqrt(C_r)
    tail = [np.sum(q ** (order / 2.0) * ive(order, x)) for q, x in zip(C_r, z, strict=True)]
    bracket = ive(0, z) + np.sqrt(C_r) * ive(1, z) - (1.0 - C_r) / C_r * tail
    expected = 1.0 - np.exp(-NTU * (1.0 - np.sqrt(C_r)) ** 2) * bracket
    # 1e-14: round-off of sums of some hundred terms of order 1
    np.testing.assert_allclose(c.effectiveness_crossflow(NTU, C_r), expected, atol=1e-14)


@pytest.mark.oracle
@pytest.mark.parametrize(
    ("ours", "subtype"),
    [
        (c.effectiveness_counterflow, "counterflow"),
        (lambda N, C: c.effectiveness_crossflow_mixed(N, C, mixed="C_min"), "crossflow, mixed Cmin"),
        (lambda N, C: c.effectiveness_crossflow_mixed(N, C, mixed="C_max"), "crossflow, mixed Cmax"),
    ],
)
def test_closed_forms_equal_those_of_the_library(ours, subtype):
    ht = pytest.importorskip("ht")
    NTU, C_r = grid(100)
    expected = [ht.effectiveness_from_NTU(n, q, subtype=subtype) for n, q in zip(NTU, C_r, strict=True)]
    np.testing.assert_allclose(ours(NTU, C_r), expected, rtol=1e-11)  # the library's forms lose digits near C_r = 1


@pytest.mark.oracle
def test_friction_equals_that_of_the_library():
    fluids = pytest.importorskip("fluids")
    for rough in (0.0, 1e-5, 1e-3, 0.03):
        Re = np.geomspace(1.0, 1e7, 60)
        expected = [fluids.friction.Churchill_1977(r, rough) for r in Re]
        np.testing.assert_allclose(c.friction_factor(Re, rough), expected, rtol=1e-12)


@pytest.mark.oracle
def test_friction_is_near_the_implicit_law_of_rough_pipes():
    fluids = pytest.importorskip("fluids")
    for rough in (0.0, 1e-4, 1e-2):
        for Re in np.geomspace(1e4, 1e7, 10):
            # 3 %: what Churchill's explicit fit to Colebrook is worth (1.1 % for smooth, 2.4 % for rough pipes)
            assert c.friction_factor(Re, rough) == pytest.approx(fluids.friction.Colebrook(float(Re), rough), rel=0.03)


@pytest.mark.oracle
def test_tube_films_equal_those_of_the_library():
    ht = pytest.importorskip("ht")
    fluids = pytest.importorskip("fluids")
    del fluids
    for Pr in (0.7, 5.0, 30.0):
        for Re in (4000.0, 2e4, 3e5):
            smooth = (0.79 * np.log(Re) - 1.64) ** -2
            expected = ht.conv_internal.turbulent_Gnielinski(Re=Re, Pr=Pr, fd=smooth)
            assert c.nusselt_tube(Re, Pr) == pytest.approx(expected, rel=1e-12)
        for Re in (5.0, 300.0, 2299.0):
            expected = ht.conv_internal.laminar_entry_Baehr_Stephan(Re=Re, Pr=Pr, L=0.4, Di=0.01)
            assert c.nusselt_tube(Re, Pr, 40.0) == pytest.approx(expected, rel=2e-4)  # 3.657 against 3.66 there


@pytest.mark.oracle
def test_plate_film_equals_that_of_the_library():
    ht = pytest.importorskip("ht")
    for Pr in (0.7, 6.0):
        for Gr in np.geomspace(1e3, 1e11, 9):
            expected = ht.conv_free_immersed.Nu_vertical_plate_Churchill(Pr, Gr)
            assert c.nusselt_vertical_plate(Pr * Gr, Pr) == pytest.approx(expected, rel=1e-9)


# --- laws of the design note on heat (G), numbered there -----------------------------------------------------------

NTUS = st.floats(1e-6, 60.0)
RATIOS = st.floats(0.0, 1.0)
ARRANGEMENTS = {
    "unmixed": c.effectiveness_crossflow,
    "counterflow": c.effectiveness_counterflow,
    "C_min mixed": lambda N, C: c.effectiveness_crossflow_mixed(N, C, mixed="C_min"),
    "C_max mixed": lambda N, C: c.effectiveness_crossflow_mixed(N, C, mixed="C_max"),
    "two passes": lambda N, C: c.effectiveness_cross_counter(N, C, 2),
}


@given(
    C_charge=st.floats(1.0, 3000.0),
    C_other=st.floats(1.0, 3000.0),
    UA=st.floats(1.0, 5000.0),
    hot=st.floats(1.0, 150.0),
)
@settings(deadline=None)
def test_law_1_both_sides_tell_the_same_heat(C_charge, C_other, UA, hot):
    C_min, C_max = sorted((C_charge, C_other))
    eps = c.effectiveness_crossflow(UA / C_min, C_min / C_max)
    one = c.stream_effectiveness(eps, C_charge, C_other) * C_charge * hot
    other = c.stream_effectiveness(eps, C_other, C_charge) * C_other * hot
    assert one == pytest.approx(other, rel=1e-12)
    assert c.smaller_side_effectiveness(
        c.stream_effectiveness(eps, C_charge, C_other), C_charge, C_other
    ) == pytest.approx(eps, rel=1e-12)


@pytest.mark.parametrize("name", ARRANGEMENTS)
@given(NTU=NTUS, C_r=RATIOS, factor=st.floats(1.01, 3.0), nearer=st.floats(0.05, 0.5))
@settings(max_examples=60, deadline=None)
def test_law_2_rises_with_transfer_units_and_falls_with_the_ratio(name, NTU, C_r, factor, nearer):
    effectiveness = ARRANGEMENTS[name]
    here = effectiveness(NTU, C_r)
    assert 0.0 <= here <= 1.0
    # 1e-14: round-off where the curve is flat
    assert effectiveness(NTU * factor, C_r) >= here - 1e-14
    assert effectiveness(NTU, C_r + nearer * (1.0 - C_r)) <= here + 1e-14


@given(NTU=NTUS, C_r=RATIOS)
@settings(deadline=None)
def test_law_2_order_of_arrangements(NTU, C_r):
    eps = {name: f(NTU, C_r) for name, f in ARRANGEMENTS.items()}
    ceiling = -np.expm1(-NTU)
    for mixed in ("C_min mixed", "C_max mixed"):
        assert eps[mixed] <= eps["unmixed"] + 1e-14
    assert eps["unmixed"] <= eps["two passes"] + 1e-14
    assert eps["two passes"] <= eps["counterflow"] + 1e-14
    assert eps["counterflow"] <= ceiling + 1e-14


@pytest.mark.parametrize("name", ARRANGEMENTS)
@pytest.mark.parametrize("C_r", [0.0, 1e-13, 0.3, 1.0])
def test_law_3_small_exchangers_are_all_alike(name, C_r):
    """eps = NTU - (1 + C_r) NTU^2/2 + O(NTU^3), the third order being below NTU^3."""
    for NTU in (0.0, 1e-300, 1e-12, 0.9e-9, 1.1e-9, 1e-6, 1e-4, 1e-2):
        expected = NTU - 0.5 * (1.0 + C_r) * NTU**2
        assert ARRANGEMENTS[name](NTU, C_r) == pytest.approx(expected, abs=NTU**3 + 1e-15 * NTU, rel=0.0)


def test_law_4_counterflow_is_the_logarithmic_mean_difference():
    NTU, C_r = grid(200, -1.0, 0.7)
    NTU, C_r = NTU[C_r < 0.9], C_r[C_r < 0.9]  # nearer to 1 the mean itself is 0/0
    eps = c.effectiveness_counterflow(NTU, C_r)  # heat, for C_min = 1 and inlets one kelvin apart
    first, second = 1.0 - C_r * eps, 1.0 - eps
    # 1e-12: the law is exact; the smallest difference at an end is 1e-3, which leaves that much of round-off
    np.testing.assert_allclose(eps, NTU * (first - second) / np.log(first / second), rtol=1e-12)
    balanced = c.effectiveness_counterflow(NTU, 1.0)
    np.testing.assert_allclose(balanced, NTU * (1.0 - balanced), rtol=1e-12)


def test_law_6_many_passes_tend_to_counterflow():
    NTU, C_r = grid(40, -1.0, 0.7)
    limit = c.effectiveness_counterflow(NTU, C_r)
    gap = [np.max(limit - c.effectiveness_cross_counter(NTU, C_r, passes)) for passes in (1, 2, 4, 8, 16, 32)]
    assert np.all(np.diff(gap) < 0)
    assert 0 <= gap[-1] < 1e-3  # falls as 1/passes^2


def test_one_pass_in_counterflow_is_the_single_pass():
    NTU, C_r = grid(50)
    np.testing.assert_allclose(
        c.effectiveness_cross_counter(NTU, C_r, 1), c.effectiveness_crossflow(NTU, C_r), atol=1e-15
    )


def test_no_change_of_temperature_is_the_same_in_every_arrangement():
    """C_r = 0: melting ice or endless flow."""
    NTU = np.array([0.0, 0.1, 1.0, 5.0, 50.0])
    for effectiveness in ARRANGEMENTS.values():
        np.testing.assert_allclose(effectiveness(NTU, 0.0), -np.expm1(-NTU), rtol=1e-14)
        np.testing.assert_allclose(effectiveness(NTU, 1e-10), -np.expm1(-NTU), rtol=1e-8)


def test_crossflow_is_continuous_where_its_branches_meet():
    for C_r in (0.2, 1.0):
        low, high = c.effectiveness_crossflow(np.array([1.0 - 1e-9, 1.0 + 1e-9]) * 1e-9, C_r)
        assert low == pytest.approx(high, rel=1e-8)
    low, high = c.effectiveness_crossflow(2.0, np.array([0.999e-12, 1.001e-12]))
    assert low == pytest.approx(high, rel=1e-11)
    assert c.effectiveness_crossflow(500.0, 1.0) == c.effectiveness_crossflow(900.0, 1.0)


def test_order_and_shape_of_the_array_do_not_matter():
    NTU, C_r = grid(60)
    whole = c.effectiveness_crossflow(NTU.reshape(6, 10), C_r.reshape(6, 10))
    single = np.array([c.effectiveness_crossflow(n, q) for n, q in zip(NTU, C_r, strict=True)])
    np.testing.assert_array_equal(whole, single.reshape(6, 10))
    assert c.effectiveness_crossflow(NTU[:, None], C_r[None, :4]).shape == (60, 4)
    assert isinstance(c.effectiveness_crossflow(1.0, 0.5), float)


# --- inverse ------------------------------------------------------------------------------------------------------


@given(eps=st.floats(0.0, 0.97), C_r=RATIOS)
@example(eps=0.5, C_r=5.6e-13)  # a ratio that the series takes for 0
@settings(max_examples=200, deadline=None)
def test_the_inverse_gives_the_effectiveness_back(eps, C_r):
    NTU = c.transfer_units_crossflow(eps, C_r)
    assert c.effectiveness_crossflow(NTU, C_r) == pytest.approx(eps, abs=1e-14)
    assert -np.log1p(-eps) * (1.0 - 1e-12) <= NTU


def test_the_inverse_of_many():
    NTU, C_r = grid(3000, -3.0, 1.3)
    eps = c.effectiveness_crossflow(NTU, C_r)
    found = c.transfer_units_crossflow(eps.reshape(30, 100), C_r.reshape(30, 100))
    assert found.shape == (30, 100)
    np.testing.assert_allclose(c.effectiveness_crossflow(found.ravel(), C_r), eps, atol=1e-14)
    firm = eps < 0.99  # above, the curve is so flat that NTU itself is lost in the round-off of eps
    np.testing.assert_allclose(found.ravel()[firm], NTU[firm], rtol=1e-11)


# --- sides and coupling -------------------------------------------------------------------------------------------


def test_a_standing_stream_has_the_effectiveness_of_the_smaller():
    assert c.stream_effectiveness(0.8, 0.0, 1000.0) == 0.8
    assert c.stream_effectiveness(0.8, 1000.0, 0.0) == 0.0


def test_coupled_exchangers_are_the_balance_of_three_temperatures():
    """The same loop solved as linear equations for heat and the loop's two temperatures."""
    a, b, C = 414.1, 1141.8, 2076.0
    # Q = a (T_hot - T_cool), Q = b (T_warm - T_amb), Q = C (T_warm - T_cool); T_hot = 1, T_amb = 0
    matrix = np.array([[1.0, a, 0.0], [1.0, 0.0, -b], [1.0, C, -C]])
    heat = np.linalg.solve(matrix, [a, 0.0, 0.0])[0]
    assert c.liquid_coupled_conductance(a, b, C) == pytest.approx(heat, rel=1e-12)


# --- friction and films -------------------------------------------------------------------------------------------


def test_friction_is_laminar_at_low_flow_and_finite_at_rest():
    Re = np.array([0.0, 1e-12, 1e-6, 1.0, 500.0, -500.0, 1000.0])
    f = c.friction_factor(Re, 1e-3)
    assert np.all(np.isfinite(f))
    np.testing.assert_allclose(f[2:] * np.abs(Re[2:]), 64.0, rtol=1e-6)
    assert f[0] * 1e-9 == pytest.approx(64.0)
    assert f[4] == f[5]


@given(Re=st.floats(0.0, 1e7), rough=st.floats(0.0, 0.05))
@settings(deadline=None)
def test_loss_never_falls_with_flow(Re, rough):
    """f Re^2 is the loss in numbers: it must rise through the transition, or a loop has several answers."""
    more = Re * 1.01 + 1e-3
    assert c.friction_factor(more, rough) * more**2 > c.friction_factor(Re, rough) * Re**2


@given(Re=st.floats(0.0, 1e5), Pr=st.floats(0.6, 200.0), length=st.floats(1.0, 1000.0))
@example(Re=2273.0, Pr=1.0, length=1.0)  # a short tube: the film once fell by 0.02 % through the transition
@settings(deadline=None)
def test_film_of_a_tube_rises_with_flow_and_entrance(Re, Pr, length):
    here = c.nusselt_tube(Re, Pr, length)
    assert here >= 3.656
    assert c.nusselt_tube(Re * 1.05 + 1.0, Pr, length) >= here * (1.0 - 1e-12)
    assert c.nusselt_tube(Re, Pr, length * 1.5) <= here * (1.0 + 1e-12)


@pytest.mark.parametrize("edge", [2300.0, 4000.0])
def test_film_of_a_tube_has_no_step_at_the_ends_of_the_transition(edge):
    low, high = c.nusselt_tube(np.array([edge - 1e-6, edge + 1e-6]), 7.0, 50.0)
    assert high == pytest.approx(low, rel=1e-6)


def test_a_standing_fluid_has_a_film():
    assert c.nusselt_tube(0.0, 6.0, 10.0) == pytest.approx(3.657, rel=1e-9)
    assert c.nusselt_vertical_plate(0.0, 0.7) == pytest.approx(0.825**2)


def test_turbulent_part_alone():
    assert c.nusselt_tube_turbulent(1e4, 6.0) == c.nusselt_tube(1e4, 6.0)
    assert c.nusselt_tube_turbulent(1e4, 6.0, 27.0) == pytest.approx(c.nusselt_tube(1e4, 6.0) * (1.0 + 1.0 / 9.0))


# --- words --------------------------------------------------------------------------------------------------------


def test_leaving_a_range_is_said():
    assert c.extrapolated(c.nusselt_tube, Re=[10.0, 1e5], Pr=6.0) == []
    assert c.extrapolated("nusselt_tube", Re=1e4, Pr=[0.1, 3000.0]) == [
        "nusselt_tube: Pr = 0.1 is below 0.5, the range of its source",
        "nusselt_tube: Pr = 3e+03 is above 2000, the range of its source",
    ]


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: c.effectiveness_crossflow(-1.0, 0.5), "NTU = -1 is out of range; it must be at least 0"),
        (lambda: c.effectiveness_crossflow(float("nan"), 0.5), "NTU = nan is out of range; it must be at least 0"),
        (lambda: c.effectiveness_counterflow(1.0, 1.5), "C_r = 1.5 is out of range; it must be from 0 to 1"),
        (
            lambda: c.effectiveness_crossflow_mixed(1.0, 0.5, mixed="both"),
            'mixed = \'both\' is not known; it must be "C_min" or "C_max"',
        ),
        (
            lambda: c.effectiveness_cross_counter(1.0, 0.5, 0),
            "passes = 0 is out of range; it must be a whole number from 1 to 100",
        ),
        (
            lambda: c.transfer_units_crossflow([0.5, 0.98], 1.0),
            (
                "effectiveness 0.98 cannot be reached in crossflow; with the smaller heat capacity flow 1 of the "
                "larger one it stays below 0.9748 however large the core"
            ),
        ),
        (
            lambda: c.transfer_units_crossflow(1.0, 0.2),
            (
                "effectiveness 1 cannot be reached in crossflow; with the smaller heat capacity flow 0.2 of the larger "
                "one it stays below 1 however large the core"
            ),
        ),
        (
            lambda: c.transfer_units_crossflow(1.1, 0.2),
            "effectiveness = 1.1 is out of range; it must be from 0 to 1",
        ),
        (
            lambda: c.stream_effectiveness(0.5, -1.0, 2.0),
            "heat capacity flow of the stream = -1 is out of range; it must be at least 0",
        ),
        (
            lambda: c.smaller_side_effectiveness(0.9, 2000.0, 500.0),
            "effectiveness on the smaller stream = 3.6 is out of range; it must be from 0 to 1",
        ),
        (
            lambda: c.liquid_coupled_conductance(500.0, 500.0, 400.0),
            "the loop carries less heat than an exchanger on it is said to move; check its flow",
        ),
        (
            lambda: c.friction_factor(1e4, 0.2),
            "relative_roughness = 0.2 is out of range; it must be from 0 to 0.05",
        ),
        (lambda: c.friction_factor(np.nan), "Re = nan is out of range; it must be finite"),
        (
            lambda: c.nusselt_tube(1e4, 6.0, 0.0),
            "length_over_diameter = 0 is out of range; it must be above 0",
        ),
        (lambda: c.nusselt_tube_turbulent(1000.0, 6.0), "Re = 1000 is out of range; it must be at least 1500"),
        (lambda: c.nusselt_vertical_plate(-1.0, 0.7), "Ra = -1 is out of range; it must be at least 0"),
        (
            lambda: c.extrapolated("nusselt_sphere", Re=1.0),
            (
                "no range is stated for 'nusselt_sphere'; there is one for friction_factor, nusselt_tube, "
                "nusselt_tube_laminar, nusselt_tube_turbulent, nusselt_vertical_plate, nusselt_channel, "
                "friction_channel, colburn_offset_strip, friction_offset_strip, louvered_fin"
            ),
        ),
        (
            lambda: c.extrapolated(c.friction_factor, Pr=1.0),
            "friction_factor has no stated range of 'Pr'; it has one of Re, relative_roughness",
        ),
    ],
)
def test_refusals(call, said):
    with pytest.raises(BadInput) as caught:
        call()
    assert str(caught.value) == said
