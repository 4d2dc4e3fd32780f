"""Times of passes and laps and what heat cost them, in words and for JSON, with their likely ranges where drawn.

Here: `run_rows`, `run_sentences`, `feedback_words`, `runs_json`.  Driving and heat are brought together in
`plant/feedback.py`; limits are judged in `verdict.py`.  What heat costs is against the same run with the charge at
ambient temperature throughout.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from coldside.judge.power import kind_of
from coldside.judge.sureness import ON_THE_CLOCK, Band, cost_shown, likely_cost, runs_sentence
from coldside.judge.wording import Quantity, Range, Sentence, clock, counted, stopwatch
from coldside.plant.feedback import BOOST_SETTLED, SETTLED, TimedRun
from coldside.plant.results import Forecast
from coldside.units import show

HELD_BACK = 0.3  # of a pass's time without full load, from which it is told


def run_rows(
    forecast: Forecast, system: str, bands: Mapping[str, Band] | None = None
) -> list[tuple[str, str, str, str, str]]:
    """(run, when it begins, its time, speed on the finish line, what heat cost) of each pass and lap in time order.
    What a charge colder than ambient gains is told as gained.

    `bands` by figure (`explore.outcome.figures`): where they hold a run's, its time and cost have their likely range.
    """
    known = bands or {}
    return [
        (
            one.run.label,
            clock(float(forecast.time[one.run.first])),
            stopwatch(one.run.time) + _likely(known.get(f"run_time.{k}"), "stopwatch"),
            show(one.run.trap_speed, "speed", system),
            cost_shown(one.cost) + _likely(known.get(f"run_cost.{k}"), "seconds"),
        )
        for k, one in enumerate(forecast.runs)
    ]


def _likely(band: Band | None, kind: str) -> str:
    """ " (likely 10.84 to 11.19 s)"; nothing where it is not known."""
    if band is None:
        return ""
    if kind == "stopwatch":
        return f" (likely {Range(band[0], band[2], kind).shown('si')})"
    values: dict[str, Any] = {}
    return f" ({Sentence(likely_cost(band, values), values).words()})"


def run_sentences(forecast: Forecast, bands: Mapping[str, Band] | None = None) -> list[Sentence]:
    """For each phase with runs: how long they take, and what heat costs each and in all; empty without a run.

    With `bands` (see `run_rows`) then what is likely of all of a kind.
    """
    phases: dict[int, list[TimedRun]] = {}
    for one in forecast.runs:
        phases.setdefault(one.run.phase, []).append(one)
    kinds = [kind_of(forecast, found[0]) for found in phases.values()]
    said = []
    for noun, found in zip(kinds, phases.values(), strict=True):
        begins = float(forecast.time[found[0].run.first]) if kinds.count(noun) > 1 else None
        said.append(_of_phase(noun, found, begins))
        said += _held_back(forecast, noun, found)
    for noun in dict.fromkeys(kinds):
        sure = runs_sentence(noun, _of_kind(forecast, noun), bands or {})
        said += [] if sure is None else [sure]
    return said


def _held_back(forecast: Forecast, noun: str, found: Sequence[TimedRun]) -> list[Sentence]:
    """For passes of which tyres, launch and shifts rule a good part: why power and cool charge change little."""
    if noun != "pass" or not all(one.run.standing for one in found):
        return []
    demand = forecast.demand
    shares = [1.0 - float(demand.full_load[one.run.first : one.run.last + 1].mean()) for one in found]
    share = sum(shares) / len(shares)
    if share < HELD_BACK:
        return []
    held = share * sum(one.run.time for one in found) / len(found)
    which = "it" if len(found) == 1 else "each"
    text = (
        f"For about {{held}} of {which} the driven tyres, the launch and the shifts hold the car back, not the engine: "
        "more power or a cooler charge is worth little there, grip (car.grip, car.front_share) is worth much."
    )
    return [Sentence(text, {"held": Quantity(held, "time")})]


def _of_kind(forecast: Forecast, noun: str) -> int:
    return sum(kind_of(forecast, one) == noun for one in forecast.runs)


def _of_phase(noun: str, found: Sequence[TimedRun], begins: float | None) -> Sentence:
    """`begins` [s] tells alike phases of a session apart."""
    times = sorted(one.run.time for one in found)
    values: dict[str, Quantity | str] = {
        "which": f"The {noun}" if len(found) == 1 else counted(len(found), noun).capitalize(),
        "take": f"takes {stopwatch(times[0])}",
    }
    if len(found) > 1:
        values["take"] = f"take {_between(stopwatch(times[0]), stopwatch(times[-1]))}"
    text = "{which} {take}; {cost}."
    if begins is not None:
        text = "{which} from {begins} on {take}; {cost}."
        values["begins"] = Quantity(begins, "clock")
    return Sentence(text, values | {"cost": _cost_words([one.cost for one in found])})


def _cost_words(costs: Sequence[float]) -> str:
    total, least, most = sum(costs), min(costs), max(costs)
    if max(abs(least), abs(most)) < ON_THE_CLOCK:
        return "heat costs nothing that a clock tells"
    against = "against a charge at ambient temperature"
    if len(costs) == 1:
        verb = "heat costs" if total > 0.0 else "a charge colder than ambient gains"
        return f"{verb} {abs(total):.2f} s" + (f" {against}" if total > 0.0 else "")
    if least >= -ON_THE_CLOCK:
        each = _between(f"{max(least, 0.0):.2f}", f"{most:.2f}")
        return f"heat costs {each} s each, {total:.2f} s in all, {against}"
    if most <= ON_THE_CLOCK:
        each = _between(f"{abs(most):.2f}", f"{-least:.2f}")
        return f"a charge colder than ambient gains {each} s each, {-total:.2f} s in all"
    return f"heat costs up to {most:.2f} s and a cold charge gains up to {-least:.2f} s, {against}"


def _between(low: str, high: str) -> str:
    if low == high:
        return low
    return f"{low.removesuffix(' s')} to {high}"


def feedback_words(forecast: Forecast) -> str:
    """How far driving and heat agree, for health; empty without a run that heat ruled."""
    if not forecast.feedback:
        return ""
    turns = len(forecast.feedback)
    count = "one turn" if turns == 1 else f"{counted(turns, 'turn')}"
    last = forecast.feedback[-1]
    moved = f"{last:.3f} s" if last >= 5e-4 else "less than 0.001 s"
    return (
        "" if last <= SETTLED else "not wholly "
    ) + f"brought together in {count}; the last moved no run's time by more than {moved}"


def boost_feedback_words(forecast: Forecast) -> str:
    """How far the car's own trims of boost and the charge's heat agree, for health; empty without such trims."""
    if not forecast.boost_feedback:
        return ""
    turns, last = len(forecast.boost_feedback), forecast.boost_feedback[-1]
    count = "one turn" if turns == 1 else f"{counted(turns, 'turn')}"
    wholly = "" if last <= BOOST_SETTLED else "not wholly "
    return wholly + f"brought together in {count}; boost is within {last / 1e3:.2f} kPa of what the trims ask"


def runs_json(forecast: Forecast) -> list[dict[str, Any]]:
    """The block `runs` of a forecast's JSON: every pass and lap in time order; times in s, lengths in m."""
    return [
        {
            "run": one.run.label,
            "kind": forecast.session.phases[one.run.phase].kind,
            "start_s": forecast.time[one.run.first],
            "time_s": one.run.time,
            "finish_speed_m_s": one.run.trap_speed,
            "length_m": one.run.length,
            "at_ambient_s": one.cold_time,
            "heat_cost_s": one.cost,
        }
        for one in forecast.runs
    ]
