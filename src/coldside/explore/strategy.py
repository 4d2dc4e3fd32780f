"""Which switching of pumps and fans suits a session best: always on, as written, and the best found.

What is here: `strategy`, which marches one plant under many orders (`commands.py`), and the balance of a loop at
standstill, which says why stopping a pump is right or wrong.  What is not: words and JSON (`strategy_words.py`).

The search is by turns: pumps first with fans as written, fans with the pumps' best, then pumps again.  Tried for each
of the two: always on; off in every kind of phase without boost, alone and all together, and on again a while before
boost; thresholds on what the intake sensor reads; following the load.  The best has the lowest peak of the intake in
boost; of all within `ALIKE` of the lowest it draws the least.  The controller is free of a least time on.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from coldside.build.model import Build, names_on
from coldside.duty.model import Demand, Session
from coldside.errors import BadInput, NoAnswer
from coldside.explore.commands import OFF, ON, Bench, Orders, Threshold, Tried
from coldside.explore.outcome import COARSE, FINE
from coldside.judge.power import time_weights
from coldside.media.coolants import parse_coolant
from coldside.parts.exchanger import ExchangerSpec
from coldside.parts.pump import Control
from coldside.plant.results import Point
from coldside.plant.steady import operating_point

ALIKE = 0.25  # K: peaks that differ by less count as equal (a coarse march knows no finer)
LEADS = (0.0, 15.0, 60.0, 180.0)  # s on before boost
OVER_AMBIENT = (10.0, 20.0, 30.0)  # K, thresholds of the intake sensor
HYSTERESIS = 4.0  # K (notes c: 3 to 5)
LOAD_STEPS = (0.5, 0.75)  # commands below full that following the load uses
QUIET = ("idle", "traffic", "staging", "paddock", "cooldown", "parked", "cruise")
LONG_ENOUGH = 20.0  # s that a kind of phase lasts in all before a switching of its own is tried


@dataclass(frozen=True)
class Rule:
    """What a group of devices is told: `form` is always, written, off_in, above or load.

    `kinds` of phase in which it is off, `lead` s on before boost; `threshold` K of the intake sensor.
    """

    form: str
    kinds: tuple[str, ...] = ()
    lead: float = 0.0
    threshold: float | None = None


@dataclass(frozen=True)
class Switching:
    """One way of switching: rules of pumps and fans, the intake's peak in boost [K], electrical energy [J], s off.

    `off` by device: seconds of the session in which it stood still.
    """

    name: str  # "always on", "as written", "best found"
    pumps: Rule
    fans: Rule
    peak: float
    energy: float
    off: Mapping[str, float]


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
    notes: tuple[str, ...] = ()


def strategy(build: Build, session: Session) -> Strategy:
    """Compare always on, the owner's own control and the best switching found for a session.

    Pumps are the electric ones of the loops that cool the charge, fans all; what is switched off for good, has a
    fault or is driven by the engine keeps as it is.  Raises as `simulate` does, `BadInput` where there is nothing
    to switch.
    """
    search = _Search(build, session, Bench(build, session, COARSE, LOAD_STEPS))
    rough, groups = search.bench, (search.bench.pumps(), search.bench.fans())
    if not (groups[0] or groups[1]):
        raise BadInput(
            "there is nothing to switch: no electric pump in a loop that cools the charge and no fan", where=build.name
        )
    found = search.best()
    fine = _Search(build, session, Bench(build, session, FINE, LOAD_STEPS))
    always = fine.switching("always on", (Rule("always"), Rule("always")))
    written = fine.switching("as written", (Rule("written"), Rule("written")))
    best = fine.switching("best found", found)
    for other in (written, always):  # what the coarse search found must stand the fine march
        if _better(other.peak, other.energy, best.peak, best.energy):
            best = replace(other, name="best found")
    standstill, notes = _standstills(search) if groups[0] else ((), ())
    return Strategy(
        build=build,
        session=session,
        always=always,
        written=written,
        best=best,
        standstill=standstill,
        pumps=groups[0],
        fans=groups[1],
        boosted=bool(rough.boost.any()),
        marches=search.marches + fine.marches,
        notes=notes,
    )


def _better(peak: float, energy: float, than_peak: float, than_energy: float) -> bool:
    """Whether a switching beats another: a lower peak, or as low a one for less."""
    if peak < than_peak - ALIKE:
        return True
    return peak <= than_peak + ALIKE and energy < than_energy * (1.0 - 1e-6)


class _Search:
    """Rules tried on one bench, each once."""

    def __init__(self, build: Build, session: Session, bench: Bench) -> None:
        self.build, self.session, self.bench = build, session, bench
        self.known: dict[tuple[Rule, Rule], Tried] = {}

    @property
    def marches(self) -> int:
        return len(self.known)

    def tried(self, rules: tuple[Rule, Rule]) -> Tried:
        if rules not in self.known:
            orders: dict[str, np.ndarray | Threshold] = {}
            for rule, devices in zip(rules, (self.bench.pumps(), self.bench.fans()), strict=True):
                orders |= self._orders(rule, devices)
            self.known[rules] = self.bench.march(orders)
        return self.known[rules]

    def _orders(self, rule: Rule, devices: Sequence[str]) -> Orders:
        if rule.form == "written":
            return {}
        if rule.threshold is not None:
            return dict.fromkeys(devices, Threshold(rule.threshold, rule.threshold - HYSTERESIS))
        trace = {
            "always": lambda: np.full(len(self.bench.demand.time), ON),
            "off_in": lambda: off_in(self.bench.demand, rule.kinds, rule.lead),
            "load": lambda: following_load(self.bench.demand),
        }[rule.form]()
        return dict.fromkeys(devices, trace)

    def switching(self, name: str, rules: tuple[Rule, Rule]) -> Switching:
        tried = self.tried(rules)
        weights = time_weights(self.bench.demand.time)
        off = {n: float(weights[tried.did[n] <= OFF].sum()) for n in self.bench.devices}
        return Switching(name, *rules, tried.peak, tried.energy, off)

    def best(self) -> tuple[Rule, Rule]:
        """Rules of pumps and fans by turns."""
        rules = [Rule("written"), Rule("written")]
        for turn in (0, 1, 0):
            if not (self.bench.pumps(), self.bench.fans())[turn]:
                continue
            pairs = []
            for rule in dict.fromkeys([rules[turn], *self._candidates()]):
                pair = (rule, rules[1]) if turn == 0 else (rules[0], rule)
                tried = self.tried(pair)
                pairs.append((tried.peak, tried.energy, rule))
            lowest = min(peak for peak, _, _ in pairs)
            good = [(energy, k, rule) for k, (peak, energy, rule) in enumerate(pairs) if peak <= lowest + ALIKE]
            rules[turn] = min(good, key=lambda one: one[:2])[2]
        return rules[0], rules[1]

    def _candidates(self) -> Iterator[Rule]:
        yield Rule("always")
        kinds = quiet_kinds(self.bench.demand)
        groups = [(kind,) for kind in kinds] + ([kinds] if len(kinds) > 1 else [])
        for group in groups:
            for lead in LEADS:
                yield Rule("off_in", group, lead)
        for over in OVER_AMBIENT:
            yield Rule("above", threshold=self.bench.demand.ambient_middle + over)
        yield Rule("load")


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

    The plenum's pressure is what a controller has for the load; the engine off stops the device.
    """
    share = demand.plenum_target / demand.ambient_pressure
    command = np.where(demand.boost, ON, np.where(share > 0.5, LOAD_STEPS[1], LOAD_STEPS[0]))
    return np.where(demand.engine_speed > 0.0, command, OFF)


# ---------------------------------------------------------------- why stopping is right or wrong


def always_on(build: Build, devices: Sequence[str]) -> Build:
    """The build with these devices always on."""
    parts = dict(build.parts)
    for name in devices:
        parts[name] = replace(parts[name], control=Control("always"))
    return replace(build, parts=parts)


def _standstills(search: _Search) -> tuple[tuple[Standstill, ...], tuple[str, ...]]:
    """The balance of every loop with a switched pump in every quiet kind of phase; and what could not be had."""
    bench, build = search.bench, search.build
    demand = bench.demand
    on = always_on(build, bench.devices)
    always = search.tried((Rule("always"), Rule("always")))
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
        alone = search.tried((Rule("off_in", (kind,), 0.0), Rule("always"))).peak
        rows = slice(longest.first, longest.last + 1)
        bay = float(demand.bay_temperature[rows].mean())
        for i, loop in enumerate(bench.plant.loops):
            if not any(name in bench.pumps() for name in loop.pumps):
                continue
            mean = always.solution.scalars[:, 4 + len(bench.plant.sensors) + i][rows]
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
