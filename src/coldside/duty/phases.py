"""Sessions: `load_session`, `read_session` (of a text), `load_limits`, and which keys each kind of phase uses.

What is here: the tables of a session file and the rules between their keys.  What is not: the text
itself (`build/document.py`), single values (`build/values.py`), what a phase asks of the car
(`duty/demand.py`).
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Collection, Iterable, Mapping
from pathlib import Path
from typing import Any

from coldside.build.document import Document, Key, read_document, scan
from coldside.build.schema import OTHER_WORDS, RULES, Reading, Verdict, fields_of
from coldside.duty.courses import find_track
from coldside.duty.model import PHASE_KEYS, AmbientSpec, LimitSpec, PhaseSpec, ReadingSpec, Session
from coldside.duty.samples import Replay, read_cycle, read_replay
from coldside.duty.schedules import schedule, schedule_name
from coldside.duty.stretches import CREEP_SPEED, LONGEST_SESSION
from coldside.errors import BadInput, nearest
from coldside.parts.fields import given
from coldside.units import STANDARD_PRESSURE, Pressure, show, typed

SCHEMA = "coldside.session/1"
LIMITS_SCHEMA = "coldside.limits/1"
MOST_PHASES = 500
MOST_READINGS = 1000
LOGGED_EVERY = 5.0  # s between the readings of the air that are kept of a log: no shade moves faster
TOP = ("schema", "name", "start", "drafted", "ambient", "phases", "groups", "limits", "limits_file")
_ALWAYS = ("kind", "name", "pumps", "fans", "group", "air")  # keys that every phase may have
_NEEDED = {
    "idle": ("duration",),
    "traffic": ("duration",),
    "cruise": ("duration",),
    "pull": ("from_speed",),
    "pass": ("distance",),
    "lap": ("track",),
    "cycle": ("schedule",),
    "staging": ("duration",),
    "paddock": ("duration",),
    "cooldown": ("duration",),
    "parked": ("duration",),
    "replay": ("samples",),
}
LIMIT_KINDS = {
    "intake": "temperature",
    "sensor": "temperature",
    "coolant": "temperature",
    "over_ambient": "temperature_difference",
    "spread": "share",
    "margin": "temperature_difference",
}


@dataclasses.dataclass(frozen=True, kw_only=True)
class SessionKeys:
    """The single keys on top of a session file."""

    start: str = given(
        "choice",
        "how warm the car is at the start: at ambient, or soaked after hot running",
        default="ambient",
        choices=("ambient", "soaked"),
    )
    limits_file: str | None = given(
        "file", "a TOML file of limits of their own (schema coldside.limits/1), added to those here", default=None
    )
    drafted: bool = given(
        "flag", "the limits were drafted with the session, nobody chose them: words say so", default=False
    )


@dataclasses.dataclass(frozen=True, kw_only=True)
class GroupKeys:
    """`[groups.NAME]`: consecutive phases that are driven together, again and again."""

    repeat: int = given("count", "how many times the group is driven", low=1, high=1000)


def load_session(path: str | Path, loops: Collection[str] | None = None) -> Session:
    """Read and check one session.

    Returns a `Session` with SI values, groups not yet repeated; limits of a file of their own
    (`limits_file`) stand behind those in the session.  `loops` are the names of those of the build that it will be
    run on: a limit on another is refused (None: not looked at).  Raises BadInput, or ManyBadInputs with every
    fault of the file in file order.
    """
    return _session_of(read_document(path), loops)


def read_session(text: str, path: str | Path, loops: Collection[str] | None = None) -> Session:
    """As `load_session`, of a text that is in no file yet; files that it names are looked for beside `path`."""
    return _session_of(scan(text, str(path)), loops)


def _session_of(document: Document, loops: Collection[str] | None) -> Session:
    reading = Reading(document)
    reading.head(SCHEMA)
    data = reading.document.data
    reading.only(data, (), TOP, "a session")
    name = reading.name("a session")
    top: dict[str, Any] = {key: data[key] for key in ("start", "limits_file", "drafted") if key in data}
    keys = reading.table(SessionKeys, top, (), "a session")
    ambient_table = reading.one_table(("ambient",), "a session needs the day's temperature", required=True)
    ambient = None
    readings: tuple[ReadingSpec, ...] = ()
    if ambient_table is not None:
        single = {key: value for key, value in ambient_table.items() if key != "readings"}
        ambient = reading.table(AmbientSpec, single, ("ambient",), "the ambient", word="abs")
        readings = _readings(reading, ambient_table.get("readings", []))
    phases = _phases(reading)
    groups = _groups(reading, phases)
    limits = _limits(reading, loops)
    if not reading.faults and ambient is not None:
        whole = [phase for phase in phases if phase is not None]
        measured, logged = _check_samples(reading, whole, ambient)
        _check_length(reading, whole, groups, measured)
        ambient, readings = _air_of_logs(reading, ambient, readings, logged)
    if keys is not None and keys.limits_file is not None:
        try:
            limits += load_limits(Path(reading.document.file).parent / data["limits_file"], loops)
        except BadInput as error:
            reading.faults.add_error(("limits_file",), error)
    reading.faults.raise_any()
    assert keys is not None  # without faults all tables were read
    assert ambient is not None
    return Session(
        name=name,
        file=reading.document.file,
        start=keys.start,
        ambient=ambient,
        phases=tuple(phase for phase in phases if phase is not None),
        groups=groups,
        limits=limits,
        givens=reading.in_order(),
        notes=tuple(reading.notes),
        readings=readings,
        drafted=keys.drafted,
    )


def load_limits(path: str | Path, loops: Collection[str] | None = None) -> tuple[LimitSpec, ...]:
    """Read a file of limits of their own (schema "coldside.limits/1", tables [[limits]]); `loops` as of a session.

    Raises BadInput, or ManyBadInputs with every fault in file order.
    """
    reading = Reading(read_document(path))
    reading.head(LIMITS_SCHEMA)
    reading.only(reading.document.data, (), ("schema", "name", "limits"), "a file of limits")
    limits = _limits(reading, loops)
    if not limits and not reading.faults:
        reading.faults.add((), "there is no limit; write a table [[limits]]")
    reading.faults.raise_any()
    return limits


def _list_of_tables(reading: Reading, name: str) -> list[tuple[Key, dict[str, Any]]]:
    found = reading.document.data.get(name, [])
    if not isinstance(found, list) or not all(isinstance(item, dict) for item in found):
        reading.faults.add((name,), f"must be tables [[{name}]], in double brackets, one for each")
        return []
    return [((name, index), table) for index, table in enumerate(found)]


# -- phases ------------------------------------------------------------------------------------------
def _phases(reading: Reading) -> list[PhaseSpec | None]:
    """Every phase; None for one with faults, so that places stay what they are."""
    tables = _list_of_tables(reading, "phases")
    if not reading.document.data.get("phases"):
        reading.faults.add((), "there is no phase; write a table [[phases]] for each stretch of the session")
    if len(tables) > MOST_PHASES:
        reading.faults.add(("phases",), f"there are {len(tables)} phases; at most {MOST_PHASES} are read")
        return []
    return [_phase(reading, key, table) for key, table in tables]


def _phase(reading: Reading, key: Key, table: dict[str, Any]) -> PhaseSpec | None:
    kind = table.get("kind")
    words = "a phase"
    if isinstance(kind, str) and kind in PHASE_KEYS:
        words = f"{'an' if kind[0] in 'aeiou' else 'a'} {kind}"
        known = {item.name: item.key for item in fields_of(PhaseSpec)}
        used = tuple(known[name] for name in (*PHASE_KEYS[kind], *_ALWAYS))
        foreign = [name for name in table if name in known.values() and name not in used]
        for name in foreign:
            reading.faults.add((*key, name), f"is not used by {words}; its keys: " + ", ".join(used))
        table = {name: value for name, value in table.items() if name not in foreign}
    phase = reading.table(PhaseSpec, table, key, words, used=_used(kind))
    if phase is None or phase.air:
        return phase
    return dataclasses.replace(phase, air={})


def _used(kind: Any) -> tuple[str, ...]:
    """The keys in the file that a kind of phase uses; all of them for an unknown kind."""
    names = (*PHASE_KEYS[kind], *_ALWAYS) if isinstance(kind, str) and kind in PHASE_KEYS else None
    return tuple(item.key for item in fields_of(PhaseSpec) if names is None or item.name in names)


def _phase_rules(keys: set[str], values: Mapping[str, Any]) -> Verdict:
    """What each kind of phase needs; keys that it does not use are not listed among the defaults."""
    verdict = Verdict()
    kind = values.get("kind")
    if kind not in PHASE_KEYS:
        return verdict
    names = {item.name: item.key for item in fields_of(PhaseSpec)}
    used = {*PHASE_KEYS[kind], *_ALWAYS}
    verdict.idle = frozenset(set(names) - used)
    if kind == "lap":  # keys of standing starts, or of loops: `_check_track` refuses those that are of the other
        verdict.idle |= {"rest", "launch_hold", "launch_speed", "out_lap"} - keys
    if kind == "paddock" and values.get("engine_off", 0.0) > values.get("duration", math.inf):
        verdict.faults.append(("engine_off", "is longer than duration"))
    distance, every = (values.get(key, getattr(PhaseSpec, key)) for key in ("creep_distance", "creep_every"))
    if kind == "staging" and distance / CREEP_SPEED + 2.0 > every:
        verdict.faults.append(("creep_distance", "is not done at walking speed before the next move; see creep_every"))
    missing = [names[name] for name in _NEEDED[kind] if names[name] not in keys]
    if missing:
        is_are = "is" if len(missing) == 1 else "are"
        article = "an" if kind[0] in "aeiou" else "a"
        needs = ", ".join(names[name] for name in _NEEDED[kind])
        verdict.faults.append(("", f"{', '.join(missing)} {is_are} missing: {article} {kind} needs {needs}"))
    if kind == "cruise" and "speed" not in keys and not {"engine_speed", "load"} <= keys:
        verdict.faults.append(("", "a cruise needs speed, or engine_speed and load"))
    low, high = values.get("from_speed"), values.get("to_speed")
    if kind == "pull":
        _pull_rules(keys, values, verdict)
    if kind == "pull" and low is not None and high is not None and high <= low:
        verdict.faults.append(("to", f"must be above from, {show(low, 'engine_speed')}"))
    return verdict


def _pull_rules(keys: set[str], values: Mapping[str, Any], verdict: Verdict) -> None:
    """A pull's duration is given, or follows from what is accelerated; without `to` it is held at `from`."""
    on_dyno = values.get("on") == "dyno"
    if "duration" in keys:
        for name in sorted({"drum_mass", "grade", "headwind"} & keys):
            verdict.faults.append((name, "changes how long a pull lasts, but duration is given; take one of them out"))
        verdict.idle |= {"drum_mass", "grade", "headwind"}
        return
    if "to" not in keys:
        verdict.faults.append(
            ("", "duration or to is missing: a pull goes to an engine speed, or is held at from for its duration")
        )
    elif on_dyno and "drum_mass" not in keys:
        verdict.faults.append(
            ("", "duration is missing: a pull on a dyno lasts so long, or as long as drum_mass, its rollers, takes")
        )
    elif not on_dyno and "drum_mass" in keys:
        verdict.faults.append(("drum_mass", 'is of a dyno; write on = "dyno" too'))
    if on_dyno:
        for name in sorted({"grade", "headwind"} & keys):
            verdict.faults.append((name, "means nothing on a dyno"))
    verdict.idle |= {"grade", "headwind"} if on_dyno else {"drum_mass"}


def _groups(reading: Reading, phases: list[PhaseSpec | None]) -> dict[str, int]:
    """[groups.NAME] repeat = n; a group's phases stand one behind the other."""
    groups: dict[str, int] = {}
    tables = reading.tables(("groups",))
    for name, table in tables.items():
        spec = reading.table(GroupKeys, table, ("groups", name), "a group")
        if spec is not None:
            groups[name] = spec.repeat
    named = [phase.group if phase is not None else None for phase in phases]
    closed: set[str] = set()
    absent: set[str] = set()
    for index, group in enumerate(named):
        if group is None:
            continue
        if group in absent:
            continue
        if group not in tables:
            absent.add(group)
            message = f"{typed(group)} has no table [groups.{group}] with repeat = ..."
            reading.faults.add(("phases", index, "group"), message, joint=" = ")
        elif group in closed and named[index - 1] != group:
            message = f"{typed(group)} was closed by another phase; phases of one group stand one behind the other"
            reading.faults.add(("phases", index, "group"), message, joint=" = ")
        closed.add(group)
    if None not in phases:
        for name in tables:
            if name not in named:
                reading.faults.add(("groups", name), f'no phase is in it; write group = "{name}" in its phases')
    return groups


def _check_samples(
    reading: Reading, phases: Iterable[PhaseSpec], ambient: AmbientSpec
) -> tuple[dict[int, float], dict[int, Replay]]:
    """Files that phases name can be read.

    Returns the duration of each replay and cycle by its phase's index, and the replays that tell the air outside.
    """
    pressure = ambient.pressure.value if isinstance(ambient.pressure, Pressure) else STANDARD_PRESSURE
    folder = Path(reading.document.file).parent
    durations, logged = {}, {}
    for index, phase in enumerate(phases):
        table = reading.document.data["phases"][index]
        try:
            if phase.cycle is not None:
                read_cycle(folder / table["cycle"])
            if phase.samples is not None:
                replay = read_replay(folder / table["samples"], pressure)
                durations[index] = float(replay.time[-1])
                if replay.ambient is not None:
                    logged[index] = replay
            if phase.schedule is not None:
                durations[index] = float(schedule(schedule_name(phase.schedule))[0][-1])
            if phase.track is not None:
                _check_track(reading, index, table, find_track(reading.document.file, phase.track).closed)
        except BadInput as error:
            key = next(name for name in ("cycle", "samples", "schedule", "track") if getattr(phase, name) is not None)
            reading.faults.add_error(("phases", index, key), error)
    return durations, logged


def _check_track(reading: Reading, index: int, table: Mapping[str, Any], closed: bool) -> None:
    """Keys of a lap that its track makes no use of."""
    slow = closed and table.get("out_lap", True)
    for name in ("rest", "launch_hold", "launch_speed"):
        if name in table and closed and (slow or name != "launch_speed"):
            words = "is of an open track, but this is a loop"
            if name == "launch_speed":
                words = "means nothing where laps begin with a lap out; write out_lap = false too, or take it out"
            reading.faults.add(("phases", index, name), words)
    if not closed and table.get("out_lap", False):
        reading.faults.add(("phases", index, "out_lap"), "is of a loop, but this track is open: it has two ends")


def _check_length(
    reading: Reading, phases: Iterable[PhaseSpec], groups: Mapping[str, int], measured: Mapping[int, float]
) -> None:
    """All repeats written out must stay below the longest session."""
    total = 0.0
    for index, phase in enumerate(phases):
        duration = measured.get(index, phase.duration or 0.0)
        once = duration * phase.repeat + phase.rest * (phase.repeat - 1)
        total += once * (groups.get(phase.group, 1) if phase.group else 1)
        if total > LONGEST_SESSION:
            message = f"with it the session lasts over {show(LONGEST_SESSION, 'time')}, the longest that is solved"
            reading.faults.add(("phases", index), message)
            return


# -- ambient and limits ------------------------------------------------------------------------------
def _readings(reading: Reading, tables: Any) -> tuple[ReadingSpec, ...]:
    """Every [[ambient.readings]], in time order as written."""
    home = ("ambient", "readings")
    if not isinstance(tables, list) or not tables or not all(isinstance(item, dict) for item in tables):
        if tables != []:
            reading.faults.add(home, "must be tables [[ambient.readings]], in double brackets, one for each reading")
        return ()
    if len(tables) > MOST_READINGS:
        reading.faults.add(home, f"there are {len(tables)} readings; at most {MOST_READINGS} are read")
        return ()
    found: list[ReadingSpec] = []
    for index, table in enumerate(tables):
        one = reading.table(ReadingSpec, table, (*home, index), "a reading")
        if one is not None and found and one.at <= found[-1].at:
            earlier = f"{show(one.at, 'time')} is not after the reading before it, at {show(found[-1].at, 'time')}"
            reading.faults.add((*home, index, "at"), f"{earlier}; write readings in the order of time", joint=": ")
        elif one is not None:
            found.append(one)
    return tuple(found)


def _air_of_logs(
    reading: Reading, ambient: AmbientSpec, readings: tuple[ReadingSpec, ...], logged: Mapping[int, Replay]
) -> tuple[AmbientSpec, tuple[ReadingSpec, ...]]:
    """The air of the log that a session begins with, in place of the file's own temperature; of other logs a note.

    When a later log begins is known only once all before it is driven.
    """
    for index in logged:
        if index:
            reading.notes.append(
                f"phases.{index + 1}: the column ambient of its samples is not used; only a replay that begins the "
                "session tells the air outside, else [[ambient.readings]] do"
            )
    first = logged.get(0)
    if first is None or first.ambient is None:
        return ambient, readings
    if readings:
        message = "tell the air outside, but so does the column ambient of the first phase's samples; keep one of them"
        reading.faults.add(("ambient", "readings"), message)
        return ambient, readings
    reading.notes.append("ambient.temperature gives way to the column ambient of the first phase's samples")
    kept, last = [], 0.0
    for t, T in zip(first.time.tolist(), first.ambient.tolist(), strict=True):
        if t - last >= LOGGED_EVERY:
            kept.append(ReadingSpec(at=t, temperature=T))
            last = t
    return dataclasses.replace(ambient, temperature=float(first.ambient[0])), tuple(kept)


def _ambient_rules(keys: set[str], values: Mapping[str, Any]) -> Verdict:
    verdict = Verdict()
    if {"altitude", "pressure"} <= keys:
        verdict.faults.append(("pressure", "is given beside altitude; keep one of them"))
    pressure = values.get("pressure")
    if isinstance(pressure, Pressure):
        if not 4e4 <= pressure.value <= 1.1e5:
            allowed = f"{show(4e4, 'pressure_difference')} abs to {show(1.1e5, 'pressure_difference')} abs"
            verdict.faults.append(("pressure", f"is out of range; it must be from {allowed}"))
        verdict.idle = frozenset({"altitude"})
    elif "altitude" in keys:
        verdict.idle = frozenset({"pressure"})
    return verdict


def _limits(reading: Reading, loops: Collection[str] | None = None) -> tuple[LimitSpec, ...]:
    """Every [[limits]] table; its bound is read by what the quantity is; its loop must be one of `loops`, if given."""
    found = []
    for key, table in _list_of_tables(reading, "limits"):
        quantity = table.get("quantity")
        kind = LIMIT_KINDS.get(quantity) if isinstance(quantity, str) else None
        known = dict(table)
        if kind is None:
            # without a known quantity its bound cannot be judged; only the quantity is at fault
            known.pop("at_least", None)
            known["at_most"], kind = "0 K", "temperature_difference"
        else:
            right, wrong = ("at_least", "at_most") if quantity == "margin" else ("at_most", "at_least")
            if wrong in known:  # the bound that belongs there is not asked for as well
                reading.faults.add((*key, wrong), _WRONG_WAY[wrong].format(quantity=quantity))
                del known[wrong]
                known.setdefault(right, {"temperature": "0 degC", "share": "0 %"}.get(kind, "0 K"))
        limit = reading.table(LimitSpec, known, key, "a limit", kind=kind)
        if limit is None:
            continue
        if loops is not None and limit.loop is not None and limit.loop not in loops:
            reading.faults.add((*key, "loop"), _no_such_loop(limit.loop, loops), joint=" = ")
        found.append(limit)
    return tuple(found)


_WRONG_WAY = {
    "at_most": 'is of quantities that must stay low; a margin must stay up: write at_least = "8 K"',
    "at_least": "is only of a limit on margin; what must stay low, as {quantity}, has at_most",
}


def _no_such_loop(name: str, loops: Collection[str]) -> str:
    if not loops:
        return f"{typed(name)} is no loop of the build, which has none"
    close = nearest(name, loops)
    hint = f'; nearest: "{close}"' if close else "; it has " + ", ".join(f'"{loop}"' for loop in loops)
    return f"{typed(name)} is no loop of the build{hint}"


def _limit_rules(keys: set[str], values: Mapping[str, Any]) -> Verdict:
    """Which bound a quantity needs; a loop is of coolant only; a margin counts in boost."""
    verdict, quantity = Verdict(), values.get("quantity")
    right, wrong = ("at_least", "at_most") if quantity == "margin" else ("at_most", "at_least")
    verdict.idle = frozenset({wrong, "loop"} if quantity != "coolant" else {wrong})
    if quantity is not None and right not in keys:
        words = next(item.meta.help for item in fields_of(LimitSpec) if item.name == right)
        verdict.faults.append(("", f"{right} is missing: {words}"))
    if quantity == "margin" and values.get("during") == "always":
        verdict.faults.append(("during", "means nothing for margin: an engine knocks under load; take it out"))
    if quantity is not None and quantity != "coolant" and "loop" in keys:
        verdict.faults.append(("loop", 'is only of a limit on coolant; write quantity = "coolant"'))
    return verdict


RULES.update({PhaseSpec: _phase_rules, AmbientSpec: _ambient_rules, LimitSpec: _limit_rules})
OTHER_WORDS[PhaseSpec] = {
    **dict.fromkeys(("length", "time", "seconds", "minutes", "lasts"), "duration"),
    **dict.fromkeys(("start", "begin", "from_speed", "from_rpm"), "from"),
    **dict.fromkeys(("end", "stop", "to_speed", "to_rpm"), "to"),
    **dict.fromkeys(("rpm", "revs"), "engine_speed"),
    **dict.fromkeys(("road_speed", "velocity"), "speed"),
    **dict.fromkeys(("slope", "gradient"), "grade"),
    **dict.fromkeys(("circuit", "course"), "track"),
    **dict.fromkeys(("laps", "passes", "runs"), "repeat"),
    **dict.fromkeys(("wind",), "headwind"),
    **dict.fromkeys(("times", "count"), "repeat"),
    **dict.fromkeys(("pause", "wait"), "rest"),
    "throttle": "load",
}
OTHER_WORDS[AmbientSpec] = {
    **dict.fromkeys(("height", "elevation"), "altitude"),
    **dict.fromkeys(("barometer", "air_pressure"), "pressure"),
}
OTHER_WORDS[ReadingSpec] = {
    **dict.fromkeys(("time", "after", "minute", "minutes", "when", "t"), "at"),
    **dict.fromkeys(("ambient", "shade", "air"), "temperature"),
    **dict.fromkeys(("relative_humidity", "rh"), "humidity"),
}
OTHER_WORDS[LimitSpec] = {
    **dict.fromkeys(("max", "below", "limit", "value"), "at_most"),
    **dict.fromkeys(("min", "above"), "at_least"),
}
