"""Intake-temperature sensor: specification, lag and soak.

What is here: how fast a sensor follows the stream, how much its boss pulls at the reading, and the
thermistor's own curve, divider and self-heating.  What is not: stepping the reading in time (`plant/`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from coldside.errors import BadInput, require
from coldside.parts.fields import given, surroundings_field


@dataclass(frozen=True, kw_only=True)
class SensorSpec:
    """`kind = "sensor"`: reads the stream at the place where it stands in a path."""

    time_constant: float = given(
        "time", "63 % response time at bench_flow", default=3.0, sd_share=0.4, low=0.05, high=60.0
    )
    bench_flow: float | None = given(
        "mass_flow",
        "flow at which the time constant holds",
        default=None,
        low=1e-4,
        high=20.0,
        when_absent="a quarter of the engine's highest air flow; on a loop, the loop's own flow",
    )
    soak: float = given(
        "share",
        "share of the boss's temperature in the reading at bench_flow",
        default=0.04,
        sd=0.02,
        low=0.0,
        high=0.9,
    )
    boss_time: float = given(
        "time", "how fast the boss follows what it is screwed into", default=180.0, sd_share=0.5, low=1.0, high=7200.0
    )
    surroundings: str = surroundings_field("engine", "what the boss takes its temperature from")

    sides = ()


SLOWEST = 5.0  # time constant at a standstill over that at bench flow (natural convection takes over; tune)


def time_constant(spec: SensorSpec, flow: np.ndarray | float, bench_flow: float) -> np.ndarray:
    """63 % response time [s] at `flow` [kg/s]: tau0 (m0/m)^0.5, never above 5 tau0.

    Film of a small body in cross flow grows as flow^0.5 (0.47 to 0.6; from memory).  `bench_flow`
    [kg/s] is the flow at which `time_constant` of the specification holds.  Direction is ignored.
    """
    require("bench_flow", bench_flow, low=0.0, open_low=True)
    share = np.abs(np.asarray(flow, dtype=float)) / bench_flow
    return spec.time_constant / np.sqrt(np.maximum(share, SLOWEST**-2))


def stem_share(film: np.ndarray | float, conductivity: float, diameter: float, length: float) -> np.ndarray:
    """Share of (wall - gas) in the reading of a stem: 1/cosh(mL), m = sqrt(4h/(k d)) (fin textbook).

    `film` [W/(m2 K)], `conductivity` of the stem [W/(m K)], `diameter` and `length` [m].
    """
    require("film", film, low=0.0)
    return _fin_tip(np.sqrt(4 * np.asarray(film, dtype=float) / (conductivity * diameter)) * length)


def soak_weight(spec: SensorSpec, flow: np.ndarray | float, bench_flow: float) -> np.ndarray:
    """Share of the boss's temperature in the reading, 0 to 1, at `flow` [kg/s].

    The fin formula of `stem_share` with mL growing as flow^0.25 (mL ~ h^0.5, h ~ flow^0.5): equals
    `soak` at `bench_flow` and tends to 1 at rest.  A `soak` of 0 means none at any flow.
    """
    require("bench_flow", bench_flow, low=0.0, open_low=True)
    share = np.abs(np.asarray(flow, dtype=float)) / bench_flow
    if spec.soak < 1e-12:  # the fin formula overflows long before a share as small matters
        return np.zeros_like(share)
    return _fin_tip(np.arccosh(1 / spec.soak) * share**0.25)


def _fin_tip(mL: np.ndarray) -> np.ndarray:
    return 1 / np.cosh(np.minimum(mL, 700.0))  # beyond 700 cosh overflows and the share is nil


def recovery_rise(factor: float, speed: np.ndarray | float, cp: np.ndarray | float) -> np.ndarray:
    """How much a probe reads above the static temperature [K]: r V^2/(2 cp), `factor` r 0.7 to 0.85 (from memory)."""
    return factor * np.asarray(speed, dtype=float) ** 2 / (2 * np.asarray(cp, dtype=float))


def thermistor_coefficients(points: tuple[tuple[float, float], ...]) -> tuple[float, float, float]:
    """A, B, C of 1/T = A + B ln R + C (ln R)^3 through three points (R [ohm], T [K]); through two, C is 0.

    Steinhart and Hart 1968 (from memory); with C = 0 it is the two-point form with beta = 1/B [K], some 0.3 K off
    between points 60 K apart.  Raises `BadInput` unless there are two or three points whose resistances are positive
    and fall as temperature rises.
    """
    if len(points) not in (2, 3):
        raise BadInput(f"a thermistor's curve needs two or three points (resistance, temperature), not {len(points)}")
    R, T = np.array(sorted(points, key=lambda point: point[1]), dtype=float).T
    require("thermistor resistance", R, low=0.0, open_low=True)
    require("thermistor temperature", T, low=0.0, open_low=True)
    if np.any(np.diff(R) >= 0) or np.any(np.diff(T) <= 0):
        raise BadInput("a thermistor's resistance must fall as its temperature rises")
    log = np.log(R)
    powers = np.column_stack([np.ones(len(R)), log, log**3])[:, : len(R)]
    A, B, C = (*np.linalg.solve(powers, 1 / T).tolist(), 0.0)[:3]
    return A, B, C


def thermistor_temperature(coefficients: tuple[float, float, float], resistance: np.ndarray | float) -> np.ndarray:
    """Temperature [K] of a thermistor of `resistance` [ohm] > 0 by the equation of `thermistor_coefficients`."""
    require("thermistor resistance", resistance, low=0.0, open_low=True)
    A, B, C = coefficients
    log = np.log(np.asarray(resistance, dtype=float))
    return 1 / (A + B * log + C * log**3)


def divider_resistance(volts: np.ndarray | float, supply: float, pull_up: float) -> np.ndarray:
    """Resistance [ohm] of a thermistor to ground across which `volts` stand, behind `pull_up` [ohm] from `supply` [V].

    R = pull_up v / (supply - v) (voltage divider, nothing drawn by the reader); `volts` above 0 and below `supply`.
    """
    require("supply", supply, low=0.0, open_low=True)
    require("pull_up", pull_up, low=0.0, open_low=True)
    v = np.asarray(volts, dtype=float)
    require("volts", v, low=0.0, open_low=True, high=supply)
    if np.any(v >= supply):
        raise BadInput("a thermistor that shows the whole supply is broken or unplugged")
    return np.asarray(pull_up * v / (supply - v))


def self_heating(volts: np.ndarray | float, resistance: np.ndarray | float, dissipation: float) -> np.ndarray:
    """How much a thermistor's own current warms it over what is round it [K]: v^2 / (R delta).

    `dissipation` delta [W/K] in still air; 3 to 10 times as much in flow (from memory).
    """
    require("dissipation", dissipation, low=0.0, open_low=True)
    require("thermistor resistance", resistance, low=0.0, open_low=True)
    return np.asarray(np.asarray(volts, dtype=float) ** 2 / (np.asarray(resistance, dtype=float) * dissipation))
