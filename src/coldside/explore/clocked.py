"""Passes and laps of a draw on the clock, hardly driving them anew; and its power with the charge at ambient.

What is here: `Clock`, what the nominal forecast knows of its runs, and the times of a draw's runs by it; brake power
of a coarse march with its charge at ambient temperature.  What is not: the march (`outcome.py`), many of them
(`bands.py`), the driving itself (`duty/runs.py`).

A draw drives its passes and laps once, in its own car with its own engine, and with the shares of power that the
nominal's heat leaves.  What its own heat leaves beside that, and what there would be with the charge at ambient, are
small changes of power, and a run's time follows them by slopes: seconds for a change of the logarithm of power along
a part of the run.  They are found once, by driving the nominal's runs with a little more power, and grow with a run's
time as a draw's own do (by dimensions: the time of a run that power rules is a power of mass over power, and so are
its slopes).  What more power is worth from standing depends on the grip, a draw's own: there one run of each phase is
driven with the charge as it is and at ambient, and the others' cost of heat goes by its.
Against forecasts of the same draws the bands of times agree within a tenth of their width and those of what heat costs
within a fifth (tests).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any, NamedTuple

import numpy as np

from coldside.build.model import Build
from coldside.duty.demand import CHARGE_RISE, reckoned_power, weather
from coldside.duty.drive import Share
from coldside.duty.model import Demand, PhaseSpec, Run, Session, Shares
from coldside.duty.runs import Runner
from coldside.parts.engine import plenum_pressure_for
from coldside.plant.assemble import Plant
from coldside.plant.feedback import LEAST_POWER, SHARE_RANGE, TimedRun, trimmed_boost
from coldside.plant.forecast import charge_states
from coldside.plant.layout import FEED_NODES, IN_FLOW
from coldside.plant.output import answers_heat, brake_power_at, knock_share
from coldside.plant.results import Forecast

MORE = 1.03  # of the power, with which the nominal's runs are driven for their slopes: cold charge has more, not less
BINS = 16  # of a run's length, each driven with more power for itself
LAPS = 2  # of a closed track that are driven for it: what the end of a lap gains the next one has
UNDER = 0.995  # of the plenum pressure that a belt is told to leave: by more than its tables are off near its limit
TOO_LITTLE = 1e-3  # s of heat's cost that says nothing of how much more it is
_Key = tuple[int, int]  # phase and number of a run


class _Power(NamedTuple):
    """Power along a run of a draw, by samples at full load from its start on.

    `place` [m], the share of power that is `left` of what was reckoned with, the `ratio` of power at ambient to that.
    """

    place: np.ndarray
    left: np.ndarray
    ratio: np.ndarray


@dataclass(frozen=True)
class Clock:
    """What the nominal forecast knows of its runs, by (phase, number): `time` [s], `slope` [s].

    `shares` of power that they were driven with (None: all of it); `slope` (BINS,) is what a run's time gains for a
    change of the logarithm of power along each equal part of its length, below 0.
    """

    shares: Shares | None
    time: Mapping[_Key, float]
    slope: Mapping[_Key, np.ndarray]

    @classmethod
    def of(cls, forecast: Forecast) -> Clock | None:
        """Of a forecast; None for one without runs."""
        if not forecast.runs:
            return None
        runs = [one.run for one in forecast.runs]
        made: dict[str, np.ndarray] = {}
        slope = {}
        for run in runs:
            phase = _alone(forecast.session, run)
            if repr(phase) not in made:
                made[repr(phase)] = _slope(forecast, phase, run)
            slope[_key(run)] = made[repr(phase)]
        return cls(forecast.shares, {_key(run): run.time for run in runs}, slope)

    def timed(self, run: Run, along: _Power) -> TimedRun:
        """A run of a draw as its heat leaves it, and as it would be at ambient."""
        middle = (np.arange(BINS) + 0.5) / BINS * run.length
        slope = self.slope[_key(run)] * (run.time / self.time[_key(run)])
        driven = np.interp(middle, *_share(self.shares, _key(run)))
        warm = run.time + float(slope @ np.log(np.interp(middle, along.place, along.left) / driven))
        return TimedRun(
            replace(run, time=warm), warm + float(slope @ np.log(np.interp(middle, along.place, along.ratio)))
        )


def _key(run: Run) -> _Key:
    return run.phase, run.repeat


def _share(shares: Shares | None, key: _Key) -> Share:
    return (np.zeros(1), np.ones(1)) if not shares or key not in shares else shares[key]


def _alone(session: Session, run: Run) -> PhaseSpec:
    """A run's phase with as few runs as tell its slopes; what is alike in this has them alike."""
    phase = session.phases[run.phase]
    return replace(phase, name=None, group=None, repeat=1 if run.standing else LAPS, rest=0.0)


def _slope(forecast: Forecast, phase: PhaseSpec, run: Run) -> np.ndarray:
    """`Clock.slope` of a run, by driving its phase alone with more power along one part of its length at a time."""
    place = np.linspace(0.0, run.length, 40 * BINS + 1)
    share = np.interp(place, *_share(forecast.shares, _key(run)))
    own = np.minimum(place / run.length * BINS, BINS - 1).astype(int)
    shares = [(place, np.where(own == part, MORE, 1.0) * share) for part in range(-1, BINS)]
    before, *after = _driven(forecast.build, forecast.session, phase, shares)
    return (np.array(after) - before) / np.log(MORE)


def _driven(build: Build, session: Session, phase: PhaseSpec, shares: Sequence[Share]) -> list[float]:
    """Times of the last run of a phase alone with each of these shares of power, s."""
    numbered = [share for share in shares for _ in range(phase.repeat)]
    runner = Runner(build, weather(session), session.file, [], {(0, k): share for k, share in enumerate(numbered)})
    return [[piece.duration for piece in runner.pieces(phase, 0) if piece.timed][-1] for _ in shares]


# ---------------------------------------------------------------- power of a coarse march


def power_at_ambient(plant: Plant, rows: np.ndarray) -> np.ndarray:
    """Brake power [W] at samples `rows` with the charge at ambient temperature, as `Forecast.power_at_ambient`."""
    return _power(plant, rows, plant.demand.ambient_temperature[rows], asked=False)


def timed_runs(
    clock: Clock, plant: Plant, session: Session, power: np.ndarray, cold: np.ndarray
) -> tuple[TimedRun, ...]:
    """The runs of a coarse march by the nominal's clock; `power` is its brake power, `cold` the same at ambient [W].

    A run too short to have a sample at full load keeps the time that it was driven in.
    """
    demand = plant.demand
    owned = [np.arange(run.first, run.last + 1) for run in demand.runs]
    owned = [rows[demand.full_load[rows]] for rows in owned]
    every = np.concatenate(owned) if owned else np.zeros(0, dtype=int)
    reckoned = np.full(len(demand.time), np.nan)
    reckoned[every] = _reckoned(plant, session, every)
    found: list[TimedRun] = []
    last: dict[str, tuple[PhaseSpec, _Power, TimedRun]] = {}
    for run, rows in zip(demand.runs, owned, strict=True):
        rows = rows[(reckoned[rows] > LEAST_POWER) & (power[rows] > LEAST_POWER) & (cold[rows] > LEAST_POWER)]
        if not len(rows):
            found.append(TimedRun(run, run.time))
            continue
        left = np.clip(power[rows] / reckoned[rows], *SHARE_RANGE)
        along = _Power(np.maximum.accumulate(demand.distance[rows]), left, cold[rows] / power[rows])
        found.append(clock.timed(run, along))
        phase = _alone(session, run)
        last[repr(phase)] = phase, along, found[-1]
    more = {key: _measured(plant.build, session, *one) for key, one in last.items()}
    return tuple(
        replace(one, cold_time=one.run.time - one.cost * more.get(repr(_alone(session, one.run)), 1.0)) for one in found
    )


def _measured(build: Build, session: Session, phase: PhaseSpec, along: _Power, told: TimedRun) -> float:
    """By what the slopes' cost of heat is to be multiplied: one run driven with and without, against what was told.

    1 for laps that roll over the line: from standing it is the tyres' grip that says what more power is worth.
    """
    if not told.run.standing or abs(told.cost) < TOO_LITTLE:
        return 1.0
    shares = [(along.place, along.left), (along.place, along.left * along.ratio)]
    warm, cold = _driven(build, session, phase, shares)
    return (warm - cold) / told.cost


def _reckoned(plant: Plant, session: Session, rows: np.ndarray) -> np.ndarray:
    """Brake power [W] that the driving of runs reckons with: charge 20 K over the air of a run's start, no trims."""
    demand = plant.demand
    start = demand.time.copy()
    for run in demand.runs:
        start[run.first : run.last + 1] = demand.time[max(run.first - 1, 0)]
    if plant.charge.drive is not None:
        around = weather(session).at(start[rows])
        return reckoned_power(plant.build.engine, demand.engine_speed[rows], demand.asked_target[rows], around)
    gas = np.interp(start[rows], demand.time, demand.ambient_temperature) + CHARGE_RISE
    return _power(plant, rows, gas, asked=True)


def _power(plant: Plant, rows: np.ndarray, gas: np.ndarray, *, asked: bool) -> np.ndarray:
    """Brake power [W] at samples `rows` with the charge at `gas` [K], and the sensor with it.

    Boost and spark are what the car's trims leave of them then, or what was `asked` without trims.  From the tables'
    flow; where a belt, knock or trims ask for pressures or another boost from the exact balance.
    """
    spec, demand = plant.build.engine, plant.demand
    if asked:
        demand = replace(demand, plenum_target=demand.asked_target, boost_taken=None)
    elif demand.boost_taken is not None:
        demand = trimmed_boost(spec, demand, demand.ambient_temperature)
    simple = plant.charge.drive is None and spec.trim_boost is None and (asked or not answers_heat(spec))
    rows, gas, back = (rows, gas, slice(None)) if simple else _unlike(plant, demand, rows, gas)
    humidity = plant.humidity if isinstance(plant.humidity, float) else plant.humidity[rows]
    some = replace(plant, demand=_of_rows(demand, rows), humidity=humidity)
    if simple:
        return brake_power_at(some, _tabulated_flow(plant, rows, gas), gas)
    flow = None
    if spec.trim_boost is None and spec.boost_reference != "compressor_out":
        # the belt's limit is in the tables' flow already: a plenum a trifle below it asks for no second search
        flow = _tabulated_flow(plant, rows, gas)
        within = UNDER * plenum_pressure_for(spec, some.demand.engine_speed, flow, gas, humidity)
        some = replace(some, demand=replace(some.demand, plenum_target=np.minimum(within, some.demand.plenum_target)))
    state = charge_states(some, some.demand, gas, gas if plant.arrays.stages > 1 else None)
    power = brake_power_at(some, state.flow if flow is None else flow, gas, state.belt_power)
    power = power if asked else power * knock_share(some, state.plenum_pressure, gas, gas)
    return np.asarray(power[back])


def _unlike(
    plant: Plant, demand: Demand, rows: np.ndarray, gas: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Of samples whose charge is balanced alike the first ones, their gas, and which of them each sample is."""
    told = [demand.engine_speed, demand.plenum_target, demand.full_load, demand.bay_temperature]
    told += [demand.ambient_temperature] + ([] if demand.drawn_rise is None else [demand.drawn_rise])
    told += [] if isinstance(plant.humidity, float) else [plant.humidity]
    columns = np.column_stack([*(trace[rows] for trace in told), gas])
    _, first, back = np.unique(columns, axis=0, return_index=True, return_inverse=True)
    return rows[first], gas[first], back.ravel()


def _tabulated_flow(plant: Plant, rows: np.ndarray, gas: np.ndarray) -> np.ndarray:
    """Charge flow [kg/s] with the plenum at `gas` [K]: of flow times temperature a straight line between nodes."""
    nodes = plant.arrays.feed
    products = plant.arrays.inputs[rows, IN_FLOW : IN_FLOW + FEED_NODES]
    at = np.clip((gas - nodes[0]) / (nodes[1] - nodes[0]), 0.0, len(nodes) - 1.0)
    low = np.minimum(at.astype(int), len(nodes) - 2)
    k = np.arange(len(rows))
    product = products[k, low] + (at - low) * (products[k, low + 1] - products[k, low])
    return np.maximum(product / gas, 0.0)


def _of_rows(demand: Demand, rows: np.ndarray) -> Demand:
    """The demand at some of its samples; spans and runs stay those of the whole."""
    n = len(demand.time)
    arrays: dict[str, Any] = {item.name: getattr(demand, item.name) for item in fields(demand)}
    return replace(demand, **{k: v[rows] for k, v in arrays.items() if isinstance(v, np.ndarray) and len(v) == n})
