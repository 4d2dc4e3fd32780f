"""Is a water core a quarter of an air core?  A search for the smallest cores that do the same duty.

The rule (common practice, no source) compares cores.  This script searches the smallest air core and the smallest
water core for one charge duty, with the same models of fins, for a row of conditions, and prints the ratio of their
volumes: where it is a quarter, and where it is not.  Then it adds the remote exchanger that the water core needs
when the heat is held, for that is what a car has to carry.

Run it with `python quarter_volume.py` (half a minute).  Nothing here is a recommendation for a car: cores are clean,
without tanks, end bars or uneven flow, and the air core is an optimum that bodywork seldom allows.
"""

from __future__ import annotations

import functools
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize

from coldside.media import air
from coldside.media.coolants import Coolant, parse_coolant
from coldside.parts.correlations import effectiveness_cross_counter
from coldside.parts.geometry import CoreGeometry, CoreSide
from coldside.parts.surfaces import FlatTube, LouveredFin, OffsetStripFin

CHARGE_FLOW, CHARGE_IN, CHARGE_PRESSURE = 0.5, 423.15, 2.5e5  # kg/s, K, Pa absolute
CP_CHARGE = 1010.0  # J/(kg K)
AMBIENT, AMBIENT_PRESSURE = 308.15, 101325.0  # K, Pa
PLATE = 0.0005  # m
CHARGE_FIN = OffsetStripFin(0.0075, 0.002, 0.00015, 0.0032)
DENSE_FIN = OffsetStripFin(0.0065, 0.0015, 0.00015, 0.0032)
COOLING_FIN = OffsetStripFin(0.009, 0.002, 0.00012, 0.0032)
COOLANT_FIN = OffsetStripFin(0.003, 0.003, 0.0002, 0.006)
GLYCOL, WATER = parse_coolant("ethylene glycol 50 % by mass"), parse_coolant("water")
COOLANT_LOSS = 20e3  # Pa
TUBE_WALL = 0.0003  # m, remote exchanger


@dataclass(frozen=True)
class Case:
    """One row: what both cores must do.

    `words` for the print; `sink` K of coolant over ambient; `cooling_loss`, `charge_loss`, `water_charge_loss` Pa
    (of the air core's air, of both charge sides, of the water core's where it is allowed another); `charge_out` K;
    `dense` the finer charge fin in the water core; `coolant`, `coolant_flow` kg/s; `fastest` m/s on the face;
    `side` m, the longest side of the water core; `expected` the ratio and `volumes` the litres (air core, water core)
    that the project's design note found with its own search.
    """

    words: str
    expected: float
    volumes: tuple[float, float]
    sink: float = 10.0
    cooling_loss: float = 300.0
    charge_loss: float = 7e3
    water_charge_loss: float | None = None
    charge_out: float = 333.15
    dense: bool = False
    coolant: Coolant = GLYCOL
    coolant_flow: float = 0.6
    fastest: float = 12.0
    side: float = 0.4


# The last row but two and the last one do their duty in the note's volume only with sides of up to 0.65 m, as long as
# the air core's; within 0.4 m they would take 15.9 and 31.4 L, and the rule would fail by more.
CASES = (
    Case("coolant at ambient, same fins", 0.28, (14.6, 4.1), sink=0.0),
    Case("coolant 10 K over ambient", 0.40, (14.6, 5.9)),
    Case("the same, dense charge fin", 0.30, (14.6, 4.5), dense=True),
    Case("the same, dense fin, plain water", 0.24, (14.6, 3.5), dense=True, coolant=WATER),
    Case("+10 K, only 100 Pa of cooling-air loss", 0.24, (24.2, 5.9), cooling_loss=100.0),
    Case("+5 K, 150 Pa, dense", 0.19, (19.5, 3.6), sink=5.0, cooling_loss=150.0, dense=True),
    Case("+5 K, 200 Pa, water core allowed 14 kPa", 0.26, (17.1, 4.5), 5.0, 200.0, water_charge_loss=14e3),
    Case("+5 K, 150 Pa, charge loss 3.5 kPa in both", 0.20, (26.5, 5.4), 5.0, 150.0, charge_loss=3.5e3),
    Case("coolant at ambient, 100 Pa, water, dense", 0.10, (24.2, 2.4), 0.0, 100.0, dense=True, coolant=WATER),
    Case("+10 K, air core ducted with 800 Pa", 0.55, (10.7, 5.9), cooling_loss=800.0, fastest=20.0),
    Case("charge to 75 degC, +10 K", 0.32, (9.3, 2.9), charge_out=348.15),
    Case("charge to 50 degC (0.95 on the coolant)", 0.62, (21.0, 13.1), charge_out=323.15, side=0.65),
    Case("+10 K, coolant 0.35 kg/s (20 L/min)", 0.64, (14.6, 9.4), coolant_flow=0.35),
    Case("+10 K, coolant 0.20 kg/s (11 L/min)", 1.34, (14.6, 19.6), coolant_flow=0.20, side=0.65),
)


@dataclass(frozen=True)
class Found:
    """The smallest core: its geometry, the flow of cooling air kg/s (or coolant), and how far each demand is met."""

    core: CoreGeometry
    flow2: float
    margins: np.ndarray

    @property
    def litres(self) -> float:
        """Volume of the core without tanks, L."""
        return self.core.core_volume * 1e3


def effectiveness(core: CoreGeometry, UA: float, C_1: float, C_2: float) -> float:
    """Heat over C_1 times the difference of inlets, with the core's passes."""
    low, high = min(C_1, C_2), max(C_1, C_2)
    return float(effectiveness_cross_counter(UA / low, low / high, core.passes)) * low / C_1


def smallest(
    margins: Callable[[np.ndarray], np.ndarray],
    starts: Sequence[Sequence[float]],
    bounds: Sequence[tuple[float, float]],
) -> np.ndarray:
    """Sizes (three lengths, then whatever else) of least volume with every margin >= 0.

    Sequential quadratic programming in logarithms, where volume is a sum; the best of several starts, since
    which demand binds differs from row to row.  Raises ValueError where no start meets the demands.
    """
    limits = [(np.log(a), np.log(b)) for a, b in bounds]
    best: np.ndarray | None = None
    for start in starts:
        with np.errstate(all="ignore"):
            run = minimize(
                lambda x: float(np.sum(x[:3])),
                np.log(start),
                jac=lambda x: np.concatenate([np.ones(3), np.zeros(x.size - 3)]),
                bounds=limits,
                constraints={"type": "ineq", "fun": lambda x: margins(np.exp(x))},
                method="SLSQP",
                options={"maxiter": 200, "ftol": 1e-8},
            )
        if np.min(margins(np.exp(run.x))) > -1e-5 and (best is None or run.fun < np.sum(best[:3])):
            best = run.x
    if best is None:
        raise ValueError("no core within these bounds does it")
    return np.exp(best)


def _warmed(coolant: Coolant, flow: float, T_cold: float, heat: float) -> tuple[float, float]:
    """Temperature a coolant is warmed to, K, and its heat capacity flow, W/K, with cp at the mean temperature."""
    warm = T_cold
    for _ in range(6):
        C = flow * float(coolant.cp(0.5 * (T_cold + warm)))
        warm = T_cold + heat / C
    return warm, C


def air_core(case: Case) -> Found:
    """The smallest air-to-air core of a row."""
    return _air_core(case.charge_out, case.charge_loss, case.cooling_loss, case.fastest)


@functools.cache
def _air_core(charge_out: float, charge_loss: float, cooling_loss: float, fastest: float) -> Found:
    heat = CHARGE_FLOW * CP_CHARGE * (CHARGE_IN - charge_out)
    wanted = (CHARGE_IN - charge_out) / (CHARGE_IN - AMBIENT)
    middle = 0.5 * (CHARGE_IN + charge_out)
    rho = float(air.density(AMBIENT, AMBIENT_PRESSURE))

    def build(x: np.ndarray) -> CoreGeometry:
        sides = CoreSide(surface=CHARGE_FIN, length=x[0]), CoreSide(surface=COOLING_FIN, length=x[1])
        return CoreGeometry(side1=sides[0], side2=sides[1], stack_height=x[2], wall_thickness=PLATE)

    def margins(x: np.ndarray) -> np.ndarray:
        core, flow = build(x), float(x[3])
        C_2 = flow * 1006.5
        out = AMBIENT + heat / C_2
        UA = core.resistances((CHARGE_FLOW, middle, None), (flow, 0.5 * (AMBIENT + out), None)).conductance
        loss1 = core.loss1(CHARGE_FLOW, CHARGE_IN, charge_out, CHARGE_PRESSURE).core
        loss2 = core.loss2(flow, AMBIENT, out, AMBIENT_PRESSURE).core
        speed = flow / (rho * core.frontal_area2)
        reached = effectiveness(core, UA, CHARGE_FLOW * CP_CHARGE, C_2)
        return np.array(
            [
                np.log((1.0 - wanted) / (1.0 - reached)),
                np.log(charge_loss / loss1),
                np.log(cooling_loss / loss2),
                np.log(fastest / speed),
            ]
        )

    starts = ((0.42, 0.055, 0.60, 1.8), (0.30, 0.09, 0.55, 1.6), (0.55, 0.04, 0.60, 2.0))
    bounds = ((0.05, 0.65), (0.01, 0.12), (0.05, 0.65), (0.4, 8.0))
    x = smallest(margins, starts, bounds)
    return Found(build(x), float(x[3]), margins(x))


@functools.cache
def water_core(case: Case) -> Found:
    """The smallest water core of a row, coolant in one pass."""
    allowed = case.charge_loss if case.water_charge_loss is None else case.water_charge_loss
    T_cold = AMBIENT + case.sink
    heat = CHARGE_FLOW * CP_CHARGE * (CHARGE_IN - case.charge_out)
    warm, C_2 = _warmed(case.coolant, case.coolant_flow, T_cold, heat)
    wanted = (CHARGE_IN - case.charge_out) / (CHARGE_IN - T_cold)
    fin = DENSE_FIN if case.dense else CHARGE_FIN
    middles = 0.5 * (CHARGE_IN + case.charge_out), 0.5 * (T_cold + warm)

    def build(x: np.ndarray) -> CoreGeometry:
        sides = CoreSide(surface=fin, length=x[0]), CoreSide(surface=COOLANT_FIN, length=x[1])
        return CoreGeometry(side1=sides[0], side2=sides[1], stack_height=x[2], wall_thickness=PLATE)

    def margins(x: np.ndarray) -> np.ndarray:
        core = build(x)
        cold = (case.coolant_flow, middles[1], case.coolant)
        UA = core.resistances((CHARGE_FLOW, middles[0], None), cold).conductance
        loss1 = core.loss1(CHARGE_FLOW, CHARGE_IN, case.charge_out, CHARGE_PRESSURE).core
        loss2 = core.loss2(case.coolant_flow, T_cold, warm, 2e5, case.coolant).core
        reached = effectiveness(core, UA, CHARGE_FLOW * CP_CHARGE, C_2)
        return np.array(
            [np.log((1.0 - wanted) / (1.0 - reached)), np.log(allowed / loss1), np.log(COOLANT_LOSS / loss2)]
        )

    starts = ((0.15, 0.15, 0.22), (0.08, 0.28, 0.28), (0.12, 0.38, 0.38), (0.38, 0.38, 0.10))
    x = smallest(margins, starts, ((0.05, case.side),) * 3)
    return Found(build(x), case.coolant_flow, margins(x))


@functools.cache
def remote_exchanger(coolant: Coolant, passes: int, approach: float = 10.0, heat: float = 45.45e3) -> Found:
    """The smallest louvered exchanger on flat tubes that gives the heat to ambient air, W.

    Coolant 0.6 kg/s leaves it `approach` K over ambient; face at most 1.0 x 0.7 m, 300 Pa of air, 20 kPa of coolant.
    Raises ValueError where no face of that size does it.
    """
    flow = 0.6
    cold = AMBIENT + approach
    hot, C_1 = _warmed(coolant, flow, cold, heat)
    wanted = heat / (C_1 * (hot - AMBIENT))

    def build(x: np.ndarray) -> CoreGeometry:
        tube = FlatTube(0.0014, x[1] / passes - 2.0 * TUBE_WALL, 2.0 * TUBE_WALL)
        fin = LouveredFin(0.010, 0.002, 0.0013, 0.0001, 0.0011, 0.0068, 27.0, x[1])
        return CoreGeometry(
            side1=CoreSide(surface=tube, length=x[0], passes=passes),
            side2=CoreSide(surface=fin, length=x[1]),
            stack_height=x[2],
            wall_thickness=TUBE_WALL,
        )

    def margins(x: np.ndarray) -> np.ndarray:
        core, m_air = build(x), float(x[3])
        C_2 = m_air * 1006.5
        out = AMBIENT + heat / C_2
        air_stream = (m_air, 0.5 * (AMBIENT + out), None)
        UA = core.resistances((flow, 0.5 * (hot + cold), coolant), air_stream).conductance
        loss1 = core.loss1(flow, hot, cold, 2e5, coolant).core
        loss2 = core.loss2(m_air, AMBIENT, out, AMBIENT_PRESSURE).core
        reached = effectiveness(core, UA, C_1, C_2)
        return np.array([np.log((1.0 - wanted) / (1.0 - reached)), np.log(COOLANT_LOSS / loss1), np.log(300.0 / loss2)])

    starts = ((0.9, 0.03, 0.65, 6.0), (0.95, 0.045, 0.68, 7.0), (0.6, 0.02, 0.6, 5.0))
    bounds = ((0.2, 1.0), (0.010, 0.10), (0.2, 0.7), (0.5, 20.0))
    x = smallest(margins, starts, bounds)
    return Found(build(x), float(x[3]), margins(x))


REMOTES = (
    ("50/50 glycol, two passes, leaving 10 K over ambient", GLYCOL, 2, 10.0),
    ("50/50 glycol, two passes, leaving 15 K over ambient", GLYCOL, 2, 15.0),
    ("50/50 glycol, one pass, leaving 10 K over ambient", GLYCOL, 1, 10.0),
    ("plain water, one pass, leaving 10 K over ambient", WATER, 1, 10.0),
    ("plain water, two passes, leaving 10 K over ambient", WATER, 2, 10.0),
)


def _sizes(core: CoreGeometry) -> str:
    """Charge way x other way x stack, mm."""
    return " x ".join(f"{1e3 * size:.0f}" for size in (core.side1.length, core.side2.length, core.stack_height))


def dry_litres() -> float:
    """Volume of the air core that the systems with water are compared with, L."""
    return air_core(CASES[1]).litres


def system(coolant: Coolant, passes: int, approach: float) -> tuple[Found, Found]:
    """The water core and its remote exchanger for a coolant that comes to the core `approach` K over ambient."""
    core = water_core(Case("", 0.0, (0.0, 0.0), sink=approach, coolant=coolant))
    return core, remote_exchanger(coolant, passes, approach)


def report() -> str:
    """The whole study in words and figures; half a minute of search."""
    lines = [
        "Smallest cores for 0.5 kg/s (66 lb/min) of charge at 150 degC (302 degF) and 2.5 bar absolute, to 60 degC",
        "(140 degF) where a row says nothing else; charge loss at most 7 kPa (1 psi); ambient 35 degC (95 degF).",
        "Litres of core, without tanks (1 L = 61 in3); sizes: along the charge x across x stack, mm.",
        "",
        f"{'':42s}{'air L':>7s}{'water L':>9s}{'ratio':>7s}{'noted':>6s}   sizes air core, sizes water core",
    ]
    for case in CASES:
        dry, wet = air_core(case), water_core(case)
        ratio = wet.litres / dry.litres
        verdict = "" if 0.15 <= ratio <= 0.40 else "   smaller still" if ratio < 0.15 else "   << far from a quarter"
        lines.append(
            f"{case.words:42s}{dry.litres:7.1f}{wet.litres:9.1f}{ratio:7.2f}{case.expected:6.2f}   "
            f"{_sizes(dry.core)}, {_sizes(wet.core)}{verdict}"
        )
    lines += [
        "",
        "The rule holds, 0.15 to 0.40, while coolant is within 10 K (18 degF) of ambient and carries about four times",
        "the charge's heat per degree, no more than 0.86 of the difference to the coolant is asked for, and the air",
        "core has 100 to 300 Pa (0.4 to 1.2 inH2O) of cooling air.  It fails when coolant flow falls (at 11 L/min,",
        "3 gal/min, the water core is the larger one), when 0.95 is asked for, and against an air core in a tight duct",
        "at speed.",
        "",
        f"Core and remote exchanger together, 45 kW (43 BTU/s) held for good; the air core has {dry_litres():.1f} L:",
        "",
        f"{'':54s}{'core L':>7s}{'remote L':>10s}{'both L':>8s}{'air kg/s':>10s}   size of the remote exchanger",
    ]
    for words, coolant, passes, approach in REMOTES:
        core, remote = system(coolant, passes, approach)
        lines.append(
            f"{words:54s}{core.litres:7.1f}{remote.litres:10.1f}{core.litres + remote.litres:8.1f}"
            f"{remote.flow2:10.1f}   {_sizes(remote.core)}"
        )
    lines += [
        "",
        "With glycol the system takes more room than the air core while heat is held; plain water in two passes comes",
        "down to it.  A water core wins by averaging over time, by where its parts can stand, and by short pipes.",
    ]
    return "\n".join(lines)


if __name__ == "__main__":
    sys.stdout.write(report() + "\n")
