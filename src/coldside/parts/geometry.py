"""A core or exchanger from its geometry: film conductances, wall, pressure loss, metal and volumes.

What is here: `CoreSide` and `CoreGeometry`, layers of two surfaces (`surfaces.py`) stacked in turn with walls
between; the five resistances; the loss of a core (entrance, friction, change of speed, exit) and of its tanks.
What is not: effectiveness (`correlations.py`), and how a rated part uses this (`exchanger.py`).

Conventions.  Stream 1 flows along length 1, stream 2 across it along length 2; a stream's layers are as wide as
the OTHER stream's way.  Pairs of layers are a real number, so that two half stacks equal one.  A side with
several passes is turned back after each: the passes lie one behind the other along the other stream, which meets
the last one first (cross-counter).  Flow in kg/s, temperatures in K, `coolant` None for air.  SI throughout.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from coldside.errors import BadInput, require
from coldside.media import air
from coldside.media.coolants import Coolant
from coldside.parts.surfaces import LouveredFin, Surface

Array = NDArray[np.float64]
Number = Any  # float or array in, the broadcast shape out

ALUMINIUM_CONDUCTIVITY = 180.0  # W/(m K), brazed clad alloy, 150 to 210 (common practice)
ALUMINIUM_DENSITY = 2710.0  # kg/m3
TANK_IN, TANK_OUT = 0.8, 0.4  # of the pipe's dynamic head: 0.6 to 1.0 and 0.3 to 0.5 (common practice)
_SMALLEST_FLOW = 1e-12  # kg/s: a standing film has the channel's own Nusselt number, and no loss


class Resistances(NamedTuple):
    """The five resistances between two streams, K/W."""

    film1: Number
    fouling1: Number
    wall: Number
    fouling2: Number
    film2: Number

    @property
    def conductance(self) -> Number:
        """UA, W/K."""
        return 1.0 / sum(self)

    @property
    def shares(self) -> Resistances:
        """Each as a share of the whole."""
        return Resistances(*(part / sum(self) for part in self))


class Loss(NamedTuple):
    """Pressure loss of one side, Pa: core, inlet tank, outlet tank."""

    core: Number
    tank_in: Number
    tank_out: Number

    @property
    def whole(self) -> Number:
        """Core and both tanks, Pa."""
        return self.core + self.tank_in + self.tank_out


def entrance_loss(sigma: ArrayLike) -> Number:
    """K_c of a core with free share `sigma`, at high Re: 0.4 (1 - sigma^2).  Source: KaysLondon1984 (asymptote)."""
    return 0.4 * (1.0 - np.asarray(sigma, dtype=float) ** 2)[()]


def exit_loss(sigma: ArrayLike) -> Number:
    """K_e of a core with free share `sigma`, at high Re: (1 - sigma)^2, a sudden widening.  Source: KaysLondon1984."""
    return ((1.0 - np.asarray(sigma, dtype=float)) ** 2)[()]


def core_loss(
    G: ArrayLike,
    rho_in: ArrayLike,
    rho_out: ArrayLike,
    sigma: float,
    friction: ArrayLike,
    *,
    K_c: float | None = None,
    K_e: float | None = None,
) -> Number:
    """Pressure loss of a core between its faces, Pa.

    G mass flux in the smallest section, kg/(s m2); densities at both ends, kg/m3; `friction` = f A/A_c, that
    is 4 f L/D_h with f Fanning; K_c, K_e default to `entrance_loss`, `exit_loss`.  Cooling a gas makes the
    term of its slowing negative, a recovery.  Source: KaysLondon1984.
    """
    flux, first, last = (np.asarray(x, dtype=float) for x in (G, rho_in, rho_out))
    require("rho_in", first, low=0.0, open_low=True)
    require("rho_out", last, low=0.0, open_low=True)
    require("sigma", sigma, low=0.0, high=1.0, open_low=True)
    into = float(entrance_loss(sigma)) if K_c is None else K_c
    out_of = float(exit_loss(sigma)) if K_e is None else K_e
    ratio = first / last
    middle = 0.5 * (1.0 + ratio)  # rho_in/rho_m with 1/rho_m the mean of both
    bracket = (
        into + 1.0 - sigma**2 + 2.0 * (ratio - 1.0) + np.asarray(friction) * middle - (1.0 - sigma**2 - out_of) * ratio
    )
    return (0.5 * flux**2 / first * bracket)[()]


@dataclass(frozen=True, kw_only=True)
class CoreSide:
    """One stream's side.

    `surface` of its layers; `length` m of its way through the core, one pass; `passes` >= 1; `fouling`
    m2 K/W on its whole area; `tank_in`, `tank_out` loss over the dynamic head in a pipe of `pipe_bore` m
    (None: no tanks, as on a cooling-air face).
    """

    surface: Surface
    length: float
    passes: int = 1
    fouling: float = 0.0
    tank_in: float = TANK_IN
    tank_out: float = TANK_OUT
    pipe_bore: float | None = None

    def __post_init__(self) -> None:
        require("length of a core", self.length, low=0.0, open_low=True)
        require("passes", self.passes, low=1.0, high=100.0)
        if self.passes != int(self.passes):
            raise BadInput(f"passes = {self.passes} must be a whole number")
        require("fouling", self.fouling, low=0.0)
        require("tank_in", self.tank_in, low=0.0)
        require("tank_out", self.tank_out, low=0.0)
        if self.pipe_bore is not None:
            require("pipe_bore", self.pipe_bore, low=0.0, open_low=True)
        if isinstance(self.surface, LouveredFin) and abs(self.surface.depth / self.length - 1.0) > 1e-6:
            raise BadInput("the depth of a louvered fin must be its stream's way through the core")


@dataclass(frozen=True, kw_only=True)
class CoreGeometry:
    """A stack of layers of two sides in turn.

    `side1`, `side2`; `stack_height` m over all layers; `wall_thickness` m of each plate or tube wall;
    `wall_conductivity`, `fin_conductivity` W/(m K); `end_bar` m, width of the bars that close each layer at
    both edges (0 for tubes); `metal_density` kg/m3.  At most one side has several passes.
    """

    side1: CoreSide
    side2: CoreSide
    stack_height: float
    wall_thickness: float
    wall_conductivity: float = ALUMINIUM_CONDUCTIVITY
    fin_conductivity: float = ALUMINIUM_CONDUCTIVITY
    end_bar: float = 0.0
    metal_density: float = ALUMINIUM_DENSITY

    def __post_init__(self) -> None:
        for name in ("stack_height", "wall_thickness", "wall_conductivity", "fin_conductivity", "metal_density"):
            require(name, getattr(self, name), low=0.0, open_low=True)
        require("end_bar", self.end_bar, low=0.0)
        if self.side1.passes > 1 and self.side2.passes > 1:
            raise BadInput("only one side of a core can have several passes")
        for own, other in ((self.side1, self.side2), (self.side2, self.side1)):
            if self._width(own, other) <= 0.0:
                raise BadInput("end bars leave no width for the flow; check end_bar and the lengths of the core")
            fin, rest = own.surface, other.surface
            if isinstance(fin, LouveredFin):
                tube = rest.height + 2.0 * self.wall_thickness
                if abs(tube / fin.tube_thickness - 1.0) > 1e-3:
                    raise BadInput(
                        f"tube_thickness = {fin.tube_thickness * 1e3:.4g} mm does not fit its tube, whose inside "
                        f"and two walls make {tube * 1e3:.4g} mm"
                    )

    # --- sizes ---------------------------------------------------------------------------------------------------

    def _width(self, own: CoreSide, other: CoreSide) -> float:
        """Free width of a side's layers over all its passes, m."""
        return other.length - (own.passes + 1) * self.end_bar

    @cached_property
    def pairs(self) -> float:
        """Pairs of layers in the stack, a real number."""
        return self.stack_height / (self.side1.surface.height + self.side2.surface.height + 2.0 * self.wall_thickness)

    def _section(self, side: int) -> float:
        """Section of all layers of a side over all its passes, m2."""
        own, other = self._sides(side)
        return self.pairs * own.surface.height * self._width(own, other)

    def _sides(self, side: int) -> tuple[CoreSide, CoreSide]:
        """A side and the other."""
        return (self.side1, self.side2) if side == 1 else (self.side2, self.side1)

    @cached_property
    def area1(self) -> float:
        """Wetted area of side 1, m2."""
        return self._section(1) * self.side1.length * self.side1.surface.area_density

    @cached_property
    def area2(self) -> float:
        """Wetted area of side 2, m2."""
        return self._section(2) * self.side2.length * self.side2.surface.area_density

    @cached_property
    def wall_area(self) -> float:
        """Area of plates or tube walls through which heat passes, m2."""
        return 2.0 * self.pairs * self._width(self.side1, self.side2) * self._width(self.side2, self.side1)

    @cached_property
    def free_area1(self) -> float:
        """Smallest free section of side 1, one pass, m2."""
        return self._section(1) * self.side1.surface.free_share / self.side1.passes

    @cached_property
    def free_area2(self) -> float:
        """Smallest free section of side 2, one pass, m2."""
        return self._section(2) * self.side2.surface.free_share / self.side2.passes

    @cached_property
    def frontal_area1(self) -> float:
        """Face of side 1, all passes, bars and walls included, m2."""
        return self.stack_height * self.side2.length

    @cached_property
    def frontal_area2(self) -> float:
        """Face of side 2, all passes, bars and walls included, m2."""
        return self.stack_height * self.side1.length

    @cached_property
    def core_volume(self) -> float:
        """Volume of the core without tanks, m3."""
        return self.stack_height * self.side1.length * self.side2.length

    @cached_property
    def fluid_volume1(self) -> float:
        """What the layers of side 1 hold, tanks apart, m3: the coolant of a core, or its charge volume."""
        return self._section(1) * self.side1.surface.free_share * self.side1.length

    @cached_property
    def fluid_volume2(self) -> float:
        """What the layers of side 2 hold, tanks apart, m3."""
        return self._section(2) * self.side2.surface.free_share * self.side2.length

    @cached_property
    def metal_mass(self) -> float:
        """Dry mass of fins, walls and bars, kg; side sheets, tanks and brackets are not in it."""
        volume = 2.0 * self.pairs * self.side1.length * self.side2.length * self.wall_thickness
        for side in (1, 2):
            own, _ = self._sides(side)
            volume += self._section(side) * own.length * own.surface.metal_share
            volume += self.pairs * own.surface.height * (own.passes + 1) * self.end_bar * own.length
        return self.metal_density * volume

    @property
    def passes(self) -> int:
        """Passes of the side that has several; 1 for plain crossflow."""
        return max(self.side1.passes, self.side2.passes)

    def scaled(self, stack_share: float) -> CoreGeometry:
        """The same core with this share of its stack: half of it in parallel twice is the whole."""
        require("stack_share", stack_share, low=0.0, open_low=True)
        return replace(self, stack_height=self.stack_height * stack_share)

    # --- heat ----------------------------------------------------------------------------------------------------

    def _flux(self, side: int, flow: ArrayLike) -> Array:
        """Mass flux in the smallest section, kg/(s m2), never quite zero."""
        m = np.asarray(flow, dtype=float)
        require("flow", m, low=0.0)
        return np.maximum(m, _SMALLEST_FLOW) / (self.free_area1 if side == 1 else self.free_area2)

    def _surface(self, side: int, flow: ArrayLike, T: ArrayLike, coolant: Coolant | None) -> tuple[Array, Array]:
        """h and eta_o of a side."""
        own, _ = self._sides(side)
        mu, Pr, k = _transport(T, coolant)
        h = np.asarray(own.surface.film(self._flux(side, flow), mu, Pr, k, own.length))
        return h, np.asarray(own.surface.efficiency(h, self.fin_conductivity))

    def coefficient1(self, flow: ArrayLike, temperature: ArrayLike, coolant: Coolant | None = None) -> Number:
        """Film coefficient h of side 1, W/(m2 K), at `flow` >= 0 kg/s and mean temperature of the stream."""
        return self._surface(1, flow, temperature, coolant)[0][()]

    def coefficient2(self, flow: ArrayLike, temperature: ArrayLike, coolant: Coolant | None = None) -> Number:
        """Film coefficient h of side 2, W/(m2 K)."""
        return self._surface(2, flow, temperature, coolant)[0][()]

    def film1(self, flow: ArrayLike, temperature: ArrayLike, coolant: Coolant | None = None) -> Number:
        """Film conductance eta_o h A of side 1, W/K, without fouling; arguments as `coefficient1`."""
        h, eta = self._surface(1, flow, temperature, coolant)
        return (eta * h * self.area1)[()]

    def film2(self, flow: ArrayLike, temperature: ArrayLike, coolant: Coolant | None = None) -> Number:
        """Film conductance eta_o h A of side 2, W/K, without fouling."""
        h, eta = self._surface(2, flow, temperature, coolant)
        return (eta * h * self.area2)[()]

    def fouling1(self, flow: ArrayLike, temperature: ArrayLike, coolant: Coolant | None = None) -> Number:
        """Fouling resistance R''/(eta_o A) of side 1, K/W; moves a little with the flow through eta_o."""
        return (self.side1.fouling / (self._surface(1, flow, temperature, coolant)[1] * self.area1))[()]

    def fouling2(self, flow: ArrayLike, temperature: ArrayLike, coolant: Coolant | None = None) -> Number:
        """Fouling resistance R''/(eta_o A) of side 2, K/W."""
        return (self.side2.fouling / (self._surface(2, flow, temperature, coolant)[1] * self.area2))[()]

    @cached_property
    def wall(self) -> float:
        """Resistance of the plates or tube walls, t/(k A_w), K/W."""
        return self.wall_thickness / (self.wall_conductivity * self.wall_area)

    def resistances(
        self,
        stream1: tuple[ArrayLike, ArrayLike, Coolant | None],
        stream2: tuple[ArrayLike, ArrayLike, Coolant | None],
    ) -> Resistances:
        """The five resistances; each stream as (flow kg/s, mean temperature K, coolant or None for air)."""
        return Resistances(
            1.0 / self.film1(*stream1),
            self.fouling1(*stream1),
            self.wall,
            self.fouling2(*stream2),
            1.0 / self.film2(*stream2),
        )

    def conduction_number(self, C_min: float) -> float:
        """Conduction along the metal over the smaller heat capacity flow, k A_cond/(L C_min); the larger of both ways.

        C_min > 0, W/K.  Not modelled: under 0.005 any arrangement loses less than 0.5 % of its effectiveness to it
        (KaysLondon1984), and in crossflow it takes far more, since it acts along the stronger stream of a shallow
        core: 0.35 % at 0.09, the plates of an air core 60 mm deep (own, by a grid of wall cells; a test does it).
        """
        require("C_min", C_min, low=0.0, open_low=True)
        ways = []
        for side in (1, 2):
            own, other = self._sides(side)
            walls = 2.0 * self.pairs * self.wall_thickness * other.length * self.wall_conductivity
            fins = self._section(side) * own.surface.metal_share * self.fin_conductivity
            ways.append((walls + fins) / (own.length * C_min))
        return max(ways)

    # --- pressure ------------------------------------------------------------------------------------------------

    def _sigma(self, side: int) -> float:
        """Free over frontal section."""
        own, _ = self._sides(side)
        free, face = (self.free_area1, self.frontal_area1) if side == 1 else (self.free_area2, self.frontal_area2)
        return free * own.passes / face

    def _friction(self, side: int, flow: ArrayLike, T: ArrayLike, coolant: Coolant | None) -> tuple[Array, Array]:
        """Mass flux and f A/A_c of one pass."""
        own, _ = self._sides(side)
        G = self._flux(side, flow)
        f = own.surface.f(own.surface.reynolds(G, _transport(T, coolant)[0]), own.length)
        return G, 4.0 * np.asarray(f) * own.length / own.surface.hydraulic_diameter

    def loss1(
        self, flow: ArrayLike, T_in: ArrayLike, T_out: ArrayLike, p_in: ArrayLike, coolant: Coolant | None = None
    ) -> Loss:
        """Pressure loss of side 1, core and tanks apart, Pa.

        `flow` >= 0 kg/s, inlet and outlet temperature K, inlet pressure Pa absolute (of no effect on a
        coolant).  A gas's outlet density is at the pressure it leaves with; BadInput where so much flow cannot pass.
        """
        return self._loss(1, flow, (T_in, T_out), p_in, coolant)

    def loss2(
        self, flow: ArrayLike, T_in: ArrayLike, T_out: ArrayLike, p_in: ArrayLike, coolant: Coolant | None = None
    ) -> Loss:
        """Pressure loss of side 2, core and tanks apart, Pa; as `loss1`."""
        return self._loss(2, flow, (T_in, T_out), p_in, coolant)

    def _loss(
        self, side: int, flow: ArrayLike, T: tuple[ArrayLike, ArrayLike], p_in: ArrayLike, coolant: Coolant | None
    ) -> Loss:
        own, _ = self._sides(side)
        first, last = (np.asarray(x, dtype=float) for x in T)
        G, friction = self._friction(side, flow, 0.5 * (first + last), coolant)
        before, after = self._tank_flux(own, flow)
        head_in = before / _density(first, p_in, coolant)
        p = np.asarray(p_in, dtype=float) - head_in
        rho_in = _density(first, p, coolant)
        loss = np.zeros(np.broadcast_shapes(G.shape, rho_in.shape, last.shape))
        for _ in range(1 if coolant is not None else 8):  # each round gains the digits of loss over pressure
            left = p - loss
            if np.any(left < 0.3 * p):
                raise BadInput("so much flow cannot pass: the core would lose most of the pressure before it")
            rho_out = _density(last, left, coolant)
            loss = own.passes * np.asarray(core_loss(G, rho_in, rho_out, self._sigma(side), friction))
        head_out = after / _density(last, p - loss, coolant)
        return Loss(loss[()], head_in[()], head_out[()])

    def _tank_flux(self, own: CoreSide, flow: ArrayLike) -> tuple[Array, Array]:
        """Loss times density of both tanks, Pa kg/m3."""
        m = np.asarray(flow, dtype=float)
        if own.pipe_bore is None:
            return np.zeros_like(m), np.zeros_like(m)
        half = 0.5 * (m / (0.25 * np.pi * own.pipe_bore**2)) ** 2
        return own.tank_in * half, own.tank_out * half

    def throttling1(self, flow: ArrayLike, temperature: ArrayLike, coolant: Coolant | None = None) -> Number:
        """Loss of side 1 with its tanks, times density, at constant density, Pa kg/m3.

        For networks, which divide by the mean density themselves; the change of speed of a gas that is cooled
        or heated, which `loss1` has, is left out.
        """
        return self._throttling(1, flow, temperature, coolant)

    def throttling2(self, flow: ArrayLike, temperature: ArrayLike, coolant: Coolant | None = None) -> Number:
        """Loss of side 2 with its tanks, times density, at constant density, Pa kg/m3; as `throttling1`."""
        return self._throttling(2, flow, temperature, coolant)

    def _throttling(self, side: int, flow: ArrayLike, T: ArrayLike, coolant: Coolant | None) -> Number:
        own, _ = self._sides(side)
        G, friction = self._friction(side, flow, T, coolant)
        core = own.passes * np.asarray(core_loss(G, 1.0, 1.0, self._sigma(side), friction))
        return (core + sum(self._tank_flux(own, flow)))[()]

    # --- ranges --------------------------------------------------------------------------------------------------

    def reynolds1(self, flow: ArrayLike, temperature: ArrayLike, coolant: Coolant | None = None) -> Number:
        """Re of side 1 on its surface's reference length."""
        return self.side1.surface.reynolds(self._flux(1, flow), _transport(temperature, coolant)[0])

    def reynolds2(self, flow: ArrayLike, temperature: ArrayLike, coolant: Coolant | None = None) -> Number:
        """Re of side 2 on its surface's reference length."""
        return self.side2.surface.reynolds(self._flux(2, flow), _transport(temperature, coolant)[0])

    def extrapolated(
        self,
        stream1: tuple[ArrayLike, ArrayLike, Coolant | None],
        stream2: tuple[ArrayLike, ArrayLike, Coolant | None],
    ) -> list[str]:
        """One sentence for each number outside its correlation's range; streams as in `resistances`."""
        found = []
        for side, re, stream in ((self.side1, self.reynolds1, stream1), (self.side2, self.reynolds2, stream2)):
            found += side.surface.extrapolated(re(*stream), _transport(*stream[1:])[1])
        return found


def _transport(T: ArrayLike, coolant: Coolant | None) -> tuple[Array, Array, Array]:
    """Viscosity, Prandtl number, conductivity at T."""
    if coolant is None:
        return np.asarray(air.viscosity(T)), np.asarray(air.prandtl(T)), np.asarray(air.conductivity(T))
    mu, k = np.asarray(coolant.viscosity(T)), np.asarray(coolant.conductivity(T))
    return mu, mu * np.asarray(coolant.cp(T)) / k, k


def _density(T: ArrayLike, p: ArrayLike, coolant: Coolant | None) -> Array:
    return np.asarray(air.density(T, p) if coolant is None else coolant.density(T))
