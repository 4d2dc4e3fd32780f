"""`simulate`: the whole session for one build; and `solve`, the march of an assembled plant.

What is here: running the kernel, the step check, the traces by name, the ledger, the ladder and the
health of a forecast.  What is not: what it means (`judge/`), bands (`explore/`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from coldside.build.model import Build, names_on
from coldside.duty.demand import sample
from coldside.duty.model import Demand, Session
from coldside.parts import engine
from coldside.parts.exchanger import AirCoreSpec, ExchangerSpec, WaterCoreSpec
from coldside.parts.pump import PumpSpec
from coldside.parts.reservoir import ReservoirSpec
from coldside.plant import layout
from coldside.plant.assemble import Plant, assemble
from coldside.plant.charge import ChargeState
from coldside.plant.ladder import ladder
from coldside.plant.output import brake_power_at
from coldside.plant.results import Forecast, Health, HeatFlow, Ledger

CELLS_MISS_ALLOWED = 3e-3  # of the heat carried
BENCH_RANGE = (0.5, 2.0)  # of the bench flow; beyond it a rating is extrapolated (heat note B4)


@dataclass(frozen=True)
class Solution:
    """What the kernel left behind: traces at the samples, states at the end and at the peak."""

    streams: np.ndarray  # (n, passes, 3): inlet T, outlet T, flow
    scalars: np.ndarray  # (n, 4 + sensors + loops + ducts)
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


def solve(plant: Plant, *, parts: int = 1, levels: np.ndarray | None = None) -> Solution:
    """March a plant through its demand.

    `parts` multiplies the sub-steps; `levels` (n, devices) replays recorded commands instead of
    letting the controls decide, so that two runs differ by their steps alone.
    """
    from coldside.plant import kernel  # Numba is imported only when something runs

    A = plant.arrays
    wanted = A.level if levels is None else np.ascontiguousarray(levels, dtype=np.int64)
    n, n_pass = len(A.inputs), len(A.passes)
    streams = np.zeros((n, n_pass, 3))
    scalars = np.zeros((n, 4 + len(plant.sensors) + len(plant.loops) + len(plant.ducts)))
    recorded = np.zeros((n, len(plant.devices)), dtype=np.int64)
    x = plant.start.copy()
    peak_state = x.copy()
    packed, work = layout.pack(A), layout.new_work(A).packed
    steps, substeps, peak = kernel.march(*packed, work, x, wanted, parts, streams, scalars, recorded, peak_state)
    return Solution(streams, scalars, recorded, plant.start, x, int(peak), peak_state, int(steps), int(substeps))


def simulate(build: Build, session: Session, *, progress: Callable[[str], None] | None = None) -> Forecast:
    """Forecast a session: what this build will do.

    Parameters: a `build` (see `load_build`), a `session` (see `load_session`); `progress` is told in
    words what is being done.  Returns a `Forecast`, step-checked and with its ledger closed.  Raises
    `BadInput` for a bench point or a path that cannot be, `NoAnswer` where flows have no balance.
    """
    tell = progress or (lambda _: None)
    demand = sample(session, build)
    tell("putting the parts together")
    plant = assemble(build, demand)
    tell("running the session")
    solution = solve(plant)
    tell("checking the step")
    halved = solve(plant, parts=2, levels=solution.levels)
    step_check = float(np.abs(halved.intake - solution.intake).max())
    return _forecast(plant, session, solution, step_check)


def _forecast(plant: Plant, session: Session, solution: Solution, step_check: float) -> Forecast:
    demand, build = plant.demand, plant.build
    state = charge_states(plant, demand, solution.scalars[:, 3])
    streams = _Streams(plant, solution)
    n_sensors, n_loops = len(plant.sensors), len(plant.loops)
    charge_sensors = [i for i in range(n_sensors) if plant.arrays.sensor_sort[i] == layout.CHARGE]
    fuel, power, cold = _engine_output(plant, state, solution.scalars[:, 3])
    cores = [
        p
        for p in plant.passes
        if p.side == "charge" and isinstance(build.parts.get(p.part), (WaterCoreSpec, AirCoreSpec))
    ]
    rejected = sum((streams.heat(p.part, "charge") for p in cores), np.zeros(len(demand.time)))
    ledger = _ledger(plant, solution)
    warnings = list(plant.warnings) + _warnings(plant, solution, streams, fuel)
    health = Health(
        step_check, ledger.closure, tuple(_extrapolated(plant, solution, streams, state)),
        tuple(f"{key}: {value.text}" for key, value in build.defaults()), tuple(warnings),
    )  # fmt: skip
    inlet, outlet, flow, capacity = streams.by_name()
    compressor = (plant.charge.compressor_name, "charge")
    inlet[compressor], outlet[compressor] = state.compressor_in, state.compressor_out
    flow[compressor], capacity[compressor] = state.flow, plant.arrays.cp_charge
    for name in names_on(plant.charge.before):
        key = (name, "charge")
        inlet[key] = outlet[key] = state.compressor_in
        flow[key], capacity[key] = state.flow, plant.arrays.cp_charge
    return Forecast(
        build=build, session=session, demand=demand, time=demand.time, intake=solution.intake,
        sensor=solution.scalars[:, 4 + charge_sensors[-1]] if charge_sensors else None,
        compressor_in=state.compressor_in, compressor_out=solution.scalars[:, 1], charge_flow=solution.scalars[:, 0],
        plenum_pressure=state.plenum_pressure, compressor_out_pressure=state.compressor_out_pressure,
        fuel_flow=fuel, power=power, power_at_ambient=cold, heat_rejected=rejected,
        coolant_flow={loop.loop.name: streams.pumped(i) for i, loop in enumerate(plant.loops)},
        coolant_in_cores={loop.loop.name: streams.into_cores(i, solution.scalars[:, 4 + n_sensors + i]) for i, loop in enumerate(plant.loops)},
        tank=streams.tanks(), air_flow={duct.duct.name: streams.duct_flow(i) for i, duct in enumerate(plant.ducts)},
        command={name: plant.levels[k][solution.levels[:, k]] for k, name in enumerate(plant.devices)},
        outlet=outlet, inlet=inlet, flow=flow, heat_capacity=capacity, ledger=ledger, ladder=tuple(ladder(plant, solution)), health=health,
        states=plant.arrays.n_states, substeps=solution.substeps, steps=solution.steps, peak=solution.peak,
    )  # fmt: skip


def charge_states(plant: Plant, demand: Demand, plenum: np.ndarray) -> ChargeState:
    """The charge side at every sample, from the exact balance at the plenum temperature found (not the tables)."""
    inlet = plant.charge.inlet_temperature(demand.bay_temperature)
    return plant.charge.balance(demand.engine_speed, demand.plenum_target, plenum, inlet)


class _Streams:
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
        """Heat given up by the stream, W."""
        p = self.plant.index(part, side)
        return self.streams[:, p, 2] * self._capacity(p) * (self.streams[:, p, 0] - self.streams[:, p, 1])

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
            p for p in range(len(passes))
            if A.passes[p, layout.P_SORT] == layout.COOLANT and A.passes[p, layout.P_PATH] == loop and isinstance(self.plant.build.parts[passes[p].part], kind)
        ]  # fmt: skip

    def pumped(self, loop: int) -> np.ndarray:
        """Volume flow of the loop, m3/s: through its first pump and those beside it."""
        A = self.plant.arrays
        pumps = self._of_loop(loop, PumpSpec)
        first = A.passes[pumps[0], layout.P_IN]
        beside = [p for p in pumps if A.passes[p, layout.P_IN] == first]
        return self.streams[:, beside, 2].sum(axis=1) / A.loop_density[loop]

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
        A = self.plant.arrays
        mine = (
            (A.passes[:, layout.P_SORT] == layout.COOLING)
            & (A.passes[:, layout.P_PATH] == duct)
            & (A.passes[:, layout.P_IN] == 0)
        )
        return self.streams[:, mine, 2].sum(axis=1)


def _engine_output(plant: Plant, state: ChargeState, feed: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Fuel [kg/s], brake power [W], and brake power with the charge held at ambient temperature [W]."""
    spec, demand, W = plant.build.engine, plant.demand, plant.around.humidity_ratio
    lam = engine.mixture(spec, state.plenum_pressure / demand.ambient_pressure, demand.full_load)
    fuel = engine.fuel_flow(spec, state.flow, W, lam)
    ambient = np.full(len(demand.time), demand.ambient_temperature)
    cold = charge_states(plant, demand, ambient)
    return fuel, brake_power_at(plant, state.flow, feed), brake_power_at(plant, cold.flow, ambient)


def _ledger(plant: Plant, solution: Solution) -> Ledger:
    """Heat over the session from the integrals that rode with the states."""
    A = plant.arrays
    n_pass, n_field = len(A.passes), len(A.field_first)
    heats = solution.end[A.n_states :] - solution.start[A.n_states :]
    by_pass, by_pickup, by_pump = (
        heats[:n_pass],
        heats[n_pass : n_pass + n_field],
        heats[n_pass + n_field : n_pass + 2 * n_field],
    )
    handled = float(heats[-1])
    flows = []
    for p, found in enumerate(plant.passes):
        if A.passes[p, layout.P_LIQUID] < 0 and A.passes[p, layout.P_WALL] >= 0:
            flows.append(HeatFlow(found.part, found.side, float(by_pass[p])))
    stored_sum = 0.0
    for f, name in enumerate(plant.fields):
        first, count = A.field_first[f], A.field_count[f]
        change = solution.end[first : first + count] - solution.start[first : first + count]
        stored = float(A.field_capacity[f] * change.sum())
        stored_sum += stored
        part = name.rsplit(" ", 1)[0]
        flows.append(HeatFlow(part, "stored", stored))
        if A.field_pickup[f] > 0.0:
            flows.append(HeatFlow(part, "pickup", float(by_pickup[f])))
        if A.field_loop[f] >= 0:
            flows.append(HeatFlow(part, "pump", float(by_pump[f])))
    sorts = A.passes[:, layout.P_SORT]
    heat_in = float(by_pass[sorts == layout.CHARGE].sum())
    to_air = float(by_pass[sorts == layout.COOLING].sum())
    pickup = float(by_pickup.sum() + by_pump.sum())
    closure = abs(heat_in + pickup - to_air - stored_sum) / max(handled, 1.0)
    return Ledger(heat_in, pickup, to_air, stored_sum, handled, closure, tuple(flows))


def _extrapolated(plant: Plant, solution: Solution, streams: _Streams, state: ChargeState) -> list[str]:
    """Sentences on every map, rating or fit that was left."""
    found = []
    operating, time = state.operating, plant.demand.time
    for mask, words in (
        (operating.beyond_surge, "ran left of the compressor map's surge line"),
        (operating.beyond_choke, "ran beyond the compressor map's choke line"),
        (operating.above_speed, "ran above the compressor map's highest speed line"),
    ):
        seconds = float(np.count_nonzero(mask)) * plant.arrays.step
        if seconds > 0.0:
            found.append(
                f"{plant.charge.compressor_name} {words} for {seconds:.1f} s, first at {time[int(np.argmax(mask))]:.0f} s; its edge was used"
            )
    found.extend(_cells_missed(plant, solution))
    boost = plant.demand.boost
    for p, name in enumerate(plant.passes):
        spec = plant.build.parts.get(name.part)
        bench = _bench_flow(spec, name.side, plant, p)
        if bench is None:
            continue
        ratio = np.abs(solution.streams[:, p, 2]) / bench
        most = float(ratio.max())
        if most > BENCH_RANGE[1]:
            found.append(
                f"{name.part}'s {_side_words(name.side)} flow is up to {most:.1f} times the point it was measured at"
            )
        elif name.side == "charge" and boost.any() and float(ratio[boost].max()) < BENCH_RANGE[0]:
            found.append(f"{name.part}'s charge flow in boost stays below half the point it was measured at")
    for i, loop in enumerate(plant.loops):
        mean = solution.scalars[:, 4 + len(plant.sensors) + i]
        for T in (float(mean.min()), float(mean.max())):
            found.extend(f"{loop.loop.name} loop: {words}" for words in loop.coolant.extrapolated(T))
    return found


def _cells_missed(plant: Plant, solution: Solution) -> list[str]:
    """Cores whose wall cells fall short of the exact effectiveness, weighted by the heat they carried."""
    A, found = plant.arrays, []
    some = np.linspace(0, len(plant.demand.time) - 1, 300).astype(int)
    for k, coefficient in enumerate(plant.coefficients):
        one, two = A.table_flow[k]
        if two < 0:
            continue
        streams = solution.streams[some]
        n_sensors = len(plant.sensors)
        T = (
            solution.scalars[some, 4 + n_sensors + A.table_loop[k]]
            if A.table_loop[k] >= 0
            else np.full(len(some), A.ambient)
        )
        _, _, miss = coefficient.exact(np.abs(streams[:, one, 2]), np.abs(streams[:, two, 2]), T)
        heat = np.abs(streams[:, one, 2] * (streams[:, one, 0] - streams[:, one, 1]))
        mean = float(np.average(np.abs(miss), weights=heat)) if heat.sum() > 0.0 else 0.0
        if mean > CELLS_MISS_ALLOWED:
            found.append(
                f"{plant.passes[one].part}: its wall cells carry {mean:.1%} less heat than the exact relation, averaged over the session"
            )
    return found


def _bench_flow(spec: object, side: str, plant: Plant, p: int) -> float | None:
    if side == "charge" and isinstance(spec, (WaterCoreSpec, AirCoreSpec)):
        return spec.bench_charge_flow
    if side == "cooling" and isinstance(spec, (AirCoreSpec, ExchangerSpec)):
        return spec.bench_cooling_flow
    if side == "coolant" and isinstance(spec, (WaterCoreSpec, ExchangerSpec)) and spec.bench_coolant_flow:
        return spec.bench_coolant_flow * float(plant.arrays.loop_density[plant.arrays.passes[p, layout.P_PATH]])
    return None


def _side_words(side: str) -> str:
    return {"charge": "charge", "coolant": "coolant", "cooling": "cooling-air"}[side]


def _warnings(plant: Plant, solution: Solution, streams: _Streams, fuel: np.ndarray) -> list[str]:
    """Sentences on what a forecast found that a user must know before full load."""
    words = list(plant.build.notes) + list(plant.demand.notes) + list(plant.charge.compressor.notes)
    spec = plant.build.engine
    count = engine.injector_count(spec)
    peak = float(fuel.max())
    if spec.injector_capacity is not None:
        share = peak / count / spec.injector_capacity
        if share > 0.85:
            words.append(
                f"injectors: peak fuel flow asks {share:.0%} of each injector's capacity; more air needs more fuel, check before full load"
            )
    for i, loop in enumerate(plant.loops):
        flow = streams.pumped(i)
        if float(np.abs(flow).max()) < 1e-6:
            words.append(f"{loop.loop.name} loop: nothing moved the coolant in this session")
        mean = solution.scalars[:, 4 + len(plant.sensors) + i]
        if float(mean.min()) < loop.coolant.freezing_point + 1.0:
            words.append(f"{loop.loop.name} loop: the coolant comes within 1 K of freezing")
    return words
