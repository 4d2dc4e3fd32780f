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
from coldside.parts import engine, spray
from coldside.parts.jacket import EngineJacketSpec
from coldside.plant.flows import Air

ALWAYS = (0.0, 1.0)  # K: a source that no temperature fades


@dataclass(frozen=True)
class Source:
    """One source: its field, whether its column is J per kg of charge, where it fades, and the column."""

    field: int
    scaled: bool
    fades: tuple[float, float]  # K of the field at which it is nil, and whole
    column: np.ndarray


def fuel_heat(build: Build, demand: Demand, around: Air, boost_ratio: np.ndarray) -> np.ndarray:
    """Heating value of the fuel burnt with one kilogram of moist charge, J/kg, by samples."""
    spec = build.engine
    lam = engine.mixture(spec, boost_ratio, demand.full_load)
    return np.asarray(
        engine.fuel_flow(spec, np.ones(len(demand.time)), around.humidity_ratio, lam)
        * fuels.fuel(spec.fuel).heating_value
        * np.minimum(lam, 1.0)  # rich of 1 oxygen limits the heat released
    )


def sources(
    build: Build, demand: Demand, around: Air, boost: np.ndarray, field_of: Callable[[str], int], fuel: np.ndarray
) -> list[Source]:
    """Every source of a build; `field_of` gives the field by name, `fuel` is `fuel_heat`, `boost` marks its samples."""
    found = []
    for name, spec in build.parts.items():
        if isinstance(spec, EngineJacketSpec):
            found.append(Source(field_of(f"{name} coolant"), True, ALWAYS, spec.heat_share * fuel))
        elif getattr(spec, "spray", None):
            W = around.humidity_ratio
            on = np.ones(len(boost)) if spec.spray_when == "always" else boost.astype(float)
            wet_bulb = float(spray.fades_at(around.temperature, W, around.pressure))
            heat = float(spray.heat_taken(spec))
            if spec.spray_when != "off":
                found.append(
                    Source(field_of(f"{name} metal"), False, (wet_bulb, wet_bulb + spray.FADES_OVER), -heat * on)
                )
    return found


def source_rows(found: list[Source]) -> dict[str, np.ndarray]:
    """Rows for `layout.Arrays`."""
    return {
        "source_field": np.array([s.field for s in found], dtype=np.int64),
        "source_scaled": np.array([s.scaled for s in found], dtype=np.int64),
        "source_zero": np.array([s.fades[0] for s in found], dtype=float),
        "source_full": np.array([s.fades[1] for s in found], dtype=float),
    }

