"""Heat that no stream carries: the engine's into its coolant and oil, and what a spray takes out of a core.

What is here: the rows and columns of heat sources.  What is not: how much they are (`parts/engine.py`,
`parts/spray.py`) and where they go in time (`kernel.py`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from coldside.build.model import Build
from coldside.duty.model import Demand
from coldside.media import fuels
from coldside.parts import engine
from coldside.parts.jacket import EngineJacketSpec
from coldside.parts.spray import SprayKeys, spray, spray_flow


@dataclass(frozen=True)
class Source:
    """One source: its field, its column in the inputs, and what limits it.

    The column is W, or J per kg of charge where `scaled`.  A spray takes its column's power at the most, and no
    more than the air of pass `air` carries off: `per_air` [J/(kg K)] for each kelvin of the field over `zero`; both
    by samples, since the wet bulb moves with the air.
    """

    field: int
    column: np.ndarray
    scaled: bool = False
    air: int = -1
    zero: np.ndarray | float = 0.0
    per_air: np.ndarray | float = 0.0

    @property
    def limits(self) -> list[np.ndarray]:
        """The columns of `zero` and `per_air`."""
        return [np.broadcast_to(value, self.column.shape) for value in (self.zero, self.per_air)]


def fuel_heat(build: Build, demand: Demand, humidity: np.ndarray | float, boost_ratio: np.ndarray) -> np.ndarray:
    """Heat set free by the fuel of one kilogram of moist charge, J/kg, by samples.

    Rich of 1 oxygen limits it (charge note B2).
    """
    spec = build.engine
    lam = engine.mixture(spec, boost_ratio, demand.full_load)
    fuel = engine.fuel_flow(spec, np.ones(len(demand.time)), humidity, lam)
    return np.asarray(fuel * fuels.fuel(spec.fuel).heating_value * np.minimum(lam, 1.0))


def sources(
    build: Build,
    demand: Demand,
    humidity: np.ndarray | float,
    boost: np.ndarray,
    fuel: np.ndarray,
    places: tuple[Callable[[str], int], Callable[[str, str], int]],
) -> list[Source]:
    """Every source of a build, in air of a `humidity` ratio, one figure or one a sample.

    `boost` marks its samples, `fuel` is `fuel_heat`; `places` give a field by its name, and a pass by part and side.
    """
    field_of, pass_of = places
    found = []
    for name, spec in build.parts.items():
        if isinstance(spec, EngineJacketSpec):
            found.append(Source(field_of(f"{name} coolant"), spec.heat_share * fuel, scaled=True))
        elif isinstance(spec, SprayKeys) and spec.spray is not None:
            water = spray_flow(spec, boost)
            T, W, back = _unlike_air(demand, humidity)
            wet = spray(1.0, spec.spray_evaporated, T, W, demand.ambient_pressure)
            power, zero, per_air = (np.asarray(value)[back] for value in (wet.power, wet.wet_bulb, wet.per_air))
            field = field_of(f"{name} metal")
            found.append(Source(field, water * power, False, pass_of(name, "cooling"), zero, per_air))
    return found


def _unlike_air(demand: Demand, humidity: np.ndarray | float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Temperature [K] and water of every unlike air of a session, and the place of each sample's among them.

    Alike to 0.01 K and 0.01 g/kg: a wet bulb is found by iteration, and an afternoon has few that differ.
    """
    T, W = demand.ambient_temperature, np.broadcast_to(humidity, demand.time.shape)
    rows = np.column_stack([T[0] + np.round(T - T[0], 2), W[0] + np.round(W - W[0], 5)])
    unlike, back = np.unique(rows, axis=0, return_inverse=True)
    return unlike[:, 0], unlike[:, 1], back.ravel()


def source_rows(found: list[Source]) -> dict[str, np.ndarray]:
    """Rows for `layout.Arrays`."""
    return {
        "source_field": np.array([s.field for s in found], dtype=np.int64),
        "source_scaled": np.array([s.scaled for s in found], dtype=np.int64),
        "source_pass": np.array([s.air for s in found], dtype=np.int64),
    }
