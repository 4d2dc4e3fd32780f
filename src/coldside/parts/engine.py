"""The engine: its specification, and what air, fuel and power it takes and gives.

What is here: filling, fuel, brake power and boost target as functions of engine speed and plenum
state; the specifications of car and bay, which have no physics of their own here.  What is not: road
load (`duty/`), knock (`knock_model.py`), and the losses before the plenum (`lines.py`, `compressor.py`).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from coldside.errors import BadInput, require
from coldside.media import air, fuels
from coldside.parts.curves import MonotoneCurve
from coldside.parts.fields import given

RPM = 1.0 / 60.0  # one revolution per minute in rev/s, the unit of engine speed inside
PEAK_FILLING = 0.92  # of the default volumetric-efficiency shape, plenum state (own; 0.85 to 1.05 is common practice)
PEAK_PLACE = 0.75  # share of top speed at which it stands
FILLING_FALL = 0.25  # how fast it falls with the squared relative distance from there (own)
FILLING_KNOWN = 313.15  # K of charge, 40 degC: at which a volumetric efficiency is usually known (common practice)
BOOSTED = 1.05  # plenum over ambient pressure above which the mixture is that of full load


@dataclass(frozen=True, kw_only=True)
class EngineSpec:
    """`[engine]`: the implicit part `engine` that ends the charge path."""

    kind: str = given("choice", "piston (four-stroke) or rotary", choices=("piston", "rotary"))
    displacement: float | None = given(
        "volume", "swept volume of all cylinders (piston)", default=None, low=5e-5, high=3e-2
    )
    cylinders: int | None = given("count", "number of cylinders (piston)", default=None, low=1, high=24)
    chamber_volume: float | None = given(
        "volume", "swept volume of one chamber (rotary)", default=None, low=5e-5, high=5e-3
    )
    rotors: int | None = given("count", "number of rotors (rotary)", default=None, low=1, high=6)
    compression_ratio: float = given("number", "geometric compression ratio", default=9.0, sd=0.3, low=5.0, high=20.0)
    volumetric_efficiency: tuple[tuple[float, float], ...] | None = given(
        "curve",
        "volumetric efficiency, referred to plenum state, against engine speed",
        default=None,
        curve=("engine_speed", "share"),
        shape="any",
        when_absent="0.92 at 75 % of top speed, falling by 1/4 of the squared relative distance from there",
    )
    filling_exponent: float = given(
        "number",
        "how far warm charge makes up for its thinner air, as it picks up less heat on its way in: volumetric "
        "efficiency, given for charge of 40 degC, goes with absolute temperature to this power (0.5 in power "
        "correction standards)",
        default=0.3,
        sd=0.1,
        low=0.0,
        high=0.6,
    )
    boost: tuple[tuple[float, object], ...] = given(
        "curve",
        "boost target at full load against engine speed (gauge, the trade's word, unless it says abs)",
        curve=("engine_speed", "boost"),
        shape="any",
    )
    boost_reference: str = given(
        "choice", "where the boost control senses", default="plenum", choices=("plenum", "compressor_out")
    )
    boost_lag: float = given(
        "time",
        "first-order lag of boost behind its target when it rises",
        default=0.6,
        sd_share=0.3,
        low=0.0,
        high=10.0,
    )
    fuel: str = given(
        "fuel",
        'the fuel it burns, or two mixed by volume, as in "gasoline 98 with 40 % E85"; a bare octane number is RON, '
        'what a North American pump shows is "gasoline 93 AKI"',
        choices=("gasoline 95", "gasoline 98", "gasoline 100", "E10", "E85", "ethanol", "methanol"),
    )
    fuel_lambda: float = given(
        "number",
        "air-fuel equivalence ratio at full load, 1 is stoichiometric",
        default=0.85,
        sd=0.03,
        low=0.5,
        high=1.5,
        alias="lambda",
    )
    brake_efficiency: float = given(
        "share",
        "brake power over fuel heating value, on all fuel burnt, at full load; a supercharger's drive comes off it",
        default=0.28,
        sd=0.03,
        low=0.05,
        high=0.5,
    )
    asked_power: float | None = given(
        "power",
        "power at the crank that it should make: a verdict that misses it says so, and what boost would make it",
        default=None,
        low=30e3,
        high=2e6,
        when_absent="none asked for",
    )
    injectors: int | None = given(
        "count", "number of injectors", default=None, low=1, high=48, when_absent="one per cylinder, or two per rotor"
    )
    injector_capacity: float | None = given(
        "mass_flow",
        "largest fuel flow of one injector at your rail pressure",
        default=None,
        low=1e-4,
        high=0.2,
        when_absent="not checked",
    )
    idle_speed: float = given(
        "engine_speed", "idle speed", default=900 * RPM, sd_share=0.1, low=300 * RPM, high=3000 * RPM
    )
    top_speed: float = given(
        "engine_speed", "highest engine speed used", default=7500 * RPM, sd_share=0.05, low=1500 * RPM, high=20000 * RPM
    )
    idle_plenum: float = given(
        "share", "plenum absolute pressure at idle as a share of ambient", default=0.40, sd=0.05, low=0.15, high=1.0
    )
    metal_temperature: float = given(
        "temperature",
        "metal that the plenum is bolted to, engine warm; where a loop names the engine, its liquid starts at it",
        default=363.15,
        sd=8.0,
        low=273.15,
        high=473.15,
    )
    coolant_heat_share: float = given(
        "share",
        "share of the heat its fuel sets free that the engine gives to its coolant (17 to 26 % at full load)",
        default=0.20,
        sd=0.04,
        low=0.0,
        high=0.6,
    )
    oil_heat_share: float = given(
        "share",
        "share of the heat its fuel sets free that the engine gives to its oil (2 to 8 % at full load)",
        default=0.05,
        sd=0.02,
        low=0.0,
        high=0.3,
    )
    jacket_volume: float | None = given(
        "volume",
        "coolant held in block and head",
        default=None,
        low=1e-4,
        high=0.05,
        when_absent="1.3 times the displacement, +- 30 %",
    )
    oil_volume: float | None = given(
        "volume",
        "oil held in sump and engine",
        default=None,
        low=1e-4,
        high=0.05,
        when_absent="2 L and as much as the displacement, +- 30 %",
    )
    block_mass: float | None = given(
        "mass",
        "metal that keeps the coolant's temperature, in aluminium (iron counts half)",
        default=None,
        low=1.0,
        high=1000.0,
        when_absent="20 kg and 20 kg for each litre of displacement, +- 30 %",
    )
    oil_metal_mass: float | None = given(
        "mass",
        "metal that keeps the oil's temperature (crank, pistons, sump), in aluminium (iron counts half)",
        default=None,
        low=1.0,
        high=1000.0,
        when_absent="5 kg and 5 kg for each litre of displacement, +- 40 %",
    )
    jacket_loss: float = given(
        "pressure_difference",
        "loss of the coolant's passages through the engine at jacket_flow, warm",
        default=25e3,
        sd_share=0.4,
        low=100.0,
        high=3e5,
    )
    jacket_flow: float = given(
        "volume_flow", "coolant flow at which jacket_loss holds", default=100 / 60000.0, low=1e-5, high=0.02
    )
    oil_loss: float = given(
        "pressure_difference",
        "loss of the oil's passages and bearings at oil_flow, warm",
        default=300e3,
        sd_share=0.4,
        low=100.0,
        high=2e6,
    )
    oil_flow: float = given(
        "volume_flow", "oil flow at which oil_loss holds", default=25 / 60000.0, low=1e-5, high=0.02
    )
    block_pickup: float = given(
        "conductance",
        "heat conductance between the bay's air and the engine's coolant or oil",
        default=12.0,
        sd_share=0.5,
        low=0.0,
        high=100.0,
    )
    bore: float | None = given(
        "length",
        "bore of one cylinder (piston)",
        default=None,
        low=0.02,
        high=0.3,
        when_absent="equal to the stroke, or what displacement and stroke leave",
    )
    stroke: float | None = given(
        "length",
        "stroke (piston)",
        default=None,
        low=0.02,
        high=0.3,
        when_absent="equal to the bore, or what displacement and bore leave",
    )
    rod: float | None = given(
        "length",
        "connecting rod between its centres (piston)",
        default=None,
        low=0.03,
        high=0.6,
        when_absent="1.67 times the stroke, +- 8 %",
    )
    fuel_injection: str = given(
        "choice",
        "where fuel enters: into the port (its evaporation takes a third of its heat from the charge), or directly into"
        " the cylinder (0.7 of it)",
        default="port",
        choices=("port", "direct"),
    )
    octane: float | None = given(
        "number",
        "octane number (RON) of the fuel where its data sheet differs from the fuel's usual one",
        default=None,
        low=60.0,
        high=130.0,
        when_absent="the fuel's usual one",
    )
    spark: tuple[tuple[float, float], ...] | None = given(
        "curve",
        "spark at full load against engine speed, before top dead centre, charge cool",
        default=None,
        curve=("engine_speed", "angle"),
        shape="any",
        when_absent="that of best torque, or less where a known knock-limited point tells what knock allows",
    )
    burn_duration: float | None = given(
        "angle",
        "crank or shaft angle in which the charge burns at full load and 5500 rpm; grows with the 0.3 power of speed",
        default=None,
        low=0.45,
        high=2.5,
        when_absent="55 deg +- 8 (piston), 90 deg +- 15 (rotary)",
    )
    trim_spark: tuple[tuple[float, float], ...] | None = given(
        "curve",
        "spark that the car's own calibration takes back against what its intake sensor reads",
        default=None,
        curve=("temperature", "angle"),
        shape="any",
        when_absent="none",
    )
    trim_boost: tuple[tuple[float, float], ...] | None = given(
        "curve",
        "share of boost that the car's own calibration takes off against what its intake sensor reads",
        default=None,
        curve=("temperature", "share"),
        shape="any",
        when_absent="none",
    )
    knock_speed: float | None = given(
        "engine_speed",
        "engine speed of a point at full load where this engine just knocks on this fuel, as found on a dyno",
        default=None,
        low=1000 * RPM,
        high=15000 * RPM,
        when_absent="no such point known: only changes of knock are told, never how near it is",
    )
    knock_boost: object = given(
        "boost",
        "boost where it just knocks (gauge, unless it says abs)",
        default=None,
        when_absent="given with knock_speed",
    )
    knock_intake: float | None = given(
        "temperature",
        "charge temperature where it just knocks, in the plenum",
        default=None,
        low=253.15,
        high=423.15,
        when_absent="given with knock_speed",
    )
    knock_spark: float | None = given(
        "angle",
        "spark at which it just knocks, before top dead centre",
        default=None,
        low=-0.2,
        high=1.0,
        when_absent="given with knock_speed",
    )


@dataclass(frozen=True, kw_only=True)
class CarSpec:
    """`[car]`: what road load and gearing need."""

    mass: float = given("mass", "mass as driven", default=1300.0, sd_share=0.1, low=100.0, high=10000.0)
    drag_area: float = given(
        "area", "drag coefficient times frontal area", default=0.68, sd_share=0.15, low=0.1, high=5.0
    )
    rolling_resistance: float = given(
        "share", "rolling resistance coefficient", default=0.012, sd_share=0.2, low=0.002, high=0.1
    )
    driveline_efficiency: float = given(
        "share", "share of crank power that reaches the road", default=0.88, sd=0.04, low=0.5, high=1.0
    )
    gears: tuple[float, ...] = given(
        "numbers", "gear ratios, first to top", default=(3.3, 2.1, 1.5, 1.15, 0.92), sd_share=0.1, low=0.3, high=20.0
    )
    final_drive: float = given("number", "final drive ratio", default=3.9, sd_share=0.1, low=0.5, high=20.0)
    tyre_radius: float = given(
        "length", "rolling radius of the driven tyres", default=0.31, sd_share=0.05, low=0.1, high=1.0
    )
    drive: str = given("choice", "the axle that is driven", default="rear", choices=("rear", "front", "all"))
    grip: float = given(
        "number",
        "friction of tyres on the road, largest force over load (road tyres 0.9 to 1.1, slicks 1.3 to 1.6)",
        default=1.0,
        sd=0.1,
        low=0.1,
        high=4.0,
    )
    wheelbase: float = given("length", "distance between the axles", default=2.55, sd=0.1, low=1.0, high=6.0)
    front_share: float = given(
        "share", "share of the weight on the front axle, car at rest", default=0.55, sd=0.05, low=0.2, high=0.8
    )
    cg_height: float = given(
        "length", "height of the centre of gravity over the road", default=0.5, sd=0.05, low=0.1, high=1.5
    )
    downforce_area: float = given(
        "area",
        "downforce coefficient times area, shared by the axles as the weight is",
        default=0.0,
        low=0.0,
        high=15.0,
    )
    brake_share: float = given(
        "share", "share of the tyres' grip that brakes and driver can use", default=0.9, sd=0.05, low=0.2, high=1.0
    )
    shift_time: float = given("time", "time without drive in a change of gear", default=0.25, sd=0.1, low=0.0, high=3.0)
    shift_throttle: str = given(
        "choice",
        "throttle in a change of gear: shut (lifted), or open (boost is held)",
        default="shut",
        choices=("shut", "open"),
    )
    alternator_idle: float | None = given(
        "current",
        "current that the alternator, hot and at idle, has left for these pumps and fans",
        default=None,
        low=0.0,
        high=500.0,
        when_absent="not checked",
    )


@dataclass(frozen=True, kw_only=True)
class BaySpec:
    """`[bay]`: the engine bay's air, over ambient."""

    temperature_rise: float = given(
        "temperature_difference", "bay air over ambient, car moving", default=20.0, sd_share=0.4, low=0.0, high=150.0
    )
    idle_rise: float = given(
        "temperature_difference",
        "bay air over ambient at standstill, engine running",
        default=35.0,
        sd_share=0.3,
        low=0.0,
        high=150.0,
    )
    parked_rise: float = given(
        "temperature_difference",
        "bay air over ambient, engine off after hot running",
        default=45.0,
        sd_share=0.3,
        low=0.0,
        high=150.0,
    )
    time_constant: float = given(
        "time", "how fast bay air follows a change", default=120.0, sd_share=0.4, low=1.0, high=7200.0
    )


def swept_per_rev(spec: EngineSpec) -> float:
    """Air drawn per shaft revolution at a volumetric efficiency of 1 [m3].

    Four-stroke piston: half the displacement.  Rotary: one chamber per rotor fires each turn of the
    eccentric shaft (Yamamoto, Rotary Engine, 1981, from memory).  Raises `BadInput` when the size of
    that kind of engine is missing.
    """
    if spec.kind == "piston":
        if spec.displacement is None:
            raise BadInput('a piston engine needs its displacement, e.g. "2.4 L"', key="engine.displacement")
        return spec.displacement / 2
    for name in ("chamber_volume", "rotors"):
        if getattr(spec, name) is None:
            raise BadInput(
                f'a rotary engine needs {name}: the swept volume of one chamber, e.g. "650 cm3", and the number of'
                " rotors",
                key=f"engine.{name}",
            )
    return (spec.chamber_volume or 0.0) * (spec.rotors or 0)  # neither is None here


def four_stroke_equivalent(spec: EngineSpec) -> float:
    """Displacement of the four-stroke engine that draws as much per revolution [m3]; for words on a rotary."""
    return 2 * swept_per_rev(spec)


@lru_cache(maxsize=64)
def _filling_curve(points: tuple[tuple[float, float], ...]) -> MonotoneCurve:
    return MonotoneCurve.through(points)


def volumetric_efficiency(
    spec: EngineSpec, n: np.ndarray | float, T_plenum: np.ndarray | float = FILLING_KNOWN
) -> np.ndarray:
    """Volumetric efficiency referred to plenum state, at `n` [rev/s] and charge of `T_plenum` [K].

    Monotone cubic through the user's points, level beyond their ends; without points
    0.92 [1 - 0.25 ((n - n_pk)/n_pk)^2] with n_pk at 75 % of top speed (own shape).  Both are of charge
    of 40 degC; they go with (T_plenum/313.15 K)^a, a the `filling_exponent`, at one plenum pressure:
    warm charge picks up less heat from port and cylinder, and burnt gas left there warms it less.
    a is 0.28 to 0.30 by our own cycle (15 % of the way to the walls' 400 K, 5 % of residual gas); the
    root of temperature in SAE J1349 and DIN 70020 implies 0.5.  Raises `BadInput` for a negative speed.
    """
    require("engine speed", n, low=0.0)
    warm = (np.asarray(T_plenum, dtype=float) / FILLING_KNOWN) ** spec.filling_exponent
    if spec.volumetric_efficiency is not None:
        return np.asarray(_filling_curve(tuple(tuple(point) for point in spec.volumetric_efficiency))(n) * warm)
    n_pk = PEAK_PLACE * spec.top_speed
    away = (np.minimum(np.asarray(n, dtype=float), 2 * n_pk) - n_pk) / n_pk
    return np.asarray(PEAK_FILLING * (1 - FILLING_FALL * away**2) * warm)


def air_flow(
    spec: EngineSpec,
    n: np.ndarray | float,
    p_plenum: np.ndarray | float,
    T_plenum: np.ndarray | float,
    W: np.ndarray | float = 0.0,
) -> np.ndarray:
    """Moist air drawn [kg/s] at `n` [rev/s], plenum at `p_plenum` [Pa absolute] and `T_plenum` [K].

    rho VE V_rev n, rho of moist air of humidity ratio `W` [kg/kg].
    """
    return air.density(T_plenum, p_plenum, W) * volumetric_efficiency(spec, n, T_plenum) * swept_per_rev(spec) * n


def plenum_pressure_for(
    spec: EngineSpec,
    n: np.ndarray | float,
    m_dot: np.ndarray | float,
    T_plenum: np.ndarray | float,
    W: np.ndarray | float = 0.0,
) -> np.ndarray:
    """Plenum pressure [Pa absolute] at which the engine draws `m_dot` [kg/s moist]: `air_flow` turned round.

    `n` must be above 0 (a standing engine has no such pressure: `BadInput`).
    """
    require("engine speed", n, low=0.0, open_low=True)
    rho = np.asarray(m_dot, dtype=float) / (volumetric_efficiency(spec, n, T_plenum) * swept_per_rev(spec) * n)
    return rho * air.gas_constant(W) * T_plenum


def mixture(spec: EngineSpec, boost_ratio: np.ndarray | float, full_load: np.ndarray | bool = False) -> np.ndarray:
    """Air-fuel equivalence ratio in use: the specification's at full load or in boost, else 1.

    `boost_ratio` is plenum over ambient pressure; above 1.05 counts as boost.  Stoichiometric part
    load is common practice, no source.
    """
    rich = np.asarray(full_load, dtype=bool) | (np.asarray(boost_ratio, dtype=float) > BOOSTED)
    return np.where(rich, spec.fuel_lambda, 1.0)


def fuel_flow(
    spec: EngineSpec,
    m_dot: np.ndarray | float,
    W: np.ndarray | float = 0.0,
    lambda_: np.ndarray | float | None = None,
) -> np.ndarray:
    """Fuel flow [kg/s] for `m_dot` [kg/s of moist air]: dry air / (lambda * stoichiometric ratio).

    `lambda_` None: the specification's, at full load.
    """
    lam = spec.fuel_lambda if lambda_ is None else lambda_
    require("lambda", lam, low=0.0, open_low=True)
    dry = np.asarray(m_dot, dtype=float) / (1 + np.asarray(W, dtype=float))
    return dry / (np.asarray(lam, dtype=float) * fuels.fuel(spec.fuel).stoichiometric)


def injector_count(spec: EngineSpec) -> int:
    """Number of injectors: given, or one per cylinder, or two per rotor.  Raises `BadInput` when unknown."""
    if spec.injectors is not None:
        return spec.injectors
    count = spec.cylinders if spec.kind == "piston" else (None if spec.rotors is None else 2 * spec.rotors)
    if count is None:
        needed = "cylinders" if spec.kind == "piston" else "rotors"
        raise BadInput(f"give the number of {needed}, or of injectors", key=f"engine.{needed}")
    return count


def brake_power(spec: EngineSpec, fuel: np.ndarray | float, lambda_: np.ndarray | float | None = None) -> np.ndarray:
    """Brake power [W] from `fuel` [kg/s] burnt at `lambda_` (None: the specification's).

    Fuel times heating value times brake efficiency, which the specification states for its own
    lambda.  At another one the efficiency on all fuel follows min(1, lambda), because rich of 1
    oxygen limits the heat released: more fuel alone brings no power.  For full load; at part load
    the true efficiency is lower.
    """
    lam = np.asarray(spec.fuel_lambda if lambda_ is None else lambda_, dtype=float)
    share = np.minimum(1.0, lam) / min(1.0, spec.fuel_lambda)
    return np.asarray(fuel, dtype=float) * fuels.fuel(spec.fuel).heating_value * (spec.brake_efficiency * share)


def boost_target(spec: EngineSpec, n: np.ndarray | float, p_ambient: np.ndarray | float) -> np.ndarray:
    """Boost target at full load [Pa absolute] at the place `boost_reference`, at `n` [rev/s].

    Linear between the points, each taken as gauge or absolute as written (gauge adds `p_ambient`
    [Pa absolute]); level beyond their ends.
    """
    require("ambient pressure", p_ambient, low=0.0, open_low=True)
    points: tuple[tuple[float, Any], ...] = spec.boost
    speeds = [speed for speed, _ in points]
    value = np.interp(n, speeds, [level.value for _, level in points])
    gauge = np.interp(n, speeds, [float(level.gauge) for _, level in points])
    return value + gauge * p_ambient
