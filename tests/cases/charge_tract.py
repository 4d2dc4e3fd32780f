"""Check cases of the charge tract as a vessel: leak, decay test, air to fill, coupler force, shields, spacers."""

from __future__ import annotations

import numpy as np

from cases.record import Case
from coldside.parts import charge_tract, shielding
from coldside.units import parse

PSI = 6894.757293168361


def _leak(area: float, p: float, T: float, p_ambient: float) -> dict[str, float]:
    return {"flow": float(charge_tract.leak_flow(area, p, T, p_ambient))}


def _decay(volume: float, p_from: float, p_to: float, seconds: float) -> dict[str, float]:
    return {"area": charge_tract.decay_leak_area(volume, p_from, p_to, seconds)}


def _fill(volume: float, p_from: float, p_to: float, T: float, surplus: float) -> dict[str, float]:
    mass = charge_tract.air_to_fill(volume, p_from, p_to, T)
    return {"mass": float(mass), "time": float(charge_tract.fill_time(mass, surplus))}


def _force(outside: str, boost: float, m_dot: float, density: float, bore: str) -> dict[str, float]:
    size, inside = (float(parse(text, "length").value) for text in (outside, bore))
    return {"force": float(charge_tract.blow_off_force(size, boost, m_dot, density, inside))}


def _radiation(e1: float, e2: float, e_shield: float) -> dict[str, float]:
    return {"share": shielding.radiation_left(e1, e2, e_shield)}


def _spacer(thickness: float, area: float, pickup: float) -> dict[str, float]:
    slab = shielding.spacer_conductance(thickness, area, "phenolic")
    return {"slab": slab, "left": shielding.shielded_pickup(pickup, "none", 1.0, slab)}


CASES = [
    *(
        Case(
            id="tract-leak",
            part=part,
            what="mass flow through a leak from the charge tract to ambient air",
            inputs={"area": area, "p": p, "T": T, "p_ambient": 101325.0},
            compute=_leak,
            expected={"flow": flow},
            tolerance=3e-4,
            tolerance_reason="cp of our air and of the oracle's differ by 5e-4, its effect on the flow by half of that",
            source=("Fluids", "CoolProp", "Shapiro1953"),
            how="fluids 1.3.1: P_critical_flow, T_critical_flow, nozzle_expansibility at beta 0; cp of CoolProp Air",
        )
        for part, area, p, T, flow in (
            ("choked", 1e-5, 2.5e5, 330.0, 5.560484e-3),
            ("choked, hot", 1e-4, 3.0e5, 420.0, 5.907071e-2),
            ("not choked", 1e-5, 1.5e5, 330.0, 3.172197e-3),
            ("not choked, small rise", 1e-5, 1.1e5, 300.0, 1.424419e-3),
        )
    ),
    Case(
        id="tract-leak",
        part="Fliegner's formula",
        what="choked flow of air from rest, m = 0.0404 A p/sqrt(T) in SI",
        inputs={"area": 1e-5, "p": 2.5e5, "T": 330.0, "p_ambient": 101325.0},
        compute=_leak,
        expected={"flow": 0.0404 * 1e-5 * 2.5e5 / np.sqrt(330.0)},
        tolerance=1e-3,
        tolerance_reason="three digits of the printed constant (0.0404)",
        source=("Shapiro1953",),
        how="printed formula, from memory",
    ),
    Case(
        id="tract-decay",
        what="leak area from a fall of 2.6 to 1.2 bar absolute in 12 L, through the choked and the unchoked stretch",
        inputs={"volume": 0.012, "p_from": 2.6e5, "p_to": 1.2e5, "seconds": 24.53573977},
        compute=_decay,
        expected={"area": 2e-6},
        tolerance=3e-4,
        tolerance_reason="as of the leak's flow: cp of our air and of the oracle's",
        source=("Fluids", "CoolProp"),
        how="SciPy solve_ivp (1e-10) of dp/dt with the leak's flow from fluids 1.3.1, area 2 mm2, 293.15 K",
    ),
    Case(
        id="tract-fill",
        what="air that 11 L take up from ambient to 22 psi of boost at 330 K, and the time at 0.1 kg/s to spare",
        inputs={"volume": 0.011, "p_from": 101325.0, "p_to": 101325.0 + 22 * PSI, "T": 330.0, "surplus": 0.1},
        compute=_fill,
        expected={"mass": 0.011 * 22 * PSI / (287.055 * 330.0), "time": 0.11 * 22 * PSI / (287.055 * 330.0)},
        tolerance=1e-4,
        tolerance_reason="gas constant of dry air to five digits",
        source=("Analytic",),
        how="ideal gas law",
    ),
    Case(
        id="tract-force",
        what="pull on a coupler over a 2.5 in pipe (2.625 in outside) at 22 psi, the next piece a bend, 0.35 kg/s",
        inputs={"outside": "2.625 in", "boost": 22 * PSI, "m_dot": 0.35, "density": 2.4, "bore": "2.5 in"},
        compute=_force,
        expected={
            "force": 22.0 * np.pi / 4.0 * 2.625**2 * 4.4482216 + 0.35**2 / (2.4 * np.pi / 4.0 * (2.5 * 0.0254) ** 2)
        },
        tolerance=1e-6,
        tolerance_reason="round-off of the pound-force to eight digits",
        source=("Analytic",),
        how="22 psi on 5.412 in2 is 119.06 lbf, and the momentum m^2/(rho A) of 16.1 N",
    ),
    Case(
        id="tract-shield",
        what="a sheet of emissivity 0.1 between plates of 0.2 and 0.7 at 800 and 500 K",
        inputs={"e1": 0.2, "e2": 0.7, "e_shield": 0.1},
        compute=_radiation,
        expected={"share": 806.0 / 3625.0},
        tolerance=1e-3,
        tolerance_reason="806 W/m2 is printed to three digits",
        source=("Cengel2003",),
        how="printed: 3625 W/m2 without, 806 W/m2 with the sheet, from memory",
    ),
    Case(
        id="tract-spacer",
        what="10 mm of phenolic (0.30 W/(m K)) under 60 cm2, 5 % of it steel bolts, against a pick-up of 5 W/K",
        inputs={"thickness": 0.010, "area": 6e-3, "pickup": 5.0},
        compute=_spacer,
        expected={
            "slab": 0.30 * 0.95 * 6e-3 / 0.010 + 45.0 * 0.05 * 6e-3 / 0.040,
            "left": 1.0 / (1.0 / 5.0 + 1.0 / (0.171 + 0.3375)),
        },
        tolerance=1e-9,
        tolerance_reason="round-off of exact arithmetic",
        source=("Analytic",),
        how="plane walls in parallel and in series",
    ),
]
