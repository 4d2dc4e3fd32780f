"""Starter builds from a brief: sized by rules, grown by the solver within the room, really run and judged.

What is here: `draft` (a brief -> two or three `Starter`s).  What is not: the rules (`build/sizing.py`), the text of
build and session (`draft_text.py`), what matters of the rest (`draft_unknowns.py`), words (`draft_answer.py`).

How a starter is refined: every size that may grow is tried alone, half as much again, in a coarse run; those that
help are then grown together, step by step, until the session's limits hold with a kelvin to spare or the room is
used up.  The last word is a whole forecast, judged.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from coldside.build import sizing
from coldside.build.brief import AS_IT_IS, BRIEF_FIELDS, DRAG, EXCHANGER_AS_IT_IS, TANK_AS_IT_IS, Brief
from coldside.build.files import read_build
from coldside.build.model import Build
from coldside.build.sizing import Need, Rule
from coldside.duty.model import Session
from coldside.duty.phases import read_session
from coldside.errors import ColdsideError, Internal
from coldside.explore.draft_text import (
    AIR,
    AIR_DEPTH,
    ALL_INLET,
    ASIDE,
    COOLANT_TANK,
    COVERED,
    END_TANK,
    FRAME,
    HYBRID,
    KINDS,
    LEVER_WORDS,
    LEVERS,
    RADIATOR,
    SIDE_TANK,
    STRONGEST_FAN,
    TURNED,
    WATER,
    build_text,
    programme,
    session_text,
)
from coldside.explore.inventory import inventory
from coldside.explore.outcome import COARSE, figures, preview, run
from coldside.explore.workers import on_all_cores
from coldside.judge.airways import for_long, short_for
from coldside.judge.asked_power import asked_power
from coldside.judge.proposal import usual_limit
from coldside.judge.verdict import Verdict, judge
from coldside.judge.wording import Quantity, listed
from coldside.judge.wording import shown as told
from coldside.media.coolants import parse_coolant
from coldside.parts.engine import EngineSpec
from coldside.parts.exchanger import AirCoreSpec, ExchangerSpec, WaterCoreSpec
from coldside.parts.reservoir import ICE_DENSITY, ReservoirSpec
from coldside.plant.forecast import simulate
from coldside.units import ZERO_CELSIUS, show

TRIED, STEP, ROUNDS = 1.5, 1.4, 4  # factor of a size tried alone; of each step of growth; most steps
SPARE, WORTH = 1.0, 0.3  # K to spare that is aimed at; K that a size must bring to be grown
LOSS_WEIGHT = 0.7  # K that a kPa of charge loss beyond the aim counts where two layouts are weighed (own)
SPREAD_WEIGHT = 50.0  # K that a spread of 1 over or under its limit counts
ROOMIER = (1.3, 1.7)  # factors on every side of the room that are tried where it does not do
SPRAY, ICE_SHARE = 0.5 / 6e4, 0.4  # m3/s of water on a face; share of the tank's room that is ice (own)
HEAVY = 1.25  # of the charge loss aimed at, from which it is named
HELPS = 1.0  # K by which a hybrid must better both others to be proposed
ROOM = (
    "core_length", "core_width", "core_height", "nose_width", "nose_height", "nose_depth",
    "side_width", "side_height", "side_depth", "tank_room",
)  # fmt: skip
FULL = 0.97  # of a side of the room, from which it is used in full
SYSTEMS = ("si", "us")
RADIATOR_NAME = "engine_radiator"  # a face that follows what the engine asks
FEEDS: tuple[Mapping[str, float], ...] = (  # what gives it more air: growth at least so far, below 1 at most so far
    {"inlet": ALL_INLET},
    {"inlet": ALL_INLET, "fan": 1.3},
    {"inlet": ALL_INLET, "fan": STRONGEST_FAN},
    {"inlet": ALL_INLET, "fan": STRONGEST_FAN, ASIDE: 1.0},
    {"inlet": ALL_INLET, "fan": STRONGEST_FAN, "depth": 0.7, "exchanger_depth": 0.7},
)

Progress = Callable[[float, str], None]


@dataclass(frozen=True)
class Said:
    """What a starter says in one system of units.

    `boost` (empty where the verdict says it): what power the boost makes, or what boost it takes; `session`: what it
    was run through; `why_not` (empty where it holds): what would be needed; `radiator` (empty where it gets its air):
    how the engine's own radiator is starved; `refined` what the solver changed, a sentence a step; `notes` what else to
    know.
    """

    boost: str
    session: str
    why_not: str
    radiator: str
    refined: tuple[str, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Starter:
    """One starter build, run and judged.

    `text` and `session_text` are complete TOML files, `build` and `session` what they read as; `sized` every size
    with its rule; `said` its words by system of units, rounded in that system.  `peak` K of intake in boost, `margin`
    K to the limits, `charge_loss` Pa, `charge_volume` m3, `power` W the most that it makes.
    """

    kind: str
    name: str
    text: str
    session_text: str
    build: Build
    session: Session
    verdict: Verdict
    headline: str
    sized: tuple[Rule, ...]
    said: Mapping[str, Said]
    holds: bool
    peak: float
    margin: float
    charge_loss: float
    charge_volume: float
    power: float
    growth: Mapping[str, float] = field(default_factory=dict)
    coolant: str = ""


@dataclass(frozen=True)
class Tried:
    """One coarse run: K to spare, K of peak, Pa of charge loss; `fault` why it could not be run."""

    margin: float
    peak: float
    loss: float = math.nan
    fault: str = ""

    @property
    def score(self) -> float:
        """K to spare, less what charge loss beyond the aim is worth."""
        return self.margin - LOSS_WEIGHT * max(self.loss - sizing.CHARGE_LOSS, 0.0) / 1e3


@dataclass(frozen=True)
class _Final:
    """What a whole forecast leaves behind."""

    verdict: Verdict
    peak: float
    margin: float
    charge_loss: float
    preheat: float | None  # K over ambient of the air that reaches the radiator, hottest in boost
    power: float  # W, the most
    short: tuple[float, float]  # s at work in which the radiator gets too little air, and all of them
    lacking: bool  # the verdict tells that the power asked for is missed


@dataclass
class _Growing:
    """A starter in the making."""

    kind: str
    growth: dict[str, float]
    tried: Tried
    useful: tuple[str, ...] = ()
    steps: list[tuple[tuple[str, ...], float, float]] = field(default_factory=list)  # sizes, peaks before and after
    done: bool = False
    fed: _Fed | None = None


@dataclass(frozen=True)
class _Fed:
    """How the radiator was fed: the `levers`, s at work without its air `before`, of `work` s; peaks of intake, K."""

    levers: tuple[str, ...]
    before: float
    work: float
    peaks: tuple[float, float]


def draft(brief: Brief, *, progress: Progress | None = None) -> tuple[Starter, ...]:
    """Starter builds for a brief: air-to-air, water-to-air, and a hybrid where it betters both.

    `progress` is told a fraction from 0 to 1 and what is being done.  Raises BadInput where the brief's engine needs
    no boost or more than one stage gives, and as `simulate` does.
    """
    tell: Progress = progress or (lambda _fraction, _words: None)
    tell(0.0, "first sizes by rules")
    shop = Shop(brief)
    starters = _first(shop)
    tell(0.15, "which sizes help")
    _find_useful(shop, starters)
    for turn in range(ROUNDS):
        if all(one.done for one in starters):
            break
        tell(0.35 + 0.25 * turn / ROUNDS, "growing what helps, within the room")
        _grow(shop, starters)
    tell(0.6, "air for the engine's own radiator")
    _feed(shop, starters)
    kept, about_hybrid = _worth_having(starters, _exchanger_stands(brief))
    tell(0.67, "other coolants, more room")
    asides = _asides(shop, kept)
    tell(0.75, "the whole session for each")
    finals = shop.final([(one.kind, one.growth) for one in kept])
    found = tuple(
        _starter(shop, one, final, aside, about_hybrid if one is kept[-1] else None)
        for one, final, aside in zip(kept, finals, asides, strict=True)
    )
    tell(1.0, "done")
    return found


# ---------------------------------------------------------------- running


class Shop:
    """A brief with what its engine asks, its limit and session, and the runs that are made of it."""

    def __init__(self, brief: Brief) -> None:
        self.brief = brief
        self.need: Need = sizing.need_of(brief)
        spec = brief.spec
        engine = EngineSpec(kind=spec.engine or "piston", boost=(), fuel=spec.fuel)
        self.limit = round(usual_limit(engine) - ZERO_CELSIUS) + ZERO_CELSIUS  # as it stands in the session
        self.coolant = sizing.coolant_of(brief)
        self.session_text = session_text(brief, self.limit)
        self.session = read_session(self.session_text, "session.toml")

    def build(self, kind: str, growth: Mapping[str, float], coolant: str = "") -> Build:
        """The build of a kind with its sizes grown."""
        return read_build(self.text(kind, growth, coolant), f"{kind}.toml")

    def text(self, kind: str, growth: Mapping[str, float], coolant: str = "") -> str:
        """Its text."""
        return build_text(self.brief, self.need, kind, growth, coolant or self.coolant)[0]

    def coarse(self, jobs: Sequence[tuple[str, Mapping[str, float]]]) -> list[Tried]:
        """One coarse run for every kind and growth."""
        return on_all_cores(coarse_runs, None, [(self.build(kind, growth), self.session) for kind, growth in jobs])

    def final(self, jobs: Sequence[tuple[str, Mapping[str, float]]]) -> list[_Final]:
        """One whole forecast, judged, for every kind and growth."""
        return on_all_cores(_judged, None, [(self.build(kind, growth), self.session) for kind, growth in jobs])


def _margin(found: Mapping[str, float], session: Session) -> float:
    """K to spare on the limit that is nearest; a spread counts as 50 K for the whole of it."""
    spare = [math.inf]
    for k, limit in enumerate(session.limits):
        value = found.get(f"limits.{k}")
        if value is not None and limit.at_most is not None:
            weight = SPREAD_WEIGHT if limit.quantity == "spread" else 1.0
            spare.append(weight * (limit.at_most - value))
    return min(spare)


def coarse_runs(_shared: None, jobs: Sequence[tuple[Build, Session]]) -> list[Tried]:
    """Coarse runs; one that finds no balance says why."""
    results = []
    for build, session in jobs:
        try:
            outcome = run(build, session, COARSE)
        except ColdsideError as error:
            results.append(Tried(-math.inf, math.nan, fault=str(error)))
        else:
            found = figures(outcome)
            results.append(Tried(_margin(found, session), found["intake_max"], outcome.charge_loss))
    return results


def _judged(_shared: None, jobs: Sequence[tuple[Build, Session]]) -> list[_Final]:
    """Whole forecasts, judged."""
    results = []
    for build, session in jobs:
        forecast = simulate(build, session)
        reaches = forecast.inlet.get((RADIATOR_NAME, "cooling"))
        preheat = None
        if reaches is not None and forecast.boost.any():
            preheat = float((reaches - forecast.demand.ambient_temperature)[forecast.boost].max())
        k = forecast.peak
        results.append(
            _Final(
                judge(forecast),
                float(forecast.intake[k]),
                _margin(figures(forecast), session),
                float(forecast.compressor_out_pressure[k] - forecast.plenum_pressure[k]),
                preheat,
                float(forecast.power.max()),
                short_for(forecast, RADIATOR_NAME),
                bool(asked_power(forecast)),
            )
        )
    return results


# ---------------------------------------------------------------- growing


def _first(shop: Shop) -> list[_Growing]:
    """Every kind at its first sizes; an air core with the charge across or down, whichever does better."""
    kinds = tuple(kind for kind in KINDS if kind != HYBRID or not _exchanger_stands(shop.brief))
    layouts: list[tuple[str, dict[str, float]]] = [(kind, {}) for kind in kinds]
    layouts += [(kind, {TURNED: 1.0}) for kind in (AIR, HYBRID) if kind in kinds]
    found: dict[str, _Growing] = {}
    faults: list[str] = []
    for (kind, growth), tried in zip(layouts, shop.coarse(layouts), strict=True):
        if tried.fault:
            faults.append(f"the {kind} starter does not run: {tried.fault}")
        elif kind not in found or tried.score > found[kind].tried.score:
            found[kind] = _Growing(kind, growth, tried, done=tried.margin >= SPARE)
    if AIR not in found or WATER not in found:
        raise Internal(faults[0])
    return [found[kind] for kind in KINDS if kind in found]


def _exchanger_stands(brief: Brief) -> bool:
    """Whether the nose is taken by an exchanger as it is."""
    return brief.spec.exchanger == EXCHANGER_AS_IT_IS


def _find_useful(shop: Shop, starters: Sequence[_Growing]) -> None:
    """Try every size alone, half as much again; keep those that bring something, the most useful first."""
    jobs = [(one, lever) for one in starters if not one.done for lever in LEVERS[one.kind] if _moves(shop, one, lever)]
    results = shop.coarse([(one.kind, {**one.growth, lever: TRIED}) for one, lever in jobs])
    for one in starters:
        gains = [
            (t.margin - one.tried.margin, lever) for (of, lever), t in zip(jobs, results, strict=True) if of is one
        ]
        one.useful = tuple(lever for gain, lever in sorted(gains, reverse=True) if gain >= WORTH)
        one.done = one.done or not one.useful


def _moves(shop: Shop, one: _Growing, lever: str) -> bool:
    """Whether growing a size changes the build at all: at a wall of the room, or bought, it does not."""
    return shop.text(one.kind, one.growth) != shop.text(one.kind, {**one.growth, lever: TRIED})


def _grow(shop: Shop, starters: Sequence[_Growing]) -> None:
    """One step of growth of all that helps, for every starter that needs it."""
    steps: list[tuple[_Growing, dict[str, float]]] = []
    for one in starters:
        if one.done:
            continue
        grown = {lever: one.growth.get(lever, 1.0) * STEP for lever in one.useful}
        wanted = {**one.growth, **grown}
        if shop.text(one.kind, wanted) == shop.text(one.kind, one.growth):
            one.done = True
        else:
            steps.append((one, wanted))
    for (one, wanted), tried in zip(steps, shop.coarse([(one.kind, g) for one, g in steps]), strict=True):
        if tried.margin < one.tried.margin + WORTH:
            one.done = True
            continue
        one.steps.append((one.useful, one.tried.peak, tried.peak))
        one.growth, one.tried, one.done = wanted, tried, tried.margin >= SPARE


def _looked(_shared: None, jobs: Sequence[tuple[Build, Session]]) -> list[tuple[float, float, float]]:
    """Of coarse forecasts: s at work in which the radiator is short of air, all of them, K to spare."""
    results = []
    for build, session in jobs:
        try:
            seen = preview(build, session)
        except ColdsideError:
            results.append((math.inf, math.inf, -math.inf))
        else:
            results.append((*short_for(seen, RADIATOR_NAME), _margin(figures(seen), session)))
    return results


def _feed(shop: Shop, starters: Sequence[_Growing]) -> None:
    """Air for the engine's radiator where a starter leaves it too little: the least that does, limits kept.

    Where nothing does, what leaves it short the least; `radiator_words` tells it.
    """
    looked = on_all_cores(_looked, None, [(shop.build(one.kind, one.growth), shop.session) for one in starters])
    hungry = {k: seen for k, seen in enumerate(looked) if for_long(seen[0], seen[1])}
    jobs = [(k, growth) for k in hungry for growth in _feeds(shop, starters[k])]
    builds = [(shop.build(starters[k].kind, growth), shop.session) for k, growth in jobs]
    results = on_all_cores(_looked, None, builds)
    for k, (before, work, margin) in hungry.items():
        one = starters[k]
        sound = [
            (growth, seen)
            for (of, growth), seen in zip(jobs, results, strict=True)
            if of == k and seen[0] < before and seen[2] >= min(margin, 0.0)  # a limit that held holds
        ]
        if not sound:
            continue
        enough = [growth for growth, seen in sound if not for_long(seen[0], seen[1])]
        growth = enough[0] if enough else min(sound, key=lambda pair: pair[1][0])[0]
        (tried,) = shop.coarse([(one.kind, growth)])
        if tried.fault:
            continue
        levers = tuple(lever for lever in growth if growth[lever] != one.growth.get(lever, 1.0))
        one.fed = _Fed(levers, before, work, (one.tried.peak, tried.peak))
        one.growth, one.tried = growth, tried


def _feeds(shop: Shop, one: _Growing) -> list[dict[str, float]]:
    """The growths that give the radiator more air than a starter does, as far as they change it."""
    found: list[dict[str, float]] = []
    texts = {shop.text(one.kind, one.growth)}
    for feed in FEEDS:
        growth = dict(one.growth)
        for lever, factor in feed.items():
            grown = growth.get(lever, 1.0)
            growth[lever] = factor * grown if factor < 1.0 else max(grown, factor)
        text = shop.text(one.kind, growth)
        if text not in texts:
            texts.add(text)
            found.append(growth)
    return found


def _temperature(value: float, system: str) -> str:
    return told(Quantity(value, "temperature"), system)


def difference_words(value: float, system: str) -> str:
    """A difference of temperatures as a verdict's headline rounds it: whole degrees of the system it is told in."""
    return told(Quantity(abs(value), "temperature_difference"), system)


_Words = Callable[[str], str]  # system -> words


def _worth_having(starters: Sequence[_Growing], nose_taken: bool) -> tuple[list[_Growing], _Words]:
    """The two plain ways, and the hybrid where it betters both; and the words about it."""
    plain = [one for one in starters if one.kind != HYBRID]
    hybrid = next((one for one in starters if one.kind == HYBRID), None)
    if hybrid is None:
        why = "the exchanger as it is takes the nose" if nose_taken else "its two cores do not work in this room"
        return plain, lambda _system: f"No hybrid is proposed: {why}."
    best = max(plain, key=lambda one: one.tried.margin)
    gain = hybrid.tried.margin - best.tried.margin
    if best.tried.margin >= SPARE:
        words = f"No hybrid is proposed: {best.kind} holds alone, and a second core costs mass, loss and room."
        return plain, lambda _system: words
    if gain < HELPS:

        def little(system: str) -> str:
            brings = f"brings only {difference_words(gain, system)} over" if gain > 0.05 else "is no better than"
            return f"No hybrid is proposed: run like the others, it {brings} {best.kind} in this room."

        return plain, little

    def better(system: str) -> str:
        gained = difference_words(gain, system)
        return f"The hybrid is {gained} better than {best.kind} alone: air takes the worst of the heat, water the rest."

    return [*plain, hybrid], better


# ---------------------------------------------------------------- what else to know


@dataclass(frozen=True)
class _Aside:
    """Runs beside a starter: with plain water, in more room (by factor), with what else the rule book allows."""

    water: Tried | None = None
    roomier: tuple[tuple[float, Tried], ...] = ()
    allowed: tuple[tuple[str, float, Tried], ...] = ()  # "spray" or "ice", how much (m3/s, kg), the run


def _asides(shop: Shop, kept: Sequence[_Growing]) -> list[_Aside]:
    """For every starter: plain water in place of glycol; where it does not hold, more room, spray and ice."""
    jobs: list[tuple[Build, Session]] = []
    places: list[tuple[int, float | str | tuple[str, float]]] = []  # which starter; a factor of room, or what was tried
    for number, one in enumerate(kept):
        if one.kind != AIR and shop.coolant != "water":
            jobs.append((shop.build(one.kind, one.growth, "water"), shop.session))
            places.append((number, "water"))
        if one.tried.margin >= 0.0:
            continue
        build = shop.build(one.kind, one.growth)
        for what_else, other in _allowed(shop.brief, build):
            jobs.append((other, shop.session))
            places.append((number, what_else))
        for factor in ROOMIER:
            jobs.append((_in_more_room(shop, one, factor), shop.session))
            places.append((number, factor))
    found = [_Aside() for _ in kept]
    for (number, what), tried in zip(places, on_all_cores(coarse_runs, None, jobs), strict=True):
        aside = found[number]
        if isinstance(what, float):
            aside = replace(aside, roomier=(*aside.roomier, (what, tried)))
        elif isinstance(what, str):
            aside = replace(aside, water=tried)
        else:
            aside = replace(aside, allowed=(*aside.allowed, (*what, tried)))
        found[number] = aside
    return found


def _in_more_room(shop: Shop, one: _Growing, factor: float) -> Build:
    """A starter with every side of its room longer, and what helps grown into it."""
    spec = shop.brief.spec
    kept = {
        "core_": spec.core == AS_IT_IS,
        "nose_": spec.exchanger == EXCHANGER_AS_IT_IS and one.kind != AIR,
        "tank_": spec.tank == TANK_AS_IT_IS,
    }
    sides = {key: min(factor * getattr(spec, key), _most(key)) for key in ROOM if not kept.get(key[:5], False)}
    brief = shop.brief.having(**sides)
    growth = {**one.growth, **{lever: one.growth.get(lever, 1.0) * factor**2 for lever in one.useful}}
    return read_build(build_text(brief, shop.need, one.kind, growth, shop.coolant)[0], f"{one.kind}.toml")


def _allowed(brief: Brief, build: Build) -> list[tuple[tuple[str, float], Build]]:
    """The build with what the rule book allows beside it: water on its faces, ice in its tank."""
    found: list[tuple[tuple[str, float], Build]] = []
    if brief.spec.spray == "allowed":
        wet = {n: replace(p, spray=SPRAY) for n, p in build.parts.items() if _cools_by_air(p)}
        found.append((("spray", SPRAY), replace(build, parts={**build.parts, **wet})))
    tanks = {n: p for n, p in build.parts.items() if isinstance(p, ReservoirSpec)}
    if brief.spec.ice == "allowed" and brief.spec.use == DRAG and tanks:
        share = ICE_SHARE * brief.spec.tank_room
        iced = {
            n: replace(p, ice=share * ICE_DENSITY, volume=min(p.volume, brief.spec.tank_room - share))
            for n, p in tanks.items()
        }
        found.append((("ice", share * ICE_DENSITY), replace(build, parts={**build.parts, **iced})))
    return found


def _allowed_words(what: str, amount: float, system: str) -> str:
    if what == "spray":
        return f"{show(amount, 'volume_flow', system)} of water sprayed on each face in boost"
    return f"{show(amount, 'mass', system)} of ice in the tank before the first run"


def _cools_by_air(part: object) -> bool:
    return isinstance(part, AirCoreSpec) or (isinstance(part, ExchangerSpec) and part.heat is None)


def _most(key: str) -> float:
    high = next(item.high for item in BRIEF_FIELDS if item.key == key)
    return math.inf if high is None else high


def _starter(shop: Shop, one: _Growing, final: _Final, aside: _Aside, about_hybrid: _Words | None) -> Starter:
    text, rules = build_text(shop.brief, shop.need, one.kind, one.growth, shop.coolant)
    build = read_build(text, f"{one.kind}.toml")
    held = inventory(build)
    holds = final.verdict.holds

    def said(system: str) -> Said:
        notes = [
            *_Room(shop, one, build, holds, system).notes(),
            *_notes(shop, one, final, aside, system),
            _limit_note(shop, system),
        ]
        volume, filled = show(held.charge_volume, "volume", system), show(held.fill_time, "time", system)
        loss = _loss_words(final.charge_loss, system)
        notes.append(f"Charge held behind the turbo: {volume}, filled in {filled} of full flow; charge loss {loss}.")
        if about_hybrid is not None:
            notes.append(about_hybrid(system))
        return Said(
            "" if final.lacking else sizing.boost_words(shop.need, system, final.power),
            f"Run through: {_lower(programme(shop.brief).words)}.",
            "" if holds else _why_not(shop, one, final, aside, system),
            radiator_words(shop.brief, final.short, system),
            (*(_step_words(step, system) for step in one.steps), *_fed_words(one, system)),
            tuple(notes),
        )

    return Starter(
        kind=one.kind,
        name=build.name,
        text=text,
        session_text=shop.session_text,
        build=build,
        session=shop.session,
        verdict=final.verdict,
        headline=final.verdict.words("si").headline,
        sized=rules,
        said={system: said(system) for system in SYSTEMS},
        holds=holds,
        peak=final.peak,
        margin=final.margin,
        charge_loss=final.charge_loss,
        charge_volume=held.charge_volume,
        power=final.power,
        growth=dict(one.growth),
        coolant="" if one.kind == AIR else shop.coolant,
    )


def _lower(words: str) -> str:
    return words[:1].lower() + words[1:]


def _step_words(step: tuple[tuple[str, ...], float, float], system: str) -> str:
    names = ", ".join(LEVER_WORDS[lever] for lever in step[0])
    return f"{names} grown: intake {_temperature(step[1], system)} to {_temperature(step[2], system)}"


def _fed_words(one: _Growing, system: str) -> tuple[str, ...]:
    """What was done for the radiator's air."""
    if one.fed is None:
        return ()
    done = [f"larger {LEVER_WORDS[lever]}" for lever in one.fed.levers if lever in ("inlet", "fan")]
    done += ["the exchanger in the side pods alone"] if ASIDE in one.fed.levers else []
    done += ["a shallower face"] if {"depth", "exchanger_depth"} & set(one.fed.levers) else []
    before, work = (told(Quantity(value, "time"), system) for value in (one.fed.before, one.fed.work))
    words = f"{listed(done)}, as the engine's own radiator would get too little air for {before} of {work} at work"
    return (f"{words}: intake {_temperature(one.fed.peaks[0], system)} to {_temperature(one.fed.peaks[1], system)}",)


def radiator_words(brief: Brief, starved: tuple[float, float], system: str = "si") -> str:
    """How the engine's own radiator is starved of air, and what would help; empty where it is not.

    `starved`: s at work in which it gets too little, and all of them.
    """
    if not for_long(*starved):
        return ""
    sides = " x ".join(show(length, "length", system) for length in RADIATOR)
    fan = "openings" if brief.spec.fan_flow is not None else "openings and fan"
    elsewhere = "" if brief.spec.side_pods else ", a place for what stands before it in side pods"
    lacks, of = (told(Quantity(value, "time"), system) for value in starved)
    return (
        f"The engine's own radiator ({sides}, assumed) gets too little air for {lacks} of the {of} that the car drives,"
        f" with {fan} as large as they go: the engine may run hot. A larger radiator{elsewhere}, less in front of it "
        "or less power would be needed."
    )


def _loss_words(loss: float, system: str) -> str:
    words = show(loss, "pressure_difference", system)
    if loss > HEAVY * sizing.CHARGE_LOSS:
        aim = show(sizing.CHARGE_LOSS, "pressure_difference", system)
        words += f", over the {aim} aimed at, which costs power and heat"
    return words


def _limit_note(shop: Shop, system: str) -> str:
    seals = ", lower for apex seals" if shop.brief.rotary else ""
    return (
        f"Judged against {show(shop.limit, 'temperature', system)} of intake in boost, what shops keep to on "
        f"{shop.brief.spec.fuel}{seals} (common practice, no source); a limit of your own goes into the session."
    )


class _Room:
    """What of the room is left, and why: a core or a tank that is smaller than its room is no slip."""

    def __init__(self, shop: Shop, one: _Growing, build: Build, holds: bool, system: str) -> None:
        self.shop, self.one, self.build, self.holds, self.system = shop, one, build, holds, system
        self.spec = shop.brief.spec

    def notes(self) -> list[str]:
        """The sentences."""
        return [*self.core(), *self.nose(), *self.tank()]

    def sides(self, *lengths: float) -> str:
        """Lengths side by side."""
        return " x ".join(show(length, "length", self.system) for length in lengths)

    def left(self, what: str, levers: tuple[str, ...]) -> str:
        """Why there is no more of it."""
        if self.holds:
            return f"The limits hold with that; more {what} costs mass, loss and room."
        if any(lever in self.one.useful for lever in levers):
            return "Growing it further, with all else that helps, brought next to nothing."
        return f"Half as much {what} again brought less than {_worth(self.system)}."

    def core(self) -> list[str]:
        """Of the room for the charge core."""
        core, spec = self.build.parts.get("core"), self.spec
        if not isinstance(core, WaterCoreSpec):
            return []
        if spec.core == AS_IT_IS:
            box = self.sides(spec.core_length, spec.core_width, spec.core_height)
            return [f"The charge core stands as given: {box} of fins; how they are made is assumed."]
        lengths = (core.charge_length or 0.0, core.coolant_length or 0.0, core.stack_height or 0.0)
        takes = (lengths[0] + 2.0 * END_TANK, lengths[1] + 2.0 * COOLANT_TANK, lengths[2] + 0.01)
        room = (spec.core_length, spec.core_width, spec.core_height)
        box, words = self.sides(*room), self.sides(*takes)
        words = f"Of the room for the charge core, {box}, it takes {words}, its tanks included"
        if any(taken < FULL * side for taken, side in zip(takes, room, strict=True)):
            return [f"{words}. {self.left('core', ('core',))}"]
        return [f"{words}: its fins are {self.sides(*lengths)}."]

    def nose(self) -> list[str]:
        """Of the room at the nose."""
        spec, stands = self.spec, _exchanger_stands(self.shop.brief)
        names = ("core", "front_core", "nose_hx")
        face = next((self.build.parts[name] for name in names if _at_nose(self.build, name)), None)
        if not isinstance(face, AirCoreSpec | ExchangerSpec):
            return []
        if isinstance(face, ExchangerSpec) and stands:
            box = self.sides(spec.nose_width, spec.nose_height, spec.nose_depth)
            return [
                f"The exchanger at the nose stands as given: {box} of tubes and fins; how they are made is assumed."
            ]
        takes, room, notes = self.taken(face), (spec.nose_width, spec.nose_height, spec.nose_depth), []
        if stands:  # the core stands in its place
            room = (room[0] + 2.0 * SIDE_TANK, room[1] + FRAME, max(room[2], AIR_DEPTH))
            assumed = f"; that there is {self.sides(room[2])} of depth is assumed" if room[2] > spec.nose_depth else ""
            notes.append(f"It stands in the place of the exchanger at the nose, which it does without{assumed}.")
        if all(taken >= FULL * side for taken, side in zip(takes, room, strict=True)):
            return notes
        if spec.keep == "engine cooling":
            why = f"No more than {100 * COVERED:.0f} % of the radiator may stand behind it: engine cooling must stay."
        elif all(taken >= FULL * side for taken, side in zip(takes[:2], room[:2], strict=True)):
            why = self.left("depth", ("depth", "exchanger_depth"))
        else:
            why = self.left("face", ("face", "exchanger"))
        words = f"Of the room at the nose, {self.sides(*room)}, it takes {self.sides(*takes)}, tanks included."
        return [*notes, f"{words} {why}"]

    def taken(self, face: AirCoreSpec | ExchangerSpec) -> tuple[float, float, float]:
        """Width, height and depth that the faces at the nose take."""
        air = isinstance(face, AirCoreSpec)
        across = face.charge_length if isinstance(face, AirCoreSpec) else face.coolant_length
        way = (across or 0.0) + 2.0 * (END_TANK if air else SIDE_TANK)
        stack = (face.stack_height or 0.0) + (0.01 if air else FRAME)
        deep = face.cooling_length or 0.0
        before = self.build.parts.get("nose_hx") if self.one.kind == HYBRID else None
        if isinstance(before, ExchangerSpec):  # a hybrid's two faces stand one behind the other
            deep += before.cooling_length or 0.0
        return (stack, way, deep) if air and self.one.growth.get(TURNED, 0.0) > 0.0 else (way, stack, deep)

    def tank(self) -> list[str]:
        """Of the room for the tank."""
        tank, spec = self.build.parts.get("tank"), self.spec
        if not isinstance(tank, ReservoirSpec):
            return []
        holds, room = (show(value, "volume", self.system) for value in (tank.volume, spec.tank_room))
        if spec.tank == TANK_AS_IT_IS:
            return [f"The tank stands as given: {holds}."]
        if tank.volume >= FULL * spec.tank_room:
            return []
        return [f"The tank holds {holds} of the {room} that there is room for. {self.left('tank', ('tank',))}"]


def _worth(system: str) -> str:
    return show(WORTH, "temperature_difference", system, 1).removesuffix(" rise")


def _at_nose(build: Build, name: str) -> bool:
    part = build.parts.get(name)
    return isinstance(part, AirCoreSpec | ExchangerSpec)


def _notes(shop: Shop, one: _Growing, final: _Final, aside: _Aside, system: str) -> list[str]:
    """What constraints decided, in words."""
    spec, notes = shop.brief.spec, []
    frost = spec.winter < ZERO_CELSIUS
    if one.kind != AIR:
        night = _temperature(spec.winter, system)
        if spec.glycol_share is not None:
            freezes = parse_coolant(shop.coolant).freezing_point
            text = f"The coolant stands as given: {shop.coolant}, liquid to {_temperature(freezes, system)}."
            if freezes > spec.winter:
                text += f" That is not enough for {night}: drain core, lines, exchanger and pump before frost."
            notes.append(text + _water_words(one, aside, system))
        elif frost and shop.coolant != "water":
            text = f"Winter storage down to {night} decides the coolant: {shop.coolant}."
            notes.append(text + _water_words(one, aside, system))
            if parse_coolant(shop.coolant).freezing_point > spec.winter - sizing.FROST_MARGIN + 1e-6:
                notes.append("Even the richest mix is not safe at that cold: drain it, or store the car warmer.")
        elif frost:
            notes.append(
                f"The rule book bars glycol, and winter storage goes down to {night}: it is water, the "
                "best coolant, but drain core, lines, exchanger and pump before frost, or they burst."
            )
        if spec.cabin == "forbidden" or spec.keep == "boot space":
            notes.append("Nothing may stand in cabin or boot: the tank stands in the bay and takes up its heat.")
        if spec.use == DRAG and spec.ice == "allowed":
            notes.append(
                "Ice in the tank is allowed: it buys passes, not steady cooling; key ice of the tank tries it."
            )
    if final.preheat is not None and final.preheat >= 0.5:
        warmer = difference_words(final.preheat, system)
        text = f"The air that reaches the engine's radiator is {warmer} warmer at the worst moment."
        if spec.keep == "engine cooling":
            text += f" The faces ahead of it were kept to {100 * COVERED:.0f} % of it: engine cooling must not be lost."
        notes.append(text)
    if spec.keep == "response":
        notes.append("Response must not be lost: charge volume and loss stand below; the shorter tract answers sooner.")
    return notes + _bought_notes(shop.brief, shop.need, system)


def _water_words(one: _Growing, aside: _Aside, system: str) -> str:
    """What plain water would bring instead."""
    if aside.water is None or aside.water.fault:
        return ""
    paid = one.tried.peak - aside.water.peak
    if paid < 0.05:
        return " Plain water would be no cooler here."
    cooler = difference_words(paid, system)
    return f" Plain water would be {cooler} cooler at the peak, but must be drained before frost."


def _bought_notes(brief: Brief, need: Need, system: str) -> list[str]:
    """Whether bought parts are enough."""
    spec, notes = brief.spec, []

    def flow(value: float) -> str:
        return show(value, "mass_flow", system)

    if spec.turbo_flow is not None and need.corrected > 0.95 * spec.turbo_flow:
        verdict = "leaves nothing in hand" if need.corrected <= spec.turbo_flow else "is too small"
        notes.append(
            f"The turbo already bought passes {flow(spec.turbo_flow)}; {flow(need.corrected)} corrected are needed, "
            f"and one in twenty should stay in hand: it {verdict} for this power on that day."
        )
    count = spec.injectors or (2 * spec.rotors if brief.rotary else spec.cylinders)
    if spec.injector_capacity is not None and need.fuel_flow > sizing.DUTY * count * spec.injector_capacity:
        notes.append(
            f"{count} injectors of {flow(spec.injector_capacity)} are too small: {flow(need.fuel_flow)} of fuel asks "
            f"for {flow(need.fuel_flow / sizing.DUTY / count)} each at 85 % duty."
        )
    return notes


def _why_not(shop: Shop, one: _Growing, final: _Final, aside: _Aside, system: str) -> str:
    """What would be needed where the room does not do."""
    without = " or ".join(what for what, _, _ in aside.allowed)
    words = f"It misses by {difference_words(final.margin, system)} with the room used as far as that helps"
    words += f", without {without}." if without else "."
    for what, amount, tried in aside.allowed:
        if math.isfinite(tried.margin) and tried.margin - one.tried.margin >= 0.5:
            gain = difference_words(tried.margin - one.tried.margin, system)
            enough = ", enough" if tried.margin >= 0.0 else ""
            words += f" The rule book allows {_allowed_words(what, amount, system)}: it brings {gain}{enough}."
        else:
            words += f" The rule book allows {_allowed_words(what, amount, system)}: here it brings next to nothing."
    fits = next((factor for factor, tried in aside.roomier if tried.margin >= 0.0), None)
    if fits is not None:
        words += f" With every side of the room {fits:g} times as long it would hold."
    elif aside.roomier:
        factor, tried = aside.roomier[-1]
        gained = tried.margin - one.tried.margin
        if math.isfinite(gained) and gained >= 0.5:
            words += (
                f" Every side of the room {factor:g} times as long brings {difference_words(gained, system)} of it;"
            )
        else:
            words += " More room alone brings nothing;"
        rest = "the rest must come from"
        if any(tried.margin >= 0.0 for _, _, tried in aside.allowed):
            rest = "without what the rule book allows, the rest must come from"
        words += f" {rest} less power, another fuel, rest between runs, or a cooler day."
    lowest = shop.need.ambient + 12.0
    if shop.limit < lowest:
        words += (
            f" The limit of {_temperature(shop.limit, system)} is only "
            f"{difference_words(shop.limit - shop.need.ambient, system)} over that day's air: next "
            "to nothing cools charge that far without ice."
        )
    return words
