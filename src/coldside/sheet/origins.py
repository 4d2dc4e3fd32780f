"""How a figure came about: equation, what lies on the way, sources, inputs, and how far to trust it.

Here: `origin_of`, `Origin`, and `Opens`, which sections call for the name of each figure.
Recipes are found by `origin_book.py`, values on the way in `origin_steps.py`, keys in `origin_inputs.py`.

An address is "table/row": "figures/intake gas", "limits/0" (the limit's number), "answers/what to change".
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from coldside.errors import BadInput
from coldside.judge.verdict import LimitResult, Verdict
from coldside.judge.wording import Range
from coldside.parts.exchanger import AirCoreSpec, ExchangerSpec, WaterCoreSpec, geometry_of
from coldside.plant.results import Forecast
from coldside.sheet import tables
from coldside.sheet.asked import Asked
from coldside.sheet.origin_book import recipe_of
from coldside.sheet.origin_inputs import MOST, Input, inputs_of, on_loop, shares_of
from coldside.sheet.origin_steps import Seen, Step, steps_of
from coldside.sheet.origin_terms import Recipe, symbols_of
from coldside.units import retold

Opens = Callable[[str, str], str]  # (address, HTML of the name) -> HTML of a name that opens how the figure came about

SIZED_SOURCES = ("ManglikBergles1995", "ChangWang1997", "ChangHsuLinWang2000", "Chang2006", "ShahLondon1978")
TABLES = {  # table of an address -> what it is, before the row's name
    "limits": "Limit",
    "figures": "Figures",
    "before": "Before full load",
    "compressor": "The compressor",
    "runs": "Runs",
    "heat": "Where the heat went",
    "ladder": "What holds it back",
    "health": "How far to trust it",
    "sure": "How sure",
    "answers": "",
    "workshop": "In the workshop",
}
NAMES = {"why": "What gives first, and why", "notes": "Notes before full load", "knock": "Knock"}  # of answers
KINDS = {  # of a band's figure; else a temperature
    "power_mean": "power",
    "over_ambient_max": "temperature_difference",
    "run_time": "stopwatch",
    "lost_to_heat_in_boost": "share",
}


@dataclass(frozen=True)
class Origin:
    """How one figure came about, as text in one unit system.

    `equations` are (equation, what it is of), `symbols` what each letter stands for; `steps` what lies on the way with
    its figures; `sources` keys of `sources.SOURCES`; `inputs` what it rests on, the weightiest first, and `more` how
    many others; `ordered` by what they are sorted; `trust` what was used outside its data, how sure it is.
    """

    title: str
    words: str
    equations: tuple[tuple[str, str], ...]
    symbols: tuple[tuple[str, str], ...]
    steps: tuple[Step, ...]
    sources: tuple[str, ...]
    inputs: tuple[Input, ...]
    more: int
    ordered: str
    trust: tuple[str, ...]


def origin_of(address: str, forecast: Forecast, verdict: Verdict, asked: Asked, system: str) -> Origin:
    """How the figure at an address came about.  BadInput where there is no such figure."""
    table, _, row = address.partition("/")
    limit = _limit(verdict, row) if table == "limits" else None
    known_as = address
    if limit is not None:
        known_as = f"limits/{limit.quantity}" + (f" of loop {limit.loop}" if limit.loop else "")
    found = recipe_of(known_as)
    if found is None or table not in TABLES:
        raise BadInput(f'nothing is known of how "{address[:80]}" came about')
    recipe, names = found
    named = limit.name if limit is not None else row
    seen = Seen(forecast, verdict, asked, named, names, limit, system)
    figure = f"limits.{row}" if limit is not None else recipe.figure.format(loop=names.get("loop", ""))
    if table == "runs":
        figure = next((f"run_time.{k}" for k, one in enumerate(forecast.runs) if one.run.label == row), "")
    shares = shares_of(asked.bands, figure) if recipe.rests_on else {}
    owners = _owners(recipe, names, forecast)
    inputs = inputs_of(forecast, recipe.rests_on, system, owners=owners, shares=shares)
    return Origin(
        title=_title(table, named),
        words=retold(recipe.words, system),
        equations=tuple((equation, retold(of, system)) for equation, of in recipe.equations),
        symbols=tuple((letter, retold(meaning, system)) for letter, meaning in symbols_of(recipe)),
        steps=(*_bound(limit, system), *steps_of(recipe.steps, seen)),
        sources=_sources(recipe, forecast),
        inputs=tuple(inputs[:MOST]),
        more=sum(one.alike for one in inputs[MOST:]),
        ordered=_ordered(inputs, shares, asked),
        trust=tuple(_trust(seen, recipe, figure, owners)),
    )


def _limit(verdict: Verdict, number: str) -> LimitResult:
    if not number.isdigit() or int(number) >= len(verdict.limits):
        raise BadInput(f'there is no limit "{number[:20]}"')
    return verdict.limits[int(number)]


def _title(table: str, row: str) -> str:
    """A heading: the row's name, with its table's before it where the row alone would not say."""
    said = NAMES.get(row, row[:1].upper() + row[1:]) if table == "answers" else row.replace("/", ": ")
    return f"{TABLES[table]}: {said}" if TABLES[table] else said


def _owners(recipe: Recipe, names: dict[str, str], forecast: Forecast) -> frozenset[str] | None:
    """Which parts count; None for all."""
    if recipe.scope == "loop" and "loop" in names:
        return on_loop(forecast.build, names["loop"])
    if recipe.scope == "part" and "part" in names:
        loops = [loop for loop in forecast.build.loops if names["part"] in on_loop(forecast.build, loop)]
        return frozenset({names["part"], *loops})
    return None


def _bound(limit: LimitResult | None, system: str) -> list[Step]:
    """What is allowed, what came out and what is left."""
    if limit is None:
        return []
    _, allowed, value, margin, _ = tables.limit_row(limit, system)
    found = [("allowed", allowed), ("came out", value)]
    return [*found, ("margin", margin)] if margin else found


def _sources(recipe: Recipe, forecast: Forecast) -> tuple[str, ...]:
    rated = (WaterCoreSpec, AirCoreSpec, ExchangerSpec)
    shaped = recipe.sized and any(
        isinstance(spec, rated) and geometry_of(spec) is not None for spec in forecast.build.parts.values()
    )
    return tuple(dict.fromkeys((*recipe.sources, *(SIZED_SOURCES if shaped else ()))))


def _ordered(inputs: Sequence[Input], shares: dict[str, float], asked: Asked) -> str:
    """By what the inputs are sorted, in words; empty without any."""
    if not inputs:
        return ""
    if shares:
        return "First those that make it uncertain, by the draws; then the others in the order of the equations."
    if asked.bands is not None:
        return "In the order of the equations: the draws single none out for this figure."
    return "In the order of the equations; which matter most is known once the uncertain values have been drawn."


def _trust(seen: Seen, recipe: Recipe, figure: str, owners: frozenset[str] | None) -> list[str]:
    """How sure the figure is where it was drawn, what was used outside its data, whether it is a preview."""
    said, bands, health = [], seen.asked.bands, seen.forecast.health
    band = None if bands is None else bands.figures.get(figure)
    if band is not None and not figure.startswith(("limits", "spread")):
        low, high = band[0], band[2]
        likely = Range(low, high, KINDS.get(figure.partition(".")[0], "temperature")).shown(seen.system)
        said.append(f"Likely {likely}: four draws in five of the uncertain values.")
    if not recipe.rests_on or recipe.pattern.startswith("workshop"):  # a build before it runs is used nowhere
        return said
    left = [words for words in health.extrapolated if owners is None or _mentions(words, owners)]
    said += [f"Used outside its data: {retold(words, seen.system)}." for words in left]
    said += [] if left else ["Nothing that it rests on was used outside its data."]
    if math.isnan(health.step_check):
        said.append("A preview on coarse cells.")
    return said


def _mentions(words: str, names: frozenset[str]) -> bool:
    return any(re.search(rf"(?<!\w){re.escape(name)}(?!\w)", words) for name in names)
