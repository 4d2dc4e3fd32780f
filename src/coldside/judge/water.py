"""Water in a session: what condenses in the cores and reaches the intake, what freezes, ice left, water to carry.

Here: `condensation`, `ice_left`, `used_up` and their sentences.  Not here: how much condenses
(`parts/moisture.py`, the kernel), how ice melts (`parts/reservoir.py`), what injection and spray do.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from coldside.judge.heat import core_loops
from coldside.judge.power import repeats, time_weights
from coldside.judge.wording import Quantity, Sentence
from coldside.parts.exchanger import AirCoreSpec, ExchangerSpec
from coldside.parts.injection import InjectionSpec, injected_flow, injection_carried, parse_fluid
from coldside.parts.spray import WATER_DENSITY, spray_carried, spray_flow
from coldside.plant.results import Forecast

DRY = 1e-6  # kg/s of water under which a core counts as dry
WORTH_SAYING = 2e-3  # kg over a session, half a teaspoonful: less dries off (own)
FREEZING = 273.15  # K
ALL_GONE = 0.005  # of the ice at the start
STANDS = 0.5  # m/s under which a car stands
STOP = 60.0  # s of standing out of boost in which a tank can be filled up (own)


@dataclass(frozen=True)
class Condensation:
    """Water that the charge leaves in its cores: at most [kg/s] and when [s], over the session [kg], since when [s].

    `seconds` it lasts in all; `frozen` of them with the coolant of a charge core below freezing.
    """

    most: float
    peak_time: float
    total: float
    first: float
    seconds: float
    frozen: float


@dataclass(frozen=True)
class IceLeft:
    """Ice of one tank: kg at the start and the end, and when it was gone [s], if it was."""

    part: str
    start: float
    end: float
    gone: float | None


def condensation(forecast: Forecast) -> Condensation | None:
    """What condenses over the session; None when it was not followed or the cores stay dry."""
    water = forecast.condensate
    if water is None or not np.any(water > DRY):
        return None
    weights, wet = time_weights(forecast.time), water > DRY
    cold = np.zeros_like(wet)
    for trace in core_loops(forecast).values():
        cold |= trace < FREEZING
    at = int(np.argmax(water))
    return Condensation(
        most=float(water[at]),
        peak_time=float(forecast.time[at]),
        total=float(np.dot(weights, water)),
        first=float(forecast.time[int(np.argmax(wet))]),
        seconds=float(weights[wet].sum()),
        frozen=float(weights[wet & cold].sum()),
    )


def ice_left(forecast: Forecast) -> tuple[IceLeft, ...]:
    """Ice of every tank that had some at the start."""
    found = []
    for part, trace in forecast.ice.items():
        start, end = float(trace[0]), float(trace[-1])
        if start <= 0.0:
            continue
        gone = np.flatnonzero(trace <= ALL_GONE * start)
        found.append(IceLeft(part, start, end, float(forecast.time[gone[0]]) if gone.size else None))
    return tuple(found)


@dataclass(frozen=True)
class UsedUp:
    """Liquid that a session takes from a tank that the driver fills: of one injection or spray, m3, and what it is.

    `between` [m3] is the most of it that goes between two times at which the tank can be filled up, of which the
    session has `fills` with some used before and after.
    """

    part: str
    fluid: str
    volume: float
    running: float  # s
    tank: float  # m3 that is carried for it
    said: bool  # the tank is of the file, not a usual one
    between: float
    fills: int


def used_up(forecast: Forecast) -> tuple[UsedUp, ...]:
    """What every injection and every spray used over the session; those that never ran too."""
    found = []
    weights, stops = time_weights(forecast.time), _stops(forecast)
    for part, spec in forecast.build.parts.items():
        if isinstance(spec, InjectionSpec):
            liquid = parse_fluid(spec.fluid)
            flow = injected_flow(spec, forecast.plenum_pressure, forecast.demand.ambient_pressure) / liquid.density
            name, tank, said = liquid.name, injection_carried(spec), spec.tank is not None
        elif isinstance(spec, AirCoreSpec | ExchangerSpec) and spec.spray is not None:
            flow, name = spray_flow(spec, forecast.boost) / WATER_DENSITY, "water"
            tank, said = spray_carried(spec), spec.spray_tank is not None
        else:
            continue
        volume, running = float(np.dot(weights, flow)), float(weights[flow > 0.0].sum())
        each = [float(piece.sum()) for piece in np.split(weights * flow, stops)]
        used = [one for one in each if one > 0.0]
        found.append(UsedUp(part, name, volume, running, tank, said, max(used, default=0.0), max(len(used) - 1, 0)))
    return tuple(found)


def _stops(forecast: Forecast) -> np.ndarray:
    """Samples at which stops end that are long enough to fill a tank up."""
    stands = (forecast.demand.road_speed < STANDS) & ~forecast.boost
    edges = np.flatnonzero(np.diff(np.concatenate([[0], stands.astype(np.int8), [0]])))
    begins, ends = edges[::2], np.minimum(edges[1::2], len(stands) - 1)
    return np.asarray(ends[forecast.time[ends] - forecast.time[begins] >= STOP])


# ---------------------------------------------------------------- in words


def water_in_intake(forecast: Forecast) -> list[Sentence]:
    """Water that condenses in the charge cores, and frost."""
    found = condensation(forecast)
    if found is None or found.total < WORTH_SAYING:
        return []
    said = [
        Sentence(
            "Water in the intake: up to {most} condenses in the charge cores (at {when}), {total} over the session, "
            "from {first} into it; the engine swallows it unless it collects in a low place: give the tract a drain.",
            {
                "most": Quantity(found.most, "mass_flow"),
                "when": Quantity(found.peak_time, "clock"),
                "total": Quantity(found.total, "mass"),
                "first": Quantity(found.first, "clock"),
            },
        )
    ]
    if found.frozen > 0.0:
        said.append(
            Sentence(
                "Frost: for {frozen} of that the coolant of a charge core is below freezing; the water then stays in "
                "the core as ice, narrows it, and comes off at once when it thaws. The growing loss is not reckoned "
                "with.",
                {"frozen": Quantity(found.frozen, "time")},
            )
        )
    return said


def ice_words(forecast: Forecast) -> list[Sentence]:
    """Ice used up, or left at the end."""
    said = []
    for tank in ice_left(forecast):
        values: dict[str, Quantity | str] = {"part": tank.part, "start": Quantity(tank.start, "mass")}
        if tank.gone is not None:
            values["gone"] = Quantity(tank.gone, "clock")
            said.append(Sentence("The {start} of ice in {part} are gone {gone} into the session.", values))
        else:
            values["left"] = Quantity(tank.end, "mass")
            said.append(Sentence("Of the {start} of ice in {part}, {left} are left at the end.", values))
    return said


def to_carry(forecast: Forecast) -> list[Sentence]:
    """What injections and sprays use, when that is filled up again, and a tank that does not hold it until then."""
    said = []
    times = sum(len(group) for group in repeats(forecast)) or 1
    for one in used_up(forecast):
        values: dict[str, Quantity | str] = {
            "part": one.part,
            "fluid": one.fluid,
            "volume": Quantity(one.volume, "volume"),
            "running": Quantity(one.running, "time"),
            "tank": Quantity(one.tank, "volume"),
            "each": Quantity(one.volume / times, "volume"),
            "between": Quantity(one.between, "volume"),
            "stop": Quantity(STOP, "time"),
        }
        if one.running > 0.0:
            text = "{part} uses {volume} of {fluid} in {running}" + (", about {each} a repeat" if times > 1 else "")
            in_stops = one.fills > 0 and not (one.said and one.tank >= one.volume)
            if in_stops:
                text += ", and at most {between} from one stop of {stop} or more to the next: fill it up at each. "
            else:
                text += ": fill it up before the next session. "
            if one.said and one.tank < one.between:
                before = "before the next stop" if in_stops else "before the end"
                text += f"Its tank of {{tank}} runs dry {before}; here it never does, so give it a larger one."
            elif one.said:
                text += "Its tank of {tank} " + ("then holds it." if in_stops else "holds it.")
            else:
                text += "Its tank must hold that (it never runs dry here)."
        else:
            text = "{part} never runs in this session."
        said.append(Sentence(text, values))
    return said
