"""A car driven as fast as tyres and engine allow: the pure `advance`, and the tables that it looks into.

What is here: wheel force in each gear with boost that lags, gears and shift points, grip, speed caps of a
course, one step in time.  What is not: where the caps come from (`laps.py`), what a pass is made of
(`runs.py`), heat: it comes in as the share of full-load power that is there.

Boost between shifts.  What the compressor could give (`spool`) follows what is asked with the engine's
boost lag and runs down three times as slowly while the throttle is shut, so that a short lift costs
little (the ratio is our own, common practice, no source).  Where tyres or a bend hold the car back, it tends to
as much of the boost target as the throttle is open: all of it with the plenum at ambient, none at idle (own,
common practice, no source).  A bend at the limit of grip is driven with a throttle all but shut; a rule that jumps
there would let chance decide how much boost the exit has, and what heat costs is a difference of lap times.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from coldside.build.model import Build
from coldside.duty import road
from coldside.duty.load import Surroundings, friction_power, full_load_power
from coldside.parts import engine as engines
from coldside.parts.engine import CarSpec

if TYPE_CHECKING:
    from coldside.duty import marching

STEP = 0.02  # s of a march; half of it moves a quarter mile by some hundredths of a millisecond
LIMITER = 0.01  # share over top speed in which power falls to nothing
FASTEST = 140.0  # m/s, what no car here exceeds
_ROWS = 400  # of the tables over engine speed
_ROOM = 4096  # rows of a march that are made at a time


@dataclass(frozen=True)
class Powertrain:
    """Engine and gearing of one build in one day's air, as tables on equal steps of engine speed.

    `full` and `friction` W at the crank, `top` Pa absolute, on rows `step` [rev/s] apart from 0 on; by gear
    `ratio` rev/m (engine turns for each metre), `inertia` (1 + turning masses as a share) and `shift_at` m/s,
    infinite for the top gear; `idle` and `lowest` are plenum pressure at idle, Pa, and idle speed, rev/s;
    `ambient` Pa, `density` kg/m3, `lag` s.
    """

    car: CarSpec
    step: float
    full: Sequence[float]
    friction: Sequence[float]
    top: Sequence[float]
    ratio: tuple[float, ...]
    inertia: tuple[float, ...]
    shift_at: tuple[float, ...]
    idle: float
    lowest: float
    top_speed: float
    ambient: float
    density: float
    lag: float

    @property
    def fastest(self) -> float:
        """Road speed in top gear at which power has fallen to nothing, m/s; no driver lets the car past it."""
        return min((1.0 + LIMITER) * self.top_speed / min(self.ratio), FASTEST)

    @cached_property
    def numbers(self) -> marching.CarNumbers:
        """The same as bare numbers for the compiled march."""
        from coldside.duty import marching

        car = self.car
        return marching.CarNumbers(
            tables=np.array([self.full, self.friction, self.top], dtype=float),
            step=float(self.step),
            ratio=np.array(self.ratio, dtype=float),
            inertia=np.array(self.inertia, dtype=float),
            shift_at=np.array(self.shift_at, dtype=float),
            idle=float(self.idle),
            lowest=float(self.lowest),
            ambient=float(self.ambient),
            density=float(self.density),
            lag=float(self.lag),
            mass=float(car.mass),
            drag_area=float(car.drag_area),
            rolling=float(car.rolling_resistance),
            efficiency=float(car.driveline_efficiency),
            grip=float(car.grip),
            downforce_area=float(car.downforce_area),
            drive=("rear", "front", "all").index(car.drive),
            front_share=float(car.front_share),
            lever=float(car.cg_height / car.wheelbase),
            shift_time=float(car.shift_time),
            open_shift=car.shift_throttle == "open",
        )


def powertrain(build: Build, around: Surroundings) -> Powertrain:
    """The tables of a build in its surroundings; power falls to nothing within 1 % above top speed."""
    spec, car = build.engine, build.car
    n = np.linspace(0.0, 1.1 * spec.top_speed, _ROWS)
    limiter = np.clip((1.0 + LIMITER - n / spec.top_speed) / LIMITER, 0.0, 1.0)
    full = full_load_power(spec, n, around) * limiter
    gears = np.arange(1, len(car.gears) + 1)
    return Powertrain(
        car=car,
        step=float(n[1]),
        full=full.tolist(),
        friction=friction_power(spec, n).tolist(),
        top=engines.boost_target(spec, n, around.pressure).tolist(),
        ratio=tuple(float(x) for x in road.engine_speed_in(car, 1.0, gears)),
        inertia=tuple(1.0 + float(x) for x in road.rotating_share(car, gears)),
        shift_at=shift_speeds(car, spec.top_speed, n, full),
        idle=spec.idle_plenum * around.pressure,
        lowest=spec.idle_speed,
        top_speed=spec.top_speed,
        ambient=around.pressure,
        density=float(around.density),
        lag=spec.boost_lag,
    )


def shift_speeds(car: CarSpec, top_speed: float, n: np.ndarray, power: np.ndarray) -> tuple[float, ...]:
    """Road speed at which each gear is left at full load, m/s: infinite for the top gear.

    The speed from which the next gear pulls harder at the wheels, or top speed [rev/s] where that comes
    first (design notes e3).  `power` is full-load power [W] over engine speeds `n` [rev/s].
    """
    found = []
    for gear in range(1, len(car.gears)):
        last = float(road.road_speed_in(car, top_speed, gear))
        v = np.linspace(0.2 * last, last, 400)
        here, above = (np.interp(road.engine_speed_in(car, v, g), n, power) for g in (gear, gear + 1))
        better = (above >= here) & (v > 0.5 * last)  # at low speed a turbo engine may pull harder nowhere
        found.append(float(v[np.argmax(better)]) if better.any() else last)
    return (*found, math.inf)


@dataclass(frozen=True)
class Course:
    """Where the car is driven and how: arrays on equal steps of distance, or the same everywhere.

    `step` m; `cap` the speed that brakes and bends allow, m/s; `curvature` 1/m; `grade` rise over run; closed
    courses are walked round.  `headwind` m/s; `slip` the engine speed that clutch or converter hold at the
    start, rev/s; `pace` the share of grip used; `throttle` the share of full load that the driver uses.
    """

    step: float = 1.0
    cap: Sequence[float] = (FASTEST,)
    curvature: Sequence[float] = (0.0,)
    grade: Sequence[float] = (0.0,)
    closed: bool = True
    headwind: float = 0.0
    slip: float = 0.0
    pace: float = 1.0
    throttle: float = 1.0

    @cached_property
    def numbers(self) -> marching.CourseNumbers:
        """The same as bare numbers for the compiled march."""
        from coldside.duty import marching

        return marching.CourseNumbers(
            step=float(self.step),
            cap=np.array(self.cap, dtype=float),
            curvature=np.array(self.curvature, dtype=float),
            grade=np.array(self.grade, dtype=float),
            closed=bool(self.closed),
            headwind=float(self.headwind),
            slip=float(self.slip),
            pace=float(self.pace),
            throttle=float(self.throttle),
        )


class RunState(NamedTuple):
    """State of a run: s, m, m/s, gear from 1, Pa that the compressor could give, s of the shift left.

    Behind it what was asked in the step that led here: engine speed rev/s, plenum Pa absolute, whether the
    driver asked for all there was; and what rules it.
    """

    time: float
    distance: float
    speed: float
    gear: int
    spool: float
    shift_left: float
    engine_speed: float
    plenum: float
    full_load: bool
    car: Powertrain
    course: Course


def standing(car: Powertrain, course: Course, boost: float | None = None) -> RunState:
    """A car on the start line in first gear; `boost` is the plenum pressure held there, Pa absolute."""
    held = car.ambient if boost is None else max(boost, car.ambient)
    return RunState(0.0, 0.0, 0.0, 1, held, 0.0, max(course.slip, car.lowest), held, False, car, course)


def advance(state: RunState, power_fraction: float, dt: float) -> RunState:
    """The state `dt` seconds later, where `power_fraction` of the full-load power is there.  Pure.

    Midpoint rule between events; starts and ends of shifts are met exactly.
    """
    from coldside.duty import marching  # Numba is imported only when something is driven

    row = marching.drive_on(
        marching.Row(*state[:9]), state.car.numbers, state.course.numbers, float(power_fraction), float(dt)
    )
    return RunState._make((*row, state.car, state.course))


@dataclass(frozen=True)
class Driven:
    """A march written down: arrays over `time` [s from its start], and the marks that were asked for.

    `marks` has for each place asked the (time, speed) at which it was passed, between steps.
    """

    time: np.ndarray
    distance: np.ndarray
    speed: np.ndarray
    engine_speed: np.ndarray
    plenum: np.ndarray
    full_load: np.ndarray
    marks: tuple[tuple[float, float], ...]
    end: RunState


Share = tuple[np.ndarray, np.ndarray]  # distance [m], rising, and share of full-load power there
_WHOLE: Share = (np.zeros(1), np.ones(1))


def march(
    state: RunState,
    places: Sequence[float],
    share: Share | None = None,
    *,
    step: float = STEP,
    longest: float = 3600.0,
) -> Driven | None:
    """Drive until the last of `places` [m, rising] is passed; None where `longest` seconds do not suffice
    or the car stands for good.

    `share` gives the share of full-load power over distance, straight lines between and held beyond its ends;
    None for all of it.  The last step is cut at each place, so that marches follow each other without a gap.
    """
    rows, marks = [_first(state)], []
    now = state
    for place in places:
        written, end = _driven(now, place, math.inf, share, (step, state.time + longest, state.time))
        if end is None:
            return None
        rows.append(written)
        marks.append((end.time - state.time, end.speed))
        now = end
    return _written(np.concatenate(rows), tuple(marks), now)


def march_to_speed(state: RunState, speed: float, *, step: float = STEP, longest: float = 600.0) -> Driven | None:
    """Drive at full load until `speed` [m/s] is reached; None where `longest` seconds do not suffice."""
    written, end = _driven(state, math.inf, speed, None, (step, state.time + longest, state.time))
    return None if end is None else _written(np.concatenate([_first(state), written]), (), end)


def _driven(
    state: RunState, place: float, speed: float, share: Share | None, timing: tuple[float, float, float]
) -> tuple[np.ndarray, RunState | None]:
    """Rows up to a place or a speed, and the state there; `timing` is the step, the latest time and the start."""
    from coldside.duty import marching

    grid, shares = (np.ascontiguousarray(x, dtype=float) for x in (share or _WHOLE))
    goal, power = (float(place), float(speed)), (grid, shares)
    row = marching.Row(*state[:9])
    kept = []
    while True:
        out = np.empty((_ROOM, 6))
        count, row, ended = marching.run_on(row, state.car.numbers, state.course.numbers, goal, power, timing, out)
        kept.append(out[:count])
        if ended != marching.FULL:
            break
    end = RunState._make((*row, state.car, state.course)) if ended == marching.REACHED else None
    return np.concatenate(kept), end


def _first(state: RunState) -> np.ndarray:
    return np.array(
        [[state.time, state.distance, state.speed, state.engine_speed, state.plenum, state.full_load]], float
    )


def _written(rows: np.ndarray, marks: tuple[tuple[float, float], ...], end: RunState) -> Driven:
    """The rows as a `Driven`; the first takes what is asked from the second, since it was asked nothing yet."""
    time, distance, speed, engine_speed, plenum, full = rows.T.copy()
    if len(rows) > 1:
        engine_speed[0], plenum[0], full[0] = engine_speed[1], plenum[1], full[1]
    return Driven(time - time[0], distance, speed, engine_speed, plenum, full > 0.5, marks, end)
