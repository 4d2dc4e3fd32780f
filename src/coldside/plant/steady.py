"""`operating_point`: one steady point of a whole build, from exact functions and without marching.

What is here: the conditions of a point, the settled state found by iteration (flows -> coefficients ->
linear heat balance -> temperatures -> flows), and its figures.  The heat balance is that of
`reference.py`; flows, coefficients and the charge side are the exact functions, not the tables.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from coldside.build.model import Build, names_on
from coldside.duty.demand import drawn_pickup, engine_driven, sample
from coldside.duty.model import Demand, Session, Span
from coldside.duty.road import pull_gear, road_speed_in
from coldside.errors import BadInput, NoAnswer
from coldside.media import air
from coldside.parts import engine
from coldside.parts.exchanger import AirCoreSpec, ExchangerSpec, WaterCoreSpec
from coldside.parts.intake_air import settled_rise
from coldside.parts.jacket import EngineJacketSpec
from coldside.parts.oil_cooler import OilCoolerSpec
from coldside.plant import layout, reference
from coldside.plant.assemble import Plant, assemble
from coldside.plant.charge import ChargeState
from coldside.plant.flows import charge_split
from coldside.plant.output import brake_power_at
from coldside.plant.results import Point, spread_over
from coldside.plant.traces import leaving_start

MOST_TURNS = 80
HOTTEST_LOOP = 523.15  # K, up to which a loop that cannot give its heat away is followed (a point needs no tables)
GAS = (220.0, 800.0)  # K, between which charge and duct air are followed on the way to a balance
LARGEST_TURN = 30.0  # K that a loop's temperature may move in a turn
SETTLED = 1e-7  # K, largest change of a fed-back temperature in a turn
STANDARD_TEMPERATURE, STANDARD_PRESSURE, STANDARD_HUMIDITY = 298.15, 101325.0, 0.5
FULL_LOAD_SHARE = 0.8  # of top speed, where a point is taken that names no engine speed


def operating_point(
    build: Build,
    *,
    engine_speed: float | None = None,
    ambient: float | None = None,
    pressure: float | None = None,
    humidity: float | None = None,
    road_speed: float | None = None,
    air_speed: Mapping[str, float] | None = None,
    session: Session | None = None,
    at: float | str | None = None,
) -> Point:
    """Solve one steady operating point.

    Parameters
    ----------
    engine_speed : rev/s, at full load; without a session 80 % of top speed is taken.
    ambient, pressure, humidity : air temperature [K], absolute pressure [Pa], relative humidity 0 to 1;
        25 degC, 101325 Pa and 0.5 where neither a session nor the caller says.
    road_speed : m/s; from engine speed and gearing where not given.
    air_speed : duct -> m/s of air at its inlet, instead of the road's.
    session, at : take every condition from this moment of a session: seconds, or "END".  What is
        given beside it overrides it.

    Returns a `Point`.  Raises `BadInput` for conditions that cannot be and `NoAnswer` where nothing
    balances or the compressor would run off its map.
    """
    if session is not None:
        demand = _moment(sample(session, build), at)
    else:
        if at is not None:
            raise BadInput("a time needs the session it is a time of", key="at")
        demand = _full_load(build, engine_speed, road_speed)
    demand = _overridden(demand, build, engine_speed, (ambient, pressure, humidity), road_speed, air_speed)
    plant = assemble(build, demand, ice=False)
    settled = _settle(plant)
    _refuse_off_map(plant, settled.state)
    return _point(plant, settled)


def _moment(demand: Demand, at: float | str | None) -> Demand:
    """The demand held at one of its samples."""
    if at is None or at == "END":
        k = len(demand.time) - 1
    else:
        seconds = float(at)
        if not 0.0 <= seconds <= demand.time[-1]:
            raise BadInput(
                f'{seconds:g} s is outside the session; it must be 0 to {demand.time[-1]:.0f} s, or "END"', key="at"
            )
        k = round(seconds / float(demand.time[1] - demand.time[0]))

    def two(values: np.ndarray) -> np.ndarray:
        return np.repeat(values[k : k + 1], 2)

    return replace(
        demand,
        time=demand.time[:2].copy(),
        spans=(Span(0, 1, "cruise", "held", -1),),
        engine_speed=two(demand.engine_speed),
        plenum_target=two(demand.plenum_target),
        full_load=two(demand.full_load),
        road_speed=two(demand.road_speed),
        air_speed={name: two(v) for name, v in demand.air_speed.items()},
        ambient_temperature=two(demand.ambient_temperature),
        humidity=two(demand.humidity),
        bay_temperature=two(demand.bay_temperature),
        command={name: two(v) for name, v in demand.command.items()},
        drawn_rise=None if demand.drawn_rise is None else two(demand.drawn_rise),
    )


def _full_load(build: Build, engine_speed: float | None, road_speed: float | None) -> Demand:
    spec = build.engine
    n = engine_speed if engine_speed is not None else FULL_LOAD_SHARE * spec.top_speed
    V = road_speed if road_speed is not None else float(road_speed_in(build.car, n, pull_gear(build.car)))
    two = np.ones(2)
    target = float(engine.boost_target(spec, n, STANDARD_PRESSURE))
    controls = {name: build.parts[name].control.mode for name in build.parts if hasattr(build.parts[name], "control")}
    command = {"always": 1.0, "off": 0.0, "schedule": 1.0, "above": np.nan}
    return Demand(
        time=np.array([0.0, 0.1]),
        spans=(Span(0, 1, "pull", "full load", -1),),
        engine_speed=n * two,
        plenum_target=target * two,
        full_load=np.ones(2, dtype=bool),
        road_speed=V * two,
        air_speed=dict.fromkeys(build.ducts, V * two),
        ambient_temperature=STANDARD_TEMPERATURE * two,
        ambient_pressure=STANDARD_PRESSURE,
        humidity=STANDARD_HUMIDITY * two,
        bay_temperature=(STANDARD_TEMPERATURE + build.bay.temperature_rise) * two,
        command={n_: command[m] * two for n_, m in controls.items()} | engine_driven(build, n * two),
        start="ambient",
        drawn_rise=_settled_rise(build, V, STANDARD_TEMPERATURE),
    )


def _settled_rise(build: Build, road_speed: float, ambient: float) -> np.ndarray | None:
    """Rise before the compressor, warm and settled at a road speed on a day, twice; None without figures of it."""
    pickup = drawn_pickup(build)
    return None if pickup is None else settled_rise(pickup, road_speed * np.ones(2), ambient)


def _on_another_day(demand: Demand, build: Build, ambient: float) -> np.ndarray | None:
    """The demand's rise before the compressor with what the day moves of its settled value."""
    pickup = drawn_pickup(build)
    if pickup is None or demand.drawn_rise is None:
        return demand.drawn_rise
    V = demand.road_speed
    moved = settled_rise(pickup, V, ambient) - settled_rise(pickup, V, demand.ambient_temperature)
    return np.asarray(demand.drawn_rise + moved)


def _overridden(
    demand: Demand,
    build: Build,
    engine_speed: float | None,
    weather: tuple[float | None, float | None, float | None],
    road_speed: float | None,
    air_speed: Mapping[str, float] | None,
) -> Demand:
    """The demand with what the caller gave in place of its own; an engine speed means full load at that speed."""
    T, p, RH = weather
    two = np.ones(2)
    if T is not None:
        bay = demand.bay_temperature - demand.ambient_temperature + T
        drawn = _on_another_day(demand, build, T)
        demand = replace(demand, ambient_temperature=T * two, bay_temperature=bay, drawn_rise=drawn)
    if p is not None:
        # a gauge boost target moves with the air around it; an absolute one is recomputed below
        demand = replace(demand, ambient_pressure=p)
    if RH is not None:
        demand = replace(demand, humidity=RH * two)
    if engine_speed is not None or (p is not None and bool(demand.full_load[0])):
        n = engine_speed if engine_speed is not None else float(demand.engine_speed[0])
        target = float(engine.boost_target(build.engine, n, demand.ambient_pressure))
        demand = replace(demand, engine_speed=n * two, plenum_target=target * two, full_load=np.ones(2, dtype=bool))
        demand = replace(demand, command={**demand.command, **engine_driven(build, n * two)})
    if road_speed is not None:
        demand = replace(
            demand,
            road_speed=road_speed * two,
            air_speed=dict.fromkeys(demand.air_speed, road_speed * two),
            drawn_rise=_settled_rise(build, road_speed, float(demand.ambient_temperature[0])),
        )
    if air_speed:
        unknown = sorted(set(air_speed) - set(demand.air_speed))
        if unknown:
            raise BadInput(
                f"no duct is named {unknown[0]}; this build has {', '.join(demand.air_speed) or 'none'}",
                key="air_speed",
            )
        demand = replace(demand, air_speed={**demand.air_speed, **{name: v * two for name, v in air_speed.items()}})
    return demand


@dataclass(frozen=True)
class _Settled:
    """The balance: states, flows, heats and charge side, with the command of every device."""

    x: np.ndarray
    flows: reference.Flows
    heats: reference.Heats
    a: np.ndarray
    b: np.ndarray
    state: ChargeState
    command: dict[str, float]
    warnings: tuple[str, ...]


def _settle(plant: Plant) -> _Settled:
    """Find the settled state, deciding controls that follow a temperature as the loop settles."""
    demand = plant.demand
    command = {name: float(demand.command[name][0]) for name in plant.devices}
    own = [name for name in plant.devices if np.isnan(command[name])]
    command |= dict.fromkeys(own, 1.0)
    warnings: list[str] = []
    settled = _balance(plant, command, ())
    for _ in range(2 * len(own)):
        changed = None
        for name in own:
            control = plant.build.parts[name].control
            T = _felt(plant, settled, name)
            wanted = (
                1.0 if control.threshold < T else 0.0 if control.threshold - control.hysteresis > T else command[name]
            )
            if wanted != command[name]:
                changed = (name, wanted)
                break
        if changed is None:
            return _Settled(**{**settled.__dict__, "warnings": tuple(warnings)})
        name, wanted = changed
        command[name] = wanted
        settled = _balance(plant, command, ())
        control, T = plant.build.parts[name].control, _felt(plant, settled, name)
        if wanted == 0.0 and control.threshold < T:
            warnings.append(f"{name} switches on and off for ever at these conditions; the point is taken with it on")
            command[name] = 1.0
            own.remove(name)
            settled = _balance(plant, command, ())
    return _Settled(**{**settled.__dict__, "warnings": tuple(warnings)})


def _felt(plant: Plant, settled: _Settled, device: str) -> float:
    """Temperature that a device's control reads."""
    A, k = plant.arrays, plant.devices.index(device)
    if A.control_state[k] >= 0:
        return float(settled.x[A.control_state[k]])
    T = reference.loop_temperatures(A, settled.x)
    return float(max(T[loop] for loop in range(len(T)) if A.control_loops[k, loop]))


def _balance(plant: Plant, command: Mapping[str, float], warnings: tuple[str, ...]) -> _Settled:
    A, demand = plant.arrays, plant.demand
    around = reference.surroundings_at(A, 0)
    x = np.zeros(A.n_states)
    x[: A.i_feed] = around.ambient + 15.0
    x[A.i_feed], x[A.i_duct : A.i_boss] = around.ambient + 25.0, around.ambient + 10.0
    if A.stages > 1:
        x[A.i_between] = around.ambient + 40.0
    inlet = plant.charge.inlet_temperature(
        demand.bay_temperature[:1],
        None if demand.drawn_rise is None else demand.drawn_rise[:1],
        demand.ambient_temperature[:1],
    )
    assumed = np.array([A.engine_metal if _cools_engine(plant, i) else x[0] for i in range(len(plant.loops))])
    sprayed = _sprayed(A)
    low, high = _range_of_loops(plant)
    loops = _Wegstein(
        np.concatenate([assumed, x[sprayed]]),
        np.concatenate([low, A.inputs[0, A.in_limit + layout.LIMIT_BLOCK * np.flatnonzero(A.source_pass >= 0)] - 1.0]),
        np.concatenate([high, np.full(len(sprayed), HOTTEST_LOOP)]),
    )
    n_loops = len(plant.loops)
    for turn in range(MOST_TURNS):
        between = x[A.i_between : A.i_between + 1] if A.stages > 1 else None
        state = plant.charge.balance(
            demand.engine_speed[:1], demand.plenum_target[:1], x[A.i_feed : A.i_feed + 1], inlet, between
        )
        taken = x.copy()
        taken[sprayed] = loops.assumed[n_loops:]
        found = _flows(plant, state, (taken, loops.assumed[:n_loops]), command)
        a, b = _coefficients(plant, found)
        new, heats = _rest(A, found, (a, b), around, x, first=turn == 0)
        # on the way a loop may stand far off (a chiller that takes its fill of a loop assumed warm)
        new[A.i_feed] = np.clip(heats.plenum[0], *GAS)
        new[A.i_duct : A.i_boss] = np.clip(heats.duct_out[:, 0], *GAS)
        if A.stages > 1:
            new[A.i_between] = np.clip(heats.T_in[_second_stage(A), 0], *GAS)
        came = np.concatenate([reference.loop_temperatures(A, new), new[sprayed]])
        moved = max(float(np.abs(new - x)[: A.i_boss].max()), loops.turn(came))
        if A.stages > 1:
            moved = max(moved, abs(float(new[A.i_between] - x[A.i_between])))
        x = new
        if moved < SETTLED:
            _sensors(A, x, heats, a, around)
            return _Settled(x, found, heats, a, b, state, dict(command), warnings)
    for loop, T in zip(plant.loops, loops.assumed[:n_loops], strict=True):
        if T > HOTTEST_LOOP - 1.0:
            raise NoAnswer(_too_hot(plant, loop.loop.name))
    raise NoAnswer(
        f"the point does not settle (temperatures still move by {moved:.2g} K a turn); "
        "the loops or the charge side have no steady balance here"
    )


def _too_hot(plant: Plant, loop: str) -> str:
    """Which loop cannot give its heat away, through what, and what to try."""
    parts = plant.build.parts
    on_it = [name.partition(".")[0] for name in names_on(plant.build.loops[loop].path)]
    through = [name for name in on_it if isinstance(parts.get(name), ExchangerSpec | OilCoolerSpec)]
    where = f" through {', '.join(through)}" if through else ", since no exchanger lies on it"
    return (
        f"loop {loop} cannot give its heat away{where}: held for ever, this load would bring it past "
        f"{HOTTEST_LOOP - 273.15:.0f} degC. A point asks for a load that never ends; try less load (--rpm, or a calmer "
        "moment with --session and --at), more air (--speed, a fan, a larger exchanger), or a forecast of the session, "
        "which ends before that"
    )


class _Wegstein:
    """Temperatures that flows and sprays are solved at, brought to those that these bring about.

    Wegstein's method (textbook) one by one: a thermostat opens with its loop's temperature, a spray evaporates
    with its metal's, and plain repetition would swing.  Where it would leave the bracket of what was too cold and
    too hot, the bracket is halved; one that has shut on nothing (what feeds it still moves) opens again.
    """

    def __init__(self, assumed: np.ndarray, low: np.ndarray, high: np.ndarray) -> None:
        self.assumed, self.low, self.high = assumed, low, high
        self.before: tuple[np.ndarray, np.ndarray] | None = None
        self.cold, self.hot = low.astype(float), high.astype(float)

    def turn(self, result: np.ndarray) -> float:
        """Take what came of the assumed temperatures; how far off they were, K."""
        off = result - self.assumed
        share = np.zeros_like(off)
        if self.before is not None:
            step = self.assumed - self.before[0]
            slope = (result - self.before[1]) / np.where(np.abs(step) > 1e-12, step, np.inf)
            share = np.clip(np.where(slope < 1.0, slope / np.where(slope < 1.0, slope - 1.0, -1.0), 0.0), 0.0, 0.9999)
        self.before = (self.assumed, result)
        shut = self.hot - self.cold < 1e-3
        self.cold, self.hot = np.where(shut, self.low, self.cold), np.where(shut, self.high, self.hot)
        self.cold = np.where(off > 0.0, np.maximum(self.cold, self.assumed), self.cold)
        self.hot = np.where(off < 0.0, np.minimum(self.hot, self.assumed), self.hot)
        wanted = self.assumed + np.clip((1.0 - share) * off, -LARGEST_TURN, LARGEST_TURN)
        inside = (wanted >= self.cold) & (wanted <= self.hot)
        self.assumed = np.clip(np.where(inside, wanted, 0.5 * (self.cold + self.hot)), self.low, self.high)
        return float(np.abs(off).max(initial=0.0))


def _sprayed(A: layout.Arrays) -> np.ndarray:
    """State of the metal that each spray's evaporation follows."""
    f = A.source_field[A.source_pass >= 0]
    return np.asarray(A.field_first[f] + A.field_count[f] // 2, dtype=np.int64)


def _cools_engine(plant: Plant, loop: int) -> bool:
    return any(isinstance(plant.build.parts.get(n), EngineJacketSpec) for n in plant.loops[loop].network.names)


def _range_of_loops(plant: Plant) -> tuple[np.ndarray, np.ndarray]:
    """Coldest and hottest that a loop may be taken at: its freezing point, and far beyond where it boils."""
    coldest = np.array([loop.coolant.freezing_point for loop in plant.loops])
    return coldest, np.full(len(plant.loops), HOTTEST_LOOP)


def _second_stage(A: layout.Arrays) -> int:
    """The pass of the second compressor."""
    gas = A.passes[:, layout.P_WALL] < 0
    return int(np.flatnonzero(gas & (A.passes[:, layout.P_TABLE] == layout.SECOND_STAGE))[0])


def _flows(
    plant: Plant, state: ChargeState, at: tuple[np.ndarray, np.ndarray], command: Mapping[str, float]
) -> reference.Flows:
    """Exact flows: charge shares, loops and ducts solved at states and loop temperatures `at`."""
    A, demand, build = plant.arrays, plant.demand, plant.build
    x, loop_T = at
    duct_T, u = x[A.i_duct : A.i_boss], plant.arrays.inputs[0]
    flow, pump = np.zeros(len(plant.passes)), np.zeros(len(plant.fields))
    charge = float(state.flow[0])
    if charge > 0.0:
        _, split, _ = charge_split(build, plant.charge.after, np.array([charge]), plant.charge.peak_flow)
        for p in np.flatnonzero(A.passes[:, layout.P_SORT] == layout.CHARGE):
            flow[p] = split[0, A.passes[p, layout.P_COLUMN]]
    for i, loop in enumerate(plant.loops):
        q, heat = loop.flow(build, loop_T[i : i + 1], {name: np.array([command[name]]) for name in loop.pumps})
        for p in np.flatnonzero((A.passes[:, layout.P_SORT] == layout.COOLANT) & (A.passes[:, layout.P_PATH] == i)):
            flow[p] = q[0, A.passes[p, layout.P_COLUMN]] * A.loop_density[i]
            f = A.passes[p, layout.P_LIQUID]
            if A.field_loop[f] >= 0:
                pump[f] = heat[0, A.field_column[f]]
    for i, duct in enumerate(plant.ducts):
        speed = np.maximum(demand.air_speed[duct.duct.name][:1], 0.0)
        m = duct.flow(
            build, speed, duct_T[i : i + 1], {name: np.array([command[name]]) for name in duct.fans}, plant.around
        )
        for p in np.flatnonzero((A.passes[:, layout.P_SORT] == layout.COOLING) & (A.passes[:, layout.P_PATH] == i)):
            flow[p] = max(m[0, A.passes[p, layout.P_COLUMN]], 0.0)
    reference.add_sources(A, u, charge, flow, x, pump)
    return reference.Flows(
        flow,
        charge,
        float(state.stages[0].outlet[0]),
        loop_T,
        pump,
        float(state.stages[-1].outlet[0]),
        u[A.in_recirculation : A.in_recirculation + len(plant.ducts)],
        u[A.in_pressure : A.in_pressure + 2],
        float(u[A.in_running]),
        u[A.in_injection : A.in_stage].reshape(-1, layout.INJECTION_BLOCK),
        float(u[layout.IN_HUMIDITY]),
    )


def _coefficients(plant: Plant, found: reference.Flows) -> tuple[np.ndarray, np.ndarray]:
    """Exact coefficients at these flows."""
    A = plant.arrays
    a, b = np.zeros(len(plant.coefficients)), np.zeros(len(plant.coefficients))
    for k, coefficient in enumerate(plant.coefficients):
        one, two = A.table_flow[k]
        first = found.charge if one == layout.TOTAL_CHARGE else abs(found.flow[one])
        second = abs(found.flow[two]) if two >= 0 else 0.0
        T = found.loop_T[A.table_loop[k]] if A.table_loop[k] >= 0 else A.inputs[0, layout.IN_AMBIENT]
        first_value, second_value, _ = coefficient.exact(np.array([first]), np.array([second]), np.array([T]))
        a[k], b[k] = first_value[0], second_value[0]
    return a, b


def _rest(
    A: layout.Arrays,
    found: reference.Flows,
    values: tuple[np.ndarray, np.ndarray],
    around: reference.Surroundings,
    x: np.ndarray,
    *,
    first: bool,
) -> tuple[np.ndarray, reference.Heats]:
    """States at which no node gains heat.

    At given flows `reference.heats` is linear in them but for condensation: without wet walls one step finds
    the rest, with them a step of Newton's method from `x`, which the turns repeat (the `first` one dry).
    """
    size, (a, b) = A.i_feed, values
    if first or not A.pass_wet.any():
        found, step, start = replace(found, pressure=None), 1.0, np.zeros(size)
    else:
        step, start = 1e-3, x[:size]
    probe = np.repeat(x[:, None], size + 1, axis=1)
    probe[:size] = start[:, None]
    probe[:size, :size] += step * np.eye(size)
    into = reference.heats(A, found, a, b, around, probe).into
    constant = into[:, -1]
    matrix = (into[:, :-1] - constant[:, None]) / step
    # a stopped, insulated node keeps its temperature for ever: a whisper of ambient makes its settled state ambient
    matrix[np.diag_indices(size)] -= 1e-9
    new = x.copy()
    new[:size] = start + np.linalg.solve(matrix, -constant - 1e-9 * (around.ambient - start))
    return new, reference.heats(A, found, a, b, around, new[:, None])


def _sensors(
    A: layout.Arrays, x: np.ndarray, heats: reference.Heats, a: np.ndarray, around: reference.Surroundings
) -> None:
    for sensor in range(len(A.sensor_sort)):
        boss = around.at(A.sensor_around[sensor])
        gas = heats.reads[sensor, 0]
        x[A.i_boss + sensor] = boss
        x[A.i_reading + sensor] = gas + a[A.sensor_table[sensor]] * (boss - gas)


def _refuse_off_map(plant: Plant, state: ChargeState) -> None:
    operating, name = state.operating, plant.charge.compressor_name
    flow, ratio = float(state.corrected_flow[0]), float(state.pressure_ratio[0])
    asked = f"{flow:.3f} kg/s corrected at a pressure ratio of {ratio:.2f}"
    for mask, words in (
        (operating.beyond_surge, "left of its surge line"),
        (operating.beyond_choke, "beyond its choke line"),
        (operating.above_speed, "above its highest speed line"),
    ):
        if bool(mask[0]):
            raise NoAnswer(
                f"{name} would run {words} ({asked}); a larger or smaller compressor, or another boost, is needed"
            )


def _point(plant: Plant, settled: _Settled) -> Point:
    A, build, demand, state, heats = plant.arrays, plant.build, plant.demand, settled.state, settled.heats
    spec, W = build.engine, plant.around.humidity_ratio
    lam = engine.mixture(spec, state.plenum_pressure / demand.ambient_pressure, demand.full_load[:1])
    fuel = float(engine.fuel_flow(spec, state.flow, W, lam)[0])
    inlet, outlet, flow = {}, {}, {}
    for p, name in enumerate(plant.passes):
        inlet[name.part, name.side], outlet[name.part, name.side] = float(heats.T_in[p, 0]), float(heats.T_out[p, 0])
        flow[name.part, name.side] = float(settled.flows.flow[p])
    cores = [
        p
        for p, name in enumerate(plant.passes)
        if name.side == "charge" and isinstance(build.parts.get(name.part), (WaterCoreSpec, AirCoreSpec))
    ]
    return Point(
        build=build,
        engine_speed=float(demand.engine_speed[0]),
        ambient_temperature=float(demand.ambient_temperature[0]),
        ambient_pressure=demand.ambient_pressure,
        air_flow=float(state.flow[0]),
        pressure_ratio=float(state.pressure_ratio[0]),
        compressor_efficiency=float(state.efficiency[0]),
        compressor_out=float(state.compressor_out[0]),
        intake=float(heats.plenum[0]),
        condensate=float(heats.water[0]),
        face_spread={plant.passes[p].part: spread_over(heats.lanes[p][:, 0]) for p in cores},
        stages=state.stages,
        exhaust_pressure=_first(state.exhaust_pressure),
        road_speed=float(demand.road_speed[0]),
        plenum_pressure=float(state.plenum_pressure[0]),
        charge_loss=float(state.compressor_out_pressure[0] - state.plenum_pressure[0]),
        charge_density=float(air.density(heats.plenum[0], state.plenum_pressure[0], W)),
        heat_rejected=float(heats.crossed[cores, 0].sum()),
        fuel_flow=fuel,
        fuel_flow_per_injector=fuel / engine.injector_count(spec),
        power=float(brake_power_at(plant, state.flow, heats.plenum, state.belt_power)[0]),
        surge_margin=_first(state.operating.surge_margin),
        choke_margin=_first(state.operating.choke_margin),
        shaft_speed_margin=_first(state.operating.speed_margin),
        coolant_flow=_pumped(plant, settled),
        loop_temperature=_into_cores(plant, settled),
        effectiveness={plant.passes[p].part: _effectiveness(plant, settled, p) for p in cores},
        air_flow_duct={
            d.duct.name: float(settled.flows.flow[leaving_start(A, layout.COOLING, i)].sum())
            for i, d in enumerate(plant.ducts)
        },
        outlet=outlet,
        inlet=inlet,
        flow=flow,
        warnings=(*build.notes, *plant.charge.compressor.notes, *settled.warnings, *_untrimmed(build)),
        defaults=tuple(f"{key}: {value.text}" for key, value in build.defaults()),
    )


def _first(values: np.ndarray | None) -> float | None:
    return None if values is None or not np.isfinite(values[0]) else float(values[0])


def _pumped(plant: Plant, settled: _Settled) -> dict[str, float]:
    """Volume flow of each loop, m3/s: all that leaves its path's start, where nothing can pass it by."""
    A = plant.arrays
    return {
        loop.loop.name: float(settled.flows.flow[leaving_start(A, layout.COOLANT, i)].sum() / A.loop_density[i])
        for i, loop in enumerate(plant.loops)
    }


def _into_cores(plant: Plant, settled: _Settled) -> dict[str, float]:
    """Coolant entering the charge cores of each loop, K; the loop's mean where it has none."""
    found = {}
    means = reference.loop_temperatures(plant.arrays, settled.x)
    for i, loop in enumerate(plant.loops):
        cores = [
            plant.index(n, "coolant") for n in loop.network.names if isinstance(plant.build.parts[n], WaterCoreSpec)
        ]
        weight = np.abs(settled.flows.flow[cores]) + 1e-12
        found[loop.loop.name] = (
            float(np.average(settled.heats.T_in[cores, 0], weights=weight)) if cores else float(means[i])
        )
    return found


def _effectiveness(plant: Plant, settled: _Settled, p: int) -> float:
    """Charge temperature drop over inlet difference."""
    part = plant.passes[p].part
    other = next(q for q, name in enumerate(plant.passes) if name.part == part and name.side != "charge")
    T_in, T_out = settled.heats.T_in, settled.heats.T_out
    most = float(T_in[p, 0] - T_in[other, 0])
    return float(T_in[p, 0] - T_out[p, 0]) / most if most != 0.0 else 0.0


def _untrimmed(build: Build) -> tuple[str, ...]:
    """That a point is what boost and spark make of it before the car's own trims; nothing without trims."""
    if build.engine.trim_boost is None and build.engine.trim_spark is None:
        return ()
    return ("the car's own trims of boost and spark are left out of a steady point; a forecast has them",)
