"""Paths: nested lists -> `Path` and `Parallel`, and the rule that every side lies on exactly one path, once.

What is here: `read_path` (one list of a file), `check_sides` (all paths of a build together) and
`check_order` (what may stand where on each sort of path).  What is not: hydraulics (`plant/`).

A path is a list of part names in flow order.  A list inside it is a group in parallel; each element of
the group is a part name or a list, which is a branch in series and may hold further groups.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from coldside.build.document import Faults, Key, dotted
from coldside.build.model import Parallel, Path
from coldside.errors import nearest
from coldside.units import typed

CHARGE, LOOP, DUCT = "charge", "coolant", "cooling"  # a sort of path, named by the side that it threads
SORT_WORDS = {CHARGE: "the charge path", LOOP: "a loop", DUCT: "a duct"}
CARRIES = {CHARGE: "charge air", LOOP: "coolant", DUCT: "cooling air"}
DEEPEST = 8  # groups within groups
ENGINE = "engine"  # the implicit part at the end of the charge path


@dataclass(frozen=True)
class Member:
    """What the path check must know of a part: `sides` is None when its table could not be read."""

    kind: str
    sides: tuple[str, ...] | None


@dataclass(frozen=True)
class Place:
    """One mention of a part: where in the file, and whether inside a group."""

    name: str
    at: Key
    grouped: bool


@dataclass(frozen=True)
class PathRead:
    """One path as read: `key` of its list, `sort`, the path, and every mention in walk order."""

    key: Key
    sort: str
    path: Path
    places: tuple[Place, ...]
    sound: bool  # False if some of it was refused, so that what is missing on it means nothing


def read_path(value: Any, key: Key, sort: str, faults: Faults) -> PathRead:
    """Read the nested list of one path; faults of its form go to `faults`."""
    reader = _Reader(key, faults)
    before = reader.refused
    path: Path = ()
    if not isinstance(value, list):
        faults.add(key, f'{typed(value)} is no list; write ["part", "part", ...]', joint=" = ")
        reader.refused += 1
    elif not value:
        faults.add(key, "is empty; name the parts in flow order")
        reader.refused += 1
    else:
        path = reader.series(value, key, 0)
    return PathRead(key, sort, path, tuple(reader.places), reader.refused == before)


class _Reader:
    """Walks one nested list."""

    def __init__(self, key: Key, faults: Faults) -> None:
        self.key = key
        self.faults = faults
        self.places: list[Place] = []
        self.refused = 0

    def refuse(self, at: Key, message: str) -> None:
        self.refused += 1
        self.faults.add(self.key, message, at=at)

    def series(self, items: list[Any], at: Key, depth: int) -> Path:
        """Parts and groups one behind the other."""
        found: list[str | Parallel] = []
        for index, item in enumerate(items):
            here = (*at, index)
            if isinstance(item, list):
                group = self.group(item, here, depth + 1)
                if group is not None:
                    found.append(group)
            elif self.is_name(item, here):
                self.places.append(Place(item, here, depth > 0))
                found.append(item)
        return tuple(found)

    def group(self, items: list[Any], at: Key, depth: int) -> Parallel | None:
        """Branches side by side."""
        if depth > DEEPEST:
            self.refuse(at, f"holds groups more than {DEEPEST} deep")
            return None
        if not items:
            self.refuse(at, "holds an empty group []; name its branches or take it out")
            return None
        if len(items) == 1:
            self.refuse(
                at,
                f"holds a group of one, {typed(items)}; a list inside a path is a group of two branches or more",
            )
            return None
        branches: list[Path] = []
        for index, item in enumerate(items):
            here = (*at, index)
            if isinstance(item, list) and not item:
                self.refuse(here, "holds an empty branch []; name its parts or take it out")
            elif isinstance(item, list):
                branches.append(self.series(item, here, depth))
            elif self.is_name(item, here):
                self.places.append(Place(item, here, True))
                branches.append((item,))
        return Parallel(tuple(branches))

    def is_name(self, item: Any, at: Key) -> bool:
        if isinstance(item, str):
            return True
        self.refuse(at, f"holds {typed(item)}; a path holds names of parts and lists of them")
        return False


# -- sides -------------------------------------------------------------------------------------------
def check_sides(reads: list[PathRead], members: Mapping[str, Member], faults: Faults) -> set[Key]:
    """Every side of every part lies on exactly one path of its sort, once; every name is a part.

    A name that is refused somewhere is not refused again for what it then lacks elsewhere.  Returns the
    keys of the paths on which something was refused.
    """
    refused: set[Key] = set()
    seen: dict[tuple[str, str], PathRead] = {}  # (part, side) -> the path that has it
    excused: set[str] = set()
    for read in reads:
        for place in read.places:
            complaint = _misplaced(place, read, members, excused)
            if not complaint:
                side = "reading" if members[place.name].kind == "sensor" else read.sort
                first = seen.setdefault((place.name, side), read)
                if first is not read or read.places.index(place) != _first_index(read, place.name):
                    complaint = _twice(place, read, first, members)
            if complaint:
                excused.add(place.name)
                refused.add(read.key)
                faults.add(read.key, complaint, at=place.at)
    unsound = {read.sort for read in reads if not read.sound}
    for name, member in members.items():
        if member.sides is None or name in excused:
            continue
        message = _missing(name, member, seen, unsound)
        if message:
            faults.add(("parts", name), message)
    return refused


def _sides(member: Member) -> tuple[str, ...]:
    return member.sides or ()


def _first_index(read: PathRead, name: str) -> int:
    return next(index for index, place in enumerate(read.places) if place.name == name)


def _misplaced(place: Place, read: PathRead, members: Mapping[str, Member], excused: set[str]) -> str:
    """Why this part may not stand on this path, or ""."""
    name = place.name
    if name == ENGINE:
        return f'"engine" is not named in {SORT_WORDS[read.sort]}; it ends the charge path by itself'
    member = members.get(name)
    if member is None:
        close = nearest(name, members)
        if close:
            excused.add(close)
        hint = f'; nearest: "{close}"' if close else f"; write a table [parts.{name}]" if name.isidentifier() else ""
        return f"{typed(name)} is no part of this build{hint}"
    if member.sides is None or read.sort in member.sides:
        return ""
    if member.kind == "oil_cooler" and not member.sides:
        excused.update(other for other in members if other.startswith(f"{name}."))
        return f'"{name}" has two coolant sides: write "{name}.oil" in one loop and "{name}.water" in another'
    if member.kind == "sensor":
        return "" if read.sort != DUCT else f'"{name}" is a sensor; it may stand on the charge path or in a loop'
    return _wrong_sort(name, member, read.sort)


def _wrong_sort(name: str, member: Member, sort: str) -> str:
    where = " and ".join(SORT_WORDS[side] for side in _sides(member))
    carried = " and ".join(CARRIES[side] for side in _sides(member))
    extra = ""
    if member.kind == "pipe" and sort == LOOP:
        extra = "; a coolant line is of kind hose"
    elif member.kind == "hose" and sort == CHARGE:
        extra = "; a charge line is of kind pipe"
    elif member.kind == "exchanger" and sort == LOOP:
        extra = '; with "heat" it is a face in a duct alone'
    article = "an" if member.kind[0] in "aeiou" else "a"
    return (
        f'"{name}" is {article} {member.kind} and carries {carried}, not {CARRIES[sort]}; it belongs on {where}{extra}'
    )


def _twice(place: Place, read: PathRead, first: PathRead, members: Mapping[str, Member]) -> str:
    sides = _sides(members[place.name])
    where = "this path" if first is read else dotted(first.key)
    what = f"its {read.sort} side" if len(sides) > 1 else "it"
    name = place.name.partition(".")[0] if members[place.name].kind == ENGINE else place.name
    return f'"{name}" stands twice: {what} is already on {where}'


def _missing(name: str, member: Member, seen: Mapping[tuple[str, str], PathRead], unsound: set[str]) -> str:
    if member.kind == "sensor":
        if (name, "reading") in seen or unsound:
            return ""
        return "is on no path; name the sensor in the charge path or in a loop, at the place where it reads"
    absent = [side for side in _sides(member) if (name, side) not in seen]
    if not absent or any(side in unsound for side in absent):
        return ""
    if len(absent) == len(_sides(member)):
        return "is on no path; name it in " + " and in ".join(SORT_WORDS[side] for side in absent) + ", or take it out"
    return f"its {absent[0]} side is on no path; name it in {SORT_WORDS[absent[0]]}"


# -- order -------------------------------------------------------------------------------------------
STAGES = 2  # compressors in series on the charge path
_HOLD_HEAT = ("pipe", "water_core", "air_core", "plenum")  # what a charge path can be marched through
_AFTER_COMPRESSOR = ("water_core", "air_core", "throttle", "plenum", "injection")


def check_order(read: PathRead, members: Mapping[str, Member], faults: Faults) -> list[str]:
    """What may stand where on one path, and what it must hold; returns notes for the user."""
    if not read.sound or any(place.name not in members for place in read.places):
        return []
    for message, at in _lone_sensors(read.path, read, members):
        faults.add(read.key, message, at=at)
    kinds = [members[place.name].kind for place in read.places]
    if "part" in kinds:
        return []  # what a part of unknown kind was meant to be decides what is missing
    if read.sort == CHARGE:
        _check_charge(read, kinds, faults)
        return []
    if read.sort == DUCT:
        if not {"exchanger", "air_core"} & set(kinds):
            faults.add(read.key, "holds no exchanger and no air_core; a duct without a face cools nothing")
        return []
    return _check_loop(read, kinds, faults)


def _check_loop(read: PathRead, kinds: list[str], faults: Faults) -> list[str]:
    name = dotted(read.key[:-1])
    if "pump" not in kinds:
        faults.add(read.key, "holds no pump; nothing moves its coolant")
    notes = []
    if "reservoir" not in kinds and ENGINE not in kinds:  # block and sump hold more than most tanks
        notes.append(f"{name} has no reservoir: only its cores, exchangers and hoses store heat")
    coolers = zip(read.places, kinds, strict=True)
    sides = [place.name.partition(".")[0] for place, kind in coolers if kind == "oil_cooler"]
    for both in sorted({cooler for cooler in sides if sides.count(cooler) > 1}):
        faults.add(read.key, f'holds both sides of "{both}"; each belongs in a loop of its own')
    if not {"exchanger", "chiller", "oil_cooler"} & set(kinds):
        notes.append(f"{name} has no exchanger: it stores heat and gives none away")
    return notes


def _check_charge(read: PathRead, kinds: list[str], faults: Faults) -> None:
    def refuse(index: int, message: str) -> None:
        faults.add(read.key, f'"{read.places[index].name}" {message}', at=read.places[index].at)

    compressors = [index for index, kind in enumerate(kinds) if kind in ("compressor", "supercharger")]
    if not compressors:
        faults.add(read.key, "holds no compressor and no supercharger; it needs one, or two compressors for two stages")
        return
    if len(compressors) > 1:
        for index in compressors:
            if kinds[index] == "supercharger":
                refuse(index, "is a supercharger beside another compressor, which is not modelled; keep one of them")
                return
    if len(compressors) > STAGES:
        refuse(compressors[STAGES], f"is compressor number {STAGES + 1}; two stages in series are the most")
        return
    for index in compressors:
        if read.places[index].grouped:
            twins = (
                "for identical twins use one with count = 2" if kinds[index] == "compressor" else "it takes all the air"
            )
            refuse(index, f"is a {kinds[index]} inside a group; {twins}")
    turbo = compressors[0]
    for index, kind in enumerate(kinds):
        if index < turbo and kind in _AFTER_COMPRESSOR:
            refuse(index, f"is {'an' if kind[0] in 'aeiou' else 'a'} {kind}; it belongs behind the compressor")
        elif index < compressors[-1] and kind in ("throttle", "plenum"):
            refuse(index, f"is a {kind}; it belongs behind the last compressor")
        elif index > turbo and kind == "filter":
            refuse(index, "is a filter; it belongs before the compressor")
    if not set(_HOLD_HEAT) & set(kinds):
        faults.add(read.key, "holds no pipe, core or plenum: name what the charge passes on its way to the engine")
    plenums = [index for index, kind in enumerate(kinds) if kind == "plenum"]
    for index in plenums[1:]:
        refuse(index, "is a second plenum; the charge path has one, at its end")
    for index in plenums[:1]:
        if read.places[index].grouped:
            refuse(index, "is a plenum inside a group; it gathers the whole flow at the end of the path")
        behind = [i for i in range(index + 1, len(kinds)) if kinds[i] not in ("sensor", "plenum", "filter")]
        if behind:
            refuse(behind[0], f'stands behind the plenum "{read.places[index].name}"; only a sensor may')


def _lone_sensors(path: Path, read: PathRead, members: Mapping[str, Member]) -> Iterator[tuple[str, Key]]:
    """Branches that hold sensors and nothing else: they would pass the flow without loss."""
    at = {place.name: place.at for place in read.places}
    for item in path:
        if not isinstance(item, Parallel):
            continue
        for branch in item.branches:
            if branch and all(isinstance(x, str) and members[x].kind == "sensor" for x in branch):
                yield (
                    f'"{branch[0]}" is alone in a branch; a sensor needs a part beside it that the stream passes',
                    at[str(branch[0])],
                )
            yield from _lone_sensors(branch, read, members)
