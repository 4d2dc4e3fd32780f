"""Check cases of the engine's air and fuel: chamber of a rotary, air demand, power targets."""

from __future__ import annotations

import math
from dataclasses import replace

from cases.record import Case
from coldside.parts import engine
from coldside.parts.engine import RPM, EngineSpec
from coldside.units import Pressure

CHAMBER = 3.0 * math.sqrt(3.0) * 0.105 * 0.015 * 0.080  # m3: R 105, e 15, b 80 mm
BOOST = ((50.0, Pressure(1e5, True)),)
HORSEPOWER, POUND = 745.700, 0.45359237  # W, kg


def _spec(kind: str) -> EngineSpec:
    size = {"displacement": 2e-3, "cylinders": 4} if kind == "piston" else {"chamber_volume": CHAMBER, "rotors": 2}
    level = ((1000 * RPM, 0.95), (9000 * RPM, 0.95))
    return EngineSpec(kind=kind, boost=BOOST, fuel="gasoline 98", volumetric_efficiency=level, **size)


def _chamber() -> dict[str, float]:
    pair = engine.four_stroke_equivalent(_spec("rotary"))
    return {"chamber": pair / 4.0, "R_over_e": 105.0 / 15.0, "lean": math.degrees(math.asin(3.0 * 15.0 / 105.0))}


def _air(kind: str, rpm: float) -> dict[str, float]:
    spec = replace(_spec(kind), filling_exponent=0.0)  # its volumetric efficiency is stated for that charge
    return {"flow": float(engine.air_flow(spec, rpm * RPM, 201299.0, 308.15))}


def _per_10_K(T: float, exponent: float) -> dict[str, float]:
    """What ten kelvin more at the plenum take of the air drawn, at one speed and plenum pressure."""
    spec = replace(_spec("piston"), filling_exponent=exponent)
    cold, hot = (float(engine.air_flow(spec, 100.0, 2e5, at)) for at in (T, T + 10.0))
    return {"flow": hot / cold - 1.0}


def _pair() -> dict[str, float]:
    return {"four_stroke": engine.four_stroke_equivalent(_spec("rotary"))}


def _target(power: float, bsfc: float, ratio: float) -> dict[str, float]:
    """Air, consumption and efficiency of a power target at 43 MJ/kg; our `brake_power` must give the target back."""
    fuel = power * bsfc * POUND / HORSEPOWER / 3600.0
    burnt = EngineSpec(
        kind="piston",
        displacement=2e-3,
        cylinders=4,
        boost=BOOST,
        fuel="gasoline 98",
        brake_efficiency=power / (fuel * 43e6),
    )
    return {
        "air": fuel * ratio,
        "consumption": fuel / power * 3.6e9,  # g/kWh
        "power": float(engine.brake_power(burnt, fuel)),
    }


CASES = [
    Case(
        id="charge-C23",
        what="swept volume of one chamber of a rotary of R 105, e 15, b 80 mm; R/e; lean angle",
        inputs={},
        compute=_chamber,
        expected={"chamber": 654.72e-6, "R_over_e": 7.0, "lean": 25.38},
        tolerance=2e-4,
        tolerance_reason="the angle has four digits, 25.377 to five: the notes' own 1e-4 is finer than their figure",
        source=("Analytic",),
        how="derived",
    ),
    *(
        Case(
            id="charge-C24",
            part=kind,
            what="air of two rotors of C23 at 8000 rpm, of a 2.0 L piston engine at 7000 rpm",
            inputs={"kind": kind, "rpm": rpm},
            compute=_air,
            expected={"flow": flow},
            tolerance=5e-4,
            tolerance_reason="the notes' own: five digits stated, R 287.058 there",
            source=("Analytic",),
            how="derived",
        )
        for kind, rpm, flow in (("rotary", 8000.0, 0.37745), ("piston", 7000.0, 0.25222))
    ),
    *(
        Case(
            id="charge-F2",
            part=f"filling of the engine, {T - 273.15:.0f} degC",
            what="ten kelvin more at the plenum, same pressure: air drawn, at the default filling_exponent",
            inputs={"T": T, "exponent": EngineSpec.filling_exponent},
            compute=_per_10_K,
            expected={"flow": flow},
            tolerance=1e-3,
            kind="absolute",
            tolerance_reason="two digits stated; the notes' own exponent is 0.28 to 0.30",
            source=("Own",),
            how="computed for the notes with another code: a cycle with wall pick-up 0.15 and 5 % of residual gas",
        )
        for T, flow in ((293.15, -0.023), (333.15, -0.021))
    ),
    Case(
        id="charge-F2",
        part="the standards' root of temperature",
        what="ten kelvin more at the plenum, same pressure: air drawn, at a filling_exponent of 0.5",
        inputs={"T": 303.15, "exponent": 0.5},
        compute=_per_10_K,
        expected={"flow": -0.016},
        tolerance=6e-4,
        kind="absolute",
        tolerance_reason="two digits stated",
        source=("SAEJ1349",),
        how="the root of temperature in its factor is the air that an engine draws at one pressure",
    ),
    Case(
        id="charge-C24",
        part="four-stroke equivalent",
        what="the four-stroke engine that draws as much as two rotors of C23",
        inputs={},
        compute=_pair,
        expected={"four_stroke": 2.6189e-3},
        tolerance=1e-4,
        tolerance_reason="five digits stated",
        source=("Analytic",),
        how="derived",
    ),
    *(
        Case(
            id="charge-C25",
            part=f"{horses:g} hp",
            what="air and consumption of a power target",
            inputs={"power": horses * HORSEPOWER, "bsfc": bsfc, "ratio": ratio},
            compute=_target,
            expected={"air": pounds * POUND / 60.0, "consumption": bsfc * 608.277, "power": horses * HORSEPOWER},
            tolerance=1e-4,
            tolerance_reason="five digits stated",
            source=("Analytic",),
            how="derived",
        )
        for horses, bsfc, ratio, pounds in ((1000.0, 0.60, 11.5, 115.00), (600.0, 0.50, 12.0, 60.000))
    ),
]
