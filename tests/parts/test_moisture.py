"""Condensation, saturation in closed form, wet bulb and latent heat against CoolProp and the exact equations."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases.record import failures, load
from coldside.errors import BadInput
from coldside.media import air
from coldside.parts import moisture

CASES = [case for case in load("wet_and_cold") if case.id in ("heat-T38", "heat-T39", "heat-F")]


@pytest.mark.parametrize("case", CASES, ids=[case.name for case in CASES])
def test_case(case):
    assert failures(case) == []


def test_closed_form_of_saturation_is_within_what_it_claims():
    T = np.linspace(273.16, 343.15, 71)[:, None]
    p = np.linspace(0.8e5, 4e5, 17)[None]
    A, B, C = moisture.SATURATION
    exact = air.saturation_pressure(T)
    assert np.max(np.abs(np.exp(A - B / (T - C)) / exact - 1.0)) < 1e-3
    assert np.max(np.abs(moisture.vapour_pressure(T, p) / (exact * air.enhancement_factor(T, p)) - 1.0)) < 2e-3
    assert np.max(np.abs(moisture.saturated_ratio(T, p) / air.humidity_ratio(T, p, 1.0) - 1.0)) < 2e-3
    W = np.linspace(2e-3, 0.04, 20)[:, None]
    wet = air.dew_point_at(p, W)
    above = wet > 273.16
    # 0.1 % and 0.2 % of vapour pressure: 0.2 % a degree and steeper
    assert np.max(np.abs(moisture.condensing_temperature(W, p) - wet)[above]) < 0.04


@pytest.mark.oracle
def test_supercooled_water_is_what_the_library_says():
    # CoolProp's saturation over liquid ends at the triple point: the liquid equation itself is carried on
    from coldside.media.air import _LIQUID  # the published constants, over liquid

    T = np.linspace(263.15, 273.15, 11)
    c = _LIQUID
    ln = c[0] / T + sum(c[1 + i] * T**i for i in range(5)) + c[6] * np.log(T)
    A, B, C = moisture.SATURATION
    assert np.max(np.abs(A - B / (T - C) - ln)) < 1e-3


@pytest.mark.oracle
@pytest.mark.parametrize(("T", "RH"), [(303.15, 0.5), (313.15, 0.1), (288.15, 0.9), (318.15, 0.3)])
def test_wet_bulb_and_latent_heat_are_the_librarys(T, RH):
    from CoolProp.CoolProp import HAPropsSI, PropsSI

    W = air.humidity_ratio(T, 101325.0, RH)
    expected = HAPropsSI("B", "T", T, "P", 101325.0, "R", RH)
    assert float(moisture.wet_bulb(T, W, 101325.0)) == pytest.approx(expected, abs=0.05)
    latent = PropsSI("H", "T", T, "Q", 1, "Water") - PropsSI("H", "T", T, "Q", 0, "Water")
    assert float(moisture.latent_heat(T)) == pytest.approx(latent, rel=2e-3)


@given(
    T=st.floats(290.0, 460.0),
    T_wall=st.floats(270.0, 400.0),
    RH=st.floats(0.0, 1.0),
    p=st.floats(0.8e5, 3.5e5),
    share=st.floats(0.0, 1.0),
)
def test_a_cell_never_leaves_air_drier_than_its_wall_and_dry_is_dry(T, T_wall, RH, p, share):
    W = air.humidity_ratio(303.15, 101325.0, RH)
    wet = moisture.condense(T, W, T_wall, p, share)
    limit = float(moisture.saturated_ratio(T_wall, p))
    assert float(wet.condensed) >= 0.0
    assert float(wet.W + wet.condensed) == pytest.approx(W, abs=1e-15)
    if limit >= W:  # law 11 of the heat note: section F with W below saturation equals A1
        assert float(wet.condensed) == 0.0
        assert float(wet.latent) == 0.0
    else:
        assert limit - 1e-15 <= float(wet.W) <= W
    assert float(wet.T) == pytest.approx(T - share * (T - T_wall), abs=1e-12)


def test_cells_in_a_row_at_one_temperature_are_one_surface():
    whole = moisture.condense(333.15, 0.0189, 283.15, 2.2e5, -np.expm1(-1.5))
    T, W, latent = 333.15, 0.0189, 0.0
    for _ in range(5):
        cell = moisture.condense(T, W, 283.15, 2.2e5, -np.expm1(-0.3))
        T, W, latent = cell.T, cell.W, latent + cell.latent
    assert float(T) == pytest.approx(float(whole.T), abs=1e-10)
    assert float(W) == pytest.approx(float(whole.W), abs=1e-14)
    assert float(latent) == pytest.approx(float(whole.latent), rel=1e-10)


def test_bad_input_is_refused():
    with pytest.raises(BadInput, match="share"):
        moisture.condense(330.0, 0.01, 280.0, 2e5, 1.2)
    with pytest.raises(BadInput, match="temperature"):
        moisture.saturated_ratio(30.0, 1e5)  # degC for K
    assert float(moisture.saturated_ratio(400.0, 1e5)) == np.inf  # a hot wall: boiling, never wet
