"""What a proposal says: one car cooled two or three ways on one session, what each buys, risks and costs.

Here: `proposal`, which turns a comparison and a price list into `Proposal`, plain text in one unit system.  Not here:
the figures (`explore/compare.py`), the sums (`prices.py`), how it looks on a screen and on paper (`proposal.py`).

Sentences of ours have degree signs and unbroken units; what a user typed (customer, shop, car, notes, names, currency)
is kept as typed.  Nothing in `Proposal` is markup: whoever renders it escapes every text.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

import numpy as np

from coldside.build.model import names_on
from coldside.errors import BadInput
from coldside.explore.changes import behind
from coldside.explore.compare import Comparison, Entry, check_number
from coldside.explore.compare_words import ComparisonWords, comparison_words
from coldside.judge.airways import starved
from coldside.judge.power import mean_where, power_kept
from coldside.judge.sureness import chance_words, cost_shown, likely_cost
from coldside.judge.tract import TO_SPARE, charge_tract
from coldside.judge.verdict import LimitResult
from coldside.judge.water import used_up
from coldside.judge.wording import Quantity, Range, Sentence, counted, limit_quantity, listed, shown
from coldside.parts.airflow import FanSpec
from coldside.parts.exchanger import AirCoreSpec, WaterCoreSpec
from coldside.parts.lines import HoseSpec, PipeSpec
from coldside.parts.pump import PumpSpec
from coldside.parts.reservoir import ReservoirSpec
from coldside.sheet import tables
from coldside.sheet.prices import NO_PRICES, Cost, Line, Prices, cost, spoken, unused
from coldside.sheet.scale import keep_units, pretty
from coldside.units import UNIT, retold, show

SYSTEMS = ("si", "us")
MONTHS = (  # not the locale's, so that a proposal reads the same on every machine
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)
TO_FILL = "to be filled in"
LIKELY = (
    "Likely: of many runs with every uncertain value varied, four in five fall in that span. In bold: ahead by more "
    "than what is unknown."
)
NO_DRAWS = "In bold: ahead. How sure that is was not asked for."
FORECAST = (
    "Every figure is a forecast for the session named above. Hotter air, longer runs or shorter rests are another "
    "session."
)
UNLISTED = (
    "Whatever has no line in the tables of parts and work: calibration, fuelling, brackets, ducts, wiring, coolant and "
    "test days count only where they are listed."
)
UNSEEN = "Faults found when the car is taken apart, and bodywork that must be cut or repaired to make room."
MASS_NOTE = (
    "Mass counts cores, exchangers, tanks, pipes, hoses, coolant, ice and what sprays and injections carry; not pumps, "
    "fans, brackets and ducts."
)


@dataclass(frozen=True)
class Row:
    """One line of the table side by side: a cell for every option, and the letter of the one that is ahead, or "".

    A cell's second line, where it has one, says more of the first.
    """

    label: str
    cells: tuple[str, ...]
    ahead: str = ""


@dataclass(frozen=True)
class Block:
    """Lines of the table that answer one question."""

    title: str
    rows: tuple[Row, ...]


@dataclass(frozen=True)
class MoneyLine:
    """A line of an offer as text; `each`, `amount` and `hours` are empty where they are still to be filled in."""

    what: str
    kind: str
    note: str
    count: str
    each: str
    amount: str
    hours: str


@dataclass(frozen=True)
class Sum:
    """A sum below the lines; the `last` is what is to be paid."""

    label: str
    amount: str
    last: bool = False


@dataclass(frozen=True)
class Option:
    """One way to cool the car.  `buys` and `risks` are sentences; `missing` says what the total does not count."""

    letter: str
    name: str
    total: str
    buys: tuple[str, ...]
    risks: tuple[str, ...]
    lines: tuple[MoneyLine, ...]
    sums: tuple[Sum, ...]
    missing: str
    kept: str


@dataclass(frozen=True)
class Strip:
    """One option in the picture, along an axis of 0 to 1: hottest in boost, its likely span, or None without draws."""

    letter: str
    at: float
    span: tuple[float, float] | None
    words: str


@dataclass(frozen=True)
class Picture:
    """How hot each gets, on one axis from the air outside: strips, ticks (place, words), the limit or None."""

    title: str
    strips: tuple[Strip, ...]
    ticks: tuple[tuple[float, str], ...]
    ambient: tuple[float, str]
    limit: tuple[float, str] | None


@dataclass(frozen=True)
class Proposal:
    """Everything that a customer is shown, in the order in which it is told; `paper` is "a4" or "us-letter"."""

    title: str
    customer: str
    shop: str
    car: str
    date: str
    paper: str
    conditions: str
    lead: tuple[str, ...]
    differences: tuple[str, ...]
    picture: Picture
    blocks: tuple[Block, ...]
    table_notes: tuple[str, ...]
    options: tuple[Option, ...]
    amounts: str
    offer_notes: tuple[str, ...]
    left_out: tuple[str, ...]
    assumptions: tuple[str, ...]
    cautions: tuple[str, ...]
    made_from: str
    for_the_shop: tuple[str, ...] = ()  # not printed: what the shop should look at before it goes out

    @property
    def letters(self) -> tuple[str, ...]:
        """The letters of the options."""
        return tuple(option.letter for option in self.options)


def proposal(
    comparison: Comparison,
    prices: Prices = NO_PRICES,
    *,
    shop: str = "",
    customer: str = "",
    car: str = "",
    system: str = "si",
    date: datetime.date | str = "",
    offer_notes: str | Sequence[str] = (),
) -> Proposal:
    """A comparison and a shop's prices as a proposal in "si" (A4) or "us" (Letter) units.

    Parameters
    ----------
    shop, customer, car : as they are to be printed; may be empty, a line to write on stands there then.
    date : of the proposal; a text is printed as it is.
    offer_notes : the shop's own sentences (terms, how long it stands), one a line.

    Raises `BadInput` for another unit system, a number of builds that cannot be compared, or entries of more than one
    session.
    """
    if system not in SYSTEMS:
        raise BadInput(f'"{system}" is no unit system; "si" or "us" is', where="units")
    check_number(len(comparison.entries))
    if any(entry.forecast.session != comparison.session for entry in comparison.entries):
        raise BadInput("the builds were not run on one and the same session; they cannot stand side by side")
    words = comparison_words(comparison, system)
    costs = [cost(entry.forecast, prices, system) for entry in comparison.entries]
    first = comparison.entries[0].forecast
    conditions = "; ".join(tables.conditions(first, system))
    notes = [offer_notes] if isinstance(offer_notes, str) else offer_notes
    typed = [line.strip() for note in notes for line in _typed(note).split("\n")]
    return Proposal(
        title="Cooling the charge: " + counted(len(costs), "way") + " side by side",
        customer=_typed(customer),
        shop=_typed(shop),
        car=_typed(car),
        date=date if isinstance(date, str) else f"{date.day} {MONTHS[date.month - 1]} {date.year}",
        paper="us-letter" if system == "us" else "a4",
        conditions=_told(f"{comparison.session.name}: {conditions}."),
        lead=(_told(words.headline), _money_words(comparison, costs, prices, system)),
        differences=tuple(_told(text) for text in (*words.differences, *words.where, *words.summing_up)),
        picture=_picture(comparison, system),
        blocks=_blocks(comparison, costs, prices, system),
        table_notes=tuple(_told(text) for text in (LIKELY if comparison.draws else NO_DRAWS, MASS_NOTE)),
        options=tuple(
            _option(entry, found, words, prices, system) for entry, found in zip(comparison.entries, costs, strict=True)
        ),
        amounts=_amounts(prices, system),
        offer_notes=tuple(line for line in typed if line),
        left_out=(*_kept_words(comparison, costs), UNLISTED, UNSEEN),
        assumptions=tuple(_told(text) for text in _assumptions(comparison, system)),
        cautions=tuple(_told(text) for text in _cautions(comparison, system)),
        made_from=_made_from(comparison),
        for_the_shop=_for_the_shop(comparison, prices, system),
    )


def _typed(text: str) -> str:
    """What a user typed, without control characters and signs that turn the direction of what follows."""
    return re.sub(
        r"[\x00-\x08\x0b-\x1f\x7f\u202a-\u202e\u2066-\u2069\ud800-\udfff]", "", text.replace("\r\n", "\n")
    ).strip()


def _for_the_shop(found: Comparison, prices: Prices, system: str) -> tuple[str, ...]:
    lost = unused(prices, [entry.forecast.build for entry in found.entries])
    said = [f"In the price list, but on none of these builds: {listed(lost)}."] if lost else []
    for entry in found.entries:  # how a model was used is for the shop to weigh, not for its customer
        said += [f"{entry.letter}: {retold(text, system)}." for text in entry.forecast.health.extrapolated]
    return tuple(said)


def _told(text: str) -> str:
    """A sentence of ours for the eye: degree signs, a proper +-, parts in words, a number on one line with its unit."""
    words = _PART.sub(lambda found: spoken(found[0]), text)
    return keep_units(pretty(words).replace(" +- ", " ± ").replace(" +-", " ±"))


_PART = re.compile(r"(?<![\w./])[A-Za-z][A-Za-z0-9]*(?:_[A-Za-z0-9]+)+(?![\w/])")  # a part's name as a build has it


def car_name(name: str) -> str:
    """A build's name for a customer: a drafted car is a proposal, not a "starter"."""
    return re.sub(r"[ ,]*\bstarter\b", "", name).strip() or name


# ---------------------------------------------------------------- the table side by side

Cell = Callable[[Entry], str]


def _blocks(found: Comparison, costs: Sequence[Cost], prices: Prices, system: str) -> tuple[Block, ...]:
    """The table: what each buys, keeps, answers, repeats, takes up and costs."""
    made = []
    for title, rows in (
        ("How hot", _heat_rows(found, system)),
        ("Power kept", _power_rows(found, system)),
        ("Response", _response_rows(found, system)),
        ("Repeats", _repeat_rows(found, system)),
        ("Room and mass", _room_rows(found, system)),
        ("What can stop", _moving_rows(found)),
        ("Money", _money_rows(costs, prices, system)),
    ):
        kept = tuple(row for row in rows if any(row.cells))
        if kept:
            made.append(Block(title, kept))
    return tuple(made)


def _row(found: Comparison, label: str, cell: Cell, figure: str = "") -> Row:
    contrast = found.contrast(figure) if figure else None
    ahead = "" if contrast is None or contrast.settled == "open" else contrast.ahead
    return Row(_told(label), tuple(_told(cell(entry)) for entry in found.entries), ahead)


def _figure(figure: str, kind: str, system: str, digits: int = 0) -> Cell:
    """A figure with its likely span below it in words, empty where a build lacks it."""

    def cell(entry: Entry) -> str:
        if figure not in entry.figures:
            return ""
        said = shown(Quantity(entry.figures[figure], kind, digits), system)
        band = entry.band(figure)
        return said if band is None else f"{said}\nlikely {Range(band[0], band[2], kind, digits).shown(system)}"

    return cell


def _cost_cell(figure: str) -> Cell:
    """What heat costs on the clock, with its likely span below it; what a cold charge gains is told as gained."""

    def cell(entry: Entry) -> str:
        if figure not in entry.figures:
            return ""
        said, band = cost_shown(entry.figures[figure]), entry.band(figure)
        values: dict[str, Any] = {}
        return said if band is None else f"{said}\n{Sentence(likely_cost(band, values), values).words()}"

    return cell


def _heat_rows(found: Comparison, system: str) -> list[Row]:
    air = shown(Quantity(_warmest_air(found), "temperature"), system)
    rows = [
        _row(found, "Intake at its hottest in boost", _figure("intake_max", "temperature", system), "intake_max"),
        _row(found, f"Over the air outside ({air})", _figure("over_ambient_max", "temperature_difference", system)),
    ]
    for k, limit in enumerate(found.entries[0].verdict.limits):
        bound = shown(limit_quantity(limit.bound, limit.kind), system)
        label = f"{limit.name[0].upper()}{limit.name[1:]}, {limit.allowed} {bound}"
        rows.append(_row(found, label, lambda entry, k=k: _limit_cell(entry.verdict.limits[k], system)))  # type: ignore[misc]

    def chance(entry: Entry) -> str:
        share = None if entry.bands is None else entry.bands.chances.get("all")
        return "" if share is None or not entry.verdict.limits else chance_words(share)

    def in_hand(entry: Entry) -> str:
        knock = entry.verdict.knock
        margin = None if knock is None or knock.margins is None else knock.margins.temperature
        if margin is None:
            return ""
        said = shown(Quantity(abs(margin), "temperature_difference"), system)
        return f"{said} of charge" if margin >= 0.0 else f"none: {said} too warm"

    rows.append(_row(found, "Chance that every limit holds", chance))
    rows.append(_row(found, "Left to knock at the worst moment, known to 15 to 20 K", in_hand))
    return rows


def _warmest_air(found: Comparison) -> float:
    """The warmest air outside over the session, K."""
    return float(np.max(found.entries[0].forecast.demand.ambient_temperature))


def _limit_cell(limit: LimitResult, system: str) -> str:
    if limit.holds is None or limit.margin is None:
        return f"not judged: {limit.why_not}"
    margin = shown(Quantity(abs(limit.margin), limit.margin_kind), system)
    return f"holds, {margin} to spare" if limit.holds else f"broken, over by {margin}"


def _power_rows(found: Comparison, system: str) -> list[Row]:
    def lost(entry: Entry) -> str:
        share, band = entry.figures.get("lost_to_heat_in_boost"), entry.band("lost_to_heat_in_boost")
        if share is None:
            return "no boost"
        said = shown(Quantity(abs(share), "share", 1), system)
        said = said if share >= 0.0 else f"none, {said} gained"
        if band is None:
            return said
        return f"{said}\nlikely {Range(band[0], band[2], 'share', 1).shown(system)}"

    def stopped(figure: str) -> Cell:
        return _figure(figure, "stopwatch", system)

    runs = [
        _row(found, label, cell(f"{figure}.{kind}"), f"{figure}.{kind}")
        for kind, every in (("pass", "passes"), ("lap", "laps"), ("run", "runs"))
        for figure, label, cell in (
            ("run_best", f"Best {kind}", stopped),
            ("run_total", f"All {every} together", stopped),
            ("heat_cost", f"What warm charge costs the {every} in all", _cost_cell),
        )
    ]

    return [
        _row(found, "Power at its highest", lambda entry: show(power_kept(entry.forecast).peak, "power", system)),
        _row(
            found,
            "Power, average of all time in boost (part throttle counts too)",
            _figure("power_mean", "power", system),
            "power_mean",
        ),
        _row(found, "Taken by warm charge, of the work done in boost", lost, "lost_to_heat_in_boost"),
        *runs,
    ]


def _response_rows(found: Comparison, system: str) -> list[Row]:
    def fill(entry: Entry) -> str:
        tract = charge_tract(entry.forecast.build)
        if tract.gauge <= 0.0:
            return ""
        return f"{_seconds(tract.fill_time)}\n{_seconds(tract.fill_time / TO_SPARE)} where a tenth of the flow is left"

    def lost(entry: Entry) -> str:
        one = entry.forecast
        mean = mean_where(one.compressor_out_pressure - one.plenum_pressure, one.boost, one.time)
        return "" if mean is None else show(mean, "pressure_difference", system)

    return [
        _row(
            found,
            "Charge air between compressor and engine",
            lambda entry: show(entry.inventory.charge_volume, "air_volume", system),
            "charge_volume",
        ),
        _row(found, "Time to boost that filling it takes, by the engine's whole air flow", fill),
        _row(
            found,
            "Lag of the boost itself, as the build gives it",
            lambda entry: _seconds(entry.forecast.build.engine.boost_lag),
        ),
        _row(found, "Pressure lost on the way, mean in boost", lost),
    ]


def _seconds(value: float) -> str:
    return f"{value:.2g} s"


def _repeat_rows(found: Comparison, system: str) -> list[Row]:
    return [
        _row(
            found,
            "Hottest, over the air outside, differs from repeat to repeat by",
            _figure("spread_temperature", "share", system),
            "spread_temperature",
        ),
        _row(found, "Power of the repeats differs by", _figure("spread_power", "share", system, 1), "spread_power"),
    ]


def _room_rows(found: Comparison, system: str) -> list[Row]:
    def parts(entry: Entry, kind: type) -> list[tuple[str, object]]:
        return [(name, spec) for name, spec in entry.forecast.build.parts.items() if isinstance(spec, kind)]

    def total(kind: type, key: str, unit: str) -> Cell:
        def cell(entry: Entry) -> str:
            values = [float(getattr(spec, key)) for _, spec in parts(entry, kind)]
            return show(sum(values), unit, system) if values else "none"

        return cell

    def coolant(entry: Entry) -> str:
        held = entry.inventory.coolant_volume
        return show(held, "volume", system) if held > 0.0 else "none"

    def preheated(entry: Entry) -> str:
        forecast = entry.forecast
        rises = []
        for name in behind(forecast.build):
            reaches = forecast.inlet.get((name, "cooling"))
            if reaches is not None and forecast.boost.any():
                rise = float((reaches - forecast.demand.ambient_temperature)[forecast.boost].max())
                rises.append(f"{shown(Quantity(max(rise, 0.0), 'temperature_difference'), system)} ({name})")
        return ", ".join(rises) or "none behind a face that cools the charge"

    def preheats() -> bool:
        return any(behind(entry.forecast.build) for entry in found.entries)

    def filled(entry: Entry) -> str:
        liquids: dict[str, float] = {}
        for one in used_up(entry.forecast):
            liquids[one.fluid] = liquids.get(one.fluid, 0.0) + one.volume
        specs = entry.forecast.build.parts.values()
        ice = sum(float(spec.ice) for spec in specs if isinstance(spec, ReservoirSpec))
        said = [f"{show(volume, 'volume', system)} of {fluid}" for fluid, volume in liquids.items() if volume > 0.0]
        return listed([*said, *([f"{show(ice, 'mass', system)} of ice"] if ice else [])]) if said or ice else "nothing"

    fills = any(filled(entry) != "nothing" for entry in found.entries)
    return [
        *([_row(found, "Air into the radiator warmer by, at worst in boost", preheated)] if preheats() else []),
        _row(found, "Mass", lambda entry: show(entry.inventory.mass, "mass", system), "mass"),
        _row(found, "Coolant in it", coolant),
        *([_row(found, "To fill up for every session", filled)] if fills else []),
        _row(found, "Tanks", total(ReservoirSpec, "volume", "volume")),
        _row(found, "Charge pipe", total(PipeSpec, "length", "length")),
        _row(found, "Coolant hose", total(HoseSpec, "length", "length")),
        _row(found, "Openings for cooling air", lambda entry: _openings(entry, system)),
    ]


def _openings(entry: Entry, system: str) -> str:
    """Inlets by place on the car: "rear 360 cm2, roof 240 cm2"."""
    areas: dict[str, float] = {}
    for duct in entry.forecast.build.ducts.values():
        if duct.spec.inlet_area is not None:
            areas[duct.spec.place] = areas.get(duct.spec.place, 0.0) + float(duct.spec.inlet_area)
    return ", ".join(f"{place} {show(area, 'area', system).removesuffix('2')}²" for place, area in areas.items())


def _moving_rows(found: Comparison) -> list[Row]:
    def parts(entry: Entry) -> str:
        pumps, fans = len(entry.inventory.pumps), len(entry.inventory.fans)
        said = [counted(n, what) for n, what in ((pumps, "pump"), (fans, "fan")) if n]
        return listed(said) if said else "nothing"

    return [
        _row(found, "Moving parts", parts),
        _row(found, "Current with everything on", lambda entry: show(entry.inventory.current, "current")),
        _row(found, "Electricity over the session", lambda entry: f"{entry.energy / 3600.0:.0f} Wh", "energy"),
    ]


def _money_rows(costs: Sequence[Cost], prices: Prices, system: str) -> list[Row]:
    whole = [found.total for found in costs if found.whole]
    ahead = ""
    if len(whole) == len(costs) and min(whole) < max(whole) and whole.count(min(whole)) == 1:
        ahead = "ABCD"[whole.index(min(whole))]
    return [
        Row(
            "Total, before tax" if prices.tax is None else "Total, tax included",
            tuple(_total(c, prices, system) for c in costs),
            ahead,
        ),
        Row(
            "Hours of work", tuple(_hours(c.hours) if any(x.hours is not None for x in c.lines) else "" for c in costs)
        ),
    ]


# ---------------------------------------------------------------- money


def _priced(found: Cost) -> bool:
    """Whether anything at all has a price or hours."""
    return any(line.amount is not None or line.hours is not None for line in found.lines)


def _total(found: Cost, prices: Prices, system: str) -> str:
    if found.whole:
        return prices.money(found.total, system)
    return f"{prices.money(found.total, system)} so far; not complete" if _priced(found) else f"price {TO_FILL}"


def _hours(hours: Decimal) -> str:
    text = f"{hours:f}"
    return (text.rstrip("0").rstrip(".") if "." in text else text) + "\u00a0h"


def _money_words(found: Comparison, costs: Sequence[Cost], prices: Prices, system: str) -> str:
    """Who costs how much less, or why that cannot be said."""
    letters = [entry.letter for entry in found.entries]
    open_ones = [letter for letter, one in zip(letters, costs, strict=True) if not one.whole]
    if open_ones:
        return f"The prices of {listed(open_ones)} are not complete, so the money cannot be compared yet."
    ranked = sorted(zip(costs, letters, strict=True), key=lambda pair: pair[0].total)
    if ranked[0][0].total == ranked[-1][0].total:
        return f"All cost the same: {prices.money(ranked[0][0].total, system)}."
    least, letter = ranked[0]
    said = f"{letter} costs {prices.money(least.total, system)}"
    for more, other in ranked[1:]:
        said += f", {other} {prices.money(more.total - least.total, system)} more"
    return said + "."


def _amounts(prices: Prices, system: str) -> str:
    """How the sums were made."""
    unit = f"Amounts in {prices.currency}" if prices.currency else "Amounts without a currency: none was given"
    rate = "" if prices.rate is None else f"; work at {prices.money(prices.rate, system)} an hour"
    tax = "; before tax" if prices.tax is None else f"; tax {_percent(prices.tax)} on parts and work"
    return f"{unit}{rate}{tax}. Every line, the work and the tax are rounded to {prices.rounding:f}, half up."


def _percent(share: Decimal) -> str:
    text = f"{share * 100:f}"
    return (text.rstrip("0").rstrip(".") if "." in text else text) + "\u00a0%"


def _option(entry: Entry, found: Cost, words: ComparisonWords, prices: Prices, system: str) -> Option:
    k = "ABCD".index(entry.letter)
    speaks = [text for text in words.summing_up if text.startswith(f"In favour of {entry.letter}:")]
    held = [words.limits[k]]
    broken = entry.verdict.holds is False  # a limit that breaks is nothing that is bought
    return Option(
        letter=entry.letter,
        name=car_name(entry.name),
        total=_total(found, prices, system),
        buys=tuple(_told(text) for text in (*([] if broken else held), *speaks, words.carries[k])),
        risks=tuple(_told(text) for text in (*(held if broken else []), words.failures[k], *comes_with(entry))),
        lines=tuple(_money_line(line, prices, system) for line in found.lines),
        sums=_sums(found, prices, system),
        missing="" if found.whole else "Not counted, still " + TO_FILL + ": " + "; ".join(found.blanks) + ".",
        kept=""
        if not found.kept
        else "On the car already, and stays on it: " + listed([spoken(n) for n in found.kept]) + ".",
    )


def _money_line(line: Line, prices: Prices, system: str) -> MoneyLine:
    what = ", ".join(spoken(name) for name in line.names)
    return MoneyLine(
        what=what,
        kind="" if all(spoken(name).endswith(line.what) for name in line.names) else line.what,  # not "tank, tank"
        note=line.note,
        count=str(line.count),
        each="" if line.each is None else prices.said(line.each, system),
        amount="" if line.amount is None else prices.said(line.amount, system),
        hours="" if line.hours is None else _hours(line.hours).removesuffix("\u00a0h"),
    )


def _sums(found: Cost, prices: Prices, system: str) -> tuple[Sum, ...]:
    rate = "" if prices.rate is None else f" at {prices.money(prices.rate, system)}"
    priced = any(line.amount is not None for line in found.lines)
    worked = found.labour is not None and any(line.hours is not None for line in found.lines)
    sums = [Sum("Parts and extras", prices.said(found.parts, system) if priced else TO_FILL)]
    work = f"Work, {_hours(found.hours)}{rate}" if found.hours else "Work"
    sums.append(Sum(work, prices.said(found.labour, system) if worked and found.labour is not None else TO_FILL))
    if found.tax is not None and prices.tax is not None:
        sums.append(Sum("Together, before tax", prices.said(found.net, system)))
        sums.append(Sum(f"Tax, {_percent(prices.tax)}", prices.said(found.tax, system)))
    label = "Total" if found.whole else "Total of what is filled in"
    amount = prices.money(found.total, system) if _priced(found) else TO_FILL
    return (*sums, Sum(label if found.tax is not None else label + ", before tax", amount, last=True))


# ---------------------------------------------------------------- words


def comes_with(entry: Entry) -> list[str]:
    """What comes with a way of cooling whatever its figures are; common practice, no source."""
    build = entry.forecast.build
    specs = [build.parts[name] for name in names_on(build.charge)]
    moving = [
        spoken(name)
        for name in (*entry.inventory.pumps, *entry.inventory.fans)
        if isinstance(build.parts[name], PumpSpec | FanSpec)
    ]
    said = [f"Can stop: {listed(moving)}. Each wants a fuse, and a way to tell that it runs."] if moving else []
    if any(isinstance(spec, WaterCoreSpec) for spec in specs):
        said.append(
            "Has coolant to look after: level, inhibitor, frost, air in the loop. A core that leaks inside lets "
            "coolant into the engine: test it under pressure before it is fitted."
        )
    if any(isinstance(spec, AirCoreSpec) for spec in specs):
        said.append(
            "Its cores need air through them: at a standstill, in traffic and behind bent or clogged fins they warm, "
            "and only their own metal stores heat."
        )
    return said


def _kept_words(found: Comparison, costs: Sequence[Cost]) -> list[str]:
    kept = dict.fromkeys(spoken(name) for one in costs for name in one.kept)
    return [f"Parts that stay as they are: {listed(list(kept))}."] if kept else []


def _assumptions(found: Comparison, system: str) -> list[str]:
    said = [FORECAST]
    for entry in found.entries:
        defaults = entry.forecast.build.defaults()
        spread = sum(given.sd is not None for _, given in defaults)
        if defaults:
            said.append(
                f"{entry.letter}: {len(defaults)} values were not measured on the car; usual ones were taken, {spread} "
                "of them with a known spread. The shop's own sheet lists them all."
            )
    said.append(
        "Time to boost is what filling the charge tract adds; the lag is the build's own figure, not a forecast."
    )
    return said


def _cautions(found: Comparison, system: str) -> list[str]:
    said = [
        f"{entry.letter}: {one.words(system)}" for entry in found.entries for one in starved(entry.forecast, plain=True)
    ]
    return [*said, *dict.fromkeys(text for entry in found.entries for text in entry.verdict.cautions)]


def _made_from(found: Comparison) -> str:
    """What was compared, by its names: files and folders are nobody else's business."""
    cars = listed([car_name(entry.name) for entry in found.entries])
    draws = f" Run {found.draws} times with the uncertain values varied, alike for all." if found.draws else ""
    return f"Made by coldside for {cars} on {found.session.name}.{draws}"


# ---------------------------------------------------------------- the picture


def _picture(found: Comparison, system: str) -> Picture:
    """Hottest intake of every option from the air outside on, with its likely span and the limit on it."""
    ambient = _warmest_air(found)
    spans = [entry.band("intake_max") for entry in found.entries]
    limit = next(
        (one.at_most for one in found.entries[0].verdict.limits if (one.quantity, one.during) == ("intake", "boost")),
        None,
    )
    temperatures = [ambient, *(entry.figures["intake_max"] for entry in found.entries)]
    temperatures += [value for span in spans if span is not None for value in (span[0], span[2])]
    temperatures += [] if limit is None else [limit]
    from_si = UNIT[("temperature", system)].from_si
    low, high = from_si(min(temperatures)), from_si(max(temperatures))
    step = next(s for s in (5, 10, 20, 50, 100, 200, 500) if (high - low) / s <= 5.0)
    first, last = int(low // step) * step, -int(-high // step) * step
    last = max(last, first + step)

    def place(value: float) -> float:
        return (from_si(value) - first) / (last - first)

    def said(value: float) -> str:
        return _told(shown(Quantity(value, "temperature"), system))

    strips = []
    for entry, span in zip(found.entries, spans, strict=True):
        value = entry.figures["intake_max"]
        likely = "" if span is None else f", likely {Range(span[0], span[2], 'temperature').shown(system)}"
        words = _told(shown(Quantity(value, "temperature"), system) + likely)
        strips.append(
            Strip(entry.letter, place(value), None if span is None else (place(span[0]), place(span[2])), words)
        )
    unit = UNIT[("temperature", system)].label
    ticks = [((at - first) / (last - first), f"{at}") for at in range(first, last + 1, step)]
    ticks[-1] = (ticks[-1][0], _told(f"{last} {unit}"))
    return Picture(
        title="Intake at its hottest in boost" + ("; bars: likely span" if any(spans) else ""),
        strips=tuple(strips),
        ticks=tuple(ticks),
        ambient=(place(ambient), f"air outside {said(ambient)}"),
        limit=None if limit is None else (place(limit), f"limit {said(limit)}"),
    )
