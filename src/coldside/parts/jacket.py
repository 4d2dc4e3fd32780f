"""The engine as a part of a loop: the implicit `engine.coolant` and `engine.oil`.

What is here: `EngineJacketSpec`, made from the keys of `[engine]` when a loop names the engine, and the
loss of its passages.  What is not: the fuel's power, of which it takes a share (`engine.py`, `plant/`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from coldside.media.coolants import Coolant
from coldside.parts.engine import EngineSpec, four_stroke_equivalent
from coldside.parts.lines import bench_loss

COOLANT_SIDE, OIL_SIDE = "engine.coolant", "engine.oil"  # names of the implicit parts on a loop's path
JACKET_KEYS = ("coolant_heat_share", "jacket_volume", "block_mass", "jacket_loss", "jacket_flow")
OIL_KEYS = ("oil_heat_share", "oil_volume", "oil_metal_mass", "oil_loss", "oil_flow")
SHARED_KEYS = ("block_pickup",)  # of whichever of the two is in a loop
BENCH = {COOLANT_SIDE: 363.15, OIL_SIDE: 373.15}  # K, coolant at which a passage's loss is stated
EXPONENT = {COOLANT_SIDE: 1.75, OIL_SIDE: 1.2}  # of loss against flow: turbulent water, creeping oil (from memory)


@dataclass(frozen=True, kw_only=True)
class EngineJacketSpec:
    """One liquid's passages through the engine.

    `heat_share` share of the heat set free by the fuel that goes into it (17 to 26 % for coolant, 3 to 10 % for
    oil and the rest at full load: Heywood1988 table 12.1, from memory); `metal_mass` [kg of aluminium] metal
    that keeps its temperature; `coolant_volume` [m3] liquid held; `loss` [Pa] at `bench_flow` [m3/s] with
    the liquid warm (`bench_temperature` [K]), growing as flow to the power `exponent`; `pickup` [W/K] from
    `surroundings`; `start_temperature` [K], as the engine starts a session warm.
    """

    heat_share: float
    metal_mass: float
    coolant_volume: float
    loss: float
    bench_flow: float
    bench_temperature: float
    exponent: float
    pickup: float
    start_temperature: float
    surroundings: str = "bay"

    sides = ("coolant",)


def jacket_of(engine: EngineSpec, name: str) -> EngineJacketSpec:
    """The implicit part `name` (`COOLANT_SIDE` or `OIL_SIDE`) of this engine.

    Sizes that are not given grow with the displacement (a rotary's with that of the four-stroke engine
    that draws as much): own rules, +- 30 %, see the keys' help.  Raises `BadInput` without a displacement.
    """
    litres = four_stroke_equivalent(engine) * 1e3
    if name == COOLANT_SIDE:
        volume = engine.jacket_volume if engine.jacket_volume is not None else 1.3e-3 * litres
        mass = engine.block_mass if engine.block_mass is not None else 20.0 + 20.0 * litres
        share, loss, flow = engine.coolant_heat_share, engine.jacket_loss, engine.jacket_flow
    else:
        volume = engine.oil_volume if engine.oil_volume is not None else 2e-3 + 1e-3 * litres
        mass = engine.oil_metal_mass if engine.oil_metal_mass is not None else 5.0 + 5.0 * litres
        share, loss, flow = engine.oil_heat_share, engine.oil_loss, engine.oil_flow
    return EngineJacketSpec(
        heat_share=share,
        metal_mass=mass,
        coolant_volume=volume,
        loss=loss,
        bench_flow=flow,
        bench_temperature=BENCH[name],
        exponent=EXPONENT[name],
        pickup=engine.block_pickup,
        start_temperature=engine.metal_temperature,
    )


def jacket_loss(
    spec: EngineJacketSpec, Q: np.ndarray | float, coolant: Coolant, T: np.ndarray | float
) -> tuple[np.ndarray, np.ndarray]:
    """Loss of the passages [Pa] and its derivative by volume flow [Pa s/m3] at `Q` [m3/s], coolant at `T` [K].

    `lines.bench_loss` from the stated point; density and viscosity scale from `bench_temperature`.
    """
    T0 = spec.bench_temperature
    rho, mu = coolant.density(T) / coolant.density(T0), coolant.viscosity(T) / coolant.viscosity(T0)
    return bench_loss(spec.loss, spec.bench_flow, spec.exponent, Q, rho, mu)
