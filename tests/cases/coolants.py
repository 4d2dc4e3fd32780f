"""Check cases of `coldside.media.coolants`."""

from __future__ import annotations

from cases.record import Case
from coldside.media.coolants import mass_fraction_of, parse_coolant


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
                0.005,
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
        )
        for percent, T in zip((10, 20, 30, 40, 50, 60), temperatures, strict=True)
    ),
]
