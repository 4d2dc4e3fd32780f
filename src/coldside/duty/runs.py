"""Passes and laps written out: the pieces that each is made of, driven, with their times.

What is here: `Runner`, which drives a phase's passes or laps and hands back `Piece`s in order.  What is not:
the march (`drive.py`), caps of a track (`laps.py`), and how pieces become samples (`stretches.py`, `driver.py`).

Burnout, waiting on the line, the way back and rests are ordinary pieces: `driver.py` knows what they ask.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from coldside.build.model import Build
from coldside.duty import road
from coldside.duty.courses import Track, find_track
from coldside.duty.drive import (
    STEP,
    Course,
    Driven,
    Powertrain,
    RunState,
    Share,
    march,
    march_to_speed,
    powertrain,
    standing,
)
from coldside.duty.laps import course_on, eased
from coldside.duty.load import Weather
from coldside.duty.model import PhaseSpec, Shares
from coldside.errors import BadInput
from coldside.parts.engine import RPM

LAUNCH_SHARE = 0.45  # of top speed, where clutch or converter hold the engine at a start (own)
SLOW_PACE = 0.4  # share of grip in a lap before or after the timed ones (own)
SLOW_THROTTLE = 0.3  # and of full load
SHUT_DOWN = 3.0  # m/s2, braking behind a finish line; common practice, no source
BACK_UP, BACK_DOWN = 1.0, 1.5  # m/s2, setting off and stopping on the way back (own)
LAP_STEP = 0.025  # s of a lap's march; half of it moves a lap by 3 ms at the most
SLOW_STEP = 0.1  # s, before and after the timed laps
LONGEST_PULL = 180.0  # s
GRIPPED = 20.0  # friction on the strapped-down car's weight that no pull reaches
LONGEST_RUN = 1800.0  # s of one pass or lap
SAME = 1e-6  # relative difference of two laps' starts below which the laps are one


@dataclass(frozen=True)
class Piece:
    """One stretch of a run: what it is, how long, s, and the march that it was taken from (None: `driver.py`)."""

    part: str  # "burnout", "launch", "run", "braking", "back", "rest", "slow"
    label: str
    duration: float
    timed: bool = False
    driven: Driven | None = None
    speed: float = 0.0  # m/s at the finish line of a timed one
    length: float = 0.0  # m of a timed one, or of the way back
    number: int = 0  # counts the phase's timed runs over the session
    standing: bool = False  # of a timed one: as on `model.Run`


class Runner:
    """Drives the passes and laps of a session for one build; `shares` as in `model.Shares`.

    A run is driven in the air of its start; `clock` [s since the session's start] is when the next phase begins.
    """

    def __init__(
        self, build: Build, weather: Weather, file: str, notes: list[str], shares: Shares | None = None
    ) -> None:
        self.build, self.weather, self.file, self.notes = build, weather, file, notes
        self.clock = 0.0
        self.shares = dict(shares or {})
        self._cars: dict[tuple[float, float], Powertrain] = {}
        self._done: dict[int, int] = {}  # timed runs so far, by phase
        self._passes: dict[tuple[int, float], tuple[Driven, Driven]] = {}
        self._courses: dict[tuple[int, str, float], Course] = {}

    def _car(self, before: list[Piece]) -> Powertrain:
        """The build's tables in the air as it is when these pieces of the phase are done."""
        around = self.weather.at(self.clock + sum(piece.duration for piece in before))
        key = (float(around.temperature), float(around.humidity_ratio))
        if key not in self._cars:
            self._cars[key] = powertrain(self.build, around)
        return self._cars[key]

    def pieces(self, phase: PhaseSpec, index: int) -> list[Piece]:
        """Everything that one round of a pass or lap phase is made of, in order.

        Raises `BadInput` where the car cannot finish, or a track cannot be read.
        """
        if phase.kind == "pass":
            return self._strip(phase, index)
        if phase.kind == "pull":
            return self._pulls(phase, index)
        track = find_track(self.file, needed_text(phase.track, index, self.file))
        self.notes.extend(track.notes)
        return self._laps(phase, index, track) if track.closed else self._ways(phase, index, track)

    def _number(self, index: int) -> int:
        self._done[index] = self._done.get(index, -1) + 1
        return self._done[index]

    def _share(self, index: int, number: int) -> Share | None:
        """Share of full-load power over distance for one run; None for all of it."""
        if (index, number) not in self.shares:
            return None
        grid, share = (np.asarray(x, dtype=float) for x in self.shares[index, number])
        if grid.ndim != 1 or grid.shape != share.shape or not len(grid) or (np.diff(grid) < 0.0).any():
            raise BadInput("a share of power needs a distance that rises and as many shares", key="shares")
        return grid, share

    # -- standing starts ---------------------------------------------------------------------------------
    def _line(self, phase: PhaseSpec, course: Course, car: Powertrain) -> RunState:
        """The car on the line, with what boost the hold has built."""
        held = None
        if phase.launch_boost is not None:
            asked = launch_pressure(phase, car.ambient)
            built = 1.0 - np.exp(-phase.launch_hold / car.lag) if car.lag > 0.0 else 1.0
            held = car.ambient + max(asked - car.ambient, 0.0) * float(built)
        return standing(car, course, held)

    def _strip(self, phase: PhaseSpec, index: int) -> list[Piece]:
        """The repeats of a pass: burnout, launch, run, braking, way back, rest."""
        distance = phase.distance
        if distance is None:
            raise BadInput("a pass needs distance", where=self.file, key=f"phases[{index}].distance")
        course = Course(
            cap=(self._car([]).fastest,),
            grade=(phase.grade,),
            headwind=phase.headwind,
            slip=launch_speed(phase, self.build.engine.top_speed),
        )
        found: list[Piece] = []
        for r in range(phase.repeat):
            number = self._number(index)
            share = self._share(index, number)
            car = self._car(found)
            alike = (index, car.density)
            if share is None and alike in self._passes:
                driven, braking = self._passes[alike]
            else:
                driven = self._marched(self._line(phase, course, car), distance, share, index)
                braking = shut_down(driven.end, car)
                if share is None:
                    self._passes[alike] = driven, braking
            found += self._around_run(phase, driven, braking, (r, number), phase.name or "pass")
            if r + 1 < phase.repeat:
                way = distance + float(braking.distance[-1])
                back = way / phase.return_speed + 0.5 * phase.return_speed * (1.0 / BACK_UP + 1.0 / BACK_DOWN)
                found.append(Piece("back", "way back", back, length=way))
                if phase.rest > 0.0:
                    found.append(Piece("rest", "rest", phase.rest))
        return found

    def _around_run(
        self, phase: PhaseSpec, driven: Driven, braking: Driven, counted: tuple[int, int], words: str
    ) -> list[Piece]:
        """Burnout and launch before a standing start, the run, braking behind it."""
        r, number = counted
        tail = f" {r + 1}" if phase.repeat > 1 else ""
        time, speed = driven.marks[-1]
        found = []
        if phase.burnout > 0.0:
            found.append(Piece("burnout", "burnout" + tail, phase.burnout))
        if phase.launch_hold > 0.0:
            found.append(Piece("launch", "launch" + tail, phase.launch_hold))
        length = float(driven.distance[-1] - driven.distance[0])
        found.append(Piece("run", words + tail, time, True, driven, speed, length, number, True))
        found.append(Piece("braking", "braking" + tail, float(braking.time[-1]), driven=braking))
        return found

    def _marched(self, state: RunState, length: float, share: Share | None, index: int, step: float = STEP) -> Driven:
        driven = march(state, (length,), share, step=step, longest=LONGEST_RUN)
        if driven is None:
            raise BadInput(
                f"{self.build.name} does not reach the finish line within {LONGEST_RUN / 60.0:.0f} min: "
                "too steep, too little grip, or no power",
                where=self.file,
                key=f"phases[{index}]",
            )
        return driven

    def _pulls(self, phase: PhaseSpec, index: int) -> list[Piece]:
        """Pulls in one gear that last as long as car, or rollers, take to be accelerated."""
        low, high = phase.from_speed, phase.to_speed
        if low is None or high is None:
            raise BadInput("a pull without duration needs from and to", key=f"phases[{index}].to")
        if phase.on == "dyno" and phase.drum_mass is None:
            raise BadInput("a pull on a dyno needs duration or drum_mass", key=f"phases[{index}].drum_mass")
        top = self.build.engine.top_speed
        if high > 1.001 * top:
            self.notes.append(
                f"{phase.name or 'pull'}: {high / RPM:.0f} rpm is above this engine's top speed, {top / RPM:.0f} rpm"
            )
        gear = min(phase.gear or road.pull_gear(self.build.car), len(self.build.car.gears))
        course = Course(grade=(0.0 if phase.on == "dyno" else phase.grade,), headwind=phase.headwind)
        words = phase.name or "pull"
        found: list[Piece] = []
        last: tuple[Powertrain, Driven] | None = None
        for r in range(phase.repeat):
            around = self._car(found)
            if last is None or last[0] is not around:
                car = in_gear(around, gear, phase.drum_mass if phase.on == "dyno" else None)
                state = standing(car, course)._replace(speed=low / car.ratio[0], engine_speed=low)
                last = (
                    around,
                    self._pulled(march_to_speed(state, high / car.ratio[0], longest=LONGEST_PULL), gear, index, high),
                )
            driven = last[1]
            tail = f" {r + 1}" if phase.repeat > 1 else ""
            found.append(Piece("run", words + tail, float(driven.time[-1]), driven=driven))
            if phase.rest > 0.0 and r + 1 < phase.repeat:
                found.append(Piece("rest", "rest", phase.rest))
        return found

    def _pulled(self, driven: Driven | None, gear: int, index: int, high: float) -> Driven:
        """The march of a pull; refuses one that did not come to its engine speed."""
        if driven is None:
            raise BadInput(
                f"{self.build.name} does not reach {high / RPM:.0f} rpm within {LONGEST_PULL:.0f} s in gear {gear}: "
                "the hill or the drag is too much, or the limiter comes first",
                where=self.file,
                key=f"phases[{index}].to",
            )
        return driven

    # -- tracks ------------------------------------------------------------------------------------------
    def _course(self, track: Track, phase: PhaseSpec, index: int, car: Powertrain, slow: bool = False) -> Course:
        key = (index, "slow" if slow else "fast", car.density)
        if key not in self._courses:
            pace, throttle = (SLOW_PACE * phase.pace, SLOW_THROTTLE) if slow else (phase.pace, 1.0)
            slip = launch_speed(phase, self.build.engine.top_speed)
            self._courses[key] = course_on(track, car, pace=pace, throttle=throttle, slip=slip)
        return self._courses[key]

    def _ways(self, phase: PhaseSpec, index: int, track: Track) -> list[Piece]:
        """An open track: every repeat from a standing start, rests between."""
        found: list[Piece] = []
        for r in range(phase.repeat):
            number = self._number(index)
            car = self._car(found)
            start = standing(car, self._course(track, phase, index, car))
            driven = self._marched(start, track.length, self._share(index, number), index, LAP_STEP)
            found += self._around_run(phase, driven, shut_down(driven.end, car), (r, number), phase.name or "run")
            if phase.rest > 0.0 and r + 1 < phase.repeat:
                found.append(Piece("rest", "rest", phase.rest))
        return found

    def _laps(self, phase: PhaseSpec, index: int, track: Track) -> list[Piece]:
        """A closed track: slow lap out, timed laps on end, slow lap in; or a standing start without slow laps."""
        found: list[Piece] = []
        car = self._car(found)
        state = standing(car, self._course(track, phase, index, car, slow=phase.out_lap))
        if phase.out_lap:
            out = self._marched(state, track.length, None, index, SLOW_STEP)
            found.append(Piece("slow", "lap out", float(out.time[-1]), driven=out))
            state = out.end
        last: Driven | None = None
        began: RunState | None = None
        for r in range(phase.repeat):
            number = self._number(index)
            share = self._share(index, number)
            car = self._car(found)
            state = state._replace(distance=0.0, time=0.0, car=car, course=self._course(track, phase, index, car))
            if last is None or share is not None or began is None or not _alike(began, state):
                began = state if share is None else None
                last = self._marched(state, track.length, share, index, LAP_STEP)
            time, speed = last.marks[-1]
            words = f"{phase.name or 'lap'} {r + 1}" if phase.repeat > 1 else phase.name or "lap"
            found.append(Piece("run", words, time, True, last, speed, track.length, number))
            state = last.end
        if phase.out_lap:
            car = self._car(found)
            slow, fast = self._course(track, phase, index, car, slow=True), self._course(track, phase, index, car)
            home = eased(slow, fast, state.speed)
            start = state._replace(distance=0.0, time=0.0, car=car, course=home)
            end = self._marched(start, track.length, None, index, SLOW_STEP)
            found.append(Piece("slow", "lap in", float(end.time[-1]), driven=end))
            state = end.end
        stop = shut_down(state, state.car)
        found.append(Piece("braking", "stopping", float(stop.time[-1]), driven=stop))
        return found


def needed_text(value: str | None, index: int, file: str) -> str:
    """The name of a lap's track; refuses its absence."""
    if value is None:
        raise BadInput("a lap needs track", where=file, key=f"phases[{index}].track")
    return value


def launch_speed(phase: PhaseSpec, top_speed: float) -> float:
    """Engine speed that clutch or converter hold on the line, rev/s: given, or 45 % of top speed."""
    return LAUNCH_SHARE * top_speed if phase.launch_speed is None else phase.launch_speed


def launch_pressure(phase: PhaseSpec, ambient: float) -> float:
    """Plenum pressure held on the line, Pa absolute; `ambient` Pa where the phase names no boost."""
    level = phase.launch_boost
    if level is None:
        return ambient
    return float(level.value) + (ambient if level.gauge else 0.0)  # type: ignore[attr-defined]


def in_gear(car: Powertrain, gear: int, drum_mass: float | None) -> Powertrain:
    """The powertrain held in one gear; on rollers of `drum_mass` [kg at the tyre] these are what is accelerated.

    The engine's and the gears' own turning mass stays; rollers have neither drag nor a limit of grip here.
    """
    spec, turning = car.car, car.inertia[gear - 1]
    if drum_mass is not None:
        turning = 1.0 + (turning - 1.0) * spec.mass / drum_mass
        spec = replace(
            spec, mass=drum_mass, drag_area=0.0, rolling_resistance=0.0, grip=GRIPPED * spec.mass / drum_mass,
            drive="all",
        )  # fmt: skip
    return replace(car, car=spec, ratio=(car.ratio[gear - 1],), inertia=(turning,), shift_at=(math.inf,))


def shut_down(state: RunState, car: Powertrain) -> Driven:
    """Braking to a stop at 3 m/s2 with a shut throttle, from a run's end on; the gear is kept down to idle."""
    duration = max(state.speed / SHUT_DOWN, 0.1)
    time = np.linspace(0.0, duration, max(round(duration / 0.05), 2) + 1)
    speed = np.maximum(state.speed - SHUT_DOWN * time, 0.0)
    n = np.maximum(speed * car.ratio[state.gear - 1], car.lowest)
    return Driven(
        time=time,
        distance=state.speed * time - 0.5 * SHUT_DOWN * time**2,
        speed=speed,
        engine_speed=n,
        plenum=np.full_like(time, car.idle),
        full_load=np.zeros(len(time), dtype=bool),
        marks=(),
        end=state._replace(speed=0.0),
    )


def way_back(local: np.ndarray, duration: float, speed: float) -> tuple[np.ndarray, np.ndarray]:
    """Speed [m/s] and acceleration [m/s2] on the way back to the start: set off, hold `speed`, stop."""
    left = np.maximum(duration - local, 0.0)
    v = np.minimum(np.minimum(BACK_UP * local, BACK_DOWN * left), speed)
    a = np.where(v >= speed, 0.0, np.where(BACK_UP * local <= BACK_DOWN * left, BACK_UP, -BACK_DOWN))
    return v, np.where(v > 0.0, a, 0.0)


def _alike(a: RunState, b: RunState) -> bool:
    """Two laps begin alike: then they are driven alike."""
    close = all(abs(x - y) <= SAME * max(abs(x), 1.0) for x, y in ((a.speed, b.speed), (a.shift_left, b.shift_left)))
    return close and a.car is b.car and a.gear == b.gear and abs(a.spool - b.spool) <= SAME * a.spool
