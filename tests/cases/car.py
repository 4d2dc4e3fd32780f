"""Check cases of road load, the intake sensor, fittings and a core at a standstill (notes loop e, f1, a2; heat C4)."""

from __future__ import annotations

import math

import numpy as np

from cases.record import Case
from coldside.duty import road
from coldside.duty.model import SAMPLE_TIME
from coldside.parts import fittings, sensor, standstill
from coldside.parts.correlations import nusselt_vertical_plate
from coldside.parts.engine import CarSpec
from coldside.parts.pump import GRAVITY
from coldside.parts.sensor import SensorSpec
from generators import AIR_CORE, TURBO, Held, assemble, build_of, demand_of, hold, march

FOUR = "four digits stated"


def _road_load(
    mass: float, speed: float, rolling: float, density: float, drag_area: float, slope: float, a: float, rotating: float
) -> dict[str, float]:
    car = CarSpec(mass=mass, rolling_resistance=rolling, drag_area=drag_area)
    grade = math.tan(math.radians(slope))
    force = float(road.road_force(car, speed, density, grade=grade, acceleration=a, rotating=rotating))
    return {"force": force, "power": force * speed}


def _top_speed(mass: float, power: float, rolling: float, density: float, drag_area: float) -> dict[str, float]:
    car = CarSpec(mass=mass, rolling_resistance=rolling, drag_area=drag_area)
    low, high = 1.0, 300.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        short = float(road.road_force(car, middle, density)) * middle < power
        low, high = (middle, high) if short else (low, middle)
    return {"top_speed": low}


def _read(tau: float, gas: np.ndarray) -> np.ndarray:
    """What a sensor behind a compressor reads in the plant's own march, over ambient, K; `gas` over ambient."""
    probe = SensorSpec(time_constant=tau, bench_flow=0.2, soak=0.0)
    parts = {"turbo": TURBO, "probe": probe, "core": AIR_CORE}
    build = build_of(parts, ("turbo", "probe", "core"), duct=("core",))
    demand = demand_of(build, SAMPLE_TIME * (len(gas) - 1), ambient=300.0)
    plant = hold(assemble(build, demand), Held(charge=(0.2, 1010.0, 300.0 + gas[:, None])))
    return march(plant).scalars[:, 4] - 300.0


def _lag(tau: float, rate: float, seconds: float) -> dict[str, float]:
    t = SAMPLE_TIME * np.arange(round(seconds / SAMPLE_TIME) + 1)
    return {"lag": float(rate * seconds - _read(tau, rate * t)[-1])}


def _step(tau: float) -> dict[str, float]:
    gas = np.ones(round(3.0 * tau / SAMPLE_TIME) + 1)
    return {"answer": float(_read(tau, gas)[-1])}


def _thermistor(points: tuple[tuple[float, float], ...], resistance: float) -> dict[str, float]:
    A, B, C = sensor.thermistor_coefficients(points)
    return {"A": A, "B": B, "C": C, "T_C": float(sensor.thermistor_temperature((A, B, C), resistance)) - 273.15}


def _two_points(points: tuple[tuple[float, float], ...], resistance: float) -> dict[str, float]:
    found = sensor.thermistor_coefficients(points)
    return {"beta": 1.0 / found[1], "T_C": float(sensor.thermistor_temperature(found, resistance)) - 273.15}


def _divider(resistance: float, pull_up: float, supply: float, dissipation: float) -> dict[str, float]:
    """From the voltage that Ohm's law puts across it back to the resistance."""
    volts = supply * resistance / (resistance + pull_up)
    read = float(sensor.divider_resistance(volts, supply, pull_up))
    return {"volts": volts, "resistance": read, "self_heating": float(sensor.self_heating(volts, read, dissipation))}


def _stem(film: float, conductivity: float, diameter: float, length: float, wall_over_gas: float) -> dict[str, float]:
    return {"error": wall_over_gas * float(sensor.stem_share(film, conductivity, diameter, length))}


def _recovery(factor: float, speed: float, cp: float) -> dict[str, float]:
    return {"rise": float(sensor.recovery_rise(factor, speed, cp))}


def _standing_face(T_s: float, T_a: float, L: float, nu: float, Pr: float, k: float, emissivity: float) -> dict:
    Ra = GRAVITY / (0.5 * (T_s + T_a)) * (T_s - T_a) * L**3 / nu**2 * Pr
    return {
        "h_convection": float(nusselt_vertical_plate(Ra, Pr)) * k / L,
        "h_radiation": standstill.radiation_film(T_s, T_a, emissivity),
    }


def _own_standing_face(T_s: float, T_a: float, L: float) -> dict[str, float]:
    return {"h_convection": standstill.convection_film(T_s, T_a, L)}


def _bends(bore: float, radius: float, friction: float) -> dict[str, float]:
    return {
        "swept_bend": fittings.swept_bend_loss(radius, math.pi / 2, friction),
        "screwed_elbow": fittings.fitting_loss("screwed elbow", bore),
    }


def _others(bore: float, small: float) -> dict[str, float]:
    names = ("mitre", "tee, into the branch", "tee, straight through", "swing check valve", "ball valve")
    found = {name.replace(",", "").replace(" ", "_"): fittings.fitting_loss(name, bore) for name in names}
    steps = {
        "contraction": fittings.contraction_loss(bore, small),
        "enlargement": fittings.enlargement_loss(small, bore),
    }
    return found | steps


CASES = [
    Case(
        id="heat-T40",
        what="face of a core at a standstill: natural convection and radiation",
        inputs={"T_s": 368.15, "T_a": 308.15, "L": 0.3, "nu": 1.91e-5, "Pr": 0.706, "k": 0.0287, "emissivity": 0.85},
        compute=_standing_face,
        expected={"h_convection": 5.6743, "h_radiation": 7.5132},
        tolerance=1e-4,
        tolerance_reason="five digits stated",
        source=("Ht", "ChurchillChu1975"),
        how="computed with ht 1.2.0 Nu_vertical_plate_Churchill; radiation derived",
    ),
    Case(
        id="heat-T40",
        part="our own air",
        what="the same with our own properties of air at the mean temperature",
        inputs={"T_s": 368.15, "T_a": 308.15, "L": 0.3},
        compute=_own_standing_face,
        expected={"h_convection": 5.6743},
        tolerance=5e-3,
        tolerance_reason="the case's viscosity and conductivity are given to three digits",
        source=("Ht", "ChurchillChu1975"),
        how="computed with ht 1.2.0 Nu_vertical_plate_Churchill",
    ),
    Case(
        id="loop-C43",
        what="loss coefficients of a swept bend of three bores and of a screwed elbow, 19.05 mm",
        inputs={"bore": 0.01905, "radius": 3.0, "friction": 0.03},
        compute=_bends,
        expected={"swept_bend": 0.2971, "screwed_elbow": 0.7286},
        tolerance=3e-4,
        tolerance_reason=FOUR,
        source=("Fluids", "Rennels2012", "Crane2009"),
        how="computed with fluids 1.3.1 bend_rounded and ft_Crane",
    ),
    Case(
        id="loop-a2",
        part="fittings",
        what="loss coefficients of other fittings, 19.05 mm, and of a step to 15 mm and back",
        inputs={"bore": 0.01905, "small": 0.015},
        compute=_others,
        expected={
            "mitre": 1.457,
            "tee_into_the_branch": 1.457,
            "tee_straight_through": 0.486,
            "swing_check_valve": 2.43,
            "ball_valve": 0.073,
            "contraction": 0.247,
            "enlargement": 0.144,
        },
        tolerance=5e-3,
        tolerance_reason="two to four digits stated",
        source=("Fluids", "Rennels2012", "Crane2009"),
        how="computed with fluids 1.3.1 fittings",
    ),
    Case(
        id="loop-C29",
        what="road load on a grade while accelerating",
        inputs={
            "mass": 1600.0,
            "speed": 30.0,
            "rolling": 0.012,
            "density": 1.2,
            "drag_area": 0.68,
            "slope": 1.5,
            "a": 1.0,
            "rotating": 0.05,
        },
        compute=_road_load,
        expected={"force": 2646.0, "power": 79.38e3},
        tolerance=3e-4,
        tolerance_reason=FOUR,
        source=("Gillespie1992",),
        how="derived",
    ),
    Case(
        id="loop-C34",
        what="top speed with 400 kW at the wheels",
        inputs={"mass": 1600.0, "power": 400e3, "rolling": 0.012, "density": 1.2, "drag_area": 0.68},
        compute=_top_speed,
        expected={"top_speed": 97.79},
        tolerance=1e-4,
        tolerance_reason=FOUR,
        source=("Gillespie1992",),
        how="derived, root of a cubic",
    ),
    Case(
        id="loop-C36",
        what="thermistor through three points, and its temperature at 1200 ohm",
        inputs={"points": ((9397.0, 263.15), (2500.0, 293.15), (323.0, 353.15)), "resistance": 1200.0},
        compute=_thermistor,
        expected={"A": 1.279e-3, "B": 2.641e-4, "C": 1.368e-7, "T_C": 39.29},
        tolerance=5e-4,
        tolerance_reason="four digits stated, half of the last in A",
        source=("SteinhartHart1968",),
        how="derived, three linear equations",
    ),
    Case(
        id="loop-C36",
        part="two points",
        what="beta of a thermistor through two points, and its temperature at 1200 ohm",
        inputs={"points": ((2500.0, 293.15), (323.0, 353.15)), "resistance": 1200.0},
        compute=_two_points,
        expected={"beta": 3531.0, "T_C": 39.02},
        tolerance=2e-4,
        tolerance_reason="four digits stated",
        source=("SteinhartHart1968",),
        how="derived, two linear equations",
    ),
    Case(
        id="loop-C37",
        what="thermistor of 1200 ohm behind 2490 ohm at 5 V, 3 mW/K: voltage, resistance read back, self-heating",
        inputs={"resistance": 1200.0, "pull_up": 2490.0, "supply": 5.0, "dissipation": 3e-3},
        compute=_divider,
        expected={"volts": 1.626, "resistance": 1200.0, "self_heating": 0.7344},
        tolerance=2e-4,
        tolerance_reason="four digits stated",
        source=("Analytic",),
        how="derived, Ohm's law",
    ),
    Case(
        id="loop-C38",
        part="ramp",
        what="lag of a sensor of 1.8 s behind gas that warms by 8 K/s, after 5 s, marched in a plant",
        inputs={"tau": 1.8, "rate": 8.0, "seconds": 5.0},
        compute=_lag,
        expected={"lag": 13.50},
        tolerance=1e-3,
        tolerance_reason="four digits stated; the march adds less than 1e-3 K",
        source=("Analytic",),
        how="derived, first-order answer to a ramp",
    ),
    Case(
        id="loop-C38",
        part="step",
        what="answer of the same sensor three time constants after a step of 1 K, marched in a plant",
        inputs={"tau": 1.8},
        compute=_step,
        expected={"answer": 0.9502},
        tolerance=1e-3,
        tolerance_reason="four digits stated",
        source=("Analytic",),
        how="derived, first-order answer to a step",
    ),
    Case(
        id="loop-C39",
        part="stem",
        what="what a stem of 20 mm lets a wall 40 K hotter than the gas add to the reading",
        inputs={"film": 80.0, "conductivity": 15.0, "diameter": 0.005, "length": 0.02, "wall_over_gas": 40.0},
        compute=_stem,
        expected={"error": 20.18},
        tolerance=3e-4,
        tolerance_reason=FOUR,
        source=("Analytic",),
        how="derived, fin with an insulated tip",
    ),
    Case(
        id="loop-C39",
        part="recovery",
        what="rise of a probe in a stream of 60 m/s with a recovery factor of 0.85",
        inputs={"factor": 0.85, "speed": 60.0, "cp": 1005.0},
        compute=_recovery,
        expected={"rise": 1.522},
        tolerance=5e-4,
        tolerance_reason=FOUR,
        source=("Analytic",),
        how="derived",
    ),
]
