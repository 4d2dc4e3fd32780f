"""Turbine: laws of its balance, two in series, what cannot be, exhaust gas by fuel and engine.

Check cases C30 and C31 are records of `cases/compressor.py`, run by `test_compressor.py`.
"""

from __future__ import annotations

from dataclasses import replace

import cantera as ct
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coldside.errors import BadInput
from coldside.parts import turbine
from coldside.parts.engine import EngineSpec
from coldside.units import Pressure

ENGINE = EngineSpec(
    kind="piston", displacement=2e-3, cylinders=4, boost=((50.0, Pressure(1e5, True)),), fuel="gasoline 98"
)


def test_no_work_needs_no_pressure():
    p, T = turbine.inlet_pressure([0.0, 0.0], [0.5, 0.0], 1200.0, 115e3, 0.62)
    assert p == pytest.approx([115e3, 115e3], rel=1e-12)
    assert pytest.approx([1200.0, 1200.0]) == T


@given(st.floats(1e3, 6e4), st.floats(0.1, 0.6), st.floats(1000.0, 1300.0), st.floats(0.4, 0.8))
def test_the_gas_gives_the_power_that_the_pressure_allows(power, flow, T_in, efficiency):
    """Turned round: eta m cp T3 [1 - (p4/p3)^((g-1)/g)] of the pressure found is the power asked for."""
    p, T_out = turbine.inlet_pressure(power, flow, T_in, 110e3, efficiency)
    if np.isinf(p):
        assert power >= efficiency * flow * turbine.EXHAUST_CP * T_in * (1.0 - 10.0 ** (-0.3 / 1.3)) * (1 - 1e-9)
        return
    head = 1.0 - (110e3 / p) ** ((turbine.EXHAUST_GAMMA - 1.0) / turbine.EXHAUST_GAMMA)
    assert efficiency * flow * turbine.EXHAUST_CP * T_in * head == pytest.approx(power, rel=1e-6)
    assert flow * turbine.EXHAUST_CP * (T_in - T_out) == pytest.approx(power, rel=1e-9)


def test_a_target_beyond_the_exhaust_is_impossible():
    p, _ = turbine.inlet_pressure([5e5, 1e4], [0.4, 0.0], 1200.0, 115e3, 0.62)
    assert np.all(np.isinf(p))
    assert np.isinf(turbine.pressure_before([1e4, 6e5], 0.4, 1200.0, 115e3, [0.62, 0.62]))


def test_two_in_series_are_one_after_the_other():
    """The first in the exhaust works between p3 and the pressure that the second needs with the cooler gas."""
    both = turbine.pressure_before([2e4, 3e4], 0.45, 1200.0, 115e3, [0.60, 0.65])
    _, cooler = turbine.inlet_pressure(2e4, 0.45, 1200.0, 1e5, 0.60)
    middle, _ = turbine.inlet_pressure(3e4, 0.45, cooler, 115e3, 0.65)
    first, _ = turbine.inlet_pressure(2e4, 0.45, 1200.0, middle, 0.60)
    assert both == pytest.approx(float(first), rel=1e-12)
    alone, _ = turbine.inlet_pressure(2e4, 0.45, 1200.0, 115e3, 0.60)
    assert both > alone


def test_two_ideal_turbines_are_one():
    """At efficiency 1 the split does not matter: both expansions are isentropic."""
    one = turbine.pressure_before([5e4], 0.45, 1200.0, 115e3, [1.0])
    two = turbine.pressure_before([2e4, 3e4], 0.45, 1200.0, 115e3, [1.0, 1.0])
    assert two == pytest.approx(float(one), rel=1e-12)


def test_burnt_gas_is_that_of_the_tables():
    """cp and g of common practice against Cantera: CH1.87 burnt at lambda 0.85, water-gas balance at 1100 K.

    The figures of common practice are those of a leaner gas: cp of this one is 5 % higher, p3 lower by as much of the
    turbine's ratio; well inside what its efficiency is known to.
    """
    species = {s.name: s for s in ct.Species.list_from_file("nasa_gas.yaml")}
    gas = ct.Solution(thermo="ideal-gas", species=[species[n] for n in ("N2", "O2", "Ar", "CO2", "CO", "H2O", "H2")])
    oxygen = 0.85 * (1.0 + 1.87 / 4.0)  # mol for one mol of CH1.87, of which half a mol is in the CO below
    air = {"O2": oxygen - 0.5, "N2": oxygen * 0.7808 / 0.2095, "Ar": oxygen * 0.0097 / 0.2095}
    gas.TPX = 1100.0, 1.5e5, {"CO": 1.0, "H2": 1.87 / 2.0, **air}
    gas.equilibrate("TP")
    assert gas.cp_mass == pytest.approx(turbine.EXHAUST_CP, rel=0.07)
    assert gas.cp_mass / gas.cv_mass == pytest.approx(turbine.EXHAUST_GAMMA, rel=0.02)


def test_exhaust_temperature_by_fuel_and_engine():
    """Within the ranges of common practice of the design's charge notes, D7."""
    assert 1150.0 <= turbine.gas_temperature(ENGINE) <= 1273.0
    for fuel in ("E85", "ethanol", "methanol"):
        drop = turbine.gas_temperature(ENGINE) - turbine.gas_temperature(replace(ENGINE, fuel=fuel))
        assert 50.0 <= drop <= 100.0
    rotary = EngineSpec(kind="rotary", chamber_volume=654e-6, rotors=2, boost=ENGINE.boost, fuel="gasoline 98")
    assert 1150.0 <= turbine.gas_temperature(rotary) <= 1300.0


def test_refusals():
    with pytest.raises(BadInput, match="exhaust temperature"):
        turbine.inlet_pressure(1e4, 0.4, 0.0, 1e5, 0.6)
    with pytest.raises(BadInput, match="turbine efficiency"):
        turbine.inlet_pressure(1e4, 0.4, 1200.0, 1e5, 0.0)
    with pytest.raises(BadInput, match="compression ratio"):
        turbine.filling_share(2e5, 1e5, 1.0)
