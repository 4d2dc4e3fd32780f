"""A shop's own prices and hours: read, written, and summed over the parts of a build.

Here: `load_prices`, `parse_prices`, `prices_text`, `blank_prices` (a list to fill in), `completed` (a list with the
parts that it lacks), `with_top`, `with_entry`, `with_new`, `without_entry` (changes of its text), `items` and `cost`
(one build's lines and sums), `unused` (what meets no part).  Not here: any price, which only the shop knows; what a
customer sees (`offer.py`, `proposal.py`).

The form.  Of a part's name and kind: `[prices.water.left_core]` is the price of that part in the build of that file
(water.toml) or of that name; `[prices.any.pump]` of every part of that name, or else kind, in any build.  The first
that is found counts, in this order: the build's own by part, by kind; then "any" by part, by kind.  `[extras.water.X]`
and `[extras.any.X]` are lines that are no part: coolant, brackets, a test day.

Money is `decimal.Decimal` throughout.  Every line, the labour and the tax are rounded to `rounding`, half up; sums are
of rounded lines, so that what is printed adds up.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import ROUND_HALF_UP, Decimal, InvalidOperation
from pathlib import Path
from typing import Any

from coldside.build import editing
from coldside.build.document import Document, Faults, Key, read_text, scan
from coldside.build.model import Build, names_on
from coldside.build.schema import PART_KINDS
from coldside.errors import BadInput, nearest
from coldside.judge.wording import listed
from coldside.parts.compressor import CompressorSpec
from coldside.parts.exchanger import ExchangerSpec, WaterCoreSpec
from coldside.parts.injection import InjectionSpec
from coldside.parts.lines import FilterSpec, PlenumSpec, ThrottleSpec
from coldside.parts.sensor import SensorSpec
from coldside.parts.spray import SprayKeys, spray_carried
from coldside.parts.supercharger import SuperchargerSpec
from coldside.plant.results import Forecast
from coldside.sheet.parts_list import part_rows
from coldside.sheet.writing import write_whole
from coldside.units import typed

SCHEMA = "coldside.prices/1"
ANY = "any"
TOP = ("schema", "currency", "rate", "tax", "markup", "rounding", "prices", "extras")
MONEY = ("price", "rate")
KEYS = ("price", "hours", "note", "kept")
MOST_MONEY, MOST_HOURS = Decimal(10) ** 9, Decimal(10) ** 5
LONGEST = {"currency": 12, "note": 200, "name": 80}  # characters
CENT, NOTHING = Decimal("0.01"), Decimal(0)
# kinds that stand on the car before anybody cools its charge, when they are alike in every build
STANDS = (FilterSpec, CompressorSpec, SuperchargerSpec, ThrottleSpec, PlenumSpec, SensorSpec)
_NUMBER = re.compile(r"[+-]?([0-9]+(\.[0-9]*)?|\.[0-9]+)\Z")
_CURRENCY = re.compile(r"^(?:[A-Z]{3}|[$\u20ac\u00a3\u00a5])\s*|\s*(?:[A-Z]{3}|[$\u20ac\u00a3\u00a5])$")
_ONE_GROUP = re.compile(r"[+-]?[1-9][0-9]{0,2}[.,][0-9]{3}")  # "1.200": thousands to one shop, thousandths to another
_BARE = re.compile(r"[A-Za-z0-9_-]+\Z")
_CONTROL = re.compile(r"[\x00-\x1f\x7f\ud800-\udfff]")
HEAD = """\
# Prices and hours of your own shop. Nothing in here is suggested: an empty price is told as "to be filled in",
# and a total says what it does not count. Amounts have a point for the cents and nothing between thousands.
#   price   for one of them, before tax; the customer sees it with the markup added, if you set one
#   hours   work on one of them; priced at the rate. A table without an hours line charges none.
#   kept    true: it is on the car already and stays; no part of the offer
#   note    a few words for the customer: make, finish, who supplies it
# [prices.any.pump] is for every part of that name, or else of that kind, in all builds; a table of a build's own
# ([prices.water.pump] for water.toml) goes before it. [extras...] are lines that are no part of a build.
"""


@dataclass(frozen=True)
class Price:
    """What one part or extra costs; `price` and `hours` are for one of them, None is still to be filled in."""

    price: Decimal | None = None
    hours: Decimal | None = None
    note: str = ""
    kept: bool = False


Table = Mapping[str, Mapping[str, Price]]  # build (its file's name without ending, its own name, or "any") -> name


@dataclass(frozen=True)
class Prices:
    """A price list.  `rate` for an hour, `tax` on everything, `markup` on every price before it is shown, as shares."""

    currency: str = ""
    rate: Decimal | None = None
    tax: Decimal | None = None
    markup: Decimal = NOTHING
    rounding: Decimal = CENT
    parts: Table = field(default_factory=dict)
    extras: Table = field(default_factory=dict)

    def round(self, amount: Decimal) -> Decimal:
        """An amount to the step of this list, half up."""
        return (amount / self.rounding).quantize(Decimal(1), ROUND_HALF_UP) * self.rounding

    def said(self, amount: Decimal, system: str = "si") -> str:
        """An amount as text without its currency, thousands set apart: by a comma in "us", by a space in "si"."""
        digits = max(-int(self.rounding.as_tuple().exponent), 0)
        text = f"{amount:,.{digits}f}"
        return text if system == "us" else text.replace(",", "\u00a0")

    def money(self, amount: Decimal, system: str = "si") -> str:
        """The same with its currency."""
        return f"{self.currency}\u00a0{self.said(amount, system)}".strip("\u00a0")


NO_PRICES = Prices()
PARTS, EXTRAS = "prices", "extras"
SPRAY_KIT, INJECTION_KIT = "spray_tank_pump_and_nozzles", "injection_tank_and_pump"  # extras that stand on no path


@dataclass(frozen=True)
class Place:
    """Where an entry stands: [prices.BUILD.NAME] of a part, [extras.BUILD.NAME] of a line that is none."""

    top: str
    build: str
    name: str

    @property
    def key(self) -> str:
        """As its header spells it."""
        return f"{self.top}.{_key(self.build)}.{_key(self.name)}"


# ---------------------------------------------------------------- reading


def load_prices(path: str | Path) -> Prices:
    """Read a price list.  Raises `BadInput` (all faults of the file together) with file, line and key."""
    return parse_prices(read_text(path), str(path))


def parse_prices(text: str, name: str = "prices") -> Prices:
    """The same from text; `name` stands for the file in messages."""
    document = scan(text, name)
    faults = Faults(document)
    made = _Reader(document, faults).prices()
    faults.raise_any()
    return made


class _Reader:
    """One price list in the making; faults are collected."""

    def __init__(self, document: Document, faults: Faults) -> None:
        self.data, self.faults = document.data, faults

    def prices(self) -> Prices:
        schema = self.data.get("schema")
        if schema != SCHEMA:
            found = "is missing" if schema is None else f"{typed(schema)} is not known"
            self.faults.add(("schema",), f'{found}; a price list starts with schema = "{SCHEMA}"')
        self._unknown((), self.data, TOP)
        rounding = self._number(("rounding",), self.data, (Decimal("0.0001"), Decimal(1000)))
        return Prices(
            currency=self._text(("currency",), self.data, "currency"),
            rate=self._number(("rate",), self.data, (NOTHING, MOST_MONEY)),
            tax=self._share("tax"),
            markup=self._share("markup") or NOTHING,
            rounding=CENT if rounding is None else rounding,
            parts=self._table("prices"),
            extras=self._table("extras"),
        )

    def _table(self, top: str) -> Table:
        found: dict[str, dict[str, Price]] = {}
        for build, names in self._tables((top,), self.data.get(top, {})):
            for name, entry in self._tables((top, build), names):
                found.setdefault(build, {})[name] = self._price((top, build, name), entry)
        return found

    def _tables(self, key: Key, table: Any) -> list[tuple[str, dict[str, Any]]]:
        if not isinstance(table, dict):
            self.faults.add(key, f"is no table; write [{'.'.join(map(str, key))}.any.pump] and its price below it")
            return []
        found = []
        for name, inner in table.items():
            if isinstance(inner, dict):
                found.append((name, inner))
            else:
                self.faults.add((*key, name), "stands where a table belongs, such as [prices.any.pump]")
        return found

    def _price(self, key: Key, entry: dict[str, Any]) -> Price:
        self._unknown(key, entry, KEYS)
        kept = entry.get("kept", False)
        if not isinstance(kept, bool):
            self.faults.add((*key, "kept"), f"{typed(kept)} is neither true nor false", joint=" = ")
            kept = False
        least = -MOST_MONEY if key[0] == "extras" else NOTHING  # an extra may be a discount
        price = self._number((*key, "price"), entry, (least, MOST_MONEY))
        hours = self._number((*key, "hours"), entry, (NOTHING, MOST_HOURS))
        if ("price" in entry) != ("hours" in entry):  # the line that is not there charges nothing
            price, hours = (price, NOTHING) if "price" in entry else (NOTHING, hours)
        return Price(price, hours, self._text((*key, "note"), entry, "note"), kept)

    def _unknown(self, key: Key, table: dict[str, Any], allowed: Sequence[str]) -> None:
        for name in table:
            if name not in allowed:
                close = nearest(name, allowed)
                hint = f'; nearest: "{close}"' if close else f"; known are {', '.join(allowed)}"
                self.faults.add((*key, name), f"is not known here{hint}")

    def _text(self, key: Key, table: dict[str, Any], name: str) -> str:
        value = table.get(name, "")
        if not isinstance(value, str):
            self.faults.add(key, f"{typed(value)} is no text; put it in quotes", joint=" = ")
            return ""
        clean = _CONTROL.sub(" ", value).strip()
        if len(clean) > LONGEST[name]:
            self.faults.add(key, f"is {len(clean)} characters long; {LONGEST[name]} at most")
        return clean

    def _number(self, key: Key, table: dict[str, Any], span: tuple[Decimal, Decimal]) -> Decimal | None:
        """A number; None where it is absent or an empty text."""
        value = table.get(str(key[-1]))
        if value is None or (isinstance(value, str) and not value.strip()):
            return None
        try:
            number = decimal_of(value, money=key[-1] in MONEY)
        except BadInput as error:
            self.faults.add(key, error.message, joint=" = ")
            return None
        if not span[0] <= number <= span[1]:
            self.faults.add(key, f"{typed(value)} is out of range; from {span[0]:f} to {span[1]:f}", joint=" = ")
            return None
        return number

    def _share(self, name: str) -> Decimal | None:
        """A percentage as a share."""
        value = self.data.get(name)
        if value is None or (isinstance(value, str) and not value.strip()):
            return None
        text = value.strip() if isinstance(value, str) else ""
        if not text.endswith("%"):
            self.faults.add((name,), f'{typed(value)} has no unit; write {name} = "8.25 %"', joint=" = ")
            return None
        try:
            share = decimal_of(text.removesuffix("%").strip()) / 100
        except BadInput as error:
            self.faults.add((name,), error.message, joint=" = ")
            return None
        if not 0 <= share <= 10:
            self.faults.add((name,), f"{typed(value)} is out of range; from 0 to 1000 %", joint=" = ")
            return None
        return share


def decimal_of(value: Any, *, money: bool = False) -> Decimal:
    """A number as it was typed, exactly: "1450", "1 450", "1,450.50", "1.450,50", "12,5"; of `money` also "$1,450".

    Raises `BadInput` for anything else, and for what may be read in two ways.
    """
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise BadInput(f"{typed(value)} is no number")
    text = re.sub(r"(?<=\d)[ \u00a0\u202f](?=\d)", "", value.strip()) if isinstance(value, str) else repr(value)
    if isinstance(value, str):
        text = _CURRENCY.sub("", text) if money else text
        text = _with_a_point(value, text, money)
    try:
        if isinstance(value, str) and not _NUMBER.match(text):
            raise InvalidOperation
        number = Decimal(text)
    except InvalidOperation:
        raise BadInput(f"{typed(value)} is no number; write it bare, such as 1450 or 1450.00") from None
    if not number.is_finite() or len(number.as_tuple().digits) > 18:
        raise BadInput(f"{typed(value)} is no amount of money or time")
    return number


def _with_a_point(value: str, text: str, money: bool) -> str:
    """A typed number with a point before the cents and nothing between thousands."""
    for apart, mark in ((",", "."), (".", ",")):  # thousands set apart by the one, cents behind the other
        in_groups = rf"[+-]?[0-9]{{1,3}}(?:\{apart}[0-9]{{3}})+"
        if re.fullmatch(rf"{in_groups}\{mark}[0-9]*", text) or re.fullmatch(rf"{in_groups}\{apart}[0-9]{{3}}", text):
            return text.replace(apart, "").replace(mark, ".")
    if _ONE_GROUP.fullmatch(text):
        whole, part = text.replace(",", ".").split(".")
        if money and "," in text:
            return whole + part  # no currency has thousandths behind a comma
        if money or "," in text:
            raise BadInput(f"{typed(value)} can be read in two ways; write {whole}{part} or {whole}.{part[:2]}")
    if re.fullmatch(r"[+-]?[0-9]+,[0-9]{1,2}", text):
        return text.replace(",", ".")
    if "," in text:
        raise BadInput(f"{typed(value)} has a comma; a point goes before the cents and nothing between thousands")
    return text


# ---------------------------------------------------------------- writing


def prices_text(prices: Prices) -> str:
    """A price list as text that `parse_prices` reads back to the same."""

    def percent(share: Decimal | None) -> str:
        return '""' if share is None else f'"{_trimmed(share * 100)} %"'

    lines = [
        HEAD + f'schema = "{SCHEMA}"',
        f"currency = {_quoted(prices.currency)}",
        f"rate = {_number(prices.rate)}  # for an hour of work",
        f"tax = {percent(prices.tax)}  # on everything, in percent; empty: prices are told as before tax",
        f"markup = {percent(prices.markup)}  # added to every price before it is shown; the customer sees the sum only",
        f"rounding = {_number(prices.rounding)}  # every line, the labour and the tax, half up",
    ]
    for top, table in ((PARTS, prices.parts), (EXTRAS, prices.extras)):
        for build, names in table.items():
            for name, entry in names.items():
                lines += ["", *_written(Place(top, build, name), entry)]
    return "\n".join(lines) + "\n"


def _written(place: Place, entry: Price) -> list[str]:
    """The lines of one table."""
    lines = [f"[{place.key}]"]
    if entry.kept:
        lines.append("kept = true")
    if not entry.kept or entry.price is not None or entry.hours is not None:
        lines += [f"price = {_number(entry.price)}", f"hours = {_number(entry.hours)}"]
    if entry.note:
        lines.append(f"note = {_quoted(entry.note)}")
    return lines


def _number(value: Decimal | None) -> str:
    return '""' if value is None else f'"{_plainly(value)}"'


def _plainly(value: Decimal) -> str:
    """A number that reads in one way only: 1.200 is written 1.2000."""
    text = f"{value:f}"
    return text + "0" if _ONE_GROUP.fullmatch(text) else text


def _as_number(clean: str, field: str) -> str:
    """What was typed as a plain number, or as it is where it is none: whoever reads it then says so."""
    try:
        return _plainly(decimal_of(clean, money=field in MONEY)) if clean else ""
    except BadInput:
        return clean


def _trimmed(value: Decimal) -> str:
    text = f"{value:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _quoted(text: str) -> str:
    return json.dumps(_CONTROL.sub(" ", text), ensure_ascii=False)


def _key(name: str) -> str:
    return name if _BARE.match(name) else _quoted(name)


def blank_prices(builds: Sequence[Build]) -> Prices:
    """A list to fill in: every part of the builds once, and the extras that usually come with them, all empty.

    What is the same in all of them stands under "any"; of that, what stands on a car before anybody cools its charge
    (filter, compressor, throttle, plenum, sensors, faces that only heat the air) is marked as kept, for the shop to
    change.
    """
    if not builds:
        raise BadInput("no build is given to list the parts of", key="builds")
    parts: dict[str, dict[str, Price]] = {}
    extras: dict[str, dict[str, Price]] = {ANY: {"brackets_and_small_parts": Price()}}
    for build in builds:
        place = own_place(build, builds)
        for name, spec in build.parts.items():
            if all(name in other.parts and other.parts[name] == spec for other in builds):
                parts.setdefault(ANY, {})[name] = Price(kept=_stands(spec))
            else:
                parts.setdefault(place, {})[name] = Price()
        for kit in kits(build):
            extras.setdefault(place, {})[kit] = Price()
        if _wet(build):
            extras.setdefault(place, {})["coolant_filling_and_bleeding"] = Price()
    extras[ANY] |= {"ducts_and_sealing": Price(), "wiring_fuses_and_relays": Price(), "pressure_and_road_test": Price()}
    ordered = {place: parts[place] for place in sorted(parts, key=lambda place: place != ANY)}
    return Prices(parts=ordered, extras=extras)


def write_blank_prices(builds: Sequence[Build], path: str | Path) -> Path:
    """Write such a list to a new file.  Returns the path; `BadInput` where a file is: what is filled in stays."""
    target = Path(path)
    if target.exists():
        raise BadInput("is there already and may be filled in; name a new file", where=str(target))
    return write_whole(target, prices_text(blank_prices(builds)).encode())


def own_place(build: Build, builds: Sequence[Build]) -> str:
    """What a build's own tables are called: its file's name, or its own where two files have one name or none."""
    stem = Path(build.file).stem
    alike = [other for other in builds if Path(other.file).stem == stem]
    return stem if stem and stem != ANY and len(alike) == 1 else build.name


def _stands(spec: Any) -> bool:
    return isinstance(spec, STANDS) or (isinstance(spec, ExchangerSpec) and spec.heat is not None)


def kits(build: Build) -> tuple[str, ...]:
    """Extras that a build cannot do without though no part of it says so: what feeds its sprays and injections."""
    specs = build.parts.values()
    sprayed = any(isinstance(spec, SprayKeys) and spray_carried(spec) > 0.0 for spec in specs)
    injected = any(isinstance(spec, InjectionSpec) for spec in specs)
    return (*([SPRAY_KIT] if sprayed else []), *([INJECTION_KIT] if injected else []))


def _wet(build: Build) -> bool:
    """Whether a coolant loop cools the charge."""
    return any(isinstance(build.parts.get(name), WaterCoreSpec) for name in names_on(build.charge))


# ---------------------------------------------------------------- changing the text


def completed(text: str, builds: Sequence[Build], name: str = "prices") -> tuple[str, tuple[str, ...]]:
    """A list's text with every part of the builds that it does not price, as `blank_prices` has them, and their names.

    A list that names no extra for these builds gets the usual ones too.  BadInput where the text is no price list.
    """
    prices, blank = parse_prices(text, name), blank_prices(builds)
    lacking: dict[str, set[str]] = {ANY: set()}
    for build in builds:
        own = {part for part in build.parts if place_of(build, part, prices) is None}
        lacking.setdefault(own_place(build, builds), set()).update(own)
        lacking[ANY] |= own
    lines: list[str] = []
    for named, entries in blank.parts.items():
        for part, entry in entries.items():
            if part in lacking[named]:
                lines += ["", *_written(Place(PARTS, named, part), entry)]
    for named, entries in blank.extras.items():
        for extra, entry in entries.items():
            if not prices.extras or extra in _kits_lacking(builds, prices).get(named, ()):
                lines += ["", *_written(Place(EXTRAS, named, extra), entry)]
                lacking[ANY] |= {extra} if prices.extras else set()
    if not lines:
        return text, ()
    newline = "\r\n" if "\r\n" in text else "\n"
    end = "" if text.endswith("\n") else newline
    return text + end + newline.join(lines) + newline, tuple(sorted(lacking[ANY]))


def _kits_lacking(builds: Sequence[Build], prices: Prices) -> dict[str, tuple[str, ...]]:
    """By the place of its own, the kits of each build that the list does not price."""
    return {
        own_place(build, builds): tuple(
            kit for kit in kits(build) if not any(kit in prices.extras.get(named, {}) for named in _names_of(build))
        )
        for build in builds
    }


def with_top(text: str, field: str, value: str) -> str:
    """A list's text with "currency", "rate", "tax", "markup" or "rounding" as typed; a share may lack its percent."""
    if field not in TOP[1:6]:
        raise BadInput(f'"{field}" is no field of a price list', key=field)
    typed_in = value.strip()
    if field in ("tax", "markup") and typed_in:
        typed_in = typed_in.removesuffix("%").strip() + " %"
    elif field == "rate":
        typed_in = _as_number(typed_in, field)
    return _checked(editing.set_value(text, field, typed_in))


def with_entry(text: str, place: Place, field: str, value: str | bool) -> str:
    """A list's text with one field ("price", "hours", "note", "kept") of an entry as typed.

    BadInput for a value that cannot be, or an entry that is not there.
    """
    if field not in KEYS or isinstance(value, bool) != (field == "kept"):
        raise BadInput(f'"{field}" is no field of an entry', key=place.key)
    entry = _entry(text, place)
    if isinstance(value, bool):
        if not value:
            text = editing.unset_value(text, f"{place.key}.kept") if "kept" in entry else text
            return _checked(text)
        return _checked(editing.set_value(text, f"{place.key}.kept", True))
    clean = _CONTROL.sub(" ", value).strip()
    if field == "note":
        if not clean:
            return editing.unset_value(text, f"{place.key}.note") if "note" in entry else text
        return _checked(editing.set_value(text, f"{place.key}.note", clean))
    for other in ("price", "hours"):  # one line alone would say that the other charges nothing
        if other not in entry and not ("price" in entry or "hours" in entry):
            text = editing.set_value(text, f"{place.key}.{other}", "")
    return _checked(editing.set_value(text, f"{place.key}.{field}", _as_number(clean, field)))


def with_new(text: str, place: Place, entry: Price = Price()) -> str:
    """A list's text with one more entry.  BadInput where there is one."""
    if not 0 < len(place.name) <= LONGEST["name"] or _CONTROL.search(place.name):
        raise BadInput(f"the name of a line is 1 to {LONGEST['name']} characters long", key=place.key)
    values: dict[str, Any] = {"kept": True} if entry.kept else {}
    values |= {
        name: "" if value is None else _plainly(value)
        for name, value in (("price", entry.price), ("hours", entry.hours))
    }
    values |= {"note": entry.note} if entry.note else {}
    return _checked(editing.add_table(text, place.key, values))


def without_entry(text: str, place: Place) -> str:
    """A list's text without an entry.  BadInput where it is not."""
    return _checked(editing.remove_table(text, place.key))


def _entry(text: str, place: Place) -> Mapping[str, Any]:
    data: Any = scan(text, "prices").data
    for name in (place.top, place.build, place.name):
        data = data.get(name) if isinstance(data, dict) else None
    if not isinstance(data, dict):
        raise BadInput("the price list has no such entry", key=place.key)
    return data


def _checked(text: str) -> str:
    """The text, once it reads as a price list."""
    parse_prices(text)
    return text


# ---------------------------------------------------------------- summing


@dataclass(frozen=True)
class Line:
    """Parts alike, or one extra, with what they cost: `each` after markup, `amount` = count x each, `hours` of all.

    None: to be filled in.  `what` is the kind in words, empty for an extra.
    """

    names: tuple[str, ...]
    what: str
    count: int
    each: Decimal | None
    amount: Decimal | None
    hours: Decimal | None
    note: str = ""


@dataclass(frozen=True)
class Item:
    """Parts alike, or one extra, with the entry that prices them and the places where it stands; none: not listed.

    `what` is the kind in words, empty for an extra.
    """

    names: tuple[str, ...]
    what: str
    entry: Price
    places: tuple[Place, ...]


@dataclass(frozen=True)
class Cost:
    """What one build costs.  Amounts are rounded and add up: `net` = `parts` + `labour`, `total` = `net` + `tax`.

    `labour` is None while there are hours but no rate, `tax` None where the list names none.  `blanks` says in words
    what the total does not count; it is whole when there are none.
    """

    lines: tuple[Line, ...]
    kept: tuple[str, ...]
    parts: Decimal
    hours: Decimal
    labour: Decimal | None
    net: Decimal
    tax: Decimal | None
    total: Decimal
    blanks: tuple[str, ...]

    @property
    def whole(self) -> bool:
        """Whether nothing is left to be filled in."""
        return not self.blanks


def cost(forecast: Forecast, prices: Prices, system: str = "si") -> Cost:
    """The parts of a forecast's build, and the extras, priced and summed; `system` only sorts parts alike together."""
    found = items(forecast, prices, system)
    kept = [name for item in found if item.entry.kept and item.what for name in item.names]
    lines = [_line(item, prices) for item in found if not item.entry.kept]
    parts = sum((line.amount for line in lines if line.amount is not None), NOTHING)
    hours = sum((line.hours for line in lines if line.hours is not None), NOTHING)
    labour = None if prices.rate is None and hours else prices.round(hours * (prices.rate or NOTHING))
    net = parts + (labour or NOTHING)
    tax = None if prices.tax is None else prices.round(net * prices.tax)
    return Cost(
        lines=tuple(lines),
        kept=tuple(kept),
        parts=parts,
        hours=hours,
        labour=labour,
        net=net,
        tax=tax,
        total=net + (tax or NOTHING),
        blanks=_blanks(lines, labour),
    )


def items(forecast: Forecast, prices: Prices, system: str = "si") -> list[Item]:
    """The parts of a forecast's build and the extras, kept ones too, each with the entry that prices it."""
    build = forecast.build
    found: list[Item] = []
    for row in part_rows(forecast, system):
        split: dict[Price, list[tuple[str, Place | None]]] = {}
        for name in row.names:
            place = place_of(build, name, prices)
            entry = Price() if place is None else prices.parts[place.build][place.name]
            split.setdefault(entry, []).append((name, place))
        for entry, pairs in split.items():
            places = dict.fromkeys(place for _, place in pairs if place is not None)
            found.append(Item(tuple(name for name, _ in pairs), row.kind, entry, tuple(places)))
    extras: dict[str, Item] = {}
    for named in _names_of(build):
        for name, entry in prices.extras.get(named, {}).items():
            extras.setdefault(name, Item((name,), "", entry, (Place(EXTRAS, named, name),)))
    for kit in kits(build):
        extras.setdefault(kit, Item((kit,), "", Price(), ()))
    return [*found, *extras.values()]


def _names_of(build: Build) -> tuple[str, ...]:
    """The names under which a build's entries may stand, the first that is found counts."""
    return (build.name, Path(build.file).stem, ANY)


def _line(item: Item, prices: Prices) -> Line:
    entry, count = item.entry, len(item.names)
    each = entry.price
    if each is not None and each > 0:
        each = each * (1 + prices.markup)
    if each is not None:
        each = prices.round(each)
    hours = None if entry.hours is None else entry.hours * count
    return Line(item.names, item.what, count, each, None if each is None else each * count, hours, entry.note)


def place_of(build: Build, name: str, prices: Prices) -> Place | None:
    """Where the entry stands that prices a part; None where the list has none."""
    kind = next((word for word, spec in PART_KINDS.items() if type(build.parts[name]) is spec), "")
    for places in ((build.name, Path(build.file).stem), (ANY,)):
        for wanted in (name, kind):
            for place in places:
                if wanted in prices.parts.get(place, {}):
                    return Place(PARTS, place, wanted)
    return None


def _blanks(lines: Sequence[Line], labour: Decimal | None) -> tuple[str, ...]:
    if lines and all(line.amount is None and line.hours is None for line in lines):
        return ("every price and all hours",)
    found = []
    for what, blank in (
        ("the price and the hours", [line for line in lines if line.amount is None and line.hours is None]),
        ("the price", [line for line in lines if line.amount is None and line.hours is not None]),
        ("the hours", [line for line in lines if line.amount is not None and line.hours is None]),
    ):
        names = [spoken(name) for line in blank for name in line.names]
        if names:
            found.append(f"{what} of {listed(names)}")
    if labour is None:
        found.append("the hours listed, because no rate is given")
    return tuple(found)


def spoken(name: str) -> str:
    """A part's or extra's name for a reader: "left_core" is "left core", "nose_hx" is "nose exchanger"."""
    return " ".join("exchanger" if word == "hx" else word for word in name.split("_"))


def unused(prices: Prices, builds: Sequence[Build]) -> tuple[str, ...]:
    """Tables of a list that meet no part of these builds, as they are written: a slip of the pen, or another car's."""
    found = []
    for place, names in prices.parts.items():
        meant = [build for build in builds if place in (ANY, build.name, Path(build.file).stem)]
        known = {name for build in meant for name in build.parts}
        known |= {k for k, spec in PART_KINDS.items() for b in meant for part in b.parts.values() if type(part) is spec}
        found += [f"prices.{_key(place)}.{_key(name)}" for name in names if name not in known]
    for place in prices.extras:
        if not any(place in (ANY, build.name, Path(build.file).stem) for build in builds):
            found.append(f"extras.{_key(place)}")
    return tuple(found)
