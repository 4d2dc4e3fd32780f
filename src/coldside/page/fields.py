"""The fields of a table of a file, as a page shows them: what stands there, what would if nothing did, what may.

Here: `FieldView`, `fields_of_table`, `slid`, `typed_value`, `in_chosen_units`, `as_in_file`.  All of it comes from the
text of the draft and the field metadata of the specifications; nothing is listed here.

A value is shown in the units chosen whatever the file has it in, and written in the units in which it was typed.  What
is shown rounded and not changed stays in the file as it was, each cell of a curve by itself.
"""

from __future__ import annotations

import dataclasses
import math
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from coldside.build.describing import allowed, default, form, shown_as
from coldside.build.document import Document
from coldside.build.model import Given
from coldside.build.schema import PART_KINDS, LoopKeys, SpecField, fields_of
from coldside.duty.model import PHASE_KEYS, AmbientSpec, LimitSpec, PhaseSpec, ReadingSpec
from coldside.duty.phases import LIMIT_KINDS, GroupKeys, SessionKeys
from coldside.errors import BadInput
from coldside.parts.airflow import DuctSpec
from coldside.parts.engine import BaySpec, CarSpec, EngineSpec
from coldside.units import KINDS, Pressure, parse, retold, show, system_of
from coldside.units.kinds import DIFFERENCE

FIXED: dict[str, type] = {"engine": EngineSpec, "car": CarSpec, "bay": BaySpec, "ambient": AmbientSpec}
WORDY = ("text", "choice", "coolant", "fuel", "control", "file")  # kinds whose value is a text, however it looks
SPAN = 3.0  # a slider reaches from a third of the value to three times it
STEPS = 120


@dataclass(frozen=True)
class Slide:
    """A slider beside a field: SI numbers; `gauge` marks a pressure over ambient."""

    low: float
    high: float
    value: float
    step: float
    said: tuple[str, ...]  # the text that each step writes, from `low` on
    unit: str  # system of units of these texts


@dataclass(frozen=True)
class FieldView:
    """One field.  `literal` is what the file says (None: nothing), `text` what its input holds, in the units chosen."""

    key: str  # dotted, of the file
    name: str  # in words
    help: str
    kind: str
    literal: str | None
    text: str
    same: str  # the value as the file has it, where that is in other units
    default: str
    allowed: str
    form: str
    choices: tuple[str, ...]
    required: bool
    slide: Slide | None
    problems: tuple[str, ...] = ()

    @property
    def ident(self) -> str:
        """Its id in the page."""
        return "f-" + self.key.replace(".", "-")


def spec_of(table: str, data: Mapping[str, Any]) -> type | None:
    """The specification behind a table such as "parts.tank"; None for a part of an unknown kind or no such table."""
    head, _, name = table.partition(".")
    if table.startswith("ambient.readings."):
        return ReadingSpec
    if not name:
        return FIXED.get(head) or (SessionKeys if head == "top" else None)
    if head == "parts":
        part = _found(data, (head, name))
        return PART_KINDS.get(str(part.get("kind", ""))) if isinstance(part, dict) else None
    return {"loops": LoopKeys, "ducts": DuctSpec, "phases": PhaseSpec, "limits": LimitSpec, "groups": GroupKeys}.get(
        head
    )


def fields_of_table(
    text: str,
    document: Document,
    table: str,
    system: str,
    problems: Sequence[Mapping[str, Any]] = (),
    givens: Mapping[str, Given] | None = None,
) -> list[FieldView]:
    """The fields of one table in the order of its specification, those of a phase only as far as its kind has them.

    `document` is `text` as read.  `problems` as of `solving`: a key's are shown at its field; `givens` the values as
    the build read them.
    """
    spec = spec_of(table, document.data)
    if spec is None:
        return []
    names = None
    key = _key(table)
    data = _found(document.data, key)
    if spec is PhaseSpec:
        kind = data.get("kind") if isinstance(data, dict) else None
        used = (*PHASE_KEYS.get(str(kind), ()), "name", "pumps", "fans", "group", "air")
        names = {item.name for item in fields_of(PhaseSpec) if item.name in used}
    made = []
    for item in fields_of(spec):
        if names is not None and item.name not in names:
            continue
        dotted = item.key if table == "top" else f"{table}.{item.key}"
        made.append(_view(item, dotted, text, document, key, system, problems, givens or {}))
    return made


def _view(
    item: SpecField,
    dotted: str,
    whole: str,
    document: Document,
    table: tuple[str | int, ...],
    system: str,
    problems: Sequence[Mapping[str, Any]],
    givens: Mapping[str, Given],
) -> FieldView:
    meta = item.meta
    span = document.spans.get((*table, item.key))
    literal = None if span is None else whole[span[0] : span[1]]
    value = _found(document.data, (*table, item.key)) if span is not None else None
    text = "" if literal is None else (value if isinstance(value, str) else literal)
    given = givens.get(dotted)
    same, told = "", in_chosen_units(item, value, document.data, dotted.rpartition(".")[0] or "top", system)
    if literal is not None and told:
        same, text = (value if isinstance(value, str) else ""), told
    mine = tuple(str(one["message"]) for one in problems if str(one.get("key", "")) == _told_key(dotted))
    return FieldView(
        dotted,
        item.key.replace("_", " "),
        meta.help,
        meta.kind,
        literal,
        text,
        same,
        default(item, system),
        allowed(item, system),
        form(item),
        meta.choices,
        item.required,
        _slide(item, given.value if given is not None else item.default, system),
        mine,
    )


def _told_key(dotted: str) -> str:
    """A key as messages write it: items of lists counted from 1."""
    return ".".join(str(part + 1) if isinstance(part, int) else part for part in _key(dotted))


def _key(table: str) -> tuple[str | int, ...]:
    if table == "top":
        return ()
    return tuple(int(part) if part.isascii() and part.isdigit() else part for part in table.split("."))


def _found(data: Any, key: tuple[str | int, ...]) -> Any:
    for part in key:
        try:
            data = data[part]
        except (KeyError, IndexError, TypeError):
            return None
    return data


def kind_in(item: SpecField, data: Mapping[str, Any], table: str) -> str:
    """The kind of one value of a field: a limit's is that of what it limits, a curve's that of its second column."""
    if item.meta.kind == "curve" and item.meta.curve is not None:
        return item.meta.curve[1]
    if item.meta.kind != "by quantity":
        return item.meta.kind
    return LIMIT_KINDS.get(str(_found(data, (*_key(table), "quantity"))), "temperature")


def in_chosen_units(item: SpecField, value: Any, data: Mapping[str, Any], table: str, system: str) -> str:
    """What an input holds for a value that the file has in other units: a text, or a curve as TOML; else ""."""
    if isinstance(value, str):
        if item.meta.kind == "control":
            return retold(value, system) if retold(value, system) != value else ""
        return in_units(value, kind_in(item, data, table), system, item.key)
    if item.meta.curve is None or not isinstance(value, list):
        return ""
    rows = _cells(value, item.meta.curve, system)
    return "[" + ", ".join(_literal(row) for row in rows) + "]" if rows is not None and rows != value else ""


def _cells(rows: list[Any], kinds: tuple[str, str], system: str) -> list[list[Any]] | None:
    """The rows of a curve in the units chosen; None where it is no list of pairs."""
    if not all(isinstance(row, list) and len(row) == 2 for row in rows):
        return None
    return [
        [
            (in_units(cell, kind, system) or cell) if isinstance(cell, str) else cell
            for cell, kind in zip(row, kinds, strict=True)
        ]
        for row in rows
    ]


def _literal(row: Sequence[Any]) -> str:
    return "[" + ", ".join(f'"{cell}"' if isinstance(cell, str) else str(cell) for cell in row) + "]"


def in_units(text: str, kind: str, system: str, key: str = "") -> str:
    """A text of the file in the units chosen, its spread too; "" where it is in them, cannot be read or reads alike."""
    if kind not in KINDS or system_of(text) == system:
        return ""
    try:
        read = parse(text, kind)
    except BadInput:
        return ""
    told = {one: show(read.value, shown_as(key, kind), one) for one in ("si", "us")}
    if told["si"] == told["us"]:
        return ""
    said, spread = told[system], ""
    if kind == "boost" and "gauge" not in text.casefold():  # the trade's word goes without saying
        said = said.removesuffix(" gauge")
    if read.sd is not None:
        difference = DIFFERENCE.get(kind, kind)
        spread = f" +- {show(read.sd, shown_as(key, difference), system).removesuffix(' rise')}"
    try:
        parse(said + spread, kind)
    except BadInput:
        return ""  # what cannot be typed back stays as the file has it
    return said + spread


def as_in_file(item: SpecField, value: Any, typed: Any, data: Mapping[str, Any], table: str, system: str) -> Any:
    """What was typed with all that is as it was shown put back as the file has it: a value, or cells of a curve."""
    if isinstance(value, str) and isinstance(typed, str):
        return value if typed == in_chosen_units(item, value, data, table, system) else typed
    if item.meta.curve is None or not isinstance(value, list) or not isinstance(typed, list):
        return typed
    shown = _cells(value, item.meta.curve, system)
    if shown is None or not all(isinstance(row, list) and len(row) == 2 for row in typed):
        return typed
    of_file: tuple[dict[Any, Any], dict[Any, Any]] = ({}, {})
    for row, before in zip(shown, value, strict=True):
        for column in (0, 1):
            of_file[column].setdefault(str(row[column]), before[column])

    def back(number: int, column: int, cell: Any) -> Any:
        if number < len(shown) and str(shown[number][column]) == str(cell):
            return value[number][column]
        return of_file[column].get(str(cell), cell)

    return [[back(number, column, row[column]) for column in (0, 1)] for number, row in enumerate(typed)]


def _slide(item: SpecField, value: Any, system: str) -> Slide | None:
    """A slider around a number's value, within what is allowed; none for what is no plain positive quantity."""
    meta = item.meta
    number = value.value if isinstance(value, Pressure) else value
    if isinstance(number, bool) or not isinstance(number, int | float) or not math.isfinite(number) or number <= 0.0:
        return None
    if meta.kind not in KINDS or meta.kind in ("temperature", "count"):
        return None
    low, high = number / SPAN, number * SPAN
    if not isinstance(value, Pressure):
        low = max(low, meta.low if meta.low is not None else low)
        high = min(high, meta.high if meta.high is not None else high)
    if high <= low:
        return None
    step = (high - low) / STEPS
    said = tuple(slid(item, value, low + k * step, system) for k in range(STEPS + 1))
    return Slide(low, high, number, step, said, system)


def slid(item: SpecField, before: Any, value: float, system: str) -> str:
    """The text that a slider writes for an SI number, in the units chosen; a pressure keeps its gauge or abs."""
    if isinstance(before, Pressure):
        return show(dataclasses.replace(before, value=value), item.meta.kind, system)
    return show(value, shown_as(item.key, item.meta.kind), system)


def typed_value(kind: str, text: str) -> Any:
    """What a person typed into a field as a value of the file: TOML where it is TOML, else a text; None for nothing."""
    text = text.strip()
    if not text:
        return None
    if kind in WORDY and not text.startswith("["):
        return text.strip('"') if len(text) > 1 and text[0] == text[-1] == '"' else text
    try:
        read = tomllib.loads(f"value = {text}")
    except (ValueError, RecursionError):
        return text
    value = read.get("value")
    return value if len(read) == 1 and isinstance(value, bool | int | float | str | list) else text
