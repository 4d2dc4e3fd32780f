"""Check cases of fins, their surfaces, and cores from geometry."""

from __future__ import annotations

from cases.record import Case
from coldside.parts import correlations as c
from coldside.parts.geometry import CoreGeometry, CoreSide, Resistances, core_loss
from coldside.parts.surfaces import LouveredFin, OffsetStripFin, fin_efficiency, surface_efficiency

FIVE = "five digits stated"
R_AIR = 287.05  # J/(kg K), as the note has it

LOUVERED = {
    "tube_pitch": 0.010,
    "tube_thickness": 0.002,
    "fin_pitch": 0.0013,
    "fin_thickness": 0.0001,
    "louver_pitch": 0.0011,
    "louver_length": 0.0068,
    "louver_angle": 27.0,
    "depth": 0.032,
}


def _strip(Re: float, **sizes: float) -> dict[str, float]:
    fin = OffsetStripFin(**sizes)
    return {
        "D_h": fin.hydraulic_diameter,
        "area_density": fin.area_density,
        "fin_share": fin.fin_share,
        "j": fin.j(Re),
        "f": fin.f(Re),
    }


def _louvered(Re: float, **sizes: float) -> dict[str, float]:
    fin = LouveredFin(**sizes)
    return {"D_h": fin.hydraulic_diameter, "j": fin.j(Re), "f": fin.f(Re, fin.depth)}


def _fin(h: float, k: float, thickness: float, strip: float, half_height: float, fin_share: float) -> dict[str, float]:
    eta = fin_efficiency(h, k, thickness, half_height, thickness / strip)
    return {"fin_efficiency": eta, "surface_efficiency": surface_efficiency(eta, fin_share)}


def _five(eta_h: tuple[float, float, float], eta_c: tuple[float, float, float], fouling: tuple[float, float], wall):
    """Sides as (eta_o, h, A), wall as (thickness, conductivity, area)."""
    (eta1, h1, A1), (eta2, h2, A2) = eta_h, eta_c
    found = Resistances(
        1.0 / (eta1 * h1 * A1),
        fouling[0] / (eta1 * A1),
        wall[0] / (wall[1] * wall[2]),
        fouling[1] / (eta2 * A2),
        1.0 / (eta2 * h2 * A2),
    )
    return {"UA": found.conductance, "share_charge_film": found.shares.film1}


def _core_loss(G: float, p: float, T_in: float, T_out: float, sigma: float, K_c: float, K_e: float, friction: float):
    rho_in, rho_out = p / (R_AIR * T_in), p / (R_AIR * T_out)
    middle = 0.5 * (1.0 + rho_in / rho_out)
    return {
        "loss": core_loss(G, rho_in, rho_out, sigma, friction, K_c=K_c, K_e=K_e),
        "friction_only": 0.5 * G**2 / rho_in * friction * middle,
    }


def air_to_air() -> CoreGeometry:
    """The core of T41: charge along 0.42 m, cooling air along 0.06 m, stack 0.6 m."""
    return CoreGeometry(
        side1=CoreSide(surface=OffsetStripFin(0.0075, 0.002, 0.00015, 0.0032), length=0.42),
        side2=CoreSide(surface=OffsetStripFin(0.009, 0.002, 0.00012, 0.0032), length=0.06),
        stack_height=0.6,
        wall_thickness=0.0005,
    )


def _whole_core(charge: tuple[float, float, float, float], cold: tuple[float, float, float, float]) -> dict[str, float]:
    """Streams as (flow, cp, mu, Pr); the note fixes properties, so the surfaces are asked, not `film1`."""
    core = air_to_air()
    found = {}
    capacities, films = [], []
    for name, side, area, free, (m, cp, mu, Pr) in (
        ("charge", core.side1, core.area1, core.free_area1, charge),
        ("cold", core.side2, core.area2, core.free_area2, cold),
    ):
        surface = side.surface
        h = surface.film(m / free, mu, Pr, mu * cp / Pr, side.length)
        films.append(surface.efficiency(h, core.fin_conductivity) * h * area)
        capacities.append(m * cp)
        found |= {f"Re_{name}": surface.reynolds(m / free, mu), f"h_{name}": h, f"film_{name}": films[-1]}
    C_min, C_max = min(capacities), max(capacities)
    for figure, wall in (("effectiveness_charge", 0.0), ("effectiveness_with_wall", core.wall)):
        UA = 1.0 / (1.0 / films[0] + wall + 1.0 / films[1])
        found[figure] = c.stream_effectiveness(c.effectiveness_crossflow(UA / C_min, C_min / C_max), *capacities)
    return found


CASES = [
    Case(
        id="heat-T11",
        what="offset strip fin: sizes, j and f",
        inputs={"height": 0.0075, "pitch": 0.0022, "thickness": 0.0002, "strip_length": 0.0032, "Re": 800.0},
        compute=_strip,
        expected={"D_h": 0.0029739, "area_density": 1190.2, "fin_share": 0.79631, "j": 0.017474, "f": 0.077584},
        tolerance=5e-5,
        tolerance_reason=FIVE,
        source=("ManglikBergles1995",),
        how="computed apart from the formula as five public codes have it",
    ),
    *(
        Case(
            id=number,
            what=f"louvered fin, Re {Re:g} on the louver pitch",
            inputs={**LOUVERED, "Re": Re},
            compute=_louvered,
            expected={"D_h": 0.002087, "j": j, "f": f},
            tolerance=1e-4,
            tolerance_reason="four to five digits stated",
            source=("ChangWang1997", "ChangHsuLinWang2000", "Chang2006"),
            how="computed apart from the formulas as public codes have them",
        )
        for number, Re, j, f in (("heat-T12", 300.0, 0.023439, 0.11414), ("heat-T13", 180.0, 0.030105, 0.14602))
    ),
    Case(
        id="heat-T17",
        what="rectangular channel, laminar and developed",
        inputs={"aspect": 0.25},
        compute=lambda aspect: {
            "Nu_H1": c.nusselt_rectangular(aspect, wall="H1"),
            "Nu_T": c.nusselt_rectangular(aspect, wall="T"),
            "f_Re": c.laminar_friction_rectangular(aspect),
        },
        expected={"Nu_H1": 5.3327, "Nu_T": 4.4353, "f_Re": 18.234},
        tolerance=2e-5,
        tolerance_reason=FIVE,
        source=("Ht", "ShahLondon1978"),
        how="computed with ht 1.2.0 Nu_laminar_rectangular_Shan_London (uniform flux); the others from memory",
    ),
    Case(
        id="heat-T18",
        what="efficiency of a fin and of its surface",
        inputs={
            "h": 350.0,
            "k": 180.0,
            "thickness": 0.00015,
            "strip": 0.0032,
            "half_height": 0.0036,
            "fin_share": 0.796,
        },
        compute=_fin,
        expected={"fin_efficiency": 0.89719, "surface_efficiency": 0.91816},
        tolerance=2e-5,
        tolerance_reason=FIVE,
        source=("KaysLondon1984", "Analytic"),
        how="derived",
    ),
    Case(
        id="heat-T19",
        what="five resistances between two streams",
        inputs={
            "eta_h": (0.82, 380.0, 4.2),
            "eta_c": (0.75, 2500.0, 1.5),
            "fouling": (0.0003, 5e-5),
            "wall": (0.0005, 160.0, 1.1),
        },
        compute=_five,
        expected={"UA": 797.41, "share_charge_film": 0.60931},
        tolerance=1e-5,
        tolerance_reason=FIVE,
        source=("Analytic",),
        how="derived",
    ),
    Case(
        id="heat-T20",
        what="pressure loss of a core whose gas is cooled, outlet density at the inlet's pressure",
        inputs={
            "G": 45.0,
            "p": 2.5e5,
            "T_in": 423.15,
            "T_out": 333.15,
            "sigma": 0.42,
            "K_c": 0.4,
            "K_e": 0.34,
            "friction": 0.05 * 210.0,
        },
        compute=_core_loss,
        expected={"loss": 4821.4, "friction_only": 4616.0},
        tolerance=2e-5,
        tolerance_reason=FIVE,
        source=("KaysLondon1984",),
        how="derived",
    ),
    *(
        Case(
            id="heat-T41",
            part=part,
            what="air-to-air core from its geometry",
            inputs={"charge": (0.5, 1010.0, 2.18e-5, 0.7), "cold": (1.6, 1006.0, 1.95e-5, 0.7)},
            compute=_whole_core,
            expected=expected,
            tolerance=tolerance,
            tolerance_reason=reason,
            source=("ManglikBergles1995", "Mason1954"),
            how="computed apart from the same formulas and conventions",
        )
        for part, expected, tolerance, reason in (
            (
                "films",
                {
                    "Re_charge": 4651.4,
                    "h_charge": 358.13,
                    "film_charge": 2715.6,
                    "Re_cold": 2048.1,
                    "h_cold": 191.95,
                    "film_cold": 1687.1,
                    "effectiveness_charge": 0.78815,
                },
                5e-5,
                FIVE,
            ),
            (
                "with its plates",
                {"effectiveness_with_wall": 0.78815},
                1e-3,
                "the note leaves the plates out, which are 0.17 % of the whole resistance: 0.78773 with them",
            ),
        )
    ),
]
