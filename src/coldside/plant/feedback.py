"""Heat fed back on what is asked: on the driving by the power it leaves, on boost by the car's own trims.

What is here: `settle`, which marches until what is asked and what comes out agree; the share of full-load power
along each run, boost after the trims, the runs with what heat cost them.  What is not: the driving
(`duty/runs.py`), the march itself (`forecast.py`, `explore/outcome.py`), spark taken back (`output.py`).

Both are brought together by repetition over the whole session.  A pass or lap is driven with the power that the
march before found at each place, until no run's time moves any more: a run moves heat by little and heat a run by
little, so each turn is some twenty times nearer than the one before.  Boost is cut by what the intake sensor read
in the march before: less boost leaves the charge cooler and so less to cut.  That swings about its end, the more
the steeper the trim, so a turn goes only the share of the way that the two before it say (`Relaxed`).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Generic, TypeVar

import numpy as np

from coldside.build.model import Build
from coldside.duty.demand import sample
from coldside.duty.model import Demand, Run, Session, Shares
from coldside.parts import engine
from coldside.parts.engine import EngineSpec
from coldside.parts.knock_model import boost_left

SETTLED = 2e-3  # s, change of any run's time in a turn
BOOST_SETTLED = 100.0  # Pa, change of what the trims take at any sample in a turn
MOST_TURNS, MOST_TRIMMED = 5, 10  # without and with trims of boost
STEPS = (0.1, 1.0)  # share of the way that a turn of the trims may go
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
    """How the turns went: largest change of a run's time [s] and of what trims take off boost [Pa], turn by turn.

    `shares` of power that the last drive was made with (None: all the power).
    """

    runs: tuple[float, ...] = ()
    boost: tuple[float, ...] = ()
    shares: Shares | None = None

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
    without trims of boost is marched once.
    """
    answers = build.engine.trim_boost is not None
    most = turns if turns is not None else MOST_TRIMMED if answers else MOST_TURNS
    asked = sample(session, build, shares)
    turn = march(asked)
    moved: list[float] = []
    off: list[float] = []
    steps, felt = Relaxed(), None  # what the trims were last told; at first nothing is known of the charge
    while (asked.runs or answers) and max(len(moved), len(off)) < most:
        before = asked
        if before.runs:
            shares = shares_of(turn.demand, *turn.powers())
            asked = sample(session, build, shares)
            moved.append(largest_change(before.runs, asked.runs))
            tell(f"driving again with the power that heat leaves ({moved[-1]:.3f} s)")
        now = asked
        if answers:
            read = _at(asked, turn.demand.time, turn.read)
            aim, had = trimmed_boost(build.engine, asked, read), asked
            if felt is not None:
                felt = _at(asked, before.time, felt)
                had = trimmed_boost(build.engine, asked, felt)
            off.append(float(np.abs(aim.plenum_target - had.plenum_target).max()))
            tell(f"boost again as the car's own trims leave it ({off[-1] / 1e3:.2f} kPa)")
            felt = read if felt is None else felt + steps.of(asked.time, (read - felt) * asked.boost) * (read - felt)
            now = trimmed_boost(build.engine, asked, felt)
        still = not off or off[-1] <= BOOST_SETTLED
        if still and not moved:
            break  # what was marched last is the answer
        turn = march(now)
        if still and moved[-1] <= SETTLED:
            break
    return turn, Settling(tuple(moved), tuple(off), shares)


class Relaxed:
    """Aitken's relaxation of a repetition of traces (Irons and Tuck 1969, from memory): how far the next step goes."""

    def __init__(self) -> None:
        self.step, self.time, self.short = 1.0, np.zeros(0), np.zeros(0)

    def of(self, time: np.ndarray, short: np.ndarray) -> float:
        """The share of `short`, by which a trace over `time` falls short of what comes of it, to go in this turn."""
        if len(self.time):
            was = np.interp(time, self.time, self.short)
            turned = short - was
            norm = float(np.dot(turned, turned))
            if norm > 0.0:
                self.step = float(np.clip(-self.step * np.dot(was, turned) / norm, *STEPS))
        self.time, self.short = time, short
        return self.step


def _at(demand: Demand, time: np.ndarray, trace: np.ndarray) -> np.ndarray:
    """A trace of another march at this demand's samples: runs may have grown by a moment."""
    return np.asarray(np.interp(demand.time, time, trace))


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
