"""`simulate`: the whole session for one build; and `solve`, the march of an assembled plant.

What is here: running the kernel, the step check, the traces by name, the ledger, the ladder and the
health of a forecast.  What is not: what it means (`judge/`), bands (`explore/`).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

import numpy as np

from coldside.build.model import Build, names_on
from coldside.duty.demand import CHARGE_RISE, reckoned_power, weather
from coldside.duty.model import Demand, Session
from coldside.parts import engine
from coldside.parts.exchanger import AirCoreSpec, WaterCoreSpec
from coldside.plant import feedback, layout, reference
from coldside.plant.assemble import Plant, assemble
from coldside.plant.charge import ChargeState
from coldside.plant.health import extrapolated, seconds_off_map, warnings_of
from coldside.plant.ladder import ladder
from coldside.plant.output import brake_power_at, knock_share
from coldside.plant.results import Forecast, Health, HeatFlow, Ledger, spread_over
from coldside.plant.traces import Solution, Streams


def solve(
    plant: Plant,
    *,
    parts: int = 1,
    levels: np.ndarray | None = None,
    spacing: np.ndarray | None = None,
    quick: bool = False,
) -> Solution:
    """March a plant through its demand.

    `parts` multiplies the sub-steps; `levels` (n, devices) replays recorded commands instead of
    letting the controls decide, so that two runs differ by their steps alone.  `spacing` (n - 1,) counts the
    plant's steps from each sample to the next where they are not all one; `quick` takes the scheme of second order.
    """
    from coldside.plant import kernel  # Numba is imported only when something runs

    A = plant.arrays
    wanted = A.level if levels is None else np.ascontiguousarray(levels, dtype=np.int64)
    n, n_pass = len(A.inputs), len(A.passes)
    streams = np.zeros((n, n_pass, 4))
    before = 4 + len(plant.sensors) + len(plant.loops) + len(plant.ducts)
    scalars = np.zeros((n, before + 3 + len(A.ice_node)))
    recorded = np.zeros((n, len(plant.devices)), dtype=np.int64)
    x = plant.start.copy()
    peak_state = x.copy()
    packed, work = layout.pack(A), layout.new_work(A).packed
    spacing = np.ones(max(n - 1, 0)) if spacing is None else spacing
    steps, substeps, peak = kernel.march(
        *packed, work, x, wanted, spacing, quick, parts, streams, scalars, recorded, peak_state
    )
    return Solution(streams, scalars, recorded, plant.start, x, int(peak), peak_state, int(steps), int(substeps))


def simulate(build: Build, session: Session, *, progress: Callable[[str], None] | None = None) -> Forecast:
    """Forecast a session: what this build will do.

    Parameters: a `build` (see `load_build`), a `session` (see `load_session`); `progress` is told in
    words what is being done.  Passes and laps are driven again with the power that heat leaves, boost cut by what
    the car's own trims take, until both stand still (`feedback.py`).  Returns a `Forecast`, step-checked and with its
    ledger closed.  Raises `BadInput` for a bench point or a path that cannot be, `NoAnswer` where flows have no
    balance.
    """
    tell = progress or (lambda _: None)

    def march(demand: Demand) -> feedback.Turn[tuple[Plant, Solution]]:
        tell("putting the parts together")
        plant = assemble(build, demand)
        tell("running the session")
        return turn_of(plant, session, solve(plant))

    turn, settling = feedback.settle(build, session, march, tell=tell)
    plant, solution = turn.result
    tell("checking the step")
    halved = solve(plant, parts=2, levels=solution.levels)
    step_check = float(np.abs(halved.intake - solution.intake).max())
    return forecast_of(plant, session, solution, (step_check, settling))


def turn_of(plant: Plant, session: Session, solution: Solution) -> feedback.Turn[tuple[Plant, Solution]]:
    """A march as driving and boost control see it; see `feedback.settle`."""

    def powers() -> tuple[np.ndarray, np.ndarray]:
        return _power(plant, solution), _reckoned(plant, session)

    return feedback.Turn(plant.demand, (plant, solution), powers, _read(plant, solution))


def _read(plant: Plant, solution: Solution) -> np.ndarray:
    """What the engine's own computer takes for the charge's temperature: the last sensor, else the gas itself."""
    on_charge = np.flatnonzero(plant.arrays.sensor_sort == layout.CHARGE)
    return solution.scalars[:, 4 + on_charge[-1]] if len(on_charge) else solution.intake


def _power(plant: Plant, solution: Solution) -> np.ndarray:
    """Brake power by samples, W."""
    plenum = solution.scalars[:, 3]
    state = charge_states(plant, plant.demand, plenum, _late(plant, solution)[1])
    share = knock_share(plant, state.plenum_pressure, plenum, _read(plant, solution))
    return share * brake_power_at(plant, state.flow, plenum, state.belt_power)


def _reckoned(plant: Plant, session: Session) -> np.ndarray:
    """Brake power by samples with the charge as warm as the demand's own driving assumes and nothing trimmed, W."""
    d = replace(plant.demand, plenum_target=plant.demand.asked_target, boost_taken=None)
    if plant.charge.drive is not None:  # the demand does not know what a belt can give
        return reckoned_power(plant.build.engine, d.engine_speed, d.plenum_target, weather(session).at(_driven_at(d)))
    plenum = np.interp(_driven_at(d), d.time, d.ambient_temperature) + CHARGE_RISE
    state = charge_states(plant, d, plenum, plenum if plant.arrays.stages > 1 else None)
    return brake_power_at(plant, state.flow, plenum, state.belt_power)


def _driven_at(demand: Demand) -> np.ndarray:
    """Whose moment's air each sample was driven in, s: a run's own start, elsewhere the sample's."""
    when = demand.time.copy()
    for run in demand.runs:
        when[run.first : run.last + 1] = demand.time[max(run.first - 1, 0)]
    return when


UNCHECKED = (math.nan, feedback.Settling())


def forecast_of(
    plant: Plant, session: Session, solution: Solution, checks: tuple[float, feedback.Settling] = UNCHECKED
) -> Forecast:
    """The forecast that a solved plant is: traces by name, ledger, ladder, health.

    `checks`: what halving the step changed [K], NaN where it was not tried; how driving and trims came to rest.
    """
    demand, build = plant.demand, plant.build
    condensate, between, last_out, ice = _late(plant, solution)
    state = charge_states(plant, demand, solution.scalars[:, 3], between)
    streams = Streams(plant, solution)
    n_sensors = len(plant.sensors)
    charge_sensors = [i for i in range(n_sensors) if plant.arrays.sensor_sort[i] == layout.CHARGE]
    fuel, power, cold = _engine_output(plant, state, (solution.scalars[:, 3], _read(plant, solution)))
    ledger = _ledger(plant, solution)
    inlet, outlet, flow, capacity = _by_name(plant, streams, state)
    return Forecast(
        build=build,
        session=session,
        demand=demand,
        time=demand.time,
        intake=solution.intake,
        sensor=solution.scalars[:, 4 + charge_sensors[-1]] if charge_sensors else None,
        compressor_in=state.compressor_in,
        compressor_out=last_out,
        charge_flow=solution.scalars[:, 0],
        plenum_pressure=state.plenum_pressure,
        compressor_out_pressure=state.compressor_out_pressure,
        fuel_flow=fuel,
        power=power,
        power_at_ambient=cold,
        heat_rejected=_rejected(plant, streams),
        **_of_loops(plant, streams, solution.scalars[:, 4 + n_sensors :]),
        air_flow={duct.duct.name: streams.duct_flow(i) for i, duct in enumerate(plant.ducts)},
        command={name: plant.levels[k][solution.levels[:, k]] for k, name in enumerate(plant.devices)},
        outlet=outlet,
        inlet=inlet,
        flow=flow,
        heat_capacity=capacity,
        ledger=ledger,
        ladder=tuple(ladder(plant, solution)),
        health=_health(plant, solution, state, fuel, (checks[0], ledger.closure), checks[1]),
        states=plant.arrays.n_states,
        nodes=_nodes(plant, solution),
        substeps=solution.substeps,
        steps=solution.steps,
        peak=solution.peak,
        condensate=condensate,
        ice=ice,
        face_spread=_at_peak(plant, solution),
        stages=state.stages,
        exhaust_pressure=None if np.isnan(state.exhaust_pressure).all() else state.exhaust_pressure,
        runs=feedback.timed_runs(build, session, demand, cold, _reckoned(plant, session)) if demand.runs else (),
        feedback=checks[1].runs,
        boost_feedback=checks[1].boost,
        shares=checks[1].shares,
        latent={p.part: solution.streams[:, i, 3] for i, p in enumerate(plant.passes) if plant.arrays.pass_wet[i]},
    )


def at_moment(forecast: Forecast, sample: int) -> Forecast:
    """The forecast with its ladder and what leaves its cores' faces told at another of its samples.

    Solved again up to there, which gives the same states to the last bit; a forecast on coarse cells gets fine ones.
    """
    if sample == forecast.worst:
        return forecast
    plant = assemble(forecast.build, forecast.demand)
    A, rows = plant.arrays, slice(0, sample + 1)
    cut = A._replace(inputs=A.inputs[rows], boost=A.boost[rows], level=A.level[rows])
    there = solve(replace(plant, arrays=cut))
    there = replace(there, peak=sample, peak_state=there.end)
    return replace(forecast, ladder=tuple(ladder(plant, there)), face_spread=_at_peak(plant, there), moment=sample)


def _of_loops(plant: Plant, streams: Streams, means: np.ndarray) -> dict[str, Any]:
    """What a forecast tells of its loops, whose mean temperatures are the columns of `means`."""
    names = [loop.loop.name for loop in plant.loops]
    return {
        "coolant_flow": {name: streams.pumped(i) for i, name in enumerate(names)},
        "coolant_in_cores": {name: streams.into_cores(i, means[:, i]) for i, name in enumerate(names)},
        "tank": streams.tanks(),
    }


def _late(plant: Plant, solution: Solution) -> tuple[np.ndarray, np.ndarray | None, np.ndarray, dict[str, np.ndarray]]:
    """Condensate [kg/s], gas between two compressors (or None) and at the last outlet [K], ice left by tank [kg]."""
    A = plant.arrays
    at = 4 + len(plant.sensors) + len(plant.loops) + len(plant.ducts)
    water, between, second = (solution.scalars[:, at + i] for i in range(3))
    left = np.maximum(solution.scalars[:, at + 3 :], 0.0)
    ice = {tank: left[:, states].sum(axis=1) for tank, states in iced(plant).items()}
    if A.stages == 1:
        return water, None, solution.scalars[:, 1], ice
    return water, between, second, ice


def _at_peak(plant: Plant, solution: Solution) -> dict[str, tuple[float, float, float]]:
    """Hottest, mean and coldest gas leaving each charge core over its face at the peak."""
    A, k, x = plant.arrays, solution.peak, solution.peak_state
    found = reference.flows(A, k, 0.0, x, plant.combos(solution.levels)[k])
    a, b = reference.coefficients(A, found)
    around = reference.surroundings_at(A, k)
    lanes = reference.heats(A, found, a, b, around, x[: A.n_states, None]).lanes
    return {
        name.part: spread_over(lanes[p][:, 0])
        for p, name in enumerate(plant.passes)
        if name.side == "charge" and isinstance(plant.build.parts.get(name.part), WaterCoreSpec | AirCoreSpec)
    }


def _nodes(plant: Plant, solution: Solution) -> dict[str, tuple[np.ndarray, np.ndarray, float]]:
    """Every block of nodes at start and end, with the heat capacity of one: stored heat can be counted again."""
    A, found = plant.arrays, {}
    for f, name in enumerate(plant.fields):
        here = slice(A.field_first[f], A.field_first[f] + A.field_count[f])
        found[name] = (solution.start[here].copy(), solution.end[here].copy(), float(A.field_capacity[f]))
    for tank, states in iced(plant).items():
        rows = A.i_ice + np.array(states)
        found[f"{tank} ice"] = (solution.start[rows], solution.end[rows], -float(A.ice_latent[states[0]]))
    return found


def iced(plant: Plant) -> dict[str, list[int]]:
    """Rows of the ice arrays by tank."""
    A = plant.arrays
    found: dict[str, list[int]] = {}
    for z, state in enumerate(A.ice_node):
        f = int(np.searchsorted(A.field_first, state, side="right")) - 1
        found.setdefault(plant.fields[f].rsplit(" ", 1)[0], []).append(z)
    return found


def _health(
    plant: Plant,
    solution: Solution,
    state: ChargeState,
    fuel: np.ndarray,
    checks: tuple[float, float],
    settling: feedback.Settling,
) -> Health:
    streams = Streams(plant, solution)
    defaults = tuple(f"{key}: {value.text}" for key, value in plant.build.defaults())
    off = tuple(extrapolated(plant, solution, state))
    warnings = (*warnings_of(plant, streams, fuel), *_of_trims(settling))
    return Health(*checks, off, defaults, warnings, seconds_off_map(plant, state))


def _of_trims(settling: feedback.Settling) -> Iterator[str]:
    """What the car's own trims of boost leave unsure."""
    if not settling.boost_settled:
        yield (
            "the car's own trims of boost and the heat of the charge do not settle: the last turn left boost "
            f"{settling.boost[-1] / 1e3:.1f} kPa from what the trims ask somewhere; take figures in boost with that "
            "much doubt"
        )
    hunt = settling.hunt
    if hunt is not None:
        yield (
            f"the car's own trims of boost are so steep at {hunt.reading - 273.15:.0f} degC on its sensor that the car "
            f"itself would hunt there, between {hunt.low / 1e3:.0f} and {hunt.high / 1e3:.0f} kPa taken off, for "
            f"{hunt.time:.0f} s in all; the forecast holds a boost between the two. The same cut spread over more "
            "degrees ends that"
        )


def _rejected(plant: Plant, streams: Streams) -> np.ndarray:
    """Heat from the charge to all charge cores, W."""
    total = np.zeros(len(plant.demand.time))
    for found in plant.passes:
        if found.side == "charge" and isinstance(plant.build.parts.get(found.part), WaterCoreSpec | AirCoreSpec):
            total += streams.heat(found.part, "charge")
    return total


def _by_name(plant: Plant, streams: Streams, state: ChargeState) -> tuple[dict, dict, dict, dict]:
    """Streams by (part, side), with the parts up to the compressor, which hold no heat of their own."""
    inlet, outlet, flow, capacity = streams.by_name()
    for name in [*names_on(plant.charge.before), plant.charge.compressor_name]:
        key = (name, "charge")
        inlet[key] = state.compressor_in
        outlet[key] = state.stages[0].outlet if name == plant.charge.compressor_name else state.compressor_in
        flow[key], capacity[key] = state.flow, plant.arrays.cp_charge
    return inlet, outlet, flow, capacity


def charge_states(plant: Plant, demand: Demand, plenum: np.ndarray, between: np.ndarray | None = None) -> ChargeState:
    """The charge side at every sample, from the exact balance at the plenum temperature found (not the tables).

    `between` is the gas temperature between two compressors, where there are two.
    """
    inlet = plant.charge.inlet_temperature(demand.bay_temperature, demand.drawn_rise, demand.ambient_temperature)
    return plant.charge.balance(
        demand.engine_speed, demand.plenum_target, plenum, inlet, between, humidity=plant.humidity
    )


def _engine_output(
    plant: Plant, state: ChargeState, temperatures: tuple[np.ndarray, np.ndarray]
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Fuel [kg/s], brake power [W], and brake power with the charge held at ambient temperature [W].

    `temperatures` [K] of the charge in the plenum and as the engine's own computer reads it.
    """
    feed, read = temperatures
    spec, demand, W = plant.build.engine, plant.demand, plant.humidity
    lam = engine.mixture(spec, state.plenum_pressure / demand.ambient_pressure, demand.full_load)
    fuel = engine.fuel_flow(spec, state.flow, W, lam)
    ambient = demand.ambient_temperature
    cool = demand if demand.boost_taken is None else feedback.trimmed_boost(spec, demand, ambient)
    cold = charge_states(plant, cool, ambient, ambient if plant.arrays.stages > 1 else None)
    warm = brake_power_at(plant, state.flow, feed, state.belt_power)
    warm = warm * knock_share(plant, state.plenum_pressure, feed, read)
    at_ambient = brake_power_at(plant, cold.flow, ambient, cold.belt_power)
    return fuel, warm, at_ambient * knock_share(plant, cold.plenum_pressure, ambient, ambient)


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
    stored_by_part: dict[str, float] = {}  # a core's metal and coolant are one line
    for f, name in enumerate(plant.fields):
        first, count = A.field_first[f], A.field_count[f]
        change = solution.end[first : first + count] - solution.start[first : first + count]
        part = name.rsplit(" ", 1)[0]
        stored_by_part[part] = stored_by_part.get(part, 0.0) + float(A.field_capacity[f] * change.sum())
        if A.field_pickup[f] > 0.0:
            flows.append(HeatFlow(part, "pickup", float(by_pickup[f])))
        if A.field_loop[f] >= 0 or f in A.source_field:  # what pumps, the engine, sprays and chillers put in
            flows.append(HeatFlow(part, "pump", float(by_pump[f])))
    flows.extend(HeatFlow(part, "stored", heat) for part, heat in stored_by_part.items())
    for tank, states in iced(plant).items():
        melted = (solution.start - solution.end)[A.i_ice + np.array(states)]
        stored_by_part[tank] += float((melted * A.ice_latent[states]).sum())
    stored_sum = sum(stored_by_part.values())
    sorts = A.passes[:, layout.P_SORT]
    heat_in = float(by_pass[sorts == layout.CHARGE].sum())
    to_air = float(by_pass[sorts == layout.COOLING].sum())
    pickup = float(by_pickup.sum() + by_pump.sum())
    closure = abs(heat_in + pickup - to_air - stored_sum) / max(handled, 1.0)
    return Ledger(heat_in, pickup, to_air, stored_sum, handled, closure, tuple(flows))
