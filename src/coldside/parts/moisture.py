"""Water in the charge: when it condenses on a cold wall, how much, and its heat; wet bulb and latent heat.

What is here: saturation in the closed form that the kernel uses (`SATURATION`, `ENHANCEMENT`,
`saturated_ratio`), `condensing_temperature`, `condense` (one wall cell, or a whole surface of one
temperature), `wet_bulb`, `latent_heat`.  What is not: humidity of the ambient air (`media/air.py`, whose
exact equations these forms are held against) and the march through a core (`plant/`).

Simple where it must be: heat and vapour cross the film alike (Lewis number 1: true water is 5 to 10 %
less), fog does not form in the stream, and all condensate leaves with the charge; a wall below 0 degC
takes frost, which is told and does not narrow the passage.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from coldside.errors import require
from coldside.media.air import MASS_RATIO

Array = NDArray[np.float64]

# ln p_ws [Pa] = A - B/(T - C) over liquid water: within 0.1 % of HylandWexler1983 from 263 to 343 K (own, least
# largest deviation); below 273 K it is supercooled water, 10 % above ice at -10 degC.
SATURATION = (23.71223116, 4113.82771883, 35.30262879)
# 1.0018 + 0.0032 per bar: how much air at pressure p raises it, within 0.2 % of `air.enhancement_factor` to 4 bar
ENHANCEMENT = (1.0018, 3.2e-8)
LOWEST, HIGHEST = 223.15, 573.15  # K that is let in: walls may be hot, where nothing condenses anyway

CP_VAPOUR = 1860.0  # J/(kg K), handbook, from memory
CP_LIQUID = 4190.0  # J/(kg K), handbook, from memory
CP_DRY = 1006.0  # J/(kg K) of dry air near 300 K
LATENT_0C = 2.501e6  # J/kg at 0 degC, handbook, from memory
FREEZING = 273.15  # K


def latent_heat(T: ArrayLike) -> Array:
    """Heat of evaporation of water at `T` [K], J/kg: 2.501e6 less 2330 per kelvin over 0 degC.

    Within 0.3 % of IAPWS95 from 0 to 80 degC.  Source: enthalpies with constant specific heats (ASHRAE
    Handbook Fundamentals 2017, chapter 1, from memory).
    """
    return np.asarray(LATENT_0C + (CP_VAPOUR - CP_LIQUID) * (np.asarray(T, dtype=float) - FREEZING))


def vapour_pressure(T: ArrayLike, p: ArrayLike) -> Array:
    """Pressure of water vapour over liquid water in air of `p` [Pa absolute] at `T` [K], Pa; the kernel's form."""
    A, B, C = SATURATION
    kelvin = np.asarray(T, dtype=float)
    require("temperature", kelvin, low=LOWEST, high=HIGHEST)
    return np.asarray((ENHANCEMENT[0] + ENHANCEMENT[1] * np.asarray(p, dtype=float)) * np.exp(A - B / (kelvin - C)))


def saturated_ratio(T: ArrayLike, p: ArrayLike) -> Array:
    """Humidity ratio of saturated air at `T` [K] and `p` [Pa absolute], kg per kg dry air; infinite where it boils.

    T 223 to 573 K, else BadInput; within 0.2 % of `air.humidity_ratio` from 273 to 343 K, 0.8 to 4 bar.
    """
    pascal = np.asarray(p, dtype=float)
    require("pressure", pascal, low=0.0, open_low=True)
    p_v = vapour_pressure(T, pascal)
    room = pascal - p_v
    return np.asarray(np.where(room > 0.0, MASS_RATIO * p_v / np.where(room > 0.0, room, 1.0), np.inf))


def condensing_temperature(W: ArrayLike, p: ArrayLike) -> Array:
    """Wall temperature [K] under which air of humidity ratio `W` at `p` [Pa absolute] wets it.

    The dew point at that pressure by `SATURATION` turned round, 0.03 K from `air.dew_point_at`; a wall
    colder than 273 K takes frost some kelvin before (`air.dew_point_at` gives the frost point).  Dry air
    (W = 0) gives `SATURATION`'s pole, under 36 K: never.
    """
    A, B, C = SATURATION
    pascal, ratio = np.asarray(p, dtype=float), np.asarray(W, dtype=float)
    require("pressure", pascal, low=0.0, open_low=True)
    require("humidity_ratio", ratio, low=0.0, high=1.0)
    p_v = np.maximum(pascal * ratio / (MASS_RATIO + ratio), 1e-300) / (ENHANCEMENT[0] + ENHANCEMENT[1] * pascal)
    return np.asarray(C + B / (A - np.log(p_v)))


@dataclass(frozen=True)
class Wet:
    """What a cold wall makes of a stream: outlet `T` [K] and humidity ratio `W`; `condensed` kg per kg dry air
    left on the wall, and the heat this gives the wall, `latent` [J per kg dry air], beside that of cooling.
    """

    T: Array
    W: Array
    condensed: Array
    latent: Array


def condense(T: ArrayLike, W: ArrayLike, T_wall: ArrayLike, p: ArrayLike, share: ArrayLike) -> Wet:
    """One wall cell, or a whole surface of one temperature, that may be wet.

    `T` [K], `W` of the stream in, `T_wall` [K], `p` [Pa absolute] in the stream, `share` = 1 - exp(-NTU)
    of the gas film (0 to 1): the part of the difference to the wall that the stream gives up, in temperature
    and, where W is above saturation at the wall, in humidity alike (Lewis number 1).  With W below it, dry.
    `latent` is counted at the wall's temperature: the vapour's own cooling is in the stream's cp.
    Arrays broadcast.  Raises BadInput for a share outside 0 to 1 or a wall outside 223 to 573 K.
    Source: heat note F (Merkel's assumption, from memory).
    """
    require("share", np.asarray(share, dtype=float), low=0.0, high=1.0)
    gas, ratio, wall, e = (np.asarray(v, dtype=float) for v in (T, W, T_wall, share))
    condensed = np.maximum(ratio - saturated_ratio(wall, p), 0.0) * e
    return Wet(np.asarray(gas - e * (gas - wall)), ratio - condensed, condensed, condensed * latent_heat(wall))


def wet_bulb(T: ArrayLike, W: ArrayLike, p: ArrayLike) -> Array:
    """Thermodynamic wet-bulb temperature [K] of air at `T` [K], humidity ratio `W`, `p` [Pa absolute].

    The lowest temperature that evaporating water can reach in this air.  T 223 to 573 K (BadInput outside).
    Over liquid also below 0 degC.  Source: ASHRAE Handbook Fundamentals 2017, chapter 1, equation 33, from
    memory, solved by bisection; 0.05 K from CoolProp.
    """
    gas, ratio, pascal = np.broadcast_arrays(*(np.asarray(v, dtype=float) for v in (T, W, p)))
    require("temperature", gas, low=LOWEST, high=HIGHEST)
    low, high = np.full(gas.shape, LOWEST), np.array(gas)
    for _ in range(50):
        middle = 0.5 * (low + high)
        t = middle - FREEZING
        held = latent_heat(middle) * saturated_ratio(middle, pascal) - CP_DRY * (gas - middle)
        found = held / (LATENT_0C + CP_VAPOUR * (gas - FREEZING) - CP_LIQUID * t)  # humidity at this wet bulb
        wetter = found < ratio
        low, high = np.where(wetter, middle, low), np.where(wetter, high, middle)
    return np.asarray(0.5 * (low + high))
