"""A session sampled for one build: what the engine, the car and the surroundings ask, ten times a second.

What is here: joints between stretches, boost lag, distance, air at each duct, bay temperature, pump and fan
commands.  What is not: reading of sessions (`phases.py`), unrolling of groups and repeats (`stretches.py`),
what each kind of phase asks (`driver.py`), part load (`load.py`), road load and gears (`road.py`), and any
charge flow or temperature of charge or coolant (`plant/`).

Joints.  A phase owns the samples after its start up to and including its end, so that a pull reaches
its last engine speed; at its start speeds and throttle move from where the phase before left them.
Commands are held from a sample to the next, so the phase that begins at a sample commands there.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np

from coldside.build.model import Build, names_on
from coldside.duty.driver import FULL_LOAD as FULL_LOAD
from coldside.duty.driver import Driver
from coldside.duty.load import CHARGE_RISE as CHARGE_RISE
from coldside.duty.load import Surroundings as Surroundings
from coldside.duty.load import friction_power as friction_power
from coldside.duty.load import full_load_power as full_load_power
from coldside.duty.load import part_load_pressure as part_load_pressure
from coldside.duty.load import reckoned_power as reckoned_power
from coldside.duty.load import surroundings as surroundings
from coldside.duty.load import weather as weather
from coldside.duty.model import SAMPLE_TIME, Demand, PhaseSpec, Run, Session, Shares, Span
from coldside.duty.runs import Runner
from coldside.duty.samples import beside, read_replay
from coldside.duty.stretches import SAMPLE_RATE, Stretch, unroll
from coldside.media.compiled import worth_compiling
from coldside.parts.airflow import PLACES, FanSpec
from coldside.parts.chiller import ChillerSpec
from coldside.parts.engine import BaySpec
from coldside.parts.intake_air import PickUp, drawn_rise, pickup_of, settled_rise
from coldside.parts.lines import FilterSpec
from coldside.parts.pump import PumpSpec, engine_command

SPEED_RAMP = 0.5  # s in which engine, road and air speed move over from one phase to the next (own)
OPENING_RAMP = 0.3  # s in which a throttle opens at a joint (own)
CLOSING_RAMP = 0.1  # s in which it closes, and in which pressure falls with it (own)
BAY_MOVING = 20.0 / 3.6  # m/s, from which the bay is aired as on the move; common practice, no source


def sample(session: Session, build: Build, shares: Shares | None = None) -> Demand:
    """The session, sampled every `SAMPLE_TIME` for one build.

    n = 1 + total time / SAMPLE_TIME samples at exact multiples; phases that are no multiple end at
    the nearest sample.  Names in `air` that this build has not, gears that it has not and the like
    are noted in `Demand.notes`.

    `shares` tells passes and laps how much of the full-load power that the demand reckons with
    (`reckoned_power`) is there along each run, by (`Run.phase`, `Run.repeat`); without it, all.  So a
    forecast feeds back: power over `reckoned_power` at the run's samples against `Demand.distance`.

    Raises `BadInput` where a phase misses what its kind needs or a
    file of samples cannot be read.
    """
    air = weather(session)
    notes: list[str] = []
    replays = {
        index: read_replay(beside(session.file, phase.samples), air.start.pressure)
        for index, phase in enumerate(session.phases)
        if phase.kind == "replay" and phase.samples is not None
    }
    for replay in replays.values():
        notes.extend(replay.notes)
    runner = Runner(build, air, session.file, notes, shares)
    stretches = unroll(session, replays, runner)
    n = stretches[-1].end + 1
    driver = Driver(build, air, session, replays, notes)
    engine_speed, target, road_speed = np.zeros(n), np.zeros(n), np.zeros(n)
    full_load, measured = np.zeros(n, dtype=bool), np.zeros(n, dtype=bool)
    air_speed = {name: np.zeros(n) for name in build.ducts}
    bay_rise, past = np.zeros(n), np.zeros(n)
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
            _join(air_speed[name], stretch, arriving, local, 0.0 if stretch.driven else SPEED_RAMP)
        past[own] = 0.0 if _on_dyno(stretch.phase) else np.maximum(road_speed[own] + stretch.phase.headwind, 0.0)
        bay_rise[own] = _bay_rise(build.bay, stretch, engine_speed[own], road_speed[own])
        _command(command, stretch, build)
    command |= engine_driven(build, engine_speed)
    lag = build.engine.boost_lag
    start_rise = build.bay.parked_rise if session.start == "soaked" else 0.0
    time = np.arange(n) / SAMPLE_RATE
    moment = air.at(time)
    return Demand(
        time=time,
        spans=tuple(Span(s.first, s.end, s.kind, s.label, s.repeat, s.part) for s in stretches),
        engine_speed=engine_speed,
        plenum_target=lagged_boost(target, air.start.pressure, lag, exact=measured),
        full_load=full_load,
        road_speed=road_speed,
        air_speed=air_speed,
        ambient_temperature=np.asarray(moment.temperature),
        ambient_pressure=air.start.pressure,
        humidity=np.asarray(moment.humidity),
        bay_temperature=moment.temperature + first_order(bay_rise, build.bay.time_constant, start_rise),
        command=command,
        start=session.start,
        notes=tuple(dict.fromkeys([*notes, *_unheard(session, build)])),
        distance=_distance(stretches, road_speed),
        runs=tuple(_runs(stretches)),
        drawn_rise=_drawn_rise(build, engine_speed, past, moment.temperature, session.start == "soaked"),
    )


def _drawn_rise(
    build: Build, engine_speed: np.ndarray, past: np.ndarray, ambient: np.ndarray | float, soaked: bool
) -> np.ndarray | None:
    """Rise before the compressor, K, with air at `past` [m/s] along the car; None without figures of it.

    A session that starts at ambient starts with a cold engine and no rise, one that starts soaked as after standing.
    """
    pickup = drawn_pickup(build)
    if pickup is None:
        return None
    time, first = np.arange(len(past)) / SAMPLE_RATE, np.ravel(ambient)[0]
    start = settled_rise(pickup, 0.0, first).item() if soaked else 0.0
    return drawn_rise(pickup, time, past, engine_speed, ambient, warm=float(soaked), start=start)


def drawn_pickup(build: Build) -> PickUp | None:
    """What the keys of the first filter on the charge path tell of the air drawn in; None without them."""
    parts = [build.parts.get(name) for name in names_on(build.charge)]
    return next((pickup_of(part) for part in parts if isinstance(part, FilterSpec)), None)


def _distance(stretches: Sequence[Stretch], road_speed: np.ndarray) -> np.ndarray:
    """Distance from the start of each sample's own stretch, m: as marched, else road speed integrated."""
    out = np.zeros(len(road_speed))
    for stretch in stretches:
        v = road_speed[stretch.start : stretch.end + 1]
        out[stretch.start + 1 : stretch.end + 1] = np.cumsum(0.5 * (v[1:] + v[:-1])) * SAMPLE_TIME
        if stretch.driven is not None:
            way = stretch.driven.distance - stretch.driven.distance[0]
            out[stretch.first : stretch.end + 1] = np.interp(stretch.since + stretch.local(), stretch.driven.time, way)
    return out


def _runs(stretches: Sequence[Stretch]) -> Iterator[Run]:
    """The timed runs among the stretches."""
    for s in stretches:
        if s.piece is not None and s.piece.timed:
            piece = s.piece
            yield Run(
                s.index,
                piece.number,
                s.label,
                s.first,
                s.end,
                piece.duration,
                piece.speed,
                piece.length,
                piece.standing,
            )


def first_order(target: np.ndarray, lag: float, start: float) -> np.ndarray:
    """First-order lag behind a target that is linear between samples; exact for that input.

    `lag` in s, 0 for none; `start` is the value at the first sample.  Same unit as `target`.
    """
    if lag <= 0.0:
        return np.array(target, dtype=float)
    values = np.asarray(target, dtype=float)
    decay = math.exp(-SAMPLE_TIME / lag)
    slope_lag = np.diff(values) * (lag / SAMPLE_TIME)
    g = values[1:] - slope_lag + (slope_lag - values[:-1]) * decay
    out = np.empty(len(values))
    out[0] = start
    if lag < SAMPLE_TIME:
        for i, own_g in enumerate(g):
            out[i + 1] = decay * out[i] + own_g
        return out
    # x_i = decay x_(i-1) + g_i, summed in blocks so short that decay^-i stays under e^8
    block = int(8.0 * lag / SAMPLE_TIME)
    for first in range(0, len(g), block):
        own = g[first : first + block]
        powers = decay ** np.arange(1, len(own) + 1)
        out[first + 1 : first + 1 + len(own)] = powers * (out[first] + np.cumsum(own / powers))
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
    if lag <= 0.0:
        return out
    # only where more than ambient is asked for can pressure be behind
    due = np.flatnonzero(~keep[1:] & (np.asarray(target[1:]) > ambient_pressure)) + 1
    if worth_compiling(0):
        from coldside.duty.lag import follow

        follow(out, np.asarray(target, dtype=float), due, float(ambient_pressure), float(lag), (SAMPLE_TIME, decay))
        return out
    found, asked = out.tolist(), out.tolist()  # lists: one number at a time is read and written
    asked[0] = float(target[0])
    for i in due.tolist():
        value, now = found[i - 1], asked[i]
        if now > value:
            before = max(asked[i - 1], ambient_pressure)
            found[i] = min(_follow(max(value, ambient_pressure), before, now, lag, decay), now)
    return np.asarray(found)


def _follow(value: float, before: float, now: float, lag: float, decay: float) -> float:
    """One sample of x' = (u - x) / lag with u going in a straight line from `before` to `now`."""
    slope = (now - before) / SAMPLE_TIME
    return now - slope * lag + (value - before + slope * lag) * decay


def _join(whole: np.ndarray, stretch: Stretch, own: np.ndarray, local: np.ndarray, ramp: float) -> None:
    """Write a stretch's samples, moving over from where the stretch before ended."""
    if stretch.start and ramp > 0.0:
        before = whole[stretch.start]
        own = before + (own - before) * np.minimum(local / ramp, 1.0)
    whole[stretch.first : stretch.end + 1] = own


def _on_dyno(phase: PhaseSpec) -> bool:
    return phase.kind == "pull" and phase.on == "dyno"


def _air_at_ducts(phase: PhaseSpec, build: Build, road_speed: np.ndarray, notes: list[str]) -> dict[str, np.ndarray]:
    """Air speed at every duct, m/s: the road's, none on a dyno, or what `air` says for its name or place."""
    told = dict(phase.air)
    on_dyno = _on_dyno(phase)
    arriving = {}
    for name, duct in build.ducts.items():
        value = told.get(name, told.get(duct.spec.place))
        if value is None and phase.headwind and not on_dyno:
            arriving[name] = np.maximum(road_speed + phase.headwind, 0.0)
        elif value is None:
            arriving[name] = np.zeros_like(road_speed) if on_dyno else road_speed
        else:
            arriving[name] = np.full_like(road_speed, float(value))
    places = {duct.spec.place for duct in build.ducts.values()}
    for key in told:
        if key not in build.ducts and key not in places:
            what = f"no duct at the {key}" if key in PLACES else f'no duct named "{key}"'
            notes.append(f"air at {key}: this build has {what}, so it reaches nothing")
    return arriving


def _bay_rise(bay: BaySpec, stretch: Stretch, engine_speed: np.ndarray, road_speed: np.ndarray) -> np.ndarray:
    """Where bay air is heading, K over ambient; on a dyno the bay is as at standstill."""
    on_dyno = _on_dyno(stretch.phase)
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


def _unheard(session: Session, build: Build) -> Iterator[str]:
    """What phases say to pumps or fans of which none listens, each thing once."""
    sorts = (
        ("pumps", "pump", [p for p in build.parts.values() if isinstance(p, PumpSpec) and p.drive != "engine"]),
        ("fans", "fan", [p for p in build.parts.values() if isinstance(p, FanSpec)]),
    )
    for key, noun, parts in sorts:
        said = any(getattr(phase, key) is not None for phase in session.phases)
        if said and parts and all(part.control.mode != "schedule" for part in parts):
            yield (
                f"what the session's phases say of {key} reaches no {noun} of this build, each of which goes by its "
                f'own control; with control = "schedule" the session decides'
            )


def engine_driven(build: Build, engine_speed: np.ndarray) -> dict[str, np.ndarray]:
    """Commands of the pumps that the engine turns, by its speed [rev/s]; see `pump.engine_command`."""
    return {
        name: engine_command(part, engine_speed, build.engine.top_speed)
        for name, part in build.parts.items()
        if isinstance(part, PumpSpec) and part.drive == "engine"
    }


def _command(command: dict[str, np.ndarray], stretch: Stretch, build: Build) -> None:
    """What the phase says to pumps, chillers and fans with control = schedule, from its start on."""
    for name, values in command.items():
        part = build.parts[name]
        if part.control.mode == "schedule":
            said = stretch.phase.fans if isinstance(part, FanSpec) else stretch.phase.pumps
            values[stretch.start :] = 1.0 if said is None else said
