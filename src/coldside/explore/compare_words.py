"""A comparison in words that a customer understands, and as a plain dictionary for JSON.

What is here: `comparison_words` and `comparison_json`.  What is not: the figures (`compare.py`).  Builds are called by
their letters once their names have been told.  "Likely" is the span from the 10th to the 90th percentile of the draws.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from coldside.explore.bands import PERCENTILES
from coldside.explore.compare import LETTERS, Comparison, Contrast, Entry, Loss
from coldside.judge.sureness import chance_words
from coldside.judge.wording import Quantity, Sentence, listed

SCHEMA = "coldside.comparison/1"
FOR = {  # figure -> what speaks for the build that is ahead in it
    "intake_max": "cooler charge in boost",
    "power_mean": "more power in boost",
    "spread_temperature": "repeats more alike in temperature",
    "mass": "less to carry",
    "charge_volume": "less volume to fill before boost is there",
    "energy": "less electricity",
}
UNITS = {"temperature": "_K", "power": "_W", "share": "", "mass": "_kg", "volume": "_m3", "energy": "_J"}
JOULE_PER_WATT_HOUR = 3600.0
KEPT = 1.0  # K of change below which a dead part changes nothing
CAUTION = (
    "Spans hold what is unknown of the inputs, not what the model itself leaves out; only a measured run of both "
    "tells that."
)


@dataclass(frozen=True)
class ComparisonWords:
    """A comparison as text in one unit system, in the order in which it is told."""

    names: tuple[str, ...]
    headline: str
    limits: tuple[str, ...]
    differences: tuple[str, ...]
    where: tuple[str, ...]
    carries: tuple[str, ...]
    failures: tuple[str, ...]
    summing_up: tuple[str, ...]


def comparison_words(found: Comparison, system: str = "si") -> ComparisonWords:
    """Everything that is said of a comparison in "si" or "us" units."""

    def told(sentences: Sequence[Sentence | None]) -> tuple[str, ...]:
        return tuple(one.words(system) for one in sentences if one is not None)

    return ComparisonWords(
        names=tuple(f"{entry.letter}: {entry.name}" for entry in found.entries),
        headline=" ".join(told(_headline(found))),
        limits=told([_limits(entry) for entry in found.entries]),
        differences=told([_power(found), _spread(found)]),
        where=told(_where(found)),
        carries=told([_carries(entry) for entry in found.entries]),
        failures=told([_losses(entry) for entry in found.entries]),
        summing_up=(*told(_summing_up(found)), *((CAUTION,) if found.draws else ())),
    )


# ---------------------------------------------------------------- sentences


def _headline(found: Comparison) -> list[Sentence]:
    contrast = found.contrast("intake_max")
    assert contrast is not None  # every session has a hottest moment
    values = _values(found, contrast)
    values["session"] = found.session.name
    if contrast.settled == "open":
        text = "{session}: nothing to choose between {ahead} and {next} in charge temperature"
    else:
        text = "{session}: {ahead} keeps the charge cooler than {next}"
    text += "; at its hottest in boost {v_ahead} against {v_next}"
    others = [letter for letter in contrast.values if letter not in (contrast.ahead, contrast.next)]
    for letter in others:
        text += f", {letter} {{v_{letter}}}"
        values[f"v_{letter}"] = Quantity(contrast.values[letter], contrast.kind)
    said = [Sentence(text + ".", values)]
    sure = _sureness(found, contrast, "cooler")
    return said if sure is None else [*said, sure]


def _values(found: Comparison, contrast: Contrast) -> dict[str, Quantity | str]:
    return {
        "ahead": contrast.ahead,
        "next": contrast.next,
        "v_ahead": Quantity(contrast.values[contrast.ahead], contrast.kind),
        "v_next": Quantity(contrast.values[contrast.next], contrast.kind),
    }


def _sureness(found: Comparison, contrast: Contrast, word: str) -> Sentence | None:
    """The likely difference, whether the likely spans overlap, and how often the one ahead is ahead."""
    spans = [found.entry(letter).band(contrast.figure) for letter in (contrast.ahead, contrast.next)]
    bands = [band for band in spans if band is not None]
    if contrast.band is None or contrast.chance is None or len(bands) < len(spans):
        return None
    kind = {"temperature": "temperature_difference", "share": "points"}.get(contrast.kind, contrast.kind)
    values: dict[str, Quantity | str] = {"ahead": contrast.ahead, "next": contrast.next, "word": word}
    for place, band in zip(("a", "n"), bands, strict=True):
        values[place + "_low"], values[place + "_high"] = (
            Quantity(band[0], contrast.kind),
            Quantity(band[2], contrast.kind),
        )
    values["low"], values["high"] = Quantity(contrast.band[0], kind), Quantity(contrast.band[2], kind)
    values["chance"] = chance_words(contrast.chance)
    lead = "{ahead} likely {a_low} to {a_high}, {next} {n_low} to {n_high}: "
    if not contrast.overlap:
        text = lead + "the spans do not overlap"
    elif contrast.settled == "open":
        text = lead + "the spans overlap, and {ahead} is {word} in only {chance}"
        return Sentence(text + " of the cases tried: not settled.", values)
    else:
        text = lead + "the spans overlap, yet with what is unknown to both alike {ahead} is {word} in {chance} cases"
    if contrast.band[0] > 0.0:
        text += "; {word} by {low} to {high}, likely"
    return Sentence(text + ".", values)


def _limits(entry: Entry) -> Sentence:
    broken = [limit for limit in entry.verdict.limits if limit.holds is False]
    unjudged = [limit.name for limit in entry.verdict.limits if limit.holds is None]
    values: dict[str, Quantity | str] = {"letter": entry.letter, "unjudged": listed(unjudged) if unjudged else ""}
    if not entry.verdict.limits:
        return Sentence("{letter}: no limit was given.", values)
    if broken:
        pieces = []
        for k, limit in enumerate(broken):
            pieces.append(f"{limit.name} ({{value{k}}}, {limit.allowed} {{limit{k}}})")
            values[f"value{k}"] = Quantity(limit.value or 0.0, limit.kind)
            values[f"limit{k}"] = Quantity(limit.bound, limit.kind, 1)
        text = "{letter} breaks " + listed(pieces)
    elif len(unjudged) == len(entry.verdict.limits):
        text = "{letter}: none of the limits can be judged"
    else:
        text = "{letter} holds every limit"
        nearest = min(
            (one for one in entry.verdict.limits if one.holds), key=lambda one: (one.kind == "share", one.margin)
        )
        values["margin"] = Quantity(nearest.margin or 0.0, nearest.margin_kind)
        text += ", the nearest (" + nearest.name + ") by {margin}"
    chance = None if entry.bands is None else entry.bands.chances.get("all")
    if chance is not None:
        values["chance"] = chance_words(chance)
        text += "; the chance that all hold is {chance}"
    if unjudged and len(unjudged) < len(entry.verdict.limits):
        text += " (not judged: {unjudged})"
    return Sentence(text + ".", values)


def _power(found: Comparison) -> Sentence | None:
    contrast = found.contrast("power_mean")
    if contrast is None:
        return None
    values = _values(found, contrast)
    if contrast.settled == "open":
        values["more"] = Quantity(contrast.gap / contrast.values[contrast.next], "share", 1)
        return Sentence(
            "Power in boost is the same within {more}: {ahead} {v_ahead}, {next} {v_next} on average.", values
        )
    text = "{ahead} makes more power in boost: {v_ahead} on average against {v_next}"
    if contrast.band is None:
        values["more"] = Quantity(contrast.gap / contrast.values[contrast.next], "share", 1)
        return Sentence(text + ", {more} more.", values)
    for place, value in (("low", contrast.band[0]), ("high", contrast.band[2])):
        values[place] = Quantity(max(value, 0.0) / contrast.values[contrast.next], "share", 1)
    values["chance"] = chance_words(contrast.chance or 0.0)
    return Sentence(text + ", likely {low} to {high} more (ahead in {chance} cases).", values)


def _spread(found: Comparison) -> Sentence | None:
    contrast = found.contrast("spread_temperature")
    if contrast is None:
        return None
    values = _values(found, contrast)
    if contrast.settled == "open":
        return Sentence("Repeats are about equally alike: peaks over ambient differ by {v_ahead} and {v_next}.", values)
    text = "{ahead}'s repeats are more alike: their peaks over ambient differ by {v_ahead} against {v_next}"
    if contrast.overlap:
        text += ", though the likely spans overlap"
    return Sentence(text + ".", values)


def _where(found: Comparison) -> list[Sentence]:
    """Who is ahead in which stretch, hottest in boost or on average; then where there is nothing to choose."""
    said, even = [], []
    for name, contrast in found.stretches:
        if contrast.settled == "open":
            even.append(name)
            continue
        values = _values(found, contrast)
        values["name"] = name
        values["how"] = "at its hottest in boost" if contrast.figure.startswith("hottest.") else "on average"
        sure = ""
        if contrast.chance is not None:
            sure = " (likely)" if contrast.settled == "likely" else ""
        said.append(Sentence("{name}: {ahead} is cooler" + sure + ", {how} {v_ahead} against {v_next}.", values))
    if even:
        said.append(Sentence("Nothing to choose in: {even}.", {"even": listed(even)}))
    return said


def _carries(entry: Entry) -> Sentence:
    held = entry.inventory
    values: dict[str, Quantity | str] = {
        "letter": entry.letter,
        "mass": Quantity(held.mass, "mass"),
        "coolant": Quantity(held.coolant_volume, "volume"),
        "volume": Quantity(held.charge_volume, "volume"),
        "fill": f"{1000.0 * held.fill_time:.0f} ms",
        "current": Quantity(held.current, "current"),
        "energy": f"{entry.energy / JOULE_PER_WATT_HOUR:.0f} Wh",
    }
    wet = ", {coolant} of coolant in it" if held.coolant_volume > 0.0 else ", no coolant"
    return Sentence(
        "{letter} carries {mass}" + wet + "; holds {volume} of charge, which the engine's flow fills in {fill}; draws "
        "{current} with everything on, {energy} over this session.",
        values,
    )


def _losses(entry: Entry) -> Sentence:
    if not entry.losses:
        has = entry.inventory.pumps + entry.inventory.fans
        text = (
            "{letter} has neither pump nor fan that could die." if not has else "{letter}: not tried with dead parts."
        )
        return Sentence(text, {"letter": entry.letter})
    already = {limit.name for limit in entry.verdict.limits if limit.holds is False}
    values: dict[str, Quantity | str] = {"letter": entry.letter}
    pieces = [_loss(entry, loss, already, values) for loss in entry.losses]
    if not entry.inventory.pumps:
        pieces.append("it has no pump to lose")
    return Sentence("{letter} " + "; ".join(pieces) + ".", values)


def _loss(entry: Entry, loss: Loss, already: set[str], values: dict[str, Quantity | str]) -> str:
    one = loss.what[:-1] if len(loss.names) == 1 else loss.what
    start = f"without its {one} from the start "
    if loss.intake is None:
        return start + "finds no balance"
    values[loss.what] = Quantity(loss.intake, "temperature")
    newly = [name for name in loss.broken if name not in already]
    if abs(loss.intake - entry.figures["intake_max"]) < KEPT and not newly:
        return start + "is as cool in boost as with"
    text = start + f"goes to {{{loss.what}}} in boost"
    return text + (" and breaks " + listed(newly) if newly else " and breaks no further limit")


def _summing_up(found: Comparison) -> list[Sentence]:
    """What speaks for each build, then what speaks for none."""
    said: list[Sentence] = []
    ahead: dict[str, list[str]] = {entry.letter: [] for entry in found.entries}
    for figure, words in FOR.items():
        contrast = found.contrast(figure)
        if contrast is not None and contrast.settled != "open":
            ahead[contrast.ahead].append(words + (" (likely)" if contrast.settled == "likely" else ""))
    broken = {entry.letter: sum(one.holds is False for one in entry.verdict.limits) for entry in found.entries}
    if len(set(broken.values())) > 1:
        fewest = min(broken.values())
        for letter, count in broken.items():
            if count == fewest:
                ahead[letter].insert(0, "every limit holds" if fewest == 0 else "fewer limits broken")
    no_pump = [entry.letter for entry in found.entries if not entry.inventory.pumps]
    if 0 < len(no_pump) < len(found.entries):
        for letter in no_pump:
            ahead[letter].append("no pump that could die")
    for letter, words_for in ahead.items():
        if words_for:
            said.append(Sentence("For {letter} speak: {what}.", {"letter": letter, "what": listed(words_for)}))
    return said


# ---------------------------------------------------------------- JSON


def comparison_json(found: Comparison, system: str = "si") -> dict[str, Any]:
    """Every figure of `coldside compare --json`; `system` sets only the units inside sentences."""
    words = comparison_words(found, system)
    return {
        "schema": SCHEMA,
        "session": {"name": found.session.name, "file": found.session.file},
        "draws": found.draws,
        "builds": {entry.letter: _entry_json(entry) for entry in found.entries},
        "figures": {
            one.figure.replace("intake_max", "hottest_in_boost") + UNITS[one.kind]: _contrast_json(found, one)
            for one in found.contrasts
        },
        "stretches": [
            {"name": name, "figure": one.figure.partition(".")[0]} | _contrast_json(found, one)
            for name, one in found.stretches
        ],
        "words": {name: list(value) if isinstance(value, tuple) else value for name, value in vars(words).items()},
    }


def _entry_json(entry: Entry) -> dict[str, Any]:
    held = entry.inventory
    return {
        "name": entry.name,
        "file": entry.forecast.build.file,
        "holds": entry.verdict.holds,
        "broken": [limit.name for limit in entry.verdict.limits if limit.holds is False],
        "chance_all_hold": None if entry.bands is None else entry.bands.chances.get("all"),
        "metal_kg": held.metal,
        "coolant_kg": held.coolant,
        "coolant_m3": held.coolant_volume,
        "charge_volume_m3": held.charge_volume,
        "fill_time_s": held.fill_time,
        "current_A": held.current,
        "electrical_energy_J": entry.energy,
        "without": {
            loss.what: {"parts": list(loss.names), "hottest_in_boost_K": loss.intake, "broken": list(loss.broken)}
            for loss in entry.losses
        },
    }


def _contrast_json(found: Comparison, one: Contrast) -> dict[str, Any]:
    """One figure of all builds; what was not drawn is null."""
    named: Callable[[Any], Any] = lambda band: (  # noqa: E731
        None if band is None else dict(zip((f"p{p:.0f}" for p in PERCENTILES), band, strict=True))
    )
    return {
        "values": dict(one.values),
        "bands": {letter: named(found.entry(letter).band(one.figure)) for letter in LETTERS[: len(found.entries)]},
        "ahead": one.ahead,
        "next": one.next,
        "gap": one.gap,
        "gap_band": named(one.band),
        "chance": one.chance,
        "spans_overlap": one.overlap,
        "settled": one.settled,
    }
