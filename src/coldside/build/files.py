"""Builds from files and back: `load_build`, `read_build` (of a text), `save` (atomic, one backup).

What is here: which tables a build has and how they become a `Build`.  What is not: the text itself
(`build/document.py`), changes to it (`build/editing.py`), the keys of one table (`build/schema.py`), paths
(`build/paths.py`).
"""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from coldside import units
from coldside.build.core_rules import COOLANT_ONLY
from coldside.build.document import SET, Document, Key, dotted, read_document, scan
from coldside.build.model import Build, Duct, Loop, Parallel, names_on
from coldside.build.model import Path as Walk
from coldside.build.paths import CHARGE, DUCT, ENGINE, LOOP, Member, PathRead, check_order, check_sides, read_path
from coldside.build.schema import HOMES, PART_KINDS, LoopKeys, Reading
from coldside.build.vocabulary import OTHER_KINDS
from coldside.errors import BadInput, nearest
from coldside.media.coolants import OIL, parse_coolant
from coldside.parts.airflow import DuctSpec, FanSpec
from coldside.parts.compressor import CompressorSpec
from coldside.parts.core_losses import check_losses
from coldside.parts.engine import BaySpec, CarSpec, EngineSpec
from coldside.parts.exchanger import AirCoreSpec, ExchangerSpec, WaterCoreSpec, rate
from coldside.parts.jacket import COOLANT_SIDE, JACKET_KEYS, OIL_KEYS, OIL_SIDE, SHARED_KEYS, jacket_of
from coldside.parts.oil_cooler import OIL_END, WATER_END, OilCoolerSpec, side_of
from coldside.parts.reservoir import ReservoirSpec
from coldside.parts.supercharger import BELT_LAG, SuperchargerSpec
from coldside.units import typed

SCHEMA = "coldside.build/1"
TOP = ("schema", "name", "engine", "car", "bay", "charge", "loops", "ducts", "parts")


def load_build(path: str | Path, overrides: Sequence[str] = ()) -> Build:
    """Read and check one build.

    Parameters
    ----------
    path : file of schema "coldside.build/1".
    overrides : texts like "parts.tank.volume=40 L", applied before anything is checked.

    Returns
    -------
    Build with SI values, `givens` for every key (defaults too) in file order, and `notes`.

    Raises BadInput, or ManyBadInputs with every fault of the file in file order.
    """
    return _build_of(read_document(path), overrides)


def read_build(text: str, path: str | Path) -> Build:
    """As `load_build`, of a text that is in no file yet; files that it names are looked for beside `path`."""
    return _build_of(scan(text, str(path)))


def _build_of(document: Document, overrides: Sequence[str] = ()) -> Build:
    for text in overrides:
        top = text.partition("=")[0].partition(".")[0].strip()
        if HOMES.get(top) == "a session":
            message = f"{typed(text)}: {top} belongs to the session; --set changes the build alone, so edit the session"
            message += " (point has --ambient, --altitude and --humidity)" if top == "ambient" else ""
            raise BadInput(message, where=SET)
        document.override(text, optional=("car", "bay"))
    return _Assembly(document).build()


class _Assembly:
    """One build in the making."""

    def __init__(self, document: Document) -> None:
        self.document = document
        self.reading = Reading(document)
        self.faults = self.reading.faults
        self.specs: dict[str, Any] = {}
        self.members: dict[str, Member] = {}
        self.reads: list[PathRead] = []

    def build(self) -> Build:
        self.reading.head(SCHEMA)
        data = self.document.data
        self.reading.only(data, (), TOP, "a build")
        name = self.reading.name("a build")
        engine = self._fixed(EngineSpec, "engine", "the engine", required=True)
        car = self._fixed(CarSpec, "car", "the car")
        bay = self._fixed(BaySpec, "bay", "the bay")
        charge = self._charge()
        loops = {name: self._loop(name, table) for name, table in self.reading.tables(("loops",)).items()}
        ducts = {name: self._duct(name, table) for name, table in self.reading.tables(("ducts",)).items()}
        for part, table in self.reading.tables(("parts",)).items():
            self._part(part, table)
        refused = check_sides(self.reads, self.members, self.faults)
        for read in (read for read in self.reads if read.key not in refused):
            self.reading.notes.extend(check_order(read, self.members, self.faults))
        self._check_controls()
        self._check_stages()
        engine = self._unlagged(engine)
        self._check_ice(loops)
        self._engine_in_loops(engine)
        self.faults.raise_any()
        self._check_ratings(loops)
        self.faults.raise_any()
        return Build(
            name=name,
            file=self.document.file,
            engine=engine,
            car=car,
            bay=bay,
            charge=charge,
            loops={key: loop for key, loop in loops.items() if loop is not None},
            ducts={key: duct for key, duct in ducts.items() if duct is not None},
            parts=self.specs,
            givens=self.reading.in_order(),
            notes=tuple(self.reading.notes),
        )

    def _fixed(self, spec: type, name: str, words: str, *, required: bool = False) -> Any:
        table = self.reading.one_table((name,), f"a build needs {words}", required=required)
        return None if table is None else self.reading.table(spec, table, (name,), words)

    def _path(self, table: dict[str, Any], key: Key, sort: str) -> Any:
        """The `path` of one table; a table without one is refused."""
        if "path" not in table:
            self.faults.add(key, 'path is missing: the parts in flow order, path = ["part", "part", ...]')
            self.reads.append(PathRead((*key, "path"), sort, (), (), False))
            return ()
        read = read_path(table["path"], (*key, "path"), sort, self.faults)
        self.reads.append(read)
        return read.path

    def _charge(self) -> Any:
        table = self.reading.one_table(("charge",), "a build needs the charge path", required=True)
        if table is None:
            self.reads.append(PathRead(("charge", "path"), CHARGE, (), (), False))
            return ()
        self.reading.only(table, ("charge",), ("path",), "the charge path")
        return self._path(table, ("charge",), CHARGE)

    def _loop(self, name: str, table: dict[str, Any]) -> Loop | None:
        key = ("loops", name)
        path = self._path(table, key, LOOP)
        keys = self.reading.table(LoopKeys, _without(table, "path"), key, "a loop", word="gauge")
        path = self._engine_named(path, None if keys is None else OIL_SIDE if keys.coolant == OIL else COOLANT_SIDE)
        if keys is None:
            return None
        cap = None if keys.cap_pressure is None else keys.cap_pressure.value
        return Loop(name, keys.coolant, path, cap)

    def _duct(self, name: str, table: dict[str, Any]) -> Duct | None:
        key = ("ducts", name)
        path = self._path(table, key, DUCT)
        spec = self.reading.table(DuctSpec, _without(table, "path"), key, "a duct")
        return None if spec is None else Duct(name, spec, path)

    def _part(self, name: str, table: dict[str, Any]) -> None:
        key = ("parts", name)
        kind = table.get("kind")
        if not isinstance(kind, str) or kind not in PART_KINDS:
            self._bad_kind(key, kind)
            self.members[name] = Member("part", None)
            return
        spec_type = PART_KINDS[kind]
        article = "an" if kind[0] in "aeiou" else "a"
        spec = self.reading.table(spec_type, _without(table, "kind"), key, f"{article} {kind}")
        sides: tuple[str, ...] | None = tuple(getattr(spec_type, "sides", ()))
        if kind == "exchanger" and "heat" in table:
            # with both ways of rating it, what is meant is not known, nor are its sides
            sides = None if set(table) & set(COOLANT_ONLY) else (DUCT,)
        if kind == "oil_cooler":
            self._two_sided(name, spec)
            return
        self.members[name] = Member(kind, sides)
        if spec is not None:
            self.specs[name] = spec

    def _two_sided(self, name: str, spec: OilCoolerSpec | None) -> None:
        """A part with two coolant sides: each is a part of its own in a loop, NAME.oil and NAME.water."""
        self.members[name] = Member("oil_cooler", ())
        for side in (OIL_END, WATER_END):
            self.members[f"{name}.{side}"] = Member("oil_cooler", (LOOP,))
            if spec is not None:
                self.specs[f"{name}.{side}"] = side_of(spec, name, side)
        if spec is not None:
            self.specs[name] = spec

    def _engine_named(self, path: Walk, side: str | None) -> Walk:
        """The loop read last, with "engine" replaced by the liquid of the engine that flows in it (None: not known)."""
        read = self.reads[-1]
        named = [place for place in read.places if place.name in (ENGINE, COOLANT_SIDE, OIL_SIDE)]
        for place in named:
            if place.name != ENGINE:
                message = f'"{place.name}": write "engine"; which liquid is meant follows from the loop\'s coolant'
                self.faults.add(read.key, message, at=place.at)
        if not named:
            return path
        if side is None or any(place.name != ENGINE for place in named):
            self.reads[-1] = replace(read, places=tuple(p for p in read.places if p not in named), sound=False)
            return path
        self.members[side] = Member(ENGINE, (LOOP,))
        places = tuple(replace(p, name=side) if p in named else p for p in read.places)
        path = _renamed(path, ENGINE, side)
        self.reads[-1] = replace(read, path=path, places=places)
        return path

    def _engine_in_loops(self, engine: EngineSpec | None) -> None:
        """The implicit parts of the engine; its keys that belong to none of them are not listed, or refused."""
        inside = [side for side in (COOLANT_SIDE, OIL_SIDE) if side in self.members]
        idle = [] if inside else [*SHARED_KEYS]
        idle += [] if COOLANT_SIDE in inside else JACKET_KEYS
        idle += [] if OIL_SIDE in inside else OIL_KEYS
        loops_read = all(read.sound for read in self.reads if read.sort == LOOP)
        for name in idle:
            origin = self.reading.drop((ENGINE, name))
            if origin is not None and origin != "default" and loops_read:
                liquid = "oil" if name in OIL_KEYS else "coolant"
                message = f'has no effect: no loop of {liquid} has "engine" on its path; add one, or take the key out'
                self.faults.add((ENGINE, name), message)
        if engine is not None and not self.faults:
            for side in inside:
                self.specs[side] = jacket_of(engine, side)

    def _check_ratings(self, loops: Mapping[str, Loop | None]) -> None:
        """Bench points must be what some core can give, with the coolant of the loop the part stands in."""
        for name, part in self.specs.items():
            if not isinstance(part, (WaterCoreSpec, AirCoreSpec, ExchangerSpec)):
                continue
            if isinstance(part, ExchangerSpec) and part.heat is not None:
                continue
            mine = (loop for loop in loops.values() if loop is not None and name in names_on(loop.path))
            coolant = next((parse_coolant(loop.coolant) for loop in mine), None)
            try:
                rate(part, coolant)
                check_losses(part, coolant)
            except BadInput as error:
                self.faults.add_error(("parts", name), error)

    def _check_controls(self) -> None:
        """A fan that watches the coolant needs a loop's exchanger in its duct."""
        for read in self.reads:
            names = [place.name for place in read.places]
            if read.sort != DUCT or any(LOOP in (self.members[n].sides or (LOOP,)) for n in names if n in self.members):
                continue
            for name in names:
                part = self.specs.get(name)
                if isinstance(part, FanSpec) and part.control.of == "coolant":
                    message = f"watches the coolant, but no exchanger of a loop stands in {dotted(read.key[:-1])}"
                    self.faults.add(("parts", name, "control"), message)

    def _check_stages(self) -> None:
        """Keys of one of two stages mean nothing on the other, nor `ratio_share` on one compressor alone."""
        charge = [place.name for read in self.reads if read.sort == CHARGE for place in read.places]
        names = [name for name in charge if isinstance(self.specs.get(name), CompressorSpec)]
        for index, name in enumerate(names):
            foreign = {}
            if index > 0 or len(names) == 1:
                foreign["ratio_share"] = "belongs to the first of two compressors in series"
            if index > 0:
                foreign["turbine_back_pressure"] = "belongs to the first compressor: its turbine is the exhaust's last"
            if index < len(names) - 1:
                foreign["turbine_in"] = "belongs to the last compressor: its turbine is the exhaust's first"
            for field, message in foreign.items():
                key = ("parts", name, field)
                if field in self.document.data["parts"][name]:
                    self.faults.add(key, message)
                else:
                    self.reading.givens.pop(dotted(key), None)

    def _unlagged(self, engine: Any) -> Any:
        """A belt has no wheel to spin up: boost follows as fast as its bypass shuts, unless a lag is given."""
        given = self.reading.givens.get("engine.boost_lag")
        driven = any(isinstance(spec, SuperchargerSpec) for spec in self.specs.values())
        if engine is None or given is None or given.origin != "default" or not driven:
            return engine
        self.reading.givens["engine.boost_lag"] = replace(
            given, value=BELT_LAG, text=units.show(BELT_LAG, "time"), sd=0.3 * BELT_LAG
        )
        return replace(engine, boost_lag=BELT_LAG)

    def _check_ice(self, loops: Mapping[str, Loop | None]) -> None:
        """Ice in a tank of oil is refused; under a cap, or in a mix that it dilutes, it is told."""
        for read in (read for read in self.reads if read.sort == LOOP):
            name = str(read.key[1])
            loop = loops.get(name)
            for part in (place.name for place in read.places):
                spec = self.specs.get(part)
                if loop is None or not isinstance(spec, ReservoirSpec) or spec.ice <= 0.0:
                    continue
                if loop.coolant == OIL:
                    message = f"cannot melt in {loop.coolant}; loops.{name} holds no water"
                    self.faults.add(("parts", part, "ice"), message)
                    continue
                if loop.cap_pressure is not None:
                    self.reading.notes.append(
                        f"parts.{part} has ice, and loops.{name} a cap: leave a tank with ice vented, "
                        "never close it tightly"
                    )
                if loop.coolant != "water":
                    self.reading.notes.append(
                        f"parts.{part}: the melt dilutes {loop.coolant}; what freezes later is a weaker mix"
                    )

    def _bad_kind(self, key: Key, kind: Any) -> None:
        if kind is None:
            self.faults.add(key, "kind is missing: one of " + ", ".join(PART_KINDS))
            return
        word = str(kind).strip().lower().replace(" ", "_").replace("-", "_")
        meant = OTHER_KINDS.get(word) or tuple(filter(None, (nearest(str(kind), PART_KINDS),)))
        if isinstance(kind, str) and not meant:
            meant = OTHER_KINDS.get(nearest(word, OTHER_KINDS) or "", ())
        hint = "nearest: " + " or ".join(f'"{one}"' for one in meant) if meant else "one of " + ", ".join(PART_KINDS)
        self.faults.add((*key, "kind"), f"{typed(kind)} is no kind of part; {hint}", joint=" = ")


def _renamed(path: Walk, old: str, new: str) -> Walk:
    """The path with one part under another name."""
    return tuple(
        Parallel(tuple(_renamed(branch, old, new) for branch in item.branches))
        if isinstance(item, Parallel)
        else new
        if item == old
        else item
        for item in path
    )


def _without(table: dict[str, Any], name: str) -> dict[str, Any]:
    return {key: value for key, value in table.items() if key != name}


# -- writing -----------------------------------------------------------------------------------------
def save(path: str | Path, text: str) -> None:
    """Write a file so that it is whole at every moment: temporary file beside it, then a swap.

    What was there before is kept once, as `NAME.bak`.  Raises BadInput when the folder cannot be written.
    """
    target = Path(path).resolve()
    data = text.encode("utf-8")
    try:
        if target.exists():
            _swap(target.with_name(target.name + ".bak"), target.read_bytes(), target)
        _swap(target, data, target)
    except OSError as error:
        raise BadInput(f"cannot be written: {error.strerror or error}", where=str(path)) from None


def _swap(target: Path, data: bytes, like: Path) -> None:
    """Put `data` at `target` in one step, with the permissions of `like` where that exists."""
    handle, temporary = tempfile.mkstemp(dir=target.parent, prefix=target.name, suffix=".tmp")
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        os.chmod(temporary, like.stat().st_mode if like.exists() else 0o644)
        os.replace(temporary, target)
    except BaseException:
        with contextlib.suppress(OSError):
            os.unlink(temporary)
        raise
