"""Intake-temperature sensor: specification, lag and soak."""

from __future__ import annotations

from dataclasses import dataclass

from coldside.parts.fields import given
from coldside.parts.lines import SURROUNDINGS


@dataclass(frozen=True, kw_only=True)
class SensorSpec:
    """`kind = "sensor"`: reads the stream at the place where it stands in a path."""

    time_constant: float = given("time", "63 % response time at bench_flow", default=3.0, sd_share=0.4, low=0.05, high=60.0)
    bench_flow: float | None = given("mass_flow", "flow at which the time constant holds", default=None, low=1e-4, high=20.0, when_absent="a quarter of the engine's highest air flow; on a loop, the loop's own flow")
    soak: float = given("share", "share of the boss's temperature in the reading at bench_flow", default=0.04, sd=0.02, low=0.0, high=0.9)
    boss_time: float = given("time", "how fast the boss follows what it is screwed into", default=180.0, sd_share=0.5, low=1.0, high=7200.0)
    surroundings: str = given("choice", "what the boss takes its temperature from", default="engine", choices=SURROUNDINGS)

    sides = ()
