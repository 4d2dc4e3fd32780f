"""What a session does to the charge tract: pull at couplers, exhaust pressure, leak; and uneven lanes of a core.

Here: `couplers`, `exhaust`, `leak`, `belts`, `suction` and sentences.  Not here: a build that has not run (`tract.py`)
and the compressor's margins (`sheet/tables.py`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from coldside.build.model import names_on
from coldside.judge.heat import moment_words
from coldside.judge.power import time_weights
from coldside.judge.tract import Coupler, compressors, coupler, coupler_sentences, leak_area
from coldside.judge.wording import Quantity, Sentence, listed
from coldside.media import air
from coldside.parts.charge_tract import leak_flow
from coldside.parts.lines import PipeSpec
from coldside.parts.pump import PumpSpec
from coldside.parts.supercharger import SuperchargerSpec, belt_power
from coldside.plant.filling import Inlet, filling
from coldside.plant.results import Forecast, Point

UNEVEN = 5.0  # K between a core's hottest lane and its mean from which a sentence is due
BACK_PRESSURE = 1.5  # exhaust over plenum pressure from which a sentence is due; common practice


def couplers(forecast: Forecast) -> tuple[Coupler, ...]:
    """Every pipe behind the first compressor at the session's highest pressure.

    Pipes between two stages see the first stage's outlet; all others are taken at the last compressor's outlet,
    which is what they see but for the losses on the way.
    """
    build, ambient = forecast.build, forecast.demand.ambient_pressure
    names, machines = names_on(build.charge), compressors(build)
    if not machines:
        return ()
    found = []
    for name in names[names.index(machines[0]) + 1 :]:
        spec = build.parts[name]
        if not isinstance(spec, PipeSpec):
            continue
        trace = forecast.compressor_out_pressure
        if len(forecast.stages) > 1 and names.index(name) < names.index(machines[-1]):
            trace = forecast.stages[0].outlet_pressure
        at = int(np.argmax(trace))
        p = float(trace[at])
        flow = abs(float(forecast.flow[(name, "charge")][at])) if (name, "charge") in forecast.flow else 0.0
        inside = forecast.inlet.get((name, "charge"), forecast.intake)
        density = float(air.density(inside[at], p))
        found.append(coupler(name, spec, max(p - ambient, 0.0), ambient, (flow, density)))
    return tuple(found)


def largest_pull(found: tuple[Coupler, ...]) -> Coupler | None:
    """The coupler with the largest pull; None without a pipe."""
    return max(found, key=lambda one: one.force) if found else None


@dataclass(frozen=True)
class Exhaust:
    """Pressure before the turbine at its highest in boost [Pa absolute], its time [s] and its ratio to the plenum's.

    `out_of_reach` is the time [s] in boost for which no exhaust pressure is enough to drive the compressor.
    """

    pressure: float
    time: float
    over_plenum: float
    out_of_reach: float


def exhaust(forecast: Forecast) -> Exhaust | None:
    """Exhaust pressure at its highest, in boost where there is any; None without a turbine or a finite pressure."""
    trace = forecast.exhaust_pressure
    if trace is None:
        return None
    counts = forecast.boost | ~forecast.boost.any()
    if not (np.isfinite(trace) & counts).any():
        return None
    at = int(np.argmax(np.where(np.isfinite(trace) & counts, trace, -np.inf)))
    p = float(trace[at])
    beyond = float(time_weights(forecast.time)[np.isposinf(trace) & forecast.boost].sum())
    return Exhaust(p, float(forecast.time[at]), p / float(forecast.plenum_pressure[at]), beyond)


@dataclass(frozen=True)
class Leak:
    """Charge that a tested tract loses at the highest plenum pressure: effective area [m2], kg/s, share of the flow."""

    area: float
    flow: float
    share: float


def leak(forecast: Forecast) -> Leak | None:
    """The leak of a build that carries a pressure-decay test; None without one."""
    area = leak_area(forecast.build)
    if area is None:
        return None
    at = int(np.argmax(forecast.plenum_pressure))
    p, T = float(forecast.plenum_pressure[at]), float(forecast.intake[at])
    lost = float(leak_flow(area, p, T, forecast.demand.ambient_pressure))
    return Leak(area, lost, lost / max(float(forecast.charge_flow[at]), 1e-9))


@dataclass(frozen=True)
class Belt:
    """Power that a supercharger takes off the crank at its highest [W], and at which of the samples."""

    part: str
    power: float
    sample: int


def belts(found: Forecast | Point) -> tuple[Belt, ...]:
    """Every supercharger of a forecast or a point."""
    said = []
    for stage in found.stages:
        spec = found.build.parts.get(stage.name)
        if isinstance(spec, SuperchargerSpec):
            power = belt_power(stage.shaft_power, spec)
            at = int(np.argmax(power))
            said.append(Belt(stage.name, float(power[at]), at))
    return tuple(said)


@dataclass(frozen=True)
class Suction:
    """One loop's pumps with its coolant at the hottest of the session [K]; `inlets` as when it is filled."""

    loop: str
    hottest: float
    inlets: tuple[Inlet, ...]


def suction(forecast: Forecast) -> tuple[Suction, ...]:
    """Suction head of every pump at the session's hottest coolant in it, all devices at full command."""
    found = []
    for loop in forecast.build.loops.values():
        traces = [
            forecast.inlet[(name, "coolant")]
            for name in names_on(loop.path)
            if isinstance(forecast.build.parts.get(name), PumpSpec) and (name, "coolant") in forecast.inlet
        ]
        if not traces:
            continue
        hottest = max(float(trace.max()) for trace in traces)
        filled = filling(forecast.build, loop.name, hottest, forecast.demand.ambient_pressure)
        found.append(Suction(loop.name, hottest, filled.inlets))
    return tuple(found)


# ---------------------------------------------------------------- in words


def over_rating(forecast: Forecast) -> list[Sentence]:
    """Couplers that see more pressure than they are rated for."""
    return coupler_sentences(tuple(found for found in couplers(forecast) if found.left is not None and found.left < 0))


def back_pressure(forecast: Forecast) -> list[Sentence]:
    """A turbine that chokes the engine."""
    found = exhaust(forecast)
    if found is None:
        return []
    said = []
    if found.out_of_reach > 0.0:
        said.append(
            Sentence(
                "For {time} of boost no exhaust pressure is enough for the turbine to drive this: the car will not "
                "make that boost there.",
                {"time": Quantity(found.out_of_reach, "time")},
            )
        )
    if found.over_plenum >= BACK_PRESSURE:
        said.append(
            Sentence(
                "Before the turbine the exhaust reaches {pressure}, {ratio} times the plenum's pressure: burnt gas "
                "stays in the engine, which fills less and knocks sooner.",
                {"pressure": Quantity(found.pressure, "pressure"), "ratio": f"{found.over_plenum:.1f}"},
            )
        )
    return said


def short_of_suction(forecast: Forecast) -> list[Sentence]:
    """Pumps whose suction head runs short when the coolant is at its hottest."""
    said = []
    for found in suction(forecast):
        for inlet in found.inlets:
            if not inlet.cavitates:
                continue
            values: dict[str, Quantity | str] = {
                "pump": inlet.pump,
                "hot": Quantity(found.hottest, "temperature"),
                "left": Quantity(max(inlet.available, 0.0), "head"),
            }
            text = "{pump} runs short of suction head with the coolant at {hot}: {left} left"
            if inlet.required is not None:
                values["needed"] = Quantity(inlet.required, "head")
                text += ", it needs {needed} and some to spare"
            said.append(Sentence(text + "; it then pumps less, and vapour wears it.", values))
    return said


def uneven_lanes(forecast: Forecast) -> list[Sentence]:
    """Cores whose charge leaves unevenly over the face; those that do alike in one sentence."""
    alike: dict[tuple[float, ...], list[str]] = {}
    for core, spread in forecast.face_spread.items():
        if spread[0] - spread[1] >= UNEVEN:
            alike.setdefault(tuple(round(T, 1) for T in spread), []).append(core)
    return [
        Sentence(
            "At {moment} the charge leaves {core} at {hottest} where it is hottest, {mean} on average, "
            "{coldest} where it is coldest: a runner close behind the core gets the hottest of it unmixed.",
            {
                "moment": moment_words(forecast),
                "core": listed(cores),
                "hottest": Quantity(hottest, "temperature"),
                "mean": Quantity(mean, "temperature"),
                "coldest": Quantity(coldest, "temperature"),
            },
        )
        for (hottest, mean, coldest), cores in alike.items()
    ]
