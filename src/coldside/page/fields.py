"""The fields of a table of a file, as a page shows them: what stands there, what would if nothing did, what may.

Here: `FieldView`, `fields_of_table`, `slid`, `typed_value`.  All of it comes from the text of the draft and the field
metadata of the specifications; nothing is listed here.
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
from coldside.sheet.tables import say
from coldside.units import KINDS, Pressure, parse, show, system_of

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
    """One field.  `literal` is what the file says (None: nothing), `text` the same without quotes for an input."""

    key: str  # dotted, of the file
    name: str  # in words
    help: str
    kind: str
    literal: str | None
    text: str
    same: str  # the value in the units chosen, where the file says it in others
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
    same = ""
    if literal is not None and isinstance(value, str) and system_of(value) not in ("", system):
        same = in_units(value, kind_in(item, document.data, dotted.rpartition(".")[0] or "top"), system, item.key)
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


def in_units(text: str, kind: str, system: str, key: str = "") -> str:
    """A text of the file in the units chosen; "" where it cannot be read or reads alike in both."""
    if kind not in KINDS:
        return ""
    try:
        value = parse(text, kind).value
    except BadInput:
        return ""
    if kind == "head":
        return say(value, kind, system, 1)
    told = {one: show(value, shown_as(key, kind), one) for one in ("si", "us")}
    return told[system] if told["si"] != told["us"] else ""


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
