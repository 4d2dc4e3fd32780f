"""How far to trust a forecast, in sentences: what was extrapolated, and what a user must know before full load."""

from __future__ import annotations

import numpy as np

from coldside.parts import engine
from coldside.parts.exchanger import AirCoreSpec, ExchangerSpec, WaterCoreSpec
from coldside.plant import layout
from coldside.plant.assemble import Plant
from coldside.plant.charge import ChargeState
from coldside.plant.traces import Solution, Streams

CELLS_MISS_ALLOWED = 3e-3  # of the heat carried
BENCH_RANGE = (0.5, 2.0)  # of the bench flow; beyond it a rating is extrapolated (heat note B4)


def extrapolated(plant: Plant, solution: Solution, state: ChargeState) -> list[str]:
    """Sentences on every map, rating or fit that was left."""
    found = []
    operating, time = state.operating, plant.demand.time
    for mask, words in (
        (operating.beyond_surge, "ran left of the compressor map's surge line"),
        (operating.beyond_choke, "ran beyond the compressor map's choke line"),
        (operating.above_speed, "ran above the compressor map's highest speed line"),
    ):
        seconds = float(np.count_nonzero(mask)) * plant.arrays.step
        if seconds > 0.0:
            found.append(
                f"{plant.charge.compressor_name} {words} for {seconds:.1f} s, "
                f"first at {time[int(np.argmax(mask))]:.0f} s; its edge was used"
            )
    found.extend(_cells_missed(plant, solution))
    boost = plant.demand.boost
    for p, name in enumerate(plant.passes):
        spec = plant.build.parts.get(name.part)
        bench = _bench_flow(spec, name.side, plant, p)
        if bench is None:
            continue
        ratio = np.abs(solution.streams[:, p, 2]) / bench
        most = float(ratio.max())
        if most > BENCH_RANGE[1]:
            found.append(
                f"{name.part}'s {_side_words(name.side)} flow is up to {most:.1f} times the point it was measured at"
            )
        elif name.side == "charge" and boost.any() and float(ratio[boost].max()) < BENCH_RANGE[0]:
            found.append(f"{name.part}'s charge flow in boost stays below half the point it was measured at")
    for i, loop in enumerate(plant.loops):
        mean = solution.scalars[:, 4 + len(plant.sensors) + i]
        for T in (float(mean.min()), float(mean.max())):
            found.extend(f"{loop.loop.name} loop: {words}" for words in loop.coolant.extrapolated(T))
    return found


def _cells_missed(plant: Plant, solution: Solution) -> list[str]:
    """Cores whose wall cells fall short of the exact effectiveness, weighted by the heat they carried."""
    A, found = plant.arrays, []
    some = np.linspace(0, len(plant.demand.time) - 1, 300).astype(int)
    for k, coefficient in enumerate(plant.coefficients):
        one, two = A.table_flow[k]
        if two < 0:
            continue
        streams = solution.streams[some]
        n_sensors = len(plant.sensors)
        T = (
            solution.scalars[some, 4 + n_sensors + A.table_loop[k]]
            if A.table_loop[k] >= 0
            else np.full(len(some), A.ambient)
        )
        _, _, miss = coefficient.exact(np.abs(streams[:, one, 2]), np.abs(streams[:, two, 2]), T)
        heat = np.abs(streams[:, one, 2] * (streams[:, one, 0] - streams[:, one, 1]))
        mean = float(np.average(np.abs(miss), weights=heat)) if heat.sum() > 0.0 else 0.0
        if mean > CELLS_MISS_ALLOWED:
            found.append(
                f"{plant.passes[one].part}: its wall cells carry {mean:.1%} less heat "
                "than the exact relation, averaged over the session"
            )
    return found


def _bench_flow(spec: object, side: str, plant: Plant, p: int) -> float | None:
    if side == "charge" and isinstance(spec, (WaterCoreSpec, AirCoreSpec)):
        return spec.bench_charge_flow
    if side == "cooling" and isinstance(spec, (AirCoreSpec, ExchangerSpec)):
        return spec.bench_cooling_flow
    if side == "coolant" and isinstance(spec, (WaterCoreSpec, ExchangerSpec)) and spec.bench_coolant_flow:
        return spec.bench_coolant_flow * float(plant.arrays.loop_density[plant.arrays.passes[p, layout.P_PATH]])
    return None


def _side_words(side: str) -> str:
    return {"charge": "charge", "coolant": "coolant", "cooling": "cooling-air"}[side]


def warnings_of(plant: Plant, solution: Solution, streams: Streams, fuel: np.ndarray) -> list[str]:
    """Sentences on what a forecast found that a user must know before full load."""
    words = (
        list(plant.warnings) + list(plant.build.notes) + list(plant.demand.notes) + list(plant.charge.compressor.notes)
    )
    spec = plant.build.engine
    count = engine.injector_count(spec)
    peak = float(fuel.max())
    if spec.injector_capacity is not None:
        share = peak / count / spec.injector_capacity
        if share > 0.85:
            words.append(
                f"injectors: peak fuel flow asks {share:.0%} of each injector's capacity; "
                "more air needs more fuel, check before full load"
            )
    for i, loop in enumerate(plant.loops):
        flow = streams.pumped(i)
        if float(np.abs(flow).max()) < 1e-6:
            words.append(f"{loop.loop.name} loop: nothing moved the coolant in this session")
        mean = solution.scalars[:, 4 + len(plant.sensors) + i]
        if float(mean.min()) < loop.coolant.freezing_point + 1.0:
            words.append(f"{loop.loop.name} loop: the coolant comes within 1 K of freezing")
    return words
