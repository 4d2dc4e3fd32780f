"""What a build carries beside its coolant, by hand."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from coldside.build.files import load_build
from coldside.explore.inventory import inventory
from coldside.parts.injection import InjectionSpec

WATER = load_build(Path(__file__).parents[2] / "examples" / "tern" / "water.toml")


def having(**parts):
    return replace(WATER, parts={**WATER.parts, **parts})


def test_the_water_of_a_spray_ice_and_what_is_injected_count():
    """0.6 L/min for ten minutes are 6 L of 998.2 kg/m3; 4 L of water; 5 kg of ice."""
    dry = inventory(WATER)
    assert dry.carried == 0.0
    face = replace(WATER.parts["lid_hx"], spray=1e-5)
    assert inventory(having(lid_hx=face)).carried == pytest.approx(6e-3 * 998.2)
    assert inventory(having(lid_hx=replace(face, spray_tank=3e-3))).carried == pytest.approx(3e-3 * 998.2)
    assert inventory(having(lid_hx=replace(face, spray_when="off"))).carried == 0.0
    assert inventory(having(mist=InjectionSpec(flow=5e-6, tank=4e-3))).carried == pytest.approx(4.0, rel=0.01)
    iced = inventory(having(tank=replace(WATER.parts["tank"], ice=5.0)))
    assert iced.carried == 5.0
    assert iced.mass == pytest.approx(dry.mass + 5.0)
