"""Sentences on pumps in thick coolant."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from coldside.build.model import names_on
from coldside.judge.pumps import thick_coolant
from coldside.parts.pump import PumpSpec
from judge import made


def cold(T: float, coolant: str):
    """A made session whose pumps draw in coolant at `T` [K]."""
    base = made.forecast()
    loops = {name: replace(loop, coolant=coolant) for name, loop in base.build.loops.items()}
    build = replace(base.build, loops=loops)
    pumps = [n for loop in loops.values() for n in names_on(loop.path) if isinstance(build.parts[n], PumpSpec)]
    inlet = {**base.inlet, **{(name, "coolant"): np.full_like(base.time, T) for name in pumps}}
    return replace(base, build=build, inlet=inlet), pumps


@pytest.mark.parametrize(
    ("T", "coolant", "said"),
    [(258.15, "ethylene glycol 50 % by volume", True), (303.15, "ethylene glycol 50 % by volume", False),
     (274.15, "water", False), (258.15, "engine oil", False)],
)  # fmt: skip
def test_thick_coolant_is_told(T, coolant, said):
    """Half glycol at -15 degC has about 15 mm2/s (Melinder 2010, through CoolProp), water near freezing 1.8."""
    forecast, pumps = cold(T, coolant)
    assert pumps
    found = [sentence.words() for sentence in thick_coolant(forecast)]
    assert len(found) == (len(pumps) if said else 0)
    if said:
        assert "runs in coolant of -15 degC, 8 times as thick as at 40 degC" in found[0]


def test_a_pump_that_never_runs_is_not_told_of():
    forecast, pumps = cold(258.15, "ethylene glycol 50 % by volume")
    still = {**forecast.command, **{name: np.zeros_like(forecast.time) for name in pumps}}
    assert thick_coolant(replace(forecast, command=still)) == []
