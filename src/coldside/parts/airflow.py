"""Ducts and fans: specification, ram pressure, resistance, fan curve."""

from __future__ import annotations

from dataclasses import dataclass

from coldside.parts.fields import given
from coldside.parts.pump import Control

PLACES = ("nose", "side", "rear", "roof")


@dataclass(frozen=True, kw_only=True)
class DuctSpec:
    """`[ducts.NAME]` beside its `path`."""

    place: str = given("choice", "where its inlet stands: decides dyno air and still air", choices=PLACES)
    inlet_area: float = given("area", "smallest area of the inlet", low=1e-4, high=2.0)
    recovery: float = given("share", "inlet pressure recovery: share of the road's dynamic pressure that reaches the core, exit suction included", default=0.6, sd=0.15, low=0.0, high=1.3)
    inlet_loss: float = given("number", "loss coefficient of the inlet on its own velocity head", default=0.3, sd=0.15, low=0.0, high=10.0)
    exit_area: float | None = given("area", "smallest area of the exit", default=None, low=1e-4, high=5.0, when_absent="no loss at the exit")
    exit_loss: float = given("number", "loss coefficient of the exit on its own velocity head", default=1.0, sd=0.2, low=0.0, high=10.0)


@dataclass(frozen=True, kw_only=True)
class FanSpec:
    """`kind = "fan"` in a duct's path."""

    curve: tuple[tuple[float, float], ...] = given("curve", "static pressure rise against air flow at full speed", curve=("volume_flow", "pressure_difference"), shape="falls")
    control: Control = given("control", 'always, schedule, off, or "above 45 degC coolant, 5 K hysteresis"', default=Control("always"))
    off_loss: float | None = given("pressure_difference", "loss of the stopped fan at the curve's largest flow", default=None, low=0.0, high=1e4, when_absent="a third of the curve's shut-off pressure")

    sides = ("cooling",)
