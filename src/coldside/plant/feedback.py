"""Heat fed back on what is asked: on the driving by the power it leaves, on boost by the car's own trims.

What is here: `settle`, which marches until what is asked and what comes out agree; the share of full-load power
along each run, boost after the trims, the runs with what heat cost them.  What is not: the driving
(`duty/runs.py`), the march itself (`forecast.py`, `explore/outcome.py`), spark taken back (`output.py`).

Both are brought together by repetition over the whole session.  A pass or lap is driven with the power that the
march before found at each place, until no run's time moves any more: a run moves heat by little and heat a run by
little, so each turn is some twenty times nearer than the one before.  Boost is cut by what the intake sensor will
read: what it read in the march before, and what the cut itself adds (`trims.py`).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Generic, TypeVar

import numpy as np

from coldside.build.model import Build, names_on
from coldside.duty.demand import sample
from coldside.duty.model import Demand, Run, Session, Shares
from coldside.parts import engine
from coldside.parts.engine import EngineSpec
from coldside.parts.knock_model import boost_left
from coldside.parts.sensor import SensorSpec
from coldside.plant.trims import Hunt, Response, hunting

SETTLED = 2e-3  # s, change of any run's time in a turn
SHOWN = 0.02  # s, the same behind many turns with trims of boost
BOOST_SETTLED = 100.0  # Pa between boost and what the trims leave of it at what was read, at any sample
READ_ALIKE = 0.05  # K, as well as a forecast knows what a sensor reads: a step of a trim is met within that
MOST_TURNS, MOST_TRIMMED = 5, 12  # without and with trims of boost
LEAST_POWER = 1e3  # W reckoned with, under which a share of it says nothing
SHARE_RANGE = (0.05, 3.0)


Result = TypeVar("Result")


@dataclass(frozen=True)
class Turn(Generic[Result]):
    """One march as the next one sees it, by samples of `demand`.

    `powers` gives brake power [W] and what it would be with the charge as the driving assumed and nothing trimmed;
    `read` [K] is what the car's own computer takes for the charge's temperature.
    """

    demand: Demand
    result: Result
    powers: Callable[[], tuple[np.ndarray, np.ndarray]]
    read: np.ndarray


@dataclass(frozen=True)
class Settling:
    """How the turns went: largest change of a run's time [s], and how far boost was from what the trims leave [Pa].

    Turn by turn.  `shares` of power that the last drive was made with (None: all the power); `hunt` where the car
    itself would not come to rest.
    """

    runs: tuple[float, ...] = ()
    boost: tuple[float, ...] = ()
    shares: Shares | None = None
    hunt: Hunt | None = None

    @property
    def boost_settled(self) -> bool:
        """Whether the trims of boost and the charge's heat agree."""
        return not self.boost or self.boost[-1] <= BOOST_SETTLED


@dataclass(frozen=True)
class TimedRun:
    """One pass or lap as driven, and as it would have been with the charge at ambient temperature throughout."""

    run: Run
    cold_time: float  # s

    @property
    def cost(self) -> float:
        """What heat cost, s."""
        return self.run.time - self.cold_time


def settle(
    build: Build,
    session: Session,
    march: Callable[[Demand], Turn[Result]],
    *,
    shares: Shares | None = None,
    turns: int | None = None,
    tell: Callable[[str], None] = lambda _: None,
) -> tuple[Turn[Result], Settling]:
    """March a session until driving, boost and heat agree; the last march and how it got there.

    Parameters: `march` solves a demand; `shares` that the first drive starts with (None: all the power); at most
    `turns` repetitions (None: `MOST_TURNS`, with trims of boost `MOST_TRIMMED`).  A session without runs on a build
    without trims of boost is marched once.  Behind `MOST_TURNS` drives trims come to rest before each further one,
    until what is shown of a run's time stands still: where trims are steep, a drive moves the samples at which they
    bite.
    """
    answers = build.engine.trim_boost is not None
    most = turns if turns is not None else MOST_TRIMMED if answers else MOST_TURNS
    asked = sample(session, build, shares)
    turn = march(asked)
    moved: list[float] = []
    off: list[float] = []
    response = Response()
    felt: np.ndarray | None = None  # what the trims of the last march acted on; None: there were none
    seen: tuple[np.ndarray, np.ndarray | None] | None = None  # what was read in the march before, and felt
    fresh = True  # whether the last march was driven with the power of the one before
    for _ in range(most if asked.runs or answers else 0):
        before = asked
        fresh = bool(before.runs) and (len(moved) < MOST_TURNS or off[-1] <= BOOST_SETTLED)
        if fresh:
            asked, shares, change = _driven_again(build, session, turn, before)
            moved.append(change)
            tell(f"driving again with the power that heat leaves ({change:.3f} s)")
        now = asked
        if answers:
            read = _at(asked, before, turn.demand.time, turn.read)
            felt = None if felt is None else _at(asked, before, before.time, felt)
            taken = _taken(asked, build.engine, felt)
            off.append(_apart(build.engine, asked, read, taken))
            tell(f"boost again as the car's own trims leave it ({off[-1] / 1e3:.2f} kPa)")
            if seen is not None:
                read_then, felt_then = (None if was is None else _at(asked, before, before.time, was) for was in seen)
                response.learn(asked, taken - _taken(asked, build.engine, felt_then), read - read_then)
            seen = read, felt
        still = not off or off[-1] <= BOOST_SETTLED
        if still and not moved:
            break  # what was marched last is the answer
        if answers:
            felt = response.foresee(build.engine, asked, read, taken)
            now = trimmed_boost(build.engine, asked, felt)
        turn = march(now)
        if still and fresh and moved[-1] <= (SETTLED if len(moved) <= MOST_TURNS else SHOWN):
            break
    if moved and not fresh:
        moved.append(_driven_again(build, session, turn, asked)[2])
    hunt = None if felt is None else hunting(build.engine, asked, felt, response, _sensor_time(build))
    return turn, Settling(tuple(moved), tuple(off), shares, hunt)


def _driven_again(build: Build, session: Session, turn: Turn[Result], marched: Demand) -> tuple[Demand, Shares, float]:
    """The session driven with the power that a march leaves, those shares, and the most that a run's time moved, s."""
    shares = shares_of(turn.demand, *turn.powers())
    asked = sample(session, build, shares)
    return asked, shares, largest_change(marched.runs, asked.runs)


def _taken(demand: Demand, spec: EngineSpec, felt: np.ndarray | None) -> np.ndarray:
    """What trims that act on `felt` [K] take of a demand's boost, Pa; nothing without."""
    taken = None if felt is None else trimmed_boost(spec, demand, felt).boost_taken
    return np.zeros(len(demand.time)) if taken is None else taken


def _apart(spec: EngineSpec, demand: Demand, read: np.ndarray, taken: np.ndarray) -> float:
    """How far boost is from what the trims leave of it at what was read, give or take `READ_ALIKE`; the most, Pa."""
    would = [_taken(demand, spec, read + by) for by in (-READ_ALIKE, 0.0, READ_ALIKE)]
    low, high = np.min(would, axis=0), np.max(would, axis=0)
    return float(np.maximum(np.maximum(low - taken, taken - high), 0.0).max())


def _sensor_time(build: Build) -> float:
    """Time constant of the sensor that the car's own computer reads the charge with, s; 0 without one."""
    sensors = [build.parts.get(name) for name in names_on(build.charge)]
    return next((one.time_constant for one in reversed(sensors) if isinstance(one, SensorSpec)), 0.0)


def _at(demand: Demand, marched: Demand, time: np.ndarray, trace: np.ndarray) -> np.ndarray:
    """A trace over `time` of another demand's march, at this one's samples: runs may have grown, what follows moved."""
    then = demand.time
    if demand is not marched and len(demand.spans) == len(marched.spans):
        ends, ended = ([0.0, *(d.time[span.last] for span in d.spans)] for d in (demand, marched))
        then = np.interp(then, ends, ended)
    return np.asarray(np.interp(then, time, trace))


def trimmed_boost(spec: EngineSpec, demand: Demand, read: np.ndarray | float) -> Demand:
    """The demand with what `trim_boost` leaves of its boost when the intake sensor reads `read` [K].

    At full load the trims take their share of the boost asked for.  At part load they hold boost under what they
    leave of the full target, so a light foot feels nothing.  Replayed samples are measured: what was taken is gone
    from them already.
    """
    asked, ambient = demand.asked_target, demand.ambient_pressure
    top = engine.boost_target(spec, demand.engine_speed, ambient)
    cap = boost_left(spec, top, read, ambient)
    left = np.where(demand.full_load, boost_left(spec, asked, read, ambient), np.minimum(asked, cap))
    left = np.where(asked > ambient, left, asked)
    for span in demand.spans:
        if span.kind == "replay":
            left[span.first : span.last + 1] = asked[span.first : span.last + 1]
    return replace(demand, plenum_target=left, boost_taken=asked - left)


def shares_of(demand: Demand, power: np.ndarray, reckoned: np.ndarray) -> Shares:
    """Share of the power that the demand reckons with, along each of its runs, when `power` [W] is there.

    `power` and `reckoned`, what it is with the charge as the demand assumes, by samples of the demand; only
    samples at full load say something of it.
    """
    found = {}
    for run in demand.runs:
        own = slice(run.first, run.last + 1)
        says = demand.full_load[own] & (reckoned[own] > LEAST_POWER)
        if not says.any():
            continue
        place = np.maximum.accumulate(demand.distance[own])[says]
        share = np.clip(power[own][says] / reckoned[own][says], *SHARE_RANGE)
        place, first = np.unique(place, return_index=True)
        found[(run.phase, run.repeat)] = (place, share[first])
    return found


def timed_runs(
    build: Build, session: Session, demand: Demand, at_ambient: np.ndarray, reckoned: np.ndarray
) -> tuple[TimedRun, ...]:
    """The demand's runs with their times if the charge had been at ambient temperature: `at_ambient` [W] there."""
    if not demand.runs:
        return ()
    cold = sample(session, build, shares_of(demand, at_ambient, reckoned))
    times = {(run.phase, run.repeat): run.time for run in cold.runs}
    return tuple(TimedRun(run, times[run.phase, run.repeat]) for run in demand.runs)


def largest_change(before: Sequence[Run], after: Sequence[Run]) -> float:
    """The largest change of any run's time, s."""
    return max((abs(a.time - b.time) for a, b in zip(after, before, strict=True)), default=0.0)
