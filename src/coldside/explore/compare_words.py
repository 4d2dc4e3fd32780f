"""A comparison in words that a customer understands, and as a plain dictionary for JSON.

What is here: `comparison_words` and `comparison_json`; `sessions_words` and `sessions_json` over several sessions.
What is not: the figures (`compare.py`).  Builds are called by their letters once their names have been told.  "Likely"
is the range from the 10th to the 90th percentile of the draws.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from coldside.explore.bands import PERCENTILES
from coldside.explore.compare import HOTTEST, LETTERS, MEAN, RUNS, Comparison, Contrast, Entry, Loss
from coldside.judge.sureness import ON_THE_CLOCK, chance_words, likely_cost
from coldside.judge.wording import Quantity, Range, Sentence, listed, plural

SCHEMA = "coldside.comparison/1"
SESSIONS_SCHEMA = "coldside.comparisons/1"  # of several sessions
FOR = {  # figure -> what speaks for the build that is ahead in it
    "intake_max": "cooler charge in boost",
    "power_mean": "more power in boost",
    "run_best.pass": "a quicker best pass",
    "run_best.lap": "a quicker best lap",
    "run_best.run": "a quicker best run",
    "spread_temperature": "steadier from repeat to repeat",
    "mass": "less to carry",
    "charge_volume": "less volume to fill before boost is there",
    "energy": "less electricity",
}
UNITS = {
    "temperature": "_K",
    "power": "_W",
    "share": "",
    "stopwatch": "_s",
    "seconds": "_s",
    "mass": "_kg",
    "volume": "_m3",
    "energy": "_J",
}
JOULE_PER_WATT_HOUR = 3600.0
KEPT = 1.0  # K of change below which a dead part changes nothing
CAUTION = (
    "A likely range holds four cases of five of what is not known of the inputs; what the model itself leaves out is "
    "not in it, and only a measured run of both tells that. The cars are varied in pairs: a range may lie a degree "
    "off that of a verdict alone."
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
        headline=" ".join(told(headline_of(found))),
        limits=told([_limits(entry) for entry in found.entries]),
        differences=told([_power(found), *_clock(found), _spread(found)]),
        where=told(_where(found)),
        carries=told([_carries(entry) for entry in found.entries]),
        failures=told([_losses(entry) for entry in found.entries]),
        summing_up=(*told(_summing_up(found)), *((CAUTION,) if found.draws else ())),
    )


# ---------------------------------------------------------------- sentences


def headline_of(found: Comparison) -> list[Sentence]:
    """Who is ahead; then, where it was asked, how sure that is."""
    contrast = found.contrast("intake_max")
    assert contrast is not None  # every session has a hottest moment
    values = _values(found, contrast)
    values["session"] = found.session.name
    if contrast.settled == "open":
        text = "{session}: nothing to choose between {ahead} and {next} in charge temperature"
    else:
        text = "{session}: {ahead} keeps the charge cooler than {next}"
    text += ", {v_ahead} against {v_next} at its hottest in boost"
    others = [letter for letter in contrast.values if letter not in (contrast.ahead, contrast.next)]
    for letter in others:
        text += f", {letter} {{v_{letter}}}"
        values[f"v_{letter}"] = Quantity(contrast.values[letter], contrast.kind)
    said = [Sentence(text + ".", values)]
    sure = _sureness(found, contrast, "cooler")
    return said if sure is None else [*said, sure]


def _values(found: Comparison, contrast: Contrast) -> dict[str, Any]:
    return {
        "ahead": contrast.ahead,
        "next": contrast.next,
        "v_ahead": Quantity(contrast.values[contrast.ahead], contrast.kind),
        "v_next": Quantity(contrast.values[contrast.next], contrast.kind),
    }


def _sureness(found: Comparison, contrast: Contrast, word: str) -> Sentence | None:
    """The likely difference, whether the likely ranges overlap, and how often the one ahead is ahead."""
    spans = [found.entry(letter).band(contrast.figure) for letter in (contrast.ahead, contrast.next)]
    bands = [band for band in spans if band is not None]
    if contrast.band is None or contrast.chance is None or len(bands) < len(spans):
        return None
    kind = {"temperature": "temperature_difference", "share": "points"}.get(contrast.kind, contrast.kind)
    values: dict[str, Any] = {
        "ahead": contrast.ahead,
        "next": contrast.next,
        "word": word,
        "chance": chance_words(contrast.chance),
        "by": Range(contrast.band[0], contrast.band[2], kind),
    }
    for place, band in zip(("a", "n"), bands, strict=True):
        values[place] = Range(band[0], band[2], contrast.kind)
    text = "With what is not known, {ahead} likely comes to {a} and {next} to {n}: "
    if not contrast.overlap:
        text += "the two ranges do not overlap"
    elif contrast.settled == "open":
        text += "the two ranges overlap, and {ahead} is {word} in {chance} of the cases tried, "
        if contrast.told_apart:  # sure who, but by too little to be felt
            text += "by so little that it decides nothing"
        else:
            text += _not_apart(contrast, kind, values)
        return Sentence(text + ".", values)
    else:
        text += "the two ranges overlap, yet what is unknown is mostly the same for both, and {ahead} is {word} in "
        text += "{chance} of the cases tried"
    if contrast.band[0] > 0.0:
        text += "; {ahead} is likely {by} {word}"
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
        text = "{letter} breaks its limit on " + listed(pieces)
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
        text += "; with what is not known, all hold in {chance} of the cases tried"
    if unjudged and len(unjudged) < len(entry.verdict.limits):
        text += " ({unjudged} cannot be judged on it)"
    return Sentence(text + ".", values)


def _power(found: Comparison) -> Sentence | None:
    contrast = found.contrast("power_mean")
    if contrast is None:
        return None
    values = _values(found, contrast)
    if contrast.settled == "open" and not contrast.told_apart:
        return Sentence(
            "Power in boost: {v_ahead} for {ahead} and {v_next} for {next} on average, "
            + _not_apart(contrast, "power", values)
            + ".",
            values,
        )
    if contrast.settled == "open":
        values["more"] = Quantity(contrast.gap / contrast.values[contrast.next], "share", 1)
        others = [letter for letter in contrast.values if letter not in (contrast.ahead, contrast.next)]
        text = "Power in boost is the same within {more}" + (" for {ahead} and {next}" if others else "")
        text += ": {ahead} {v_ahead}, {next} {v_next} on average"
        for letter in others:
            text += f"; {letter} {{v_{letter}}}"
            values[f"v_{letter}"] = Quantity(contrast.values[letter], contrast.kind)
        return Sentence(text + ".", values)
    text = "{ahead} makes more power in boost: {v_ahead} on average against {v_next}"
    if contrast.band is None:
        values["more"] = Quantity(contrast.gap / contrast.values[contrast.next], "share", 1)
        return Sentence(text + ", {more} more.", values)
    for place, value in (("low", contrast.band[0]), ("high", contrast.band[2])):
        values[place] = Quantity(max(value, 0.0) / contrast.values[contrast.next], "share", 1)
    values["chance"] = chance_words(contrast.chance or 0.0)
    return Sentence(text + ", likely {low} to {high} more; it is ahead in {chance} of the cases tried.", values)


def _clock(found: Comparison) -> list[Sentence]:
    """Who wins by how much on the clock, and whether that is sure: best pass or lap, all of them, heat's part."""
    said = []
    for kind in RUNS:
        best, total = found.contrast(f"run_best.{kind}"), found.contrast(f"run_total.{kind}")
        if best is None:
            continue
        said.append(_by_the_clock(best, f"the {kind}" if total is None else f"the best {kind}"))
        if total is not None:
            said.append(_by_the_clock(total, f"all {plural(kind)} together"))
        said.append(_heat_on_the_clock(found, kind))
    return said


def _by_the_clock(contrast: Contrast, what: str) -> Sentence:
    values: dict[str, Any] = {
        "ahead": contrast.ahead,
        "next": contrast.next,
        "what": what,
        "v_ahead": Quantity(contrast.values[contrast.ahead], "stopwatch"),
        "v_next": Quantity(contrast.values[contrast.next], "stopwatch"),
    }
    times = "{ahead} {v_ahead}, {next} {v_next}"
    for letter in contrast.values:
        if letter not in (contrast.ahead, contrast.next):
            times += f", {letter} {{v_{letter}}}"
            values[f"v_{letter}"] = Quantity(contrast.values[letter], "stopwatch")
    text = "On the clock, {what}: " + times + "; "
    if not contrast.told_apart:
        return Sentence(text + _not_apart(contrast, "seconds", values) + ".", values)
    values["gap"] = Quantity(contrast.gap, "seconds")
    if contrast.settled == "open":
        return Sentence(text + "less than counts between {ahead} and {next}.", values)
    if contrast.band is None:
        return Sentence(text + "{ahead} is {gap} quicker than {next}.", values)
    values["by"] = Range(contrast.band[0], contrast.band[2], "seconds")
    values["chance"] = chance_words(contrast.chance or 0.0)
    return Sentence(text + "{ahead} is likely {by} quicker than {next}, in {chance} of the cases tried.", values)


def _heat_on_the_clock(found: Comparison, kind: str) -> Sentence:
    """What of that is heat's doing: its cost on each build, and what a charge colder than ambient gains."""
    values: dict[str, Any] = {}
    costs: list[str] = []
    gains: list[str] = []
    for entry in found.entries:
        cost, band = entry.figures[f"heat_cost.{kind}"], entry.band(f"heat_cost.{kind}")
        tells = abs(cost) >= ON_THE_CLOCK
        piece = f"{entry.letter} " + (f"{{cost{entry.letter}}}" if tells else "nothing that a clock tells")
        values[f"cost{entry.letter}"] = Quantity(abs(cost), "seconds")
        if band is not None:
            piece += " (" + likely_cost(band, values, entry.letter) + ")"
        (gains if tells and cost < 0.0 else costs).append(piece)
    in_all = " in all" if found.contrast(f"run_total.{kind}") is not None else ""
    said = [f"Heat costs{in_all}, against a charge at ambient temperature: {'; '.join(costs)}."] if costs else []
    if gains:
        said.append(f"A charge colder than ambient gains{in_all}: {'; '.join(gains)}.")
    return Sentence(" ".join(said), values)


def _not_apart(contrast: Contrast, kind: str, values: dict[str, Any]) -> str:
    """That two builds cannot be told apart, and between what the difference likely lies."""
    assert contrast.band is not None
    low, _, high = contrast.band
    text = "and the two cannot be told apart"
    if low == high == 0.0:
        return text
    values["for_next"], values["for_ahead"] = (Quantity(abs(edge), kind) for edge in (low, high))
    if high <= 0.0:  # what is not known favours the other
        values["by"] = Range(-high, -low, kind)
        return text + ": with what is not known the difference is likely {by} in favour of {next}"
    text += ": the difference is likely between {for_next} in favour of {next} and {for_ahead} in favour of {ahead}"
    return text


def _spread(found: Comparison) -> Sentence | None:
    contrast = found.contrast("spread_temperature")
    if contrast is None:
        return None
    values = _values(found, contrast)
    if contrast.settled == "open":
        return Sentence(
            "Repeat for repeat there is little to choose: the hottest over ambient differs by {v_ahead} and {v_next}.",
            values,
        )
    text = "{ahead} is steadier: from repeat to repeat its hottest over ambient differs by {v_ahead} against {v_next}"
    if contrast.overlap:
        text += ", though their likely ranges overlap"
    return Sentence(text + ".", values)


def _where(found: Comparison) -> list[Sentence]:
    """For each build the stretches in which it is cooler, in boost first; then where there is nothing to choose."""
    said: list[Sentence] = []
    for entry in found.entries:
        for start, how in ((HOTTEST, "at its hottest in boost"), (MEAN, "on average, out of boost")):
            ahead = [
                (name, one)
                for name, one in found.stretches
                if one.settled != "open" and one.ahead == entry.letter and one.figure.startswith(start)
            ]
            if ahead:
                said.append(_cooler(entry.letter, how, ahead, more=len(found.entries) > 2))
    even = [name for name, one in found.stretches if one.settled == "open"]
    if even:
        said.append(Sentence("Nothing to choose in {even}.", {"even": listed(even)}))
    return said


def _cooler(letter: str, how: str, ahead: Sequence[tuple[str, Contrast]], *, more: bool) -> Sentence:
    """ "B is cooler at its hottest in boost in pull (46 against 54 degC)"; with more builds the next best is named."""
    values: dict[str, Any] = {"letter": letter}
    pieces = []
    for k, (name, one) in enumerate(ahead):
        values[f"a{k}"], values[f"n{k}"] = (Quantity(one.values[at], one.kind) for at in (one.ahead, one.next))
        sure = ", likely" if one.settled == "likely" else ""
        of = f" of {one.next}" if more else ""
        pieces.append(f"{name} ({{a{k}}} against {{n{k}}}{of}{sure})")
    text = "{letter} is cooler " + how + " in " + listed(pieces)
    over = [name for name, one in ahead if one.overlap]
    if over:
        text += "; likely ranges overlap in " + ("all of them" if len(over) == len(ahead) > 1 else listed(over))
    elif any(one.overlap is False for _, one in ahead):
        text += "; likely ranges do not overlap" + (" in any of them" if len(ahead) > 1 else "")
    return Sentence(text + ".", values)


def _carries(entry: Entry) -> Sentence:
    held = entry.inventory
    values: dict[str, Quantity | str] = {
        "letter": entry.letter,
        "mass": Quantity(held.mass, "mass"),
        "coolant": Quantity(held.coolant_volume, "volume"),
        "volume": Quantity(held.charge_volume, "air_volume"),
        "fill": f"{1000.0 * held.fill_time:.0f} ms",
        "current": Quantity(held.current, "current"),
        "energy": f"{entry.energy / JOULE_PER_WATT_HOUR:.0f} Wh",
    }
    wet = ", with {coolant} of coolant in it" if held.coolant_volume > 0.0 else ", without coolant"
    used = "{energy} of electricity" if entry.energy > 0.5 * JOULE_PER_WATT_HOUR else "no electricity"
    draws = "; draws {current} with everything on and takes " + used + " over this session"
    if not (held.pumps or held.fans):
        draws = "; draws no electricity"
    return Sentence(
        "{letter} carries {mass}"
        + wet
        + "; has {volume} to fill before boost is there, {fill} of the engine's flow"
        + draws
        + ".",
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
    told = [_loss(entry, loss, already, values) for loss in entry.losses]
    pieces = [f"{start}{' it' if k else ''} {rest}" for k, (start, rest) in enumerate(told)]
    if not entry.inventory.pumps:
        pieces.append("it has no pump to lose")
    return Sentence("{letter} " + "; ".join(pieces) + ".", values)


def _loss(entry: Entry, loss: Loss, already: set[str], values: dict[str, Any]) -> tuple[str, str]:
    """What is dead, and what the build then does."""
    one = loss.what[:-1] if len(loss.names) == 1 else loss.what
    start = f"with its {one} dead from the start"
    if loss.intake is None:
        return start, "finds no balance: what then happens cannot be told"
    values[loss.what] = Quantity(loss.intake, "temperature")
    newly = [name for name in loss.broken if name not in already]
    if abs(loss.intake - entry.figures["intake_max"]) < KEPT and not newly:
        return start, "is no warmer in boost"
    verb = "goes to" if loss.intake > entry.figures["intake_max"] else "stays at"
    breaks = " and breaks its limit on " + listed(newly) if newly else " and breaks no further limit"
    return start, f"{verb} {{{loss.what}}} in boost" + (breaks if entry.verdict.limits else "")


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
            said.append(Sentence("In favour of {letter}: {what}.", {"letter": letter, "what": listed(words_for)}))
    return said


# ---------------------------------------------------------------- several sessions


def sessions_words(found: Sequence[Comparison], system: str = "si") -> tuple[str, ...]:
    """The same builds over several sessions: who is cooler, who makes more power, whose limits hold, one line each."""
    cooler = _over_sessions(found, "intake_max", "cooler in boost")
    power = _over_sessions(found, "power_mean", "ahead in power in boost")
    quicker = [
        line for kind in RUNS for line in _over_sessions(found, f"run_best.{kind}", f"quicker in the best {kind}")
    ]
    held = {
        letter: [
            one.session.name for one in found if all(it.holds is not False for it in one.entry(letter).verdict.limits)
        ]
        for letter in LETTERS[: len(found[0].entries)]
    }
    limits = "; ".join(f"{letter} {_in_which(names, found, 'breaks one in each')}" for letter, names in held.items())
    said = [*cooler, *power, *quicker, Sentence("Every limit holds: {limits}.", {"limits": limits})]
    return tuple(one.words(system) for one in said)


def _in_which(names: Sequence[str], found: Sequence[Comparison], none: str) -> str:
    """ "in both", "in all of them", the sessions by name, or what is said of none."""
    if not names:
        return none
    if len(names) == len(found):
        return "in both" if len(found) == 2 else "in all of them"
    return "in " + listed(list(names)) + " only"


def _over_sessions(found: Sequence[Comparison], figure: str, words: str) -> list[Sentence]:
    """Who is ahead in one figure in which session; nothing where no session tells it."""
    contrasts = [(one.session.name, contrast) for one in found if (contrast := one.contrast(figure)) is not None]
    if not contrasts:
        return []
    values: dict[str, Any] = {}
    pieces = []
    nobody = "neither" if len(found[0].entries) == 2 else "none"
    for k, (name, one) in enumerate(contrasts):
        values[f"a{k}"], values[f"n{k}"] = (Quantity(one.values[at], one.kind) for at in (one.ahead, one.next))
        who = nobody if one.settled == "open" else one.ahead + (", likely," if one.settled == "likely" else "")
        ranges = "" if one.overlap is None else ", ranges overlap" if one.overlap else ", ranges do not overlap"
        pieces.append(f"{who} in {name} ({{a{k}}} against {{n{k}}}{ranges})")
    return [Sentence(words[0].upper() + words[1:] + ": " + "; ".join(pieces) + ".", values)]


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


def sessions_json(found: Sequence[Comparison], system: str = "si") -> dict[str, Any]:
    """The same of several sessions, one `comparison_json` each, and the words over all of them."""
    return {
        "schema": SESSIONS_SCHEMA,
        "sessions": [comparison_json(one, system) for one in found],
        "words": list(sessions_words(found, system)),
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
