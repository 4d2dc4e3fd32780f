"""How the charge answers boost, learnt from marches; boost foreseen by it; and trims so steep that the car hunts.

What is here: `Response`, which foresees sample by sample what the intake sensor will read when boost is trimmed by
just that reading; `hunting`, which says where trims, sensor and boost control would chase each other in the car itself.
What is not: the turns in which all this is used (`feedback.py`), and what a trim takes (`parts/knock_model.py`).

A trim of boost cools the charge that it is read from, but only by and by: cores, pipes and the sensor lag.  Cutting all
of a session by what was read in the march before leaves out that the cut itself changes the reading; the steeper the
trim, the wilder the next march swings the other way.  So each turn foresees the change: the reading of the march before
and what the change of boost adds to it, behind a few lags, each sample solved for the reading at which trim and reading
agree.  How much it adds is fitted to what boost and reading did between two marches, so it need only be about right:
where it is off by a share, so is the turn, and the next one starts from there.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from coldside.duty.model import SAMPLE_TIME, Demand
from coldside.parts import engine
from coldside.parts.engine import EngineSpec

LAGS = np.array([1.0, 4.0, 16.0, 64.0])  # s, behind which a reading follows boost: the sensor to warm metal and coolant
FIRST = np.array([0.0, 20e-5, 0.0, 0.0])  # K/Pa for each, before anything is learnt: 20 K/bar (own)
LEAST_CHANGE, LEAST_ANSWER = 1e3, 0.1  # Pa of boost and K of the reading, from which two marches say something of it
TELLING = 0.7  # share of the change of the reading that a fit may leave; else what was taken for true is halved
LEAST_HUNT = 1.0  # s in all, from which hunting is told


class Response:
    """How much a reading follows a change of boost, K/Pa behind each of `LAGS`."""

    def __init__(self) -> None:
        self.gains = FIRST.copy()

    def learn(self, demand: Demand, taken: np.ndarray, read: np.ndarray) -> None:
        """Fit to what less boost (`taken`, Pa, more than before) did to what was read (`read`, K, more than before)."""
        from scipy.optimize import nnls

        from coldside.plant.foreseen import lagged

        says = demand.asked_target > demand.ambient_pressure
        if not says.any() or float(np.abs(taken[says]).max()) < LEAST_CHANGE or _rms(read[says]) < LEAST_ANSWER:
            return
        found, left = nnls(-lagged(demand.time, taken, LAGS)[says], read[says])
        told = left / math.sqrt(np.count_nonzero(says)) < TELLING * _rms(read[says])
        self.gains = found if told else 0.5 * self.gains

    def foresee(self, spec: EngineSpec, demand: Demand, read: np.ndarray, taken: np.ndarray) -> np.ndarray:
        """What the sensor will read [K] when `trim_boost` acts on just that, by samples of the demand.

        `read` [K] is what it read when the trims had `taken` [Pa] off.
        """
        from coldside.plant.foreseen import foresee

        points, levels = curve(spec)
        over = demand.asked_target - demand.ambient_pressure
        return np.asarray(
            foresee(
                demand.time, np.asarray(read, dtype=float), np.asarray(taken, dtype=float), over,
                engine.boost_target(spec, demand.engine_speed, demand.ambient_pressure) - demand.ambient_pressure,
                demand.full_load, acting(demand), self.gains, LAGS, points, levels,
            )
        )  # fmt: skip


def _rms(values: np.ndarray) -> float:
    return float(np.sqrt(np.mean(values**2)))


def curve(spec: EngineSpec) -> tuple[np.ndarray, np.ndarray]:
    """Readings [K] and shares of boost taken there of `trim_boost`, which must be given."""
    assert spec.trim_boost is not None
    return np.array([T for T, _ in spec.trim_boost]), np.array([share for _, share in spec.trim_boost])


def acting(demand: Demand) -> np.ndarray:
    """Samples at which trims of boost have something to take: boost is asked for and was not measured."""
    acts = demand.asked_target > demand.ambient_pressure
    for span in demand.spans:
        if span.kind == "replay":
            acts[span.first : span.last + 1] = False
    return acts


# ---------------------------------------------------------------- the car itself


@dataclass(frozen=True)
class Hunt:
    """Where the car itself would swing: `reading` K on its sensor, `low` and `high` Pa taken off, `time` s in all."""

    reading: float
    low: float
    high: float
    time: float


def steady_gain(a: float, b: float, c: float) -> float:
    """Gain at which a loop of three lags [s] swings for good: (a + b + c)(1/a + 1/b + 1/c) - 1, 8 where all are alike.

    Routh's criterion of a b c s^3 + (a b + b c + c a) s^2 + (a + b + c) s + 1 + gain (textbook).
    """
    return (a + b + c) * (1.0 / a + 1.0 / b + 1.0 / c) - 1.0


def hunting(spec: EngineSpec, demand: Demand, felt: np.ndarray, response: Response, sensor_time: float) -> Hunt | None:
    """Whether trims are so steep where the car runs that boost would not come to rest; None where it would.

    The loop is boost control (`boost_lag`), the charge (what `response` has learnt), and the sensor (`sensor_time` s):
    three lags in a row.  A control acts no quicker than every 0.1 s.  `felt` [K] is what the trims acted on.
    """
    points, levels = curve(spec)
    if len(points) < 2:
        return None
    part = np.clip(np.searchsorted(points, felt), 1, len(points) - 1)
    inside = (felt > points[0]) & (felt < points[-1])
    slope = np.diff(levels)[part - 1] / np.diff(points)[part - 1]
    limits = [steady_gain(lag, max(spec.boost_lag, SAMPLE_TIME), max(sensor_time, SAMPLE_TIME)) for lag in LAGS]
    over = demand.asked_target - demand.ambient_pressure
    gain = slope * over * float(np.sum(response.gains / limits))
    wild = acting(demand) & demand.full_load & inside & (gain > 1.0)
    weight = np.gradient(demand.time) * wild
    total = float(weight.sum())
    if total < LEAST_HUNT:
        return None
    most = int(np.argmax(np.bincount(part[wild], weight[wild])))
    there = wild & (part == most)
    low, high = np.sort(levels[most - 1 : most + 1]) * float(over[there].mean())
    return Hunt(float(0.5 * (points[most - 1] + points[most])), float(low), float(high), total)
