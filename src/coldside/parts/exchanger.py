"""Every core and remote exchanger: bench points -> conductances, pressure loss, stored heat.

One model serves all three kinds: two streams cross, unmixed, with a wall between; they differ by
which sides they carry.  Side 1 is the charge (of a core) or the coolant (of a remote exchanger),
side 2 the coolant or the cooling air.  `rate` turns a bench point into a `Rating`: both film
resistances and the wall at the bench, and how the films grow with flow and coolant temperature.
`cell_conductances` gives what a grid of wall cells needs so that its steady answer is the exact
crossflow effectiveness.  The grid itself is solved by `plant/`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from coldside.errors import BadInput
from coldside.media import air
from coldside.media.coolants import Coolant, parse_coolant
from coldside.parts.fields import given, height_field, pickup_field, surroundings_field
from coldside.parts.rating import Rating, conductance_of
from coldside.units import Pressure

CP_CHARGE = 1010.0  # J/(kg K), bench charge air at 40 to 150 degC (CoolProp Air, 1006 to 1016)
CP_COOLING = 1006.5  # J/(kg K), bench cooling air near 300 K
CREEP = 1e-3  # share of the bench flow under which a core's charge loss becomes linear
WALL_SHARE = {"water_core": 0.02, "air_core": 0.01, "exchanger": 0.02}  # heat note B1
REFERENCE_PRESSURE = 2.0e5  # Pa absolute, of a charge bench point that does not say
CELLS = {"water_core": (5, 13), "air_core": (16, 3), "exchanger": (8, 3)}  # along side 1, along side 2: bench/cells.py


def is_water(coolant: Coolant) -> bool:
    """True for plain water; bench shares of resistance differ for glycol mixes (heat note B1)."""
    return coolant.mass_fraction == 0.0


def _film_exponent(side: str, default: float, sd: float) -> Any:
    words = f"{side} film conductance grows with flow to this power"
    return given("number", words, default=default, sd=sd, low=0.0, high=0.9)


def _loss_exponent(side: str, default: float, sd: float, near: bool = False) -> Any:
    words = f"{side} loss grows with flow to this power" + (" near the bench flow" if near else "")
    return given("number", words, default=default, sd=sd, low=1.0, high=2.0)


@dataclass(frozen=True, kw_only=True)
class ChargeCoreSpec:
    """What the bench point of a charge core says of its charge side, whatever cools it."""

    bench_charge_flow: float = given("mass_flow", "charge flow at the bench point", low=1e-3, high=5.0)
    bench_charge_in: float = given("temperature", "charge temperature in, at the bench point", low=273.15, high=573.15)
    bench_effectiveness: float = given(
        "share", "charge temperature drop over inlet difference, at the bench point", low=0.05, high=0.999
    )
    bench_charge_pressure: Pressure | None = given(
        "pressure", "charge pressure in, at the bench point", default=None, when_absent="2.0 bar absolute"
    )
    bench_charge_loss: float = given(
        "pressure_difference", "charge pressure loss at the bench point", low=0.0, high=1e5
    )
    charge_film_exponent: float = _film_exponent("charge", 0.55, sd=0.04)
    charge_loss_exponent: float = _loss_exponent("charge", 1.7, sd=0.08)
    metal_mass: float = given("mass", "dry mass of the core", low=0.05, high=200.0)
    surroundings: str = surroundings_field("bay")


@dataclass(frozen=True, kw_only=True)
class WaterCoreSpec(ChargeCoreSpec):
    """`kind = "water_core"`: charge air to coolant, crossflow, rated by one bench point."""

    bench_coolant_flow: float = given("volume_flow", "coolant flow at the bench point", low=1e-6, high=0.02)
    bench_coolant_in: float = given(
        "temperature", "coolant temperature in, at the bench point", low=243.15, high=393.15
    )
    bench_coolant: str | None = given(
        "coolant", "coolant on the bench", default=None, when_absent="the loop's own coolant"
    )
    bench_coolant_loss: float = given(
        "pressure_difference", "coolant pressure loss at the bench point", low=1.0, high=5e5
    )
    charge_film_share: float | None = given(
        "share",
        "share of the whole resistance on the charge side at the bench point",
        default=None,
        low=0.2,
        high=0.97,
        when_absent="0.80 +- 0.06 with water, 0.70 +- 0.08 with glycol mixes",
    )
    coolant_film_exponent: float = _film_exponent("coolant", 0.5, sd=0.1)
    coolant_loss_exponent: float = _loss_exponent("coolant", 1.75, sd=0.15, near=True)
    coolant_volume: float = given("volume", "coolant held by the core", low=1e-5, high=0.05)
    pickup: float = pickup_field("core", 4.0)
    height: float | None = height_field()

    sides = ("charge", "coolant")


@dataclass(frozen=True, kw_only=True)
class AirCoreSpec(ChargeCoreSpec):
    """`kind = "air_core"`: charge air to cooling air, crossflow, rated by one bench point."""

    bench_cooling_flow: float = given("mass_flow", "cooling-air flow at the bench point", low=1e-3, high=50.0)
    bench_cooling_in: float = given(
        "temperature", "cooling-air temperature in, at the bench point", low=233.15, high=373.15
    )
    bench_cooling_loss: float = given(
        "pressure_difference", "cooling-air pressure loss at the bench point", low=1.0, high=1e4
    )
    charge_film_share: float = given(
        "share",
        "share of the whole resistance on the charge side at the bench point",
        default=0.36,
        sd=0.06,
        low=0.05,
        high=0.95,
    )
    cooling_film_exponent: float = _film_exponent("cooling-air", 0.55, sd=0.04)
    cooling_loss_exponent: float = _loss_exponent("cooling-air", 1.6, sd=0.1, near=True)
    face_height: float = given(
        "length", "height of its face, for natural draught", default=0.3, sd_share=0.3, low=0.02, high=2.0
    )
    covers: float = given(
        "share", "share of the next part's face in that duct which stands behind it", default=1.0, low=0.05, high=1.0
    )
    pickup: float = pickup_field("core", 3.0)

    sides = ("charge", "cooling")


@dataclass(frozen=True, kw_only=True)
class ExchangerSpec:
    """`kind = "exchanger"`: coolant to cooling air, crossflow; or, with `heat`, a face in a duct alone."""

    bench_coolant_flow: float | None = given(
        "volume_flow", "coolant flow at the bench point", default=None, low=1e-6, high=0.02
    )
    bench_cooling_flow: float = given("mass_flow", "cooling-air flow at the bench point", low=1e-3, high=50.0)
    bench_coolant_in: float | None = given(
        "temperature", "coolant temperature in, at the bench point", default=None, low=243.15, high=393.15
    )
    bench_cooling_in: float | None = given(
        "temperature", "cooling-air temperature in, at the bench point", default=None, low=233.15, high=373.15
    )
    bench_heat: float | None = given("power", "heat rejected at the bench point", default=None, low=1.0, high=1e6)
    bench_effectiveness: float | None = given(
        "share", "or heat rejected over the most possible, at the bench point", default=None, low=0.02, high=0.999
    )
    bench_coolant: str | None = given(
        "coolant", "coolant on the bench", default=None, when_absent="the loop's own coolant"
    )
    bench_coolant_loss: float | None = given(
        "pressure_difference", "coolant pressure loss at the bench point", default=None, low=1.0, high=5e5
    )
    bench_cooling_loss: float = given(
        "pressure_difference", "cooling-air pressure loss at the bench point", low=1.0, high=1e4
    )
    cooling_film_share: float | None = given(
        "share",
        "share of the whole resistance on the cooling-air side at the bench point",
        default=None,
        low=0.1,
        high=0.97,
        when_absent="0.80 +- 0.06 with water, 0.50 +- 0.08 with glycol mixes",
    )
    coolant_film_exponent: float = _film_exponent("coolant", 0.33, sd=0.15)
    cooling_film_exponent: float = _film_exponent("cooling-air", 0.51, sd=0.05)
    coolant_loss_exponent: float = _loss_exponent("coolant", 1.75, sd=0.15, near=True)
    cooling_loss_exponent: float = _loss_exponent("cooling-air", 1.55, sd=0.1, near=True)
    metal_mass: float = given("mass", "dry mass", default=3.0, sd_share=0.4, low=0.05, high=200.0)
    coolant_volume: float = given("volume", "coolant held", default=1.0e-3, sd_share=0.4, low=1e-5, high=0.05)
    heat: float | None = given(
        "power", "heat this face gives the air, for a radiator without its loop", default=None, low=0.0, high=1e6
    )
    face_height: float = given(
        "length", "height of its face, for natural draught", default=0.3, sd_share=0.3, low=0.02, high=2.0
    )
    covers: float = given(
        "share", "share of the next part's face in that duct which stands behind it", default=1.0, low=0.05, high=1.0
    )
    pickup: float = pickup_field("metal", 1.0)
    surroundings: str = surroundings_field("ambient")
    height: float | None = height_field()

    sides = ("coolant", "cooling")


@lru_cache(maxsize=256)
def rate(spec: WaterCoreSpec | AirCoreSpec | ExchangerSpec, loop_coolant: Coolant | None) -> Rating:
    """Rate a core or exchanger from its one bench point.

    `loop_coolant` is the coolant of the loop it stands in (None for an air core); it stands for the
    bench coolant where that is not given.  Raises `BadInput` when the bench point asks for more
    than crossflow can give.  Source: heat note B1; exact crossflow relation inverted.
    """
    if isinstance(spec, WaterCoreSpec):
        return _rate_water_core(spec, _bench_coolant(spec.bench_coolant, loop_coolant))
    if isinstance(spec, AirCoreSpec):
        C1, C2 = spec.bench_charge_flow * CP_CHARGE, spec.bench_cooling_flow * CP_COOLING
        eps = spec.bench_effectiveness * C1 / min(C1, C2)
        films = (spec.charge_film_share, spec.charge_film_exponent, spec.cooling_film_exponent)
        return _rating(spec.bench_charge_flow, spec.bench_cooling_flow, C1, C2, eps, films, "air_core", 0, None, 0.0)
    return _rate_exchanger(spec, _bench_coolant(spec.bench_coolant, loop_coolant))


def _bench_coolant(text: str | None, loop_coolant: Coolant | None) -> Coolant:
    if text is not None:
        return parse_coolant(text)
    if loop_coolant is None:
        raise BadInput("has no loop, and no bench_coolant says what it was rated with")
    return loop_coolant


def _rate_water_core(spec: WaterCoreSpec, coolant: Coolant) -> Rating:
    T = spec.bench_coolant_in
    m2 = spec.bench_coolant_flow * float(coolant.density(T))
    C1, C2 = spec.bench_charge_flow * CP_CHARGE, m2 * float(coolant.cp(T))
    rise = spec.bench_effectiveness * C1 * (spec.bench_charge_in - T) / C2
    share = spec.charge_film_share or (0.80 if is_water(coolant) else 0.70)
    films = (share, spec.charge_film_exponent, spec.coolant_film_exponent)
    eps = spec.bench_effectiveness * C1 / min(C1, C2)
    return _rating(spec.bench_charge_flow, m2, C1, C2, eps, films, "water_core", 2, coolant, T + 0.5 * rise)


def _rate_exchanger(spec: ExchangerSpec, coolant: Coolant) -> Rating:
    assert spec.bench_coolant_flow is not None and spec.bench_coolant_in is not None  # proved by the reader
    assert spec.bench_cooling_in is not None
    T = spec.bench_coolant_in
    m1 = spec.bench_coolant_flow * float(coolant.density(T))
    C1, C2 = m1 * float(coolant.cp(T)), spec.bench_cooling_flow * CP_COOLING
    most = min(C1, C2) * (T - spec.bench_cooling_in)
    if most <= 0.0:
        raise BadInput("bench_coolant_in must be hotter than bench_cooling_in")
    eps = spec.bench_effectiveness if spec.bench_heat is None else spec.bench_heat / most
    assert eps is not None
    air_share = spec.cooling_film_share or (0.80 if is_water(coolant) else 0.50)
    films = (1.0 - WALL_SHARE["exchanger"] - air_share, spec.coolant_film_exponent, spec.cooling_film_exponent)
    return _rating(m1, spec.bench_cooling_flow, C1, C2, eps, films, "exchanger", 1, coolant, T - 0.5 * eps * most / C1)


def _rating(
    m1: float,
    m2: float,
    C1: float,
    C2: float,
    eps: float,
    films: tuple[float, float, float],
    kind: str,
    liquid: int,
    coolant: Coolant | None,
    temperature: float,
) -> Rating:
    if eps >= 1.0:
        raise BadInput(
            f"the bench point moves {eps:.2f} times the most heat its flows could carry; "
            "check the bench flows, inlets and what the effectiveness is referred to"
        )
    UA = conductance_of(eps, C1, C2)
    wall = WALL_SHARE[kind]
    share1, n1, n2 = films
    share2 = 1.0 - wall - share1
    if not 0.02 <= share1 <= 0.97 or not 0.01 <= share2 <= 0.97:
        raise BadInput(
            f"film shares {share1:.2f} and {share2:.2f} leave no room for both films beside the wall's {wall:.2f}"
        )
    return Rating(m1, m2, share1 / UA, share2 / UA, wall / UA, n1, n2, liquid, coolant, temperature, UA, eps)


def charge_loss(spec: WaterCoreSpec | AirCoreSpec) -> Callable[[np.ndarray], tuple[np.ndarray, np.ndarray]]:
    """Charge-side loss times mean density, Pa kg/m3, and its slope with flow, as a function of flow [kg/s].

    dp rho_m = s_0 (m/m_0)^x (heat note B3), odd in flow and finite at zero.
    """
    drop = spec.bench_effectiveness * (spec.bench_charge_in - _bench_sink(spec))
    level = spec.bench_charge_pressure
    p = REFERENCE_PRESSURE if level is None else level.absolute(101325.0)
    rho = float(air.density(spec.bench_charge_in - 0.5 * drop, p - 0.5 * spec.bench_charge_loss))
    s0, m0, x = spec.bench_charge_loss * rho, spec.bench_charge_flow, spec.charge_loss_exponent

    def loss(flow: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        # |r|^(x-1) with its corner at rest rounded off under CREEP of the bench flow; exact at the bench
        r = np.asarray(flow, dtype=float) / m0
        round_ = (r * r + CREEP**2) / (1.0 + CREEP**2)
        power = round_ ** (0.5 * (x - 1.0))
        return s0 * r * power, s0 / m0 * power * (1.0 + (x - 1.0) * r * r / (r * r + CREEP**2))

    return loss


def _bench_sink(spec: WaterCoreSpec | AirCoreSpec) -> float:
    return spec.bench_coolant_in if isinstance(spec, WaterCoreSpec) else spec.bench_cooling_in
