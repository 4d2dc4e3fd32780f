"""How sure a verdict is, in words: bands as "likely 51 to 58 degC", chances as "9 in 10".

What is here: `chance_words`, `limit_sentence`, `peak_sentence`, `runs_sentence`, `cost_shown`, `likely_cost`.  What
is not: making bands (`explore/`) and judging (`verdict.py`).  "Likely" is the span from the 10th to the 90th percentile
of the draws: four runs in five fall in it, as far as the inputs' own uncertainties are right; what the model itself
leaves out is not in it.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from coldside.judge.wording import Quantity, Range, Sentence, counted

Band = tuple[float, float, float]  # 10th, 50th, 90th percentile, SI
ON_THE_CLOCK = 0.005  # s below which a difference cannot be told on a clock of hundredths
NEARLY = 0.95  # chance from which tenths would claim too little


def chance_words(chance: float) -> str:
    """A chance of 0 to 1 as one would say it: "9 in 10", "more than 19 in 20"; draws know no finer."""
    if chance >= NEARLY:
        return "more than 19 in 20"
    if chance <= 1.0 - NEARLY:
        return "less than 1 in 20"
    return f"{min(max(round(10.0 * chance), 1), 9)} in 10"


def limit_sentence(kind: str, band: Band | None, chance: float | None) -> Sentence | None:
    """What is sure of one limit: the likely value, of unit `kind`, and the chance that it holds; None without both."""
    if band is None or chance is None:
        return None
    values: dict[str, Any] = {
        "span": Range(band[0], band[2], kind),
        "chance": chance_words(chance),
    }
    return Sentence("Likely {span}; the chance that it holds is {chance}.", values)


def peak_sentence(bands: Mapping[str, Band], chance: float | None = None) -> Sentence | None:
    """The likely peak of the intake, with the chance that all limits hold where it is known; None without a band."""
    if "intake_max" not in bands:
        return None
    low, _, high = bands["intake_max"]
    values: dict[str, Any] = {"span": Range(low, high, "temperature")}
    text = "The peak of the intake is likely {span}"
    if chance is not None:
        values["chance"] = chance_words(chance)
        text += "; the chance that every limit holds is {chance}"
    return Sentence(text + ".", values)


def runs_sentence(noun: str, count: int, bands: Mapping[str, Band]) -> Sentence | None:
    """What is likely of all passes, laps or runs (`noun`): times, what heat costs them; None without their bands."""
    best, mean, cost = (bands.get(f"{figure}.{noun}") for figure in ("run_best", "run_mean", "heat_cost"))
    if best is None or cost is None:
        return None
    values: dict[str, Any] = {"noun": noun, "best": Range(best[0], best[2], "stopwatch")}
    text = "With what is not known, the {noun} likely takes {best}"
    if mean is not None:
        text = "With what is not known, the best {noun} likely takes {best} and one on average {mean}"
        values["mean"] = Range(mean[0], mean[2], "stopwatch")
    all_of = counted(count, noun)
    of_all = "" if count == 1 else " over " + ("both" + all_of.removeprefix("two") if count == 2 else "all " + all_of)
    return Sentence(f"{text}; {_cost_sure(cost, values, of_all)}.", values)


def _cost_sure(cost: Band, values: dict[str, Any], of_all: str) -> str:
    """A band of heat's cost [s] as the end of a sentence."""
    low, high = _on_the_clock(cost)
    if low == high == 0.0:
        return "what heat costs cannot be told on a clock"
    if low < 0.0 < high:
        return "whether heat costs anything cannot be told: " + likely_cost(cost, values) + of_all
    verb = "heat likely costs " if high > 0.0 else "a charge colder than ambient likely gains "
    return verb + _span(low, high, values, "") + of_all


def cost_shown(cost: float) -> str:
    """What heat cost [s] as a cell of a table: "0.12 s"; below 0 "0.05 s gained"; "nothing" where no clock tells it."""
    if abs(cost) < ON_THE_CLOCK:
        return "nothing"
    return f"{abs(cost):.2f} s" + ("" if cost > 0.0 else " gained")


def likely_cost(cost: Band, values: dict[str, Any], mark: str = "") -> str:
    """ "likely 0.19 to 0.35 s" with its places put among `values` under names that end in `mark`.

    Below 0 something is gained: "likely between 0.02 s gained and 0.05 s lost".
    """
    low, high = _on_the_clock(cost)
    if low < 0.0 < high:
        values["gained" + mark], values["lost" + mark] = Quantity(-low, "seconds"), Quantity(high, "seconds")
        return f"likely between {{gained{mark}}} gained and {{lost{mark}}} lost"
    if low == high == 0.0:
        return "likely nothing that a clock tells"
    return "likely " + _span(low, high, values, mark) + (" gained" if high <= 0.0 else "")


def _on_the_clock(cost: Band) -> tuple[float, float]:
    """The ends of a band [s], 0 where a clock of hundredths tells nothing."""
    low, high = (edge if abs(edge) >= ON_THE_CLOCK else 0.0 for edge in (cost[0], cost[2]))
    return low, high


def _span(low: float, high: float, values: dict[str, Any], mark: str) -> str:
    """ "0.19 to 0.35 s" or "up to 0.35 s", of ends of one sign."""
    near, far = sorted((abs(low), abs(high)))
    values["span" + mark] = Range(near, far, "seconds") if near else Quantity(far, "seconds")
    return ("" if near else "up to ") + f"{{span{mark}}}"
