"""How alike a car's runs are, and what it takes: time on throttle, rest between runs, runs in an afternoon, tank.

Here: `consistency`, which re-runs changed sessions and builds (`trials.py`) through `simulate`.  Bounded: one session
held at full load (a limit on the knock margin: once more, at the speed where knock is nearest), at most `MOST_RESTS` of
`RUNS` runs with a rest between and not more than `MOST_TIME` of them, and
two of a changed build for each coolant loop that cools the charge and has a tank.  Not here: what it comes to in words
(`consistency_words.py`), the spread of a session's own repeats (`power.py`), limits (`verdict.py`).

Two approaches to a settled state are used and said: temperatures at full load without a break, and peaks run after
run, both near it geometrically; three of a row with ratio q between their steps settle at x3 + (x3 - x2) q / (1 - q)
(Aitken's process, textbook).  A forecast long enough gives the same within a kelvin; tests hold it to that.  The first
runs warm the metal, which is quick, and only then the tank, which is slow: what goes on is told by three of `RUNS`,
the first not among them, as far apart as they allow, since a peak is known to a tenth of a kelvin only.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from coldside.build.model import Build
from coldside.duty.load import becalmed
from coldside.duty.model import LimitSpec, Session
from coldside.errors import NoAnswer
from coldside.judge import trials
from coldside.judge.consistency_words import (
    HOLD,
    LONGEST_REST,
    SHORTEST_REST,
    Afternoon,
    Alike,
    Consistency,
    Held,
    KnockSpeed,
    Rest,
    Settling,
    TankOrExchanger,
)
from coldside.judge.heat import core_loops
from coldside.judge.knock_limit import nearest_speed
from coldside.judge.power import (
    BEFORE_START,
    before_starts,
    power_spread,
    power_spread_of,
    repeat_maxima,
    repeats,
    temperature_spread,
    temperature_spread_of,
)
from coldside.judge.verdict import judge_limit, limited_trace
from coldside.judge.wording import listed
from coldside.judge.worst import worst_sample
from coldside.plant.forecast import simulate
from coldside.plant.results import Forecast

WITHIN = 2.0  # K by which the next run may peak higher and still count as alike (own)
HOURS = 4.0 * 3600.0  # s, an afternoon
LOOK = 60.0  # s over which a settling temperature is averaged
TRIED_RESTS = (60.0, 180.0, 600.0, LONGEST_REST)  # s, tried in turn; the first that does is narrowed down
FINE = 1.15  # ratio of two rests that counts as one
RUNS = 6  # run after run with one rest; the second, fourth and sixth say how it goes on
MOST_RESTS = 20  # rests tried: the four above and halvings of their logarithm
MOST_TIME = 10.0 * 3600.0  # s of runs and rests simulated in all; an answer is then as near as they came
TANK = 2.0  # times the coolant that the tank holds
STEADIEST = 0.97  # ratio of steps from which three of them tell nothing of their end
NEARLY = 0.9  # of the way to where it settles
UNLIMITED = 10**6


class _Runs:
    """Simulates, counts, and says what could not be."""

    def __init__(self, progress: Callable[[str], None] | None) -> None:
        self.tell = progress or (lambda _: None)
        self.count, self.left_out = 0, []  # type: int, list[str]

    def forecast(self, build: Build, session: Session, what: str) -> Forecast | None:
        self.tell(what)
        self.count += 1
        try:
            return simulate(build, session)
        except NoAnswer as fault:
            self.left_out.append(f"{what}: {fault}")
            return None


def consistency(
    forecast: Forecast,
    *,
    limits: Sequence[LimitSpec] | None = None,
    start: str | None = None,
    within: float = WITHIN,
    hours: float = HOURS,
    progress: Callable[[str], None] | None = None,
) -> Consistency:
    """How alike the runs of a forecast's session are, and what time, rest, tank and exchanger do.

    Parameters: `limits` in place of the session's own (those on temperatures count); `start` "ambient" or "soaked"
    in place of the session's; `within` [K] of the run before; `hours` [s] of an afternoon; `progress` is told in
    words what is run.  A session that never reaches boost gives its repeats only; one without a run (`trials.run_of`)
    no rest and no afternoon; one without a limit on a temperature an afternoon of runs that stay within `within`.
    """
    build, session = forecast.build, forecast.session
    if start is not None:
        session = replace(session, start=start)
    wanted = [spec for spec in (session.limits if limits is None else limits) if spec.quantity != "spread"]
    worst = worst_sample(forecast, wanted)
    air = float(forecast.demand.ambient_temperature[worst]) if session.readings else None
    session = becalmed(session, float(forecast.time[worst]))  # runs tried are set in the worst moment's air
    sets, told = alike_sets(forecast, worst)
    own = None if told is None else trials.repeated(session)[told]
    run, runs = trials.run_of(session, own), _Runs(progress)
    held = _FullLoad(replace(forecast, session=session), run, wanted, runs)
    steady = held.steady
    rest, afternoon = None, None
    if run is not None and held.possible:
        rests = _Rests(build, session, run, wanted, within, runs)
        rest, afternoon = rests.alike(), rests.afternoon(hours)
    return Consistency(
        noun="run" if run is None else run.noun,
        repeat_noun=trials.repeat_noun(session) if told is None else sets[told].noun,
        resting=trials.RESTING["idle" if run is None else run.resting.kind],
        start=session.start,
        whose=session.whose if limits is None else "your",
        air=air,
        peaks=() if told is None else sets[told].peaks,
        spread_over_ambient=temperature_spread(forecast, forecast.intake),
        spread_power=power_spread(forecast),
        sets=sets,
        part="" if run is None else run.part,
        round=None if own is None or own.group is None or told is None else _round(forecast, told),
        settling=None if steady is None else _settling(steady, held.limits),
        held=tuple(replace(one, passed=_passed(forecast, one.limit)) for one in held.results()),
        rest=rest,
        afternoon=afternoon,
        loops=() if steady is None else tuple(_loops(steady, held.limits, runs)),
        speed=held.speed,
        knock=held.knock,
        simulations=runs.count,
        left_out=tuple(runs.left_out),
    )


def alike_sets(forecast: Forecast, worst: int) -> tuple[tuple[Alike, ...], int | None]:
    """How alike each set of the session's own repeats is, in time order, and which of them is looked into.

    It is the one in which the worst moment lies, else the one with the highest peak; None without repeats.
    """
    groups = repeats(forecast)
    found = tuple(
        Alike(
            own.noun,
            tuple(repeat_maxima(forecast, group, forecast.intake)),
            temperature_spread_of(forecast, group, forecast.intake),
            power_spread_of(forecast, group),
            _left_out(forecast, own),
        )
        for own, group in zip(trials.repeated(forecast.session), groups, strict=True)
    )
    holds = [any(worst in repeat.samples for repeat in group) for group in groups]
    order = [(held, max(one.peaks, default=0.0)) for held, one in zip(holds, found, strict=True)]
    return found, max(range(len(found)), key=lambda k: order[k], default=None)


def _left_out(forecast: Forecast, own: trials.Repeated) -> tuple[str, ...]:
    """What in boost before its starts is no part of a set's repeats, in words."""
    if not any(phase.kind in ("pass", "lap") for phase in own.phases):
        return ()
    boosted = {span.part for span in before_starts(forecast) if forecast.boost[span.first : span.last + 1].any()}
    return tuple(part for part in BEFORE_START if part in boosted)


def _round(forecast: Forecast, number: int) -> float:
    """From the start of the first repeat of a set to that of the second, s."""
    first, second = (int(repeat.samples[0]) for repeat in repeats(forecast)[number][:2])
    return float(forecast.time[second] - forecast.time[first])


# ---------------------------------------------------------------- settled values


def settled_value(first: float, second: float, third: float) -> float:
    """Where a row that nears its end by equal ratios ends; `third` where its steps do not shrink or swing."""
    step = second - first
    if step == 0.0:
        return third
    q = (third - second) / step
    return third + (third - second) * q / (1.0 - q) if 0.0 < q < STEADIEST else third


def kept_runs(margins: Sequence[float]) -> int:
    """How many of a row of margins, of which the first (at least three) are given, stay at or above 0.

    `UNLIMITED` for ever.  The row goes on with the ratio between the steps to the last from the middle one and to that
    from an early one; where steps fall that do not shrink, with the last of them.
    """
    for k, margin in enumerate(margins):
        if margin < 0.0:
            return k
    apart = (len(margins) - 1) // 2
    early, middle, last = margins[-1 - 2 * apart], margins[-1 - apart], margins[-1]
    if last >= middle or middle >= early:  # it does not fall, or swings
        return UNLIMITED
    ratio = (last - middle) / (middle - early)
    if ratio >= STEADIEST**apart:
        return len(margins) + math.floor(apart * last / (middle - last))
    end = settled_value(early, middle, last)
    if end >= 0.0:
        return UNLIMITED
    return len(margins) + math.floor(apart * math.log(end / (end - last)) / math.log(ratio))


def _end_of(trace: np.ndarray, time: np.ndarray) -> float:
    """Where a trace held at full load ends, from its means over `LOOK` before a third, two thirds and all of it."""
    third = time[-1] / 3.0
    means = [float(trace[(time > k * third - LOOK) & (time <= k * third)].mean()) for k in (1.0, 2.0, 3.0)]
    return settled_value(*means)


class _FullLoad:
    """Full load without a break: at the engine's mean speed in boost, and where knock is nearest if its margin counts.

    What a knock margin leaves depends on speed more than on heat, and at the mean it may be far from the least of a
    run: it is judged at the speed where knock begins at the coldest charge, or at the mean should that come out worse.
    `steady` is the mean's forecast, or, where only knock margins are limited, that of the speed where they are judged;
    `limits` are those that it is held against.
    """

    def __init__(self, calm: Forecast, run: trials.Run | None, wanted: list[LimitSpec], runs: _Runs) -> None:
        self._calm, self._run, self._runs = calm, run, runs
        mean = trials.speed_in_boost(calm)
        self.possible = mean is not None
        self.speed, self.steady = mean, self._at(mean, "full load without a break")
        self._margins = [spec for spec in wanted if spec.quantity == "margin"]
        self.limits = [spec for spec in wanted if spec.quantity != "margin"]
        self.knock: KnockSpeed | None = None
        near = nearest_speed(calm) if self._margins else None
        if mean is None or near is None or self.steady is None:
            return
        there = self._at(near, "full load where knock is nearest")
        if there is None:
            self.limits = wanted
            return
        self._of_margins, at = self.steady, mean
        if _quickest(there, self._margins) < _quickest(self.steady, self._margins):
            self._of_margins, at = there, near
        warmer = _end_of(self.steady.intake, self.steady.time) - _end_of(self._of_margins.intake, there.time)
        self.knock = KnockSpeed(at, mean, warmer)
        if not self.limits:
            self.speed, self.steady, self.limits = at, self._of_margins, wanted

    def _at(self, speed: float | None, what: str) -> Forecast | None:
        session = None if speed is None else trials.held_at_full_load(self._calm, self._run, HOLD, speed)
        return None if session is None else self._runs.forecast(self._calm.build, session, what)

    def results(self) -> list[Held]:
        """Every limit at full load, those on temperatures first."""
        if self.steady is None:
            return []
        found = _held(self.steady, self.limits)
        if self.knock is None or self._margins[0] in self.limits:
            return found
        return found + _held(self._of_margins, self._margins)


def _quickest(steady: Forecast, limits: Sequence[LimitSpec]) -> tuple[float, float]:
    """How soon the first of some limits gives, s, and what the least of them is left with in the end, K."""
    found = _held(steady, limits)
    soonest = min((math.inf if one.seconds is None else one.seconds for one in found), default=math.inf)
    return soonest, min((one.limit.room(one.settled) for one in found), default=math.inf)


def _passed(forecast: Forecast, spec: LimitSpec) -> bool:
    """Whether the session itself breaks a limit, judged as the verdict judges it: in boost, or at all times."""
    return judge_limit(forecast, spec).holds is False


def _settling(steady: Forecast, limits: Sequence[LimitSpec]) -> Settling:
    settled = _end_of(steady.intake, steady.time)
    first = float(steady.intake[0])
    passed = (steady.intake - first - NEARLY * (settled - first)) * math.copysign(1.0, settled - first) >= 0.0
    gives = [one.seconds for one in _held(steady, limits) if one.seconds is not None]
    nearly = float(steady.time[int(np.argmax(passed))]) if passed.any() else float(steady.time[-1])
    return Settling(nearly, settled, min(gives, default=None))


def _held(steady: Forecast, limits: Sequence[LimitSpec]) -> list[Held]:
    found = []
    for spec in limits:
        trace, subject, _ = limited_trace(steady, spec.quantity, spec.loop)
        if trace is not None:
            counts = steady.boost if spec.during == "boost" else np.ones_like(steady.boost)
            sign = -1.0 if spec.lowest else 1.0
            gives = _first_above(sign * trace, sign * spec.bound, counts, steady.time)
            found.append(Held(spec, subject, gives, _end_of(trace, steady.time)))
    return found


def _first_above(trace: np.ndarray, limit: float, counts: np.ndarray, time: np.ndarray) -> float | None:
    """When a trace first passes a limit where it counts, s, linear between samples; None when it does not.

    0 where it stands over the limit as soon as it counts.
    """
    over = np.flatnonzero((trace > limit) & counts)
    if not over.size:
        return None
    k = int(over[0])
    if k <= int(np.argmax(counts)) or trace[k - 1] >= limit:
        return 0.0
    share = (limit - trace[k - 1]) / (trace[k] - trace[k - 1])
    return float(time[k - 1] + share * (time[k] - time[k - 1]))


# ---------------------------------------------------------------- rest between runs


@dataclass(frozen=True)
class _Peaks:
    """`RUNS` runs with one rest between: peak of the intake [K] and margins under each limit, run by run."""

    intake: list[float]
    margins: list[list[float]]  # one row a limit
    run: float  # s

    def held_runs(self) -> int:
        """Runs that keep every limit, the row of peaks carried on; `UNLIMITED` where all do."""
        return min((kept_runs(row) for row in self.margins), default=UNLIMITED)


def _most(values: np.ndarray) -> float:
    """The largest known one; minus infinity where there is none."""
    return float(np.nanmax(values, initial=-math.inf))


class _Rests:
    """Runs with a rest between, each rest simulated once; `MOST_RESTS` and `MOST_TIME` at most."""

    def __init__(
        self, build: Build, session: Session, run: trials.Run, limits: list[LimitSpec], within: float, runs: _Runs
    ) -> None:
        self.build, self.session, self.run, self.limits, self.within = build, session, run, limits, within
        self.runs, self.known = runs, {}  # type: _Runs, dict[float, _Peaks | None]
        self.length, self.spent = 0.0, 0.0  # s: the runs without rest, all that was simulated

    def peaks(self, rest: float) -> _Peaks | None:
        """What `RUNS` runs with that rest [s] give; None where there is no answer or enough rests were tried."""
        rest = round(rest, 1)
        if rest not in self.known:
            if len(self.known) >= MOST_RESTS or self.spent + self.length + (RUNS - 1) * rest > MOST_TIME:
                return None
            session = trials.run_after_run(self.session, self.run, rest, RUNS)
            found = self.runs.forecast(self.build, session, f"{RUNS} runs with {rest:.0f} s of rest between")
            self.known[rest] = None if found is None else self._read(found)
            if found is not None:
                self.length = float(found.time[-1]) - (RUNS - 1) * rest
                self.spent += float(found.time[-1])
        return self.known[rest]

    def _read(self, found: Forecast) -> _Peaks:
        samples = trials.samples_of_runs(found)
        traces = [(found.intake, LimitSpec(quantity="intake", at_most=math.inf))]
        for spec in self.limits:
            trace, _, _ = limited_trace(found, spec.quantity, spec.loop)
            traces += [] if trace is None else [(trace, spec)]
        rows = []
        for trace, spec in traces:
            counted_in = [own[found.boost[own]] if spec.during == "boost" else own for own in samples]
            sign = -1.0 if spec.lowest else 1.0
            rows.append([sign * _most(sign * trace[own]) for own in counted_in])
        margins = [[spec.room(peak) for peak in row] for row, (_, spec) in zip(rows[1:], traces[1:], strict=True)] or [
            [rows[0][0] + self.within - peak for peak in rows[0]]
        ]
        return _Peaks(rows[0], margins, float(found.time[samples[0][-1]] - found.time[samples[0][0]]))

    def alike(self) -> Rest | None:
        """Least rest after which a run peaks within `within` of the one before: second to first, third to second."""

        def beyond(number: int) -> Callable[[float], float | None]:
            def excess(rest: float) -> float | None:
                peaks = self.peaks(rest)
                return None if peaks is None else peaks.intake[number] - peaks.intake[number - 1] - self.within

            return excess

        least, best, worst = self._least(beyond(1))
        going, _, _ = self._least(beyond(2))
        return None if worst is None else Rest(self.within, least, worst, best, going)

    def afternoon(self, hours: float) -> Afternoon | None:
        """Runs in `hours` with the least rest that keeps the limits for good, or the most that any rest allows."""

        def excess(rest: float) -> float | None:
            peaks = self.peaks(rest)
            return None if peaks is None else float(peaks.held_runs() < UNLIMITED) * 2.0 - 1.0

        least, _, worst = self._least(excess)
        if worst is None:
            return None
        tried = []
        for rest in [least] if least is not None else list(TRIED_RESTS):
            peaks = self.peaks(rest)
            if peaks is not None and peaks.run <= hours:
                fit = 1 + math.floor((hours - peaks.run) / (peaks.run + rest))
                tried.append((min(peaks.held_runs(), fit), -rest, peaks.run, peaks.held_runs() >= fit))
        if not tried:
            return None
        number, rest, length, full = max(tried)
        warming = not full and any(other < rest and kept < number for kept, other, _, _ in tried)
        return Afternoon(hours, number, -rest, length, full, warming)

    def _least(self, excess: Callable[[float], float | None]) -> tuple[float | None, float, float | None]:
        """Shortest rest with no excess (None: none), the rest of the least excess, and that excess (None: no answer).

        Longer is taken as better between the first of `TRIED_RESTS` that does and the one before; a rest so long that
        the car soaks may do worse and is not asked.
        """
        tried: list[tuple[float, float]] = []
        for rest in TRIED_RESTS:
            value = excess(rest)
            if value is not None:
                tried.append((value, rest))
                if value <= 0.0:
                    break
        if not tried:
            return None, LONGEST_REST, None
        worst, best = min(tried)
        if worst > 0.0:
            return None, best, worst
        high, low = best, max((rest for _, rest in tried if rest < best), default=SHORTEST_REST)
        if low == SHORTEST_REST and (value := excess(low)) is not None and value <= 0.0:
            return low, best, worst
        while high / low > FINE:
            middle = round(math.sqrt(low * high), 1)
            value = excess(middle)
            if value is None:
                break
            low, high = (low, middle) if value <= 0.0 else (middle, high)
        return high, best, worst


# ---------------------------------------------------------------- tank or exchanger


def _loops(steady: Forecast, limits: Sequence[LimitSpec], runs: _Runs) -> list[TankOrExchanger]:
    found, build, held = [], steady.build, steady.session
    for loop in core_loops(steady):
        tanks, exchangers = trials.tanks_on(build, loop), trials.exchangers_on(build, loop)
        if not tanks or not exchangers:
            continue
        changed = (
            ("twice the coolant in " + listed(tanks), trials.larger_tanks(build, loop, TANK)),
            ("a second one beside " + listed(exchangers), trials.second_exchangers(build, loop)),
        )
        both = [runs.forecast(other, held, f"full load without a break with {what}") for what, other in changed]
        settled = [None if one is None else _settling(one, limits) for one in both]
        found.append(TankOrExchanger(loop, tanks, exchangers, _settling(steady, limits), *settled))
    return found
