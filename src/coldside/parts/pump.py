"""Coolant pump: specification, head against flow and speed, electrical power, control.

What is here: the pressure a pump adds at any flow, speed and direction, and what it draws.  What is
not: when it runs (`plant/` steps the control) and the flow of a loop (`plant/`).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from coldside.errors import require
from coldside.parts.curves import FallingCurve
from coldside.parts.fields import given, height_field

GRAVITY = 9.80665  # m/s2, standard

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
        "curve",
        "head against flow at curve_voltage",
        default=None,
        curve=("volume_flow", "head"),
        shape="falls",
        when_absent="a generic 12 V pump of 30 L/min and 8 m, +- 30 %",
    )
    curve_voltage: float = given(
        "voltage", "supply at which the curve was taken", default=13.5, sd=0.3, low=3.0, high=60.0
    )
    voltage: float = given("voltage", "supply at the pump as fitted", default=13.5, sd=0.4, low=3.0, high=60.0)
    control: Control = given(
        "control", 'always, schedule, off, or "above 40 degC charge, 4 K hysteresis"', default=Control("always")
    )
    efficiency: float = given(
        "share", "hydraulic power over electrical power", default=0.25, sd=0.07, low=0.02, high=0.9
    )
    coolant_volume: float = given("volume", "coolant held", default=1.5e-4, sd_share=0.3, low=1e-5, high=0.01)
    height: float | None = height_field("height of its inlet over the car's datum")

    sides = ("coolant",)


@lru_cache(maxsize=256)
def _head_curve(points: tuple[tuple[float, float], ...]) -> FallingCurve:
    return FallingCurve.through(points)


def head_curve(spec: PumpSpec) -> FallingCurve:
    """Head [m] against flow [m3/s] at `curve_voltage`; the generic curve when the spec has none.

    Raises `BadInput` when the curve rises.  A stopped pump's resistance is twice H0/Qmax^2 (from
    memory: 1 to 3 times that).
    """
    return _head_curve(GENERIC_CURVE if spec.curve is None else tuple(tuple(point) for point in spec.curve))


def speed_of(spec: PumpSpec, command: np.ndarray | float) -> np.ndarray:
    """Share of the speed at which the curve was taken, for a command from 0 to 1.

    w = command * voltage / curve_voltage (speed in proportion to voltage; a brushed motor differs
    by a few per cent at the flow end, from memory).
    """
    require("command", command, low=0.0, high=1.0)
    return np.asarray(command, dtype=float) * (spec.voltage / spec.curve_voltage)


def pressure_rise(
    spec: PumpSpec, Q: np.ndarray | float, speed: np.ndarray | float, density: np.ndarray | float
) -> tuple[np.ndarray, np.ndarray]:
    """Pressure a pump adds [Pa] and its derivative by flow [Pa s/m3], strictly falling in `Q`.

    `Q` [m3/s] of any sign, `speed` the share from `speed_of` (0: stopped, a resistance), `density`
    [kg/m3].  Affinity H(Q, w) = w^2 H(Q/w) (textbook; EPANET 2.2 User Manual ch. 12); beyond the
    points see `FallingCurve`.  Viscosity is not corrected for: below 10 mm2/s it hardly matters.
    Raises `BadInput` for a negative speed or density.
    """
    require("pump speed", speed, low=0.0)
    require("density", density, low=0.0, open_low=True)
    head, slope = head_curve(spec).at(Q, speed)
    weight = np.asarray(density, dtype=float) * GRAVITY
    return weight * head, weight * slope


def electrical_power(spec: PumpSpec, Q: np.ndarray | float, rise: np.ndarray | float) -> np.ndarray:
    """Electrical power drawn [W] at flow `Q` [m3/s] and pressure rise `rise` [Pa].

    Hydraulic power over `efficiency`, which is held at all points; 0 where the pump is driven by
    the flow (product below 0) or deadheaded.  All of it ends as heat in the coolant or the air.
    """
    return np.maximum(np.asarray(Q, dtype=float) * rise, 0.0) / spec.efficiency
