"""Ducts and fans: specification, ram pressure, resistance, fan curve.

What is here: each pressure of a cooling-air stream by itself.  What is not: the flow at which they
balance (`plant/`) and the cores' own loss (`lines.bench_loss` with a core's bench point).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from coldside.errors import require
from coldside.parts.curves import FallingCurve
from coldside.parts.fields import given
from coldside.parts.pump import GRAVITY, Control

FAN_CURVE_DENSITY = 1.2  # kg/m3, standard air of fan curves (ISO 5801, from memory)
CREEP = 0.005  # m/s added to |V| in V|V|: keeps the slope of an opening's loss above zero at rest

PLACES = ("nose", "side", "rear", "roof")


@dataclass(frozen=True, kw_only=True)
class DuctSpec:
    """`[ducts.NAME]` beside its `path`."""

    place: str = given("choice", "where its inlet stands: decides dyno air and still air", choices=PLACES)
    inlet_area: float = given("area", "smallest area of the inlet", low=1e-4, high=2.0)
    recovery: float = given(
        "share",
        "inlet pressure recovery: share of the road's dynamic pressure that reaches the core, exit suction included",
        default=0.6,
        sd=0.15,
        low=0.0,
        high=1.3,
    )
    inlet_loss: float = given(
        "number", "loss coefficient of the inlet on its own velocity head", default=0.3, sd=0.15, low=0.0, high=10.0
    )
    exit_area: float | None = given(
        "area", "smallest area of the exit", default=None, low=1e-4, high=5.0, when_absent="no loss at the exit"
    )
    exit_loss: float = given(
        "number", "loss coefficient of the exit on its own velocity head", default=1.0, sd=0.2, low=0.0, high=10.0
    )


@dataclass(frozen=True, kw_only=True)
class FanSpec:
    """`kind = "fan"` in a duct's path."""

    curve: tuple[tuple[float, float], ...] = given(
        "curve",
        "static pressure rise against air flow at full speed",
        curve=("volume_flow", "pressure_difference"),
        shape="falls",
    )
    control: Control = given(
        "control", 'always, schedule, off, or "above 45 degC coolant, 5 K hysteresis"', default=Control("always")
    )
    off_loss: float | None = given(
        "pressure_difference",
        "loss of the stopped fan at the curve's largest flow",
        default=None,
        low=0.0,
        high=1e4,
        when_absent="a third of the curve's shut-off pressure",
    )

    sides = ("cooling",)


def ram_pressure(spec: DuctSpec, air_speed: np.ndarray | float, density: np.ndarray | float) -> np.ndarray:
    """Pressure that drives the duct [Pa]: recovery * rho V^2/2, `air_speed` [m/s] arriving at its inlet.

    Odd in `air_speed`, so that wind from behind drives backwards.
    """
    V = np.asarray(air_speed, dtype=float)
    return spec.recovery * density * V * np.abs(V) / 2


def opening_loss(spec: DuctSpec, Q: np.ndarray | float, density: np.ndarray | float) -> tuple[np.ndarray, np.ndarray]:
    """Loss of inlet and exit together [Pa] and its derivative by flow [Pa s/m3]; odd in `Q` [m3/s].

    K rho V|V|/2 on each opening's own velocity.  `CREEP` keeps the slope above zero at rest (it
    adds 0.05 % at 10 m/s).  No exit area given: no loss at the exit.
    """
    require("density", density, low=0.0, open_low=True)
    Q = np.asarray(Q, dtype=float)
    loss, slope = np.zeros_like(Q), np.zeros_like(Q)
    for area, K in ((spec.inlet_area, spec.inlet_loss), (spec.exit_area, spec.exit_loss)):
        if area is not None:
            V = Q / area
            loss = loss + K * density * V * (np.abs(V) + CREEP) / 2
            slope = slope + K * density * (np.abs(V) + CREEP / 2) / area
    return loss, slope


@lru_cache(maxsize=256)
def _fan_curve(points: tuple[tuple[float, float], ...], off_loss: float | None) -> FallingCurve:
    shut_off, largest = points[0][1], points[-1][0]
    return FallingCurve.through(points, (shut_off / 3 if off_loss is None else off_loss) / max(largest, 1e-9) ** 2)


def fan_curve(spec: FanSpec) -> FallingCurve:
    """Static pressure rise [Pa, in air of 1.2 kg/m3] against flow [m3/s] at full speed; raises `BadInput`."""
    return _fan_curve(tuple(tuple(point) for point in spec.curve), spec.off_loss)


def fan_rise(
    spec: FanSpec, Q: np.ndarray | float, command: np.ndarray | float, density: np.ndarray | float
) -> tuple[np.ndarray, np.ndarray]:
    """Pressure a fan adds [Pa] and its derivative by flow [Pa s/m3], strictly falling in `Q` [m3/s].

    `command` is the share of full speed, 0 to 1; fan laws (flow with speed, pressure with its square
    and with density over 1.2 kg/m3, textbook).  Beyond free delivery the fan restricts; stopped it is
    the resistance of `off_loss`; air driven backwards through it is safe for a solver.
    """
    require("fan command", command, low=0.0, high=1.0)
    require("density", density, low=0.0, open_low=True)
    rise, slope = fan_curve(spec).at(Q, command)
    share = np.asarray(density, dtype=float) / FAN_CURVE_DENSITY
    return share * rise, share * slope


def draught(height: float, density_outside: np.ndarray | float, density_inside: np.ndarray | float) -> np.ndarray:
    """Natural draught [Pa] of warm air in a core of `height` [m]: (rho_outside - rho_inside) g height."""
    return (np.asarray(density_outside, dtype=float) - density_inside) * (GRAVITY * height)
