"""Reservoir: specification of the tank, its mixing, its insulation, and ice in it.

What is here: volumes, the pick-up through insulation, how far back-flow between nodes mixes
(`turnover_spread`), conductance, latent heat, melting point and melt rate of ice, and the closed forms
that the solved nodes are held against (a tank in a loop mixed or plug, ice all melted, ice and water
brought together).  What is not: the march of the nodes (`plant/`).

Ice in a car's tank is melt-limited: what limits is the film between coolant and ice, not its latent
heat.  Never cap a tank with ice in it tightly; methanol is flammable and toxic, glycol is poisonous.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from coldside.errors import BadInput, require
from coldside.media.coolants import Coolant
from coldside.parts.fields import given, height_field, pickup_field, surroundings_field

Array = NDArray[np.float64]

LATENT_ICE = 333.55e3  # J/kg, handbook, from memory
CP_WATER = 4190.0  # J/(kg K), of the melt in `settled_with_ice`
CP_ICE = 2090.0  # J/(kg K), handbook, from memory
ICE_DENSITY = 917.0  # kg/m3, handbook, from memory
FREEZING = 273.15  # K
# W/K of one kilogram of ice by form: 25 mm cubes 0.262 m2/kg at 690 W/(m2 K) in gently stirred water
# (Ranz and Marshall's sphere, 0.03 m/s); crushed 4 times, bagged or afloat a third of it (common practice)
ICE_FILM = {"cubes": 180.0, "crushed": 720.0, "bagged": 60.0}
OUTSIDE_FILM = 10.0  # W/(m2 K) on the outside of an insulated tank, still bay air with radiation (tune)


@dataclass(frozen=True, kw_only=True)
class ReservoirSpec:
    """`kind = "reservoir"`."""

    volume: float = given("volume", "coolant in the tank", low=2e-4, high=0.5)
    nodes: int = given("count", "mixed nodes in series: 1 is well mixed, many is plug flow", default=2, low=1, high=60)
    mixing: float = given(
        "number",
        "flow that returns from each node to the one before it, over the flow through the tank: 0 none, "
        "10 makes many nodes nearly one",
        default=0.0,
        sd=0.3,
        low=0.0,
        high=20.0,
    )
    dead_share: float = given(
        "share",
        "share of the coolant that stands in corners and takes no part",
        default=0.0,
        sd=0.05,
        low=0.0,
        high=0.8,
    )
    metal_mass: float = given("mass", "metal of the tank", default=1.0, sd_share=0.5, low=0.0, high=100.0)
    pickup: float = pickup_field("coolant", 3.0)
    insulation: float | None = given(
        "length",
        "thickness of insulation round the tank; pickup then follows from it",
        default=None,
        low=1e-3,
        high=0.2,
        when_absent="none: pickup says what comes in",
    )
    insulation_conductivity: float = given(
        "number",
        "conductivity of the insulation in W/(m K): closed-cell foam 0.035, felt 0.045",
        default=0.04,
        sd_share=0.2,
        low=0.01,
        high=1.0,
    )
    surroundings: str = surroundings_field("bay")
    start_temperature: float | None = given(
        "temperature",
        "coolant in the tank at the start of a session; with ice in it that of melting ice if not given",
        default=None,
        low=223.15,
        high=373.15,
        when_absent="as the session starts",
    )
    brim_volume: float | None = given(
        "volume",
        "what the tank holds to its brim, coolant and ice together",
        default=None,
        low=2e-4,
        high=0.6,
        when_absent="not checked",
    )
    ice: float = given("mass", "ice in the tank at the start of a session", default=0.0, low=0.0, high=200.0)
    ice_form: str = given(
        "choice",
        "form of the ice: loose cubes of about 25 mm, crushed, or in bags",
        default="cubes",
        choices=tuple(ICE_FILM),
    )
    ice_temperature: float = given(
        "temperature", "ice at the start of a session", default=268.15, sd=4.0, low=203.15, high=273.15
    )
    ice_conductance: float | None = given(
        "conductance",
        "heat conductance from coolant to all the ice at the start",
        default=None,
        low=1.0,
        high=2e5,
        when_absent="180 W/K per kg of cubes, 720 W/K per kg crushed, 60 W/K per kg in bags, +- 50 %",
    )
    ice_exponent: float = given(
        "number",
        "conductance to the ice falls with the mass left to this power",
        default=2.0 / 3.0,
        sd=0.15,
        low=0.0,
        high=0.95,
    )
    height: float | None = height_field("height of the coolant's surface over the car's datum")

    sides = ("coolant",)


# --- the tank ----------------------------------------------------------------------------------------------------


def active_volume(spec: ReservoirSpec) -> float:
    """Coolant that takes part [m3]: `volume` without its dead share."""
    return spec.volume * (1.0 - spec.dead_share)


def tank_pickup(spec: ReservoirSpec) -> float:
    """Conductance from the surroundings to the coolant [W/K]: `pickup`, or through the insulation where it is given.

    A box as high as wide as long as the brim volume (or coolant and ice) asks for; insulation k A/t in
    series with 10 W/(m2 K) outside, the area taken at the middle of the insulation.  A long flat tank has
    up to half more.  Source: conduction through a wall, textbook; the shape is our own.
    """
    if spec.insulation is None:
        return spec.pickup
    side = (spec.brim_volume or spec.volume + spec.ice / ICE_DENSITY) ** (1.0 / 3.0)
    wall = spec.insulation / (spec.insulation_conductivity * 6.0 * (side + spec.insulation) ** 2)
    return 1.0 / (wall + 1.0 / (OUTSIDE_FILM * 6.0 * (side + 2.0 * spec.insulation) ** 2))


def check_fit(spec: ReservoirSpec) -> None:
    """Raise BadInput when coolant and ice together pass the brim; nothing where `brim_volume` is not given."""
    if spec.brim_volume is None:
        return
    needed = spec.volume + spec.ice / ICE_DENSITY
    if needed > spec.brim_volume * (1.0 + 1e-9):
        ice = f" and {spec.ice:.3g} kg of ice ({spec.ice / ICE_DENSITY * 1e3:.3g} L)" if spec.ice > 0.0 else ""
        raise BadInput(
            f"is too small: {spec.volume * 1e3:.3g} L of coolant{ice} need {needed * 1e3:.3g} L, "
            f"the tank holds {spec.brim_volume * 1e3:.3g} L to its brim"
        )


def turnover_spread(nodes: int, mixing: float = 0.0) -> float:
    """Variance of the time coolant spends in the tank, over its mean squared: 1 well mixed, 0 plug flow.

    `nodes` equal mixed nodes in series with back-flow `mixing` times the through-flow between neighbours;
    1/spread is the number of plain nodes that would mix alike.  Checked against moments of the nodes' own
    equations.  Source: cell model with back-flow (Roemer and Durbin 1967, from memory).
    """
    require("nodes", float(nodes), low=1.0)
    require("mixing", mixing, low=0.0)
    r = mixing / (1.0 + mixing)
    return (nodes * (1.0 + 2.0 * mixing) - 2.0 * mixing * (1.0 + mixing) * (1.0 - r**nodes)) / nodes**2


# --- ice ---------------------------------------------------------------------------------------------------------


def ice_conductance(spec: ReservoirSpec) -> float:
    """Heat conductance from the coolant to all the ice at the start [W/K]; 0 without ice.

    Default by form (`ICE_FILM`) times the mass; good to half of itself: stirring decides.
    """
    if spec.ice <= 0.0:
        return 0.0
    return ICE_FILM[spec.ice_form] * spec.ice if spec.ice_conductance is None else spec.ice_conductance


def ice_latent(spec: ReservoirSpec, T_melt: ArrayLike = FREEZING) -> Array:
    """Heat that a kilogram of the ice takes up until it is liquid at `T_melt` [K], J/kg.

    Latent heat, plus what warms it from `ice_temperature` (negative where the mix melts colder than that).
    The ice is taken as warmed when it melts: exact in sum, late by seconds for small pieces.
    """
    return np.asarray(LATENT_ICE + CP_ICE * (np.asarray(T_melt, dtype=float) - spec.ice_temperature))


def diluted(coolant: Coolant, liquid_mass: float, melted: float) -> Coolant:
    """The coolant after `melted` [kg] of ice has run into `liquid_mass` [kg] of it."""
    require("liquid mass", liquid_mass, low=0.0, open_low=True)
    require("melted ice", melted, low=0.0)
    if coolant.is_oil:
        raise BadInput("ice does not mix with engine oil")
    if coolant.mass_fraction == 0.0:
        return coolant
    share = coolant.mass_fraction * liquid_mass / (liquid_mass + melted)
    return replace(coolant, name=f"{coolant.name}, diluted by ice to {share * 100:.3g} % by mass", mass_fraction=share)


def melting_point(coolant: Coolant, liquid_mass: float, melted: ArrayLike = 0.0) -> Array:
    """Temperature [K] at which ice melts in `liquid_mass` [kg] of `coolant` that `melted` [kg] of ice has diluted.

    0 degC in water; the freezing point of the mix otherwise, rising as it is diluted.  The glycol is in the
    whole loop: pass the loop's mass where its pump stirs it all.  `melted` may be an array.
    """
    shares = np.asarray(melted, dtype=float)
    found = [diluted(coolant, liquid_mass, float(m)).freezing_point for m in shares.ravel()]
    return np.asarray(found).reshape(shares.shape)


def melt_heat(spec: ReservoirSpec, left: ArrayLike, T: ArrayLike, T_melt: ArrayLike) -> Array:
    """Heat from the coolant at `T` [K] to the ice, of which `left` [kg] is left, W; never below 0 (no refreezing).

    UA (left/ice)^exponent (T - T_melt).  Source: heat note D3; the exponent 2/3 is that of equal pieces.
    """
    if spec.ice <= 0.0:
        return np.zeros(np.broadcast_shapes(np.shape(left), np.shape(T), np.shape(T_melt)))
    share = np.clip(np.asarray(left, dtype=float) / spec.ice, 0.0, 1.0)
    over = np.maximum(np.asarray(T, dtype=float) - np.asarray(T_melt, dtype=float), 0.0)
    return np.asarray(ice_conductance(spec) * share**spec.ice_exponent * over)


def melt_rate(spec: ReservoirSpec, left: ArrayLike, T: ArrayLike, T_melt: ArrayLike) -> Array:
    """Ice that melts, kg/s: `melt_heat` over `ice_latent`.

    The melt enters the coolant at `T_melt`: warming it takes rate cp (T - T_melt) more from the coolant, and
    the coolant grows by it (ice and liquid together keep their mass).
    """
    return melt_heat(spec, left, T, T_melt) / ice_latent(spec, T_melt)


def ice_left(spec: ReservoirSpec, T: float, T_melt: float, time: ArrayLike) -> Array:
    """Ice left [kg] after `time` [s] in coolant held at `T` [K]: closed form of `melt_rate`.

    m = m0 (1 - t/t_m)^(1/(1-n)), t_m = m0 latent/((1-n) UA (T - T_melt)); heat note D3 with n = 2/3.
    """
    seconds = np.asarray(time, dtype=float)
    require("time", seconds, low=0.0)
    root = 1.0 - spec.ice_exponent
    fall = seconds * root * float(melt_rate(spec, spec.ice, T, T_melt)) / max(spec.ice, 1e-300)
    return np.asarray(spec.ice * np.maximum(1.0 - fall, 0.0) ** (1.0 / root))


def all_melted(spec: ReservoirSpec, T: float, T_melt: float) -> float:
    """Time [s] until all ice has melted in coolant held at `T` [K]; infinite at or below `T_melt`."""
    rate = float(melt_rate(spec, spec.ice, T, T_melt))
    return spec.ice / ((1.0 - spec.ice_exponent) * rate) if rate > 0.0 else float("inf")


def settled_with_ice(
    ice: float, T_ice: float, liquid_capacity: float, T: float, heat: float = 0.0, latent: float = LATENT_ICE
) -> tuple[float, float]:
    """Temperature [K] and ice left [kg] once ice at `T_ice` [K] and water at `T` [K] have settled, insulated.

    `liquid_capacity` m cp of the liquid [J/K], `heat` put in meanwhile [J], `latent` [J/kg].  Melt takes the
    specific heat of water, 4190 J/(kg K).  Water only (melts at 0 degC); refreezing is counted.  Source:
    conservation of energy.
    """
    require("ice", ice, low=0.0)
    require("heat capacity of the liquid", liquid_capacity, low=0.0, open_low=True)
    # energy over ice at 0 degC beside liquid at 0 degC
    energy = liquid_capacity * (T - FREEZING) + heat - ice * CP_ICE * (FREEZING - T_ice)
    if energy >= ice * latent:
        return FREEZING + (energy - ice * latent) / (liquid_capacity + ice * CP_WATER), 0.0
    left = ice - energy / latent
    if left > ice + liquid_capacity / CP_WATER:
        raise BadInput("so cold that all of it would be solid; the closed form ends there")
    return FREEZING, left


# --- a tank in a loop, closed forms ------------------------------------------------------------------------------


@dataclass(frozen=True)
class TankLoop:
    """Tank -> core -> remote exchanger -> tank at constant flow, for closed forms.

    `capacity` of the tank m cp [J/K]; capacity rates [W/K]: `C` of the coolant, `a` core effectiveness times
    its smaller rate, `b` the same of the remote exchanger; `hot` charge and `ambient` temperature [K].
    Nothing else stores or takes up heat.  Source: loop note b2, analytic.
    """

    capacity: float
    C: float
    a: float
    b: float
    hot: float
    ambient: float

    @property
    def gamma(self) -> float:
        """Share of the difference to the settled state that one pass closes."""
        alpha, beta = self.a / self.C, self.b / self.C
        return alpha + beta - alpha * beta

    @property
    def settled(self) -> float:
        """Temperature [K] that the tank ends at: its size is not in it."""
        alpha, beta = self.a / self.C, self.b / self.C
        return (alpha * (1.0 - beta) * self.hot + beta * self.ambient) / self.gamma

    @property
    def turnover(self) -> float:
        """Time of one pass [s]."""
        return self.capacity / self.C

    def mixed(self, start: float, time: ArrayLike) -> Array:
        """Well-mixed tank at `time` [s] after it stood at `start` [K], K."""
        fade = np.exp(-np.asarray(time, dtype=float) * self.gamma / self.turnover)
        return np.asarray(self.settled + (start - self.settled) * fade)

    def plug(self, start: float, time: ArrayLike) -> Array:
        """Outlet of a tank in plug flow, K: steps at every pass."""
        passes = np.floor(np.asarray(time, dtype=float) / self.turnover)
        return np.asarray(self.settled + (start - self.settled) * (1.0 - self.gamma) ** passes)

    def time_to(self, start: float, limit: float) -> float:
        """Time [s] until the mixed tank warms from `start` to `limit` [K]; infinite when it settles below."""
        if start >= limit:
            return 0.0
        if self.settled <= limit:
            return float("inf")
        return -self.turnover / self.gamma * float(np.log((self.settled - limit) / (self.settled - start)))
