"""Coolants against the check cases and CoolProp, and the reading and refusing of the user's words."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cases.record import failures, load
from coldside.errors import BadInput
from coldside.media.coolants import Coolant, mass_fraction_of, parse_coolant, require_liquid

CASES = load("coolants")
KEYS = {"density": "D", "cp": "C", "conductivity": "L", "viscosity": "V"}
FLUIDS = {"ethylene glycol": "MEG", "propylene glycol": "MPG"}
METHANOL = "INCOMP::MMA"


@pytest.mark.parametrize("case", CASES, ids=[case.name for case in CASES])
def test_case(case):
    assert failures(case) == []


def deviations(coolant: Coolant, fluid: str, T: np.ndarray) -> dict[str, float]:
    """Largest relative deviation of each property from CoolProp at 3 bar."""
    import CoolProp.CoolProp as CP

    return {
        name: float(
            np.max(np.abs(getattr(coolant, name)(T) / [CP.PropsSI(key, "T", t, "P", 3e5, fluid) for t in T] - 1.0))
        )
        for name, key in KEYS.items()
    }


# Allowed deviations are the fits' own largest (design note on heat, D2), rounded up; below 0.2 by mass
# properties run linearly between water and the fit, which costs the most in viscosity.
FITTED = {"density": 0.001, "cp": 0.003, "conductivity": 0.0022, "viscosity": 0.006}
THIN = {"density": 0.0015, "cp": 0.006, "conductivity": 0.008, "viscosity": 0.025}
COLD = {"density": 0.001, "cp": 0.02, "conductivity": 0.012, "viscosity": 0.006}


@pytest.mark.oracle
@pytest.mark.parametrize("kind", FLUIDS)
@pytest.mark.parametrize("x", [0.05, 0.1, 0.15, 0.2, 0.25, 0.3, 0.4, 0.5, 0.6])
def test_mixes_are_those_of_the_data(kind, x):
    coolant = Coolant("mix", x, kind)
    low, high = coolant.valid_range
    allowed = THIN if x < 0.2 else FITTED
    T = np.linspace(max(low + 0.1, 263.15), high - 0.05, 40)
    for name, off in deviations(coolant, f"INCOMP::{FLUIDS[kind]}[{x}]", T).items():
        assert off <= allowed[name], name
    if low < 263.0:  # the fits were made from -10 degC up: down to freezing they are carried on
        for name, off in deviations(
            coolant, f"INCOMP::{FLUIDS[kind]}[{x}]", np.linspace(low + 0.1, 263.15, 20)
        ).items():
            assert off <= COLD[name], name


@pytest.mark.oracle
def test_water_is_that_of_the_reference_equations():
    water = parse_coolant("water")
    allowed = {"density": 0.0001, "cp": 0.0002, "conductivity": 0.002, "viscosity": 0.001}  # as stated for the fits
    for name, off in deviations(water, "Water", np.linspace(273.65, 383.15, 60)).items():
        assert off <= allowed[name], name


@pytest.mark.oracle
@pytest.mark.parametrize("kind", FLUIDS)
def test_freezing_points_are_those_of_the_data(kind):
    import CoolProp.CoolProp as CP

    for x in np.linspace(0.02, 0.6, 30):
        expected = CP.PropsSI("T_freeze", "T", 300.0, "P", 3e5, f"INCOMP::{FLUIDS[kind]}[{x:.6f}]")
        assert Coolant("mix", float(x), kind).freezing_point == pytest.approx(expected, abs=1e-3)  # same polynomial


@pytest.mark.oracle
@pytest.mark.parametrize("x", [0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6])
def test_methanol_mixes_are_those_of_the_data(x):
    """Deviations of the fits stated in the design note on heat, D2, rounded up; below 0.1 by mass linear from water."""
    import CoolProp.CoolProp as CP

    coolant = Coolant("mix", x, "methanol")
    thin = {"density": 0.0015, "cp": 0.012, "conductivity": 0.006, "viscosity": 0.03}
    fitted = {"density": 0.0006, "cp": 0.007, "conductivity": 0.0015, "viscosity": 0.008}
    low, high = coolant.valid_range
    for name, off in deviations(
        coolant, f"{METHANOL}[{x}]", np.linspace(max(low, 263.15) + 0.1, high - 0.05, 40)
    ).items():
        assert off <= (thin if x < 0.1 else fitted)[name], name
    for share in np.linspace(0.02, 0.6, 30):
        expected = CP.PropsSI("T_freeze", "T", 300.0, "P", 3e5, f"{METHANOL}[{share:.6f}]")
        assert Coolant("mix", float(share), "methanol").freezing_point == pytest.approx(expected, abs=1e-3)


@pytest.mark.oracle
def test_methanol_boils_where_the_mixture_model_says():
    """CoolProp's methanol and water mixture (parameters estimated there) lies up to 3 K above the handbook's table."""
    import CoolProp.CoolProp as CP

    for x in (0.1, 0.3, 0.5):
        mix = Coolant("mix", x, "methanol")
        state = CP.AbstractState("HEOS", "Methanol&Water")
        mole = x / 32.042 / (x / 32.042 + (1.0 - x) / 18.015)
        state.set_mole_fractions([mole, 1.0 - mole])
        state.update(CP.PQ_INPUTS, 101325.0, 0.0)
        assert mix.boiling_point(101325.0) == pytest.approx(state.T(), abs=3.0)
    with pytest.raises(BadInput, match="pressure"):
        mix.boiling_point(1e9)


def test_oil_is_held_to_its_grade():
    """SAE J300 (from memory): a 30 grade has 9.3 to 12.5 mm2/s at 100 degC, 2.9 mPa s at least at 150 under shear."""
    oil = parse_coolant("engine oil")
    assert 9.3e-6 < oil.viscosity(373.15) / oil.density(373.15) < 12.5e-6
    assert oil.viscosity(423.15) > 2.9e-3
    T = np.linspace(238.15, 453.15, 200)
    assert np.all(np.diff(oil.viscosity(T)) < 0.0)
    assert oil.boiling_point(101325.0) == pytest.approx(700.0)
    assert oil.vapour_pressure(393.15) < 100.0  # Pa: nothing against a sump's


# --- laws ---------------------------------------------------------------------------------------------------------


@given(
    kind=st.sampled_from(sorted(FLUIDS)),
    x=st.floats(0.001, 0.6),
    T=st.floats(265.0, 370.0),
)
@settings(deadline=None)
def test_directions(kind, x, T):
    mix = Coolant("mix", x, kind)
    if mix.freezing_point + 1.0 > T:
        return
    water = parse_coolant("water")
    step = np.array([T, T + 3.0])
    assert np.diff(mix.viscosity(step))[0] < 0
    assert mix.viscosity(T) > water.viscosity(T)
    assert mix.conductivity(T) < water.conductivity(T)
    assert mix.freezing_point < water.freezing_point
    if T > 278.0:  # water is densest at 4 degC
        assert np.diff(mix.density(step))[0] < 0


@pytest.mark.parametrize("kind", FLUIDS)
def test_properties_have_no_step_in_composition(kind):
    """From no glycol, over the end of the linear part at 0.2, to 0.6."""
    for near, far in ((1e-9, 0.0), (0.2 - 1e-9, 0.2 + 1e-9)):
        one = Coolant("a", near, kind)
        other = Coolant("b", far, kind) if far else parse_coolant("water")
        for name in KEYS:
            assert getattr(one, name)(310.0) == pytest.approx(getattr(other, name)(310.0), rel=1e-7)


def test_far_above_the_data_values_are_held_and_finite():
    mix = parse_coolant("ethylene glycol 50 % by volume")
    for name in KEYS:
        assert getattr(mix, name)(500.0) == getattr(mix, name)(413.15)


def test_arrays_keep_their_shape_and_scalars_stay_scalars():
    mix = parse_coolant("propylene glycol 30 % by volume")
    T = np.full((3, 2), 320.0)
    assert mix.viscosity(T).shape == (3, 2)
    assert isinstance(mix.viscosity(320.0), float)
    assert isinstance(mix.cp(320), float)


# --- words --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "name", "mass_fraction"),
    [
        ("water", "water", 0.0),
        ("  Water ", "water", 0.0),
        ("ethylene glycol 30 % by volume", "ethylene glycol 30 % by volume", 0.32339),
        ("Ethylene  Glycol 30% by volume", "ethylene glycol 30 % by volume", 0.32339),
        ("propylene glycol 40 % by volume", "propylene glycol 40 % by volume", 0.40898),
        ("propylene glycol 37.5 % by mass", "propylene glycol 37.5 % by mass", 0.375),
        ("ethylene glycol 60 % by mass", "ethylene glycol 60 % by mass", 0.6),
        ("Methanol 50% by volume", "methanol 50 % by volume", 0.44219),
        ("engine  Oil", "engine oil", 1.0),
        ("ethylene glycol 57.3 % by volume", "ethylene glycol 57.3 % by volume", 0.59945),
    ],
)
def test_words_that_are_read(text, name, mass_fraction):
    coolant = parse_coolant(text)
    assert coolant.name == name
    assert coolant.mass_fraction == pytest.approx(mass_fraction, abs=1e-5)
    assert parse_coolant(coolant.name) == coolant


FORMS = (
    '"water", "ethylene glycol 50 % by volume", "propylene glycol 40 % by mass", "methanol 30 % by volume" (any share)'
    ' or "engine oil"'
)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            "etylene glycol 50 % by volume",
            (
                f"coolant 'etylene glycol 50 % by volume' is not known; write {FORMS}"
                "; nearest: 'ethylene glycol 50 % by volume'"
            ),
        ),
        (
            "ethylene glycol 40 %",
            f"coolant 'ethylene glycol 40 %' is not known; write {FORMS}; nearest: 'ethylene glycol 40 % by volume'",
        ),
        (
            "ethylene glycol 40 % by weight",
            (
                f"coolant 'ethylene glycol 40 % by weight' is not known; write {FORMS}"
                "; nearest: 'ethylene glycol 40 % by mass'"
            ),
        ),
        ("watr", f"coolant 'watr' is not known; write {FORMS}; nearest: 'water'"),
        ("oil", f"coolant 'oil' is not known; write {FORMS}"),
        ("", f"coolant '' is not known; write {FORMS}"),
        ("propylene glycol 0 % by mass", "coolant 'propylene glycol 0 % by mass' holds no glycol; write \"water\""),
        (
            "ethylene glycol 60 % by volume",
            (
                "coolant 'ethylene glycol 60 % by volume' is beyond the data, which end at 60 % by mass; "
                "write at most 57.3 % by volume"
            ),
        ),
        (
            "ethylene glycol 61 % by mass",
            (
                "coolant 'ethylene glycol 61 % by mass' is beyond the data, which end at 60 % by mass; "
                "write at most 60 % by mass"
            ),
        ),
        (
            "ethylene glycol 150 % by volume",
            "coolant 'ethylene glycol 150 % by volume' holds more than 100 % of glycol",
        ),
    ],
)
def test_words_that_are_refused(text, said):
    with pytest.raises(BadInput) as caught:
        parse_coolant(text)
    assert str(caught.value) == said


def test_leaving_the_data_is_said():
    mix = parse_coolant("ethylene glycol 50 % by volume")
    assert mix.extrapolated([280.0, 360.0]) == []
    assert mix.extrapolated(383.15) == [
        "ethylene glycol 50 % by volume at 110 degC: above 100 degC its properties are carried on beyond the data"
    ]
    assert parse_coolant("water").extrapolated([270.15, 393.15]) == [
        "water at -3 degC: below 0 degC its properties are carried on beyond the data",
        "water at 120 degC: above 110 degC its properties are carried on beyond the data",
    ]


def test_ice_is_refused():
    require_liquid(parse_coolant("water"), 273.15)
    require_liquid(parse_coolant("ethylene glycol 50 % by volume"), [250.0, 300.0])
    with pytest.raises(BadInput) as caught:
        require_liquid(parse_coolant("ethylene glycol 20 % by volume"), [300.0, 258.15])
    assert str(caught.value) == (
        "ethylene glycol 20 % by volume is frozen at -15.0 degC; it freezes at -9.0 degC: "
        "use more glycol or a warmer start"
    )
    with pytest.raises(
        BadInput, match=r"^methanol 20 % by mass is frozen at -20.0 degC; .*: use more methanol or a warm"
    ):
        require_liquid(parse_coolant("methanol 20 % by mass"), 253.15)
    with pytest.raises(
        BadInput, match=r"^engine oil is too stiff to be pumped at -43.0 degC; it flows down to -35.0 degC"
    ):
        require_liquid(parse_coolant("engine oil"), 230.15)
    with pytest.raises(
        BadInput, match=r"^water is frozen at nan degC; it freezes at 0.0 degC: use a mix with glycol or"
    ):
        require_liquid(parse_coolant("water"), float("nan"))


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (
            lambda: parse_coolant("water").cp(600.0),
            "temperature of water = 600 is out of range; it must be from 203.15 to 573.15",
        ),
        (lambda: Coolant("x", 0.3), "a coolant mixed with water needs a mass fraction above 0, water has none"),
        (
            lambda: Coolant("x", 0.3, "syrup"),
            "'syrup' is not known; it must be one of ethylene glycol, propylene glycol, methanol",
        ),
        (lambda: Coolant("x", 0.7, "ethylene glycol"), "mass_fraction = 0.7 is out of range; it must be from 0 to 0.6"),
        (
            lambda: mass_fraction_of("ethylene glycol", 1.1),
            "volume_fraction = 1.1 is out of range; it must be from 0 to 1",
        ),
    ],
)
def test_refusals(call, said):
    with pytest.raises(BadInput) as caught:
        call()
    assert str(caught.value) == said


@pytest.mark.parametrize("celsius", [20.0, 80.0, 95.0, 120.0])
def test_vapour_pressure_of_water_is_the_librarys(celsius):
    # CoolProp 8.0.0, IAPWS-95; 0.2 % is what the two formulations differ by up to 120 degC
    import CoolProp.CoolProp as CP

    T = celsius + 273.15
    water = parse_coolant("water")
    exact = CP.PropsSI("P", "T", T, "Q", 0, "Water")
    assert float(water.vapour_pressure(T)) == pytest.approx(exact, rel=2e-3)
    assert water.boiling_point(exact) == pytest.approx(T, abs=0.1)


def test_vapour_pressure_of_a_glycol_mix_is_raoults():
    # design notes a7: water's molar share is 0.78 at half ethylene glycol by mass; 0.005 is its last digit
    mix, water = parse_coolant("ethylene glycol 50 % by mass"), parse_coolant("water")
    assert float(mix.vapour_pressure(350.0)) / float(water.vapour_pressure(350.0)) == pytest.approx(0.78, abs=0.006)
    assert mix.boiling_point(101325.0) > water.boiling_point(101325.0) == pytest.approx(373.12, abs=0.15)
