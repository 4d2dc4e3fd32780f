"""Losses and conductances of lines: check cases C3 to C5, C11, C13, C18 of the loop notes, and what a solver needs."""

from __future__ import annotations

import fluids
import ht
import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from coldside.errors import BadInput
from coldside.media import air
from coldside.parts import lines
from coldside.parts.lines import HoseSpec, PipeSpec, ValveSpec
from coldside.parts.pump import PumpSpec, pressure_rise

LITRE_MIN = 1 / 60000.0
C4_HOSE = HoseSpec(length=4.0, bore=0.01905, losses=4.2)


def test_c3_laminar_hose():
    """C3: Hagen-Poiseuille, 309.4 Pa; 1e-3 as in the notes."""
    hose = HoseSpec(length=3.0, bore=0.01905, losses=0.0)
    loss, slope = lines.hose_loss(hose, 4 * LITRE_MIN, 1065.0, 5e-3)
    assert loss == pytest.approx(309.4, rel=1e-3)
    assert slope == pytest.approx(128 * 5e-3 * 3.0 / (np.pi * 0.01905**4), rel=1e-3)


def test_c4_turbulent_hose():
    """C4: friction 4677 + fittings 3039 = 7716 Pa, from the fluids library; 2e-3 as in the notes."""
    assert lines.hose_loss(C4_HOSE, 20 * LITRE_MIN, 1058.0, 2.26e-3)[0] == pytest.approx(7716, rel=2e-3)


def test_c5_cold_glycol():
    """C5: MEG 50 % by mass at -20 degC: 9148 + 3108 Pa; 3e-3 as in the notes (CoolProp's viscosity rounded)."""
    T = 253.15
    rho, mu = PropsSI("D", "T", T, "P", 1e5, "INCOMP::MEG[0.5]"), PropsSI("V", "T", T, "P", 1e5, "INCOMP::MEG[0.5]")
    assert lines.hose_loss(C4_HOSE, 20 * LITRE_MIN, rho, mu)[0] == pytest.approx(9148 + 3108, rel=3e-3)


@pytest.mark.parametrize("bore", [0.0127, 0.0254])
@pytest.mark.parametrize("flow", [2.0, 8.0, 20.0, 60.0])
def test_hose_against_the_reference_library(bore, flow):
    """fluids.friction.Churchill_1977: the same formula, so only rounding remains (1e-9)."""
    rho, mu, Q = 1040.0, 1.6e-3, flow * LITRE_MIN
    V = Q / (np.pi * bore**2 / 4)
    f = fluids.friction.Churchill_1977(fluids.Reynolds(V=V, D=bore, rho=rho, mu=mu), lines.SMOOTH / bore)
    expected = (f * 2.5 / bore + 1.5) * rho * V * V / 2
    hose = HoseSpec(length=2.5, bore=bore, losses=1.5)
    assert lines.hose_loss(hose, Q, rho, mu)[0] == pytest.approx(expected, rel=1e-9)


def test_trade_table_of_hoses():
    """Loop notes g6 (fluids, CoolProp), 50/50 by volume at 35 degC, loss per metre; given to two digits, so 5 %."""
    rho, mu = (PropsSI(x, "T", 308.15, "P", 1e5, "INCOMP::AEG[0.5]") for x in "DV")
    for bore, flow, expected in ((0.0127, 30, 16.8e3), (0.01905, 60, 8.2e3), (0.0254, 10, 0.10e3)):
        hose = HoseSpec(length=1.0, bore=bore, losses=0.0)
        assert lines.hose_loss(hose, flow * LITRE_MIN, rho, mu)[0] == pytest.approx(expected, rel=0.05)


def test_c11_parallel_quadratics():
    """C11 (arithmetic): R 4e7 and 9e7 in parallel: 1.440e7, share 0.6000; the slope floor allows 2e-3."""

    def loss(R: float, Q: float) -> float:
        return float(lines.bench_loss(R * 1e-8, 1e-4, 2.0, Q)[0])

    first = brentq(lambda Q: loss(4e7, Q) - loss(9e7, 1e-4 - Q), 0.0, 1e-4)
    assert first / 1e-4 == pytest.approx(0.6000, rel=2e-3)
    assert loss(4e7, first) / 1e-8 == pytest.approx(1.440e7, rel=2e-3)


def test_c13_whole_loop():
    """C13: pump of C7, hose of C4, core, two equal exchangers: 22.62 L/min; hose 9676, core 14976, exch 11163 Pa.

    The notes use pure powers; our split into laminar and quadratic shares differs by 0.1 % at these
    flows, within their 2e-3.
    """
    flow = np.linspace(0.0, 5e-4, 25)
    pump = PumpSpec(curve=tuple(zip(flow.tolist(), (8.0 - 3.2e7 * flow**2).tolist(), strict=True)))

    def parts(Q: float) -> tuple[float, float, float]:
        hose = lines.hose_loss(C4_HOSE, Q, 1058.0, 2.26e-3)[0]
        core = lines.bench_loss(12e3, 20 * LITRE_MIN, 1.8, Q)[0]
        exchanger = lines.bench_loss(9e3, 10 * LITRE_MIN, 1.75, Q / 2)[0]
        return float(hose), float(core), float(exchanger)

    Q = brentq(lambda Q: float(pressure_rise(pump, Q, 1.0, 1058.0)[0]) - sum(parts(Q)), 1e-6, 6e-4)
    assert pytest.approx(22.62, rel=2e-3) == Q / LITRE_MIN
    assert parts(Q) == pytest.approx([9676, 14976, 11163], rel=4e-3)  # losses go with flow to 1.8: twice the flow's


def test_c18_hold_up():
    """C18 (arithmetic): bore 19.05 mm, 3 m at 15 L/min: 3.420 s; 1e-3."""
    assert lines.hose_volume(HoseSpec(length=3.0, bore=0.01905)) / (15 * LITRE_MIN) == pytest.approx(3.420, rel=1e-3)


def curves():
    """Every loss as a function of a flow of order one, with its name."""
    pipe, valve = PipeSpec(length=0.8, bore=0.063), ValveSpec(bore=0.016, losses=0.8)
    return {
        "hose": lambda x: lines.hose_loss(C4_HOSE, x * 4e-4, 1050.0, 2e-3),
        "valve": lambda x: lines.valve_loss(valve, x * 4e-4, 1050.0, 2e-3),
        "open valve": lambda x: lines.valve_loss(ValveSpec(bore=0.016, losses=0.0), x * 4e-4, 1050.0, 2e-3),
        "pipe": lambda x: lines.pipe_loss(pipe, x * 0.4, 2.0, 2.1e-5),
        "filter": lambda x: lines.quadratic_loss(2000.0, 0.4, 1.2, x * 0.4, 1.1),
        "core": lambda x: lines.bench_loss(9e3, 2e-4, 1.75, x * 4e-4, 1.05, 3.0),
        "core, square": lambda x: lines.bench_loss(9e3, 2e-4, 2.0, x * 4e-4),
        "core, linear": lambda x: lines.bench_loss(9e3, 2e-4, 1.0, x * 4e-4),
    }


SCALE = {"pipe": 0.4, "filter": 0.4}  # flow per x; 4e-4 for the rest


@pytest.mark.parametrize("name", curves())
def test_odd_strictly_rising_finite_at_rest(name):
    loss_of = curves()[name]
    x = np.concatenate([[0.0], np.geomspace(1e-9, 3.0, 400)])
    loss, slope = loss_of(x)
    assert loss[0] == 0.0
    assert np.all(np.isfinite(loss))
    assert np.all(np.diff(loss) > 0)
    assert np.all(slope > 0)
    np.testing.assert_allclose(loss_of(-x)[0], -loss, rtol=1e-12)
    np.testing.assert_allclose(loss_of(-x)[1], slope, rtol=1e-12)


@settings(max_examples=60, deadline=None)
@given(st.sampled_from(sorted(curves())), st.floats(-3.0, 3.0).filter(lambda x: abs(x) > 1e-4))
def test_slope_is_the_derivative(name, x):
    loss_of, step = curves()[name], 1e-6 * abs(x)
    rough = (loss_of(x + step)[0] - loss_of(x - step)[0]) / (2 * step * SCALE.get(name, 4e-4))
    assert loss_of(x)[1] == pytest.approx(rough, rel=1e-4)  # f Re bends fast in transition: the notes' 1e-4 step


def test_bench_point_is_met_and_its_exponent():
    loss, slope = lines.bench_loss(9e3, 2e-4, 1.75, 2e-4)
    assert loss == pytest.approx(9e3, rel=1e-12)
    assert slope * 2e-4 / loss == pytest.approx(1.75, rel=1e-12)  # d ln(dp)/d ln(Q)
    assert lines.quadratic_loss(2000.0, 0.4, 1.2, 0.4, 1.2)[0] == pytest.approx(2000.0, rel=1e-12)
    cold = lines.bench_loss(9e3, 2e-4, 1.75, 2e-4, 1.0, 10.0)[0]
    assert cold == pytest.approx(9e3 * (0.25 * 10 + 0.75))  # ten times the viscosity acts on the laminar share only


def test_check_valve():
    valve = ValveSpec(bore=0.016, losses=0.8, check=True)
    free = ValveSpec(bore=0.016, losses=0.8)
    Q = np.array([0.0, 1e-4, 4e-4])
    np.testing.assert_array_equal(lines.valve_loss(valve, Q, 1050.0, 2e-3), lines.valve_loss(free, Q, 1050.0, 2e-3))
    shut, slope = lines.valve_loss(valve, -5e-9, 1050.0, 2e-3)
    assert shut == pytest.approx(-5e4)
    assert slope == lines.SHUT_SLOPE


def test_valve_coefficient_at_high_flow():
    """K rho V^2/2 on its own bore (definition of K, e.g. Crane TP 410); 64/Re is 0.3 % of K = 0.8 at Re 25000."""
    V = 4e-4 / (np.pi * 0.016**2 / 4)
    loss = lines.valve_loss(ValveSpec(bore=0.016, losses=0.8), 4e-4, 998.0, 1e-3)[0]
    assert loss == pytest.approx(0.8 * 998.0 * V * V / 2, rel=4e-3)


def test_pipe_conductance_against_the_reference_library():
    """ht's Gnielinski with the entrance factor 1 + (D/L)^(2/3), CoolProp Air: 3 % for another friction factor."""
    pipe, T, m = PipeSpec(length=1.2, bore=0.06), 400.0, 0.3
    mu, k, Pr = (PropsSI(x, "T", T, "P", 2e5, "Air") for x in ("V", "L", "PRANDTL"))
    Re = 4 * m / (np.pi * 0.06 * mu)
    f = fluids.friction.friction_factor(Re)
    Nu = ht.conv_internal.turbulent_Gnielinski(Re=Re, Pr=Pr, fd=f) * (1 + (0.06 / 1.2) ** (2 / 3))
    assert lines.pipe_conductance(pipe, m, T) == pytest.approx(Nu * k * np.pi * 1.2, rel=0.03)
    idle = lines.pipe_conductance(pipe, np.array([0.0, 0.003, 0.3]), T)
    assert np.all(np.diff(idle) >= 0)
    assert idle[0] > 0


def test_laminar_hose_film_tends_to_the_handbook_value():
    """Nu 3.66 in a long laminar tube (any heat-transfer handbook); 2 % for what is left of the entrance at L/D 5000."""
    hose = HoseSpec(length=50.0, bore=0.01)
    G = lines.hose_conductance(hose, 1e-7, 1050.0, 5e-3, 0.4, 3400.0)
    assert pytest.approx(3.66 * 0.4 * np.pi * 50.0, rel=0.02) == G


def test_wall_figures():
    """Arithmetic of a cylinder; conductances from the loop notes b4."""
    hose = HoseSpec(length=2.0, bore=0.019, wall=0.0045)
    outside = 0.028
    per_metre = 1 / (np.log(outside / 0.019) / (2 * np.pi * 0.25) + 1 / (12 * np.pi * outside))
    assert lines.hose_pickup(hose) == pytest.approx(2 * per_metre)
    assert lines.hose_pickup(HoseSpec(length=2.0, bore=0.019, pickup=3.0)) == 3.0
    shell = np.pi / 4 * (outside**2 - 0.019**2) * 2.0
    assert lines.hose_wall_capacity(hose) == pytest.approx(shell * 1150 * 1900)
    pipe = PipeSpec(length=1.5, bore=0.06, wall=0.0016)
    assert lines.pipe_metal_mass(pipe) == pytest.approx(np.pi / 4 * (0.0632**2 - 0.06**2) * 1.5 * 2700)
    assert lines.pipe_pickup(pipe) == pytest.approx(10 * np.pi * 0.0632 * 1.5)
    assert lines.pipe_metal_mass(PipeSpec(length=1.5, bore=0.06, metal_mass=0.0)) == 0.0
    assert lines.pipe_pickup(PipeSpec(length=1.5, bore=0.06, pickup=0.0)) == 0.0


def test_pipe_loss_by_hand():
    """Same tube equation with mass flow: dp = (f L/D + K) rho V^2/2, f from the fluids library."""
    rho, mu, m = 2.1, float(air.viscosity(400.0)), 0.3
    V = m / rho / (np.pi * 0.06**2 / 4)
    f = fluids.friction.Churchill_1977(rho * V * 0.06 / mu, lines.SMOOTH / 0.06)
    loss = lines.pipe_loss(PipeSpec(length=1.0, bore=0.06, losses=0.6), m, rho, mu)[0]
    assert loss == pytest.approx((f / 0.06 + 0.6) * rho * V * V / 2, rel=1e-9)


def test_refusals():
    with pytest.raises(BadInput, match="viscosity"):
        lines.hose_loss(C4_HOSE, 1e-4, 1000.0, 0.0)
    with pytest.raises(BadInput, match="exponent"):
        lines.bench_loss(1e3, 1e-4, 2.5, 1e-4)
    with pytest.raises(BadInput, match="bench flow"):
        lines.bench_loss(1e3, 0.0, 1.8, 1e-4)
