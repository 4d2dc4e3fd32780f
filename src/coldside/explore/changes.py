"""What to change: single changes to a build or session, each really re-run, ranked by what they do to one figure.

What is here: `what_to_change`, `Changes`, `Change`, their sentences and JSON.  What is not: the changes
themselves (`changed.py`), one run (`outcome.py`), whether limits hold (`judge/verdict.py`).

Every change is run as coarsely as its base (`outcome.COARSE`), so that the grid's error drops out of the
difference, which is added to the forecast's own figure.  The best of them are run again on draws of the
uncertain inputs that base and change have in common: their band is that of the difference.
Bounded: one base, at most 14 changes, and `draws` runs of the base and of each of the `banded` best; where no single
one is enough, the `PAIRED` best two by two, those as finely as a forecast.
Passes and laps are driven as the settled forecast drives them, changed only as the change itself does; what the
change makes of their times is found by driving them once more with the power that its heat leaves.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from coldside.build.model import Build, names_on
from coldside.duty.model import LimitSpec, Session, Shares
from coldside.errors import ColdsideError
from coldside.explore.changed import CHANGES, KINDS, SHORT, changed, faces_of, said
from coldside.explore.coarse import all_right, lacks
from coldside.explore.draws import Uncertain, drawn, scores, uncertain_inputs, values_of
from coldside.explore.inventory import Inventory, inventory
from coldside.explore.outcome import COARSE, DRAWN, FINE, Fineness, Outcome, figures, run
from coldside.explore.workers import on_all_cores
from coldside.judge.verdict import KINDS as LIMIT_KINDS
from coldside.judge.verdict import NAMES, judge_limit
from coldside.judge.verdict import told as limit_told
from coldside.judge.wording import Quantity, Sentence, listed
from coldside.parts.exchanger import ExchangerSpec
from coldside.plant.results import Forecast

PAIRED = 4  # of the best changes that are tried two by two: six pairs
GIVES_UP = ("boost", "rest")  # what costs power or time on the track instead of a part
DRAWS, BANDED = 6, 4  # runs of each of the best, and how many are the best
TENTHS = 1.2816  # standard deviations from the middle to the 10th and 90th percentile of a normal quantity
CLOSE, CLOSE_SHARE = 5.0, 0.05  # K, or share of a spread, by which a limit that holds is close (own)
WORTH, WORTH_SHARE = 0.25, 0.005  # the same that a change must bring to be one (own)
MASS, VOLUME, CURRENT, PREHEAT, LOSS, POWER, RUN = (
    0.1,
    0.1e-3,
    0.3,
    0.5,
    200.0,
    0.005,
    0.01,
)  # from which a side effect is named


@dataclass(frozen=True)
class Aside:
    """What a change does beside the figure it was tried for; differences to the build as it is, SI.

    `mass` [kg] of metal and coolant, as far as the build describes parts; `charge_volume` [m3]; `current` [A] of all
    pumps and fans on; `charge_loss` [Pa] at the hottest moment; `power` share of mean power in boost; `run_time` [s]
    of a pass or lap on average, with the power that heat then leaves (None without one); `preheat` by
    part [K]: air that reaches a face behind those that cool the charge, mean in boost; `breaks` the limits
    that hold now and would not; `mends` those broken now that would hold.
    """

    mass: float
    charge_volume: float
    current: float
    charge_loss: float
    power: float | None
    run_time: float | None
    preheat: Mapping[str, float]
    breaks: tuple[str, ...]
    mends: tuple[str, ...]


@dataclass(frozen=True)
class Change:
    """One change that was run, SI.

    `effect` on the figure (below 0 is better; of a margin what it loses), its `band` (10th and 90th percentile; None
    where not drawn), the figure's `value` with it, whether the limit then `holds` (None without one).
    """

    kind: str
    what: Sentence
    effect: float
    value: float
    holds: bool | None
    aside: Aside
    band: tuple[float, float] | None = None


@dataclass(frozen=True)
class Together:
    """Two changes made together, as a `Change`."""

    kinds: tuple[str, str]
    what: tuple[Sentence, Sentence]
    effect: float
    value: float
    holds: bool
    aside: Aside


@dataclass(frozen=True)
class Changes:
    """Changes ranked by what they do to the limiting figure, best first.

    `figure` as of `outcome.figures`, `name` and `unit_kind` of it, `value` now, `limit` (None: none was judged, then
    the peak of the intake counts), `urgency` "broken", "close" or "holds"; `without` the kinds that found no balance
    and why; `runs` made; `pairs` those tried where no single change is enough, what holds first, then the lightest.
    """

    figure: str
    name: str
    unit_kind: str
    value: float
    limit: LimitSpec | None
    urgency: str
    ranked: tuple[Change, ...]
    without: tuple[tuple[str, str], ...]
    runs: int
    pairs: tuple[Together, ...] = ()

    @property
    def sentences(self) -> tuple[Sentence, ...]:
        """The list in words, a lead and one line a change; those that do nothing together in the last."""
        return tuple(_lines(self))


def what_to_change(
    forecast: Forecast,
    *,
    limits: Sequence[LimitSpec] | None = None,
    kinds: Sequence[str] = KINDS,
    draws: int = DRAWS,
    banded: int = BANDED,
    seed: int = 0,
    fineness: Fineness | None = None,
) -> Changes:
    """Single changes to the forecast's build and session, each re-run, ranked.

    Parameters: `limits` in place of the session's own; `kinds` of changes to try; `draws` of the uncertain inputs
    for each of the `banded` best, which then have a band (0: none).  The figure is the limit broken first, else the
    one with least to spare, else the peak of the intake.  `fineness` None: `COARSE`, with every sample of passes and
    laps (see `of_runs`).  Raises as `simulate` does for the base.
    """
    build = forecast.build
    in_draws = DRAWN if fineness is None else fineness  # there only how far effects scatter is looked at
    if fineness is None:
        fineness = of_runs(COARSE) if forecast.demand.runs else COARSE
    session = forecast.session if limits is None else replace(forecast.session, limits=tuple(limits))
    limit, figure, urgency = _limiting(forecast, session.limits)
    nominal = figures(replace(forecast, session=session))
    jobs: list[tuple[str, Build, Session]] = [("", build, session)]
    for kind in kinds:
        pair = changed(kind, build, session)
        if pair is not None:
            jobs.append((kind, *pair))
    seen = on_all_cores(_seen, (fineness, forecast.shares), jobs)
    base = seen[0]
    if isinstance(base, str):  # as the build is, it has been solved: what is coarse must be too
        run(build, session, fineness, shares=forecast.shares)
        base = {}
    found, without, now = [], [], inventory(build)
    for (kind, other, _), one in zip(jobs[1:], seen[1:], strict=True):
        right = {} if isinstance(one, str) else all_right(one, lacks(nominal, base, session.limits), session.limits)
        if isinstance(one, str) or figure not in right:
            without.append((kind, one if isinstance(one, str) else "the figure is not there to be judged"))
            continue
        value = right[figure]
        effect = _sign(limit) * (one[figure] - base[figure])
        holds = None if limit is None else limit.room(value) >= 0.0
        aside = _aside(session, nominal, base, one, (now, inventory(other)))
        found.append(Change(kind, said(kind, build), effect, value, holds, aside))
    found.sort(key=lambda change: change.effect)
    shared = ((figure, _sign(limit)), (draws, banded, seed), in_draws)
    ranked, more = _with_bands(found, forecast, session, *shared)
    pairs: list[Together] = []
    if limit is not None and urgency == "broken" and base and not any(one.holds for one in found):
        worth = WORTH_SHARE if limit.quantity == "spread" else WORTH
        kinds_of = [one.kind for one in found if one.effect <= -worth][:PAIRED]
        both = [(one, other, build, session) for k, one in enumerate(kinds_of) for other in kinds_of[k + 1 :]]
        more += len(both) + 1 if both else 0
        pairs = _together(both, (FINE, forecast.shares), (limit, figure), nominal)
    return Changes(
        figure=figure,
        name=NAMES[limit.quantity] if limit is not None else "peak of the intake",
        unit_kind=LIMIT_KINDS[limit.quantity] if limit is not None else "temperature",
        value=nominal[figure],
        limit=limit,
        urgency=urgency,
        ranked=tuple(ranked),
        without=tuple(without),
        runs=len(jobs) + more,
        pairs=tuple(pairs),
    )


def _together(
    both: Sequence[tuple[str, str, Build, Session]],
    how: tuple[Fineness, Shares | None],
    judged: tuple[LimitSpec, str],
    nominal: Mapping[str, float],
) -> list[Together]:
    """Pairs of changes, run with their base: what holds first, of that what gives up least, the lightest."""
    limit, figure = judged
    jobs, of = [], []
    for one, other, build, session in both:
        first = changed(one, build, session)
        second = None if first is None else changed(other, *first)
        if second is not None:
            jobs.append((f"{one} and {other}", *second))
            of.append((one, other))
    found: list[Together] = []
    if not jobs:
        return found
    build, session = both[0][2:]
    base, *paired = on_all_cores(_seen, how, [("", build, session), *jobs])
    if isinstance(base, str):
        return found
    for (one, other), (_, made, _), seen in zip(of, jobs, paired, strict=True):
        right = {} if isinstance(seen, str) else all_right(seen, lacks(nominal, base, session.limits), session.limits)
        if isinstance(seen, str) or figure not in right:
            continue
        value = right[figure]
        found.append(
            Together(
                kinds=(one, other),
                what=(said(one, build), said(other, build)),
                effect=_sign(limit) * (seen[figure] - base[figure]),
                value=value,
                holds=limit.room(value) >= 0.0,
                aside=_aside(session, nominal, base, seen, (inventory(build), inventory(made))),
            )
        )

    def order(pair: Together) -> tuple[float, ...]:
        good = pair.holds and not pair.aside.breaks
        gives_up = sum(kind in GIVES_UP for kind in pair.kinds)
        return (not good, gives_up if good else 0.0, pair.aside.mass if good else pair.effect)

    return sorted(found, key=order)


# ---------------------------------------------------------------- running


def _sign(limit: LimitSpec | None) -> float:
    """What makes a figure's rise the worse: -1 for one that must not fall."""
    return -1.0 if limit is not None and limit.lowest else 1.0


def of_runs(fineness: Fineness) -> Fineness:
    """The same with every sample kept: a run peaks in the last tenth of a second before a change of gear.

    A change moves that moment, so that runs with samples 0.4 s apart would differ by up to 1 K for nothing.
    """
    return replace(fineness, every=1)


def _limiting(forecast: Forecast, limits: Sequence[LimitSpec]) -> tuple[LimitSpec | None, str, str]:
    """The limit that the verdict tells, its figure, and how much it presses: broken, close within `CLOSE`, or holds."""
    judged = [judge_limit(forecast, spec) for spec in limits]
    matters = limit_told([one for one in judged if one.margin is not None])
    if matters is None:
        return None, "intake_max", "holds"
    k = next(k for k, one in enumerate(judged) if one is matters)
    spec, figure = limits[k], f"limits.{k}"
    if matters.holds is False:
        return spec, figure, "broken"
    close = CLOSE_SHARE if spec.quantity == "spread" else CLOSE
    return spec, figure, "close" if float(matters.margin or 0.0) <= close else "holds"


def _seen(
    shared: tuple[Fineness, Shares | None], jobs: Sequence[tuple[str, Build, Session]]
) -> list[dict[str, float] | str]:
    """Figures of some runs with what side effects look at; what was said where there is no balance."""
    fineness, shares = shared
    found: list[dict[str, float] | str] = []
    for _, build, session in jobs:
        try:
            found.append(_measured(run(build, session, fineness, shares=shares, timed=True)))
        except ColdsideError as fault:
            found.append(str(fault))
    return found


def _measured(outcome: Outcome) -> dict[str, float]:
    counts = outcome.boost if outcome.boost.any() else np.ones(len(outcome.time), dtype=bool)
    found = figures(outcome) | {"charge_loss": outcome.charge_loss}
    for part in behind(outcome.build):
        found[f"preheat.{part}"] = float(outcome.cooling_in[part][counts].mean())
    if outcome.run_times:
        found["run_time"] = float(np.mean(outcome.run_times))
    return found


def behind(build: Build) -> tuple[str, ...]:
    """Faces that stand in a duct with one that cools the charge and do not cool the charge: radiators, condensers."""
    own, found = set(faces_of(build)), []
    for duct in build.ducts.values():
        names = names_on(duct.path)
        if own & set(names):
            found += [n for n in names if n not in own and isinstance(build.parts[n], ExchangerSpec)]
    return tuple(dict.fromkeys(found))


def _aside(
    session: Session,
    nominal: Mapping[str, float],
    base: Mapping[str, float],
    one: Mapping[str, float],
    held: tuple[Inventory, Inventory],
) -> Aside:
    breaks, mends = [], []
    right = all_right(one, lacks(nominal, base, session.limits), session.limits)
    for k, spec in enumerate(session.limits):
        key = f"limits.{k}"
        if key not in right:
            continue
        before, after = nominal[key], right[key]
        if spec.room(before) >= 0.0 > spec.room(after):
            breaks.append(NAMES[spec.quantity])
        elif spec.room(after) >= 0.0 > spec.room(before):
            mends.append(NAMES[spec.quantity])
    power = one["power_mean"] / base["power_mean"] - 1.0 if base.get("power_mean", 0.0) > 0.0 else None
    now, then = held
    return Aside(
        mass=then.mass - now.mass,
        charge_volume=then.charge_volume - now.charge_volume,
        current=then.current - now.current,
        charge_loss=one["charge_loss"] - base["charge_loss"],
        power=power,
        run_time=one["run_time"] - base["run_time"] if "run_time" in one and "run_time" in base else None,
        preheat={
            key.partition(".")[2]: value - base[key]
            for key, value in one.items()
            if key.startswith("preheat.") and key in base
        },
        breaks=tuple(breaks),
        mends=tuple(mends),
    )


def _with_bands(
    found: list[Change],
    forecast: Forecast,
    session: Session,
    ranked_by: tuple[str, float],
    asked: tuple[int, int, int],
    fineness: Fineness,
) -> tuple[list[Change], int]:
    """The best changes with the band of their effect from draws that they share with the base; runs made.

    `ranked_by`: the figure, and -1 for one that must not fall.
    """
    figure, sign = ranked_by
    draws, banded, seed = asked
    build = forecast.build
    inputs, best = uncertain_inputs(build, session), [one.kind for one in found[:banded]]
    if draws < 2 or not best or not inputs:
        return found, 0
    kinds = ["", *best]
    jobs = [(kind, row) for row in values_of(inputs, scores(len(inputs), draws, seed)) for kind in kinds]
    shared = (build, session, inputs, figure, fineness, forecast.shares)
    values = np.array(on_all_cores(_of_draws, shared, jobs))
    by_kind = values.reshape(draws, len(kinds))
    effects = sign * (by_kind[:, 1:] - by_kind[:, :1])
    banded_changes = []
    for k, change in enumerate(found):
        known = effects[np.isfinite(effects[:, k]), k] if k < len(best) else np.zeros(0)
        if known.size < 2:
            banded_changes.append(change)
            continue
        reach = TENTHS * float(known.std(ddof=1))
        banded_changes.append(replace(change, band=(change.effect - reach, change.effect + reach)))
    return banded_changes, len(jobs)


def _of_draws(
    shared: tuple[Build, Session, tuple[Uncertain, ...], str, Fineness, Shares | None],
    jobs: Sequence[tuple[str, np.ndarray]],
) -> list[float]:
    """The figure with one change on one draw of the inputs; NaN where there is no balance."""
    build, session, inputs, figure, fineness, shares = shared
    found = []
    for kind, row in jobs:
        try:
            pair = drawn(build, session, inputs, row)
            if kind:
                pair = CHANGES[kind](*pair) or pair
            found.append(figures(run(*pair, fineness, shares=shares)).get(figure, np.nan))
        except ColdsideError:
            found.append(np.nan)
    return found


# ---------------------------------------------------------------- words


def _lines(found: Changes) -> list[Sentence]:
    spread = found.unit_kind == "share"
    kind, least = ("points", WORTH_SHARE) if spread else ("temperature_difference", WORTH)
    useful = [one for one in found.ranked if one.effect <= -least]
    lead = {
        "broken": "What to change, each alone and re-run, by what it does to the {name}, now {value}:",
        "close": "Close: what would give the {name}, now {value}, more room, each alone and re-run:",
        "holds": "Nothing has to change. What would {lower} the {name}, now {value}, each alone and re-run:",
    }[found.urgency]
    lower = "raise" if found.limit is not None and found.limit.lowest else "lower"
    lines = [Sentence(lead, {"name": found.name, "value": Quantity(found.value, found.unit_kind), "lower": lower})]
    lines += [_line(one, found, kind) for one in useful]
    if not useful:
        lines.append(Sentence("None of the changes tried does anything worth its work here."))
    elif found.limit is not None and found.urgency == "broken" and not any(one.holds for one in useful):
        lines.append(_pair_line(found))
    tank = next((one for one in found.ranked if one.kind == "tank"), None)
    if tank is not None and not tank.holds and (found.urgency == "broken" or tank.effect > -least):
        text = (
            "Why not simply more coolant: a tank buys time, not capacity. It delays what heat adds up to; once all of "
            "it is warm, the charge is as hot as before, and only what carries heat off to the air helps."
        )
        lines.append(Sentence(text))
    small = [one for one in found.ranked if -least < one.effect < least]
    worse = [one for one in found.ranked if one.effect >= least]
    if small:
        lines.append(Sentence("Next to nothing: {names}.", {"names": listed([SHORT[one.kind] for one in small])}))
    if worse:
        lines.append(Sentence("Worse: {names}.", {"names": listed([SHORT[one.kind] for one in worse])}))
    for name, why in found.without:
        start = SHORT[name][0].upper() + SHORT[name][1:]
        lines.append(Sentence("{name}: not judged, {why}.", {"name": start, "why": why.rstrip(".")}))
    return lines


def _placed(what: Sentence, prefix: str, values: dict[str, Any]) -> str:
    """A sentence's template for use inside another, its values put among the other's."""
    template = what.template
    for key, value in what.values.items():
        template = template.replace("{" + key + "}", "{" + prefix + key + "}")
        values[prefix + key] = value
    return template


def _lowered(template: str, values: dict[str, Any]) -> str:
    """A template to stand inside a sentence: its first letter small, also where a word of the values opens it."""
    for key, value in values.items():
        if template.startswith("{" + key + "}") and isinstance(value, str):
            values[key] = value[:1].lower() + value[1:]
    return template[:1].lower() + template[1:]


def _pair_line(found: Changes) -> Sentence:
    """Which two changes together hold, or by how much the best two miss."""
    assert found.limit is not None
    if not found.pairs:
        return Sentence("No single one of these is enough, and no two of them could be tried together.")
    kind = "points" if found.unit_kind == "share" else "temperature_difference"
    holding = [pair for pair in found.pairs if pair.holds and not pair.aside.breaks]
    best = holding[0] if holding else found.pairs[0]
    values: dict[str, Any] = {
        "by": Quantity(-best.effect, kind),
        "margin": Quantity(abs(found.limit.room(best.value)), kind),
        "count": str(len(found.pairs)),
    }
    first, second = (_placed(what, f"pair{k}_", values) for k, what in enumerate(best.what))
    what = f"{first}, and {_lowered(second, values)}"
    beside = _beside(best.aside, values)
    if not holding:
        text = f"No single one of these is enough, nor are two of the best together ({{count}} pairs re-run). {what}, "
        text += "come nearest: still {margin} " + ("short" if found.limit.lowest else "over")
        if best.holds:
            text = f"No single one of these is enough. {what}, would do it"
    else:
        more = "more" if found.limit.lowest else "less"
        text = f"No single one of these is enough. The lightest two together that are: {what}, re-run: {{by}} {more}, "
        text += "the limit then holds with {margin} to spare"
    return Sentence(text + ("; " + ", ".join(beside) if beside else "") + ".", values)


def _line(one: Change, found: Changes, kind: str) -> Sentence:
    values: dict[str, Any] = {"by": Quantity(-one.effect, kind, 1)}
    what = _placed(one.what, "what_", values)
    text = what + (": {by} more" if found.limit is not None and found.limit.lowest else ": {by} less")
    if one.band is not None:
        values["low"], values["high"] = Quantity(-one.band[1], kind, 1), Quantity(-one.band[0], kind, 1)
        text += " (likely {low} to {high})"
    if found.urgency == "broken" and found.limit is not None:
        text += ", the limit then holds" if one.holds else ", not enough alone"
    beside = _beside(one.aside, values)
    if beside:
        text += "; " + ", ".join(beside)
    return Sentence(text + ".", values)


def _beside(aside: Aside, values: dict[str, Quantity | str]) -> list[str]:
    """Side effects worth a word, their numbers put among the sentence's values."""

    def put(key: str, number: float, kind: str, digits: int = 0) -> str:
        values[key] = Quantity(abs(number), kind, digits)
        return "{" + key + "} " + ("more" if number > 0.0 else "less")

    told = []
    if abs(aside.mass) >= MASS:
        told.append(put("mass", aside.mass, "mass") + " to carry")
    if abs(aside.charge_volume) >= VOLUME:
        told.append(put("volume", aside.charge_volume, "air_volume") + " charge volume")
    if abs(aside.current) >= CURRENT:
        told.append(put("current", aside.current, "current") + " to draw")
    if abs(aside.charge_loss) >= LOSS:
        told.append(put("loss", aside.charge_loss, "pressure_difference") + " charge loss")
    for k, (part, rise) in enumerate(aside.preheat.items()):
        if abs(rise) >= PREHEAT:
            values[f"part{k}"], values[f"rise{k}"] = part, Quantity(abs(rise), "temperature_difference", 1)
            told.append(f"air to {{part{k}}} {{rise{k}}} " + ("warmer" if rise > 0.0 else "cooler"))
    if aside.power is not None and abs(aside.power) >= POWER:
        told.append(put("power", aside.power, "share", 1) + " power")
    if aside.run_time is not None and abs(aside.run_time) >= RUN:
        told.append(f"{abs(aside.run_time):.2f} s " + ("slower" if aside.run_time > 0.0 else "quicker") + " a run")
    if aside.breaks:
        values["breaks"] = listed(aside.breaks)
        told.append("but breaks the limit on {breaks}")
    return told


def changes_json(found: Changes, system: str = "si") -> dict[str, Any]:
    """Changes as a plain dictionary for JSON: keys carry the unit, a share none; what is not known is null."""
    unit = "" if found.unit_kind == "share" else "_K"
    return {
        "figure": found.figure,
        "name": found.name,
        "value" + unit: found.value,
        "at_most" + unit: None if found.limit is None else found.limit.at_most,
        "at_least" + unit: None if found.limit is None else found.limit.at_least,
        "urgency": found.urgency,
        "runs": found.runs,
        "pairs": [
            {
                "kinds": list(one.kinds),
                "what": [what.words(system) for what in one.what],
                "effect" + unit: one.effect,
                "value" + unit: one.value,
                "holds": one.holds,
                "mass_kg": one.aside.mass,
                "breaks": list(one.aside.breaks),
            }
            for one in found.pairs
        ],
        "ranked": [
            {
                "kind": one.kind,
                "what": one.what.words(system),
                "effect" + unit: one.effect,
                "effect_p10" + unit: None if one.band is None else one.band[0],
                "effect_p90" + unit: None if one.band is None else one.band[1],
                "value" + unit: one.value,
                "holds": one.holds,
                "mass_kg": one.aside.mass,
                "charge_volume_m3": one.aside.charge_volume,
                "current_A": one.aside.current,
                "charge_loss_Pa": one.aside.charge_loss,
                "power": one.aside.power,
                "run_time_s": one.aside.run_time,
                "preheat_K": dict(one.aside.preheat),
                "breaks": list(one.aside.breaks),
                "mends": list(one.aside.mends),
            }
            for one in found.ranked
        ],
        "without_balance": [{"kind": kind, "why": why} for kind, why in found.without],
        "words": [sentence.words(system) for sentence in found.sentences],
    }
