"""A face at a standstill: films against the reference library `ht`, and the default pick-up that they explain."""

from __future__ import annotations

import fluids
import ht
import pytest

from coldside.errors import BadInput
from coldside.media import air
from coldside.parts import standstill
from coldside.parts.exchanger import AirCoreSpec
from coldside.parts.fields import field_of


@pytest.mark.parametrize("T_face", [310.0, 333.15, 368.15, 420.0])
def test_natural_convection_equals_that_of_the_library(T_face):
    T = 0.5 * (T_face + 308.15)
    rho, mu, k = float(air.density(T, 101325.0)), float(air.viscosity(T)), float(air.conductivity(T))
    Gr = fluids.core.Grashof(L=0.3, beta=1.0 / T, T1=T_face, T2=308.15, rho=rho, mu=mu)
    Nu = ht.conv_free_immersed.Nu_vertical_plate_Churchill(float(air.prandtl(T)), Gr)
    # the same formula; rounding of g (9.80665 in both) and of nothing else
    assert standstill.convection_film(T_face, 308.15, 0.3) == pytest.approx(Nu * k / 0.3, rel=1e-6)


def test_radiation_equals_that_of_the_library():
    q = ht.radiation.q_rad(emissivity=0.85, T=368.15, T2=308.15)
    assert standstill.radiation_film(368.15, 308.15) == pytest.approx(q / 60.0, rel=2e-6)  # digits of sigma
    # equal temperatures have a film too: 4 e sigma T^3
    assert standstill.radiation_film(300.0, 300.0, 1.0) == pytest.approx(4 * 5.670374e-8 * 300.0**3)


def test_the_default_pickup_of_an_air_core_is_of_that_size():
    meta = field_of(AirCoreSpec, "pickup")
    default = next(f.default for f in AirCoreSpec.__dataclass_fields__.values() if f.name == "pickup")
    found = standstill.face_conductance(0.18, 0.3, 308.15, 368.15)
    assert abs(found - default) < (meta.sd_share or 0.0) * default


def test_refusals():
    with pytest.raises(BadInput, match="height"):
        standstill.convection_film(320.0, 300.0, 0.0)
    with pytest.raises(BadInput, match="emissivity"):
        standstill.radiation_film(320.0, 300.0, 1.2)
    with pytest.raises(BadInput, match="area"):
        standstill.face_conductance(-0.1, 0.3, 300.0, 368.0)
