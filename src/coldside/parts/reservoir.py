"""Reservoir: specification of the tank; its nodes are solved by `plant/`."""

from __future__ import annotations

from dataclasses import dataclass

from coldside.parts.fields import given, height_field, pickup_field, surroundings_field


@dataclass(frozen=True, kw_only=True)
class ReservoirSpec:
    """`kind = "reservoir"`."""

    volume: float = given("volume", "coolant in the tank", low=2e-4, high=0.5)
    nodes: int = given("count", "mixed nodes in series: 1 is well mixed, many is plug flow", default=2, low=1, high=60)
    metal_mass: float = given("mass", "metal of the tank", default=1.0, sd_share=0.5, low=0.0, high=100.0)
    pickup: float = pickup_field("coolant", 3.0)
    surroundings: str = surroundings_field("bay")
    start_temperature: float | None = given(
        "temperature",
        "coolant in the tank at the start of a session",
        default=None,
        low=223.15,
        high=373.15,
        when_absent="as the session starts",
    )
    height: float | None = height_field("height of the coolant's surface over the car's datum")

    sides = ("coolant",)
