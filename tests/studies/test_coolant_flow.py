"""The study of coolant flow: the figures of the design note, where the optimum lies, and that the page is current."""

from __future__ import annotations

import importlib
import re
import sys
import xml.etree.ElementTree as ElementTree

import numpy as np
import pytest

from coldside.parts.correlations import effectiveness_counterflow, effectiveness_crossflow


@pytest.fixture(scope="module")
def study(examples):
    """The script as a module, with the one beside it that it takes its exchangers from."""
    sys.path.insert(0, str(examples / "studies"))
    yield importlib.import_module("coolant_flow")
    sys.path.remove(str(examples / "studies"))
    for name in ("coolant_flow", "quarter_volume"):
        sys.modules.pop(name, None)


def test_fixed_conductances_in_counterflow(study):
    """Loop note g5, effectiveness by heat capacity flow: three digits stated."""
    pair = (study.CORE, study.EXCHANGER)
    for C_loop, expected in ((600.0, 0.718), (1154.0, 0.777), (3000.0, 0.746), (40000.0, 0.703)):
        found = study.coupled(C_loop, study.C_OUTSIDE, pair, effectiveness_counterflow)
        assert found == pytest.approx(expected, abs=6e-4)


def test_the_optimum_in_counterflow_is_the_notes(study):
    """1154 W/K, 19.6 L/min; the summit is so flat that 0.6 % beside it nothing changes in the sixth digit."""
    flow, over_ambient = study.optimum(effectiveness_counterflow)
    assert float(study.capacity(flow)) == pytest.approx(1154.0, rel=0.01)
    assert flow == pytest.approx(19.6, abs=0.15)
    assert over_ambient == pytest.approx(138.0 * (1.0 - 0.777), abs=0.05)


def test_the_optimum_in_crossflow_is_not_the_notes(study):
    """The note has 26 L/min, which is the optimum of the approximate crossflow formula that it forbids elsewhere
    (heat note A1); with the exact one it is 31.6."""

    def approximate(NTU, C_r):
        return 1.0 - np.exp(NTU**0.22 / C_r * np.expm1(-C_r * NTU**0.78))

    assert study.optimum(approximate)[0] == pytest.approx(26.0, abs=0.5)
    assert study.optimum(effectiveness_crossflow)[0] == pytest.approx(31.6, abs=0.1)


def test_films_that_grow_flatten(study):
    """Loop note g5, charge over ambient by L/min; its crossflow was approximate: up to 0.45 K beside the exact."""
    flows = np.array([8.0, 12.0, 16.0, 20.0, 30.0, 40.0, 60.0])
    noted = np.array([81.8, 73.2, 67.9, 64.6, 60.2, 57.4, 54.6])
    found = study.growing(flows)
    np.testing.assert_allclose(found, noted, atol=0.45)
    assert found[1] - found[3] == pytest.approx(8.6, abs=0.1)
    assert found[5] - found[6] == pytest.approx(2.9, abs=0.35)
    many = study.growing(np.geomspace(5.0, 1000.0, 300))
    assert np.all(np.diff(many) < 0.0)  # no optimum


def test_an_endless_flow_is_a_melting_bath(study):
    """C_loop -> infinity: both exchangers see one temperature, 1 - exp(-NTU) each, heat between them in series."""
    C_charge, C_out = study.C_CHARGE, study.C_OUTSIDE
    a = C_charge * -np.expm1(-study.CORE / C_charge)
    b = C_out * -np.expm1(-study.EXCHANGER / C_out)
    expected = 138.0 * (1.0 - 1.0 / (1.0 / a + 1.0 / b) / C_charge)
    for relation in (effectiveness_counterflow, effectiveness_crossflow):
        assert study.fixed(1e9, relation) == pytest.approx(expected, rel=1e-5)


def test_from_fins_and_tubes_it_flattens_too(study):
    found = study.from_geometry(np.array([12.0, 20.0, 40.0, 60.0]))
    assert np.all(np.diff(found) < 0.0)
    assert found[0] - found[1] > 4.0 * (found[2] - found[3])


def test_page_and_figure_are_current(study, root):
    """Run `python examples/studies/coolant_flow.py` after a change; figures may move in their last digit."""
    for name, made in (("coolant-flow.md", study.page()), ("figures/coolant-flow.svg", study.figure())):
        kept = (root / "docs" / name).read_text(encoding="utf-8")
        number = r"-?\d+\.\d+"
        assert re.split(number, kept) == re.split(number, made), name
        pairs = zip(re.findall(number, kept), re.findall(number, made), strict=True)
        assert all(abs(float(a) - float(b)) < 0.11 for a, b in pairs), name


def test_the_figure_is_whole(study):
    """Well-formed, four lines, both optima, every label inside the drawing."""
    drawing = ElementTree.fromstring(study.figure())
    name = "{http://www.w3.org/2000/svg}"
    assert len(drawing.findall(f"{name}path")) == 4
    assert len(drawing.findall(f"{name}circle")) == 2
    for words in drawing.findall(f"{name}text"):
        assert 0.0 < float(words.get("x")) < study.WIDE
        assert 0.0 < float(words.get("y")) < study.HIGH
