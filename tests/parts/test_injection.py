"""Injected water and methanol against CoolProp's humid air, the exact balance of a mix, and their limits."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cases.record import failures, load
from coldside.errors import BadInput
from coldside.parts.injection import InjectionSpec, cooling, injected_flow, parse_fluid

CASES = [case for case in load("wet_and_cold") if "injection" in case.part or case.id == "charge-B4"]
WATER = parse_fluid("water")


@pytest.mark.parametrize("case", CASES, ids=[case.name for case in CASES])
def test_case(case):
    assert failures(case) == []


@pytest.mark.oracle
@pytest.mark.parametrize("p", [1.2e5, 2e5, 3e5])
@pytest.mark.parametrize("T_in", [320.0, 350.0, 400.0, 440.0])
def test_saturated_air_keeps_its_enthalpy(p, T_in):
    from CoolProp.CoolProp import HAPropsSI, PropsSI
    from scipy.optimize import brentq

    W, T_liquid = 0.008, 303.15
    liquid = PropsSI("H", "T", T_liquid, "Q", 0, "Water") - PropsSI("H", "T", 273.16, "Q", 0, "Water")
    start = HAPropsSI("H", "T", T_in, "P", p, "W", W)

    def excess(T):
        held = HAPropsSI("W", "T", T, "P", p, "R", 1.0)
        return HAPropsSI("H", "T", T, "P", p, "W", held) - start - (held - W) * liquid

    expected = brentq(excess, 283.0, min(T_in, 350.0))
    # cp held at 1010 J/(kg K) where it is 1007 to 1018; the line's bend 0.4 K
    assert float(cooling(WATER, 0.2, p, W, T_liquid, about=T_in).outlet(T_in)) == pytest.approx(expected, abs=0.6)


@pytest.mark.oracle
def test_vapour_pressures_and_heats_are_the_librarys():
    from CoolProp.CoolProp import PropsSI

    from coldside.parts.injection import _METHANOL, _WATER

    for fluid, of, low in (("Water", _WATER, 274.0), ("Methanol", _METHANOL, 263.15)):
        for T in np.linspace(low, 353.15, 9):
            assert float(of.pressure(T)) == pytest.approx(PropsSI("P", "T", T, "Q", 0, fluid), rel=5e-3)
            # from liquid in the tank to thin vapour (as in air) at T; 0.3 %: specific heats are held
            taken = PropsSI("H", "T", T, "P", 500.0, fluid) - PropsSI("H", "T", 298.15, "Q", 0, fluid)
            assert float(of.heat(T, 298.15)) == pytest.approx(taken, rel=3e-3)
        assert of.density == pytest.approx(PropsSI("D", "T", 293.15, "P", 1e5, fluid), rel=1e-3)


@settings(max_examples=60)
@given(
    share=st.sampled_from(["water", "methanol", "methanol 50 %", "methanol 30 % by mass"]),
    ratio=st.floats(1e-4, 0.15),
    p=st.floats(1.1e5, 3.5e5),
    W=st.floats(0.0, 0.02),
    T_in=st.floats(315.0, 470.0),
)
def test_both_lines_hold_and_more_liquid_never_warms(share, ratio, p, W, T_in):
    fluid = parse_fluid(share)
    one, two = (cooling(fluid, r, p, W, 298.15, about=T_in) for r in (ratio, 1.5 * ratio))
    T1, T2 = float(one.outlet(T_in)), float(two.outlet(T_in))
    assert T1 <= T_in
    assert T2 <= T1 + 0.5  # K: what the line may stand over the curve
    assert 0.0 <= float(one.share(T_in)) <= 1.0
    assert float(one.vapour(T_in)) <= ratio + 1e-15
    assert T1 >= float(one.full[0] + one.full[1] * T_in) - 1e-9
    # hotter in is hotter out, for both lines rise
    assert float(one.outlet(T_in + 5.0)) >= T1


def test_the_line_of_a_known_inlet_is_closer_than_one_for_all():
    from coldside.parts.injection import _settled

    for text in ("water", "methanol 50 %"):
        fluid = parse_fluid(text)
        grid = np.meshgrid([1.3e5, 2e5, 3e5], [0.01, 0.03, 0.06], [0.002, 0.02], np.arange(315.0, 455.0, 10.0))
        p, f, W, T = (np.ascontiguousarray(v) for v in grid)
        exact = _settled((f * (1 - fluid.methanol), f * fluid.methanol), p, W, 298.15, T)
        off = [np.max(np.abs(cooling(fluid, f, p, W, 298.15, about).outlet(T) - exact)) for about in (T, None)]
        assert off[0] < 1.2  # K, as the docstring says
        assert off[1] < 5.0


def test_heat_given_up_is_heat_taken():
    # all evaporated: enthalpy of dry air, old vapour and new vapour, by hand
    W, f, T_in, T_liquid = 0.01, 0.012, 400.0, 298.15
    T = float(cooling(WATER, f, 2e5, W, T_liquid, about=T_in).outlet(T_in))
    given_up = (1010.0 + W * 1860.0) * (T_in - T)
    taken = f * (2.501e6 + 1860.0 * (T - 273.15) - 4190.0 * (T_liquid - 273.15))
    assert given_up == pytest.approx(taken, rel=1e-9)  # round-off


def test_a_mix_is_saturated_where_raoult_and_dalton_say():
    # 60 g of half methanol per kg of air at 2.2 bar, 380 K in: the balance of both components, closed by hand
    from scipy.optimize import brentq

    from coldside.parts.injection import _METHANOL, _WATER

    fluid = parse_fluid("methanol 50 %")
    ratio, p, W, T_in = 0.06, 2.2e5, 0.01, 380.0
    n_a = 1 / 0.028966
    n_w = (W + ratio * (1 - fluid.methanol)) / _WATER.molar_mass
    n_m = ratio * fluid.methanol / _METHANOL.molar_mass

    def excess(T):
        """Heat given up less heat taken, with the vapour's moles from Rachford and Rice's balance by bisection."""
        K_w, K_m = float(_WATER.pressure(T)) / p, float(_METHANOL.pressure(T)) / p
        low, high = n_a, n_a + n_w + n_m
        for _ in range(100):
            V = 0.5 * (low + high)
            L = n_a + n_w + n_m - V
            low, high = (V, high) if n_w / (L + K_w * V) + n_m / (L + K_m * V) < 1.0 else (low, V)
        water, methanol = n_w * K_w * V / (L + K_w * V) * 0.018015, n_m * K_m * V / (L + K_m * V) * 0.032042
        taken = (water - W) * float(_WATER.heat(T, 298.15)) + methanol * float(_METHANOL.heat(T, 298.15))
        return (1010.0 + W * 1860.0) * (T_in - T) - taken

    # 0.5 K: the line's bend
    assert float(cooling(fluid, ratio, p, W, 298.15, about=T_in).outlet(T_in)) == pytest.approx(
        brentq(excess, 290.0, 330.0), abs=0.5
    )


def test_flow_starts_at_its_boost():
    spec = InjectionSpec(flow=5e-6, above=0.5e5)
    flow = injected_flow(spec, np.array([0.9e5, 1.4e5, 1.6e5]), 1.0e5)
    assert flow == pytest.approx([0.0, 0.0, 5e-6 * 998.2])
    assert injected_flow(InjectionSpec(flow=5e-6, above=0.0), np.array([0.9e5, 1.01e5]), 1e5) == pytest.approx(
        [0.0, 4.991e-3]
    )


@pytest.mark.parametrize("text", ["watr", "methanol 120 %", "methanol 0 %", "ethanol 50 %", ""])
def test_unknown_fluids_are_refused(text):
    with pytest.raises(BadInput, match="write"):
        parse_fluid(text)


def test_fluids_by_volume_and_mass():
    # 50 % by volume: 791 of 791 + 998.2
    assert parse_fluid("Methanol 50 %").methanol == pytest.approx(791.0 / 1789.2)
    assert parse_fluid("methanol 50 % by mass").methanol == 0.5
    assert parse_fluid("methanol").methanol == 1.0
    assert WATER.density == pytest.approx(998.2)
    with pytest.raises(BadInput, match="ratio"):
        cooling(WATER, 2.0, 2e5, 0.0, 298.15)
