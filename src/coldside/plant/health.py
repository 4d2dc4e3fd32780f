"""How far to trust a forecast, in sentences: what was extrapolated, and what a user must know before full load."""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np

from coldside.parts import engine
from coldside.parts.exchanger import AirCoreSpec, ExchangerSpec, WaterCoreSpec, geometry_of, rate
from coldside.parts.rating import BENCH_RANGE, SizedRating, doubt_beyond_bench
from coldside.plant import layout
from coldside.plant.assemble import Plant
from coldside.plant.charge import ChargeState, StageState
from coldside.plant.flows import BYPASS, LEAK
from coldside.plant.results import Forecast
from coldside.plant.traces import Solution, Streams, leaving_start

CELLS_MISS_ALLOWED = 3e-3  # of the heat carried
DOUBT_TOLD = 0.05  # of a conductance: less is below what its bench point is good for (own)
SPOOLING = 1.0  # s under the lowest line of a map that any spool-up spends there
BACKWARDS = 1e-3  # kg/s of air against its path that is worth a word
SURGE_RATIO = 1.3  # below it there is little pressure to run back: the line itself is doubtful there (own)
# of a face with a heat of its own, in the words of an owner; `judge/airways.py` says whether it matters
STARVED = f"too little air to carry off its heat below {layout.FACE_HOTTEST - 273.15:.0f} degC"
TABLE_MISS_ALLOWED = 1.0  # K of compressor outlet: what a charge core leaves of it stays near 0.2 K of intake (own)


def _edges(state: ChargeState) -> tuple[tuple[np.ndarray, str], ...]:
    """The edges of a compressor map that no compressor can pass, and the words for running beyond each."""
    operating = state.operating
    gentle = _surging(state.stages, above=0.0) & ~_surging(state.stages)
    return (
        (_surging(state.stages), "ran left of the compressor map's surge line"),
        (operating.beyond_choke, "ran beyond the compressor map's choke line"),
        (operating.above_speed, "ran above the compressor map's highest speed line"),
        (gentle, f"ran left of the compressor map's surge line at pressure ratios of {SURGE_RATIO:g} or less"),
    )


def _surging(stages: Sequence[StageState], above: float = SURGE_RATIO) -> np.ndarray:
    """Where a stage runs left of its surge line at a pressure ratio above `above`."""
    return np.any([stage.operating.beyond_surge & (stage.pressure_ratio > above) for stage in stages], axis=0)


def seconds_off_map(plant: Plant, state: ChargeState) -> float:
    """Time in boost that the compressor spends beyond the choke or highest speed line of its map, s."""
    beyond = (state.operating.beyond_choke | state.operating.above_speed) & plant.arrays.boost.astype(bool)
    return float(np.count_nonzero(beyond)) * plant.arrays.step


def seconds_surging(forecast: Forecast) -> float:
    """Time in boost that a compressor spends left of its surge line at pressure ratios above SURGE_RATIO, s."""
    if not forecast.stages:
        return 0.0
    beyond = _surging(forecast.stages) & forecast.boost
    return float(np.count_nonzero(beyond)) * float(forecast.time[1] - forecast.time[0])


def extrapolated(plant: Plant, solution: Solution, state: ChargeState) -> list[str]:
    """Sentences on every map, rating or fit that was left."""
    found = []
    operating, time = state.operating, plant.demand.time
    for mask, words in _edges(state):
        seconds = float(np.count_nonzero(mask)) * plant.arrays.step
        if seconds > 0.0:
            found.append(
                f"{plant.charge.compressor_name} {words} for {seconds:.1f} s, "
                f"first at {_clock(time[int(np.argmax(mask))])}; its edge was used"
            )
    boost = plant.arrays.boost.astype(bool)
    slow = operating.below_speed & boost
    if _longest_run(slow) * plant.arrays.step > SPOOLING:
        found.append(
            f"{plant.charge.compressor_name} ran below the compressor map's lowest speed line in boost "
            f"for {np.count_nonzero(slow) * plant.arrays.step:.1f} s: what is below it is an estimate"
        )
    found.extend(_charge_missed(plant, solution, state))
    found.extend(_cells_missed(plant, solution))
    found.extend(_ducts_left(plant, solution))
    found.extend(_bench_left(plant, solution))
    found.extend(_surfaces_left(plant, solution))
    for i, loop in enumerate(plant.loops):
        mean = solution.scalars[:, 4 + len(plant.sensors) + i]
        for T in (float(mean.min()), float(mean.max())):
            found.extend(f"{loop.loop.name} loop: {words}" for words in loop.coolant.extrapolated(T))
    return found


def _lasting(seconds: float) -> str:
    """A length of time as one would say it."""
    return f"{seconds:.0f} s" if seconds < 99.5 else f"{seconds / 60.0:.0f} min"


def _clock(seconds: float) -> str:
    """Time into the session as minutes and seconds, as the verdict says it."""
    minutes, rest = divmod(int(seconds + 0.5), 60)
    return f"{minutes // 60}:{minutes % 60:02d}:{rest:02d}" if minutes >= 60 else f"{minutes}:{rest:02d}"


def _bench_left(plant: Plant, solution: Solution) -> list[str]:
    """Parts used far from the flows they were measured at, and what that costs in trust (heat note B4)."""
    boost, found = plant.arrays.boost.astype(bool), []
    for p, name in enumerate(plant.passes):
        spec = plant.build.parts.get(name.part)
        bench = _bench_flow(spec, name.side, plant, p)
        if bench is None:
            continue
        ratio = np.abs(solution.streams[:, p, 2]) / bench
        most, flow = float(ratio.max()), f"{name.part}'s {_side_words(name.side)} flow"
        if most > BENCH_RANGE[1]:
            words = f"{flow} is up to {most:.1f} times the point it was measured at"
        elif boost.any() and (most := float(ratio[boost].max())) < BENCH_RANGE[0]:
            words = f"{flow} in boost stays below half the point it was measured at"
        else:
            continue
        doubt = doubt_words(most)
        if doubt is not None:
            found.append(f"{words}: {doubt}")
    return found


def doubt_words(share: float) -> str | None:
    """What it costs in trust to use a part at `share` of its bench flow; None for a doubt below DOUBT_TOLD."""
    doubt = doubt_beyond_bench(share)
    if doubt < DOUBT_TOLD:
        return None
    return f"what heat it moves there is uncertain by another {100.0 * doubt:.0f} %"


def _surfaces_left(plant: Plant, solution: Solution) -> list[str]:
    """Parts known by sizes and fins alone, whose fins lie outside what their formulas were measured on.

    At the middle of their flows, in boost where there is any.
    """
    boost, found = plant.arrays.boost.astype(bool), []
    some = boost if boost.any() else np.ones_like(boost)
    for name, spec in plant.build.parts.items():
        if not isinstance(spec, (WaterCoreSpec, AirCoreSpec, ExchangerSpec)) or geometry_of(spec) is None:
            continue
        mine = [p for p, made in enumerate(plant.passes) if made.part == name]
        loop = next((i for i, loop in enumerate(plant.loops) if name in loop.network.names), None)
        T = plant.demand.ambient_middle
        if loop is not None:
            T = float(np.median(_as_tabulated(plant, loop, solution.scalars[some, 4 + len(plant.sensors) + loop])))
        coolant = None if loop is None else plant.loops[loop].coolant
        rating = rate(spec, coolant)
        assert isinstance(rating, SizedRating)
        one, two = (float(np.median(np.abs(solution.streams[some, p, 2]))) for p in mine)
        found += [f"{name}: {_measured_at(words)}" for words in rating.extrapolated(one, two, T, coolant)]
    return found


def _measured_at(words: str) -> str:
    """ "tube fins, Re = 66 is below 120, the range of its source" for one who builds cars."""
    found = _OUTSIDE.match(words)
    if found is None:
        return words
    value, bound = float(found["value"]), float(found["bound"])
    if found["number"] != "Re" or min(value, bound) <= 0.0:
        return (
            f"{found['surface']}, its formula was not measured with a liquid so {'thin' if value < bound else 'thick'}"
        )
    times, how = (bound / value, "slower") if value < bound else (value / bound, "faster")
    return f"{found['surface']}, the flow through it is {times:.2g} times {how} than its formula was measured at"


_OUTSIDE = re.compile(
    r"(?P<surface>.*), (?P<number>Re|Pr) = (?P<value>\S+) is (?:below|above) (?P<bound>[^\s,]+), the range"
)


def _as_tabulated(plant: Plant, loop: int, T: np.ndarray) -> np.ndarray:
    """A loop's temperatures [K] as its tables took them: held at their ends (a loop whose pump is dead boils away)."""
    A = plant.arrays
    low = A.loop_origin[loop]
    return np.clip(T, low, low + A.loop_step[loop] * (A.loop_shape[loop, 1] - 1))


def _longest_run(mask: np.ndarray) -> int:
    """Samples in the longest unbroken stretch where `mask` is true."""
    edges = np.diff(np.concatenate([[0], mask.astype(np.int8), [0]]))
    return int((np.flatnonzero(edges < 0) - np.flatnonzero(edges > 0)).max(initial=0))


def _charge_missed(plant: Plant, solution: Solution, state: ChargeState) -> list[str]:
    """Every compressor's outlet as tabulated for the kernel against the exact balance at the same temperatures."""
    n_before = 4 + len(plant.sensors) + len(plant.loops) + len(plant.ducts)
    found = []
    for stage, column in zip(state.stages, (1, n_before + 2), strict=False):
        off = np.abs(solution.scalars[:, column] - stage.outlet)
        miss = np.where(plant.demand.engine_speed > 0.0, off, 0.0)
        at = int(np.argmax(miss))
        if miss[at] > TABLE_MISS_ALLOWED:
            over = float(solution.scalars[at, 3] - plant.demand.ambient_temperature[at])
            found.append(
                f"the outlet temperature of {stage.name} is up to {miss[at]:.1f} K off its exact value, "
                f"at {_clock(plant.demand.time[at])} with the charge {over:.0f} K over ambient: "
                "the table of the charge side is coarse there"
            )
    return found


def _ducts_left(plant: Plant, solution: Solution) -> list[str]:
    """Ducts whose air left what can be said of it: hotter than tabulated, face held back, branch run backwards."""
    A, found = plant.arrays, []
    n_before = 4 + len(plant.sensors) + len(plant.loops)
    for d, duct in enumerate(plant.ducts):
        T = solution.scalars[:, n_before + d]
        top = plant.demand.ambient_temperature + A.duct_origin[d, 0] + A.duct_step[d, 0] * (A.duct_shape[d, 2] - 1)
        at = int(np.argmax(T - top))
        if T[at] > top[at]:
            found.append(
                f"{duct.duct.name} duct: its air reaches {T[at] - 273.15:.0f} degC; "
                f"its flow was taken as at {top[at] - 273.15:.0f} degC"
            )
        if len(duct.network.links) >= duct.network.nodes:  # more links than a single row has: branches
            found.extend(_backwards(plant, solution, d))
    for p in np.flatnonzero(A.duct_heat > 0.0):
        rise = solution.streams[:, p, 1] - solution.streams[:, p, 0]
        first = leaving_start(A, layout.COOLING, int(A.passes[p, layout.P_PATH]))[0]
        most = layout.FACE_HOTTEST - solution.streams[:, first, 0]  # of air as the duct draws it
        seconds = float(np.count_nonzero(rise >= most - 1e-6)) * A.step
        if seconds > 0.0:
            found.append(f"{plant.passes[p].part}: {STARVED} for {_lasting(seconds)}; it was taken to give less there")
    return found


def _backwards(plant: Plant, solution: Solution, d: int) -> list[str]:
    """Branches of a duct through which air would run backwards; the kernel takes it as standing."""
    duct = plant.ducts[d]
    some = np.unique(np.linspace(0, len(plant.demand.time) - 1, 200).astype(int))
    command = {name: plant.levels[k][solution.levels[some, k]] for k, name in enumerate(plant.devices)}
    T = solution.scalars[some, 4 + len(plant.sensors) + len(plant.loops) + d]
    speed = np.maximum(plant.demand.air_speed[duct.duct.name][some], 0.0)
    m = duct.flow(plant.build, speed, T, {name: command[name] for name in duct.fans}, plant.around)
    return [
        f"{duct.duct.name} duct: up to {-m[:, k].min():.2g} kg/s of air would run backwards through {_way(name)}, "
        "drawn by the branch beside it; it is taken as standing"
        for k, name in enumerate(duct.network.names)
        if float(m[:, k].min()) < -BACKWARDS
    ]


def _way(name: str) -> str:
    """A link of a duct in words."""
    if name.startswith(LEAK):
        return "the gaps beside its faces"
    return f"the open strip {name}" if name.startswith(BYPASS) else name


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
            _as_tabulated(plant, A.table_loop[k], solution.scalars[some, 4 + n_sensors + A.table_loop[k]])
            if A.table_loop[k] >= 0
            else plant.demand.ambient_temperature[some]
        )
        _, _, miss = coefficient.exact(np.abs(streams[:, one, 2]), np.abs(streams[:, two, 2]), T)
        heat = np.abs(streams[:, one, 2] * (streams[:, one, 0] - streams[:, one, 1]))
        mean = float(np.average(np.abs(miss), weights=heat)) if heat.sum() > 0.0 else 0.0
        if mean > CELLS_MISS_ALLOWED:
            found.append(
                f"{plant.passes[one].part}: in small pieces, the heat it moves is {100.0 * mean:.1f} % off what "
                "the exact formula for its kind gives, averaged over the session"
            )
    return found


def _bench_flow(spec: object, side: str, plant: Plant, p: int) -> float | None:
    if side == "charge" and isinstance(spec, (WaterCoreSpec, AirCoreSpec)):
        # what arrives when the bench flow passes the core and the rest slips past it
        return None if spec.bench_charge_flow is None else spec.bench_charge_flow / (1.0 - spec.charge_bypass)
    if side == "cooling" and isinstance(spec, (AirCoreSpec, ExchangerSpec)):
        return spec.bench_cooling_flow
    if side == "coolant" and isinstance(spec, (WaterCoreSpec, ExchangerSpec)) and spec.bench_coolant_flow:
        return spec.bench_coolant_flow * float(plant.arrays.loop_density[plant.arrays.passes[p, layout.P_PATH]])
    return None


def _side_words(side: str) -> str:
    return {"charge": "charge", "coolant": "coolant", "cooling": "cooling-air"}[side]


def warnings_of(plant: Plant, streams: Streams, fuel: np.ndarray) -> list[str]:
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
                f"injectors: peak fuel flow asks {100.0 * share:.0f} % of each injector's capacity; "
                "more air needs more fuel, check before full load"
            )
    for i, loop in enumerate(plant.loops):
        words.extend(_bench_reread(plant, loop.loop.name, loop.network.names))
        flow = streams.pumped(i)
        if float(np.abs(flow).max()) < 1e-6:
            words.append(f"{loop.loop.name} loop: nothing moved the coolant in this session")
    return words


def _bench_reread(plant: Plant, loop: str, names: tuple[str, ...]) -> list[str]:
    """A coolant changed by --set while the bench coolant is not given: bench points change their meaning with it."""
    given = plant.build.givens.get(f"loops.{loop}.coolant")
    rated = [
        n
        for n in names
        if getattr(plant.build.parts[n], "bench_coolant", "") is None and plant.build.parts[n].bench_coolant_flow
    ]
    if given is None or given.origin != "set" or not rated:
        return []
    words = (
        f"{', '.join(rated)}: bench_coolant is not given, so the ratings are now read as taken with "
        f"{plant.build.loops[loop].coolant}; say what the bench ran to compare coolants on equal terms"
    )
    return [words]
