"""Check cases of cars driven at their limits: grip, bends, standing starts, cycles (notes loop e)."""

from __future__ import annotations

import math

import numpy as np

from cases.record import Case
from coldside.duty import drive, laps, road
from coldside.duty.courses import Track
from coldside.duty.schedules import schedule
from coldside.parts.engine import CarSpec

FOUR = "four digits stated"
G = 9.80665
ROWS = 400


def constant_power(mass: float, power: float, *, drag_area: float = 0.0, rolling: float = 0.0) -> drive.Powertrain:
    """A car of one gear, endless grip and the same power at every speed; density of the air 1.2 kg/m3."""
    car = CarSpec(
        mass=mass, drag_area=drag_area, rolling_resistance=rolling, driveline_efficiency=1.0, gears=(1.0,),
        grip=1e4, drive="all",
    )  # fmt: skip
    return _powertrain(car, [power] * ROWS)


def constant_force(car: CarSpec, acceleration: float) -> drive.Powertrain:
    """A car that drives with the same force at every speed: power over engine speed on a straight line."""
    return _powertrain(car, [car.mass * acceleration * float(i) for i in range(ROWS)])


def _powertrain(car: CarSpec, full: list[float]) -> drive.Powertrain:
    return drive.Powertrain(
        car=car, step=1.0, full=full, friction=[0.0] * ROWS, top=[2e5] * ROWS, ratio=(1.0,), inertia=(1.0,),
        shift_at=(math.inf,), idle=4e4, lowest=1e-3, top_speed=380.0, ambient=1e5, density=1.2, lag=0.0,
    )  # fmt: skip


def _grip(mu: float, front_to_cg: float, height: float, wheelbase: float) -> dict[str, float]:
    car = CarSpec(
        mass=1000.0, grip=mu, wheelbase=wheelbase, cg_height=height, front_share=1.0 - front_to_cg / wheelbase
    )
    return {"acceleration": float(road.traction_limit(car, car.mass * G)) / car.mass}


def _bend(mu: float, mass: float, radius: float, downforce_area: float, density: float) -> dict[str, float]:
    car = CarSpec(mass=mass, grip=mu, downforce_area=downforce_area)
    return {"speed": float(road.corner_speed(car, 1.0 / radius, density))}


def _straight(length: float, radius: float, mu: float, drives: float, brakes: float) -> dict[str, float]:
    """Out of one bend and into the next; brakes act on the wheels' turning mass too."""
    share = brakes * (1.0 + road.WHEELS_SHARE) / (mu * G)
    car = CarSpec(
        mass=1600.0, drag_area=0.0, rolling_resistance=0.0, driveline_efficiency=1.0, gears=(1.0,), grip=mu,
        drive="all", brake_share=share,
    )  # fmt: skip
    driven_car = constant_force(car, drives)
    step = 0.1
    bend = np.zeros(round(length / step) + 1)
    bend[-1] = 1.0 / radius
    course = laps.course_on(Track("straight", length, step, False, bend, np.zeros_like(bend)), driven_car)
    start = float(road.corner_speed(car, 1.0 / radius, 1.2))
    state = drive.standing(driven_car, course, boost=2e5)._replace(speed=start)
    driven = drive.march(state, (length,), step=0.005)
    assert driven is not None
    return {"bend": start, "peak": float(driven.speed.max()), "time": driven.marks[-1][0]}


def _standing_start(mass: float, power: float, distance: float) -> dict[str, float]:
    state = drive.standing(constant_power(mass, power), drive.Course(slip=0.3), boost=2e5)  # force ends at P / 0.3 m/s
    whole = drive.march(state, (distance,), step=5e-4)
    less = drive.march(state, (distance,), (np.array([0.0]), np.array([0.95])), step=5e-4)
    assert whole is not None
    assert less is not None
    (time, speed), (longer, _) = whole.marks[-1], less.marks[-1]
    return {"time": time, "speed": speed, "loss_percent": 100.0 * (longer / time - 1.0)}


def _overtaking(mass: float, power: float, low: float, high: float) -> dict[str, float]:
    state = drive.standing(constant_power(mass, power), drive.Course(), boost=2e5)._replace(speed=low)
    driven = drive.march_to_speed(state, high)
    assert driven is not None
    return {"time": float(driven.time[-1])}


def _top_speed(mass: float, power: float, rolling: float, density: float, drag_area: float) -> dict[str, float]:
    """Where the march itself settles; 0.1 % under it after ten minutes would be the march's fault."""
    assert density == 1.2
    state = drive.standing(constant_power(mass, power, drag_area=drag_area, rolling=rolling), drive.Course(), boost=2e5)
    state = state._replace(speed=60.0)
    for _ in range(3000):
        state = drive.advance(state, 1.0, 0.1)
    return {"top_speed": state.speed}


def _distance(name: str) -> dict[str, float]:
    time, speed = schedule(name)
    assert (np.diff(time) == 1.0).all()  # one sample a second, so that the sum is the distance
    return {"distance": float(speed.sum())}


def _mean_power(name: str, end: int | None) -> dict[str, float]:
    """Of all the time; where the car brakes nothing is counted."""
    time, speed = schedule(name)
    upto = slice(0, None if end is None else end + 1)
    v, a = 0.5 * (speed[upto][1:] + speed[upto][:-1]), np.diff(speed[upto])
    car = CarSpec(mass=1600.0, rolling_resistance=0.012, drag_area=0.68)
    force = road.road_force(car, v, 1.2, acceleration=a, rotating=road.WHEELS_SHARE)
    return {"mean": float(np.maximum(force * v, 0.0).mean())}


def _worldwide() -> dict[str, float]:
    """Phases of 589, 433, 455 and 323 s."""
    time, speed = schedule("WLTC")
    ends = (0, 589, 1022, 1477, 1800)
    named = zip(("low", "medium", "high", "extra_high"), ends[:-1], ends[1:], strict=True)
    return {"distance": float(speed.sum())} | {
        name: float(speed[(time > low) & (time <= high)].sum()) for name, low, high in named
    }


CASES = [
    Case(
        id="loop-C30",
        what="launch at the grip of the rear tyres",
        inputs={"mu": 1.1, "front_to_cg": 1.15, "height": 0.5, "wheelbase": 2.65},
        compute=_grip,
        expected={"acceleration": 5.907},
        tolerance=1e-4,
        tolerance_reason=FOUR,
        source=("Gillespie1992",),
        how="derived",
    ),
    *(
        Case(
            id="loop-C31",
            part=part,
            what=f"speed in a bend of 80 m, {part}",
            inputs={"mu": 1.3, "mass": 1600.0, "radius": 80.0, "downforce_area": area, "density": 1.2},
            compute=_bend,
            expected={"speed": speed},
            tolerance=2e-4,
            tolerance_reason=FOUR,
            source=("LenzoRossi2020",),
            how="derived",
        )
        for part, area, speed in (("with downforce", 1.5, 32.91), ("without downforce", 0.0, 31.94))
    ),
    Case(
        id="loop-C32",
        what="400 m between two bends of 25 m: constant drive, then brakes, by the march and the caps",
        inputs={"length": 400.0, "radius": 25.0, "mu": 1.3, "drives": 5.0, "brakes": 11.0},
        compute=_straight,
        expected={"bend": 17.85, "peak": 55.40, "time": 10.92},
        tolerance=1e-3,
        tolerance_reason="four digits stated; the march turns to its brakes within a step of 5 ms",
        source=("LenzoRossi2020",),
        how="derived, checked in the notes with a march of 1 mm",
    ),
    Case(
        id="loop-C33",
        what="standing start over 402.336 m at constant power, and with 5 % less",
        inputs={"mass": 1600.0, "power": 400e3, "distance": 402.336},
        compute=_standing_start,
        expected={"time": 8.998, "speed": 67.07, "loss_percent": 1.724},
        tolerance=5e-4,
        tolerance_reason="four digits stated, the last rounded by 0.0003 of it",
        source=("Gillespie1992",),
        how="derived: t = (9 m s^2 / 8 P)^(1/3), v = (3 P s / m)^(1/3)",
    ),
    Case(
        id="loop-C34",
        part="20 to 60 m/s",
        what="20 to 60 m/s at constant power without drag",
        inputs={"mass": 1600.0, "power": 400e3, "low": 20.0, "high": 60.0},
        compute=_overtaking,
        expected={"time": 6.400},
        tolerance=1e-4,
        tolerance_reason=FOUR,
        source=("Gillespie1992",),
        how="derived: t = m (v2^2 - v1^2) / 2 P",
    ),
    Case(
        id="loop-C34",
        part="top speed of the march",
        what="speed at which the march settles with 400 kW at the wheels",
        inputs={"mass": 1600.0, "power": 400e3, "rolling": 0.012, "density": 1.2, "drag_area": 0.68},
        compute=_top_speed,
        expected={"top_speed": 97.79},
        tolerance=1e-4,
        tolerance_reason=FOUR,
        source=("Gillespie1992",),
        how="derived, root of a cubic",
    ),
    Case(
        id="loop-C35",
        part="WLTC",
        what="distance of WLTC class 3b, whole and by phase, sums of its samples one second apart",
        inputs={},
        compute=_worldwide,
        expected={"distance": 23266.0, "low": 3095.0, "medium": 4756.0, "high": 7162.0, "extra_high": 8254.0},
        tolerance=2e-4,
        tolerance_reason="whole metres stated",
        source=("UNGTR15",),
        how="printed",
    ),
    *(
        Case(
            id="loop-C35",
            part=name,
            what=f"distance of {name}, sum of its samples one second apart",
            inputs={"name": name},
            compute=_distance,
            expected={"distance": distance},
            tolerance=1e-4,
            tolerance_reason="five digits stated",
            source=("EPASchedules",),
            how="printed (UDDS 11.99 km, HWFET 16.51 km, US06 12.89 km), and computed from the samples in the notes",
        )
        for name, distance in (("UDDS", 11990.0), ("HWFET", 16507.0), ("US06", 12888.0))
    ),
    *(
        Case(
            id="loop-e2",
            part=f"{name}, low phase" if end else name,
            what="mean power at the wheels of a car of 1600 kg, nothing counted where it brakes",
            inputs={"name": name, "end": end},
            compute=_mean_power,
            expected=expected,
            tolerance=0.03,
            tolerance_reason="two to three digits stated; turning masses of the notes are not (here 4 %)",
            source=("Own",),
            how="computed for the notes with another code: mass 1600 kg, Crr 0.012, CdA 0.68 m2",
        )
        for name, end, expected in (
            ("WLTC", 589, {"mean": 2.5e3}),
            ("WLTC", None, {"mean": 7.0e3}),
            ("UDDS", None, {"mean": 4.2e3}),
            ("US06", None, {"mean": 15.0e3}),
        )
    ),
]
