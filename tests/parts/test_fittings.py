"""Loss coefficients of fittings against the reference library `fluids`, and their limits."""

from __future__ import annotations

import math
import re

import fluids.fittings
import pytest

from coldside.errors import BadInput
from coldside.parts import fittings
from coldside.parts.fields import field_of
from coldside.parts.lines import HoseSpec, PipeSpec


@pytest.mark.parametrize("radius", [0.7, 1.0, 3.0, 8.0])
@pytest.mark.parametrize("angle", [20.0, 45.0, 90.0, 180.0])
def test_swept_bends_equal_those_of_the_library(radius, angle):
    theirs = fluids.fittings.bend_rounded(Di=0.02, angle=angle, fd=0.03, bend_diameters=radius, method="Rennels")
    # the same formula: rounding remains
    assert fittings.swept_bend_loss(radius, math.radians(angle), 0.03) == pytest.approx(theirs, rel=1e-12)


@pytest.mark.parametrize("bore", [0.008, 0.01905, 0.0254, 0.1])
def test_turbulent_friction_equals_that_of_the_library(bore):
    # the same equation; the library takes a step or two of an explicit form of it
    assert fittings.turbulent_friction(bore) == pytest.approx(fluids.fittings.ft_Crane(bore), rel=1e-5)
    theirs = fluids.fittings.bend_miter(angle=90.0, Di=bore, method="Crane")
    assert fittings.fitting_loss("mitre", bore) == pytest.approx(theirs, rel=1e-5)


@pytest.mark.parametrize("small", [0.008, 0.012, 0.0189])
def test_steps_of_bore_equal_those_of_the_library(small):
    assert fittings.enlargement_loss(small, 0.019) == pytest.approx(fluids.fittings.diffuser_sharp(small, 0.019))
    theirs = fluids.fittings.contraction_sharp(0.019, small, method="Rennels")
    assert fittings.contraction_loss(0.019, small) == pytest.approx(theirs, rel=1e-9)


def test_limits():
    assert fittings.swept_bend_loss(3.0, 0.0, 0.03) == 0.0
    assert fittings.enlargement_loss(0.02, 0.02) == 0.0
    assert fittings.contraction_loss(0.02, 0.02) == pytest.approx(0.0, abs=1e-12)
    assert fittings.enlargement_loss(1e-6, 1.0) == pytest.approx(fittings.EXIT)
    assert fittings.contraction_loss(1.0, 1e-6) == pytest.approx(fittings.ENTRANCE, rel=0.005)  # a sharp entrance


def test_refusals():
    with pytest.raises(BadInput, match='nearest: "screwed elbow"'):
        fittings.fitting_loss("screwed elbo", 0.02)
    with pytest.raises(BadInput, match="larger bore"):
        fittings.enlargement_loss(0.02, 0.01)
    with pytest.raises(BadInput, match="bore"):
        fittings.turbulent_friction(0.0)


def numbers_in(spec: type, what: str) -> list[float]:
    """Figures that the help of a line's `losses` names behind a colon."""
    return [float(text) for text in re.findall(r"\d+\.\d", field_of(spec, "losses").help.partition(what)[2])]


def test_the_figures_that_a_hose_is_explained_with_are_these():
    said = numbers_in(HoseSpec, "velocity head:")
    found = [
        fittings.swept_bend_loss(3.0, math.pi / 2, 0.03),
        fittings.fitting_loss("screwed elbow", 0.019),
        fittings.fitting_loss("tee, straight through", 0.019),
        fittings.fitting_loss("mitre", 0.019),
    ]
    assert said == pytest.approx(found, abs=0.05)  # one decimal


def test_the_figures_that_a_pipe_is_explained_with_are_these():
    swept, bores, tight, mitred = numbers_in(PipeSpec, "velocity head:")
    friction = 0.015  # a smooth tube at Re 1e5 and above
    assert fittings.swept_bend_loss(bores, math.pi / 2, friction) == pytest.approx(swept, abs=0.05)
    assert fittings.swept_bend_loss(6.0, math.pi / 2, friction) == pytest.approx(swept, abs=0.05)
    assert fittings.swept_bend_loss(1.0, math.pi / 2, friction) == pytest.approx(tight, abs=0.05)
    assert fluids.fittings.bend_miter(angle=90.0, Di=0.06, Re=2e5, method="Rennels") == pytest.approx(mitred, abs=0.05)
