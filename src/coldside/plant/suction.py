"""Pressure along a loop, and what it leaves at the inlets of its pumps.

What is here: pressure at every node of a solved loop over that at its reservoir, and the net positive
suction head of its pumps.  What is not: what a pump does with it (`parts/pump.py`), the solver (`network.py`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from coldside.build.model import Build
from coldside.media.coolants import Coolant
from coldside.parts.pump import GRAVITY, PumpSpec
from coldside.parts.reservoir import ReservoirSpec
from coldside.plant.network import LinkLoss, Network

STANDING = 1e-9  # m3/s, below which a link of a pump counts as at rest


@dataclass(frozen=True)
class Surface:
    """The free surface that sets a loop's pressure: its reservoir, the network's link of it, and its height [m]."""

    name: str
    link: int
    height: float | None


def surface_of(build: Build, network: Network) -> Surface | None:
    """The first reservoir of a loop (a second one is taken to follow it), or None: then no pressure is known."""
    for k, name in enumerate(network.names):
        spec = build.parts[name]
        if isinstance(spec, ReservoirSpec):
            return Surface(name, k, spec.height)
    return None


def node_pressures(network: Network, losses: Sequence[LinkLoss], q: np.ndarray, reference: int) -> np.ndarray:
    """Pressure at every node over that at node `reference` [Pa], heights left out; (points, nodes).

    `q` [m3/s] (points, links), the solved flows; pressure falls along a link by its loss.
    """
    found = np.full((len(q), network.nodes), np.nan)
    found[:, reference] = 0.0
    drop = [losses[k](q[:, k])[0] for k in range(len(network.links))]
    for _ in range(network.nodes):
        for k, link in enumerate(network.links):
            known, other = np.isfinite(found[:, link.start]), np.isfinite(found[:, link.end])
            if known.all() and not other.all():
                found[:, link.end] = found[:, link.start] - drop[k]
            elif other.all() and not known.all():
                found[:, link.start] = found[:, link.end] + drop[k]
    return found


def inlet_over_surface(
    build: Build, network: Network, losses: Sequence[LinkLoss], q: np.ndarray, density: np.ndarray | float
) -> dict[str, np.ndarray] | None:
    """Pressure at each pump's inlet over that at the reservoir's surface [Pa], the coolant running; by pump.

    Heights count where both are given.  None for a loop without a reservoir.
    """
    surface = surface_of(build, network)
    if surface is None:
        return None
    pressure = node_pressures(network, losses, q, network.links[surface.link].end)
    found = {}
    for k, name in enumerate(network.names):
        spec = build.parts[name]
        if not isinstance(spec, PumpSpec):
            continue
        link = network.links[k]
        inlet = np.where(q[:, k] < -STANDING, pressure[:, link.end], pressure[:, link.start])
        found[name] = inlet + density * GRAVITY * rise_to(surface, spec)
    return found


def rise_to(surface: Surface, spec: PumpSpec) -> float:
    """How far the surface stands over a pump's inlet [m]; 0 where a height is not given."""
    if surface.height is None or spec.height is None:
        return 0.0
    return surface.height - spec.height


def net_suction_head(
    over_surface: Mapping[str, np.ndarray], coolant: Coolant, T: np.ndarray, surface_pressure: float
) -> dict[str, np.ndarray]:
    """Net positive suction head available at each pump [m].

    (p_surface + p_inlet over surface - p_v)/(rho g), with the velocity head in the inlet left out (loop
    notes a7); `surface_pressure` [Pa absolute], coolant at `T` [K].
    """
    vapour, weight = coolant.vapour_pressure(np.maximum(T, 273.2)), coolant.density(T) * GRAVITY
    return {name: (surface_pressure + rise - vapour) / weight for name, rise in over_surface.items()}
