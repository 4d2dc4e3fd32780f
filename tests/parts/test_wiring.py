"""Wires of pumps: gauge numbers, resistance, voltage left; what of it a build may say."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from coldside.build.values import read_value
from coldside.errors import BadInput
from coldside.parts.fields import field_of
from coldside.parts.pump import PumpSpec, running_current, speed_of, voltage_at
from coldside.parts.wiring import awg_area, voltage_left, wire_resistance


@pytest.mark.parametrize(
    ("gauge", "square_mm"), [(18, 0.823), (14, 2.08), (12, 3.31), (10, 5.26), (0, 53.5), (-1, 67.4)]
)
def test_gauge_numbers(gauge, square_mm):
    """ASTM B258's table, from memory; printed to three digits."""
    assert awg_area(gauge) * 1e6 == pytest.approx(square_mm, rel=2e-3)


def test_resistance_of_a_known_wire():
    """1000 ft of 10 AWG: 0.9989 ohm at 20 degC (ASTM B258, from memory); warm copper has 16 % more at 60 degC."""
    assert wire_resistance(304.8, awg_area(10), 293.15) == pytest.approx(0.9989, rel=2e-3)
    assert wire_resistance(1.0, 1e-6) / wire_resistance(1.0, 1e-6, 293.15) == pytest.approx(1.157, rel=1e-3)
    with pytest.raises(BadInput, match="wire area"):
        wire_resistance(1.0, 0.0)


def test_voltage_left_never_turns_round():
    assert voltage_left(13.8, 8.0, 0.05) == pytest.approx(13.4)
    assert voltage_left(13.8, 1e4, 0.05) == 0.0


@pytest.mark.parametrize(
    ("text", "square_mm"),
    [("2.5 mm2", 2.5), ("14 AWG", 2.081), ("AWG 14", 2.081), ("14awg", 2.081), ("2/0 AWG", 67.43), ("00 AWG", 67.43)],
)
def test_wires_as_they_are_written(text, square_mm):
    assert read_value(field_of(PumpSpec, "wire_gauge"), text, {}).value * 1e6 == pytest.approx(square_mm, rel=1e-3)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("99 AWG", "is no wire gauge"),
        ("x AWG", "is no wire gauge"),
        ("2.5", "2.5 mm2"),
        ("9 cm2", "is no wire of a car"),
    ],
)
def test_wires_that_are_refused(text, said):
    with pytest.raises(BadInput, match=said):
        read_value(field_of(PumpSpec, "wire_gauge"), text, {})


def test_a_pump_at_the_end_of_its_wire():
    """The voltage left is what the resistance leaves of the supply, and the speed follows it."""
    spec = PumpSpec(wire_length=6.0, wire_gauge=1.5e-6, current=8.0, supply_voltage=13.8, curve_voltage=13.8)
    lost = 8.0 * wire_resistance(6.0, 1.5e-6)
    assert 0.4 < lost < 0.8
    assert voltage_at(spec) == pytest.approx(13.8 - lost)
    assert speed_of(spec, 1.0) == pytest.approx(1.0 - lost / 13.8)
    assert voltage_at(replace(spec, wire_length=None)) == spec.voltage
    longer = [voltage_at(replace(spec, wire_length=x)) for x in (1.0, 3.0, 9.0)]
    assert np.all(np.diff(longer) < 0.0)


def test_current_from_the_curve_where_none_is_given():
    """Largest rho g Q H of a straight curve H0 (1 - Q/Qm) is at half its flow: rho g Qm H0/4."""
    spec = PumpSpec(curve=((0.0, 8.0), (4e-4, 0.0)), efficiency=0.3, curve_voltage=12.0)
    assert running_current(spec) == pytest.approx(1000.0 * 9.80665 * 4e-4 * 8.0 / 4.0 / 0.3 / 12.0, rel=1e-3)
    assert running_current(replace(spec, drive="engine")) == 0.0
