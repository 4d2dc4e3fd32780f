"""What pumps and fans ask of the wiring and of the alternator.

What is here: `electrics`, the figures of a build.  What is not: the words (`judge/`), resistance and voltage
(`parts/wiring.py`), and fuses: a wire is fused for the wire, at the battery's end.
"""

from __future__ import annotations

from dataclasses import dataclass

from coldside.build.model import Build
from coldside.parts import pump
from coldside.parts.airflow import FanSpec, fan_current
from coldside.parts.pump import PumpSpec
from coldside.parts.wiring import voltage_left, wire_resistance


@dataclass(frozen=True)
class Load:
    """One electric pump or fan; `current` and `starting` current [A] (None: not known, of a fan).

    A pump whose wire is described has its voltage running and starting [V] and what the wire loses then;
    `speed` is the share of its curve's speed that the voltage leaves it.  None where not known.
    """

    name: str
    current: float
    starting: float | None
    voltage: float | None = None
    lost: float | None = None
    voltage_starting: float | None = None
    speed: float | None = None


@dataclass(frozen=True)
class Electrics:
    """All electric pumps and fans, what they draw together [A], and what the alternator spares at hot idle [A].

    `alternator` is None where not given.
    """

    loads: tuple[Load, ...]
    total: float
    alternator: float | None

    @property
    def short(self) -> float | None:
        """Current that the battery must give at hot idle with everything on [A]; 0 where the alternator suffices."""
        return None if self.alternator is None else max(self.total - self.alternator, 0.0)


def electrics(build: Build) -> Electrics:
    """The electric side of a build: every pump and fan that is not switched off for good."""
    loads = []
    for name, spec in build.parts.items():
        if isinstance(spec, PumpSpec) and spec.drive == "electric" and spec.control.mode != "off":
            loads.append(_pump(name, spec))
        elif isinstance(spec, FanSpec) and spec.control.mode != "off":
            loads.append(Load(name, float(fan_current(spec)), None))
    return Electrics(tuple(loads), sum(load.current for load in loads), build.car.alternator_idle)


def _pump(name: str, spec: PumpSpec) -> Load:
    current = pump.running_current(spec)
    starting = current * spec.inrush
    speed = pump.voltage_at(spec) / spec.curve_voltage
    if spec.wire_length is None:
        return Load(name, current, starting, speed=speed)
    resistance = wire_resistance(spec.wire_length, spec.wire_gauge)
    return Load(
        name,
        current,
        starting,
        voltage=pump.voltage_at(spec),
        lost=spec.supply_voltage - pump.voltage_at(spec),
        voltage_starting=voltage_left(spec.supply_voltage, starting, resistance),
        speed=speed,
    )
