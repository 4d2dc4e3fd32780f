"""The kernel against its readable twin, its own laws, and its march against closed forms."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from coldside.build.files import load_build
from coldside.duty.demand import sample
from coldside.plant import kernel, layout, reference
from coldside.plant.assemble import Plant, assemble
from coldside.plant.forecast import Solution, solve
from generators import BUNDLED, Held, gas_bench, march, short_session, water_bench

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"


@cache
def bundled(name: str) -> tuple[Plant, Solution]:
    """A bundled build over a short session, marched."""
    build = load_build(EXAMPLES / f"{name}.toml")
    plant = assemble(build, sample(short_session(build), build))
    return plant, solve(plant)


@dataclass
class Evaluated:
    """One evaluation of the compiled derivative."""

    dx: np.ndarray
    work: layout.Work


def evaluate(plant: Plant, k: int, s: float, x: np.ndarray, combo: np.ndarray) -> Evaluated:
    work, dx = layout.new_work(plant.arrays), np.full(len(x), np.nan)
    kernel.derivative(*layout.pack(plant.arrays), work.packed, k, s, x, combo, dx)
    return Evaluated(dx, work)


def states(plant: Plant, solution: Solution, seed: int) -> list[np.ndarray]:
    """The start, the hottest moment, the end, and those with every temperature moved by some kelvin."""
    random = np.random.default_rng(seed)
    found = [solution.start, solution.peak_state, solution.end]
    for x in (solution.peak_state, solution.end):
        moved = x.copy()
        moved[: plant.arrays.n_states] += random.normal(0.0, 8.0, plant.arrays.n_states)
        found.append(moved)
    return found


def agrees(plant: Plant, k: int, s: float, x: np.ndarray, combo: np.ndarray) -> None:
    """Kernel and twin within 1e-10: of each value, or of the largest of its block where terms cancel."""
    ours, twin = evaluate(plant, k, s, x, combo).dx, reference.derivative(plant.arrays, k, s, x, combo)
    A = plant.arrays
    blocks = [slice(0, A.i_feed), slice(A.i_feed, A.n_states), slice(A.n_states, len(x))]
    for block in blocks:
        scale = float(np.abs(twin[block]).max())
        np.testing.assert_allclose(ours[block], twin[block], rtol=1e-10, atol=1e-10 * scale)


@pytest.mark.parametrize("name", BUNDLED)
def test_kernel_and_twin_agree(name):
    plant, solution = bundled(name)
    combos = plant.combos(solution.levels)
    random = np.random.default_rng(5)
    for x in states(plant, solution, 1):
        for k in random.integers(0, len(combos), 8):
            agrees(plant, int(k), float(random.uniform()), x, combos[k])
    agrees(plant, len(combos) - 1, 0.0, solution.end, combos[-1])  # the last sample has no next


def all_on(plant: Plant) -> np.ndarray:
    """The command combination at which every pump and fan runs at its highest level."""
    return plant.combos(np.array([[len(levels) - 1 for levels in plant.levels]]))[0]


def reversed_loops(plant: Plant, factors: dict[str, float]) -> Plant:
    """The plant with the coolant of some links times a factor (all others as they were)."""
    A, flow = plant.arrays, plant.arrays.loop_flow.copy()
    for loop, found in enumerate(plant.loops):
        combos, n_T, links = A.loop_shape[loop]
        block = flow[A.loop_first[loop] : A.loop_first[loop] + combos * n_T * links].reshape(-1, links)
        for column, name in enumerate(found.network.names):
            block[:, column] *= factors.get(name, factors.get("*", 1.0))
    return replace(plant, arrays=A._replace(loop_flow=flow))


@pytest.mark.parametrize(
    ("name", "factors"),
    [
        ("tern/water", {"*": -1.0}),
        ("dunlin/build", {"*": -1.0}),
        ("tern/water", {"left_core": -1.0, "right_core": 3.0}),  # through a dead branch and back
        ("tern/water", {"left_hx": -0.5, "right_hx": 2.5}),
        ("tern/water", {"*": 0.0}),
    ],
)
def test_kernel_and_twin_agree_on_coolant_that_runs_backwards_or_rests(name, factors):
    plant, solution = bundled(name)
    plant = reversed_loops(plant, factors)
    combo = all_on(plant)
    for x in states(plant, solution, 2):
        for k in (0, 100, 300):
            agrees(plant, k, 0.3, x, combo)


def test_backwards_coolant_takes_its_inlet_from_the_other_end():
    plant, solution = bundled("tern/water")
    combo = all_on(plant)
    x = states(plant, solution, 3)[3]
    back = evaluate(reversed_loops(plant, {"*": -1.0}), 300, 0.0, x, combo).work
    hose, tank = plant.index("return_hose", "coolant"), plant.index("tank", "coolant")
    assert back.flow[tank] < 0.0
    A = plant.arrays
    first = A.field_first[A.passes[tank, layout.P_LIQUID]]
    assert back.T_out[tank] == x[first]  # what leaves a tank backwards is its first node
    assert back.T_in[plant.index("lid_hx", "coolant")] == pytest.approx(back.T_out[tank], abs=1e-9)
    cores = [plant.index(name, "coolant") for name in ("left_core", "right_core")]
    for core in cores:  # both cores take what leaves the return hose's upstream end
        assert back.T_in[core] == pytest.approx(back.T_out[hose], abs=1e-9)


@pytest.mark.parametrize("name", BUNDLED)
def test_no_heat_is_made_or_lost_at_any_instant(name):
    """Sum of c dT/dt = charge heat + pick-up + pump - cooling-air heat, 1e-12 of the heat handled, at any state."""
    plant, solution = bundled(name)
    A = plant.arrays
    combos = plant.combos(solution.levels)
    capacity = np.repeat(A.field_capacity, A.field_count)
    sorts = A.passes[:, layout.P_SORT]
    for x in states(plant, solution, 4):
        dx = evaluate(plant, 200, 0.5, x, combos[200]).dx
        at, n_pass, n_field = A.n_states, len(A.passes), len(A.field_first)
        heat = dx[at : at + n_pass]
        gained = heat[sorts == layout.CHARGE].sum() - heat[sorts == layout.COOLING].sum()
        gained += dx[at + n_pass : at + n_pass + 2 * n_field].sum()
        assert abs(capacity @ dx[: A.i_feed] - gained) <= 1e-12 * max(dx[-1], 1.0)
        # and what each stream gives up is its flow times cp times its own change
        work = evaluate(plant, 200, 0.5, x, combos[200]).work
        for p in np.flatnonzero((sorts != layout.COOLANT) & (A.passes[:, layout.P_WALL] >= 0)):
            cp, sign = (A.cp_charge, 1.0) if sorts[p] == layout.CHARGE else (A.cp_air, -1.0)
            own = sign * work.flow[p] * cp * (work.T_in[p] - work.T_out[p]) + work.wet_heat[p]
            assert heat[p] == pytest.approx(own, abs=1e-6)


@pytest.mark.parametrize("name", BUNDLED)
def test_the_rate_that_sets_the_sub_steps_is_the_largest_diagonal(name):
    """Each node's own pull on itself, found by moving that node alone (numerics, "Scheme").

    At frozen flows the derivative is linear, so the difference is exact; the loop's mean temperature moves the
    flows a little, hence 2 %.
    """
    plant, solution = bundled(name)
    A, combos = plant.arrays, plant.combos(solution.levels)
    x = solution.peak_state
    base = evaluate(plant, 300, 0.0, x, combos[300])
    diagonal = np.zeros(A.i_feed)
    for i in range(A.i_feed):
        moved = x.copy()
        moved[i] += 0.5
        diagonal[i] = (base.dx[i] - evaluate(plant, 300, 0.0, moved, combos[300]).dx[i]) / 0.5
    rates = np.concatenate(
        [diagonal, [1.0 / layout.FEEDBACK_TIME, 1.0 / layout.DUCT_TIME], base.work.b[A.sensor_table]]
    )
    assert base.work.rate[0] == pytest.approx(float(rates.max()), rel=0.02)


def test_sub_steps_keep_a_fast_wall_from_overshooting():
    """A wall a hundred times lighter than a core's: the march sub-steps and stays between its sources."""
    held = Held(
        charge=(0.3, 1010.0, 450.0), cooling=(1.0, 1006.0), values={"core": (0.6, 0.4)}, capacity={"core metal": 45.0}
    )
    plant = gas_bench(3.0, (4, 4), held, ambient=300.0)
    solution = march(plant)
    assert solution.substeps > 1
    streams = solution.streams[:, plant.index("core", "charge"), 1]
    assert streams.min() >= 300.0 - 1e-9
    assert streams.max() <= 450.0
    assert np.all(np.diff(streams) >= -1e-9)  # it only warms up


def test_the_march_is_of_third_order():
    """heat-T25's wall, 1.5 s in steps of 0.1 s and in halves: the error falls by eight (SSPRK(4,3))."""
    held = Held(
        charge=(500.0 / 1010.0, 1010.0, 423.15),
        coolant=(1e-4, 1000.0, 4000.0),
        values={"core": (-np.expm1(-2.4), 2600.0)},
        capacity={"core metal": 2700.0, "core coolant": 1e12},
    )
    plant = water_bench(1.5, (1, 1), held, ambient=313.15)
    tau = 2700.0 / (500.0 * -np.expm1(-2.4) + 2600.0)
    settled = 110.0 * 500.0 * -np.expm1(-2.4) * tau / 2700.0
    exact = 313.15 + settled * -np.expm1(-1.5 / tau)
    wall = plant.fields.index("core metal")
    at = plant.arrays.field_first[wall]
    errors = [abs(solve(plant, parts=parts).end[at] - exact) for parts in (1, 2, 4)]
    assert errors[0] < 1e-3
    assert errors[0] / errors[1] == pytest.approx(8.0, rel=0.25)
    assert errors[1] / errors[2] == pytest.approx(8.0, rel=0.25)


def test_two_runs_of_one_plant_are_the_same_to_the_last_bit():
    plant, first = bundled("tern/water")
    again = solve(plant)
    assert np.array_equal(first.streams, again.streams)
    assert np.array_equal(first.end, again.end)


def test_the_hottest_moment_is_under_boost_and_holds_its_own_states():
    plant, solution = bundled("tern/water")
    boost = plant.demand.boost
    assert boost[solution.peak]
    assert solution.intake[solution.peak] == solution.intake[boost].max()
    combos = plant.combos(solution.levels)
    again = evaluate(plant, solution.peak, 0.0, solution.peak_state, combos[solution.peak]).work
    assert again.charge[2] == pytest.approx(solution.intake[solution.peak], abs=1e-12)
