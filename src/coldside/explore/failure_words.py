"""What a dead pump, fan or hose does, in sentences and for JSON; `failures.py` finds it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from coldside.explore.failures import SOONER, SWITCH, WINDOW, Failure, Failures
from coldside.judge.verdict import NAMES
from coldside.judge.wording import Quantity, Sentence, listed

BY_SWITCH = {
    "pump": "a flow or current switch",
    "fan": "a switch on the fan's current",
    "hose": "a pressure or level switch on the loop",
}
SAME = 0.05  # s and K by which failures may differ and be told together


def sentences(found: Failures) -> tuple[Sentence, ...]:
    """What each failure does, when to lift and what a switch would save; the cautions last."""
    if not found.cases:
        return ()
    telling = [one for one in found.cases if one.matters]
    said = [_sentence(found, group) for group in _alike(telling)]
    said += _boiling(telling)
    idle = [one for one in found.cases if not one.matters]
    if idle:
        text = _dying(idle, "that boost shows next to nothing of it; what it does to later ones is not reckoned here")
        said.append(Sentence(text.template + ".", text.values))
    if any(one.what == "hose" for one in found.cases):
        said.append(Sentence("A loop that loses its coolant is reckoned as empty at once."))
    if not telling:
        return tuple(said)
    caution = "Lift first and look for the cause afterwards"
    if any(one.what != "fan" for one in found.cases):
        caution += "; let the coolant cool before a cap is opened or a hose touched: it scalds"
    if any(one.what == "fan" for one in found.cases):
        caution += "; a fan may start again without warning"
    return (*said, Sentence(caution + "."))


def _alike(cases: Sequence[Failure]) -> list[list[Failure]]:
    """Failures that come to the same, together."""

    def close(first: float | None, second: float | None) -> bool:
        if first is None or second is None:
            return first is second
        return abs(first - second) <= SAME

    groups: list[list[Failure]] = []
    for one in cases:
        for group in groups:
            first = group[0]
            alike = (first.what, first.limit) == (one.what, one.limit) and close(first.to_limit, one.to_limit)
            if alike and close(first.warmer, one.warmer) and close(first.lift_at, one.lift_at):
                group.append(one)
                break
        else:
            groups.append([one])
    return groups


def _dying(group: Sequence[Failure], then: str) -> Sentence:
    """ "If left_fan or right_fan stops as the boost that holds the worst moment begins (3:20), ..."."""
    values: dict[str, Quantity | str] = {"at": Quantity(group[0].at, "clock")}
    when = "as the boost that holds the worst moment begins ({at})"
    if group[0].within:
        when, values["before"] = "{before} before the worst moment ({at})", Quantity(WINDOW, "time")
    turning = [one.name for one in group if one.what != "hose"]
    loops = [one.name for one in group if one.what == "hose"]
    pieces = []
    if turning:
        values["names"] = _or(turning)
        pieces.append("{names} stops")
    if loops:
        values["loops"] = _or(loops)
        pieces.append("a hose of loop {loops} lets go")
    return Sentence("If " + " or ".join(pieces) + " " + when + ", " + then, values)


def _or(names: Sequence[str]) -> str:
    return listed(names).replace(" and ", " or ")


def _limit(found: Failures, one: Failure) -> str:
    """ "the limit", by its name where there are several to be told apart."""
    said = "the proposed limit" if found.proposed else "the limit"
    if one.limit is None or len(found.limits) < 2:
        return said
    return said + " on the " + NAMES[one.limit.quantity] + (f" of loop {one.limit.loop}" if one.limit.loop else "")


def _sentence(found: Failures, group: Sequence[Failure]) -> Sentence:
    one = group[0]
    values: dict[str, Quantity | str] = {
        "left": Quantity(one.left, "time"),
        "warmer": Quantity(one.warmer, "temperature_difference"),
        "peak": Quantity(one.peak, "temperature"),
        "switch": BY_SWITCH[one.what],
        "limit": _limit(found, one),
    }
    peak = "the intake then peaks at {peak}, {warmer} higher"
    if one.what == "hose" and one.metal is not None:
        values["metal"] = Quantity(one.metal, "temperature")
        peak = "its cores run dry and are at {metal} when that boost ends; " + peak
    if not found.limits:
        text = peak + "; no limit is given."
    elif one.to_limit is None:
        text = ("{limit} holds" if len(found.limits) == 1 else "every limit holds") + " to the end of that boost, "
        text += "{left} later; " + peak + "."
    else:
        values["seconds"] = Quantity(one.to_limit, "time")
        text = "{limit} is passed {seconds} later"
        if one.anyway is not None and one.anyway - one.to_limit <= SOONER:
            text = "{limit} is passed as soon as with all well"
        elif one.anyway is not None:
            values["anyway"] = Quantity(one.anyway, "time")
            text += ", with all well after {anyway}"
        text += "; " + peak + "."
        text += _warning(one, values)
    start = _dying(group, text)
    return Sentence(start.template, {**start.values, **values})


def _warning(one: Failure, values: dict[str, Quantity | str]) -> str:
    """What tells the driver in time."""
    if one.anyway is not None and (one.to_limit or 0.0) > SWITCH and one.anyway - (one.to_limit or 0.0) > SOONER:
        return " No reading tells, since the limit is passed anyway; only {switch} does."
    if one.anyway is not None:
        return ""
    if one.lift_at is None or one.well is None:
        return " No reading warns in time; only {switch} could."
    values |= {"lift": Quantity(one.lift_at, "temperature"), "well": Quantity(one.well, "temperature")}
    if one.saved is None:
        return (
            " No reading tells clearly: the sensor reads {lift} when you must lift, and up to {well} when all is well; "
            "only {switch} does."
        )
    values["saved"] = Quantity(one.saved, "time")
    text = " Lift when the sensor reads {lift} ({well} at most when all is well)"
    return text + ("; {switch} would tell {saved} sooner." if one.saved >= 0.5 else ".")


def _boiling(cases: Sequence[Failure]) -> list[Sentence]:
    """Coolant that is left standing and comes near boiling."""
    return [
        Sentence(
            "With {name} stopped the coolant that stands in {part} reaches {hot} by the end of that boost and boils "
            "near {boils}: boiling is not modelled; it throws coolant out and scalds.",
            {
                "name": one.name,
                "part": one.boiling.part,
                "hot": Quantity(one.boiling.hottest, "temperature"),
                "boils": Quantity(one.boiling.boils, "temperature"),
            },
        )
        for one in cases
        if one.boiling is not None
    ]


def failures_json(found: Failures, system: str = "si") -> dict[str, Any]:
    """A plain dictionary; keys carry the unit, sentences are in "si" or "us" units."""
    return {
        "limits": [limit.quantity for limit in found.limits],
        "cases": [
            {
                "part": None if one.what == "hose" else one.name,
                "loop": one.name if one.what == "hose" else None,
                "what": one.what,
                "at_s": one.at,
                "boost_left_s": one.left,
                "limit": None if one.limit is None else one.limit.quantity,
                "to_limit_s": one.to_limit,
                "all_well_to_limit_s": one.anyway,
                "peak_K": one.peak,
                "warmer_K": one.warmer,
                "lift_at_K": one.lift_at,
                "lift_after_s": one.lift_after,
                "sensor_max_well_K": one.well,
                "saved_by_switch_s": one.saved,
                "core_metal_K": one.metal,
                "boiling": None
                if one.boiling is None
                else {"part": one.boiling.part, "coolant_K": one.boiling.hottest, "boils_K": one.boiling.boils},
            }
            for one in found.cases
        ],
        "sentences": [sentence.words(system) for sentence in sentences(found)],
    }
