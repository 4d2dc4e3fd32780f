"""Every core and remote exchanger: bench points -> conductances, pressure loss, stored heat."""

from __future__ import annotations

from dataclasses import dataclass

from coldside.parts.fields import given
from coldside.parts.lines import SURROUNDINGS


@dataclass(frozen=True, kw_only=True)
class WaterCoreSpec:
    """`kind = "water_core"`: charge air to coolant, crossflow, rated by one bench point."""

    bench_charge_flow: float = given("mass_flow", "charge flow at the bench point", low=1e-3, high=5.0)
    bench_coolant_flow: float = given("volume_flow", "coolant flow at the bench point", low=1e-6, high=0.02)
    bench_charge_in: float = given("temperature", "charge temperature in, at the bench point", low=273.15, high=573.15)
    bench_coolant_in: float = given("temperature", "coolant temperature in, at the bench point", low=243.15, high=393.15)
    bench_effectiveness: float = given("share", "charge temperature drop over inlet difference, at the bench point", low=0.05, high=0.999)
    bench_charge_pressure: object = given("pressure", "charge pressure in, at the bench point", default=None, when_absent="2.0 bar absolute")
    bench_coolant: str | None = given("coolant", "coolant on the bench", default=None, when_absent="the loop's own coolant")
    bench_charge_loss: float = given("pressure_difference", "charge pressure loss at the bench point", low=0.0, high=1e5)
    bench_coolant_loss: float = given("pressure_difference", "coolant pressure loss at the bench point", low=1.0, high=5e5)
    charge_film_share: float | None = given("share", "share of the whole resistance on the charge side at the bench point", default=None, low=0.2, high=0.97, when_absent="0.80 +- 0.06 with water, 0.70 +- 0.08 with glycol mixes")
    charge_film_exponent: float = given("number", "charge film conductance grows with flow to this power", default=0.55, sd=0.04, low=0.0, high=0.9)
    coolant_film_exponent: float = given("number", "coolant film conductance grows with flow to this power", default=0.5, sd=0.1, low=0.0, high=0.9)
    charge_loss_exponent: float = given("number", "charge loss grows with flow to this power", default=1.7, sd=0.08, low=1.0, high=2.0)
    coolant_loss_exponent: float = given("number", "coolant loss grows with flow to this power near the bench flow", default=1.75, sd=0.15, low=1.0, high=2.0)
    metal_mass: float = given("mass", "dry mass of the core", low=0.05, high=200.0)
    coolant_volume: float = given("volume", "coolant held by the core", low=1e-5, high=0.05)
    pickup: float = given("conductance", "heat conductance from its surroundings to the core", default=4.0, sd_share=0.5, low=0.0, high=100.0)
    surroundings: str = given("choice", "what surrounds it", default="bay", choices=SURROUNDINGS)
    height: float | None = given("length", "height over the car's datum", default=None, low=-2.0, high=3.0, when_absent="not known")

    sides = ("charge", "coolant")


@dataclass(frozen=True, kw_only=True)
class AirCoreSpec:
    """`kind = "air_core"`: charge air to cooling air, crossflow, rated by one bench point."""

    bench_charge_flow: float = given("mass_flow", "charge flow at the bench point", low=1e-3, high=5.0)
    bench_cooling_flow: float = given("mass_flow", "cooling-air flow at the bench point", low=1e-3, high=50.0)
    bench_charge_in: float = given("temperature", "charge temperature in, at the bench point", low=273.15, high=573.15)
    bench_cooling_in: float = given("temperature", "cooling-air temperature in, at the bench point", low=233.15, high=373.15)
    bench_effectiveness: float = given("share", "charge temperature drop over inlet difference, at the bench point", low=0.05, high=0.999)
    bench_charge_pressure: object = given("pressure", "charge pressure in, at the bench point", default=None, when_absent="2.0 bar absolute")
    bench_charge_loss: float = given("pressure_difference", "charge pressure loss at the bench point", low=0.0, high=1e5)
    bench_cooling_loss: float = given("pressure_difference", "cooling-air pressure loss at the bench point", low=1.0, high=1e4)
    charge_film_share: float = given("share", "share of the whole resistance on the charge side at the bench point", default=0.36, sd=0.06, low=0.05, high=0.95)
    charge_film_exponent: float = given("number", "charge film conductance grows with flow to this power", default=0.55, sd=0.04, low=0.0, high=0.9)
    cooling_film_exponent: float = given("number", "cooling-air film conductance grows with flow to this power", default=0.55, sd=0.04, low=0.0, high=0.9)
    charge_loss_exponent: float = given("number", "charge loss grows with flow to this power", default=1.7, sd=0.08, low=1.0, high=2.0)
    cooling_loss_exponent: float = given("number", "cooling-air loss grows with flow to this power near the bench flow", default=1.6, sd=0.1, low=1.0, high=2.0)
    metal_mass: float = given("mass", "dry mass of the core", low=0.05, high=200.0)
    face_height: float = given("length", "height of its face, for natural draught", default=0.3, sd_share=0.3, low=0.02, high=2.0)
    covers: float = given("share", "share of the next part's face in that duct which stands behind it", default=1.0, low=0.05, high=1.0)
    pickup: float = given("conductance", "heat conductance from its surroundings to the core", default=3.0, sd_share=0.5, low=0.0, high=100.0)
    surroundings: str = given("choice", "what surrounds it", default="bay", choices=SURROUNDINGS)

    sides = ("charge", "cooling")


@dataclass(frozen=True, kw_only=True)
class ExchangerSpec:
    """`kind = "exchanger"`: coolant to cooling air, crossflow; or, with `heat`, a face in a duct alone."""

    bench_coolant_flow: float | None = given("volume_flow", "coolant flow at the bench point", default=None, low=1e-6, high=0.02)
    bench_cooling_flow: float = given("mass_flow", "cooling-air flow at the bench point", low=1e-3, high=50.0)
    bench_coolant_in: float | None = given("temperature", "coolant temperature in, at the bench point", default=None, low=243.15, high=393.15)
    bench_cooling_in: float | None = given("temperature", "cooling-air temperature in, at the bench point", default=None, low=233.15, high=373.15)
    bench_heat: float | None = given("power", "heat rejected at the bench point", default=None, low=1.0, high=1e6)
    bench_effectiveness: float | None = given("share", "or heat rejected over the most possible, at the bench point", default=None, low=0.02, high=0.999)
    bench_coolant: str | None = given("coolant", "coolant on the bench", default=None, when_absent="the loop's own coolant")
    bench_coolant_loss: float | None = given("pressure_difference", "coolant pressure loss at the bench point", default=None, low=1.0, high=5e5)
    bench_cooling_loss: float = given("pressure_difference", "cooling-air pressure loss at the bench point", low=1.0, high=1e4)
    cooling_film_share: float | None = given("share", "share of the whole resistance on the cooling-air side at the bench point", default=None, low=0.1, high=0.97, when_absent="0.80 +- 0.06 with water, 0.50 +- 0.08 with glycol mixes")
    coolant_film_exponent: float = given("number", "coolant film conductance grows with flow to this power", default=0.33, sd=0.15, low=0.0, high=0.9)
    cooling_film_exponent: float = given("number", "cooling-air film conductance grows with flow to this power", default=0.51, sd=0.05, low=0.0, high=0.9)
    coolant_loss_exponent: float = given("number", "coolant loss grows with flow to this power near the bench flow", default=1.75, sd=0.15, low=1.0, high=2.0)
    cooling_loss_exponent: float = given("number", "cooling-air loss grows with flow to this power near the bench flow", default=1.55, sd=0.1, low=1.0, high=2.0)
    metal_mass: float = given("mass", "dry mass", default=3.0, sd_share=0.4, low=0.05, high=200.0)
    coolant_volume: float = given("volume", "coolant held", default=1.0e-3, sd_share=0.4, low=1e-5, high=0.05)
    heat: float | None = given("power", "heat this face gives the air, for a radiator without its loop", default=None, low=0.0, high=1e6)
    face_height: float = given("length", "height of its face, for natural draught", default=0.3, sd_share=0.3, low=0.02, high=2.0)
    covers: float = given("share", "share of the next part's face in that duct which stands behind it", default=1.0, low=0.05, high=1.0)
    pickup: float = given("conductance", "heat conductance from its surroundings to the metal", default=1.0, sd_share=0.5, low=0.0, high=100.0)
    surroundings: str = given("choice", "what surrounds it", default="ambient", choices=SURROUNDINGS)
    height: float | None = given("length", "height over the car's datum", default=None, low=-2.0, high=3.0, when_absent="not known")

    sides = ("coolant", "cooling")
