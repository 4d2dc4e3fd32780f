"""When a pump or fan dies, or a hose lets go, at the worst moment: how long there is, and what warns.

What is here: `failures`, cheap enough for every verdict (one coarse plant, one march for each part that can die), its
sentences and JSON.  What is not: a part that has its fault from the start (key `fault`), leaks that take minutes.

The worst moment is the beginning of the boost that holds the hottest intake, or `WINDOW` before that peak in a longer
one.  A hose that lets go is reckoned as coolant that stands: a core that runs dry warms faster.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from coldside.build.model import names_on
from coldside.duty.model import LimitSpec
from coldside.explore.commands import OFF, Bench, Tried
from coldside.explore.outcome import COARSE
from coldside.judge.wording import Quantity, Sentence
from coldside.parts.airflow import FanSpec
from coldside.parts.exchanger import WaterCoreSpec
from coldside.parts.lines import HoseSpec
from coldside.parts.pump import PumpSpec
from coldside.plant.results import Forecast

WINDOW = 60.0  # s before the peak at which a part dies in a boost longer than that
GAP = 3.0  # s without boost that part no two stretches of it: a shift, a corner
REACTION = 1.5  # s from a reading to the throttle shut (a guess of ours)
SWITCH = 1.0  # s from a failure to a lamp by a flow or current switch (a guess of ours)
CLEARLY = 1.0  # K by which a reading must pass what it reads when all is well, to tell anything
LIMITED = ("intake", "sensor", "over_ambient")


@dataclass(frozen=True)
class Failure:
    """What happens when one part dies.

    `what` is pump, fan or hose; `at` s into the session; `left` s from there to the end of that boost; `to_limit` s
    from there until the limit is passed, None where it is not or there is none;
    `warmer` K that the intake's peak in the boost is over that with all well; `lift_at` K, the sensor's reading
    from which lifting within `REACTION` keeps the limit, `lift_after` s when it is reached, None without limit, sensor
    or time; `well` K, the highest reading in boost with all well; `saved` s by which a switch tells before the
    reading does, None where no reading tells.
    """

    name: str
    what: str
    at: float
    left: float
    to_limit: float | None
    warmer: float
    lift_at: float | None
    lift_after: float | None
    well: float | None
    saved: float | None


@dataclass(frozen=True)
class Failures:
    """All of them, the quickest to the limit first; `limit` is the one looked at, None without one on the charge.

    `anyway` is when, in s from the same moment, the limit is passed in that boost with all well; None where it holds.
    """

    cases: tuple[Failure, ...]
    limit: LimitSpec | None
    anyway: float | None


def failures(forecast: Forecast, limits: Sequence[LimitSpec] | None = None) -> Failures:
    """What each pump and fan of a forecast, and the first hose of a charge loop, does to it when it dies.

    `limits` in place of the session's own; the first on the charge's temperature counts.  Empty for a session
    without boost and for a build with nothing that can die.
    """
    wanted = forecast.session.limits if limits is None else limits
    limit = next((one for one in wanted if one.quantity in LIMITED), None)
    doomed = list(_doomed(forecast))
    if not doomed or not forecast.demand.boost.any():
        return Failures((), limit, None)
    bench = Bench(forecast.build, forecast.session, COARSE, (), demand=forecast.demand)
    well = bench.march({})
    first, last = _worst(bench, well)
    shift = float(forecast.intake[forecast.peak]) - well.peak  # what the coarse march is off by
    watch = _Watch(bench, limit, (first, last), shift)
    cases = []
    for name, what, devices in doomed:
        orders = {}
        for device in devices:
            orders[device] = well.did[device].copy()
            orders[device][first:] = OFF
        if any(well.did[device][first : last + 1].max() > OFF for device in devices):
            cases.append(watch.case(name, what, well, bench.march(orders)))
    cases.sort(key=lambda one: (np.inf if one.to_limit is None else one.to_limit, -one.warmer))
    return Failures(tuple(cases), limit, watch.seconds(watch.limited(well)))


def _doomed(forecast: Forecast) -> Iterator[tuple[str, str, tuple[str, ...]]]:
    """Parts that can die: name, what it is, the devices that stand still with it."""
    build, told = forecast.build, forecast.command
    for name, spec in build.parts.items():
        if name in told and isinstance(spec, PumpSpec | FanSpec) and getattr(spec, "fault", "none") == "none":
            yield name, "pump" if isinstance(spec, PumpSpec) else "fan", (name,)
    for loop in build.loops.values():
        names = list(names_on(loop.path))
        if not any(isinstance(build.parts[name], WaterCoreSpec) for name in names):
            continue
        hose = next((name for name in names if isinstance(build.parts[name], HoseSpec)), None)
        pumps = tuple(name for name in names if isinstance(build.parts[name], PumpSpec) and name in told)
        if hose is not None and pumps:
            yield hose, "hose", pumps


def _worst(bench: Bench, well: Tried) -> tuple[int, int]:
    """Samples at which a part dies and at which that boost ends."""
    boost, time = bench.boost, bench.demand.time
    on = np.flatnonzero(boost)
    peak = int(on[np.argmax(well.solution.intake[on])])
    breaks = np.flatnonzero(np.diff(time[on]) > GAP)
    begins, ends = np.concatenate([[on[0]], on[breaks + 1]]), np.concatenate([on[breaks], [on[-1]]])
    k = int(np.searchsorted(begins, peak, side="right")) - 1
    first = max(int(begins[k]), int(np.searchsorted(time, time[peak] - WINDOW)))
    return first, int(ends[k])


class _Watch:
    """One limit looked at between two samples."""

    def __init__(self, bench: Bench, limit: LimitSpec | None, between: tuple[int, int], shift: float) -> None:
        self.bench, self.limit, (self.first, self.last), self.shift = bench, limit, between, shift
        self.time = bench.demand.time

    def limited(self, tried: Tried) -> np.ndarray | None:
        """The limited trace less its limit, K; None without."""
        if self.limit is None:
            return None
        over = self.bench.demand.ambient_temperature if self.limit.quantity == "over_ambient" else 0.0
        trace = self.bench.sensor(tried.solution) if self.limit.quantity == "sensor" else tried.solution.intake
        return None if trace is None else trace + self.shift - over - self.limit.bound

    def seconds(self, over: np.ndarray | None) -> float | None:
        """From the failure until the limit is passed in boost, linear between samples."""
        if over is None:
            return None
        rows = np.arange(self.first, self.last + 1)
        passed = rows[(over[rows] > 0.0) & self.bench.boost[rows]]
        if not passed.size:
            return None
        k = int(passed[0])
        if k == self.first or over[k - 1] > 0.0:
            return float(self.time[k] - self.time[self.first])
        share = over[k - 1] / (over[k - 1] - over[k])
        return float(self.time[k - 1] + share * (self.time[k] - self.time[k - 1]) - self.time[self.first])

    def case(self, name: str, what: str, well: Tried, ill: Tried) -> Failure:
        """One failure against the march with all well."""
        rows = slice(self.first, self.last + 1)
        to_limit = self.seconds(self.limited(ill))
        readings = self.bench.sensor(well.solution), self.bench.sensor(ill.solution)
        start = float(self.time[self.first])
        made = Failure(
            name=name,
            what=what,
            at=start,
            left=float(self.time[self.last]) - start,
            to_limit=to_limit,
            warmer=float(ill.solution.intake[rows].max() - well.solution.intake[rows].max()),
            lift_at=None,
            lift_after=None,
            well=None if readings[0] is None else float(readings[0][self.bench.boost].max()) + self.shift,
            saved=None,
        )
        if to_limit is None or readings[1] is None or made.well is None or to_limit <= REACTION:
            return made
        after = to_limit - REACTION
        lift_at = float(np.interp(start + after, self.time, readings[1])) + self.shift
        tells = lift_at > made.well + CLEARLY
        return replace(made, lift_at=lift_at, lift_after=after, saved=max(after - SWITCH, 0.0) if tells else None)


# ---------------------------------------------------------------- words and JSON

BY_SWITCH = {
    "pump": "a flow or current switch",
    "fan": "a switch on the fan's current",
    "hose": "a flow switch or one on the coolant's level",
}
DIES = {"pump": "stops", "fan": "stops", "hose": "lets go"}
SAME = 0.05  # s and K by which failures may differ and be told together


def sentences(found: Failures) -> tuple[Sentence, ...]:
    """What each failure does, when to lift and what a switch would save; the cautions last."""
    if not found.cases:
        return ()
    said = [_sentence(found, group) for group in _alike(found.cases)]
    said.append(
        Sentence(
            "Lift first and look for the cause afterwards; let the coolant cool before a cap is opened: it scalds. "
            "Lost coolant is reckoned as coolant that stands; a core that runs dry warms faster."
        )
    )
    return tuple(said)


def _alike(cases: Sequence[Failure]) -> list[list[Failure]]:
    """Failures that come to the same, or to next to nothing, together."""
    groups: list[list[Failure]] = []
    for one in cases:
        for group in groups:
            first = group[0]
            as_long = first.to_limit == one.to_limit or (
                None not in (first.to_limit, one.to_limit)
                and abs((first.to_limit or 0.0) - (one.to_limit or 0.0)) <= SAME
            )
            little = max(first.warmer, one.warmer) < 0.5
            if as_long and (little or abs(first.warmer - one.warmer) <= SAME):
                group.append(one)
                break
        else:
            groups.append([one])
    return groups


def _sentence(found: Failures, group: Sequence[Failure]) -> Sentence:
    one = group[0]
    values: dict[str, Quantity | str] = {
        "at": Quantity(one.at, "clock"),
        "left": Quantity(one.left, "time"),
        "warmer": Quantity(one.warmer, "temperature_difference"),
        "switch": BY_SWITCH[one.what],
    }
    dying = []
    for k, each in enumerate(group):
        values[f"name{k}"] = each.name
        dying.append(f"{{name{k}}} {DIES[each.what]}")
    start = f"If {' or '.join(dying)} at the worst moment ({{at}})"
    if found.limit is None:
        return Sentence(start + ", the intake peaks {warmer} higher in that boost; no limit is given.", values)
    if found.anyway is not None and one.to_limit is not None:
        values |= {"anyway": Quantity(found.anyway, "time"), "seconds": Quantity(one.to_limit, "time")}
        text = start + ", the limit is passed {seconds} later, {anyway} with all well, and the peak is {warmer} higher."
        if one.to_limit <= SWITCH or one.warmer < 0.5:
            return Sentence(text, values)
        return Sentence(text + " No reading tells, since the limit is passed anyway; only {switch} does.", values)
    if one.to_limit is None:
        return Sentence(start + ", the limit holds until boost ends {left} later; the peak is {warmer} higher.", values)
    values["seconds"] = Quantity(one.to_limit, "time")
    text = start + ", the limit is passed {seconds} later."
    if one.lift_at is None or one.well is None:
        return Sentence(text + " No reading warns in time; only {switch} does.", values)
    values |= {"lift": Quantity(one.lift_at, "temperature"), "well": Quantity(one.well, "temperature")}
    if one.saved is None:
        text += " Lift at a reading of {lift}; it reads as much when all is well ({well}), so only {switch} tells."
        return Sentence(text, values)
    values["saved"] = Quantity(one.saved, "time")
    return Sentence(
        text + " Lift when the sensor reads {lift} ({well} at most when all is well);"
        " {switch} would tell {saved} sooner.",
        values,
    )


def failures_json(found: Failures, system: str = "si") -> dict[str, Any]:
    """A plain dictionary; keys carry the unit, sentences are in "si" or "us" units."""
    return {
        "limit": None if found.limit is None else found.limit.quantity,
        "all_well_to_limit_s": found.anyway,
        "cases": [
            {
                "part": one.name,
                "what": one.what,
                "at_s": one.at,
                "boost_left_s": one.left,
                "to_limit_s": one.to_limit,
                "warmer_K": one.warmer,
                "lift_at_K": one.lift_at,
                "lift_after_s": one.lift_after,
                "sensor_max_well_K": one.well,
                "saved_by_switch_s": one.saved,
            }
            for one in found.cases
        ],
        "sentences": [sentence.words(system) for sentence in sentences(found)],
    }
