"""Intake sensor: check cases C36, C37, C39 of the design's loop notes, limits of lag and soak."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coldside.errors import BadInput
from coldside.parts import sensor
from coldside.parts.sensor import SensorSpec

C36_POINTS = ((9397.0, 263.15), (2500.0, 293.15), (323.0, 353.15))


def test_c36_steinhart_hart():
    """C36 (arithmetic, invented typical points): A, B, C to their 4 digits; 39.29 degC at 1200 ohm within 0.01 K."""
    A, B, C = sensor.thermistor_coefficients(C36_POINTS)
    np.testing.assert_allclose((A, B, C), (1.279e-3, 2.641e-4, 1.368e-7), rtol=1e-3)
    assert sensor.thermistor_temperature((A, B, C), 1200.0) == pytest.approx(273.15 + 39.29, abs=0.01)
    R, T = np.array(C36_POINTS).T
    np.testing.assert_allclose(sensor.thermistor_temperature((A, B, C), R), T, atol=1e-9)


def test_c39_stem_and_recovery():
    """C39 (arithmetic): 20.18 K of 40 K along the stem; 1.522 K of recovery at 60 m/s; 1e-3."""
    assert 40 * sensor.stem_share(80.0, 15.0, 0.005, 0.02) == pytest.approx(20.18, rel=1e-3)
    assert sensor.recovery_rise(0.85, 60.0, 1005.0) == pytest.approx(1.522, rel=1e-3)


def test_lag_follows_the_root_of_flow():
    spec = SensorSpec(time_constant=3.0)
    tau = sensor.time_constant(spec, np.array([0.4, 0.1, 0.025, 1e-9, 0.0, -0.1]), 0.1)
    assert tau == pytest.approx([1.5, 3.0, 6.0, 15.0, 15.0, 3.0])


def test_soak_equals_its_bench_value_and_the_fin_formula():
    """Between bench flow and rest the share is the stem's: film four times, mL twice (fin textbook, as C39)."""
    spec = SensorSpec(soak=0.04)
    assert sensor.soak_weight(spec, 0.1, 0.1) == pytest.approx(0.04)
    assert sensor.soak_weight(spec, 0.0, 0.1) == 1.0
    bench = np.arccosh(25.0)
    film = 80.0  # any stem whose mL at bench flow is that of 0.04; film goes with flow^0.5
    length = bench / np.sqrt(4 * film / (15.0 * 0.005))
    for flow in (0.001, 0.02, 0.3):
        stem = sensor.stem_share(film * (flow / 0.1) ** 0.5, 15.0, 0.005, length)
        assert sensor.soak_weight(spec, flow, 0.1) == pytest.approx(float(stem), rel=1e-9)


@given(st.floats(0.0, 0.9), st.floats(0.0, 20.0), st.floats(0.001, 1.0))
def test_soak_is_a_share_that_falls_with_flow(soak, flow, bench):
    spec = SensorSpec(soak=soak)
    weight = sensor.soak_weight(spec, np.array([flow, 2 * flow + 1e-6]), bench)
    assert np.all((weight >= 0) & (weight <= 1))
    assert weight[1] <= weight[0]


def test_no_soak_is_none_even_at_rest():
    assert np.all(sensor.soak_weight(SensorSpec(soak=0.0), np.array([0.0, 0.1]), 0.1) == 0.0)


def test_refusals():
    with pytest.raises(BadInput, match="bench_flow"):
        sensor.time_constant(SensorSpec(), 0.1, 0.0)
    with pytest.raises(BadInput, match="two or three points"):
        sensor.thermistor_coefficients(C36_POINTS[:1])
    for volts in (0.0, 5.0, 5.2):
        with pytest.raises(BadInput, match=r"volts|unplugged"):
            sensor.divider_resistance(np.array([1.0, volts]), 5.0, 2490.0)
    with pytest.raises(BadInput, match="fall"):
        sensor.thermistor_coefficients(((300.0, 263.15), (2500.0, 293.15), (9000.0, 353.15)))
    with pytest.raises(BadInput, match="resistance"):
        sensor.thermistor_temperature((1e-3, 2e-4, 1e-7), 0.0)
