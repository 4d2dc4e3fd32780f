"""Compressors: specification, maps, outlet state (variable cp), margins."""

from __future__ import annotations

from dataclasses import dataclass

from coldside.parts.fields import given
from coldside.parts.engine import RPM


@dataclass(frozen=True, kw_only=True)
class CompressorSpec:
    """`kind = "compressor"`: give a map file, or a design point for the generic family, or an efficiency."""

    map: str | None = given("file", "map as CSV with its reference conditions on top", default=None)
    design_flow: float | None = given("mass_flow", "corrected flow of one compressor at its design point (generic family)", default=None, low=0.005, high=5.0)
    design_pressure_ratio: float | None = given("number", "pressure ratio at the design point (generic family)", default=None, low=1.2, high=6.0)
    design_speed: float | None = given("engine_speed", "shaft speed at the design point (generic family)", default=None, low=5000 * RPM, high=400000 * RPM, when_absent="shaft speed shown as a share of design speed")
    peak_efficiency: float = given("share", "best efficiency of the generic family", default=0.76, sd=0.02, low=0.4, high=0.9)
    efficiency: float | None = given("share", "constant isentropic efficiency, total to total, instead of a map", default=None, low=0.3, high=0.95)
    speed_limit: float | None = given("engine_speed", "highest allowed shaft speed", default=None, low=5000 * RPM, high=400000 * RPM, when_absent="the map's highest speed")
    count: int = given("count", "identical compressors in parallel", default=1, low=1, high=4)

    sides = ("charge",)
