"""What the engine makes and breathes for a demand: surroundings, full load, friction, part load.

What is here: the air around a session and how it changes; brake power at full load and the plenum pressure
that a lower power needs, both as the demand reckons them before any temperature of the charge is known.  What is
not: road load (`road.py`), the march of a run (`drive.py`) and what the charge side really gives
(`plant/output.py`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from coldside.duty.model import AmbientSpec, Session
from coldside.errors import BadInput
from coldside.media import air
from coldside.parts import engine as engines
from coldside.parts.engine import RPM, EngineSpec

CHARGE_RISE = 20.0  # K of charge over ambient that part load and full-load torque are reckoned with


@dataclass(frozen=True)
class Surroundings:
    """Ambient state: temperature K, pressure Pa absolute, relative humidity, humidity ratio, density kg/m3.

    All but the pressure may be arrays, one figure a moment.
    """

    temperature: float | np.ndarray
    pressure: float
    humidity: float | np.ndarray
    humidity_ratio: float | np.ndarray
    density: float | np.ndarray


def surroundings(spec: AmbientSpec) -> Surroundings:
    """Ambient state of a session; pressure as given, else the standard atmosphere at its altitude.

    Raises `BadInput` where both or a gauge pressure are given.
    """
    if spec.pressure is not None:
        if spec.altitude is not None:
            raise BadInput("give altitude or pressure, not both", key="ambient")
        if spec.pressure.gauge:  # type: ignore[attr-defined]
            raise BadInput('ambient pressure must be absolute, such as "98.5 kPa abs"', key="ambient.pressure")
        p = float(spec.pressure.value)  # type: ignore[attr-defined]
    else:
        p = float(air.standard_atmosphere(spec.altitude or 0.0)[1])
    W = float(air.humidity_ratio(spec.temperature, p, spec.humidity))
    return Surroundings(spec.temperature, p, spec.humidity, W, float(air.density(spec.temperature, p, W)))


@dataclass(frozen=True)
class Weather:
    """The air over a session: what it is at the start, and at every reading after it (`time` s, from 0).

    Temperature and water content are linear between readings and held after the last; the water is never more than
    the air holds at the moment (the rest has fallen as dew).  Pressure stays.
    """

    start: Surroundings
    time: np.ndarray
    temperature: np.ndarray
    humidity_ratio: np.ndarray

    @cached_property
    def changes(self) -> bool:
        """Whether anything moves."""
        return bool(np.ptp(self.temperature) > 0.0 or np.ptp(self.humidity_ratio) > 0.0)

    def at(self, time: np.ndarray | float) -> Surroundings:
        """The air at these times since the start of the session [s]; where nothing moves, that of the start."""
        if not self.changes:
            return self.start
        p = self.start.pressure
        T = np.interp(time, self.time, self.temperature)
        most = np.asarray(air.humidity_ratio(T, p, 1.0))
        W = np.minimum(np.interp(time, self.time, self.humidity_ratio), most)
        # relative humidity is the share of the vapour pressure that saturates
        share = np.clip(W / (air.MASS_RATIO + W) * (air.MASS_RATIO + most) / most, 0.0, 1.0)
        return Surroundings(T, p, share, W, np.asarray(air.density(T, p, W)))


def weather(session: Session) -> Weather:
    """The air over a session: its `[ambient]` and what its readings say after it.

    A reading without humidity keeps the water of the one before.  Raises `BadInput` as `surroundings`.
    """
    start = surroundings(session.ambient)
    W = [float(start.humidity_ratio)]
    for reading in session.readings:
        told = reading.humidity
        W.append(W[-1] if told is None else float(air.humidity_ratio(reading.temperature, start.pressure, told)))
    return Weather(
        start,
        np.array([0.0, *(reading.at for reading in session.readings)]),
        np.array([session.ambient.temperature, *(reading.temperature for reading in session.readings)]),
        np.array(W),
    )


def becalmed(session: Session, time: float) -> Session:
    """The session in the air of one of its moments [s], held: for questions that a moving day would blur."""
    if not session.readings:
        return session
    then = weather(session).at(time)
    ambient = replace(session.ambient, temperature=float(then.temperature), humidity=float(then.humidity))
    return replace(session, ambient=ambient, readings=())


def friction_power(spec: EngineSpec, engine_speed: np.ndarray | float) -> np.ndarray:
    """Power that turns the engine itself over, W, from total friction mean effective pressure.

    fmep [bar] = 0.97 + 0.15 N + 0.05 N^2, N in 1000 rpm (Heywood1988 Eq. 13.6, from memory: motored
    four-cylinder engines); a rotary by its four-stroke equivalent, common practice, no source.
    """
    n = np.asarray(engine_speed, dtype=float)
    thousands = n / (1000.0 * RPM)
    return 1e5 * (0.97 + 0.15 * thousands + 0.05 * thousands**2) * engines.swept_per_rev(spec) * n


def full_load_power(spec: EngineSpec, engine_speed: np.ndarray | float, around: Surroundings) -> np.ndarray:
    """Brake power at full load, W: boost at its target, charge 20 K over ambient."""
    n = np.asarray(engine_speed, dtype=float)
    p = engines.boost_target(spec, n, around.pressure)
    m_dot = engines.air_flow(spec, n, p, around.temperature + CHARGE_RISE, around.humidity_ratio)
    return engines.brake_power(spec, engines.fuel_flow(spec, m_dot, around.humidity_ratio))


def part_load_pressure(
    spec: EngineSpec,
    engine_speed: np.ndarray | float,
    power: np.ndarray | float,
    around: Surroundings,
    full: np.ndarray | None = None,
) -> np.ndarray:
    """Plenum pressure that a brake power needs, Pa absolute; between idle's and the boost target.

    Willans line: at a speed, air is proportional to brake power plus friction power, through the
    full-load point.  Power per air is taken alike at lambda 1 and rich of it (oxygen limits heat,
    design notes B2), so the air ratio is the pressure ratio at equal charge temperature.  The
    charge path's own loss at part load is left out where boost is sensed at the compressor outlet.
    `full` is `full_load_power` there, where it is known already.
    """
    n = np.asarray(engine_speed, dtype=float)
    top = engines.boost_target(spec, n, around.pressure)
    friction = friction_power(spec, n)
    full = full_load_power(spec, n, around) if full is None else full
    share = (np.asarray(power, dtype=float) + friction) / (full + friction)
    low = np.minimum(spec.idle_plenum * around.pressure, top)
    return np.clip(share * top, low, top)


def reckoned_power(
    spec: EngineSpec, engine_speed: np.ndarray | float, plenum: np.ndarray | float, around: Surroundings
) -> np.ndarray:
    """Brake power at a plenum pressure [Pa absolute], W: `part_load_pressure` turned round, 0 at the least.

    It is what the demand of a pass or lap was reckoned with at that sample; the power of a forecast
    over it is the share that heat has left.
    """
    n = np.asarray(engine_speed, dtype=float)
    top = engines.boost_target(spec, n, around.pressure)
    friction = friction_power(spec, n)
    power = np.asarray(plenum, dtype=float) / top * (full_load_power(spec, n, around) + friction) - friction
    return np.maximum(power, 0.0)
