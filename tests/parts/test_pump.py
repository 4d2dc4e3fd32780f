"""Pump: check cases C6 to C10 of the design's loop notes, measured catalogue curves, affinity."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import brentq

from coldside.errors import BadInput
from coldside.parts.pump import GENERIC_CURVE, GRAVITY, PumpSpec, electrical_power, head_curve, pressure_rise, speed_of

LITRE_MIN = 1 / 60000.0


def parabola(H0: float, a: float, count: int = 25) -> tuple[tuple[float, float], ...]:
    """Points of H0 - a Q^2 down to zero head."""
    flow = np.linspace(0.0, np.sqrt(H0 / a), count)
    return tuple(zip(flow.tolist(), (H0 - a * flow**2).tolist(), strict=True))


def balance(spec: PumpSpec, k: float, speed: float = 1.0) -> float:
    """Flow at which the pump's head meets k Q^2."""

    def excess(Q: float) -> float:
        return float(pressure_rise(spec, Q, speed, 1000.0)[0]) / (1000.0 * GRAVITY) - k * Q * Q

    return brentq(excess, 0.0, 2e-3, xtol=1e-12)


C7 = PumpSpec(curve=parabola(8.0, 3.2e7), curve_voltage=13.8, voltage=13.8)


def test_c6_three_points():
    """C6: (0, 8 m), (15 L/min, 6), (28, 1): the power form of EPANET 2.2 ch. 12 gives 4.437 m at 20 L/min.

    A monotone cubic through the same three points is another curve between them: 3 % of shut-off head
    is what three points leave open.
    """
    spec = PumpSpec(curve=((0.0, 8.0), (15 * LITRE_MIN, 6.0), (28 * LITRE_MIN, 1.0)))
    heads = pressure_rise(spec, np.array([0.0, 15.0, 28.0, 20.0]) * LITRE_MIN, 1.0, 1058.0)[0] / (1058.0 * GRAVITY)
    assert heads[:3] == pytest.approx([8.0, 6.0, 1.0], rel=1e-12)
    assert heads[3] == pytest.approx(4.437, abs=0.03 * 8.0)


def test_c7_pump_against_a_line():
    """C7 (arithmetic): 19.34 L/min, 4.675 m.  1e-3: the notes' tolerance; 25 points of the parabola are closer."""
    Q = balance(C7, 4.5e7)
    assert pytest.approx(19.34, rel=1e-3) == Q / LITRE_MIN
    assert pytest.approx(4.675, rel=1e-3) == 4.5e7 * Q * Q


def test_c8_two_pumps():
    """C8 (arithmetic): parallel 23.31, series 22.99 L/min; 1e-3 as in the notes."""

    def head(Q: float) -> float:
        return float(pressure_rise(C7, Q, 1.0, 1.0)[0]) / GRAVITY

    parallel = brentq(lambda Q: head(Q / 2) - 4.5e7 * Q * Q, 0.0, 2e-3)
    series = brentq(lambda Q: 2 * head(Q) - 4.5e7 * Q * Q, 0.0, 2e-3)
    assert parallel / LITRE_MIN == pytest.approx(23.31, rel=1e-3)
    assert series / LITRE_MIN == pytest.approx(22.99, rel=1e-3)


def test_c9_low_voltage():
    """C9 (arithmetic): 11.5 of 13.8 V: 16.12 L/min, 3.247 m, hydraulic power 0.5787 of C7; 1e-3 as in the notes."""
    low = PumpSpec(curve=C7.curve, curve_voltage=13.8, voltage=11.5)
    Q = balance(low, 4.5e7, float(speed_of(low, 1.0)))
    assert pytest.approx(16.12, rel=1e-3) == Q / LITRE_MIN
    assert pytest.approx(3.247, rel=1e-3) == 4.5e7 * Q * Q
    assert (Q / balance(C7, 4.5e7)) ** 3 == pytest.approx(0.5787, rel=1e-3)


def test_c10_electrical_power():
    """C10 (arithmetic): 1058 kg/m3, 20 L/min, 6.0 m, 0.35 * 0.60: 98.81 W; 1e-3 as in the notes."""
    spec = PumpSpec(efficiency=0.35 * 0.60)
    assert electrical_power(spec, 20 * LITRE_MIN, 1058.0 * GRAVITY * 6.0) == pytest.approx(98.81, rel=1e-3)
    assert electrical_power(spec, np.array([-1e-4, 1e-4]), np.array([5e4, -1e3])) == pytest.approx([0.0, 0.0])


def test_c12_stopped_pump_leaks():
    """C12's form (arithmetic): a stopped pump of R = 9e7 s2/m5 beside C7's, loop 4.5e7: H 2.604 m.

    Our stopped pump has R = 2 H0/Qmax^2 = 2 a = 6.4e7 s2/m5, so the expected figures come from the
    same closed form with that R: Q_loop = sqrt(H/k), Q_back = sqrt(H/R), H = H0/(1 + a (k^-.5 + R^-.5)^2).
    """
    a, k, R = 3.2e7, 4.5e7, 6.4e7
    assert 8.0 / (1 + a * (k**-0.5 + 9e7**-0.5) ** 2) == pytest.approx(2.604, rel=1e-3)  # the notes' own R
    H = 8.0 / (1 + a * (k**-0.5 + R**-0.5) ** 2)
    loop, back = np.sqrt(H / k), np.sqrt(H / R)
    running = pressure_rise(C7, loop + back, 1.0, 1.0)[0] / GRAVITY
    stopped = pressure_rise(C7, -back, 0.0, 1.0)[0] / GRAVITY
    assert running == pytest.approx(H, rel=1e-3)
    assert stopped == pytest.approx(H, rel=3e-3)  # the slope floor adds 1e-3 Qmax/Q


# Ten points of a small circulator (second of the anonymous set): flow m3/s, rise Pa.  Catalogue values from the
# Modelica IBPSA library, commit bad7edb, Fluid/Movers/Data/Pumps, Copyright (c) 1998-2026 Modelica Association, IBPSA
# and contributors, BSD 3-clause.
MEASURED = np.array(
    [
        (4.24448e-06, 52688.1),
        (0.00027542, 49223.2),
        (0.000501792, 45152.0),
        (0.000688078, 40994.1),
        (0.000827202, 37269.3),
        (0.00101585, 31205.8),
        (0.00117148, 25661.9),
        (0.00132711, 19598.3),
        (0.00148981, 12755.2),
        (0.00166195, 4699.27),
    ]
)


def test_catalogue_curve_from_half_its_points():
    """Between given points the curve meets the ones left out: 1 % of shut-off, about what a sheet can be read to."""
    kept = np.vstack([MEASURED[::2], MEASURED[-1:]])
    points = tuple((float(Q), float(p) / (998.2 * GRAVITY)) for Q, p in kept)
    rise = pressure_rise(PumpSpec(curve=points), MEASURED[:, 0], 1.0, 998.2)[0]
    np.testing.assert_allclose(rise, MEASURED[:, 1], atol=0.01 * MEASURED[0, 1])


@pytest.mark.parametrize("n", [1.0, 1.5, 2.0, 3.0])
def test_three_points_are_joined_by_the_power_law(n):
    """EPANET 2.2 User Manual, chapter 12: H0 - r Q^n.  A cubic between points of it errs by under 0.05 % of H0."""
    H0, Q2 = 9.0, 7e-4
    curve = tuple((Q, H0 - 8.0 * (Q / Q2) ** n) for Q in (0.0, 0.5 * Q2, Q2))
    flow = np.linspace(0.0, Q2, 57)
    head = head_curve(PumpSpec(curve=curve)).at(flow)[0]
    np.testing.assert_allclose(head, H0 - 8.0 * (flow / Q2) ** n, atol=5e-4 * H0)


def test_three_points_that_no_power_law_of_pumps_meets_are_still_met():
    """Steepest at shut-off (power 0.4): the monotone cubic, which meets its points too."""
    curve = ((0.0, 9.0), (3e-4, 3.0), (6e-4, 1.0))
    found = head_curve(PumpSpec(curve=curve))
    assert len(found.flow) == 3
    assert found.at(np.array([0.0, 3e-4, 6e-4]))[0] == pytest.approx([9.0, 3.0, 1.0])


def test_generic_curve_and_density():
    spec = PumpSpec()
    for Q, H in GENERIC_CURVE:
        assert float(head_curve(spec).at(Q)[0]) == pytest.approx(H, abs=1e-9)
    light, heavy = pressure_rise(spec, 2e-4, 1.0, 990.0), pressure_rise(spec, 2e-4, 1.0, 1065.0)
    assert heavy[0] / light[0] == pytest.approx(1065 / 990)
    assert heavy[1] < light[1] < 0


def test_speed_and_refusals():
    spec = PumpSpec(curve_voltage=13.5, voltage=12.0)
    assert speed_of(spec, np.array([0.0, 0.5, 1.0])) == pytest.approx([0.0, 0.5 * 12 / 13.5, 12 / 13.5])
    with pytest.raises(BadInput, match="command"):
        speed_of(spec, 1.2)
    with pytest.raises(BadInput, match="rises"):
        head_curve(PumpSpec(curve=((0.0, 4.0), (1e-4, 5.0), (2e-4, 1.0))))
    with pytest.raises(BadInput, match="density"):
        pressure_rise(spec, 1e-4, 1.0, 0.0)
