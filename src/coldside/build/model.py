"""The build as the rest of the program sees it: specifications, paths, and where each value came from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from coldside.parts.airflow import DuctSpec
from coldside.parts.engine import BaySpec, CarSpec, EngineSpec


@dataclass(frozen=True)
class Parallel:
    """A group in parallel: each branch is a series (a `Path`) of its own."""

    branches: tuple[Path, ...]


Path = tuple["str | Parallel", ...]  # parts and groups in series, in flow order


@dataclass(frozen=True)
class Given:
    """One value and where it came from.

    `value` is what stands on the specification; `text` what the user typed (or how the default
    reads); `sd` one standard deviation in the value's SI unit (None: none stated; for a curve, of
    its second column as a share); `origin` is "given", "default" or "set" (by --set).
    """

    value: Any
    text: str
    sd: float | None
    origin: str
    help: str = ""


@dataclass(frozen=True)
class Loop:
    """A closed coolant circuit; the path's end joins its start."""

    name: str
    coolant: str  # normalised text: "water", "ethylene glycol 30 % by volume", ...
    path: Path
    cap_pressure: float | None = None  # Pa gauge


@dataclass(frozen=True)
class Duct:
    """A cooling-air stream from inlet to exit, parts in stack order."""

    name: str
    spec: DuctSpec
    path: Path


@dataclass(frozen=True)
class Build:
    """Everything about one car's charge-air path.  `parts` maps name -> specification."""

    name: str
    file: str
    engine: EngineSpec
    car: CarSpec
    bay: BaySpec
    charge: Path
    loops: Mapping[str, Loop]
    ducts: Mapping[str, Duct]
    parts: Mapping[str, Any]
    givens: Mapping[str, Given] = field(default_factory=dict)  # dotted key -> Given, in file order
    notes: tuple[str, ...] = ()  # how ambiguous text was read: 'boost = "20 psi" read as gauge'

    def defaults(self) -> list[tuple[str, Given]]:
        """The keys that took a default, in order."""
        return [(key, value) for key, value in self.givens.items() if value.origin == "default"]


def names_on(path: Path) -> list[str]:
    """Every part name on a path, in walk order, groups included."""
    found: list[str] = []
    for item in path:
        if isinstance(item, Parallel):
            for branch in item.branches:
                found.extend(names_on(branch))
        else:
            found.append(item)
    return found
