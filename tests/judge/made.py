"""Forecasts made by hand for the tests of judgement: known traces, no solver, so that every answer can be worked out.

A made session is six pulls of 10 s with 50 s of rest between, sampled every 0.1 s; the intake rises linearly in
each pull to a given peak and stands at a given level between.
"""

from __future__ import annotations

from dataclasses import replace
from types import MappingProxyType
from typing import Any

import numpy as np

from coldside.build.model import Build, Duct, Loop, Parallel
from coldside.duty.model import AmbientSpec, Demand, LimitSpec, PhaseSpec, Session, Span
from coldside.parts.airflow import DuctSpec
from coldside.parts.compressor import CompressorSpec, Operating
from coldside.parts.engine import BaySpec, CarSpec, EngineSpec
from coldside.parts.exchanger import ExchangerSpec, WaterCoreSpec
from coldside.parts.lines import PlenumSpec
from coldside.parts.pump import PumpSpec
from coldside.parts.reservoir import ReservoirSpec
from coldside.parts.sensor import SensorSpec
from coldside.plant.results import Forecast, Health, HeatFlow, Ledger, Point, Rung
from coldside.units import Pressure

AMBIENT = 300.0  # K
PRESSURE = 100e3  # Pa
CP_CHARGE, CP_AIR, CP_COOLANT = 1010.0, 1006.0, 3600.0
PULL, REST, STEP = 10.0, 50.0, 0.1


def core() -> WaterCoreSpec:
    """A water core with only what is required."""
    return WaterCoreSpec(
        bench_charge_flow=0.25,
        bench_coolant_flow=2.3e-4,
        bench_charge_in=413.15,
        bench_coolant_in=303.15,
        bench_effectiveness=0.8,
        bench_charge_loss=4500.0,
        bench_coolant_loss=9000.0,
        metal_mass=2.6,
        coolant_volume=7e-4,
    )


def exchanger(**changes: Any) -> ExchangerSpec:
    """A remote exchanger with only what is required."""
    return ExchangerSpec(bench_cooling_flow=0.8, bench_cooling_loss=200.0, bench_effectiveness=0.5, **changes)


def build(injector_capacity: float | None = None) -> Build:
    """Turbo, one core, plenum; tank, pump, one exchanger behind a rear duct."""
    return Build(
        name="Made",
        file="made.toml",
        engine=EngineSpec(
            kind="piston",
            displacement=2.4e-3,
            cylinders=4,
            boost=((50.0, Pressure(1.5e5, True)), (120.0, Pressure(1.5e5, True))),
            fuel="E85",
            injectors=8,
            injector_capacity=injector_capacity,
        ),
        car=CarSpec(),
        bay=BaySpec(),
        charge=("turbo", Parallel((("core",),)), "plenum"),
        loops={"charge": Loop("charge", "water", ("tank", "pump", "core", "rear_hx"))},
        ducts={"rear": Duct("rear", DuctSpec(place="rear", inlet_area=0.02), ("rear_hx",))},
        parts={
            "turbo": CompressorSpec(efficiency=0.7),
            "core": core(),
            "plenum": PlenumSpec(),
            "tank": ReservoirSpec(volume=9.5e-3),
            "pump": PumpSpec(),
            "rear_hx": exchanger(),
            "intake_sensor": SensorSpec(),
        },
        notes=('made.toml:9: boost = "22 psi" read as gauge',),
    )


def limit(quantity: str, at_most: float, during: str = "boost") -> LimitSpec:
    """One limit."""
    return LimitSpec(quantity=quantity, at_most=at_most, during=during)


def session(*limits: LimitSpec, groups: dict[str, int] | None = None) -> Session:
    """A session that only carries limits; the demand is made apart."""
    phase = PhaseSpec(kind="pull", on="dyno", from_speed=50.0, to_speed=120.0, duration=PULL, repeat=6, rest=REST)
    ambient = AmbientSpec(temperature=AMBIENT)
    return Session("Made pulls", "made-session.toml", "ambient", ambient, (phase,), groups or {}, limits)


def spans(pulls: int) -> tuple[Span, ...]:
    """Pulls with rests between; a sample at a joint belongs to what ends there, as in a real demand."""
    made, end = [], 0
    for i in range(pulls):
        stretches = [("pull", f"pull {i + 1}", i if pulls > 1 else -1, PULL)]
        if i + 1 < pulls:
            stretches.append(("idle", "rest", -1, REST))
        for kind, label, repeat, duration in stretches:
            first = end + 1 if end else 0
            end += round(duration / STEP)
            made.append(Span(first, end, kind, label, repeat))
    return tuple(made)


def pull_samples(made: tuple[Span, ...]) -> list[slice]:
    """The samples of each pull, both joints included: from where it starts to where it ends."""
    return [slice(max(span.first - 1, 0), span.last + 1) for span in made if span.kind == "pull"]


def forecast(
    peaks: tuple[float, ...] = (320.0, 322.0, 324.0, 326.0, 328.0, 330.0),
    limits: tuple[LimitSpec, ...] = (),
    injector_capacity: float | None = None,
    **changes: Any,
) -> Forecast:
    """A forecast whose intake rises from 310 K to `peaks[i]` in pull i and is 310 K at rest; boost in pulls only.

    Charge flow is 0.2 kg/s in pulls, 0.02 kg/s between; the compressor gives 420 K in pulls and 305 K between.
    Coolant into the core rises by 2 K a minute from 302 K.  `changes` replace fields of the forecast.
    """
    demand = made_demand(len(peaks))
    n, time = len(demand.time), demand.time
    boost = demand.full_load
    intake = np.full(n, 310.0)
    for peak, own in zip(peaks, pull_samples(demand.spans), strict=True):
        intake[own] = np.linspace(310.0, peak, own.stop - own.start)
    flow = np.where(boost, 0.2, 0.02)
    out = np.where(boost, 420.0, 305.0)
    coolant = 302.0 + time / 30.0
    air = np.full(n, 0.4)
    power = np.where(boost, 300e3, 2e3)
    values: dict[str, Any] = {
        "build": build(injector_capacity),
        "session": session(*limits),
        "demand": demand,
        "time": time,
        "intake": intake,
        "sensor": intake - 5.0,
        "compressor_in": np.full(n, AMBIENT),
        "compressor_out": out,
        "charge_flow": flow,
        "plenum_pressure": np.where(boost, 250e3, 40e3),
        "compressor_out_pressure": np.where(boost, 260e3, 101e3),
        "fuel_flow": np.where(boost, 0.024, 0.001),
        "power": power,
        "power_at_ambient": 1.05 * power,
        "heat_rejected": flow * CP_CHARGE * (out - intake),
        "coolant_flow": {"charge": np.full(n, 2.5e-4)},
        "coolant_in_cores": {"charge": coolant},
        "tank": {"charge": coolant},
        "air_flow": {"rear": air},
        "command": {"pump": np.ones(n)},
        "outlet": {
            ("turbo", "charge"): out,
            ("core", "charge"): intake,
            ("rear_hx", "cooling"): np.full(n, AMBIENT + 5.0),
            ("rear_hx", "coolant"): coolant - 1.0,
        },
        "inlet": {
            ("turbo", "charge"): np.full(n, AMBIENT),
            ("core", "charge"): out,
            ("core", "coolant"): coolant,
            ("rear_hx", "cooling"): np.full(n, AMBIENT),
            ("rear_hx", "coolant"): coolant,
        },
        "flow": {("turbo", "charge"): flow, ("core", "charge"): flow, ("rear_hx", "cooling"): air},
        "heat_capacity": {
            ("turbo", "charge"): CP_CHARGE,
            ("core", "charge"): CP_CHARGE,
            ("rear_hx", "cooling"): CP_AIR,
        },
        "ledger": Ledger(1e6, 1e5, 6e5, 5e5, 2e6, 0.0, (HeatFlow("tank", "pickup", 1e5),)),
        "ladder": (
            Rung("charge film", 12.0, 6e-4, 0.4),
            Rung("remote air film", 15.0, 7.5e-4, 0.5),
            Rung("preheat", 3.0, 1.5e-4, 0.1),
        ),
        "health": Health(0.01, 0.0, (), ("parts.pump.curve: a generic 12 V pump",), ()),
        "states": 20,
        "substeps": 1,
        "steps": n - 1,
        "peak": int(np.argmax(np.where(boost, intake, -np.inf))),
    }
    return Forecast(**(values | changes))


def made_demand(pulls: int) -> Demand:
    """The demand of so many pulls; `full_load` marks them."""
    made = spans(pulls)
    n = made[-1].last + 1
    full = np.zeros(n, dtype=bool)
    for own in pull_samples(made):
        full[own] = True
    return Demand(
        time=STEP * np.arange(n),
        spans=made,
        engine_speed=np.full(n, 80.0),
        plenum_target=np.where(full, 250e3, 40e3),
        full_load=full,
        road_speed=np.zeros(n),
        air_speed={"rear": np.zeros(n)},
        ambient_temperature=AMBIENT,
        ambient_pressure=PRESSURE,
        humidity=0.5,
        bay_temperature=np.full(n, 320.0),
        command={},
        start="ambient",
    )


def without_loops(made: Forecast) -> Forecast:
    """The same without any coolant."""
    return replace(made, coolant_flow={}, coolant_in_cores={}, tank={})


def point() -> Point:
    """A steady point with round numbers."""
    return Point(
        build=build(),
        engine_speed=100.0,
        ambient_temperature=AMBIENT,
        ambient_pressure=PRESSURE,
        air_flow=0.3,
        pressure_ratio=2.6,
        compressor_efficiency=0.7,
        compressor_out=430.0,
        intake=325.0,
        plenum_pressure=250e3,
        charge_loss=8e3,
        charge_density=2.68,
        heat_rejected=31e3,
        fuel_flow=0.03,
        fuel_flow_per_injector=0.00375,
        power=260e3,
        surge_margin=None,
        choke_margin=0.2,
        shaft_speed_margin=float("nan"),
        coolant_flow={"charge": 2.5e-4},
        loop_temperature={"charge": 315.0},
        effectiveness={"core": 0.8},
        air_flow_duct={"rear": 0.4},
        outlet=MappingProxyType({}),
        inlet=MappingProxyType({}),
        flow=MappingProxyType({}),
    )


def operating(surge_margin: np.ndarray) -> Operating:
    """A compressor at work with only a margin to surge."""
    no = np.zeros(surge_margin.shape, dtype=bool)
    return Operating(np.full(surge_margin.shape, 0.7), no, no, no, no, no, surge_margin=surge_margin)
