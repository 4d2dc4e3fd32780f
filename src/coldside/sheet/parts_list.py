"""The parts list, and the values that nobody gave, as text in one unit system.

Here: `part_rows`, `assumed`, `control_words`.  Not here: any other table (`tables.py`), any layout (`render.py`).
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from coldside.build.describing import shown_as
from coldside.build.model import Given, names_on
from coldside.build.values import is_flat
from coldside.judge.wording import Quantity, shown
from coldside.parts.compressor import CompressorSpec
from coldside.parts.exchanger import ExchangerSpec
from coldside.parts.fields import Field
from coldside.parts.injection import InjectionSpec, injection_carried
from coldside.parts.pump import Control, PumpSpec
from coldside.parts.spray import SprayKeys, spray_carried
from coldside.plant.results import Forecast
from coldside.sheet.streams import part_name
from coldside.sheet.tables import say
from coldside.units import KINDS, Pressure, retold, show


@dataclass(frozen=True)
class PartRow:
    """Parts of one kind and of the same sizes: names, kind in words, where they lie, sizes."""

    names: tuple[str, ...]
    kind: str
    paths: str
    sizes: str


KIND_WORDS = {
    "FilterSpec": "filter",
    "CompressorSpec": "compressor",
    "SuperchargerSpec": "supercharger, belt-driven",
    "PipeSpec": "charge pipe",
    "HoseSpec": "coolant hose",
    "WaterCoreSpec": "charge core, water",
    "AirCoreSpec": "charge core, air",
    "ExchangerSpec": "exchanger, coolant to air",
    "OilCoolerSpec": "oil cooler, oil to coolant",
    "ThrottleSpec": "throttle",
    "PlenumSpec": "plenum",
    "PumpSpec": "coolant pump",
    "ReservoirSpec": "tank",
    "ValveSpec": "coolant valve",
    "ThermostatSpec": "thermostat",
    "ChillerSpec": "chiller",
    "InjectionSpec": "injection into the charge",
    "FanSpec": "fan",
    "SensorSpec": "sensor",
}
SIZES = {
    "bore": "bore",
    "length": "long",
    "wall": "wall",
    "volume": "volume",
    "metal_mass": "metal",
    "coolant_volume": "holds",
    "face_height": "face height",
    "design_flow": "design flow",
    "design_pressure_ratio": "design pressure ratio",
    "efficiency": "efficiency",
    "bench_charge_flow": "bench charge flow",
    "bench_coolant_flow": "bench coolant flow",
    "bench_cooling_flow": "bench cooling-air flow",
    "bench_effectiveness": "bench effectiveness",
    "bench_heat": "bench heat",
    "bench_charge_loss": "bench charge loss",
    "bench_coolant_loss": "bench coolant loss",
    "bench_cooling_loss": "bench cooling-air loss",
    "charge_length": "charge length",
    "coolant_length": "coolant length",
    "cooling_length": "cooling-air length",
    "stack_height": "stack height",
    "charge_bore": "charge pipes",
    "coolant_bore": "coolant pipes",
    "coolant_passes": "coolant passes",
    "charge_volume": "holds charge",
    "charge_bypass": "charge passing it by",
    "spray": "water spray",
    "drive_ratio": "drive ratio",
    "displacement": "moves each turn",
    "coupler_rating": "couplers rated for",
    "spacer": "spacer",
    "flow": "flow",
    "above": "starts above boost of",
    "brim_volume": "holds to the brim",
    "insulation": "insulation",
    "ice": "ice",
    "wire_length": "wire there and back",
    "current": "draws",
    "npsh_required": "needs a suction head of",
    "opens_at": "opens at",
    "full_at": "fully open at",
    "voltage": "supply at the part",
    "height": "height over datum",
    "high_point": "highest point",
    "loss": "loss",
    "time_constant": "time constant",
    "heat": "heat",
    "covers": "covers of the next face",
}


WORDS = {  # key in words -> how it is said; the words that go without saying
    "shield": ("shield: {}", ("none",)),
    "construction": ("{}", ()),
    "drive": ("driven by the {}", ("electric",)),
    "fault": ("FAULT TRIED OUT: {}", ("none",)),
    "fluid": ("{}", ()),
    "ice_form": ("{} ice", ()),
    "spray_when": ("spray: {}", ()),
}
LONGEST_TOGETHER = 30  # characters, about what a phone's line holds
UNUSED_AT_ZERO = ("spacer", "ice", "charge_bypass")
MOST_POINTS = 8  # of a curve that are told one by one


def part_rows(forecast: Forecast, system: str) -> list[PartRow]:
    """Every part with its sizes, in the order of the paths; parts alike share a row, an asterisk marks a default."""
    build = forecast.build
    paths: dict[str, list[str]] = {}
    walks = [("charge", build.charge)]
    walks += [(f"loop {name}", loop.path) for name, loop in build.loops.items()]
    walks += [(f"duct {name}", duct.path) for name, duct in build.ducts.items()]
    for words, path in walks:
        for entry in names_on(path):
            on = paths.setdefault(part_name(entry), [])
            if words not in on:
                on.append(words)
    alike: dict[tuple[str, str], tuple[list[str], list[str]]] = {}
    for name, on in paths.items():
        spec = build.parts.get(name)
        if spec is None:
            continue
        sizes = ", ".join(_together(item) for item in _sizes(forecast, name, spec, system))
        names, places = alike.setdefault((_kind_words(spec), sizes), ([], []))
        names.append(name)
        places += [place for place in on if place not in places]
    return [PartRow(tuple(names), kind, ", ".join(places), sizes) for (kind, sizes), (names, places) in alike.items()]


def _together(item: str) -> str:
    """A short item of a list stays on its line."""
    return item.replace(" ", "\u00a0") if len(item) <= LONGEST_TOGETHER else item


def _kind_words(spec: Any) -> str:
    if isinstance(spec, ExchangerSpec) and spec.heat is not None:
        return "face that heats the air"
    return KIND_WORDS.get(type(spec).__name__, type(spec).__name__)


def _without_effect(spec: Any) -> tuple[str, ...]:
    """Keys that say nothing on this part: a face with a heat of its own holds no coolant, a belt needs no voltage."""
    if isinstance(spec, ExchangerSpec) and spec.heat is not None:
        return ("coolant_bore", "coolant_passes", "metal_mass", "coolant_volume")
    if isinstance(spec, PumpSpec) and spec.drive == "engine":
        return ("voltage",)
    return ()


def _sizes(forecast: Forecast, name: str, spec: Any, system: str) -> list[str]:
    found = []
    idle = _without_effect(spec)
    for attribute, meta in _fields(spec):
        if attribute.name in idle:
            continue
        value = getattr(spec, attribute.name)
        origin = forecast.build.givens.get(f"parts.{name}.{attribute.name}")
        star = "*" if origin is not None and origin.origin == "default" else ""
        if meta.kind == "control" and isinstance(value, Control):
            found.append(control_words(value, system) + star)
        elif meta.curve is not None and value:
            found.append(_curve_words(value, meta.curve, system) + star)
        elif attribute.name in WORDS and isinstance(value, str):
            form, plain = WORDS[attribute.name]
            if value not in plain and origin is not None:
                found.append(form.format(value) + star)
        elif attribute.name in SIZES and isinstance(value, int | float | Pressure) and not isinstance(value, bool):
            if (attribute.name == "covers" and value == 1.0) or (attribute.name in UNUSED_AT_ZERO and value == 0.0):
                continue
            words = show(value, shown_as(attribute.name, meta.kind), system)
            words = shown(Quantity(float(value), "head"), system) if attribute.name == "npsh_required" else words  # type: ignore[arg-type]
            found.append(f"{SIZES[attribute.name]} {words}{star}")
        elif attribute.name == "bleed" and value:
            found.append("bleed here")
    if isinstance(spec, SprayKeys) and spray_carried(spec) > 0.0:
        found.append(f"with it a tank of {show(spray_carried(spec), 'volume', system)}, a pump and nozzles")
    if isinstance(spec, InjectionSpec):
        found.append(f"with it a tank of {show(injection_carried(spec), 'volume', system)} and a pump")
    if isinstance(spec, CompressorSpec):
        found += [f"map {spec.map}"] if spec.map else []
        found += [f"{spec.count} alike in parallel"] if spec.count > 1 else []
    if isinstance(spec, PumpSpec) and spec.curve is None:
        found.append("curve of a generic 12 V pump*")
    return found


def _curve_words(curve: tuple[tuple[float, Any], ...], kinds: tuple[str, str], system: str, points: int = 2) -> str:
    """A curve by its points where there are no more than `points`, else by its ends."""
    if is_flat(curve):
        return f"{show(curve[0][1], kinds[1], system)} at every engine speed"
    told = []
    for x, y in curve if 2 < len(curve) <= points else (curve[0], curve[-1]):
        # a curve up to a power is a chiller's: heat
        rise = "nothing" if y == 0.0 else show(y, "heat" if kinds[1] == "power" else kinds[1], system)
        rise = shown(Quantity(y, "head"), system) if kinds[1] == "head" and y else rise
        told.append(f"{rise} at " + ("no flow" if x == 0.0 and "flow" in kinds[0] else show(x, kinds[0], system)))
    return ", ".join(told) if len(told) > 2 else "curve from " + " to ".join(told)


def control_words(control: Control, system: str) -> str:
    """When a pump or fan runs."""
    if control.mode != "above":
        return {"always": "always on", "schedule": "on by the session's phases", "off": "off"}.get(
            control.mode, control.mode
        )
    on = say(control.threshold, "temperature", system, 1)
    off = say(control.threshold - control.hysteresis, "temperature", system, 1)
    return f"on above {on} {control.of}, off below {off}"


# ------------------------------------------------------------------------------- what nobody gave


@dataclass(frozen=True)
class AssumedGroup:
    """Values that nobody gave, of parts of one kind: title, owners, rows of (whose, what, taken as), how many spreads.

    `whose` is empty where a row holds for every owner of the group.
    """

    title: str
    owners: tuple[str, ...]
    rows: tuple[tuple[str, str, str], ...]
    spreads: int


def assumed(forecast: Forecast, system: str) -> list[AssumedGroup]:
    """Values that nobody gave, one group a kind of part; equal defaults of several parts share a row."""
    groups: dict[str, dict[tuple[str, str], list[str]]] = {}
    spreads: dict[str, int] = {}
    for key, value in forecast.build.defaults():
        owner, _, name = key.rpartition(".")
        title, whose = _owner(forecast, owner)
        row = (name.replace("_", " "), given_words(forecast, key, value, system))
        rows = groups.setdefault(title, {})
        spreads[title] = spreads.get(title, 0) + (row not in rows and "+-" in row[1])
        rows.setdefault(row, []).append(whose)
    found = []
    for title, rows in groups.items():
        owners = tuple(dict.fromkeys(whose for names in rows.values() for whose in names))
        told = tuple(("" if len(names) == len(owners) else ", ".join(names), *row) for row, names in rows.items())
        found.append(AssumedGroup(title, owners, told, spreads[title]))
    return found


def _owner(forecast: Forecast, owner: str) -> tuple[str, str]:
    """Title of the group and name of whoever a default belongs to: "parts.hot_pipe" -> ("charge pipe", "hot_pipe")."""
    table, _, name = owner.partition(".")
    if table == "parts" and name in forecast.build.parts:
        return _kind_words(forecast.build.parts[name]), name
    return ("duct", name) if table == "ducts" else ("engine, car and bay", owner)


def given_words(forecast: Forecast, key: str, value: Given, system: str) -> str:
    """A value of a build's or session's key in the sheet's units with its +-; words stay as they are."""
    meta = _field_of(forecast, key)
    kind = shown_as(key.rpartition(".")[2], "" if meta is None else meta.kind)
    if isinstance(value.value, Control):
        return control_words(value.value, system)
    if meta is not None and meta.curve is not None and value.value:
        return _curve_words(value.value, meta.curve, system, points=MOST_POINTS)
    if isinstance(value.value, bool):
        return "yes" if value.value else "no"
    if (kind not in KINDS and kind not in ("heat", "air_volume", "engine_volume")) or not isinstance(
        value.value, int | float | Pressure
    ):
        return retold(value.text, system)
    words = show(value.value, kind, system)
    if value.sd is None or isinstance(value.value, Pressure):
        return words
    spread = show(value.sd, "temperature_difference" if kind == "temperature" else kind, system)
    return f"{words} +- {spread.removesuffix(' rise')}"


def _field_of(forecast: Forecast, key: str) -> Field | None:
    """The metadata of a key of the build or the session; None for one that no specification has."""
    build, session = forecast.build, forecast.session
    owner, _, name = key.rpartition(".")
    top, _, part = owner.partition(".")
    spec: Any = {"engine": build.engine, "car": build.car, "bay": build.bay, "ambient": session.ambient}.get(owner)
    if top == "parts":
        spec = build.parts.get(part)
    elif top == "ducts":
        duct = build.ducts.get(part)
        spec = None if duct is None else duct.spec
    elif top in ("phases", "limits") or owner.startswith("ambient.readings."):
        row = {"phases": session.phases, "limits": session.limits, "ambient": session.readings}[top]
        number = owner.rpartition(".")[2]
        spec = row[int(number) - 1] if number.isdigit() and 0 < int(number) <= len(row) else None
    if spec is None:
        return None
    found = (meta for attribute, meta in _fields(spec) if name in (attribute.name, attribute.metadata.get("alias")))
    return next(found, None)


def _fields(spec: Any) -> Iterable[tuple[Any, Field]]:
    for attribute in dataclasses.fields(spec):
        meta = attribute.metadata.get("coldside")
        if meta is not None:
            yield attribute, meta
