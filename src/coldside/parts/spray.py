"""Water sprayed on an exchanger's or air core's face: the heat its evaporation takes from the metal.

What is here: the three keys that such parts share (`SprayKeys`), when it runs, and `spray`: the most it
can take, the wet-bulb temperature below which it takes nothing, and what passing air can carry away.
What is not: the march (`plant/`), and how long the water lasts (flow against the tank's size, plain arithmetic).

Simple where it must be: the water wets the whole face alike, fills no gaps between fins (a soaked core
passes less air in truth), leaves no scale, and does not cool the air in front.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from coldside.errors import require
from coldside.parts.fields import given
from coldside.parts.moisture import CP_DRY, CP_VAPOUR, LATENT_0C, latent_heat, saturated_ratio, wet_bulb

Array = NDArray[np.float64]

WATER_DENSITY = 998.2  # kg/m3 at 20 degC
FREEZING = 273.15  # K
USUAL_TANK = 600.0  # s of running that a tank holds where nobody says (common practice: five to ten litres)
STEP = 10.0  # K over wet bulb at which the enthalpy of saturated air is taken for its slope


@dataclass(frozen=True, kw_only=True)
class SprayKeys:
    """Keys of a part whose face may be sprayed with water."""

    spray: float | None = given(
        "volume_flow",
        "water sprayed on its cooling-air face while the spray runs",
        default=None,
        low=1e-8,
        high=2e-3,
        when_absent="no spray",
    )
    spray_when: str = given(
        "choice", "when the spray runs: in boost, always, or off", default="boost", choices=("boost", "always", "off")
    )
    spray_evaporated: float = given(
        "share",
        "share of the sprayed water that evaporates on the metal; the rest drips or blows off",
        default=0.5,
        sd=0.2,
        low=0.0,
        high=1.0,
    )
    spray_tank: float | None = given(
        "volume",
        "water carried for the spray; filled up before each session",
        default=None,
        low=1e-4,
        high=0.1,
        when_absent="what ten minutes of spraying take",
    )


def spray_flow(spec: SprayKeys, boosted: ArrayLike) -> Array:
    """Water sprayed [kg/s]; `boosted` is true (or 1) where the plenum is in boost."""
    on = np.asarray(boosted, dtype=float)
    if spec.spray is None or spec.spray_when == "off":
        return np.zeros(on.shape)
    flow = spec.spray * WATER_DENSITY
    return np.full(on.shape, flow) if spec.spray_when == "always" else np.where(on > 0.0, flow, 0.0)


def spray_carried(spec: SprayKeys) -> float:
    """Water carried for a spray, m3; 0 without one."""
    if spec.spray is None or spec.spray_when == "off":
        return 0.0
    return spec.spray_tank if spec.spray_tank is not None else USUAL_TANK * spec.spray


@dataclass(frozen=True)
class Spray:
    """What a spray can take from metal: `power` [W] at the most, nothing at or below `wet_bulb` [K], and no more
    than passing air carries off: `per_air` [J/(kg K)] times its flow times the metal's rise over `wet_bulb`.
    """

    power: Array
    wet_bulb: Array
    per_air: Array

    def heat(self, T_metal: ArrayLike, air_flow: ArrayLike) -> Array:
        """Heat [W] that evaporation takes from metal at `T_metal` [K] with `air_flow` [kg/s] passing; 0 or more.

        For a share of the face pass that share of `power` and of the air.
        """
        over = np.maximum(np.asarray(T_metal, dtype=float) - self.wet_bulb, 0.0)
        return np.asarray(np.minimum(self.power, self.per_air * np.asarray(air_flow, dtype=float) * over))


def spray(water: ArrayLike, evaporated: float, T: ArrayLike, W: ArrayLike, p: ArrayLike) -> Spray:
    """The limits of spraying `water` [kg/s], of which the share `evaporated` may, in air at `T` [K], `W`, `p` [Pa].

    Power: what evaporates times latent heat at the wet bulb (the water itself comes at about the air's
    temperature: 1 % left out).  Air that leaves saturated at the metal's temperature has gained
    h_s(T_metal) - h_s(T_wet_bulb); without what it gains dry, cp (T_metal - T_wet_bulb), that is `per_air` times
    the rise, its slope taken between wet bulb and 10 K over it (more further up: on the safe side).
    Where the wet bulb lies under 0 degC the water freezes on the face: no power.  T 223 to 333 K.
    Source: enthalpy of saturated air as the driving force (Merkel, from memory); slope our own.
    """
    require("sprayed water", np.asarray(water, dtype=float), low=0.0)
    require("evaporated share", evaporated, low=0.0, high=1.0)
    require("air temperature", np.asarray(T, dtype=float), low=223.15, high=333.15)
    bulb = wet_bulb(T, W, p)
    gain = _saturated_enthalpy(bulb + STEP, p) - _saturated_enthalpy(bulb, p)
    power = np.where(bulb > FREEZING, np.asarray(water, dtype=float) * evaporated * latent_heat(bulb), 0.0)
    return Spray(power, bulb, gain / STEP - CP_DRY)


def _saturated_enthalpy(T: Array, p: ArrayLike) -> Array:
    """Enthalpy of saturated air, J per kg dry air, over dry air and liquid water at 0 degC."""
    t = T - FREEZING
    return np.asarray(CP_DRY * t + saturated_ratio(T, p) * (LATENT_0C + CP_VAPOUR * t))
