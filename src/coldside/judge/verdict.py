"""The verdict: which limits hold, by how much, when the first gives, and why, in words.

Here: `judge`, `Verdict`, `LimitResult`.  Reasons and cautions come from `reasons.py`, numbers become text in
`wording.py`.  In boost means: plenum absolute above 1.05 times ambient.  What is not here: making bands
(`explore/`); they are passed in.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from coldside.duty.model import LimitSpec, Span
from coldside.errors import nearest
from coldside.judge.asked_power import asked_power
from coldside.judge.coolant import hottest_outlet, spoiled_coolant
from coldside.judge.heat import core_loops
from coldside.judge.knock import KnockVerdict, judge_knock
from coldside.judge.knock_limit import held, margin_trace
from coldside.judge.power import Repeat, power_spread, repeats, temperature_spread
from coldside.judge.reasons import CAUTIONS, notes, reasons
from coldside.judge.sureness import limit_sentence, peak_sentence
from coldside.judge.wording import Quantity, Range, Sentence, counted, limit_quantity, ordinal
from coldside.media.coolants import parse_coolant
from coldside.parts.knock import CALIBRATED_TEMPERATURE
from coldside.plant.health import seconds_surging
from coldside.plant.results import Forecast, Temperatures

KINDS = {
    "intake": "temperature",
    "sensor": "temperature",
    "over_ambient": "temperature_difference",
    "coolant": "temperature",
    "spread": "share",
    "margin": "temperature_difference",
}
NAMES = {
    "intake": "intake",
    "sensor": "intake sensor",
    "over_ambient": "intake over ambient",
    "coolant": "coolant",
    "spread": "spread of repeats",
    "margin": "knock margin",
}
CLEARLY = 1.0  # K by which a later repeat must be worse to be named

Bands = Mapping[str, tuple[float, float, float]]  # figure -> 10th, 50th, 90th percentile, SI


@dataclass(frozen=True)
class LimitResult:
    """One limit against the forecast.

    `value` (the highest that counts; of a knock margin the lowest), the bound (`at_most`, or `at_least`) and `margin`
    (what is left until it breaks, below 0 once broken) are in the SI unit of the quantity: K, or a share for spread.
    `kind` is the unit kind of value and limit.  `holds` is None when the limit cannot be judged on this forecast;
    `why_not` then says why and the numbers are None.
    Times are s into the session; `where` is the phase's label at the peak, `first_where` where it first broke.
    """

    name: str
    quantity: str
    during: str
    kind: str
    at_most: float | None
    holds: bool | None
    value: float | None = None
    margin: float | None = None
    peak_time: float | None = None
    where: str = ""
    first_broken: float | None = None
    first_where: str = ""
    seconds_over: float = 0.0
    subject: str = ""  # whose temperature: "the intake", "the coolant of loop charge"
    why_not: str = ""
    loop: str | None = None  # that the limit names
    band: tuple[float, float, float] | None = None  # of the value: 10th, 50th, 90th percentile; None: no draws made
    chance: float | None = None  # that it holds, 0 to 1
    at_least: float | None = None  # in place of at_most, for what must not fall below it
    whose: str = "your"  # "your", or "the proposed"
    only_bound: bool = False  # the model of knock reaches no further: value and margin are at least so far off

    @property
    def more(self) -> str:
        """What stands before a margin: "more than " where it is only a bound."""
        return "more than " if self.only_bound else ""

    @property
    def lowest(self) -> bool:
        """True where the value must not fall below the bound."""
        return self.at_least is not None

    @property
    def bound(self) -> float:
        """What must be kept, SI, whichever way."""
        return (self.at_least if self.lowest else self.at_most) or 0.0

    @property
    def allowed(self) -> str:
        """Which way the bound is: "at most" or "at least"."""
        return "at least" if self.lowest else "at most"

    @property
    def margin_kind(self) -> str:
        """Kind of the margin in a sentence: a difference also where the limit is a level, points for a share."""
        return "points" if self.kind == "share" else "temperature_difference"

    def words(self, system: str = "si") -> str:
        """The limit in one line, and how sure that is where it is known."""
        sure = limit_sentence(self.kind, self.band, self.chance)
        return self.sentence.words(system) + ("" if sure is None else " " + sure.words(system))

    @property
    def sentence(self) -> Sentence:
        """The limit in one line: what is allowed, what came out, where and for how long."""
        values: dict[str, Quantity | str] = {"limit": limit_quantity(self.bound, self.kind)}
        name = self.name[0].upper() + self.name[1:] + ", " + self.allowed
        if self.holds is None or self.value is None or self.margin is None:
            return Sentence(name + " {limit}: not judged, " + self.why_not + ".", values)
        values["value"] = Quantity(self.value, self.kind)
        values["margin"] = Quantity(abs(self.margin), self.margin_kind)
        text = (
            name + " {limit}: " + ("" if not self.only_bound else self.more if self.holds else "less than ") + "{value}"
        )
        if self.where:
            text += " in {where}"
            values["where"] = self.where
        if self.holds:
            return Sentence(text + ", " + self.more + "{margin} to spare.", values)
        text += ", short by " + self.more + "{margin}" if self.lowest else ", over by {margin}"
        if self.first_broken is not None:
            values["first"] = Quantity(self.first_broken, "clock")
            values["over"] = Quantity(self.seconds_over, "time")
            text += ", first at {first} into the session, {over} in all"
        return Sentence(text + ".", values)


@dataclass(frozen=True)
class VerdictWords:
    """A verdict as text in one unit system, in the order in which it is told."""

    headline: str
    limits: tuple[str, ...]
    reasons: tuple[str, ...]
    notes: tuple[str, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True)
class Verdict:
    """Whether every judged limit holds, the headline, each limit, and why; sentences keep SI until `words`."""

    holds: bool
    headline: tuple[Sentence, ...]
    limits: tuple[LimitResult, ...]
    reasons: tuple[Sentence, ...]
    cautions: tuple[str, ...]
    notes: tuple[Sentence, ...]
    knock: KnockVerdict | None = None  # None: never in boost, or not asked for

    def words(self, system: str = "si") -> VerdictWords:
        """All sentences in "si" or "us" units."""
        return VerdictWords(
            headline=" ".join(sentence.words(system) for sentence in self.headline),
            limits=tuple(limit.words(system) for limit in self.limits),
            reasons=tuple(sentence.words(system) for sentence in self.reasons),
            notes=tuple(sentence.words(system) for sentence in self.notes),
            cautions=self.cautions,
        )


def judge(
    forecast: Forecast,
    limits: Sequence[LimitSpec] | None = None,
    bands: Bands | None = None,
    chances: Mapping[str, float] | None = None,
    *,
    with_knock: bool = True,
) -> Verdict:
    """Judge a forecast against limits: the session's own unless `limits` is given (which then replaces them).

    `bands` may hold "intake_max" (10th, 50th, 90th percentile, K), and for the limit I (from 0) its value's band
    as "limits.I"; `chances` that it holds under the same name, and that all hold under "all".  Headline and limits
    then say how sure they are.  Both come from `explore/` for the limits that are judged here.
    A limit that cannot be judged (no sensor fitted, never in boost, fewer than two repeats) neither
    holds nor breaks; it is listed with the reason.  The verdict holds when no judged limit is broken.
    """
    specs = forecast.session.limits if limits is None else limits
    whose = forecast.session.whose if limits is None else "your"
    known, chance = bands or {}, chances or {}
    knock = judge_knock(forecast) if with_knock else None
    results = tuple(
        replace(
            judge_limit(forecast, spec, knock),
            band=known.get(f"limits.{k}"),
            chance=chance.get(f"limits.{k}"),
            whose=whose,
        )
        for k, spec in enumerate(specs)
    )
    sure = peak_sentence(known, chance.get("all"))
    return Verdict(
        holds=all(result.holds is not False for result in results),
        headline=(
            *headline(forecast, results, knock),
            *(() if sure is None else (sure,)),
            *asked_power(forecast),
        ),
        limits=results,
        reasons=reasons(forecast),
        cautions=CAUTIONS + (() if knock is None else knock.cautions),
        notes=notes(forecast, known) + (() if knock is None else knock.sentences),
        knock=knock,
    )


# ---------------------------------------------------------------- one limit


def judge_limit(forecast: Forecast, spec: LimitSpec, knock: KnockVerdict | None = None) -> LimitResult:
    """One limit against the forecast; see `LimitResult`.  `knock` where it has been judged already."""
    if spec.quantity == "spread":
        return _judge_spread(forecast, spec)
    counts = forecast.boost if spec.during == "boost" else np.ones(len(forecast.time), dtype=bool)
    if spec.quantity == "margin" and knock is None:
        knock = judge_knock(forecast)
    trace, subject, why_not = limited_trace(forecast, spec.quantity, spec.loop, knock)
    blank = replace(_blank(spec), why_not=why_not)
    if trace is None:
        return blank
    if not counts.any():
        return replace(blank, why_not="boost is never reached in this session")
    sign = -1.0 if spec.lowest else 1.0
    signed, limit = sign * trace, sign * spec.bound
    extreme, bound = least_left(forecast, spec, trace, counts, knock)
    value = float(trace[extreme])
    over = counts & (signed > limit)
    first = int(np.argmax(over)) if over.any() else None
    return replace(
        blank,
        holds=first is None,
        value=value,
        margin=spec.room(value),
        peak_time=float(forecast.time[extreme]),
        where=label_at(forecast, extreme),
        first_broken=None if first is None else float(forecast.time[first]),
        first_where="" if first is None else label_at(forecast, first),
        seconds_over=seconds_above(signed, limit, counts, forecast.time),
        subject=subject,
        only_bound=bound,
    )


def least_left(
    forecast: Forecast, spec: LimitSpec, trace: np.ndarray, counts: np.ndarray, knock: KnockVerdict | None = None
) -> tuple[int, bool]:
    """The sample of those that count at which least is left of a limit, and whether its value is only a bound."""
    signed = -trace if spec.lowest else trace
    extreme = int(np.argmax(np.where(counts & np.isfinite(signed), signed, -np.inf)))
    bound = spec.quantity == "margin" and held(forecast, trace, extreme)
    if bound and knock is not None and counts[knock.worst.sample] and held(forecast, trace, knock.worst.sample):
        extreme = knock.worst.sample  # where the model ends kelvin do not rank moments: octane does
    return extreme, bound


def _blank(spec: LimitSpec) -> LimitResult:
    """A limit that is not judged yet."""
    name = NAMES[spec.quantity] + (f" of loop {spec.loop}" if spec.loop else "")
    name += " in boost" if spec.during == "boost" and spec.quantity != "spread" else ""
    kind = KINDS[spec.quantity]
    blank = LimitResult(name, spec.quantity, spec.during, kind, spec.at_most, None, loop=spec.loop)
    return replace(blank, at_least=spec.at_least)


def limited_trace(
    forecast: Forecast, quantity: str, loop: str | None = None, knock: KnockVerdict | None = None
) -> tuple[np.ndarray | None, str, str]:
    """The trace that a limit on `quantity` looks at, whose it is, and why there is none if there is none.

    `loop` names one for coolant; None is the hottest into the charge cores.  A knock margin is NaN out of boost.
    """
    if quantity == "margin":
        trace, why_not = margin_trace(forecast, knock)
        return trace, "the charge", why_not
    if quantity == "over_ambient":
        return forecast.intake - forecast.demand.ambient_temperature, "the intake", ""
    return temperature_trace(forecast, quantity, loop)


def temperature_trace(seen: Temperatures, quantity: str, loop: str | None = None) -> tuple[np.ndarray | None, str, str]:
    """The same for limits on a temperature alone: "intake", "sensor", "coolant"; needs no whole forecast."""
    if quantity == "intake":
        return seen.intake, "the intake", ""
    if quantity == "sensor":
        if seen.sensor is None:
            return None, "", "no intake sensor is fitted"
        return seen.sensor, "the intake sensor", ""
    if loop is not None:
        return _loop_trace(seen, loop)
    loops = core_loops(seen)
    if not loops:
        own = "; an engine's own loop is judged where a limit names it with loop" if seen.coolant_in_cores else ""
        return None, "", "no coolant loop serves a charge core" + own
    hottest = np.max(np.vstack(list(loops.values())), axis=0)
    if len(loops) == 1:
        return hottest, f"the coolant of loop {next(iter(loops))}", ""
    return hottest, "the hottest loop's coolant", ""


def _loop_trace(seen: Temperatures, loop: str) -> tuple[np.ndarray | None, str, str]:
    """The coolant of the loop that a limit names: into its charge cores, else where it leaves a part hottest."""
    if loop not in seen.build.loops:
        close = nearest(loop, seen.build.loops)
        hint = f'; nearest: "{close}"' if close else ""
        return None, "", f'the build has no loop "{loop}"{hint}'
    trace = core_loops(seen).get(loop)
    subject = f"the coolant of loop {loop}"
    if trace is None:
        trace = hottest_outlet(seen, loop)
        if parse_coolant(seen.build.loops[loop].coolant).is_oil:
            subject = f"the oil of loop {loop}"
    return trace, subject, "" if trace is not None else f"loop {loop} has no figures in this session"


def _judge_spread(forecast: Forecast, spec: LimitSpec) -> LimitResult:
    """The larger of the spreads of over-ambient temperature and of mean power, so that both must hold."""
    blank = _blank(spec)
    found = [
        (share, subject)
        for share, subject in (
            (temperature_spread(forecast, forecast.intake), "the repeats' peaks over the air outside"),
            (power_spread(forecast), "the repeats' mean powers"),
        )
        if share is not None
    ]
    if not found:
        return replace(blank, why_not="it takes at least two repeats that reach boost")
    value, subject = max(found, key=lambda pair: pair[0])
    return replace(blank, holds=spec.room(value) >= 0.0, value=value, margin=spec.room(value), subject=subject)


def seconds_above(values: np.ndarray, limit: float, counts: np.ndarray, time: np.ndarray) -> float:
    """How long `values` is above `limit` where `counts`, s; linear between samples.

    An interval with only one counted end counts half; NaN is not above.
    """
    over = np.nan_to_num(np.asarray(values, dtype=float) - limit, nan=0.0)
    a, b = over[:-1], over[1:]
    up = np.maximum(a, 0.0) + np.maximum(b, 0.0)
    size = np.abs(a) + np.abs(b)
    share = np.divide(up, size, out=np.zeros_like(up), where=size > 0.0)
    weight = 0.5 * (counts[:-1].astype(float) + counts[1:].astype(float))
    return float(np.sum(share * weight * np.diff(time)))


def span_at(forecast: Forecast, sample: int) -> Span | None:
    """The span that holds a sample; at a shared edge the earlier one, whose end it is."""
    return next((span for span in forecast.demand.spans if span.first <= sample <= span.last), None)


def label_at(forecast: Forecast, sample: int) -> str:
    """The words of the phase at a sample, empty if it lies in none."""
    span = span_at(forecast, sample)
    return span.label if span else ""


# ---------------------------------------------------------------- the headline


def headline(
    forecast: Forecast, results: Sequence[LimitResult], knock: KnockVerdict | None = None
) -> tuple[Sentence, ...]:
    """The verdict in one to three sentences, without how sure it is (`sureness.py`).

    `knock` where it has been judged already.
    """
    judged = [result for result in results if result.holds is not None]
    broken = [result for result in judged if not result.holds]
    nearest = _nearest(judged)
    said: list[Sentence]
    if not results:
        said = [_no_limit(forecast, "No limit was given: ")]
    elif not judged:
        said = [_no_limit(forecast, "None of the limits given can be judged on this session and build: ")]
    elif broken:
        said = _broken(forecast, broken, knock)
        if nearest and all(result.quantity == "spread" for result in broken):
            said.append(_held(forecast, nearest))
    else:
        said = [_held(forecast, nearest, "Holds: ")] if nearest else []
    if any(result.lowest for result in judged):
        said.append(
            Sentence(
                "A margin to knock is itself known to {known} only, near your known point.",
                {"known": Range(*CALIBRATED_TEMPERATURE, "temperature_difference")},
            )
        )
    if forecast.health.compressor_off > 0.0:
        said.append(
            Sentence(
                "But the compressor runs off its map for {time} of boost: it cannot make this air, so do not trust "
                "these temperatures and this power.",
                {"time": Quantity(forecast.health.compressor_off, "time")},
            )
        )
    surging = seconds_surging(forecast)
    if surging > 0.0:
        said.append(
            Sentence(
                "The compressor runs left of its surge line for {time} of boost: a real one may surge there, so take "
                "these temperatures and this power with care.",
                {"time": Quantity(surging, "time")},
            )
        )
    said += spoiled_coolant(forecast)
    return tuple(said)


def told(results: Sequence[LimitResult]) -> LimitResult | None:
    """The limit that the headline is about: of those that break the first to give, else the nearest; None: none is.

    A limit on a spread has no moment and is told only where no other is broken.
    """
    broken = [result for result in results if result.holds is False]
    return _first_broken(broken) if broken else _nearest([result for result in results if result.holds is not None])


def _first_broken(broken: Sequence[LimitResult]) -> LimitResult:
    return min(broken, key=lambda r: (r.first_broken is None, r.first_broken or 0.0))


def _nearest(judged: Sequence[LimitResult]) -> LimitResult | None:
    """The limit that is nearest among those that hold: temperatures before spread."""
    held = [result for result in judged if result.holds]
    return min(held, key=lambda r: (r.kind == "share", r.margin or 0.0)) if held else None


def _no_limit(forecast: Forecast, start: str) -> Sentence:
    at = forecast.peak
    place = label_at(forecast, at)
    return Sentence(
        start
        + "the intake peaks at {peak}, {over} "
        + ("over" if _over(forecast) >= 0.0 else "under")
        + " ambient"
        + (", in {place}" if place else "")
        + " at {when} into the session.",
        {
            "peak": Quantity(float(forecast.intake[at]), "temperature"),
            "over": Quantity(abs(_over(forecast)), "temperature_difference"),
            "place": place,
            "when": Quantity(float(forecast.time[at]), "clock"),
        },
    )


def _over(forecast: Forecast) -> float:
    return float(forecast.intake[forecast.peak] - forecast.demand.ambient_temperature[forecast.peak])


def _held(forecast: Forecast, nearest: LimitResult, start: str = "") -> Sentence:
    """The nearest of the limits that hold; `start` opens the sentence."""
    values = _numbers(nearest)
    if nearest.quantity == "spread":
        return _opened(start, "{subject} differ by {value}, {whose} limit is {limit}.", values)
    if nearest.lowest:
        place = " in {where}" if nearest.where else ""
        text = (
            "{subject} comes no nearer to knock than {value}"
            + place
            + ", "
            + ("at least " if nearest.only_bound else "")
            + "{margin} more than {whose} {limit} margin."
        )
        return _opened(start, text, values)
    noun = _repeat_noun(forecast, nearest)
    if noun and not any(_sample(forecast, nearest.peak_time) in one.samples for one in repeats(forecast)[0]):
        noun = ""  # highest before a start, which is no part of a repeat
    peaks = "peaks at {value}" if nearest.kind == "temperature" else "peaks {value} over ambient"
    if noun and nearest.quantity in ("intake", "over_ambient"):
        return _opened(start, "the hottest " + noun + " " + peaks + ", {margin} under {whose} {limit} limit.", values)
    place = " in {where}" if nearest.where else ""
    return _opened(start, "{subject} " + peaks + place + ", {margin} under {whose} {limit} limit.", values)


def _opened(start: str, text: str, values: dict[str, Quantity | str]) -> Sentence:
    if not start and text.startswith("{subject}"):
        subject = str(values["subject"])
        values["subject"] = subject[:1].upper() + subject[1:]
    elif not start:
        text = text[0].upper() + text[1:]
    return Sentence(start + text, values)


def _numbers(result: LimitResult) -> dict[str, Quantity | str]:
    return {
        "subject": result.subject,
        "value": Quantity(result.value or 0.0, result.kind),
        "margin": Quantity(abs(result.margin or 0.0), result.margin_kind),
        "limit": limit_quantity(result.bound, result.kind),
        "where": result.where,
        "whose": result.whose,
    }


def _repeat_noun(forecast: Forecast, result: LimitResult) -> str:
    """The word for one repeat, when the session has one set of repeats and the limit counts in boost; else empty.

    A group is called by the user's own name for it ("lap").
    """
    if len(repeats(forecast)) != 1 or result.during != "boost":
        return ""
    named = [name for name, times in forecast.session.groups.items() if times > 1]
    if named:
        return named[0] if len(named) == 1 else "round"
    kinds = {span.kind for span in forecast.demand.spans if span.repeat >= 0}
    return kinds.pop() if kinds in ({"pull"}, {"lap"}) else "run"


def _broken(forecast: Forecast, broken: Sequence[LimitResult], knock: KnockVerdict | None) -> list[Sentence]:
    """The limit that gives first, then how many others give."""
    first = _first_broken(broken)
    if first.quantity == "spread":
        said = [Sentence("Does not hold: {subject} differ by {value}, {whose} limit is {limit}.", _numbers(first))]
    else:
        said = _broken_in_repeats(forecast, first, knock) or [_broken_once(first)]
    if len(broken) > 1:
        names = [result.name for result in broken if result is not first]
        said.append(Sentence("Broken too: {names}.", {"names": ", ".join(names)}))
    return said


def _broken_once(result: LimitResult) -> Sentence:
    values = _numbers(result)
    values["first"] = Quantity(result.first_broken or 0.0, "clock")
    values["over"] = Quantity(result.seconds_over, "time")
    values["place"] = result.first_where
    place = " ({place})" if result.first_where else ""
    return Sentence(
        "Does not hold: {subject} "
        + _beyond(result, "margin")
        + "; first at {first} into the session"
        + place
        + ", {over} in all.",
        values,
    )


def _beyond(result: LimitResult, by: str) -> str:
    """ "goes 3 K over your 60 degC limit", "falls 3 K short of your 8 K knock margin"; `by` names the difference."""
    if result.lowest:
        return f"falls {result.more}{{{by}}} short of {{whose}} {{limit}} {NAMES[result.quantity]}"
    return f"goes {{{by}}} over {{whose}} {{limit}} limit"


def _broken_in_repeats(forecast: Forecast, result: LimitResult, knock: KnockVerdict | None) -> list[Sentence]:
    """ "Does not hold: the first four pulls do, the fifth goes ..."; nothing where it breaks first outside them."""
    noun = _repeat_noun(forecast, result)
    trace, _, _ = limited_trace(forecast, result.quantity, result.loop, knock)
    if not noun or trace is None or result.first_broken is None:
        return []
    group = repeats(forecast)[0]
    sign = -1.0 if result.lowest else 1.0
    signed, limit = sign * trace, sign * result.bound
    peaks = [_peak(forecast, repeat, signed) for repeat in group]
    gives = next((i for i, peak in enumerate(peaks) if peak is not None and peak > limit), None)
    if gives is None or _sample(forecast, result.first_broken) not in group[gives].samples:
        return []
    values = _numbers(result)
    by = (peaks[gives] or 0.0) - limit
    if result.only_bound and result.margin is not None:
        by = min(by, abs(result.margin))  # two bounds on one margin: the one that the limit's own line tells
    values["by"] = Quantity(by, "temperature_difference")
    values["which"] = ordinal(gives + 1)
    if gives == 0:
        text = "Does not hold: {subject} " + _beyond(result, "by") + " already in the {which} {noun}"
    else:
        text = "Does not hold: the first {held}, the {which} " + _beyond(result, "by")
    values["noun"] = noun
    values["held"] = f"{noun} does" if gives == 1 else f"{counted(gives, noun)} do"
    known = [(peak, i) for i, peak in enumerate(peaks) if peak is not None]
    worst, at = max(known)
    if result.only_bound and knock is not None:  # kelvin do not rank what lies beyond the model: octane does
        at = next((i for i, one in enumerate(group) if knock.worst.sample in one.samples), gives)
        if at != gives:
            text += "; the worst is the {worst}"
            values["worst"] = ordinal(at + 1)
    elif at != gives and worst - limit >= by + CLEARLY:
        text += "; the worst, the {worst}, {worst_by} " + ("short" if result.lowest else "over")
        values["worst"] = ordinal(at + 1)
        values["worst_by"] = Quantity(worst - limit, "temperature_difference")
    values["first"] = Quantity(result.first_broken, "clock")
    values["time_over"] = Quantity(result.seconds_over, "time")
    first = "First short of it" if result.lowest else "First over it"
    return [
        Sentence(text + ".", values),
        Sentence(first + " at {first} into the session, {time_over} in all.", values),
    ]


def _sample(forecast: Forecast, time: float | None) -> int:
    """The sample at a time that is one of the forecast's, s; -1 for none."""
    return -1 if time is None else int(np.argmin(np.abs(forecast.time - time)))


def _peak(forecast: Forecast, repeat: Repeat, trace: np.ndarray) -> float | None:
    samples = repeat.samples[forecast.boost[repeat.samples] & np.isfinite(trace[repeat.samples])]
    return float(trace[samples].max()) if samples.size else None
