"""The brief: what an owner knows before there is a build, and what is assumed where they do not know.

What is here: `BriefSpec` (its keys), `BRIEF_FIELDS` (the same as data, for a page), `load_brief` and `parse_brief`,
`brief_text` (a brief as TOML from texts), the paragraph in which it is read back.  What is not: the sizes that follow
from it (`build/sizing.py`) and the builds (`explore/draft.py`).

"don't know" is an answer for every key, as is leaving it out: the key then takes its default, whose spread is one
standard deviation, and `Brief.unknown` names it.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from coldside import units
from coldside.build.document import Document, read_document, scan
from coldside.build.model import Given
from coldside.build.schema import RULES, Reading, Verdict, fields_of
from coldside.parts.engine import RPM
from coldside.parts.fields import Field, given
from coldside.units import typed
from coldside.units.kinds import HP, INCH, POUND

SCHEMA = "coldside.brief/1"
DONT_KNOW = "don't know"
_UNKNOWN = ("don't know", "dont know", "do not know", "don’t know", "unknown", "?", "")
POWER_PER_LITRE = 150e3 / 1e-3  # W/m3, a shop-built turbo engine on road fuel (common practice)
POWER_PER_ROTOR = 150e3  # W, the same of a rotary
USUAL_POWER = 500 * HP  # W where neither power nor size is known
REDLINE = {"piston": 7000 * RPM, "rotary": 8000 * RPM}
SPREAD = {"displacement": 0.2, "power": 0.15, "redline": 0.07}  # of defaults that follow from other keys
STREET, TRACK, DRAG, DYNO, HILL = "street", "track", "drag", "dyno", "hill climb"
BOTH = "street and track"
USES = (STREET, TRACK, BOTH, DRAG, DYNO, HILL)
RULE_BOOK = ("allowed", "forbidden")
ROOM_FOR_CORE, AS_IT_IS = "room for a core", "a core as it is"
ROOM_FOR_FACE, EXCHANGER_AS_IT_IS = "room for a face", "an exchanger as it is"
LEAST_DEPTH = 0.03  # m of room for a face
ROOM_FOR_TANK, TANK_AS_IT_IS = "room for a tank", "a tank as it is"
FUELS = ("gasoline 95", "gasoline 98", "gasoline 100", "E10", "E85", "ethanol", "methanol")


def _ask(blank: str, kind: str, help: str, **rest: Any) -> Any:
    """A key of a brief: `given`, with the words that stand in the paragraph where nothing is filled in."""
    made = given(kind, help, **rest)
    return dataclasses.field(default=made.default, metadata={**made.metadata, "blank": blank})


def _room(blank: str, help: str, default: float, low: float, high: float) -> Any:
    return _ask(blank, "length", help, default=default, sd_share=0.15, low=low, high=high)


def _bought(blank: str, kind: str, help: str, low: float, high: float) -> Any:
    return _ask(blank, kind, help, default=None, low=low, high=high, when_absent="not bought yet: it is sized")


def _ruled(what: str) -> Any:
    return _ask(f"{what} or not", "choice", f"rule book: {what}", default="allowed", choices=RULE_BOOK)


@dataclass(frozen=True, kw_only=True)
class BriefSpec:
    """The keys of a brief, on top of the file beside `schema` and `name`."""

    engine: str | None = _ask(
        "what engine",
        "choice",
        "piston (four-stroke) or rotary",
        default=None,
        choices=("piston", "rotary"),
        when_absent="piston, unless rotors or chamber_volume are given",
    )
    displacement: float | None = _ask(
        "how many litres",
        "volume",
        "swept volume of all cylinders (piston)",
        default=None,
        low=3e-4,
        high=1.2e-2,
        when_absent="one litre for every 150 kW of power, +- 20 %",
    )
    cylinders: int = _ask("how many cylinders", "count", "number of cylinders (piston)", default=4, low=1, high=16)
    rotors: int = _ask("how many rotors", "count", "number of rotors (rotary)", default=2, low=1, high=4)
    chamber_volume: float = _ask(
        "what chamber",
        "volume",
        "swept volume of one chamber (rotary)",
        default=650e-6,
        sd_share=0.05,
        low=1e-4,
        high=2e-3,
    )
    redline: float | None = _ask(
        "what top speed",
        "engine_speed",
        "highest engine speed used",
        default=None,
        low=3000 * RPM,
        high=14000 * RPM,
        when_absent="7000 rpm of a piston engine, 8000 rpm of a rotary, +- 7 %",
    )
    boost: units.Pressure | None = _ask(  # noqa: RUF009 (a level is frozen, as what `_ask` makes)
        "what the power takes",
        "boost",
        "boost at full load, over the air outside; with power given too, the boost is what it runs",
        default=None,
        when_absent="what the power takes",
    )
    power: float | None = _ask(
        "how much power",
        "power",
        "power at the crank that it should make",
        default=None,
        low=30e3,
        high=2e6,
        when_absent="what the boost makes; without it 150 kW for every litre or rotor, +- 15 %; 370 kW where the "
        "engine's size is not known either",
    )
    fuel: str = _ask("what fuel", "fuel", "the fuel it will burn", default="gasoline 98", choices=FUELS)
    use: str = _ask("what", "choice", "what the car is for", default=BOTH, choices=USES)
    hottest_day: float = _ask(
        "how hot",
        "temperature",
        "air in the shade on the hottest day it must stand",
        default=308.15,
        sd=4.0,
        low=263.15,
        high=328.15,
    )
    altitude: float = _ask(
        "how high", "length", "height over sea level where it runs", default=200.0, sd=150.0, low=-450.0, high=5000.0
    )
    car_mass: float = _ask("how heavy", "mass", "mass as driven", default=1350.0, sd_share=0.12, low=300.0, high=4000.0)
    session_length: float | None = _ask(
        "as long as usual",
        "time",
        "length of the session: of the laps, rounds, pulls or runs, and what lies between them",
        default=None,
        low=60.0,
        high=7200.0,
        when_absent="what is usual of the use: 20 min of laps, three passes, five pulls, two climbs",
    )
    core: str = _ask(
        "room for a core",
        "choice",
        "whether the next three sizes are room, or a water-cooled core already bought that is used as it is",
        default=ROOM_FOR_CORE,
        choices=(ROOM_FOR_CORE, AS_IT_IS),
    )
    core_length: float = _room(
        "how long",
        "length of the room for a water-cooled charge core near the throttle, its tanks included; of a core as it is, "
        "the way of the charge through its fins",
        0.38,
        0.03,
        1.5,
    )
    core_width: float = _room(
        "how wide",
        "width of the room for that core; of a core as it is, the way of the coolant through it",
        0.22,
        0.03,
        1.0,
    )
    core_height: float = _room(
        "how high", "height of the room for that core; of a core as it is, that of its fins and plates", 0.18, 0.03, 1.0
    )
    exchanger: str = _ask(
        "room for a face",
        "choice",
        "whether the next three sizes are room at the nose, or an exchanger already bought that is used as it is",
        default=ROOM_FOR_FACE,
        choices=(ROOM_FOR_FACE, EXCHANGER_AS_IT_IS),
    )
    nose_width: float = _room(
        "how wide",
        "width of the room for faces at the nose, ahead of the radiator; of an exchanger as it is, the way of the "
        "coolant through its tubes",
        0.60,
        0.15,
        1.6,
    )
    nose_height: float = _room(
        "how high",
        "height of the room at the nose; of an exchanger as it is, that of its tubes and fins",
        0.32,
        0.08,
        1.0,
    )
    nose_depth: float = _room(
        "how deep",
        "depth of the room at the nose, along the air; of an exchanger as it is, that of its tubes",
        0.10,
        0.01,
        0.5,
    )
    side_pods: int = _ask(
        "how many", "count", "side pods or rear quarters that can take a face each", default=0, low=0, high=2
    )
    side_width: float = _room("how wide", "width of the room for a face in each side pod", 0.30, 0.08, 1.0)
    side_height: float = _room("how high", "height of the room in each side pod", 0.26, 0.08, 1.0)
    side_depth: float = _room("how deep", "depth of the room in each side pod, along the air", 0.08, 0.03, 0.5)
    tank: str = _ask(
        "room for a tank",
        "choice",
        "whether the next volume is room for the coolant tank, or a tank already bought that is used as it is",
        default=ROOM_FOR_TANK,
        choices=(ROOM_FOR_TANK, TANK_AS_IT_IS),
    )
    tank_room: float = _ask(
        "how many litres",
        "volume",
        "room for the coolant tank, what it may hold; of a tank as it is, what it holds filled",
        default=8e-3,
        sd_share=0.3,
        low=5e-4,
        high=0.2,
    )
    hose_run: float = _ask(
        "how far",
        "length",
        "run of the coolant hoses from the front of the car to the tank, one way",
        default=2.1,
        sd_share=0.3,
        low=0.3,
        high=8.0,
    )
    turbo_flow: float | None = _bought(
        "turbo", "mass_flow", "most air that the turbo already bought can pass, all turbos together", 0.02, 5.0
    )
    pump_flow: float | None = _bought(
        "coolant pump",
        "volume_flow",
        "open flow (against nothing) of the coolant pump already bought",
        2e-5,
        5e-3,
    )
    fan_flow: float | None = _bought("fan", "volume_flow", "open flow of the fan already bought", 0.02, 5.0)
    injectors: int | None = _bought("injectors", "count", "number of injectors already bought", 1, 48)
    injector_capacity: float | None = _bought(
        "injectors of what flow",
        "mass_flow",
        "largest flow of one injector already bought, of this fuel at your rail pressure",
        1e-4,
        0.2,
    )
    pipe_bore: float | None = _bought(
        "charge pipes", "length", "inside diameter of charge pipes already bought", 0.03, 0.2
    )
    line_bore: float | None = _bought(
        "coolant hoses", "length", "inside diameter of coolant hoses already bought", 6e-3, 0.06
    )
    glycol: str = _ruled("glycol in the coolant")
    glycol_share: float | None = _ask(
        "as the winter asks",
        "share",
        "ethylene glycol in the coolant, by volume",
        default=None,
        low=0.0,
        high=0.57,
        when_absent="the least that the winter asks for, none where glycol is forbidden",
    )
    ice: str = _ruled("ice in the tank")
    spray: str = _ruled("water sprayed on a face")
    cabin: str = _ruled("coolant in the cabin or boot")
    winter: float = _ask(
        "how cold",
        "temperature",
        "coldest night of its winter storage",
        default=258.15,
        sd=8.0,
        low=223.15,
        high=298.15,
    )
    keep: str = _ask(
        "nothing in particular",
        "choice",
        "what the car must not lose",
        default="nothing in particular",
        choices=("nothing in particular", "response", "engine cooling", "boot space"),
    )


@dataclass(frozen=True)
class BriefField:
    """One key of a brief for a page: SI numbers; `blank` stands in the paragraph where nothing is filled in.

    `kind` as of `parts/fields.Field`; `choices` of a choice (and the usual fuels); `default` as it reads, with its
    spread; `sd` one standard deviation of the default in SI, `sd_share` the same as a share; `low`, `high` allowed.
    """

    key: str
    kind: str
    help: str
    blank: str
    choices: tuple[str, ...]
    default: Any
    default_text: str
    sd: float | None
    sd_share: float | None
    low: float | None
    high: float | None

    def default_words(self, system: str = "si") -> str:
        """The default with its spread in "si" or "us" units."""
        return _default_words(self, system)


def _default_words(field: BriefField, system: str) -> str:
    if not isinstance(field.default, int | float) or isinstance(field.default, bool) or field.kind == "count":
        return field.default_text if system == "si" else units.retold(field.default_text, system)
    text = units.show(field.default, field.kind, system)
    if field.sd is not None:
        kind = units.kinds.DIFFERENCE.get(field.kind, field.kind)
        return f"{text} +- {units.show(field.sd, kind, system).removesuffix(' rise')}"
    return text + (f" +- {100.0 * field.sd_share:g} %" if field.sd_share else "")


def _brief_fields() -> tuple[BriefField, ...]:
    blanks = {item.name: item.metadata["blank"] for item in dataclasses.fields(BriefSpec)}
    found = []
    for item in fields_of(BriefSpec):
        meta: Field = item.meta
        text = meta.when_absent if item.default is None else str(item.default)
        one = BriefField(
            item.key,
            meta.kind,
            meta.help,
            blanks[item.name],
            meta.choices,
            item.default,
            text,
            meta.sd,
            meta.sd_share,
            meta.low,
            meta.high,
        )
        found.append(replace(one, default_text=_default_words(one, "si")))
    return tuple(found)


BRIEF_FIELDS: tuple[BriefField, ...] = _brief_fields()
_FIELD = {field.key: field for field in BRIEF_FIELDS}
BOUGHT = ("turbo_flow", "pump_flow", "fan_flow", "injectors", "injector_capacity", "pipe_bore", "line_bore")
_OF_PISTON, _OF_ROTARY = ("displacement", "cylinders"), ("rotors", "chamber_volume")
_OF_PODS = ("side_width", "side_height", "side_depth")
_OF_CORE = ("core_length", "core_width", "core_height")
_OF_NOSE = ("nose_width", "nose_height", "nose_depth")
_AS_THEY_ARE = {  # key -> what it says of a part as it is, of room for one, and whose sizes must then be given
    "core": (AS_IT_IS, ROOM_FOR_CORE, _OF_CORE),
    "exchanger": (EXCHANGER_AS_IT_IS, ROOM_FOR_FACE, _OF_NOSE),
    "tank": (TANK_AS_IT_IS, ROOM_FOR_TANK, ("tank_room",)),
}


@dataclass(frozen=True)
class Brief:
    """A brief as read: `spec` in SI with every key filled in, `unknown` the keys that nobody answered, in order.

    `known` holds what was answered, `spread` one standard deviation of every unknown number, SI.
    """

    name: str
    file: str
    spec: BriefSpec
    known: Mapping[str, Given]
    unknown: tuple[str, ...]
    spread: Mapping[str, float]
    notes: tuple[str, ...] = ()

    @property
    def rotary(self) -> bool:
        """True for a rotary engine."""
        return self.spec.engine == "rotary"

    def having(self, **values: Any) -> Brief:
        """The same brief with other values (SI), these then known."""
        known = {**self.known, **{key: Given(value, str(value), None, "set") for key, value in values.items()}}
        spec = replace(self.spec, **values)
        return replace(self, spec=spec, known=known, unknown=tuple(key for key in self.unknown if key not in values))


def load_brief(path: str | Path, overrides: Sequence[str] = ()) -> Brief:
    """Read and check one brief, a file of schema "coldside.brief/1"; `overrides` are texts like "power=500 hp".

    Raises BadInput, or ManyBadInputs with every fault of the file in file order.
    """
    document = read_document(path)
    for text in overrides:
        document.override(text)
    return _read(document)


def parse_brief(text: str, name: str = "brief.toml") -> Brief:
    """A brief from text; `name` stands for the file in messages.  Raises as `load_brief`."""
    return _read(scan(text, name))


def _read(document: Document) -> Brief:
    reading = Reading(document)
    reading.head(SCHEMA)
    keys = tuple(_FIELD)
    reading.only(document.data, (), ("schema", "name", *keys), "a brief")
    name = reading.name("a brief")
    answered = {key: value for key, value in document.data.items() if key in _FIELD and not _is_unknown(value)}
    spec = reading.table(BriefSpec, answered, (), "a brief")
    reading.faults.raise_any()
    assert spec is not None  # without faults it was read
    known = {key: entry for key, entry in reading.givens.items() if entry.origin != "default"}
    filled, spread = _filled(spec, known)
    unknown = tuple(key for key in keys if key not in known and _asked(key, filled, known))
    return Brief(name, document.file, filled, known, unknown, spread, tuple(reading.notes))


def _is_unknown(value: Any) -> bool:
    return isinstance(value, str) and value.strip().casefold() in _UNKNOWN


def _asked(key: str, spec: BriefSpec, known: Mapping[str, Given]) -> bool:
    """Whether a key means anything for this engine and car, and does not follow from what is known."""
    if key == "engine":
        return not set(known) & {*_OF_PISTON, *_OF_ROTARY}
    if key in (_OF_ROTARY if spec.engine == "piston" else _OF_PISTON):
        return False
    if key == "power" and "boost" in known:
        return False
    return spec.side_pods > 0 or key not in _OF_PODS


def _filled(spec: BriefSpec, known: Mapping[str, Given]) -> tuple[BriefSpec, dict[str, float]]:
    """Every key with a value, and one standard deviation of the numbers that were not answered."""
    engine = spec.engine or ("rotary" if {"rotors", "chamber_volume"} & set(known) else "piston")
    power, displacement = spec.power, spec.displacement
    if power is None and engine == "rotary":
        power = POWER_PER_ROTOR * spec.rotors
    elif power is None:
        power = USUAL_POWER if displacement is None else POWER_PER_LITRE * displacement
    if displacement is None and engine == "piston":
        displacement = power / POWER_PER_LITRE
    redline = spec.redline or REDLINE[engine]
    filled = replace(spec, engine=engine, power=power, displacement=displacement, redline=redline)
    spread: dict[str, float] = {}
    for field in BRIEF_FIELDS:
        value = getattr(filled, field.key)
        entry = known.get(field.key)
        share = SPREAD.get(field.key, field.sd_share)
        if entry is not None or not _asked(field.key, filled, known) or not isinstance(value, int | float):
            if entry is not None and entry.sd is not None:
                spread[field.key] = entry.sd
        elif field.sd is not None:
            spread[field.key] = field.sd
        elif share is not None:
            spread[field.key] = share * value
    return filled, spread


def _rules(keys: set[str], values: Mapping[str, Any]) -> Verdict:
    """Keys of the other kind of engine; the piston's are refused where the engine is a rotary, and the other way."""
    verdict = Verdict()
    engine = values.get("engine") or ("rotary" if set(_OF_ROTARY) & keys else "piston")
    other, word = (_OF_PISTON, "piston engine") if engine == "rotary" else (_OF_ROTARY, "rotary")
    for name in other:
        if name in keys:
            verdict.faults.append((name, f"is of a {word}, but this engine is a {engine}; take one of the two out"))
    pods = values.get("side_pods")
    if pods == 0:
        verdict.faults += [
            (name, "means nothing without side pods; see side_pods") for name in _OF_PODS if name in keys
        ]
    for key, (as_it_is, room, sizes) in _AS_THEY_ARE.items():
        if values.get(key) == as_it_is:
            verdict.faults += [
                (name, f'is not given, but {key} is "{as_it_is}"; measure it, or say "{room}"')
                for name in sizes
                if name not in keys
            ]
    depth = values.get("nose_depth")
    if depth is not None and depth < LEAST_DEPTH and values.get("exchanger") != EXCHANGER_AS_IT_IS:
        verdict.faults.append(
            ("nose_depth", f"is less than any face takes; at least {1e3 * LEAST_DEPTH:.0f} mm is asked")
        )
    if values.get("glycol") == "forbidden" and (values.get("glycol_share") or 0.0) > 0.0:
        verdict.faults.append(("glycol_share", "is given, but the rule book forbids glycol; take one of the two out"))
    return verdict


RULES[BriefSpec] = _rules


# -- writing -----------------------------------------------------------------------------------------
def brief_text(values: Mapping[str, str], name: str = "") -> str:
    """A brief as TOML from the texts of its fields, in the order of the fields; an empty one is "don't know".

    `values` may hold `name`.  Nothing is checked here (`parse_brief` does); a key that no brief has is refused with
    BadInput by `parse_brief` too, so it is written as it stands.
    """
    title = values.get("name", "").strip() or name or "A car"
    lines = [f'schema = "{SCHEMA}"', f"name = {_quoted(title)}", ""]
    for key in [*(key for key in _FIELD if key in values), *(k for k in values if k not in _FIELD and k != "name")]:
        text = values[key].strip()
        lines.append(f"{key} = {_quoted(text if not _is_unknown(text) else DONT_KNOW)}")
    return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    """A text as TOML; a whole number needs no quotes."""
    if text.isdigit() and len(text) < 6:
        return text
    return typed(text) if '"' not in text and "\\" not in text else "'" + text.replace("'", "’") + "'"


# -- reading it back ---------------------------------------------------------------------------------
def value_words(brief: Brief, key: str, system: str = "si") -> str:
    """A key's value in words, "(assumed)" behind one that nobody answered."""
    value = getattr(brief.spec, key)
    if value is None:
        return "none"
    text = shown(key, value, system)
    return text if key in brief.known else f"{text} (assumed)"


def shown(key: str, value: Any, system: str = "si") -> str:
    """A value of a key in words; an engine's size in litres, an injector's flow by the hour, as they are sold."""
    kind = _FIELD[key].kind
    if key == "displacement":
        return f"{1e3 * value:.3g} L" + ("" if system == "si" else f" ({value / INCH**3:.0f} in3)")
    if key == "injector_capacity" and system == "us":
        return f"{value / POUND * 3600.0:.4g} lb/h"
    if key == "boost":
        return units.show(value, kind, system).removesuffix(" gauge")
    return units.show(value, kind, system) if kind in units.KINDS else str(value)


def paragraph(brief: Brief, system: str = "si") -> str:
    """The brief as one paragraph, in "si" or "us" units; what was assumed says so."""

    def said(key: str) -> str:
        return value_words(brief, key, system)

    def box(*keys: str) -> str:
        unknown = all(key not in brief.known for key in keys)
        text = " x ".join(units.show(getattr(brief.spec, key), "length", system) for key in keys)
        return text + (" (assumed)" if unknown else "")

    spec = brief.spec
    if brief.rotary:
        engine = f"An engine of {said('rotors')} rotors of {said('chamber_volume')}"
    else:
        engine = f"An engine of {said('displacement')} and {said('cylinders')} cylinders"
    makes = f"should make {said('power')}"
    if spec.boost is not None:
        makes = f"runs {said('boost')} of boost" + (
            f" where {said('power')} is asked" if "power" in brief.known else ""
        )
    lasts = "" if spec.session_length is None else f" in sessions of {said('session_length')}"
    stands: list[str] = []
    room: list[str] = []
    for as_it_is, what, where in (
        (
            spec.core == AS_IT_IS,
            f"a charge core as it is, its fins {box(*_OF_CORE)}",
            f"a charge core of {box(*_OF_CORE)}",
        ),
        (
            spec.exchanger == EXCHANGER_AS_IT_IS,
            f"an exchanger at the nose as it is, its tubes and fins {box(*_OF_NOSE)}",
            f"faces at the nose of {box(*_OF_NOSE)}",
        ),
    ):
        (stands if as_it_is else room).append(what if as_it_is else where)
    if spec.side_pods:
        room.append(f"in {said('side_pods')} side pods of {box('side_width', 'side_height', 'side_depth')} each")
    if spec.tank == TANK_AS_IT_IS:
        stands.append(f"a tank as it is of {said('tank_room')}")
    else:
        room.append(f"a tank of {said('tank_room')}")
    text = (
        f"{engine} that turns to {said('redline')} and {makes} on {said('fuel')}, in a car of "
        f"{said('car_mass')}, used for {said('use')}{lasts}; hottest day {said('hottest_day')}, {said('altitude')} "
        f"over the sea. "
    )
    if stands:
        text += f"It has {_listed(stands)}. "
    if room:
        text += f"Room for {_listed(room)}. "
    text += f"The tank lies {said('hose_run')} of hose from the front. Already bought: "
    text += f"{_bought_words(brief, system)}. The rule book: {_rule_words(brief)}. "
    if spec.glycol_share is not None:
        text += f"Glycol {said('glycol_share')} by volume. "
    text += f"Winter storage down to {said('winter')}; the car must not lose "
    return text + ("anything in particular." if spec.keep.startswith("nothing") else f"{spec.keep}.")


def _listed(words: Sequence[str]) -> str:
    """Things that hold commas of their own: "a, b, and c"."""
    return ", ".join(words[:-1]) + (", and " if len(words) > 1 else "") + words[-1]


def _bought_words(brief: Brief, system: str) -> str:
    names = [key for key in BOUGHT if getattr(brief.spec, key) is not None]
    if not names:
        return "nothing"
    return ", ".join(f"{key.replace('_', ' ')} {value_words(brief, key, system)}" for key in names)


def _rule_words(brief: Brief) -> str:
    names = {"glycol": "glycol", "ice": "ice", "spray": "spray", "cabin": "coolant in cabin or boot"}
    barred = [words for key, words in names.items() if getattr(brief.spec, key) == "forbidden"]
    unknown = any(key not in brief.known for key in names)
    text = "no " + ", no ".join(barred) if barred else "nothing forbidden"
    return text + (" (the rest assumed allowed)" if unknown else "")


def _spread_words(key: str, value: float, system: str) -> str:
    kind = _FIELD[key].kind
    if kind in units.kinds.DIFFERENCE:
        return units.show(value, units.kinds.DIFFERENCE[kind], system).removesuffix(" rise")
    return shown(key, value, system)


def assumptions(brief: Brief, system: str = "si") -> tuple[str, ...]:
    """What was assumed, a line a key: its help, the value and its spread."""
    lines = []
    for key in brief.unknown:
        field, value = _FIELD[key], getattr(brief.spec, key)
        if value is None:
            continue
        text = shown(key, value, system)
        if key in brief.spread:
            text += f" +- {_spread_words(key, brief.spread[key], system)}"
        lines.append(f"{key} = {text}: {field.help}")
    return tuple(lines)
