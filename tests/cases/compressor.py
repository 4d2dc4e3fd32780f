"""Check cases of compressors and turbines: the generic map family, similarity between lines, exhaust pressure."""

from __future__ import annotations

import numpy as np

from cases.record import Case
from coldside.media import air
from coldside.parts import turbine
from coldside.parts.compressor import Compressor as Machine
from coldside.parts.compressor import CompressorSpec, compressor, corrected_flow, design_tip_speed, family_point

FAMILY = CompressorSpec(design_flow=1.0, design_pressure_ratio=2.5, peak_efficiency=0.77)


def _family(n: float, beta: float) -> dict[str, float]:
    flow, ratio, efficiency = family_point(FAMILY, n, beta)
    return {"flow": float(flow), "pressure_ratio": float(ratio), "efficiency": float(efficiency)}


def _tip_speed() -> dict[str, float]:
    return {"tip_speed": design_tip_speed(FAMILY)}


def _found(n: float, beta: float) -> dict[str, float]:
    """The family's own point, found again by the machine's inverse from flow and pressure ratio."""
    flow, ratio, _ = family_point(FAMILY, n, beta)
    operating = compressor(FAMILY).evaluate(flow, ratio)
    return {
        "efficiency": float(operating.efficiency),
        "speed": float(operating.corrected_speed),
        "surge_margin": float(operating.surge_margin),
    }


def _falls() -> dict[str, float]:
    n, beta = np.meshgrid(np.linspace(0.4, 1.2, 41), np.linspace(0.0, 1.0, 201), indexing="ij")
    return {"steepest": float(np.diff(family_point(FAMILY, n, beta)[1], axis=1).max() < 0.0)}


def _corrected(flow: float, T1: float, p1: float, T_ref: float, p_ref: float, count: int) -> dict[str, float]:
    return {"corrected_flow": float(corrected_flow(flow, T1, p1, Machine(T_ref, p_ref, count, constant=0.7)))}


def _turbine(
    flow: float, T1: float, ratio: float, efficiency: float, burnt: float, T3: float, eta: float, p4: float
) -> dict[str, float]:
    T2 = float(air.compressed_temperature(T1, ratio, efficiency))
    power = flow * (float(air.enthalpy(T2)) - float(air.enthalpy(T1)))
    p3, T4 = turbine.inlet_pressure(power, flow * (1.0 + burnt), T3, p4, eta)
    return {"power": power, "p3": float(p3), "T4": float(T4)}


def _back_pressure(ratio: float, compression_ratio: float, T_i: float, T_r: float) -> dict[str, float]:
    return {
        "filling": float(turbine.filling_share(ratio, 1.0, compression_ratio)),
        "residual": float(turbine.residual_share(ratio, 1.0, T_r, T_i, compression_ratio)),
    }


CASES = [
    Case(
        id="charge-C21",
        part="tip speed",
        what="tip speed of the generic family at its design point",
        inputs={},
        compute=_tip_speed,
        expected={"tip_speed": 426.44},
        tolerance=1e-4,
        tolerance_reason="five digits stated",
        source=("Own",),
        how="derived from the notes' equations",
    ),
    *(
        Case(
            id=number,
            part=f"n {n:g}, beta {beta:.3g}",
            what="generic map family: corrected flow, pressure ratio, efficiency",
            inputs={"n": n, "beta": beta},
            compute=_family,
            expected=dict(zip(("flow", "pressure_ratio", "efficiency"), point, strict=True)),
            tolerance=1e-4,
            tolerance_reason="five digits stated",
            source=("Own",),
            how="derived from the notes' equations",
        )
        for number, n, beta, point in (
            ("charge-C21", 1.0, 0.4 / 0.7, (1.0000, 2.5000, 0.75839)),  # f = 1 lies at beta (1 - 0.6)/0.7
            ("charge-C21", 0.8, 0.5, (0.78640, 1.8718, 0.76885)),
            ("charge-C21", 0.6, 0.3, (0.48888, 1.4677, 0.73401)),
            ("charge-C22", 1.0, 0.0, (0.6000, 2.8541, 0.71403)),
            ("charge-C22", 1.0, 1.0, (1.3000, 1.4436, 0.34182)),
        )
    ),
    Case(
        id="charge-C22",
        part="falls",
        what="pressure ratio falls strictly along every line (1 if so)",
        inputs={},
        compute=_falls,
        expected={"steepest": 1.0},
        tolerance=1e-9,
        tolerance_reason="a statement that holds or not",
        source=("Own",),
        how="derived from the notes' equations",
    ),
    Case(
        id="charge-C21",
        part="found again",
        what="the point n 0.8, beta 0.5 from its flow and pressure ratio",
        inputs={"n": 0.8, "beta": 0.5},
        compute=_found,
        # surge of the line at f_s = 0.546, the point at f = (0.546 + 1.42)/2 = 0.983: margin 1 - 0.546/0.983
        expected={"efficiency": 0.76885, "speed": 0.8, "surge_margin": 0.444557},
        tolerance=5e-4,
        tolerance_reason="grid of the inverse: 1 % steps in speed, linear between",
        source=("Own",),
        how="derived from the notes' equations",
    ),
    Case(
        id="charge-C20",
        part="other reference",
        what="corrected flow for a map at 288.15 K and 101.325 kPa",
        inputs={"flow": 0.45, "T1": 303.15, "p1": 98325.0, "T_ref": 288.15, "p_ref": 101325.0, "count": 1},
        compute=_corrected,
        expected={"corrected_flow": 0.47565},
        tolerance=2e-4,
        tolerance_reason="five digits stated",
        source=("Analytic",),
        how="derived",
    ),
    Case(
        id="charge-C30",
        what="compressor power and least mean pressure before the turbine that gives it",
        inputs={
            "flow": 0.45,
            "T1": 303.15,
            "ratio": 2.1358,
            "efficiency": 0.74,
            "burnt": 1.0 / (0.8 * 14.6),
            "T3": 1223.15,
            "eta": 0.65,
            "p4": 115e3,
        },
        compute=_turbine,
        # T4 by the first law: 44 830/(0.45 x 1.08562 x 1240) = 74.0 K below T3
        expected={"power": 44830.0, "p3": 175600.0, "T4": 1149.14},
        tolerance=2e-3,
        tolerance_reason="the notes' own: four digits stated",
        source=("Cantera", "Heywood1988"),
        how="computed with Cantera 3.2.0",
    ),
    *(
        Case(
            id="charge-C31",
            part=part,
            what="what exhaust pressure does to filling and burnt gas left behind",
            inputs={"ratio": ratio, "compression_ratio": 9.0, "T_i": 330.0, "T_r": 1150.0},
            compute=_back_pressure,
            expected={"filling": filling, "residual": residual},
            tolerance=1e-3,
            tolerance_reason="the notes' own: four digits stated",
            source=("Heywood1988",),
            how="derived",
        )
        for part, ratio, filling, residual in (
            ("exhaust 1.5 times intake", 1.5, 0.9537, 0.05340),
            ("equal pressures", 1.0, 1.0, 0.03463),
        )
    ),
]
