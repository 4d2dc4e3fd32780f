"""Ducts and fans: check cases C22 to C25, C28 of the design's loop notes, and what a solver needs."""

from __future__ import annotations

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from scipy.optimize import brentq

from coldside.errors import BadInput
from coldside.parts import airflow
from coldside.parts.airflow import DuctSpec, FanSpec

RHO = PropsSI("D", "T", 298.15, "P", 101325.0, "Air")  # 1.184 kg/m3 (C22)


def duct(**more: object) -> DuctSpec:
    return DuctSpec(**({"place": "nose", "inlet_area": 0.05, "recovery": 1.0} | more))


C25_FAN = FanSpec(curve=((0.0, 220.0), (0.6, 0.0)))


def core(Q: float, density: float = RHO) -> float:
    """Loss of the core of C24 and C25: 12 u + 8 u^2 on a face of 0.12 m2."""
    u = Q / 0.12
    return 12 * u + 8 * u * u


def test_c22_ram():
    """C22 (CoolProp Air): 456.9 Pa at 100 km/h in air of 25 degC; 2e-3 as in the notes."""
    assert airflow.ram_pressure(duct(), 100 / 3.6, RHO) == pytest.approx(456.9, rel=2e-3)
    assert airflow.ram_pressure(duct(recovery=0.6), -100 / 3.6, RHO) == pytest.approx(-0.6 * 456.9, rel=2e-3)


def test_c23_duct_and_core_balance():
    """C23 (arithmetic): K_core 12, K_duct 1.5 on the core, K_i 0.3 with A_c/A_i 2.5: u/V = 0.2550; 1e-3."""
    spec = duct(inlet_area=0.04, inlet_loss=0.3, exit_area=0.1, exit_loss=1.5)  # face 0.1 m2

    def excess(u: float) -> float:
        opening = airflow.opening_loss(spec, u * 0.1, RHO)[0]
        return float(airflow.ram_pressure(spec, 30.0, RHO) - opening - 12 * RHO * u * u / 2)

    assert brentq(excess, 0.1, 30.0) / 30.0 == pytest.approx(0.2550, rel=1e-3)


def test_c24_linear_and_square_core():
    """C24 (arithmetic): 0.8 of C22's ram on 12 u + 8 u^2: 6.051 m/s; 1e-3."""
    ram = float(airflow.ram_pressure(duct(recovery=0.8), 100 / 3.6, RHO))
    assert brentq(lambda Q: ram - core(Q), 0.0, 2.0) / 0.12 == pytest.approx(6.051, rel=1e-3)


@pytest.mark.parametrize(("speed", "expected"), [(30 / 3.6, 0.3654), (0.0, 0.3366)])
def test_c25_fan_and_ram(speed, expected):
    """C25 (brentq): fan 220 Pa (1 - Q/0.6), ram 0.6 q at 30 km/h; 1e-3.

    The case takes the fan's pressure as given at the day's density, so the fan is asked at the density
    of its curve.
    """
    ram = float(airflow.ram_pressure(duct(recovery=0.6), speed, 1.1843))

    def excess(Q: float) -> float:
        return ram + float(airflow.fan_rise(C25_FAN, Q, 1.0, airflow.FAN_CURVE_DENSITY)[0]) - core(Q)

    assert brentq(excess, 0.0, 2.0) == pytest.approx(expected, rel=1e-3)


def test_c28_draught():
    """C28 (CoolProp Air): 30 against 60 degC over 0.3 m: 0.3092 Pa; on 12 u + 8 u^2 0.02534 m/s; 5e-3."""
    outside, inside = (PropsSI("D", "T", T, "P", 101325.0, "Air") for T in (303.15, 333.15))
    dp = float(airflow.draught(0.3, outside, inside))
    assert dp == pytest.approx(0.3092, rel=5e-3)
    assert brentq(lambda Q: dp - core(Q), 0.0, 1.0) / 0.12 == pytest.approx(0.02534, rel=5e-3)


def test_opening_is_odd_rising_and_has_a_slope_at_rest():
    spec = duct(exit_area=0.08, inlet_loss=0.3)
    Q = np.concatenate([[0.0], np.geomspace(1e-8, 3.0, 200)])
    loss, slope = airflow.opening_loss(spec, Q, 1.15)
    assert loss[0] == 0.0
    assert np.all(np.diff(loss) > 0)
    assert np.all(slope > 0)
    np.testing.assert_allclose(airflow.opening_loss(spec, -Q, 1.15)[0], -loss)
    step = 1e-6
    rough = (airflow.opening_loss(spec, 0.3 + step, 1.15)[0] - airflow.opening_loss(spec, 0.3 - step, 1.15)[0]) / (
        2 * step
    )
    assert airflow.opening_loss(spec, 0.3, 1.15)[1] == pytest.approx(rough, rel=1e-6)
    assert airflow.opening_loss(duct(), 0.3, 1.15)[0] == pytest.approx(0.3 * 1.15 * 6.0**2 / 2, rel=1e-3)  # no exit


def test_fan_falls_everywhere_and_windmills():
    for command in (0.0, 0.4, 1.0):
        Q = np.linspace(-1.5, 3.0, 400)
        rise, slope = airflow.fan_rise(C25_FAN, Q, command, 1.2)
        assert np.all(np.diff(rise) < 0)
        assert np.all(slope < 0)
    assert airflow.fan_rise(C25_FAN, 0.9, 1.0, 1.2)[0] < 0  # past free delivery the fan restricts


def test_stopped_fan_and_density():
    """Off: a third of shut-off pressure at the largest flow unless given; pressures go with density (fan laws)."""
    assert airflow.fan_rise(C25_FAN, 0.6, 0.0, 1.2)[0] == pytest.approx(-220 / 3, rel=2e-3)  # slope floor 1e-3
    given = FanSpec(curve=C25_FAN.curve, off_loss=150.0)
    assert airflow.fan_rise(given, 0.3, 0.0, 1.2)[0] == pytest.approx(-150 / 4, rel=3e-3)
    assert airflow.fan_rise(C25_FAN, 0.2, 1.0, 0.9)[0] == pytest.approx(0.75 * 220 * (1 - 0.2 / 0.6))
    assert airflow.fan_rise(C25_FAN, 0.1, 0.5, 1.2)[0] == pytest.approx(0.25 * 220 * (1 - 0.2 / 0.6))


def test_refusals():
    with pytest.raises(BadInput, match="fan command"):
        airflow.fan_rise(C25_FAN, 0.1, 1.5, 1.2)
    with pytest.raises(BadInput, match="rises"):
        airflow.fan_curve(FanSpec(curve=((0.0, 100.0), (0.3, 120.0), (0.6, 0.0))))
