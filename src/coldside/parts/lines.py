"""Lines: filter, charge pipe, coolant hose, throttle, plenum, valve. Specification, loss and heat.

What is here: the loss of each line at any flow, with its slope for the network solver, and the heat
conductances, masses and volumes of pipes and hoses.  Every loss is odd in flow (check valves apart),
rises strictly and has a finite slope above zero at rest.  What is not: the balance of flows, and the
cells into which a line is cut (`plant/`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from coldside.errors import require
from coldside.media import air
from coldside.parts import shielding
from coldside.parts.correlations import friction_factor, nusselt_tube
from coldside.parts.fields import bleed_field, given, height_field, pickup_field, surroundings_field
from coldside.units import Pressure


def shield_field() -> Any:
    """Key `shield`: what keeps heat away from a charge pipe or plenum."""
    words = "what shields it from heat: bright foil with an air gap, or an insulating wrap; none where pickup has it in"
    return given("choice", words, default="none", choices=shielding.SHIELDS)


@dataclass(frozen=True, kw_only=True)
class FilterSpec:
    """`kind = "filter"`: what lies before the compressor."""

    loss: float = given(
        "pressure_difference", "loss at bench_flow, clean", default=2000.0, sd_share=0.4, low=0.0, high=3e4
    )
    bench_flow: float | None = given(
        "mass_flow",
        "air flow at which the loss holds",
        default=None,
        low=1e-3,
        high=5.0,
        when_absent="the engine's own highest air flow",
    )
    bay_share: float = given(
        "share",
        "share of the bay's rise over ambient that reaches the air drawn in",
        default=0.10,
        sd=0.05,
        low=0.0,
        high=1.0,
    )
    pickup_at_rest: float | None = given(
        "temperature_difference",
        "air drawn in over ambient once the car has stood still for long with a warm engine, on a day of 10 degC; "
        "takes the place of bay_share (one car, measured: 17 K after ten minutes, on the way to some 35 K)",
        default=None,
        low=0.0,
        high=100.0,
        when_absent="bay_share of the bay's rise",
    )
    pickup_moving: float = given(
        "temperature_difference",
        "what is left of it at high road speed",
        default=2.8,
        sd=1.5,
        low=0.0,
        high=50.0,
    )
    pickup_speed: float = given(
        "speed",
        "road speed at which half of the difference between standing and moving is left",
        default=12.0 / 3.6,
        sd_share=0.4,
        low=0.3,
        high=60.0,
    )
    pickup_lag: float = given(
        "time",
        "how fast it follows, standing still; the faster the car, the faster",
        default=1200.0,
        sd_share=0.4,
        low=1.0,
        high=10000.0,
    )
    pickup_warming: float = given(
        "time",
        "time of running at 1500 rpm after a cold start in which two thirds of it come to be",
        default=870.0,
        sd_share=0.2,
        low=10.0,
        high=10000.0,
    )
    pickup_day: float = given(
        "share",
        "how much more of it there is on a day 10 K warmer",
        default=0.07,
        sd=0.03,
        low=-0.5,
        high=1.0,
    )

    sides = ("charge",)


@dataclass(frozen=True, kw_only=True)
class PipeSpec:
    """`kind = "pipe"`: charge pipe with its metal."""

    length: float = given("length", "length along the centre line", low=0.01, high=20.0)
    bore: float = given("length", "inside diameter", low=0.01, high=0.3)
    wall: float = given("length", "wall thickness", default=1.6e-3, sd_share=0.2, low=2e-4, high=2e-2)
    metal_mass: float | None = given(
        "mass",
        "mass of metal",
        default=None,
        low=0.0,
        high=100.0,
        when_absent="aluminium tube of that length, bore and wall",
    )
    losses: float = given(
        "number",
        "sum of loss coefficients of bends, couplers, reducers on the pipe's own velocity head: a bend of 90 degrees "
        "0.2 (its radius 1.5 bores or more) to 0.3 (1 bore), a mitred one 1.2",
        default=0.6,
        sd_share=0.3,
        low=0.0,
        high=50.0,
    )
    pickup: float | None = pickup_field("pipe", None, when_absent="10 W/K per m2 of outside surface, +- 50 %")
    shield: str = shield_field()
    surroundings: str = surroundings_field("bay")
    coupler_rating: Pressure | None = given(
        "pressure",
        "working pressure that the weakest coupler of this pipe is rated for",
        default=None,
        when_absent="not known: not checked",
    )

    sides = ("charge",)


@dataclass(frozen=True, kw_only=True)
class HoseSpec:
    """`kind = "hose"`: coolant hose or hard line."""

    length: float = given("length", "length along the centre line", low=0.01, high=50.0)
    bore: float = given("length", "inside diameter of the smallest long stretch", low=2e-3, high=0.1)
    wall: float = given("length", "wall thickness", default=4.5e-3, sd_share=0.2, low=2e-4, high=2e-2)
    losses: float = given(
        "number",
        "sum of loss coefficients of bends, barbs, couplings on the hose's own velocity head: a swept bend of 90 "
        "degrees 0.3, a screwed elbow 0.7, straight through a tee 0.5, into its branch or a sharp corner 1.5",
        default=2.0,
        sd_share=0.4,
        low=0.0,
        high=200.0,
    )
    pickup: float | None = pickup_field(
        "coolant", None, when_absent="rubber wall 0.25 W/(m K), 12 W/(m2 K) outside, +- 50 %"
    )
    surroundings: str = surroundings_field("bay")
    height: float | None = height_field(
        "height of its middle over the car's datum", "not known: no check of trapped air"
    )
    high_point: float | None = height_field("highest point over the car's datum", "its height")
    bleed: bool = bleed_field()

    sides = ("coolant",)


@dataclass(frozen=True, kw_only=True)
class ThrottleSpec:
    """`kind = "throttle"`: loss wide open; part load is what the plenum target leaves."""

    loss: float = given(
        "pressure_difference", "loss wide open at bench_flow", default=1500.0, sd_share=0.4, low=0.0, high=3e4
    )
    bench_flow: float | None = given(
        "mass_flow",
        "air flow at which the loss holds",
        default=None,
        low=1e-3,
        high=5.0,
        when_absent="the engine's own highest air flow",
    )

    sides = ("charge",)


@dataclass(frozen=True, kw_only=True)
class PlenumSpec:
    """`kind = "plenum"`: inlet manifold with its metal."""

    metal_mass: float = given("mass", "metal that the charge wets", default=4.0, sd_share=0.4, low=0.1, high=100.0)
    bench_flow: float | None = given(
        "mass_flow",
        "charge flow at which charge_conductance holds",
        default=None,
        low=1e-3,
        high=5.0,
        when_absent="the engine's own highest air flow",
    )
    charge_conductance: float = given(
        "conductance",
        "heat conductance from charge to plenum metal at bench_flow",
        default=25.0,
        sd_share=0.4,
        low=0.0,
        high=500.0,
    )
    pickup: float = pickup_field("plenum metal", 5.0)
    surroundings: str = surroundings_field("engine", "what it takes heat from")
    shield: str = shield_field()
    spacer: float = given(
        "length", "thickness of a heat spacer between plenum and engine, 0 for none", default=0.0, low=0.0, high=0.05
    )
    spacer_area: float = given(
        "area", "contact area of the flange that the spacer fills", default=6e-3, sd_share=0.4, low=1e-4, high=0.1
    )
    spacer_material: str = given(
        "choice", "what the spacer is made of", default="phenolic", choices=tuple(shielding.SPACERS)
    )
    volume: float | None = given(
        "volume",
        "air that the plenum and its runners hold",
        default=None,
        low=1e-5,
        high=0.1,
        when_absent="as much as the engine's swept volume, +- 40 %",
    )
    leak_test_from: Pressure | None = given(
        "pressure",
        "pressure-decay test of the charge tract: pressure at its start",
        default=None,
        when_absent="no test: the tract is taken as tight",
    )
    leak_test_to: Pressure | None = given(
        "pressure",
        "pressure-decay test of the charge tract: pressure at its end",
        default=None,
        when_absent="no test",
    )
    leak_test_time: float | None = given(
        "time",
        "pressure-decay test of the charge tract: how long the fall took",
        default=None,
        low=0.1,
        high=1e5,
        when_absent="no test",
    )
    leak_test_volume: float | None = given(
        "volume",
        "pressure-decay test of the charge tract: volume that was under pressure",
        default=None,
        low=1e-4,
        high=1.0,
        when_absent="the charge tract's own, from compressor to engine",
    )

    sides = ("charge",)


@dataclass(frozen=True, kw_only=True)
class ValveSpec:
    """`kind = "valve"`: coolant valve, restrictor or check valve."""

    bore: float = given("length", "inside diameter", low=2e-3, high=0.1)
    losses: float = given(
        "number", "loss coefficient on the velocity head in its bore", default=0.1, sd_share=0.5, low=0.0, high=1000.0
    )
    check: bool = given("flag", "true if it lets coolant through one way only", default=False)
    height: float | None = height_field()
    bleed: bool = bleed_field()

    sides = ("coolant",)


@dataclass(frozen=True, kw_only=True)
class ThermostatSpec:
    """`kind = "thermostat"`: a valve in a loop that opens as the coolant it stands in warms."""

    bore: float = given("length", "inside diameter when fully open", low=2e-3, high=0.1)
    losses: float = given(
        "number",
        "loss coefficient, fully open, on the velocity head in its bore",
        default=3.0,
        sd_share=0.5,
        low=0.0,
        high=1000.0,
    )
    opens_at: float = given(
        "temperature", "coolant temperature at which it starts to open (stamped on it)", low=253.15, high=423.15
    )
    full_at: float | None = given(
        "temperature",
        "coolant temperature at which it is fully open",
        default=None,
        low=253.15,
        high=433.15,
        when_absent="12 K above opens_at",
    )
    leak: float = given(
        "share",
        "opening left when shut (jiggle pin, worn seat), as a share of the full opening",
        default=0.005,
        sd_share=0.5,
        low=1e-4,
        high=1.0,
    )
    height: float | None = height_field()
    bleed: bool = bleed_field()

    sides = ("coolant",)
    coolant_volume = 5e-5  # m3 in its body, as of a valve


SMOOTH = 1.5e-6  # m, roughness of drawn tube and smooth rubber (from memory)
ALUMINIUM_DENSITY = 2700.0  # kg/m3, handbook, from memory
RUBBER_DENSITY = 1150.0  # kg/m3, handbook, from memory
RUBBER_HEAT = 1900.0  # J/(kg K), handbook, from memory
RUBBER_CONDUCTIVITY = 0.25  # W/(m K), 0.16 to 0.3 in handbooks, from memory
HOSE_OUTSIDE_FILM = 12.0  # W/(m2 K), between still and moving bay air with radiation (tune)
PIPE_OUTSIDE_FILM = shielding.OUTSIDE_FILM  # W/(m2 K), the same for bare metal (tune)
FLANGE_SHARE = 0.7  # of a plenum's pick-up that crosses its flange to the engine (own)
SHUT_SLOPE = 1e13  # Pa s/m3 of a shut check valve: 50 kPa leak 5e-9 m3/s (0.3 mL/min)
FLOOR_SHARE = 1e-3  # linear share of a quadratic loss at its bench flow: keeps the slope above zero at rest

Loss = tuple[np.ndarray, np.ndarray]  # loss [Pa] and its derivative by flow


def _tube(
    V: np.ndarray, density: np.ndarray | float, viscosity: np.ndarray | float, size: tuple[float, float], K: float
) -> Loss:
    """Loss and its derivative by velocity of a tube of `size` (length, bore) with fittings of sum `K`.

    dp = (f L/D + K) rho V|V|/2 with Churchill's Darcy f (1977), which is 64/Re in the laminar limit;
    written with f Re, so that it stays finite at rest.
    """
    length, bore = size
    Re = np.maximum(np.abs(V) * density * bore / viscosity, 1.0)  # f Re = 64 below
    step = 1e-4  # relative; the central difference of ln(f Re) is then good to 1e-7
    up, down = Re * (1 + step), Re * (1 - step)
    near = np.stack([Re, up, down])
    f_Re, above, below = friction_factor(near, SMOOTH / bore) * near
    gain = np.log(above) - np.log(below)
    power = np.where(Re > 1.0, gain / (np.log(up) - np.log(down)), 0.0)
    rubbing = f_Re * viscosity * length / (2 * bore**2)
    loss = rubbing * V + K * density * V * np.abs(V) / 2
    return loss, rubbing * (1 + power) + K * density * np.abs(V)


def _check_fluid(density: np.ndarray | float, viscosity: np.ndarray | float) -> None:
    require("density", density, low=0.0, open_low=True)
    require("viscosity", viscosity, low=0.0, open_low=True)


def hose_loss(
    spec: HoseSpec, Q: np.ndarray | float, density: np.ndarray | float, viscosity: np.ndarray | float
) -> Loss:
    """Loss of a coolant hose [Pa] and its derivative by volume flow [Pa s/m3].

    `Q` [m3/s] of any sign, `density` [kg/m3], `viscosity` [Pa s].  Churchill (1977) friction along
    the centre line in a smooth bore, plus the sum of loss coefficients on the hose's own velocity
    head; +- 30 % between Re 2000 and 4000.  Raises `BadInput` on a density or viscosity <= 0.
    """
    _check_fluid(density, viscosity)
    area = np.pi * spec.bore**2 / 4
    loss, slope = _tube(np.asarray(Q, dtype=float) / area, density, viscosity, (spec.length, spec.bore), spec.losses)
    return loss, slope / area


def pipe_loss(
    spec: PipeSpec, m_dot: np.ndarray | float, density: np.ndarray | float, viscosity: np.ndarray | float
) -> Loss:
    """Loss of a charge pipe [Pa] and its derivative by mass flow [Pa s/kg]; as `hose_loss`, smooth tube."""
    _check_fluid(density, viscosity)
    flux = np.asarray(density, dtype=float) * (np.pi * spec.bore**2 / 4)
    loss, slope = _tube(
        np.asarray(m_dot, dtype=float) / flux, density, viscosity, (spec.length, spec.bore), spec.losses
    )
    return loss, slope / flux


def valve_loss(
    spec: ValveSpec, Q: np.ndarray | float, density: np.ndarray | float, viscosity: np.ndarray | float
) -> Loss:
    """Loss of a coolant valve [Pa] and its derivative by volume flow [Pa s/m3].

    (K + 64/Re) rho V|V|/2 in its own bore: the loss coefficient of a fitting grows as K1/Re at low Re
    (form of Hooper 1981, from memory; 64 is a smooth passage one bore long).  A check valve shuts
    against reverse flow up to a leak of slope `SHUT_SLOPE`.
    """
    _check_fluid(density, viscosity)
    Q = np.asarray(Q, dtype=float)
    area = np.pi * spec.bore**2 / 4
    V, creep = Q / area, 64 * np.asarray(viscosity, dtype=float) / (density * spec.bore)
    loss = density * V * (spec.losses * np.abs(V) + creep) / 2
    slope = density * (spec.losses * np.abs(V) + creep / 2) / area
    if not spec.check:
        return loss, slope
    shut = Q < 0
    return np.where(shut, SHUT_SLOPE * Q, loss), np.where(shut, SHUT_SLOPE, slope)


OPENING = 12.0  # K over which a wax thermostat opens (common practice, no source: 8 to 15)


def thermostat_opening(spec: ThermostatSpec, T: np.ndarray | float) -> np.ndarray:
    """Share of the full opening at coolant temperature `T` [K]: `leak` below `opens_at`, 1 from `full_at` on.

    Linear between (common practice, no source); the lag and the hysteresis of the wax are left out.
    """
    full = spec.full_at if spec.full_at is not None else spec.opens_at + OPENING
    travel = np.clip((np.asarray(T, dtype=float) - spec.opens_at) / (full - spec.opens_at), 0.0, 1.0)
    return spec.leak + (1 - spec.leak) * travel


def thermostat_loss(
    spec: ThermostatSpec,
    Q: np.ndarray | float,
    density: np.ndarray | float,
    viscosity: np.ndarray | float,
    T: np.ndarray | float,
) -> Loss:
    """Loss of a thermostat [Pa] and its derivative by volume flow [Pa s/m3] at coolant temperature `T` [K].

    As `valve_loss`, with the velocity in the open share of the bore.
    """
    opening = thermostat_opening(spec, T)
    valve = ValveSpec(bore=spec.bore, losses=spec.losses)
    loss, slope = valve_loss(valve, np.asarray(Q, dtype=float) / opening, density, viscosity)
    return loss, slope / opening


def quadratic_loss(
    loss0: float, m0: float, density0: float, m_dot: np.ndarray | float, density: np.ndarray | float
) -> Loss:
    """Loss [Pa] of a filter or throttle known at one point, and its derivative by mass flow [Pa s/kg].

    loss0 (density0/density) (m/m0)^2, odd in flow, with a linear share of `FLOOR_SHARE`; exact at the
    known point (`m0` [kg/s], `density0` [kg/m3]).
    """
    require("flow of the known loss", m0, low=0.0, open_low=True)
    require("density", density, low=0.0, open_low=True)
    x, scale = np.asarray(m_dot, dtype=float) / m0, loss0 * density0 / np.asarray(density, dtype=float)
    loss = scale * x * ((1 - FLOOR_SHARE) * np.abs(x) + FLOOR_SHARE)
    return loss, scale * (2 * (1 - FLOOR_SHARE) * np.abs(x) + FLOOR_SHARE) / m0


def bench_loss(
    loss0: float,
    flow0: float,
    exponent: float,
    flow: np.ndarray | float,
    density_ratio: np.ndarray | float = 1.0,
    viscosity_ratio: np.ndarray | float = 1.0,
) -> Loss:
    """Loss [Pa] of a core known at one bench point, and its derivative by volume flow [Pa s/m3].

    One point is split into a laminar share (2 - n), which scales with viscosity, and a quadratic
    share (n - 1), which scales with density, so that the local exponent at `flow0` [m3/s] is n =
    `exponent`, 1 to 2; ratios are actual over bench.  Odd in `flow`.  The form a Q + b Q^2 of a
    core's loss is common practice, no source; the split is ours.
    """
    require("bench flow", flow0, low=0.0, open_low=True)
    require("exponent", exponent, low=1.0, high=2.0)
    laminar = max(2 - exponent, FLOOR_SHARE)
    a, b = loss0 * laminar * np.asarray(viscosity_ratio, dtype=float), loss0 * (1 - laminar) * density_ratio
    x = np.asarray(flow, dtype=float) / flow0
    return x * (a + b * np.abs(x)), (a + 2 * b * np.abs(x)) / flow0


def pipe_conductance(spec: PipeSpec, m_dot: np.ndarray | float, T: np.ndarray | float) -> np.ndarray:
    """Conductance from the charge to the wall of the whole pipe [W/K], at `m_dot` [kg/s] and gas at `T` [K]."""
    mu, k = air.viscosity(T), air.conductivity(T)
    Re = 4 * np.abs(np.asarray(m_dot, dtype=float)) / (np.pi * spec.bore * mu)
    return nusselt_tube(np.maximum(Re, 1.0), air.prandtl(T), spec.length / spec.bore) * k * np.pi * spec.length


def pipe_metal_mass(spec: PipeSpec) -> float:
    """Mass of the pipe's metal [kg]; aluminium of its length, bore and wall when not given."""
    if spec.metal_mass is not None:
        return spec.metal_mass
    return ALUMINIUM_DENSITY * np.pi * (spec.bore + spec.wall) * spec.wall * spec.length


def bare_pickup(spec: PipeSpec) -> float:
    """Conductance from the surroundings to the metal of a pipe without a shield [W/K]."""
    if spec.pickup is not None:
        return spec.pickup
    return float(PIPE_OUTSIDE_FILM * np.pi * (spec.bore + 2 * spec.wall) * spec.length)


def pipe_pickup(spec: PipeSpec) -> float:
    """Conductance from the surroundings to the pipe's metal [W/K], lessened by its shield."""
    return shielding.shielded_pickup(bare_pickup(spec), spec.shield)


def plenum_pickup(spec: PlenumSpec) -> float:
    """Conductance from the surroundings to the plenum's metal [W/K], lessened by its shield and spacer.

    `FLANGE_SHARE` of the pick-up of a plenum on the engine crosses its flange and meets the spacer; the rest,
    and all of it where the plenum stands apart from the engine, comes through air and meets the shield.
    """
    share = FLANGE_SHARE if spec.surroundings == "engine" else 0.0
    spacer = shielding.spacer_conductance(spec.spacer, spec.spacer_area, spec.spacer_material)
    return shielding.shielded_pickup(spec.pickup, spec.shield, share, spacer)


def hose_conductance(
    spec: HoseSpec,
    Q: np.ndarray | float,
    density: np.ndarray | float,
    viscosity: np.ndarray | float,
    conductivity: np.ndarray | float,
    cp: np.ndarray | float,
) -> np.ndarray:
    """Conductance from the coolant to the wall of the whole hose [W/K] at `Q` [m3/s]; properties of the coolant, SI."""
    _check_fluid(density, viscosity)
    Re = 4 * np.abs(np.asarray(Q, dtype=float)) * density / (np.pi * spec.bore * np.asarray(viscosity, dtype=float))
    Pr = np.asarray(cp, dtype=float) * viscosity / conductivity
    return nusselt_tube(np.maximum(Re, 1.0), Pr, spec.length / spec.bore) * conductivity * np.pi * spec.length


def hose_pickup(spec: HoseSpec) -> float:
    """Conductance from the surroundings to the inside of the hose wall [W/K].

    Rubber wall and outside film in series (cylinder, textbook) when not given.  A given value is
    from the surroundings to the coolant; the inner film is left out of it, being over ten times larger.
    """
    if spec.pickup is not None:
        return spec.pickup
    outside = spec.bore + 2 * spec.wall
    wall = np.log(outside / spec.bore) / (2 * np.pi * RUBBER_CONDUCTIVITY)
    return float(spec.length / (wall + 1 / (HOSE_OUTSIDE_FILM * np.pi * outside)))


def hose_wall_capacity(spec: HoseSpec) -> float:
    """Heat capacity of the hose wall [J/K], rubber."""
    return RUBBER_DENSITY * RUBBER_HEAT * np.pi * (spec.bore + spec.wall) * spec.wall * spec.length


def hose_volume(spec: HoseSpec) -> float:
    """Coolant held by the hose [m3]."""
    return np.pi * spec.bore**2 / 4 * spec.length
