"""Coolant on its way: check cases of tanks, hoses and stagnant cores, through real plants at stated flows."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from cases.loops import THERMAL
from cases.record import failures
from generators import TANK, Held, line_bench, march


@pytest.mark.parametrize("case", THERMAL, ids=[case.name for case in THERMAL])
def test_case(case):
    assert failures(case) == []


def outlet_after_step(count: int) -> np.ndarray:
    """Tank of `count` nodes, turned over in 10 s: outlet after a unit step at the inlet, every 0.1 s."""
    tank = replace(TANK, volume=2.5e-3, nodes=count)
    held = Held(
        coolant=(2.5e-4, 1000.0, 4000.0),
        capacity={"pump coolant": 1.0, "tank coolant": 1e4},
        start={"source coolant": 301.0},
    )
    plant = line_bench(20.0, {"tank": tank}, held, ambient=300.0)
    return march(plant).streams[:, plant.index("tank", "coolant"), 1] - 300.0


def test_one_node_is_mixed_and_many_are_plug_flow():
    """Limits of the tank (loop note b1): 1 - exp(-theta), and a step at theta = 1 with a spread of 1/sqrt(N)."""
    theta = np.arange(201) / 100.0
    np.testing.assert_allclose(outlet_after_step(1), -np.expm1(-theta), atol=2e-6)  # third order in 0.1 of 10 s
    plug = outlet_after_step(400)
    assert np.all(plug[theta < 0.85] < 2e-3)  # three spreads of 0.05
    assert np.all(plug[theta > 1.15] > 1.0 - 3e-3)
    assert np.all(np.diff(plug) >= -1e-12)  # a step never rings


def test_backwards_the_same_hose_delays_the_same():
    """A tank passed from its other end: the answer is the same by symmetry, cell for cell."""
    tank = replace(TANK, volume=2.5e-3, nodes=12)
    answers = []
    for flow, names in ((2.5e-4, ("tank", "after")), (-2.5e-4, ("before", "tank"))):
        loop = {name: tank if name == "tank" else TANK for name in names}
        held = Held(
            coolant=(flow, 1000.0, 4000.0),
            capacity={"pump coolant": 1.0, "tank coolant": 1e4, "before coolant": 1.0, "after coolant": 1.0},
            start={"source coolant": 301.0},
        )
        plant = line_bench(20.0, loop, held, ambient=300.0)
        answers.append(march(plant).streams[:, plant.index("tank", "coolant"), 1])
    # backwards the step comes through the pump, which holds 1 J/K: 1 ms
    np.testing.assert_allclose(answers[0], answers[1], atol=2e-3)
