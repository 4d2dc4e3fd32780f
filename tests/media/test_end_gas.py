"""End gas: specific heats and isentropes against Cantera, composition, and the closed form of a perfect gas."""

from __future__ import annotations

import numpy as np
import pytest

from coldside.errors import BadInput
from coldside.media.end_gas import EndGas, PerfectGas, end_gas, of_shares, vapour
from coldside.media.fuels import fuel, stoichiometric_ratio

NAMES = {"iso-octane": "C8H18,isooctane", "toluene": "C7H8", "ethanol": "C2H5OH", "methanol": "CH3OH"}
MIXTURES = [
    {"N2": 0.7808, "O2": 0.2095, "Ar": 0.0097},
    {"N2": 0.74, "O2": 0.20, "iso-octane": 0.012, "toluene": 0.008, "H2O": 0.02, "CO2": 0.01, "CO": 0.005, "H2": 0.002},
    {"N2": 0.70, "O2": 0.18, "ethanol": 0.08, "methanol": 0.04},
]


@pytest.fixture(scope="module")
def cantera():
    ct = pytest.importorskip("cantera")
    wanted = {*NAMES.values(), "N2", "O2", "Ar", "H2O", "CO2", "CO", "H2"}
    species = [one for one in ct.Species.list_from_file("nasa_gas.yaml") if one.name in wanted]
    return ct.Solution(thermo="ideal-gas", species=species)


@pytest.mark.parametrize("moles", MIXTURES)
def test_properties_are_those_of_cantera(cantera, moles):
    """Cantera 3.2.0 nasa_gas: gamma 1e-4, isentropes 0.05 K: our table interpolates linearly between 600 knots."""
    gas = of_shares(moles)
    named = {NAMES.get(name, name): amount for name, amount in moles.items()}
    for T in (300.0, 500.0, 800.0, 995.0, 1010.0, 1400.0):
        cantera.TPX = T, 1e5, named
        assert gas.gamma(T) == pytest.approx(cantera.cp_mass / cantera.cv_mass, rel=1e-4)
    assert gas.R == pytest.approx(8314.46 / cantera.mean_molecular_weight, rel=1e-4)
    for T0, ratio in ((340.0, 40.0), (380.0, 5.0), (360.0, 0.5)):
        cantera.TPX = T0, 2e5, named
        cantera.SP = cantera.s, 2e5 * ratio
        assert gas.isentropic(T0, ratio) == pytest.approx(cantera.T, abs=0.05)


def test_fuel_and_air_have_their_ratio():
    """Mass of fuel over mass of air is 1/(lambda x stoichiometric ratio of the vapours) (arithmetic)."""
    ethanol = fuel("ethanol")
    gas = end_gas(ethanol, 0.8)
    f = 1.0 / (0.8 * stoichiometric_ratio(2, 6, 1))
    per_air, per_ethanol = 8.314462618 / 28.964e-3, 8.314462618 / 46.069e-3
    assert gas.R == pytest.approx((per_air + f * per_ethanol) / (1.0 + f), rel=1e-4)


def test_vapour_of_gasoline_is_by_mass():
    moles = vapour(fuel("gasoline 95"))
    assert moles["iso-octane"] * 0.114232 == pytest.approx(0.65)
    assert moles["toluene"] * 0.092141 == pytest.approx(0.35)


@pytest.mark.parametrize("name", ["gasoline 95", "E85", "methanol"])
@pytest.mark.parametrize("mixture", [0.5, 0.85, 1.0, 1.3])
def test_burnt_gas_keeps_the_mass(name, mixture):
    """All of it burnt or none of it: the same mass in other molecules, so moles differ and mass shares sum to 1."""
    fresh, half = end_gas(fuel(name), mixture), end_gas(fuel(name), mixture, 0.5)
    assert isinstance(half, EndGas)
    assert 250.0 < fresh.R < 300.0
    assert 250.0 < half.R < 350.0
    assert np.all(half.gamma(np.array([300.0, 600.0, 900.0])) > 1.2)


def test_perfect_gas_is_the_closed_form():
    gas = PerfectGas(1.4)
    assert gas.isentropic(300.0, 2.0) == pytest.approx(300.0 * 2.0 ** (0.4 / 1.4))
    assert gas.gamma(500.0) == 1.4


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: of_shares({"Xe": 1.0}), "'Xe' is no species"),
        (lambda: of_shares({"N2": 0.0}), "moles of something"),
        (lambda: end_gas(fuel("E85"), 0.2), "lambda = 0.2 is out of range"),
        (lambda: end_gas(fuel("E85"), 1.0, 0.7), "residual_share = 0.7 is out of range"),
    ],
)
def test_refusals(call, said):
    with pytest.raises(BadInput, match=said):
        call()
