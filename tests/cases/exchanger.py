"""Check cases of cores and exchangers: rating, wall cells at rest and on the way, pressure loss."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.optimize import brentq

from cases.record import Case
from coldside.media import air
from coldside.media.coolants import parse_coolant
from coldside.parts.core_losses import charge_loss
from coldside.parts.exchanger import CELLS, CP_CHARGE, rate
from coldside.parts.rating import cell_conductances
from coldside.units import Pressure
from generators import (
    AIR_CORE,
    WATER_CORE,
    Held,
    coupled_bench,
    exact_values,
    gas_bench,
    march,
    nodes,
    rated,
    rated_effectiveness,
    settled,
    water_bench,
)

FIVE = "five digits stated"
COLD = 313.15  # K, where a case leaves the cold inlet free


def _rating_on_cells(
    m_charge: float, cp_charge: float, m_cold: float, cp_cold: float, UA: float, T_charge: float, T_cold: float
) -> dict[str, float]:
    """One core between constant inlets, as the settled state of a plant whose tank keeps its temperature."""
    cells, cp = CELLS["water_core"], (cp_charge, cp_cold)
    rating = rated(UA / 0.7, UA / 0.3, m_charge, m_cold, liquid=2)
    held = Held(
        charge=(m_charge, cp_charge, T_charge),
        coolant=(m_cold / 1000.0, 1000.0, cp_cold),
        values={"core": exact_values(rating, cells, m_charge, m_cold, cp)},
        pickup={"tank coolant": 1e12},
    )
    plant = water_bench(0.1, cells, held, ambient=T_cold)
    _, heats, _ = settled(plant)
    charge, coolant = plant.index("core", "charge"), plant.index("core", "coolant")
    heat = float(heats.crossed[charge, 0])
    most = min(m_charge * cp_charge, m_cold * cp_cold) * (T_charge - T_cold)
    drop = float(heats.T_in[charge, 0] - heats.T_out[charge, 0])
    return {
        "effectiveness_smaller": heat / most,
        "effectiveness_charge": drop / (T_charge - T_cold),
        "heat": heat,
        "charge_drop": drop,
        "cold_rise": float(heats.T_out[coolant, 0] - heats.T_in[coolant, 0]),
    }


def _coupled_on_cells(
    C_charge: float, C_loop: float, C_air: float, eps_core: float, eps_remote: float, T_charge: float, T_ambient: float
) -> dict[str, float]:
    """Core and remote exchanger joined by a loop with a tank, as a plant settles."""
    cp_charge, cp_loop, cp_air = 1010.0, 3460.0, 1006.5
    m1, m2, m3 = C_charge / cp_charge, C_loop / cp_loop, C_air / cp_air
    core = rated_effectiveness(eps_core, C_charge, C_loop, (cp_charge, cp_loop), liquid=2)
    remote = rated_effectiveness(eps_remote, C_loop, C_air, (cp_loop, cp_air), liquid=1)
    held = Held(
        charge=(m1, cp_charge, T_charge),
        coolant=(m2 / 1000.0, 1000.0, cp_loop),
        cooling=(m3, cp_air),
        values={
            "core": exact_values(core, CELLS["water_core"], m1, m2, (cp_charge, cp_loop)),
            "remote": exact_values(remote, CELLS["exchanger"], m2, m3, (cp_loop, cp_air)),
        },
    )
    plant = coupled_bench(0.1, {"core": CELLS["water_core"], "remote": CELLS["exchanger"]}, held, ambient=T_ambient)
    _, heats, _ = settled(plant)
    charge, coolant = plant.index("core", "charge"), plant.index("core", "coolant")
    return {
        "heat": float(heats.crossed[charge, 0]),
        "coolant_to_core_over_ambient": float(heats.T_in[coolant, 0]) - T_ambient,
        "charge_out_over_ambient": float(heats.T_out[charge, 0]) - T_ambient,
    }


def _one_bench_point(
    m0: float,
    mw0: float,
    cp_cold: float,
    eps_charge: float,
    share_charge: float,
    n_charge: float,
    n_cold: float,
    m1: float,
    mw1: float,
) -> dict[str, float]:
    """A water core rated by one point, used at two other flows.

    The bench coolant is a glycol mix at the temperature where its specific heat is the case's; film
    ratios are taken at that temperature, so that flows alone act.
    """
    text = "ethylene glycol 50 % by mass"
    coolant = parse_coolant(text)
    T = brentq(lambda T: float(coolant.cp(T)) - cp_cold, 275.0, 360.0)
    spec = replace(
        WATER_CORE,
        bench_charge_flow=m0,
        bench_coolant_flow=mw0 / float(coolant.density(T)),
        bench_charge_in=T + 100.0,
        bench_coolant_in=T,
        bench_effectiveness=eps_charge,
        bench_coolant=text,
        charge_film_share=share_charge,
        charge_film_exponent=n_charge,
        coolant_film_exponent=n_cold,
    )
    rating = replace(rate(spec, coolant), bench_temperature=T)
    flows, cp = (np.array([m1]), np.array([mw1])), (CP_CHARGE, cp_cold)
    C1, C2 = flows[0] * cp[0], flows[1] * cp[1]
    h1, h2 = (
        rating.conductance1(flows[0], np.array([T]), coolant),
        rating.conductance2(flows[1], np.array([T]), coolant),
    )
    cells = CELLS["water_core"]
    values = exact_values(rating, cells, m1, mw1, cp)
    held = Held(
        charge=(m1, cp[0], 400.0),
        coolant=(mw1 / 1000.0, 1000.0, cp[1]),
        values={"core": values},
        pickup={"tank coolant": 1e12},
    )
    plant = water_bench(0.1, cells, held, ambient=300.0)
    _, heats, _ = settled(plant)
    charge = plant.index("core", "charge")
    # the film's viscosity follows the loop's temperature in a plant; here it stays at T, as the case wants
    needed = cell_conductances(rating, C1, C2, np.array([T]), cells, coolant, cp)
    assert abs(needed.residual[0]) < 1e-9
    return {
        "UA_bench": rating.UA,
        "UA_used": float(1.0 / (1.0 / h1[0] + 1.0 / h2[0])),
        "effectiveness_charge": float(400.0 - heats.T_out[charge, 0]) / 100.0,
    }


def _loss_scaled(
    m0: float, m1: float, dp0: float, p0: float, T0: float, p1: float, T1: float, exponent: float
) -> dict[str, float]:
    """dp rho_m of a core at another flow, pressure and temperature, closed as the charge side closes it."""
    spec = replace(
        AIR_CORE,
        bench_charge_flow=m0,
        bench_charge_loss=dp0,
        bench_charge_pressure=Pressure(p0, False),
        bench_charge_in=T0 + 40.0,
        bench_cooling_in=T0 - 60.0,
        bench_effectiveness=0.8,
        charge_loss_exponent=exponent,
    )
    weighted = float(charge_loss(spec)(np.array([m1]))[0][0])  # dp x density at mean pressure
    return {"loss": p1 - float(np.sqrt(p1 * p1 - 2.0 * weighted * float(air.gas_constant(0.0)) * T1))}


def _grid(C_charge: float, C_cold: float, hA_charge: float, hA_cold: float, cells: tuple[int, int]) -> dict[str, float]:
    """Gas on both sides of a grid of walls: exact effectiveness, the grid's own, and the factor that joins them."""
    cp = 1006.0
    m1, m2 = C_charge / cp, C_cold / cp
    rating = rated(hA_charge, hA_cold, m1, m2)
    needed = cell_conductances(
        rating, np.array([C_charge]), np.array([C_cold]), np.array([300.0]), cells, None, (cp, cp)
    )
    n1, n2 = cells
    plain = (-np.expm1(-hA_charge / n1 / C_charge), -np.expm1(-hA_cold / n2 / C_cold))

    def effectiveness(values: tuple[float, float]) -> float:
        plant = gas_bench(
            0.1, cells, Held(charge=(m1, cp, 400.0), cooling=(m2, cp), values={"core": values}), ambient=300.0
        )
        _, heats, _ = settled(plant)
        return float(heats.crossed[plant.index("core", "charge"), 0]) / (100.0 * min(C_charge, C_cold))

    return {
        "exact_effectiveness": effectiveness(exact_values(rating, cells, m1, m2, (cp, cp))),
        "uncorrected_effectiveness": effectiveness(plain),
        "factor": float(needed.side1[0]) / hA_charge,
    }


def _one_wall(
    C_charge: float, hA_charge: float, G_cold: float, wall: float, T_charge: float, T_cold: float, seconds: float
) -> dict[str, float]:
    """One wall node between a charge stream and a coolant that keeps its temperature, marched."""
    held = Held(
        charge=(C_charge / 1010.0, 1010.0, T_charge),
        coolant=(1e-4, 1000.0, 4000.0),
        values={"core": (-np.expm1(-hA_charge / C_charge), G_cold)},
        capacity={"core metal": wall, "core coolant": 1e12},
    )
    plant = water_bench(seconds, (1, 1), held, ambient=T_cold)
    solution = march(plant)
    over = float(solution.end[nodes(plant, "core metal")][0]) - T_cold
    pinned = replace(held, pickup={"core coolant": 1e12})  # for the settled state, to which no capacity matters
    _, heats, _ = settled(water_bench(0.1, (1, 1), pinned, ambient=T_cold))
    last = float(heats.crossed[plant.index("core", "charge"), 0]) / G_cold
    return {
        "time_constant": -seconds / float(np.log1p(-over / last)),
        "wall_over_coolant": over,
        "charge_out_over_coolant": float(solution.streams[-1, plant.index("core", "charge"), 1]) - T_cold,
    }


def _wall_energy(
    C_charge: float, C_cold: float, hA_charge: float, hA_cold: float, wall: float, difference: float, kind: str
) -> dict[str, float]:
    """Mean wall temperature and heat in the wall once settled, on the kind's own number of cells."""
    cells, cp = CELLS[kind], 1006.0
    m1, m2 = C_charge / cp, C_cold / cp
    rating = rated(hA_charge, hA_cold, m1, m2, liquid=2 if kind == "water_core" else 0)
    held = Held(
        charge=(m1, cp, 300.0 + difference),
        cooling=(m2, cp) if kind == "air_core" else None,
        coolant=(m2 / 1000.0, 1000.0, cp) if kind == "water_core" else None,
        values={"core": exact_values(rating, cells, m1, m2, (cp, cp))},
        capacity={"core metal": wall},
        pickup={"tank coolant": 1e12} if kind == "water_core" else {},
    )
    plant = (gas_bench if kind == "air_core" else water_bench)(0.1, cells, held, ambient=300.0)
    x, _, _ = settled(plant)
    here = nodes(plant, "core metal")
    over = x[here] - 300.0
    return {
        "mean_wall_over_cold_inlet": float(over.mean()),
        "wall_energy": float(plant.arrays.field_capacity[plant.fields.index("core metal")] * over.sum()),
    }


def _step_response(
    C_charge: float, C_cold: float, hA_charge: float, hA_cold: float, wall: float, seconds: float
) -> dict[str, float]:
    """A hot charge meets walls at the cold inlet's temperature; outlets later, on an air core's own cells."""
    cells, cp = CELLS["air_core"], 1006.0
    m1, m2 = C_charge / cp, C_cold / cp
    values = exact_values(rated(hA_charge, hA_cold, m1, m2), cells, m1, m2, (cp, cp))
    plant = gas_bench(
        seconds,
        cells,
        Held(charge=(m1, cp, 400.0), cooling=(m2, cp), values={"core": values}, capacity={"core metal": wall}),
        ambient=300.0,
    )
    streams = march(plant).streams[-1]
    return {
        "charge_out_fraction": float(streams[plant.index("core", "charge"), 1] - 300.0) / 100.0,
        "cold_out_fraction": float(streams[plant.index("core", "cooling"), 1] - 300.0) / 100.0,
    }


def _soaking(
    mass: float, specific_heat: float, pickup: float, T_around: float, T_start: float, seconds: float
) -> dict[str, float]:
    """A core at a standstill in a hot bay."""
    held = Held(
        charge=(0.0, 1010.0, T_start),
        cooling=(0.0, 1006.0),
        capacity={"core metal": mass * specific_heat},
        pickup={"core metal": pickup},
    )
    plant = gas_bench(seconds, (1, 1), held, ambient=T_start, bay=T_around)
    rise = float(march(plant).end[nodes(plant, "core metal")][0]) - T_start
    return {"time_constant": -seconds / float(np.log1p(-rise / (T_around - T_start))), "rise": rise}


CASES = [
    *(
        Case(
            id=number,
            part="through the wall cells",
            what=what,
            inputs={
                "m_charge": 0.45,
                "cp_charge": 1012.0,
                "m_cold": m_cold,
                "cp_cold": 3460.0,
                "UA": UA,
                "T_charge": 428.15,
                "T_cold": 313.15,
            },
            compute=_rating_on_cells,
            expected=dict(
                zip(
                    ("effectiveness_smaller", "effectiveness_charge", "heat", "charge_drop", "cold_rise"),
                    figures,
                    strict=True,
                )
            ),
            tolerance=1e-4,
            tolerance_reason=f"{FIVE}; the cells' correction makes the grid exact at rest",
            source=("Ht",),
            how="computed with ht 1.2.0 and an energy balance",
        )
        for number, what, m_cold, UA, figures in (
            (
                "heat-T09",
                "water-to-air core, the charge is the smaller stream",
                0.6,
                820.0,
                (0.77701, 0.77701, 40693.0, 89.356, 19.602),
            ),
            (
                "heat-T10",
                "water-to-air core, the coolant is the smaller stream",
                0.06,
                420.0,
                (0.74644, 0.34027, 17820.0, 39.131, 85.84),
            ),
        )
    ),
    Case(
        id="heat-T21",
        what="one bench point used at other flows: both films scaled, exact crossflow",
        inputs={
            "m0": 0.35,
            "mw0": 0.5,
            "cp_cold": 3460.0,
            "eps_charge": 0.82,
            "share_charge": 0.7,
            "n_charge": 0.55,
            "n_cold": 0.6,
            "m1": 0.6,
            "mw1": 0.3,
        },
        compute=_one_bench_point,
        expected={"UA_bench": 735.82, "UA_used": 799.07, "effectiveness_charge": 0.6086},
        tolerance=5e-4,
        tolerance_reason="five digits stated; our films' floor of 2 % of the bench flow moves them by 2e-4",
        source=("Mason1954",),
        how="computed with the exact series",
    ),
    Case(
        id="heat-T23",
        what="charge pressure loss at another flow, pressure and temperature",
        inputs={
            "m0": 0.35,
            "m1": 0.6,
            "dp0": 4500.0,
            "p0": 2e5,
            "T0": 360.0,
            "p1": 2.8e5,
            "T1": 380.0,
            "exponent": 1.7,
        },
        compute=_loss_scaled,
        expected={"loss": 8516.3},
        tolerance=1e-4,
        tolerance_reason=FIVE,
        source=("Analytic",),
        how="derived: dp times mean density goes with flow to a power",
    ),
    Case(
        id="heat-T24",
        what="4 x 4 wall cells between two gases: exact, as the bare grid gives it, and the factor that joins them",
        inputs={"C_charge": 500.0, "C_cold": 2000.0, "hA_charge": 1170.0, "hA_cold": 3000.0, "cells": (4, 4)},
        compute=_grid,
        expected={"exact_effectiveness": 0.75011, "uncorrected_effectiveness": 0.74679, "factor": 1.0119},
        tolerance=1e-4,
        tolerance_reason=FIVE,
        source=("Own",),
        how="computed for the notes with code of its own",
    ),
    Case(
        id="heat-T25",
        what="one wall node, coolant held: relaxation",
        inputs={
            "C_charge": 500.0,
            "hA_charge": 1200.0,
            "G_cold": 2600.0,
            "wall": 2700.0,
            "T_charge": 423.15,
            "T_cold": 313.15,
            "seconds": 1.5,
        },
        compute=_one_wall,
        expected={"time_constant": 0.8839, "wall_over_coolant": 13.372, "charge_out_over_coolant": 22.138},
        tolerance=1e-4,
        tolerance_reason="five digits stated; third-order steps of 0.1 s on 0.88 s err by less",
        source=("Analytic",),
        how="derived",
    ),
    *(
        Case(
            id="heat-T26",
            part=kind.replace("_", " "),
            what="heat in the wall of a settled core",
            inputs={
                "C_charge": 500.0,
                "C_cold": 2000.0,
                "hA_charge": 1170.0,
                "hA_cold": 3000.0,
                "wall": 2700.0,
                "difference": 110.0,
                "kind": kind,
            },
            compute=_wall_energy,
            expected={"mean_wall_over_cold_inlet": 24.356, "wall_energy": 65762.0},
            tolerance=0.02,
            tolerance_reason="the notes' own: few cells against 96 x 96",
            source=("Own",),
            how="computed for the notes on 96 x 96 cells, converged to 1e-4",
        )
        for kind in ("air_core", "water_core")
    ),
    Case(
        id="heat-T27",
        what="outlets 5 s after a hot charge meets a cold core, gas on both sides",
        inputs={
            "C_charge": 500.0,
            "C_cold": 900.0,
            "hA_charge": 2876.0,
            "hA_cold": 1917.0,
            "wall": 4480.0,
            "seconds": 5.0,
        },
        compute=_step_response,
        expected={"charge_out_fraction": 0.14227, "cold_out_fraction": 0.3202},
        tolerance=0.03,
        tolerance_reason="the notes' own: few cells against an extrapolation from 20 x 20 and 40 x 40",
        source=("Own",),
        how="computed for the notes, Richardson-extrapolated",
    ),
    Case(
        id="heat-T28",
        part="through a plant",
        what="core and remote exchanger joined by a loop, settled; the tank plays no part",
        inputs={
            "C_charge": 505.0,
            "C_loop": 2076.0,
            "C_air": 2500.0,
            "eps_core": 0.82,
            "eps_remote": 0.55,
            "T_charge": 423.15,
            "T_ambient": 308.15,
        },
        compute=_coupled_on_cells,
        expected={"heat": 40940.0, "coolant_to_core_over_ambient": 16.135, "charge_out_over_ambient": 33.931},
        tolerance=1e-4,
        tolerance_reason=FIVE,
        source=("Analytic",),
        how="derived",
    ),
    Case(
        id="heat-T42",
        what="core at a standstill in a hot bay",
        inputs={
            "mass": 5.0,
            "specific_heat": 896.0,
            "pickup": 3.2,
            "T_around": 353.15,
            "T_start": 313.15,
            "seconds": 600.0,
        },
        compute=_soaking,
        expected={"time_constant": 1400.0, "rise": 13.942},
        tolerance=1e-4,
        tolerance_reason=FIVE,
        source=("Analytic",),
        how="derived",
    ),
]
