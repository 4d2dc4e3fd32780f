"""Kilograms of ice a day: what each run melts, what to put in between to start the next one alike, the day's sum.

Here: `ice_days`, their sentences and JSON.  Everything is read off a forecast's own traces, in which nobody puts ice
in; how ice melts is `parts/reservoir.py`, whether it is gone `water.py`.  A tank counts that starts with ice, or colder
than the day's air where nothing but ice can have chilled it.  Laps one after another are one run: nobody stops.  A pass
begins with its burnout: ice goes in before it, while the car waits, never on the line.

Between two runs as much water as ice is let out first, at the temperature that the tank then has: the ice makes up for
what melted, and what more of it melts cools the rest back to where the run before started (conservation of energy).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from coldside.build.model import names_on
from coldside.judge.power import before_starts, repeats
from coldside.judge.trials import DRIVEN, repeat_noun, run_of
from coldside.judge.wording import Quantity, Sentence, counted
from coldside.media.coolants import parse_coolant
from coldside.parts.chiller import ChillerSpec
from coldside.parts.reservoir import CP_WATER, ReservoirSpec, ice_latent, melting_point
from coldside.plant.results import Forecast

BAG = 4.5359237  # kg, 10 lb: what a bag of ice holds (common practice, no source)
COLDER = 1.0  # K under the day's air from which a tank must have been chilled
WORTH_SAYING = 0.1  # kg


@dataclass(frozen=True)
class IceDay:
    """Ice of one tank over a session, kg.

    `runs` alike, `noun` in words; `melted` in each of them, waiting included, of the ice that is there (none is put
    in), `driven` of the first one's in its runs themselves; `start` K of the tank when the first begins, `after` K
    when the next does; `refill` to start the next as the first; `first` before the day's first: what chills the tank
    from the day's air, and what then floats in it; `day` for all of them, each started alike.
    """

    tank: str
    runs: int
    noun: str
    melted: tuple[float, ...]
    driven: float
    start: float
    after: float
    refill: float
    first: float

    @property
    def day(self) -> float:
        """All ice of the day, kg."""
        return self.first + (self.runs - 1) * self.refill

    @property
    def bags(self) -> int:
        """Bags of 10 lb that hold the day's ice."""
        return math.ceil(self.day / BAG - 1e-9)


def ice_to_chill(capacity: float, T: float, T_start: float, latent: float, T_melt: float) -> float:
    """Ice [kg] that brings a tank from `T` to `T_start` [K] in place of as much of its water; 0 where it is colder.

    `capacity` [J/K] of coolant and metal, `latent` [J/kg] of the ice until it is liquid at `T_melt` [K].  What is let
    out takes its heat with it: x (latent + cp (T - T_melt)) = C (T - T_start).  Source: conservation of energy.
    """
    return capacity * max(T - T_start, 0.0) / (latent + CP_WATER * (T - T_melt))


def ice_days(forecast: Forecast) -> tuple[IceDay, ...]:
    """Every tank that takes ice."""
    found = []
    for loop in forecast.build.loops.values():
        names = names_on(loop.path)
        specs = {name: forecast.build.parts.get(name) for name in names}
        chilled = any(isinstance(spec, ChillerSpec) for spec in specs.values())
        for name, spec in specs.items():
            if isinstance(spec, ReservoirSpec) and not parse_coolant(loop.coolant).is_oil:
                one = _ice_day(forecast, name, spec, loop.coolant, chilled)
                found += [] if one is None else [one]
    return tuple(found)


def _ice_day(forecast: Forecast, tank: str, spec: ReservoirSpec, coolant: str, chilled: bool) -> IceDay | None:
    """One tank's; None where it needs none."""
    nodes, leaving = forecast.nodes.get(f"{tank} coolant"), forecast.outlet.get((tank, "coolant"))
    if nodes is None or leaving is None:
        return None
    air = float(forecast.demand.ambient_temperature[0])
    filled = float(nodes[0].mean())
    fluid, capacity = parse_coolant(coolant), len(nodes[0]) * nodes[2]
    T_melt = float(melting_point(fluid, 1.0, 0.0))
    if spec.ice <= 0.0 and (chilled or filled > air - COLDER or filled < T_melt):
        return None
    latent = float(ice_latent(spec, T_melt))
    edges, noun = _runs(forecast)
    start, after = filled if edges[0] == 0 else float(leaving[edges[0]]), float(leaving[edges[1]])
    ice = forecast.ice.get(tank, np.zeros(len(forecast.time)))
    melted = tuple(float(ice[a] - ice[b]) for a, b in zip(edges, edges[1:], strict=False))
    refill = melted[0] + ice_to_chill(capacity, after, start, latent, T_melt)
    return IceDay(
        tank=tank,
        runs=len(melted),
        noun=noun,
        melted=melted,
        driven=_driven(forecast, ice, edges[1]),
        start=start,
        after=after,
        refill=refill,
        first=spec.ice + ice_to_chill(capacity, air, filled, latent, T_melt),
    )


def _runs(forecast: Forecast) -> tuple[list[int], str]:
    """Samples at which runs begin, and the session's last; and their word.  Without a stop between it is one run."""
    end, run = len(forecast.time) - 1, run_of(forecast.session)
    group = next(iter(repeats(forecast)), ())
    if not group or run is None or run.noun == "stint":
        return [0, end], "run" if run is None else run.noun
    begins = [_from_burnout(forecast, int(repeat.samples[0])) for repeat in group]
    if begins[0] == 1:  # a joint between two samples: the session begins with it
        begins[0] = 0
    return [*begins, end], repeat_noun(forecast.session)


def _from_burnout(forecast: Forecast, first: int) -> int:
    """The sample at which a run that starts at sample `first` begins: burnout and the hold on the line belong to it."""
    for span in reversed(before_starts(forecast)):
        if span.last == first - 1 and span.kind in DRIVEN:
            first = span.first
    return first


def _driven(forecast: Forecast, ice: np.ndarray, end: int) -> float:
    """What melts in the first run's driving at full load, kg; not in what goes with a pass (burnout, way back ...)."""
    timed = {run.first for run in forecast.demand.runs}
    spans = [
        span
        for span in forecast.demand.spans
        if span.kind in DRIVEN and span.last <= end and (span.kind == "pull" or span.first in timed)
    ]
    return sum(float(ice[max(span.first - 1, 0)] - ice[span.last]) for span in spans)


# ---------------------------------------------------------------- words and JSON


def ice_day_words(forecast: Forecast) -> list[Sentence]:
    """What to put in between runs and for the day; nothing for a tank without ice."""
    said = []
    for one in ice_days(forecast):
        if one.day < WORTH_SAYING and one.refill < WORTH_SAYING:
            continue
        values: dict[str, Quantity | str] = {
            "tank": one.tank,
            "noun": one.noun,
            "melted": Quantity(one.melted[0], "mass"),
            "driven": Quantity(one.driven, "mass"),
            "start": Quantity(one.start, "temperature"),
            "after": Quantity(one.after, "temperature"),
            "refill": Quantity(one.refill, "mass"),
            "first": Quantity(one.first, "mass"),
            "day": Quantity(one.day, "mass"),
            "runs": counted(one.runs, one.noun),
            "bags": counted(one.bags, "bag"),
            "bag": Quantity(BAG, "mass"),
        }
        text = "Ice for {tank}: "
        if one.melted[0] > 0.0:
            text += "the first {noun} melts {melted}, {driven} of it at full load; "
        text += "{first} before the first {noun}"
        if one.refill >= WORTH_SAYING:
            text += ", and {refill} before the next to start it alike, at {start} instead of {after}"
            text += " (let as much water out first)"
        if one.runs > 1:
            text += "; {day} for {runs}, {bags} of {bag}"
        else:
            text += "; {bags} of {bag}"
        said.append(Sentence(text + ". A tank with ice in it is not capped tightly.", values))
    return said


def ice_day_json(forecast: Forecast) -> dict[str, Any]:
    """By tank; kilograms, kelvin."""
    return {
        one.tank: {
            "runs": one.runs,
            "melted_kg": list(one.melted),
            "melted_at_full_load_kg": one.driven,
            "start_K": one.start,
            "before_next_K": one.after,
            "refill_kg": one.refill,
            "first_kg": one.first,
            "day_kg": one.day,
            "bags_of_10_lb": one.bags,
        }
        for one in ice_days(forecast)
    }
