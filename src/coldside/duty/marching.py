"""The march of a driven car, compiled: one step, steps up to a place or a speed.  Arrays and numbers only.

What is here: what `drive.py` tells in words, as functions over bare tuples that Numba compiles when a run is
first driven (cached on disk).  What is not: builds, tracks and units; nothing here is called but by `drive.py`.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numba
import numpy as np

from coldside.duty.road import GRAVITY, WHEELS_SHARE

COAST = 3.0  # how many times slower boost runs down behind a shut throttle than it builds up (own)
KICK_DOWN = 0.8  # share of a shift speed below which full throttle takes the lower gear
BRAKED_DOWN = 0.95  # and below which brakes and bends do
STALLED, CRAWL = 60.0, 0.05  # s after which a car this slow, m/s, is given up
REACHED, FULL, GIVEN_UP = 0, 1, 2  # how a march ended


class CarNumbers(NamedTuple):
    """`drive.Powertrain` as numbers; `tables` has rows full-load power, friction power, boost target."""

    tables: np.ndarray
    step: float
    ratio: np.ndarray
    inertia: np.ndarray
    shift_at: np.ndarray
    idle: float
    lowest: float
    ambient: float
    density: float
    lag: float
    mass: float
    drag_area: float
    rolling: float
    efficiency: float
    grip: float
    downforce_area: float
    drive: int  # 0 rear, 1 front, 2 all
    front_share: float
    lever: float  # height of the centre of gravity over the wheelbase
    shift_time: float
    open_shift: bool


class CourseNumbers(NamedTuple):
    """`drive.Course` as numbers."""

    step: float
    cap: np.ndarray
    curvature: np.ndarray
    grade: np.ndarray
    closed: bool
    headwind: float
    slip: float
    pace: float
    throttle: float


class Row(NamedTuple):
    """`drive.RunState` without what rules it."""

    time: float
    distance: float
    speed: float
    gear: int
    spool: float
    shift_left: float
    engine_speed: float
    plenum: float
    full_load: bool


class BrakeNumbers(NamedTuple):
    """What slows a car: rows' distance m, density kg/m3, kg, friction, share of it for brakes, rolling, m2, m2."""

    step: float
    density: float
    mass: float
    grip: float
    brake_share: float
    rolling: float
    drag_area: float
    downforce_area: float


def compiled(function):
    """Numba, cached, with IEEE arithmetic kept in order so that every machine drives alike."""
    return numba.njit(cache=True, error_model="numpy", nogil=True)(function)


@compiled
def at(values, step, closed, distance):
    """A column of the course at a distance, straight lines between its rows."""
    place = distance / step
    i = int(place)
    w = place - i
    n = len(values)
    if closed:
        return (1.0 - w) * values[i % n] + w * values[(i + 1) % n]
    return (1.0 - w) * values[min(i, n - 1)] + w * values[min(i + 1, n - 1)]


@compiled
def spooled(car, spool, to, h):
    """Pressure that the compressor could give `h` seconds on, on its way `to` another."""
    lag = car.lag if to > spool else COAST * car.lag
    return to + (spool - to) * math.exp(-h / lag) if lag > 0.0 else to


@compiled
def traction(car, load, side, pace):
    """`road.traction_limit` for one point, N."""
    mu = car.grip * pace
    share = 1.0
    if car.drive == 0:
        share = (1.0 - car.front_share) / max(1.0 - mu * car.lever, 0.05)
    elif car.drive == 1:
        share = car.front_share / (1.0 + mu * car.lever)
    return min(share, 1.0) * mu * load * math.sqrt(max(1.0 - side * side, 0.0))


@compiled
def ask(row, car, course, v, s, spool, fraction, wanted):
    """Acceleration at a speed and place, and what it asks: engine speed, plenum, full load, where boost goes.

    `row` is the state in which the step began, `spool` the boost there is; `wanted` m/s2 where a cap rules, else
    NaN.
    """
    gear = row.gear - 1
    slope = at(course.grade, course.step, course.closed, s)
    bend = at(course.curvature, course.step, course.closed, s)
    air = v + course.headwind
    dynamic = 0.5 * car.density * air * abs(air)
    weight = car.mass * GRAVITY / math.sqrt(1.0 + slope * slope)
    resist = weight * (car.rolling + slope) + dynamic * car.drag_area
    floor = max(course.slip if row.gear == 1 else car.lowest, 1e-3)
    n = max(v * car.ratio[gear], floor)
    slipping = row.speed * car.ratio[gear] < floor * (1.0 - 1e-9)  # as the step began: it ends where that changes
    inertia = car.mass * (1.0 + WHEELS_SHARE if slipping else car.inertia[gear])
    place = n / car.step
    i = min(int(place), car.tables.shape[1] - 2)
    w = min(place - i, 1.0)
    full = (1.0 - w) * car.tables[0, i] + w * car.tables[0, i + 1]
    friction = (1.0 - w) * car.tables[1, i] + w * car.tables[1, i + 1]
    top = (1.0 - w) * car.tables[2, i] + w * car.tables[2, i + 1]
    most = min(max(spool, car.ambient), top)
    if row.shift_left > 0.0:
        plenum = most if car.open_shift else min(car.idle, most)
        return -resist / inertia, n, plenum, False, max(most, car.ambient) if car.open_shift else car.ambient
    there = course.throttle * fraction * max(most / top * (full + friction) - friction, 0.0)
    wheel = car.efficiency * car.ratio[gear] / n  # N at the road for each W at the crank
    load = weight + max(dynamic, 0.0) * car.downforce_area
    side = min(car.mass * v * v * abs(bend) / (car.grip * course.pace * load), 1.0)
    held = traction(car, load, side, course.pace) if math.isnan(wanted) else max(inertia * wanted + resist, 0.0)
    force = min(there * wheel, held)
    if force >= there * wheel and course.throttle >= 1.0:
        return (force - resist) / inertia, n, most, True, top
    needed = (force / wheel / max(fraction, 1e-3) + friction) / max(full + friction, 1.0) * top
    plenum = min(max(needed, car.idle), most)
    builds = max(plenum, car.ambient)
    if course.throttle >= 1.0:  # a driver in a hurry: boost comes as the throttle opens, whatever holds the car back
        opening = min((plenum - car.idle) / max(car.ambient - car.idle, 1.0), 1.0)
        builds = max(builds, car.ambient + opening * (top - car.ambient))
    return (force - resist) / inertia, n, plenum, False, builds


@compiled
def gear_in_hand(row, car):
    """Gear and seconds of shift left: up where the gear is spent, down where it is far too high."""
    if row.shift_left > 0.0:
        return row.gear, row.shift_left
    if row.speed >= car.shift_at[row.gear - 1]:
        return row.gear + 1, car.shift_time
    if row.gear > 1 and row.full_load and row.speed < KICK_DOWN * car.shift_at[row.gear - 2]:
        return row.gear - 1, car.shift_time
    return row.gear, row.shift_left


@compiled
def step_on(row, car, course, fraction, left):
    """One step of at most `left` seconds, up to the next event: a shift's start or end, the clutch gripping."""
    h = min(left, row.shift_left) if row.shift_left > 0.0 else left
    v, s = row.speed, row.distance
    limit = car.shift_at[row.gear - 1]
    grips = course.slip / car.ratio[0]  # where the clutch stops slipping and the engine's own mass joins in
    if row.gear == 1 and v < grips:
        limit = min(limit, grips)
    if row.shift_left > 0.0 or v >= limit:
        limit = math.inf
    a, n, plenum, full, to = ask(row, car, course, v, s, row.spool, fraction, math.nan)
    if v + h * a > limit:  # no step looks beyond the event: the limiter bites there, and the shift would never come
        h = max((limit - v) / a, 1e-6)
    half = spooled(car, row.spool, to, 0.5 * h)
    a, n, plenum, full, to = ask(row, car, course, max(v + 0.5 * h * a, 0.0), s + 0.5 * h * v, half, fraction, math.nan)
    v_end = max(v + h * a, 0.0)
    if v_end > limit:
        h = max(h * (limit - v) / (v_end - v), 1e-6)
    if v_end > (1.0 - 1e-9) * limit:
        v_end = limit
    s_end = s + 0.5 * h * (v + v_end)
    cap = at(course.cap, course.step, course.closed, s_end)
    gear = row.gear
    if v_end > cap:
        v_end = cap
        s_end = s + 0.5 * h * (v + v_end)
        a, n, plenum, full, to = ask(row, car, course, v, s, row.spool, fraction, (v_end - v) / h)
        while gear > 1 and v_end < BRAKED_DOWN * car.shift_at[gear - 2] and plenum <= car.ambient:
            gear -= 1
    spool = spooled(car, row.spool, to, h)
    return Row(row.time + h, s_end, v_end, gear, spool, max(row.shift_left - h, 0.0), n, plenum, full)


@compiled
def drive_on(row, car, course, fraction, dt):
    """The row `dt` seconds later."""
    left = dt
    while left > 1e-9:
        gear, wait = gear_in_hand(row, car)
        now = Row(row.time, row.distance, row.speed, gear, row.spool, wait, row.engine_speed, row.plenum, row.full_load)
        row = step_on(now, car, course, fraction, left)
        left -= row.time - now.time
    return row


@compiled
def until(row, after, place):
    """Seconds from `row` to `place` on the way to `after`, at constant acceleration between them."""
    h = after.time - row.time
    a = (after.speed - row.speed) / h
    way = place - row.distance
    root = math.sqrt(max(row.speed * row.speed + 2.0 * a * way, 0.0))
    return min(2.0 * way / (row.speed + root), h) if row.speed + root > 0.0 else h


@compiled
def put(out, k, row):
    """Write what is kept of a row: time, distance, speed, engine speed, plenum, full load."""
    out[k, 0], out[k, 1], out[k, 2] = row.time, row.distance, row.speed
    out[k, 3], out[k, 4], out[k, 5] = row.engine_speed, row.plenum, 1.0 if row.full_load else 0.0


@compiled
def run_on(row, car, course, goal, power, timing, out):
    """Rows up to a place [m] or a speed [m/s] (`goal`), whichever comes first, as long as `out` has room.

    `power` is distances [m] and the share of full-load power there, held beyond their ends; `timing` the step, the
    time at which it is given up (or where the car stands for good), and that at which it began.  Returns rows
    written, the last one, and how it ended; the last step is cut.
    """
    place, speed = goal
    grid, share = power
    step, latest, began = timing
    k = 0
    while row.distance < place - 1e-9 and row.speed < speed:
        if k == len(out):
            return k, row, FULL
        fraction = np.interp(row.distance, grid, share)
        after = drive_on(row, car, course, fraction, step)
        if after.distance >= place:
            cut = drive_on(row, car, course, fraction, until(row, after, place))
            after = Row(cut.time, place, cut.speed, cut.gear, cut.spool, cut.shift_left, cut.engine_speed, cut.plenum,
                        cut.full_load)  # fmt: skip
        elif after.speed > speed:
            h = step * (speed - row.speed) / (after.speed - row.speed)
            cut = drive_on(row, car, course, fraction, h)
            after = Row(cut.time, cut.distance, speed, cut.gear, cut.spool, cut.shift_left, cut.engine_speed,
                        cut.plenum, cut.full_load)  # fmt: skip
        if after.time > latest or (after.time - began > STALLED and after.speed < CRAWL):
            return k, after, GIVEN_UP
        row = after
        put(out, k, row)
        k += 1
    return k, row, REACHED


@compiled
def slowing(v2, bend, slope, brakes):
    """Deceleration [m/s2] at a squared speed in a bend [1/m] on a slope: brakes and all that resists."""
    dynamic = 0.5 * brakes.density * v2
    weight = brakes.mass * GRAVITY / math.sqrt(1.0 + slope * slope)
    load = weight + dynamic * brakes.downforce_area
    side = min(brakes.mass * v2 * bend / (brakes.grip * load), 1.0)
    force = brakes.grip * brakes.brake_share * load * math.sqrt(1.0 - side * side)
    force += weight * (brakes.rolling + slope) + dynamic * brakes.drag_area
    return max(force / (brakes.mass * (1.0 + WHEELS_SHARE)), 0.0)


@compiled
def brake_back(limit, bend, slope, last, brakes):
    """Caps [m/s] from speed limits of rows, by brakes from row `last` backwards, round to its next row (midpoint)."""
    caps = limit.copy()
    n = len(limit)
    for k in range(1, n):
        i = (last - k) % n
        after = (i + 1) % n
        v2 = caps[after] ** 2
        half = min(v2 + brakes.step * slowing(v2, bend[after], slope[after], brakes), limit[i] ** 2)
        caps[i] = min(caps[i], math.sqrt(v2 + 2.0 * brakes.step * slowing(half, bend[i], slope[i], brakes)))
    return caps
