"""Heat fed back on the driving: power that heat leaves -> speed and time of passes and laps -> heat.

What is here: the share of full-load power along each run, the runs with what heat cost them, and when the two
agree.  What is not: the driving (`duty/runs.py`), the march (`forecast.py`).

Driving and heat are brought together by repetition over the whole session: a pass or lap is driven with the power
that the forecast before found at each place, until no run's time moves any more.  A run moves heat by little and
heat a run by little, so each turn is some twenty times nearer than the one before.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from coldside.build.model import Build
from coldside.duty.demand import sample
from coldside.duty.model import Demand, Run, Session, Shares

SETTLED = 2e-3  # s, change of any run's time in a turn
MOST_TURNS = 5
LEAST_POWER = 1e3  # W reckoned with, under which a share of it says nothing
SHARE_RANGE = (0.05, 3.0)


@dataclass(frozen=True)
class TimedRun:
    """One pass or lap as driven, and as it would have been with the charge at ambient temperature throughout."""

    run: Run
    cold_time: float  # s

    @property
    def cost(self) -> float:
        """What heat cost, s."""
        return self.run.time - self.cold_time


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
