"""Tables of coefficients and flows against the exact functions they were sampled from."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from coldside.build.files import load_build
from coldside.duty.demand import sample
from coldside.plant import layout, reference, tables
from coldside.plant.assemble import HOTTEST, Plant, assemble
from coldside.plant.flows import charge_split
from coldside.plant.forecast import Solution, solve
from coldside.plant.tables import gas_share
from generators import BUNDLED, short_session

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"


@cache
def bundled(name: str) -> tuple[Plant, Solution]:
    build = load_build(EXAMPLES / f"{name}.toml")
    plant = assemble(build, sample(short_session(build), build))
    return plant, solve(plant)


def reach(plant: Plant, k: int, axis: int) -> float:
    """Highest flow of a table's axis, kg/s."""
    A = plant.arrays
    nodes = A.table_shape[k, 1 + axis] - 2  # without the padding
    return float(A.table_scale[k, axis] * ((nodes - 1) * A.table_step[k, 1 + axis]) ** 2)


def at(plant: Plant, k: int, m1: float, m2: float, T: float) -> tuple[float, float]:
    """Both values of table k by the twin's interpolation."""
    A = plant.arrays
    one, two = A.table_flow[k]
    flow, charge = np.zeros(len(A.passes)), 0.0
    if one == layout.TOTAL_CHARGE:
        charge = m1
    else:
        flow[one] = m1
    if two >= 0:
        flow[two] = m2
    found = reference.Flows(flow, charge, 300.0, np.full(max(len(A.loop_nodes), 1), T), np.zeros(len(A.field_first)))
    a, b = reference.coefficients(A, found)
    return float(a[k]), float(b[k])


@pytest.mark.parametrize("name", BUNDLED)
def test_tables_agree_with_the_exact_functions_at_random_flows(name):
    """Off the nodes, over the whole range a session can reach, from 5 % of the bench flow upwards.

    A gas share within 1e-3 of its largest value.  A liquid film within 3 %, 5e-3 rms: where the cells'
    correction fades or meets its limit its surface bends within one table cell; the film is the smaller part
    of the resistance there.  What it comes to in intake temperature is held by the next test.
    """
    plant, _ = bundled(name)
    A, random = plant.arrays, np.random.default_rng(11)
    low = max(A.inputs[0, layout.IN_AMBIENT] - 2.0, 280.0)
    for k, coefficient in enumerate(plant.coefficients):
        most = [reach(plant, k, 0), reach(plant, k, 1) if A.table_flow[k, 1] >= 0 else 0.0]
        scale = (coefficient.scale1, coefficient.scale2)
        m = [
            random.uniform(min(0.05 * s, 0.5 * top), top, 40) if top > 0.0 else np.zeros(40)
            for s, top in zip(scale, most, strict=True)
        ]
        T = random.uniform(low, HOTTEST, 40)
        a, b, _ = coefficient.exact(m[0], m[1], T)
        got = np.array([at(plant, k, *point) for point in zip(m[0], m[1], T, strict=True)])
        for exact, column in ((a, 0), (b, 1)):
            off = np.abs(got[:, column] - exact) / max(float(np.abs(exact).max()), 1e-12)
            worst, rms = (3e-2, 5e-3) if is_liquid(plant, k, column) else (1e-3, 1e-4)
            assert off.max() < worst, (k, column)
            assert np.sqrt(np.mean(off**2)) < rms, (k, column)


def is_liquid(plant: Plant, k: int, side: int) -> bool:
    """True if that value of table k is a liquid film's conductance."""
    rows = plant.arrays.passes
    mine = (rows[:, layout.P_TABLE] == k) & (rows[:, layout.P_SIDE] == side) & (rows[:, layout.P_LIQUID] >= 0)
    return bool(mine.any())


@pytest.mark.parametrize("name", BUNDLED)
def test_tables_move_the_charge_out_of_the_cores_by_less_than_a_hundredth_of_a_kelvin(name):
    """Definitions: tables in the kernel agree with exact functions within 0.01 K of intake temperature.

    At samples of a session, the states as they are: the gas walks once with tabulated, once with exact coefficients.
    """
    plant, solution = bundled(name)
    A = plant.arrays
    combos = plant.combos(solution.levels)
    boost = np.flatnonzero(plant.demand.boost)
    for k in boost[:: max(len(boost) // 12, 1)]:
        found = reference.flows(A, int(k), 0.0, solution.peak_state, combos[k])
        a, b = reference.coefficients(A, found)
        exact = exact_coefficients(plant, found)
        around = reference.surroundings_at(A, k)
        x = solution.peak_state[: A.n_states, None]
        tabulated, true = (reference.heats(A, found, *pair, around, x).plenum[0] for pair in ((a, b), exact))
        assert abs(tabulated - true) < 0.01


def exact_coefficients(plant: Plant, found: reference.Flows) -> tuple[np.ndarray, np.ndarray]:
    """Both values of every coefficient, exact."""
    A = plant.arrays
    a, b = np.zeros(len(plant.coefficients)), np.zeros(len(plant.coefficients))
    for k, coefficient in enumerate(plant.coefficients):
        one, two = A.table_flow[k]
        first = found.charge if one == layout.TOTAL_CHARGE else abs(found.flow[one])
        second = abs(found.flow[two]) if two >= 0 else 0.0
        T = found.loop_T[A.table_loop[k]] if A.table_loop[k] >= 0 else A.inputs[0, layout.IN_AMBIENT]
        values = coefficient.exact(np.array([first]), np.array([second]), np.array([T]))
        a[k], b[k] = values[0][0], values[1][0]
    return a, b


@pytest.mark.parametrize("name", BUNDLED)
def test_tabulated_flows_agree_with_the_networks(name):
    """Coolant within 1e-3, air within 2e-3 of the largest flow, charge shares within 1e-4, off the nodes.

    Air is tabulated against the root of air speed; its bend at a standstill, where draught takes over, is the worst.
    """
    plant, solution = bundled(name)
    A, random = plant.arrays, np.random.default_rng(3)
    combos, levels = plant.combos(solution.levels), solution.levels
    for k in random.integers(0, len(combos) - 1, 12):
        x = solution.end.copy()
        x[: A.i_boss] = random.uniform(A.inputs[0, layout.IN_AMBIENT], A.inputs[0, layout.IN_AMBIENT] + 40.0)
        found = reference.flows(A, int(k), 0.0, x, combos[k])
        command = {name: plant.levels[d][levels[k, d]] for d, name in enumerate(plant.devices)}
        for i, loop in enumerate(plant.loops):
            q, heat = loop.flow(plant.build, found.loop_T[i : i + 1], {n: np.array([command[n]]) for n in loop.pumps})
            for p in of_path(plant, layout.COOLANT, i):
                expected = q[0, A.passes[p, layout.P_COLUMN]] * A.loop_density[i]
                assert found.flow[p] == pytest.approx(expected, abs=1e-3 * np.abs(q).max() * A.loop_density[i])
            assert found.pump.sum() == pytest.approx(heat.sum(), rel=2e-3, abs=1e-9)
        for i, duct in enumerate(plant.ducts):
            V = np.maximum(plant.demand.air_speed[duct.duct.name][k : k + 1], 0.0)
            m = duct.flow(
                plant.build,
                V,
                x[A.i_duct + i : A.i_duct + i + 1],
                {n: np.array([command[n]]) for n in duct.fans},
                plant.around,
            )
            for p in of_path(plant, layout.COOLING, i):
                assert found.flow[p] == pytest.approx(m[0, A.passes[p, layout.P_COLUMN]], abs=2e-3 * max(m.max(), 0.3))
        _, split, _ = charge_split(
            plant.build, plant.charge.after, np.array([max(found.charge, 1e-6)]), plant.charge.peak_flow
        )
        for p in of_path(plant, layout.CHARGE, 0):
            assert found.flow[p] == pytest.approx(split[0, A.passes[p, layout.P_COLUMN]], rel=1e-4, abs=1e-6)


def of_path(plant: Plant, sort: int, path: int) -> np.ndarray:
    rows = plant.arrays.passes
    return np.flatnonzero((rows[:, layout.P_SORT] == sort) & (rows[:, layout.P_PATH] == path))


@pytest.mark.parametrize("name", BUNDLED)
def test_charge_flow_between_three_plenum_temperatures_is_the_balance(name):
    """The parabola through 3 plenum temperatures against the balance itself: 5e-4 of flow, 1.2 K of outlet.

    Efficiency near the edges of a map bends faster than a parabola; 1.2 K at the compressor is 0.1 to 0.3 K at
    the plenum for the second that a pull takes through a temperature.
    """
    plant, solution = bundled(name)
    A = plant.arrays
    boost = np.flatnonzero(plant.demand.boost)
    for k in boost[:: max(len(boost) // 6, 1)]:
        for T in A.inputs[0, layout.IN_AMBIENT] + np.array([-12.0, 0.0, 25.0, 40.0, 60.0]):
            x = solution.end.copy()
            x[A.i_feed] = T
            found = reference.flows(A, int(k), 0.0, x, plant.combos(solution.levels)[k])
            d = plant.demand
            inlet = np.round(plant.charge.inlet_temperature(d.bay_temperature[k : k + 1]), 2)
            state = plant.charge.balance(d.engine_speed[k : k + 1], d.plenum_target[k : k + 1], np.array([T]), inlet)
            assert found.charge == pytest.approx(float(state.flow[0]), rel=5e-4)
            assert found.T_charge == pytest.approx(float(state.compressor_out[0]), abs=1.2)


# --- small things -------------------------------------------------------------------------------------------------


def test_gas_at_rest_takes_on_its_wall_s_temperature():
    share = gas_share(np.array([10.0, 10.0, 0.0]), np.array([0.0, 1e9, 5.0]))
    assert share == pytest.approx([1.0, 1e-8, 0.0], abs=1e-9)


def test_a_table_s_padding_carries_a_parabola_through():
    """Catmull-Rom over padded nodes is exact for parabolas in sqrt(flow) up to both ends."""

    def exact(m1, m2, T):
        u = np.sqrt(m1)
        return 3.0 + 2.0 * u - 0.5 * u * u + 0.0 * T, 1.0 + u + 0.0 * T, np.zeros_like(u)

    coefficient = tables.Coefficient(exact, 1.0, 0.0, False)
    table = tables.tabulate(coefficient, (2.0, 0.0), (300.0, 310.0))
    assert table.shape[1] == tables.FULL.single + 2
    u = table.step[1] * np.arange(-1, tables.FULL.single + 1)
    np.testing.assert_allclose(table.a.ravel(), 3.0 + 2.0 * u - 0.5 * u * u, rtol=1e-9)
    np.testing.assert_allclose(table.b.ravel(), 1.0 + u, rtol=1e-9)
