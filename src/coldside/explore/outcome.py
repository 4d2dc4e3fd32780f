"""One run among many: the session on one build at a chosen fineness, reduced to its headline figures.

What is here: `Fineness` (how finely a run is made), `run`, `Outcome` (the traces that limits look at), `figures`,
and `preview`, a coarse run as a forecast.  What is not: drawing of inputs (`draws.py`), many runs (`bands.py`), the
forecast itself (`plant/forecast.py`).

A draw is made on fewer wall cells, at fewer samples and with engine speed and pressure rounded, so that the
charge side is balanced at hundreds of conditions instead of thousands.  The error of that is nearly the same
in every draw: `bands.py` takes it off by adding what the nominal run differs from its coarse twin.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, fields, replace
from functools import partial
from typing import Any, TypeVar, cast

import numpy as np

from coldside.build.model import Build
from coldside.duty.demand import sample
from coldside.duty.model import Demand, Run, Session, Shares, Span
from coldside.explore.clocked import Clock, power_at_ambient, timed_runs
from coldside.judge.heat import core_loops
from coldside.judge.power import kind_of, lost_in_boost, mean_where, power_spread, temperature_spread
from coldside.judge.verdict import judge_limit
from coldside.plant import layout
from coldside.plant.assemble import Plant, assemble
from coldside.plant.charge import ChargeState
from coldside.plant.feedback import TimedRun, Turn, settle, shares_of
from coldside.plant.forecast import charge_states, forecast_of, solve, turn_of
from coldside.plant.output import answers_heat, brake_power_at, knock_share
from coldside.plant.results import Forecast
from coldside.plant.tables import FULL, Grid
from coldside.plant.traces import Solution, Streams

Piece = TypeVar("Piece", Span, Run)

TRIMMED = 3  # turns in which trims of boost come within a few per cent of what they take (1 %/K)


@dataclass(frozen=True)
class Fineness:
    """How finely a run is made.

    `cells` as of `assemble`; of the demand every `every`-th sample is kept, by `run` every `quiet`-th where neither
    full load nor boost is near (0: as elsewhere); engine speed and pressure are rounded to the share `rounding` of
    themselves and bay temperature to `bay` kelvin (0: not rounded).  `grid` as of `assemble`, `quick` as of `solve`.
    """

    cells: Mapping[str, tuple[int, int]] = field(default_factory=dict)
    every: int = 1
    rounding: float = 0.0
    bay: float = 0.0
    grid: Grid = FULL
    quiet: int = 0
    quick: bool = False


FINE = Fineness()
COARSE = Fineness(
    {"water_core": (3, 8), "air_core": (16, 2), "exchanger": (3, 2)},
    every=4,
    rounding=0.02,
    bay=2.0,
    grid=Grid(
        one=10,
        two=9,
        temperature=4,
        single=32,
        loop=10,
        duct_temperature=3,
        duct_speed=8,
        feed=4,
        cell_length=0.8,
        fewest_cells=2,
        settled=1e-6,
        feedback_time=0.5,
    ),
)
# of many draws: the error is taken off again, so it need only be nearly the same in all of them (held to by tests)
DRAWN = Fineness(
    {"water_core": (3, 4), "air_core": (16, 2), "exchanger": (2, 2)},
    every=4,
    rounding=0.02,
    bay=2.0,
    grid=Grid(
        one=8,
        two=7,
        temperature=3,
        single=20,
        loop=6,
        duct_temperature=3,
        duct_speed=6,
        feed=4,
        cell_length=1.5,
        fewest_cells=1,
        settled=1e-6,
        feedback_time=1.0,
    ),
    quiet=32,
    quick=True,
)
BEFORE, AFTER = 2.0, 20.0  # s before and after full load or boost in which every `every`-th sample is kept


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
    lost: Callable[[], float] = field(default=lambda: math.nan, repr=False)  # finds `charge_loss`
    cooling_in: Mapping[str, np.ndarray] = field(default_factory=dict)  # part in a duct -> air that reaches it
    outlet: Mapping[tuple[str, str], np.ndarray] = field(default_factory=dict)  # (part, "coolant") -> what leaves it
    plenum_pressure: np.ndarray | None = None  # Pa absolute; where a limit on the knock margin asks for it
    # W with the charge held at ambient temperature; known in boost, and at full load of runs with a clock, else NaN
    power_at_ambient: np.ndarray = field(default_factory=lambda: np.zeros(0))
    runs: tuple[TimedRun, ...] = ()  # passes and laps and what heat cost; empty without a nominal's clock
    run_times: tuple[float, ...] = ()  # s of passes and laps with the power that heat leaves; empty: not asked for

    @property
    def charge_loss(self) -> float:
        """Pressure from the last compressor to the plenum at `peak`, Pa; reckoned when asked for."""
        return self.lost()


def run(
    build: Build,
    session: Session,
    fineness: Fineness = FINE,
    *,
    shares: Shares | None = None,
    clock: Clock | None = None,
    timed: bool = False,
) -> Outcome:
    """The whole session on one build; raises as `simulate` does.

    Passes and laps are driven once, with `shares` of their power, such as a forecast's of the same session (None: all
    of it): further turns of driving and heat move a run's heat by less than a coarse march is off.  With the nominal's
    `clock`, whose shares they then take, it tells their times with this march's own heat and without.  `timed` drives
    them once more with the power that this march leaves, for their times alone.  Trims of boost take `TRIMMED` turns.
    """

    def march(demand: Demand) -> Turn[tuple[Plant, Solution]]:
        looked_at = _kept(demand, _looked_at(demand, fineness), fineness)
        plant = assemble(build, looked_at, fineness.cells, grid=fineness.grid)
        steps = np.diff(looked_at.time)
        spacing = np.round(steps / steps[0], 9)
        return turn_of(plant, session, solve(plant, spacing=spacing, quick=fineness.quick))

    most = 0 if build.engine.trim_boost is None else TRIMMED
    turn, _ = settle(build, session, march, shares=shares if clock is None else clock.shares, turns=most)
    plant, solution = turn.result
    found = _outcome(plant, session, solution, clock)
    if not timed or not plant.demand.runs:
        return found
    left = sample(session, build, shares_of(turn.demand, *turn.powers()))
    return replace(found, run_times=tuple(run.time for run in left.runs))


PREVIEW = "a preview on coarse cells: the step was not checked, driving and trims not brought to rest with the heat"


def preview(build: Build, session: Session, fineness: Fineness = COARSE) -> Forecast:
    """A forecast in a tenth of the time, for what is looked at while values are being moved; raises as `simulate` does.

    Its samples are those that `fineness` keeps.  The intake's peak is within a kelvin of the forecast's on the bundled
    builds and sessions.  Health says that it is a preview; its `step_check` is NaN.
    """
    plant = assemble(build, thinned(sample(session, build), fineness), fineness.cells, grid=fineness.grid)
    found = forecast_of(plant, session, solve(plant))
    return replace(found, health=replace(found.health, warnings=(PREVIEW, *found.health.warnings)))


def thinned(demand: Demand, fineness: Fineness) -> Demand:
    """The demand at every n-th sample, rounded; the samples behind the last one that is kept are left out."""
    return _kept(demand, np.arange(0, len(demand.time), fineness.every), fineness)


def _looked_at(demand: Demand, fineness: Fineness) -> np.ndarray:
    """Samples that a run keeps: every n-th, and of quiet stretches fewer."""
    rows = np.arange(0, len(demand.time), fineness.every)
    stride = fineness.quiet // fineness.every
    if stride < 2:
        return rows
    step = float(demand.time[1] - demand.time[0])
    loud = demand.full_load | demand.boost
    change = np.diff(np.concatenate([[0], loud.astype(np.int8), [0]]))
    begins, ends = np.flatnonzero(change == 1), np.flatnonzero(change == -1)
    near = np.zeros(len(loud) + 1)
    np.add.at(near, np.maximum(begins - round(BEFORE / step), 0), 1.0)
    np.add.at(near, np.minimum(ends + round(AFTER / step), len(loud)), -1.0)
    quiet, count = np.cumsum(near[:-1])[rows] == 0.0, np.arange(len(rows))
    # the first two stay side by side: they tell the plant's step
    kept = rows[~quiet | (count % stride == 0) | (count == 1)]
    # the last moment of a pull has its peak, the first one of boost the sensor's
    boost = np.flatnonzero(np.diff(demand.boost.astype(np.int8)) == 1) + 1
    # both sides of every change of gear: a run peaks in the last moment before one
    edges = np.flatnonzero(np.diff(np.concatenate([[0], demand.full_load.astype(np.int8), [0]])))
    sides = np.clip(np.concatenate([edges - 1, edges]), 0, len(loud) - 1)
    return np.unique(np.concatenate([kept, ends - 1, boost, sides]))


def _kept(demand: Demand, rows: np.ndarray, fineness: Fineness) -> Demand:
    """The demand at some of its samples, rounded."""
    n = len(demand.time)
    if len(rows) == n and fineness.rounding == 0.0 and fineness.bay == 0.0:
        return demand
    arrays = {item.name: getattr(demand, item.name) for item in fields(demand)}
    kept: dict[str, Any] = {name: v[rows] for name, v in arrays.items() if isinstance(v, np.ndarray) and len(v) == n}
    thin = replace(
        demand,
        **kept,
        air_speed={name: speed[rows] for name, speed in demand.air_speed.items()},
        command={name: command[rows] for name, command in demand.command.items()},
        spans=_moved(demand.spans, rows),
        runs=_moved(demand.runs, rows),
    )
    return replace(
        thin,
        engine_speed=_rounded(thin.engine_speed, fineness.rounding),
        plenum_target=_rounded(thin.plenum_target, fineness.rounding),
        bay_temperature=_to_step(thin.bay_temperature, fineness.bay),
        drawn_rise=None if thin.drawn_rise is None else _to_step(thin.drawn_rise, fineness.bay),
    )


def _moved(pieces: tuple[Piece, ...], rows: np.ndarray) -> tuple[Piece, ...]:
    """Spans or runs on the samples that are kept; those that none falls in are left out."""
    first = np.searchsorted(rows, [one.first for one in pieces]).tolist()
    last = (np.searchsorted(rows, [one.last for one in pieces], side="right") - 1).tolist()
    return tuple(replace(one, first=a, last=b) for one, a, b in zip(pieces, first, last, strict=True) if a <= b)


def _to_step(values: np.ndarray, step: float) -> np.ndarray:
    return np.round(values / step) * step if step else values


def _rounded(values: np.ndarray, share: float) -> np.ndarray:
    """Positive values to the nearest power of 1 + share; 0 stays."""
    if share == 0.0:
        return values
    step = math.log1p(share)
    found = np.zeros_like(values)
    some = values > 0.0
    found[some] = np.exp(np.round(np.log(values[some]) / step) * step)
    return found


def _outcome(plant: Plant, session: Session, solution: Solution, clock: Clock | None) -> Outcome:
    A, demand = plant.arrays, plant.demand
    n_sensors = len(plant.sensors)
    of_charge = [i for i in range(n_sensors) if A.sensor_sort[i] == layout.CHARGE]
    means = solution.scalars[:, 4 + n_sensors :]
    streams = Streams(plant, solution)
    sensor = solution.scalars[:, 4 + of_charge[-1]] if of_charge else None
    knock = any(limit.quantity == "margin" for limit in session.limits)
    boost, power = A.boost.astype(bool), _power(plant, solution, sensor)
    cold = _at_ambient(plant, boost, clock)
    return Outcome(
        build=plant.build,
        session=session,
        demand=demand,
        time=demand.time,
        intake=solution.intake,
        sensor=sensor,
        boost=boost,
        coolant_in_cores={loop.loop.name: streams.into_cores(i, means[:, i]) for i, loop in enumerate(plant.loops)},
        power=power,
        peak=solution.peak,
        lost=partial(_charge_loss, plant, solution),
        cooling_in={
            p.part: solution.streams[:, i, 0]
            for i, p in enumerate(plant.passes)
            if p.side == "cooling" and A.passes[i, layout.P_SORT] == layout.COOLING
        },
        outlet={
            (p.part, p.side): solution.streams[:, i, 1]
            for i, p in enumerate(plant.passes)
            if A.passes[i, layout.P_SORT] == layout.COOLANT
        },
        plenum_pressure=_charge(plant, solution).plenum_pressure if knock else None,
        power_at_ambient=cold,
        runs=() if clock is None else timed_runs(clock, plant, session, power, cold),
    )


def _at_ambient(plant: Plant, boost: np.ndarray, clock: Clock | None) -> np.ndarray:
    """Brake power with the charge at ambient temperature where it is looked at, W; NaN elsewhere."""
    wanted = boost.copy()
    for one in plant.demand.runs if clock is not None else ():
        own = slice(one.first, one.last + 1)
        wanted[own] |= plant.demand.full_load[own]
    rows = np.flatnonzero(wanted)
    cold = np.full(len(boost), np.nan)
    if len(rows):
        cold[rows] = power_at_ambient(plant, rows)
    return cold


def _charge_loss(plant: Plant, solution: Solution) -> float:
    """Pressure that the charge tract loses at the hottest moment, Pa."""
    A, demand, k = plant.arrays, plant.demand, slice(solution.peak, solution.peak + 1)
    late = 4 + len(plant.sensors) + len(plant.loops) + len(plant.ducts)
    between = solution.scalars[k, late + 1] if A.stages > 1 else None
    drawn = None if demand.drawn_rise is None else demand.drawn_rise[k]
    inlet = plant.charge.inlet_temperature(demand.bay_temperature[k], drawn, demand.ambient_temperature[k])
    W = plant.humidity if isinstance(plant.humidity, float) else plant.humidity[k]
    state = plant.charge.balance(
        demand.engine_speed[k], demand.plenum_target[k], solution.scalars[k, 3], inlet, between, humidity=W
    )
    return float(state.compressor_out_pressure[0] - state.plenum_pressure[0])


def _power(plant: Plant, solution: Solution, sensor: np.ndarray | None) -> np.ndarray:
    """Brake power, W; from the tables' flow, but where a belt or knock asks for pressures from the exact balance."""
    flow, plenum = solution.scalars[:, 0], solution.scalars[:, 3]
    if plant.charge.drive is None and not answers_heat(plant.build.engine):
        return brake_power_at(plant, flow, plenum)
    state = _charge(plant, solution)
    share = knock_share(plant, state.plenum_pressure, plenum, solution.intake if sensor is None else sensor)
    return share * brake_power_at(plant, state.flow, plenum, state.belt_power)


def _charge(plant: Plant, solution: Solution) -> ChargeState:
    """The charge side at every sample, from the exact balance."""
    at = 5 + len(plant.sensors) + len(plant.loops) + len(plant.ducts)
    between = solution.scalars[:, at] if plant.arrays.stages > 1 else None
    return charge_states(plant, plant.demand, solution.scalars[:, 3], between)


def figures(seen: Forecast | Outcome) -> dict[str, float]:
    """Headline figures, SI; what a session or build has not is absent.

    `intake_max`, `over_ambient_max`, `sensor_max`: highest in boost, each at its own moment (air outside may change);
    `coolant_max.LOOP`: highest in boost into the charge cores of a loop; `power_mean`: in boost;
    `lost_to_heat_in_boost`: share of the work done in boost that heat takes, against a charge at ambient temperature;
    `spread_temperature`, `spread_power`: of repeats; of all passes, laps or runs up an open track (KIND "pass",
    "lap", "run") `run_best.KIND`, their times, of more than one `run_mean.KIND` and `run_total.KIND`, and
    `heat_cost.KIND`, what heat costs them in all; of every run,
    counted from 0 in time order, `run_time.I` and `run_cost.I`; for every limit `limits.I` (its value, counted from 0)
    and `seconds_over.I`.
    """
    forecast = cast(Forecast, seen)  # an outcome has all that is looked at here under the same names
    counts = forecast.boost if forecast.boost.any() else np.ones(len(forecast.time), dtype=bool)
    over = forecast.intake - forecast.demand.ambient_temperature
    found: dict[str, float | None] = {
        "intake_max": float(forecast.intake[forecast.peak]),
        "over_ambient_max": float(over[counts].max()),
        "sensor_max": None if forecast.sensor is None else float(forecast.sensor[counts].max()),
        "power_mean": mean_where(forecast.power, forecast.boost, forecast.time),
        "lost_to_heat_in_boost": lost_in_boost(forecast),
        "spread_temperature": temperature_spread(forecast, forecast.intake),
        "spread_power": power_spread(forecast),
    } | _of_runs(forecast)
    for loop, trace in core_loops(forecast).items():
        found[f"coolant_max.{loop}"] = float(trace[counts].max())
    for k, limit in enumerate(forecast.session.limits):
        result = judge_limit(forecast, limit)
        if result.holds is not None:
            found[f"limits.{k}"], found[f"seconds_over.{k}"] = result.value, result.seconds_over
    return {name: value for name, value in found.items() if value is not None}


def _of_runs(forecast: Forecast) -> dict[str, float | None]:
    """Times of passes and laps and what heat costs them, s."""
    found: dict[str, float | None] = {}
    kinds: dict[str, list[TimedRun]] = {}
    for one in forecast.runs:
        kinds.setdefault(kind_of(forecast, one), []).append(one)
    for kind, runs in kinds.items():
        times = [one.run.time for one in runs]
        found[f"run_best.{kind}"] = min(times)
        if len(runs) > 1:
            found[f"run_mean.{kind}"], found[f"run_total.{kind}"] = sum(times) / len(times), sum(times)
        found[f"heat_cost.{kind}"] = sum(one.cost for one in runs)
    for k, one in enumerate(forecast.runs):
        found[f"run_time.{k}"], found[f"run_cost.{k}"] = one.run.time, one.cost
    return found
