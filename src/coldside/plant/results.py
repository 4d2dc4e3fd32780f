"""What a forecast and a steady point are made of; filled by `plant/forecast.py` and `plant/steady.py`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np

from coldside.build.model import Build
from coldside.duty.model import Demand, Session, Shares
from coldside.plant.charge import StageState
from coldside.plant.feedback import TimedRun


def spread_over(lanes: np.ndarray) -> tuple[float, float, float]:
    """Hottest, mean and coldest of what leaves the lanes of a core."""
    return float(lanes.max()), float(lanes.mean()), float(lanes.min())


@dataclass(frozen=True)
class Health:
    """How far to trust a forecast; every entry is a sentence a user can read."""

    step_check: float  # K, largest change of intake temperature when the step is halved
    closure: float  # ledger closure, relative
    extrapolated: tuple[str, ...]
    defaults: tuple[str, ...]
    warnings: tuple[str, ...]
    compressor_off: float = 0.0  # s in boost beyond the compressor map's choke or highest speed line


@dataclass(frozen=True)
class HeatFlow:
    """One line of the ledger, J over the session: `part`, `side` (charge, cooling, pickup, stored, pump)."""

    part: str
    side: str
    heat: float


@dataclass(frozen=True)
class Ledger:
    """Heat over the session, J; control volume and signs as in the design's definitions."""

    heat_in: float
    pickup: float
    to_air: float
    stored: float
    handled: float  # time integral of the sum of |q|
    closure: float  # |heat_in + pickup - to_air - stored| / max(handled, 1 J)
    flows: tuple[HeatFlow, ...]


@dataclass(frozen=True)
class Rung:
    """One step of the resistance ladder, from charge to ambient."""

    name: str
    drop: float  # K, heat-weighted
    resistance: float  # K/W: drop over the heat of the cores
    share: float  # of (mean charge temperature in the core - ambient)


class Temperatures(Protocol):
    """What limits on temperatures look at: of a forecast, or of a march that is not made into one.  K, n samples."""

    @property
    def build(self) -> Build:
        """What was marched."""
        ...

    @property
    def intake(self) -> np.ndarray:
        """Gas at the plenum outlet."""
        ...

    @property
    def sensor(self) -> np.ndarray | None:
        """What the intake sensor reads; None when none is fitted."""
        ...

    @property
    def coolant_in_cores(self) -> Mapping[str, np.ndarray]:
        """Loop -> coolant entering the charge cores."""
        ...

    @property
    def outlet(self) -> Mapping[tuple[str, str], np.ndarray]:
        """(part, side) -> what leaves it; at least of the coolants."""
        ...


@dataclass(frozen=True)
class Forecast:
    """The solved session.  All arrays have n samples; temperatures K, flows kg/s unless said."""

    build: Build
    session: Session
    demand: Demand
    time: np.ndarray
    intake: np.ndarray  # gas at the plenum outlet
    sensor: np.ndarray | None  # what the intake sensor reads; None when none is fitted
    compressor_in: np.ndarray
    compressor_out: np.ndarray
    charge_flow: np.ndarray  # moist air
    plenum_pressure: np.ndarray  # Pa absolute
    compressor_out_pressure: np.ndarray  # Pa absolute
    fuel_flow: np.ndarray
    power: np.ndarray  # W brake
    power_at_ambient: np.ndarray  # W, the same demand with the charge held at ambient temperature
    heat_rejected: np.ndarray  # W, from charge to the charge cores
    coolant_flow: Mapping[str, np.ndarray]  # loop -> m3/s of the whole loop
    coolant_in_cores: Mapping[str, np.ndarray]  # loop -> coolant temperature entering the charge cores
    tank: Mapping[str, np.ndarray]  # loop -> tank outlet temperature (absent for a loop without a tank)
    air_flow: Mapping[str, np.ndarray]  # duct -> kg/s
    command: Mapping[str, np.ndarray]  # pump or fan -> what it did, 0 to 1
    outlet: Mapping[tuple[str, str], np.ndarray]  # (part, side) -> outlet temperature
    inlet: Mapping[tuple[str, str], np.ndarray]  # (part, side) -> inlet temperature
    flow: Mapping[tuple[str, str], np.ndarray]  # (part, side) -> mass flow, kg/s
    heat_capacity: Mapping[tuple[str, str], float]  # (part, side) -> cp of the stream, J/(kg K)
    ledger: Ledger
    ladder: tuple[Rung, ...]
    health: Health
    states: int  # number of temperature states
    substeps: int  # most sub-steps in one sample interval
    steps: int  # kernel steps in all
    peak: int  # sample of the highest intake temperature under boost (or of all, if never in boost)
    # block of nodes -> temperatures at start and end, K, and heat capacity of one node, J/K; ice in a tank is a block
    # too, with its kilograms at start and end and minus its heat of melting, J/kg
    nodes: Mapping[str, tuple[np.ndarray, np.ndarray, float]] = field(default_factory=dict)
    condensate: np.ndarray | None = None  # water that the charge leaves in its cores, kg/s
    ice: Mapping[str, np.ndarray] = field(default_factory=dict)  # tank with ice -> ice left in it, kg
    # charge core -> charge leaving its hottest lane, all of it, its coldest lane at `worst`, K
    face_spread: Mapping[str, tuple[float, float, float]] = field(default_factory=dict)
    stages: tuple[StageState, ...] = ()  # every compressor in flow order, its arrays over the samples
    exhaust_pressure: np.ndarray | None = None  # before the turbine, Pa absolute; None with none
    latent: Mapping[str, np.ndarray] = field(default_factory=dict)  # core -> W that condensing water gives it
    runs: tuple[TimedRun, ...] = ()  # passes and laps, with their times and what heat cost
    feedback: tuple[float, ...] = ()  # largest change of a run's time, s, in each turn of driving and heat
    shares: Shares | None = None  # of power along each run that its driving was made with; None: all of it
    boost_feedback: tuple[float, ...] = ()  # largest change of what the car's trims take off boost, Pa, in each turn
    moment: int | None = None  # sample at which `ladder` and `face_spread` stand, where that is not `peak`

    @property
    def worst(self) -> int:
        """The sample at which `ladder` and `face_spread` stand: the hottest intake, or the worst for the limit told."""
        return self.peak if self.moment is None else self.moment

    @property
    def boost(self) -> np.ndarray:
        """True where the plenum is above 1.05 times ambient pressure."""
        return self.plenum_pressure > 1.05 * self.demand.ambient_pressure


@dataclass(frozen=True)
class Point:
    """One steady operating point; every figure of `coldside point`."""

    build: Build
    engine_speed: float  # rev/s
    ambient_temperature: float
    ambient_pressure: float
    air_flow: float
    pressure_ratio: float
    compressor_efficiency: float
    compressor_out: float
    intake: float
    plenum_pressure: float
    charge_loss: float  # Pa, compressor outlet minus plenum
    charge_density: float
    heat_rejected: float
    fuel_flow: float
    fuel_flow_per_injector: float
    power: float
    surge_margin: float | None
    choke_margin: float | None
    shaft_speed_margin: float | None
    coolant_flow: Mapping[str, float]  # loop -> m3/s
    loop_temperature: Mapping[str, float]  # loop -> coolant entering the cores, K
    effectiveness: Mapping[str, float]  # charge core -> of the charge side
    air_flow_duct: Mapping[str, float]  # duct -> kg/s
    outlet: Mapping[tuple[str, str], float]
    inlet: Mapping[tuple[str, str], float]
    flow: Mapping[tuple[str, str], float]
    warnings: tuple[str, ...] = ()
    defaults: tuple[str, ...] = ()
    road_speed: float | None = None  # m/s that the point assumes
    stages: tuple[StageState, ...] = ()  # every compressor in flow order, arrays of one
    exhaust_pressure: float | None = None  # before the turbine, Pa absolute; None with none
    face_spread: Mapping[str, tuple[float, float, float]] = field(default_factory=dict)  # as of a forecast, K
    condensate: float | None = None  # water that the charge leaves in its cores, kg/s
