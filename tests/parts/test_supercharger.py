"""Supercharger: what a belt can give, where it works, its power, what is refused."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coldside.errors import BadInput
from coldside.media import air
from coldside.parts.compressor import CompressorSpec, corrected_flow, family_point
from coldside.parts.engine import RPM
from coldside.parts.supercharger import SuperchargerSpec, belt_power, supercharger

BLOWER = supercharger(SuperchargerSpec(drive_ratio=2.0, displacement=1.0e-3, volumetric_efficiency=0.9))
WHEEL_SPEC = SuperchargerSpec(
    drive_ratio=8.0, design_flow=0.30, design_pressure_ratio=2.2, design_speed=60000 * RPM, speed_limit=65000 * RPM
)
WHEEL = supercharger(WHEEL_SPEC)
FAMILY = CompressorSpec(design_flow=0.30, design_pressure_ratio=2.2, peak_efficiency=WHEEL_SPEC.peak_efficiency)
INLET = (np.array([298.15]), np.array([1e5]))


def of(value: float) -> np.ndarray:
    return np.array([value])


def test_a_blower_moves_its_displacement():
    """Arithmetic: 0.9 x 1 L x 2 x 100 rev/s of air at 100 kPa, 298.15 K (R 287.06)."""
    drawn = BLOWER.drawn(of(100.0), *INLET, of(1.8), 0.0)
    assert drawn[0] == pytest.approx(0.9 * 1e-3 * 2.0 * 100.0 * 1e5 / (287.06 * 298.15), rel=1e-4)


def test_a_wheel_stands_on_the_line_of_its_speed():
    """At 60000 rpm and reference inlet the generic family's design line, from its printed equations."""
    n = of(60000 * RPM / 8.0)
    for beta in (0.1, 0.5, 0.9):
        flow, ratio, efficiency = family_point(FAMILY, 1.0, beta)
        assert WHEEL.drawn(n, *INLET, of(float(ratio)), 0.0)[0] == pytest.approx(float(flow), rel=1e-3)
        through, corrected, found = WHEEL.evaluate(of(float(flow)), of(float(ratio)), n, INLET, 0.0)
        assert through[0] == pytest.approx(float(flow), rel=1e-3)
        assert corrected[0] == pytest.approx(float(corrected_flow(through, *INLET, WHEEL.machine)[0]), rel=1e-12)
        assert found.efficiency[0] == pytest.approx(float(efficiency), abs=1e-3)
        assert found.shaft_speed[0] == pytest.approx(60000 * RPM, rel=1e-9)
        assert found.speed_margin[0] == pytest.approx(1.0 - 60.0 / 65.0, rel=1e-9)
        assert not found.off_map[0]


@given(st.floats(0.05, 0.5), st.floats(1.05, 2.5), st.floats(20.0, 130.0))
def test_what_the_drive_can_give_is_what_it_moves(flow, ratio, n):
    """A demand is within the drive exactly when the machine moves as much at that ratio; both sorts."""
    for machine in (BLOWER, WHEEL):
        excess = machine.excess(of(flow), of(ratio), of(n), INLET, 0.0)[0]
        moved = machine.drawn(of(n), *INLET, of(ratio), 0.0)[0]
        speed = machine.spec.drive_ratio * n
        top = np.inf if machine is BLOWER else float(machine.machine.line_ratio(speed, 0.0))
        able = moved >= flow and ratio <= top
        if abs(excess) > 1e-6:
            assert (excess <= 0.0) == able


def test_no_demand_is_beyond_a_drive_that_need_not_press():
    """The bypass: at a ratio below 1 any flow passes, at a standstill too."""
    for machine in (BLOWER, WHEEL):
        for n in (0.0, 100.0):
            assert machine.excess(of(5.0), of(0.6), of(n), INLET, 0.0)[0] < 0.0


def test_excess_rises_with_flow_and_ratio_without_a_jump():
    flow = np.linspace(0.01, 0.6, 400)
    for machine in (BLOWER, WHEEL):
        for ratio in (0.9, 1.3, 1.9):
            found = machine.excess(flow, np.full(400, ratio), np.full(400, 110.0), INLET, 0.0)
            assert np.all(np.diff(found) >= -1e-12)
        ratios = np.linspace(0.5, 3.0, 400)
        found = machine.excess(np.full(400, 0.2), ratios, np.full(400, 110.0), INLET, 0.0)
        assert np.all(np.diff(found) >= -1e-12)
        assert np.diff(found).max() < 0.02  # a step of 0.006 in the ratio: 1.2 % at the most


def test_surplus_goes_round():
    """In boost all that the machine moves passes it, below none but the engine's own."""
    for machine in (BLOWER, WHEEL):
        through, _, _ = machine.evaluate(of(0.05), of(1.3), of(110.0), INLET, 0.0)
        assert through[0] == pytest.approx(machine.drawn(of(110.0), *INLET, of(1.3), 0.0)[0], rel=1e-12)
        still, _, operating = machine.evaluate(of(0.05), of(1.0), of(110.0), INLET, 0.0)
        assert still[0] == 0.05
        assert operating.idle[0]
        assert not operating.off_map[0]


def test_a_blower_has_no_map_but_may_have_a_limit():
    spec = SuperchargerSpec(drive_ratio=2.0, displacement=1e-3, speed_limit=14000 * RPM)
    _, _, found = supercharger(spec).evaluate(of(0.1), of(1.5), of(120.0), INLET, 0.0)
    assert found.surge_margin is None
    assert found.speed_margin[0] == pytest.approx(1.0 - 14400.0 / 14000.0)
    assert not found.off_map[0]  # a limit is none of the edges of a map
    assert not BLOWER.evaluate(of(0.1), of(1.5), of(500.0), INLET, 0.0)[2].off_map[0]


def test_belt_power():
    """First law with the losses of belt and gears on top (arithmetic)."""
    T2 = float(air.compressed_temperature(298.15, 1.8, 0.6))
    work = 0.2 * (float(air.enthalpy(T2)) - float(air.enthalpy(298.15)))
    spec = SuperchargerSpec(drive_ratio=2.0, displacement=1e-3, mechanical_efficiency=0.9)
    assert belt_power(work, spec) == pytest.approx(work / 0.9, rel=1e-12)


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        ({}, "none of them"),
        ({"displacement": 1e-3, "map": "a.csv"}, "more than one"),
        ({"design_flow": 0.3, "design_pressure_ratio": 2.0}, "design_speed is needed"),
        ({"design_flow": 0.3, "design_speed": 1000.0}, "design_pressure_ratio"),
    ],
)
def test_refusals(keys, words):
    with pytest.raises(BadInput, match=words):
        supercharger(SuperchargerSpec(drive_ratio=2.0, **keys))
