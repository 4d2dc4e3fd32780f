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
from coldside.plant.flows import Air


@dataclass(frozen=True)
class Source:
    """One source: its field, its column in the inputs, and what limits it.

    The column is W, or J per kg of charge where `scaled`.  A spray takes its column's power at the most, and no
    more than the air of pass `air` carries off: `per_air` [J/(kg K)] for each kelvin of the field over `zero`.
    """

    field: int
    column: np.ndarray
    scaled: bool = False
    air: int = -1
    zero: float = 0.0
    per_air: float = 0.0


def fuel_heat(build: Build, demand: Demand, around: Air, boost_ratio: np.ndarray) -> np.ndarray:
    """Heat set free by the fuel of one kilogram of moist charge, J/kg, by samples.

    Rich of 1 oxygen limits it (charge note B2).
    """
    spec = build.engine
    lam = engine.mixture(spec, boost_ratio, demand.full_load)
    fuel = engine.fuel_flow(spec, np.ones(len(demand.time)), around.humidity_ratio, lam)
    return np.asarray(fuel * fuels.fuel(spec.fuel).heating_value * np.minimum(lam, 1.0))


def sources(
    build: Build,
    around: Air,
    boost: np.ndarray,
    fuel: np.ndarray,
    places: tuple[Callable[[str], int], Callable[[str, str], int]],
) -> list[Source]:
    """Every source of a build.

    `boost` marks its samples, `fuel` is `fuel_heat`; `places` give a field by its name, and a pass by part and side.
    """
    field_of, pass_of = places
    found = []
    for name, spec in build.parts.items():
        if isinstance(spec, EngineJacketSpec):
            found.append(Source(field_of(f"{name} coolant"), spec.heat_share * fuel, scaled=True))
        elif isinstance(spec, SprayKeys) and spec.spray is not None:
            water = spray_flow(spec, boost)
            wet = spray(water, spec.spray_evaporated, around.temperature, around.humidity_ratio, around.pressure)
            limits = (float(wet.wet_bulb), float(wet.per_air))
            field = field_of(f"{name} metal")
            found.append(Source(field, np.asarray(wet.power), False, pass_of(name, "cooling"), *limits))
    return found


def source_rows(found: list[Source]) -> dict[str, np.ndarray]:
    """Rows for `layout.Arrays`."""
    return {
        "source_field": np.array([s.field for s in found], dtype=np.int64),
        "source_scaled": np.array([s.scaled for s in found], dtype=np.int64),
        "source_pass": np.array([s.air for s in found], dtype=np.int64),
        "source_zero": np.array([s.zero for s in found], dtype=float),
        "source_per_air": np.array([s.per_air for s in found], dtype=float),
    }
