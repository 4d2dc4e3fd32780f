"""Engine: check cases C23 to C26 of the design's charge notes, and what inverts what."""

from __future__ import annotations

import cantera as ct
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases.record import failures, load
from coldside.errors import BadInput
from coldside.media import fuels
from coldside.parts import engine
from coldside.parts.engine import RPM, EngineSpec
from coldside.units import Pressure

PSI = 6894.757  # Pa
BOOST = (
    (3000 * RPM, Pressure(12 * PSI, True)),
    (4200 * RPM, Pressure(22 * PSI, True)),
    (7600 * RPM, Pressure(21 * PSI, True)),
)
CHAMBER = 3 * np.sqrt(3) * 0.105 * 0.015 * 0.080  # m3: C23, R 105, e 15, b 80 mm


CASES = load("engine")


@pytest.mark.parametrize("case", CASES, ids=[case.name for case in CASES])
def test_case(case):
    assert failures(case) == []


def piston(**more: object) -> EngineSpec:
    values = {"kind": "piston", "displacement": 2.0e-3, "cylinders": 4, "boost": BOOST, "fuel": "gasoline 98"}
    return EngineSpec(**(values | more))


def rotary(**more: object) -> EngineSpec:
    values = {"kind": "rotary", "chamber_volume": CHAMBER, "rotors": 2, "boost": BOOST, "fuel": "gasoline 98"}
    return EngineSpec(**(values | more))


def test_c23_c24_air_of_rotary_and_piston():
    """C23, C24 (arithmetic, R 287.058): 654.72 cm3; 0.37745 and 0.25222 kg/s; 2.6189 L; 5e-4 as in the notes."""
    level = {"volumetric_efficiency": ((1000 * RPM, 0.95), (9000 * RPM, 0.95)), "filling_exponent": 0.0}
    assert pytest.approx(654.72e-6, rel=1e-4) == CHAMBER
    assert engine.air_flow(rotary(**level), 8000 * RPM, 201299.0, 308.15) == pytest.approx(0.37745, rel=5e-4)
    assert engine.air_flow(piston(**level), 7000 * RPM, 201299.0, 308.15) == pytest.approx(0.25222, rel=5e-4)
    assert engine.four_stroke_equivalent(rotary()) == pytest.approx(2.6189e-3, rel=1e-4)
    equal = piston(displacement=2.6189e-3, **level)
    assert engine.air_flow(equal, 8000 * RPM, 201299.0, 308.15) == pytest.approx(0.37745, rel=5e-4)


def test_humid_charge_against_cantera():
    """Moist density with Cantera's air (O2 0.21, N2 0.78, Ar 0.01) and H2O, ideal gas: 5e-4 for its rounded shares."""
    T, p, W = 320.0, 2.2e5, 0.02
    gas = ct.Solution("air.yaml")
    steam = W / (1 + W)
    R_dry = ct.gas_constant / gas.mean_molecular_weight
    R = (1 - steam) * R_dry + steam * ct.gas_constant / 18.015
    spec = piston(volumetric_efficiency=((3000 * RPM, 1.0),), filling_exponent=0.0)
    assert engine.air_flow(spec, 6000 * RPM, p, T, W) == pytest.approx(p / (R * T) * 1.0e-3 * 100.0, rel=5e-4)


def test_c25_flow_and_fuel_of_a_power_target():
    """C25 (arithmetic): 1000 hp at 0.60 lb/(hp h) and 11.5 is 0.86939 kg/s, eta 0.2294 at 43 MJ/kg; 1e-4.

    Turned round: that air burns that fuel and gives that power.
    """
    fuel = fuels.fuel("gasoline 98")
    spec = rotary(fuel_lambda=11.5 / fuel.stoichiometric, brake_efficiency=3.6e9 / (364.97 * fuel.heating_value))
    assert spec.brake_efficiency == pytest.approx(0.2294, rel=3e-4)  # 4 digits given
    burnt = engine.fuel_flow(spec, 0.86939)
    assert burnt == pytest.approx(1000 * 0.60 * 0.45359237 / 3600, rel=1e-4)
    assert engine.brake_power(spec, burnt) == pytest.approx(745.7e3, rel=1e-4)


@pytest.mark.parametrize(
    ("fuel", "efficiency", "power", "consumption"),
    [("gasoline 98", 0.28, 463.87e3, 299.0), ("E85", 0.30, 501.22e3, 412.2)],
)
def test_c26_power_from_air(fuel, efficiency, power, consumption):
    """C26 (arithmetic): 0.45 kg/s at lambda 0.80; 1e-3 as in the notes."""
    spec = piston(fuel=fuel, fuel_lambda=0.80, brake_efficiency=efficiency)
    burnt = engine.fuel_flow(spec, 0.45)
    assert engine.brake_power(spec, burnt) == pytest.approx(power, rel=1e-3)
    assert 3.6e9 * burnt / engine.brake_power(spec, burnt) == pytest.approx(consumption, rel=1e-3)


def test_more_fuel_alone_brings_no_power():
    """Rich of 1 oxygen limits (charge notes B2): power at fixed air is level; lean of 1 it falls as 1/lambda."""
    spec = piston(fuel_lambda=0.85)
    lam = np.array([0.70, 0.85, 1.0, 1.25])
    power = engine.brake_power(spec, engine.fuel_flow(spec, 0.3, 0.0, lam), lam)
    assert power[:3] == pytest.approx(power[1])
    assert power[3] == pytest.approx(power[1] / 1.25)


def test_oxygen_is_in_the_dry_air():
    spec = piston()
    assert engine.fuel_flow(spec, 0.3, 0.02) * 1.02 == pytest.approx(engine.fuel_flow(spec, 0.3))


@given(st.floats(0.0, 0.6), st.floats(20.0, 120.0), st.floats(260.0, 400.0))
def test_warm_charge_makes_up_for_part_of_its_thinner_air(a, n, T):
    """Closed form: at one pressure the air drawn goes with T^(a - 1), and as it is given at 40 degC whatever a is."""
    spec, plain = piston(filling_exponent=a), piston(filling_exponent=0.0)
    drawn, known = (engine.air_flow(spec, n, 2e5, at) for at in (T, 313.15))
    assert drawn / known == pytest.approx((T / 313.15) ** (a - 1.0), rel=1e-12)
    assert known == pytest.approx(engine.air_flow(plain, n, 2e5, 313.15), rel=1e-12)


@given(st.floats(20.0, 120.0), st.floats(3e4, 3e5), st.floats(260.0, 400.0), st.floats(0.0, 0.03))
def test_plenum_pressure_turns_air_flow_round(n, p, T, W):
    spec = rotary()
    assert engine.plenum_pressure_for(spec, n, engine.air_flow(spec, n, p, T, W), T, W) == pytest.approx(p, rel=1e-12)


def test_default_filling():
    """Own shape of the specification's words: 0.92 at three quarters of top speed, 0.92 (1 - 1/4 / 9) at top."""
    spec = piston(top_speed=8000 * RPM)
    n = np.array([6000.0, 8000.0, 0.0]) * RPM
    assert engine.volumetric_efficiency(spec, n) == pytest.approx([0.92, 0.92 * (1 - 0.25 / 9), 0.92 * 0.75])


def test_filling_through_the_users_points():
    spec = piston(volumetric_efficiency=((3000 * RPM, 0.92), (6000 * RPM, 0.97), (7600 * RPM, 0.90)))
    n = np.array([1000.0, 3000.0, 6000.0, 7600.0, 9000.0]) * RPM
    assert engine.volumetric_efficiency(spec, n) == pytest.approx([0.92, 0.92, 0.97, 0.90, 0.90])
    assert np.all(engine.volumetric_efficiency(spec, np.linspace(3000, 6000, 30) * RPM) <= 0.97)


def test_boost_target_gauge_and_absolute():
    """Gauge rides on ambient pressure, absolute does not."""
    n = np.array([2000.0, 3000.0, 3600.0, 9000.0]) * RPM
    at = 84560.0 + PSI * np.array([12.0, 12.0, 17.0, 21.0])  # 1500 m, ISA (check case C01)
    assert engine.boost_target(piston(), n, 84560.0) == pytest.approx(at)
    held = piston(boost=((3000 * RPM, Pressure(2.0e5, False)), (6000 * RPM, Pressure(2.4e5, False))))
    assert engine.boost_target(held, 4500 * RPM, 84560.0) == pytest.approx(2.2e5)


def test_mixture():
    spec = piston(fuel_lambda=0.82)
    found = engine.mixture(spec, np.array([0.9, 1.04, 1.06, 1.0]), np.array([False, False, False, True]))
    assert found == pytest.approx([1.0, 1.0, 0.82, 0.82])


def test_injectors():
    assert engine.injector_count(piston()) == 4
    assert engine.injector_count(rotary()) == 4
    assert engine.injector_count(rotary(injectors=6)) == 6


@pytest.mark.parametrize(
    ("spec", "key"),
    [
        (piston(displacement=None), "engine.displacement"),
        (rotary(chamber_volume=None), "engine.chamber_volume"),
        (rotary(rotors=None), "engine.rotors"),
    ],
)
def test_a_missing_size_is_named(spec, key):
    with pytest.raises(BadInput) as fault:
        engine.swept_per_rev(spec)
    assert fault.value.key == key


def test_refusals():
    with pytest.raises(BadInput, match="engine speed"):
        engine.plenum_pressure_for(piston(), 0.0, 0.1, 300.0)
    with pytest.raises(BadInput, match="lambda"):
        engine.fuel_flow(piston(), 0.1, 0.0, 0.0)
    with pytest.raises(BadInput) as fault:
        engine.injector_count(piston(cylinders=None))
    assert fault.value.key == "engine.cylinders"
