"""Builds and sessions changed for one question: held at full load, run after run, a larger tank, a second exchanger.

What is here: pure changes; nothing is simulated.  What is not: the questions and their answers
(`consistency.py`).
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from coldside.build.model import Build, Duct, Loop, Parallel, Path, names_on
from coldside.duty.model import PhaseSpec, Session
from coldside.duty.stretches import SAID
from coldside.judge.power import mean_where
from coldside.judge.wording import listed
from coldside.parts.airflow import FanSpec
from coldside.parts.exchanger import ExchangerSpec
from coldside.parts.reservoir import ReservoirSpec
from coldside.plant.results import Forecast

REST = "rest between two runs"  # name of the phase, by which its span is found again
SHORTEST = 0.1  # s, a phase's least duration; every rest gets its own
MOST_NAMED = 3  # phases of a run that are told by name
DRIVEN = ("pull", "pass", "lap")  # kinds of phase that are a run by themselves
RESTING = {  # and those that lie between two runs, in words
    "idle": "idling",
    "staging": "queueing",
    "paddock": "rest in the paddock",
    "cooldown": "cooling down",
    "parked": "standing with the engine off",
}


@dataclass(frozen=True)
class Run:
    """What a session does again after a rest, as phases without a group, and its noun: "pull", "run", "stint".

    `leading` is the phase that asks for full load, whose air and gear a held run takes over; `resting` what lies
    between two runs: the longest of what does in the session, else idling in the air of the run.  `part` says what a
    run is in words where that is less than the round of a group it stands in, or has a name that takes no plural.
    """

    noun: str
    phases: tuple[PhaseSpec, ...]
    leading: PhaseSpec
    rest: float  # s of rest between two in the session itself, 0 for none
    resting: PhaseSpec
    part: str = ""


@dataclass(frozen=True)
class Repeated:
    """What a session does `times` times over: a group, by its name, or a phase alone (`group` None)."""

    group: str | None
    times: int
    phases: tuple[PhaseSpec, ...]

    @property
    def noun(self) -> str:
        """The word for one of them: the user's name of the group or phase, else pull, run or lap."""
        return _noun(self.phases[0]) if self.group is None else _of_group(self.group)


def repeated(session: Session) -> tuple[Repeated, ...]:
    """All that a session repeats, in the order in which it does: that of the sets of `power.repeats`."""
    found: list[Repeated] = []
    for name, members in itertools.groupby(session.phases, key=lambda phase: phase.group):
        phases = tuple(members)
        times = 1 if name is None else session.groups.get(name, 1)
        if times > 1:
            found.append(Repeated(name, times, phases))
        else:
            found += [Repeated(None, phase.repeat, (phase,)) for phase in phases if phase.repeat > 1]
    return tuple(found)


def run_of(session: Session, first: Repeated | None = None) -> Run | None:
    """The session's run; None where nothing in it asks for full load in a way of its own.

    That of `first`, one of what the session repeats; where there is none in it, of a repeated group what it drives
    between its rests; a group without rests, and laps one after another, are one run all together, a stint.  Else a
    repeated phase, else the first pull, pass or lap.
    """
    others = sorted(repeated(session), key=lambda one: one.group is None)
    for one in others if first is None else (first, *others):
        run = _of_phase(one.phases[0]) if one.group is None else _between_rests(one)
        if run is not None:
            return run
    return next((run for phase in session.phases if (run := _of_phase(phase)) is not None), None)


def _between_rests(group: Repeated) -> Run | None:
    """What a group drives between its rests; None where it only rests."""
    members = [replace(phase, group=None) for phase in group.phases]
    awake = [k for k, phase in enumerate(members) if phase.kind not in RESTING]
    if not awake:
        return None
    driven = tuple(members[awake[0] : awake[-1] + 1])
    leading = next((p for p in driven if p.kind in DRIVEN), max(driven, key=lambda p: p.load or 0.0))
    resting = members[: awake[0]] + members[awake[-1] + 1 :]
    if not resting:
        return Run("stint", driven * group.times, leading, 0.0, _idling(leading))
    longest = max(resting, key=lambda p: p.duration or 0.0)
    rest = sum(phase.duration or 0.0 for phase in resting)
    return Run("run", driven, leading, rest, longest, _named(driven))  # a round is more than that


def _of_phase(phase: PhaseSpec) -> Run | None:
    """A pull, pass or lap by itself; laps one after another are a stint."""
    if phase.kind not in DRIVEN:
        return None
    alone, noun, part = replace(phase, group=None), _noun(phase), ""
    if " " in noun:  # it takes no plural
        noun, part = "run", noun
    if phase.kind == "lap" and phase.repeat > 1:
        return Run("stint", (alone,), alone, 0.0, _idling(alone))
    alone = replace(alone, repeat=1, rest=0.0)
    return Run(noun, (alone,), alone, 0.0 if phase.kind == "lap" else phase.rest, _idling(alone), part)


def _named(phases: Sequence[PhaseSpec]) -> str:
    """ "pass and return road"; of more than three the first and the last."""
    names = list(dict.fromkeys(phase.name or SAID[phase.kind] for phase in phases))
    return listed(names) if len(names) <= MOST_NAMED else f"{names[0]} to {names[-1]}"


def _idling(leading: PhaseSpec) -> PhaseSpec:
    return PhaseSpec(kind="idle", duration=SHORTEST, air=leading.air)


def repeat_noun(session: Session) -> str:
    """The word for one of what the session repeats first; "run" where it repeats nothing."""
    return next((one.noun for one in repeated(session)), "run")


def _of_group(name: str) -> str:
    """What the user calls a group, as a noun for one of its rounds."""
    return "run" if name.endswith("s") else name


def _noun(phase: PhaseSpec) -> str:
    """ "pull", "lap", the user's own name; "run" for a pass and for what would not take a plural."""
    noun = phase.name or phase.kind
    return "run" if noun.endswith("s") else noun


def speed_in_boost(forecast: Forecast) -> float | None:
    """The engine's mean speed in boost, rev/s; None where it never is."""
    return mean_where(forecast.demand.engine_speed, forecast.boost, forecast.time)


def held_at_full_load(
    forecast: Forecast, run: Run | None, seconds: float, engine_speed: float | None = None
) -> Session | None:
    """The session's start and day, then full load without a break for `seconds`; None where it never is in boost.

    Engine and road speed are the session's means in boost, or `engine_speed` [rev/s] and the road speed that goes with
    it in the same gears.  A run on a dyno is held on the dyno, in the air that its phase names; any other as driving
    at that speed.
    """
    mean = speed_in_boost(forecast)
    V = mean_where(forecast.demand.road_speed, forecast.boost, forecast.time)
    if mean is None or V is None:
        return None
    n = mean if engine_speed is None else engine_speed
    V *= n / mean
    leading = None if run is None else run.leading
    if leading is not None and leading.kind == "pull" and leading.on == "dyno":
        held = replace(leading, name="held", from_speed=n, to_speed=n, duration=seconds)
    else:
        blown = {} if leading is None else leading.air
        held = PhaseSpec(
            kind="cruise", name="held", speed=V, engine_speed=n, load=1.0, duration=seconds, air=blown, group=None
        )
    return _with_phases(forecast.session, (held,))


def run_after_run(session: Session, run: Run, rest: float, count: int = 2) -> Session:
    """The run `count` times from the session's start, with `rest` s of the run's own kind of rest between.

    In a paddock the engine stops and idles its last two minutes, or stands all the time of a shorter rest.
    """
    between = replace(run.resting, name=REST, duration=rest, engine_off=None)
    phases: list[PhaseSpec] = []
    for k in range(count):
        phases += [between, *run.phases] if k else run.phases
    return _with_phases(session, tuple(phases))


def _with_phases(session: Session, phases: tuple[PhaseSpec, ...]) -> Session:
    return replace(session, phases=phases, groups={}, givens={}, notes=())


def samples_of_runs(forecast: Forecast) -> list[np.ndarray]:
    """Samples of each run of a session made by `run_after_run`, in order."""
    found: list[list[np.ndarray]] = [[]]
    for span in forecast.demand.spans:
        if not span.label.startswith(REST):  # a wait in the paddock has two spans, with the engine off and idling
            found[-1].append(np.arange(span.first, span.last + 1))
        elif found[-1]:
            found.append([])
    return [np.concatenate(spans) for spans in found]


# ---------------------------------------------------------------- builds


def tanks_on(build: Build, loop: str) -> tuple[str, ...]:
    """Names of the reservoirs on a loop."""
    return _on_loop(build, loop, lambda part: isinstance(part, ReservoirSpec))


def exchangers_on(build: Build, loop: str) -> tuple[str, ...]:
    """Names of a loop's exchangers to cooling air."""
    return _on_loop(build, loop, lambda part: isinstance(part, ExchangerSpec) and part.heat is None)


def _on_loop(build: Build, loop: str, wanted: Callable[[object], bool]) -> tuple[str, ...]:
    return tuple(name for name in names_on(build.loops[loop].path) if wanted(build.parts.get(name)))


def larger_tanks(build: Build, loop: str, factor: float) -> Build:
    """The build with `factor` times the coolant in the loop's tanks; metal, pick-up and ice stay."""
    changed = {name: build.parts[name] for name in tanks_on(build, loop)}
    parts = {
        name: replace(
            tank,
            volume=factor * tank.volume,
            brim_volume=None if tank.brim_volume is None else tank.brim_volume + (factor - 1.0) * tank.volume,
        )
        for name, tank in changed.items()
    }
    return replace(build, parts={**build.parts, **parts})


def second_exchangers(build: Build, loop: str) -> Build:
    """The build with a second exchanger like it beside each of a loop's, in a duct of its own with its own fans.

    The second one stands in the same place of the car, in air that nothing else has warmed; coolant divides between
    the two.
    """
    names = exchangers_on(build, loop)
    ducts, fans, parts = dict(build.ducts), [], dict(build.parts)
    for duct in build.ducts.values():
        behind = [name for name in names_on(duct.path) if name in names]
        if not behind:
            continue
        own = [name for name in names_on(duct.path) if isinstance(build.parts.get(name), FanSpec)]
        fans += own
        twin = _second(duct.name, build.ducts)
        kept = _kept(duct.path, (*behind, *own))
        ducts[twin] = Duct(twin, duct.spec, _renamed(kept, build))
        parts |= {_second(name, build.parts): spec for name, spec in _uncovering(kept, build).items()}
    parts |= {_second(name, build.parts): build.parts[name] for name in fans}
    parts |= {other: build.parts[name] for name in names if (other := _second(name, build.parts)) not in parts}
    loops = {**build.loops, loop: _doubled(build.loops[loop], names, build)}
    return replace(build, parts=parts, ducts=ducts, loops=loops)


def _uncovering(path: Path, build: Build) -> dict[str, ExchangerSpec]:
    """The exchangers of a duct's path; one with no face left behind it covers none."""
    found = {}
    for item, following in zip(path, (*path[1:], None), strict=True):
        spec = build.parts.get(item) if isinstance(item, str) else None
        if isinstance(item, str) and isinstance(spec, ExchangerSpec):
            alone = not (isinstance(following, str) and isinstance(build.parts.get(following), ExchangerSpec))
            found[item] = replace(spec, covers=1.0) if alone else spec
    return found


def _second(name: str, taken: Iterable[str]) -> str:
    """A name that is not taken yet for a second one like `name`."""
    known, number = set(taken), 2
    while f"{name}_{number}" in known:
        number += 1
    return f"{name}_{number}"


def _doubled(loop: Loop, names: tuple[str, ...], build: Build) -> Loop:
    def walk(path: Path) -> Path:
        return tuple(
            Parallel(tuple(walk(branch) for branch in item.branches))
            if isinstance(item, Parallel)
            else Parallel(((item,), (_second(item, build.parts),)))
            if item in names
            else item
            for item in path
        )

    return replace(loop, path=walk(loop.path))


def _kept(path: Path, names: tuple[str, ...]) -> Path:
    """A duct's path with only these parts; a group keeps the branches in which something is left."""
    found: list[str | Parallel] = []
    for item in path:
        if not isinstance(item, Parallel):
            found += [item] if item in names else []
            continue
        branches = tuple(branch for branch in (_kept(branch, names) for branch in item.branches) if branch)
        found += [Parallel(branches)] if len(branches) > 1 else list(branches[0]) if branches else []
    return tuple(found)


def _renamed(path: Path, build: Build) -> Path:
    return tuple(
        Parallel(tuple(_renamed(branch, build) for branch in item.branches))
        if isinstance(item, Parallel)
        else _second(item, build.parts)
        for item in path
    )
