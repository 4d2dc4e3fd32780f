"""Filling a loop: how much goes in, how much it grows, where air stays, and what stands at the pump's inlet.

What is here: `filling`, a walk of one loop's parts and their heights, and its figures.  What is not: the
words (`judge/`), and what a session does to the loop.  Everything that needs a height says nothing where
heights are not given.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from coldside.build.model import Build
from coldside.errors import BadInput
from coldside.media.coolants import Coolant
from coldside.parts import lines
from coldside.parts.jacket import COOLANT_SIDE
from coldside.parts.lines import HoseSpec, ThermostatSpec, ValveSpec
from coldside.parts.pump import GRAVITY, PumpSpec
from coldside.parts.reservoir import ICE_DENSITY, ReservoirSpec
from coldside.plant.flows import LoopFlows, loop_flows
from coldside.plant.network import Network
from coldside.plant.suction import rise_to, surface_of
from coldside.units import STANDARD_PRESSURE

VALVE_VOLUME = 5e-5  # m3 of coolant in the body of a valve or thermostat
FILLED_AT = 293.15  # K, at which a loop is filled
HOTTEST = {"charge": 343.15, "engine": 383.15, "oil": 413.15}  # K, that a loop may reach (common practice, no source)
LEVEL = 0.005  # m, by which a place must stand over its neighbours to hold air
MARGIN, MARGIN_SHARE = 0.5, 1.5  # NPSH available over required: m, or as a factor (common practice, no source)


def coolant_held(spec: object) -> float:
    """Coolant that a part of a loop holds, m3; of a reservoir its fill."""
    if isinstance(spec, HoseSpec):
        return lines.hose_volume(spec)
    if isinstance(spec, ReservoirSpec):
        return spec.volume
    if isinstance(spec, ValveSpec | ThermostatSpec):
        return VALVE_VOLUME
    return float(getattr(spec, "coolant_volume", 0.0))


@dataclass(frozen=True)
class Inlet:
    """The inlet of one pump.

    `flooded`: it lies under the reservoir's surface (None: heights not given).  `standing` and `running`
    gauge pressure there [Pa], cold, before a cap has built up pressure (running: all devices at full
    command).  `available`, `required` net positive suction head [m] with the loop at its hottest and its cap
    at its pressure; `required` None where not given.
    """

    pump: str
    flooded: bool | None
    standing: float | None
    running: float
    available: float
    required: float | None

    @property
    def drawn_flat(self) -> bool:
        """Below ambient while running: a soft hose may collapse, and clamps draw air."""
        return self.running < 0.0

    @property
    def cavitates(self) -> bool | None:
        """Less suction head than the pump needs with a margin of 0.5 m or half as much again, the smaller."""
        if self.required is None:
            return True if self.available <= 0.0 else None
        return self.available < min(self.required + MARGIN, self.required * MARGIN_SHARE)


@dataclass(frozen=True)
class Filling:
    """What filling one loop asks; SI.

    `volume` coolant at `filled_at` [K]; `expansion` how much more it takes at `hottest` [K]; `air_space` over
    the coolant in the tank (None: brim not given); `sealed_pressure` [Pa gauge] that space would reach shut
    (None: not known, or overfull), `overflows` it is smaller than the expansion; `cap` [Pa gauge] at which
    the cap opens (None: not given); `boiling` [K] at the cap's pressure.  `traps` groups of parts that hold
    air and have no bleed, `bleeds` the bleeds from the lowest up, `unplaced` parts without a height.
    `inlets` the pumps' inlets; empty without a reservoir.
    """

    loop: str
    coolant: str
    volume: float
    filled_at: float
    expansion: float
    hottest: float
    reservoir: str | None
    air_space: float | None
    sealed_pressure: float | None
    cap: float | None
    boiling: float
    traps: tuple[tuple[str, ...], ...]
    bleeds: tuple[str, ...]
    unplaced: tuple[str, ...]
    inlets: tuple[Inlet, ...]

    @property
    def overflows(self) -> bool:
        """The tank has less room than the coolant grows."""
        return self.air_space is not None and self.expansion > self.air_space

    @property
    def cap_opens(self) -> bool | None:
        """The shut air space passes the cap's pressure before the loop is at its hottest; None: not known."""
        if self.cap is None or self.air_space is None:
            return None
        return self.overflows or (self.sealed_pressure is not None and self.sealed_pressure > self.cap)


def filling(
    build: Build, loop: str, hottest: float | None = None, ambient_pressure: float = STANDARD_PRESSURE
) -> Filling:
    """Walk one loop of a build.

    Parameters
    ----------
    loop : its name.  hottest : temperature [K] it is taken to reach; None: 70 degC for a charge loop, 110 for
        the engine's, 140 for oil.  ambient_pressure : Pa absolute.

    Raises `BadInput` for a loop that is not in the build.
    """
    if loop not in build.loops:
        raise BadInput(f"no loop is named {loop}; this build has {', '.join(build.loops) or 'none'}", key="loops")
    flows = loop_flows(build, build.loops[loop], ambient_pressure)
    coolant, names = flows.coolant, flows.network.names
    hot = hottest if hottest is not None else _hottest(coolant, names)
    volume = sum(coolant_held(build.parts[name]) for name in names)
    expansion = volume * float(coolant.density(FILLED_AT) / coolant.density(hot) - 1.0)
    surface = surface_of(build, flows.network)
    tank = None if surface is None else build.parts[surface.name]
    space = (
        None if tank is None or tank.brim_volume is None else tank.brim_volume - tank.volume - tank.ice / ICE_DENSITY
    )
    cap = build.loops[loop].cap_pressure
    tops = {name: _top(build.parts[name]) for name in names}
    return Filling(
        loop=loop,
        coolant=coolant.name,
        volume=volume,
        filled_at=FILLED_AT,
        expansion=expansion,
        hottest=hot,
        reservoir=None if surface is None else surface.name,
        air_space=space,
        sealed_pressure=_sealed(coolant, space, expansion, hot, ambient_pressure),
        cap=cap,
        boiling=coolant.boiling_point(flows.surface_pressure),
        traps=_traps(build, flows.network, tops),
        bleeds=tuple(
            sorted((n for n in names if getattr(build.parts[n], "bleed", False)), key=lambda n: tops[n] or 0.0)
        ),
        unplaced=tuple(n for n in names if tops[n] is None and hasattr(build.parts[n], "height")),
        inlets=_inlets(build, flows, hot),
    )


def fillings(build: Build) -> tuple[Filling, ...]:
    """`filling` of every loop."""
    return tuple(filling(build, loop) for loop in build.loops)


def _hottest(coolant: Coolant, names: tuple[str, ...]) -> float:
    return HOTTEST["oil" if coolant.is_oil else "engine" if COOLANT_SIDE in names else "charge"]


def _top(spec: object) -> float | None:
    """Highest point of a part's coolant over the datum [m]."""
    if isinstance(spec, HoseSpec) and spec.high_point is not None:
        return spec.high_point
    return getattr(spec, "height", None)


def _sealed(coolant: Coolant, space: float | None, expansion: float, hot: float, ambient: float) -> float | None:
    """Gauge pressure of the air space, shut at the filling temperature and squeezed by the coolant [Pa].

    Ideal gas, and the coolant's own vapour on top; how far hoses give is left out, so that it comes out high.
    """
    if space is None or space <= expansion:
        return None
    squeezed = (ambient - float(coolant.vapour_pressure(FILLED_AT))) * space / (space - expansion) * hot / FILLED_AT
    return squeezed + float(coolant.vapour_pressure(hot)) - ambient


def _neighbours(network: Network, known: set[str]) -> dict[str, set[str]]:
    """Parts of known height next to each such part; parts between them whose height is not known count as pipe."""
    at: dict[int, set[int]] = {}
    for k, link in enumerate(network.links):
        at.setdefault(link.start, set()).add(k)
        at.setdefault(link.end, set()).add(k)
    found: dict[str, set[str]] = {}
    for k, link in enumerate(network.links):
        if link.name not in known:
            continue
        seen, todo = {k}, [k]
        beside: set[str] = set()
        while todo:
            here = network.links[todo.pop()]
            for node in (here.start, here.end):
                for other in at[node] - seen:
                    seen.add(other)
                    name = network.links[other].name
                    if name in known:
                        beside.add(name)
                    else:
                        todo.append(other)
        found[link.name] = beside
    return found


def _traps(build: Build, network: Network, tops: dict[str, float | None]) -> tuple[tuple[str, ...], ...]:
    """Groups of parts at one height, all their neighbours lower, without a bleed and without the tank's surface.

    A bleed anywhere in the group serves it.  The highest place of a loop without a reservoir counts too.
    """
    heights = {name: top for name, top in tops.items() if top is not None}
    beside = _neighbours(network, set(heights))
    done: set[str] = set()
    found = []
    for name in heights:
        if name in done:
            continue
        group, todo = {name}, [name]
        while todo:
            for other in beside[todo.pop()]:
                if other not in group and abs(heights[other] - heights[name]) <= LEVEL:
                    group.add(other)
                    todo.append(other)
        done |= group
        around = {other for member in group for other in beside[member]} - group
        lets_out = any(
            getattr(build.parts[m], "bleed", False) or isinstance(build.parts[m], ReservoirSpec) for m in group
        )
        if around and not lets_out and all(heights[other] < heights[name] for other in around):
            found.append(tuple(member for member in network.names if member in group))
    return tuple(found)


def _inlets(build: Build, flows: LoopFlows, hot: float) -> tuple[Inlet, ...]:
    surface = surface_of(build, flows.network)
    if surface is None:
        return ()
    command = {name: np.ones(1) for name in flows.pumps}
    cold = np.array([max(FILLED_AT, flows.coolant.freezing_point + 1.0)])
    _, over = flows.suction(build, cold, command)
    head, _ = flows.suction(build, np.array([hot]), command)
    found = []
    for name in flows.pumps:
        spec = build.parts[name]
        if not isinstance(spec, PumpSpec):
            continue
        known = surface.height is not None and spec.height is not None
        rise = rise_to(surface, spec)
        found.append(
            Inlet(
                pump=name,
                flooded=rise > 0.0 if known else None,
                standing=rise * float(flows.coolant.density(float(cold[0]))) * GRAVITY if known else None,
                running=float(over[name][0]),
                available=float(head[name][0]),
                required=spec.npsh_required,
            )
        )
    return tuple(found)
