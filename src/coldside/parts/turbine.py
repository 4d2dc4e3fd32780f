"""The turbine's side of the balance: exhaust pressure that the compressor's power asks for, and what it does.

What is here: mean pressure before one turbine or two in series, whether the target can be reached at all,
and what exhaust pressure does to filling and to the burnt gas that stays behind.  What is not: the
turbine's own map, its pulses and its wastegate: all exhaust is taken through it, which needs the least
pressure, so the true mean is at or above what is found here.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from coldside.errors import require
from coldside.media.fuels import fuel
from coldside.parts.engine import EngineSpec

EXHAUST_CP = 1240.0  # J/(kg K) of burnt gas around 1200 K; common practice
EXHAUST_GAMMA = 1.30  # its ratio of specific heats; common practice
MOST_EXPANSION = 10.0  # pressure ratio that no turbine of one radial stage is asked for; choked ones see 4 to 6 (own)
MOSTLY = 0.5  # share of alcohol by mass above which its exhaust is that of alcohols
BURNT = {"gasoline": 1210.0, "alcohol": 1135.0, "rotary": 1225.0}  # K before the turbine; common practice, +- 40 K

Values = np.ndarray | float


def gas_temperature(engine: EngineSpec) -> float:
    """Exhaust before the turbine at full load where none is given [K], good to 40 K.

    Middle of the ranges of the trade (common practice): 1150 to 1273 K on gasoline, 75 K lower on E85 and
    alcohols, 1150 to 1300 K in a rotary.
    """
    if fuel(engine.fuel).alcohol_share > MOSTLY:
        return BURNT["alcohol"]
    return BURNT["rotary" if engine.kind == "rotary" else "gasoline"]


def inlet_pressure(
    power: Values, flow: Values, T_in: Values, p_out: Values, efficiency: Values
) -> tuple[np.ndarray, np.ndarray]:
    """Mean pressure before a turbine [Pa absolute] that gives a compressor `power` [W], and its outlet temperature [K].

    p3 = p4 [1 - P/(m cp T3 eta)]^(-g/(g - 1)), `flow` [kg/s] of exhaust, `T_in` [K], `p_out` [Pa absolute],
    `efficiency` of turbine and bearings together (first law and isentropic expansion of an ideal gas, as in
    Heywood1988; cp and g above).  Infinite where the target is impossible: it would take ten times the pressure
    behind the turbine or more, or power is asked where nothing flows.  Raises `BadInput` for a temperature or
    efficiency not above 0.
    """
    require("exhaust temperature", T_in, low=0.0, open_low=True)
    require("turbine efficiency", efficiency, low=0.0, open_low=True)
    P, m = np.asarray(power, dtype=float), np.asarray(flow, dtype=float)
    with np.errstate(divide="ignore", invalid="ignore"):
        drop = np.where(P > 0.0, P / (m * EXHAUST_CP), 0.0)  # K of the gas, by the first law
    bracket = 1.0 - drop / (np.asarray(T_in, dtype=float) * efficiency)
    exponent = -EXHAUST_GAMMA / (EXHAUST_GAMMA - 1.0)
    able = bracket >= MOST_EXPANSION ** (1.0 / exponent)
    p_in = np.where(able, np.asarray(p_out) * np.where(able, bracket, 1.0) ** exponent, np.inf)
    return p_in, np.where(able, T_in - drop, np.nan)


def pressure_before(
    powers: Sequence[Values], flow: Values, T_in: Values, p_out: Values, efficiencies: Sequence[Values]
) -> np.ndarray:
    """Mean pressure before the first of turbines in series [Pa absolute]; infinite where the target is impossible.

    `powers` [W] and `efficiencies` in the order of the exhaust: the first turbine drives the last compressor.
    Arguments else as in `inlet_pressure`; each turbine's gas is cooler by the work of those before it.
    """
    T, inlets = np.asarray(T_in, dtype=float), []
    for P, eta in zip(powers, efficiencies, strict=True):
        inlets.append(T)
        _, left = inlet_pressure(P, flow, T, p_out, eta)
        T = np.where(np.isnan(left), T_in, left)  # impossible there: the pressure below says so
    p = np.asarray(p_out, dtype=float)
    for P, eta, T in zip(reversed(powers), reversed(efficiencies), reversed(inlets), strict=True):
        p, _ = inlet_pressure(P, flow, T, p, eta)
    return np.asarray(p)


def filling_share(exhaust: Values, intake: Values, compression_ratio: float, gamma: float = 1.35) -> np.ndarray:
    """Filling over that at equal pressures: 1 - (p_e/p_i - 1)/(g (r_c - 1)).

    Mean `exhaust` and `intake` pressure [Pa absolute]; engine without valve overlap, with overlap it is worse.
    Source: Heywood1988 Eq. 6.2 rearranged.  Raises `BadInput` unless the compression ratio is above 1.
    """
    require("compression ratio", compression_ratio, low=1.0, open_low=True)
    ratio = np.asarray(exhaust, dtype=float) / intake
    return np.asarray(1.0 - (ratio - 1.0) / (gamma * (compression_ratio - 1.0)))


def residual_share(
    exhaust: Values, intake: Values, T_exhaust: Values, T_intake: Values, compression_ratio: float
) -> np.ndarray:
    """Share of burnt gas that stays in the cylinder: 1/[1 + (r_c - 1)(VE/VE0)(p_i/p_e)(T_r/T_i)].

    Pressures [Pa absolute], burnt gas left at `T_exhaust` and fresh charge at `T_intake` [K].  Clearance volume
    full of burnt gas at exhaust pressure, no overlap (Heywood1988 rearranged).
    """
    filling = filling_share(exhaust, intake, compression_ratio)
    fresh = (compression_ratio - 1.0) * filling * np.asarray(intake, dtype=float) / exhaust
    return np.asarray(1.0 / (1.0 + fresh * np.asarray(T_exhaust, dtype=float) / T_intake))
