"""The ladder: the chain of temperature drops from the charge in the cores to ambient, at the moment of `Solution.peak`.

Levels are means over cells and parallel parts, weighted by the heat that crosses there (definitions,
"Ladder"); a rung is the drop between two levels, so the shares sum to one whatever the weights.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from coldside.parts.exchanger import AirCoreSpec, ExchangerSpec, Rating, WaterCoreSpec, rate
from coldside.plant import layout
from coldside.plant.assemble import Plant
from coldside.plant.results import Rung
from coldside.plant.traces import Solution


@dataclass(frozen=True)
class _Side:
    """One side of one part, cell by cell: heat from hot to cold [W], stream mean and wall temperature [K]."""

    heat: np.ndarray
    stream: np.ndarray
    wall: np.ndarray
    T_in: float
    film_share: float  # share of the drop from stream to wall node that is film, the rest wall

    @property
    def film(self) -> np.ndarray:
        """Drop of each cell from stream to wall that is film, K."""
        return (self.stream - self.wall) * self.film_share


def ladder(plant: Plant, solution: Solution) -> Iterator[Rung]:
    """Rungs of every chain: water cores -> loop -> exchangers -> ducts, and air cores -> ducts."""
    moment = _Moment(plant, solution)
    parts = plant.build.parts
    chains: list[tuple[str, list[str], list[str]]] = []
    for loop in plant.loops:
        cores = [n for n in loop.network.names if isinstance(parts[n], WaterCoreSpec)]
        if cores:
            chains.append(
                (
                    f"{loop.loop.name} loop",
                    cores,
                    [n for n in loop.network.names if isinstance(parts[n], ExchangerSpec)],
                )
            )
    air_cores = [p.part for p in plant.passes if p.side == "charge" and isinstance(parts.get(p.part), AirCoreSpec)]
    if air_cores:
        chains.append(("air cores", air_cores, []))
    for name, cores, remotes in chains:
        yield from _chain(moment, f"{name}: " if len(chains) > 1 else "", cores, remotes)


def _chain(moment: _Moment, prefix: str, cores: list[str], remotes: list[str]) -> Iterator[Rung]:
    hot = [moment.side(n, "charge") for n in cores]
    cold = [moment.side(n, "coolant" if moment.has(n, "coolant") else "cooling") for n in cores]
    ambient = float(moment.plant.demand.ambient_temperature[moment.at])
    Q = sum(float(s.heat.sum()) for s in hot)  # below zero where the cores warm the charge: resistances stay positive
    Q = Q if abs(Q) > 1.0 else 1.0
    charge, wall_hot = _mean(hot, "stream"), _mean(hot, "wall")
    wall_cold, sink = _mean(cold, "wall"), _mean(cold, "stream")
    film_hot, film_cold = _mean(hot, "film"), -_mean(cold, "film")
    wall = (charge - wall_hot) - film_hot + (wall_cold - sink) - film_cold
    # where the charge heats the metal it is warmer than where the coolant cools it: heat on its way into the metal
    drops = [("charge film", film_hot), ("wall and fouling", wall), ("storage in the metal", wall_hot - wall_cold)]
    if moment.has(cores[0], "coolant"):
        drops.append(("coolant film", film_cold))
        if remotes:
            inner, outer = [moment.side(n, "coolant") for n in remotes], [moment.side(n, "cooling") for n in remotes]
            liquid, metal, air = _mean(inner, "stream"), _mean(outer, "wall"), _mean(outer, "stream")
            arriving = float(
                np.average([s.T_in for s in outer], weights=[max(float(s.heat.sum()), 1e-9) for s in outer])
            )
            drops += [
                ("coolant rise and storage", sink - liquid),
                ("remote coolant film", liquid - metal),
                ("remote air film", metal - air),
            ]
            drops += [("cooling-air rise", air - arriving), ("preheat of cooling air", arriving - ambient)]
        else:
            drops.append(("coolant rise and storage", sink - ambient))
    else:
        arriving = float(np.average([s.T_in for s in cold], weights=[max(float(s.heat.sum()), 1e-9) for s in cold]))
        drops += [
            ("cooling-air film", film_cold),
            ("cooling-air rise", sink - arriving),
            ("preheat of cooling air", arriving - ambient),
        ]
    total = charge - ambient
    for name, drop in drops:
        yield Rung(prefix + name, drop, drop / Q, drop / total if total != 0.0 else 0.0)


def _mean(sides: list[_Side], what: str) -> float:
    """Heat-weighted mean of `stream`, `wall` or `film` over the cells of all parts; plain where no heat flows."""
    values = np.concatenate([getattr(s, what) for s in sides])
    weights = np.maximum(np.concatenate([s.heat for s in sides]), 0.0)
    return float(np.average(values, weights=weights)) if weights.sum() > 0.0 else float(values.mean())


class _Moment:
    """The plant at one instant, cell by cell: the kernel's passes walked again, with the heat of every cell kept."""

    def __init__(self, plant: Plant, solution: Solution) -> None:
        from coldside.plant import kernel

        self.plant, self.at, self.x = plant, solution.peak, solution.peak_state
        self.work = layout.new_work(plant.arrays)
        combos = plant.combos(solution.levels)[solution.peak]
        kernel.derivative(
            *layout.pack(plant.arrays), self.work.packed, solution.peak, 0.0, self.x, combos, np.zeros(len(self.x))
        )

    def has(self, part: str, side: str) -> bool:
        """True if the part has that side."""
        return any(p.part == part and p.side == side for p in self.plant.passes)

    def side(self, part: str, side: str) -> _Side:
        """One side of a part, cell by cell."""
        A, W = self.plant.arrays, self.work
        p = self.plant.index(part, side)
        row = A.passes[p]
        lanes, cells = int(row[layout.P_LANES]), int(row[layout.P_CELLS])
        value = float((W.a if row[layout.P_SIDE] == 0 else W.b)[row[layout.P_TABLE]])
        at = np.arange(lanes)[:, None] * row[layout.P_LANE_STEP] + np.arange(cells)[None, :] * row[layout.P_CELL_STEP]
        wall = self.x[A.field_first[row[layout.P_WALL]] + at]
        sign = -1.0 if side == "cooling" or (side == "coolant" and self.has(part, "charge")) else 1.0
        if row[layout.P_LIQUID] >= 0:
            stream = self.x[A.field_first[row[layout.P_LIQUID]] + at]
            heat = value / (lanes * cells) * (stream - wall)
        else:
            c = W.flow[p] * (A.cp_charge if side == "charge" else A.cp_air) / lanes
            heat, stream = _slide(wall, float(W.T_in[p]), c, value)
        share = _film_share(self._rating(part), self._conductance(p, value, lanes * cells, W))
        return _Side((sign * heat).ravel(), stream.ravel(), wall.ravel(), float(W.T_in[p]), share)

    def _rating(self, part: str) -> Rating:
        spec = self.plant.build.parts[part]
        loop = next((loop for loop in self.plant.loops if part in loop.network.names), None)
        return rate(spec, loop.coolant if loop else None)

    def _conductance(self, p: int, value: float, cells: int, W: layout.Work) -> float:
        """Conductance of the whole side, W/K."""
        A = self.plant.arrays
        row = A.passes[p]
        if row[layout.P_LIQUID] >= 0:
            return value
        c = W.flow[p] * (A.cp_charge if row[layout.P_SORT] == layout.CHARGE else A.cp_air) / row[layout.P_LANES]
        return float(-c * np.log1p(-min(value, 1.0 - 1e-12)) * cells)


def _slide(wall: np.ndarray, T_in: float, c: float, share: float) -> tuple[np.ndarray, np.ndarray]:
    """Heat from gas to each cell's wall and mean gas temperature in the cell, lanes by rows."""
    heat, stream = np.zeros_like(wall), np.zeros_like(wall)
    T = np.full(len(wall), T_in)
    for i in range(wall.shape[1]):
        d = T - wall[:, i]
        heat[:, i] = c * share * d
        units = -np.log1p(-min(share, 1.0 - 1e-12))
        stream[:, i] = wall[:, i] + d * (share / units if units > 0.0 else 1.0)
        T = T - share * d
    return heat, stream


def _film_share(rating: Rating, conductance: float) -> float:
    """Share of the resistance from stream to wall node that is film; the rest is half the wall."""
    whole = 1.0 / max(conductance, 1e-9)
    return float(np.clip(1.0 - 0.5 * rating.wall / whole, 0.0, 1.0))
