"""Lines: filter, charge pipe, coolant hose, throttle, plenum, valve. Specification, loss and heat."""

from __future__ import annotations

from dataclasses import dataclass

from coldside.parts.fields import given

SURROUNDINGS = ("bay", "engine", "ambient")


@dataclass(frozen=True, kw_only=True)
class FilterSpec:
    """`kind = "filter"`: what lies before the compressor."""

    loss: float = given("pressure_difference", "loss at bench_flow, clean", default=2000.0, sd_share=0.4, low=0.0, high=3e4)
    bench_flow: float | None = given("mass_flow", "air flow at which the loss holds", default=None, low=1e-3, high=5.0, when_absent="the engine's own highest air flow")
    bay_share: float = given("share", "share of the bay's rise over ambient that reaches the air drawn in", default=0.10, sd=0.05, low=0.0, high=1.0)

    sides = ("charge",)


@dataclass(frozen=True, kw_only=True)
class PipeSpec:
    """`kind = "pipe"`: charge pipe with its metal."""

    length: float = given("length", "length along the centre line", low=0.01, high=20.0)
    bore: float = given("length", "inside diameter", low=0.01, high=0.3)
    wall: float = given("length", "wall thickness", default=1.6e-3, sd_share=0.2, low=2e-4, high=2e-2)
    metal_mass: float | None = given("mass", "mass of metal", default=None, low=0.0, high=100.0, when_absent="aluminium tube of that length, bore and wall")
    losses: float = given("number", "sum of loss coefficients of bends, couplers, reducers on the pipe's own velocity head", default=0.6, sd_share=0.3, low=0.0, high=50.0)
    pickup: float | None = given("conductance", "heat conductance from its surroundings to the pipe", default=None, low=0.0, high=100.0, when_absent="10 W/K per m2 of outside surface, +- 50 %")
    surroundings: str = given("choice", "what surrounds it", default="bay", choices=SURROUNDINGS)

    sides = ("charge",)


@dataclass(frozen=True, kw_only=True)
class HoseSpec:
    """`kind = "hose"`: coolant hose or hard line."""

    length: float = given("length", "length along the centre line", low=0.01, high=50.0)
    bore: float = given("length", "inside diameter of the smallest long stretch", low=2e-3, high=0.1)
    wall: float = given("length", "wall thickness", default=4.5e-3, sd_share=0.2, low=2e-4, high=2e-2)
    losses: float = given("number", "sum of loss coefficients of bends, barbs, couplings on the hose's own velocity head", default=2.0, sd_share=0.4, low=0.0, high=200.0)
    pickup: float | None = given("conductance", "heat conductance from its surroundings to the coolant", default=None, low=0.0, high=100.0, when_absent="rubber wall 0.25 W/(m K), 12 W/(m2 K) outside, +- 50 %")
    surroundings: str = given("choice", "what surrounds it", default="bay", choices=SURROUNDINGS)
    height: float | None = given("length", "height of its middle over the car's datum", default=None, low=-2.0, high=3.0, when_absent="not known: no check of trapped air")
    high_point: float | None = given("length", "highest point over the car's datum", default=None, low=-2.0, high=3.0, when_absent="its height")

    sides = ("coolant",)


@dataclass(frozen=True, kw_only=True)
class ThrottleSpec:
    """`kind = "throttle"`: loss wide open; part load is what the plenum target leaves."""

    loss: float = given("pressure_difference", "loss wide open at bench_flow", default=1500.0, sd_share=0.4, low=0.0, high=3e4)
    bench_flow: float | None = given("mass_flow", "air flow at which the loss holds", default=None, low=1e-3, high=5.0, when_absent="the engine's own highest air flow")

    sides = ("charge",)


@dataclass(frozen=True, kw_only=True)
class PlenumSpec:
    """`kind = "plenum"`: inlet manifold with its metal."""

    metal_mass: float = given("mass", "metal that the charge wets", default=4.0, sd_share=0.4, low=0.1, high=100.0)
    bench_flow: float | None = given("mass_flow", "charge flow at which charge_conductance holds", default=None, low=1e-3, high=5.0, when_absent="the engine's own highest air flow")
    charge_conductance: float = given("conductance", "heat conductance from charge to plenum metal at bench_flow", default=25.0, sd_share=0.4, low=0.0, high=500.0)
    pickup: float = given("conductance", "heat conductance from its surroundings to the plenum metal", default=5.0, sd_share=0.5, low=0.0, high=100.0)
    surroundings: str = given("choice", "what it takes heat from", default="engine", choices=SURROUNDINGS)

    sides = ("charge",)


@dataclass(frozen=True, kw_only=True)
class ValveSpec:
    """`kind = "valve"`: coolant valve, restrictor or check valve."""

    bore: float = given("length", "inside diameter", low=2e-3, high=0.1)
    losses: float = given("number", "loss coefficient on the velocity head in its bore", default=0.1, sd_share=0.5, low=0.0, high=1000.0)
    check: bool = given("flag", "true if it lets coolant through one way only", default=False)
    height: float | None = given("length", "height over the car's datum", default=None, low=-2.0, high=3.0, when_absent="not known")

    sides = ("coolant",)
