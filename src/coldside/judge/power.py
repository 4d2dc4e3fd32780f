"""Power and its consistency: what the session's power was, what heat took from it, how alike the repeats were.

Here: time weights, repeats, what of boost lies before a start, `power_kept`, `fuel_demand`.  Not here: limits and words
(`verdict.py`), the power model itself (`parts/engine.py`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from coldside.duty.model import Span
from coldside.parts.engine import injector_count
from coldside.plant.feedback import TimedRun
from coldside.plant.results import Forecast

BEFORE_START = ("burnout", "launch")  # parts of a pass that `duty/runs.py` puts before its run
INJECTOR_SHARE = 0.85  # of an injector's capacity, above which a warning is due; common practice, no source


@dataclass(frozen=True)
class Repeat:
    """One of several alike stretches: its number from 1, its words, its samples (indices, whole repeat)."""

    number: int
    label: str
    samples: np.ndarray


@dataclass(frozen=True)
class PowerKept:
    """Brake power over the session.  Power in W, shares 0 to 1, None where the session has no such stretch."""

    peak: float
    mean_boost: float | None  # time-weighted mean while in boost
    spread: float | None  # (max - min)/mean of the repeats' mean power in boost
    spread_over_ambient: float | None  # the same of the repeats' highest over-ambient temperature
    lost_to_heat: float  # 1 - energy / energy of the same session with the intake held at ambient
    lost_in_boost: float | None  # the same of the energy made in boost
    density_kept: float | None  # charge density over that at ambient temperature, mean in boost


@dataclass(frozen=True)
class FuelDemand:
    """The fuel that the session's air asks for, kg/s, at its highest."""

    peak: float
    per_injector: float
    injectors: int
    capacity: float | None  # of one injector, None when not given
    air: float  # kg/s, charge flow at the same moment

    @property
    def used(self) -> float | None:
        """Share of one injector's capacity in use at the peak."""
        return None if self.capacity is None else self.per_injector / self.capacity


def time_weights(time: np.ndarray) -> np.ndarray:
    """Trapezoid weights of samples at `time` [s]: sum(weights * x) is the integral of x.  One sample weighs 0."""
    steps = np.diff(np.asarray(time, dtype=float))
    weights = np.zeros(len(steps) + 1)
    weights[:-1] += 0.5 * steps
    weights[1:] += 0.5 * steps
    return weights


def mean_where(values: np.ndarray, mask: np.ndarray, time: np.ndarray) -> float | None:
    """Time-weighted mean of `values` over the samples where `mask` is true; None when there are none."""
    if not mask.any():
        return None
    weights = time_weights(time)[mask]
    total = float(weights.sum())
    if total <= 0.0:
        return float(np.mean(values[mask]))
    return float(np.dot(weights, values[mask]) / total)


def before_starts(forecast: Forecast) -> list[Span]:
    """Burnouts and launches before the session's standing starts, and waits in the queue: no part of a run."""
    return [span for span in forecast.demand.spans if span.kind == "staging" or span.part in BEFORE_START]


def boost_in_runs(forecast: Forecast) -> np.ndarray:
    """Where the session is in boost, `before_starts` left out; all boost where no timed run has any."""
    boost, timed = forecast.boost, np.zeros(len(forecast.time), dtype=bool)
    for run in forecast.demand.runs:
        timed[run.first : run.last + 1] = True
    if not (boost & timed).any():
        return boost
    counts = boost.copy()
    for span in before_starts(forecast):
        counts[span.first : span.last + 1] = False
    return counts


def repeats(forecast: Forecast) -> tuple[tuple[Repeat, ...], ...]:
    """The session's sets of repeats, each set at least two long, in time order.

    A set is a run of spans whose repeat number does not fall; spans of one number form one repeat.
    Two pull phases that are each repeated make two sets: unlike things are not compared.
    """
    sets: list[dict[int, list[tuple[int, int, str]]]] = []
    last = -1
    for span in forecast.demand.spans:
        if span.repeat < 0:
            continue
        if not sets or span.repeat < last:
            sets.append({})
        last = span.repeat
        sets[-1].setdefault(span.repeat, []).append((span.first, span.last, span.label))
    found = []
    for group in sets:
        if len(group) < 2:
            continue
        made = []
        for order, number in enumerate(sorted(group), start=1):
            pieces = group[number]
            samples = np.unique(np.concatenate([np.arange(first, last + 1) for first, last, _ in pieces]))
            made.append(Repeat(order, pieces[0][2], samples))
        found.append(tuple(made))
    return tuple(found)


def repeat_maxima(forecast: Forecast, group: tuple[Repeat, ...], values: np.ndarray) -> list[float]:
    """The highest of `values` in each repeat of `group`, over its samples in boost; repeats never in boost drop out."""
    boost = forecast.boost
    found = []
    for repeat in group:
        samples = repeat.samples[boost[repeat.samples]]
        if samples.size:
            found.append(float(values[samples].max()))
    return found


def relative_spread(values: list[float]) -> float | None:
    """(max - min)/mean; None for fewer than two values or a mean that is not positive."""
    if len(values) < 2:
        return None
    mean = sum(values) / len(values)
    return (max(values) - min(values)) / mean if mean > 0.0 else None


def _largest(shares: list[float | None]) -> float | None:
    known = [share for share in shares if share is not None]
    return max(known) if known else None


def temperature_spread(forecast: Forecast, temperature: np.ndarray) -> float | None:
    """Spread of the repeats' highest over-ambient `temperature` [K], worst set; None without repeats in boost."""
    return _largest([temperature_spread_of(forecast, group, temperature) for group in repeats(forecast)])


def temperature_spread_of(forecast: Forecast, group: tuple[Repeat, ...], temperature: np.ndarray) -> float | None:
    """The same of one set."""
    return relative_spread(repeat_maxima(forecast, group, temperature - forecast.demand.ambient_temperature))


def power_spread(forecast: Forecast) -> float | None:
    """Spread of the repeats' mean power in boost, worst set; None without repeats in boost."""
    return _largest([power_spread_of(forecast, group) for group in repeats(forecast)])


def power_spread_of(forecast: Forecast, group: tuple[Repeat, ...]) -> float | None:
    """The same of one set."""
    boost, weights, means = forecast.boost, time_weights(forecast.time), []
    for repeat in group:
        samples = repeat.samples[boost[repeat.samples]]
        total = float(weights[samples].sum())
        if samples.size and total > 0.0:
            means.append(float(np.dot(weights[samples], forecast.power[samples]) / total))
    return relative_spread(means)


def power_kept(forecast: Forecast) -> PowerKept:
    """Power, what heat took from it, and its spread; definitions as in the docs' glossary.

    Both losses to heat are below 0 when the charge is colder than ambient (a chilled tank).  A session's energy is also
    made at idle and part load, where driver and throttle make up for warm charge or a core warms it.
    """
    boost = forecast.boost
    kept = forecast.demand.ambient_temperature / forecast.intake
    return PowerKept(
        peak=float(forecast.power.max()),
        mean_boost=mean_where(forecast.power, boost, forecast.time),
        spread=power_spread(forecast),
        spread_over_ambient=temperature_spread(forecast, forecast.intake),
        lost_to_heat=_lost(forecast, np.ones(len(boost), dtype=bool)),
        lost_in_boost=lost_in_boost(forecast),
        density_kept=mean_where(kept, boost, forecast.time),
    )


def lost_in_boost(forecast: Forecast) -> float | None:
    """Share of the work done in boost that heat takes, against the charge held at ambient; None out of boost."""
    return _lost(forecast, forecast.boost) if forecast.boost.any() else None


def _lost(forecast: Forecast, counts: np.ndarray) -> float:
    weights = time_weights(forecast.time)[counts]
    at_ambient = float(np.dot(weights, forecast.power_at_ambient[counts]))
    return 1.0 - float(np.dot(weights, forecast.power[counts])) / at_ambient if at_ambient > 0.0 else 0.0


def kind_of(forecast: Forecast, one: TimedRun) -> str:
    """What a timed run is called: "pass", "lap", or "run" up an open track."""
    kind = forecast.session.phases[one.run.phase].kind
    return "run" if kind == "lap" and one.run.standing else kind


def fuel_demand(forecast: Forecast) -> FuelDemand:
    """Fuel flow at its highest, in all and for one injector."""
    at = int(np.argmax(forecast.fuel_flow))
    count = injector_count(forecast.build.engine)
    peak = float(forecast.fuel_flow[at])
    return FuelDemand(
        peak, peak / count, count, forecast.build.engine.injector_capacity, float(forecast.charge_flow[at])
    )
