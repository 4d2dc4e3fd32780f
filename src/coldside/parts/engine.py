"""The engine: its specification, and what air, fuel and power it takes and gives."""

from __future__ import annotations

from dataclasses import dataclass

from coldside.parts.fields import given

RPM = 1.0 / 60.0  # one revolution per minute in rev/s, the unit of engine speed inside


@dataclass(frozen=True, kw_only=True)
class EngineSpec:
    """`[engine]`: the implicit part `engine` that ends the charge path."""

    kind: str = given("choice", "piston (four-stroke) or rotary", choices=("piston", "rotary"))
    displacement: float | None = given("volume", "swept volume of all cylinders (piston)", default=None, low=5e-5, high=3e-2)
    cylinders: int | None = given("count", "number of cylinders (piston)", default=None, low=1, high=24)
    chamber_volume: float | None = given("volume", "swept volume of one chamber (rotary)", default=None, low=5e-5, high=5e-3)
    rotors: int | None = given("count", "number of rotors (rotary)", default=None, low=1, high=6)
    compression_ratio: float = given("number", "geometric compression ratio", default=9.0, sd=0.3, low=5.0, high=20.0)
    volumetric_efficiency: tuple[tuple[float, float], ...] | None = given(
        "curve", "volumetric efficiency, referred to plenum state, against engine speed", default=None,
        curve=("engine_speed", "share"), shape="any",
        when_absent="0.92 at 75 % of top speed, falling by 1/4 of the squared relative distance from there")
    boost: tuple[tuple[float, object], ...] = given(
        "curve", "boost target at full load against engine speed (gauge, the trade's word, unless it says abs)",
        curve=("engine_speed", "boost"), shape="any")
    boost_reference: str = given("choice", "where the boost control senses", default="plenum", choices=("plenum", "compressor_out"))
    boost_lag: float = given("time", "first-order lag of boost behind its target when it rises", default=0.6, sd_share=0.3, low=0.0, high=10.0)
    fuel: str = given("choice", "fuel", choices=("gasoline 95", "gasoline 98", "gasoline 100", "E10", "E85", "ethanol", "methanol"))
    fuel_lambda: float = given("number", "air-fuel equivalence ratio at full load, 1 is stoichiometric", default=0.85, sd=0.03, low=0.5, high=1.5, alias="lambda")
    brake_efficiency: float = given("share", "brake power over fuel heating value, on all fuel burnt, at full load", default=0.28, sd=0.03, low=0.05, high=0.5)
    injectors: int | None = given("count", "number of injectors", default=None, low=1, high=48, when_absent="one per cylinder, or two per rotor")
    injector_capacity: float | None = given("mass_flow", "largest fuel flow of one injector at your rail pressure", default=None, low=1e-4, high=0.2, when_absent="not checked")
    idle_speed: float = given("engine_speed", "idle speed", default=900 * RPM, sd_share=0.1, low=300 * RPM, high=3000 * RPM)
    top_speed: float = given("engine_speed", "highest engine speed used", default=7500 * RPM, sd_share=0.05, low=1500 * RPM, high=20000 * RPM)
    idle_plenum: float = given("share", "plenum absolute pressure at idle as a share of ambient", default=0.40, sd=0.05, low=0.15, high=1.0)
    metal_temperature: float = given("temperature", "metal that the plenum is bolted to, engine warm", default=363.15, sd=8.0, low=273.15, high=473.15)


@dataclass(frozen=True, kw_only=True)
class CarSpec:
    """`[car]`: what road load and gearing need."""

    mass: float = given("mass", "mass as driven", default=1300.0, sd_share=0.1, low=100.0, high=10000.0)
    drag_area: float = given("area", "drag coefficient times frontal area", default=0.68, sd_share=0.15, low=0.1, high=5.0)
    rolling_resistance: float = given("share", "rolling resistance coefficient", default=0.012, sd_share=0.2, low=0.002, high=0.1)
    driveline_efficiency: float = given("share", "share of crank power that reaches the road", default=0.88, sd=0.04, low=0.5, high=1.0)
    gears: tuple[float, ...] = given("numbers", "gear ratios, first to top", default=(3.3, 2.1, 1.5, 1.15, 0.92), sd_share=0.1, low=0.3, high=20.0)
    final_drive: float = given("number", "final drive ratio", default=3.9, sd_share=0.1, low=0.5, high=20.0)
    tyre_radius: float = given("length", "rolling radius of the driven tyres", default=0.31, sd_share=0.05, low=0.1, high=1.0)


@dataclass(frozen=True, kw_only=True)
class BaySpec:
    """`[bay]`: the engine bay's air, over ambient."""

    temperature_rise: float = given("temperature_difference", "bay air over ambient, car moving", default=20.0, sd_share=0.4, low=0.0, high=150.0)
    idle_rise: float = given("temperature_difference", "bay air over ambient at standstill, engine running", default=35.0, sd_share=0.3, low=0.0, high=150.0)
    parked_rise: float = given("temperature_difference", "bay air over ambient, engine off after hot running", default=45.0, sd_share=0.3, low=0.0, high=150.0)
    time_constant: float = given("time", "how fast bay air follows a change", default=120.0, sd_share=0.4, low=1.0, high=7200.0)
