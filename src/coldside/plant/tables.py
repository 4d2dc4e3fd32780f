"""Coefficients that depend on flows alone: exact functions, and the tables the kernel interpolates.

What is here: one `Coefficient` a part, giving the two values its passes need (gas side: the share of
the difference to the wall that a cell takes; liquid side: the conductance of the whole part), exact at
any flows; and `tabulate`, which samples it on a grid of sqrt(flow) and coolant temperature.  The steady
point calls the exact functions, the kernel the tables; a test holds them together.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from coldside.media.coolants import Coolant
from coldside.parts import lines
from coldside.parts.lines import HoseSpec, PipeSpec, PlenumSpec
from coldside.parts.oil_cooler import OilCoolerRating
from coldside.parts.rating import FLOOR, Rating, cell_conductances
from coldside.parts.sensor import SensorSpec, soak_weight, time_constant
from coldside.plant.layout import FEED_NODES, FEEDBACK_TIME

GAS_TEMPERATURE = 380.0  # K, charge in pipes: where their film takes viscosity and conductivity


@dataclass(frozen=True)
class Grid:
    """How finely what depends on flows alone is tabulated, in nodes.

    `one`, `two`, `temperature`: of a two-flow table of coolant (one of two gases is always full); `single`:
    of a one-flow table; `loop`: coolant temperatures of a loop's flows; `duct_temperature`, `duct_speed`: of a
    duct's; `feed`: plenum temperatures at which the charge side is really balanced (a polynomial through them
    gives the others), to the relative change `settled`.  `cell_length` [m] and `fewest_cells` of pipes and
    hoses.  `feedback_time` [s]: how fast the engine's flow answers plenum temperature.
    """

    one: int = 28
    two: int = 24
    temperature: int = 12
    single: int = 48
    loop: int = 28
    duct_temperature: int = 6
    duct_speed: int = 24
    feed: int = FEED_NODES
    settled: float = 1e-9
    cell_length: float = 0.3  # definitions, "Paths -> hydraulics and kernel"
    fewest_cells: int = 4
    feedback_time: float = FEEDBACK_TIME


FULL = Grid()

# (flow 1, flow 2, coolant T) -> value a, value b, what the cells miss of the exact effectiveness
Exact = Callable[[np.ndarray, np.ndarray, np.ndarray], tuple[np.ndarray, np.ndarray, np.ndarray]]


@dataclass(frozen=True)
class Coefficient:
    """The two coefficients of one part against its flows [kg/s] and its loop's temperature [K].

    `scale1`, `scale2` are bench flows (0 for an axis that is not there); `liquid` says that the
    third axis, coolant temperature, matters.
    """

    exact: Exact
    scale1: float
    scale2: float
    liquid: bool


def gas_share(conductance: np.ndarray, capacity_rate: np.ndarray) -> np.ndarray:
    """1 - exp(-g/c): share of the difference to an isothermal wall that gas passing it takes; 1 at rest."""
    return np.asarray(-np.expm1(-conductance / np.maximum(capacity_rate, 1e-9)))


def of_rating(
    rating: Rating, cells: tuple[int, int], coolant: Coolant | None, cp: tuple[float, float], bypass: float = 0.0
) -> Coefficient:
    """Coefficients of a core or exchanger; `cp` of streams 1 and 2 as the plant carries them.

    `bypass` is the share of stream 1 that slips past the core; the flow axis is the whole stream.
    """
    n1, n2 = cells

    def exact(m1: np.ndarray, m2: np.ndarray, T: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        C1, C2 = np.broadcast_arrays(np.abs(m1) * (1.0 - bypass) * cp[0], np.abs(m2) * cp[1])
        T = np.broadcast_to(T, C1.shape)
        needed = cell_conductances(rating, C1, C2, T, cells, coolant, cp)
        per_cell = 1.0 / (n1 * n2)
        a = needed.side1 if rating.liquid == 1 else gas_share(needed.side1 * per_cell, C1 / n2)
        b = needed.side2 if rating.liquid == 2 else gas_share(needed.side2 * per_cell, C2 / n1)
        return a, b, needed.residual

    return Coefficient(exact, rating.flow1, rating.flow2, rating.liquid > 0)


def of_pipe(spec: PipeSpec, cells: int, scale: float, cp: float) -> Coefficient:
    """Charge pipe: share a cell of wall takes."""

    def exact(m1: np.ndarray, m2: np.ndarray, T: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        m = np.abs(np.asarray(m1, dtype=float))
        h = lines.pipe_conductance(spec, np.hypot(m, FLOOR * scale), GAS_TEMPERATURE)
        a = gas_share(h / cells, m * cp)
        return a, np.zeros_like(a), np.zeros_like(a)

    return Coefficient(exact, scale, 0.0, False)


def of_plenum(spec: PlenumSpec, peak_flow: float, cp: float) -> Coefficient:
    """Plenum: one node of metal; film grows as flow^0.8 (turbulent, Dittus and Boelter's exponent, from memory)."""
    bench = spec.bench_flow or peak_flow

    def exact(m1: np.ndarray, m2: np.ndarray, T: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        m = np.abs(np.asarray(m1, dtype=float))
        h = spec.charge_conductance * (np.hypot(m, FLOOR * bench) / bench) ** 0.8
        a = gas_share(h, m * cp)
        return a, np.zeros_like(a), np.zeros_like(a)

    return Coefficient(exact, bench, 0.0, False)


def of_hose(spec: HoseSpec, coolant: Coolant, scale: float) -> Coefficient:
    """Coolant hose: conductance from coolant to wall."""

    def exact(m1: np.ndarray, m2: np.ndarray, T: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        m, T = np.broadcast_arrays(np.hypot(np.asarray(m1, dtype=float), FLOOR * scale), T)
        rho, mu, k, cp = coolant.density(T), coolant.viscosity(T), coolant.conductivity(T), coolant.cp(T)
        a = lines.hose_conductance(spec, m / rho, rho, mu, k, cp)
        return a, np.zeros_like(a), np.zeros_like(a)

    return Coefficient(exact, scale, 0.0, True)


def of_oil_cooler(rating: OilCoolerRating, side: str, scale: float) -> Coefficient:
    """One side of an oil cooler: conductance from its liquid to the metal; `scale` its bench mass flow [kg/s]."""

    def exact(m1: np.ndarray, m2: np.ndarray, T: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        m, T = np.broadcast_arrays(np.abs(np.asarray(m1, dtype=float)), T)
        a = rating.conductance(side, m, T)
        return a, np.zeros_like(a), np.zeros_like(a)

    return Coefficient(exact, scale, 0.0, True)


def of_sensor(spec: SensorSpec, bench: float) -> Coefficient:
    """Sensor: weight of its boss in the reading, and one over its time constant."""

    def exact(m1: np.ndarray, m2: np.ndarray, T: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        m = np.abs(np.asarray(m1, dtype=float))
        a = soak_weight(spec, m, bench)
        return a, 1.0 / time_constant(spec, m, bench), np.zeros_like(a)

    return Coefficient(exact, bench, 0.0, False)


@dataclass(frozen=True)
class Table:
    """A coefficient on its grid, padded by one node at both ends of the flow axes for the cubic."""

    shape: tuple[int, int, int]  # nodes in T, flow 1 (padded), flow 2 (padded, or 1)
    scale: tuple[float, float]
    step: tuple[float, float, float]  # T, u1, u2
    origin: float
    a: np.ndarray
    b: np.ndarray


def tabulate(
    coefficient: Coefficient, most: tuple[float, float], temperatures: tuple[float, float], grid: Grid = FULL
) -> Table:
    """Sample a coefficient up to flows `most` [kg/s], and between `temperatures` [K] where coolant matters."""
    two = coefficient.scale2 > 0.0
    # without coolant there is no third axis to pay for, and a core in still air bends more than a wet one
    finest = grid if coefficient.liquid else FULL
    n1, n2 = (finest.one, finest.two) if two else (grid.single, 1)
    n_T = grid.temperature if coefficient.liquid else 1
    u1 = np.linspace(0.0, np.sqrt(max(most[0], 0.05 * coefficient.scale1) / coefficient.scale1) * 1.01, n1)
    u2 = (
        np.linspace(0.0, np.sqrt(max(most[1], 0.05 * coefficient.scale2) / coefficient.scale2) * 1.01, n2)
        if two
        else np.zeros(1)
    )
    T = np.linspace(*temperatures, n_T) if n_T > 1 else np.array([temperatures[0]])
    m1 = (u1**2 * coefficient.scale1)[None, :, None]
    m2 = (u2**2 * coefficient.scale2)[None, None, :]
    points = np.broadcast_arrays(m1, m2, T[:, None, None])
    a, b, _ = coefficient.exact(*points)
    step = (float(T[1] - T[0]) if n_T > 1 else 1.0, float(u1[1]), float(u2[1]) if two else 1.0)
    a, b = (_padded(_padded(v, 1), 2) if two else _padded(v, 1) for v in (a, b))
    return Table(a.shape, (coefficient.scale1, coefficient.scale2), step, float(T[0]), a, b)


def _padded(values: np.ndarray, axis: int) -> np.ndarray:
    """One node more at both ends of an axis, continued by a parabola."""
    ahead: tuple[Any, ...] = (slice(None),) * axis
    v = [values[(*ahead, k)] for k in (0, 1, 2, -1, -2, -3)]
    found = np.empty(tuple(n + 2 * (k == axis) for k, n in enumerate(values.shape)))
    found[(*ahead, slice(1, -1))] = values
    found[(*ahead, 0)] = 3.0 * v[0] - 3.0 * v[1] + v[2]
    found[(*ahead, -1)] = 3.0 * v[3] - 3.0 * v[4] + v[5]
    return found
