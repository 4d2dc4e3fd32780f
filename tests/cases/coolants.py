"""Check cases of `coldside.media.coolants`."""

from __future__ import annotations

from cases.record import Case
from coldside.media.coolants import Coolant, mass_fraction_of, parse_coolant


def _properties(text: str, T: float) -> dict[str, float]:
    coolant = parse_coolant(text)
    return {
        "density": coolant.density(T),
        "cp": coolant.cp(T),
        "conductivity": coolant.conductivity(T),
        "viscosity": coolant.viscosity(T),
    }


def _freezing(text: str) -> dict[str, float]:
    return {"freezing_point": parse_coolant(text).freezing_point - 273.15}


def _boils(mole_fraction: float) -> dict[str, float]:
    mass = mole_fraction * 32.042 / (mole_fraction * 32.042 + (1.0 - mole_fraction) * 18.015)
    return {"boiling_point": Coolant("mix", mass, "methanol").boiling_point(101325.0) - 273.15}


CASES = [
    *(
        Case(
            id=number,
            what=f"{text} at {T - 273.15:g} degC",
            inputs={"text": text, "T": T},
            compute=_properties,
            expected=dict(zip(("density", "cp", "conductivity", "viscosity"), figures, strict=True)),
            tolerance=tolerance,
            tolerance_reason="largest deviation of the fits from the data",
            source=("CoolProp", key),
            how="computed with CoolProp 8.0.0 PropsSI at 3 bar",
        )
        for number, text, T, figures, tolerance, key in (
            (
                "heat-T31",
                "ethylene glycol 50 % by mass",
                313.15,
                (1053.4, 3412.7, 0.40154, 0.0021033),
                0.003,
                "Melinder2010",
            ),
            (
                "heat-T32",
                "propylene glycol 40 % by mass",
                333.15,
                (1006.3, 3833.9, 0.42651, 0.0012827),
                0.006,
                "Melinder2010",
            ),
            ("heat-T33", "water", 333.15, (983.28, 4184.5, 0.6511, 0.00046608), 0.002, "IAPWS95"),
        )
    ),
    Case(
        id="heat-T34",
        what="50 % ethylene glycol by volume as a share by mass",
        inputs={"kind": "ethylene glycol", "volume_fraction": 0.5},
        compute=lambda kind, volume_fraction: {"mass_fraction": mass_fraction_of(kind, volume_fraction)},
        expected={"mass_fraction": 0.52723},
        tolerance=1e-4,
        tolerance_reason="five digits stated",
        source=("Analytic",),
        how="derived from densities at 20 degC",
    ),
    *(
        Case(
            id="heat-D1",
            part=f"{kind}, {percent} % by mass",
            what="freezing point",
            inputs={"text": f"{kind} {percent} % by mass"},
            compute=_freezing,
            expected={"freezing_point": T},
            tolerance=0.06,
            kind="absolute",
            tolerance_reason="stated to 0.1 degC",
            source=("CoolProp", "Melinder2010"),
            how="computed with CoolProp 8.0.0",
        )
        for kind, temperatures in (
            ("ethylene glycol", (-3.4, -7.9, -14.6, -23.8, -36.0, -51.2)),
            ("propylene glycol", (-2.9, -7.2, -12.8, -20.6, -32.2, -50.0)),
            ("methanol", (-6.5, None, -25.7, None, -54.5, None)),
        )
        for percent, T in zip((10, 20, 30, 40, 50, 60), temperatures, strict=True)
        if T is not None
    ),
    *(
        Case(
            id="methanol-boils",
            part=f"{x:g} mol/mol",
            what="methanol and water boil at one atmosphere",
            inputs={"mole_fraction": x},
            compute=_boils,
            expected={"boiling_point": T},
            tolerance=0.35,
            kind="absolute",
            tolerance_reason="two constants for the whole range",
            source=("PerryHandbook",),
            how="printed, from memory",
        )
        for x, T in ((0.04, 93.5), (0.1, 87.7), (0.2, 81.7), (0.3, 78.0), (0.4, 75.3))
    ),
    *(
        Case(
            id="oil",
            part=f"{T - 273.15:.0f} degC",
            what="unused engine oil: specific heat and conductivity of the handbook",
            inputs={"text": "engine oil", "T": T},
            compute=_properties,
            expected={"cp": cp, "conductivity": k},
            tolerance=0.015,
            tolerance_reason="straight lines through the table, which is printed to three digits",
            source=("Incropera2007",),
            how="printed, from memory",
        )
        for T, cp, k in ((300.0, 1909.0, 0.145), (350.0, 2118.0, 0.138), (400.0, 2337.0, 0.134))
    ),
]
