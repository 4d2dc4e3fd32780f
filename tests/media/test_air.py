"""Air against the check cases, PsychroLib, CoolProp and Cantera, and against its own laws."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cases.record import failures, load
from coldside.errors import BadInput
from coldside.media import air

CASES = load("air")


@pytest.mark.parametrize("case", CASES, ids=[case.name for case in CASES])
def test_case(case):
    assert failures(case) == []


# --- against other libraries --------------------------------------------------------------------------------------


@pytest.mark.oracle
def test_saturation_pressure_is_that_of_the_handbook():
    """PsychroLib 2.5.0 types the same ASHRAE equations 5 and 6: agreement to the printed constants."""
    import psychrolib

    psychrolib.SetUnitSystem(psychrolib.SI)
    T = np.concatenate([np.linspace(175.0, 273.1, 40), np.linspace(273.2, 470.0, 60)])
    expected = [psychrolib.GetSatVapPres(t - 273.15) for t in T]
    # PsychroLib joins ice to water at the triple point as we do; 1e-10 is round-off of ln and exp.
    np.testing.assert_allclose(air.saturation_pressure(T), expected, rtol=1e-10)


@pytest.mark.oracle
def test_humidity_ratio_and_dew_point_are_those_of_real_humid_air():
    """CoolProp 8.0.0 HAPropsSI, -20 to 45 degC, 10 to 100 %, 70 kPa to 300 kPa."""
    import CoolProp.CoolProp as CP

    for T in (253.15, 268.15, 283.15, 298.15, 318.15):
        for p in (7e4, 1.01325e5, 3e5):
            for share in (0.1, 0.5, 1.0):
                W = CP.HAPropsSI("W", "T", T, "P", p, "R", share)
                dew = CP.HAPropsSI("D", "T", T, "P", p, "R", share)
                # 0.0015: fit of the enhancement factor 0.0005, over ice 0.001 between the two sublimation equations
                assert air.humidity_ratio(T, p, share) == pytest.approx(W, rel=1.5e-3)
                # 0.03 K: 0.0015 of vapour pressure is 0.02 K of dew point, and 0.01 K for the ice equations
                assert air.dew_point(T, p, share) == pytest.approx(dew, abs=0.03)


@pytest.mark.oracle
def test_dew_point_at_boost_is_that_of_real_humid_air():
    import CoolProp.CoolProp as CP

    for T, share in ((303.15, 0.7), (293.15, 0.5), (308.15, 0.6)):
        W = CP.HAPropsSI("W", "T", T, "P", 101325.0, "R", share)
        for p in (1.5e5, 2.2e5, 3e5):
            dew = CP.HAPropsSI("D", "W", W, "P", p, "T", 360.0)
            assert air.dew_point_at(p, W) == pytest.approx(dew, abs=0.03)  # as above


@pytest.mark.oracle
def test_density_of_humid_air():
    import CoolProp.CoolProp as CP

    for T in (258.15, 288.15, 311.15):
        for p in (7e4, 1.01325e5, 2.5e5):
            for share in (0.0, 0.5, 1.0):
                W = air.humidity_ratio(T, p, share)
                volume = CP.HAPropsSI("V", "T", T, "P", p, "W", W)  # per kg of dry air
                # 0.003: the compressibility of real air at -15 degC and 2.5 bar is 0.9975
                assert air.density(T, p, W) == pytest.approx((1.0 + W) / volume, rel=3e-3)


@pytest.fixture(scope="module")
def cantera_air():
    """Cantera's nasa_gas species with our shares of dry air, and a maker of moist air."""
    ct = pytest.importorskip("cantera")
    wanted = {"N2", "O2", "Ar", "H2O"}
    species = [s for s in ct.Species.list_from_file("nasa_gas.yaml") if s.name in wanted]
    gas = ct.Solution(thermo="ideal-gas", species=species)

    def moist(W: float):
        vapour = W / 0.018015 * air.MOLAR_MASS_DRY  # mol per mol of dry air
        gas.X = {"N2": 0.7808, "O2": 0.2095, "Ar": 0.0097, "H2O": vapour}
        return gas

    return moist


@pytest.mark.oracle
@pytest.mark.parametrize("W", [0.0, 0.01, 0.03])
def test_heat_and_entropy_are_those_of_the_polynomials(cantera_air, W):
    """Cantera 3.2.0 evaluates the same NASA fits by other code: agreement to their printed digits."""
    gas = cantera_air(W)
    T = np.concatenate([np.linspace(201.0, 999.0, 30), np.linspace(1001.0, 2500.0, 10)])
    reference = {"cp": [], "h": [], "s": []}
    for t in T:
        gas.TP = t, 101325.0
        reference["cp"].append(gas.cp_mass)
        reference["h"].append(gas.enthalpy_mass)
        reference["s"].append(gas.entropy_mass)
    np.testing.assert_allclose(air.cp(T, W), reference["cp"], rtol=1e-8)
    h, s = air.enthalpy(T, W), air.entropy_part(T, W)
    # Zero points differ, so differences are compared; 0.1 J/kg: vapour's heat of formation of 1e7 J/kg cancels.
    np.testing.assert_allclose(h - h[10], np.array(reference["h"]) - reference["h"][10], atol=0.1)
    np.testing.assert_allclose(s - s[10], np.array(reference["s"]) - reference["s"][10], atol=1e-4)


@pytest.mark.oracle
@pytest.mark.parametrize("W", [0.0, 0.02])
def test_compression_is_that_of_cantera(cantera_air, W):
    gas = cantera_air(W)
    for T1 in (253.15, 298.15, 323.15):
        for ratio in (1.2, 2.0, 3.5, 5.0):
            gas.TP = T1, 1e5
            h1, s1 = gas.enthalpy_mass, gas.entropy_mass
            gas.SP = s1, ratio * 1e5
            isentropic, h2s = gas.T, gas.enthalpy_mass
            gas.HP = h1 + (h2s - h1) / 0.71, ratio * 1e5
            # 1e-5 K: Cantera's own iteration stops near 1e-9 relative
            assert air.isentropic_temperature(T1, ratio, W) == pytest.approx(isentropic, abs=1e-5)
            assert air.compressed_temperature(T1, ratio, 0.71, W) == pytest.approx(gas.T, abs=1e-5)


@pytest.mark.oracle
def test_specific_heat_is_that_of_real_air_at_low_pressure():
    import CoolProp.CoolProp as CP

    for T in np.linspace(220.0, 2000.0, 40):
        # CoolProp's ideal-gas cp of air is another fit (Lemmon and others 2000); above 1000 K, where no charge is,
        # the NASA set lies up to 0.31 % below it
        tolerance = 1e-3 if T < 1000.0 else 3.5e-3
        assert air.cp(T) == pytest.approx(CP.PropsSI("CP0MASS", "T", T, "P", 1e3, "Air"), rel=tolerance)


@pytest.mark.oracle
@pytest.mark.parametrize(("p", "tolerance"), [(8e4, 0.002), (1.01325e5, 0.003), (3e5, 0.01)])
def test_transport_properties(p, tolerance):
    """CoolProp 8.0.0 Air, 230 to 500 K; what is left is the effect of pressure, which the dilute gas has not."""
    import CoolProp.CoolProp as CP

    T = np.linspace(230.0, 500.0, 28)
    real = {key: np.array([CP.PropsSI(key, "T", t, "P", p, "Air") for t in T]) for key in ("V", "L", "Prandtl")}
    np.testing.assert_allclose(air.viscosity(T), real["V"], rtol=tolerance)
    np.testing.assert_allclose(air.conductivity(T), real["L"], rtol=tolerance)
    if p < 2e5:  # at 3 bar and 230 K real cp is 1 % above the ideal gas's
        np.testing.assert_allclose(air.prandtl(T), real["Prandtl"], rtol=0.01)


# --- laws ---------------------------------------------------------------------------------------------------------

TEMPERATURE = st.floats(230.0, 350.0)
HUMIDITY = st.floats(0.0, 0.05)


@given(T1=TEMPERATURE, ratio=st.floats(1.0, 6.0), eta=st.floats(0.2, 1.0), W=HUMIDITY)
@settings(deadline=None)
def test_compression_balances_energy_and_raises_entropy(T1, ratio, eta, W):
    T2 = air.compressed_temperature(T1, ratio, eta, W)
    T2s = air.isentropic_temperature(T1, ratio, W)
    work = air.enthalpy(T2, W) - air.enthalpy(T1, W)
    ideal = air.enthalpy(T2s, W) - air.enthalpy(T1, W)
    assert work * eta == pytest.approx(ideal, rel=1e-10, abs=1e-5)
    rise = air.entropy_part(T2, W) - air.entropy_part(T1, W) - air.gas_constant(W) * np.log(ratio)
    assert rise >= -1e-9 * 1000.0  # never falls, but for round-off of s0


@given(T=st.floats(210.0, 2000.0), W=HUMIDITY)
@settings(deadline=None)
def test_enthalpy_and_its_inverse(T, W):
    assert air.temperature_at_enthalpy(air.enthalpy(T, W), W) == pytest.approx(T, abs=1e-7)


@given(T=st.floats(210.0, 1900.0), W=HUMIDITY)
@settings(deadline=None)
def test_specific_heat_is_the_slope_of_enthalpy_and_of_entropy(T, W):
    step = 0.05
    h = air.enthalpy(np.array([T - step, T + step]), W)
    s = air.entropy_part(np.array([T - step, T + step]), W)
    # 1e-5: the two bands meet at 1000 K with a kink of that size, and differences lose digits
    assert (h[1] - h[0]) / (2 * step) == pytest.approx(air.cp(T, W), rel=1e-5)
    assert (s[1] - s[0]) / (2 * step) == pytest.approx(air.cp(T, W) / T, rel=1e-5)


@given(T=TEMPERATURE, p=st.floats(6e4, 3.5e5), share=st.floats(0.0, 1.0))
@settings(max_examples=60, deadline=None)
def test_dew_point_is_at_most_the_temperature_and_saturates(T, p, share):
    if air.saturation_pressure(T) > 0.5 * p:
        return
    dew = air.dew_point(T, p, share)
    assert dew <= T + 1e-6
    if dew > 173.2:
        assert air.humidity_ratio(dew, p, 1.0) == pytest.approx(air.humidity_ratio(T, p, share), rel=1e-6)


def test_saturated_air_is_at_its_dew_point():
    assert air.dew_point(290.0, 1e5, 1.0) == pytest.approx(290.0, abs=1e-6)


def test_dry_air_has_the_lowest_dew_point_of_the_equation():
    assert air.dew_point_at(1e5, 0.0) == pytest.approx(173.15, abs=1e-6)


def test_pressure_and_water_raise_the_dew_point():
    assert np.all(np.diff(air.dew_point_at(np.linspace(8e4, 3e5, 20), 0.01)) > 0)
    assert np.all(np.diff(air.dew_point_at(1e5, np.geomspace(1e-5, 0.1, 40))) > 0)


def test_enhancement_factor_rises_with_pressure_and_is_held_outside_its_range():
    assert air.enhancement_factor(293.15, 1e5) == pytest.approx(1.0043, abs=3e-4)
    assert air.enhancement_factor(293.15, 3e5) > air.enhancement_factor(293.15, 1e5)
    assert air.enhancement_factor(500.0, 9e5) == air.enhancement_factor(353.15, 4.5e5)


def test_below_a_ratio_of_one_the_wheel_throttles_only():
    np.testing.assert_array_equal(air.compressed_temperature(300.0, [0.9, 1.0], 0.7), [300.0, 300.0])


def test_shapes_broadcast_and_scalars_stay_scalars():
    T = np.linspace(280.0, 300.0, 4)[:, None]
    ratio = np.linspace(1.0, 2.0, 3)
    assert air.compressed_temperature(T, ratio, 0.7).shape == (4, 3)
    assert air.compressed_temperature(T, ratio, 0.7, np.full((2, 1, 1), 0.01)).shape == (2, 4, 3)
    one = air.compressed_temperature(300.0, 2.0, 0.7, 0.01)
    assert isinstance(one, float)
    many = air.compressed_temperature(np.full(5, 300.0), 2.0, 0.7, np.full(5, 0.01))
    np.testing.assert_allclose(many, one, rtol=1e-14)
    assert isinstance(air.cp(300.0), float)
    assert isinstance(air.dew_point(300.0, 1e5, 0.5), float)
    assert isinstance(air.viscosity(300.0), float)


def test_bands_join_at_1000_K():
    T = np.array([999.999999, 1000.000001])
    for property_ in (air.cp, air.enthalpy, air.entropy_part):
        low, high = property_(T, 0.02)
        assert high == pytest.approx(low, rel=1e-7)


# --- refusals -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: air.cp(100.0), "temperature = 100 is out of range; it must be from 200 to 6000"),
        (lambda: air.cp(np.array([300.0, np.nan])), "temperature = nan is out of range; it must be from 200 to 6000"),
        (lambda: air.cp(300.0, -0.1), "humidity_ratio = -0.1 is out of range; it must be from 0 to 1"),
        (lambda: air.standard_atmosphere(20e3), "altitude = 20000 is out of range; it must be from -500 to 11000"),
        (lambda: air.saturation_pressure(500.0), "temperature = 500 is out of range; it must be from 173.15 to 473.15"),
        (
            lambda: air.humidity_ratio(300.0, 1e5, 1.2),
            "relative_humidity = 1.2 is out of range; it must be from 0 to 1",
        ),
        (
            lambda: air.humidity_ratio(373.0, 0.9e5, 1.0),
            "water boils at this temperature and pressure; relative humidity has no meaning here",
        ),
        (
            lambda: air.dew_point_at(1e7, 0.9),
            "the dew point lies above 200 degC, beyond the range of the saturation equation",
        ),
        (
            lambda: air.compressed_temperature(300.0, 2.0, 0.0),
            "efficiency = 0 is out of range; it must be from 0 to 1",
        ),
        (
            lambda: air.isentropic_temperature(300.0, 0.0),
            "pressure_ratio = 0 is out of range; it must be above 0",
        ),
        (
            lambda: air.isentropic_temperature(210.0, 0.5),
            "air would leave 200 to 6000 K, the range of its properties",
        ),
        (lambda: air.temperature_at_enthalpy(-1e6), "air would leave 200 to 6000 K, the range of its properties"),
        (
            lambda: air.power_correction(300.0, 1e5, 0.0, standard="std"),
            'standard \'std\' is not known; it must be "sae", "iso" or "din"',
        ),
        (
            lambda: air.power_correction(300.0, 1e5, 2e5, standard="sae"),
            "dry pressure = -100000 is out of range; it must be above 0",
        ),
    ],
)
def test_refusals(call, said):
    with pytest.raises(BadInput) as caught:
        call()
    assert str(caught.value) == said


@pytest.mark.parametrize("factor", [0.1, 1.3])
def test_a_diesel_s_engine_factor_stays_within_its_standard(factor):
    """ISO 1585, range from an engine manual: 0.2 to 1.2."""
    with pytest.raises(BadInput, match="engine factor"):
        air.diesel_correction(298.0, 99e3, 1e3, engine_factor=factor)
