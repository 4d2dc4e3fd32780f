"""Fins, flat tubes and channels against ht, fluids, exact and numerical solutions, and their own laws."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coldside.errors import BadInput
from coldside.parts import correlations as c
from coldside.parts.surfaces import FlatTube, LouveredFin, OffsetStripFin, PlainFin, fin_efficiency

STRIP = OffsetStripFin(0.0075, 0.002, 0.00015, 0.0032)
PLAIN = PlainFin(0.0075, 0.002, 0.00015)
LOUVER = LouveredFin(0.010, 0.002, 0.0013, 0.0001, 0.0011, 0.0068, 27.0, 0.032)
TUBE = FlatTube(0.0014, 0.030)
ALL = (STRIP, PLAIN, LOUVER, TUBE)
NAMES = [type(surface).__name__ for surface in ALL]


# --- channels against exact and numerical solutions ---------------------------------------------------------------


def poisson_friction(aspect: float) -> float:
    """f Re of developed laminar flow: the exact series of the rectangular duct (Shah and London 1978, from memory)."""
    n = np.arange(1, 400, 2)
    tail = np.sum(np.tanh(n * math.pi / (2.0 * aspect)) / n**5)
    return 24.0 / ((1.0 + aspect) ** 2 * (1.0 - 192.0 * aspect / math.pi**5 * tail))


@pytest.mark.parametrize("aspect", [0.02, 0.1, 0.25, 0.5, 0.8, 1.0])
def test_laminar_friction_is_the_exact_series(aspect):
    """The polynomial is a fit good to 0.05 % (its authors' figure, from memory)."""
    assert c.laminar_friction_rectangular(aspect) == pytest.approx(poisson_friction(aspect), rel=6e-4)


@pytest.mark.parametrize("aspect", [0.25, 0.5, 1.0])
def test_laminar_film_solves_the_energy_equation(aspect):
    """Smallest eigenvalue of the energy equation over the solved velocity: Nu_T by finite differences.

    56 x 56 cells in a quarter of the duct are good to 0.1 %; the polynomial to 0.1 % (its authors' figure).
    """
    from scipy.sparse import diags, eye, kron
    from scipy.sparse.linalg import eigsh, spsolve

    def second(count: int, width: float):
        """-d2/dx2 over half a width: symmetric in the middle, zero at the wall, cell-centred."""
        step = width / count
        main = np.full(count, 2.0)
        main[0], main[-1] = 1.0, 3.0
        return diags([main, -np.ones(count - 1), -np.ones(count - 1)], [0, 1, -1]) / step**2

    count = 56
    short, long = aspect, 1.0
    laplace = (kron(second(count, short / 2), eye(count)) + kron(eye(count), second(count, long / 2))).tocsc()
    u = spsolve(laplace, np.ones(count * count))
    smallest = eigsh(laplace, k=1, M=diags(u / u.mean()).tocsc(), sigma=0.0, return_eigenvectors=False)[0]
    D_h = 2.0 * short * long / (short + long)
    assert c.nusselt_rectangular(aspect, wall="T") == pytest.approx(smallest * D_h**2 / 4.0, rel=3e-3)


@pytest.mark.oracle
@pytest.mark.parametrize("aspect", [0.0, 0.3, 1.0])
def test_uniform_flux_film_equals_ht(aspect):
    ht = pytest.importorskip("ht")
    expected = ht.Nu_laminar_rectangular_Shan_London(aspect)
    assert c.nusselt_rectangular(aspect, wall="H1") == pytest.approx(expected, rel=1e-12)


def test_an_unknown_wall_is_refused():
    with pytest.raises(BadInput, match='must be "T" or "H1"'):
        c.nusselt_rectangular(0.5, wall="H2")


def test_a_long_channel_is_developed_and_a_short_one_a_plate():
    """f Re of Shah and London far down; 3.44/sqrt(x+) at the entrance (Shah 1978, from memory)."""
    long = c.friction_channel(500.0, 1e5, 0.3)
    assert long * 500.0 == pytest.approx(c.laminar_friction_rectangular(0.3), rel=2e-3)  # K/(4 x+) is what is left
    x = 1e-4
    assert c.friction_channel(500.0, x * 500.0, 0.3) * 500.0 == pytest.approx(3.44 / math.sqrt(x), rel=0.02)


def test_apparent_friction_carries_the_profile_between():
    """Shah and London's table for parallel plates (from memory): f_app Re 39.3 to 40.0 at x+ = 0.01."""
    assert 39.0 < c.friction_channel(100.0, 1.0, 0.0) * 100.0 < 41.5


def test_turbulent_channels_are_smooth_pipes():
    """Far beyond transition, a quarter of Darcy's factor and Gnielinski's film on the hydraulic diameter."""
    assert c.friction_channel(5e4, 1e6, 0.3) == pytest.approx(0.25 * c.friction_factor(5e4), rel=1e-12)
    assert c.nusselt_channel(5e4, 6.0, 1e6, 0.3) == pytest.approx(c.nusselt_tube(5e4, 6.0, 1e6), rel=1e-12)


@settings(max_examples=60, deadline=None)
@given(st.floats(0.0, 1.0), st.floats(1.0, 3000.0), st.floats(0.7, 200.0))
def test_channels_rise_with_flow(aspect, length, Pr):
    """Film and loss (f Re^2) never fall as the flow rises, through entrance and transition."""
    Re = np.geomspace(1.0, 2e4, 400)
    film = c.nusselt_channel(Re, Pr, length, aspect)
    assert np.all(np.diff(film) >= -1e-9 * film[1:])
    loss = c.friction_channel(Re, length, aspect) * Re**2
    assert np.all(np.diff(loss) > 0.0)


# --- fins ---------------------------------------------------------------------------------------------------------


@pytest.mark.oracle
def test_a_straight_fin_is_a_ring_of_great_radius():
    """ht 1.2.0 has the annular fin (Kern and Kraus); at 2 m radius a fin of 10 mm is curved by 0.5 %, and its
    efficiency lower by a third of that."""
    ht = pytest.importorskip("ht")
    length, t, k, h = 0.01, 0.0002, 180.0, 300.0
    expected = ht.fin_efficiency_Kern_Kraus(Do=4.0, D_fin=4.0 + 2.0 * length, t_fin=t, k_fin=k, h=h)
    assert fin_efficiency(h, k, t, length) == pytest.approx(expected, rel=3e-3)


def test_a_fin_under_a_standing_film_is_whole():
    found = fin_efficiency(np.array([0.0, 1e-6, 1e-3, 1.0]), 180.0, 1e-4, 0.004)
    assert found[0] == 1.0
    assert np.all(np.diff(found) <= 0.0)


@pytest.mark.oracle
def test_strip_fin_sizes_equal_fluids():
    """fluids 1.3.1 counts the blunt edge over s - t where the paper's formula has s: t^2 in 60 mm2, 4e-4 here."""
    fluids = pytest.importorskip("fluids")
    other = fluids.RectangularOffsetStripFinExchanger(
        fin_length=STRIP.strip_length, fin_height=STRIP.height, fin_thickness=STRIP.thickness, fin_spacing=STRIP.pitch
    )
    assert STRIP.hydraulic_diameter == pytest.approx(other.Dh, rel=1e-3)
    assert STRIP.free_share == pytest.approx(other.A_channel / (STRIP.height * STRIP.pitch), rel=1e-12)


@pytest.mark.parametrize(
    ("Re", "n", "x"),
    [
        (200, 0.47, 1.26),
        (500, 0.50, 1.30),
        (1000, 0.53, 1.57),
        (2000, 0.55, 1.69),
        (4000, 0.58, 1.70),
        (8000, 0.59, 1.70),
    ],
)
def test_local_exponents_of_a_strip_fin(Re, n, x):
    """Heat note A3 [calc], two digits: half a digit and its rounding."""
    step = np.array([Re * 0.999, Re * 1.001])
    assert np.diff(np.log(STRIP.j(step) * step))[0] / math.log(1.001 / 0.999) == pytest.approx(n, abs=0.0055)
    assert np.diff(np.log(STRIP.f(step) * step**2))[0] / math.log(1.001 / 0.999) == pytest.approx(x, abs=0.0055)


@pytest.mark.parametrize("edge", [30.0, 130.0, 230.0])
def test_louver_friction_has_no_step(edge):
    below, above = LOUVER.f(edge * (1.0 - 1e-9)), LOUVER.f(edge * (1.0 + 1e-9))
    assert above == pytest.approx(below, rel=1e-6)


def test_louver_blend_is_the_notes():
    """w = 3.6 - 0.02 Re; f = sqrt(((1 + w) f_130^2 + (1 - w) f_230^2)/2), f_130 and f_230 of the blend's ends."""
    w = 3.6 - 0.02 * 180.0
    expected = math.sqrt(((1.0 + w) * LOUVER.f(130.0) ** 2 + (1.0 - w) * LOUVER.f(230.0) ** 2) / 2.0)
    assert LOUVER.f(180.0) == pytest.approx(expected, rel=1e-12)


def test_thin_louvered_fins_are_refused():
    with pytest.raises(BadInput, match="fin_thickness over fin_pitch"):
        replace(LOUVER, fin_thickness=0.019 * LOUVER.fin_pitch)


def test_sizes_that_cannot_be_are_refused():
    for make in (
        lambda: OffsetStripFin(0.0075, 0.0001, 0.00015, 0.0032),
        lambda: PlainFin(0.0003, 0.002, 0.00015),
        lambda: FlatTube(0.03, 0.002),
        lambda: replace(LOUVER, louver_length=0.0081),
        lambda: replace(LOUVER, tube_thickness=0.011),
        lambda: OffsetStripFin(0.0075, 0.002, 0.00015, 0.0),
    ):
        with pytest.raises(BadInput):
            make()


# --- every surface ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("surface", ALL, ids=NAMES)
def test_hydraulic_diameter_area_and_section_agree(surface):
    """D_h = 4 x free section x length / area by definition, whatever the surface."""
    expected = 4.0 * surface.free_share / surface.area_density
    assert surface.hydraulic_diameter == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("surface", ALL, ids=NAMES)
def test_film_and_loss_rise_with_flow_from_rest(surface):
    """Air at 350 K; finite and at least the channel's own at rest, no loss at rest."""
    G = np.concatenate([[0.0], np.geomspace(1e-4, 200.0, 300)])
    mu = 2.08e-5
    h = surface.film(G, mu, 0.7, 0.030, 0.06)
    assert np.all(np.isfinite(h))
    assert np.all(np.diff(h) >= -1e-9 * h[1:])
    assert h[0] >= 2.9 * 0.030 / surface.hydraulic_diameter  # a square channel, the poorest, has 2.976
    loss = surface.f(surface.reynolds(G, mu), 0.06) * G**2
    assert loss[0] == 0.0
    assert np.all(np.diff(loss) > 0.0)


@pytest.mark.parametrize("surface", ALL, ids=NAMES)
def test_efficiency_falls_with_film_and_keeps_to_its_share(surface):
    eta = surface.efficiency(np.array([0.0, 50.0, 500.0, 5e4]), 180.0)
    assert eta[0] == 1.0
    assert np.all(np.diff(eta) <= 0.0)
    assert eta[-1] >= 1.0 - surface.fin_share


def test_a_flat_tube_as_high_as_wide_is_a_pipe():
    pipe = FlatTube(0.01, 0.01)
    assert pipe.hydraulic_diameter == pytest.approx(0.01, rel=1e-12)
    assert pipe.free_share == pytest.approx(math.pi / 4.0, rel=1e-12)


def test_ranges_are_told():
    assert STRIP.extrapolated(800.0, 0.7) == []
    assert STRIP.extrapolated(80.0, 0.7) == ["colburn_offset_strip: Re = 80 is below 120, the range of its source"]
    assert "Pr = 20" in STRIP.extrapolated(800.0, 20.0)[0]
    assert LOUVER.extrapolated(300.0, 0.7) == []
    assert "louver_angle" in replace(LOUVER, louver_angle=40.0).extrapolated(300.0, 0.7)[0]
    assert PLAIN.extrapolated(300.0, 0.7) == TUBE.extrapolated(300.0, 30.0) == []
