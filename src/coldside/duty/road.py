"""The car on the road: force, power, gearing, and a stop-and-go cycle of our own.

What is here: road load, grip of the tyres, engine speed against road speed, choice of gear, brake
power for a speed, the invented traffic cycle.  What is not: what the engine must breathe for that power (`demand.py`)
and the march of a pass or a lap (`drive.py`).
"""

from __future__ import annotations

import math

import numpy as np

from coldside.errors import BadInput, require
from coldside.parts.engine import RPM, CarSpec

GRAVITY = 9.80665  # m/s2, standard
LOWEST_CRUISE_SPEED = 1700.0 * RPM  # rev/s below which a driver shifts down; common practice, no source
LOWEST_CRUISE_SHARE = 0.35  # or this share of top speed where that is lower; common practice, no source
PULL_GEAR = 3  # where a pull on the road is made unless the session names a gear
WHEELS_SHARE = 0.04  # turning mass of the wheels as a share of the car's
TRAFFIC_MEAN_SPEED = 12.0 / 3.6  # m/s, of the cycle below

# Hops of the stop-and-go cycle: highest speed km/h, acceleration m/s2, seconds held, braking m/s2,
# and the share of the standing time that follows.  Invented; no measured cycle stands behind it.
_HOPS = (
    (30.0, 1.0, 6.0, 1.3, 3.0),
    (8.0, 0.6, 6.0, 0.8, 2.0),
    (45.0, 1.2, 8.0, 1.5, 6.0),
    (10.0, 0.6, 8.0, 0.8, 1.0),
    (34.0, 1.1, 6.0, 1.4, 4.0),
    (6.0, 0.5, 8.0, 0.6, 2.0),
)


def road_force(
    car: CarSpec,
    speed: np.ndarray | float,
    density: np.ndarray | float,
    *,
    grade: np.ndarray | float = 0.0,
    acceleration: np.ndarray | float = 0.0,
    rotating: np.ndarray | float = 0.0,
    headwind: float = 0.0,
) -> np.ndarray:
    """Force at the tyres that holds speed, grade and acceleration, N; negative where the car must brake.

    F = m g (Crr cos + sin) + rho CdA v^2 / 2 + m (1 + rotating) a (design notes e3; textbook).

    Parameters
    ----------
    speed : m/s, 0 or more.
    density : of the air, kg/m3.
    grade : rise over run (tangent), -0.3 to 0.3.
    acceleration : m/s2.
    rotating : turning masses as a share of the car's mass, see `rotating_share`.
    headwind : m/s, below 0 from behind.
    """
    require("speed", speed, low=0.0)
    require("density", density, low=0.0, open_low=True)
    require("grade", grade, low=-1.0, high=1.0)
    v = np.asarray(speed, dtype=float)
    slope = np.arctan(np.asarray(grade, dtype=float))
    weight = car.mass * GRAVITY
    rolling = np.where(v > 0.0, car.rolling_resistance * np.cos(slope), 0.0)
    inertia = car.mass * (1.0 + np.asarray(rotating, dtype=float)) * np.asarray(acceleration, dtype=float)
    arriving = v + headwind
    return weight * (rolling + np.sin(slope)) + 0.5 * density * car.drag_area * (arriving * np.abs(arriving)) + inertia


def rotating_share(car: CarSpec, gear: np.ndarray | int) -> np.ndarray:
    """Turning masses as a share of the car's mass in a gear: 0.04 + 0.0025 (overall ratio)^2.

    Gillespie 1992 (from memory): the first term is the wheels, the second the engine through the gears.
    """
    return WHEELS_SHARE + 0.0025 * (_ratios(car)[_index(car, gear)] * car.final_drive) ** 2


def engine_speed_in(car: CarSpec, speed: np.ndarray | float, gear: np.ndarray | int) -> np.ndarray:
    """Engine speed, rev/s, at a road speed, m/s, in a gear counted from 1; no slip."""
    ratio = _ratios(car)[_index(car, gear)] * car.final_drive
    return np.asarray(speed, dtype=float) * ratio / (2.0 * math.pi * car.tyre_radius)


def road_speed_in(car: CarSpec, engine_speed: np.ndarray | float, gear: np.ndarray | int) -> np.ndarray:
    """Road (or roller) speed, m/s, at an engine speed, rev/s, in a gear counted from 1; no slip."""
    ratio = _ratios(car)[_index(car, gear)] * car.final_drive
    return np.asarray(engine_speed, dtype=float) * 2.0 * math.pi * car.tyre_radius / ratio


def gear_for(car: CarSpec, top_speed: float, speed: np.ndarray | float) -> np.ndarray:
    """Gear (from 1) that a driver cruises in: the highest whose engine speed is not too low.

    Too low is below 1700 rpm, or 35 % of `top_speed` (rev/s) where that is lower: common practice,
    no source.  First where none is fast enough.
    """
    require("top speed", top_speed, low=0.0, open_low=True)
    floor = min(LOWEST_CRUISE_SPEED, LOWEST_CRUISE_SHARE * top_speed)
    v = np.asarray(speed, dtype=float)
    least = road_speed_in(car, floor, np.arange(1, len(car.gears) + 1))
    found = np.ones(v.shape, dtype=int)
    for gear, from_speed in enumerate(least, start=1):
        found[v >= from_speed] = gear
    return found


def pull_gear(car: CarSpec) -> int:
    """Gear of a pull where the session names none: third, or the top gear of a shorter box."""
    return min(PULL_GEAR, len(car.gears))


def brake_power(
    car: CarSpec,
    speed: np.ndarray | float,
    density: np.ndarray | float,
    gear: np.ndarray | int,
    *,
    grade: np.ndarray | float = 0.0,
    acceleration: np.ndarray | float = 0.0,
    headwind: float = 0.0,
) -> np.ndarray:
    """Engine brake power that road load needs, W: F v over driveline efficiency; 0 where the car brakes.

    Units and ranges as for `road_force`; `gear` counts from 1 and sets the turning masses.
    """
    force = road_force(
        car, speed, density, grade=grade, acceleration=acceleration, rotating=rotating_share(car, gear),
        headwind=headwind,
    )  # fmt: skip
    return np.maximum(force * np.asarray(speed, dtype=float), 0.0) / car.driveline_efficiency


def traction_limit(
    car: CarSpec, load: np.ndarray | float, side_share: np.ndarray | float = 0.0, pace: float = 1.0
) -> np.ndarray:
    """Largest force that the driven tyres pass to the road, N.

    Friction times the driven axle's load, with the load that the force itself moves to the rear (drag
    taken to act at the height of the centre of gravity):
    rear mu W l_f / (L - mu h), front mu W l_r / (L + mu h), all mu W (Gillespie 1992, from memory; case loop-C30).
    What the corner takes is left out of it by the friction ellipse.

    Parameters
    ----------
    load : weight across the road and downforce, N, shared by the axles as the weight is.
    side_share : sideways acceleration over the largest possible, 0 to 1.
    pace : share of the grip that is used.
    """
    mu, L, h = car.grip * pace, car.wheelbase, car.cg_height
    if car.drive == "rear":
        share = (1.0 - car.front_share) / max(1.0 - mu * h / L, 0.05)
    elif car.drive == "front":
        share = car.front_share / (1.0 + mu * h / L)
    else:
        share = 1.0
    most = mu * np.asarray(load, dtype=float)  # no more than both axles' grip: the front lifts before
    left = np.sqrt(np.maximum(1.0 - np.square(side_share), 0.0))
    return np.minimum(share, 1.0) * most * left


def corner_speed(car: CarSpec, curvature: np.ndarray | float, density: float, pace: float = 1.0) -> np.ndarray:
    """Largest speed round a level corner of a curvature [1/m], m/s; infinite where downforce holds any speed.

    mu (m g + rho ClA v^2 / 2) = m v^2 |curvature| (design notes e4); `pace` is the share of the grip used.
    """
    mu = car.grip * pace
    need = car.mass * np.abs(np.asarray(curvature, dtype=float)) - 0.5 * mu * density * car.downforce_area
    with np.errstate(divide="ignore"):
        return np.where(need > 0.0, np.sqrt(mu * car.mass * GRAVITY / np.maximum(need, 0.0)), np.inf)


def stop_and_go() -> tuple[np.ndarray, np.ndarray]:
    """One round of a stop-and-go cycle of our own: (time s, speed m/s), straight lines between.

    Invented: hops between 6 and 45 km/h, creeping, and standing time such that the mean is exactly
    12 km/h.  Starts and ends at standstill, so rounds may follow each other.
    """
    moving_time = distance = 0.0
    for peak, up, held, down, _ in _HOPS:
        v = peak / 3.6
        moving_time += v / up + held + v / down
        distance += v * (0.5 * v / up + held + 0.5 * v / down)
    standing = distance / TRAFFIC_MEAN_SPEED - moving_time
    shares = sum(hop[-1] for hop in _HOPS)
    times, speeds = [0.0], [0.0]
    for peak, up, held, down, share in _HOPS:
        v = peak / 3.6
        for stretch, reached in ((v / up, v), (held, v), (v / down, 0.0), (standing * share / shares, 0.0)):
            times.append(times[-1] + stretch)
            speeds.append(reached)
    return np.array(times), np.array(speeds)


def _ratios(car: CarSpec) -> np.ndarray:
    return np.asarray(car.gears, dtype=float)


def _index(car: CarSpec, gear: np.ndarray | int) -> np.ndarray:
    """Array index of a gear counted from 1."""
    index = np.asarray(gear, dtype=int) - 1
    if index.size and (index.min() < 0 or index.max() >= len(car.gears)):
        raise BadInput(
            f"gear {np.max(index) + 1 if np.any(index >= 0) else np.min(index) + 1} is asked for, "
            f"but the car has gears 1 to {len(car.gears)}",
            key="gear",
        )
    return index
