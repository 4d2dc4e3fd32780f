"""A car driven as fast as tyres and engine allow: the pure `advance`, and the tables that it looks into.

What is here: wheel force in each gear with boost that lags, gears and shift points, grip, speed caps of a
course, one step in time.  What is not: where the caps come from (`laps.py`), what a pass is made of
(`passes.py`), heat: it comes in as the share of full-load power that is there.

Boost between shifts.  What the compressor could give (`spool`) follows what is asked with the engine's
boost lag and runs down three times as slowly while the throttle is shut, so that a short lift costs
little (the ratio is our own, common practice, no source).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from coldside.build.model import Build
from coldside.duty import road
from coldside.duty.load import Surroundings, friction_power, full_load_power
from coldside.parts import engine as engines
from coldside.parts.engine import CarSpec

STEP = 0.02  # s of a march; half of it moves a quarter mile by some hundredths of a millisecond
COAST = 3.0  # how many times slower boost runs down behind a shut throttle than it builds up (own)
LIMITER = 0.01  # share over top speed in which power falls to nothing
KICK_DOWN = 0.8  # share of a shift speed below which full throttle takes the lower gear
BRAKED_DOWN = 0.95  # and below which brakes and bends do
STALLED, CRAWL = 60.0, 0.05  # s after which a car this slow, m/s, is given up
FASTEST = 140.0  # m/s, what no car here exceeds
_ROWS = 400  # of the tables over engine speed


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

    def at(self, n: float) -> tuple[float, float, float]:
        """Full-load power, friction power [W] and boost target [Pa absolute] at `n` [rev/s]."""
        place = n / self.step
        i = min(int(place), _ROWS - 2)
        w = min(place - i, 1.0)
        a, b = 1.0 - w, w
        return (
            a * self.full[i] + b * self.full[i + 1],
            a * self.friction[i] + b * self.friction[i + 1],
            a * self.top[i] + b * self.top[i + 1],
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
        density=around.density,
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

    def cell(self, distance: float) -> tuple[int, int, float]:
        """Rows on both sides of a distance and how far it is from the first to the second, 0 to 1."""
        place = distance / self.step
        i = int(place)
        n = len(self.cap)
        if self.closed:
            return i % n, (i + 1) % n, place - i
        return min(i, n - 1), min(i + 1, n - 1), place - i


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


class _Asked(NamedTuple):
    acceleration: float
    engine_speed: float
    plenum: float
    full_load: bool
    spool_to: float


def standing(car: Powertrain, course: Course, boost: float | None = None) -> RunState:
    """A car on the start line in first gear; `boost` is the plenum pressure held there, Pa absolute."""
    held = car.ambient if boost is None else max(boost, car.ambient)
    return RunState(0.0, 0.0, 0.0, 1, held, 0.0, max(course.slip, car.lowest), held, False, car, course)


def advance(state: RunState, power_fraction: float, dt: float) -> RunState:
    """The state `dt` seconds later, where `power_fraction` of the full-load power is there.  Pure.

    Midpoint rule between events; starts and ends of shifts are met exactly.
    """
    left = dt
    while left > 1e-9:
        now = _gear_in_hand(state)
        after = _step(now, power_fraction, left)
        left -= after.time - now.time
        state = after
    return state


def _gear_in_hand(state: RunState) -> RunState:
    """Shift up where the gear is spent, down where it is far too high; a shift takes its time."""
    at = state.car.shift_at
    if state.shift_left > 0.0:
        return state
    if state.speed >= at[state.gear - 1]:
        return state._replace(gear=state.gear + 1, shift_left=state.car.car.shift_time)
    if state.gear > 1 and state.full_load and state.speed < KICK_DOWN * at[state.gear - 2]:
        return state._replace(gear=state.gear - 1, shift_left=state.car.car.shift_time)
    return state


def _step(state: RunState, fraction: float, left: float) -> RunState:
    """One step of at most `left` seconds, up to the next event."""
    car, course = state.car, state.course
    h = min(left, state.shift_left) if state.shift_left > 0.0 else left
    v, s = state.speed, state.distance
    first = _ask(state, v, s, fraction)
    half = state._replace(spool=_spooled(car, state.spool, first.spool_to, 0.5 * h))
    asked = _ask(half, max(v + 0.5 * h * first.acceleration, 0.0), s + 0.5 * h * v, fraction)
    v_end = max(v + h * asked.acceleration, 0.0)
    limit = car.shift_at[state.gear - 1]
    grips = course.slip / car.ratio[0]  # where the clutch stops slipping and the engine's own mass joins in
    if state.gear == 1 and v < grips:
        limit = min(limit, grips)
    if v < limit <= v_end and state.shift_left <= 0.0:
        h = max(h * (limit - v) / (v_end - v), 1e-6)
        v_end = limit
    s_end = s + 0.5 * h * (v + v_end)
    i, j, w = course.cell(s_end)
    cap = (1.0 - w) * course.cap[i] + w * course.cap[j]
    gear, shift_left = state.gear, max(state.shift_left - h, 0.0)
    if v_end > cap:
        v_end = cap
        s_end = s + 0.5 * h * (v + v_end)
        asked = _ask(state, v, s, fraction, wanted=(v_end - v) / h)
        while gear > 1 and v_end < BRAKED_DOWN * car.shift_at[gear - 2] and asked.plenum <= car.ambient:
            gear -= 1
    spool = _spooled(car, state.spool, asked.spool_to, h)
    return RunState(
        state.time + h, s_end, v_end, gear, spool, shift_left, asked.engine_speed, asked.plenum, asked.full_load,
        car, course,
    )  # fmt: skip


def _spooled(car: Powertrain, spool: float, to: float, h: float) -> float:
    """Pressure that the compressor could give `h` seconds on, on its way `to` another."""
    lag = car.lag if to > spool else COAST * car.lag
    return to + (spool - to) * math.exp(-h / lag) if lag > 0.0 else to


def _ask(state: RunState, v: float, s: float, fraction: float, wanted: float | None = None) -> _Asked:
    """Acceleration at a speed and place, and what it asks of the engine; `wanted` m/s2 where a cap rules."""
    pt, course, car = state.car, state.course, state.car.car
    gear = state.gear - 1
    i, j, w = course.cell(s)
    slope = (1.0 - w) * course.grade[i] + w * course.grade[j]
    bend = (1.0 - w) * course.curvature[i] + w * course.curvature[j]
    air = v + course.headwind
    dynamic = 0.5 * pt.density * air * abs(air)
    level = 1.0 / math.sqrt(1.0 + slope * slope)
    weight = car.mass * road.GRAVITY * level
    resist = weight * (car.rolling_resistance + slope) + dynamic * car.drag_area
    floor = max(course.slip if state.gear == 1 else pt.lowest, 1e-3)
    n = max(v * pt.ratio[gear], floor)
    slipping = state.speed * pt.ratio[gear] < floor * (1.0 - 1e-9)  # as the step began: it ends where that changes
    turning = 1.0 + road.WHEELS_SHARE if slipping else pt.inertia[gear]
    inertia = car.mass * turning
    full, friction, top = pt.at(n)
    most = min(max(state.spool, pt.ambient), top)
    if state.shift_left > 0.0:
        held = car.shift_throttle == "open"
        plenum = most if held else min(pt.idle, most)
        return _Asked(-resist / inertia, n, plenum, False, max(most, pt.ambient) if held else pt.ambient)
    there = course.throttle * fraction * max(most / top * (full + friction) - friction, 0.0)
    wheel = car.driveline_efficiency * pt.ratio[gear] / n  # N at the road for each W at the crank
    load = weight + max(dynamic, 0.0) * car.downforce_area
    side = min(car.mass * v * v * abs(bend) / (car.grip * course.pace * load), 1.0)
    grip = _traction(car, load, side, course.pace)
    force = min(there * wheel, grip)
    if wanted is not None:
        force = min(force, max(inertia * wanted + resist, 0.0))
    if force >= there * wheel and course.throttle >= 1.0:
        return _Asked((force - resist) / inertia, n, most, True, top)
    needed = (force / wheel / max(fraction, 1e-3) + friction) / max(full + friction, 1.0) * top
    plenum = min(max(needed, pt.idle), most)
    builds = top if wanted is None and course.throttle >= 1.0 else max(plenum, pt.ambient)  # ready for more grip
    return _Asked((force - resist) / inertia, n, plenum, False, builds)


def _traction(car: CarSpec, load: float, side: float, pace: float) -> float:
    """`road.traction_limit` for one point, in plain floats for the march's sake."""
    mu, L, h = car.grip * pace, car.wheelbase, car.cg_height
    if car.drive == "rear":
        share = (1.0 - car.front_share) / max(1.0 - mu * h / L, 0.05)
    elif car.drive == "front":
        share = car.front_share / (1.0 + mu * h / L)
    else:
        share = 1.0
    return min(share, 1.0) * mu * load * math.sqrt(max(1.0 - side * side, 0.0))


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


def march(
    state: RunState,
    places: Sequence[float],
    share: Callable[[float], float] | None = None,
    *,
    step: float = STEP,
    longest: float = 3600.0,
) -> Driven | None:
    """Drive until the last of `places` [m, rising] is passed; None where `longest` seconds do not suffice
    or the car stands for good.

    `share` gives the share of full-load power at a distance [m]; None for all of it.  The last step is cut
    at the last place, so that marches follow each other without a gap.
    """
    rows = [state]
    marks: list[tuple[float, float]] = []
    began = state.time
    for place in places:
        while state.distance < place - 1e-9:
            fraction = 1.0 if share is None else share(state.distance)
            after = advance(state, fraction, step)
            if after.distance >= place:
                h = _until(state, after, place)
                after = advance(state, fraction, h)
                after = after._replace(distance=place)
            took = after.time - began
            if took > longest or (took > STALLED and after.speed < CRAWL):
                return None
            state = after
            rows.append(state)
        marks.append((state.time - began, state.speed))
    return _written(rows, tuple(marks))


def march_to_speed(state: RunState, speed: float, *, step: float = STEP, longest: float = 600.0) -> Driven | None:
    """Drive at full load until `speed` [m/s] is reached; None where `longest` seconds do not suffice."""
    rows = [state]
    while state.speed < speed:
        after = advance(state, 1.0, step)
        if after.speed > speed:
            h = step * (speed - state.speed) / (after.speed - state.speed)
            after = advance(state, 1.0, h)._replace(speed=speed)
        state = after
        rows.append(state)
        if state.time - rows[0].time > longest:
            return None
    return _written(rows, ())


def _written(rows: Sequence[RunState], marks: tuple[tuple[float, float], ...]) -> Driven:
    """The states as arrays; the first takes what is asked from the second, since it was asked nothing yet."""
    began = rows[0].time
    columns = list(zip(*(row[:9] for row in rows), strict=True))
    time, distance, speed, _, _, _, engine_speed, plenum, full = (np.asarray(c) for c in columns)
    engine_speed[0], plenum[0], full[0] = engine_speed[1], plenum[1], full[1]
    return Driven(time - began, distance, speed, engine_speed, plenum, full.astype(bool), marks, rows[-1])


def _until(state: RunState, after: RunState, place: float) -> float:
    """Seconds from `state` to `place` on the way to `after`, at constant acceleration between them."""
    h = after.time - state.time
    a = (after.speed - state.speed) / h
    way = place - state.distance
    root = math.sqrt(max(state.speed**2 + 2.0 * a * way, 0.0))
    return min(2.0 * way / (state.speed + root), h) if state.speed + root > 0.0 else h
