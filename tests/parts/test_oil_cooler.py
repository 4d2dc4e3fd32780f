"""Oil cooler: its bench point, the limits of its grid, films and losses."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coldside.errors import BadInput
from coldside.media.coolants import parse_coolant
from coldside.parts.correlations import effectiveness_crossflow
from coldside.parts.oil_cooler import OIL_END, WATER_END, OilCoolerSpec, grid_heat, rate_oil_cooler, side_loss, side_of

LITRE_MIN = 1.0 / 60000.0
OIL, WATER = parse_coolant("engine oil"), parse_coolant("ethylene glycol 50 % by volume")
COOLER = OilCoolerSpec(
    bench_oil_flow=20 * LITRE_MIN,
    bench_water_flow=60 * LITRE_MIN,
    bench_oil_in=393.15,
    bench_water_in=363.15,
    bench_heat=6e3,
    bench_oil_loss=60e3,
    bench_water_loss=10e3,
)


def rates(spec: OilCoolerSpec) -> tuple[float, float]:
    """Mass flows at the bench point."""
    oil = spec.bench_oil_flow * float(OIL.density(spec.bench_oil_in))
    return oil, spec.bench_water_flow * float(WATER.density(spec.bench_water_in))


def test_its_own_cells_give_the_bench_heat():
    rating, (oil, water) = rate_oil_cooler(COOLER, OIL, WATER), rates(COOLER)
    films = [rating.conductance(OIL_END, oil, 393.15), rating.conductance(WATER_END, water, 363.15)]
    UA = 1.0 / (1.0 / films[0] + 1.0 / films[1])
    C = oil * float(OIL.cp(393.15)), water * float(WATER.cp(363.15))
    assert float(grid_heat(UA, *C)) * 30.0 == pytest.approx(6e3, rel=1e-3)  # the film's floor adds 2e-4
    assert 1.0 / films[0] > 2.0 / films[1]  # three quarters of the resistance is the oil's


def test_many_turns_of_a_grid_are_cross_flow_to_within_its_coarseness():
    """Against both streams unmixed (Mason 1954), which cells in number would become: 3 % at NTU 0.3, 10 % at 1.5."""
    for NTU, off in ((0.1, 0.02), (0.3, 0.05), (1.5, 0.12)):
        exact = float(effectiveness_crossflow(NTU, 0.4)) * 100.0
        assert exact * (1.0 - off) < float(grid_heat(NTU * 100.0, 100.0, 250.0)) < exact


@given(UA=st.floats(1.0, 1e4), C1=st.floats(10.0, 1e4), C2=st.floats(10.0, 1e4))
def test_the_grid_keeps_to_both_laws(UA, C1, C2):
    """Never more than the smaller capacity rate or the conductance would carry, and the same from either side."""
    heat = float(grid_heat(UA, C1, C2))
    assert 0.0 < heat < min(C1, C2, UA)
    assert heat == pytest.approx(float(grid_heat(UA, C2, C1)), rel=1e-9)


@given(share=st.floats(0.0, 3.0), T=st.floats(300.0, 410.0))
def test_more_flow_never_weakens_a_film(share, T):
    rating, (oil, _) = rate_oil_cooler(COOLER, OIL, WATER), rates(COOLER)
    assert rating.conductance(OIL_END, oil * (share + 0.01), T) > rating.conductance(OIL_END, oil * share, T) > 0.0


def test_what_cannot_be_is_refused():
    with pytest.raises(BadInput, match="must be hotter"):
        rate_oil_cooler(replace(COOLER, bench_oil_in=350.0), OIL, WATER)
    with pytest.raises(BadInput, match="more than the"):
        rate_oil_cooler(replace(COOLER, bench_heat=30e3), OIL, WATER)


def test_losses_go_through_the_bench_and_cold_oil_is_stiff():
    side = side_of(COOLER, "cooler", OIL_END)
    assert side_loss(side, 20 * LITRE_MIN, OIL, 393.15)[0] == pytest.approx(60e3)
    assert side_loss(side, 20 * LITRE_MIN, OIL, 293.15)[0] > 10.0 * 60e3
    water = side_of(COOLER, "cooler", WATER_END)
    assert side_loss(water, 60 * LITRE_MIN, WATER, 363.15)[0] == pytest.approx(10e3)
    q = np.linspace(-1e-3, 1e-3, 21)
    assert np.all(side_loss(water, q, WATER, 363.15)[1] > 0.0)
