"""Power corrections of three standards, and why none is right for a boosted engine.

Here: `corrections` and the sentence that goes with a dyno pull.  Power everywhere in a forecast is as observed; nothing
is ever corrected.  The factors are `media/air.power_correction`.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from coldside.judge.wording import Sentence
from coldside.media import air
from coldside.plant.results import Forecast

STANDARDS = {"sae": "SAE J1349 of 1990 (dry pressure)", "iso": "ISO 1585 (dry pressure)", "din": "DIN 70020 (total)"}


def corrections(forecast: Forecast) -> Mapping[str, float]:
    """Factor of each standard on observed power, from ambient air at the intake's mouth at the moment of most power."""
    at = int(np.argmax(forecast.power))
    T, p = float(forecast.demand.ambient_temperature[at]), forecast.demand.ambient_pressure
    W = float(air.humidity_ratio(T, p, forecast.demand.humidity[at]))
    vapour = p * W / (air.MASS_RATIO + W)
    return {name: float(air.power_correction(T, p, vapour, standard=name)) for name in STANDARDS}


def correction_words(forecast: Forecast) -> list[Sentence]:
    """For a session with pulls on a dyno in boost: what the standards would make of its power, and why not to."""
    if not forecast.boost.any() or not any(phase.on == "dyno" for phase in forecast.session.phases):
        return []
    factors = corrections(forecast)
    told = ", ".join(f"{words} {factors[name]:.3f}" for name, words in STANDARDS.items())
    return [
        Sentence(
            "Power is as observed. Standards would multiply it, {told}, by ambient air at the intake's mouth, never by "
            "the cooled charge; none is right for a boosted engine: its boost control has already made up for thin "
            "air, so their pressure term gives back power that was never lost.",
            {"told": told},
        )
    ]
