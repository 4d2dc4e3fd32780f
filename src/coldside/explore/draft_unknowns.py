"""Which unanswered key of a brief matters most to a starter: each really varied by its spread, and run.

What is here: `most_important_unknown`, `Unknowns`, `Unknown`.  What is not: the starters (`draft.py`).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from coldside.build.brief import BRIEF_FIELDS, USES, Brief, BriefField
from coldside.build.files import read_build
from coldside.build.model import Build
from coldside.duty.model import Session
from coldside.errors import BadInput
from coldside.explore.draft import (
    RADIATOR_NAME,
    SYSTEMS,
    Progress,
    Shop,
    Starter,
    coarse_runs,
    difference_words,
)
from coldside.explore.draft_text import build_text
from coldside.explore.workers import on_all_cores
from coldside.parts.airflow import FanSpec
from coldside.parts.exchanger import AirCoreSpec, ExchangerSpec, WaterCoreSpec
from coldside.parts.lines import HoseSpec
from coldside.parts.pump import PumpSpec
from coldside.parts.reservoir import ReservoirSpec
from coldside.units import retold, show

COOLING = (WaterCoreSpec, AirCoreSpec, ExchangerSpec, ReservoirSpec, PumpSpec, HoseSpec, FanSpec)
OF_DEMAND = ("displacement", "chamber_volume", "redline", "power", "fuel", "use", "hottest_day", "altitude", "car_mass")
OTHER_FUELS = ("gasoline 95", "E85")
UNVARIED = (  # do not vary by a spread
    "engine", "core", "exchanger", "tank", "cylinders", "rotors", "ice", "spray", "keep", "side_pods",
)  # fmt: skip
LITTLE, NEXT = 0.05, 0.5  # K below which nothing is moved; from which the second is named


@dataclass(frozen=True)
class Unknown:
    """What one unanswered key does to a `starter`: the `values` tried (text in SI units), the margin [K] with each.

    `change` K between best and worst of the margins and that without change.
    """

    key: str
    help: str
    starter: str
    values: tuple[str, ...]
    margins: tuple[float, ...]
    change: float


@dataclass(frozen=True)
class Unknowns:
    """Unanswered keys of every starter, the one that matters most first; `said` in words, by starter and system."""

    of: Mapping[str, tuple[Unknown, ...]]
    said: Mapping[str, Mapping[str, str]]

    @property
    def ranked(self) -> tuple[Unknown, ...]:
        """Every key once, by the starter that it moves most."""
        found: dict[str, Unknown] = {}
        for one in (one for ranked in self.of.values() for one in ranked):
            if one.key not in found or one.change > found[one.key].change:
                found[one.key] = one
        return tuple(sorted(found.values(), key=lambda one: -one.change))

    def words(self, system: str = "si", kinds: Sequence[str] = ()) -> tuple[str, ...]:
        """What to find out first, a sentence or two for each of these starters (all of them where none is named)."""
        return tuple(dict.fromkeys(words[system] for kind, words in self.said.items() if not kinds or kind in kinds))


def most_important_unknown(brief: Brief, starters: Sequence[Starter], *, progress: Progress | None = None) -> Unknowns:
    """Which unanswered key moves the intake's margin most: each really varied by its spread, and run on each starter.

    What the engine asks is varied with the cooling left as it is; room and rule book with the cooling sized anew
    within them.
    """
    tell: Progress = progress or (lambda _fraction, _words: None)
    if not starters:
        raise BadInput("there is no starter to try the unknowns on", where=brief.file)
    shop = Shop(brief)
    cases = [
        (one, item.key, words, *_varied(shop, one, item.key, value))
        for one in starters
        for item in BRIEF_FIELDS
        for value, words in _values_to_try(brief, item)
    ]
    tell(0.1, "what is not known, varied")
    jobs = [(one.build, one.session) for one in starters]
    jobs += [(build, session) for *_, build, session, _ in cases if build is not None and session is not None]
    results = on_all_cores(coarse_runs, None, jobs)
    base = {one.kind: tried.margin for one, tried in zip(starters, results, strict=False)}
    rest = iter(results[len(starters) :])
    margins: dict[tuple[str, str], list[tuple[str, float]]] = {}
    for one, key, words, build, _, fault in cases:
        margin = next(rest).margin if build is not None else -math.inf if fault else base[one.kind]
        margins.setdefault((key, one.kind), []).append((words, margin))
    tell(1.0, "done")
    of = {
        one.kind: tuple(
            sorted(
                (_unknown(key, kind, tried, base[kind]) for (key, kind), tried in margins.items() if kind == one.kind),
                key=lambda unknown: -unknown.change,
            )
        )
        for one in starters
    }
    return Unknowns(
        of, {kind: {system: _words(kind, ranked, system) for system in SYSTEMS} for kind, ranked in of.items()}
    )


def _values_to_try(brief: Brief, item: BriefField) -> list[tuple[Any, str]]:
    """Other values of an unanswered key, with their words: one spread down and up, or the other choices."""
    key = item.key
    if key not in brief.unknown or key in UNVARIED or getattr(brief.spec, key) is None:
        return []
    value = getattr(brief.spec, key)
    if key == "use":
        return [(use, use) for use in USES if use != value]
    if key == "fuel":
        return [(name, name) for name in OTHER_FUELS if name != value]
    if item.kind == "choice":
        return [(choice, choice) for choice in item.choices if choice != value]
    spread = brief.spread.get(key)
    if spread is None:
        return []
    low = max(value - spread, item.low if item.low is not None else -math.inf)
    high = min(value + spread, item.high if item.high is not None else math.inf)
    return [(low, show(low, item.kind)), (high, show(high, item.kind))]


def _varied(shop: Shop, best: Starter, key: str, value: Any) -> tuple[Build | None, Session | None, str]:
    """Build and session with another value of a key; (None, None, "") where it changes neither."""
    other = shop.brief.having(**{key: value})
    try:
        varied = Shop(other)
        text = build_text(other, varied.need, best.kind, best.growth, varied.coolant)[0]
        if text == best.text and varied.session_text == best.session_text:
            return None, None, ""
        build = read_build(text, f"{best.kind}.toml")
    except BadInput as error:
        return None, None, str(error)
    if key in OF_DEMAND:  # the car asks for something else, the cooling stays
        kept = {n: p for n, p in best.build.parts.items() if isinstance(p, COOLING) and n != RADIATOR_NAME}
        asked = {n: p for n, p in build.parts.items() if not isinstance(p, COOLING) or n == RADIATOR_NAME}
        build = replace(build, parts={**asked, **kept}, loops=best.build.loops, ducts=best.build.ducts)
    return build, varied.session, ""


def _unknown(key: str, kind: str, found: Sequence[tuple[str, float]], base: float) -> Unknown:
    help_words = next(item.help for item in BRIEF_FIELDS if item.key == key)
    margins = tuple(margin for _, margin in found)
    sound = [margin for margin in margins if math.isfinite(margin)]
    change = max([*sound, base]) - min([*sound, base])
    return Unknown(key, help_words, kind, tuple(words for words, _ in found), margins, change)


def _words(kind: str, ranked: Sequence[Unknown], system: str) -> str:
    """The unknown that matters most to a starter, in a sentence or two."""
    if not ranked:
        return "Every key that matters was answered."
    first = ranked[0]
    if first.change < LITTLE:
        return f"Nothing that is not known moves the intake of the {kind} starter."
    tried = ", ".join(
        f"{retold(words, system)} {'leaves' if margin >= 0 else 'misses by'} {difference_words(margin, system)}"
        for words, margin in zip(first.values, first.margins, strict=True)
        if math.isfinite(margin)
    )
    words = f"Of the {kind} starter find out first: {first.help}. It moves its margin by "
    words += f"{difference_words(first.change, system)}: {tried}."
    if len(ranked) > 1 and ranked[1].change >= NEXT:
        words += f" Next: {ranked[1].help}, {difference_words(ranked[1].change, system)}."
    return words
