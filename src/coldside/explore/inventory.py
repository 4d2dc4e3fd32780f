"""What a build holds and draws: metal, coolant, charge volume, current, and the electrical energy of a session.

What is here: `Inventory` and `inventory`, `electrical_energy`.  What is not: comparing (`compare.py`), how loops are
filled (`plant/filling.py`), what wires lose (`plant/electrics.py`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from coldside.build.model import Build, names_on
from coldside.judge.power import time_weights
from coldside.judge.tract import charge_tract
from coldside.media.coolants import parse_coolant
from coldside.parts import lines, pump
from coldside.parts.airflow import SUPPLY, FanSpec, fan_current
from coldside.parts.exchanger import AirCoreSpec, ExchangerSpec, WaterCoreSpec
from coldside.parts.injection import InjectionSpec, injection_carried, parse_fluid
from coldside.parts.lines import HoseSpec, PipeSpec, PlenumSpec
from coldside.parts.pump import PumpSpec
from coldside.parts.reservoir import ReservoirSpec
from coldside.parts.spray import WATER_DENSITY, SprayKeys, spray_carried
from coldside.plant.electrics import electrics
from coldside.plant.filling import FILLED_AT, coolant_held
from coldside.plant.results import Forecast

CORE_KINDS = (WaterCoreSpec, AirCoreSpec)


@dataclass(frozen=True)
class Inventory:
    """What a build has to carry, fill and feed; SI.

    `metal` [kg] of cores, exchangers, tanks, pipes, hoses and plenum, as far as the build describes them: pumps,
    fans, end tanks, brackets and ducts are in no file and not in it; `coolant` [kg] and `coolant_volume` [m3] of the
    loops that cool the charge; `carried` [kg] of ice, and of what sprays and injections carry; `charge_volume` [m3]
    behind the first compressor; `fill_time` [s] in which the engine's whole flow would fill it; `current` [A] of all
    electric pumps and fans together; `pumps` and `fans` the names of those that can die: electric pumps of the loops
    that cool the charge, and fans.
    """

    metal: float
    coolant: float
    coolant_volume: float
    carried: float
    charge_volume: float
    fill_time: float
    current: float
    pumps: tuple[str, ...]
    fans: tuple[str, ...]

    @property
    def mass(self) -> float:
        """Metal, coolant and what is carried, kg."""
        return self.metal + self.coolant + self.carried


def inventory(build: Build) -> Inventory:
    """What a build holds and draws; see `Inventory`."""
    cores = {name for name in names_on(build.charge) if isinstance(build.parts[name], CORE_KINDS)}
    loops = {name: loop for name, loop in build.loops.items() if cores & set(names_on(loop.path))}
    volumes = {
        name: sum(coolant_held(build.parts[part]) for part in names_on(loop.path)) for name, loop in loops.items()
    }
    on_loops = {part for loop in loops.values() for part in names_on(loop.path)}
    counted = on_loops | set(names_on(build.charge))
    tract, electric = charge_tract(build), electrics(build)
    return Inventory(
        metal=sum(metal_of(spec) for name, spec in build.parts.items() if name in counted),
        coolant=sum(
            volume * float(parse_coolant(loops[name].coolant).density(FILLED_AT)) for name, volume in volumes.items()
        ),
        coolant_volume=sum(volumes.values()),
        carried=sum(carried_by(spec) for spec in build.parts.values()),
        charge_volume=tract.volume,
        fill_time=tract.fill_time,
        current=electric.total,
        pumps=tuple(
            load.name
            for load in electric.loads
            if load.name in on_loops and isinstance(build.parts[load.name], PumpSpec)
        ),
        fans=tuple(load.name for load in electric.loads if isinstance(build.parts[load.name], FanSpec)),
    )


def metal_of(spec: object) -> float:
    """Mass of a part without what it holds, kg; 0 where its description has none.  A hose is of rubber."""
    if isinstance(spec, PipeSpec):
        return lines.pipe_metal_mass(spec)
    if isinstance(spec, HoseSpec):
        return lines.hose_wall_capacity(spec) / lines.RUBBER_HEAT
    if isinstance(spec, WaterCoreSpec | AirCoreSpec | ExchangerSpec | ReservoirSpec | PlenumSpec):
        return float(spec.metal_mass)
    return 0.0


def carried_by(spec: object) -> float:
    """Mass of ice at the start, or of the liquid of a spray or an injection, kg; its tank, pump and nozzles are not."""
    if isinstance(spec, ReservoirSpec):
        return float(spec.ice)
    if isinstance(spec, InjectionSpec):
        return injection_carried(spec) * float(parse_fluid(spec.fluid).density)
    return spray_carried(spec) * WATER_DENSITY if isinstance(spec, SprayKeys) else 0.0


def electrical_energy(forecast: Forecast) -> float:
    """Electrical energy of all electric pumps and fans over the session, J.

    Each at its full current times the cube of its command (power of a pump or fan at a share of its speed, fan laws,
    textbook) and the voltage of that current: an engine that idles lower than `SUPPLY` draws a little less.
    """
    weights, total = time_weights(forecast.time), 0.0
    for name, command in forecast.command.items():
        spec = forecast.build.parts.get(name)
        share = np.clip(command, 0.0, 1.0)
        if isinstance(spec, PumpSpec) and spec.drive == "electric":
            power = pump.running_current(spec) * spec.curve_voltage * share**3
        elif isinstance(spec, FanSpec):
            power = np.asarray(fan_current(spec, share)) * SUPPLY
        else:
            continue
        total += float(np.dot(weights, power))
    return total
