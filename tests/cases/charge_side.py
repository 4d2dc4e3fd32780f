"""Check cases of the charge side's balance: losses on both sides of the compressor, corrected flow."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.optimize import brentq

from cases.record import Case
from coldside.media import air
from coldside.parts import engine
from coldside.parts.lines import FilterSpec, ThrottleSpec
from coldside.plant.charge import ChargeSide, ChargeState
from coldside.plant.flows import Air
from generators import AIR_CORE, ENGINE, TURBO, build_of

FLOW = 0.2  # kg/s at which losses are stated where a case gives no flow


def charge_side(
    losses: tuple[float, float], states: tuple[float, float, float, float], flow: float, around: Air, count: int = 1
) -> ChargeSide:
    """Filter, compressor and throttle that lose `losses` [Pa] at `flow`.

    `states`: pressure before the filter, temperature of the inlet, pressure and temperature of the
    plenum; a loss is stated on the density midway through the part, so it is turned to the bench's.
    """
    p0, T_in, p_plenum, T_plenum = states
    R = float(air.gas_constant(around.humidity_ratio))
    before = (p0**2 - (p0 - losses[0]) ** 2) / (2.0 * R * T_in)  # dp x mean density
    after = ((p_plenum + losses[1]) ** 2 - p_plenum**2) / (2.0 * R * T_plenum)
    parts = {
        "filter": FilterSpec(loss=before / 1.18, bench_flow=flow),
        "turbo": replace(TURBO, count=count),
        "core": replace(AIR_CORE, bench_charge_loss=0.0),
        "throttle": ThrottleSpec(loss=after / 2.1, bench_flow=flow),
    }
    big = replace(ENGINE, displacement=5e-3)
    build = build_of(parts, ("filter", "turbo", "core", "throttle"), duct=("core",), engine=big)
    return ChargeSide(build, around, "")


def balanced(
    losses: tuple[float, float], p0: float, T_in: float, p_plenum: float, flow: float, count: int = 1
) -> ChargeState:
    """The balance at one point, dry air, the plenum at 300 K; the filter's inlet air is at `T_in`."""
    side = charge_side(losses, (p0, T_in, p_plenum, 300.0), flow, Air(T_in, p0, 0.0), count)
    big = side.build.engine
    n = brentq(lambda n: float(engine.air_flow(big, n, p_plenum, 300.0, 0.0)) - flow, 1.0, 600.0)
    one = np.ones(1)
    return side.balance(n * one, p_plenum * one, 300.0 * one, T_in * one)


def _system(p0: float, T_in: float, p_plenum: float, loss_in: float, loss_out: float) -> dict[str, float]:
    state = balanced((loss_in, loss_out), p0, T_in, p_plenum, FLOW)
    return {"pressure_ratio": float(state.pressure_ratio[0]), "T2": float(state.compressor_out[0])}


def _corrected(flow: float, T: float, p: float, count: int) -> dict[str, float]:
    """Corrected flow of one compressor; a constant efficiency refers to 298.15 K and 100 kPa."""
    state = balanced((101325.0 - p, 1e3), 101325.0, T, 2e5, flow, count)
    return {"corrected_flow": float(state.corrected_flow[0])}


CASES = [
    *(
        Case(
            id=number,
            part=f"charge side, {part}" if part else "charge side",
            what="balance of flow, losses before and after, and a compressor of efficiency 0.74",
            inputs={"p0": p0, "T_in": T_in, "p_plenum": 2e5, "loss_in": loss_in, "loss_out": loss_out},
            compute=_system,
            expected={"pressure_ratio": ratio, "T2": T2},
            tolerance=5e-4,
            tolerance_reason="the notes' own: five digits stated, 1e-4 of interpolated losses",
            source=("Cantera", "Ambiance"),
            how="computed with Cantera 3.2.0 and ambiance 1.3.1",
        )
        for number, part, p0, T_in, loss_in, loss_out, ratio, T2 in (
            ("charge-C18", "no losses", 101325.0, 303.15, 0.0, 0.0, 1.9738, 390.66),
            ("charge-C18", "with losses", 101325.0, 303.15, 3e3, 10e3, 2.1358, 401.89),
            ("charge-C19", "", 79501.0, 288.15, 3e3, 10e3, 2.7450, 417.77),
        )
    ),
    *(
        Case(
            id="charge-C20",
            part=f"charge side, {part}",
            what="corrected flow of each compressor behind a filter that loses 3 kPa",
            inputs={"flow": 0.45, "T": 303.15, "p": 98325.0, "count": count},
            compute=_corrected,
            expected={"corrected_flow": expected},
            tolerance=2e-4,
            tolerance_reason="five digits stated; the filter's loss is interpolated to 1e-4 of itself",
            source=("Analytic",),
            how="derived",
        )
        for part, count, expected in (("one", 1, 0.46149), ("twin", 2, 0.23074))
    ),
]
