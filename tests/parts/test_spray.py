"""Water on a face: its heat, its limits, when it runs."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coldside.errors import BadInput
from coldside.media import air
from coldside.parts.spray import SprayKeys, spray, spray_flow


def test_power_is_what_evaporates():
    # 8 g/s, half of it, at a wet bulb of 20 degC: 0.004 x 2.454 MJ/kg (IAPWS95 latent heat at 20 degC)
    W = air.humidity_ratio(303.15, 101325.0, 0.4)
    found = spray(0.008, 0.5, 303.15, W, 101325.0)
    assert float(found.power) == pytest.approx(0.004 * 2.4535e6, rel=1e-3)
    assert float(found.heat(330.0, 2.0)) == float(found.power)


@pytest.mark.oracle
@pytest.mark.parametrize("T_metal", [308.15, 318.15, 328.15])
def test_passing_air_never_carries_more_than_saturated(T_metal):
    from CoolProp.CoolProp import HAPropsSI

    W = air.humidity_ratio(303.15, 101325.0, 0.4)
    found = spray(1.0, 1.0, 303.15, W, 101325.0)  # more water than the air can take
    gained = HAPropsSI("H", "T", T_metal, "P", 101325.0, "R", 1.0) - HAPropsSI("H", "T", 303.15, "P", 101325.0, "W", W)
    dry = 1006.0 * (T_metal - float(found.wet_bulb))
    # enthalpy of saturated air bends upwards: the straight slope is on the safe side, by up to 60 % at 35 K
    assert 0.4 * (gained - dry) < float(found.heat(T_metal, 1.0)) <= 1.01 * (gained - dry)


@given(T_metal=st.floats(250.0, 400.0), flow=st.floats(0.0, 5.0), RH=st.floats(0.0, 1.0), T=st.floats(274.0, 320.0))
def test_nothing_at_the_wet_bulb_and_rising_above(T_metal, flow, RH, T):
    found = spray(0.01, 0.6, T, air.humidity_ratio(T, 101325.0, RH), 101325.0)
    assert float(found.wet_bulb) <= T + 1e-6
    heat = float(found.heat(T_metal, flow))
    assert 0.0 <= heat <= float(found.power)
    assert float(found.heat(float(found.wet_bulb), flow)) == 0.0
    assert float(found.heat(T_metal + 1.0, flow)) >= heat
    assert float(found.per_air) > 0.0


def test_saturated_air_is_its_own_wet_bulb_and_dry_air_cools_most():
    moist, dry = (spray(0.01, 1.0, 303.15, air.humidity_ratio(303.15, 101325.0, RH), 101325.0) for RH in (1.0, 0.1))
    assert float(moist.wet_bulb) == pytest.approx(303.15, abs=0.1)  # saturation in closed form: 0.1 %, 0.02 K
    assert float(dry.wet_bulb) < 290.0


def test_water_that_freezes_takes_nothing():
    W = air.humidity_ratio(275.15, 101325.0, 0.3)
    assert float(spray(0.01, 0.5, 275.15, W, 101325.0).power) == 0.0  # wet bulb of about -2.5 degC
    assert float(spray(0.01, 0.5, 283.15, W, 101325.0).power) > 0.0


def test_when_it_runs():
    boosted = np.array([0.0, 1.0])
    assert spray_flow(SprayKeys(spray=1e-5), boosted) == pytest.approx([0.0, 9.982e-3])
    assert spray_flow(SprayKeys(spray=1e-5, spray_when="always"), boosted) == pytest.approx([9.982e-3] * 2)
    for idle in (SprayKeys(), SprayKeys(spray=1e-5, spray_when="off")):
        assert spray_flow(idle, boosted) == pytest.approx([0.0, 0.0])
    with pytest.raises(BadInput, match="sprayed water"):
        spray(-1.0, 0.5, 300.0, 0.01, 1e5)
