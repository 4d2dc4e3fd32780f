"""The keys that a figure rests on, with their values and where they came from.

Here: `inputs_of`, `Input`, `KINDS`.  Which keys count is a recipe's (`origin_book.py`); which of them matter most is
known where the uncertain values have been drawn (`Asked.bands`).  Keys alike in kind and value are told once.
"""

from __future__ import annotations

import fnmatch
import functools
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from coldside.build.model import Build, Given, names_on
from coldside.explore.bands import Bands
from coldside.explore.sensitivity import by_regression
from coldside.plant.results import Forecast
from coldside.sheet.parts_list import UNUSED_AT_ZERO, given_words
from coldside.units import retold

MOST = 8  # inputs that are named, the others counted
KINDS = {
    "FilterSpec": "filter",
    "CompressorSpec": "compressor",
    "SuperchargerSpec": "blower",
    "PipeSpec": "pipe",
    "HoseSpec": "hose",
    "WaterCoreSpec": "core",
    "AirCoreSpec": "core",
    "ExchangerSpec": "exchanger",
    "OilCoolerSpec": "oil_cooler",
    "ThrottleSpec": "throttle",
    "PlenumSpec": "plenum",
    "PumpSpec": "pump",
    "ReservoirSpec": "tank",
    "ValveSpec": "valve",
    "ThermostatSpec": "thermostat",
    "ChillerSpec": "chiller",
    "InjectionSpec": "injection",
    "FanSpec": "fan",
    "SensorSpec": "sensor",
}
TABLES = {"ducts": "duct", "loops": "loop", "phases": "phases", "limits": "limits"}
ORIGINS = {"given": "given", "set": "set for this run", "default": "assumed"}
# how the text of an absent key begins that stands for no value at all
SAYS_NOTHING = re.compile(r"(no|none|not|needed|must|rated|required|given|voltage says)\b")


@dataclass(frozen=True)
class Input:
    """One input: its key (the first of those alike), whose it is, what it is, its value in words and where from.

    `origin` is "given", "set" or "default"; `share` of the figure's variance that it has in the draws, None where
    they do not name it; `alike` how many keys are told with this one; `of_session` whether the key is the session's.
    """

    key: str
    owners: tuple[str, ...]
    name: str
    help: str
    value: str
    origin: str
    share: float | None = None
    alike: int = 1
    of_session: bool = False

    @property
    def origin_words(self) -> str:
        """Where the value came from, in words."""
        return ORIGINS[self.origin]


def inputs_of(
    forecast: Forecast,
    selectors: Sequence[str],
    system: str,
    *,
    owners: frozenset[str] | None = None,
    shares: Mapping[str, float] | None = None,
) -> list[Input]:
    """All inputs that the selectors name, the weightiest first: by `shares` of key where known, then as selected.

    `owners` keeps, of parts, ducts and loops, those of these names; None keeps all.
    """
    known = shares or {}
    found: list[tuple[float, int, str, Given]] = []
    for key, value in givens_of(forecast).items():
        rank = _rank(_alias(forecast.build, key), selectors)
        weight = known.get(key)
        if weight is None and (rank is None or _nothing(key, value) or not _of(key, owners)):
            continue
        found.append((-(weight or 0.0), len(selectors) if rank is None else rank, key, value))
    found.sort(key=lambda item: item[:2])
    return _together(
        Input(
            key,
            (_owner(key),),
            key.rpartition(".")[2].replace("_", " "),
            retold(value.help, system),
            given_words(forecast, key, value, system),
            value.origin,
            known.get(key),
            of_session=key not in forecast.build.givens,
        )
        for _, _, key, value in found
    )


def givens_of(forecast: Forecast) -> dict[str, Given]:
    """Every key of build and session with where its value came from; a proposed limit has none."""
    return {**forecast.build.givens, **forecast.session.givens}


def shares_of(bands: Bands | None, figure: str) -> dict[str, float]:
    """Share of a figure's variance by key, from the draws; empty where there are none of it."""
    if bands is None or figure not in bands.outcomes:
        return {}
    return {key: one.total for one in by_regression(bands, figure).influences for key in one.keys}


def on_loop(build: Build, loop: str) -> frozenset[str]:
    """The loop itself, the parts on it, and the ducts that cool them."""
    if loop not in build.loops:
        return frozenset()
    parts = {name.partition(".")[0] for name in names_on(build.loops[loop].path)}
    ducts = {name for name, duct in build.ducts.items() if parts & set(names_on(duct.path))}
    return frozenset({loop} | parts | ducts)


def _rank(alias: str, selectors: Sequence[str]) -> int | None:
    """The place of the first selector that names it."""
    exact, patterns = _sorted(tuple(selectors))
    first = exact.get(alias)
    for place, pattern in patterns:
        if first is not None and place > first:
            break
        if pattern.match(alias):
            return place
    return first


@functools.cache
def _sorted(selectors: tuple[str, ...]) -> tuple[dict[str, int], list[tuple[int, re.Pattern[str]]]]:
    """Selectors that are names with their places, and the others as patterns, in order."""
    exact = {selector: place for place, selector in reversed(list(enumerate(selectors))) if "*" not in selector}
    patterns = [(k, re.compile(fnmatch.translate(one))) for k, one in enumerate(selectors) if "*" in one]
    return exact, patterns


def _alias(build: Build, key: str) -> str:
    """A key as selectors name it: "core:bench_effectiveness", "duct:inlet_area", else itself."""
    table, _, name = key.rpartition(".")
    top, _, owner = table.partition(".")
    if top == "parts":
        return f"{KINDS.get(type(build.parts.get(owner)).__name__, 'part')}:{name}"
    if table.startswith("ambient.readings"):
        return f"readings:{name}"
    return f"{TABLES[top]}:{name}" if top in TABLES else key


def _of(key: str, owners: frozenset[str] | None) -> bool:
    top, _, rest = key.partition(".")
    if owners is None or top not in ("parts", "ducts", "loops"):
        return True
    return rest.rpartition(".")[0] in owners


def _owner(key: str) -> str:
    """Whose a key is, in words: "left_core", "duct lid", "phase 2", "engine"."""
    table, _, _ = key.rpartition(".")
    top, _, owner = table.partition(".")
    if top == "parts":
        return owner
    if top in TABLES and owner:
        return f"{TABLES[top].removesuffix('s')} {owner}"
    return table.replace(".readings.", " reading ") or "session"


def _nothing(key: str, value: Given) -> bool:
    """Whether a key left out stands for no number at all, or for a thing that is not there."""
    if value.origin != "default":
        return False
    if value.value is None:
        return SAYS_NOTHING.match(value.text) is not None or not any(letter.isdigit() for letter in value.text)
    return value.value == 0.0 and key.rpartition(".")[2] in UNUSED_AT_ZERO


def _together(inputs: Iterable[Input]) -> list[Input]:
    """Inputs of the same name, value and origin as one, in the place of the first."""
    alike: dict[tuple[str, str, str, str], Input] = {}
    for one in inputs:
        kind = one.key.partition(".")[0]
        same = (kind, one.name, one.value, one.origin)
        if same in alike:
            first = alike[same]
            alike[same] = replace(first, owners=first.owners + one.owners, alike=first.alike + 1)
        else:
            alike[same] = one
    return list(alike.values())
