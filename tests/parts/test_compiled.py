"""Inner loops that have a compiled twin: both forms agree to round-off, over the whole range that a table asks for."""

from __future__ import annotations

import functools
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from coldside.errors import BadInput
from coldside.media import air, compiled, coolants
from coldside.parts import compressor, correlations, curves, rating
from coldside.parts.compressor import CompressorSpec

RNG = np.random.default_rng(7)


def both(monkeypatch: pytest.MonkeyPatch, modules: tuple[Any, ...], ask: Callable[[], Any]) -> tuple[Any, Any]:
    """What a function answers in plain NumPy and by compiled code."""
    found = []
    for at_hand in (False, True):
        for module in modules:
            monkeypatch.setattr(module, "worth_compiling", lambda points, at_hand=at_hand: at_hand)
        found.append(ask())
    return found[0], found[1]


def test_compiled_code_is_asked_for_many_points_or_where_it_is_loaded(monkeypatch):
    monkeypatch.setattr(compiled.sys, "modules", {})
    assert not compiled.worth_compiling(compiled.MANY - 1)
    assert compiled.worth_compiling(compiled.MANY)
    monkeypatch.setattr(compiled.sys, "modules", {"numba": None})
    assert compiled.worth_compiling(1)


@pytest.mark.parametrize("humidity", [0.0, 0.02])
def test_compression_with_variable_cp(monkeypatch, humidity):
    T, ratio, eta = RNG.uniform(240.0, 500.0, 400), RNG.uniform(0.7, 12.0, 400), RNG.uniform(0.3, 1.0, 400)
    plain, quick = both(monkeypatch, (air,), lambda: air.compressed_temperature(T, ratio, eta, humidity))
    assert quick == pytest.approx(plain, abs=1e-10)
    assert (quick[ratio <= 1.0] == T[ratio <= 1.0]).all()


def test_compression_past_the_break_of_the_polynomials(monkeypatch):
    plain, quick = both(monkeypatch, (air,), lambda: air.compressed_temperature(np.array([900.0, 300.0]), 3.0, 0.5))
    assert plain[0] > 1000.0  # K, where the two fits of each gas meet
    assert quick == pytest.approx(plain, abs=1e-9)


def test_speed_of_a_compressor_from_surge_to_choke_and_beyond(monkeypatch):
    machine = compressor.compressor(CompressorSpec(design_flow=0.25, design_pressure_ratio=2.2))
    flow, ratio = RNG.uniform(0.0, 0.6, 2000), RNG.uniform(0.9, 4.0, 2000)
    plain, quick = both(monkeypatch, (compressor,), lambda: machine.evaluate(flow, ratio))
    for name in ("efficiency", "corrected_speed", "surge_margin", "choke_margin", "speed_margin"):
        assert getattr(quick, name) == pytest.approx(getattr(plain, name), rel=1e-11, abs=1e-11, nan_ok=True), name
    for name in ("idle", "beyond_surge", "beyond_choke", "above_speed", "below_speed"):
        assert (getattr(quick, name) == getattr(plain, name)).all(), name
    assert plain.beyond_surge.any()
    assert plain.beyond_choke.any()
    assert plain.above_speed.any()


def test_crossflow_series(monkeypatch):
    NTU, C_r = RNG.uniform(0.0, 30.0, 500), RNG.uniform(0.0, 1.0, 500)
    plain, quick = both(monkeypatch, (correlations,), lambda: correlations.effectiveness_crossflow(NTU, C_r))
    assert quick == pytest.approx(plain, rel=1e-13)


@pytest.mark.parametrize("liquid", [0, 1, 2])
@pytest.mark.parametrize("cells", [(16, 3), (5, 13), (1, 1)])
def test_wall_cells_and_what_makes_them_exact(monkeypatch, liquid, cells):
    """The grid's heat, and the factor on the films at which it meets a heat that it can reach, or its end."""
    n = 203  # no whole number of lanes
    C1, C2 = RNG.uniform(20.0, 400.0, n), RNG.uniform(20.0, 2000.0, n)
    h1, h2 = RNG.uniform(0.3, 4.0, n) * C1, RNG.uniform(0.3, 4.0, n) * C2

    def heat(k: np.ndarray) -> np.ndarray:
        return rating._grid_heat(C1, C2, k * h1, h2, cells, liquid)

    plain, quick = both(monkeypatch, (rating,), lambda: heat(np.ones(n)))
    assert quick == pytest.approx(plain, rel=1e-13)
    asked = plain * RNG.uniform(0.9, 1.3, n)
    monkeypatch.setattr(rating, "worth_compiling", lambda points: False)
    known = rating._match(heat, asked, 1.0)
    found = rating._matched((C1, C2, h1, h2), (True, False), cells, liquid, asked, 1.0)
    ends = (known == 1.0) | (known == rating.STRONGEST_TRIED)
    assert 0 < ends.sum() < n
    assert found[ends] == pytest.approx(known[ends], rel=1e-12)
    assert heat(found)[~ends] == pytest.approx(asked[~ends], rel=1e-13)


@pytest.mark.parametrize("peak", [0.62, 0.78])
def test_the_generic_family_at_any_peak_is_tabulated_from_one_table(peak):
    spec = CompressorSpec(design_flow=0.25, design_pressure_ratio=2.2, peak_efficiency=peak)
    machine = compressor.compressor(spec)
    n, beta = np.linspace(0.45, 1.15, 9), np.linspace(0.0, 1.0, 9)
    for found, exact in zip(machine.at(n, beta), compressor.family_point(spec, n, beta), strict=True):
        assert found == pytest.approx(exact, rel=2e-4)  # the table's own step


def test_monotone_cubic(monkeypatch):
    x, y = np.array([0.0, 0.3, 0.5, 1.2]), np.array([5.0, 4.9, 2.0, -1.0])
    slope, at = curves.knot_slopes(x, y), RNG.uniform(0.0, 1.2, (40, 10))
    at[0, :4] = x
    plain, quick = both(monkeypatch, (curves,), lambda: curves.hermite(x, y, slope, at))
    for one, two in zip(plain, quick, strict=True):
        assert two == pytest.approx(one, rel=1e-13, abs=1e-13)
        assert two.shape == at.shape


def test_falling_curve_forwards_backwards_beyond_and_stopped(monkeypatch):
    """The affinity laws and both continuations, as the plain form has them."""
    curve = curves.FallingCurve.through(((0.0, 50e3), (3e-4, 42e3), (6e-4, 20e3), (8e-4, 0.0)))
    Q, w = RNG.uniform(-4e-4, 2e-3, 200), RNG.uniform(0.0, 1.0, 200)
    w[:20], Q[:10] = 0.0, 0.0
    plain, quick = both(monkeypatch, (curves,), lambda: curve.at(Q, w))
    for one, two in zip(plain, quick, strict=True):
        assert two == pytest.approx(one, rel=1e-12, abs=1e-6)


@pytest.mark.parametrize("name", ["water", "ethylene glycol 50 % by volume", "methanol 30 % by volume", "engine oil"])
def test_coolants(monkeypatch, name):
    """Every property from near freezing to beyond where it is held; a temperature that cannot be is refused alike."""
    coolant, T = coolants.parse_coolant(name), RNG.uniform(250.0, 480.0, (30, 4))
    for of in (coolant.density, coolant.cp, coolant.conductivity, coolant.viscosity):
        plain, quick = both(monkeypatch, (coolants,), functools.partial(of, T))
        assert quick == pytest.approx(plain, rel=1e-13)
    T[3, 1] = np.nan
    with pytest.raises(BadInput, match="temperature of"):
        coolant.density(T)
