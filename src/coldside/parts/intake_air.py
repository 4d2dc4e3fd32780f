"""What the air picks up before the compressor, against road speed: rise over ambient with a lag, and its fit to a log.

What is here: the heat balance of the space that the engine draws from, its settled rise, its course over
time, which readings of an air-mass meter's sensor can be trusted, and the fit of the balance to road logs.
What is not: the share of the bay's rise that a filter draws when no such figures are given
(`lines.FilterSpec.bay_share`), and what the compressor makes of it.

The balance.  Air before the compressor lies over ambient by what the moving car leaves, plus what the space round
the intake holds back as the car slows: heat K (T_hot - T) flows in and wind carries K' (V0 + V) (T - T_ambient)
away.  Standing still the rise is `at_rest` and follows with `lag`; at a road speed V

    settled rise = g [moving + (at_rest - moving) / (1 + V / V0)],   d rise / dt = (settled - rise) (1 + V / V0) / lag

so that one speed V0 both lowers the rise and hastens it.  The factor g is 1 for a warm engine on a day of 10 degC.
After a cold start it grows with the turns of the engine as 1 - exp(-turns / turns of `warming`), and with the day by
the share `day` for every 10 K (own: these logs of -11 to 33 degC show it to a seventh of itself; why, they do not
tell, fans and air conditioning are likely).

Own form; checked on logs of one car, see tests/data/road-logs.  Logs that stand for minutes tell how fast the rise
grows, at_rest / lag, and not where it ends: the fit lets no air drawn in settle warmer than the bay of an idling car.
Tried, and they predict other logs no better: a constant lag, a free power of speed, a lag of its own for the speed,
heat that follows the air through the engine, a second lag (of the metal) behind the first.
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
IDLE_BAY = 35.0  # K of bay air over ambient standing with the engine on, default of [bay] idle_rise
LONGEST_STEP = 60.0  # exponents: beyond this a step forgets its start to the last digit
BLOCK = 30.0  # exponents summed before the running sum starts anew, so that none overflows
BOUNDS = {  # of the fit, as (low, start, high)
    "at_rest": (0.0, 20.0, IDLE_BAY),
    "moving": (-5.0, 3.0, 30.0),
    "speed": (0.3, 6.0, 60.0),
    "lag": (5.0, 500.0, 10000.0),
    "warming": (10.0, 800.0, 10000.0),
    "day": (-0.5, 0.05, 1.0),
}
OUTLYING = 2.0  # K of misfit from which a reading counts less (a log of one odd drive must not carry the rest)
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
class RoadLog:
    """One drive to fit to; arrays of n samples, any spacing.

    `time` [s] rising; `road_speed` [m/s]; `engine_speed` [rev/s]; `rise` [K], intake air before the compressor minus
    ambient, NaN where it is not known, not trusted or not to be fitted; `ambient` [K]; `warmth` at the first sample,
    0 for a cold engine to 1 for a warm one (see `warmth`); `start`, rise [K] at the first sample, settled when None.
    """

    time: np.ndarray
    road_speed: np.ndarray
    engine_speed: np.ndarray
    rise: np.ndarray
    ambient: np.ndarray | float = MILD
    warmth: float = 1.0
    start: float | None = None

    def drawn(self, pickup: PickUp) -> np.ndarray:
        """What this pick-up makes of the drive: rise over ambient, K, at every sample."""
        return drawn_rise(
            pickup, self.time, self.road_speed, self.engine_speed, self.ambient, warm=self.warmth, start=self.start
        )


@dataclass(frozen=True)
class PickUpFit:
    """A fitted `PickUp`, one standard deviation of each of its figures, RMS of what is left [K], readings used.

    The deviations count readings that follow one another as one where they go together: n (1 - r1) / (1 + r1).
    """

    pickup: PickUp
    sd: PickUp
    rms: float
    readings: int


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
    The balance of the module is solved exactly with speed and settled rise at their means from sample to sample.
    """
    t, V = np.asarray(time, dtype=float), np.asarray(road_speed, dtype=float)
    steps = np.diff(t)
    turns = np.concatenate([[0.0], np.cumsum(steps * _middle(np.asarray(engine_speed, dtype=float)))])
    cold = (1.0 - warm) * np.exp(-turns / (WARMING_SPEED * pickup.warming))
    settled = settled_rise(pickup, V, ambient) * (1.0 - cold)
    first = float(settled[0]) if start is None else start
    rates = np.minimum(steps * (1.0 + _middle(V) / pickup.speed) / pickup.lag, LONGEST_STEP)
    return _followed(_middle(settled), rates, first)


def _middle(values: np.ndarray) -> np.ndarray:
    return 0.5 * (values[:-1] + values[1:])


def _followed(goals: np.ndarray, rates: np.ndarray, first: float) -> np.ndarray:
    """x[k+1] = goal + (x[k] - goal) exp(-rate) for every step, by running sums over blocks of bounded exponent."""
    out = np.empty(len(goals) + 1)
    out[0] = first
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
    logs that stand and move, for `warming` one that starts cold, for `day` days that differ.  Raises `ValueError` for
    fewer than 60 readings in all.
    """
    from scipy.optimize import least_squares

    kept = [np.isfinite(log.rise) for log in logs]
    readings = int(sum(k.sum() for k in kept))
    if readings < FEWEST:
        raise ValueError(f"{readings} readings of intake air are too few to fit its pick-up; {FEWEST} are needed")

    def residuals(x: np.ndarray) -> np.ndarray:
        pickup = PickUp(*x)
        return np.concatenate([(log.drawn(pickup) - log.rise)[k] for log, k in zip(logs, kept, strict=True)])

    low, start, high = np.array([BOUNDS[item.name] for item in fields(PickUp)]).T
    found = least_squares(
        residuals, start, bounds=(low, high), loss="soft_l1", f_scale=OUTLYING, x_scale=start, diff_step=1e-4
    )
    left = residuals(found.x)
    return PickUpFit(
        PickUp(*found.x.tolist()), _deviations(found.jac, left), float(np.sqrt(np.mean(left**2))), readings
    )


def _deviations(jac: np.ndarray, left: np.ndarray) -> PickUp:
    """Standard deviations from the curvature at the fit and the readings that count as independent."""
    together = float(np.clip(np.dot(left[:-1], left[1:]) / np.dot(left, left), 0.0, 0.999))
    independent = len(left) * (1.0 - together) / (1.0 + together)
    variance = float(np.mean(left**2)) * len(left) / max(independent - len(fields(PickUp)), 1.0)
    covariance = variance * np.linalg.pinv(jac.T @ jac)
    return PickUp(*np.sqrt(np.diag(covariance)).tolist())
