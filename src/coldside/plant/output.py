"""What the engine makes of its air: brake power at full and part load."""

from __future__ import annotations

import numpy as np

from coldside.duty.demand import friction_power
from coldside.parts import engine
from coldside.parts.engine import BOOSTED, EngineSpec
from coldside.parts.knock_model import KnockModel
from coldside.plant.assemble import Plant


def brake_power_at(
    plant: Plant, flow: np.ndarray, plenum: np.ndarray, belt_power: np.ndarray | float = 0.0
) -> np.ndarray:
    """Brake power, W, at charge `flow` [kg/s moist] and `plenum` gas temperature [K], by samples of the demand.

    `belt_power` [W] is what a supercharger takes off the crank (`ChargeState.belt_power`); brake
    efficiency is the engine's without it.

    At full load fuel times heating value times brake efficiency (charge note B2).  At part load the
    Willans line of `duty/demand.py` through the full-load point of that speed and plenum temperature:
    power falls by more than flow, because the engine's own friction stays.
    """
    spec, demand = plant.build.engine, plant.demand
    W = plant.humidity if isinstance(plant.humidity, float) else plant.humidity[: len(flow)]
    power = np.array(engine.brake_power(spec, engine.fuel_flow(spec, flow, W)))
    part = np.flatnonzero(~demand.full_load[: len(flow)])
    if len(part):
        share = np.minimum(flow[part] / np.maximum(_full_flow(plant, plenum, part), 1e-9), 1.0)
        friction = friction_power(spec, demand.engine_speed[part])
        power[part] = np.maximum(power[part] - friction * (1.0 - share), 0.0)
    return np.maximum(power - belt_power, 0.0)


def _full_flow(plant: Plant, plenum: np.ndarray, rows: np.ndarray) -> np.ndarray:
    """Charge flow at full load at the speed and plenum temperature of some samples, kg/s moist."""
    spec, demand = plant.build.engine, plant.demand
    n, gas = demand.engine_speed[rows], plenum[rows]
    W = plant.humidity if isinstance(plant.humidity, float) else plant.humidity[rows]
    target = engine.boost_target(spec, n, demand.ambient_pressure)
    if plant.charge.drive is None:
        return engine.air_flow(spec, n, target, gas, W)
    inlet = plant.charge.inlet_temperature(  # a belt may not reach the target
        demand.bay_temperature[rows],
        None if demand.drawn_rise is None else demand.drawn_rise[rows],
        demand.ambient_temperature[rows],
    )
    return plant.charge.balance(n, target, gas, inlet, humidity=W).flow


def answers_heat(spec: EngineSpec) -> bool:
    """Whether anything beside density and boost takes power off a warm charge: spark taken back, or known knock."""
    return any(key is not None for key in (spec.trim_spark, spec.knock_speed))


def knock_share(plant: Plant, pressure: np.ndarray, charge: np.ndarray, read: np.ndarray) -> np.ndarray:
    """Share of power that knock and the trim of spark leave, by samples; 1 off full load and out of boost.

    Plenum `pressure` [Pa absolute], `charge` [K] and what the intake sensor `read`s [K]; see
    `KnockModel.power_share`.
    """
    spec, demand = plant.build.engine, plant.demand
    share = np.ones(len(charge))
    boosted = demand.full_load & (demand.engine_speed > 0.0) & (pressure > BOOSTED * demand.ambient_pressure)
    if answers_heat(spec) and boosted.any():
        model = KnockModel.of(spec, demand.ambient_pressure)
        share[boosted] = model.power_share(
            demand.engine_speed[boosted], pressure[boosted], charge[boosted], read[boosted]
        )
    return share
