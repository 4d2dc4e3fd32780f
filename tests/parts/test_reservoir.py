"""Tank, ice and insulation against check cases, integrators and the equations they close."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from cases.record import failures, load
from coldside.errors import BadInput
from coldside.media.coolants import parse_coolant
from coldside.parts import reservoir
from coldside.parts.reservoir import ReservoirSpec, TankLoop

CASES = [
    case for case in load("wet_and_cold") if case.id in ("heat-T35", "heat-T36", "loop-C17", "loop-C15", "heat-D3")
]
TANK = ReservoirSpec(volume=8e-3)
ICED = ReservoirSpec(volume=8e-3, ice=5.0, ice_temperature=273.15, ice_conductance=900.0)


@pytest.mark.parametrize("case", CASES, ids=[case.name for case in CASES])
def test_case(case):
    assert failures(case) == []


def nodes_equations(count: int, mixing: float) -> np.ndarray:
    """d(node temperatures)/d(turnovers) = K T + count e_1 u: through-flow 1, `mixing` both ways between neighbours."""
    K = np.zeros((count, count))
    for i in range(count):
        if i > 0:
            K[i, i - 1] += 1.0 + mixing
            K[i, i] -= 1.0 + mixing
        else:
            K[i, i] -= 1.0
        if i < count - 1:
            K[i, i + 1] += mixing
            K[i, i] -= mixing
    return count * K


@pytest.mark.parametrize("count", [1, 2, 3, 7, 30])
@pytest.mark.parametrize("mixing", [0.0, 0.1, 1.0, 10.0])
def test_spread_is_the_variance_of_the_nodes_own_answer(count, mixing):
    # moments of the answer to a pulse at the inlet, from the equations: integral of t^n exp(K t) dt = n! (-K)^-(n+1)
    K = nodes_equations(count, mixing)
    inverse = np.linalg.inv(-K)
    pulse = np.zeros(count)
    pulse[0] = count
    mean = (inverse @ inverse @ pulse)[-1]
    second = 2.0 * (inverse @ inverse @ inverse @ pulse)[-1]
    assert (inverse @ pulse)[-1] == pytest.approx(1.0, rel=1e-9)
    assert mean == pytest.approx(1.0, rel=1e-9)
    # 1e-9: round-off of the inverse
    assert reservoir.turnover_spread(count, mixing) == pytest.approx(second - mean**2, rel=1e-9)


def test_mixing_goes_from_nodes_in_series_to_one():
    assert reservoir.turnover_spread(20) == pytest.approx(1 / 20)
    assert reservoir.turnover_spread(1, 5.0) == pytest.approx(1.0)
    spread = [reservoir.turnover_spread(8, mixing) for mixing in (0.0, 0.3, 1.0, 10.0, 1e4)]
    assert np.all(np.diff(spread) > 0.0)
    assert spread[-1] == pytest.approx(1.0, rel=1e-3)


def test_melting_limits_what_ice_does_in_a_pull():
    # heat note D3, computed there: 5 kg of cubes of 900 W/K, 8 L of water at 2 degC, 45 kW and 20 kW
    def derivative(t, y, power):
        T, left = y
        water = 8.0 + 5.0 - left  # the melt joins the water: together they keep their mass
        heat = float(reservoir.melt_heat(ICED, left, T, 273.15))
        rate = heat / float(reservoir.ice_latent(ICED, 273.15))
        return [(power - heat - rate * 4190.0 * (T - 273.15)) / (water * 4190.0), -rate]

    for power, expected in ((45e3, (13.0, 20.8, 26.3)), (20e3, (6.7, 10.1, 12.6))):
        run = solve_ivp(derivative, (0, 30), [275.15, 5.0], args=(power,), t_eval=(10, 20, 30), rtol=1e-9, atol=1e-9)
        assert run.y[0] - 273.15 == pytest.approx(expected, abs=0.1)  # stated to 0.1 degC, its cp not stated
        if power == 45e3:
            assert run.y[1][-1] == pytest.approx(3.8, abs=0.05)


@given(exponent=st.floats(0.0, 0.9), over=st.floats(0.5, 30.0), share=st.floats(0.05, 0.9))
def test_ice_left_is_what_an_integrator_finds(exponent, over, share):
    spec = ReservoirSpec(volume=0.01, ice=3.0, ice_exponent=exponent, ice_temperature=268.15)
    T = 273.15 + over
    end = share * reservoir.all_melted(spec, T, 273.15)
    run = solve_ivp(
        lambda t, m: -reservoir.melt_rate(spec, m, T, 273.15), (0, end), [3.0], rtol=1e-9, atol=1e-12, method="LSODA"
    )
    # 1e-6 of the ice: what the integrator was asked for, twice over
    assert float(reservoir.ice_left(spec, T, 273.15, end)) == pytest.approx(run.y[0][-1], abs=3e-6)


def test_ice_ends_and_never_refreezes():
    spec = ReservoirSpec(volume=0.01, ice=2.0)
    end = reservoir.all_melted(spec, 283.15, 273.15)
    assert float(reservoir.ice_left(spec, 283.15, 273.15, end * 1.01)) == 0.0
    assert reservoir.all_melted(spec, 273.15, 273.15) == float("inf")
    assert float(reservoir.melt_heat(spec, 1.0, 270.0, 273.15)) == 0.0
    assert float(reservoir.melt_heat(TANK, 0.0, 300.0, 273.15)) == 0.0
    assert reservoir.ice_conductance(TANK) == 0.0


def test_conductance_by_form_is_between_what_films_and_areas_give():
    # heat note D3: 25 mm cubes 0.262 m2/kg at 395 to 1169 W/(m2 K); crushed 3 to 5 times the area, bagged a third
    for form, low, high in (("cubes", 395, 1169), ("crushed", 3 * 395, 5 * 1169), ("bagged", 395 / 3, 1169 / 3)):
        per_kg = reservoir.ice_conductance(ReservoirSpec(volume=0.01, ice=5.0, ice_form=form)) / 5.0
        assert 0.262 * low < per_kg < 0.262 * high


@pytest.mark.oracle
def test_film_of_a_cube_is_that_of_ranz_and_marshall():
    # sphere of 30 mm in water of 5 degC at 0.03 m/s: the 690 W/(m2 K) behind ICE_FILM["cubes"]
    from CoolProp.CoolProp import PropsSI

    rho, mu, k, cp = (PropsSI(key, "T", 278.15, "P", 1.5e5, "Water") for key in ("D", "V", "L", "C"))
    Re, Pr = rho * 0.03 * 0.03 / mu, cp * mu / k
    h = (2.0 + 0.6 * Re**0.5 * Pr ** (1 / 3)) * k / 0.03
    assert reservoir.ICE_FILM["cubes"] / 0.262 == pytest.approx(h, rel=0.06)  # rounded to 10 W/K; note says 657


def test_colder_ice_takes_more_heat_and_mixes_melt_it_below_zero():
    spec = ReservoirSpec(volume=0.01, ice=3.0, ice_temperature=263.15)
    assert float(reservoir.ice_latent(spec, 273.15)) == pytest.approx(333.55e3 + 20.9e3)
    glycol = parse_coolant("ethylene glycol 30 % by mass")
    points = reservoir.melting_point(glycol, 8.0, np.array([0.0, 1.0, 3.0, 1e6]))
    assert points[0] == pytest.approx(glycol.freezing_point)
    assert np.all(np.diff(points) > 0.0)
    assert points[-1] == pytest.approx(273.15, abs=0.01)
    # 8 kg of 30 % with 4 kg of melt is 20 % by mass: -7.9 degC (heat note D1)
    assert float(reservoir.melting_point(glycol, 8.0, 4.0)) - 273.15 == pytest.approx(-7.9, abs=0.06)
    assert float(reservoir.melting_point(parse_coolant("water"), 8.0, 4.0)) == 273.15
    with pytest.raises(BadInput, match="oil"):
        reservoir.melting_point(parse_coolant("engine oil"), 8.0, 1.0)


@given(
    ice=st.floats(0.0, 10.0),
    T_ice=st.floats(243.0, 273.15),
    water=st.floats(3.0, 30.0),
    T=st.floats(274.0, 330.0),
    heat=st.floats(0.0, 1e6),
)
def test_settling_keeps_the_energy(ice, T_ice, water, T, heat):
    end, left = reservoir.settled_with_ice(ice, T_ice, water * 4190.0, T, heat)
    stored = water * 4190.0 * (end - 273.15) + (ice - left) * (333.55e3 + 4190.0 * (end - 273.15))
    start = water * 4190.0 * (T - 273.15) - ice * 2090.0 * (273.15 - T_ice)
    assert stored == pytest.approx(start + heat, abs=1e-6 * (abs(start) + heat + 1e5))  # round-off
    assert end == 273.15 or left == 0.0


def test_too_much_ice_for_the_tank_is_refused():
    with pytest.raises(BadInput, match=r"5\.45 L.*13\.5 L.*12 L"):
        reservoir.check_fit(ReservoirSpec(volume=8e-3, ice=5.0, brim_volume=12e-3))
    reservoir.check_fit(ReservoirSpec(volume=8e-3, ice=5.0, brim_volume=13.5e-3))
    reservoir.check_fit(ReservoirSpec(volume=8e-3, ice=50.0))  # nothing said of the brim: not checked


def test_insulation_gives_the_pickup():
    bare = ReservoirSpec(volume=8e-3)
    assert reservoir.tank_pickup(bare) == bare.pickup
    foam = [
        reservoir.tank_pickup(ReservoirSpec(volume=8e-3, insulation=t, insulation_conductivity=0.035))
        for t in (2e-3, 10e-3, 20e-3, 50e-3)
    ]
    assert np.all(np.diff(foam) < 0.0)
    # 20 mm of foam on a cube of 0.2 m: 0.035 x 6 x 0.22^2/0.02 = 0.508 W/K, outside 10 x 6 x 0.24^2 = 3.46 in series
    assert foam[2] == pytest.approx(1 / (1 / 0.5082 + 1 / 3.456), rel=1e-3)
    assert reservoir.active_volume(ReservoirSpec(volume=8e-3, dead_share=0.25)) == pytest.approx(6e-3)


def test_where_a_tank_in_a_loop_ends_does_not_depend_on_its_size():
    small, large = (TankLoop(m * 3400.0, 1190.0, 430.0, 535.0, 423.15, 303.15) for m in (5.0, 5000.0))
    assert small.settled == large.settled
    assert large.time_to(303.15, 323.15) == pytest.approx(1000.0 * small.time_to(303.15, 323.15))
    assert small.time_to(303.15, 420.0) == float("inf")
    assert small.time_to(330.0, 320.0) == 0.0
    # loop note b2: plug is colder than mixed all through its first pass, and hotter at the end of later ones
    t = small.turnover
    assert small.plug(303.15, 0.99 * t) < small.mixed(303.15, 0.99 * t)
    assert small.plug(303.15, 4.0 * t) > small.mixed(303.15, 4.0 * t)
