"""What happens in the ducts of a session: radiators starved of air, air that leaks past the faces, hot air come back.

Here: sentences.  Not here: faces that get next to no air at all (`reasons.py`), flows (`plant/flows.py`).
"""

from __future__ import annotations

import re

import numpy as np

from coldside.build.model import Build, names_on
from coldside.judge.power import mean_where, time_weights
from coldside.judge.wording import Quantity, Sentence
from coldside.media.fuels import fuel
from coldside.parts.exchanger import ExchangerSpec
from coldside.parts.jacket import COOLANT_SIDE
from coldside.plant.flows import LEAK
from coldside.plant.layout import FACE_HOTTEST
from coldside.plant.results import Forecast

LEAKING = 0.10  # share of a duct's air beside its faces in boost from which a sentence is due
OWN_AIR = 5.0  # K over ambient at a duct's inlet from which a sentence is due
MOVING = 3.0  # m/s from which a car is under way
STARVED_TIME, STARVED_SHARE = 60.0, 0.05  # s, and share of the time at work, from which a starved radiator is serious
OF_OTHERS = {"condenser", "aircon", "ac", "oil", "gear", "gearbox"}  # words of faces that cool another's heat
LESSER = 0.5  # of the largest typed heat, under which a face beside it is not the engine's radiator (own)
CARRIED_OVER = 60.0  # s over which the engine's block and coolant even out what it gives (own: 70 kJ/K, 30 kW, 25 K)


def short_of_air(forecast: Forecast, name: str) -> np.ndarray | None:
    """Where a face with a heat of its own gets too little air for it, by samples; None for any other part.

    The heat that is typed for a radiator holds for hours on end; in traffic the engine has far less to give.  So that
    counts only where what the engine gave over the last minute, by its fuel, is more than the air can take too.  A
    condenser's heat does not follow the fuel: it counts as typed (see `of_engine`).
    """
    spec, leaving = forecast.build.parts.get(name), forecast.outlet.get((name, "cooling"))
    if not isinstance(spec, ExchangerSpec) or spec.heat is None or leaving is None:
        return None
    short = np.asarray(leaving > FACE_HOTTEST - 1e-3)
    flow, entering = (of.get((name, "cooling")) for of in (forecast.flow, forecast.inlet))
    if flow is None or entering is None or not of_engine(forecast.build, name):
        return short
    takes = flow * forecast.heat_capacity[name, "cooling"] * (FACE_HOTTEST - entering)
    engine = forecast.build.engine
    burns = fuel(engine.fuel)
    burnt = np.minimum(forecast.fuel_flow, forecast.charge_flow / burns.stoichiometric)  # rich of 1 oxygen limits it
    gives = engine.coolant_heat_share * burns.heating_value * _lately(burnt, forecast.time)
    return short & (gives > takes)


def of_engine(build: Build, name: str) -> bool:
    """Whether the heat typed for a face is the engine's coolant's.

    Not where a loop of the build carries that coolant itself, where the face's name says otherwise (a condenser, an oil
    cooler), or where it is small beside the largest heat typed for a face.
    """
    if any(COOLANT_SIDE in names_on(loop.path) for loop in build.loops.values()):
        return False
    if OF_OTHERS & set(re.split(r"[_-]", re.sub(r"\d", "", name).lower())):
        return False
    heats = {part: spec.heat or 0.0 for part, spec in build.parts.items() if isinstance(spec, ExchangerSpec)}
    return heats[name] >= LESSER * max(heats.values())


def short_for(forecast: Forecast, name: str) -> tuple[float, float]:
    """Seconds under way or in boost in which a face with a heat of its own is short of air, and all such seconds."""
    work = (forecast.demand.road_speed > MOVING) | forecast.boost
    hot = short_of_air(forecast, name)
    weights = time_weights(forecast.time)
    return 0.0 if hot is None else float(weights[work & hot].sum()), float(weights[work].sum())


def for_long(seconds: float, of: float) -> bool:
    """Whether a radiator that is short of air for these seconds of the time at work is serious."""
    return seconds >= STARVED_TIME and seconds >= STARVED_SHARE * of


def _lately(values: np.ndarray, time: np.ndarray) -> np.ndarray:
    """The mean of what was in the last minute, or since the start."""
    step = np.diff(time, prepend=time[0])
    whole = np.cumsum(values * step)
    before = np.interp(time - CARRIED_OVER, time, whole, left=0.0)
    return np.asarray((whole - before) / np.maximum(np.minimum(time - time[0], CARRIED_OVER), step[-1]))


def starved(forecast: Forecast, *, plain: bool = False) -> list[Sentence]:
    """Faces with a heat of their own that get too little air for it, for long, under way or in boost.

    A standing car's radiator, or a short spell, is no reason: health tells it (`plant/health.py`).  `plain` is for a
    customer: what must be seen to, not how.
    """
    found = []
    moving = forecast.demand.road_speed > MOVING
    for name, spec in forecast.build.parts.items():
        short = short_of_air(forecast, name)
        if short is None or not isinstance(spec, ExchangerSpec) or spec.heat is None:
            continue
        seconds, of = short_for(forecast, name)
        if not for_long(seconds, of):
            continue
        words = name.replace("_", " ")
        text = (
            "The {part} gets too little air for {time} of the {whole} that the car "
            + ("drives" if (short & moving).any() else "is in boost")
            + ": "
        )
        text += (
            (
                "on these values the engine may run hot; its own cooling must be seen to as well."
                if of_engine(forecast.build, name)
                else "on these values it cannot give away its heat; that must be seen to as well."
            )
            if plain
            else "to give away its {heat} it would run over {hottest}. Give it more air before anything else (larger "
            "openings, a fan, less in front of it), or check the heat typed for it."
        )
        values: dict[str, Quantity | str] = {
            "part": "engine's own radiator" if words == "engine radiator" else words,
            "time": Quantity(seconds, "time"),
            "whole": Quantity(of, "time"),
            "heat": Quantity(spec.heat, "heat"),
            "hottest": Quantity(FACE_HOTTEST, "temperature"),
        }
        found.append(Sentence(text, values))
    return found


def leaking(forecast: Forecast) -> list[Sentence]:
    """Ducts that lose a tenth of their air or more through the gaps beside their faces, in boost."""
    found = []
    for duct, whole in forecast.air_flow.items():
        gaps = forecast.flow.get((LEAK + duct, "cooling"))
        if gaps is None:
            continue
        lost, moved = (mean_where(np.abs(flow), forecast.boost, forecast.time) for flow in (gaps, whole))
        if lost is None or not moved:
            continue
        share = lost / moved  # of the air, not of the time: in still air a trickle goes where it can
        if share >= LEAKING:
            text = "In boost {share} of the air of duct {duct} takes the gaps beside its faces: sealing them is cheap."
            found.append(Sentence(text, {"share": Quantity(share, "share"), "duct": duct}))
    return found


def own_air(forecast: Forecast) -> list[Sentence]:
    """Ducts that breathe their own hot air again: what enters their first part is warmer than ambient."""
    found = []
    for name, duct in forecast.build.ducts.items():
        entering = forecast.inlet.get((names_on(duct.path)[0], "cooling"))
        if entering is None:
            continue
        rise = entering - forecast.demand.ambient_temperature
        at = int(np.argmax(rise))
        if float(rise[at]) >= OWN_AIR:
            text = (
                "Duct {duct} breathes its own hot air again where the car stands: at {time} it draws in air {rise} "
                "over ambient; seal inlet from exit, or lead the exit away."
            )
            values: dict[str, Quantity | str] = {
                "duct": name,
                "time": Quantity(float(forecast.time[at]), "clock"),
                "rise": Quantity(float(rise[at]), "temperature_difference"),
            }
            found.append(Sentence(text, values))
    return found
