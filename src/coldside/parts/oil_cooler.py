"""Oil cooler: one liquid to another, each in a loop of its own, rated by a bench point.

What is here: `OilCoolerSpec`, the two implicit parts that stand in the loops (`NAME.oil`, `NAME.water`), the
conductances of both films, and the loss of each side.  What is not: flows and temperatures (`plant/`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from coldside.errors import BadInput
from coldside.media.coolants import Coolant
from coldside.parts.fields import bleed_field, given, height_field
from coldside.parts.lines import Loss, bench_loss

OIL_END, WATER_END = "oil", "water"  # its sides, behind a dot on the loops' paths
CELLS = 4  # cells along each of its two streams, which cross
WALL_SHARE = 0.02  # of the whole resistance, a plate of aluminium (as for other liquid cores)
FLOOR = 0.02  # share of the bench flow under which a film no longer weakens (natural convection)


@dataclass(frozen=True, kw_only=True)
class OilCoolerSpec:
    """`kind = "oil_cooler"`: oil to coolant, written NAME.oil and NAME.water in the two loops."""

    bench_oil_flow: float = given("volume_flow", "oil flow at the bench point", low=1e-6, high=0.02)
    bench_water_flow: float = given("volume_flow", "coolant flow at the bench point", low=1e-6, high=0.02)
    bench_oil_in: float = given("temperature", "oil temperature in, at the bench point", low=253.15, high=453.15)
    bench_water_in: float = given("temperature", "coolant temperature in, at the bench point", low=253.15, high=403.15)
    bench_heat: float = given(
        "power", "heat from oil to coolant at the bench point, with the liquids of its loops", low=10.0, high=1e6
    )
    bench_oil_loss: float = given("pressure_difference", "oil pressure loss at the bench point", low=1.0, high=2e6)
    bench_water_loss: float = given(
        "pressure_difference", "coolant pressure loss at the bench point", low=1.0, high=5e5
    )
    oil_film_share: float = given(
        "share",
        "share of the whole resistance on the oil side at the bench point",
        default=0.75,
        sd=0.10,
        low=0.2,
        high=0.95,
    )
    oil_film_exponent: float = given(
        "number", "oil film conductance grows with flow to this power", default=0.33, sd=0.1, low=0.0, high=0.9
    )
    water_film_exponent: float = given(
        "number", "coolant film conductance grows with flow to this power", default=0.6, sd=0.1, low=0.0, high=0.9
    )
    oil_loss_exponent: float = given(
        "number", "oil loss grows with flow to this power near the bench flow", default=1.2, sd=0.1, low=1.0, high=2.0
    )
    water_loss_exponent: float = given(
        "number",
        "coolant loss grows with flow to this power near the bench flow",
        default=1.75,
        sd=0.15,
        low=1.0,
        high=2.0,
    )
    metal_mass: float = given("mass", "dry mass", default=1.5, sd_share=0.4, low=0.05, high=100.0)
    oil_volume: float = given("volume", "oil held", default=2.5e-4, sd_share=0.4, low=1e-5, high=0.02)
    water_volume: float = given("volume", "coolant held", default=2.5e-4, sd_share=0.4, low=1e-5, high=0.02)
    height: float | None = height_field("height of its highest passage over the car's datum")
    bleed: bool = bleed_field()


@dataclass(frozen=True, kw_only=True)
class OilCoolerSideSpec:
    """One side of an oil cooler as a part of a loop: `cooler` the part it belongs to, `side` "oil" or "water"."""

    cooler: str
    side: str
    coolant_volume: float  # m3
    loss: float  # Pa at bench_flow [m3/s], coolant at bench_temperature [K], growing as flow to `exponent`
    bench_flow: float
    bench_temperature: float
    exponent: float
    height: float | None = None
    bleed: bool = False

    sides = ("coolant",)


def side_of(spec: OilCoolerSpec, name: str, side: str) -> OilCoolerSideSpec:
    """The implicit part of one side of the oil cooler `name`."""
    oil = side == OIL_END
    return OilCoolerSideSpec(
        cooler=name,
        side=side,
        coolant_volume=spec.oil_volume if oil else spec.water_volume,
        loss=spec.bench_oil_loss if oil else spec.bench_water_loss,
        bench_flow=spec.bench_oil_flow if oil else spec.bench_water_flow,
        bench_temperature=spec.bench_oil_in if oil else spec.bench_water_in,
        exponent=spec.oil_loss_exponent if oil else spec.water_loss_exponent,
        height=spec.height,
        bleed=spec.bleed,
    )


def side_loss(spec: OilCoolerSideSpec, Q: np.ndarray | float, coolant: Coolant, T: np.ndarray | float) -> Loss:
    """Loss of one side [Pa] and its derivative by volume flow [Pa s/m3], by `lines.bench_loss`; `T` in K."""
    T0 = spec.bench_temperature
    rho, mu = coolant.density(T) / coolant.density(T0), coolant.viscosity(T) / coolant.viscosity(T0)
    return bench_loss(spec.loss, spec.bench_flow, spec.exponent, Q, rho, mu)


@dataclass(frozen=True)
class _Film:
    """One film: conductance [W/K] at the bench mass flow [kg/s], with half the wall behind it; exponent."""

    coolant: Coolant
    bench: float
    flow: float
    T: float
    exponent: float
    wall: float  # K/W, half of the wall's

    def conductance(self, m_dot: np.ndarray | float, T: np.ndarray | float) -> np.ndarray:
        m = np.hypot(np.asarray(m_dot, dtype=float) / self.flow, FLOOR)
        h = self.bench * m**self.exponent * self._properties(T) / self._properties(self.T)
        return 1.0 / (1.0 / h + self.wall)

    def _properties(self, T: np.ndarray | float) -> np.ndarray:
        """h ~ Re^n Pr^(1/3) k at equal mass flow: k^(2/3) cp^(1/3) mu^(1/3 - n)."""
        c = self.coolant
        k, cp, mu = (np.asarray(v, dtype=float) for v in (c.conductivity(T), c.cp(T), c.viscosity(T)))
        return k ** (2 / 3) * cp ** (1 / 3) * mu ** (1 / 3 - self.exponent)


@dataclass(frozen=True)
class OilCoolerRating:
    """Conductance of each side to the metal, whole part."""

    oil: _Film
    water: _Film

    def conductance(self, side: str, m_dot: np.ndarray | float, T: np.ndarray | float) -> np.ndarray:
        """From the liquid of `side` ("oil" or "water") to the metal [W/K] at `m_dot` [kg/s], liquid at `T` [K].

        Film ~ flow^exponent with properties by k^(2/3) cp^(1/3) mu^(1/3 - exponent) (common form, from
        memory), half the wall's resistance behind it; no weaker than at 2 % of the bench flow.
        """
        return (self.oil if side == OIL_END else self.water).conductance(m_dot, T)


def rate_oil_cooler(spec: OilCoolerSpec, oil: Coolant, water: Coolant) -> OilCoolerRating:
    """Films of an oil cooler from its bench point, so that its own grid of cells gives the bench heat.

    Raises `BadInput` when oil in is not hotter than coolant in, or the heat is more than cross flow can give.
    """
    if spec.bench_oil_in <= spec.bench_water_in:
        raise BadInput("bench_oil_in must be hotter than bench_water_in")
    m = (
        spec.bench_oil_flow * oil.density(spec.bench_oil_in),
        spec.bench_water_flow * water.density(spec.bench_water_in),
    )
    C = (float(m[0] * oil.cp(spec.bench_oil_in)), float(m[1] * water.cp(spec.bench_water_in)))
    apart = spec.bench_oil_in - spec.bench_water_in
    low, high = 1e-3 * min(C), 1e3 * min(C)
    if float(grid_heat(high, *C)) * apart <= spec.bench_heat:
        most = float(grid_heat(high, *C)) * apart
        raise BadInput(
            f"bench_heat = {spec.bench_heat:.4g} W is more than the {most:.4g} W that cross flow can give there"
        )
    for _ in range(80):
        middle = np.sqrt(low * high)
        low, high = (middle, high) if float(grid_heat(middle, *C)) * apart < spec.bench_heat else (low, middle)
    resistance = 1.0 / float(np.sqrt(low * high))
    share = spec.oil_film_share * (1.0 - WALL_SHARE)
    wall = 0.5 * WALL_SHARE * resistance
    rest = (1.0 - WALL_SHARE) - share
    return OilCoolerRating(
        _Film(oil, 1.0 / (share * resistance), float(m[0]), spec.bench_oil_in, spec.oil_film_exponent, wall),
        _Film(water, 1.0 / (rest * resistance), float(m[1]), spec.bench_water_in, spec.water_film_exponent, wall),
    )


def grid_heat(UA: np.ndarray | float, C1: np.ndarray | float, C2: np.ndarray | float) -> np.ndarray:
    """Heat per kelvin of inlet difference [W/K] of two liquids crossing in `CELLS` x `CELLS` mixed cells.

    `UA` whole conductance, `C1`, `C2` capacity rates [W/K], above 0.  With more cells it becomes cross flow,
    both streams unmixed; with these it is what the kernel's own grid settles at.
    """
    UA, C1, C2 = np.broadcast_arrays(*(np.asarray(v, dtype=float) for v in (UA, C1, C2)))
    u, c1, c2 = UA / CELLS**2, C1 / CELLS, C2 / CELLS
    hot = [np.ones(UA.shape) for _ in range(CELLS)]  # of each lane of stream 1, inlet difference 1
    total = np.zeros(UA.shape)
    for _ in range(CELLS):  # along stream 1; each step passes once across all its lanes with stream 2
        cold = np.zeros(UA.shape)
        for lane in range(CELLS):
            passed = u * (hot[lane] - cold) / (1.0 + u / c1 + u / c2)
            hot[lane] = hot[lane] - passed / c1
            cold = cold + passed / c2
            total = total + passed
    return total
