"""How sure a verdict is, in words: bands as "likely 51 to 58 degC", chances as "9 in 10".

What is here: `chance_words`, `limit_sentence`, `peak_sentence`.  What is not: making bands (`explore/`) and
judging (`verdict.py`).  "Likely" is the span from the 10th to the 90th percentile of the draws: four runs in
five fall in it, as far as the inputs' own uncertainties are right; what the model itself leaves out is not in it.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from coldside.judge.wording import Range, Sentence

Band = tuple[float, float, float]  # 10th, 50th, 90th percentile, SI
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
