"""The charge tract as a vessel: check cases, laws, and what its keys do."""

from __future__ import annotations

import numpy as np
import pytest
from fluids import compressible
from hypothesis import given
from hypothesis import strategies as st

from cases.record import failures, load
from coldside.errors import BadInput
from coldside.parts import charge_tract, lines, shielding
from coldside.parts.lines import HoseSpec, PipeSpec, PlenumSpec
from coldside.units import Pressure


@pytest.mark.parametrize("case", load("charge_tract"), ids=lambda case: case.name)
def test_check_case(case):
    assert not failures(case)


@given(p=st.floats(1.01e5, 5e5), T=st.floats(250.0, 450.0))
def test_the_leak_rises_with_pressure_and_chokes_where_fluids_says(p, T):
    """fluids.compressible.is_critical_flow, k 1.4: below 400 K cp/cv of air lies within 1.5 % of it, so 2 % around."""
    flux = charge_tract.mass_flux(np.array([p, 1.001 * p]), T, 101325.0)
    assert flux[1] > flux[0] or p <= 101325.0
    choked = p * charge_tract.mass_flux(1.0, T, 0.0)
    if p > 1.02 * 101325.0 / compressible.P_critical_flow(1.0, 1.4):
        assert flux[0] == pytest.approx(choked, rel=1e-12)  # the same expression: rounding
    elif p < 0.98 * 101325.0 / compressible.P_critical_flow(1.0, 1.4):
        assert flux[0] < choked


def test_no_leak_at_or_below_ambient_pressure():
    assert np.all(charge_tract.leak_flow(1e-5, np.array([4e4, 101325.0]), 300.0, 101325.0) == 0.0)


@given(
    area=st.floats(1e-7, 1e-4),
    p_from=st.floats(1.3e5, 4e5),
    share=st.floats(0.05, 0.95),
    volume=st.floats(1e-3, 0.1),
)
def test_a_decay_gives_back_the_area_that_made_it(area, p_from, share, volume):
    """Time of the fall by a plain sum over 20 000 equal steps of pressure: good to 1e-4 down to 5 % over ambient."""
    p_to = 101325.0 + share * (p_from - 101325.0)
    edges = np.linspace(p_from, p_to, 20001)
    middle = 0.5 * (edges[1:] + edges[:-1])
    flow = charge_tract.leak_flow(area, middle, charge_tract.TEST_TEMPERATURE, 101325.0)
    seconds = float(np.sum(volume * -np.diff(edges) / (287.055 * charge_tract.TEST_TEMPERATURE * flow)))
    assert charge_tract.decay_leak_area(volume, p_from, p_to, seconds) == pytest.approx(area, rel=1e-4)


def test_choked_decay_is_exponential():
    """Closed form of the choked fall: ln(p1/p2) = C A sqrt(R T) t/V, so equal ratios take equal times."""
    first = charge_tract.decay_leak_area(0.01, 4.0e5, 3.0e5, 10.0)
    assert charge_tract.decay_leak_area(0.01, 3.0e5, 2.25e5, 10.0) == pytest.approx(first, rel=1e-9)


@pytest.mark.parametrize(
    ("p_from", "p_to", "seconds", "volume"),
    [(1.5e5, 1.6e5, 10.0, 0.01), (1.5e5, 1.0e5, 10.0, 0.01), (1.5e5, 1.2e5, 0.0, 0.01), (1.5e5, 1.2e5, 9.0, 0.0)],
)
def test_a_test_that_cannot_be_is_refused(p_from, p_to, seconds, volume):
    with pytest.raises(BadInput):
        charge_tract.decay_leak_area(volume, p_from, p_to, seconds)


def test_the_plenum_carries_the_decay_test():
    """15 to 12 psi gauge in 30 s out of 11 L; gauge against the standard atmosphere of a workshop."""
    tested = PlenumSpec(
        leak_test_from=Pressure(103421.0, True), leak_test_to=Pressure(82737.0, True), leak_test_time=30.0
    )
    by_hand = charge_tract.decay_leak_area(0.011, 101325.0 + 103421.0, 101325.0 + 82737.0, 30.0)
    assert charge_tract.tested_leak_area(tested, 0.011) == by_hand
    assert charge_tract.tested_leak_area(PlenumSpec(), 0.011) == 0.0
    with pytest.raises(BadInput, match="leak_test_to"):
        charge_tract.tested_leak_area(PlenumSpec(leak_test_from=Pressure(1e5, True), leak_test_time=30.0), 0.011)


def test_what_parts_hold():
    """A pipe is a cylinder; a plenum without a volume holds as much as the engine sweeps; a hose holds no charge."""
    assert charge_tract.held_volume(PipeSpec(length=2.0, bore=0.1), 0.002) == pytest.approx(np.pi * 0.005)
    assert charge_tract.held_volume(PlenumSpec(), 0.002) == 0.002
    assert charge_tract.held_volume(PlenumSpec(volume=0.003), 0.002) == 0.003
    assert charge_tract.held_volume(HoseSpec(length=1.0, bore=0.02), 0.002) == 0.0


def test_shields_and_spacers_lower_the_pick_up():
    pipe = PipeSpec(length=1.0, bore=0.06)
    bare = lines.pipe_pickup(pipe)
    foil, wrap = (lines.pipe_pickup(PipeSpec(length=1.0, bore=0.06, shield=s)) for s in ("foil", "wrap"))
    assert 0.3 * bare < foil < bare  # convection, about 4 of 10 W/(m2 K), stays
    assert wrap == pytest.approx(bare / (1.0 + 10.0 * 4e-3 / 0.06), rel=1e-12)  # plane wall in series
    assert lines.plenum_pickup(PlenumSpec()) == 5.0
    thin, thick = (lines.plenum_pickup(PlenumSpec(spacer=t)) for t in (0.005, 0.015))
    assert 0.3 * 5.0 < thick < thin < 5.0  # what does not cross the flange stays
    metal = lines.plenum_pickup(PlenumSpec(spacer=0.010, spacer_material="aluminium"))
    assert metal == pytest.approx(5.0, rel=0.05)  # 96 W/K in series with 3.5: no shield at all
    apart = PlenumSpec(spacer=0.010, surroundings="bay")
    assert lines.plenum_pickup(apart) == 5.0  # nothing crosses a flange to the engine


def test_words_that_are_no_shield_or_spacer():
    with pytest.raises(BadInput, match="foil"):
        shielding.shield_share("gold")
    with pytest.raises(BadInput, match="phenolic"):
        shielding.spacer_conductance(0.01, 1e-3, "cheese")
    with pytest.raises(BadInput):
        shielding.radiation_left(0.0, 0.5, 0.1)
