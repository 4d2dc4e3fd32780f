"""Ice, condensation and injection as the arrays take them.

What is here: which charge passes may get wet and the constants of saturation, the rows of iced tank nodes,
and the columns of injections.  What is not: the equations themselves (`parts/moisture.py`, `reservoir.py`,
`injection.py`) and their march (`kernel.py`).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from coldside.media import air
from coldside.media.coolants import Coolant
from coldside.parts import injection, moisture, reservoir
from coldside.parts.injection import InjectionSpec
from coldside.parts.reservoir import ReservoirSpec
from coldside.plant.flows import Air

DEW_ROOM = 2.0  # K between the highest dew point and the coldest wall under which condensation is followed
SPRAYED_COLDER = 15.0  # K under ambient that a sprayed core may bring its wall


def saturation_scalars() -> dict[str, float]:
    """The closed form of saturation, for `layout.Arrays`."""
    a, b, c = moisture.SATURATION
    return {
        "vapour_a": a,
        "vapour_b": b,
        "vapour_c": c,
        "enhancement": moisture.ENHANCEMENT[0],
        "enhancement_rise": moisture.ENHANCEMENT[1],
        "vapour_ratio": air.MASS_RATIO,
        "latent": moisture.LATENT_0C,
        "cp_vapour": moisture.CP_VAPOUR,
        "cp_water": moisture.CP_LIQUID,
    }


def may_condense(humidity: float, pressure: np.ndarray, coldest: float) -> bool:
    """Whether charge of a `humidity` ratio can wet a wall at `coldest` [K] at the highest of `pressure` [Pa]."""
    if humidity <= 0.0:
        return False
    return float(air.dew_point_at(float(pressure.max()), humidity)) > coldest - DEW_ROOM


def charge_pressures(plenum: np.ndarray, behind: np.ndarray, between: np.ndarray, ambient: float) -> np.ndarray:
    """Charge pressure in the cores behind the last compressor and between two, Pa absolute, stacked last.

    `plenum`, compressor outlet `behind` and the first one's outlet `between`.  In boost the mean of outlet
    and plenum; with the throttle closed the plenum is beyond it and the core stands at compressor outlet.
    """
    return np.stack([np.where(plenum > 0.95 * ambient, 0.5 * (behind + plenum), behind), between], axis=-1)


def ice_rows(
    tanks: Sequence[tuple[ReservoirSpec, Coolant, Sequence[int], float, float, float]],
) -> dict[str, np.ndarray]:
    """Rows of every iced node.

    Each tank: its specification, its loop's coolant, the states of its nodes, a node's heat capacity [J/K],
    the loop's cp [J/(kg K)] and how much coolant the loop holds [kg], which the melt dilutes.  Ice is spread
    evenly over the nodes.
    """
    rows: list[tuple[float, ...]] = []
    melt: list[np.ndarray] = []
    for spec, coolant, states, capacity, cp, liquid in tanks:
        if not spec.ice:
            continue
        half, whole = (reservoir.melting_point(coolant, liquid, share * spec.ice) for share in (0.5, 1.0))
        first = reservoir.melting_point(coolant, liquid, 0.0)
        # the parabola through none, half and all melted
        c = 2.0 * (whole - 2.0 * half + first)
        n = len(states)
        film, latent = reservoir.ice_conductance(spec) / n, float(reservoir.ice_latent(spec, first))
        for state in states:
            rows.append((state, spec.ice / n, film, spec.ice_exponent, latent, cp, capacity))
            melt.append(np.array([first, whole - first - c, c]))
    table = np.array(rows, dtype=float).reshape(-1, 7)
    names = ("ice_node", "ice_mass", "ice_film", "ice_exponent", "ice_latent", "ice_cp", "ice_capacity")
    found = {name: np.ascontiguousarray(table[:, i]) for i, name in enumerate(names)}
    found["ice_node"] = found["ice_node"].astype(np.int64)
    found["ice_melt"] = np.array(melt, dtype=float).reshape(-1, 3)
    return found


def injection_columns(
    specs: Sequence[tuple[InjectionSpec, np.ndarray, np.ndarray]],
    charge: tuple[np.ndarray, np.ndarray],
    around: Air,
    humidity: np.ndarray | float,
) -> list[np.ndarray]:
    """Columns of every injection: both lines and the water of `injection.Cooling`; T = T_in where it does not run.

    With each specification the gas temperature [K] to expect there and the pressure [Pa absolute]; `charge` holds
    flow [kg/s] and pressure in the plenum, all over the rows of the inputs; so may `humidity` [kg/kg] of the air.
    The liquid comes out of its tank at the day's middle temperature, that of `around`.
    """
    flow, plenum = charge
    W = humidity
    columns: list[np.ndarray] = []
    for spec, about, pressure in specs:
        # two stages without cooling between may pass what the lines are drawn for: they are carried on from there
        expected = np.clip(about, injection.COLDEST + injection.SPAN, injection.HOTTEST - 0.5 * injection.SPAN)
        liquid = injection.injected_flow(spec, plenum, around.pressure) * spec.evaporated
        ratio = np.minimum(liquid * (1.0 + W) / np.maximum(flow, 1e-6), 1.0)
        runs = (ratio > 0.0) & (flow > 0.0)
        found = injection.cooling(
            injection.parse_fluid(spec.fluid), np.where(runs, ratio, 0.0), pressure, W, around.temperature, expected
        )
        for line in (found.full, found.limit):
            columns += [np.where(runs, line[0], 0.0), np.where(runs, line[1], 1.0)]
        columns.append(np.where(runs, found.water, 0.0))
    return columns
