"""Uncertain inputs and their draws: from "+- one standard deviation" to builds and sessions with other numbers.

What is here: `uncertain_inputs` (every key of a build and a session that has a standard deviation),
`scores` (quasi-random standard normal numbers), `values_of` and `drawn` (a build and a session with the
values of one draw).  What is not: running them (`bands.py`) and naming what matters (`sensitivity.py`).

Rules of drawing (design, "Units"): a positive quantity is log-normal, its median the value itself and its
standard deviation the one given; a share is normal and clipped to what its key allows; all else (levels of
temperature and pressure) is normal and clipped likewise.  Of a curve all second columns move by one common
factor.  Parts that are alike in every key move together: they are one product that was measured once.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from coldside.build.model import Build, Given
from coldside.build.schema import LoopKeys, SpecField, fields_of
from coldside.duty.model import Session
from coldside.errors import require
from coldside.parts.engine import EngineSpec
from coldside.parts.exchanger import AirCoreSpec, ExchangerSpec, WaterCoreSpec, derived_from_sizes
from coldside.parts.jacket import COOLANT_SIDE, OIL_SIDE, jacket_of
from coldside.parts.oil_cooler import OIL_END, WATER_END, OilCoolerSpec, side_of
from coldside.units import Pressure

LEVELS = ("temperature", "pressure")  # kinds whose zero is no zero of the quantity: never log-normal
CORES = (WaterCoreSpec, AirCoreSpec, ExchangerSpec)
WIDTH = 256  # columns that are always made: a build has 30 to 150 uncertain inputs
READING = "ambient.readings."  # and its number, from 1
FIXED = ("engine", "car", "bay", "ambient")  # tables that a file has once


@dataclass(frozen=True)
class Uncertain:
    """One uncertain input.

    `keys` are the dotted keys that it moves, the first of which names it; `value` its median and `sd` one
    standard deviation, SI (of a curve 1 and a share of it: a factor on its second column); `low` and
    `high` what its key allows; `form` is "log-normal" or "normal"; `kind` of unit and `help` as of the key;
    `in_session` whether the key is the session's.
    """

    keys: tuple[str, ...]
    value: float
    sd: float
    low: float
    high: float
    form: str
    kind: str
    help: str
    in_session: bool = False

    @property
    def name(self) -> str:
        """The first of its keys."""
        return self.keys[0]

    @property
    def is_factor(self) -> bool:
        """True where the value is a factor on a curve's second column (or on a list of numbers)."""
        return self.kind in ("curve", "numbers")

    def at(self, score: np.ndarray | float) -> np.ndarray:
        """Values at standard normal `score`s: the quantile function, clipped to what the key allows."""
        z = np.asarray(score, dtype=float)
        if self.form == "log-normal":
            values = self.value * np.exp(z * log_deviation(self.value, self.sd))
        else:
            values = self.value + z * self.sd
        return np.asarray(np.clip(values, self.low, self.high))


def log_deviation(median: float, sd: float) -> float:
    """Standard deviation of the logarithm of a log-normal quantity with this median and standard deviation.

    Of a log-normal with median M and deviation s of its logarithm the variance is M^2 w (w - 1), w = exp(s^2)
    (textbook result, from memory), so w = (1 + sqrt(1 + 4 (sd/M)^2)) / 2.
    """
    w = 0.5 * (1.0 + math.sqrt(1.0 + 4.0 * (sd / median) ** 2))
    return math.sqrt(math.log(w))


# ---------------------------------------------------------------- which inputs


def uncertain_inputs(build: Build, session: Session | None = None) -> tuple[Uncertain, ...]:
    """Every key of a build (and a session) that has a standard deviation, in the order of the files.

    Keys whose value is not a number (choices, names, what is reckoned where a key is absent) have none.
    """
    found: dict[tuple, Uncertain] = {}
    for key, given in build.givens.items():
        place = _place(build, key)
        made = None if place is None else _uncertain(key, given, place, in_session=False)
        if place is None or made is None:
            continue
        spec, item = place
        # alike in every key: one product, measured once
        alike = (type(spec).__name__, repr(spec), item.name) if key.startswith("parts.") else (key,)
        twin = found.get(alike)
        found[alike] = made if twin is None else replace(twin, keys=(*twin.keys, key))
    if session is not None:
        for key, given in session.givens.items():
            place = _place_in_session(session, key)
            # phases that were taken out or put in since the file was read have none: their numbers mean others
            stale = place is None or getattr(place[0], place[1].name) != given.value
            made = None if place is None or stale else _uncertain(key, given, place, in_session=True)
            if made is not None:
                found[(key, "session")] = made
    return tuple(found.values())


def _uncertain(key: str, given: Given, place: tuple[Any, SpecField], *, in_session: bool) -> Uncertain | None:
    """The input behind a key; its median is what stands on the specification now, changed since it was read or not."""
    if not given.sd:
        return None
    spec, item = place
    value, meta = getattr(spec, item.name), item.meta
    if isinstance(value, tuple) and value:
        return Uncertain((key,), 1.0, given.sd, 0.0, math.inf, "log-normal", meta.kind, given.help, in_session)
    if isinstance(value, Pressure):
        value = value.value
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    low = -math.inf if meta.low is None else meta.low
    high = math.inf if meta.high is None else meta.high
    if meta.kind == "share":
        low, high = (max(low, 0.0), min(high, 1.0)) if 0.0 <= value <= 1.0 else (low, high)
    positive = value > 0.0 and (low >= 0.0 or meta.kind == "wire") and meta.kind not in (*LEVELS, "share")
    form = "log-normal" if positive else "normal"
    return Uncertain((key,), float(value), given.sd, low, high, form, meta.kind, given.help, in_session)


def _place(build: Build, key: str) -> tuple[Any, SpecField] | None:
    """The specification and the field that a dotted key of a build stands for."""
    table, _, name = key.rpartition(".")
    top, _, part = table.partition(".")
    spec: Any
    if table in FIXED:
        spec = getattr(build, table)
    elif top == "parts":
        spec = build.parts.get(part)
    elif top == "ducts" and part in build.ducts:
        spec = build.ducts[part].spec
    elif top == "loops" and part in build.loops:
        return build.loops[part], next(item for item in fields_of(LoopKeys) if item.key == name)
    else:
        return None
    return _field(spec, name)


def _place_in_session(session: Session, key: str) -> tuple[Any, SpecField] | None:
    """The same of a session, whose phases are counted from 1; limits are exact and have none."""
    table, _, name = key.rpartition(".")
    top, _, number = table.partition(".")
    if table == "ambient":
        return _field(session.ambient, name)
    reading = table.removeprefix(READING)
    if table.startswith(READING) and reading.isdigit() and int(reading) <= len(session.readings):
        return _field(session.readings[int(reading) - 1], name)
    if top == "phases" and number.isdigit() and int(number) <= len(session.phases):
        return _field(session.phases[int(number) - 1], name)
    return None


def _field(spec: Any, key: str) -> tuple[Any, SpecField] | None:
    if spec is None:
        return None
    item = next((item for item in _fields(spec) if item.key == key), None)
    return None if item is None else (spec, item)


def _fields(spec: Any) -> tuple[SpecField, ...]:
    kind: Any = type(spec)
    return fields_of(kind)


# ---------------------------------------------------------------- numbers


def scores(count: int, n: int, seed: int = 0) -> np.ndarray:
    """Standard normal numbers (n, count): a scrambled Sobol sequence (SciPy) through the normal quantile.

    The same `seed` gives the same numbers on every machine; row i is the same whatever `n` is, and column k
    whatever `count` is (up to `WIDTH` inputs), so that two builds can share the draws of what they share.
    """
    require("n", n, low=1, high=2**20)
    require("count", count, low=0, high=21201)  # columns that SciPy's direction numbers reach
    return _normal_points(max(count, WIDTH), math.ceil(math.log2(n)), seed)[:n, :count].copy()


@functools.lru_cache(maxsize=4)
def _normal_points(columns: int, power: int, seed: int) -> np.ndarray:
    """2^power rows of them; the same few are asked for again and again."""
    from scipy.special import ndtri
    from scipy.stats import qmc

    sequence = qmc.Sobol(columns, scramble=True, seed=np.random.default_rng(seed))
    # a scrambled point may fall on 0 itself, whose quantile is minus infinity
    return np.asarray(ndtri(np.clip(sequence.random_base2(power), 2.0**-31, 1.0 - 2.0**-31)))


def values_of(inputs: Sequence[Uncertain], score: np.ndarray) -> np.ndarray:
    """Values of the inputs, in the shape of `score` (..., inputs), standard normal numbers."""
    z = np.asarray(score, dtype=float)
    return np.stack([item.at(z[..., k]) for k, item in enumerate(inputs)], axis=-1) if inputs else np.zeros(z.shape)


# ---------------------------------------------------------------- builds and sessions


def drawn(build: Build, session: Session, inputs: Sequence[Uncertain], values: np.ndarray) -> tuple[Build, Session]:
    """The build and the session with these values of the inputs, one value an input, SI."""
    changes: dict[tuple[str, str], dict[str, Any]] = {}
    for item, value in zip(inputs, values, strict=True):
        for key in item.keys:
            table, _, _ = key.rpartition(".")
            place = _place_in_session(session, key) if item.in_session else _place(build, key)
            assert place is not None  # inputs are made from this build
            spec, where = place
            owner = ("session" if item.in_session else "build", table)
            changes.setdefault(owner, {})[where.name] = _moved(getattr(spec, where.name), item, float(value))
    of_build = {table: made for (owner, table), made in changes.items() if owner == "build"}
    of_session = {table: made for (owner, table), made in changes.items() if owner == "session"}
    return _changed_build(build, of_build), _changed_session(session, of_session)


def _moved(old: Any, item: Uncertain, value: float) -> Any:
    """What stands on the specification instead of `old`."""
    if item.is_factor:
        return tuple(_scaled(row, value) for row in old)
    return Pressure(value, old.gauge) if isinstance(old, Pressure) else value


def _scaled(row: Any, factor: float) -> Any:
    if isinstance(row, tuple):
        return (row[0], _scaled(row[1], factor))
    return Pressure(row.value * factor, row.gauge) if isinstance(row, Pressure) else row * factor


def _changed_build(build: Build, changes: dict[str, dict[str, Any]]) -> Build:
    if not changes:
        return build
    fixed = {name: replace(getattr(build, name), **changes[name]) for name in FIXED if name in changes}
    ducts = {
        name: replace(duct, spec=replace(duct.spec, **changes[f"ducts.{name}"])) if f"ducts.{name}" in changes else duct
        for name, duct in build.ducts.items()
    }
    loops = {
        name: replace(loop, **changes[f"loops.{name}"]) if f"loops.{name}" in changes else loop
        for name, loop in build.loops.items()
    }
    parts = dict(build.parts)
    for name, spec in _changed_parts(build, changes):
        parts[name] = spec
    engine: EngineSpec = fixed.get("engine", build.engine)
    for side in (COOLANT_SIDE, OIL_SIDE):
        if side in parts:
            parts[side] = jacket_of(engine, side)
    return replace(build, **fixed, ducts=ducts, loops=loops, parts=parts)


def _changed_parts(build: Build, changes: dict[str, dict[str, Any]]) -> Iterator[tuple[str, Any]]:
    """Changed parts, and what follows from them: mass and volume of a core from its sizes, an oil cooler's sides."""
    for table, made in changes.items():
        top, _, name = table.partition(".")
        if top != "parts":
            continue
        spec: Any = replace(build.parts[name], **made)
        if isinstance(spec, CORES):
            typed = (key.rpartition(".") for key, given in build.givens.items() if given.origin != "default")
            follows: dict[str, Any] = derived_from_sizes(
                spec, frozenset(key for head, _, key in typed if head == table)
            )
            spec = replace(spec, **follows)
        yield name, spec
        if isinstance(spec, OilCoolerSpec):
            for side in (OIL_END, WATER_END):
                yield f"{name}.{side}", side_of(spec, name, side)


def _changed_session(session: Session, changes: dict[str, dict[str, Any]]) -> Session:
    if not changes:
        return session
    phases = tuple(
        replace(phase, **changes[f"phases.{k}"]) if f"phases.{k}" in changes else phase
        for k, phase in enumerate(session.phases, start=1)
    )
    readings = tuple(
        replace(reading, **changes[f"{READING}{k}"]) if f"{READING}{k}" in changes else reading
        for k, reading in enumerate(session.readings, start=1)
    )
    ambient = replace(session.ambient, **changes.get("ambient", {}))
    return replace(session, ambient=ambient, phases=phases, readings=readings)
