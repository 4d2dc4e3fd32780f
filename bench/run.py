"""One session's time against general-purpose solvers, in one interleaved run; and the errors of all sessions.

    python bench/run.py            the Tern's track session, timed
    python bench/run.py errors     every session on every build against CVODE at rtol 1e-10

Terms (docs: design definitions, "Benchmarks"): every solver integrates the same compiled right-hand side
with the commands that the march recorded; an outside solver is restarted only where a command changes, and
takes the loosest tolerance of its ladder that keeps the intake within 0.02 K of CVODE at rtol 1e-10 at
every sample.  LSODA begins at rtol 1e-5.  Assembly and compile times stand apart.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from coldside.build.files import load_build
from coldside.duty.demand import sample
from coldside.duty.phases import load_session
from coldside.plant.assemble import Plant, assemble
from coldside.plant.forecast import Solution, solve
from oracles import Oracle, cvode, lsoda

EXAMPLES = Path(__file__).parent.parent / "examples"
BUILDS = (
    "tern/water",
    "tern/air",
    "plover/build",
    "plover/stacked",
    "dunlin/build",
    "avocet/split_loop",
    "godwit/hybrid",
    "heron/two_stage",
    "siskin/blown",
)
SESSIONS = ("dyno-pulls", "traffic-then-pull", "steady", "track")
ALLOWED = 0.02  # K, each side's largest intake error
ROUNDS = 5


def plant_of(build: str, session: str) -> Plant:
    """A bundled build under a bundled session."""
    b = load_build(EXAMPLES / f"{build}.toml")
    return assemble(b, sample(load_session(EXAMPLES / "sessions" / f"{session}.toml"), b))


def reference(plant: Plant, solution: Solution) -> np.ndarray:
    """Intake by CVODE at rtol 1e-10."""
    oracle = Oracle(plant, solution)
    return oracle.intake(oracle.run(cvode(1e-10)))


def loosest(plant: Plant, solution: Solution, exact: np.ndarray, make: Callable, ladder: tuple[float, ...]) -> tuple:
    """The loosest tolerance that keeps within ALLOWED, its error, its calls of the right-hand side."""
    for rtol in ladder:
        oracle = Oracle(plant, solution)
        error = float(np.abs(oracle.intake(oracle.run(make(rtol))) - exact).max())
        if error <= ALLOWED:
            return rtol, error, oracle.calls
    raise SystemExit(f"no tolerance down to {ladder[-1]:g} keeps within {ALLOWED} K")


def timed(work: Callable[[], object]) -> float:
    """Processor seconds of one call."""
    begin = time.process_time()
    work()
    return time.process_time() - begin


def one(build: str, session: str) -> None:
    """Time one session."""
    begin = time.process_time()
    plant = plant_of(build, session)
    assembly = time.process_time() - begin
    first = timed(lambda: solve(plant))
    solution = solve(plant)
    doubled = solve(plant, parts=2, levels=solution.levels)
    exact = reference(plant, solution)
    A = plant.arrays
    print(f"{build} {session}: {A.n_states} states, {len(A.inputs) - 1} intervals, {solution.steps} steps")
    print(f"assembly {assembly:.2f} s, first run with loading or compiling {first:.2f} s (apart)")
    l_tol, l_error, l_calls = loosest(plant, solution, exact, lsoda, (1e-5, 1e-6, 1e-7, 1e-8))
    c_tol, c_error, c_calls = loosest(plant, solution, exact, cvode, (1e-4, 3e-5, 1e-5, 1e-6, 1e-7))
    runs: dict[str, Callable[[], object]] = {
        "coldside": lambda: solve(plant),
        "coldside, step doubled": lambda: solve(plant, parts=2, levels=solution.levels),
        f"LSODA rtol {l_tol:g}": lambda: Oracle(plant, solution).run(lsoda(l_tol)),
        f"CVODE rtol {c_tol:g}": lambda: Oracle(plant, solution).run(cvode(c_tol)),
    }
    errors = [np.abs(solution.intake - exact).max(), np.abs(doubled.intake - exact).max(), l_error, c_error]
    calls = [4 * solution.steps, 4 * doubled.steps, l_calls, c_calls]
    times: dict[str, list[float]] = {name: [] for name in runs}
    for _ in range(ROUNDS):
        for name, run in runs.items():
            times[name].append(timed(run))
    base = float(np.median(times["coldside"]))
    print(f"{'':26s}{'median s':>10s}{'ratio':>8s}{'error K':>10s}{'rhs calls':>11s}")
    for (name, found), error, count in zip(times.items(), errors, calls, strict=True):
        median = float(np.median(found))
        print(f"{name:26s}{median:10.4f}{median / base:8.1f}{error:10.4f}{count:11d}")
    print(f"outside solvers restart at the {len(Oracle(plant, solution).stops) - 2} samples where a command changes")


def errors() -> None:
    """The largest intake error of every session on every build."""
    print(
        "| build | states | "
        + " | ".join(SESSIONS)
        + " | (largest intake error against CVODE at rtol 1e-10, K; in brackets the step check) |"
    )
    for build in BUILDS:
        cells, states = [], 0
        for session in SESSIONS:
            plant = plant_of(build, session)
            solution = solve(plant)
            halved = solve(plant, parts=2, levels=solution.levels)
            error = np.abs(solution.intake - reference(plant, solution)).max()
            check = np.abs(solution.intake - halved.intake).max()
            states = plant.arrays.n_states
            cells.append(f"{error:.4f} ({check:.4f}){'' if error <= 2 * check + 0.002 else ' !'}")
        print(f"| {build} | {states} | " + " | ".join(cells) + " |", flush=True)


if __name__ == "__main__":
    if sys.argv[1:] == ["errors"]:
        errors()
    else:
        one(*(sys.argv[1:] or ["tern/water", "track"]))
