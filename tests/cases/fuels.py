"""Check cases of `coldside.media.fuels`."""

from __future__ import annotations

from cases.record import Case
from coldside.media.fuels import FUELS, blend, evaporation_drop, fuel, stoichiometric_ratio


def _power(name: str, air_flow: float, lambda_: float, efficiency: float) -> dict[str, float]:
    kind = fuel(name)
    flow = air_flow / (lambda_ * kind.stoichiometric)
    power = flow * kind.heating_value * efficiency
    return {"power": power, "consumption": flow / power * 3.6e9}  # g/kWh


def _ratio(carbon: int, hydrogen: int, oxygen: int) -> dict[str, float]:
    return {"stoichiometric": stoichiometric_ratio(carbon, hydrogen, oxygen)}


def _blend(name: str) -> dict[str, float]:
    kind = fuel(name)
    return {
        "RON": kind.RON,
        "MON": kind.MON,
        "stoichiometric": kind.stoichiometric,
        "heating_value": kind.heating_value,
        "latent_heat": kind.latent_heat,
    }


def _ends() -> dict[str, float]:
    base, ethanol = FUELS["gasoline 95"], FUELS["ethanol"]
    none, all_ = blend(base, 0.0), blend(base, 1.0)
    return {
        "RON_at_0": none.RON - base.RON,
        "MON_at_0": none.MON - base.MON,
        "RON_at_1": all_.RON - ethanol.RON,
        "MON_at_1": all_.MON - ethanol.MON,
    }


CASES = [
    *(
        Case(
            id="charge-C26",
            part=name,
            what="power and consumption from an air flow of 0.45 kg/s at lambda 0.80",
            inputs={"name": name, "air_flow": 0.45, "lambda_": 0.80, "efficiency": eta},
            compute=_power,
            expected={"power": power, "consumption": consumption},
            tolerance=1e-3,
            tolerance_reason="stated for rounded figures of the fuel (four digits)",
            source=("Analytic",),
            how="derived",
        )
        for name, eta, power, consumption in (("gasoline 95", 0.28, 463.87e3, 299.0), ("E85", 0.30, 501.22e3, 412.2))
    ),
    *(
        Case(
            id="charge-C27",
            part=name,
            what="stoichiometric air-fuel ratio",
            inputs={"carbon": formula[0], "hydrogen": formula[1], "oxygen": formula[2]},
            compute=_ratio,
            expected={"stoichiometric": ratio},
            tolerance=1e-4,
            tolerance_reason="four to five digits stated",
            source=("Analytic",),
            how="derived from the formula of the molecule",
        )
        for name, formula, ratio in (
            ("ethanol", (2, 6, 1), 9.003),
            ("methanol", (1, 4, 1), 6.472),
            ("toluene", (7, 8, 0), 13.504),
            ("iso-octane", (8, 18, 0), 15.129),
        )
    ),
    *(
        Case(
            id="charge-C27",
            part=f"{name}, heat",
            what="lower heating value of the liquid",
            inputs={"name": name},
            compute=lambda name: {"heating_value": fuel(name).heating_value},
            expected={"heating_value": value},
            tolerance=1e-3,
            tolerance_reason="four digits stated",
            source=("Cantera", "CoolProp"),
            how="gas heat of reaction (Cantera 3.2.0) less latent heat (CoolProp 8.0.0)",
        )
        for name, value in (("ethanol", 26.81e6), ("methanol", 19.94e6))
    ),
    Case(
        id="charge-C28",
        part="E10",
        what="10 % ethanol by volume in gasoline 95",
        inputs={"name": "E10"},
        compute=_blend,
        expected={"RON": 97.92, "stoichiometric": 14.01, "heating_value": 41.29e6, "latent_heat": 410e3},
        tolerance=1e-3,
        tolerance_reason="the base's density is not stated with the case",
        source=("Analytic", "AndersonWallington2020"),
        how="derived: octane by molar share, the rest by mass",
    ),
    Case(
        id="charge-C28",
        part="E85",
        what="85 % ethanol by volume in gasoline 95",
        inputs={"name": "E85"},
        compute=_blend,
        expected={
            "RON": 108.03,
            "MON": 89.65,
            "stoichiometric": 9.802,
            "heating_value": 29.11e6,
            "latent_heat": 839e3,
        },
        tolerance=1e-3,
        tolerance_reason="the base's density is not stated with the case",
        source=("Analytic", "AndersonWallington2020"),
        how="derived: octane by molar share, the rest by mass",
    ),
    *(
        Case(
            id="charge-C29",
            part=f"{name}, share {share:g}",
            what="largest cooling by evaporation at lambda 1, and 70 % of it",
            inputs={"name": name, "share": share},
            compute=lambda name, share: {"drop": evaporation_drop(fuel(name), 1.0, share)},
            expected={"drop": drop},
            tolerance=0.05,
            kind="absolute",
            tolerance_reason="stated to 0.1 K",
            source=("Analytic",),
            how="derived from the enthalpy balance",
        )
        for name, share, drop in (
            ("gasoline 95", 1.0, 21.5),
            ("E85", 1.0, 73.2),
            ("gasoline 95", 0.7, 15.0),
            ("E85", 0.7, 51.2),
        )
    ),
    *(
        Case(
            id="charge-C29",
            part=f"{name}, measured",
            what="cooling by direct injection, measured",
            inputs={"name": name, "share": 0.7},
            compute=lambda name, share: {"drop": evaporation_drop(fuel(name), 1.0, share)},
            expected={"drop": drop},
            tolerance=0.1,
            tolerance_reason="scatter of the measurement, and the share of 70 % is itself rounded",
            source=("KasserisHeywood2012",),
            how="printed in the abstract",
        )
        for name, drop in (("gasoline 95", 14.0), ("E85", 49.0))
    ),
    Case(
        id="charge-C46",
        part="fuels",
        what="a blend without and one of pure ethanol have the octane of base and ethanol",
        inputs={},
        compute=_ends,
        expected={"RON_at_0": 0.0, "MON_at_0": 0.0, "RON_at_1": 0.0, "MON_at_1": 0.0},
        tolerance=1e-9,
        kind="absolute",
        tolerance_reason="exact but for round-off",
        source=("Analytic",),
        how="limit",
    ),
]
