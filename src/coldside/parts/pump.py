"""Coolant pump: specification, head against flow and speed, electrical power, control."""

from __future__ import annotations

from dataclasses import dataclass

from coldside.parts.fields import given

GENERIC_CURVE = ((0.0, 8.0), (15.0 / 60000.0, 6.0), (30.0 / 60000.0, 0.0))  # invented, 12 V pump of 30 L/min


@dataclass(frozen=True)
class Control:
    """How a pump or fan is commanded: `mode` is always, schedule, off, or above.

    With `above`, on when the temperature of `of` ("charge": the intake sensor, or the plenum gas
    where no sensor is fitted; "coolant": the part's own loop, or for a fan the hottest loop in its
    duct) exceeds `threshold` [K], off again `hysteresis` [K] below it.
    """

    mode: str
    threshold: float = 0.0
    hysteresis: float = 0.0
    of: str = ""


@dataclass(frozen=True, kw_only=True)
class PumpSpec:
    """`kind = "pump"`."""

    curve: tuple[tuple[float, float], ...] | None = given(
        "curve", "head against flow at curve_voltage", default=None, curve=("volume_flow", "head"), shape="falls",
        when_absent="a generic 12 V pump of 30 L/min and 8 m, +- 30 %")
    curve_voltage: float = given("voltage", "supply at which the curve was taken", default=13.5, sd=0.3, low=3.0, high=60.0)
    voltage: float = given("voltage", "supply at the pump as fitted", default=13.5, sd=0.4, low=3.0, high=60.0)
    control: Control = given("control", 'always, schedule, off, or "above 40 degC charge, 4 K hysteresis"', default=Control("always"))
    efficiency: float = given("share", "hydraulic power over electrical power", default=0.25, sd=0.07, low=0.02, high=0.9)
    coolant_volume: float = given("volume", "coolant held", default=1.5e-4, sd_share=0.3, low=1e-5, high=0.01)
    height: float | None = given("length", "height of its inlet over the car's datum", default=None, low=-2.0, high=3.0, when_absent="not known")

    sides = ("coolant",)
