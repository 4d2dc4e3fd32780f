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


def test_current_goes_with_the_cube_of_speed():
    """Fan laws (textbook); 220 Pa (1 - Q/0.6) gives 33 W of air at most, at 0.3 m3/s (arithmetic)."""
    full = float(airflow.fan_current(C25_FAN))
    assert full == pytest.approx(33.0 / airflow.FAN_EFFICIENCY / airflow.SUPPLY, rel=1e-3)  # 101 points
    assert airflow.fan_current(FanSpec(curve=C25_FAN.curve, current=14.0), 0.5) == pytest.approx(14.0 / 8.0)
    assert airflow.fan_current(C25_FAN, np.array([0.0, 1.0])).tolist() == [0.0, full]
    with pytest.raises(BadInput, match="fan command"):
        airflow.fan_current(C25_FAN, 1.2)


def test_refusals():
    with pytest.raises(BadInput, match="fan command"):
        airflow.fan_rise(C25_FAN, 0.1, 1.5, 1.2)
    with pytest.raises(BadInput, match="rises"):
        airflow.fan_curve(FanSpec(curve=((0.0, 100.0), (0.3, 120.0), (0.6, 0.0))))


# --- inlets, leaks, bare faces, recirculation ---------------------------------------------------------------------


@pytest.mark.parametrize("inlet", airflow.INLETS)
def test_an_inlet_stands_for_its_recovery_unless_given(inlet):
    spec = duct(inlet=inlet, recovery=None)
    assert airflow.recovery_of(spec) == airflow.RECOVERY[inlet][0]
    assert airflow.recovery_of(duct(inlet=inlet, recovery=0.33)) == 0.33


def test_flush_and_scoop_inlets_lie_in_the_ranges_of_the_notes():
    """Loop notes d2, from memory: flush inlets on cars 0.3 to 0.6, scoops outside the layer 0.7 to 0.95."""
    assert 0.3 < airflow.RECOVERY["flush"][0] < 0.6
    assert 0.7 <= airflow.RECOVERY["scoop"][0] <= 0.95


def test_recirculation_at_rest_follows_place_and_sealing_and_fades_with_speed():
    """Loop notes d5 (from memory): 0.1 to 0.4 where not sealed, about 0.05 where sealed; at low speed only (f4)."""
    assert 0.1 <= float(airflow.recirculation(duct(), 0.0)) <= 0.4
    assert 0.1 <= float(airflow.recirculation(duct(place="rear"), 0.0)) <= 0.4
    assert float(airflow.recirculation(duct(leak_area=0.0), 0.0)) == pytest.approx(0.05)
    assert float(airflow.recirculation(duct(leak_area=0.002), 0.0)) == float(airflow.recirculation(duct(), 0.0))
    given = duct(recirculation=0.3)
    V = np.linspace(0.0, 60.0, 200)
    r = airflow.recirculation(given, V)
    assert r[0] == pytest.approx(0.3)
    assert np.all(np.diff(r) <= 0.0)
    assert float(airflow.recirculation(given, 12.0 / 3.6)) == pytest.approx(0.15, rel=0.02)
    assert float(airflow.recirculation(given, 100.0 / 3.6)) < 1e-12
    np.testing.assert_array_equal(airflow.recirculation(given, -V), r)
    assert float(airflow.recirculation(duct(recirculation=0.0), 0.0)) == 0.0


def slope_of(function, Q: float, step: float = 1e-6) -> float:
    return (float(function(Q + step)[0]) - float(function(Q - step)[0])) / (2.0 * step)


def test_leak_is_odd_rising_and_loses_what_a_gap_loses():
    spec = duct(leak_area=0.02)
    Q = np.concatenate([[0.0], np.geomspace(1e-8, 1.0, 100)])
    loss, slope = airflow.leak_loss(spec, Q, RHO)
    assert np.all(np.diff(loss) > 0)
    assert np.all(slope > 0)
    np.testing.assert_allclose(airflow.leak_loss(spec, -Q, RHO)[0], -loss)
    assert airflow.leak_loss(spec, 0.13, RHO)[0] == pytest.approx(RHO * 10.0**2 / 2, rel=1e-3)  # 10 m/s behind the gap
    assert airflow.leak_loss(spec, 0.05, RHO)[1] == pytest.approx(
        slope_of(lambda q: airflow.leak_loss(spec, q, RHO), 0.05), rel=1e-6
    )
    for none in (None, 0.0):
        with pytest.raises(BadInput, match="leak area"):
            airflow.leak_loss(duct(leak_area=none), 0.1, RHO)


BARE = DuctSpec(place="nose", inlet="open", face_area=0.2, recovery=1.0)


@pytest.mark.parametrize("V", [0.0, 0.3, 20.0, -20.0])
def test_the_stream_at_a_bare_face_falls_with_flow_without_a_kink(V):
    Q = np.linspace(-6.0, 12.0, 1441)
    p, slope = airflow.stream_pressure(BARE, Q, V, RHO)
    assert np.all(np.diff(p) < 0)
    assert np.all(slope < 0)
    for q in (-1.0, 0.7, 1.999, 2.001, 5.0):
        assert float(airflow.stream_pressure(BARE, q, V, RHO)[1]) == pytest.approx(
            slope_of(lambda x: airflow.stream_pressure(BARE, x, V, RHO), q), rel=1e-5, abs=1e-4
        )
    np.testing.assert_allclose(airflow.stream_pressure(BARE, -Q, -V, RHO)[0], -p, rtol=1e-12, atol=1e-12)


def test_the_stream_at_a_bare_face_is_momentum_where_the_face_is_open():
    """Taylor 1944: 2 rho u (V - u); with a fan at rest the actuator disc's 2 rho u^2 (textbook); both 1e-3 of creep."""
    u = np.array([12.0, 15.0, 25.0])
    p = airflow.stream_pressure(BARE, 0.2 * u, 20.0, RHO)[0]
    np.testing.assert_allclose(p, 2.0 * RHO * u * (20.0 - u), rtol=2e-3)
    assert airflow.stream_pressure(BARE, 0.2 * 5.0, 0.0, RHO)[0] == pytest.approx(-2.0 * RHO * 25.0, rel=2e-3)
    thinner = airflow.stream_pressure(
        DuctSpec(place="rear", inlet="open", face_area=0.2, recovery=0.25), 0.0, 20.0, RHO
    )
    assert thinner[0] == pytest.approx(0.25 * RHO * 20.0**2 / 2)  # what arrives is slower


def test_a_dense_bare_face_bears_no_more_than_a_plate_and_no_less_than_taylor():
    """A plate square to a stream bears 1.1 to 1.2 rho V^2/2 (handbooks, from memory); Taylor's form goes to nothing."""
    for K in (4.0, 10.0, 30.0, 100.0):
        taylor = K / (1.0 + K / 4.0) ** 2  # over rho V^2/2
        u = brentq(
            lambda u, K=K: float(airflow.stream_pressure(BARE, 0.2 * u, 20.0, RHO)[0]) - K * RHO * u * u / 2, 0.0, 20.0
        )
        borne = K * (u / 20.0) ** 2
        assert taylor - 1e-3 <= borne <= 1.2
        assert borne == pytest.approx(1.0, rel=2e-3)


def test_doubts_are_told_where_a_default_is_a_guess():
    assert airflow.doubts(duct()) == []
    (flush,) = airflow.doubts(duct(inlet="flush", recovery=None))
    assert "30 to 60 %" in flush
    assert airflow.doubts(duct(inlet="flush")) == []  # given
    (bare,) = airflow.doubts(DuctSpec(place="rear", inlet="open", face_area=0.1))
    assert "undisturbed stream" in bare
    (wide,) = airflow.doubts(duct(leak_area=0.06))
    assert "most of the air" in wide
