"""The parts of a build threaded on its paths: blocks of temperature nodes, the streams over them, their coefficients.

What is here: `Threads`, which walks every path and turns each part into fields and passes (`layout.py`)
with the names beside them.  What is not: flows, tables and the arrays themselves (`assemble.py`).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path as FilePath
from typing import Any

import numpy as np

from coldside.build.model import Build
from coldside.duty.model import Demand
from coldside.errors import BadInput
from coldside.media import air
from coldside.parts import lines, oil_cooler, reservoir
from coldside.parts.compressor import CompressorSpec
from coldside.parts.exchanger import CELLS, AirCoreSpec, ExchangerSpec, WaterCoreSpec, rate
from coldside.parts.injection import InjectionSpec
from coldside.parts.lines import HoseSpec, PipeSpec, PlenumSpec
from coldside.parts.oil_cooler import OIL_END, WATER_END, OilCoolerRating, OilCoolerSideSpec, rate_oil_cooler
from coldside.parts.rating import Rating
from coldside.parts.reservoir import ReservoirSpec, tank_pickup
from coldside.plant import layout, tables
from coldside.plant.charge import ChargeSide
from coldside.plant.filling import coolant_held
from coldside.plant.flows import Air, LoopFlows, duct_flows, loop_flows
from coldside.plant.network import Network, network_of

SAME_HUMIDITY = 1e-9  # kg/kg: the rounding of a relative humidity at another temperature
CP_METAL = 896.0  # J/(kg K), aluminium (heat note A2)
AROUND = {"bay": layout.BAY, "engine": layout.ENGINE, "ambient": layout.AMBIENT}


def humidity_of(demand: Demand) -> np.ndarray | float:
    """Water in the air, kg per kg of dry air: by samples, or one figure where it stays."""
    T, p, share = demand.ambient_temperature, demand.ambient_pressure, demand.humidity
    if np.ptp(T) == 0.0 and np.ptp(share) == 0.0:
        return float(air.humidity_ratio(T[0], p, share[0]))
    W = np.asarray(air.humidity_ratio(T, p, share))
    return float(W[0]) if float(np.ptp(W)) < SAME_HUMIDITY else W


@dataclass
class Field:
    """A block of equal temperature nodes."""

    name: str  # "part metal" or "part coolant"
    count: int
    capacity: float  # J/K of one node
    pickup: float  # W/K of one node
    around: int
    loop: int = -1
    column: int = 0
    start: float | None = None


@dataclass(frozen=True)
class Pass:
    """One stream through one part, with its names."""

    part: str
    side: str  # charge, coolant, cooling
    path: str  # loop or duct name, "charge"


class Threads:
    """The fields, passes and coefficients of a build, gathered part by part by `thread`."""

    def __init__(
        self, build: Build, demand: Demand, cells: Mapping[str, tuple[int, int]], grid: tables.Grid = tables.FULL
    ) -> None:
        self.build, self.demand, self.cells, self.grid = build, demand, cells, grid
        self.humidity = humidity_of(demand)
        W = 0.5 * (float(np.min(self.humidity)) + float(np.max(self.humidity)))
        # the day's middle air: what hardly moves with it (cp, scales of flow, a duct's own moisture) is taken there
        self.around = Air(demand.ambient_middle, demand.ambient_pressure, W)
        self.charge = ChargeSide(build, self.around, str(FilePath(build.file).parent))
        self.loops = tuple(loop_flows(build, loop, demand.ambient_pressure) for loop in build.loops.values())
        self.ducts = tuple(duct_flows(build, duct) for duct in build.ducts.values())
        self.cp_charge = float(air.cp(370.0, W))
        self.cp_air = float(air.cp(self.around.temperature + 10.0, W))
        self.start_T = self._start_temperature()
        self.reference = tuple(self._reference(loop) for loop in self.loops)
        self.fields: list[Field] = []
        self.passes: list[Pass] = []
        self.rows: list[list[int]] = []
        self.coefficients: list[tables.Coefficient] = []
        self.coefficient_flows: list[tuple[int, int]] = []
        self.coefficient_loop: list[int] = []
        self.warnings: list[str] = []

    def _start_temperature(self) -> float:
        first = float(self.demand.ambient_temperature[0])
        return first + self.build.bay.parked_rise if self.demand.start == "soaked" else first

    def _start_of(self, spec: object) -> float | None:
        """Coolant in a part at the start, K, if not as the session starts.

        With ice in it at 0 degC: a mix that freezes lower cools itself further, and its ice pays for it.
        """
        start: float | None = getattr(spec, "start_temperature", None)
        if start is None and getattr(spec, "ice", None):
            return min(reservoir.FREEZING, self.start_T)
        return start

    def _reference(self, loop: LoopFlows) -> tuple[float, float]:
        """rho and cp of a loop for transport, at its mean temperature of the start."""
        total = heat = 0.0
        coldest = math.inf
        for name in loop.network.names:
            spec = self.build.parts[name]
            volume = coolant_held(spec)
            T = self._start_of(spec) or self.start_T
            total, heat, coldest = total + volume, heat + volume * T, min(coldest, T)
        T = heat / total
        iced = any(getattr(self.build.parts[name], "ice", None) for name in loop.network.names)
        room = 0.0 if iced else 0.5  # K: ice water stands at its freezing point, and a large tank of it brings the mean
        if loop.coolant.freezing_point + room > T or coldest < loop.coolant.freezing_point - 1e-6:
            T = min(T, coldest)
            raise BadInput(
                f"{loop.coolant.name} starts at {T - 273.15:.0f} degC and freezes at "
                f"{loop.coolant.freezing_point - 273.15:.0f} degC: "
                "choose another coolant or a warmer start",
                key=f"loops.{loop.loop.name}.coolant",
            )
        return float(loop.coolant.density(T)), float(loop.coolant.cp(T))

    # --- parts into fields and passes ---

    def _add_field(
        self,
        name: str,
        count: int,
        capacity: float,
        pickup: float,
        around: str,
        loop: int = -1,
        column: int = 0,
        start: float | None = None,
    ) -> int:
        self.fields.append(Field(name, count, capacity / count, pickup / count, AROUND[around], loop, column, start))
        return len(self.fields) - 1

    def _add_pass(
        self,
        part: str,
        side: str,
        path: tuple[int, str],
        ends: tuple[int, int],
        column: int,
        wall: int = -1,
        liquid: int = -1,
        grid: tuple[int, int, int, int] = (1, 1, 1, 1),
    ) -> int:
        sort = {"charge": layout.CHARGE, "coolant": layout.COOLANT, "cooling": layout.COOLING}[side]
        self.passes.append(Pass(part, side, path[1]))
        self.rows.append([sort, path[0], wall, liquid, *grid, *ends, -1, 0, column])
        return len(self.rows) - 1

    def _set_table(self, index: int, coefficient: tables.Coefficient, flows: tuple[int, int], loop: int) -> None:
        """Give pass `index` a coefficient of its own; pass `flows[1]`, if any, shares it as side 2."""
        self.coefficients.append(coefficient)
        self.coefficient_flows.append(flows)
        self.coefficient_loop.append(loop)
        self.rows[index][layout.P_TABLE] = len(self.coefficients) - 1
        if flows[1] >= 0:
            self.rows[flows[1]][layout.P_TABLE] = len(self.coefficients) - 1
            self.rows[flows[1]][layout.P_SIDE] = 1

    def thread(self) -> None:
        """Walk all paths: first the grids of parts with two sides, then single-sided parts as they come."""
        grids = self._grids()
        self.charge_network = network_of(self.charge.after, closed=False)
        self.bypass: dict[int, float] = {}
        self.backmix: dict[int, float] = {}
        self.injections: list[str] = []
        self.coolers: dict[str, tuple[int, OilCoolerRating]] = {}
        walks: list[tuple[str, int, str, Network]] = [("charge", 0, "charge", self.charge_network)]
        walks += [("coolant", i, loop.loop.name, loop.network) for i, loop in enumerate(self.loops)]
        walks += [("cooling", i, duct.duct.name, duct.network) for i, duct in enumerate(self.ducts)]
        for side, number, path, network in walks:
            for column, link in enumerate(network.links):
                spec = self.build.parts.get(link.name)
                where = ((number, path), (link.start, link.end), column)
                if link.name in grids:
                    grids[link.name].append(self._grid_pass(link.name, side, where, grids[link.name]))
                else:
                    self._single_pass(link.name, spec, side, where)
        self.ratings: dict[tuple[Any, int], Rating] = {}
        for name, found in grids.items():
            self._rate(name, found[2], found[3])

    def _grids(self) -> dict[str, list[int]]:
        """Wall field, and coolant field or -1, of every part with two sides."""
        found = {}
        for name in [
            n for n in self.build.parts if isinstance(self.build.parts[n], (WaterCoreSpec, AirCoreSpec, ExchangerSpec))
        ]:
            spec = self.build.parts[name]
            if isinstance(spec, ExchangerSpec) and spec.heat is not None:
                continue
            n1, n2 = self._cells_of(name)
            wall = self._add_field(f"{name} metal", n1 * n2, spec.metal_mass * CP_METAL, spec.pickup, spec.surroundings)
            liquid = -1
            if not isinstance(spec, AirCoreSpec):
                rho, cp = self.reference[self._loop_of(name)]
                liquid = self._add_field(f"{name} coolant", n1 * n2, spec.coolant_volume * rho * cp, 0.0, "ambient")
            found[name] = [wall, liquid]
        return found

    def _cells_of(self, name: str) -> tuple[int, int]:
        kind = {WaterCoreSpec: "water_core", AirCoreSpec: "air_core", ExchangerSpec: "exchanger"}[
            type(self.build.parts[name])
        ]
        return self.cells.get(name, self.cells.get(kind, CELLS[kind]))

    def _loop_of(self, name: str) -> int:
        return next(i for i, loop in enumerate(self.loops) if name in loop.network.names)

    def _grid_pass(self, name: str, side: str, where: tuple, grid: list[int]) -> int:
        n1, n2 = self._cells_of(name)
        spec = self.build.parts[name]
        first = side == ("coolant" if isinstance(spec, ExchangerSpec) else "charge")
        shape = (n2, n1, 1, n2) if first else (n1, n2, n2, 1)  # lanes, cells, lane step, cell step
        path, ends, column = where
        index = self._add_pass(name, side, path, ends, column, grid[0], grid[1] if side == "coolant" else -1, shape)
        if side == "charge":
            self.bypass[index] = getattr(spec, "charge_bypass", 0.0)
        return index

    def _rate(self, name: str, one: int, two: int) -> None:
        """Rate a core or exchanger; passes were added charge, coolant, cooling, so `one` is side 1."""
        spec = self.build.parts[name]
        loop = self._loop_of(name) if not isinstance(spec, AirCoreSpec) else -1
        coolant = self.loops[loop].coolant if loop >= 0 else None
        if (spec, loop) not in self.ratings:  # a left and a right core are rated once
            try:
                self.ratings[spec, loop] = rate(spec, coolant)
            except BadInput as fault:
                raise BadInput(fault.message, key=f"parts.{name}") from None
        rating = self.ratings[spec, loop]
        liquid_cp = self.reference[loop][1] if loop >= 0 else 0.0
        cp = {
            WaterCoreSpec: (self.cp_charge, liquid_cp),
            AirCoreSpec: (self.cp_charge, self.cp_air),
            ExchangerSpec: (liquid_cp, self.cp_air),
        }[type(spec)]
        past = self.bypass.get(one, 0.0)
        self._set_table(one, tables.of_rating(rating, self._cells_of(name), coolant, cp, past), (one, two), loop)

    def _single_pass(self, name: str, spec: object, side: str, where: tuple) -> None:
        path, ends, column = where
        if isinstance(spec, PipeSpec):
            n = self._cells_along(spec.length)
            wall = self._add_field(
                f"{name} metal", n, lines.pipe_metal_mass(spec) * CP_METAL, lines.pipe_pickup(spec), spec.surroundings
            )
            index = self._add_pass(name, side, path, ends, column, wall, -1, (1, n, 1, 1))
            self._set_table(index, tables.of_pipe(spec, n, self.charge.peak_flow, self.cp_charge), (index, -1), -1)
        elif isinstance(spec, PlenumSpec):
            pickup = lines.plenum_pickup(spec)
            wall = self._add_field(f"{name} metal", 1, spec.metal_mass * CP_METAL, pickup, spec.surroundings)
            index = self._add_pass(name, side, path, ends, column, wall)
            self._set_table(index, tables.of_plenum(spec, self.charge.peak_flow, self.cp_charge), (index, -1), -1)
        elif isinstance(spec, HoseSpec):
            self._hose(name, spec, where)
        elif isinstance(spec, OilCoolerSideSpec):
            self._oil_cooler(name, spec, where)
        elif side == "coolant":
            self._vessel(name, spec, where)
        else:  # second compressor, injection, throttle, fan, a face that only gives heat, air beside a core
            index = self._add_pass(name, side, path, ends, column)
            if isinstance(spec, CompressorSpec):
                self.rows[index][layout.P_TABLE] = layout.SECOND_STAGE
            elif isinstance(spec, InjectionSpec):
                self.rows[index][layout.P_TABLE] = layout.INJECTION - len(self.injections)
                self.injections.append(name)

    def _cells_along(self, length: float) -> int:
        """Cells of a pipe or hose."""
        return max(self.grid.fewest_cells, math.ceil(length / self.grid.cell_length))

    def _vessel(self, name: str, spec: Any, where: tuple) -> None:
        """A part of a loop that is coolant, perhaps with its metal: tank, pump, chiller, valve, the engine's jacket."""
        path, ends, column = where
        rho, cp = self.reference[path[0]]
        nodes = spec.nodes if isinstance(spec, ReservoirSpec) else 1
        capacity = coolant_held(spec) * rho * cp + getattr(spec, "metal_mass", 0.0) * CP_METAL
        if isinstance(spec, ReservoirSpec):
            capacity -= spec.dead_share * spec.volume * rho * cp
            pickup = tank_pickup(spec)
        else:
            pickup = getattr(spec, "pickup", 0.0)
        heated = path[0] if name in self.loops[path[0]].pumps else -1
        start = self._start_of(spec)
        around = getattr(spec, "surroundings", "ambient")
        liquid = self._add_field(f"{name} coolant", nodes, capacity, pickup, around, heated, column, start)
        index = self._add_pass(name, "coolant", path, ends, column, -1, liquid, (1, nodes, 1, 1))
        if isinstance(spec, ReservoirSpec):
            self.backmix[index] = spec.mixing

    def _oil_cooler(self, name: str, spec: OilCoolerSideSpec, where: tuple) -> None:
        """One side of an oil cooler: its liquid on the metal that both share, cell by cell, crossing the other."""
        path, ends, column = where
        cooler, n = self.build.parts[spec.cooler], oil_cooler.CELLS
        if spec.cooler not in self.coolers:
            ends_in = [self.loops[self._loop_of(f"{spec.cooler}.{end}")].coolant for end in (OIL_END, WATER_END)]
            try:
                rating = rate_oil_cooler(cooler, *ends_in)
            except BadInput as fault:
                raise BadInput(fault.message, key=f"parts.{spec.cooler}") from None
            wall = self._add_field(f"{spec.cooler} metal", n * n, cooler.metal_mass * CP_METAL, 0.0, "bay")
            self.coolers[spec.cooler] = (wall, rating)
        wall, rating = self.coolers[spec.cooler]
        rho, cp = self.reference[path[0]]
        liquid = self._add_field(f"{name} coolant", n * n, spec.coolant_volume * rho * cp, 0.0, "ambient")
        shape = (n, n, 1, n) if spec.side == OIL_END else (n, n, n, 1)
        index = self._add_pass(name, "coolant", path, ends, column, wall, liquid, shape)
        self._set_table(index, tables.of_oil_cooler(rating, spec.side, spec.bench_flow * rho), (index, -1), path[0])

    def _hose(self, name: str, spec: HoseSpec, where: tuple) -> None:
        path, ends, column = where
        loop = self.loops[path[0]]
        rho, cp = self.reference[path[0]]
        n = self._cells_along(spec.length)
        wall = self._add_field(
            f"{name} wall", n, lines.hose_wall_capacity(spec), lines.hose_pickup(spec), spec.surroundings
        )
        liquid = self._add_field(f"{name} coolant", n, lines.hose_volume(spec) * rho * cp, 0.0, "ambient")
        index = self._add_pass(name, "coolant", path, ends, column, wall, liquid, (1, n, 1, 1))
        scale = np.pi * spec.bore**2 / 4.0 * rho  # flow at 1 m/s
        self._set_table(index, tables.of_hose(spec, loop.coolant, scale), (index, -1), path[0])
