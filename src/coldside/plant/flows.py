"""How much flows where: coolant in loops, air in ducts, charge between parallel branches.

What is here: the networks of a build with the losses of its parts, solved for many operating points
at once.  What is not: the solver (`network.py`), the losses themselves (`parts/`), the charge side's
pressure balance (`charge.py`) and the tables made from these flows (`assemble.py`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from coldside.build.model import Build, Duct, Loop, Parallel, Path, names_on
from coldside.errors import BadInput
from coldside.media import air
from coldside.media.coolants import Coolant, parse_coolant
from coldside.parts import airflow, chiller, jacket, lines, oil_cooler, pump
from coldside.parts.airflow import FanSpec
from coldside.parts.chiller import ChillerSpec
from coldside.parts.core_losses import charge_loss, coolant_loss, cooling_loss
from coldside.parts.exchanger import AirCoreSpec, ExchangerSpec, WaterCoreSpec
from coldside.parts.jacket import EngineJacketSpec
from coldside.parts.lines import FilterSpec, HoseSpec, PipeSpec, ThermostatSpec, ThrottleSpec, ValveSpec
from coldside.parts.oil_cooler import OilCoolerSideSpec
from coldside.parts.pump import PumpSpec
from coldside.parts.sensor import SensorSpec
from coldside.plant.network import LinkLoss, Network, network_of, solve
from coldside.plant.suction import inlet_over_surface, net_suction_head, surface_of
from coldside.units import STANDARD_PRESSURE

# slope of a part that has no loss, so that its flow stays defined; under 1e-4 of any loss that matters
NO_LOSS_COOLANT, NO_LOSS_AIR, NO_LOSS_CHARGE = 1e3, 1e-2, 0.5  # Pa s/m3, Pa s/kg, Pa s/m3 (loss times density)
HALVINGS = 24  # steps in which cavitating flows are found: 1e-7 of the head
BYPASS = "beside "  # a duct's air that passes beside a part which covers only a share of the next face
LEAK = BYPASS + "faces of "  # before a duct's name: its air that passes beside all its faces, through the gaps


@dataclass(frozen=True)
class Reading:
    """Where a sensor stands: right behind part `behind` (None: at the path's start).

    `mixed` when the part before it is a group: it then reads what leaves the group's mixer, which
    `behind`, one of the group's last parts, flows into.
    """

    sensor: str
    behind: str | None
    mixed: bool


def without_sensors(
    path: Path, parts: Mapping[str, object], before: str | Parallel | None = None
) -> tuple[Path, list[Reading]]:
    """A path without its sensors, and where each of them stands.

    `before` is what a branch's stream leaves before it enters the branch: a sensor at the head of a
    branch reads what enters its group.
    """
    kept: list[str | Parallel] = []
    sensors: list[Reading] = []
    for item in path:
        upstream = kept[-1] if kept else before
        if isinstance(item, Parallel):
            branches = []
            for branch in item.branches:
                inner, found = without_sensors(branch, parts, upstream)
                branches.append(inner)
                sensors.extend(found)
            kept.append(Parallel(tuple(branches)))
        elif isinstance(parts[item], SensorSpec):
            sensors.append(Reading(item, _last_name(upstream), isinstance(upstream, Parallel)))
        else:
            kept.append(item)
    return tuple(kept), sensors


def _last_name(item: str | Parallel | None) -> str | None:
    if item is None or isinstance(item, str):
        return item
    return _last_name(item.branches[0][-1])


# --- loops ---------------------------------------------------------------------------------------


@dataclass(frozen=True)
class LoopFlows:
    """One loop's network; `pumps` its devices with a command (pumps and chillers) in link order.

    `surface_pressure` [Pa absolute] stands over the coolant in its reservoir: ambient, and what its cap holds.
    """

    loop: Loop
    coolant: Coolant
    network: Network
    sensors: tuple[Reading, ...]
    pumps: tuple[str, ...]
    surface_pressure: float = STANDARD_PRESSURE

    def flow(
        self, build: Build, temperature: np.ndarray, command: Mapping[str, np.ndarray]
    ) -> tuple[np.ndarray, np.ndarray]:
        """Volume flow [m3/s] and devices' heat [W] in every link, (points, links), at coolant `temperature` [K].

        `command` holds for each device the share of full speed at every point.  A chiller's heat is below 0.
        Pumps whose `npsh_required` is given lose head where the suction leaves them less.
        """
        T = np.asarray(temperature, dtype=float)
        q, kept = self._balance(build, T, command)
        heat = np.zeros_like(q)
        density = self.coolant.density(T)
        for k, name in enumerate(self.network.names):
            spec = build.parts[name]
            if isinstance(spec, PumpSpec):
                speed = pump.speed_of(spec, command[name])
                rise, _ = pump.pressure_rise(spec, q[:, k], speed, density, kept.get(name, 1.0))
                heat[:, k] = np.where(speed > 0.0, np.abs(pump.electrical_power(spec, q[:, k], rise)), 0.0)
            elif isinstance(spec, ChillerSpec):
                heat[:, k] = -chiller.cooling(spec, command[name], q[:, k], T, self.coolant)
        return q, heat

    def suction(
        self, build: Build, temperature: np.ndarray, command: Mapping[str, np.ndarray]
    ) -> tuple[dict[str, np.ndarray], dict[str, np.ndarray]]:
        """Net positive suction head available [m], and gauge pressure at the inlet over the surface's [Pa], by pump.

        At the flows of `flow`; both empty for a loop without a reservoir.
        """
        T = np.asarray(temperature, dtype=float)
        q, kept = self._balance(build, T, command)
        losses = self._losses(build, T, command, kept)
        over = inlet_over_surface(build, self.network, losses, q, self.coolant.density(T))
        if over is None:
            return {}, {}
        return net_suction_head(over, self.coolant, T, self.surface_pressure), over

    def _balance(
        self, build: Build, T: np.ndarray, command: Mapping[str, np.ndarray]
    ) -> tuple[np.ndarray, dict[str, np.ndarray]]:
        """Flow of every link, and the share of its head that suction leaves each pump that is sensitive to it."""
        movers = [name for name in self.pumps if isinstance(build.parts[name], PumpSpec)]
        scale = max(max(_largest_flow(build.parts[name]) for name in movers), 1e-5) if movers else 1e-4
        q = np.zeros((len(T), len(self.network.links)))
        moving = np.zeros(len(T), dtype=bool)
        for name in movers:
            moving |= pump.speed_of(build.parts[name], command[name]) > 0.0
        kept: dict[str, np.ndarray] = {}
        if not moving.any():
            return q, kept
        some, points = {k: np.asarray(v)[moving] for k, v in command.items()}, int(moving.sum())
        q[moving] = solve(self.network, self._losses(build, T[moving], some, {}), points, scale)
        sensitive = [name for name in movers if build.parts[name].npsh_required is not None]
        if sensitive and surface_of(build, self.network) is not None:
            q[moving], shares = self._cavitating(build, T[moving], some, (q[moving], scale), sensitive)
            for name, share in shares.items():
                kept[name] = np.ones(len(T))
                kept[name][moving] = share
        return q, kept

    def _cavitating(
        self,
        build: Build,
        T: np.ndarray,
        command: Mapping[str, np.ndarray],
        start: tuple[np.ndarray, float],
        sensitive: Sequence[str],
    ) -> tuple[np.ndarray, dict[str, np.ndarray]]:
        """Flows at which every pump keeps the share of its head that the suction at those flows leaves it.

        The share falls with flow and the flow rises with the share, so there is one answer: halving, where
        all pumps of a point move together.
        """
        q, scale = start
        speed = {name: pump.speed_of(build.parts[name], command[name]) for name in sensitive}

        def left(q: np.ndarray, kept: Mapping[str, np.ndarray]) -> dict[str, np.ndarray]:
            losses = self._losses(build, T, command, kept)
            over = inlet_over_surface(build, self.network, losses, q, self.coolant.density(T))
            assert over is not None  # there is a reservoir
            head = net_suction_head(over, self.coolant, T, self.surface_pressure)
            return {name: pump.suction_share(build.parts[name], head[name], speed[name]) for name in sensitive}

        kept = {name: np.ones(len(T)) for name in sensitive}
        found = left(q, kept)
        short = np.any([found[name] < 1.0 for name in sensitive], axis=0)
        low = {name: np.where(short, 0.0, 1.0) for name in sensitive}
        high = {name: np.ones(len(T)) for name in sensitive}
        for _ in range(HALVINGS if short.any() else 0):
            kept = {name: 0.5 * (low[name] + high[name]) for name in sensitive}
            q = solve(self.network, self._losses(build, T, command, kept), len(T), scale)
            found = left(q, kept)
            for name in sensitive:
                more = found[name] > kept[name]
                low[name], high[name] = np.where(more, kept[name], low[name]), np.where(more, high[name], kept[name])
        return q, kept

    def _losses(
        self, build: Build, T: np.ndarray, command: Mapping[str, np.ndarray], kept: Mapping[str, np.ndarray]
    ) -> list[LinkLoss]:
        liquid = self.coolant.density(T), self.coolant.viscosity(T)
        return [self._loss(build, name, T, liquid, command, kept.get(name, 1.0)) for name in self.network.names]

    def _loss(
        self,
        build: Build,
        name: str,
        T: np.ndarray,
        liquid: tuple[Any, Any],
        command: Mapping[str, np.ndarray],
        kept: np.ndarray | float,
    ) -> LinkLoss:
        """Loss of one link; `liquid` is density and viscosity at `T`."""
        spec = build.parts[name]
        density, viscosity = liquid
        if isinstance(spec, PumpSpec):
            speed = pump.speed_of(spec, command[name])

            def lift(q: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
                rise, slope = pump.pressure_rise(spec, q, speed, density, kept)
                return -rise, -slope

            return lift
        if isinstance(spec, ChillerSpec):
            return lambda q: chiller.chiller_loss(spec, q, density, viscosity)
        if isinstance(spec, HoseSpec):
            return lambda q: lines.hose_loss(spec, q, density, viscosity)
        if isinstance(spec, ValveSpec):
            return lambda q: lines.valve_loss(spec, q, density, viscosity)
        if isinstance(spec, ThermostatSpec):
            return lambda q: lines.thermostat_loss(spec, q, density, viscosity, T)
        if isinstance(spec, OilCoolerSideSpec):
            return lambda q: oil_cooler.side_loss(spec, q, self.coolant, T)
        if isinstance(spec, EngineJacketSpec):
            return lambda q: jacket.jacket_loss(spec, q, self.coolant, T)
        if isinstance(spec, (WaterCoreSpec, ExchangerSpec)):
            return coolant_loss(spec, self.coolant, T)
        return lambda q: (NO_LOSS_COOLANT * q, np.full_like(q, NO_LOSS_COOLANT))  # a tank


def _largest_flow(spec: PumpSpec) -> float:
    curve = spec.curve or pump.GENERIC_CURVE
    return float(curve[-1][0])


def loop_flows(build: Build, loop: Loop, ambient_pressure: float = STANDARD_PRESSURE) -> LoopFlows:
    """The network of one loop of a build, in air of `ambient_pressure` [Pa absolute]; a cap adds what it holds."""
    path, sensors = without_sensors(loop.path, build.parts)
    network = network_of(path, closed=True)
    devices = tuple(name for name in network.names if isinstance(build.parts[name], (PumpSpec, ChillerSpec)))
    surface = ambient_pressure + (loop.cap_pressure or 0.0)
    return LoopFlows(loop, parse_coolant(loop.coolant), network, tuple(sensors), devices, surface)


# --- ducts ---------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Air:
    """Surroundings that a duct breathes: temperature [K], pressure [Pa absolute], humidity ratio."""

    temperature: float
    pressure: float
    humidity_ratio: float


@dataclass(frozen=True)
class DuctFlows:
    """One duct's network of air, in two forms.

    `network` is how air is followed thermally: one link a part, and a link beside every part that
    covers only a share of the next face.  `hydraulic` splits the face behind such a part into its
    covered and its open strip; `strips` says which hydraulic links add up to each thermal one, and
    `share` which part of a face a hydraulic link has.
    """

    duct: Duct
    network: Network
    hydraulic: Network
    strips: tuple[tuple[int, ...], ...]
    share: tuple[float, ...]
    fans: tuple[str, ...]
    height: float  # of the faces, for natural draught

    def flow(
        self, build: Build, speed: np.ndarray, temperature: np.ndarray, command: Mapping[str, np.ndarray], around: Air
    ) -> np.ndarray:
        """Air [kg/s] in every link of `network`, (points, links).

        `speed` [m/s] of the air arriving, `temperature` [K] of the air leaving the faces, `command`
        of each fan, arrays of one length.  Density: ambient at the inlet, mean in the faces, leaving
        at exit and fans (loop notes d3, d4); natural draught from the same densities (d6).
        """
        V, T_out = np.asarray(speed, dtype=float), np.asarray(temperature, dtype=float)
        cold = float(air.density(around.temperature, around.pressure, around.humidity_ratio))
        warm = air.density(T_out, around.pressure, around.humidity_ratio)
        mean = 0.5 * (cold + warm)
        spec = self.duct.spec
        warmth = airflow.draught(self.height, cold, np.minimum(warm, cold))
        driving = airflow.ram_pressure(spec, V, cold) + warmth

        # inlet and exit are one link that closes the path; the exit's warmer air is the smaller part of its loss
        def openings(m: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
            loss, slope = airflow.opening_loss(spec, m / mean, mean)
            return loss - driving + NO_LOSS_AIR * m, slope / mean + NO_LOSS_AIR

        def stream(m: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
            pressure, slope = airflow.stream_pressure(spec, m / cold, V, cold)
            return NO_LOSS_AIR * m - pressure - warmth, NO_LOSS_AIR - slope / cold

        def gaps(m: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
            loss, slope = airflow.leak_loss(spec, m / cold, cold)
            return loss, slope / cold

        losses = [
            gaps if link.name.startswith(LEAK) else self._loss(build, link.name, share, mean, warm, command)
            for link, share in zip(self.hydraulic.links, self.share, strict=True)
        ]
        scale = max((spec.inlet_area or spec.face_area or 0.0) * 10.0 * cold, 1e-3)
        m = solve(self.hydraulic, losses, len(V), scale, drive=stream if spec.inlet == "open" else openings)
        return np.stack([m[:, list(group)].sum(axis=1) for group in self.strips], axis=1)

    def _loss(
        self,
        build: Build,
        name: str,
        share: float,
        mean: np.ndarray,
        warm: np.ndarray,
        command: Mapping[str, np.ndarray],
    ) -> LinkLoss:
        spec = build.parts.get(name)
        if isinstance(spec, FanSpec):
            speed = np.asarray(command[name], dtype=float)

            def blow(m: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
                rise, slope = airflow.fan_rise(spec, m / warm, speed, warm)
                return -rise, -slope / warm

            return blow
        if isinstance(spec, (AirCoreSpec, ExchangerSpec)):
            return cooling_loss(spec, mean, share)
        return lambda m: (NO_LOSS_AIR * m, np.full_like(m, NO_LOSS_AIR))


def duct_flows(build: Build, duct: Duct) -> DuctFlows:
    """The network of one duct of a build, with the strips that partial covers make and the leak beside its faces."""
    thermal: list[str | Parallel] = []
    hydraulic: list[str | Parallel] = []
    strips: dict[str, tuple[str, ...]] = {}
    share: dict[str, float] = {}
    items = list(duct.path)
    position = 0
    while position < len(items):
        item = items[position]
        spec = build.parts.get(item) if isinstance(item, str) else None
        following = items[position + 1] if position + 1 < len(items) else None
        if isinstance(item, Parallel):
            _refuse_covers_in(build, item)
        covers = getattr(spec, "covers", 1.0)
        if isinstance(item, str) and covers < 1.0 and _is_face(build, following):
            assert isinstance(following, str)
            _refuse_covers_behind(build, item, following)
            covered, open_strip = following + " covered", following + " open"
            hydraulic.append(Parallel(((item, covered), (open_strip,))))
            thermal.extend([Parallel(((item,), (BYPASS + item,))), following])
            strips |= {item: (item,), BYPASS + item: (open_strip,), following: (covered, open_strip)}
            share |= {covered: covers, open_strip: 1.0 - covers}
            position += 2
            continue
        if covers < 1.0:
            raise BadInput(
                f"{item} covers {100.0 * covers:.0f} % of the next part's face, but no core or exchanger follows it",
                key=f"parts.{item}.covers",
            )
        hydraulic.append(item)
        thermal.append(item)
        position += 1
    if duct.spec.leak_area:
        thermal, hydraulic = (_beside_leak(build, items, LEAK + duct.name) for items in (thermal, hydraulic))
    network, flow_network = network_of(tuple(thermal), closed=False), network_of(tuple(hydraulic), closed=False)
    index = {name: k for k, name in enumerate(flow_network.names)}
    groups = tuple(tuple(index[n] for n in strips.get(name, (name,))) for name in network.names)
    # a strip is solved with the specification of the face it belongs to
    links = tuple(replace(link, name=_face_of(link.name)) for link in flow_network.links)
    shares = tuple(share.get(link.name, 1.0) for link in flow_network.links)
    faces = [
        build.parts[name] for name in network.names if isinstance(build.parts.get(name), (AirCoreSpec, ExchangerSpec))
    ]
    fans = tuple(name for name in network.names if isinstance(build.parts.get(name), FanSpec))
    return DuctFlows(
        duct, network, replace(flow_network, links=links), groups, shares, fans, max(face.face_height for face in faces)
    )


def _beside_leak(build: Build, items: list[str | Parallel], name: str) -> list[str | Parallel]:
    """The path with its leak beside everything from the first face to the last; fans before and behind see both."""
    faces = [
        any(isinstance(build.parts.get(_face_of(part)), (AirCoreSpec, ExchangerSpec)) for part in names_on((item,)))
        for item in items
    ]
    first, last = faces.index(True), len(faces) - faces[::-1].index(True)
    return [*items[:first], Parallel((tuple(items[first:last]), (name,))), *items[last:]]


def _refuse_covers_behind(build: Build, first: str, covered: str) -> None:
    """Raise where a face of which another covers a part would itself cover a part of the next."""
    covers = getattr(build.parts[covered], "covers", 1.0)
    if covers < 1.0:
        raise BadInput(
            f"{covered} cannot cover {100.0 * covers:.0f} % of the next part's face: {first} covers a part of its own, "
            f"and one part after the other is not reckoned with; take covers out of {first}, if it covers most of it",
            key=f"parts.{covered}.covers",
        )


def _refuse_covers_in(build: Build, group: Parallel) -> None:
    """A share of the next face has no meaning for parts that stand beside one another: their air mixes first."""
    for name in names_on((group,)):
        covers = getattr(build.parts.get(name), "covers", 1.0)
        if covers < 1.0:
            raise BadInput(
                f"{name} stands in a group of its duct, so it cannot cover {100.0 * covers:.0f} % of the next part's "
                "face: the air of a group mixes before the next part; leave covers out, or give each its own duct",
                key=f"parts.{name}.covers",
            )


def _is_face(build: Build, item: str | Parallel | None) -> bool:
    return isinstance(item, str) and isinstance(build.parts[item], (AirCoreSpec, ExchangerSpec))


def _face_of(name: str) -> str:
    return name.removesuffix(" covered").removesuffix(" open")


# --- charge side ---------------------------------------------------------------------------------

# loss times mean density [Pa kg/m3] and its slope, against flow [kg/s]
ChargeLoss = Callable[[np.ndarray], tuple[np.ndarray, np.ndarray]]
CHARGE_AIR = (
    360.0,
    1.2,
)  # K, kg/m3: where friction of charge pipes takes its viscosity; loss x density hardly moves with either


def charge_part_loss(spec: object, peak_flow: float) -> ChargeLoss:
    """Loss of one charge part times the density of its air, as a function of flow.

    `peak_flow` [kg/s] stands for a bench flow that was not given.
    """
    T, rho = CHARGE_AIR
    if isinstance(spec, PipeSpec):
        mu = float(air.viscosity(T))
        return lambda m: _scaled(lines.pipe_loss(spec, m, rho, mu), rho)
    if isinstance(spec, (FilterSpec, ThrottleSpec)):
        bench, loss = spec.bench_flow or peak_flow, spec.loss
        # a stated loss belongs to air as it is there: ambient before the compressor, boosted at the throttle
        rho0 = 1.18 if isinstance(spec, FilterSpec) else 2.1
        return lambda m: _scaled(lines.quadratic_loss(loss, bench, rho0, m, rho), rho)
    if isinstance(spec, (WaterCoreSpec, AirCoreSpec)):
        return charge_loss(spec)
    return lambda m: (NO_LOSS_CHARGE * m, np.full_like(m, NO_LOSS_CHARGE))


def _rising(loss: ChargeLoss) -> ChargeLoss:
    """The loss with a trace of slope, for parts stated to lose nothing."""

    def risen(m: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        value, slope = loss(m)
        return value + NO_LOSS_CHARGE * m, slope + NO_LOSS_CHARGE

    return risen


def _scaled(pair: tuple[np.ndarray, np.ndarray], factor: float) -> tuple[np.ndarray, np.ndarray]:
    return pair[0] * factor, pair[1] * factor


def charge_split(
    build: Build, path: Path, flow: np.ndarray, peak_flow: float
) -> tuple[Network, np.ndarray, np.ndarray]:
    """Network of a charge path without sensors, flow in its links, and loss times density end to end.

    `flow` [kg/s] enters the path, array of points; returns flows (points, links) and losses (points,).
    """
    network = network_of(path, closed=False)
    losses = [_rising(charge_part_loss(build.parts[name], peak_flow)) for name in network.names]
    whole = np.asarray(flow, dtype=float)
    if len(network.links) == network.nodes - 1:  # one after another: nothing to share
        m = np.repeat(whole[:, None], len(network.links), axis=1)
    else:
        m = solve(network, losses, len(flow), max(float(np.max(flow)), 1e-3), through=whole)
    total = np.zeros(len(flow))
    for k in _one_way_through(network):
        total += losses[k](m[:, k])[0]
    return network, m, total


def _one_way_through(network: Network) -> Sequence[int]:
    """Links of any one way from node 0 to the outlet; every way loses the same."""
    here, way = 0, []
    while here != network.outlet:
        k = next(i for i, link in enumerate(network.links) if link.start == here)
        way.append(k)
        here = network.links[k].end
    return way
