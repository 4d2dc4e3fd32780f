"""A lap as quickly as tyres allow: speed caps of a track from bends and brakes.

What is here: the caps (the backward half of the quasi-steady point-mass method of design notes e4: speed in
each bend, then brakes from there back).  The forward half is the march itself (`drive.py`), which meets the
caps with an engine whose boost lags.  What is not: reading of tracks (`courses.py`).
"""

from __future__ import annotations

import numpy as np

from coldside.duty import road
from coldside.duty.courses import Track
from coldside.duty.drive import FASTEST, Course, Powertrain
from coldside.parts.engine import CarSpec

ENTRY_BRAKING = 3.0  # m/s2, how a driver slows down into a slow lap; common practice, no source


def speed_caps(track: Track, car: CarSpec, density: float, pace: float = 1.0, most: float = FASTEST) -> np.ndarray:
    """Highest speed at each row of a track from which the next bends can still be made, m/s.

    Bends by `road.corner_speed`; brakes by what the friction ellipse leaves of `brake_share` of the grip, with
    drag, rolling resistance and grade helping or not.  `density` of the air, kg/m3; `pace` the share of the grip
    that is used; `most` the speed that is never passed, m/s.  An open track may be left at any speed.
    """
    from coldside.duty import marching  # Numba is imported only when something is driven

    limit = np.minimum(road.corner_speed(car, track.curvature, density, pace), most)
    n = len(limit)
    last = int(np.argmin(limit)) if track.closed else n - 1  # nothing brakes for what lies behind the slowest place
    brakes = marching.BrakeNumbers(
        float(track.step), float(density), float(car.mass), float(car.grip * pace), float(car.brake_share),
        float(car.rolling_resistance), float(car.drag_area), float(car.downforce_area),
    )  # fmt: skip
    return marching.brake_back(limit, np.abs(track.curvature), track.grade, last, brakes)


def course_on(track: Track, car: Powertrain, *, pace: float = 1.0, throttle: float = 1.0, slip: float = 0.0) -> Course:
    """The course of a track for a car; arguments as for `drive.Course`.

    The car is held below what top gear allows, downhill too.
    """
    return Course(
        step=track.step,
        cap=speed_caps(track, car.car, car.density, pace, car.fastest).tolist(),
        curvature=track.curvature.tolist(),
        grade=track.grade.tolist(),
        closed=track.closed,
        slip=slip,
        pace=pace,
        throttle=throttle,
    )


def eased(slow: Course, fast: Course, speed: float) -> Course:
    """The slow course entered at a `speed` [m/s] of the fast one: brakes ease down to the slow caps.

    At 3 m/s2 at the most, or as the fast course's own caps demand.
    """
    caps = np.asarray(slow.cap)
    s = np.arange(len(caps)) * slow.step
    ease = np.sqrt(np.maximum(speed**2 - 2.0 * ENTRY_BRAKING * s, 0.0))
    return Course(
        step=slow.step, cap=np.minimum(np.maximum(caps, ease), fast.cap).tolist(), curvature=slow.curvature,
        grade=slow.grade, closed=slow.closed, slip=slow.slip, pace=fast.pace, throttle=slow.throttle,
    )  # fmt: skip
