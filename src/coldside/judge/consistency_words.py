"""What consistency came to: its figures, its sentences, its block in a forecast's JSON.

Here: `Consistency` and its parts.  Not here: how they are found (`consistency.py`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from coldside.duty.model import LimitSpec
from coldside.judge.verdict import KINDS, NAMES
from coldside.judge.wording import Quantity, Sentence, counted, limit_quantity, listed
from coldside.parts.engine import RPM

HOLD = 900.0  # s at full load without a break
LONGEST_REST, SHORTEST_REST = 1800.0, 15.0  # s
UNCHANGED = 0.5  # K: settles alike
SLOWER = 1.05  # times as long: time is bought


@dataclass(frozen=True)
class Held:
    """Full load without a break, against one limit.

    `seconds` until the limit gives, None when it holds for `HOLD`; `settled` where the limited quantity ends, in the
    unit of the limit; `subject` whose temperature it is; `passed` whether the session itself breaks it, as the verdict
    says.
    """

    limit: LimitSpec
    subject: str
    seconds: float | None
    settled: float
    passed: bool = False

    @property
    def ever(self) -> bool:
        """True where it never gives."""
        return self.seconds is None and self.limit.room(self.settled) >= 0.0


@dataclass(frozen=True)
class Rest:
    """Rest after which the second run peaks at most `within` K above the first, s.

    `seconds`: None when no rest up to `LONGEST_REST` does; then the second still peaks `excess` K beyond `within`
    after the best of them, `best` s long.  `going`: the same for the third run against the second, once all is hot.
    """

    within: float
    seconds: float | None
    excess: float
    best: float
    going: float | None


@dataclass(frozen=True)
class Afternoon:
    """Runs that keep every limit in `hours` (s): `runs`, with `rest` s between; `run` is the length of one, s.

    `endless` where the limits hold for all of that time; else `runs` is what can be had before one breaks them,
    whatever the rest, and `warming` says whether a longer rest allows fewer.
    """

    hours: float
    runs: int
    rest: float
    run: float
    endless: bool
    warming: bool = False


@dataclass(frozen=True)
class Settling:
    """Intake at full load without a break: `nearly` s until nine tenths of the way to where it settles [K].

    `seconds` until the first of the limits gives, None when none does within `HOLD`.
    """

    nearly: float
    settled: float
    seconds: float | None


@dataclass(frozen=True)
class KnockSpeed:
    """The engine speed at which limits on the knock margin were judged, and the mean in boost, rev/s.

    `warmer` K by which the charge settles higher at the mean than where they were judged.
    """

    engine_speed: float
    mean: float
    warmer: float


@dataclass(frozen=True)
class TankOrExchanger:
    """A loop as it is, with twice the coolant in its tank, and with a second exchanger beside each of its own."""

    loop: str
    tanks: tuple[str, ...]
    exchangers: tuple[str, ...]
    own: Settling
    larger_tank: Settling | None
    second_exchanger: Settling | None


@dataclass(frozen=True)
class Alike:
    """One set of the session's own repeats: their noun, the intake's peak in each [K], and their spreads, shares.

    `without` names what of their boost is no part of them: "burnout", "launch".
    """

    noun: str
    peaks: tuple[float, ...]
    spread_over_ambient: float | None
    spread_power: float | None
    without: tuple[str, ...] = ()


@dataclass(frozen=True)
class Consistency:
    """What `consistency` found.  Absent parts are None or empty, and `left_out` says why.

    `noun` is the run in words ("pull", "stint"), `repeat_noun` one of the session's own repeats ("lap"), of which
    `peaks` are the highest intake [K]; of several `sets` of repeats that in which the worst moment lies.  The spreads
    are shares, of all sets the largest, as the verdict tells them.  `resting` is what lies between two runs ("idling");
    `settling` full load without a break at `speed` [rev/s], `knock` where a knock margin was judged in it (None: there
    is no such limit); `simulations` how many forecasts it took.
    """

    noun: str
    repeat_noun: str
    resting: str
    start: str
    peaks: tuple[float, ...]
    spread_over_ambient: float | None
    spread_power: float | None
    settling: Settling | None
    held: tuple[Held, ...]
    rest: Rest | None
    afternoon: Afternoon | None
    loops: tuple[TankOrExchanger, ...]
    simulations: int
    left_out: tuple[str, ...] = ()
    whose: str = "your"  # whose the limits are: "your", or "the proposed"
    speed: float | None = None
    knock: KnockSpeed | None = None
    part: str = ""  # what a run tried is, where that is not plain from its noun ("pass and return road")
    round: float | None = None  # s from one round of a repeated group to the next, with all that it holds
    sets: tuple[Alike, ...] = ()  # all of the session's sets of repeats, in time order
    air: float | None = None  # K outside, held in all that was run again; None where the session's air does not change

    def words(self, system: str = "si") -> tuple[str, ...]:
        """All sentences in "si" or "us" units."""
        return tuple(sentence.words(system) for sentence in sentences(self))


# ---------------------------------------------------------------- in words


def sentences(found: Consistency) -> list[Sentence]:
    """What was found, in the order in which it is told."""
    said = _of_repeats(found) + _of_air(found) + _of_held(found)
    for loop in found.loops:
        said += _of_tank(loop)
    later = _of_rest(found) + _of_afternoon(found)
    if later and found.noun == "stint":
        text = "A stint here is all that the session repeats, one {one} after the other without a rest."
        said.append(Sentence(text, {"one": found.repeat_noun}))
    elif later and found.part:
        said.append(_of_part(found))
    said += later
    return said + [Sentence("Not answered: {what}.", {"what": words}) for words in found.left_out]


def _of_repeats(found: Consistency) -> list[Sentence]:
    """One sentence for each set of repeats."""
    return [
        Sentence(
            "{runs}: the intake peaks at {low} to {high}; over the air outside they differ by {peaks}, "
            "power by {power}.",
            {
                "runs": _repeats(one),
                "low": Quantity(min(one.peaks), "temperature"),
                "high": Quantity(max(one.peaks), "temperature"),
                "peaks": Quantity(one.spread_over_ambient, "share"),
                "power": Quantity(one.spread_power, "share", 1),
            },
        )
        for one in found.sets
        if len(one.peaks) > 1 and one.spread_over_ambient is not None and one.spread_power is not None
    ]


def _repeats(one: Alike) -> str:
    """ "Six pulls"; of a name that takes no plural "Four times climb again"."""
    number = len(one.peaks)
    told = counted(number, one.noun)
    if " " in one.noun:
        told = counted(number, "time") + " " + one.noun
    if one.without:
        told += " without " + listed(one.without)
    return told[:1].upper() + told[1:]


def _of_air(found: Consistency) -> list[Sentence]:
    if found.air is None or found.settling is None:
        return []
    text = "What follows is in air that stays at {air}, as at the session's worst moment, from start to end."
    return [Sentence(text, {"air": Quantity(found.air, "temperature")})]


def _start(found: Consistency) -> str:
    return "heat-soaked" if found.start == "soaked" else "cold"


def _of_held(found: Consistency) -> list[Sentence]:
    if found.settling is None:
        return []
    at = "" if found.speed is None else ", held at {speed}"
    knock = found.knock
    if at and knock is not None and found.speed == knock.engine_speed != knock.mean:
        at += ", where knock is nearest"
    elif at:
        at += ", the mean of its boost"
    said = [
        Sentence(
            "At full load without a break" + at + ", started {start}, the intake settles at {settled}; nine tenths of "
            "the way are done after {nearly}.",
            {
                "speed": _round(found.speed or 0.0),
                "start": _start(found),
                "nearly": Quantity(found.settling.nearly, "time"),
                "settled": Quantity(found.settling.settled, "temperature"),
            },
        )
    ]
    for one in found.held:
        values: dict[str, Quantity | str] = {
            "subject": one.subject[:1].upper() + one.subject[1:],
            "limit": limit_quantity(one.limit.bound, KINDS[one.limit.quantity]),
            "settled": Quantity(one.settled, KINDS[one.limit.quantity]),
        }
        values["whose"] = found.whose
        if one.limit.lowest and knock is not None and found.speed != knock.engine_speed:
            values["near"] = _round(knock.engine_speed)
        said.append(_of_one(one, values))
    return said + _of_knock(found)


def _of_one(one: Held, values: dict[str, Quantity | str]) -> Sentence:
    """One limit at full load without a break; a knock margin with the speed where it was judged, if another."""
    over, passes, under, subject = "is over", "passes", "is under", "{subject}"
    limit, settles = "{whose} {limit} limit", "it settles at {settled}"
    if one.limit.quantity == "over_ambient":
        limit, settles = "{whose} limit of {limit} over ambient", "it settles {settled} over ambient"
    if one.limit.lowest:
        over, passes, under = "is short of", "falls short of", "keeps"
        limit = "{whose} {limit} knock margin"
        subject = "Held at {near}, where knock is nearest, the charge" if "near" in values else subject
    if one.seconds == 0.0:
        return Sentence(subject + " " + over + " " + limit + " from the start.", values)
    if one.seconds is not None:
        values["seconds"] = Quantity(one.seconds, "time")
        return Sentence(subject + " " + passes + " " + limit + " after {seconds} of it.", values)
    after = ""
    if one.passed:  # else it would read as if the verdict were wrong
        after = "; the session does all the same, at other speeds or warm from what came before"
    if one.ever:
        end = ": it settles {settled} from knock" if one.limit.lowest else ": " + settles
        return Sentence(subject + " never " + passes + " " + limit + end + after + ".", values)
    values["hold"] = Quantity(HOLD, "time")
    later = "not later" if one.limit.lowest else "passes it later"
    return Sentence(subject + " " + under + " " + limit + " for {hold}, and " + later + after + ".", values)


def _of_knock(found: Consistency) -> list[Sentence]:
    """By how much a knock margin at full load can be off: what the mean speed would leave in the charge."""
    if found.knock is None or found.knock.warmer < 0.5:
        return []
    text = (
        "At {mean}, the mean of its boost, the charge settles {warmer} warmer than at {near}: let down to {near} from "
    )
    text += "there, that much less is in hand at first."
    values = {
        "near": _round(found.knock.engine_speed),
        "mean": _round(found.knock.mean),
        "warmer": Quantity(found.knock.warmer, "temperature_difference"),
    }
    return [Sentence(text, values)]


def _round(engine_speed: float) -> Quantity:
    """An engine speed to 50 rpm: a mean is no better known."""
    step = 50.0 * RPM
    return Quantity(step * round(engine_speed / step), "engine_speed")


def _of_tank(loop: TankOrExchanger) -> list[Sentence]:
    """What the tank buys and what only the exchanger can."""
    said = []
    values: dict[str, Quantity | str] = {
        "tank": listed(loop.tanks),
        "exchangers": listed(loop.exchangers),
        "settled": Quantity(loop.own.settled, "temperature"),
        "nearly": Quantity(loop.own.nearly, "time"),
    }
    if loop.larger_tank is not None:
        tank = loop.larger_tank
        alike = abs(tank.settled - loop.own.settled) <= UNCHANGED
        values |= {"tank_nearly": Quantity(tank.nearly, "time"), "tank_settled": Quantity(tank.settled, "temperature")}
        text = "Twice the coolant in {tank} "
        if tank.nearly > SLOWER * loop.own.nearly:
            text += "buys time: nine tenths of the way after {tank_nearly} instead of {nearly}"
            text += _limit_part(values, "tank", loop.own.seconds, tank.seconds)
        else:
            text += "buys next to no time from such a start"
        text += "; the intake settles at {settled} all the same." if alike else "; it then heads for {tank_settled}."
        said.append(Sentence(text, values))
    if loop.second_exchanger is not None:
        second = loop.second_exchanger
        values |= {"second": Quantity(second.settled, "temperature")}
        better = loop.own.settled - second.settled > UNCHANGED
        several = len(loop.exchangers) > 1
        text = "With one more beside each of {exchangers}, in ducts of their own, " if several else ""
        text = text or "With a second one beside {exchangers}, in a duct of its own, "
        text += "the intake settles at {second} instead of {settled}"
        text += _limit_part(values, "second", loop.own.seconds, second.seconds)
        text += (
            ": for more than a few runs only heat given to the air counts." if better else ": it is not what limits."
        )
        said.append(Sentence(text, values))
    return said


def _limit_part(values: dict[str, Quantity | str], which: str, own: float | None, other: float | None) -> str:
    """ ", the limit after 27 s instead of 14 s"; empty where the build as it is keeps its limits."""
    if own is None or own == 0.0:
        return ""
    values["own_limit"] = Quantity(own, "time")
    if other is None:
        values["hold"] = Quantity(HOLD, "time")
        return ", the limit not within {hold} instead of after {own_limit}"
    values[which + "_limit"] = Quantity(other, "time")
    return ", the limit after {" + which + "_limit} instead of {own_limit}"


def _of_part(found: Consistency) -> Sentence:
    """What a run tried is, and how many whole rounds of the session there is time for: a run leaves out its waits."""
    values: dict[str, Quantity | str] = {"part": found.part, "one": found.repeat_noun}
    hours = 0.0 if found.afternoon is None else found.afternoon.hours
    if found.round is None or hours < found.round:
        return Sentence("A run here means {part} alone.", values)
    values |= {"round": Quantity(found.round, "time"), "hours": f"{hours / 3600.0:g} h"}
    values["count"] = counted(math.floor(hours / found.round), found.repeat_noun)
    text = "A run here means {part} alone; with all that it holds one {one} of the session takes {round}, and {hours} "
    return Sentence(text + "have room for {count} like it.", values)


def _of_rest(found: Consistency) -> list[Sentence]:
    if found.rest is None:
        return []
    values: dict[str, Quantity | str] = {
        "noun": found.noun,
        "resting": found.resting,
        "within": Quantity(found.rest.within, "temperature_difference", 1),
        "start": _start(found),
    }
    if found.rest.seconds is not None:
        values["rest"] = Quantity(found.rest.seconds, "time")
        if found.rest.seconds <= SHORTEST_REST:
            text = "{rest} of {resting} are enough for a second {noun} to peak within {within} of the first."
        else:
            text = (
                "A second {noun} peaks within {within} of the first, made right from a {start} start, after {rest} of "
            )
            text += "{resting}."
        return [Sentence(text, values)]
    values["longest"] = Quantity(LONGEST_REST, "time")
    values["excess"] = Quantity(found.rest.excess + found.rest.within, "temperature_difference", 1)
    values["best"] = Quantity(found.rest.best, "time")
    text = (
        "No rest up to {longest} lets a second {noun} peak within {within} of a first one right from a {start} start: "
    )
    text += "after {best} it still peaks {excess} higher"
    if found.rest.best < LONGEST_REST:  # all up to the longest were tried
        text += ", after a longer one more"
    if found.rest.going is not None:
        values["going"] = Quantity(found.rest.going, "time")
        text += (
            "; once all is warm, {going} of {resting} are enough to keep one {noun} within {within} of the one before"
        )
    return [Sentence(text + ".", values)]


def _of_afternoon(found: Consistency) -> list[Sentence]:
    one = found.afternoon
    if one is None:
        return []
    values: dict[str, Quantity | str] = {
        "runs": counted(one.runs, found.noun),
        "noun": found.noun,
        "resting": found.resting,
        "hours": f"{one.hours / 3600.0:g} h",
        "rest": Quantity(one.rest, "time"),
    }
    names = list(dict.fromkeys(NAMES[held.limit.quantity] for held in found.held))  # one on a spread is none of them
    limit = "reach of the first one's peak"
    if names:
        limit = f"{found.whose} limit" + (f"s on {listed(names)}" if len(found.held) > 1 else f" on the {names[0]}")
    broken = any(held.passed for held in found.held)
    if one.endless:
        text = (
            "As far as heat goes, {hours} have room for {runs} within " + limit + ", with {rest} of {resting} between"
        )
        if broken:
            which = "one" if len(found.held) > 1 else "it"
            text += f"; the session breaks {which} all the same, by what lies before its runs or by longer rests"
        return [Sentence(text + ".", values)]
    if one.runs == 0:
        text = (
            "Right from a " + _start(found) + " start not even one {noun} stays within " + limit + ", whatever the rest"
        )
        return [Sentence(text + ("." if broken else "; the session's own does, after what lies before it."), values)]
    if one.runs == 1:
        return [Sentence("One {noun} stays within " + limit + ", no second one, however long it rests.", values)]
    text = "No more than {runs} stay within " + limit + ", right from a " + _start(found) + " start"
    text += "; best with {rest} of {resting} between"
    text += ": a longer rest warms the car more than it cools it." if one.warming else "."
    return [Sentence(text, values)]


def consistency_json(found: Consistency, system: str = "si") -> dict[str, Any]:
    """The block `consistency` of a forecast's JSON; keys carry the unit, what was not found is null or absent."""
    rest, afternoon = found.rest, found.afternoon
    return {
        "run": found.noun,
        "start": found.start,
        "air_K": found.air,
        "peaks_K": list(found.peaks),
        "spread_over_ambient": found.spread_over_ambient,
        "spread_power": found.spread_power,
        "repeats": [_alike_block(one) for one in found.sets],
        "full_load": None if found.settling is None else _settling_block(found.settling),
        "engine_speed_rpm": None if found.speed is None else 60.0 * found.speed,
        "knock_judged_at": None
        if found.knock is None
        else {"engine_speed_rpm": 60.0 * found.knock.engine_speed, "warmer_at_mean_K": found.knock.warmer},
        "held": [
            {
                "quantity": one.limit.quantity,
                "at_most_K": one.limit.at_most,
                "at_least_K": one.limit.at_least,
                "seconds_s": one.seconds,
                "settled_K": one.settled,
            }
            for one in found.held
        ],
        "rest": None
        if rest is None
        else {
            "within_K": rest.within,
            "needed_s": rest.seconds,
            "going_s": rest.going,
            "best_s": rest.best,
            "excess_K": rest.excess,
        },
        "afternoon": None
        if afternoon is None
        else {
            "hours_s": afternoon.hours,
            "runs": afternoon.runs,
            "rest_s": afternoon.rest,
            "run_s": afternoon.run,
            "endless": afternoon.endless,
        },
        "loops": {
            loop.loop: {
                "own": _settling_block(loop.own),
                "larger_tank": None if loop.larger_tank is None else _settling_block(loop.larger_tank),
                "second_exchanger": None if loop.second_exchanger is None else _settling_block(loop.second_exchanger),
            }
            for loop in found.loops
        },
        "simulations": found.simulations,
        "sentences": list(found.words(system)),
    }


def _alike_block(one: Alike) -> dict[str, Any]:
    return {
        "of": one.noun,
        "peaks_K": list(one.peaks),
        "spread_over_ambient": one.spread_over_ambient,
        "spread_power": one.spread_power,
    }


def _settling_block(one: Settling) -> dict[str, Any]:
    return {"nearly_s": one.nearly, "settled_K": one.settled, "limit_s": one.seconds}
