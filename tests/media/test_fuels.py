"""Fuels against the check cases and Cantera, and the laws of blending and evaporation."""

from __future__ import annotations

import functools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cases.record import failures, load
from coldside.errors import BadInput
from coldside.media.fuels import (
    FUELS,
    blend,
    evaporation_drop,
    fuel,
    mixed,
    octane_words,
    saturated_drop,
    stoichiometric_ratio,
    vapour_pressure,
)
from coldside.parts.engine import EngineSpec
from coldside.parts.fields import field_of

CASES = load("fuels")


@pytest.mark.parametrize("case", CASES, ids=[case.name for case in CASES])
def test_case(case):
    assert failures(case) == []


def test_every_fuel_that_an_engine_may_name_exists_and_no_other():
    assert set(field_of(EngineSpec, "fuel").choices) == set(FUELS)
    assert all(fuel(name).name == name for name in FUELS)


@pytest.mark.oracle
@pytest.mark.parametrize(
    ("name", "species", "formula"),
    [("ethanol", "C2H5OH", (2, 6, 1)), ("methanol", "CH3OH", (1, 4, 1))],
)
def test_heating_values_and_air_demand_are_those_of_the_reaction(name, species, formula):
    """Gas heat of reaction at 25 degC from Cantera 3.2.0, less the latent heat from CoolProp 8.0.0."""
    import cantera as ct
    import CoolProp.CoolProp as CP

    wanted = {species, "O2", "CO2", "H2O", "N2", "Ar"}
    gas = ct.Solution(
        thermo="ideal-gas",
        species=[s for s in ct.Species.list_from_file("nasa_gas.yaml") if s.name in wanted],
    )
    gas.TP = 298.15, 101325.0
    h = dict(zip(gas.species_names, gas.standard_enthalpies_RT * ct.gas_constant * 298.15, strict=True))
    carbon, hydrogen, oxygen = formula
    oxygen_need = carbon + hydrogen / 4 - oxygen / 2
    released = h[species] + oxygen_need * h["O2"] - carbon * h["CO2"] - hydrogen / 2 * h["H2O"]
    mass = gas.molecular_weights[gas.species_index(species)]
    latent = CP.PropsSI("HMASS", "T", 298.15, "Q", 1, name) - CP.PropsSI("HMASS", "T", 298.15, "Q", 0, name)
    # 0.001: four digits are stated
    assert fuel(name).heating_value == pytest.approx(released / mass - latent, rel=1e-3)
    assert fuel(name).latent_heat == pytest.approx(latent, rel=1e-3)
    assert fuel(name).density == pytest.approx(CP.PropsSI("D", "T", 288.15, "P", 101325.0, name), rel=1e-3)
    air = gas.stoich_air_fuel_ratio(f"{species}:1", "O2:0.2095, N2:0.7808, Ar:0.0097", "mole")
    assert fuel(name).stoichiometric == pytest.approx(air, rel=1e-4)  # molar masses differ in the fifth digit


def test_all_liquid_fuels_give_about_the_same_heat_per_air():
    """The design note on charge, B2: 2.93 to 3.08 MJ per kg of air."""
    for item in FUELS.values():
        assert 2.93e6 <= item.heat_per_air <= 3.09e6


@given(share=st.floats(0.0, 0.99))
@settings(deadline=None)
def test_more_ethanol_moves_every_figure_towards_ethanol(share):
    base, ethanol = FUELS["gasoline 95"], FUELS["ethanol"]
    less, more = blend(base, share), blend(base, share + 0.01)
    for quantity in ("RON", "MON", "heating_value", "stoichiometric", "latent_heat", "density", "molar_mass"):
        way = getattr(ethanol, quantity) - getattr(base, quantity)
        assert (getattr(more, quantity) - getattr(less, quantity)) * way > 0


def test_a_blend_conserves_mass_and_moles():
    """Per litre of blend, counted by hand: 0.85 L of ethanol and 0.15 L of gasoline."""
    e85, base, ethanol = FUELS["E85"], FUELS["gasoline 95"], FUELS["ethanol"]
    mass = np.array([0.85 * ethanol.density, 0.15 * base.density])
    moles = mass / [ethanol.molar_mass, base.molar_mass]
    assert e85.density == pytest.approx(mass.sum(), rel=1e-12)
    assert e85.molar_mass == pytest.approx(mass.sum() / moles.sum(), rel=1e-12)
    assert e85.heating_value * mass.sum() == pytest.approx(
        mass @ [ethanol.heating_value, base.heating_value], rel=1e-12
    )


def test_a_name_is_known_in_any_case():
    assert fuel("e85") is FUELS["E85"]
    assert fuel("Gasoline 98") is FUELS["gasoline 98"]
    assert fuel("e40").name == "E40"
    assert fuel("gasoline 98 with 40 % e85").name == fuel("gasoline 98 with 40 % E85").name


def test_the_name_of_a_blend():
    assert blend(FUELS["gasoline 98"], 0.3).name == "gasoline 98 with 30 % ethanol by volume"


@given(lambda_=st.floats(0.6, 1.3), share=st.floats(0.0, 1.0))
@settings(deadline=None)
def test_evaporation_cools_more_when_rich_and_balances_enthalpy(lambda_, share):
    kind = FUELS["E85"]
    drop = evaporation_drop(kind, lambda_, share)
    flow = 1.0 / (lambda_ * kind.stoichiometric)
    assert (1006.0 + flow * 1600.0) * drop == pytest.approx(share * flow * kind.latent_heat, rel=1e-12)
    assert evaporation_drop(kind, lambda_ * 0.99, share) >= drop


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (
            lambda: fuel("E85x"),
            (
                "fuel 'E85x' is not known; it must be one of gasoline 95, gasoline 98, gasoline 100, E10, E85, "
                'ethanol, methanol; nearest: \'E85\'; or "gasoline 98", "gasoline 93 AKI", "E85" or a blend by volume, '
                '"gasoline 98 with 40 % E85"'
            ),
        ),
        (
            lambda: fuel("hay"),
            (
                "fuel 'hay' is not known; it must be one of gasoline 95, gasoline 98, gasoline 100, E10, E85, ethanol, "
                'methanol; or "gasoline 98", "gasoline 93 AKI", "E85" or a blend by volume, "gasoline 98 with 40 % E85"'
            ),
        ),
        (
            lambda: fuel("gasoline 97 with 40 % E85"),
            (
                "fuel 'gasoline 97 with 40 % E85': 'gasoline 97' is not known; a blend is made of gasoline 95, "
                "gasoline 98, gasoline 100, E10, E85, ethanol, methanol; nearest: 'gasoline 98'"
            ),
        ),
        *(
            (
                functools.partial(fuel, name),
                (
                    f"fuel '{name}' is not known; say which 91 is meant: \"gasoline 91 AKI\" is what a North American "
                    'pump shows, (R+M)/2, about RON 95.5; "gasoline 91 RON" is the number of pumps elsewhere'
                ),
            )
            for name in ("gasoline 91", "91 octane", "premium 91")
        ),
        (
            lambda: fuel("gasoline 93 with 10 % ethanol"),
            (
                "fuel 'gasoline 93 with 10 % ethanol': 'gasoline 93' is not known; say which 93 is meant: \"gasoline "
                '93 AKI" is what a North American pump shows, (R+M)/2, about RON 97.5; "gasoline 93 RON" is the number '
                "of pumps elsewhere"
            ),
        ),
        (
            lambda: fuel("gasoline 60 AKI"),
            "fuel 'gasoline 60 AKI': gasoline of 60 AKI is not sold; it must be from 80 to 115",
        ),
        (
            lambda: fuel("gasoline 98 with 140 % E85"),
            "fuel 'gasoline 98 with 140 % E85': a share of 140 % is more than all; it must be from 0 to 100 %",
        ),
        (
            lambda: blend(FUELS["gasoline 95"], 1.2),
            "ethanol_volume_share = 1.2 is out of range; it must be from 0 to 1",
        ),
        (
            lambda: evaporation_drop(FUELS["E85"], 0.0),
            "lambda = 0 is out of range; it must be above 0",
        ),
        (
            lambda: evaporation_drop(FUELS["E85"], 0.8, 1.5),
            "share = 1.5 is out of range; it must be from 0 to 1",
        ),
        (
            lambda: stoichiometric_ratio(1, 0, 2),
            "this formula does not burn: it holds all the oxygen that it needs",
        ),
    ],
)
def test_refusals(call, said):
    with pytest.raises(BadInput) as caught:
        call()
    assert str(caught.value) == said


def test_blends_by_name_are_blends_by_volume():
    """E85 in gasoline 98: 0.4 x 0.85 of ethanol by volume; heat per litre adds up (arithmetic)."""
    blended, first, second = fuel("gasoline 98 with 40 % E85"), fuel("gasoline 98"), fuel("E85")
    per_litre = 0.6 * first.heating_value * first.density + 0.4 * second.heating_value * second.density
    assert blended.heating_value * blended.density == pytest.approx(per_litre, rel=1e-12)
    ethanol = dict(blended.contents)["ethanol"] * blended.density / FUELS["ethanol"].density
    assert ethanol == pytest.approx(0.34, rel=1e-12)
    assert blended.name == "gasoline 98 with 40 % E85"
    assert fuel(blended.name) == blended
    assert fuel("gasoline 98 with 40.0 %  E85 by volume") == blended


def test_ends_and_numbered_blends():
    """0 and 100 % are the parts; E40 is 40 % by volume in gasoline 95; contents always sum to 1 (limits)."""
    assert fuel("gasoline 98 with 0 % E85").octane() == 98.0
    assert fuel("gasoline 98 with 100 % ethanol").latent_heat == FUELS["ethanol"].latent_heat
    assert fuel("E40").RON == blend(FUELS["gasoline 95"], 0.4).RON
    for name in (*FUELS, "E40", "methanol with 30 % gasoline 100"):
        assert sum(share for _, share in fuel(name).contents) == pytest.approx(1.0, rel=1e-12)


def test_a_pump_number_is_half_the_sum_of_both_octane_numbers():
    """The definition (USOctane); RON and MON apart by 9, the middle of 8 to 10 of pump gasoline (common practice)."""
    for number in (87, 91, 93, 93.5):
        pumped = fuel(f"gasoline {number} AKI")
        assert (pumped.RON + pumped.MON) / 2.0 == number
        assert pumped.RON - pumped.MON == 9.0
        assert fuel(f"gasoline {number} (R+M)/2") == fuel(pumped.name) == pumped
    blended = fuel("gasoline 93 AKI with 40 % E85")
    assert blended.RON == mixed(fuel("gasoline 93 AKI"), fuel("E85"), 0.4).RON
    for kind in (fuel("gasoline 93 AKI"), blended):
        assert octane_words(kind) == (
            "93, the (R+M)/2 of a North American pump, is taken for RON 97.5 and MON 88.5, each known to half a number"
        )
    assert octane_words(fuel("gasoline 98")) is None


def test_a_number_is_ron_whether_said_or_not():
    """A grade without a name of its own keeps the sensitivity of gasoline 95, 10 (EN228)."""
    assert fuel("gasoline 98 RON") is fuel("gasoline 98")
    regular = fuel("gasoline 91 RON")
    assert (regular.RON, regular.MON) == (91.0, 81.0)


def test_octane_index():
    """K 0 is RON, 1 is MON (definition)."""
    assert fuel("gasoline 98").octane(0.0) == 98.0
    assert fuel("gasoline 98").octane(1.0) == 87.5
    assert fuel("gasoline 98").octane(-0.5) == 98.0 + 0.5 * 10.5


@pytest.mark.parametrize(("content", "name"), [("ethanol", "Ethanol"), ("methanol", "Methanol")])
def test_vapour_pressure_is_that_of_coolprop(content, name):
    """CoolProp 8.0.0: 3 % from 260 to 355 K; Antoine's constants are fitted above 273 and 288 K."""
    properties = pytest.importorskip("CoolProp.CoolProp")
    for T in (260.0, 280.0, 300.0, 320.0, 340.0, 355.0):
        assert vapour_pressure(content, T) == pytest.approx(properties.PropsSI("P", "T", T, "Q", 0, name), rel=0.03)


def test_saturation_stops_at_the_dew_point():
    """Methanol at 2.5 bar: what has evaporated has the saturation pressure of the cooled charge (law); 1e-4."""
    methanol, T, p = fuel("methanol"), 313.15, 2.5e5
    free = float(evaporation_drop(methanol, 0.8, 0.35))
    drop = float(saturated_drop(methanol, 0.8, 0.35, T, p))
    assert drop < 0.8 * free
    f = 1.0 / (0.8 * methanol.stoichiometric)
    moles = 0.35 * drop / free * f / methanol.molar_mass
    partial = p * moles / (moles + 1.0 / 28.964e-3)
    assert partial == pytest.approx(float(vapour_pressure("methanol", T - drop)), rel=1e-4)


def test_saturation_leaves_gasoline_and_hot_charge_alone():
    for name, T in (("gasoline 98", 250.0), ("ethanol", 400.0), ("E85", 400.0)):
        free = float(evaporation_drop(fuel(name), 0.85, 0.35))
        # a blend's latent heat is that of its contents by mass, as here, so both agree to rounding
        assert float(saturated_drop(fuel(name), 0.85, 0.35, T, 2e5)) == pytest.approx(free, rel=1e-6)


def test_warmer_or_thinner_charge_evaporates_more():
    T = np.array([280.0, 300.0, 320.0])
    assert np.all(np.diff(saturated_drop(fuel("ethanol"), 0.85, 0.35, T, 2.5e5)) > 0.0)
    assert saturated_drop(fuel("ethanol"), 0.85, 0.35, 300.0, 1e5) > saturated_drop(
        fuel("ethanol"), 0.85, 0.35, 300.0, 3e5
    )


def test_refused_vapours():
    with pytest.raises(BadInput, match="no vapour pressure of 'gasoline'"):
        vapour_pressure("gasoline", 300.0)
    with pytest.raises(BadInput, match="temperature = 500"):
        vapour_pressure("ethanol", 500.0)
