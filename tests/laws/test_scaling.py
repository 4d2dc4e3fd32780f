"""A pump at its curve's own voltage is its curve: property of the loop notes ("w = 1 is unscaled")."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coldside.parts.pump import GRAVITY, PumpSpec, pressure_rise, speed_of

CURVE = ((0.0, 8.0), (2.5e-4, 6.0), (28.0 / 60000.0, 1.0))  # the points of loop-C6


@given(st.sampled_from(CURVE), st.floats(6.0, 24.0))
def test_full_voltage_is_the_curve_itself(point, voltage):
    flow, head = point
    spec = PumpSpec(curve=CURVE, curve_voltage=voltage, voltage=voltage)
    rise, _ = pressure_rise(spec, flow, speed_of(spec, 1.0), 1000.0)
    assert float(rise) == pytest.approx(1000.0 * GRAVITY * head, rel=1e-9)  # the curve goes through its points
