"""Coolant pump: specification, head against flow and speed, power, supply, suction, faults, control.

What is here: the pressure a pump adds at any flow, speed and direction, what it draws, the voltage left
at it, and what low suction pressure does to it.  What is not: when it runs (`plant/` steps the control),
the flow of a loop and the pressure at its inlet (`plant/`).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from coldside.errors import require
from coldside.parts.curves import FallingCurve
from coldside.parts.fields import given, height_field
from coldside.parts.wiring import INRUSH, voltage_left, wire_resistance

GRAVITY = 9.80665  # m/s2, standard

ENGINE_STEPS = 16  # steps in which the speed of an engine-driven pump follows the engine, from rest to top speed
LEAST_KEPT = 1e-3  # share of its head that a pump without suction keeps at least: solvers need a slope
SEVERE, FULL = 0.6, 1.0  # NPSH available over required at which a pump has lost all, and none, of its head (tune)

GENERIC_CURVE = ((0.0, 8.0), (15.0 / 60000.0, 6.0), (30.0 / 60000.0, 0.0))  # invented, 12 V pump of 30 L/min
POWERS = (1.0, 6.0)  # of flow by which heads of pumps fall: three points that ask for another are joined by a cubic


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
    supply_voltage: float = given(
        "voltage",
        "voltage at the battery, engine running; with wire_length it gives the voltage at the pump",
        default=13.8,
        sd=0.3,
        low=3.0,
        high=60.0,
    )
    wire_length: float | None = given(
        "length",
        "length of wire from battery to pump and back again, both ways added",
        default=None,
        low=0.05,
        high=60.0,
        when_absent="voltage says what is left at the pump",
    )
    wire_gauge: float = given("wire", "cross-section of that wire's copper, or its gauge", default=2.5e-6, sd_share=0.3)
    current: float | None = given(
        "current",
        "current it draws, running at curve_voltage",
        default=None,
        low=0.05,
        high=300.0,
        when_absent="its largest hydraulic power over efficiency and voltage",
    )
    inrush: float = given(
        "number", "current at the start over running current", default=INRUSH, sd_share=0.3, low=1.0, high=20.0
    )
    drive: str = given("choice", "what turns it", default="electric", choices=("electric", "engine"))
    drive_top: float | None = given(
        "engine_speed",
        "engine speed at which its curve holds (drive = engine)",
        default=None,
        low=5.0,
        high=400.0,
        when_absent="the engine's top speed",
    )
    fault: str = given(
        "choice",
        "a fault to try out: dead stands still, airlock turns without moving coolant",
        default="none",
        choices=("none", "dead", "airlock"),
    )
    npsh_required: float | None = given(
        "head",
        "net positive suction head it needs (3 % of its head lost), at the largest flow of its curve",
        default=None,
        low=0.05,
        high=20.0,
        when_absent="not known: no loss of head from low suction pressure",
    )
    control: Control = given(
        "control",
        'always (parked too), schedule, off, or "above 40 degC charge, 4 K hysteresis"',
        default=Control("always"),
    )
    efficiency: float = given(
        "share", "hydraulic power over electrical power", default=0.25, sd=0.07, low=0.02, high=0.9
    )
    coolant_volume: float = given("volume", "coolant held", default=1.5e-4, sd_share=0.3, low=1e-5, high=0.01)
    height: float | None = height_field("height of its inlet over the car's datum")

    sides = ("coolant",)


@lru_cache(maxsize=256)
def _head_curve(points: tuple[tuple[float, float], ...]) -> FallingCurve:
    return FallingCurve.through(_between_three(points))


def _between_three(points: tuple[tuple[float, float], ...]) -> tuple[tuple[float, float], ...]:
    """Three points from shut-off on with the power law H0 - r Q^n through them filled in; others as they are."""
    if len(points) != 3 or points[0][0] != 0.0:
        return points
    (_, H0), (Q1, H1), (Q2, H2) = points
    if not (0.0 < Q1 < Q2 and H0 > H1 > H2):
        return points  # level or rising: `FallingCurve` bends or refuses it
    n = np.log((H0 - H2) / (H0 - H1)) / np.log(Q2 / Q1)
    if not POWERS[0] <= n <= POWERS[1]:
        return points
    flow = np.concatenate([Q1 * np.linspace(0.0, 1.0, 17) ** 1.5, np.linspace(Q1, Q2, 17)[1:]])
    heads = H0 - (H0 - H2) * (flow / Q2) ** n
    return tuple(zip(flow.tolist(), heads.tolist(), strict=True))


def head_curve(spec: PumpSpec) -> FallingCurve:
    """Head [m] against flow [m3/s] at `curve_voltage`; the generic curve when the spec has none.

    Three points, the first at shut-off, are joined by H0 - r Q^n (the form of the EPANET 2.2 User Manual, ch. 12),
    more of them by a monotone cubic.  Raises `BadInput` when the curve rises.  A stopped pump's resistance is
    twice H0/Qmax^2 (from memory: 1 to 3 times that).
    """
    return _head_curve(GENERIC_CURVE if spec.curve is None else tuple(tuple(point) for point in spec.curve))


def voltage_at(spec: PumpSpec) -> float:
    """Voltage at an electric pump, running [V].

    `voltage` where no wire is described; else `supply_voltage` less what `current` loses in the wire.
    """
    if spec.wire_length is None:
        return spec.voltage
    return voltage_left(spec.supply_voltage, running_current(spec), wire_resistance(spec.wire_length, spec.wire_gauge))


def running_current(spec: PumpSpec) -> float:
    """Current that an electric pump draws at its curve's voltage [A]; 0 of one that the engine drives.

    As given; else the largest rho g Q H along its curve (water) over `efficiency` and `curve_voltage`.
    """
    if spec.drive == "engine":
        return 0.0
    if spec.current is not None:
        return spec.current
    flow = np.linspace(0.0, head_curve(spec).largest_flow, 101)
    hydraulic = 1000.0 * GRAVITY * flow * head_curve(spec).at(flow)[0]
    return float(hydraulic.max()) / (spec.efficiency * spec.curve_voltage)


def speed_of(spec: PumpSpec, command: np.ndarray | float) -> np.ndarray:
    """Share of the speed at which the curve was taken, for a command from 0 to 1.

    Electric: w = command * voltage / curve_voltage with `voltage_at` (speed in proportion to voltage; a
    brushed motor differs by a few per cent at the flow end, from memory).  Engine-driven: the command is
    that share itself, from `engine_command`, and may pass 1.  With a fault: 0.
    """
    require("command", command, low=0.0, high=1.0 if spec.drive == "electric" else None)
    share = np.asarray(command, dtype=float)
    if spec.fault != "none":
        return np.zeros_like(share)
    return share if spec.drive == "engine" else share * (voltage_at(spec) / spec.curve_voltage)


def engine_command(spec: PumpSpec, engine_speed: np.ndarray | float, top_speed: float) -> np.ndarray:
    """Command of an engine-driven pump: `engine_speed` [rev/s] over `drive_top`.

    In steps of 1/16 of `top_speed` [rev/s], the engine's highest, so that a session needs few tables of flows;
    a turning engine turns its pump by one step at least.
    """
    n = np.asarray(engine_speed, dtype=float)
    steps = np.where(n > 0.0, np.maximum(np.round(n / top_speed * ENGINE_STEPS), 1.0), 0.0)
    return steps / ENGINE_STEPS * (top_speed / (spec.drive_top or top_speed))


def suction_share(spec: PumpSpec, available: np.ndarray | float, speed: np.ndarray | float) -> np.ndarray:
    """Share of its head that a pump keeps when `available` [m] is its net positive suction head.

    clip((available/required - 0.6)/0.4, 0, 1)^0.5 (a guess of ours, tune); required grows with the
    square of `speed` (affinity).  1 where `npsh_required` is not given.
    """
    if spec.npsh_required is None:
        return np.ones(np.broadcast(available, speed).shape)
    required = np.maximum(spec.npsh_required * np.asarray(speed, dtype=float) ** 2, 1e-3)
    return np.sqrt(np.clip((np.asarray(available, dtype=float) / required - SEVERE) / (FULL - SEVERE), 0.0, 1.0))


def pressure_rise(
    spec: PumpSpec,
    Q: np.ndarray | float,
    speed: np.ndarray | float,
    density: np.ndarray | float,
    kept: np.ndarray | float = 1.0,
) -> tuple[np.ndarray, np.ndarray]:
    """Pressure a pump adds [Pa] and its derivative by flow [Pa s/m3], strictly falling in `Q`.

    `Q` [m3/s] of any sign, `speed` the share from `speed_of` (0: stopped, a resistance), `density`
    [kg/m3], `kept` the share of its head left by cavitation (`suction_share`; it works on what the pump
    lifts, not on what it resists).  Affinity H(Q, w) = w^2 H(Q/w) (textbook; EPANET 2.2 User Manual ch. 12); beyond the
    points see `FallingCurve`.  Viscosity is not corrected for: below 10 mm2/s it hardly matters.
    Raises `BadInput` for a negative speed or density.
    """
    require("pump speed", speed, low=0.0)
    require("density", density, low=0.0, open_low=True)
    head, slope = head_curve(spec).at(Q, speed)
    if not np.all(np.asarray(kept) == 1.0):
        left = np.where(head > 0.0, np.maximum(kept, LEAST_KEPT), 1.0)
        head, slope = left * head, left * slope
    weight = np.asarray(density, dtype=float) * GRAVITY
    return weight * head, weight * slope


def electrical_power(spec: PumpSpec, Q: np.ndarray | float, rise: np.ndarray | float) -> np.ndarray:
    """Electrical power drawn [W] at flow `Q` [m3/s] and pressure rise `rise` [Pa].

    Hydraulic power over `efficiency`, which is held at all points; 0 where the pump is driven by
    the flow (product below 0) or deadheaded.  All of it ends as heat in the coolant or the air.
    """
    return np.maximum(np.asarray(Q, dtype=float) * rise, 0.0) / spec.efficiency
