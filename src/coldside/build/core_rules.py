"""Rules between the keys of a core or exchanger: which way it is rated, what that needs, what contradicts it.

What is here: `core_faults`, for all three kinds, and `COOLANT_ONLY`.  A part is rated by one bench point, by two,
by its sizes, or by sizes and bench.  What is not: single values, and how rules are called (`build/schema.py`).
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator, Mapping
from typing import Any

from coldside.parts.exchanger import AirCoreSpec, ExchangerSpec, WaterCoreSpec
from coldside.parts.sizes import ChargeSizeKeys, CoolantSizeKeys, CoolingSizeKeys, PlateKeys, TubeKeys
from coldside.parts.spray import SprayKeys

Faults = list[tuple[str, str]]  # key of the table, or "" for the table itself, and message


def _keys(*tables: type) -> tuple[str, ...]:
    """Keys of these tables of sizes, the choice of a construction apart: it also says how coolant passes lie."""
    found = dict.fromkeys(item.name for table in tables for item in dataclasses.fields(table))
    return tuple(name for name in found if name != "construction")


@dataclasses.dataclass(frozen=True)
class _Kind:
    """What one kind of part needs: keys of its bench point and losses, its main sizes, and what sizes decide."""

    bench: tuple[str, ...]
    losses: tuple[str, ...]
    effects: tuple[str, ...]  # one of these rates the bench point
    sizes: tuple[str, ...]
    dimensions: tuple[str, ...]  # every key of sizes, fins and tubes
    films: tuple[str, ...]  # keys that a geometry answers itself
    second: tuple[str, ...]  # flows of a second bench point
    held: tuple[str, ...]  # keys that sizes give where they are absent


_KINDS: dict[type, _Kind] = {
    WaterCoreSpec: _Kind(
        ("bench_charge_flow", "bench_coolant_flow", "bench_charge_in", "bench_coolant_in"),
        ("bench_charge_loss", "bench_coolant_loss"),
        ("bench_effectiveness",),
        ("charge_length", "coolant_length", "stack_height", "charge_bore"),
        _keys(ChargeSizeKeys, CoolantSizeKeys),
        ("charge_film_share", "charge_film_exponent", "coolant_film_exponent"),
        ("bench2_charge_flow", "bench2_coolant_flow"),
        ("metal_mass", "coolant_volume"),
    ),
    AirCoreSpec: _Kind(
        ("bench_charge_flow", "bench_cooling_flow", "bench_charge_in", "bench_cooling_in"),
        ("bench_charge_loss", "bench_cooling_loss"),
        ("bench_effectiveness",),
        ("charge_length", "cooling_length", "stack_height", "charge_bore"),
        _keys(ChargeSizeKeys, CoolingSizeKeys),
        ("charge_film_share", "charge_film_exponent", "cooling_film_exponent"),
        ("bench2_charge_flow", "bench2_cooling_flow"),
        ("metal_mass",),
    ),
    ExchangerSpec: _Kind(
        ("bench_coolant_flow", "bench_cooling_flow", "bench_coolant_in", "bench_cooling_in"),
        ("bench_coolant_loss", "bench_cooling_loss"),
        ("bench_heat", "bench_effectiveness"),
        ("coolant_length", "cooling_length", "stack_height"),
        _keys(PlateKeys, CoolantSizeKeys, CoolingSizeKeys, TubeKeys),
        ("cooling_film_share", "coolant_film_exponent", "cooling_film_exponent"),
        ("bench2_coolant_flow", "bench2_cooling_flow"),
        (),
    ),
}
_PLATES = tuple(
    name
    for name in _keys(PlateKeys, CoolantSizeKeys, CoolingSizeKeys)
    if "_fin" in name or name in ("plate", "end_bar")
)
_TUBES = _keys(TubeKeys)
_EXCHANGER = _KINDS[ExchangerSpec]
_SPRAY = tuple(item.name for item in dataclasses.fields(SprayKeys))
# keys of an exchanger that a face with `heat` alone has no use for
COOLANT_ONLY = (
    "bench_coolant_flow",
    "bench_coolant_in",
    "bench_cooling_in",
    "bench_coolant_loss",
    "bench_heat",
    "bench_effectiveness",
    "bench_coolant",
    *_EXCHANGER.second,
    "bench2_heat",
    "bench2_effectiveness",
    "bench2_coolant_loss",
    "coolant_passes",
    "maldistribution",
    "construction",
    *_EXCHANGER.films,
    "coolant_loss_exponent",
    "coolant_volume",
    *_SPRAY,
    *_EXCHANGER.dimensions,
)
# and others that it has no use for: no metal of it is followed, and no coolant
_UNUSED = ("height", "bleed", "metal_mass", "pickup", "surroundings")


def core_faults(
    spec: type, keys: set[str], values: Mapping[str, Any], missing: Callable[[str], str]
) -> tuple[Faults, frozenset[str]]:
    """Faults of one core's or exchanger's table, and its keys that are not used.

    `keys` present in the table, `values` those that could be read; `missing` says of a key what to write.
    """
    if "heat" in keys and spec is ExchangerSpec:
        return _face_alone(keys, missing)
    kind = _KINDS[spec]
    hot = "bench_coolant_in" if spec is ExchangerSpec else "bench_charge_in"
    cold = "bench_coolant_in" if spec is WaterCoreSpec else "bench_cooling_in"
    sized = any(name in keys for name in kind.sizes)
    faults = list(_sized(kind, keys, missing) if sized else _measured(spec, kind, keys, missing))
    faults += _effects(kind, keys, bool(set(kind.bench) & keys) or not sized)
    faults += _second_point(kind, keys)
    faults += _without_effect(spec, kind, keys, values, sized)
    if "spray" not in keys:
        faults += [(name, "means nothing without spray, its water flow") for name in _SPRAY if name in keys]
    if hot in values and cold in values and values[hot] <= values[cold]:
        faults.append((hot, f"must be hotter than {cold}"))
    return faults, _idle(spec, kind, keys, values, sized)


def _face_alone(keys: set[str], missing: Callable[[str], str]) -> tuple[Faults, frozenset[str]]:
    faults: Faults = []
    beside = [name for name in COOLANT_ONLY if name in keys]
    if beside:
        message = f"makes it a face in a duct alone, without a coolant side; take it out, or {', '.join(beside)}"
        faults.append(("heat", message))
    faults += [
        (name, "means nothing of a face in a duct alone (heat); take it out") for name in _UNUSED if name in keys
    ]
    needed = ("bench_cooling_flow", "bench_cooling_loss")
    faults += [("", f"{name} is missing: {missing(name)}") for name in needed if name not in keys]
    return faults, frozenset((*COOLANT_ONLY, *_UNUSED))


def _measured(spec: type, kind: _Kind, keys: set[str], missing: Callable[[str], str]) -> Iterator[tuple[str, str]]:
    """A part without sizes: its bench point must be whole."""
    if spec is ExchangerSpec:
        yield from (
            ("", f"{name} is missing: {missing(name)}")
            for name in ("bench_cooling_flow", "bench_cooling_loss")
            if name not in keys
        )
        coolant = ("bench_coolant_flow", "bench_coolant_in", "bench_cooling_in", "bench_coolant_loss")
        absent = [name for name in coolant if name not in keys]
        if absent:
            message = f"{', '.join(absent)} {'is' if len(absent) == 1 else 'are'} missing: needed for its bench point"
            yield "", f'{message} (or "heat" for a face in a duct alone)'
    else:
        needed = (*kind.bench, *kind.effects, *kind.losses, *kind.held)
        order = [item.name for item in dataclasses.fields(spec)]
        for name in sorted(needed, key=order.index):
            if name not in keys:
                yield "", f"{name} is missing: {missing(name)}"
    sizes = f"{', '.join(kind.sizes[:-1])} and {kind.sizes[-1]}"
    for name in kind.dimensions:
        if name in keys:
            yield name, f"means nothing without the sizes of the core: give {sizes} as well"


def _sized(kind: _Kind, keys: set[str], missing: Callable[[str], str]) -> Iterator[tuple[str, str]]:
    """A part with sizes: all of them, and its bench point whole or absent."""
    for name in kind.sizes:
        if name not in keys:
            yield "", f"{name} is missing: {missing(name)}; it belongs to the sizes of the core"
    for name in (*kind.films, *(f"{side}_loss_exponent" for side in ("charge", "coolant", "cooling"))):
        if name in keys:
            yield name, "follows from its sizes and fins; take it out, or the sizes"
    bench = [name for name in (*kind.bench, *kind.effects, *kind.losses, *kind.second) if name in keys]
    absent = [name for name in kind.bench if name not in keys]
    if bench and absent:
        message = f"{', '.join(absent)} {'is' if len(absent) == 1 else 'are'} missing: a bench point beside the sizes"
        yield "", f"{message} must be whole (or take {', '.join(bench)} out)"


def _effects(kind: _Kind, keys: set[str], has_bench: bool) -> Iterator[tuple[str, str]]:
    """Exactly one figure rates a bench point, and at most one the second."""
    for prefix, words in (("", "the bench point"), ("2", "the second bench point")):
        names = [name.replace("bench_", f"bench{prefix}_") for name in kind.effects]
        rated = [name for name in names if name in keys]
        if len(rated) == 2:
            yield names[1], f"is given beside {names[0]}; keep one of them"
        elif not rated and not prefix and has_bench and len(names) == 2:
            yield "", f"{' or '.join(names)} is missing: one of them rates {words}"
        elif not rated and not prefix and has_bench and set(kind.sizes) & keys:
            yield "", f"{names[0]} is missing: it rates {words}"


def _second_point(kind: _Kind, keys: set[str]) -> Iterator[tuple[str, str]]:
    effects = tuple(name.replace("bench_", "bench2_") for name in kind.effects)
    losses = tuple(name.replace("bench_", "bench2_") for name in kind.losses)
    found = [name for name in (*kind.second, *effects, *losses) if name in keys]
    if not found:
        return
    flows = [name for name in kind.second if name in keys]
    if not flows:
        yield found[0], f"says nothing without a flow of its own: give {' or '.join(kind.second)}"
    elif found == flows:
        yield found[0], f"says nothing alone: give {', '.join((*effects, *losses))}, whichever was measured there"
    for first in (*kind.bench, *kind.losses):
        other = first.replace("bench_", "bench2_")
        if other in keys and first not in keys:
            yield other, f"needs {first}: a second bench point stands beside a first"
    for loss in losses:
        flow = loss.replace("_loss", "_flow")
        exponent = loss.removeprefix("bench2_") + "_exponent"
        if loss in keys and flow not in keys:
            yield loss, f"needs {flow}: it tells how the loss grows with flow"
        if loss in keys and exponent in keys:
            yield exponent, f"is given beside {loss}, which tells it; keep one of them"


def _without_effect(
    spec: type, kind: _Kind, keys: set[str], values: Mapping[str, Any], sized: bool
) -> Iterator[tuple[str, str]]:
    """Keys that could be meant to do something and would do nothing."""
    if sized and not set(kind.bench) & keys and "bench_coolant" in keys:
        yield "bench_coolant", "says nothing without a bench point"
    if sized and "bench_charge_loss" not in keys and "bench_charge_pressure" in keys:
        yield "bench_charge_pressure", "says nothing without bench_charge_loss"
    for side in ("charge", "cooling"):
        if values.get(f"{side}_fin") == "plain" and f"{side}_fin_strip" in keys:
            yield f"{side}_fin_strip", "a plain fin has no strips; take it out"
    if spec is not ExchangerSpec:
        return
    plates = values.get("construction") == "bar and plate"
    if not sized and "construction" in keys and values.get("coolant_passes", 1) == 1:
        yield "construction", "says nothing of a part of one pass without its sizes"
    if sized:
        words = "flat tubes" if plates else "plates"
        own = "bar and plate" if plates else "tube and fin"
        for name in _TUBES if plates else _PLATES:
            if name in keys:
                yield name, f'is of {words}, but construction is "{own}"'


def _idle(spec: type, kind: _Kind, keys: set[str], values: Mapping[str, Any], sized: bool) -> frozenset[str]:
    """Keys that this table does not use, so that their defaults are not listed."""
    measured = bool(set(kind.bench) & keys) or not sized
    first = (*kind.bench, *kind.losses, *kind.effects)
    maybe = (*first, *(name.replace("bench_", "bench2_") for name in first), *kind.sizes)
    idle = {name for name in maybe if name not in keys} | _told_by_losses(keys)
    if "spray" not in keys:
        idle |= set(_SPRAY) - {"spray"}
    if not measured:
        idle |= {"bench_coolant", "bench_charge_pressure"}
    if not sized:
        idle |= {name for name in kind.dimensions if name not in keys}
        if "maldistribution" not in keys:
            idle.add("maldistribution")
        if values.get("coolant_passes", 1) == 1:
            idle.add("construction")
        return frozenset(idle)
    idle |= {*kind.films, "charge_loss_exponent", "coolant_loss_exponent", "cooling_loss_exponent"}
    if "bench_charge_loss" not in keys:
        idle.add("bench_charge_pressure")
    for side in ("charge", "cooling"):
        if values.get(f"{side}_fin") == "plain":
            idle.add(f"{side}_fin_strip")
    if spec is ExchangerSpec:
        idle |= set(_TUBES if values.get("construction") == "bar and plate" else _PLATES)
    return frozenset(idle)


def _told_by_losses(keys: set[str]) -> set[str]:
    """Loss exponents that a second loss tells."""
    return {
        name.removeprefix("bench2_") + "_exponent"
        for name in keys
        if name.startswith("bench2_") and name.endswith("_loss")
    }
