"""Check cases of coolant loops: flows of pumps and lines (`HYDRAULIC`), temperatures of tanks and hoses (`THERMAL`)."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from cases.record import Case
from coldside.build.model import Parallel, Path
from coldside.media.coolants import parse_coolant
from coldside.parts import lines
from coldside.parts.correlations import transfer_units_crossflow
from coldside.parts.exchanger import CELLS
from coldside.parts.lines import HoseSpec, ValveSpec
from coldside.parts.pump import GRAVITY, PumpSpec, electrical_power, pressure_rise, speed_of
from coldside.plant.network import LinkLoss, network_of, solve
from coldside.plant.suction import net_suction_head
from generators import (
    HOSE,
    TANK,
    Held,
    coupled_bench,
    exact_values,
    line_bench,
    march,
    nodes,
    rated,
    settled,
    water_bench,
)

LITRE_MIN = 1.0 / 60000.0  # m3/s
DENSITY, VISCOSITY = 1058.0, 2.26e-3  # of the loop cases: glycol mix near 40 degC
FOUR = "four digits stated"
NOTES = "the tolerance of the notes"


# --- flows ----------------------------------------------------------------------------------------------------------


def parabola(H0: float, a: float, largest: float, count: int = 41) -> tuple[tuple[float, float], ...]:
    """Points of a pump curve H0 - a Q^2 up to `largest` [m3/s]."""
    flow = np.linspace(0.0, largest, count)
    return tuple(zip(flow.tolist(), (H0 - a * flow**2).tolist(), strict=True))


def lift(spec: PumpSpec, command: float = 1.0, density: float = DENSITY) -> LinkLoss:
    """A pump as a link."""

    def loss(q: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        rise, slope = pressure_rise(spec, q, speed_of(spec, command), density)
        return -rise, -slope

    return loss


def power_law(loss0: float, flow0: float, exponent: float) -> LinkLoss:
    """loss0 (q/flow0)^exponent, odd."""

    def loss(q: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        r = np.abs(q) / flow0
        return np.sign(q) * loss0 * r**exponent, loss0 * exponent / flow0 * np.maximum(r, 1e-3) ** (exponent - 1.0)

    return loss


def resistance(R: float) -> LinkLoss:
    """R Q|Q| in metres of coolant."""
    return power_law(R * DENSITY * GRAVITY * 1e-6, 1e-3, 2.0)


def flows_of(path: Path, losses: Sequence[LinkLoss], closed: bool = True, through: float | None = None) -> np.ndarray:
    """Flow of every link in walk order, m3/s."""
    given = None if through is None else np.array([through])
    return solve(network_of(path, closed=closed), list(losses), 1, 4e-4, through=given)[0]


def _against_line(H0: float, a: float, k: float, arrangement: str, voltage: float) -> dict[str, float]:
    """One or two equal pumps on a line k Q^2; head is that of the line."""
    spec = PumpSpec(curve=parabola(H0, a, 4.9e-4), curve_voltage=13.8, voltage=voltage)
    path: Path = {
        "single": ("pump", "line"),
        "parallel": (Parallel((("pump",), ("second",))), "line"),
        "series": ("pump", "second", "line"),
    }[arrangement]
    q = flows_of(path, [lift(spec)] * (1 if arrangement == "single" else 2) + [resistance(k)])
    return {"flow": float(q[-1]), "head": k * float(q[-1]) ** 2}


def _low_voltage(H0: float, a: float, k: float, voltage: float, full: float) -> dict[str, float]:
    """Flow, head and hydraulic power at a low voltage against the full one; power by the pump's own function."""
    found = []
    for U in (voltage, full):
        spec = PumpSpec(curve=parabola(H0, a, 4.9e-4), curve_voltage=full, voltage=U)
        q = float(flows_of(("pump", "line"), [lift(spec), resistance(k)])[0])
        rise = float(pressure_rise(spec, q, speed_of(spec, 1.0), DENSITY)[0])
        found.append((q, rise / (DENSITY * GRAVITY), float(electrical_power(spec, q, rise))))
    return {"flow": found[0][0], "head": found[0][1], "power_ratio": found[0][2] / found[1][2]}


def _parallel_resistances(R1: float, R2: float, flow: float) -> dict[str, float]:
    q = flows_of((Parallel((("one",), ("two",))),), [resistance(R1), resistance(R2)], closed=False, through=flow)
    head = float(resistance(R1)(q[:1])[0][0]) / (DENSITY * GRAVITY)
    return {"resistance": head / flow**2, "share": float(q[0]) / flow}


def _stopped_beside(H0: float, a: float, k: float, R: float, check: bool) -> dict[str, float]:
    """A running pump, a stopped one beside it, with or without a check valve behind the stopped one.

    Our stopped pump has R = 2 H0/Qmax^2, so its curve ends at the flow where that is the case's R.
    """
    running = PumpSpec(curve=parabola(H0, a, 4.9e-4))
    stopped = PumpSpec(curve=parabola(H0, 1.0, math.sqrt(2.0 * H0 / R)))
    valve = ValveSpec(bore=0.05, losses=0.0, check=True)
    second: Path = ("stopped", "valve") if check else ("stopped",)
    losses = [lift(running), lift(stopped, 0.0)]
    if check:
        losses.append(lambda q: lines.valve_loss(valve, q, DENSITY, VISCOSITY))
    q = flows_of((Parallel((("running",), second)), "line"), [*losses, resistance(k)])
    return {"head": k * float(q[-1]) ** 2, "pump": float(q[0]), "loop": float(q[-1]), "back": -float(q[1])}


def _whole_loop(H0: float, a: float, length: float, bore: float, losses: float) -> dict[str, float]:
    """Pump, hose, core, two equal exchangers in parallel."""
    spec, hose = PumpSpec(curve=parabola(H0, a, 4.9e-4)), HoseSpec(length=length, bore=bore, losses=losses)
    core, exchanger = power_law(12e3, 20 * LITRE_MIN, 1.8), power_law(9e3, 10 * LITRE_MIN, 1.75)

    def line(q: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        return lines.hose_loss(hose, q, DENSITY, VISCOSITY)

    links = [lift(spec), line, core, exchanger, exchanger]
    q = flows_of(("pump", "hose", "core", Parallel((("left",), ("right",)))), links)
    lost = [float(link(np.array([flow]))[0][0]) for link, flow in zip(links, q, strict=True)]
    return {
        "flow": float(q[0]),
        "head": -lost[0] / (DENSITY * GRAVITY),
        "hose": lost[1],
        "core": lost[2],
        "exchanger": lost[3],
    }


def _three_points(points: tuple[tuple[float, float], ...], flow: float) -> dict[str, float]:
    """Head between three points."""
    return {"head": float(pressure_rise(PumpSpec(curve=points), flow, 1.0, DENSITY)[0]) / (DENSITY * GRAVITY)}


def _drawn(flow: float, head: float, hydraulic: float, motor: float) -> dict[str, float]:
    """Electrical power at one point; our one efficiency is the product of both."""
    spec = PumpSpec(efficiency=hydraulic * motor)
    return {"power": float(electrical_power(spec, flow, DENSITY * GRAVITY * head))}


def _suction(T: float, pressure: float, below: float, lost: float) -> dict[str, float]:
    """Suction head of a pump `below` metres over the surface of a vented tank, `lost` metres of loss between."""
    water = parse_coolant("water")
    over = {"pump": np.array([-(below + lost) * float(water.density(T)) * GRAVITY])}
    return {"head": float(net_suction_head(over, water, np.array([T]), pressure)["pump"][0])}


HYDRAULIC = [
    Case(
        id="loop-C6",
        what="a pump curve of three points, between two of them",
        inputs={"points": ((0.0, 8.0), (15 * LITRE_MIN, 6.0), (28 * LITRE_MIN, 1.0)), "flow": 20 * LITRE_MIN},
        compute=_three_points,
        expected={"head": 4.437},
        tolerance=1e-3,
        tolerance_reason="the notes' own: four digits stated, and the cubic between points of the power law 2e-4",
        source=("Analytic", "TodiniPilati1988"),
        how="derived: H0 - r Q^n, n = 2.007, the form of the EPANET 2.2 User Manual",
    ),
    Case(
        id="loop-C10",
        what="electrical power of a pump at one point",
        inputs={"flow": 20 * LITRE_MIN, "head": 6.0, "hydraulic": 0.35, "motor": 0.60},
        compute=_drawn,
        expected={"power": 98.81},
        tolerance=1e-3,
        tolerance_reason=FOUR,
        source=("Analytic",),
        how="derived",
    ),
    *(
        Case(
            id="loop-C14",
            part=part,
            what="net positive suction head of a pump 0.15 m over a vented tank of water, 0.8 m of loss before it",
            inputs={"T": T, "pressure": pressure, "below": 0.15, "lost": 0.8},
            compute=_suction,
            expected={"head": head},
            tolerance=tolerance,
            tolerance_reason="the notes' tolerance; water's vapour pressure of another formulation than the library's",
            source=("CoolProp", "HylandWexler1983"),
            how="computed with CoolProp 8.0.0",
        )
        for part, T, pressure, head, tolerance in (
            ("20 degC", 293.15, 101325.0, 9.162, 3e-3),
            ("80 degC", 353.15, 101325.0, 4.707, 3e-3),
            ("95 degC", 368.15, 101325.0, 0.8222, 1e-2),
            ("80 degC, 81 kPa", 353.15, 81000.0, 2.574, 3e-3),
        )
    ),
    *(
        Case(
            id=number,
            part=part,
            what=what,
            inputs={"H0": 8.0, "a": 3.2e7, "k": 4.5e7, "arrangement": arrangement, "voltage": 13.8},
            compute=_against_line,
            expected=expected,
            tolerance=1e-3,
            tolerance_reason=FOUR,
            source=("Analytic",),
            how="derived",
        )
        for number, part, what, arrangement, expected in (
            ("loop-C7", "", "one pump on a line", "single", {"flow": 19.34 * LITRE_MIN, "head": 4.675}),
            ("loop-C8", "parallel", "two equal pumps in parallel", "parallel", {"flow": 23.31 * LITRE_MIN}),
            ("loop-C8", "series", "two equal pumps in series", "series", {"flow": 22.99 * LITRE_MIN}),
        )
    ),
    Case(
        id="loop-C9",
        what="a pump at 11.5 of 13.8 V, speed in proportion to voltage",
        inputs={"H0": 8.0, "a": 3.2e7, "k": 4.5e7, "voltage": 11.5, "full": 13.8},
        compute=_low_voltage,
        expected={"flow": 16.12 * LITRE_MIN, "head": 3.247, "power_ratio": 0.5787},
        tolerance=1e-3,
        tolerance_reason=FOUR,
        source=("Analytic",),
        how="derived from the affinity laws",
    ),
    Case(
        id="loop-C11",
        what="two quadratic resistances in parallel",
        inputs={"R1": 4e7, "R2": 9e7, "flow": 4e-4},
        compute=_parallel_resistances,
        expected={"resistance": 1.440e7, "share": 0.6000},
        tolerance=1e-4,
        tolerance_reason=FOUR,
        source=("Analytic",),
        how="derived",
    ),
    *(
        Case(
            id="loop-C12",
            part=part,
            what="a stopped pump beside a running one",
            inputs={"H0": 8.0, "a": 3.2e7, "k": 4.5e7, "R": 9e7, "check": check},
            compute=_stopped_beside,
            expected=expected,
            tolerance=tolerance,
            kind=kind,
            tolerance_reason=reason,
            source=("Analytic", "TodiniPilati1988"),
            how="derived, and confirmed by the gradient method",
        )
        for part, check, expected, kind, tolerance, reason in (
            (
                "no check valve",
                False,
                {"head": 2.604, "pump": 24.64 * LITRE_MIN, "loop": 14.43 * LITRE_MIN, "back": 10.21 * LITRE_MIN},
                "relative",
                2e-3,
                "four digits stated, and a slope floor of a thousandth of the curve's last flow in the stopped pump",
            ),
            ("with check valve", True, {"loop": 19.34 * LITRE_MIN, "pump": 19.34 * LITRE_MIN}, "relative", 1e-3, FOUR),
            (
                "check valve's leak",
                True,
                {"back": 0.0},
                "absolute",
                1e-8,
                "in m3/s: a shut valve leaks 0.3 mL/min at 50 kPa",
            ),
        )
    ),
    Case(
        id="loop-C13",
        what="pump, hose, core and two equal exchangers in parallel",
        inputs={"H0": 8.0, "a": 3.2e7, "length": 4.0, "bore": 0.01905, "losses": 4.2},
        compute=_whole_loop,
        expected={"flow": 22.62 * LITRE_MIN, "head": 3.452, "hose": 9676.0, "core": 14976.0, "exchanger": 11163.0},
        tolerance=2e-3,
        tolerance_reason=NOTES,
        source=("Fluids",),
        how="computed with fluids 1.3.1 and a root finder",
    ),
]


# --- temperatures ---------------------------------------------------------------------------------------------------


def _tank_between(
    mass: float,
    cp: float,
    flow: float,
    eps_core: float,
    C_charge: float,
    eps_remote: float,
    T_charge: float,
    T_ambient: float,
    T_limit: float,
) -> dict[str, float]:
    """A mixed tank between core and exchanger, marched; core, exchanger and pump hold next to nothing.

    Their 11 J/K beside the tank's 36 kJ/K move the time constant by 3e-4.
    """
    C_loop, C_air = flow * cp, 5.0e3
    cp_charge, cp_air = 1010.0, 1006.5
    cells = {"core": CELLS["water_core"], "remote": CELLS["exchanger"]}

    def values(
        eps: float, C1: float, C2: float, both: tuple[float, float], part: str, liquid: int
    ) -> tuple[float, float]:
        low, high = min(C1, C2), max(C1, C2)
        UA = float(transfer_units_crossflow(eps, low / high)) * low
        rating = rated(2.0 * UA, 2.0 * UA, C1 / both[0], C2 / both[1], liquid)
        return exact_values(rating, cells[part], C1 / both[0], C2 / both[1], both)

    held = Held(
        charge=(C_charge / cp_charge, cp_charge, T_charge),
        coolant=(flow / 1000.0, 1000.0, cp),
        cooling=(C_air / cp_air, cp_air),
        values={
            "core": values(eps_core, C_charge, C_loop, (cp_charge, cp), "core", 2),
            "remote": values(eps_remote, C_loop, C_air, (cp, cp_air), "remote", 1),
        },
        capacity={
            "core metal": 4.0,
            "core coolant": 4.0,
            "remote metal": 1.0,
            "remote coolant": 1.0,
            "pump coolant": 1.0,
            "tank coolant": mass * cp - 11.0,
        },
    )
    plant = coupled_bench(45.0, cells, held, ambient=T_ambient)
    solution = march(plant)
    T = solution.streams[:, plant.index("tank", "coolant"), 1]
    x, _, _ = settled(plant)
    return {
        "settled_C": float(x[nodes(plant, "tank coolant")][0]) - 273.15,
        "after_30_s_C": float(T[300]) - 273.15,
        "time_to_limit": float(np.interp(T_limit, T, plant.demand.time)),
    }


def _heated(mass: float, cp: float, power: float, rise: float) -> dict[str, float]:
    """A closed loop heated by its pump alone: time to rise."""
    held = Held(
        charge=(0.0, 1010.0, 300.0),
        coolant=(1e-3, 1000.0, cp),
        values={"core": (0.5, 100.0)},
        pump_heat=power,
        capacity={"tank coolant": mass * cp - 4.0, "pump coolant": 2.0, "core metal": 1.0, "core coolant": 1.0},
    )
    plant = water_bench(30.0, (1, 1), held, ambient=300.0)
    T = march(plant).streams[:, plant.index("tank", "coolant"), 1] - 300.0
    return {"time": float(np.interp(rise, T, plant.demand.time))}


def _delay(bore: float, length: float, flow: float) -> dict[str, float]:
    """Mean age of what leaves a hose after a step at its inlet, and its spread over that of n tanks in series."""
    hose = replace(HOSE, bore=bore, length=length)
    held = Held(
        coolant=(flow, 1000.0, 4000.0),
        values={"hose": (0.0, 0.0)},
        capacity={"pump coolant": 1.0, "hose coolant": lines.hose_volume(hose) * 4e6},
        start={"source coolant": 301.0, "hose coolant": 300.0},
        pickup={"source coolant": 0.0},
    )
    plant = line_bench(30.0, {"hose": hose}, held, ambient=300.0)
    left = 301.0 - march(plant).streams[:, plant.index("hose", "coolant"), 1]
    t = plant.demand.time
    mean = float(np.trapezoid(left, t))
    variance = 2.0 * float(np.trapezoid(t * left, t)) - mean**2
    cells = int(plant.arrays.field_count[plant.fields.index("hose coolant")])
    return {"delay": mean, "spread_over_tanks_in_series": math.sqrt(variance * cells) / mean}


def _tanks_in_series(count: int, theta: float) -> dict[str, float]:
    """Answer of a reservoir of `count` nodes to a unit step at its inlet, at `theta` turnovers."""
    volume, flow = 2.5e-3, 2.5e-4  # turned over in 10 s
    tank = replace(TANK, volume=volume, nodes=count)
    held = Held(
        coolant=(flow, 1000.0, 4000.0),
        capacity={"pump coolant": 1.0, "tank coolant": volume * 4e6},
        start={"source coolant": 301.0},
    )
    plant = line_bench(10.0, {"tank": tank}, held, ambient=300.0)
    T = march(plant).streams[:, plant.index("tank", "coolant"), 1] - 300.0
    return {"answer": float(T[round(theta * volume / flow / 0.1)])}


def _tank_in_bay(
    T_around: float, T_start: float, pickup: float, mass: float, cp: float, seconds: float
) -> dict[str, float]:
    """A tank warmed by the bay, the pump off."""
    held = Held(capacity={"tank coolant": mass * cp}, pickup={"tank coolant": pickup}, start={"tank coolant": T_start})
    plant = line_bench(
        seconds, {"tank": replace(TANK, surroundings="bay")}, held, ambient=T_start, bay=T_around, command={"pump": 0.0}
    )
    return {"T": float(march(plant).end[nodes(plant, "tank coolant")][0])}


def _stagnant_core(
    metal: float, coolant: float, pickup: float, T_around: float, T_start: float, seconds: float
) -> dict[str, float]:
    """A core with trapped coolant in a hot bay, the pump off, no charge; metal and coolant held close by the film."""
    held = Held(
        charge=(0.0, 1010.0, T_start),
        values={"core": (1.0, 2e4)},
        capacity={"core metal": metal, "core coolant": coolant},
        pickup={"core metal": pickup},
    )
    plant = water_bench(seconds, (2, 2), held, ambient=T_start, bay=T_around, command={"pump": 0.0})
    end = march(plant).end
    mean = [float(end[nodes(plant, f"core {what}")].mean()) for what in ("metal", "coolant")]
    return {"T": (metal * mean[0] + coolant * mean[1]) / (metal + coolant)}


THERMAL = [
    Case(
        id="loop-C15",
        what="mixed tank between core and exchanger: settled, after 30 s, time to 50 degC",
        inputs={
            "mass": 10.6,
            "cp": 3400.0,
            "flow": 0.35,
            "eps_core": 0.85,
            "C_charge": 505.0,
            "eps_remote": 0.45,
            "T_charge": 423.15,
            "T_ambient": 303.15,
            "T_limit": 323.15,
        },
        compute=_tank_between,
        expected={"settled_C": 66.72, "after_30_s_C": 47.40, "time_to_limit": 36.75},
        tolerance=1e-3,
        tolerance_reason=NOTES,
        source=("Analytic",),
        how="derived; an integrator and an advection of 2000 nodes agree",
    ),
    Case(
        id="loop-C16",
        what="time in which 30 kW warm the tank's coolant by 15 K",
        inputs={"mass": 10.6, "cp": 3400.0, "power": 30e3, "rise": 15.0},
        compute=_heated,
        expected={"time": 18.02},
        tolerance=3e-4,
        tolerance_reason="four digits stated, and 4 J/K outside the tank",
        source=("Analytic",),
        how="derived",
    ),
    Case(
        id="loop-C18",
        what="delay of a hose: mean age of what leaves it; cells mix as tanks in series do",
        inputs={"bore": 0.01905, "length": 3.0, "flow": 15 * LITRE_MIN},
        compute=_delay,
        expected={"delay": 3.420, "spread_over_tanks_in_series": 1.0},
        tolerance=1e-3,
        tolerance_reason="four digits stated, and steps of 0.1 s",
        source=("Analytic",),
        how="derived: volume over flow; variance of n equal mixed cells is 1/n",
    ),
    Case(
        id="loop-C19",
        what="ten tanks in series at 0.8 turnovers after a unit step",
        inputs={"count": 10, "theta": 0.8},
        compute=_tanks_in_series,
        expected={"answer": 0.2834},
        tolerance=1e-3,
        tolerance_reason=FOUR,
        source=("Analytic",),
        how="derived (Erlang distribution); an integrator agrees",
    ),
    Case(
        id="loop-C20",
        what="a tank warmed by the bay for 20 min",
        inputs={"T_around": 343.15, "T_start": 303.15, "pickup": 15.0, "mass": 10.6, "cp": 3400.0, "seconds": 1200.0},
        compute=_tank_in_bay,
        expected={"T": 273.15 + 45.73},
        tolerance=2e-5,
        tolerance_reason="four digits stated: 0.005 K",
        source=("Analytic",),
        how="derived",
    ),
    Case(
        id="loop-C21",
        what="a stagnant core in a hot bay for 10 min",
        inputs={
            "metal": 3.0 * 900.0,
            "coolant": 1.2 * 3400.0,
            "pickup": 4.0,
            "T_around": 363.15,
            "T_start": 308.15,
            "seconds": 600.0,
        },
        compute=_stagnant_core,
        expected={"T": 273.15 + 51.40},
        tolerance=2e-5,
        tolerance_reason="four digits stated: 0.005 K",
        source=("Analytic",),
        how="derived",
    ),
]

CASES = [*HYDRAULIC, *THERMAL]
