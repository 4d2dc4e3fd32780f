"""When a pump or fan dies, or a hose lets go, before the worst moment: how long there is, and what warns.

Here: `failures`, cheap enough for every verdict: one coarse plant, marched once up to where they die, and from the
state there once more for each part that can die, to the end of that boost.  Not here: its words and JSON
(`failure_words.py`), a part that has its fault from the start (key `fault`), leaks that take minutes.

It dies at the beginning of the boost in which least is left of the limit that is told (`judge/worst.py`), or `WINDOW`
before that moment in a longer one; burnout and launch are none of it.  A hose that lets go is reckoned as a loop empty
at once, its cores dry.  What the coarse plant is off by with all well is taken off it with a part dead, sample
by sample.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np

from coldside.build.model import Build, names_on
from coldside.duty.model import SAMPLE_TIME, Demand, LimitSpec
from coldside.explore.commands import OFF, ON
from coldside.explore.outcome import COARSE, thinned
from coldside.judge.coolant import BOILING_MARGIN
from coldside.judge.power import boost_in_runs
from coldside.judge.verdict import limited_trace, temperature_trace
from coldside.judge.worst import worst_sample
from coldside.media.coolants import parse_coolant
from coldside.parts.airflow import FanSpec
from coldside.parts.exchanger import WaterCoreSpec
from coldside.parts.lines import HoseSpec
from coldside.parts.pump import PumpSpec
from coldside.plant import layout
from coldside.plant.assemble import Plant, assemble
from coldside.plant.forecast import solve
from coldside.plant.results import Forecast
from coldside.plant.traces import Solution, Streams

WINDOW = 60.0  # s before the peak at which a part dies in a boost longer than that
GAP = 3.0  # s without boost that part no two stretches of it: a shift, a corner
REACTION = 1.5  # s from a reading to the throttle shut (a guess of ours)
SWITCH = 1.0  # s from a failure to a lamp by a switch (a guess of ours)
CLEARLY = 1.0  # K by which a reading must pass what it reads when all is well, to tell anything
SOONER = 0.5  # s by which a limit that gives anyway must give sooner for a failure to count
LIMITED = ("intake", "sensor", "over_ambient", "margin", "coolant")
FEWEST = 16  # samples of a session, and of what a plant is put together for, so that every level of command has one


@dataclass(frozen=True)
class Boiling:
    """Coolant that stands and gets within `BOILING_MARGIN` of boiling: where, how hot [K], where it boils [K]."""

    loop: str
    part: str
    hottest: float
    boils: float


@dataclass(frozen=True)
class Failure:
    """What happens when one part dies.

    `name` of the part, or of the loop whose hose lets go; `what` is pump, fan or hose; `at` s into the session, which
    is `WINDOW` before the worst moment if `within` its boost, else the beginning of that; `left` s from there to the
    end of that boost; `limit` the one that gives first, of those that would hold with all well if any of them gives;
    `to_limit` s until it does, None where none does or there is none; `anyway` s until it gives with all well, None
    where it holds; `peak` K of the intake in the rest of that boost, `warmer` K over that with all well; `lift_at` K,
    the sensor's reading from which lifting within `REACTION` keeps the limit, `lift_after` s when it is reached, None
    without limit, sensor or time; `well` K, the highest reading in boost with all well; `saved` s by which a switch
    tells before the reading does, None where no reading tells; `metal` K, the hottest metal of the loop's cores at the
    end of that boost, None for a fan; `boiling` where coolant left standing comes near it.
    """

    name: str
    what: str
    at: float
    left: float
    limit: LimitSpec | None
    to_limit: float | None
    anyway: float | None
    peak: float
    warmer: float
    lift_at: float | None
    lift_after: float | None
    well: float | None
    saved: float | None
    metal: float | None
    boiling: Boiling | None
    within: bool = False

    @property
    def matters(self) -> bool:
        """Whether it shows in that boost at all."""
        sooner = self.to_limit is not None and (self.anyway is None or self.anyway - self.to_limit > SOONER)
        return sooner or self.warmer >= 0.5 or self.boiling is not None


@dataclass(frozen=True)
class Failures:
    """All of them, the quickest to its limit first; `limits` are those looked at, `proposed` if the user gave none."""

    cases: tuple[Failure, ...]
    limits: tuple[LimitSpec, ...]
    proposed: bool = False


@dataclass(frozen=True)
class _March:
    """What limits on temperatures look at of one march from the worst moment on (`Temperatures`), K by its samples."""

    build: Build
    intake: np.ndarray
    sensor: np.ndarray | None
    coolant_in_cores: Mapping[str, np.ndarray]
    outlet: Mapping[tuple[str, str], np.ndarray]


@dataclass(frozen=True)
class _Doomed:
    """A part that can die: what it is, the device that stands still with it (a hose has none), the loop it serves."""

    name: str
    what: str
    device: str | None
    loop: str | None


def failures(forecast: Forecast, limits: Sequence[LimitSpec] | None = None) -> Failures:
    """What each pump and fan of a forecast, and a hose of each loop that cools the charge, does to it when it dies.

    `limits` in place of the session's own; those on a spread do not count.  Empty for a session without boost and for
    a build with nothing that can die.
    """
    wanted = forecast.session.limits if limits is None else limits
    looked_at = tuple(one for one in wanted if one.quantity in LIMITED)
    proposed = limits is None and forecast.session.proposed
    doomed = list(_doomed(forecast))
    if not doomed or len(forecast.time) < FEWEST or not forecast.boost[:: _every(forecast)].any():
        return Failures((), looked_at, proposed)
    scene = _Scene(forecast, looked_at)
    cases = [scene.case(one) for one in doomed if scene.runs(one)]
    cases.sort(key=lambda one: (np.inf if one.to_limit is None else one.to_limit, -one.warmer))
    return Failures(tuple(cases), looked_at, proposed)


def _doomed(forecast: Forecast) -> Iterator[_Doomed]:
    """Parts that can die."""
    build, told = forecast.build, forecast.command
    loop_of = {name: loop.name for loop in build.loops.values() for name in names_on(loop.path)}
    for name, spec in build.parts.items():
        if name in told and isinstance(spec, PumpSpec | FanSpec) and getattr(spec, "fault", "none") == "none":
            yield _Doomed(name, "pump" if isinstance(spec, PumpSpec) else "fan", name, loop_of.get(name))
    for loop in build.loops.values():
        specs = [build.parts.get(name) for name in names_on(loop.path)]
        if any(isinstance(spec, WaterCoreSpec) for spec in specs) and any(isinstance(spec, HoseSpec) for spec in specs):
            yield _Doomed(loop.name, "hose", None, loop.name)


def _every(forecast: Forecast) -> int:
    """Samples of a forecast for one of the coarse march; a forecast may be coarse itself."""
    return max(1, round(COARSE.every * SAMPLE_TIME / float(forecast.time[1] - forecast.time[0])))


def worst_stretch(forecast: Forecast, limits: Sequence[LimitSpec] | None = None) -> tuple[int, int]:
    """Samples of a forecast at which a part dies and at which that boost ends; the session must have boost.

    `limits` in place of the session's own.
    """
    begins, window, ends = _worst_boost(forecast, limits)
    return max(begins, window), ends


def _worst_boost(forecast: Forecast, limits: Sequence[LimitSpec] | None) -> tuple[int, int, int]:
    """Samples at which the boost that holds the worst moment begins, of `WINDOW` before that moment, and of its end."""
    time, on = forecast.time, np.flatnonzero(boost_in_runs(forecast))
    peak = worst_sample(forecast, limits)
    breaks = np.flatnonzero(np.diff(time[on]) > GAP)
    begins, ends = np.concatenate([[on[0]], on[breaks + 1]]), np.concatenate([on[breaks], [on[-1]]])
    k = int(np.searchsorted(begins, peak, side="right")) - 1
    return int(begins[k]), int(np.searchsorted(time, time[peak] - WINDOW)), int(ends[k])


def without_coolant(arrays: layout.Arrays, loop: int) -> layout.Arrays:
    """A plant's arrays with one loop run dry: its coolant still moves in them, but nothing is wetted by it."""
    passes = arrays.passes.copy()
    of_loop = (passes[:, layout.P_SORT] == layout.COOLANT) & (passes[:, layout.P_PATH] == loop)
    passes[of_loop, layout.P_WALL] = -1
    return arrays._replace(passes=passes)


class _Scene:
    """The coarse plant when a part dies, with the march that goes on as if all were well."""

    def __init__(self, forecast: Forecast, limits: Sequence[LimitSpec]) -> None:
        self.forecast, self.build, self.limits = forecast, forecast.build, limits
        every = _every(forecast)
        begins, window, last = _worst_boost(forecast, limits)
        first, self.within = max(begins, window), window > begins
        thin = thinned(forecast.demand, replace(COARSE, every=every))
        self.first = min(first // every, len(thin.time) - 2)
        self.last = min(max(-(-last // every), self.first + 1), len(thin.time) - 1)
        said = {name: np.unique(told) for name, told in forecast.command.items() if name in thin.command}
        fewest = max([FEWEST, *(len(levels) + 3 for levels in said.values())])
        demand = _until(thin, max(self.last + 1, fewest))
        plant = assemble(self.build, _with_levels(demand, said), COARSE.cells, grid=COARSE.grid)
        # the levels stand in the demand only so that the tables of flows have them: what is told is told below
        self.plant: Plant = replace(
            plant, demand=demand, arrays=plant.arrays._replace(step=thin.time[1] - thin.time[0])
        )
        at = np.minimum(np.arange(len(demand.time)) * every, len(forecast.time) - 1)
        self.did = np.stack([self._levels(k, forecast.command[name][at]) for k, name in self._numbered()], 1)
        self.start = self._march(0, self.first, self.plant.start, self.did).end
        self.rows = at[self.first : self.last + 1]  # samples of the forecast
        self.time, self.boost = forecast.time[self.rows], boost_in_runs(forecast)[self.rows]
        if not self.boost.any():  # a boost so short that it lies between two samples
            self.boost = np.ones_like(self.boost)
        self.well = self._march(self.first, self.last, self.start, self.did)
        self.seen = self._looked_at(self.well, forecast.intake[self.rows], self.plant)
        self.fine = [self._fine(limit) for limit in limits]

    def _numbered(self) -> list[tuple[int, str]]:
        return list(enumerate(self.plant.devices))

    def _levels(self, device: int, told: np.ndarray) -> np.ndarray:
        """Level indices of a device's command, -1 where its own control decides; the nearest level otherwise."""
        known, own = self.plant.levels[device], np.isnan(told)
        nearest = np.abs(np.where(own, OFF, told)[:, None] - known[None, :]).argmin(axis=1)
        return np.where(own, -1, nearest).astype(np.int64)

    def _march(
        self, first: int, last: int, start: np.ndarray, levels: np.ndarray, plant: Plant | None = None
    ) -> Solution:
        """From sample to sample of the thinned demand, both counted."""
        chosen, rows = plant or self.plant, slice(first, last + 1)
        A = chosen.arrays
        cut = A._replace(inputs=A.inputs[rows], boost=A.boost[rows], level=A.level[rows])
        return solve(replace(chosen, arrays=cut, start=start), levels=levels[rows])

    def _looked_at(self, solution: Solution, intake: np.ndarray, plant: Plant) -> _March:
        """What limits look at of one march."""
        A = plant.arrays
        streams, first_mean = Streams(plant, solution), 4 + len(plant.sensors)
        of_charge = np.flatnonzero(A.sensor_sort == layout.CHARGE)
        return _March(
            build=self.build,
            intake=intake,
            sensor=solution.scalars[:, 4 + of_charge[-1]] if len(of_charge) else None,
            coolant_in_cores={
                loop.loop.name: streams.into_cores(i, solution.scalars[:, first_mean + i])
                for i, loop in enumerate(plant.loops)
            },
            outlet={
                (p.part, p.side): solution.streams[:, i, 1]
                for i, p in enumerate(plant.passes)
                if A.passes[i, layout.P_SORT] == layout.COOLANT
            },
        )

    def _fine(self, limit: LimitSpec) -> np.ndarray | None:
        """What is left of a limit in the forecast itself, over the rows; None where it cannot be judged."""
        trace, _, _ = limited_trace(self.forecast, limit.quantity, limit.loop)
        return None if trace is None else _room(limit, trace[self.rows])

    def runs(self, one: _Doomed) -> bool:
        """Whether the part does anything there that can stop."""
        if one.device is None:
            return True
        k = self.plant.devices.index(one.device)
        return bool(self.plant.levels[k][self.did[self.first : self.last + 1, k]].max() > OFF)

    def _dead(self, one: _Doomed) -> tuple[Solution, Plant]:
        """The march with the part dead; the others do what their own control or the session tells them."""
        demand, wanted = self.plant.demand, self.did.copy()
        for k, name in self._numbered():
            later = slice(self.first + 1, None)
            wanted[later, k] = self._levels(k, np.broadcast_to(demand.command[name], demand.time.shape)[later])
            if name == one.device:
                wanted[self.first :, k] = int(np.argmin(self.plant.levels[k]))
        plant = self.plant
        if one.what == "hose":
            number = next(i for i, loop in enumerate(plant.loops) if loop.loop.name == one.loop)
            plant = replace(plant, arrays=without_coolant(plant.arrays, number))
        return self._march(self.first, self.last, self.start, wanted, plant), plant

    def case(self, one: _Doomed) -> Failure:
        """One failure against the march with all well."""
        solution, plant = self._dead(one)
        risen = solution.intake - self.well.intake
        intake = self.forecast.intake[self.rows] + risen
        seen = self._looked_at(solution, intake, plant)
        limit, to_limit, anyway = self._first_limit(one, seen, risen)
        start = float(self.time[0])
        sensors = self.forecast.sensor, self.seen.sensor, seen.sensor
        well = None if sensors[0] is None else float(sensors[0][self.forecast.boost].max())
        made = Failure(
            name=one.name,
            what=one.what,
            at=start,
            left=float(self.time[-1]) - start,
            limit=limit,
            to_limit=to_limit,
            anyway=anyway,
            peak=float(intake[self.boost].max()),
            warmer=float(intake[self.boost].max() - self.forecast.intake[self.rows][self.boost].max()),
            lift_at=None,
            lift_after=None,
            well=well,
            saved=None,
            metal=self._metal(one, solution),
            boiling=self._boiling(one, solution, seen),
            within=self.within,
        )
        if to_limit is None or sensors[0] is None or well is None or to_limit <= REACTION:
            return made
        reading = sensors[0][self.rows] + sensors[2] - sensors[1]
        after = to_limit - REACTION
        lift_at = float(np.interp(start + after, self.time, reading))
        tells = lift_at > well + CLEARLY
        return replace(made, lift_at=lift_at, lift_after=after, saved=max(after - SWITCH, 0.0) if tells else None)

    def _first_limit(
        self, one: _Doomed, seen: _March, risen: np.ndarray
    ) -> tuple[LimitSpec | None, float | None, float | None]:
        """The limit that gives first, of those that would hold with all well if any; when, and when anyway."""
        found = []
        for limit, fine in zip(self.limits, self.fine, strict=True):
            if fine is None or (one.what == "hose" and limit.quantity == "coolant"):  # there is none left
                continue
            gone = self._change(limit, seen, risen)
            anyway = self._gives(limit, fine)
            seconds = self._gives(limit, fine - gone)
            if seconds is not None:
                found.append((anyway is not None, seconds, limit, anyway))
        if not found:
            return None, None, None
        _, seconds, limit, anyway = min(found, key=lambda item: item[:2])
        return limit, seconds, anyway

    def _change(self, limit: LimitSpec, seen: _March, risen: np.ndarray) -> np.ndarray:
        """By how much the dead part takes from what is left of a limit, K: every one counts in kelvin."""
        if limit.quantity not in ("sensor", "coolant"):
            return risen
        well, dead = (temperature_trace(one, limit.quantity, limit.loop)[0] for one in (self.seen, seen))
        return risen if well is None or dead is None else dead - well

    def _gives(self, limit: LimitSpec, left: np.ndarray) -> float | None:
        """From the failure until nothing is left of a limit where it counts, s, linear between samples."""
        counts = self.boost if limit.during == "boost" else np.ones_like(self.boost)
        passed = np.flatnonzero((left < 0.0) & counts)
        if not passed.size:
            return None
        k = int(passed[0])
        start = float(self.time[0])
        if k == 0 or not left[k - 1] >= 0.0:
            return float(self.time[k]) - start
        share = left[k - 1] / (left[k - 1] - left[k])
        return float(self.time[k - 1] + share * (self.time[k] - self.time[k - 1])) - start

    def _cores(self, loop: str | None) -> list[str]:
        if loop is None:
            return []
        names = names_on(self.build.loops[loop].path)
        return [name for name in names if isinstance(self.build.parts.get(name), WaterCoreSpec)]

    def _nodes(self, solution: Solution, name: str) -> np.ndarray:
        """Temperatures of a block of nodes at the end of the stretch."""
        A, f = self.plant.arrays, self.plant.fields.index(name)
        return solution.end[A.field_first[f] : A.field_first[f] + A.field_count[f]]

    def _metal(self, one: _Doomed, solution: Solution) -> float | None:
        cores = self._cores(one.loop)
        return max((float(self._nodes(solution, f"{core} metal").max()) for core in cores), default=None)

    def _boiling(self, one: _Doomed, solution: Solution, seen: _March) -> Boiling | None:
        """Coolant left standing: where it gets hottest, if that is near boiling."""
        if one.what != "pump" or one.loop is None:
            return None
        loop = self.build.loops[one.loop]
        coolant = parse_coolant(loop.coolant)
        names = set(names_on(loop.path))
        hottest = {part: float(T.max()) for (part, side), T in seen.outlet.items() if {part, f"{part}.{side}"} & names}
        for core in self._cores(one.loop):
            hottest[core] = float(self._nodes(solution, f"{core} coolant").max())
        part = max(hottest, key=lambda name: hottest[name])
        boils = coolant.boiling_point(self.forecast.demand.ambient_pressure + (loop.cap_pressure or 0.0))
        if coolant.is_oil or hottest[part] < boils - BOILING_MARGIN:
            return None
        return Boiling(one.loop, part, hottest[part], boils)


def _room(limit: LimitSpec, trace: np.ndarray) -> np.ndarray:
    return trace - limit.bound if limit.lowest else limit.bound - trace


def _until(demand: Demand, count: int) -> Demand:
    """The demand's first `count` samples."""
    n = len(demand.time)
    arrays = {item.name: getattr(demand, item.name) for item in fields(demand)}
    kept: dict[str, Any] = {
        name: values[:count] for name, values in arrays.items() if isinstance(values, np.ndarray) and len(values) == n
    }
    return replace(
        demand,
        **kept,
        air_speed={name: speed[:count] for name, speed in demand.air_speed.items()},
        command={
            name: told[:count] if np.ndim(told) and len(told) == n else told for name, told in demand.command.items()
        },
        spans=tuple(replace(one, last=min(one.last, count - 1)) for one in demand.spans if one.first < count),
        runs=(),
    )


def _with_levels(demand: Demand, said: Mapping[str, np.ndarray]) -> Demand:
    """The demand with every level that a device was told, and off, somewhere in it."""
    told = {}
    for name, levels in said.items():
        trace = np.broadcast_to(demand.command[name], demand.time.shape).copy()
        known = np.unique(np.concatenate([trace[np.isfinite(trace)], levels, [OFF, ON]]))
        trace[: len(known)] = known
        told[name] = trace
    return replace(demand, command={**demand.command, **told})
