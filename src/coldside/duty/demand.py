"""A session sampled for one build: what the engine, the car and the surroundings ask, ten times a second.

What is here: unrolling of groups and repeats, engine speed and plenum target of every kind of phase,
part load, boost lag, air at each duct, bay temperature, pump and fan commands.  What is not: reading
of sessions (`phases.py`), road load and gears (`road.py`), and any charge flow or temperature of
charge or coolant (`plant/`).

Joints.  A phase owns the samples after its start up to and including its end, so that a pull reaches
its last engine speed; at its start speeds and throttle move from where the phase before left them.
Commands are held from a sample to the next, so the phase that begins at a sample commands there.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from coldside.build.model import Build
from coldside.duty import road
from coldside.duty.model import SAMPLE_TIME, AmbientSpec, Demand, PhaseSpec, Session, Span
from coldside.duty.samples import Replay, beside, read_cycle, read_replay
from coldside.errors import BadInput
from coldside.media import air
from coldside.parts import engine as engines
from coldside.parts.airflow import PLACES, FanSpec
from coldside.parts.chiller import ChillerSpec
from coldside.parts.engine import RPM, BaySpec, EngineSpec
from coldside.parts.pump import PumpSpec, engine_command

SAMPLE_RATE = round(1.0 / SAMPLE_TIME)  # samples a second; times are index / rate, so that they are exact
SPEED_RAMP = 0.5  # s in which engine, road and air speed move over from one phase to the next (own)
OPENING_RAMP = 0.3  # s in which a throttle opens at a joint (own)
CLOSING_RAMP = 0.1  # s in which it closes, and in which pressure falls with it (own)
CHARGE_RISE = 20.0  # K of charge over ambient that part load and full-load torque are reckoned with
STANDING = 0.1  # m/s, below which the car stands and the clutch is open
BAY_MOVING = 20.0 / 3.6  # m/s, from which the bay is aired as on the move; common practice, no source
FULL_LOAD = 0.999  # share of full-load torque from which a driver asks for all there is
SAID = {  # words for the chart's foot
    "idle": "idle", "traffic": "stop and go", "cruise": "cruise", "pull": "pull",
    "cooldown": "cooldown", "parked": "parked", "replay": "replay",
}  # fmt: skip


@dataclass(frozen=True)
class Surroundings:
    """Ambient state: temperature K, pressure Pa absolute, relative humidity, humidity ratio, density kg/m3."""

    temperature: float
    pressure: float
    humidity: float
    humidity_ratio: float
    density: float


@dataclass(frozen=True)
class _Stretch:
    """One span to be: its phase, and the samples at which it starts and ends."""

    phase: PhaseSpec
    index: int  # of the phase in the file, for messages
    kind: str
    label: str
    repeat: int
    start: int
    end: int

    @property
    def first(self) -> int:
        """First sample that it owns; the very first stretch owns its start too."""
        return self.start + 1 if self.start else 0

    def local(self) -> np.ndarray:
        """Times of its own samples since its start, s."""
        return (np.arange(self.first, self.end + 1) - self.start) / SAMPLE_RATE


@dataclass
class _Trace:
    """What a stretch asks at its own samples, before joints and boost lag."""

    engine_speed: np.ndarray
    plenum: np.ndarray
    full_load: np.ndarray
    road_speed: np.ndarray
    measured: bool = False  # samples of a real car: no ramp and no lag is put on them


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


def sample(session: Session, build: Build) -> Demand:
    """The session, sampled every `SAMPLE_TIME` for one build.

    n = 1 + total time / SAMPLE_TIME samples at exact multiples; phases that are no multiple end at
    the nearest sample.  Names in `air` that this build has not, gears that it has not and the like
    are noted in `Demand.notes`.  Raises `BadInput` where a phase misses what its kind needs or a
    file of samples cannot be read.
    """
    around = surroundings(session.ambient)
    notes: list[str] = []
    replays = {
        index: read_replay(beside(session.file, phase.samples), around.pressure)
        for index, phase in enumerate(session.phases)
        if phase.kind == "replay" and phase.samples is not None
    }
    for replay in replays.values():
        notes.extend(replay.notes)
    stretches = _unroll(session, replays)
    n = stretches[-1].end + 1
    driver = _Driver(build, around, session, replays, notes)
    engine_speed, target, road_speed = np.zeros(n), np.zeros(n), np.zeros(n)
    full_load, measured = np.zeros(n, dtype=bool), np.zeros(n, dtype=bool)
    air_speed = {name: np.zeros(n) for name in build.ducts}
    bay_rise = np.zeros(n)
    command = _commands_by_control(build, n)
    for stretch in stretches:
        own = slice(stretch.first, stretch.end + 1)
        local = stretch.local()
        trace = driver.trace(stretch, local)
        measured[own], full_load[own] = trace.measured, trace.full_load
        ramp = 0.0 if trace.measured else SPEED_RAMP
        _join(engine_speed, stretch, trace.engine_speed, local, ramp)
        _join(road_speed, stretch, trace.road_speed, local, ramp)
        opening = bool(stretch.start) and trace.plenum[0] > target[stretch.start]
        _join(
            target, stretch, trace.plenum, local, 0.0 if trace.measured else OPENING_RAMP if opening else CLOSING_RAMP
        )
        for name, arriving in _air_at_ducts(stretch.phase, build, trace.road_speed, notes).items():
            _join(air_speed[name], stretch, arriving, local, SPEED_RAMP)
        bay_rise[own] = _bay_rise(build.bay, stretch, engine_speed[own], road_speed[own])
        _command(command, stretch, build)
    command |= engine_driven(build, engine_speed)
    lag = build.engine.boost_lag
    start_rise = build.bay.parked_rise if session.start == "soaked" else 0.0
    return Demand(
        time=np.arange(n) / SAMPLE_RATE,
        spans=tuple(Span(s.first, s.end, s.kind, s.label, s.repeat) for s in stretches),
        engine_speed=engine_speed,
        plenum_target=lagged_boost(target, around.pressure, lag, exact=measured),
        full_load=full_load,
        road_speed=road_speed,
        air_speed=air_speed,
        ambient_temperature=around.temperature,
        ambient_pressure=around.pressure,
        humidity=around.humidity,
        bay_temperature=around.temperature + first_order(bay_rise, build.bay.time_constant, start_rise),
        command=command,
        start=session.start,
        notes=tuple(dict.fromkeys(notes)),
    )


def first_order(target: np.ndarray, lag: float, start: float) -> np.ndarray:
    """First-order lag behind a target that is linear between samples; exact for that input.

    `lag` in s, 0 for none; `start` is the value at the first sample.  Same unit as `target`.
    """
    if lag <= 0.0:
        return np.array(target, dtype=float)
    decay = math.exp(-SAMPLE_TIME / lag)
    out = np.empty(len(target))
    out[0] = value = start
    for i in range(1, len(target)):
        value = _follow(value, target[i - 1], target[i], lag, decay)
        out[i] = value
    return out


def lagged_boost(
    target: np.ndarray, ambient_pressure: float, lag: float, *, exact: np.ndarray | None = None
) -> np.ndarray:
    """Plenum pressure behind its target, Pa absolute: boost lags when it rises, all else follows at once.

    Up to ambient pressure the throttle decides and pressure follows its target; above, a rise is a
    first-order lag of `lag` seconds behind the target (exact for a target linear between samples)
    and a fall follows at once.  Where `exact` is True the target is taken as it is (measured
    samples).  The session starts with no boost.
    """
    decay = math.exp(-SAMPLE_TIME / lag) if lag > 0.0 else 0.0
    out = np.array(target, dtype=float)
    keep = np.zeros(len(out), dtype=bool) if exact is None else exact
    value = out[0] if keep[0] else min(out[0], ambient_pressure)
    out[0] = value
    for i in range(1, len(out)):
        now = target[i]
        if not keep[i] and now > max(value, ambient_pressure) and lag > 0.0:
            before = max(target[i - 1], ambient_pressure)
            value = min(_follow(max(value, ambient_pressure), before, now, lag, decay), now)
        else:
            value = now
        out[i] = value
    return out


def _follow(value: float, before: float, now: float, lag: float, decay: float) -> float:
    """One sample of x' = (u - x) / lag with u going in a straight line from `before` to `now`."""
    slope = (now - before) / SAMPLE_TIME
    return now - slope * lag + (value - before + slope * lag) * decay


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
    spec: EngineSpec, engine_speed: np.ndarray | float, power: np.ndarray | float, around: Surroundings
) -> np.ndarray:
    """Plenum pressure that a brake power needs, Pa absolute; between idle's and the boost target.

    Willans line: at a speed, air is proportional to brake power plus friction power, through the
    full-load point.  Power per air is taken alike at lambda 1 and rich of it (oxygen limits heat,
    design notes B2), so the air ratio is the pressure ratio at equal charge temperature.  The
    charge path's own loss at part load is left out where boost is sensed at the compressor outlet.
    """
    n = np.asarray(engine_speed, dtype=float)
    top = engines.boost_target(spec, n, around.pressure)
    friction = friction_power(spec, n)
    share = (np.asarray(power, dtype=float) + friction) / (full_load_power(spec, n, around) + friction)
    low = np.minimum(spec.idle_plenum * around.pressure, top)
    return np.clip(share * top, low, top)


class _Driver:
    """Turns a stretch into what it asks of engine and car."""

    def __init__(
        self, build: Build, around: Surroundings, session: Session, replays: Mapping[int, Replay], notes: list[str]
    ) -> None:
        self.build, self.engine, self.car = build, build.engine, build.car
        self.around, self.session, self.replays, self.notes = around, session, replays, notes

    def trace(self, stretch: _Stretch, local: np.ndarray) -> _Trace:
        """What the stretch asks at its own samples."""
        phase = stretch.phase
        if stretch.kind == "pull":
            return self._pull(stretch, local)
        if phase.kind == "parked":
            still = np.zeros_like(local)
            return _Trace(still, np.full_like(local, self.around.pressure), still.astype(bool), still)
        if phase.kind == "replay":
            return self._replay(stretch, local)
        if phase.kind == "traffic":
            return self._traffic(stretch, local)
        if phase.kind == "cruise" or (phase.kind == "cooldown" and phase.speed is not None):
            return self._cruise(stretch, local)
        speed = phase.engine_speed if phase.kind == "idle" else None
        return self._standing(local, self.engine.idle_speed if speed is None else speed)

    def _standing(self, local: np.ndarray, engine_speed: float) -> _Trace:
        """Out of gear: the engine carries itself only."""
        n = np.full_like(local, engine_speed)
        plenum = part_load_pressure(self.engine, n, 0.0, self.around)
        return _Trace(n, plenum, np.zeros(len(n), dtype=bool), np.zeros_like(local))

    def _pull(self, stretch: _Stretch, local: np.ndarray) -> _Trace:
        low, high = _needed(stretch, "from_speed", "from"), _needed(stretch, "to_speed", "to")
        duration = _needed(stretch, "duration")
        n = low + (high - low) * np.minimum(local / duration, 1.0)
        self._check_top(max(low, high), stretch)
        gear = self._gear(stretch.phase.gear) or road.pull_gear(self.car)
        plenum = engines.boost_target(self.engine, n, self.around.pressure)
        return _Trace(n, plenum, np.ones(len(n), dtype=bool), road.road_speed_in(self.car, n, gear))

    def _replay(self, stretch: _Stretch, local: np.ndarray) -> _Trace:
        own = self.replays[stretch.index]
        n = np.interp(local, own.time, own.engine_speed)
        plenum = np.interp(local, own.time, own.plenum)
        asked = engines.boost_target(self.engine, n, self.around.pressure)
        full = plenum >= np.maximum(0.95 * asked, self.around.pressure)
        return _Trace(n, plenum, full, np.interp(local, own.time, own.road_speed), measured=True)

    def _traffic(self, stretch: _Stretch, local: np.ndarray) -> _Trace:
        if stretch.phase.cycle is None:
            times, speeds = road.stop_and_go()
            self.notes.append("traffic: a stop-and-go cycle of our own (invented), 12 km/h on average")
        else:
            times, speeds = read_cycle(beside(self.session.file, stretch.phase.cycle))
        v = np.interp(np.mod(local, times[-1]), times, speeds)
        before = np.interp(np.mod(np.maximum(local - SAMPLE_TIME, 0.0), times[-1]), times, speeds)
        return self._moving(v, acceleration=(v - before) / SAMPLE_TIME)

    def _cruise(self, stretch: _Stretch, local: np.ndarray) -> _Trace:
        phase = stretch.phase
        if phase.speed is None and (phase.engine_speed is None or phase.load is None):
            raise BadInput(
                "a cruise needs its road speed, or engine_speed and load where the car stands on rollers",
                where=self.session.file, key=f"phases[{stretch.index}].speed",
            )  # fmt: skip
        v = np.full_like(local, phase.speed or 0.0)
        return self._moving(
            v, grade=phase.grade, gear=self._gear(phase.gear), engine_speed=phase.engine_speed, load=phase.load,
            stretch=stretch,
        )  # fmt: skip

    def _moving(
        self, v: np.ndarray, *, acceleration: np.ndarray | float = 0.0, grade: float = 0.0, gear: int | None = None,
        engine_speed: float | None = None, load: float | None = None, stretch: _Stretch | None = None,
    ) -> _Trace:  # fmt: skip
        """The car held at a road speed, or the engine at a speed and a share of its torque."""
        gears = self._gears(v, acceleration, grade) if gear is None else np.full(len(v), gear)
        moving = v > STANDING
        n = np.where(moving, road.engine_speed_in(self.car, v, gears), 0.0)
        n = np.maximum(n, self.engine.idle_speed) if engine_speed is None else np.full(len(v), engine_speed)
        if stretch is not None:
            self._check_top(float(n.max()), stretch)
        if load is None:
            power = road.brake_power(self.car, v, self.around.density, gears, grade=grade, acceleration=acceleration)
            return _Trace(n, part_load_pressure(self.engine, n, power, self.around), np.zeros(len(v), dtype=bool), v)
        power = load * full_load_power(self.engine, n, self.around)
        full = np.full(len(v), load >= FULL_LOAD)
        return _Trace(n, part_load_pressure(self.engine, n, power, self.around), full, v)

    def _gears(self, v: np.ndarray, acceleration: np.ndarray | float, grade: float) -> np.ndarray:
        """The cruising gear, shifted down as far as the power asked for needs it."""
        gears = road.gear_for(self.car, self.engine.top_speed, v)
        for _ in range(len(self.car.gears) - 1):
            n = np.maximum(road.engine_speed_in(self.car, v, gears), self.engine.idle_speed)
            asked = road.brake_power(self.car, v, self.around.density, gears, grade=grade, acceleration=acceleration)
            lower = np.maximum(gears - 1, 1)
            weak = asked > full_load_power(self.engine, n, self.around)
            weak &= road.engine_speed_in(self.car, v, lower) <= self.engine.top_speed
            if not (weak & (gears > 1)).any():
                break
            gears = np.where(weak, lower, gears)
        return gears

    def _gear(self, asked: int | None) -> int | None:
        """The gear asked for, or the car's highest where it has fewer (noted)."""
        if asked is None or asked <= len(self.car.gears):
            return asked
        self.notes.append(
            f"gear {asked} is asked for, but {self.build.name} has {len(self.car.gears)}: used {len(self.car.gears)}"
        )
        return len(self.car.gears)

    def _check_top(self, n: float, stretch: _Stretch) -> None:
        if n > 1.001 * self.engine.top_speed:
            top = self.engine.top_speed / RPM
            self.notes.append(f"{stretch.label}: {n / RPM:.0f} rpm is above this engine's top speed, {top:.0f} rpm")


def _needed(stretch: _Stretch, name: str, key: str | None = None) -> float:
    value = getattr(stretch.phase, name)
    if value is None:
        raise BadInput(f"a {stretch.phase.kind} needs {key or name}", key=f"phases[{stretch.index}].{key or name}")
    return float(value)


def _unroll(session: Session, replays: Mapping[int, Replay]) -> list[_Stretch]:
    """Groups and repeats written out one after another, on sample indices."""
    stretches: list[_Stretch] = []
    elapsed = 0.0
    for phase, index, kind, label, repeat, duration in _sequence(session, replays):
        start = math.floor(elapsed * SAMPLE_RATE + 0.5)
        elapsed += duration
        end = math.floor(elapsed * SAMPLE_RATE + 0.5)
        if end > start:
            stretches.append(_Stretch(phase, index, kind, label, repeat, start, end))
    if not stretches:
        raise BadInput("the session has no phase, so there is nothing to forecast", where=session.file, key="phases")
    return stretches


_Turn = tuple[PhaseSpec, int, str, str, int, float]


def _sequence(session: Session, replays: Mapping[int, Replay]) -> Iterator[_Turn]:
    """(phase, its index, kind, label, repeat, duration) in the order in which they are driven."""
    for group, members in itertools.groupby(enumerate(session.phases), key=lambda item: item[1].group):
        phases = list(members)
        rounds = 1 if group is None else int(session.groups.get(group, 1))
        for k in range(rounds):
            for index, phase in phases:
                yield from _turns(
                    phase, index, replays, "" if group is None else f"{group} {k + 1} ", k if rounds > 1 else -1
                )


def _turns(phase: PhaseSpec, index: int, replays: Mapping[int, Replay], prefix: str, lap: int) -> Iterator[_Turn]:
    """One phase: itself, or a pull's repeats with the rests between them (none after the last)."""
    words = phase.name or SAID[phase.kind]
    if phase.kind != "pull":
        if phase.kind == "replay":
            if index not in replays:
                raise BadInput("a replay needs samples: the name of a CSV file", key=f"phases[{index}].samples")
            duration = float(replays[index].time[-1])
        elif phase.duration is None:
            raise BadInput(f"a {phase.kind} needs duration", key=f"phases[{index}].duration")
        else:
            duration = phase.duration
        yield phase, index, phase.kind, prefix + words, lap, duration
        return
    if phase.duration is None:
        raise BadInput("a pull needs duration", key=f"phases[{index}].duration")
    for r in range(phase.repeat):
        numbered = f"{words} {r + 1}" if phase.repeat > 1 else words
        repeat = lap if lap >= 0 else r if phase.repeat > 1 else -1  # in a repeated group the group is what repeats
        yield phase, index, "pull", prefix + numbered, repeat, phase.duration
        if phase.rest > 0.0 and r + 1 < phase.repeat:
            yield phase, index, "idle", prefix + "rest", -1, phase.rest


def _join(whole: np.ndarray, stretch: _Stretch, own: np.ndarray, local: np.ndarray, ramp: float) -> None:
    """Write a stretch's samples, moving over from where the stretch before ended."""
    if stretch.start and ramp > 0.0:
        before = whole[stretch.start]
        own = before + (own - before) * np.minimum(local / ramp, 1.0)
    whole[stretch.first : stretch.end + 1] = own


def _air_at_ducts(phase: PhaseSpec, build: Build, road_speed: np.ndarray, notes: list[str]) -> dict[str, np.ndarray]:
    """Air speed at every duct, m/s: the road's, none on a dyno, or what `air` says for its name or place."""
    told = dict(phase.air)
    on_dyno = phase.kind == "pull" and phase.on == "dyno"
    arriving = {}
    for name, duct in build.ducts.items():
        value = told.get(name, told.get(duct.spec.place))
        if value is None:
            arriving[name] = np.zeros_like(road_speed) if on_dyno else road_speed
        else:
            arriving[name] = np.full_like(road_speed, float(value))
    places = {duct.spec.place for duct in build.ducts.values()}
    for key in told:
        if key not in build.ducts and key not in places:
            what = f"no duct at the {key}" if key in PLACES else f'no duct named "{key}"'
            notes.append(f"air at {key}: this build has {what}, so it reaches nothing")
    return arriving


def _bay_rise(bay: BaySpec, stretch: _Stretch, engine_speed: np.ndarray, road_speed: np.ndarray) -> np.ndarray:
    """Where bay air is heading, K over ambient; on a dyno the bay is as at standstill."""
    on_dyno = stretch.phase.kind == "pull" and stretch.phase.on == "dyno"
    aired = np.zeros_like(road_speed) if on_dyno else np.clip(road_speed / BAY_MOVING, 0.0, 1.0)
    standing = np.where(engine_speed > 0.0, bay.idle_rise, bay.parked_rise)
    return standing + aired * (bay.temperature_rise - standing)


def _commands_by_control(build: Build, n: int) -> dict[str, np.ndarray]:
    """Commands of every pump, chiller and fan: 1 for always, 0 for off, NaN where its own control decides."""
    constant = {"always": 1.0, "off": 0.0, "above": math.nan, "schedule": 1.0}
    return {
        name: np.full(n, constant[part.control.mode])
        for name, part in build.parts.items()
        if isinstance(part, (PumpSpec, ChillerSpec, FanSpec))
    }


def engine_driven(build: Build, engine_speed: np.ndarray) -> dict[str, np.ndarray]:
    """Commands of the pumps that the engine turns, by its speed [rev/s]; see `pump.engine_command`."""
    return {
        name: engine_command(part, engine_speed, build.engine.top_speed)
        for name, part in build.parts.items()
        if isinstance(part, PumpSpec) and part.drive == "engine"
    }


def _command(command: dict[str, np.ndarray], stretch: _Stretch, build: Build) -> None:
    """What the phase says to pumps, chillers and fans with control = schedule, from its start on."""
    for name, values in command.items():
        part = build.parts[name]
        if part.control.mode == "schedule":
            said = stretch.phase.fans if isinstance(part, FanSpec) else stretch.phase.pumps
            values[stretch.start :] = 1.0 if said is None else said
