"""Cores from geometry against the check cases, fluids, and the laws of stacked layers."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from cases.geometry import air_to_air
from cases.record import failures, load
from coldside.errors import BadInput
from coldside.media import air
from coldside.media.coolants import parse_coolant
from coldside.parts.correlations import effectiveness_crossflow
from coldside.parts.geometry import CoreGeometry, CoreSide, core_loss, entrance_loss, exit_loss
from coldside.parts.surfaces import FlatTube, LouveredFin, OffsetStripFin

CASES = load("geometry")
GLYCOL = parse_coolant("ethylene glycol 50 % by volume")
CHARGE = (0.5, 378.0, None)


@pytest.mark.parametrize("case", CASES, ids=[case.name for case in CASES])
def test_case(case):
    assert failures(case) == []


def water_core(passes: int = 1, **other: float) -> CoreGeometry:
    """Charge along 0.2 m, coolant along 0.15 m in strip fins of 3 mm, stack 0.15 m (sizes of heat note A5)."""
    return CoreGeometry(
        side1=CoreSide(surface=OffsetStripFin(0.0075, 0.002, 0.00015, 0.0032), length=0.2, pipe_bore=0.063),
        side2=CoreSide(
            surface=OffsetStripFin(0.003, 0.003, 0.0002, 0.006), length=0.15, passes=passes, pipe_bore=0.019
        ),
        stack_height=0.15,
        wall_thickness=0.0005,
        **other,
    )


def tube_core(rows: int = 1) -> CoreGeometry:
    """Coolant in flat tubes along 0.6 m, air through louvers 32 mm deep, stack 0.4 m."""
    width = 0.032 / rows - 0.0006
    return CoreGeometry(
        side1=CoreSide(surface=FlatTube(0.0014, width, 0.0006), length=0.6),
        side2=CoreSide(surface=LouveredFin(0.010, 0.002, 0.0013, 0.0001, 0.0011, 0.0068, 27.0, 0.032), length=0.032),
        stack_height=0.4,
        wall_thickness=0.0003,
    )


# --- sizes --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "core", [air_to_air(), water_core(), water_core(3, end_bar=0.006)], ids=["air", "water", "bars"]
)
def test_nothing_of_a_core_is_lost(core):
    """Metal and both fluids fill a core of fins and plates exactly."""
    filled = core.metal_mass / core.metal_density + core.fluid_volume1 + core.fluid_volume2
    assert filled == pytest.approx(core.core_volume, rel=1e-12)


def test_widths_are_the_other_streams_way():
    """Heat note A2: cells = n W/p with W the length of the other stream's path."""
    core = air_to_air()
    n = 0.6 / (0.0075 + 0.009 + 2.0 * 0.0005)
    assert core.pairs == pytest.approx(n, rel=1e-12)
    cells = n * 0.06 / 0.002
    fin = core.side1.surface
    assert core.free_area1 == pytest.approx(cells * 0.00185 * 0.00735, rel=1e-12)
    assert core.area1 == pytest.approx(cells * fin.area_density * fin.height * fin.pitch * 0.42, rel=1e-12)
    assert core.wall_area == pytest.approx(2.0 * n * 0.42 * 0.06, rel=1e-12)


def test_tubes_are_counted_by_their_pitch():
    """0.4 m over a pitch of 10 mm are 40 tubes; two rows of half the width hold nearly what one holds."""
    core = tube_core()
    assert core.pairs == pytest.approx(40.0, rel=1e-12)
    one = 0.0014 * (0.0314 - 0.0014) + 0.25 * np.pi * 0.0014**2
    assert core.fluid_volume1 == pytest.approx(40.0 * one * 0.6, rel=1e-12)
    assert tube_core(rows=2).fluid_volume1 == pytest.approx(core.fluid_volume1, rel=0.05)


def test_two_half_cores_are_one():
    """Heat note law (5), for heat, loss and mass alike."""
    whole, half = air_to_air(), air_to_air().scaled(0.5)
    for ask in (lambda core, m: core.film1(m, 378.0), lambda core, m: core.film2(m, 320.0)):
        assert 2.0 * ask(half, 0.25) == pytest.approx(ask(whole, 0.5), rel=1e-12)
    assert half.loss1(0.25, 423.15, 333.15, 2.5e5).core == pytest.approx(
        whole.loss1(0.5, 423.15, 333.15, 2.5e5).core, rel=1e-12
    )
    assert 2.0 * half.metal_mass == pytest.approx(whole.metal_mass, rel=1e-12)
    assert half.wall == pytest.approx(2.0 * whole.wall, rel=1e-12)


# --- heat ---------------------------------------------------------------------------------------------------------


def test_the_five_resistances_are_those_asked_singly():
    core = replace(water_core(), side2=replace(water_core().side2, fouling=1e-4))
    cold = (0.6, 318.15, GLYCOL)
    found = core.resistances(CHARGE, cold)
    assert 1.0 / found.film1 == pytest.approx(core.film1(*CHARGE), rel=1e-12)
    assert found.fouling1 == 0.0
    assert found.fouling2 == pytest.approx(1e-4 / (core.film2(*cold) / core.coefficient2(*cold)), rel=1e-12)
    assert sum(found.shares) == pytest.approx(1.0, rel=1e-12)


def test_passes_strengthen_the_coolant_film():
    """Same area, n times the flux: h ~ n^0.5 at these Re (strip fins, heat note A3: exponents 0.4 to 0.5)."""
    cold = (0.6, 318.15, GLYCOL)
    one, two = water_core(), water_core(2)
    assert two.area2 == one.area2
    assert two.coefficient2(*cold) / one.coefficient2(*cold) == pytest.approx(2.0**0.5, rel=0.08)
    assert two.fluid_volume2 == pytest.approx(one.fluid_volume2, rel=1e-12)
    assert two.passes == 2


def test_standing_streams_still_conduct():
    core = water_core()
    for film in (core.film1(np.array([0.0, 1e-9]), 350.0), core.film2(np.array([0.0, 1e-9]), 318.15, GLYCOL)):
        assert np.all(film > 0.0)
        assert film[0] == pytest.approx(film[1], rel=1e-6)


def test_conduction_along_the_metal():
    """By hand for the air core: along its 60 mm of air, plates 0.42 m wide and fins of 6 % of the air's section."""
    core = air_to_air()
    n = 0.6 / 0.0175
    walls = 2.0 * n * 0.0005 * 0.42
    fins = n * 0.42 * (0.009 - 0.00188 * 0.00888 / 0.002)
    assert core.conduction_number(505.0) == pytest.approx(180.0 * (walls + fins) / (0.06 * 505.0), rel=1e-12)


def conducting_effectiveness(films: tuple[float, float], C: tuple[float, float], along: tuple[float, float]) -> float:
    """Effectiveness on stream 1 of 24 x 24 wall cells that also conduct to their neighbours, by one linear system.

    `along` = k A/L of the wall in the direction of stream 1 and of stream 2, W/K; unknowns are walls and outlets.
    """
    from scipy.sparse import lil_matrix
    from scipy.sparse.linalg import spsolve

    N = 24
    number = np.arange(N * N).reshape(N, N)  # along stream 1, along stream 2
    A, b = lil_matrix((3 * N * N, 3 * N * N)), np.zeros(3 * N * N)
    for way, (film, heat) in enumerate(zip(films, C, strict=True)):
        c = heat / N
        a = -c * np.expm1(-film / (N * N * c))
        walls = number if way == 0 else number.T
        for step in range(N):
            for lane in range(N):
                wall = walls[step, lane]
                out = (1 + way) * N * N + wall
                A[out, out], A[out, wall] = c, -a
                A[wall, wall] -= a
                if step:
                    before = (1 + way) * N * N + walls[step - 1, lane]
                    A[out, before], A[wall, before] = a - c, a
                    A[wall, wall] -= along[way]
                    A[wall, walls[step - 1, lane]] += along[way]
                    A[walls[step - 1, lane], walls[step - 1, lane]] -= along[way]
                    A[walls[step - 1, lane], wall] += along[way]
                elif way == 0:
                    b[out], b[wall] = c - a, b[wall] - a
    return 1.0 - spsolve(A.tocsc(), b)[N * N : 2 * N * N].reshape(N, N)[-1].mean()


def test_conduction_along_the_metal_may_be_left_out():
    """An air core 60 mm deep conducts 0.086 of C_min along its plates (fins are cut in strips): 0.35 % is lost."""
    core = air_to_air()
    films, C = (core.film1(0.5, 378.0), core.film2(1.6, 320.0)), (505.0, 1.6 * 1006.5)
    plates = 180.0 * 2.0 * core.pairs * 0.0005
    along = plates * 0.06 / 0.42, plates * 0.42 / 0.06
    assert along[1] / 505.0 == pytest.approx(0.0855, abs=1e-3)
    still, conducting = conducting_effectiveness(films, C, (0.0, 0.0)), conducting_effectiveness(films, C, along)
    C_r = C[0] / C[1]
    exact = effectiveness_crossflow(1.0 / (1.0 / films[0] + 1.0 / films[1]) / C[0], C_r)
    assert still == pytest.approx(exact, rel=1e-3)  # 24 cells each way are so near
    assert 0.002 < 1.0 - conducting / still < 0.005


# --- pressure -----------------------------------------------------------------------------------------------------


@pytest.mark.oracle
@pytest.mark.parametrize("sigma", [0.3, 0.5, 0.7])
def test_entrance_and_exit_against_pipe_fittings(sigma):
    """fluids 1.3.1: a sudden widening is exactly K_e; its sharp contraction (0.472, 0.343, 0.180, the note says) is
    what K_c = 0.364, 0.300, 0.204 stands for, 1 to 2 % of a core's loss apart."""
    fluids = pytest.importorskip("fluids")
    narrow, wide = sigma**0.5, 1.0
    assert exit_loss(sigma) == pytest.approx(fluids.diffuser_sharp(narrow, wide), rel=1e-12)
    assert entrance_loss(sigma) == pytest.approx(fluids.contraction_sharp(wide, narrow), abs=0.11)


def test_a_core_without_change_of_density_has_plain_heads():
    """Entrance, friction and exit over the head in the core; the 1 - sigma^2 cancel."""
    assert core_loss(10.0, 2.0, 2.0, 0.5, 7.0) == pytest.approx(
        0.5 * 100.0 / 2.0 * (entrance_loss(0.5) + exit_loss(0.5) + 7.0), rel=1e-12
    )


def test_momentum_is_kept_when_nothing_else_happens():
    """Without loss coefficients and walls (sigma 1) only the momentum flux changes: G^2 (1/rho_out - 1/rho_in)."""
    found = core_loss(30.0, 1.5, 2.0, 1.0, 0.0, K_c=0.0, K_e=0.0)
    assert found == pytest.approx(900.0 * (1.0 / 2.0 - 1.0 / 1.5), rel=1e-12)


def test_outlet_density_is_that_at_the_outlet():
    core = air_to_air()
    loss = core.loss1(0.5, 423.15, 333.15, 2.5e5)
    assert loss.tank_in == loss.tank_out == 0.0
    G = 0.5 / core.free_area1
    fin = core.side1.surface
    friction = 4.0 * fin.f(core.reynolds1(0.5, 378.15)) * 0.42 / fin.hydraulic_diameter
    out = air.density(333.15, 2.5e5 - loss.core)
    sigma = core.free_area1 / (0.6 * 0.06)
    assert core_loss(G, air.density(423.15, 2.5e5), out, sigma, friction) == pytest.approx(loss.core, rel=1e-9)


def test_tank_loss_is_the_notes():
    """Heat note A4: 0.5 kg/s in 63 mm at 2.5 bar and 150 degC has a head of 6.2 kPa; 0.8 of it is lost."""
    loss = water_core().loss1(0.5, 423.15, 333.15, 2.5e5)
    assert loss.tank_in == pytest.approx(0.8 * 6200.0, rel=0.01)
    assert loss.whole == pytest.approx(loss.core + loss.tank_in + loss.tank_out, rel=1e-12)
    assert 0.35 < loss.tank_out / loss.tank_in < 0.45  # half the coefficient, four fifths of the volume, less pressure


def test_heating_costs_and_cooling_gives_back():
    core = air_to_air()
    cooled = core.loss1(0.5, 423.15, 333.15, 2.5e5).core
    heated = core.loss1(0.5, 333.15, 423.15, 2.5e5).core
    assert heated > cooled


def test_passes_cost_pressure():
    """n times the way at n times the flux; more than n^2, less than n^3 since f falls with Re."""
    one = water_core().loss2(0.6, 318.15, 325.0, 2e5, GLYCOL).core
    two = water_core(2).loss2(0.6, 318.15, 325.0, 2e5, GLYCOL).core
    assert 4.0 < two / one < 8.0


def test_throttling_is_loss_times_density():
    core = water_core()
    flow = np.array([0.0, 0.1, 0.6])
    loss = core.loss2(flow, 318.15, 318.15, 2e5, GLYCOL).whole
    assert core.throttling2(flow, 318.15, GLYCOL) == pytest.approx(loss * GLYCOL.density(318.15), rel=1e-9)
    assert loss[0] == pytest.approx(0.0, abs=1e-9)
    gas = core.loss1(0.05, 350.0, 350.0, 2.5e5).whole  # so little that the density hardly changes
    assert core.throttling1(0.05, 350.0) == pytest.approx(gas * air.density(350.0, 2.5e5), rel=1e-3)


def test_charge_loss_of_a_whole_core_grows_as_the_note_says():
    """Heat note B3: exponent 1.65 to 1.70 for the A5 air core's charge side from 0.1 to 0.6 kg/s."""
    core = air_to_air()
    flow = np.array([0.1, 0.2, 0.4, 0.6])
    x = np.diff(np.log(core.throttling1(flow, 378.0))) / np.diff(np.log(flow))
    assert np.all((x > 1.60) & (x < 1.75))  # half a digit around the note's range, and another optimum's size


def test_film_exponent_of_a_whole_core():
    """Heat note B1: eta h A ~ m^0.52 for the A5 air core's charge side, 0.1 to 0.6 kg/s."""
    film = air_to_air().film1(np.array([0.1, 0.6]), 378.0)
    assert np.log(film[1] / film[0]) / np.log(6.0) == pytest.approx(0.52, abs=0.02)


# --- refusals and ranges ------------------------------------------------------------------------------------------


def test_contradictions_are_refused():
    core = tube_core()
    with pytest.raises(BadInput, match="tube_thickness"):
        replace(core, wall_thickness=0.0004)
    with pytest.raises(BadInput, match="depth of a louvered fin"):
        replace(core.side2, length=0.04)
    with pytest.raises(BadInput, match="end bars leave no width"):
        replace(air_to_air(), end_bar=0.04)
    with pytest.raises(BadInput, match="only one side"):
        replace(water_core(2), side1=replace(water_core().side1, passes=2))
    with pytest.raises(BadInput, match="whole number"):
        replace(core.side1, passes=1.5)
    with pytest.raises(BadInput, match="so much flow cannot pass"):
        air_to_air().loss1(20.0, 423.15, 333.15, 2.5e5)


def test_ranges_are_told_for_both_streams():
    core = water_core()
    assert core.extrapolated(CHARGE, (0.6, 360.0, GLYCOL)) == []
    told = core.extrapolated(CHARGE, (0.02, 300.0, GLYCOL))
    assert len(told) == 2
    assert "Re" in told[0]
    assert "Pr" in told[1]
