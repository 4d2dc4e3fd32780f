"""Ducts and fans: specification, ram pressure, resistance, leak, open cores, recirculation, fan curve.

What is here: each pressure of a cooling-air stream by itself, and the share of hot air that comes
back to an inlet.  What is not: the flow at which they balance (`plant/`) and the cores' own loss.
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
FAN_EFFICIENCY = 0.25  # air power over electrical power of a 12 V axial fan, motor included (common practice)
SUPPLY = 13.5  # V, engine running
CREEP = 0.005  # m/s added to |V| in V|V|: keeps the slope of an opening's loss above zero at rest

PLACES = ("nose", "side", "rear", "roof")
INLETS = ("nose", "scoop", "flush", "open")
# share of the road's dynamic pressure that drives the air through, and one standard deviation (loop notes
# d1, d2, from memory: middles of what is said of grilles, of scoops outside the layer, of flush inlets on cars)
RECOVERY = {"nose": (0.60, 0.15), "scoop": (0.70, 0.15), "flush": (0.45, 0.12), "open": (1.00, 0.20)}
LEAK_DISCHARGE = 0.65  # of a leak's area, sharp-edged gap (loop notes d5, textbook)
# share of the leaving air's rise that comes back at a standstill, and one standard deviation: loop notes d5
# give 0.1 to 0.4 where inlet and exit are not sealed from each other, about 0.05 where they are (from memory)
RECIRCULATION = {"sealed": (0.05, 0.03), "nose": (0.20, 0.10), "elsewhere": (0.10, 0.06)}
CARRIED_OFF = 4.0  # m/s of air at which 1/e of it is left: as fast as fans push air through faces (own)


@dataclass(frozen=True, kw_only=True)
class DuctSpec:
    """`[ducts.NAME]` beside its `path`."""

    place: str = given("choice", "where its inlet stands: decides dyno air and still air", choices=PLACES)
    inlet: str = given(
        "choice",
        "what its inlet is: nose (an opening that faces the air), scoop (stands clear of the body's skin), "
        "flush (set into the skin), open (no duct: the faces stand bare in the stream)",
        default="nose",
        choices=INLETS,
    )
    inlet_area: float | None = given(
        "area",
        "smallest area of the inlet",
        default=None,
        low=1e-4,
        high=2.0,
        when_absent="must be given unless inlet is open",
    )
    face_area: float | None = given(
        "area",
        "area of the face that stands in the stream, where inlet is open",
        default=None,
        low=1e-3,
        high=2.0,
        when_absent="must be given if inlet is open",
    )
    recovery: float | None = given(
        "share",
        "inlet pressure recovery: share of the road's dynamic pressure that reaches the core, exit suction included",
        default=None,
        low=0.0,
        high=1.3,
        when_absent="by inlet: nose 60 % +- 15 %, scoop 70 % +- 15 %, flush 45 % +- 12 %, open 100 % +- 20 %",
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
    leak_area: float | None = given(
        "area",
        "area of the gaps through which air passes beside the faces, ahead of a fan behind them; zero if sealed",
        default=None,
        low=0.0,
        high=0.5,
        when_absent="no leak is reckoned with",
    )
    recirculation: float | None = given(
        "share",
        "share of the leaving air's rise that comes back to the inlet at a standstill; falls as the car moves",
        default=None,
        low=0.0,
        high=0.8,
        when_absent="5 % +- 3 % if sealed (leak_area 0), else 20 % +- 10 % at the nose, 10 % +- 6 % elsewhere",
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
        "control",
        'always (parked too), schedule, off, or "above 45 degC coolant, 5 K hysteresis"',
        default=Control("always"),
    )
    off_loss: float | None = given(
        "pressure_difference",
        "loss of the stopped fan at the curve's largest flow",
        default=None,
        low=0.0,
        high=1e4,
        when_absent="a third of the curve's shut-off pressure",
    )
    current: float | None = given(
        "current",
        "current it draws at full speed and 13.5 V",
        default=None,
        low=0.05,
        high=300.0,
        when_absent="its largest air power over an efficiency of 25 % and 13.5 V, +- 30 %",
    )

    sides = ("cooling",)


def recovery_of(spec: DuctSpec) -> float:
    """Share of the road's dynamic pressure that drives the duct: as given, else by its inlet (`RECOVERY`)."""
    return RECOVERY[spec.inlet][0] if spec.recovery is None else spec.recovery


def recirculation(spec: DuctSpec, air_speed: np.ndarray | float) -> np.ndarray:
    """Share r of the leaving air's rise that comes back to the inlet, 0 to 0.8.

    T_in = T_ambient + r (T_leaving - T_ambient) (loop notes d5).  At rest the key `recirculation`,
    or a default by place and sealing (`RECIRCULATION`); it fades with `air_speed` [m/s, any sign] as
    exp(-(V/4 m/s)^2), which is our own: half of it is left at 12 km/h, a hundredth at 30 km/h.
    """
    at_rest = spec.recirculation
    if at_rest is None:
        sort = "sealed" if spec.leak_area == 0.0 else "nose" if spec.place == "nose" else "elsewhere"
        at_rest = RECIRCULATION[sort][0]
    return np.asarray(at_rest * np.exp(-((np.asarray(air_speed, dtype=float) / CARRIED_OFF) ** 2)))


def doubts(spec: DuctSpec) -> list[str]:
    """What a duct's keys leave in doubt, a sentence each, for the user to look at."""
    said = []
    if spec.inlet == "flush" and spec.recovery is None:
        said.append(
            "a flush inlet takes in the slow air that clings to the body, so its recovery is 30 to 60 % on a car"
            " unless measured; a curved ramp of 5 to 7 deg, three to five times as wide as deep, does best;"
            " before a face much larger than itself an inlet that faces the air may do better"
        )
    if spec.inlet == "open" and spec.recovery is None:
        said.append(
            "a bare face is taken to stand in the undisturbed stream; behind other parts or under the car less air"
            " arrives: then give recovery, the share of the road's dynamic pressure there"
        )
    if spec.leak_area is not None and spec.inlet_area is not None and spec.leak_area > spec.inlet_area:
        said.append("the gaps beside its faces are larger than its inlet: most of the air takes them")
    return said


def ram_pressure(spec: DuctSpec, air_speed: np.ndarray | float, density: np.ndarray | float) -> np.ndarray:
    """Pressure that drives the duct [Pa]: recovery * rho V^2/2, `air_speed` [m/s] arriving at its inlet.

    Odd in `air_speed`, so that wind from behind drives backwards.
    """
    V = np.asarray(air_speed, dtype=float)
    return recovery_of(spec) * density * V * np.abs(V) / 2


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


def leak_loss(spec: DuctSpec, Q: np.ndarray | float, density: np.ndarray | float) -> tuple[np.ndarray, np.ndarray]:
    """Loss [Pa] of air through the gaps beside the faces and its derivative by flow [Pa s/m3]; odd in `Q` [m3/s].

    rho V|V|/2 with V = Q/(0.65 leak_area) (loop notes d5; discharge of a sharp-edged gap, textbook), and
    `CREEP` as at an opening.  Raises `BadInput` without a leak.
    """
    require("leak area", spec.leak_area or 0.0, low=0.0, open_low=True)
    require("density", density, low=0.0, open_low=True)
    area = LEAK_DISCHARGE * (spec.leak_area or 0.0)
    V = np.asarray(Q, dtype=float) / area
    return density * V * (np.abs(V) + CREEP) / 2, density * (np.abs(V) + CREEP / 2) / area


def porous_pressure(V: np.ndarray | float, u: np.ndarray | float, density: np.ndarray | float) -> np.ndarray:
    """Pressure across a porous sheet in an open stream [Pa]: 2 rho u (V - u) (Taylor1944, from memory).

    `V` [m/s] far ahead, `u` through the sheet; negative where a fan draws more than the stream brings.
    On a sheet that loses K rho u^2/2 it gives u/V = 1/(1 + K/4).  Meant for open sheets: see `stream_pressure`.
    """
    u = np.asarray(u, dtype=float)
    return 2.0 * density * u * (np.asarray(V, dtype=float) - u)


def stream_pressure(
    spec: DuctSpec, Q: np.ndarray | float, air_speed: np.ndarray | float, density: np.ndarray | float
) -> tuple[np.ndarray, np.ndarray]:
    """Pressure [Pa] that a stream keeps across a bare face at flow `Q` [m3/s], and its derivative by flow.

    `porous_pressure` of `air_speed` [m/s] times the root of the recovery while more than half of the
    stream passes the face (up to K = 4, or with a fan).  There it has reached rho V^2/2; for denser
    faces it would fall again, to nothing on a solid one, where a plate square to the stream is known to
    bear 1.1 to 1.2 times rho V^2/2 (handbooks, from memory).  So it is held at rho V^2/2 there (own):
    u/V = K^-1/2 for K above 4, against a fifth less at K = 15 by Taylor's form alone.  Falls strictly
    with `Q`, so that its balance with a rising loss is the only one; a wind from behind drives backwards.
    """
    require("density", density, low=0.0, open_low=True)
    area = spec.face_area or 0.0
    require("face area", area, low=0.0, open_low=True)
    V = np.asarray(air_speed, dtype=float) * np.sqrt(recovery_of(spec))
    way = np.where(V < 0.0, -1.0, 1.0)
    V, u = np.abs(V), way * np.asarray(Q, dtype=float) / area
    free = u >= 0.5 * V
    p = np.where(free, porous_pressure(V, u, density), density * V * V / 2.0 + 2.0 * density * np.minimum(u, 0.0) ** 2)
    slope = np.where(free, 2.0 * (V - 2.0 * u), 4.0 * np.minimum(u, 0.0)) - 2.0 * CREEP
    return way * (p - 2.0 * density * CREEP * u), density * slope / area


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


def fan_current(spec: FanSpec, command: np.ndarray | float = 1.0) -> np.ndarray:
    """Current that a fan draws [A] at 13.5 V and a share `command` of full speed, 0 to 1.

    As given at full speed, else the largest pressure times flow along its curve over `FAN_EFFICIENCY`;
    power goes with the cube of speed (fan laws, textbook), its start is not in it.
    """
    require("fan command", command, low=0.0, high=1.0)
    full = spec.current
    if full is None:
        Q = np.linspace(0.0, fan_curve(spec).largest_flow, 101)
        full = float((Q * fan_curve(spec).at(Q)[0]).max()) / (FAN_EFFICIENCY * SUPPLY)
    return np.asarray(full * np.asarray(command, dtype=float) ** 3)


def draught(height: float, density_outside: np.ndarray | float, density_inside: np.ndarray | float) -> np.ndarray:
    """Natural draught [Pa] of warm air in a core of `height` [m]: (rho_outside - rho_inside) g height."""
    return (np.asarray(density_outside, dtype=float) - density_inside) * (GRAVITY * height)
