"""Forecasts with invented numbers for the sheet's tests: any layout of paths, no solver.

The numbers are plausible and nothing more: charge is heated by the compressor while boost is on, every core takes
a share of what it could, the tank warms from pull to pull.  What is tested with them is the drawing and the words.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from coldside.build.model import Build, Duct, Given, Loop, Parallel, names_on
from coldside.build.model import Path as PartPath
from coldside.duty.model import AmbientSpec, Demand, LimitSpec, PhaseSpec, Session, Span
from coldside.parts.airflow import DuctSpec, FanSpec
from coldside.parts.compressor import CompressorSpec
from coldside.parts.engine import BaySpec, CarSpec, EngineSpec
from coldside.parts.exchanger import AirCoreSpec, ExchangerSpec, WaterCoreSpec
from coldside.parts.jacket import COOLANT_SIDE, jacket_of
from coldside.parts.lines import FilterSpec, HoseSpec, PipeSpec, PlenumSpec, ThrottleSpec, ValveSpec
from coldside.parts.pump import PumpSpec
from coldside.parts.reservoir import ReservoirSpec
from coldside.parts.sensor import SensorSpec
from coldside.plant.results import Forecast, Health, HeatFlow, Ledger, Rung
from coldside.units import Pressure

EXAMPLES = Path(__file__).parents[2] / "examples"
LITRE_MIN = 1.0 / 60000.0
AMBIENT = 304.15


def path_of(items: list[Any]) -> PartPath:
    """Nested lists as a user writes them -> a path."""
    made: list[Any] = []
    for item in items:
        if isinstance(item, str):
            made.append(item)
        else:
            made.append(Parallel(tuple(path_of([b] if isinstance(b, str) else b) for b in item)))
    return tuple(made)


def spec_of(name: str) -> Any:
    """A specification from a part's name: its ending says the kind."""
    ends: dict[str, Any] = {
        "filter": FilterSpec(),
        "turbo": CompressorSpec(design_flow=0.32, design_pressure_ratio=2.7),
        "pipe": PipeSpec(length=0.9, bore=0.0635),
        "hose": HoseSpec(length=1.8, bore=0.019),
        "valve": ValveSpec(bore=0.019),
        "throttle": ThrottleSpec(),
        "plenum": PlenumSpec(),
        "sensor": SensorSpec(),
        "tank": ReservoirSpec(volume=0.0095),
        "pump": PumpSpec(),
        "fan": FanSpec(curve=((0.0, 220.0), (0.5, 0.0))),
        "hx": ExchangerSpec(
            bench_coolant_flow=14 * LITRE_MIN, bench_cooling_flow=0.4, bench_coolant_in=333.15, bench_cooling_in=303.15,
            bench_heat=9000.0, bench_coolant_loss=8000.0, bench_cooling_loss=150.0,
        ),
        "radiator": ExchangerSpec(
            bench_coolant_flow=60 * LITRE_MIN, bench_cooling_flow=1.0, bench_coolant_in=363.15, bench_cooling_in=303.15,
            bench_heat=40000.0, bench_coolant_loss=12000.0, bench_cooling_loss=150.0,
        ),
        "face": ExchangerSpec(bench_cooling_flow=1.0, bench_cooling_loss=150.0, heat=35000.0),
        "air_core": AirCoreSpec(
            bench_charge_flow=0.3, bench_cooling_flow=0.8, bench_charge_in=413.15, bench_cooling_in=303.15,
            bench_effectiveness=0.7, bench_charge_loss=6000.0, bench_cooling_loss=150.0, metal_mass=4.0,
        ),
        "core": WaterCoreSpec(
            bench_charge_flow=0.3, bench_coolant_flow=14 * LITRE_MIN, bench_charge_in=413.15, bench_coolant_in=303.15,
            bench_effectiveness=0.82, bench_charge_loss=4500.0, bench_coolant_loss=9000.0, metal_mass=2.6,
            coolant_volume=0.0007,
        ),
    }  # fmt: skip
    for end, spec in ends.items():
        if name.endswith(end):
            return spec
    raise KeyError(name)


CASES: dict[str, dict[str, Any]] = {
    "parallel": {
        "charge": [
            "filter", "turbo", "hot_pipe", ["left_core", "right_core"], "cold_pipe", "throttle", "plenum", "iat_sensor",
        ],
        "loops": {
            "charge": (
                "ethylene glycol 30 % by volume",
                [
                    "tank", "pump", "feed_hose", ["left_core", "right_core"], "return_hose",
                    ["left_hx", "right_hx"], "lid_hx",
                ],
            )
        },
        "ducts": {
            "left_quarter": ("rear", ["left_hx", "left_fan"]),
            "right_quarter": ("rear", ["right_hx", "right_fan"]),
            "lid": ("roof", ["lid_hx"]),
        },
    },
    "air": {
        "charge": ["filter", "turbo", "hot_pipe", "front_air_core", "cold_pipe", "iat_sensor", "throttle", "plenum"],
        "loops": {},
        "ducts": {"nose": ("nose", ["screen_fan", "front_air_core", "engine_face", "nose_fan"])},
    },
    "single": {
        "charge": ["filter", "turbo", "hot_pipe", "core", "throttle", "plenum", "iat_sensor"],
        "loops": {"charge": ("water", ["tank", "pump", "feed_hose", "core", "return_hose", "nose_hx"])},
        "ducts": {"nose": ("nose", ["nose_hx", "nose_fan"])},
    },
    "hybrid": {
        "charge": ["filter", "turbo", "hot_pipe", "front_air_core", "mid_pipe", "core", "throttle", "plenum"],
        "loops": {
            "charge": ("water", ["tank", "pump", "core", "low_hx"]),
            "engine": ("ethylene glycol 50 % by volume", ["engine.coolant", "water_pump", "engine_radiator"]),
        },
        "ducts": {"nose": ("nose", ["front_air_core", "engine_radiator", "nose_fan"]), "low": ("side", ["low_hx"])},
    },
    "branches": {
        "charge": [
            "filter", "turbo", "hot_pipe",
            [
                ["left_hot_pipe", "left_air_core", "left_cold_pipe"],
                ["right_hot_pipe", "right_air_core", "right_cold_pipe"],
            ],
            "throttle", "plenum", "iat_sensor",
        ],
        "loops": {},
        "ducts": {
            "left_side": ("side", ["left_air_core", "left_fan"]),
            "right_side": ("side", ["right_air_core", "right_fan"]),
        },
    },
    "two_stage": {
        "charge": [
            "filter", "low_turbo", "low_pipe", "first_core", "mid_pipe", "high_turbo", "hot_pipe", "second_core",
            "throttle", "plenum",
        ],
        "loops": {
            "charge": (
                "water",
                ["tank", "pump", [["first_hose", "first_core"], ["second_hose", "second_core"]], "nose_hx"],
            ),
        },
        "ducts": {"nose": ("nose", ["nose_hx"])},
    },
    "series_loops": {
        "charge": ["filter", "turbo", "hot_pipe", "first_core", "mid_pipe", "second_core", "throttle", "plenum"],
        "loops": {
            "warm": ("water", ["warm_pump", "first_core", "warm_hx"]),
            "cold": (
                "propylene glycol 40 % by volume",
                ["cold_tank", "cold_pump", "second_core", "check_valve", "cold_hx"],
            ),
        },
        "ducts": {"nose": ("nose", ["cold_hx", "warm_hx", "nose_fan"])},
    },
    "crossed": {
        "charge": ["filter", "turbo", "hot_pipe", ["left_core", "right_core"], "throttle", "plenum"],
        "loops": {"charge": ("water", ["tank", "pump", "left_core", "right_core", "left_hx", "rear_tank"])},
        "ducts": {"nose": ("nose", ["left_hx"])},
    },
    "bare": {"charge": ["turbo", "hot_pipe"], "loops": {}, "ducts": {}},
}  # fmt: skip


def build_of(case: dict[str, Any], name: str = "Wren, invented for a test") -> Build:
    """The build of one of `CASES`."""
    charge = path_of(case["charge"])
    loops = {n: Loop(n, coolant, path_of(p), 90e3) for n, (coolant, p) in case["loops"].items()}
    ducts = {n: Duct(n, DuctSpec(place=place, inlet_area=0.02), path_of(p)) for n, (place, p) in case["ducts"].items()}
    entries = names_on(charge)
    for path in (*(x.path for x in loops.values()), *(x.path for x in ducts.values())):
        entries += names_on(path)
    engine = EngineSpec(
        kind="piston", displacement=0.0024, cylinders=4, fuel="E85", injectors=8, injector_capacity=0.0072,
        boost=((50.0, Pressure(80e3, True)), (120.0, Pressure(150e3, True))),
    )  # fmt: skip
    parts = {
        entry: jacket_of(engine, entry) if entry == COOLANT_SIDE else spec_of(entry) for entry in dict.fromkeys(entries)
    }
    givens = {
        "engine.brake_efficiency": Given(0.28, "0.28", 0.03, "default", "brake power over fuel heating value"),
        "parts.hot_pipe.wall": Given(1.6e-3, "1.6 mm", 3.2e-4, "default", "wall thickness"),
        "parts.tank.volume": Given(9.5e-3, "9.5 L", None, "given", "coolant in the tank"),
    }
    return Build(
        name, "wren/build.toml", engine, CarSpec(), BaySpec(), charge, loops, ducts, parts, givens,
        ('boost = "22 psi" read as gauge',),
    )  # fmt: skip


def spans_of(n: int, pulls: int) -> tuple[Span, ...]:
    """Pulls of a twentieth of their period, rests between."""
    period = n // pulls
    found = []
    for k in range(pulls):
        found.append(Span(k * period, k * period + period // 5, "pull", f"pull {k + 1}", k))
        last = (k + 1) * period - 1 if k < pulls - 1 else n - 1
        found.append(Span(k * period + period // 5, last, "idle", "rest", k))
    return tuple(found)


def forecast_of(
    case: dict[str, Any], *, name: str = "Wren, invented for a test", limit: float | None = 333.15, n: int = 1201
) -> Forecast:
    """A forecast with invented numbers for one of `CASES`; `limit` [K] on the intake, None for no limit."""
    build = build_of(case, name)
    time = np.linspace(0.0, 1200.0, n)
    pulls = 5
    spans = spans_of(n, pulls)
    on = np.zeros(n, dtype=bool)
    for span in spans:
        on[span.first : span.last] |= span.kind == "pull"
    flow = np.where(on, 0.34, 0.012)
    warm = np.cumsum(on) / max(on.sum(), 1)
    tables: dict[str, dict[tuple[str, str], Any]] = {"inlet": {}, "outlet": {}, "flow": {}, "heat_capacity": {}}

    def put(part: str, side: str, t_in: Any, t_out: Any, m_dot: Any, cp: float) -> None:
        key = (part, side)
        tables["inlet"][key], tables["outlet"][key] = t_in * np.ones(n), t_out * np.ones(n)
        tables["flow"][key], tables["heat_capacity"][key] = m_dot * np.ones(n), cp

    coolant = AMBIENT + 2.0 + 14.0 * warm

    def walk(path: PartPath, t: Any, m_dot: Any) -> Any:
        for item in path:
            if isinstance(item, Parallel):
                share = m_dot / len(item.branches)
                t = sum(walk(branch, t, share) for branch in item.branches) / len(item.branches)
                continue
            spec, out = build.parts[item], t
            if isinstance(spec, CompressorSpec):
                out = t + np.where(on, 112.0, 3.0)
            elif isinstance(spec, WaterCoreSpec):
                out = coolant + 0.18 * (t - coolant)
            elif isinstance(spec, AirCoreSpec):
                out = AMBIENT + 0.32 * (t - AMBIENT)
            elif isinstance(spec, PipeSpec | PlenumSpec):
                out = t - 0.02 * (t - AMBIENT - 12.0)
            if not isinstance(spec, SensorSpec):
                put(item, "charge", t, out, m_dot, 1012.0)
            t = out
        return t

    intake = walk(build.charge, AMBIENT * np.ones(n), flow)
    heat = 0.0
    for loop in build.loops.values():
        engine = COOLANT_SIDE in names_on(loop.path)
        _loop(build, loop.path, put, coolant + (58.0 if engine else 0.0), 2.0 if engine else 0.42, tables, on)
    air: dict[str, Any] = {}
    for number, (duct_name, duct) in enumerate(build.ducts.items()):
        air[duct_name] = np.where(on, 0.9, 0.25) if number == 0 else 0.002 * np.ones(n)
        _duct(build, duct.path, put, air[duct_name])
    demand = Demand(
        time, spans, np.where(on, 110.0, 15.0), np.where(on, 250e3, 40e3), on, np.where(on, 30.0, 0.0), {}, AMBIENT,
        98.5e3, 0.45, (AMBIENT + 20.0) * np.ones(n), {}, "ambient",
    )  # fmt: skip
    limits = (
        ()
        if limit is None
        else (
            LimitSpec(quantity="intake", at_most=limit),
            LimitSpec(quantity="sensor", at_most=328.15),
            LimitSpec(quantity="spread", at_most=0.1),
        )
    )
    session = Session(
        "Five pulls, invented",
        "pulls.toml",
        "ambient",
        AmbientSpec(temperature=AMBIENT),
        (PhaseSpec(kind="pull", repeat=5),),
        {},
        limits,
    )
    loops = {n_: 0.42 / 1030.0 * np.ones(n) for n_ in build.loops}
    cooled = {
        n_: coolant
        for n_, loop in build.loops.items()
        if any(isinstance(build.parts.get(e), WaterCoreSpec) for e in names_on(loop.path))
    }
    rejected = sum(
        (tables["flow"][k] * 1012.0 * (tables["inlet"][k] - tables["outlet"][k]) for k in tables["flow"]
         if k[1] == "charge" and isinstance(build.parts[k[0]], WaterCoreSpec | AirCoreSpec)), np.zeros(n),
    )  # fmt: skip
    heat = float(np.sum(rejected) * (time[1] - time[0]))
    flows = [HeatFlow(k[0], "charge", heat / 2) for k in tables["flow"] if k[1] == "charge"]
    flows += [HeatFlow(k[0], "cooling", 0.3 * heat) for k in tables["flow"] if k[1] == "cooling"]
    flows += [HeatFlow(e, "stored", 0.4 * heat) for e in build.parts if e.endswith("tank")]
    ladder = (
        Rung("charge film", 16.0, 16.0 / 33e3, 0.47),
        Rung("coolant rise and storage", 12.0, 12.0 / 33e3, 0.35),
        Rung("cooling-air rise", 7.5, 7.5 / 33e3, 0.22),
        Rung("preheat", -1.4, -1.4 / 33e3, -0.04),
    )
    sensor = None
    if any(isinstance(p, SensorSpec) for p in build.parts.values()):
        sensor = np.convolve(np.concatenate([np.full(8, intake[0]), intake]), np.ones(9) / 9, "valid")
    commands = {
        p: on.astype(float) if p.endswith("fan") else np.ones(n) for p in build.parts if p.endswith(("pump", "fan"))
    }
    return Forecast(
        build=build, session=session, demand=demand, time=time, intake=intake, sensor=sensor,
        compressor_in=AMBIENT * np.ones(n), compressor_out=AMBIENT + np.where(on, 112.0, 3.0), charge_flow=flow,
        plenum_pressure=np.where(on, 248e3, 40e3), compressor_out_pressure=np.where(on, 256e3, 99e3),
        fuel_flow=flow / 8.0, power=np.where(on, 350e3, 0.0), power_at_ambient=np.where(on, 372e3, 0.0),
        heat_rejected=rejected, coolant_flow=loops, coolant_in_cores=cooled,
        tank={n_: coolant for n_, loop in build.loops.items() if any(e.endswith("tank") for e in names_on(loop.path))},
        air_flow=air, command=commands, outlet=tables["outlet"], inlet=tables["inlet"], flow=tables["flow"],
        heat_capacity=tables["heat_capacity"],
        ledger=Ledger(heat, 0.1 * heat, 0.7 * heat, 0.4 * heat, 2.5 * heat, 3e-12, tuple(flows)), ladder=ladder,
        health=Health(
            0.004, 3e-12, ("left_hx cooling air 1.6 times its bench flow",), ("parts.hot_pipe.wall = 1.6 mm +- 20 %",),
            ("invented numbers",),
        ),
        states=120, substeps=2, steps=2 * n, peak=int(np.argmax(np.where(on, intake, -np.inf))),
    )  # fmt: skip


def _loop(build: Build, path: PartPath, put: Any, t: Any, m_dot: Any, tables: Any, on: Any) -> Any:
    for item in path:
        if isinstance(item, Parallel):
            t = sum(_loop(build, b, put, t, m_dot / len(item.branches), tables, on) for b in item.branches) / len(
                item.branches
            )
            continue
        spec, out = build.parts.get(item), t
        key = (item, "charge")
        if isinstance(spec, WaterCoreSpec) and key in tables["flow"]:
            out = t + tables["flow"][key] * 1012.0 * (tables["inlet"][key] - tables["outlet"][key]) / (m_dot * 3700.0)
        elif isinstance(spec, ExchangerSpec):
            out = t - 0.25 * (t - AMBIENT)
        elif item == COOLANT_SIDE:
            out = t + 8.0
        put(item, "coolant", t, out, m_dot, 3700.0)
        t = out
    return t


def _duct(build: Build, path: PartPath, put: Any, m_dot: Any) -> None:
    t: Any = AMBIENT
    for item in names_on(path):
        rise = 0.0 if isinstance(build.parts[item], FanSpec) else 9.0
        put(item, "cooling", t, t + rise, m_dot, 1006.0)
        t = t + rise
