"""What each stretch of a session asks of engine and car, at its own samples.

What is here: engine speed, plenum target and road speed of every kind of phase, before joints and boost
lag.  What is not: how stretches follow each other (`stretches.py`), joints, air, bay and commands (`demand.py`).
"""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from coldside.build.model import Build
from coldside.duty import road
from coldside.duty.load import Surroundings, Weather, full_load_power, part_load_pressure
from coldside.duty.model import SAMPLE_TIME, Session
from coldside.duty.runs import launch_pressure, launch_speed, way_back
from coldside.duty.samples import Replay, beside, read_cycle
from coldside.duty.schedules import schedule
from coldside.duty.stretches import CREEP_SPEED, SAMPLE_RATE, Stretch, needed
from coldside.errors import BadInput
from coldside.parts import engine as engines
from coldside.parts.engine import RPM

STANDING = 0.1  # m/s, below which the car stands and the clutch is open
BURNOUT_SPEED, BURNOUT_LOAD = 0.6, 0.5  # of top speed and of full load, tyres spinning (own)
CREEP_RAMP = 0.75  # m/s2 when a queue moves up (own)
FULL_LOAD = 0.999  # share of full-load torque from which a driver asks for all there is


@dataclass
class Trace:
    """What a stretch asks at its own samples, before joints and boost lag."""

    engine_speed: np.ndarray
    plenum: np.ndarray
    full_load: np.ndarray
    road_speed: np.ndarray
    measured: bool = False  # samples of a real car: no ramp and no lag is put on them


class Driver:
    """Turns a stretch into what it asks of engine and car."""

    def __init__(
        self, build: Build, weather: Weather, session: Session, replays: Mapping[int, Replay], notes: list[str]
    ) -> None:
        self.build, self.engine, self.car = build, build.engine, build.car
        self.weather, self.session, self.replays, self.notes = weather, session, replays, notes
        self.around = weather.start  # of the stretch in hand, at its own samples
        self._alike: dict[tuple, Trace] = {}
        self._last_full_load: tuple[np.ndarray, np.ndarray, Surroundings] | None = None

    def trace(self, stretch: Stretch, local: np.ndarray) -> Trace:
        """What the stretch asks at its own samples; of repeats that are alike, what the first one asked."""
        key = (stretch.index, stretch.kind, len(local), bool(stretch.start))
        noted = len(self.notes)
        if key not in self._alike or stretch.part or self.weather.changes:
            self._alike[key] = self._trace(stretch, local)
        found = self._alike[key]
        if len(self.notes) > noted:  # what is said of one repeat is said of each
            del self._alike[key]
        return found

    def _trace(self, stretch: Stretch, local: np.ndarray) -> Trace:
        phase = stretch.phase
        self.around = self.weather.at(stretch.start / SAMPLE_RATE + local)
        if stretch.part:
            return self._part(stretch, local)
        if stretch.kind == "pull":
            return self._pull(stretch, local)
        if phase.kind in ("cycle", "staging"):
            return self._cycle(stretch, local)
        if phase.kind == "parked":
            still = np.zeros_like(local)
            return Trace(still, np.full_like(local, self.around.pressure), still.astype(bool), still)
        if phase.kind == "replay":
            return self._replay(stretch, local)
        if phase.kind == "traffic":
            return self._traffic(stretch, local)
        if phase.kind == "cruise" or (phase.kind == "cooldown" and phase.speed is not None):
            return self._cruise(stretch, local)
        speed = phase.engine_speed if phase.kind == "idle" else None
        return self._standing(local, self.engine.idle_speed if speed is None else speed)

    def _part(self, stretch: Stretch, local: np.ndarray) -> Trace:
        """One part of a pass, a lap or a wait in the paddock."""
        phase, piece = stretch.phase, stretch.piece
        still = np.zeros_like(local)
        if piece is not None and piece.driven is not None:
            driven, t = piece.driven, stretch.since + local
            n, plenum, v = (
                np.interp(t, driven.time, column) for column in (driven.engine_speed, driven.plenum, driven.speed)
            )
            at = np.clip(np.searchsorted(driven.time, t), 0, len(driven.time) - 1)
            return Trace(n, plenum, driven.full_load[at], v, measured=True)
        if stretch.part == "off":
            return Trace(still, np.full_like(local, self.around.pressure), still.astype(bool), still)
        if stretch.part == "burnout":
            n = np.full_like(local, BURNOUT_SPEED * self.engine.top_speed)
            half = BURNOUT_LOAD * full_load_power(self.engine, n, self.around)
            return Trace(n, part_load_pressure(self.engine, n, half, self.around), still.astype(bool), still)
        if stretch.part == "launch":
            held = self._standing(local, launch_speed(phase, self.engine.top_speed))
            if phase.launch_boost is not None:
                held.plenum = np.maximum(held.plenum, launch_pressure(phase, self.around.pressure))
            return held
        if stretch.part == "back":
            v, a = way_back(local, (stretch.end - stretch.start) / SAMPLE_RATE, phase.return_speed)
            return self._moving(v, acceleration=a, stretch=stretch)
        return self._standing(local, self.engine.idle_speed)

    def _cycle(self, stretch: Stretch, local: np.ndarray) -> Trace:
        """A regulated cycle, or moves up in a queue."""
        phase = stretch.phase
        if phase.kind == "cycle":
            times, speeds = schedule(needed(phase.schedule, "cycle", "schedule", stretch.index))
        else:
            times, speeds = move_up(phase.creep_every, phase.creep_distance)
        v, a = _rounds(tuple(times), tuple(speeds), round(local[0] * SAMPLE_RATE), len(local))
        return self._moving(v, acceleration=a, grade=phase.grade, headwind=phase.headwind)

    def _standing(self, local: np.ndarray, engine_speed: float) -> Trace:
        """Out of gear: the engine carries itself only."""
        n = np.full_like(local, engine_speed)
        plenum = part_load_pressure(self.engine, n, 0.0, self.around)
        return Trace(n, plenum, np.zeros(len(n), dtype=bool), np.zeros_like(local))

    def _pull(self, stretch: Stretch, local: np.ndarray) -> Trace:
        low = needed(stretch.phase.from_speed, "pull", "from", stretch.index)
        high = low if stretch.phase.to_speed is None else stretch.phase.to_speed
        duration = needed(stretch.phase.duration, "pull", "duration", stretch.index)
        n = low + (high - low) * np.minimum(local / duration, 1.0)
        self._check_top(max(low, high), stretch)
        gear = self._gear(stretch.phase.gear) or road.pull_gear(self.car)
        plenum = engines.boost_target(self.engine, n, self.around.pressure)
        return Trace(n, plenum, np.ones(len(n), dtype=bool), road.road_speed_in(self.car, n, gear))

    def _replay(self, stretch: Stretch, local: np.ndarray) -> Trace:
        own = self.replays[stretch.index]
        n = np.interp(local, own.time, own.engine_speed)
        plenum = np.interp(local, own.time, own.plenum)
        asked = engines.boost_target(self.engine, n, self.around.pressure)
        full = plenum >= np.maximum(0.95 * asked, self.around.pressure)
        return Trace(n, plenum, full, np.interp(local, own.time, own.road_speed), measured=True)

    def _traffic(self, stretch: Stretch, local: np.ndarray) -> Trace:
        if stretch.phase.cycle is None:
            times, speeds = road.stop_and_go()
            self.notes.append("traffic: a stop-and-go cycle of our own (invented), 12 km/h on average")
        else:
            times, speeds = read_cycle(beside(self.session.file, stretch.phase.cycle))
        v, a = _rounds(tuple(times), tuple(speeds), round(local[0] * SAMPLE_RATE), len(local))
        return self._moving(v, acceleration=a)

    def _cruise(self, stretch: Stretch, local: np.ndarray) -> Trace:
        phase = stretch.phase
        if phase.speed is None and (phase.engine_speed is None or phase.load is None):
            raise BadInput(
                "a cruise needs its road speed, or engine_speed and load where the car stands on rollers",
                where=self.session.file, key=f"phases[{stretch.index}].speed",
            )  # fmt: skip
        v = np.full_like(local, phase.speed or 0.0)
        return self._moving(
            v, grade=phase.grade, gear=self._gear(phase.gear), engine_speed=phase.engine_speed, load=phase.load,
            stretch=stretch, headwind=phase.headwind,
        )  # fmt: skip

    def _moving(
        self, v: np.ndarray, *, acceleration: np.ndarray | float = 0.0, grade: float = 0.0, gear: int | None = None,
        engine_speed: float | None = None, load: float | None = None, stretch: Stretch | None = None,
        headwind: float = 0.0,
    ) -> Trace:  # fmt: skip
        """The car held at a road speed, or the engine at a speed and a share of its torque."""
        a = np.broadcast_to(np.asarray(acceleration, dtype=float), v.shape)
        # samples in which car and air ask what they asked in the one before (standing, held speed) are taken from it
        unlike = (np.diff(v) != 0.0) | (np.diff(a) != 0.0)
        if self.weather.changes or unlike.all():
            return self._moving_unlike(v, a, grade, gear, engine_speed, load, stretch, headwind)
        heads = np.concatenate([[0], np.flatnonzero(unlike) + 1])
        found = self._moving_unlike(v[heads], a[heads], grade, gear, engine_speed, load, stretch, headwind)
        held = np.diff(np.append(heads, len(v)))
        return Trace(
            np.repeat(found.engine_speed, held),
            np.repeat(found.plenum, held),
            np.repeat(found.full_load, held),
            np.repeat(found.road_speed, held),
        )

    def _moving_unlike(
        self, v: np.ndarray, acceleration: np.ndarray, grade: float, gear: int | None, engine_speed: float | None,
        load: float | None, stretch: Stretch | None, headwind: float,
    ) -> Trace:  # fmt: skip
        """`_moving` at samples that are unlike their neighbours."""
        gears = self._gears(v, acceleration, grade, headwind) if gear is None else np.full(len(v), gear)
        moving = v > STANDING
        n = np.where(moving, road.engine_speed_in(self.car, v, gears), 0.0)
        n = np.maximum(n, self.engine.idle_speed) if engine_speed is None else np.full(len(v), engine_speed)
        if stretch is not None:
            self._check_top(float(n.max()), stretch)
        if load is None:
            power = road.brake_power(
                self.car, v, self.around.density, gears, grade=grade, acceleration=acceleration, headwind=headwind
            )
            plenum = part_load_pressure(self.engine, n, power, self.around, self._full_load(n))
            return Trace(n, plenum, np.zeros(len(v), dtype=bool), v)
        most = self._full_load(n)
        full = np.full(len(v), load >= FULL_LOAD)
        return Trace(n, part_load_pressure(self.engine, n, load * most, self.around, most), full, v)

    def _full_load(self, n: np.ndarray) -> np.ndarray:
        """`full_load_power` at these engine speeds; gears and pressure ask for the same ones in turn."""
        known = self._last_full_load
        if known is None or known[2] is not self.around or not np.array_equal(known[0], n):
            known = self._last_full_load = (n, full_load_power(self.engine, n, self.around), self.around)
        return known[1]

    def _gears(self, v: np.ndarray, acceleration: np.ndarray | float, grade: float, headwind: float) -> np.ndarray:
        """The cruising gear, shifted down as far as the power asked for needs it."""
        gears = road.gear_for(self.car, self.engine.top_speed, v)
        for _ in range(len(self.car.gears) - 1):
            n = np.maximum(road.engine_speed_in(self.car, v, gears), self.engine.idle_speed)
            asked = road.brake_power(
                self.car, v, self.around.density, gears, grade=grade, acceleration=acceleration, headwind=headwind
            )
            lower = np.maximum(gears - 1, 1)
            weak = asked > self._full_load(n)
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

    def _check_top(self, n: float, stretch: Stretch) -> None:
        if n > 1.001 * self.engine.top_speed:
            top = self.engine.top_speed / RPM
            self.notes.append(f"{stretch.label}: {n / RPM:.0f} rpm is above this engine's top speed, {top:.0f} rpm")


@functools.lru_cache(maxsize=8)
def _rounds(times: tuple[float, ...], speeds: tuple[float, ...], first: int, n: int) -> tuple[np.ndarray, np.ndarray]:
    """Road speed and acceleration at n samples from number `first` on, round after round; draws share them."""
    local = np.arange(first, first + n) / SAMPLE_RATE
    v = np.interp(np.mod(local, times[-1]), times, speeds)
    before = np.interp(np.mod(np.maximum(local - SAMPLE_TIME, 0.0), times[-1]), times, speeds)
    a = (v - before) / SAMPLE_TIME
    for found in (v, a):
        found.flags.writeable = False
    return v, a


def move_up(every: float, distance: float) -> tuple[np.ndarray, np.ndarray]:
    """One wait and one move up of a queue: (time s, speed m/s), `every` s long, `distance` m far, at walking speed."""
    peak = min(CREEP_SPEED, (CREEP_RAMP * distance) ** 0.5)
    ramp = peak / CREEP_RAMP
    held = distance / peak - ramp
    start = max(every - (2.0 * ramp + held), 0.0)
    times = np.cumsum([0.0, start, ramp, held, ramp])
    speeds = np.array([0.0, 0.0, peak, peak, 0.0])
    kept = np.append(np.diff(times) > 0.0, True)
    return times[kept], speeds[kept]
