"""Build + demand -> plant: the only place where names become indices.

What is here: `assemble`, which threads the parts of a build into fields and passes, tabulates flows and
coefficients, samples the charge side, and packs everything into `layout.Arrays`; and `Plant`, which keeps
the names beside the arrays.  What is not: solving (`kernel.py`, `steady.py`).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np

from coldside.build.model import Build, names_on
from coldside.duty.model import Demand
from coldside.errors import BadInput
from coldside.parts.airflow import recirculation
from coldside.parts.chiller import ChillerSpec
from coldside.parts.engine import BOOSTED
from coldside.parts.exchanger import AirCoreSpec, ExchangerSpec, WaterCoreSpec
from coldside.parts.jacket import EngineJacketSpec
from coldside.parts.lines import ThermostatSpec
from coldside.parts.reservoir import ReservoirSpec
from coldside.parts.sensor import SensorSpec
from coldside.plant import layout, tables
from coldside.plant.charge import ChargeSide
from coldside.plant.filling import coolant_held
from coldside.plant.flows import Air, DuctFlows, LoopFlows, Reading, charge_split
from coldside.plant.heat_sources import fuel_heat, source_rows, sources
from coldside.plant.phase_change import (
    SPRAYED_COLDER,
    charge_pressures,
    ice_rows,
    injection_columns,
    may_condense,
    saturation_scalars,
)
from coldside.plant.threads import AROUND, Pass, Threads

LEAST_REACH = 0.05  # share of the engine's peak flow that the charge tables reach at least
HOTTEST, HOTTEST_ENGINE = 388.15, 433.15  # K, top of the tables' coolant axis; in a loop that cools the engine
AIR_STEP = 4.0  # K between ambient temperatures of the duct tables: flow goes as one over T, so 0.005 % is missed
BETWEEN = (-10.0, 140.0)  # K over ambient: gas between two compressors at which the charge side is tabulated


@dataclass(frozen=True)
class _Tabulated:
    """The charge side at (rows of the demand, plenum temperatures): what the tables are made of."""

    flow: np.ndarray
    plenum: np.ndarray  # Pa absolute
    behind: np.ndarray  # Pa absolute, at the last compressor's outlet
    first_behind: np.ndarray  # Pa absolute, at the first one's
    first_out: np.ndarray  # K
    last_out: np.ndarray


@dataclass
class Plant:
    """A build and a demand ready to be solved, with the names of everything in the arrays."""

    build: Build
    demand: Demand
    arrays: layout.Arrays
    charge: ChargeSide
    loops: tuple[LoopFlows, ...]
    ducts: tuple[DuctFlows, ...]
    passes: tuple[Pass, ...]
    fields: tuple[str, ...]
    coefficients: tuple[tables.Coefficient, ...]
    devices: tuple[str, ...]
    levels: tuple[np.ndarray, ...]  # command levels of each device
    sensors: tuple[str, ...]
    start: np.ndarray  # states and zeroed heat integrals
    around: Air  # the day's middle air
    humidity: np.ndarray | float  # water in the air, kg per kg of dry air, by samples where it moves
    warnings: list[str] = field(default_factory=list)

    def index(self, part: str, side: str) -> int:
        """The pass of `part` on `side`."""
        return self.passes.index(next(p for p in self.passes if p.part == part and p.side == side))

    def combos(self, levels: np.ndarray) -> np.ndarray:
        """Command combinations (n, loops + ducts) of recorded levels (n, devices)."""
        A = self.arrays
        n_loops = len(A.loop_nodes)
        combos = np.zeros((len(levels), n_loops + len(A.duct_nodes)), dtype=np.int64)
        for device in range(len(self.devices)):
            column = A.combo_loop[device] if A.combo_loop[device] >= 0 else n_loops + A.combo_duct[device]
            combos[:, column] += levels[:, device].astype(np.int64) * A.combo_stride[device]
        return combos


def assemble(
    build: Build,
    demand: Demand,
    cells: Mapping[str, tuple[int, int]] | None = None,
    *,
    ice: bool = True,
    grid: tables.Grid = tables.FULL,
) -> Plant:
    """Turn a build and a sampled demand into a plant.

    `cells` overrides the number of wall cells (along side 1, along side 2) by part name or kind of
    part, for accuracy studies; `ice` False takes all ice as melted and gone, which is what a steady
    state means; `grid` says how finely flows and coefficients are tabulated.  Raises `BadInput` for
    bench points that cannot be, `NoAnswer` when flows or pressures have no balance.
    """
    return _Assembly(build, demand, dict(cells or {}), ice, grid).plant()


class _Assembly(Threads):
    """Threads of a build with the tables of their flows; `plant` packs everything."""

    def __init__(
        self, build: Build, demand: Demand, cells: Mapping[str, tuple[int, int]], ice: bool, grid: tables.Grid
    ) -> None:
        super().__init__(build, demand, cells, grid)
        self.ice = ice

    # --- devices ---

    def _devices(self) -> None:
        n = len(self.demand.time)
        self.devices = tuple(name for loop in self.loops for name in loop.pumps) + tuple(
            name for duct in self.ducts for name in duct.fans
        )
        self.levels: list[np.ndarray] = []
        self.level = np.full((n, len(self.devices)), -1, dtype=np.int64)
        self.combo_loop = np.full(len(self.devices), -1, dtype=np.int64)
        self.combo_duct = np.full(len(self.devices), -1, dtype=np.int64)
        self.stride = np.ones(len(self.devices), dtype=np.int64)
        for k, name in enumerate(self.devices):
            command = np.asarray(self.demand.command[name], dtype=float)
            own = np.isnan(command)
            levels = np.unique(np.concatenate([command[~own], [0.0, 1.0] if own.any() else []]))
            self.levels.append(levels)
            self.level[~own, k] = np.searchsorted(levels, command[~own])
            for i, loop in enumerate(self.loops):
                if name in loop.pumps:
                    self.combo_loop[k] = i
                    self.stride[k] = math.prod(
                        len(self.levels[self.devices.index(p)]) for p in loop.pumps[: loop.pumps.index(name)]
                    )
            for i, duct in enumerate(self.ducts):
                if name in duct.fans:
                    self.combo_duct[k] = i
                    self.stride[k] = math.prod(
                        len(self.levels[self.devices.index(f)]) for f in duct.fans[: duct.fans.index(name)]
                    )

    def commands_of(self, names: tuple[str, ...]) -> list[dict[str, float]]:
        """Every combination of command levels of these devices, in the order of the combination index."""
        sets = [self.levels[self.devices.index(name)] for name in names]
        return [dict(zip(names, reversed(combo), strict=True)) for combo in itertools.product(*reversed(sets))]

    # --- tables of flows ---

    def _loop_tables(self) -> dict[str, np.ndarray]:
        first, shapes, origin, step, flows, heats = [], [], [], [], [], []
        self.most = np.zeros(len(self.rows))
        offset = 0
        for i, loop in enumerate(self.loops):
            low = self._coldest(i)
            # a chiller fades out in 3 K over freezing, a thermostat opens in 12: finer steps than viscosity takes
            fine = self._has(i, ChillerSpec) or self._has(i, ThermostatSpec)
            T = np.linspace(low, self._hottest(i), (4 if fine else 1) * self.grid.loop)
            combos = self.commands_of(loop.pumps)
            commands = {name: np.repeat([c[name] for c in combos], len(T)) for name in loop.pumps}
            q, heat = loop.flow(self.build, np.tile(T, len(combos)), commands)
            links = q.shape[1]
            first.append(offset)
            shapes.append((len(combos), len(T), links))
            origin.append(low)
            step.append(T[1] - T[0])
            flows.append(q.ravel())
            heats.append(heat.ravel())
            offset += q.size
            for p, row in enumerate(self.rows):
                if row[layout.P_SORT] == layout.COOLANT and row[layout.P_PATH] == i:
                    self.most[p] = np.abs(q[:, row[layout.P_COLUMN]]).max() * self.reference[i][0]
        return {
            "loop_first": np.array(first, dtype=np.int64),
            "loop_shape": np.array(shapes, dtype=np.int64).reshape(-1, 3),
            "loop_origin": np.array(origin),
            "loop_step": np.array(step),
            "loop_flow": _flat(flows),
            "loop_heat": _flat(heats),
        }

    def _duct_tables(self) -> dict[str, Any]:
        first, shapes, origin, step, flows = [], [], [], [], []
        offset = 0
        levels = self._air_levels()
        for i, duct in enumerate(self.ducts):
            fastest = max(float(self.demand.air_speed[duct.duct.name].max()) * 1.01, 10.0)
            u = np.linspace(0.0, np.sqrt(fastest), self.grid.duct_speed)
            rise = np.linspace(-10.0, 90.0, self.grid.duct_temperature)
            combos = self.commands_of(duct.fans)
            c, dT, v = (g.ravel() for g in np.meshgrid(np.arange(len(combos)), rise, u**2, indexing="ij"))
            commands = {name: np.array([combo[name] for combo in combos])[c] for name in duct.fans}
            found = [
                duct.flow(self.build, v, T + dT, commands, replace(self.around, temperature=float(T))) for T in levels
            ]
            m = np.stack([np.maximum(one, 0.0).reshape(len(combos), len(rise), len(u), -1) for one in found], axis=1)
            padded = np.concatenate(
                [
                    (3.0 * m[..., :1, :] - 3.0 * m[..., 1:2, :] + m[..., 2:3, :]),
                    m,
                    (3.0 * m[..., -1:, :] - 3.0 * m[..., -2:-1, :] + m[..., -3:-2, :]),
                ],
                axis=3,
            )
            first.append(offset)
            shapes.append(padded.shape)
            origin.append([rise[0]])
            step.append([rise[1] - rise[0], u[1]])
            flows.append(padded.ravel())
            offset += padded.size
            for p, row in enumerate(self.rows):
                if row[layout.P_SORT] == layout.COOLING and row[layout.P_PATH] == i:
                    self.most[p] = m[..., row[layout.P_COLUMN]].max()
        heat = np.array([self._face_heat(p) for p in self.passes])
        return {
            "duct_first": np.array(first, dtype=np.int64),
            "duct_shape": np.array(shapes, dtype=np.int64).reshape(-1, 5),
            "air_low": float(levels[0]),
            "air_step": float(levels[1] - levels[0]) if len(levels) > 1 else 1.0,
            "duct_origin": np.array(origin, dtype=float).reshape(-1, 1),
            "duct_step": np.array(step, dtype=float).reshape(-1, 2),
            "duct_flow": _flat(flows),
            "duct_heat": heat,
        }

    def _air_levels(self) -> np.ndarray:
        """Ambient temperatures at which duct flows are tabulated, K; one where it stays."""
        low, high = self.demand.ambient_range
        return np.linspace(low, high, 1 + math.ceil((high - low) / AIR_STEP))

    def _face_heat(self, p: Pass) -> float:
        spec = self.build.parts.get(p.part)
        return float(spec.heat or 0.0) if isinstance(spec, ExchangerSpec) else 0.0

    def _feed_nodes(self) -> np.ndarray:
        """Plenum temperatures at which the charge side is tabulated: from the coldest coolant up to 75 K over ambient.

        A cubic between them is within 0.1 K of the exact compressor outlet (0.2 K where ambient moves by 15 K).
        """
        lowest, highest = self.demand.ambient_range
        low, high = min(-12.0, self._coldest(-1) - lowest), 75.0 + (highest - lowest)
        return lowest + np.linspace(low, high, layout.FEED_NODES)

    def _charge_tables(self) -> dict[str, Any]:
        d = self.demand
        T_feed = self._feed_nodes()
        drawn = self.charge.inlet_temperature(d.bay_temperature, d.drawn_rise, d.ambient_temperature)
        W = np.broadcast_to(self.humidity, d.time.shape)
        rows = np.column_stack([d.engine_speed, d.plenum_target, np.round(drawn, 2), W[0] + np.round(W - W[0], 5)])
        unique, back = _unique_rows(rows)
        stages = len(self.charge.stages)
        lowest, highest = d.ambient_range
        low = min(BETWEEN[0], self._coldest(-1) - lowest)
        T_between = lowest + np.linspace(low, BETWEEN[1] + (highest - lowest), layout.BETWEEN_NODES)
        # with one stage what lies between two does not matter, and one node serves
        found = [self._balances(unique, T_feed, T) for T in (T_between if stages > 1 else T_between[:1])]
        middle = found[len(found) // 2]
        plenum = middle.plenum[back, 1]
        # boost is what the plenum sees: where the control senses at the compressor, less than its target
        boost = plenum > BOOSTED * d.ambient_pressure
        pressures = charge_pressures(middle.plenum, middle.behind, middle.first_behind, d.ambient_pressure)[:, 1][back]
        blocks = {
            "recirculation": [recirculation(duct.duct.spec, d.air_speed[duct.duct.name]) for duct in self.ducts],
            "pressure": list(pressures.T),
            "running": [(d.engine_speed > 0.0).astype(float)],
            "source": self._sources(plenum, boost),
            "limit": [column for source in self.sources for column in source.limits],
            "injection": self._injected(middle, back, pressures),
            "stage": [],
        }
        if stages > 1:
            blocks["stage"] = [
                values[back, i]
                for state in found
                for values in (state.flow * T_feed, state.first_out, state.last_out)
                for i in range(len(T_feed))
            ]
        speeds = [d.air_speed[duct.duct.name] for duct in self.ducts]
        air = [d.bay_temperature, d.ambient_temperature, W]
        columns = [*(middle.flow * T_feed)[back].T, *middle.first_out[back].T, *air, *speeds]
        starts = {}
        for name, block in blocks.items():
            starts[f"in_{name}"] = len(columns)
            columns += block
        return {
            "inputs": np.ascontiguousarray(np.column_stack(columns)),
            "boost": boost.astype(np.int8),
            "feed": T_feed,
            "between": T_between,
            "stages": stages,
            **starts,
            **self._charge_shares(max(float(state.flow.max()) for state in found)),
            **self._wet_rows(pressures),
        }

    def _injected(self, middle: _Tabulated, back: np.ndarray, pressures: np.ndarray) -> list[np.ndarray]:
        """Columns of every injection."""
        nozzles = [
            (
                self.build.parts[name],
                self._about(name, (middle.first_out if between else middle.last_out)[back, 1]),
                pressures[:, int(between)],
            )
            for name in self.injections
            for between in [name in names_on(self._up_to_last_stage())]
        ]
        charge = middle.flow[back, 1], middle.plenum[back, 1]
        return injection_columns(nozzles, charge, self.around, self.humidity)

    def _about(self, name: str, outlet: np.ndarray) -> np.ndarray:
        """Gas temperature to expect at an injection, K: the `outlet` of the compressor before it, near ambient behind a
        core that stands between the two.
        """
        ahead = list(itertools.takewhile(lambda part: part != name, names_on(self.charge.after)))
        if self.charge.stages[-1] in ahead:
            ahead = ahead[ahead.index(self.charge.stages[-1]) :]
        cooled = any(isinstance(self.build.parts[part], (WaterCoreSpec, AirCoreSpec)) for part in ahead)
        return self.demand.ambient_temperature + 25.0 if cooled else outlet

    def _balances(self, rows: np.ndarray, T_feed: np.ndarray, T_between: float) -> _Tabulated:
        """The charge side at rows of (engine speed, target, inlet T, humidity ratio) by plenum temperatures."""
        T_all, T_feed, spread = T_feed, *_feed_points(T_feed, self.grid.feed)
        speed, target, inlet = (np.repeat(rows[:, c], len(T_feed)) for c in range(3))
        plenum = np.tile(T_feed, len(rows))
        moist = self.humidity if isinstance(self.humidity, float) else np.repeat(rows[:, 3], len(T_feed))
        state = self.charge.balance(
            speed, target, plenum, inlet, np.full(plenum.shape, T_between), humidity=moist, settled=self.grid.settled
        )
        first, last = state.stages[0], state.stages[-1]
        values = (
            state.flow,
            state.plenum_pressure,
            last.outlet_pressure,
            first.outlet_pressure,
            first.outlet,
            last.outlet,
        )
        shaped = [v.reshape(len(rows), len(T_feed)) for v in values]
        if spread is None:
            return _Tabulated(*shaped)
        # flow falls nearly as one over temperature: its product with it is what a polynomial follows
        return _Tabulated((shaped[0] * T_feed) @ spread / T_all, *(v @ spread for v in shaped[1:]))

    def _charge_shares(self, most_flow: float) -> dict[str, Any]:
        """Share of the whole charge flow in each charge pass, tabulated up to `most_flow`."""
        # with the engine off throughout there is no flow to reach to, but the tables still need a grid
        most = max(most_flow * 1.05, LEAST_REACH * self.charge.peak_flow)
        grid = np.linspace(0.0, np.sqrt(most / self.charge.peak_flow), 16)
        share = np.zeros((len(grid), len(self.rows)))
        m = np.maximum(grid, 0.5 * grid[1]) ** 2 * self.charge.peak_flow
        _, split, _ = charge_split(self.build, self.charge.after, m, self.charge.peak_flow)
        for p, row in enumerate(self.rows):
            if row[layout.P_SORT] == layout.CHARGE:
                share[:, p] = split[:, row[layout.P_COLUMN]] / m
                self.most[p] = most * share[:, p].max()
        return {"share": share, "share_scale": self.charge.peak_flow, "share_step": float(grid[1])}

    def _sources(self, plenum: np.ndarray, boost: np.ndarray) -> list[np.ndarray]:
        fuel = fuel_heat(self.build, self.demand, self.humidity, plenum / self.demand.ambient_pressure)
        names, passes = [f.name for f in self.fields], [(p.part, p.side) for p in self.passes]
        places = (names.index, lambda part, side: passes.index((part, side)))
        self.sources = sources(self.build, self.demand, self.humidity, boost, fuel, places)
        return [source.column for source in self.sources]

    def _wet_rows(self, pressures: np.ndarray) -> dict[str, np.ndarray]:
        """Charge passes of cores whose walls may be colder than the dew point: 1 behind, 2 between the compressors."""
        wet = np.zeros(len(self.rows), dtype=np.int64)
        ahead = names_on(self._up_to_last_stage())
        chilled = [loop.coolant.freezing_point for i, loop in enumerate(self.loops) if self._has(i, ChillerSpec)]
        coldest = min([self._coldest(-1) + 5.0, *chilled])
        damp = bool(self.injections) or may_condense(float(np.max(self.humidity)), pressures, coldest)
        for p, found in enumerate(self.passes):
            core = isinstance(self.build.parts.get(found.part), (WaterCoreSpec, AirCoreSpec))
            if core and found.side == "charge" and damp:
                wet[p] = 2 if found.part in ahead else 1
        return {"pass_wet": wet}

    def _up_to_last_stage(self) -> tuple:
        """What lies between two compressors; nothing with one."""
        if len(self.charge.stages) == 1:
            return ()
        return self.charge.after[: self.charge.after.index(self.charge.stages[-1])]

    def _colder(self) -> float:
        """How far sprays or a chiller may bring a wall under everything's start, K."""
        parts = self.build.parts.values()
        return SPRAYED_COLDER if any(getattr(p, "spray", None) or isinstance(p, ChillerSpec) for p in parts) else 0.0

    def _coefficient_tables(self) -> dict[str, np.ndarray]:
        keys = [self._alike(k) for k in range(len(self.coefficients))]
        reach: dict[tuple, tuple[float, float]] = {}
        for k, key in enumerate(keys):
            one, two = self.coefficient_flows[k]
            first = self.charge.peak_flow * 1.2 if one == layout.TOTAL_CHARGE else self.most[one]
            second = self.most[two] if two >= 0 else 0.0
            known = reach.get(key, (0.0, 0.0))
            reach[key] = (max(first, known[0]), max(second, known[1]))
        made: dict[tuple, tables.Table] = {}
        for k, key in enumerate(keys):
            if key not in made:
                loop = self.coefficient_loop[k]
                span = (self._coldest(loop), self._hottest(loop))
                made[key] = tables.tabulate(self.coefficients[k], reach[key], span, self.grid)
        found = [made[key] for key in keys]
        offsets = np.cumsum([0] + [t.a.size for t in found])[:-1]
        return {
            "table_first": offsets.astype(np.int64),
            "table_shape": np.array([_three(t.shape) for t in found], dtype=np.int64).reshape(-1, 3),
            "table_flow": np.array(self.coefficient_flows, dtype=np.int64).reshape(-1, 2),
            "table_scale": np.array([t.scale for t in found]).reshape(-1, 2),
            "table_step": np.array([t.step for t in found]).reshape(-1, 3),
            "table_origin": np.array([t.origin for t in found]),
            "table_loop": np.array(self.coefficient_loop, dtype=np.int64),
            "values_a": _flat([t.a.ravel() for t in found]),
            "values_b": _flat([t.b.ravel() for t in found]),
        }

    def _alike(self, number: int) -> tuple:
        """What the table of a coefficient follows from: equal parts (a left and a right core) share the work of one."""
        part = next((self.passes[p].part for p, row in enumerate(self.rows) if row[layout.P_TABLE] == number), None)
        return (self.build.parts[part] if part else number), self.coefficient_loop[number], self.cells.get(part or "")

    @cached_property
    def _under_all_starts(self) -> float:
        starts = [self.start_T, self.demand.ambient_range[0], *(f.start for f in self.fields if f.start is not None)]
        return min(starts) - 5.0 - self._colder()

    def _coldest(self, loop: int = -1) -> float:
        """Under all starts; of one loop's tables the bottom of their coolant axis, never under its freezing point.

        A chilled loop's tables reach down to freezing, where the chiller takes nothing more.
        """
        lowest = self._under_all_starts
        if loop < 0:
            return lowest
        freezing = self.loops[loop].coolant.freezing_point
        return freezing if self._has(loop, ChillerSpec) else max(lowest, freezing + 0.5)

    def _has(self, loop: int, kind: type) -> bool:
        return any(isinstance(self.build.parts.get(name), kind) for name in self.loops[loop].network.names)

    def _hottest(self, loop: int) -> float:
        engine_in = loop >= 0 and any(
            isinstance(self.build.parts.get(name), EngineJacketSpec) for name in self.loops[loop].network.names
        )
        return HOTTEST_ENGINE if engine_in else HOTTEST

    # --- sensors ---

    def _sensor_rows(self) -> dict[str, np.ndarray]:
        where: list[tuple[str, int, Reading]] = [("charge", 0, reading) for reading in self.charge.sensors]
        where += [("coolant", i, reading) for i, loop in enumerate(self.loops) for reading in loop.sensors]
        self.sensors = tuple(reading.sensor for _, _, reading in where)
        rows = []
        for side, path, reading in where:
            spec = self.build.parts[reading.sensor]
            assert isinstance(spec, SensorSpec)
            if side == "charge" and (reading.behind is None or reading.behind in names_on(self.charge.before)):
                raise BadInput(
                    "stands before the compressor; an intake sensor belongs behind it", key=f"parts.{reading.sensor}"
                )
            index, node = self._read_place(side, path, reading)
            bench = spec.bench_flow
            if bench is None:
                bench = 0.25 * self.charge.peak_flow if side == "charge" else max(self.most[index], 1e-3)
            flow = layout.TOTAL_CHARGE if side == "charge" and (node >= 0 or index < 0) else index
            self.coefficients.append(tables.of_sensor(spec, bench))
            self.coefficient_flows.append((flow, -1))
            self.coefficient_loop.append(-1)
            sort = layout.CHARGE if side == "charge" else layout.COOLANT
            rows.append([sort, path, node, index, len(self.coefficients) - 1, AROUND[spec.surroundings]])
        table = np.array(rows, dtype=np.int64).reshape(-1, 6)
        names = ("sensor_sort", "sensor_path", "sensor_node", "sensor_pass", "sensor_table", "sensor_around")
        found = {name: np.ascontiguousarray(table[:, i]) for i, name in enumerate(names)}
        found["sensor_boss_rate"] = np.array([1.0 / self.build.parts[name].boss_time for name in self.sensors])
        return found

    def _read_place(self, side: str, path: int, reading: Reading) -> tuple[int, int]:
        """Pass whose outlet a sensor reads (and whose flow it sees), and the node, or -1, where it reads a mix."""
        if reading.behind is None or reading.behind == self.charge.compressor_name:
            first = next(
                p for p, row in enumerate(self.rows) if self.passes[p].side == side and row[layout.P_PATH] == path
            )
            return first, 0
        index = next(p for p, found in enumerate(self.passes) if found.part == reading.behind and found.side == side)
        return index, self.rows[index][layout.P_OUT] if reading.mixed else -1

    # --- all together ---

    def plant(self) -> Plant:
        self.thread()
        self._devices()
        parts: dict = {}
        parts |= self._loop_tables()
        parts |= self._duct_tables()
        parts |= self._charge_tables()
        parts |= self._sensor_rows()
        parts |= self._coefficient_tables()
        parts |= self._field_rows()
        parts |= self._loop_rows()
        parts |= self._pass_shares()
        parts |= self._ice_rows(parts)
        parts |= source_rows(self.sources)
        parts |= saturation_scalars()
        parts |= self._states(parts)
        parts |= self._controls(parts)
        d = self.demand
        arrays = layout.Arrays(
            step=float(d.time[1] - d.time[0]),
            feedback_time=self.grid.feedback_time,
            engine_metal=self._engine_metal(),
            cp_charge=self.cp_charge,
            cp_air=self.cp_air,
            passes=np.array(self.rows, dtype=np.int64),
            charge_nodes=self.charge_network.nodes,
            level=self.level,
            combo_loop=self.combo_loop,
            combo_duct=self.combo_duct,
            combo_stride=self.stride,
            **parts,
        )
        return Plant(
            self.build,
            d,
            arrays,
            self.charge,
            self.loops,
            self.ducts,
            tuple(self.passes),
            tuple(f.name for f in self.fields),
            tuple(self.coefficients),
            self.devices,
            tuple(self.levels),
            self.sensors,
            self._start(arrays),
            self.around,
            self.humidity,
            self.warnings,
        )

    def _pass_shares(self) -> dict[str, np.ndarray]:
        n = len(self.rows)
        return {
            "pass_bypass": np.array([self.bypass.get(p, 0.0) for p in range(n)]),
            "pass_backmix": np.array([self.backmix.get(p, 0.0) for p in range(n)]),
        }

    def _ice_rows(self, parts: dict) -> dict[str, np.ndarray]:
        tanks = []
        for i, loop in enumerate(self.loops):
            for name in loop.network.names:
                spec = self.build.parts[name]
                if isinstance(spec, ReservoirSpec) and self.ice:
                    f = next(k for k, found in enumerate(self.fields) if found.name == f"{name} coolant")
                    first, count = int(parts["field_first"][f]), int(parts["field_count"][f])
                    states = range(first, first + count)
                    rho, cp = self.reference[i]
                    liquid = rho * sum(coolant_held(self.build.parts[part]) for part in loop.network.names)
                    tanks.append((spec, loop.coolant, states, self.fields[f].capacity, cp, liquid))
        return ice_rows(tanks)

    def _engine_metal(self) -> float:
        return max(self.build.engine.metal_temperature, self.demand.ambient_range[1])

    def _field_rows(self) -> dict[str, np.ndarray]:
        counts = np.array([f.count for f in self.fields], dtype=np.int64)
        return {
            "field_first": np.concatenate([[0], np.cumsum(counts)[:-1]]).astype(np.int64),
            "field_count": counts,
            "field_capacity": np.array([f.capacity for f in self.fields]),
            "field_pickup": np.array([f.pickup for f in self.fields]),
            "field_around": np.array([f.around for f in self.fields], dtype=np.int64),
            "field_loop": np.array([f.loop for f in self.fields], dtype=np.int64),
            "field_column": np.array([f.column for f in self.fields], dtype=np.int64),
        }

    def _loop_rows(self) -> dict[str, np.ndarray]:
        weight = np.zeros(len(self.rows))
        for p, row in enumerate(self.rows):
            if row[layout.P_SORT] == layout.COOLANT:
                felt = self._felt_by_thermostats(int(row[layout.P_PATH]))
                if not felt or self.passes[p].part in felt:
                    weight[p] = coolant_held(self.build.parts[self.passes[p].part])
        for i in range(len(self.loops)):
            mine = [
                p for p, row in enumerate(self.rows) if row[layout.P_SORT] == layout.COOLANT and row[layout.P_PATH] == i
            ]
            weight[mine] /= weight[mine].sum()
        rho_cp = np.array([rho * cp for rho, cp in self.reference])
        return {
            "loop_nodes": np.array([loop.network.nodes for loop in self.loops], dtype=np.int64),
            "loop_capacity": rho_cp,
            "loop_density": np.array([rho for rho, _ in self.reference]),
            "loop_weight": weight,
            "loop_pass": self._first_of(layout.COOLANT, len(self.loops)),
            "duct_pass": self._first_of(layout.COOLING, len(self.ducts)),
            "duct_nodes": np.array([duct.network.nodes for duct in self.ducts], dtype=np.int64),
        }

    def _felt_by_thermostats(self, loop: int) -> set[str]:
        """Parts whose coolant a loop's thermostats stand in; none without one: the loop's mean then stands for all.

        The mean would not do: with a thermostat shut it has the cold radiator in it, and would hold the engine
        25 K over what is stamped on it.  A thermostat at the head of a branch feels what comes to the fork, one at
        the end of a branch what leaves the joint, one in line what comes to it.
        """
        links, felt = self.loops[loop].network.links, set()
        for link in links:
            if isinstance(self.build.parts[link.name], ThermostatSpec):
                beside = [other for other in links if other is not link]
                heads = any(other.start == link.start for other in beside)
                ends = any(other.end == link.end for other in beside)
                if ends and not heads:
                    felt |= {other.name for other in beside if other.start == link.end}
                else:
                    felt |= {other.name for other in beside if other.end == link.start}
        return felt

    def _first_of(self, sort: int, paths: int) -> np.ndarray:
        """First pass of every path of a sort, and one past the last; passes stand path by path."""
        before = sum(row[layout.P_SORT] < sort for row in self.rows)
        counts = [
            sum(row[layout.P_SORT] == sort and row[layout.P_PATH] == path for row in self.rows) for path in range(paths)
        ]
        return before + np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)

    def _states(self, parts: dict) -> dict[str, int]:
        i_feed = int(parts["field_count"].sum())
        i_duct = i_feed + 1
        i_boss = i_duct + len(self.ducts)
        i_reading = i_boss + len(self.sensors)
        i_between = i_reading + len(self.sensors)
        i_ice = i_between + (len(self.charge.stages) > 1)
        return {
            "i_feed": i_feed,
            "i_duct": i_duct,
            "i_boss": i_boss,
            "i_reading": i_reading,
            "i_between": i_between,
            "i_ice": i_ice,
            "n_states": i_ice + len(parts["ice_node"]),
        }

    def _controls(self, parts: dict) -> dict[str, np.ndarray]:
        n, n_loops = len(self.devices), len(self.loops)
        state, on, off = np.full(n, -1, dtype=np.int64), np.zeros(n), np.zeros(n)
        loops = np.zeros((n, max(n_loops, 1)), dtype=np.int8)
        level_on, level_off = np.zeros(n, dtype=np.int64), np.zeros(n, dtype=np.int64)
        charge_sensors = [i for i, name in enumerate(self.sensors) if parts["sensor_sort"][i] == layout.CHARGE]
        for k, name in enumerate(self.devices):
            control = self.build.parts[name].control
            on[k], off[k] = control.threshold, control.threshold - control.hysteresis
            level_on[k] = (
                int(np.argmax(self.levels[k] >= 1.0)) if (self.levels[k] >= 1.0).any() else len(self.levels[k]) - 1
            )
            if control.of == "coolant":
                mine = [self.combo_loop[k]] if self.combo_loop[k] >= 0 else self._loops_in_duct(int(self.combo_duct[k]))
                if not mine and control.mode == "above":
                    raise BadInput(
                        "is controlled by coolant temperature, but no coolant runs through its duct",
                        key=f"parts.{name}.control",
                    )
                loops[k, mine] = 1
            else:
                state[k] = parts["i_reading"] + charge_sensors[-1] if charge_sensors else parts["i_feed"]
        return {
            "control_state": state,
            "control_loops": loops,
            "control_on": on,
            "control_off": off,
            "level_on": level_on,
            "level_off": level_off,
        }

    def _loops_in_duct(self, duct: int) -> list[int]:
        return sorted(
            {
                i
                for i, loop in enumerate(self.loops)
                for name in self.ducts[duct].network.names
                if name in loop.network.names
            }
        )

    def _start(self, arrays: layout.Arrays) -> np.ndarray:
        x = np.zeros(arrays.n_states + layout.accumulators(arrays))
        x[: arrays.n_states] = self.start_T
        for f, at, count in zip(self.fields, arrays.field_first, arrays.field_count, strict=True):
            if f.start is not None:
                x[at : at + count] = f.start
        x[arrays.i_ice : arrays.n_states] = arrays.ice_mass
        if self.demand.start == "soaked":
            x[arrays.i_duct : arrays.i_boss] = self.demand.ambient_temperature[0]
        return x


def _unique_rows(rows: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Unlike rows, and the place of every row among them: by one number a row, which sorts faster than rows do."""
    code = np.zeros(len(rows), dtype=np.uint64)
    for (
        column
    ) in rows.T:  # bits of every column, scrambled one by one (Fowler, Noll and Vo's way with words, own prime)
        code = (code ^ np.ascontiguousarray(column + 0.0).view(np.uint64)) * np.uint64(0x9E3779B97F4A7C15)
        code ^= code >> np.uint64(29)
    _, first, back = np.unique(code, return_index=True, return_inverse=True)
    if (rows[first][back] == rows).all():
        return rows[first], back
    unlike, place = np.unique(rows, axis=0, return_inverse=True)  # two rows of one number: hardly ever
    return unlike, place.ravel()


def _feed_points(T_feed: np.ndarray, count: int) -> tuple[np.ndarray, np.ndarray | None]:
    """Plenum temperatures to balance at (Chebyshev points), and the weights that carry values there to `T_feed`."""
    if count >= len(T_feed):
        return T_feed, None
    middle, half = 0.5 * (T_feed[0] + T_feed[-1]), 0.5 * (T_feed[-1] - T_feed[0])
    at = np.cos(np.pi * (np.arange(count)[::-1] + 0.5) / count)
    basis = np.vander((T_feed - middle) / half, count) @ np.linalg.inv(np.vander(at, count))
    return middle + half * at, basis.T


def _three(shape: tuple[int, ...]) -> tuple[int, int, int]:
    return (shape[0], shape[1], shape[2] if len(shape) > 2 else 1)


def _flat(pieces: list[np.ndarray]) -> np.ndarray:
    return np.ascontiguousarray(np.concatenate(pieces)) if pieces else np.zeros(1)
