"""Check cases of `coldside.parts.correlations`."""

from __future__ import annotations

import math

from cases.record import Case
from coldside.media import air
from coldside.parts import correlations as c

FIVE = "five digits stated"


def _rating(C_charge: float, C_cold: float, UA: float, T_charge: float, T_cold: float) -> dict[str, float]:
    C_min, C_max = min(C_charge, C_cold), max(C_charge, C_cold)
    eps = c.effectiveness_crossflow(UA / C_min, C_min / C_max)
    on_charge = c.stream_effectiveness(eps, C_charge, C_cold)
    drop = on_charge * (T_charge - T_cold)
    return {
        "effectiveness_smaller": eps,
        "effectiveness_charge": on_charge,
        "heat": C_charge * drop,
        "charge_drop": drop,
        "cold_rise": C_charge * drop / C_cold,
    }


def _coupled(
    C_charge: float, C_loop: float, C_air: float, eps_core: float, eps_remote: float, T_charge: float, T_ambient: float
) -> dict[str, float]:
    remote = eps_remote * min(C_loop, C_air)
    core = eps_core * min(C_charge, C_loop)
    heat = c.liquid_coupled_conductance(core, remote, C_loop) * (T_charge - T_ambient)
    return {
        "heat": heat,
        "coolant_to_core_over_ambient": heat / remote - heat / C_loop,
        "charge_out_over_ambient": T_charge - heat / C_charge - T_ambient,
    }


def _coupled_counterflow(
    C_charge: float, C_loop: float, C_outside: float, UA_core: float, UA_remote: float
) -> dict[str, float]:
    """Heat of both over that of a charge which leaves at ambient."""
    sides = []
    for UA, one, other in ((UA_core, C_charge, C_loop), (UA_remote, C_loop, C_outside)):
        low, high = min(one, other), max(one, other)
        sides.append(low * c.effectiveness_counterflow(UA / low, low / high))
    return {"effectiveness": c.liquid_coupled_conductance(*sides, C_loop) / C_charge}


def _hose(flow: float, bore: float, length: float, density: float, viscosity: float, rough: float) -> dict[str, float]:
    speed = 4.0 * flow / (math.pi * bore**2)
    Re = density * speed * bore / viscosity
    f = c.friction_factor(Re, rough / bore)
    return {"speed": speed, "Re": Re, "f": f, "friction_loss": f * length / bore * 0.5 * density * speed**2}


def _plate(T_surface: float, T_air: float, height: float) -> dict[str, float]:
    film = 0.5 * (T_surface + T_air)
    rho, mu, k = air.density(film, 101325.0), air.viscosity(film), air.conductivity(film)
    Ra = 9.80665 / film * (T_surface - T_air) * height**3 * rho**2 * air.cp(film) / (mu * k)
    Nu = c.nusselt_vertical_plate(Ra, air.prandtl(film))
    return {"Ra": Ra, "Nu": Nu, "h": Nu * k / height}


CASES = [
    *(
        Case(
            id=number,
            what="crossflow, both streams unmixed",
            inputs={"NTU": NTU, "C_r": C_r},
            compute=lambda NTU, C_r: {"effectiveness": c.effectiveness_crossflow(NTU, C_r)},
            expected={"effectiveness": eps},
            tolerance=2e-5,
            tolerance_reason=FIVE,
            source=("Ht", "Mason1954"),
            how="computed with ht 1.2.0 effectiveness_from_NTU, crossflow (quadrature)",
        )
        for number, NTU, C_r, eps in (
            ("heat-T01", 1.8, 0.3, 0.75626),
            ("heat-T02", 3.0, 1.0, 0.68129),
            ("heat-T03", 9.0, 0.65, 0.9259),
        )
    ),
    *(
        Case(
            id=number,
            what="counterflow",
            inputs={"NTU": 2.5, "C_r": C_r},
            compute=lambda NTU, C_r: {"effectiveness": c.effectiveness_counterflow(NTU, C_r)},
            expected={"effectiveness": eps},
            tolerance=2e-5,
            tolerance_reason=FIVE,
            source=("Ht", "KaysLondon1984"),
            how="computed with ht 1.2.0 effectiveness_from_NTU, counterflow",
        )
        for number, C_r, eps in (("heat-T04", 0.6, 0.81117), ("heat-T05", 1.0, 0.71429))
    ),
    *(
        Case(
            id="heat-T06",
            part=f"{mixed} mixed",
            what="crossflow, one stream mixed",
            inputs={"NTU": 2.0, "C_r": 0.4, "mixed": mixed},
            compute=lambda NTU, C_r, mixed: {"effectiveness": c.effectiveness_crossflow_mixed(NTU, C_r, mixed=mixed)},
            expected={"effectiveness": eps},
            tolerance=2e-5,
            tolerance_reason=FIVE,
            source=("Ht", "KaysLondon1984"),
            how="computed with ht 1.2.0 effectiveness_from_NTU, crossflow with one stream mixed",
        )
        for mixed, eps in (("C_max", 0.73098), ("C_min", 0.74758))
    ),
    Case(
        id="heat-T07",
        what="two crossflow passes in counterflow",
        inputs={"NTU": 3.0, "C_r": 0.6, "passes": 2},
        compute=lambda NTU, C_r, passes: {"effectiveness": c.effectiveness_cross_counter(NTU, C_r, passes)},
        expected={"effectiveness": 0.82693},
        tolerance=2e-5,
        tolerance_reason=FIVE,
        source=("KaysLondon1984", "Analytic"),
        how="derived from the exact single pass",
    ),
    Case(
        id="heat-T08",
        what="transfer units of a crossflow effectiveness",
        inputs={"effectiveness": 0.75, "C_r": 0.25},
        compute=lambda effectiveness, C_r: {"NTU": c.transfer_units_crossflow(effectiveness, C_r)},
        expected={"NTU": 1.6828},
        tolerance=1e-4,
        tolerance_reason=FIVE,
        source=("Mason1954",),
        how="computed with SciPy 1.17.1 brentq on the series",
    ),
    *(
        Case(
            id=number,
            what=what,
            inputs={"C_charge": 0.45 * 1012.0, "C_cold": C_cold, "UA": UA, "T_charge": 428.15, "T_cold": 313.15},
            compute=_rating,
            expected=dict(
                zip(
                    ("effectiveness_smaller", "effectiveness_charge", "heat", "charge_drop", "cold_rise"),
                    figures,
                    strict=True,
                )
            ),
            tolerance=1e-4,
            tolerance_reason=FIVE,
            source=("Ht",),
            how="computed with ht 1.2.0 and an energy balance",
        )
        for number, what, C_cold, UA, figures in (
            (
                "heat-T09",
                "a core's rating, the charge has the smaller heat capacity flow",
                0.6 * 3460.0,
                820.0,
                (0.77701, 0.77701, 40693.0, 89.356, 19.602),
            ),
            (
                "heat-T10",
                "the same core, pump nearly stopped",
                0.06 * 3460.0,
                420.0,
                (0.74644, 0.34027, 17820.0, 39.131, 85.84),
            ),
        )
    ),
    *(
        Case(
            id=number,
            what="liquid in a tube",
            inputs={"Re": Re, "Pr": Pr},
            compute=lambda Re, Pr: {"Nu": c.nusselt_tube(Re, Pr, laminar=4.364)},
            expected={"Nu": Nu},
            tolerance=1e-4,
            tolerance_reason=FIVE,
            source=("Ht", "Gnielinski1976", "Gnielinski2013"),
            how="computed with ht 1.2.0 turbulent_Gnielinski, smooth Petukhov friction, linear from 2300 to 4000",
        )
        for number, Re, Pr, Nu in (("heat-T14", 1e4, 6.0, 74.982), ("heat-T15", 3e3, 12.0, 18.312))
    ),
    Case(
        id="heat-T16",
        what="laminar flow that develops, mean",
        inputs={"Re": 900.0, "Pr": 12.0, "length_over_diameter": 0.3 / 0.0025},
        compute=lambda Re, Pr, length_over_diameter: {"Nu": c.nusselt_tube(Re, Pr, length_over_diameter)},
        expected={"Nu": 7.3963},
        tolerance=1e-4,
        tolerance_reason=FIVE,
        source=("Ht", "BaehrStephan2006"),
        how="computed with ht 1.2.0 laminar_entry_Baehr_Stephan",
    ),
    Case(
        id="heat-T28",
        what="core and remote exchanger joined by a loop",
        inputs={
            "C_charge": 505.0,
            "C_loop": 2076.0,
            "C_air": 2500.0,
            "eps_core": 0.82,
            "eps_remote": 0.55,
            "T_charge": 423.15,
            "T_ambient": 308.15,
        },
        compute=_coupled,
        expected={"heat": 40940.0, "coolant_to_core_over_ambient": 16.135, "charge_out_over_ambient": 33.931},
        tolerance=1e-4,
        tolerance_reason=FIVE,
        source=("KaysLondon1984",),
        how="derived",
    ),
    *(
        Case(
            id=number,
            part=f"Re {Re:g}",
            what="friction factor, e/D 1e-4",
            inputs={"Re": Re},
            compute=lambda Re: {"f": c.friction_factor(Re, 1e-4)},
            expected={"f": f},
            tolerance=4e-4,
            tolerance_reason="four digits stated",
            source=("Fluids", "Churchill1977"),
            how="computed with fluids 1.3.1 Churchill_1977",
        )
        for number, Re, f in (("loop-C1", 1e5, 0.01846), ("loop-C2", 1000.0, 0.06400), ("loop-C2", 3000.0, 0.04305))
    ),
    Case(
        id="loop-C1",
        part="against Colebrook",
        what="friction factor at Re 1e5, e/D 1e-4 against the implicit rough-pipe law",
        inputs={},
        compute=lambda: {"f": c.friction_factor(1e5, 1e-4)},
        expected={"f": 0.01851},
        tolerance=5e-3,
        tolerance_reason="the note states that both formulas differ by 0.3 % here",
        source=("Fluids",),
        how="computed with fluids 1.3.1 Colebrook",
    ),
    Case(
        id="loop-C3",
        what="laminar hose",
        inputs={
            "flow": 4.0 / 60000.0,
            "bore": 0.01905,
            "length": 3.0,
            "density": 1065.0,
            "viscosity": 5e-3,
            "rough": 1.5e-6,
        },
        compute=_hose,
        expected={"Re": 949.1, "friction_loss": 309.4},
        tolerance=1e-3,
        tolerance_reason="four digits stated",
        source=("Analytic",),
        how="derived: Hagen and Poiseuille",
    ),
    Case(
        id="loop-C4",
        what="friction of 4 m of hose with warm coolant",
        inputs={
            "flow": 20.0 / 60000.0,
            "bore": 0.01905,
            "length": 4.0,
            "density": 1058.0,
            "viscosity": 2.26e-3,
            "rough": 1.5e-6,
        },
        compute=_hose,
        expected={"speed": 1.169, "Re": 10430.0, "f": 0.03079, "friction_loss": 4677.0},
        tolerance=1e-3,
        tolerance_reason="four digits stated",
        source=("Fluids", "Analytic"),
        how="computed with fluids 1.3.1",
    ),
    Case(
        id="loop-C5",
        what="the same hose with coolant at -20 degC",
        inputs={
            "flow": 20.0 / 60000.0,
            "bore": 0.01905,
            "length": 4.0,
            "density": 1082.2,
            "viscosity": 0.02218,
            "rough": 1.5e-6,
        },
        compute=_hose,
        expected={"Re": 1087.0, "friction_loss": 9148.0},
        tolerance=1e-3,
        tolerance_reason="four digits stated",
        source=("CoolProp", "Fluids"),
        how="computed with fluids 1.3.1",
    ),
    Case(
        id="loop-C42",
        what="core and remote exchanger in counterflow, joined by a loop",
        inputs={"C_charge": 583.0, "C_loop": 1000.0, "C_outside": 2300.0, "UA_core": 1500.0, "UA_remote": 3000.0},
        compute=_coupled_counterflow,
        expected={"effectiveness": 0.7747},
        tolerance=7e-5,
        tolerance_reason="four digits stated",
        source=("KaysLondon1984", "Analytic"),
        how="derived",
    ),
    Case(
        id="loop-C27",
        what="standing plate of 0.3 m, 60 degC in air of 30 degC",
        inputs={"T_surface": 333.15, "T_air": 303.15, "height": 0.3},
        compute=_plate,
        expected={"Ra": 5.758e7, "Nu": 51.79, "h": 4.785},
        tolerance=5e-3,
        tolerance_reason="film properties of two sources differ by 0.3 %",
        source=("CoolProp", "Ht", "ChurchillChu1975"),
        how="computed with ht 1.2.0 Nu_vertical_plate_Churchill and CoolProp 8.0.0 Air",
    ),
]
