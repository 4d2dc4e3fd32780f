"""Outside integrators on the kernel's own right-hand side: SUNDIALS CVODE and SciPy LSODA.

They integrate the same compiled derivative as the kernel marches, with the commands that the march
recorded, and are restarted only where a command changes (a jump); kinks of the sampled data are theirs to
resolve.  Used by the table of errors, the benchmark and `tests/oracles`.
"""

from __future__ import annotations

import numpy as np

from coldside.plant import kernel, layout
from coldside.plant.assemble import Plant
from coldside.plant.forecast import Solution


class Oracle:
    """One plant's right-hand side as outside solvers want it."""

    def __init__(self, plant: Plant, solution: Solution) -> None:
        self.plant, self.solution = plant, solution
        self.A, self.work = plant.arrays, layout.new_work(plant.arrays)
        self.packed = layout.pack(plant.arrays)
        self.combos = np.ascontiguousarray(plant.combos(solution.levels))
        self.scratch = np.zeros(len(plant.start))
        self.n = plant.arrays.n_states
        self.calls = 0
        changes = np.flatnonzero(np.any(np.diff(self.combos, axis=0) != 0, axis=1)) + 1 if self.combos.size else []
        last = len(self.A.inputs) - 1
        self.stops = sorted({0, *[int(k) for k in changes if k < last], last})

    def rhs(self, t: float, y: np.ndarray) -> np.ndarray:
        """dy/dt within the stretch that `stretch` names."""
        self.calls += 1
        # a step that looks past the stretch's end still sees the stretch's own commands
        k = min(max(int(t / self.A.step), self.first), self.last - 1)
        kernel.derivative(
            *self.packed, self.work.packed, k, t / self.A.step - k, y, self.combos[self.first], self.scratch
        )
        return self.scratch[: self.n]

    def rhs_into(self, t: float, y: np.ndarray, yp: np.ndarray) -> None:
        """The same, written into `yp`."""
        yp[:] = self.rhs(t, y)

    def run(self, solve) -> np.ndarray:
        """States at every sample; `solve(oracle, times, y0)` returns them over one stretch, the start included."""
        y = self.plant.start[: self.n].copy()
        found = np.zeros((len(self.A.inputs), self.n))
        for first, last in zip(self.stops[:-1], self.stops[1:], strict=True):
            self.first, self.last = first, last
            times = self.A.step * np.arange(self.first, self.last + 1)
            part = solve(self, times, y)
            found[self.first : self.last + 1] = part
            y = part[-1].copy()
        return found

    def intake(self, states: np.ndarray) -> np.ndarray:
        """Gas at the plenum outlet for states at every sample."""
        out = np.zeros(len(states))
        for k in range(len(states)):
            kernel.derivative(*self.packed, self.work.packed, k, 0.0, states[k], self.combos[k], self.scratch)
            out[k] = self.work.charge[2]
        return out


def cvode(rtol: float, method: str = "BDF", atol: float | None = None):
    """A CVODE run; the dense linear solver is SUNDIALS' own default for BDF."""
    from sksundae.cvode import CVODE

    def solve(oracle: Oracle, times: np.ndarray, y0: np.ndarray) -> np.ndarray:
        options = {"rtol": rtol, "atol": atol or rtol, "method": method, "max_num_steps": 10_000_000}
        if method == "BDF":
            options["linsolver"] = "dense"
        solver = CVODE(oracle.rhs_into, **options)
        answer = solver.solve(times if len(times) > 2 else np.append(times, times[-1] + 1e-6), y0)
        if not answer.success:
            raise RuntimeError(answer.message)
        return answer.y[: len(times)]

    return solve


def lsoda(rtol: float, atol: float | None = None):
    """A SciPy LSODA run (scipy.integrate.odeint, the classic driver, dense output at the samples)."""
    from scipy.integrate import odeint

    def solve(oracle: Oracle, times: np.ndarray, y0: np.ndarray) -> np.ndarray:
        return odeint(oracle.rhs, y0, times, rtol=rtol, atol=atol or rtol, tfirst=True, mxstep=10_000_000)

    return solve
