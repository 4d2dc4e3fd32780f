"""Check cases of ratings: two bench points, bypass, uneven flow, sizes and fins, each through a part's own keys."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.optimize import brentq

from cases.record import Case
from coldside.media.coolants import Coolant, parse_coolant
from coldside.parts.exchanger import CP_CHARGE, CP_COOLING, AirCoreSpec, rate
from coldside.parts.rating import Rating
from coldside.parts.two_points import BenchPoint, Prior, fit
from generators import AIR_CORE, WATER_CORE

FIVE = "five digits stated"
FLOORED = "five digits stated; our films' floor of 2 % of the bench flow moves them by 2e-4"
GLYCOL = "ethylene glycol 50 % by mass"


def _coolant_at(cp: float) -> tuple[Coolant, float]:
    """A glycol mix and the temperature at which its specific heat is that of a case."""
    coolant = parse_coolant(GLYCOL)
    return coolant, brentq(lambda T: float(coolant.cp(T)) - cp, 275.0, 360.0)


def _two_points(
    m1: float, m2: float, e1: float, e2: float, mw: float, cp_w: float, n_charge: float
) -> dict[str, float]:
    """The split that two points alone give: nothing known of the share beforehand, exponents certain."""
    coolant, T = _coolant_at(cp_w)
    C2 = mw * cp_w
    points = [
        BenchPoint(m, mw, m * CP_CHARGE, C2, T, e * m * CP_CHARGE / min(m * CP_CHARGE, C2))
        for m, e in ((m1, e1), (m2, e2))
    ]
    like = Rating(m1, mw, 1.0, 1.0, 1.0, n_charge, 0.5, 2, coolant, T, 1.0, e1)
    prior = Prior((0.7, 1e4), (n_charge, 1e-9), (0.5, 1e-9), 0.02)
    found = fit(points, prior, like, coolant)
    at = np.array(T)
    h1, h2 = found.rating.conductance1(np.array(m2), at, coolant), found.rating.conductance2(np.array(mw), at, coolant)
    return {
        "UA_first": found.rating.UA,
        "UA_second": float(1.0 / (1.0 / h1 + 1.0 / h2)),
        "share_charge": found.share1,
    }


def _water_core(m: float, C_cold: float, eps_charge: float, share_charge: float, **keys: float) -> tuple[Rating, float]:
    """A water core whose bench point has this capacity rate of coolant, and the temperature of that coolant."""
    coolant, T = _coolant_at(3460.0)
    spec = replace(
        WATER_CORE,
        bench_charge_flow=m,
        bench_coolant_flow=C_cold / 3460.0 / float(coolant.density(T)),
        bench_charge_in=T + 100.0,
        bench_coolant_in=T,
        bench_effectiveness=eps_charge,
        bench_coolant=GLYCOL,
        charge_film_share=share_charge,
        **keys,
    )
    return replace(rate(spec, coolant), bench_temperature=T), T


def _effectiveness(rating: Rating, m: float, C: tuple[float, float], flow2: float, T: float) -> float:
    """Effectiveness of the charge through a rating's own films and exact heat."""
    at = np.array(T)
    h1 = rating.conductance1(np.array(m), at, rating.bench_coolant)
    h2 = rating.conductance2(np.array(flow2), at, rating.bench_coolant)
    return float(rating.heat(np.array(C[0]), np.array(C[1]), h1, h2)) / C[0]


def _bypass(m: float, C_cold: float, UA_share: float, eps_charge: float, bypass: float) -> dict[str, float]:
    """A core past which a share of the charge slips: what reaches it sees a colder core, the mix a warmer one."""
    rating, T = _water_core(m, C_cold, eps_charge, UA_share)
    through = (1.0 - bypass) * m
    core = _effectiveness(rating, through, (through * CP_CHARGE, C_cold), rating.flow2, T)
    return {"effectiveness_core": core, "effectiveness_overall": (1.0 - bypass) * core}


def _uneven_water(m: float, C_cold: float, eps_charge: float, UA_share: float, x: float) -> dict[str, float]:
    C = (m * CP_CHARGE, C_cold)
    even, T = _water_core(m, C_cold, eps_charge, UA_share)
    uneven, _ = _water_core(m, C_cold, eps_charge, UA_share, maldistribution=x)
    return {
        "UA": even.UA,
        "effectiveness_uniform": _effectiveness(even, m, C, even.flow2, T),
        "effectiveness_uneven": _effectiveness(uneven, m, C, uneven.flow2, T),
    }


def _uneven_air(C_charge: float, C_cold: float, share_charge: float, eps_charge: float, x: float) -> dict[str, float]:
    """An air core whose charge is the smaller stream.  The notes say NTU 2.2 and C_r 0.34: rounded, UA is 1100 W/K."""
    spec = replace(
        AIR_CORE,
        bench_charge_flow=C_charge / CP_CHARGE,
        bench_cooling_flow=C_cold / CP_COOLING,
        bench_effectiveness=eps_charge,
        charge_film_share=share_charge,
        maldistribution=x,
    )
    rating = rate(spec, None)
    eps = _effectiveness(rating, rating.flow1, (C_charge, C_cold), rating.flow2, 300.0)
    return {"UA": rating.UA, "effectiveness_uneven": eps}


def _air_core_by_sizes(
    charge_length: float, cooling_length: float, stack_height: float, plate: float, m_charge: float, m_cold: float
) -> dict[str, float]:
    """An air core known by its sizes alone, through the keys that a user writes."""
    spec = AirCoreSpec(
        charge_length=charge_length,
        cooling_length=cooling_length,
        stack_height=stack_height,
        plate=plate,
        end_bar=0.0,
        charge_bore=0.06,
        charge_fin_height=7.5e-3,
        charge_fin_pitch=2.0e-3,
        charge_fin_thickness=0.15e-3,
        charge_fin_strip=3.2e-3,
        cooling_fin_height=9e-3,
        cooling_fin_pitch=2.0e-3,
        cooling_fin_thickness=0.12e-3,
        cooling_fin_strip=3.2e-3,
        maldistribution=0.0,
    )
    rating = rate(spec, None)
    wall = 0.5 * rating.wall
    films = [
        1.0 / (1.0 / float(side(np.array(m), np.array(300.0), None)) - wall)
        for side, m in ((rating.conductance1, m_charge), (rating.conductance2, m_cold))
    ]
    C = (m_charge * 1010.0, m_cold * 1006.0)
    return {
        "etahA_charge": films[0],
        "etahA_cold": films[1],
        "effectiveness_charge": _effectiveness(rating, m_charge, C, m_cold, 300.0),
    }


WATER_BENCH = {"m": 0.5, "C_cold": 2000.0, "UA_share": 0.7, "eps_charge": 0.749443}
CASES = [
    Case(
        id="heat-T22",
        what="two bench points at two charge flows give the split of the resistance",
        inputs={"m1": 0.25, "m2": 0.5, "e1": 0.9, "e2": 0.743, "mw": 0.6, "cp_w": 3460.0, "n_charge": 0.55},
        compute=_two_points,
        expected={"UA_first": 674.99, "UA_second": 824.73, "share_charge": 0.5728},
        tolerance=1e-3,
        tolerance_reason="the notes' own; our films' floor of 2 % of the bench flow moves the share by 3e-4",
        source=("Mason1954",),
        how="computed with the exact series",
    ),
    *(
        Case(
            id="heat-T29" if bypass == 0.08 else "heat-A4",
            part="" if bypass == 0.08 else f"bypass {bypass:.0%}",
            what="a share of the charge slips past the core",
            inputs={**WATER_BENCH, "bypass": bypass},
            compute=_bypass,
            expected=figures,
            tolerance=1e-4 if bypass == 0.08 else 2e-4,
            tolerance_reason=FIVE if bypass == 0.08 else "four digits stated",
            source=("Mason1954",),
            how="computed with the exact series",
        )
        for bypass, figures in (
            (0.08, {"effectiveness_core": 0.76907, "effectiveness_overall": 0.70754}),
            (0.02, {"effectiveness_overall": 0.7392}),
            (0.05, {"effectiveness_overall": 0.7235}),
            (0.10, {"effectiveness_overall": 0.6967}),
        )
    ),
    *(
        Case(
            id="heat-T30" if x == 0.3 else "heat-A4",
            part="" if x == 0.3 else f"water core, halves +-{x:.0%}",
            what="charge flow uneven over the two halves of a water core, coolant even",
            inputs={**WATER_BENCH, "x": x},
            compute=_uneven_water,
            expected={"UA": 850.0, "effectiveness_uniform": 0.74944, "effectiveness_uneven": eps},
            tolerance=1e-4,
            tolerance_reason=FIVE,
            source=("Mason1954",),
            how="computed with the exact series",
        )
        for x, eps in ((0.3, 0.7344), (0.1, 0.7478), (0.2, 0.7428), (0.5, 0.7068))
    ),
    *(
        Case(
            id="heat-A4",
            part=f"air core, halves +-{x:.0%}",
            what="charge flow uneven over the two halves of an air core, cooling air even",
            inputs={"C_charge": 505.0, "C_cold": 1500.0, "share_charge": 0.35, "eps_charge": 0.79571, "x": x},
            compute=_uneven_air,
            expected={"UA": 1100.0, "effectiveness_uneven": eps},
            tolerance=1.5e-4,
            tolerance_reason="four digits stated",
            source=("Mason1954",),
            how="computed with the exact series",
        )
        for x, eps in ((0.1, 0.7935), (0.2, 0.7866), (0.3, 0.7752), (0.5, 0.7379))
    ),
    Case(
        id="heat-T41",
        part="through a part's keys",
        what="air-to-air core from its sizes and fins",
        inputs={
            "charge_length": 0.42,
            "cooling_length": 0.06,
            "stack_height": 0.6,
            "plate": 0.5e-3,
            "m_charge": 0.5,
            "m_cold": 1.6,
        },
        compute=_air_core_by_sizes,
        expected={"etahA_charge": 2715.6, "etahA_cold": 1687.1, "effectiveness_charge": 0.78815},
        tolerance=0.01,
        tolerance_reason="the notes' own; gas films at 370 K and 320 K stand for the case's viscosities (0.5 %)",
        source=("ManglikBergles1995", "Mason1954"),
        how="computed, conventions of heat note A2",
    ),
]
