"""What the air picks up before the compressor, against road speed: rise over ambient with a lag, and its fit to a log.

What is here: the heat balance of the space that the engine draws from, its settled rise, its course over
time, what a heated air-mass meter makes of it, which of its readings can be trusted, and the fit of it all to road
logs.  What is not: the share of the bay's rise that a filter draws when no such figures are given
(`lines.FilterSpec.bay_share`), and what the compressor makes of it.

The balance.  Air before the compressor lies over ambient by what the moving car leaves, plus what the space round
the intake holds back as the car slows: heat K (T_hot - T) flows in and wind carries K' (V0 + V) (T - T_ambient)
away.  Standing still the rise is `at_rest` and follows with `lag`; at a road speed V

    settled rise = g [moving + (at_rest - moving) / (1 + V / V0)]
    dT / dt = (T_ambient + settled rise - T) (1 + V / V0) / lag

so that one speed V0 both lowers the rise and hastens it, and air that turns colder outside finds the space still
warm.  The factor g is 1 for a warm engine on a day of 10 degC.  After a cold start it grows with the turns of the
engine as two equal stages do, the engine and behind it what it warms: 1 - (1 + u) exp(-u), 63 % at `warming`; and
with the day by the share `day` for every 10 K (own: these logs of -11 to 33 degC show it to a seventh of itself; why,
they do not tell, fans and air conditioning are likely).

The meter.  A heated air-mass meter also warms the thermometer beside it, by swing (m / 10 g/s)^-1/2 at an air flow m
(King's law of a hot wire, from memory: its heat loss goes with the root of the flow).  As these logs show it, what it
reports is corrected for the flow of the moment, while its metal follows within some ten seconds.  So it reads high
after every rise of the flow and low after every fall, and settles in between:

    reading = T + swing [lagged (m / 10 g/s)^-1/2 - (m / 10 g/s)^-1/2]

It is not the bay's heat: fitted to readings with a warm engine, it follows those with coolant below 50 degC one for one
(slope 0.99, correlation 0.92 of steps of 10 s).  With it the fit's cost falls by a quarter.  The forecast, which wants
the air and not the reading, has no part of it.

Own form; checked on logs of one car, see tests/data/road-logs.  Logs that stand for minutes tell how fast the rise
grows, at_rest / lag, and not where it ends: the fit lets no air drawn in settle warmer than the bay of an idling car.
Tried, and they predict other logs no better: a constant lag, a free power of speed, a lag of its own for the speed,
heat that follows the air through the engine, less heat while the engine is off, a second lag (of the metal) behind
the first, a moving part that follows at once, logs of equal weight.  A rest of the meter's heat in steady flow makes
medians by speed 0.1 K better and shares within 4 K no better, and cannot be told from the car's own heat by its load.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np

from coldside.parts.lines import FilterSpec

SETTLING = 90.0  # s after an engine stop in which a heated air meter's sensor reads wrong, README of the data
GAP = 5.0  # s without a record, in which an engine may have stopped (own)
RUNNING = 5.0  # rev/s, above which an engine runs
WARM = 358.15  # K, coolant of an engine that is warm (tune)
MILD = 283.15  # K, the day on which a pick-up's figures hold
DAY_STEP = 10.0  # K of warmer day for which `day` is the share of growth
WARMING_SPEED = 25.0  # rev/s, 1500 rpm, the speed at which an engine warms in `warming`
TWO_STAGES = 2.1461932206  # u at which 1 - (1 + u) exp(-u) is 1 - 1/e
IDLE_BAY = 35.0  # K of bay air over ambient standing with the engine on, default of [bay] idle_rise
LONGEST_STEP = 60.0  # exponents: beyond this a step forgets its start to the last digit
BLOCK = 500.0  # exponents summed before the running sum starts anew, so that none overflows
BOUNDS = {  # of the fit, as (low, start, high); from other starts it ends at the same place, in more steps
    "at_rest": (0.0, 30.0, IDLE_BAY),
    "moving": (-5.0, 3.0, 30.0),
    "speed": (0.3, 4.0, 60.0),
    "lag": (5.0, 1000.0, 10000.0),
    "warming": (10.0, 800.0, 10000.0),
    "day": (-0.5, 0.05, 1.0),
}
OUTLYING = 2.0  # K of misfit from which a reading counts less (a log of one odd drive must not carry the rest)
METER_FLOW = 0.010  # kg/s, air flow at which a meter's `swing` holds
METER_LEAST = 0.005  # kg/s, air flow that a stopped engine counts as; readings after it are left out until forgotten
METER_BOUNDS = {"swing": (0.0, 12.0, 60.0), "lag": (3.0, 20.0, 300.0)}  # of the fit, as BOUNDS
FIRST = 60.0  # s, over which the readings are taken that a log starts from
FIT_TOLERANCE = 1e-6  # of cost and figures, where a fit ends
FEWEST = 60  # readings that a fit needs


@dataclass(frozen=True)
class PickUp:
    """What the air before the compressor picks up.

    `at_rest` and `moving`: rise over ambient [K] standing still and at high road speed, all warm and settled, on a
    day of 10 degC; `speed` [m/s] at which half of the difference is left; `lag` [s] of the rise standing still;
    `warming` [s at 1500 rpm] in which all of it grows after a cold start; `day`, the share by which it grows on a day
    10 K warmer.  Speed, lag and warming above 0.
    """

    at_rest: float
    moving: float
    speed: float
    lag: float
    warming: float
    day: float


@dataclass(frozen=True)
class Meter:
    """How a heated air-mass meter's thermometer swings: `swing` [K], own heat at 10 g/s of air; `lag` [s], above 0."""

    swing: float
    lag: float


@dataclass(frozen=True)
class RoadLog:
    """One drive to fit to; arrays of n samples, any spacing.

    `time` [s] rising; `road_speed` [m/s]; `engine_speed` [rev/s]; `rise` [K], intake air before the compressor minus
    ambient, NaN where it is not known, not trusted or not to be fitted; `ambient` [K]; `warmth` at the first sample,
    0 for a cold engine to 1 for a warm one (see `warmth`); `start`, rise [K] read over the first minute, settled when
    None; `air_flow` [kg/s] where a heated air-mass meter gave the reading, None for another sensor.
    """

    time: np.ndarray
    road_speed: np.ndarray
    engine_speed: np.ndarray
    rise: np.ndarray
    ambient: np.ndarray | float = MILD
    warmth: float = 1.0
    start: float | None = None
    air_flow: np.ndarray | None = None

    def read(self, pickup: PickUp, meter: Meter | None = None) -> np.ndarray:
        """What the sensor reads, K over ambient at every sample: the air of this pick-up and the swing of its meter.

        The swing of the first minute is taken out of the start.
        """
        over, start = np.zeros(len(self.time)), self.start
        if meter is not None and self.air_flow is not None:
            over = swing(meter, self.time, self.air_flow)
        if start is not None:
            start -= float(np.mean(over[self.time < self.time[0] + FIRST]))
        return over + drawn_rise(
            pickup, self.time, self.road_speed, self.engine_speed, self.ambient, warm=self.warmth, start=start
        )


@dataclass(frozen=True)
class PickUpFit:
    """A fitted `PickUp`, one standard deviation of each of its figures, RMS of what is left [K], readings used, meter.

    `meter` is None where no log has its air flow.

    The deviations count readings that follow one another as one where they go together: n (1 - r1) / (1 + r1).
    """

    pickup: PickUp
    sd: PickUp
    rms: float
    readings: int
    meter: Meter | None


def pickup_of(spec: FilterSpec) -> PickUp | None:
    """The pick-up that a filter's keys tell; None where they tell the share of the bay's rise instead."""
    if spec.pickup_at_rest is None:
        return None
    return PickUp(
        at_rest=spec.pickup_at_rest,
        moving=spec.pickup_moving,
        speed=spec.pickup_speed,
        lag=spec.pickup_lag,
        warming=spec.pickup_warming,
        day=spec.pickup_day,
    )


def settled_rise(pickup: PickUp, road_speed: np.ndarray | float, ambient: np.ndarray | float = MILD) -> np.ndarray:
    """Rise over ambient [K] once settled and warm, at a road speed [m/s, 0 or above] on a day of `ambient` [K]."""
    V = np.asarray(road_speed, dtype=float)
    day = np.maximum(1.0 + pickup.day * (np.asarray(ambient, dtype=float) - MILD) / DAY_STEP, 0.0)
    return np.asarray(day * (pickup.moving + (pickup.at_rest - pickup.moving) / (1.0 + V / pickup.speed)))


def warmth(coolant: float, ambient: float) -> float:
    """How warm an engine is, 0 to 1, from its coolant and ambient temperature [K]: 1 from 85 degC."""
    return float(np.clip((coolant - ambient) / max(WARM - ambient, 1.0), 0.0, 1.0))


def drawn_rise(
    pickup: PickUp,
    time: np.ndarray,
    road_speed: np.ndarray,
    engine_speed: np.ndarray,
    ambient: np.ndarray | float = MILD,
    *,
    warm: float = 1.0,
    start: float | None = None,
) -> np.ndarray:
    """Rise of the air before the compressor over ambient, K, at every sample.

    Parameters: `time` [s] rising, n samples of any spacing; `road_speed` [m/s] as air past the car, so 0 on a
    dyno; `engine_speed` [rev/s]; `ambient` [K], of every sample or of all; `warm`, warmth at the first sample, 0 to 1,
    which stays while the engine rests; `start`, rise at the first sample [K], settled there when None.
    The balance of the module is solved exactly with speed and settled rise at their means from sample to sample and
    ambient straight between them.
    """
    t, V = np.asarray(time, dtype=float), np.asarray(road_speed, dtype=float)
    steps = np.diff(t)
    turns = np.concatenate([[0.0], np.cumsum(steps * _middle(np.asarray(engine_speed, dtype=float)))])
    warmed = TWO_STAGES * turns / (WARMING_SPEED * pickup.warming)
    cold = (1.0 - warm) * (1.0 + warmed) * np.exp(-warmed)
    settled = settled_rise(pickup, V, ambient) * (1.0 - cold)
    first = float(settled[0]) if start is None else start
    rates = steps * (1.0 + _middle(V) / pickup.speed) / pickup.lag
    warmer_outside = np.diff(np.broadcast_to(np.asarray(ambient, dtype=float), t.shape)) / rates
    return _followed(_middle(settled) - warmer_outside, rates, first)


def swing(meter: Meter, time: np.ndarray, air_flow: np.ndarray) -> np.ndarray:
    """What a heated meter reads over the air [K] at every sample: its own heat behind less that of the moment.

    Parameters: `time` [s] rising; `air_flow` [kg/s], 0 or above.  Settled at the first sample; steady flow reads 0.
    """
    own = np.sqrt(METER_FLOW / np.maximum(np.asarray(air_flow, dtype=float), METER_LEAST))
    behind = _followed(_middle(own), np.diff(np.asarray(time, dtype=float)) / meter.lag, float(own[0]))
    return np.asarray(meter.swing * (behind - own))


def _middle(values: np.ndarray) -> np.ndarray:
    return 0.5 * (values[:-1] + values[1:])


def _followed(goals: np.ndarray, rates: np.ndarray, first: float) -> np.ndarray:
    """x[k+1] = goal + (x[k] - goal) exp(-rate) for every step, by running sums over blocks of bounded exponent."""
    out = np.empty(len(goals) + 1)
    out[0] = first
    rates = np.minimum(rates, LONGEST_STEP)
    block = np.floor(np.cumsum(rates) / BLOCK)
    starts = np.concatenate([[0], np.flatnonzero(np.diff(block)) + 1, [len(goals)]]) if len(goals) else np.zeros(1, int)
    for low, high in zip(starts[:-1].tolist(), starts[1:].tolist(), strict=True):
        passed = np.cumsum(rates[low:high])
        added = np.cumsum(-np.expm1(-rates[low:high]) * goals[low:high] * np.exp(passed))
        out[low + 1 : high + 1] = np.exp(-passed) * (out[low] + added)
    return out


def trusted(time: np.ndarray, engine_speed: np.ndarray, *, ran_before: bool = False) -> np.ndarray:
    """Where the reading of a heated air-mass meter's temperature sensor is that of the air drawn in.

    False with the engine off (`engine_speed` up to 5 rev/s) and for 90 s after: in still air the heater warms the
    sensor to 115 to 150 degC within seconds, and after the restart it undershoots (README of the road logs).  False
    too for 90 s after a gap of more than 5 s in the record, and after its first sample unless the engine is known to
    have `ran_before`: a stop may hide there.
    """
    t, off = np.asarray(time, dtype=float), np.asarray(engine_speed, dtype=float) <= RUNNING
    off = off | np.concatenate([[not ran_before], np.diff(t) > GAP])
    last_off = np.maximum.accumulate(np.where(off, t, -np.inf))
    return np.asarray(t - last_off > SETTLING)


def fit_pickup(logs: Sequence[RoadLog]) -> PickUpFit:
    """The `PickUp` that road logs show, by least squares in which readings far off count less.

    Every log starts from its `start` and its `warmth`; nothing else is taken from its readings but the fit.  It takes
    logs that stand and move, for `warming` one that starts cold, for `day` days that differ; where a log has the air
    flow of the meter that read it, the meter's swing is fitted with the rest.  Raises `ValueError` for fewer than 60
    readings in all.
    """
    from scipy.optimize import least_squares

    kept = [np.isfinite(log.rise) for log in logs]
    readings = int(sum(k.sum() for k in kept))
    if readings < FEWEST:
        raise ValueError(f"{readings} readings of intake air are too few to fit its pick-up; {FEWEST} are needed")
    metered = any(log.air_flow is not None for log in logs)
    bounds = [BOUNDS[item.name] for item in fields(PickUp)]
    bounds += [METER_BOUNDS[item.name] for item in fields(Meter)] if metered else []

    def parts(x: np.ndarray) -> tuple[PickUp, Meter | None]:
        figures = x.tolist()
        return PickUp(*figures[: len(BOUNDS)]), Meter(*figures[len(BOUNDS) :]) if metered else None

    def residuals(x: np.ndarray) -> np.ndarray:
        pickup, meter = parts(x)
        return np.concatenate([(log.read(pickup, meter) - log.rise)[k] for log, k in zip(logs, kept, strict=True)])

    low, start, high = np.array(bounds).T
    found = least_squares(
        residuals,
        start,
        bounds=(low, high),
        loss="soft_l1",
        f_scale=OUTLYING,
        x_scale=start,
        diff_step=1e-4,
        ftol=FIT_TOLERANCE,
        xtol=FIT_TOLERANCE,
    )
    left = residuals(found.x)
    pickup, meter = parts(found.x)
    sd, _ = parts(_deviations(found.jac, left))
    return PickUpFit(pickup, sd, float(np.sqrt(np.mean(left**2))), readings, meter)


def _deviations(jac: np.ndarray, left: np.ndarray) -> np.ndarray:
    """Standard deviations from the curvature at the fit and the readings that count as independent."""
    together = float(np.clip(np.dot(left[:-1], left[1:]) / np.dot(left, left), 0.0, 0.999))
    independent = len(left) * (1.0 - together) / (1.0 + together)
    variance = float(np.mean(left**2)) * len(left) / max(independent - jac.shape[1], 1.0)
    return np.asarray(np.sqrt(np.diag(variance * np.linalg.pinv(jac.T @ jac))))
