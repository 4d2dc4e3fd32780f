"""The reader's models, made from the field metadata of the specifications; nothing is listed twice.

What is here: `model_of` (specification -> pydantic model), `Reading.table` (one table of a file ->
frozen specification, a `Given` for every key), the rules between the keys of one table, `PART_KINDS`.
What is not: single values (`build/values.py`), which tables a file has (`build/files.py`,
`duty/phases.py`) and paths (`build/paths.py`).

Each field's reader is a pydantic BeforeValidator that calls `values.read_value` for the field's kind; pydantic
finds missing and unknown keys.  Its findings are worded here, since its own words are for programmers.
"""

from __future__ import annotations

import dataclasses
import functools
import math
import re
from collections.abc import Callable, Mapping
from pathlib import Path
from types import MappingProxyType
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, ValidationError, ValidationInfo, create_model
from pydantic import Field as ModelField
from pydantic_core import PydanticCustomError

from coldside import units
from coldside.build.core_rules import core_faults
from coldside.build.document import Document, Faults, Key, dotted
from coldside.build.model import Given
from coldside.build.values import Refused, comma_hint, curve_form, read_value
from coldside.build.vocabulary import OTHER_KEYS
from coldside.errors import BadInput, nearest
from coldside.parts.airflow import DuctSpec, FanSpec
from coldside.parts.charge_tract import tested_leak_area
from coldside.parts.chiller import ChillerSpec
from coldside.parts.compressor import CompressorSpec, read_map
from coldside.parts.engine import CarSpec, EngineSpec
from coldside.parts.exchanger import UNCOUNTED, AirCoreSpec, ExchangerSpec, WaterCoreSpec, derived_from_sizes
from coldside.parts.fields import Field, given
from coldside.parts.injection import InjectionSpec, parse_fluid
from coldside.parts.knock_model import cylinder_fault, usual_figures
from coldside.parts.lines import FilterSpec, HoseSpec, PipeSpec, PlenumSpec, ThermostatSpec, ThrottleSpec, ValveSpec
from coldside.parts.oil_cooler import OilCoolerSpec
from coldside.parts.pump import Control, PumpSpec
from coldside.parts.reservoir import ReservoirSpec, check_fit
from coldside.parts.sensor import SensorSpec
from coldside.parts.supercharger import SuperchargerSpec
from coldside.units import Pressure, Quantity, typed

PART_KINDS: dict[str, type] = {
    "filter": FilterSpec,
    "compressor": CompressorSpec,
    "supercharger": SuperchargerSpec,
    "pipe": PipeSpec,
    "hose": HoseSpec,
    "water_core": WaterCoreSpec,
    "air_core": AirCoreSpec,
    "exchanger": ExchangerSpec,
    "throttle": ThrottleSpec,
    "plenum": PlenumSpec,
    "injection": InjectionSpec,
    "pump": PumpSpec,
    "reservoir": ReservoirSpec,
    "valve": ValveSpec,
    "thermostat": ThermostatSpec,
    "fan": FanSpec,
    "chiller": ChillerSpec,
    "oil_cooler": OilCoolerSpec,
    "sensor": SensorSpec,
}


@dataclasses.dataclass(frozen=True, kw_only=True)
class LoopKeys:
    """`[loops.NAME]` beside its `path`."""

    coolant: str = given("coolant", 'what flows in it: "water" or "ethylene glycol 30 % by volume"')
    cap_pressure: object = given(
        "pressure", "pressure at which its cap opens, over ambient", default=None, when_absent="not checked"
    )


# -- models ------------------------------------------------------------------------------------------
@dataclasses.dataclass(frozen=True)
class SpecField:
    """One field of a specification: `name` of the attribute, `key` in the file, its metadata and default."""

    name: str
    key: str
    meta: Field
    required: bool
    default: Any


@functools.cache
def fields_of(spec: type) -> tuple[SpecField, ...]:
    """The fields of a specification that carry metadata, in order; `required` means no default."""
    return tuple(
        SpecField(
            item.name,
            item.metadata.get("alias") or item.name,
            item.metadata["coldside"],
            item.default is dataclasses.MISSING,
            item.default,
        )
        for item in dataclasses.fields(spec)
    )


@functools.cache
def model_of(spec: type) -> type[BaseModel]:
    """The pydantic model that reads a table into `units.Quantity` values, one a key; unknown keys are forbidden."""
    columns: dict[str, Any] = {}
    for item in fields_of(spec):
        reader = functools.partial(_guarded, item)
        model_field = ModelField(
            default=... if item.required else None,
            alias=item.key,
            description=item.meta.help,
            json_schema_extra={"kind": item.meta.kind},
        )
        columns[f"{item.name}_"] = (Annotated[Any, BeforeValidator(reader)], model_field)
    config = ConfigDict(extra="forbid", arbitrary_types_allowed=True, populate_by_name=False)
    return create_model(spec.__name__.removesuffix("Spec") + "Table", __config__=config, **columns)


def _guarded(item: SpecField, value: Any, info: ValidationInfo) -> Quantity:
    """A reader whose refusal travels through pydantic as data; what it read is also left in the context,
    so that the rules of a table can be held against its good keys when others are refused.
    """
    context = info.context or {}
    try:
        quantity = read_value(item.meta, value, context)
    except BadInput as error:
        refused = Refused((None, " = ", error.message))
    except Refused as error:
        refused = error
    else:
        context.get("read", {})[item.name] = quantity
        return quantity
    raise PydanticCustomError("refused", "refused", {"faults": refused.faults})


_NAME = Field("text", "a name of your own", None, None, None, None, (), None, "", "")


# what a schema line says that a file is
_FILES = {
    "coldside.build/1": "a build",
    "coldside.session/1": "a session",
    "coldside.limits/1": "a file of limits",
    "coldside.brief/1": "a brief",
}


# top key or table -> the file that it belongs to, for those that one kind of file has alone
HOMES = {
    **dict.fromkeys(("engine", "car", "bay", "charge", "loops", "ducts", "parts"), "a build"),
    **dict.fromkeys(("start", "drafted", "ambient", "phases", "groups", "limits", "limits_file"), "a session"),
}


MOST_NAMED = 24  # keys that a refusal names; cores have twice as many


# -- one table ---------------------------------------------------------------------------------------
class Reading:
    """What is gathered while a file is read: faults, the origin of every value, notes."""

    def __init__(self, document: Document) -> None:
        self.document = document
        self.faults = Faults(document)
        self.givens: dict[str, Given] = {}
        self.notes: list[str] = []
        self._order: dict[str, tuple[int, int]] = {}
        self._derived: dict[Key, Given] = {}  # values that follow from others of their table
        self._meant: set[str] = set()  # top tables and keys that misspelt ones were meant to be

    def head(self, schema: str) -> None:
        """Refuse at once a file that is not of this schema."""
        found = self.document.data.get("schema")
        if found == schema:
            return
        need = f'schema = "{schema}"'
        words = _FILES[schema]
        if found is None:
            message = f"has no schema; write {need} on top if this is {words}"
        elif isinstance(found, str) and found in _FILES:
            message = f"schema = {typed(found)} is {_FILES[found]}, but {words} is needed here ({need})"
        else:
            message = f"schema = {typed(found)} is not known; write {need}"
        raise BadInput(message, where=self.document.where(("schema",)), key="schema" if found is not None else "")

    def only(self, table: Mapping[str, Any], key: Key, allowed: tuple[str, ...], words: str) -> None:
        """Refuse keys that a fixed table does not have; what they were meant to be is then not missed."""
        for name in table:
            if name not in allowed:
                home = "" if key else HOMES.get(name, "")
                message = f"belongs to {home}, but this is {words}" if home else _unknown(name, allowed, words)
                self.faults.add((*key, name), message)
                self._meant.add(nearest(name, allowed) or "")

    def name(self, words: str) -> str:
        """The file's `name`; refuses its absence."""
        if "name" not in self.document.data:
            if "name" not in self._meant:
                self.faults.add((), f'there is no name = "..."; {words} has one of your own')
            return ""
        try:
            return str(read_value(_NAME, self.document.data["name"], {}).value)
        except BadInput as error:
            self.faults.add(("name",), error.message, joint=" = ")
            return ""

    def tables(self, key: Key) -> dict[str, dict[str, Any]]:
        """The named tables under a key ([parts.NAME]); refuses what is no table and names that cannot be used."""
        holder = self.document.data.get(str(key[-1]), {})
        if not isinstance(holder, dict):
            self.faults.add(key, f"must be tables [{dotted(key)}.NAME]")
            return {}
        found = {}
        for name, table in holder.items():
            here = (*key, name)
            if not isinstance(table, dict):
                self.faults.add(
                    here, f"{typed(table)} is no table; write [{dotted(key)}.{_plain_name(name)}]", joint=" = "
                )
            elif not re.fullmatch(r"[A-Za-z][A-Za-z0-9_-]{0,59}", name) or name == "engine":
                self.faults.add(
                    here,
                    f"{typed(name)} cannot be a name; use letters, digits and _, starting with a letter"
                    if name != "engine"
                    else "engine is the name of the engine itself; choose another",
                )
            else:
                found[name] = table
        return found

    def one_table(self, key: Key, words: str, *, required: bool = False) -> dict[str, Any] | None:
        """One table of fixed name ([engine]); an optional one that is absent is empty."""
        found = self.document.data.get(str(key[-1]))
        if found is None:
            if required and key[-1] not in self._meant:
                self.faults.add((), f"there is no table [{dotted(key)}]: {words}")
            return None if required else {}
        if not isinstance(found, dict):
            self.faults.add(key, f"must be one table [{dotted(key)}]")
            return None
        return found

    def table(self, spec: type, table: Mapping[str, Any], key: Key, words: str, **context: Any) -> Any | None:
        """Read one table into a specification, or None where it has faults.

        `words` names the table in messages ("a reservoir"); `context` goes to the readers of values
        (`folder`, `kind`), `used` in it are the keys to name where an unknown one is refused.
        """
        values: dict[str, Quantity] = {}
        context.setdefault("folder", str(Path(self.document.file).parent))
        meant: set[str] = set()
        try:
            model_of(spec).model_validate(dict(table), context={**context, "read": values})
            sound = True
        except ValidationError as error:
            meant = self._word(error, spec, key, (words, context.get("used", ())))
            sound = False
        plain = {name: quantity.value for name, quantity in values.items()}
        rules = RULES.get(spec)
        verdict = rules(set(table) | meant, plain) if rules else Verdict()
        for name, message in verdict.faults:
            self.faults.add((*key, name) if name else key, message)
        if not sound or verdict.faults:
            return None
        result = spec(**plain)
        if spec in (WaterCoreSpec, AirCoreSpec, ExchangerSpec):
            result = self._from_sizes(result, key, frozenset(plain))
            if result is None:
                return None
        if spec is EngineSpec:
            result = self._usual(result, key)
        self._note(spec, values, key, verdict.idle)
        if spec in (CompressorSpec, SuperchargerSpec) and result.map is not None:
            self._map(str(Path(context["folder"], values["map"].text)), (*key, "map"))
        return result

    def _from_sizes(self, part: Any, key: Key, named: frozenset[str]) -> Any | None:
        """A core with what its sizes give beside what the file names; None where its sizes contradict each other."""
        try:
            found = derived_from_sizes(part, named)
        except BadInput as error:
            self.faults.add(key, error.message)
            return None
        items = {item.name: item for item in fields_of(part.__class__)}
        for name, value in found.items():
            meta = items[name].meta
            beside, share = UNCOUNTED[name]
            words = f"{meta.help}, from its sizes and fins, {beside}"
            self._derived[(*key, name)] = Given(value, units.show(value, meta.kind), share * value, "default", words)
        return dataclasses.replace(part, **found)

    def _usual(self, engine: Any, key: Key) -> Any:
        """An engine with the usual figures of its kind where the file leaves them out, to be drawn as others are."""
        items = {item.name: item for item in fields_of(EngineSpec)}
        found = usual_figures(engine)
        for name, (value, sd) in found.items():
            meta = items[name].meta
            words = f"{meta.help}; usual: {meta.when_absent}"
            self._derived[(*key, items[name].key)] = Given(value, units.show(value, meta.kind), sd, "default", words)
        return dataclasses.replace(engine, **{name: value for name, (value, _) in found.items()})

    def _map(self, path: str, key: Key) -> None:
        try:
            read_map(path)
        except BadInput as error:
            self.faults.add_error(key, error)

    def _word(self, error: ValidationError, spec: type, key: Key, named: tuple[str, tuple[str, ...]]) -> set[str]:
        """pydantic's findings in our words; `named` is the table's words and the keys worth naming.

        Returns the keys that misspelt ones were meant to be: these are not missing.
        """
        words, used = named
        items = {item.key: item for item in fields_of(spec)}
        found = error.errors(include_url=False)
        unknown = [str(e["loc"][0]) for e in found if e["type"] == "extra_forbidden"]
        allowed = used or tuple(items)
        also = OTHER_WORDS.get(spec, {})
        meant = {close for name in unknown if (close := _meant(name, allowed, also))}
        for entry in found:
            name = str(entry["loc"][0])
            here = (*key, name)
            if entry["type"] == "refused":
                for row, joint, message in entry["ctx"]["faults"]:
                    self.faults.add(here, message, at=here if row is None else (*here, row), joint=joint)
            elif entry["type"] == "extra_forbidden":
                self.faults.add(here, _unknown(name, allowed, words, also))
            elif name not in meant:
                self.faults.add(key, f"{name} is missing: {_needs(items[name].meta)}")
        return meant

    def _note(self, spec: type, values: Mapping[str, Quantity], key: Key, idle: frozenset[str]) -> None:
        """Where each value came from; keys that this table does not use are left out."""
        for item in fields_of(spec):
            if item.name in idle:
                continue
            here = (*key, item.key)
            quantity = values.get(item.name)
            if quantity is not None:
                entry = Given(quantity.value, quantity.text, quantity.sd, self.document.origin(here), item.meta.help)
                self.notes.extend(_gauge_notes(quantity, dotted(here)))
            elif here in self._derived:
                entry = self._derived[here]
            elif item.default is not None or item.meta.when_absent:
                entry = _default(item)
            else:
                continue
            name = dotted(here)
            line = self.document.line(here) if here[:1] in self.document.lines else 1_000_000
            self._order[name] = (line, len(self._order))
            self.givens[name] = entry

    def drop(self, key: Key) -> str | None:
        """Take one key out of the givens, as having no effect in this file; its origin, None where it was not read."""
        entry = self.givens.pop(dotted(key), None)
        return None if entry is None else entry.origin

    def in_order(self) -> dict[str, Given]:
        """The givens in the order of the file."""
        return {name: self.givens[name] for name in sorted(self.givens, key=lambda name: self._order[name])}


def _plain_name(name: str) -> str:
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else "NAME"


def _gauge_notes(quantity: Quantity, name: str) -> list[str]:
    if len(quantity.notes) < 2:
        return [f"{name} = {note}" for note in quantity.notes]
    return [f"{name}: {len(quantity.notes)} pressures without gauge or abs are read as gauge"]


def _default(item: SpecField) -> Given:
    meta, value = item.meta, item.default
    sd = meta.sd
    if sd is None and meta.sd_share is not None:
        sd = meta.sd_share * (abs(value) if isinstance(value, (int, float)) else 1.0)
    return Given(value, _default_text(value, meta), sd, "default", meta.help)


def _default_text(value: Any, meta: Field) -> str:
    if value is None:
        return meta.when_absent
    if isinstance(value, bool):
        return typed(value)
    if isinstance(value, Control):
        return value.mode
    if isinstance(value, (tuple, list, dict)):
        return ", ".join(str(v) for v in value) or "none"
    return units.show(value, meta.kind) if meta.kind in units.KINDS else str(value)


def _meant(name: str, allowed: tuple[str, ...], also: Mapping[str, str]) -> str | None:
    """The allowed key that an unknown one was meant to be: the nearest, or what is also called so."""
    close = nearest(name, allowed)
    if close is None and (word := nearest(name, also)) is not None:
        close = also[word]
    return close if close in allowed else None


def _unknown(name: str, allowed: tuple[str, ...], words: str, also: Mapping[str, str] = MappingProxyType({})) -> str:
    close = _meant(name, allowed, also)
    if close:
        return f'is not a key of {words}; nearest: "{close}"'
    if len(allowed) > MOST_NAMED:
        return f"is not a key of {words}; its {len(allowed)} keys are in docs/keys.md"
    return f"is not a key of {words}; its keys: " + ", ".join(allowed)


def _needs(meta: Field) -> str:
    """Help of a missing key with what to write."""
    if meta.kind in units.KINDS:
        return f"{meta.help}, such as " + " or ".join(f'"{text}"' for text in units.KINDS[meta.kind].examples)
    if meta.kind == "curve" and meta.curve:
        return f"{meta.help}, such as {curve_form(meta.curve)}"
    if meta.choices:
        return f"{meta.help}: " + ", ".join(f'"{choice}"' for choice in meta.choices)
    return meta.help


# -- rules between the keys of one table -------------------------------------------------------------
@dataclasses.dataclass
class Verdict:
    """What the rules of one table found: faults (key or "", message) and names of fields that are not used."""

    faults: list[tuple[str, str]] = dataclasses.field(default_factory=list)
    idle: frozenset[str] = frozenset()


def _engine_rules(keys: set[str], values: Mapping[str, Any]) -> Verdict:
    verdict = Verdict()
    kinds = {"piston": ("displacement", "cylinders"), "rotary": ("chamber_volume", "rotors")}
    kind = values.get("kind")
    if kind not in kinds:
        return verdict
    other = "rotary" if kind == "piston" else "piston"
    for name in kinds[kind]:
        if name not in keys:
            verdict.faults.append(("", f"{name} is missing: a {kind} engine needs {' and '.join(kinds[kind])}"))
    for name in kinds[other]:
        if name in keys:
            verdict.faults.append((name, f"belongs to a {other} engine, but this one is {kind}"))
    _knock_rules(keys, values, verdict)
    if values.get("top_speed", 125.0) <= values.get("idle_speed", 15.0):
        verdict.faults.append(("top_speed", "must be above idle_speed"))
    return verdict


_CYLINDER = ("bore", "stroke", "rod")
_KNOWN_POINT = ("knock_speed", "knock_boost", "knock_intake", "knock_spark")


def _knock_rules(keys: set[str], values: Mapping[str, Any], verdict: Verdict) -> None:
    """Sizes of a cylinder belong to pistons and make its volume; a known point of knock is known whole; trims take."""
    if values.get("kind") == "rotary":
        verdict.idle = verdict.idle | frozenset(_CYLINDER)
        verdict.faults += [
            (name, "belongs to a piston engine, but this one is rotary") for name in _CYLINDER if name in keys
        ]
    elif fault := cylinder_fault(*(values.get(name) for name in ("displacement", "cylinders", *_CYLINDER))):
        verdict.faults.append(fault)
    named = [name for name in _KNOWN_POINT if name in keys]
    if not named:
        verdict.idle = verdict.idle | frozenset(_KNOWN_POINT[1:])
    if named and len(named) < len(_KNOWN_POINT):
        missing = " and ".join(name for name in _KNOWN_POINT if name not in keys)
        verdict.faults.append((named[0], f"is one of four that describe one known point; {missing} is missing"))
    for name, most in (("trim_spark", math.inf), ("trim_boost", 1.0)):
        if any(not 0.0 <= taken <= most for _, taken in values.get(name) or ()):
            words = "may not be below 0: it is what is taken off" if most == math.inf else "must be from 0 to 100 %"
            verdict.faults.append((name, words))


def _car_rules(keys: set[str], values: Mapping[str, Any]) -> Verdict:
    gears = values.get("gears", ())
    for index in range(1, len(gears)):
        if gears[index] >= gears[index - 1]:
            message = f"run from first to top, so each is smaller than the one before; number {index + 1} is not"
            return Verdict([("gears", message + comma_hint(gears))])
    return Verdict()


_FAMILY = ("design_flow", "design_pressure_ratio", "design_speed", "peak_efficiency")


def _compressor_rules(keys: set[str], values: Mapping[str, Any]) -> Verdict:
    """Exactly one way to describe it; keys of the other ways are refused, their defaults not listed."""
    ways = [way for way in ("map", "design_flow", "efficiency") if way in keys]
    if "design_pressure_ratio" in keys and "design_flow" not in keys:
        ways.append("design_flow")
    verdict = Verdict()
    if not ways:
        message = "needs one of: map; design_flow with design_pressure_ratio; efficiency"
        return Verdict([("", message)])
    if len(ways) > 1:
        names = " and ".join(way if way in keys else "design_pressure_ratio" for way in ways)
        return Verdict([("", f"has both {names}; keep one of map, design_flow with design_pressure_ratio, efficiency")])
    way = ways[0]
    if way == "design_flow":
        for name in ("design_flow", "design_pressure_ratio"):
            if name not in keys:
                verdict.faults.append(
                    ("", f"{name} is missing: the generic family needs design_flow and design_pressure_ratio")
                )
        if "speed_limit" in keys and "design_speed" not in keys:
            verdict.faults.append(("speed_limit", "means nothing without design_speed; give both or neither"))
        verdict.idle = frozenset({"map", "efficiency"} | ({"speed_limit"} if "design_speed" not in keys else set()))
        return verdict
    unused = (*_FAMILY, "speed_limit") if way == "efficiency" else _FAMILY
    for name in unused:
        if name in keys:
            verdict.faults.append((name, f'is not used with "{way}"; take one of them out'))
    verdict.idle = frozenset(unused)
    return verdict


_DISPLACED = ("volumetric_efficiency", "efficiency")


def _supercharger_rules(keys: set[str], values: Mapping[str, Any]) -> Verdict:
    """Exactly one way to describe it, as for a compressor; its speed is the belt's, so a design point has one."""
    ways = [way for way in ("displacement", "map", "design_flow") if way in keys]
    if "design_pressure_ratio" in keys and "design_flow" not in keys:
        ways.append("design_flow")
    point = ("design_flow", "design_pressure_ratio", "design_speed")
    said = f"displacement; map; {', '.join(point[:2])} and {point[2]}"
    if len(ways) != 1:
        found = f"has {' and '.join(ways)}; keep" if ways else "needs"
        return Verdict([("", f"{found} one of: {said}")])
    unused = {
        "displacement": ("map", *_FAMILY),
        "map": ("displacement", *_DISPLACED, *_FAMILY),
        "design_flow": ("displacement", *_DISPLACED, "map"),
    }[ways[0]]
    verdict = Verdict()
    verdict.faults += [(name, f'is not used with "{ways[0]}"; take one out') for name in unused if name in keys]
    if ways[0] == "design_flow":
        missing = [name for name in point if name not in keys]
        if missing:
            verdict.faults.append(("", f"{', '.join(missing)} missing: a design point needs {', '.join(point)}"))
    verdict.idle = frozenset(unused)
    return verdict


def _hotter(values: Mapping[str, Any], hot: str, cold: str) -> list[tuple[str, str]]:
    if hot in values and cold in values and values[hot] <= values[cold]:
        return [(hot, f"must be hotter than {cold}")]
    return []


def _core_rules(spec: type, keys: set[str], values: Mapping[str, Any]) -> Verdict:
    items = {item.name: item for item in fields_of(spec)}
    faults, idle = core_faults(spec, keys, values, lambda name: _needs(items[name].meta))
    return Verdict(faults, idle)


_ICE = ("ice_form", "ice_temperature", "ice_conductance", "ice_exponent")


def _injection_rules(keys: set[str], values: Mapping[str, Any]) -> Verdict:
    """The fluid is one that is known."""
    try:
        parse_fluid(values.get("fluid", "water"))
    except BadInput as error:
        return Verdict([("fluid", error.message)])
    return Verdict()


def _reservoir_rules(keys: set[str], values: Mapping[str, Any]) -> Verdict:
    """Coolant and ice fit the tank; pickup is given or follows from insulation; keys of ice need ice."""
    verdict = Verdict()
    idle = set()
    if "insulation" in values:
        idle.add("pickup")
        if "pickup" in keys:
            verdict.faults.append(("pickup", "follows from insulation; keep one of them"))
    else:
        idle.add("insulation_conductivity")
        if "insulation_conductivity" in keys and "insulation" not in keys:
            verdict.faults.append(("insulation_conductivity", "means nothing without insulation, its thickness"))
    if values.get("ice", 0.0) == 0.0:
        idle.update(_ICE)
        if "ice" not in keys:
            verdict.faults.extend((name, "means nothing without ice, its mass") for name in _ICE if name in keys)
    if "ice_conductance" in values:
        idle.add("ice_form")
    if "volume" in values:
        try:
            known = ("volume", "ice", "brim_volume")
            check_fit(ReservoirSpec(**{name: values[name] for name in known if name in values}))
        except BadInput as error:
            verdict.faults.append(("brim_volume", error.message))
    verdict.idle = frozenset(idle)
    return verdict


_SPACER = ("spacer_area", "spacer_material")
_LEAK_TEST = ("leak_test_from", "leak_test_to", "leak_test_time")


def _plenum_rules(keys: set[str], values: Mapping[str, Any]) -> Verdict:
    """Keys of a spacer need one, on a flange to the engine; a pressure-decay test is whole and falls, or is absent."""
    verdict = Verdict()
    idle: set[str] = set()
    if values.get("spacer", 0.0) == 0.0:
        idle.update(_SPACER)
        if "spacer" not in keys:
            verdict.faults += [(n, "means nothing without spacer, its thickness") for n in _SPACER if n in keys]
    elif values.get("surroundings", "engine") != "engine":
        verdict.faults.append(("spacer", 'keeps no heat away, because surroundings is not "engine"'))
    given = [name for name in (*_LEAK_TEST, "leak_test_volume") if name in keys]
    missing = [name for name in _LEAK_TEST if name not in keys]
    if not given:
        idle.update(("leak_test_to", "leak_test_time", "leak_test_volume"))
    elif missing:
        said = f"{', '.join(missing)} missing: a pressure-decay test needs {', '.join(_LEAK_TEST)}"
        verdict.faults.append(("", said))
    elif all(name in values for name in _LEAK_TEST):
        try:
            tested_leak_area(PlenumSpec(**{name: values[name] for name in _LEAK_TEST}), 1.0)
        except BadInput as error:
            verdict.faults.append(("leak_test_to", error.message))
    verdict.idle = frozenset(idle)
    return verdict


_PICKUP = ("pickup_moving", "pickup_speed", "pickup_lag", "pickup_warming", "pickup_day")


def _filter_rules(keys: set[str], values: Mapping[str, Any]) -> Verdict:
    """What the air picks up is told by a share of the bay's rise, or by road speed."""
    if "pickup_at_rest" not in keys:
        faults = [(name, "means nothing without pickup_at_rest, what is picked up standing") for name in _PICKUP]
        return Verdict([fault for fault in faults if fault[0] in keys], idle=frozenset(("pickup_at_rest", *_PICKUP)))
    verdict = Verdict(idle=frozenset(("bay_share",)))
    if "bay_share" in keys:
        verdict.faults.append(("bay_share", "takes no part beside pickup_at_rest; take one of the two out"))
    least = values.get("pickup_moving", FilterSpec.pickup_moving)
    if "pickup_at_rest" in values and values["pickup_at_rest"] < least:
        verdict.faults.append(("pickup_at_rest", f"is below pickup_moving, {least:g} K: it must be the larger"))
    return verdict


_ELECTRIC = ("curve_voltage", "voltage", "supply_voltage", "wire_length", "wire_gauge", "current", "inrush", "control")
_SUPPLY = ("supply_voltage", "wire_gauge")


def _pump_rules(keys: set[str], values: Mapping[str, Any]) -> Verdict:
    """Keys of a motor mean nothing on a pump that the engine drives, and those of a wire nothing without one."""
    verdict = Verdict()
    if values.get("drive") == "engine":
        for name in _ELECTRIC:
            if name in keys:
                verdict.faults.append((name, 'belongs to an electric pump, but drive = "engine"'))
        verdict.idle = frozenset(_ELECTRIC)
        return verdict
    if "drive_top" in keys:
        verdict.faults.append(("drive_top", 'belongs to a pump that the engine turns; write drive = "engine" too'))
    idle = {"drive_top"}
    if "wire_length" in keys:
        if "voltage" in keys:
            verdict.faults.append(("voltage", "follows from supply_voltage and the wire; take it out, or wire_length"))
        idle.add("voltage")
    else:
        for name in _SUPPLY:
            if name in keys:
                verdict.faults.append((name, "means nothing without wire_length, there and back"))
        idle.update(_SUPPLY)
    verdict.idle = frozenset(idle)
    return verdict


def _oil_cooler_rules(keys: set[str], values: Mapping[str, Any]) -> Verdict:
    if "bench_oil_in" in values and "bench_water_in" in values and values["bench_oil_in"] <= values["bench_water_in"]:
        return Verdict([("bench_oil_in", "must be hotter than bench_water_in")])
    return Verdict()


def _thermostat_rules(keys: set[str], values: Mapping[str, Any]) -> Verdict:
    if "full_at" in values and "opens_at" in values and values["full_at"] <= values["opens_at"]:
        return Verdict([("full_at", "must be hotter than opens_at")])
    return Verdict()


def _loop_rules(keys: set[str], values: Mapping[str, Any]) -> Verdict:
    cap = values.get("cap_pressure")
    if isinstance(cap, Pressure) and cap.value < 0.0:
        return Verdict([("cap_pressure", "must not be below ambient")])
    return Verdict()


_DUCT_ONLY = ("inlet_area", "inlet_loss", "exit_area", "exit_loss", "leak_area")


def _duct_rules(keys: set[str], values: Mapping[str, Any]) -> Verdict:
    """A duct has an inlet; an open core has a face in the stream and none of a duct's openings."""
    is_open = values.get("inlet") == "open"
    needed, other = ("face_area", _DUCT_ONLY) if is_open else ("inlet_area", ("face_area",))
    verdict = Verdict(idle=frozenset(other))
    if needed not in keys:
        meta = next(item.meta for item in fields_of(DuctSpec) if item.name == needed)
        verdict.faults.append(("", f"{needed} is missing: {_needs(meta)}"))
    for name in other:
        if name in keys:
            words = "is of a duct, but inlet is open" if is_open else 'is only used where inlet = "open"'
            verdict.faults.append((name, f"{words}; take it out, or change inlet"))
    return verdict


# specification -> words that a user may try for one of its keys; `duty/phases.py` adds those of a session
OTHER_WORDS: dict[type, Mapping[str, str]] = {
    {**PART_KINDS, "engine": EngineSpec, "car": CarSpec, "loops": LoopKeys, "ducts": DuctSpec}[table]: words
    for table, words in OTHER_KEYS.items()
}

Rule = Callable[[set[str], Mapping[str, Any]], Verdict]
# specification -> rule over (keys present, values read); `duty/phases.py` adds those of a session
RULES: dict[type, Rule] = {
    EngineSpec: _engine_rules,
    CarSpec: _car_rules,
    CompressorSpec: _compressor_rules,
    SuperchargerSpec: _supercharger_rules,
    ExchangerSpec: functools.partial(_core_rules, ExchangerSpec),
    WaterCoreSpec: functools.partial(_core_rules, WaterCoreSpec),
    AirCoreSpec: functools.partial(_core_rules, AirCoreSpec),
    LoopKeys: _loop_rules,
    ThermostatSpec: _thermostat_rules,
    PumpSpec: _pump_rules,
    OilCoolerSpec: _oil_cooler_rules,
    ReservoirSpec: _reservoir_rules,
    PlenumSpec: _plenum_rules,
    FilterSpec: _filter_rules,
    InjectionSpec: _injection_rules,
    DuctSpec: _duct_rules,
}
