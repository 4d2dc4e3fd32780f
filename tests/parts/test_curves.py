"""Curves through points: against SciPy's PCHIP, and the promises that network solvers rely on."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator

from coldside.errors import BadInput
from coldside.parts.curves import FallingCurve, MonotoneCurve, hermite, knot_slopes


@pytest.mark.parametrize("count", [2, 3, 7])
def test_same_curve_as_the_reference_library(count):
    """SciPy PchipInterpolator, value and derivative; both are the same closed form, so only round-off differs."""
    rng = np.random.default_rng(count)
    x = np.cumsum(rng.uniform(0.1, 1.0, count))
    y = rng.normal(size=(count, 3))
    at = np.linspace(x[0], x[-1], 101)
    value, slope = hermite(x, y, knot_slopes(x, y), at)
    theirs = PchipInterpolator(x, y)
    np.testing.assert_allclose(value, theirs(at), rtol=1e-12, atol=1e-12)
    np.testing.assert_allclose(slope, theirs.derivative()(at), rtol=1e-9, atol=1e-9)


def test_monotone_curve_is_level_beyond_its_ends():
    curve = MonotoneCurve.through(((1.0, 2.0), (2.0, 3.0), (4.0, 1.0)))
    np.testing.assert_allclose(curve([0.0, 1.0, 2.0, 4.0, 9.0]), [2.0, 2.0, 3.0, 1.0, 1.0])
    assert MonotoneCurve.through(((50.0, 0.9),))(np.array([0.0, 50.0, 80.0])) == pytest.approx([0.9] * 3)


@st.composite
def falling_points(draw):
    """Two to seven points that fall or stay level, starting at zero flow or above."""
    steps = draw(st.lists(st.floats(0.05, 1.0), min_size=1, max_size=6))
    drops = draw(st.lists(st.floats(0.0, 1.0), min_size=len(steps), max_size=len(steps)))
    first = draw(st.sampled_from([0.0, 0.2]))
    x, y = first + np.concatenate([[0.0], np.cumsum(steps)]), 3.0 - np.concatenate([[0.0], np.cumsum(drops)])
    return tuple(zip(x.tolist(), y.tolist(), strict=True))


@settings(max_examples=80, deadline=None)
@given(falling_points(), st.floats(0.0, 1.3))
def test_falls_strictly_at_every_flow_and_speed(points, w):
    curve = FallingCurve.through(points)
    Q = np.linspace(-3 * curve.largest_flow, 4 * curve.largest_flow, 701)
    rise, slope = curve.at(Q, w)
    assert np.all(np.isfinite(rise))
    assert np.all(np.diff(rise) < 0)
    assert np.all(slope < 0)


@settings(max_examples=40, deadline=None)
@given(falling_points(), st.floats(0.05, 1.3))
def test_slope_is_the_derivative(points, w):
    curve = FallingCurve.through(points)
    Q = np.linspace(-2.0, 3.0, 97) * curve.largest_flow + 1e-3
    step = 1e-6 * curve.largest_flow
    rough = (curve.at(Q + step, w)[0] - curve.at(Q - step, w)[0]) / (2 * step)
    # Second differences jump at knots: there the central difference is off by step * jump, far below 1e-3.
    np.testing.assert_allclose(curve.at(Q, w)[1], rough, rtol=1e-3, atol=1e-4 * curve.rise[0] / curve.largest_flow)


def test_affinity_and_the_way_to_a_standstill():
    curve = FallingCurve.through(((0.0, 8.0), (0.25, 6.0), (0.5, 0.0)))
    Q = np.linspace(0.0, 0.5, 11)
    np.testing.assert_allclose(curve.at(0.6 * Q, 0.6)[0], 0.36 * curve.at(Q)[0], atol=1e-12)  # textbook affinity
    np.testing.assert_allclose(curve.at([0.0, 0.25, 0.5])[0], [8.0, 6.0, 0.0], atol=1e-12)  # w = 1 is unscaled
    at_rest, creeping = curve.at(np.linspace(-1, 1, 21), 0.0)[0], curve.at(np.linspace(-1, 1, 21), 0.0011)[0]
    # What is left at a thousandth of speed: last slope * w * Q (40 * 0.0011 * Q) and the slope floor, 1e-3 R Qmax Q.
    np.testing.assert_allclose(at_rest, creeping, atol=0.08)
    assert curve.at(0.5, 0.0)[0] == pytest.approx(-2 * 8.0, rel=2e-3)  # R = 2 H0/Qmax^2, and the floor's 0.1 %


def test_level_stretches_are_bent_down_by_a_thousandth():
    curve = FallingCurve.through(((0.0, 10.0), (1.0, 10.0), (2.0, 4.0)))
    np.testing.assert_allclose(curve.at([0.0, 1.0, 2.0])[0], [10.0, 9.995, 4.0], rtol=1e-12)


@pytest.mark.parametrize(
    ("points", "words"),
    [
        (((0.0, 5.0), (1.0, 6.0), (2.0, 0.0)), "rises at its point 2"),
        (((0.0, 5.0), (0.0, 4.0)), "first column must rise"),
        (((0.0, 5.0),), "at least two points"),
        (((-1.0, 5.0), (1.0, 4.0)), "negative"),
        (((0.0, 0.0), (1.0, -1.0)), "above zero"),
        (((0.0, float("nan")), (1.0, 1.0)), "finite"),
        ((), "needs points"),
    ],
)
def test_refuses_what_is_no_falling_curve(points, words):
    with pytest.raises(BadInput, match=words):
        FallingCurve.through(points)
