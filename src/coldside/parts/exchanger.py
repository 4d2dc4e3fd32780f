"""Every core and remote exchanger: its keys, and how bench points and sizes become a rating.

One model serves all three kinds: two streams cross, unmixed, with a wall between; they differ by
which sides they carry.  Side 1 is the charge (of a core) or the coolant (of a remote exchanger),
side 2 the coolant or the cooling air.  `rate` makes a `Rating` (`rating.py`) in one of four ways: from one
bench point and the usual shares of resistance; from two, which tell the shares (`two_points.py`); from sizes
and fins (`sizes.py`, `geometry.py`); from both, the geometry corrected to meet the bench.
What is not here: pressure losses (`core_losses.py`), wall cells (`rating.py`) and their solution (`plant/`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np

from coldside import units
from coldside.errors import BadInput
from coldside.media.coolants import Coolant, parse_coolant
from coldside.parts.fields import bleed_field, field_of, given, height_field, pickup_field, surroundings_field
from coldside.parts.geometry import CoreGeometry
from coldside.parts.rating import BESIDE, COUNTER, Rating, SizedRating, conductance_of, rated_by_shape
from coldside.parts.sizes import (
    ChargeSizeKeys,
    CoolantSizeKeys,
    CoolingSizeKeys,
    PlateKeys,
    TubeKeys,
    charge_side,
    coolant_side,
    cooling_side,
    flat_tube,
    louvered_fin,
    plate_core,
)
from coldside.parts.spray import SprayKeys
from coldside.parts.two_points import CONTRADICTION, EFFECTIVENESS_SD, BenchPoint, Fit, Prior, fit
from coldside.units import Pressure

CP_CHARGE = 1010.0  # J/(kg K), bench charge air at 40 to 150 degC (CoolProp Air, 1006 to 1016)
CP_COOLING = 1006.5  # J/(kg K), bench cooling air near 300 K
WALL_SHARE = {"water_core": 0.02, "air_core": 0.01, "exchanger": 0.02}  # heat note B1
UNEVEN_UNMEASURED = 0.1  # maldistribution of a core known by its sizes alone: good tanks (common practice)
CHARGE_FILM, COOLING_FILM = 370.0, 320.0  # K, where gas films of a geometry take viscosity and conductivity
USUAL_COOLANT = 313.15  # K, coolant of a sized core without a bench
USUAL_FLUX = {"charge": 35.0, "cooling": 10.0}  # kg/(s m2) of free section, common in cores of cars
USUAL_VELOCITY = 0.15  # m/s of coolant in its passages, the same
CREDIBLE = (0.6, 1.4)  # factors on a geometry's conductance that its bench may ask for without a word (own)
DRY_DENSITY = 1100.0  # kg/m3 of core volume, 900 to 1300 (common practice)
CHARGE_SHARE = {"water_core": 0.55, "air_core": 0.40}  # of core volume that is charge passages, usual fins
TANK_SHARE = 0.5  # of the passages' volume that its tanks hold beside them (own estimate)
# what sizes do not count, and one standard deviation of what they give, as a share (own): usual sizes give 0.3 kg/L
# of tubes and 0.6 of plates, where finished parts weigh 0.5 to 0.8 and 0.9 to 1.3 (common practice)
UNCOUNTED = {
    "metal_mass": ("without tanks, side sheets and braze, which add half as much to as much again: weigh it", 0.4),
    "coolant_volume": ("without tanks", 0.2),
}
CELLS = {"water_core": (5, 13), "air_core": (16, 3), "exchanger": (8, 3)}  # along side 1, along side 2: bench/cells.py


def is_water(coolant: Coolant) -> bool:
    """True for plain water; bench shares of resistance differ for glycol mixes (heat note B1)."""
    return coolant.mass_fraction == 0.0


UNLESS_SIZED = "needed, unless its sizes are given"


def _bench(kind: str, words: str, low: float, high: float) -> Any:
    """A key of the bench point: needed where no sizes are given."""
    return given(kind, words, default=None, low=low, high=high, when_absent=UNLESS_SIZED)


def _second(kind: str, words: str, low: float, high: float) -> Any:
    """A key of the second bench point, which may be left out."""
    said = f"{words}, at a second bench point"
    return given(kind, said, default=None, low=low, high=high, when_absent="rated by one bench point")


def _uneven(words: str) -> Any:
    return given(
        "share",
        words,
        default=None,
        low=0.0,
        high=0.6,
        when_absent="none with a bench point, which has it in its figures; 10 % without, 20 % is usual of side entries",
    )


def _passes(words: str) -> Any:
    return given("count", words, default=1, low=1, high=8)


def _film_exponent(side: str, default: float, sd: float) -> Any:
    words = f"{side} film conductance grows with flow to this power"
    return given("number", words, default=default, sd=sd, low=0.0, high=0.9)


def _loss_exponent(side: str, default: float, sd: float, near: bool = False) -> Any:
    words = f"{side} loss grows with flow to this power" + (" near the bench flow" if near else "")
    return given("number", words, default=default, sd=sd, low=1.0, high=2.0)


@dataclass(frozen=True, kw_only=True)
class ChargeCoreSpec(ChargeSizeKeys):
    """What the bench point of a charge core says of its charge side, whatever cools it."""

    bench_charge_flow: float | None = _bench("mass_flow", "charge flow at the bench point", 1e-3, 5.0)
    bench_charge_in: float | None = _bench("temperature", "charge temperature in, at the bench point", 273.15, 573.15)
    bench_effectiveness: float | None = _bench(
        "share", "charge temperature drop over inlet difference, at the bench point", 0.05, 0.999
    )
    bench_charge_pressure: Pressure | None = given(
        "pressure", "charge pressure in, at the bench point", default=None, when_absent="2.0 bar absolute"
    )
    bench_charge_loss: float | None = _bench("pressure_difference", "charge pressure loss at the bench point", 0.0, 1e5)
    bench2_charge_flow: float | None = _second("mass_flow", "charge flow", 1e-3, 5.0)
    bench2_effectiveness: float | None = _second("share", "charge temperature drop over inlet difference", 0.05, 0.999)
    bench2_charge_loss: float | None = _second("pressure_difference", "charge pressure loss", 1.0, 1e5)
    charge_film_exponent: float = _film_exponent("charge", 0.55, sd=0.04)
    charge_loss_exponent: float = _loss_exponent("charge", 1.7, sd=0.08)
    charge_bypass: float = given(
        "share",
        "share of the charge that slips past the core; 2 to 8 % is usual of cores dropped into a plenum",
        default=0.0,
        low=0.0,
        high=0.5,
    )
    maldistribution: float | None = _uneven(
        "charge flow more in one half of the core, less in the other, by this share"
    )
    metal_mass: float = given(
        "mass", "dry mass of the core", default=None, low=0.05, high=200.0, when_absent=UNLESS_SIZED
    )
    charge_volume: float | None = given(
        "volume",
        "charge held by the core and its tanks",
        default=None,
        low=1e-5,
        high=0.2,
        when_absent="from its sizes, else from its mass, +- 40 %",
    )
    surroundings: str = surroundings_field("bay")


@dataclass(frozen=True, kw_only=True)
class WaterCoreSpec(ChargeCoreSpec, CoolantSizeKeys):
    """`kind = "water_core"`: charge air to coolant, crossflow, rated by bench points, by its sizes, or by both."""

    bench_coolant_flow: float | None = _bench("volume_flow", "coolant flow at the bench point", 1e-6, 0.02)
    bench_coolant_in: float | None = _bench("temperature", "coolant temperature in, at the bench point", 243.15, 393.15)
    bench_coolant: str | None = given(
        "coolant", "coolant on the bench", default=None, when_absent="the loop's own coolant"
    )
    bench_coolant_loss: float | None = _bench(
        "pressure_difference", "coolant pressure loss at the bench point", 1.0, 5e5
    )
    bench2_coolant_flow: float | None = _second("volume_flow", "coolant flow", 1e-6, 0.02)
    bench2_coolant_loss: float | None = _second("pressure_difference", "coolant pressure loss", 1.0, 5e5)
    coolant_passes: int = _passes("times the coolant crosses the core, one pass behind the other along the charge")
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
    coolant_volume: float = given(
        "volume", "coolant held by the core", default=None, low=1e-5, high=0.05, when_absent=UNLESS_SIZED
    )
    pickup: float = pickup_field("core", 4.0)
    height: float | None = height_field("height of its highest coolant passage over the car's datum")
    bleed: bool = bleed_field()

    sides = ("charge", "coolant")


@dataclass(frozen=True, kw_only=True)
class AirCoreSpec(ChargeCoreSpec, CoolingSizeKeys, SprayKeys):
    """`kind = "air_core"`: charge air to cooling air, crossflow, rated by bench points, by its sizes, or by both."""

    bench_cooling_flow: float | None = _bench("mass_flow", "cooling-air flow at the bench point", 1e-3, 50.0)
    bench_cooling_in: float | None = _bench(
        "temperature", "cooling-air temperature in, at the bench point", 233.15, 373.15
    )
    bench_cooling_loss: float | None = _bench(
        "pressure_difference", "cooling-air pressure loss at the bench point", 1.0, 1e4
    )
    bench2_cooling_flow: float | None = _second("mass_flow", "cooling-air flow", 1e-3, 50.0)
    bench2_cooling_loss: float | None = _second("pressure_difference", "cooling-air pressure loss", 1.0, 1e4)
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
        "length",
        "height of its face, for natural draught; the tallest face of a duct counts",
        default=0.3,
        sd_share=0.3,
        low=0.02,
        high=2.0,
    )
    covers: float = given(
        "share", "share of the next part's face in that duct which stands behind it", default=1.0, low=0.05, high=1.0
    )
    pickup: float = pickup_field("core", 3.0)

    sides = ("charge", "cooling")


@dataclass(frozen=True, kw_only=True)
class ExchangerSpec(PlateKeys, CoolantSizeKeys, CoolingSizeKeys, TubeKeys, SprayKeys):
    """`kind = "exchanger"`: coolant to cooling air, crossflow; or, with `heat`, a face in a duct alone."""

    bench_coolant_flow: float | None = given(
        "volume_flow", "coolant flow at the bench point", default=None, low=1e-6, high=0.02
    )
    bench_cooling_flow: float | None = _bench("mass_flow", "cooling-air flow at the bench point", 1e-3, 50.0)
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
    bench_cooling_loss: float | None = _bench(
        "pressure_difference", "cooling-air pressure loss at the bench point", 1.0, 1e4
    )
    bench2_coolant_flow: float | None = _second("volume_flow", "coolant flow", 1e-6, 0.02)
    bench2_cooling_flow: float | None = _second("mass_flow", "cooling-air flow", 1e-3, 50.0)
    bench2_heat: float | None = _second("power", "heat rejected, with the first point's inlets", 1.0, 1e6)
    bench2_effectiveness: float | None = _second("share", "or heat rejected over the most possible", 0.02, 0.999)
    bench2_coolant_loss: float | None = _second("pressure_difference", "coolant pressure loss", 1.0, 5e5)
    bench2_cooling_loss: float | None = _second("pressure_difference", "cooling-air pressure loss", 1.0, 1e4)
    coolant_passes: int = _passes(
        "times the coolant crosses the core: side by side in its face, or in depth if of plates"
    )
    maldistribution: float | None = _uneven(
        "cooling air more on one half of the face, less on the other, by this share"
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
        "power",
        "heat this face gives the air while the engine runs, for a radiator without its loop or a condenser",
        default=None,
        low=0.0,
        high=1e6,
    )
    face_height: float = given(
        "length",
        "height of its face, for natural draught; the tallest face of a duct counts",
        default=0.3,
        sd_share=0.3,
        low=0.02,
        high=2.0,
    )
    covers: float = given(
        "share", "share of the next part's face in that duct which stands behind it", default=1.0, low=0.05, high=1.0
    )
    pickup: float = pickup_field("metal", 1.0)
    surroundings: str = surroundings_field("ambient")
    height: float | None = height_field("height of its highest coolant passage over the car's datum")
    bleed: bool = bleed_field()

    sides = ("coolant", "cooling")


CoreSpec = WaterCoreSpec | AirCoreSpec | ExchangerSpec


# --- geometry ------------------------------------------------------------------------------------


@lru_cache(maxsize=256)
def geometry_of(spec: CoreSpec) -> CoreGeometry | None:
    """The geometry of a part whose sizes are given, else None.  Raises `BadInput` where sizes contradict."""
    if spec.stack_height is None:
        return None
    if isinstance(spec, WaterCoreSpec):
        return plate_core(spec, charge_side(spec), coolant_side(spec, spec.coolant_passes))
    if isinstance(spec, AirCoreSpec):
        return plate_core(spec, charge_side(spec), cooling_side(spec))
    if spec.construction == "bar and plate":
        return plate_core(spec, coolant_side(spec, spec.coolant_passes), cooling_side(spec))
    assert spec.cooling_length is not None  # proved by the reader
    return CoreGeometry(
        side1=coolant_side(spec, spec.coolant_passes, flat_tube(spec, spec.cooling_length)),
        side2=cooling_side(spec, louvered_fin(spec, spec.cooling_length)),
        stack_height=spec.stack_height,
        wall_thickness=spec.tube_wall,
    )


def derived_from_sizes(spec: CoreSpec, named: frozenset[str]) -> dict[str, float]:
    """Keys that a part's geometry gives where the file (its keys: `named`) does not: dry mass, coolant held.

    Neither counts tanks, side sheets and brackets.  Empty for a part without sizes.
    """
    shape = geometry_of(spec)
    if shape is None:
        return {}
    found = {"metal_mass": shape.metal_mass}
    if not isinstance(spec, AirCoreSpec):
        found["coolant_volume"] = shape.fluid_volume2 if isinstance(spec, WaterCoreSpec) else shape.fluid_volume1
    return {name: value for name, value in found.items() if name not in named}


def charge_volume(spec: WaterCoreSpec | AirCoreSpec) -> float:
    """Charge held by a core and its tanks, m3.

    As given; else what its passages hold and half as much again in the tanks; else from its mass at the dry
    density and charge share of its kind, good to 40 % (common practice).
    """
    if spec.charge_volume is not None:
        return spec.charge_volume
    shape = geometry_of(spec)
    if shape is not None:
        return (1.0 + TANK_SHARE) * shape.fluid_volume1
    share = CHARGE_SHARE["water_core" if isinstance(spec, WaterCoreSpec) else "air_core"]
    return (1.0 + TANK_SHARE) * share * spec.metal_mass / DRY_DENSITY


def rated_cooling_flow(spec: AirCoreSpec | ExchangerSpec) -> float:
    """Cooling air at which a part is rated, kg/s: its bench flow, or what is usual for its free section."""
    if spec.bench_cooling_flow is not None:
        return spec.bench_cooling_flow
    shape = geometry_of(spec)
    assert shape is not None  # proved by the reader
    return USUAL_FLUX["cooling"] * shape.free_area2


# --- rating --------------------------------------------------------------------------------------


@lru_cache(maxsize=256)
def rate(spec: CoreSpec, loop_coolant: Coolant | None) -> Rating:
    """Rate a core or exchanger from its bench points, its sizes, or both.

    `loop_coolant` is the coolant of the loop it stands in (None for an air core); it stands for the
    bench coolant where that is not given.  Raises `BadInput` when a bench point asks for more
    than crossflow can give, or sizes contradict.  Source: heat notes B1, B2, A4; exact crossflow relation inverted.
    """
    coolant = None if isinstance(spec, AirCoreSpec) else _bench_coolant(spec.bench_coolant, loop_coolant)
    points = bench_points(spec, coolant)
    shape = geometry_of(spec)
    if shape is not None:
        return _rate_by_shape(spec, shape, points, coolant)
    return _rate_by_bench(spec, points, coolant)


def _bench_coolant(text: str | None, loop_coolant: Coolant | None) -> Coolant:
    if text is not None:
        return parse_coolant(text)
    if loop_coolant is None:
        raise BadInput("has no loop, and no bench_coolant says what it was rated with")
    return loop_coolant


def bench_points(spec: CoreSpec, coolant: Coolant | None) -> tuple[BenchPoint, ...]:
    """No, one or two measured points of a part; `coolant` that of the bench (None for an air core).

    The second takes from the first what is not given.  Raises `BadInput` for more heat than the flows carry.
    """
    if isinstance(spec, ExchangerSpec):
        assert coolant is not None
        return _exchanger_points(spec, coolant)
    if spec.bench_charge_flow is None:
        return ()
    assert spec.bench_effectiveness is not None and spec.bench_charge_in is not None  # proved by the reader
    points = [_core_point(spec, coolant, spec.bench_charge_flow, _side2_flow(spec), spec.bench_effectiveness)]
    if spec.bench2_effectiveness is not None:
        charge = spec.bench2_charge_flow or spec.bench_charge_flow
        points.append(_core_point(spec, coolant, charge, _side2_flow(spec, second=True), spec.bench2_effectiveness))
    return tuple(points)


def _side2_flow(spec: WaterCoreSpec | AirCoreSpec, second: bool = False) -> float:
    """What the spec says of the flow of side 2 at a bench point: m3/s of coolant or kg/s of air."""
    if isinstance(spec, WaterCoreSpec):
        first, other = spec.bench_coolant_flow, spec.bench2_coolant_flow
    else:
        first, other = spec.bench_cooling_flow, spec.bench2_cooling_flow
    assert first is not None  # proved by the reader
    return other if second and other is not None else first


def _core_point(
    spec: WaterCoreSpec | AirCoreSpec, coolant: Coolant | None, charge: float, other: float, effectiveness: float
) -> BenchPoint:
    C1 = charge * CP_CHARGE
    if isinstance(spec, AirCoreSpec):
        return _point((charge, other), (C1, other * CP_COOLING), effectiveness * C1, 0.0)
    assert coolant is not None and spec.bench_coolant_in is not None and spec.bench_charge_in is not None
    T = spec.bench_coolant_in
    m2 = other * float(coolant.density(T))
    C2 = m2 * float(coolant.cp(T))
    rise = effectiveness * C1 * (spec.bench_charge_in - T) / C2
    return _point((charge, m2), (C1, C2), effectiveness * C1, T + 0.5 * rise)


def _exchanger_points(spec: ExchangerSpec, coolant: Coolant) -> tuple[BenchPoint, ...]:
    if spec.bench_coolant_flow is None:
        return ()
    assert spec.bench_cooling_flow is not None  # proved by the reader
    asked = [(spec.bench_coolant_flow, spec.bench_cooling_flow, spec.bench_heat, spec.bench_effectiveness)]
    if spec.bench2_heat is not None or spec.bench2_effectiveness is not None:
        flows = (spec.bench2_coolant_flow or asked[0][0], spec.bench2_cooling_flow or asked[0][1])
        asked.append((*flows, spec.bench2_heat, spec.bench2_effectiveness))
    return tuple(_exchanger_point(spec, coolant, *row) for row in asked)


def _exchanger_point(
    spec: ExchangerSpec, coolant: Coolant, wet: float, air_flow: float, heat: float | None, effectiveness: float | None
) -> BenchPoint:
    assert spec.bench_coolant_in is not None and spec.bench_cooling_in is not None  # proved by the reader
    T = spec.bench_coolant_in
    m1 = wet * float(coolant.density(T))
    C1, C2 = m1 * float(coolant.cp(T)), air_flow * CP_COOLING
    most = min(C1, C2) * (T - spec.bench_cooling_in)
    if most <= 0.0:
        raise BadInput("bench_coolant_in must be hotter than bench_cooling_in")
    eps = effectiveness if heat is None else heat / most
    assert eps is not None
    return _point((m1, air_flow), (C1, C2), eps * min(C1, C2), T - 0.5 * eps * most / C1)


def _point(flows: tuple[float, float], C: tuple[float, float], per_kelvin: float, temperature: float) -> BenchPoint:
    """`per_kelvin`: heat over inlet difference, W/K."""
    eps = per_kelvin / min(C)
    if eps >= 1.0:
        raise BadInput(
            f"the bench point moves {eps:.2f} times the most heat its flows could carry; "
            "check the bench flows, inlets and what the effectiveness is referred to"
        )
    return BenchPoint(*flows, *C, temperature, eps)


def _prior(spec: CoreSpec, coolant: Coolant | None) -> Prior:
    """Usual share of side 1 and exponents, or those given, with the defaults' standard deviations (heat note B1)."""

    def known(name: str) -> tuple[float, float]:
        return getattr(spec, name), float(field_of(type(spec), name).sd or 0.0)

    wet = coolant is not None and is_water(coolant)
    if isinstance(spec, WaterCoreSpec):
        share = (spec.charge_film_share or (0.80 if wet else 0.70), 0.06 if wet else 0.08)
        return Prior(share, known("charge_film_exponent"), known("coolant_film_exponent"), WALL_SHARE["water_core"])
    if isinstance(spec, AirCoreSpec):
        share = known("charge_film_share")
        return Prior(share, known("charge_film_exponent"), known("cooling_film_exponent"), WALL_SHARE["air_core"])
    wall = WALL_SHARE["exchanger"]
    air_share = spec.cooling_film_share or (0.80 if wet else 0.50)
    share = (1.0 - wall - air_share, 0.06 if wet else 0.08)
    return Prior(share, known("coolant_film_exponent"), known("cooling_film_exponent"), wall)


def _liquid(spec: CoreSpec) -> int:
    return {WaterCoreSpec: 2, AirCoreSpec: 0, ExchangerSpec: 1}[type(spec)]


def _crossing(spec: CoreSpec, measured: bool) -> tuple[int, str, float, int]:
    """Passes, their arrangement, maldistribution and the uneven side."""
    passes = 1 if isinstance(spec, AirCoreSpec) else spec.coolant_passes
    tubes = isinstance(spec, ExchangerSpec) and spec.construction == "tube and fin"
    x = spec.maldistribution
    uneven = (0.0 if measured else UNEVEN_UNMEASURED) if x is None else x
    return passes, BESIDE if tubes else COUNTER, uneven, 2 if isinstance(spec, ExchangerSpec) else 1


def _rate_by_bench(spec: CoreSpec, points: tuple[BenchPoint, ...], coolant: Coolant | None) -> Rating:
    first, prior = points[0], _prior(spec, coolant)
    passes, arrangement, x, uneven = _crossing(spec, True)
    UA = conductance_of(first.effectiveness, first.C1, first.C2, passes, arrangement)
    wall, share1 = prior.wall, prior.share1[0]
    share2 = 1.0 - wall - share1
    if not 0.02 <= share1 <= 0.97 or not 0.01 <= share2 <= 0.97:
        raise BadInput(
            f"film shares {share1:.2f} and {share2:.2f} leave no room for both films beside the wall's {wall:.2f}"
        )
    even = Rating(
        flow1=first.flow1,
        flow2=first.flow2,
        film1=share1 / UA,
        film2=share2 / UA,
        wall=wall / UA,
        exponent1=prior.exponent1[0],
        exponent2=prior.exponent2[0],
        liquid=_liquid(spec),
        bench_coolant=coolant,
        bench_temperature=first.temperature,
        UA=UA,
        effectiveness=first.effectiveness,
        passes=passes,
        arrangement=arrangement,
        uneven=uneven,
    )
    if len(points) == 1:
        return replace(even, maldistribution=x)
    found = fit(points, prior, even, coolant)
    return replace(
        found.rating,
        maldistribution=x,
        share1_sd=found.share1_sd,
        conductance_sd=found.conductance_sd,
        notes=_fit_notes(spec, found, prior),
    )


def _fit_notes(spec: CoreSpec, found: Fit, prior: Prior) -> tuple[str, ...]:
    side = "coolant" if isinstance(spec, ExchangerSpec) else "charge"
    notes = [
        (
            f"two bench points put {found.share1:.2f} +- {found.share1_sd:.2f} of the resistance on the {side} film "
            f"(expected {prior.share1[0]:.2f} +- {prior.share1[1]:.2f}), "
            f"with exponents {found.rating.exponent1:.2f} and {found.rating.exponent2:.2f}; "
            f"they are met within {max(abs(m) for m in found.misses):.3f} of effectiveness"
        )
    ]
    if max(abs(m) for m in found.misses) > CONTRADICTION * EFFECTIVENESS_SD:
        notes.append(
            "the two bench points contradict each other: no such core can give both; check their flows and inlets"
        )
    return tuple(notes)


def _rate_by_shape(
    spec: CoreSpec, shape: CoreGeometry, points: tuple[BenchPoint, ...], coolant: Coolant | None
) -> SizedRating:
    """Sizes alone, or corrected so that the bench is met (both bench points: in the mean of their logarithms)."""
    passes, arrangement, x, uneven = _crossing(spec, bool(points))
    first = points[0] if points else None
    flows = (first.flow1, first.flow2) if first else usual_flows(spec, shape, coolant)
    blank = SizedRating(
        flow1=flows[0],
        flow2=flows[1],
        film1=np.nan,
        film2=np.nan,
        wall=np.nan,
        exponent1=np.nan,
        exponent2=np.nan,
        liquid=_liquid(spec),
        bench_coolant=coolant,
        bench_temperature=first.temperature if first else USUAL_COOLANT,
        UA=np.nan,
        effectiveness=first.effectiveness if first else np.nan,
        passes=passes,
        arrangement=arrangement,
        uneven=uneven,
        shape=shape,
        temperature1=CHARGE_FILM,
        temperature2=COOLING_FILM,
    )
    bare = rated_by_shape(blank, None)
    if not points:
        even = replace(bare, maldistribution=x)
        return replace(even, notes=_shape_notes(spec, even, "si"))
    factors = []
    for point in points:
        at = np.array(point.temperature)
        h1 = float(bare.conductance1(np.array(point.flow1), at, coolant))
        h2 = float(bare.conductance2(np.array(point.flow2), at, coolant))
        measured = conductance_of(point.effectiveness, point.C1, point.C2, passes, arrangement)
        factors.append(measured * (1.0 / h1 + 1.0 / h2))
    made = rated_by_shape(blank, float(np.exp(np.mean(np.log(factors)))))
    made = replace(made, maldistribution=x, factors=tuple(factors))
    return replace(made, notes=_shape_notes(spec, made, "si"))


def usual_flows(spec: CoreSpec, shape: CoreGeometry, coolant: Coolant | None) -> tuple[float, float]:
    """Flows that cores are usually chosen for, kg/s: where a sized rating has its scales."""
    wet = USUAL_VELOCITY * float(coolant.density(USUAL_COOLANT)) if coolant is not None else 0.0
    flux1 = wet if isinstance(spec, ExchangerSpec) else USUAL_FLUX["charge"]
    flux2 = wet if isinstance(spec, WaterCoreSpec) else USUAL_FLUX["cooling"]
    return flux1 * shape.free_area1, flux2 * shape.free_area2


def rating_notes(spec: CoreSpec, loop_coolant: Coolant | None, system: str = "si") -> tuple[str, ...]:
    """How a part was rated, in sentences with the figures of a system of units; empty for one bench point.

    Raises `BadInput` as `rate`.
    """
    rating = rate(spec, loop_coolant)
    return _shape_notes(spec, rating, system) if isinstance(rating, SizedRating) else rating.notes


def _shape_notes(spec: CoreSpec, rating: SizedRating, system: str) -> tuple[str, ...]:
    side1, side2 = ("coolant", "cooling air") if isinstance(spec, ExchangerSpec) else ("charge", "cooling air")
    if isinstance(spec, WaterCoreSpec):
        side2 = "coolant"
    shape = rating.shape

    def show(value: float, kind: str) -> str:
        return units.show(value, kind, system)

    notes = [
        (
            f"rated by its sizes: {show(rating.UA, 'conductance')} at {show(rating.flow1, 'mass_flow')} of {side1} "
            f"and {show(rating.flow2, 'mass_flow')} of {side2}, {show(rating.film1 * rating.UA, 'share')} of the "
            f"resistance on the {side1} side; core {show(shape.core_volume, 'volume')}, "
            f"dry {show(shape.metal_mass, 'mass')}"
        )
    ]
    if rating.correction is not None:
        several = len(rating.factors) > 1
        said = f" (its two points ask for {rating.factors[0]:.2f} and {rating.factors[-1]:.2f})" if several else ""
        notes.append(f"its conductance from sizes, times {rating.correction:.2f}, meets its bench{said}")
        low, high = CREDIBLE
        if not low <= rating.correction <= high:
            notes.append(
                "a factor that far from 1 says that sizes, fins or bench point are not those of this core: "
                f"{low:g} to {high:g} is credible, since correlations are good to 20 % and bad brazing costs more"
            )
    return tuple(notes)
