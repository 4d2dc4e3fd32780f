"""The kernel's march against outside integrators of the same right-hand side: CVODE, LSODA, an explicit pair.

The full table, every session on every build, is printed by `python bench/run.py errors`; here a minute and a half.
"""

from __future__ import annotations

import importlib.util
import sys
from dataclasses import replace
from functools import cache
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from coldside.build.files import load_build
from coldside.duty.demand import sample
from coldside.duty.model import ReadingSpec
from coldside.plant.assemble import Plant, assemble
from coldside.plant.forecast import Solution, solve
from generators import BUNDLED, short_session

pytestmark = pytest.mark.oracle
ROOT = Path(__file__).resolve().parents[2]


@cache
def oracles() -> ModuleType:
    """bench/oracles.py, which the benchmark shares."""
    spec = importlib.util.spec_from_file_location("bench_oracles", ROOT / "bench" / "oracles.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


@cache
def run(name: str) -> tuple[Plant, Solution, float]:
    """Plant, march, and the step check: largest change of intake temperature when every step is halved."""
    build = load_build(ROOT / "examples" / f"{name}.toml")
    plant = assemble(build, sample(short_session(build), build))
    solution = solve(plant)
    halved = solve(plant, parts=2, levels=solution.levels)
    return plant, solution, float(np.abs(halved.intake - solution.intake).max())


def states_by(name: str, method) -> np.ndarray:
    plant, solution, _ = run(name)
    return oracles().Oracle(plant, solution).run(method)


@cache
def exact(name: str) -> np.ndarray:
    """States at every sample by CVODE (BDF) at rtol 1e-10, commands replayed, restarted where they change."""
    pytest.importorskip("sksundae")
    return states_by(name, oracles().cvode(1e-10))


def intake(name: str, states: np.ndarray) -> np.ndarray:
    plant, solution, _ = run(name)
    return oracles().Oracle(plant, solution).intake(states)


@pytest.mark.parametrize("name", BUNDLED)
def test_the_step_check_tells_the_error(name):
    """Definitions, "Health and step check": error against CVODE at rtol 1e-10 <= 2 step_check + 0.002 K, and 0.02 K."""
    _, solution, step_check = run(name)
    error = float(np.abs(intake(name, exact(name)) - solution.intake).max())
    assert error <= 2.0 * step_check + 0.002
    assert error <= 0.02
    assert error > 1e-9  # the oracle is another integrator: an error of nothing would be ours compared with ours


@pytest.mark.parametrize("name", BUNDLED)
def test_the_outside_integrators_agree_with_one_another(name):
    """LSODA at rtol 1e-9, and CVODE's Adams formulas, against BDF: 1e-4 K, far closer than we are asked."""
    for method in (oracles().lsoda(1e-9), oracles().cvode(1e-10, "ADAMS")):
        assert np.abs(intake(name, states_by(name, method)) - intake(name, exact(name))).max() <= 1e-4


def test_an_explicit_pair_restarted_at_every_sample_agrees():
    """SciPy's RK45 (Dormand and Prince) at rtol 1e-9 on the Tern, interval by interval: no kink in a step."""
    from scipy.integrate import solve_ivp

    plant, solution, step_check = run("tern/water")
    oracle = oracles().Oracle(plant, solution)
    last = 230  # idle, a pull, and the fans' first switching
    y = plant.start[: oracle.n].copy()
    found = [y]
    for oracle.first in range(last):
        oracle.last = oracle.first + 1
        times = plant.arrays.step * np.array([oracle.first, oracle.last])
        answer = solve_ivp(lambda t, x: oracle.rhs(t, x).copy(), times, y, rtol=1e-9, atol=1e-9)
        y = answer.y[:, -1]
        found.append(y)
    ours = solution.intake[: last + 1]
    theirs = intake("tern/water", np.array(found))[: last + 1]
    assert np.abs(theirs - ours).max() <= 2.0 * step_check + 0.002
    np.testing.assert_allclose(theirs, intake("tern/water", exact("tern/water"))[: last + 1], atol=1e-4)


def test_every_state_is_right_not_only_the_intake():
    """All metal, coolant and sensor states at the end of the session, Tern on water: 0.02 K."""
    plant, solution, _ = run("tern/water")
    n = plant.arrays.n_states
    np.testing.assert_allclose(solution.end[:n], exact("tern/water")[-1], atol=0.02)


def test_the_step_check_tells_the_error_while_the_air_moves():
    """The same bound as in still air, with the shade warming by 14 K and cooling again within the session."""
    pytest.importorskip("sksundae")
    build = load_build(ROOT / "examples" / "tern" / "water.toml")
    session = short_session(build)
    readings = (
        ReadingSpec(at=40.0, temperature=session.ambient.temperature + 14.0),
        ReadingSpec(at=90.0, temperature=295.0),
    )
    plant = assemble(build, sample(replace(session, readings=readings), build))
    solution = solve(plant)
    halved = solve(plant, parts=2, levels=solution.levels)
    oracle = oracles().Oracle(plant, solution)
    error = float(np.abs(oracle.intake(oracle.run(oracles().cvode(1e-10))) - solution.intake).max())
    assert 1e-9 < error <= 2.0 * float(np.abs(halved.intake - solution.intake).max()) + 0.002
    assert error <= 0.02
