"""One cycle of one cylinder or rotor chamber, from intake close to exhaust open: pressure, end gas, work.

What is here: `Chamber` (volume and surface against shaft angle, piston and rotary), `Burn` (Wiebe), `cycle` (one-zone
pressure with wall heat after Woschni, and the end gas on its isentrope), retard loss.  Everything takes arrays of
conditions and solves them together: the pressure follows from its integral form, swept until it settles.
Shaft angles are degrees, the field's unit, from top dead centre at firing (least volume); speed rev/s, the rest SI.
What is not: ignition delay and knock (`knock.py`), gas exchange, and any part load.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np

from coldside.errors import BadInput, Internal, require

Number = Any  # float or array in, the broadcast shape out

CLOSES = {"piston": -140.0, "rotary": -225.0}  # deg, intake closes, 45 to 40 deg into compression; common practice
PERIOD = {"piston": 360.0, "rotary": 540.0}  # deg of shaft from one least volume to the next
STROKE_ANGLE = {"piston": 180.0, "rotary": 270.0}  # deg of shaft from least to largest volume
ROTARY_SURFACE = 1.4  # surface of a rotary chamber over that of a cylinder of its volume; 1.2 to 1.6 common practice
BURNT_GAMMA = 1.27  # ratio of specific heats of burnt gas in the cycle (own, middle of 1.25 to 1.30)
WIEBE_A, WIEBE_M = 5.0, 2.0  # Heywood1988, from memory
BEST_PHASING = 9.0  # deg after top dead centre where half is burnt at best torque: 8 to 10 (Heywood1988)
WALL = 450.0  # K, walls during the burn; common practice
LATEST = 60.0  # deg, most retard that `retard_loss` knows
STEPS = (32, 36, 16, 32)  # steps: compression, burn to its counted end, rest of the burn, expansion; even
COARSE_STEPS = (16, 20, 16, 32)  # where a thousand cycles make a table: octane need within 0.05 numbers
_SETTLED, _SWEEPS = 5e-5, 40


class Gas(Protocol):
    """What a cycle asks of its unburnt gas: an `EndGas`, or a `PerfectGas` for closed forms."""

    def gamma_along(self, T: Number, pressure_ratio: Number) -> Number:
        """Ratio of specific heats after an isentropic change from T [K]."""

    def isentropic(self, T: Number, pressure_ratio: Number) -> Number:
        """Temperature [K] after an isentropic change from T [K]."""


@dataclass(frozen=True)
class Chamber:
    """One working chamber.

    `swept` [m3] volume, `compression_ratio`; `bore`, `stroke`, `rod` [m] of a piston (a rotary's are those of the
    cylinder of its size, for surface and gas speed alone).
    """

    kind: str
    swept: float
    compression_ratio: float
    bore: float
    stroke: float
    rod: float

    @property
    def clearance(self) -> float:
        """Least volume [m3]: swept / (compression ratio - 1); recesses are in it."""
        return self.swept / (self.compression_ratio - 1.0)

    @property
    def intake_closes(self) -> float:
        """Shaft angle at which the intake closes [deg]; the exhaust opens as far after least volume."""
        return CLOSES[self.kind]

    def volume(self, angle: Number) -> Number:
        """Volume [m3] at shaft `angle` [deg].

        Piston: slider crank, Heywood1988.  Rotary: V_c + V_ch/2 (1 - cos(2 t/3)), Yamamoto1981, from memory.
        """
        t = np.radians(np.asarray(angle, dtype=float))
        if self.kind == "rotary":
            return self.clearance + 0.5 * self.swept * (1.0 - np.cos(2.0 * t / 3.0))
        a = 0.5 * self.stroke
        down = a + self.rod - a * np.cos(t) - np.sqrt(self.rod**2 - (a * np.sin(t)) ** 2)
        return self.clearance + 0.25 * math.pi * self.bore**2 * down

    def volume_slope(self, angle: Number) -> Number:
        """dV/d angle [m3/deg] at shaft `angle` [deg]."""
        t = np.radians(np.asarray(angle, dtype=float))
        if self.kind == "rotary":
            return math.pi / 180.0 * self.swept / 3.0 * np.sin(2.0 * t / 3.0)
        a = 0.5 * self.stroke
        side = a * np.sin(t)
        down = side * (1.0 + a * np.cos(t) / np.sqrt(self.rod**2 - side**2))
        return math.pi / 180.0 * 0.25 * math.pi * self.bore**2 * down

    def surface(self, volume: Number) -> Number:
        """Surface of gas at `volume` [m2]: flat head, crown and liner; a rotary's 1.4 times that of a cylinder."""
        area = 0.5 * math.pi * self.bore**2 + 4.0 * np.asarray(volume, dtype=float) / self.bore
        return area * (ROTARY_SURFACE if self.kind == "rotary" else 1.0)

    def gas_speed(self, n: Number) -> Number:
        """Mean speed of the piston [m/s] at `n` [rev/s]; of a rotary, its cylinder's stroke in 270 deg of shaft."""
        return self.stroke * np.asarray(n, dtype=float) * 360.0 / STROKE_ANGLE[self.kind]


# ---------------------------------------------------------------- the burn


def wiebe(z: Number, a: float = WIEBE_A, m: float = WIEBE_M) -> Number:
    """Burnt share after share `z` of the burn's angle: 1 - exp(-a z^(m+1)), 0 before (Heywood1988).

    The burn's angle ends at 99.3 %; the tail burns on beyond it.
    """
    return -np.expm1(-a * np.maximum(z, 0.0) ** (m + 1.0))


def wiebe_place(x: float, a: float = WIEBE_A, m: float = WIEBE_M) -> float:
    """Share of the burn's angle at which share `x` is burnt; 0 <= x < 1 - exp(-a)."""
    require("burnt share", x, low=0.0, high=-math.expm1(-a))
    return float((-math.log1p(-x) / a) ** (1.0 / (m + 1.0)))


@dataclass(frozen=True)
class Burn:
    """When and how the charge burns: `spark` [deg BEFORE least volume], `duration` [deg, all of it]; arrays broadcast.

    `counted` is the burnt share up to which the end gas is watched.
    """

    spark: Number
    duration: Number
    counted: float = 0.85
    a: float = WIEBE_A
    m: float = WIEBE_M


def best_spark(duration: Number) -> Number:
    """Spark [deg before] that puts half of the burn 9 deg after least volume, the anchor of best torque.

    The cycle's own optimum lies later by too little loss of heat, so it is not used.  Heywood1988, from memory.
    """
    return wiebe_place(0.5) * np.asarray(duration, dtype=float) - BEST_PHASING


def retard_loss(later: Number) -> Number:
    """Share of best torque that is lost when the burn sits `later` [deg, 0 to 60] than at best torque.

    c d^2 with c falling from 2.7e-4 (to 5 deg) to 2.3e-4 (from 20 deg): fitted to this cycle, Own; beyond 20 deg a
    continuation.  Real engines lose about 1 % at 5 and 3 to 5 % at 10 deg (common practice).  Burning
    earlier than at best torque (below 0) is counted by its size alone.
    """
    d = np.abs(np.asarray(later, dtype=float))
    require("retard", d, low=0.0, high=LATEST)
    return np.interp(d, (5.0, 20.0), (2.7e-4, 2.3e-4)) * d**2


# ---------------------------------------------------------------- the cycle


@dataclass(frozen=True)
class Start:
    """State at intake close: `p` [Pa absolute], `T` [K], `heat` [J] that the whole burn sets free, `n` [rev/s]."""

    p: Number
    T: Number
    heat: Number
    n: Number


@dataclass(frozen=True)
class Cycle:
    """Solved cycles; arrays (conditions..., angles).

    `angle` [deg], `p` [Pa], `T_unburnt` [K] of the end gas, `burnt` share; `end` the index where the counted share is
    burnt; `work` [J] (conditions...) from intake close to exhaust open, None where not solved
    so far; `n` [rev/s].
    """

    angle: np.ndarray
    p: np.ndarray
    T_unburnt: np.ndarray
    burnt: np.ndarray
    end: int
    work: np.ndarray | None
    n: np.ndarray

    @property
    def peak_pressure(self) -> np.ndarray:
        """Highest pressure [Pa]."""
        return self.p.max(axis=-1)


def _angles(
    chamber: Chamber, burn: Burn, shape: tuple[int, ...], steps: tuple[int, ...]
) -> tuple[np.ndarray, np.ndarray]:
    """Grid with knots at spark, counted end and end of burn, and the burnt share on it."""
    spark, duration = (
        np.broadcast_to(np.asarray(v, dtype=float), shape)[..., None] for v in (burn.spark, burn.duration)
    )
    closes = np.full_like(spark, chamber.intake_closes)
    counted = wiebe_place(burn.counted, burn.a, burn.m)
    edges = (closes, -spark, -spark + counted * duration, -spark + duration, -closes)
    pieces = [low + (high - low) * np.arange(k) / k for low, high, k in zip(edges, edges[1:], steps, strict=False)]
    angle = np.concatenate([*pieces, edges[-1]], axis=-1)
    if np.any(np.diff(angle, axis=-1) <= 0.0):
        raise BadInput("this burn begins before the intake closes, or ends after the exhaust opens")
    return angle, wiebe((angle + spark) / duration, burn.a, burn.m)


def _running(weight: np.ndarray, steps: np.ndarray) -> np.ndarray:
    """Running integral of `weight` (trapezoids) over `steps`, 0 at the first angle."""
    total = np.zeros_like(weight)
    np.cumsum(0.5 * (weight[..., 1:] + weight[..., :-1]) * steps, axis=-1, out=total[..., 1:])
    return total


def cycle(
    chamber: Chamber,
    gas: Gas,
    start: Start,
    burn: Burn,
    *,
    wall: float | None = WALL,
    gamma: tuple[float, float] | None = None,
    whole: bool = True,
    steps: tuple[int, ...] = STEPS,
) -> Cycle:
    """Solve dp = (g - 1)/V (dQ_b - dQ_w) - g p dV/V from intake close to exhaust open, for every condition at once.

    `wall` [K] is the walls' temperature, None for no wall heat (Woschni1967, as Heywood1988 eq. 12.19, from memory).
    g runs from the unburnt gas's at its temperature to 1.27 with the burnt share, or between the two of `gamma`.
    The end gas keeps its entropy.  `steps` in each segment, see `STEPS`.  Not `whole`: only to the counted end of the
    burn, for knock.  BadInput for states that are not above 0 or a burn outside the closed part.
    Raises `Internal` if the sweeps do not settle.
    """
    for name, value in (("pressure", start.p), ("temperature", start.T), ("engine speed", start.n)):
        require(name, value, low=0.0, open_low=True)
    require("heat", start.heat, low=0.0)
    shape = np.broadcast_shapes(
        *(np.shape(v) for v in (start.p, start.T, start.heat, start.n, burn.spark, burn.duration))
    )
    p0, T0, heat, n = (
        np.broadcast_to(np.asarray(v, dtype=float), shape)[..., None] for v in (start.p, start.T, start.heat, start.n)
    )
    angle, burnt = _angles(chamber, burn, shape, steps)
    end = steps[0] + steps[1]
    if not whole:
        angle, burnt = angle[..., : end + 1], burnt[..., : end + 1]
    V = chamber.volume(angle)
    log_V, turn, dx = np.log(V), np.diff(angle, axis=-1), np.diff(burnt, axis=-1)
    p = p0 * (V[..., :1] / V) ** 1.3
    walls = None if wall is None else _Walls(chamber, V, burnt, (p0, T0, n), wall)
    for _ in range(_SWEEPS):
        if gamma is None:
            g = gas.gamma_along(T0, p / p0)
            g = g + (BURNT_GAMMA - g) * burnt
        else:
            g = gamma[0] + (gamma[1] - gamma[0]) * burnt
        growth = np.exp(_running(g, np.diff(log_V, axis=-1)))  # integrating factor of the volume's work
        weight = growth * (g - 1.0) / V
        gained = _running(weight, heat * dx)
        if walls is not None:
            gained = gained - _running(weight * walls.heat(p), turn)
        new = np.maximum((p0 + gained) / growth, 1e-3 * p0)
        moved = np.max(np.abs(new / p - 1.0), initial=0.0)
        p = new
        if moved < _SETTLED:
            break
    else:
        raise Internal("the pressure of a cycle did not settle; please send the build and the session")
    work = _integral(p * chamber.volume_slope(angle), angle, steps) if whole else None
    return Cycle(angle, p, gas.isentropic(T0, p / p0), burnt, end, work, n[..., 0])


def _integral(values: np.ndarray, angle: np.ndarray, segments: tuple[int, ...]) -> np.ndarray:
    """Integral over the angle, Simpson in each segment, where steps are even."""
    total = np.zeros(values.shape[:-1])
    first = 0
    for steps in segments:
        weights = np.full(steps + 1, 2.0)
        weights[1::2], weights[[0, -1]] = 4.0, 1.0
        total += values[..., first : first + steps + 1] @ weights * (angle[..., first + 1] - angle[..., first]) / 3.0
        first += steps
    return total


class _Walls:
    """Heat to the walls after Woschni: h = 3.26 B^-0.2 p^0.8 T^-0.55 w^0.8 (kPa, K, m/s), W/(m2 K)."""

    def __init__(
        self,
        chamber: Chamber,
        V: np.ndarray,
        burnt: np.ndarray,
        start: tuple[np.ndarray, np.ndarray, np.ndarray],
        wall: float,
    ) -> None:
        p0, T0, n = start
        V0 = V[..., :1]
        self.T_per_p = T0 / (p0 * V0) * V  # mean gas, mass and gas constant kept
        # all of the law that neither p nor w changes: T is T_per_p times p, so p^0.8 T^-0.55 is p^0.25 times this
        self.fixed = chamber.surface(V) / (360.0 * n) * 3.26 * chamber.bore**-0.2 * 1e-3**0.8 * self.T_per_p**-0.55
        self.piston = 2.28 * chamber.gas_speed(n)
        self.swirl = np.where(burnt > 0.0, 3.24e-3 * chamber.swept * T0 / (p0 * V0), 0.0)
        self.motored = p0 * (V0 / V) ** 1.3
        self.wall = wall

    def heat(self, p: np.ndarray) -> np.ndarray:
        """J per degree of shaft."""
        w = self.piston + self.swirl * np.maximum(p - self.motored, 0.0)
        return self.fixed * np.sqrt(np.sqrt(p)) * w**0.8 * (self.T_per_p * p - self.wall)
