"""What happens in the ducts of a session: air that leaks past the faces, and hot air that comes back.

Here: sentences.  Not here: faces that get next to no air at all (`reasons.py`), flows (`plant/flows.py`).
"""

from __future__ import annotations

import numpy as np

from coldside.build.model import names_on
from coldside.judge.power import mean_where
from coldside.judge.wording import Quantity, Sentence
from coldside.plant.flows import LEAK
from coldside.plant.results import Forecast

LEAKING = 0.10  # share of a duct's air beside its faces in boost from which a sentence is due
OWN_AIR = 5.0  # K over ambient at a duct's inlet from which a sentence is due


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
