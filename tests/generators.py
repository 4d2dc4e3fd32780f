"""Small builds for the tests of the plant: core, loop and duct, held at flows of one's choice.

A *bench* here is a real plant, put together by `assemble` from a small build, whose flows, specific heats,
capacities, pick-ups and coefficients are then written over.  What is tested is the kernel's own arithmetic
(grids, streams, mixing, integration), with the numbers that a check case states.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from coldside.build.model import Build, Duct, Loop, Path
from coldside.duty.model import SAMPLE_TIME, AmbientSpec, Demand, PhaseSpec, Session, Span
from coldside.parts.airflow import DuctSpec
from coldside.parts.compressor import CompressorSpec
from coldside.parts.correlations import transfer_units_crossflow
from coldside.parts.engine import RPM, BaySpec, CarSpec, EngineSpec
from coldside.parts.exchanger import AirCoreSpec, ExchangerSpec, Rating, WaterCoreSpec
from coldside.parts.lines import HoseSpec
from coldside.parts.pump import PumpSpec
from coldside.parts.reservoir import ReservoirSpec
from coldside.plant import layout, reference
from coldside.plant.assemble import Plant, assemble
from coldside.plant.flows import BYPASS
from coldside.plant.forecast import Solution, solve
from coldside.plant.tables import of_rating
from coldside.units import Pressure

ENGINE = EngineSpec(
    kind="piston",
    displacement=2.0e-3,
    cylinders=4,
    boost=((50.0, Pressure(1.0e5, True)),),
    fuel="gasoline 95",
    volumetric_efficiency=((20.0, 0.95),),
    top_speed=125.0,
)
TURBO = CompressorSpec(efficiency=0.74)
WATER_CORE = WaterCoreSpec(
    bench_charge_flow=0.2,
    bench_coolant_flow=2.4e-4,
    bench_charge_in=413.15,
    bench_coolant_in=303.15,
    bench_effectiveness=0.8,
    bench_charge_loss=4.5e3,
    bench_coolant_loss=9e3,
    metal_mass=2.6,
    coolant_volume=7e-4,
    pickup=0.0,
)
AIR_CORE = AirCoreSpec(
    bench_charge_flow=0.3,
    bench_cooling_flow=0.9,
    bench_charge_in=413.15,
    bench_cooling_in=298.15,
    bench_effectiveness=0.75,
    bench_charge_loss=6e3,
    bench_cooling_loss=200.0,
    metal_mass=5.0,
    pickup=0.0,
)
EXCHANGER = ExchangerSpec(
    bench_coolant_flow=2.4e-4,
    bench_cooling_flow=0.6,
    bench_coolant_in=333.15,
    bench_cooling_in=298.15,
    bench_heat=10e3,
    bench_coolant_loss=6e3,
    bench_cooling_loss=170.0,
    pickup=0.0,
)
RADIATOR = ExchangerSpec(
    bench_coolant_flow=1.5e-3,
    bench_cooling_flow=1.5,
    bench_coolant_in=363.15,
    bench_cooling_in=298.15,
    bench_heat=60e3,
    bench_coolant_loss=15e3,
    bench_cooling_loss=120.0,
    coolant_volume=3e-3,
)
WATER_PUMP = PumpSpec(curve=((0.0, 14.0), (2e-3, 11.0), (3.5e-3, 0.0)), drive="engine")  # on the engine's belt
PSI = 6894.757293168
ROAD_ENGINE = EngineSpec(
    kind="piston",
    displacement=2.4e-3,
    cylinders=4,
    fuel="gasoline 98",
    boost=((2000 * RPM, Pressure(10 * PSI, True)), (7000 * RPM, Pressure(18 * PSI, True))),
    top_speed=7600 * RPM,
)
TANK = ReservoirSpec(volume=5e-3, nodes=1, metal_mass=0.0, pickup=0.0)
PUMP = PumpSpec()
DUCT = DuctSpec(place="nose", inlet_area=0.05)


def build_of(parts: Mapping[str, object], charge: Path, loop: Path = (), duct: Path = (), **kept: object) -> Build:
    """A build of these parts; `kept` may hold engine, coolant, duct_spec."""
    coolant = str(kept.get("coolant", "water"))
    return Build(
        name="bench",
        file="bench.toml",
        engine=kept.get("engine", ENGINE),
        car=CarSpec(),
        bay=BaySpec(),
        charge=charge,
        loops={"loop": Loop("loop", coolant, loop)} if loop else {},
        ducts={"duct": Duct("duct", kept.get("duct_spec", DUCT), duct)} if duct else {},
        parts=dict(parts),
    )


def demand_of(
    build: Build,
    seconds: float,
    *,
    ambient: float = 303.15,
    bay: float | None = None,
    speed: float = 80.0,
    target: float = 2.0e5,
    air: float = 20.0,
    pressure: float = 101325.0,
    command: Mapping[str, float] | None = None,
    humidity: float = 0.0,
) -> Demand:
    """Constant conditions for `seconds`; `command` by device (all on where not said, NaN: its own control)."""
    n = round(seconds / SAMPLE_TIME) + 1
    devices = [name for name, spec in build.parts.items() if hasattr(spec, "control")]
    orders = dict.fromkeys(devices, 1.0) | dict(command or {})

    def held(value: float) -> np.ndarray:
        return np.full(n, float(value))

    return Demand(
        time=SAMPLE_TIME * np.arange(n),
        spans=(Span(0, n - 1, "cruise", "held", -1),),
        engine_speed=held(speed),
        plenum_target=held(target),
        full_load=np.ones(n, dtype=bool),
        road_speed=held(air),
        air_speed={name: held(air) for name in build.ducts},
        ambient_temperature=ambient,
        ambient_pressure=pressure,
        humidity=humidity,
        bay_temperature=held(ambient if bay is None else bay),
        command={name: held(v) for name, v in orders.items()},
        start="ambient",
    )


@dataclass(frozen=True)
class Held:
    """What is written over a plant.  None or absent: as it was.

    Streams: `charge` (kg/s, J/(kg K), K into the path), `coolant` (m3/s, kg/m3, J/(kg K)) and `cooling`
    (kg/s, J/(kg K)).  `share` of a path's flow by (part, side) where it is not the whole.  `values` of a part's
    coefficients (a, b); `capacity` [J/K] and `pickup` [W/K] of a whole field and `start` [K], by its name.
    """

    charge: tuple[float, float, float] | None = None
    coolant: tuple[float, float, float] | None = None
    cooling: tuple[float, float] | None = None
    share: Mapping[tuple[str, str], float] = field(default_factory=dict)
    values: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    capacity: Mapping[str, float] = field(default_factory=dict)
    pickup: Mapping[str, float] = field(default_factory=dict)
    start: Mapping[str, float] = field(default_factory=dict)
    pump_heat: float = 0.0  # W


def hold(plant: Plant, held: Held) -> Plant:
    """The plant with these flows and values in place of its own."""
    A, new = plant.arrays, {}
    for path, stream in (("charge", held.charge), ("coolant", held.coolant), ("cooling", held.cooling)):
        if stream is not None:
            new |= _stream(plant, path, stream, held)
    a, b = A.values_a.copy(), A.values_b.copy()
    for part, (value_a, value_b) in held.values.items():
        k = _table(plant, part)
        here = slice(A.table_first[k], A.table_first[k] + int(np.prod(A.table_shape[k])))
        a[here], b[here] = value_a, value_b
    capacity, pickup, start = A.field_capacity.copy(), A.field_pickup.copy(), plant.start.copy()
    for f, name in enumerate(plant.fields):
        capacity[f] = held.capacity.get(name, capacity[f] * A.field_count[f]) / A.field_count[f]
        pickup[f] = held.pickup.get(name, pickup[f] * A.field_count[f]) / A.field_count[f]
        if name in held.start:
            start[nodes(plant, name)] = held.start[name]
    new |= {"values_a": a, "values_b": b, "field_capacity": capacity, "field_pickup": pickup}
    new["loop_heat"] = np.where(A.loop_heat > 0.0, held.pump_heat, 0.0)
    return replace(plant, arrays=A._replace(**new), start=start)


def _stream(plant: Plant, path: str, stream: tuple[float, ...], held: Held) -> dict:
    A = plant.arrays
    if path == "charge":
        m, cp, T = stream
        inputs = A.inputs.copy()
        inputs[:, layout.IN_FLOW : layout.IN_FLOW + layout.FEED_NODES] = (
            m * A.feed
        )  # flow x T_feed, so that the flow is m at any T_feed
        inputs[:, layout.IN_OUT : layout.IN_OUT + layout.FEED_NODES] = T
        return {"inputs": inputs, "cp_charge": cp}
    if path == "coolant":
        q, rho, cp = stream
        return {
            "loop_flow": q * _shares(plant, "coolant", len(plant.loops[0].network.links), len(A.loop_flow), held),
            "loop_density": np.array([rho]),
            "loop_capacity": np.array([rho * cp]),
        }
    m, cp = stream
    return {
        "duct_flow": m * _shares(plant, "cooling", len(plant.ducts[0].network.links), len(A.duct_flow), held),
        "cp_air": cp,
    }


def _shares(plant: Plant, side: str, links: int, size: int, held: Held) -> np.ndarray:
    """Share of the path's flow in each link, repeated over a whole table."""
    share = np.ones(links)
    for p, found in enumerate(plant.passes):
        if found.side == side:
            share[plant.arrays.passes[p, layout.P_COLUMN]] = held.share.get((found.part, side), 1.0)
    return np.tile(share, size // links)


def _table(plant: Plant, part: str) -> int:
    return next(
        int(plant.arrays.passes[p, layout.P_TABLE])
        for p, found in enumerate(plant.passes)
        if found.part == part and plant.arrays.passes[p, layout.P_TABLE] >= 0
    )


def nodes(plant: Plant, name: str) -> slice:
    """States of the field of that name."""
    return reference.nodes_of(plant.arrays, plant.fields.index(name))


# --- ratings and values that a check case states ------------------------------------------------------------------


def rated(h1: float, h2: float, flow1: float, flow2: float, liquid: int = 0) -> Rating:
    """A rating with these conductances of its two sides [W/K] at any flow, wall included."""
    UA = 1.0 / (1.0 / h1 + 1.0 / h2)
    return Rating(flow1, flow2, 1.0 / h1, 1.0 / h2, 0.0, 0.0, 0.0, liquid, None, 300.0, UA, float("nan"))


def rated_effectiveness(
    eps_smaller: float, C1: float, C2: float, cp: tuple[float, float], liquid: int, share1: float = 0.6
) -> Rating:
    """A rating of this effectiveness at C1, C2 [W/K], with `share1` of the resistance on side 1."""
    low, high = min(C1, C2), max(C1, C2)
    UA = float(transfer_units_crossflow(eps_smaller, low / high)) * low
    return rated(UA / share1, UA / (1.0 - share1), C1 / cp[0], C2 / cp[1], liquid)


def exact_values(
    rating: Rating, cells: tuple[int, int], m1: float, m2: float, cp: tuple[float, float]
) -> tuple[float, float]:
    """The two coefficients a grid of these cells needs, by the plant's own exact function."""
    a, b, _ = of_rating(rating, cells, None, cp).exact(np.array([m1]), np.array([m2]), np.array([300.0]))
    return float(a[0]), float(b[0])


# --- benches ------------------------------------------------------------------------------------------------------


def gas_bench(seconds: float, cells: tuple[int, int], held: Held, **conditions: float) -> Plant:
    """An air core between charge and one duct."""
    build = build_of({"turbo": TURBO, "core": AIR_CORE}, ("turbo", "core"), duct=("core",))
    return hold(assemble(build, demand_of(build, seconds, **conditions), {"core": cells}), held)


def water_bench(seconds: float, cells: tuple[int, int], held: Held, **conditions: float) -> Plant:
    """A water core on a loop of tank and pump."""
    build = build_of(
        {"turbo": TURBO, "core": WATER_CORE, "tank": TANK, "pump": PUMP}, ("turbo", "core"), ("tank", "pump", "core")
    )
    return hold(assemble(build, demand_of(build, seconds, **conditions), {"core": cells}), held)


def coupled_bench(seconds: float, cells: Mapping[str, tuple[int, int]], held: Held, **conditions: float) -> Plant:
    """A water core and an exchanger in a duct, joined by a loop: tank, core, exchanger."""
    parts = {"turbo": TURBO, "core": WATER_CORE, "remote": EXCHANGER, "tank": TANK, "pump": PUMP}
    build = build_of(parts, ("turbo", "core"), ("tank", "pump", "core", "remote"), ("remote",))
    return hold(assemble(build, demand_of(build, seconds, **conditions), cells), held)


def line_bench(seconds: float, loop: Mapping[str, object], held: Held, **conditions: float) -> Plant:
    """A loop of these parts behind a source that keeps its temperature; the charge passes a core of its own air."""
    parts = {"turbo": TURBO, "core": AIR_CORE, "pump": PUMP, "source": TANK, **loop}
    build = build_of(parts, ("turbo", "core"), ("pump", "source", *loop), ("core",))
    still = replace(held, capacity={"source coolant": 1e15, **held.capacity}, charge=(0.0, 1010.0, 303.15))
    return hold(assemble(build, demand_of(build, seconds, **conditions)), still)


def stack_bench(seconds: float, covers: float, held: Held, **conditions: float) -> Plant:
    """An air core in front of `covers` of a radiator that a loop with a source feeds."""
    parts = {
        "turbo": TURBO,
        "core": replace(AIR_CORE, covers=covers),
        "radiator": EXCHANGER,
        "pump": PUMP,
        "source": TANK,
    }
    build = build_of(parts, ("turbo", "core"), ("pump", "source", "radiator"), ("core", "radiator"))
    shares = {("core", "cooling"): covers, (BYPASS + "core", "cooling"): 1.0 - covers}
    kept = replace(held, capacity={"source coolant": 1e15, **held.capacity}, share={**shares, **held.share})
    return hold(assemble(build, demand_of(build, seconds, **conditions)), kept)


# --- what a plant does --------------------------------------------------------------------------------------------


def march(plant: Plant) -> Solution:
    """The kernel's march."""
    return solve(plant)


def settled(plant: Plant, k: int = 0) -> tuple[np.ndarray, reference.Heats, reference.Flows]:
    """States at which no node gains heat, found by solving the linear balance of `reference.heats` directly."""
    A = plant.arrays
    combo = plant.combos(np.maximum(A.level[k : k + 1], 0))[0]
    found = reference.flows(A, k, 0.0, plant.start, combo)
    a, b = reference.coefficients(A, found)
    around = reference.surroundings_at(A, k)
    size = A.i_feed
    probe = np.zeros((A.n_states, size + 1))
    probe[:size, :size] = np.eye(size)
    into = reference.heats(A, found, a, b, around, probe).into
    x = np.zeros(A.n_states)
    x[:size] = np.linalg.solve(into[:, :-1] - into[:, -1:], -into[:, -1])
    return x, reference.heats(A, found, a, b, around, x[:, None]), found


HOSE = HoseSpec(length=3.0, bore=0.01905, losses=0.0, pickup=0.0)


# --- sessions -----------------------------------------------------------------------------------------------------

BUNDLED = ("tern/water", "tern/air", "plover/build", "dunlin/build")
DAY = AmbientSpec(temperature=303.15, pressure=Pressure(98.5e3, False), humidity=0.5)


def session_of(*phases: PhaseSpec, start: str = "ambient", ambient: AmbientSpec = DAY) -> Session:
    """A session of these phases on a warm day."""
    return Session("short", "short.toml", start, ambient, phases, {}, ())


def short_session(build: Build) -> Session:
    """A minute and a half of everything: idle, a pull, a dyno pull, a cool-down, parked."""
    top = build.engine.top_speed
    return session_of(
        PhaseSpec(kind="idle", duration=10.0),
        PhaseSpec(kind="pull", from_speed=0.5 * top, to_speed=0.95 * top, duration=8.0),
        PhaseSpec(kind="cruise", speed=12.0, duration=12.0),
        PhaseSpec(kind="pull", on="dyno", from_speed=0.5 * top, to_speed=0.95 * top, duration=8.0, repeat=2, rest=10.0),
        PhaseSpec(kind="cruise", speed=36.0, engine_speed=0.6 * top, load=0.7, duration=20.0),
        PhaseSpec(kind="cooldown", duration=10.0),
        PhaseSpec(kind="parked", duration=5.0),
        start="soaked",
    )
