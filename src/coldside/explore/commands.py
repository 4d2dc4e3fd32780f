"""Many marches of one plant under other commands: what pumps and fans are told, and nothing else, is changed.

What is here: `Bench` (a build and a session put together once, with every level of command in its tables of flows),
`commanded` (a demand whose device is told what to do) and `drawn_power`.  What is not: which commands are tried
(`strategy.py`), what dies (`failures.py`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from coldside.build.model import Build, names_on
from coldside.duty.demand import sample
from coldside.duty.model import SAMPLE_TIME, Demand, Session
from coldside.errors import BadInput, require
from coldside.explore.outcome import Fineness, thinned
from coldside.parts.airflow import SUPPLY, FanSpec, fan_current
from coldside.parts.exchanger import WaterCoreSpec
from coldside.parts.pump import PumpSpec, running_current
from coldside.parts.reservoir import ReservoirSpec
from coldside.plant import layout
from coldside.plant.assemble import Plant, assemble
from coldside.plant.forecast import solve
from coldside.plant.traces import Solution, Streams

ON, OFF = 1.0, 0.0


def commanded(demand: Demand, name: str, trace: np.ndarray | float) -> Demand:
    """The demand with the pump or fan `name` told `trace` (n,), 0 to 1; NaN: its own control decides.

    Raises `BadInput` for a name that is not commanded in this demand or a command out of range.
    """
    if name not in demand.command:
        known = ", ".join(demand.command) or "none"
        raise BadInput(f"there is no pump or fan {name}; there are {known}", key="name")
    told = np.broadcast_to(np.asarray(trace, dtype=float), demand.time.shape).copy()
    require("command", told[np.isfinite(told)], low=0.0, high=1.0)
    return replace(demand, command={**demand.command, name: told})


def drawn_power(spec: object, command: np.ndarray | float) -> np.ndarray:
    """Electrical power [W] of a pump or fan at a command of 0 to 1; 0 of all else.

    Its full current at the voltage of that current times the cube of the command (fan and pump laws, textbook).
    """
    share = np.clip(np.asarray(command, dtype=float), 0.0, 1.0) ** 3
    if isinstance(spec, PumpSpec) and spec.drive == "electric":
        return running_current(spec) * spec.curve_voltage * share
    if isinstance(spec, FanSpec):
        return np.asarray(fan_current(spec)) * SUPPLY * share
    return np.zeros_like(share)


Orders = Mapping[str, np.ndarray]  # device -> trace (n,), 0 to 1; what is absent stays as written


@dataclass(frozen=True)
class Tried:
    """One march: its solution and what every device did (n,), 0 to 1."""

    solution: Solution
    did: Mapping[str, np.ndarray]
    peak: float  # K, the highest intake in boost (of all samples where there is no boost)
    energy: float  # J, electrical, of all pumps and fans
    standing: float  # J of it that is drawn while the engine stands: from the battery alone


class Bench:
    """A build and a session put together once; `march` runs it under any orders at the cost of the march alone.

    What is driven is the same for all orders: `demand` as a forecast has settled it, else as with a cold charge.
    Raises as `simulate`.
    """

    def __init__(
        self, build: Build, session: Session, fineness: Fineness, levels: Sequence[float], demand: Demand | None = None
    ) -> None:
        self.demand = thinned(sample(session, build) if demand is None else demand, fineness)
        self.build = build
        plant = assemble(build, _with_levels(self.demand, self._turning(), levels), fineness.cells)
        step = fineness.every * SAMPLE_TIME
        self.plant: Plant = replace(plant, demand=self.demand, arrays=plant.arrays._replace(step=step))
        self.boost = plant.arrays.boost.astype(bool)
        self.devices = tuple(name for name in self.plant.devices if name in self._movable())
        self._written = np.stack([self._levels(k, name, self.demand.command[name]) for k, name in self._numbered()], 1)

    def _movable(self) -> tuple[str, ...]:
        """Electric pumps and fans that the owner has not switched off for good and that work."""
        return tuple(
            name
            for name, spec in self.build.parts.items()
            if name in self.demand.command
            and ((isinstance(spec, PumpSpec) and spec.drive == "electric") or isinstance(spec, FanSpec))
            and spec.control.mode != "off"
            and getattr(spec, "fault", "none") == "none"
        )

    def _turning(self) -> tuple[str, ...]:
        """Every pump and fan that the plant commands, driven by whatever: each may die."""
        return tuple(n for n in self.demand.command if isinstance(self.build.parts[n], PumpSpec | FanSpec))

    def _numbered(self) -> list[tuple[int, str]]:
        return list(enumerate(self.plant.devices))

    def _levels(self, device: int, name: str, trace: np.ndarray) -> np.ndarray:
        """Level indices of a device's command, -1 where its own control decides; the nearest level otherwise."""
        known = self.plant.levels[device]
        told = np.broadcast_to(trace, self.demand.time.shape)
        own = np.isnan(told)
        nearest = np.abs(np.where(own, 0.0, told)[:, None] - known[None, :]).argmin(axis=1)
        return np.where(own, -1, nearest).astype(np.int64)

    def pumps(self) -> tuple[str, ...]:
        """Electric pumps of the loops that cool the charge."""
        served = {
            name
            for loop in self.build.loops.values()
            if any(isinstance(self.build.parts[part], WaterCoreSpec) for part in names_on(loop.path))
            for name in names_on(loop.path)
        }
        return tuple(n for n in self.devices if n in served and isinstance(self.build.parts[n], PumpSpec))

    def fans(self) -> tuple[str, ...]:
        """Fans."""
        return tuple(name for name in self.devices if isinstance(self.build.parts[name], FanSpec))

    def march(self, orders: Orders) -> Tried:
        """The session under these orders; devices without one do as written."""
        wanted = self._written.copy()
        for k, name in self._numbered():
            order = orders.get(name)
            if order is not None:
                wanted[:, k] = self._levels(k, name, order)
        return self._tried(solve(self.plant, levels=wanted))

    def sensor(self, solution: Solution) -> np.ndarray:
        """What the charge's last sensor reads (n,), K; the plenum's gas without one."""
        charge = np.flatnonzero(self.plant.arrays.sensor_sort == layout.CHARGE)
        return solution.scalars[:, 4 + charge[-1]] if len(charge) else solution.intake

    def charge_loops(self) -> tuple[int, ...]:
        """Numbers of the loops that cool the charge."""
        return tuple(
            i
            for i, loop in enumerate(self.plant.loops)
            if any(isinstance(self.build.parts[part], WaterCoreSpec) for part in names_on(loop.loop.path))
        )

    def mean_coolant(self, solution: Solution, loop: int) -> np.ndarray:
        """A loop's mean temperature (n,), K."""
        return solution.scalars[:, 4 + len(self.plant.sensors) + loop]

    def into_cores(self, solution: Solution, loop: int) -> np.ndarray:
        """Coolant into the charge cores of a loop (n,), K."""
        return Streams(self.plant, solution).into_cores(loop, self.mean_coolant(solution, loop))

    def pumped(self, solution: Solution, loop: int) -> np.ndarray:
        """Volume flow of a loop (n,), m3/s."""
        return Streams(self.plant, solution).pumped(loop)

    def has_tank(self) -> bool:
        """Whether a loop that cools the charge has a tank."""
        names = [name for i in self.charge_loops() for name in names_on(self.plant.loops[i].loop.path)]
        return any(isinstance(self.build.parts[name], ReservoirSpec) for name in names)

    def in_tank(self, solution: Solution) -> np.ndarray | None:
        """What a sensor in the tank of the hottest charge loop reads (n,), K; None without a tank."""
        tanks = Streams(self.plant, solution).tanks()
        names = [self.plant.loops[i].loop.name for i in self.charge_loops()]
        traces = [tanks[name] for name in names if name in tanks]
        return np.max(traces, axis=0) if traces else None

    def _tried(self, solution: Solution) -> Tried:
        did = {name: self.plant.levels[k][solution.levels[:, k]] for k, name in self._numbered()}
        counts = self.boost if self.boost.any() else np.ones_like(self.boost)
        step = float(self.plant.arrays.step)
        # commands are held from one sample to the next: the last one is held for no time
        drawn = sum(drawn_power(self.build.parts[n], told[:-1]) for n, told in did.items()) * step
        standing = self.demand.engine_speed[:-1] <= 0.0
        peak = float(solution.intake[counts].max())
        return Tried(solution, did, peak, float(np.sum(drawn)), float(np.sum(drawn * standing)))


def _with_levels(demand: Demand, movable: Sequence[str], levels: Sequence[float]) -> Demand:
    """The demand with every level of command somewhere in it, so that the tables of flows have it."""
    found = demand
    for name in movable:
        told = demand.command[name].copy()
        known = np.unique(told[np.isfinite(told)])
        wanted = np.unique(np.concatenate([known, np.asarray(levels, dtype=float), [OFF, ON]]))
        told[: len(wanted)] = wanted
        found = commanded(found, name, told)
    return found
