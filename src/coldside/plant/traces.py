"""What the kernel left behind, and its traces by part and side."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from coldside.parts.exchanger import WaterCoreSpec
from coldside.parts.reservoir import ReservoirSpec
from coldside.plant import layout
from coldside.plant.assemble import Plant


@dataclass(frozen=True)
class Solution:
    """What the kernel left behind: traces at the samples, states at the end and at the peak."""

    streams: np.ndarray  # (n, passes, 4): inlet T, outlet T, flow, heat of condensation
    scalars: np.ndarray  # (n, 7 + sensors + loops + ducts + iced nodes)
    levels: np.ndarray  # (n, devices) level index of every command
    start: np.ndarray
    end: np.ndarray
    peak: int
    peak_state: np.ndarray
    steps: int
    substeps: int

    @property
    def intake(self) -> np.ndarray:
        """Gas at the plenum outlet, K."""
        return self.scalars[:, 2]


class Streams:
    """Traces of the passes, by part and side."""

    def __init__(self, plant: Plant, solution: Solution) -> None:
        self.plant, self.streams = plant, solution.streams

    def _capacity(self, p: int) -> float:
        A = self.plant.arrays
        sort = A.passes[p, layout.P_SORT]
        if sort == layout.COOLANT:
            loop = A.passes[p, layout.P_PATH]
            return float(A.loop_capacity[loop] / A.loop_density[loop])
        return A.cp_charge if sort == layout.CHARGE else A.cp_air

    def heat(self, part: str, side: str) -> np.ndarray:
        """Heat given up by the stream, W, with that of the water that condenses from it."""
        p = self.plant.index(part, side)
        sensible = self.streams[:, p, 2] * self._capacity(p) * (self.streams[:, p, 0] - self.streams[:, p, 1])
        return sensible + self.streams[:, p, 3]

    def by_name(self) -> tuple[dict, dict, dict, dict]:
        """Inlet, outlet, flow and cp by (part, side)."""
        inlet, outlet, flow, capacity = {}, {}, {}, {}
        for p, found in enumerate(self.plant.passes):
            key = (found.part, found.side)
            inlet[key], outlet[key], flow[key] = (self.streams[:, p, column] for column in range(3))
            capacity[key] = self._capacity(p)
        return inlet, outlet, flow, capacity

    def _of_loop(self, loop: int, kind: type) -> list[int]:
        A, passes = self.plant.arrays, self.plant.passes
        return [
            p
            for p in range(len(passes))
            if A.passes[p, layout.P_SORT] == layout.COOLANT
            and A.passes[p, layout.P_PATH] == loop
            and isinstance(self.plant.build.parts[passes[p].part], kind)
        ]

    def pumped(self, loop: int) -> np.ndarray:
        """Volume flow of the loop, m3/s: all that leaves its path's start, where nothing can pass it by."""
        A = self.plant.arrays
        return self.streams[:, leaving_start(A, layout.COOLANT, loop), 2].sum(axis=1) / A.loop_density[loop]

    def into_cores(self, loop: int, mean: np.ndarray) -> np.ndarray:
        """Coolant temperature entering the charge cores, weighted by flow; the loop's mean where it has none."""
        cores = self._of_loop(loop, WaterCoreSpec)
        if not cores:
            return mean
        weight = np.abs(self.streams[:, cores, 2]) + 1e-12
        return (self.streams[:, cores, 0] * weight).sum(axis=1) / weight.sum(axis=1)

    def tanks(self) -> dict[str, np.ndarray]:
        """Outlet temperature of each loop's first tank."""
        found = {}
        for i, loop in enumerate(self.plant.loops):
            tanks = self._of_loop(i, ReservoirSpec)
            if tanks:
                found[loop.loop.name] = self.streams[:, tanks[0], 1]
        return found

    def duct_flow(self, duct: int) -> np.ndarray:
        """Air through a duct, kg/s: everything that leaves its inlet."""
        return self.streams[:, leaving_start(self.plant.arrays, layout.COOLING, duct), 2].sum(axis=1)


def leaving_start(A: layout.Arrays, sort: int, path: int) -> np.ndarray:
    """Passes of a path that begin at its first node; their flows add up to the whole path's."""
    return np.flatnonzero(
        (A.passes[:, layout.P_SORT] == sort) & (A.passes[:, layout.P_PATH] == path) & (A.passes[:, layout.P_IN] == 0)
    )
