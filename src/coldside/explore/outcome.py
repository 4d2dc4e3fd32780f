"""One run among many: the session on one build at a chosen fineness, reduced to its headline figures.

What is here: `Fineness` (how finely a run is made), `run`, `Outcome` (the traces that limits look at) and
`figures`.  What is not: drawing of inputs (`draws.py`), many runs (`bands.py`), one run with all its
traces, ledger and health (`plant/forecast.py`).

A draw is made on fewer wall cells, at fewer samples and with engine speed and pressure rounded, so that the
charge side is balanced at hundreds of conditions instead of thousands.  The error of that is nearly the same
in every draw: `bands.py` takes it off by adding what the nominal run differs from its coarse twin.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import cast

import numpy as np

from coldside.build.model import Build
from coldside.duty.demand import sample
from coldside.duty.model import SAMPLE_TIME, Demand, Session
from coldside.judge.heat import core_loops
from coldside.judge.power import mean_where, power_spread, temperature_spread
from coldside.judge.verdict import judge_limit
from coldside.plant import layout
from coldside.plant.assemble import Plant, assemble
from coldside.plant.forecast import solve
from coldside.plant.output import brake_power_at
from coldside.plant.results import Forecast
from coldside.plant.traces import Solution, Streams


@dataclass(frozen=True)
class Fineness:
    """How finely a run is made.

    `cells` as of `assemble`; of the demand every `every`-th sample is kept; engine speed and pressure are
    rounded to the share `rounding` of themselves and bay temperature to `bay` kelvin (0: not rounded).
    """

    cells: Mapping[str, tuple[int, int]] = field(default_factory=dict)
    every: int = 1
    rounding: float = 0.0
    bay: float = 0.0


FINE = Fineness()
COARSE = Fineness({"water_core": (3, 8), "air_core": (16, 2), "exchanger": (3, 2)}, 2, 0.02, 2.0)


@dataclass(frozen=True)
class Outcome:
    """What limits and headline figures look at; the same names as on a `Forecast`, SI."""

    build: Build
    session: Session
    demand: Demand
    time: np.ndarray
    intake: np.ndarray
    sensor: np.ndarray | None
    boost: np.ndarray
    coolant_in_cores: Mapping[str, np.ndarray]
    power: np.ndarray
    peak: int


def run(build: Build, session: Session, fineness: Fineness = FINE) -> Outcome:
    """The whole session on one build; raises as `simulate` does."""
    demand = thinned(sample(session, build), fineness)
    plant = assemble(build, demand, fineness.cells)
    plant = replace(plant, arrays=plant.arrays._replace(step=fineness.every * SAMPLE_TIME))
    return _outcome(plant, session, solve(plant))


def thinned(demand: Demand, fineness: Fineness) -> Demand:
    """The demand at every n-th sample, rounded; the samples behind the last one that is kept are left out."""
    if fineness.every == 1 and fineness.rounding == 0.0 and fineness.bay == 0.0:
        return demand
    kept, q, bay = slice(None, None, fineness.every), fineness.rounding, demand.bay_temperature
    spans = tuple(
        replace(span, first=-(-span.first // fineness.every), last=span.last // fineness.every)
        for span in demand.spans
        if -(-span.first // fineness.every) <= span.last // fineness.every
    )
    return replace(
        demand,
        time=demand.time[kept],
        spans=spans,
        engine_speed=_rounded(demand.engine_speed[kept], q),
        plenum_target=_rounded(demand.plenum_target[kept], q),
        full_load=demand.full_load[kept],
        road_speed=demand.road_speed[kept],
        air_speed={name: speed[kept] for name, speed in demand.air_speed.items()},
        bay_temperature=np.round(bay[kept] / fineness.bay) * fineness.bay if fineness.bay else bay[kept],
        command={name: command[kept] for name, command in demand.command.items()},
    )


def _rounded(values: np.ndarray, share: float) -> np.ndarray:
    """Positive values to the nearest power of 1 + share; 0 stays."""
    if share == 0.0:
        return values
    step = math.log1p(share)
    found = np.zeros_like(values)
    some = values > 0.0
    found[some] = np.exp(np.round(np.log(values[some]) / step) * step)
    return found


def _outcome(plant: Plant, session: Session, solution: Solution) -> Outcome:
    A, demand = plant.arrays, plant.demand
    n_sensors = len(plant.sensors)
    of_charge = [i for i in range(n_sensors) if A.sensor_sort[i] == layout.CHARGE]
    means = solution.scalars[:, 4 + n_sensors :]
    streams = Streams(plant, solution)
    return Outcome(
        build=plant.build,
        session=session,
        demand=demand,
        time=demand.time,
        intake=solution.intake,
        sensor=solution.scalars[:, 4 + of_charge[-1]] if of_charge else None,
        boost=A.boost.astype(bool),
        coolant_in_cores={loop.loop.name: streams.into_cores(i, means[:, i]) for i, loop in enumerate(plant.loops)},
        power=brake_power_at(plant, solution.scalars[:, 0], solution.scalars[:, 3], _belt(plant, solution)),
        peak=solution.peak,
    )


def _belt(plant: Plant, solution: Solution) -> np.ndarray | float:
    """What a supercharger takes off the crank, W."""
    if plant.charge.drive is None:
        return 0.0
    demand = plant.demand
    inlet = plant.charge.inlet_temperature(demand.bay_temperature)
    return plant.charge.balance(demand.engine_speed, demand.plenum_target, solution.scalars[:, 3], inlet).belt_power


def figures(seen: Forecast | Outcome) -> dict[str, float]:
    """Headline figures, SI; what a session or build has not is absent.

    `intake_max`, `over_ambient_max`: at the hottest moment in boost; `sensor_max`: highest in boost;
    `coolant_max.LOOP`: highest into the charge cores of a loop; `power_mean`: in boost;
    `spread_temperature`, `spread_power`: of repeats; for every limit `limits.I` (its value, counted from 0)
    and `seconds_over.I`.
    """
    forecast = cast(Forecast, seen)  # an outcome has all that is looked at here under the same names
    counts = forecast.boost if forecast.boost.any() else np.ones(len(forecast.time), dtype=bool)
    hottest = float(forecast.intake[forecast.peak])
    found: dict[str, float | None] = {
        "intake_max": hottest,
        "over_ambient_max": hottest - forecast.demand.ambient_temperature,
        "sensor_max": None if forecast.sensor is None else float(forecast.sensor[counts].max()),
        "power_mean": mean_where(forecast.power, forecast.boost, forecast.time),
        "spread_temperature": temperature_spread(forecast, forecast.intake),
        "spread_power": power_spread(forecast),
    }
    for loop, trace in core_loops(forecast).items():
        found[f"coolant_max.{loop}"] = float(trace.max())
    for k, limit in enumerate(forecast.session.limits):
        result = judge_limit(forecast, limit)
        if result.holds is not None:
            found[f"limits.{k}"], found[f"seconds_over.{k}"] = result.value, result.seconds_over
    return {name: value for name, value in found.items() if value is not None}
