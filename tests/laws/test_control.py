"""Pumps and fans under their own control: decided at samples, held between, within the band they were given."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from coldside.build.files import load_build
from coldside.build.model import Build
from coldside.duty.demand import sample
from coldside.duty.model import PhaseSpec
from coldside.parts.pump import Control
from coldside.plant.assemble import Plant, assemble
from coldside.plant.forecast import Solution, solve
from generators import session_of

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"


FAN = Control("above", 311.15, 3.0, "coolant")


@cache
def run(fan: Control = FAN) -> tuple[Plant, Solution]:
    """The Tern on water: pulls with rests, so that pump (by charge) and fans (by coolant) switch several times."""
    build = load_build(EXAMPLES / "tern" / "water.toml")
    parts = {**build.parts, "left_fan": replace(build.parts["left_fan"], control=fan)}
    build = replace(build, parts=parts)
    top = build.engine.top_speed
    pulls = PhaseSpec(
        kind="pull", on="dyno", from_speed=0.5 * top, to_speed=0.95 * top, duration=10.0, repeat=3, rest=60.0
    )
    plant = assemble(build, sample(session_of(PhaseSpec(kind="idle", duration=20.0), pulls), build))
    return plant, solve(plant)


def felt(plant: Plant, solution: Solution, device: str) -> np.ndarray:
    """Temperature that a device's control reads, at every sample."""
    k = plant.devices.index(device)
    A = plant.arrays
    if A.control_state[k] >= 0:
        return solution.scalars[:, 4 + A.control_state[k] - A.i_reading]
    at = 4 + len(plant.sensors)
    loops = [at + loop for loop in range(len(A.loop_nodes)) if A.control_loops[k, loop]]
    return solution.scalars[:, loops].max(axis=1)


def commands(plant: Plant, solution: Solution, device: str) -> np.ndarray:
    k = plant.devices.index(device)
    return plant.levels[k][solution.levels[:, k]]


def own_control(build: Build) -> list[str]:
    return [name for name, spec in build.parts.items() if getattr(spec, "control", Control("always")).mode == "above"]


@pytest.mark.parametrize("device", ["pump", "left_fan", "right_fan"])
def test_a_control_switches_only_outside_its_band(device):
    plant, solution = run()
    assert device in own_control(plant.build)
    control = plant.build.parts[device].control
    T, on = felt(plant, solution, device), commands(plant, solution, device)
    assert set(on) <= {0.0, 1.0}
    start = 1.0 if T[0] > control.threshold else 0.0  # inside the band a session starts switched off
    assert on[0] == start
    rises, falls = np.flatnonzero(np.diff(on) > 0) + 1, np.flatnonzero(np.diff(on) < 0) + 1
    assert len(rises) >= 1
    assert np.all(T[rises] > control.threshold)
    assert np.all(T[falls] < control.threshold - control.hysteresis)
    # and at every sample the state is the one that the rule gives
    assert np.all(on[T > control.threshold] == 1.0)
    assert np.all(on[T < control.threshold - control.hysteresis] == 0.0)
    band = (T <= control.threshold) & (T >= control.threshold - control.hysteresis)
    inside = np.flatnonzero(band[1:]) + 1
    assert np.array_equal(on[inside], on[inside - 1])  # inside the band nothing changes


def test_the_pump_switches_off_again():
    plant, solution = run()
    changes = np.diff(commands(plant, solution, "pump"))
    assert (changes > 0).any()
    assert (changes < 0).any()


def test_a_wider_band_switches_less_often():
    narrow, wide = (run(Control("above", 309.65, width, "coolant")) for width in (0.2, 6.0))
    count = [int(np.abs(np.diff(commands(*both, "left_fan"))).sum()) for both in (narrow, wide)]
    assert count[0] >= count[1]


def test_commands_are_held_between_samples():
    """Halved steps with the recorded commands see the same flows at every sample: none changed in between."""
    plant, solution = run()
    halved = solve(plant, parts=2, levels=solution.levels)
    assert np.array_equal(halved.levels, solution.levels)
    pump = plant.index("pump", "coolant")
    flow, on = solution.streams[:, pump, 2], commands(plant, solution, "pump")
    assert np.all(flow[on == 0.0] == 0.0)
    assert np.all(flow[on == 1.0] > 1e-2)
    np.testing.assert_allclose(halved.streams[:, pump, 2], flow, rtol=1e-4, atol=1e-12)


def test_replayed_commands_win_over_the_control():
    """`levels` replays what was recorded, whatever the temperatures say."""
    plant, solution = run()
    off = np.zeros_like(solution.levels)
    stopped = solve(plant, levels=off)
    assert not stopped.streams[:, plant.index("pump", "coolant"), 2].any()
    assert stopped.intake.max() > solution.intake.max() + 1.0


def test_a_schedule_and_a_share_of_speed_are_obeyed():
    """Phase by phase: off, half speed, on; the half-speed flow lies between (affinity)."""
    build = load_build(EXAMPLES / "tern" / "water.toml")
    build = replace(build, parts={**build.parts, "pump": replace(build.parts["pump"], control=Control("schedule"))})
    phases = [PhaseSpec(kind="idle", duration=10.0, pumps=share) for share in (0.0, 0.5, 1.0)]
    plant = assemble(build, sample(session_of(*phases), build))
    solution = solve(plant)
    flow = solution.streams[:, plant.index("pump", "coolant"), 2]
    off, half, full = (float(np.median(flow[first:last])) for first, last in ((5, 95), (105, 195), (205, 295)))
    assert off == 0.0
    assert 0.4 * full < half < 0.6 * full
