"""Chiller and thermostat: limits, fading, monotone losses."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coldside.media.coolants import parse_coolant
from coldside.parts.chiller import ChillerSpec, chiller_loss, cooling
from coldside.parts.lines import ThermostatSpec, ValveSpec, thermostat_loss, thermostat_opening, valve_loss

CHILLER = ChillerSpec(capacity=((268.15, 800.0), (283.15, 1800.0), (303.15, 3000.0)))
WATER, GLYCOL = parse_coolant("water"), parse_coolant("ethylene glycol 50 % by volume")
THERMOSTAT = ThermostatSpec(bore=0.03, opens_at=355.15)


def test_capacity_goes_through_its_points_and_holds_beyond_them():
    got = cooling(CHILLER, 1.0, 3e-4, np.array([268.15, 283.15, 303.15, 330.0, 250.0]), GLYCOL)
    assert got == pytest.approx([800.0, 1800.0, 3000.0, 3000.0, 800.0])
    assert cooling(CHILLER, 0.4, 3e-4, 283.15, GLYCOL) == pytest.approx(720.0)


def test_it_never_freezes_what_it_chills():
    T = np.linspace(273.0, 280.0, 200)
    taken = cooling(CHILLER, 1.0, 3e-4, T, WATER)
    leaving = T - taken / (3e-4 * WATER.density(T) * WATER.cp(T))
    assert np.all(leaving[T >= 273.15] >= 273.15)
    assert np.all(taken[T <= 273.15] == 0.0)
    assert np.all(np.diff(taken) >= 0.0)


@given(Q=st.floats(-1e-3, 1e-3), T=st.floats(240.0, 330.0), command=st.floats(0.0, 1.0))
def test_it_takes_and_never_gives(Q, T, command):
    taken = float(cooling(CHILLER, command, Q, T, GLYCOL))
    assert 0.0 <= taken <= 3000.0
    assert Q != 0.0 or taken == 0.0


def test_its_passage_is_a_bore():
    loss, slope = chiller_loss(CHILLER, 3e-4, 1000.0, 1e-3)
    assert loss == valve_loss(ValveSpec(bore=0.016, losses=12.0), 3e-4, 1000.0, 1e-3)[0]
    assert slope > 0.0


def test_thermostat_opens_between_its_two_temperatures():
    assert thermostat_opening(THERMOSTAT, np.array([300.0, 355.15, 361.15, 367.15, 390.0])) == pytest.approx(
        [0.005, 0.005, 0.5025, 1.0, 1.0]
    )


@given(Q=st.floats(-2e-3, 2e-3), T=st.floats(280.0, 380.0))
def test_a_warmer_thermostat_holds_back_less(Q, T):
    loss, slope = thermostat_loss(THERMOSTAT, Q, 1000.0, 1e-3, T)
    warmer, _ = thermostat_loss(THERMOSTAT, Q, 1000.0, 1e-3, T + 1.0)
    assert slope > 0.0
    assert abs(warmer) <= abs(loss)
    full, _ = valve_loss(ValveSpec(bore=0.03, losses=3.0), Q, 1000.0, 1e-3)
    assert abs(loss) >= abs(full) * (1.0 - 1e-12)


def test_slope_of_the_thermostat_is_the_derivative():
    Q = np.array([-1e-3, -1e-5, 0.0, 1e-5, 1e-3])
    for T in (300.0, 360.0, 370.0):
        slope = thermostat_loss(THERMOSTAT, Q, 1000.0, 1e-3, T)[1]
        step = np.maximum(1e-6 * np.abs(Q), 1e-14)
        up, down = (thermostat_loss(THERMOSTAT, Q + d, 1000.0, 1e-3, T)[0] for d in (step, -step))
        np.testing.assert_allclose(slope, (up - down) / (2 * step), rtol=1e-4)
