"""Readers of single values by the kind of their field: what `units.parse` does not know.

What is here: `read_value` (field metadata + value of the file -> `units.Quantity`, range checked), curves,
lists, choices, controls, coolants, fuels, files, `Refused` (several faults of one value).  What is not: which
keys a table has (`build/schema.py`) and units (`units.py`).
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from coldside import units
from coldside.errors import BadInput, nearest
from coldside.media.coolants import parse_coolant
from coldside.media.fuels import FORMS as FUEL_FORMS
from coldside.media.fuels import fuel, octane_words
from coldside.parts.engine import RPM
from coldside.parts.fields import Field
from coldside.parts.pump import Control
from coldside.parts.wiring import awg_area
from coldside.units import Pressure, Quantity, typed

LONGEST_CURVE = 200  # points
LONGEST_WORDS = 200  # characters of a name
# What no pressure level or column of a curve reaches on a car; keeps slips of a factor 1000 out.
_LEVEL_RANGE = (1e4, 1.5e6)  # Pa absolute
_FLAT_END = 400000 * RPM  # where a curve of one value ends
_COLUMN_RANGE: dict[str, tuple[float | None, float | None]] = {
    "engine_speed": (0.0, _FLAT_END),
    "share": (0.0, 2.0),
    "angle": (-0.55, 1.25),
    "volume_flow": (0.0, 50.0),
    "mass_flow": (0.0, 50.0),
    "head": (0.0, 300.0),
    "pressure_difference": (0.0, 1e6),
}


class Refused(Exception):
    """Faults of one value: (row or None, text that joins key and message, message)."""

    def __init__(self, *faults: tuple[int | None, str, str]) -> None:
        self.faults = faults


def read_value(meta: Field, value: Any, context: Mapping[str, Any]) -> Quantity:
    """One value by its field's kind, SI, within its range.

    `context` holds `folder` (where files are looked for), for a limit the `kind` of its quantity, and
    `word` ("gauge" or "abs") where only one of them makes sense for a table's pressures.
    Raises BadInput, whose message starts with the value as read, or Refused.
    """
    kind = meta.kind
    if kind in units.KINDS:
        quantity = units.parse(value, kind, word=context.get("word", ""))
        _in_range(quantity, value, meta.low, meta.high, kind)
        return quantity
    if kind == "by quantity":
        quantity_kind = context["kind"]
        return _limit_value(value, quantity_kind)
    reader = _READERS[kind]
    return reader(meta, value, context)


def _in_range(quantity: Quantity, value: Any, low: float | None, high: float | None, kind: str) -> None:
    """Refuse a value outside [low, high], SI; levels of pressure are held against what a car can have."""
    system = units.system_of(value) if isinstance(value, str) else "si"
    number = quantity.value
    if isinstance(number, Pressure):
        number, (low, high), kind = number.absolute(units.STANDARD_PRESSURE), _LEVEL_RANGE, "pressure"
    # the last bits of a unit factor must not refuse the limit itself
    slack = 1e-9 * max(abs(low or 0.0), abs(high or 0.0))
    if (low is None or number >= low - slack) and (high is None or number <= high + slack):
        return
    shown = [units.show(limit, kind, system) for limit in (low, high) if limit is not None]
    if low is not None and high is not None:
        allowed = f"from {shown[0]} to {shown[1]}"
    else:
        allowed = f"at {'least' if high is None else 'most'} {shown[0]}"
    percent = ""
    if kind == "share" and 1.0 < number <= 100.0 and "%" not in str(value):
        percent = f'; did you mean "{number:g} %"?'
    raise BadInput(f"{typed(value)} is out of range; it must be {allowed}{percent}")


def _limit_value(value: Any, kind: str) -> Quantity:
    low, high = {"temperature": (223.15, 573.15), "temperature_difference": (0.0, 300.0), "share": (0.0, 5.0)}[kind]
    quantity = units.parse(value, kind)
    if quantity.sd is not None:
        raise BadInput(f"{typed(value)} has a +-, but a limit is exact")
    _in_range(quantity, value, low, high, kind)
    return quantity


def _curve(meta: Field, value: Any, context: Mapping[str, Any]) -> Quantity:
    """An array of pairs of unit texts; every bad row is a fault of its own.  Over engine speed also one plain value."""
    first, second = meta.curve or ("", "")
    form = curve_form((first, second))
    if not isinstance(value, list) and may_be_flat(meta):
        return _flat(meta, value)
    if not isinstance(value, list):
        raise BadInput(f"{typed(value)} is no curve; write pairs {form}")
    if len(value) < 2:
        raise Refused(
            (
                None,
                " ",
                f"has {len(value) or 'no'} point{'s' if len(value) != 1 else ''}; a curve needs at least two, {form}",
            )
        )
    if len(value) > LONGEST_CURVE:
        raise Refused((None, " ", f"has {len(value)} points; at most {LONGEST_CURVE} are read"))
    rows: list[tuple[Quantity, Quantity]] = []
    faults: list[tuple[int | None, str, str]] = []
    for index, row in enumerate(value):
        try:
            rows.append(_row(row, first, second))
        except BadInput as error:
            faults.append((index, f", row {index + 1}: ", error.message))
    if not faults:
        faults = list(_shape(meta, value, [(x.value, _plain(y.value)) for x, y in rows]))
    if faults:
        raise Refused(*faults)
    shares = [y.sd / abs(_plain(y.value)) for _, y in rows if y.sd is not None and _plain(y.value)]
    notes = tuple(note for _, y in rows for note in y.notes)
    text = ", ".join(f"{x.text}: {y.text}" for x, y in rows)
    return Quantity(tuple((x.value, y.value) for x, y in rows), max(shares, default=None), text, notes)


def may_be_flat(meta: Field) -> bool:
    """Whether a curve may be one value for all of its first column: what an engine does over its speed may.

    Not a pump's, a fan's or a chiller's curve, or a trim against temperature: flat they would say what no such thing
    does.
    """
    return meta.curve is not None and meta.curve[0] == "engine_speed" and meta.shape != "falls"


def is_flat(curve: Sequence[tuple[float, Any]]) -> bool:
    """Whether a curve as read was one value for every engine speed."""
    return len(curve) == 2 and (curve[0][0], curve[1][0]) == (0.0, _FLAT_END) and curve[0][1] == curve[1][1]


def _flat(meta: Field, value: Any) -> Quantity:
    """One value at every engine speed, as a curve from standstill to beyond what turns."""
    first, second = meta.curve or ("", "")
    try:
        level = units.parse(value, second)
        _in_range(level, value, *_COLUMN_RANGE.get(second, (None, None)), second)
    except BadInput as error:
        message = f"{error.message}; for more than one engine speed write pairs {curve_form((first, second))}"
        raise BadInput(message) from None
    size = abs(_plain(level.value))
    share = level.sd / size if level.sd is not None and size else None
    return Quantity(((0.0, level.value), (_FLAT_END, level.value)), share, level.text, level.notes)


def _row(row: Any, first: str, second: str) -> tuple[Quantity, Quantity]:
    if not isinstance(row, list) or len(row) != 2:
        raise BadInput(f"{typed(row)} is no pair; write {curve_form((first, second))[1:-6]}")
    x, y = units.parse(row[0], first), units.parse(row[1], second)
    if x.sd is not None:
        raise BadInput(f"{typed(row[0])} has a +-; only the second number of a pair may have one")
    for quantity, value, kind in ((x, row[0], first), (y, row[1], second)):
        low, high = _COLUMN_RANGE.get(kind, (None, None))
        _in_range(quantity, value, low, high, kind)
    return x, y


def _plain(value: Any) -> float:
    return float(value.value) if isinstance(value, Pressure) else float(value)


def _shape(meta: Field, value: Any, rows: list[tuple[float, float]]) -> Iterator[tuple[int | None, str, str]]:
    """x rises strictly; with shape "falls" the second column never rises."""
    first, second = (_bare_words(kind) for kind in meta.curve or ("", ""))
    for index in range(1, len(rows)):
        joint = f", row {index + 1}: "
        (x0, y0), (x1, y1) = rows[index - 1], rows[index]
        if x1 <= x0:
            before, now = value[index - 1][0], value[index][0]
            yield index, joint, f"the {first} must rise from row to row, but {typed(now)} follows {typed(before)}"
        elif meta.shape == "falls" and y1 > y0:
            before, now = value[index - 1][1], value[index][1]
            yield index, joint, f"the {second} must not rise along the curve, but {typed(now)} follows {typed(before)}"
    if meta.shape == "falls" and rows[0][1] <= 0.0:
        yield 0, ", row 1: ", f"the {second} must be above zero at the curve's start"


def _bare_words(kind: str) -> str:
    words = units.KINDS[kind].words
    return re.sub(r"^an? ", "", words).replace(" of the pumped fluid", "") if kind != "share" else "value"


def _examples(kinds: tuple[str, str]) -> tuple[str, str]:
    return units.KINDS[kinds[0]].examples[0], units.KINDS[kinds[1]].examples[0]


def curve_form(kinds: tuple[str, str]) -> str:
    """How a curve of these kinds is written: '[["14 L/min", "8 m"], ...]'."""
    fan = ("0.3 m3/s", "150 Pa")  # the air of a fan, not a pump's coolant
    first, second = fan if kinds == ("volume_flow", "pressure_difference") else _examples(kinds)
    return f'[["{first}", "{second}"], ...]'


def comma_hint(numbers: Sequence[Any]) -> str:
    """What a list of whole numbers would be if its commas were decimal ones; "" for any other list."""
    if len(numbers) % 2 or not all(isinstance(item, int | float) and item == int(item) for item in numbers):
        return ""
    pairs = ", ".join(f"{int(whole)}.{int(part)}" for whole, part in zip(numbers[::2], numbers[1::2], strict=True))
    return f"; if these are decimal commas, write points: [{pairs}]"


def _numbers(meta: Field, value: Any, context: Mapping[str, Any]) -> Quantity:
    """A list of plain numbers."""
    if not isinstance(value, list) or not value:
        raise BadInput(f"{typed(value)} is no list of numbers; write [3.3, 2.1, 1.5]")
    if len(value) > LONGEST_CURVE:
        raise Refused((None, " ", f"has {len(value)} numbers; at most {LONGEST_CURVE} are read"))
    found: list[Quantity] = []
    faults: list[tuple[int | None, str, str]] = []
    for index, item in enumerate(value):
        try:
            quantity = units.parse(item, "number")
            _in_range(quantity, item, meta.low, meta.high, "number")
            found.append(quantity)
        except BadInput as error:
            faults.append((index, f", number {index + 1}: ", error.message))
    if faults:
        faults[0] = (*faults[0][:2], faults[0][2] + comma_hint(value))
        raise Refused(*faults)
    shares = [q.sd / abs(q.value) for q in found if q.sd is not None and q.value]
    text = ", ".join(q.text for q in found)
    return Quantity(tuple(q.value for q in found), max(shares, default=None), text)


def _text(meta: Field, value: Any, context: Mapping[str, Any]) -> Quantity:
    if not isinstance(value, str):
        raise BadInput(f'{typed(value)} is no text; write it in quotes, "..."')
    if not value.strip():
        raise BadInput(f"{typed(value)} is empty; write a name")
    if len(value) > LONGEST_WORDS or not value.isprintable():
        raise BadInput(
            f"{typed(value)} is longer than {LONGEST_WORDS} characters or holds signs that cannot be printed"
        )
    return Quantity(value.strip(), None, value)


def _flag(meta: Field, value: Any, context: Mapping[str, Any]) -> Quantity:
    if not isinstance(value, bool):
        raise BadInput(f"{typed(value)} is neither true nor false; write true or false without quotes")
    return Quantity(value, None, typed(value))


OTHER_CHOICES: Mapping[str, tuple[str, ...]] = {  # other words of the trade: only to answer a mistaken one
    **dict.fromkeys(("front", "grille", "bumper"), ("nose",)),
    **dict.fromkeys(("back", "boot", "trunk"), ("rear", "ambient")),
    **dict.fromkeys(("left", "right", "flank", "sill"), ("side",)),
    **dict.fromkeys(("hood", "bonnet", "top", "lid"), ("roof", "bay")),
    **dict.fromkeys(("engine bay", "underhood"), ("bay",)),
    **dict.fromkeys(("outside", "open air", "air", "cabin"), ("ambient",)),
    **dict.fromkeys(("belt", "crank", "mechanical"), ("engine",)),
    **dict.fromkeys(("iat", "charge", "plenum"), ("intake",)),
    **dict.fromkeys(("water", "water temperature", "engine coolant"), ("coolant",)),
}


def _choice(meta: Field, value: Any, context: Mapping[str, Any]) -> Quantity:
    if isinstance(value, str) and value in meta.choices:
        return Quantity(value, None, value)
    close = None
    if isinstance(value, str):
        meant = OTHER_CHOICES.get(value.casefold().replace("_", " "), ())
        close = next((word for word in meant if word in meta.choices), None) or nearest(value, meta.choices)
    hint = f'; nearest: "{close}"' if close else ""
    raise BadInput(f"{typed(value)} is not one of " + ", ".join(f'"{c}"' for c in meta.choices) + hint)


def _coolant(meta: Field, value: Any, context: Mapping[str, Any]) -> Quantity:
    if not isinstance(value, str):
        raise BadInput(f'{typed(value)} is no text; write "water" or "ethylene glycol 30 % by volume"')
    try:
        return Quantity(parse_coolant(value).name, None, value)
    except BadInput as error:
        raise Refused((None, ": ", error.message)) from None


def _fuel(meta: Field, value: Any, context: Mapping[str, Any]) -> Quantity:
    """A fuel's name, or a blend of two by volume."""
    if not isinstance(value, str):
        raise BadInput(f"{typed(value)} is no text; write {FUEL_FORMS}")
    try:
        found = fuel(value)
    except BadInput as error:
        raise Refused((None, ": ", error.message)) from None
    meant = octane_words(found)
    return Quantity(found.name, None, value, () if meant is None else (f"{typed(value)}: {meant}",))


_CONTROL = re.compile(r"above\s+(?P<level>.+?)\s+(?P<of>charge|coolant)\s*,\s*(?P<band>.+?)\s+hysteresis\s*\Z")
_CONTROL_FORMS = '"always", "schedule", "off" or "above 40 degC charge, 4 K hysteresis"'


def _control(meta: Field, value: Any, context: Mapping[str, Any]) -> Quantity:
    """How a pump or fan is commanded."""
    if not isinstance(value, str):
        raise BadInput(f"{typed(value)} is no control; write {_CONTROL_FORMS}")
    words = value.strip()
    if words in ("always", "schedule", "off"):
        return Quantity(Control(words), None, value)
    found = _CONTROL.match(words)
    if not found:
        close = nearest(words, ("always", "schedule", "off"))
        hint = f'; nearest: "{close}"' if close else ""
        raise BadInput(f"{typed(value)} is no control; write {_CONTROL_FORMS} (or coolant for charge){hint}")
    level = _inside(value, found["level"], "temperature", 223.15, 473.15)
    band = _inside(value, found["band"], "temperature_difference", 0.1, 100.0)
    return Quantity(Control("above", level, band, found["of"]), None, value)


def _inside(whole: str, text: str, kind: str, low: float, high: float) -> float:
    """A quantity inside the words of a control."""
    try:
        quantity = units.parse(text, kind)
        if quantity.sd is not None:
            raise BadInput(f"{typed(text)} has a +-, but a control is set exactly")
        _in_range(quantity, text, low, high, kind)
    except BadInput as error:
        raise BadInput(f"{typed(whole)}: {error.message}") from None
    return float(quantity.value)


def _file(meta: Field, value: Any, context: Mapping[str, Any]) -> Quantity:
    """A file named beside the file that names it; the value is a path that can be opened."""
    if not isinstance(value, str) or not value.strip() or not value.isprintable():
        raise BadInput(f'{typed(value)} is no file name; write it in quotes, "map.csv"')
    path = Path(context.get("folder", "."), value)
    if path.is_file():
        return Quantity(os.path.abspath(path), None, value)
    what = "is a folder" if path.is_dir() else "does not exist"
    try:
        names = [item.name for item in path.parent.iterdir() if item.suffix == path.suffix]
    except OSError:
        names = []
    close = nearest(path.name, names)
    hint = f'; nearest: "{close}"' if close else ""
    raise BadInput(f"{typed(value)} {what}; it is looked for beside this file{hint}")


def _air(meta: Field, value: Any, context: Mapping[str, Any]) -> Quantity:
    """A table of speeds by duct or place."""
    if not isinstance(value, dict):
        raise BadInput(f'{typed(value)} is no table; write [phases.air] and below it nose = "8 m/s"')
    speeds: dict[str, float] = {}
    faults: list[tuple[int | None, str, str]] = []
    for name, item in value.items():
        try:
            quantity = units.parse(item, "speed")
            _in_range(quantity, item, 0.0, 140.0, "speed")
            speeds[name] = quantity.value
        except BadInput as error:
            faults.append((None, f".{name} = ", error.message))
    if faults:
        raise Refused(*faults)
    return Quantity(speeds, None, ", ".join(f"{name} {typed(item)}" for name, item in value.items()))


_GAUGE = re.compile(r"0{1,4}|[1-4]/0|[1-9]|[1-3][0-9]|40")
_WIRE_FORMS = '"2.5 mm2" or "14 AWG"'


def _wire(meta: Field, value: Any, context: Mapping[str, Any]) -> Quantity:
    """Cross-section of a wire: an area, or a number of the American wire gauge."""
    if isinstance(value, str) and "awg" in value.casefold():
        number = value.casefold().replace("awg", "").strip()
        if not _GAUGE.fullmatch(number):
            raise BadInput(f"{typed(value)} is no wire gauge; write {_WIRE_FORMS}")
        quantity = Quantity(awg_area(_gauge_number(number)), None, value)
    else:
        try:
            quantity = units.parse(value, "area")
        except BadInput as error:
            if str(value).strip().isdigit():
                forms = f'"{value} AWG" if it is a gauge, "2.5 mm2" if a cross-section'
                raise BadInput(f"{typed(value)} has no unit; write {forms}") from None
            raise BadInput(f"{error.message}; a wire is written {_WIRE_FORMS}") from None
    if not 1e-7 <= quantity.value <= 2e-4:
        raise BadInput(f"{typed(value)} is no wire of a car; it must be from 0.1 mm2 to 200 mm2")
    return quantity


def _gauge_number(text: str) -> int:
    """ "12" -> 12, "0" -> 0, "00" and "2/0" -> -1, and so on."""
    if text.endswith("/0"):
        return 1 - int(text[0])
    return 1 - len(text) if set(text) == {"0"} else int(text)


_READERS: dict[str, Callable[[Field, Any, Mapping[str, Any]], Quantity]] = {
    "curve": _curve,
    "numbers": _numbers,
    "text": _text,
    "flag": _flag,
    "choice": _choice,
    "coolant": _coolant,
    "fuel": _fuel,
    "control": _control,
    "file": _file,
    "air": _air,
    "wire": _wire,
}
