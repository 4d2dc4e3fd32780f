"""Water or methanol injected into the charge: what evaporates on the way, and how far that cools.

What is here: the specification, `parse_fluid`, the liquid's flow, and `cooling`: for a ratio of liquid to
air and a pressure, two straight lines of outlet against inlet temperature, one as if all of it
evaporated, one where the air is saturated; the higher one holds.  What is not: what methanol does as a
fuel and against knock, and the nozzle's own pump (its flow is taken as given, whatever the boost).

Simple where it must be: drops that do not evaporate take no heat; what is evaporated is in balance with
what is left (ideal solution: methanol and water part more readily in truth, so a mix is saturated
a few kelvin too early here).
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from coldside.errors import BadInput, nearest, require
from coldside.media.air import MOLAR_MASS_DRY
from coldside.parts.fields import given
from coldside.parts.moisture import CP_LIQUID, CP_VAPOUR, LATENT_0C, SATURATION, condensing_temperature
from coldside.parts.spray import USUAL_TANK

Array = NDArray[np.float64]

FREEZING = 273.15  # K
CP_AIR = 1010.0  # J/(kg K), charge air at 40 to 150 degC (CoolProp Air, 1006 to 1016)
COLDEST = 223.15  # K, where the search for an outlet starts
HOTTEST = 573.15  # K, inlet up to which the lines are drawn
RANGE = (300.0, 460.0)  # K of inlet temperature over which the saturated line is drawn
SPAN = 50.0  # K, the same where the inlet temperature is known


@dataclass(frozen=True)
class _Liquid:
    """A pure liquid: molar mass [kg/mol]; A, B, C of ln p [Pa] = A - B/(T - C); heat of evaporation at 0 degC
    [J/kg]; cp of vapour and liquid [J/(kg K)]; density [kg/m3] at 20 degC.
    """

    molar_mass: float
    saturation: tuple[float, float, float]
    latent: float
    cp_vapour: float
    cp_liquid: float
    density: float

    def pressure(self, T: Array) -> Array:
        A, B, C = self.saturation
        return np.asarray(np.exp(A - B / (T - C)))

    def heat(self, T: Array, T_liquid: float) -> Array:
        """From liquid at `T_liquid` to vapour at `T`, J/kg."""
        return self.latent + self.cp_vapour * (T - FREEZING) - self.cp_liquid * (T_liquid - FREEZING)


_WATER = _Liquid(18.015e-3, SATURATION, LATENT_0C, CP_VAPOUR, CP_LIQUID, 998.2)
# own fit to CoolProp 8.0.0 HEOS::Methanol, 263 to 373 K: vapour pressure within 0.5 %, heat within 0.3 % (into thin
# vapour, as in air: 1.5 % more than the latent heat, since saturated vapour of methanol clings together)
_METHANOL = _Liquid(32.042e-3, (23.35502758, 3567.58473646, 36.04070937), 1.2183e6, 1420.0, 2600.0, 791.0)


@dataclass(frozen=True)
class Fluid:
    """What is injected: `name`, and the share of `methanol` by mass (0 water, 1 pure)."""

    name: str
    methanol: float

    @property
    def density(self) -> float:
        """kg/m3 at 20 degC: volumes add (mixes are up to 4 % denser)."""
        return 1.0 / (self.methanol / _METHANOL.density + (1.0 - self.methanol) / _WATER.density)


_FORM = re.compile(r"methanol(?:\s+([0-9]+(?:\.[0-9]+)?)\s*%(?:\s+by\s+(volume|mass))?)?")
ALLOWED = '"water", "methanol" or "methanol 50 % by volume"'


def parse_fluid(text: str) -> Fluid:
    """The injected fluid that the user's words name: "water", "methanol", "methanol N % by volume" or "by mass".

    A share without "by" is by volume, as the trade mixes.  Raises BadInput with the allowed forms.
    """
    words = " ".join(text.split()).casefold()
    if words == "water":
        return Fluid("water", 0.0)
    match = _FORM.fullmatch(words)
    if match is None:
        hint = nearest(words, ("water", "methanol", "methanol 50 % by volume"))
        raise BadInput(f"fluid {text!r} is not known; write {ALLOWED}" + (f'; nearest: "{hint}"' if hint else ""))
    if match[1] is None:
        return Fluid("methanol", 1.0)
    share = float(match[1]) / 100.0
    if not 0.0 < share <= 1.0:
        raise BadInput(f"fluid {text!r}: the share of methanol must be above 0 and at most 100 %; write {ALLOWED}")
    basis = match[2] or "volume"
    if basis == "volume":
        methanol = share * _METHANOL.density
        share_mass = methanol / (methanol + (1.0 - share) * _WATER.density)
    else:
        share_mass = share
    return Fluid(f"methanol {share * 100:.6g} % by {basis}", share_mass)


@dataclass(frozen=True, kw_only=True)
class InjectionSpec:
    """`kind = "injection"`: water or methanol sprayed into the charge behind a compressor."""

    fluid: str = given(
        "text",
        'what is injected: "water", "methanol" or "methanol 50 % by volume"; '
        "methanol cools the charge here, but counts neither as fuel nor in the mixture",
        default="water",
    )
    flow: float = given("volume_flow", "liquid flow of all nozzles while it runs", low=1e-8, high=2e-4)
    above: float = given(
        "pressure_difference",
        "boost at the plenum, over ambient pressure, from which it runs",
        default=3e4,
        low=0.0,
        high=5e5,
    )
    evaporated: float = given(
        "share",
        "share of the liquid fine enough to evaporate before the next part; the rest takes no heat from the charge",
        default=0.5,
        sd=0.2,
        low=0.0,
        high=1.0,
    )
    tank: float | None = given(
        "volume",
        "liquid carried for it; filled up before each session",
        default=None,
        low=1e-4,
        high=0.1,
        when_absent="what ten minutes of running take",
    )

    sides = ("charge",)


def injection_carried(spec: InjectionSpec) -> float:
    """Liquid carried for an injection, m3."""
    return spec.tank if spec.tank is not None else USUAL_TANK * spec.flow


def injected_flow(spec: InjectionSpec, plenum: ArrayLike, ambient: float) -> Array:
    """Liquid flow [kg/s] with the plenum at `plenum` and surroundings at `ambient` [Pa absolute]: all or nothing."""
    require("ambient pressure", ambient, low=0.0, open_low=True)
    running = np.asarray(plenum, dtype=float) > ambient + spec.above
    return np.where(running, spec.flow * parse_fluid(spec.fluid).density, 0.0)


@dataclass(frozen=True)
class Cooling:
    """Outlet temperature against inlet temperature as two lines [K]; the higher holds, never above the inlet.

    `full` = (a, b): T = a + b T_in with all of the ratio evaporated; `limit` = (a, b): saturated.
    `water` kg of water per kg dry air in what can evaporate.  Arrays of one shape.
    """

    full: tuple[Array, Array]
    limit: tuple[Array, Array]
    water: Array

    def outlet(self, T_in: ArrayLike) -> Array:
        """Gas temperature behind the nozzle, K."""
        T = np.asarray(T_in, dtype=float)
        held = np.maximum(self.full[0] + self.full[1] * T, self.limit[0] + self.limit[1] * T)
        return np.asarray(np.minimum(T, held))

    def share(self, T_in: ArrayLike) -> Array:
        """Share of what can evaporate that does, 0 to 1, by the heat the charge gave up."""
        T = np.asarray(T_in, dtype=float)
        most = T - self.full[0] - self.full[1] * T
        share = (T - self.outlet(T)) / np.where(most > 0.0, most, 1.0)
        return np.asarray(np.where(most > 0.0, np.clip(share, 0.0, 1.0), 1.0))

    def vapour(self, T_in: ArrayLike) -> Array:
        """Humidity ratio added, kg of water per kg dry air: a cold core behind the nozzle may condense it again."""
        return self.water * self.share(T_in)


def cooling(
    fluid: Fluid, ratio: ArrayLike, p: ArrayLike, W: ArrayLike, T_liquid: float, about: ArrayLike | None = None
) -> Cooling:
    """How injection cools the charge.

    Parameters: `ratio` kg of liquid that can evaporate (injected times its evaporated share) per kg dry
    air, 0 to 1; `p` [Pa absolute] at the nozzle; `W` humidity ratio of the charge; `T_liquid` [K] in the
    nozzle's tank; `about`, where it is known, the inlet temperature [K] to expect.  The saturated curve is
    bent: its line is drawn from 300 to 460 K of inlet, within 5 K, or over 25 K to both sides of `about` (an
    array where it moves), within 1.2 K there; in either case up to where all evaporates.  All but
    `T_liquid` broadcast.
    Raises BadInput for a ratio, pressure or temperature outside what can be.

    Source: charge note B4 (energy balance); saturation after Raoult and Dalton (textbook); without the
    line's bend 0.7 K from CoolProp's adiabatic saturation of water.
    """
    ends = RANGE if about is None else (np.asarray(about) - 0.5 * SPAN, np.asarray(about) + 0.5 * SPAN)
    f, pascal, humid, coldest, hottest = np.broadcast_arrays(
        *(np.asarray(v, dtype=float) for v in (ratio, p, W, *ends))
    )
    require("ratio of liquid to air", f, low=0.0, high=1.0)
    require("pressure", pascal, low=0.0, open_low=True)
    require("humidity_ratio", humid, low=0.0, high=1.0)
    require("temperature of the liquid", T_liquid, low=COLDEST, high=373.15)
    require("inlet temperature", hottest, low=COLDEST + SPAN, high=HOTTEST)
    injected = (f * (1.0 - fluid.methanol), f * fluid.methanol)
    a, b = _full(injected, humid, T_liquid)
    kink = (_dew(injected, pascal, humid) - a) / b  # inlet temperature from which all evaporates
    upper = np.minimum(kink, hottest)
    # air colder than its own dew point takes nothing up; a span of nothing would have no slope
    lower = np.minimum(
        np.maximum(np.minimum(coldest, upper - SPAN), condensing_temperature(humid, pascal)), upper - 1.0
    )
    T1, T_middle, T2 = (_settled(injected, pascal, humid, T_liquid, T) for T in (lower, 0.5 * (lower + upper), upper))
    slope = (T2 - T1) / (upper - lower)
    bend = 0.5 * np.maximum(T_middle - 0.5 * (T1 + T2), 0.0)  # half of it above, half below the curve
    return Cooling((a, b), (T2 + bend - slope * upper, slope), np.asarray(injected[0]))


_BOTH = (_WATER, _METHANOL)


def _full(injected: tuple[Array, Array], W: Array, T_liquid: float) -> tuple[Array, Array]:
    """The line of full evaporation: heat given up by air and old vapour = heat taken by the liquid."""
    C = CP_AIR + W * CP_VAPOUR
    after = C + sum(v * of.cp_vapour for v, of in zip(injected, _BOTH, strict=True))
    taken = sum(v * of.heat(np.zeros(()), T_liquid) for v, of in zip(injected, _BOTH, strict=True))
    return np.asarray(-taken / after), np.asarray(C / after)


def _moles(injected: tuple[Array, Array], W: Array) -> tuple[Array, Array, Array]:
    """Of air, water and methanol, liquid and vapour together, mol per kg dry air."""
    n_a = np.full(W.shape, 1.0 / MOLAR_MASS_DRY)
    return n_a, (W + injected[0]) / _WATER.molar_mass, injected[1] / _METHANOL.molar_mass


def _dew(injected: tuple[Array, Array], p: Array, W: Array) -> Array:
    """Temperature under which not all can stay vapour."""
    n_a, n_w, n_m = _moles(injected, W)
    total = n_a + n_w + n_m
    low, high = np.full(p.shape, COLDEST), np.full(p.shape, 473.15)
    for _ in range(45):
        T = 0.5 * (low + high)
        wet = p * (n_w / _WATER.pressure(T) + n_m / _METHANOL.pressure(T)) > total
        low, high = np.where(wet, T, low), np.where(wet, high, T)
    return 0.5 * (low + high)


def _vapour(injected: tuple[Array, Array], p: Array, W: Array, T: Array) -> tuple[Array, Array]:
    """Water and methanol in the vapour at `T`, kg per kg dry air, in balance with an ideal solution.

    Moles of vapour V from sum x_i = 1, x_i = n_i/(N + (K_i - 1) V), K_i = p_i/p: a quadratic whose root
    between the air's moles and all of them is the answer; all vapour where the sum stays under 1.
    """
    n_a, n_w, n_m = _moles(injected, W)
    N = n_a + n_w + n_m
    K_w, K_m = _WATER.pressure(T) / p, _METHANOL.pressure(T) / p
    dry = n_w / K_w + n_m / K_m <= N
    A = (K_w - 1.0) * (K_m - 1.0)
    B = N * (K_w + K_m - 2.0) - n_w * (K_m - 1.0) - n_m * (K_w - 1.0)
    D = np.sqrt(np.maximum(B * B - 4.0 * A * N * n_a, 0.0))
    q = -0.5 * (B + np.copysign(D, B))
    roots = (N * n_a / np.where(q == 0.0, 1.0, q), q / np.where(A == 0.0, 1.0, A))
    inside = (roots[0] >= n_a * (1.0 - 1e-9)) & (roots[0] <= N * (1.0 + 1e-9))
    V = np.where(inside, roots[0], roots[1])
    liquid = N - V
    water, methanol = (
        np.where(dry, n, n * K * V / np.where(dry, 1.0, liquid + K * V)) * of.molar_mass
        for n, K, of in ((n_w, K_w, _WATER), (n_m, K_m, _METHANOL))
    )
    return water, methanol


def _settled(injected: tuple[Array, Array], p: Array, W: Array, T_liquid: float, T_in: Array) -> Array:
    """Gas temperature once nothing more evaporates, at inlet temperature `T_in`: bisection on the heat balance."""
    C = CP_AIR + W * CP_VAPOUR
    low, high = np.full(p.shape, COLDEST), np.array(T_in)
    for _ in range(45):
        T = 0.5 * (low + high)
        water, methanol = _vapour(injected, p, W, T)
        taken = (water - W) * _WATER.heat(T, T_liquid) + methanol * _METHANOL.heat(T, T_liquid)
        colder = taken > C * (T_in - T)
        low, high = np.where(colder, low, T), np.where(colder, T, high)
    return 0.5 * (low + high)
