"""What happens in the ducts of a session: radiators starved of air, air that leaks past the faces, hot air come back.

Here: sentences.  Not here: faces that get next to no air at all (`reasons.py`), flows (`plant/flows.py`).
"""

from __future__ import annotations

import numpy as np

from coldside.build.model import names_on
from coldside.judge.power import mean_where
from coldside.judge.wording import Quantity, Sentence
from coldside.parts.exchanger import ExchangerSpec
from coldside.plant.flows import LEAK
from coldside.plant.layout import FACE_HOTTEST
from coldside.plant.results import Forecast

LEAKING = 0.10  # share of a duct's air beside its faces in boost from which a sentence is due
OWN_AIR = 5.0  # K over ambient at a duct's inlet from which a sentence is due
MOVING = 3.0  # m/s from which a car is under way
STARVED_TIME, STARVED_SHARE = 60.0, 0.05  # s, and share of the time at work, from which a starved radiator is serious


def starved(forecast: Forecast, *, plain: bool = False) -> list[Sentence]:
    """Faces with a heat of their own that get too little air for it, for long, under way or in boost.

    A standing car's radiator, or a short spell, is no reason: health tells it (`plant/health.py`).  `plain` is for a
    customer: what must be seen to, not how.
    """
    found = []
    moving = forecast.demand.road_speed > MOVING
    work = moving | forecast.boost
    for name, spec in forecast.build.parts.items():
        leaving = forecast.outlet.get((name, "cooling"))
        if not isinstance(spec, ExchangerSpec) or spec.heat is None or leaving is None:
            continue
        short = work & (leaving > FACE_HOTTEST - 1e-3)
        seconds, of = (float(np.count_nonzero(mask)) * (forecast.time[1] - forecast.time[0]) for mask in (short, work))
        if seconds < STARVED_TIME or seconds < STARVED_SHARE * of:
            continue
        words = name.replace("_", " ")
        text = (
            "The {part} gets too little air for {time} of the {whole} that the car "
            + ("drives" if (short & moving).any() else "is in boost")
            + ": "
        )
        text += (
            "on these values the engine may run hot; its own cooling must be seen to as well."
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
