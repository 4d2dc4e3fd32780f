"""Whether the car makes the power that was asked of it, and what boost or engine would.

Here: `asked_power`.  Not here: power kept and lost to heat (`power.py`).
"""

from __future__ import annotations

import numpy as np

from coldside.judge.wording import Quantity, Sentence
from coldside.plant.results import Forecast

AS_ASKED = 0.02  # of the power asked, within which it is that power whatever is known of the engine
LIKELY = 1.2816  # standard deviations from the middle of a normal spread to its 10th and 90th percentile
NEAR_TOP = 0.88  # of the engine's highest speed, from which a session has shown what power it makes
MOST_RATIO = 5.0  # pressure ratio of one stage


def asked_power(forecast: Forecast) -> list[Sentence]:
    """For the headline: that the power asked for is missed by more than its likely range, and what would make it.

    Nothing where no power was asked for, or where the session never shows full load near top speed.  Power goes with
    the plenum's absolute pressure, and with the engine's size (Analytic: the air drawn does).
    """
    engine, demand = forecast.build.engine, forecast.demand
    if engine.asked_power is None or not (demand.full_load & forecast.boost).any():
        return []
    if float(demand.engine_speed[demand.full_load].max()) < NEAR_TOP * engine.top_speed:
        return []
    at = int(np.argmax(forecast.power))
    made, asked, plenum = float(forecast.power[at]), engine.asked_power, float(forecast.plenum_pressure[at])
    if made >= asked * (1.0 - likely_share(forecast)):
        return []
    air = float(np.broadcast_to(demand.ambient_pressure, forecast.time.shape)[at])
    takes = plenum * asked / made
    cool = float(forecast.power_at_ambient[at])
    values: dict[str, Quantity | str] = {
        "made": Quantity(made, "power"),
        "asked": Quantity(asked, "power"),
        "takes": Quantity(takes - air, "boost"),
        "cool": Quantity(cool, "power"),
    }
    text = "It makes {made} at most, not the {asked} asked for: "
    if takes > MOST_RATIO * air:
        text += "that would take a boost of {takes}, more than one turbo stage gives; a larger engine would do"
    else:
        text += "that takes a boost of about {takes}, as far as turbo, fuel and knock allow"
        if engine.kind == "piston" and engine.displacement is not None:
            text += ", or {size} of engine"
            values["size"] = Quantity(engine.displacement * asked / made, "engine_volume")
    if cool >= asked:
        text += "; charge as cool as the air outside would make {cool} too"
    return [Sentence(text + ".", values)]


def likely_share(forecast: Forecast) -> float:
    """Half the likely range of the highest power as a share of it, from how well its efficiency is known."""
    given = forecast.build.givens.get("engine.brake_efficiency")
    if given is None or given.sd is None:
        return AS_ASKED
    return max(AS_ASKED, LIKELY * given.sd / forecast.build.engine.brake_efficiency)
