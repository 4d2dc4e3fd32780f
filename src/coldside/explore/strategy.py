"""Which switching of pumps and fans suits a session best: always on, as written, and the best found.

What is here: `strategy`, which marches one plant under many orders (`commands.py`), and what explains the outcome: the
balance of a loop at standstill, what slowing a pump saves, fans off in one kind of phase.  What is not: words and JSON
(`strategy_words.py`).

The search is by turns: pumps first with fans as written, fans with the pumps' best, then pumps again.  Tried for each
of the two: always on; off in every kind of phase without boost, alone and all together, and on again a while before
boost; on with boost and a while after; on by what the intake sensor or a sensor in the tank reads; following the load;
for fans off at speed.  What a sensor reads depends on what is switched, so a rule on one is marched until the command
is that which its own readings ask for.  The best has the lowest peak of the intake in boost; of all within `ALIKE` of
the lowest it draws the least.  The best few are marched again at full fineness, and the best of those is taken.

Every rule found can be wired: what is on stays on for `LEAST_ON` at least and what is off stays off for `LEAST_OFF`,
but that boost starts a pump at once.  The owner's own control is marched as it is.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from coldside.build.model import Build, names_on
from coldside.duty.demand import sample
from coldside.duty.model import Demand, Session
from coldside.errors import BadInput, NoAnswer
from coldside.explore.commands import OFF, ON, Bench, Tried, drawn_power
from coldside.explore.outcome import COARSE, FINE, Fineness
from coldside.judge.power import time_weights
from coldside.media.coolants import parse_coolant
from coldside.parts.exchanger import ExchangerSpec
from coldside.parts.pump import Control
from coldside.plant.forecast import simulate
from coldside.plant.results import Point
from coldside.plant.steady import operating_point

ALIKE = 0.25  # K: peaks that differ by less count as equal (a coarse march knows no finer)
LEADS = (0.0, 15.0, 60.0, 180.0)  # s on before boost
AFTERS = (30.0, 120.0, 300.0)  # s on after boost
OVER_AMBIENT = (10.0, 20.0, 30.0)  # K, thresholds of the intake sensor
TANK_OVER_AMBIENT = (5.0, 10.0, 20.0)  # K, thresholds of a sensor in the tank
HYSTERESIS = 4.0  # K (notes c: 3 to 5)
FAST, SLOW = 50.0 / 3.6, 40.0 / 3.6  # m/s over which fans stop, and under which they run again
LOAD_STEPS = (0.5, 0.75)  # commands below full that following the load uses
LEAST_ON, LEAST_OFF = 30.0, 10.0  # s: relays and pumps that start more often wear (own)
QUIET = ("idle", "traffic", "staging", "paddock", "cooldown", "parked", "cruise")
LONG_ENOUGH = 20.0  # s that a kind of phase lasts in all before a switching of its own is tried
MOST_TURNS = 8  # marches of a rule on a sensor
SAME_SHARE, SAME = 0.002, 2.0  # share of the session, or s, by which command and readings may still differ
VERIFIED = 3  # pairs of rules marched again at full fineness


@dataclass(frozen=True)
class Rule:
    """What a group of devices is told: `form` is always, written, off_in, after, above, load or slow.

    `kinds` of phase in which it is off, `lead` s on before boost; `after` s on after boost; `threshold` [K] of what
    the sensor `of` "charge" (the intake's) or "tank" reads; `ignition`: off at once when the engine stops.
    """

    form: str
    kinds: tuple[str, ...] = ()
    lead: float = 0.0
    after: float = 0.0
    threshold: float | None = None
    of: str = ""
    ignition: bool = False


@dataclass(frozen=True)
class Switching:
    """One way of switching: rules of pumps and fans, the intake's peak in boost [K], electrical energy [J], s off.

    `standing`: J of the energy drawn while the engine stands.  `off` by device: seconds of the session in which it
    stood still; `starts`: how often it was switched on again.
    """

    name: str  # "always on", "as written", "best found"
    pumps: Rule
    fans: Rule
    peak: float
    energy: float
    standing: float
    off: Mapping[str, float]
    starts: Mapping[str, int]


ALWAYS = (Rule("always"), Rule("always"))
WRITTEN = (Rule("written"), Rule("written"))


@dataclass(frozen=True)
class Standstill:
    """A loop in one kind of phase without boost, its pump running: what it would gain and lose at the coolant it has.

    From the steady point in the middle of the longest such phase, everything on: it gives `rejected` [W] to the
    exchangers' air at `settled` [K]; from air of `bay` [K], and to air of `ambient`, so that at the coolant's mean
    `coolant` [K] in that phase `gain` = UA_h (T_h - T_w) and `loss` = b_idle (T_w - T_am), W (loop notes c).
    `alone` is the intake's peak in boost [K] with the pumps off in this kind of phase and nothing else changed from
    always on; `always` the same with all on.
    """

    kind: str
    loop: str
    coolant: float
    settled: float
    bay: float
    ambient: float
    rejected: float
    gain: float
    loss: float
    alone: float
    always: float

    @property
    def stopping_pays(self) -> bool:
        """True where the running loop would carry more heat in from the bay than its exchangers give away."""
        return self.gain > self.loss


@dataclass(frozen=True)
class Slowed:
    """What a pump that follows the load saves against one at full speed, and why it may.

    `pumps`; `full` and `half` electrical power at full and half speed [W], all of which ends in the coolant; `flow` and
    `half_flow` of the loop `loop` then [m3/s]; `saved` [J] over the session; `onset` [K] by which coolant meets boost
    warmer than with the pump at full speed, mean over the starts of boost; `peak` [K] the intake peaks higher.
    """

    pumps: tuple[str, ...]
    loop: str
    full: float
    half: float
    flow: float
    half_flow: float
    saved: float
    onset: float
    peak: float


@dataclass(frozen=True)
class FansOff:
    """The intake's peak in boost [K] with all fans off in one kind of phase and nothing else changed from always on."""

    kind: str
    alone: float
    always: float


@dataclass(frozen=True)
class Strategy:
    """Always on, as written, the best found; why; and how many marches it took."""

    build: Build
    session: Session
    always: Switching
    written: Switching
    best: Switching
    standstill: tuple[Standstill, ...]
    pumps: tuple[str, ...]
    fans: tuple[str, ...]
    boosted: bool
    marches: int
    slowed: Slowed | None = None
    fans_off: tuple[FansOff, ...] = ()
    notes: tuple[str, ...] = ()


def strategy(build: Build, session: Session) -> Strategy:
    """Compare always on, the owner's own control and the best switching found for a session.

    Pumps are the electric ones of the loops that cool the charge, fans all; what is switched off for good, has a
    fault or is driven by the engine keeps as it is.  Passes and laps are driven, and boost is trimmed, as the settled
    forecast of the build as written has them, whatever is switched.  Raises as `simulate` does, `BadInput` where there
    is nothing to switch.
    """
    demand = sample(session, build)
    if demand.runs or build.engine.trim_boost is not None:
        demand = simulate(build, session).demand
    search, fine = (Search(build, session, fineness, demand) for fineness in (COARSE, FINE))
    groups = (search.bench.pumps(), search.bench.fans())
    if not (groups[0] or groups[1]):
        raise BadInput(
            "there is nothing to switch: no electric pump in a loop that cools the charge and no fan", where=build.name
        )
    always = fine.switching("always on", ALWAYS)
    written = fine.switching("as written", WRITTEN)
    found = [fine.switching("best found", rules) for rules in search.best() if fine.tried(rules) is not None]
    best = min((*found, written, always), key=_rank_among((*found, written, always)))
    standstill, notes = _standstills(search) if groups[0] else ((), ())
    return Strategy(
        build=build,
        session=session,
        always=always,
        written=written,
        best=replace(best, name="best found"),
        standstill=standstill,
        pumps=groups[0],
        fans=groups[1],
        boosted=bool(search.bench.boost.any()),
        marches=search.marches + fine.marches,
        slowed=slowed(fine, best) if best.pumps.form == "load" and groups[0] else None,
        fans_off=_fans_off(search) if groups[1] else (),
        notes=notes,
    )


class Search:
    """Rules tried on one bench, each once."""

    def __init__(self, build: Build, session: Session, fineness: Fineness, demand: Demand) -> None:
        self.build, self.session = build, session
        self.bench = Bench(build, session, fineness, LOAD_STEPS, demand=demand)
        self.known: dict[tuple[Rule, Rule], Tried | None] = {}
        self.marches = 0

    def tried(self, rules: tuple[Rule, Rule]) -> Tried | None:
        """The march under these rules; None for one on a sensor that comes to no end."""
        if rules not in self.known:
            self.known[rules] = self._settled(rules)
        return self.known[rules]

    def sure(self, rules: tuple[Rule, Rule]) -> Tried:
        """The march under rules that read no sensor."""
        tried = self.tried(rules)
        assert tried is not None
        return tried

    def _settled(self, rules: tuple[Rule, Rule]) -> Tried | None:
        orders: dict[str, np.ndarray] = {}
        sensed: list[tuple[Rule, Sequence[str], bool]] = []
        for k, (rule, group) in enumerate(zip(rules, (self.bench.pumps(), self.bench.fans()), strict=True)):
            if rule.form == "above" and group:
                sensed.append((rule, group, k == 0))
                orders |= dict.fromkeys(group, np.full(len(self.bench.demand.time), ON))
            elif rule.form != "written":
                orders |= dict.fromkeys(group, told(self.bench.demand, rule, pumps=k == 0))
        time = self.bench.demand.time
        allowed = max(SAME, SAME_SHARE * float(time[-1] - time[0]))
        for _ in range(MOST_TURNS):
            tried, moved = self.bench.march(orders), 0.0
            self.marches += 1
            for rule, devices, boosted in sensed:
                asked = self._by_sensor(rule, tried, boosted)
                moved = max(moved, float(time_weights(time)[asked != orders[devices[0]]].sum()))
                orders |= dict.fromkeys(devices, asked)
            if moved <= allowed:
                return tried
        return None

    def _by_sensor(self, rule: Rule, tried: Tried, pumps: bool) -> np.ndarray:
        """What a rule on a sensor says to the readings of a march."""
        reads = self.bench.sensor(tried.solution) if rule.of == "charge" else self.bench.in_tank(tried.solution)
        assert reads is not None
        assert rule.threshold is not None
        boost = self.bench.demand.boost if pumps else np.zeros(len(reads), dtype=bool)
        on = timed(self.bench.demand.time, reads > rule.threshold, reads < rule.threshold - HYSTERESIS, boost)
        return np.where(on & fed(self.bench.demand, rule), ON, OFF)

    def switching(self, name: str, rules: tuple[Rule, Rule]) -> Switching:
        """What the march under these rules came to, under a name."""
        tried = self.sure(rules)
        weights = time_weights(self.bench.demand.time)
        off = {n: float(weights[tried.did[n] <= OFF].sum()) for n in self.bench.devices}
        starts = {n: int(np.count_nonzero(np.diff((tried.did[n] > OFF).astype(int)) > 0)) for n in self.bench.devices}
        return Switching(name, *rules, tried.peak, tried.energy, tried.standing, off, starts)

    def best(self) -> list[tuple[Rule, Rule]]:
        """Rules of pumps and fans by turns, and the next best of all pairs that were tried."""
        rules = [Rule("written"), Rule("written")]
        for turn in (0, 1, 0):
            if not (self.bench.pumps(), self.bench.fans())[turn]:
                continue
            pairs = [
                (rule, rules[1]) if turn == 0 else (rules[0], rule)
                for rule in dict.fromkeys([rules[turn], *self._candidates(pumps=turn == 0)])
            ]
            rules[turn] = self._ranked(pairs)[0][turn]
        first = (rules[0], rules[1])
        others = [pair for pair in self._ranked(list(self.known)) if pair != first]
        return [first, *others[: VERIFIED - 1]]

    def _ranked(self, pairs: Sequence[tuple[Rule, Rule]]) -> list[tuple[Rule, Rule]]:
        came = [(pair, tried) for pair in pairs if (tried := self.tried(pair)) is not None]
        key = _rank_among([tried for _, tried in came])
        return [pair for pair, _ in sorted(came, key=lambda one: key(one[1]))]

    def _candidates(self, pumps: bool) -> Iterator[Rule]:
        yield Rule("always")
        kinds = quiet_kinds(self.bench.demand)
        groups = [(kind,) for kind in kinds] + ([kinds] if len(kinds) > 1 else [])
        for group in groups:
            for lead in LEADS:
                yield Rule("off_in", group, lead)
        if self.bench.demand.boost.any():
            for after in AFTERS:
                yield Rule("after", after=after, ignition=True)
        sensors = [("charge", OVER_AMBIENT), *([("tank", TANK_OVER_AMBIENT)] if self.bench.has_tank() else [])]
        stands = bool((self.bench.demand.engine_speed <= 0.0).any())
        for of, overs in sensors:
            for over in overs:
                threshold = self.bench.demand.ambient_middle + over
                yield from (Rule("above", threshold=threshold, of=of, ignition=i) for i in (True, False)[: 1 + stands])
        yield Rule("load", ignition=True)
        if not pumps and self.bench.demand.road_speed.max() > FAST:
            yield Rule("slow", ignition=True)


def _rank_among(ones: Sequence[Tried | Switching]) -> Callable[[Tried | Switching], tuple[bool, float, float]]:
    """Order of ways to switch: those within `ALIKE` of the lowest peak first, by energy; then the others, by peak."""
    lowest = min(one.peak for one in ones)

    def key(one: Tried | Switching) -> tuple[bool, float, float]:
        alike = one.peak <= lowest + ALIKE
        return (not alike, one.energy if alike else one.peak, one.peak)

    return key


# ---------------------------------------------------------------- traces of commands


def quiet_kinds(demand: Demand) -> tuple[str, ...]:
    """Kinds of phase that have stretches without boost, `LONG_ENOUGH` in all, in the order they come."""
    time: dict[str, float] = {}
    for span in demand.spans:
        if span.kind in QUIET and not demand.boost[span.first : span.last + 1].any():
            time[span.kind] = time.get(span.kind, 0.0) + float(demand.time[span.last] - demand.time[span.first])
    return tuple(kind for kind, seconds in time.items() if seconds >= LONG_ENOUGH)


def off_in(demand: Demand, kinds: Sequence[str], lead: float) -> np.ndarray:
    """Command (n,): 0 in stretches of these kinds that have no boost, but 1 from `lead` seconds before boost on."""
    command = np.full(len(demand.time), ON)
    for span in demand.spans:
        if span.kind in kinds and not demand.boost[span.first : span.last + 1].any():
            command[span.first : span.last + 1] = OFF
    starts = np.flatnonzero(demand.boost & ~np.concatenate([[False], demand.boost[:-1]]))
    for start in starts:
        command[(demand.time >= demand.time[start] - lead) & (demand.time <= demand.time[start])] = ON
    return command


def following_load(demand: Demand) -> np.ndarray:
    """Command (n,) in steps: half without load, three quarters from half of ambient pressure, full in boost.

    The plenum's pressure is what a controller has for the load.
    """
    share = demand.plenum_target / demand.ambient_pressure
    return np.where(demand.boost, ON, np.where(share > 0.5, LOAD_STEPS[1], LOAD_STEPS[0]))


def told(demand: Demand, rule: Rule, *, pumps: bool) -> np.ndarray:
    """Command (n,) of a rule that reads no sensor, with the least times on and off kept.

    `pumps`: boost starts the device at once.
    """
    if rule.form == "slow":
        on = timed(demand.time, demand.road_speed < SLOW, demand.road_speed > FAST, np.zeros_like(demand.boost))
        return np.where(on & fed(demand, rule), ON, OFF)
    asked = {
        "always": lambda: np.full(len(demand.time), ON),
        "off_in": lambda: off_in(demand, rule.kinds, rule.lead),
        "after": lambda: after_boost(demand, rule.after),
        "load": lambda: following_load(demand),
    }[rule.form]()
    on = timed(demand.time, asked > OFF, asked <= OFF, demand.boost if pumps else np.zeros_like(demand.boost))
    held = np.where(asked > OFF, asked, LOAD_STEPS[0] if rule.form == "load" else ON)
    return np.where(on & fed(demand, rule), held, OFF)


def fed(demand: Demand, rule: Rule) -> np.ndarray:
    """Where what a rule switches has current at all (n,)."""
    return (demand.engine_speed > 0.0) | (not rule.ignition)


def after_boost(demand: Demand, after: float) -> np.ndarray:
    """Command (n,): 1 in boost and `after` seconds on, 0 otherwise."""
    last = np.maximum.accumulate(np.where(demand.boost, demand.time, -np.inf))
    return np.where(demand.time - last <= after, ON, OFF)


def timed(time: np.ndarray, start: np.ndarray, stop: np.ndarray, at_once: np.ndarray) -> np.ndarray:
    """Whether a switch with least times is on (n,): it closes on `start`, opens on `stop`, neither leaves it as it is.

    On for `LEAST_ON` s at least and off for `LEAST_OFF` s, but that `at_once` closes it and keeps it closed.  At the
    first sample it is on unless told to stop.
    """
    found = np.zeros(len(time), dtype=bool)
    on, since = bool(not stop[0] or at_once[0]), -np.inf
    for k, (t, starts, stops, now) in enumerate(
        zip(time.tolist(), start.tolist(), stop.tolist(), at_once.tolist(), strict=True)
    ):
        if on and stops and not now and t - since >= LEAST_ON:
            on, since = False, t
        elif not on and (now or (starts and t - since >= LEAST_OFF)):
            on, since = True, t
        found[k] = on
    return found


# ---------------------------------------------------------------- why stopping is right or wrong


def always_on(build: Build, devices: Sequence[str]) -> Build:
    """The build with these devices always on."""
    parts = dict(build.parts)
    for name in devices:
        parts[name] = replace(parts[name], control=Control("always"))
    return replace(build, parts=parts)


def _standstills(search: Search) -> tuple[tuple[Standstill, ...], tuple[str, ...]]:
    """The balance of every loop with a switched pump in every quiet kind of phase; and what could not be had."""
    bench, build = search.bench, search.build
    demand = bench.demand
    on = always_on(build, bench.devices)
    always = search.sure(ALWAYS)
    found: list[Standstill] = []
    notes: list[str] = []
    for kind in quiet_kinds(demand):
        spans = [s for s in demand.spans if s.kind == kind and not demand.boost[s.first : s.last + 1].any()]
        longest = max(spans, key=lambda s: s.last - s.first)
        middle = float(demand.time[(longest.first + longest.last) // 2])
        try:
            point = operating_point(on, session=search.session, at=middle)
        except (BadInput, NoAnswer) as fault:
            notes.append(f"{kind}: no steady point to say why ({fault})")
            continue
        alone = search.sure((Rule("off_in", (kind,), 0.0), Rule("always"))).peak
        rows = slice(longest.first, longest.last + 1)
        bay = float(demand.bay_temperature[rows].mean())
        for i, loop in enumerate(bench.plant.loops):
            if not any(name in bench.pumps() for name in loop.pumps):
                continue
            mean = bench.mean_coolant(always.solution, i)[rows]
            told = (float(mean.mean()), bay)
            made = _standstill(point, (kind, loop.loop.name), told, (alone, always.peak))
            if made is None:
                notes.append(f"{kind}: loop {loop.loop.name} gives no heat to air there, so nothing can be weighed")
            else:
                found.append(made)
    return tuple(found), tuple(notes)


def _standstill(
    point: Point, where: tuple[str, str], temperatures: tuple[float, float], peaks: tuple[float, float]
) -> Standstill | None:
    """The balance of one loop from its steady point; None where the exchangers give nothing away there."""
    kind, name = where
    coolant, bay = temperatures
    loop, ambient, build = point.build.loops[name], point.ambient_temperature, point.build
    liquid = parse_coolant(loop.coolant)
    rejected, warm, weight = 0.0, 0.0, 0.0
    for part, spec in build.parts.items():
        key = (part, "coolant")
        if isinstance(spec, ExchangerSpec) and key in point.flow and part in names_on(loop.path):
            T_in, flow = point.inlet[key], abs(point.flow[key])
            rejected += flow * float(liquid.cp(T_in)) * (T_in - point.outlet[key])
            warm, weight = warm + flow * T_in, weight + flow
    if rejected <= 0.0 or weight <= 0.0:
        return None
    settled = warm / weight
    if settled <= ambient:
        return None
    loss = rejected * (coolant - ambient) / (settled - ambient)
    # heat that does not come from the bay (the engine's air, warm from the turbo) leaves no UA_h: it stays as it is
    gain = rejected * (bay - coolant) / (bay - settled) if bay > settled + 1.0 else rejected
    return Standstill(kind, name, coolant, settled, bay, ambient, rejected, gain, loss, *peaks)


def _fans_off(search: Search) -> tuple[FansOff, ...]:
    """What stopping the fans does in every quiet kind of phase."""
    always = search.sure(ALWAYS).peak
    return tuple(
        FansOff(kind, search.sure((Rule("always"), Rule("off_in", (kind,), 0.0))).peak, always)
        for kind in quiet_kinds(search.bench.demand)
    )


def slowed(search: Search, best: Switching) -> Slowed | None:
    """Why a pump that follows the load does no harm; None where it never ran at half speed."""
    bench = search.bench
    full = search.sure((Rule("always"), best.fans)) if best.fans.form != "above" else search.sure(ALWAYS)
    slow = search.sure((best.pumps, best.fans))
    name = bench.pumps()[0]
    loop = next(i for i in bench.charge_loops() if name in bench.plant.loops[i].pumps)
    at_half = slow.did[name] == LOAD_STEPS[0]
    if not at_half.any():
        return None
    boost = bench.demand.boost
    starts = np.flatnonzero(boost & ~np.concatenate([[False], boost[:-1]]))
    met = [bench.into_cores(one.solution, loop)[starts].mean() for one in (slow, full)] if starts.size else [0.0, 0.0]
    specs = [bench.build.parts[pump] for pump in bench.pumps()]
    time = np.diff(bench.demand.time, append=bench.demand.time[-1])
    drawn = [
        sum(float((drawn_power(bench.build.parts[n], one.did[n]) * time).sum()) for n in bench.pumps())
        for one in (full, slow)
    ]
    return Slowed(
        pumps=bench.pumps(),
        loop=bench.plant.loops[loop].loop.name,
        full=sum(float(drawn_power(spec, ON)) for spec in specs),
        half=sum(float(drawn_power(spec, LOAD_STEPS[0])) for spec in specs),
        flow=float(bench.pumped(full.solution, loop)[at_half].mean()),
        half_flow=float(bench.pumped(slow.solution, loop)[at_half].mean()),
        saved=drawn[0] - drawn[1],
        onset=float(met[0] - met[1]),
        peak=slow.peak - full.peak,
    )
